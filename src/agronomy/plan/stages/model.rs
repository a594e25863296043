//! The linear model of a goal: what the unknowns are, which rows bind them, and the way
//! between doses and columns. Every row is divided by the need, cap or pack it speaks of.

use super::super::face::without_dust;
use super::super::optimise::{Answer, Model, Sense};
use super::{Rates, Search, short_and_over};

/// Products of which the whole plan could use at most so many packs get the rows that tie
/// every rate to a pack: without them the bound on their cost is too weak to stop the search.
const LINKED: f64 = 1.5;
/// Room left on a goal that must be kept, relative to 1 + its value.
const KEEP: f64 = 1e-9;

/// A goal already settled, as a condition on the next.
#[derive(Clone, Default)]
pub(super) struct Kept {
    /// By class where classes do not share anything, so that each keeps its own.
    pub short: Option<Bound>,
    pub over: Option<Bound>,
    pub cost: Option<f64>,
    pub products: Option<f64>,
    pub mass_g: Option<f64>,
}

#[derive(Clone)]
pub(super) enum Bound {
    Each(Vec<f64>),
    Total(f64),
}

/// Which parts of the whole model a goal needs.
#[derive(Clone, Default)]
pub(super) struct Scope {
    pub classes: Vec<usize>,
    /// Products left in; `None` is all.
    pub only: Option<Vec<bool>>,
    pub supply: bool,
    pub count: bool,
    /// Packs fixed at these numbers.
    pub packs: Option<Vec<Vec<f64>>>,
}

/// Where each unknown sits in the model.
#[derive(Default)]
pub(super) struct Places {
    /// (class, product, column).
    pub rate: Vec<(usize, usize, usize)>,
    /// (class, target, column).
    pub short: Vec<(usize, usize, usize)>,
    pub over: Vec<(usize, usize, usize)>,
    /// (product, pack size, column).
    pub packs: Vec<(usize, usize, usize)>,
    /// (product, column).
    pub used: Vec<(usize, usize)>,
}

