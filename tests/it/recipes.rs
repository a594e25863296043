//! Recipes of the trade through the planner: size a product to one nutrient, credit what else
//! it carries, top up the rest. And what it says where there is little to plan with.

use glebe::agronomy::element::Element::{self, K, N, P};
use glebe::agronomy::plan::*;
use std::collections::BTreeSet;

/// P in P2O5 and K in K2O by mass.
const P_IN_OXIDE: f64 = 0.436_421;
const K_IN_OXIDE: f64 = 0.830_148;

/// A plot with needs of the element, kg/ha.
fn plot(area_m2: f64, need: &[(Element, f64)]) -> PlotNeed {
    let need_kg_per_ha = need.iter().copied().collect();
    PlotNeed { key: 1, name: "the bed".into(), area_m2, need_kg_per_ha, ..PlotNeed::default() }
}

/// A product sold loose, by the grade on its bag: N, P2O5, K2O in percent.
fn graded(key: Key, n: f64, p2o5: f64, k2o: f64) -> Product {
    let content = [(N, n / 100.0), (P, p2o5 / 100.0 * P_IN_OXIDE), (K, k2o / 100.0 * K_IN_OXIDE)];
    Product {
        key,
        name: format!("{n}-{p2o5}-{k2o}"),
        content: content.into_iter().filter(|(_, c)| *c > 0.0).collect(),
        packs: vec![Pack { mass_g: 1_000.0, price_minor: Some(300) }],
        ..Product::default()
    }
}

fn plan(plots: Vec<PlotNeed>, products: Vec<Product>) -> Plan {
    solve(&PlanInput { plots, products, ..PlanInput::default() })
}

fn kg_per_ha(plan: &Plan, product: Key) -> f64 {
    plan.doses.iter().filter(|d| d.product.key == product).map(|d| d.g_per_m2 * 10.0).sum()
}

fn close(got: f64, want: f64, decimals: i32, what: &str) {
    assert!((got - want).abs() <= 0.500_001 * 10f64.powi(-decimals), "{what}: {got}, not {want}");
}

#[test]
fn one_product_sized_to_its_nutrient() {
    // "60 kg P2O5/ha from 18 %: 333.33; 80 kg K2O from 60 %: 133.33 kg/ha" (biocheminology.blogspot.com, read).
    let needs = [(P, 60.0 * P_IN_OXIDE), (K, 80.0 * K_IN_OXIDE)];
    let made = plan(vec![plot(100.0, &needs)], vec![graded(1, 0.0, 18.0, 0.0), graded(2, 0.0, 0.0, 60.0)]);
    close(kg_per_ha(&made, 1), 333.33, 2, "superphosphate");
    close(kg_per_ha(&made, 2), 133.33, 2, "muriate");
    // 80 kg N from 21 %: 380.95 kg (Calculating Agriculture p. 183, softdatapublisher.com, read).
    let made = plan(vec![plot(40.0, &[(N, 80.0)])], vec![graded(1, 21.0, 0.0, 0.0)]);
    close(kg_per_ha(&made, 1), 380.95, 2, "ammonium sulfate");
    // 10 g N/m² from 44-0-0 is 22.7 g/m², on 25 m² 568 g (NutNet LBK, fertilizing_details.md, read).
    let made = plan(vec![plot(25.0, &[(N, 100.0)])], vec![graded(1, 44.0, 0.0, 0.0)]);
    close(made.doses[0].g_per_m2, 22.7, 1, "coated urea per m²");
    close(made.doses[0].exact_g, 568.0, 0, "coated urea on the plot");
    // To raise K by 150 kg K2O/ha, 250 kg of a salt with 60 % (Polish advice in mg K2O per 100 g, read).
    let made = plan(vec![plot(10.0, &[(K, 150.0 * K_IN_OXIDE)])], vec![graded(1, 0.0, 0.0, 60.0)]);
    close(kg_per_ha(&made, 1), 250.0, 0, "potash salt");
}

