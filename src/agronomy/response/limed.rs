//! pH against the lime that was put on: the second reading of a trend for what is no element. How far
//! lime moves pH by published rules is not read here: only the plot's own tests are.

use super::{Beyond, TestAt, beyond};
use crate::agronomy::{
    drift::{Point, Scale, Segment, years_between},
    quantity::KgPerHa,
};
use jiff::{ToSpan, civil::Date};

/// Months after liming in which a test of pH does not count: the lime has not reacted by then.
/// Six to twelve are customary; the shorter is taken (from memory, unverified).
pub const LIME_REACTS_MONTHS: i32 = 6;
/// Tests from which the effect of lime is told apart from that of time; our own limit, no source.
const TESTS_NEEDED: usize = 4;

/// Lime put on one day.
#[derive(Clone, Debug, PartialEq)]
pub struct Liming {
    pub on: Date,
    /// What it was.
    pub name: String,
    /// As pure calcium carbonate.
    pub carbonate: KgPerHa,
}

/// The last liming within [`LIME_REACTS_MONTHS`] before a sample; what went on that day came after it.
pub fn limed_before(sampled_on: Date, limings: &[Liming]) -> Option<Date> {
    let from = sampled_on.saturating_sub(LIME_REACTS_MONTHS.months());
    limings.iter().map(|liming| liming.on).filter(|on| from < *on && *on < sampled_on).max()
}

/// A run of tests of pH with the lime that had gone on by each.
#[derive(Clone, Debug, PartialEq)]
pub struct Limed {
    /// Which points of the segment are read.
    pub points: Vec<usize>,
    /// With the kg/ha of pure calcium carbonate since the first of the segment.
    pub tests: Vec<TestAt>,
    /// Days of tests that came too soon after liming.
    pub too_soon: Vec<Date>,
    /// pH against lime and years; or why nothing can be said.
    pub beyond: Result<Beyond, String>,
}

/// A test as the second reading draws it: less what the lime had done by then.
#[derive(Clone, Debug, PartialEq)]
pub struct LessLime {
    pub point: Point,
    /// Since the first test, as pure calcium carbonate.
    pub lime: KgPerHa,
    /// What that moved the pH by.
    pub moved: f64,
    /// The pH, had no lime gone on.
    pub left: f64,
}

impl Limed {
    /// The tests that are read, less what lime did; none where nothing can be said.
    pub fn less_lime(&self, segment: &Segment) -> Vec<LessLime> {
        let Ok(beyond) = &self.beyond else { return vec![] };
        let at = |(at, test): (&usize, &TestAt)| {
            let point = segment.points.get(*at)?.clone();
            let left = beyond.without_net(point.value, test.net_kg_per_ha);
            Some(LessLime { lime: KgPerHa(test.net_kg_per_ha), moved: point.value - left, left, point })
        };
        self.points.iter().zip(&self.tests).filter_map(at).collect()
    }
}

/// pH of a run of tests against the lime since its first: level = start + response × lime + b × years.
pub fn limed(segment: &Segment, limings: &[Liming]) -> Limed {
    let first = segment.points.first().map_or(Date::MAX, |point| point.sampled_on);
    let (mut points, mut tests, mut too_soon) = (vec![], vec![], vec![]);
    for (at, point) in segment.points.iter().enumerate() {
        if limed_before(point.sampled_on, limings).is_some() {
            too_soon.push(point.sampled_on);
            continue;
        }
        let since = limings.iter().filter(|liming| first <= liming.on && liming.on < point.sampled_on);
        points.push(at);
        tests.push(TestAt {
            net_kg_per_ha: since.map(|liming| liming.carbonate.0).sum(),
            years: years_between(first, point.sampled_on),
            found: point.found(),
            sd: match segment.scale {
                Scale::Log => point.value * point.sigma.powi(2).exp_m1().sqrt(),
                Scale::Linear => point.sigma,
            },
        });
    }
    let plain = tests.iter().filter(|test| test.found.is_exact()).count();
    let moved = tests.iter().any(|test| test.net_kg_per_ha != tests[0].net_kg_per_ha);
    let beyond = if !moved {
        Err("No lime is on record between these tests: as tested says all there is.".to_owned())
    } else if plain < TESTS_NEEDED {
        Err(format!(
            "{plain} of these tests can be read, and it takes {TESTS_NEEDED} to tell what lime did from what the years did: \
             only tests of this plot are read for it."
        ))
    } else {
        beyond(&tests, (0.0, 0.0))
            .filter(|beyond| beyond.fitted)
            .ok_or_else(|| "Lime and years went together, so what each did cannot be told apart.".to_owned())
    };
    Limed { points, tests, too_soon, beyond }
}
