//! What may be said of a nutrient's drift, in a grower's words, with the numbers behind.
//!
//! The wording rule: one test says nothing; two are held against the least significant
//! change; three or four can at most say "probably", by the known errors; from five on the
//! known errors and the ranks must both speak for a plain word, one of them alone makes it
//! "possibly". Never says more than the tests can carry, never draws across a change of
//! method, and never counts two extractions of the same soil twice.

use super::{
    Coverage, Found, Fraction, Intercept, KnownErrorLine, MannKendall, Point, Scale, Segment, SlopeInterval, TwoTests,
    Z_90, Z_95, known_error, mann_kendall, sign_of_change, slope_with_limits, theil_sen, two_tests, wording,
    years_between,
};
use crate::agronomy::{
    confidence::TestError,
    record::Qualifier,
    source::Source,
    working::{Figure, Origin, Working},
};
use jiff::civil::Date;

/// Which way.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Direction {
    Rising,
    Falling,
}

impl Direction {
    /// "rising", "falling".
    pub const fn word(self) -> &'static str {
        match self {
            Direction::Rising => "rising",
            Direction::Falling => "falling",
        }
    }

    fn of(change: f64) -> Option<Direction> {
        match change {
            c if c > 0.0 => Some(Direction::Rising),
            c if c < 0.0 => Some(Direction::Falling),
            _ => None,
        }
    }
}

/// How surely.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Strength {
    /// Of known errors and ranks only one says so.
    Possibly,
    /// The known errors say so; too few tests for ranks.
    Probably,
    /// Both say so.
    Plainly,
}

/// The outcome, for sorting and for marks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Finding {
    NoTests,
    /// One test, or none that compares with another.
    OneTest,
    /// Every test is only a limit.
    OnlyLimits,
    CannotTell,
    /// Whatever the change was, one test could not show it.
    Steady,
    Moving(Direction, Strength),
}

/// The slope: percent a year for concentrations, units a year for pH.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct PerYear {
    pub best: f64,
    /// 90 % interval, widened where the tests scatter more than their stated error.
    pub low: f64,
    pub high: f64,
    /// "% a year", or "a year" for pH.
    pub unit: &'static str,
}

/// The middle slope (Theil-Sen) of a verdict's tests.
#[derive(Clone, Debug, PartialEq)]
pub struct MiddleSlope {
    pub best: f64,
    /// At least 90 %, or the widest that so few tests allow with what it covers; `None` with
    /// values below or above a limit.
    pub interval: Option<SlopeInterval>,
    /// "mg/kg a year"; "a year" for pH.
    pub unit: String,
    /// Where the middle line of a single run of plain values stands at its first test, in the unit
    /// of the tests ([`Intercept::OfMiddles`]).
    pub start: Option<f64>,
}

impl MiddleSlope {
    /// The same with levels in another unit, each `factor` times as large.
    pub fn read_in(&self, factor: f64, unit: &str) -> MiddleSlope {
        let interval = self.interval.map(|of| SlopeInterval { low: of.low * factor, high: of.high * factor, ..of });
        let start = self.start.map(|start| start * factor);
        MiddleSlope { best: self.best * factor, interval, unit: a_year(unit), start }
    }

    /// "Middle of all slopes between two tests: −0.253 mg/kg a year (range −0.504 to 0.031, right for 92 of 100 such series)."
    pub fn words(&self) -> String {
        let number = |value: f64| Figure::significant(value, "", 3).to_string().replace('-', "−");
        let interval = self.interval.map_or_else(String::new, |interval| {
            let covers = match interval.coverage {
                Coverage::Exact { achieved, .. } => (achieved.value() * 100.0).floor(),
                Coverage::Normal { nominal_percent } => f64::from(nominal_percent),
            };
            format!(
                " (range {} to {}, right for {covers} of 100 such series)",
                number(interval.low),
                number(interval.high)
            )
        });
        format!("Middle of all slopes between two tests: {} {}{interval}.", number(self.best), self.unit)
    }
}

