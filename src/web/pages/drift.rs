//! The drift review of a site: every plot and nutrient over the years, as a table of shares
//! of the aim, as small pictures, and as CSV. It picks and shows; what may be said was
//! worked out before.

use super::{plot::trend_path, plots::titled};
use crate::{
    agronomy::{
        analyte::Analyte,
        drift::{Drawn, Finding, Fraction, PerYear, PlotDrift, REVIEWED, RanksP, RunOf, YearFound, read_in},
        ground::Cover,
        liking::{Conversion, LevelUnit, Liking, NutrientForm, Weighed},
        quantity::{KgPerHa, SquareMetres},
        rate::RateUnit,
        record::Qualifier,
        working::Figure,
    },
    app::{
        drift_review::{Order, PutOnByYear, SiteDrift, Wanted},
        outlook::way_of,
        plots::PlotRow,
    },
    exchange::csv_out,
    ids::SiteId,
    web::{
        chart::{self, Small, SmallPoint},
        error::{Error, Result},
        guard::Cx,
        show,
        view::{Frame, in_address},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Path, Query},
    http::{HeaderValue, header},
    response::{IntoResponse, Response},
};
use serde::Deserialize;
use std::collections::BTreeMap;

/// Rows on a page; all of them are in the CSV.
const ROWS: usize = 50;
/// Years in the table, the newest; all of them are in the CSV.
const YEARS: i16 = 25;

/// What the address asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    nutrient: String,
    block: String,
    cover: String,
    crop: String,
    sort: String,
    view: String,
    from: String,
}

/// The review.
#[derive(Template, WebTemplate)]
#[template(path = "pages/sites/drift.html")]
pub struct DriftPage {
    frame: Frame,
    site: SiteId,
    guideline: String,
    own_errors: bool,
    /// Rows in all, and those that the filter leaves.
    all: usize,
    left: usize,
    falling: usize,
    rising: usize,
    choices: Vec<Choice>,
    years: Vec<i16>,
    /// What rates of what was put on are read in, and whether of the oxide.
    put_on_in: &'static str,
    as_oxide: bool,
    /// This reader likes levels as they are printed, which no table over many sheets can be in.
    as_printed: bool,
    /// Years before those of the table.
    earlier: bool,
    rows: Vec<Row>,
    small: Vec<Small>,
    /// Numbers of the first and last row shown, counted from 1.
    shown: (usize, usize),
    before: Option<String>,
    after: Option<String>,
    csv: String,
    /// The same rows, drawn or as a table.
    other_view: String,
    drawn_small: bool,
}

/// A field of the filter.
struct Choice {
    name: &'static str,
    label: &'static str,
    options: Vec<(String, String, bool)>,
}

struct Row {
    plot: String,
    plot_path: String,
    nutrient: String,
    path: String,
    /// One for each year of the table.
    cells: Vec<Cell>,
    /// What was put on, one for each year of the table.
    put_on: Vec<String>,
    any_put_on: bool,
    now: String,
    drawn: String,
    /// It is a slope, and not why there is none.
    drawn_is: bool,
    moving: bool,
    own: String,
    /// Where the slope is opened: its working, else the trend.
    slope_path: String,
    words: String,
    breaks: Vec<String>,
}

#[derive(Default)]
struct Cell {
    year: i16,
    text: String,
    class: String,
    title: String,
}

impl Asked {
    fn wanted(&self) -> Wanted {
        Wanted {
            nutrient: self.nutrient.parse().ok(),
            block: self.block.parse().ok(),
            cover: self.cover.parse().ok(),
            crop: Some(self.crop.clone()).filter(|crop| !crop.is_empty()),
            order: Order::of(&self.sort),
        }
    }

