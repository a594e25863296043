//! A linear programme of many blocks that share a few rows, to which columns are added while it
//! is solved: of each block's columns the parts add up to one. The revised simplex, of which only
//! the shared rows have an inverse: in each block one column is the key, and the others of the
//! basis are written as the distance from it (Dantzig and Van Slyke, "Generalized upper bounding
//! techniques", Journal of Computer and System Sciences 1 (1967) 213-226, from memory). So a pivot
//! costs the square of the shared rows, whatever number of blocks and columns there is.

/// A reduced cost within this of zero is zero.
const NONE: f64 = 1e-11;
/// No smaller number is pivoted on.
const PIVOT: f64 = 1e-8;
/// Pivots after which the inverse is made anew.
const ANEW: usize = 60;
/// Less than this below nothing is nothing.
const OFF: f64 = 1e-9;
/// More than this below nothing is wrong.
const WRONG: f64 = 1e-7;
/// Columns that are looked at again before all are.
const NEXT: usize = 40;

/// A column: its cost, its block, and what it takes of each shared row.
#[derive(Clone, Debug, Default)]
pub(super) struct Column {
    pub cost: f64,
    pub block: Option<usize>,
    pub terms: Vec<(usize, f64)>,
}

/// Shared rows are equalities: the first columns, one for each row, are what is left over of it.
pub(super) struct Master {
    bound: Vec<f64>,
    columns: Columns,
    /// Stays at nothing.
    barred: Vec<bool>,
    basic: Vec<bool>,
    /// By block.
    key: Vec<usize>,
    key_value: Vec<f64>,
    /// By shared row: the others of the basis.
    basis: Vec<usize>,
    value: Vec<f64>,
    /// Row by row.
    inverse: Vec<f64>,
    /// What one more of each shared row's bound would add to the objective.
    pub price: Vec<f64>,
    /// What each block adds to it.
    pub block_price: Vec<f64>,
    pivots: usize,
    /// Pivots in all.
    moved: u64,
    /// Multiplications in all, more or less.
    pub work: u64,
    next: Vec<usize>,
}

/// Columns one after the other in one piece of memory, which is gone through at every step.
#[derive(Default)]
struct Columns {
    cost: Vec<f64>,
    block: Vec<Option<usize>>,
    /// Where each column's terms end.
    ends: Vec<usize>,
    rows: Vec<usize>,
    amounts: Vec<f64>,
}

impl Columns {
    fn push(&mut self, column: &Column) {
        self.cost.push(column.cost);
        self.block.push(column.block);
        self.rows.extend(column.terms.iter().map(|(row, _)| row));
        self.amounts.extend(column.terms.iter().map(|(_, a)| a));
        self.ends.push(self.rows.len());
    }

    fn len(&self) -> usize {
        self.cost.len()
    }

    fn terms(&self, j: usize) -> impl Iterator<Item = (usize, f64)> {
        let range = if j == 0 { 0 } else { self.ends[j - 1] }..self.ends[j];
        self.rows[range.clone()].iter().copied().zip(self.amounts[range].iter().copied())
    }

    /// A column's terms times a row.
    fn times(&self, j: usize, row: &[f64]) -> f64 {
        self.terms(j).map(|(i, a)| row[i] * a).sum()
    }
}

/// Where the unknown that leaves the basis is.
#[derive(Clone, Copy, PartialEq)]
enum Place {
    Row(usize),
    Key(usize),
}

impl Master {
    /// A programme with these bounds of its shared rows, of which nothing may be left over where
    /// `equal`; its blocks begin with [`Master::begin`].
    pub fn new(bound: Vec<f64>, equal: &[bool], blocks: usize) -> Master {
        let m = bound.len();
        let mut columns = Columns::default();
        (0..m).for_each(|i| columns.push(&Column { terms: vec![(i, 1.0)], ..Column::default() }));
        Master {
            columns,
            barred: equal.to_vec(),
            basic: vec![true; m],
            key: vec![usize::MAX; blocks],
            key_value: vec![1.0; blocks],
            basis: (0..m).collect(),
            value: vec![0.0; m],
            inverse: vec![0.0; m * m],
            price: vec![0.0; m],
            block_price: vec![0.0; blocks],
            bound,
            pivots: 0,
            moved: 0,
            work: 0,
            next: Vec::new(),
        }
    }

    pub fn add(&mut self, column: &Column) -> usize {
        self.columns.push(column);
        self.barred.push(false);
        self.basic.push(false);
        self.columns.len() - 1
    }

    /// Makes a column the key of its block, before the first solution.
    pub fn begin(&mut self, block: usize, column: usize) {
        self.key[block] = column;
        self.basic[column] = true;
    }

