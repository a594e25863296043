//! Series: ranks, slopes, known errors, two methods, limits, and the published worked examples.

use super::*;
use glebe::agronomy::drift::{Intercept, TheilSen};

#[test]
fn golden_series() {
    with_file(series);
}

#[test]
fn golden_two_methods_are_joined_only_by_their_common_slope() {
    with_file(two_methods);
}

#[test]
fn golden_limits_are_never_replaced_by_numbers() {
    with_file(limits);
}

#[test]
fn golden_worked_examples() {
    with_file(worked_examples);
}

pub(super) fn all(file: &At) {
    series(file);
    two_methods(file);
    limits(file);
    worked_examples(file);
}

fn series(file: &At) {
    let cases = file.to("series").all();
    assert_eq!(cases.len(), 10);
    for case in cases {
        one_series(&case);
    }
}

/// The exact law of S.
fn ranks(case: &At, values: &[f64]) {
    let test = by_ranks(values);
    assert_eq!((test.s, test.pairs), (case.to("S").look().as_i64().unwrap(), case.to("pairs").count()));
    assert_eq!(test.n, case.to("n").count());
    assert_eq!(test.variance, Some(case.to("var_S").fraction()));
    case.to("tau_a").holds(test.tau_a());
    case.to("z_continuity").holds(test.z.unwrap());
    case.to("p_normal_continuity").holds(test.normal_p().unwrap());
    let exact = test.exact.unwrap();
    assert_eq!(exact.two_sided, case.to("p_exact_two_sided").fraction());
    assert_eq!(exact.upper, case.to("p_exact_upper").fraction());
    assert_eq!(exact.lower, case.to("p_exact_lower").fraction());
    assert_eq!(exact.smallest_two_sided, case.to("smallest_possible_two_sided_p").fraction());
}

/// The interval of a nominal share against the file's; `None` where it gives none.
fn exact_interval(fit: &TheilSen, nominal: u8, expected: &At, achieved: impl Fn(&At, Fraction)) {
    match fit.interval(nominal) {
        None => assert!(expected.is_null(), "at {nominal} %"),
        Some(found) => {
            expected.to("nominal").holds(f64::from(nominal) / 100.0);
            expected.to("lower").holds(found.low);
            expected.to("upper").holds(found.high);
            let Coverage::Exact { achieved: covers, rank } = found.coverage else { panic!("not counted") };
            assert_eq!(rank, expected.to("rank_r").count());
            achieved(&expected.to("achieved"), covers);
        }
    }
}

fn middle_slope(case: &At, years: &[f64], values: &[f64]) -> TheilSen {
    let fit = slopes(years, values);
    case.to("theil_sen_slope").holds(fit.slope);
    let points: Vec<(f64, f64)> = years.iter().copied().zip(values.iter().copied()).collect();
    case.to("intercept_conover").holds(Intercept::OfMiddles.of(fit.slope, &points).unwrap());
    case.to("intercept_median_residual").holds(Intercept::OfResiduals.of(fit.slope, &points).unwrap());
    // The long series come without their hundreds of slopes.
    let pairwise = case.to("pairwise_slopes_sorted");
    if !pairwise.is_null() {
        for (slope, expected) in pairs(fit.slopes.clone(), pairwise.all()) {
            // A slope of nothing is a difference of two decimals: 1e-17 is nothing too.
            assert!((slope - expected.number()).abs() <= 1e-9 * expected.number().abs() + 1e-15, "{}", expected.path);
        }
    }
    for (nominal, expected) in pairs(vec![90, 95], case.to("exact_ci").all()) {
        exact_interval(&fit, nominal, &expected, |at, covers| assert_eq!(covers, at.fraction()));
    }
    let (found, widest) = (fit.widest_interval().unwrap(), case.to("widest_ci"));
    widest.to("lower").holds(found.low);
    widest.to("upper").holds(found.high);
    let Coverage::Exact { achieved, .. } = found.coverage else { panic!("not counted") };
    assert_eq!(achieved, widest.to("confidence").fraction());
    fit
}

