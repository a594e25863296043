//! How many cores make one sample: what publishers ask for, and what a wanted nearness takes.

use super::{plot::html, samplings::under_site};
use crate::{
    agronomy::cores::{ADVISED, FOUND_SPREAD, GOOD_PROTOCOL, HILL_PASTURE, SUB_SAMPLES, found_cores},
    ids::SiteId,
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

/// Cores for one sample.
#[derive(Template)]
#[template(path = "pages/samplings/cores.html")]
struct CoresPage<'a> {
    frame: Frame,
    site: SiteId,
    form: Form,
    /// The number, the number that the formula gives at first, and how it comes about.
    found: Option<(u32, u32, Steps<'a>)>,
    /// What publishers ask for: cores, for what, who.
    advised: Vec<(String, &'static str, String)>,
    by: String,
    /// How single cores were found to differ, and what that takes.
    differ: String,
}

/// `GET /sites/{site}/cores?spread=30&wanted=10`
pub async fn show(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<Response> {
    let cores = cx.app.site_cores(&cx.actor, site, form.read_as()?).await?;
    let mut form = Form::of(&cores.form);
    for problem in &cores.problems.0 {
        form.problem(&problem.field, &problem.message);
    }
    let advised = ADVISED.iter().map(|row| {
        let cores =
            if row.least == row.most { row.least.to_string() } else { format!("{} to {}", row.least, row.most) };
        (cores, row.words, row.source.to_string())
    });
    let found = cores.found.as_ref().and_then(|found| found.as_ref().ok());
    let status = if cores.problems.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let frame = under_site(&cx, &cores.site, "How many cores").under(format!("/sites/{site}/samplings"), "Samplings");
    let page = CoresPage {
        frame,
        site,
        found: found.map(|found| (found.cores, found.at_first, Steps::of(&found.working, &|_| None))),
        form,
        advised: advised.collect(),
        by: SUB_SAMPLES.to_string(),
        differ: found_cores().map_or_else(
            |_| String::new(),
            |(few, many)| {
                let ((from, to), (near, far)) = (FOUND_SPREAD, GOOD_PROTOCOL);
                format!(
                    "On hill pasture single cores differed by {from} to {to} %, and a good way of sampling came within \
                     {near} to {far} %: that takes {} to {} cores. {HILL_PASTURE}.",
                    few.cores, many.cores
                )
            },
        ),
    };
    Ok((status, html(&page)?).into_response())
}
