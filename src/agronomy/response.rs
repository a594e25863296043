//! Response: how far a kilogram of an element per hectare, beyond what harvests carried
//! away, moved the soil test of a plot; learned from its own tests, held by what has been
//! published for that extractant and depth, and by the other plots of the farm.
//!
//! Fitted on levels, never on differences (differences of neighbours share an error). Where
//! the tests cannot carry it nothing is learned, and the reason is given.

use super::{
    analyte::Analyte,
    balance::Books,
    drift::{Found, Scale, Segment, Weighed, Z_90, known_error, shrink},
    element::Element,
    method::Method,
    offtake::{capitalised, round},
    quantity::{Centimetres, KgPerHa, MgPerKg, MgPerL, SoilLayer},
    source::{Evidence, Source},
    standing::num,
    working::{Figure, Origin, Working},
};

/// Unit of a response at a test by mass; by volume it is mg/L per kg/ha.
const PER: &str = "per kg/ha";

/// Least spread of the net kg/ha between tests that a response is learned from.
pub const LEAST_NET: KgPerHa = KgPerHa(30.0);
/// A response whose error is more than this many times the published mean says nothing.
const LARGEST_ERROR: f64 = 3.0;
/// Least spread of a published prior, as a share of its mean: sources for one extractant at
/// one depth differ by as much.
const PRIOR_SPREAD: f64 = 0.4;

/// Who says so of the spread.
pub const PRIOR_SPREAD_SOURCE: Source = Source {
    publisher: "Defaults of this program",
    title: "Spread of a published response: at least 0.4 of its mean, as three New Zealand soils differ (5, 7 and 11 kg P/ha per Olsen unit)",
    year: 0,
    address: "https://www.nzgajournal.org.nz/index.php/ProNZGA/article/view/2187",
    evidence: Evidence::Derived,
};

/// A published response.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Published {
    pub element: Element,
    /// The extractants that it was stated for.
    pub methods: &'static [Method],
    /// Units of the tests that it was stated for.
    pub units: &'static [&'static str],
    /// Depth of the soil that it was stated for.
    pub depth: Centimetres,
    /// As stated.
    pub stated: &'static str,
    /// Test units per kg/ha of the element: the middle of what is stated.
    pub response: f64,
    pub source: Source,
}

const BY_MASS: &[&str] = &[MgPerKg::UNIT];
const BY_VOLUME: &[&str] = &[MgPerL::UNIT];
const BY_EITHER: &[&str] = &[MgPerKg::UNIT, MgPerL::UNIT];
/// 6⅔ inches, the layer of the American rule.
const FURROW_SLICE: Centimetres = Centimetres(16.93);

const TRI_STATE: Source = Source {
    publisher: "AgProfessional, summarising the Tri-State fertilizer recommendations",
    title: "How much fertilizer will move soil test levels: 20 lb P2O5/acre per ppm P; 6 to 10 lb K2O/acre per ppm K by exchange capacity; 6⅔ in",
    year: 0,
    address: "http://www.agprofessional.com/resource-centers/crop-fertility/phosphorus-potassium/news/How-much-fertilizer-will-move-soil-test-levels-178095811.html",
    evidence: Evidence::Quoted,
};
const PDA: Source = Source {
    publisher: "Potash Development Association",
    title: "Frequently asked questions: 10 kg K2O/ha per mg/L on sandy clay loam, heavier soil more, light sand about half (depth not stated; British fields are sampled to 15 cm)",
    year: 2009,
    address: "https://pda.org.uk/some-frequently-asked-questions-about-p-and-k",
    evidence: Evidence::Read,
};
const CANTERBURY: Source = Source {
    publisher: "Roberts and others, Proceedings of the New Zealand Grassland Association 56",
    title: "North Canterbury: 5 kg P/ha above maintenance per Olsen unit, 0 to 7.5 cm",
    year: 1994,
    address: "https://doi.org/10.33584/jnzg.1994.56.2126",
    evidence: Evidence::Read,
};
const NORTHLAND: Source = Source {
    publisher: "Roberts and others, Proceedings of the New Zealand Grassland Association",
    title: "Northland: 7 kg P/ha (sedimentary) and 11 kg P/ha (volcanic) per Olsen unit, 0 to 7.5 cm",
    year: 0,
    address: "https://www.nzgajournal.org.nz/index.php/ProNZGA/article/view/2187",
    evidence: Evidence::Read,
};
const ROTHAMSTED: Source = Source {
    publisher: "Rothamsted Research (Glendining and others), long-term liming experiment, CC BY 4.0",
    title: "Fertilised less unfertilised plots over the element applied since 1962, 0 to 23 cm, not corrected for the larger crops",
    year: 2023,
    address: "https://doi.org/10.23637/rcs10-soil-01",
    evidence: Evidence::Derived,
};

