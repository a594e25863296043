//! Questions about a sheet as it is entered: slips of unit, swapped columns, parts that do
//! not add up, values far from this plot's own past. Each is a question to the person who
//! has the sheet in hand; nothing here refuses, corrects or hides a result.

mod history;
mod over_years;
pub mod products;
mod traps;

pub use over_years::{OverYears, over_years};

use super::{
    analyte::Analyte,
    carbonate::Signs,
    element::Element,
    method::{Method, Purpose},
    reading::{Divisors, Level, Reading, charge, number},
    record::{CellKey, Determination, Qualifier, Sampling, Unit},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// What a question is about; the page groups by it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum QuestionKind {
    /// The number fits another unit better.
    UnitSlip,
    /// The number fits the oxide better than the element.
    OxideForElement,
    /// Two columns look exchanged.
    ColumnsSwapped,
    /// Parts and whole do not agree.
    DoesNotAddUp,
    /// Aluminium seems to be counted among the bases.
    AluminiumCounted,
    /// Outside what soil can be.
    OutOfRange,
    /// Far from this plot's earlier results by the same method.
    FarFromHistory,
    /// Far from another result beside it in the same sampling.
    FarFromBeside,
    /// Inflated by free lime or salts.
    Inflated,
    /// The sheet leaves out what the number needs.
    MethodMissing,
    /// The date makes the result hard to compare.
    Timing,
    /// A plain 0 where labs print a limit.
    Nought,
    /// Shares or a capacity of another whole than is said.
    Denominator,
    /// The sheet contradicts itself or the soil.
    Contradiction,
    /// Another method or depth than before.
    MethodChanged,
    /// By mass, where labs scoop a volume for the test.
    ByVolume,
    /// Of soil dried otherwise.
    Drying,
}

/// A question to the person with the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct Question {
    /// The cells it is about.
    pub cells: Vec<CellKey>,
    /// One or two sentences ending in a question.
    pub text: String,
    pub kind: QuestionKind,
}

/// What the questions are asked from.
#[derive(Clone, Copy, Debug)]
pub struct Entry<'a> {
    pub sampling: &'a Sampling,
    /// The readings of `sampling`.
    pub readings: &'a [Reading],
    pub signs: &'a Signs,
    /// Readings of earlier samplings of the same plot.
    pub history: &'a [Reading],
    /// Readings of other samplings that should be alike: sub-plots, halves of a bed.
    pub beside: &'a [Reading],
    /// The last day before the sampling on which something was put on.
    pub last_applied: Option<Date>,
    /// The ground is clay, as whoever described the plot says.
    pub clay: bool,
}

/// Days after an application during which a sampling is questioned.
///
/// Common practice is to wait some two months, or for the next season; there is no published limit.
pub const DAYS_AFTER_AMENDING: i32 = 60;

/// Every question that the entry raises, in the order of the cells.
pub fn questions(entry: &Entry) -> Vec<Question> {
    let mut asked = Vec::new();
    missing(entry, &mut asked);
    ranges(entry, &mut asked);
    conductivity(entry, &mut asked);
    capacity(entry, &mut asked);
    saturations(entry, &mut asked);
    lime(entry, &mut asked);
    timing(entry, &mut asked);
    traps::look(entry, &mut asked);
    history::compare(entry, &mut asked);
    asked.sort_by(|a, b| (&a.cells, a.kind).cmp(&(&b.cells, b.kind)));
    asked.dedup();
    asked
}

fn ask(
    asked: &mut Vec<Question>,
    kind: QuestionKind,
    cells: impl IntoIterator<Item = CellKey>,
    text: impl Into<String>,
) {
    asked.push(Question { cells: cells.into_iter().collect(), text: text.into(), kind });
}

/// Method, dilution or buffer left out.
fn missing(entry: &Entry, asked: &mut Vec<Question>) {
    let mut nameless: BTreeMap<i64, Vec<CellKey>> = BTreeMap::new();
    for (report, d) in entry.sampling.determinations() {
        if d.method != Method::Unstated {
            if d.analyte == Analyte::BufferPh
                && d.method.purpose() != Purpose::Buffer
                && d.method.purpose() != Purpose::Any
            {
                let text = format!("“{}” is not a lime buffer. Which buffer was used?", d.method.label());
                ask(asked, QuestionKind::MethodMissing, [d.key], text);
            }
            continue;
        }
        match d.analyte {
            Analyte::Conductivity => ask(
                asked,
                QuestionKind::MethodMissing,
                [d.key],
                "Conductivity means nothing without its dilution. Is it of a saturated paste, 1:1, 1:2 or 1:5?",
            ),
            Analyte::BufferPh => ask(
                asked,
                QuestionKind::MethodMissing,
                [d.key],
                "A buffer pH means nothing without the buffer's name. Which buffer does the lab use?",
            ),
            Analyte::Element(_) | Analyte::NitrateN | Analyte::AmmoniumN => {
                nameless.entry(report.key).or_default().push(d.key);
            }
            _ => {}
        }
    }
    for cells in nameless.into_values() {
        let text = "The extraction is not stated, so no limits can be applied. What does the lab use?";
        ask(asked, QuestionKind::MethodMissing, cells, text);
    }
}

