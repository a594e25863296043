//! The packs that a budget buys best: all choices are parted again and again by what is used of one
//! product (Land and Doig, "An automatic method of solving discrete programming problems",
//! Econometrica 28 (1960) 497-520, from memory), each part is bounded by what was told of choices so
//! far ([`Cuts`]), and plots are asked about the point that seems best in it, packs cut open: their
//! prices there tell something of all choices.

use super::bound::{Dual, Reached};
use super::choose::{BETTER, Chosen, EXCESS};
use super::cuts::{Cut, Cuts, Least, Levels, Split};
use super::ladder::{Choice, Means};
use super::mix::AS_ASKING;
use super::{Question, Shared, Shares};
use std::collections::BTreeMap;

/// Within this share of the best that is known nothing better is looked for.
pub(super) const NEAR: f64 = 1e-4;
/// A sum is sure to this.
const SURE: f64 = 1e-9;
/// Points that plots are asked about before anything is parted.
const FIRST: usize = 60;
/// A point that told no more than this is not worth another.
const LITTLE: f64 = 1e-5;
/// Plots are asked about a point until no more than this share of what could be told is missing.
const MISSING: f64 = 0.3;
/// After so many parts one is followed to a choice at once.
const DIVES: usize = 3;
/// Products that are tried for parting.
const TRIED: usize = 10;

/// Choices that are left.
struct Part {
    levels: Levels,
    /// None of them comes to less.
    least: f64,
}

/// A search under way.
struct Seek<'a> {
    shares: &'a mut Shares,
    means: &'a Means,
    dual: &'a Dual,
    fixed: f64,
    cuts: Cuts,
    best: Chosen,
    /// Choices that were asked about, and what they come to at least.
    seen: BTreeMap<Choice, f64>,
    counted: u64,
}

impl Shares {
    /// Looks for a better choice than `best` under a budget, until none can be better or `until` so
    /// much was asked; what no choice comes to less than. `reached` is a bound to begin with. `None`
    /// where this is no way to look.
    pub(super) fn seek(
        &mut self,
        means: &Means,
        dual: &Dual,
        reached: &Reached,
        best: &mut Chosen,
        fixed: f64,
        until: u64,
        go_on: &dyn Fn() -> bool,
    ) -> Option<f64> {
        if self.asked >= until {
            return None;
        }
        let mut cuts = Cuts::new(means)?;
        cuts.add(&dual.cut_of(reached, means));
        let best_now = best.clone();
        let mut seek =
            Seek { shares: self, means, dual, fixed, cuts, best: best_now, seen: BTreeMap::new(), counted: 0 };
        let least = seek.go(until, go_on);
        *best = seek.best;
        least
    }
}

