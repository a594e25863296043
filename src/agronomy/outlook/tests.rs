//! The outlook on invented plots: intervals as they are printed, sums by hand.

use super::*;
use crate::agronomy::{
    ground::{Cover, Texture},
    guideline::{self, Guideline, LandUse},
    method::Method,
    need::{Way, needs},
    quantity::{Centimetres, SquareMetres},
    record::{Basis, CellKey, Determination, PrintedValue, Qualifier, Report, Sampling, Unit},
    survey::{Present, Survey},
};
use jiff::civil::date;

fn ground(cover: Cover, texture: Texture) -> Ground {
    Ground { area: SquareMetres(20.0), cover, texture, bulk_density: None, depth: Centimetres(20.0), stones: 0.0 }
}

#[test]
fn intervals_are_those_printed_and_keep_the_month() {
    // Virginia Cooperative Extension: sandy two to three years, silt or clay loams four.
    let last = date(2022, 10, 5);
    for (cover, texture, due) in [
        (Cover::Open, Texture::Sand, date(2024, 10, 5)),
        (Cover::Open, Texture::SandyLoam, date(2025, 10, 5)),
        (Cover::Open, Texture::ClayLoam, date(2026, 10, 5)),
        (Cover::Tunnel, Texture::ClayLoam, date(2023, 10, 5)),
    ] {
        let next = next_test(Some(last), None, &ground(cover, texture), date(2025, 1, 1));
        assert_eq!((next.due_on, next.due), (due, due <= date(2025, 1, 1)), "{cover:?} {texture:?}");
        assert!(next.why.iter().any(|(_, source)| source.is_some()));
    }
    assert!(next_test(None, None, &ground(Cover::Open, Texture::Loam), last).due);
}

#[test]
fn lime_is_left_to_work_before_the_next_test() {
    let tunnel = ground(Cover::Tunnel, Texture::Loam);
    let limed = Some(date(2023, 8, 1));
    let next = next_test(Some(date(2022, 10, 5)), limed, &tunnel, date(2023, 10, 6));
    assert_eq!((next.due_on, next.due), (date(2024, 2, 1), false));
    let before = next_test(Some(date(2022, 10, 5)), Some(date(2022, 9, 1)), &tunnel, date(2023, 10, 6));
    assert_eq!(before.due_on, date(2023, 10, 5));
}

fn present(ground: &Ground, cells: &[(&str, f64)]) -> Present {
    present_under(guideline::find("delaware_mehlich3").unwrap(), ground, cells)
}

fn present_under(guideline: &Guideline, ground: &Ground, cells: &[(&str, f64)]) -> Present {
    let determination = |(i, (analyte, value)): (usize, &(&str, f64))| Determination {
        key: CellKey(i as i64),
        analyte: analyte.parse().unwrap(),
        method: if *analyte == "ph" { Method::PhWater1to1 } else { Method::Mehlich3Icp },
        printed: PrintedValue {
            text: value.to_string(),
            qualifier: Qualifier::Exact,
            value: Some(*value),
            decimals: 1,
        },
        unit: if *analyte == "ph" { Unit::Ph } else { Unit::MgPerKg },
        form: None,
        basis: Basis::Mass,
        layer: None,
    };
    let determinations = cells.iter().enumerate().map(determination).collect();
    let sampling = Sampling {
        key: 1,
        sampled_on: date(2024, 10, 5),
        date_assumed: false,
        depth: None,
        cores: None,
        fizz: None,
        reports: vec![Report { key: 1, lab: "a lab".into(), determinations }],
    };
    Survey::read([sampling]).present(ground, guideline, LandUse::default(), &[], date(2025, 3, 1))
}

fn application(key: i64, on: Date, mass_g: f64, content: &[(Element, f64)]) -> Application {
    Application {
        key,
        applied_on: on,
        amendment: "Something".into(),
        mass_g,
        content: content.iter().copied().collect(),
        availability: BTreeMap::new(),
        manure: false,
        organic: false,
    }
}

