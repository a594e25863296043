//! Trace elements.

use super::{mg_kg, mg_l, ph, reading};
use glebe::agronomy::{
    analyte::Analyte,
    ground::Texture,
    method::Method,
    micronutrient::{Conditions, IndexOf, context, manganese_index},
    reading::Level,
};

const LOAM: Conditions = Conditions { texture: Texture::Loam, ph: Some(6.3), phosphorus: Some(30.0) };

#[test]
fn the_two_manganese_indices_agree_but_for_their_constants() {
    // Rutgers 5 ppm at pH 6.5 is 21.65; North Carolina's index 31.25 (5 mg/L) is 21.15.
    let rutgers = manganese_index(IndexOf::Rutgers, &mg_kg("Mn", Method::Mehlich3Icp, 5.0), &ph(6.5)).unwrap();
    let carolina = manganese_index(IndexOf::NorthCarolina, &mg_l("Mn", Method::Mehlich3Icp, 5.0), &ph(6.5)).unwrap();
    assert!((rutgers.value - 21.65).abs() < 1e-9 && (carolina.value - 21.15).abs() < 1e-9);
    assert!(rutgers.class == "deficient" && rutgers.working.is_grounded() && carolina.working.is_grounded());
    assert!(manganese_index(IndexOf::Rutgers, &mg_l("Mn", Method::Mehlich3Icp, 5.0), &ph(6.5)).is_err());
    assert!(manganese_index(IndexOf::Rutgers, &mg_kg("Mn", Method::Dtpa, 5.0), &ph(6.5)).is_err());
    let salt = reading(Analyte::Ph, Method::PhCalciumChloride, Level::Ph(6.0));
    assert!(manganese_index(IndexOf::Rutgers, &mg_kg("Mn", Method::Mehlich3Icp, 5.0), &salt).is_err());
}

#[test]
fn authors_stand_side_by_side_and_zinc_limits_rise_with_ph() {
    let zinc = |conditions: &Conditions| context(&mg_kg("Zn", Method::Mehlich3Icp, 1.3), conditions, false).unwrap();
    let sour = zinc(&LOAM);
    // Murdock & Howe at pH 6.0 to 6.4, Rutgers and Haefele call 1.3 enough; Zbiral (2.2) and Espinoza (1.6) short.
    assert_eq!(sour.opinions.iter().filter(|o| o.says == "short").count(), 2, "{}", sour.summary);
    assert!(sour.not_for_this_plot.iter().any(|(_, why)| why.contains("pH is 6.3")));
    let limy = zinc(&Conditions { ph: Some(7.4), phosphorus: Some(250.0), ..LOAM });
    assert_eq!(limy.opinions.iter().filter(|o| o.says == "short").count(), 3);
}

#[test]
fn what_is_usual_is_context_and_never_an_opinion() {
    let copper = context(&mg_kg("Cu", Method::ModifiedMorgan, 0.1), &LOAM, false).unwrap();
    assert!(copper.opinions.is_empty() && copper.usual.len() == 1);
    assert!(copper.notes.iter().any(|n| n.contains("no aim")));
    let high = context(&mg_kg("Zn", Method::Mehlich3Icp, 60.0), &LOAM, false).unwrap();
    assert!(high.summary.contains("give none"), "{}", high.summary);
}

#[test]
fn hot_water_boron_limits_are_from_memory_and_off() {
    let boron = mg_kg("B", Method::HotWater, 0.4);
    assert!(context(&boron, &LOAM, false).unwrap().opinions.is_empty());
    assert!(context(&boron, &LOAM, true).unwrap().opinions.iter().all(|o| o.says == "short"));
    assert!(context(&ph(6.0), &LOAM, true).is_err());
}
