//! Drift against published worked examples and against other people's programs.

use glebe::agronomy::{
    analyte::Analyte,
    confidence::TestError,
    drift::{
        self, Coverage, Direction, ErrorSettings, Finding, Found, Fraction, MannKendall, Scale, Segment, Strength,
        Weighed,
    },
    element::Element,
    method::Method,
    quantity::{Centimetres, MgPerKg, MgPerL},
    reading::{Level, Reading},
    record::{CellKey, DepthBand, Qualifier},
    working::{Figure, Origin, Working},
};
use jiff::civil::{Date, date};
use proptest::prelude::*;
use serde_json::Value;
use std::{collections::BTreeSet, path::PathBuf};

/// A test of Olsen P by one lab from 0 to 23 cm; change what differs.
fn olsen(cell: i64, on: Date, mg_per_kg: f64) -> Reading {
    Reading {
        analyte: Analyte::Element(Element::P),
        method: Method::Olsen,
        level: Level::MgPerKg(MgPerKg(mg_per_kg)),
        qualifier: Qualifier::Exact,
        decimals: 1,
        sampled_on: on,
        depth: band(23.0),
        lab: "North".into(),
        cell: CellKey(cell),
        working: Working::leaf("found", Figure::new(mg_per_kg, "mg/kg", 1), Origin::Cell(CellKey(cell))),
    }
}

fn band(bottom: f64) -> Option<DepthBand> {
    Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(bottom) })
}

fn split(readings: &[Reading]) -> Vec<Segment> {
    drift::segments(readings, &BTreeSet::new(), &ErrorSettings::default())
}

fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected.abs().max(1e-12), "found {found}, expected {expected}");
}

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
    close(alone.high.unwrap(), 20.0 * (1.644_853_626_951_472_2_f64 * 0.149_166_380_041_950_87).exp());

    let copies = &split(&[olsen(1, day, 20.0), olsen(2, day, 20.0)])[0].points[0];
    assert_eq!((copies.replicates, copies.independent), (2, 1));
    close(copies.sigma, alone.sigma);

    let pair = &split(&[olsen(1, day, 16.0), olsen(2, day, 25.0)])[0].points[0];
    close(pair.value, 20.0); // geometric: √(16 × 25)
    assert_eq!((pair.replicates, pair.independent), (2, 2));
    assert!(pair.sigma < alone.sigma && pair.sigma > alone.sigma / 2f64.sqrt(), "the sampling is shared");
    assert_eq!(pair.cells, [CellKey(1), CellKey(2)]);
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
    assert_eq!((below.qualifier, below.low), (Qualifier::Below, None));
    close(below.value, 6.0); // no more than √(4 × 9)
}

/// Signs of a series in order of time, ties kept: values in thousandths.
fn ranked(values: &[f64]) -> Vec<Found<i64>> {
    values.iter().map(|value| Found::Exact((value * 1000.0).round() as i64)).collect()
}

fn by_ranks(values: &[f64]) -> MannKendall {
    drift::mann_kendall(&[ranked(values)])
}

fn slopes(years: &[f64], values: &[f64]) -> drift::TheilSen {
    drift::theil_sen(&[years.iter().copied().zip(values.iter().copied()).collect()]).unwrap()
}

/// Wisconsin Administrative Code, remediation form, table A: 100, 50, 85, 75, 50 has S = -5
/// (as printed on https://lfweb.sjgov.org/EHD/0/doc/562057/Page127.aspx).
/// Its table of critical S at a one-sided 0.2 for n from 4 to 10: -4, -5, -6, -7, -8, -10, -11.
#[test]
fn wisconsin_form_and_its_critical_values() {
    assert_eq!(by_ranks(&[100.0, 50.0, 85.0, 75.0, 50.0]).s, -5);
    for (n, critical) in (4..=10).zip([-4i64, -5, -6, -7, -8, -10, -11]) {
        // Orders of 1..n with S as printed, made by swapping neighbours of the falling order.
        let reach = |s: i64| {
            let mut order: Vec<f64> = (1..=n).rev().map(f64::from).collect();
            while by_ranks(&order).s < s {
                let at = (0..order.len() - 1).find(|&i| order[i] > order[i + 1]).unwrap();
                order.swap(at, at + 1);
            }
            by_ranks(&order)
        };
        let n = i64::from(n);
        let printed = if (critical - n * (n - 1) / 2) % 2 == 0 { critical } else { critical - 1 };
        let test = reach(printed);
        assert_eq!(test.s, printed);
        assert!(test.exact.unwrap().lower.at_most_percent(20), "n = {n}: {:?}", test.exact);
        assert!(!reach(printed + 4).exact.unwrap().lower.at_most_percent(20), "n = {n}");
    }
}

