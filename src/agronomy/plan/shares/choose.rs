//! Which packs to buy, or which products to use, where not all that would help may be had: from
//! the choices that the bound leads to, one is improved by doing without something and putting to
//! other use what that sets free, as long as that helps. What a choice comes to is exact; that no
//! other is better is not proven here, but told by the bound.

use super::bound::Dual;
use super::ladder::{Choice, Means};
use super::{Shared, Shares};
use std::collections::BTreeMap;

/// How little excess weighs beside shortage while choices are compared.
const EXCESS: f64 = 1e-5;
/// A choice is better when it is by this much.
const BETTER: f64 = 1e-7;
/// Choices of the bound that are looked at.
const LOOKED_AT: usize = 8;
/// Ways of using what is set free that are tried each time.
const WAYS: usize = 3;

/// A choice, and what it comes to.
#[derive(Clone)]
pub(in super::super) struct Chosen {
    pub choice: Choice,
    pub shared: Shared,
}

impl Shares {
    /// The best choice found for least shortage, with a little of the excess; and the bound.
    pub fn choose(
        &mut self,
        means: &Means,
        dual: &mut Dual,
        fixed: f64,
        work: u64,
        go_on: &dyn Fn() -> bool,
    ) -> Option<Chosen> {
        let weights = (1.0, EXCESS);
        let nothing: Choice = vec![None; self.most.len()];
        let mut starts = vec![self.chosen(nothing, means, weights)?];
        let until = self.asked + work;
        for rounds in [100, 400] {
            dual.improve(means, starts[0].shared.value + fixed, rounds);
            for choice in dual.choices.iter().take(LOOKED_AT).cloned().collect::<Vec<_>>() {
                let filled = self.filled(choice, None, means, weights, 0)?;
                if starts.iter().all(|other| other.choice != filled) {
                    starts.push(self.chosen(filled, means, weights)?);
                }
            }
            starts.sort_by(|a, b| a.shared.value.total_cmp(&b.shared.value).then_with(|| a.choice.cmp(&b.choice)));
        }
        let mut best: Option<Chosen> = None;
        let mut tried: BTreeMap<Choice, f64> = BTreeMap::new();
        for mut now in starts {
            if self.asked >= until {
                break;
            }
            let from = now.shared.value;
            while self.asked < until && go_on() {
                match self.better(&now, means, weights, &mut tried)? {
                    Some(better) => now = better,
                    None => break,
                }
            }
            if best.as_ref().is_none_or(|best| now.shared.value < best.shared.value - BETTER) {
                best = Some(now);
            }
        }
        best
    }

    fn chosen(&mut self, choice: Choice, means: &Means, weights: (f64, f64)) -> Option<Chosen> {
        let shared = self.together(&means.question(&choice, weights))?;
        Some(Chosen { choice, shared })
    }

    /// A better choice near this one, if one is found.
    fn better(
        &mut self,
        best: &Chosen,
        means: &Means,
        weights: (f64, f64),
        tried: &mut BTreeMap<Choice, f64>,
    ) -> Option<Option<Chosen>> {
        let mut ways: Vec<(f64, Choice)> = Vec::new();
        for p in 0..best.choice.len() {
            let Some(step) = best.choice[p] else { continue };
            let mut less: Vec<Option<usize>> = vec![None];
            if step > 0 {
                less.push(Some(step - 1));
            }
            for less in less {
                let mut choice = best.choice.clone();
                choice[p] = less;
                for way in 0..WAYS {
                    let filled = self.filled(choice.clone(), Some((p, best)), means, weights, way)?;
                    if filled != best.choice
                        && !tried.contains_key(&filled)
                        && !ways.iter().any(|(_, other)| *other == filled)
                    {
                        let least = self.least(&filled, best, means, weights)?;
                        if least < best.shared.value - BETTER {
                            ways.push((least, filled));
                        } else {
                            tried.insert(filled, least);
                        }
                    }
                }
            }
        }
        ways.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
        for (_, choice) in ways {
            let found = self.chosen(choice.clone(), means, weights)?;
            tried.insert(choice, found.shared.value);
            if found.shared.value < best.shared.value - BETTER {
                return Some(Some(found));
            }
        }
        Some(None)
    }

