//! From a reading to where a plot stands.

use super::*;

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
