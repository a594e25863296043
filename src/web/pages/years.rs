//! What the years teach: how tests answered to what came and went, when to sample what, and
//! what is at stake when a test is wrong.

use super::{
    plot::{html, trend_path},
    plots::{titled, under_plot, under_site},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        calendar::{Interval, Visit},
        element::Element,
        response::LEAST_NET,
        source::Citation,
    },
    app::{
        plots::{PlotRow, SiteRow},
        responses::PlotResponse,
        retests::{PlotRetest, StakesForm},
    },
    ids::{PlotId, SiteId},
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps, see},
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

/// How a plot's tests answered.
#[derive(Template)]
#[template(path = "pages/years/response.html")]
struct ResponsePage<'a> {
    frame: Frame,
    plot: PlotId,
    learned: Vec<Learned<'a>>,
    /// Nothing can be said of these, and why.
    silent: Vec<(String, String)>,
    least_net: f64,
}

struct Learned<'a> {
    name: String,
    trend: String,
    label: String,
    figure: String,
    range: String,
    /// How much of it is the plot's own tests.
    own: String,
    /// Why its own tests teach nothing.
    skipped: Option<String>,
    raise: Option<String>,
    unit: &'static str,
    steps: Steps<'a>,
}

fn learned<'a>(plot: PlotId, element: Element, one: &'a PlotResponse) -> Option<Learned<'a>> {
    let response = one.response.as_ref()?;
    let unit = one.segment.unit;
    let (low, high) = response.range_90();
    let raise = response.to_raise(10.0).map(|(middle, least, most)| {
        let least = show::significant(least.0, 2);
        let range = match most {
            Some(most) => format!("{least} to {}", show::significant(most.0, 2)),
            None => format!("at least {least}; how much more the tests do not bound"),
        };
        format!("{}\u{a0}kg/ha ({range})", show::significant(middle.0, 2))
    });
    Some(Learned {
        name: Analyte::Element(element).name(),
        trend: format!("{}?reading=net", trend_path(plot, Analyte::Element(element))),
        label: one.segment.label(),
        figure: format!("{}\u{a0}{unit} per kg/ha", show::significant(response.response, 2)),
        range: format!("{} to {}", show::significant(low, 2), show::significant(high, 2)),
        own: match response.own_share {
            share if share < 0.005 => {
                "The plots here answer so much alike that the garden’s mean stands for it.".into()
            }
            share => format!("{} of it is this plot’s own tests.", show::percent(share)),
        },
        skipped: response.own.as_ref().err().map(|skip| skip.words()),
        raise,
        unit,
        steps: Steps::of(&response.working, &|_| None),
    })
}

/// `GET /plots/{plot}/response`
pub async fn response(cx: Cx, Path(id): Path<PlotId>) -> Result<Response> {
    let plot = cx.app.plot(&cx.actor, id).await?;
    let site = cx.app.site(&cx.actor, plot.site).await?;
    let all = cx.app.plot_learning(&cx.actor, id).await?;
    let silent = all.iter().filter(|(_, one)| one.response.is_none()).map(|(element, one)| {
        let why = one.tests.as_ref().err().map(|skip| skip.words()).or_else(|| one.why_not_beyond());
        let name = Analyte::Element(*element).name();
        (format!("{name}, {}", one.segment.label()), why.unwrap_or_default())
    });
    html(&ResponsePage {
        frame: under_plot(&cx, &site, &plot, format!("How the tests of {} answered", titled(&plot))),
        plot: id,
        learned: all.iter().filter_map(|(element, one)| learned(id, *element, one)).collect(),
        silent: silent.collect(),
        least_net: LEAST_NET.0,
    })
}

/// The sampling calendar.
#[derive(Template, WebTemplate)]
#[template(path = "pages/years/calendar.html")]
pub struct CalendarPage {
    frame: Frame,
    site: SiteRow,
    groups: Vec<MonthView>,
    asked: Vec<AskedView>,
}

