//! Which packs to buy, or which products to use, where not all that would help may be had: from
//! the choices that the bound leads to, the best is improved by giving something up and putting to
//! other use what that sets free. Where no such change helps, the one that harms least is made, and
//! for a while not taken back (Glover, "Tabu search, part I", ORSA Journal on Computing 1 (1989)
//! 190-206, from memory). What a choice comes to is exact; that no other is better is not proven
//! here, but told by the bound.

use super::bound::{Dual, Reached};
use super::ladder::{Choice, Ladder, Means};
use super::seek::NEAR;
use super::tree::Tree;
use super::{Shared, Shares};
use std::collections::BTreeSet;

/// How little excess weighs beside shortage while choices are compared.
pub(super) const EXCESS: f64 = 1e-5;
/// A choice is better when it is by this much.
pub(super) const BETTER: f64 = 1e-7;
/// Choices of the bound that are looked at.
const LOOKED_AT: usize = 12;
/// Changes that are judged by what plots make of them at present prices, and those of them that
/// are tried.
const JUDGED: usize = 100;
const TRIED: usize = 8;
/// Changes for which what was given up, or taken up, stays so.
const KEPT: usize = 6;
/// Rounds of the bound, after each of which its choices are looked at.
const BOUNDING: [usize; 3] = [150, 250, 200];
const BOUNDING_QUICKLY: [usize; 2] = [60, 60];
/// Of the time, should the clock bite, the share that may be gone before the search by what plots tell ends.
const SEEKING: f64 = 0.5;
/// Changes without a better choice after which the search ends.
const IN_VAIN: usize = 40;

/// A choice, and what it comes to.
#[derive(Clone)]
pub(in super::super) struct Chosen {
    pub choice: Choice,
    pub shared: Shared,
}

/// How much to do for a choice.
pub(in super::super) struct Pains {
    /// Plots asked, or as much work.
    pub work: u64,
    /// Beyond that the same in search of packs by what plots tell of all choices, where there is a budget.
    pub seek: u64,
    /// Whether to look for how good any choice can be.
    pub prove: bool,
    /// A choice that was good under much the same means.
    pub from: Option<Choice>,
}

/// What plots make of a choice at some prices.
#[derive(Clone)]
struct Judged {
    /// By plot.
    value: Vec<f64>,
    rates: Vec<Vec<f64>>,
    /// By plot and product: by how much at most it could do better with what is not open.
    missed: Vec<Vec<f64>>,
}

