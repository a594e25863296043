//! Guidelines, standing and confidence against what their publishers print.

use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    choice::choose,
    confidence,
    element::Element::{self, B, Ca, Cu, Fe, K, Mg, Mn, Na, P, Zn},
    exchange_capacity::{self, Capacity, Parts},
    ground::Texture,
    guideline::{self, Facts, Guideline, Index, LandUse, Position, Rule},
    method::Method,
    quantity::{CmolPerKg, MgPerKg, MgPerL},
    reading::{Level, Reading},
    record::{CellKey, Qualifier},
    source::Evidence,
    standing::{Chosen, NutrientStanding, Setting, Standing, stand},
    working::{Figure, Origin, Working},
};
use jiff::civil::date;
use proptest::prelude::*;
use std::{collections::BTreeMap, sync::LazyLock};

pub fn set(slug: &str) -> &'static Guideline {
    guideline::find(slug).unwrap_or_else(|| panic!("the set {slug} did not parse"))
}

fn facts(land_use: LandUse) -> Facts {
    Facts { land_use, texture: Texture::Loam, ph: Some(6.5), carbonate: false }
}

/// A reading as if the lab had printed it in canonical units.
fn reading(analyte: Analyte, method: Method, level: Level) -> Reading {
    let cell = CellKey(analyte.to_string().bytes().map(i64::from).sum());
    let working = Working::leaf(analyte.name(), Figure::new(level.number(), level.unit(), 1), Origin::Cell(cell));
    Reading {
        analyte,
        method,
        level,
        qualifier: Qualifier::Exact,
        decimals: 1,
        sampled_on: date(2026, 3, 1),
        depth: None,
        lab: "Lab".into(),
        cell,
        working,
    }
}

pub fn mg_kg(element: Element, method: Method, value: f64) -> Reading {
    reading(Analyte::Element(element), method, Level::MgPerKg(MgPerKg(value)))
}

pub fn mg_l(element: Element, method: Method, value: f64) -> Reading {
    reading(Analyte::Element(element), method, Level::MgPerL(MgPerL(value)))
}

fn ph(value: f64) -> Reading {
    reading(Analyte::Ph, Method::PhWater1to1, Level::Ph(value))
}

pub fn setting(lime: bool, capacity: Result<&Capacity, String>) -> Setting<'_> {
    static NONE: LazyLock<Signs> = LazyLock::new(Signs::default);
    static LIME: LazyLock<Signs> =
        LazyLock::new(|| Signs { reasons: vec!["It fizzes with 1 M hydrochloric acid".into()], ..Signs::default() });
    Setting {
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: if lime { &LIME } else { &NONE },
        capacity,
    }
}

pub fn place(readings: &[Reading], guideline: &Guideline, setting: &Setting<'_>) -> Standing {
    let reasons = ["The only reading".to_owned()];
    let chosen: Vec<_> = readings.iter().map(|reading| Chosen { reading, reasons: &reasons }).collect();
    stand(&chosen, guideline, setting)
}

/// One reading under one guideline, on soil without lime and without a known capacity.
fn alone(reading: Reading, guideline: &Guideline) -> NutrientStanding {
    place(&[reading], guideline, &setting(false, Err("no capacity".into()))).nutrients.remove(0)
}

/// A capacity as a sheet states it.
fn capacity(cmol: f64) -> Capacity {
    let level = Level::CmolPerKg(CmolPerKg(cmol));
    let stated = reading(Analyte::ExchangeCapacity, Method::CapacityAcetate82, level);
    let cations = BTreeMap::new();
    Capacity {
        level,
        stated: true,
        working: stated.working,
        cations,
        acidity: None,
        base_saturation: None,
        notes: vec![],
    }
}

/// The classes that a publisher's edges fall in, values being in the printed unit.
fn classes_at(slug: &str, element: Element, land_use: LandUse, edges: &[(f64, &str)]) {
    let set = set(slug).with_memory();
    let criterion = set
        .criteria
        .iter()
        .find(|c| {
            c.analyte == Analyte::Element(element)
                && matches!(c.rule, Rule::Classes(_))
                && (c.when.uses.is_empty() || c.when.uses.contains(&land_use))
        })
        .expect("a table of classes");
    let Rule::Classes(classes) = &criterion.rule else { unreachable!() };
    for (value, class) in edges {
        assert_eq!(classes.classify(*value, criterion.decimals).name, *class, "{slug} {element} at {value}");
    }
}

