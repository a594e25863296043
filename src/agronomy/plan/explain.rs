//! Why the plan is as it is: which need each dose serves, what stopped each need that is
//! not met, and what another cap or a missing product would change, found by solving
//! again. A whole-number plan has no prices of scarcity to read off, so nothing here guesses.

use super::super::element::Element;
use super::account::{Account, totals_g};
use super::clean::{Plot, Problem, Stop, named};
use super::notes::{Because, Named, grams};
use super::{Goal, Key, Options, Plan, PlanInput, Stage, solve};
use std::fmt;

/// Shortage below this share of the need is not worth a word.
const NOTICEABLE: f64 = 1e-4;
/// Within this share of a limit counts as at it.
const AT: f64 = 1.0 - 1e-5;

/// What one dose gives toward one need.
#[derive(Clone, Debug, PartialEq)]
pub struct Served {
    pub plot: Named,
    pub product: Named,
    pub element: Element,
    /// Available grams that the dose brings.
    pub available_g: f64,
    /// As a share of the need; `None` where nothing is needed.
    pub share_of_need: Option<f64>,
}

/// A need that is not met, and everything that stopped it.
#[derive(Clone, Debug, PartialEq)]
pub struct Unmet {
    pub plot: Named,
    pub element: Element,
    pub need_g: f64,
    pub short_g: f64,
    pub because: Vec<Because>,
}

impl Unmet {
    /// Whether only the steps of the scale leave it: the dose itself would have met the need.
    pub fn is_of_the_scale(&self) -> bool {
        self.because == [Because::Scale]
    }

    /// The reasons in words, each once.
    pub fn reasons(&self) -> Vec<String> {
        sentences(&self.because)
    }
}

impl fmt::Display for Unmet {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (short, need) = (grams(self.short_g), grams(self.need_g));
        write!(f, "{}: {short} of the {need} of {} are not supplied", self.plot, self.element.name())?;
        let reasons = self.reasons();
        if reasons.is_empty() { f.write_str(".") } else { write!(f, ": {}.", reasons.join("; ")) }
    }
}

/// The reasons in words; one cap that stops several products, and that they cannot be had, is said once.
fn sentences(because: &[Because]) -> Vec<String> {
    let mut told: Vec<Because> = Vec::new();
    for reason in because {
        let (Because::Cap { product, .. } | Because::Supply(product)) = reason else {
            told.push(reason.clone());
            continue;
        };
        let same = told.iter_mut().find_map(|other| match (other, reason) {
            (Because::Cap { label: l, element: e, product }, Because::Cap { label, element, .. })
                if (&*l, &*e) == (label, element) =>
            {
                Some(product)
            }
            (Because::Supply(product), Because::Supply(_)) => Some(product),
            _ => None,
        });
        match same {
            Some(first) => first.name = format!("{first}, {product}"),
            None => told.push(reason.clone()),
        }
    }
    told.iter().map(Because::to_string).collect()
}

pub(super) fn served(problem: &Problem, doses: &[Vec<f64>]) -> Vec<Served> {
    let mut served = Vec::new();
    for (plot, doses) in problem.plots.iter().zip(doses) {
        for (p, (product, &g)) in problem.products.iter().zip(doses).enumerate().filter(|(_, (_, g))| **g > 0.0) {
            for target in plot.targets.iter().filter(|t| t.supply[p] > 0.0) {
                let available_g = g * target.supply[p];
                let need_g = target.need * plot.area_m2;
                served.push(Served {
                    plot: plot.named(),
                    product: named(product),
                    element: target.element,
                    available_g,
                    share_of_need: (need_g > 0.0).then(|| available_g / need_g),
                });
            }
        }
    }
    served
}

pub(super) fn unmet(
    problem: &Problem,
    exact: &[Vec<f64>],
    account: &Account,
    options: &Options,
    proven: bool,
) -> Vec<Unmet> {
    let whole = Whole::of(problem, exact, account);
    let mut unmet = Vec::new();
    for ((plot, doses), accounted) in problem.plots.iter().zip(exact).zip(&account.plots) {
        for (target, met) in plot.targets.iter().zip(&accounted.needs) {
            if met.short_g <= NOTICEABLE * met.need_g {
                continue;
            }
            let supplied: f64 = target.supply.iter().zip(doses).map(|(s, g)| s * g).sum();
            let because = if supplied >= met.need_g * (1.0 - NOTICEABLE) {
                vec![Because::Scale]
            } else {
                let accepted = options.stage_slack[Goal::Shortage as usize] > 0.0;
                let fallback = match () {
                    () if plot.recipe.is_some() && !accepted => Because::OneRecipe,
                    () if accepted || proven => Because::Accepted,
                    () => Because::Search,
                };
                reasons(problem, plot, doses, &target.supply, &whole, fallback)
            };
            let (plot, element) = (plot.named(), target.element);
            unmet.push(Unmet { plot, element, need_g: met.need_g, short_g: met.short_g, because });
        }
    }
    unmet
}

