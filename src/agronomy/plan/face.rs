//! One plot on its own: the least shortage, then the least excess that goes with it, and
//! every dose that is as good. What is as good is a face of the polyhedron of allowed doses;
//! [`face`] gives a point of it and the range of each rate over it, so that the later goals,
//! which all plots share, are settled on what is really left to choose.
//!
//! A simplex on a dense tableau with bounded unknowns: a plot has some forty unknowns in
//! some twenty rows, no dose at all is always allowed as a start, and unlike a general
//! solver the tableau can go on to the next goal where the last one ended. After each goal
//! the unknowns that would worsen it are barred: by duality what remains is exactly the
//! optimal face (Dantzig, *Linear Programming and Extensions*, Princeton University Press
//! 1963, ch. 5 and 18, from memory).
//!
//! Must never return an answer that it has not checked against the plot itself.

use super::clean::{Plot, Target};

/// A reduced cost within this of zero is zero: the unknowns run from 0 to 1.
const NONE: f64 = 1e-9;
/// No smaller number is divided by.
const PIVOT: f64 = 1e-9;

/// The doses that give a plot its least shortage and then its least excess.
#[derive(Clone, Debug)]
pub(super) struct Face {
    /// One of them, g/m² by product.
    pub rates: Vec<f64>,
    /// The least and the most of each product in any of them, g/m².
    pub least: Vec<f64>,
    pub most: Vec<f64>,
    /// Per target: the shortage and the excess that all of them have, where there is only one.
    pub short: Vec<Option<f64>>,
    pub over: Vec<Option<f64>>,
    /// Per limit: all of them use it up.
    pub used_up: Vec<bool>,
}

/// The optimal face of a plot; `None` where rounding spoilt the search, which then is the
/// general solver's to make.
pub(super) fn face(plot: &Plot) -> Option<Face> {
    let (mut tableau, columns) = tableau(plot);
    let n = plot.most.len();
    let nothing = || vec![0.0; n];
    let mut face = Face {
        rates: nothing(),
        least: nothing(),
        most: nothing(),
        short: vec![None; plot.targets.len()],
        over: vec![None; plot.targets.len()],
        used_up: vec![false; plot.limits.len()],
    };
    if columns.rate.is_empty() {
        return Some(face);
    }
    let mut cost = vec![0.0; tableau.columns];
    columns.short.iter().for_each(|&(t, column)| cost[column] = plot.targets[t].short_weight);
    tableau.minimise(&cost)?;
    cost.fill(0.0);
    columns.over.iter().for_each(|&(t, column)| cost[column] = plot.targets[t].over_weight);
    tableau.minimise(&cost)?;
    let values = tableau.values();
    for &(p, column) in &columns.rate {
        let (least, most) = tableau.range(column, values[column])?;
        // What is left of rounding is nothing; all else must stay, or the rows no longer add up.
        let inside = |share: f64| if share < 1e-11 { 0.0 } else { share.min(1.0) * plot.most[p] };
        let value = inside(values[column]);
        (face.least[p], face.most[p]) = match most - least > 1e-9 {
            true => (inside(least), inside(most)),
            false => (value, value),
        };
        face.rates[p] = without_dust(plot, p, value);
    }
    for &(t, column) in &columns.short {
        face.short[t] = tableau.barred[column].then_some(values[column]);
    }
    for &(t, column) in &columns.over {
        face.over[t] = tableau.barred[column].then_some(values[column]);
    }
    for &(limit, column) in &columns.slack {
        face.used_up[limit] = tableau.barred[column];
    }
    let allowed = plot.limits.iter().all(|limit| {
        let used: f64 = limit.per_gram.iter().zip(&face.rates).map(|(c, r)| c * r).sum();
        limit.free <= 0.0 || used <= limit.free * (1.0 + 1e-9)
    });
    let told = |which: &[(usize, usize)], of: fn(&Target, &[f64]) -> f64| {
        which.iter().all(|&(t, column)| {
            let value = of(&plot.targets[t], &face.rates);
            (value - values[column]).abs() <= 2e-6 * (1.0 + value)
        })
    };
    let short = |t: &Target, r: &[f64]| super::stages::short_and_over(t, r).0;
    let over = |t: &Target, r: &[f64]| super::stages::short_and_over(t, r).1;
    (allowed && told(&columns.short, short) && told(&columns.over, over)).then_some(face)
}

/// Nothing, where the rate is too small to serve any need.
pub(super) fn without_dust(plot: &Plot, p: usize, rate: f64) -> f64 {
    // Less than a millionth of every need it serves is what is left of a solver's tolerance.
    let dust = plot.targets.iter().all(|t| t.need <= 0.0 || t.supply[p] * rate < 1e-6 * t.need);
    if dust { 0.0 } else { rate }
}

/// Where the unknowns of a plot sit: (product, target or limit; column).
#[derive(Default)]
struct Columns {
    rate: Vec<(usize, usize)>,
    short: Vec<(usize, usize)>,
    over: Vec<(usize, usize)>,
    slack: Vec<(usize, usize)>,
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
    let mut rows: Vec<(Vec<(usize, f64)>, usize, f64)> = Vec::new();
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

/// A simplex tableau: every unknown runs from 0 to `upper`; where one stands at its upper
/// end it is written as the distance from there ("turned").
#[derive(Clone)]
struct Tableau {
    columns: usize,
    /// Row by row.
    a: Vec<f64>,
    b: Vec<f64>,
    basis: Vec<usize>,
    upper: Vec<f64>,
    turned: Vec<bool>,
    basic: Vec<bool>,
    /// Would worsen a goal already settled, so it stays where it is.
    barred: Vec<bool>,
}

impl Tableau {
    /// Rows are (terms, the unknown that starts in the basis, its value).
    fn new(upper: Vec<f64>, rows: &[(Vec<(usize, f64)>, usize, f64)]) -> Tableau {
        let columns = upper.len();
        let mut tableau = Tableau {
            columns,
            a: vec![0.0; columns * rows.len()],
            b: rows.iter().map(|row| row.2).collect(),
            basis: rows.iter().map(|row| row.1).collect(),
            upper,
            turned: vec![false; columns],
            basic: vec![false; columns],
            barred: vec![false; columns],
        };
        for (i, (terms, start, _)) in rows.iter().enumerate() {
            terms.iter().for_each(|&(column, a)| tableau.a[i * columns + column] = a);
            tableau.basic[*start] = true;
        }
        tableau
    }

