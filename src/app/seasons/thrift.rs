//! To spend less: the cheapest plan that leaves at most so much more short, and brings no more of
//! what nobody needs than the plan would without that choice. Three searches within the time of one:
//! the plan without the choice; how little excess is possible with that much more left short; then the
//! plan whose cost alone decides, held to the excess of the first. What is bought or on hand anyway is
//! used: at last as little is left short as that cost allows. It loads and saves nothing.

use super::{Measure, PlanOptions};
use crate::agronomy::plan::{self, Goal, Plan, PlanInput, Watch};
use serde::{Deserialize, Serialize};
use std::time::{Duration, Instant};

/// A saving below this is none, minor units.
const NOTHING_SAVED: f64 = 0.5;

/// What whole steps of the scale may make of a shortage or an excess, hundredths of all needs; our own
/// allowance.
const SCALE_STEPS: f64 = 0.5;

/// Halvings in search of the least that must be left short for a cost: to a hundredth of what may be.
const HALVINGS: usize = 6;

/// What the choice to spend less came to, kept with the plan.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Thrift {
    /// So many hundredths of all needs more may be left short.
    pub percent: f64,
    /// The plan as it would be without the choice.
    pub without: Measure,
    /// The plan as it is.
    pub with: Measure,
    /// Nothing cheaper is possible within the packs' gap; else the search was cut short, or something that
    /// is bought has no price.
    pub proven: bool,
    /// How much worse shortage and excess could be made for it, in their own units: this very plan is
    /// found again with these.
    pub slack: [f64; 2],
}

impl Thrift {
    /// Something was saved.
    pub fn saved(&self) -> bool {
        self.with.cost_minor < self.without.cost_minor - NOTHING_SAVED
    }

    /// Sets what the plan was found with, so that what is tried is tried of this plan.
    pub(super) fn apply(&self, input: &mut PlanInput) {
        if self.saved() {
            input.options.stage_slack[Goal::Shortage as usize] = self.slack[0];
            input.options.stage_slack[Goal::Excess as usize] = self.slack[1];
        }
    }
}

