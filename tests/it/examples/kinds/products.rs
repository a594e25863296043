//! Kinds of worked example for products, rates and masses.

use super::*;

pub const KINDS: &[Kind] = &[
    ("supplied", supplied),
    ("product_for", product_for),
    ("price", price),
    ("rate", rate),
    ("mass_on_area", mass_on_area),
    ("rate_of_mass", rate_of_mass),
    ("spread_depth", spread_depth),
    ("factor", factor),
    ("form_mass", form_mass),
    ("composition", composition),
    ("lime_for_value", lime),
    ("split", split),
    ("sulfur_for_carbonate", sulfur_for_carbonate),
    ("boron_ceiling", boron),
];

fn bag(label: &str, convention: Convention) -> Result<Analysis, String> {
    let analysis = Analysis::from_label(&from_label(label, convention)?, stated());
    match analysis.problems().into_iter().next() {
        Some(problem) => Err(problem),
        None => Ok(analysis),
    }
}

/// "P" or "P2O5": the element, and what share of the named form it is.
fn nutrient(name: &str) -> Result<(Element, f64), String> {
    match name.parse::<Form>() {
        Ok(form) => Ok((form.element(), form.to_element())),
        Err(_) => Ok((name.parse()?, 1.0)),
    }
}

fn part<'a>(analysis: &'a Analysis, element: Element) -> Result<&'a Part, String> {
    analysis.parts.get(&element).ok_or_else(|| format!("the label gives no {}", element.name()))
}

/// What a mass of a bag brings, by element and by the form its label prints.
fn supplied(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        label: String,
        #[serde(default)]
        convention: Convention,
        mass: f64,
        unit: MassUnit,
    }
    let i: In = inputs(table)?;
    let brought = bag(&i.label, i.convention)?.supplied(i.unit.read(i.mass));
    let mut answers = Answers::new();
    for (element, mass) in brought {
        answers.insert(element.symbol().into(), Answer::Mass(mass));
        if let Some(oxide) = Form::oxide_of(element) {
            answers.insert(oxide.symbol().into(), Answer::Mass(Grams(mass.0 / oxide.to_element())));
        }
    }
    Ok(answers)
}

/// The product for a need, as a mass, as a rate, or as a mass on an area.
fn product_for(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        label: String,
        #[serde(default)]
        convention: Convention,
        of: String,
        need: f64,
        unit: String,
        area: Option<f64>,
        area_unit: Option<AreaUnit>,
    }
    let i: In = inputs(table)?;
    let (element, share) = nutrient(&i.of)?;
    let analysis = bag(&i.label, i.convention)?;
    let part = part(&analysis, element)?;
    if let Ok(unit) = i.unit.parse::<MassUnit>() {
        return one(Answer::Mass(some(part.product_for(unit.read(i.need * share)))?));
    }
    let need = i.unit.parse::<RateUnit>()?.read(i.need * share);
    let area = match (i.area, i.area_unit) {
        (Some(area), Some(unit)) => Some(SquareMetres(area * unit.m2())),
        _ => None,
    };
    let hectare = SquareMetres(AreaUnit::Hectare.m2());
    let product = some(part.product_for(need.on(area.unwrap_or(hectare))))?;
    one(if area.is_some() { Answer::Mass(product) } else { Answer::Rate(product.per(hectare)) })
}

/// What a unit of an element costs in a bag.
fn price(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        label: String,
        of: String,
        price: f64,
        pack: f64,
        unit: MassUnit,
    }
    let i: In = inputs(table)?;
    let analysis = bag(&i.label, Convention::Oxide)?;
    let (element, _) = nutrient(&i.of)?;
    let per = some(part(&analysis, element)?.price_per(i.unit, i.price, i.unit.read(i.pack)))?;
    let words = if i.unit == MassUnit::Pound { "per lb" } else { "per unit of the pack" };
    one(Answer::Plain(per, words))
}

