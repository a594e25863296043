//! What a set of doses does: per plot what is needed, supplied, short, over and used of
//! each cap; over all plots what must be bought. One accounting for the plan and for doses
//! typed by hand, so that the two can never disagree. Must never change a dose.

use super::super::element::Element;
use super::clean::{Plot, Problem, named};
use super::notes::{Named, Note};
use super::packs::{self, Purchase};
use super::passes;
use super::{Key, Lock};
use std::collections::BTreeMap;

/// The accounting of a set of doses.
#[derive(Clone, Debug, PartialEq)]
pub struct Account {
    pub plots: Vec<PlotAccount>,
    pub shopping: Vec<Purchase>,
    /// Minor units for all packs with a known price.
    pub cost_minor: f64,
    /// Σ area share × weight × shortage ÷ need.
    pub relative_shortage: f64,
    /// Σ area share × weight × excess ÷ max(need, reference).
    pub relative_excess: f64,
    pub products_used: usize,
    pub mass_g: f64,
    /// What is wrong or odd about the doses; for [`super::assess`] about the input too.
    pub notes: Vec<Note>,
}

/// One plot's accounting.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotAccount {
    pub plot: Named,
    pub area_m2: f64,
    /// By element, those with a need or whose excess counts.
    pub needs: Vec<NeedMet>,
    pub caps: Vec<CapUse>,
    /// Total grams of every element that the doses bring, available or not.
    pub brought_g: BTreeMap<Element, f64>,
    /// Walks over the plot: what goes out together is one.
    pub passes: usize,
}

/// A need and how far it is met, grams available in the first season.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct NeedMet {
    pub element: Element,
    pub need_g: f64,
    pub supplied_g: f64,
    pub short_g: f64,
    pub excess_g: f64,
}

/// A cap and how far these doses use what is left of it, grams of the total element.
#[derive(Clone, Debug, PartialEq)]
pub struct CapUse {
    pub label: String,
    /// `None` for a cap on a weighted sum of products.
    pub element: Option<Element>,
    pub used_g: f64,
    /// Left before these doses; below zero when already exceeded.
    pub left_g: f64,
    /// These doses go beyond it.
    pub exceeded: bool,
}

/// Accounts for `grams`, plot × product.
pub(super) fn account(problem: &Problem, grams: &[Vec<f64>]) -> Account {
    let total_area: f64 = problem.plots.iter().map(|p| p.area_m2).sum();
    let mut notes = Vec::new();
    let (mut relative_shortage, mut relative_excess) = (0.0, 0.0);
    let mut plots = Vec::new();
    for (plot, doses) in problem.plots.iter().zip(grams) {
        let needs = needs(plot, doses);
        for (target, met) in plot.targets.iter().zip(&needs) {
            let share = plot.area_m2 / total_area;
            if target.need > 0.0 {
                relative_shortage += share * target.short_weight * met.short_g / met.need_g;
            }
            relative_excess += share * target.over_weight * met.excess_g / (target.scale * plot.area_m2);
        }
        let caps = caps(plot, doses);
        notes.extend(plot_notes(problem, plot, doses, &caps));
        let mut brought_g = BTreeMap::new();
        for (product, g) in problem.products.iter().zip(doses).filter(|(_, g)| **g > 0.0) {
            for (element, content) in &product.content {
                *brought_g.entry(*element).or_insert(0.0) += content * g;
            }
        }
        let passes = passes::count(&problem.products, doses);
        if let Some(most) = problem.max_passes.filter(|most| passes > *most) {
            notes.push(Note::TooManyPasses { plot: plot.named(), passes, most });
        }
        plots.push(PlotAccount { plot: plot.named(), area_m2: plot.area_m2, needs, caps, brought_g, passes });
    }
    let totals = totals_g(problem, grams);
    let shopping = packs::shopping(problem, &totals);
    let cost_minor: f64 = shopping.iter().filter_map(|line| line.cost_minor).sum();
    for line in shopping.iter().filter(|line| line.missing_g > 0.0) {
        notes.push(Note::BeyondStock { product: line.product.clone(), short_g: line.missing_g });
    }
    if let Some(budget_minor) = problem.budget_minor.filter(|b| cost_minor > b * (1.0 + 1e-6) + 1e-6) {
        notes.push(Note::OverBudget { cost_minor, budget_minor });
    }
    let locked = |p: usize| problem.plots.iter().any(|b| b.locked_g.get(&p).is_some_and(|g| *g > 0.0));
    let locked = (0..problem.products.len()).filter(|p| locked(*p)).count();
    if let Some(asked) = problem.max_products.filter(|k| *k < locked) {
        notes.push(Note::TooManyLocked { locked, asked });
    }
    Account {
        plots,
        products_used: totals.iter().filter(|g| **g > 0.0).count(),
        mass_g: totals.iter().sum(),
        shopping,
        cost_minor,
        relative_shortage,
        relative_excess,
        notes,
    }
}