#[test]
fn every_shipped_set_parses_and_cites() {
    assert_eq!(guideline::builtin().len(), guideline::SHIPPED, "a shipped set does not parse");
    for set in guideline::builtin() {
        // Each text must also read through the door that a grower's own copy uses.
        let again = Guideline::parse(&set.text).unwrap_or_else(|e| panic!("{}: {}", set.slug, e[0]));
        assert_eq!(&again, set);
        for criterion in &set.criteria {
            assert!(!criterion.source.publisher.is_empty() && !criterion.source.title.is_empty(), "{}", set.slug);
            assert_eq!(criterion.in_force, criterion.source.evidence != Evidence::Memory, "{}", set.slug);
        }
        for rates in &set.rates {
            assert!(!rates.source.publisher.is_empty() && !rates.source.title.is_empty(), "{}", set.slug);
            assert_eq!(rates.in_force, rates.source.evidence != Evidence::Memory, "{}", set.slug);
        }
    }
}

#[test]
fn a_row_or_table_without_a_source_is_refused() {
    let good = r#"
slug = "own"
title = "Own"
publisher = "Us"
address = ""
scope = "Our ground"
[[table]]
title = "Potassium"
source = { publisher = "Us", title = "Notebook", evidence = "common_practice" }
methods = ["mehlich3_icp"]
unit = "mg/kg"
classes = [{ name = "low", is = "short" }, { name = "fine", is = "aim" }]
aim_class = "fine"
aim_why = "experience"
[[table.row]]
analyte = "K"
printed = ["0-99", ">99"]
"#;
    assert!(Guideline::parse(good).is_ok());
    for (from, to, expected) in [
        ("source = { publisher = \"Us\", title = \"Notebook\", evidence = \"common_practice\" }", "", "has no source"),
        (
            "title = \"Notebook\", evidence = \"common_practice\"",
            "title = \"\", evidence = \"read\"",
            "lacks its publisher",
        ),
        ("methods = [\"mehlich3_icp\"]", "methods = []", "no method is named"),
        ("mehlich3_icp", "mehlich9", "not a method"),
        ("unit = \"mg/kg\"", "unit = \"lb/acre\"", "needs a soil mass"),
        ("\">99\"", "\">109\"", "does not join"),
        ("\">99\"", "\"100-200\"", "has an upper end"),
        ("\"0-99\"", "\"0-99.5\"", "finer than"),
        ("aim_why = \"experience\"", "", "why this aim"),
        ("printed = [\"0-99\", \">99\"]", "printed = [\"0-99\", \">99\"]\ncritical = 4", "exactly one of"),
        ("analyte = \"K\"", "analyte = \"kryptonite\"", "not an analyte"),
        ("analyte = \"K\"", "analyte = \"K\"\naim = 90", "outside its class"),
    ] {
        let text = good.replace(from, to);
        assert_ne!(text, good);
        let problems = Guideline::parse(&text).expect_err(expected);
        assert!(problems[0].says.contains(expected), "{expected:?} expected, got {}", problems[0]);
        assert!(problems[0].line > 1, "{}", problems[0]);
    }
    let floor = "slug='s'\ntitle='t'\npublisher='p'\naddress=''\nscope='s'\n[[table]]\ntitle='x'\nsource={publisher='p',title='t',evidence='read'}\nmethods=['nh4oac_7']\nunit='mg/kg'\n[[table.row]]\nanalyte='K'\nsaturation='2-5'\naim_why='w'\nfloor={mg_per_kg=100}\n";
    assert!(Guideline::parse(floor).unwrap_err()[0].says.contains("the floor has no source"));
    for odd in ["nan", "-inf", "-4"] {
        assert!(Guideline::parse(&floor.replace("=100", &format!("={odd}"))).is_err(), "{odd}");
    }
}

#[test]
fn a_copy_can_be_edited_and_a_set_included() {
    let copied = set("rutgers_mehlich3").text.replace("slug = \"rutgers_mehlich3\"", "slug = \"our_copy\"");
    let edited = copied.replacen("analyte = \"K\"", "analyte = \"K\"\naim = 200", 1);
    let own = Guideline::parse(&edited).unwrap();
    // 200 lb/acre at ppm × 2.
    let aim = alone(mg_kg(K, Method::Mehlich3Icp, 90.0), &own).aim.unwrap();
    assert!((aim.figure.value - 100.0).abs() < 1e-9);
    let outside = copied.replacen("analyte = \"K\"", "analyte = \"K\"\naim = 20", 1);
    assert!(Guideline::parse(&outside).unwrap_err()[0].says.contains("outside its class"));
    let include = |body: &str| {
        let head =
            "slug = \"mix\"\ntitle = \"Mix\"\npublisher = \"Us\"\naddress = \"\"\nscope = \"Here\"\n[[include]]\n";
        Guideline::parse(&format!("{head}{body}"))
    };
    let mixed =
        include("guideline = \"rutgers_mehlich3\"\nanalytes = [\"Ca\", \"K\"]\nwhen = { carbonate = true }\n").unwrap();
    // Rutgers' calcium is only for soil without lime, so nothing of it is left on soil with.
    assert_eq!(mixed.criteria.iter().map(|c| c.analyte).collect::<Vec<_>>(), [Analyte::Element(K)]);
    assert_eq!(mixed.criteria[0].set, "rutgers_mehlich3");
    assert!(include("guideline = \"nowhere\"\n").is_err());
    assert!(include("guideline = \"dtpa_metals\"\nanalytes = [\"P\"]\n").is_err());
}

