//! Season plans: from needs on many plots to weighed doses and whole packs.
//!
//! [`solve`] takes plain numbers and returns a plan with its reasons; [`assess`] gives
//! the same accounting for doses that a person typed. Caps are hard and count the total
//! element; goals count what is available in the first season; goals are settled one
//! after the other ([`Goal`]), never blended. Nothing in here may answer "infeasible",
//! spread more than a cap leaves, or depend on the order in which its input is listed.
//!
//! The method is lexicographic goal programming: Romero and Rehman, *Multiple Criteria
//! Analysis for Agricultural Decisions*, 2nd ed., Elsevier 2003, ch. 3 (from memory).

pub mod account;
mod bed;
mod caps;
mod clean;
pub mod doses;
pub mod explain;
mod face;
mod merit;
pub mod notes;
pub mod optimise;
pub mod packs;
mod passes;
mod recipe;
mod required;
mod shares;
mod stages;
mod tableau;
mod trial;
pub mod watch;

pub use account::{Account, CapUse, NeedMet, PlotAccount};
pub use doses::{CarrierMix, Dose, FirstMix, Solution, Weighing, carrier_mix, solution};
pub use explain::{Change, Served, Unmet, WhatIf, what_if};
pub use merit::{Merit, Serves, merits};
pub(crate) use notes::grams;
pub use notes::{Because, Named, Note};
pub use packs::Purchase;
pub use trial::{Quick, changes, quickly, try_change};
pub use watch::{Progress, Watch};

use super::element::Element;
use super::pass::Pass;
use super::source::{Evidence, Source};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// The caller's own number for a plot or a product; ties are settled by it.
pub type Key = u32;

/// 1 kg/ha is 0.1 g/m².
pub(crate) const G_PER_M2_IN_KG_PER_HA: f64 = 0.1;

/// Everything a plan is made from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlanInput {
    pub plots: Vec<PlotNeed>,
    pub products: Vec<Product>,
    pub locks: Vec<Lock>,
    pub options: Options,
}

impl PlanInput {
    /// Lets a plan be short of such a share of all needs (0.05: five in a hundred, averaged over
    /// needs and plots) beyond the least possible, to bring less excess.
    pub fn accept_shortage(&mut self, share: f64) {
        let needs = |plot: &PlotNeed| plot.need_kg_per_ha.values().filter(|need| **need > 0.0).count() as f64;
        let area_m2: f64 = self.plots.iter().map(|plot| plot.area_m2).sum();
        let all = self.plots.iter().map(|plot| plot.area_m2 * needs(plot)).sum::<f64>();
        self.options.stage_slack[Goal::Shortage as usize] = if area_m2 > 0.0 { share * all / area_m2 } else { 0.0 };
    }
}

/// One plot: how large it is, what it needs and what must not be exceeded.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct PlotNeed {
    pub key: Key,
    pub name: String,
    /// m², above 0.
    pub area_m2: f64,
    /// Element to supply this season, kg/ha, in first-season available form. An element
    /// listed with 0 is one whose excess counts; an element not listed is left out of the goals.
    pub need_kg_per_ha: BTreeMap<Element, f64>,
    /// Season caps on the total element, all products together.
    pub caps: BTreeMap<Element, Cap>,
    /// Caps on a weighted sum of products, such as nitrogen from manures only.
    pub group_caps: Vec<GroupCap>,
    /// Only these products may be used here; `None` means any.
    pub allowed: Option<BTreeSet<Key>>,
    /// These products must not be used here.
    pub forbidden: BTreeSet<Key>,
    /// These products must be used here: at least so many g/m², or, without a figure, enough to
    /// weigh well. A cap, a lock or a ban comes first, and a note says so.
    pub required_g_per_m2: BTreeMap<Key, Option<f64>>,
    /// Plots of one number get one recipe: the same g/m² of everything.
    pub recipe: Option<Key>,
}

/// What is left of a season cap.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Cap {
    /// Season cap less what was already put on, kg/ha of the total element; below zero
    /// when the cap is already exceeded.
    pub left_kg_per_ha: f64,
    /// The cap itself, before anything was put on, kg/ha; 0 where it is not known.
    pub whole_kg_per_ha: f64,
    /// The caller's words for the cap (crop, rule, source), repeated in notes.
    pub label: String,
}