    /// The query that asks for the same, with another view or first row.
    fn query(&self, view: &str, from: usize) -> String {
        let mut query = String::new();
        let from = if from > 0 { from.to_string() } else { String::new() };
        let fields = [
            ("nutrient", self.nutrient.as_str()),
            ("block", &self.block),
            ("cover", &self.cover),
            ("crop", &self.crop),
            ("sort", &self.sort),
            ("view", view),
            ("from", &from),
        ];
        for (name, value) in fields.into_iter().filter(|(_, value)| !value.is_empty()) {
            query += &format!("{}{name}={}", if query.is_empty() { "?" } else { "&" }, in_address(value));
        }
        query
    }

    fn choices(&self, review: &SiteDrift) -> Vec<Choice> {
        let any = |words: &str, chosen: &str| (String::new(), words.to_owned(), chosen.is_empty());
        let field = |name, label, any: (String, String, bool), chosen: &str, all: Vec<(String, String)>| Choice {
            name,
            label,
            options: std::iter::once(any)
                .chain(all.into_iter().map(|(key, words)| (key.clone(), words, key == chosen)))
                .collect(),
        };
        let mut blocks: Vec<(String, String)> = Vec::new();
        for plot in &review.plots {
            if let (Some(id), Some(name)) = (plot.block, &plot.block_name)
                && !blocks.iter().any(|(known, _)| *known == id.to_string())
            {
                blocks.push((id.to_string(), name.clone()));
            }
        }
        let nutrients = REVIEWED.iter().map(|analyte| (analyte.to_string(), analyte.name())).collect();
        let covers = Cover::ALL.iter().map(|cover| (cover.slug().to_owned(), cover.label().to_owned())).collect();
        let crops = review.crops_grown().into_iter().map(|(slug, name)| (slug.to_owned(), name.to_owned())).collect();
        let mut choices = vec![
            field("nutrient", "Nutrient", any("all", &self.nutrient), &self.nutrient, nutrients),
            field("block", "Block", any("all", &self.block), &self.block, blocks),
            field("cover", "Cover", any("all", &self.cover), &self.cover, covers),
            field("crop", "Crop now", any("all", &self.crop), &self.crop, crops),
        ];
        choices.retain(|choice| choice.options.len() > 1);
        let order = Order::of(&self.sort);
        let orders = Order::ALL.map(|(of, key, words)| (key.to_owned(), words.to_owned(), of == order));
        choices.push(Choice { name: "sort", label: "First comes", options: orders.to_vec() });
        choices
    }
}

/// Percent of the aim, to two digits: "64", "<12", "250".
fn share(year: &YearFound) -> Option<String> {
    let ratio = year.ratio?;
    Some(format!("{}{}", year.qualifier.sign(), show::significant(ratio * 100.0, 2)))
}

/// How one row is read: the last step behind the levels of each of its runs, where there is one. A
/// year is read as its own run was tested, whatever the newest one was.
struct Reads<'a> {
    row: &'a PlotDrift,
    steps: Vec<Option<Conversion>>,
}

