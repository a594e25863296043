//! A lab's sheet held against another, against its own sums, and beside other extractants.
//!
//! Two results are weighed against each other only where one method read one soil in one unit,
//! and then against the error that honest labs have. Results by different extractants stand
//! beside each other, with what published equations make of them as estimates; they are never
//! called alike or apart. It corrects nothing: it says what would explain a difference.

mod decimals;
mod extractants;
mod labs;
mod precision;
mod recomputed;

pub use decimals::{REPORTING, fineness, recommended};
pub use extractants::{Estimate, SideBySide, TOGETHER, Together, estimates};
pub use labs::{Agreement, Pair, Side, pair};
pub use precision::{HORWITZ, Precision, between_labs, horwitz, precision, within_one_lab};
pub use recomputed::{Line, Recomputed, recompute};

use super::{
    analyte::Analyte,
    carbonate::Signs,
    drift::ErrorSettings,
    method::Method,
    reading::{self, Divisors, Reading},
    record::Sampling,
};

/// What a check of one sampling's sheets has to say.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LabCheck {
    /// Results of one method on two sheets, or twice on one.
    pub pairs: Vec<Pair>,
    /// Analytes that were read by more than one extractant.
    pub side_by_side: Vec<SideBySide>,
    /// The sums of each sheet, in the order of the sheets.
    pub sheets: Vec<Recomputed>,
}

impl LabCheck {
    /// How many pairs of results are further apart than labs and sampling explain.
    pub fn beyond(&self) -> usize {
        self.pairs.iter().filter(|pair| pair.agreement == Some(Agreement::Beyond)).count()
    }
}

/// A reading with the key of the sheet that it stands on.
#[derive(Clone, Debug)]
struct OnSheet {
    report: i64,
    reading: Reading,
}

/// Checks the sheets of a sampling, by the errors of tests in force on its site.
pub fn check(sampling: &Sampling, signs: &Signs, errors: &ErrorSettings) -> LabCheck {
    let exact = Divisors::exact();
    let all: Vec<OnSheet> = sampling
        .determinations()
        .filter_map(|(report, cell)| {
            let reading = reading::read(sampling, report, cell, &exact).ok()?;
            Some(OnSheet { report: report.key, reading })
        })
        .collect();
    let mut pairs = Vec::new();
    for (at, one) in all.iter().enumerate() {
        for other in &all[at + 1..] {
            let same = one.reading.analyte == other.reading.analyte && one.reading.method == other.reading.method;
            if same && one.reading.method != Method::Unstated {
                pairs.push(pair(&one.reading, &other.reading, one.report == other.report, errors));
            }
        }
    }
    pairs.sort_by_key(|pair| pair.analyte);
    let readings: Vec<Reading> = all.iter().map(|on| on.reading.clone()).collect();
    let ph = readings.iter().find(|r| r.analyte == Analyte::Ph && r.method.is_ph_in_water());
    let sheets = sampling.reports.iter().map(|report| {
        let own: Vec<Reading> = all.iter().filter(|on| on.report == report.key).map(|on| on.reading.clone()).collect();
        Recomputed {
            report: report.key,
            lab: report.lab.clone(),
            lines: recompute(&own, signs),
            fineness: fineness(&report.determinations),
        }
    });
    LabCheck {
        pairs,
        side_by_side: extractants::side_by_side(&readings, ph.map(|r| r.level.number())),
        sheets: sheets.collect(),
    }
}
