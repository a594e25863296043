//! Drift: how one nutrient of one plot moves over the years, and how much of that its
//! tests can carry.
//!
//! Tests are first sorted into segments that may be compared (one method, one basis, one
//! depth); signs and slopes come only from pairs inside a segment. What is said about
//! them never goes beyond what their number and their error allow. Never converts one
//! method into another, never reads a clock.

mod change;
mod errors;
mod fraction;
mod known_error;
mod mann_kendall;
mod numbers;
mod review;
mod seasonal;
mod segments;
mod shrinkage;
mod theil_sen;
mod verdict;
mod wording;

pub use wording::read_in;

pub use change::{TwoTests, beyond_expectation, slope_mostly_seen, smallest_visible_slope, two_tests};
pub use errors::{DEFAULT_ERRORS, ErrorSettings, TypicalError};
pub use fraction::Fraction;
pub use known_error::{KnownErrorLine, Weighed, known_error};
pub use mann_kendall::{ExactP, MannKendall, mann_kendall};
pub use numbers::Behind;
pub use review::{Drawn, PlotDrift, REVIEWED, RanksP, RunOf, YearFound, draw_together, review};
pub use seasonal::{SEASONAL, SEASONAL_POTASSIUM, seasonal};
pub use segments::{Break, LeftOut, Point, Segment, Test, breaks, segments, segments_of};
pub use shrinkage::{Shrunken, ShrunkenSlope, shrink};
pub use theil_sen::{Coverage, Intercept, SlopeInterval, TheilSen, slope_with_limits, theil_sen};
pub use verdict::{Direction, Finding, MiddleSlope, PerYear, Strength, Verdict, verdict, verdict_led_by};

use super::analyte::Analyte;
use jiff::civil::Date;

/// The scale on which an analyte's errors are alike at every level.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scale {
    /// Natural logarithm: concentrations, whose error is a share of the value.
    Log,
    /// As it stands: pH, already a logarithm.
    Linear,
}

impl Scale {
    /// The scale that drift of this analyte is read on.
    pub fn of(analyte: Analyte) -> Scale {
        match analyte {
            Analyte::Ph | Analyte::BufferPh => Scale::Linear,
            _ => Scale::Log,
        }
    }

    /// From the analyte's own unit to the scale. Below zero has no logarithm: callers leave it out.
    pub fn put(self, value: f64) -> f64 {
        match self {
            Scale::Log => value.ln(),
            Scale::Linear => value,
        }
    }

    /// Back to the analyte's own unit.
    pub fn take(self, scaled: f64) -> f64 {
        match self {
            Scale::Log => scaled.exp(),
            Scale::Linear => scaled,
        }
    }
}

/// What a test found: a number, or only a limit. Limits are never replaced by numbers.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Found<T> {
    Exact(T),
    /// Somewhere below this.
    Below(T),
    /// Somewhere above this.
    Above(T),
}

impl<T: Copy> Found<T> {
    /// The number, or the limit.
    pub fn number(self) -> T {
        match self {
            Found::Exact(value) | Found::Below(value) | Found::Above(value) => value,
        }
    }

    /// Whether it is a number.
    pub fn is_exact(self) -> bool {
        matches!(self, Found::Exact(_))
    }

    /// The same finding with its number replaced.
    pub fn map<U>(self, change: impl FnOnce(T) -> U) -> Found<U> {
        match self {
            Found::Exact(value) => Found::Exact(change(value)),
            Found::Below(value) => Found::Below(change(value)),
            Found::Above(value) => Found::Above(change(value)),
        }
    }
}

/// 1 where the later finding is surely above the earlier, -1 where surely below, else 0.
///
/// "<L" then v: above if v is at least L. Two limits of one kind say nothing. After
/// Helsel, Statistics for Censored Environmental Data (2012).
pub fn sign_of_change<T: PartialOrd>(earlier: Found<T>, later: Found<T>) -> i64 {
    use Found::{Above, Below, Exact};
    match (earlier, later) {
        (Exact(a), Exact(b)) if b > a => 1,
        (Exact(a), Exact(b)) if b < a => -1,
        (Below(a), Exact(b) | Above(b)) | (Exact(a), Above(b)) if b >= a => 1,
        (Exact(a) | Above(a), Below(b)) | (Above(a), Exact(b)) if b <= a => -1,
        _ => 0,
    }
}

/// Half of a 90 % interval in standard deviations of a normal law.
pub const Z_90: f64 = 1.644_853_626_951_472_2;
/// Half of a 95 % interval in standard deviations of a normal law.
pub const Z_95: f64 = 1.959_963_984_540_054;

/// Share of a standard normal law below `z`.
fn normal_below(z: f64) -> f64 {
    0.5 * statrs::function::erf::erfc(-z / std::f64::consts::SQRT_2)
}

/// Years from one day to another, a year being 365.25 days.
pub fn years_between(from: Date, to: Date) -> f64 {
    f64::from((to - from).get_days()) / 365.25
}