impl<'a> Reads<'a> {
    fn of(plot: &PlotRow, row: &'a PlotDrift, review: &SiteDrift, liking: Liking) -> Reads<'a> {
        let (ground, by) = (plot.ground(), way_of(&review.site).by);
        let step = |run: &RunOf| liking.for_series(row.analyte, &run.method, run.unit, Weighed { ground: &ground, by });
        Reads { row, steps: row.runs.iter().map(step).collect() }
    }

    fn figure(&self, year: &YearFound) -> Figure {
        let (unit, decimals) = self.row.run_of(year).map_or(("", 2), |run| (run.unit, run.decimals));
        let own = Figure::new(year.value, unit, decimals);
        let own = Figure { sign: year.qualifier.sign().to_owned(), ..own };
        let step = self.steps.get(usize::from(year.run)).and_then(Option::as_ref);
        step.map_or_else(|| own.clone(), |step| step.figure(&own))
    }

    /// A value with its sign and unit, no finer than the lab printed it.
    fn level(&self, year: &YearFound) -> String {
        show::figure(&self.figure(year))
    }

    /// The same without the unit.
    fn bare(&self, year: &YearFound) -> String {
        show::figure(&Figure { unit: String::new(), ..self.figure(year) })
    }

    /// The same, with the unit only where it is another than that of the newest run.
    fn in_cell(&self, year: &YearFound) -> String {
        if self.row.in_own_unit(year) { self.bare(year) } else { self.level(year) }
    }

    /// The row's sentence; each level in it by the runs of its unit, those of the row's method first.
    fn words(&self) -> String {
        read_in(&self.row.words, &self.row.levels, |level| {
            let runs = || self.row.runs.iter().zip(&self.steps).filter(|(run, _)| run.unit == level.unit);
            let step = runs().find(|(run, _)| run.method == self.row.method).or_else(|| runs().next());
            step.and_then(|(_, step)| step.as_ref()).map_or_else(|| level.clone(), |step| step.figure(level))
        })
    }
}

/// What was put on in a year, as rates are read: of an element, else of lime or of compost and manure.
fn rate_put_on(kg_per_ha: f64, analyte: Analyte, area: SquareMetres, liking: Liking) -> Figure {
    match analyte.element() {
        Some(element) => liking.by_rate().rate(element, KgPerHa(kg_per_ha), area, RateUnit::KgPerHa),
        None => match liking.by_rate().unit {
            LevelUnit::LbPerAcre => Figure::significant(kg_per_ha / RateUnit::LbPerAcre.kg_per_ha(), "lb/acre", 2),
            _ => Figure::significant(kg_per_ha, "kg/ha", 2),
        },
    }
}

/// The tint of a share of the aim, in steps of the strip's scale: three below the aim, three above.
fn tint(ratio: f64) -> &'static str {
    match ratio {
        r if r < 0.5 => "low-3",
        r if r < 0.75 => "low-2",
        r if r < 0.95 => "low-1",
        r if r <= 1.3 => "",
        r if r <= 2.0 => "high-1",
        r if r <= 4.0 => "high-2",
        _ => "high-3",
    }
}

fn cells(reads: &Reads<'_>, years: &[i16]) -> Vec<Cell> {
    let row = reads.row;
    let mut run = None;
    let mut cells = Vec::with_capacity(years.len());
    for year in years {
        let Some(found) = row.years.iter().find(|found| found.year == *year) else {
            cells.push(Cell { year: *year, ..Cell::default() });
            continue;
        };
        let parted =
            run.is_some_and(|run| run != found.run) || (run.is_none() && row.breaks.iter().any(|b| b.0 == *year));
        run = Some(found.run);
        let mut class = found.ratio.map_or("bare", tint).to_owned();
        if parted {
            class += " parted";
        }
        let other = if parted { ", another method or depth" } else { "" };
        let title = format!("{year}: {}{other}", reads.level(found));
        cells.push(Cell { year: *year, text: share(found).unwrap_or_else(|| reads.in_cell(found)), class, title });
    }
    cells
}

/// "−2.4 % a year (−4.1 to −0.7)".
fn per_year(slope: &PerYear) -> String {
    let number = |value: f64| {
        let text = if slope.unit == "a year" { show::number(value, 3) } else { show::number(value, 1) };
        if value > 0.0 { format!("+{text}") } else { text }
    };
    format!("{}\u{a0}{} ({} to {})", number(slope.best), slope.unit, number(slope.low), number(slope.high))
}

fn put_on<'a>(put_on: &'a PutOnByYear, plot: &PlotRow, analyte: Analyte) -> Option<&'a BTreeMap<i16, f64>> {
    put_on.get(&(plot.id, analyte))
}

