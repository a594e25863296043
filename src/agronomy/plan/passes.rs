//! At most so many passes over a plot. Which products take them is chosen plot by plot, for
//! the least shortage and then the least excess, as if everything could be had: exact for these
//! goals where no stock, budget or count of products is shared between plots, and a sound
//! choice, said to be one, where it is. What is chosen against is barred before the search.
//! Where there is no time to try every choice, simple arithmetic chooses, and a note says so.

use super::Product;
use super::clean::{Plot, Problem, Stop, Target};
use super::notes::Note;
use super::optimise::{Effort, Failure, Model, Sense, Solver};
use super::watch::Watch;
use crate::agronomy::pass::Pass;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// One walk over the plot, by what shares it: a product that shares with nothing by its place.
type Walk = (Pass, usize);

/// Kinds of pass that are tried in every combination; of more, those that help most by themselves.
const TRIED: usize = 10;
/// How little excess weighs beside shortage when a choice is judged.
const EXCESS: f64 = 1e-4;
/// Share of the time for the whole plan that the choice of passes may take.
const TIME_SHARE: f64 = 0.5;

/// Tries choices until they are told to stop, or their time is over.
struct Trials<'a> {
    solver: &'a dyn Solver,
    watch: &'a dyn Watch,
    left: Duration,
}

fn walk(products: &[Product], p: usize) -> Walk {
    match products[p].pass {
        Pass::Alone => (Pass::Alone, p),
        shared => (shared, 0),
    }
}

/// The number of passes that these doses take on one plot, g by product.
pub(super) fn count(products: &[Product], doses: &[f64]) -> usize {
    let used = (0..doses.len()).filter(|&p| doses[p] > 0.0);
    used.map(|p| walk(products, p)).collect::<BTreeSet<_>>().len()
}

/// Bars what does not fit into the passes that each plot may have. Returns what there is to say,
/// and the time it took of that for the whole plan.
pub(super) fn limit(
    problem: &mut Problem,
    time_limit: Duration,
    solver: &dyn Solver,
    watch: &dyn Watch,
) -> (Vec<Note>, Duration) {
    let Some(most) = problem.max_passes else { return (vec![], Duration::ZERO) };
    let time = time_limit.mul_f64(TIME_SHARE);
    let mut trials = Trials { solver, watch, left: time };
    let (mut chosen, mut hasty) = (Vec::new(), Vec::new());
    let mut known: Vec<(Plot, Option<BTreeSet<Walk>>)> = Vec::new();
    let Problem { plots, products, .. } = problem;
    for plot in plots.iter_mut() {
        let taken: BTreeSet<Walk> =
            plot.locked_g.iter().filter(|(_, g)| **g > 0.0).map(|(&p, _)| walk(products, p)).collect();
        let mut open: BTreeMap<Walk, Vec<usize>> = BTreeMap::new();
        for p in (0..products.len()).filter(|&p| plot.most[p] > 0.0) {
            open.entry(walk(products, p)).or_default().push(p);
        }
        open.retain(|walk, _| !taken.contains(walk));
        let room = most.saturating_sub(taken.len());
        if open.len() <= room {
            continue;
        }
        let keep = match known.iter().find(|(other, _)| alike(other, plot)) {
            Some((_, keep)) => keep.clone(),
            None => {
                let keep = trials.best(plot, &open, room);
                known.push((plot.clone(), keep.clone()));
                keep
            }
        };
        if keep.is_none() {
            hasty.push(plot.named());
        }
        let keep = keep.unwrap_or_else(|| by_arithmetic(plot, &open, room));
        for p in open.iter().filter(|(walk, _)| !keep.contains(walk)).flat_map(|(_, products)| products) {
            plot.most[*p] = 0.0;
            plot.stop[*p] = Some(Stop::Passes);
        }
        chosen.push(plot.named());
    }
    let mut notes = Vec::new();
    if !chosen.is_empty() {
        notes.push(Note::PassesChosen { plots: chosen, most });
    }
    if !hasty.is_empty() {
        notes.push(Note::PassesNotTried { plots: hasty });
    }
    (notes, time.saturating_sub(trials.left))
}

fn alike(one: &Plot, other: &Plot) -> bool {
    let free = one.limits.iter().map(|l| l.free).eq(other.limits.iter().map(|l| l.free));
    let committed = one.locked_g.is_empty() && other.locked_g.is_empty();
    free && committed && one.targets == other.targets && one.most == other.most
}

