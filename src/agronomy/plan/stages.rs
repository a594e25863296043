//! The goals, one after the other: each is minimised over all doses that keep the goals
//! before it as good as they were found. Builds the models, starts each from the last
//! answer, and keeps that answer whenever the solver has nothing better. Must never
//! report a value that it has not computed from the doses themselves.
//!
//! Unknowns are rates in g/m², so that the size of a plot does not disturb the arithmetic;
//! shortage and excess are shares of the need, so that boron weighs as much as potassium.
//! Plots with the same needs, caps and choice of products are one *class*: the goals are
//! convex, so giving them all the same rate loses nothing.

mod doubles;
mod known;
mod less;
mod model;
mod prices;
mod together;
mod values;

use super::bed::Bed;
use super::clean::{Plot, Problem, Target};
use super::face::{self, Face};
use super::notes::Note;
use super::optimise::{Effort, Failure, Solver};
use super::shares::Shares;
use super::watch::{Progress, Watch};
use super::{Goal, Options, Stage, packs};
pub(super) use known::Known;
use model::{Bound, Kept, Places, Scope};
use std::time::Duration;
pub(super) use together::asked_in;

/// Above this many rates the last goals keep the packs and products that the cost goal chose.
const SMALL: usize = 150;
/// Up to so many rates the packs for a budget are chosen by the general solver, which proves them.
const CHOSEN_AT_ONCE: usize = 300;
/// Search nodes for the fewest products where that is a large search: it only chooses among equals.
const CHOICE_NODES: u64 = 40;

/// Plots that are alike in all but name and size.
struct Class {
    plots: Vec<usize>,
    area_m2: f64,
}

/// Free rates in g/m², by class and product.
type Rates = Vec<Vec<f64>>;

/// What the search found.
pub(super) struct Found {
    class_of: Vec<usize>,
    rates: Rates,
    pub stages: Vec<Stage>,
    pub notes: Vec<Note>,
}

impl Found {
    /// Doses in g, plot × product, locked ones included.
    pub fn grams(&self, problem: &Problem) -> Vec<Vec<f64>> {
        let dose = |plot: &Plot, class: usize| {
            let mut grams: Vec<f64> = self.rates[class].iter().map(|r| r * plot.area_m2).collect();
            // A fixed dose has no free rate beside it; one that must be used may have.
            plot.locked_g.iter().for_each(|(&p, &g)| grams[p] += g);
            grams
        };
        problem.plots.iter().zip(&self.class_of).map(|(plot, &class)| dose(plot, class)).collect()
    }

    /// Shortage, excess and cost are proven; the later goals only choose among equals.
    pub fn all_proven(&self) -> bool {
        self.stages.iter().filter(|s| s.goal <= Goal::Cost).all(|s| s.proven)
    }
}

/// Settles all goals.
pub(super) fn run(problem: &Problem, options: &Options, solver: &dyn Solver, watch: &dyn Watch) -> Found {
    let mut search = Search::new(problem, options, solver, watch);
    search.first_goals();
    search.products();
    search.mass();
    search.ties();
    search.found()
}

/// Settles shortage, excess and cost only, the cost by the cheap search for a start alone:
/// no worse than what [`run`] finds by so much as its search for whole packs brings.
///
/// What is `known` of plots from a like problem is not found out again. With the plan comes what
/// was found out here.
pub(super) fn run_quickly(
    problem: &Problem,
    options: &Options,
    known: &Known,
    solver: &dyn Solver,
    watch: &dyn Watch,
) -> (Found, Known) {
    let few = Options { node_limit: 1, ..options.clone() };
    let mut search = Search::new(problem, &few, solver, watch);
    search.known = Some(known);
    search.first_goals();
    let mut found_out = std::mem::take(&mut search.found_out);
    found_out.had_g = Some(search.had());
    (search.found(), found_out)
}

