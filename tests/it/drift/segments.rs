//! Where a series of tests begins and ends.

use super::*;

#[test]
fn a_change_of_depth_or_method_or_basis_starts_a_segment_and_says_so() {
    let shallow = |cell, year, value| Reading { depth: band(18.0), ..olsen(cell, date(year, 10, 1), value) };
    let mut tests = vec![
        olsen(4, date(1974, 10, 1), 21.0),
        shallow(1, 1962, 25.0),
        olsen(3, date(1971, 10, 1), 22.0),
        shallow(2, 1967, 24.0),
    ];
    tests.push(Reading { method: Method::Mehlich3Icp, ..olsen(5, date(1980, 10, 1), 60.0) });
    tests.push(Reading {
        method: Method::Mehlich3Icp,
        level: Level::MgPerL(MgPerL(66.0)),
        ..olsen(6, date(1985, 10, 1), 66.0)
    });
    let segments = split(&tests);
    assert_eq!(segments.iter().map(|s| s.points.len()).collect::<Vec<_>>(), [2, 2, 1, 1]);
    assert_eq!(segments[1].points.iter().map(|p| p.value).collect::<Vec<_>>(), [22.0, 21.0]);
    let words: Vec<_> = drift::breaks(&segments).into_iter().map(|b| b.words).collect();
    assert_eq!(
        words,
        [
            "Depth changed from 0–18\u{a0}cm to 0–23\u{a0}cm in 1971",
            "Method changed from Olsen (bicarbonate) to Mehlich-3, ICP in 1980",
            "Unit changed from mg/kg to mg/L in 1985",
        ]
    );
}

#[test]
fn two_extractants_side_by_side_are_two_segments_without_a_break() {
    let mehlich = |cell, year| Reading { method: Method::Mehlich3Icp, ..olsen(cell, date(year, 3, 1), 60.0) };
    let segments = split(&[
        olsen(1, date(2016, 3, 1), 20.0),
        olsen(2, date(2022, 3, 1), 20.0),
        mehlich(3, 2019),
        mehlich(4, 2022),
    ]);
    assert_eq!(segments.len(), 2);
    assert!(drift::breaks(&segments).is_empty());
}

/// One extractant given up for another reads as a change, whatever a third, tested beside both, does.
#[test]
fn a_method_that_takes_the_place_of_another_is_a_break_beside_a_third() {
    let by = |method: Method, cell, year| Reading { method, ..olsen(cell, date(year, 3, 1), 20.0) };
    let segments = split(&[
        by(Method::Olsen, 1, 2001),
        by(Method::Olsen, 2, 2004),
        by(Method::Mehlich3Icp, 3, 2004),
        by(Method::Mehlich3Icp, 4, 2012),
        by(Method::Bray1, 5, 2012),
        by(Method::Bray1, 6, 2015),
    ]);
    let words: Vec<_> = drift::breaks(&segments).into_iter().map(|b| b.words).collect();
    assert_eq!(words, ["Method changed from Olsen (bicarbonate) to Bray-1 in 2012"]);
}

#[test]
fn tests_without_a_depth_stand_alone() {
    let segments = split(&[
        olsen(1, date(2016, 3, 1), 20.0),
        Reading { depth: None, ..olsen(2, date(2018, 3, 1), 21.0) },
        olsen(3, date(2020, 3, 1), 22.0),
    ]);
    assert_eq!(segments.len(), 2);
    assert_eq!(segments[1].label(), "Olsen (bicarbonate), mg/kg, depth not recorded");
}

