//! The numbers behind a verdict, one by one: what each came to, what it says in plain words, and who
//! reckons so. Judges nothing: the sentence was decided before.

use super::{MannKendall, Scale, Segment, Verdict};
use crate::agronomy::{
    source::{Evidence, Source},
    working::Figure,
};

/// One number behind a verdict.
#[derive(Clone, Debug, PartialEq)]
pub struct Behind {
    pub what: &'static str,
    /// With its unit.
    pub value: String,
    /// What it says, in one sentence or two.
    pub means: String,
    /// Who reckons so, where somebody is to be named.
    pub source: Option<Source>,
}

const fn from_memory(publisher: &'static str, title: &'static str, year: u16) -> Option<Source> {
    Some(Source { publisher, title, year, address: "", evidence: Evidence::Memory })
}

const MANN: Option<Source> = from_memory("Mann", "Nonparametric tests against trend, Econometrica 13:245", 1945);
const KENDALL: Option<Source> = from_memory("Kendall", "Rank Correlation Methods", 1975);
const SEN: Option<Source> = from_memory(
    "Sen",
    "Estimates of the regression coefficient based on Kendall's tau, J. Am. Stat. Assoc. 63:1379",
    1968,
);
const BIRGE: Option<Source> =
    from_memory("Birge", "The calculation of errors by the method of least squares, Physical Review 40:207", 1932);
const AKRITAS: Option<Source> = from_memory(
    "Akritas, Murphy & LaValley",
    "The Theil-Sen estimator with censored data, J. Am. Stat. Assoc. 90:170",
    1995,
);

/// "−0.253": three digits that count, with the minus of print.
fn number(value: f64) -> String {
    Figure::significant(value, "", 3).to_string().replace('-', "−")
}

/// A chance, no finer than it deserves.
fn chance(p: f64) -> String {
    if p < 0.0001 { "under 0.0001".into() } else { Figure::significant(p, "", 2).to_string() }
}

fn behind(what: &'static str, value: String, means: impl Into<String>, source: Option<Source>) -> Behind {
    Behind { what, value, means: means.into(), source }
}

impl Verdict {
    /// The numbers behind the verdict; none without a test that it rests on.
    ///
    /// `segments` are those that the verdict was read from; `read` puts a level into the unit that
    /// somebody reads, by a factor.
    pub fn numbers(&self, segments: &[Segment], read: impl Fn(&Figure) -> Figure) -> Vec<Behind> {
        let used: Vec<&Segment> = self.segments.iter().filter_map(|&index| segments.get(index)).collect();
        let Some(head) = used.last() else { return vec![] };
        let days = || used.iter().flat_map(|segment| &segment.points).map(|point| point.sampled_on);
        let (Some(from), Some((last_on, last))) = (days().min(), self.last) else { return vec![] };
        let sign = head.points.last().map_or("", |point| point.qualifier.sign());
        let last = Figure { sign: sign.to_owned(), ..Figure::new(last.number(), head.unit, head.decimals) };
        let runs = if used.len() > 1 { " Nothing is compared across the runs." } else { "" };
        let mut rows = vec![
            behind("Tests", self.n.to_string(), format!("Days with a test; tests of one day are one.{runs}"), None),
            behind("Span", format!("{:.1} years", self.span_years), format!("{from} to {last_on}."), None),
            behind("Last found", read(&last).to_string().trim_end().to_owned(), format!("On {last_on}."), None),
        ];
        if self.n < 2 {
            return rows;
        }
        if let Some(two) = &self.two_tests {
            let (least, unit) = match head.scale {
                Scale::Log => (format!("{:.0} % up or {:.0} % down", two.least_rise, -two.least_fall), "share"),
                Scale::Linear => (format!("{:.2} either way", two.least_rise), "difference"),
            };
            rows.push(behind(
                "Least change that two tests show",
                least,
                format!(
                    "A smaller {unit} comes of the error of the two tests in 19 of 20 pairs from soil that did not change; \
                     theirs is {} of its standard deviations.",
                    number(two.z.abs())
                ),
                None,
            ));
        }
        rows.extend(by_ranks(&self.ranks));
        rows.extend(self.middle(segments, &used, &read));
        rows.extend(self.by_line(head.scale));
        rows
    }

