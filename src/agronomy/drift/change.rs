//! Two tests, and what so few can show: the least significant change. From the third test
//! on, comparing pairs raises false alarms, and the line of `known_error` takes over.

use super::{Scale, Z_90, normal_below};

/// Two tests of one segment held against each other.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TwoTests {
    /// On the scale: ln(second/first), or second − first for pH.
    pub change: f64,
    /// Standard deviation of that change where nothing changed.
    pub sigma: f64,
    /// Change in its own standard deviations.
    pub z: f64,
    /// Chance of a change at least as large, either way, where nothing changed.
    pub p_two_sided: f64,
    /// Least rise and least fall beyond the error at the confidence asked for, on the scale
    /// taken back: for concentrations percent of the first value, for pH units.
    pub least_rise: f64,
    pub least_fall: f64,
    /// Whether the change is beyond them.
    pub significant: bool,
}

/// Compares a first and a second finding, each (value, σ on the scale), with `z` standard
/// deviations for the confidence wanted (two-sided).
///
/// On the logarithmic scale rise and fall differ: exp(±z√(σ₁²+σ₂²)); the same formula as the
/// reference change value of clinical laboratories (Fokkema et al. 2006). `None` for values
/// that have no place on the scale.
pub fn two_tests(scale: Scale, first: (f64, f64), second: (f64, f64), z: f64) -> Option<TwoTests> {
    let change = scale.put(second.0) - scale.put(first.0);
    let sigma = first.1.hypot(second.1);
    if !change.is_finite() || !sigma.is_finite() || sigma <= 0.0 {
        return None;
    }
    let back = |scaled: f64| match scale {
        Scale::Log => 100.0 * scaled.exp_m1(),
        Scale::Linear => scaled,
    };
    Some(TwoTests {
        change,
        sigma,
        z: change / sigma,
        p_two_sided: 2.0 * normal_below(-(change / sigma).abs()),
        least_rise: back(z * sigma),
        least_fall: back(-z * sigma),
        significant: change.abs() > z * sigma,
    })
}

/// How far the second test is from what was put on and taken off since the first: the
/// expected level is first + response × net, and its own error widens the comparison.
/// `net` in kg/ha of the element, `response` (value, σ) in mg/kg per kg/ha. Returns the
/// expected level and the distance in standard deviations.
pub fn beyond_expectation(
    first: (f64, f64),
    second: (f64, f64),
    net_kg_per_ha: f64,
    response: (f64, f64),
) -> Option<(f64, f64)> {
    let expected = first.0 + response.0 * net_kg_per_ha;
    let of_response = net_kg_per_ha * response.1 / expected;
    let sigma = (first.1.powi(2) + second.1.powi(2) + of_response.powi(2)).sqrt();
    let z = (second.0 / expected).ln() / sigma;
    (expected > 0.0 && z.is_finite()).then_some((expected, z))
}

/// The least slope, per year on the scale, that tests at these years could tell from none
/// (90 % interval), each with error `sigma`. `None` with fewer than two times.
pub fn smallest_visible_slope(years: &[f64], sigma: f64) -> Option<f64> {
    let mean = years.iter().sum::<f64>() / years.len() as f64;
    let spread: f64 = years.iter().map(|t| (t - mean).powi(2)).sum();
    (spread > 0.0 && spread.is_finite()).then(|| Z_90 * sigma / spread.sqrt())
}

/// Normal quantile below which four in five lie.
const Z_FOUR_IN_FIVE: f64 = 0.841_621_233_572_914_3;

/// The slope, per year on the scale, that tests at these years tell from none four times in five:
/// so steep that its 90 % interval then leaves 0 out. `None` with fewer than two times.
pub fn slope_mostly_seen(years: &[f64], sigma: f64) -> Option<f64> {
    smallest_visible_slope(years, sigma).map(|least| least * (Z_90 + Z_FOUR_IN_FIVE) / Z_90)
}
