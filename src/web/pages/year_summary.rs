//! A season on paper, of one plot or of a site: what was put on, when, by whom and why, what
//! grew and left, what the tests say, and the evidence that is kept. A plot's is made for one sheet; a
//! site's takes as many as it needs in print that can be read at a table, or one where that is asked for,
//! what was put on first, and what is too much even so is counted, with the way to the record.

use super::{
    harvests,
    plot::words,
    plots::{titled, under_plot, under_site},
    story::Names,
};
use crate::{
    agronomy::{
        balance::{Flow, Net},
        element::Element,
        guideline::Position,
        liking::Liking,
    },
    app::{
        lists::listing,
        plots::{PlotRow, SiteRow},
        register::{RegisterLine, register, runs},
        year_summary::{PlotBrief, PlotYear, ProductUsed, PutOn, Why, Year, YearSummary},
    },
    ids::{BlockId, PlotId, SeasonId, SiteId},
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
use std::{borrow::Cow, collections::BTreeMap};

/// How a summary is asked for, in the address.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Wanted {
    /// Number of the season; anything else is the running or the newest one.
    season: String,
    /// "a4" or "letter"; anything else is A4.
    paper: String,
    /// Number of the block that a site's page is kept to; anything else is all of it.
    block: String,
    /// "one" keeps a site's page to one sheet; anything else takes as many as it needs.
    length: String,
}

impl Wanted {
    const PAPERS: [(&'static str, &'static str); 2] = [("a4", "A4"), ("letter", "Letter")];

    fn season(&self) -> Option<SeasonId> {
        self.season.trim().parse().ok()
    }

    fn paper(&self) -> &'static str {
        Self::PAPERS.iter().find(|(key, _)| *key == self.paper).unwrap_or(&Self::PAPERS[0]).0
    }

    fn room(&self) -> &'static Room {
        if self.length == "one" { &ONE_SHEET } else { &SHEETS }
    }

    /// Key, name, chosen.
    fn lengths(&self) -> Vec<(&'static str, &'static str, bool)> {
        let one = self.length == "one";
        vec![("all", "as many sheets as it needs", !one), ("one", "one sheet", one)]
    }
}

/// The elements whose balance stands on the page.
const BALANCED: [Element; 3] = [Element::N, Element::P, Element::K];

/// How much of each kind the one sheet of a plot holds.
const MOST_PUT_ON: usize = 16;
const MOST_HARVESTS: usize = 6;
const MOST_PRODUCTS: usize = 12;
/// How much of each kind a site's page holds.
struct Room {
    /// Lines of its register; where they are more, days are drawn together, then people.
    lines: usize,
    /// Products with their evidence.
    products: usize,
    /// More plots than this stand block by block, where there are several blocks.
    plots: usize,
    /// More blocks than this are counted.
    blocks: usize,
    /// What is said of the sheets.
    said: &'static str,
}

/// About two sheets of each, however large the site.
const SHEETS: Room = Room {
    lines: 60,
    products: 60,
    plots: 100,
    blocks: 100,
    said: "Printed, it takes as many sheets as it needs; each says which one of how many it is.",
};
/// What one sheet has room for in print that can be read at a table.
const ONE_SHEET: Room = Room {
    lines: 9,
    products: 9,
    plots: 9,
    blocks: 9,
    said: "Printed, it is one sheet: what went on is drawn together, and what has no room is counted.",
};
/// A line of the register that holds more is opened in the record.
const MOST_EACH: usize = 60;

/// What both summaries have.
struct Head {
    site: SiteRow,
    lead: String,
    running: bool,
    /// Key, name, chosen.
    seasons: Vec<(String, String, bool)>,
    /// The same of blocks, where there is a choice.
    blocks: Vec<(String, String, bool)>,
    paper: &'static str,
    /// Which season of which ground a loose sheet is of.
    named: String,
    /// How many sheets it takes; empty where there is nothing to say.
    sheets: &'static str,
    /// Key, name, chosen; empty where there is no choice.
    lengths: Vec<(&'static str, &'static str, bool)>,
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
    /// How many of what was put on the page has no room for.
    more_put_on: usize,
    harvests: Vec<HarvestLine>,
    balance: Vec<BalanceLine>,
    /// Notes of the account: what is missing from it.
    missing: Vec<String>,
    tests: Vec<TestLine>,
    /// Name, found, where it stands, and the years behind it.
    standing: Vec<(String, String, String, String)>,
    stood: String,
    products: Vec<ProductLine>,
    more_products: usize,
}