/// A cap on a weighted sum of products.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct GroupCap {
    pub label: String,
    /// Grams counted per gram of product; a product not listed counts nothing.
    pub grams_per_gram: BTreeMap<Key, f64>,
    /// Cap less what was already put on, kg/ha; may be below zero.
    pub left_kg_per_ha: f64,
    /// The cap itself, before anything was put on, kg/ha; 0 where it is not known.
    pub whole_kg_per_ha: f64,
}

/// A product that may be used, and how it is had.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Product {
    pub key: Key,
    pub name: String,
    /// Mass fraction of the ELEMENT (never the oxide), 0 to 1, as spread.
    pub content: BTreeMap<Element, f64>,
    /// Share of the content available in the first season, 0 to 1; not listed means 1.
    pub availability: BTreeMap<Element, f64>,
    /// What it can share a pass with.
    pub pass: Pass,
    /// The most of the product on any plot, g/m².
    pub rate_max_g_per_m2: Option<f64>,
    /// On hand, g: free supply, used first.
    pub stock_g: f64,
    /// Pack sizes that can be bought; none means that only the stock can be used.
    pub packs: Vec<Pack>,
    /// Bought in whole packs only; otherwise loose, at the packs' price per gram.
    pub whole_packs: bool,
    /// The scale's weighing step for this product, g; `None` keeps doses as computed.
    pub scale_step_g: Option<f64>,
}

/// A pack that can be bought.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Pack {
    pub mass_g: f64,
    /// Price in minor units of money; `None` is unknown.
    pub price_minor: Option<i64>,
}

/// A dose in a person's hand: fixed before solving (0 g keeps the product off the plot), or
/// typed for [`assess`].
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Lock {
    pub plot: Key,
    pub product: Key,
    pub dose_g: f64,
}

/// What the person may set for the whole plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Options {
    /// The most to spend, minor units.
    pub budget_minor: Option<i64>,
    /// The most different products in the whole plan.
    pub max_products: Option<usize>,
    /// The most passes over any one plot; what goes out together is one ([`Pass`]).
    pub max_passes: Option<usize>,
    /// How much worse each goal may come out, in its own unit, to let the later goals do
    /// better: \[shortage, excess, cost in minor units, products, grams\].
    pub stage_slack: [f64; 5],
    /// Weight of an element's shortage; not listed means 1.
    pub shortage_weight: BTreeMap<Element, f64>,
    /// Weight of an element's excess; not listed means 1.
    pub excess_weight: BTreeMap<Element, f64>,
    /// Excess is measured against the need, or against this where the need is smaller, kg/ha.
    pub excess_ref_kg_per_ha: BTreeMap<Element, f64>,
    /// How close to the best possible the cost of whole packs must be proven (0.01 is 1 %).
    pub pack_gap: f64,
    /// Search nodes per goal: the limit that gives the same plan every time.
    pub node_limit: u64,
    /// Times that a plot may be asked in search of the packs or products to choose, which is work
    /// that is the same every time; without a figure as many as the time limit usually leaves time for.
    pub asked_limit: Option<u64>,
    /// Guard on the whole search; when it bites, the plan says so.
    pub time_limit: Duration,
}

impl Default for Options {
    fn default() -> Self {
        Options {
            budget_minor: None,
            max_products: None,
            max_passes: None,
            stage_slack: [0.0; 5],
            shortage_weight: BTreeMap::new(),
            excess_weight: BTreeMap::new(),
            excess_ref_kg_per_ha: default_excess_ref_kg_per_ha(),
            pack_gap: 0.01,
            node_limit: 2_000,
            asked_limit: None,
            time_limit: Duration::from_secs(5),
        }
    }
}

/// Who says so for [`default_excess_ref_kg_per_ha`]: nobody, and the page must be able to say that.
pub const EXCESS_REFERENCE: Source = Source {
    publisher: "",
    title: "Our own scale: about a light dressing of each element",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// The scale on which a small excess is judged where little or nothing is needed, kg/ha.
///
/// Not a limit ([`EXCESS_REFERENCE`]). Limits are caps, which the caller brings with a source.
pub fn default_excess_ref_kg_per_ha() -> BTreeMap<Element, f64> {
    use Element::*;
    [
        (N, 20.0),
        (P, 10.0),
        (K, 20.0),
        (Mg, 10.0),
        (Ca, 50.0),
        (S, 10.0),
        (Na, 20.0),
        (B, 0.5),
        (Cu, 1.0),
        (Mn, 2.0),
        (Zn, 2.0),
        (Fe, 5.0),
        (Mo, 0.05),
    ]
    .into()
}

/// What is settled, in this order; a later goal never worsens an earlier one beyond its slack.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Goal {
    /// Σ over plots and elements of area share × shortage ÷ need.
    Shortage,
    /// Σ of area share × excess ÷ max(need, reference).
    Excess,
    /// Minor units of money for packs bought.
    Cost,
    /// Number of different products used.
    Products,
    /// Grams spread in all.
    Mass,
}