/// kg of P in a kg of P₂O₅ and of K in one of K₂O: the abridged 2021 weights, as
/// [`super::element::Form`] computes them. Typed here because the table is a constant;
/// compared with that computation by a test.
const P_IN_P2O5: f64 = 0.436_428_7;
const K_IN_K2O: f64 = 0.830_150_2;
/// kg/ha in 1 lb/acre.
const LB: f64 = super::quantity::KG_PER_HA_PER_LB_PER_ACRE;

/// The responses that were published, as stated.
pub const PUBLISHED: &[Published] = {
    use Element::{K, P};
    use Method::{AmmoniumAcetate7, AmmoniumNitrate, Bray1, Mehlich3Colour, Mehlich3Icp, Olsen};
    const fn row(
        (element, methods): (Element, &'static [Method]),
        (units, depth): (&'static [&'static str], f64),
        stated: &'static str,
        response: f64,
        source: Source,
    ) -> Published {
        Published { element, methods, units, depth: Centimetres(depth), stated, response, source }
    }
    const AMERICAN_P: (Element, &[Method]) = (P, &[Bray1, Mehlich3Icp, Mehlich3Colour]);
    const AMERICAN_K: (Element, &[Method]) = (K, &[AmmoniumAcetate7, Mehlich3Icp, Mehlich3Colour]);
    const OLSEN: (Element, &[Method]) = (P, &[Olsen]);
    &[
        row(
            AMERICAN_P,
            (BY_MASS, FURROW_SLICE.0),
            "20 lb P₂O₅/acre per ppm P",
            1.0 / (20.0 * LB * P_IN_P2O5),
            TRI_STATE,
        ),
        row(
            AMERICAN_K,
            (BY_MASS, FURROW_SLICE.0),
            "6 lb K₂O/acre per ppm K, low exchange capacity",
            1.0 / (6.0 * LB * K_IN_K2O),
            TRI_STATE,
        ),
        row(
            AMERICAN_K,
            (BY_MASS, FURROW_SLICE.0),
            "10 lb K₂O/acre per ppm K, high exchange capacity",
            1.0 / (10.0 * LB * K_IN_K2O),
            TRI_STATE,
        ),
        row(
            (K, &[AmmoniumNitrate]),
            (BY_VOLUME, 15.0),
            "10 kg K₂O/ha per mg/L, sandy clay loam",
            1.0 / (10.0 * K_IN_K2O),
            PDA,
        ),
        row(OLSEN, (BY_EITHER, 7.5), "5 kg P/ha per Olsen unit, North Canterbury", 1.0 / 5.0, CANTERBURY),
        row(OLSEN, (BY_EITHER, 7.5), "7 kg P/ha per Olsen unit, sedimentary soil", 1.0 / 7.0, NORTHLAND),
        row(OLSEN, (BY_EITHER, 7.5), "11 kg P/ha per Olsen unit, volcanic soil", 1.0 / 11.0, NORTHLAND),
        row(OLSEN, (BY_MASS, 23.0), "302.5 kg P/ha raised Olsen P by 17.0 mg/kg (1972)", 17.0125 / 302.5, ROTHAMSTED),
        row(OLSEN, (BY_MASS, 23.0), "385 kg P/ha raised Olsen P by 14.7 mg/kg (1974)", 14.656_25 / 385.0, ROTHAMSTED),
        row(
            (K, &[AmmoniumAcetate7]),
            (BY_MASS, 23.0),
            "1352 kg K/ha raised K by 101 mg/kg (1974)",
            101.25 / 1352.0,
            ROTHAMSTED,
        ),
    ]
};

