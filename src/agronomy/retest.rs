//! What another test would be worth before a decision: where a shortage is uncertain, how
//! likely a retest is to change what would be done, and how much loss that spares on
//! average. Costs are the grower's; nothing in here knows a price.

use super::{
    confidence::sigma_ln,
    drift::Scale,
    offtake::round,
    source::{Evidence, Source},
    standing::num,
};
use statrs::distribution::{Continuous, ContinuousCDF, Normal};

/// How the value of a retest is reckoned.
pub const METHOD: Source = Source {
    publisher: "Raiffa & Schlaifer, Applied Statistical Decision Theory",
    title: "Expected value of sample information, for a choice between applying and leaving it",
    year: 1961,
    address: "",
    evidence: Evidence::Memory,
};

/// Steps of the integration to each side of the turning point.
const STEPS: usize = 2_000;

/// What is known and what is at stake.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Question {
    pub scale: Scale,
    /// The test, and the level under which the plot is short, in the unit of the test.
    pub found: f64,
    pub target: f64,
    /// Error of one test on the scale: of the one at hand, and of another like it.
    pub sigma: f64,
    /// What the grower's other plots say beforehand by the same method: their middle level in
    /// the unit of the test (geometric mean for concentrations) and their spread on the scale.
    pub others: Option<(f64, f64)>,
    /// What is lost by applying where nothing was short: product and work.
    pub cost_needless: f64,
    /// What is lost by leaving a plot short: yield.
    pub cost_missed: f64,
    /// What the retest costs.
    pub price: f64,
}

impl Question {
    /// A question about a concentration whose error is a coefficient of variation.
    pub fn of_concentration(found: f64, target: f64, cv: f64) -> Question {
        Question {
            scale: Scale::Log,
            found,
            target,
            sigma: sigma_ln(cv),
            others: None,
            cost_needless: 0.0,
            cost_missed: 0.0,
            price: 0.0,
        }
    }
}

/// What a retest is worth.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Retest {
    /// Best estimate of the level on the scale, and its standard deviation.
    pub mean: f64,
    pub sd: f64,
    /// Chance that the plot is short.
    pub p_below: f64,
    /// The chance from which applying costs less than leaving: needless ÷ (needless + missed).
    pub p_apply: f64,
    /// Whether to apply by what is known now.
    pub apply_now: bool,
    /// Loss to be expected now, and after a retest.
    pub loss_now: f64,
    pub loss_after: f64,
    /// What the retest spares on average; never below 0.
    pub value: f64,
    /// What knowing the truth would spare: no test is worth more.
    pub ceiling: f64,
    /// Chance that the retest changes the decision.
    pub p_flip: f64,
    /// The retest's reading at which the decision turns, in the unit of the test.
    pub break_even: f64,
    /// Whether it spares more than it costs.
    pub worth_it: bool,
}

/// The value of one more test like the last.
///
/// The level is normal on its scale around the test (and the other plots, where given). The
/// best estimate after a retest is itself normal around the present one, with variance
/// v²/(v + s²); the loss after it is integrated over that by Simpson's rule, split where
/// the decision turns. `None` for costs or errors that are not above zero, and for values
/// without a place on the scale.
pub fn value(question: &Question) -> Option<Retest> {
    let Question { scale, found, target, sigma, others, cost_needless, cost_missed, price } = *question;
    let (reading, target) = (scale.put(found), scale.put(target));
    let (mean, variance) = match others {
        Some((middle, spread)) => {
            let (own, before) = (sigma.powi(-2), spread.powi(-2));
            ((scale.put(middle) * before + reading * own) / (own + before), (own + before).recip())
        }
        None => (reading, sigma * sigma),
    };
    let positive = [sigma, variance, cost_needless, cost_missed];
    if positive.iter().any(|v| !(v.is_finite() && *v > 0.0)) || !(mean.is_finite() && target.is_finite()) {
        return None;
    }
    let normal = Normal::standard();
    let p_apply = cost_needless / (cost_needless + cost_missed);
    let p_below = normal.cdf((target - mean) / variance.sqrt());
    let loss = |p: f64| ((1.0 - p) * cost_needless).min(p * cost_missed);
    let loss_now = loss(p_below);
    let apply_now = p_below >= p_apply;

    // After the retest: variance of the level, and spread of the new best estimate.
    let after = (variance * sigma * sigma / (variance + sigma * sigma)).sqrt();
    let spread = variance / (variance + sigma * sigma).sqrt();
    let turn = target - normal.inverse_cdf(p_apply) * after;
    let weighed = |new: f64| normal.pdf((new - mean) / spread) / spread * loss(normal.cdf((target - new) / after));
    let (low, high) = (mean - 8.0 * spread, mean + 8.0 * spread);
    let split = turn.clamp(low, high);
    let loss_after = simpson(&weighed, low, split) + simpson(&weighed, split, high);
    let applied_after = normal.cdf((turn - mean) / spread);
    let value = (loss_now - loss_after).max(0.0);
    let own = sigma.powi(-2);
    Some(Retest {
        mean,
        sd: variance.sqrt(),
        p_below,
        p_apply,
        apply_now,
        loss_now,
        loss_after,
        value,
        ceiling: loss_now,
        p_flip: if apply_now { normal.cdf((mean - turn) / spread) } else { applied_after },
        break_even: scale.take((turn * (variance.recip() + own) - mean / variance) / own),
        worth_it: value > price,
    })
}