    /// The slope that one wild test cannot pull.
    fn middle(&self, segments: &[Segment], used: &[&Segment], read: &impl Fn(&Figure) -> Figure) -> Vec<Behind> {
        let Some(middle) = self.middle_slope(segments) else { return vec![] };
        let unit = used.first().map_or("", |segment| segment.unit);
        let one = read(&Figure::new(1.0, unit, 0));
        let factor = if unit.is_empty() { 1.0 } else { one.value };
        let words = middle.read_in(factor, &one.unit).words();
        let limits = used.iter().any(|segment| segment.has_limits());
        let said = words.split_once(": ").map_or(words.as_str(), |(_, said)| said).trim_end_matches('.').to_owned();
        let means = if limits {
            "The slope at which as many pairs of tests would rise as fall; limits count as limits."
        } else {
            "The middle of the slopes between every two tests of a run: one wild test cannot pull it."
        };
        let mut rows = vec![behind("Middle slope", said, means, if limits { AKRITAS } else { SEN })];
        if let (Some(start), [segment]) = (middle.start, used) {
            let level = Figure::new(start, segment.unit, segment.decimals + 1);
            rows.push(behind(
                "Middle line at the first test",
                read(&level).to_string().trim_end().replace('-', "−"),
                "The middle of the levels less the middle slope times the middle of the years (after Conover).",
                None,
            ));
        }
        rows
    }

    /// The slope by the known errors, and how well the tests keep to it.
    fn by_line(&self, scale: Scale) -> Vec<Behind> {
        let Some(line) = &self.line else { return vec![] };
        let mut rows = vec![];
        match self.per_year {
            Some(slope) => rows.push(behind(
                "Slope",
                format!(
                    "{} {} (90 %: {} to {})",
                    number(slope.best),
                    slope.unit,
                    number(slope.low),
                    number(slope.high)
                ),
                match scale {
                    Scale::Log => "The line through the logarithms, each test weighed by its known error; nine such ranges in ten hold the true slope.",
                    Scale::Linear => "The line through the tests, each weighed by its known error; nine such ranges in ten hold the true slope.",
                },
                None,
            )),
            None => rows.push(behind("Slope", "not bounded".into(), "The tests allow a slope too wide to print.", None)),
        }
        rows.push(match line.p_scatter {
            Some(p) => behind(
                "Scatter",
                format!("χ² {} with {} to spare, p {}", number(line.chi2), line.degrees_of_freedom, chance(p)),
                "The chance of so much scatter about the line, were the stated errors right; under 0.05 they are taken to be too small.",
                None,
            ),
            None => behind("Scatter", "none to see".into(), "Two tests always lie on a line.", None),
        });
        rows.push(behind(
            "Birge ratio",
            format!("{:.2}", line.birge),
            "How many times the range of the slope is widened for scatter; never below 1.",
            BIRGE,
        ));
        rows.push(behind(
            "Probability of falling",
            chance(line.probability_falling()),
            "That the true slope is below 0, by the stated errors alone.",
            None,
        ));
        rows
    }
}

/// The test by ranks.
fn by_ranks(ranks: &MannKendall) -> Vec<Behind> {
    let mut rows = vec![
        behind(
            "S",
            format!("{} of {} pairs", ranks.s, ranks.pairs).replace('-', "−"),
            "Pairs of tests of one run in which the later is higher, less those in which it is lower.",
            MANN,
        ),
        behind(
            "tau",
            format!("{:.2}", ranks.tau_a()).replace('-', "−"),
            "S as a share of the pairs: −1 where every pair falls, 1 where every pair rises.",
            KENDALL,
        ),
    ];
    match (ranks.exact, ranks.normal_p(), ranks.z) {
        (Some(exact), _, _) => {
            let of = |p: super::Fraction| format!("{}/{} = {}", p.numerator, p.denominator, chance(p.value()));
            rows.push(behind(
                "p by ranks",
                of(exact.two_sided),
                "The chance of an S this far from 0, either way, if nothing changed: counted over every order, equal values kept equal.",
                KENDALL,
            ));
            rows.push(behind(
                "Smallest possible p",
                of(exact.smallest_two_sided),
                "What the most orderly rise or fall of so many tests, with such ties, would give.",
                KENDALL,
            ));
        }
        (None, Some(p), Some(z)) => rows.push(behind(
            "p by ranks",
            format!("{} (normal form, z {})", chance(p), number(z)),
            "The chance of an S this far from 0, either way, if nothing changed; beyond twenty tests it is not counted but reckoned.",
            KENDALL,
        )),
        _ => rows.push(behind("p by ranks", "none".into(), "With limits both below and above there is no law of S.", None)),
    }
    rows
}
