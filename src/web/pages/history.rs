//! What was changed in the whole record, newest first, a page at a time.

use crate::{
    app::history::ChangeRow,
    web::{error::Result, guard::Cx, show::filters, view::Frame},
};
use askama::Template;
use askama_web::WebTemplate;
use axum::extract::RawQuery;

/// Lines on a page.
const LINES: u32 = 60;

/// A page of changes.
#[derive(Template, WebTemplate)]
#[template(path = "pages/changes.html")]
pub struct ChangesPage {
    frame: Frame,
    lines: Vec<Line>,
    /// Where the older ones begin.
    older: Option<i64>,
    /// Whether this is not the newest page.
    later: bool,
}

struct Line {
    change: ChangeRow,
    path: Option<String>,
}

/// The page of the thing that a change was about, where it has one of its own.
fn page_of(change: &ChangeRow) -> Option<String> {
    let folder = match change.entity.as_str() {
        "site" => "sites",
        "plot" => "plots",
        "sampling" => "samplings",
        "report" => "reports",
        "determination" => "determinations",
        "amendment" => "amendments",
        "application" => "applications",
        // An own guideline's key holds its number.
        "guideline" => return Some(format!("/guidelines/own_{}", change.entity_id)),
        _ => return None,
    };
    Some(format!("/{folder}/{}", change.entity_id))
}

/// `GET /history?before=120`
pub async fn list(cx: Cx, RawQuery(query): RawQuery) -> Result<ChangesPage> {
    let query = query.unwrap_or_default();
    let before = query.split('&').find_map(|pair| pair.strip_prefix("before=")?.parse().ok());
    let changes = cx.app.latest_changes(&cx.actor, before, LINES).await?;
    let older = (changes.len() == LINES as usize).then(|| changes.last().map(|change| change.id)).flatten();
    let lines = changes.into_iter().map(|change| Line { path: page_of(&change), change }).collect();
    Ok(ChangesPage { frame: cx.frame("History"), lines, older, later: before.is_some() })
}
