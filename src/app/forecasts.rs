//! What agreed plans expect of the next tests, written down when they are agreed, and where
//! later tests fell. A forecast never changes; where the test that it starts from reads
//! otherwise since, that is said, and it is not held against the bands.

use super::{
    Actor, App, Result, Role,
    access::found,
    columns::Lines,
    day, lineage,
    plots::{PlotRow, SiteRow},
    responses::{PlotResponse, of_all, responses, segments_of},
    sheet::Sheet,
    standing::{self, PlotStanding, of_line},
    test_errors::errors_of,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        balance::{Books, Input},
        drift::{Point, Segment, Test, segments_of as runs_of},
        element::Element,
        forecast::{self, Calibration, Fell, Outlook},
        method::Method,
        quantity::KgPerHa,
        reading::Conversion,
        record::{Application, CellKey},
        response::Skip,
        working::{Figure, Origin, Working},
    },
    ids::{ForecastId, PlanId, PlotId, SiteId},
    store::{self, Read, samplings::Loaded},
};
use jiff::civil::Date;
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

pub use crate::store::forecasts::{ForecastLine, ForecastRow};

/// Seasons that the usual offtake is averaged over.
pub(super) const USUAL_SEASONS: usize = 5;

/// What of this kind changes is in no forecast and in no test that came.
const UNRELATED: &[&str] = &["person", "attachment", "amendment", "application", "harvest", "cropping", "note"];

/// Plots whose tests are looked at together; more would take more memory than time.
const TOGETHER: usize = 64;

/// What became of the test that a forecast starts from.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Start {
    /// It reads as it did.
    Stands,
    /// It was corrected, or another sheet of that day came: what it read, and reads now.
    Changed { was: f64, is: f64 },
    /// It was taken back.
    Gone,
}

/// A forecast and what came of it.
#[derive(Clone, Debug)]
pub struct ForecastResult {
    pub row: ForecastLine,
    /// As written on the peg.
    pub plot_code: String,
    pub plan_name: String,
    pub season: String,
    pub start: Start,
    /// The first later test that compares, and where it fell; `None` while none has come.
    pub came: Option<(Point, Fell)>,
}

/// The forecasts of plots and how they held.
#[derive(Clone, Debug, Default)]
pub struct ForecastReview {
    pub results: Vec<ForecastResult>,
    /// How the bands held that were made to hold nine tests in ten.
    pub calibration: Option<Calibration>,
    /// How the narrower bands within them held, made to hold eight in ten.
    pub narrower: Option<Calibration>,
    /// Answered forecasts that are not counted, because the test that they start from changed since.
    pub not_counted: usize,
}

/// A forecast opened.
#[derive(Clone, Debug)]
pub struct OpenForecast {
    pub site: SiteRow,
    pub plot: PlotStanding,
    pub result: ForecastResult,
    pub working: Working,
}

/// What a plan expects of the next tests.
#[derive(Clone, Debug)]
pub struct PlanExpects {
    /// The bands that were written down when it was agreed, and what came of them.
    pub written: Vec<ForecastResult>,
    /// Nutrients that have tests on its plots and no band.
    pub without: Vec<Without>,
}

/// A nutrient of a plot that a plan expects nothing of.
#[derive(Clone, Debug, PartialEq)]
pub struct Without {
    pub plot: PlotId,
    /// As written on the peg.
    pub plot_code: String,
    pub analyte: Analyte,
    pub method: Method,
    /// What is not known, as sentences.
    pub why: String,
}

/// A run of tests with the band of its next test, or why there is none.
struct Banded {
    plot: PlotId,
    analyte: Analyte,
    method: Method,
    /// Day of its newest test.
    last: Date,
    band: std::result::Result<ForecastRow, String>,
}

/// Share of the tests that the narrower bands should hold.
const NARROWER: f64 = 0.80;

impl ForecastResult {
    /// "The plan of 2026 expected 118 to 140 mg/kg; the test of 3 Oct 2026 found 131: inside."
    pub fn words(&self) -> String {
        self.words_in(&self.row.unit, |level| level)
    }

