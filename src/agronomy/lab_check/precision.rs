//! How well one laboratory repeats itself, and laboratories each other, by test: published
//! figures where they were read, and who says so.

use crate::agronomy::{
    analyte::Analyte,
    confidence::TestError,
    drift::ErrorSettings,
    method::Method,
    source::{Evidence, Source},
};
use serde::Deserialize;
use std::sync::LazyLock;

/// Robust coefficients of variation between labs, one standard deviation.
const PROFICIENCY: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, table App. 2.1: robust CV between laboratories",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// Two relative standard deviations within one lab; halved here, and of a range the middle.
const REPEATS: Source = Source {
    title: "Soil Chemical Methods – Australasia, table App. 2.1: within one laboratory ± 2 RSD, of which half, and of a range the middle",
    ..PROFICIENCY
};

/// How far labs part by how much of a thing there is, whatever it is.
pub const HORWITZ: Source = Source {
    title: "Soil Chemical Methods – Australasia, after Horwitz: CV between laboratories in % = 2^(1 − 0.5 log₁₀ C), C as a mass fraction; most soil tests do worse",
    ..PROFICIENCY
};

/// What is printed of one test.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Precision {
    pub analyte: Analyte,
    pub methods: Vec<Method>,
    /// ± 2 RSD within one laboratory, %; one figure twice, or a range.
    pub within: Option<(f64, f64)>,
    /// Robust CV between laboratories, %, one standard deviation.
    pub between: Option<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    test: Vec<Precision>,
}

static TESTS: LazyLock<File> =
    LazyLock::new(|| toml::from_str(include_str!("precision.toml")).expect("the embedded table is checked by a test"));

/// What is printed of a test; `None` where it is not in the table.
pub fn precision(analyte: Analyte, method: &Method) -> Option<&'static Precision> {
    TESTS.test.iter().find(|test| test.analyte == analyte && test.methods.contains(method))
}

/// The error of one lab among others for a test, one standard deviation, and who says so:
/// published for the method where it was read, else the spread of proficiency rounds.
pub fn between_labs(analyte: Analyte, method: &Method) -> (TestError, Source) {
    match precision(analyte, method).and_then(|test| test.between) {
        Some(percent) => (TestError::Relative(percent / 100.0), PROFICIENCY),
        None => {
            let usual = ErrorSettings::default().of(analyte);
            (usual.between_labs, usual.between_labs_source)
        }
    }
}

/// The error of one lab against itself for a test, one standard deviation, where it was read.
pub fn within_one_lab(analyte: Analyte, method: &Method) -> Option<(TestError, Source)> {
    let (low, high) = precision(analyte, method)?.within?;
    Some((TestError::Relative((low + high) / 2.0 / 2.0 / 100.0), REPEATS))
}

/// Horwitz's line: the coefficient of variation between labs that is to be expected of a content,
/// mg/kg. It knows no method, so it weighs nothing here and only stands beside what is known of
/// one. `None` for nothing, and for more than the whole.
pub fn horwitz(mg_per_kg: f64) -> Option<TestError> {
    let share = mg_per_kg * 1e-6;
    (share > 0.0 && share <= 1.0).then(|| TestError::Relative(2f64.powf(1.0 - 0.5 * share.log10()) / 100.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_read_and_names_known_methods() {
        let file: File = toml::from_str(include_str!("precision.toml")).unwrap();
        for test in &file.test {
            assert!(test.methods.iter().all(|method| !matches!(method, Method::Other(_))), "{test:?}");
            assert!(test.within.is_some() || test.between.is_some(), "{test:?}");
            assert!(test.within.is_none_or(|(low, high)| 0.0 < low && low <= high), "{test:?}");
        }
    }
}
