//! How far one soil test can be out, as a site sets it: a line to a nutrient, a column for
//! any lab, for each lab on its sheets, and for what two labs differ by.

use super::plots::under_site;
use crate::{
    agronomy::{confidence::TestError, drift::DEFAULT_ERRORS},
    app::test_errors::{ErrorForm, analytes},
    ids::SiteId,
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use std::collections::BTreeMap;

/// The form.
#[derive(Template, WebTemplate)]
#[template(path = "pages/sites/errors.html")]
pub struct ErrorsPage {
    frame: Frame,
    form: Form,
    site: SiteId,
    labs: Vec<String>,
    lines: Vec<Line>,
}

/// One nutrient.
struct Line {
    key: String,
    name: String,
    unit: &'static str,
    default: String,
    between: String,
    source: String,
}

impl ErrorsPage {
    /// Nutrients whose default has one source together, and the source.
    fn sources(&self) -> Vec<(String, &str)> {
        let mut sources: Vec<(String, &str)> = Vec::new();
        for line in &self.lines {
            let default = format!("{} {}", line.name, line.default);
            match sources.iter_mut().find(|(_, source)| *source == line.source) {
                Some((names, _)) => *names += &format!(", {default}"),
                None => sources.push((default, &line.source)),
            }
        }
        sources
    }
}

fn lines() -> Vec<Line> {
    let line = |analyte: &crate::agronomy::analyte::Analyte| {
        let typical = DEFAULT_ERRORS.of(*analyte);
        Line {
            key: analyte.to_string(),
            name: analyte.name(),
            unit: if matches!(typical.one_test, TestError::Relative(_)) { "%" } else { "pH" },
            default: typical.one_test.words(),
            between: typical.between_labs.words(),
            source: typical.source.to_string(),
        }
    };
    analytes().iter().map(line).collect()
}

/// The form as the app takes it, from fields `error[P]`, `between[P]`, `lab_0[P]`.
fn read(form: &Form) -> ErrorForm {
    let column = |name: &str| -> BTreeMap<String, String> {
        form.rows(name).into_iter().map(|(key, typed)| (key.to_owned(), typed.to_owned())).collect()
    };
    let labs = form.all("lab").iter().enumerate();
    ErrorForm {
        error: column("error"),
        between: column("between"),
        by_lab: labs.map(|(at, lab)| (lab.clone(), column(&format!("lab_{at}")))).collect(),
        revision: form.value("revision").parse().unwrap_or_default(),
    }
}

fn filled(errors: &ErrorForm) -> Form {
    let mut form = Form::new();
    let mut column = |name: &str, typed: &BTreeMap<String, String>| {
        typed.iter().for_each(|(key, value)| form.set(format!("{name}[{key}]"), value));
    };
    column("error", &errors.error);
    column("between", &errors.between);
    for (at, (_, typed)) in errors.by_lab.iter().enumerate() {
        column(&format!("lab_{at}"), typed);
    }
    form.set("revision", errors.revision);
    form
}

async fn page(cx: &Cx, id: SiteId, errors: &ErrorForm, form: Form) -> Result<ErrorsPage> {
    let site = cx.app.site(&cx.actor, id).await?;
    let frame = under_site(cx, &site, "How far one soil test can be out");
    let labs = errors.by_lab.iter().map(|(lab, _)| lab.clone()).collect();
    Ok(ErrorsPage { frame, form, site: id, labs, lines: lines() })
}

/// `GET /sites/{site}/errors`
pub async fn show(cx: Cx, Path(site): Path<SiteId>) -> Result<ErrorsPage> {
    let errors = cx.app.error_form(&cx.actor, site).await?;
    page(&cx, site, &errors, filled(&errors)).await
}

/// `POST /sites/{site}/errors`
pub async fn change(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<Response> {
    let errors = read(&form);
    match cx.app.set_test_errors(&cx.actor, site, &errors).await {
        Ok(()) => Ok(see(format!("/sites/{site}/errors")).say("Saved.").into_response()),
        Err(error) => {
            let mut form = form.refused(error)?;
            // What somebody else saved meanwhile is replaced by the next save, knowingly.
            form.set("revision", cx.app.site(&cx.actor, site).await?.revision);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page(&cx, site, &errors, form).await?).into_response())
        }
    }
}
