//! What parts two versions of a guideline, in sentences that a grower can read. A rule is known
//! again by its analyte, its methods and the ground it is for.

use super::{Criterion, Guideline, Rule};

/// A rule's limits in a line: "Low 0-70, Medium 71-140, Optimum >140 ppm; aim 141".
pub fn in_words(criterion: &Criterion) -> String {
    let unit = criterion.unit_words();
    let unit = if unit.is_empty() { unit } else { format!(" {unit}") };
    match &criterion.rule {
        Rule::Classes(all) => {
            let bands: Vec<_> = all.classes.iter().map(|class| format!("{} {}", class.name, class.printed)).collect();
            format!("{}{unit}; aim {}", bands.join(", "), all.aim)
        }
        Rule::Critical { critical, high } => {
            let high = high.map_or_else(String::new, |high| format!(", too much from {high}{unit}"));
            format!("short below {critical}{unit}{high}")
        }
        Rule::AvailabilityIndex { critical, .. } => format!("short below {critical} of an index of level and pH"),
        Rule::Saturation(saturation) => {
            format!("{} % of the exchange capacity; aim {} %", saturation.printed, saturation.aim)
        }
        Rule::Typical { printed, .. } => format!("usually found: {printed}{unit}, no aim"),
        Rule::LeftAlone(_) => "left alone, no aim".into(),
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
    }
    said.extend(rest.iter().map(|is| format!("{}: added. {}.", about(is), in_words(is))));
    said
}
