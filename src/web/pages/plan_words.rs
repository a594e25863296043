//! What a plan says of itself in sentences: what it does, what it costs, how well it was searched.

use super::plan_caps::{percent, unpriced};
use crate::{
    agronomy::{element::Element, liking::Liking},
    app::seasons::{Measure, NeedLine, PlanView, Thrift},
    web::show,
};
use std::iter;

pub(super) fn capitalised(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// What a plan costs, in a sentence.
pub(super) fn cost_words(view: &PlanView) -> String {
    let bought = view.shopping.iter().any(|line| !line.packs.is_empty());
    if !bought {
        return "Nothing has to be bought: what is on hand will do.".into();
    }
    let unknown = unpriced(view);
    let money = show::money(view.cost_minor.round() as i64, &view.site.currency);
    let how = match view.options.sold_of.is_empty() {
        true => view.options.sold.in_sentence(),
        false => "bought as chosen for each product",
    };
    let mut words = match unknown.len() == view.shopping.iter().filter(|line| !line.packs.is_empty()).count() {
        true => "What it costs is not known.".to_owned(),
        false => format!("It costs {money} {how}; what is on hand is used first."),
    };
    if !unknown.is_empty() {
        words += &format!(
            " No price is recorded for {}: the cost leaves that out, and in choosing it was taken to be as dear, gram \
             for gram, as the dearest product here.",
            unknown.join(", ")
        );
    }
    words
}

/// What the choice to spend less came to, in a sentence.
pub(super) fn thrift_words(thrift: &Thrift, currency: &str) -> String {
    let upto = format!("{}\u{a0}% more of the needs", show::significant(thrift.percent, 3));
    if !thrift.saved() {
        return match thrift.proven {
            true => format!("To leave up to {upto} short would save nothing, so none of that is given up."),
            false => {
                format!("No cheaper plan was found that leaves at most {upto} short, so none of that is given up.")
            }
        };
    }
    let money = |measure: &Measure| show::money(measure.cost_minor.round() as i64, currency);
    format!(
        "To spend less, up to {upto} may be left short: {} instead of {}, with {} of the needs missing on average \
         instead of {}.",
        money(&thrift.with),
        money(&thrift.without),
        percent(thrift.with.short_percent),
        percent(thrift.without.short_percent)
    )
}

/// What a plan does, in sentences.
pub(super) fn lead(view: &PlanView) -> Vec<String> {
    let used = show::count(view.used().count(), "product");
    let plots = show::count(view.plots.len(), "plot");
    let reckoned = "Shortages are reckoned by what tests here answered, where they carry it.";
    if view.mass_g <= 0.0 {
        let by_answers = view.options.by_response.then(|| reckoned.to_owned());
        return iter::once(format!("This plan puts nothing on its {plots}.")).chain(by_answers).collect();
    }
    let given = view.plots.iter().filter(|plot| plot.doses.iter().any(|dose| dose.mass_g > 0.0)).count();
    let plots = if given == view.plots.len() { plots } else { format!("{given} of its {plots}") };
    let (mass, from) = (show::mass(view.mass_g), show::date(view.spread_on));
    let following = &view.guideline_title;
    let mut said = vec![format!("It puts {used} on {plots}, {mass} in all, from {from}, following {following}.")];
    said.push(match view.needs_met() {
        (_, 0) => "The tests ask for nothing.".into(),
        (1, 1) => "It meets the one need to within 5 %.".into(),
        (met, all) if met == all => format!("It meets all {all} needs, each to within 5 %."),
        (met, all) => format!("It meets {met} of {all} needs to within 5 %; what is left undone stands below."),
    });
    if view.options.by_response {
        said.push(reckoned.into());
    }
    said.extend(view.outcome.thrift.as_ref().map(|thrift| thrift_words(thrift, &view.site.currency)));
    said.extend(view.parts_of_today());
    said.push(cost_words(view));
    said.push(match (view.outcome.edited, view.outcome.proven, view.outcome.gap) {
        (true, ..) => "Doses were changed by hand since it was worked out, so it may not be the best.".into(),
        (false, true, Some(gap)) if gap > 1e-6 => {
            format!("The cost is proven to be within {} % of the lowest possible.", show::significant(gap * 100.0, 1))
        }
        (false, true, _) => "With these products and limits, by this reckoning nothing better is possible.".into(),
        (false, false, Some(gap)) if gap > 1e-6 => format!(
            "The search was stopped in time: there may be something better, and the cost is within {} % of the lowest possible.",
            show::significant(gap * 100.0, 2)
        ),
        (false, false, _) if view.options.budget_minor.is_some() || view.options.max_products.is_some() => {
            "Within its limits there may be something better; how near it is known to be stands in the notes.".into()
        }
        (false, false, _) => "The search was stopped in time, so there may be something better.".into(),
    });
    said
}

/// Sentences that begin with a plot and go on alike, as one: "A1, A2: 3 g of boron …".
pub(super) fn together(sentences: &[String]) -> Vec<String> {
    let mut groups: Vec<(Vec<&str>, &str)> = Vec::new();
    for sentence in sentences {
        let (head, tail) = sentence.split_once(": ").unwrap_or(("", sentence));
        match groups.iter_mut().find(|(heads, other)| *other == tail && !head.is_empty() && !heads.contains(&"")) {
            Some((heads, _)) => heads.push(head),
            None => groups.push((vec![head], tail)),
        }
    }
    let line = |(heads, tail): (Vec<&str>, &str)| match heads[..] {
        [""] => tail.to_owned(),
        _ => format!("{}: {tail}", heads.join(", ")),
    };
    groups.into_iter().map(line).collect()
}

/// What a need comes to, in a word.
pub(super) fn left_words(line: &NeedLine, liking: Liking) -> String {
    let mass = |grams| show::element_mass(liking.mass(line.need.element, grams));
    match () {
        () if line.need_g > 0.0 && !line.is_met() => format!("{} short", mass(line.short_g)),
        () if line.excess_g > line.need_g * 0.01 && line.excess_g > 0.005 => {
            format!("{} more than needed", mass(line.excess_g))
        }
        () if line.need_g > 0.0 => "met".into(),
        () => String::new(),
    }
}

/// An element's name inside a sentence: "phosphorus", "phosphorus as P₂O₅".
pub(super) fn in_sentence(liking: Liking, element: Element) -> String {
    let name = liking.name(element);
    name.strip_prefix(&capitalised(element.name())).map_or(name.clone(), |rest| format!("{}{rest}", element.name()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plots_of_which_the_same_is_said_are_named_together() {
        let said = ["A1: 3 g are not supplied.", "No colon here.", "A2: 3 g are not supplied.", "A2: 4 g."];
        let said: Vec<String> = said.iter().map(ToString::to_string).collect();
        assert_eq!(together(&said), ["A1, A2: 3 g are not supplied.", "No colon here.", "A2: 4 g."]);
    }
}
