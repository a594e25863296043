//! Why a plan is as it is: what each product does, what stopped each need that is not met, and
//! what would be otherwise, tried by working the plan out again, quickly and within a time.

use super::{
    DoseLine, Measure, PlanView,
    load::{LoadedPlan, lock},
    view,
};
use crate::{
    agronomy::plan::{self, Account, Change, Merit, PlanInput, Watch},
    app::{Actor, App, Result, Role},
    ids::PlanId,
    settings::TRY_MILLISECONDS,
};
use std::time::{Duration, Instant};

/// A plan with its reasons.
pub struct PlanWhy {
    pub view: PlanView,
    /// What each product does, in the order of their numbers.
    pub merits: Vec<Merit>,
    /// This plan as it would be worked out just now, found as quickly as what is tried.
    pub base: Option<Tally>,
    /// What was tried; `None` where nothing was: the plan is agreed, or the desk was full.
    pub tried: Option<Vec<Tried>>,
    /// Changes for which there was no time.
    pub untried: usize,
    /// What was found quickly leaves much more missing than the plan: nothing can be told from it.
    pub poor: bool,
}

/// How a plan comes out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tally {
    pub needs: usize,
    /// Needs met to within 5 %.
    pub met: usize,
    pub products: usize,
    pub measure: Measure,
}

/// One thing that was tried, beside the same plan without it.
#[derive(Clone, Debug)]
pub struct Tried {
    pub change: Change,
    /// The product that it is about, where it is about one.
    pub product: Option<String>,
    pub after: Tally,
    pub difference: Difference,
}

/// What is more in one plan than in another; below zero where it is less.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Difference {
    pub met: i64,
    pub products: i64,
    pub cost_minor: f64,
    /// Of all needs, in hundredths of them.
    pub short_percent: f64,
    pub over_percent: f64,
    pub mass_g: f64,
}

impl Tally {
    pub(super) fn of(account: &Account) -> Tally {
        let needs = || account.plots.iter().flat_map(|plot| &plot.needs).filter(|met| met.need_g > 0.0);
        Tally {
            needs: needs().count(),
            met: needs().filter(|met| view::nearly(met.short_g, met.need_g)).count(),
            products: account.products_used,
            measure: Measure::of(account),
        }
    }
}

impl Difference {
    /// From one plan to another.
    pub fn between(from: &Tally, to: &Tally) -> Difference {
        let (was, is) = (&from.measure, &to.measure);
        Difference {
            met: to.met as i64 - from.met as i64,
            products: to.products as i64 - from.products as i64,
            cost_minor: is.cost_minor - was.cost_minor,
            short_percent: is.short_percent - was.short_percent,
            over_percent: is.over_percent - was.over_percent,
            mass_g: is.mass_g - was.mass_g,
        }
    }
}

/// Ends what is tried at a moment.
pub(super) struct Until(pub Instant);

impl Until {
    /// As long as a page may try.
    pub fn shown() -> Until {
        Until(Instant::now() + Duration::from_millis(TRY_MILLISECONDS))
    }
}

impl Watch for Until {
    fn stopped(&self) -> bool {
        Instant::now() >= self.0
    }
}

/// The doses that stay where they are when a plan is worked out again.
pub(super) fn kept(doses: &[DoseLine]) -> Vec<plan::Lock> {
    doses.iter().filter(|line| line.locked).map(lock).collect()
}

/// Of a quick plan that leaves this much more missing than the plan itself, hundredths of all needs,
/// nothing can be told.
pub(super) const POOR: f64 = 2.0;

/// What came of trying.
#[derive(Default)]
struct Trials {
    base: Option<Tally>,
    tried: Vec<Tried>,
    untried: usize,
    poor: bool,
}

/// The plan, then one change after the other until the time is up. `now` is how the plan comes out
/// as it is.
fn try_all(input: &PlanInput, now: &Tally) -> Trials {
    let until = Until::shown();
    let base = plan::quickly(input, &until);
    if until.stopped() {
        return Trials { untried: plan::changes(input, &base).len(), ..Trials::default() };
    }
    if Tally::of(&base.account).measure.short_percent > now.measure.short_percent + POOR {
        return Trials { poor: true, ..Trials::default() };
    }
    let (before, changes) = (Tally::of(&base.account), plan::changes(input, &base));
    let mut tried = Vec::new();
    for change in &changes {
        let after = plan::try_change(input, &base, change, &until);
        if until.stopped() {
            break;
        }
        let product = match change {
            Change::WithoutProduct(product) | Change::PriceRaised { product, .. } => {
                input.products.iter().find(|p| p.key == *product).map(|p| p.name.clone())
            }
            _ => None,
        };
        let after = Tally::of(&after);
        let difference = Difference::between(&before, &after);
        tried.push(Tried { change: change.clone(), product, after, difference });
    }
    Trials { base: Some(before), untried: changes.len() - tried.len(), tried, poor: false }
}

/// What each product does; nothing is tried.
fn reasons(loaded: &LoadedPlan, doses: Vec<DoseLine>) -> PlanWhy {
    let locks: Vec<plan::Lock> = doses.iter().map(lock).collect();
    let merits = plan::merits(&loaded.prepare(&[], &locks).input, &locks);
    PlanWhy { view: view::view(loaded, doses), merits, base: None, tried: None, untried: 0, poor: false }
}

impl App {
    /// A plan with its reasons as far as they are known at once: nothing is tried.
    pub async fn plan_reasons(&self, actor: &Actor, id: PlanId) -> Result<PlanWhy> {
        actor.may(Role::Reader)?;
        let loaded = self.load_plan(id).await?;
        Ok(reasons(&loaded, loaded.dose_lines()))
    }

    /// A plan with its reasons, and for a draft what would be otherwise, which takes seconds.
    pub async fn plan_why(&self, actor: &Actor, id: PlanId) -> Result<PlanWhy> {
        actor.may(Role::Reader)?;
        let loaded = self.load_plan(id).await?;
        let doses = loaded.dose_lines();
        let tried = match loaded.plan.state.as_str() {
            "draft" => {
                let kept = kept(&doses);
                let mut input = loaded.prepare(&kept, &kept).input;
                loaded.thrift().into_iter().for_each(|thrift| thrift.apply(&mut input));
                // No one goal may take all the time there is.
                input.options.time_limit = input.options.time_limit.min(Duration::from_millis(TRY_MILLISECONDS / 2));
                let locks: Vec<plan::Lock> = doses.iter().map(lock).collect();
                let now = Tally::of(&plan::assess(&loaded.prepare(&[], &locks).input, &locks));
                self.desk.aside(move || try_all(&input, &now)).await?
            }
            _ => None,
        };
        let why = reasons(&loaded, doses);
        Ok(match tried {
            Some(Trials { base, tried, untried, poor }) => PlanWhy { base, tried: Some(tried), untried, poor, ..why },
            None => why,
        })
    }
}
