//! One nutrient of one plot among many: what each year found against the aim, what its
//! tests can show, and its slope once the other plots have been heard. The verdict is the
//! one that the plot's own page gives; among twenty plots and eight nutrients the most
//! extreme slope is extreme by chance, and the slope drawn towards the others says so.

use super::{
    Finding, Fraction, PerYear, Point, Scale, Segment, Verdict, Z_90, breaks, shrink,
    verdict::{on_paper, without_notes},
};
use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    method::Method,
    record::{DepthBand, Qualifier},
    standing::has_share,
    working::Figure,
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// What a review looks at: what moves over years, and what people manage by it.
pub const REVIEWED: [Analyte; 12] = [
    Analyte::Ph,
    Analyte::OrganicMatter,
    Analyte::Element(Element::P),
    Analyte::Element(Element::K),
    Analyte::Element(Element::Mg),
    Analyte::Element(Element::Ca),
    Analyte::Element(Element::S),
    Analyte::Element(Element::B),
    Analyte::Element(Element::Cu),
    Analyte::Element(Element::Fe),
    Analyte::Element(Element::Mn),
    Analyte::Element(Element::Zn),
];

/// What one year found: the last test of the year, of the runs that the verdict rests on
/// where they have one.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct YearFound {
    pub year: i16,
    /// The value, or the limit where `qualifier` is one.
    pub value: f64,
    pub qualifier: Qualifier,
    /// Found ÷ aim under the rule for its method; `None` where there is no aim, or no share of it means anything.
    pub ratio: Option<f64>,
    /// Which run of comparable tests it belongs to, counted from 0 by their beginning.
    pub run: u8,
}

/// A run of comparable tests: what its levels are in, which another run's need not be.
#[derive(Clone, Debug, PartialEq)]
pub struct RunOf {
    pub method: Method,
    /// Empty for pH.
    pub unit: &'static str,
    /// Decimals that its values deserve.
    pub decimals: u8,
}

/// A slope drawn towards those of the other plots.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Drawn {
    /// With its 90 % range.
    pub per_year: PerYear,
    /// On the scale of the values, per year.
    pub slope: f64,
    /// Share of the plot's own slope in it, 0 to 1.
    pub own_share: f64,
    /// How many plots were heard, this one too.
    pub plots: usize,
}

impl Drawn {
    /// Whether its 90 % range leaves 0 out.
    pub fn is_moving(&self) -> bool {
        self.per_year.low > 0.0 || self.per_year.high < 0.0
    }
}

/// One nutrient of one plot over the years.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotDrift {
    pub analyte: Analyte,
    /// The method of the newest run that the verdict rests on.
    pub method: Method,
    /// Its unit; empty for pH.
    pub unit: &'static str,
    pub depth: Option<DepthBand>,
    /// Decimals that its values deserve.
    pub decimals: u8,
    /// The aim for that method, in its unit.
    pub aim: Option<f64>,
    /// Oldest first, one to a year.
    pub years: Vec<YearFound>,
    /// The runs that the years belong to, by their numbers.
    pub runs: Vec<RunOf>,
    /// Where runs part: the first year after, and what changed.
    pub breaks: Vec<(i16, String)>,
    pub finding: Finding,
    /// One sentence for a grower.
    pub words: String,
    /// The levels that the sentence speaks of, as they stand in it.
    pub levels: Vec<Figure>,
    /// Tests (days) that the finding rests on.
    pub tests: usize,
    pub span_years: f64,
    pub first_on: Date,
    pub last_on: Date,
    /// Its own slope, as the plot's page shows it.
    pub per_year: Option<PerYear>,
    pub scale: Scale,
    /// Its own slope and standard error on the scale, widened where tests scatter too much.
    pub slope: Option<(f64, f64)>,
    /// Error of its last test on the scale.
    pub sigma: f64,
    /// Later tests above earlier ones less those below, over the pairs that compare.
    pub s: i64,
    /// Two-sided p of the ranks.
    pub p: Option<RanksP>,
    pub smallest_possible_p: Option<Fraction>,
    /// How much the error of the slope is widened for scatter; `None` without a slope.
    pub birge: Option<f64>,
    /// Chance of so much scatter about the line, were the stated errors right.
    pub p_scatter: Option<f64>,
    /// The slope after the other plots were heard; `None` with fewer than four.
    pub drawn: Option<Drawn>,
}

/// A p of the ranks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum RanksP {
    /// Counted, to twenty tests.
    Exact(Fraction),
    /// By the normal form.
    Normal(f64),
}

impl RanksP {
    /// The nearest float.
    pub fn value(self) -> f64 {
        match self {
            RanksP::Exact(p) => p.value(),
            RanksP::Normal(p) => p,
        }
    }

    /// As counted.
    pub fn exact(self) -> Option<Fraction> {
        match self {
            RanksP::Exact(p) => Some(p),
            RanksP::Normal(_) => None,
        }
    }
}

impl PlotDrift {
    /// The slope on the scale and its standard error by the stated errors alone, not widened.
    pub fn bare_slope(&self) -> Option<(f64, f64)> {
        let ((slope, se), birge) = self.slope.zip(self.birge)?;
        Some((slope, se / birge))
    }

    /// The newest year with a share of the aim.
    pub fn now(&self) -> Option<&YearFound> {
        self.years.last().filter(|year| year.ratio.is_some())
    }

