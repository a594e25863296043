//! Salts and sodium.

use super::{ec, mg_l, percent};
use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    crop::{CROPS, Crop},
    ground::Cover,
    method::Method,
    quantity::{Centimetres, CmolPerKg, DsPerM, GramsPerCm3, Percent},
    salinity::{
        Exchange, GypsumCase, RATED_ONLY, Solution, TOLERANCES, class, esp_class_australia, esp_class_us, esp_from_sar,
        gypsum_requirement, paste_from_1to5, relative_yield, saline_sodic, sodium_adsorption, spread, under_cover,
    },
};
use proptest::prelude::*;

fn clay(value: f64) -> glebe::agronomy::reading::Reading {
    percent(Analyte::Clay, Method::ParticleSize, value)
}

#[test]
fn a_conductivity_without_its_dilution_or_clay_means_nothing() {
    assert!(class(&ec(Method::Unstated, 1.2), Some(&clay(30.0))).unwrap_err().contains("dilution"));
    assert!(class(&ec(Method::Ec1to5, 0.3), None).unwrap_err().contains("clay content"));
    assert!(class(&ec(Method::Ec1to5, 0.3), Some(&clay(5.0))).unwrap_err().contains("10 to 80 %"));
    // SCMA table 3.1: the same 0.2 dS/m at 1:5 on four soils.
    for (percent, words) in [
        (15.0, "fit for moderately tolerant plants"),
        (30.0, "fit for moderately tolerant plants"),
        (50.0, "fit for moderately sensitive plants"),
        (70.0, "fit for moderately sensitive plants"),
    ] {
        let answer = class(&ec(Method::Ec1to5, 0.2), Some(&clay(percent))).unwrap();
        assert_eq!(answer.class, words, "{percent}");
        assert!(answer.working.is_grounded());
    }
    let heavy = class(&ec(Method::Ec1to5, 0.95), Some(&clay(70.0))).unwrap().class;
    let light = class(&ec(Method::Ec1to5, 0.95), Some(&clay(15.0))).unwrap().class;
    assert_eq!((light, heavy), ("too saline for crops", "fit for tolerant plants"));
}

#[test]
fn the_paste_from_another_dilution_is_a_range_of_five_equations() {
    let estimates = paste_from_1to5(&ec(Method::Ec1to5, 0.5)).unwrap();
    let (low, high) = spread(&estimates).unwrap();
    // SCMA table 14.2 at 0.500: 2.103 by Shaw to 3.25 by Loveday.
    assert!((low.0 - 2.103).abs() < 1e-9 && (high.0 - 3.25).abs() < 1e-9);
    assert!(paste_from_1to5(&ec(Method::Ec1to2, 0.5)).is_err());
    assert!(paste_from_1to5(&ec(Method::Ec1to5, 0.01)).unwrap().iter().all(|e| e.value.0 >= 0.0));
}

#[test]
fn rated_crops_have_no_numbers_and_every_row_names_known_crops() {
    let crop = |slug: &str| CROPS.iter().copied().find(|c| c.slug == slug).unwrap_or_else(|| panic!("{slug}"));
    let paste = ec(Method::EcPaste, 3.0);
    for slug in RATED_ONLY {
        assert!(relative_yield(&crop(slug), &paste, false).unwrap_err().contains("in words only"), "{slug}");
    }
    for row in TOLERANCES {
        for slug in row.crops {
            assert!(relative_yield(&crop(slug), &paste, false).unwrap().working.is_grounded());
        }
    }
    let bean = Crop::find("snap_bean").unwrap();
    assert!(relative_yield(&bean, &ec(Method::Ec1to2, 1.0), false).unwrap_err().contains("saturated paste"));
    // Gypsum-rich soil: about 2 dS/m more is borne.
    assert_eq!(relative_yield(&bean, &paste, true).unwrap().percent, Percent(100.0));
}

