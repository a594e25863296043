//! One nutrient of a plot over the years, one picture for each method: tests that do not
//! compare are never joined, and what the tests can carry is said in one sentence.

use super::{
    calibration::forecast_path,
    plot::{WorkingPage, cell_pages, html, trend_path, working_path},
    plots::{titled, under_plot},
    trend_second::{Numbers, of_lime},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        drift::{self, Z_90},
        liking::{Conversion, Liking, Weighed},
        method::Method,
        plausibility::OverYears,
        rate::RateUnit,
        record::{Application, Qualifier},
        response::{LIME_REACTS_MONTHS, Liming, limed_before},
        working::{Figure, Working},
    },
    app::{
        forecasts::ForecastResult,
        outlook::way_of,
        responses::PlotResponse,
        trends::{MethodTrend, PlotTrend},
    },
    ids::PlotId,
    web::{
        chart::{Mark, Point, Segment, Trend},
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show,
        view::{Frame, Steps},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{extract::Path, response::Response};
use std::collections::BTreeSet;

/// The second reading of the same tests: less what was added and removed.
#[derive(Template)]
#[template(path = "parts/net.html")]
pub struct NetReading {
    pub(super) title: &'static str,
    pub(super) readings: Vec<NetChart>,
    /// Runs of tests that nothing can be said of, and why.
    pub(super) refused: Vec<(String, String)>,
    /// Where what came and went is accounted for; `None` of lime.
    pub(super) ledger: Option<String>,
}

pub(super) struct NetChart {
    /// Which run, and which of its tests are read.
    pub(super) title: String,
    pub(super) words: String,
    /// That the others are not, where some are left out.
    pub(super) partial: Option<String>,
    /// "Net", and what it is read in.
    pub(super) net_name: &'static str,
    pub(super) net_unit: String,
    pub(super) picture: Trend,
    pub(super) rows: Vec<NetRow>,
    /// The response that the net was turned into, where it comes from and its error.
    pub(super) response: String,
    /// Where the response comes from.
    pub(super) working: Option<Working>,
    pub(super) notes: Vec<String>,
}

impl NetChart {
    fn steps(&self) -> Option<Steps<'_>> {
        self.working.as_ref().map(|working| Steps::of(working, &|_| None))
    }
}

pub(super) struct NetRow {
    pub(super) on: String,
    pub(super) found: String,
    pub(super) net: String,
    pub(super) moved: String,
    pub(super) left: String,
}

impl askama::filters::HtmlSafe for NetReading {}

/// A nutrient over the years.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plots/trend.html")]
pub struct TrendPage {
    frame: Frame,
    verdict: String,
    notes: Vec<String>,
    numbers: Option<Numbers>,
    charts: Vec<Chart>,
    /// Address of the page itself.
    path: String,
    /// The second reading, where it is asked for.
    net: Option<NetReading>,
    /// There is a second reading: of an element by its ledger, of pH by the lime.
    has_second: bool,
    /// Its name.
    second: &'static str,
    /// What agreed plans expected of these tests, newest first, each with where it is opened.
    forecasts: Vec<(String, String)>,
    breaks: Vec<String>,
    /// What the sheets ask about these values: day, question, and where it is asked.
    questions: Vec<(String, String, String)>,
    /// The review that reads all plots together, of this nutrient.
    review: String,
    /// Tests that no picture can show, and why.
    left_out: Vec<String>,
    /// Working of the newest result, where it is the one used.
    working: Option<String>,
    /// Working of the change a year, where there is one.
    slope: Option<String>,
    /// The other things tested on this plot.
    others: Vec<(String, String)>,
}

struct Chart {
    picture: Trend,
    no_aim: Option<String>,
    notes: Vec<String>,
}

/// The last step from the levels of one method to what is read, where there is one.
fn step(trend: &PlotTrend, method: &Method, unit: &str, liking: Liking) -> Option<Conversion> {
    let history = trend.standing.survey.history(trend.analyte);
    let ground = trend.standing.plot.ground();
    let newest = history.iter().rfind(|r| r.method == *method && r.level.unit() == unit)?;
    liking.for_trend(newest.into(), Weighed { ground: &ground, by: way_of(&trend.site).by })
}