fn one_series(case: &At) {
    assert!(!case.to("id").text().is_empty());
    let (values, dates) = (case.to("y").numbers(), case.to("dates").days());
    let years = years_of(&dates);
    for (year, expected) in pairs(years.clone(), case.to("t_years").all()) {
        assert!((year - expected.number()).abs() < 1e-12, "{}", expected.path);
    }
    ranks(case, &values);
    let fit = middle_slope(case, &years, &values);

    let (scale, spread) = error_at(case);
    let found: Vec<_> = values.iter().map(|v| Found::Exact(*v)).collect();
    let line = drift::known_error(&[weighed(scale, spread, &years, &found)]).unwrap();
    let (tests, errors) = readings(&dates, &values, spread);
    let runs = drift::segments(&tests, &BTreeSet::new(), &errors);
    let said = drift::verdict(&runs);
    let known = case.to("known_error");
    known.to("slope").holds(line.slope);
    known.to("se_slope").holds(line.se_slope);
    let start = line.intercepts[0].unwrap();
    known.to("intercept_at_t0").holds(start);
    known.to("se_intercept").holds(line.se_intercept.unwrap());
    known.to("z").holds(line.z());
    known.to("p_two_sided").holds(line.p_two_sided());
    known.to("prob_falling").holds(line.probability_falling());
    known.to("chi2").holds(line.chi2);
    assert_eq!(line.degrees_of_freedom, known.to("dof").count());
    known.to("p_chi2").holds(line.p_scatter.unwrap());
    known.to("birge").holds(line.birge);
    // These two are not widened: the program's is, and is held below.
    for (z, at) in [(drift::Z_90, known.to("ci90")), (drift::Z_95, known.to("ci95"))] {
        for (end, expected) in pairs(vec![-z, z], at.all()) {
            expected.holds(line.slope + end * line.se_slope);
        }
    }
    let per_year = said.per_year.unwrap();
    assert_eq!(known.to("scale").text(), if scale == Scale::Log { "ln" } else { "linear" });
    if scale == Scale::Log {
        known.to("sigma_ln").holds(spread.sigma(scale, values[0]));
        known.to("percent_per_year").holds(per_year.best);
        let span = years[years.len() - 1];
        known.to("fitted_now").holds((start + line.slope * span).exp());
        known.to("change_over_span_ln").holds(line.slope * span);
        known.to("se_change_over_span_ln").holds(line.se_slope * span);
        let not_widened = |z: f64| 100.0 * (line.slope + z * line.se_slope).exp_m1();
        for (end, expected) in pairs(vec![-drift::Z_90, drift::Z_90], known.to("percent_per_year_ci90").all()) {
            expected.holds(not_widened(end));
        }
        if line.birge == 1.0 {
            close(per_year.low, not_widened(-drift::Z_90));
            close(per_year.high, not_widened(drift::Z_90));
        }
    }

    let end = |at: usize| (values[at], spread.sigma(scale, values[at]));
    let ends = drift::two_tests(scale, end(0), end(values.len() - 1), drift::Z_95).unwrap();
    let expected = case.to("first_vs_last");
    expected.to("z").holds(ends.z);
    expected.to("p_two_sided").holds(ends.p_two_sided);
    assert_eq!(ends.significant, expected.to("significant95").flag());
    match scale {
        Scale::Log => {
            expected.to("ratio").holds(ends.change.exp());
            expected.to("lsc95_percent_up").holds(ends.least_rise);
            expected.to("lsc95_percent_down").holds(ends.least_fall);
        }
        Scale::Linear => {
            expected.to("difference").holds(ends.change);
            expected.to("lsc95_abs").holds(ends.least_rise);
        }
    }

    let suggested = case.to("suggested_verdict");
    for (end, expected) in
        pairs(vec![line.interval_90().0, line.interval_90().1], suggested.to("slope_ci90_birge").all())
    {
        expected.holds(end);
    }
    suggested.to("mk_p").holds(said.p.unwrap());
    let expected = match suggested.to("verdict").text() {
        "rising" => Finding::Moving(Direction::Rising, Strength::Plainly),
        "falling" => Finding::Moving(Direction::Falling, Strength::Plainly),
        "possibly falling" => Finding::Moving(Direction::Falling, Strength::Possibly),
        steady if steady.starts_with("steady") => Finding::Steady,
        unsure if unsure.starts_with("cannot tell") => Finding::CannotTell,
        other => panic!("{other}"),
    };
    assert_eq!(said.finding, expected, "{}", said.words);
    let middle = said.middle_slope(&runs).unwrap();
    close(middle.best, fit.slope);
    case.to("intercept_conover").holds(middle.start.unwrap());
    numbers_say_so(&said, &runs);
}