/// US EPA QA/G-9, box for small samples: 5, 6, 11, 8, 10 has S = 6, one-sided 0.117 (recalled).
#[test]
fn epa_small_sample_box() {
    let test = by_ranks(&[5.0, 6.0, 11.0, 8.0, 10.0]);
    assert_eq!((test.s, test.exact.unwrap().upper), (6, Fraction::new(14, 120)));
}

/// US EPA 530/R-09-007, Unified Guidance (2009), example 17-6, sulfate, n = 23, as in the
/// documentation of the R package EnvStats 3.1.0: S 194, tau 0.7667984, z 5.107322,
/// p 3.267574e-07, slope 26.66667, 95 % interval 20.00000 to 35.71182.
#[test]
fn epa_sulfate_beyond_twenty_tests() {
    let years = [
        89.6, 89.8, 90.1, 90.3, 90.6, 90.8, 91.1, 91.3, 91.6, 91.8, 92.1, 92.6, 93.1, 93.6, 94.1, 94.6, 95.1, 95.6,
        95.8, 96.1, 96.3, 96.6, 96.8,
    ];
    let sulfate = [
        480.0, 450.0, 490.0, 520.0, 485.0, 510.0, 510.0, 530.0, 510.0, 560.0, 560.0, 540.0, 590.0, 550.0, 600.0, 700.0,
        570.0, 610.0, 650.0, 620.0, 830.0, 720.0, 590.0,
    ];
    let test = by_ranks(&sulfate);
    assert_eq!((test.s, test.exact), (194, None));
    close(test.tau_a(), 194.0 / 253.0);
    close(test.z.unwrap(), 5.107_321_596_840_89);
    close(test.p().unwrap(), 3.267_573_570_717_96e-7);
    let fit = slopes(&years, &sulfate);
    assert!((fit.slope - 26.666_666_666_666_7).abs() < 1e-9);
    let interval = fit.interval(95).unwrap();
    assert_eq!(interval.coverage, Coverage::Normal { nominal_percent: 95 });
    assert!((interval.low - 20.0).abs() < 1e-4 && (interval.high - 35.711_82).abs() < 1e-4, "{interval:?}");
}

/// Same guidance, example 17-7, sodium: S 25, slope 1.333 ppm a year.
#[test]
fn epa_sodium() {
    let years = [89.6, 90.1, 90.8, 91.1, 92.1, 93.1, 94.1, 95.6, 96.1, 96.3];
    let sodium = [56.0, 53.0, 51.0, 55.0, 52.0, 60.0, 62.0, 59.0, 61.0, 63.0];
    assert_eq!(by_ranks(&sodium).s, 25);
    assert!((slopes(&years, &sodium).slope - 4.0 / 3.0).abs() < 1e-9);
}

/// Helsel & Hirsch, Statistical Methods in Water Resources: ten pairs with S = 21, tau 0.47,
/// p 0.07 (chapter 8); 1, 2, 3, 4, 5, 16, 7 has a median slope of 1 (chapter 10); recalled.
#[test]
fn helsel_and_hirsch() {
    let test = by_ranks(&[1.22, 2.2, 4.8, 1.28, 1.97, 1.46, 2.64, 2.34, 4.84, 2.96]);
    assert_eq!(test.s, 21);
    close(test.tau_a(), 21.0 / 45.0);
    close(test.p().unwrap(), 0.072_550_154_320_987_7); // R 4.2.2, cor.test(exact = TRUE)
    let years: Vec<f64> = (1..=7).map(f64::from).collect();
    close(slopes(&years, &[1.0, 2.0, 3.0, 4.0, 5.0, 16.0, 7.0]).slope, 1.0);
}

