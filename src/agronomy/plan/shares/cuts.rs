//! How good a choice within some ranges can be at best, by all that was told of choices so far: each
//! [`Cut`] bounds every choice from below, and a small linear programme finds the least that all of
//! them and the budget leave, packs cut open (Benders, "Partitioning procedures for solving
//! mixed-variables programming problems", Numerische Mathematik 4 (1962) 238-252, from memory). It is
//! solved by the dual simplex, for after a new cut or other ranges what was best stays a bound.
//!
//! What is said to be the least is counted from the cuts themselves and the weights that the simplex
//! gives them, so that rounding in the tableau can make a bound worse, but never wrong.

pub(super) use super::bound::Cut;
use super::ladder::{Choice, Means};

/// The most steps of all products together that are looked at so.
const COLUMNS: usize = 1_000;
/// Off by no more than this is nothing.
const OFF: f64 = 1e-9;
/// As near to none or one of a column is that.
const WHOLE: f64 = 1e-6;
/// No smaller number is pivoted on.
const PIVOT: f64 = 1e-8;
/// Pivots after which the tableau is made anew.
const ANEW: usize = 400;

/// Which levels of each product may be chosen, from and to: 0 is no use at all, above it come the steps.
pub(super) type Levels = Vec<(usize, usize)>;

/// All cuts, over columns of which each is one step more of a product.
pub(super) struct Cuts {
    /// Product and level of each column, product by product.
    columns: Vec<(usize, usize)>,
    /// By product: what is chosen in any case, and the highest level that the budget has room for.
    pub all: Levels,
    /// By column, as a share of the budget, and what is left of it beyond what is chosen in any case.
    cost: Vec<f64>,
    budget: f64,
    /// What no step comes to, and what each column earns.
    cuts: Vec<(f64, Vec<f64>)>,
    tableau: Tableau,
    /// Multiplications in all, more or less.
    pub work: u64,
}

/// What the cuts leave within some ranges.
pub(super) struct Least {
    /// No choice comes to less.
    pub least: f64,
    /// By column: how much of it is chosen, 0 to 1.
    pub part: Vec<f64>,
    /// By column: by how much more a choice comes to, at least, that has it otherwise than it is best by itself.
    otherwise: Vec<f64>,
}

/// Where ranges can be parted.
#[derive(Clone, Copy)]
pub(super) struct Split {
    pub p: usize,
    /// What is below this level on one side, and what is not on the other.
    pub level: usize,
    /// How much of it the point has.
    pub part: f64,
}

impl Cuts {
    /// No cut yet; `None` where there is no budget, or there are too many steps.
    pub fn new(means: &Means) -> Option<Cuts> {
        let budget = means.budget?;
        let unit = budget.max(1.0);
        let (mut all, mut columns, mut cost) = (Levels::new(), Vec::new(), Vec::new());
        let mut left = budget;
        for (p, ladder) in means.ladders.iter().enumerate() {
            let price = |level: usize| level.checked_sub(1).map_or(0.0, |step| ladder.steps[step].1);
            let free = (0..=ladder.steps.len()).rev().find(|&level| price(level) <= 0.0).unwrap_or(0);
            let most = (free..=ladder.steps.len()).rev().find(|&level| price(level) <= budget * (1.0 + 1e-12) + 1e-9);
            // Where products are counted, what is had for nothing counts too.
            let from = if means.count.is_some() && ladder.counts { 0 } else { free };
            let most = most.unwrap_or(free);
            left -= price(from);
            columns.extend((from + 1..=most).map(|level| (p, level)));
            cost.extend((from + 1..=most).map(|level| (price(level) - price(level - 1)) / unit));
            all.push((from, most));
        }
        if columns.len() > COLUMNS {
            return None;
        }
        let mut tableau = Tableau::new(columns.len());
        // Choices within a hair of the budget are allowed.
        let budget = (left + budget * 1e-12 + 1e-9) / unit;
        tableau.add(budget, &cost, 0.0);
        if let Some(count) = means.count {
            let first = |&(p, level): &(usize, usize)| f64::from(u8::from(level == 1 && means.ladders[p].counts));
            tableau.add(count as f64, &columns.iter().map(first).collect::<Vec<_>>(), 0.0);
        }
        Some(Cuts { all, cost, budget, columns, cuts: Vec::new(), tableau, work: 0 })
    }

    /// Takes on a cut.
    pub fn add(&mut self, cut: &Cut) {
        let in_any_case: f64 = cut.earned.iter().zip(&self.all).map(|(earned, (from, _))| earned[*from]).sum();
        let nothing = cut.nothing - in_any_case;
        let earned: Vec<f64> =
            self.columns.iter().map(|&(p, level)| cut.earned[p][level] - cut.earned[p][level - 1]).collect();
        self.tableau.add_cut(nothing, &earned);
        self.cuts.push((nothing, earned));
        self.work += (self.tableau.rows() * self.columns.len()) as u64;
    }

