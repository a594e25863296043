//! The Mann-Kendall test of a trend by ranks, exact to twenty tests, with ties, with
//! values below (or above) a limit, and over several segments at once. All counts are
//! whole numbers. Never compares across segments, never puts a number for a limit.

use super::{Found, Fraction, normal_below, sign_of_change};

/// Beyond this many tests the normal form stands for the exact law.
const EXACT_UP_TO: usize = 20;

/// The outcome of the test.
#[derive(Clone, Debug, PartialEq)]
pub struct MannKendall {
    /// Findings in segments of two or more.
    pub n: usize,
    /// S: later-above-earlier pairs less later-below-earlier pairs.
    pub s: i64,
    /// Pairs that were compared, ties included.
    pub pairs: usize,
    /// Variance of S where nothing changes; `None` where limits of both kinds leave no law.
    pub variance: Option<Fraction>,
    /// Exact probabilities, to twenty findings.
    pub exact: Option<ExactP>,
    /// S ∓ 1 over its standard deviation (continuity-corrected).
    pub z: Option<f64>,
}

/// Exact probabilities of S under "nothing changes", given the ties.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct ExactP {
    /// At least as far from 0, on either side.
    pub two_sided: Fraction,
    /// At least as high.
    pub upper: Fraction,
    /// At least as low.
    pub lower: Fraction,
    /// The least two-sided p that these ties allow, whatever the order.
    pub smallest_two_sided: Fraction,
}

impl MannKendall {
    /// Kendall's tau-a: S as a share of the pairs.
    pub fn tau_a(&self) -> f64 {
        if self.pairs == 0 { 0.0 } else { self.s as f64 / self.pairs as f64 }
    }

    /// Two-sided p of the normal form.
    pub fn normal_p(&self) -> Option<f64> {
        self.z.map(|z| 2.0 * normal_below(-z.abs()))
    }

    /// Two-sided p: exact where there is one, else of the normal form.
    pub fn p(&self) -> Option<f64> {
        self.exact.map(|exact| exact.two_sided.value()).or(self.normal_p())
    }

    /// Whether p is at most this many hundredths; exact fractions are compared as such.
    pub fn p_at_most_percent(&self, percent: u8) -> bool {
        match self.exact {
            Some(exact) => exact.two_sided.at_most_percent(percent),
            None => self.normal_p().is_some_and(|p| p <= f64::from(percent) / 100.0),
        }
    }
}

/// Tests each segment for a trend and adds up: S, its variance and its exact law.
///
/// Each segment holds its findings in order of time, as whole numbers of the last printed
/// digit. Mann 1945, Econometrica 13:245; Kendall 1975, Rank Correlation Methods; adding
/// over segments as Hirsch, Slack & Smith 1982 do over seasons.
pub fn mann_kendall(segments: &[Vec<Found<i64>>]) -> MannKendall {
    let compared = || segments.iter().filter(|segment| segment.len() > 1);
    let n = compared().map(Vec::len).sum();
    let pairs = compared().map(|segment| segment.len() * (segment.len() - 1) / 2).sum();
    let s = compared().map(|segment| sum_of_signs(segment)).sum();

    let groups: Option<Vec<_>> = compared().map(|segment| insertions(segment)).collect();
    let variance = groups.as_ref().map(|groups| {
        let thirds = groups.iter().flatten().map(|g| (g.below * g.tied * (g.below + g.tied + 1)) as u128).sum();
        Fraction::new(thirds, 3)
    });
    let exact = groups.filter(|_| n <= EXACT_UP_TO).map(|groups| Law::of(&groups).probabilities(s));
    let z = variance.map(|variance| match variance.value().sqrt() {
        0.0 => 0.0,
        deviation => (s - s.signum()) as f64 / deviation,
    });
    MannKendall { n, s, pairs, variance, exact, z }
}

fn sum_of_signs(findings: &[Found<i64>]) -> i64 {
    let exact = |found: &Found<i64>| if let Found::Exact(number) = found { Some(*number) } else { None };
    if let Some(numbers) = findings.iter().map(exact).collect::<Option<Vec<i64>>>() {
        let of_later = |(at, &earlier): (usize, &i64)| {
            let signs = numbers[at + 1..].iter().map(|&later| i64::from(later > earlier) - i64::from(later < earlier));
            signs.sum::<i64>()
        };
        return numbers.iter().enumerate().map(of_later).sum();
    }
    let pairs = findings.iter().enumerate().flat_map(|(i, a)| findings[i + 1..].iter().map(move |b| (*a, *b)));
    pairs.map(|(earlier, later)| sign_of_change(earlier, later)).sum()
}

