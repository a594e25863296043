//! What is said of a series, and the long liming experiment.

use super::*;

#[test]
fn golden_verdicts() {
    let Some(golden) = golden() else { return };
    for case in list(&golden["series"]) {
        let (dates, values) = (days(&case["dates"]), numbers(&case["y"]));
        let (tests, errors) = readings(&dates, &values, error_of(case).1);
        let segments = drift::segments(&tests, &BTreeSet::new(), &errors);
        let found = drift::verdict(&segments);
        let middle = found.middle_slope(&segments).unwrap();
        close(middle.best, number(&case["theil_sen_slope"]));
        eprintln!("{}", middle.words());
        let expected = match case["suggested_verdict"]["verdict"].as_str().unwrap() {
            "rising" => Finding::Moving(Direction::Rising, Strength::Plainly),
            "falling" => Finding::Moving(Direction::Falling, Strength::Plainly),
            "possibly falling" => Finding::Moving(Direction::Falling, Strength::Possibly),
            steady if steady.starts_with("steady") => Finding::Steady,
            unsure if unsure.starts_with("cannot tell") => Finding::CannotTell,
            other => panic!("{other}"),
        };
        eprintln!("{}: {} {:?}", case["id"], found.words, found.notes);
        assert_eq!(found.finding, expected, "{}: {}", case["id"], found.words);
        assert_eq!(found.exact_p, Some(fraction(&case["p_exact_two_sided"])));
        if let Some(percent) = case["known_error"]["percent_per_year"].as_f64() {
            close(found.per_year.unwrap().best, percent);
        }
    }
}

#[test]
fn golden_verdict_over_a_change_of_method() {
    let Some(golden) = golden() else { return };
    let case = &golden["stratified_two_methods"];
    let spread = TestError::Relative(number(&case["cv"]));
    let mut tests = vec![];
    let mut settings = ErrorSettings::default();
    for (segment, method) in list(&case["segments"]).iter().zip([Method::Bray1, Method::Mehlich3Icp]) {
        let (found, errors) = readings(&days(&segment["dates"]), &numbers(&segment["y"]), spread);
        let offset = tests.len() as i64;
        tests.extend(found.into_iter().map(|test| Reading {
            method: method.clone(),
            cell: CellKey(test.cell.0 + offset),
            ..test
        }));
        settings = errors;
    }
    let found = read(&tests, &settings);
    eprintln!("{} {:?}", found.words, found.notes);
    assert_eq!((found.n, found.segments.len()), (9, 2));
    assert_eq!(found.finding, Finding::Moving(Direction::Rising, Strength::Plainly));
    close(found.per_year.unwrap().best, number(&case["percent_per_year"]));
    assert_eq!(found.exact_p, Some(fraction(&case["p_exact_two_sided"])));
}

#[test]
fn what_is_said_never_goes_beyond_the_tests() {
    let spring = |year| date(year, 3, 1);
    let series = |values: &[f64]| -> Vec<Reading> {
        values.iter().enumerate().map(|(at, value)| olsen(at as i64, spring(2000 + at as i16), *value)).collect()
    };
    let say = |tests: &[Reading]| read(tests, &ErrorSettings::default());

    assert_eq!(say(&[]).finding, Finding::NoTests);
    let nothing = say(&[Reading { qualifier: Qualifier::NotDetected, ..olsen(1, spring(2001), 0.0) }]);
    assert_eq!(nothing.words, "None of the tests can be used for a trend.");
    assert_eq!(nothing.notes, ["The test of 2001-03-01 is left out: not detected, and the lab printed no limit."]);
    assert_eq!(
        say(&series(&[20.0])).words,
        "Phosphorus: one test only; a second is needed before any change can be seen."
    );

    // Least significant change at a coefficient of variation of 15 % and 95 %: +51.2 % and
    // -33.9 %, the log-normal reference change value of Fokkema et al. 2006.
    let within = say(&series(&[40.0, 60.0]));
    assert_eq!(
        within.words,
        "Phosphorus: cannot tell yet; from 40.0\u{a0}mg/kg to 60.0\u{a0}mg/kg in a year, and two tests of unchanged \
         soil can differ by 51 % up or 34 % down."
    );
    assert_eq!(within.notes, ["Two tests can never show a trend by ranks alone: the smallest possible p is 1."]);
    assert_eq!(say(&series(&[40.0, 61.0])).finding, Finding::Moving(Direction::Rising, Strength::Probably));

    let three = say(&series(&[20.0, 30.0, 45.0]));
    assert_eq!(three.finding, Finding::Moving(Direction::Rising, Strength::Probably));
    assert_eq!(three.notes[0], "Three tests can never show a trend by ranks alone: the smallest possible p is 1/3.");

    let ties = say(&series(&[20.0; 8]));
    assert_eq!((ties.finding, ties.p), (Finding::Steady, Some(1.0)));

    let limit = |cell, year, value| Reading { qualifier: Qualifier::Below, ..olsen(cell, spring(year), value) };
    let below = say(&[limit(1, 2001, 2.0), limit(2, 2003, 3.0), limit(3, 2005, 3.0)]);
    assert_eq!(below.finding, Finding::OnlyLimits);
    assert_eq!(
        below.words,
        "Phosphorus: every test is below the lab's limit (<3.0\u{a0}mg/kg); no change can be read."
    );
    // "<10" then 5 is no fall: the first may have been 5 as well.
    assert_eq!(say(&[limit(1, 2001, 10.0), olsen(2, spring(2009), 5.0)]).finding, Finding::CannotTell);
    // "<5" then 20 is a rise from wherever it was.
    let risen = say(&[limit(1, 2001, 5.0), olsen(2, spring(2009), 20.0)]);
    assert_eq!(risen.finding, Finding::Moving(Direction::Rising, Strength::Probably));
    assert_eq!(risen.per_year, None, "how fast cannot be said");

    let apart = say(&[
        olsen(1, spring(2001), 20.0),
        Reading { method: Method::Bray1, ..olsen(2, spring(2003), 30.0) },
        Reading { depth: None, ..olsen(3, spring(2005), 40.0) },
    ]);
    assert_eq!(apart.finding, Finding::OneTest);
    assert_eq!(apart.words, "Phosphorus: no two tests can be compared; they differ in method, unit or depth.");
}

