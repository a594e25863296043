//! What a plan would come to if something were otherwise, found quickly: the first three goals
//! are settled as in a full search, but for the packs, where the search ends with its good start.
//! So shortage and excess are as exact as the plan's, and the cost is one that can be had; a full
//! search may find a cheaper one. Only what was found quickly may be compared with it.

use super::account::{Account, CapUse, account};
use super::explain::{Change, changed};
use super::optimise::Microlp;
use super::stages::run_quickly;
use super::{Options, Pack, PlanInput, Watch, caps, clean, doses, passes, recipe};
use std::collections::BTreeSet;

/// Within this share of a cap counts as at it: doses are not yet rounded to the scale here.
const AT: f64 = 1.0 - 1e-4;
/// How much higher a cap is tried, how much dearer a product, how much more may be spent.
const CAP_SHARE: f64 = 0.1;
const PRICE_SHARE: f64 = 0.2;
const BUDGET_SHARE: f64 = 0.1;

/// The accounting of a plan for this input, found quickly. One that was stopped is no answer.
pub fn quickly(input: &PlanInput, watch: &dyn Watch) -> Account {
    let (mut problem, mut notes) = clean::clean(input);
    let mut joined = recipe::join(&problem, &mut notes);
    let (_, spent) = passes::limit(&mut joined.problem, input.options.time_limit, &Microlp, watch);
    let options = Options { time_limit: input.options.time_limit.saturating_sub(spent), ..input.options.clone() };
    let found = run_quickly(&joined.problem, &options, &Microlp, watch);
    let grams = joined.part(&caps::trim(&joined.problem, found.grams(&joined.problem)), &mut problem);
    // As it would be weighed, for that is what a plan counts.
    account(&problem, &doses::weigh(&problem, &grams).1)
}

/// What is worth trying on a plan: each cap that a plot has run into a tenth higher, each product
/// of the plan missing, each that is bought a fifth dearer, a tenth more to spend.
pub fn changes(input: &PlanInput, base: &Account) -> Vec<Change> {
    let binds = |cap: &&CapUse| cap.left_g > 0.0 && cap.used_g >= cap.left_g * AT;
    let bound = || base.plots.iter().flat_map(|plot| &plot.caps).filter(binds);
    let elements: BTreeSet<_> = bound().filter_map(|cap| cap.element).collect();
    let labels: BTreeSet<_> = bound().filter(|cap| cap.element.is_none()).map(|cap| cap.label.clone()).collect();
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

/// What the change would do to `base`, which was found quickly for `input`.
pub fn try_change(input: &PlanInput, base: &Account, change: &Change, watch: &dyn Watch) -> Account {
    let tried = quickly(&changed(input, change), watch);
    // Where only a price changed, the plan itself stays possible, and costs so much then.
    let Change::PriceRaised { product, share } = change else { return tried };
    let lines = base.shopping.iter().filter(|line| line.product.key == *product);
    let dearer = |pack: &Pack| pack.price_minor.map_or(0.0, |price| (price as f64 * share).round());
    let more: f64 = lines.flat_map(|line| &line.packs).map(|(pack, count)| count * dearer(pack)).sum();
    let cost_minor = base.cost_minor + more;
    let within = input.options.budget_minor.is_none_or(|budget| cost_minor <= budget as f64);
    if within && cost_minor < tried.cost_minor { Account { cost_minor, ..base.clone() } } else { tried }
}