#[test]
fn what_is_from_memory_says_so() {
    // The Northern Ireland limits were read in the law, and the target in the manual of 2010.
    let p = alone(mg_l(P, Method::Olsen, 18.0), set("northern_ireland_index"));
    assert!(!p.notes.iter().any(|n| n.contains("from memory")), "{:?}", p.notes);
    let england = alone(mg_l(P, Method::Olsen, 18.0), &set("england_wales_index").with_memory());
    assert!(england.notes.iter().any(|n| n.contains("from memory, unverified")), "{:?}", england.notes);
    let olsen = alone(mg_kg(P, Method::Olsen, 8.0), set("western_olsen"));
    assert!(matches!(&olsen.position, Position::NoCriterion(why) if why.contains("from memory")));
    let on = alone(mg_kg(P, Method::Olsen, 8.0), &set("western_olsen").with_memory());
    assert!(on.position == Position::Short && on.notes.iter().any(|n| n.contains("from memory, unverified")));
}

#[test]
fn rutgers_edges() {
    // Rutgers NJAES, Relative Levels of Nutrients (Mehlich-3), lb/acre.
    let names = ["Very low", "Low", "Medium", "High", "Very high"];
    for (element, ends) in [
        (P, [24.0, 45.0, 71.0, 137.0]),
        (K, [40.0, 81.0, 145.0, 277.0]),
        (Mg, [45.0, 83.0, 143.0, 295.0]),
        (Ca, [615.0, 1007.0, 1400.0, 1790.0]),
    ] {
        for (i, end) in ends.into_iter().enumerate() {
            let edges = [(end, names[i]), (end + 0.4, names[i]), (end + 0.5, names[i + 1]), (end + 1.0, names[i + 1])];
            classes_at("rutgers_mehlich3", element, LandUse::Vegetables, &edges);
        }
        classes_at("rutgers_mehlich3", element, LandUse::Vegetables, &[(0.0, names[0])]);
    }
}

#[test]
fn delaware_edges() {
    // University of Delaware: P 50, K 140, Mg 110, Ca 900 are FIV 50, the top of medium; one more is optimum.
    for (element, ends) in
        [(P, [25.0, 50.0, 100.0]), (K, [70.0, 140.0, 280.0]), (Mg, [55.0, 110.0, 220.0]), (Ca, [450.0, 900.0, 1800.0])]
    {
        for (end, (at, next)) in
            ends.into_iter().zip([("Low", "Medium"), ("Medium", "Optimum"), ("Optimum", "Excessive")])
        {
            classes_at("delaware_mehlich3", element, LandUse::Vegetables, &[(end, at), (end + 1.0, next)]);
        }
    }
}

#[test]
fn northern_ireland_edges() {
    // NISR 2019/81 schedule 5 paragraph 10.
    let printed = [
        (9.0, "0"),
        (10.0, "1"),
        (15.0, "1"),
        (16.0, "2-"),
        (20.0, "2-"),
        (21.0, "2+"),
        (25.0, "2+"),
        (26.0, "3"),
        (45.0, "3"),
        (46.0, "4"),
        (70.0, "4"),
    ];
    for land_use in [LandUse::Vegetables, LandUse::Grass] {
        classes_at("northern_ireland_index", P, land_use, &printed);
    }
    // The law prints nothing above 70: the highest index holds, and it is said.
    let above = alone(mg_l(P, Method::Olsen, 90.0), set("northern_ireland_index"));
    assert_eq!(above.class.as_deref(), Some("4"));
    assert!(above.notes.iter().any(|n| n.contains("ends at 70")), "{:?}", above.notes);
    // K and Mg are from memory, so they stay off until switched on.
    let k = mg_l(K, Method::AmmoniumNitrate, 100.0);
    let off = alone(k.clone(), set("northern_ireland_index"));
    assert!(matches!(&off.position, Position::NoCriterion(why) if why.contains("from memory")), "{:?}", off.position);
    let on = alone(k, &set("northern_ireland_index").with_memory());
    assert_eq!((on.class.as_deref(), on.position), (Some("1"), Position::Short));
}