/// A level that the verdict rests on, as it is read. Runs that are read together need not be in one
/// unit: each level is read as its own run is.
pub(super) fn level(trend: &PlotTrend, liking: Liking, level: &Figure) -> Figure {
    let Some((method, _)) = &trend.judged else { return level.clone() };
    let own = trend.methods.iter().find(|one| one.method == *method && one.unit == level.unit);
    let run = own.or_else(|| trend.methods.iter().find(|one| one.unit == level.unit));
    let step = run.and_then(|run| step(trend, &run.method, run.unit, liking));
    step.map_or_else(|| level.clone(), |step| step.figure(level))
}

/// The sentence about all tests, its levels as they are read.
fn verdict(trend: &PlotTrend, liking: Liking) -> String {
    drift::read_in(&trend.verdict.words, &trend.verdict.levels, |found| level(trend, liking, found))
}

/// What a plan expected, its levels as they are read.
fn expected(trend: &PlotTrend, result: &ForecastResult, liking: Liking) -> String {
    match step(trend, &result.row.method, &result.row.unit, liking) {
        Some(step) => result.words_in(&step.unit, |level| step.there(level)),
        None => result.words(),
    }
}

fn chart(trend: &PlotTrend, method: &MethodTrend, marks: &[Mark], liking: Liking) -> Chart {
    let analyte = trend.analyte;
    let step = step(trend, &method.method, method.unit, liking);
    let read = |value: f64| step.as_ref().map_or(value, |step| step.there(value));
    let picture = Trend {
        title: format!("{} by {}", analyte.name(), method.method.label()),
        unit: step.as_ref().map_or_else(|| method.unit.to_owned(), |step| step.unit.clone()),
        segments: method.segments.iter().map(|of| segment(of, step.as_ref(), trend, &read)).collect(),
        aim: method.aim.map(|(low, high)| (read(low), read(high))),
        marks: marks.to_vec(),
    };
    let mut notes: Vec<String> = method.segments.iter().flat_map(|s| s.notes.clone()).collect();
    notes.sort();
    notes.dedup();
    Chart { picture, no_aim: method.no_aim.clone(), notes }
}

fn segment(
    segment: &drift::Segment,
    step: Option<&Conversion>,
    trend: &PlotTrend,
    read: &impl Fn(f64) -> f64,
) -> Segment {
    let label = segment.label_in(step.map_or(segment.unit, |step| step.unit.as_str()));
    Segment { label, points: segment.points.iter().map(|of| point(of, segment.scale, trend, read)).collect() }
}

/// Where a question is asked.
fn asked_at(asked: &OverYears) -> String {
    format!("/samplings/{}#questions", asked.sampling)
}

pub(super) fn point(point: &drift::Point, scale: drift::Scale, trend: &PlotTrend, read: &impl Fn(f64) -> f64) -> Point {
    let mut notes = Vec::new();
    if point.date_assumed {
        notes.push("date assumed".to_owned());
    }
    if point.replicates > 1 {
        notes.push(format!("mean of {} tests", point.replicates));
    }
    if let Some(on) = limed_before(point.sampled_on, &trend.limings) {
        notes.push(format!(
            "taken within {LIME_REACTS_MONTHS} months after liming on {}: the lime may not have reacted",
            show::date(on)
        ));
    }
    let remarks: BTreeSet<&String> = point.cells.iter().filter_map(|cell| trend.remarks.get(cell)).flatten().collect();
    let remarked = !remarks.is_empty();
    notes.extend(remarks.into_iter().cloned());
    let (low, high) = match point.qualifier {
        Qualifier::Exact => point.error_bar(scale),
        _ => (None, None),
    };
    Point {
        date: point.sampled_on,
        value: read(point.value),
        qualifier: point.qualifier,
        low: low.map(read),
        high: high.map(read),
        note: notes.join("; "),
        remarked,
        asked: trend
            .questions
            .iter()
            .find(|asked| asked.question.cells.iter().any(|cell| point.cells.contains(cell)))
            .map(asked_at),
    }
}

