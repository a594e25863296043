//! Response: how far a kilogram of an element per hectare, beyond what harvests carried
//! away, moved the soil test of a plot; learned from its own tests, held by what has been
//! published for that extractant and depth, and by the other plots of the farm.
//!
//! Fitted on levels, never on differences (differences of neighbours share an error). Where
//! the tests cannot carry it nothing is learned, and the reason is given.

mod limed;
mod published;

pub use limed::{LIME_REACTS_MONTHS, LessLime, Limed, Liming, limed, limed_before};
pub use published::{PRIOR_SPREAD_SOURCE, PUBLISHED, Prior, Published, published_prior};

use super::{
    analyte::Analyte,
    balance::Books,
    drift::{Found, Scale, Segment, Shrunken, Weighed, Z_90, known_error, shrink},
    element::Element,
    offtake::{capitalised, round},
    quantity::{Centimetres, KgPerHa, MgPerKg, MgPerL, SoilLayer},
    source::{Evidence, Source},
    standing::num,
    working::{Figure, Origin, Working},
};
use std::ops::Range;

/// Unit of a response at a test by mass; by volume it is mg/L per kg/ha.
const PER: &str = "per kg/ha";

/// Least spread of the net kg/ha between tests that a response is learned from.
pub const LEAST_NET: KgPerHa = KgPerHa(30.0);
/// A response whose error is more than this many times the published mean says nothing.
const LARGEST_ERROR: f64 = 3.0;

/// The most that a kilogram can move the test, were all of it to stay and be found: one
/// part in the soil of the layer. mg/kg per kg/ha by mass, mg/L per kg/ha by volume.
pub fn ceiling(unit: &str, layer: &SoilLayer, depth: Centimetres) -> Option<f64> {
    let ceiling = match unit {
        MgPerKg::UNIT => layer.level(KgPerHa(1.0)).0,
        MgPerL::UNIT => 1.0 / (0.1 * depth.0),
        _ => return None,
    };
    (ceiling.is_finite() && ceiling > 0.0).then_some(ceiling)
}

/// A soil test with the net kg/ha since the first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TestAt {
    /// Applied less carried away since the first test, kg/ha.
    pub net_kg_per_ha: f64,
    /// Years since the first test.
    pub years: f64,
    pub found: Found<f64>,
    /// Standard deviation in the unit of the test.
    pub sd: f64,
}

/// The tests of a segment with the net of its element since the first.
///
/// Fails where what came or went between any two of them is not known. The middles of the
/// offtakes count; their range is the forecast's business.
pub fn tests_at(segment: &Segment, books: &Books) -> Result<Vec<TestAt>, Skip> {
    let told = told(segment, books)?;
    if told.left_out.is_empty() { Ok(told.tests) } else { Err(Skip::NetNotKnown(told.left_out)) }
}

/// As many tests of a segment as the ledger can tell of.
#[derive(Clone, Debug, PartialEq)]
pub struct Told {
    /// Which points of the segment.
    pub points: Range<usize>,
    /// With the net since the first of them.
    pub tests: Vec<TestAt>,
    /// Why the others are left out, as sentences; empty where none is.
    pub left_out: Vec<String>,
}

/// The longest run of tests of a segment between which all that came and went is known, the
/// later of two alike. Fails where it is no element.
pub fn told(segment: &Segment, books: &Books) -> Result<Told, Skip> {
    let Analyte::Element(element) = segment.analyte else { return Err(Skip::NotAnElement) };
    let Some(first) = segment.points.first() else {
        return Ok(Told { points: 0..0, tests: vec![], left_out: vec![] });
    };
    let days: Vec<_> = segment.points.iter().map(|point| point.sampled_on).collect();
    let flows = books.flows(element, first.sampled_on, &days);
    let mut longest = 0..0;
    let mut from = 0;
    for to in 0..flows.len() {
        if to > 0 && flows[to].holes > flows[to - 1].holes {
            from = to;
        }
        if to + 1 - from >= longest.len() {
            longest = from..to + 1;
        }
    }
    let left_out = if longest.len() == flows.len() {
        vec![]
    } else {
        let last = flows.last();
        last.into_iter().flat_map(|all| all.brought.missing.iter().chain(&all.carried.missing)).cloned().collect()
    };
    let net = |at: usize| (flows[at].brought.known - flows[at].carried.known).mid;
    let years = segment.years();
    let test = |at: usize| {
        let point = &segment.points[at];
        let sd = match segment.scale {
            Scale::Log => point.value * point.sigma.powi(2).exp_m1().sqrt(), // σ = √ln(1 + CV²), turned round
            Scale::Linear => point.sigma,
        };
        TestAt {
            net_kg_per_ha: net(at) - net(longest.start),
            years: years[at] - years[longest.start],
            found: point.found(),
            sd,
        }
    };
    Ok(Told { tests: longest.clone().map(test).collect(), points: longest, left_out })
}