impl Shares {
    /// The best choice found for least shortage, with a little of the excess. What no dose can
    /// change comes to `fixed`. `go_on` tells whether less than a share of the time is gone.
    pub fn choose(
        &mut self,
        means: &Means,
        dual: &Dual,
        fixed: f64,
        pains: &Pains,
        go_on: &dyn Fn(f64) -> bool,
    ) -> Option<(Chosen, f64)> {
        let until = self.asked + pains.work;
        let mut best = self.chosen(vec![None; self.most.len()], means)?;
        let mut seen: BTreeSet<Choice> = BTreeSet::new();
        let all: Vec<_> = means.ladders.iter().map(|ladder| (None, Some(ladder.steps.len() - 1))).collect();
        let mut reached = dual.begin(means);
        if let Some(from) = &pains.from {
            let near = means.nearest(from);
            let filled = self.filled(near, &[], (None, 0.0), means)?;
            seen.insert(filled.clone());
            best = self.chosen(filled, means).filter(|found| found.shared.value < best.shared.value).unwrap_or(best);
            reached.money = best.shared.money;
        }
        let rounds = match (&pains.from, pains.prove) {
            (Some(_), _) => &[],
            (None, false) => &BOUNDING_QUICKLY[..],
            (None, true) => &BOUNDING[..],
        };
        for &rounds in rounds {
            self.asked += rounds as u64 * self.round(means);
            let found = best.shared.short(&self.share) + fixed;
            dual.improve(&mut reached, means, &all, found, (rounds, 1.0));
            let money = reached.money;
            for choice in reached.choices.iter().take(LOOKED_AT).cloned().collect::<Vec<_>>() {
                let filled = self.filled(choice, &[], (None, money), means)?;
                if seen.insert(filled.clone()) {
                    if let Some(found) =
                        self.chosen(filled, means).filter(|found| found.shared.value < best.shared.value - BETTER)
                    {
                        best = found;
                    }
                }
            }
        }
        let asked = self.asked;
        let sought = self.sought(means, dual, &reached, &best, fixed, pains, go_on);
        if let Some((best, least)) = &sought {
            // Where next to nothing is short the bound may be a rounding below zero.
            if *least >= (best.shared.short(&self.share) + fixed) * (1.0 - 2.0 * NEAR) - 2e-9 {
                return sought;
            }
        }
        let until = self.asked + until.saturating_sub(asked);
        let half = until - pains.work / 2;
        let mut tree = Tree::new(means, reached.clone());
        if pains.prove {
            self.prove(&mut tree, means, dual, &mut best, fixed, half, &|| go_on(1.0))?;
        }
        let mut at = best.clone();
        let mut kept: Vec<usize> = vec![0; self.most.len()];
        let mut in_vain = 0;
        for round in 1.. {
            if self.asked >= until || in_vain >= IN_VAIN || !go_on(1.0) {
                break;
            }
            let held = |p: usize| kept[p] > round;
            let Some(next) = self.next(&at, best.shared.value, &held, &mut seen, means, reached.money)? else { break };
            for p in (0..next.choice.len()).filter(|&p| next.choice[p] != at.choice[p]) {
                kept[p] = round + KEPT;
            }
            at = next;
            in_vain += 1;
            if at.shared.value < best.shared.value - BETTER {
                best = at.clone();
                in_vain = 0;
            }
        }
        let least = match pains.prove {
            true => self.prove(&mut tree, means, dual, &mut best, fixed, until, &|| go_on(1.0))?,
            false => reached.least,
        };
        // The better of the two, and of both bounds the tighter.
        Some(match sought {
            Some((sought, bound)) if sought.shared.value < best.shared.value => (sought, least.max(bound)),
            Some((_, bound)) => (best, least.max(bound)),
            None => (best, least),
        })
    }

    /// The best choice of another search, and its bound, where that is asked for. Plots and what they
    /// answered are left as they were, so that what is found after it is found without it too.
    fn sought(
        &mut self,
        means: &Means,
        dual: &Dual,
        reached: &Reached,
        best: &Chosen,
        fixed: f64,
        pains: &Pains,
        go_on: &dyn Fn(f64) -> bool,
    ) -> Option<(Chosen, f64)> {
        let until = self.asked + pains.seek;
        let kept = (self.kept.take(), self.pool.clone(), self.beds.clone());
        let mut best = best.clone();
        let least = self.seek(means, dual, reached, &mut best, fixed, until, &|| go_on(SEEKING));
        (self.kept, self.pool, self.beds) = kept;
        least.map(|least| (best, least))
    }

    /// A round of the bound, in plots asked: less where products need not be sorted by what they earn.
    pub(super) fn round(&self, means: &Means) -> u64 {
        let plots = self.share.len() as u64;
        1 + if means.ladders.iter().all(Ladder::is_endless) { plots / 10 } else { plots * 2 / 3 }
    }

    /// What becomes of a choice of the bound, where that is better than the best.
    pub(super) fn improved(
        &mut self,
        choice: Choice,
        money: f64,
        best: &Chosen,
        means: &Means,
    ) -> Option<Option<Chosen>> {
        let filled = self.filled(choice, &[], (None, money), means)?;
        Some(self.chosen(filled, means).filter(|found| found.shared.value < best.shared.value - BETTER))
    }

    pub(super) fn chosen(&mut self, choice: Choice, means: &Means) -> Option<Chosen> {
        let shared = self.again(&means.question(&choice, (1.0, EXCESS)))?;
        Some(Chosen { choice, shared })
    }

