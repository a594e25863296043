//! The season planner, timed on invented gardens from a fixed seed. The products are the
//! kinds a garden shed holds; their figures are round and invented.

use glebe::agronomy::element::Element::{self, *};
use glebe::agronomy::plan::*;
use std::time::Instant;

/// Numbers that look random and are the same every time (Knuth's MMIX constants).
struct Dice(u64);

impl Dice {
    fn share(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6364136223846793005).wrapping_add(1442695040888963407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
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
                need.caps.insert(element, Cap { left_kg_per_ha, label: "invented".into() });
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

/// Times the planner and prints how each goal came out.
pub fn run() {
    println!("planner: whole packs, gap asked 1 %");
    for (plots, products, elements) in [(10, 25, 12), (40, 25, 12), (60, 40, 20)] {
        for seed in 1..=3 {
            let input = garden(plots, products, elements, seed);
            let start = Instant::now();
            let plan = solve(&input);
            let spent = start.elapsed();
            let stages: Vec<String> = plan
                .stages
                .iter()
                .map(|s| format!("{:?} {:.4}{}", s.goal, s.value, if s.proven { "" } else { "*" }))
                .collect();
            println!(
                "  {plots} plots × {products} products × {elements} elements, seed {seed}: {:>6.0} ms, gap {}, {}",
                spent.as_secs_f64() * 1e3,
                plan.gap.map_or("unknown".into(), |g| format!("{:.2} %", g * 100.0)),
                stages.join(", ")
            );
        }
    }
}