#[test]
fn ireland_edges() {
    // Fertilizer Association of Ireland, Soil Index System: tillage P, grass P, K, Mg.
    let tillage = [(3.0, "1"), (3.1, "2"), (6.0, "2"), (6.1, "3"), (10.0, "3"), (10.1, "4")];
    classes_at("ireland_morgan", P, LandUse::Vegetables, &tillage);
    let grass = [(3.0, "1"), (3.1, "2"), (5.0, "2"), (5.1, "3"), (8.0, "3"), (8.1, "4")];
    classes_at("ireland_morgan", P, LandUse::Grass, &grass);
    classes_at(
        "ireland_morgan",
        K,
        LandUse::Grass,
        &[(50.0, "1"), (51.0, "2"), (100.0, "2"), (101.0, "3"), (150.0, "3"), (151.0, "4")],
    );
    // 50 is printed in two classes; the seam sends it down and says so.
    classes_at(
        "ireland_morgan",
        Mg,
        LandUse::Grass,
        &[(25.0, "1"), (26.0, "2"), (50.0, "2"), (50.6, "3"), (100.0, "3"), (101.0, "4")],
    );
    let seam = alone(mg_l(Mg, Method::Morgan, 50.0), set("ireland_morgan"));
    assert!(seam.notes.iter().any(|n| n.contains("50 is printed in Index 2 and in Index 3")), "{:?}", seam.notes);
}

#[test]
fn dtpa_edges() {
    // Havlin et al. 1999 in J. Ecol. Environ. 2019, s41610-019-0104-9, table 12.
    classes_at(
        "dtpa_metals",
        Fe,
        LandUse::Fruit,
        &[(2.5, "Low (deficient)"), (2.6, "Marginal"), (4.5, "Marginal"), (4.6, "High (sufficient)")],
    );
    classes_at(
        "dtpa_metals",
        Zn,
        LandUse::Fruit,
        &[(0.5, "Low (deficient)"), (0.6, "Marginal"), (1.0, "Marginal"), (1.1, "High (sufficient)")],
    );
    classes_at(
        "dtpa_metals",
        Cu,
        LandUse::Fruit,
        &[
            (0.3, "Low (deficient)"),
            (0.4, "Low (deficient)"),
            (0.5, "Marginal"),
            (0.6, "Marginal"),
            (0.7, "High (sufficient)"),
        ],
    );
    for (value, position) in [(0.9, Position::Short), (1.0, Position::AtAim), (1.1, Position::AtAim)] {
        assert_eq!(alone(mg_kg(Mn, Method::Dtpa, value), set("dtpa_metals")).position, position, "Mn {value}");
    }
    let manganese = alone(mg_kg(Mn, Method::Dtpa, 2.0), set("dtpa_metals"));
    assert_eq!((manganese.aim_level.map(|aim| aim.number()), manganese.above), (Some(1.0), None), "a floor, no band");
}

#[test]
fn umass_prints_ranges_that_are_no_aims() {
    // UMass Amherst specimen report S141006-324.
    classes_at(
        "umass_modified_morgan",
        P,
        LandUse::Vegetables,
        &[(3.0, "Below optimum"), (4.0, "Optimum"), (14.0, "Optimum"), (15.0, "Above optimum")],
    );
    let copper = alone(mg_kg(Cu, Method::ModifiedMorgan, 0.1), set("umass_modified_morgan"));
    assert_eq!(copper.position, Position::TypicalRangeOnly);
    assert_eq!(copper.class.as_deref(), Some("below what is usually found"));
    assert_eq!((copper.aim, copper.percent_of_aim, copper.likelihood), (None, None, None));
}

#[test]
fn index_names_order_by_their_halves() {
    let mut names: Vec<Index> = ["3", "2+", "0", "2-", "1", "10"].iter().map(|t| t.parse().unwrap()).collect();
    names.sort();
    let names: Vec<String> = names.iter().map(Index::to_string).collect();
    assert_eq!(names, ["0", "1", "2-", "2+", "3", "10"]);
    for odd in ["", "+", "x", "2--", "-1"] {
        assert!(odd.parse::<Index>().is_err(), "{odd:?}");
    }
}

#[test]
fn rutgers_manganese_is_an_index_of_level_and_ph() {
    // Rutgers prints MnAI = 101.7 + 3.75 Mn − 15.2 pH, critical 25. Mn 5 at pH 6.5 gives 21.65: deficient.
    let none = setting(false, Err(String::new()));
    let at = |mn: f64, soil_ph: f64| {
        place(&[mg_kg(Mn, Method::Mehlich3Icp, mn), ph(soil_ph)], set("rutgers_mehlich3"), &none)
    };
    let standing = at(5.0, 6.5);
    let manganese = standing.get(Analyte::Element(Mn)).unwrap();
    assert_eq!(manganese.position, Position::Short);
    let working = manganese.class_working.as_ref().unwrap();
    assert!(working.formula.as_deref().unwrap().contains("= 21.65;"), "{:?}", working.formula);
    // Mn 10 at pH 7.0 gives 32.8.
    assert_eq!(at(10.0, 7.0).get(Analyte::Element(Mn)).unwrap().position, Position::AtAim);
    // Without a pH in water there is no index.
    let no_ph = alone(mg_kg(Mn, Method::Mehlich3Icp, 5.0), set("rutgers_mehlich3"));
    assert!(matches!(no_ph.position, Position::NoCriterion(ref why) if why.contains("no pH")));
    // On very sour soil any amount is enough; no aim below zero is shown.
    let sour = at(0.0, 4.5);
    let sour = sour.get(Analyte::Element(Mn)).unwrap();
    assert_eq!((sour.position.clone(), sour.aim.is_none()), (Position::AtAim, true));
}