/// n! orders, of which two are the most extreme: 1/1, 1/3, 1/12, 1/60, 1/360.
#[test]
fn so_few_tests_can_show_nothing_by_ranks_alone() {
    for (n, orders) in [(2, 1), (3, 3), (4, 12), (5, 60), (6, 360)] {
        let rising: Vec<f64> = (0..n).map(f64::from).collect();
        let exact = by_ranks(&rising).exact.unwrap();
        assert_eq!(exact.smallest_two_sided, Fraction::new(1, orders));
        assert_eq!(exact.two_sided, exact.smallest_two_sided);
    }
    assert_eq!(by_ranks(&[]).exact.unwrap().two_sided, Fraction::new(1, 1));
    assert_eq!(by_ranks(&[7.0; 9]).exact.unwrap().two_sided, Fraction::new(1, 1));
    assert_eq!(by_ranks(&[7.0; 30]).p(), Some(1.0));
}

/// Every order of a small series with limits, counted one by one.
#[test]
fn the_exact_law_is_what_counting_every_order_gives() {
    let mut series = vec![
        Found::Below(5),
        Found::Exact(5),
        Found::Exact(3),
        Found::Exact(5),
        Found::Below(3),
        Found::Exact(8),
        Found::Exact(1),
    ];
    let mut counts = std::collections::BTreeMap::new();
    let n = series.len();
    permute(&mut series, n, &mut |order| *counts.entry(drift::mann_kendall(&[order.to_vec()]).s).or_insert(0u128) += 1);
    let orders = counts.values().sum();
    permute(&mut series, n, &mut |order| {
        let test = drift::mann_kendall(&[order.to_vec()]);
        let count = counts.iter().filter(|(s, _)| s.abs() >= test.s.abs()).map(|(_, count)| count).sum();
        assert_eq!(test.exact.unwrap().two_sided, Fraction::new(count, orders));
    });
    let variance = counts.iter().map(|(s, count)| (s * s) as f64 * *count as f64).sum::<f64>() / orders as f64;
    close(drift::mann_kendall(&[series.clone()]).variance.unwrap().value(), variance);
    // Seen in a mirror, "<" becomes ">".
    let mirrored = series.iter().map(|found| match *found {
        Found::Below(v) => Found::Above(-v),
        other => other.map(|v| -v),
    });
    let mirrored = drift::mann_kendall(&[mirrored.collect()]);
    let plain = drift::mann_kendall(&[series]);
    assert_eq!((mirrored.s, mirrored.exact.unwrap().two_sided), (-plain.s, plain.exact.unwrap().two_sided));
}

/// Heap's algorithm.
fn permute<T: Clone>(items: &mut Vec<T>, k: usize, see: &mut impl FnMut(&[T])) {
    if k <= 1 {
        return see(items);
    }
    for i in 0..k {
        permute(items, k - 1, see);
        items.swap(if k % 2 == 0 { i } else { 0 }, k - 1);
    }
}

#[test]
fn degenerate_series_give_no_slope_and_no_panic() {
    assert!(drift::theil_sen(&[]).is_none());
    assert!(drift::theil_sen(&[vec![(1.0, 2.0)]]).is_none());
    assert!(drift::theil_sen(&[vec![(1.0, 2.0), (1.0, 3.0)]]).is_none());
    assert!(drift::theil_sen(&[vec![(1.0, 2.0), (1.0, 3.0), (2.0, 4.0)]]).unwrap().interval(90).is_none());
    let point = |years, found| Weighed { years, found, sigma: 0.1 };
    let lines: [&[Weighed]; 6] = [
        &[],
        &[point(0.0, Found::Exact(1.0))],
        &[point(1.0, Found::Exact(1.0)), point(1.0, Found::Exact(2.0))],
        &[point(0.0, Found::Below(1.0)), point(1.0, Found::Below(1.0))],
        &[point(0.0, Found::Exact(5.0)), point(1.0, Found::Below(1.0))], // falls, but how fast?
        &[point(0.0, Found::Exact(5.0)), Weighed { sigma: 0.0, ..point(1.0, Found::Exact(1.0)) }],
    ];
    for line in lines {
        assert_eq!(drift::known_error(&[line.to_vec()]), None);
    }
    assert_eq!(drift::slope_with_limits(&[vec![(0.0, Found::Below(1.0)), (1.0, Found::Below(1.0))]]), None);
    assert_eq!(drift::shrink(&[(0.1, 0.1); 3]), None);
}

