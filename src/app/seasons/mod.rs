//! Seasons and their plans: what grows where, what is planned, agreed and left undone.
//!
//! A plan is solved from plain inputs loaded in one read ([`load`]), off the async
//! threads, at most [`crate::settings::SOLVES_AT_ONCE`] at a time. What the page shows of
//! a plan's doses is worked out from the same inputs by the same code that solved it, so
//! an edited dose and a solved one are judged alike.

mod forms;
mod load;
mod view;

pub use forms::{DoseCell, DoseForm, PlanForm, PlanOptions, SeasonForm};
pub use view::{CapLine, DoseLine, NeedLine, Outcome, PlanPlot, PlanView};

use super::{
    Actor, App, Error, Result, Role,
    access::found,
    plots::{PlotRow, SiteRow},
    standing,
};
use crate::{
    agronomy::{crop::Crop, element::Element, need, plan, quantity::LayerConvention, season},
    ids::{AmendmentId, CroppingId, PlanId, PlotId, SeasonId, SiteId},
    store::{
        self, Change, Subject,
        plans::{NeedRow, NewDose, NewPlan},
    },
};
use std::collections::{BTreeMap, BTreeSet};

pub use crate::store::plans::{CroppingRow, DoseRow, PlanRow, SeasonRow};

/// A season with its plans and crops.
#[derive(Clone, Debug)]
pub struct SeasonView {
    pub site: SiteRow,
    pub season: SeasonRow,
    pub plans: Vec<PlanRow>,
    pub plots: Vec<PlotRow>,
    pub crops: BTreeMap<PlotId, Vec<CroppingRow>>,
}

/// What the last agreed plan left undone on a plot, by element and by dose.
#[derive(Clone, Debug, Default)]
pub struct CarryOver {
    /// The newest plan that was agreed with this plot in it.
    pub plan: Option<PlanRow>,
    pub season: Option<SeasonRow>,
    /// Need that a cap, a pack, a budget or a choice stopped, g on the plot, and why it was a need.
    pub needs: Vec<NeedRow>,
    /// Doses not put on, or only in part.
    pub doses: Vec<DoseRow>,
}

impl App {
    /// The seasons of a site, newest first.
    pub async fn seasons(&self, actor: &Actor, site: SiteId) -> Result<Vec<SeasonRow>> {
        actor.may(Role::Reader)?;
        Ok(store::plans::seasons(&mut *self.store.read().await?, site).await?)
    }