fn ask(
    ground: &Ground,
    present: &Present,
    applications: &[Application],
    undone: BTreeMap<Element, Undone>,
    open_doses: &[OpenDose],
) -> Outlook {
    let needs = needs(&present.standing, ground, None, &Way::default(), &[]);
    outlook(&Situation {
        ground,
        season_from: None,
        standing: &present.standing,
        needs: &needs,
        tested_on: present.choices.iter().map(|(a, c)| (*a, c.chosen.sampled_on)).collect(),
        last_sampled: Some(date(2024, 10, 5)),
        awaiting: None,
        applications,
        limed_on: None,
        crops: &[],
        undone,
        agreed_on: Some(date(2025, 2, 1)),
        open_doses,
        liking: Liking::default(),
        by: By::OwnLayer,
        today: date(2025, 3, 1),
    })
}

fn about<'a>(outlook: &'a Outlook, analyte: &str) -> Option<&'a Step> {
    outlook.steps.iter().find(|step| step.analyte == Some(analyte.parse().unwrap()))
}

#[test]
fn the_shortest_and_surest_comes_first_and_nothing_is_said_of_what_is_enough() {
    let ground = ground(Cover::Open, Texture::Loam);
    let present = present(&ground, &[("P", 10.0), ("K", 60.0), ("Mg", 1000.0)]);
    let outlook = ask(&ground, &present, &[], BTreeMap::new(), &[]);
    assert_eq!(outlook.steps[0].analyte, Some(Analyte::Element(Element::P)), "{:#?}", outlook.steps);
    assert_eq!(outlook.steps[1].analyte, Some(Analyte::Element(Element::K)));
    assert!(outlook.steps[..2].iter().all(|step| step.kind == Kind::Feed));
    assert!(about(&outlook, "Mg").is_none_or(|step| step.kind == Kind::Hold));
}

#[test]
fn what_went_on_since_the_test_counts_and_what_went_on_before_does_not() {
    let ground = ground(Cover::Open, Texture::Loam);
    let present = present(&ground, &[("P", 10.0)]);
    let needed = needs(&present.standing, &ground, None, &Way::default(), &[])[0].kg_per_ha.on(ground.area).0;
    let before = [application(1, date(2024, 10, 4), 10.0 * needed, &[(Element::P, 0.5)])];
    let outlook = ask(&ground, &present, &before, BTreeMap::new(), &[]);
    assert_eq!((about(&outlook, "P").unwrap().kind, outlook.put_on.len()), (Kind::Feed, 0));
    let since = [application(1, date(2024, 11, 1), 2.0 * needed, &[(Element::P, 0.5)])];
    let outlook = ask(&ground, &present, &since, BTreeMap::new(), &[]);
    assert_eq!(about(&outlook, "P").unwrap().kind, Kind::Hold);
    assert!((outlook.put_on[0].mass.0 - needed).abs() < 1e-9);
    let tomorrow = [application(1, date(2025, 3, 2), 2.0 * needed, &[(Element::P, 0.5)])];
    assert_eq!(about(&ask(&ground, &present, &tomorrow, BTreeMap::new(), &[]), "P").unwrap().kind, Kind::Feed);
}

#[test]
fn only_what_counts_in_the_first_season_is_taken_off_the_need() {
    // 5 % first-year availability, as compost of low nitrogen is often reckoned at: by hand, need ÷ 0.05 ÷ 0.5.
    let ground = ground(Cover::Open, Texture::Loam);
    let present = present(&ground, &[("P", 10.0)]);
    let needed = needs(&present.standing, &ground, None, &Way::default(), &[])[0].kg_per_ha.on(ground.area).0;
    let slow = |mass_g| {
        let all = application(1, date(2024, 11, 1), mass_g, &[(Element::P, 0.5)]);
        [Application { availability: BTreeMap::from([(Element::P, 0.05)]), ..all }]
    };
    let kind = |put_on: &[Application]| about(&ask(&ground, &present, put_on, BTreeMap::new(), &[]), "P").unwrap().kind;
    assert_eq!(kind(&slow(2.0 * needed)), Kind::Feed);
    assert_eq!(kind(&slow(40.0 * needed)), Kind::Hold);
}

