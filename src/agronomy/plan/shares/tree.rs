//! How near to the best possible a choice is: all choices are parted again and again by what is
//! used of one product, each part is bounded, and what cannot be better than the best that is known
//! is left out (Land and Doig, "An automatic method of solving discrete programming problems",
//! Econometrica 28 (1960) 497-520, from memory).

use super::Shares;
use super::bound::{Dual, Range, Reached};
use super::choose::Chosen;
use super::ladder::Means;

/// Rounds of bounding each part of a part.
const ROUNDS: usize = 40;
const PACE: f64 = 0.6;
/// Within this share of the best that is known nothing better is looked for.
const NEAR: f64 = 1e-4;

/// Choices that are left.
struct Part {
    ranges: Vec<Range>,
    reached: Reached,
}

impl Shares {
    /// Looks for a better choice than `best` where the bound leaves one; what none is better than.
    /// `fixed` is what no dose can change; `parts` how many parts are looked at.
    pub fn prove(
        &mut self,
        means: &Means,
        dual: &Dual,
        root: Reached,
        best: &mut Chosen,
        fixed: f64,
        (parts, until): (usize, u64),
        go_on: &dyn Fn() -> bool,
    ) -> Option<f64> {
        let all = means.ladders.iter().map(|ladder| (None, Some(ladder.steps.len() - 1))).collect();
        let mut open = vec![Part { ranges: all, reached: root }];
        let found = |best: &Chosen| best.shared.value + fixed;
        let mut looked_at = 0;
        while looked_at < parts && self.asked < until && go_on() {
            let enough = found(best) * (1.0 - NEAR);
            open.retain(|part| part.reached.least < enough);
            let order = |a: &usize, b: &usize| open[*a].reached.least.total_cmp(&open[*b].reached.least);
            let Some(at) = (0..open.len()).min_by(order) else { break };
            let mut part = open.swap_remove(at);
            let Some(parted) = dual.narrow(&part.reached, means, &mut part.ranges, enough) else { continue };
            let Some((p, step)) = parted else {
                // One choice is left, or none that the bound tells apart.
                looked_at += 1;
                self.asked += ROUNDS as u64 * self.round();
                dual.improve(&mut part.reached, means, &part.ranges, enough, (ROUNDS, PACE));
                if part.reached.least < enough {
                    open.push(part);
                    break;
                }
                continue;
            };
            for above in [true, false] {
                let mut child = Part { ranges: part.ranges.clone(), reached: part.reached.clone() };
                match above {
                    true => child.ranges[p].0 = Some(step),
                    false => child.ranges[p].1 = step.checked_sub(1),
                }
                looked_at += 1;
                self.asked += ROUNDS as u64 * self.round();
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
        let least = open.iter().map(|part| part.reached.least).fold(f64::INFINITY, f64::min);
        Some(least.min(found(best) * (1.0 - NEAR)))
    }
}
