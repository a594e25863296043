//! The best mixture of what plots have answered, and the prices at which to ask them again.

use super::master::{Column, Master};
use super::{Point, Question, Shared, Shares};

/// Rounds of asking all plots; some ten are usual.
const ROUNDS: usize = 300;
/// Multiplications that are as much work as asking a plot.
pub(super) const AS_ASKING: u64 = 10_000;

/// Where a column of the programme comes from.
#[derive(Clone, Copy)]
enum Origin {
    /// What is left over of a row, or bought beyond the room for it.
    Rest,
    /// A plot and the place of the point in its pool.
    Point(usize, usize),
    /// What a plot began with.
    Start(usize),
}

/// A mixture, kept so that the next question goes on from the last.
pub(super) struct Mix {
    master: Master,
    origins: Vec<Origin>,
    /// Products of which there is an end, in order.
    limited: Vec<usize>,
    /// The row of the budget.
    money: Option<usize>,
    /// By product: what is bought beyond the room for it.
    buy: Vec<Option<usize>>,
    /// Points that were in the pool when it began.
    begun_with: usize,
    /// Work that was counted.
    counted: u64,
}

impl Shares {
    /// The best for all plots together; `None` where nothing is possible, or rounding spoils it.
    pub fn together(&mut self, question: &Question) -> Option<Shared> {
        if let Some(alone) = self.each_alone(question) {
            return Some(alone);
        }
        let limited = (0..self.most.len()).filter(|&p| question.room[p] < self.most[p]).collect();
        let mut mix = self.mix(question, limited)?;
        Some(self.mixture(&mut mix, question, &mut |_, _| false)?.0)
    }

    /// The same, going on from the last question of this kind: only the room for each product, what
    /// is open and the budget may differ, and nothing at all must be possible.
    pub fn again(&mut self, question: &Question) -> Option<Shared> {
        Some(self.until(question, &mut |_, _| false)?.0)
    }

    /// The same, but it may end when `enough` is told by a mixture and what no mixture is better than;
    /// both, the latter by the prices that plots were last asked at.
    pub(super) fn until(
        &mut self,
        question: &Question,
        enough: &mut dyn FnMut(f64, f64) -> bool,
    ) -> Option<(Shared, f64)> {
        if question.budget.is_none() && question.room.iter().all(|room| *room <= 0.0 || room.is_infinite()) {
            return self.each_alone(question).map(|alone| (alone.value, alone)).map(|(value, alone)| (alone, value));
        }
        let crowded = |mix: &Mix, pool: usize| pool > mix.begun_with + 20 * self.share.len();
        let pool = self.pool.iter().map(Vec::len).sum();
        let kept = self.kept.take().filter(|mix| !crowded(mix, pool));
        let mut mix = match kept {
            Some(mut mix) => {
                mix.ask(question, &self.most);
                match mix.master.restore() {
                    Some(()) => mix,
                    None => self.mix_anew(question)?,
                }
            }
            None => self.mix_anew(question)?,
        };
        let told = match self.mixture(&mut mix, question, enough) {
            Some(told) => told,
            // Rounding has spoilt it: once more from the beginning.
            None => {
                mix = self.mix_anew(question)?;
                self.mixture(&mut mix, question, enough)?
            }
        };
        self.kept = Some(mix);
        Some(told)
    }

    /// A mixture that forgets all but what plots began with.
    fn mix_anew(&mut self, question: &Question) -> Option<Mix> {
        self.pool.iter_mut().for_each(Vec::clear);
        let limited = (0..self.most.len()).filter(|&p| self.most[p] > 0.0).collect();
        self.mix(question, limited)
    }

    /// Where a mixture begins: each plot gets what is known to be possible.
    fn mix(&self, question: &Question, limited: Vec<usize>) -> Option<Mix> {
        let money = question.budget.as_ref().map(|_| limited.len());
        let rows = limited.len() + usize::from(money.is_some());
        let mut equal: Vec<bool> = limited.iter().map(|&p| question.tight[p]).collect();
        equal.resize(rows, question.spent);
        let mut mix = Mix {
            master: Master::new(vec![0.0; rows], &equal, self.share.len()),
            origins: vec![Origin::Rest; rows],
            limited,
            money,
            buy: vec![None; self.most.len()],
            begun_with: self.pool.iter().map(Vec::len).sum(),
            counted: 0,
        };
        for (c, point) in self.at.iter().enumerate() {
            let column = mix.master.add(&self.column(c, point, question, &mix.limited));
            mix.origins.push(Origin::Start(c));
            mix.master.begin(c, column);
        }
        let used = self.use_of(&self.at);
        for (i, &p) in mix.limited.iter().enumerate() {
            let spent = question.budget.as_ref().map(|(price, _)| price[p]);
            let lacks = used[p] > question.room[p] * (1.0 + 1e-9) + 1e-12 * self.most[p];
            let sold = spent.map_or(question.price[p].is_finite(), f64::is_finite);
            if sold {
                let taken = spent.zip(money).map(|(price, row)| (row, price * self.most[p]));
                let terms = std::iter::once((i, -1.0)).chain(taken).collect();
                let column = mix.master.add(&Column {
                    cost: if spent.is_some() { 0.0 } else { question.price[p] * self.most[p] },
                    block: None,
                    terms,
                });
                mix.origins.push(Origin::Rest);
                mix.buy[p] = Some(column);
                if lacks {
                    mix.master.begin_row(i, column);
                }
            } else if lacks {
                return None;
            }
        }
        for (c, pool) in self.pool.iter().enumerate() {
            for (i, point) in pool.iter().enumerate().filter(|(_, point)| point.is_open(question)) {
                mix.master.add(&self.column(c, point, question, &mix.limited));
                mix.origins.push(Origin::Point(c, i));
            }
        }
        mix.ask(question, &self.most);
        Some(mix)
    }