    /// Puts a column without a block into the basis for a row, before the first solution.
    pub fn begin_row(&mut self, row: usize, column: usize) {
        self.basic[self.basis[row]] = false;
        self.basis[row] = column;
        self.basic[column] = true;
    }

    /// How much of each column is used: (column, amount).
    pub fn used(&self) -> impl Iterator<Item = (usize, f64)> {
        let keys = self.key.iter().copied().zip(&self.key_value);
        keys.chain(self.basis.iter().copied().zip(&self.value)).map(|(column, value)| (column, value.max(0.0)))
    }

    pub fn cost(&self) -> f64 {
        self.used().map(|(column, value)| self.columns.cost[column] * value).sum()
    }

    /// Goes to least cost from where it is, which is possible, and tells whether it moved; `None`
    /// where rounding spoils it.
    pub fn solve(&mut self) -> Option<bool> {
        self.anew()?;
        self.next.clear();
        let before = self.moved;
        let patience = 100 + self.bound.len();
        let mut idle = 0;
        for _ in 0..100 * patience {
            // The steepest descent, or after long standing the first, which cannot go in circles (Bland 1977).
            let first = idle >= patience;
            let Some(entering) = self.entering(first) else {
                if self.pivots == 0 {
                    return self.holds().then_some(self.moved > before);
                }
                self.anew()?; // what is best is best by figures made anew, too
                continue;
            };
            idle = if self.enter(entering, first)? > 1e-12 { 0 } else { idle + 1 };
            if self.pivots >= ANEW {
                self.anew()?;
            }
        }
        None
    }

    /// Changes the bounds of the shared rows. What was best may not be possible any more.
    pub fn rebound(&mut self, bound: Vec<f64>) {
        self.bound = bound;
    }

    /// Keeps a column at nothing, or lets it be used.
    pub fn bar(&mut self, column: usize, barred: bool) {
        self.barred[column] = barred;
    }

    /// From the best under other bounds to what is best and possible under these, by the dual
    /// simplex (Lemke, "The dual method of solving the linear programming problem", Naval Research
    /// Logistics Quarterly 1 (1954) 36-47, from memory); `None` where it does not arrive.
    pub fn restore(&mut self) -> Option<()> {
        self.anew()?;
        let mut reduced: Vec<f64> = (0..self.columns.len()).map(|j| self.reduced(j)).collect();
        let mut across_all = vec![0.0; self.columns.len()];
        for _ in 0..10 * (100 + self.bound.len()) {
            // Below nothing, or above it where it must be nothing.
            let off = |value: f64, column: usize| if self.barred[column] && value > 0.0 { value } else { -value };
            let rows = self.value.iter().zip(&self.basis).enumerate().map(|(i, (&v, &c))| (off(v, c), Place::Row(i)));
            let keys = self.key_value.iter().zip(&self.key).enumerate().map(|(c, (&v, &k))| (off(v, k), Place::Key(c)));
            let worst = rows.chain(keys).filter(|(off, _)| *off > OFF).max_by(|a, b| a.0.total_cmp(&b.0));
            let Some((_, place)) = worst else {
                if self.pivots == 0 {
                    return Some(());
                }
                self.anew()?;
                continue;
            };
            let row = match place {
                Place::Row(row) => row,
                Place::Key(block) => {
                    // By itself a key is one, so another of its block is in the basis.
                    let row = (0..self.basis.len()).find(|&i| self.columns.block[self.basis[i]] == Some(block))?;
                    self.swap_key(block, row);
                    row
                }
            };
            let sign = if self.value[row] < 0.0 { -1.0 } else { 1.0 };
            self.work += (4 * self.columns.amounts.len() + 10 * self.columns.len()) as u64;
            let m = self.bound.len();
            let across = &self.inverse[row * m..(row + 1) * m];
            let of_key: Vec<f64> = self.key.iter().map(|&key| self.columns.times(key, across)).collect();
            let mut stops: Vec<(f64, f64, usize)> = Vec::new();
            for j in (0..self.columns.len()).filter(|j| !self.basic[*j] && !self.barred[*j]) {
                let key = self.columns.block[j].map_or(0.0, |block| of_key[block]);
                let a = sign * (self.columns.times(j, across) - key);
                across_all[j] = a;
                if a <= PIVOT {
                    continue;
                }
                stops.push((reduced[j].max(0.0), a, j));
            }
            let most = stops.iter().map(|(reduced, a, _)| (reduced + NONE) / a).fold(f64::INFINITY, f64::min);
            let near = stops.into_iter().filter(|(reduced, a, _)| reduced / a <= most);
            let (_, a, j) = near.max_by(|a, b| a.1.total_cmp(&b.1).then(b.2.cmp(&a.2)))?;
            let step = reduced[j] / a;
            for (k, reduced) in reduced.iter_mut().enumerate().filter(|(k, _)| !self.basic[*k]) {
                *reduced -= step * across_all[k];
            }
            reduced[self.basis[row]] = -step * sign;
            reduced[j] = 0.0;
            let change = self.change(j);
            let room = self.value[row] / change[row];
            let key_change = self.key_changes(j, &change);
            self.exchange(j, row, room, &change, &key_change);
            if self.pivots >= ANEW {
                self.anew()?;
                reduced = (0..self.columns.len()).map(|j| self.reduced(j)).collect();
            }
        }
        None
    }

