//! What may be traded for what: how much shortage less money would leave, and how much of what
//! nobody needs a little shortage would save. Each point is the plan worked out with one limit
//! set otherwise; choosing a point sets that limit in the draft.

use super::{
    PlanOptions, PlanView, Tally, read_revision, view,
    why::{POOR, Until, kept},
};
use crate::{
    agronomy::plan::{self, Options, PlanInput, Watch},
    app::{Actor, App, Error, Result, Role},
    ids::PlanId,
    settings::TRADE_MILLISECONDS,
    store::{self, Change, Subject, plans::NewPlan},
};
use serde::{Deserialize, Serialize};
use std::time::{Duration, Instant};

/// Shares of what the plan costs without a limit that are tried as budgets.
const BUDGETS: [f64; 5] = [0.0, 0.2, 0.4, 0.6, 0.8];
/// Shortages that are tried, hundredths of all needs.
const ACCEPTED: [f64; 6] = [0.0, 1.0, 2.0, 5.0, 10.0, 20.0];
/// Search nodes for one point: a good answer, not the last hundredth.
const NODES: u64 = 200;

/// A limit of a draft, set to something.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Step {
    /// The most to spend, minor units; `None` is no limit.
    Budget(Option<i64>),
    /// So many hundredths of all needs may be left short, to bring less of what is not needed.
    Accept(f64),
}

/// A plan that could be chosen.
#[derive(Clone, Copy, Debug)]
pub struct Point {
    pub step: Step,
    pub tally: Tally,
    /// The limit is set so now.
    pub present: bool,
}

/// The two curves of a draft.
pub struct TradeOff {
    pub view: PlanView,
    /// Shortage against cost, the cheapest first.
    pub cost: Vec<Point>,
    /// Shortage against excess, the least shortage first.
    pub excess: Vec<Point>,
    /// Points for which there was no time.
    pub left_out: usize,
    /// Nothing was tried, for all places were taken.
    pub busy: bool,
}

/// The point that is chosen, as sent.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct TradeForm {
    pub revision: i64,
    /// "budget" or "accept".
    pub limit: String,
    /// Minor units, or hundredths of all needs; empty for no limit.
    pub to: String,
}

impl Step {
    fn of(form: &TradeForm) -> Result<Step> {
        let wrong = || Error::invalid("to", "Choose one of the points of the curve.".to_owned());
        let to = form.to.trim();
        match form.limit.as_str() {
            "budget" if to.is_empty() => Ok(Step::Budget(None)),
            "budget" => to.parse().ok().filter(|b| *b >= 0).map(|b| Step::Budget(Some(b))).ok_or_else(wrong),
            "accept" => {
                let percent = to.parse().ok().filter(|p: &f64| (0.0..=50.0).contains(p));
                percent.map(Step::Accept).ok_or_else(wrong)
            }
            _ => Err(wrong()),
        }
    }

    /// The name of the limit, as [`TradeForm`] takes it.
    pub fn limit(self) -> &'static str {
        match self {
            Step::Budget(_) => "budget",
            Step::Accept(_) => "accept",
        }
    }

    /// What it is set to, as [`TradeForm`] takes it.
    pub fn to(self) -> String {
        match self {
            Step::Budget(budget) => budget.map(|minor| minor.to_string()).unwrap_or_default(),
            Step::Accept(percent) => percent.to_string(),
        }
    }
}

fn with(input: &PlanInput, step: Step) -> PlanInput {
    let mut input = input.clone();
    match step {
        Step::Budget(budget) => input.options.budget_minor = budget,
        Step::Accept(percent) => input.accept_shortage(percent / 100.0),
    }
    input.options =
        Options { node_limit: NODES, time_limit: Duration::from_millis(TRADE_MILLISECONDS / 4), ..input.options };
    input
}

