//! From the caller's input to a problem that is safe to solve. Everything odd is read
//! the careful way and noted: an unusable need asks for nothing, an unusable cap leaves
//! nothing, an unusable product is left out. Must never fail, and must not depend on the
//! order of its input: plots and products come out sorted by key.

use super::super::element::Element;
use super::caps::{self, Limit};
use super::notes::{Named, Note};
use super::required;
use super::{G_PER_M2_IN_KG_PER_HA, Key, Lock, Options, Pack, PlanInput, PlotNeed, Product};
use std::collections::{BTreeMap, BTreeSet};

/// The cleaned problem; products are referred to by their place in `products`.
#[derive(Clone, Debug)]
pub(super) struct Problem {
    pub plots: Vec<Plot>,
    /// Sorted by key; every figure in them is finite and in range.
    pub products: Vec<Product>,
    /// Of these, what is not bought because there is a budget and no price.
    pub unpriced: Vec<bool>,
    pub budget_minor: Option<f64>,
    pub max_products: Option<usize>,
    pub max_passes: Option<usize>,
}

/// A plot with its goals and limits, per m².
#[derive(Clone, Debug)]
pub(super) struct Plot {
    pub key: Key,
    pub name: String,
    pub area_m2: f64,
    pub targets: Vec<Target>,
    pub limits: Vec<Limit>,
    /// Per product: the most that is any use and no harm, g/m², where the dose is free; 0 where it is not.
    pub most: Vec<f64>,
    /// Per product: why `most` is 0.
    pub stop: Vec<Option<Stop>>,
    /// Committed doses, g: those a person fixed, and the least of those that must be used.
    pub locked_g: BTreeMap<usize, f64>,
    /// Of these, products of which more may be used: what must be used is a least.
    pub least: BTreeSet<usize>,
    /// Plots of one number get the same g/m² of everything.
    pub recipe: Option<Key>,
    /// Per product: may it be used here?
    pub allowed: Vec<bool>,
}

/// A goal for one element.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Target {
    pub element: Element,
    /// g/m².
    pub need: f64,
    /// g/m² that excess is measured against.
    pub scale: f64,
    pub short_weight: f64,
    pub over_weight: f64,
    /// Available grams per gram of each product.
    pub supply: Vec<f64>,
    /// g/m² that locked doses supply.
    pub locked: f64,
}

/// Why a product has no free dose on a plot.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stop {
    NotAllowed,
    Locked,
    /// By the limit at this place in [`Plot::limits`].
    Cap(usize),
    Rate,
    NoneToBeHad,
    /// Supplies nothing that is needed here.
    NoUse,
    /// The passes over the plot are taken by others.
    Passes,
    /// Something on another plot of the same recipe.
    Recipe,
}

impl Plot {
    pub fn named(&self) -> Named {
        Named::new(self.key, &self.name)
    }

    /// Whether a person fixed the dose, so that nothing may be added to it.
    pub fn is_held(&self, p: usize) -> bool {
        self.locked_g.contains_key(&p) && !self.least.contains(&p)
    }

    /// What of a product goes on in any case, g.
    pub fn committed_g(&self, p: usize) -> f64 {
        self.locked_g.get(&p).copied().unwrap_or(0.0)
    }
}

/// The name to show for a product.
pub(super) fn named(product: &Product) -> Named {
    Named::new(product.key, &product.name)
}

fn usable(x: f64) -> bool {
    x.is_finite() && x >= 0.0
}

/// Makes a problem of the input.
pub(super) fn clean(input: &PlanInput) -> (Problem, Vec<Note>) {
    let mut notes = Vec::new();
    let products = products(&input.products, input.options.budget_minor.is_some(), &mut notes);
    let mut listed: Vec<&PlotNeed> = input.plots.iter().collect();
    listed.sort_by_key(|p| p.key); // stable: of two with one key the first listed wins
    let mut plots: Vec<Plot> = Vec::new();
    for need in listed {
        if !need.area_m2.is_finite() || need.area_m2 <= 0.0 {
            notes.push(Note::PlotLeftOut { plot: Named::new(need.key, &need.name) });
        } else if plots.last().is_some_and(|last| last.key == need.key) {
            notes.push(Note::Twice { what: "plot", name: Named::new(need.key, &need.name) });
        } else {
            plots.push(plot(need, &products, input, &mut notes));
        }
    }
    locks(&input.locks, &mut plots, &products, &mut notes);
    required::commit(input, &mut plots, &products, &mut notes);
    for plot in &mut plots {
        caps::tighten(plot, &products, &mut notes);
    }
    notes.extend(nothing_carries(&plots));
    let budget_minor = input.options.budget_minor.map(|b| b.max(0) as f64);
    let Options { max_products, max_passes, .. } = input.options;
    let needs_price = |product: &Product| {
        notes.iter().any(|note| matches!(note, Note::NeedsPrice { product: named } if named.key == product.key))
    };
    let unpriced = products.iter().map(needs_price).collect();
    (Problem { plots, products, unpriced, budget_minor, max_products, max_passes }, notes)
}