/// What a page lists behind the sentence is what was held against the file.
fn numbers_say_so(said: &drift::Verdict, runs: &[Segment]) {
    let rows = said.numbers(runs, Clone::clone);
    let of = |what: &str| &rows.iter().find(|row| row.what == what).unwrap_or_else(|| panic!("no {what}")).value;
    assert_eq!(of("Tests"), &said.n.to_string());
    assert_eq!(of("S").replace('−', "-"), format!("{} of {} pairs", said.ranks.s, said.ranks.pairs));
    let p = said.exact_p.unwrap();
    assert!(of("p by ranks").starts_with(&format!("{}/{} = ", p.numerator, p.denominator)), "{}", of("p by ranks"));
    let least = said.smallest_possible_p.unwrap();
    assert!(of("Smallest possible p").starts_with(&format!("{}/{}", least.numerator, least.denominator)));
    assert!(said.middle_slope(runs).unwrap().words().contains(of("Middle slope").as_str()));
    let line = said.line.as_ref().unwrap();
    assert_eq!(of("Birge ratio"), &format!("{:.2}", line.birge));
    assert!(of("Scatter").contains(&format!("with {} to spare", line.degrees_of_freedom)));
    assert!(of("Slope").contains(said.per_year.unwrap().unit));
    assert!(rows.iter().all(|row| !row.means.is_empty() && !row.value.contains("NaN")));
}

fn two_methods(file: &At) {
    let case = file.to("stratified_two_methods");
    let parts: Vec<_> = case.to("segments").all();
    let segments: Vec<(Vec<f64>, Vec<f64>)> = parts
        .iter()
        .map(|part| {
            let years = part.to("t_years").numbers();
            // Counted from the first day of the first method.
            for (year, expected) in pairs(years_of(&part.to("dates").days()), years.clone()) {
                assert!((year - (expected - years[0])).abs() < 1e-12, "{}", part.path);
            }
            (years, part.to("y").numbers())
        })
        .collect();
    for ((_, values), s) in pairs(segments.clone(), case.to("S_by_method").all()) {
        s.holds(by_ranks(&values).s as f64);
    }
    let test = drift::mann_kendall(&segments.iter().map(|(_, y)| ranked(y)).collect::<Vec<_>>());
    case.to("S_total").holds(test.s as f64);
    assert_eq!(test.variance, Some(case.to("var_total").fraction()));
    assert_eq!(test.exact.unwrap().two_sided, case.to("p_exact_two_sided").fraction());
    case.to("z_continuity").holds(test.z.unwrap());
    case.to("p_normal_continuity").holds(test.normal_p().unwrap());

    let within = |put: fn(f64) -> f64| {
        let segment = |(t, y): &(Vec<f64>, Vec<f64>)| t.iter().copied().zip(y.iter().map(|y| put(*y))).collect();
        drift::theil_sen(&segments.iter().map(segment).collect::<Vec<_>>()).unwrap()
    };
    let fit = within(|y| y);
    assert_eq!(fit.slopes.len(), case.to("within_method_pairs").count());
    case.to("theil_sen_within_method").holds(fit.slope);
    case.to("theil_sen_within_method_ln").holds(within(f64::ln).slope);
    let naive = case.to("WRONG_naive_pooled").to("theil_sen").number();
    assert!((fit.slope - naive).abs() > 0.5, "never across a change of method");

    let spread = TestError::Relative(case.to("cv").number());
    let strands = segments.iter().map(|(t, y)| {
        let found: Vec<_> = y.iter().map(|y| Found::Exact(*y)).collect();
        weighed(Scale::Log, spread, t, &found)
    });
    let line = drift::known_error(&strands.collect::<Vec<_>>()).unwrap();
    case.to("common_slope_ln").holds(line.slope);
    case.to("se").holds(line.se_slope);
    case.to("z").holds(line.z());
    case.to("p").holds(line.p_two_sided());
    case.to("percent_per_year").holds(100.0 * line.slope.exp_m1());
}