impl TrendPage {
    fn of(cx: &Cx, trend: &PlotTrend, net: Option<NetReading>, forecasts: &[ForecastResult]) -> TrendPage {
        let (plot, analyte) = (&trend.standing.plot, trend.analyte);
        let title = format!("{} on {} over the years", analyte.name(), titled(plot));
        let left_out = trend.methods.iter().flat_map(|m| &m.segments).flat_map(|s| &s.left_out);
        let others = trend.standing.survey.analytes().into_iter().filter(|other| *other != analyte);
        let mark =
            |a: &Application| Mark { date: a.applied_on, label: format!("{}, {}", a.amendment, show::mass(a.mass_g)) };
        let lime = |liming: &Liming| Mark {
            date: liming.on,
            label: format!(
                "{}: lime, {} kg/ha CaCO₃-equivalent",
                liming.name,
                show::significant(liming.carbonate.0, 3)
            ),
        };
        let marks: Vec<Mark> = trend.put_on.iter().map(mark).chain(trend.limings.iter().map(lime)).collect();
        TrendPage {
            frame: under_plot(cx, &trend.site, plot, title),
            verdict: verdict(trend, cx.actor.liking),
            notes: trend.verdict.notes.clone(),
            numbers: Numbers::of(trend, cx.actor.liking),
            charts: trend.methods.iter().map(|method| chart(trend, method, &marks, cx.actor.liking)).collect(),
            path: trend_path(plot.id, analyte),
            net,
            has_second: analyte.element().is_some() || analyte == Analyte::Ph,
            second: if analyte == Analyte::Ph { "Less what lime did" } else { "Less what was added and removed" },
            forecasts: forecasts
                .iter()
                .rev()
                .filter(|result| result.row.analyte == analyte)
                .map(|result| {
                    let said = expected(trend, result, cx.actor.liking);
                    (format!("{said} {}", method_words(trend, result)), forecast_path(result.row.id))
                })
                .collect(),
            breaks: once(trend.breaks.iter().map(|gap| gap.words.clone())),
            questions: trend
                .questions
                .iter()
                .map(|asked| (show::date(asked.sampled_on), asked.question.text.clone(), asked_at(asked)))
                .collect(),
            review: format!("/sites/{}/drift?nutrient={analyte}", trend.site.id),
            left_out: left_out.map(|test| format!("{}: {}", show::date(test.sampled_on), test.why)).collect(),
            working: trend.standing.present.standing.get(analyte).map(|_| working_path(plot.id, analyte, "found")),
            slope: trend.slope.as_ref().map(|_| format!("{}/working", trend_path(plot.id, analyte))),
            others: others.map(|other| (other.name(), trend_path(plot.id, other))).collect(),
        }
    }
}

/// By which method, where the page shows several.
fn method_words(trend: &PlotTrend, result: &ForecastResult) -> String {
    if trend.methods.len() > 1 { format!("({})", result.row.method.label()) } else { String::new() }
}

impl NetReading {
    fn of(trend: &PlotTrend, responses: &[PlotResponse], liking: Liking) -> NetReading {
        let analyte = trend.analyte;
        let mut reading = NetReading {
            title: "Beyond what was added and removed",
            readings: vec![],
            refused: vec![],
            ledger: Some(format!("/plots/{}/ledger", trend.standing.plot.id)),
        };
        let Some(element) = analyte.element() else {
            let why = format!(
                "{} is no element: no kilograms of it come or go, so there is no ledger of it.",
                analyte.name()
            );
            reading.refused.push((analyte.name(), why));
            return reading;
        };
        // The method that is trusted here first, as in the pictures, and of each the newest run.
        let mut newest: Vec<&PlotResponse> = responses.iter().rev().collect();
        newest.sort_by_key(|one| trend.methods.iter().position(|method| method.method == one.segment.method));
        for one in newest {
            let segment = &one.segment;
            let step = step(trend, &segment.method, segment.unit, liking);
            let unit = step.as_ref().map_or(segment.unit, |step| step.unit.as_str());
            let read = |level: f64| step.as_ref().map_or(level, |step| step.there(level));
            let area = trend.standing.plot.ground().area;
            let net = liking.by_rate().need_conversion(element, area, RateUnit::KgPerHa);
            let Some(beyond) = one.beyond.as_ref().map(|beyond| beyond.read_in(read(1.0), net.there(1.0))) else {
                reading.refused.push((segment.label_in(unit), one.why_not_beyond().unwrap_or_default()));
                continue;
            };
            let points = one.net_points();
            let drawn = points.iter().map(|at| Point {
                value: read(at.left),
                low: None,
                high: None,
                ..point(&at.point, segment.scale, trend, &read)
            });
            let picture = Trend {
                title: format!("{} by {}, had nothing come or gone", analyte.name(), segment.method.label()),
                unit: unit.into(),
                segments: vec![Segment { label: segment.label_in(unit), points: drawn.collect() }],
                aim: None,
                marks: vec![],
            };
            let rows = points.iter().map(|at| NetRow {
                on: show::date(at.point.sampled_on),
                found: format!("{}{}", at.point.qualifier.sign(), show::significant(read(at.point.value), 3)),
                net: show::significant(net.there(at.net_kg_per_ha), 3),
                moved: show::significant(read(at.moved), 3),
                left: show::significant(read(at.left), 3),
            });
            let how = if beyond.fitted { "fitted together with the drift" } else { "held at what is known of it" };
            let (low, high) = beyond.interval_90();
            let mut notes = beyond.notes.clone();
            notes.extend(one.left_out.iter().cloned());
            let (used, all) = (points.len(), show::count(segment.points.len(), "test"));
            let partial = (!one.left_out.is_empty())
                .then(|| format!("Only {used} of {all} are read: what came and went between the others is not known."));
            let days = || points.iter().map(|at| at.point.sampled_on.year());
            let years = match (days().min(), days().max()) {
                (Some(from), Some(to)) if from != to => format!("{from} to {to}"),
                (Some(year), _) => year.to_string(),
                _ => String::new(),
            };
            if beyond.limits_left_out > 0 {
                notes.push(format!("{} only a limit: left out.", show::count(beyond.limits_left_out, "test")));
            }
            reading.readings.push(NetChart {
                title: format!("{}, {years}", segment.label_in(unit)),
                partial,
                words: beyond.words(element, unit),
                picture,
                rows: rows.collect(),
                response: format!(
                    "Level = {} + {} × net + {} × years, by {}; the response ({} {unit} per {}) is {how}; as tested {} {unit} a year (± {}), what is left is {} to {} {unit} a year (90 %).",
                    show::significant(beyond.start, 3),
                    show::significant(beyond.response, 2),
                    show::significant(beyond.per_year, 2),
                    show::count(beyond.tests, "test"),
                    show::significant(beyond.response, 2),
                    net.unit,
                    show::significant(beyond.as_tested.0, 2),
                    show::significant(Z_90 * beyond.as_tested.1, 2),
                    show::significant(low, 2),
                    show::significant(high, 2)
                ),
                working: one.response.as_ref().map(|response| response.working.clone()),
                net_name: "Net",
                net_unit: net.unit.clone(),
                notes,
            });
        }
        if reading.readings.is_empty() && reading.refused.is_empty() {
            reading.refused.push((analyte.name(), "No test of it yet.".into()));
        }
        reading
    }
}

