//! Nitrate tests and rules for parts as they are typed: bands by their upper ends, each with what
//! it asks for, so that none can overlap another or leave a hole.

use super::typed::{FIGURE, Part, Typed, text};
use crate::{
    agronomy::{
        guideline::{
            Draft, GivesKind, Guideline, NitrateBound, NitrateBounds, NitrateTest, PartsBounds, SplitBounds, SplitRule,
            Worksheet,
        },
        rate::RateUnit,
    },
    app::{Actor, Problems, error::Limits},
    exchange::number::Low,
};
use jiff::civil::Date;

/// The figures of a worksheet: field and words.
pub const WORKSHEET: [(&str, &str); 6] = [
    ("per_bushel", "Nitrogen for a bushel of grain"),
    ("manured_since_harvest", "Factor where manured since the harvest"),
    ("not_manured_since", "Factor where not manured since"),
    ("manured_before", "More where manured in the three years before"),
    ("after_soybean", "More after soybean"),
    ("after_forage_legume", "More after clover or lucerne"),
];

const WHOLE: Limits = Limits { what: "It", unit: "", low: Low::AtLeast(1.0), at_most: 60.0, decimals: 0 };

fn figures(sheet: &Worksheet) -> [f64; 6] {
    let Worksheet {
        per_bushel,
        manured_since_harvest,
        not_manured_since,
        manured_before,
        after_soybean,
        after_forage_legume,
    } = *sheet;
    [per_bushel, manured_since_harvest, not_manured_since, manured_before, after_soybean, after_forage_legume]
}

/// The fields of all of them, as they show what a guideline holds.
pub(super) fn show(guideline: &Guideline, fields: &mut Typed) {
    let on = |in_force: bool| if in_force { "on".to_owned() } else { String::new() };
    for (i, test) in guideline.nitrate.iter().enumerate() {
        let mut set = |name: &str, value: String| _ = fields.insert(format!("nitrate.{i}.{name}"), value);
        let bounds = NitrateBounds::of(test);
        set("shown", "1".into());
        set("in_use", on(test.of.in_force));
        set("unit", bounds.unit.slug().into());
        set("in_foot", bounds.in_foot.map(text).unwrap_or_default());
        for (line, band) in bounds.bands.iter().enumerate() {
            set(&format!("bands.{line}.name"), band.name.clone());
            set(&format!("bands.{line}.up_to"), band.up_to.map(text).unwrap_or_default());
            set(&format!("bands.{line}.figure"), band.figure.map(text).unwrap_or_default());
        }
        if let Some(sheet) = &bounds.worksheet {
            WORKSHEET.iter().zip(figures(sheet)).for_each(|((name, _), figure)| set(name, text(figure)));
        }
    }
    for (i, rule) in guideline.splits.iter().enumerate() {
        let mut set = |name: &str, value: String| _ = fields.insert(format!("splits.{i}.{name}"), value);
        let bounds = SplitBounds::of(rule);
        set("shown", "1".into());
        set("in_use", on(rule.of.in_force));
        set("unit", bounds.unit.slug().into());
        set("months_apart", bounds.months_apart.to_string());
        match &bounds.parts {
            PartsBounds::AtMost(most) => set("at_most", text(*most)),
            PartsBounds::Bands { bands, .. } => {
                for (line, (end, parts)) in bands.iter().enumerate() {
                    set(&format!("bands.{line}.up_to"), end.map(text).unwrap_or_default());
                    set(&format!("bands.{line}.parts"), parts.to_string());
                }
            }
        }
    }
}

