//! Kinds of worked example for readings, layers, classes, capacity and raises.

use super::*;

pub const KINDS: &[Kind] = &[
    ("reading", reading),
    ("charge", charge),
    ("layer_mass", layer_mass),
    ("layer_weight", layer_weight),
    ("by_volume", by_volume),
    ("class", class),
    ("capacity", capacity),
    ("below_target", below_target),
    ("raise", raise),
    ("build_up", build_up),
];

/// A printed cell brought to its canonical unit.
fn reading(table: &toml::Table) -> Outcome {
    one(Answer::Level(read_cell(&inputs(table)?)?.0.level))
}

/// A printed cell as charge.
fn charge(table: &toml::Table) -> Outcome {
    let (reading, divisors) = read_cell(&inputs(table)?)?;
    one(Answer::Level(Level::CmolPerKg(some(cmol(&reading, &divisors))?.0)))
}

/// A concentration by mass as a mass per area, in a publisher's soil mass.
fn layer_mass(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mg_per_kg: f64,
        layer: String,
    }
    let i: In = inputs(table)?;
    one(Answer::Rate(SoilLayer::Convention(convention(&i.layer)?).mass(MgPerKg(i.mg_per_kg))))
}

/// What a layer of soil weighs.
fn layer_weight(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        depth_cm: f64,
        bulk_density_g_per_cm3: f64,
        #[serde(default)]
        stones: f64,
    }
    let i: In = inputs(table)?;
    let layer = SoilLayer::Measured {
        depth: Centimetres(i.depth_cm),
        bulk_density: GramsPerCm3(i.bulk_density_g_per_cm3),
        stones: i.stones,
    };
    one(Answer::Rate(KgPerHa(layer.soil_kg_per_ha())))
}

/// A concentration by volume as a mass per area.
fn by_volume(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mg_per_l: f64,
        depth_cm: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Rate(by_volume_kg_per_ha(MgPerL(i.mg_per_l), Centimetres(i.depth_cm))))
}

fn loam() -> Texture {
    Texture::Loam
}

/// The class of printed cells under a guideline, one at a time, as a plot's page shows it: by
/// the printed text the publisher's word, by "… position" where it lies against the aim, and by
/// "… index" what is said of an index that the publisher prints beside.
fn class(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        guideline: String,
        analyte: Analyte,
        method: Method,
        unit: Unit,
        #[serde(default)]
        basis: Basis,
        layer: Option<String>,
        printed: Vec<String>,
        #[serde(default)]
        land_use: LandUse,
        form: Option<String>,
        #[serde(default = "loam")]
        texture: Texture,
        /// Tables known only from memory are switched on.
        #[serde(default)]
        memory: bool,
        /// pH in water as printed, for rules that ask for it.
        ph: Option<String>,
    }
    let i: In = inputs(table)?;
    let guideline = set(&i.guideline, i.memory)?;
    let setting = Setting {
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        land_use: i.land_use,
        texture: i.texture,
        signs: &Signs::default(),
        capacity: Err("the example gives no capacity".into()),
    };
    let cell = |analyte, printed: &str, method: &str, unit| Cell {
        analyte,
        printed: printed.to_owned(),
        unit,
        method: method.to_owned(),
        form: i.form.clone().filter(|_| unit == i.unit),
        basis: if unit == i.unit { i.basis } else { Basis::Mass },
        layer: i.layer.clone().filter(|_| unit.is_per_area()),
        divisor: None,
    };
    let ph = i.ph.map(|ph| read_cell(&cell(Analyte::Ph, &ph, &Method::PhWater.slug(), Unit::Ph))).transpose()?;
    let mut answers = Answers::new();
    for printed in &i.printed {
        let (reading, _) = read_cell(&cell(i.analyte, printed, &i.method.slug(), i.unit))?;
        let readings = [Some(&reading), ph.as_ref().map(|(reading, _)| reading)];
        let chosen: Vec<_> = readings.into_iter().flatten().map(|reading| Chosen { reading, reasons: &[] }).collect();
        let standing = stand(&chosen, &guideline, &setting);
        let nutrient = some(standing.get(i.analyte))?;
        if nutrient.class_working.as_ref().is_some_and(|working| !working.is_grounded()) {
            return Err("the working of the class does not reach its cells".into());
        }
        let class = nutrient.class.clone().unwrap_or_else(|| "none".into());
        answers.insert(printed.clone(), Answer::Text(class));
        answers.insert(format!("{printed} position"), Answer::Text(nutrient.position.words().into()));
        if let Some(note) = nutrient.notes.iter().find(|note| note.contains("own index")) {
            answers.insert(format!("{printed} index"), Answer::Text(note.clone()));
        }
    }
    Ok(answers)
}