/// A response as the plot's own tests give it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fit {
    /// Level at a net of 0.
    pub intercept: f64,
    pub response: f64,
    /// Standard error from the known errors, widened by the Birge ratio.
    pub se: f64,
    pub chi2: f64,
    pub degrees_of_freedom: usize,
    pub birge: f64,
    pub tests: usize,
}

/// Why nothing is learned from a plot's tests.
#[derive(Clone, Debug, PartialEq)]
pub enum Skip {
    /// pH and the like: no kilogram of an element moves them.
    NotAnElement,
    /// Fewer than two tests that compare.
    TooFewTests(usize),
    /// What came or went between the tests is not known; why.
    NetNotKnown(Vec<String>),
    /// Too little came or went to tell the response from the error of the tests.
    TooLittleNet { spread_kg_per_ha: f64 },
    /// Only limits, or all at one net.
    NotBounded,
    /// The error is more than three times the published response.
    TooUncertain { se: f64, published: f64 },
    /// Nothing was published for this test, and the farm has not four plots to learn from.
    NothingToHoldAgainst,
}

impl Skip {
    /// As a person reads it.
    pub fn words(&self) -> String {
        match self {
            Skip::NotAnElement => "It is not an element, so no kilograms of it come or go.".into(),
            Skip::TooFewTests(0) => "No test of this kind yet.".into(),
            Skip::TooFewTests(n) => format!("Only {n} test by this method at this depth; two are needed."),
            Skip::NetNotKnown(why) => {
                format!("What came and went between the tests is not known. {}", why.join(" ")).trim_end().to_owned()
            }
            Skip::TooLittleNet { spread_kg_per_ha } => format!(
                "Only {} kg/ha net came or went between the tests; under {} kg/ha the error of the tests hides the response.",
                num(round(*spread_kg_per_ha)),
                num(LEAST_NET.0)
            ),
            Skip::NotBounded => "The tests are only limits, so they bound no response.".into(),
            Skip::TooUncertain { se, published } => format!(
                "The tests leave the response uncertain by {} {PER}, more than three times the {} published.",
                num(round(*se)),
                num(round(*published))
            ),
            Skip::NothingToHoldAgainst => {
                "No response is published for this test, and fewer than four plots here can teach one.".into()
            }
        }
    }
}

/// The response of one plot from its own tests: weighted least squares on levels with
/// known errors, limits by their likelihood.
pub fn fit(tests: &[TestAt], published: Option<&Prior>) -> Result<Fit, Skip> {
    if tests.len() < 2 {
        return Err(Skip::TooFewTests(tests.len()));
    }
    let nets = || tests.iter().map(|test| test.net_kg_per_ha);
    let spread = nets().fold(f64::NEG_INFINITY, f64::max) - nets().fold(f64::INFINITY, f64::min);
    if !spread.is_finite() {
        return Err(Skip::NetNotKnown(vec![]));
    }
    if spread < LEAST_NET.0 {
        return Err(Skip::TooLittleNet { spread_kg_per_ha: spread });
    }
    // The line over time, with the net in the place of the years.
    let points = tests.iter().map(|t| Weighed { years: t.net_kg_per_ha, found: t.found, sigma: t.sd }).collect();
    let line = known_error(&[points]).ok_or(Skip::NotBounded)?;
    let se = line.se_slope * line.birge;
    match published {
        Some(prior) if se > LARGEST_ERROR * prior.mean => {
            return Err(Skip::TooUncertain { se, published: prior.mean });
        }
        _ => {}
    }
    Ok(Fit {
        intercept: line.intercepts.first().copied().flatten().ok_or(Skip::NotBounded)?,
        response: line.slope,
        se,
        chi2: line.chi2,
        degrees_of_freedom: line.degrees_of_freedom,
        birge: line.birge,
        tests: tests.len(),
    })
}