    /// Adds a named span of a site's years.
    pub async fn add_season(&self, actor: &Actor, site: SiteId, form: &SeasonForm) -> Result<SeasonId> {
        actor.may(Role::Recorder)?;
        let (name, from, to) = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::plots::site(&mut write, site).await?, "site")?;
        if store::plans::seasons(&mut write, site).await?.iter().any(|s| s.name == name) {
            return Err(Error::invalid("name", format!("There is a season “{name}” already.")));
        }
        let id = store::plans::insert_season(&mut write, site, &name, from, to).await?;
        write
            .commit(Change::new(Subject::Season(id), "added", format!("The season {name} was added, {from} to {to}.")))
            .await?;
        Ok(id)
    }

    /// One season with what is planned and grown in it.
    pub async fn season(&self, actor: &Actor, id: SeasonId) -> Result<SeasonView> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let season = found(store::plans::season(&mut read, id).await?, "season")?;
        let site = found(store::plots::site(&mut read, season.site).await?, "site")?;
        let plans = store::plans::plans(&mut read, id).await?;
        let plots = store::plots::plots(&mut read, season.site, false).await?;
        let mut crops: BTreeMap<PlotId, Vec<CroppingRow>> = BTreeMap::new();
        for row in store::plans::croppings(&mut read, id).await? {
            crops.entry(row.plot).or_default().push(row);
        }
        Ok(SeasonView { site, season, plans, plots, crops })
    }

    /// Says which crops grow on a plot in a season; those no longer named are voided, not deleted.
    pub async fn set_crops(&self, actor: &Actor, season: SeasonId, plot: PlotId, named: &[String]) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut wanted = BTreeSet::new();
        for name in named.iter().map(|n| n.trim()).filter(|n| !n.is_empty()) {
            let crop = Crop::find(name)
                .ok_or_else(|| Error::invalid("crops", format!("“{name}” is not a crop in the list here.")))?;
            wanted.insert(crop.slug);
        }
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::plans::season(&mut write, season).await?, "season")?;
        let plot_row = found(store::plots::plot(&mut write, plot).await?, "plot")?;
        let before: Vec<CroppingRow> =
            store::plans::croppings(&mut write, season).await?.into_iter().filter(|c| c.plot == plot).collect();
        let mut changed: Option<CroppingId> = None;
        for row in before.iter().filter(|row| !wanted.contains(row.crop.as_str())) {
            store::plans::void_cropping(&mut write, row.id, "no longer planned").await?;
            changed = Some(row.id);
        }
        for crop in wanted.iter().filter(|slug| before.iter().all(|row| row.crop != **slug)) {
            changed = Some(store::plans::insert_cropping(&mut write, plot, season, crop, None, "").await?);
        }
        let Some(_) = changed else { return Ok(()) };
        let names = wanted.into_iter().collect::<Vec<_>>().join(", ");
        let summary = format!("Crops of {}: {}.", plot_row.code, if names.is_empty() { "none" } else { &names });
        write.commit(Change::new(Subject::Plot(plot), "cropped", summary)).await?;
        Ok(())
    }

    /// Makes a draft plan and solves it.
    pub async fn add_plan(&self, actor: &Actor, season: SeasonId, form: &PlanForm) -> Result<PlanId> {
        actor.may(Role::Recorder)?;
        let new = form.read(season, self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::plans::season(&mut write, season).await?, "season")?;
        let id = store::plans::insert_plan(&mut write, &new).await?;
        write.commit(Change::new(Subject::Plan(id), "added", format!("The plan {} was drafted.", new.name))).await?;
        self.solve_plan(actor, id).await?;
        Ok(id)
    }

    /// Changes what a draft is made from, and solves it again.
    pub async fn edit_plan(&self, actor: &Actor, id: PlanId, form: &PlanForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let plan = self.draft(id).await?;
        let new: NewPlan = form.read(plan.season, self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        store::plans::update_plan(&mut write, id, plan.revision, &new).await?;
        write
            .commit(Change::new(
                Subject::Plan(id),
                "edited",
                format!("The choices of the plan {} were changed.", new.name),
            ))
            .await?;
        self.solve_plan(actor, id).await
    }

    /// Works a draft out anew, keeping the doses that are locked.
    pub async fn solve_plan(&self, actor: &Actor, id: PlanId) -> Result<()> {
        actor.may(Role::Recorder)?;
        self.draft(id).await?;
        let loaded = self.load_plan(id).await?;
        let locks: Vec<plan::Lock> = loaded.doses.iter().filter(|d| d.locked).map(load::lock).collect();
        let prepared = loaded.prepare(&locks);
        let fingerprint = load::fingerprint(&prepared.input);
        let input = prepared.input.clone();
        let solved = self.off_the_async_threads(move || plan::solve(&input)).await?;
        let short: BTreeMap<(plan::Key, Element), f64> =
            solved.unmet.iter().map(|u| ((u.plot.key, u.element), u.short_g)).collect();
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
        let outcome = Outcome::of(&prepared.notes, &solved).to_json();
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let revision = loaded.plan.revision;
        store::plans::replace_solution(&mut write, id, revision, &fingerprint, &outcome, &needs, &doses).await?;
        let summary = format!("The plan {} was worked out: {} doses.", loaded.plan.name, doses.len());
        write.commit(Change::new(Subject::Plan(id), "solved", summary)).await?;
        Ok(())
    }

    /// A plan as it stands, judged on today's record.
    pub async fn plan(&self, actor: &Actor, id: PlanId) -> Result<PlanView> {
        actor.may(Role::Reader)?;
        let loaded = self.load_plan(id).await?;
        let doses = loaded.dose_lines();
        Ok(view::view(loaded, doses))
    }

    /// A plan with doses as typed, judged but not saved: the live check while editing.
    pub async fn check_doses(&self, actor: &Actor, id: PlanId, form: &DoseForm) -> Result<PlanView> {
        actor.may(Role::Reader)?;
        let loaded = self.load_plan(id).await?;
        let doses = form.read(&loaded)?;
        Ok(view::view(loaded, doses))
    }

    /// Saves doses as typed. Going beyond a cap is allowed to nobody here: the caps are hard.
    pub async fn save_doses(&self, actor: &Actor, id: PlanId, form: &DoseForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        self.draft(id).await?;
        let loaded = self.load_plan(id).await?;
        let lines = form.read(&loaded)?;
        let doses: Vec<NewDose> = lines
            .iter()
            .filter(|line| line.mass_g > 0.0 || line.locked)
            .filter_map(|line| {
                Some(NewDose {
                    plot: line.plot,
                    amendment: line.amendment,
                    analysis: loaded.analysis_of(line.amendment)?,
                    mass_g: line.mass_g,
                    locked: line.locked,
                    by_hand: line.by_hand,
                })
            })
            .collect();
        let (plan, fingerprint) = (loaded.plan.clone(), loaded.plan.inputs_sha256.clone().unwrap_or_default());
        let judged = view::view(loaded, lines);
        if let Some(over) = judged.first_cap_exceeded() {
            return Err(Error::invalid("", over));
        }
        let needs = judged.need_rows();
        let outcome = judged.outcome.edited().to_json();
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        store::plans::replace_solution(&mut write, id, plan.revision, &fingerprint, &outcome, &needs, &doses).await?;
        write
            .commit(Change::new(Subject::Plan(id), "edited", format!("Doses of {} were edited by hand.", plan.name)))
            .await?;
        Ok(())
    }

    /// Agrees a draft: from now on its doses are fixed and wait to be put on.
    pub async fn agree_plan(&self, actor: &Actor, id: PlanId) -> Result<()> {
        actor.may(Role::Recorder)?;
        let plan = self.draft(id).await?;
        let loaded = self.load_plan(id).await?;
        let lines = loaded.dose_lines();
        let judged = view::view(loaded, lines);
        if let Some(over) = judged.first_cap_exceeded() {
            return Err(Error::Conflict(format!("The plan cannot be agreed as it is. {over}")));
        }
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        store::plans::agree(&mut write, id, plan.revision).await?;
        write.commit(Change::new(Subject::Plan(id), "agreed", format!("The plan {} was agreed.", plan.name))).await?;
        Ok(())
    }

    /// Closes an agreed plan: what was not put on is carried over.
    pub async fn close_plan(&self, actor: &Actor, id: PlanId) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let plan = found(store::plans::plan(&mut write, id).await?, "plan")?;
        if plan.state != "agreed" {
            return Err(Error::Conflict("Only an agreed plan can be closed.".into()));
        }
        store::plans::close(&mut write, id, plan.revision).await?;
        write.commit(Change::new(Subject::Plan(id), "closed", format!("The plan {} was closed.", plan.name))).await?;
        Ok(())
    }

    /// What the newest agreed or closed plan with this plot left undone there.
    pub async fn carry_over(&self, actor: &Actor, plot: PlotId) -> Result<CarryOver> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot_row = found(store::plots::plot(&mut read, plot).await?, "plot")?;
        for season in store::plans::seasons(&mut read, plot_row.site).await? {
            for plan in store::plans::plans(&mut read, season.id).await? {
                if plan.state == "draft" || !store::plans::plots_of(&mut read, plan.id).await?.contains(&plot) {
                    continue;
                }
                let mut needs = store::plans::needs_of(&mut read, plan.id).await?;
                needs.retain(|n| n.plot == plot && n.short_g > 0.0);
                let mut doses = store::plans::doses_of(&mut read, plan.id).await?;
                doses.retain(|d| d.plot == plot && d.applied_g < d.mass_g);
                return Ok(CarryOver { plan: Some(plan), season: Some(season), needs, doses });
            }
        }
        Ok(CarryOver::default())
    }

    /// A plan that may still be changed.
    async fn draft(&self, id: PlanId) -> Result<PlanRow> {
        let plan = found(store::plans::plan(&mut *self.store.read().await?, id).await?, "plan")?;
        match plan.state.as_str() {
            "draft" => Ok(plan),
            _ => Err(Error::Conflict("This plan is agreed, so it no longer changes. Make a new draft instead.".into())),
        }
    }

    async fn off_the_async_threads<T: Send + 'static>(&self, work: impl FnOnce() -> T + Send + 'static) -> Result<T> {
        let _slot = self.solving.acquire().await.map_err(|_| Error::Busy)?;
        tokio::task::spawn_blocking(work).await.map_err(|e| Error::Internal(e.to_string()))
    }
}

/// Wishes for the trade from the options of a plan and the habits of its site.
fn wishes(options: &PlanOptions, site: &SiteRow, season: &SeasonRow, today: jiff::civil::Date) -> season::Wishes {
    let mut wishes = options.wishes(options.spread_on.unwrap_or_else(|| today.max(season.starts_on)));
    if let Some(convention) = site.layer.as_deref().and_then(LayerConvention::find) {
        wishes.way.by = need::By::Convention(convention);
    }
    wishes
}

/// The guideline that a plan follows.
fn guideline_of(plan: &PlanRow) -> Result<std::borrow::Cow<'static, crate::agronomy::guideline::Guideline>> {
    standing::guideline(&plan.guideline).ok_or(Error::NotFound("guideline"))
}
