//! The same inputs, the same plan, to the last bit: for a garden of the size of a farm, whatever its
//! plots share, and on whatever thread it is worked out.

use super::reference::gardens::{Limit, garden, limited};
use glebe::agronomy::plan::*;
use std::time::Duration;

/// Sixty plots, with the work counted and the clock far away.
fn sixty(limit: Limit) -> PlanInput {
    let mut input = limited(garden(60, 24, 10, 7), limit);
    input.options.node_limit = 40;
    input.options.asked_limit = Some(6_000);
    input.options.time_limit = Duration::from_secs(600);
    input
}

#[test]
fn sixty_plots_come_out_the_same_twice_and_beside_one_another() {
    for limit in Limit::ALL {
        let input = sixty(limit);
        let first = solve(&input);
        // Again, twice at the same time, with the plots and products told in another order.
        let mut turned = input.clone();
        turned.plots.reverse();
        turned.products.reverse();
        let (again, other) = std::thread::scope(|threads| {
            let again = threads.spawn(|| solve(&input));
            let other = threads.spawn(|| solve(&turned));
            (again.join().unwrap(), other.join().unwrap())
        });
        assert!(!first.doses.is_empty());
        assert_eq!(first, again, "{limit:?}");
        assert_eq!((&first.doses, &first.stages), (&other.doses, &other.stages), "{limit:?}, in another order");
        match limit {
            Limit::Free | Limit::Stock => {}
            Limit::Count => assert!(first.account.products_used <= 8),
            Limit::Budget => {
                assert!(first.account.cost_minor <= input.options.budget_minor.unwrap() as f64 + 1e-6);
            }
        }
    }
}

/// Work is counted, so that this is the same on any machine.
#[test]
fn what_a_budget_buys_for_sixty_plots_is_proven_best() {
    for (seed, within) in [(3, 0.01), (7, 0.01)] {
        let mut input = limited(garden(60, 24, 10, seed), Limit::Budget);
        input.options.node_limit = 40;
        input.options.asked_limit = Some(20_000);
        input.options.time_limit = Duration::from_secs(600);
        let plan = solve(&input);
        let shortage = plan.stages.iter().find(|s| s.goal == Goal::Shortage).expect("every goal is reported");
        assert!(shortage.gap.is_some_and(|gap| gap <= within), "seed {seed}: {shortage:?}");
        assert!(plan.account.cost_minor <= input.options.budget_minor.unwrap() as f64 + 1e-6);
    }
}

#[test]
fn quick_answers_come_out_the_same_twice() {
    for limit in Limit::ALL {
        let input = sixty(limit);
        let base = quickly(&input, &watch::Unwatched);
        let tried = changes(&input, &base);
        assert_eq!(tried, changes(&input, &quickly(&input, &watch::Unwatched)));
        for change in tried.iter().step_by(5) {
            let one = try_change(&input, &base, change, &watch::Unwatched);
            assert_eq!(one, try_change(&input, &base, change, &watch::Unwatched), "{limit:?}: {change:?}");
        }
    }
}
