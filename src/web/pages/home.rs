//! The first page: what needs doing, site by site, and what was done last.

use crate::{
    app::{
        glance::{PlotGlance, SiteGlance},
        history::ChangeRow,
    },
    ids::{PlanId, SamplingId},
    web::{
        error::Result,
        guard::Cx,
        show::{self, filters},
        view::Frame,
    },
};
use askama::Template;
use askama_web::WebTemplate;
use jiff::civil::Date;
use std::collections::BTreeMap;

/// How many lines of history the first page shows.
const LINES: u32 = 8;
/// How many plots a note names before it only counts.
const NAMED: usize = 8;

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
    invented: bool,
    plots: usize,
    notes: Vec<Note>,
}

/// Something to do or to know, and the page for it.
pub struct Note {
    pub path: String,
    pub words: String,
    /// The plots that it is about.
    pub about: String,
}

/// Plots by their codes, the first few named.
fn named<'a>(plots: impl IntoIterator<Item = &'a PlotGlance>) -> String {
    let codes: Vec<&str> = plots.into_iter().map(|plot| plot.plot.code.as_str()).collect();
    match codes.len() {
        n if n > NAMED => format!("{} and {} more", codes[..NAMED].join(", "), codes.len() - NAMED),
        _ => codes.join(", "),
    }
}

/// What is to do or to know on a site, with the page where somebody who records does it.
fn notes(site: &SiteGlance, records: bool) -> Vec<Note> {
    let path = format!("/sites/{}", site.site.id);
    let mut notes = Vec::new();
    let mut plans: BTreeMap<PlanId, (String, usize, Vec<&PlotGlance>)> = BTreeMap::new();
    let mut awaiting: BTreeMap<SamplingId, (Date, Vec<&PlotGlance>)> = BTreeMap::new();
    for plot in &site.plots {
        for (plan, name, doses) in &plot.open_plans {
            let (_, open, plots) = plans.entry(*plan).or_insert_with(|| (name.clone(), 0, vec![]));
            *open += doses;
            plots.push(plot);
        }
        for (sampling, on) in &plot.awaiting {
            awaiting.entry(*sampling).or_insert_with(|| (*on, vec![])).1.push(plot);
        }
    }
    for (plan, (name, doses, plots)) in plans {
        let words = format!("{} of “{name}” still to put on", show::count(doses, "dose"));
        let path = if records { format!("/plans/{plan}/record") } else { format!("/plans/{plan}") };
        notes.push(Note { path, words, about: named(plots) });
    }
    for (sampling, (on, plots)) in awaiting {
        let words = format!("A report is awaited for the sample of {}", show::date(on));
        notes.push(Note { path: format!("/samplings/{sampling}"), words, about: named(plots) });
    }
    let never = |plot: &&PlotGlance| plot.last_sampled.is_none();
    let untested: Vec<_> = site.plots.iter().filter(never).collect();
    let due: Vec<_> = site.plots.iter().filter(|plot| plot.due && !never(plot)).collect();
    // A sample that is at the lab is not asked for again.
    let due: Vec<_> = due.into_iter().filter(|plot| plot.awaiting.is_empty()).collect();
    if !due.is_empty() {
        let words = format!("{} due for a soil test", show::count(due.len(), "plot"));
        notes.push(Note { path: path.clone(), words, about: named(due) });
    }
    if !untested.is_empty() {
        let words = format!("{} never tested", show::count(untested.len(), "plot"));
        notes.push(Note { path: path.clone(), words, about: named(untested) });
    }
    let excess = |plot: &&PlotGlance| !plot.excess.is_empty();
    let too_much: Vec<_> = site.plots.iter().filter(excess).collect();
    if !too_much.is_empty() {
        let words = format!("{} with too much of something: give no more of it", show::count(too_much.len(), "plot"));
        notes.push(Note { path: path.clone(), words, about: named(too_much) });
    }
    let over = |plot: &&PlotGlance| plot.over_a_cap;
    let over: Vec<_> = site.plots.iter().filter(over).collect();
    if !over.is_empty() {
        let words = format!("{} over a limit for twelve months", show::count(over.len(), "plot"));
        let path = match over[..] {
            [one] => format!("/plots/{}/next", one.plot.id),
            _ => path,
        };
        notes.push(Note { path, words, about: named(over) });
    }
    notes
}

/// `GET /`
pub async fn show(cx: Cx) -> Result<HomePage> {
    let frame = cx.frame("Today");
    let mut sites = Vec::new();
    for site in cx.app.sites(&cx.actor).await? {
        let ahead = cx.app.site_glance(&cx.actor, site.id).await?;
        sites.push(SiteLine {
            path: format!("/sites/{}", site.id),
            name: site.name,
            invented: site.invented,
            plots: ahead.plots.len(),
            notes: notes(&ahead, frame.may_record()),
        });
    }
    let latest = cx.app.latest_changes(&cx.actor, None, LINES).await?;
    Ok(HomePage { frame, sites, latest })
}