    /// A choice comes to no less than this: what plots make of it at the prices of another.
    fn least(&mut self, choice: &Choice, at: &Chosen, means: &Means, weights: (f64, f64)) -> Option<f64> {
        let question = means.question(choice, weights);
        // What was not in use has no price there: it is as if there were no end to it.
        let worth: Vec<f64> =
            (0..choice.len()).map(|p| if at.choice[p].is_some() { at.shared.worth[p] } else { 0.0 }).collect();
        let mut least = 0.0;
        for c in 0..self.share.len() {
            self.asked += 1;
            least += self.share[c] * self.beds[c].go(weights, &worth, &question.open)?;
        }
        for (p, worth) in worth.iter().enumerate().filter(|(_, worth)| **worth > 0.0) {
            least -= worth * question.room[p].min(self.most[p]);
        }
        if let Some((_, left)) = question.budget {
            least -= at.shared.money * left.max(0.0);
        }
        Some(least)
    }

    /// The choice with what it leaves of the means put to use, one step after the other, each time
    /// what promises most for what it takes; the first time the one at place `way`. What was
    /// just given up is not taken up again.
    fn filled(
        &mut self,
        mut choice: Choice,
        without: Option<(usize, &Chosen)>,
        means: &Means,
        weights: (f64, f64),
        way: usize,
    ) -> Option<Choice> {
        let n = choice.len();
        let free = vec![0.0; n];
        let given_up = without.map(|(p, _)| p);
        for round in 0.. {
            let worth = without.map_or(&free, |(_, at)| &at.shared.worth);
            let question = means.question(&choice, weights);
            let mut promise = vec![0.0; n];
            let mut used = vec![0.0; n];
            for c in 0..self.share.len() {
                self.asked += 1;
                self.beds[c].go(weights, worth, &question.open)?;
                self.beds[c].missed(&mut promise, self.share[c]);
                let rates = self.beds[c].rates();
                rates.iter().zip(&mut used).for_each(|(rate, used)| *used += self.share[c] * rate);
            }
            let mut next: Vec<(f64, usize, usize)> = Vec::new();
            for p in (0..n).filter(|p| Some(*p) != given_up) {
                let ladder = &means.ladders[p];
                let step = match choice[p] {
                    None => ladder.steps.iter().position(|step| step.0 > 0.0).or(ladder.loose.map(|_| 0)),
                    Some(step) => Some(step + 1).filter(|step| *step < ladder.steps.len()),
                };
                let Some(step) = step else { continue };
                let gain = match choice[p] {
                    None => promise[p],
                    Some(now) => {
                        let lack =
                            (used[p] - ladder.steps[now].0).max(0.0).min(ladder.steps[step].0 - ladder.steps[now].0);
                        worth[p].max(1e-6) * lack
                    }
                };
                let mut more = choice.clone();
                more[p] = Some(step);
                if gain > 1e-9 && means.allows(&more) {
                    let cost = ladder.steps[step].1 - choice[p].map_or(0.0, |now| ladder.steps[now].1);
                    let money = means.budget.map_or(0.0, |budget| cost / budget.max(1e-9));
                    let place = match choice[p].is_none() && ladder.counts {
                        true => means.count.map_or(0.0, |count| 1.0 / count.max(1) as f64),
                        false => 0.0,
                    };
                    next.push((gain / (money.max(place) + 1e-6), p, step));
                }
            }
            next.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
            let at = if round == 0 { way } else { 0 };
            let Some(&(_, p, step)) = next.get(at) else { break };
            choice[p] = Some(step);
        }
        Some(choice)
    }
}