/// Grams of each product over all plots.
pub(super) fn totals_g(problem: &Problem, grams: &[Vec<f64>]) -> Vec<f64> {
    (0..problem.products.len()).map(|p| grams.iter().map(|doses| doses[p]).sum()).collect()
}

fn needs(plot: &Plot, doses: &[f64]) -> Vec<NeedMet> {
    let met = |target: &super::clean::Target| {
        let need_g = target.need * plot.area_m2;
        let supplied_g: f64 = target.supply.iter().zip(doses).map(|(s, g)| s * g).sum();
        NeedMet {
            element: target.element,
            need_g,
            supplied_g,
            short_g: (need_g - supplied_g).max(0.0),
            excess_g: (supplied_g - need_g).max(0.0),
        }
    };
    plot.targets.iter().map(met).collect()
}

fn caps(plot: &Plot, doses: &[f64]) -> Vec<CapUse> {
    let usage = |limit: &super::caps::Limit| {
        let used_g: f64 = limit.per_gram.iter().zip(doses).map(|(c, g)| c * g).sum();
        let left_g = limit.left * plot.area_m2;
        let exceeded = used_g > left_g.max(0.0) * (1.0 + 1e-9);
        CapUse { label: limit.label.clone(), element: limit.element, used_g, left_g, exceeded }
    };
    plot.limits.iter().map(usage).collect()
}

fn plot_notes(problem: &Problem, plot: &Plot, doses: &[f64], caps: &[CapUse]) -> Vec<Note> {
    let mut notes = Vec::new();
    for cap in caps.iter().filter(|c| c.exceeded) {
        notes.push(Note::CapExceeded {
            plot: plot.named(),
            label: cap.label.clone(),
            element: cap.element,
            used_g: cap.used_g,
            left_g: cap.left_g,
        });
    }
    for (p, (product, &g)) in problem.products.iter().zip(doses).enumerate().filter(|(_, (_, g))| **g > 0.0) {
        let g_per_m2 = g / plot.area_m2;
        if let Some(most_g_per_m2) = product.rate_max_g_per_m2.filter(|most| g_per_m2 > most * (1.0 + 1e-9)) {
            notes.push(Note::RateExceeded { plot: plot.named(), product: named(product), g_per_m2, most_g_per_m2 });
        }
        if !plot.allowed[p] {
            notes.push(Note::NotAllowedHere { plot: plot.named(), product: named(product) });
        }
    }
    for &p in &plot.least {
        let (product, least_g) = (named(&problem.products[p]), plot.committed_g(p));
        // One recipe for plots of many sizes cannot be whole steps of the scale on each.
        let step_g = problem.products[p].scale_step_g.unwrap_or(0.0);
        if doses[p] < (least_g - step_g) * (1.0 - 1e-9) {
            notes.push(Note::LessThanRequired { plot: plot.named(), product, dose_g: doses[p], least_g });
        }
    }
    notes
}

/// Doses as typed, as plot × product grams; several for one place are added up.
pub(super) fn read_doses(problem: &Problem, doses: &[Lock]) -> (Vec<Vec<f64>>, Vec<Note>) {
    let mut grams = vec![vec![0.0; problem.products.len()]; problem.plots.len()];
    let mut notes = Vec::new();
    for dose in doses {
        let place = |plot: Key, product: Key| {
            let b = problem.plots.binary_search_by_key(&plot, |x| x.key).ok()?;
            Some((b, problem.products.binary_search_by_key(&product, |x| x.key).ok()?))
        };
        let why = match place(dose.plot, dose.product) {
            None => "the plot or the product is not part of this plan",
            Some(_) if !dose.dose_g.is_finite() || dose.dose_g < 0.0 => "its mass is not a usable number",
            Some((b, p)) => {
                grams[b][p] += dose.dose_g;
                continue;
            }
        };
        notes.push(Note::DoseIgnored { plot: dose.plot, product: dose.product, why });
    }
    (grams, notes)
}