/// What is held before the plot's own tests are heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// Test units per kg/ha.
    pub mean: f64,
    pub sd: f64,
    pub working: Working,
}

/// What has been published for an element, an extractant, a unit and a depth; `None` where
/// nothing has.
///
/// Each source is brought to the depth sampled (the same kilograms in twice the soil move
/// the test half as far); the mean of the sources, with a spread of their range over two
/// or 0.4 of the mean, whichever is more.
pub fn published_prior(element: Element, method: &Method, unit: &str, depth: Centimetres) -> Option<Prior> {
    if !(depth.0.is_finite() && depth.0 > 0.0) {
        return None;
    }
    let rows: Vec<&Published> = PUBLISHED
        .iter()
        .filter(|row| row.element == element && row.methods.contains(method) && row.units.contains(&unit))
        .collect();
    let at_depth = |row: &Published| row.response * row.depth.0 / depth.0;
    let values: Vec<f64> = rows.iter().map(|row| at_depth(row)).collect();
    if values.is_empty() {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let (low, high) = values.iter().fold((f64::INFINITY, 0.0f64), |(l, h), v| (l.min(*v), h.max(*v)));
    let sd = ((high - low) / 2.0).max(PRIOR_SPREAD * mean);
    let unit_of = format!("{unit} {PER}");
    let leaves = rows.iter().map(|row| {
        let formula = format!("{} × {} cm ÷ {} cm", num(round(row.response)), num(row.depth.0), num(depth.0));
        let figure = Figure::significant(at_depth(row), unit_of.clone(), 3);
        let leaf = Working::leaf(row.stated, Figure::significant(row.response, unit_of.clone(), 3), Origin::Published);
        Working::step("At the depth sampled", figure, formula, [leaf.cite(row.source)])
    });
    let working = Working::step(
        "Response as published",
        Figure::significant(mean, unit_of.clone(), 2),
        format!("mean of {}", rows.len()),
        leaves,
    )
    .cite(PRIOR_SPREAD_SOURCE)
    .note(format!("Spread taken: {} {unit_of} to each side.", num(round(sd))));
    Some(Prior { mean, sd, working })
}

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
    let Analyte::Element(element) = segment.analyte else { return Err(Skip::NotAnElement) };
    let Some(first) = segment.points.first() else { return Ok(vec![]) };
    let years = segment.years();
    let mut tests = Vec::with_capacity(segment.points.len());
    for (point, years) in segment.points.iter().zip(years) {
        let line = books.between(element, first.sampled_on, point.sampled_on);
        let Some(net) = line.net.known() else {
            return Err(Skip::NetNotKnown(line.brought.missing.into_iter().chain(line.carried.missing).collect()));
        };
        let sd = match segment.scale {
            Scale::Log => point.value * point.sigma.powi(2).exp_m1().sqrt(), // σ = √ln(1 + CV²), turned round
            Scale::Linear => point.sigma,
        };
        tests.push(TestAt { net_kg_per_ha: net.mid, years, found: point.found(), sd });
    }
    Ok(tests)
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
    pub working: Working,
}

impl Response {
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
    Some(settle(element, unit, own, (response, sd, own_share), prior.working.clone(), ceiling))
}

