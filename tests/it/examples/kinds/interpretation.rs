//! Kinds of worked example for the rest of a sheet: lime, nitrogen, salt, trace elements,
//! contaminants.

use super::{Answer, Answers, Cell, Kind, Outcome, inputs, one, read_cell};
use glebe::agronomy::{
    analyte::Analyte,
    ground::{Cover, Ground, Texture},
    guideline::LandUse,
    lime::{self, FinenessScheme, LimeMethod, LimeProduct, LimeValue, Soil, SplitRule, UkSoil},
    method::Method,
    quantity::{Centimetres, CmolPerKg, GramsPerCm3, SquareMetres},
    rate::RateUnit,
    reading::Reading,
    record::Unit,
};
use serde::Deserialize;

pub const KINDS: &[Kind] = &[
    ("lime", lime_requirement),
    ("uk_ph", uk_ph),
    ("fineness", fineness),
    ("lime_value", lime_value),
    ("lime_parts", lime_parts),
];

fn ground(depth_cm: f64, bulk_density: f64, texture: Texture) -> Ground {
    Ground {
        area: SquareMetres(1.0),
        cover: Cover::Open,
        texture,
        bulk_density: Some(GramsPerCm3(bulk_density)),
        depth: Centimetres(depth_cm),
        stones: 0.0,
    }
}

fn ph_cell(analyte: Analyte, printed: &str, method: &str) -> Cell {
    Cell {
        analyte,
        printed: printed.to_owned(),
        unit: Unit::Ph,
        method: method.to_owned(),
        form: None,
        basis: Default::default(),
        layer: None,
        divisor: None,
    }
}

/// The lime requirement by a method. With `buffers` or `phs` one answer for each of them;
/// otherwise the answer itself, "carbonate" for this plot, and what was said.
fn lime_requirement(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: String,
        ph: Option<String>,
        #[serde(default = "water")]
        ph_method: String,
        #[serde(default)]
        phs: Vec<String>,
        buffer: Option<String>,
        buffer_method: Option<String>,
        #[serde(default)]
        buffers: Vec<String>,
        acidity: Option<Cell>,
        aluminium: Option<Cell>,
        target_ph: Option<f64>,
        target_smp: Option<f64>,
        soil: Option<String>,
        tolerable: Option<f64>,
        depth_cm: Option<f64>,
        bulk_density: Option<f64>,
    }
    let i: In = inputs(table)?;
    let method: LimeMethod = i.method.parse()?;
    let mut aim = lime::Aim::default();
    aim.target_ph = i.target_ph.unwrap_or(aim.target_ph);
    aim.target_smp = i.target_smp.unwrap_or(aim.target_smp);
    aim.uk_soil = i.soil.as_deref().map_or(Ok(aim.uk_soil), str::parse::<UkSoil>)?;
    aim.tolerable_aluminium = i.tolerable.map_or(aim.tolerable_aluminium, CmolPerKg);
    let ground = ground(i.depth_cm.unwrap_or(15.0), i.bulk_density.unwrap_or(1.3), Texture::Loam);
    let buffer_method = i.buffer_method.unwrap_or_else(|| Method::Unstated.slug());
    let read = |cell: Option<Cell>| cell.map(|c| read_cell(&c)).transpose().map(|r| r.map(|(reading, _)| reading));
    let (acidity, aluminium) = (read(i.acidity)?, read(i.aluminium)?);
    let reckon = |ph: Option<&str>, buffer: Option<&str>| -> Result<_, String> {
        let ph = read(ph.map(|ph| ph_cell(Analyte::Ph, ph, &i.ph_method)))?;
        let buffer = read(buffer.map(|b| ph_cell(Analyte::BufferPh, b, &buffer_method)))?;
        let soil = Soil {
            ph: ph.as_ref(),
            buffers: buffer.iter().collect::<Vec<&Reading>>(),
            acidity: acidity.as_ref(),
            aluminium: aluminium.as_ref(),
            ground: &ground,
        };
        let found = lime::requirement(method, &soil, &aim);
        if found.as_ref().is_ok_and(|r| !r.working.is_grounded()) {
            return Err("the working of the lime does not reach its cells".into());
        }
        Ok(found)
    };
    let unit = method.reference().unit.slug();
    let mut answers = Answers::new();
    for buffer in &i.buffers {
        let found = reckon(i.ph.as_deref(), Some(buffer))??;
        answers.insert(buffer.clone(), Answer::Plain(found.printed, unit));
        let interpolated = if found.interpolated { "between" } else { "printed" };
        answers.insert(format!("{buffer} row"), Answer::Text(interpolated.into()));
    }
    for ph in &i.phs {
        answers.insert(ph.clone(), Answer::Plain(reckon(Some(ph), i.buffer.as_deref())??.printed, unit));
    }
    if answers.is_empty() {
        match reckon(i.ph.as_deref(), i.buffer.as_deref())? {
            Ok(found) => {
                answers.insert(String::new(), Answer::Plain(found.printed, unit));
                answers.insert("carbonate".into(), Answer::Rate(found.carbonate));
            }
            Err(why) => {
                answers.insert("refused".into(), Answer::Text(why));
            }
        }
    }
    Ok(answers)
}