/// How often one publisher asks for a test.
struct AskedView {
    of: &'static str,
    words: String,
    rule: bool,
    source: &'static Citation,
    address: Option<&'static str>,
    mark: Option<&'static str>,
    /// Plots that have gone longer.
    longer: Vec<(PlotId, String)>,
}

fn asked(interval: &'static Interval, longer: &[PlotId], plots: &BTreeMap<PlotId, PlotRow>) -> AskedView {
    let code = |id: &PlotId| (*id, plots.get(id).map_or_else(String::new, |plot| plot.code.clone()));
    AskedView {
        of: &interval.of,
        words: interval.words(),
        rule: interval.rule,
        source: &interval.source,
        address: show::address(&interval.source),
        mark: show::evidence_mark(interval.source.evidence),
        longer: longer.iter().map(code).collect(),
    }
}

struct MonthView {
    title: String,
    /// Something to know about the group; empty for a month to come.
    remark: &'static str,
    visits: Vec<VisitView>,
}

/// One or more plots that are due alike.
struct VisitView {
    plots: Vec<(PlotId, String)>,
    when: String,
    last: String,
    why: Vec<String>,
    alike: Vec<String>,
}

fn visit(visit: &Visit, plots: &BTreeMap<PlotId, PlotRow>) -> VisitView {
    let id = PlotId(visit.plot);
    VisitView {
        plots: vec![(id, plots.get(&id).map_or_else(String::new, |plot| plot.code.clone()))],
        when: show::date(visit.next.due_on),
        last: visit.last.as_ref().map_or_else(|| "never".to_owned(), |last| show::date(last.on)),
        why: visit.next.why.iter().map(|(words, _)| words.clone()).collect(),
        alike: visit.alike.clone(),
    }
}

/// Plots that are due on one day for one reason stand together.
fn together(visits: &[Visit], plots: &BTreeMap<PlotId, PlotRow>) -> Vec<VisitView> {
    let mut all: Vec<VisitView> = Vec::new();
    for mut one in visits.iter().map(|one| visit(one, plots)) {
        let same = |other: &&mut VisitView| {
            (&other.when, &other.last, &other.why, &other.alike) == (&one.when, &one.last, &one.why, &one.alike)
        };
        match all.iter_mut().find(same) {
            Some(other) => other.plots.append(&mut one.plots),
            None => all.push(one),
        }
    }
    all
}

const MONTHS: [&str; 12] = [
    "January",
    "February",
    "March",
    "April",
    "May",
    "June",
    "July",
    "August",
    "September",
    "October",
    "November",
    "December",
];

/// `GET /sites/{site}/calendar`
pub async fn calendar(cx: Cx, Path(id): Path<SiteId>) -> Result<CalendarPage> {
    let found = cx.app.sampling_calendar(&cx.actor, id).await?;
    let view =
        |title: String, remark, visits: &[Visit]| MonthView { title, remark, visits: together(visits, &found.plots) };
    let mut groups = Vec::new();
    if !found.calendar.now.is_empty() {
        groups.push(view("Now".into(), "Due today or before.", &found.calendar.now));
    }
    if !found.calendar.at_the_lab.is_empty() {
        groups.push(view(
            "At the laboratory".into(),
            "Soil was taken; the sheet has not come back.",
            &found.calendar.at_the_lab,
        ));
    }
    for month in &found.calendar.months {
        let name = MONTHS.get(usize::from(month.month.unsigned_abs()).saturating_sub(1)).copied().unwrap_or_default();
        groups.push(view(format!("{name} {}", month.year), "", &month.visits));
    }
    let asked = found.asked.iter().map(|(interval, longer)| asked(interval, longer, &found.plots)).collect();
    Ok(CalendarPage { frame: under_site(&cx, &found.site, "Sampling calendar"), site: found.site, groups, asked })
}

/// What is at stake.
#[derive(Template, WebTemplate)]
#[template(path = "pages/years/stakes.html")]
pub struct StakesPage {
    frame: Frame,
    site: SiteRow,
    form: Form,
    own: bool,
}

