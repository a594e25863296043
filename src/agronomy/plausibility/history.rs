//! A sheet against this plot's own past, and against results that should be alike. Compares
//! only within one analyte, method and unit; ratios, because errors of soil tests are ratios.

use super::{Entry, Question, QuestionKind, ask, measurable};
use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    element::Form,
    liking::subscripts,
    reading::{Level, Reading, number},
    record::CellKey,
};

/// Two results that should be alike are questioned when one is more than this many times the
/// other: at a coefficient of variation of 15 % only one pair in twenty lies further apart,
/// exp(1.96 × √2 × √ln(1 + 0.15²)). Sub-plots of the Rothamsted liming experiment, 12 to 20
/// cores each, scatter by 9 to 15 %.
pub const ALIKE_WITHIN: f64 = 1.512;

/// The same for pH, in units: 1.96 × √2 × 0.18, between the 0.11 and 0.24 of the same sub-plots.
pub const PH_ALIKE_WITHIN: f64 = 0.5;

/// How many times above the highest, or below the lowest, earlier result a value is questioned.
/// Fertilising moved potassium and magnesium of the Rothamsted plots up to 2.5 times between
/// two tests, so less is ordinary change; with one earlier result alone, 3.
const FAR_ONE: f64 = 3.0;
const FAR_SEVERAL: f64 = 2.0;
/// pH beyond the earlier range by more than this is questioned; liming moves it by less in most years.
const PH_FAR: f64 = 1.5;

pub(super) fn compare(entry: &Entry, asked: &mut Vec<Question>) {
    beside(entry, asked);
    let compared: Vec<(&Reading, Vec<&Reading>)> = entry
        .readings
        .iter()
        .filter(|reading| measurable(reading))
        .map(|reading| {
            let earlier = entry
                .history
                .iter()
                .filter(|past| comparable(reading, past) && past.sampled_on < entry.sampling.sampled_on)
                .collect();
            (reading, earlier)
        })
        .filter(|(_, earlier): &(_, Vec<&Reading>)| !earlier.is_empty())
        .collect();
    if whole_sheet(&compared, asked) {
        return;
    }
    for (reading, earlier) in &compared {
        one(reading, earlier, asked);
    }
}

fn comparable(a: &Reading, b: &Reading) -> bool {
    a.analyte == b.analyte && a.method == b.method && a.level.unit() == b.level.unit() && measurable(b)
}

/// Median of earlier results.
fn middle(earlier: &[&Reading]) -> f64 {
    let mut values: Vec<f64> = earlier.iter().map(|reading| reading.level.number()).collect();
    values.sort_by(f64::total_cmp);
    let n = values.len();
    if n == 0 { f64::NAN } else { (values[(n - 1) / 2] + values[n / 2]) / 2.0 }
}

/// Whether a ratio is a factor or its inverse, within 12 %; gives which.
fn is_factor(ratio: f64, factor: f64) -> Option<bool> {
    let near = |target: f64| (ratio / target).ln().abs() < 0.12;
    if near(factor) {
        Some(true)
    } else if near(1.0 / factor) {
        Some(false)
    } else {
        None
    }
}

/// A slip that moves every element of a sheet by one factor: lb/acre for ppm, mg/100 g for mg/kg.
fn whole_sheet(compared: &[(&Reading, Vec<&Reading>)], asked: &mut Vec<Question>) -> bool {
    let elements: Vec<_> = compared
        .iter()
        .filter(|(reading, _)| matches!(reading.level, Level::MgPerKg(_) | Level::MgPerL(_)))
        .map(|(reading, earlier)| (reading.cell, reading.level.number() / middle(earlier)))
        .collect();
    for (factor, slip) in [(2.0, "lb/acre for ppm"), (10.0, "mg/kg for mg/100 g, or a decimal point")] {
        for (up, times) in [(true, "times"), (false, "th of")] {
            let moved: Vec<CellKey> = elements
                .iter()
                .filter(|(_, ratio)| is_factor(*ratio, factor) == Some(up))
                .map(|(cell, _)| *cell)
                .collect();
            // One nutrient may double by itself; three of four at once are a unit.
            if moved.len() >= 3 && moved.len() * 4 >= elements.len() * 3 {
                let size = match (up, factor as u32) {
                    (true, 2) => "about twice".to_owned(),
                    (false, 2) => "about half".to_owned(),
                    (true, n) => format!("about {n} {times}"),
                    (false, n) => format!("about a {n}{times}"),
                };
                let text =
                    format!("Nearly every element is {size} what this plot had before. Is the unit right ({slip})?");
                ask(asked, QuestionKind::UnitSlip, moved, text);
                return true;
            }
        }
    }
    false
}

