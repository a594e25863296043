//! A season of one bed: what its caps, tests and earlier plans leave of what is wanted.

use super::*;
use crate::agronomy::{
    ground::{Cover, Texture},
    plan,
    quantity::{Centimetres, SquareMetres},
};

fn plot(crops: &[&str], applications: Vec<Application>) -> PlotSeason {
    PlotSeason {
        key: 1,
        name: "Bed 1".into(),
        block: None,
        ground: Ground {
            area: SquareMetres(10.0),
            cover: Cover::Open,
            texture: Texture::Loam,
            bulk_density: None,
            depth: Centimetres(15.0),
            stones: 0.0,
        },
        standing: None,
        sampled: None,
        calcareous: false,
        ph: Some(6.5),
        ph_reckoned: false,
        crops: crops.iter().map(|c| Crop::find(c).unwrap()).collect(),
        growing: vec![],
        season_from: jiff::civil::date(2026, 1, 1),
        tested_on: BTreeMap::new(),
        applications,
        promised: vec![],
    }
}

fn material(key: Key, name: &str, kind: Kind, content: &[(Element, f64)]) -> Material {
    let product = Product {
        key,
        name: name.into(),
        content: content.iter().copied().collect(),
        stock_g: 1e6,
        ..Product::default()
    };
    Material { product, kind, manure: kind == Kind::Manure, acid_soil_only: false, rate_limit: None, listing: None }
}

fn wishes(element: Element, kg_per_ha: f64) -> Wishes {
    Wishes {
        stated: BTreeMap::from([(element, (KgPerHa(kg_per_ha), "asked for in a test".to_owned()))]),
        spread_on: jiff::civil::date(2026, 3, 1),
        ..Wishes::default()
    }
}

#[test]
fn beans_let_no_boron_on_however_much_is_wanted() {
    // University of Delaware: beans and peas take no boron at all.
    let borax = material(1, "borax", Kind::Salt, &[(Element::B, 0.1134)]);
    let prepared = prepare(&[plot(&["broccoli", "snap_bean"], vec![])], &[borax], &[], &wishes(Element::B, 1.0));
    let plan = plan::solve(&prepared.input);
    assert!(plan.doses.iter().all(|d| d.weigh_g == 0.0), "{:?}", plan.doses);
    assert_eq!(plan.unmet.len(), 1);
}

#[test]
fn boron_put_on_within_the_year_counts_against_the_ceiling() {
    let borax = material(1, "borax", Kind::Salt, &[(Element::B, 0.1134)]);
    // 10 g of borax on 10 m² is 1.134 kg B/ha; broccoli takes 3 lb/acre = 3.36 kg/ha.
    let earlier = Application {
        key: 1,
        applied_on: jiff::civil::date(2025, 6, 1),
        amendment: "borax".into(),
        mass_g: 10.0,
        content: BTreeMap::from([(Element::B, 0.1134)]),
        availability: BTreeMap::new(),
        manure: false,
        organic: false,
    };
    let prepared = prepare(&[plot(&["broccoli"], vec![earlier])], &[borax], &[], &wishes(Element::B, 9.0));
    let left = prepared.input.plots[0].caps[&Element::B].left_kg_per_ha;
    assert!((left - (3.0 * 1.120_851 - 1.134)).abs() < 1e-3, "{left}");
    assert!(prepared.caps[&1].iter().all(|c| c.working.is_grounded()));
}

#[test]
fn phosphate_rock_goes_on_acid_soil_only() {
    let rock = Material { acid_soil_only: true, ..material(1, "phosphate rock", Kind::Mineral, &[(Element::P, 0.11)]) };
    for (ph, kept_off) in [(5.4, false), (6.0, true), (7.8, true)] {
        let mut bed = plot(&[], vec![]);
        bed.ph = Some(ph);
        let prepared = prepare(&[bed], std::slice::from_ref(&rock), &[], &wishes(Element::P, 20.0));
        assert_eq!(prepared.input.plots[0].forbidden.contains(&1), kept_off, "pH {ph}");
    }
}

#[test]
fn what_another_plan_has_agreed_counts_against_the_ceiling() {
    // 10 g of borax on 10 m², 1.134 kg B/ha, agreed; broccoli takes 3 lb/acre = 3.36 kg/ha.
    let borax = material(1, "borax", Kind::Salt, &[(Element::B, 0.1134)]);
    let mut bed = plot(&["broccoli"], vec![]);
    bed.promised = vec![Application {
        key: -1,
        applied_on: jiff::civil::date(2026, 3, 1),
        amendment: "borax".into(),
        mass_g: 10.0,
        content: BTreeMap::from([(Element::B, 0.1134)]),
        availability: BTreeMap::new(),
        manure: false,
        organic: false,
    }];
    let prepared = prepare(&[bed], &[borax], &[], &wishes(Element::B, 9.0));
    let left = prepared.input.plots[0].caps[&Element::B].left_kg_per_ha;
    assert!((left - (3.0 * 1.120_851 - 1.134)).abs() < 1e-3, "{left}");
}

