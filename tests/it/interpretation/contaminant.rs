//! Metals that do harm.

use super::{mg_kg, mg_l};
use glebe::agronomy::{
    contaminant::{Content, Side, Total, content, screen, screen_extractable, sets},
    method::Method,
    record::Qualifier,
};
use proptest::prelude::*;

fn total(element: &str, value: f64) -> Total {
    match content(&mg_kg(element, Method::Total, value)).unwrap() {
        Content::Total(total) => total,
        Content::Extractable(_) => panic!("total was asked for"),
    }
}

#[test]
fn lead_is_held_against_the_values_of_its_place_and_day() {
    let lead = screen(&total("Pb", 260.0), Some(6.5), Some("United States"), false);
    let side = |slug: &str| lead.comparisons.iter().find(|c| c.set.slug == slug).map(|c| c.side);
    // EPA 2024: 200, or 100 with other sources; the former 400 is superseded and not applied.
    assert_eq!(side("us_epa_lead_2024"), Some(Side::AtOrAbove));
    assert_eq!(side("us_epa_lead_2024_other_sources"), Some(Side::AtOrAbove));
    assert_eq!(side("us_epa_lead_before_2024"), None);
    assert!(
        lead.not_applied.iter().any(|(set, why)| set.slug == "us_epa_lead_before_2024" && why.contains("superseded"))
    );
    assert!(lead.advice[0].contains("local health or environment authority"));
    assert!(lead.comparisons.iter().all(|c| c.working.is_grounded()));
}

#[test]
fn a_range_of_a_directive_has_a_middle_and_a_ph() {
    let copper = |ph| screen(&total("Cu", 90.0), ph, Some("European Union"), false);
    assert_eq!(copper(Some(6.5)).comparisons[0].side, Side::Within);
    // Directive 86/278/EEC, annex I A, note b: above pH 7 copper up to half as high again, 210 for 140 mg/kg.
    let limy = screen(&total("Cu", 200.0), Some(7.5), Some("European Union"), false);
    assert_eq!(limy.comparisons.len(), 1, "one set or the other");
    assert_eq!((limy.comparisons[0].side, limy.comparisons[0].value.high), (Side::Within, 210.0));
    assert!(copper(Some(5.5)).comparisons.is_empty() && copper(None).comparisons.is_empty());
}

#[test]
fn total_and_extractable_are_not_the_same_thing() {
    assert!(content(&mg_kg("Pb", Method::Unstated, 30.0)).unwrap_err().contains("total or extracted"));
    assert!(content(&mg_l("Pb", Method::Total, 30.0)).is_err());
    let Content::Extractable(lead) = content(&mg_kg("Pb", Method::ModifiedMorgan, 30.0)).unwrap() else {
        panic!("extractable")
    };
    let (words, working) = screen_extractable(&lead);
    assert!(words.contains("above what this laboratory usually finds") && working.unwrap().is_grounded());
}

#[test]
fn a_detection_limit_above_a_value_tells_nothing() {
    let mut limit = mg_kg("Cd", Method::Total, 5.0);
    limit.qualifier = Qualifier::Below;
    let Content::Total(limit) = content(&limit).unwrap() else { panic!("total") };
    let cadmium = screen(&limit, Some(6.5), Some("European Union"), false);
    assert_eq!(cadmium.comparisons[0].side, Side::NotKnown);
}

#[test]
fn values_from_memory_are_off_unless_switched_on() {
    let zinc = |with_memory| screen(&total("Zn", 150.0), Some(6.5), Some("United Kingdom"), with_memory);
    assert!(zinc(false).comparisons.is_empty());
    assert_eq!(zinc(true).comparisons.len(), 1);
}

proptest! {
    #[test]
    fn no_sentence_ever_calls_ground_safe(level in 0.0f64..5000.0, at in 0usize..7) {
        let element = ["As", "Cd", "Cu", "Hg", "Ni", "Pb", "Zn"][at];
        let screening = screen(&total(element, level), Some(6.5), None, true);
        let words = screening.comparisons.iter().map(|c| &c.words).chain(&screening.advice);
        for text in words {
            prop_assert!(!text.to_lowercase().contains("safe"), "{text}");
        }
        prop_assert!(screening.comparisons.len() + screening.not_applied.len()
            == sets().iter().filter(|s| s.values.iter().any(|v| v.element.symbol() == element)).count());
    }
}