/// What may be said, and what it rests on.
#[derive(Clone, Debug, PartialEq)]
pub struct Verdict {
    pub finding: Finding,
    /// One sentence for a grower.
    pub words: String,
    /// The levels that the sentence speaks of, as they stand in it.
    pub levels: Vec<Figure>,
    /// Tests (days) that it rests on.
    pub n: usize,
    /// From the first of them to the last.
    pub span_years: f64,
    /// The last of them: day and finding, in the segment's unit.
    pub last: Option<(Date, Found<f64>)>,
    /// `None` where no slope can be had.
    pub per_year: Option<PerYear>,
    /// Two-sided p of the ranks.
    pub p: Option<f64>,
    /// The same as counted, to twenty tests.
    pub exact_p: Option<Fraction>,
    /// The least p that this many tests, with these ties, could ever give.
    pub smallest_possible_p: Option<Fraction>,
    pub ranks: MannKendall,
    pub line: Option<KnownErrorLine>,
    /// For exactly two tests.
    pub two_tests: Option<TwoTests>,
    /// Which of the segments given it rests on, oldest first.
    pub segments: Vec<usize>,
    pub notes: Vec<String>,
}

/// Reads the drift of one analyte of one plot from its segments, as [`super::segments`] gives them.
///
/// Segments that follow one another are read together: a common slope, signs from pairs
/// inside each, nothing across. Of segments that run side by side only the longest counts.
/// What was put on and taken off meanwhile is not accounted for here.
pub fn verdict(segments: &[Segment]) -> Verdict {
    verdict_led_by(segments, |_| false)
}

/// The same, where runs of more than one test that are the ones to trust on this soil go first.
pub fn verdict_led_by(segments: &[Segment], trusted: impl Fn(&Segment) -> bool) -> Verdict {
    let mut verdict = without_notes(segments, trusted);
    let used: Vec<_> = verdict.segments.iter().map(|&index| &segments[index]).collect();
    let points: Vec<_> = used.iter().flat_map(|segment| &segment.points).collect();
    verdict.notes = wording::notes(&verdict, segments, &used, &points);
    verdict
}

/// The same but for its notes, for thousands of plots at once.
pub(super) fn without_notes(segments: &[Segment], trusted: impl Fn(&Segment) -> bool) -> Verdict {
    let chosen = follow_on(segments, trusted);
    let used: Vec<_> = chosen.iter().map(|&index| &segments[index]).collect();
    let points: Vec<_> = used.iter().flat_map(|segment| &segment.points).collect();
    let ranks = mann_kendall(&used.iter().map(|segment| segment.ranks()).collect::<Vec<_>>());
    let plain = points.iter().any(|point| point.qualifier == Qualifier::Exact);
    let line = known_error(&used.iter().map(|segment| segment.weighed()).collect::<Vec<_>>());
    let scale = used.first().map_or(Scale::Log, |segment| segment.scale);
    let (first, last) = (points.first().copied(), points.last().copied());
    let span_years = match (first, last) {
        (Some(first), Some(last)) => years_between(first.sampled_on, last.sampled_on),
        _ => 0.0,
    };
    let two_tests = match points[..] {
        [a, b] => two_tests(scale, (a.value, a.sigma), (b.value, b.sigma), Z_95),
        _ => None,
    };
    let mut verdict = Verdict {
        finding: Finding::CannotTell,
        words: String::new(),
        levels: vec![],
        n: points.len(),
        span_years,
        last: last.map(|point| (point.sampled_on, point.found())),
        per_year: line.as_ref().filter(|_| plain).and_then(|line| per_year(line, scale)),
        p: ranks.p(),
        exact_p: ranks.exact.map(|exact| exact.two_sided),
        smallest_possible_p: ranks.exact.map(|exact| exact.smallest_two_sided),
        ranks,
        line,
        two_tests,
        segments: chosen,
        notes: vec![],
    };
    verdict.finding = match (first, last) {
        _ if points.is_empty() => Finding::NoTests,
        _ if points.len() == 1 => Finding::OneTest,
        _ if !plain => Finding::OnlyLimits,
        (Some(first), Some(last)) if points.len() == 2 => verdict.by_two_tests(first, last),
        (Some(first), Some(last)) => verdict.by_line_and_ranks(first, last, used.len()),
        _ => Finding::NoTests,
    };
    verdict.words = wording::words(&verdict, segments, &used, &points);
    verdict.levels = wording::levels(&verdict, &used, &points);
    verdict
}

