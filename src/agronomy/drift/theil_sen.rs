//! The Theil-Sen slope: the median of the slopes between tests, with an interval whose
//! coverage is counted and not assumed. Slopes come only from pairs inside a segment.
//! Never claims a coverage that so few tests cannot reach.

use super::{Found, Fraction, mann_kendall::UntiedLaw};
use statrs::function::erf::erfc_inv;
use std::f64::consts::SQRT_2;

/// The slope, per year, in the unit of the values.
#[derive(Clone, Debug, PartialEq)]
pub struct TheilSen {
    pub slope: f64,
    /// Every slope between two tests of one segment, least first.
    pub slopes: Vec<f64>,
    /// Findings in each segment that gave slopes.
    sizes: Vec<usize>,
    /// Variance of S, ties taken into account, for the normal form.
    variance: f64,
    /// Every pair gave a slope; where two findings share a time there is no exact law.
    complete: bool,
}

/// An interval for the slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SlopeInterval {
    pub low: f64,
    pub high: f64,
    pub coverage: Coverage,
}

/// How surely an interval covers the true slope.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Coverage {
    /// Counted; `rank` is the place of the low end among the slopes, from 1.
    Exact { achieved: Fraction, rank: usize },
    /// As asked, by the normal form.
    Normal { nominal_percent: u8 },
}

/// The median of pairwise slopes inside each segment. Points are (years, value), in any
/// order. `None` where no segment has two points at different times.
///
/// Theil 1950; Sen 1968, J. Am. Stat. Assoc. 63:1379; over segments, Hirsch, Slack & Smith 1982.
pub fn theil_sen(segments: &[Vec<(f64, f64)>]) -> Option<TheilSen> {
    let mut slopes = vec![];
    let mut sizes = vec![];
    let mut variance = 0.0;
    let mut pairs = 0;
    for segment in segments.iter().filter(|segment| segment.len() > 1) {
        sizes.push(segment.len());
        variance += variance_of_s(segment.iter().map(|(_, value)| *value).collect());
        for (i, (t1, y1)) in segment.iter().enumerate() {
            for (t2, y2) in &segment[i + 1..] {
                slopes.push((y2 - y1) / (t2 - t1));
                pairs += 1;
            }
        }
    }
    slopes.retain(|slope| slope.is_finite());
    slopes.sort_by(f64::total_cmp);
    Some(TheilSen { slope: median(&slopes)?, complete: slopes.len() == pairs, slopes, sizes, variance })
}

/// Which level the middle line of one segment stands at in year 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Intercept {
    /// The middle of the values less the slope times the middle of the years (after Conover).
    OfMiddles,
    /// The middle of what is left of the values once the slope is taken off.
    OfResiduals,
}

impl Intercept {
    /// The level at year 0, in the unit of the values. Points are (years, value); `None` without any.
    pub fn of(self, slope: f64, points: &[(f64, f64)]) -> Option<f64> {
        let middle = |of: &dyn Fn(&(f64, f64)) -> f64| {
            let mut all: Vec<f64> = points.iter().map(of).collect();
            all.sort_by(f64::total_cmp);
            median(&all)
        };
        match self {
            Intercept::OfMiddles => Some(middle(&|point| point.1)? - slope * middle(&|point| point.0)?),
            Intercept::OfResiduals => middle(&|point| point.1 - slope * point.0),
        }
    }
}

impl TheilSen {
    /// The narrowest interval of matching slopes that covers at least this share, 0 to 100.
    ///
    /// To twenty tests from the exact law (Hollander & Wolfe 1999, section 9.3; Helsel et al.
    /// 2020, USGS TM 4-A3): `None` where even the widest does not reach it, as for 95 % with
    /// four tests. Beyond twenty, Gilbert's normal form (1987, pp. 217-218).
    pub fn interval(&self, nominal_percent: u8) -> Option<SlopeInterval> {
        if !self.complete {
            return None;
        }
        let Some(law) = UntiedLaw::new(&self.sizes) else { return self.normal_interval(nominal_percent) };
        let count = self.slopes.len();
        let achieved = |rank: usize| law.coverage_within((count - 2 * (rank - 1)) as i64);
        // Coverage falls as the rank rises: halve the ranks until the last good one is found.
        let (mut good, mut bad) = (0, count / 2 + 1);
        while bad - good > 1 {
            let middle = (good + bad) / 2;
            if achieved(middle).at_least_percent(nominal_percent) { good = middle } else { bad = middle }
        }
        (good > 0).then(|| SlopeInterval {
            low: self.slopes[good - 1],
            high: self.slopes[count - good],
            coverage: Coverage::Exact { achieved: achieved(good), rank: good },
        })
    }