fn products(listed: &[Product], budget: bool, notes: &mut Vec<Note>) -> Vec<Product> {
    let mut sorted: Vec<&Product> = listed.iter().collect();
    sorted.sort_by_key(|p| p.key);
    let mut kept: Vec<Product> = Vec::new();
    for product in sorted {
        let name = named(product);
        if kept.last().is_some_and(|last| last.key == product.key) {
            notes.push(Note::Twice { what: "product", name });
            continue;
        }
        let total: f64 = product.content.values().sum();
        if !product.content.values().all(|&c| usable(c)) {
            let why = "its analysis has a figure that is not a number from 0 to 100 %";
            notes.push(Note::ProductLeftOut { product: name, why });
            continue;
        }
        // Printed analyses are rounded; a hair over the whole is not an error.
        if total > 1.0005 {
            notes.push(Note::ProductLeftOut { product: name, why: "its analysis adds up to more than 100 %" });
            continue;
        }
        kept.push(product_figures(product, budget, notes));
    }
    kept
}

fn product_figures(product: &Product, budget: bool, notes: &mut Vec<Note>) -> Product {
    let name = named(product);
    let mut clean = product.clone();
    let mut odd = |what: String, taken_as: &'static str| {
        notes.push(Note::OddNumber { whose: name.to_string(), what, taken_as });
    };
    clean.content.retain(|_, c| *c > 0.0);
    for (element, share) in &mut clean.availability {
        if !usable(*share) {
            odd(format!("the availability of {}", element.name()), "taken as 0");
            *share = 0.0;
        } else if *share > 1.0 {
            odd(format!("the availability of {}", element.name()), "taken as 100 %");
            *share = 1.0;
        }
    }
    if !usable(clean.stock_g) {
        odd("the stock".into(), "taken as none");
        clean.stock_g = 0.0;
    }
    if clean.rate_max_g_per_m2.is_some_and(|r| !usable(r)) {
        odd("the rate limit".into(), "taken as 0, so it is not used");
        clean.rate_max_g_per_m2 = Some(0.0);
    }
    if clean.scale_step_g.is_some_and(|s| !s.is_finite() || s <= 0.0) {
        odd("the weighing step".into(), "doses are left as computed");
        clean.scale_step_g = None;
    }
    clean.packs.retain(|p| {
        let good = p.mass_g.is_finite() && p.mass_g > 0.0;
        if !good {
            odd("the mass of a pack".into(), "that pack is left out");
        }
        good
    });
    for pack in &mut clean.packs {
        if pack.price_minor.is_some_and(|p| p < 0) {
            odd("the price of a pack".into(), "taken as unknown");
            pack.price_minor = None;
        }
    }
    if clean.packs.iter().any(|p| p.price_minor.is_some()) {
        // A pack without a price cannot be weighed against one that has a price.
        clean.packs.retain(|p| p.price_minor.is_some());
    } else if !clean.packs.is_empty() && budget {
        // What it costs cannot be held against the budget, and unknown must not count as free.
        notes.push(Note::NeedsPrice { product: name.clone() });
        clean.packs.clear();
    } else if !clean.packs.is_empty() {
        notes.push(Note::PriceUnknown { product: name.clone() });
    }
    let priceless = budget && !product.packs.is_empty() && clean.packs.is_empty();
    if clean.packs.is_empty() && clean.stock_g == 0.0 && !priceless {
        notes.push(Note::NoneToBeHad { product: name });
    }
    let order = |p: &Pack| (p.mass_g, p.price_minor.unwrap_or(0));
    clean.packs.sort_by(|a, b| order(a).partial_cmp(&order(b)).expect("pack masses are finite"));
    clean.packs.dedup_by_key(|p| p.mass_g.to_bits()); // of one size the cheapest stays
    clean
}

