//! Lime and sulfur.

use super::{ground, percent, ph, reading};
use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    ground::{Ground, Texture},
    guideline::{PartsBy, SplitOf, find, shipped_splits},
    lime::{
        Aim, LimeMethod, LimeProduct, LimeValue, Soil, all_methods, best_first, home_method, lower_ph, requirement,
        suits,
    },
    method::Method,
    quantity::{Centimetres, KgPerHa},
    reading::{Level, Reading},
};
use proptest::prelude::*;

fn buffer(method: Method, value: f64) -> Reading {
    reading(Analyte::BufferPh, method, Level::Ph(value))
}

fn soil<'a>(ph: Option<&'a Reading>, buffers: &'a [Reading], ground: &'a Ground) -> Soil<'a> {
    Soil { ph, buffers: buffers.iter().collect(), acidity: None, aluminium: None, ground }
}

#[test]
fn one_buffer_reading_is_three_amounts_of_lime_and_none_without_its_name() {
    let (ground, sour) = (ground(), ph(5.2));
    let aim = Aim { target_ph: 6.4, ..Aim::default() };
    let by = |method: Method, lime: LimeMethod| {
        let buffers = [buffer(method, 6.0)];
        requirement(lime, &soil(Some(&sour), &buffers, &ground), &aim).map(|r| r.carbonate.0)
    };
    let mehlich = by(Method::BufferMehlich, LimeMethod::NorthCarolina).unwrap();
    let sikora = by(Method::BufferSikora, LimeMethod::OregonSikora).unwrap();
    let smp = by(Method::BufferSmp, LimeMethod::IrelandSmp).unwrap();
    assert!(mehlich < sikora && (sikora - smp).abs() > 100.0, "{mehlich} {sikora} {smp}");
    for method in [LimeMethod::NorthCarolina, LimeMethod::OregonSikora, LimeMethod::IrelandSmp, LimeMethod::ScmaCurve] {
        let why = by(Method::Unstated, method).unwrap_err();
        assert!(why.contains("without naming the buffer"), "{why}");
    }
    assert!(by(Method::BufferSmp, LimeMethod::OregonSikora).unwrap_err().contains("not interchangeable"));
}

#[test]
fn every_method_answers_or_says_what_it_lacks() {
    let ground = ground();
    for (method, answer) in all_methods(&soil(None, &[], &ground), &Aim::default()) {
        assert!(answer.unwrap_err().ends_with('.'), "{method:?}");
    }
    // At the target already: none by any method that limes to a pH, whatever the buffer.
    let (sweet, buffers) = (ph(6.6), [buffer(Method::BufferSikora, 5.5), buffer(Method::BufferMehlich, 5.5)]);
    let at_target = all_methods(&soil(Some(&sweet), &buffers, &ground), &Aim::default());
    for (method, answer) in at_target.into_iter().filter(|(m, _)| m.has_target_ph()) {
        let answer = answer.unwrap();
        assert_eq!(answer.carbonate, KgPerHa(0.0), "{method:?}");
        assert!(answer.working.is_grounded());
    }
}

#[test]
fn ph_in_a_salt_solution_is_not_taken_for_ph_in_water() {
    let (ground, salt) = (ground(), reading(Analyte::Ph, Method::PhCalciumChloride, Level::Ph(5.4)));
    let why = requirement(LimeMethod::UnitedKingdom, &soil(Some(&salt), &[], &ground), &Aim::default()).unwrap_err();
    assert!(why.contains("in calcium chloride"), "{why}");
}

#[test]
fn aluminium_by_an_acid_extract_is_not_exchangeable_aluminium() {
    let ground = ground();
    let acid = super::mg_kg("Al", Method::Mehlich3Icp, 900.0);
    let soil = Soil { aluminium: Some(&acid), ..soil(None, &[], &ground) };
    assert!(requirement(LimeMethod::Kamprath, &soil, &Aim::default()).unwrap_err().contains("potassium chloride"));
}

#[test]
fn a_product_is_dosed_by_its_value_fineness_and_water() {
    let (ground, sour) = (ground(), ph(5.7));
    let need = requirement(LimeMethod::UnitedKingdom, &soil(Some(&sour), &[], &ground), &Aim::default()).unwrap();
    // (6.5 − 5.7) × 7 = 5.6 t/ha; at 80 % value and 10 % water 5.6 ÷ 0.72 = 7.78 t/ha.
    let product = LimeProduct { value: LimeValue::Carbonate(80.0), fineness: None, moisture_percent: Some(10.0) };
    let rate = product.rate(&need).unwrap();
    assert!((rate.kg_per_ha.0 - 7777.8).abs() < 0.1 && rate.working.is_grounded());
    assert!(rate.notes.iter().any(|n| n.contains("fineness is not known")));
    let twice =
        LimeProduct { value: LimeValue::EffectiveLbPerTon(1600.0), fineness: None, moisture_percent: Some(5.0) };
    assert!(twice.rate(&need).is_err());
}

