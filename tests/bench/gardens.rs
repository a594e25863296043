//! Invented gardens from a fixed seed, for timing and for checking against an outside solver.
//! The products are the kinds a garden shed holds; their figures are round and invented.

use glebe::agronomy::element::Element::{self, *};
use glebe::agronomy::plan::*;
use serde_json::{Value, json};
use std::io::Write;
use std::process::{Command, Stdio};

/// Numbers that look random and are the same every time (Knuth's MMIX constants).
pub struct Dice(pub u64);

impl Dice {
    pub fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.share()
    }
}

/// Element, typical need and season cap, kg/ha (0: no cap).
const NEEDS: [(Element, f64, f64); 20] = [
    (N, 90.0, 170.0),
    (P, 25.0, 45.0),
    (K, 120.0, 250.0),
    (Mg, 30.0, 0.0),
    (Ca, 150.0, 0.0),
    (S, 25.0, 0.0),
    (B, 0.8, 2.24),
    (Cu, 1.5, 4.5),
    (Mn, 4.0, 11.0),
    (Zn, 3.0, 11.0),
    (Fe, 5.0, 30.0),
    (Mo, 0.1, 0.4),
    (Na, 0.0, 60.0),
    (Cl, 0.0, 40.0),
    (Cd, 0.0, 0.01),
    (Pb, 0.0, 0.5),
    (Ni, 0.0, 0.3),
    (Cr, 0.0, 0.5),
    (As, 0.0, 0.2),
    (Se, 0.02, 0.1),
];