/// A group of equal values put among the values that are surely below them.
#[derive(Clone, Copy)]
struct Insertion {
    below: usize,
    tied: usize,
}

/// Builds a shuffled segment from below: each group of equal values is inserted among all
/// that were placed before, each of which is surely smaller. A "<L" goes in just before the
/// first value that is at least L and by itself compares with nothing. Only ">" mirrors
/// this; with both kinds at once the insertions are not independent and there is no law.
fn insertions(findings: &[Found<i64>]) -> Option<Vec<Insertion>> {
    let has = |kind: fn(&Found<i64>) -> bool| findings.iter().any(kind);
    let mirrored = match (has(|f| matches!(f, Found::Below(_))), has(|f| matches!(f, Found::Above(_)))) {
        (true, true) => return None,
        (_, mirrored) => mirrored,
    };
    // (value, is a number): at one value the limits come first.
    let mut order: Vec<_> = findings
        .iter()
        .map(|found| (if mirrored { found.number().saturating_neg() } else { found.number() }, found.is_exact()))
        .collect();
    order.sort_unstable();
    let mut below = 0;
    let mut groups = vec![];
    for equals in order.chunk_by(|a, b| a == b) {
        if equals[0].1 {
            groups.push(Insertion { below, tied: equals.len() });
        }
        below += equals.len();
    }
    Some(groups)
}

/// The law of S: in how many orders S is `most`, `most` - 2, `most` - 4, …
#[derive(Clone, Debug)]
struct Law {
    most: i64,
    ways: Vec<u128>,
}

impl Law {
    /// Inserting t equals among m smaller values makes inversions with the Gaussian binomial
    /// of m + t over t as generating function (MacMahon, Combinatory Analysis, 1916); the
    /// groups are independent, so the law is the product over groups and segments.
    fn of(segments: &[Vec<Insertion>]) -> Law {
        let mut law = Law { most: 0, ways: vec![1] };
        for group in segments.iter().flatten() {
            law.most += (group.below * group.tied) as i64;
            for i in 1..=group.tied {
                law.multiply_by_ratio(group.below + i, i);
            }
        }
        law
    }

    /// Multiplies by (1 - q^a) / (1 - q^b). Between the two steps counts may pass below zero
    /// and wrap; the quotient is a true count again, below 20!, so wrapping loses nothing.
    fn multiply_by_ratio(&mut self, a: usize, b: usize) {
        let length = self.ways.len();
        self.ways.resize(length + a, 0);
        for k in (a..length + a).rev() {
            self.ways[k] = self.ways[k].wrapping_sub(self.ways[k - a]);
        }
        for k in b..length + a {
            self.ways[k] = self.ways[k].wrapping_add(self.ways[k - b]);
        }
        self.ways.truncate(length + a - b);
    }

    fn total(&self) -> u128 {
        self.ways.iter().sum()
    }

    /// Orders whose S passes the test.
    fn count(&self, passes: impl Fn(i64) -> bool) -> u128 {
        let at = |inversions: usize| self.most - 2 * inversions as i64;
        self.ways.iter().enumerate().filter(|(k, _)| passes(at(*k))).map(|(_, ways)| ways).sum()
    }

    fn probabilities(&self, s: i64) -> ExactP {
        let share = |count| Fraction::new(count, self.total());
        ExactP {
            two_sided: share(self.count(|at| at.abs() >= s.abs())),
            upper: share(self.count(|at| at >= s)),
            lower: share(self.count(|at| at <= s)),
            smallest_two_sided: share(self.count(|at| at.abs() >= self.most)),
        }
    }
}

/// The law of S where segments of these sizes hold no ties; `None` beyond twenty findings.
pub(super) struct UntiedLaw(Law);

impl UntiedLaw {
    pub fn new(sizes: &[usize]) -> Option<UntiedLaw> {
        let untied = |n: &usize| (0..*n).map(|below| Insertion { below, tied: 1 }).collect();
        let n: usize = sizes.iter().sum();
        (n <= EXACT_UP_TO).then(|| UntiedLaw(Law::of(&sizes.iter().map(untied).collect::<Vec<_>>())))
    }

    /// 1 - 2 P(S ≥ s), for s above 0.
    pub fn coverage_within(&self, s: i64) -> Fraction {
        let total = self.0.total();
        Fraction::new(total.saturating_sub(2 * self.0.count(|at| at >= s)), total)
    }
}
