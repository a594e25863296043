//! Kinds of worked example for conversions and for facts of soils and materials: titration,
//! buffer acidity, cores, ratios, volumes, the catalogue, caps, labs, and what crops carry away.

use super::{
    Answer, Answers, Cell, Kind, Outcome, inputs,
    interpretation::{cell, grounded, ph_cell},
    one, read_cell, read_sheet, set, some,
};
use glebe::agronomy::{
    amendment,
    analyte::Analyte,
    cap::season_caps,
    carbonate::{Signs, fizz_percent},
    confidence::TestError,
    cores::{ADVISED, cores, formula},
    crop::Crop,
    drift::DEFAULT_ERRORS,
    element::{Element, Form},
    exchange_capacity::{self, Parts, acid_for, acidity_from_buffer, titrated},
    ground::{Cover, Texture},
    guideline::LandUse,
    lab_check::{between_labs, within_one_lab},
    material::{LimeEffect, Loose, SaltIndex, VolumeUnit, label_tolerance},
    method::Method,
    micronutrient::{self, Conditions, Spray},
    offtake::{self, Part},
    quantity::{Centimetres, DsPerM, GramsPerCm3, KgPerHa, Percent, SoilLayer, SquareMetres},
    rate::{AreaUnit, RateUnit},
    reading::{Divisors, Level, Reading, charge},
    record::{Basis, FizzClass, Unit},
    salinity::{SaltFactor, under_cover},
    saturation::{
        bases_rated, calcium_to_magnesium_says, magnesium_short, magnesium_to_potassium_says, usual_capacity,
    },
    standing::{Chosen, Setting, stand},
};
use serde::Deserialize;

pub const KINDS: &[Kind] = &[
    ("area", area),
    ("soil_on_area", soil_on_area),
    ("layer_level", layer_level),
    ("bulk_density", bulk_density),
    ("atomic_weight", atomic_weight),
    ("charge_shown", charge_shown),
    ("titration", titration),
    ("buffer_acidity", buffer_acidity),
    ("magnesium_among", magnesium_among),
    ("cation_ratio", cation_ratio),
    ("bases_rated", bases),
    ("usual_capacity", usual),
    ("saturation", saturation),
    ("choice", choice),
    ("fizz", fizz),
    ("salts_ppm", salts_ppm),
    ("rising_salts", rising_salts),
    ("cores", cores_for),
    ("cores_advised", cores_advised),
    ("between_labs", labs),
    ("volume", volume),
    ("loose", loose),
    ("salt_index", salt_index),
    ("lime_effect", lime_effect),
    ("label_tolerance", tolerance),
    ("spray", spray),
    ("catalogue", catalogue),
    ("season_cap", season_cap),
    ("removal", removal),
    ("trace_on", trace_on),
];

/// An area in another unit.
fn area(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        value: f64,
        from: AreaUnit,
        to: AreaUnit,
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(i.value * i.from.m2() / i.to.m2(), i.to.slug()))
}

fn layer(depth_cm: f64, bulk_density: f64) -> SoilLayer {
    SoilLayer::Measured { depth: Centimetres(depth_cm), bulk_density: GramsPerCm3(bulk_density), stones: 0.0 }
}

/// The mass of a layer under an area.
fn soil_on_area(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        depth_cm: f64,
        bulk_density: f64,
        area_m2: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Mass(layer(i.depth_cm, i.bulk_density).soil_on(SquareMetres(i.area_m2))))
}

/// The level that a rate makes in a layer.
fn layer_level(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        kg_per_ha: f64,
        depth_cm: f64,
        bulk_density: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Level(Level::MgPerKg(layer(i.depth_cm, i.bulk_density).level(KgPerHa(i.kg_per_ha)))))
}

/// Typical bulk density of each texture, and by "… roots" where roots begin to have trouble.
fn bulk_density(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        textures: Vec<Texture>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for texture in i.textures {
        answers.insert(texture.slug().into(), Answer::Plain(texture.typical_bulk_density().0.0, "g/cm³"));
        if let Some(limit) = texture.roots_suffer_from() {
            answers.insert(format!("{} roots", texture.slug()), Answer::Plain(limit.0, "g/cm³"));
        }
    }
    Ok(answers)
}

/// Atomic weights.
fn atomic_weight(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        elements: Vec<Element>,
    }
    let i: In = inputs(table)?;
    Ok(i.elements.into_iter().map(|e| (e.symbol().to_owned(), Answer::Plain(e.atomic_weight(), ""))).collect())
}