/// Numbers made by other people's programs (Python with scipy 1.17.1, statsmodels 0.15.0; R
/// 4.2.2 with EnvStats, NADA, survival, metafor), read from the directory named in
/// GLEBE_ORACLES; not part of a clone, so absent is said and not failed.
pub(super) fn golden() -> Option<Value> {
    oracle("golden_trends.json").map(|text| serde_json::from_str(&text).expect("golden_trends.json is JSON"))
}

pub(super) fn oracle(name: &str) -> Option<String> {
    let directory = std::env::var_os("GLEBE_ORACLES")
        .map_or_else(|| PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/../shared/oracles")), PathBuf::from);
    let path = directory.join(name);
    match std::fs::read_to_string(&path) {
        Ok(text) => Some(text),
        Err(_) => {
            super::loud::skipped(format_args!("no {}; name its directory in GLEBE_ORACLES", path.display()));
            None
        }
    }
}

fn number(value: &Value) -> f64 {
    value.as_f64().unwrap_or_else(|| panic!("a number, not {value}"))
}

pub(super) fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(number).collect()
}

pub(super) fn list(value: &Value) -> &[Value] {
    value.as_array().unwrap()
}

pub(super) fn fraction(value: &Value) -> Fraction {
    let part = |key: &str| value[key].as_str().unwrap().parse().unwrap();
    Fraction::new(part("num"), part("den"))
}

pub(super) fn days(value: &Value) -> Vec<Date> {
    list(value).iter().map(|text| text.as_str().unwrap().parse().unwrap()).collect()
}

fn years_of(dates: &[Date]) -> Vec<f64> {
    dates.iter().map(|day| drift::years_between(dates[0], *day)).collect()
}

/// Scale and σ of each value from "cv" or "sd".
fn error_of(case: &Value) -> (Scale, TestError) {
    match case["cv"].as_f64() {
        Some(cv) => (Scale::Log, TestError::Relative(cv)),
        None => (Scale::Linear, TestError::Absolute(number(&case["sd"]))),
    }
}

fn weighed(scale: Scale, spread: TestError, years: &[f64], found: &[Found<f64>]) -> Vec<Weighed> {
    let point = |(years, found): (&f64, &Found<f64>)| Weighed {
        years: *years,
        found: found.map(|v| scale.put(v)),
        sigma: spread.sigma(scale, found.number()),
    };
    years.iter().zip(found).map(point).collect()
}

