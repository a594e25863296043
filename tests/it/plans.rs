//! Season plans against numbers made outside the project: golden instances solved by
//! HiGHS (scipy 1.17.1) and confirmed by CBC, hand arithmetic, exhaustive search on tiny
//! problems, and properties that no plan may break.

use super::beds::{self, bed as plot, request as input};
use glebe::agronomy::element::Element;
use glebe::agronomy::plan::*;
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};
use std::path::PathBuf;

// ---- building inputs ------------------------------------------------------------------

fn fractions(list: &[(Element, f64)]) -> BTreeMap<Element, f64> {
    list.iter().copied().collect()
}

fn caps(list: &[(Element, f64)]) -> BTreeMap<Element, Cap> {
    list.iter()
        .map(|&(e, left_kg_per_ha)| (e, Cap { left_kg_per_ha, label: "test rule".into(), ..Cap::default() }))
        .collect()
}

fn product(key: Key, content: &[(Element, f64)], price_minor_per_kg: i64) -> Product {
    beds::product(key, content, Some(price_minor_per_kg))
}

fn dose_g(plan: &Plan, plot: Key, product: Key) -> f64 {
    plan.doses.iter().find(|d| (d.plot.key, d.product.key) == (plot, product)).map_or(0.0, |d| d.exact_g)
}

pub fn stage(plan: &Plan, goal: Goal) -> f64 {
    plan.stages.iter().find(|s| s.goal == goal).expect("every goal is reported").value
}

pub fn close(got: f64, want: f64, tolerance: f64, what: &str) {
    assert!((got - want).abs() <= tolerance, "{what}: {got}, not {want}");
}

fn words(plan: &Plan) -> String {
    plan.notes.iter().map(|n| format!("{n}\n")).chain(plan.unmet.iter().map(|u| format!("{u}\n"))).collect()
}

// ---- golden instances -----------------------------------------------------------------

fn golden_file() -> Option<PathBuf> {
    let named = std::env::var_os("GLEBE_ORACLES").map(PathBuf::from);
    let beside = PathBuf::from(env!("CARGO_MANIFEST_DIR")).join("../shared/oracles");
    [named, Some(beside)].into_iter().flatten().map(|d| d.join("golden_plans.json")).find(|f| f.is_file())
}

fn per_element(value: &Value) -> BTreeMap<Element, f64> {
    let pairs = value.as_object().into_iter().flatten();
    pairs.map(|(e, x)| (e.parse().expect("golden elements are known"), x.as_f64().unwrap())).collect()
}

/// A golden instance as our input: money becomes hundredths, kilograms grams.
fn golden_input(case: &Value) -> PlanInput {
    let season_cap = per_element(&case["season_cap_kg_ha"]);
    let plots = case["beds"].as_array().unwrap().iter().enumerate().map(|(key, bed)| {
        let already = per_element(&bed["already_kg_ha"]);
        let left = |(e, cap): (&Element, &f64)| {
            let left_kg_per_ha = cap - already.get(e).copied().unwrap_or(0.0);
            (*e, Cap { left_kg_per_ha, label: "golden".into(), ..Cap::default() })
        };
        PlotNeed {
            key: key as Key,
            name: bed["id"].as_str().unwrap().into(),
            area_m2: bed["area_m2"].as_f64().unwrap(),
            need_kg_per_ha: per_element(&bed["need_kg_ha"]),
            caps: season_cap.iter().map(left).collect(),
            ..PlotNeed::default()
        }
    });
    let products = case["products"].as_array().unwrap().iter().enumerate().map(|(key, p)| Product {
        key: key as Key,
        name: p["id"].as_str().unwrap().into(),
        content: per_element(&p["content"]),
        availability: per_element(&p["avail"]),
        rate_max_g_per_m2: p["max_g_m2"].as_f64(),
        packs: vec![Pack {
            mass_g: p["pack_kg"].as_f64().unwrap() * 1000.0,
            price_minor: Some((p["price_per_pack"].as_f64().unwrap() * 100.0).round() as i64),
        }],
        whole_packs: case["whole_packs"].as_bool().unwrap_or(false),
        stock_g: p["stock_kg"].as_f64().unwrap_or(0.0) * 1000.0,
        ..Product::default()
    });
    let mut options = Options {
        excess_ref_kg_per_ha: per_element(&case["excess_ref_kg_ha"]),
        budget_minor: case["budget"].as_f64().map(|b| (b * 100.0).round() as i64),
        max_products: case["max_products"].as_u64().map(|k| k as usize),
        pack_gap: 0.0,
        ..Options::default()
    };
    if let Some(slack) = case["stage_slack"].as_array() {
        let unit = [1.0, 1.0, 100.0, 1.0, 1000.0];
        options.stage_slack = std::array::from_fn(|i| slack[i].as_f64().unwrap() * unit[i]);
    }
    PlanInput { plots: plots.collect(), products: products.collect(), locks: Vec::new(), options }
}