#[test]
fn sized_to_nitrogen_the_rest_is_credited_and_topped_up() {
    // 80 lb of 5-10-15 brings N 4, P2O5 8 and K2O 12 lb (University of Maine, Bulletin 2287, read).
    // Sized to 4 of N it leaves 20 − 12 = 8 of K2O, 8 / 0.60 = 13.33 of muriate, and no phosphate to buy;
    // the order is that of UMass Extension, Calculating Fertilizer Applications (read).
    let needs = [(N, 4.0), (P, 8.0 * P_IN_OXIDE), (K, 20.0 * K_IN_OXIDE)];
    let products = || vec![graded(1, 5.0, 10.0, 15.0), graded(2, 0.0, 46.0, 0.0), graded(3, 0.0, 0.0, 60.0)];
    let made = plan(vec![plot(100.0, &needs)], products());
    close(kg_per_ha(&made, 1), 80.0, 3, "the compound");
    close(kg_per_ha(&made, 2), 0.0, 3, "phosphate");
    close(kg_per_ha(&made, 3), 13.333, 3, "muriate");
    assert!(made.unmet.is_empty() && made.account.relative_excess < 1e-9);
    let served: Vec<_> = made.served.iter().filter(|s| s.product.key == 1).map(|s| s.element).collect();
    assert_eq!(served, [N, P, K], "what the compound is credited with");
    // Half the phosphate wanted: the compound is held back and what it lacks comes from straights,
    // because an excess counts before money does.
    let needs = [(N, 4.0), (P, 4.0 * P_IN_OXIDE), (K, 20.0 * K_IN_OXIDE)];
    let mut products = products();
    products.push(graded(4, 21.0, 0.0, 0.0));
    let made = plan(vec![plot(100.0, &needs)], products);
    assert!(made.unmet.is_empty() && made.account.relative_excess < 1e-9);
    assert!(kg_per_ha(&made, 1) <= 40.0 + 1e-6, "40 lb brings all the phosphate that is wanted");
}

#[test]
fn where_there_is_little_to_plan_with_it_says_so() {
    let sound = PlanInput {
        plots: vec![plot(0.5, &[(K, 100.0)])],
        products: vec![graded(1, 0.0, 0.0, 50.0)],
        ..PlanInput::default()
    };
    let said = |plan: &Plan| -> String {
        let unmet = plan.unmet.iter().map(ToString::to_string);
        let notes = plan.notes.iter().chain(&plan.account.notes).map(ToString::to_string);
        notes.chain(unmet).collect::<Vec<_>>().join("\n")
    };
    let cases: Vec<(&str, bool, Box<dyn Fn(&mut PlanInput)>)> = vec![
        ("", true, Box::new(|_| {})),
        ("No product in the list supplies potassium", false, Box::new(|i| i.products.clear())),
        ("kept off here", false, Box::new(|i| i.plots[0].allowed = Some(BTreeSet::new()))),
        ("kept off here", false, Box::new(|i| i.plots[0].forbidden = [1].into())),
        (
            "already exceeded",
            false,
            Box::new(|i| {
                i.plots[0].caps = [(K, Cap { left_kg_per_ha: -2.0, label: "a rule".into(), ..Cap::default() })].into();
            }),
        ),
        (
            "the smaller is kept",
            true,
            Box::new(|i| i.locks = [3.0, 5.0].map(|dose_g| Lock { plot: 1, product: 1, dose_g }).to_vec()),
        ),
        ("no pack is known to buy", false, Box::new(|i| i.products[0].packs.clear())),
        ("has no price", true, Box::new(|i| i.products[0].packs[0].price_minor = None)),
        ("less than the scale's step", true, Box::new(|i| i.products[0].scale_step_g = Some(100.0))),
    ];
    for (sentence, dosed, spoil) in cases {
        let mut input = sound.clone();
        spoil(&mut input);
        let made = solve(&input);
        let said = said(&made);
        assert!(said.contains(sentence), "no “{sentence}” in: {said}");
        assert_eq!(!made.doses.is_empty(), dosed, "{sentence}: {:?}", made.doses);
        assert_eq!(made.stages.len(), 5);
        assert!(made.doses.iter().all(|d| d.weigh_g.is_finite() && d.weigh_g >= 0.0));
    }
}
