//! The statistics against golden series computed outside this project.

use super::*;

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