/// The walks that can bring most, at most `room` of them: one after the other, the one that by
/// itself, at its highest rates, brings most of what those before it leave to be brought.
fn by_arithmetic(plot: &Plot, open: &BTreeMap<Walk, Vec<usize>>, room: usize) -> BTreeSet<Walk> {
    let needs = || plot.targets.iter().filter(|t| t.need > t.locked).enumerate();
    let mut missing: Vec<f64> = needs().map(|(_, t)| (t.need - t.locked) / t.need).collect();
    let mut kept = BTreeSet::new();
    while kept.len() < room {
        let brought = |walk: &Walk| -> Vec<f64> {
            let most = |t: &Target| open[walk].iter().map(|&p| t.supply[p] * plot.most[p]).sum::<f64>() / t.need;
            needs().map(|(i, t)| most(t).min(missing[i])).collect()
        };
        let worth =
            |walk: &Walk| -> f64 { needs().zip(brought(walk)).map(|((_, t), share)| t.short_weight * share).sum() };
        let rest = open.keys().filter(|walk| !kept.contains(*walk));
        // Of equals the first, so that the same plot gets the same walks every time.
        let Some(next) = rest.rev().max_by(|a, b| worth(a).total_cmp(&worth(b))) else { break };
        let brought = brought(next);
        missing.iter_mut().zip(brought).for_each(|(left, share)| *left -= share);
        kept.insert(*next);
    }
    kept
}

impl Trials<'_> {
    /// The walks that leave the least shortage, at most `room` of them; `None` where they could not
    /// all be tried, or no try had an answer.
    fn best(&mut self, plot: &Plot, open: &BTreeMap<Walk, Vec<usize>>, room: usize) -> Option<BTreeSet<Walk>> {
        let mut left = |keep: &[Walk]| {
            let barred =
                open.iter().filter(|(walk, _)| !keep.contains(walk)).flat_map(|(_, products)| products.clone());
            self.remaining(plot, &barred.collect())
        };
        let mut walks: Vec<Walk> = open.keys().copied().collect();
        if walks.len() > TRIED {
            let mut alone = Vec::new();
            for &walk in &walks {
                alone.push((left(&[walk])?, walk));
            }
            alone.sort_by(|a: &(f64, Walk), b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            walks = alone.into_iter().take(TRIED).map(|(_, walk)| walk).collect();
            walks.sort();
        }
        let mut found: (f64, Option<Vec<Walk>>) = (f64::INFINITY, None);
        for bits in 0u32..1 << walks.len() {
            if bits.count_ones() as usize != room.min(walks.len()) {
                continue;
            }
            let keep: Vec<Walk> = (0..walks.len()).filter(|i| bits >> i & 1 == 1).map(|i| walks[i]).collect();
            let value = left(&keep)?;
            if value < found.0 - 1e-9 {
                found = (value, Some(keep));
            }
        }
        found.1.map(|keep| keep.into_iter().collect())
    }

    /// Shortage, with a little of the excess, that is left at best without these products: infinite
    /// where the solver has no answer, `None` where it is not to be asked any more.
    fn remaining(&mut self, plot: &Plot, barred: &BTreeSet<usize>) -> Option<f64> {
        if self.left.is_zero() || self.watch.stopped() {
            return None;
        }
        let model = without(plot, barred);
        let time = self.left.min(Duration::from_secs(1));
        let effort = Effort { gap: 0.0, nodes: 100, time, go_on: &|_| !self.watch.stopped() };
        let (value, spent) = match self.solver.minimise(&model, effort, None) {
            Ok(answer) => (model.objective(&answer.values), answer.spent),
            Err(Failure::OutOfTime(spent)) => (f64::INFINITY, spent),
            Err(_) => (f64::INFINITY, Duration::ZERO),
        };
        self.left = self.left.saturating_sub(spent);
        Some(value)
    }
}

/// The plot's shortage, with a little of its excess, as a model without these products.
fn without(plot: &Plot, barred: &BTreeSet<usize>) -> Model {
    let mut model = Model::default();
    let mut goal = Vec::new();
    let open: Vec<usize> = (0..plot.most.len()).filter(|p| plot.most[*p] > 0.0 && !barred.contains(p)).collect();
    let rate: BTreeMap<usize, usize> = open.iter().map(|&p| (p, model.column(0.0, plot.most[p], false))).collect();
    for target in &plot.targets {
        let unit = if target.need > 0.0 { target.need } else { target.scale };
        let mut row: Vec<(usize, f64)> = rate
            .iter()
            .filter(|(p, _)| target.supply[**p] > 0.0)
            .map(|(&p, &c)| (c, target.supply[p] / unit))
            .collect();
        let short = model.column(0.0, f64::INFINITY, false);
        let over = model.column(0.0, f64::INFINITY, false);
        row.extend([(short, 1.0), (over, -target.scale / unit)]);
        model.row(row, Sense::Equal, (target.need - target.locked) / unit);
        if target.need > 0.0 {
            goal.push((short, target.short_weight));
        }
        goal.push((over, target.over_weight * EXCESS));
    }
    for limit in plot.limits.iter().filter(|l| l.free > 0.0) {
        let row = rate.iter().filter(|(p, _)| limit.per_gram[**p] > 0.0);
        model.row(row.map(|(&p, &c)| (c, limit.per_gram[p] / limit.free)).collect(), Sense::AtMost, 1.0);
    }
    model.minimise(&goal);
    model
}