/// The charge of printed cells of one element in ppm, as it is shown.
fn charge_shown(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        printed: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for printed in &i.printed {
        let acetate = Method::AmmoniumAcetate7.slug();
        let reading = read_cell(&cell(Analyte::Element(i.element), printed, Unit::Ppm, &acetate, Basis::Mass))?.0;
        let (_, working) = some(charge(&reading, &Divisors::exact()))?;
        answers.insert(printed.clone(), Answer::Text(working.figure.to_string().replace('\u{a0}', " ")));
    }
    Ok(answers)
}

/// Charge by titration, and by "acid" the other way round.
fn titration(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        soil_g: f64,
        acid_ml: f64,
        normality: f64,
    }
    let i: In = inputs(table)?;
    let charge = some(titrated(i.soil_g, i.acid_ml, i.normality))?;
    let acid = some(acid_for(charge, i.soil_g, i.normality))?;
    Ok(Answers::from([
        (String::new(), Answer::Level(Level::CmolPerKg(charge))),
        ("acid".into(), Answer::Plain(acid, "mL")),
    ]))
}

/// Acidity from a buffer pH, by each printed value; "withheld" without the buffer's name.
fn buffer_acidity(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: Method,
        printed: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for printed in &i.printed {
        let reading = read_cell(&ph_cell(Analyte::BufferPh, printed, &i.method.slug()))?.0;
        match acidity_from_buffer(&reading) {
            Ok((level, working)) => {
                grounded(&working)?;
                answers.insert(printed.clone(), Answer::Level(level));
            }
            Err(withheld) => {
                answers.insert("withheld".into(), Answer::Text(withheld.reason));
            }
        }
    }
    Ok(answers)
}

/// What Michigan State makes of shares of potassium, calcium and magnesium among themselves.
fn magnesium_among(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        k_percent: f64,
        mg_percent: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let says = |mg: f64| if magnesium_short(Percent(mg), Percent(i.k_percent)) { "short" } else { "not short" };
    Ok(i.mg_percent.iter().map(|mg| (mg.to_string(), Answer::Text(says(*mg).into()))).collect())
}

/// What is read from ratios by charge.
fn cation_ratio(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        ca_to_mg: Vec<f64>,
        mg_to_k: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let one = |name: &str, r: f64, says: &str| (format!("{name} {r}"), Answer::Text(says.into()));
    let calcium = i.ca_to_mg.iter().map(|r| one("Ca:Mg", *r, calcium_to_magnesium_says(*r)));
    let magnesium = i.mg_to_k.iter().map(|r| one("Mg:K", *r, magnesium_to_potassium_says(*r)));
    Ok(calcium.chain(magnesium).collect())
}

/// How full of bases a soil is called.
fn bases(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        share: Vec<f64>,
    }
    let i: In = inputs(table)?;
    Ok(i.share.iter().map(|s| (s.to_string(), Answer::Text(bases_rated(Percent(*s)).into()))).collect())
}

/// The capacity that is usual of a texture.
fn usual(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        textures: Vec<Texture>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for texture in i.textures {
        let (from, to) = some(usual_capacity(texture))?;
        answers.insert(format!("{} from", texture.slug()), Answer::Level(Level::CmolPerKg(from)));
        answers.insert(format!("{} to", texture.slug()), Answer::Level(Level::CmolPerKg(to)));
    }
    Ok(answers)
}

/// A cation under a guideline that aims at shares of a stated capacity, as a plot's page shows
/// it: "aim", "class", and "of capacity", what the share alone would be where a floor or a
/// ceiling holds the aim.
fn saturation(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        guideline: String,
        element: Element,
        capacity: String,
        mg_per_kg: String,
        /// Left out: ammonium acetate.
        method: Option<Method>,
        #[serde(default)]
        memory: bool,
    }
    let i: In = inputs(table)?;
    let guideline = set(&i.guideline, i.memory)?;
    let (extract, displaced) = (i.method.unwrap_or(Method::AmmoniumAcetate7).slug(), Method::CapacityAcetate7.slug());
    let found = read_cell(&cell(Analyte::Element(i.element), &i.mg_per_kg, Unit::MgPerKg, &extract, Basis::Mass))?.0;
    let stated = read_cell(&cell(Analyte::ExchangeCapacity, &i.capacity, Unit::CmolPerKg, &displaced, Basis::Mass))?.0;
    let parts = Parts { cations: [(i.element, found.clone())].into(), stated: Some(stated), ..Parts::default() };
    let signs = Signs::default();
    let capacity = exchange_capacity::capacity(&parts, &signs, &Divisors::exact()).map_err(|w| w.reason)?;
    let setting = Setting {
        errors: &DEFAULT_ERRORS,
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: &signs,
        capacity: Ok(&capacity),
    };
    let standing = stand(&[Chosen { reading: &found, reasons: &[] }], &guideline, &setting);
    let nutrient = some(standing.get(Analyte::Element(i.element)))?;
    let aim = some(nutrient.aim.as_ref())?;
    grounded(&aim.working)?;
    let alone = nutrient.held().and_then(|held| held.split(';').next()).unwrap_or("not held");
    Ok(Answers::from([
        ("aim".into(), Answer::Plain(aim.figure.value, "mg/kg")),
        ("class".into(), Answer::Text(nutrient.class.clone().unwrap_or_default())),
        ("of capacity".into(), Answer::Text(alone.replace('\u{a0}', " "))),
    ]))
}