#[test]
fn golden_plans_come_out_the_same() {
    let Some(file) = golden_file() else {
        super::loud::skipped("golden plans not found (set GLEBE_ORACLES to the directory of golden_plans.json)");
        return;
    };
    let golden: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
    let cases: Vec<&Value> = ["hand", "solved"].iter().flat_map(|k| golden[*k].as_array().unwrap()).collect();
    assert!(cases.len() >= 10, "the golden file has {} instances", cases.len());
    cases.into_iter().for_each(check);
}

/// Several plots sharing packs, stock, budget and count: the file says how it was made.
#[test]
fn gardens_of_several_plots_agree_with_an_independent_model() {
    let file: Value = serde_json::from_str(include_str!("plans_many_plots.json")).unwrap();
    let cases = file["solved"].as_array().unwrap();
    assert!(cases.len() >= 8);
    cases.iter().for_each(check);
}

/// Goal values within 1e-5 and, where the instance gives them, doses within 1e-4 kg.
fn check(case: &Value) {
    let id = case["id"].as_str().unwrap();
    let plan = solve(&golden_input(case));
    let want = &case["solution"]["stage_values"];
    let stages = [
        (Goal::Shortage, "1_relative_shortage", 1.0),
        (Goal::Excess, "2_relative_excess", 1.0),
        (Goal::Cost, "3_cost", 0.01),
        (Goal::Products, "4_products_used", 1.0),
        (Goal::Mass, "5_total_mass_kg", 0.001),
    ];
    for (goal, name, unit) in stages {
        close(stage(&plan, goal) * unit, want[name].as_f64().unwrap(), 1e-5, &format!("{id} {name}"));
    }
    if case["solution"]["dose_kg"].is_null() {
        return;
    }
    for (b, bed) in case["beds"].as_array().unwrap().iter().enumerate() {
        for (p, product) in case["products"].as_array().unwrap().iter().enumerate() {
            let (bed, product) = (bed["id"].as_str().unwrap(), product["id"].as_str().unwrap());
            let want = case["solution"]["dose_kg"][bed][product].as_f64().unwrap_or(0.0);
            close(dose_g(&plan, b as Key, p as Key) / 1000.0, want, 1e-4, &format!("{id} {bed} {product}"));
        }
    }
    assert!(plan.proven, "{id} is proven");
}

// ---- by hand --------------------------------------------------------------------------

use Element::{B, K, Mg, N, P, Zn};

#[test]
fn one_product_in_whole_packs() {
    // 100 kg/ha on 100 m² is 1000 g K; over 0.415 that is 2409.6386 g: three packs at 4.00.
    let mut sulfate = product(1, &[(K, 0.415)], 400);
    sulfate.whole_packs = true;
    let plan = solve(&input(vec![plot(1, 100.0, &[(K, 100.0)])], vec![sulfate]));
    close(dose_g(&plan, 1, 1), 2409.638_554, 1e-3, "dose");
    close(plan.account.cost_minor, 1200.0, 1e-9, "cost");
    close(plan.account.shopping[0].left_over_g, 590.361_446, 1e-3, "left over");
    assert_eq!(plan.account.shopping[0].packs[0].1, 3.0);
    assert!(plan.unmet.is_empty() && plan.notes.is_empty(), "{}", words(&plan));
}

#[test]
fn excess_decides_before_cost() {
    // 0.03 a ≥ 100 g N and 0.07 a + 0.08 b = 700 g P; least excess at a = 10/3 kg, b = 35/6 kg.
    let mut bed = plot(1, 100.0, &[(N, 10.0), (P, 70.0)]);
    bed.caps = caps(&[(N, 20.0)]);
    let plan = solve(&input(vec![bed], vec![product(1, &[(N, 0.03), (P, 0.07)], 200), product(2, &[(P, 0.08)], 100)]));
    close(dose_g(&plan, 1, 1), 10_000.0 / 3.0, 0.1, "meal");
    close(dose_g(&plan, 1, 2), 35_000.0 / 6.0, 0.1, "phosphate");
    close(stage(&plan, Goal::Cost), 1250.0, 1e-3, "cost");
}

