//! Looking in on a search while it runs: how far it is, and a word to stop. A search that
//! is stopped keeps the best plan it has; what it is told never changes how it searches.

use super::Goal;
use std::time::Duration;

/// Somebody who looks in on a search.
pub trait Watch: Sync {
    /// The best plan so far.
    fn tell(&self, _progress: &Progress) {}

    /// How long the search has been running, by the clock of whoever looks in; `None` without one.
    /// A guard only: a search that counts its work goes by it where a machine is very slow.
    fn elapsed(&self) -> Option<Duration> {
        None
    }

    /// Whether the search shall end with what it has.
    fn stopped(&self) -> bool {
        false
    }
}

/// Nobody looks in.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unwatched;

impl Watch for Unwatched {}

/// How far a search is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Progress {
    /// The goal being settled.
    pub goal: Goal,
    /// Needs above zero, and how many of them are met to within 5 %.
    pub needs: usize,
    pub met: usize,
    /// Different products used.
    pub products: usize,
    /// Minor units for the packs bought, as far as prices are known.
    pub cost_minor: f64,
    /// Relative distance from the best possible in this goal, as far as it is known.
    pub gap: Option<f64>,
}