impl Seek<'_> {
    /// What comes to no less than this is not looked at.
    fn enough(&self) -> f64 {
        (self.best.shared.short(&self.shares.share) + self.fixed) * (1.0 - NEAR)
    }

    fn go(&mut self, until: u64, go_on: &dyn Fn() -> bool) -> Option<f64> {
        let all = self.cuts.all.clone();
        for _ in 0..FIRST {
            let Some(point) = self.least(&all) else { break };
            if point.least >= self.enough() || self.shares.asked >= until || self.ask(&point)? <= point.least + LITTLE {
                break;
            }
        }
        let mut open = vec![Part { levels: all, least: f64::NEG_INFINITY }];
        // What single choices come to that cannot be told from better ones.
        let mut ends = f64::INFINITY;
        // The part to look at next: one of those that the last was parted into, for there better choices
        // are soon found, or else the one that could be best.
        let mut next: Option<usize> = None;
        let mut nodes = 0;
        while self.shares.asked < until && go_on() {
            let enough = self.enough();
            if next.is_none() {
                open.retain(|part| part.least < enough);
            }
            let order = |a: &usize, b: &usize| open[*a].least.total_cmp(&open[*b].least).then(b.cmp(a));
            let Some(at) = next.take().or_else(|| (0..open.len()).min_by(order)) else { break };
            let mut part = open.swap_remove(at);
            nodes += 1;
            let Some(mut point) = self.narrowed(&mut part) else { continue };
            if self.cuts.read(&point.part).is_err() {
                self.ask(&point)?;
                match self.narrowed(&mut part) {
                    Some(better) => point = better,
                    None => continue,
                }
                if nodes % DIVES == 1 {
                    self.dive(&part.levels)?;
                }
            }
            let split = match self.cuts.read(&point.part) {
                Err(split) => split,
                Ok(choice) if self.means.allows(&choice) && !self.seen.contains_key(&choice) => {
                    self.settle(choice)?;
                    next = Some(open.len());
                    open.push(part);
                    continue;
                }
                // A choice that rounding tells from what it is: parted from the others, and then left.
                Ok(choice) => {
                    let split = self.cuts.beside(&choice, &part.levels);
                    if split.is_empty() {
                        if self.means.allows(&choice) {
                            ends = ends.min(self.seen.get(&choice).map_or(part.least, |least| least.max(part.least)));
                        }
                        continue;
                    }
                    split
                }
            };
            let parts = self.parted(&part, split);
            let first = open.len();
            next = (0..parts.len()).min_by(|a, b| parts[*a].least.total_cmp(&parts[*b].least)).map(|at| first + at);
            open.extend(parts);
        }
        let least = open.iter().map(|part| part.least).fold(ends, f64::min);
        Some(least.min(self.enough()) - SURE)
    }

    /// The least that the cuts leave, and the work counted.
    fn least(&mut self, levels: &Levels) -> Option<Least> {
        let least = self.cuts.least(levels);
        let done = (self.cuts.work - self.counted) / AS_ASKING;
        self.counted += done * AS_ASKING;
        self.shares.asked += done;
        least
    }

    /// Bounds a part and narrows it to what can be better; `None` where nothing can.
    fn narrowed(&mut self, part: &mut Part) -> Option<Least> {
        let point = self.least(&part.levels)?;
        let enough = self.enough();
        part.least = part.least.max(point.least);
        if part.least >= enough {
            return None;
        }
        self.cuts.narrow(&point, &mut part.levels, enough);
        Some(point)
    }

    /// The two that a part is parted into, without what cannot be better: of the ways to part it the
    /// one by which the bounds of both rise most.
    fn parted(&mut self, part: &Part, mut split: Vec<Split>) -> Vec<Part> {
        split.sort_by(|a, b| (a.part - 0.5).abs().total_cmp(&(b.part - 0.5).abs()).then(a.p.cmp(&b.p)));
        split.truncate(TRIED);
        let enough = self.enough();
        let room = (enough - part.least).max(1e-9);
        let mut best: Option<(f64, Vec<Part>)> = None;
        for Split { p, level, .. } in split {
            let (from, to) = part.levels[p];
            let mut gain = 1.0;
            let mut parts = Vec::new();
            for range in [(from, level - 1), (level, to)] {
                let mut levels = part.levels.clone();
                levels[p] = range;
                let mut half = Part { levels, least: part.least };
                let rise = match self.narrowed(&mut half) {
                    Some(_) => half.least - part.least,
                    None => room,
                };
                gain *= rise.clamp(0.0, room) + 1e-3 * room;
                if rise < room {
                    parts.push(half);
                }
            }
            if best.as_ref().is_none_or(|(most, _)| gain > *most) {
                best = Some((gain, parts));
            }
        }
        best.map_or_else(Vec::new, |(_, parts)| parts)
    }

    /// Asks plots about a point between choices; what is told of it.
    fn ask(&mut self, point: &Least) -> Option<f64> {
        let mut question = self.means.question(&vec![Some(0); self.shares.most.len()], (1.0, EXCESS));
        question.room = self.cuts.room(&point.part, self.means);
        question.open = question.room.iter().map(|room| *room > 0.0).collect();
        let (least, limit, fixed) = (point.least, self.enough(), self.fixed);
        let mut enough = |value: f64, bound: f64| {
            bound + fixed >= limit || value - bound <= MISSING * (value + fixed - least).max(1e-4)
        };
        let (_, cut, _) = self.told(&question, &mut enough)?;
        let told = self.cuts.told(&cut, &point.part);
        self.cuts.add(&cut);
        Some(told)
    }

    /// Asks plots about a choice: what it comes to, or that it is no better than the best.
    fn settle(&mut self, choice: Choice) -> Option<()> {
        let question = self.means.question(&choice, (1.0, EXCESS));
        let limit = self.best.shared.value - BETTER;
        let (shared, cut, bound) = self.told(&question, &mut |_, bound| bound >= limit)?;
        self.cuts.add(&cut);
        // A little of what it comes to may be excess.
        let over: f64 = shared.measure.iter().zip(&self.shares.share).map(|((_, over), share)| over * share).sum();
        self.seen.insert(choice.clone(), bound - EXCESS * over + self.fixed - SURE);
        if shared.value < limit {
            self.best = Chosen { choice, shared };
        }
        Some(())
    }

    /// Asks plots until enough is known, and what their prices tell of all choices.
    fn told(&mut self, question: &Question, enough: &mut dyn FnMut(f64, f64) -> bool) -> Option<(Shared, Cut, f64)> {
        let (shared, bound) = self.shares.until(question, enough)?;
        let money = if self.means.is_loose() { shared.money } else { 0.0 };
        let cut = self.dual.cut_at(&self.shares.beds, money, self.means);
        self.shares.asked += self.shares.round(self.means);
        Some((shared, cut, bound))
    }

    /// From a part to a choice by rounding what is nearest to whole, one product after the other.
    fn dive(&mut self, levels: &Levels) -> Option<()> {
        let mut levels = levels.clone();
        while let Some(point) = self.least(&levels).filter(|point| point.least < self.enough()) {
            let split = match self.cuts.read(&point.part) {
                Err(split) => split,
                Ok(choice) => {
                    if self.means.allows(&choice) && !self.seen.contains_key(&choice) {
                        self.settle(choice)?;
                    }
                    break;
                }
            };
            let whole = |split: &Split| (split.part - 0.5).abs();
            let nearest = split.into_iter().max_by(|a, b| whole(a).total_cmp(&whole(b)).then(b.p.cmp(&a.p)));
            let Some(Split { p, level, part }) = nearest else { break };
            let (from, to) = levels[p];
            // Rounding may put a part outside its ends, where nothing is left to split.
            if level <= from || to < level {
                break;
            }
            levels[p] = (level, to);
            if part <= 0.5 || self.least(&levels).is_none() {
                levels[p] = (from, level - 1);
            }
        }
        Some(())
    }
}