/// The responses of all plots of a farm for one element, extractant, unit and depth, in the
/// order given.
///
/// From four plots up that taught something, the farm takes the place of the published
/// figure: each plot is drawn towards the farm's mean by as much as its own error deserves
/// ([`shrink`]), and a plot that taught nothing takes the farm's mean. Under four, each is
/// held against the published figure by itself.
pub fn respond_farm(
    element: Element,
    unit: &str,
    own: Vec<Result<Fit, Skip>>,
    prior: Option<&Prior>,
    ceiling: Option<f64>,
) -> Vec<Option<Response>> {
    let fits: Vec<(f64, f64)> = own.iter().flatten().map(|fit| (fit.response, fit.se)).collect();
    let Some(farm) = shrink(&fits) else {
        return own.into_iter().map(|own| respond(element, unit, own, prior, ceiling)).collect();
    };
    let unit_of = format!("{unit} {PER}");
    let leaves = fits.iter().map(|(response, se)| {
        let figure = Figure::significant(*response, unit_of.clone(), 2);
        Working::leaf("One plot by its own tests", figure, Origin::Entered).note(format!("± {}", num(round(*se))))
    });
    let farm_working = Working::step(
        "Mean of the farm",
        Figure::significant(farm.mean, unit_of.clone(), 2),
        format!("mean of {} plots, each weighed by 1 ÷ (its variance + the variance between plots)", fits.len()),
        leaves,
    )
    .cite(FARM);
    let mut shrunken = farm.plots.iter();
    let mut one = |own: Result<Fit, Skip>| {
        let settled = match own {
            Ok(_) => shrunken.next().map(|plot| (plot.slope, plot.se, plot.own_share))?,
            // A plot of this farm, not the farm's mean itself: the plots differ.
            Err(_) => (farm.mean, (farm.between_plots + farm.se_mean.powi(2)).sqrt(), 0.0),
        };
        Some(settle(element, unit, own, settled, farm_working.clone(), ceiling))
    };
    own.into_iter().map(&mut one).collect()
}

/// Who says how plots are drawn together.
pub const FARM: Source = Source {
    publisher: "DerSimonian & Laird, Controlled Clinical Trials 7:177; Efron & Morris, Journal of the American Statistical Association 70:311",
    title: "Variance between plots by moments; empirical Bayes estimates",
    year: 1986,
    address: "",
    evidence: Evidence::Memory,
};

fn settle(
    element: Element,
    unit: &str,
    own: Result<Fit, Skip>,
    (response, sd, own_share): (f64, f64, f64),
    before: Working,
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
    let title = format!("Response of {}", element.name());
    let figure = Figure::significant(cut, unit_of, 2);
    let working = notes.into_iter().fold(Working::step(title, figure, formula, inputs), Working::note);
    Response { response: cut, sd, own_share, own, working }
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
            ..self.clone()
        }
    }

    /// 90 % interval of the change a year.
    pub fn interval_90(&self) -> (f64, f64) {
        (self.per_year - Z_90 * self.se, self.per_year + Z_90 * self.se)
    }

    /// What may be said about it.
    pub fn words(&self, element: Element, unit: &str) -> String {
        let (low, high) = self.interval_90();
        let name = capitalised(element.name());
        let range = format!("{} to {} {unit} a year", num(round(low)), num(round(high)));
        if low > 0.0 {
            format!("{name} rises more than what was added and removed explains: {range}.")
        } else if high < 0.0 {
            format!("{name} falls more than what was added and removed explains: {range}.")
        } else {
            format!(
                "What was added and removed explains the change in {}: what is left is {range}, and may be none.",
                element.name()
            )
        }
    }
}

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
    Some(Beyond {
        per_year,
        se: variance.sqrt() * birge,
        response,
        fitted,
        start: level0 - response * net0 - per_year * years0,
        tests: plain.len(),
        limits_left_out,
        notes,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::element::Form;

    #[test]
    fn the_oxide_factors_of_the_table_are_the_computed_ones() {
        assert!((P_IN_P2O5 - Form::P2O5.to_element()).abs() < 1e-6, "{}", Form::P2O5.to_element());
        assert!((K_IN_K2O - Form::K2O.to_element()).abs() < 1e-6, "{}", Form::K2O.to_element());
    }
}
