//! The ledger of a plot: what came, what harvests took, season by season and added up, in
//! kg/ha and in grams on the plot, every figure with its working; and the same as a file.

use super::{
    plot::{WorkingPage, html},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{
        amendment::Kind,
        balance::{Entry, Flow, Line, Net, SeasonAccount},
        crop::Crop,
        element::Element,
        offtake::Span,
        quantity::SquareMetres,
        surplus::{PhosphateSurplus, SURPLUS_RULE},
    },
    app::harvests::PlotLedger,
    ids::PlotId,
    web::{
        error::{Error, Result},
        guard::Cx,
        show,
        view::{Frame, Steps, in_address},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::{HeaderValue, header},
    response::{IntoResponse, Response},
};
use jiff::civil::Date;

/// The ledger of a plot.
#[derive(Template, WebTemplate)]
#[template(path = "pages/years/ledger.html")]
pub struct LedgerPage {
    frame: Frame,
    plot: PlotId,
    site: crate::ids::SiteId,
    /// Newest first.
    seasons: Vec<SeasonView>,
    notes: Vec<String>,
    overdrawn: Vec<String>,
    /// More phosphate than a published rule lets.
    surplus: Option<PhosphateSurplus>,
}

struct SeasonView {
    name: String,
    span: String,
    open: bool,
    came: Vec<Group>,
    went: Vec<EntryLine>,
    dug_in: Vec<String>,
    main: Vec<LineView>,
    traces: Vec<LineView>,
    notes: Vec<String>,
}

/// What came of one sort.
struct Group {
    sort: &'static str,
    entries: Vec<EntryLine>,
}

struct EntryLine {
    path: String,
    words: String,
    /// What it held of the main elements, as grams on the plot.
    held: String,
}

struct LineView {
    name: String,
    brought: Side,
    carried: Side,
    net: Side,
    so_far: Side,
}

/// One figure of a line.
struct Side {
    rate: String,
    mass: String,
    /// Nothing of it is known.
    unknown: bool,
    working: String,
}

/// Elements that a ledger shows first, in the order of the bag.
const MAIN: [Element; 6] = [Element::N, Element::P, Element::K, Element::Ca, Element::Mg, Element::S];

/// How many seasons stand open.
const OPEN: usize = 2;

fn sort_of(kind: Kind) -> &'static str {
    match kind {
        Kind::Compost => "Compost",
        Kind::Manure => "Manure",
        Kind::PlantMeal | Kind::AnimalMeal | Kind::Ash => "Meals and ashes",
        Kind::Salt | Kind::Lime | Kind::Mineral => "Salts, limes and minerals",
    }
}

fn amount(span: Span, area: SquareMetres, before: &str) -> (String, String) {
    let lead = if before.is_empty() { String::new() } else { format!("{before} ") };
    let mut mass = show::element_mass(Line::grams(span, area).mid);
    if span.has_range() {
        mass += &format!("; {} to {}", show::significant(span.low, 2), show::significant(span.high, 2));
    }
    (format!("{lead}{}", show::element_rate(span.mid)), mass)
}

fn flow(flow: &Flow, area: SquareMetres, working: String) -> Side {
    let unknown = !flow.is_complete() && flow.known == Span::exact(0.0);
    if unknown {
        return Side { rate: "not known".into(), mass: String::new(), unknown, working };
    }
    let (rate, mass) = amount(flow.known, area, if flow.is_complete() { "" } else { "at least" });
    Side { rate, mass, unknown, working }
}

fn net(net: Net, area: SquareMetres, working: String) -> Side {
    match net {
        Net::Unknown(_) => Side { rate: "not known".into(), mass: String::new(), unknown: true, working },
        net => {
            let (rate, mass) = amount(net.of_known_parts(), area, net.words());
            Side { rate, mass, unknown: false, working }
        }
    }
}

fn line(plot: PlotId, season: &SeasonAccount, at: usize, area: SquareMetres) -> LineView {
    let (line, so_far) = (&season.lines[at], &season.so_far[at]);
    let path = |what: &str| working_path(plot, season, line.element, what);
    LineView {
        name: capitalised(line.element.name()),
        brought: flow(&line.brought, area, path("season")),
        carried: flow(&line.carried, area, path("season")),
        net: net(line.net, area, path("season")),
        so_far: net(so_far.net, area, path("since")),
    }
}

fn working_path(plot: PlotId, season: &SeasonAccount, element: Element, what: &str) -> String {
    format!("/plots/{plot}/ledger/{}/{element}/{what}", season.starts_on)
}

fn entry(entry: &Entry, area: SquareMetres) -> EntryLine {
    let held = MAIN.iter().filter_map(|element| {
        let rate = entry.kg_per_ha.get(element).filter(|rate| rate.mid > 0.0)?;
        Some(format!("{element} {}", show::element_mass(Line::grams(*rate, area).mid)))
    });
    let of = if entry.kind.is_none() { "harvests" } else { "applications" };
    let words = match entry.kind {
        None if entry.mass_g == 0.0 => format!("{}: nothing left the plot", show::date(entry.on)),
        _ => format!("{}: {}, {}", show::date(entry.on), entry.what, show::mass(entry.mass_g)),
    };
    EntryLine { path: format!("/{of}/{}", entry.key), words, held: held.collect::<Vec<_>>().join(" · ") }
}