/// A rate from one printed unit to another.
fn rate(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        value: Option<f64>,
        #[serde(default)]
        values: Vec<f64>,
        from: RateUnit,
        to: RateUnit,
    }
    let i: In = inputs(table)?;
    let shown = |value| Answer::Plain(i.to.show(i.from.read(value)), i.to.slug());
    let several = i.values.iter().map(|v| (v.to_string(), shown(*v)));
    Ok(several.chain(i.value.map(|v| (String::new(), shown(v)))).collect())
}

/// A rate spread on an area.
fn mass_on_area(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rate: f64,
        rate_unit: RateUnit,
        area: f64,
        area_unit: AreaUnit,
    }
    let i: In = inputs(table)?;
    one(Answer::Mass(i.rate_unit.read(i.rate).on(SquareMetres(i.area * i.area_unit.m2()))))
}

/// The rate that a mass makes on an area.
fn rate_of_mass(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mass: f64,
        mass_unit: MassUnit,
        area: f64,
        area_unit: AreaUnit,
    }
    let i: In = inputs(table)?;
    one(Answer::Rate(i.mass_unit.read(i.mass).per(SquareMetres(i.area * i.area_unit.m2()))))
}

/// The depth that a volume makes.
fn spread_depth(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        yd3_per_1000_ft2: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(inches(depth_of_yd3_per_1000_ft2(i.yd3_per_1000_ft2)), "in"))
}

/// The factor between an element and a form of it.
fn factor(table: &toml::Table) -> Outcome {
    one(Answer::Plain(between(table)?.1, ""))
}

/// A mass of one form as another.
fn form_mass(table: &toml::Table) -> Outcome {
    let (mass, factor) = between(table)?;
    one(Answer::Plain(mass * factor, "kg"))
}

fn between(table: &toml::Table) -> Result<(f64, f64), String> {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        #[serde(default)]
        mass: f64,
        from: String,
        to: String,
    }
    let i: In = inputs(table)?;
    let ((from, share), (to, other)) = (nutrient(&i.from)?, nutrient(&i.to)?);
    if from == to { Ok((i.mass, share / other)) } else { Err(format!("{} is no form of {}", i.to, i.from)) }
}

/// A pure compound by its formula, % of each element.
fn composition(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        formula: String,
    }
    let i: In = inputs(table)?;
    let formula: Formula = i.formula.parse()?;
    let share = |e: &Element| (e.symbol().to_owned(), Answer::Plain(formula.mass_fraction(*e) * 100.0, "%"));
    Ok(formula.atoms().keys().map(share).collect())
}

/// A rate of lime for a material of another neutralising value.
fn lime(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rate: f64,
        value: f64,
        #[serde(default = "pure")]
        assumed_value: f64,
    }
    fn pure() -> f64 {
        100.0
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(some(lime_for_value(i.rate, i.assumed_value, i.value))?, ""))
}

/// In how many parts a dose is given.
fn split(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rule: String,
        rates: Vec<f64>,
        unit: RateUnit,
    }
    let i: In = inputs(table)?;
    let rule = match i.rule.as_str() {
        "lime" => Split::LIME,
        "epsom" => Split::EPSOM,
        other => return Err(format!("“{other}” is not a rule known here")),
    };
    let parts = |rate: f64| f64::from(rule.applications(i.unit.read(rate).grams_per_m2()));
    let mut answers: Answers = i.rates.iter().map(|r| (r.to_string(), Answer::Plain(parts(*r), ""))).collect();
    answers.insert("months apart".into(), Answer::Plain(f64::from(rule.months_apart), ""));
    Ok(answers)
}

/// Sulfur that free lime uses up.
fn sulfur_for_carbonate(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        carbonate_percent: f64,
        layer: String,
    }
    let i: In = inputs(table)?;
    let layer = SoilLayer::Convention(convention(&i.layer)?);
    one(Answer::Rate(sulfur_to_spend_carbonate(i.carbonate_percent, &layer)))
}

/// The most boron for a bed that carries these crops.
fn boron(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        crops: Vec<String>,
    }
    let i: In = inputs(table)?;
    let find = |name: &String| Crop::find(name).ok_or_else(|| format!("“{name}” is not a crop known here"));
    let crops: Vec<Crop> = i.crops.iter().map(find).collect::<Result<_, _>>()?;
    one(Answer::Rate(boron_ceiling(crops).ceiling))
}
