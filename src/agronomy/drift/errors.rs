//! How far apart two honest tests of the same unchanged plot come out: the error that
//! every statement about drift is weighed against. Defaults with their sources; a site
//! that knows its own sampling better sets its own. Never estimates the error from the
//! very tests it is to judge.

use super::Scale;
use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    source::{Evidence, Source},
};
use std::collections::BTreeMap;

/// The error of one test: sampling and laboratory together, one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Spread {
    /// As a fraction of the value (coefficient of variation): 0.15 is 15 %.
    Cv(f64),
    /// In the analyte's own unit, as for pH.
    Sd(f64),
}

impl Spread {
    /// Standard deviation on the scale, for a test that found `value`.
    /// On the logarithmic scale σ = √ln(1 + CV²), exact for a log-normal error.
    pub fn sigma(self, scale: Scale, value: f64) -> f64 {
        match (scale, self) {
            (Scale::Log, Spread::Cv(cv)) => cv.powi(2).ln_1p().sqrt(),
            (Scale::Log, Spread::Sd(sd)) => (sd / value).powi(2).ln_1p().sqrt(),
            (Scale::Linear, Spread::Sd(sd)) => sd.abs(),
            (Scale::Linear, Spread::Cv(cv)) => (cv * value).abs(),
        }
    }

    /// As a person reads it: "15 %" or "0.15".
    pub fn words(self) -> String {
        match self {
            Spread::Cv(cv) => format!("{:.0}\u{a0}%", cv * 100.0),
            Spread::Sd(sd) => format!("{sd}"),
        }
    }

    /// An error that can be used: finite and above zero.
    fn is_usable(self) -> bool {
        let (Spread::Cv(amount) | Spread::Sd(amount)) = self;
        amount.is_finite() && amount > 0.0
    }
}

/// An error with who says so.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TypicalError {
    pub spread: Spread,
    /// The share of it that belongs to the laboratory and shrinks when the lab repeats a test.
    pub laboratory: Spread,
    /// Added where a point comes from another lab than the rest of its segment.
    pub between_labs: Spread,
    pub source: Source,
}

/// Two sub-plots side by side, 12 to 20 cores each: Olsen P 10 to 15 %, K 9 to 12 %, pH 0.11 to 0.24.
const SIDE_BY_SIDE: Source = Source {
    publisher: "Rothamsted Research",
    title: "Long-term liming experiment: spread of adjacent sub-plots, computed here from the published data",
    year: 2023,
    address: "https://github.com/Rothamsted-Ecoinformatics/eRA2023",
    evidence: Evidence::Derived,
};

/// Change of sulphate S between yearly composites had a coefficient of variation of 37 %.
const HILL_PASTURE: Source = Source {
    publisher: "Morton, Baird & Manning, New Zealand Journal of Agricultural Research 43:367",
    title: "A soil sampling protocol to minimise the variability in soil test values in New Zealand hill country",
    year: 2000,
    address: "",
    evidence: Evidence::Quoted,
};

/// A rule of thumb; set your own where you know better.
const CUSTOM: Source = Source { publisher: "", title: "", year: 0, address: "", evidence: Evidence::CommonPractice };

/// The errors in force on a site: defaults, and what the site has set itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ErrorSettings {
    /// A site's own errors by analyte; one that is not above zero is ignored.
    pub own: BTreeMap<Analyte, Spread>,
}

impl ErrorSettings {
    /// The error of one test of this analyte: the site's own, else the default.
    ///
    /// Between labs, 19 soil tests had robust coefficients of variation of 12.8, 10.6 and
    /// 8.8 % in successive spans of years of the Australasian proficiency rounds; hence 10 %.
    pub fn of(&self, analyte: Analyte) -> TypicalError {
        let linear = Scale::of(analyte) == Scale::Linear;
        let (spread, source) = match analyte {
            Analyte::Ph | Analyte::BufferPh => (Spread::Sd(0.15), SIDE_BY_SIDE),
            Analyte::Element(Element::P) => (Spread::Cv(0.15), SIDE_BY_SIDE),
            Analyte::Element(Element::K) => (Spread::Cv(0.12), SIDE_BY_SIDE),
            Analyte::Element(Element::Mg | Element::Ca) => (Spread::Cv(0.12), CUSTOM),
            Analyte::Element(Element::S) | Analyte::NitrateN | Analyte::AmmoniumN => (Spread::Cv(0.30), HILL_PASTURE),
            Analyte::Element(_) => (Spread::Cv(0.20), CUSTOM),
            _ => (Spread::Cv(0.12), CUSTOM),
        };
        let (laboratory, between_labs) =
            if linear { (Spread::Sd(0.05), Spread::Sd(0.10)) } else { (Spread::Cv(0.08), Spread::Cv(0.10)) };
        match self.own.get(&analyte).filter(|own| own.is_usable()) {
            Some(&own) => TypicalError { spread: own, laboratory, between_labs, source: CUSTOM },
            None => TypicalError { spread, laboratory, between_labs, source },
        }
    }
}