#[test]
fn golden_series() {
    let Some(golden) = golden() else { return };
    assert!(list(&golden["series"]).len() >= 10);
    for case in list(&golden["series"]) {
        let id = &case["id"];
        let (values, years) = (numbers(&case["y"]), years_of(&days(&case["dates"])));
        for (year, expected) in years.iter().zip(numbers(&case["t_years"])) {
            close(*year, expected);
        }

        let test = by_ranks(&values);
        assert_eq!((test.s, test.pairs as u64), (case["S"].as_i64().unwrap(), case["pairs"].as_u64().unwrap()), "{id}");
        assert_eq!(test.variance, Some(fraction(&case["var_S"])), "{id}");
        close(test.tau_a(), number(&case["tau_a"]));
        close(test.z.unwrap(), number(&case["z_continuity"]));
        close(test.normal_p().unwrap(), number(&case["p_normal_continuity"]));
        let exact = test.exact.unwrap();
        assert_eq!(exact.two_sided, fraction(&case["p_exact_two_sided"]), "{id}");
        assert_eq!(exact.upper, fraction(&case["p_exact_upper"]), "{id}");
        assert_eq!(exact.lower, fraction(&case["p_exact_lower"]), "{id}");
        assert_eq!(exact.smallest_two_sided, fraction(&case["smallest_possible_two_sided_p"]), "{id}");

        let fit = slopes(&years, &values);
        close(fit.slope, number(&case["theil_sen_slope"]));
        for (slope, expected) in
            fit.slopes.iter().zip(case.get("pairwise_slopes_sorted").filter(|s| s.is_array()).map_or(vec![], numbers))
        {
            close(*slope, expected);
        }
        let same = |found: drift::SlopeInterval, expected: &Value, achieved: &Value| {
            close(found.low, number(&expected["lower"]));
            close(found.high, number(&expected["upper"]));
            let Coverage::Exact { achieved: found, rank } = found.coverage else { panic!("{id}: not counted") };
            assert_eq!(found, fraction(achieved), "{id}");
            rank as u64
        };
        for (nominal, expected) in [90, 95].into_iter().zip(list(&case["exact_ci"])) {
            match fit.interval(nominal) {
                None => assert!(expected.is_null(), "{id} at {nominal} %"),
                Some(found) => {
                    assert_eq!(same(found, expected, &expected["achieved"]), expected["rank_r"].as_u64().unwrap());
                }
            }
        }
        let widest = &case["widest_ci"];
        same(fit.widest_interval().unwrap(), widest, &widest["confidence"]);

        let (scale, spread) = error_of(case);
        let found: Vec<_> = values.iter().map(|v| Found::Exact(*v)).collect();
        let line = drift::known_error(&[weighed(scale, spread, &years, &found)]).unwrap();
        let known = &case["known_error"];
        close(line.slope, number(&known["slope"]));
        close(line.se_slope, number(&known["se_slope"]));
        close(line.intercepts[0].unwrap(), number(&known["intercept_at_t0"]));
        close(line.se_intercept.unwrap(), number(&known["se_intercept"]));
        close(line.probability_falling(), number(&known["prob_falling"]));
        close(line.chi2, number(&known["chi2"]));
        assert_eq!(line.degrees_of_freedom as u64, known["dof"].as_u64().unwrap());
        close(line.p_scatter.unwrap(), number(&known["p_chi2"]));
        close(line.birge, number(&known["birge"]));
        let expected = numbers(&case["suggested_verdict"]["slope_ci90_birge"]);
        close(line.interval_90().0, expected[0]);
        close(line.interval_90().1, expected[1]);

        let last = values.len() - 1;
        let end = |at: usize| (values[at], spread.sigma(scale, values[at]));
        let ends = drift::two_tests(scale, end(0), end(last), drift::Z_95).unwrap();
        let expected = &case["first_vs_last"];
        close(ends.z, number(&expected["z"]));
        close(ends.p_two_sided, number(&expected["p_two_sided"]));
        assert_eq!(ends.significant, expected["significant95"].as_bool().unwrap(), "{id}");
    }
}

#[test]
fn golden_two_methods_are_joined_only_by_their_common_slope() {
    let Some(golden) = golden() else { return };
    let case = &golden["stratified_two_methods"];
    let segments: Vec<_> = list(&case["segments"]).iter().map(|s| (numbers(&s["t_years"]), numbers(&s["y"]))).collect();
    let test = drift::mann_kendall(&segments.iter().map(|(_, y)| ranked(y)).collect::<Vec<_>>());
    assert_eq!(test.s, case["S_total"].as_i64().unwrap());
    assert_eq!(test.variance, Some(fraction(&case["var_total"])));
    assert_eq!(test.exact.unwrap().two_sided, fraction(&case["p_exact_two_sided"]));
    close(test.z.unwrap(), number(&case["z_continuity"]));

    let within = |put: fn(f64) -> f64| {
        let segment = |(t, y): &(Vec<f64>, Vec<f64>)| t.iter().copied().zip(y.iter().map(|y| put(*y))).collect();
        drift::theil_sen(&segments.iter().map(segment).collect::<Vec<_>>()).unwrap()
    };
    let fit = within(|y| y);
    assert_eq!(fit.slopes.len() as u64, case["within_method_pairs"].as_u64().unwrap());
    close(fit.slope, number(&case["theil_sen_within_method"]));
    close(within(f64::ln).slope, number(&case["theil_sen_within_method_ln"]));
    assert!((fit.slope - number(&case["WRONG_naive_pooled"]["theil_sen"])).abs() > 0.5);

    let strands = segments.iter().map(|(t, y)| {
        let found: Vec<_> = y.iter().map(|y| Found::Exact(*y)).collect();
        weighed(Scale::Log, TestError::Relative(number(&case["cv"])), t, &found)
    });
    let line = drift::known_error(&strands.collect::<Vec<_>>()).unwrap();
    close(line.slope, number(&case["common_slope_ln"]));
    close(line.se_slope, number(&case["se"]));
}

