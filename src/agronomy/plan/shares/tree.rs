//! How near to the best possible a choice is: all choices are parted again and again by what is
//! used of one product, each part is bounded, and what cannot be better than the best that is known
//! is left out (Land and Doig, "An automatic method of solving discrete programming problems",
//! Econometrica 28 (1960) 497-520, from memory).

use super::Shares;
use super::bound::{Dual, Range, Reached};
use super::choose::{BETTER, Chosen};
use super::ladder::{Choice, Means};

/// Rounds of bounding each part of a part.
const ROUNDS: usize = 25;
const PACE: f64 = 0.6;
/// Within this share of the best that is known nothing better is looked for.
const NEAR: f64 = 1e-4;
/// A sum is sure to this.
const SURE: f64 = 1e-9;

/// What is left of all choices.
pub(super) struct Tree {
    open: Vec<Part>,
    /// What single choices come to, with a hair for rounding.
    ends: Vec<f64>,
}

impl Tree {
    /// All choices, with a bound of them.
    pub fn new(means: &Means, root: Reached) -> Tree {
        let ranges = means.ladders.iter().map(|ladder| (None, Some(ladder.steps.len() - 1))).collect();
        Tree { open: vec![Part { ranges, reached: root }], ends: Vec::new() }
    }
}

/// Choices that are left.
struct Part {
    ranges: Vec<Range>,
    reached: Reached,
}

impl Shares {
    /// Looks for a better choice than `best` where the bound leaves one, from where `tree` was left
    /// and as long as there is work to do; what none is better than. `fixed` is what no dose can change.
    pub(super) fn prove(
        &mut self,
        tree: &mut Tree,
        means: &Means,
        dual: &Dual,
        best: &mut Chosen,
        fixed: f64,
        until: u64,
        go_on: &dyn Fn() -> bool,
    ) -> Option<f64> {
        let share = self.share.clone();
        let found = |best: &Chosen| best.shared.short(&share) + fixed;
        let Tree { open, ends } = tree;
        while self.asked < until && go_on() {
            let enough = found(best) * (1.0 - NEAR);
            open.retain(|part| part.reached.least < enough);
            let order = |a: &usize, b: &usize| open[*a].reached.least.total_cmp(&open[*b].reached.least);
            let Some(at) = (0..open.len()).min_by(order) else { break };
            let mut part = open.swap_remove(at);
            let Some(parted) = dual.narrow(&part.reached, means, &mut part.ranges, enough) else { continue };
            let Some((p, step)) = parted else {
                // One choice is left, and what it comes to is exact.
                let choice: Choice = part.ranges.iter().map(|(_, to)| *to).collect();
                if means.allows(&choice) {
                    let Some(found) = self.chosen(choice, means) else {
                        ends.push(part.reached.least);
                        continue;
                    };
                    ends.push(found.shared.short(&self.share) + fixed - SURE);
                    if found.shared.value < best.shared.value - BETTER {
                        *best = found;
                    }
                }
                continue;
            };
            for above in [true, false] {
                let mut child = Part { ranges: part.ranges.clone(), reached: part.reached.clone() };
                match above {
                    true => child.ranges[p].0 = Some(step),
                    false => child.ranges[p].1 = step.checked_sub(1),
                }
                self.asked += ROUNDS as u64 * self.round(means);
                child.reached.choices.clear();
                dual.improve(&mut child.reached, means, &child.ranges, enough, (ROUNDS, PACE));
                if child.reached.least >= enough {
                    continue;
                }
                if let Some(choice) = child.reached.choices.first().cloned() {
                    if let Some(better) = self.improved(choice, child.reached.money, best, means)? {
                        *best = better;
                    }
                }
                open.push(child);
            }
        }
        let least =
            open.iter().map(|part| part.reached.least).chain(ends.iter().copied()).fold(f64::INFINITY, f64::min);
        Some(least.min(found(best) * (1.0 - NEAR)))
    }
}