fn season(plot: PlotId, account: &SeasonAccount, area: SquareMetres, open: bool) -> SeasonView {
    let mut came: Vec<Group> = Vec::new();
    for one in &account.came {
        let sort = one.kind.map_or("", sort_of);
        match came.iter_mut().find(|group| group.sort == sort) {
            Some(group) => group.entries.push(entry(one, area)),
            None => came.push(Group { sort, entries: vec![entry(one, area)] }),
        }
    }
    came.sort_by_key(|group| group.sort);
    let is_main = |at: &usize| MAIN.contains(&account.lines[*at].element);
    let (main, traces): (Vec<usize>, Vec<usize>) = (0..account.lines.len()).partition(is_main);
    let lines = |places: Vec<usize>| places.into_iter().map(|at| line(plot, account, at, area)).collect();
    SeasonView {
        name: account.name.clone(),
        span: format!("{} to {}", show::date(account.starts_on), show::date(account.ends_on)),
        open,
        came,
        went: account.went.iter().map(|one| entry(one, area)).collect(),
        dug_in: account.dug_in.clone(),
        main: lines(main),
        traces: lines(traces),
        notes: account.notes.clone(),
    }
}

impl LedgerPage {
    fn rule(&self) -> &'static str {
        SURPLUS_RULE.publisher
    }

    fn rule_address(&self) -> &'static str {
        SURPLUS_RULE.address
    }

    fn surplus_steps<'a>(&self, surplus: &'a PhosphateSurplus) -> Steps<'a> {
        Steps::of(&surplus.working, &|_| None)
    }
}

/// `GET /plots/{plot}/ledger`
pub async fn show(cx: Cx, Path(id): Path<PlotId>) -> Result<LedgerPage> {
    let PlotLedger { plot, ledger, .. } = cx.app.plot_ledger(&cx.actor, id).await?;
    let site = cx.app.site(&cx.actor, plot.site).await?;
    let area = SquareMetres(plot.area_m2);
    let seasons = ledger.seasons.iter().rev().enumerate().map(|(n, account)| season(id, account, area, n < OPEN));
    Ok(LedgerPage {
        frame: under_plot(&cx, &site, &plot, format!("What came to {} and what went", titled(&plot))),
        plot: id,
        site: plot.site,
        seasons: seasons.collect(),
        notes: ledger.notes.clone(),
        overdrawn: cx.app.overdrawn(&cx.actor, id).await?,
        surplus: cx.app.phosphate_surplus(&cx.actor, id).await?,
    })
}

/// `GET /plots/{plot}/ledger/{from}/{element}/{what}`: the working of a line, of the season that
/// starts on a day (`season`) or of all up to its end (`since`).
pub async fn working(
    cx: Cx,
    Path((id, from, element, what)): Path<(PlotId, Date, Element, String)>,
) -> Result<Response> {
    let PlotLedger { plot, ledger, .. } = cx.app.plot_ledger(&cx.actor, id).await?;
    let site = cx.app.site(&cx.actor, plot.site).await?;
    let account = ledger.seasons.iter().find(|account| account.starts_on == from).ok_or_else(Error::not_found)?;
    let (lines, when, other) = match what.as_str() {
        "season" => (&account.lines, account.name.clone(), ("Since the record begins", "since")),
        "since" => (&account.so_far, format!("up to the end of {}", account.name), ("This season alone", "season")),
        _ => return Err(Error::not_found()),
    };
    let line = lines.iter().find(|line| line.element == element).ok_or_else(Error::not_found)?;
    let title = format!("{}, {when}", capitalised(element.name()));
    let (rate, _) = amount(line.net.of_known_parts(), SquareMetres(plot.area_m2), line.net.words());
    html(&WorkingPage {
        frame: under_plot(&cx, &site, &plot, title).under(format!("/plots/{id}/ledger"), "What came and went"),
        figure: rate,
        steps: Steps::of(&line.working, &|_| None),
        why: vec![],
        others: vec![(other.0, working_path(id, account, element, other.1))],
        beside: None,
        numbers: None,
    })
}

fn capitalised(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().chain(letters).collect())
}

/// `GET /plots/{plot}/ledger.csv`
pub async fn csv(cx: Cx, Path(id): Path<PlotId>) -> Result<Response> {
    let (name, bytes) = cx.app.ledger_csv(&cx.actor, id).await?;
    Ok(csv_response(&name, bytes))
}

/// A file to keep: CSV under a name.
pub(super) fn csv_response(name: &str, bytes: Vec<u8>) -> Response {
    let name = in_address(name).replace('/', "%2F");
    let disposition = HeaderValue::from_str(&format!("attachment; filename*=UTF-8''{name}"));
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static("text/csv; charset=utf-8")),
        (header::CONTENT_DISPOSITION, disposition.unwrap_or(HeaderValue::from_static("attachment"))),
    ];
    (headers, bytes).into_response()
}

/// The crops that are dug in, for the page's own sentence.
fn green_manures() -> String {
    let named = crate::agronomy::crop::CROPS.iter().filter(|crop| crop.stays_on_the_plot()).map(Crop::in_sentence);
    named.collect::<Vec<_>>().join("; ")
}