    /// What a cut tells of a point between choices.
    pub fn told(&self, cut: &Cut, part: &[f64]) -> f64 {
        let in_any_case: f64 = cut.earned.iter().zip(&self.all).map(|(earned, (from, _))| earned[*from]).sum();
        let earned = self
            .columns
            .iter()
            .zip(part)
            .map(|(&(p, level), part)| part * (cut.earned[p][level] - cut.earned[p][level - 1]));
        cut.nothing - in_any_case - earned.sum::<f64>()
    }

    /// The least within `levels`; `None` where no choice in them keeps to the budget.
    pub fn least(&mut self, levels: &Levels) -> Option<Least> {
        for (column, &(p, level)) in self.columns.iter().enumerate() {
            let (from, to) = levels[p];
            let one = |is: bool| f64::from(u8::from(is));
            self.tableau.range(column, one(level <= from), one(level <= to));
        }
        if !self.tableau.is_possible() {
            return None;
        }
        if !self.tableau.solve() || self.tableau.pivots > ANEW {
            self.anew();
            self.tableau.solve();
        }
        self.work += std::mem::take(&mut self.tableau.work);
        let (least, otherwise) = self.bound();
        Some(Least { least, part: self.tableau.part(), otherwise })
    }

    /// Makes the tableau anew from the cuts.
    fn anew(&mut self) {
        let mut tableau = self.tableau.emptied();
        self.cuts.iter().for_each(|(nothing, earned)| tableau.add_cut(*nothing, earned));
        self.tableau = tableau;
    }

    /// The bound that the simplex's weights of the cuts and its price of money prove.
    fn bound(&mut self) -> (f64, Vec<f64>) {
        let (money, weights) = self.tableau.weights(self.cuts.len());
        let all: f64 = weights.iter().sum();
        let scale = if all > 1.0 { 1.0 / all } else { 1.0 };
        let mut bound = 0.0;
        let mut earned = vec![0.0; self.columns.len()];
        for ((nothing, gain), weight) in self.cuts.iter().zip(&weights).filter(|(_, weight)| **weight > 0.0) {
            bound += scale * weight * nothing;
            earned.iter_mut().zip(gain).for_each(|(sum, gain)| *sum += scale * weight * gain);
            self.work += gain.len() as u64;
        }
        bound -= money[0] * self.budget;
        for (column, earned) in earned.iter_mut().enumerate() {
            let (low, high) = self.tableau.ends(column);
            let net = *earned - money[0] * self.cost[column] - money[1] * self.tableau.counted(column);
            bound -= if net > 0.0 { net * high } else { net * low };
            *earned = net;
        }
        (bound - money[1] * self.tableau.count(), earned)
    }

    /// Narrows levels to those of choices that can come to less than `than`.
    pub fn narrow(&self, least: &Least, levels: &mut Levels, than: f64) {
        for (&(p, level), by) in self.columns.iter().zip(&least.otherwise) {
            let (from, to) = &mut levels[p];
            if level > *from && level <= *to && least.least + by.abs() >= than {
                if *by > 0.0 { *from = level } else { *to = level - 1 }
            }
        }
    }

    /// The choice that a point is, where it is one; or where to part what it is not.
    pub fn read(&self, part: &[f64]) -> Result<Choice, Vec<Split>> {
        let mut levels: Vec<usize> = self.all.iter().map(|(from, _)| *from).collect();
        let mut split = Vec::new();
        let mut from = 0;
        for columns in self.columns.chunk_by(|a, b| a.0 == b.0) {
            let steps = &part[from..from + columns.len()];
            from += columns.len();
            let (p, first) = columns[0];
            let whole = |x: &f64| *x < WHOLE || *x > 1.0 - WHOLE;
            let some: f64 = steps.iter().sum();
            if steps.iter().all(whole) && steps.windows(2).all(|pair| pair[0] >= pair[1] - WHOLE) {
                levels[p] += some.round() as usize;
            } else {
                // Below this level lies as much as is chosen in all.
                let below = (some.floor() as usize).min(steps.len() - 1);
                split.push(Split { p, level: first + below, part: some - below as f64 });
            }
        }
        if split.is_empty() { Ok(levels.into_iter().map(|level| level.checked_sub(1)).collect()) } else { Err(split) }
    }

    /// Where to part a choice from the others within some levels.
    pub fn beside(&self, choice: &Choice, levels: &Levels) -> Vec<Split> {
        let open = levels.iter().zip(choice).enumerate().filter(|(_, ((from, to), _))| from < to);
        let split = open.map(|(p, ((from, _), step))| {
            let level = step.map_or(0, |step| step + 1);
            Split { p, level: if level > *from { level } else { from + 1 }, part: 0.5 }
        });
        split.collect()
    }

