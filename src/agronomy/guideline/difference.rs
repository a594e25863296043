//! What parts two versions of a guideline, in sentences that a grower can read. A rule is known
//! again by its analyte, its methods and the ground it is for.

use super::{Class, Criterion, Guideline, Index, RateRow, Rates, Rule};
use crate::agronomy::analyte::Analyte;

/// A rule's limits in a line: "Low 0-70, Medium 71-140, Optimum >140 ppm; aim 141".
pub fn in_words(criterion: &Criterion) -> String {
    let unit = criterion.unit_words();
    let unit = if unit.is_empty() { unit } else { format!(" {unit}") };
    match &criterion.rule {
        Rule::Classes(all) => {
            // "2: 16-25" of an index, whose classes are numbers too.
            let part = |class: &Class| if class.name.parse::<Index>().is_ok() { ": " } else { " " };
            let bands: Vec<_> =
                all.classes.iter().map(|class| format!("{}{}{}", class.name, part(class), class.printed)).collect();
            format!("{}{unit}; aim {}", bands.join(", "), all.aim)
        }
        Rule::Critical { critical, high } => {
            let high = high.map_or_else(String::new, |high| format!(", too much from {high}{unit}"));
            format!("short below {critical}{unit}{high}")
        }
        Rule::AvailabilityIndex { constant, per_unit, per_ph, critical, high } => {
            let high = high.map_or_else(String::new, |high| format!(", too much from {high}"));
            format!("short below {critical}{high} of an index: {constant} + {per_unit} × level{unit} − {per_ph} × pH")
        }
        Rule::Saturation(saturation) => {
            let limit = |words: &str, limit: &Option<super::Limit>| {
                limit.as_ref().map_or_else(String::new, |limit| format!(", {words} {} mg/kg", limit.mg_per_kg.0))
            };
            format!(
                "{} % of the exchange capacity; aim {} %{}{}",
                saturation.printed,
                saturation.aim,
                limit("never below", &saturation.floor),
                limit("never above", &saturation.ceiling)
            )
        }
        Rule::Typical { printed, .. } => format!("usually found: {printed}{unit}, no aim"),
        Rule::LeftAlone(why) => format!("left alone, no aim: {}", why.trim_end_matches('.')),
    }
}

/// What a rule is about: "Potassium by Mehlich-3, ICP (soil without free lime)".
fn about(criterion: &Criterion) -> String {
    let methods: Vec<_> = criterion.methods.iter().map(|method| method.label()).collect();
    let ground = criterion.when.to_string();
    let ground = if ground.is_empty() { ground } else { format!(" ({ground})") };
    format!("{} by {}{ground}", criterion.analyte.name(), methods.join(" or "))
}

/// Everything that changed from one version to the next, a sentence each; empty where nothing did.
pub fn differences(before: &Guideline, after: &Guideline) -> Vec<String> {
    let mut said = Vec::new();
    for (what, was, is) in [("name", &before.title, &after.title), ("purpose", &before.scope, &after.scope)] {
        if was != is {
            said.push(format!("Its {what} was “{was}”, and is “{is}”."));
        }
    }
    said.extend(before.notes.iter().filter(|n| !after.notes.contains(n)).map(|n| format!("Note taken out: {n}")));
    said.extend(after.notes.iter().filter(|n| !before.notes.contains(n)).map(|n| format!("Note added: {n}")));
    let mut rest: Vec<&Criterion> = after.criteria.iter().collect();
    for was in &before.criteria {
        let same = |c: &&Criterion| c.analyte == was.analyte && c.methods == was.methods && c.when == was.when;
        let Some(is) = rest.iter().position(same).map(|at| rest.remove(at)) else {
            said.push(format!("{}: taken out. It was: {}.", about(was), in_words(was)));
            continue;
        };
        if in_words(was) != in_words(is) || was.rule != is.rule {
            said.push(format!("{}: was {}; is {}.", about(is), in_words(was), in_words(is)));
        } else if was.source != is.source {
            said.push(format!("{}: now cites {}.", about(is), is.source));
        }
        said.extend(switched(was.in_force, is.in_force).map(|how| format!("{}: {how}.", about(is))));
    }
    said.extend(rest.iter().map(|is| format!("{}: added. {}.", about(is), in_words(is))));
    of_rates(before, after, &mut said);
    let nitrate = |g: &Guideline| -> Vec<Piece> {
        let piece = |test: &std::sync::Arc<super::NitrateTest>| {
            (format!("The nitrate test of {}", test.name), test.words(), test.of.in_force)
        };
        g.nitrate.iter().map(piece).collect()
    };
    pieces(&nitrate(before), &nitrate(after), &mut said);
    let splits = |g: &Guideline| -> Vec<Piece> {
        let words = |rule: &super::SplitRule| format!("{}; {} months apart", rule.words(), rule.months_apart);
        g.splits.iter().map(|rule| (rule.title.clone(), words(rule), rule.of.in_force)).collect()
    };
    pieces(&splits(before), &splits(after), &mut said);
    said
}

