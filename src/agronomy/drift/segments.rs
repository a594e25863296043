//! Which tests of a plot may be compared: runs of one analyte by one method, on one basis,
//! from one depth band. Tests of one day become one point. Nothing ever joins two
//! segments; where they part is said in words.

use super::{ErrorSettings, Found, Scale, TypicalError, Weighed, Z_90, years_between};
use crate::agronomy::{
    analyte::Analyte,
    confidence::TestError,
    method::Method,
    reading::{Level, Reading},
    record::{CellKey, DepthBand, Qualifier},
    working::{Figure, Origin, Working},
};
use jiff::civil::Date;
use smallvec::SmallVec;
use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

/// Tests that may be compared with each other, oldest first.
#[derive(Clone, Debug, PartialEq)]
pub struct Segment {
    pub analyte: Analyte,
    pub method: Method,
    /// Unit of every value in it; empty for pH.
    pub unit: &'static str,
    /// `None`: no depth was recorded, so these compare only with each other.
    pub depth: Option<DepthBand>,
    pub scale: Scale,
    /// The error of one test that the points carry.
    pub error: TypicalError,
    /// The most decimals that any of its tests was printed with, at this unit.
    pub decimals: u8,
    /// By date, no two on one day.
    pub points: Vec<Point>,
    /// Tests that could not become points, each with why.
    pub left_out: Vec<LeftOut>,
    /// What to know about the segment as a whole.
    pub notes: Vec<String>,
}

/// What nearly always is one, and then needs no place of its own in memory.
pub type Few<T> = SmallVec<[T; 1]>;

/// One day's finding.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    pub sampled_on: Date,
    /// The date is a guess.
    pub date_assumed: bool,
    /// The value, or the limit where `qualifier` is one. Mean of the day's tests:
    /// geometric for concentrations, plain for pH.
    pub value: f64,
    /// [`Qualifier::Exact`], [`Qualifier::Below`] or [`Qualifier::Above`].
    pub qualifier: Qualifier,
    /// Standard deviation on the segment's scale.
    pub sigma: f64,
    /// Tests of that day behind the point.
    pub replicates: usize,
    /// Of those, the ones that count as separate evidence: repeats of one figure count once.
    pub independent: usize,
    /// Draws of soil behind those: several samplings of one day share no error of sampling.
    pub draws: usize,
    /// Labs that printed them, "" where not recorded; shared by points of the same labs.
    pub labs: Arc<BTreeSet<String>>,
    /// From another lab than most of its segment, and the wider for it.
    pub other_lab: bool,
    pub cells: Few<CellKey>,
    /// What each of `cells` says, in their order.
    pub values: Few<f64>,
}

/// A test that no trend can use.
#[derive(Clone, Debug, PartialEq)]
pub struct LeftOut {
    pub sampled_on: Date,
    pub cell: CellKey,
    pub why: String,
}

/// Where one segment ends and the next begins: no line crosses it.
#[derive(Clone, Debug, PartialEq)]
pub struct Break {
    /// Index of the segment before.
    pub before: usize,
    /// Index of the segment after.
    pub after: usize,
    /// Last test before.
    pub last: Date,
    /// First test after.
    pub first: Date,
    /// "Depth changed from 0–18 cm to 0–23 cm in 1971".
    pub words: String,
}

impl Point {
    /// The finding as a number or a limit.
    pub fn found(&self) -> Found<f64> {
        match self.qualifier {
            Qualifier::Below => Found::Below(self.value),
            Qualifier::Above => Found::Above(self.value),
            Qualifier::Exact | Qualifier::NotDetected => Found::Exact(self.value),
        }
    }

    /// Ends of the 90 % error bar, in the unit of the value; `None` where a limit leaves one open.
    pub fn error_bar(&self, scale: Scale) -> (Option<f64>, Option<f64>) {
        let at = |deviations: f64| Some(scale.take(scale.put(self.value) + deviations * self.sigma));
        match self.qualifier {
            Qualifier::Below => (None, Some(self.value)),
            Qualifier::Above => (Some(self.value), None),
            _ => (at(-Z_90), at(Z_90)),
        }
    }
}

impl Segment {
    /// Years from its first point to its last; 0 with fewer than two.
    pub fn span_years(&self) -> f64 {
        match (self.points.first(), self.points.last()) {
            (Some(first), Some(last)) => years_between(first.sampled_on, last.sampled_on),
            _ => 0.0,
        }
    }

