//! Looking ahead: what next season asks for on a whole site, ranked, with one click to a
//! draft plan; and how many seasons each nutrient needs to reach its aim, on a plot and as a
//! table of plots and nutrients.

use super::{
    plan_form::usual_products,
    plan_words::together,
    plot::{html, working_path},
    plots::{titled, under_plot, under_site},
};
use crate::{
    agronomy::{
        element::Element,
        liking::{Liking, Weighed},
        rate::RateUnit,
        working::Figure,
        years_ahead::Reaches,
    },
    app::{
        guidelines::DEFAULT_GUIDELINE,
        next_season::{Ask, NextSeason},
        outlook::way_of,
        years_ahead::{PLOTS_AT_ONCE, PlotYears, SiteYears, YearsLine},
    },
    ids::{PlotId, SiteId},
    web::{
        error::Result,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{
    extract::{Path, Query},
    response::Response,
};
use serde::Deserialize;
use std::collections::{BTreeMap, BTreeSet};

/// How many lines of the ranking a page lists; the next page has the next ones.
const LISTED: usize = 60;

/// How many of the most pressing stand open.
const FIRST: usize = 10;

/// What the address of the ranking may ask for.
#[derive(Debug, Default, Deserialize)]
pub struct Place {
    /// How many lines come before the first that is shown.
    #[serde(default)]
    after: String,
}

/// What next season asks for on a site.
#[derive(Template)]
#[template(path = "pages/sites/next.html")]
struct NextSeasonPage<'a> {
    frame: Frame,
    next: &'a NextSeason,
    asks: Vec<AskLine>,
    /// Those that are folded.
    rest: Vec<AskLine>,
    /// Plot, its code, and what plans left undone on it.
    undone: Vec<(PlotId, String, String)>,
    /// How many come before the first that is listed.
    before: usize,
    /// Addresses and words of the pages before and after.
    pages: Vec<(String, String)>,
    /// Hidden fields of the draft: plots and products.
    plots: BTreeSet<String>,
    plot_count: usize,
    products: Vec<String>,
    guideline: &'a str,
    spread_on: String,
}

/// What plans left undone, a line to a plot.
fn undone(next: &NextSeason, liking: Liking) -> Vec<(PlotId, String, String)> {
    let mut lines: Vec<(PlotId, String, String)> = Vec::new();
    for (plot, element, grams) in &next.undone {
        let words = format!(
            "{} {}",
            show::uncapitalised(&liking.name(*element)),
            show::element_mass(liking.mass(*element, *grams))
        );
        match lines.iter_mut().find(|(id, ..)| *id == plot.id) {
            Some((.., before)) => *before += &format!(", {words}"),
            None => lines.push((plot.id, plot.code.clone(), words)),
        }
    }
    lines
}

struct AskLine {
    path: String,
    plot: String,
    nutrient: String,
    of_aim: String,
    chance: String,
    need: String,
    working: String,
}

fn ask_line(ask: &Ask, site: RateUnit, liking: Liking) -> AskLine {
    let nutrient = &ask.nutrient;
    let need = liking.by_rate().need(&ask.need, ask.plot.ground().area, site);
    AskLine {
        path: format!("/plots/{}", ask.plot.id),
        plot: titled(&ask.plot),
        nutrient: show::uncapitalised(&liking.name(ask.need.element)),
        of_aim: nutrient.percent_of_aim.as_ref().map_or_else(|| "–".into(), |percent| percent.figure.to_string()),
        chance: nutrient.likelihood.as_ref().map_or_else(|| "not known".into(), |chance| chance.words.to_string()),
        need: show::rate_figure(&need),
        working: working_path(ask.plot.id, nutrient.analyte, "need"),
    }
}

/// `GET /sites/{site}/next`
pub async fn site(cx: Cx, Path(id): Path<SiteId>, Query(place): Query<Place>) -> Result<Response> {
    let next = cx.app.next_season(&cx.actor, id).await?;
    let site: RateUnit = next.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    let all = next.asks.len();
    let before = place.after.trim().parse::<usize>().map_or(0, |after| after.min(all.saturating_sub(1)));
    let listed = next.asks.iter().skip(before).take(LISTED);
    let mut asks: Vec<AskLine> = listed.map(|ask| ask_line(ask, site, cx.actor.liking)).collect();
    let last = before + asks.len();
    // Who asks for more sees all of it at once.
    let rest = if before == 0 { asks.split_off(asks.len().min(FIRST)) } else { vec![] };
    let to = |after: usize| format!("/sites/{id}/next?after={after}");
    let mut pages = Vec::new();
    if before > 0 {
        pages.push((to(before.saturating_sub(LISTED)), "More pressing".to_owned()));
    }
    if last < all {
        pages.push((to(last), format!("{} less pressing still", all - last)));
    }
    let spread_on = next.season.as_ref().map_or_else(String::new, |s| cx.app.today().max(s.starts_on).to_string());
    let plots: BTreeSet<String> = next.asks.iter().map(|ask| ask.plot.id.to_string()).collect();
    html(&NextSeasonPage {
        frame: under_site(&cx, &next.site, "What next season asks for"),
        asks,
        rest,
        undone: undone(&next, cx.actor.liking),
        before,
        pages,
        plot_count: plots.len(),
        plots,
        products: if next.season.is_some() { usual_products(&cx).await? } else { vec![] },
        guideline: next.site.guideline.as_deref().unwrap_or(DEFAULT_GUIDELINE),
        spread_on,
        next: &next,
    })
}

/// The seasons ahead on one plot.
#[derive(Template)]
#[template(path = "pages/plots/years.html")]
struct YearsPage<'a> {
    frame: Frame,
    plot: PlotId,
    lines: Vec<YearLine<'a>>,
    /// No harvest tells what crops carry away of some of them.
    offtake_unknown: bool,
}

