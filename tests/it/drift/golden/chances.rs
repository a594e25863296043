//! Chances, least changes, what a retest is worth, and plots drawn together.

use super::*;
use glebe::agronomy::{
    confidence,
    retest::{self, Question},
};

#[test]
fn golden_chances() {
    with_file(chances);
}

#[test]
fn golden_changes() {
    with_file(changes);
}

#[test]
fn golden_retests() {
    with_file(retests);
}

#[test]
fn golden_shrinkage() {
    with_file(shrinkage);
}

pub(super) fn all(file: &At) {
    chances(file);
    changes(file);
    retests(file);
    shrinkage(file);
}

fn chances(file: &At) {
    let file = file.to("uncertainty");
    for case in file.to("p_below_target_lognormal").all() {
        let (found, target, cv) = (case.to("found").number(), case.to("target").number(), case.to("cv").number());
        case.to("sigma_ln").holds(confidence::sigma_ln(cv));
        case.to("p_below").holds(confidence::p_below_target_lognormal(found, target, cv));
        let range = confidence::percent_of_target_90(found, target, cv).unwrap();
        for (end, expected) in pairs(vec![range.0, range.1], case.to("true_pct_of_target_90").all()) {
            expected.holds(end);
        }
    }
    for case in file.to("p_below_target_normal_pH").all() {
        let (found, target, sd) = (case.to("found").number(), case.to("target").number(), case.to("sd").number());
        case.to("p_below").holds(confidence::p_below_target_normal(found, target, sd));
    }
    for case in file.to("combined_cv").all() {
        let (core, cores) = (case.to("cv_sampling_one_core").number(), case.to("cores").count() as u32);
        let (lab, repeats) = (case.to("cv_lab").number(), case.to("lab_reps").count() as u32);
        case.to("cv").holds(confidence::composite_cv(core, cores, lab, repeats));
    }
    for case in file.to("with_prior_from_other_plots").all() {
        let (found, target, cv) = (case.to("found").number(), case.to("target").number(), case.to("cv").number());
        let others = (case.to("prior_geomean").number(), case.to("prior_tau_ln").number());
        let pooled = confidence::with_other_plots(found, target, cv, others.0, others.1).unwrap();
        case.to("best_estimate").holds(pooled.best_estimate);
        case.to("weight_on_found").holds(pooled.weight_on_found);
        case.to("p_below").holds(pooled.p_below);
        let question = Question { others: Some(others), ..Question::of_concentration(found, target, cv) };
        let retest = retest::value(&Question { cost_needless: 1.0, cost_missed: 1.0, ..question }).unwrap();
        case.to("post_mean_ln").holds(retest.mean);
        case.to("post_sd_ln").holds(retest.sd);
        close(retest.p_below, pooled.p_below);
    }
    for case in file.to("class_probabilities").all() {
        let (found, target, cv) = (case.to("found").number(), case.to("target").number(), case.to("cv").number());
        let bounds = case.to("bounds_fraction_of_target").numbers();
        let classes = confidence::class_probabilities(found, target, cv, &bounds);
        assert!((classes.iter().sum::<f64>() - 1.0).abs() < 1e-12);
        for (class, expected) in pairs(classes, case.to("p").all()) {
            // A far tail is a small difference of chances near 1: to the last digits of those.
            assert!((class - expected.number()).abs() <= 1e-9 * expected.number() + 1e-15, "{}", expected.path);
        }
    }
    for case in file.to("mk_min_p").all() {
        let rising: Vec<f64> = (0..case.to("n").count()).map(|at| at as f64).collect();
        case.to("min_two_sided").holds(by_ranks(&rising).exact.unwrap().smallest_two_sided.value());
    }
}

fn changes(file: &At) {
    let file = file.to("uncertainty");
    for case in file.to("lsc").all() {
        let side = |value: &str, cv: &str| {
            let value = case.to(value).number();
            (value, TestError::Relative(case.to(cv).number()).sigma(Scale::Log, value))
        };
        let z = match case.to("conf").number() {
            0.9 => drift::Z_90,
            0.95 => drift::Z_95,
            other => panic!("a confidence of {other}"),
        };
        let found = drift::two_tests(Scale::Log, side("first", "cv1"), side("second", "cv2"), z).unwrap();
        case.to("sigma_diff_ln").holds(found.sigma);
        case.to("z").holds(found.z);
        case.to("p_two_sided").holds(found.p_two_sided);
        case.to("lsc_up_percent").holds(found.least_rise);
        case.to("lsc_down_percent").holds(found.least_fall);
        assert_eq!(found.significant, case.to("significant").flag());
    }
    for case in file.to("lsc_with_expected_change").all() {
        let sigma = TestError::Relative(case.to("cv").number()).sigma(Scale::Log, 1.0);
        let (first, second) = ((case.to("first").number(), sigma), (case.to("second").number(), sigma));
        let response = (case.to("response").number(), case.to("response_sd").number());
        let net = case.to("net_kg_ha").number();
        let (expected, z) = drift::beyond_expectation(first, second, net, response).unwrap();
        case.to("expected").holds(expected);
        case.to("z_unexplained").holds(z);
    }
    for case in file.to("detectable_drift").all() {
        let between = case.to("years_between").number();
        let years: Vec<_> = (0..case.to("n").count()).map(|at| at as f64 * between).collect();
        let sigma = TestError::Relative(case.to("cv").number()).sigma(Scale::Log, 1.0);
        let slope = drift::smallest_visible_slope(&years, sigma).unwrap();
        case.to("slope_needed_for_90pct_CI_to_exclude_0_pct").holds(100.0 * slope);
        case.to("slope_for_80pct_power_alpha10_pct").holds(100.0 * drift::slope_mostly_seen(&years, sigma).unwrap());
        let level = years.iter().map(|years| Weighed { years: *years, found: Found::Exact(0.0), sigma }).collect();
        case.to("se_pct_per_year").holds(100.0 * drift::known_error(&[level]).unwrap().se_slope);
    }
}

