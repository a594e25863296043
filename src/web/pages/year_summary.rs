//! A season on paper, of one plot or of a site: what was put on, when, by whom and why, what
//! grew and left, what the tests say, and the evidence that is kept. Made to be printed.

use super::{
    harvests,
    plot::words,
    plots::{titled, under_plot, under_site},
    story::Names,
};
use crate::{
    agronomy::{balance::Net, element::Element, guideline::Position, liking::Liking},
    app::{
        lists::listing,
        plots::SiteRow,
        year_summary::{PlotYear, ProductUsed, PutOn, Why, Year, YearSummary},
    },
    ids::{PlotId, SeasonId, SiteId},
    web::{
        error::Result,
        guard::Cx,
        show::{self, filters},
        view::Frame,
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query};
use serde::Deserialize;

/// How a summary is asked for, in the address.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Wanted {
    /// Number of the season; anything else is the running or the newest one.
    season: String,
    /// "a4" or "letter"; anything else is A4.
    paper: String,
}

impl Wanted {
    const PAPERS: [(&'static str, &'static str); 2] = [("a4", "A4"), ("letter", "Letter")];

    fn season(&self) -> Option<SeasonId> {
        self.season.trim().parse().ok()
    }

    fn paper(&self) -> &'static str {
        Self::PAPERS.iter().find(|(key, _)| *key == self.paper).unwrap_or(&Self::PAPERS[0]).0
    }
}

/// The elements whose balance stands on the page.
const BALANCED: [Element; 3] = [Element::N, Element::P, Element::K];

/// What both summaries have.
struct Head {
    site: SiteRow,
    lead: String,
    running: bool,
    /// Key, name, chosen.
    seasons: Vec<(String, String, bool)>,
    paper: &'static str,
    foot: String,
}

/// A season of one plot.
#[derive(Template, WebTemplate)]
#[template(path = "print/plot_year.html")]
pub struct PlotYearPage {
    frame: Frame,
    top: Head,
    year: Option<PlotSheet>,
}

struct PlotSheet {
    plot: PlotId,
    code: String,
    crops: String,
    made: Vec<String>,
    put_on: Vec<PutOnLine>,
    harvests: Vec<(String, String, String)>,
    balance: Vec<BalanceLine>,
    /// Notes of the account: what is missing from it.
    missing: Vec<String>,
    tests: Vec<TestLine>,
    /// Name, found, where it stands.
    standing: Vec<(String, String, String, String)>,
    stood: String,
    products: Vec<ProductLine>,
}

/// A season of a site.
#[derive(Template, WebTemplate)]
#[template(path = "print/site_year.html")]
pub struct SiteYearPage {
    frame: Frame,
    top: Head,
    products: Vec<ProductLine>,
    plots: Vec<PlotLine>,
    /// All that was put on, oldest first, with the plot's code.
    register: Vec<(String, PutOnLine)>,
}

/// A product with its evidence.
struct ProductLine {
    name: String,
    path: String,
    total: String,
    plots: String,
    analysis: String,
    lists: Vec<String>,
}

/// A plot in the table of a site.
struct PlotLine {
    path: String,
    title: String,
    crops: String,
    harvested: String,
    balance: Vec<BalanceLine>,
    tests: String,
    short: String,
}

struct PutOnLine {
    path: String,
    on: jiff::civil::Date,
    product: String,
    mass: String,
    rate: String,
    person: String,
    why: String,
    plan: Option<String>,
}

struct BalanceLine {
    element: &'static str,
    brought: String,
    carried: String,
    net: String,
    path: String,
}

struct TestLine {
    path: String,
    words: String,
    files: Vec<(String, String)>,
}

fn head(cx: &Cx, summary: &YearSummary, wanted: &Wanted) -> Head {
    let year = summary.year.as_ref();
    let chosen = year.map(|year| year.season.id);
    let one = |season: &crate::app::seasons::SeasonRow| {
        (season.id.to_string(), season.name.clone(), chosen == Some(season.id))
    };
    Head {
        site: summary.site.clone(),
        lead: year.map_or_else(String::new, |year| {
            let Year { season, guideline, .. } = year;
            let (from, to) = (show::date(season.starts_on), show::date(season.ends_on));
            format!(
                "{}, season {}: {from} to {to}. Tests are read under {}.",
                summary.site.name, season.name, guideline.title
            )
        }),
        running: year.is_some_and(|year| year.running),
        seasons: summary.seasons.iter().map(one).collect(),
        paper: wanted.paper(),
        foot: format!("From the record of {}, {}", summary.site.name, show::date(cx.app.today())),
    }
}

