//! At most so many passes over a plot. Which products take them is chosen plot by plot, for
//! the least shortage and then the least excess, as if everything could be had: exact for these
//! goals where no stock, budget or count of products is shared between plots, and a sound
//! choice, said to be one, where it is. What is chosen against is barred before the search.

use super::Product;
use super::clean::{Plot, Problem, Stop};
use super::notes::Note;
use super::optimise::{Effort, Model, Sense, Solver};
use crate::agronomy::pass::Pass;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// One walk over the plot, by what shares it: a product that shares with nothing by its place.
type Walk = (Pass, usize);

/// Kinds of pass that are tried in every combination; of more, those that help most by themselves.
const TRIED: usize = 10;
/// How little excess weighs beside shortage when a choice is judged.
const EXCESS: f64 = 1e-4;

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

/// Bars what does not fit into the passes that each plot may have.
pub(super) fn limit(problem: &mut Problem, solver: &dyn Solver) -> Vec<Note> {
    let Some(most) = problem.max_passes else { return vec![] };
    let mut chosen = Vec::new();
    let mut known: Vec<(Plot, BTreeSet<Walk>)> = Vec::new();
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
                let keep = best(plot, &open, room, solver);
                known.push((plot.clone(), keep.clone()));
                keep
            }
        };
        for p in open.iter().filter(|(walk, _)| !keep.contains(walk)).flat_map(|(_, products)| products) {
            plot.most[*p] = 0.0;
            plot.stop[*p] = Some(Stop::Passes);
        }
        chosen.push(plot.named());
    }
    if chosen.is_empty() { vec![] } else { vec![Note::PassesChosen { plots: chosen, most }] }
}

fn alike(one: &Plot, other: &Plot) -> bool {
    let free = one.limits.iter().map(|l| l.free).eq(other.limits.iter().map(|l| l.free));
    let committed = one.locked_g.is_empty() && other.locked_g.is_empty();
    free && committed && one.targets == other.targets && one.most == other.most
}

/// The walks that leave the least shortage, at most `room` of them.
fn best(plot: &Plot, open: &BTreeMap<Walk, Vec<usize>>, room: usize, solver: &dyn Solver) -> BTreeSet<Walk> {
    let left = |keep: &[Walk]| {
        let barred = open.iter().filter(|(walk, _)| !keep.contains(walk)).flat_map(|(_, products)| products.clone());
        remaining(plot, &barred.collect(), solver)
    };
    let mut walks: Vec<Walk> = open.keys().copied().collect();
    if walks.len() > TRIED {
        let mut alone: Vec<(f64, Walk)> = walks.iter().map(|&walk| (left(&[walk]), walk)).collect();
        alone.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        walks = alone.into_iter().take(TRIED).map(|(_, walk)| walk).collect();
        walks.sort();
    }
    let mut found: (f64, Vec<Walk>) = (f64::INFINITY, vec![]);
    for bits in 0u32..1 << walks.len() {
        if bits.count_ones() as usize != room.min(walks.len()) {
            continue;
        }
        let keep: Vec<Walk> = (0..walks.len()).filter(|i| bits >> i & 1 == 1).map(|i| walks[i]).collect();
        let value = left(&keep);
        if value < found.0 - 1e-9 {
            found = (value, keep);
        }
    }
    found.1.into_iter().collect()
}

/// Shortage, with a little of the excess, that is left at best without these products.
fn remaining(plot: &Plot, barred: &BTreeSet<usize>, solver: &dyn Solver) -> f64 {
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
    let effort = Effort { gap: 0.0, nodes: 100, time: Duration::from_secs(1), go_on: &|_| true };
    solver.minimise(&model, effort, None).map_or(f64::INFINITY, |answer| model.objective(&answer.values))
}
