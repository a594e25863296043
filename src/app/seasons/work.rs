//! Plans being worked out: at most [`crate::settings::SOLVES_AT_ONCE`] at a time, off the
//! async threads, each on a card that a page can look at and stop. A search that is stopped,
//! or that nobody looks at any more, keeps the best plan it has; the record is written once,
//! when the search has ended.

use super::{Outcome, load, load::LoadedPlan, thrift, unchanged, view};
use crate::{
    agronomy::{
        element::Element,
        plan::{self, Progress},
    },
    app::{Actor, App, Error, Result, Role, seasons::DoseForm},
    ids::{AmendmentId, PersonId, PlanId, PlotId},
    settings::{SOLVE_LEFT_SECONDS, SOLVE_SECONDS_COMPARED, SOLVE_SHOWN_AFTER_MILLISECONDS, SOLVES_AT_ONCE},
    store::{self, Change, Subject, plans::NewDose},
};
use std::{
    collections::BTreeMap,
    sync::{
        Arc, Mutex, MutexGuard, PoisonError,
        atomic::{AtomicBool, Ordering},
    },
    time::{Duration, Instant},
};
use tokio::sync::{Semaphore, watch};

/// How near to the least possible a shortage is a plan's, where the search was stopped.
const NEARLY_LEAST: f64 = 0.05;

/// What is being worked out, by plan. Cheap to clone.
#[derive(Clone, Debug)]
pub(in crate::app) struct Desk {
    slots: Arc<Semaphore>,
    cards: Arc<Mutex<BTreeMap<PlanId, Arc<Card>>>>,
}

/// One plan being worked out.
#[derive(Debug)]
struct Card {
    begun: Instant,
    /// The doses that it keeps.
    locks: Vec<plan::Lock>,
    stop: AtomicBool,
    /// When a page last looked; `None` where nobody is expected to.
    looked: Option<Mutex<Instant>>,
    /// It has a place, and is being worked out.
    started: AtomicBool,
    progress: Mutex<Option<Progress>>,
    /// How it ended, until somebody asks.
    result: Mutex<Option<Result<()>>>,
    ended: watch::Sender<bool>,
}

/// How a request to work a plan out stands after a moment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Begun {
    Done,
    /// It takes longer: [`App::solving`] tells how far it is.
    Running,
}

/// How far the work on a plan is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Solving {
    /// Nothing is being worked out, or it is done.
    Done,
    Running {
        seconds: u64,
        /// It has its turn; before that it waits for one.
        started: bool,
        /// `None` while there is no plan yet.
        progress: Option<Progress>,
        /// It was told to stop and is about to.
        stopping: bool,
    },
}

/// The lock, whatever happened to its last holder: no card is left half written.
fn hold<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

impl Default for Desk {
    fn default() -> Desk {
        Desk { slots: Arc::new(Semaphore::new(SOLVES_AT_ONCE)), cards: Arc::default() }
    }
}

impl Desk {
    /// A card for the plan, and whether it is new: a plan is worked out once at a time. Refused while
    /// it is being worked out with other doses kept, so that nobody's are passed over.
    fn card(&self, plan: PlanId, looked_at: bool, locks: &[plan::Lock]) -> Result<(Arc<Card>, bool)> {
        let mut cards = hold(&self.cards);
        match cards.get(&plan) {
            Some(card) if !*card.ended.borrow() && card.locks == locks => Ok((card.clone(), false)),
            Some(card) if !*card.ended.borrow() => Err(Error::Conflict(
                "This plan is being worked out already, with other doses kept. Nothing was changed: wait until that is \
                 done, or stop it."
                    .into(),
            )),
            _ => {
                let card = Arc::new(Card {
                    begun: Instant::now(),
                    locks: locks.to_vec(),
                    stop: AtomicBool::new(false),
                    looked: looked_at.then(|| Mutex::new(Instant::now())),
                    started: AtomicBool::new(false),
                    progress: Mutex::default(),
                    result: Mutex::default(),
                    ended: watch::channel(false).0,
                });
                cards.insert(plan, card.clone());
                Ok((card, true))
            }
        }
    }