    /// How much of each product a point has, as a room between those of its steps.
    pub fn room(&self, part: &[f64], means: &Means) -> Vec<f64> {
        let at = |p: usize, level: usize| level.checked_sub(1).map_or(0.0, |step| means.ladders[p].steps[step].0);
        let mut room: Vec<f64> = self.all.iter().enumerate().map(|(p, (from, _))| at(p, *from)).collect();
        for (&(p, level), part) in self.columns.iter().zip(part).filter(|(_, part)| **part > 0.0) {
            room[p] += part * (at(p, level) - at(p, level - 1));
        }
        room
    }
}

/// A dual simplex: one unknown for each column, one for the least itself, and one for what is left
/// of each row. Only the columns of those outside the basis are kept.
struct Tableau {
    columns: usize,
    /// By unknown: the ends of what it may be.
    ends: Vec<(f64, f64)>,
    /// By row: the unknown in the basis; by column: the one outside.
    inside: Vec<usize>,
    outside: Vec<usize>,
    /// By unknown outside: it stands at its upper end.
    high: Vec<bool>,
    /// Row by row: an unknown inside is `right` less the row times those outside.
    a: Vec<f64>,
    right: Vec<f64>,
    value: Vec<f64>,
    reduced: Vec<f64>,
    /// The rows before the cuts, as they were given.
    given: Vec<(f64, Vec<f64>)>,
    pivots: usize,
    work: u64,
}

impl Tableau {
    fn new(columns: usize) -> Tableau {
        let mut ends = vec![(0.0, 1.0); columns];
        ends.push((0.0, f64::INFINITY));
        let mut reduced = vec![0.0; columns + 1];
        reduced[columns] = 1.0;
        Tableau {
            columns,
            ends,
            inside: Vec::new(),
            outside: (0..=columns).collect(),
            high: vec![false; columns + 1],
            a: Vec::new(),
            right: Vec::new(),
            value: Vec::new(),
            reduced,
            given: Vec::new(),
            pivots: 0,
            work: 0,
        }
    }

    fn rows(&self) -> usize {
        self.inside.len()
    }

    /// A tableau with the rows before the cuts alone, within the same ends.
    fn emptied(&self) -> Tableau {
        let mut tableau = Tableau::new(self.columns);
        tableau.ends[..self.columns].copy_from_slice(&self.ends[..self.columns]);
        self.given.iter().for_each(|(right, terms)| tableau.add(*right, terms, 0.0));
        tableau
    }

    /// A row before the cuts: the terms of the columns come to at most `right`.
    fn add(&mut self, right: f64, terms: &[f64], least: f64) {
        self.given.push((right, terms.to_vec()));
        self.row(right, terms, least);
    }

    /// The least is no less than `nothing` less what the columns earn.
    fn add_cut(&mut self, nothing: f64, earned: &[f64]) {
        let terms: Vec<f64> = earned.iter().map(|earned| -earned).collect();
        self.row(-nothing, &terms, -1.0);
    }

    fn row(&mut self, right: f64, terms: &[f64], least: f64) {
        let width = self.columns + 1;
        let unknowns = self.ends.len();
        let term = |unknown: usize| match unknown {
            column if column < self.columns => terms[column],
            column if column == self.columns => least,
            _ => 0.0,
        };
        let mut row: Vec<f64> = self.outside.iter().map(|&unknown| term(unknown)).collect();
        let mut rest = right;
        for (i, &unknown) in self.inside.iter().enumerate() {
            let times = term(unknown);
            if times != 0.0 {
                row.iter_mut().zip(&self.a[i * width..(i + 1) * width]).for_each(|(a, b)| *a -= times * b);
                rest -= times * self.right[i];
            }
        }
        self.a.extend(row);
        self.right.push(rest);
        self.value.push(0.0);
        self.inside.push(unknowns);
        self.ends.push((0.0, f64::INFINITY));
        self.high.push(false);
    }

    fn range(&mut self, column: usize, low: f64, high: f64) {
        self.ends[column] = (low, high);
    }

    fn at(&self, unknown: usize) -> f64 {
        let (low, high) = self.ends[unknown];
        if self.high[unknown] { high } else { low }
    }

    /// Whether the rows before the cuts leave anything within the ends.
    fn is_possible(&self) -> bool {
        self.given.iter().all(|(right, terms)| {
            let least = terms.iter().zip(&self.ends).map(|(a, (low, high))| if *a > 0.0 { a * low } else { a * high });
            least.sum::<f64>() <= *right
        })
    }

