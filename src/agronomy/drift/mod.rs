//! Drift: how one nutrient of one plot moves over the years, and how much of that its
//! tests can carry.
//!
//! Tests are first sorted into segments that may be compared (one method, one basis, one
//! depth); signs and slopes come only from pairs inside a segment. What is said about
//! them never goes beyond what their number and their error allow. Never converts one
//! method into another, never reads a clock.

mod errors;
mod segments;

pub use errors::{ErrorSettings, Spread, TypicalError};
pub use segments::{Break, LeftOut, Point, Segment, breaks, segments};

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

/// Years from one day to another, a year being 365.25 days.
pub fn years_between(from: Date, to: Date) -> f64 {
    f64::from((to - from).get_days()) / 365.25
}