impl Search<'_> {
    pub(super) fn build(&self, scope: &Scope, loose: bool) -> (Model, Places) {
        let mut model = Model::default();
        let mut places = Places::default();
        for &c in &scope.classes {
            self.class_rows(c, scope, &mut model, &mut places);
        }
        if scope.supply {
            self.supply_rows(scope, loose, &mut model, &mut places);
        }
        if scope.count {
            self.count_rows(loose, &mut model, &mut places);
        }
        self.kept_rows(scope, &mut model, &places);
        (model, places)
    }

    /// Rates, goals and caps of one class.
    fn class_rows(&self, c: usize, scope: &Scope, model: &mut Model, places: &mut Places) {
        let plot = self.plot(c);
        let mut rate = vec![None; plot.most.len()];
        let face = self.faces[c].as_ref();
        for p in 0..plot.most.len() {
            let (least, most) = self.range(c, p);
            if most > 0.0 && scope.only.as_ref().is_none_or(|only| only[p]) {
                let column = model.column(least, most, false);
                rate[p] = Some(column);
                places.rate.push((c, p, column));
            }
        }
        let terms = |per_gram: &[f64], divisor: f64| -> Vec<(usize, f64)> {
            let column = |(&column, &g): (&Option<usize>, &f64)| Some((column?, g / divisor));
            rate.iter().zip(per_gram).filter_map(column).filter(|(_, a)| *a > 0.0).collect()
        };
        for (t, target) in plot.targets.iter().enumerate() {
            let unit = if target.need > 0.0 { target.need.max(target.scale * 1e-3) } else { target.scale };
            let mut row = terms(&target.supply, unit);
            if row.is_empty() {
                continue; // the same whatever is done
            }
            let reach: f64 = row.iter().map(|&(column, a)| a * model.columns[column].upper).sum::<f64>() * unit;
            let one = |fixed: Option<f64>, most: f64| fixed.map_or((0.0, most), |value| (value, value));
            if target.need > 0.0 {
                let (least, most) = one(face.and_then(|face| face.short[t]), 1.0);
                let short = model.column(least, most, false);
                places.short.push((c, t, short));
                row.push((short, target.need / unit));
            }
            let (least, most) = one(face.and_then(|face| face.over[t]), (reach + target.locked) / target.scale);
            let over = model.column(least, most, false);
            places.over.push((c, t, over));
            row.push((over, -target.scale / unit));
            model.row(row, Sense::Equal, (target.need - target.locked) / unit);
        }
        for (i, limit) in plot.limits.iter().enumerate().filter(|(_, l)| l.free > 0.0) {
            let row = terms(&limit.per_gram, limit.free);
            if face.is_some_and(|face| face.used_up[i]) {
                model.row(row, Sense::Equal, 1.0);
                continue;
            }
            let reach: f64 = row.iter().map(|&(column, a)| a * model.columns[column].upper).sum();
            if reach > 1.0 {
                model.row(row, Sense::AtMost, 1.0);
            }
        }
    }

    /// What is spread comes from the stock and from packs.
    fn supply_rows(&self, scope: &Scope, loose: bool, model: &mut Model, places: &mut Places) {
        let bought = self.buy(&self.rates);
        for (p, product) in self.problem.products.iter().enumerate() {
            let stock = self.stock_g(p) - self.locked_g[p];
            let least_g = self.in_all(|c| self.range(c, p).0);
            if self.most_g[p] <= stock {
                continue;
            }
            let unit = product.packs.first().map_or(stock.max(1e-3), |pack| pack.mass_g);
            let mut row: Vec<_> = places
                .rate
                .iter()
                .filter(|r| r.1 == p)
                .map(|&(c, _, column)| (column, self.classes[c].area_m2 / unit))
                .collect();
            for (k, pack) in product.packs.iter().enumerate() {
                let most = (self.most_g[p] - stock) / pack.mass_g;
                let whole = product.whole_packs && most < 1e8;
                let column = match &scope.packs {
                    Some(fixed) => model.column(fixed[p][k], fixed[p][k], false),
                    // All of these packs is used, so their number is not to be changed.
                    None if self.tight[p] && product.whole_packs => model.column(bought[p][k], bought[p][k], false),
                    None => {
                        let least = if product.packs.len() == 1 { (least_g - stock) / pack.mass_g } else { 0.0 };
                        let (least, most) = match whole {
                            // A hair of rounding must not buy a pack.
                            true => ((least - 1e-6).ceil(), most.ceil()),
                            false => (least * (1.0 - 1e-9), most),
                        };
                        model.column(least.max(0.0), most, whole && !loose)
                    }
                };
                places.packs.push((p, k, column));
                row.push((column, -pack.mass_g / unit));
            }
            let sense = if self.tight[p] { Sense::Equal } else { Sense::AtMost };
            model.row(row, sense, stock / unit);
            let bought = !loose && product.whole_packs && scope.packs.is_none();
            if bought && stock <= 0.0 && self.locked_g[p] == 0.0 && self.most_g[p] / unit <= LINKED {
                self.link_rows(p, model, places);
            }
        }
        if let Some(budget) = self.budget.filter(|_| scope.packs.is_none()) {
            let unit = budget.max(1.0);
            let price = |p: usize, k: usize| self.problem.products[p].packs[k].price_minor.map(|m| m as f64);
            let row = places.packs.iter().filter_map(|&(p, k, column)| Some((column, price(p, k)? / unit)));
            model.row(row.filter(|(_, a)| *a > 0.0).collect(), Sense::AtMost, budget / unit);
            if let Some(spend) = self.spend {
                let loose = |&&(p, _, _): &&(usize, usize, usize)| !self.problem.products[p].whole_packs;
                let row =
                    places.packs.iter().filter(loose).filter_map(|&(p, k, column)| Some((column, price(p, k)? / unit)));
                model.row(row.filter(|(_, a)| *a > 0.0).collect(), Sense::Equal, spend / unit);
            }
        }
    }

    /// No pack, no rate, plot by plot: implied by the supply row for whole packs, but a far
    /// better bound while packs are still counted in fractions.
    fn link_rows(&self, p: usize, model: &mut Model, places: &Places) {
        let packs = places.packs.iter().filter(|x| x.0 == p).map(|x| (x.2, -1.0));
        // A range of next to nothing would make a row of enormous figures.
        let worth = |r: &&(usize, usize, usize)| r.1 == p && self.range(r.0, p).1 > 1e-6 * self.plot(r.0).most[p];
        for &(c, _, column) in places.rate.iter().filter(worth) {
            let row = packs.clone().chain([(column, 1.0 / self.range(c, p).1)]);
            model.row(row.collect(), Sense::AtMost, 0.0);
        }
    }

    /// A product is used or it is not; locked ones are used already and count for nothing more.
    fn count_rows(&self, loose: bool, model: &mut Model, places: &mut Places) {
        for p in 0..self.problem.products.len() {
            if self.locked_g[p] > 0.0 {
                continue;
            }
            let mut row: Vec<_> = places
                .rate
                .iter()
                .filter(|r| r.1 == p)
                .map(|&(c, _, column)| (column, self.classes[c].area_m2))
                .collect();
            if row.is_empty() {
                continue;
            }
            let stock = if self.problem.products[p].packs.is_empty() { self.stock_g(p) } else { f64::INFINITY };
            let most = self.most_g[p].min(stock).max(1e-9);
            row.iter_mut().for_each(|(_, a)| *a /= most);
            let used = model.column(0.0, 1.0, !loose);
            places.used.push((p, used));
            row.push((used, -1.0));
            model.row(row, Sense::AtMost, 0.0);
        }
        if let Some(most) = self.problem.max_products {
            let row = places.used.iter().map(|&(_, column)| (column, 1.0)).collect();
            model.row(row, Sense::AtMost, most.saturating_sub(self.locked_products()) as f64);
        }
    }

    fn locked_products(&self) -> usize {
        self.locked_g.iter().filter(|g| **g > 0.0).count()
    }

    /// The goals already settled stay as good as they are.
    fn kept_rows(&self, scope: &Scope, model: &mut Model, places: &Places) {
        let room = |value: f64| value + KEEP * (1.0 + value.abs());
        let weights = |which: &[(usize, usize, usize)], short: bool, only: Option<usize>| -> Vec<(usize, f64)> {
            which
                .iter()
                .filter(|x| only.is_none_or(|c| c == x.0))
                .map(|&(c, t, column)| {
                    let target = &self.plot(c).targets[t];
                    let weight = if short { target.short_weight } else { target.over_weight };
                    (column, if only.is_some() { weight } else { weight * self.share(c) })
                })
                .filter(|(_, a)| *a > 0.0)
                .collect()
        };
        for (bound, which, short) in [(&self.kept.short, &places.short, true), (&self.kept.over, &places.over, false)] {
            match bound {
                Some(Bound::Each(each)) => {
                    // On its face a class keeps both goals as they are.
                    for &c in scope.classes.iter().filter(|&&c| self.faces[c].is_none()) {
                        let free = (each[c] - self.constant(short, places, c)).max(0.0);
                        for (column, a) in weights(which, short, Some(c)) {
                            let column = &mut model.columns[column];
                            column.upper = column.upper.min(room(free) / a);
                        }
                        if free > KEEP {
                            model.row(weights(which, short, Some(c)), Sense::AtMost, room(free));
                        }
                    }
                }
                Some(Bound::Total(total)) => {
                    let all = scope.classes.iter().map(|&c| self.share(c) * self.constant(short, places, c));
                    let free = (total - all.sum::<f64>()).max(0.0);
                    model.row(weights(which, short, None), Sense::AtMost, room(free));
                }
                None => {}
            }
        }
        if let Some(cost) = self.kept.cost.filter(|_| scope.packs.is_none()) {
            let unit = cost.max(1.0);
            let row = places.packs.iter().map(|&(p, k, column)| (column, self.prices[p][k] / unit));
            model.row(row.filter(|(_, a)| *a > 0.0).collect(), Sense::AtMost, room(cost / unit));
        }
        if let Some(products) = self.kept.products {
            let row = places.used.iter().map(|&(_, column)| (column, 1.0)).collect();
            model.row(row, Sense::AtMost, products - self.locked_products() as f64);
        }
        if let Some(mass) = self.kept.mass_g {
            let free = (mass - self.locked_g.iter().sum::<f64>()).max(1e-9);
            let row = places.rate.iter().map(|&(c, _, column)| (column, self.classes[c].area_m2 / free));
            model.row(row.collect(), Sense::AtMost, room(1.0));
        }
    }

    /// The part of a class's goal that no column of the model can change.
    fn constant(&self, short: bool, places: &Places, c: usize) -> f64 {
        let which = if short { &places.short } else { &places.over };
        let modelled: Vec<usize> = which.iter().filter(|x| x.0 == c).map(|x| x.1).collect();
        let left_out = self.plot(c).targets.iter().enumerate().filter(|(t, _)| !modelled.contains(t));
        left_out
            .map(|(_, target)| {
                let (s, o) = short_and_over(target, &self.rates[c]);
                if short { s * target.short_weight } else { o * target.over_weight }
            })
            .sum()
    }

    /// The values of all columns that follow from the rates.
    pub(super) fn lift(&self, places: &Places, model: &Model, rates: &Rates) -> Vec<f64> {
        let mut values = vec![0.0; model.columns.len()];
        places.rate.iter().for_each(|&(c, p, column)| values[column] = rates[c][p]);
        for &(c, t, column) in &places.short {
            values[column] = short_and_over(&self.plot(c).targets[t], &rates[c]).0;
        }
        for &(c, t, column) in &places.over {
            values[column] = short_and_over(&self.plot(c).targets[t], &rates[c]).1;
        }
        let bought = self.buy(rates);
        places.packs.iter().for_each(|&(p, k, column)| values[column] = bought[p][k]);
        for &(p, column) in &places.used {
            values[column] = f64::from(u8::from(rates.iter().any(|r| r[p] > 0.0)));
        }
        values
    }

    /// The rates of an answer, without what is only the solver's tolerance.
    pub(super) fn extract(&self, places: &Places, answer: &Answer) -> Rates {
        let mut rates = self.rates.clone();
        // Whatever the model left out is not used.
        for &(c, _, _) in &places.rate {
            rates[c].iter_mut().for_each(|r| *r = 0.0);
        }
        for &(c, p, column) in &places.rate {
            let unused = places.used.iter().any(|&(q, used)| q == p && answer.values[used] < 0.5);
            let rate = answer.values[column];
            rates[c][p] = if unused { 0.0 } else { rate };
        }
        for (p, product) in self.problem.products.iter().enumerate() {
            let packs: Vec<_> = places.packs.iter().filter(|x| x.0 == p).collect();
            if packs.is_empty() && !product.packs.is_empty() {
                continue; // the stock is more than enough
            }
            let bought: f64 =
                packs.iter().map(|&&(_, k, column)| answer.values[column] * product.packs[k].mass_g).sum();
            let had = self.stock_g(p) + bought - self.locked_g[p];
            let free: f64 = self.classes.iter().zip(&rates).map(|(c, r)| c.area_m2 * r[p]).sum();
            // A pack must not be bought for the last milligrams, which are the solver's tolerance.
            if free > had.max(0.0) {
                rates.iter_mut().for_each(|r| r[p] *= had.max(0.0) / free);
            }
        }
        for &(c, p, _) in &places.rate {
            rates[c][p] = without_dust(self.plot(c), p, rates[c][p]);
        }
        rates
    }
}