struct YearLine<'a> {
    name: String,
    /// When it gets there, or why that cannot be said.
    words: String,
    capped: bool,
    /// The levels are the most that they can be.
    at_best: bool,
    seasons: Vec<SeasonCells>,
    steps: Option<Steps<'a>>,
}

struct SeasonCells {
    season: u8,
    give: String,
    level: String,
    range: String,
}

fn year_line<'a>(line: &'a YearsLine, years: &PlotYears, liking: Liking) -> YearLine<'a> {
    let name = liking.name(line.element);
    let ahead = match &line.ahead {
        Ok(ahead) => ahead,
        Err(why) => {
            return YearLine { name, words: why.clone(), capped: false, at_best: false, seasons: vec![], steps: None };
        }
    };
    let (ground, way) = (years.plot.ground(), way_of(&years.site));
    let site: RateUnit = years.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    let step = liking.for_trend((&line.nutrient).into(), Weighed { ground: &ground, by: way.by });
    // No finer than the test itself.
    let level = |value: f64| {
        let own = Figure::new(value, line.nutrient.level.unit(), line.nutrient.found.figure.decimals);
        step.as_ref().map_or_else(|| own.clone(), |step| step.figure(&own))
    };
    let bare = |value: f64| show::figure(&Figure { unit: String::new(), ..level(value) });
    let give = |rate| show::rate_figure(&liking.by_rate().rate(line.element, rate, ground.area, site));
    let seasons = ahead.seasons.iter().map(|season| SeasonCells {
        season: season.season,
        give: give(season.give),
        level: match ahead.at_best {
            true => format!("at most {}", show::figure(&level(season.level.1))),
            false => show::figure(&level(season.level.1)),
        },
        range: match ahead.at_best {
            true => String::new(),
            false => format!("{} to {}", bare(season.level.0), bare(season.level.2)),
        },
    });
    YearLine {
        name,
        words: ahead.reaches.words(),
        capped: ahead.capped,
        at_best: ahead.at_best,
        seasons: seasons.collect(),
        steps: Some(Steps::of(&ahead.working, &|key| Some(format!("/determinations/{}", key.0)))),
    }
}

/// `GET /plots/{plot}/years`
pub async fn plot(cx: Cx, Path(id): Path<PlotId>) -> Result<Response> {
    let years = cx.app.plot_years(&cx.actor, id).await?;
    html(&YearsPage {
        frame: under_plot(&cx, &years.site, &years.plot, format!("Seasons ahead on {}", titled(&years.plot))),
        plot: id,
        lines: years.lines.iter().map(|line| year_line(line, &years, cx.actor.liking)).collect(),
        offtake_unknown: years.lines.iter().any(|line| !line.offtake_known),
    })
}