    /// Ends every search; what they have is saved, for which they get a few seconds.
    pub async fn stop_all(&self) {
        let cards: Vec<_> = hold(&self.cards).values().cloned().collect();
        cards.iter().for_each(|card| card.stop.store(true, Ordering::Relaxed));
        for card in cards {
            let _ = tokio::time::timeout(Duration::from_secs(3), card.ended()).await;
        }
    }

    /// Works something out beside the plans, in one of their places; `None` where none is free soon.
    pub async fn aside<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Result<Option<T>> {
        let wait = Duration::from_millis(SOLVE_SHOWN_AFTER_MILLISECONDS);
        let Ok(slot) = tokio::time::timeout(wait, self.slots.clone().acquire_owned()).await else { return Ok(None) };
        let slot = slot.map_err(|_| Error::Busy)?;
        // The place stays taken until the work has ended, though nobody may wait for it any more.
        let work = move || {
            let done = work();
            drop(slot);
            done
        };
        tokio::task::spawn_blocking(work).await.map(Some).map_err(|e| Error::Internal(e.to_string()))
    }

    fn find(&self, plan: PlanId) -> Option<Arc<Card>> {
        hold(&self.cards).get(&plan).cloned()
    }

    /// Takes the card off the desk; the result goes to whoever asks first.
    fn clear(&self, plan: PlanId, card: &Arc<Card>) -> Result<()> {
        let mut cards = hold(&self.cards);
        if cards.get(&plan).is_some_and(|other| Arc::ptr_eq(other, card)) {
            cards.remove(&plan);
        }
        hold(&card.result).take().unwrap_or(Ok(()))
    }
}

impl Card {
    fn end(&self, result: Result<()>) {
        *hold(&self.result) = Some(result);
        self.ended.send_replace(true);
    }

    async fn ended(&self) {
        // The sender lives in the card itself, so waiting ends with the work.
        let _ = self.ended.subscribe().wait_for(|ended| *ended).await;
    }
}

impl plan::Watch for Card {
    fn tell(&self, progress: &Progress) {
        *hold(&self.progress) = Some(*progress);
    }

    fn elapsed(&self) -> Option<Duration> {
        Some(self.begun.elapsed())
    }

    fn stopped(&self) -> bool {
        let left = |looked: &Mutex<Instant>| hold(looked).elapsed() > Duration::from_secs(SOLVE_LEFT_SECONDS);
        self.stop.load(Ordering::Relaxed) || self.looked.as_ref().is_some_and(left)
    }
}

impl App {
    /// Works a draft out anew, keeping the doses that are locked.
    pub async fn solve_plan(&self, actor: &Actor, id: PlanId) -> Result<()> {
        self.solve_plan_keeping(actor, id, &DoseForm::default()).await
    }

    /// The same with doses as typed: those that are locked stay, within the caps. Returns when it is done.
    pub async fn solve_plan_keeping(&self, actor: &Actor, id: PlanId, form: &DoseForm) -> Result<()> {
        let card = self.start_solving(actor, id, form, false).await?;
        card.ended().await;
        self.desk.clear(id, &card)
    }

    /// The same, but after a moment it goes on by itself: [`App::solving`] then tells how far it is.
    pub async fn begin_solving(&self, actor: &Actor, id: PlanId, form: &DoseForm) -> Result<Begun> {
        let card = self.start_solving(actor, id, form, true).await?;
        let moment = Duration::from_millis(SOLVE_SHOWN_AFTER_MILLISECONDS);
        match tokio::time::timeout(moment, card.ended()).await {
            Ok(()) => self.desk.clear(id, &card).map(|()| Begun::Done),
            Err(_) => Ok(Begun::Running),
        }
    }

    /// How far the work on a plan is; an error where it failed since the last look.
    pub fn solving(&self, actor: &Actor, id: PlanId) -> Result<Solving> {
        actor.may(Role::Recorder)?;
        let Some(card) = self.desk.find(id) else { return Ok(Solving::Done) };
        if *card.ended.borrow() {
            return self.desk.clear(id, &card).map(|()| Solving::Done);
        }
        if let Some(looked) = &card.looked {
            *hold(looked) = Instant::now();
        }
        Ok(Solving::Running {
            seconds: card.begun.elapsed().as_secs(),
            started: card.started.load(Ordering::Relaxed),
            progress: *hold(&card.progress),
            stopping: card.stop.load(Ordering::Relaxed),
        })
    }