    /// The same with the levels in another unit.
    pub fn words_in(&self, unit: &str, read: impl Fn(f64) -> f64) -> String {
        let ForecastLine { low, high, .. } = &self.row;
        let band = format!("{} to {} {unit}", figure(read(*low)), figure(read(*high)));
        let said = match &self.came {
            Some((point, fell)) => format!(
                "The plan of {} expected {band}; the test of {} found {}{}: {}.",
                self.season,
                day(point.sampled_on),
                point.qualifier.sign(),
                figure(read(point.value)),
                match fell {
                    Fell::Inside => "inside",
                    Fell::Below => "below it; more left than was written down, or less took effect",
                    Fell::Above => "above it; more came than was written down, or more took effect",
                    Fell::CannotTell => "only a limit was printed, which cannot tell",
                }
            ),
            None => format!("The plan of {} expects {band} at the next test.", self.season),
        };
        match self.start_words_in(read) {
            Some(start) => format!("{said} {start}"),
            None => said,
        }
    }

    /// What became of the test that it starts from, where that does not stand as it did.
    pub fn start_words(&self) -> Option<String> {
        self.start_words_in(|level| level)
    }

    fn start_words_in(&self, read: impl Fn(f64) -> f64) -> Option<String> {
        let on = day(self.row.from_test_on);
        match self.start {
            Start::Stands => None,
            Start::Changed { was, is } => Some(format!(
                "It starts from the test of {on}, which read {} then and reads {} since it was corrected: not held \
                 against the forecasts.",
                figure(read(was)),
                figure(read(is))
            )),
            Start::Gone => Some(format!(
                "It starts from the test of {on}, which was taken back since: not held against the forecasts."
            )),
        }
    }
}

/// No finer than tests are printed: whole from 10 on, two significant digits below.
fn figure(value: f64) -> String {
    match value.abs() >= 9.95 {
        true => Figure::new(value, "", 0),
        false => Figure::significant(value, "", 2),
    }
    .to_string()
}

impl App {
    /// What agreed plans of a site expected, and where later tests fell; the same until
    /// something that it rests on changes.
    pub async fn forecast_review(&self, actor: &Actor, site: SiteId) -> Result<Arc<ForecastReview>> {
        actor.may(Role::Reader)?;
        self.forecast_reviews.answer(&self.store, site, self.today(), UNRELATED, self.review_forecasts(site)).await
    }

    async fn review_forecasts(&self, site: SiteId) -> Result<ForecastReview> {
        let mut read = self.store.read().await?;
        found(store::plots::site(&mut read, site).await?, "site")?;
        let plots = store::plots::plots(&mut read, site, false).await?;
        let rows = store::forecasts::of_plots(&mut read, &lineage::ids(&plots)).await?;
        let results = came_of_many(&mut read, site, &plots, rows).await?;
        let stands = |result: &&ForecastResult| result.start == Start::Stands;
        let fell = || results.iter().filter(stands).filter_map(|result| Some((result, result.came.as_ref()?)));
        let calibration = forecast::calibration(fell().map(|(_, (_, fell))| *fell));
        let inner = fell().filter_map(|(result, (point, _))| {
            Some(forecast::fell(forecast::narrower((result.row.low, result.row.high), NARROWER)?, point.found()))
        });
        let narrower = forecast::calibration_of(inner, NARROWER);
        let not_counted = results.iter().filter(|result| !stands(result) && result.came.is_some()).count();
        Ok(ForecastReview { calibration, narrower, not_counted, results })
    }

    /// The same of one plot that is loaded already.
    pub async fn plot_forecasts(&self, actor: &Actor, plot: &PlotStanding) -> Result<Vec<ForecastResult>> {
        actor.may(Role::Reader)?;
        came_of(&mut self.store.read().await?, std::slice::from_ref(plot)).await
    }