#[test]
fn golden_limits_are_never_replaced_by_numbers() {
    let Some(golden) = golden() else { return };
    let case = &golden["censored"];
    let years = numbers(&case["t_years"]);
    let limits = list(&case["censored"]).iter().map(|v| v.as_bool().unwrap());
    let found: Vec<_> = numbers(&case["value"])
        .into_iter()
        .zip(limits)
        .map(|(value, limit)| if limit { Found::Below(value) } else { Found::Exact(value) })
        .collect();
    let test = drift::mann_kendall(&[found.iter().map(|f| f.map(|v| (v * 100.0).round() as i64)).collect()]);
    assert_eq!(test.s, case["S_censored"].as_i64().unwrap());
    assert_eq!(test.exact.unwrap().two_sided, fraction(&case["p_exact_two_sided"]));

    for (key, put) in [("ats_slope_linear", (|v| v) as fn(f64) -> f64), ("ats_slope_ln", f64::ln)] {
        let points = years.iter().copied().zip(found.iter().map(|f| f.map(put))).collect();
        let (low, high) = drift::slope_with_limits(&[points]).unwrap();
        close(low, number(&case[key]["lower_breakpoint"]));
        close(high, number(&case[key]["upper_breakpoint"]));
        close((low + high) / 2.0, number(&case[key]["slope"]));
    }

    let line =
        drift::known_error(&[weighed(Scale::Log, TestError::Relative(number(&case["cv"])), &years, &found)]).unwrap();
    let known = &case["tobit_known_sigma"];
    // An optimiser made these: good to the 1e-8 at which R's survreg agrees with it.
    for (found, key) in [(line.intercepts[0].unwrap(), "a"), (line.slope, "b"), (line.log_likelihood, "loglik")] {
        let expected = number(&known[key]);
        assert!((found / expected - 1.0).abs() < 1e-8, "{key}: {found} against {expected}");
    }
    let se = number(&case["r_libraries"]["survival::survreg left, fixed scale"]["se_b"]);
    assert!((line.se_slope / se - 1.0).abs() < 1e-6, "{} against {se}", line.se_slope);
}

#[test]
fn golden_two_tests() {
    let Some(golden) = golden() else { return };
    for case in list(&golden["uncertainty"]["lsc"]) {
        let side = |value: &str, cv: &str| {
            let value = number(&case[value]);
            (value, TestError::Relative(number(&case[cv])).sigma(Scale::Log, value))
        };
        let z = if number(&case["conf"]) == 0.9 { drift::Z_90 } else { drift::Z_95 };
        let found = drift::two_tests(Scale::Log, side("first", "cv1"), side("second", "cv2"), z).unwrap();
        close(found.sigma, number(&case["sigma_diff_ln"]));
        close(found.z, number(&case["z"]));
        close(found.p_two_sided, number(&case["p_two_sided"]));
        close(found.least_rise, number(&case["lsc_up_percent"]));
        close(found.least_fall, number(&case["lsc_down_percent"]));
        assert_eq!(found.significant, case["significant"].as_bool().unwrap());
    }
    for case in list(&golden["uncertainty"]["lsc_with_expected_change"]) {
        let sigma = TestError::Relative(number(&case["cv"])).sigma(Scale::Log, 1.0);
        let (first, second) = ((number(&case["first"]), sigma), (number(&case["second"]), sigma));
        let response = (number(&case["response"]), number(&case["response_sd"]));
        let (expected, z) = drift::beyond_expectation(first, second, number(&case["net_kg_ha"]), response).unwrap();
        close(expected, number(&case["expected"]));
        close(z, number(&case["z_unexplained"]));
    }
    for case in list(&golden["uncertainty"]["detectable_drift"]) {
        let years: Vec<_> =
            (0..case["n"].as_u64().unwrap()).map(|i| i as f64 * number(&case["years_between"])).collect();
        let sigma = TestError::Relative(number(&case["cv"])).sigma(Scale::Log, 1.0);
        let slope = drift::smallest_visible_slope(&years, sigma).unwrap();
        close(100.0 * slope, number(&case["slope_needed_for_90pct_CI_to_exclude_0_pct"]));
    }
}

