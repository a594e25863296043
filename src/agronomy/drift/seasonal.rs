//! How far the time of year alone moves a test: said beside two tests that were taken in different
//! seasons and lie no further apart than that.

use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    quantity::MgPerKg,
    source::{Evidence, Source},
};
use jiff::civil::Date;

/// mg/kg by which potassium was found to move between spring and autumn.
pub const SEASONAL_POTASSIUM: (f64, f64) = (10.0, 15.0);

/// Who found it.
pub const SEASONAL: Source = Source {
    publisher: "University of Wisconsin Extension",
    title: "On soils low in potassium the test shifts by 10 to 15 ppm between spring and autumn",
    year: 0,
    address: "",
    // What it found, as others cite it; not its title.
    evidence: Evidence::Quoted,
};

/// Tests whose days of the year lie this far apart are of different seasons. Our own choice.
const SEASON_DAYS: i16 = 90;

/// Days of the year between two dates, whatever their years: at most half a year.
fn apart_in_the_year(one: Date, other: Date) -> i16 {
    let days = (one.day_of_year() - other.day_of_year()).abs();
    days.min(365 - days).max(0)
}

/// What the season alone may explain of two tests of potassium, mg/kg; `None` where they were
/// taken at one time of year, lie further apart, or are of something else.
pub fn seasonal(analyte: Analyte, unit: &str, first: (Date, f64), last: (Date, f64)) -> Option<String> {
    let potassium = analyte == Analyte::Element(Element::K) && unit == MgPerKg::UNIT;
    let apart = (last.1 - first.1).abs();
    let explained = potassium && apart <= SEASONAL_POTASSIUM.1 && apart_in_the_year(first.0, last.0) >= SEASON_DAYS;
    explained.then(|| {
        let (from, to) = SEASONAL_POTASSIUM;
        format!(
            "They were taken at different times of the year, and that alone moves potassium by {from} to {to} mg/kg on \
             soil low in it ({SEASONAL})."
        )
    })
}