impl Row {
    fn of(plot: &PlotRow, reads: &Reads<'_>, years: &[i16], given: &PutOnByYear, liking: Liking) -> Row {
        let row = reads.row;
        let given = put_on(given, plot, row.analyte);
        let one_year = |year: &i16| {
            let rate = rate_put_on(*given?.get(year)?, row.analyte, plot.ground().area, liking);
            Some(show::significant(rate.value, 2))
        };
        let given: Vec<String> = years.iter().map(|year| one_year(year).unwrap_or_default()).collect();
        let now = row.years.last().map_or_else(String::new, |year| {
            let share = share(year).map_or_else(String::new, |share| format!(", {share}\u{a0}% of the aim"));
            format!("{}{share}", reads.level(year))
        });
        let drawn = match &row.drawn {
            Some(Drawn { per_year: slope, .. }) => per_year(slope),
            None if row.per_year.is_some() => "not drawn together: fewer than four plots".into(),
            None => String::new(),
        };
        Row {
            plot: titled(plot),
            plot_path: format!("/plots/{}", plot.id),
            nutrient: row.analyte.name(),
            path: trend_path(plot.id, row.analyte),
            cells: cells(reads, years),
            any_put_on: given.iter().any(|text| !text.is_empty()),
            put_on: given,
            now,
            moving: row.drawn.is_some_and(|drawn| drawn.is_moving()),
            drawn,
            drawn_is: row.drawn.is_some(),
            slope_path: match row.slope {
                Some(_) => format!("{}/working", trend_path(plot.id, row.analyte)),
                None => trend_path(plot.id, row.analyte),
            },
            own: row.per_year.as_ref().map_or_else(|| "no slope".into(), per_year),
            words: reads.words(),
            breaks: row.breaks.iter().map(|(_, words)| words.clone()).collect(),
        }
    }
}

fn small(plot: &PlotRow, reads: &Reads<'_>, years: (i16, i16), given: &PutOnByYear, liking: Liking) -> Small {
    let row = reads.row;
    let shares = row.years.iter().any(|year| year.ratio.is_some());
    // Where no share of the aim means anything, the values span the picture themselves: those in the
    // unit of the newest run, for others have no place on its scale.
    let alike = || row.years.iter().filter(|year| row.in_own_unit(year));
    let values = || alike().map(|year| year.value).chain(row.aim);
    let (low, high) = (values().fold(f64::INFINITY, f64::min), values().fold(f64::NEG_INFINITY, f64::max));
    let within = |value: f64| chart::within(value, low, high);
    let point = |year: &YearFound| SmallPoint {
        year: year.year,
        at: match shares {
            true => year.ratio.map_or(f64::NAN, chart::place),
            false if row.in_own_unit(year) => within(year.value),
            false => f64::NAN,
        },
        limit: year.qualifier != Qualifier::Exact,
        run: year.run,
        words: match share(year) {
            Some(share) => format!("{}: {share} % of the aim", year.year),
            None => format!("{}: {}", year.year, reads.in_cell(year)),
        },
    };
    let sums = put_on(given, plot, row.analyte).into_iter().flatten();
    let said = |kg: f64| show::rate_figure(&rate_put_on(kg, row.analyte, plot.ground().area, liking));
    Small {
        title: format!("{} on {}", row.analyte.name(), titled(plot)),
        path: trend_path(plot.id, row.analyte),
        words: reads.words(),
        years,
        points: row.years.iter().filter(|year| year.year >= years.0).map(point).collect(),
        aim: if shares { Some(chart::place(1.0)) } else { row.aim.map(within) },
        put_on: sums.filter(|(year, _)| **year >= years.0).map(|(year, kg)| (*year, said(*kg))).collect(),
    }
}

