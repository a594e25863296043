//! What a grower wants of a plan, held against definitions and hand arithmetic: products that
//! must be used, one recipe for a block, passes, prices that are not known.

use super::beds::{self, bed as plot, request as input, weighed_g as dose};
use glebe::agronomy::{
    element::Element::{self, *},
    pass::Pass,
    plan::*,
};
use std::collections::{BTreeMap, BTreeSet};

fn product(key: Key, content: &[(Element, f64)]) -> Product {
    beds::product(key, content, Some(100))
}

fn cap(left_kg_per_ha: f64) -> Cap {
    Cap { left_kg_per_ha, label: "test rule".into(), ..Cap::default() }
}

fn said(plan: &Plan) -> String {
    let notes = plan.notes.iter().chain(&plan.account.notes).map(ToString::to_string);
    notes.chain(plan.unmet.iter().map(ToString::to_string)).collect::<Vec<_>>().join("\n")
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-6 * (1.0 + want.abs()), "{got}, not {want}");
}

#[test]
fn what_must_be_used_is_used_at_its_least_and_more_where_more_is_needed() {
    // 10 m², 100 kg K/ha is 100 g K; product 1 holds half, so 200 g meets it.
    let mut request =
        input(vec![plot(1, 10.0, &[(K, 100.0)])], vec![product(1, &[(K, 0.5)]), product(2, &[(Mg, 0.1)])]);
    request.plots[0].required_g_per_m2 = BTreeMap::from([(1, Some(5.0)), (2, Some(3.0))]);
    let plan = solve(&request);
    close(dose(&plan, 1, 1), 200.0);
    close(dose(&plan, 1, 2), 30.0);
    assert!(plan.doses.iter().all(|d| !d.locked), "what must be used is not fixed");
    // Without a figure: ten steps of the scale.
    request.products[1].scale_step_g = Some(0.5);
    request.plots[0].required_g_per_m2 = BTreeMap::from([(2, None)]);
    close(dose(&solve(&request), 1, 2), 5.0);
    // A dose typed below the least is told.
    let typed = [Lock { plot: 1, product: 2, dose_g: 1.0 }];
    assert!(
        assess(&request, &typed).notes.iter().any(|n| n.to_string().contains("at least 5")),
        "{:?}",
        assess(&request, &typed).notes
    );
}

#[test]
fn wants_that_contradict_each_other_give_a_plan_and_a_sentence() {
    let mut request = input(vec![plot(1, 10.0, &[(K, 100.0)])], vec![product(1, &[(K, 0.5)]), product(2, &[(K, 0.1)])]);
    request.plots[0].required_g_per_m2 = BTreeMap::from([(1, Some(5.0))]);
    // Kept off and used.
    let mut both = request.clone();
    both.plots[0].forbidden = BTreeSet::from([1]);
    let plan = solve(&both);
    assert_eq!(dose(&plan, 1, 1), 0.0);
    assert!(
        said(&plan)
            .contains("product 1 must be used, at least 50 g; it gets none, because it is kept off this plot as well"),
        "{}",
        said(&plan)
    );
    // Fixed below the least.
    let mut held = request.clone();
    held.locks = vec![Lock { plot: 1, product: 1, dose_g: 20.0 }];
    let plan = solve(&held);
    close(dose(&plan, 1, 1), 20.0);
    assert!(said(&plan).contains("its dose is kept as it is"), "{}", said(&plan));
    // A cap that leaves less: 10 kg K/ha on 10 m² is 10 g K, 20 g of the product.
    let mut capped = request.clone();
    capped.plots[0].caps.insert(K, cap(10.0));
    let plan = solve(&capped);
    close(dose(&plan, 1, 1), 20.0);
    assert!(said(&plan).contains("it gets 20 g, because a cap leaves no more (test rule)"), "{}", said(&plan));
    assert!(plan.account.plots[0].caps.iter().all(|c| !c.exceeded));
    // None to be had.
    let mut gone = request.clone();
    gone.products[0].packs.clear();
    let plan = solve(&gone);
    assert_eq!(dose(&plan, 1, 1), 0.0);
    assert!(said(&plan).contains("none is on hand and no pack is known to buy"), "{}", said(&plan));
    // More products and passes than asked for.
    request.plots[0].required_g_per_m2.insert(2, Some(1.0));
    request.options.max_products = Some(1);
    assert!(said(&solve(&request)).contains("more than the 1 asked for"));
    request.products[1].pass = Pass::Alone;
    request.options = Options { max_passes: Some(1), ..Options::default() };
    assert!(said(&solve(&request)).contains("these doses take 2 passes, more than the 1 asked for"));
}