#[test]
fn sulfur_is_refused_where_the_soil_fizzes_and_the_sum_is_shown() {
    let (ground, alkaline) = (ground(), ph(7.2));
    let lime = percent(Analyte::Carbonate, Method::Calcimeter, 1.0);
    let refused = lower_ph(&alkaline, 6.5, Some(&lime), &Signs::default(), &ground).unwrap_err();
    // AGVISE's stoichiometry on 15 cm at 1.3 g/cm³: 0.62 kg/m² for 1 %.
    assert!((refused.spent_on_lime.unwrap().grams_per_m2().0 - 624.6).abs() < 1.0);
    assert!(refused.working.unwrap().is_grounded() && refused.reason.contains("625 g"), "{}", refused.reason);
    let fizz = Signs { reasons: vec!["It fizzes".into()], ..Signs::default() };
    let refused = lower_ph(&alkaline, 6.5, None, &fizz, &ground).unwrap_err();
    assert!(refused.spent_on_lime.is_none() && refused.reason.contains("Each 1 %"));
    // RHS: 135 g/m² on sand without free lime.
    let sand = Ground { texture: Texture::Sand, ..ground.clone() };
    let rate = lower_ph(&alkaline, 6.5, None, &Signs::default(), &sand).unwrap();
    assert_eq!((rate.low.0, rate.high.0, rate.times), (135.0, 135.0, 3));
    assert!(rate.working.is_grounded());
    assert!(lower_ph(&ph(8.4), 6.5, None, &Signs::default(), &sand).is_err());
}

#[test]
fn the_method_that_suits_the_sheet_comes_first_and_says_why() {
    let (ground, sour) = (ground(), ph(5.2));
    let buffers = [buffer(Method::BufferMehlich, 5.9), buffer(Method::BufferSmp, 6.1)];
    let aim = Aim { target_ph: 6.4, ..Aim::default() };
    let order = |home: Option<LimeMethod>| {
        let known = soil(Some(&sour), &buffers, &ground);
        let mut answers: Vec<_> = all_methods(&known, &aim).into_iter().filter_map(|(_, answer)| answer.ok()).collect();
        best_first(&mut answers, |answer| answer, home);
        answers
    };
    let methods = |home| order(home).iter().map(|answer| answer.method).collect::<Vec<_>>();
    // The laboratory measured two buffers: North Carolina limes to the pH asked for by one of them.
    use LimeMethod::{IrelandSmp, NorthCarolina, ScmaCurve, ScmaTable, UnitedKingdom};
    assert_eq!(methods(None), [NorthCarolina, ScmaTable, ScmaCurve, IrelandSmp, UnitedKingdom]);
    // Where the site follows a guideline of some place, the method of that place comes first.
    assert_eq!(methods(Some(IrelandSmp))[0], IrelandSmp);
    assert_eq!(methods(Some(UnitedKingdom))[0], UnitedKingdom);
    assert_eq!(home_method(find("ireland_morgan").unwrap()), Some(IrelandSmp));
    assert_eq!(home_method(find("extension_sufficiency").unwrap()), None);
    let told = |home: Option<(LimeMethod, &str)>, at: usize| {
        suits(&order(home.map(|(home, _)| home))[at], home, Texture::Loam)
    };
    let first = told(None, 0);
    assert!(first.for_it[0].contains("the laboratory measured the Mehlich buffer"), "{first:?}");
    let last = told(None, 4);
    assert!(last.against_it.iter().any(|why| why.contains("pH and the soil group alone")), "{last:?}");
    let home = told(Some((UnitedKingdom, "England and Wales index")), 0);
    assert!(home.for_it[0].contains("England and Wales index"), "{home:?}");
    let organic = suits(&order(None)[1], None, Texture::Organic);
    assert!(organic.against_it.iter().any(|why| why.contains("organic")), "{organic:?}");
}

proptest! {
    #[test]
    fn lime_is_never_negative_and_a_sourer_soil_never_asks_for_less(
        ph_value in 3.5f64..8.5, sourer in 0.0f64..1.0, at in 4.0f64..7.5, target in 5.6f64..7.2, depth in 5.0f64..40.0,
    ) {
        let ground = Ground { depth: Centimetres(depth), ..ground() };
        let aim = Aim { target_ph: target, ..Aim::default() };
        for (method, kind) in [
            (LimeMethod::NorthCarolina, Method::BufferMehlich), (LimeMethod::ScmaCurve, Method::BufferMehlich),
            (LimeMethod::ScmaTable, Method::BufferMehlich), (LimeMethod::OregonSikora, Method::BufferSikora),
            (LimeMethod::IrelandSmp, Method::BufferSmp),
        ] {
            let found = ph(ph_value);
            let reckon = |b: f64| {
                let buffers = [buffer(kind.clone(), b)];
                requirement(method, &soil(Some(&found), &buffers, &ground), &aim)
            };
            if let (Ok(more), Ok(less)) = (reckon(at - sourer), reckon(at)) {
                prop_assert!(less.carbonate.0 >= 0.0 && less.working.is_grounded());
                prop_assert!(more.carbonate.0 >= less.carbonate.0 - 1e-9, "{method:?} {at} {sourer}");
                if ph_value >= target { prop_assert_eq!(less.carbonate.0, 0.0); }
            }
        }
    }

    #[test]
    fn parts_make_up_the_dose_and_none_is_above_the_most_at_once(t_per_ha in 0.0f64..60.0, more in 0.0f64..20.0) {
        let rules: Vec<_> = shipped_splits(SplitOf::Lime).chain(shipped_splits(SplitOf::EpsomSalt)).collect();
        prop_assert_eq!(rules.len(), 5);
        for rule in rules {
            let dose = |t: f64| KgPerHa(t * 1000.0);
            let parts = rule.parts(dose(t_per_ha));
            if let PartsBy::AtMost(most) = rule.parts_by {
                prop_assert!(parts.iter().all(|p| p.0 <= rule.unit.read(most).0 + 1e-6));
            }
            prop_assert!(rule.count(dose(t_per_ha + more)) >= rule.count(dose(t_per_ha)));
            let sum: f64 = parts.iter().map(|p| p.0).sum();
            prop_assert!((sum - t_per_ha * 1000.0).abs() < 1e-6);
        }
    }
}