    /// The interval between the least and the greatest slope, with what it covers.
    pub fn widest_interval(&self) -> Option<SlopeInterval> {
        let achieved = UntiedLaw::new(&self.sizes)?.coverage_within(self.slopes.len() as i64);
        let (low, high) = (*self.slopes.first()?, *self.slopes.last()?);
        self.complete.then_some(SlopeInterval { low, high, coverage: Coverage::Exact { achieved, rank: 1 } })
    }

    fn normal_interval(&self, nominal_percent: u8) -> Option<SlopeInterval> {
        let count = self.slopes.len() as f64;
        // z with this share of a normal law within ±z: 1.96 for 95 %.
        let z = SQRT_2 * erfc_inv(1.0 - f64::from(nominal_percent) / 100.0);
        let half = z * self.variance.sqrt();
        let low = order_statistic(&self.slopes, (count - half) / 2.0)?;
        let high = order_statistic(&self.slopes, (count + half) / 2.0 + 1.0)?;
        Some(SlopeInterval { low, high, coverage: Coverage::Normal { nominal_percent } })
    }
}

/// [n(n-1)(2n+5) - Σ t(t-1)(2t+5)] / 18 over groups of t equal values.
fn variance_of_s(mut values: Vec<f64>) -> f64 {
    let term = |count: usize| {
        let count = count as f64;
        count * (count - 1.0) * (2.0 * count + 5.0) / 18.0
    };
    values.sort_by(f64::total_cmp);
    term(values.len()) - values.chunk_by(|a, b| a == b).map(|equals| term(equals.len())).sum::<f64>()
}

/// The value at a place among sorted values, from 1, straight between neighbours; `None` outside.
fn order_statistic(sorted: &[f64], place: f64) -> Option<f64> {
    if place < 1.0 || place > sorted.len() as f64 {
        return None;
    }
    let under = place.floor();
    let low = *sorted.get(under as usize - 1)?;
    let high = *sorted.get(under as usize).unwrap_or(&low);
    Some(low + (place - under) * (high - low))
}

/// The middle of sorted values, or the mean of the middle two.
pub(super) fn median(sorted: &[f64]) -> Option<f64> {
    let middle = sorted.len() / 2;
    match sorted.len() {
        0 => None,
        n if n % 2 == 1 => Some(sorted[middle]),
        _ => Some((sorted[middle - 1] + sorted[middle]) / 2.0),
    }
}

/// The slope where some findings are only limits: any slope from `.0` to `.1`, at which the
/// signs of the residuals balance. Its middle is the customary single figure.
///
/// Akritas, Murphy & LaValley 1995, J. Am. Stat. Assoc. 90:170. A limit stays a limit after
/// the slope is taken off. `None` where the findings bound the slope on one side at most.
pub fn slope_with_limits(segments: &[Vec<(f64, Found<f64>)>]) -> Option<(f64, f64)> {
    use Found::{Above, Below, Exact};
    // Each pair votes +1 while the slope is too low for it and -1 once too high; a limit
    // takes one of the two votes away. (slope at which the vote turns, how far it falls)
    let mut turns: Vec<(f64, i64)> = vec![];
    let mut balance = 0;
    for segment in segments {
        for (i, (t1, y1)) in segment.iter().enumerate() {
            for (t2, y2) in &segment[i + 1..] {
                let ((t1, y1), (t2, y2)) = if t1 <= t2 { ((*t1, *y1), (*t2, *y2)) } else { ((*t2, *y2), (*t1, *y1)) };
                let turn = (y2.number() - y1.number()) / (t2 - t1);
                if !turn.is_finite() {
                    continue;
                }
                let (start, fall) = match (y1, y2) {
                    (Exact(_), Exact(_)) => (1, 2),
                    (Below(_), Exact(_) | Above(_)) | (Exact(_), Above(_)) => (1, 1),
                    (Exact(_) | Above(_), Below(_)) | (Above(_), Exact(_)) => (0, 1),
                    (Below(_), Below(_)) | (Above(_), Above(_)) => continue,
                };
                balance += start;
                turns.push((turn, fall));
            }
        }
    }
    turns.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (mut low, mut was_positive) = (None, balance > 0);
    for (turn, fall) in turns {
        balance -= fall;
        if was_positive && balance <= 0 {
            low = Some(turn);
        }
        was_positive = balance > 0;
        if balance < 0 {
            return low.map(|low| (low, turn));
        }
    }
    None
}