#[test]
fn sodium_is_told_in_charge_and_never_taken_for_none() {
    let solution = Solution::from_mg_per_l(108.0, 33.0, 63.0);
    let (ratio, working) = sodium_adsorption(&solution).unwrap();
    assert!((ratio - 1.36).abs() < 0.005 && working.is_grounded());
    assert!(sodium_adsorption(&Solution::from_mg_per_l(0.0, 0.0, 63.0)).unwrap_err().contains("divides by zero"));
    let by_mass = [
        mg_l("Ca", Method::SaturationExtract, 108.0),
        mg_l("Mg", Method::SaturationExtract, 33.0),
        super::mg_kg("Na", Method::SaturationExtract, 63.0),
    ];
    assert!(Solution::from_readings(&by_mass).unwrap_err().contains("sodium"));
    let (estimate, working) = esp_from_sar(18.0, working).unwrap();
    assert!((estimate.0 - 20.2).abs() < 0.05 && working.notes[0].contains("memory"));
    assert_eq!(esp_from_sar(0.0, working).unwrap().0, Percent(0.0));
    assert_eq!((esp_class_us(Percent(14.9)), esp_class_us(Percent(15.0))), ("not sodic", "sodic"));
    assert_eq!((esp_class_australia(Percent(5.9)), esp_class_australia(Percent(6.0))), ("non-sodic", "sodic"));
    assert_eq!(saline_sodic(Some(DsPerM(4.0)), Some(15.0)), Some("saline and sodic"));
    assert_eq!(saline_sodic(Some(DsPerM(1.0)), None), None);
}

fn case(purity: f64, from: f64, to: f64) -> GypsumCase {
    GypsumCase {
        exchange: Exchange { capacity: CmolPerKg(20.0), esp_from: Percent(from), esp_to: Percent(to) },
        depth: Centimetres(15.0),
        bulk_density: GramsPerCm3(1.3),
        losses: 1.1,
        purity: Percent(purity),
        moisture: Percent(0.0),
    }
}

#[test]
fn gypsum_asks_for_purity_in_per_cent() {
    assert!(gypsum_requirement(&case(0.9, 20.0, 10.0)).unwrap_err().contains("looks like a fraction"));
    let rate = gypsum_requirement(&case(90.0, 20.0, 10.0)).unwrap();
    assert!((rate.rate.0 - 4100.0).abs() < 5.0 && rate.working.is_grounded());
    assert!(rate.notes[0].contains("no rain"));
    assert_eq!(gypsum_requirement(&case(90.0, 8.0, 10.0)).unwrap().rate.0, 0.0);
}

#[test]
fn a_tunnel_is_warned_of_rising_salts_and_of_bases_that_they_inflate() {
    let history = [ec(Method::Ec1to2, 0.5), ec(Method::EcPaste, 9.0), ec(Method::Ec1to2, 0.9)];
    let warned = under_cover(Cover::Tunnel, &history, &[96.0, 118.0], &Signs::default());
    assert!(warned[0].text.contains("from 0.5 to 0.9 dS/m") && warned[1].text.contains("saturations read too high"));
    assert!(warned[1].text.contains("96 % of the capacity at first and to 118 % now"), "{}", warned[1].text);
    assert!(under_cover(Cover::Open, &history, &[118.0], &Signs::default()).is_empty());
    // A tenth more is within one laboratory's repeats.
    let steady = [ec(Method::Ec1to2, 0.50), ec(Method::Ec1to2, 0.55)];
    assert!(under_cover(Cover::Tunnel, &steady, &[], &Signs::default()).is_empty());
    assert!(under_cover(Cover::Glasshouse, &[], &[], &Signs::default())[0].text.contains("none were tested"));
}

proptest! {
    #[test]
    fn yield_stays_between_none_and_all_and_falls_with_salt(ece in -1.0f64..60.0, more in 0.0f64..30.0) {
        for row in TOLERANCES {
            let (a, b) = (row.yield_percent(DsPerM(ece)), row.yield_percent(DsPerM(ece + more)));
            prop_assert!((0.0..=100.0).contains(&a) && b <= a);
        }
    }

    #[test]
    fn every_conductivity_has_one_class_and_more_salt_is_never_a_better_one(a in 0.0f64..4.0, more in 0.0f64..4.0, c in 10.0f64..80.0) {
        let order = |value: f64| {
            let words = class(&ec(Method::Ec1to5, value), Some(&clay(c))).unwrap().class;
            ["fit for sensitive plants", "fit for moderately sensitive plants", "fit for moderately tolerant plants",
             "fit for tolerant plants", "fit for very tolerant plants", "too saline for crops"]
                .iter().position(|w| *w == words).unwrap()
        };
        prop_assert!(order(a + more) >= order(a));
    }

    #[test]
    fn gypsum_is_never_negative_and_grows_with_sodium(from in 0.0f64..100.0, more in 0.0f64..50.0, to in 0.0f64..50.0) {
        let low = gypsum_requirement(&case(90.0, from, to)).unwrap().rate.0;
        let high = gypsum_requirement(&case(90.0, (from + more).min(100.0), to)).unwrap().rate.0;
        prop_assert!(low >= 0.0 && high >= low);
    }
}