/// One reading against its own past.
fn one(reading: &Reading, earlier: &[&Reading], asked: &mut Vec<Question>) {
    let value = reading.level.number();
    let lowest = earlier.iter().map(|r| r.level.number()).fold(f64::INFINITY, f64::min);
    let highest = earlier.iter().map(|r| r.level.number()).fold(0.0, f64::max);
    let name = reading.analyte.name();
    let method = reading.method.label();
    let decimals = usize::from(earlier.iter().map(|r| r.decimals).max().unwrap_or(0));
    let past = if earlier.len() == 1 {
        format!("{lowest:.decimals$} before")
    } else {
        format!("{lowest:.decimals$} to {highest:.decimals$} in {} earlier results", earlier.len())
    };
    if let Level::Ph(_) = reading.level {
        if value > highest + PH_FAR || value < lowest - PH_FAR {
            let text =
                format!("{name} {} is far from this plot's own past: {past}. Is it typed rightly?", reading.figure());
            ask(asked, QuestionKind::FarFromHistory, [reading.cell], text);
        }
        return;
    }
    if matches!(reading.level, Level::Percent(_) | Level::CmolPerKg(_) | Level::CmolPerL(_))
        && highest < 1.0
        && value < 1.0
    {
        return; // ratios of small shares are only rounding
    }
    let far = if earlier.len() == 1 { FAR_ONE } else { FAR_SEVERAL };
    if value <= highest * far && value >= lowest / far {
        oxide(reading, earlier, highest, asked);
        return;
    }
    let ratio = value / middle(earlier);
    if is_factor(ratio, 10.0).is_some() || is_factor(ratio, 100.0).is_some() {
        let text = format!(
            "{name} {} ({method}) is far from this plot's own past ({past}) by about ten or a hundred. Is the decimal point, or the unit, right?",
            reading.figure()
        );
        ask(asked, QuestionKind::UnitSlip, [reading.cell], text);
    } else if !oxide(reading, earlier, highest, asked) {
        let text = format!(
            "{name} {} ({method}) is far from this plot's own past: {past}. Is it typed rightly, or was much put on?",
            reading.figure()
        );
        ask(asked, QuestionKind::FarFromHistory, [reading.cell], text);
    }
}

/// Phosphorus at 2.29 or nitrate-N at 4.43 times its past: the forms whose factors stand out from
/// ordinary change.
fn oxide(reading: &Reading, earlier: &[&Reading], highest: f64, asked: &mut Vec<Question>) -> bool {
    let (name, of, form) = match reading.analyte {
        Analyte::Element(Element::P) => ("Phosphorus", "P", Form::P2O5),
        Analyte::NitrateN => ("Nitrate-N", "N", Form::NO3),
        _ => return false,
    };
    let factor = 1.0 / form.to_element();
    let ratio = reading.level.number() / middle(earlier);
    let fits = (ratio / factor).ln().abs() < 0.05 && reading.level.number() > highest * 1.8;
    if fits {
        let text = format!(
            "{name} {} is {} times what this plot had before, the very factor from {of} to {printed}. Does the sheet print {printed}?",
            reading.figure(),
            number((ratio * 100.0).round() / 100.0),
            printed = subscripts(form)
        );
        ask(asked, QuestionKind::OxideForElement, [reading.cell], text);
    }
    fits
}

/// Results that should be alike: repeats on this sampling, and the readings beside it.
fn beside(entry: &Entry, asked: &mut Vec<Question>) {
    for (at, reading) in entry.readings.iter().enumerate().filter(|(_, reading)| measurable(reading)) {
        let repeats = entry.readings[at + 1..].iter().map(|other| (other, true));
        let beside = entry.beside.iter().map(|other| (other, false));
        for (other, same_sampling) in repeats.chain(beside).filter(|(other, _)| comparable(reading, other)) {
            let (a, b) = (reading.level.number(), other.level.number());
            let apart = match reading.level {
                Level::Ph(_) => (a - b).abs() > PH_ALIKE_WITHIN + 1e-9,
                _ => a.max(b) > a.min(b) * ALIKE_WITHIN,
            };
            if apart {
                let place = if same_sampling { "the repeat" } else { "the soil beside it" };
                let text = format!(
                    "{} ({}) is {} here and {} in {place}: further apart than such results are. Is one of them wrong, or is the ground uneven?",
                    reading.analyte.name(),
                    reading.method.label(),
                    reading.figure(),
                    other.figure()
                );
                let cells = if same_sampling { vec![reading.cell, other.cell] } else { vec![reading.cell] };
                ask(asked, QuestionKind::FarFromBeside, cells, text);
            }
        }
    }
}
