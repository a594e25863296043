//! What a result by one extract might have been by another, by equations that somebody found on
//! the soils of one region. They disagree with each other, and none may be run backwards or one
//! after the other. An estimate explains a difference; it never stands for a result, is never
//! held against limits, and never enters a need.

use super::{
    element::Element::{self, Ca, K, Mg, P},
    method::Method::{self, AmmoniumAcetate7, Bray1, Mehlich3Colour, Mehlich3Icp, Olsen},
    source::{Evidence, Source},
};

/// A published straight line between two extracts, mg/kg to mg/kg.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Key in examples: who found it.
    pub by: &'static str,
    pub element: Element,
    pub from: Method,
    pub to: Method,
    pub slope: f64,
    pub intercept: f64,
    /// The least that it gives.
    pub floor: f64,
    /// Water pH from the first, up to but not including the second; `None`: any.
    pub ph: Option<(f64, f64)>,
    pub source: Source,
}

const OHIO: Source = Source {
    publisher: "Ohio State University",
    title: "Understanding Soil Test Reports for Phosphorus Values: Bray P1 = −8.08 + 0.832 × Mehlich-3 ICP",
    year: 0,
    address: "https://agbmps.osu.edu/faq/understanding-soil-test-reports-phosphorus-values",
    evidence: Evidence::Read,
};

const OHIO_RATIOS: Source = Source {
    publisher: "Ohio State University Extension",
    title: "ANR-75: Mehlich-3 P is 35 % above Bray P, Mehlich-3 K 14 % above ammonium acetate K; the finish is not stated",
    year: 2019,
    address: "",
    evidence: Evidence::Read,
};

const IDAHO: Source = Source {
    publisher: "Montana State University, on a study of Idaho soils",
    title: "Olsen P = Mehlich-3 P ÷ 2.05 − 14",
    year: 2020,
    address: "",
    evidence: Evidence::Read,
};

const SPECTRUM: Source = Source {
    publisher: "Spectrum Analytic",
    title: "Conversions of soil test values: Mehlich-3 P × 0.7, K × 0.84, Ca × 0.75, Mg × 0.88",
    year: 2005,
    address: "http://spectrumanalytic.com/doc/library/articles/spectrum_conversions",
    evidence: Evidence::Read,
};

const MALLARINO: Source = Source {
    publisher: "Mallarino 1995 and 2003, as another page quotes him",
    title: "Bray P1 from Mehlich-3 by colour, by ICP and from Olsen",
    year: 2003,
    address: "",
    evidence: Evidence::Quoted,
};

/// A line as the publisher prints it: slope × from + intercept, the least it gives, the pH it asks for.
macro_rules! line {
    ($by:literal, $element:ident, $from:ident => $to:ident, $slope:expr, $intercept:expr, $floor:expr, $ph:expr, $source:ident) => {
        Line {
            by: $by,
            element: $element,
            from: $from,
            to: $to,
            slope: $slope,
            intercept: $intercept,
            floor: $floor,
            ph: $ph,
            source: $source,
        }
    };
}

/// Mehlich-3 dissolves free lime, so its calcium says nothing of acetate's from there on (Kansas,
/// [`PH_BREAK`](super::carbonate::PH_BREAK)).
const WITHOUT_LIME: Option<(f64, f64)> = Some((0.0, super::carbonate::PH_WITH_LIME));

/// The lines known here.
pub const LINES: &[Line] = &[
    line!("ohio", P, Mehlich3Icp => Bray1, 0.832, -8.08, 0.0, None, OHIO),
    line!("ohio_ratio", P, Mehlich3Icp => Bray1, 1.0 / 1.35, 0.0, 0.0, None, OHIO_RATIOS),
    line!("ohio_ratio", K, Mehlich3Icp => AmmoniumAcetate7, 1.0 / 1.14, 0.0, 0.0, None, OHIO_RATIOS),
    line!("idaho", P, Mehlich3Icp => Olsen, 1.0 / 2.05, -14.0, 0.0, None, IDAHO),
    line!("spectrum", P, Mehlich3Icp => Bray1, 0.7, 0.0, 0.0, None, SPECTRUM),
    line!("spectrum", K, Mehlich3Icp => AmmoniumAcetate7, 0.84, 0.0, 0.0, None, SPECTRUM),
    line!("spectrum", Ca, Mehlich3Icp => AmmoniumAcetate7, 0.75, 0.0, 0.0, WITHOUT_LIME, SPECTRUM),
    line!("spectrum", Mg, Mehlich3Icp => AmmoniumAcetate7, 0.88, 0.0, 0.0, None, SPECTRUM),
    line!("mallarino", P, Mehlich3Colour => Bray1, 0.84, 1.21, 1.0, None, MALLARINO),
    line!("mallarino", P, Mehlich3Icp => Bray1, 0.778, -6.4667, 1.0, None, MALLARINO),
    line!("mallarino", P, Olsen => Bray1, 2.381, -8.3333, 1.0, Some((0.0, 7.05)), MALLARINO),
    line!("mallarino", P, Olsen => Bray1, 2.27, -7.045, 1.0, Some((7.05, 7.45)), MALLARINO),
];

impl Line {
    /// The estimate, mg/kg; never below the floor.
    pub fn at(&self, mg_per_kg: f64) -> f64 {
        (self.slope * mg_per_kg + self.intercept).max(self.floor)
    }
}

/// The lines from one extract to another that hold at this pH; a line that asks for a pH is
/// left out where none was read.
pub fn lines<'a>(
    element: Element,
    from: &'a Method,
    to: &'a Method,
    ph: Option<f64>,
) -> impl Iterator<Item = &'static Line> + use<'a> {
    LINES.iter().filter(move |line| {
        let held = line.ph.is_none_or(|(low, high)| ph.is_some_and(|ph| (low..high).contains(&ph)));
        line.element == element && line.from == *from && line.to == *to && held
    })
}
