//! Drift against published worked examples and against other people's programs.

mod golden;
mod published;
mod segments;
mod words;

use glebe::agronomy::{
    analyte::Analyte,
    confidence::TestError,
    drift::{
        self, Coverage, Direction, ErrorSettings, Finding, Found, Fraction, MannKendall, Scale, Segment, Strength,
        Weighed,
    },
    element::Element,
    method::Method,
    quantity::{Centimetres, MgPerKg, MgPerL},
    reading::{Level, Reading},
    record::{CellKey, DepthBand, Qualifier},
    working::{Figure, Origin, Working},
};
use jiff::civil::{Date, date};
use proptest::prelude::*;
use serde_json::Value;
use std::{collections::BTreeSet, path::PathBuf};

/// A test of Olsen P by one lab from 0 to 23 cm; change what differs.
fn olsen(cell: i64, on: Date, mg_per_kg: f64) -> Reading {
    Reading {
        analyte: Analyte::Element(Element::P),
        method: Method::Olsen,
        level: Level::MgPerKg(MgPerKg(mg_per_kg)),
        qualifier: Qualifier::Exact,
        decimals: 1,
        sampled_on: on,
        depth: band(23.0),
        lab: "North".into(),
        sampling: 0,
        cell: CellKey(cell),
        working: Working::leaf("found", Figure::new(mg_per_kg, "mg/kg", 1), Origin::Cell(CellKey(cell))),
    }
}

fn band(bottom: f64) -> Option<DepthBand> {
    Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(bottom) })
}

fn split(readings: &[Reading]) -> Vec<Segment> {
    drift::segments(readings, &BTreeSet::new(), &ErrorSettings::default())
}

fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected.abs().max(1e-12), "found {found}, expected {expected}");
}

/// Signs of a series in order of time, ties kept: values in thousandths.
fn ranked(values: &[f64]) -> Vec<Found<i64>> {
    values.iter().map(|value| Found::Exact((value * 1000.0).round() as i64)).collect()
}

fn by_ranks(values: &[f64]) -> MannKendall {
    drift::mann_kendall(&[ranked(values)])
}

fn slopes(years: &[f64], values: &[f64]) -> drift::TheilSen {
    drift::theil_sen(&[years.iter().copied().zip(values.iter().copied()).collect()]).unwrap()
}

/// Numbers made by other people's programs (Python with scipy 1.17.1, statsmodels 0.15.0; R
/// 4.2.2 with EnvStats, NADA, survival, metafor), read from the directory named in
/// GLEBE_ORACLES; not part of a clone, so absent is said and not failed.
pub(super) fn golden() -> Option<Value> {
    oracle("golden_trends.json").map(|text| serde_json::from_str(&text).expect("golden_trends.json is JSON"))
}

pub(super) fn oracle(name: &str) -> Option<String> {
    let directory = std::env::var_os("GLEBE_ORACLES")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/oracles")), PathBuf::from);
    let path = directory.join(name);
    match std::fs::read_to_string(&path) {
        Ok(text) => Some(text),
        Err(_) => {
            crate::loud::skipped(format_args!("no {}; name its directory in GLEBE_ORACLES", path.display()));
            None
        }
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("a number, not {value}"))
}

pub(super) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

pub(super) fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

pub(super) fn fraction(value: &Value) -> Fraction {
    let part = |key: &str| value[key].as_str().unwrap().parse().unwrap();
    Fraction::new(part("num"), part("den"))
}

pub(super) fn days(value: &Value) -> Vec<Date> {
    list(value).iter().map(|text| text.as_str().unwrap().parse().unwrap()).collect()
}

fn years_of(dates: &[Date]) -> Vec<f64> {
    dates.iter().map(|day| drift::years_between(dates[0], *day)).collect()
}