impl StakesPage {
    async fn load(cx: &Cx, id: SiteId, form: Option<Form>) -> Result<StakesPage> {
        let site = cx.app.site(&cx.actor, id).await?;
        let (stakes, own) = cx.app.stakes(&cx.actor, id).await?;
        let form = form.unwrap_or_else(|| Form::of(&StakesForm::from(&stakes)));
        Ok(StakesPage { frame: under_site(cx, &site, "What is at stake"), site, form, own })
    }
}

/// `GET /sites/{site}/stakes`
pub async fn stakes(cx: Cx, Path(id): Path<SiteId>) -> Result<StakesPage> {
    StakesPage::load(&cx, id, None).await
}

/// `POST /sites/{site}/stakes`
pub async fn set_stakes(cx: Cx, Path(id): Path<SiteId>, form: Form) -> Result<Response> {
    match cx.app.set_stakes(&cx.actor, id, &form.read_as()?).await {
        Ok(()) => Ok(see(format!("/sites/{id}/stakes")).say("Saved.").into_response()),
        Err(error) => {
            let page = StakesPage::load(&cx, id, Some(form.refused(error)?)).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// What one more sample of a plot would be worth, as a part of a page.
pub(super) struct RetestView {
    pub lead: String,
    pub lines: Vec<RetestLine>,
    pub price: String,
    pub own_stakes: bool,
    pub site: SiteId,
}

pub(super) struct RetestLine {
    pub name: String,
    pub words: String,
    pub value: String,
    /// The numbers behind, in a sentence.
    pub behind: String,
}

/// Nutrients whose decision turns less often than this are counted, not listed.
const WORTH_LISTING: f64 = 0.05;

impl RetestView {
    pub(super) fn of(found: &PlotRetest, site: &SiteRow) -> Option<RetestView> {
        if found.nutrients.is_empty() {
            return None;
        }
        let money = |minor: f64| show::money(minor.round() as i64, &site.currency);
        let open: Vec<_> = found.nutrients.iter().filter(|one| one.retest.p_flip >= WORTH_LISTING).collect();
        let price = money(found.stakes.sheet_minor as f64);
        let lead = match (open.is_empty(), found.worth_it) {
            (true, _) => "No: another test would hardly change what to do here.".to_owned(),
            (false, true) => format!("Yes: it would spare {} on average, and costs {price}.", money(found.value_minor)),
            (false, false) => {
                format!(
                    "Not on this plot alone: it would spare {} on average, and costs {price}.",
                    money(found.value_minor)
                )
            }
        };
        let lines = open.into_iter().map(|one| {
            let unit = one.reading.level.unit();
            let spaced = if unit.is_empty() { String::new() } else { format!(" {unit}") };
            let (short, feeding, needlessly) = match one.analyte {
                Analyte::Ph => ("being too acid", "liming", "Liming"),
                _ => ("a shortage", "feeding", "Feeding"),
            };
            let left = if one.analyte == Analyte::Ph { "leaving it acid" } else { "leaving it short" };
            let others = match one.others {
                0 => "no other plots were heard".to_owned(),
                n => format!("{n} other plots by the same method were heard"),
            };
            RetestLine {
                name: one.analyte.name(),
                words: one.retest.turning(unit),
                value: money(one.retest.value),
                behind: format!(
                    "Found {}{spaced}, aim {}{spaced}; chance of {short} {}, and {feeding} pays from {} on; {others}. \
                     {needlessly} needlessly would lose {}, {left} {}.",
                    show::significant(one.question.found, 3),
                    show::significant(one.aim, 3),
                    show::percent(one.retest.p_below),
                    show::percent(one.retest.p_apply),
                    money(one.question.cost_needless),
                    money(one.question.cost_missed)
                ),
            }
        });
        Some(RetestView { lead, lines: lines.collect(), price, own_stakes: found.own_stakes, site: site.id })
    }
}