/// The plan, what it is found with, and what the choice came to, where it was made and looked into.
pub(super) fn solve(input: &PlanInput, options: &PlanOptions, watch: &dyn Watch) -> (Plan, PlanInput, Option<Thrift>) {
    let Some(percent) = options.spend_less_percent.filter(|percent| *percent > 0.0) else {
        return (plan::solve_watched(input, watch), input.clone(), None);
    };
    let (begun, all) = (Instant::now(), input.options.time_limit);
    let within = |input: &PlanInput, time: Duration| {
        let mut timed = input.clone();
        timed.options.time_limit = time;
        plan::solve_watched(&timed, watch)
    };
    let left = || all.saturating_sub(begun.elapsed());
    let plain = within(input, all / 2);
    let measure = Measure::of(&plain.account);
    // What has no price may be what would save most: nobody knows.
    let mut bought = plain.account.shopping.iter().flat_map(|line| &line.packs).filter(|(_, count)| *count > 0.0);
    let priced = bought.all(|(pack, _)| pack.price_minor.is_some());
    let proven = plain.proven && priced;
    let none = Thrift { percent, without: measure, with: measure, proven, slack: [0.0; 2] };
    if watch.stopped() || measure.cost_minor < NOTHING_SAVED {
        return (plain, input.clone(), Some(none));
    }
    let mut with = input.clone();
    with.accept_shortage((options.accept_short_percent.unwrap_or(0.0) + percent) / 100.0);
    let excess = |plan: &Plan| plan.stages.iter().find(|stage| stage.goal == Goal::Excess).map_or(0.0, |s| s.value);
    let lean = within(&with, left() / 2);
    // As much excess as the plan without the choice has, no more.
    with.options.stage_slack[Goal::Excess as usize] = (excess(&plain) - excess(&lean)).max(0.0);
    let thrifty = match watch.stopped() {
        true => None,
        false => Some(within(&with, left().max(all / 4))).filter(|_| !watch.stopped()),
    };
    let proven = proven && lean.proven && thrifty.as_ref().is_some_and(|plan| plan.proven);
    // A search that was cut short may leave everything short for no money at all.
    let most_short = measure.short_percent + options.accept_short_percent.unwrap_or(0.0) + percent + SCALE_STEPS;
    let most_over = measure.over_percent + SCALE_STEPS;
    let keeps_its_word = |cheaper: &Measure| {
        let saves = cheaper.cost_minor < measure.cost_minor - NOTHING_SAVED;
        saves && cheaper.short_percent <= most_short && cheaper.over_percent <= most_over
    };
    match thrifty.map(|plan| (Measure::of(&plan.account), plan)) {
        Some((cheaper, mut plan)) if keeps_its_word(&cheaper) => {
            // The goals after the cost would take what may be left short for themselves.
            let (mut low, mut high) = (0.0, percent);
            for _ in 0..HALVINGS {
                if watch.stopped() || left().is_zero() {
                    break;
                }
                let middle = (low + high) / 2.0;
                let mut less = with.clone();
                less.accept_shortage((options.accept_short_percent.unwrap_or(0.0) + middle) / 100.0);
                let tried = within(&less, left());
                let as_cheap = tried.account.cost_minor <= cheaper.cost_minor + NOTHING_SAVED;
                let as_lean = tried.account.relative_excess <= plain.account.relative_excess + 1e-6;
                // One that was cut short costs little, and leaves more short.
                let as_full = tried.account.relative_shortage <= plan.account.relative_shortage + 1e-6;
                if as_cheap && as_lean && as_full && !watch.stopped() {
                    (plan, with, high) = (tried, less, middle);
                } else {
                    low = middle;
                }
            }
            let slack = [Goal::Shortage, Goal::Excess].map(|goal| with.options.stage_slack[goal as usize]);
            let thrift = Thrift { with: Measure::of(&plan.account), proven, slack, ..none };
            (plan, with, Some(thrift))
        }
        _ => (plain, input.clone(), Some(Thrift { proven, ..none })),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::{
        element::Element::{self, K, P},
        plan::{Pack, PlotNeed, Product},
    };

    /// A plot of 100 m² that wants 100 kg/ha of potassium, 1000 g, and no phosphorus.
    fn bed(products: Vec<Product>) -> PlanInput {
        let need_kg_per_ha = [(K, 100.0), (P, 0.0)].into();
        let plot = PlotNeed { key: 1, area_m2: 100.0, need_kg_per_ha, ..PlotNeed::default() };
        PlanInput { plots: vec![plot], products, ..PlanInput::default() }
    }

    /// Loose, or in whole packs of a kilogram.
    fn product(key: u32, content: &[(Element, f64)], price_minor_per_kg: i64, whole_packs: bool) -> Product {
        Product {
            key,
            name: format!("product {key}"),
            content: content.iter().copied().collect(),
            packs: vec![Pack { mass_g: 1000.0, price_minor: Some(price_minor_per_kg) }],
            whole_packs,
            ..Product::default()
        }
    }

    fn spend_less(input: &PlanInput, percent: f64) -> (Plan, Thrift) {
        let options = PlanOptions { spend_less_percent: Some(percent), ..PlanOptions::default() };
        let (plan, _, thrift) = solve(input, &options, &plan::watch::Unwatched);
        (plan, thrift.expect("it was asked for"))
    }

    #[test]
    fn sold_loose_a_tenth_short_saves_a_tenth() {
        // 1000 g K ÷ 0.5 is 2 kg at 4.00: 8.00; a tenth less is 7.20.
        let input = bed(vec![product(1, &[(K, 0.5)], 400, false)]);
        let (plan, thrift) = spend_less(&input, 10.0);
        assert!((thrift.without.cost_minor - 800.0).abs() < 0.01 && thrift.without.short_percent < 1e-6);
        assert!((plan.account.cost_minor - 720.0).abs() < 0.01, "{}", plan.account.cost_minor);
        assert!((thrift.with.short_percent - 10.0).abs() < 1e-3 && thrift.proven && thrift.saved());
        // What is tried afterwards is tried of this plan.
        let mut again = input.clone();
        thrift.apply(&mut again);
        assert!((plan::solve(&again).account.cost_minor - 720.0).abs() < 0.01);
    }

    #[test]
    fn whole_packs_are_saved_whole_or_not_at_all() {
        // Two packs; one of them leaves half of it short.
        let input = bed(vec![product(1, &[(K, 0.5)], 400, true)]);
        let (plan, thrift) = spend_less(&input, 49.0);
        assert!(!thrift.saved() && thrift.proven && plan.account.cost_minor == 800.0, "{thrift:?}");
        assert!(plan.account.relative_shortage < 1e-6, "nothing is given up for nothing");
        let (plan, thrift) = spend_less(&input, 50.0);
        assert!(thrift.saved() && plan.account.cost_minor == 400.0, "{thrift:?}");
        assert!((thrift.with.short_percent - 50.0).abs() < 1e-3, "{thrift:?}");
        // More may be left short, but the pack that is bought is used, to a hundredth of what may be.
        let (plan, thrift) = spend_less(&input, 80.0);
        assert!(
            plan.account.cost_minor == 400.0 && thrift.with.short_percent < 50.0 + 80.0 / 64.0 + 1e-3,
            "{thrift:?}"
        );
    }

    #[test]
    fn less_money_never_brings_more_of_what_nobody_needs() {
        // The cheap one brings twice as much phosphorus, of which there is enough: it is no way to save.
        let input = bed(vec![product(1, &[(K, 0.5)], 400, false), product(2, &[(K, 0.25), (P, 0.5)], 10, false)]);
        let (plan, thrift) = spend_less(&input, 10.0);
        assert!((plan.account.cost_minor - 720.0).abs() < 0.01, "{thrift:?}");
        assert!(plan.account.relative_excess < 1e-6 && plan.doses.iter().all(|dose| dose.product.key == 1));
    }

    #[test]
    fn a_search_that_has_no_time_saves_nothing_by_leaving_everything_short() {
        // Stock that two beds share, so that no bed can be planned by itself.
        let mut input = bed(vec![product(1, &[(K, 0.5)], 400, true)]);
        input.products.push(Product { stock_g: 500.0, packs: vec![], ..product(2, &[(K, 0.5)], 0, false) });
        input.plots.push(PlotNeed { key: 2, ..input.plots[0].clone() });
        for milliseconds in [0, 1, 5] {
            input.options.time_limit = Duration::from_millis(milliseconds);
            let (plan, thrift) = spend_less(&input, 20.0);
            let short = Measure::of(&plan.account).short_percent;
            assert!(short <= thrift.without.short_percent + 20.0 + SCALE_STEPS, "{short} {thrift:?}");
        }
    }

    #[test]
    fn without_the_choice_or_without_a_cost_the_plan_is_as_it_was() {
        let mut input = bed(vec![product(1, &[(K, 0.5)], 400, false)]);
        let (plan, _, thrift) = solve(&input, &PlanOptions::default(), &plan::watch::Unwatched);
        assert!(thrift.is_none() && plan == plan::solve(&input));
        input.products[0].stock_g = 5000.0;
        let (plan, thrift) = spend_less(&input, 50.0);
        assert!(!thrift.saved() && plan.account.relative_shortage < 1e-6, "{thrift:?}");
    }
}