struct Search<'a> {
    problem: &'a Problem,
    options: &'a Options,
    solver: &'a dyn Solver,
    watch: &'a dyn Watch,
    classes: Vec<Class>,
    /// By class: what its first two goals leave to choose, where no plot had to share for them.
    faces: Vec<Option<Face>>,
    /// The plots on these faces, to be asked at prices.
    shares: Option<Shares>,
    /// What a like plan has of each product, g, where this one is to go by it.
    had_g: Option<Vec<f64>>,
    total_area: f64,
    /// Locked g by product.
    locked_g: Vec<f64>,
    /// The most free g of each product that could be any use.
    most_g: Vec<f64>,
    /// Price of each pack in minor units as the search counts it.
    prices: Vec<Vec<f64>>,
    budget: Option<f64>,
    /// By product: all that there is of it is used.
    tight: Vec<bool>,
    /// What is spent on what is sold loose, where all that is left of the budget is.
    spend: Option<f64>,
    /// Packs or products were chosen among, so that another choice might cost less.
    chosen: bool,
    /// How near the cost is to the least for what was chosen.
    cost_of_choice: Option<f64>,
    rates: Rates,
    kept: Kept,
    stages: Vec<Stage>,
    spent: Duration,
    /// Planning as if nothing were shared: only what fits after all is of use.
    trial: bool,
    /// Looking for a plan quickly, with what is known from another.
    known: Option<&'a Known>,
    /// What a quick search found out, for the next.
    found_out: Known,
}

impl<'a> Search<'a> {
    fn new(problem: &'a Problem, options: &'a Options, solver: &'a dyn Solver, watch: &'a dyn Watch) -> Self {
        let classes = classes(&problem.plots);
        let n = problem.products.len();
        let mut locked_g = vec![0.0; n];
        for plot in &problem.plots {
            plot.locked_g.iter().for_each(|(&p, &g)| locked_g[p] += g);
        }
        let most_g =
            (0..n).map(|p| classes.iter().map(|c| c.area_m2 * problem.plots[c.plots[0]].most[p]).sum()).collect();
        let prices = packs::search_prices(&problem.products);
        // Locked doses are bought whatever the budget says; the account reports the overrun.
        let locked_cost: f64 = (0..n).map(|p| packs::cost(&problem.products[p], &prices[p], locked_g[p])).sum();
        Search {
            budget: problem.budget_minor.map(|b| b.max(locked_cost)),
            rates: vec![vec![0.0; n]; classes.len()],
            faces: vec![None; classes.len()],
            shares: None,
            had_g: None,
            total_area: problem.plots.iter().map(|p| p.area_m2).sum(),
            problem,
            options,
            solver,
            watch,
            classes,
            locked_g,
            most_g,
            prices,
            kept: Kept::default(),
            stages: Vec::new(),
            spent: Duration::ZERO,
            trial: false,
            known: None,
            found_out: Known::default(),
            tight: vec![false; n],
            spend: None,
            chosen: false,
            cost_of_choice: None,
        }
    }

    fn found(self) -> Found {
        let unproven = |s: &&Stage| s.goal <= Goal::Cost && !s.proven;
        let note = |s: &Stage| match (s.goal, s.gap) {
            (Goal::Cost, _) if self.chosen => Note::OfChoice { goal: s.goal, gap: self.cost_of_choice },
            // What the choice leaves of excess is settled to the end.
            (Goal::Excess, None) if self.chosen => Note::OfChoice { goal: s.goal, gap: Some(0.0) },
            (goal, gap) => Note::NotProven { goal, gap },
        };
        let notes = self.stages.iter().filter(unproven).map(note).collect();
        let mut class_of = vec![0; self.problem.plots.len()];
        for (c, class) in self.classes.iter().enumerate() {
            class.plots.iter().for_each(|&b| class_of[b] = c);
        }
        Found { class_of, rates: self.rates, stages: self.stages, notes }
    }

