//! A season plan: what it does, in plain words; the table of plots and products, which can
//! be edited; each plot with its standing strip, needs and caps; and the working of each
//! element on each plot.

use super::{
    guidelines::path_of,
    plan_caps::{Cap, Care, cap, caps_read, cares, moved, simplicity, to_buy, unpriced},
    plan_carried::{CarriedOver, carried},
    plan_live::{plan_words, plot_words},
    plan_work::{undo_words, worked_out},
    plot::{cell_pages, track},
    plots::{HistoryPage, titled},
    seasons::under_season,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        cap::Counted,
        element::Element,
        learned_need,
        liking::{Liking, Weighed},
        rate::RateUnit,
        season,
        spacing::SPACING,
        working::Working,
    },
    app::{
        self,
        history::Subject,
        seasons::{CapLine, DoseForm, LeftBy, NeedLine, PlanPlot, PlanView},
    },
    ids::{PlanId, PlotId},
    web::{
        chart::{Dose, Strip, Track},
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps, see},
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
use std::{collections::BTreeMap, iter};

/// A plan.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/show.html")]
pub struct PlanPage {
    frame: Frame,
    plan: PlanId,
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

/// A plot with all that the plan says of it.
struct PlotBlock {
    plot: PlotId,
    title: String,
    about: String,
    /// How many of its needs are met.
    met: String,
    strip: Option<Strip>,
    needs: Vec<Need>,
    /// What is not short and gets nothing: name and working.
    enough: Vec<(String, String)>,
    caps: Vec<Cap>,
    /// Caps that the doses do not touch.
    quiet: Vec<Cap>,
    /// What lime and what it drives ammonia out of ask of each other here.
    spacing: Vec<String>,
    manure: Option<String>,
    carried: Vec<String>,
    /// Why there is nothing to show.
    empty: Option<&'static str>,
}

struct Need {
    name: String,
    rate: String,
    grams: String,
    supplied: String,
    /// "short 3 g", "over by 12 g", "met".
    left: String,
    working: String,
    why: String,
}

/// How an element of a plot comes about in a plan.
#[derive(Template)]
#[template(path = "pages/plans/working.html")]
struct WorkingPage<'a> {
    frame: Frame,
    parts: Vec<Part<'a>>,
}

struct Part<'a> {
    id: &'static str,
    title: String,
    steps: Option<Steps<'a>>,
    /// Said where there is nothing to open.
    words: String,
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

pub(super) fn working_path(plan: PlanId, plot: PlotId, element: Element) -> String {
    format!("/plans/{plan}/working/{plot}/{}", element.symbol())
}

