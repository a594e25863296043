//! From computed grams to what a scale can weigh. Doses are rounded to the weighing step,
//! down wherever rounding up would pass a cap, a rate limit or what was bought. A dose less
//! than one step is never made zero: it is marked, for a carrier mix or a solution.

use super::super::source::{Evidence, Source};
use super::account::totals_g;
use super::clean::{Problem, named};
use super::notes::{Named, Note};
use super::packs;

/// Mixing and dissolving small doses as done in the trade: 5 to 20 parts of dry sand,
/// compost or base fertiliser and at least about 1 kg of it per 10 m².
pub const CARRIER_PRACTICE: Source = Source {
    publisher: "",
    title: "Even spreading of small doses",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// Carrier per m² that can still be spread evenly by hand, g.
const CARRIER_G_PER_M2: f64 = 100.0;
/// Parts of carrier to one of product that are mixed in any case.
const LEAST_PARTS: f64 = 5.0;
/// Parts of carrier in a first, stronger mix.
const FIRST_PARTS: f64 = 9.0;
/// Weighing fewer steps than this is off by more than 5 %.
const SURE_STEPS: f64 = 10.0;
/// Rounding that moves a dose more than this share is pointed out.
const COARSE: f64 = 0.10;

/// A dose thinner than this is hard to spread evenly by hand without a carrier, g/m²: our own choice.
const THIN_G_PER_M2: f64 = 5.0;

/// Whether a dose wants a carrier or water: too little to weigh within 5 % on a scale with
/// this step, or too thin to spread evenly by hand.
pub fn wants_carrier(dose_g: f64, area_m2: f64, step_g: f64) -> bool {
    dose_g > 0.0 && (dose_g < SURE_STEPS * step_g || dose_g < THIN_G_PER_M2 * area_m2)
}

/// A dose in whole steps of the scale, never more than it; below one step it stays as it is.
pub fn on_scale(dose_g: f64, step_g: f64) -> f64 {
    if dose_g.is_finite() && step_g > 0.0 && dose_g >= step_g { down(dose_g, step_g) } else { dose_g }
}

/// Whether a scale with this step shows a dose as it is: whole steps, or less than one, which
/// is measured out of a mix.
pub fn is_on_scale(dose_g: f64, step_g: f64) -> bool {
    (on_scale(dose_g, step_g) - dose_g).abs() <= 1e-6 * step_g
}

/// One dose of the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Dose {
    pub plot: Named,
    pub product: Named,
    /// As computed, g.
    pub exact_g: f64,
    /// As it will be weighed, g; the accounting uses this.
    pub weigh_g: f64,
    /// `weigh_g` over the plot's area.
    pub g_per_m2: f64,
    pub locked: bool,
    pub weighing: Weighing,
}

/// How a dose meets the scale.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Weighing {
    /// No weighing step given, or the person fixed the dose.
    AsComputed,
    /// Rounded to the nearest step.
    Nearest,
    /// Rounded down: a cap, a rate limit or the packs leave no room to round up.
    Down,
    /// Less than one step: needs a carrier mix or a solution. Not rounded.
    BelowScale,
}

fn nearest(g: f64, step: f64) -> f64 {
    (g / step).round().max(1.0) * step
}

fn down(g: f64, step: f64) -> f64 {
    // A dose computed as 2.9999999999 steps is three.
    (g / step + 1e-9).floor().max(1.0) * step
}