    /// What is outside stands where it costs least, and what is inside follows.
    fn place(&mut self) {
        for (&unknown, reduced) in self.outside.iter().zip(&self.reduced) {
            self.high[unknown] = *reduced < 0.0 && self.ends[unknown].1.is_finite();
        }
        let at: Vec<f64> = self.outside.iter().map(|&unknown| self.at(unknown)).collect();
        for ((value, right), row) in self.value.iter_mut().zip(&self.right).zip(self.a.chunks_exact(self.columns + 1)) {
            *value = right - row.iter().zip(&at).map(|(a, x)| a * x).sum::<f64>();
        }
        self.work += self.a.len() as u64;
    }

    /// Goes to the least; false where nothing is possible. Where it does not arrive in a reasonable
    /// number of steps it stays where it is, which is a bound too.
    fn solve(&mut self) -> bool {
        self.place();
        let width = self.columns + 1;
        for _ in 0..20 * (width + self.rows()) {
            let off = |i: usize| {
                let (low, high) = self.ends[self.inside[i]];
                (low - self.value[i]).max(self.value[i] - high)
            };
            let worst = (0..self.rows()).map(|i| (off(i), i)).filter(|(off, _)| *off > OFF);
            let Some((_, i)) = worst.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1))) else { return true };
            let (low, high) = self.ends[self.inside[i]];
            let below = self.value[i] < low;
            // Raised by what may rise or fall outside; first what soonest would be better the other way.
            let mut best: Option<(f64, f64, usize)> = None;
            for (j, (&a, &reduced)) in self.a[i * width..(i + 1) * width].iter().zip(&self.reduced).enumerate() {
                let unknown = self.outside[j];
                let rises = if below { -a } else { a };
                let rises = if self.high[unknown] { -rises } else { rises };
                if rises <= PIVOT || self.ends[unknown].0 == self.ends[unknown].1 {
                    continue;
                }
                let ratio = reduced.abs() / rises;
                let sooner =
                    best.is_none_or(|(least, by, _)| ratio < least - 1e-12 || ratio <= least + 1e-12 && rises > by);
                if sooner {
                    best = Some((ratio, rises, j));
                }
            }
            let Some((_, _, j)) = best else { return false };
            self.pivot(i, j, if below { low } else { high }, !below);
        }
        true
    }

    /// The unknown inside at row `i` leaves to stand at `end`, the one outside at `j` comes in.
    fn pivot(&mut self, i: usize, j: usize, end: f64, high: bool) {
        let width = self.columns + 1;
        let by = self.a[i * width + j];
        let step = (self.value[i] - end) / by;
        let entering = self.at(self.outside[j]) + step;
        let mut row: Vec<f64> = self.a[i * width..(i + 1) * width].iter().map(|a| a / by).collect();
        row[j] = 1.0 / by;
        let right = self.right[i] / by;
        for (k, other) in self.a.chunks_exact_mut(width).enumerate().filter(|(k, _)| *k != i) {
            let times = other[j];
            if times != 0.0 {
                other.iter_mut().zip(&row).for_each(|(a, r)| *a -= times * r);
                other[j] = -times / by;
                self.right[k] -= times * right;
                self.value[k] -= times * step;
            }
        }
        let times = self.reduced[j];
        self.reduced.iter_mut().zip(&row).for_each(|(d, r)| *d -= times * r);
        self.reduced[j] = -times / by;
        self.a[i * width..(i + 1) * width].copy_from_slice(&row);
        self.right[i] = right;
        self.value[i] = entering;
        let leaving = self.inside[i];
        self.inside[i] = self.outside[j];
        self.outside[j] = leaving;
        self.high[leaving] = high;
        self.pivots += 1;
        self.work += self.a.len() as u64;
    }

    /// How much of each column is chosen.
    fn part(&self) -> Vec<f64> {
        let mut part: Vec<f64> = (0..self.columns).map(|column| self.at(column)).collect();
        for (&unknown, value) in self.inside.iter().zip(&self.value).filter(|(unknown, _)| **unknown < self.columns) {
            part[unknown] = value.clamp(0.0, 1.0);
        }
        part
    }

    /// The prices of the rows before the cuts (0 where there is none), and the weight of each cut.
    fn weights(&self, cuts: usize) -> ([f64; 2], Vec<f64>) {
        let before = self.columns + 1;
        let first = before + self.given.len();
        let (mut money, mut weights) = ([0.0; 2], vec![0.0; cuts]);
        for (&unknown, reduced) in self.outside.iter().zip(&self.reduced) {
            match unknown {
                cut if cut >= first => weights[cut - first] = reduced.max(0.0),
                row if row >= before => money[row - before] = reduced.max(0.0),
                _ => {}
            }
        }
        (money, weights)
    }

    fn ends(&self, column: usize) -> (f64, f64) {
        self.ends[column]
    }

    fn counted(&self, column: usize) -> f64 {
        self.given.get(1).map_or(0.0, |(_, terms)| terms[column])
    }

    fn count(&self) -> f64 {
        self.given.get(1).map_or(0.0, |(right, _)| *right)
    }
}
