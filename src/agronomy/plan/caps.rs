//! Season caps: what each still leaves, which products that bars, and the tightest rate
//! that is any use. Caps count the total element of every product, whatever of it is
//! available; they are hard, and [`trim`] has the last word on every dose.

use super::super::element::Element;
use super::clean::{Plot, Problem, Stop, named};
use super::notes::{Named, Note};
use super::{G_PER_M2_IN_KG_PER_HA, PlotNeed, Product};

/// One cap on one plot, per m².
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Limit {
    pub label: String,
    /// `None` for a cap on a weighted sum of products.
    pub element: Option<Element>,
    /// Grams counted per gram of each product.
    pub per_gram: Vec<f64>,
    /// g/m² left before this plan; below zero when already exceeded.
    pub left: f64,
    /// g/m² left for free doses after the locked ones; never below zero.
    pub free: f64,
}

/// The caps of a plot. A cap that is not a number leaves nothing: the careful reading.
pub(super) fn limits(need: &PlotNeed, products: &[Product], notes: &mut Vec<Note>) -> Vec<Limit> {
    let mut read = |left: f64, what: String| match left {
        x if x == f64::INFINITY => None,
        x if x.is_finite() => Some(x * G_PER_M2_IN_KG_PER_HA),
        _ => {
            let whose = Named::new(need.key, &need.name).to_string();
            notes.push(Note::OddNumber { whose, what, taken_as: "taken as used up" });
            Some(0.0)
        }
    };
    let mut limits = Vec::new();
    for (element, cap) in &need.caps {
        let Some(left) = read(cap.left_kg_per_ha, format!("the {} cap", element.name())) else { continue };
        let per_gram = products.iter().map(|p| p.content.get(element).copied().unwrap_or(0.0)).collect();
        limits.push(Limit { label: cap.label.clone(), element: Some(*element), per_gram, left, free: left.max(0.0) });
    }
    for group in &need.group_caps {
        let Some(left) = read(group.left_kg_per_ha, format!("the cap “{}”", group.label)) else { continue };
        let share = |p: &Product| match group.grams_per_gram.get(&p.key) {
            Some(&g) if g.is_finite() && g > 0.0 => g,
            // A weight that cannot be read is counted in full.
            Some(&g) if !g.is_finite() => 1.0,
            _ => 0.0,
        };
        let per_gram = products.iter().map(share).collect();
        limits.push(Limit { label: group.label.clone(), element: None, per_gram, left, free: left.max(0.0) });
    }
    limits
}

/// Takes locked doses off the caps, then finds for each product the highest free rate that
/// is allowed by label and caps and is still any use, or why there is none.
pub(super) fn tighten(plot: &mut Plot, products: &[Product], notes: &mut Vec<Note>) {
    let area = plot.area_m2;
    for (&p, &g) in &plot.locked_g {
        for limit in &mut plot.limits {
            limit.free = (limit.free - limit.per_gram[p] * g / area).max(0.0);
        }
        for target in &mut plot.targets {
            target.locked += target.supply[p] * g / area;
        }
    }
    for (p, product) in products.iter().enumerate() {
        let (most, stop) = highest_rate(plot, product, p);
        plot.most[p] = most;
        plot.stop[p] = stop;
    }
    for limit in plot.limits.iter().filter(|l| l.left <= 0.0) {
        let counted = |p: &usize| limit.per_gram[*p] > 0.0 && plot.allowed[*p];
        let barred = (0..products.len()).filter(counted).map(|p| named(&products[p])).collect();
        notes.push(Note::CapUsedUp {
            plot: plot.named(),
            label: limit.label.clone(),
            element: limit.element,
            over_kg_per_ha: -limit.left / G_PER_M2_IN_KG_PER_HA,
            barred,
        });
    }
}

fn highest_rate(plot: &Plot, product: &Product, p: usize) -> (f64, Option<Stop>) {
    let (room, stop) = highest_permitted(plot, product, p);
    let useful = highest_useful(plot, p);
    match stop {
        Some(stop @ (Stop::Locked | Stop::NotAllowed)) => (0.0, Some(stop)),
        _ if useful <= 0.0 => (0.0, Some(Stop::NoUse)),
        Some(stop) => (0.0, Some(stop)),
        None => (room.min(useful), None),
    }
}

/// The free rate beyond which every need that the product serves is met already, g/m².
pub(super) fn highest_useful(plot: &Plot, p: usize) -> f64 {
    let open = plot.targets.iter().filter(|t| t.need > t.locked && t.supply[p] > 0.0);
    open.map(|t| (t.need - t.locked) / t.supply[p]).fold(0.0, f64::max)
}

/// The highest free rate that bans, supply, caps and label leave, g/m², or what leaves none.
pub(super) fn highest_permitted(plot: &Plot, product: &Product, p: usize) -> (f64, Option<Stop>) {
    if plot.is_held(p) {
        return (0.0, Some(Stop::Locked));
    }
    if !plot.allowed[p] {
        return (0.0, Some(Stop::NotAllowed));
    }
    if product.packs.is_empty() && product.stock_g <= 0.0 {
        return (0.0, Some(Stop::NoneToBeHad));
    }
    let mut most = f64::INFINITY;
    for (i, limit) in plot.limits.iter().enumerate().filter(|(_, l)| l.per_gram[p] > 0.0) {
        if limit.free <= 0.0 {
            return (0.0, Some(Stop::Cap(i)));
        }
        most = most.min(limit.free / limit.per_gram[p]);
    }
    match product.rate_max_g_per_m2.map(|rate| rate - plot.committed_g(p) / plot.area_m2) {
        Some(rate) if rate <= 0.0 => (0.0, Some(Stop::Rate)),
        Some(rate) => (most.min(rate), None),
        None => (most, None),
    }
}

/// Shrinks free doses by what a solver's tolerance put them over a cap or a rate limit, so
/// that no cap is exceeded by even a rounding error. `grams` is plot × product.
pub(super) fn trim(problem: &Problem, mut grams: Vec<Vec<f64>>) -> Vec<Vec<f64>> {
    for (plot, doses) in problem.plots.iter().zip(&mut grams) {
        let free: Vec<usize> = (0..doses.len()).filter(|p| !plot.is_held(*p)).collect();
        // What must be used in any case is set aside; only what goes beyond it can shrink.
        let least: Vec<f64> = (0..doses.len()).map(|p| plot.committed_g(p)).collect();
        for &p in &free {
            doses[p] = (doses[p] - least[p]).clamp(0.0, plot.most[p] * plot.area_m2);
        }
        for limit in &plot.limits {
            let room = limit.free * plot.area_m2;
            let used: f64 = free.iter().map(|&p| limit.per_gram[p] * doses[p]).sum();
            if used > room {
                // A few parts in 10¹⁶ below, so that the same sum taken in another order is not above.
                let share = room / used * (1.0 - 16.0 * f64::EPSILON);
                free.iter().filter(|&&p| limit.per_gram[p] > 0.0).for_each(|&p| doses[p] *= share);
            }
        }
        free.iter().for_each(|&p| doses[p] += least[p]);
    }
    grams
}