/// Scale and σ of each value from "cv" or "sd".
fn error_of(case: &Value) -> (Scale, TestError) {
    match case["cv"].as_f64() {
        Some(cv) => (Scale::Log, TestError::Relative(cv)),
        None => (Scale::Linear, TestError::Absolute(number(&case["sd"]))),
    }
}

fn weighed(scale: Scale, spread: TestError, years: &[f64], found: &[Found<f64>]) -> Vec<Weighed> {
    let point = |(years, found): (&f64, &Found<f64>)| Weighed {
        years: *years,
        found: found.map(|v| scale.put(v)),
        sigma: spread.sigma(scale, found.number()),
    };
    years.iter().zip(found).map(point).collect()
}

/// Readings of one case: pH where the error is a plain deviation, else Olsen P.
fn readings(dates: &[Date], values: &[f64], spread: TestError) -> (Vec<Reading>, ErrorSettings) {
    let analyte = match spread {
        TestError::Absolute(_) => Analyte::Ph,
        TestError::Relative(_) => Analyte::Element(Element::P),
    };
    let tests = dates.iter().zip(values).enumerate().map(|(at, (day, value))| Reading {
        analyte,
        level: if analyte == Analyte::Ph { Level::Ph(*value) } else { Level::MgPerKg(MgPerKg(*value)) },
        decimals: 3,
        ..olsen(at as i64, *day, *value)
    });
    (tests.collect(), ErrorSettings { own: [(analyte, spread)].into(), ..ErrorSettings::default() })
}

fn read(readings: &[Reading], errors: &ErrorSettings) -> drift::Verdict {
    drift::verdict(&drift::segments(readings, &BTreeSet::new(), errors))
}

proptest! {
    /// Whatever is read, something is said, its slope opens to cells, and no p is beyond reach.
    #[test]
    fn no_series_is_too_odd(
        series in proptest::collection::vec((0u8..4, 0i32..9000, 0u8..60, 0u8..3, proptest::num::f64::ANY), 0..30),
        linear in any::<bool>(),
    ) {
        let test = |(at, (sign, day, value, method, odd)): (usize, (u8, i32, u8, u8, f64))| {
            let value = if value == 59 { odd } else { f64::from(value) / 4.0 };
            let on = date(2000, 1, 1).saturating_add(jiff::Span::new().days(day / 40 * 40));
            Reading {
                analyte: if linear { Analyte::Ph } else { Analyte::Element(Element::P) },
                level: if linear { Level::Ph(value) } else { Level::MgPerKg(MgPerKg(value)) },
                qualifier: [Qualifier::Exact, Qualifier::Exact, Qualifier::Below, Qualifier::Above][usize::from(sign)],
                method: [Method::Olsen, Method::Olsen, Method::Bray1][usize::from(method)].clone(),
                ..olsen(at as i64, on, value)
            }
        };
        let readings: Vec<_> = series.into_iter().enumerate().map(test).collect();
        let segments = split(&readings);
        let found = drift::verdict(&segments);
        prop_assert!(!found.words.is_empty());
        prop_assert!(!found.words.contains("NaN") && !found.words.contains("inf"), "{}", found.words);
        if let Some(middle) = found.middle_slope(&segments) {
            prop_assert!(!middle.words().contains("NaN"), "{}", middle.words());
        }
        if let Some(working) = found.working(&segments) {
            prop_assert!(working.is_grounded());
        }
        if let (Some(p), Some(least)) = (found.exact_p, found.smallest_possible_p) {
            prop_assert!(p.value() >= least.value() && p.value() <= 1.0);
        }
        drift::breaks(&segments);
        for segment in &segments {
            let points = segment.points.iter().zip(segment.years()).map(|(p, t)| (t, p.value)).collect();
            if let Some(fit) = drift::theil_sen(&[points]) {
                fit.interval(90);
                fit.widest_interval();
            }
            drift::slope_with_limits(&[segment.weighed().iter().map(|p| (p.years, p.found)).collect()]);
        }
    }
}