#[test]
fn a_reading_by_another_method_gets_a_sentence_and_no_number() {
    for method in [Method::Olsen, Method::Mehlich3Colour, Method::Bray1, Method::Unstated, Method::Other("x".into())] {
        let standing = alone(mg_kg(P, method, 30.0), set("rutgers_mehlich3"));
        assert!(matches!(&standing.position, Position::NoCriterion(why) if why.contains("Mehlich-3, ICP")));
        assert_eq!((standing.aim, standing.percent_of_aim, standing.class), (None, None, None));
    }
    // By mass against limits by volume.
    let standing = alone(mg_kg(P, Method::Olsen, 30.0), set("northern_ireland_index"));
    assert!(
        matches!(&standing.position, Position::NoCriterion(why) if why.contains("by volume")),
        "{:?}",
        standing.position
    );
}

#[test]
fn rutgers_phosphorus_from_cell_to_share_of_aim() {
    // Rutgers, lb/acre; Ohio State: 30 ppm is 60 lb/acre. 72 lb/acre is 36 mg/kg; 30 is 83 % of it.
    let p = alone(mg_kg(P, Method::Mehlich3Icp, 30.0), set("rutgers_mehlich3"));
    assert_eq!(p.class.as_deref(), Some("Medium"));
    assert_eq!(p.position, Position::Short);
    let aim = p.aim.as_ref().unwrap();
    assert!((aim.figure.value - 36.0).abs() < 1e-9 && aim.figure.unit == "mg/kg", "{}", aim.figure);
    let percent = p.percent_of_aim.as_ref().unwrap();
    assert_eq!(percent.figure.to_string(), "83\u{a0}%");
    assert!((p.ceiling.unwrap().number() - 69.0).abs() < 1e-9, "138 lb/acre is 69 mg/kg");
    for working in [
        &p.found.working,
        &aim.working,
        &percent.working,
        p.class_working.as_ref().unwrap(),
        &p.likelihood.as_ref().unwrap().working,
    ] {
        assert!(working.is_grounded(), "{working:#?}");
    }
    assert_eq!(percent.working.cells(), [p.found.working.cells()[0]]);
    // However far below, it is never called certain.
    let far = alone(mg_kg(P, Method::Mehlich3Icp, 2.0), set("rutgers_mehlich3")).likelihood.unwrap();
    assert_eq!(far.working.figure.to_string(), ">99\u{a0}%");
    // Φ((ln 36 − ln 30) / 0.1492) = Φ(1.222) = 0.889: between 0.75 and 0.90.
    let likelihood = p.likelihood.unwrap();
    assert_eq!((likelihood.words, likelihood.working.figure.to_string().as_str()), ("likely", "89\u{a0}%"));
    assert!((likelihood.p_short - 0.889).abs() < 5e-4, "{}", likelihood.p_short);
}

#[test]
fn limits_from_the_lab_are_never_read_as_numbers() {
    let censored = |value: f64, qualifier: Qualifier| {
        let mut reading = mg_kg(Zn, Method::Dtpa, value);
        reading.qualifier = qualifier;
        alone(reading, set("dtpa_metals"))
    };
    // "<0.2" against an aim of 1.1: surely below it, and in the lowest class.
    let low = censored(0.2, Qualifier::Below);
    assert_eq!((low.position.clone(), low.class.as_deref()), (Position::Short, Some("Low (deficient)")));
    assert_eq!(low.percent_of_aim.as_ref().unwrap().figure.to_string(), "<18\u{a0}%");
    assert_eq!((low.likelihood, low.percent_range_90), (None, None));
    // "<0.9" may be low or medium: short either way, the class is not known.
    let either = censored(0.9, Qualifier::Below);
    assert_eq!((either.position, either.class), (Position::Short, None));
    // "<2" may be anything; ">2" is surely enough; ">0.3" may be anything; "ND" says nothing.
    assert!(matches!(censored(2.0, Qualifier::Below).position, Position::NotKnown(_)));
    assert_eq!(censored(2.0, Qualifier::Above).position, Position::AtAim);
    assert!(matches!(censored(0.3, Qualifier::Above).position, Position::NotKnown(_)));
    assert!(matches!(censored(0.0, Qualifier::NotDetected).position, Position::NotKnown(_)));
}

