//! A sampling's sheets checked: two labs by one method against the usual error, extractants
//! side by side, and each sheet's own sums. Every figure opens to its cells on this very page.

use super::{plot::html, samplings};
use crate::{
    agronomy::{
        lab_check::{Agreement, Line, Pair, SideBySide},
        record::CellKey,
    },
    app::sheet::Sheet,
    ids::SamplingId,
    web::{
        error::Result,
        guard::Cx,
        show,
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{extract::Path, response::Response};

/// The check of a sampling.
#[derive(Template)]
#[template(path = "pages/samplings/check.html")]
struct CheckPage<'a> {
    frame: Frame,
    sampling: SamplingId,
    pairs: Vec<PairView<'a>>,
    beyond: usize,
    groups: Vec<GroupView<'a>>,
    sheets: Vec<SheetView<'a>>,
    questions: &'a [crate::agronomy::plausibility::Question],
}

struct PairView<'a> {
    name: String,
    method: &'a str,
    first: (String, &'a str),
    second: (String, &'a str),
    /// "as two labs do", in two words for the eye.
    verdict: &'static str,
    words: &'a str,
    beyond: bool,
    steps: Option<Steps<'a>>,
}

struct GroupView<'a> {
    name: String,
    /// Method, what was found, its lab.
    found: Vec<(&'a str, String, &'a str)>,
    estimates: Vec<EstimateView<'a>>,
    together: Option<String>,
}

struct EstimateView<'a> {
    to: &'a str,
    value: String,
    printed: &'a str,
    publisher: &'a str,
    address: Option<&'a str>,
    mark: Option<&'static str>,
    floored: bool,
    steps: Steps<'a>,
}

struct SheetView<'a> {
    report: i64,
    lab: &'a str,
    lines: Vec<LineView<'a>>,
    fineness: &'a [String],
}

struct LineView<'a> {
    line: &'a Line,
    printed: String,
    ours: String,
    steps: Option<Steps<'a>>,
}

fn page_of(key: CellKey) -> Option<String> {
    Some(samplings::cell_page(key))
}

fn pair_view(pair: &Pair) -> PairView<'_> {
    PairView {
        name: pair.analyte.name(),
        method: pair.method.label(),
        first: (pair.first.figure.to_string(), &pair.first.lab),
        second: (pair.second.figure.to_string(), &pair.second.lab),
        verdict: match pair.agreement {
            Some(Agreement::AsLabsDo) => "agree",
            Some(Agreement::AsSamplesDo) => "agree as two samples do",
            Some(Agreement::Beyond) => "differ beyond the usual error",
            None => "not compared",
        },
        words: &pair.words,
        beyond: pair.agreement == Some(Agreement::Beyond),
        steps: pair.working.as_ref().map(|working| Steps::of(working, &page_of)),
    }
}

fn group_view(group: &SideBySide) -> GroupView<'_> {
    GroupView {
        name: group.analyte.name(),
        found: group.found.iter().map(|r| (r.method.label(), r.figure().to_string(), r.lab.as_str())).collect(),
        together: group.together.map(|together| together.words()),
        estimates: group
            .estimates
            .iter()
            .map(|estimate| {
                let source = &estimate.equation.source;
                EstimateView {
                    to: estimate.equation.to.label(),
                    value: estimate.working.figure.to_string(),
                    printed: &estimate.equation.printed,
                    publisher: &source.publisher,
                    address: show::address(source),
                    mark: show::evidence_mark(source.evidence),
                    floored: estimate.floored,
                    steps: Steps::of(&estimate.working, &page_of),
                }
            })
            .collect(),
    }
}

fn line_view(line: &Line) -> LineView<'_> {
    LineView {
        line,
        printed: line.printed.as_ref().map_or_else(String::new, show::figure),
        ours: line.ours.as_ref().map_or_else(String::new, |working| show::figure(&working.figure)),
        steps: line.ours.as_ref().map(|working| Steps::of(working, &page_of)),
    }
}

fn frame(cx: &Cx, sheet: &Sheet) -> Frame {
    let row = &sheet.loaded.row;
    samplings::under_site(cx, &sheet.site, "The sheets checked")
        .under(format!("/samplings/{}", row.id), format!("Soil of {}", show::date(row.sampled_on)))
}

/// `GET /samplings/{sampling}/check`
pub async fn show(cx: Cx, Path(id): Path<SamplingId>) -> Result<Response> {
    let (sheet, check) = cx.app.lab_check(&cx.actor, id).await?;
    let mut pairs: Vec<&Pair> = check.pairs.iter().collect();
    // What cannot be explained comes first.
    pairs.sort_by_key(|pair| std::cmp::Reverse(pair.agreement));
    html(&CheckPage {
        frame: frame(&cx, &sheet),
        sampling: id,
        beyond: check.beyond(),
        pairs: pairs.into_iter().map(pair_view).collect(),
        groups: check.side_by_side.iter().map(group_view).collect(),
        sheets: check
            .sheets
            .iter()
            .map(|one| SheetView {
                report: one.report,
                lab: &one.lab,
                lines: one.lines.iter().map(line_view).collect(),
                fineness: &one.fineness,
            })
            .collect(),
        questions: &sheet.questions,
    })
}