/// What limits the plan as a whole.
struct Whole {
    totals_g: Vec<f64>,
    products_used: usize,
    budget_left: Option<f64>,
}

impl Whole {
    fn of(problem: &Problem, exact: &[Vec<f64>], account: &Account) -> Self {
        let totals_g = totals_g(problem, exact);
        Whole {
            products_used: totals_g.iter().filter(|g| **g > 0.0).count(),
            totals_g,
            budget_left: problem.budget_minor.map(|b| b - account.cost_minor),
        }
    }
}

/// What keeps each product that carries the element from giving more.
fn reasons(
    problem: &Problem,
    plot: &Plot,
    doses: &[f64],
    supply: &[f64],
    whole: &Whole,
    fallback: Because,
) -> Vec<Because> {
    let mut because: Vec<Because> = Vec::new();
    let mut not_allowed = Vec::new();
    let carriers: Vec<usize> = (0..supply.len()).filter(|&p| supply[p] > 0.0).collect();
    if carriers.is_empty() {
        return vec![Because::NoProduct];
    }
    for p in carriers {
        let reason = match plot.stop[p] {
            Some(Stop::NotAllowed) => {
                not_allowed.push(named(&problem.products[p]));
                continue;
            }
            Some(stop) => stopped(problem, plot, p, stop),
            None => binding(problem, plot, doses, p, whole).unwrap_or_else(|| fallback.clone()),
        };
        if !because.contains(&reason) {
            because.push(reason);
        }
    }
    if !not_allowed.is_empty() {
        because.push(Because::NotAllowed(not_allowed));
    }
    because
}

fn cap(problem: &Problem, plot: &Plot, limit: usize, p: usize) -> Because {
    let limit = &plot.limits[limit];
    Because::Cap { label: limit.label.clone(), element: limit.element, product: named(&problem.products[p]) }
}

fn stopped(problem: &Problem, plot: &Plot, p: usize, stop: Stop) -> Because {
    let product = named(&problem.products[p]);
    match stop {
        Stop::Cap(limit) => cap(problem, plot, limit, p),
        Stop::Locked => Because::Locked(product),
        Stop::Rate => Because::RateLimit(product),
        Stop::NotAllowed => Because::NotAllowed(vec![product]),
        Stop::NoneToBeHad if problem.unpriced[p] => Because::NoPrice(product),
        Stop::NoneToBeHad | Stop::NoUse => Because::Supply(product),
        Stop::Passes => Because::Passes,
        Stop::Recipe => Because::OneRecipe,
    }
}

/// The limit that a free product has run into on this plot, if any.
fn binding(problem: &Problem, plot: &Plot, doses: &[f64], p: usize, whole: &Whole) -> Option<Because> {
    let product = &problem.products[p];
    for (i, limit) in plot.limits.iter().enumerate().filter(|(_, l)| l.per_gram[p] > 0.0) {
        let used: f64 = limit.per_gram.iter().zip(doses).map(|(c, g)| c * g).sum();
        if used >= limit.left * plot.area_m2 * AT {
            return Some(cap(problem, plot, i, p));
        }
    }
    if product.rate_max_g_per_m2.is_some_and(|most| doses[p] >= most * plot.area_m2 * AT) {
        return Some(Because::RateLimit(named(product)));
    }
    if whole.totals_g[p] <= 0.0 && problem.max_products.is_some_and(|k| whole.products_used >= k) {
        return Some(Because::ProductCount);
    }
    let spent = whole.totals_g[p] >= product.stock_g * AT;
    if product.packs.is_empty() {
        let because = if problem.unpriced[p] { Because::NoPrice } else { Because::Supply };
        return spent.then(|| because(named(product)));
    }
    // With a budget, a product can be out of reach while some money is left: the next pack costs more.
    let next = product.packs.iter().filter_map(|k| k.price_minor).min().unwrap_or(0) as f64;
    let step = if product.whole_packs { next } else { next * 1e-4 };
    if spent && whole.budget_left.is_some_and(|left| left < step) {
        return Some(Because::Budget);
    }
    None
}