#[test]
fn equal_cost_is_settled_by_mass_then_by_key() {
    // Both give potassium at 10 per kg; the stronger weighs half.
    let bed = || vec![plot(1, 100.0, &[(K, 100.0)])];
    let plan = solve(&input(bed(), vec![product(1, &[(K, 0.2)], 200), product(2, &[(K, 0.4)], 400)]));
    close(dose_g(&plan, 1, 2), 2500.0, 0.1, "the stronger");
    assert_eq!(dose_g(&plan, 1, 1), 0.0);
    // The same product under two keys: the lower key, whichever way they are listed.
    for keys in [[7, 3], [3, 7]] {
        let plan = solve(&input(bed(), keys.map(|k| product(k, &[(K, 0.4)], 400)).to_vec()));
        close(dose_g(&plan, 1, 3), 2500.0, 0.1, "the lower key");
    }
}

#[test]
fn caps_count_all_nitrogen_and_goals_only_what_is_available() {
    // (170 − 140) kg/ha × 50 m² leaves 150 g N in all. Feather meal: 150 / 0.12 = 1250 g gives
    // 105 g available of the 200 g needed, so 95 g or 47.5 % is short.
    let mut bed = plot(1, 50.0, &[(N, 40.0)]);
    bed.caps = caps(&[(N, 170.0 - 140.0)]);
    let mut compost = product(1, &[(N, 0.01)], 15);
    compost.availability = fractions(&[(N, 0.1)]);
    let mut feather = product(2, &[(N, 0.12)], 250);
    feather.availability = fractions(&[(N, 0.7)]);
    let input = input(vec![bed], vec![compost, feather]);
    let plan = solve(&input);
    close(dose_g(&plan, 1, 2), 1250.0, 0.1, "feather meal");
    close(stage(&plan, Goal::Shortage), 0.475, 1e-6, "shortage");
    close(plan.unmet[0].short_g, 95.0, 1e-3, "short");
    assert!(plan.unmet[0].because.iter().any(|b| matches!(b, Because::Cap { element: Some(N), .. })));
    // One more gram of cap is worth 0.70 / 200 of the goal; 1 kg/ha here is 5 g.
    let more = what_if(&input, &plan, Change::CapRaised { plot: 1, element: N, by_kg_per_ha: 1.0 });
    close(more.before[0] - more.after[0], 5.0 * 0.0035, 1e-6, "worth of the cap");
    let without = what_if(&input, &plan, Change::WithoutProduct(2));
    close(without.after[0], 1.0 - 15.0 / 200.0, 1e-6, "compost alone gives 15 g");
}

#[test]
fn nothing_needed_is_an_empty_plan() {
    let mut sulfate = product(1, &[(K, 0.415)], 400);
    sulfate.whole_packs = true;
    let plan = solve(&input(vec![plot(1, 25.0, &[(K, 0.0), (P, 0.0)])], vec![sulfate]));
    assert!(plan.doses.is_empty() && plan.account.shopping.is_empty() && plan.proven);
    assert!(plan.stages.iter().all(|s| s.value == 0.0));
}

#[test]
fn packs_are_pooled_over_plots() {
    // 0.6 kg for each of three plots: 1.8 kg, two packs; rounding plot by plot would buy three.
    let mut salt = product(1, &[(K, 0.5)], 100);
    salt.whole_packs = true;
    let plots = (1..=3).map(|k| plot(k, 30.0, &[(K, 100.0)])).collect();
    let plan = solve(&input(plots, vec![salt]));
    assert_eq!(plan.account.shopping[0].packs[0].1, 2.0);
    close(plan.account.shopping[0].left_over_g, 200.0, 1e-3, "left over, not spread");
}

#[test]
fn stock_is_used_before_anything_is_bought() {
    let mut dear = product(1, &[(K, 0.4)], 900);
    dear.stock_g = 1500.0;
    let plan = solve(&input(vec![plot(1, 100.0, &[(K, 100.0)])], vec![dear, product(2, &[(K, 0.4)], 400)]));
    close(dose_g(&plan, 1, 1), 1500.0, 0.1, "from stock");
    close(dose_g(&plan, 1, 2), 1000.0, 0.1, "bought");
    close(plan.account.cost_minor, 400.0, 0.01, "cost");
}