/// The exchange capacity of a sheet, and who holds it, as a plot's page shows it.
fn capacity(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cells: Vec<Cell>,
        /// mg/kg per cmol(+)/kg by the publisher; left out: exact.
        #[serde(default)]
        divisors: BTreeMap<Element, f64>,
        /// A set of them that the program holds, by name.
        weights: Option<String>,
    }
    let i: In = inputs(table)?;
    let divisors = match i.weights.as_deref() {
        None => divisors(i.divisors),
        Some("clemson") => exchange_capacity::clemson_divisors(),
        Some("rounded") => exchange_capacity::rounded_divisors(),
        Some(other) => return Err(format!("no weights “{other}”")),
    };
    let ReadSheet { signs, choices } = read_sheet(&i.cells, &divisors)?;
    let mut answers = Answers::new();
    let capacity = match exchange_capacity::capacity(&Parts::gather(&choices), &signs, &divisors) {
        Ok(capacity) => capacity,
        Err(withheld) => {
            answers.insert("withheld".into(), Answer::Text(withheld.reason));
            return Ok(answers);
        }
    };
    if !capacity.working.is_grounded() {
        return Err("the working of the capacity does not reach its cells".into());
    }
    answers.insert("cec".into(), Answer::Level(capacity.level));
    for (element, held) in &capacity.cations {
        answers.insert(element.symbol().into(), Answer::Level(held.charge));
        answers.insert(format!("{element} share"), Answer::Plain(held.share.0, "%"));
    }
    if let Some(acidity) = capacity.acidity {
        answers.insert("acidity".into(), Answer::Level(acidity.charge));
        answers.insert("acidity share".into(), Answer::Plain(acidity.share.0, "%"));
    }
    if let Some(bases) = capacity.base_saturation {
        answers.insert("bases".into(), Answer::Level(bases.charge));
        answers.insert("base saturation".into(), Answer::Plain(bases.share.0, "%"));
    }
    Ok(answers)
}

/// The chance that a value with a constant error is truly below a target.
fn below_target(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        found: f64,
        target: f64,
        sd: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(p_below_target_normal(i.found, i.target, i.sd), ""))
}

/// A rate of an element, also in the form that bags print.
fn rate_answers(element: Element, rate: KgPerHa) -> Answers {
    let mut answers = Answers::from([(element.symbol().into(), Answer::Rate(rate))]);
    if let Some(oxide) = Form::oxide_of(element) {
        answers.insert(oxide.symbol().into(), Answer::Rate(KgPerHa(rate.0 / oxide.to_element())));
    }
    answers
}

/// What raises a printed cell to an aim in the same unit: cell, reading, standing, need.
fn raise(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cell: Cell,
        aim: f64,
        depth_cm: f64,
        bulk_density_g_per_cm3: f64,
    }
    let i: In = inputs(table)?;
    let (reading, _) = read_cell(&i.cell)?;
    let form = i.cell.form.as_ref().map_or_else(String::new, |form| format!("form = \"{form}\""));
    // The example's own aim, as a grower's guideline would carry it.
    let text = format!(
        r#"slug = "example"
        title = "The example"
        publisher = "the example"
        address = ""
        scope = "this case"
        [[table]]
        title = "The example’s aim"
        source = {{ publisher = "the example", title = "as stated there", evidence = "read" }}
        methods = ["{}"]
        unit = "{}"
        {form}
        [[table.row]]
        analyte = "{}"
        critical = {:?}"#,
        i.cell.method, i.cell.unit, i.cell.analyte, i.aim
    );
    let guideline = Guideline::parse(&text).map_err(|problems| problems[0].to_string())?;
    let setting = Setting {
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: &Signs::default(),
        capacity: Err("the example gives no capacity".into()),
    };
    let standing = stand(&[Chosen { reading: &reading, reasons: &[] }], &guideline, &setting);
    let ground = Ground {
        area: SquareMetres(1.0),
        cover: Cover::Open,
        texture: Texture::Loam,
        bulk_density: Some(GramsPerCm3(i.bulk_density_g_per_cm3)),
        depth: Centimetres(i.depth_cm),
        stones: 0.0,
    };
    let need = some(need::raise(some(standing.get(i.cell.analyte))?, &ground, None, &Way::default()))?;
    if need.working.as_ref().is_some_and(|working| !working.is_grounded()) {
        return Err("the working of the need does not reach its cell".into());
    }
    Ok(rate_answers(need.element, need.kg_per_ha))
}

/// What a published build-up factor asks for a rise of the test.
fn build_up(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        factor: String,
        rise: f64,
    }
    let i: In = inputs(table)?;
    let factor = BuildUp::find(&i.factor).ok_or_else(|| format!("“{}” is not a factor known here", i.factor))?;
    Ok(rate_answers(factor.element, KgPerHa(factor.kg_per_ha_per_unit() * i.rise)))
}
