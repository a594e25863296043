//! How the forecasts of a site held, a page of lines at a time; and one forecast opened: the
//! band, how it comes about, and the test that came.

use super::{
    plot::{cell_pages, html, trend_path},
    plots::{titled, under_plot, under_site},
};
use crate::{
    agronomy::forecast::{self, Calibration, Fell},
    app::{
        forecasts::{ForecastResult, ForecastReview, Start},
        plots::SiteRow,
    },
    ids::{ForecastId, PlotId, SiteId},
    web::{
        error::Result,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps, in_address},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Path, Query},
    response::Response,
};
use serde::Deserialize;
use std::{cmp::Reverse, collections::BTreeMap};

/// Lines on a page.
const LINES: usize = 50;

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// Which forecasts: a key of [`WHICH`]; anything else is the first.
    which: String,
    /// Nutrient and method, as [`test_key`] writes them; empty for all.
    test: String,
    /// Name of a season; empty for all.
    season: String,
    from: String,
}

/// Which forecasts are listed, with what is said of them.
const WHICH: [(&str, &str); 4] = [
    ("outside", "outside the band"),
    ("inside", "inside, or only a limit"),
    ("awaited", "not answered yet"),
    ("not-counted", "not counted"),
];

/// Place in [`WHICH`].
fn kind(result: &ForecastResult) -> usize {
    match (&result.came, result.start) {
        (None, _) => 2,
        (Some(_), Start::Changed { .. } | Start::Gone) => 3,
        (Some((_, Fell::Below | Fell::Above)), Start::Stands) => 0,
        (Some((_, Fell::Inside | Fell::CannotTell)), Start::Stands) => 1,
    }
}