    /// The run that a year belongs to; `None` beyond the 255 that are told apart.
    pub fn run_of(&self, year: &YearFound) -> Option<&RunOf> {
        self.runs.get(usize::from(year.run))
    }

    /// Whether a year's level is in the unit of the newest run.
    pub fn in_own_unit(&self, year: &YearFound) -> bool {
        self.run_of(year).is_some_and(|run| run.unit == self.unit)
    }

    /// Change a year in errors of one test: the slope drawn to the others, else its own.
    /// Falling is below 0.
    pub fn speed(&self) -> Option<f64> {
        let slope = self.drawn.map(|drawn| drawn.slope).or(self.slope.map(|(slope, _)| slope))?;
        (self.sigma > 0.0).then(|| slope / self.sigma)
    }

    /// How little its own tests say of the slope: its standard error in errors of one test.
    pub fn uncertainty(&self) -> Option<f64> {
        self.slope.filter(|_| self.sigma > 0.0).map(|(_, se)| se / self.sigma)
    }
}

/// Reads one analyte of one plot from its segments, as [`super::segments`] gives them.
///
/// `trusted` says which runs are of the test that the plot's standing goes by; `aim` gives
/// the aim for a run's method, in its unit. `None` where no test became a point.
pub fn review(
    segments: &[Segment],
    trusted: impl Fn(&Segment) -> bool,
    mut aim: impl FnMut(&Segment) -> Option<f64>,
) -> Option<PlotDrift> {
    let verdict = without_notes(segments, trusted);
    let (first, head) = (segments.get(*verdict.segments.first()?)?, segments.get(*verdict.segments.last()?)?);
    let aims: Vec<Option<f64>> = segments.iter().map(&mut aim).collect();
    let years = years_of(segments, &verdict, &aims);
    let last = head.points.last()?;
    let Verdict {
        finding,
        words,
        levels,
        n,
        span_years,
        per_year,
        p,
        exact_p,
        smallest_possible_p,
        ranks,
        line,
        segments: used,
        ..
    } = verdict;
    let line = line.as_ref().filter(|_| per_year.is_some());
    let slope = line.map(|line| (line.slope, line.se_slope * line.birge));
    Some(PlotDrift {
        analyte: head.analyte,
        method: head.method.clone(),
        unit: head.unit,
        depth: head.depth,
        decimals: head.decimals,
        aim: used.last().and_then(|&index| aims[index]),
        years,
        runs: segments
            .iter()
            .map(|run| RunOf { method: run.method.clone(), unit: run.unit, decimals: run.decimals })
            .collect(),
        breaks: breaks(segments).into_iter().map(|gap| (gap.first.year(), gap.words)).collect(),
        finding,
        words,
        levels,
        tests: n,
        span_years,
        first_on: first.points.first()?.sampled_on,
        last_on: last.sampled_on,
        per_year,
        scale: head.scale,
        slope,
        sigma: last.sigma,
        s: ranks.s,
        p: exact_p.map(RanksP::Exact).or(p.map(RanksP::Normal)),
        smallest_possible_p,
        birge: line.map(|line| line.birge),
        p_scatter: line.and_then(|line| line.p_scatter),
        drawn: None,
    })
}

fn years_of(segments: &[Segment], verdict: &Verdict, aims: &[Option<f64>]) -> Vec<YearFound> {
    // By year: whether the verdict rests on it, the day, and what was found; the greatest stands.
    let mut best: BTreeMap<i16, (bool, Date, YearFound)> = BTreeMap::new();
    for (index, segment) in segments.iter().enumerate() {
        let used = verdict.segments.contains(&index);
        let aim = aims[index].filter(|aim| has_share(segment.analyte) && *aim > 0.0);
        let found = |point: &Point| YearFound {
            year: point.sampled_on.year(),
            value: point.value,
            qualifier: point.qualifier,
            ratio: aim.map(|aim| point.value / aim),
            run: u8::try_from(index).unwrap_or(u8::MAX),
        };
        for point in &segment.points {
            let year = point.sampled_on.year();
            let stands = best.get(&year).is_some_and(|(by, on, _)| (*by, *on) > (used, point.sampled_on));
            if !stands {
                best.insert(year, (used, point.sampled_on, found(point)));
            }
        }
    }
    best.into_values().map(|(_, _, found)| found).collect()
}

/// Draws the slopes of one nutrient by one method together, plot by plot
/// ([`shrink`]); rows without a slope, and nutrients with fewer than four, stay as they are.
pub fn draw_together<'a>(rows: impl IntoIterator<Item = &'a mut PlotDrift>) {
    let mut alike: BTreeMap<(Analyte, Method, &'static str), Vec<&'a mut PlotDrift>> = BTreeMap::new();
    for row in rows.into_iter().filter(|row| row.slope.is_some()) {
        alike.entry((row.analyte, row.method.clone(), row.unit)).or_default().push(row);
    }
    for group in alike.into_values() {
        let slopes: Vec<(f64, f64)> = group.iter().filter_map(|row| row.slope).collect();
        let Some(together) = shrink(&slopes) else { continue };
        let plots = slopes.len();
        for (row, drawn) in group.into_iter().zip(together.plots) {
            let half = Z_90 * drawn.se;
            let per_year = on_paper(drawn.slope, (drawn.slope - half, drawn.slope + half), row.scale);
            row.drawn = Some(Drawn { per_year, slope: drawn.slope, own_share: drawn.own_share, plots });
        }
    }
}