fn plot(need: &PlotNeed, products: &[Product], input: &PlanInput, notes: &mut Vec<Note>) -> Plot {
    let name = Named::new(need.key, &need.name);
    let options = &input.options;
    let weight = |weights: &BTreeMap<Element, f64>, e: &Element| match weights.get(e) {
        Some(&w) if usable(w) => w,
        _ => 1.0,
    };
    let mut targets = Vec::new();
    for (element, &kg_per_ha) in &need.need_kg_per_ha {
        let kg_per_ha = match usable(kg_per_ha) {
            true => kg_per_ha,
            false => {
                let what = format!("the need for {}", element.name());
                notes.push(Note::OddNumber { whose: name.to_string(), what, taken_as: "taken as none" });
                0.0
            }
        };
        let reference = match options.excess_ref_kg_per_ha.get(element) {
            Some(&r) if r.is_finite() && r > 0.0 => r,
            _ => 1.0,
        };
        // Less than a millionth of a light dressing is no need.
        let kg_per_ha = if kg_per_ha < reference * 1e-6 { 0.0 } else { kg_per_ha };
        targets.push(Target {
            element: *element,
            need: kg_per_ha * G_PER_M2_IN_KG_PER_HA,
            scale: kg_per_ha.max(reference) * G_PER_M2_IN_KG_PER_HA,
            short_weight: weight(&options.shortage_weight, element),
            over_weight: weight(&options.excess_weight, element),
            supply: products.iter().map(|p| available(p, *element)).collect(),
            locked: 0.0,
        });
    }
    let allowed = products
        .iter()
        .map(|p| need.allowed.as_ref().is_none_or(|a| a.contains(&p.key)) && !need.forbidden.contains(&p.key))
        .collect();
    Plot {
        key: need.key,
        name: need.name.clone(),
        area_m2: need.area_m2,
        targets,
        limits: caps::limits(need, products, notes),
        most: vec![0.0; products.len()],
        stop: vec![None; products.len()],
        locked_g: BTreeMap::new(),
        least: BTreeSet::new(),
        recipe: need.recipe,
        allowed,
    }
}

/// Grams of the element available in the first season per gram of product.
pub(super) fn available(product: &Product, element: Element) -> f64 {
    let content = product.content.get(&element).copied().unwrap_or(0.0);
    content * product.availability.get(&element).copied().unwrap_or(1.0)
}

fn locks(locks: &[Lock], plots: &mut [Plot], products: &[Product], notes: &mut Vec<Note>) {
    let mut sorted: Vec<&Lock> = locks.iter().collect();
    sorted.sort_by(|a, b| (a.plot, a.product).cmp(&(b.plot, b.product)).then(a.dose_g.total_cmp(&b.dose_g)));
    for lock in sorted {
        let ignored = |why| Note::DoseIgnored { plot: lock.plot, product: lock.product, why };
        let place = products.binary_search_by_key(&lock.product, |p| p.key);
        let plot = plots.binary_search_by_key(&lock.plot, |p| p.key);
        let (Ok(p), Ok(b)) = (place, plot) else {
            notes.push(ignored("the plot or the product is not part of this plan"));
            continue;
        };
        if !usable(lock.dose_g) {
            notes.push(ignored("its mass is not a usable number"));
            continue;
        }
        let plot = &mut plots[b];
        match plot.locked_g.get(&p) {
            Some(&kept_g) if kept_g == lock.dose_g => {}
            Some(&kept_g) => notes.push(Note::LocksDisagree {
                plot: plot.named(),
                product: named(&products[p]),
                kept_g,
                other_g: lock.dose_g,
            }),
            None => {
                plot.locked_g.insert(p, lock.dose_g);
            }
        }
    }
}

/// Elements needed that no product carries at all, once each with the plots that need them.
fn nothing_carries(plots: &[Plot]) -> Vec<Note> {
    let mut missing: BTreeMap<Element, Vec<Named>> = BTreeMap::new();
    for plot in plots {
        for target in plot.targets.iter().filter(|t| t.need > 0.0 && t.supply.iter().all(|&s| s == 0.0)) {
            missing.entry(target.element).or_default().push(plot.named());
        }
    }
    missing.into_iter().map(|(element, plots)| Note::NothingCarries { element, plots }).collect()
}