#[test]
fn saturation_aims_keep_to_their_floor_and_ceiling() {
    let albrecht = set("saturation_albrecht");
    let at = |cmol: f64, element: Element, found: f64| {
        let capacity = capacity(cmol);
        let standing =
            place(&[mg_kg(element, Method::AmmoniumAcetate7, found)], albrecht, &setting(false, Ok(&capacity)));
        let nutrient = standing.nutrients.into_iter().next().unwrap();
        assert!(nutrient.aim.as_ref().unwrap().working.is_grounded());
        nutrient
    };
    // 2 % of 20 cmol is 0.4 cmol, 156 mg/kg of K (391 mg per cmol): between floor and ceiling.
    assert!((at(20.0, K, 100.0).aim.unwrap().figure.value - 0.4 * 390.98).abs() < 1e-9);
    // At a capacity of 3 it would be 23 mg/kg: held at Delaware's 141; at 60 it would be 469: held at 280.
    assert_eq!(at(3.0, K, 100.0).aim.unwrap().figure.value, 141.0);
    assert_eq!(at(60.0, K, 100.0).aim.unwrap().figure.value, 280.0);
    // Sodium is watched: a range, but no share of an aim.
    let sodium = at(20.0, Na, 300.0);
    assert_eq!((sodium.position, sodium.percent_of_aim), (Position::Above, None));
    // Bear's single set, Mg 10 % of 20 cmol: 2 cmol × 121.525 = 243 mg/kg, held at Delaware's 220.
    let capacity = capacity(20.0);
    let bear =
        place(&[mg_kg(Mg, Method::AmmoniumAcetate7, 230.0)], set("saturation_bear"), &setting(false, Ok(&capacity)));
    assert_eq!(bear.nutrients[0].aim.as_ref().unwrap().figure.value, 220.0);
}

#[test]
fn on_calcareous_soil_shares_need_an_alkaline_extraction_and_calcium_is_left_alone() {
    let lime = setting(true, Err(String::new())).signs;
    let sheet = |method: &Method| -> Vec<Reading> {
        let cations = [(Ca, 4000.0), (Mg, 150.0), (K, 200.0), (Na, 40.0)];
        let mut sheet: Vec<_> = cations.iter().map(|(e, v)| mg_kg(*e, method.clone(), *v)).collect();
        sheet.push(ph(7.8));
        sheet
    };
    // From the printed cells through the choice and the capacity, as a page does it.
    let whole = |readings: &[Reading], slug: &str| {
        let set = set(slug);
        let facts = setting(true, Err(String::new())).facts(Some(7.8));
        let choices = choose(readings, lime, &[], |reading| set.reads(reading, &facts));
        let held = exchange_capacity::capacity(&Parts::gather(&choices), lime, &exchange_capacity::rounded_divisors());
        let chosen: Vec<Chosen> = choices.values().map(Chosen::from).collect();
        stand(&chosen, set, &setting(true, held.as_ref().map_err(|withheld| withheld.reason.clone())))
    };
    for slug in ["saturation_bear", "saturation_albrecht"] {
        for method in [Method::AmmoniumAcetate82, Method::AmmoniumAcetate85, Method::AmmoniumChloride85] {
            let standing = whole(&sheet(&method), slug);
            for element in [Mg, K] {
                let nutrient = standing.get(Analyte::Element(element)).unwrap();
                assert!(
                    nutrient.aim.as_ref().is_some_and(|aim| aim.working.is_grounded()),
                    "{slug} {element} {method}"
                );
            }
            // 4000/200 + 150/120 + 200/390 + 40/230 = 21.94 cmol; its Mg share is 1.234/21.94 = 5.6 %.
            let magnesium = standing.get(Analyte::Element(Mg)).unwrap();
            let formula = magnesium.class_working.as_ref().unwrap().formula.clone().unwrap();
            assert!(formula.ends_with("= 5.6 %"), "{formula}");
            let calcium = standing.get(Analyte::Element(Ca)).unwrap();
            assert!(matches!(&calcium.position, Position::NoCriterion(why) if why.contains("left alone")), "{slug}");
        }
        // By neutral acetate or Mehlich-3 alone no share is aimed at, and it is said why.
        for method in [Method::AmmoniumAcetate7, Method::Mehlich3Icp] {
            for nutrient in whole(&sheet(&method), slug).nutrients {
                assert!(matches!(&nutrient.position, Position::NoCriterion(why) if why.len() > 20), "{nutrient:#?}");
                assert_eq!((&nutrient.aim, &nutrient.percent_of_aim), (&None, &None));
            }
        }
    }
    // Salts inflate the capacity as lime does: withheld by the capacity itself, with its reason.
    let salty = Signs { salts: vec!["Conductivity 6 dS/m".into()], ..Signs::default() };
    let readings = sheet(&Method::AmmoniumAcetate7);
    let choices = choose(&readings, &salty, &[], |_| true);
    let held = exchange_capacity::capacity(&Parts::gather(&choices), &salty, &exchange_capacity::rounded_divisors());
    let chosen: Vec<Chosen> = choices.values().map(Chosen::from).collect();
    let plot = Setting {
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: &salty,
        capacity: held.as_ref().map_err(|withheld| withheld.reason.clone()),
    };
    let standing = stand(&chosen, set("saturation_albrecht"), &plot);
    let potassium = standing.get(Analyte::Element(K)).unwrap();
    assert!(matches!(&potassium.position, Position::NoCriterion(why) if why.contains("salts")), "{potassium:#?}");
    // In mg/kg the same potassium is still usable.
    let by_level = stand(&chosen, set("extension_sufficiency"), &plot);
    assert_eq!(by_level.get(Analyte::Element(K)).unwrap().position, Position::AtAim);
}