#[test]
fn one_recipe_is_the_same_on_every_bed_and_the_tightest_cap_holds_for_all() {
    // Needs of 100 and 200 kg K/ha; pure K at one rate: 20 g/m² leaves no shortage on either.
    let mut request =
        input(vec![plot(1, 10.0, &[(K, 100.0)]), plot(2, 30.0, &[(K, 200.0)])], vec![product(1, &[(K, 1.0)])]);
    request.plots.iter_mut().for_each(|plot| plot.recipe = Some(7));
    let plan = solve(&request);
    close(dose(&plan, 1, 1), 200.0);
    close(dose(&plan, 2, 1), 600.0);
    close(plan.account.plots[0].needs[0].excess_g, 100.0);
    // The first may have 120 kg/ha only: so may the second, and says why it stays short.
    request.plots[0].caps.insert(K, cap(120.0));
    let plan = solve(&request);
    close(dose(&plan, 1, 1), 120.0);
    close(dose(&plan, 2, 1), 360.0);
    assert!(
        said(&plan)
            .contains("bed 2: 240 g of the 600 g of potassium are not supplied: all beds of the block get one recipe"),
        "{}",
        said(&plan)
    );
    // Bed by bed is no worse in any goal settled before it.
    let mut apart = request.clone();
    apart.plots.iter_mut().for_each(|plot| plot.recipe = None);
    assert!(solve(&apart).account.relative_shortage < plan.account.relative_shortage);
    // A bed with a dose of its own is out of it.
    request.locks = vec![Lock { plot: 1, product: 1, dose_g: 50.0 }];
    let plan = solve(&request);
    close(dose(&plan, 1, 1), 50.0);
    close(dose(&plan, 2, 1), 600.0);
    assert!(said(&plan).contains("bed 1 has a dose that is kept, so it is planned by itself"));
    // What one bed must have, all must; and what one must not have, none gets.
    let mut wanted = input(
        vec![plot(1, 10.0, &[]), plot(2, 30.0, &[(K, 1.0)])],
        vec![product(1, &[(K, 0.5)]), product(2, &[(Mg, 0.1)])],
    );
    wanted.plots.iter_mut().for_each(|plot| plot.recipe = Some(7));
    wanted.plots[0].required_g_per_m2 = BTreeMap::from([(2, Some(4.0))]);
    wanted.plots[0].forbidden = BTreeSet::from([1]);
    let plan = solve(&wanted);
    close(dose(&plan, 2, 2), 120.0);
    assert_eq!(dose(&plan, 2, 1), 0.0);
    assert!(said(&plan).contains("all beds of the block get one recipe"), "{}", said(&plan));
}

#[test]
fn the_passes_that_leave_least_shortage_are_taken() {
    // Lime alone brings Ca, compost alone N; the dry mix brings K and Mg. Two passes of three.
    let mut request = input(
        vec![plot(1, 10.0, &[(Ca, 100.0), (N, 50.0), (K, 100.0), (Mg, 20.0)])],
        vec![product(1, &[(Ca, 0.4)]), product(2, &[(N, 0.02)]), product(3, &[(K, 0.4)]), product(4, &[(Mg, 0.1)])],
    );
    request.products[0].pass = Pass::Lime;
    request.products[1].pass = Pass::Alone;
    assert_eq!(solve(&request).account.plots[0].passes, 3);
    // Half as much nitrogen as is wanted may go on, so compost is worth less than lime.
    request.plots[0].caps.insert(N, cap(25.0));
    request.options.max_passes = Some(2);
    let plan = solve(&request);
    assert_eq!((plan.account.plots[0].passes, dose(&plan, 1, 2)), (2, 0.0));
    assert!(
        plan.doses.len() == 3 && said(&plan).contains("the passes over this plot are taken by other products"),
        "{}",
        said(&plan)
    );
    request.options.max_passes = Some(1);
    let plan = solve(&request);
    assert!(plan.doses.iter().all(|d| d.product.key >= 3) && plan.doses.len() == 2, "{:?}", plan.doses);
}

#[test]
fn an_unknown_price_is_not_taken_for_a_low_one() {
    // Two of the same; the one without a price is not chosen for being free.
    let mut request = input(
        vec![plot(1, 10.0, &[(K, 100.0)])],
        vec![product(1, &[(K, 0.5)]), product(2, &[(K, 0.5)]), product(3, &[(Mg, 0.1)])],
    );
    request.products[0].packs[0].price_minor = None;
    request.products[2].packs[0].price_minor = Some(5_000);
    let plan = solve(&request);
    assert_eq!(dose(&plan, 1, 1), 0.0);
    assert!(said(&plan).contains("product 1 has no price. So that unknown does not count as free"), "{}", said(&plan));
    // With a budget it is not bought at all, and named.
    request.products[1].packs.clear();
    request.options.budget_minor = Some(1_000);
    let plan = solve(&request);
    assert!(plan.doses.is_empty());
    assert!(said(&plan).contains("Give its pack a price") && !said(&plan).contains("product 1 is not used"));
    // What is in the shed is spread whatever it cost.
    request.products[0].stock_g = 80.0;
    close(dose(&solve(&request), 1, 1), 80.0);
}

