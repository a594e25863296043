//! The band in which the next test of a plot should fall, if what is planned is done, and
//! what to say when the test comes: where it fell, and how often the bands have held so
//! far. A forecast is written down when a plan is agreed and never changed afterwards, so
//! that trust in it is earned or withdrawn.

use super::{
    drift::{Found, Z_90},
    offtake::{Span, round},
    quantity::KgPerHa,
    source::{Evidence, Source},
    standing::num,
    working::{Figure, Origin, Working},
};
use serde::{Deserialize, Serialize};
use statrs::{
    distribution::{ContinuousCDF, Normal},
    function::beta::beta_reg,
};

/// The share of tests that a band is made to hold.
pub const BAND: f64 = 0.90;

/// How the band is made.
pub const METHOD: Source = Source {
    publisher: "Reference change value of clinical laboratories, with an expected change",
    title: "The second value differs from the expected one by the errors of both tests and of the expectation, combined in quadrature",
    year: 0,
    address: "http://biologicalvariation.com/RCV.html",
    evidence: Evidence::Read,
};

/// What a forecast is made from.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// The newest test, in its unit.
    pub found: f64,
    /// Its error, standard deviation on the natural-log scale.
    pub sigma: f64,
    /// The error that the next test will have, on the same scale.
    pub sigma_next: f64,
    /// What will come less what will go until then, kg/ha, with its range.
    pub net_kg_per_ha: Span,
    /// Test units per kg/ha, and its standard deviation.
    pub response: (f64, f64),
    /// Unit of the test.
    pub unit: String,
    /// How the newest test, the net and the response were come by.
    pub workings: Vec<Working>,
}

/// The band of the next test, in the unit of the test.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Forecast {
    pub expected: f64,
    /// The ends of the 90 % band.
    pub low: f64,
    pub high: f64,
    pub working: Working,
}

/// The band in which the next test should fall nine times in ten.
///
/// Expected = found + response × net. On the natural-log scale its variance is that of both
/// tests, of the response (net × its error ÷ expected) and of the net (response × half its
/// range ÷ 1.645 ÷ expected). The sentence says why where there is none.
pub fn forecast(outlook: &Outlook) -> Result<Forecast, String> {
    let Outlook { found, sigma, sigma_next, net_kg_per_ha: net, response: (response, sd), unit, workings } = outlook;
    let numbers = [*found, *sigma, *sigma_next, net.low, net.mid, net.high, *response, *sd];
    if numbers.iter().any(|v| !v.is_finite()) || *found <= 0.0 || *sigma <= 0.0 || *sigma_next <= 0.0 {
        return Err("The newest test is not a number that a forecast can start from.".into());
    }
    let expected = found + response * net.mid;
    if expected <= 0.0 {
        return Err(format!(
            "By this reckoning {} kg/ha net would leave less than nothing in the soil; the response or the offtake is wrong.",
            num(round(net.mid))
        ));
    }
    let of_response = net.mid * sd / expected;
    let of_net = response * (net.high - net.low) / 2.0 / Z_90 / expected;
    let spread = (sigma.powi(2) + sigma_next.powi(2) + of_response.powi(2) + of_net.powi(2)).sqrt();
    let (low, high) = (expected * (-Z_90 * spread).exp(), expected * (Z_90 * spread).exp());
    let formula = format!(
        "{} + {} × {} kg/ha = {} {unit}",
        num(round(*found)),
        num(round(*response)),
        num(round(net.mid)),
        num(round(expected))
    );
    let inputs = if workings.is_empty() {
        let leaf = |title: &str, value: f64, unit: &str| {
            Working::leaf(title, Figure::significant(value, unit, 3), Origin::Entered)
        };
        vec![
            leaf("Found", *found, unit),
            leaf("Net until then", net.mid, KgPerHa::UNIT),
            leaf("Response", *response, ""),
        ]
    } else {
        workings.clone()
    };
    let working = Working::step("Expected at the next test", Figure::significant(expected, unit.clone(), 3), formula, inputs)
        .cite(METHOD)
        .note(format!(
            "Nine tests in ten should fall from {} to {} {unit}: error of this test {} %, of the next {} %, of the response {} %, of the net {} %.",
            num(round(low)),
            num(round(high)),
            percent(*sigma),
            percent(*sigma_next),
            percent(of_response.abs()),
            percent(of_net.abs())
        ));
    Ok(Forecast { expected, low, high, working })
}

fn percent(sigma: f64) -> String {
    num((sigma * 100.0).round())
}

/// Where a later test fell.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Fell {
    Inside,
    Below,
    Above,
    /// Only a limit was printed, and it does not decide.
    CannotTell,
}

