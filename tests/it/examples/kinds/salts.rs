//! Kinds of worked example for salts, sodium, trace elements and metals.

use super::{
    Answer, Answers, Kind, Outcome, inputs,
    interpretation::{cell, grounded, ph_cell, water},
    one, read_cell,
};
use glebe::agronomy::{
    analyte::Analyte,
    contaminant::{self, Content, Side},
    element::Element,
    ground::Texture,
    method::Method,
    micronutrient::{self, Conditions, IndexOf},
    quantity::{Centimetres, CmolPerKg, DsPerM, GramsPerCm3, Percent},
    reading::Reading,
    record::{Basis, Unit},
    salinity::{self, Exchange, GypsumCase, MediaTest, Solution, Tolerance},
    working::Working,
};
use serde::Deserialize;

pub const KINDS: &[Kind] = &[
    ("ec_class", ec_class),
    ("paste_estimates", paste_estimates),
    ("media_class", media_class),
    ("salt_yield", salt_yield),
    ("sodium_ratio", sodium_ratio),
    ("gypsum", gypsum),
    ("manganese_index", manganese_index),
    ("screening", screening),
    ("extractable", extractable),
    ("trace", trace),
    ("sodium_class", sodium_class),
];

fn conductivity(printed: &str, method: &str) -> Result<Reading, String> {
    Ok(read_cell(&cell(Analyte::Conductivity, printed, Unit::DsPerM, method, Basis::Mass))?.0)
}

/// The class of each conductivity, and of the paste by "… group" the other publisher’s.
fn ec_class(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: String,
        clay: Option<String>,
        printed: Vec<String>,
    }
    let i: In = inputs(table)?;
    let particles = Method::ParticleSize.slug();
    let clay = i.clay.map(|c| read_cell(&cell(Analyte::Clay, &c, Unit::Percent, &particles, Basis::Mass)));
    let clay = clay.transpose()?.map(|(reading, _)| reading);
    let mut answers = Answers::new();
    for printed in &i.printed {
        let text = match salinity::class(&conductivity(printed, &i.method)?, clay.as_ref()) {
            Ok(answer) => {
                grounded(&answer.working)?;
                answer.class.to_owned()
            }
            Err(why) => why,
        };
        answers.insert(printed.clone(), Answer::Text(text));
        if let Some(group) = salinity::plant_group(&conductivity(printed, &i.method)?) {
            grounded(&group.working)?;
            answers.insert(format!("{printed} group"), Answer::Text(group.class.to_owned()));
        }
    }
    Ok(answers)
}

/// The paste's conductivity from 1:5 by each author.
fn paste_estimates(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        printed: String,
    }
    let i: In = inputs(table)?;
    let estimates = salinity::paste_from_1to5(&conductivity(&i.printed, &Method::Ec1to5.slug())?)?;
    Ok(estimates.into_iter().map(|e| (e.author.to_owned(), Answer::Plain(e.value.0, "dS/m"))).collect())
}

/// The class of a potting mix.
fn media_class(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        test: String,
        values: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let test = match i.test.as_str() {
        "1:2" => MediaTest::OneToTwo,
        "saturated" => MediaTest::Saturated,
        "pour_through" => MediaTest::PourThrough,
        other => return Err(format!("no test “{other}”")),
    };
    let class = |v: f64| Ok((v.to_string(), Answer::Text(salinity::media_class(test, v)?.0.into())));
    i.values.into_iter().map(class).collect()
}

/// % of yield at conductivities of the paste, or the conductivity at which a % is left.
fn salt_yield(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        crop: String,
        #[serde(default)]
        paste: Vec<f64>,
        #[serde(default)]
        yields: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let row = Tolerance::find(&i.crop).ok_or("no such row")?;
    let at = i.paste.iter().map(|ec| (ec.to_string(), Answer::Plain(row.yield_percent(DsPerM(*ec)), "%")));
    let left = i.yields.iter().map(|y| (format!("{y} %"), Answer::Plain(row.paste_for(*y).0, "dS/m")));
    Ok(at.chain(left).collect())
}

/// Sodium adsorption from mg/L, with each cation in meq/L and the share of the exchange estimated.
fn sodium_ratio(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        ca: Option<f64>,
        mg: Option<f64>,
        na: Option<f64>,
        sar: Option<f64>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    let (ratio, working) = match (i.ca, i.mg, i.na, i.sar) {
        (Some(ca), Some(mg), Some(na), None) => {
            let solution = Solution::from_mg_per_l(ca, mg, na);
            let parts = [("Ca", &solution.calcium), ("Mg", &solution.magnesium), ("Na", &solution.sodium)];
            answers.extend(parts.map(|(name, part)| (name.to_owned(), Answer::Plain(part.0.0, "meq/L"))));
            salinity::sodium_adsorption(&solution)?
        }
        (None, None, None, Some(sar)) => {
            let figure = glebe::agronomy::working::Figure::new(sar, "", 0);
            (sar, Working::leaf("SAR", figure, glebe::agronomy::working::Origin::Entered))
        }
        _ => return Err("three cations or the ratio".into()),
    };
    grounded(&working)?;
    answers.insert("SAR".into(), Answer::Plain(ratio, ""));
    answers.insert("class".into(), Answer::Text(salinity::sar_class_us(ratio).into()));
    answers.insert("ESP".into(), Answer::Plain(salinity::esp_from_sar(ratio, working)?.0.0, "%"));
    Ok(answers)
}