    /// Ends the search for a better plan; the best found so far is kept.
    pub async fn stop_solving(&self, actor: &Actor, id: PlanId) -> Result<()> {
        actor.may(Role::Recorder)?;
        if let Some(card) = self.desk.find(id) {
            card.stop.store(true, Ordering::Relaxed);
            // It ends within a few search nodes; whoever waits longer sees that it is about to.
            let _ = tokio::time::timeout(Duration::from_secs(1), card.ended()).await;
        }
        Ok(())
    }

    async fn start_solving(&self, actor: &Actor, id: PlanId, form: &DoseForm, looked_at: bool) -> Result<Arc<Card>> {
        actor.may(Role::Recorder)?;
        let plan = self.draft(id).await?;
        unchanged(form, &plan)?;
        let loaded = self.load_plan(id).await?;
        let kept: Vec<_> = form.read(&loaded)?.into_iter().filter(|line| line.locked).collect();
        view::view(&loaded, kept.clone()).caps_kept(actor.liking)?;
        let locks: Vec<plan::Lock> = kept.iter().map(load::lock).collect();
        let (card, new) = self.desk.card(id, looked_at, &locks)?;
        if new {
            let (app, person, card) = (self.clone(), actor.person, card.clone());
            tokio::spawn(async move {
                let result = app.solve_and_save(person, &loaded, &locks, &card).await;
                card.end(result);
            });
        }
        Ok(card)
    }

    async fn solve_and_save(
        &self,
        person: PersonId,
        loaded: &LoadedPlan,
        locks: &[plan::Lock],
        card: &Arc<Card>,
    ) -> Result<()> {
        let id = loaded.plan.id;
        let prepared = loaded.prepare(locks, locks);
        let fingerprint = load::fingerprint(&prepared.input, &loaded.options);
        // What one recipe for each block costs is told beside the same plan bed by bed.
        let (solved, apart, thrift) = {
            let _slot = self.desk.slots.acquire().await.map_err(|_| Error::Busy)?;
            if plan::Watch::stopped(&**card) {
                return Err(Error::Conflict("Stopped before its turn came, so the plan is as it was.".into()));
            }
            card.started.store(true, Ordering::Relaxed);
            let (input, options, card) = (prepared.input.clone(), loaded.options.clone(), card.clone());
            let solve = move || -> Result<_> {
                let begun = Instant::now();
                let (solved, input, thrift) = thrift::solve(&input, &options, &*card);
                let stopped = plan::Watch::stopped(&*card);
                worth_saving(&solved, stopped)?;
                Ok((apart(&input, begun.elapsed(), &*card).filter(|_| !stopped), solved, thrift))
            };
            let (apart, solved, thrift) =
                tokio::task::spawn_blocking(solve).await.map_err(|e| Error::Internal(e.to_string()))??;
            (solved, apart, thrift)
        };
        let short: BTreeMap<(plan::Key, Element), f64> = solved
            .unmet
            .iter()
            .filter(|u| !u.is_of_the_scale())
            .map(|u| ((u.plot.key, u.element), u.short_g))
            .collect();
        let needs = load::need_rows(&prepared, |plot, element| short.get(&(plot, element)).copied().unwrap_or(0.0));
        let doses: Vec<NewDose> = solved
            .doses
            .iter()
            .filter_map(|dose| {
                let amendment = AmendmentId(i64::from(dose.product.key));
                Some(NewDose {
                    plot: PlotId(i64::from(dose.plot.key)),
                    amendment,
                    analysis: loaded.analysis_of(amendment)?,
                    mass_g: dose.weigh_g,
                    locked: dose.locked,
                    by_hand: dose.locked,
                })
            })
            .collect();
        let outcome = Outcome { thrift, ..Outcome::of(&prepared.notes, &solved, apart.as_ref()) }.to_json();
        let mut write = self.store.write(self.now(), Some(person)).await?;
        let revision = loaded.plan.revision;
        store::undos::keep(&mut write, id, "solved").await?;
        store::plans::replace_solution(&mut write, id, revision, &fingerprint, &outcome, &needs, &doses).await?;
        store::plans::note_guideline_version(&mut write, id, loaded.guideline.version).await?;
        let summary = format!("The plan {} was worked out: {} doses.", loaded.plan.name, doses.len());
        write.commit(Change::new(Subject::Plan(id), "solved", summary)).await?;
        Ok(())
    }
}