/// Writes what was typed into the draft.
pub(super) fn write(
    (typed, shown): (&Typed, &Typed),
    draft: &mut Draft,
    (actor, today, version): (&Actor, Date, i64),
    problems: &mut Problems,
) {
    let (mut tests_gone, mut rules_gone) = (Vec::new(), Vec::new());
    for at in 0..draft.nitrate_len() {
        let part = Part::new(format!("nitrate.{at}"), typed, shown);
        let Some(was) = draft.nitrate(at).filter(|_| part.is_named()) else { continue };
        if part.ticked("remove") {
            tests_gone.push(at);
            continue;
        }
        if part.touched() {
            let mut wrong = Problems::default();
            if let Some(to) = read_nitrate(&part, &was, &mut wrong).filter(|_| wrong.is_empty())
                && to != NitrateBounds::of(&was)
                && let Some(by) = part.editor(actor, today, version, &mut wrong)
                && let Err(says) = draft.change_nitrate(at, &to, &by)
            {
                wrong.add(&part.field("bands"), format!("{says}."));
            }
            problems.0.extend(wrong.0);
        }
        if let Some(on) = part.switched(was.of.in_force) {
            draft.switch_nitrate(at, on);
        }
    }
    for at in 0..draft.splits_len() {
        let part = Part::new(format!("splits.{at}"), typed, shown);
        let Some(was) = draft.split(at).filter(|_| part.is_named()) else { continue };
        if part.ticked("remove") {
            rules_gone.push(at);
            continue;
        }
        if part.touched() {
            let mut wrong = Problems::default();
            if let Some(to) = read_split(&part, &was, &mut wrong).filter(|_| wrong.is_empty())
                && to != SplitBounds::of(&was)
                && let Some(by) = part.editor(actor, today, version, &mut wrong)
                && let Err(says) = draft.change_split(at, &to, &by)
            {
                wrong.add(&part.field("bands"), format!("{says}."));
            }
            problems.0.extend(wrong.0);
        }
        if let Some(on) = part.switched(was.of.in_force) {
            draft.switch_split(at, on);
        }
    }
    draft.remove_nitrate(&tests_gone);
    draft.remove_splits(&rules_gone);
}

/// The upper ends of bands, one to a line that says anything, and the finest decimals typed.
fn ends(part: &Part<'_>, lines: &[usize], finest: &mut u8, problems: &mut Problems) -> Vec<Option<f64>> {
    let mut ends: Vec<Option<f64>> = Vec::new();
    if lines.len() < 2 {
        problems.add(&part.field("bands"), "Give at least two bands.");
    }
    for (i, line) in lines.iter().enumerate() {
        let name = format!("bands.{line}.up_to");
        let read = part.figure(&name, &Limits { decimals: 2, ..FIGURE }, problems);
        *finest = (*finest).max(read.as_ref().map_or(0, |read| read.decimals));
        let end = read.map(|read| read.value);
        let below = i.checked_sub(1).and_then(|before| ends[before]);
        match end {
            None if i + 1 < lines.len() && part.value(&name).is_empty() => {
                problems.add(&part.field(&name), "Say up to which value this band goes; only the highest has no end.");
            }
            Some(_) if i + 1 == lines.len() => {
                problems
                    .add(&part.field(&name), "The highest band has no end: leave this empty, or add a band above it.");
            }
            Some(end) if below.is_some_and(|below| below >= end) => {
                problems.add(&part.field(&name), "This must be above the limit of the band below.");
            }
            _ => {}
        }
        ends.push(end);
    }
    ends
}