/// Content, pack kg, price per pack in minor units.
type Kind = (&'static [(Element, f64)], f64, i64);
const KINDS: [Kind; 20] = [
    (&[(N, 0.04), (P, 0.013), (K, 0.025), (Ca, 0.09), (Mg, 0.01), (Zn, 0.0004), (Cu, 0.0001)], 25.0, 2200),
    (&[(N, 0.04), (P, 0.09), (Ca, 0.22)], 20.0, 3800),
    (&[(K, 0.415), (S, 0.17)], 25.0, 4200),
    (&[(Mg, 0.15), (S, 0.20)], 25.0, 2400),
    (&[(N, 0.12)], 25.0, 4500),
    (&[(K, 0.25), (Mg, 0.06), (S, 0.17)], 25.0, 3400),
    (&[(B, 0.113)], 1.0, 900),
    (&[(Zn, 0.227), (S, 0.11)], 1.0, 800),
    (&[(Cu, 0.254), (S, 0.128)], 1.0, 1100),
    (&[(Mn, 0.32), (S, 0.19)], 1.0, 700),
    (&[(Fe, 0.20), (S, 0.115)], 2.0, 600),
    (&[(Mo, 0.39), (Na, 0.19)], 0.1, 900),
    (&[(Ca, 0.23), (S, 0.18)], 25.0, 1500),
    (&[(Ca, 0.38)], 25.0, 800),
    (&[(Ca, 0.21), (Mg, 0.12)], 25.0, 900),
    (&[(P, 0.12), (Ca, 0.30), (Cd, 0.00001)], 25.0, 2600),
    (&[(N, 0.10), (P, 0.03), (K, 0.05), (B, 0.0005)], 10.0, 2000),
    (&[(K, 0.08), (Ca, 0.25), (Mg, 0.02), (P, 0.01), (Zn, 0.0003), (Cu, 0.0001)], 15.0, 300),
    (&[(N, 0.01), (P, 0.003), (K, 0.008), (Ca, 0.02), (Mg, 0.003), (Zn, 0.0001), (Na, 0.001)], 40.0, 600),
    (&[(N, 0.155), (Ca, 0.19)], 25.0, 2800),
];

/// An invented garden.
pub fn garden(plots: usize, products: usize, elements: usize, seed: u64) -> PlanInput {
    let mut dice = Dice(seed);
    let plots = (0..plots).map(|key| {
        let area_m2 = dice.between(6.0, 30.0).round();
        let mut need = PlotNeed { key: key as Key, name: format!("bed {key}"), area_m2, ..PlotNeed::default() };
        for &(element, typical, cap) in &NEEDS[..elements] {
            if typical > 0.0 {
                let wanted = if dice.share() < 0.35 { 0.0 } else { typical * dice.between(0.2, 1.6) };
                need.need_kg_per_ha.insert(element, wanted);
            }
            if cap > 0.0 {
                let left_kg_per_ha = cap * dice.between(0.3, 1.0);
                need.caps.insert(element, Cap { left_kg_per_ha, whole_kg_per_ha: cap, label: "invented".into() });
            }
        }
        need
    });
    let plots: Vec<_> = plots.collect();
    let products = (0..products).map(|key| {
        let (content, pack_kg, price) = KINDS[key % KINDS.len()];
        // The second round of each kind is another maker's grade.
        let grade = if key < KINDS.len() { 1.0 } else { dice.between(0.6, 1.05) };
        Product {
            key: key as Key,
            name: format!("product {key}"),
            content: content.iter().map(|&(e, c)| (e, c * grade)).collect(),
            availability: if content[0].0 == N { [(N, dice.between(0.3, 1.0))].into() } else { Default::default() },
            rate_max_g_per_m2: Some(dice.between(50.0, 500.0)),
            stock_g: if dice.share() < 0.3 { pack_kg * 1000.0 * dice.between(0.1, 0.9) } else { 0.0 },
            packs: vec![Pack {
                mass_g: pack_kg * 1000.0,
                price_minor: Some((price as f64 * grade * dice.between(0.8, 1.2)) as i64),
            }],
            whole_packs: true,
            pass: Default::default(),
            scale_step_g: Some(1.0),
        }
    });
    PlanInput { products: products.collect(), plots, ..PlanInput::default() }
}

/// What plots share.
#[derive(Clone, Copy, Debug, PartialEq)]
#[allow(dead_code)] // not every binary that holds these gardens limits them
pub enum Limit {
    Free,
    /// A third of what the plan costs without it.
    Budget,
    /// Eight products.
    Count,
    /// Nothing can be bought, and three fifths of what the plan would use are on hand.
    Stock,
}

#[allow(dead_code)]
impl Limit {
    pub const ALL: [Limit; 4] = [Limit::Free, Limit::Budget, Limit::Count, Limit::Stock];
}

/// The garden under a limit that binds.
#[allow(dead_code)]
pub fn limited(mut input: PlanInput, limit: Limit) -> PlanInput {
    const STOCK: f64 = 0.6;
    match limit {
        Limit::Free => {}
        Limit::Count => input.options.max_products = Some(8),
        Limit::Budget => {
            let free = quickly(&input, &watch::Unwatched).account;
            input.options.budget_minor = Some((free.cost_minor / 3.0).round() as i64);
        }
        Limit::Stock => {
            let free = quickly(&input, &watch::Unwatched).account;
            for product in &mut input.products {
                let used = free.shopping.iter().find(|line| line.product.key == product.key);
                product.packs.clear();
                product.stock_g = used.map_or(0.0, |line| (line.used_g * STOCK).round());
            }
        }
    }
    input
}

/// The problem as `tests/it/reference/solve.py` reads it: `goals` of the five, in order.
pub fn as_json(input: &PlanInput, goals: usize, seconds: u64) -> Value {
    let by_element = |map: &std::collections::BTreeMap<Element, f64>| -> Value {
        map.iter().map(|(e, x)| (e.symbol().to_owned(), json!(x))).collect::<serde_json::Map<_, _>>().into()
    };
    let plots = input.plots.iter().map(|plot| {
        let left = plot.caps.iter().map(|(e, cap)| (*e, cap.left_kg_per_ha)).collect();
        json!({
            "area_m2": plot.area_m2,
            "need_kg_per_ha": by_element(&plot.need_kg_per_ha),
            "caps_left_kg_per_ha": by_element(&left),
        })
    });
    let products = input.products.iter().map(|product| {
        let packs = product.packs.iter().map(|k| json!({"mass_g": k.mass_g, "price_minor": k.price_minor}));
        json!({
            "content": by_element(&product.content),
            "availability": by_element(&product.availability),
            "rate_max_g_per_m2": product.rate_max_g_per_m2,
            "stock_g": product.stock_g,
            "packs": packs.collect::<Value>(),
            "whole_packs": product.whole_packs,
        })
    });
    json!({
        "plots": plots.collect::<Value>(),
        "products": products.collect::<Value>(),
        "excess_ref_kg_per_ha": by_element(&input.options.excess_ref_kg_per_ha),
        "budget_minor": input.options.budget_minor,
        "max_products": input.options.max_products,
        "pack_gap": input.options.pack_gap,
        "keep": 1e-9,
        "goals": goals,
        "seconds": seconds,
    })
}

/// What HiGHS makes of the problems; or why it was not asked.
pub fn outside(problems: &[Value]) -> Result<Vec<Value>, String> {
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/it/reference/solve.py");
    let mut child = Command::new("python3")
        .arg(script)
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .stderr(Stdio::piped())
        .spawn()
        .map_err(|e| format!("python3 cannot be run: {e}"))?;
    let mut stdin = child.stdin.take().expect("stdin is piped");
    let text = Value::from(problems.to_vec()).to_string();
    // A script that leaves early closes the pipe; its status says why.
    let _ = stdin.write_all(text.as_bytes());
    drop(stdin);
    let output = child.wait_with_output().map_err(|e| e.to_string())?;
    let said = String::from_utf8_lossy(&output.stderr);
    match output.status.code() {
        Some(0) => serde_json::from_slice(&output.stdout).map_err(|e| format!("{e}: {said}")),
        Some(3) => Err("scipy is not installed (python3 -m pip install scipy)".into()),
        _ => panic!("the reference solver failed: {said}"),
    }
}
