//! What each kind of worked example runs. A kind hands its inputs to the function of the
//! program that answers, and puts nothing of its own between.

mod conversions;
mod facts;
mod interpretation;
mod products;
mod rates;
mod salts;
mod soil;
mod years;

use glebe::{
    agronomy::{
        amendment::{Analysis, Convention, Part, from_label, lime_for_value},
        analyte::Analyte,
        carbonate::{Signs, signs},
        caution::sulfur_to_spend_carbonate,
        choice::{Choice, choose},
        confidence::p_below_target_normal,
        crop::{Crop, boron_ceiling},
        element::{Element, Form, Formula},
        exchange_capacity::{self, Parts},
        ground::{Cover, Ground, Texture},
        guideline::{self, Guideline, LandUse, SplitOf, shipped_splits},
        method::Method,
        need::{self, BuildUp, Way},
        quantity::{
            Centimetres, Grams, GramsPerCm3, KgPerHa, LayerConvention, MgPerKg, MgPerL, SoilLayer, SquareMetres,
            by_volume_kg_per_ha,
        },
        rate::{AreaUnit, MassUnit, RateUnit, depth_of_yd3_per_1000_ft2, inches},
        reading::{Divisors, Level, Reading, cmol, read},
        record::{Basis, CellKey, Determination, Report, Sampling, Unit},
        source::{Citation, Evidence},
        standing::{Chosen, Setting, stand},
    },
    exchange::number::parse_printed,
};
use serde::{Deserialize, de::DeserializeOwned};
use std::collections::BTreeMap;

/// Something that came out.
pub enum Answer {
    Mass(Grams),
    Rate(KgPerHa),
    Level(Level),
    /// A number that has only this unit (empty: none).
    Plain(f64, &'static str),
    Text(String),
}

impl Answer {
    /// The number in the unit that is asked for.
    pub fn number(&self, unit: Option<&str>) -> Result<f64, String> {
        let asked = || unit.ok_or_else(|| "expect needs a unit".to_owned());
        match self {
            Answer::Mass(mass) => Ok(asked()?.parse::<MassUnit>()?.show(*mass)),
            Answer::Rate(rate) => Ok(asked()?.parse::<RateUnit>()?.show(*rate)),
            Answer::Level(level) if asked()? == level.unit() => Ok(level.number()),
            Answer::Level(level) => Err(format!("the answer is in {}", level.unit())),
            Answer::Plain(number, own) if unit.is_none_or(|unit| own.is_empty() || unit == *own) => Ok(*number),
            Answer::Plain(_, own) => Err(format!("the answer is in {own}")),
            Answer::Text(text) => Err(format!("“{text}”, where a number is expected")),
        }
    }

    pub fn text(&self) -> Option<&str> {
        match self {
            Answer::Text(text) => Some(text),
            _ => None,
        }
    }
}

/// Answers by name; the only answer of a case has the empty name.
pub type Answers = BTreeMap<String, Answer>;

type Outcome = Result<Answers, String>;

/// A kind by name, and what runs it.
type Kind = (&'static str, fn(&toml::Table) -> Outcome);

/// Every kind and what runs it.
pub fn all() -> impl Iterator<Item = &'static Kind> {
    let of = [
        conversions::KINDS,
        facts::KINDS,
        products::KINDS,
        soil::KINDS,
        interpretation::KINDS,
        rates::KINDS,
        salts::KINDS,
        years::KINDS,
    ];
    of.into_iter().flatten()
}

/// Runs a kind on its inputs.
pub fn run(kind: &str, inputs: &toml::Table) -> Outcome {
    match all().find(|(name, _)| *name == kind) {
        Some((_, run)) => run(inputs),
        None => Err(format!("“{kind}” is not a kind known here")),
    }
}

fn inputs<T: DeserializeOwned>(table: &toml::Table) -> Result<T, String> {
    table.clone().try_into().map_err(|e| e.to_string())
}

fn one(answer: Answer) -> Outcome {
    Ok(Answers::from([(String::new(), answer)]))
}

fn some<T>(value: Option<T>) -> Result<T, String> {
    value.ok_or_else(|| "the program gives no answer".into())
}

/// A citation for what a case types in itself.
fn stated() -> Citation {
    Citation {
        publisher: "the example".into(),
        title: "as stated there".into(),
        year: 0,
        address: String::new(),
        evidence: Evidence::Read,
    }
}

/// A printed cell, as a lab's sheet gives it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Cell {
    analyte: Analyte,
    printed: String,
    unit: Unit,
    #[serde(default = "unstated")]
    method: String,
    form: Option<String>,
    #[serde(default)]
    basis: Basis,
    layer: Option<String>,
    /// mg/kg per cmol(+)/kg that the publisher uses; left out: exact.
    divisor: Option<f64>,
}