#[test]
fn the_collection_serves_sour_and_calcareous_beds() {
    let collection = set("extension_sufficiency");
    assert!(collection.collection && collection.scope.contains("not a publication"));
    let none = |carbonate| setting(carbonate, Err(String::new()));
    let sour = place(
        &[
            mg_kg(P, Method::Mehlich3Icp, 30.0),
            mg_kg(K, Method::Mehlich3Icp, 100.0),
            mg_kg(B, Method::Mehlich3Icp, 0.3),
        ],
        collection,
        &none(false),
    );
    assert!(sour.nutrients.iter().all(|n| n.position == Position::Short), "{sour:#?}");
    assert!(sour.get(Analyte::Element(P)).unwrap().source.as_ref().unwrap().publisher.contains("Delaware"));
    let limy = place(
        &[
            mg_l(P, Method::Olsen, 18.0),
            mg_kg(K, Method::AmmoniumAcetate82, 100.0),
            mg_kg(Zn, Method::Dtpa, 0.4),
            mg_kg(Ca, Method::AmmoniumAcetate82, 5000.0),
            mg_kg(Mn, Method::Mehlich3Icp, 5.0),
        ],
        collection,
        &none(true),
    );
    for (element, publisher) in [(P, "Northern Ireland"), (K, "Kansas"), (Zn, "Journal of Ecology")] {
        let nutrient = limy.get(Analyte::Element(element)).unwrap();
        assert_eq!(nutrient.position, Position::Short, "{element}");
        assert!(nutrient.source.as_ref().unwrap().publisher.contains(publisher), "{element}");
    }
    for element in [Ca, Mn] {
        assert!(matches!(limy.get(Analyte::Element(element)).unwrap().position, Position::NoCriterion(_)), "{element}");
    }
    // Mehlich-3 phosphorus is not read where free lime shows.
    let acid_p = place(&[mg_kg(P, Method::Mehlich3Icp, 30.0)], collection, &none(true));
    assert!(matches!(acid_p.nutrients[0].position, Position::NoCriterion(_)));
}

#[test]
fn chances_agree_with_reference_values() {
    // Computed with scipy.stats.norm (Python 3.11, scipy 1.17): found, target, CV, P, 90 % range of % of target.
    for (found, target, cv, p, low, high) in [
        (40.0, 50.0, 0.2, 0.870_075_370_284_624_8, 57.758_827_969_869_42, 110.805_572_497_742_43),
        (50.0, 50.0, 0.2, 0.5, 72.198_534_962_336_78, 138.506_965_622_178_03),
        (60.0, 50.0, 0.2, 0.178_624_499_212_807_32, 86.638_241_954_804_13, 166.208_358_746_613_64),
        (48.0, 50.0, 0.15, 0.607_829_932_944_560_2, 75.112_826_032_264_82, 122.695_423_495_865_44),
        (150.0, 180.0, 0.12, 0.936_344_651_291_831_2, 68.454_636_251_011_65, 101.445_933_026_074_84),
        (12.0, 10.0, 0.25, 0.229_504_310_152_069_73, 80.037_459_519_390_98, 179.915_755_528_338_05),
    ] {
        assert!((confidence::p_below_target_lognormal(found, target, cv) - p).abs() < 1e-9);
        let range = confidence::percent_of_target_90(found, target, cv).unwrap();
        assert!((range.0 / low - 1.0).abs() < 1e-9 && (range.1 / high - 1.0).abs() < 1e-9, "{range:?}");
    }
    for (found, target, p) in [
        (6.3, 6.5, 0.908_788_780_274_132_3),
        (6.6, 6.5, 0.252_492_537_546_923_7),
        (6.9, 6.5, 0.003_830_380_567_589_705),
    ] {
        assert!((confidence::p_below_target_normal(found, target, 0.15) - p).abs() < 1e-9);
    }
    for (cores, repeats, cv) in
        [(15, 1, 0.130_639_452_948_436_18), (5, 1, 0.195_959_179_422_654_28), (15, 2, 0.117_756_811_551_037_97)]
    {
        assert!((confidence::composite_cv(0.4, cores, 0.08, repeats) - cv).abs() < 1e-12);
    }
    for (mean, tau, best, p) in [
        (45.0, 0.35, 41.159_071_228_554_296, 0.870_528_218_913_017_7),
        (70.0, 0.25, 49.632_801_298_440_33, 0.518_935_841_021_830_5),
    ] {
        let pooled = confidence::with_other_plots(40.0, 50.0, 0.2, mean, tau).unwrap();
        assert!((pooled.best_estimate - best).abs() < 1e-9 && (pooled.p_below - p).abs() < 1e-9);
    }
    assert_eq!(confidence::with_other_plots(0.0, 50.0, 0.2, 45.0, 0.3), None);
}