    /// The first better choice near this one that is found, or else the best of those tried.
    fn next(
        &mut self,
        at: &Chosen,
        best: f64,
        held: &dyn Fn(usize) -> bool,
        seen: &mut BTreeSet<Choice>,
        means: &Means,
        money: f64,
    ) -> Option<Option<Chosen>> {
        let n = at.choice.len();
        let worth: Vec<f64> = (0..n).map(|p| if at.choice[p].is_some() { at.shared.worth[p] } else { 0.0 }).collect();
        let left = |choice: &Choice| money * means.budget.map_or(0.0, |budget| budget - means.cost(choice));
        let now = self.judged(&at.choice, &worth, None, means)?;
        let mut without: Vec<(usize, Choice, Judged)> = Vec::new();
        // What may come of giving something up and taking something up instead.
        let mut changes: Vec<(f64, usize, Option<usize>)> = Vec::new();
        for p in 0..n {
            let Some(step) = at.choice[p] else { continue };
            let mut less: Vec<Option<usize>> = vec![None];
            less.extend((step > 0).then(|| Some(step - 1)));
            for less in less {
                let mut choice = at.choice.clone();
                choice[p] = less;
                let judged = match less {
                    None => self.judged(&choice, &worth, Some((&now, &|c| now.rates[c][p] > 0.0)), means)?,
                    Some(_) => now.clone(),
                };
                let value = self.at_prices(&judged, &choice, &worth, at.shared.money, means);
                let place = without.len();
                for q in (0..n).filter(|&q| q != p && !held(q)) {
                    let Some(more) = means.more(&choice, q).filter(|more| means.allows(more)) else { continue };
                    let gain = match choice[q] {
                        Some(_) => worth[q] * (means.room(&more, q) - means.room(&choice, q)).min(self.most[q]),
                        None => self.sum(&judged.missed, q),
                    };
                    changes.push((value - gain - left(&more), place, Some(q)));
                }
                if !held(p) {
                    changes.push((value - left(&choice), place, None));
                }
                without.push((p, choice, judged));
            }
        }
        let order = |a: &(f64, usize, Option<usize>), b: &(f64, usize, Option<usize>)| {
            a.0.total_cmp(&b.0).then((a.1, a.2).cmp(&(b.1, b.2)))
        };
        changes.sort_by(order);
        changes.truncate(JUDGED);
        for change in &mut changes {
            let (_, choice, judged) = &without[change.1];
            let Some(q) = change.2.filter(|q| choice[*q].is_none()) else { continue };
            let Some(more) = means.more(choice, q) else { continue };
            let judged = self.judged(&more, &worth, Some((judged, &|c| judged.missed[c][q] > 0.0)), means)?;
            change.0 = self.at_prices(&judged, &more, &worth, at.shared.money, means) - left(&more);
        }
        changes.sort_by(order);
        // Of those that cannot be better, the one that comes nearest.
        let mut near: Option<(f64, Choice)> = None;
        let mut least: Option<Chosen> = None;
        let mut tried = 0;
        for (_, place, q) in changes {
            if tried >= TRIED {
                break;
            }
            let (p, choice, _) = &without[place];
            let choice = q.and_then(|q| means.more(choice, q)).unwrap_or_else(|| choice.clone());
            let filled = self.filled(choice, &[*p], (Some(&worth), at.shared.money), means)?;
            if filled == at.choice || seen.contains(&filled) {
                continue;
            }
            tried += 1;
            let judged = self.judged(&filled, &worth, None, means)?;
            let bound = self.at_prices(&judged, &filled, &worth, at.shared.money, means);
            if bound >= best - BETTER {
                if near.as_ref().is_none_or(|(nearest, _)| bound < *nearest) {
                    near = Some((bound, filled));
                }
                continue;
            }
            seen.insert(filled.clone());
            let Some(found) = self.chosen(filled, means) else { continue };
            if found.shared.value < best - BETTER {
                return Some(Some(found));
            }
            if least.as_ref().is_none_or(|least| found.shared.value < least.shared.value) {
                least = Some(found);
            }
        }
        if let Some((_, choice)) =
            near.filter(|(bound, _)| least.as_ref().is_none_or(|least| *bound < least.shared.value))
        {
            seen.insert(choice.clone());
            let found = self.chosen(choice, means);
            let lower = |found: &Chosen| least.as_ref().is_none_or(|least| found.shared.value < least.shared.value);
            if let Some(found) = found.filter(lower) {
                least = Some(found);
            }
        }
        Some(least)
    }

