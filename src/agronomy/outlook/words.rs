//! The sentences of an outlook about what a test found, and masses in words.

use super::Situation;
use crate::agronomy::{analyte::Analyte, standing::NutrientStanding, working::Figure};

/// What the test found, and against what.
pub(super) fn found_words(situation: &Situation<'_>, nutrient: &NutrientStanding) -> String {
    let (liking, on) = (situation.liking, situation.weighed());
    let mut found = format!("Found {}", liking.found(nutrient.into(), on).figure);
    if let Some(aim) = liking.aim(nutrient, on) {
        found += &format!(", aim {}", aim.figure);
    }
    if let Some(percent) = &nutrient.percent_of_aim {
        found += &format!(", which is {} of it", percent.figure);
    }
    found + "."
}

/// The same, and how sure the shortage is.
pub(super) fn standing_words(situation: &Situation<'_>, nutrient: &NutrientStanding) -> Vec<String> {
    let mut words = vec![found_words(situation, nutrient)];
    if let Some(likelihood) = &nutrient.likelihood {
        words.push(match (0.25..0.75).contains(&likelihood.p_short) {
            true => "It may be short or not; a retest helps.".into(),
            false => format!("That it is truly short is {}.", likelihood.words),
        });
    }
    words
}

pub(super) fn in_sentence(analyte: Analyte) -> String {
    analyte.element().map_or_else(|| analyte.name(), |element| element.name().to_owned())
}

/// A mass of element or product in words, no finer than a need is known.
pub(super) fn grams(g: f64) -> String {
    match g {
        g if g >= 10_000.0 => Figure::significant(g / 1000.0, "kg", 2).to_string(),
        g if g >= 995.0 => Figure::new(g / 1000.0, "kg", 1).to_string(),
        g if g >= 9.95 => Figure::new(g, "g", 0).to_string(),
        g => Figure::significant(g, "g", if g.fract() == 0.0 { 1 } else { 2 }).to_string(),
    }
}
