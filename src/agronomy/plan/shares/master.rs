//! A linear programme to which columns are added while it is solved: few rows, any number of
//! columns, every unknown at least nothing. The revised simplex with the inverse of the basis kept
//! whole (Dantzig, *Linear Programming and Extensions*, Princeton University Press 1963, ch. 9,
//! from memory): a pivot costs the square of the rows, whatever number of columns there are.

/// A reduced cost within this of zero is zero.
const NONE: f64 = 1e-11;
/// No smaller number is pivoted on.
const PIVOT: f64 = 1e-9;
/// Pivots after which the inverse is made anew.
const ANEW: usize = 60;

/// A column: its cost and what it takes of each row.
#[derive(Clone, Debug, Default)]
pub(super) struct Column {
    pub cost: f64,
    pub terms: Vec<(usize, f64)>,
}

/// Rows are equalities: the first columns, one for each row, are what is left over of it.
pub(super) struct Master {
    bound: Vec<f64>,
    columns: Vec<Column>,
    /// Stays at nothing.
    barred: Vec<bool>,
    basic: Vec<bool>,
    basis: Vec<usize>,
    /// Row by row.
    inverse: Vec<f64>,
    value: Vec<f64>,
    /// What one more of each row's bound would add to the objective.
    pub price: Vec<f64>,
    pivots: usize,
    /// Pivots in all.
    pub moved: u64,
}

impl Master {
    /// A programme with these bounds of its rows; where `equal`, nothing may be left over.
    pub fn new(bound: Vec<f64>, equal: &[bool]) -> Master {
        let m = bound.len();
        let unit = |i| Column { cost: 0.0, terms: vec![(i, 1.0)] };
        Master {
            columns: (0..m).map(unit).collect(),
            barred: equal.to_vec(),
            basic: vec![true; m],
            basis: (0..m).collect(),
            inverse: vec![0.0; m * m],
            value: vec![0.0; m],
            price: vec![0.0; m],
            bound,
            pivots: 0,
            moved: 0,
        }
    }

    pub fn add(&mut self, column: Column) -> usize {
        self.columns.push(column);
        self.barred.push(false);
        self.basic.push(false);
        self.columns.len() - 1
    }

    /// Puts a column into the basis for a row, before the first solution.
    pub fn begin(&mut self, row: usize, column: usize) {
        self.basic[self.basis[row]] = false;
        self.basis[row] = column;
        self.basic[column] = true;
    }

    /// How much of each column is used: (column, amount).
    pub fn used(&self) -> impl Iterator<Item = (usize, f64)> {
        self.basis.iter().copied().zip(self.value.iter().map(|v| v.max(0.0)))
    }

    pub fn cost(&self) -> f64 {
        self.used().map(|(column, value)| self.columns[column].cost * value).sum()
    }

    /// Goes to least cost from where it is, and tells whether it moved; `None` where rounding
    /// spoils it.
    pub fn solve(&mut self) -> Option<bool> {
        self.anew()?;
        let before = self.moved;
        let patience = 3 * (self.bound.len() + 50);
        for step in 0..20 * patience {
            let first = step >= patience;
            let Some(entering) = self.entering(first) else {
                if self.pivots == 0 {
                    return Some(self.moved > before);
                }
                self.anew()?; // what is best is best by figures made anew, too
                continue;
            };
            self.enter(entering, first)?;
            if self.pivots >= ANEW {
                self.anew()?;
            }
        }
        None
    }

    fn entering(&self, first: bool) -> Option<usize> {
        let mut best: Option<(usize, f64)> = None;
        for (j, column) in self.columns.iter().enumerate() {
            if self.basic[j] || self.barred[j] {
                continue;
            }
            let reduced = column.cost - column.terms.iter().map(|&(i, a)| self.price[i] * a).sum::<f64>();
            if reduced < best.map_or(-NONE, |(_, least)| least) {
                best = Some((j, reduced));
                if first {
                    break;
                }
            }
        }
        best.map(|(j, _)| j)
    }

