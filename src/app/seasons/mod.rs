//! Seasons and their plans: what grows where, what is planned, agreed and left undone.
//!
//! A plan is solved from plain inputs loaded in one read ([`load`]), off the async
//! threads, at most [`crate::settings::SOLVES_AT_ONCE`] at a time. What the page shows of
//! a plan's doses is worked out from the same inputs by the same code that solved it, so
//! an edited dose and a solved one are judged alike.

mod compare;
mod forms;
mod load;
mod overrules;
mod said;
mod sheet;
mod thrift;
mod trade;
mod undo;
mod view;
mod wanted;
mod why;
mod work;

pub use compare::{Comparison, Side, SidePlot, With};
pub use forms::{BY_RESPONSE, DoseCell, DoseForm, PlanForm, PlanOptions, SeasonForm};
pub use overrules::{OverruleForm, OverruleRow};
pub use sheet::{CAN_LITRES, Heap, Helping, LITRES_PER_M2, Mix, Sheet, SheetCautions, SheetLine, SheetPlot};
pub use thrift::Thrift;
pub use trade::{Point, Step, TradeForm, TradeOff};
pub use view::{CapLine, DoseLine, Measure, NeedLine, Outcome, PlanPlot, PlanView, Simplicity, Stopped};
pub use wanted::{Sold, SoldLine, WantLine, WantRow, Where};
pub use why::{Difference, PlanWhy, Tally, Tried};
pub(in crate::app) use work::Desk;
pub use work::{Begun, Solving};

use super::{
    Actor, App, Error, Problems, Result, Role,
    access::found,
    day, guidelines,
    plots::{PlotRow, SiteRow},
    undone::left_undone,
};
use crate::{
    agronomy::{crop::Crop, need, quantity::LayerConvention, season},
    ids::{CroppingId, PlanId, PlotId, SeasonId, SiteId},
    store::{
        self, Change, Subject,
        plans::{NewDose, NewPlan},
    },
};
use std::collections::{BTreeMap, BTreeSet};

pub use super::undone::LeftBy;
pub use crate::store::{
    plans::{CroppingRow, DoseRow, PlanRow, SeasonRow},
    undos::UndoRow,
};

/// A season with its plans and crops.
#[derive(Clone, Debug)]
pub struct SeasonView {
    pub site: SiteRow,
    pub season: SeasonRow,
    pub plans: Vec<PlanRow>,
    pub plots: Vec<PlotRow>,
    pub crops: BTreeMap<PlotId, Vec<CroppingRow>>,
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
            .commit(Change::new(
                Subject::Season(id),
                "added",
                format!("The season {name} was added, {} to {}.", day(from), day(to)),
            ))
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

