//! What each product of a plan does: which needs it serves, how much of what it brings is more
//! than needed, and what it costs. Where several products bring an element to a plot, what is
//! useful of it and what is beyond the need are parted by what each brings: nobody can say which
//! gram was one too many. That is our own rule.

use super::super::element::Element;
use super::account::{account, read_doses};
use super::explain::served;
use super::notes::Named;
use super::{Key, Lock, PlanInput, clean};
use std::collections::{BTreeMap, BTreeSet};

/// What one product does over all plots.
#[derive(Clone, Debug, PartialEq)]
pub struct Merit {
    pub product: Named,
    pub mass_g: f64,
    /// Plots that get some.
    pub plots: usize,
    /// By element.
    pub serves: Vec<Serves>,
    /// Minor units for the packs bought; `None` where no price is known.
    pub cost_minor: Option<f64>,
}

/// What one product does for one element, grams available in the first season.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Serves {
    pub element: Element,
    /// Goes toward a need.
    pub useful_g: f64,
    /// The need of all plots.
    pub need_g: f64,
    /// More than any need.
    pub beyond_g: f64,
}

/// What each product of these doses does, by product.
pub fn merits(input: &PlanInput, doses: &[Lock]) -> Vec<Merit> {
    let bare = PlanInput { locks: Vec::new(), ..input.clone() };
    let (problem, _) = clean::clean(&bare);
    let (grams, _) = read_doses(&problem, doses);
    let account = account(&problem, &grams);
    let mut need_g: BTreeMap<Element, f64> = BTreeMap::new();
    let mut useful: BTreeMap<(Key, Element), f64> = BTreeMap::new();
    for plot in &account.plots {
        for met in &plot.needs {
            *need_g.entry(met.element).or_default() += met.need_g;
            let share = if met.supplied_g > met.need_g { met.need_g / met.supplied_g } else { 1.0 };
            useful.insert((plot.plot.key, met.element), share);
        }
    }
    let mut serves: BTreeMap<(Key, Element), Serves> = BTreeMap::new();
    let mut plots: BTreeMap<Key, BTreeSet<Key>> = BTreeMap::new();
    for one in served(&problem, &grams) {
        let share = useful.get(&(one.plot.key, one.element)).copied().unwrap_or(0.0);
        let need_g = need_g.get(&one.element).copied().unwrap_or(0.0);
        let nothing = Serves { element: one.element, useful_g: 0.0, need_g, beyond_g: 0.0 };
        let line = serves.entry((one.product.key, one.element)).or_insert(nothing);
        line.useful_g += one.available_g * share;
        line.beyond_g += one.available_g * (1.0 - share);
    }
    for (plot, doses) in problem.plots.iter().zip(&grams) {
        for (product, _) in problem.products.iter().zip(doses).filter(|(_, g)| **g > 0.0) {
            plots.entry(product.key).or_default().insert(plot.key);
        }
    }
    let merit = |line: &super::Purchase| {
        let key = line.product.key;
        Merit {
            product: line.product.clone(),
            mass_g: line.used_g,
            plots: plots.get(&key).map_or(0, BTreeSet::len),
            serves: serves
                .range((key, Element::ALL[0])..)
                .take_while(|((k, _), _)| *k == key)
                .map(|(_, s)| *s)
                .collect(),
            cost_minor: line.cost_minor,
        }
    };
    account.shopping.iter().filter(|line| line.used_g > 0.0).map(merit).collect()
}
