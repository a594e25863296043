//! Rates for crops in a draft: a table to each nutrient, so that a crop can take one row for
//! phosphate and another for potash. Rows are changed, added and taken out; a row that is no
//! longer as its publisher printed it says so, and is cited to whoever changed it.

use super::{Citation, Draft, Editor, RawGuideline, switched};
use crate::agronomy::{
    analyte::Analyte,
    crop::Crop,
    element::Element,
    guideline::{
        Changed, Column, Criterion, Gives, RateEquation, RateRow, RateTable, Rates, Rule,
        parse::rates::{RawEquation, RawRateRow, RawRates, rates},
    },
    method::Method,
    rate::RateUnit,
};
use toml::Spanned;

/// The rates of one nutrient as they can be typed.
#[derive(Clone, Debug, PartialEq)]
pub struct RatesBounds {
    pub unit: RateUnit,
    /// The advice is each rate give or take this much.
    pub give_or_take: Option<f64>,
    /// What the columns stand for: a class by its words, "2", "4 and higher"; empty for equations.
    pub columns: Vec<String>,
    pub rows: Vec<RateRowBounds>,
}

/// A row of them.
#[derive(Clone, Debug, PartialEq)]
pub struct RateRowBounds {
    /// Its place in the version that was read; `None` for a row that is added.
    pub was: Option<usize>,
    pub printed_for: String,
    pub crops: Vec<Crop>,
    pub gives: Gives,
    /// Why it is not followed.
    pub withheld: Option<String>,
}

/// What of rates a fault is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum RateField {
    /// The rows as a whole.
    Rows,
    Column(usize),
    /// A row, then a field of it.
    PrintedFor(usize),
    Crops(usize),
    Rate(usize, usize),
    Square(usize),
    Linear(usize),
    Constant(usize),
}

/// What is wrong with rates as typed, as a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct RateFault {
    pub field: RateField,
    pub says: String,
}

/// Parts a table that is printed for several nutrients alike into one for each.
pub(super) fn take_apart(raw: &mut RawGuideline) {
    let slug = raw.slug.clone();
    let mut apart = Vec::new();
    for table in std::mem::take(&mut raw.rates) {
        let table = table.into_inner();
        let set = Some(table.set.clone().unwrap_or_else(|| slug.clone()));
        for nutrient in &table.nutrients {
            let one = RawRates { nutrients: vec![nutrient.clone()], set: set.clone(), ..table.clone() };
            apart.push(Spanned::new(0..0, one));
        }
    }
    raw.rates = apart;
}

impl RatesBounds {
    /// The rates of a guideline as they stand.
    pub fn of(rates: &Rates) -> RatesBounds {
        let columns = rates.rows.iter().find_map(|row| match &row.gives {
            Gives::Table(table) => Some(table.columns.iter().map(ToString::to_string).collect()),
            Gives::Equation(_) => None,
        });
        let row = |(at, row): (usize, &RateRow)| RateRowBounds {
            was: Some(at),
            printed_for: row.printed_for.clone(),
            crops: row.crops.clone(),
            gives: row.gives.clone(),
            withheld: row.withheld.clone(),
        };
        RatesBounds {
            unit: rates.unit,
            give_or_take: rates.give_or_take,
            columns: columns.unwrap_or_default(),
            rows: rates.rows.iter().enumerate().map(row).collect(),
        }
    }

