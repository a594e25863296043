//! The season planner, timed on invented gardens from fixed seeds, with an outside solver
//! beside it where there is one.

use super::gardens::{as_json, garden, outside};
use glebe::agronomy::plan::*;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::time::Instant;

/// Notes when the first plan was there, and when each goal was settled.
struct Times {
    begun: Instant,
    first_ms: Mutex<Option<f64>>,
    last_ms: Mutex<BTreeMap<Goal, f64>>,
}

impl Watch for Times {
    fn tell(&self, progress: &Progress) {
        let now = self.begun.elapsed().as_secs_f64() * 1e3;
        self.first_ms.lock().expect("nobody panics with it").get_or_insert(now);
        self.last_ms.lock().expect("nobody panics with it").insert(progress.goal, now);
    }
}

/// Times the planner and prints how each goal came out, and when.
pub fn run() {
    println!("planner: whole packs, gap asked 1 %, limit {:?}", Options::default().time_limit);
    for (plots, products, elements) in [(10, 25, 12), (40, 25, 12), (60, 40, 20), (200, 40, 20)] {
        for seed in 1..=3 {
            let input = garden(plots, products, elements, seed);
            let times = Times { begun: Instant::now(), first_ms: Mutex::default(), last_ms: Mutex::default() };
            let plan = solve_watched(&input, &times);
            let spent = times.begun.elapsed();
            let last_ms = times.last_ms.lock().expect("nobody panics with it");
            let stages: Vec<String> = plan
                .stages
                .iter()
                .map(|s| {
                    let at = last_ms.get(&s.goal).copied().unwrap_or(f64::NAN);
                    format!("{:?} {:.4}{} ({at:.0} ms)", s.goal, s.value, if s.proven { "" } else { "*" })
                })
                .collect();
            println!(
                "  {plots} plots × {products} products × {elements} elements, seed {seed}: first plan {:>4.0} ms, all {:>6.0} ms, gap {}, {}",
                times.first_ms.lock().expect("nobody panics with it").unwrap_or(f64::NAN),
                spent.as_secs_f64() * 1e3,
                plan.gap.map_or("unknown".into(), |g| format!("{:.2} %", g * 100.0)),
                stages.join(", ")
            );
            if seed == 1 {
                reference(&input);
            }
        }
    }
    what_ifs();
}

/// The first three goals by HiGHS, on the same machine.
fn reference(input: &PlanInput) {
    match outside(&[as_json(input, 3, 60)]) {
        Err(why) => println!("    SKIPPED: {why}"),
        Ok(answers) => {
            let answer = &answers[0];
            let values: Vec<String> = answer["values"]
                .as_array()
                .into_iter()
                .flatten()
                .map(|v| format!("{:.4}", v.as_f64().unwrap_or(f64::NAN)))
                .collect();
            println!(
                "    HiGHS (scipy): {:>6.0} ms for shortage, excess, cost {}",
                answer["seconds"].as_f64().unwrap_or(f64::NAN) * 1e3,
                values.join(", ")
            );
        }
    }
}

/// Every change that the page of reasons tries, on 60 plots.
fn what_ifs() {
    let input = garden(60, 40, 20, 1);
    let start = Instant::now();
    let base = quickly(&input, &watch::Unwatched);
    let tried = changes(&input, &base);
    for change in &tried {
        try_change(&input, &base, change, &watch::Unwatched);
    }
    println!("  what if, {} changes on 60 plots: {:.0} ms", tried.len(), start.elapsed().as_secs_f64() * 1e3);
}