/// Doses as they will be weighed, and the same as plot × product grams.
pub(super) fn weigh(problem: &Problem, exact: &[Vec<f64>]) -> (Vec<Dose>, Vec<Vec<f64>>) {
    let products = &problem.products;
    let free = |b: usize, p: usize| !problem.plots[b].is_held(p);
    let step = |b: usize, p: usize| products[p].scale_step_g.filter(|s| free(b, p) && exact[b][p] >= *s);
    let mut weighed = exact.to_vec();
    let mut floored = vec![vec![false; products.len()]; exact.len()];
    let floor = |weighed: &mut Vec<Vec<f64>>, floored: &mut Vec<Vec<bool>>, b: usize, p: usize| {
        if let Some(s) = step(b, p) {
            weighed[b][p] = down(exact[b][p], s).min(weighed[b][p]);
            floored[b][p] = true;
        }
    };
    for (b, plot) in problem.plots.iter().enumerate() {
        for p in 0..products.len() {
            if let Some(s) = step(b, p) {
                weighed[b][p] = nearest(exact[b][p], s);
                let rate = products[p].rate_max_g_per_m2.unwrap_or(f64::INFINITY);
                if weighed[b][p] > rate * plot.area_m2 {
                    floor(&mut weighed, &mut floored, b, p);
                }
            }
        }
        for limit in &plot.limits {
            let used: f64 = limit.per_gram.iter().zip(&weighed[b]).map(|(c, g)| c * g).sum();
            if used > limit.left.max(0.0) * plot.area_m2 {
                (0..products.len())
                    .filter(|&p| limit.per_gram[p] > 0.0)
                    .for_each(|p| floor(&mut weighed, &mut floored, b, p));
            }
        }
    }
    let prices = packs::search_prices(products);
    let (before, after) = (totals_g(problem, exact), totals_g(problem, &weighed));
    for p in 0..products.len() {
        // Rounding must not open another pack, spend more, or use what is not there.
        let product = &products[p];
        let dearer = problem.budget_minor.is_some() || product.whole_packs;
        let more = packs::cost(product, &prices[p], after[p]) > packs::cost(product, &prices[p], before[p]);
        let gone = product.packs.is_empty() && after[p] > product.stock_g;
        if gone || dearer && more {
            (0..exact.len()).for_each(|b| floor(&mut weighed, &mut floored, b, p));
        }
    }
    let mut doses = Vec::new();
    for (b, plot) in problem.plots.iter().enumerate() {
        for (p, product) in products.iter().enumerate() {
            let (exact_g, weigh_g, locked) = (exact[b][p], weighed[b][p], !free(b, p));
            if exact_g <= 0.0 && !locked {
                continue;
            }
            let weighing = match product.scale_step_g {
                Some(s) if exact_g > 0.0 && exact_g < s => Weighing::BelowScale,
                Some(_) if !locked && floored[b][p] => Weighing::Down,
                Some(_) if !locked => Weighing::Nearest,
                _ => Weighing::AsComputed,
            };
            let g_per_m2 = weigh_g / plot.area_m2;
            let (plot, product) = (plot.named(), named(product));
            doses.push(Dose { plot, product, exact_g, weigh_g, g_per_m2, locked, weighing });
        }
    }
    (doses, weighed)
}

/// Doses that the scale cannot weigh, or only roughly.
pub(super) fn below_scale_notes(problem: &Problem, doses: &[Dose]) -> Vec<Note> {
    let step = |dose: &Dose| {
        let p = problem.products.binary_search_by_key(&dose.product.key, |p| p.key).ok()?;
        problem.products[p].scale_step_g
    };
    let note = |dose: &Dose| {
        let (plot, product) = (dose.plot.clone(), dose.product.clone());
        match dose.weighing {
            Weighing::BelowScale => Some(Note::BelowScale { plot, product, dose_g: dose.exact_g, step_g: step(dose)? }),
            _ if (dose.weigh_g - dose.exact_g).abs() > COARSE * dose.exact_g => {
                Some(Note::Coarse { plot, product, exact_g: dose.exact_g, weigh_g: dose.weigh_g })
            }
            _ => None,
        }
    };
    doses.iter().filter_map(note).collect()
}