    /// Everything that is wrong with them beside the limits whose classes they go by: each class
    /// has one column, no crop two rows, and nothing asks for more where the soil holds more.
    pub fn faults(&self, element: Element, methods: &[Method], criteria: &[Criterion]) -> Vec<RateFault> {
        let mut faults = Vec::new();
        let mut fault = |field, says: String| faults.push(RateFault { field, says });
        if self.rows.is_empty() {
            fault(RateField::Rows, "Leave at least one row, or take the whole table out.".into());
        }
        for (at, row) in self.rows.iter().enumerate() {
            if row.printed_for.trim().is_empty() {
                fault(RateField::PrintedFor(at), "Say what the row is for.".into());
            }
            for crop in &row.crops {
                let other = self.rows[..at].iter().find(|other| other.crops.contains(crop));
                if let Some(other) = other {
                    let says = format!("{} has a rate already, in “{}”.", crop.name, other.printed_for);
                    fault(RateField::Crops(at), says);
                }
            }
            match &row.gives {
                Gives::Table(table) => {
                    for (column, rate) in table.printed.iter().enumerate().filter(|(_, rate)| **rate < 0.0) {
                        fault(RateField::Rate(at, column), format!("A rate of {rate} is below 0."));
                    }
                }
                Gives::Equation(equation) => equation_faults(at, equation, &mut fault),
            }
        }
        if !self.columns.is_empty() {
            column_faults(&self.columns, element, methods, criteria, &mut fault);
        }
        faults
    }
}

fn equation_faults(at: usize, equation: &RateEquation, fault: &mut impl FnMut(RateField, String)) {
    if equation.square < 0.0 {
        fault(RateField::Square(at), "This must be 0 or more: else the rate would rise on the richest soil.".into());
    }
    if equation.linear >= 0.0 {
        fault(RateField::Linear(at), "This must be above 0: more in the soil asks for less.".into());
    }
    if equation.constant <= 0.0 {
        fault(RateField::Constant(at), "The rate at an index of 0 must be above 0.".into());
    }
}

fn column_faults(
    columns: &[String],
    element: Element,
    methods: &[Method],
    criteria: &[Criterion],
    fault: &mut impl FnMut(RateField, String),
) {
    let mut read: Vec<Column> = Vec::new();
    for (at, text) in columns.iter().enumerate() {
        match text.parse::<Column>() {
            Ok(column) if read.contains(&column) => {
                fault(RateField::Column(at), format!("There is a column “{column}” already."));
            }
            Ok(_) => {}
            Err(_) => fault(RateField::Column(at), "Say which class this column is for.".into()),
        }
        read.push(text.parse().unwrap_or_else(|_| Column::Class(String::new())));
    }
    let name = Analyte::Element(element).name();
    for criterion in criteria {
        let fits =
            criterion.analyte == Analyte::Element(element) && criterion.methods.iter().any(|m| methods.contains(m));
        let Rule::Classes(classes) = &criterion.rule else { continue };
        if !fits {
            continue;
        }
        let last = read.len().saturating_sub(1);
        for class in &classes.classes {
            let covering: Vec<usize> = (0..read.len()).filter(|at| read[*at].covers(&class.name)).collect();
            match covering[..] {
                [] => fault(RateField::Column(last), format!("No column is for the class “{}” of {name}.", class.name)),
                [_] => {}
                [.., twice] => {
                    fault(RateField::Column(twice), format!("Another column is for “{}” already.", class.name))
                }
            }
        }
        for (at, column) in read.iter().enumerate() {
            if !classes.classes.iter().any(|class| column.covers(&class.name)) {
                let classes: Vec<&str> = classes.classes.iter().map(|class| class.name.as_str()).collect();
                let says = format!("{name} has no class for this column; its classes are {}.", classes.join(", "));
                fault(RateField::Column(at), says);
            }
        }
    }
}

impl Draft {
    /// How many tables of rates it has.
    pub fn rates_len(&self) -> usize {
        self.raw.rates.len()
    }

    /// The rules as they are read.
    pub fn criteria(&self) -> Vec<Criterion> {
        (0..self.len()).filter_map(|at| self.criterion(at)).collect()
    }

    /// Rates as they are read; `None` where there is no such table, or it does not fit the rules.
    pub fn rates(&self, at: usize) -> Option<Rates> {
        let read = rates(&self.raw.slug, self.raw.rates.get(at)?.get_ref(), &self.criteria());
        read.ok()?.pop()
    }