/// Rubin's eight schools (1981; Gelman et al., Bayesian Data Analysis, print 7.7 and 4.1),
/// the BCG trials, and eight plots, through metafor 3.8-1.
#[test]
fn golden_shrinkage() {
    let Some(golden) = golden() else { return };
    let schools: Vec<(f64, f64)> = [28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0]
        .into_iter()
        .zip([15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0])
        .collect();
    let given = |case: &Value| -> Vec<(f64, f64)> {
        let se = match case.get("sei") {
            Some(se) => numbers(se),
            None => numbers(&case["vi"]).into_iter().map(f64::sqrt).collect(),
        };
        numbers(&case["yi"]).into_iter().zip(se).collect()
    };
    for (key, slopes) in [("eight_schools_DL", Some(schools)), ("bcg_DL", None), ("soil_K_drift_DL", None)] {
        let case = &golden["shrinkage"][key];
        let found = drift::shrink(&slopes.unwrap_or_else(|| given(case))).unwrap();
        close(found.mean, number(&case["mu"]));
        close(found.se_mean, number(&case["se"]));
        close(found.q, number(&case["Q"]));
        close(found.between_plots, number(&case["tau2"]));
        let printed = case.get("blup").map_or(vec![], numbers);
        let errors = case.get("blup_se").map_or(vec![], numbers);
        for ((plot, slope), se) in found.plots.iter().zip(printed).zip(errors) {
            close(plot.slope, slope);
            close(plot.se, se);
        }
    }
}

/// Readings of one case: pH where the error is a plain deviation, else Olsen P.
fn readings(dates: &[Date], values: &[f64], spread: TestError) -> (Vec<Reading>, ErrorSettings) {
    let analyte = match spread {
        TestError::Absolute(_) => Analyte::Ph,
        TestError::Relative(_) => Analyte::Element(Element::P),
    };
    let tests = dates.iter().zip(values).enumerate().map(|(at, (day, value))| Reading {
        analyte,
        level: if analyte == Analyte::Ph { Level::Ph(*value) } else { Level::MgPerKg(MgPerKg(*value)) },
        decimals: 3,
        ..olsen(at as i64, *day, *value)
    });
    (tests.collect(), ErrorSettings { own: [(analyte, spread)].into(), ..ErrorSettings::default() })
}

fn read(readings: &[Reading], errors: &ErrorSettings) -> drift::Verdict {
    drift::verdict(&drift::segments(readings, &BTreeSet::new(), errors))
}

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

proptest! {
    /// Whatever is read, something is said, its slope opens to cells, and no p is beyond reach.
    #[test]
    fn no_series_is_too_odd(
        series in proptest::collection::vec((0u8..4, 0i32..9000, 0u8..60, 0u8..3, proptest::num::f64::ANY), 0..30),
        linear in any::<bool>(),
    ) {
        let test = |(at, (sign, day, value, method, odd)): (usize, (u8, i32, u8, u8, f64))| {
            let value = if value == 59 { odd } else { f64::from(value) / 4.0 };
            let on = date(2000, 1, 1).saturating_add(jiff::Span::new().days(day / 40 * 40));
            Reading {
                analyte: if linear { Analyte::Ph } else { Analyte::Element(Element::P) },
                level: if linear { Level::Ph(value) } else { Level::MgPerKg(MgPerKg(value)) },
                qualifier: [Qualifier::Exact, Qualifier::Exact, Qualifier::Below, Qualifier::Above][usize::from(sign)],
                method: [Method::Olsen, Method::Olsen, Method::Bray1][usize::from(method)].clone(),
                ..olsen(at as i64, on, value)
            }
        };
        let readings: Vec<_> = series.into_iter().enumerate().map(test).collect();
        let segments = split(&readings);
        let found = drift::verdict(&segments);
        prop_assert!(!found.words.is_empty());
        prop_assert!(!found.words.contains("NaN") && !found.words.contains("inf"), "{}", found.words);
        if let Some(middle) = found.middle_slope(&segments) {
            prop_assert!(!middle.words().contains("NaN"), "{}", middle.words());
        }
        if let Some(working) = found.working(&segments) {
            prop_assert!(working.is_grounded());
        }
        if let (Some(p), Some(least)) = (found.exact_p, found.smallest_possible_p) {
            prop_assert!(p.value() >= least.value() && p.value() <= 1.0);
        }
        drift::breaks(&segments);
        for segment in &segments {
            let points = segment.points.iter().zip(segment.years()).map(|(p, t)| (t, p.value)).collect();
            if let Some(fit) = drift::theil_sen(&[points]) {
                fit.interval(90);
                fit.widest_interval();
            }
            drift::slope_with_limits(&[segment.weighed().iter().map(|p| (p.years, p.found)).collect()]);
        }
    }
}