/// How the forecasts of a site held.
#[derive(Template, WebTemplate)]
#[template(path = "pages/years/calibration.html")]
pub struct CalibrationPage {
    frame: Frame,
    site: SiteRow,
    any: bool,
    held: Option<Held>,
    narrower: Option<Held>,
    not_counted: usize,
    /// The same by nutrient and method: name, how many held of how many, in percent.
    tests: Vec<(String, String, String)>,
    /// Which are listed: address, words, how many, chosen.
    which: Vec<(String, &'static str, usize, bool)>,
    chosen: &'static str,
    /// Tests and seasons to choose from: key, words, chosen.
    test_choices: Vec<(String, String, bool)>,
    season_choices: Vec<(String, String, bool)>,
    lines: Vec<Line>,
    /// Numbers of the first and last line shown, counted from 1, and of all of them.
    shown: (usize, usize, usize),
    before: Option<String>,
    after: Option<String>,
}

/// How often the bands of one width held.
struct Held {
    words: String,
    nominal: String,
    share: String,
    range: String,
    count: String,
}

struct Line {
    plot: PlotId,
    plot_code: String,
    name: String,
    method: String,
    trend: String,
    season: String,
    band: String,
    /// Where the band is opened.
    path: String,
    found: String,
    on: String,
    key: String,
    fell: &'static str,
    outside: bool,
    /// What became of the test that it starts from, where that does not stand.
    start: Option<String>,
}

fn held(calibration: &Calibration) -> Held {
    Held {
        words: calibration.words(),
        nominal: show::percent(calibration.nominal),
        share: show::percent(calibration.share()),
        range: format!("{} to {}", show::percent(calibration.low), show::percent(calibration.high)),
        count: format!("{} of {}", calibration.held, calibration.tests),
    }
}

/// Address of a forecast, opened.
pub(super) fn forecast_path(id: ForecastId) -> String {
    format!("/forecasts/{id}")
}

/// The band of a forecast with its unit, no finer than tests are printed.
fn band(result: &ForecastResult) -> String {
    let end = |value: f64| if value >= 9.95 { show::number(value, 0) } else { show::significant(value, 2) };
    format!("{} to {}\u{a0}{}", end(result.row.low), end(result.row.high), result.row.unit)
}

fn line(result: &ForecastResult) -> Line {
    let (found, on, key, fell) = match &result.came {
        Some((point, fell)) => (
            format!("{}{}", point.qualifier.sign(), show::significant(point.value, 3)),
            show::date(point.sampled_on),
            point.sampled_on.to_string(),
            fell.word(),
        ),
        None => (String::new(), String::new(), String::new(), ""),
    };
    Line {
        plot: result.row.plot,
        plot_code: result.plot_code.clone(),
        name: result.row.analyte.name(),
        method: result.row.method.label().to_owned(),
        trend: trend_path(result.row.plot, result.row.analyte),
        season: result.season.clone(),
        band: band(result),
        path: forecast_path(result.row.id),
        found,
        on,
        key,
        fell,
        outside: kind(result) == 0,
        start: result.start_words(),
    }
}

/// A nutrient by a method, as the address says it.
fn test_key(result: &ForecastResult) -> String {
    format!("{} {}", result.row.analyte, result.row.method.slug())
}

/// A nutrient by a method, as a person reads it.
pub(super) fn test_name(result: &ForecastResult) -> String {
    format!("{} by {}", result.row.analyte.name(), result.row.method.label())
}

/// How the bands of each nutrient and method held.
fn by_test(review: &ForecastReview) -> Vec<(String, String, String)> {
    let mut fell: BTreeMap<String, Vec<Fell>> = BTreeMap::new();
    for result in review.results.iter().filter(|result| result.start == Start::Stands) {
        if let Some((_, how)) = &result.came {
            fell.entry(test_name(result)).or_default().push(*how);
        }
    }
    let of = |(name, fell): (String, Vec<Fell>)| {
        let calibration = forecast::calibration(fell)?;
        let count = format!("{} of {}", calibration.held, calibration.tests);
        Some((name, count, show::percent(calibration.share())))
    };
    fell.into_iter().filter_map(of).collect()
}

impl Asked {
    /// The query that asks for others of the same.
    fn query(&self, which: &str, from: usize) -> String {
        let from = if from > 0 { from.to_string() } else { String::new() };
        let fields = [("which", which), ("test", &self.test), ("season", &self.season), ("from", &from)];
        let said = fields.iter().filter(|(_, value)| !value.is_empty());
        let said: Vec<String> = said.map(|(name, value)| format!("{name}={}", in_address(value))).collect();
        if said.is_empty() { String::new() } else { format!("?{}", said.join("&")) }
    }
}

/// Choices out of what there is, each once, with one for all of them.
fn choices(all: &str, chosen: &str, of: impl Iterator<Item = (String, String)>) -> Vec<(String, String, bool)> {
    let known: BTreeMap<String, String> = of.collect();
    let any = (String::new(), all.to_owned(), chosen.is_empty());
    let known = known.into_iter().map(|(key, words)| {
        let is_chosen = key == chosen;
        (key, words, is_chosen)
    });
    std::iter::once(any).chain(known).collect()
}

/// `GET /sites/{site}/calibration`
pub async fn show(cx: Cx, Path(id): Path<SiteId>, Query(asked): Query<Asked>) -> Result<CalibrationPage> {
    let site = cx.app.site(&cx.actor, id).await?;
    let review = cx.app.forecast_review(&cx.actor, id).await?;
    let at = WHICH.iter().position(|(key, _)| *key == asked.which).unwrap_or(0);
    let wanted = |result: &&ForecastResult| {
        (asked.test.is_empty() || test_key(result) == asked.test)
            && (asked.season.is_empty() || result.season == asked.season)
    };
    let mut counts = [0; WHICH.len()];
    let mut listed: Vec<&ForecastResult> = Vec::new();
    for result in review.results.iter().filter(wanted) {
        counts[kind(result)] += 1;
        if kind(result) == at {
            listed.push(result);
        }
    }
    // The newest test first; those that wait, the longest first.
    listed.sort_by_key(|result| (Reverse(result.came.as_ref().map(|(point, _)| point.sampled_on)), result.row.made_on));
    let path = format!("/sites/{id}/calibration");
    let from = asked.from.parse().unwrap_or(0).min(listed.len().saturating_sub(1));
    let to = (from + LINES).min(listed.len());
    let which = WHICH.iter().enumerate().filter(|(n, _)| *n < 3 || counts[*n] > 0 || *n == at);
    let results = || review.results.iter();
    Ok(CalibrationPage {
        frame: under_site(&cx, &site, "Did the forecasts hold?"),
        any: !review.results.is_empty(),
        held: review.calibration.as_ref().map(held),
        narrower: review.narrower.as_ref().map(held),
        not_counted: review.not_counted,
        tests: by_test(&review),
        which: which
            .map(|(n, (key, words))| (format!("{path}{}", asked.query(key, 0)), *words, counts[n], n == at))
            .collect(),
        chosen: WHICH[at].0,
        test_choices: choices("all", &asked.test, results().map(|one| (test_key(one), test_name(one)))),
        season_choices: choices("all", &asked.season, results().map(|one| (one.season.clone(), one.season.clone()))),
        lines: listed[from..to].iter().map(|result| line(result)).collect(),
        shown: (from + 1, to, listed.len()),
        before: (from > 0).then(|| format!("{path}{}", asked.query(WHICH[at].0, from.saturating_sub(LINES)))),
        after: (to < listed.len()).then(|| format!("{path}{}", asked.query(WHICH[at].0, to))),
        site,
    })
}

/// A forecast, opened.
#[derive(Template)]
#[template(path = "pages/years/forecast.html")]
struct ForecastPage<'a> {
    frame: Frame,
    words: String,
    plan: String,
    plan_name: &'a str,
    made_on: jiff::civil::Date,
    band: String,
    found: Option<String>,
    trend: String,
    calibration: String,
    steps: Steps<'a>,
}

/// `GET /forecasts/{forecast}`
pub async fn one(cx: Cx, Path(id): Path<ForecastId>) -> Result<Response> {
    let open = cx.app.forecast(&cx.actor, id).await?;
    let (result, plot) = (&open.result, &open.plot.plot);
    let pages = cell_pages(&open.plot);
    let title = format!("{} on {}: what was expected", test_name(result), titled(plot));
    html(&ForecastPage {
        frame: under_plot(&cx, &open.site, plot, title),
        words: result.words(),
        plan: format!("/plans/{}", result.row.plan),
        plan_name: &result.plan_name,
        made_on: result.row.made_on,
        band: band(result),
        found: result.came.as_ref().map(|(point, _)| {
            let sign = point.qualifier.sign();
            format!("{sign}{}\u{a0}{}", show::significant(point.value, 3), result.row.unit)
        }),
        trend: trend_path(plot.id, result.row.analyte),
        calibration: format!("/sites/{}/calibration", open.site.id),
        steps: Steps::of(&open.working, &|key| pages.get(&key).cloned()),
    })
}