pub(super) fn capitalised(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// The frame of a page that lies under a plan.
pub(super) fn under_plan(cx: &Cx, view: &PlanView, title: impl Into<String>) -> Frame {
    plan_frame(cx, view, title).under(path(view.plan.id), &view.plan.name)
}

fn plan_frame(cx: &Cx, view: &PlanView, title: impl Into<String>) -> Frame {
    under_season(cx, &view.site, title)
        .under(format!("/seasons/{}", view.season.id), format!("Season {}", view.season.name))
}

/// What a plan costs, in a sentence.
pub(super) fn cost_words(view: &PlanView) -> String {
    let bought = view.shopping.iter().any(|line| !line.packs.is_empty());
    if !bought {
        return "Nothing has to be bought: what is on hand will do.".into();
    }
    let unknown = unpriced(view);
    let money = show::money(view.cost_minor.round() as i64, &view.site.currency);
    let how = match view.options.sold_of.is_empty() {
        true => view.options.sold.in_sentence(),
        false => "bought as chosen for each product",
    };
    let mut words = match unknown.len() == view.shopping.iter().filter(|line| !line.packs.is_empty()).count() {
        true => "What it costs is not known.".to_owned(),
        false => format!("It costs {money} {how}; what is on hand is used first."),
    };
    if !unknown.is_empty() {
        words += &format!(
            " No price is recorded for {}: the cost leaves that out, and in choosing it was taken to be as dear, gram \
             for gram, as the dearest product here.",
            unknown.join(", ")
        );
    }
    words
}

/// What a plan does, in sentences.
fn lead(view: &PlanView) -> Vec<String> {
    let used = show::count(view.used().count(), "product");
    let plots = show::count(view.plots.len(), "plot");
    let reckoned = "Shortages are reckoned by what tests here answered, where they carry it.";
    if view.mass_g <= 0.0 {
        let by_answers = view.options.by_response.then(|| reckoned.to_owned());
        return iter::once(format!("This plan puts nothing on its {plots}.")).chain(by_answers).collect();
    }
    let given = view.plots.iter().filter(|plot| plot.doses.iter().any(|dose| dose.mass_g > 0.0)).count();
    let plots = if given == view.plots.len() { plots } else { format!("{given} of its {plots}") };
    let (mass, from) = (show::mass(view.mass_g), show::date(view.spread_on));
    let following = &view.guideline_title;
    let mut said = vec![format!("It puts {used} on {plots}, {mass} in all, from {from}, following {following}.")];
    said.push(match view.needs_met() {
        (_, 0) => "The tests ask for nothing.".into(),
        (1, 1) => "It meets the one need to within 5 %.".into(),
        (met, all) if met == all => format!("It meets all {all} needs, each to within 5 %."),
        (met, all) => format!("It meets {met} of {all} needs to within 5 %; what is left undone stands below."),
    });
    if view.options.by_response {
        said.push(reckoned.into());
    }
    said.extend(view.parts_of_today());
    said.push(cost_words(view));
    said.push(match (view.outcome.edited, view.outcome.proven, view.outcome.gap) {
        (true, ..) => "Doses were changed by hand since it was worked out, so it may not be the best.".into(),
        (false, true, Some(gap)) if gap > 1e-6 => {
            format!("The cost is proven to be within {} % of the lowest possible.", show::significant(gap * 100.0, 1))
        }
        (false, true, _) => "With these products and limits, by this reckoning nothing better is possible.".into(),
        (false, false, Some(gap)) if gap > 1e-6 => format!(
            "The search was stopped in time: there may be something better, and the cost is within {} % of the lowest possible.",
            show::significant(gap * 100.0, 2)
        ),
        (false, false, _) if view.options.budget_minor.is_some() || view.options.max_products.is_some() => {
            "Within its limits there may be something better; how near it is known to be stands in the notes.".into()
        }
        (false, false, _) => "The search was stopped in time, so there may be something better.".into(),
    });
    said
}

/// Sentences that begin with a plot and go on alike, as one: "A1, A2: 3 g of boron …".
pub(super) fn together(sentences: &[String]) -> Vec<String> {
    let mut groups: Vec<(Vec<&str>, &str)> = Vec::new();
    for sentence in sentences {
        let (head, tail) = sentence.split_once(": ").unwrap_or(("", sentence));
        match groups.iter_mut().find(|(heads, other)| *other == tail && !head.is_empty() && !heads.contains(&"")) {
            Some((heads, _)) => heads.push(head),
            None => groups.push((vec![head], tail)),
        }
    }
    let line = |(heads, tail): (Vec<&str>, &str)| match heads[..] {
        [""] => tail.to_owned(),
        _ => format!("{}: {tail}", heads.join(", ")),
    };
    groups.into_iter().map(line).collect()
}

/// What a need comes to, in a word.
pub(super) fn left_words(line: &NeedLine, liking: Liking) -> String {
    let mass = |grams| show::element_mass(liking.mass(line.need.element, grams));
    match () {
        () if line.need_g > 0.0 && !line.is_met() => format!("{} short", mass(line.short_g)),
        () if line.excess_g > line.need_g * 0.01 && line.excess_g > 0.005 => {
            format!("{} more than needed", mass(line.excess_g))
        }
        () if line.need_g > 0.0 => "met".into(),
        () => String::new(),
    }
}

/// An element's name inside a sentence: "phosphorus", "phosphorus as P₂O₅".
pub(super) fn in_sentence(liking: Liking, element: Element) -> String {
    let name = liking.name(element);
    name.strip_prefix(&capitalised(element.name())).map_or(name.clone(), |rest| format!("{}{rest}", element.name()))
}

fn need(view: &PlanView, plot: &PlanPlot, line: &NeedLine, liking: Liking) -> Need {
    let element = line.need.element;
    let site: RateUnit = view.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    let row = &plot.standing.plot;
    let mass = |grams| show::element_mass(liking.mass(element, grams));
    Need {
        name: liking.name(element),
        rate: show::rate_figure(&liking.by_rate().need(&line.need, row.ground().area, site)),
        grams: mass(line.need_g),
        supplied: mass(line.supplied_g),
        left: left_words(line, liking),
        working: working_path(view.plan.id, row.id, element),
        why: match (line.need_g > 0.0, learned_need::beside(&line.need)) {
            (false, _) => "nothing is short".into(),
            (true, None) => line.need.reason.words().to_owned(),
            (true, Some(by_mass)) => format!(
                "{}, as tests here answered; {} by the mass of the soil",
                line.need.reason.words(),
                show::rate_in(by_mass, &view.site.rate_unit)
            ),
        },
    }
}

/// A plot's nutrients against their aims, each with what the doses add; every figure opens
/// to its working under the plan's own guideline.
fn strip(view: &PlanView, plot: &PlanPlot, liking: Liking) -> Option<Strip> {
    let id = plot.standing.plot.id;
    let ground = plot.standing.plot.ground();
    let nutrients = plot.standing.present.standing.nutrients.iter();
    let tracks: Vec<Track> = nutrients
        .filter(|nutrient| nutrient.aim.is_some())
        .filter_map(|nutrient| {
            let working = working_path(view.plan.id, id, nutrient.analyte.element()?);
            let doses = view.lifts(plot, nutrient).into_iter();
            let doses =
                doses.map(|(product, grams, adds)| Dose { label: format!("{product}, {}", show::mass(grams)), adds });
            Some(Track {
                doses: doses.collect(),
                working: Some(format!("{working}#found")),
                aim_working: Some(format!("{working}#aim")),
                links: vec![("how it comes about".into(), working)],
                why: vec![],
                ..track(id, nutrient, Weighed { ground: &ground, by: view.way.by }, liking)
            })
        })
        .collect();
    let on = plot.standing.survey.last_sampled();
    let caption = on.map_or_else(String::new, |on| format!("Newest sample of {}, with the doses", show::date(on)));
    (!tracks.is_empty()).then_some(Strip { caption, tracks })
}

fn plot_block(view: &PlanView, plot: &PlanPlot, over: &[LeftBy], liking: Liking, may: bool) -> PlotBlock {
    let row = &plot.standing.plot;
    let crops: Vec<&str> = plot.crops.iter().map(|crop| crop.name).collect();
    let crops = if crops.is_empty() { "no crop named".to_owned() } else { crops.join(", ") };
    let strip = strip(view, plot, liking);
    let (caps, quiet): (Vec<Cap>, Vec<Cap>) =
        plot.caps.iter().map(|c| cap(view, row.id, c, liking, may)).partition(|cap| cap.touched);
    // What is not short, and of which nothing comes along, is only named.
    let (asked, rest): (Vec<&NeedLine>, Vec<&NeedLine>) =
        plot.needs.iter().partition(|line| line.need_g > 0.0 || line.supplied_g > 0.005);
    let enough = rest.into_iter().map(|line| line.need.element);
    let enough = enough.map(|element| (liking.name(element), working_path(view.plan.id, row.id, element)));
    PlotBlock {
        plot: row.id,
        title: titled(row),
        about: match plot.passes {
            0 => format!("{}; {crops}", show::area(row.area_m2)),
            1 => format!("{}; {crops}; one pass", show::area(row.area_m2)),
            n => format!("{}; {crops}; {n} passes", show::area(row.area_m2)),
        },
        met: match plot.needs_met() {
            (_, 0) => "needs nothing".into(),
            (met, all) => format!("{met} of {} met", show::count(all, "need")),
        },
        empty: (plot.needs.is_empty() && strip.is_none()).then_some(match plot.standing.samplings.is_empty() {
            true => "No soil was tested here, so the plan knows no need.",
            false => "Nothing that was tested here has limits under this guideline.",
        }),
        strip,
        needs: asked.into_iter().map(|line| need(view, plot, line, liking)).collect(),
        enough: enough.collect(),
        caps,
        quiet,
        spacing: plot.spacing.clone(),
        manure: plot.manure.clone(),
        carried: over.iter().flat_map(|over| carried(over, liking)).collect(),
    }
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
        format!("{}: {}", SPACING.publisher, SPACING.title)
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

/// The workings of an element on a plot: what was found and aimed at, the need, what the
/// doses bring, and each cap. What has a last step to the form that is read ends in it.
pub fn workings(
    view: &PlanView,
    plot: &PlanPlot,
    element: Element,
    liking: Liking,
) -> Vec<(&'static str, String, Option<Working>, String)> {
    let mut parts: Vec<(&'static str, String, Option<Working>, String)> = Vec::new();
    let ground = plot.standing.plot.ground();
    let area = ground.area;
    let read = |working: Option<Working>| working.map(|working| liking.mass_working(element, working));
    if let Some(line) = plot.needs.iter().find(|line| line.need.element == element) {
        let words = match line.need.notes.join(" ") {
            none if none.is_empty() => "Nothing is needed: the level is enough.".into(),
            notes => notes,
        };
        parts.push(("need", "What this plot needs".into(), read(season::need_on_plot(&line.need, area)), words));
    }
    let given = view.given(plot);
    let none = "No dose of this plan brings any.".to_owned();
    parts.push((
        "supplied",
        "What the doses bring in the first season".into(),
        read(season::supplied(&given, element)),
        none,
    ));
    let counts = |cap: &&CapLine| match cap.left.cap.counted {
        Counted::Total(counted) => counted == element,
        Counted::ManureNitrogen | Counted::OrganicNitrogen => element == Element::N,
        Counted::Product(_) => false,
    };
    for (at, cap) in plot.caps.iter().filter(counts).enumerate() {
        let site: RateUnit = view.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
        let title = format!("What the cap leaves. {}", liking.cap_label(&cap.left.cap, site));
        let working = liking.cap_working(&cap.left.cap, &cap.left.working, site);
        parts.push((if at == 0 { "cap" } else { "cap-2" }, title, Some(working), String::new()));
    }
    if plot.caps.iter().any(|cap| cap.left.cap.counted == Counted::Total(element))
        && let Some(brought) = season::brought(&given, element)
    {
        parts.push(("brought", "What the doses count against the cap".into(), Some(brought), String::new()));
    }
    if let Some(nutrient) = plot.standing.present.standing.get(Analyte::Element(element)) {
        let on = Weighed { ground: &ground, by: view.way.by };
        let found = liking.found(nutrient.into(), on).working;
        let found = liking.kept(nutrient.into(), on).into_iter().fold(found, |found, why| found.note(why));
        parts.push(("found", "What was found".into(), Some(found), String::new()));
        let aim = liking.aim(nutrient, on).map(|aim| aim.working);
        parts.push(("aim", "The aim".into(), aim, "This guideline sets no aim here.".into()));
        if let Some(percent) = &nutrient.percent_of_aim {
            parts.push(("percent", "The share of the aim".into(), Some(percent.working.clone()), String::new()));
        }
    }
    parts
}

/// `GET /plans/{plan}/working/{plot}/{element}`
pub async fn working(cx: Cx, Path((plan, plot, element)): Path<(PlanId, PlotId, String)>) -> Result<Response> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let element: Element = element.parse().map_err(|_| Error::not_found())?;
    let plot = view.plots.iter().find(|p| p.standing.plot.id == plot).ok_or_else(Error::not_found)?;
    let parts = workings(&view, plot, element, cx.actor.liking);
    let pages = cell_pages(&plot.standing);
    let cell = |key| pages.get(&key).cloned();
    let parts = parts.iter().map(|(id, title, working, words)| Part {
        id,
        title: title.clone(),
        steps: working.as_ref().map(|working| Steps::of(working, &cell)),
        words: words.clone(),
    });
    let title = format!("{} on {}", capitalised(element.name()), titled(&plot.standing.plot));
    let page = WorkingPage { frame: under_plan(&cx, &view, title), parts: parts.collect() };
    let page = page.render().map_err(|_| Error::from_status(StatusCode::INTERNAL_SERVER_ERROR))?;
    Ok(axum::response::Html(page).into_response())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn plots_of_which_the_same_is_said_are_named_together() {
        let said = ["A1: 3 g are not supplied.", "No colon here.", "A2: 3 g are not supplied.", "A2: 4 g."];
        let said: Vec<String> = said.iter().map(ToString::to_string).collect();
        assert_eq!(together(&said), ["A1, A2: 3 g are not supplied.", "No colon here.", "A2: 4 g."]);
    }
}
