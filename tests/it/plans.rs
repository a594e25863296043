//! Season plans against numbers made outside the project: golden instances solved by
//! HiGHS (scipy 1.17.1) and confirmed by CBC, hand arithmetic, exhaustive search on tiny
//! problems, and properties that no plan may break.

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
    list.iter().map(|&(e, left_kg_per_ha)| (e, Cap { left_kg_per_ha, label: "test rule".into() })).collect()
}

/// A plot of this size with needs in kg/ha.
fn plot(key: Key, area_m2: f64, need: &[(Element, f64)]) -> PlotNeed {
    PlotNeed { key, name: format!("plot {key}"), area_m2, need_kg_per_ha: fractions(need), ..PlotNeed::default() }
}

/// A product sold loose by the kilogram.
fn product(key: Key, content: &[(Element, f64)], price_minor_per_kg: i64) -> Product {
    Product {
        key,
        name: format!("product {key}"),
        content: fractions(content),
        packs: vec![Pack { mass_g: 1_000.0, price_minor: Some(price_minor_per_kg) }],
        ..Product::default()
    }
}

fn input(plots: Vec<PlotNeed>, products: Vec<Product>) -> PlanInput {
    PlanInput { plots, products, ..PlanInput::default() }
}

fn dose_g(plan: &Plan, plot: Key, product: Key) -> f64 {
    plan.doses.iter().find(|d| (d.plot.key, d.product.key) == (plot, product)).map_or(0.0, |d| d.exact_g)
}

fn stage(plan: &Plan, goal: Goal) -> f64 {
    plan.stages.iter().find(|s| s.goal == goal).expect("every goal is reported").value
}

fn close(got: f64, want: f64, tolerance: f64, what: &str) {
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
            (*e, Cap { left_kg_per_ha, label: "golden".into() })
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
        eprintln!("SKIPPED: golden plans not found (set GLEBE_ORACLES to the directory of golden_plans.json)");
        return;
    };
    let golden: Value = serde_json::from_slice(&std::fs::read(file).unwrap()).unwrap();
    let cases: Vec<&Value> = ["hand", "solved"].iter().flat_map(|k| golden[*k].as_array().unwrap()).collect();
    assert!(cases.len() >= 10, "the golden file has {} instances", cases.len());
    for case in cases {
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
        for (b, bed) in case["beds"].as_array().unwrap().iter().enumerate() {
            for (p, product) in case["products"].as_array().unwrap().iter().enumerate() {
                let (bed, product) = (bed["id"].as_str().unwrap(), product["id"].as_str().unwrap());
                let want = case["solution"]["dose_kg"][bed][product].as_f64().unwrap_or(0.0);
                close(dose_g(&plan, b as Key, p as Key) / 1000.0, want, 1e-4, &format!("{id} {bed} {product}"));
            }
        }
        assert!(plan.proven, "{id} is proven");
    }
}
