//! The best mixture of what plots have answered, and the prices at which to ask them again.

use super::master::{Column, Master};
use super::{Point, Question, Shared, Shares};

/// Rounds of asking all plots; some ten are usual.
const ROUNDS: usize = 300;

/// Where a column of the programme comes from.
#[derive(Clone, Copy)]
enum Origin {
    /// What may be left over of a row.
    Rest,
    /// A plot and the place of the point in its pool.
    Point(usize, usize),
    Start(usize),
    /// More of a product than there is room for.
    Buy,
}

impl Shares {
    /// The best for all plots together; `None` where nothing is possible, or rounding spoils it.
    pub fn together(&mut self, question: &Question) -> Option<Shared> {
        if let Some(alone) = self.each_alone(question) {
            return Some(alone);
        }
        let plots = self.share.len();
        let limited: Vec<usize> = (0..self.most.len()).filter(|&p| question.room[p] < self.most[p]).collect();
        let row_of = |p: usize| limited.binary_search(&p).ok().map(|at| plots + at);
        let mut bound = vec![1.0; plots];
        bound.extend(limited.iter().map(|&p| question.room[p].max(0.0) / self.most[p]));
        let mut equal = vec![true; plots];
        equal.extend(limited.iter().map(|&p| question.tight[p]));
        let money_row = bound.len();
        if let Some((_, budget)) = question.budget {
            bound.push(budget.max(0.0));
            equal.push(false);
        }
        let mut master = Master::new(bound, &equal);
        let mut origins = vec![Origin::Rest; equal.len()];
        let most = self.most.clone();
        let share = self.share.clone();
        let column = |c: usize, point: &Point| {
            let taken = |&(p, rate): &(usize, f64)| Some((row_of(p)?, share[c] * rate / most[p]));
            let terms = std::iter::once((c, 1.0)).chain(point.rates.iter().filter_map(taken)).collect();
            Column { cost: share[c] * point.cost(question), terms }
        };
        // To begin with, each plot gets what is known to be possible.
        let used = self.use_of(&self.at);
        for (c, point) in self.at.iter().enumerate() {
            let at = master.add(column(c, point));
            origins.push(Origin::Start(c));
            master.begin(c, at);
        }
        for (i, &p) in limited.iter().enumerate() {
            let (row, mut terms) = (plots + i, vec![(plots + i, -1.0)]);
            let spent = question.budget.as_ref().map(|(price, _)| price[p]);
            let bought = question.price[p].is_finite() && spent.is_none_or(f64::is_finite);
            let lacks = used[p] > question.room[p] * (1.0 + 1e-9) + 1e-12 * most[p];
            if bought {
                terms.extend(spent.map(|price| (money_row, price * most[p])));
                let at = master.add(Column { cost: question.price[p] * most[p], terms });
                origins.push(Origin::Buy);
                if lacks {
                    master.begin(row, at);
                }
            } else if lacks {
                return None;
            }
        }
        for (c, pool) in self.pool.iter().enumerate() {
            for (i, point) in pool.iter().enumerate().filter(|(_, point)| point.is_open(question)) {
                master.add(column(c, point));
                origins.push(Origin::Point(c, i));
            }
        }
        for round in 0..ROUNDS {
            let moved = master.solve()?;
            let worth = worth(&master, &limited, &most, plots);
            let mut better = false;
            for c in 0..plots {
                let than = master.price[c] / share[c];
                if self.ask(c, question, &worth, than)? {
                    let i = self.pool[c].len() - 1;
                    master.add(column(c, &self.pool[c][i]));
                    origins.push(Origin::Point(c, i));
                    better = true;
                }
            }
            // What seems better, and moves nothing, is rounding.
            if !better || round > 0 && !moved {
                return Some(self.mixture(
                    &master,
                    &origins,
                    worth,
                    question.budget.as_ref().map(|_| -master.price[money_row]),
                ));
            }
        }
        None
    }

    /// Every plot by itself, where that is possible for all together.
    fn each_alone(&mut self, question: &Question) -> Option<Shared> {
        let free = vec![0.0; self.most.len()];
        let mut points = Vec::new();
        let mut value = 0.0;
        for c in 0..self.share.len() {
            self.ask(c, question, &free, f64::NEG_INFINITY)?;
            let point = Point::of(&self.beds[c]);
            value += self.share[c] * point.cost(question);
            points.push(point);
        }
        let used = self.use_of(&points);
        let fits = |p: usize| match question.tight[p] {
            true => (used[p] - question.room[p]).abs() <= 1e-9 * self.most[p],
            false => used[p] <= question.room[p],
        };
        if !(0..self.most.len()).all(fits) {
            for (pool, point) in self.pool.iter_mut().zip(points) {
                pool.push(point);
            }
            return None;
        }
        let mut rates = vec![vec![0.0; self.most.len()]; points.len()];
        for (rates, point) in rates.iter_mut().zip(&points) {
            point.rates.iter().for_each(|&(p, rate)| rates[p] = rate);
        }
        let measure = points.iter().map(|point| (point.short, point.over)).collect();
        Some(Shared { value, rates, measure, worth: free, money: 0.0 })
    }

    /// What of each product these points use in all, mean g/m².
    fn use_of(&self, points: &[Point]) -> Vec<f64> {
        let mut used = vec![0.0; self.most.len()];
        for (point, share) in points.iter().zip(&self.share) {
            point.rates.iter().for_each(|&(p, rate)| used[p] += share * rate);
        }
        used
    }

    fn mixture(&self, master: &Master, origins: &[Origin], worth: Vec<f64>, money: Option<f64>) -> Shared {
        let mut rates = vec![vec![0.0; self.most.len()]; self.share.len()];
        let mut measure = vec![(0.0, 0.0); self.share.len()];
        for (column, part) in master.used().filter(|(_, part)| *part > 0.0) {
            let (c, point) = match origins[column] {
                Origin::Point(c, i) => (c, &self.pool[c][i]),
                Origin::Start(c) => (c, &self.at[c]),
                Origin::Rest | Origin::Buy => continue,
            };
            point.rates.iter().for_each(|&(p, rate)| rates[c][p] += part * rate);
            measure[c].0 += part * point.short;
            measure[c].1 += part * point.over;
        }
        Shared { value: master.cost(), rates, measure, worth, money: money.unwrap_or(0.0) }
    }
}

/// What one more g/m² of each product is worth, mean over the ground.
fn worth(master: &Master, limited: &[usize], most: &[f64], plots: usize) -> Vec<f64> {
    let mut worth = vec![0.0; most.len()];
    for (i, &p) in limited.iter().enumerate() {
        worth[p] = -master.price[plots + i] / most[p];
    }
    worth
}
