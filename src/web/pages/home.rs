//! The first page: the ground, and what was done last.

use crate::{
    app::history::ChangeRow,
    web::{error::Result, guard::Cx, show::filters, view::Frame},
};
use askama::Template;
use askama_web::WebTemplate;

/// How many lines of history the first page shows.
const LINES: u32 = 8;

/// What needs doing, site by site.
#[derive(Template, WebTemplate)]
#[template(path = "pages/home.html")]
pub struct HomePage {
    frame: Frame,
    sites: Vec<SiteLine>,
    latest: Vec<ChangeRow>,
}

/// One site as the first page lists it; what is to do there is `notes`.
pub struct SiteLine {
    path: String,
    name: String,
    plots: usize,
    notes: Vec<Note>,
}

/// Something to do or to know, and the page for it.
pub struct Note {
    pub path: String,
    pub words: String,
}

/// `GET /`
pub async fn show(cx: Cx) -> Result<HomePage> {
    let mut sites = Vec::new();
    for site in cx.app.sites(&cx.actor).await? {
        let plots = cx.app.plots(&cx.actor, site.id, false).await?.len();
        sites.push(SiteLine { path: format!("/sites/{}", site.id), name: site.name, plots, notes: vec![] });
    }
    let latest = cx.app.latest_changes(&cx.actor, None, LINES).await?;
    Ok(HomePage { frame: cx.frame("Today"), sites, latest })
}