fn product(used: &ProductUsed) -> ProductLine {
    let analysis = used.analysis.as_ref().map_or_else(String::new, |row| {
        let label = if row.analysis.label.is_empty() { "as sold" } else { &row.analysis.label };
        format!("{label}, in force since {}; {}", show::date(row.valid_from), row.analysis.source)
    });
    ProductLine {
        name: used.name.clone(),
        path: format!("/amendments/{}", used.amendment),
        total: show::mass(used.total.0),
        plots: show::count(used.plots, "plot"),
        analysis,
        lists: used.lists.iter().map(|row| listing(row).words(&row.list)).collect(),
    }
}

fn put_on(one: &PutOn, unit: &str) -> PutOnLine {
    let (why, plan) = match &one.why {
        Why::Planned { plan, name, serves } => {
            let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
            for (element, reason) in serves {
                match reasons.iter_mut().find(|(said, _)| *said == reason) {
                    Some((_, elements)) => elements.push(element.name()),
                    None => reasons.push((reason, vec![element.name()])),
                }
            }
            let reasons = reasons.iter().map(|(reason, elements)| format!("{} {reason}", elements.join(", ")));
            let reasons = reasons.collect::<Vec<_>>().join("; ");
            let plan = Some(format!("/plans/{plan}"));
            (if reasons.is_empty() { format!("Plan {name}") } else { format!("Plan {name}: {reasons}") }, plan)
        }
        Why::Said(note) => (note.clone(), None),
        Why::Unsaid => ("no plan, and no reason written down".into(), None),
    };
    PutOnLine {
        path: format!("/applications/{}", one.row.id),
        on: one.row.applied_on,
        product: one.row.amendment_name.clone(),
        mass: show::mass(one.row.mass_g),
        rate: show::rate_in(one.rate, unit),
        person: if one.row.person_name.is_empty() { "not written down".into() } else { one.row.person_name.clone() },
        why,
        plan,
    }
}

fn balance(year: &PlotYear) -> Vec<BalanceLine> {
    let Some(account) = &year.account else { return vec![] };
    let line = |element: &Element| {
        let line = account.lines.iter().find(|line| line.element == *element)?;
        let flow = |flow: &crate::agronomy::balance::Flow| match (flow.is_complete(), flow.known.mid == 0.0) {
            (true, _) => show::element_rate(flow.known.mid),
            (false, true) => "not known".into(),
            (false, false) => format!("at least {}", show::element_rate(flow.known.mid)),
        };
        let net = match line.net {
            Net::Unknown(_) => "not known".to_owned(),
            net => format!("{} {}", net.words(), show::element_rate(net.of_known_parts().mid)).trim().to_owned(),
        };
        Some(BalanceLine {
            element: element.symbol(),
            brought: flow(&line.brought),
            carried: flow(&line.carried),
            net,
            path: format!("/plots/{}/ledger/{}/{element}/season", year.plot.id, account.starts_on),
        })
    };
    BALANCED.iter().filter_map(line).collect()
}

fn test(year: &PlotYear, loaded: &crate::app::reports::Loaded) -> TestLine {
    let mut labs: Vec<&str> = loaded.sampling.reports.iter().map(|report| report.lab.as_str()).collect();
    labs.dedup();
    let depth = loaded.row.depth().map_or_else(|| "depth not written down".to_owned(), |depth| depth.to_string());
    let labs = if labs.is_empty() { "no sheet yet".to_owned() } else { labs.join(" and ") };
    let assumed = if loaded.row.date_assumed { " (day assumed)" } else { "" };
    let reports: Vec<i64> = loaded.sampling.reports.iter().map(|report| report.key).collect();
    let of_it = year.files.iter().filter(|file| file.report.is_some_and(|report| reports.contains(&report.0)));
    TestLine {
        path: format!("/samplings/{}", loaded.row.id),
        words: format!("{}{assumed}: {labs}, {depth}", show::date(loaded.row.sampled_on)),
        files: of_it.map(|file| (format!("/files/{}", file.id), file.name.clone())).collect(),
    }
}

/// What is judged: name, found, where it stands, and the working behind it.
fn standing(year: &PlotYear, liking: Liking) -> Vec<(String, String, String, String)> {
    let ground = year.plot.ground();
    let judged = year.standing.iter().flat_map(|standing| &standing.nutrients);
    judged
        .filter(|nutrient| !matches!(nutrient.position, Position::NoCriterion(_) | Position::NotKnown(_)))
        .map(|nutrient| {
            let found = show::figure(&liking.found(nutrient.into(), &ground).figure);
            let trend = super::plot::trend_path(year.plot.id, nutrient.analyte);
            (nutrient.analyte.name(), found, words(nutrient), trend)
        })
        .collect()
}

fn harvested(year: &PlotYear) -> Vec<(String, String, String)> {
    let line = |row: &crate::app::harvests::HarvestRow| {
        (format!("/harvests/{}", row.id), show::date(row.harvest.harvested_on), harvests::what(row))
    };
    year.harvests.iter().map(line).collect()
}

