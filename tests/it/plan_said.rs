//! What a plan says of itself is the true reason: no price, one recipe, a cap that was used up before,
//! a scale that weighs no finer, a bound that is not there.

use super::{
    beds::{self, product},
    reference::gardens::{Limit, garden, limited},
};
use glebe::agronomy::{
    element::Element::{self, *},
    plan::*,
};

fn bed(key: Key, need: &[(Element, f64)]) -> PlotNeed {
    beds::bed(key, 10.0, need)
}

#[test]
fn a_product_without_a_price_is_not_bought_on_a_budget_and_that_is_the_reason() {
    let mut input = PlanInput {
        plots: vec![bed(1, &[(K, 100.0), (P, 20.0)])],
        products: vec![product(1, &[(K, 0.4)], None), product(2, &[(P, 0.1)], Some(100))],
        ..PlanInput::default()
    };
    input.options.budget_minor = Some(100_000);
    let plan = solve(&input);
    let unmet = plan.unmet.iter().find(|unmet| unmet.element == K).expect("potassium is short");
    assert!(matches!(&unmet.because[..], [Because::NoPrice(named)] if named.key == 1), "{unmet}");
    assert!(unmet.to_string().contains("has no price, so with a budget to keep none of it is bought"), "{unmet}");
    // Some is on hand: it is used, and the rest is short for the same reason.
    input.products[0].stock_g = 50.0;
    let plan = solve(&input);
    let unmet = plan.unmet.iter().find(|unmet| unmet.element == K).expect("potassium is short");
    assert!((unmet.short_g - (100.0 - 20.0)).abs() < 1e-6, "{unmet}");
    assert!(matches!(&unmet.because[..], [Because::NoPrice(_)]), "{unmet}");
    // Without a budget it is bought.
    input.options.budget_minor = None;
    assert!(solve(&input).unmet.is_empty());
}

#[test]
fn what_one_recipe_puts_on_beyond_use_is_said_with_the_product() {
    // One bed wants potassium, the other none: the same g/m² on both gives the second what it has no use for.
    let mut plots = vec![bed(1, &[(K, 100.0)]), bed(2, &[(K, 0.0), (P, 10.0)])];
    let apart = PlanInput {
        plots: plots.clone(),
        products: vec![product(1, &[(K, 0.4)], Some(100)), product(2, &[(P, 0.1)], Some(100))],
        ..PlanInput::default()
    };
    let is_told = |plan: &Plan| plan.notes.iter().any(|note| matches!(note, Note::RecipeExcess { .. }));
    assert!(!is_told(&solve(&apart)), "each bed by itself gets what it can use");
    plots.iter_mut().for_each(|plot| plot.recipe = Some(7));
    let plan = solve(&PlanInput { plots, ..apart });
    let dose =
        plan.doses.iter().find(|dose| dose.plot.key == 2 && dose.product.key == 1).expect("the recipe is for both");
    let told = plan.notes.iter().find_map(|note| match note {
        Note::RecipeExcess { plot, product, beyond_g } if (plot.key, product.key) == (2, 1) => Some(beyond_g.clone()),
        _ => None,
    });
    let told = told.expect("said");
    assert!(told.len() == 1 && told[0].0 == K && (told[0].1 - 0.4 * dose.weigh_g).abs() < 1e-9, "{told:?} {dose:?}");
}

#[test]
fn a_cap_that_was_used_up_before_the_plan_is_tried_a_tenth_higher() {
    let mut first = bed(1, &[(B, 0.5)]);
    // 2 kg/ha are allowed and all of it went on: a tenth more lets 0.2 kg/ha on, 0.2 g on 10 m².
    first.caps.insert(B, Cap { left_kg_per_ha: 0.0, whole_kg_per_ha: 2.0, label: "a rule".into() });
    let mut input =
        PlanInput { plots: vec![first], products: vec![product(1, &[(B, 0.1)], Some(100))], ..PlanInput::default() };
    let base = quickly(&input, &watch::Unwatched);
    let tried = changes(&input, &base);
    let raised = Change::CapsRaised { element: B, share: 0.1 };
    assert_eq!(tried, [raised.clone()]);
    let after = try_change(&input, &base, &raised, &watch::Unwatched);
    let short = |account: &Account| account.plots[0].needs[0].short_g;
    assert!((short(&base.account) - short(&after) - 0.2).abs() < 1e-9, "{after:?}");
    // Exceeded by more than a tenth, no product that is counted, or nothing missing: not worth trying.
    input.plots[0].caps.get_mut(&B).unwrap().left_kg_per_ha = -0.3;
    assert!(changes(&input, &quickly(&input, &watch::Unwatched)).is_empty());
    input.plots[0].caps.get_mut(&B).unwrap().left_kg_per_ha = 0.0;
    input.products[0].content = [(K, 0.4)].into();
    assert!(changes(&input, &quickly(&input, &watch::Unwatched)).is_empty());
}

#[test]
fn a_cost_without_a_bound_says_why_there_is_none() {
    let mut input = limited(garden(12, 24, 12, 3), Limit::Count);
    input.options.asked_limit = Some(3_000);
    let plan = solve(&input);
    let cost = plan.stages.iter().find(|stage| stage.goal == Goal::Cost).unwrap();
    assert_eq!((cost.gap, cost.proven, plan.gap), (None, false, None));
    let note = plan.notes.iter().find(|note| matches!(note, Note::OfChoice { goal: Goal::Cost, .. })).expect("a note");
    assert!(note.to_string().contains("how near this is to the best of all choices is not known"), "{note}");
    assert!(!plan.notes.iter().any(|note| matches!(note, Note::NotProven { goal: Goal::Cost, .. })));
}

#[test]
fn what_the_steps_of_the_scale_leave_is_of_the_scale() {
    let mut input = PlanInput {
        plots: vec![bed(1, &[(B, 1.3)])],
        products: vec![product(1, &[(B, 0.1)], Some(100))],
        ..PlanInput::default()
    };
    input.products[0].scale_step_g = Some(10.0);
    // 13 g of the product are wanted; 10 g are weighed.
    let plan = solve(&input);
    assert_eq!(plan.doses[0].weigh_g, 10.0);
    assert!(plan.unmet[0].is_of_the_scale(), "{}", plan.unmet[0]);
    assert!(plan.unmet[0].to_string().contains("nothing more is to be done"));
}