/// Where a test fell that was forecast to lie between two ends.
pub fn fell((low, high): (f64, f64), found: Found<f64>) -> Fell {
    match found {
        Found::Exact(value) if value < low => Fell::Below,
        Found::Exact(value) if value > high => Fell::Above,
        Found::Exact(value) if value.is_finite() => Fell::Inside,
        Found::Below(limit) if limit <= low => Fell::Below,
        Found::Above(limit) if limit >= high => Fell::Above,
        _ => Fell::CannotTell,
    }
}

impl Fell {
    /// In one word, for lists.
    pub const fn word(self) -> &'static str {
        match self {
            Fell::Inside => "inside",
            Fell::Below => "below",
            Fell::Above => "above",
            Fell::CannotTell => "cannot tell",
        }
    }

    /// The sentence of the page: what was expected and what came.
    pub fn words(self, (low, high): (f64, f64), unit: &str) -> String {
        let band = format!("{} to {} {unit}", num(round(low)), num(round(high)));
        match self {
            Fell::Inside => format!("As expected: it was to fall between {band}."),
            Fell::Below => {
                format!("Lower than expected ({band}): more left than was written down, or less took effect.")
            }
            Fell::Above => {
                format!("Higher than expected ({band}): more came than was written down, or more took effect.")
            }
            Fell::CannotTell => format!("Only a limit was printed; it was to fall between {band}."),
        }
    }
}

/// The ends of a narrower band out of a 90 % one, on the natural-log scale that it was made
/// on: `share` of the tests should fall inside. `None` for ends or a share that make no sense.
pub fn narrower((low, high): (f64, f64), share: f64) -> Option<(f64, f64)> {
    if !(low > 0.0 && high >= low && high.is_finite() && (0.0..1.0).contains(&share)) {
        return None;
    }
    let half = (high / low).ln() / 2.0 * Normal::standard().inverse_cdf((1.0 + share) / 2.0) / Z_90;
    let middle = (low * high).sqrt();
    Some((middle * (-half).exp(), middle * half.exp()))
}

/// How often the bands held.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Calibration {
    /// The share of the tests that the bands were made to hold.
    pub nominal: f64,
    pub held: u64,
    pub tests: u64,
    /// 95 % interval of the true share, exact (Clopper & Pearson 1934, Biometrika 26:404).
    pub low: f64,
    pub high: f64,
}

/// How often the bands of these tests held; tests that cannot tell are left out. `None`
/// without any that can.
pub fn calibration(fell: impl IntoIterator<Item = Fell>) -> Option<Calibration> {
    calibration_of(fell, BAND)
}

/// The same for bands that were made to hold another share.
pub fn calibration_of(fell: impl IntoIterator<Item = Fell>, nominal: f64) -> Option<Calibration> {
    let (mut held, mut tests) = (0, 0);
    for fell in fell.into_iter().filter(|fell| *fell != Fell::CannotTell) {
        tests += 1;
        held += u64::from(fell == Fell::Inside);
    }
    let (low, high) = exact_interval(held, tests, 0.95)?;
    Some(Calibration { nominal, held, tests, low, high })
}

impl Calibration {
    /// Share of the tests that fell inside.
    pub fn share(&self) -> f64 {
        self.held as f64 / self.tests as f64
    }

    /// What may be said of the forecasts.
    pub fn words(&self) -> String {
        let Calibration { nominal, held, tests, low, high } = *self;
        let should = num((nominal * 100.0).round() / 10.0);
        let so_far = format!("{held} of {tests} tests fell inside their band, where {should} in 10 should");
        if high < nominal {
            format!("{so_far}: the bands are too narrow, so do not lean on them.")
        } else if low > nominal {
            format!("{so_far}: the bands are wider than they need be.")
        } else if tests < 20 {
            format!("{so_far}; that agrees, but {tests} say little yet.")
        } else {
            format!("{so_far}: the bands can be trusted.")
        }
    }
}

/// Exact interval of a share by Clopper and Pearson: each end leaves half of what is
/// outside `confidence` beyond it. `None` for no trials, or more successes than trials.
pub fn exact_interval(successes: u64, trials: u64, confidence: f64) -> Option<(f64, f64)> {
    if trials == 0 || successes > trials || !(0.0..1.0).contains(&confidence) {
        return None;
    }
    let tail = (1.0 - confidence) / 2.0;
    let (k, n) = (successes as f64, trials as f64);
    let low = if successes == 0 { 0.0 } else { beta_quantile(k, n - k + 1.0, tail) };
    let high = if successes == trials { 1.0 } else { beta_quantile(k + 1.0, n - k, 1.0 - tail) };
    Some((low, high))
}

/// The share below which a beta law has probability `p`, by halving: monotone, so it cannot miss.
fn beta_quantile(a: f64, b: f64, p: f64) -> f64 {
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..60 {
        let middle = 0.5 * (low + high);
        if beta_reg(a, b, middle) < p { low = middle } else { high = middle }
    }
    0.5 * (low + high)
}