fn stood(year: &PlotYear) -> String {
    match (year.standing.is_some(), year.last_sampled) {
        (true, Some(on)) => format!(
            "By the newest sample of each up to the end of the season; the last was taken on {}.",
            show::date(on)
        ),
        (false, Some(_)) => "It was made of plots that were tested apart; no sample of the whole was taken yet.".into(),
        (_, None) => "No soil had been sampled here by the end of the season.".into(),
    }
}

fn plot_sheet(year: &PlotYear, products: &[ProductUsed], unit: &str, liking: Liking, names: &Names) -> PlotSheet {
    let id = year.plot.id;
    let made = year.made.iter().map(|row| {
        let other = if row.parent == id { row.child } else { row.parent };
        format!("{} {}.", names.of(other), names.kinship(id, row))
    });
    PlotSheet {
        plot: id,
        code: year.plot.code.clone(),
        crops: if year.crops.is_empty() { "no crop written down".into() } else { year.crops.join(", ") },
        made: made.collect(),
        put_on: year.put_on.iter().map(|one| put_on(one, unit)).collect(),
        harvests: harvested(year),
        balance: balance(year),
        missing: year.account.as_ref().map(|account| account.notes.clone()).unwrap_or_default(),
        tests: year.tests.iter().map(|loaded| test(year, loaded)).collect(),
        standing: standing(year, liking),
        stood: stood(year),
        products: products.iter().map(product).collect(),
    }
}

fn plot_line(year: &PlotYear, season: SeasonId) -> PlotLine {
    let kg: f64 = year.harvests.iter().map(|row| row.harvest.mass_kg).sum();
    let short = year.standing.iter().flat_map(|standing| &standing.nutrients);
    let short: Vec<String> =
        short.filter(|nutrient| nutrient.position == Position::Short).map(|nutrient| nutrient.analyte.name()).collect();
    PlotLine {
        path: format!("/plots/{}/summary?season={season}", year.plot.id),
        title: titled(&year.plot),
        crops: year.crops.join(", "),
        harvested: if year.harvests.is_empty() { "none written down".into() } else { show::mass(kg * 1e3) },
        balance: balance(year),
        tests: match (year.tests.len(), year.last_sampled) {
            (0, Some(on)) => format!("none; last {}", show::date(on)),
            (0, None) => "never tested".into(),
            (n, _) => show::count(n, "sample"),
        },
        short: match (&year.standing, short.is_empty()) {
            (None, _) => "not known".into(),
            (Some(_), true) => "nothing".into(),
            (Some(_), false) => short.join(", "),
        },
    }
}

/// `GET /plots/{plot}/summary?season={season}&paper={paper}`
pub async fn plot(cx: Cx, Path(id): Path<PlotId>, Query(wanted): Query<Wanted>) -> Result<PlotYearPage> {
    let summary = cx.app.plot_year(&cx.actor, id, wanted.season()).await?;
    let plot = cx.app.plot(&cx.actor, id).await?;
    let names = Names::load(&cx, plot.site).await?;
    let (unit, liking) = (summary.site.rate_unit.clone(), cx.actor.liking);
    let sheet = |year: &Year| {
        let of_plot = year.plots.first()?;
        Some(plot_sheet(of_plot, &year.products, &unit, liking, &names))
    };
    let title = format!("{}: a season on paper", titled(&plot));
    Ok(PlotYearPage {
        frame: under_plot(&cx, &summary.site, &plot, title),
        top: head(&cx, &summary, &wanted),
        year: summary.year.as_ref().and_then(sheet),
    })
}

/// `GET /sites/{site}/summary?season={season}&paper={paper}`
pub async fn site(cx: Cx, Path(id): Path<SiteId>, Query(wanted): Query<Wanted>) -> Result<SiteYearPage> {
    let summary = cx.app.site_year(&cx.actor, id, wanted.season()).await?;
    let unit = summary.site.rate_unit.as_str();
    let mut page = SiteYearPage {
        frame: under_site(&cx, &summary.site, format!("{}: the season on paper", summary.site.name)),
        top: head(&cx, &summary, &wanted),
        products: vec![],
        plots: vec![],
        register: vec![],
    };
    if let Some(year) = &summary.year {
        page.products = year.products.iter().map(product).collect();
        page.plots = year.plots.iter().map(|one| plot_line(one, year.season.id)).collect();
        let all =
            year.plots.iter().flat_map(|one| one.put_on.iter().map(|put| (one.plot.code.clone(), put_on(put, unit))));
        page.register = all.collect();
        page.register.sort_by_key(|(_, line)| line.on);
    }
    Ok(page)
}
