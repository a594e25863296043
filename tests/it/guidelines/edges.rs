//! Both sides of printed edges, and every table at once.

use super::*;

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