    /// Years of each point since the first.
    pub fn years(&self) -> Vec<f64> {
        self.points.iter().map(|point| years_between(self.points[0].sampled_on, point.sampled_on)).collect()
    }

    /// What the segment holds: "Olsen (bicarbonate), mg/kg, 0–23 cm".
    pub fn label(&self) -> String {
        self.label_in(self.unit)
    }

    /// The same where its levels are read in another unit.
    pub fn label_in(&self, unit: &str) -> String {
        let mut label = self.method.label().to_owned();
        if !unit.is_empty() {
            label += &format!(", {unit}");
        }
        match self.depth {
            Some(depth) => label += &format!(", {depth}"),
            None => label += ", depth not recorded",
        }
        label
    }

    /// The findings as whole numbers of the last printed digit (one digit more where a day
    /// is an average), so that float noise makes and breaks no tie.
    pub fn ranks(&self) -> Vec<Found<i64>> {
        let averaged = self.points.iter().any(|point| point.replicates > 1);
        let decimals = self.decimals + u8::from(averaged);
        self.points.iter().map(|point| point.found().map(|value| last_digits(value, decimals))).collect()
    }

    /// The findings on the segment's scale with their errors, as the known-error line takes them.
    pub fn weighed(&self) -> Vec<Weighed> {
        let on_scale = |point: &Point| point.found().map(|value| self.scale.put(value));
        let weighed = |(point, years): (&Point, f64)| Weighed { years, found: on_scale(point), sigma: point.sigma };
        self.points.iter().zip(self.years()).map(weighed).collect()
    }

    /// Whether any of its points is only a limit.
    pub fn has_limits(&self) -> bool {
        self.points.iter().any(|point| point.qualifier != Qualifier::Exact)
    }
}

/// One test as far as drift goes: a reading without its working.
#[derive(Clone, Copy, Debug)]
pub struct Test<'a> {
    pub analyte: Analyte,
    pub method: &'a Method,
    pub level: Level,
    pub qualifier: Qualifier,
    pub decimals: u8,
    pub sampled_on: Date,
    pub depth: Option<DepthBand>,
    pub lab: &'a str,
    /// The caller's key of the sampling that it is from.
    pub sampling: i64,
    pub cell: CellKey,
}

impl<'a> From<&'a Reading> for Test<'a> {
    fn from(reading: &'a Reading) -> Self {
        Test {
            analyte: reading.analyte,
            method: &reading.method,
            level: reading.level,
            qualifier: reading.qualifier,
            decimals: reading.decimals,
            sampled_on: reading.sampled_on,
            depth: reading.depth,
            lab: &reading.lab,
            sampling: reading.sampling,
            cell: reading.cell,
        }
    }
}

/// What must be equal for two tests to be comparable. Depth in whole millimetres.
type Key<'a> = (Analyte, &'a Method, &'static str, Option<(i64, i64)>);

impl<'a> Test<'a> {
    /// As the rules of a guideline take it; its working goes no further than its number.
    pub fn bare_reading(&self) -> Reading {
        Reading {
            analyte: self.analyte,
            method: self.method.clone(),
            level: self.level,
            qualifier: self.qualifier,
            decimals: self.decimals,
            sampled_on: self.sampled_on,
            depth: self.depth,
            lab: self.lab.to_owned(),
            sampling: self.sampling,
            cell: self.cell,
            working: Working::leaf(
                self.analyte.name(),
                Figure::new(self.level.number(), self.level.unit(), self.decimals),
                Origin::Cell(self.cell),
            ),
        }
    }

    fn key(&self) -> Key<'a> {
        let millimetres = |cm: f64| (cm * 10.0).round() as i64;
        let depth = self.depth.map(|band| (millimetres(band.top.0), millimetres(band.bottom.0)));
        (self.analyte, self.method, self.level.unit(), depth)
    }
}

/// Sorts the readings of one plot into segments, oldest first.
///
/// Readings may come in any order and of any analyte; a cell given twice counts once.
/// `assumed_dates` are the days that were guessed. A printed 0 and a "not detected"
/// without a limit are left out, with the reason.
pub fn segments(readings: &[Reading], assumed_dates: &BTreeSet<Date>, errors: &ErrorSettings) -> Vec<Segment> {
    segments_of(readings.iter().map(Test::from), assumed_dates, errors)
}