/// The response to reckon with.
#[derive(Clone, Debug, PartialEq)]
pub struct Response {
    /// Test units per kg/ha net, between 0 and the ceiling.
    pub response: f64,
    pub sd: f64,
    /// Share of the plot's own tests in it, 0 to 1; the rest is the published figure or the farm.
    pub own_share: f64,
    /// What the plot's tests give by themselves.
    pub own: Result<Fit, Skip>,
    /// How many plots of the farm are heard in it; 0 where they were too few, and what is published is.
    pub farm_plots: usize,
    pub working: Working,
}

impl Response {
    /// Whether a dose may be reckoned by it: the plot's own tests or the farm's must have taught
    /// it, and its range must reach some response. The sentence says why not.
    pub fn carries(&self) -> Result<(), String> {
        if let (Err(why), 0) = (&self.own, self.farm_plots) {
            return Err(format!("Nothing was learned here. {}", why.words()));
        }
        match self.range_90() {
            (low, _) if low > 0.0 && self.response > 0.0 => Ok(()),
            (_, high) => Err(format!(
                "What was learned is too uncertain to reckon a dose by: nine times in ten it lies between 0 and {} {PER}.",
                num(round(high))
            )),
        }
    }

    /// 90 % range, never below 0.
    pub fn range_90(&self) -> (f64, f64) {
        ((self.response - Z_90 * self.sd).max(0.0), self.response + Z_90 * self.sd)
    }

    /// kg/ha net that should raise the test by this much: middle, and least and most by the
    /// 90 % range; the most is `None` where the range reaches no response at all.
    pub fn to_raise(&self, by: f64) -> Option<(KgPerHa, KgPerHa, Option<KgPerHa>)> {
        let (low, high) = self.range_90();
        let rate = |response: f64| (response > 0.0 && by.is_finite()).then(|| KgPerHa((by / response).max(0.0)));
        Some((rate(self.response)?, rate(high)?, rate(low)))
    }
}

/// Inverse-variance weighing of a plot's own response with what was held before. Returns
/// (mean, standard deviation, weight of the plot).
pub fn weigh(own: (f64, f64), prior: (f64, f64)) -> (f64, f64, f64) {
    let (mine, before) = (own.1.powi(-2), prior.1.powi(-2));
    let weight = mine / (mine + before);
    (weight * own.0 + (1.0 - weight) * prior.0, (mine + before).sqrt().recip(), weight)
}

/// One plot's response, its own tests weighed against what was published.
///
/// Where its tests teach nothing it is the published figure, with the reason. `None` where
/// nothing was published either.
pub fn respond(
    element: Element,
    unit: &str,
    own: Result<Fit, Skip>,
    prior: Option<&Prior>,
    ceiling: Option<f64>,
) -> Option<Response> {
    let prior = prior?;
    let (response, sd, own_share) = match &own {
        Ok(fit) => weigh((fit.response, fit.se), (prior.mean, prior.sd)),
        Err(_) => (prior.mean, prior.sd, 0.0),
    };
    Some(settle(element, unit, own, (response, sd, own_share), (prior.working.clone(), 0), ceiling))
}

/// The responses of all plots of a farm for one element, extractant, unit and depth, in the
/// order given.
///
/// From four plots up that taught something, the farm takes the place of the published
/// figure ([`Farm`]). Under four, each is held against the published figure by itself.
pub fn respond_farm(
    element: Element,
    unit: &str,
    own: Vec<Result<Fit, Skip>>,
    prior: Option<&Prior>,
    ceiling: Option<f64>,
) -> Vec<Option<Response>> {
    let Some(farm) = Farm::of(own.iter().flatten().map(|fit| (fit.response, fit.se)).collect()) else {
        return own.into_iter().map(|own| respond(element, unit, own, prior, ceiling)).collect();
    };
    let mut place = 0..;
    let one = |own: Result<Fit, Skip>| {
        let at = own.is_ok().then(|| place.next()).flatten();
        farm.respond(element, unit, own, at, ceiling)
    };
    own.into_iter().map(one).collect()
}

