//! Nitrogen on one plot: what the crop takes, less what the ground and what was put on bring,
//! each as a range, and what could not be counted.

use super::{
    plot::{cell_pages, html},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{
        crop::CROPS,
        guideline::{Changed, NitrateTest},
        nitrogen::{COVER_MIX, PNW_636, PreviousCrop, Term},
        record::CellKey,
    },
    app::nitrogen::PlotNitrogen,
    ids::PlotId,
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show,
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
    /// The crops that it is reckoned for.
    named: String,
    crops: Vec<(&'static str, &'static str)>,
    previous: Vec<(&'static str, &'static str)>,
    /// The nitrate level, when it was sampled, and what each test says.
    nitrate: Option<(String, String, Vec<TestView<'a>>)>,
    /// What a mix of cereal and legume comes to, and who says so.
    cover_mix: String,
    /// What must be said of any nitrate test, once.
    nitrate_notes: &'a [String],
}

/// A nitrate test by one publisher.
struct TestView<'a> {
    test: &'a NitrateTest,
    /// How its bands meet, and what else it says.
    notes: Vec<String>,
    /// That its figures are a person's own, and not the publisher's.
    own: Option<String>,
    says: std::result::Result<(&'a str, Option<String>, Steps<'a>), &'a str>,
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
    let nitrate = nitrogen.nitrate.as_ref().map(|(reading, tests)| {
        let tests = tests.iter().map(|(test, says)| TestView {
            test,
            notes: test.how_bands_meet().into_iter().chain(test.notes.iter().cloned()).collect(),
            own: test.of.changed.as_ref().map(Changed::beside_publisher),
            says: says
                .as_ref()
                .map(|advice| {
                    let rate = advice.rate.map(|rate| show::element_rate(rate.0));
                    (advice.class.as_str(), rate, Steps::of(&advice.working, &page_of))
                })
                .map_err(String::as_str),
        });
        (show::figure(&reading.figure()), show::date(reading.sampled_on), tests.collect())
    });
    let spoken = nitrogen.nitrate.iter().flat_map(|(_, tests)| tests).find_map(|(_, says)| says.as_ref().ok());
    let status = if nitrogen.problems.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = NitrogenPage {
        frame: under_plot(&cx, &nitrogen.site, &standing.plot, format!("Nitrogen on {}", titled(&standing.plot))),
        form,
        budget,
        rates: rates.collect(),
        named: nitrogen.rates.iter().map(|(crop, _)| crop.in_sentence()).collect::<Vec<_>>().join(" and "),
        nitrate,
        nitrate_notes: spoken.map_or(&[], |advice| &advice.notes),
        crops: std::iter::once(("", "Those on record"))
            .chain(CROPS.iter().map(|crop| (crop.slug, crop.name)))
            .collect(),
        cover_mix: format!("{COVER_MIX} ({PNW_636}; {}.)", PNW_636.evidence.words()),
        previous: PreviousCrop::ALL.iter().rev().map(|crop| (crop.slug(), crop.label())).collect(),
        nitrogen: &nitrogen,
    };
    Ok((status, html(&page)?).into_response())
}