/// Numbers that look random and are the same every time (Knuth's MMIX constants).
struct Dice(u64);

impl Dice {
    fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        low + (high - low) * ((self.0 >> 11) as f64 / (1u64 << 53) as f64)
    }

    fn chance(&mut self, share: f64) -> bool {
        self.between(0.0, 1.0) < share
    }
}

fn garden(dice: &mut Dice) -> PlanInput {
    let elements = [N, P, K, Mg, B];
    let typical = |e: Element| if e == B { 1.0 } else { 80.0 };
    let plots = 2 + dice.between(0.0, 3.0) as Key;
    let count = 2 + dice.between(0.0, 4.0) as Key;
    let mut request = input(vec![], vec![]);
    for key in 0..plots {
        let mut made = plot(key, dice.between(0.5, 40.0), &[]);
        for e in elements {
            if dice.chance(0.7) {
                made.need_kg_per_ha.insert(e, typical(e) * dice.between(0.1, 1.5));
            }
            if dice.chance(0.3) {
                made.caps.insert(e, cap(typical(e) * dice.between(-0.1, 1.2)));
            }
        }
        for p in 0..count {
            if dice.chance(0.2) {
                made.required_g_per_m2.insert(p, dice.chance(0.6).then(|| dice.between(0.5, 30.0)));
            }
            if dice.chance(0.15) {
                made.forbidden.insert(p);
            }
        }
        made.recipe = dice.chance(0.7).then_some(1);
        request.plots.push(made);
    }
    for key in 0..count {
        let mut made = product(key, &[]);
        for e in elements {
            if dice.chance(0.5) {
                made.content.insert(e, if e == B { dice.between(0.001, 0.1) } else { dice.between(0.01, 0.18) });
            }
        }
        made.pass = [Pass::DryMix, Pass::Lime, Pass::Alone][dice.between(0.0, 3.0) as usize % 3];
        made.whole_packs = dice.chance(0.4);
        made.packs[0].price_minor = dice.chance(0.8).then(|| dice.between(20.0, 900.0) as i64);
        made.stock_g = if dice.chance(0.3) { dice.between(0.0, 2_000.0) } else { 0.0 };
        if dice.chance(0.15) {
            made.packs.clear();
        }
        made.rate_max_g_per_m2 = dice.chance(0.3).then(|| dice.between(5.0, 200.0));
        made.scale_step_g = dice.chance(0.4).then_some(0.5);
        request.products.push(made);
    }
    request.options.max_passes = dice.chance(0.5).then(|| 1 + dice.between(0.0, 2.0) as usize);
    request.options.budget_minor = dice.chance(0.2).then(|| dice.between(0.0, 4_000.0) as i64);
    request
}

#[test]
fn no_random_wish_breaks_a_cap_and_every_wish_is_kept_or_told() {
    let mut dice = Dice(41);
    for case in 0..400 {
        let request = garden(&mut dice);
        let plan = solve(&request);
        let told = said(&plan);
        for bed in &plan.account.plots {
            for cap in &bed.caps {
                assert!(cap.used_g <= cap.left_g.max(0.0) * (1.0 + 1e-9), "case {case}: {cap:?} {request:?}");
            }
            if let Some(most) = request.options.max_passes {
                assert!(bed.passes <= most || told.contains("passes, more than the"), "case {case}");
            }
        }
        for plot in &request.plots {
            for (&p, &least) in &plot.required_g_per_m2 {
                let got = dose(&plan, plot.key, p);
                let wanted = least.unwrap_or(0.0) * plot.area_m2;
                // One recipe for beds of many sizes is not whole steps of the scale on each.
                let step = request.products[p as usize].scale_step_g.unwrap_or(0.0);
                let kept = got > 0.0 && got >= (wanted - step) * (1.0 - 1e-9);
                let name = format!("{}: product {p} must be used", plot.name);
                assert!(kept || told.contains(&name), "case {case}: {name} {wanted} {got}\n{told}");
            }
            for &p in &plot.forbidden {
                assert_eq!(dose(&plan, plot.key, p), 0.0, "case {case}: {request:?}");
            }
        }
        // One recipe: alike to within the scale's step and what rounding down to a cap takes.
        let block: Vec<&PlotNeed> = request.plots.iter().filter(|plot| plot.recipe.is_some()).collect();
        for product in &request.products {
            let exact = |plot: &PlotNeed| {
                let dose = plan.doses.iter().find(|d| (d.plot.key, d.product.key) == (plot.key, product.key));
                dose.map_or(0.0, |d| d.exact_g) / plot.area_m2
            };
            for pair in block.windows(2) {
                let (a, b) = (exact(pair[0]), exact(pair[1]));
                assert!((a - b).abs() <= 1e-9 * (1.0 + a), "case {case}: {a} and {b} g/m² of {}", product.name);
            }
        }
        assert_eq!(plan, solve(&request), "case {case}");
    }
}
