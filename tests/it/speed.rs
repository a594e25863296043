//! The shortcuts of the planner lead where the long way leads: plots planned on their own and
//! together, with a limit that does not bind and without it, stopped and looked in on.

use super::reference::gardens::{Dice, garden};
use glebe::agronomy::plan::*;
use std::sync::{
    Mutex,
    atomic::{AtomicUsize, Ordering},
};
use std::time::Duration;

fn value(plan: &Plan, goal: Goal) -> f64 {
    plan.stages.iter().find(|s| s.goal == goal).expect("every goal is reported").value
}

/// A small garden that is searched to its end.
fn small(seed: u64) -> PlanInput {
    let mut dice = Dice(seed);
    let (plots, products) = (dice.between(1.0, 6.0) as usize, dice.between(3.0, 14.0) as usize);
    let mut input = garden(plots, products, 12, seed);
    input.options.pack_gap = 0.0;
    input.options.node_limit = 20_000;
    input.options.time_limit = Duration::from_secs(60);
    input
}

#[test]
fn plots_on_their_own_come_out_as_the_general_solver_makes_them() {
    for seed in 1..=60 {
        let mut input = small(seed);
        input.products.iter_mut().for_each(|p| p.whole_packs = false);
        let apart = solve(&input);
        // A slack, however small, makes the plots one model for the general solver.
        input.options.stage_slack = [1e-9, 1e-9, 0.0, 0.0, 0.0];
        let together = solve(&input);
        for (goal, tolerance) in [(Goal::Shortage, 1e-6), (Goal::Excess, 1e-5), (Goal::Cost, 1e-4)] {
            let (a, t) = (value(&apart, goal), value(&together, goal));
            assert!((a - t).abs() <= tolerance * (1.0 + t.abs()), "garden {seed}, {goal:?}: {a} apart, {t} together");
        }
    }
}

#[test]
fn a_limit_that_does_not_bind_changes_nothing() {
    for seed in 1..=20 {
        let mut input = small(seed);
        let free = solve(&input);
        input.options.budget_minor = Some(value(&free, Goal::Cost).ceil() as i64 + 1);
        input.options.max_products = Some(input.products.len());
        let within = solve(&input);
        for goal in [Goal::Shortage, Goal::Excess, Goal::Cost] {
            let (w, f) = (value(&within, goal), value(&free, goal));
            assert!((w - f).abs() <= 1e-6 * (1.0 + f), "garden {seed}, {goal:?}: {w} within, {f} free");
        }
        // One that binds is kept, and costs something else.
        let budget = value(&free, Goal::Cost) * 0.6;
        input.options.budget_minor = Some(budget as i64);
        let poor = solve(&input);
        assert!(value(&poor, Goal::Cost) <= budget + 1e-6, "garden {seed}");
        assert!(value(&poor, Goal::Shortage) >= value(&free, Goal::Shortage) - 1e-6, "garden {seed}");
    }
}

#[test]
fn equal_plots_cost_no_more_search_than_one() {
    // Two hundred beds of five kinds are five classes: the plan is that of five large beds.
    let kinds = garden(5, 12, 12, 3);
    let mut many = kinds.clone();
    many.plots = (0..200)
        .map(|key| PlotNeed { key, name: format!("bed {key}"), ..kinds.plots[key as usize % 5].clone() })
        .collect();
    let mut large = kinds.clone();
    large.plots.iter_mut().for_each(|plot| plot.area_m2 *= 40.0);
    let (many, large) = (solve(&many), solve(&large));
    for goal in Goal::ALL {
        let (m, l) = (value(&many, goal), value(&large, goal));
        assert!((m - l).abs() <= 1e-6 * (1.0 + l), "{goal:?}: {m} for many, {l} for large");
    }
}

/// Counts what it is told and stops after so many words.
struct StopAfter {
    words: usize,
    heard: AtomicUsize,
    last: Mutex<Option<Progress>>,
}

impl Watch for StopAfter {
    fn tell(&self, progress: &Progress) {
        self.heard.fetch_add(1, Ordering::Relaxed);
        *self.last.lock().unwrap() = Some(*progress);
    }

    fn stopped(&self) -> bool {
        self.heard.load(Ordering::Relaxed) >= self.words
    }
}

#[test]
fn a_stopped_search_keeps_a_whole_plan_and_says_so() {
    let input = garden(20, 20, 12, 5);
    let best = solve(&input);
    let watch = StopAfter { words: 1, heard: AtomicUsize::new(0), last: Mutex::new(None) };
    let stopped = solve_watched(&input, &watch);
    let told = watch.last.lock().unwrap().expect("something was told");
    assert!(told.needs > 50 && told.met > 0 && told.met <= told.needs, "{told:?}");
    // Shortage and excess were settled before the first word; packs were not looked for.
    assert!((value(&stopped, Goal::Shortage) - value(&best, Goal::Shortage)).abs() < 1e-9);
    assert!(value(&stopped, Goal::Cost) >= value(&best, Goal::Cost) - 1e-6);
    assert!(!stopped.doses.is_empty() && stopped.account.notes.is_empty(), "{:?}", stopped.account.notes);
    assert!(!stopped.proven && stopped.notes.iter().any(|n| matches!(n, Note::NotProven { goal: Goal::Cost, .. })));
    // Being looked in on changes nothing.
    let patient = StopAfter { words: usize::MAX, heard: AtomicUsize::new(0), last: Mutex::new(None) };
    let watched = solve_watched(&input, &patient);
    if best.proven && watched.proven {
        assert_eq!(best, watched);
    }
}

#[test]
fn quick_answers_to_what_if_agree_with_full_ones() {
    let mut input = small(4);
    input.options.budget_minor = None;
    // Doses as computed: what a scale rounds away hangs on the last gram, not on the answer.
    input.products.iter_mut().for_each(|product| product.scale_step_g = None);
    let plan = solve(&input);
    let base = quickly(&input, &watch::Unwatched);
    assert!(base.account.cost_minor >= value(&plan, Goal::Cost) - 1e-6);
    let tried = changes(&input, &base);
    assert!(tried.iter().any(|c| matches!(c, Change::CapsRaised { .. })), "{tried:?}");
    assert!(tried.iter().any(|c| matches!(c, Change::WithoutProduct(_))));
    assert!(tried.iter().any(|c| matches!(c, Change::PriceRaised { .. })));
    for change in tried {
        let quick = try_change(&input, &base, &change, &watch::Unwatched);
        let full = what_if(&input, &plan, change.clone());
        for (q, f) in [(quick.relative_shortage, full.after[0]), (quick.relative_excess, full.after[1])] {
            assert!((q - f).abs() <= 1e-6 * (1.0 + f), "{change:?}: {q} quickly, {f} in full");
        }
        assert!(quick.cost_minor >= full.after[2] - 1e-6, "{change:?}: {} {:?}", quick.cost_minor, full.after);
    }
}