fn water() -> String {
    Method::PhWater.slug()
}

/// The British optimum and target pH.
fn uk_ph(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        land_use: LandUse,
        soil: String,
    }
    let i: In = inputs(table)?;
    let row = lime::uk_ph(i.land_use, &i.soil).ok_or("no such row")?;
    Ok(Answers::from([
        ("optimum".into(), Answer::Plain(row.optimum, "")),
        ("target".into(), Answer::Plain(row.target(), "")),
    ]))
}

/// The share of a lime that is fine enough, from its sieve fractions.
fn fineness(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        scheme: String,
        fractions: Option<Vec<f64>>,
        passing: Option<Vec<f64>>,
    }
    let i: In = inputs(table)?;
    let scheme = FinenessScheme::find(&i.scheme).ok_or("no such scheme")?;
    let fractions = match (i.fractions, i.passing) {
        (Some(fractions), None) => fractions,
        (None, Some(passing)) => lime::fractions_from_passing(&passing)?,
        _ => return Err("fractions or passing".into()),
    };
    one(Answer::Plain(scheme.share(&fractions)?.0 * 100.0, "%"))
}

/// A neutralising value as % of pure calcium carbonate.
fn lime_value(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        calcium_oxide: Option<f64>,
        effective_lb_per_ton: Option<f64>,
        carbonate: Option<f64>,
        moisture: Option<f64>,
    }
    let i: In = inputs(table)?;
    let value = match (i.calcium_oxide, i.effective_lb_per_ton, i.carbonate) {
        (Some(v), None, None) => LimeValue::CalciumOxide(v),
        (None, Some(v), None) => LimeValue::EffectiveLbPerTon(v),
        (None, None, Some(v)) => LimeValue::Carbonate(v),
        _ => return Err("one value".into()),
    };
    let product = LimeProduct { value, fineness: None, moisture_percent: i.moisture };
    one(Answer::Plain(product.effective_percent()?.0, "%"))
}

/// In how many parts lime is given.
fn lime_parts(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rule: String,
        rates: Vec<f64>,
        unit: RateUnit,
    }
    let i: In = inputs(table)?;
    let rule = SplitRule::find(&i.rule).ok_or("no such rule")?;
    let parts = |rate: f64| Answer::Plain(rule.parts(i.unit.read(rate)).len() as f64, "");
    let mut answers: Answers = i.rates.iter().map(|rate| (rate.to_string(), parts(*rate))).collect();
    answers.insert("months apart".into(), Answer::Plain(f64::from(rule.months_apart), ""));
    Ok(answers)
}
