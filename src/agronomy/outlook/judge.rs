//! What one nutrient asks for: give, wait, or nothing, as a step with its rank.

use super::{
    CapLine, Kind, Situation, Step, step,
    words::{found_words, grams, in_sentence, standing_words},
};
use crate::agronomy::{
    analyte::Analyte,
    cap::Counted,
    element::Element,
    guideline::Position,
    liking::{LevelUnit, Liking},
    need::{self, ENOUGH, Need, Reason},
    quantity::Grams,
    rate::RateUnit,
    standing::NutrientStanding,
    working::Figure,
};

/// What one nutrient asks for: its rank among the steps and the step, or nothing.
pub(super) fn judge(situation: &Situation<'_>, nutrient: &NutrientStanding, caps: &[CapLine]) -> Option<(f64, Step)> {
    let name = nutrient.analyte.name();
    let chance = nutrient.likelihood.as_ref().map(|likelihood| likelihood.p_short);
    match &nutrient.position {
        Position::Excess => {
            let what = format!("Give no {}: there is too much already.", in_sentence(nutrient.analyte));
            let why = vec![found_words(situation, nutrient)];
            Some((40.0, step(Kind::Hold, Some(nutrient.analyte), what, why)))
        }
        Position::NotKnown(why) => {
            let what = format!("{name}: the test does not say whether it is short.");
            Some((31.0, step(Kind::Unsure, Some(nutrient.analyte), what, vec![why.clone()])))
        }
        Position::Short if nutrient.analyte == Analyte::Ph => {
            let mut why = standing_words(situation, nutrient);
            why.push("The rate comes from the lab’s buffer test; pH alone gives none.".into());
            Some((2.0, step(Kind::Lime, Some(nutrient.analyte), "Lime comes first: the soil is sour.".into(), why)))
        }
        Position::Short => feed(situation, nutrient, caps, chance.unwrap_or(1.0)),
        Position::AtAim | Position::Above if wants_a_rate(situation, nutrient) => feed(situation, nutrient, caps, 1.0),
        Position::NoCriterion(why) if is_fed(nutrient.analyte) => {
            let found = situation.liking.found(nutrient.into(), situation.weighed()).figure;
            let what = format!("{name}: {found} found, and no limits to judge it by.");
            Some((33.0, step(Kind::Unsure, Some(nutrient.analyte), what, vec![why.clone()])))
        }
        _ => None,
    }
}

/// The season's crop is given a published rate, even where the level is enough.
fn wants_a_rate(situation: &Situation<'_>, nutrient: &NutrientStanding) -> bool {
    let of = |need: &&Need| Some(need.element) == nutrient.analyte.element();
    situation.needs.iter().find(of).is_some_and(|need| need.reason == Reason::CropRate && need.kg_per_ha.0 > 0.0)
}

/// What growers give on the evidence of a test: silence about it would be taken for "enough".
fn is_fed(analyte: Analyte) -> bool {
    use Element::{B, Cu, Fe, K, Mg, Mn, P, Zn};
    matches!(analyte, Analyte::Element(P | K | Mg | B | Cu | Fe | Mn | Zn))
}