/// A harvest, or all of a crop where they are many.
struct HarvestLine {
    path: String,
    when: String,
    what: String,
}

/// A season of a site.
#[derive(Template, WebTemplate)]
#[template(path = "print/site_year.html")]
pub struct SiteYearPage {
    frame: Frame,
    top: Head,
    /// What was put on, in few lines.
    register: Vec<GroupLine>,
    /// Lines that the page has no room for, and how many times something went on in them.
    more_lines: (usize, usize),
    /// Where all that was put on is listed.
    everything: String,
    products: Vec<ProductLine>,
    more_products: usize,
    /// What is kept of the soil's tests, in a sentence.
    evidence: String,
    /// Empty where they stand block by block.
    plots: Vec<PlotLine>,
    blocks: Vec<BlockLine>,
    more_blocks: usize,
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

/// A line of a site's register.
struct GroupLine {
    when: String,
    product: String,
    mass: String,
    plots: String,
    rates: String,
    people: String,
    why: String,
    plan: Option<String>,
    /// Each plot's own, with its address; empty where they are too many.
    each: Vec<(String, String)>,
    /// How many they are.
    times: usize,
}

/// A plot in the table of a site.
struct PlotLine {
    path: String,
    code: String,
    title: String,
    crops: String,
    harvested: String,
    balance: Vec<BalanceLine>,
    tests: String,
    short: String,
}

/// The plots of a block together.
struct BlockLine {
    path: String,
    name: String,
    plots: usize,
    crops: String,
    harvested: String,
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

fn head<P>(cx: &Cx, summary: &YearSummary<P>, wanted: &Wanted, blocks: Vec<(String, String, bool)>) -> Head {
    let year = summary.year.as_ref();
    let chosen = year.map(|year| year.season.id);
    let one = |season: &crate::app::seasons::SeasonRow| {
        (season.id.to_string(), season.name.clone(), chosen == Some(season.id))
    };
    let block = blocks.iter().find(|(key, _, chosen)| *chosen && !key.is_empty());
    let of_block = block.map_or_else(String::new, |(_, name, _)| format!(", {name}"));
    Head {
        site: summary.site.clone(),
        lead: year.map_or_else(String::new, |year| {
            let Year { season, guideline, .. } = year;
            let (from, to) = (show::date(season.starts_on), show::date(season.ends_on));
            format!(
                "{}{of_block}, season {}: {from} to {to}. Tests are read under {guideline}.",
                summary.site.name, season.name
            )
        }),
        running: year.is_some_and(|year| year.running),
        seasons: summary.seasons.iter().map(one).collect(),
        blocks,
        paper: wanted.paper(),
        named: year
            .map_or_else(String::new, |year| format!("{}{of_block}, season {}", summary.site.name, year.season.name)),
        sheets: "",
        lengths: vec![],
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

/// Why something was put on, and the plan that it was a dose of.
fn why(why: &Why) -> (String, Option<String>) {
    match why {
        Why::Planned { plan, name, serves } => {
            let mut reasons: Vec<(&str, Vec<&str>)> = Vec::new();
            for (element, reason) in serves {
                match reasons.iter_mut().find(|(said, _)| *said == reason) {
                    Some((_, elements)) if elements.contains(&element.name()) => {}
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
        Why::Unsaid => ("no plan; no reason written down".into(), None),
    }
}

fn put_on(one: &PutOn, unit: &str) -> PutOnLine {
    let (why, plan) = why(&one.why);
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

/// What went in one direction, in words.
fn flow(flow: &Flow, show: impl Fn(f64) -> String) -> String {
    match (flow.is_complete(), flow.known.mid == 0.0) {
        (true, _) => show(flow.known.mid),
        (false, true) => "not known".into(),
        (false, false) => format!("at least {}", show(flow.known.mid)),
    }
}

fn balance(year: &PlotYear) -> Vec<BalanceLine> {
    let Some(account) = &year.account else { return vec![] };
    let line = |element: &Element| {
        let line = account.lines.iter().find(|line| line.element == *element)?;
        let net = match line.net {
            Net::Unknown(_) => "not known".to_owned(),
            net => format!("{} {}", net.words(), show::element_rate(net.of_known_parts().mid)).trim().to_owned(),
        };
        Some(BalanceLine {
            element: element.symbol(),
            brought: flow(&line.brought, show::element_rate),
            carried: flow(&line.carried, show::element_rate),
            net,
            path: season_path(year.plot.id, account.starts_on, *element),
        })
    };
    BALANCED.iter().filter_map(line).collect()
}

fn season_path(plot: PlotId, starts_on: jiff::civil::Date, element: Element) -> String {
    format!("/plots/{plot}/ledger/{starts_on}/{element}/season")
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

/// Harvests one by one, or crop by crop where they are many.
fn harvested(year: &PlotYear) -> Vec<HarvestLine> {
    if year.harvests.len() <= MOST_HARVESTS {
        let line = |row: &crate::app::harvests::HarvestRow| HarvestLine {
            path: format!("/harvests/{}", row.id),
            when: show::date(row.harvest.harvested_on),
            what: harvests::what(row),
        };
        return year.harvests.iter().map(line).collect();
    }
    let mut crops: BTreeMap<String, (f64, usize, jiff::civil::Date, jiff::civil::Date)> = BTreeMap::new();
    for row in &year.harvests {
        let (on, kg) = (row.harvest.harvested_on, row.harvest.mass_kg);
        let crop = row.harvest.crop.as_deref().map_or_else(|| "nothing".to_owned(), harvests::crop_in_sentence);
        let sum = crops.entry(crop).or_insert((0.0, 0, on, on));
        *sum = (sum.0 + kg, sum.1 + 1, sum.2.min(on), sum.3.max(on));
    }
    let line =
        |(crop, (kg, times, from, to)): (String, (f64, usize, jiff::civil::Date, jiff::civil::Date))| HarvestLine {
            path: format!("/plots/{}/harvests", year.plot.id),
            when: between(from, to),
            what: format!("{} of {crop} in {}", show::mass(kg * 1e3), show::count(times, "harvest")),
        };
    crops.into_iter().map(line).collect()
}

/// A day, or two with what lies between them.
fn between(from: jiff::civil::Date, to: jiff::civil::Date) -> String {
    match (from == to, from.year() == to.year()) {
        (true, _) => show::date(from),
        (false, true) => format!("{} to {}", from.strftime("%-d\u{a0}%b"), show::date(to)),
        (false, false) => format!("{} to {}", show::date(from), show::date(to)),
    }
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
        put_on: year.put_on.iter().take(MOST_PUT_ON).map(|one| put_on(one, unit)).collect(),
        more_put_on: year.put_on.len().saturating_sub(MOST_PUT_ON),
        harvests: harvested(year),
        balance: balance(year),
        missing: year.account.as_ref().map(|account| account.notes.clone()).unwrap_or_default(),
        tests: year.tests.iter().map(|loaded| test(year, loaded)).collect(),
        standing: standing(year, liking),
        stood: stood(year),
        products: products.iter().take(MOST_PRODUCTS).map(product).collect(),
        more_products: products.len().saturating_sub(MOST_PRODUCTS),
    }
}

fn group(line: &RegisterLine, plots: &[PlotBrief], unit: &str) -> GroupLine {
    let codes: Vec<&str> = plots.iter().map(|brief| brief.plot.code.as_str()).collect();
    let ((why, plan), (least, most)) = (why(&line.why), line.rates);
    let (low, high) = (show::rate_in(least, unit), show::rate_in(most, unit));
    let one = |(plot, at): &(usize, usize)| {
        let brief = plots.get(*plot)?;
        let put_on = brief.put_on.get(*at)?;
        let words = format!("{} {}", brief.plot.code, show::mass(put_on.row.mass_g));
        Some((words, format!("/applications/{}", put_on.row.id)))
    };
    GroupLine {
        when: between(line.days.0, line.days.1),
        product: line.product.clone(),
        mass: show::mass(line.total.0),
        plots: runs(&codes, &line.plots()),
        rates: if low == high { low } else { format!("{} to {high}", low.split('\u{a0}').next().unwrap_or_default()) },
        people: if line.people.is_empty() { "not written down".into() } else { line.people.join(", ") },
        why,
        plan,
        times: line.each.len(),
        each: if line.each.len() > MOST_EACH { vec![] } else { line.each.iter().filter_map(one).collect() },
    }
}

/// What a plot, or several together, were short of: symbols, with how many where they are several.
fn short_of(plots: &[&PlotBrief]) -> String {
    let mut counts: BTreeMap<crate::agronomy::analyte::Analyte, usize> = BTreeMap::new();
    for analyte in plots.iter().filter_map(|brief| brief.short.as_ref()).flatten() {
        *counts.entry(*analyte).or_default() += 1;
    }
    let one = plots.len() == 1;
    let mut counts: Vec<_> = counts.into_iter().collect();
    counts.sort_by_key(|(analyte, n)| (std::cmp::Reverse(*n), *analyte));
    let word = |(analyte, n): &(crate::agronomy::analyte::Analyte, usize)| {
        if one { analyte.short() } else { format!("{} {n}", analyte.short()) }
    };
    match (plots.iter().all(|brief| brief.short.is_none()), counts.is_empty()) {
        (true, _) => "not known".into(),
        (false, true) => "nothing".into(),
        (false, false) => counts.iter().map(word).collect::<Vec<_>>().join(", "),
    }
}

fn harvested_kg(plots: &[&PlotBrief]) -> String {
    let known: Vec<f64> = plots.iter().filter_map(|brief| brief.harvested_kg).collect();
    if known.is_empty() { "not noted".into() } else { show::mass(known.iter().sum::<f64>() * 1e3) }
}

/// Net in kg/ha with its sign: "−120", "at most −12", "?" where neither side is known.
fn net_words(brought: &Flow, carried: &Flow) -> String {
    match Net::of(brought, carried) {
        Net::Unknown(_) => "?".into(),
        net => {
            let sign = match net {
                Net::AtMost(_) => "≤\u{202f}",
                Net::AtLeast(_) => "≥\u{202f}",
                _ => "",
            };
            format!("{sign}{}", show::number(net.of_known_parts().mid, 0))
        }
    }
}

fn plot_line(brief: &PlotBrief, season: SeasonId, starts_on: jiff::civil::Date) -> PlotLine {
    let balance = brief.balance.iter().map(|(element, brought, carried)| BalanceLine {
        element: element.symbol(),
        brought: String::new(),
        carried: String::new(),
        net: net_words(brought, carried),
        path: season_path(brief.plot.id, starts_on, *element),
    });
    PlotLine {
        path: format!("/plots/{}/summary?season={season}", brief.plot.id),
        code: brief.plot.code.clone(),
        title: titled(&brief.plot),
        crops: brief.crops.join(", "),
        harvested: harvested_kg(&[brief]),
        balance: balance.collect(),
        tests: match (brief.tests, brief.last_sampled) {
            (0, Some(on)) => on.year().to_string(),
            (0, None) => "never".into(),
            (1, _) => "yes".into(),
            (n, _) => show::count(n, "sample"),
        },
        short: short_of(&[brief]),
    }
}

fn block_line((name, plots): (&str, Vec<&PlotBrief>), path: String) -> BlockLine {
    let mut crops: BTreeMap<&str, usize> = BTreeMap::new();
    for crop in plots.iter().flat_map(|brief| &brief.crops) {
        *crops.entry(crop).or_default() += 1;
    }
    let mut crops: Vec<_> = crops.into_iter().collect();
    crops.sort_by_key(|(name, n)| (std::cmp::Reverse(*n), *name));
    let more = crops.len().saturating_sub(3);
    let mut named: Vec<String> = crops.iter().take(3).map(|(name, n)| format!("{name} {n}")).collect();
    named.extend((more > 0).then(|| format!("{more} more")));
    let tested = plots.iter().filter(|brief| brief.tests > 0).count();
    BlockLine {
        path,
        name: name.to_owned(),
        plots: plots.len(),
        crops: named.join(", "),
        harvested: harvested_kg(&plots),
        tests: format!("{tested} of {}", plots.len()),
        short: short_of(&plots),
    }
}

/// `GET /plots/{plot}/summary?season={season}&paper={paper}`
pub async fn plot(cx: Cx, Path(id): Path<PlotId>, Query(wanted): Query<Wanted>) -> Result<PlotYearPage> {
    let summary = cx.app.plot_year(&cx.actor, id, wanted.season()).await?;
    let plot = cx.app.plot(&cx.actor, id).await?;
    let names = Names::load(&cx, id).await?;
    let (unit, liking) = (summary.site.rate_unit.clone(), cx.actor.liking);
    let sheet = |year: &Year<PlotYear>| {
        let of_plot = year.plots.first()?;
        Some(plot_sheet(of_plot, &year.products, &unit, liking, &names))
    };
    let title = format!("{}: a season on paper", titled(&plot));
    Ok(PlotYearPage {
        frame: under_plot(&cx, &summary.site, &plot, title),
        top: head(&cx, &summary, &wanted, vec![]),
        year: summary.year.as_ref().and_then(sheet),
    })
}

/// The blocks of some plots: number, name and whether it is the one wanted, with one for all of them.
fn blocks(plots: &[PlotBrief], wanted: Option<BlockId>) -> Vec<(String, String, bool)> {
    let mut blocks = vec![(String::new(), "all".to_owned(), wanted.is_none())];
    for PlotRow { block, block_name, .. } in plots.iter().map(|brief| &brief.plot) {
        if let (Some(id), Some(name)) = (block, block_name)
            && !blocks.iter().any(|(key, ..)| *key == id.to_string())
        {
            blocks.push((id.to_string(), name.clone(), wanted == Some(*id)));
        }
    }
    if blocks.len() > 2 { blocks } else { vec![] }
}

/// `GET /sites/{site}/summary?season={season}&paper={paper}&block={block}&length={length}`
pub async fn site(cx: Cx, Path(id): Path<SiteId>, Query(wanted): Query<Wanted>) -> Result<SiteYearPage> {
    let summary = cx.app.site_year(&cx.actor, id, wanted.season()).await?;
    let unit = summary.site.rate_unit.as_str();
    let all = summary.year.as_ref().map_or(&[][..], |year| &year.plots);
    let block: Option<BlockId> = wanted.block.trim().parse().ok();
    let block = block.filter(|block| all.iter().any(|brief| brief.plot.block == Some(*block)));
    let plots: Cow<'_, [PlotBrief]> = match block {
        Some(block) => all.iter().filter(|brief| brief.plot.block == Some(block)).cloned().collect(),
        None => Cow::Borrowed(all),
    };
    let room = wanted.room();
    let mut page = SiteYearPage {
        frame: under_site(&cx, &summary.site, format!("{}: the season on paper", summary.site.name)),
        top: Head { sheets: room.said, lengths: wanted.lengths(), ..head(&cx, &summary, &wanted, blocks(all, block)) },
        register: vec![],
        more_lines: (0, 0),
        everything: String::new(),
        products: vec![],
        more_products: 0,
        evidence: String::new(),
        plots: vec![],
        blocks: vec![],
        more_blocks: 0,
    };
    let Some(year) = &summary.year else { return Ok(page) };
    let season = &year.season;
    let of_all = register(&plots, room.lines);
    page.register = of_all.lines.iter().map(|line| group(line, &plots, unit)).collect();
    page.more_lines = of_all.more;
    page.everything = format!("/sites/{id}/applications?from={}&to={}", season.starts_on, season.ends_on);
    let products = if block.is_some() { year.products_of(&plots) } else { year.products.clone() };
    page.products = products.iter().take(room.products).map(product).collect();
    page.more_products = products.len().saturating_sub(room.products);
    let samples = |of: fn(&PlotBrief) -> usize| plots.iter().map(of).sum::<usize>();
    let tested = plots.iter().filter(|brief| brief.tests > 0).count();
    page.evidence = format!(
        "Soil was sampled on {tested} of {}; the lab’s own sheet is kept with {} of {}.",
        show::count(plots.len(), "plot"),
        samples(|brief| brief.with_sheet),
        show::count(samples(|brief| brief.tests), "sample"),
    );
    // Of one block there is nothing to group by: it takes the sheets that it takes, where it may.
    let one_block = wanted.length != "one" && plots.iter().all(|brief| brief.plot.block == plots[0].plot.block);
    if plots.len() <= room.plots || one_block {
        page.plots = plots.iter().map(|brief| plot_line(brief, season.id, season.starts_on)).collect();
    } else {
        let mut groups: Vec<(&str, Option<BlockId>, Vec<&PlotBrief>)> = Vec::new();
        for brief in plots.iter() {
            let block = brief.plot.block;
            match groups.iter_mut().find(|(_, known, _)| *known == block) {
                Some((.., briefs)) => briefs.push(brief),
                None => groups.push((brief.plot.block_name.as_deref().unwrap_or("In no block"), block, vec![brief])),
            }
        }
        page.more_blocks = groups.len().saturating_sub(room.blocks);
        let line = |(name, block, briefs): (&'_ str, Option<BlockId>, Vec<&PlotBrief>)| {
            let path = match block {
                Some(block) => format!("/sites/{id}/summary?season={}&block={block}", season.id),
                None => format!("/sites/{id}"),
            };
            block_line((name, briefs), path)
        };
        page.blocks = groups.into_iter().take(room.blocks).map(line).collect();
    }
    Ok(page)
}