#[test]
fn a_nitrate_test_has_seen_what_went_on_before_it() {
    // 1 kg of 10 % N on 10 m² is 100 kg N/ha.
    let spread = |applied_on| Application {
        key: 1,
        applied_on,
        amendment: "meal".into(),
        mass_g: 1000.0,
        content: BTreeMap::from([(Element::N, 0.1)]),
        availability: BTreeMap::new(),
        manure: false,
        organic: true,
    };
    let left = |applied_on| {
        let mut bed = plot(&[], vec![spread(applied_on)]);
        bed.tested_on = BTreeMap::from([(Analyte::NitrateN, jiff::civil::date(2025, 10, 1))]);
        let leaf = Working::leaf("N", Figure::new(150.0, KgPerHa::UNIT, 0), Origin::Entered);
        let need = Need::recorded(Element::N, KgPerHa(150.0), need::Reason::Raise.words(), Some(leaf));
        still_needed(need, &bed, &wishes(Element::K, 1.0)).kg_per_ha.0
    };
    assert!((left(jiff::civil::date(2020, 5, 1)) - 150.0).abs() < 1e-9);
    assert!((left(jiff::civil::date(2026, 2, 1)) - 50.0).abs() < 1e-9);
}

#[test]
fn what_went_on_shrinks_the_whole_difference_and_each_seasons_share_with_it() {
    // 60 kg/ha short, made up over 3 seasons: 20 a season. 30 kg/ha went on: 30 left, 10 a season.
    let leaf = |kg: f64| Working::leaf("K", Figure::new(kg, KgPerHa::UNIT, 0), Origin::Entered);
    let need = || Need::recorded(Element::K, KgPerHa(20.0), need::Reason::Raise.words(), Some(leaf(20.0)));
    let left = need().less(Some((KgPerHa(30.0), leaf(30.0))), 3);
    assert!((left.kg_per_ha.0 - 10.0).abs() < 1e-12 && left.working.unwrap().is_grounded());
    let met = need().less(Some((KgPerHa(59.9), leaf(59.9))), 3);
    assert_eq!((met.kg_per_ha.0, met.reason), (0.0, need::Reason::None));
    assert_eq!(need().less(None, 3), need());
}

#[test]
fn lime_and_ash_stay_off_ground_that_is_sweet_already() {
    let ash = material(1, "wood ash", Kind::Ash, &[(Element::K, 0.05)]);
    let sulfate = material(2, "sulfate of potash", Kind::Salt, &[(Element::K, 0.415)]);
    let mut sweet = plot(&[], vec![]);
    sweet.ph = Some(7.4);
    let prepared = prepare(&[sweet], &[ash, sulfate], &[], &wishes(Element::K, 50.0));
    assert_eq!(prepared.input.plots[0].forbidden, BTreeSet::from([1]));
    assert!(prepared.notes.iter().any(|n| n.contains("wood ash")), "{:?}", prepared.notes);
}

#[test]
fn what_is_entered_late_exceeds_a_cap_together_with_what_came_after() {
    // University of Delaware: broccoli takes 3 lb B/acre, 3.36 kg/ha; 20 g of borax on 10 m² are 2.27 kg B/ha.
    let put_on = |key, on| Application {
        key,
        applied_on: on,
        amendment: "borax".into(),
        mass_g: 20.0,
        content: BTreeMap::from([(Element::B, 0.1134)]),
        availability: BTreeMap::new(),
        manure: false,
        organic: false,
    };
    let bed = plot(&["broccoli"], vec![]);
    let late = [put_on(1, jiff::civil::date(2026, 3, 1)), put_on(2, jiff::civil::date(2025, 6, 1))];
    let exceeded = caps_exceeded_by(&bed.crops, &bed.ground, &late, 2);
    assert_eq!(exceeded.len(), 1, "{exceeded:?}");
    assert!((exceeded[0].given.0 - 2.0 * 2.268).abs() < 1e-9 && exceeded[0].working.is_grounded());
    // A year to the day no longer counts.
    let apart = [put_on(1, jiff::civil::date(2026, 3, 1)), put_on(2, jiff::civil::date(2025, 3, 1))];
    assert!(caps_exceeded_by(&bed.crops, &bed.ground, &apart, 2).is_empty());
    assert!(caps_exceeded_by(&bed.crops, &bed.ground, &apart, 1).is_empty());
}

#[test]
fn what_a_dose_brings_opens_to_the_dose_and_the_label() {
    // Borax decahydrate holds 11.34 % boron (from its formula); a bed of 10 m² given 10 g gets 1.134 g.
    let borax = crate::agronomy::amendment::find("borax").unwrap();
    let given = |grams| Given { product: "borax", analysis: &borax.analysis, grams: Grams(grams), by_hand: false };
    let share = borax.analysis.fraction(Element::B);
    let working = supplied(&[given(10.0), given(0.0)], Element::B).unwrap();
    assert!((working.figure.value - 10.0 * share).abs() < 1e-9, "{working:?}");
    assert!(working.is_grounded() && brought(&[given(10.0)], Element::B).unwrap().is_grounded());
    assert!(supplied(&[given(10.0)], Element::K).is_none());
    let need = need::stated(Element::B, KgPerHa(1.0), "asked for in a test");
    let on_plot = need_on_plot(&need, SquareMetres(10.0)).unwrap();
    assert!((on_plot.figure.value - 1.0).abs() < 1e-12 && on_plot.is_grounded());
}
