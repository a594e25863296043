//! How far a single soil test can be trusted: chance that the plot is truly below an aim,
//! the range it probably lies in, and the words for it. A lab value is an estimate; nothing
//! here may turn it into a certainty, and nothing is random.

use super::{
    analyte::Analyte,
    element::Element,
    source::{Evidence, Source},
};
use statrs::distribution::{ContinuousCDF, Normal};

/// Standard normal quantile that leaves 5 % on each side.
const Z_90: f64 = 1.644_853_626_951_472_7;

/// The error of one composite sample tested once, one standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum TestError {
    /// Coefficient of variation, a share of the value (0.15 is 15 %).
    Relative(f64),
    /// In the unit of the value: pH.
    Absolute(f64),
}

const FIELD_ERROR: Source = Source {
    publisher: "Defaults of this program, after Ferrari & Vermeulen, Netherlands Journal of Agricultural Science",
    title: "Errors of soil sampling and analysis: about 10 % for P, K and Mg, about 0.1 pH; widened for small plots with few cores",
    year: 0,
    address: "https://library.wur.nl/ojs/index.php/njas/article/view/17805",
    evidence: Evidence::Derived,
};
const SULFUR_ERROR: Source = Source {
    publisher: "Defaults of this program, after Morton et al., New Zealand Journal of Agricultural Research 43:367",
    title: "Change between yearly composites: sulfate S varies by 37 %, which is about 26 % for one composite",
    year: 2000,
    address: "",
    evidence: Evidence::Derived,
};
const TRACE_ERROR: Source = Source {
    publisher: "Defaults of this program, after Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, appendix 2: between labs 11 to 38 % for trace elements",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Derived,
};

/// The error assumed for an analyte where the grower has stated none, and where it comes from.
///
/// Same lab, one composite: P 15 %, cations 12 %, sulfur and mineral N 30 %, organic matter
/// 15 %, everything else 20 %; pH 0.15.
pub fn default_error(analyte: Analyte) -> (TestError, Source) {
    use Element::{Ca, K, Mg, Na, P, S};
    match analyte {
        Analyte::Ph | Analyte::BufferPh => (TestError::Absolute(0.15), FIELD_ERROR),
        Analyte::Element(P) => (TestError::Relative(0.15), FIELD_ERROR),
        Analyte::Element(K | Mg | Ca | Na) | Analyte::ExchangeCapacity => (TestError::Relative(0.12), FIELD_ERROR),
        Analyte::Element(S) | Analyte::NitrateN | Analyte::AmmoniumN => (TestError::Relative(0.30), SULFUR_ERROR),
        Analyte::OrganicMatter | Analyte::OrganicCarbon => (TestError::Relative(0.15), TRACE_ERROR),
        _ => (TestError::Relative(0.20), TRACE_ERROR),
    }
}

fn phi(z: f64) -> f64 {
    Normal::standard().cdf(z)
}

/// Standard deviation on the natural-log scale of a coefficient of variation: √ln(1 + CV²).
pub fn sigma_ln(cv: f64) -> f64 {
    (cv * cv).ln_1p().sqrt()
}

/// Coefficient of variation of a composite of `cores` cores tested `lab_repeats` times:
/// √(CV_core² / cores + CV_lab² / repeats).
pub fn composite_cv(one_core_cv: f64, cores: u32, lab_cv: f64, lab_repeats: u32) -> f64 {
    (one_core_cv.powi(2) / f64::from(cores.max(1)) + lab_cv.powi(2) / f64::from(lab_repeats.max(1))).sqrt()
}

/// Chance that the true level is below `target` when `found` was read with this coefficient
/// of variation: Φ((ln target − ln found) / σ_ln), all levels being held equally likely beforehand.
///
/// Nothing found is certainly below a positive target; an error of zero makes it a plain comparison.
pub fn p_below_target_lognormal(found: f64, target: f64, cv: f64) -> f64 {
    if target.is_nan() || target <= 0.0 {
        return 0.0;
    }
    if found.is_nan() || found <= 0.0 {
        return 1.0;
    }
    let sigma = sigma_ln(cv);
    if sigma > 0.0 { phi((target.ln() - found.ln()) / sigma) } else { f64::from(u8::from(found < target)) }
}

/// Chance that the true value is below `target`, for a value with a constant error (pH): Φ((target − found) / SD).
pub fn p_below_target_normal(found: f64, target: f64, sd: f64) -> f64 {
    if sd > 0.0 { phi((target - found) / sd) } else { f64::from(u8::from(found < target)) }
}

/// The best estimate of a plot's level once the grower's other plots are counted in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Pooled {
    pub best_estimate: f64,
    /// How much of the estimate is this plot's own test, 0 to 1.
    pub weight_on_found: f64,
    pub p_below: f64,
}

/// As [`p_below_target_lognormal`], with the other plots of the same garden (same method) as
/// what is known beforehand: their geometric mean, and their spread τ on the natural-log scale.
pub fn with_other_plots(found: f64, target: f64, cv: f64, geometric_mean: f64, tau_ln: f64) -> Option<Pooled> {
    if [found, target, cv, geometric_mean, tau_ln].iter().any(|v| !v.is_finite() || *v <= 0.0) {
        return None;
    }
    let (own, other) = (sigma_ln(cv).powi(-2), tau_ln.powi(-2));
    let mean = (geometric_mean.ln() * other + found.ln() * own) / (own + other);
    Some(Pooled {
        best_estimate: mean.exp(),
        weight_on_found: own / (own + other),
        p_below: phi((target.ln() - mean) * (own + other).sqrt()),
    })
}

/// The 90 % range of the true level as a percentage of the target: 100 × found / target × e^(±1.645 σ_ln).
pub fn percent_of_target_90(found: f64, target: f64, cv: f64) -> Option<(f64, f64)> {
    let percent = 100.0 * found / target;
    let spread = (Z_90 * sigma_ln(cv)).exp();
    (percent.is_finite() && percent > 0.0).then_some((percent / spread, percent * spread))
}

/// Chances that the true level lies between bounds given as shares of the target, least first: below the
/// first, between each two, above the last; they add up to 1. All levels are held equally likely beforehand.
pub fn class_probabilities(found: f64, target: f64, cv: f64, bounds: &[f64]) -> Vec<f64> {
    let below: Vec<f64> = bounds.iter().map(|share| p_below_target_lognormal(found, share * target, cv)).collect();
    let from = std::iter::once(0.0).chain(below.iter().copied());
    // The topmost is a tail of its own: 1 less the others would lose it where it is small.
    let above = bounds.last().map_or(1.0, |share| p_below_target_lognormal(share * target, found, cv));
    from.zip(&below).map(|(from, to)| to - from).chain([above]).collect()
}

/// The chance of a shortage in words that everybody reads alike.
pub fn words(p_short: f64) -> &'static str {
    match p_short {
        p if p >= 0.90 => "very likely",
        p if p >= 0.75 => "likely",
        p if p > 0.25 => "could be either; a retest helps",
        p if p > 0.10 => "unlikely",
        _ => "very unlikely",
    }
}
