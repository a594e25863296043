//! A straight line through tests whose error is known beforehand. The slope's uncertainty
//! comes from that error, and is widened, never narrowed, where the tests scatter more.
//! Values below or above a limit enter by their likelihood, never as a number.

use super::{Found, Z_90, normal_below};
use statrs::function::gamma::gamma_ur;

/// A finding on its scale, with its known standard deviation.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Weighed {
    pub years: f64,
    pub found: Found<f64>,
    pub sigma: f64,
}

/// One slope for all segments, one level for each.
#[derive(Clone, Debug, PartialEq)]
pub struct KnownErrorLine {
    /// Per year, on the scale of the values.
    pub slope: f64,
    /// Standard error of the slope from the known errors alone.
    pub se_slope: f64,
    /// Level at year 0 of each segment; `None` for one without any plain value.
    pub intercepts: Vec<Option<f64>>,
    /// Standard error of the first level, for a single segment.
    pub se_intercept: Option<f64>,
    /// Natural logarithm of the likelihood.
    pub log_likelihood: f64,
    /// Squared distances from the line in units of the known errors; for limits, twice the
    /// logarithm of what they cost.
    pub chi2: f64,
    /// Plain values less the levels and the slope fitted.
    pub degrees_of_freedom: usize,
    /// Chance of so much scatter if the stated errors are right; `None` without freedom.
    pub p_scatter: Option<f64>,
    /// √(χ²/freedom) where above 1, else 1: how much the stated error must be widened (Birge 1932).
    pub birge: f64,
}

impl KnownErrorLine {
    /// 90 % interval of the slope, widened by the Birge ratio.
    pub fn interval_90(&self) -> (f64, f64) {
        let half = Z_90 * self.se_slope * self.birge;
        (self.slope - half, self.slope + half)
    }

    /// The slope in its standard errors, by the known errors alone.
    pub fn z(&self) -> f64 {
        self.slope / self.se_slope
    }

    /// Chance of a slope at least as steep, either way, where nothing changes: by the known errors alone.
    pub fn p_two_sided(&self) -> f64 {
        2.0 * normal_below(-self.z().abs())
    }

    /// Whether the 90 % interval leaves 0 out.
    pub fn excludes_zero(&self) -> bool {
        let (low, high) = self.interval_90();
        low > 0.0 || high < 0.0
    }

    /// Probability that the true slope is below 0, from the known errors alone.
    pub fn probability_falling(&self) -> f64 {
        normal_below(-self.z())
    }

    /// Whether the tests scatter more than the stated errors explain (chance under 5 %).
    pub fn scatters_too_much(&self) -> bool {
        self.p_scatter.is_some_and(|p| p < 0.05)
    }
}

/// One segment while it is being fitted.
struct Strand<'a> {
    points: &'a [Weighed],
    /// Weighted mean of the years, taken off for the sake of the arithmetic.
    centre: f64,
    level: f64,
    /// The part of its log-likelihood that no line changes: what the plain values' errors alone cost.
    fixed: f64,
}

/// ½ ln 2π.
const HALF_LN_TAU: f64 = 0.918_938_533_204_672_8;

/// Fits one slope and a level per segment by maximum likelihood with known errors.
///
/// With plain values only it is weighted least squares, weights 1/σ². `None` where the
/// findings do not bound the slope (too few, all at one time, limits on one side only).
/// Segments without a plain value are passed over.
pub fn known_error(segments: &[Vec<Weighed>]) -> Option<KnownErrorLine> {
    let usable =
        |p: &Weighed| p.years.is_finite() && p.found.number().is_finite() && p.sigma.is_finite() && p.sigma > 0.0;
    if !segments.iter().flatten().all(usable) {
        return None;
    }
    let mut strands: Vec<_> = segments.iter().filter_map(|points| Strand::start(points)).collect();
    let mut slope = 0.0;
    let mut settled = false;
    let mut fit = likelihood(&strands, slope);
    for _ in 0..200 {
        let step = fit.newton_step()?;
        // Damped where the full step would make things worse.
        let (from_slope, from): (f64, Vec<f64>) = (slope, strands.iter().map(|strand| strand.level).collect());
        let mut length = 1.0;
        let next = loop {
            slope = from_slope + length * step.slope;
            for ((strand, from), by) in strands.iter_mut().zip(&from).zip(&step.levels) {
                strand.level = from + length * by;
            }
            let next = likelihood(&strands, slope);
            if next.log_likelihood >= fit.log_likelihood - 1e-12 * (1.0 + fit.log_likelihood.abs()) || length < 1e-6 {
                break next;
            }
            length /= 2.0;
        };
        fit = next;
        let small = |by: f64, of: f64| by.abs() <= 1e-13 * (1.0 + of.abs());
        if small(step.slope, slope) && strands.iter().zip(&step.levels).all(|(s, by)| small(*by, s.level)) {
            settled = true;
            break;
        }
        if !slope.is_finite() || slope.abs() > 1e6 {
            return None;
        }
    }
    // Close enough where rounding keeps the last digits moving; a slope that runs away is not.
    let step = fit.newton_step()?;
    if !settled && step.slope.abs() > 1e-9 * (1.0 + slope.abs()) {
        return None;
    }

    let plain = strands.iter().flat_map(|strand| strand.points).filter(|point| point.found.is_exact()).count();
    let all: usize = strands.iter().map(|strand| strand.points.len()).sum();
    let fitted = strands.len() + 1;
    // Limits far from the line agree with anything, so they do not count as freedom.
    let degrees_of_freedom = plain.saturating_sub(fitted).max(usize::from(all > fitted));
    let freedom = degrees_of_freedom as f64;
    let p_scatter =
        (degrees_of_freedom > 0).then(|| if fit.chi2 > 0.0 { gamma_ur(freedom / 2.0, fit.chi2 / 2.0) } else { 1.0 });
    let birge = if degrees_of_freedom > 0 { (fit.chi2 / freedom).sqrt().max(1.0) } else { 1.0 };
    let se_slope = fit.information_on_slope().sqrt().recip();
    let se_intercept = match (&strands[..], &fit.curves[..]) {
        ([strand], [curve]) => {
            let far = strand.centre + curve.years / curve.weight;
            Some((curve.weight.recip() + (far * se_slope).powi(2)).sqrt())
        }
        _ => None,
    };
    let mut fitted = strands.iter().map(|strand| strand.level - slope * strand.centre);
    let intercepts = segments
        .iter()
        .map(|points| if points.iter().any(|p| p.found.is_exact()) { fitted.next() } else { None })
        .collect();
    Some(KnownErrorLine {
        slope,
        se_slope,
        intercepts,
        se_intercept,
        log_likelihood: fit.log_likelihood,
        chi2: fit.chi2,
        degrees_of_freedom,
        p_scatter,
        birge,
    })
}