/// `GET /sites/{site}/drift`
pub async fn show(cx: Cx, Path(site): Path<SiteId>, Query(asked): Query<Asked>) -> Result<DriftPage> {
    let review = cx.app.drift_review(&cx.actor, site).await?;
    let picked = review.pick(&asked.wanted());
    let drawn_small = asked.view == "small";
    let view = if drawn_small { "small" } else { "" };
    let from = asked.from.parse().unwrap_or(0).min(picked.len().saturating_sub(1));
    let page = &picked[from..(from + ROWS).min(picked.len())];
    let given = cx.app.put_on_by_year(&cx.actor, page).await?;
    let (first, last) = review.span;
    let start = first.max(last - YEARS + 1);
    let years: Vec<i16> = if picked.is_empty() { vec![] } else { (start..=last).collect() };
    let path = format!("/sites/{site}/drift");
    let title = format!("{}: how the soil moves", review.site.name);
    let frame = cx.frame(title).under("/sites", "Sites").under(format!("/sites/{site}"), &review.site.name);
    let (falling, rising) = review.moving();
    let liking = cx.actor.liking;
    Ok(DriftPage {
        frame,
        site,
        guideline: review.guideline.clone(),
        own_errors: review.own_errors,
        all: review.rows.len(),
        left: picked.len(),
        falling,
        rising,
        choices: asked.choices(&review),
        put_on_in: match liking.by_rate().unit {
            LevelUnit::LbPerAcre => "pounds an acre",
            _ => "kilograms a hectare",
        },
        as_oxide: liking.form == NutrientForm::Oxide,
        as_printed: liking.unit == LevelUnit::AsPrinted,
        earlier: start > first,
        rows: match drawn_small {
            true => vec![],
            false => page
                .iter()
                .map(|(plot, row)| Row::of(plot, &Reads::of(plot, row, &review, liking), &years, &given, liking))
                .collect(),
        },
        small: match drawn_small {
            true => page
                .iter()
                .map(|(plot, row)| small(plot, &Reads::of(plot, row, &review, liking), (start, last), &given, liking))
                .collect(),
            false => vec![],
        },
        years,
        shown: (from + 1, from + page.len()),
        before: (from > 0).then(|| format!("{path}{}", asked.query(view, from.saturating_sub(ROWS)))),
        after: (from + ROWS < picked.len()).then(|| format!("{path}{}", asked.query(view, from + ROWS))),
        csv: format!("{path}.csv{}", asked.query("", 0)),
        other_view: format!("{path}{}", asked.query(if drawn_small { "" } else { "small" }, from)),
        drawn_small,
    })
}

fn finding(finding: Finding) -> String {
    match finding {
        Finding::NoTests => "no tests".into(),
        Finding::OneTest => "one test".into(),
        Finding::OnlyLimits => "only limits".into(),
        Finding::CannotTell => "cannot tell".into(),
        Finding::Steady => "steady".into(),
        Finding::Moving(way, strength) => match strength {
            crate::agronomy::drift::Strength::Plainly => way.word().into(),
            crate::agronomy::drift::Strength::Probably => format!("probably {}", way.word()),
            crate::agronomy::drift::Strength::Possibly => format!("possibly {}", way.word()),
        },
    }
}

/// `GET /sites/{site}/drift.csv`: every row that the filter leaves, with every number behind it.
pub async fn csv(cx: Cx, Path(site): Path<SiteId>, Query(asked): Query<Asked>) -> Result<Response> {
    let review = cx.app.drift_review(&cx.actor, site).await?;
    let picked = review.pick(&asked.wanted());
    let given = cx.app.put_on_by_year(&cx.actor, &picked).await?;
    let (first, last) = review.span;
    let heads = [
        "plot",
        "name",
        "block",
        "cover",
        "analyte",
        "method",
        "unit",
        "depth",
        "tests",
        "first_test",
        "last_test",
        "span_years",
        "last_found",
        "aim",
        "found_over_aim",
        "finding",
        "slope_unit",
        "slope",
        "slope_low_90",
        "slope_high_90",
        "slope_drawn",
        "slope_drawn_low_90",
        "slope_drawn_high_90",
        "own_share",
        "plots_drawn_together",
        "s_of_ranks",
        "p_ranks",
        "p_ranks_numerator",
        "p_ranks_denominator",
        "smallest_possible_p",
        "slope_on_scale",
        "slope_se_on_scale",
        "birge_ratio",
        "p_scatter",
        "error_of_one_test_on_scale",
        "method_breaks",
        "put_on_is",
    ];
    let mut heads: Vec<String> = heads.map(str::to_owned).to_vec();
    for year in first..=last {
        heads.extend(["found", "unit", "found_over_aim", "put_on_kg_per_ha"].map(|head| format!("{head}_{year}")));
    }
    let rows = picked.iter().map(|(plot, row)| csv_row(plot, row, (first, last), &given));
    let name = in_address(&format!("drift of {}.csv", review.site.name)).replace('/', "%2F");
    let mut response = csv_out::table(&heads, rows).into_response();
    response.headers_mut().insert(header::CONTENT_TYPE, HeaderValue::from_static("text/csv; charset=utf-8"));
    let disposition = HeaderValue::from_str(&format!("attachment; filename*=UTF-8''{name}"));
    let disposition = disposition.map_err(|_| Error::not_found())?;
    response.headers_mut().insert(header::CONTENT_DISPOSITION, disposition);
    Ok(response)
}