// ---- limits that a person sets --------------------------------------------------------

#[test]
fn a_cap_already_exceeded_bars_products_and_says_so() {
    let mut bed = plot(1, 20.0, &[(K, 100.0), (B, 1.0)]);
    bed.caps = caps(&[(B, -0.4)]);
    bed.caps.get_mut(&B).unwrap().label = "beans: 0 kg/ha".into();
    let plan = solve(&input(vec![bed], vec![product(1, &[(K, 0.3), (B, 0.004)], 200), product(2, &[(K, 0.4)], 400)]));
    assert_eq!(dose_g(&plan, 1, 1), 0.0);
    close(dose_g(&plan, 1, 2), 500.0, 0.1, "the product without boron");
    let said = words(&plan);
    assert!(
        said.contains("bed 1: the boron cap (beans: 0 kg/ha) is already exceeded by 0.40 kg/ha")
            && said.contains("product 1"),
        "{said}"
    );
    assert!(plan.unmet.iter().any(|u| u.element == B));
}

#[test]
fn a_cap_on_manure_nitrogen_counts_manures_only() {
    let mut bed = plot(1, 100.0, &[(N, 100.0)]);
    let grams_per_gram = [(1, 0.04)].into();
    bed.group_caps =
        vec![GroupCap { label: "manure N".into(), grams_per_gram, left_kg_per_ha: 50.0, ..GroupCap::default() }];
    let plan = solve(&input(vec![bed], vec![product(1, &[(N, 0.04)], 1), product(2, &[(N, 0.12)], 900)]));
    close(dose_g(&plan, 1, 1), 50.0 * 100.0 * 0.1 / 0.04, 0.1, "manure up to its cap");
    close(dose_g(&plan, 1, 2), 500.0 / 0.12, 0.1, "the rest from meal");
}

#[test]
fn locked_doses_stand_and_the_rest_is_planned_around_them() {
    let bed = plot(1, 100.0, &[(K, 100.0)]);
    let mut request = input(vec![bed], vec![product(1, &[(K, 0.4)], 400), product(2, &[(K, 0.5)], 100)]);
    request.locks = vec![Lock { plot: 1, product: 1, dose_g: 1000.0 }];
    let plan = solve(&request);
    assert_eq!(dose_g(&plan, 1, 1), 1000.0);
    close(dose_g(&plan, 1, 2), 1200.0, 0.1, "the remaining 600 g K");
    // Two different locks for one place: the smaller, and a note.
    request.locks.push(Lock { plot: 1, product: 1, dose_g: 300.0 });
    request.locks.push(Lock { plot: 9, product: 1, dose_g: 300.0 });
    request.locks.push(Lock { plot: 1, product: 2, dose_g: f64::NAN });
    let plan = solve(&request);
    assert_eq!(dose_g(&plan, 1, 1), 300.0);
    assert!(plan.notes.iter().any(|n| matches!(n, Note::LocksDisagree { kept_g: 300.0, .. })));
    assert_eq!(plan.notes.iter().filter(|n| matches!(n, Note::DoseIgnored { .. })).count(), 2);
    // A lock beyond a cap stands, is named, and nothing more of the element is added.
    request.locks = vec![Lock { plot: 1, product: 1, dose_g: 1000.0 }];
    request.plots[0].caps = caps(&[(K, 30.0)]);
    let plan = solve(&request);
    assert_eq!((dose_g(&plan, 1, 1), dose_g(&plan, 1, 2)), (1000.0, 0.0));
    assert!(plan.account.notes.iter().any(|n| matches!(n, Note::CapExceeded { element: Some(K), .. })));
    // All doses locked at nothing.
    request.locks = [1, 2].map(|product| Lock { plot: 1, product, dose_g: 0.0 }).to_vec();
    let plan = solve(&request);
    assert_eq!(plan.account.mass_g, 0.0);
    assert!(plan.unmet[0].because.iter().all(|b| matches!(b, Because::Locked(_))), "{}", words(&plan));
}