impl Goal {
    /// Every goal, in the order settled.
    pub const ALL: [Goal; 5] = [Goal::Shortage, Goal::Excess, Goal::Cost, Goal::Products, Goal::Mass];
}

/// How a goal came out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Stage {
    pub goal: Goal,
    /// In the goal's unit, computed from the doses when the goal was settled.
    pub value: f64,
    /// Relative distance from the best possible that could not be ruled out; `None` if unknown.
    pub gap: Option<f64>,
    /// Proven best within the gap asked for.
    pub proven: bool,
}

/// A season plan.
#[derive(Clone, Debug, PartialEq)]
pub struct Plan {
    /// By plot, then product; no zeros except doses locked at zero.
    pub doses: Vec<Dose>,
    /// What the doses, as they will be weighed, do.
    pub account: Account,
    pub stages: Vec<Stage>,
    /// The cost goal's gap: "within x of the cheapest possible"; `None` if unknown.
    pub gap: Option<f64>,
    /// Every goal was proven (cost within [`Options::pack_gap`]).
    pub proven: bool,
    pub unmet: Vec<Unmet>,
    pub served: Vec<Served>,
    /// About the input and the search; what is wrong with the doses is in `account.notes`.
    pub notes: Vec<Note>,
}

/// The season plan for this input. Never fails: odd input is left out or read safely,
/// and a note says so.
pub fn solve(input: &PlanInput) -> Plan {
    solve_watched(input, &watch::Unwatched)
}

/// [`solve`] with somebody looking in, who may stop it.
pub fn solve_watched(input: &PlanInput, watch: &dyn Watch) -> Plan {
    solve_with(input, &optimise::Microlp, watch)
}

/// [`solve_watched`] with another solver.
pub fn solve_with(input: &PlanInput, solver: &dyn optimise::Solver, watch: &dyn Watch) -> Plan {
    let (mut problem, mut notes) = clean::clean(input);
    let mut joined = recipe::join(&problem, &mut notes);
    let (chosen, spent) = passes::limit(&mut joined.problem, input.options.time_limit, solver, watch);
    notes.extend(chosen);
    let options = Options {
        time_limit: input.options.time_limit.saturating_sub(spent),
        // By the time asked for, not by what a clock left of it: the same plan every time.
        asked_limit: Some(input.options.asked_limit.unwrap_or_else(|| stages::asked_in(input.options.time_limit))),
        ..input.options.clone()
    };
    let found = stages::run(&joined.problem, &options, solver, watch);
    let exact_g = joined.part(&caps::trim(&joined.problem, found.grams(&joined.problem)), &mut problem);
    let (doses, weighed_g) = doses::weigh(&problem, &exact_g);
    let account = account::account(&problem, &weighed_g);
    let unmet = explain::unmet(&problem, &exact_g, &account, &input.options, found.all_proven());
    let served = explain::served(&problem, &weighed_g);
    notes.extend(joined.excess_notes(&problem, &weighed_g));
    notes.extend(doses::below_scale_notes(&problem, &doses));
    notes.extend(found.notes.iter().cloned());
    Plan {
        doses,
        account,
        gap: found.stages.iter().find(|s| s.goal == Goal::Cost).and_then(|s| s.gap),
        proven: found.all_proven(),
        stages: found.stages,
        unmet,
        served,
        notes,
    }
}

/// The accounting of a set of doses as they stand: caps exceeded, shortages, packs, cost.
///
/// `doses` are (plot, product, grams) and are taken at their word; locks in the input are
/// not consulted. Doses for plots or products that are not listed are noted and left out.
pub fn assess(input: &PlanInput, doses: &[Lock]) -> Account {
    let bare = PlanInput { locks: Vec::new(), ..input.clone() };
    let (problem, notes) = clean::clean(&bare);
    let (grams, mut more) = account::read_doses(&problem, doses);
    let mut account = account::account(&problem, &grams);
    account.notes.splice(0..0, notes);
    account.notes.append(&mut more);
    account
}
