//! The statistics against golden numbers computed outside this project, all of the file: every number in
//! it is either held against the program, or stands in [`LEFT_ASIDE`] with the reason.

mod chances;
mod responses;
mod series;

use super::*;
use std::{cell::RefCell, collections::BTreeMap};

/// What of the file the program does not reckon, and why; places of a list are written [].
const LEFT_ASIDE: &[(&str, &str)] = &[
    ("/about", "words"),
    ("/commands", "how the file was made"),
    ("/versions", "how the file was made"),
    ("/verdict_rule", "words; the verdicts themselves are held against the program"),
    ("/series[]/nutrient", "words"),
    ("/series[]/unit", "words"),
    ("/series[]/note", "words"),
    ("/series[]/target", "no target is judged by a trend"),
    ("/series[]/tau_b", "tau-a is shown; tau-b is the same S over fewer pairs"),
    ("/series[]/ties", "counted on the way to the variance, which is held against the program"),
    ("/series[]/ols", "least squares whose error comes from the scatter: never used here, the errors are known"),
    ("/series[]/libraries", "what other programs print, their faults too"),
    ("/series[]/r_libraries", "what other programs print, their faults too"),
    ("/stratified_two_methods/WRONG_naive_pooled/note", "words"),
    ("/stratified_two_methods/segments[]/method", "words"),
    ("/censored/id", "words"),
    ("/stratified_two_methods/id", "words"),
    ("/censored/nutrient", "words"),
    ("/censored/unit", "words"),
    ("/censored/tobit_free_sigma", "an error estimated from the few tests that it is to judge: never used here"),
    ("/censored/r_libraries/NADA::cenken", "one figure inside the interval of slopes; its p is a normal form"),
    ("/censored/r_libraries/NADA::cenken on ln", "one figure inside the interval of slopes; its p is a normal form"),
    ("/censored/r_libraries/survival::survreg left, free scale", "an error estimated from the tests themselves"),
    ("/published_worked_examples/wisconsin_admin_code_table_A/printed", "words; the numbers are held"),
    ("/published_worked_examples/wisconsin_admin_code_table_A/source", "words"),
    ("/published_worked_examples/epa_qa_g9/printed", "words; the numbers are held"),
    ("/published_worked_examples/epa_qa_g9/source", "words"),
    ("/published_worked_examples/helsel_hirsch_tau/printed", "words; the numbers are held"),
    ("/published_worked_examples/helsel_hirsch_tau/source", "words"),
    ("/published_worked_examples/helsel_hirsch_theil/printed", "words; the numbers are held"),
    ("/published_worked_examples/helsel_hirsch_theil/source", "words"),
    ("/published_worked_examples/epa2009_17_6_sulfate/source", "words"),
    ("/published_worked_examples/epa2009_17_7_sodium/source", "words"),
    (
        "/published_worked_examples/epa2009_17_7_sodium/ci95",
        "the normal form for ten tests; the exact interval is given, and held",
    ),
    ("/shrinkage/eight_schools_REML", "the variance between plots by another estimator; DerSimonian-Laird is used"),
    ("/shrinkage/eight_schools_PM", "the variance between plots by another estimator; DerSimonian-Laird is used"),
    ("/shrinkage/bcg_REML", "the variance between plots by another estimator; DerSimonian-Laird is used"),
    ("/shrinkage/bcg_PM", "the variance between plots by another estimator; DerSimonian-Laird is used"),
    ("/shrinkage/soil_K_drift_REML", "the variance between plots by another estimator; DerSimonian-Laird is used"),
    ("/shrinkage/soil_K_drift_PM", "the variance between plots by another estimator; DerSimonian-Laird is used"),
    ("/shrinkage/eight_schools_DL/Qp", "no test of whether plots differ is made: the variance between them is used"),
    ("/shrinkage/eight_schools_DL/I2", "another form of the variance between plots"),
    ("/shrinkage/soil_K_drift_DL/Qp", "no test of whether plots differ is made: the variance between them is used"),
    ("/shrinkage/soil_K_drift_DL/I2", "another form of the variance between plots"),
    ("/shrinkage/soil_K_drift_DL/pred_new_plot", "nothing is said of a plot without tests"),
    ("/uncertainty/p_below_target_lognormal[]/z", "on the way to p_below"),
    ("/uncertainty/class_probabilities[]/labels", "words"),
    ("/uncertainty/lsc[]/simple_lsc_percent_of_mean", "the form that leaves out that a rise and a fall differ"),
    ("/uncertainty/lsc_with_expected_change[]/p", "the distance in standard deviations is what is used"),
    ("/uncertainty/retest[]/closed_form_bvn", "the same loss by another integral"),
    ("/uncertainty/retest[]/threshold_new_mean_ln", "on the way to the reading at which the decision turns"),
    ("/uncertainty/retest[]/sd_of_new_mean", "on the way to the loss after the retest"),
    ("/response/literature_prior_table[]/source", "words"),
    ("/response/literature_prior_table[]/nutrient", "words"),
    ("/response/literature_prior_table[]/stated", "words"),
    ("/response/real_liming_experiment_contrast/note", "words"),
];

/// Where in the file a value is, and what of the file has been looked at.
#[derive(Clone)]
struct At<'a> {
    value: &'a Value,
    path: String,
    seen: &'a RefCell<BTreeSet<String>>,
}