    /// Gives rates other rows, columns or another unit; says why where they make no rates. `was` is
    /// how they stood before the draft was touched.
    pub fn change_rates(&mut self, at: usize, was: &Rates, to: &RatesBounds, by: &Editor) -> Result<(), String> {
        let mut table = self.raw.rates.get(at).ok_or("there is no such table")?.get_ref().clone();
        let old: Vec<RawRateRow> = table.row.iter().map(|row| row.get_ref().clone()).collect();
        table.unit = to.unit.slug().to_owned();
        table.give_or_take = to.give_or_take;
        table.columns.clone_from(&to.columns);
        let unchanged_table = Rates { unit: to.unit, give_or_take: to.give_or_take, ..was.clone() } == *was;
        let row = |new: &RateRowBounds| {
            let before = new.was.and_then(|place| Some((old.get(place)?, was.rows.get(place)?)));
            if let Some((raw, row)) = before
                && unchanged_table
                && same(row, new)
            {
                return raw.clone();
            }
            write(new, before, (was, unchanged_table), by)
        };
        table.row = to.rows.iter().map(|new| Spanned::new(0..0, row(new))).collect();
        rates(&self.raw.slug, &table, &self.criteria()).map_err(|(_, says)| says)?;
        self.raw.rates[at] = Spanned::new(0..0, table);
        Ok(())
    }

    /// Switches rates on or off.
    pub fn switch_rates(&mut self, at: usize, on: bool) {
        let Some(table) = self.raw.rates.get(at) else { return };
        let mut table = table.get_ref().clone();
        let Some(source) = &table.source else { return };
        table.in_force = switched(source, on);
        self.raw.rates[at] = Spanned::new(0..0, table);
    }

    /// Takes tables of rates out.
    pub fn remove_rates(&mut self, tables: &[usize]) {
        let mut at = 0..;
        self.raw.rates.retain(|_| at.next().is_some_and(|i| !tables.contains(&i)));
    }
}

/// Whether a row stands as it was, columns included.
fn same(row: &RateRow, new: &RateRowBounds) -> bool {
    (&row.printed_for, &row.crops, &row.gives, &row.withheld)
        == (&new.printed_for, &new.crops, &new.gives, &new.withheld)
}

/// A row that was changed or added.
fn write(
    new: &RateRowBounds,
    before: Option<(&RawRateRow, &RateRow)>,
    (was, same_table): (&Rates, bool),
    by: &Editor,
) -> RawRateRow {
    let mut raw = match before {
        Some((raw, _)) => raw.clone(),
        None => RawRateRow::default(),
    };
    raw.printed_for.clone_from(&new.printed_for);
    if before.is_none_or(|(_, row)| row.crops != new.crops) {
        raw.groups.clear();
        raw.crops = new.crops.iter().map(|crop| crop.slug.to_owned()).collect();
    }
    raw.withheld.clone_from(&new.withheld);
    (raw.printed, raw.equation) = match &new.gives {
        Gives::Table(RateTable { printed, .. }) => (Some(printed.clone()), None),
        Gives::Equation(RateEquation { number, square, linear, constant }) => {
            let (square, linear, constant) = (*square, *linear, *constant);
            (None, Some(RawEquation { number: number.clone(), square, linear, constant }))
        }
    };
    // Edited twice, it is still held against what the publisher printed.
    let (printed, source): (String, Option<Citation>) = match before {
        Some((_, row)) => match &row.changed {
            Some(changed) => (changed.printed.clone(), changed.source.clone()),
            None => (was.words(row), Some(was.source_of(row).clone())),
        },
        None => (String::new(), None),
    };
    // Who names the crops of a publisher's figures has not made the figures.
    let kept = source.is_some()
        && same_table
        && before.is_some_and(|(_, row)| {
            (&row.gives, &row.withheld) == (&new.gives, &new.withheld) && row.changed.as_ref().is_none_or(|c| c.kept)
        });
    raw.source = match &source {
        Some(publisher) if kept && by.source.is_empty() => Some(publisher.clone()),
        Some(publisher) => Some(by.cite("Changed", format!("{} printed: {printed}", publisher.publisher))),
        None => Some(by.cite("Added", "own rate".into())),
    };
    let (name, version) = (by.name.clone(), by.version);
    raw.changed = Some(Changed { by: name, on: by.on, version, kept, printed, source });
    raw
}