/// A change to try.
#[derive(Clone, Debug, PartialEq)]
pub enum Change {
    /// One element's cap on one plot is this much higher.
    CapRaised { plot: Key, element: Element, by_kg_per_ha: f64 },
    /// The product cannot be had.
    WithoutProduct(Key),
    /// The element's cap is higher by this share of itself on every plot (0.1: a tenth). What is
    /// left of it grows by as much, so that a cap that was used up may leave something.
    CapsRaised { element: Element, share: f64 },
    /// The product costs more by this share.
    PriceRaised { product: Key, share: f64 },
    /// The caps on a product or a group of that name are higher by this share on every plot.
    GroupCapsRaised { label: String, share: f64 },
    /// So much more may be spent.
    BudgetRaised { by_minor: i64 },
}

/// What the change would do to the plan.
#[derive(Clone, Debug, PartialEq)]
pub struct WhatIf {
    pub change: Change,
    /// Goal values before and after, in the order of [`Goal::ALL`].
    pub before: [f64; 5],
    pub after: [f64; 5],
    /// Shortages that differ noticeably: plot, element, g before, g after.
    pub shortages: Vec<(Named, Element, f64, f64)>,
    /// The plan with the change.
    pub plan: Plan,
}

/// Solves again with one change and compares with `base`, the plan for `input`.
pub fn what_if(input: &PlanInput, base: &Plan, change: Change) -> WhatIf {
    let plan = solve(&changed(input, &change));
    let mut shortages = Vec::new();
    for (was, now) in base.account.plots.iter().zip(&plan.account.plots) {
        for (a, b) in was.needs.iter().zip(&now.needs) {
            if (a.short_g - b.short_g).abs() > NOTICEABLE * a.need_g {
                shortages.push((was.plot.clone(), a.element, a.short_g, b.short_g));
            }
        }
    }
    WhatIf { change, before: values(&base.stages), after: values(&plan.stages), shortages, plan }
}

/// Goal values in the order of [`Goal::ALL`].
fn values(stages: &[Stage]) -> [f64; 5] {
    Goal::ALL.map(|goal| stages.iter().find(|s| s.goal == goal).map_or(0.0, |s| s.value))
}

/// The input with the change.
pub(super) fn changed(input: &PlanInput, change: &Change) -> PlanInput {
    let mut changed = input.clone();
    match change {
        Change::CapRaised { plot, element, by_kg_per_ha } => {
            for plot in changed.plots.iter_mut().filter(|p| p.key == *plot) {
                if let Some(cap) = plot.caps.get_mut(element) {
                    cap.left_kg_per_ha += by_kg_per_ha;
                }
            }
        }
        Change::CapsRaised { element, share } => {
            let caps = changed.plots.iter_mut().filter_map(|plot| plot.caps.get_mut(element));
            caps.for_each(|cap| cap.left_kg_per_ha += share * cap.whole_kg_per_ha.max(cap.left_kg_per_ha).max(0.0));
        }
        Change::GroupCapsRaised { label, share } => {
            let caps = changed.plots.iter_mut().flat_map(|plot| &mut plot.group_caps).filter(|cap| cap.label == *label);
            caps.for_each(|cap| cap.left_kg_per_ha += share * cap.whole_kg_per_ha.max(cap.left_kg_per_ha).max(0.0));
        }
        Change::PriceRaised { product, share } => {
            let packs = changed.products.iter_mut().filter(|p| p.key == *product).flat_map(|p| &mut p.packs);
            let prices = packs.filter_map(|pack| pack.price_minor.as_mut());
            prices.for_each(|price| *price += (*price as f64 * share).round() as i64);
        }
        Change::WithoutProduct(key) => {
            // It keeps its place in the list, so that what was found out without it still holds.
            for product in changed.products.iter_mut().filter(|p| p.key == *key) {
                product.stock_g = 0.0;
                product.packs.clear();
            }
            changed.locks.retain(|lock| lock.product != *key);
        }
        Change::BudgetRaised { by_minor } => {
            changed.options.budget_minor = changed.options.budget_minor.map(|b| b.saturating_add(*by_minor));
        }
    }
    changed
}
