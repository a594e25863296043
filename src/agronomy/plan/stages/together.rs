//! Shortage and excess where plots share stock, money or a number of products: settled for all of
//! them together, plot by plot at common prices ([`Shares`]). What is as good for all is, at the
//! prices found, what is as good for each plot, with all used of what was worth something: so the
//! later goals are settled on faces here too.

use super::super::shares::{Choice, Dual, Ladder, Means, Question, Shared, Shares};
use super::super::{bed::Bed, face, packs};
use super::{Bound, Goal, Search};

/// Worth less than this to the whole ground, a product need not be used up.
const WORTHLESS: f64 = 1e-7;
/// Plots asked in search of a choice of packs and products.
const ASKED: u64 = 150_000;
/// The most steps of packs that are told apart.
const STEPS: usize = 300;

impl Search<'_> {
    /// Least shortage, then least excess; false where it could not be done, and nothing is changed.
    pub(super) fn together(&mut self) -> bool {
        let n = self.problem.products.len();
        let beds: Vec<Bed> = (0..self.classes.len()).map(|c| Bed::new(self.plot(c))).collect();
        let share: Vec<f64> = (0..self.classes.len()).map(|c| self.share(c)).collect();
        let mut shares = Shares::new(beds, share, n);
        let means = self.means();
        let all: Choice = vec![Some(0); n];
        let (choice, gap) = match means.budget.is_none() && means.count.is_none() {
            true => (all, Some(0.0)),
            false => {
                let plots = (0..self.classes.len()).map(|c| (self.plot(c), self.share(c)));
                let mut dual = Dual::new(plots, n);
                let nothing: Vec<f64> = shares.nothing();
                let fixed = (0..self.classes.len()).map(|c| self.share(c) * (self.short(c) - nothing[c])).sum::<f64>();
                let Some(chosen) = shares.choose(&means, &mut dual, fixed, ASKED, &|| !self.watch.stopped()) else {
                    return false;
                };
                self.rates.clone_from(&chosen.shared.rates);
                let value = self.measure(Goal::Shortage);
                dual.improve(&means, value, 300);
                (chosen.choice, Some(((value - dual.least) / value).max(0.0)))
            }
        };
        let mut question = means.question(&choice, (1.0, 0.0));
        let mut settle = |weights| -> Option<Shared> {
            question.weights = weights;
            let shared = shares.together(&question)?;
            shares.settle(&question, &shared)?;
            for p in 0..n {
                question.tight[p] |= shared.worth[p] > WORTHLESS;
            }
            Some(shared)
        };
        let Some(shared) = settle((1.0, 0.0)).and_then(|_| settle((0.0, 1.0))) else { return false };
        let faces: Option<Vec<_>> = (0..self.classes.len())
            .map(|c| face::of(self.plot(c), &shares.beds()[c], Some(&shared.rates[c])))
            .collect();
        let Some(faces) = faces else { return false };
        self.rates = faces.iter().map(|face| face.rates.clone()).collect();
        self.faces = faces.into_iter().map(Some).collect();
        self.tight = question.tight;
        let proven = gap.is_some_and(|gap| gap <= 1e-6);
        self.record(Goal::Shortage, Some((gap, proven)));
        self.record(Goal::Excess, Some((gap.filter(|_| proven), proven)));
        self.kept.short = Some(Bound::Each((0..self.classes.len()).map(|c| self.short(c)).collect()));
        self.kept.over = Some(Bound::Each((0..self.classes.len()).map(|c| self.over(c)).collect()));
        self.refresh();
        self.most_g = (0..n).map(|p| self.in_all(|c| self.range(c, p).1)).collect();
        true
    }

    /// What can be had, for how much, of all products.
    fn means(&self) -> Means {
        let n = self.problem.products.len();
        let locked = self.locked_g.iter().filter(|g| **g > 0.0).count();
        let locked_cost: f64 =
            (0..n).map(|p| packs::cost(&self.problem.products[p], &self.prices[p], self.locked_g[p])).sum();
        Means {
            ladders: (0..n).map(|p| self.ladder(p)).collect(),
            budget: self.budget.map(|budget| (budget - locked_cost).max(0.0)),
            count: self.problem.max_products.map(|most| most.saturating_sub(locked)),
        }
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
        let base = packs::cost(product, &self.prices[p], locked);
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
            wanted = had * (1.0 + 1e-7) + 1e-6;
        }
        Ladder { steps, loose: None, counts }
    }
}
