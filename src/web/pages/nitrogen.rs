//! Nitrogen on one plot: what the crop takes, less what the ground and what was put on bring,
//! each as a range, and what could not be counted.

use super::{
    plot::{cell_pages, html},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{nitrogen::Term, record::CellKey},
    app::nitrogen::PlotNitrogen,
    ids::PlotId,
    web::{
        error::Result,
        form::Form,
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

/// Nitrogen on a plot.
#[derive(Template)]
#[template(path = "pages/plots/nitrogen.html")]
struct NitrogenPage<'a> {
    frame: Frame,
    nitrogen: &'a PlotNitrogen,
    form: Form,
    budget: Option<BudgetView<'a>>,
    rates: Vec<RateView<'a>>,
    advice: Option<(&'a str, &'a [String], Steps<'a>)>,
}

/// The budget.
struct BudgetView<'a> {
    need: String,
    demand: TermView<'a>,
    supplies: Vec<TermView<'a>>,
    left_out: Vec<TermView<'a>>,
    notes: &'a [String],
    steps: Steps<'a>,
}

/// A line of it.
struct TermView<'a> {
    title: &'a str,
    range: String,
    notes: &'a [String],
    steps: Steps<'a>,
}

/// A published rate for a crop of the plot.
struct RateView<'a> {
    crop: &'static str,
    rate: std::result::Result<TermView<'a>, &'a str>,
}

fn term_view<'a>(term: &'a Term, page_of: &dyn Fn(CellKey) -> Option<String>) -> TermView<'a> {
    TermView {
        title: &term.title,
        range: term.range.words(),
        notes: &term.notes,
        steps: Steps::of(&term.working, page_of),
    }
}

/// `GET /plots/{plot}/nitrogen?low_kg_per_ha=80&high_kg_per_ha=120`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let nitrogen = cx.app.plot_nitrogen(&cx.actor, plot, form.read_as()?).await?;
    let standing = &nitrogen.ahead.standing;
    let pages = cell_pages(standing);
    let page_of = |key| pages.get(&key).cloned();
    let mut form = form;
    for problem in &nitrogen.problems.0 {
        form.problem(&problem.field, &problem.message);
    }
    let budget = nitrogen.budget.as_ref().map(|budget| BudgetView {
        need: budget.need.words(),
        demand: term_view(&budget.demand, &page_of),
        supplies: budget.supplies.iter().map(|term| term_view(term, &page_of)).collect(),
        left_out: budget.left_out.iter().map(|term| term_view(term, &page_of)).collect(),
        notes: &budget.notes,
        steps: Steps::of(&budget.working, &page_of),
    });
    let rates = nitrogen.rates.iter().map(|(crop, rate)| RateView {
        crop: crop.name,
        rate: rate.as_ref().map(|term| term_view(term, &page_of)).map_err(String::as_str),
    });
    let advice = nitrogen.advice.as_ref();
    let advice = advice.map(|a| (a.class.as_str(), a.notes.as_slice(), Steps::of(&a.working, &page_of)));
    let status = if nitrogen.problems.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = NitrogenPage {
        frame: under_plot(&cx, &nitrogen.site, &standing.plot, format!("Nitrogen on {}", titled(&standing.plot))),
        form,
        budget,
        rates: rates.collect(),
        advice,
        nitrogen: &nitrogen,
    };
    Ok((status, html(&page)?).into_response())
}