/// Values that soil does not have.
fn ranges(entry: &Entry, asked: &mut Vec<Question>) {
    for reading in entry.readings {
        let value = reading.level.number();
        let cell = [reading.cell];
        let shown = reading.figure();
        match (reading.analyte, reading.level) {
            (Analyte::Ph, _) if !(3.0..=10.0).contains(&value) => {
                ask(
                    asked,
                    QuestionKind::OutOfRange,
                    cell,
                    format!("Soil of pH {shown} is hardly known: 3 to 10 is. Is it in the right column?"),
                );
            }
            (Analyte::BufferPh, _) if !(4.0..=8.2).contains(&value) => {
                ask(
                    asked,
                    QuestionKind::OutOfRange,
                    cell,
                    format!(
                        "No lime buffer reads {shown}: they start at 6.6 to 8.0 and fall. Is it in the right column?"
                    ),
                );
            }
            (Analyte::BaseSaturation, _) if value > 100.0 => {
                let text = format!(
                    "A base saturation of {shown} is more than the whole. Is it typed rightly, or does the soil hold free lime or salts?"
                );
                ask(asked, QuestionKind::OutOfRange, cell, text);
            }
            (_, Level::Percent(_)) if value > 100.0 => {
                ask(
                    asked,
                    QuestionKind::OutOfRange,
                    cell,
                    format!("{} of {shown} is more than the whole. Is it typed rightly?", reading.analyte.name()),
                );
            }
            (Analyte::ExchangeCapacity, _) if value > 100.0 => {
                ask(
                    asked,
                    QuestionKind::UnitSlip,
                    cell,
                    format!("A capacity of {shown} is beyond any soil but peat. Is it in mmol(+)/kg, ten to the cmol?"),
                );
            }
            (_, Level::MgPerKg(_)) if value > 500_000.0 => {
                ask(
                    asked,
                    QuestionKind::OutOfRange,
                    cell,
                    format!(
                        "{} of {shown} would be more than half of the soil. Is the unit right?",
                        reading.analyte.name()
                    ),
                );
            }
            _ => {}
        }
    }
}

/// µS/cm taken for dS/m, or the other way round.
fn conductivity(entry: &Entry, asked: &mut Vec<Question>) {
    for (_, d) in entry.sampling.determinations().filter(|(_, d)| d.analyte == Analyte::Conductivity) {
        let Some(value) = d.printed.value else { continue };
        // Sea water is about 50 dS/m; rain alone is 5 to 30 µS/cm.
        match d.unit {
            Unit::DsPerM | Unit::MsPerCm if value >= 30.0 => {
                let text = format!(
                    "{} {} is nearly sea water. Is it in µS/cm, a thousand to the dS/m?",
                    d.printed.text, d.unit
                );
                ask(asked, QuestionKind::UnitSlip, [d.key], text);
            }
            Unit::UsPerCm if value > 0.0 && value < 20.0 => {
                let text = format!("{} {} is as pure as rain. Is it in dS/m?", d.printed.text, d.unit);
                ask(asked, QuestionKind::UnitSlip, [d.key], text);
            }
            _ => {}
        }
    }
}

/// One method's cations on one sheet, as charge by mass or by volume.
struct Cations<'a> {
    unit: &'static str,
    readings: BTreeMap<Element, &'a Reading>,
    charges: BTreeMap<Element, f64>,
}

impl Cations<'_> {
    fn bases(&self) -> f64 {
        super::exchange_capacity::BASES.iter().filter_map(|base| self.charges.get(base)).sum()
    }

    fn cells(&self) -> Vec<CellKey> {
        self.readings.values().map(|reading| reading.cell).collect()
    }

    /// Whether calcium, magnesium and potassium are all there.
    fn whole(&self) -> bool {
        [Element::Ca, Element::Mg, Element::K].iter().all(|base| self.charges.contains_key(base))
    }
}