#[test]
fn locks_beyond_stock_budget_and_count_are_named() {
    let mut scarce = product(1, &[(K, 0.4)], 0);
    scarce.packs.clear();
    scarce.stock_g = 100.0;
    let beds = vec![plot(1, 100.0, &[(K, 100.0)]), plot(2, 100.0, &[(K, 100.0)])];
    let mut request = input(beds, vec![scarce, product(2, &[(K, 0.5)], 1000)]);
    request.locks = vec![Lock { plot: 1, product: 1, dose_g: 400.0 }, Lock { plot: 1, product: 2, dose_g: 1000.0 }];
    request.options.budget_minor = Some(500);
    request.options.max_products = Some(1);
    let plan = solve(&request);
    assert_eq!((dose_g(&plan, 1, 1), dose_g(&plan, 1, 2)), (400.0, 1000.0));
    assert_eq!((dose_g(&plan, 2, 1), dose_g(&plan, 2, 2)), (0.0, 0.0));
    let notes = &plan.account.notes;
    assert!(notes.iter().any(|n| matches!(n, Note::BeyondStock { short_g, .. } if (short_g - 300.0).abs() < 1e-6)));
    assert!(notes.iter().any(|n| matches!(n, Note::OverBudget { .. })));
    assert!(notes.iter().any(|n| matches!(n, Note::TooManyLocked { locked: 2, asked: 1 })));
}

#[test]
fn budget_count_and_choice_are_given_as_reasons() {
    let beds = || vec![plot(1, 100.0, &[(K, 100.0), (Mg, 30.0)])];
    let products = || vec![product(1, &[(K, 0.4)], 400), product(2, &[(Mg, 0.15)], 100)];
    let because = |request: &PlanInput, element| {
        let plan = solve(request);
        let unmet = plan.unmet.iter().find(|u| u.element == element).unwrap_or_else(|| panic!("{}", words(&plan)));
        unmet.because.clone()
    };
    let mut request = input(beds(), products());
    request.options.budget_minor = Some(300);
    assert_eq!(because(&request, K), [Because::Budget]);
    let mut request = input(beds(), products());
    request.options.max_products = Some(1);
    let plan = solve(&request);
    assert_eq!(plan.account.products_used, 1);
    assert_eq!(plan.unmet[0].because, [Because::ProductCount]);
    let mut request = input(beds(), products());
    request.plots[0].allowed = Some(BTreeSet::from([1]));
    assert!(matches!(because(&request, Mg)[..], [Because::NotAllowed(_)]));
    let mut request = input(beds(), products());
    request.products[0].rate_max_g_per_m2 = Some(10.0);
    assert!(matches!(because(&request, K)[..], [Because::RateLimit(_)]));
    let mut request = input(beds(), products());
    request.products[0].packs.clear();
    request.products[0].stock_g = 50.0;
    assert!(matches!(because(&request, K)[..], [Because::Supply(_)]));
    let mut request = input(beds(), products());
    request.products.pop();
    assert_eq!(because(&request, Mg), [Because::NoProduct]);
}

// ---- odd input ------------------------------------------------------------------------

