//! The solver's face: a linear model with some whole-number columns, a trait that
//! minimises it, and microlp behind that trait. Knows nothing of soil; never returns an
//! answer whose rows it has not checked itself.

use std::time::Duration;

/// A linear model: minimise cost over columns within bounds, subject to rows.
#[derive(Clone, Debug, Default)]
pub struct Model {
    pub columns: Vec<Column>,
    pub rows: Vec<Row>,
}

/// One unknown.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    pub lower: f64,
    pub upper: f64,
    pub whole: bool,
    pub cost: f64,
}

/// One condition on a weighted sum of columns.
#[derive(Clone, Debug)]
pub struct Row {
    pub terms: Vec<(usize, f64)>,
    pub sense: Sense,
    pub bound: f64,
}

/// How the sum compares with the bound.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Sense {
    AtMost,
    Equal,
}

impl Model {
    /// Adds an unknown without cost and returns its number.
    pub fn column(&mut self, lower: f64, upper: f64, whole: bool) -> usize {
        self.columns.push(Column { lower, upper, whole, cost: 0.0 });
        self.columns.len() - 1
    }

    /// Adds a condition; one without terms is left out.
    pub fn row(&mut self, terms: Vec<(usize, f64)>, sense: Sense, bound: f64) {
        if !terms.is_empty() {
            self.rows.push(Row { terms, sense, bound });
        }
    }

    /// Replaces the objective.
    pub fn minimise(&mut self, terms: &[(usize, f64)]) {
        self.columns.iter_mut().for_each(|c| c.cost = 0.0);
        for &(column, cost) in terms {
            self.columns[column].cost += cost;
        }
    }

    /// The objective at these values.
    pub fn objective(&self, values: &[f64]) -> f64 {
        self.columns.iter().zip(values).map(|(c, v)| c.cost * v).sum()
    }

    /// Whether every bound, row and whole number holds within `tolerance`, relative to
    /// the size of the terms compared.
    pub fn holds(&self, values: &[f64], tolerance: f64) -> bool {
        let columns = self.columns.iter().zip(values).all(|(c, &v)| {
            let slack = tolerance * (1.0 + v.abs());
            v.is_finite() && v >= c.lower - slack && v <= c.upper + slack && (!c.whole || (v - v.round()).abs() <= 1e-5)
        });
        columns
            && self.rows.iter().all(|row| {
                let sum: f64 = row.terms.iter().map(|&(c, a)| a * values[c]).sum();
                let size: f64 = row.terms.iter().map(|&(c, a)| (a * values[c]).abs()).fold(1.0, f64::max);
                let over = sum - row.bound;
                let slack = tolerance * size.max(row.bound.abs());
                over <= slack && (row.sense == Sense::AtMost || over >= -slack)
            })
    }
}

/// How hard to try.
#[derive(Clone, Copy)]
pub struct Effort<'a> {
    /// Relative distance from the best possible that is good enough.
    pub gap: f64,
    /// Search nodes: the repeatable limit.
    pub nodes: u64,
    /// Guard on the clock.
    pub time: Duration,
    /// Asked now and then with the gap reached: whether to go on.
    pub go_on: &'a dyn Fn(Option<f64>) -> bool,
}

/// An answer whose bounds and rows were checked.
#[derive(Clone, Debug)]
pub struct Answer {
    pub values: Vec<f64>,
    /// Relative distance from the best possible; `None` if the solver knows no bound.
    pub gap: Option<f64>,
    /// Proven within the gap asked for.
    pub proven: bool,
    /// Time spent, for sharing out what is left.
    pub spent: Duration,
}

/// Why there is no answer.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Failure {
    /// No point satisfies the model.
    Infeasible,
    /// A limit was reached before any point was found; time spent.
    OutOfTime(Duration),
    /// The solver gave up, or its answer did not stand up to our check.
    Broken,
}

/// Something that minimises a [`Model`].
pub trait Solver {
    /// The best point found, starting from `start` where that is given and satisfies the model.
    fn minimise(&self, model: &Model, effort: Effort, start: Option<&[f64]>) -> Result<Answer, Failure>;
}

/// Search nodes between two questions whether to go on.
const NODES_BETWEEN: u64 = 20;

/// The pure-Rust mixed-integer solver microlp 0.7.
#[derive(Clone, Copy, Debug, Default)]
pub struct Microlp;

impl Solver for Microlp {
    fn minimise(&self, model: &Model, effort: Effort, start: Option<&[f64]>) -> Result<Answer, Failure> {
        match attempt(model, effort, start, true) {
            // Presolve is where doubtful rows are met first; one try without it is cheap.
            Err(Failure::Broken) => attempt(model, effort, start, false),
            other => other,
        }
    }
}