/// The cations of a sampling by lab and method; the first result of each where there are repeats.
fn cations(readings: &[Reading]) -> Vec<Cations<'_>> {
    let mut sets: BTreeMap<(&str, &Method, &'static str), Cations> = BTreeMap::new();
    for reading in readings {
        let Analyte::Element(element) = reading.analyte else { continue };
        let Some((level, _)) = charge(reading, &Divisors::exact()) else { continue };
        let set = sets.entry((&reading.lab, &reading.method, level.unit())).or_insert_with(|| Cations {
            unit: level.unit(),
            readings: BTreeMap::new(),
            charges: BTreeMap::new(),
        });
        if let std::collections::btree_map::Entry::Vacant(place) = set.charges.entry(element) {
            place.insert(level.number());
            set.readings.insert(element, reading);
        }
    }
    sets.into_values().collect()
}

fn find<'a>(readings: &'a [Reading], analyte: Analyte) -> Option<&'a Reading> {
    readings.iter().find(|reading| reading.analyte == analyte && reading.is_exact())
}

/// Cations against the capacity that the sheet states, and against each other.
fn capacity(entry: &Entry, asked: &mut Vec<Question>) {
    let stated = find(entry.readings, Analyte::ExchangeCapacity);
    let acidity = find(entry.readings, Analyte::Acidity);
    for set in cations(entry.readings) {
        if let (Some(&ca), Some(&k)) = (set.charges.get(&Element::Ca), set.charges.get(&Element::K))
            && k > ca
            && ca > 0.0
        {
            let cells = [set.readings[&Element::Ca].cell, set.readings[&Element::K].cell];
            let text = "There is more potassium than calcium by charge, which soil hardly shows. Are the two columns exchanged?";
            ask(asked, QuestionKind::ColumnsSwapped, cells, text);
        }
        let Some(stated) = stated.filter(|stated| stated.level.unit() == set.unit && set.whole()) else { continue };
        let known_acidity = acidity.filter(|a| a.level.unit() == set.unit).map(|a| a.level.number());
        let acids: f64 = [Element::H, Element::Al].iter().filter_map(|acid| set.charges.get(acid)).sum();
        let acid = known_acidity.or((acids > 0.0).then_some(acids));
        let sum = set.bases() + acid.unwrap_or(0.0);
        let capacity = stated.level.number();
        if capacity <= 0.0 {
            continue;
        }
        // A tenth apart is what rounded divisors and the lab's own error make together.
        let over = sum > capacity * 1.1 + 0.1;
        let under = acid.is_some() && stated.method == Method::CapacitySummation && sum < capacity * 0.9 - 0.1;
        if !over && !under {
            continue;
        }
        let mut cells = set.cells();
        cells.push(stated.cell);
        if let Some(order) = swapped(&set, acid.unwrap_or(0.0), capacity) {
            let text = format!(
                "The cations make {} {}, and the sheet states {}. They would fit it with {order}. Are columns exchanged, here or by the lab?",
                number(sum),
                set.unit,
                stated.figure()
            );
            ask(asked, QuestionKind::ColumnsSwapped, cells, text);
        } else {
            let lime = if over && entry.signs.inflates_bases() { " Free lime or salts would explain it." } else { "" };
            let text = format!(
                "The cations{} make {} {}, and the sheet states a capacity of {}.{lime} Is a number or a unit wrong?",
                if acid.is_some() { " and the acidity" } else { "" },
                number(sum),
                set.unit,
                stated.figure()
            );
            ask(asked, QuestionKind::DoesNotAddUp, cells, text);
        }
    }
}

/// The one exchange of Ca, Mg and K numbers, or of their divisors, that makes the sum fit within 2 %.
fn swapped(set: &Cations, acid: f64, capacity: f64) -> Option<String> {
    let elements = [Element::Ca, Element::Mg, Element::K];
    let mass: Vec<f64> = elements.iter().filter_map(|e| Some(set.charges.get(e)? * e.mg_per_cmol_charge()?)).collect();
    let divisors: Vec<f64> = elements.iter().filter_map(|e| e.mg_per_cmol_charge()).collect();
    let rest = acid + set.charges.get(&Element::Na).copied().unwrap_or(0.0);
    let orders = [[1, 0, 2], [2, 1, 0], [0, 2, 1], [1, 2, 0], [2, 0, 1]];
    let mut fitting = orders.iter().filter(|order| {
        let sum: f64 = rest + order.iter().zip(&mass).map(|(&at, mg)| mg / divisors[at]).sum::<f64>();
        (sum / capacity - 1.0).abs() < 0.02
    });
    let order = fitting.next()?;
    if fitting.next().is_some() {
        return None;
    }
    let moved: Vec<String> = (0..3)
        .filter(|&at| order[at] != at)
        .map(|at| format!("{} read as {}", elements[at].name(), elements[order[at]].name()))
        .collect();
    Some(moved.join(", "))
}