/// The segments to be read together, oldest first: a trusted one, else the longest, and every other of two or
/// more points that lies wholly before or after those already taken. Where nothing compares,
/// the one tested last.
fn follow_on(segments: &[Segment], trusted: impl Fn(&Segment) -> bool) -> Vec<usize> {
    let ends = |index: usize| {
        let points = &segments[index].points;
        (points.first().map(|point| point.sampled_on), points.last().map(|point| point.sampled_on))
    };
    let mut order: Vec<_> = (0..segments.len()).filter(|&index| !segments[index].points.is_empty()).collect();
    order.sort_by_key(|&index| {
        let tests = segments[index].points.len();
        let leads = tests > 1 && trusted(&segments[index]);
        (std::cmp::Reverse(leads), std::cmp::Reverse(tests), std::cmp::Reverse(ends(index).1))
    });
    let mut taken: Vec<usize> = vec![];
    for index in order {
        let (from, to) = ends(index);
        let apart = |other: &usize| ends(*other).1 < from || to < ends(*other).0;
        let same = |other: &usize| segments[*other].analyte == segments[index].analyte;
        if taken.is_empty() || (segments[index].points.len() > 1 && taken.iter().all(|o| apart(o) && same(o))) {
            taken.push(index);
        }
    }
    taken.sort_by_key(|&index| ends(index).0);
    taken
}

impl Verdict {
    /// Two tests: beyond the least significant change at 95 %, and never on a limit's bare word.
    fn by_two_tests(&self, first: &Point, last: &Point) -> Finding {
        let sure = sign_of_change(first.found(), last.found());
        match &self.two_tests {
            Some(change) if change.significant && sure as f64 * change.change > 0.0 => {
                Direction::of(change.change).map_or(Finding::CannotTell, |way| Finding::Moving(way, Strength::Probably))
            }
            _ => Finding::CannotTell,
        }
    }

    /// Three tests and more. Each segment beyond the first costs the level that is fitted for it.
    fn by_line_and_ranks(&self, first: &Point, last: &Point, segments: usize) -> Finding {
        let by_line = self.line.as_ref().filter(|line| line.excludes_zero()).and_then(|line| Direction::of(line.slope));
        if self.n < 5 + segments.saturating_sub(1) {
            return by_line.map_or(Finding::CannotTell, |way| Finding::Moving(way, Strength::Probably));
        }
        let by_ranks = Direction::of(self.ranks.s as f64).filter(|_| self.ranks.p_at_most_percent(10));
        match (by_line, by_ranks) {
            (Some(line), Some(ranks)) if line == ranks => Finding::Moving(line, Strength::Plainly),
            (Some(_), Some(_)) => Finding::CannotTell,
            (Some(way), None) | (None, Some(way)) => Finding::Moving(way, Strength::Possibly),
            (None, None) => {
                let one_test_shows = Z_90 * first.sigma.hypot(last.sigma);
                let within = |line: &KnownErrorLine| {
                    let (low, high) = line.interval_90();
                    low.abs().max(high.abs()) * self.span_years <= one_test_shows
                };
                if self.line.as_ref().is_some_and(within) { Finding::Steady } else { Finding::CannotTell }
            }
        }
    }

    /// The middle of all slopes between two tests, in the unit of the tests: a second reading
    /// that one wild test cannot pull. Worked out when asked for, since pairs are many.
    /// `segments` are those the verdict was read from; runs in two units have no middle slope.
    pub fn middle_slope(&self, segments: &[Segment]) -> Option<MiddleSlope> {
        let used: Vec<_> = self.segments.iter().filter_map(|&index| segments.get(index)).collect();
        let unit = used.first()?.unit;
        if used.iter().any(|segment| segment.unit != unit) {
            return None;
        }
        let unit = a_year(unit);
        let per_segment = |segment: &Segment| -> Vec<(f64, Found<f64>)> {
            segment.years().into_iter().zip(segment.points.iter().map(Point::found)).collect()
        };
        let points: Vec<_> = used.into_iter().map(per_segment).collect();
        if points.iter().flatten().any(|(_, found)| !found.is_exact()) {
            let (low, high) = slope_with_limits(&points)?;
            return Some(MiddleSlope { best: (low + high) / 2.0, interval: None, unit, start: None });
        }
        let plain = |segment: Vec<(f64, Found<f64>)>| segment.into_iter().map(|(t, y)| (t, y.number())).collect();
        let points: Vec<Vec<(f64, f64)>> = points.into_iter().map(plain).collect();
        let fit = theil_sen(&points)?;
        let start = match &points[..] {
            [run] => Intercept::OfMiddles.of(fit.slope, run),
            _ => None,
        };
        Some(MiddleSlope { best: fit.slope, interval: fit.interval(90).or_else(|| fit.widest_interval()), unit, start })
    }