    /// One forecast, with how it comes about and what came of it.
    pub async fn forecast(&self, actor: &Actor, id: ForecastId) -> Result<OpenForecast> {
        actor.may(Role::Reader)?;
        let (line, working) =
            found(store::forecasts::one(&mut *self.store.read().await?, id).await?, "forecast of an agreed plan")?;
        let (site, _, plot) = self.plot_standing(actor, line.plot).await?;
        let results = self.plot_forecasts(actor, &plot).await?;
        let result = found(results.into_iter().find(|result| result.row.id == id), "forecast of an agreed plan")?;
        Ok(OpenForecast { site, plot, result, working })
    }

    /// What agreed plans expected of the tests of plots, each with how it comes about, oldest first.
    pub async fn forecasts(&self, actor: &Actor, plots: &[PlotId]) -> Result<Vec<ForecastRow>> {
        actor.may(Role::Reader)?;
        Ok(store::forecasts::with_workings(&mut *self.store.read().await?, plots).await?)
    }

    /// Where the results of a sampling fell against what the newest plan before it expected
    /// of them, a plot after the other.
    pub async fn sampling_forecasts(&self, actor: &Actor, sheet: &Sheet) -> Result<Vec<ForecastResult>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plots = standing::place(&mut read, sheet.plots.clone(), &sheet.guideline, self.today()).await?;
        let cells: BTreeSet<CellKey> = sheet.loaded.sampling.determinations().map(|(_, cell)| cell.key).collect();
        let mut newest = BTreeMap::new();
        for result in came_of(&mut read, &plots).await? {
            if result.came.as_ref().is_some_and(|(point, _)| point.cells.iter().any(|cell| cells.contains(cell))) {
                let row = &result.row;
                newest.insert((result.plot_code.clone(), row.analyte, row.method.clone(), row.unit.clone()), result);
            }
        }
        Ok(newest.into_values().collect())
    }

    /// What a plan, once agreed, expects of the next tests of its plots.
    ///
    /// From the newest test on: what has come and gone since, what the plan brings, less what
    /// a season's harvests usually carry away. Where any of it is not known there is no
    /// forecast: a guess would teach nothing.
    pub(super) async fn expected_of_plan(&self, plan: PlanId) -> Result<Vec<ForecastRow>> {
        let mut rows: Vec<ForecastRow> =
            self.bands_of_plan(plan).await?.into_iter().filter_map(|one| one.band.ok()).collect();
        // Where a method was used at two depths, the newer of them is what comes next.
        rows.sort_by_key(|row| std::cmp::Reverse(row.from_test_on));
        let mut seen = BTreeSet::new();
        rows.retain(|row| seen.insert((row.plot, row.analyte, row.method.clone(), row.unit.clone())));
        rows.sort_by(|a, b| (a.plot, a.analyte, &a.method, &a.unit).cmp(&(b.plot, b.analyte, &b.method, &b.unit)));
        Ok(rows)
    }

    /// What a plan, agreed and since, expects of the next tests of its plots: the bands that were written
    /// down, and of tested nutrients without one the reason, as the record stands today.
    pub async fn plan_expects(&self, actor: &Actor, plan: PlanId) -> Result<PlanExpects> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::plans::plan(&mut read, plan).await?, "plan")?;
        let site = found(store::plans::season(&mut read, row.season).await?, "season")?.site;
        let chosen = store::plans::plots_of(&mut read, plan).await?;
        let mut plots = store::plots::plots(&mut read, site, false).await?;
        plots.retain(|plot| chosen.contains(&plot.id));
        let mut rows = store::forecasts::of_plots(&mut read, &lineage::ids(&plots)).await?;
        rows.retain(|row| row.plan == plan);
        let written = came_of_many(&mut read, site, &plots, rows).await?;
        drop(read);
        // Of each nutrient of a plot its newest run: the older ones are not what comes next.
        let mut without: BTreeMap<(PlotId, Analyte), (Date, Without)> = BTreeMap::new();
        for Banded { plot, analyte, method, last, band } in self.bands_of_plan(plan).await? {
            if written.iter().any(|one| one.row.plot == plot && one.row.analyte == analyte) {
                continue;
            }
            let why = band.err().unwrap_or_else(|| {
                "It was not known when the plan was agreed; what was missing is in the record now.".to_owned()
            });
            let code = plots.iter().find(|row| row.id == plot).map_or_else(String::new, |row| row.code.clone());
            let newer = without.get(&(plot, analyte)).is_none_or(|(on, _)| *on <= last);
            if newer {
                without.insert((plot, analyte), (last, Without { plot, plot_code: code, analyte, method, why }));
            }
        }
        Ok(PlanExpects { written, without: without.into_values().map(|(_, one)| one).collect() })
    }

    /// The band of every run of tests on the plots of a plan, or why there is none.
    async fn bands_of_plan(&self, plan: PlanId) -> Result<Vec<Banded>> {
        let today = self.today();
        let mut read = self.store.read().await?;
        let row = found(store::plans::plan(&mut read, plan).await?, "plan")?;
        let site = found(store::plans::season(&mut read, row.season).await?, "season")?.site;
        let chosen = store::plans::plots_of(&mut read, plan).await?;
        let mut plots = store::plots::plots(&mut read, site, false).await?;
        plots.retain(|plot| chosen.contains(&plot.id));
        let opened = self.with_books(&mut read, site, plots).await?;
        let doses = store::plans::doses_of(&mut read, plan).await?;
        let analyses: Vec<_> = doses.iter().map(|dose| dose.analysis).collect();
        let analyses = store::amendments::analyses_by_id(&mut read, &analyses).await?;
        let products = store::amendments::all(&mut read, today, true).await?;
        drop(read);
        let lessons = self.lessons(site).await?;
        let mut planned: BTreeMap<PlotId, Vec<Input>> = BTreeMap::new();
        for dose in doses.iter().filter(|dose| dose.mass_g > 0.0) {
            let product = products.iter().find(|row| row.id == dose.amendment);
            let (Some(analysis), Some(product)) = (analyses.get(&dose.analysis), product) else { continue };
            let content =
                analysis.analysis.parts.iter().map(|(element, part)| (*element, part.mass_fraction)).collect();
            planned.entry(dose.plot).or_default().push(Input {
                kind: product.amendment.kind,
                application: Application {
                    key: dose.id.0,
                    applied_on: today,
                    amendment: dose.amendment_name.clone(),
                    mass_g: dose.mass_g,
                    content,
                    availability: BTreeMap::new(),
                    manure: product.amendment.manure,
                    organic: product.amendment.manure || product.amendment.kind.is_organic(),
                },
            });
        }
        let mut rows = Vec::new();
        for (plot, books) in &opened {
            let inputs = planned.get(&plot.plot.id).map_or(&[][..], Vec::as_slice);
            for (element, one) in of_all(|element| responses(plot, books, element, &lessons)) {
                let Some(newest) = one.segment.points.last() else { continue };
                let band = outlook(&one, element, books, inputs, today)
                    .and_then(|outlook| forecast::forecast(&outlook))
                    .map(|forecast| ForecastRow {
                        plan,
                        plot: one.plot,
                        analyte: one.segment.analyte,
                        method: one.segment.method.clone(),
                        unit: one.segment.unit.to_owned(),
                        depth: one.segment.depth,
                        from_test_on: newest.sampled_on,
                        made_on: today,
                        forecast,
                    });
                rows.push(Banded {
                    plot: one.plot,
                    analyte: one.segment.analyte,
                    method: one.segment.method.clone(),
                    last: newest.sampled_on,
                    band,
                });
            }
        }
        Ok(rows)
    }
}