/// What the plots of a farm taught of one element by one extractant, in one unit, at one depth.
#[derive(Clone, Debug, PartialEq)]
pub struct Farm {
    /// What each plot's tests gave by themselves: the response and its standard error.
    fits: Vec<(f64, f64)>,
    together: Shrunken,
}

/// Plots that a working names one by one; of more it says how many.
const NAMED: usize = 12;

impl Farm {
    /// From four plots up that taught something.
    pub fn of(fits: Vec<(f64, f64)>) -> Option<Farm> {
        let together = shrink(&fits)?;
        Some(Farm { fits, together })
    }

    /// The response of one plot: drawn towards the farm's mean by as much as its own error
    /// deserves ([`shrink`]); a plot that taught nothing takes the farm's mean, and with it how
    /// much the plots differ. `at` is its place among those that taught. `None` where that is none.
    pub fn respond(
        &self,
        element: Element,
        unit: &str,
        own: Result<Fit, Skip>,
        at: Option<usize>,
        ceiling: Option<f64>,
    ) -> Option<Response> {
        let farm = &self.together;
        let settled = match own {
            Ok(_) => farm.plots.get(at?).map(|plot| (plot.slope, plot.se, plot.own_share))?,
            // A plot of this farm, not the farm's mean itself: the plots differ.
            Err(_) => (farm.mean, (farm.between_plots + farm.se_mean.powi(2)).sqrt(), 0.0),
        };
        Some(settle(element, unit, own, settled, (self.working(unit), self.fits.len()), ceiling))
    }

    fn working(&self, unit: &str) -> Working {
        let unit_of = format!("{unit} {PER}");
        let leaves = self.fits.iter().take(NAMED).map(|(response, se)| {
            let figure = Figure::significant(*response, unit_of.clone(), 2);
            Working::leaf("One plot by its own tests", figure, Origin::Entered).note(format!("± {}", num(round(*se))))
        });
        let formula = format!(
            "mean of {} plots, each weighed by 1 ÷ (its variance + the variance between plots)",
            self.fits.len()
        );
        let figure = Figure::significant(self.together.mean, unit_of.clone(), 2);
        let working = Working::step("Mean of the farm", figure, formula, leaves).cite(FARM);
        match self.fits.len().saturating_sub(NAMED) {
            0 => working,
            more => working.note(format!("And {more} more plots, each as its own page says.")),
        }
    }
}

/// Who says how plots are drawn together.
pub const FARM: Source = Source {
    publisher: "DerSimonian & Laird, Controlled Clinical Trials 7:177; Efron & Morris, Journal of the American Statistical Association 70:311",
    title: "Variance between plots by moments; empirical Bayes estimates",
    year: 1986,
    address: "",
    evidence: Evidence::Memory,
};

/// Title of the working of a response.
pub fn response_title(element: Element) -> String {
    format!("Response of {}", element.name())
}

fn settle(
    element: Element,
    unit: &str,
    own: Result<Fit, Skip>,
    (response, sd, own_share): (f64, f64, f64),
    (before, farm_plots): (Working, usize),
    ceiling: Option<f64>,
) -> Response {
    let unit_of = format!("{unit} {PER}");
    let cut = response.clamp(0.0, ceiling.unwrap_or(f64::INFINITY));
    let formula = format!(
        "{} × own + {} × held before = {}",
        num(round(own_share)),
        num(round(1.0 - own_share)),
        num(round(response))
    );
    let mut inputs = Vec::new();
    let mut notes = Vec::new();
    match &own {
        Ok(fit) => {
            let figure = Figure::significant(fit.response, unit_of.clone(), 2);
            let leaf = Working::leaf("This plot's own tests", figure, Origin::Entered);
            inputs.push(leaf.note(format!(
                "A line through {} tests over the net applied, weighed by their known errors: ± {}.",
                fit.tests,
                num(round(fit.se))
            )));
        }
        Err(skip) => notes.push(skip.words()),
    }
    inputs.push(before);
    if cut < response {
        notes.push("Cut to what the soil's mass allows: no more can be found than was put on.".into());
    } else if cut > response {
        notes.push(
            "The tests fell as more was put on; a response below nothing makes no sense, so none is taken.".into(),
        );
    }
    let figure = Figure::significant(cut, unit_of, 2);
    let working =
        notes.into_iter().fold(Working::step(response_title(element), figure, formula, inputs), Working::note);
    Response { response: cut, sd, own_share, own, farm_plots, working }
}

