//! The season planner, timed on invented gardens from fixed seeds: with nothing shared between
//! plots, with a budget, with few products and with nothing but the stock. Beside each stands what
//! an outside solver makes of it, where there is one, and where its time ended before it was done.

use super::gardens::{Limit, as_json, garden, limited, outside};
use glebe::agronomy::plan::*;
use std::collections::BTreeMap;
use std::sync::Mutex;
use std::time::{Duration, Instant};

/// Plots, products, elements and seeds.
const SIZES: [(usize, usize, usize, u64); 3] = [(10, 25, 12, 3), (60, 40, 20, 3), (200, 40, 20, 2)];
/// The outside solver's time for each of the three goals, so that the whole ends within half an hour.
const OUTSIDE_SECONDS: u64 = 15;

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

/// Times the planner and prints how each goal came out, and when. A star marks what is not proven.
pub fn run() {
    println!("planner: whole packs, gap asked 1 %, limit 5 s, from 100 plots on 15 s");
    let mut asked = true;
    for (plots, products, elements, seeds) in SIZES {
        for limit in Limit::ALL {
            for seed in 1..=seeds {
                let mut input = limited(garden(plots, products, elements, seed), limit);
                input.options.time_limit = Duration::from_secs(if plots < 100 { 5 } else { 15 });
                let plan = timed(&input, &format!("{plots} plots × {products} × {elements}, {limit:?}, seed {seed}"));
                if asked {
                    asked = reference(&input, &plan);
                }
            }
        }
    }
    for limit in Limit::ALL {
        what_ifs(limit);
    }
}

fn timed(input: &PlanInput, what: &str) -> Plan {
    let times = Times { begun: Instant::now(), first_ms: Mutex::default(), last_ms: Mutex::default() };
    let plan = solve_watched(input, &times);
    let spent = times.begun.elapsed();
    let last_ms = times.last_ms.lock().expect("nobody panics with it");
    let stage = |s: &Stage| {
        let at = last_ms.get(&s.goal).copied().unwrap_or(f64::NAN);
        let gap = s.gap.map_or("no bound".into(), |g| format!("within {:.2} %", g * 100.0));
        format!("{:?} {:.4}{} {gap} ({at:.0} ms)", s.goal, s.value, if s.proven { "" } else { "*" })
    };
    let stages: Vec<String> = plan.stages.iter().map(stage).collect();
    println!(
        "  {what}: first plan {:>4.0} ms, all {:>6.0} ms: {}",
        times.first_ms.lock().expect("nobody panics with it").unwrap_or(f64::NAN),
        spent.as_secs_f64() * 1e3,
        stages.join(", ")
    );
    plan
}

/// The first three goals by HiGHS, on the same machine; false where it cannot be asked.
fn reference(input: &PlanInput, ours: &Plan) -> bool {
    match outside(&[as_json(input, 3, OUTSIDE_SECONDS)]) {
        Err(why) => {
            println!("    SKIPPED: {why}");
            false
        }
        Ok(answers) => {
            let answer = &answers[0];
            let values: Vec<f64> =
                answer["values"].as_array().into_iter().flatten().filter_map(|v| v.as_f64()).collect();
            let beside = |(goal, value): (Goal, &f64)| {
                let own = ours.stages.iter().find(|s| s.goal == goal).map_or(f64::NAN, |s| s.value);
                format!("{goal:?} {value:.4} (ours {:+.2} %)", (own - value) / value.abs().max(1e-9) * 100.0)
            };
            let words: Vec<String> = Goal::ALL.into_iter().zip(&values).map(beside).collect();
            let list = |key: &str| -> Vec<String> {
                answer[key].as_array().into_iter().flatten().filter_map(|v| v.as_str().map(str::to_owned)).collect()
            };
            let mut ended = String::new();
            if !list("stopped").is_empty() {
                ended +=
                    &format!("; its {OUTSIDE_SECONDS} s ended before it had proven: {}", list("stopped").join(", "));
            }
            if let Some(goal) = answer["failed"].as_str() {
                ended += &format!("; no answer for {goal}");
            }
            let took = answer["seconds"].as_f64().unwrap_or(f64::NAN) * 1e3;
            println!("    HiGHS (scipy): {took:>6.0} ms: {}{ended}", words.join(", "));
            true
        }
    }
}

/// Every change that the page of reasons tries, on 60 plots.
fn what_ifs(limit: Limit) {
    for seed in 1..=2 {
        let input = limited(garden(60, 40, 20, seed), limit);
        let start = Instant::now();
        let base = quickly(&input, &watch::Unwatched);
        let tried = changes(&input, &base);
        for change in &tried {
            try_change(&input, &base, change, &watch::Unwatched);
        }
        println!(
            "  what if, {limit:?}, seed {seed}: {} changes on 60 plots: {:.0} ms",
            tried.len(),
            start.elapsed().as_secs_f64() * 1e3
        );
    }
}