/// The names of plans and their seasons.
async fn plans_of(read: &mut Read, rows: &[ForecastLine]) -> Result<BTreeMap<PlanId, (String, String)>> {
    let mut plans = BTreeMap::new();
    for plan in rows.iter().map(|row| row.plan).collect::<BTreeSet<_>>() {
        let row = found(store::plans::plan(read, plan).await?, "plan")?;
        let season = found(store::plans::season(read, row.season).await?, "season")?;
        plans.insert(plan, (row.name, season.name));
    }
    Ok(plans)
}

/// What became of a forecast, from the runs of tests of its analyte on its plot.
fn result(
    row: ForecastLine,
    plot: &PlotRow,
    runs: &[Segment],
    plans: &BTreeMap<PlanId, (String, String)>,
) -> Option<ForecastResult> {
    let (plan_name, season) = plans.get(&row.plan)?.clone();
    let run = runs.iter().find(|run| {
        run.analyte == row.analyte && run.method == row.method && run.unit == row.unit && run.depth == row.depth
    });
    let point = |on: Date| run?.points.iter().find(|point| point.sampled_on == on);
    let start = match (row.start, point(row.from_test_on)) {
        (_, None) => Start::Gone,
        (Some(was), Some(point)) if (was - point.value).abs() > 1e-9 * was.abs().max(1.0) => {
            Start::Changed { was, is: point.value }
        }
        _ => Start::Stands,
    };
    let after = row.from_test_on.max(row.made_on);
    let came = run.and_then(|run| run.points.iter().find(|point| point.sampled_on > after)).map(|point| {
        let fell = forecast::fell((row.low, row.high), point.found());
        (point.clone(), fell)
    });
    Some(ForecastResult { plot_code: plot.code.clone(), plan_name, season, start, came, row })
}