/// The seasons ahead on a site: plots by nutrients.
#[derive(Template)]
#[template(path = "pages/sites/years.html")]
struct SiteYearsPage {
    frame: Frame,
    site: SiteId,
    invented: bool,
    /// Nutrients that some plot here is short of.
    nutrients: Vec<String>,
    groups: Vec<YearsGroup>,
    /// What never gets there, as sentences, plots of which the same is said together.
    never: Vec<String>,
    /// What nothing is planned for, and why, likewise.
    unplanned: Vec<String>,
    /// Some answers are only the soonest.
    at_best: bool,
    offtake_unknown: bool,
    /// Plots of those shown that are short of nothing that can be judged.
    enough: Vec<(PlotId, String)>,
    /// Numbers of the first and last plot, counted from 1, and of all; `None` where all are shown.
    shown: Option<(usize, usize, usize)>,
    /// Addresses and words of the pages before and after.
    pages: Vec<(String, &'static str)>,
}

/// Plots of a block.
struct YearsGroup {
    name: String,
    plots: Vec<YearsRow>,
}

/// A plot with an answer for each nutrient; `None` where it is not short.
struct YearsRow {
    plot: PlotId,
    title: String,
    cells: Vec<(String, Option<YearsCell>)>,
}

/// When one nutrient of one plot is at its aim.
struct YearsCell {
    /// "3 seasons, 2 to 5", "never this way".
    words: String,
    never: bool,
    /// Why, in a few words.
    why: String,
}

fn years_cell(line: &YearsLine) -> YearsCell {
    match &line.ahead {
        Ok(ahead) => {
            let (never, why) = match &ahead.reaches {
                Reaches::Never(never) => (true, never.brief.clone()),
                _ if ahead.capped => (false, "held back by a limit".to_owned()),
                _ => (false, String::new()),
            };
            YearsCell { words: ahead.reaches.brief(), never, why }
        }
        Err(_) => YearsCell { words: "nothing planned".into(), never: false, why: String::new() },
    }
}

impl SiteYearsPage {
    fn new(frame: Frame, years: &SiteYears, liking: Liking) -> SiteYearsPage {
        let lines = || years.plots.iter().flat_map(|(plot, lines)| lines.iter().map(move |line| (plot, line)));
        let elements: BTreeSet<Element> = lines().map(|(_, line)| line.element).collect();
        let mut groups: Vec<YearsGroup> = Vec::new();
        for (plot, lines) in years.plots.iter().filter(|(_, lines)| !lines.is_empty()) {
            let by_element: BTreeMap<Element, &YearsLine> = lines.iter().map(|line| (line.element, line)).collect();
            let cell =
                |element: &Element| (liking.name(*element), by_element.get(element).map(|line| years_cell(line)));
            let row = YearsRow { plot: plot.id, title: titled(plot), cells: elements.iter().map(cell).collect() };
            let name = plot.block_name.clone().unwrap_or_default();
            match groups.last_mut().filter(|group| group.name == name) {
                Some(group) => group.plots.push(row),
                None => groups.push(YearsGroup { name, plots: vec![row] }),
            }
        }
        let never = lines().filter_map(|(plot, line)| match &line.ahead.as_ref().ok()?.reaches {
            Reaches::Never(why) => Some(format!("{}: {}. {}", plot.code, liking.name(line.element), why.words)),
            _ => None,
        });
        let unplanned = lines().filter_map(|(plot, line)| {
            let why = line.ahead.as_ref().err()?;
            Some(format!("{}: {}. {why}", plot.code, liking.name(line.element)))
        });
        let (first, last) = (years.before + 1, years.before + years.plots.len());
        let to = |from: usize| format!("/sites/{}/years?from={from}", years.site.id);
        let mut pages = Vec::new();
        if years.before > 0 {
            pages.push((to(years.before.saturating_sub(PLOTS_AT_ONCE)), "Plots before"));
        }
        if last < years.all {
            pages.push((to(last), "Next plots"));
        }
        let enough = years.plots.iter().filter(|(_, lines)| lines.is_empty());
        SiteYearsPage {
            site: years.site.id,
            invented: years.site.invented,
            nutrients: elements.iter().map(|element| liking.name(*element)).collect(),
            never: together(&never.collect::<Vec<_>>()),
            unplanned: together(&unplanned.collect::<Vec<_>>()),
            at_best: lines().any(|(_, line)| line.ahead.as_ref().is_ok_and(|ahead| ahead.at_best)),
            offtake_unknown: lines().any(|(_, line)| !line.offtake_known),
            enough: enough.map(|(plot, _)| (plot.id, plot.code.clone())).collect(),
            shown: (years.plots.len() < years.all).then_some((first, last, years.all)),
            groups,
            pages,
            frame,
        }
    }
}

/// What the address of the table may ask for.
#[derive(Debug, Default, Deserialize)]
pub struct AskedFrom {
    /// How many plots come before the first that is shown.
    #[serde(default)]
    from: String,
}

/// `GET /sites/{site}/years`
pub async fn site_years(cx: Cx, Path(id): Path<SiteId>, Query(asked): Query<AskedFrom>) -> Result<Response> {
    let years = cx.app.site_years(&cx.actor, id, asked.from.trim().parse().unwrap_or(0)).await?;
    let frame = under_site(&cx, &years.site, "Seasons ahead");
    html(&SiteYearsPage::new(frame, &years, cx.actor.liking))
}
