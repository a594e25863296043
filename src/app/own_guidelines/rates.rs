//! Rates for crops as they are typed: a table to each nutrient, a row to each of its crops, as
//! figures by class or as an equation. A crop is typed by its name, one to a line.

use super::typed::{FIGURE, Part, Typed, text};
use crate::{
    agronomy::{
        crop::Crop,
        guideline::{Draft, Gives, Guideline, RateEquation, RateField, RateRowBounds, RateTable, Rates, RatesBounds},
        rate::RateUnit,
        reading::number,
    },
    app::{Actor, Problems},
};
use jiff::civil::Date;

/// The fields of every table, as they show what a guideline holds.
pub(super) fn show(guideline: &Guideline, fields: &mut Typed) {
    // A draft has a table to each nutrient, and its rates stand in the same order as the guideline's.
    for (table, rates) in guideline.rates.iter().enumerate() {
        let at = format!("rates.{table}");
        let mut set = |name: &str, value: String| _ = fields.insert(format!("{at}.{name}"), value);
        let bounds = RatesBounds::of(rates);
        set("shown", "1".into());
        set("in_use", if rates.in_force { "on".into() } else { String::new() });
        set("unit", bounds.unit.slug().into());
        set("give_or_take", bounds.give_or_take.map(text).unwrap_or_default());
        for (i, column) in bounds.columns.iter().enumerate() {
            set(&format!("columns.{i}.is"), column.clone());
        }
        for (i, row) in bounds.rows.iter().enumerate() {
            let mut set = |name: &str, value: String| set(&format!("rows.{i}.{name}"), value);
            set("printed_for", row.printed_for.clone());
            set("crops", row.crops.iter().map(|crop| crop.name).collect::<Vec<_>>().join("\n"));
            set("withheld", row.withheld.clone().unwrap_or_default());
            match &row.gives {
                Gives::Table(table) => {
                    table.printed.iter().enumerate().for_each(|(i, rate)| set(&format!("rate.{i}"), text(*rate)));
                }
                Gives::Equation(equation) => {
                    set("square", text(equation.square));
                    set("linear", text(-equation.linear));
                    set("constant", text(equation.constant));
                }
            }
        }
    }
}

/// Writes what was typed of all tables into the draft; `was` are the rates before anything was changed.
pub(super) fn write(
    was: &[Rates],
    (typed, shown): (&Typed, &Typed),
    draft: &mut Draft,
    (actor, today, version): (&Actor, Date, i64),
    problems: &mut Problems,
) {
    let mut gone = Vec::new();
    for (table, rates) in was.iter().enumerate() {
        let part = Part::new(format!("rates.{table}"), typed, shown);
        if !part.is_named() {
            // Their columns may no longer fit limits that were changed above.
            faults(&part, rates, &RatesBounds::of(rates), &[], draft, problems);
            continue;
        }
        if part.ticked("remove") {
            gone.push(table);
            continue;
        }
        let mut wrong = Problems::default();
        let read = read(&part, rates, &mut wrong);
        if let Some((bounds, lines)) = read.filter(|_| wrong.is_empty()) {
            faults(&part, rates, &bounds, &lines, draft, &mut wrong);
            if wrong.is_empty()
                && part.touched()
                && bounds != RatesBounds::of(rates)
                && let Some(by) = part.editor(actor, today, version, &mut wrong)
                && let Err(says) = draft.change_rates(table, rates, &bounds, &by)
            {
                wrong.add(&part.field("rows"), format!("{says}."));
            }
        }
        problems.0.extend(wrong.0);
        if let Some(on) = part.switched(rates.in_force) {
            draft.switch_rates(table, on);
        }
    }
    draft.remove_rates(&gone);
}

/// What is wrong with rates beside the draft's limits, by the fields of their lines.
fn faults(part: &Part<'_>, rates: &Rates, to: &RatesBounds, lines: &[usize], draft: &Draft, problems: &mut Problems) {
    let line = |row: usize| lines.get(row).copied().unwrap_or(row);
    for fault in to.faults(rates.element, &rates.methods, &draft.criteria()) {
        let field = match fault.field {
            RateField::Rows => "rows".to_owned(),
            RateField::Column(column) => format!("columns.{column}.is"),
            RateField::PrintedFor(row) => format!("rows.{}.printed_for", line(row)),
            RateField::Crops(row) => format!("rows.{}.crops", line(row)),
            RateField::Rate(row, column) => format!("rows.{}.rate.{column}", line(row)),
            RateField::Square(row) => format!("rows.{}.square", line(row)),
            RateField::Linear(row) => format!("rows.{}.linear", line(row)),
            RateField::Constant(row) => format!("rows.{}.constant", line(row)),
        };
        problems.add(&part.field(&field), fault.says);
    }
}