/// A shortage: how much, how sure, what went on since, what a cap holds back, what was left undone.
fn feed(situation: &Situation<'_>, nutrient: &NutrientStanding, caps: &[CapLine], chance: f64) -> Option<(f64, Step)> {
    let element = nutrient.analyte.element()?;
    let name = nutrient.analyte.name();
    let area = situation.ground.area;
    let need = situation.needs.iter().find(|n| n.element == element)?;
    if need.kg_per_ha.0 <= 0.0 {
        // Short, and yet nothing is planned: the need says why.
        let why = need.notes.first()?.clone();
        let what = format!("{name}: short, and nothing to put on the soil for it.");
        return Some((
            32.0,
            step(Kind::Hold, Some(nutrient.analyte), what, vec![found_words(situation, nutrient), why]),
        ));
    }
    let need_g = need.kg_per_ha.on(area).0;
    let tested_on = situation.tested_on.get(&nutrient.analyte).copied().or(situation.last_sampled);
    let counted_from = situation.season_from.map_or(tested_on, |from| need.counted_from(tested_on, from));
    let since = need::since(situation.applications, counted_from, situation.today);
    let since_g = need::brought(since, element, area).map_or(0.0, |(rate, _)| rate.on(area).0);
    let left_g = (need_g - since_g).max(0.0);
    let mut why = standing_words(situation, nutrient);
    let (weight, form) = situation.liking.weighed(element);
    let weighed = |g: f64| grams(g * weight);
    if since_g > 0.0 {
        why.push(format!(
            "Since that test {} of it that a crop can use went on, against {} needed then.",
            weighed(since_g),
            weighed(need_g)
        ));
    }
    let newer = tested_on.zip(situation.agreed_on).is_some_and(|(tested, agreed)| tested > agreed);
    if let Some(undone) = situation.undone.get(&element).filter(|_| !newer) {
        if undone.left_out_g > 0.0 {
            why.push(format!("The last agreed plan left {} of it out.", weighed(undone.left_out_g)));
        }
        if undone.not_put_on_g > 0.0 {
            why.push(format!("Doses agreed and not put on hold {} of it.", weighed(undone.not_put_on_g)));
        }
        if undone.left_out_g > 0.0 || undone.not_put_on_g > 0.0 {
            why.push("That is part of this need, not on top of it.".into());
        }
    }
    // Shorter and surer comes first; every shortage stands between liming (2) and doubts (30).
    let rank = 23.0 - 20.0 * nutrient.shortage_weight();
    if left_g <= need_g * ENOUGH {
        let what = format!("{name}: enough went on since the test. The next test will show it.");
        return Some((35.0, step(Kind::Hold, Some(nutrient.analyte), what, why)));
    }
    let held_g = situation.undone.get(&element).map_or(0.0, |undone| undone.not_put_on_g);
    if !newer && !situation.open_doses.is_empty() && held_g >= left_g * 0.95 {
        let what = format!("{name}: the doses still to be put on bring the rest.");
        return Some((rank, step(Kind::Finish, Some(nutrient.analyte), what, why)));
    }
    if chance <= 0.75 {
        let what = format!("{name}: may be short or not. At most {} on this plot; a retest helps.", weighed(left_g));
        return Some((rank + 7.0, step(Kind::Unsure, Some(nutrient.analyte), what, why)));
    }
    let rate = match situation.liking.unit {
        // Grams on the plot are said already.
        LevelUnit::GramsOnPlot => Liking { unit: LevelUnit::KgPerHa, ..situation.liking },
        _ => situation.liking,
    };
    let rate = rate.need_conversion(element, area, RateUnit::KgPerHa);
    let rate = Figure::significant(rate.there(Grams(left_g).per(area).0), rate.unit, 2);
    let at_least = if need.at_least { "at least " } else { "" };
    let cap = caps.iter().find(|line| line.cap.counted == Counted::Total(element));
    match cap.filter(|line| line.left_on_plot.0 < left_g) {
        Some(line) => {
            why.push(format!(
                "{}; {} of it is used in the last twelve months.",
                situation.liking.cap_label(&line.cap, RateUnit::KgPerHa),
                situation.liking.cap_amount(&line.cap, line.used, RateUnit::KgPerHa)
            ));
            let now = match line.left_on_plot.0 {
                g if g > 0.0 => format!("give {} now", weighed(g)),
                _ => "give none now".into(),
            };
            let of_form = if weight == 1.0 { String::new() } else { format!(" of {form}") };
            let what =
                format!("{name}: short by {at_least}{}{of_form}, but a cap holds it back: {now}.", weighed(left_g));
            Some((rank, step(Kind::Capped, Some(nutrient.analyte), what, why)))
        }
        None => {
            let what = format!("{name}: give {at_least}{} of {form} on this plot ({rate}).", weighed(left_g));
            Some((rank, step(Kind::Feed, Some(nutrient.analyte), what, why)))
        }
    }
}
