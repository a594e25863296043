//! One recipe for a block: plots that are to get the same g/m² of everything are solved as one
//! piece of ground that has the needs of all of them, each weighed by its area, and the caps of
//! all of them. That is exact, and it makes the problem smaller. A plot with a dose that a
//! person fixed is planned by itself.

use super::caps::{highest_permitted, highest_useful};
use super::clean::{Plot, Problem, Stop, named};
use super::notes::Note;
use super::{Key, Product};
use std::collections::{BTreeMap, BTreeSet};

/// A problem of which some pieces stand for several plots.
pub(super) struct Joined {
    pub problem: Problem,
    /// Per piece: the plots that it stands for.
    members: Vec<Vec<usize>>,
}

/// Joins the plots of each recipe.
pub(super) fn join(problem: &Problem, notes: &mut Vec<Note>) -> Joined {
    let mut pieces: BTreeMap<(usize, Option<Key>), Vec<usize>> = BTreeMap::new();
    let mut first: BTreeMap<Key, usize> = BTreeMap::new();
    for (b, plot) in problem.plots.iter().enumerate() {
        let fixed = plot.locked_g.keys().any(|p| plot.is_held(*p));
        match plot.recipe {
            Some(recipe) if !fixed => {
                let at = *first.entry(recipe).or_insert(b);
                pieces.entry((at, Some(recipe))).or_default().push(b);
            }
            Some(_) => {
                notes.push(Note::OutOfRecipe { plot: plot.named() });
                pieces.insert((b, None), vec![b]);
            }
            None => _ = pieces.insert((b, None), vec![b]),
        }
    }
    let members: Vec<Vec<usize>> = pieces.into_values().collect();
    let piece = |members: &Vec<usize>| match members[..] {
        [alone] => problem.plots[alone].clone(),
        _ => one_ground(members.iter().map(|&b| &problem.plots[b]).collect(), &problem.products),
    };
    let plots = members.iter().map(piece).collect();
    Joined { problem: Problem { plots, ..problem.clone() }, members }
}

/// Several plots as one piece of ground.
fn one_ground(plots: Vec<&Plot>, products: &[Product]) -> Plot {
    let area_m2: f64 = plots.iter().map(|plot| plot.area_m2).sum();
    let mut joined = plots[0].clone();
    joined.area_m2 = area_m2;
    joined.name = plots.iter().map(|plot| plot.named().to_string()).collect::<Vec<_>>().join(", ");
    joined.targets.clear();
    joined.limits.clear();
    joined.locked_g.clear();
    joined.least = BTreeSet::new();
    for plot in &plots {
        for target in &plot.targets {
            let mut target = target.clone();
            target.short_weight *= plot.area_m2 / area_m2;
            target.over_weight *= plot.area_m2 / area_m2;
            joined.targets.push(target);
        }
        for limit in &plot.limits {
            let same = |other: &super::caps::Limit| other.free == limit.free && other.per_gram == limit.per_gram;
            if !joined.limits.iter().any(same) {
                joined.limits.push(limit.clone());
            }
        }
        for (&p, &g) in &plot.locked_g {
            *joined.locked_g.entry(p).or_default() += g;
            joined.least.insert(p);
        }
    }
    for (p, product) in products.iter().enumerate() {
        let each: Vec<(f64, Option<Stop>)> = plots.iter().map(|plot| highest_permitted(plot, product, p)).collect();
        let useful = plots.iter().map(|plot| highest_useful(plot, p)).fold(0.0, f64::max);
        joined.allowed[p] = plots.iter().all(|plot| plot.allowed[p]);
        joined.stop[p] = match each.iter().find_map(|(_, stop)| *stop) {
            Some(Stop::Cap(_)) => Some(Stop::Recipe), // which cap is for the plot that has it to say
            Some(stop) => Some(stop),
            None => (useful <= 0.0).then_some(Stop::NoUse),
        };
        let room = each.iter().map(|(rate, _)| *rate).fold(f64::INFINITY, f64::min);
        joined.most[p] = if joined.stop[p].is_some() { 0.0 } else { room.min(useful) };
    }
    joined
}

/// Less than this share of the need, or of a light dressing, is not worth a word.
const NOTICEABLE: f64 = 0.01;

impl Joined {
    /// Where the recipe puts more of a product on a plot than is any use there. `grams` is what is
    /// weighed, plot × product.
    pub fn excess_notes(&self, problem: &Problem, grams: &[Vec<f64>]) -> Vec<Note> {
        let mut notes = Vec::new();
        for &b in self.members.iter().filter(|members| members.len() > 1).flatten() {
            let (plot, doses) = (&problem.plots[b], &grams[b]);
            for (p, product) in problem.products.iter().enumerate() {
                let rate = (doses[p] - plot.committed_g(p)) / plot.area_m2;
                if rate <= highest_useful(plot, p) * (1.0 + NOTICEABLE) || rate <= 0.0 {
                    continue;
                }
                let beyond = plot.targets.iter().filter(|t| t.supply[p] > 0.0).filter_map(|t| {
                    let supplied: f64 = t.supply.iter().zip(doses).map(|(s, g)| s * g).sum();
                    let over = (supplied / plot.area_m2 - t.need).min(t.supply[p] * rate);
                    (over > NOTICEABLE * t.scale).then_some((t.element, over * plot.area_m2))
                });
                let beyond_g: Vec<_> = beyond.collect();
                if !beyond_g.is_empty() {
                    notes.push(Note::RecipeExcess { plot: plot.named(), product: named(product), beyond_g });
                }
            }
        }
        notes
    }

    /// Parts the grams of each piece among its plots, by area, and tells the plots what stopped a
    /// product where something on another plot, or the passes, did.
    pub fn part(&self, grams: &[Vec<f64>], problem: &mut Problem) -> Vec<Vec<f64>> {
        let mut parted = vec![vec![]; problem.plots.len()];
        for ((piece, members), grams) in self.problem.plots.iter().zip(&self.members).zip(grams) {
            for &b in members {
                let plot = &mut problem.plots[b];
                let share = if members.len() == 1 { 1.0 } else { plot.area_m2 / piece.area_m2 };
                parted[b] = grams.iter().map(|g| g * share).collect();
                for (p, stop) in piece.stop.iter().enumerate() {
                    let elsewhere = matches!(stop, Some(Stop::Passes | Stop::Recipe | Stop::NotAllowed | Stop::Rate));
                    if plot.stop[p].is_none() && elsewhere {
                        plot.stop[p] = if *stop == Some(Stop::Passes) { *stop } else { Some(Stop::Recipe) };
                    }
                }
            }
        }
        parted
    }
}
