//! One plot at prices: the doses that are best for it where shortage, excess and every gram of a
//! product count for so much. A plot goes on from where it stands, so that asking it at many prices
//! is cheap; what plots share is settled by asking all of them at the same prices (`shares`).

use super::clean::Plot;
use super::tableau::{Start, Tableau};

/// A plot that can be asked.
#[derive(Clone)]
pub(super) struct Bed {
    /// Where it starts anew: no dose at all, or a point of the face to which it was settled.
    start: Tableau,
    pub now: Tableau,
    pub columns: Columns,
    /// The most of each product that is any use, g/m².
    most: Vec<f64>,
    short_weight: Vec<f64>,
    over_weight: Vec<f64>,
    cost: Vec<f64>,
    /// What the whole of each unknown would add where it stands.
    reduced: Vec<f64>,
}

impl Bed {
    pub fn new(plot: &Plot) -> Bed {
        let (start, columns) = tableau(plot);
        Bed {
            now: start.clone(),
            cost: vec![0.0; start.columns],
            reduced: vec![0.0; start.columns],
            start,
            columns,
            most: plot.most.clone(),
            short_weight: plot.targets.iter().map(|t| t.short_weight).collect(),
            over_weight: plot.targets.iter().map(|t| t.over_weight).collect(),
        }
    }

    /// The most of each product that is any use, g/m².
    pub fn most(&self) -> &[f64] {
        &self.most
    }

    fn count(&mut self, (short, over): (f64, f64), price: &[f64]) {
        self.columns.short.iter().for_each(|&(t, column)| self.cost[column] = short * self.short_weight[t]);
        self.columns.over.iter().for_each(|&(t, column)| self.cost[column] = over * self.over_weight[t]);
        self.columns.rate.iter().for_each(|&(p, column)| self.cost[column] = price[p] * self.most[p]);
    }

    /// Goes to the best doses for these weights of shortage and excess and this price of each g/m²;
    /// what that comes to, without what no dose can change. `None` where rounding spoils it.
    pub fn go(&mut self, weights: (f64, f64), price: &[f64], open: &[bool]) -> Option<f64> {
        self.count(weights, price);
        // What is shut must be out of use before it can be left out.
        let shut = |(p, column): &(usize, usize)| !open[*p] && !self.now.is_out(*column);
        if self.columns.rate.iter().any(shut) {
            self.now.clone_from(&self.start);
        }
        self.columns.rate.iter().for_each(|&(p, column)| {
            self.now.barred[column] = !open[p] || self.start.barred[column];
        });
        self.reduced = self.now.go(&self.cost)?;
        Some(self.value())
    }

    /// What the doses come to at the weights and prices last asked at.
    pub fn value(&self) -> f64 {
        self.now.values().iter().zip(&self.cost).map(|(v, c)| v * c).sum()
    }

    /// Goes to the best doses and leaves out for good what would be worse by more than `within`.
    pub fn settle(&mut self, weights: (f64, f64), price: &[f64], open: &[bool], within: f64) -> Option<()> {
        self.go(weights, price, open)?;
        self.now.settle(&self.cost, within)?;
        self.start.clone_from(&self.now);
        Some(())
    }

    /// Shortage and excess where it stands, weighed by element, without what no dose can change.
    pub fn measure(&self) -> (f64, f64) {
        let values = self.now.values();
        let sum = |which: &[(usize, usize)], weight: &[f64]| {
            which.iter().map(|&(t, column)| values[column] * weight[t]).sum::<f64>()
        };
        (sum(&self.columns.short, &self.short_weight), sum(&self.columns.over, &self.over_weight))
    }

    /// At most so much better it could be with each of the products that are shut, by product.
    pub fn missed(&self, missed: &mut [f64], share: f64) {
        for &(p, column) in self.columns.rate.iter().filter(|(_, column)| self.now.is_out(*column)) {
            missed[p] += share * (-self.reduced[column]).max(0.0);
        }
    }

    /// What the plot would pay, where it stands, for the whole of a need (by target) and of a limit (by
    /// limit); those that no dose can touch are left as they are.
    pub fn prices(&self, lack: &mut [f64], limit: &mut [f64]) {
        let reduced = |column: usize| self.now.straight(column, self.reduced[column]);
        for &(t, column) in &self.columns.short {
            lack[t] = (self.cost[column] - reduced(column)).clamp(0.0, self.short_weight[t]);
        }
        self.columns.slack.iter().for_each(|&(l, column)| limit[l] = reduced(column).max(0.0));
    }

    /// The doses where it stands, g/m² by product.
    pub fn rates(&self) -> Vec<f64> {
        let values = self.now.values();
        let mut rates = vec![0.0; self.most.len()];
        for &(p, column) in &self.columns.rate {
            rates[p] = if values[column] < 1e-11 { 0.0 } else { values[column].min(1.0) * self.most[p] };
        }
        rates
    }
}

/// Where the unknowns of a plot sit: (product, target or limit; column).
#[derive(Clone, Default)]
pub(super) struct Columns {
    pub rate: Vec<(usize, usize)>,
    pub short: Vec<(usize, usize)>,
    pub over: Vec<(usize, usize)>,
    pub slack: Vec<(usize, usize)>,
}

/// The plot as a tableau at no dose at all: rates as shares of the most that is any use.
fn tableau(plot: &Plot) -> (Tableau, Columns) {
    let mut columns = Columns::default();
    let mut upper = Vec::new();
    let mut column = |most: f64| {
        upper.push(most);
        upper.len() - 1
    };
    for (p, _) in plot.most.iter().enumerate().filter(|(_, most)| **most > 0.0) {
        columns.rate.push((p, column(1.0)));
    }
    let mut rows: Vec<Start> = Vec::new();
    for (t, target) in plot.targets.iter().enumerate() {
        let given: Vec<(usize, f64)> = columns
            .rate
            .iter()
            .map(|&(p, column)| (column, target.supply[p] * plot.most[p]))
            .filter(|(_, a)| *a > 0.0)
            .collect();
        if given.is_empty() {
            continue; // the same whatever is done
        }
        let lack = target.need - target.locked;
        let short = (target.need > 0.0).then(|| column(1.0));
        let over = column(f64::INFINITY);
        columns.short.extend(short.map(|short| (t, short)));
        columns.over.push((t, over));
        // Σ given + need × short − scale × over = lack, divided by what makes the start's unknown 1.
        let (unit, start) = match short {
            Some(short) if lack >= 0.0 => (target.need, short),
            _ => (-target.scale, over),
        };
        let mut row: Vec<_> = given.iter().map(|&(column, a)| (column, a / unit)).collect();
        row.extend(short.map(|short| (short, target.need / unit)));
        row.push((over, -target.scale / unit));
        rows.push((row, start, lack / unit));
    }
    for (i, limit) in plot.limits.iter().enumerate().filter(|(_, l)| l.free > 0.0) {
        let mut row: Vec<_> = columns
            .rate
            .iter()
            .map(|&(p, column)| (column, limit.per_gram[p] * plot.most[p] / limit.free))
            .filter(|(_, a)| *a > 0.0)
            .collect();
        if row.iter().map(|(_, a)| a).sum::<f64>() > 1.0 {
            let slack = column(f64::INFINITY);
            columns.slack.push((i, slack));
            row.push((slack, 1.0));
            rows.push((row, slack, 1.0));
        }
    }
    (Tableau::new(upper, &rows), columns)
}