fn limits(file: &At) {
    let case = file.to("censored");
    let years = case.to("t_years").numbers();
    for (year, expected) in pairs(years_of(&case.to("dates").days()), years.clone()) {
        assert!((year - expected).abs() < 1e-12);
    }
    let limits = case.to("censored").all().into_iter().map(|v| v.flag()).collect();
    let found: Vec<_> = pairs(case.to("value").numbers(), limits)
        .map(|(value, limit)| if limit { Found::Below(value) } else { Found::Exact(value) })
        .collect();
    let test = drift::mann_kendall(&[found.iter().map(|f| f.map(|v| (v * 100.0).round() as i64)).collect()]);
    case.to("S_censored").holds(test.s as f64);
    assert_eq!(test.exact.unwrap().two_sided, case.to("p_exact_two_sided").fraction());

    let half = case.to("WRONG_half_LOD_theil_sen").number();
    for (key, put) in [("ats_slope_linear", (|v| v) as fn(f64) -> f64), ("ats_slope_ln", f64::ln)] {
        let points = pairs(years.clone(), found.clone()).map(|(t, f)| (t, f.map(put))).collect();
        let (low, high) = drift::slope_with_limits(&[points]).unwrap();
        case.to(key).to("lower_breakpoint").holds(low);
        case.to(key).to("upper_breakpoint").holds(high);
        case.to(key).to("slope").holds((low + high) / 2.0);
        assert!(!(low..=high).contains(&half), "half a limit is no value");
    }

    let spread = TestError::Relative(case.to("cv").number());
    let line = drift::known_error(&[weighed(Scale::Log, spread, &years, &found)]).unwrap();
    let fixed = case.to("r_libraries").to("survival::survreg left, fixed scale");
    // Optimisers made these: good to the 1e-8 at which the two of them agree.
    let known = case.to("tobit_known_sigma");
    known.to("sigma_ln").holds(spread.sigma(Scale::Log, 1.0));
    for (found, key) in [(line.intercepts[0].unwrap(), "a"), (line.slope, "b"), (line.log_likelihood, "loglik")] {
        known.to(key).about(found, 1e-8);
        fixed.to(key).about(found, 3e-8);
    }
    fixed.to("se_b").about(line.se_slope, 1e-6);
}

fn worked_examples(file: &At) {
    let examples = file.to("published_worked_examples");
    for key in ["wisconsin_admin_code_table_A", "epa_qa_g9"] {
        let case = examples.to(key);
        let test = by_ranks(&case.to("y").numbers());
        case.to("S").holds(test.s as f64);
        case.to("var_S").holds(test.variance.unwrap().value());
        let exact = test.exact.unwrap();
        case.to("p_two").holds(exact.two_sided.value());
        case.to("p_upper").holds(exact.upper.value());
        case.to("p_lower").holds(exact.lower.value());
    }

    let tau = examples.to("helsel_hirsch_tau");
    // The signs ask only for the order of time.
    assert!(tau.to("x").numbers().is_sorted());
    let test = by_ranks(&tau.to("y").numbers());
    tau.to("S").holds(test.s as f64);
    tau.to("tau").holds(test.tau_a());
    tau.to("p").holds(test.p().unwrap()); // R 4.2.2, cor.test(exact = TRUE)

    let theil = examples.to("helsel_hirsch_theil");
    let (years, values) = (theil.to("x").numbers(), theil.to("y").numbers());
    theil.to("theil_sen").holds(slopes(&years, &values).slope);
    // Least squares is the line of known errors that are all alike.
    let alike = pairs(years, values).map(|(years, y)| Weighed { years, found: Found::Exact(y), sigma: 1.0 }).collect();
    theil.to("ols").holds(drift::known_error(&[alike]).unwrap().slope);

    for key in ["epa2009_17_6_sulfate", "epa2009_17_7_sodium"] {
        let case = examples.to(key);
        let (years, values) = (case.to("x").numbers(), case.to("y").numbers());
        let test = by_ranks(&values);
        case.to("S").holds(test.s as f64);
        case.to("tau").holds(test.tau_a());
        case.to("z").holds(test.z.unwrap());
        case.to("p").holds(test.normal_p().unwrap());
        let fit = slopes(&years, &values);
        case.to("slope").holds(fit.slope);
        let points: Vec<(f64, f64)> = pairs(years, values).collect();
        case.to("intercept").holds(Intercept::OfMiddles.of(fit.slope, &points).unwrap());
        if case.has("exact_ci") {
            for (nominal, expected) in pairs(vec![90, 95], case.to("exact_ci").all()) {
                exact_interval(&fit, nominal, &expected, |at, covers| at.holds(covers.value()));
            }
        } else {
            let interval = fit.interval(95).unwrap();
            assert_eq!(interval.coverage, Coverage::Normal { nominal_percent: 95 });
            for (found, expected) in pairs(vec![interval.low, interval.high], case.to("ci95").all()) {
                expected.about(found, 1e-6);
            }
        }
    }
}