/// Log-normal error at a coefficient of variation of 15 %: σ = √ln 1.0225 = 0.149166,
/// the half-width of its 90 % interval 1.644854 σ.
#[test]
fn tests_of_one_day_are_one_point_and_copies_of_a_figure_are_no_new_evidence() {
    let day = date(2020, 3, 1);
    let alone = &split(&[olsen(1, day, 20.0)])[0].points[0];
    close(alone.sigma, 0.149_166_380_041_950_87);
    close(
        alone.error_bar(Scale::Log).1.unwrap(),
        20.0 * (1.644_853_626_951_472_2_f64 * 0.149_166_380_041_950_87).exp(),
    );

    let copies = &split(&[olsen(1, day, 20.0), olsen(2, day, 20.0)])[0].points[0];
    assert_eq!((copies.replicates, copies.independent), (2, 1));
    close(copies.sigma, alone.sigma);

    let pair = &split(&[olsen(1, day, 16.0), olsen(2, day, 25.0)])[0].points[0];
    close(pair.value, 20.0); // geometric: √(16 × 25)
    assert_eq!((pair.replicates, pair.independent), (2, 2));
    assert!(pair.sigma < alone.sigma && pair.sigma > alone.sigma / 2f64.sqrt(), "the sampling is shared");
    assert_eq!(pair.cells[..], [CellKey(1), CellKey(2)]);
}

/// The laboratory's share of 15 % is 8 % (ln 1.0064); the rest is the sampling's. m samplings tested once
/// each leave 1/m of both; one sampling tested m times leaves 1/m of the laboratory's only.
#[test]
fn the_error_of_sampling_falls_with_samplings_and_not_with_sheets() {
    let day = date(2020, 3, 1);
    let (whole, lab) = (1.0225f64.ln(), 1.0064f64.ln());
    let from = |sampling: i64, cell: i64, value: f64| Reading { sampling, ..olsen(cell, day, value) };
    let of = |tests: &[Reading]| {
        let point = split(tests)[0].points[0].clone();
        (point.replicates, point.independent, point.draws, point.sigma.powi(2))
    };
    let near = |found: (usize, usize, usize, f64), counts: (usize, usize, usize), variance: f64| {
        assert_eq!((found.0, found.1, found.2), counts);
        close(found.3, variance);
    };
    near(of(&[from(1, 1, 16.0), from(1, 2, 25.0)]), (2, 2, 1), whole - lab + lab / 2.0);
    near(of(&[from(1, 1, 16.0), from(2, 2, 25.0)]), (2, 2, 2), whole / 2.0);
    near(
        of(&[from(1, 1, 16.0), from(1, 2, 18.0), from(2, 3, 20.0), from(2, 4, 25.0)]),
        (4, 4, 2),
        (whole - lab) / 2.0 + lab / 4.0,
    );
    // One figure under two samplings: the whole plot's, written down for both halves.
    near(of(&[from(1, 1, 20.0), from(2, 2, 20.0)]), (2, 1, 1), whole);
}

#[test]
fn another_lab_stays_in_the_segment_with_a_wider_error() {
    let segments = split(&[
        olsen(1, date(2016, 3, 1), 20.0),
        olsen(2, date(2018, 3, 1), 20.0),
        Reading { lab: "South".into(), ..olsen(3, date(2020, 3, 1), 20.0) },
    ]);
    let [first, _, other] = &segments[0].points[..] else { panic!("one segment of three") };
    close(other.sigma.powi(2) - first.sigma.powi(2), 1.01f64.ln());
}

#[test]
fn odd_tests_are_left_out_with_a_reason_and_nothing_fails() {
    assert!(split(&[]).is_empty());
    let day = date(2020, 3, 1);
    let limit = |cell, qualifier, value| Reading { qualifier, ..olsen(cell, day, value) };
    let segments = split(&[
        olsen(1, day, 0.0),
        olsen(2, day, f64::NAN),
        limit(3, Qualifier::NotDetected, 0.0),
        limit(4, Qualifier::Below, 1.0),
        limit(5, Qualifier::Above, 9.0),
    ]);
    assert_eq!(segments[0].left_out.len(), 5);
    assert!(segments[0].points.is_empty());
    close(segments[0].span_years(), 0.0);

    let below = &split(&[limit(1, Qualifier::Below, 4.0), olsen(2, day, 9.0)])[0].points[0];
    assert_eq!((below.qualifier, below.error_bar(Scale::Log)), (Qualifier::Below, (None, Some(below.value))));
    close(below.value, 6.0); // no more than √(4 × 9)
}
