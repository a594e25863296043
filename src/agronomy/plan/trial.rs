//! What a plan would come to if something were otherwise, found quickly: the first three goals
//! are settled as in a full search, but for the packs, where the search ends with its good start.
//! So shortage and excess are as exact as the plan's, and the cost is one that can be had; a full
//! search may find a cheaper one. Only what was found quickly may be compared with it.

use super::account::{Account, CapUse, account};
use super::explain::{Change, changed};
use super::optimise::Microlp;
use super::stages::{Known, run_quickly};
use super::{Options, Pack, PlanInput, PlotNeed, Watch, caps, clean, doses, passes, recipe};
use crate::agronomy::element::Element;
use std::collections::BTreeSet;

/// Within this share of a cap counts as at it: doses are not yet rounded to the scale here.
const AT: f64 = 1.0 - 1e-4;
/// How much higher a cap is tried, how much dearer a product, how much more may be spent.
const CAP_SHARE: f64 = 0.1;
const PRICE_SHARE: f64 = 0.2;
const BUDGET_SHARE: f64 = 0.1;

/// A plan that was found quickly, and what was found out on the way.
#[derive(Clone, Debug)]
pub struct Quick {
    pub account: Account,
    known: Known,
}

/// A plan for this input, found quickly. One that was stopped is no answer.
pub fn quickly(input: &PlanInput, watch: &dyn Watch) -> Quick {
    quickly_from(input, &Known::default(), watch)
}

/// The same, where what is `known` of the plots holds for some of them still.
fn quickly_from(input: &PlanInput, known: &Known, watch: &dyn Watch) -> Quick {
    let (mut problem, mut notes) = clean::clean(input);
    let mut joined = recipe::join(&problem, &mut notes);
    let (_, spent) = passes::limit(&mut joined.problem, input.options.time_limit, &Microlp, watch);
    let options = Options { time_limit: input.options.time_limit.saturating_sub(spent), ..input.options.clone() };
    let (found, known) = run_quickly(&joined.problem, &options, known, &Microlp, watch);
    let grams = joined.part(&caps::trim(&joined.problem, found.grams(&joined.problem)), &mut problem);
    // As it would be weighed, for that is what a plan counts.
    Quick { account: account(&problem, &doses::weigh(&problem, &grams).1), known }
}

/// What is worth trying on a plan: each cap that a plot has run into, or that was used up before, a
/// tenth higher, each product of the plan missing, each that is bought a fifth dearer, a tenth
/// more to spend.
pub fn changes(input: &PlanInput, base: &Quick) -> Vec<Change> {
    let base = &base.account;
    let binds = |cap: &&CapUse| cap.left_g > 0.0 && cap.used_g >= cap.left_g * AT;
    let bound = || base.plots.iter().flat_map(|plot| &plot.caps).filter(binds);
    let mut elements: BTreeSet<_> = bound().filter_map(|cap| cap.element).collect();
    let mut labels: BTreeSet<_> = bound().filter(|cap| cap.element.is_none()).map(|cap| cap.label.clone()).collect();
    for (plot, accounted) in input
        .plots
        .iter()
        .filter_map(|plot| Some((plot, base.plots.iter().find(|accounted| accounted.plot.key == plot.key)?)))
    {
        let missing = accounted.needs.iter().filter(|need| need.short_g > 0.0).map(|need| need.element);
        let missing: BTreeSet<Element> = missing.collect();
        elements.extend(used_up(input, plot, &missing));
        labels.extend(used_up_groups(input, plot, &missing));
    }
    let lines = || base.shopping.iter().filter(|line| line.used_g > 0.0);
    let dear = lines().filter(|line| line.cost_minor.is_some_and(|cost| cost > 0.0));
    let mut changes: Vec<Change> =
        elements.into_iter().map(|element| Change::CapsRaised { element, share: CAP_SHARE }).collect();
    changes.extend(labels.into_iter().map(|label| Change::GroupCapsRaised { label, share: CAP_SHARE }));
    let more = |budget: i64| Change::BudgetRaised { by_minor: (budget as f64 * BUDGET_SHARE).round() as i64 };
    changes.extend(input.options.budget_minor.map(more));
    changes.extend(lines().map(|line| Change::WithoutProduct(line.product.key)));
    changes.extend(dear.map(|line| Change::PriceRaised { product: line.product.key, share: PRICE_SHARE }));
    changes
}

/// Elements of which the cap was used up before this plan, though a little more of it would let on
/// a product that brings what is missing.
fn used_up(input: &PlanInput, plot: &PlotNeed, missing: &BTreeSet<Element>) -> Vec<Element> {
    let opens =
        |cap: &super::Cap| cap.left_kg_per_ha <= 0.0 && cap.left_kg_per_ha + CAP_SHARE * cap.whole_kg_per_ha > 0.0;
    let helps = |element: &Element| {
        let counted = |p: &&super::Product| p.content.get(element).is_some_and(|c| *c > 0.0);
        input.products.iter().filter(counted).any(|p| brings(p, missing))
    };
    plot.caps.iter().filter(|(element, cap)| opens(cap) && helps(element)).map(|(element, _)| *element).collect()
}

/// The same of caps on a product or a group, by label.
fn used_up_groups(input: &PlanInput, plot: &PlotNeed, missing: &BTreeSet<Element>) -> Vec<String> {
    let opens =
        |cap: &super::GroupCap| cap.left_kg_per_ha <= 0.0 && cap.left_kg_per_ha + CAP_SHARE * cap.whole_kg_per_ha > 0.0;
    let helps = |cap: &super::GroupCap| {
        let counted = |p: &&super::Product| cap.grams_per_gram.get(&p.key).is_some_and(|g| *g > 0.0);
        input.products.iter().filter(counted).any(|p| brings(p, missing))
    };
    plot.group_caps.iter().filter(|cap| opens(cap) && helps(cap)).map(|cap| cap.label.clone()).collect()
}

fn brings(product: &super::Product, missing: &BTreeSet<Element>) -> bool {
    missing.iter().any(|element| super::clean::available(product, *element) > 0.0)
}

/// What the change would do to `base`, which was found quickly for `input`.
pub fn try_change(input: &PlanInput, base: &Quick, change: &Change, watch: &dyn Watch) -> Account {
    let tried = quickly_from(&changed(input, change), &base.known, watch).account;
    let base = &base.account;
    // Where only a price changed, the plan itself stays possible, and costs so much then.
    let Change::PriceRaised { product, share } = change else { return tried };
    let lines = base.shopping.iter().filter(|line| line.product.key == *product);
    let dearer = |pack: &Pack| pack.price_minor.map_or(0.0, |price| (price as f64 * share).round());
    let more: f64 = lines.flat_map(|line| &line.packs).map(|(pack, count)| count * dearer(pack)).sum();
    let cost_minor = base.cost_minor + more;
    let within = input.options.budget_minor.is_none_or(|budget| cost_minor <= budget as f64);
    if within && cost_minor < tried.cost_minor { Account { cost_minor, ..base.clone() } } else { tried }
}
