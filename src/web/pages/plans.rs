//! A season plan: the table of plots and products, which can be edited, and what may be done
//! with it: check, save, work out, agree, close.

use super::{
    guidelines::path_of,
    plan_caps::{Care, caps_read, cares, moved, simplicity, thrift, to_buy},
    plan_carried::CarriedOver,
    plan_live::{plan_words, plot_words},
    plan_plot::{PlotBlock, plot_block, spacing_source},
    plan_words::{lead, together},
    plan_work::{undo_words, worked_out},
    plots::{HistoryPage, titled},
    seasons::under_season,
};
use crate::{
    app::{
        self,
        history::Subject,
        seasons::{DoseForm, LeftBy, PlanPlot, PlanView},
    },
    ids::{PlanId, PlotId, SiteId},
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Path, Query},
    http::StatusCode,
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use std::collections::BTreeMap;

/// A plan.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/show.html")]
pub struct PlanPage {
    frame: Frame,
    plan: PlanId,
    site: SiteId,
    revision: i64,
    /// `draft`, `agreed` or `closed`.
    state: String,
    /// A draft before somebody who may change it.
    editable: bool,
    invented: bool,
    stale: bool,
    /// That its guideline was edited since it was worked out, in a sentence.
    moved: Option<String>,
    /// The page of the guideline that it follows, in its version.
    guideline: String,
    /// What it does, what it costs, how well it was searched.
    lead: Vec<String>,
    unmet: Vec<String>,
    /// How many needs those sentences are about.
    undone: usize,
    warnings: Vec<String>,
    notes: Vec<String>,
    columns: Vec<Column>,
    /// Products of the plan that no plot gets; shown as columns when asked for.
    idle: Vec<String>,
    /// The idle ones are shown too.
    all: bool,
    rows: Vec<Row>,
    /// One recipe for each block beside bed by bed: what, with recipes, bed by bed.
    simplicity: Vec<(&'static str, String, String)>,
    /// What spending less gives up: what, so, and without that choice.
    thrift: Vec<(&'static str, String, String)>,
    /// What to beware of in the products used.
    cares: Vec<Care>,
    plots: Vec<PlotBlock>,
    /// Many plots: each is folded.
    folded: bool,
    /// The last change, where it can be undone.
    undo: Option<String>,
    /// What is to be bought.
    buy: Vec<String>,
    carried: CarriedOver,
    /// How the whole comes out, in a line that stays in sight.
    told: String,
    form: Form,
}

/// So many plots stand open one below the other; of more, each is folded.
const OPEN: usize = 6;

/// A product of the table.
struct Column {
    name: String,
    /// All plots together.
    total: String,
}

/// A plot of the table.
struct Row {
    plot: PlotId,
    title: String,
    /// How the plot comes out, in a few words.
    told: String,
    cells: Vec<Cell>,
}

/// A dose of the table.
struct Cell {
    grams: String,
    lock: String,
    product: String,
    /// Planned, as a mass; empty for none.
    planned: String,
    /// Put on so far, where anything was.
    applied: Option<String>,
    complete: bool,
}

/// What the address of a plan may ask for.
#[derive(Debug, Default, Deserialize)]
pub struct Wanted {
    /// `all` shows products that no plot gets.
    #[serde(default)]
    products: String,
}

pub(super) fn path(plan: PlanId) -> String {
    format!("/plans/{plan}")
}

/// The frame of a page that lies under a plan.
pub(super) fn under_plan(cx: &Cx, view: &PlanView, title: impl Into<String>) -> Frame {
    plan_frame(cx, view, title).under(path(view.plan.id), &view.plan.name)
}

fn plan_frame(cx: &Cx, view: &PlanView, title: impl Into<String>) -> Frame {
    under_season(cx, &view.site, title)
        .under(format!("/seasons/{}", view.season.id), format!("Season {}", view.season.name))
}

impl PlanPage {
    fn new(cx: &Cx, view: &PlanView, over: &BTreeMap<PlotId, Vec<LeftBy>>, all: bool, form: Option<Form>) -> PlanPage {
        let frame = plan_frame(cx, view, view.plan.name.clone());
        let draft = view.plan.state == "draft";
        let editable = draft && frame.may_record();
        let named = |id| {
            // What was typed for a product keeps its column.
            form.as_ref().is_some_and(|form| {
                view.plots.iter().any(|p| !form.value(&DoseForm::grams_field(p.standing.plot.id, id)).is_empty())
            })
        };
        let used: Vec<_> = view.used().map(|row| row.id).collect();
        let (shown, idle): (Vec<_>, Vec<_>) =
            view.products.iter().partition(|row| used.contains(&row.id) || named(row.id) || all && editable);
        let columns = shown.iter().map(|row| Column {
            name: row.amendment.name.clone(),
            total: view.totals_g.get(&row.id).filter(|g| **g > 0.0).map_or_else(String::new, |g| show::mass(*g)),
        });
        let rows = view.plots.iter().map(|plot| {
            let id = plot.standing.plot.id;
            let cells = shown.iter().map(|row| {
                let dose = view.dose(id, row.id);
                let mass = dose.map_or(0.0, |d| d.mass_g);
                let applied = dose.map_or(0.0, |d| d.applied_g);
                Cell {
                    grams: DoseForm::grams_field(id, row.id),
                    lock: DoseForm::lock_field(id, row.id),
                    product: row.amendment.name.clone(),
                    planned: if mass > 0.0 { show::mass(mass) } else { String::new() },
                    applied: (applied > 0.0).then(|| show::mass(applied)),
                    complete: applied >= mass,
                }
            });
            let told = plot_words(plot, cx.actor.liking);
            Row { plot: id, title: titled(&plot.standing.plot), told, cells: cells.collect() }
        });
        let over_of = |plot: &PlanPlot| over.get(&plot.standing.plot.id).map_or(&[][..], Vec::as_slice);
        let notes: Vec<String> =
            view.outcome.notes.iter().filter(|note| !view.warnings.contains(note)).cloned().collect();
        let told = |sentences: &[String]| together(&caps_read(view, sentences, cx.actor.liking));
        PlanPage {
            plan: view.plan.id,
            site: view.site.id,
            revision: view.plan.revision,
            state: view.plan.state.clone(),
            editable,
            invented: view.site.invented,
            stale: view.stale,
            moved: moved(view),
            guideline: path_of(&view.plan.guideline, view.guideline_version),
            lead: lead(view),
            unmet: told(&view.unmet()),
            undone: view.unmet().len(),
            warnings: told(&view.warnings),
            notes: told(&notes),
            columns: columns.collect(),
            idle: idle.iter().map(|row| row.amendment.name.clone()).collect(),
            all,
            folded: view.plots.len() > OPEN,
            rows: rows.collect(),
            simplicity: simplicity(view),
            thrift: thrift(view),
            cares: cares(view),
            undo: view.undo.as_ref().filter(|_| editable).map(undo_words),
            buy: to_buy(view),
            told: plan_words(view),
            carried: CarriedOver::of(view, over, cx.actor.liking),
            plots: view
                .plots
                .iter()
                .map(|plot| plot_block(view, plot, over_of(plot), cx.actor.liking, draft && frame.may_steward()))
                .collect(),
            form: form.unwrap_or_else(|| doses_form(view)),
            frame,
        }
    }

    async fn load(cx: &Cx, plan: PlanId, all: bool, form: Option<Form>) -> Result<PlanPage> {
        let view = cx.app.plan(&cx.actor, plan).await?;
        let over = cx.app.carried_into(&cx.actor, plan).await?;
        Ok(PlanPage::new(cx, &view, &over, all, form))
    }

    /// Who says how many days lime and manure want between them.
    fn spacing_source(&self) -> String {
        spacing_source()
    }

    fn kept(&self, cell: &Cell) -> bool {
        !self.form.value(&cell.lock).is_empty()
    }
}

/// The fields of the table as the plan holds them.
fn doses_form(view: &PlanView) -> Form {
    let mut form = Form::new();
    for plot in &view.plots {
        for dose in &plot.doses {
            let text = DoseForm::grams_text(dose.mass_g);
            let text = if text.is_empty() && dose.locked { "0".into() } else { text };
            form.set(DoseForm::grams_field(dose.plot, dose.amendment), text);
            if dose.locked {
                form.set(DoseForm::lock_field(dose.plot, dose.amendment), "on");
            }
        }
    }
    form
}

/// `GET /plans/{plan}`
pub async fn show(cx: Cx, Path(plan): Path<PlanId>, Query(wanted): Query<Wanted>) -> Result<PlanPage> {
    PlanPage::load(&cx, plan, wanted.products == "all", None).await
}

/// The plan again, with what was typed and why it was not taken.
pub(super) async fn refused(cx: &Cx, plan: PlanId, form: Form, error: app::Error) -> Result<Response> {
    let all = form.value("products") == "all";
    // Caps are judged on what was typed, so that every dose beyond one has its sentence.
    let stale = matches!(error, app::Error::Conflict(_));
    let mut form = form.refused(error)?;
    if stale {
        form.problem("", "Load the page again to see the plan as it is now.");
    }
    // Totals go with what was typed, but for what could not be read or cannot be weighed.
    let typed = |whole: bool| {
        let fields = form.pairs().filter(|(name, _)| whole || form.problems(name).is_empty());
        DoseForm::from_fields(fields)
    };
    let view = match cx.app.check_doses(&cx.actor, plan, &typed(true)).await {
        Ok(view) => view,
        Err(app::Error::Invalid(_)) => cx.app.check_doses(&cx.actor, plan, &typed(false)).await?,
        Err(error) => return Err(error.into()),
    };
    let over = cx.app.carried_into(&cx.actor, plan).await?;
    let page = PlanPage::new(cx, &view, &over, all, Some(form));
    Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
}

/// `POST /plans/{plan}/check`: what the doses as typed would do; nothing is saved.
pub async fn check(cx: Cx, Path(plan): Path<PlanId>, mut form: Form) -> Result<Response> {
    let view = match cx.app.check_doses(&cx.actor, plan, &DoseForm::from_fields(form.pairs())).await {
        Ok(view) => view,
        Err(error) => return refused(&cx, plan, form, error).await,
    };
    for problem in view.cap_problems(cx.actor.liking).0 {
        form.problem(problem.field, problem.message);
    }
    let over = cx.app.carried_into(&cx.actor, plan).await?;
    let mut page = PlanPage::new(&cx, &view, &over, form.value("products") == "all", Some(form));
    if page.form.wrong() == 0 {
        page.frame.said.get_or_insert_with(|| "Checked, not saved yet.".into());
    }
    Ok(page.into_response())
}

/// `POST /plans/{plan}/doses`
pub async fn save(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<Response> {
    match cx.app.save_doses(&cx.actor, plan, &DoseForm::from_fields(form.pairs())).await {
        Ok(()) => Ok(see(path(plan)).say("The doses are saved.").into_response()),
        Err(error) => refused(&cx, plan, form, error).await,
    }
}

/// `POST /plans/{plan}/solve`: works it out again; doses that are kept stay as typed.
pub async fn solve(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<Response> {
    match cx.app.begin_solving(&cx.actor, plan, &DoseForm::from_fields(form.pairs())).await {
        Ok(begun) => Ok(worked_out(plan, begun, "The plan is worked out again.").into_response()),
        Err(error) => refused(&cx, plan, form, error).await,
    }
}

/// `POST /plans/{plan}/agree`: saves the doses as typed, then agrees them.
pub async fn agree(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<Response> {
    let doses = DoseForm::from_fields(form.pairs());
    let saved = if doses.cells.is_empty() { Ok(()) } else { cx.app.save_doses(&cx.actor, plan, &doses).await };
    let done = match saved {
        Ok(()) => cx.app.agree_plan(&cx.actor, plan).await,
        refused => refused,
    };
    match done {
        Ok(()) => Ok(see(path(plan)).say("The plan is agreed. Print the weigh-out sheet.").into_response()),
        Err(error) => refused(&cx, plan, form, error).await,
    }
}

/// `POST /plans/{plan}/reopen`
pub async fn reopen(cx: Cx, Path(plan): Path<PlanId>) -> Result<Response> {
    match cx.app.reopen_plan(&cx.actor, plan).await {
        Ok(()) => Ok(see(path(plan)).say("The plan is a draft again.").into_response()),
        Err(error) => refused(&cx, plan, Form::new(), error).await,
    }
}

/// `POST /plans/{plan}/close`
pub async fn close(cx: Cx, Path(plan): Path<PlanId>) -> Result<Response> {
    match cx.app.close_plan(&cx.actor, plan).await {
        Ok(()) => Ok(see(path(plan)).say("The plan is closed. What was not put on is carried over.").into_response()),
        Err(error) => refused(&cx, plan, Form::new(), error).await,
    }
}

/// `GET /plans/{plan}/history`
pub async fn history(cx: Cx, Path(plan): Path<PlanId>) -> Result<HistoryPage> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let lines = cx.app.history(&cx.actor, Subject::Plan(plan)).await?;
    let frame = under_plan(&cx, &view, format!("History of {}", view.plan.name));
    Ok(HistoryPage { frame, lines })
}