impl<'a> Strand<'a> {
    fn start(points: &'a [Weighed]) -> Option<Strand<'a>> {
        let plain = || points.iter().filter(|point| point.found.is_exact());
        let weight: f64 = plain().map(|point| point.sigma.powi(-2)).sum();
        let mean = |of: fn(&Weighed) -> f64| plain().map(|p| of(p) * p.sigma.powi(-2)).sum::<f64>() / weight;
        (weight > 0.0).then(|| Strand {
            points,
            centre: mean(|p| p.years),
            level: mean(|p| p.found.number()),
            fixed: plain().map(|p| -HALF_LN_TAU - p.sigma.ln()).sum(),
        })
    }
}

/// Second derivatives of one strand's log-likelihood (turned positive) and the first ones.
#[derive(Default)]
struct Curve {
    weight: f64,
    years: f64,
    years2: f64,
    pull_level: f64,
    pull_slope: f64,
}

struct Fit {
    log_likelihood: f64,
    chi2: f64,
    curves: Vec<Curve>,
}

struct Step {
    slope: f64,
    levels: Vec<f64>,
}

impl Fit {
    /// What is known of the slope once every level has adjusted to it.
    fn information_on_slope(&self) -> f64 {
        self.curves.iter().map(|c| c.years2 - c.years * c.years / c.weight).sum()
    }

    /// Newton's step; each level meets only the slope, so the system folds to one equation.
    fn newton_step(&self) -> Option<Step> {
        let information = self.information_on_slope();
        let scale: f64 = self.curves.iter().map(|c| c.years2).sum();
        if !information.is_finite() || information <= 1e-12 * scale.max(f64::MIN_POSITIVE) {
            return None;
        }
        let pull: f64 = self.curves.iter().map(|c| c.pull_slope - c.years / c.weight * c.pull_level).sum();
        let slope = pull / information;
        let levels = self.curves.iter().map(|c| (c.pull_level - c.years * slope) / c.weight).collect();
        Some(Step { slope, levels })
    }
}

fn likelihood(strands: &[Strand], slope: f64) -> Fit {
    let mut fit = Fit { log_likelihood: 0.0, chi2: 0.0, curves: vec![] };
    for strand in strands {
        let mut curve = Curve::default();
        fit.log_likelihood += strand.fixed;
        for point in strand.points {
            let years = point.years - strand.centre;
            let u = (point.found.number() - strand.level - slope * years) / point.sigma;
            // Value, first derivative by the fitted level times σ, and curvature times σ².
            let (value, cost, pull, bend) = match point.found {
                Found::Exact(_) => (-0.5 * u * u, u * u, u, 1.0),
                Found::Below(_) => {
                    let (value, ratio) = log_tail(u);
                    (value, -2.0 * value, -ratio, ratio * (ratio + u))
                }
                Found::Above(_) => {
                    let (value, ratio) = log_tail(-u);
                    (value, -2.0 * value, ratio, ratio * (ratio - u))
                }
            };
            let weight = bend.max(0.0) / point.sigma.powi(2);
            fit.log_likelihood += value;
            fit.chi2 += cost;
            curve.weight += weight;
            curve.years += weight * years;
            curve.years2 += weight * years * years;
            curve.pull_level += pull / point.sigma;
            curve.pull_slope += pull / point.sigma * years;
        }
        fit.curves.push(curve);
    }
    fit
}

/// ln Φ(u), and φ(u)/Φ(u); by the tail's series where Φ itself would vanish.
fn log_tail(u: f64) -> (f64, f64) {
    let log_density = -0.5 * u * u - HALF_LN_TAU;
    let log_share = if u > -20.0 {
        normal_below(u).ln()
    } else {
        let inverse2 = u.powi(-2);
        // Mills: Φ(u) = φ(u)/|u| (1 - 1/u² + 3/u⁴ - 15/u⁶ + …)
        let series = 1.0 - inverse2 * (1.0 - inverse2 * (3.0 - inverse2 * (15.0 - inverse2 * 105.0)));
        log_density - (-u).ln() + series.ln()
    };
    (log_share, (log_density - log_share).exp())
}