    /// Over all plots, one product's part of what is said by plot and product.
    fn sum(&self, of: &[Vec<f64>], p: usize) -> f64 {
        of.iter().zip(&self.share).map(|(of, share)| share * of[p]).sum()
    }

    /// Asks plots what they make of a choice; where it differs a little from another, only those
    /// that it may matter to.
    fn judged(
        &mut self,
        choice: &Choice,
        worth: &[f64],
        other: Option<(&Judged, &dyn Fn(usize) -> bool)>,
        means: &Means,
    ) -> Option<Judged> {
        let question = means.question(choice, (1.0, EXCESS));
        let (n, plots) = (choice.len(), self.share.len());
        let none = || Judged { value: vec![0.0; plots], rates: vec![vec![]; plots], missed: vec![vec![]; plots] };
        let mut judged = other.map_or_else(none, |(judged, _)| judged.clone());
        for c in (0..plots).filter(|&c| other.is_none_or(|(_, matters)| matters(c))) {
            self.asked += 1;
            judged.value[c] = self.beds[c].go(question.weights, worth, &question.open)?;
            judged.missed[c] = vec![0.0; n];
            self.beds[c].missed(&mut judged.missed[c], 1.0);
            judged.rates[c] = self.beds[c].rates();
        }
        Some(judged)
    }

    /// A choice comes to no less than this, by what plots make of it at these prices.
    fn at_prices(&self, judged: &Judged, choice: &Choice, worth: &[f64], money: f64, means: &Means) -> f64 {
        let question = means.question(choice, (1.0, EXCESS));
        let value: f64 = judged.value.iter().zip(&self.share).map(|(value, share)| value * share).sum();
        value - self.paid(&question, worth, money)
    }

    /// The choice with what it leaves of the means put to use, one step after the other, each time
    /// what promises most for what it takes. What was just given up is not taken up again.
    fn filled(
        &mut self,
        mut choice: Choice,
        given_up: &[usize],
        (worth, money): (Option<&[f64]>, f64),
        means: &Means,
    ) -> Option<Choice> {
        let n = choice.len();
        let free = vec![0.0; n];
        let worth = worth.unwrap_or(&free);
        loop {
            let could = (0..n).filter(|p| !given_up.contains(p)).filter_map(|p| Some((p, means.more(&choice, p)?)));
            let could: Vec<(usize, Choice)> = could.filter(|(_, more)| means.allows(more)).collect();
            if could.is_empty() {
                return Some(choice);
            }
            let judged = self.judged(&choice, worth, None, means)?;
            let mut best: Option<(f64, Choice)> = None;
            for (p, more) in could {
                let gain = match choice[p] {
                    None => self.sum(&judged.missed, p),
                    Some(_) => {
                        let (had, room) = (means.room(&choice, p), means.room(&more, p));
                        worth[p].max(1e-6) * (self.sum(&judged.rates, p) - had).clamp(0.0, room - had)
                    }
                };
                let cost = means.cost(&more) - means.cost(&choice);
                // What is sold loose can use the money too.
                let gain = if means.is_loose() { gain - money * cost } else { gain };
                let money = means.budget.map_or(0.0, |budget| cost / budget.max(1e-9));
                let places = means.counted(&more) - means.counted(&choice);
                let place = means.count.map_or(0.0, |count| places as f64 / count.max(1) as f64);
                let rate = gain / (money.max(place) + 1e-6);
                if gain > 1e-9 && best.as_ref().is_none_or(|(least, _)| rate > *least) {
                    best = Some((rate, more));
                }
            }
            match best {
                Some((_, more)) => choice = more,
                None => return Some(choice),
            }
        }
    }
}