/// What a retest is worth where the loss grows evenly with how wrong the decision was.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct EvenLoss {
    /// Spread of the best estimate after the retest, on the scale.
    pub sd_of_new_mean: f64,
    /// What the retest spares on average.
    pub value: f64,
    /// What knowing the truth would spare.
    pub ceiling: f64,
}

/// The unit normal loss: the mean of what a standard normal has above `u`, `u` at least 0.
pub fn unit_normal_loss(u: f64) -> f64 {
    let normal = Normal::standard();
    normal.pdf(u) - u * normal.cdf(-u)
}

/// The value of a retest where being wrong costs `per_unit` for each unit on the scale between the
/// level and the target, applying and leaving alike ([`METHOD`], linear loss). `from_target` is the best
/// estimate less the target, `sd` its standard deviation, `sigma` the error of the retest, all on the scale.
/// `None` for errors that are not above 0.
pub fn value_of_even_loss(from_target: f64, sd: f64, sigma: f64, per_unit: f64) -> Option<EvenLoss> {
    if [sd, sigma].iter().any(|v| !(v.is_finite() && *v > 0.0)) || !from_target.is_finite() || !per_unit.is_finite() {
        return None;
    }
    let sd_of_new_mean = sd * sd / sd.hypot(sigma);
    let spared = |spread: f64| per_unit * spread * unit_normal_loss(from_target.abs() / spread);
    Some(EvenLoss { sd_of_new_mean, value: spared(sd_of_new_mean), ceiling: spared(sd) })
}

/// What other plots say beforehand: their middle level in the unit of the test, and their
/// spread on the scale. `None` for fewer than two, or all alike.
pub fn spread(scale: Scale, levels: &[f64]) -> Option<(f64, f64)> {
    let placed: Vec<f64> = levels.iter().map(|level| scale.put(*level)).filter(|level| level.is_finite()).collect();
    let n = placed.len() as f64;
    let mean = placed.iter().sum::<f64>() / n;
    let spread = (placed.iter().map(|level| (level - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
    (placed.len() > 1 && spread > 0.0).then(|| (scale.take(mean), spread))
}

fn simpson(f: &impl Fn(f64) -> f64, from: f64, to: f64) -> f64 {
    let step = (to - from) / STEPS as f64;
    if step <= 0.0 {
        return 0.0;
    }
    let inner: f64 = (1..STEPS).map(|i| f(from + i as f64 * step) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
    (f(from) + inner + f(to)) * step / 3.0
}

impl Retest {
    /// What to do by what is known, and which reading would turn it.
    pub fn turning(&self, unit: &str) -> String {
        let now = if self.apply_now { "By this test, apply" } else { "By this test, leave it" };
        let side = if self.apply_now { "above" } else { "below" };
        let unit = if unit.is_empty() { String::new() } else { format!(" {unit}") };
        let turn = format!("a reading {side} {}{unit} would change that", num(round(self.break_even)));
        let chance = if self.p_flip < 0.005 { "under 1".to_owned() } else { format!("{:.0}", self.p_flip * 100.0) };
        format!("{now}; {turn} (chance {chance}\u{a0}%).")
    }

    /// What may be said about it: what to do now, and whether another test helps.
    pub fn words(&self, unit: &str) -> String {
        let worth =
            if self.worth_it { "Another test is worth its price." } else { "Another test is not worth its price." };
        format!("{} {worth}", self.turning(unit))
    }
}