/// The same without the recipes, where there are any: both together keep the time that the person
/// set, so this gets what the plan itself did not take.
fn bed_by_bed(input: &plan::PlanInput, taken: Duration) -> Option<plan::PlanInput> {
    input.plots.iter().any(|plot| plot.recipe.is_some()).then(|| {
        let mut apart = input.clone();
        apart.plots.iter_mut().for_each(|plot| plot.recipe = None);
        let left = input.options.time_limit.saturating_sub(taken);
        apart.options.time_limit = left.max(Duration::from_secs(SOLVE_SECONDS_COMPARED));
        apart
    })
}

/// Refuses a plan of a search that was stopped before it had one: its doses would take the place of
/// better ones. A shortage known to be within a twentieth of the least is a plan.
fn worth_saving(solved: &plan::Plan, stopped: bool) -> Result<()> {
    let least = solved.stages.iter().find(|stage| stage.goal == plan::Goal::Shortage);
    match least.is_some_and(|stage| stage.proven || stage.gap.is_some_and(|gap| gap <= NEARLY_LEAST)) || !stopped {
        true => Ok(()),
        false => Err(Error::Conflict("Stopped before a plan was found, so the plan is as it was.".into())),
    }
}

/// The same plan bed by bed, where there are recipes, in the time that the plan itself left;
/// `None` where it was stopped, because half a search compares with nothing.
fn apart(input: &plan::PlanInput, spent: Duration, watch: &dyn plan::Watch) -> Option<plan::Plan> {
    if watch.stopped() {
        return None;
    }
    let apart = bed_by_bed(input, spent)?;
    let solved = plan::solve_watched(&apart, watch);
    (!watch.stopped()).then_some(solved)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::plan::{Goal, Watch};

    const PLAN: PlanId = PlanId(7);

    #[test]
    fn a_plan_lies_on_the_desk_once_until_it_has_ended() {
        let desk = Desk::default();
        let (card, new) = desk.card(PLAN, true, &[]).unwrap();
        assert!(new);
        let (same, again) = desk.card(PLAN, true, &[]).unwrap();
        assert!(!again && Arc::ptr_eq(&card, &same));
        card.end(Err(Error::Busy));
        // The result is told once; then there is nothing on the desk, and it can begin anew.
        assert!(matches!(desk.clear(PLAN, &card), Err(Error::Busy)));
        assert!(desk.clear(PLAN, &card).is_ok() && desk.find(PLAN).is_none());
        let (later, new) = desk.card(PLAN, true, &[]).unwrap();
        assert!(new && !Arc::ptr_eq(&card, &later));
        // Clearing the old card leaves the new one where it is.
        assert!(desk.clear(PLAN, &card).is_ok() && desk.find(PLAN).is_some());
    }

    #[test]
    fn doses_kept_by_somebody_else_are_not_passed_over() {
        let desk = Desk::default();
        let lock = |dose_g| plan::Lock { plot: 1, product: 2, dose_g };
        let (card, _) = desk.card(PLAN, true, &[lock(5.0)]).unwrap();
        // The same form sent twice waits for the same work.
        assert!(Arc::ptr_eq(&card, &desk.card(PLAN, true, &[lock(5.0)]).unwrap().0));
        for others in [vec![], vec![lock(7.0)], vec![lock(5.0), plan::Lock { plot: 3, ..lock(5.0) }]] {
            assert!(matches!(desk.card(PLAN, true, &others), Err(Error::Conflict(_))), "{others:?}");
        }
        card.end(Ok(()));
        assert!(desk.card(PLAN, true, &[lock(7.0)]).unwrap().1);
    }

    /// One bed that is short of two elements, one product for each, in a block with one recipe.
    fn bed() -> plan::PlanInput {
        let product = |key, element| plan::Product {
            key,
            content: BTreeMap::from([(element, 0.5)]),
            packs: vec![plan::Pack { mass_g: 1000.0, price_minor: Some(100) }],
            ..plan::Product::default()
        };
        let plot = plan::PlotNeed {
            key: 1,
            area_m2: 10.0,
            need_kg_per_ha: BTreeMap::from([(Element::K, 100.0), (Element::Mg, 50.0)]),
            recipe: Some(1),
            ..plan::PlotNeed::default()
        };
        let products = vec![product(1, Element::K), product(2, Element::Mg)];
        let options = plan::Options { max_products: Some(1), ..plan::Options::default() };
        plan::PlanInput { plots: vec![plot], products, locks: vec![], options }
    }

    #[test]
    fn what_was_stopped_before_there_was_a_plan_is_not_saved() {
        let desk = Desk::default();
        let (card, _) = desk.card(PLAN, true, &[]).unwrap();
        let whole = plan::solve_watched(&bed(), &*card);
        assert!(worth_saving(&whole, true).is_ok(), "{:?}", whole.stages);
        card.stop.store(true, Ordering::Relaxed);
        let stopped = plan::solve_watched(&bed(), &*card);
        assert!(matches!(worth_saving(&stopped, true), Err(Error::Conflict(_))), "{:?}", stopped.stages);
        // What the clock cuts short has its notes, and is saved.
        assert!(worth_saving(&stopped, false).is_ok());
    }

    #[test]
    fn the_comparison_bed_by_bed_is_whole_or_none() {
        let desk = Desk::default();
        let (card, _) = desk.card(PLAN, true, &[]).unwrap();
        let late = Duration::from_secs(3600);
        assert!(apart(&bed(), late, &*card).is_some_and(|plan| plan.proven && !plan.doses.is_empty()));
        let mut alone = bed();
        alone.plots[0].recipe = None;
        assert!(apart(&alone, late, &*card).is_none());
        card.stop.store(true, Ordering::Relaxed);
        assert!(apart(&bed(), late, &*card).is_none());
    }

    #[test]
    fn a_search_ends_when_told_or_when_nobody_looks() {
        let desk = Desk::default();
        let (card, _) = desk.card(PLAN, true, &[]).unwrap();
        assert!(!card.stopped());
        let progress = Progress { goal: Goal::Cost, needs: 3, met: 2, products: 1, cost_minor: 900.0, gap: Some(0.1) };
        card.tell(&progress);
        assert_eq!(*hold(&card.progress), Some(progress));
        card.stop.store(true, Ordering::Relaxed);
        assert!(card.stopped());
        let (left, _) = desk.card(PlanId(8), true, &[]).unwrap();
        let long_ago = Instant::now().checked_sub(Duration::from_secs(SOLVE_LEFT_SECONDS + 1));
        *hold(left.looked.as_ref().expect("a page looks at it")) = long_ago.expect("the machine runs longer");
        assert!(left.stopped());
        // Where nobody was expected to look, it goes on.
        assert!(!desk.card(PlanId(9), false, &[]).unwrap().0.stopped());
    }

    #[test]
    fn a_plan_and_its_comparison_share_the_time() {
        let plot = plan::PlotNeed { recipe: Some(4), area_m2: 10.0, ..plan::PlotNeed::default() };
        let input = plan::PlanInput { plots: vec![plot], ..plan::PlanInput::default() };
        let apart = bed_by_bed(&input, Duration::from_secs(2)).expect("it has a recipe");
        assert_eq!(apart.options.time_limit, input.options.time_limit - Duration::from_secs(2));
        assert_eq!(apart.plots[0].recipe, None);
        let late = bed_by_bed(&input, Duration::from_secs(60)).expect("it has a recipe");
        assert_eq!(late.options.time_limit, Duration::from_secs(SOLVE_SECONDS_COMPARED));
        assert_eq!(bed_by_bed(&apart, Duration::ZERO), None);
    }

    #[tokio::test]
    async fn whoever_waits_is_told_of_the_end() {
        let desk = Desk::default();
        let (card, _) = desk.card(PLAN, false, &[]).unwrap();
        let waiting = tokio::spawn({
            let card = card.clone();
            async move { card.ended().await }
        });
        card.end(Ok(()));
        tokio::time::timeout(Duration::from_secs(5), waiting).await.expect("in time").expect("no panic");
        card.ended().await;
    }
}