/// A dry mix that carries small doses of one product to several plots.
#[derive(Clone, Debug, PartialEq)]
pub struct CarrierMix {
    /// Product to weigh, g: a whole number of steps, at least ten.
    pub product_g: f64,
    /// Where the doses together are too little to weigh well, a stronger mix comes first and
    /// only some of it goes on.
    pub first: Option<FirstMix>,
    /// Dry sand, compost or base fertiliser for the mix that is spread, g.
    pub carrier_g: f64,
    /// Parts of carrier to one part of product in the mix that is spread.
    pub parts: f64,
    /// Grams of the mix for each plot, in the order given.
    pub portions_g: Vec<f64>,
    /// What is left of the last mix because the product was weighed in whole steps, g.
    pub left_over_g: f64,
}

/// A first, stronger mix.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FirstMix {
    /// Carrier for it, g.
    pub carrier_g: f64,
    /// Parts of carrier to one of product.
    pub parts: f64,
    /// Grams of it that go into the mix that is spread; the rest is kept, labelled.
    pub take_g: f64,
}

/// A mix for these (dose in g, area in m²) of one product on a scale with this step, g.
/// `None` when there is nothing to mix.
pub fn carrier_mix(doses: &[(f64, f64)], step_g: f64) -> Option<CarrierMix> {
    let good = |x: f64| x.is_finite() && x > 0.0;
    let part = |&(g, area): &(f64, f64)| if good(g) && good(area) { g } else { 0.0 };
    let total: f64 = doses.iter().map(part).sum();
    if !good(total) || !good(step_g) {
        return None;
    }
    // One strength for all, so the plot with the thinnest dose decides how far to dilute.
    let thinnest = doses.iter().filter(|d| part(d) > 0.0).map(|(g, area)| g / area).fold(f64::INFINITY, f64::min);
    let parts = (CARRIER_G_PER_M2 / thinnest - 1e-9).ceil().max(LEAST_PARTS);
    let sure_g = SURE_STEPS * step_g;
    let portions_g: Vec<f64> = doses.iter().map(|d| part(d) * (1.0 + parts)).collect();
    if total < sure_g {
        let first_parts = (sure_g / total - 1.0 - 1e-9).ceil().clamp(FIRST_PARTS, parts.max(FIRST_PARTS));
        let first =
            FirstMix { carrier_g: sure_g * first_parts, parts: first_parts, take_g: total * (1.0 + first_parts) };
        let carrier_g = total * (parts - first_parts).max(0.0);
        return Some(CarrierMix {
            product_g: sure_g,
            first: Some(first),
            carrier_g,
            parts,
            portions_g,
            left_over_g: 0.0,
        });
    }
    let product_g = (total / step_g - 1e-9).ceil() * step_g;
    Some(CarrierMix {
        product_g,
        first: None,
        carrier_g: product_g * parts,
        parts,
        portions_g,
        left_over_g: ((product_g - total) * (1.0 + parts)).max(0.0),
    })
}

/// A watered-in solution that carries small doses of one product to several plots.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    /// Product to weigh and dissolve, g: a whole number of steps, at least ten.
    pub product_g: f64,
    /// Water for it, litres.
    pub litres: f64,
    pub g_per_l: f64,
    /// Does it dissolve cold? `None` when no limit is known.
    pub dissolves: Option<bool>,
    /// The least water in which it dissolves cold, litres.
    pub least_litres: Option<f64>,
    /// Litres of solution for each plot, in the order given.
    pub portions_l: Vec<f64>,
}

