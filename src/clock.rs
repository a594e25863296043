//! The one place that asks the machine what time it is.
//!
//! Everything that needs a time takes it as an argument; only [`Clock`] reads it, so
//! tests choose the day.

use jiff::{Timestamp, civil::Date, tz::TimeZone};
use std::sync::{
    Arc,
    atomic::{AtomicI64, Ordering},
};

/// Where "now" and "today" come from.
#[derive(Clone, Debug)]
pub enum Clock {
    /// The machine's clock, with days counted in the machine's own time zone.
    System,
    /// A clock that stands still, for tests and for the demonstration garden.
    Fixed(Timestamp),
    /// A clock that stands where it was last set, for tests in which time passes.
    ByHand(Arc<AtomicI64>),
}

impl Clock {
    /// A clock that is set by hand: the number, seconds of the Unix epoch, may be changed at any time.
    pub fn by_hand(at: Timestamp) -> (Clock, Arc<AtomicI64>) {
        let seconds = Arc::new(AtomicI64::new(at.as_second()));
        (Clock::ByHand(seconds.clone()), seconds)
    }

    /// The present moment, UTC.
    pub fn now(&self) -> Timestamp {
        match self {
            Clock::System => Timestamp::now(),
            Clock::Fixed(at) => *at,
            Clock::ByHand(seconds) => Timestamp::from_second(seconds.load(Ordering::Relaxed)).unwrap_or(Timestamp::MAX),
        }
    }

    /// The civil date where this server runs.
    pub fn today(&self) -> Date {
        self.day_of(self.now())
    }

    /// The civil date of a moment where this server runs.
    pub fn day_of(&self, at: Timestamp) -> Date {
        let zone = match self {
            Clock::System => TimeZone::system(),
            Clock::Fixed(_) | Clock::ByHand(_) => TimeZone::UTC,
        };
        at.to_zoned_datetime(zone).date()
    }
}