/// Which method's reading speaks for each analyte of a sheet.
fn choice(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cells: Vec<Cell>,
    }
    let i: In = inputs(table)?;
    let choices = read_sheet(&i.cells, &Divisors::exact())?.choices;
    let chosen = |(analyte, choice): (&Analyte, &glebe::agronomy::choice::Choice)| {
        (analyte.to_string(), Answer::Text(choice.chosen.method.slug()))
    };
    Ok(choices.iter().map(chosen).collect())
}

/// What a fizz is taken for, % of carbonate: "… from" and "… to" by class; none: no end.
fn fizz(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        classes: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for class in i.classes {
        let (from, to) = fizz_percent(class.parse::<FizzClass>()?);
        answers.insert(format!("{class} from"), Answer::Plain(from, "%"));
        let to = to.map_or(Answer::Text("no end".into()), |to| Answer::Plain(to, "%"));
        answers.insert(format!("{class} to"), to);
    }
    Ok(answers)
}

/// Salts as a publisher prints them in ppm, or the conductivity behind.
fn salts_ppm(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        by: String,
        us_per_cm: f64,
    }
    let i: In = inputs(table)?;
    let factor = some(SaltFactor::find(&i.by))?;
    let ppm = factor.ppm(DsPerM(i.us_per_cm / 1000.0));
    Ok(Answers::from([
        (String::new(), Answer::Plain(ppm, "ppm")),
        ("back".into(), Answer::Level(Level::DsPerM(factor.conductivity(ppm)))),
    ]))
}

/// Whether the warning of salts that rise under cover is given, over tests of one method.
fn rising_salts(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: Method,
        printed: Vec<String>,
    }
    let i: In = inputs(table)?;
    let one_test = |printed: &String| {
        let test = cell(Analyte::Conductivity, printed, Unit::DsPerM, &i.method.slug(), Basis::Mass);
        read_cell(&test).map(|(reading, _)| reading)
    };
    let history: Vec<Reading> = i.printed.iter().map(one_test).collect::<Result<_, _>>()?;
    let warnings = under_cover(Cover::Tunnel, &history, &[], &Signs::default());
    let rising = warnings.iter().any(|warning| warning.text.starts_with("Salts are rising"));
    one(Answer::Text(if rising { "rising" } else { "not rising" }.into()))
}

/// The number of cores: the formula with the t that is given, and by "cores" the smallest number
/// that is enough by its own t.
fn cores_for(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        spread: f64,
        wanted: f64,
        t: f64,
    }
    let i: In = inputs(table)?;
    let found = cores(i.spread, i.wanted)?;
    grounded(&found.working)?;
    Ok(Answers::from([
        (String::new(), Answer::Plain(some(formula(i.spread, i.wanted, i.t))?, "")),
        ("cores".into(), Answer::Plain(f64::from(found.cores), "")),
    ]))
}

/// How many cores a publisher asks for.
fn cores_advised(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        publisher: String,
    }
    let i: In = inputs(table)?;
    let row = some(ADVISED.iter().find(|row| row.source.publisher.starts_with(&i.publisher)))?;
    Ok(Answers::from([
        ("least".into(), Answer::Plain(f64::from(row.least), "")),
        ("most".into(), Answer::Plain(f64::from(row.most), "")),
    ]))
}

/// How far labs are apart in tests, one standard deviation in %; by "… within" how far one lab is
/// from itself, where it is printed.
fn labs(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        tests: Vec<(Analyte, Method)>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for (analyte, method) in i.tests {
        if let TestError::Relative(cv) = between_labs(analyte, &method).0 {
            answers.insert(format!("{analyte} {}", method.slug()), Answer::Plain(cv * 100.0, "%"));
        }
        if let Some((TestError::Relative(cv), _)) = within_one_lab(analyte, &method) {
            answers.insert(format!("{analyte} {} within", method.slug()), Answer::Plain(cv * 100.0, "%"));
        }
    }
    Ok(answers)
}