    fn plot(&self, class: usize) -> &'a Plot {
        &self.problem.plots[self.classes[class].plots[0]]
    }

    fn share(&self, class: usize) -> f64 {
        self.classes[class].area_m2 / self.total_area
    }

    /// On hand; locked doses that cannot be had at all are taken as had.
    fn stock_g(&self, p: usize) -> f64 {
        let product = &self.problem.products[p];
        if product.packs.is_empty() { product.stock_g.max(self.locked_g[p]) } else { product.stock_g }
    }

    /// Does how much one plot gets of the product limit what another can get?
    fn scarce(&self, p: usize) -> bool {
        let product = &self.problem.products[p];
        product.packs.is_empty() && self.locked_g[p] + self.most_g[p] > self.stock_g(p)
    }

    fn everything(&self) -> Scope {
        Scope {
            classes: (0..self.classes.len()).collect(),
            supply: true,
            count: self.problem.max_products.is_some(),
            ..Scope::default()
        }
    }

    fn slack(&self, goal: Goal) -> f64 {
        let slack = self.options.stage_slack[goal as usize];
        if slack.is_finite() { slack.max(0.0) } else { 0.0 }
    }

    // ---- the goals ----------------------------------------------------------------

    /// Shortage, excess and cost. Each plot is first planned on its own, as if stock, money and
    /// the number of products were no matter; mostly they are not, and a plan that is best
    /// without a limit and within it is best with it. Otherwise all plots are planned together.
    fn first_goals(&mut self) {
        let shared = self.shared();
        let mut trial = None;
        if self.slack(Goal::Shortage) == 0.0 && self.slack(Goal::Excess) == 0.0 {
            self.each_apart();
            if shared {
                self.trial = true;
                self.cost();
                self.trial = false;
                if self.fits(&self.rates) {
                    return;
                }
                trial = Some(self.rates.clone());
                let alone = (self.measure(Goal::Shortage), self.measure(Goal::Excess));
                self.start_again();
                let chosen = self.budget.is_some() || self.problem.max_products.is_some();
                // With a number of products the general solver's bound is of no use except for very few.
                // In a hurry it has no time to choose at all.
                let at_once = match (self.known, self.problem.max_products) {
                    (Some(_), _) => 0,
                    (None, Some(_)) => SMALL,
                    (None, None) => CHOSEN_AT_ONCE,
                };
                if !(chosen && self.rates_in_all() <= at_once) && self.together(alone) {
                    return self.cost();
                }
            } else {
                return self.cost();
            }
        } else {
            // Without slack each plot is quickly planned: a sound start, should there be no time for better.
            self.each_apart();
            let start = std::mem::take(&mut self.rates);
            self.start_again();
            if shared { trial = Some(start) } else { self.rates = start }
        }
        let all = self.everything();
        let done = self.settle(Goal::Shortage, &all);
        if let Some(trial) = trial.filter(|_| !done.is_some_and(|(_, proven)| proven)) {
            self.fall_back(trial);
        }
        self.record(Goal::Shortage, done);
        self.kept.short = Some(Bound::Total(self.value(Goal::Shortage) + self.slack(Goal::Shortage)));
        let done = self.settle(Goal::Excess, &all);
        self.record(Goal::Excess, done);
        self.kept.over = Some(Bound::Total(self.value(Goal::Excess) + self.slack(Goal::Excess)));
        self.refresh();
        self.cost();
    }

    /// Is there anything that one plot can take from another?
    fn shared(&self) -> bool {
        self.budget.is_some()
            || self.problem.max_products.is_some()
            || (0..self.problem.products.len()).any(|p| self.scarce(p))
    }

    /// Do these rates keep what is shared: stock, budget and number of products?
    fn fits(&self, rates: &Rates) -> bool {
        let within = |now: f64, most: f64| now <= most + 2e-6 * (1.0 + most.abs());
        let had =
            |p: usize| !self.problem.products[p].packs.is_empty() || within(self.grams_of(p, rates), self.stock_g(p));
        let locked = self.locked_g.iter().filter(|g| **g > 0.0).count();
        (0..self.problem.products.len()).all(had)
            && self.budget.is_none_or(|b| within(self.known_cost_of(rates), b))
            && self.problem.max_products.is_none_or(|k| self.measure_of(Goal::Products, rates) <= k.max(locked) as f64)
    }

    /// Shortage and excess, each class on its own.
    fn each_apart(&mut self) {
        let known = |plot| self.known.and_then(|known| known.face(plot)).cloned();
        let settled: Vec<Option<(Face, Bed)>> =
            (0..self.classes.len()).map(|c| known(self.plot(c)).or_else(|| face::face(self.plot(c)))).collect();
        if self.known.is_some() {
            self.found_out = Known::of((0..self.classes.len()).map(|c| (self.plot(c), settled[c].clone())));
        }
        let (faces, beds): (Vec<_>, Vec<_>) = settled.into_iter().map(Option::unzip).unzip();
        self.faces = faces;
        let share = (0..self.classes.len()).map(|c| self.share(c)).collect();
        let beds: Option<Vec<Bed>> = beds.into_iter().collect();
        self.shares = beds.map(|beds| Shares::new(beds, share, self.problem.products.len()));
        for (rates, face) in self.rates.iter_mut().zip(&self.faces) {
            rates.clone_from(&face.as_ref().map_or_else(|| vec![0.0; rates.len()], |face| face.rates.clone()));
        }
        let by_class = |f: fn(&Self, usize) -> f64, s: &Self| (0..s.classes.len()).map(|c| f(s, c)).collect::<Vec<_>>();
        let done = self.settle_each(Goal::Shortage);
        self.record(Goal::Shortage, done);
        self.kept.short = Some(Bound::Each(by_class(Self::short, self)));
        let done = self.settle_each(Goal::Excess);
        self.record(Goal::Excess, done);
        self.kept.over = Some(Bound::Each(by_class(Self::over, self)));
        self.refresh();
        self.most_g = (0..self.problem.products.len()).map(|p| self.in_all(|c| self.range(c, p).1)).collect();
    }

    /// Free grams of a product on all plots.
    fn free_g(&self, p: usize, rates: &Rates) -> f64 {
        self.in_all(|c| rates[c][p])
    }

    /// Forgets what was planned.
    fn start_again(&mut self) {
        let n = self.problem.products.len();
        self.faces = vec![None; self.classes.len()];
        self.shares = None;
        self.rates = vec![vec![0.0; n]; self.classes.len()];
        self.most_g = (0..n).map(|p| self.in_all(|c| self.range(c, p).1)).collect();
        self.kept = Kept::default();
        self.stages.clear();
    }

    fn in_all(&self, rate: impl Fn(usize) -> f64) -> f64 {
        (0..self.classes.len()).map(|c| self.classes[c].area_m2 * rate(c)).sum()
    }

    /// The least and most of a product that the goals settled so far may need, g/m².
    fn range(&self, c: usize, p: usize) -> (f64, f64) {
        self.faces[c].as_ref().map_or_else(|| (0.0, self.plot(c).most[p]), |face| (face.least[p], face.most[p]))
    }

    fn cost(&mut self) {
        let all = self.everything();
        let mut done = None;
        if !(self.quick_prices()) {
            if self.problem.products.iter().any(|p| p.whole_packs && !p.packs.is_empty()) {
                self.cut_open(&all);
            }
            done = self.settle(Goal::Cost, &all);
            if self.chosen {
                self.cost_of_choice = done.take().and_then(|(gap, _)| gap);
            }
        }
        self.record(Goal::Cost, done);
        self.kept.cost = Some(self.cost_of(&self.rates) + self.slack(Goal::Cost));
        self.refresh();
    }

    fn products(&mut self) {
        let mut scope = self.everything();
        scope.count = true;
        if !self.small() {
            scope.only = Some(self.used());
        }
        let done = self.settle(Goal::Products, &scope).map(|(gap, proven)| (gap, proven && scope.only.is_none()));
        self.record(Goal::Products, done);
        self.kept.products = Some(self.value(Goal::Products) + self.slack(Goal::Products).floor());
        self.refresh();
    }

    fn mass(&mut self) {
        let scope = self.last_scope();
        let done = self.settle(Goal::Mass, &scope).map(|(gap, proven)| (gap, proven && self.small()));
        self.record(Goal::Mass, done);
        self.kept.mass_g = Some(self.value(Goal::Mass) + self.slack(Goal::Mass));
        self.refresh();
    }

    /// Among plans equal in every goal, the one that leans on the lowest keys.
    fn ties(&mut self) {
        let scope = self.last_scope();
        let (mut model, places) = self.build(&scope, false);
        let count = (self.problem.products.len() + 1) as f64;
        let classes = self.classes.len() as f64;
        let terms: Vec<_> = places
            .rate
            .iter()
            .map(|&(c, p, column)| {
                let rank = (1.0 + p as f64 / count) * (1.0 + c as f64 / (8.0 * classes));
                (column, rank * self.classes[c].area_m2 / self.total_area)
            })
            .collect();
        model.minimise(&terms);
        let start = self.lift(&places, &model, &self.rates);
        if self.watch.stopped() {
            return;
        }
        let effort = Effort { go_on: &|_| !self.watch.stopped(), ..self.effort(0.0, false) };
        if let Ok(answer) = self.solver.minimise(&model, effort, Some(&start)) {
            self.spent += answer.spent;
            let rates = self.extract(&places, &answer);
            if self.keeps(&rates) {
                self.rates = rates;
            }
        }
    }

    fn small(&self) -> bool {
        self.rates_in_all() <= SMALL
    }

    /// Rates that are free.
    fn rates_in_all(&self) -> usize {
        let free = |c: usize| (0..self.plot(c).most.len()).filter(|&p| self.range(c, p).1 > 0.0).count();
        (0..self.classes.len()).map(free).sum()
    }

    /// The model for mass and ties: with all freedom where that is small, otherwise with the
    /// packs and products as they are, which leaves a plain linear programme.
    fn last_scope(&self) -> Scope {
        let mut scope = self.everything();
        match self.small() {
            true => scope.count = true,
            false => {
                scope.count = false;
                scope.only = Some(self.used());
                scope.packs = Some(self.buy(&self.rates));
            }
        }
        scope
    }

    fn used(&self) -> Vec<bool> {
        (0..self.problem.products.len()).map(|p| self.rates.iter().any(|r| r[p] > 0.0)).collect()
    }

    // ---- running a goal -----------------------------------------------------------

    /// Tells whoever looks in how far it is; false when they want it to end.
    fn tell(&self, goal: Goal, gap: Option<f64>) -> bool {
        let shorts = self.classes.iter().zip(&self.rates).flat_map(|(class, rates)| {
            let targets = self.problem.plots[class.plots[0]].targets.iter().filter(|t| t.need > 0.0);
            targets.map(move |t| (class.plots.len(), short_and_over(t, rates).0))
        });
        let count = |most: f64| shorts.clone().filter(|(_, short)| *short <= most).map(|(plots, _)| plots).sum();
        self.watch.tell(&Progress {
            goal,
            needs: count(f64::INFINITY),
            met: count(0.05),
            products: self.measure(Goal::Products) as usize,
            cost_minor: self.value(Goal::Cost),
            gap,
        });
        !self.watch.stopped()
    }

    fn effort(&self, gap: f64, choice: bool) -> Effort<'static> {
        // The guard is shared out: no goal may take all that is left.
        let left = self.options.time_limit.saturating_sub(self.spent);
        Effort {
            gap,
            nodes: self.options.node_limit.max(1).min(if choice { CHOICE_NODES } else { u64::MAX }),
            time: left.mul_f64(if self.trial { 0.3 } else { 0.6 }).max(Duration::from_millis(50)),
            go_on: &|_| true,
        }
    }

    fn record(&mut self, goal: Goal, done: Option<(Option<f64>, bool)>) {
        let (gap, proven) = done.unwrap_or((None, false));
        self.stages.push(Stage { goal, value: self.value(goal), gap, proven });
        self.tell(goal, gap);
    }

    /// Minimises the goal class by class, each on its own, but for those whose face is known.
    fn settle_each(&mut self, goal: Goal) -> Option<(Option<f64>, bool)> {
        let mut proven = true;
        for class in (0..self.classes.len()).filter(|&c| self.faces[c].is_none()).collect::<Vec<_>>() {
            let scope = Scope { classes: vec![class], ..Scope::default() };
            proven &= self.settle(goal, &scope).is_some_and(|(_, proven)| proven);
        }
        Some((proven.then_some(0.0), proven))
    }

    /// Minimises the goal and keeps the better of the answer and what was there before.
    /// Returns the gap and whether it is proven; `None` when the solver found nothing.
    fn settle(&mut self, goal: Goal, scope: &Scope) -> Option<(Option<f64>, bool)> {
        let before = self.rates.clone();
        let gap = if goal == Goal::Cost { self.options.pack_gap.clamp(0.0, 1.0) } else { 0.0 };
        let done = self.solve(goal, scope, false, gap);
        let worse = |now: f64, was: f64| now > was + 1e-12 * (1.0 + was.abs());
        let unfit = self.trial && !self.fits(&before);
        let worse = worse(self.measure(goal), self.measure_of(goal, &before)) && !unfit;
        if done.is_none() || !self.keeps(&self.rates) || worse {
            self.rates = before;
        }
        done
    }

    /// Runs the solver; on an answer, `self.rates` becomes it.
    fn solve(&mut self, goal: Goal, scope: &Scope, loose: bool, gap: f64) -> Option<(Option<f64>, bool)> {
        let (mut model, places) = self.build(scope, loose);
        let terms = self.objective(goal, &places);
        model.minimise(&terms);
        let start = self.lift(&places, &model, &self.rates);
        // No goal can go below zero: what is there already cannot be beaten.
        if terms.is_empty() || model.objective(&start) <= 1e-12 && model.holds(&start, 1e-9) {
            return Some((Some(0.0), true));
        }
        if self.watch.stopped() {
            return None;
        }
        let effort =
            Effort { go_on: &|gap| self.tell(goal, gap), ..self.effort(gap, goal == Goal::Products && !self.small()) };
        match self.solver.minimise(&model, effort, Some(&start)) {
            Ok(answer) => {
                self.spent += answer.spent;
                self.rates = self.extract(&places, &answer);
                Some((answer.gap, answer.proven))
            }
            Err(Failure::OutOfTime(spent)) => {
                self.spent += spent;
                None
            }
            Err(_) => None,
        }
    }

    fn objective(&self, goal: Goal, places: &Places) -> Vec<(usize, f64)> {
        // With one class in the model its share of the area only spoils the scale.
        let one = places.rate.first().is_some_and(|first| places.rate.iter().all(|r| r.0 == first.0));
        let share = |c: usize| if one { 1.0 } else { self.share(c) };
        match goal {
            Goal::Shortage => {
                let weight = |c: usize, t: usize| self.plot(c).targets[t].short_weight * share(c);
                places.short.iter().map(|&(c, t, column)| (column, weight(c, t))).collect()
            }
            Goal::Excess => {
                let weight = |c: usize, t: usize| self.plot(c).targets[t].over_weight * share(c);
                places.over.iter().map(|&(c, t, column)| (column, weight(c, t))).collect()
            }
            Goal::Cost => {
                let dearest = self.prices.iter().flatten().copied().fold(0.0, f64::max).max(1e-12);
                places.packs.iter().map(|&(p, k, column)| (column, self.prices[p][k] / dearest)).collect()
            }
            Goal::Products => places.used.iter().map(|&(_, column)| (column, 1.0)).collect(),
            Goal::Mass => {
                places.rate.iter().map(|&(c, _, column)| (column, self.classes[c].area_m2 / self.total_area)).collect()
            }
        }
    }
}

