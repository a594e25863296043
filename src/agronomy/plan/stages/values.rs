//! What the doses come to, always from the doses themselves.

use super::super::packs;
use super::{Bound, Goal, Rates, Search, Target, short_and_over};

impl Search<'_> {
    pub(super) fn buy(&self, rates: &Rates) -> Vec<Vec<f64>> {
        (0..self.problem.products.len())
            .map(|p| packs::cheapest(&self.problem.products[p], &self.prices[p], self.grams_of(p, rates)))
            .collect()
    }

    pub(super) fn grams_of(&self, p: usize, rates: &Rates) -> f64 {
        self.locked_g[p] + self.classes.iter().zip(rates).map(|(c, r)| c.area_m2 * r[p]).sum::<f64>()
    }

    pub(super) fn short(&self, c: usize) -> f64 {
        let plot = self.plot(c);
        plot.targets.iter().map(|t| t.short_weight * short_and_over(t, &self.rates[c]).0).sum()
    }

    pub(super) fn over(&self, c: usize) -> f64 {
        let plot = self.plot(c);
        plot.targets.iter().map(|t| t.over_weight * short_and_over(t, &self.rates[c]).1).sum()
    }

    /// Cost as the search counts it, unpriced packs at their token price.
    pub(super) fn cost_of(&self, rates: &Rates) -> f64 {
        self.buy(rates).iter().zip(&self.prices).flat_map(|(n, q)| n.iter().zip(q)).map(|(n, q)| n * q).sum()
    }

    pub(super) fn measure(&self, goal: Goal) -> f64 {
        self.measure_of(goal, &self.rates)
    }

    pub(super) fn measure_of(&self, goal: Goal, rates: &Rates) -> f64 {
        let sum = |f: fn(&Target, (f64, f64)) -> f64| -> f64 {
            (0..self.classes.len())
                .map(|c| {
                    let plot = self.plot(c);
                    let of = |t| f(t, short_and_over(t, &rates[c]));
                    self.share(c) * plot.targets.iter().map(of).sum::<f64>()
                })
                .sum()
        };
        match goal {
            Goal::Shortage => sum(|t, (short, _)| t.short_weight * short),
            Goal::Excess => sum(|t, (_, over)| t.over_weight * over),
            Goal::Cost => self.cost_of(rates),
            Goal::Products => {
                (0..self.problem.products.len()).filter(|&p| self.grams_of(p, rates) > 0.0).count() as f64
            }
            Goal::Mass => (0..self.problem.products.len()).map(|p| self.grams_of(p, rates)).sum(),
        }
    }

    /// Cost as far as prices are known.
    pub(super) fn known_cost_of(&self, rates: &Rates) -> f64 {
        let price = |(p, n): (usize, &Vec<f64>)| packs::known_cost(&self.problem.products[p], n);
        self.buy(rates).iter().enumerate().map(price).sum()
    }

    /// The value shown: like [`Search::measure`], but unpriced packs cost nothing.
    pub(super) fn value(&self, goal: Goal) -> f64 {
        match goal {
            Goal::Cost => self.known_cost_of(&self.rates),
            _ => self.measure(goal),
        }
    }

    /// Do these rates keep the goals settled so far, give or take a tolerance?
    pub(super) fn keeps(&self, rates: &Rates) -> bool {
        let within = |now: f64, bound: f64| now <= bound + 2e-6 * (1.0 + bound.abs());
        let total = |bound: &Option<Bound>| match bound {
            Some(Bound::Each(each)) => Some(each.iter().enumerate().map(|(c, z)| self.share(c) * z).sum::<f64>()),
            Some(Bound::Total(total)) => Some(*total),
            None => None,
        };
        total(&self.kept.short).is_none_or(|z| within(self.measure_of(Goal::Shortage, rates), z))
            && total(&self.kept.over).is_none_or(|z| within(self.measure_of(Goal::Excess, rates), z))
            && self.kept.cost.is_none_or(|z| within(self.measure_of(Goal::Cost, rates), z))
            && self.kept.products.is_none_or(|z| self.measure_of(Goal::Products, rates) <= z + 0.5)
            && self.kept.mass_g.is_none_or(|z| within(self.measure_of(Goal::Mass, rates), z))
    }

    /// Removing dust may worsen a settled goal by a millionth; the bound follows, so that the
    /// present answer always satisfies the next model.
    pub(super) fn refresh(&mut self) {
        let short: Vec<f64> = (0..self.classes.len()).map(|c| self.short(c)).collect();
        let over: Vec<f64> = (0..self.classes.len()).map(|c| self.over(c)).collect();
        let (all_short, all_over) = (self.measure(Goal::Shortage), self.measure(Goal::Excess));
        for (bound, each, all) in [(&mut self.kept.short, short, all_short), (&mut self.kept.over, over, all_over)] {
            match bound {
                Some(Bound::Each(old)) => old.iter_mut().zip(each).for_each(|(o, n)| *o = o.max(n)),
                Some(Bound::Total(old)) => *old = old.max(all),
                None => {}
            }
        }
        let (cost, mass) = (self.cost_of(&self.rates), self.measure(Goal::Mass));
        self.kept.cost = self.kept.cost.map(|old| old.max(cost));
        self.kept.mass_g = self.kept.mass_g.map(|old| old.max(mass));
    }
}