/// A volume in another unit.
fn volume(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        value: f64,
        from: String,
        to: Vec<String>,
    }
    let i: In = inputs(table)?;
    let from = i.from.parse::<VolumeUnit>()?;
    let to = |name: &String| {
        let unit = name.parse::<VolumeUnit>()?;
        Ok((name.clone(), Answer::Plain(i.value * from.litres() / unit.litres(), "")))
    };
    i.to.iter().map(to).collect()
}

/// What a volume of a material weighs: "least" and "most" of what is printed.
fn loose(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        material: String,
        volume: f64,
        unit: String,
    }
    let i: In = inputs(table)?;
    let (least, most) = some(Loose::find(&i.material))?.weighs(i.volume, i.unit.parse()?);
    Ok(Answers::from([("least".into(), Answer::Mass(least)), ("most".into(), Answer::Mass(most))]))
}

/// Salt indices by name.
fn salt_index(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        materials: Vec<String>,
    }
    let i: In = inputs(table)?;
    let index = |name: &String| Ok((name.clone(), Answer::Plain(some(SaltIndex::find(name))?.index, "")));
    i.materials.iter().map(index).collect()
}

/// What materials do to lime, per 100; a second figure for one material as "… 2".
fn lime_effect(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        materials: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for name in &i.materials {
        for (at, effect) in LimeEffect::of(name).enumerate() {
            let key = if at == 0 { name.clone() } else { format!("{name} {}", at + 1) };
            answers.insert(key, Answer::Plain(effect.carbonate_per_100, ""));
        }
    }
    Ok(answers)
}

/// Points by which a bag may fall short of its label.
fn tolerance(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        guaranteed: Vec<(Element, f64)>,
    }
    let i: In = inputs(table)?;
    let points = |(element, percent): &(Element, f64)| {
        Ok((format!("{element} {percent}"), Answer::Plain(some(label_tolerance(*element, *percent))?, "%")))
    };
    i.guaranteed.iter().map(points).collect()
}

/// A spray on the leaf, g of the element in a litre.
fn spray(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
    }
    let i: In = inputs(table)?;
    let spray = some(Spray::of(i.element))?;
    let mut answers = Answers::from([("said".to_owned(), Answer::Text(spray.words.to_owned()))]);
    if let Some((low, high)) = spray.g_per_l() {
        answers.insert("least".into(), Answer::Plain(low, "g/L"));
        answers.insert("most".into(), Answer::Plain(high, "g/L"));
    }
    Ok(answers)
}

/// A material of the catalogue: % by element and oxide, "available N", "value" (neutralising),
/// "water", "solubility", "limit" with "limit per", and "others" print of it.
fn catalogue(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        slug: String,
    }
    let i: In = inputs(table)?;
    let found = some(amendment::find(&i.slug))?;
    let mut answers = Answers::new();
    for (element, part) in &found.analysis.parts {
        let percent = part.mass_fraction * 100.0;
        answers.insert(element.symbol().into(), Answer::Plain(percent, "%"));
        if let Some(oxide) = Form::oxide_of(*element) {
            answers.insert(oxide.symbol().into(), Answer::Plain(percent / oxide.to_element(), "%"));
        }
        answers.insert(format!("available {element}"), Answer::Plain(part.first_year_availability * 100.0, "%"));
    }
    let plain = [
        ("value", found.analysis.neutralising_value, "%"),
        ("water", found.analysis.moisture.map(|m| m * 100.0), "%"),
        ("solubility", found.solubility.as_ref().map(|s| s.value), "g/L"),
    ];
    answers.extend(
        plain.into_iter().filter_map(|(name, value, unit)| Some((name.to_owned(), Answer::Plain(value?, unit)))),
    );
    if let Some(limit) = &found.rate_limit {
        answers.insert("limit".into(), Answer::Rate(limit.rate));
        answers.insert("limit per".into(), Answer::Text(limit.per.clone()));
    }
    let others: Vec<&str> = found.also_printed.iter().map(|other| other.label.as_str()).collect();
    answers.insert("others".into(), Answer::Text(others.join("; ")));
    Ok(answers)
}