#[test]
fn odd_numbers_are_answered_without_a_panic() {
    for odd in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY, -3.0, 0.0, 1e308] {
        for set in guideline::builtin() {
            for element in Element::ALL {
                let capacity = capacity(odd);
                place(&[mg_kg(*element, Method::Mehlich3Icp, odd)], set, &setting(false, Ok(&capacity)));
            }
        }
    }
}

/// Every table of classes that is shipped, from memory or not.
fn tables() -> Vec<(glebe::agronomy::guideline::Classes, u8)> {
    let all = guideline::builtin().iter().flat_map(|g| &g.criteria);
    all.filter_map(|c| match &c.rule {
        Rule::Classes(classes) => Some((classes.clone(), c.decimals)),
        _ => None,
    })
    .collect()
}

proptest! {
    /// A text damaged anywhere is refused with a sentence or read; it never stops the program.
    #[test]
    fn damaged_texts_never_panic(which in 0..guideline::SHIPPED, at in 0.0..1.0f64, cut in 0..40usize, put in "[0-9a-z<>=\\-\"\\[\\]{}.,\n ]{0,8}") {
        let set = &guideline::builtin()[which];
        let chars: Vec<char> = set.text.chars().collect();
        let from = (at * chars.len() as f64) as usize;
        let rest = chars.iter().skip(from + cut);
        let text: String = chars[..from].iter().copied().chain(put.chars()).chain(rest.copied()).collect();
        match Guideline::parse(&text) {
            Ok(read) => drop(alone(mg_kg(P, Method::Mehlich3Icp, 30.0), &read)),
            Err(problems) => prop_assert!(!problems.is_empty() && problems.iter().all(|p| !p.says.is_empty())),
        }
    }

    /// No value falls between bands: any number has one class, the class whose printed band
    /// holds the rounded value, and a higher value never has a lower class.
    #[test]
    fn classes_are_total_and_monotone(a in 0.0..5000.0f64, b in 0.0..5000.0f64) {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        for (classes, decimals) in tables() {
            let at = |v: f64| {
                let class = classes.classify(v, decimals);
                classes.classes.iter().position(|c| c == class).unwrap()
            };
            prop_assert!(at(low) <= at(high));
            let rounded = guideline::round_to(low, decimals);
            let i = at(low);
            prop_assert!(i == 0 || rounded >= classes.classes[i].from - 1e-9);
            prop_assert!(i + 1 == classes.classes.len() || rounded < classes.classes[i + 1].from);
        }
    }

    /// Position, share of the aim and likelihood move together with the level.
    #[test]
    fn standing_is_monotone(a in 0.1..400.0f64, b in 0.1..400.0f64) {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        for slug in ["rutgers_mehlich3", "delaware_mehlich3"] {
            for element in [P, K, Mg] {
                let [x, y] = [low, high].map(|v| alone(mg_kg(element, Method::Mehlich3Icp, v), set(slug)));
                prop_assert!(x.position <= y.position);
                prop_assert!(x.percent_of_aim.unwrap().figure.value <= y.percent_of_aim.unwrap().figure.value);
                prop_assert!(x.likelihood.unwrap().p_short >= y.likelihood.unwrap().p_short);
            }
        }
    }
}

#[test]
fn rule_conditions_speak() {
    let grass = set("ireland_morgan")
        .criterion(Analyte::Element(P), &Method::Morgan, Level::MgPerL(MgPerL(6.0)), &facts(LandUse::Grass))
        .unwrap();
    assert_eq!(grass.when.uses, [LandUse::Grass]);
    let calcium = set("rutgers_mehlich3").criterion(
        Analyte::Element(Ca),
        &Method::Mehlich3Icp,
        Level::MgPerKg(MgPerKg(900.0)),
        &Facts { carbonate: true, ..facts(LandUse::Vegetables) },
    );
    assert!(calcium.unwrap_err().contains("free lime"));
}
