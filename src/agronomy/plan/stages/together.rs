//! Shortage and excess where plots share stock, money or a number of products: settled for all of
//! them together, plot by plot at common prices ([`Shares`]). What is as good for all is, at the
//! prices found, what is as good for each plot, with all used of what was worth something: so the
//! later goals are settled on faces here too.

use super::super::shares::{Choice, Dual, Ladder, Means, Pains, Shared, Shares};
use super::super::{bed::Bed, face, packs};
use super::{Bound, Goal, Search};
use std::time::Duration;

/// Plots asked in search of a choice of packs and products, for each second that the search may take.
const ASKED_A_SECOND: f64 = 48_000.0;
/// As many times that in the search for what a budget buys best, which mostly proves what it finds
/// long before; and no more than so much.
const SOUGHT: u64 = 3;
const SOUGHT_AT_MOST: u64 = 720_000;
/// The same for each plot where a plan is wanted quickly.
const SOUGHT_QUICKLY: u64 = 1_500;
const SOUGHT_QUICKLY_AT_MOST: u64 = 100_000;
/// Times that every plot is asked in search of a choice where a plan is wanted quickly.
const QUICKLY: u64 = 20;
/// The most steps of packs that are told apart.
const STEPS: usize = 300;
/// Within this share of what is best without limits nothing better is possible.
const SAME: f64 = 1e-6;

/// Times that plots may be asked in a search of this length.
pub(in crate::agronomy::plan) fn asked_in(time: Duration) -> u64 {
    (ASKED_A_SECOND * time.as_secs_f64().clamp(0.1, 1e4)) as u64
}

