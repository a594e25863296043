//! What plots share: stock, money and packs. Each plot is asked on its own what is best for it at
//! some price of every product; the answers are mixed so that all plots together use no more than
//! there is, and the mixture tells the next prices, until no plot has a better answer (Dantzig and
//! Wolfe, "Decomposition principle for linear programs", Operations Research 8 (1960) 101-111,
//! from memory). Exact, and the work grows with the number of plots only a little faster than in
//! proportion.
//!
//! Everything is counted as a mean over the whole ground, g/m², so that a price is one for all plots.

mod bound;
mod choose;
mod cuts;
mod ladder;
mod master;
mod mix;
mod seek;
#[cfg(test)]
mod tests;
mod tree;

pub(super) use bound::Dual;
pub(super) use choose::Pains;
pub(super) use ladder::{Choice, Ladder, Means};

use super::bed::Bed;

/// A mixture is best when no plot has an answer that is better for the whole ground by more.
const NONE: f64 = 1e-10;
/// Worse by no more than this is as good.
const WITHIN: f64 = 1e-7;
/// What is worth less than this in all need not be used up.
const WORTHLESS: f64 = 1e-8;

/// What a plot may get, and what it comes to there.
#[derive(Clone, Debug)]
struct Point {
    /// Product and g/m², without those that are not used.
    rates: Vec<(usize, f64)>,
    /// Shortage and excess, weighed by element.
    short: f64,
    over: f64,
}

/// What is asked of all plots together.
#[derive(Clone, Debug)]
pub(super) struct Question {
    /// How much shortage and excess count.
    pub weights: (f64, f64),
    /// Products that may be used.
    pub open: Vec<bool>,
    /// The most of each product, mean g/m²; infinite where there is no end to it.
    pub room: Vec<f64>,
    /// All that there is of the product is used.
    pub tight: Vec<bool>,
    /// What a g/m² beyond the room costs in the objective; infinite where none can be had.
    pub price: Vec<f64>,
    /// What a g/m² beyond the room takes of the budget, and the budget.
    pub budget: Option<(Vec<f64>, f64)>,
    /// All of the budget is spent.
    pub spent: bool,
}

/// The best that all plots together can have.
#[derive(Clone, Debug)]
pub(super) struct Shared {
    pub value: f64,
    /// g/m² by plot and product.
    pub rates: Vec<Vec<f64>>,
    /// Shortage and excess by plot, weighed by element, without what no dose can change.
    pub measure: Vec<(f64, f64)>,
    /// What a g/m² of each product, mean over the ground, is worth.
    pub worth: Vec<f64>,
    /// The same for money.
    pub money: f64,
}

/// All plots, and what they have answered so far.
pub(super) struct Shares {
    /// By plot (or class of plots): its share of the ground.
    share: Vec<f64>,
    beds: Vec<Bed>,
    pool: Vec<Vec<Point>>,
    /// By plot: what it gets in a mixture that is known to be possible for all together.
    at: Vec<Point>,
    /// The most of each product that is any use, mean g/m².
    most: Vec<f64>,
    /// Times that a plot was asked: the work done.
    pub asked: u64,
    kept: Option<mix::Mix>,
}

impl Shares {
    /// Plots that begin where they stand, which is possible for all together.
    pub fn new(beds: Vec<Bed>, share: Vec<f64>, products: usize) -> Shares {
        let mut most = vec![0.0; products];
        for (bed, share) in beds.iter().zip(&share) {
            bed.most().iter().zip(&mut most).for_each(|(one, all)| *all += share * one);
        }
        let at: Vec<Point> = beds.iter().map(Point::of).collect();
        Shares {
            pool: at.iter().map(|point| vec![point.clone()]).collect(),
            at,
            share,
            beds,
            most,
            asked: 0,
            kept: None,
        }
    }

    /// Asks a plot; whether its answer is better than `than`, in which case it is added to the pool.
    fn ask(&mut self, c: usize, question: &Question, worth: &[f64], than: f64) -> Option<bool> {
        self.asked += 1;
        let bed = &mut self.beds[c];
        let value = bed.go(question.weights, worth, &question.open)?;
        let better = self.share[c] * (than - value) > NONE;
        if better {
            self.pool[c].push(Point::of(bed));
        }
        Some(better)
    }

    /// Leaves out of every plot what would be worse than the best for all together, so that only
    /// what is as good remains: at the prices found, that is exactly the best of each plot, with
    /// all used of what was worth something.
    pub fn settle(&mut self, question: &mut Question, shared: &Shared) -> Option<()> {
        for c in 0..self.share.len() {
            let bed = &mut self.beds[c];
            bed.settle(question.weights, &shared.worth, &question.open, WITHIN)?;
            let best = bed.value();
            let cost = |point: &Point| {
                point.cost(question) + point.rates.iter().map(|&(p, x)| x * shared.worth[p]).sum::<f64>()
            };
            self.pool[c].retain(|point| point.is_open(question) && cost(point) <= best + WITHIN);
            let rates = shared.rates[c].iter().copied().enumerate().filter(|(_, rate)| *rate > 0.0).collect();
            let (short, over) = shared.measure[c];
            self.at[c] = Point { rates, short, over };
            self.pool[c].push(self.at[c].clone());
        }
        // What is left over of what was worth something is rounding.
        let used = self.use_of(&self.at);
        for (p, used) in used.into_iter().enumerate() {
            let beyond = question.price[p].is_finite();
            if shared.worth[p] * self.most[p] > WORTHLESS
                && (beyond || question.room[p] - used <= WITHIN * self.most[p])
            {
                question.tight[p] = true;
            }
            if question.tight[p] && !beyond {
                question.room[p] = used;
            }
        }
        question.spent |= question.budget.as_ref().is_some_and(|(_, budget)| shared.money * budget > WORTHLESS);
        Some(())
    }

    /// Shortage of each plot where nothing is given, without what no dose can change.
    pub fn nothing(&self) -> Vec<f64> {
        self.at.iter().map(|point| point.short).collect()
    }

    /// The plots, to be looked at.
    pub fn beds(&self) -> &[Bed] {
        &self.beds
    }
}

impl Shared {
    /// Shortage alone, without what no dose can change; `share` is each plot's of the ground.
    fn short(&self, share: &[f64]) -> f64 {
        self.measure.iter().zip(share).map(|((short, _), share)| short * share).sum()
    }
}

impl Point {
    fn of(bed: &Bed) -> Point {
        let (short, over) = bed.measure();
        Point { rates: bed.rates().into_iter().enumerate().filter(|(_, rate)| *rate > 0.0).collect(), short, over }
    }

    fn is_open(&self, question: &Question) -> bool {
        self.rates.iter().all(|&(p, _)| question.open[p])
    }

    fn cost(&self, question: &Question) -> f64 {
        question.weights.0 * self.short + question.weights.1 * self.over
    }
}