    fn column(&self, c: usize, point: &Point, question: &Question, limited: &[usize]) -> Column {
        let share = self.share[c];
        let taken = |&(p, rate): &(usize, f64)| Some((limited.binary_search(&p).ok()?, share * rate / self.most[p]));
        let terms = point.rates.iter().filter_map(taken).collect();
        Column { cost: share * point.cost(question), block: Some(c), terms }
    }

    /// Asks plots until none has a better answer, or enough is told.
    fn mixture(
        &mut self,
        mix: &mut Mix,
        question: &Question,
        enough: &mut dyn FnMut(f64, f64) -> bool,
    ) -> Option<(Shared, f64)> {
        for round in 0..ROUNDS {
            let moved = mix.master.solve()?;
            self.asked += mix.work();
            let worth = mix.worth(&self.most);
            let mut better = false;
            let money = mix.money.map_or(0.0, |row| -mix.master.price[row]);
            let mut bound = -self.paid(question, &worth, money);
            for c in 0..self.share.len() {
                let than = mix.master.block_price[c] / self.share[c];
                let asked = self.ask(c, question, &worth, than)?;
                bound += self.share[c] * self.beds[c].value();
                if asked {
                    let i = self.pool[c].len() - 1;
                    mix.master.add(&self.column(c, &self.pool[c][i], question, &mix.limited));
                    mix.origins.push(Origin::Point(c, i));
                    better = true;
                }
            }
            // What seems better, and moves nothing, is rounding.
            if !better || round > 0 && !moved || enough(mix.master.cost(), bound) {
                return Some((self.mixed(mix, worth), bound));
            }
        }
        None
    }

    /// What all that there is comes to at these prices.
    pub(super) fn paid(&self, question: &Question, worth: &[f64], money: f64) -> f64 {
        let rooms: f64 = (0..worth.len()).map(|p| worth[p].max(0.0) * question.room[p].min(self.most[p])).sum();
        rooms + question.budget.as_ref().map_or(0.0, |(_, left)| money * left.max(0.0))
    }

    fn mixed(&self, mix: &Mix, worth: Vec<f64>) -> Shared {
        let mut rates = vec![vec![0.0; self.most.len()]; self.share.len()];
        let mut measure = vec![(0.0, 0.0); self.share.len()];
        for (column, part) in mix.master.used().filter(|(_, part)| *part > 0.0) {
            let (c, point) = match mix.origins[column] {
                Origin::Point(c, i) => (c, &self.pool[c][i]),
                Origin::Start(c) => (c, &self.at[c]),
                Origin::Rest => continue,
            };
            point.rates.iter().for_each(|&(p, rate)| rates[c][p] += part * rate);
            measure[c].0 += part * point.short;
            measure[c].1 += part * point.over;
        }
        let money = mix.money.map_or(0.0, |row| -mix.master.price[row]);
        Shared { value: mix.master.cost(), rates, measure, worth, money }
    }

    /// Every plot by itself, where that is possible for all together.
    fn each_alone(&mut self, question: &Question) -> Option<Shared> {
        let free = vec![0.0; self.most.len()];
        let mut points = Vec::new();
        let mut value = 0.0;
        for c in 0..self.share.len() {
            self.asked += 1;
            self.beds[c].go(question.weights, &free, &question.open)?;
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
    pub(super) fn use_of(&self, points: &[Point]) -> Vec<f64> {
        let mut used = vec![0.0; self.most.len()];
        for (point, share) in points.iter().zip(&self.share) {
            point.rates.iter().for_each(|&(p, rate)| used[p] += share * rate);
        }
        used
    }
}

impl Mix {
    /// Takes on the room and the budget of a question.
    fn ask(&mut self, question: &Question, most: &[f64]) {
        let room = |&p: &usize| question.room[p].clamp(0.0, most[p]) / most[p];
        let mut bound: Vec<f64> = self.limited.iter().map(room).collect();
        bound.extend(question.budget.as_ref().map(|(_, budget)| budget.max(0.0)));
        self.master.rebound(bound);
        for (p, column) in self.buy.iter().enumerate() {
            if let Some(column) = column {
                self.master.bar(*column, !question.price[p].is_finite());
            }
        }
    }

    /// The work done since it was asked last, in plots asked.
    fn work(&mut self) -> u64 {
        let done = (self.master.work - self.counted) / AS_ASKING;
        self.counted += done * AS_ASKING;
        done
    }

    /// What one more g/m² of each product is worth, mean over the ground.
    fn worth(&self, most: &[f64]) -> Vec<f64> {
        let mut worth = vec![0.0; most.len()];
        for (i, &p) in self.limited.iter().enumerate() {
            worth[p] = -self.master.price[i] / most[p];
        }
        worth
    }
}