impl Search<'_> {
    /// Least shortage, then least excess; false where it could not be done, and nothing is changed.
    /// `alone` is what these come to where every plot has all that it wants.
    pub(super) fn together(&mut self, alone: (f64, f64)) -> bool {
        let means = self.means();
        if means.budget.is_none() && means.count.is_none() {
            let all = vec![Some(0); self.problem.products.len()];
            return self.given(self.plots_to_ask(), &means, all, None, alone);
        }
        // Where rounding spoils the doses of what was sought there is a choice without it.
        let seeks: &[bool] = if means.budget.is_some() { &[true, false] } else { &[false] };
        seeks.iter().any(|&sought| {
            let mut shares = self.plots_to_ask();
            self.choice(&mut shares, &means, sought)
                .is_some_and(|(choice, least)| self.given(shares, &means, choice, Some(least.max(alone.0)), alone))
        })
    }

    /// Every plot where it gets nothing.
    fn plots_to_ask(&self) -> Shares {
        let beds: Vec<Bed> = (0..self.classes.len()).map(|c| Bed::new(self.plot(c))).collect();
        let share: Vec<f64> = (0..self.classes.len()).map(|c| self.share(c)).collect();
        Shares::new(beds, share, self.problem.products.len())
    }

    /// Settles the doses under a choice; false where it could not be done, and nothing is changed. No
    /// choice has less than `least` of shortage, where one was made.
    fn given(
        &mut self,
        mut shares: Shares,
        means: &Means,
        choice: Choice,
        least: Option<f64>,
        alone: (f64, f64),
    ) -> bool {
        let n = self.problem.products.len();
        let mut question = means.question(&choice, (1.0, 0.0));
        let mut settle = |weights| -> Option<Shared> {
            question.weights = weights;
            let shared = shares.together(&question)?;
            shares.settle(&mut question, &shared)?;
            Some(shared)
        };
        let Some(shared) = settle((1.0, 0.0)).and_then(|_| settle((0.0, 1.0))) else { return false };
        let faces: Option<Vec<_>> = (0..self.classes.len())
            .map(|c| face::of(self.plot(c), &shares.beds()[c], Some(&shared.rates[c])))
            .collect();
        let Some(faces) = faces else { return false };
        self.found_out.choice = least.map(|_| choice.clone());
        self.rates = faces.iter().map(|face| face.rates.clone()).collect();
        self.faces = faces.into_iter().map(Some).collect();
        self.shares = Some(shares);
        self.tight = question.tight;
        let loose = (0..n).filter(|&p| !self.problem.products[p].whole_packs);
        let committed: f64 = loose.map(|p| self.locked_cost(p)).sum();
        self.spend = question.budget.filter(|_| question.spent).map(|(_, budget)| budget + committed);
        self.chosen = least.is_some();
        let gap = |value: f64, least: f64| ((value - least) / value.max(1e-12)).max(0.0);
        let told = |gap: f64| Some((Some(gap), gap <= SAME));
        let (short, over) = (self.measure(Goal::Shortage), self.measure(Goal::Excess));
        self.record(Goal::Shortage, told(least.map_or(0.0, |least| gap(short, least))));
        // With the least shortage that there is without limits, the least excess there is bounds it.
        let excess = match least {
            None => told(0.0),
            Some(_) if gap(short, alone.0) <= SAME => told(gap(over, alone.1)),
            Some(_) => None,
        };
        self.record(Goal::Excess, excess);
        self.kept.short = Some(Bound::Each((0..self.classes.len()).map(|c| self.short(c)).collect()));
        self.kept.over = Some(Bound::Each((0..self.classes.len()).map(|c| self.over(c)).collect()));
        self.refresh();
        self.most_g = (0..n).map(|p| self.in_all(|c| self.range(c, p).1)).collect();
        true
    }

    /// Which packs to buy and which products to use, and the shortage that no choice goes below.
    fn choice(&self, shares: &mut Shares, means: &Means, sought: bool) -> Option<(Choice, f64)> {
        let plots = (0..self.classes.len()).map(|c| (self.plot(c), self.share(c)));
        let plots_asked = self.classes.len() as u64;
        let dual = Dual::new(plots, self.problem.products.len());
        let nothing = shares.nothing();
        let fixed: f64 = (0..self.classes.len()).map(|c| self.share(c) * (self.short(c) - nothing[c])).sum();
        let pains = match self.known {
            None => {
                let work = self.options.asked_limit.unwrap_or_else(|| asked_in(self.options.time_limit));
                Pains {
                    work,
                    seek: if sought { (SOUGHT * work).min(SOUGHT_AT_MOST) } else { 0 },
                    prove: true,
                    from: None,
                }
            }
            Some(known) if known.choice.is_some() => {
                Pains { work: QUICKLY * plots_asked, seek: 0, prove: false, from: known.choice.clone() }
            }
            Some(_) => {
                let seek = if sought { (SOUGHT_QUICKLY * plots_asked).min(SOUGHT_QUICKLY_AT_MOST) } else { 0 };
                Pains { work: 4 * QUICKLY * plots_asked, seek, prove: false, from: None }
            }
        };
        // The clock only guards, and leaves some of the time to the search that comes last: it bites
        // where a machine is much slower than what was counted on.
        let begun = self.watch.elapsed();
        let late = |share: f64| {
            let spent = self.watch.elapsed().zip(begun).map(|(now, begun)| now.saturating_sub(begun));
            spent.is_some_and(|spent| spent > self.options.time_limit.mul_f64(share))
        };
        let (chosen, least) =
            shares.choose(means, &dual, fixed, &pains, &|share| !self.watch.stopped() && !late(share))?;
        Some((chosen.choice, least))
    }

    /// What can be had, for how much, of all products. Without a budget one of two that do the same
    /// is as good as both.
    fn means(&self) -> Means {
        let mut means = self.all_means();
        if means.budget.is_none() && means.count.is_some() {
            let endless = |ladder: &Ladder| ladder.counts && ladder.is_endless();
            let may: Vec<bool> = means.ladders.iter().map(endless).collect();
            let doubles = self.doubles(&may);
            for (ladder, _) in means.ladders.iter_mut().zip(doubles).filter(|(_, double)| *double) {
                ladder.steps = vec![(0.0, 0.0)];
            }
        }
        means
    }

    fn all_means(&self) -> Means {
        let n = self.problem.products.len();
        let locked = self.locked_g.iter().filter(|g| **g > 0.0).count();
        let locked_cost: f64 = (0..n).map(|p| self.locked_cost(p)).sum();
        Means {
            ladders: (0..n).map(|p| self.ladder(p)).collect(),
            budget: self.budget.map(|budget| (budget - locked_cost).max(0.0)),
            count: self.problem.max_products.map(|most| most.saturating_sub(locked)),
        }
    }

    fn locked_cost(&self, p: usize) -> f64 {
        packs::cost(&self.problem.products[p], &self.prices[p], self.locked_g[p])
    }

    /// What can be had of a product beyond what is committed. Money matters only where it is limited.
    fn ladder(&self, p: usize) -> Ladder {
        let product = &self.problem.products[p];
        let (locked, most) = (self.locked_g[p], self.most_g[p]);
        let counts = locked <= 0.0;
        let mean = |g: f64| g.max(0.0) / self.total_area;
        if product.packs.is_empty() {
            return Ladder { steps: vec![(mean(self.stock_g(p) - locked), 0.0)], loose: None, counts };
        }
        if self.budget.is_none() {
            return Ladder { steps: vec![(f64::INFINITY, 0.0)], loose: None, counts };
        }
        let dear = |k: &usize| self.prices[p][*k] / product.packs[*k].mass_g;
        let loose = (0..product.packs.len()).map(|k| dear(&k)).fold(f64::INFINITY, f64::min);
        if !product.whole_packs {
            let had = product.stock_g.max(locked);
            return Ladder { steps: vec![(mean(had - locked), 0.0)], loose: Some(loose * self.total_area), counts };
        }
        let base = self.locked_cost(p);
        let mut steps: Vec<(f64, f64)> = Vec::new();
        let mut wanted = locked;
        while steps.len() < STEPS {
            let count = packs::cheapest(product, &self.prices[p], wanted);
            let bought: f64 = count.iter().zip(&product.packs).map(|(n, k)| n * k.mass_g).sum();
            let cost: f64 = count.iter().zip(&self.prices[p]).map(|(n, q)| n * q).sum();
            let had = product.stock_g + bought;
            steps.push((mean(had - locked), cost - base));
            if had >= locked + most {
                break;
            }
            // Of very many packs not every number is told apart.
            let part = most * steps.len() as f64 / STEPS as f64;
            wanted = (had * (1.0 + 1e-7) + 1e-6).max(locked + part);
        }
        Ladder { steps, loose: None, counts }
    }
}