/// Runs that follow one another need not be in one unit: 5 mg/L is not above 3 mg/kg.
#[test]
fn limits_of_two_units_are_never_held_against_each_other() {
    for (side, words, first, second) in [
        (Qualifier::Below, "below the lab's limit (<3.0\u{a0}mg/kg; <5\u{a0}mg/L)", "<3.0\u{a0}mg/kg", "<5\u{a0}mg/L"),
        (Qualifier::Above, "above the lab's range (>2.0\u{a0}mg/kg; >4\u{a0}mg/L)", ">2.0\u{a0}mg/kg", ">4\u{a0}mg/L"),
    ] {
        let by_mass = |cell, year, value| Reading { qualifier: side, ..olsen(cell, date(year, 3, 1), value) };
        let by_volume = |cell, year, value| Reading {
            method: Method::Mehlich3Icp,
            level: Level::MgPerL(MgPerL(value)),
            decimals: 0,
            ..by_mass(cell, year, value)
        };
        let tests = [by_mass(1, 2001, 2.0), by_mass(2, 2003, 3.0), by_volume(3, 2005, 5.0), by_volume(4, 2007, 4.0)];
        let segments = split(&tests);
        let found = drift::verdict(&segments);
        assert_eq!((found.finding, found.n, found.segments.len()), (Finding::OnlyLimits, 4, 2));
        assert_eq!(found.words, format!("Phosphorus: every test is {words}; no change can be read."));
        assert_eq!(found.levels.iter().map(ToString::to_string).collect::<Vec<_>>(), [first, second]);
        // Each is read on its own: here only what is by volume.
        let read = drift::read_in(&found.words, &found.levels, |level| match level.unit.as_str() {
            "mg/L" => Figure { value: level.value * 2.0, unit: "lb/acre".into(), ..level.clone() },
            _ => level.clone(),
        });
        let doubled = if side == Qualifier::Below { "<10\u{a0}lb/acre" } else { ">8\u{a0}lb/acre" };
        assert!(read.contains(first) && read.contains(doubled) && !read.contains("mg/L"), "{read}");
        assert_eq!(found.middle_slope(&segments), None, "kilograms and litres have no middle");
    }
}

#[test]
fn two_extractions_of_one_soil_are_not_two_witnesses() {
    let mut tests = vec![];
    for (at, value) in [20.0, 21.0, 23.0, 24.0, 26.0].into_iter().enumerate() {
        let olsen = olsen(at as i64, date(2001 + at as i16, 3, 1), value);
        tests.push(Reading { method: Method::Mehlich3Icp, cell: CellKey(100 + at as i64), ..olsen.clone() });
        tests.push(olsen);
    }
    let found = read(&tests, &ErrorSettings::default());
    assert_eq!((found.n, found.segments.len()), (5, 1));
    assert_eq!(found.exact_p, Some(Fraction::new(1, 60)));
    assert!(found.notes.iter().any(|note| note.contains("not counted twice")), "{:?}", found.notes);
}