#[test]
fn odd_input_is_a_plan_and_a_note() {
    let sound = input(vec![plot(1, 0.5, &[(K, 100.0)])], vec![product(1, &[(K, 0.4)], 400)]);
    let odd: Vec<(&str, Box<dyn Fn(&mut PlanInput)>)> = vec![
        ("no usable area", Box::new(|i| i.plots[0].area_m2 = 0.0)),
        ("no usable area", Box::new(|i| i.plots[0].area_m2 = f64::NAN)),
        ("the need for potassium", Box::new(|i| *i.plots[0].need_kg_per_ha.get_mut(&K).unwrap() = f64::NAN)),
        ("the need for potassium", Box::new(|i| *i.plots[0].need_kg_per_ha.get_mut(&K).unwrap() = -5.0)),
        ("the potassium cap", Box::new(|i| i.plots[0].caps = caps(&[(K, f64::NAN)]))),
        ("more than 100 %", Box::new(|i| i.products[0].content = fractions(&[(K, 0.9), (P, 0.2)]))),
        ("0 to 100 %", Box::new(|i| i.products[0].content = fractions(&[(K, f64::NAN)]))),
        ("the availability of potassium", Box::new(|i| i.products[0].availability = fractions(&[(K, -1.0)]))),
        ("the stock", Box::new(|i| i.products[0].stock_g = f64::NEG_INFINITY)),
        ("the rate limit", Box::new(|i| i.products[0].rate_max_g_per_m2 = Some(f64::NAN))),
        ("the weighing step", Box::new(|i| i.products[0].scale_step_g = Some(0.0))),
        ("the mass of a pack", Box::new(|i| i.products[0].packs[0].mass_g = f64::NAN)),
        ("the price of a pack", Box::new(|i| i.products[0].packs[0].price_minor = Some(-4))),
        ("has no price", Box::new(|i| i.products[0].packs[0].price_minor = None)),
        ("no pack is known to buy", Box::new(|i| i.products[0].packs.clear())),
        ("No product in the list supplies potassium", Box::new(|i| i.products.clear())),
        ("listed twice", Box::new(|i| i.plots.push(i.plots[0].clone()))),
        ("listed twice", Box::new(|i| i.products.push(i.products[0].clone()))),
        ("less than the scale's step", Box::new(|i| i.products[0].scale_step_g = Some(50.0))),
    ];
    for (sentence, spoil) in odd {
        let mut input = sound.clone();
        spoil(&mut input);
        let plan = solve(&input);
        assert!(words(&plan).contains(sentence), "no “{sentence}” in: {}", words(&plan));
        assert!(plan.doses.iter().all(|d| d.weigh_g.is_finite() && d.weigh_g >= 0.0));
        assert_eq!(plan.stages.len(), 5);
    }
    let empty = solve(&PlanInput::default());
    assert!(empty.doses.is_empty() && empty.account.relative_shortage == 0.0);
    let wild = Options {
        stage_slack: [f64::NAN, -1.0, f64::INFINITY, 0.0, 0.0],
        budget_minor: Some(i64::MIN),
        pack_gap: f64::NAN,
        node_limit: 0,
        time_limit: std::time::Duration::ZERO,
        ..Options::default()
    };
    let plan = solve(&PlanInput { options: wild, ..sound });
    assert!(plan.doses.iter().all(|d| d.weigh_g.is_finite()));
}

// ---- weighing -------------------------------------------------------------------------

#[test]
fn doses_meet_the_scale_without_passing_a_cap() {
    let mut bed = plot(1, 10.0, &[(K, 100.0), (Zn, 8.0)]);
    // 5 kg/ha on 10 m² leaves 5 g Zn: 5 / 0.36 = 13.89 g, which weighed to 1 g must be 13.
    bed.caps = caps(&[(Zn, 5.0)]);
    let mut zinc = product(1, &[(Zn, 0.36)], 400);
    zinc.scale_step_g = Some(1.0);
    let mut potash = product(2, &[(K, 0.415)], 400);
    potash.scale_step_g = Some(5.0);
    let plan = solve(&input(vec![bed.clone()], vec![zinc.clone(), potash.clone()]));
    assert_eq!(plan.doses.iter().map(|d| d.weigh_g).collect::<Vec<_>>(), [13.0, 240.0]);
    assert_eq!(plan.doses.iter().map(|d| d.weighing).collect::<Vec<_>>(), [Weighing::Down, Weighing::Nearest]);
    close(plan.account.plots[0].caps[0].used_g, 13.0 * 0.36, 1e-9, "the account counts what is weighed");
    // On half a square metre the same is 0.69 g: marked, never zero.
    bed.area_m2 = 0.5;
    let plan = solve(&input(vec![bed], vec![zinc, potash]));
    assert_eq!(plan.doses[0].weighing, Weighing::BelowScale);
    close(plan.doses[0].weigh_g, 0.25 / 0.36, 1e-6, "kept as computed");
    assert!(plan.notes.iter().any(|n| matches!(n, Note::BelowScale { .. })));
}

#[test]
fn typed_doses_are_accounted_like_planned_ones() {
    let mut bed = plot(1, 100.0, &[(K, 100.0)]);
    bed.caps = caps(&[(K, 120.0)]);
    let mut potash = product(1, &[(K, 0.4)], 400);
    potash.whole_packs = true;
    let request = input(vec![bed], vec![potash]);
    let plan = solve(&request);
    let again: Vec<Lock> =
        plan.doses.iter().map(|d| Lock { plot: d.plot.key, product: d.product.key, dose_g: d.weigh_g }).collect();
    assert_eq!(assess(&request, &again), plan.account);
    let more = assess(&request, &[Lock { plot: 1, product: 1, dose_g: 3500.0 }]);
    assert!(more.notes.iter().any(|n| matches!(n, Note::CapExceeded { used_g, .. } if (used_g - 1400.0).abs() < 1e-9)));
    assert_eq!(more.cost_minor, 1600.0);
}