    /// The derivation of the slope down to the printed cells; `None` where there is no slope.
    /// `segments` are those the verdict was read from.
    pub fn working(&self, segments: &[Segment]) -> Option<Working> {
        let (line, per_year) = (self.line.as_ref()?, self.per_year?);
        let used: Vec<_> = self.segments.iter().filter_map(|&index| segments.get(index)).collect();
        let head = used.first()?;
        let points = used.iter().flat_map(|segment| segment.points.iter().map(|point| point_working(segment, point)));
        let mut errors =
            vec![error_working("Error of one test (standard deviation)", head.error.one_test, head.error.source)];
        if used.iter().flat_map(|segment| &segment.points).any(|point| point.other_lab) {
            let (added, source) = (head.error.between_labs, head.error.between_labs_source);
            errors.push(error_working("Added, in quadrature, for a test by another lab", added, source));
        }
        let of = match head.scale {
            Scale::Log => "the logarithm of the value",
            Scale::Linear => "the value",
        };
        let back = match head.scale {
            Scale::Log => format!("; 100 × (e^{:.5} − 1) = {:.2} % a year", line.slope, per_year.best),
            Scale::Linear => String::new(),
        };
        let formula = format!("Slope of {of} on years, each test weighted by 1/σ²: {:.5}{back}", line.slope);
        let figure = match head.scale {
            Scale::Log => Figure::new(per_year.best, per_year.unit, 1),
            Scale::Linear => Figure::significant(per_year.best, per_year.unit, 2),
        };
        let title = format!("{}: change by the tests", head.analyte.name());
        let mut working = Working::step(title, figure, formula, points.chain(errors));
        working = working.note(format!(
            "Standard error {:.5} from the stated errors, widened {:.2} times; 90 % range {:.2} to {:.2} {}.",
            line.se_slope, line.birge, per_year.low, per_year.high, per_year.unit
        ));
        if used.len() > 1 {
            working = working.note("One slope for all runs of tests, a level of its own for each.");
        }
        Some(working)
    }
}

/// The unit of a slope whose levels are in this one.
fn a_year(unit: &str) -> String {
    if unit.is_empty() { "a year".to_owned() } else { format!("{unit} a year") }
}

fn error_working(title: &str, error: TestError, source: Source) -> Working {
    let figure = match error {
        TestError::Relative(cv) => Figure::new(cv * 100.0, "%", 0),
        TestError::Absolute(sd) => Figure::new(sd, "", 2),
    };
    Working::leaf(title, figure, Origin::Published).cite(source)
}

fn point_working(segment: &Segment, point: &Point) -> Working {
    let figure = |value, qualifier: Qualifier| Figure {
        sign: qualifier.sign().to_owned(),
        ..Figure::new(value, segment.unit, segment.decimals)
    };
    let title = format!("{} on {}", segment.analyte.name(), point.sampled_on);
    let leaves = point.cells.iter().zip(&point.values).map(|(cell, value)| {
        Working::leaf(
            title.clone(),
            figure(*value, if point.cells.len() == 1 { point.qualifier } else { Qualifier::Exact }),
            Origin::Cell(*cell),
        )
    });
    let mut leaves: Vec<_> = leaves.collect();
    if leaves.len() == 1 {
        return leaves.remove(0);
    }
    let mean =
        if segment.scale == Scale::Log { "Geometric mean of the day's tests" } else { "Mean of the day's tests" };
    Working::step(title, figure(point.value, point.qualifier), mean, leaves)
}

/// `None` where the tests do not bound the change: an interval wider than tenfold a year
/// (or 10 pH units) says nothing that is worth printing.
fn per_year(line: &KnownErrorLine, scale: Scale) -> Option<PerYear> {
    let (low, high) = line.interval_90();
    let bound = if scale == Scale::Log { 10f64.ln() } else { 10.0 };
    if !(low.abs() <= bound && high.abs() <= bound) {
        return None;
    }
    Some(on_paper(line.slope, (low, high), scale))
}

/// A slope and its range on the scale, as a person reads them.
pub(super) fn on_paper(slope: f64, (low, high): (f64, f64), scale: Scale) -> PerYear {
    let back = |slope: f64| match scale {
        Scale::Log => 100.0 * slope.exp_m1(),
        Scale::Linear => slope,
    };
    let unit = match scale {
        Scale::Log => "% a year",
        Scale::Linear => "a year",
    };
    PerYear { best: back(slope), low: back(low), high: back(high), unit }
}