/// What agreed plans expected of plots that are loaded, and what came of it; oldest first on each plot.
async fn came_of(read: &mut Read, plots: &[PlotStanding]) -> Result<Vec<ForecastResult>> {
    let by_plot: BTreeMap<PlotId, &PlotStanding> = plots.iter().map(|p| (p.plot.id, p)).collect();
    let ids: Vec<PlotId> = by_plot.keys().copied().collect();
    let rows = store::forecasts::of_plots(read, &ids).await?;
    let plans = plans_of(read, &rows).await?;
    let mut runs: BTreeMap<(PlotId, Analyte), Vec<Segment>> = BTreeMap::new();
    let answered = |row: ForecastLine| {
        let plot = by_plot.get(&row.plot)?;
        let runs = runs.entry((row.plot, row.analyte)).or_insert_with(|| segments_of(plot, row.analyte));
        result(row, &plot.plot, runs, &plans)
    };
    Ok(rows.into_iter().filter_map(answered).collect())
}

/// The same of many plots: only the samplings that a forecast starts from or looks at are read,
/// and of them only what was forecast.
async fn came_of_many(
    read: &mut Read,
    site: SiteId,
    plots: &[PlotRow],
    rows: Vec<ForecastLine>,
) -> Result<Vec<ForecastResult>> {
    let plans = plans_of(read, &rows).await?;
    let errors = errors_of(read, site).await?;
    let analytes: BTreeSet<Analyte> = rows.iter().map(|row| row.analyte).collect();
    let mut by_plot: BTreeMap<PlotId, Vec<ForecastLine>> = BTreeMap::new();
    let since = rows.iter().map(|row| row.from_test_on).min().unwrap_or(Date::MAX);
    for row in rows {
        by_plot.entry(row.plot).or_default().push(row);
    }
    let foreseen: Vec<&PlotRow> = plots.iter().filter(|plot| by_plot.contains_key(&plot.id)).collect();
    let mut results = Vec::new();
    for some in foreseen.chunks(TOGETHER) {
        let ids: Vec<PlotId> = some.iter().map(|plot| plot.id).collect();
        let lines = Lines::load(read, &ids).await?;
        let everyone: Vec<PlotId> = ids.iter().copied().chain(lines.all.values().flatten().copied()).collect();
        let only = store::sampled::since(read, &everyone, since).await?;
        let loaded = store::samplings::among(read, &everyone, Some(&only)).await?;
        for plot in some {
            let before = lines.all.get(&plot.id).map_or(&[][..], Vec::as_slice);
            let samplings = of_line(plot.id, before, &loaded);
            let assumed = samplings.iter().filter(|l| l.row.date_assumed).map(|l| l.row.sampled_on).collect();
            let runs = runs_of(samplings.iter().flat_map(|one| tests(one, &analytes)), &assumed, &errors);
            let rows = by_plot.remove(&plot.id).unwrap_or_default();
            results.extend(rows.into_iter().filter_map(|row| result(row, plot, &runs, &plans)));
        }
    }
    Ok(results)
}