/// The response of a whole experiment: the difference between fertilised and unfertilised
/// plots over what was applied, with its standard error from the spread within the groups.
pub fn contrast(fertilised: &[f64], unfertilised: &[f64], applied: KgPerHa) -> Option<(f64, f64)> {
    let moments = |values: &[f64]| {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        let variance = values.iter().map(|v| (v - mean).powi(2)).sum::<f64>() / (n - 1.0);
        (mean, variance / n)
    };
    let ((with, with_var), (without, without_var)) = (moments(fertilised), moments(unfertilised));
    let (response, se) = ((with - without) / applied.0, (with_var + without_var).sqrt() / applied.0);
    (response.is_finite() && se.is_finite()).then_some((response, se))
}

/// What the level did over time once what came and went is allowed for.
#[derive(Clone, Debug, PartialEq)]
pub struct Beyond {
    /// Test units a year beyond what was added and removed.
    pub per_year: f64,
    pub se: f64,
    /// The same as tested, nothing allowed for, with its standard error.
    pub as_tested: (f64, f64),
    /// The response used, and whether it was fitted with it (from four tests up) or held fixed.
    pub response: f64,
    pub fitted: bool,
    /// Level at the first test.
    pub start: f64,
    pub tests: usize,
    /// Tests that were only limits, and were left out.
    pub limits_left_out: usize,
    /// Why the response was held fixed, where four tests would have allowed fitting it.
    pub notes: Vec<String>,
}

impl Beyond {
    /// A level less what the net moved it: what the test would have shown, had nothing come or gone.
    pub fn without_net(&self, level: f64, net_kg_per_ha: f64) -> f64 {
        level - self.response * net_kg_per_ha
    }

    /// The same with levels and kilograms read in other units, each so many times as large.
    pub fn read_in(&self, level: f64, net: f64) -> Beyond {
        Beyond {
            per_year: self.per_year * level,
            se: self.se * level,
            response: self.response * level / net,
            start: self.start * level,
            as_tested: (self.as_tested.0 * level, self.as_tested.1 * level),
            ..self.clone()
        }
    }

    /// 90 % interval of the change a year.
    pub fn interval_90(&self) -> (f64, f64) {
        (self.per_year - Z_90 * self.se, self.per_year + Z_90 * self.se)
    }

    /// Whether the tests themselves moved further than their error, nine times in ten.
    pub fn moved(&self) -> bool {
        self.as_tested.0.abs() > Z_90 * self.as_tested.1
    }

    /// Test units a year that what came and went makes of the change as tested.
    pub fn explained(&self) -> f64 {
        self.as_tested.0 - self.per_year
    }

    /// What may be said about it.
    ///
    /// What came and went explains a change only where the tests moved further than their error,
    /// it makes half of that and more, and what is left may be none.
    pub fn words(&self, element: Element, unit: &str) -> String {
        let name = capitalised(element.name());
        self.words_of((&name, element.name()), "what was added and removed", unit)
    }

    /// The same of pH, which lime moves.
    pub fn words_of_lime(&self) -> String {
        self.words_of(("pH", "pH"), "the lime put on", "")
    }

    /// `what` as it begins a sentence and inside one; `came` moved it.
    fn words_of(&self, (name, what): (&str, &str), came: &str, unit: &str) -> String {
        let (low, high) = self.interval_90();
        let number = |value: f64| num(round(value)).replace('-', "−");
        let a_year = if unit.is_empty() { "a year".to_owned() } else { format!("{unit} a year") };
        let range = format!("{} to {} {a_year}", number(low), number(high));
        let raw = self.as_tested.0;
        let way = if raw < 0.0 { "fall" } else { "rise" };
        let of_it = format!("of {} {a_year} it makes {}", number(raw), number(self.explained()));
        match (low > 0.0, high < 0.0) {
            (true, _) => format!("{name} rises more than {came} explains: {range}."),
            (_, true) => format!("{name} falls more than {came} explains: {range}."),
            _ if !self.moved() => format!(
                "{name} moved no further than the error of its tests; less {came}, what is left is {range}, and may be none."
            ),
            _ if self.explained() / raw >= HALF => format!(
                "{} explains the {way} in {what}: {of_it}, and what is left, {range}, may be none.",
                capitalised(came)
            ),
            _ => format!(
                "Whether {came} explains the {way} in {what} cannot be told: {of_it}, and what is left, {range}, may be none."
            ),
        }
    }
}