/// A gypsum requirement.
fn gypsum(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cec: f64,
        esp_from: f64,
        esp_to: f64,
        depth_cm: f64,
        bulk_density: f64,
        losses: f64,
        purity: f64,
        #[serde(default)]
        moisture: f64,
    }
    let i: In = inputs(table)?;
    let case = GypsumCase {
        exchange: Exchange { capacity: CmolPerKg(i.cec), esp_from: Percent(i.esp_from), esp_to: Percent(i.esp_to) },
        depth: Centimetres(i.depth_cm),
        bulk_density: GramsPerCm3(i.bulk_density),
        losses: i.losses,
        purity: Percent(i.purity),
        moisture: Percent(i.moisture),
    };
    match salinity::gypsum_requirement(&case) {
        Ok(rate) => {
            grounded(&rate.working)?;
            one(Answer::Rate(rate.rate))
        }
        Err(why) => Ok(Answers::from([("refused".into(), Answer::Text(why))])),
    }
}

/// A manganese availability index: Rutgers from ppm, North Carolina from mg/L or its own index.
fn manganese_index(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        of: String,
        printed: String,
        ph: String,
    }
    let i: In = inputs(table)?;
    let (of, unit, basis) = match i.of.as_str() {
        "rutgers" => (IndexOf::Rutgers, Unit::Ppm, Basis::Mass),
        "north_carolina" => (IndexOf::NorthCarolina, Unit::MgPerL, Basis::Volume),
        other => return Err(format!("no index “{other}”")),
    };
    let extract = Method::Mehlich3Icp.slug();
    let manganese = read_cell(&cell(Analyte::Element(Element::Mn), &i.printed, unit, &extract, basis))?.0;
    let ph = read_cell(&ph_cell(Analyte::Ph, &i.ph, &water()))?.0;
    let index = micronutrient::manganese_index(of, &manganese, &ph)?;
    grounded(&index.working)?;
    Ok(Answers::from([
        (String::new(), Answer::Plain(index.value, "")),
        ("class".into(), Answer::Text(index.class.into())),
    ]))
}

/// On which side of each published value a total content lies.
fn screening(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        set: String,
        ph: Option<f64>,
        levels: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for level in &i.levels {
        let total = Method::Total.slug();
        let reading = read_cell(&cell(Analyte::Element(i.element), level, Unit::MgPerKg, &total, Basis::Mass))?.0;
        let Content::Total(total) = contaminant::content(&reading)? else { return Err("not a total".into()) };
        let screening = contaminant::screen(&total, i.ph, None, true);
        let found = screening.comparisons.iter().find(|c| c.set.slug == i.set).ok_or("this set does not apply")?;
        grounded(&found.working)?;
        let side = match found.side {
            Side::Below => "below",
            Side::Within => "within",
            Side::AtOrAbove => "at or above",
            Side::NotKnown => "not known",
        };
        answers.insert(level.clone(), Answer::Text(side.into()));
    }
    Ok(answers)
}

/// What is said of an extractable content, and that no set of values takes it.
fn extractable(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        method: String,
        levels: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for level in &i.levels {
        let reading = read_cell(&cell(Analyte::Element(i.element), level, Unit::MgPerKg, &i.method, Basis::Mass))?.0;
        let Content::Extractable(part) = contaminant::content(&reading)? else {
            return Err("an extract taken for a total".into());
        };
        let (words, working) = contaminant::screen_extractable(&part);
        working.as_ref().map_or(Ok(()), grounded)?;
        let says = [("is above what", "above usual"), ("is what this laboratory usually finds", "usual")];
        let says = says.iter().find(|(part, _)| words.contains(part)).map_or("no value", |(_, says)| says);
        answers.insert(level.clone(), Answer::Text(says.into()));
    }
    Ok(answers)
}

/// What one author says of each level of a trace element.
fn trace(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        method: String,
        author: String,
        levels: Vec<String>,
        ph: Option<f64>,
        phosphorus: Option<f64>,
        #[serde(default)]
        memory: bool,
    }
    let i: In = inputs(table)?;
    let conditions = Conditions { texture: Texture::Loam, ph: i.ph, phosphorus: i.phosphorus };
    let mut answers = Answers::new();
    for level in &i.levels {
        let reading = read_cell(&cell(Analyte::Element(i.element), level, Unit::MgPerKg, &i.method, Basis::Mass))?.0;
        let context = micronutrient::context(&reading, &conditions, i.memory)?;
        let opinion = context.opinions.iter().find(|o| o.limit.source.publisher.starts_with(&i.author));
        let harm = context.harm.iter().any(|h| h.source.publisher.starts_with(&i.author));
        let says = if harm { "may do harm" } else { opinion.map_or("says nothing", |opinion| opinion.says) };
        answers.insert(level.clone(), Answer::Text(says.into()));
    }
    Ok(answers)
}

/// The classes of each share of sodium, and of both salts and sodium.
fn sodium_class(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        #[serde(default)]
        esp: Vec<f64>,
        paste: Option<f64>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for esp in i.esp {
        let share = Percent(esp);
        answers.insert(format!("{esp} US"), Answer::Text(salinity::esp_class_us(share).into()));
        answers.insert(format!("{esp} Australia"), Answer::Text(salinity::esp_class_australia(share).into()));
        if let Some(both) = salinity::saline_sodic(i.paste.map(DsPerM), Some(esp)) {
            answers.insert(format!("{esp} both"), Answer::Text(both.into()));
        }
    }
    Ok(answers)
}