    fn values(&self) -> Vec<f64> {
        let mut values: Vec<f64> = vec![0.0; self.columns];
        self.basis.iter().zip(&self.b).for_each(|(&column, &b)| values[column] = b);
        for (column, value) in values.iter_mut().enumerate().filter(|(column, _)| self.turned[*column]) {
            *value = self.upper[column] - *value;
        }
        values
    }

    /// The least and the most of an unknown over the face.
    fn range(&self, column: usize, value: f64) -> Option<(f64, f64)> {
        if self.barred[column] {
            return Some((value, value));
        }
        let end = |sign: f64| {
            let mut tableau = self.clone();
            let mut cost = vec![0.0; self.columns];
            cost[column] = sign;
            tableau.minimise(&cost)?;
            Some(tableau.values()[column])
        };
        Some((end(1.0)?, end(-1.0)?))
    }

    /// Goes to a point of least cost and bars what would worsen it; `None` if it does not arrive.
    fn minimise(&mut self, cost: &[f64]) -> Option<()> {
        let sign = |turned: bool| if turned { -1.0 } else { 1.0 };
        let mut reduced: Vec<f64> = cost.iter().zip(&self.turned).map(|(c, &turned)| c * sign(turned)).collect();
        for (row, &column) in self.a.chunks_exact(self.columns).zip(&self.basis) {
            let price = cost[column] * sign(self.turned[column]);
            if price != 0.0 {
                reduced.iter_mut().zip(row).for_each(|(d, a)| *d -= price * a);
            }
        }
        let patience = 4 * (self.columns + self.basis.len());
        for step in 0..20 * patience {
            // The steepest descent, or after long standing the first, which cannot go in circles (Bland 1977).
            let descends = |&j: &usize| !self.basic[j] && !self.barred[j] && reduced[j] < -NONE;
            let mut open = (0..self.columns).filter(descends);
            let entering = match step < patience {
                true => open.min_by(|&i, &j| reduced[i].total_cmp(&reduced[j])),
                false => open.next(),
            };
            let Some(entering) = entering else {
                for j in 0..self.columns {
                    self.barred[j] |= !self.basic[j] && reduced[j] > NONE;
                }
                return Some(());
            };
            self.enter(entering, step >= patience, &mut reduced);
        }
        None
    }

    /// Raises one unknown until it or a basic one comes to an end.
    fn enter(&mut self, j: usize, first: bool, reduced: &mut [f64]) {
        let n = self.columns;
        let mut stop: Option<(usize, bool)> = None;
        let mut most = self.upper[j];
        for (i, &b) in self.b.iter().enumerate() {
            let a = self.a[i * n + j];
            let (room, at_upper) = match a {
                a if a > PIVOT => (b.max(0.0) / a, false),
                a if a < -PIVOT => ((self.upper[self.basis[i]] - b).max(0.0) / -a, true),
                _ => continue,
            };
            let tie = stop.is_some_and(|(k, _)| {
                let sooner = if first { self.basis[i] < self.basis[k] } else { a.abs() > self.a[k * n + j].abs() };
                room <= most + 1e-12 && sooner
            });
            if room < most - 1e-12 || tie {
                most = most.min(room);
                stop = Some((i, at_upper));
            }
        }
        match stop {
            None => self.turn(j, reduced),
            Some((i, at_upper)) => {
                if at_upper {
                    let column = self.basis[i];
                    self.a[i * n..(i + 1) * n].iter_mut().for_each(|a| *a = -*a);
                    self.a[i * n + column] = 1.0;
                    self.b[i] = self.upper[column] - self.b[i];
                    self.turned[column] ^= true;
                }
                self.pivot(i, j, reduced);
            }
        }
    }

    /// Takes an unknown from one of its ends to the other.
    fn turn(&mut self, j: usize, reduced: &mut [f64]) {
        let upper = self.upper[j];
        for (row, b) in self.a.chunks_exact_mut(self.columns).zip(&mut self.b) {
            *b -= row[j] * upper;
            row[j] = -row[j];
        }
        reduced[j] = -reduced[j];
        self.turned[j] ^= true;
    }

    fn pivot(&mut self, i: usize, j: usize, reduced: &mut [f64]) {
        let n = self.columns;
        let by = self.a[i * n + j];
        self.a[i * n..(i + 1) * n].iter_mut().for_each(|a| *a /= by);
        self.b[i] /= by;
        let (row, b) = (self.a[i * n..(i + 1) * n].to_vec(), self.b[i]);
        for (k, other) in self.a.chunks_exact_mut(n).enumerate().filter(|(k, _)| *k != i) {
            let times = other[j];
            if times != 0.0 {
                other.iter_mut().zip(&row).for_each(|(a, r)| *a -= times * r);
                other[j] = 0.0;
                self.b[k] -= times * b;
            }
        }
        let times = reduced[j];
        reduced.iter_mut().zip(&row).for_each(|(d, r)| *d -= times * r);
        reduced[j] = 0.0;
        self.basic[self.basis[i]] = false;
        self.basic[j] = true;
        self.basis[i] = j;
    }
}