fn csv_row(plot: &PlotRow, row: &PlotDrift, (first, last): (i16, i16), given: &PutOnByYear) -> Vec<String> {
    let text = |value: Option<f64>| value.map_or_else(String::new, |value| value.to_string());
    let slope = |of: fn(&PerYear) -> f64| text(row.per_year.as_ref().map(of));
    let drawn = |of: fn(&PerYear) -> f64| text(row.drawn.as_ref().map(|drawn| of(&drawn.per_year)));
    // For other programs: in the unit of the column beside, whoever asks.
    let found = |year: &YearFound| {
        let decimals = row.run_of(year).map_or(row.decimals, |run| run.decimals);
        format!("{}{}", year.qualifier.sign(), show::plain(year.value, decimals))
    };
    // Apart, because a spreadsheet takes 1/12 for a day.
    let counted = |part: fn(Fraction) -> String| row.p.and_then(RanksP::exact).map_or_else(String::new, part);
    let newest = row.years.last();
    let mut cells = vec![
        plot.code.clone(),
        plot.name.clone(),
        plot.block_name.clone().unwrap_or_default(),
        plot.cover.label().to_owned(),
        row.analyte.to_string(),
        row.method.slug(),
        row.unit.to_owned(),
        row.depth.map_or_else(String::new, |depth| depth.to_string()),
        row.tests.to_string(),
        row.first_on.to_string(),
        row.last_on.to_string(),
        format!("{:.3}", row.span_years),
        newest.map_or_else(String::new, found),
        text(row.aim),
        text(newest.and_then(|year| year.ratio)),
        finding(row.finding),
        row.per_year.map_or_else(String::new, |slope| slope.unit.to_owned()),
        slope(|s| s.best),
        slope(|s| s.low),
        slope(|s| s.high),
        drawn(|s| s.best),
        drawn(|s| s.low),
        drawn(|s| s.high),
        text(row.drawn.map(|drawn| drawn.own_share)),
        row.drawn.map_or_else(String::new, |drawn| drawn.plots.to_string()),
        row.s.to_string(),
        text(row.p.map(RanksP::value)),
        counted(|p| p.numerator.to_string()),
        counted(|p| p.denominator.to_string()),
        row.smallest_possible_p.map_or_else(String::new, |p| p.value().to_string()),
        text(row.bare_slope().map(|(slope, _)| slope)),
        text(row.bare_slope().map(|(_, se)| se)),
        text(row.birge),
        text(row.p_scatter),
        row.sigma.to_string(),
        row.breaks.iter().map(|(_, words)| words.as_str()).collect::<Vec<_>>().join("; "),
        match row.analyte {
            Analyte::Ph => "lime as calcium carbonate".into(),
            Analyte::OrganicMatter => "compost and manure".into(),
            _ => "the element".into(),
        },
    ];
    let given = put_on(given, plot, row.analyte);
    for year in first..=last {
        let of_year = row.years.iter().find(|found| found.year == year);
        cells.extend([
            of_year.map_or_else(String::new, found),
            of_year.and_then(|year| row.run_of(year)).map_or_else(String::new, |run| run.unit.to_owned()),
            text(of_year.and_then(|year| year.ratio)),
            text(given.and_then(|sums| sums.get(&year)).copied()),
        ]);
    }
    cells
}