    /// Says which crops grow where in a season, all plots named at once or none; crops no longer
    /// named are voided, not deleted. A problem stands by the field `crop_PLOT`.
    pub async fn set_crops(
        &self,
        actor: &Actor,
        season: SeasonId,
        named: &BTreeMap<PlotId, Vec<String>>,
    ) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let mut wanted: BTreeMap<PlotId, BTreeSet<&'static str>> = BTreeMap::new();
        for (plot, names) in named {
            let crops = wanted.entry(*plot).or_default();
            for name in names.iter().map(|name| name.trim()).filter(|name| !name.is_empty()) {
                match Crop::find(name) {
                    Some(crop) => _ = crops.insert(crop.slug),
                    None => problems.add(
                        &format!("crop_{plot}"),
                        format!("“{name}” is not in the list of crops here: choose one that it offers."),
                    ),
                }
            }
        }
        problems.none()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let site = found(store::plans::season(&mut write, season).await?, "season")?.site;
        let before = store::plans::croppings(&mut write, season).await?;
        let mut changes = Vec::new();
        for (plot, crops) in wanted {
            let row = found(store::plots::plot(&mut write, plot).await?.filter(|row| row.site == site), "plot")?;
            let here: Vec<&CroppingRow> = before.iter().filter(|c| c.plot == plot).collect();
            let gone: Vec<CroppingId> =
                here.iter().filter(|c| !crops.contains(c.crop.as_str())).map(|c| c.id).collect();
            let new: Vec<&str> = crops.iter().copied().filter(|slug| here.iter().all(|c| c.crop != *slug)).collect();
            if gone.is_empty() && new.is_empty() {
                continue;
            }
            for id in gone {
                store::plans::void_cropping(&mut write, id, "no longer planned").await?;
            }
            for crop in new {
                store::plans::insert_cropping(&mut write, plot, season, crop, None, "").await?;
            }
            let names: Vec<&str> = crops.iter().filter_map(|slug| Some(Crop::find(slug)?.name)).collect();
            let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            changes.push(Change::new(Subject::Plot(plot), "cropped", format!("Crops of {}: {names}.", row.code)));
        }
        if !changes.is_empty() {
            write.commit_all(&changes).await?;
        }
        Ok(())
    }

    /// The version of the guideline that a new plan would follow; `None` where there is none.
    async fn version_followed(&self, key: &str) -> Result<Option<i64>> {
        let followed = guidelines::find(&mut *self.store.read().await?, key, None).await?;
        Ok(followed.map(|followed| followed.version))
    }

    /// Makes a draft plan and solves it.
    pub async fn add_plan(&self, actor: &Actor, season: SeasonId, form: &PlanForm) -> Result<PlanId> {
        let id = self.draft_plan(actor, season, form).await?;
        self.solve_plan(actor, id).await?;
        Ok(id)
    }

    /// Makes a draft plan that waits to be worked out.
    pub async fn draft_plan(&self, actor: &Actor, season: SeasonId, form: &PlanForm) -> Result<PlanId> {
        actor.may(Role::Recorder)?;
        let new = form.read(season, self.today(), self.version_followed(&form.guideline).await?)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::plans::season(&mut write, season).await?, "season")?;
        let id = store::plans::insert_plan(&mut write, &new).await?;
        write.commit(Change::new(Subject::Plan(id), "added", format!("The plan {} was drafted.", new.name))).await?;
        Ok(id)
    }

    /// The site and season of a plan, with its row.
    pub async fn plan_place(&self, actor: &Actor, id: PlanId) -> Result<(SiteRow, SeasonRow, PlanRow)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plan = found(store::plans::plan(&mut read, id).await?, "plan")?;
        let season = found(store::plans::season(&mut read, plan.season).await?, "season")?;
        let site = found(store::plots::site(&mut read, season.site).await?, "site")?;
        Ok((site, season, plan))
    }

    /// What a plan is made from as its form shows it, with its season.
    pub async fn plan_form(&self, actor: &Actor, id: PlanId) -> Result<(SeasonRow, PlanRow, PlanForm)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plan = found(store::plans::plan(&mut read, id).await?, "plan")?;
        let season = found(store::plans::season(&mut read, plan.season).await?, "season")?;
        let plots = store::plans::plots_of(&mut read, id).await?;
        let products = store::plans::products_of(&mut read, id).await?;
        let options = PlanOptions::from_json(&plan.options);
        let form = PlanForm::of(&plan.name, &plan.guideline, &options, &plots, &products);
        let form = PlanForm { revision: plan.revision, ..form };
        Ok((season, plan, form))
    }

    /// Changes what a draft is made from; it then waits to be worked out again.
    pub async fn edit_plan(&self, actor: &Actor, id: PlanId, form: &PlanForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let plan = self.draft(id).await?;
        let new: NewPlan = form.read(plan.season, self.today(), self.version_followed(&form.guideline).await?)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        store::undos::keep(&mut write, id, "choices").await?;
        store::plans::update_plan(&mut write, id, read_revision(form.revision, &plan), &new).await?;
        write
            .commit(Change::new(
                Subject::Plan(id),
                "edited",
                format!("The choices of the plan {} were changed.", new.name),
            ))
            .await?;
        Ok(())
    }

    /// A plan as it stands, judged on today's record.
    pub async fn plan(&self, actor: &Actor, id: PlanId) -> Result<PlanView> {
        actor.may(Role::Reader)?;
        let loaded = self.load_plan(id).await?;
        let doses = loaded.dose_lines();
        Ok(view::view(&loaded, doses))
    }

    /// A plan with doses as typed, judged but not saved: the live check while editing.
    pub async fn check_doses(&self, actor: &Actor, id: PlanId, form: &DoseForm) -> Result<PlanView> {
        actor.may(Role::Reader)?;
        let loaded = self.load_plan(id).await?;
        let doses = form.read(&loaded)?;
        Ok(view::view(&loaded, doses))
    }

    /// Saves doses as typed. Going beyond a cap is allowed to nobody here: the caps are hard.
    pub async fn save_doses(&self, actor: &Actor, id: PlanId, form: &DoseForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let plan = self.draft(id).await?;
        unchanged(form, &plan)?;
        let loaded = self.load_plan(id).await?;
        let lines = form.read(&loaded)?;
        // Saved as it was, it changes nothing, and there is nothing to undo.
        let same = |d: &DoseLine| {
            loaded.doses.iter().any(|s| DoseLine::saved(s) == *d) || d.id.is_none() && d.mass_g <= 0.0 && !d.locked
        };
        let changed = !lines.iter().all(same);
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
        let (revision, fingerprint) = (loaded.plan.revision, loaded.plan.inputs_sha256.clone().unwrap_or_default());
        let judged = view::view(&loaded, lines);
        judged.caps_kept(actor.liking)?;
        let (needs, outcome) = (judged.need_rows(), judged.outcome.to_json());
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        if changed {
            store::undos::keep(&mut write, id, "doses").await?;
        }
        store::plans::replace_solution(&mut write, id, revision, &fingerprint, &outcome, &needs, &doses).await?;
        store::plans::note_guideline_version(&mut write, id, loaded.guideline.version).await?;
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
        view::view(&loaded, loaded.dose_lines()).caps_kept(actor.liking)?;
        let expected = self.expected_of_plan(id).await?;
        let splits = loaded.splits.iter().map(|rule| (**rule).clone()).collect();
        let outcome = Outcome { splits: Some(splits), ..Outcome::from_json(&loaded.plan.outcome) };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        store::plans::agree(&mut write, id, plan.revision, &outcome.to_json()).await?;
        for forecast in &expected {
            store::forecasts::insert(&mut write, forecast).await?;
        }
        write.commit(Change::new(Subject::Plan(id), "agreed", format!("The plan {} was agreed.", plan.name))).await?;
        Ok(())
    }

    /// Takes an agreement back, as long as nothing of the plan was put on.
    pub async fn reopen_plan(&self, actor: &Actor, id: PlanId) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let plan = found(store::plans::plan(&mut write, id).await?, "plan")?;
        match store::plans::reopen(&mut write, id, plan.revision).await {
            Err(store::Error::Stale) => {
                return Err(Error::Conflict(
                    "Something of this plan was put on already, so it stays agreed. Make a new plan for the rest."
                        .into(),
                ));
            }
            done => done?,
        }
        let summary = format!("The plan {} is a draft again.", plan.name);
        write.commit(Change::new(Subject::Plan(id), "reopened", summary)).await?;
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

    /// What agreed plans, and the newest closed one, left undone on a plot, the newest first.
    pub async fn carry_over(&self, actor: &Actor, plot: PlotId) -> Result<Vec<LeftBy>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::plots::plot(&mut read, plot).await?, "plot")?;
        let site = found(store::plots::site(&mut read, row.site).await?, "site")?;
        let mut left = left_undone(&mut read, &site, None).await?.remove(&plot).unwrap_or_default();
        left.retain(|one| !one.is_empty());
        Ok(left)
    }

    /// What the plans before this one left undone, on each of its plots where they did.
    pub async fn carried_into(&self, actor: &Actor, plan: PlanId) -> Result<BTreeMap<PlotId, Vec<LeftBy>>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::plans::plan(&mut read, plan).await?, "plan")?;
        let season = found(store::plans::season(&mut read, row.season).await?, "season")?;
        let site = found(store::plots::site(&mut read, season.site).await?, "site")?;
        let plots = store::plans::plots_of(&mut read, plan).await?;
        let mut left = left_undone(&mut read, &site, Some((&season, plan))).await?;
        left.values_mut().for_each(|of_plot| of_plot.retain(|one| !one.is_empty()));
        left.retain(|plot, of_plot| plots.contains(plot) && !of_plot.is_empty());
        Ok(left)
    }

    /// A plan that may still be changed.
    async fn draft(&self, id: PlanId) -> Result<PlanRow> {
        let plan = found(store::plans::plan(&mut *self.store.read().await?, id).await?, "plan")?;
        match plan.state.as_str() {
            "draft" => Ok(plan),
            _ => Err(Error::Conflict("This plan is agreed, so it no longer changes. Make a new draft instead.".into())),
        }
    }
}

/// Refuses doses that were typed over an older state of the plan.
fn unchanged(form: &DoseForm, plan: &PlanRow) -> Result<()> {
    if form.revision.is_some_and(|revision| revision != plan.revision) {
        Err(store::Error::Stale.into())
    } else {
        Ok(())
    }
}

/// The revision that a form was read at, or the plan's own where the form does not say.
fn read_revision(typed: i64, plan: &PlanRow) -> i64 {
    if typed == 0 { plan.revision } else { typed }
}

/// Wishes for the trade from the options of a plan and the habits of its site. A plan that
/// names no day is spread on the day of judging, which is today for a draft and the day of
/// the agreement ever after, or when its season starts.
fn wishes(options: &PlanOptions, site: &SiteRow, season: &SeasonRow, judged_on: jiff::civil::Date) -> season::Wishes {
    let mut wishes = options.wishes(options.spread_on.unwrap_or_else(|| judged_on.max(season.starts_on)));
    if let Some(convention) = site.layer.as_deref().and_then(LayerConvention::find) {
        wishes.way.by = need::By::Convention(convention);
    }
    wishes
}
