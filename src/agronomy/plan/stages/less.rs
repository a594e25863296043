//! Less than was wished: where the search for all plots together is cut short, what each plot was
//! planned on its own is made less until stock, budget and number of products allow it.

use super::{Goal, Rates, Search};

/// Halvings in search of the share of a plan that a budget pays for: to a millionth.
const HALVINGS: usize = 20;

impl Search<'_> {
    /// Where the search for all plots together was cut short: what each was planned on its own,
    /// made less until it fits, if that leaves less missing than what the search has.
    pub(super) fn fall_back(&mut self, mut rates: Rates) {
        for p in (0..self.problem.products.len()).filter(|&p| self.problem.products[p].packs.is_empty()) {
            let (free, room) = (self.free_g(p, &rates), (self.stock_g(p) - self.locked_g[p]).max(0.0));
            if free > room {
                rates.iter_mut().for_each(|r| r[p] *= room / free);
            }
        }
        let least_missed = |rates: &Rates| {
            let without = |p: usize| {
                let mut rates = rates.clone();
                rates.iter_mut().for_each(|r| r[p] = 0.0);
                rates
            };
            let used = (0..self.problem.products.len()).filter(|&p| self.free_g(p, rates) > 0.0);
            let each = used.map(without).map(|rates| (self.measure_of(Goal::Shortage, &rates), rates));
            each.min_by(|a, b| a.0.total_cmp(&b.0)).map(|(_, rates)| rates)
        };
        let mut best = (self.measure(Goal::Shortage), None);
        // One product less at a time, because a budget may not reach to a pack of each.
        loop {
            let less = self.within_means(&rates);
            let short = self.measure_of(Goal::Shortage, &less);
            if short < best.0 && self.fits(&less) {
                best = (short, Some(less));
            }
            match least_missed(&rates) {
                Some(fewer) => rates = fewer,
                None => break,
            }
        }
        if let Some(rates) = best.1 {
            self.rates = rates;
        }
    }

    /// The largest share of these rates that the budget pays for.
    fn within_means(&self, rates: &Rates) -> Rates {
        let part = |share: f64| rates.iter().map(|r| r.iter().map(|g| g * share).collect()).collect::<Rates>();
        let paid = |share: f64| self.budget.is_none_or(|b| self.known_cost_of(&part(share)) <= b);
        if paid(1.0) {
            return rates.clone();
        }
        let mut between = (0.0, 1.0);
        for _ in 0..HALVINGS {
            let middle = (between.0 + between.1) / 2.0;
            if paid(middle) { between.0 = middle } else { between.1 = middle }
        }
        part(between.0)
    }
}
