//! A cheap plan for a start, by packs that are cut open and cost as much a gram as they did last time.

use super::super::Product;
use super::super::face::without_dust;
use super::super::shares::Question;
use super::{Goal, Scope, Search};

/// Times that packs are cut open for a good start.
const ROUNDS: usize = 8;
/// The same where much of what is bought is known.
const FEW: usize = 3;

impl Search<'_> {
    /// A cheap plan to start the search for whole packs from: packs are cut open, which is
    /// quickly solved, and each gram is charged what its share of the packs really cost last
    /// time, so that little-used packs fall out. After Kim and Pardalos, "A solution approach
    /// to the fixed charge network flow problem using a dynamic slope scaling procedure",
    /// Operations Research Letters 24 (1999) 195-203 (from memory).
    pub(super) fn cut_open(&mut self, scope: &Scope) {
        let real = self.prices.clone();
        let start = if self.trial { f64::INFINITY } else { self.cost_of(&self.rates) };
        let mut best = (start, self.rates.clone());
        for _ in 0..if self.had_g.is_some() { FEW } else { ROUNDS } {
            let was = self.rates.clone();
            let solved = self.had_g.is_some() && self.at_slopes() || self.solve(Goal::Cost, scope, true, 0.0).is_some();
            if !solved || !self.keeps(&self.rates) || self.rates == was {
                break;
            }
            let slopes = self.prices.clone();
            self.prices = real.clone();
            let cost = self.cost_of(&self.rates);
            if cost < best.0 && (!self.trial || self.fits(&self.rates)) {
                best = (cost, self.rates.clone());
            }
            let bought = self.buy(&self.rates);
            self.prices = slopes;
            for (p, product) in self.problem.products.iter().enumerate() {
                let lack = self.grams_of(p, &self.rates) - product.stock_g;
                if lack > 0.0 && product.whole_packs {
                    let paid: f64 = bought[p].iter().zip(&real[p]).map(|(n, q)| n * q).sum();
                    self.prices[p] = product.packs.iter().map(|k| paid * k.mass_g / lack).collect();
                }
            }
        }
        self.prices = real;
        self.rates = best.1;
        self.refresh();
    }

    /// Where a plan is wanted quickly, the cheap start is the answer; false where it is not to be had so.
    pub(super) fn quick_prices(&mut self) -> bool {
        // Where there are few rates the general solver is as quick, and better.
        if self.known.is_none() || self.shares.is_none() || self.small() {
            return false;
        }
        if self.budget.is_some() && !self.trial {
            return self.chosen; // what the budget buys was chosen, and is bought
        }
        let Some(had) = self.known.and_then(|known| known.had_g.clone()) else { return false };
        // What the other plan buys is much of what this one needs.
        self.had_g = Some(had);
        self.cut_open(&self.everything());
        self.had_g = None;
        true
    }

    /// What there is of each product with the packs that these doses take, g.
    pub(super) fn had(&self) -> Vec<f64> {
        let products = self.problem.products.iter().zip(self.buy(&self.rates)).enumerate();
        let bought = |(p, (product, count)): (usize, (&Product, Vec<f64>))| {
            self.stock_g(p) + count.iter().zip(&product.packs).map(|(n, pack)| n * pack.mass_g).sum::<f64>()
        };
        products.map(bought).collect()
    }

    /// The least cost at the present price of each gram, every plot within its face: plots are asked
    /// at common prices. False where that cannot be done, and nothing is changed.
    fn at_slopes(&mut self) -> bool {
        let n = self.problem.products.len();
        let Some(mut shares) = self.shares.take() else { return false };
        let cheapest = |p: usize| {
            let packs = self.problem.products[p].packs.iter().zip(&self.prices[p]);
            packs.map(|(pack, price)| price / pack.mass_g).fold(f64::INFINITY, f64::min)
        };
        let scale = (0..n).map(cheapest).filter(|price| price.is_finite()).fold(1e-12, f64::max);
        let more = |p: usize| self.had_g.as_ref().map_or(0.0, |had| had[p]);
        let had_g = |p: usize| match self.problem.products[p].packs.is_empty() {
            true => self.stock_g(p),
            false => more(p).max(self.stock_g(p)),
        };
        let mean = |g: f64| g.max(0.0) / self.total_area;
        let question = Question {
            weights: (0.0, 0.0),
            open: vec![true; n],
            room: (0..n).map(|p| mean(had_g(p) - self.locked_g[p])).collect(),
            tight: (0..n).map(|p| self.tight[p] && self.problem.products[p].packs.is_empty()).collect(),
            price: (0..n).map(|p| cheapest(p) / scale).collect(),
            budget: None,
            spent: false,
        };
        let possible = self.budget.is_none() || self.trial;
        let found = if possible { shares.together(&question) } else { None };
        self.shares = Some(shares);
        let Some(found) = found else { return false };
        let mut rates = found.rates;
        for (c, rates) in rates.iter_mut().enumerate() {
            (0..n).for_each(|p| rates[p] = without_dust(self.plot(c), p, rates[p]));
        }
        if !self.keeps(&rates) {
            return false;
        }
        self.rates = rates;
        true
    }
}
