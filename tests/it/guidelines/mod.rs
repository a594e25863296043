//! Guidelines, standing and confidence against what their publishers print.

mod edges;
mod stands;
mod texts;

use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    choice::choose,
    confidence,
    element::Element::{self, B, Ca, Cu, Fe, K, Mg, Mn, Na, P, Zn},
    exchange_capacity::{self, Capacity, Parts},
    ground::Texture,
    guideline::{self, Facts, Guideline, Index, LandUse, Position, Rule},
    method::Method,
    quantity::{CmolPerKg, MgPerKg, MgPerL},
    reading::{Level, Reading},
    record::{CellKey, Qualifier},
    source::Evidence,
    standing::{Chosen, NutrientStanding, Setting, Standing, stand},
    working::{Figure, Origin, Working},
};
use jiff::civil::date;
use proptest::prelude::*;
use std::{collections::BTreeMap, sync::LazyLock};

pub fn set(slug: &str) -> &'static Guideline {
    guideline::find(slug).unwrap_or_else(|| panic!("the set {slug} did not parse"))
}

fn facts(land_use: LandUse) -> Facts {
    Facts { land_use, texture: Texture::Loam, ph: Some(6.5), carbonate: false }
}

/// A reading as if the lab had printed it in canonical units.
fn reading(analyte: Analyte, method: Method, level: Level) -> Reading {
    let cell = CellKey(analyte.to_string().bytes().map(i64::from).sum());
    let working = Working::leaf(analyte.name(), Figure::new(level.number(), level.unit(), 1), Origin::Cell(cell));
    Reading {
        analyte,
        method,
        level,
        qualifier: Qualifier::Exact,
        decimals: 1,
        sampled_on: date(2026, 3, 1),
        depth: None,
        lab: "Lab".into(),
        sampling: 0,
        cell,
        working,
    }
}

pub fn mg_kg(element: Element, method: Method, value: f64) -> Reading {
    reading(Analyte::Element(element), method, Level::MgPerKg(MgPerKg(value)))
}

pub fn mg_l(element: Element, method: Method, value: f64) -> Reading {
    reading(Analyte::Element(element), method, Level::MgPerL(MgPerL(value)))
}

fn ph(value: f64) -> Reading {
    reading(Analyte::Ph, Method::PhWater1to1, Level::Ph(value))
}

pub fn setting(lime: bool, capacity: Result<&Capacity, String>) -> Setting<'_> {
    static NONE: LazyLock<Signs> = LazyLock::new(Signs::default);
    static LIME: LazyLock<Signs> =
        LazyLock::new(|| Signs { reasons: vec!["It fizzes with 1 M hydrochloric acid".into()], ..Signs::default() });
    Setting {
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: if lime { &LIME } else { &NONE },
        capacity,
    }
}

pub fn place(readings: &[Reading], guideline: &Guideline, setting: &Setting<'_>) -> Standing {
    let reasons = ["The only reading".to_owned()];
    let chosen: Vec<_> = readings.iter().map(|reading| Chosen { reading, reasons: &reasons }).collect();
    stand(&chosen, guideline, setting)
}

/// One reading under one guideline, on soil without lime and without a known capacity.
fn alone(reading: Reading, guideline: &Guideline) -> NutrientStanding {
    place(&[reading], guideline, &setting(false, Err("no capacity".into()))).nutrients.remove(0)
}

/// A capacity as a sheet states it.
fn capacity(cmol: f64) -> Capacity {
    let level = Level::CmolPerKg(CmolPerKg(cmol));
    let stated = reading(Analyte::ExchangeCapacity, Method::CapacityAcetate82, level);
    let cations = BTreeMap::new();
    Capacity {
        level,
        stated: true,
        working: stated.working,
        cations,
        acidity: None,
        base_saturation: None,
        notes: vec![],
    }
}

/// The classes that a publisher's edges fall in, values being in the printed unit.
fn classes_at(slug: &str, element: Element, land_use: LandUse, edges: &[(f64, &str)]) {
    let set = set(slug).with_memory();
    let criterion = set
        .criteria
        .iter()
        .filter(|c| {
            c.analyte == Analyte::Element(element)
                && matches!(c.rule, Rule::Classes(_))
                && (c.when.uses.is_empty() || c.when.uses.contains(&land_use))
        })
        // What was read comes before what is recalled of the same set.
        .min_by_key(|c| c.is_from_memory())
        .expect("a table of classes");
    let Rule::Classes(classes) = &criterion.rule else { unreachable!() };
    for (value, class) in edges {
        assert_eq!(classes.classify(*value, criterion.decimals).name, *class, "{slug} {element} at {value}");
    }
}
