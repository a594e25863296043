//! How far apart two honest tests of the same unchanged plot come out: the error that
//! every statement about drift is weighed against. Defaults with their sources; a site
//! that knows its own sampling better sets its own. Never estimates the error from the
//! very tests it is to judge.

use super::Scale;
use crate::agronomy::{
    analyte::Analyte,
    confidence::{TestError, default_error, sigma_ln},
    source::{Evidence, Source},
};
use std::collections::BTreeMap;

impl TestError {
    /// Standard deviation on the scale, for a test that found `value`.
    /// On the logarithmic scale σ = √ln(1 + CV²), exact for a log-normal error.
    pub fn sigma(self, scale: Scale, value: f64) -> f64 {
        match (scale, self) {
            (Scale::Log, TestError::Relative(cv)) => sigma_ln(cv),
            (Scale::Log, TestError::Absolute(sd)) => sigma_ln(sd / value),
            (Scale::Linear, TestError::Absolute(sd)) => sd.abs(),
            (Scale::Linear, TestError::Relative(cv)) => (cv * value).abs(),
        }
    }

    /// As a person reads it: "15 %" or "0.15".
    pub fn words(self) -> String {
        match self {
            TestError::Relative(cv) => format!("{:.0}\u{a0}%", cv * 100.0),
            TestError::Absolute(sd) => format!("{sd}"),
        }
    }

    /// An error that can be used: finite and above zero.
    fn is_usable(self) -> bool {
        let (TestError::Relative(amount) | TestError::Absolute(amount)) = self;
        amount.is_finite() && amount > 0.0
    }
}

/// An error with who says so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TypicalError {
    /// Sampling and laboratory together, one standard deviation.
    pub one_test: TestError,
    /// The share of it that belongs to the laboratory and shrinks when the lab repeats a test.
    pub laboratory: TestError,
    /// Added where a point comes from another lab than the rest of its segment.
    pub between_labs: TestError,
    /// Who says so of `one_test`.
    pub source: Source,
    /// Who says so of `between_labs`.
    pub between_labs_source: Source,
}

impl TypicalError {
    /// Whether the site has set it itself.
    pub fn is_own(&self) -> bool {
        self.source == OWN
    }
}

/// Nineteen soil tests had robust coefficients of variation of 12.8, 10.6 and 8.8 % between
/// labs in 2005-08, 2009-12 and 2013-15; hence 10 %.
const BETWEEN_LABS: Source = Source {
    publisher: "Iris Publishers, World Journal of Agriculture and Soil Science",
    title: "Australasian proficiency rounds: spread of 19 soil tests between labs, 2005 to 2015",
    year: 2019,
    address: "https://irispublishersagriculture.blogspot.com/2019/05/iris-publishers-world-journal-of_15.html",
    evidence: Evidence::Derived,
};

/// A customary figure with no publication behind it.
const CUSTOM: Source = Source { publisher: "", title: "", year: 0, address: "", evidence: Evidence::CommonPractice };

/// Set by the site itself.
const OWN: Source = Source {
    publisher: "This site",
    title: "Error of one test, as set by its steward",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// The errors in force on a site: defaults, and what the site has set itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ErrorSettings {
    /// A site's own errors by analyte; one that is not above zero is ignored.
    pub own: BTreeMap<Analyte, TestError>,
    /// The same for tests by one lab, which go before; by the lab's name as on its sheets.
    pub by_lab: BTreeMap<(Analyte, String), TestError>,
    /// What is added for a test by another lab, by analyte.
    pub between_labs: BTreeMap<Analyte, TestError>,
}

/// The errors of a site that has set none.
pub static DEFAULT_ERRORS: ErrorSettings =
    ErrorSettings { own: BTreeMap::new(), by_lab: BTreeMap::new(), between_labs: BTreeMap::new() };

impl ErrorSettings {
    /// Whether the site has set nothing.
    pub fn is_default(&self) -> bool {
        self == &DEFAULT_ERRORS
    }

    /// The error of one test of this analyte: the site's own, else the default. The
    /// laboratory's share, 8 % or 0.05 pH, is customary.
    pub fn of(&self, analyte: Analyte) -> TypicalError {
        self.of_lab(analyte, "")
    }

    /// The error of one test of this analyte by a lab: what the site has set for that lab,
    /// else for any, else the default.
    pub fn of_lab(&self, analyte: Analyte, lab: &str) -> TypicalError {
        let (laboratory, between_labs, between_labs_source) = match Scale::of(analyte) {
            Scale::Log => (TestError::Relative(0.08), TestError::Relative(0.10), BETWEEN_LABS),
            Scale::Linear => (TestError::Absolute(0.05), TestError::Absolute(0.10), CUSTOM),
        };
        let own_between = self.between_labs.get(&analyte).filter(|own| own.is_usable());
        let (between_labs, between_labs_source) =
            own_between.map_or((between_labs, between_labs_source), |own| (*own, OWN));
        let by_lab = match self.by_lab.is_empty() {
            true => None, // asked for every test there is
            false => self.by_lab.get(&(analyte, lab.to_owned())).filter(|own| own.is_usable()),
        };
        let (one_test, source) = match by_lab.or_else(|| self.own.get(&analyte).filter(|own| own.is_usable())) {
            Some(&own) => (own, OWN),
            None => default_error(analyte),
        };
        TypicalError { one_test, laboratory, between_labs, source, between_labs_source }
    }
}