/// The rates that were typed, and the numbers of the lines that their rows stand on.
fn read(part: &Part<'_>, was: &Rates, problems: &mut Problems) -> Option<(RatesBounds, Vec<usize>)> {
    let unit = problems.one_of::<RateUnit>(&part.field("unit"), part.value("unit"));
    let give_or_take = part.figure("give_or_take", &FIGURE, problems).map(|read| read.value);
    let by_class = was.rows.iter().any(|row| matches!(row.gives, Gives::Table(_)));
    let columns: Vec<usize> = if by_class { part.lines("columns") } else { vec![] };
    let headings: Vec<String> = columns.iter().map(|at| part.value(&format!("columns.{at}.is")).to_owned()).collect();
    if by_class && headings.is_empty() {
        problems.add(&part.field("columns.0.is"), "Say which class this column is for.");
    }
    let parsed: Vec<_> = headings.iter().filter_map(|heading| heading.parse().ok()).collect();
    let (mut rows, mut lines) = (Vec::new(), Vec::new());
    let mut at = part.lines("rows");
    // A row of before whose fields were all emptied is not forgotten: it says that its name is missing.
    at.extend((0..was.rows.len()).filter(|row| !at.contains(row)).collect::<Vec<_>>());
    at.sort_unstable();
    for line in at {
        let field = |name: &str| format!("rows.{line}.{name}");
        if part.ticked(&field("remove")) {
            continue;
        }
        let before = was.rows.get(line);
        let crops = crops(part, &field("crops"), problems);
        let printed_for = part.value(&field("printed_for")).to_owned();
        let is_table = match before.map(|row| &row.gives) {
            Some(gives) => matches!(gives, Gives::Table(_)),
            None => by_class,
        };
        let gives = if is_table {
            let rate = |column: &usize| {
                part.needed(
                    &field(&format!("rate.{column}")),
                    "Type the rate for this class; 0 where none is given.",
                    problems,
                )
            };
            let printed: Vec<f64> = columns.iter().filter_map(rate).collect();
            Gives::Table(RateTable { columns: parsed.clone(), printed })
        } else {
            let square = part.figure(&field("square"), &FIGURE, problems).map_or(0.0, |read| read.value);
            let linear = part.needed(&field("linear"), "Type by how much it falls with each point.", problems);
            let constant = part.needed(&field("constant"), "Type the rate at an index of 0.", problems);
            let number = match before.map(|row| &row.gives) {
                Some(Gives::Equation(equation)) => equation.number.clone(),
                _ => printed_for.clone(),
            };
            let (linear, constant) = (-linear.unwrap_or(1.0), constant.unwrap_or(1.0));
            Gives::Equation(RateEquation { number, square, linear, constant })
        };
        let withheld = Some(part.value(&field("withheld"))).filter(|why| !why.is_empty()).map(str::to_owned);
        let was = before.map(|_| line);
        rows.push(RateRowBounds { was, printed_for, crops: crops.unwrap_or_default(), gives, withheld });
        lines.push(line);
    }
    Some((RatesBounds { unit: unit?, give_or_take, columns: headings, rows }, lines))
}

/// The crops of a row, one to a line.
fn crops(part: &Part<'_>, name: &str, problems: &mut Problems) -> Option<Vec<Crop>> {
    let mut crops: Vec<Crop> = Vec::new();
    let mut known = true;
    for typed in part.value(name).lines().flat_map(|line| line.split(';')).map(str::trim).filter(|t| !t.is_empty()) {
        match Crop::called(typed) {
            Some(crop) if crops.contains(&crop) => {}
            Some(crop) => crops.push(crop),
            None => {
                known = false;
                let like: Vec<&str> = Crop::like(typed).iter().map(|crop| crop.name).collect();
                let like = match like[..] {
                    [] => " The names are those of the crops of a season.".to_owned(),
                    _ => format!(" Perhaps {}?", like.join(" or ")),
                };
                problems.add(&part.field(name), format!("“{typed}” is not a crop known here.{like}"));
            }
        }
    }
    known.then_some(crops)
}

/// A row in a few words, for the head of its fold.
pub fn in_short(rates: &Rates, row: usize) -> String {
    let Some(row) = rates.rows.get(row) else { return String::new() };
    let gives = match &row.gives {
        Gives::Table(table) => table.printed.iter().map(|rate| number(*rate)).collect::<Vec<_>>().join(" / "),
        Gives::Equation(equation) => equation.words(),
    };
    let crops = match row.crops.len() {
        0 => "no crop yet".to_owned(),
        _ => row.crops.iter().map(Crop::in_sentence).collect::<Vec<_>>().join(", "),
    };
    format!("{}: {gives}; {crops}", row.printed_for)
}
