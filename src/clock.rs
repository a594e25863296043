//! The one place that asks the machine what time it is.
//!
//! Everything that needs a time takes it as an argument; only [`Clock`] reads it, so
//! tests choose the day.

use jiff::{Timestamp, civil::Date, tz::TimeZone};

/// Where "now" and "today" come from.
#[derive(Clone, Debug)]
pub enum Clock {
    /// The machine's clock, with days counted in the machine's own time zone.
    System,
    /// A clock that stands still, for tests and for the demonstration garden.
    Fixed(Timestamp),
}

impl Clock {
    /// The present moment, UTC.
    pub fn now(&self) -> Timestamp {
        match self {
            Clock::System => Timestamp::now(),
            Clock::Fixed(at) => *at,
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
            Clock::Fixed(_) => TimeZone::UTC,
        };
        at.to_zoned_datetime(zone).date()
    }
}