#[test]
fn the_slope_opens_to_its_cells() {
    let tests = [
        olsen(1, date(2001, 3, 1), 20.0),
        olsen(2, date(2001, 3, 1), 24.0),
        olsen(3, date(2005, 3, 1), 30.0),
        olsen(4, date(2009, 3, 1), 40.0),
    ];
    let segments = split(&tests);
    let working = drift::verdict(&segments).working(&segments).unwrap();
    assert!(working.is_grounded());
    assert_eq!(working.cells(), [1, 2, 3, 4].map(CellKey));
}

/// Rothamsted long-term liming experiment (Glendining et al. 2023, CC BY 4.0,
/// https://doi.org/10.23637/rcs10-soil-01): real plots with sub-plots, assumed dates, values
/// repeated for two sub-plots, and a depth that changes from 18 to 23 cm in 1971. The
/// expected figures of plots 1 and 4 were made with Python from the same rows.
#[test]
fn rothamsted_liming_plots() {
    let (Some(text), Some(golden)) = (oracle("data/rothamsted_lime_topsoil.csv"), golden()) else { return };
    let mut rows = csv::Reader::from_reader(text.as_bytes());
    let mut tests: std::collections::BTreeMap<String, (Vec<Reading>, BTreeSet<Date>)> = Default::default();
    for (line, row) in rows.deserialize::<std::collections::BTreeMap<String, String>>().enumerate() {
        let row = row.unwrap();
        let day: Date = row["sample_date"].parse().unwrap();
        let bottom: f64 = row["soil_depth_cm"].split('-').next_back().unwrap().parse().unwrap();
        let (readings, assumed) = tests.entry(row["plot"].clone()).or_default();
        if row["date_assumed"] == "1" {
            assumed.insert(day);
        }
        let mut add = |column: &str, cell, analyte, method, level: fn(f64) -> Level| {
            if let Ok(value) = row[column].parse::<f64>() {
                let decimals = row[column].split('.').nth(1).map_or(0, str::len) as u8;
                let (depth, level, cell) = (band(bottom), level(value), CellKey(2 * line as i64 + cell));
                readings.push(Reading { analyte, method, level, decimals, depth, cell, ..olsen(0, day, value) });
            }
        };
        add("ph_water_1_2_5", 0, Analyte::Ph, Method::PhWater1to25, Level::Ph);
        add("olsen_p_mg_kg", 1, Analyte::Element(Element::P), Method::Olsen, |v| Level::MgPerKg(MgPerKg(v)));
    }
    assert_eq!(tests.len(), 32);
    let segments_of = |plot: &str, analyte: Analyte| {
        let (readings, assumed) = &tests[plot];
        let of: Vec<_> = readings.iter().filter(|reading| reading.analyte == analyte).cloned().collect();
        drift::segments(&of, assumed, &ErrorSettings::default())
    };
    for plot in tests.keys() {
        let segments = segments_of(plot, Analyte::Ph);
        let breaks: Vec<_> = drift::breaks(&segments).into_iter().map(|b| b.words).collect();
        assert_eq!(breaks, ["Depth changed from 0–18\u{a0}cm to 0–23\u{a0}cm in 1971"], "plot {plot}");
        assert!(!drift::verdict(&segments).words.is_empty());
    }

    let series = list(&golden["series"]);
    let case = |id: &str| series.iter().find(|case| case["id"].as_str().unwrap().starts_with(id)).unwrap();
    for (plot, analyte, case) in [("1", Analyte::Ph, case("R1")), ("4", Analyte::Element(Element::P), case("R2"))] {
        let mut segments = segments_of(plot, analyte);
        segments.retain(|segment| segment.depth == band(23.0));
        let [segment] = &segments[..] else { panic!("one segment") };
        assert_eq!(segment.points.iter().map(|p| p.sampled_on).collect::<Vec<_>>(), days(&case["dates"]));
        for (point, expected) in segment.points.iter().zip(numbers(&case["y"])) {
            assert!((point.value / expected - 1.0).abs() < 0.005, "{} against {expected}", point.value);
        }
        assert!(segment.points.iter().any(|p| p.date_assumed));
        let found = drift::verdict(&segments);
        eprintln!("plot {plot}: {} {:?}", found.words, found.notes);
        assert_eq!(found.exact_p, Some(fraction(&case["p_exact_two_sided"])));
        let as_said = match case["suggested_verdict"]["verdict"].as_str().unwrap() {
            "possibly falling" => "possibly falling",
            _ => "steady",
        };
        assert!(found.words.contains(as_said), "{}", found.words);
        if analyte == Analyte::Element(Element::P) {
            let repeated = segment.points.iter().find(|p| p.sampled_on == date(1989, 10, 30)).unwrap();
            assert_eq!((repeated.replicates, repeated.independent), (2, 1), "one value printed for both sub-plots");
        }
    }
}