/// Each sentence once: two extractants on the same samples break at the same place.
fn once(sentences: impl Iterator<Item = String>) -> Vec<String> {
    let mut told: Vec<String> = Vec::new();
    for sentence in sentences {
        if !told.contains(&sentence) {
            told.push(sentence);
        }
    }
    told
}

/// `GET /plots/{plot}/trend/{analyte}`, with `reading=net` for the second reading.
pub async fn show(cx: Cx, Path((plot, analyte)): Path<(PlotId, String)>, form: Form) -> Result<TrendPage> {
    let analyte: Analyte = analyte.parse().map_err(|_| Error::not_found())?;
    let trend = cx.app.plot_trend(&cx.actor, plot, analyte).await?;
    let forecasts = cx.app.plot_forecasts(&cx.actor, &trend.standing).await?;
    let net = match (form.value("reading"), analyte.element()) {
        ("net", Some(element)) => {
            let responses = cx.app.plot_responses(&cx.actor, plot, element).await?;
            Some(NetReading::of(&trend, &responses, cx.actor.liking))
        }
        ("net", None) if analyte == Analyte::Ph => Some(of_lime(&trend)),
        ("net", None) => Some(NetReading::of(&trend, &[], cx.actor.liking)),
        _ => None,
    };
    Ok(TrendPage::of(&cx, &trend, net, &forecasts))
}

/// `GET /plots/{plot}/trend/{analyte}/working`: the change a year, opened.
pub async fn working(cx: Cx, Path((plot, analyte)): Path<(PlotId, String)>) -> Result<Response> {
    let analyte: Analyte = analyte.parse().map_err(|_| Error::not_found())?;
    let trend = cx.app.plot_trend(&cx.actor, plot, analyte).await?;
    let slope = trend.slope.as_ref().ok_or_else(Error::not_found)?;
    let pages = cell_pages(&trend.standing);
    html(&WorkingPage {
        frame: under_plot(&cx, &trend.site, &trend.standing.plot, format!("{}: change a year", analyte.name())),
        figure: show::figure(&slope.figure),
        steps: Steps::of(slope, &|key| pages.get(&key).cloned()),
        why: trend.verdict.notes.clone(),
        others: vec![("As a picture", trend_path(plot, analyte))],
        beside: None,
        numbers: Numbers::of(&trend, cx.actor.liking),
    })
}