/// Shortage as a share of the need and excess as a share of its scale, at these free rates.
pub(super) fn short_and_over(target: &Target, rates: &[f64]) -> (f64, f64) {
    let supplied = target.locked + target.supply.iter().zip(rates).map(|(s, r)| s * r).sum::<f64>();
    let short = if target.need > 0.0 { ((target.need - supplied) / target.need).max(0.0) } else { 0.0 };
    (short, ((supplied - target.need) / target.scale).max(0.0))
}

/// Plots that share goals, limits and choice, and have no locked dose, are one class.
fn classes(plots: &[Plot]) -> Vec<Class> {
    let mut classes: Vec<Class> = Vec::new();
    for (b, plot) in plots.iter().enumerate() {
        let alike = |class: &&mut Class| {
            let first = &plots[class.plots[0]];
            let limits = first.limits.len() == plot.limits.len()
                && first.limits.iter().zip(&plot.limits).all(|(x, y)| x.free == y.free && x.per_gram == y.per_gram);
            let free = first.locked_g.is_empty() && plot.locked_g.is_empty();
            free && limits && first.targets == plot.targets && first.most == plot.most
        };
        match classes.iter_mut().find(alike) {
            Some(class) => {
                class.plots.push(b);
                class.area_m2 += plot.area_m2;
            }
            None => classes.push(Class { plots: vec![b], area_m2: plot.area_m2 }),
        }
    }
    classes
}