fn read_nitrate(part: &Part<'_>, was: &NitrateTest, problems: &mut Problems) -> Option<NitrateBounds> {
    let unit = problems.one_of::<RateUnit>(&part.field("unit"), part.value("unit"));
    let in_foot = part.figure("in_foot", &FIGURE, problems).map(|read| read.value);
    if in_foot == Some(0.0) {
        problems.add(&part.field("in_foot"), "This must be above 0, or empty.");
    }
    let lines = part.lines("bands");
    let mut decimals = was.decimals;
    let ends = ends(part, &lines, &mut decimals, problems);
    let (mut bands, mut before): (Vec<NitrateBound>, Option<f64>) = (Vec::new(), None);
    for (i, (line, up_to)) in lines.iter().zip(ends).enumerate() {
        let name = format!("bands.{line}.figure");
        let figure = part.figure(&name, &FIGURE, problems).map(|read| read.value);
        let last = i + 1 == lines.len();
        let mut wrong = |says: &str| problems.add(&part.field(&name), says);
        match (was.kind(), figure) {
            (GivesKind::Class, Some(_)) => wrong("This test names classes alone: leave this empty."),
            (GivesKind::Rate, None) => wrong("Type the rate for this band; 0 where none is given."),
            (GivesKind::Rate, Some(rate)) if before.is_some_and(|before| rate > before) => {
                wrong("More nitrate in the ground must not ask for more.");
            }
            (GivesKind::OffBase, None) if !last => {
                wrong("Type what comes off the base rate; only the highest band may give none.")
            }
            (GivesKind::OffBase, Some(off)) if before.is_some_and(|before| off < before) => {
                wrong("With more nitrate in the ground no less comes off.");
            }
            _ => {}
        }
        before = figure.or(before);
        bands.push(NitrateBound { name: part.value(&format!("bands.{line}.name")).to_owned(), up_to, figure });
    }
    let worksheet = match was.kind() {
        GivesKind::Worksheet => {
            if bands.iter().all(|band| band.figure.is_some()) {
                problems.add(&part.field("bands"), "Leave a band without a figure: the worksheet speaks there.");
            }
            let mut figure = |at: usize| {
                part.needed(WORKSHEET[at].0, "Type a figure; 0 where it makes no difference.", problems).unwrap_or(0.0)
            };
            let sheet = Worksheet {
                per_bushel: figure(0),
                manured_since_harvest: figure(1),
                not_manured_since: figure(2),
                manured_before: figure(3),
                after_soybean: figure(4),
                after_forage_legume: figure(5),
            };
            if sheet.per_bushel <= 0.0 && !part.value("per_bushel").is_empty() {
                problems.add(&part.field("per_bushel"), "This must be above 0.");
            }
            Some(sheet)
        }
        _ => None,
    };
    Some(NitrateBounds { decimals, unit: unit?, bands, worksheet, in_foot })
}

fn read_split(part: &Part<'_>, was: &SplitRule, problems: &mut Problems) -> Option<SplitBounds> {
    let unit = problems.one_of::<RateUnit>(&part.field("unit"), part.value("unit"));
    if part.value("months_apart").is_empty() {
        problems.add(&part.field("months_apart"), "Say how many months lie between the parts.");
    }
    let months = part.figure("months_apart", &WHOLE, problems).map(|read| read.value as u8);
    let parts = match SplitBounds::of(was).parts {
        PartsBounds::AtMost(_) => {
            let most = part.needed("at_most", "Say how much goes on at once at the most.", problems);
            if most == Some(0.0) {
                problems.add(&part.field("at_most"), "This must be above 0.");
            }
            PartsBounds::AtMost(most.unwrap_or(1.0))
        }
        PartsBounds::Bands { mut decimals, .. } => {
            let lines = part.lines("bands");
            let ends = ends(part, &lines, &mut decimals, problems);
            let (mut bands, mut before): (Vec<(Option<f64>, u8)>, u8) = (Vec::new(), 0);
            for (line, end) in lines.iter().zip(ends) {
                let name = format!("bands.{line}.parts");
                if part.value(&name).is_empty() {
                    problems.add(&part.field(&name), "Say in how many parts it goes on.");
                }
                let parts = part.figure(&name, &WHOLE, problems).map_or(before + 1, |read| read.value as u8);
                if parts <= before {
                    problems.add(&part.field(&name), "A larger dose goes on in more parts.");
                }
                before = parts;
                bands.push((end, parts));
            }
            PartsBounds::Bands { decimals, bands }
        }
    };
    Some(SplitBounds { unit: unit?, months_apart: months?, parts })
}
