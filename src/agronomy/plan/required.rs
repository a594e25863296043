//! Products that must be used: a least dose, committed before anything is solved. A ban, a
//! fixed dose, a cap, a rate limit and what can be had come first, in that order, and each is
//! named where it leaves less than was asked. Must never commit more than they leave.

use super::clean::{Plot, named};
use super::notes::Note;
use super::{Key, PlanInput, Product};
use std::collections::BTreeMap;

/// Steps of the scale that a product without a stated least gets: fewer are off by more than 5 %.
const SURE_STEPS: f64 = 10.0;

/// What is asked of one product: g/m², `None` for enough to weigh well, by place of the plot.
type Asked = BTreeMap<usize, Option<f64>>;

/// Commits what must be used on `plots`, which are sorted by key and hold their locks already.
pub(super) fn commit(input: &PlanInput, plots: &mut [Plot], products: &[Product], notes: &mut Vec<Note>) {
    for (p, product) in products.iter().enumerate() {
        let mut asked: Asked = BTreeMap::new();
        for need in &input.plots {
            let Some(&rate) = need.required_g_per_m2.get(&product.key) else { continue };
            let rate = rate.filter(|g| g.is_finite() && *g > 0.0);
            if let Ok(b) = plots.binary_search_by_key(&need.key, |plot| plot.key) {
                asked.entry(b).or_insert(rate);
            }
        }
        share_recipe(&mut asked, plots, p);
        let mut given: Vec<(usize, f64, f64, String)> = Vec::new();
        for (&b, &rate) in &asked {
            let (asked_g, given_g, why) = permitted(&plots[b], product, p, rate);
            given.push((b, asked_g, given_g, why));
        }
        alike_in_recipe(&mut given, plots, product);
        had(&mut given, plots, product, p);
        for (b, asked_g, given_g, why) in given {
            let plot = &mut plots[b];
            if !why.is_empty() {
                let (plot, product) = (plot.named(), named(product));
                notes.push(Note::RequiredLess { plot, product, asked_g, given_g, why });
            }
            if given_g > 0.0 && !plot.locked_g.contains_key(&p) {
                plot.locked_g.insert(p, given_g);
                plot.least.insert(p);
            }
        }
    }
}

/// A recipe is the same everywhere: what one of its plots must have, all of them must.
fn share_recipe(asked: &mut Asked, plots: &[Plot], p: usize) {
    let mut by_recipe: BTreeMap<Key, Option<f64>> = BTreeMap::new();
    for (&b, &rate) in asked.iter() {
        if let Some(recipe) = follows_recipe(&plots[b]) {
            let held = by_recipe.entry(recipe).or_insert(rate);
            *held = larger(*held, rate);
        }
    }
    for (b, plot) in plots.iter().enumerate().filter(|(_, plot)| !plot.locked_g.contains_key(&p)) {
        if let Some(rate) = follows_recipe(plot).and_then(|recipe| by_recipe.get(&recipe)) {
            asked.insert(b, *rate);
        }
    }
}

/// The recipe that a plot follows; none where a dose of it is fixed.
fn follows_recipe(plot: &Plot) -> Option<Key> {
    plot.recipe.filter(|_| plot.locked_g.keys().all(|p| !plot.is_held(*p)))
}

fn larger(one: Option<f64>, other: Option<f64>) -> Option<f64> {
    match (one, other) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (one, other) => one.or(other),
    }
}

/// Grams asked for and grams that bans, fixed doses, caps and the label leave, with what took the rest.
fn permitted(plot: &Plot, product: &Product, p: usize, rate: Option<f64>) -> (f64, f64, String) {
    let area = plot.area_m2;
    let asked_g = rate.map_or(0.0, |rate| rate * area);
    if !plot.allowed[p] {
        return (asked_g, 0.0, "it is kept off this plot as well, and keeping off comes first".into());
    }
    if let Some(&held) = plot.locked_g.get(&p) {
        let short = held <= 0.0 || held < asked_g * (1.0 - 1e-9);
        return (asked_g, held, if short { "its dose is kept as it is".into() } else { String::new() });
    }
    let step = product.scale_step_g.unwrap_or(0.1);
    let wanted_g = match rate {
        Some(rate) => up(rate * area, product.scale_step_g),
        None => step * SURE_STEPS,
    };
    let (mut given_g, mut why) = (wanted_g, String::new());
    for limit in plot.limits.iter().filter(|l| l.per_gram[p] > 0.0) {
        let committed: f64 = plot.locked_g.iter().map(|(&q, &g)| limit.per_gram[q] * g).sum();
        let room = (limit.left * area - committed).max(0.0) / limit.per_gram[p];
        if room < given_g {
            given_g = down(room, product.scale_step_g);
            why = match limit.label.as_str() {
                "" => "a cap leaves no more".into(),
                label => format!("a cap leaves no more ({label})"),
            };
        }
    }
    if let Some(most) = product.rate_max_g_per_m2.map(|rate| rate * area).filter(|most| *most < given_g) {
        given_g = down(most, product.scale_step_g);
        why = "that is the most of it at once".into();
    }
    (asked_g, given_g, why)
}

/// A least in whole steps of the scale, so that weighing never goes below it.
fn up(g: f64, step: Option<f64>) -> f64 {
    step.filter(|s| g >= *s).map_or(g, |s| (g / s - 1e-9).ceil() * s)
}

fn down(g: f64, step: Option<f64>) -> f64 {
    let g = g * (1.0 - 16.0 * f64::EPSILON);
    step.filter(|s| g >= *s).map_or(g, |s| (g / s).floor() * s)
}

/// The plots of one recipe get the rate that the tightest of them can take.
fn alike_in_recipe(given: &mut [(usize, f64, f64, String)], plots: &[Plot], product: &Product) {
    let mut tightest: BTreeMap<Key, f64> = BTreeMap::new();
    for (b, _, given_g, _) in given.iter() {
        if let Some(recipe) = follows_recipe(&plots[*b]) {
            let rate = given_g / plots[*b].area_m2;
            tightest.entry(recipe).and_modify(|t| *t = t.min(rate)).or_insert(rate);
        }
    }
    for (b, asked_g, given_g, why) in given.iter_mut() {
        let Some(&rate) = follows_recipe(&plots[*b]).and_then(|recipe| tightest.get(&recipe)) else { continue };
        *given_g = rate * plots[*b].area_m2;
        let step = product.scale_step_g.unwrap_or(0.0);
        if why.is_empty() && (*given_g <= 0.0 || *given_g < *asked_g - step) {
            *why = "all beds of the block get one recipe, and another of them can take no more".into();
        }
    }
}

/// What cannot be bought is shared out in equal parts of what each plot was to get.
fn had(given: &mut [(usize, f64, f64, String)], plots: &[Plot], product: &Product, p: usize) {
    if !product.packs.is_empty() {
        return;
    }
    let held: f64 = plots.iter().map(|plot| plot.committed_g(p)).sum();
    let free = |(b, _, g, _): &&mut (usize, f64, f64, String)| *g > 0.0 && !plots[*b].locked_g.contains_key(&p);
    let wanted: f64 = given.iter_mut().filter(free).map(|(_, _, g, _)| *g).sum();
    let there = (product.stock_g - held).max(0.0);
    if wanted <= there {
        return;
    }
    for (b, _, given_g, why) in given.iter_mut().filter(free) {
        let share = *given_g * there / wanted;
        *given_g = if plots[*b].recipe.is_some() { share } else { down(share, product.scale_step_g) };
        *why = match there > 0.0 {
            true => "no more of it can be had".into(),
            false => "none is on hand and no pack is known to buy".into(),
        };
    }
}
