//! What a plan expects of the next tests of its plots, band by band; and of what it expects nothing, why.

use super::{
    calibration::{forecast_path, test_name},
    plans::under_plan,
};
use crate::{
    app::forecasts::PlanExpects,
    ids::PlanId,
    web::{error::Result, guard::Cx, view::Frame},
};
use askama::Template;
use askama_web::WebTemplate;
use axum::extract::Path;

/// The bands of a plan.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/expects.html")]
pub struct ExpectsPage {
    frame: Frame,
    /// A draft writes no bands down.
    draft: bool,
    written: Vec<Expected>,
    without: Vec<Nothing>,
}

struct Expected {
    plot: String,
    test: String,
    words: String,
    /// Where the band is opened.
    path: String,
}

struct Nothing {
    plot: String,
    test: String,
    why: String,
}

/// `GET /plans/{plan}/forecasts`
pub async fn show(cx: Cx, Path(plan): Path<PlanId>) -> Result<ExpectsPage> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let PlanExpects { written, without } = cx.app.plan_expects(&cx.actor, plan).await?;
    Ok(ExpectsPage {
        frame: under_plan(&cx, &view, "What it expects of the next tests"),
        draft: view.plan.state == "draft",
        written: written
            .iter()
            .map(|result| Expected {
                plot: result.plot_code.clone(),
                test: test_name(result),
                words: result.words(),
                path: forecast_path(result.row.id),
            })
            .collect(),
        without: without
            .into_iter()
            .map(|one| Nothing {
                plot: one.plot_code,
                test: format!("{} by {}", one.analyte.name(), one.method.label()),
                why: one.why,
            })
            .collect(),
    })
}