/// Stated saturations against each other and against the cations.
fn saturations(entry: &Entry, asked: &mut Vec<Question>) {
    let readings = entry.readings;
    let share = |element| find(readings, Analyte::Saturation(element)).map(|r| (r.cell, r.level.number()));
    let printed: Vec<_> =
        Element::ALL.iter().filter_map(|e| share(*e).map(|(cell, value)| (*e, cell, value))).collect();
    let sum: f64 = printed.iter().map(|(_, _, value)| value).sum();
    let has = |element| printed.iter().any(|(e, ..)| *e == element);
    let whole = has(Element::Ca) && has(Element::Mg) && has(Element::K) && has(Element::H);
    if sum > 102.0 || whole && sum < 95.0 {
        let cells = printed.iter().map(|(_, cell, _)| *cell);
        let text = format!(
            "The saturations on the sheet add up to {} %. Is one of them typed wrongly?",
            number((sum * 10.0).round() / 10.0)
        );
        ask(asked, QuestionKind::DoesNotAddUp, cells, text);
    }
    let capacity = find(readings, Analyte::ExchangeCapacity);
    for set in cations(readings) {
        let Some(capacity) = capacity.filter(|c| c.level.unit() == set.unit && c.level.number() > 0.0) else {
            continue;
        };
        for (element, cell, stated) in &printed {
            let Some(charge) = set.charges.get(element) else { continue };
            let found = 100.0 * charge / capacity.level.number();
            // More than one point and a sixth apart: beyond rounded divisors and rounded printing.
            if (found - stated).abs() > 1.0 && (found / stated.max(1e-9)).ln().abs() > 0.15 {
                let text = format!(
                    "{} by charge is {} % of the stated capacity, and the sheet prints {} %. Is one of the three typed wrongly?",
                    Analyte::Element(*element).name(),
                    number((found * 10.0).round() / 10.0),
                    number(*stated)
                );
                ask(asked, QuestionKind::DoesNotAddUp, [set.readings[element].cell, *cell, capacity.cell], text);
            }
        }
        let Some(base) = find(readings, Analyte::BaseSaturation).filter(|_| set.whole()) else { continue };
        let right = 100.0 * set.bases() / capacity.level.number();
        let aluminium = set.charges.get(&Element::Al).copied().unwrap_or(0.0);
        let with_aluminium = right + 100.0 * aluminium / capacity.level.number();
        let stated = base.level.number();
        if aluminium > 0.0 && (stated - right).abs() > 2.0 && (stated - with_aluminium).abs() <= 1.0 {
            let text = format!(
                "The base saturation of {} counts aluminium as a base; without it, it is {} %. Does the lab do so?",
                base.figure(),
                number((right * 10.0).round() / 10.0)
            );
            ask(asked, QuestionKind::AluminiumCounted, [base.cell, set.readings[&Element::Al].cell], text);
        } else if (stated - right).abs() > 5.0 {
            let text = format!(
                "The bases are {} % of the stated capacity, and the sheet prints a base saturation of {}. Is one of them typed wrongly?",
                number((right * 10.0).round() / 10.0),
                base.figure()
            );
            ask(asked, QuestionKind::DoesNotAddUp, [base.cell, capacity.cell], text);
        }
    }
}

/// Mehlich-3 calcium where there is free lime.
fn lime(entry: &Entry, asked: &mut Vec<Question>) {
    if !entry.signs.calcareous() {
        return;
    }
    for reading in entry.readings {
        let mehlich = matches!(reading.method, Method::Mehlich3Icp | Method::Mehlich3Colour);
        if mehlich && reading.analyte == Analyte::Element(Element::Ca) {
            let text = format!(
                "Mehlich-3 dissolves free lime, so this calcium ({}) says little, and no sum or share can be made of it. Can the lab also extract at pH 8.2 or 8.5?",
                reading.figure()
            );
            ask(asked, QuestionKind::Inflated, [reading.cell], text);
        }
    }
}

/// Sampled soon after something was put on.
fn timing(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(applied) = entry.last_applied else { return };
    let days = applied.until(entry.sampling.sampled_on).map_or(-1, |span| span.get_days());
    if (0..DAYS_AFTER_AMENDING).contains(&days) {
        let cells: Vec<CellKey> = entry.sampling.determinations().map(|(_, d): (_, &Determination)| d.key).collect();
        let text = format!(
            "The soil was taken {days} days after something was put on ({applied}), which may still lie undissolved. Is the date right?"
        );
        ask(asked, QuestionKind::Timing, cells, text);
    }
}

/// Whether a reading is a plain positive number, fit for a ratio.
fn measurable(reading: &Reading) -> bool {
    reading.qualifier == Qualifier::Exact && reading.level.number() > 0.0
}
