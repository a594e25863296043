//! A simplex on a dense tableau with bounded unknowns, for one plot: some forty unknowns in some
//! twenty rows. No dose at all is always allowed as a start, and unlike a general solver the
//! tableau can go on to the next goal, or to other prices, where the last one ended. After a goal
//! the unknowns that would worsen it can be barred: by duality what remains is exactly the
//! optimal face (Dantzig, *Linear Programming and Extensions*, Princeton University Press
//! 1963, ch. 5 and 18, from memory).

/// A reduced cost within this of zero is zero: the unknowns run from 0 to 1.
pub(super) const NONE: f64 = 1e-9;
/// No smaller number is divided by.
const PIVOT: f64 = 1e-9;

/// A row to start with: its terms, the unknown that starts in the basis, and its value.
pub(super) type Start = (Vec<(usize, f64)>, usize, f64);

/// A simplex tableau: every unknown runs from 0 to `upper`; where one stands at its upper
/// end it is written as the distance from there ("turned").
#[derive(Clone)]
pub(super) struct Tableau {
    pub columns: usize,
    /// Row by row.
    a: Vec<f64>,
    b: Vec<f64>,
    basis: Vec<usize>,
    upper: Vec<f64>,
    turned: Vec<bool>,
    basic: Vec<bool>,
    /// Would worsen a goal already settled, so it stays where it is.
    pub barred: Vec<bool>,
    /// The row being pivoted on, kept to spare making it anew.
    row: Vec<f64>,
}

impl Tableau {
    pub fn new(upper: Vec<f64>, rows: &[Start]) -> Tableau {
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
            row: vec![0.0; columns],
        };
        for (i, (terms, start, _)) in rows.iter().enumerate() {
            terms.iter().for_each(|&(column, a)| tableau.a[i * columns + column] = a);
            tableau.basic[*start] = true;
        }
        tableau
    }

    pub fn values(&self) -> Vec<f64> {
        let mut values: Vec<f64> = vec![0.0; self.columns];
        self.basis.iter().zip(&self.b).for_each(|(&column, &b)| values[column] = b);
        for (column, value) in values.iter_mut().enumerate().filter(|(column, _)| self.turned[*column]) {
            *value = self.upper[column] - *value;
        }
        values
    }

    /// Whether an unknown stands at nothing and outside the basis, where it can be left.
    pub fn is_out(&self, column: usize) -> bool {
        !self.basic[column] && !self.turned[column]
    }

    /// What an unknown's cost adds where it stands, by what [`Tableau::go`] said: the other way round
    /// where it is written as the distance from its upper end.
    pub fn straight(&self, column: usize, reduced: f64) -> f64 {
        if self.turned[column] { -reduced } else { reduced }
    }

    /// The least and the most of an unknown over the face.
    pub fn range(&self, column: usize, value: f64) -> Option<(f64, f64)> {
        if self.barred[column] {
            return Some((value, value));
        }
        let end = |sign: f64| {
            let mut tableau = self.clone();
            let mut cost = vec![0.0; self.columns];
            cost[column] = sign;
            tableau.go(&cost)?;
            Some(tableau.values()[column])
        };
        Some((end(1.0)?, end(-1.0)?))
    }

    /// Goes to a point of least cost and bars what would worsen it by more than `within`; `None` if
    /// it does not arrive.
    pub fn settle(&mut self, cost: &[f64], within: f64) -> Option<()> {
        let reduced = self.go(cost)?;
        for (j, reduced) in reduced.into_iter().enumerate() {
            self.barred[j] |= !self.basic[j] && reduced > within;
        }
        Some(())
    }

    /// Goes to a point of least cost; what each unknown would add to it there, or `None` if it
    /// does not arrive.
    pub fn go(&mut self, cost: &[f64]) -> Option<Vec<f64>> {
        if self.columns == 0 {
            return Some(vec![]);
        }
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
            let descends = |&j: &usize| reduced[j] < -NONE && !self.basic[j] && !self.barred[j];
            let mut open = (0..self.columns).filter(descends);
            let entering = match step < patience {
                true => open.min_by(|&i, &j| reduced[i].total_cmp(&reduced[j])),
                false => open.next(),
            };
            match entering {
                Some(entering) => self.enter(entering, step >= patience, &mut reduced),
                None => return Some(reduced),
            }
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
        let mut row = std::mem::take(&mut self.row);
        row.copy_from_slice(&self.a[i * n..(i + 1) * n]);
        let b = self.b[i];
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
        self.row = row;
        self.basic[self.basis[i]] = false;
        self.basic[j] = true;
        self.basis[i] = j;
    }
}