/// What came and went explains a change where it makes this share of it and more. Our own choice.
const HALF: f64 = 0.5;

/// Level against cumulative net and time: level = start + response × net + b × years.
///
/// From four tests up the response is fitted with b, unless net and time cannot be told
/// apart; under four it is held at `held` (mean, standard deviation), whose own error then
/// widens that of b. `None` with fewer than two plain values or all at one time.
pub fn beyond(tests: &[TestAt], held: (f64, f64)) -> Option<Beyond> {
    let plain: Vec<(f64, f64, f64, f64)> = tests
        .iter()
        .filter(|t| t.found.is_exact() && t.sd > 0.0 && t.sd.is_finite())
        .map(|t| (t.net_kg_per_ha, t.years, t.found.number(), t.sd.powi(-2)))
        .collect();
    let limits_left_out = tests.len() - plain.len();
    let total: f64 = plain.iter().map(|p| p.3).sum();
    let mean = |of: fn(&(f64, f64, f64, f64)) -> f64| plain.iter().map(|p| of(p) * p.3).sum::<f64>() / total;
    let (net0, years0, level0) = (mean(|p| p.0), mean(|p| p.1), mean(|p| p.2));
    let cross = |f: &dyn Fn(&(f64, f64, f64, f64)) -> f64| plain.iter().map(|p| p.3 * f(p)).sum::<f64>();
    let nn = cross(&|p| (p.0 - net0).powi(2));
    let tt = cross(&|p| (p.1 - years0).powi(2));
    let nt = cross(&|p| (p.0 - net0) * (p.1 - years0));
    let ny = cross(&|p| (p.0 - net0) * (p.2 - level0));
    let ty = cross(&|p| (p.1 - years0) * (p.2 - level0));
    if plain.len() < 2 || !(tt > 0.0 && tt.is_finite() && nn.is_finite()) {
        return None;
    }
    let mut notes = Vec::new();
    let apart = nn * tt - nt * nt;
    // Under 1 % of its own variation left once the other is allowed for, the two are one.
    let tells_apart = apart > 0.01 * nn * tt && nn > 0.0;
    let fitted = plain.len() >= 4 && tells_apart;
    if plain.len() >= 4 && !tells_apart {
        notes.push("Net and time rose together, so the response is held, not fitted.".to_owned());
    }
    let (response, per_year, variance) = if fitted {
        ((ny * tt - ty * nt) / apart, (ty * nn - ny * nt) / apart, nn / apart)
    } else {
        (held.0, (ty - held.0 * nt) / tt, tt.recip() + (held.1 * nt / tt).powi(2))
    };
    let residual = |p: &(f64, f64, f64, f64)| p.2 - level0 - response * (p.0 - net0) - per_year * (p.1 - years0);
    let chi2 = cross(&|p| residual(p).powi(2));
    let freedom = plain.len().saturating_sub(if fitted { 3 } else { 2 });
    let birge = if freedom > 0 { (chi2 / freedom as f64).sqrt().max(1.0) } else { 1.0 };
    let raw = ty / tt;
    let scatter = cross(&|p| (p.2 - level0 - raw * (p.1 - years0)).powi(2));
    let raw_birge = match plain.len().saturating_sub(2) {
        0 => 1.0,
        freedom => (scatter / freedom as f64).sqrt().max(1.0),
    };
    Some(Beyond {
        per_year,
        se: variance.sqrt() * birge,
        as_tested: (raw, tt.recip().sqrt() * raw_birge),
        response,
        fitted,
        start: level0 - response * net0 - per_year * years0,
        tests: plain.len(),
        limits_left_out,
        notes,
    })
}