/// A solution of these doses (g) of one product in `litres` of water, weighed on a scale
/// with this step, against the product's cold-water limit in g/L. `None` when there is
/// nothing to dissolve or no water.
pub fn solution(doses_g: &[f64], step_g: f64, litres: f64, limit_g_per_l: Option<f64>) -> Option<Solution> {
    let good = |x: f64| x.is_finite() && x > 0.0;
    let part = |g: f64| if good(g) { g } else { 0.0 };
    let total: f64 = doses_g.iter().map(|&g| part(g)).sum();
    if !good(total) || !good(step_g) || !good(litres) {
        return None;
    }
    let product_g = (total / step_g - 1e-9).ceil().max(SURE_STEPS) * step_g;
    let g_per_l = product_g / litres;
    let limit = limit_g_per_l.filter(|l| good(*l));
    Some(Solution {
        product_g,
        litres,
        g_per_l,
        dissolves: limit.map(|l| g_per_l <= l),
        least_litres: limit.map(|l| product_g / l),
        portions_l: doses_g.iter().map(|&g| part(g) / g_per_l).collect(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_mix_carries_exactly_the_doses() {
        // 0.34 g B/m² as borax of 11.3 % B is 3.0 g/m² (University of Delaware ceiling for
        // high-need crops, 3 lb B/acre); here a thirtieth of it on 4 and 6 m², scale step 1 g.
        let mix = carrier_mix(&[(0.4, 4.0), (0.6, 6.0)], 1.0).unwrap();
        // 10 g in 90 g carrier; 10 g of that holds the 1 g, and goes into 990 g more or so.
        let first = FirstMix { carrier_g: 90.0, parts: 9.0, take_g: 10.0 };
        assert_eq!((mix.product_g, mix.first), (10.0, Some(first)));
        let mixed = first.take_g + mix.carrier_g;
        let strength = first.take_g * mix.product_g / (mix.product_g + first.carrier_g) / mixed;
        assert!((mix.portions_g[0] * strength - 0.4).abs() < 1e-9, "{mix:?}");
        assert!((mix.portions_g.iter().sum::<f64>() - mixed).abs() < 1e-9);
        // At least about 1 kg over 10 m².
        assert!(mixed >= 1_000.0);
        let plain = carrier_mix(&[(50.0, 1.0)], 1.0).unwrap();
        assert_eq!((plain.parts, plain.first, plain.carrier_g, plain.portions_g[0]), (5.0, None, 250.0, 300.0));
        for bad in [vec![], vec![(f64::NAN, 1.0)], vec![(1.0, 0.0)], vec![(-1.0, 1.0)]] {
            assert_eq!(carrier_mix(&bad, 1.0), None);
        }
    }

    #[test]
    fn small_and_thin_doses_want_a_carrier() {
        assert!(wants_carrier(9.0, 1.0, 1.0), "weighing 9 steps is off by more than 5 %");
        assert!(wants_carrier(40.0, 10.0, 1.0), "4 g/m² is thin");
        assert!(!wants_carrier(50.0, 10.0, 1.0) && !wants_carrier(0.0, 10.0, 1.0));
        assert_eq!([on_scale(12.7, 0.5), on_scale(0.3, 1.0), on_scale(3.0, 1.0)], [12.5, 0.3, 3.0]);
        assert!(on_scale(f64::NAN, 1.0).is_nan());
        assert_eq!([12.5, 0.3, 3.0, 0.0, 23.5].map(|g| is_on_scale(g, 0.5)), [true; 5]);
        assert!(!is_on_scale(23.5, 1.0) && !is_on_scale(12.3, 0.5) && is_on_scale(1234.1, 0.1));
    }

    #[test]
    fn a_solution_is_checked_against_cold_water() {
        // Working limit for borax 25 g/L cold; saturated 47 to 51 g/L at 20 °C.
        let weak = solution(&[0.5, 1.5], 0.1, 10.0, Some(25.0)).unwrap();
        assert_eq!((weak.product_g, weak.dissolves), (2.0, Some(true)));
        assert!((weak.portions_l[0] - 2.5).abs() < 1e-12);
        let strong = solution(&[300.0], 1.0, 5.0, Some(25.0)).unwrap();
        assert_eq!((strong.dissolves, strong.least_litres), (Some(false), Some(12.0)));
        assert_eq!(solution(&[1.0], 1.0, 0.0, None), None);
    }
}