/// The most of each element in a season, by the key of the cap; by "… outermost" what no
/// decision may go beyond, by "… in force" whether it applies.
fn season_cap(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        crops: Vec<String>,
        texture: Texture,
    }
    let i: In = inputs(table)?;
    let find = |name: &String| Crop::find(name).ok_or_else(|| format!("“{name}” is not a crop known here"));
    let crops: Vec<Crop> = i.crops.iter().map(find).collect::<Result<_, _>>()?;
    let mut answers = Answers::new();
    for cap in season_caps(&crops, i.texture) {
        let key = cap.counted.key();
        if let Some((most, _)) = &cap.outermost {
            answers.insert(format!("{key} outermost"), Answer::Rate(*most));
        }
        answers.insert(format!("{key} in force"), Answer::Text(if cap.in_force { "yes" } else { "no" }.into()));
        answers.insert(key, Answer::Rate(cap.kg_per_ha));
    }
    Ok(answers)
}

/// What a crop carries away, or takes up whole, at a yield, by one table: by element and oxide,
/// with "… least" and "… most" where a range is printed.
fn removal(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        table: String,
        crop: String,
        part: String,
        t_per_ha: Option<f64>,
        short_tons_per_acre: Option<f64>,
    }
    let i: In = inputs(table)?;
    let crop = some(Crop::find(&i.crop))?;
    let part = i.part.parse::<Part>()?;
    let tonnes = match (i.t_per_ha, i.short_tons_per_acre) {
        (Some(tonnes), None) => tonnes,
        (None, Some(tons)) => RateUnit::TonnePerHa.show(RateUnit::TonPerAcre.read(tons)),
        _ => return Err("one yield".into()),
    };
    let rows = offtake::rows_for(&crop);
    let row = some(rows.into_iter().find(|row| row.table == i.table && row.part == part))?;
    let mut answers = Answers::new();
    for (element, span) in &row.kg_per_t {
        let names = std::iter::once((element.symbol(), 1.0))
            .chain(Form::oxide_of(*element).map(|oxide| (oxide.symbol(), oxide.to_element())));
        for (name, share) in names {
            let rate = |kg: f64| Answer::Rate(KgPerHa(kg * tonnes / share));
            answers.insert(name.to_owned(), rate(span.mid));
            answers.insert(format!("{name} least"), rate(span.low));
            answers.insert(format!("{name} most"), rate(span.high));
        }
        let doubted = if row.doubted.contains(element) { "yes" } else { "no" };
        answers.insert(format!("{element} doubted"), Answer::Text(doubted.into()));
    }
    Ok(answers)
}

/// What one author says of each level of a trace element on a plot like this; by volume of soil
/// where asked. By "… harms" the crops that are harmed; by "… not judged" why a level of an unstated
/// extract judges nothing, with that level as "low below".
fn trace_on(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        method: Method,
        author: String,
        levels: Vec<String>,
        #[serde(default = "loam")]
        texture: Texture,
        ph: Option<f64>,
        phosphorus: Option<f64>,
        #[serde(default)]
        by_volume: bool,
    }
    fn loam() -> Texture {
        Texture::Loam
    }
    let i: In = inputs(table)?;
    let conditions = Conditions { texture: i.texture, ph: i.ph, phosphorus: i.phosphorus };
    let (unit, basis) = if i.by_volume { (Unit::MgPerL, Basis::Volume) } else { (Unit::MgPerKg, Basis::Mass) };
    let mut answers = Answers::new();
    for level in &i.levels {
        let reading = read_cell(&cell(Analyte::Element(i.element), level, unit, &i.method.slug(), basis))?.0;
        let context = micronutrient::context(&reading, &conditions, false)?;
        let by = |publisher: &str| publisher.starts_with(&i.author);
        let harm = context.harm.iter().any(|harm| by(&harm.source.publisher));
        let opinion = context.opinions.iter().find(|opinion| by(&opinion.limit.source.publisher));
        let says = if harm { "may do harm" } else { opinion.map_or("says nothing", |opinion| opinion.says) };
        answers.insert(level.clone(), Answer::Text(says.into()));
        let whom = context.harm.iter().filter(|harm| by(&harm.source.publisher)).map(|harm| harm.words.as_str());
        answers.insert(format!("{level} harms"), Answer::Text(whom.collect::<Vec<_>>().join("; ")));
        if let Some((limit, why)) =
            context.not_for_this_plot.iter().find(|(limit, _)| by(&limit.source.publisher) && limit.extract_unstated)
        {
            answers.insert(format!("{level} not judged"), Answer::Text(why.clone()));
            answers.insert("low below".into(), Answer::Plain(limit.below.0, "mg/kg"));
        }
    }
    Ok(answers)
}