#[test]
fn a_cap_used_up_holds_the_need_back_and_the_remainder_is_named() {
    let ground = ground(Cover::Open, Texture::Loam);
    let present = present_under(guideline::find("rutgers_mehlich3").unwrap(), &ground, &[("Zn", 0.2)]);
    // North Carolina: 6 lb/acre of zinc broadcast, 6.7 kg/ha, is 13.4 g on 20 m².
    let used = [application(1, date(2024, 6, 1), 100.0, &[(Element::Zn, 0.12)])];
    let outlook = ask(&ground, &present, &used, BTreeMap::new(), &[]);
    let line = outlook.caps.iter().find(|line| line.cap.counted == Counted::Total(Element::Zn)).unwrap();
    assert!((line.used.0 - 6.0).abs() < 1e-9 && (line.left_on_plot.0 - 1.45).abs() < 0.01, "{line:?}");
    let step = about(&outlook, "Zn").unwrap();
    assert_eq!(step.kind, Kind::Capped, "{step:?}");
}

#[test]
fn what_the_plan_left_undone_is_said_and_not_added() {
    let ground = ground(Cover::Open, Texture::Loam);
    let present = present(&ground, &[("P", 10.0)]);
    let undone = BTreeMap::from([(Element::P, Undone { left_out_g: 30.0, not_put_on_g: 12.0 })]);
    let open = [OpenDose { amendment: "Rock phosphate".into(), left_g: 400.0 }];
    let with = ask(&ground, &present, &[], undone, &open);
    let without = ask(&ground, &present, &[], BTreeMap::new(), &[]);
    assert_eq!(with.steps[0].kind, Kind::Finish);
    let (with, without) = (about(&with, "P").unwrap(), about(&without, "P").unwrap());
    assert_eq!(with.what, without.what);
    assert!(with.why.len() == without.why.len() + 3 && with.why.iter().any(|w| w.contains("30\u{a0}g")));
}

#[test]
fn what_open_doses_hold_is_not_asked_for_again() {
    let ground = ground(Cover::Open, Texture::Loam);
    let present = present(&ground, &[("P", 10.0)]);
    let needed = needs(&present.standing, &ground, None, &Way::default(), &[])[0].kg_per_ha.on(ground.area).0;
    let undone = |g: f64| BTreeMap::from([(Element::P, Undone { left_out_g: 0.0, not_put_on_g: g })]);
    let open = [OpenDose { amendment: "Rock phosphate".into(), left_g: 400.0 }];
    let kind = |outlook: Outlook| about(&outlook, "P").unwrap().kind;
    assert_eq!(kind(ask(&ground, &present, &[], undone(needed), &open)), Kind::Finish);
    assert_eq!(kind(ask(&ground, &present, &[], undone(needed / 2.0), &open)), Kind::Feed);
    // Without an open plan nobody will put them on: the need stands.
    assert_eq!(kind(ask(&ground, &present, &[], undone(needed), &[])), Kind::Feed);
}

#[test]
fn sour_soil_is_limed_before_it_is_fed() {
    let ground = ground(Cover::Open, Texture::Loam);
    let own = r#"
        slug = "own"
        title = "Our own"
        publisher = "the grower"
        year = 2025
        address = ""
        scope = "this test"
        [[table]]
        title = "pH"
        source = { publisher = "the grower", title = "our own limits", year = 2025, address = "", evidence = "common_practice" }
        methods = ["ph_water_1_1"]
        unit = "pH"
        decimals = 1
        [[table.row]]
        analyte = "ph"
        critical = 6.0
        [[table]]
        title = "Phosphorus"
        source = { publisher = "the grower", title = "our own limits", year = 2025, address = "", evidence = "common_practice" }
        methods = ["mehlich3_icp"]
        unit = "mg/kg"
        decimals = 0
        [[table.row]]
        analyte = "P"
        critical = 50
    "#;
    let present = present_under(&Guideline::parse(own).unwrap(), &ground, &[("P", 10.0), ("ph", 4.8)]);
    let outlook = ask(&ground, &present, &[], BTreeMap::new(), &[]);
    assert_eq!(outlook.steps.iter().map(|step| step.kind).collect::<Vec<_>>(), [Kind::Lime, Kind::Feed]);
}