fn attempt(model: &Model, effort: Effort, start: Option<&[f64]>, presolve: bool) -> Result<Answer, Failure> {
    use microlp::{ComparisonOp, Error, OptimizationDirection, Problem, SolveOptions, SolveOutcome, TerminationReason};
    let mut problem = Problem::new(OptimizationDirection::Minimize);
    let fixed = |c: &Column| c.lower == c.upper && !c.whole;
    let columns: Vec<_> = model
        .columns
        .iter()
        .map(|c| match c.whole {
            _ if fixed(c) => None,
            true => Some(problem.add_integer_var(c.cost, (c.lower.ceil() as i32, c.upper.min(1e9).floor() as i32))),
            false => Some(problem.add_var(c.cost, (c.lower, c.upper))),
        })
        .collect();
    for row in &model.rows {
        let terms: Vec<_> = row.terms.iter().filter_map(|&(c, a)| Some((columns[c]?, a))).collect();
        let given: f64 =
            row.terms.iter().filter(|t| columns[t.0].is_none()).map(|&(c, a)| a * model.columns[c].lower).sum();
        if terms.is_empty() {
            continue; // nothing to decide; our own check sees whether it holds
        }
        let op = match row.sense {
            Sense::AtMost => ComparisonOp::Le,
            Sense::Equal => ComparisonOp::Eq,
        };
        problem.add_constraint(&terms[..], op, row.bound - given);
    }
    let mut options = SolveOptions::default();
    options.mip_gap = effort.gap.clamp(0.0, 1.0);
    options.node_limit = Some(effort.nodes.min(NODES_BETWEEN));
    options.time_limit = Some(effort.time);
    options.presolve = presolve;
    options.warm_start =
        start.map(|values| columns.iter().zip(values).filter_map(|(c, &v)| Some(((*c)?, v))).collect());
    let mut outcome = problem.solve_with(options);
    while let Ok(so_far) = outcome {
        let stats = so_far.stats();
        let nodes = effort.nodes.saturating_sub(stats.nodes_solved).min(NODES_BETWEEN);
        let between = so_far.termination_reason() == TerminationReason::NodeLimit && nodes > 0;
        if !between || stats.elapsed >= effort.time || !(effort.go_on)(stats.gap) {
            outcome = Ok(so_far);
            break;
        }
        let mut more = so_far.last_resume_options();
        more.node_limit = Some(nodes);
        more.time_limit = Some(effort.time - stats.elapsed);
        outcome = so_far.resume_with(more);
    }
    let solution = match outcome {
        Ok(SolveOutcome::Solution(solution)) => solution,
        Ok(SolveOutcome::Interrupted(cut)) => return Err(Failure::OutOfTime(cut.stats().elapsed)),
        Err(Error::Infeasible) => return Err(Failure::Infeasible),
        Err(_) => return Err(Failure::Broken),
    };
    let values: Vec<f64> = columns
        .iter()
        .zip(&model.columns)
        .map(|(&v, c)| {
            let Some(v) = v else { return c.lower };
            let value = solution.var_value(v);
            // A point within the tolerance of its bound is on it.
            if c.whole { value.round() } else { value.clamp(c.lower, c.upper) }
        })
        .collect();
    if !model.holds(&values, 2e-6) {
        return Err(Failure::Broken);
    }
    let optimal = solution.status() == microlp::SolutionStatus::Optimal;
    let gap = if optimal { Some(0.0) } else { solution.gap() };
    let proven = optimal || gap.is_some_and(|g| g <= effort.gap + 1e-12);
    Ok(Answer { values, gap, proven, spent: solution.stats().elapsed })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Minimise `cost` subject to `matrix` x ≥ `least`, x ≥ 0.
    fn least_cost(cost: &[f64], matrix: &[&[f64]], least: &[f64]) -> Vec<f64> {
        let mut model = Model::default();
        let x: Vec<_> = cost.iter().map(|_| model.column(0.0, f64::INFINITY, false)).collect();
        for (row, &b) in matrix.iter().zip(least) {
            model.row(x.iter().zip(*row).map(|(&c, &a)| (c, -a)).collect(), Sense::AtMost, -b);
        }
        model.minimise(&x.iter().copied().zip(cost.iter().copied()).collect::<Vec<_>>());
        let effort = Effort { gap: 0.0, nodes: 100, time: Duration::from_secs(60), go_on: &|_| true };
        Microlp.minimise(&model, effort, None).expect("a textbook problem has an answer").values
    }

    fn close(got: &[f64], want: &[f64]) {
        assert!(got.iter().zip(want).all(|(g, w)| (g - w).abs() < 1e-6), "{got:?}, not {want:?}");
    }

    #[test]
    fn textbook_least_cost_mixtures() {
        // NCERT, Mathematics, class XII, linear programming, fertilisers F1 and F2 (statement
        // read at byjus.com/question-answer/there-are-two-types-of-fertilizers-f-1-and-f-2-f-1-consists-of-2;
        // answer 100 and 80 kg for 1000, by hand: both rows bind).
        close(&least_cost(&[6.0, 5.0], &[&[0.10, 0.05], &[0.06, 0.10]], &[14.0, 14.0]), &[100.0, 80.0]);
        // Read at justaaa.com/advanced-math/245137, printed answer 4 and 2 for 22.
        close(&least_cost(&[3.0, 5.0], &[&[10.0, 2.0], &[6.0, 6.0], &[0.0, 1.0]], &[20.0, 36.0, 2.0]), &[4.0, 2.0]);
        // Read at goprep.co, linear programming q. 15, printed answer A 30 kg, B 210 kg for 1980.
        close(&least_cost(&[10.0, 8.0], &[&[0.12, 0.04], &[0.05, 0.05]], &[12.0, 12.0]), &[30.0, 210.0]);
    }

    #[test]
    fn an_impossible_model_is_said_to_be_so() {
        let mut model = Model::default();
        let x = model.column(0.0, 1.0, true);
        model.row(vec![(x, -1.0)], Sense::AtMost, -2.0);
        let effort = Effort { gap: 0.0, nodes: 100, time: Duration::from_secs(60), go_on: &|_| true };
        assert_eq!(Microlp.minimise(&model, effort, None).unwrap_err(), Failure::Infeasible);
    }

    #[test]
    fn the_check_sees_a_broken_row_and_a_broken_whole_number() {
        let mut model = Model::default();
        let x = model.column(0.0, 10.0, true);
        model.row(vec![(x, 1.0)], Sense::AtMost, 3.0);
        assert!(model.holds(&[3.0], 1e-6));
        assert!(!model.holds(&[3.1], 1e-6));
        assert!(!model.holds(&[2.5], 1e-6));
        assert!(!model.holds(&[f64::NAN], 1e-6));
    }
}