fn unstated() -> String {
    "unstated".into()
}

/// A sampling with one report of these cells.
fn sampling(cells: Vec<Determination>) -> Sampling {
    let report = Report { key: 1, lab: "the example’s lab".into(), determinations: cells };
    Sampling {
        key: 1,
        sampled_on: jiff::civil::date(2000, 1, 1),
        date_assumed: true,
        depth: None,
        cores: None,
        fizz: None,
        reports: vec![report],
    }
}

fn determination(key: i64, cell: &Cell) -> Result<Determination, String> {
    let read = parse_printed(&cell.printed).map_err(|p| format!("{p:?}"))?;
    Ok(Determination {
        key: CellKey(key),
        analyte: cell.analyte,
        method: cell.method.parse::<Method>()?,
        printed: read.printed().ok_or("an empty cell")?,
        unit: cell.unit,
        form: cell.form.as_deref().map(str::parse).transpose()?,
        basis: cell.basis,
        layer: cell.layer.as_deref().map(convention).transpose()?,
    })
}

fn divisors(of: impl IntoIterator<Item = (Element, f64)>) -> Divisors {
    Divisors::published("the publisher’s own", of, stated())
}

fn read_cell(cell: &Cell) -> Result<(Reading, Divisors), String> {
    let sampling = sampling(vec![determination(1, cell)?]);
    let report = &sampling.reports[0];
    let divisors = divisors(cell.analyte.element().zip(cell.divisor));
    let reading = read(&sampling, report, &report.determinations[0], &divisors).map_err(|u| u.reason)?;
    if !reading.working.is_grounded() {
        return Err("the working of the reading does not reach its cell".into());
    }
    Ok((reading, divisors))
}

/// What the cells of one sheet show of lime and salts, and which reading speaks for each analyte.
struct ReadSheet {
    signs: Signs,
    choices: BTreeMap<Analyte, Choice>,
}

fn read_sheet(cells: &[Cell], divisors: &Divisors) -> Result<ReadSheet, String> {
    let cells = cells.iter().zip(1..).map(|(cell, key)| determination(key, cell)).collect::<Result<_, _>>()?;
    let sampling = sampling(cells);
    let readings: Vec<Reading> = sampling
        .determinations()
        .map(|(report, d)| read(&sampling, report, d, divisors).map_err(|u| u.reason))
        .collect::<Result<_, _>>()?;
    let signs = signs(&sampling, &readings, None);
    let choices = choose(&readings, &signs, &[], |_| true);
    Ok(ReadSheet { signs, choices })
}

/// A shipped guideline, with what is known only from memory where asked.
fn set(slug: &str, memory: bool) -> Result<Guideline, String> {
    let found = guideline::find(slug).ok_or_else(|| format!("no guideline “{slug}”"))?;
    Ok(if memory { found.with_memory() } else { found.clone() })
}

fn convention(slug: &str) -> Result<LayerConvention, String> {
    LayerConvention::find(slug).ok_or_else(|| format!("“{slug}” is not a soil mass known here"))
}