/// The same from bare tests, for thousands of plots at once.
pub fn segments_of<'a>(
    tests: impl IntoIterator<Item = Test<'a>>,
    assumed_dates: &BTreeSet<Date>,
    errors: &ErrorSettings,
) -> Vec<Segment> {
    let mut runs: Vec<(Key<'a>, Vec<Test<'a>>)> = Vec::new();
    let mut next = 0;
    for test in tests {
        let key = test.key();
        // Sheets list much the same in much the same order: the run that follows the last is tried first.
        let known = (next..runs.len()).chain(0..next.min(runs.len())).find(|&at| runs[at].0 == key);
        let at = known.unwrap_or_else(|| {
            runs.push((key, Vec::new()));
            runs.len() - 1
        });
        runs[at].1.push(test);
        next = at + 1;
    }
    runs.sort_by(|a, b| a.0.cmp(&b.0));
    for (_, run) in &mut runs {
        // Stable, so that the tests of a day stay in the order given.
        run.sort_by_key(|test| test.sampled_on);
    }
    let mut found: Vec<_> = runs.iter().filter_map(|(_, run)| segment(run, assumed_dates, errors)).collect();
    // Stable, so that segments that begin on one day stay in the order of their keys.
    found.sort_by_key(|segment| segment.points.first().map_or(Date::MAX, |point| point.sampled_on));
    found
}

/// One run of tests, by date.
fn segment(run: &[Test<'_>], assumed_dates: &BTreeSet<Date>, errors: &ErrorSettings) -> Option<Segment> {
    let first = run.first()?;
    let scale = Scale::of(first.analyte);
    let home = home_lab(run.iter());
    let error = errors.of_lab(first.analyte, &home);
    let at_home = Deviations::of(&error, scale);
    let mut segment = Segment {
        analyte: first.analyte,
        method: first.method.clone(),
        unit: first.level.unit(),
        depth: first.depth,
        scale,
        error,
        decimals: run.iter().map(|test| test.decimals).max().unwrap_or(0),
        points: Vec::with_capacity(run.len()),
        left_out: vec![],
        notes: vec![],
    };
    let mut labs = Arc::default();
    for day in run.chunk_by(|a, b| a.sampled_on == b.sampled_on) {
        let tests: Few<&Test<'_>> = day
            .iter()
            .enumerate()
            .filter(|(at, test)| !day[..*at].iter().any(|before| before.cell == test.cell))
            .map(|(_, test)| test)
            .collect();
        let usable = sift(&tests, scale, &mut segment.left_out);
        let Some(mut point) = mean_of_day(&usable, scale, &mut labs) else { continue };
        point.date_assumed = assumed_dates.contains(&point.sampled_on);

        let other_lab = |lab: &String| !lab.is_empty() && *lab != home;
        point.other_lab = point.labs.iter().any(other_lab);
        point.sigma = match point.labs.first().filter(|lab| **lab != home) {
            Some(lab) => Deviations::of(&errors.of_lab(first.analyte, lab), scale),
            None => at_home,
        }
        .of_point(&point);
        segment.points.push(point);
    }
    if segment.points.iter().any(|point| point.replicates > 1) {
        segment.notes.push(format!(
            "Tests of one day are averaged into one point ({}).",
            if scale == Scale::Log { "geometric mean" } else { "plain mean" }
        ));
    }
    if segment.points.iter().any(|point| point.other_lab) {
        segment.notes.push(format!(
            "More than one lab: points not from {home} carry a wider error ({} more, in quadrature).",
            error.between_labs.words()
        ));
    }
    if segment.points.iter().any(|point| point.date_assumed) {
        segment.notes.push("Some sampling dates were not written down and are assumed.".into());
    }
    if segment.depth.is_none() {
        segment.notes.push("Depth not recorded: these tests are compared only with each other.".into());
    }
    if error.is_own() {
        segment.notes.push(format!("The error of one test, {}, was set by this site.", error.one_test.words()));
    }
    Some(segment)
}

/// The errors of a test on the scale of its segment. An error that is alike at every level there
/// is reckoned once for all tests.
#[derive(Clone, Copy)]
struct Deviations {
    one_test: Deviation,
    laboratory: Deviation,
    between_labs: Deviation,
}

impl Deviations {
    fn of(error: &TypicalError, scale: Scale) -> Deviations {
        let of = |error| Deviation::of(error, scale);
        Deviations {
            one_test: of(error.one_test),
            laboratory: of(error.laboratory),
            between_labs: of(error.between_labs),
        }
    }

    /// Of the mean of a day: σ² = σ²(sampling) ÷ samplings + σ²(laboratory) ÷ tests. Tests of one
    /// sampling share its error.
    fn of_point(self, point: &Point) -> f64 {
        let whole = self.one_test.at(point.value).powi(2);
        let lab = self.laboratory.at(point.value).powi(2).min(whole);
        let between = if point.other_lab { self.between_labs.at(point.value).powi(2) } else { 0.0 };
        ((whole - lab) / point.draws as f64 + lab / point.independent as f64 + between).sqrt()
    }
}

/// One standard deviation on a scale.
#[derive(Clone, Copy)]
enum Deviation {
    /// The same at every level.
    Alike(f64),
    ByLevel(TestError, Scale),
}

impl Deviation {
    fn of(error: TestError, scale: Scale) -> Deviation {
        match (error, scale) {
            (TestError::Relative(_), Scale::Log) | (TestError::Absolute(_), Scale::Linear) => {
                Deviation::Alike(error.sigma(scale, 1.0))
            }
            _ => Deviation::ByLevel(error, scale),
        }
    }

    fn at(self, value: f64) -> f64 {
        match self {
            Deviation::Alike(sigma) => sigma,
            Deviation::ByLevel(error, scale) => error.sigma(scale, value),
        }
    }
}

/// The lab with most of the tests; of equals, the one used last. Empty where none is recorded.
fn home_lab<'a>(tests: impl Iterator<Item = &'a Test<'a>>) -> String {
    let mut labs: BTreeMap<&str, (usize, Date)> = BTreeMap::new();
    for test in tests.filter(|test| !test.lab.is_empty()) {
        let entry = labs.entry(test.lab).or_insert((0, test.sampled_on));
        *entry = (entry.0 + 1, entry.1.max(test.sampled_on));
    }
    labs.into_iter().max_by_key(|(_, weight)| *weight).map_or_else(String::new, |(lab, _)| lab.to_owned())
}