fn retests(file: &At) {
    let file = file.to("uncertainty");
    for case in file.to("retest").all() {
        let of = |key: &str| case.to(key).number();
        let question = Question {
            others: Some((of("prior_geomean"), of("prior_tau_ln"))),
            cost_needless: of("cost_needless_application"),
            cost_missed: of("cost_missed_deficiency"),
            price: of("retest_cost"),
            ..Question::of_concentration(of("found"), of("target"), of("cv"))
        };
        let retest = retest::value(&question).unwrap();
        case.to("post_mean_ln").holds(retest.mean);
        case.to("post_sd_ln").holds(retest.sd);
        case.to("p_below").holds(retest.p_below);
        case.to("p_star").holds(retest.p_apply);
        assert_eq!(case.to("decision_now").text(), if retest.apply_now { "apply" } else { "leave" });
        case.to("expected_loss_now").holds(retest.loss_now);
        case.to("expected_loss_after").holds(retest.loss_after);
        // A small difference of two losses: to the last digits of those.
        assert!((retest.value - of("evsi")).abs() <= 1e-9 * retest.loss_now, "{}", case.path);
        case.to("evpi").holds(retest.ceiling);
        case.to("threshold_retest_value").holds(retest.break_even);
        case.to("p_retest_changes_decision").holds(retest.p_flip);
        assert_eq!(retest.worth_it, case.to("worth_it").flag());
    }
    for case in file.to("linear_loss").all() {
        case.to("L").holds(retest::unit_normal_loss(case.to("u").number()));
    }
    let case = file.to("linear_loss_evsi_example");
    let of = |key: &str| case.to(key).number();
    let even = retest::value_of_even_loss(of("m_minus_lnT"), of("post_sd"), of("retest_sigma"), of("K")).unwrap();
    case.to("sd_new_mean").holds(even.sd_of_new_mean);
    case.to("evsi").holds(even.value);
    case.to("evpi").holds(even.ceiling);
    assert_eq!(retest::value_of_even_loss(0.1, 0.0, 0.2, 1.0), None);
}

/// Rubin's eight schools (1981; Gelman et al., Bayesian Data Analysis, print 7.7 and 4.1),
/// the BCG trials, and eight plots, through metafor 3.8-1.
fn shrinkage(file: &At) {
    let file = file.to("shrinkage");
    let schools =
        pairs(vec![28.0, 8.0, -3.0, 7.0, -1.0, 1.0, 18.0, 12.0], vec![15.0, 10.0, 16.0, 11.0, 9.0, 11.0, 10.0, 18.0]);
    let schools: Vec<(f64, f64)> = schools.collect();
    let given = |case: &At| -> Vec<(f64, f64)> {
        let se = if case.has("sei") {
            case.to("sei").numbers()
        } else {
            case.to("vi").numbers().into_iter().map(f64::sqrt).collect()
        };
        pairs(case.to("yi").numbers(), se).collect()
    };
    for (key, slopes) in [("eight_schools_DL", Some(schools)), ("bcg_DL", None), ("soil_K_drift_DL", None)] {
        let case = file.to(key);
        let slopes = slopes.unwrap_or_else(|| given(&case));
        let found = drift::shrink(&slopes).unwrap();
        assert_eq!(found.plots.len(), slopes.len());
        case.to("mu").holds(found.mean);
        case.to("se").holds(found.se_mean);
        case.to("Q").holds(found.q);
        case.to("tau2").holds(found.between_plots);
        if case.has("blup") {
            for (plot, slope) in pairs(found.plots.clone(), case.to("blup").all()) {
                slope.holds(plot.slope);
            }
            for (plot, se) in pairs(found.plots, case.to("blup_se").all()) {
                se.holds(plot.se);
            }
        }
    }
}