    fn enter(&mut self, j: usize, first: bool) -> Option<()> {
        let m = self.bound.len();
        let column = &self.columns[j];
        let mut change = vec![0.0; m];
        for &(k, a) in &column.terms {
            for (i, change) in change.iter_mut().enumerate() {
                *change += self.inverse[i * m + k] * a;
            }
        }
        let reduced = column.cost - column.terms.iter().map(|&(i, a)| self.price[i] * a).sum::<f64>();
        let mut stop: Option<(usize, f64)> = None;
        for (i, &change_i) in change.iter().enumerate() {
            let stuck = self.barred[self.basis[i]];
            let room = match change_i {
                a if a > PIVOT => self.value[i].max(0.0) / a,
                a if a < -PIVOT && stuck => 0.0,
                _ => continue,
            };
            let sooner = |(k, least): (usize, f64)| {
                let tie = match first {
                    true => self.basis[i] < self.basis[k],
                    false => change_i.abs() > change[k].abs(),
                };
                room < least - 1e-12 || room <= least + 1e-12 && tie
            };
            if stop.is_none_or(sooner) {
                stop = Some((i, stop.map_or(room, |(_, least)| room.min(least))));
            }
        }
        let (row, room) = stop?;
        for (value, change) in self.value.iter_mut().zip(&change) {
            *value -= room * change;
        }
        self.value[row] = room;
        let by = change[row];
        let pivot: Vec<f64> = self.inverse[row * m..(row + 1) * m].iter().map(|a| a / by).collect();
        for (i, other) in self.inverse.chunks_exact_mut(m).enumerate() {
            let times = change[i];
            if i == row {
                other.copy_from_slice(&pivot);
            } else if times != 0.0 {
                other.iter_mut().zip(&pivot).for_each(|(a, p)| *a -= times * p);
            }
        }
        self.price.iter_mut().zip(&pivot).for_each(|(price, p)| *price += reduced * p);
        self.basic[self.basis[row]] = false;
        self.basis[row] = j;
        self.basic[j] = true;
        self.pivots += 1;
        self.moved += 1;
        Some(())
    }

    /// Makes the inverse, the values and the prices anew from the basis.
    fn anew(&mut self) -> Option<()> {
        let m = self.bound.len();
        let mut matrix = vec![0.0; m * m];
        for (j, &column) in self.basis.iter().enumerate() {
            self.columns[column].terms.iter().for_each(|&(i, a)| matrix[i * m + j] += a);
        }
        self.inverse = inverted(matrix, m)?;
        for (i, row) in self.inverse.chunks_exact(m.max(1)).enumerate() {
            self.value[i] = row.iter().zip(&self.bound).map(|(a, b)| a * b).sum();
        }
        self.price.fill(0.0);
        for (row, &column) in self.inverse.chunks_exact(m.max(1)).zip(&self.basis) {
            let cost = self.columns[column].cost;
            if cost != 0.0 {
                self.price.iter_mut().zip(row).for_each(|(price, a)| *price += cost * a);
            }
        }
        self.pivots = 0;
        Some(())
    }
}

/// The inverse of a square matrix, row by row: columns with one entry first, then by the largest.
fn inverted(mut a: Vec<f64>, m: usize) -> Option<Vec<f64>> {
    let mut inverse = vec![0.0; m * m];
    (0..m).for_each(|i| inverse[i * m + i] = 1.0);
    let mut left: Vec<bool> = vec![true; m];
    let mut row_of = vec![0; m];
    for (j, row_of) in row_of.iter_mut().enumerate() {
        let largest = (0..m).filter(|&i| left[i]).max_by(|&x, &y| a[x * m + j].abs().total_cmp(&a[y * m + j].abs()));
        let i = largest.filter(|&i| a[i * m + j].abs() > 1e-11)?;
        left[i] = false;
        *row_of = i;
        let by = a[i * m + j];
        a[i * m..(i + 1) * m].iter_mut().for_each(|x| *x /= by);
        inverse[i * m..(i + 1) * m].iter_mut().for_each(|x| *x /= by);
        let (row, other) = (a[i * m..(i + 1) * m].to_vec(), inverse[i * m..(i + 1) * m].to_vec());
        for k in (0..m).filter(|&k| k != i) {
            let times = a[k * m + j];
            if times != 0.0 {
                a[k * m..(k + 1) * m].iter_mut().zip(&row).for_each(|(x, r)| *x -= times * r);
                inverse[k * m..(k + 1) * m].iter_mut().zip(&other).for_each(|(x, r)| *x -= times * r);
            }
        }
    }
    let mut ordered = vec![0.0; m * m];
    for (j, &i) in row_of.iter().enumerate() {
        ordered[j * m..(j + 1) * m].copy_from_slice(&inverse[i * m..(i + 1) * m]);
    }
    Some(ordered)
}