/// The tests of some analytes on a sampling's sheets.
fn tests<'a>(loaded: &'a Loaded, wanted: &'a BTreeSet<Analyte>) -> impl Iterator<Item = Test<'a>> {
    let sampling = &loaded.sampling;
    sampling.determinations().filter(|(_, cell)| wanted.contains(&cell.analyte)).filter_map(|(report, cell)| {
        let conversion = Conversion::of(sampling, report, cell)?;
        Some(Test {
            analyte: cell.analyte,
            method: &cell.method,
            level: conversion.level(cell.printed.value?),
            qualifier: cell.printed.qualifier,
            decimals: conversion.decimals,
            sampled_on: sampling.sampled_on,
            depth: sampling.depth,
            lab: &report.lab,
            sampling: sampling.key,
            cell: cell.key,
        })
    })
}

/// What the next test is reckoned from; the sentence says which part of it is not known.
fn outlook(
    one: &PlotResponse,
    element: Element,
    books: &Books,
    planned: &[Input],
    today: Date,
) -> std::result::Result<Outlook, String> {
    let newest = one.segment.points.last().filter(|point| point.found().is_exact());
    let newest = newest.ok_or("The newest test is only a limit.")?;
    let response = one.response.as_ref();
    let response = response.ok_or_else(|| match &one.tests {
        Err(skip) => skip.words(),
        Ok(_) => Skip::NothingToHoldAgainst.words(),
    })?;
    let missing = |of: &BTreeSet<String>| of.iter().map(String::as_str).collect::<Vec<_>>().join(" ");
    let since = books.between(element, newest.sampled_on, today);
    let coming = books.coming(planned, element);
    let (usual, seasons) = books
        .usual_offtake(element, USUAL_SEASONS)
        .ok_or("There is no season whose offtake is wholly known, so what one usually takes is not.")?;
    let so_far = since.net.known().ok_or_else(|| {
        let gone: BTreeSet<String> = since.brought.missing.union(&since.carried.missing).cloned().collect();
        format!("What came and went since the test of {} is not known. {}", day(newest.sampled_on), missing(&gone))
            .trim_end()
            .to_owned()
    })?;
    if !coming.is_complete() {
        return Err(format!("What the plan brings is not all known. {}", missing(&coming.missing))
            .trim_end()
            .to_owned());
    }
    let net = so_far + coming.known - usual;
    let leaf = |title: String, value: f64, unit: &str, origin: Origin| {
        Working::leaf(title, Figure::significant(value, unit, 3), origin)
    };
    let cell = newest.cells.first().map_or(Origin::Entered, |cell| Origin::Cell(*cell));
    let rate = KgPerHa::UNIT;
    let workings = vec![
        leaf(format!("Found on {}", newest.sampled_on), newest.value, one.segment.unit, cell),
        since.working,
        leaf("Planned".into(), coming.known.mid, rate, Origin::Chosen),
        leaf(format!("Usual offtake of a season, mean of {seasons}"), usual.mid, rate, Origin::Entered),
        response.working.clone(),
    ];
    Ok(Outlook {
        found: newest.value,
        sigma: newest.sigma,
        sigma_next: one.segment.error.one_test.sigma(one.segment.scale, newest.value),
        net_kg_per_ha: net,
        response: (response.response, response.sd),
        unit: one.segment.unit.to_owned(),
        workings,
    })
}