/// Why a trend cannot use a test.
fn unusable(test: &Test<'_>, scale: Scale) -> Option<&'static str> {
    let value = test.level.number();
    Some(if test.qualifier == Qualifier::NotDetected {
        "not detected, and the lab printed no limit"
    } else if !value.is_finite() {
        "not a number"
    } else if scale == Scale::Log && value < 0.0 {
        "below zero, which no soil is"
    } else if scale == Scale::Log && value == 0.0 {
        "printed as 0, which is a limit that the lab does not name"
    } else {
        return None;
    })
}

/// Of the day's tests those that a trend can use; the others are added to `left_out`.
fn sift<'a, 'b>(tests: &[&'a Test<'b>], scale: Scale, left_out: &mut Vec<LeftOut>) -> Few<&'a Test<'b>> {
    let mut leave = |test: &Test<'_>, why: &str| {
        left_out.push(LeftOut { sampled_on: test.sampled_on, cell: test.cell, why: why.into() });
    };
    let mut usable = Few::new();
    for &test in tests {
        match unusable(test, scale) {
            Some(why) => leave(test, why),
            None => usable.push(test),
        }
    }
    let has = |sign| usable.iter().any(|test: &&Test<'_>| test.qualifier == sign);
    if has(Qualifier::Below) && has(Qualifier::Above) {
        let (plain, limits): (Few<_>, Few<_>) = usable.into_iter().partition(|test| test.qualifier == Qualifier::Exact);
        limits.into_iter().for_each(|test| leave(test, "on one day both below one limit and above another"));
        usable = plain;
    }
    usable
}

/// One point from the tests of one day. Where any of them is a limit so is the mean: with
/// the limits put in, it is the most (or the least) that the true mean can be. `labs` are
/// those of the day before, kept where they are the same.
fn mean_of_day(tests: &[&Test<'_>], scale: Scale, labs: &mut Arc<BTreeSet<String>>) -> Option<Point> {
    let sampled_on = tests.first()?.sampled_on;
    let (value, independent, draws) = match tests {
        [only] => (only.level.number(), 1, 1), // not through the logarithm and back
        _ => {
            let sum: f64 = tests.iter().map(|test| scale.put(test.level.number())).sum();
            let distinct: BTreeSet<_> =
                tests.iter().map(|test| (test.qualifier, last_digits(test.level.number(), test.decimals))).collect();
            let samplings: BTreeSet<_> = tests.iter().map(|test| test.sampling).collect();
            // One figure under two samplings may be the whole plot's, written down twice.
            let draws = samplings.len().min(distinct.len());
            (scale.take(sum / tests.len() as f64), distinct.len(), draws)
        }
    };
    let same = tests.iter().all(|test| labs.contains(test.lab))
        && labs.iter().all(|lab| tests.iter().any(|test| test.lab == lab));
    if !same {
        *labs = Arc::new(tests.iter().map(|test| test.lab.to_owned()).collect());
    }
    Some(Point {
        sampled_on,
        date_assumed: false,
        value,
        qualifier: tests.iter().map(|test| test.qualifier).find(|q| *q != Qualifier::Exact).unwrap_or_default(),
        sigma: 0.0,
        replicates: tests.len(),
        independent,
        draws,
        labs: labs.clone(),
        other_lab: false,
        cells: tests.iter().map(|test| test.cell).collect(),
        values: tests.iter().map(|test| test.level.number()).collect(),
    })
}

/// A value as a whole number of its last printed digit.
fn last_digits(value: f64, decimals: u8) -> i64 {
    (value * 10f64.powi(decimals.into())).round() as i64
}

/// Where the segments of one analyte part, in words, by the date of the segment after.
///
/// The segment before is the one that differs least, then the one that ended last. A
/// method that begins while another goes on runs beside it, and parts from nothing.
pub fn breaks(segments: &[Segment]) -> Vec<Break> {
    let ends = |segment: &Segment| Some((segment.points.first()?.sampled_on, segment.points.last()?.sampled_on));
    let mut found = vec![];
    for (after, next) in segments.iter().enumerate() {
        let Some((first, _)) = ends(next) else { continue };
        let others = || segments.iter().enumerate().filter(|(_, other)| other.analyte == next.analyte);
        let beside = others().any(|(_, other)| ends(other).is_some_and(|(from, to)| from < first && first <= to));
        let known =
            others().any(|(_, other)| other.method == next.method && ends(other).is_some_and(|(_, to)| to < first));
        // Beside a method that goes on, a new one took the place of a method that was given up before.
        let given_up = |earlier: &Segment| {
            let later =
                |other: &Segment| other.method == earlier.method && ends(other).is_some_and(|(_, to)| to >= first);
            !known && !others().any(|(_, other)| later(other))
        };
        let before = others()
            .filter_map(|(index, earlier)| Some((index, earlier, ends(earlier)?.1)))
            .filter(|(_, earlier, last)| {
                *last < first && (!beside || earlier.method == next.method || given_up(earlier))
            })
            .min_by_key(|(_, earlier, last)| (changes(earlier, next).len(), Reverse(*last)));
        if let Some((before, earlier, last)) = before {
            let mut words = format!("{} in {}", sentence(&changes(earlier, next).join("; ")), first.year());
            // Of two methods that run side by side on one soil each has breaks of its own.
            let at_once = |one: &Segment, other: &Segment| match (ends(one), ends(other)) {
                (Some((from, to)), Some((begun, done))) => from <= done && begun <= to,
                _ => false,
            };
            let aside =
                |other: &Segment| other.method != next.method && (at_once(other, earlier) || at_once(other, next));
            if earlier.method == next.method && others().any(|(_, other)| aside(other)) {
                words = format!("{words} ({})", next.method);
            }
            found.push(Break { before, after, last, first, words });
        }
    }
    found
}

/// What differs between two segments, in words.
fn changes(from: &Segment, to: &Segment) -> Vec<String> {
    let mut changes = vec![];
    if from.method != to.method {
        changes.push(format!("method changed from {} to {}", from.method, to.method));
    }
    if from.unit != to.unit {
        changes.push(format!("unit changed from {} to {}", from.unit, to.unit));
    }
    match (from.depth, to.depth) {
        (Some(old), Some(new)) if old != new => changes.push(format!("depth changed from {old} to {new}")),
        (Some(old), None) => changes.push(format!("depth no longer recorded (it was {old})")),
        (None, Some(new)) => changes.push(format!("depth recorded from here on ({new})")),
        _ => {}
    }
    changes
}

fn sentence(words: &str) -> String {
    let mut letters = words.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}