/// That something was switched on or off.
fn switched(was: bool, is: bool) -> Option<&'static str> {
    (was != is).then_some(if is { "switched on" } else { "switched off" })
}

/// What something is about, what it says, and whether it speaks.
type Piece = (String, String, bool);

fn pieces(before: &[Piece], after: &[Piece], said: &mut Vec<String>) {
    let mut rest: Vec<&Piece> = after.iter().collect();
    for (about, was, on) in before {
        let Some(at) = rest.iter().position(|(other, ..)| other == about) else {
            said.push(format!("{about}: taken out. It was: {was}."));
            continue;
        };
        let (_, is, now) = rest.remove(at);
        if was != is {
            said.push(format!("{about}: was {was}; is {is}."));
        }
        said.extend(switched(*on, *now).map(|how| format!("{about}: {how}.")));
    }
    said.extend(rest.iter().map(|(about, is, _)| format!("{about}: added. {is}.")));
}

/// "Rates of phosphorus, Table 2.4".
fn about_rates(rates: &Rates) -> String {
    format!("Rates of {}, {}", Analyte::Element(rates.element).name().to_lowercase(), rates.title)
}

fn of_rates(before: &Guideline, after: &Guideline, said: &mut Vec<String>) {
    let same = |was: &Rates, is: &Rates| {
        was.element == is.element && was.title == is.title && was.methods == is.methods && was.when == is.when
    };
    let mut rest: Vec<&Rates> = after.rates.iter().map(|rates| &**rates).collect();
    for was in &before.rates {
        let about = about_rates(was);
        let Some(is) = rest.iter().position(|is| same(was, is)).map(|at| rest.remove(at)) else {
            said.push(format!("{about}: taken out, {} rows.", was.rows.len()));
            continue;
        };
        if was.give_or_take != is.give_or_take {
            let words = |of: Option<f64>| of.map_or("nothing".into(), |of| of.to_string());
            let (was, is) = (words(was.give_or_take), words(is.give_or_take));
            said.push(format!("{about}: give or take was {was}; is {is}."));
        }
        of_rows(&about, was, is, said);
        said.extend(switched(was.in_force, is.in_force).map(|how| format!("{about}: {how}.")));
    }
    for is in rest {
        said.push(format!("{}: added, {} rows.", about_rates(is), is.rows.len()));
    }
}

/// A row is known again by what it is for; one that was renamed, by its place among the rest.
fn of_rows(about: &str, was: &Rates, is: &Rates, said: &mut Vec<String>) {
    let mut rest: Vec<&RateRow> = is.rows.iter().collect();
    let mut gone: Vec<&RateRow> = Vec::new();
    let mut changed = |old: &RateRow, new: &RateRow| {
        let (old, new) = (was.words(old), is.words(new));
        if old != new {
            said.push(format!("{about}: was {old}; is {new}."));
        }
    };
    for old in &was.rows {
        match rest.iter().position(|new| new.printed_for == old.printed_for) {
            Some(at) => changed(old, rest.remove(at)),
            None => gone.push(old),
        }
    }
    // What is left on both sides with the same figures was only renamed.
    gone.retain(|old| match rest.iter().position(|new| new.gives == old.gives && was.unit == is.unit) {
        Some(at) => {
            changed(old, rest.remove(at));
            false
        }
        None => true,
    });
    said.extend(gone.iter().map(|old| format!("{about}: taken out: {}.", was.words(old))));
    said.extend(rest.iter().map(|new| format!("{about}: added: {}.", is.words(new))));
}
