//! How an element of a plot comes about in a plan: the page that every figure of it opens to.

use super::{plan_words::capitalised, plans::under_plan, plot::cell_pages, plots::titled};
use crate::{
    agronomy::{
        analyte::Analyte,
        cap::Counted,
        element::Element,
        liking::{Liking, Weighed},
        rate::RateUnit,
        season,
        working::Working,
    },
    app::seasons::{CapLine, PlanPlot, PlanView},
    ids::{PlanId, PlotId},
    web::{
        error::{Error, Result},
        guard::Cx,
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};

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

pub(super) fn working_path(plan: PlanId, plot: PlotId, element: Element) -> String {
    format!("/plans/{plan}/working/{plot}/{}", element.symbol())
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