    /// Whether nothing is less than nothing, but for rounding.
    fn holds(&self) -> bool {
        let all = |place: (&f64, &usize)| *place.0 >= -WRONG && !(self.barred[*place.1] && *place.0 > WRONG);
        self.value.iter().zip(&self.basis).all(all) && self.key_value.iter().zip(&self.key).all(all)
    }

    fn reduced(&self, j: usize) -> f64 {
        let block = self.columns.block[j].map_or(0.0, |block| self.block_price[block]);
        self.columns.cost[j] - self.columns.times(j, &self.price) - block
    }

    /// The column that lowers the cost most, among those that did so when all were looked at last.
    fn entering(&mut self, first: bool) -> Option<usize> {
        let open = |j: &usize| !self.basic[*j] && !self.barred[*j];
        if first {
            return (0..self.columns.len()).filter(open).find(|&j| self.reduced(j) < -NONE);
        }
        let best = |list: &mut dyn Iterator<Item = usize>| {
            let lower = list.filter(open).map(|j| (self.reduced(j), j)).filter(|(reduced, _)| *reduced < -NONE);
            lower.min_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1))).map(|(_, j)| j)
        };
        if let Some(j) = best(&mut self.next.iter().copied()) {
            return Some(j);
        }
        self.work += (2 * self.columns.amounts.len() + 5 * self.columns.len()) as u64;
        let all = (0..self.columns.len()).filter(open).map(|j| (self.reduced(j), j));
        let mut lower: Vec<(f64, usize)> = all.filter(|(reduced, _)| *reduced < -NONE).collect();
        lower.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
        self.next = lower.into_iter().take(NEXT).map(|(_, j)| j).collect();
        self.next.first().copied()
    }

    /// A column as the distance from the key of its block, times the inverse.
    fn change(&self, j: usize) -> Vec<f64> {
        let m = self.bound.len();
        let mut change = vec![0.0; m];
        let mut terms = vec![0.0; m];
        self.columns.terms(j).for_each(|(k, a)| terms[k] += a);
        if let Some(block) = self.columns.block[j] {
            self.columns.terms(self.key[block]).for_each(|(k, a)| terms[k] -= a);
        }
        for (change, row) in change.iter_mut().zip(self.inverse.chunks_exact(m.max(1))) {
            *change = row.iter().zip(&terms).map(|(a, b)| a * b).sum();
        }
        change
    }

    /// Lets a column in; how far.
    fn enter(&mut self, j: usize, first: bool) -> Option<f64> {
        let change = self.change(j);
        let key_change = self.key_changes(j, &change);
        let rows = change.iter().zip(&self.value).zip(&self.basis).enumerate();
        let rows = rows.map(|(i, ((&a, &value), &column))| (Place::Row(i), a, value, column));
        let keys = key_change.iter().zip(&self.key_value).zip(&self.key).enumerate();
        let keys = keys.map(|(c, ((&a, &value), &column))| (Place::Key(c), a, value, column));
        // What can stop it: where it ends, and how surely it can be pivoted on.
        let mut stops: Vec<(f64, f64, Place, usize)> = Vec::new();
        for (place, a, value, column) in rows.chain(keys) {
            match a {
                a if a > PIVOT => stops.push((value.max(0.0), a, place, column)),
                a if a < -PIVOT && self.barred[column] => stops.push((0.0, -a, place, column)),
                _ => {}
            }
        }
        // Of those that stop it as good as at once the one with the largest pivot (Harris 1973).
        let most = stops.iter().map(|(value, a, _, _)| (value + OFF) / a).fold(f64::INFINITY, f64::min);
        let near = stops.into_iter().filter(|(value, a, _, _)| value / a <= most);
        let stop = match first {
            true => near.min_by_key(|(_, _, _, column)| *column),
            false => near.max_by(|a, b| a.1.total_cmp(&b.1).then(b.3.cmp(&a.3))),
        };
        let (place, room, leaving) = stop.map(|(value, a, place, column)| (place, value / a, column))?;
        let block_of = |column: usize| self.columns.block[column];
        match place {
            Place::Row(row) => self.exchange(j, row, room, &change, &key_change),
            // The key gives its place to another of its block, or, where there is none, to the new one.
            Place::Key(block) => match (0..self.basis.len()).find(|&i| block_of(self.basis[i]) == Some(block)) {
                Some(row) => {
                    self.swap_key(block, row);
                    let change = self.change(j);
                    let key_change = self.key_changes(j, &change);
                    self.exchange(j, row, room, &change, &key_change);
                }
                None => {
                    self.move_by(room, &change, &key_change);
                    self.key_value[block] = room;
                    self.key[block] = j;
                    self.basic[leaving] = false;
                    self.basic[j] = true;
                    self.pivots += 1;
                    self.moved += 1;
                    self.price_blocks();
                }
            },
        }
        Some(room)
    }

    /// Puts a column in the place of the one at this row.
    fn exchange(&mut self, j: usize, row: usize, room: f64, change: &[f64], key_change: &[f64]) {
        let reduced = self.reduced(j);
        self.move_by(room, change, key_change);
        self.value[row] = room;
        let m = self.bound.len();
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
        self.work += (2 * m * m + 30 * self.key.len()) as u64;
        self.price_blocks();
    }

    fn key_changes(&self, j: usize, change: &[f64]) -> Vec<f64> {
        let mut key_change = vec![0.0; self.key.len()];
        if let Some(block) = self.columns.block[j] {
            key_change[block] = 1.0;
        }
        for (&column, change) in self.basis.iter().zip(change) {
            if let Some(block) = self.columns.block[column] {
                key_change[block] -= change;
            }
        }
        key_change
    }

    fn move_by(&mut self, room: f64, change: &[f64], key_change: &[f64]) {
        self.value.iter_mut().zip(change).for_each(|(value, change)| *value -= room * change);
        self.key_value.iter_mut().zip(key_change).for_each(|(value, change)| *value -= room * change);
    }

    /// Lets a block's key and one of its others, at this row, change places.
    fn swap_key(&mut self, block: usize, row: usize) {
        let m = self.bound.len();
        let mut sum: Vec<f64> = vec![0.0; m];
        for (i, &column) in self.basis.iter().enumerate() {
            if self.columns.block[column] == Some(block) {
                sum.iter_mut().zip(&self.inverse[i * m..(i + 1) * m]).for_each(|(sum, a)| *sum -= a);
            }
        }
        self.inverse[row * m..(row + 1) * m].copy_from_slice(&sum);
        std::mem::swap(&mut self.key[block], &mut self.basis[row]);
        std::mem::swap(&mut self.key_value[block], &mut self.value[row]);
    }

    fn price_blocks(&mut self) {
        for (price, &key) in self.block_price.iter_mut().zip(&self.key) {
            *price = self.columns.cost[key] - self.columns.times(key, &self.price);
        }
    }

    /// Makes the inverse, the values and the prices anew from the basis.
    fn anew(&mut self) -> Option<()> {
        let m = self.bound.len();
        let mut matrix = vec![0.0; m * m];
        let mut cost = vec![0.0; m];
        for (j, &column) in self.basis.iter().enumerate() {
            self.columns.terms(column).for_each(|(i, a)| matrix[i * m + j] += a);
            cost[j] = self.columns.cost[column];
            if let Some(block) = self.columns.block[column] {
                let key = self.key[block];
                self.columns.terms(key).for_each(|(i, a)| matrix[i * m + j] -= a);
                cost[j] -= self.columns.cost[key];
            }
        }
        let mut bound = self.bound.clone();
        for &key in &self.key {
            self.columns.terms(key).for_each(|(i, a)| bound[i] -= a);
        }
        self.inverse = inverted(matrix, m)?;
        self.key_value.fill(1.0);
        self.price.fill(0.0);
        for (i, row) in self.inverse.chunks_exact(m.max(1)).enumerate() {
            self.value[i] = row.iter().zip(&bound).map(|(a, b)| a * b).sum();
            if let Some(block) = self.columns.block[self.basis[i]] {
                self.key_value[block] -= self.value[i];
            }
            if cost[i] != 0.0 {
                self.price.iter_mut().zip(row).for_each(|(price, a)| *price += cost[i] * a);
            }
        }
        self.price_blocks();
        self.work += (2 * m * m * m) as u64;
        self.pivots = 0;
        Some(())
    }
}

/// The inverse of a square matrix, row by row; `None` where it has none.
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