impl<'a> At<'a> {
    fn to(&self, key: &str) -> At<'a> {
        let value = self.value.get(key).unwrap_or_else(|| panic!("no {key} at {}", self.path));
        At { value, path: format!("{}/{key}", self.path), seen: self.seen }
    }

    fn has(&self, key: &str) -> bool {
        self.value.get(key).is_some()
    }

    fn all(&self) -> Vec<At<'a>> {
        let list = self.value.as_array().unwrap_or_else(|| panic!("a list at {}", self.path));
        let at = |(place, value)| At { value, path: format!("{}[{place}]", self.path), seen: self.seen };
        list.iter().enumerate().map(at).collect()
    }

    fn look(&self) -> &'a Value {
        self.seen.borrow_mut().insert(self.path.clone());
        self.value
    }

    fn number(&self) -> f64 {
        number(self.look())
    }

    fn count(&self) -> usize {
        self.look().as_u64().unwrap_or_else(|| panic!("a count at {}", self.path)) as usize
    }

    fn numbers(&self) -> Vec<f64> {
        self.all().iter().map(At::number).collect()
    }

    fn is_null(&self) -> bool {
        self.value.is_null() && self.look().is_null()
    }

    fn flag(&self) -> bool {
        self.look().as_bool().unwrap_or_else(|| panic!("yes or no at {}", self.path))
    }

    fn text(&self) -> &'a str {
        self.look().as_str().unwrap_or_else(|| panic!("words at {}", self.path))
    }

    fn fraction(&self) -> Fraction {
        let found = fraction(self.value);
        close(found.value(), self.to("value").number());
        self.to("num").look();
        self.to("den").look();
        found
    }

    fn days(&self) -> Vec<Date> {
        self.all().iter().map(|day| day.text().parse().unwrap()).collect()
    }

    /// A program's number against the file's.
    fn holds(&self, found: f64) {
        let expected = self.number();
        let near = (found - expected).abs() <= 1e-9 * expected.abs().max(1e-12);
        assert!(near, "{}: found {found}, expected {expected}", self.path);
    }

    /// The same where a number was printed, stored or optimised with fewer digits.
    fn about(&self, found: f64, relative: f64) {
        let expected = self.number();
        let near = (found - expected).abs() <= relative * expected.abs();
        assert!(near, "{}: found {found}, expected {expected}", self.path);
    }
}

/// Holds two lists against each other, as long as each other.
fn pairs<A, B>(one: Vec<A>, other: Vec<B>) -> impl Iterator<Item = (A, B)> {
    assert_eq!(one.len(), other.len(), "two lists of different lengths");
    one.into_iter().zip(other)
}

/// Scale and error of a case, from "cv" or "sd".
fn error_at(case: &At) -> (Scale, TestError) {
    if case.has("sd") && !case.to("sd").is_null() {
        assert!(case.to("cv").is_null());
        return (Scale::Linear, TestError::Absolute(case.to("sd").number()));
    }
    (Scale::Log, TestError::Relative(case.to("cv").number()))
}

/// Every number, word and gap of the file, by where it is.
fn leaves(value: &Value, path: &str, into: &mut Vec<String>) {
    match value {
        Value::Object(map) => map.iter().for_each(|(key, value)| leaves(value, &format!("{path}/{key}"), into)),
        Value::Array(list) => {
            list.iter().enumerate().for_each(|(at, value)| leaves(value, &format!("{path}[{at}]"), into))
        }
        _ => into.push(path.to_owned()),
    }
}

/// "/series[3]/y[0]" as "/series[]/y[]".
fn anywhere(path: &str) -> String {
    let mut bare = String::new();
    let mut inside = false;
    for letter in path.chars() {
        match letter {
            '[' => inside = true,
            ']' => inside = false,
            _ if inside => continue,
            _ => {}
        }
        bare.push(letter);
    }
    bare
}

fn with_file(read: impl Fn(&At)) -> Option<(Value, BTreeSet<String>)> {
    let file = golden()?;
    let seen = RefCell::new(BTreeSet::new());
    read(&At { value: &file, path: String::new(), seen: &seen });
    Some((file, seen.into_inner()))
}

#[test]
fn nothing_in_the_file_is_passed_over() {
    let looked = with_file(|file| {
        series::all(file);
        chances::all(file);
        responses::all(file);
    });
    let Some((file, seen)) = looked else { return };
    let mut every = vec![];
    leaves(&file, "", &mut every);
    assert!(every.len() > 2000, "{} numbers and words", every.len());
    let mut missed: BTreeMap<String, usize> = BTreeMap::new();
    let mut needless: BTreeSet<&str> = LEFT_ASIDE.iter().map(|(path, _)| *path).collect();
    for path in every {
        let place = anywhere(&path);
        let under = |aside: &&str| {
            place.strip_prefix(*aside).is_some_and(|rest| rest.is_empty() || rest.starts_with(['/', '[']))
        };
        let aside = LEFT_ASIDE.iter().map(|(aside, _)| aside).find(|aside| under(aside));
        match (seen.contains(&path), aside) {
            (false, None) => *missed.entry(place).or_default() += 1,
            (false, Some(aside)) => {
                needless.remove(*aside);
            }
            (true, Some(aside)) => panic!("{path} is held against the program and stands under {aside} as left aside"),
            (true, None) => {}
        }
    }
    assert!(missed.is_empty(), "neither held against the program nor left aside: {missed:#?}");
    assert!(needless.is_empty(), "left aside, and not in the file: {needless:?}");
    assert!(LEFT_ASIDE.iter().all(|(_, why)| !why.is_empty()));
}