/// Both curves, and how many points there was no time for.
fn curves(input: &PlanInput, options: &PlanOptions) -> (Vec<Point>, Vec<Point>, usize) {
    let (begun, all) = (Instant::now(), Duration::from_millis(TRADE_MILLISECONDS));
    let mut left_out = 0;
    let present = [Step::Budget(options.budget_minor), Step::Accept(options.accept_short_percent.unwrap_or(0.0))];
    let mut point = |step: Step, until: &Until| {
        if until.stopped() {
            left_out += 1;
            return None;
        }
        let solved = plan::solve_watched(&with(input, step), until);
        if until.stopped() {
            left_out += 1;
            return None;
        }
        Some(Point { step, tally: Tally::of(&solved.account), present: present.contains(&step) })
    };
    // Half of the time for each curve, and what the first leaves to the second.
    let half = Until(begun + all / 2);
    let mut cost = Vec::new();
    if let Some(free) = point(Step::Budget(None), &half).filter(|free| free.tally.measure.cost_minor >= 1.0) {
        let most = free.tally.measure.cost_minor;
        let mut budgets: Vec<i64> = BUDGETS.iter().map(|share| (share * most).round() as i64).collect();
        budgets.extend(options.budget_minor);
        budgets.sort_unstable();
        budgets.dedup();
        cost.extend(budgets.into_iter().filter_map(|budget| point(Step::Budget(Some(budget)), &half)));
        cost.push(free);
    }
    let free_cut_short = cost.is_empty() && half.stopped();
    let whole = Until(begun + all);
    let mut excess: Vec<f64> = ACCEPTED.to_vec();
    excess.extend(options.accept_short_percent.filter(|p| !ACCEPTED.contains(p)));
    excess.sort_by(f64::total_cmp);
    let mut excess: Vec<Point> =
        excess.into_iter().filter_map(|percent| point(Step::Accept(percent), &whole)).collect();
    if free_cut_short {
        left_out += BUDGETS.len();
    }
    // A search that was cut short leaves more missing than its limit lets it: that is no point of a curve.
    let found = cost.len() + excess.len();
    let mut least = f64::INFINITY;
    cost.retain(|point: &Point| {
        let sound = point.tally.measure.short_percent <= least + POOR;
        least = least.min(point.tally.measure.short_percent);
        sound
    });
    let from = excess.first().map_or(0.0, |point| point.tally.measure.short_percent);
    excess.retain(|point| match point.step {
        Step::Accept(percent) => point.tally.measure.short_percent <= from + percent + POOR,
        Step::Budget(_) => true,
    });
    left_out += found - cost.len() - excess.len();
    (cost, excess, left_out)
}

impl App {
    /// The two curves along which a draft can be moved.
    pub async fn trade_off(&self, actor: &Actor, id: PlanId) -> Result<TradeOff> {
        actor.may(Role::Reader)?;
        let loaded = self.load_plan(id).await?;
        let doses = loaded.dose_lines();
        let kept = kept(&doses);
        let (input, options) = (loaded.prepare(&kept, &kept).input, loaded.options.clone());
        let tried = match loaded.plan.state.as_str() {
            "draft" => self.desk.aside(move || curves(&input, &options)).await?,
            _ => Some((vec![], vec![], 0)),
        };
        let busy = tried.is_none();
        let (cost, excess, left_out) = tried.unwrap_or_default();
        Ok(TradeOff { view: view::view(&loaded, doses), cost, excess, left_out, busy })
    }

    /// Sets a limit of a draft; it then waits to be worked out again.
    pub async fn choose_trade_off(&self, actor: &Actor, id: PlanId, form: &TradeForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let step = Step::of(form)?;
        let plan = self.draft(id).await?;
        let mut options = PlanOptions::from_json(&plan.options);
        let said = match step {
            Step::Budget(budget) => {
                options.budget_minor = budget;
                "how much may be spent"
            }
            Step::Accept(percent) => {
                options.accept_short_percent = Some(percent).filter(|p| *p > 0.0);
                "how much may be left short"
            }
        };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let new = NewPlan {
            season: plan.season,
            name: plan.name.clone(),
            guideline: plan.guideline.clone(),
            guideline_version: plan.guideline_version,
            options: serde_json::to_string(&options).map_err(|e| Error::Internal(e.to_string()))?,
            plots: store::plans::plots_of(&mut write, id).await?,
            products: store::plans::products_of(&mut write, id).await?,
        };
        store::undos::keep(&mut write, id, "choices").await?;
        store::plans::update_plan(&mut write, id, read_revision(form.revision, &plan), &new).await?;
        let summary = format!("In the plan {}, {said} was changed along its trade-off.", plan.name);
        Ok(write.commit(Change::new(Subject::Plan(id), "edited", summary)).await?)
    }
}
