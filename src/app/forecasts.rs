//! What a plot's tests make of what came and went: its learned response, what is left
//! beyond it, what an agreed plan expects of the next test, and where later tests fell.

use super::{
    Actor, App, Result, Role,
    access::found,
    day, guidelines,
    harvests::books,
    sheet::Sheet,
    standing::{self, PlotStanding},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        balance::{Books, Input},
        drift::{self, Point, Segment},
        element::Element,
        forecast::{self, Calibration, Fell, Outlook},
        offtake::BALANCED,
        quantity::{Centimetres, KgPerHa, SoilLayer},
        record::{Application, CellKey},
        response::{self, Beyond, Fit, Prior, Response, Skip, TestAt},
        working::{Figure, Origin, Working},
    },
    ids::{PlanId, PlotId, SiteId},
    store::{self, Read},
};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

pub use super::harvests::ForecastRow;

/// Seasons that the usual offtake is averaged over.
pub(super) const USUAL_SEASONS: usize = 5;

/// The tests of one element of a plot by one method at one depth, with the ledger's help.
#[derive(Clone, Debug)]
pub struct PlotResponse {
    pub plot: PlotId,
    pub segment: Segment,
    /// The tests with the net since the first, or why that is not known.
    pub tests: Result<Vec<TestAt>, Skip>,
    /// The response to reckon with; `None` where neither the tests nor a publication gives one.
    pub response: Option<Response>,
    /// What the level did beyond what was added and removed.
    pub beyond: Option<Beyond>,
}

/// A test as the second reading of a trend draws it: less what had come and gone by then.
#[derive(Clone, Debug, PartialEq)]
pub struct NetPoint {
    pub point: Point,
    /// Come less gone since the first test, kg/ha.
    pub net_kg_per_ha: f64,
    /// What that moved the test by the response used, in its unit.
    pub moved: f64,
    /// What the test would have shown, had nothing come or gone.
    pub left: f64,
}

impl PlotResponse {
    /// The tests less what was added and removed; empty where nothing can be said beyond it.
    pub fn net_points(&self) -> Vec<NetPoint> {
        let (Ok(tests), Some(beyond)) = (&self.tests, &self.beyond) else { return vec![] };
        let at = |(point, test): (&Point, &TestAt)| {
            let left = beyond.without_net(point.value, test.net_kg_per_ha);
            NetPoint { point: point.clone(), net_kg_per_ha: test.net_kg_per_ha, moved: point.value - left, left }
        };
        self.segment.points.iter().zip(tests).map(at).collect()
    }

    /// Why nothing can be said beyond what was added and removed; `None` where something can.
    pub fn why_not_beyond(&self) -> Option<String> {
        match (&self.tests, &self.response, &self.beyond) {
            (_, _, Some(_)) => None,
            (Err(skip), _, _) => Some(skip.words()),
            (Ok(tests), _, _) if tests.len() < 2 => Some(Skip::TooFewTests(tests.len()).words()),
            (Ok(_), None, _) => Some(Skip::NothingToHoldAgainst.words()),
            (Ok(_), Some(_), None) => Some("Too few of the tests are plain numbers.".into()),
        }
    }
}

/// A forecast and what came of it.
#[derive(Clone, Debug)]
pub struct ForecastResult {
    pub row: ForecastRow,
    /// As written on the peg.
    pub plot_code: String,
    pub plan_name: String,
    pub season: String,
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
        let forecast = &self.row.forecast;
        let band = format!("{} to {} {unit}", figure(read(forecast.low)), figure(read(forecast.high)));
        match &self.came {
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
    /// How the tests of an element on a plot answered to what came and went, newest segment
    /// last. Other plots of the site are heard where four or more can teach.
    pub async fn plot_responses(&self, actor: &Actor, id: PlotId, element: Element) -> Result<Vec<PlotResponse>> {
        actor.may(Role::Reader)?;
        let site = found(store::plots::plot(&mut *self.store.read().await?, id).await?, "plot")?.site;
        let mut all = self.site_responses(actor, site, element).await?;
        all.retain(|one| one.plot == id);
        Ok(all)
    }

    /// The same for every plot of a site in use.
    pub async fn site_responses(&self, actor: &Actor, site: SiteId, element: Element) -> Result<Vec<PlotResponse>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let (plots, books) = self.site_with_books(&mut read, site).await?;
        Ok(responses(&plots, &books, element))
    }

    /// How the tests of every element on a plot answered, with what the other plots of the site teach.
    pub async fn plot_learning(&self, actor: &Actor, id: PlotId) -> Result<Vec<(Element, PlotResponse)>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::plot(&mut read, id).await?, "plot")?.site;
        let (plots, books) = self.site_with_books(&mut read, site).await?;
        let of_plot = |element: &Element| {
            responses(&plots, &books, *element).into_iter().filter(|one| one.plot == id).collect::<Vec<_>>()
        };
        Ok(BALANCED.iter().flat_map(|e| of_plot(e).into_iter().map(|one| (*e, one))).collect())
    }

    /// What agreed plans of a site expected, and where later tests fell.
    pub async fn forecast_review(&self, actor: &Actor, site: SiteId) -> Result<ForecastReview> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::plots::site(&mut read, site).await?, "site")?;
        let plots = store::plots::plots(&mut read, site, false).await?;
        let guideline = guidelines::of_site(&mut read, &row).await?;
        let plots = standing::place(&mut read, plots, &guideline, self.today()).await?;
        let results = came_of(&mut read, &plots).await?;
        let fell = || results.iter().filter_map(|result| Some((result, result.came.as_ref()?)));
        let calibration = forecast::calibration(fell().map(|(_, (_, fell))| *fell));
        let inner = fell().filter_map(|(result, (point, _))| {
            let ends = (result.row.forecast.low, result.row.forecast.high);
            Some(forecast::fell(forecast::narrower(ends, NARROWER)?, point.found()))
        });
        let narrower = forecast::calibration_of(inner, NARROWER);
        Ok(ForecastReview { results, calibration, narrower })
    }

    /// The same of one plot that is loaded already.
    pub async fn plot_forecasts(&self, actor: &Actor, plot: &PlotStanding) -> Result<Vec<ForecastResult>> {
        actor.may(Role::Reader)?;
        came_of(&mut self.store.read().await?, std::slice::from_ref(plot)).await
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

    pub(super) async fn site_with_books(
        &self,
        read: &mut Read,
        site: SiteId,
    ) -> Result<(Vec<PlotStanding>, BTreeMap<PlotId, Books>)> {
        let row = found(store::plots::site(read, site).await?, "site")?;
        let plots = store::plots::plots(read, site, false).await?;
        let books = books(read, &plots, self.today()).await?;
        let guideline = guidelines::of_site(read, &row).await?;
        let plots = standing::place(read, plots, &guideline, self.today()).await?;
        Ok((plots, books))
    }

    /// What a plan, once agreed, expects of the next tests of its plots.
    ///
    /// From the newest test on: what has come and gone since, what the plan brings, less what
    /// a season's harvests usually carry away. Where any of it is not known there is no
    /// forecast: a guess would teach nothing.
    pub(super) async fn expected_of_plan(&self, plan: PlanId) -> Result<Vec<ForecastRow>> {
        let today = self.today();
        let mut read = self.store.read().await?;
        let row = found(store::plans::plan(&mut read, plan).await?, "plan")?;
        let site = found(store::plans::season(&mut read, row.season).await?, "season")?.site;
        let (plots, books) = self.site_with_books(&mut read, site).await?;
        let doses = store::plans::doses_of(&mut read, plan).await?;
        let analyses: Vec<_> = doses.iter().map(|dose| dose.analysis).collect();
        let analyses = store::amendments::analyses_by_id(&mut read, &analyses).await?;
        let products = store::amendments::all(&mut read, today, true).await?;
        let mut planned: BTreeMap<PlotId, Vec<Input>> = BTreeMap::new();
        for plot in store::plans::plots_of(&mut read, plan).await? {
            planned.insert(plot, vec![]);
        }
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
                },
            });
        }
        let mut rows = Vec::new();
        for element in BALANCED {
            for one in responses(&plots, &books, *element) {
                let (Some(inputs), Some(books)) = (planned.get(&one.plot), books.get(&one.plot)) else { continue };
                if let Some(outlook) = outlook(&one, *element, books, inputs, today)
                    && let Ok(forecast) = forecast::forecast(&outlook)
                    && let Some(newest) = one.segment.points.last()
                {
                    rows.push(ForecastRow {
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
                }
            }
        }
        // Where a method was used at two depths, the newer of them is what comes next.
        rows.sort_by_key(|row| std::cmp::Reverse(row.from_test_on));
        let mut seen = BTreeSet::new();
        rows.retain(|row| seen.insert((row.plot, row.analyte, row.method.clone(), row.unit.clone())));
        rows.sort_by(|a, b| (a.plot, a.analyte, &a.method, &a.unit).cmp(&(b.plot, b.analyte, &b.method, &b.unit)));
        Ok(rows)
    }
}

/// What agreed plans expected of plots, and what came of it; oldest first on each plot.
async fn came_of(read: &mut Read, plots: &[PlotStanding]) -> Result<Vec<ForecastResult>> {
    let by_plot: BTreeMap<PlotId, &PlotStanding> = plots.iter().map(|p| (p.plot.id, p)).collect();
    let ids: Vec<PlotId> = by_plot.keys().copied().collect();
    let rows = store::harvests::forecasts_of_plots(read, &ids).await?;
    let mut plans: BTreeMap<PlanId, (String, String)> = BTreeMap::new();
    for plan in rows.iter().map(|row| row.plan).collect::<BTreeSet<_>>() {
        let row = found(store::plans::plan(read, plan).await?, "plan")?;
        let season = found(store::plans::season(read, row.season).await?, "season")?;
        plans.insert(plan, (row.name, season.name));
    }
    let result = |row: ForecastRow| {
        let plot = by_plot.get(&row.plot)?;
        let (plan_name, season) = plans.get(&row.plan)?.clone();
        Some(ForecastResult { came: later_test(plot, &row), plot_code: plot.plot.code.clone(), plan_name, season, row })
    };
    Ok(rows.into_iter().filter_map(result).collect())
}

/// The runs of comparable tests of an analyte on a plot.
pub(super) fn segments_of(plot: &PlotStanding, analyte: Analyte) -> Vec<Segment> {
    let assumed: BTreeSet<Date> =
        plot.samplings.iter().filter(|l| l.row.date_assumed).map(|l| l.row.sampled_on).collect();
    drift::segments(&plot.survey.history(analyte), &assumed, &plot.survey.errors)
}

/// The first test after a forecast that compares with the one it started from.
fn later_test(plot: &PlotStanding, row: &ForecastRow) -> Option<(Point, Fell)> {
    let segment = segments_of(plot, row.analyte)
        .into_iter()
        .find(|s| s.method == row.method && s.unit == row.unit && s.depth == row.depth)?;
    let after = row.from_test_on.max(row.made_on);
    let point = segment.points.into_iter().find(|point| point.sampled_on > after)?;
    let fell = forecast::fell((row.forecast.low, row.forecast.high), point.found());
    Some((point, fell))
}

/// What a plot brings to the learning before the farm is heard.
struct Learning {
    plot: PlotId,
    segment: Segment,
    tests: Result<Vec<TestAt>, Skip>,
    fit: Result<Fit, Skip>,
    prior: Option<Prior>,
    ceiling: Option<f64>,
}

/// The responses of plots to one element; plots whose tests are alike in method, unit and
/// depth are heard together.
pub(super) fn responses(
    plots: &[PlotStanding],
    books: &BTreeMap<PlotId, Books>,
    element: Element,
) -> Vec<PlotResponse> {
    let nothing = Books::default();
    let mut alike: Vec<Vec<Learning>> = Vec::new();
    for plot in plots {
        let books = books.get(&plot.plot.id).unwrap_or(&nothing);
        for segment in segments_of(plot, Analyte::Element(element)) {
            let learning = learn(plot, books, segment, element);
            let same = |group: &&mut Vec<Learning>| {
                let first = &group[0].segment;
                first.method == learning.segment.method
                    && first.unit == learning.segment.unit
                    && first.depth == learning.segment.depth
                    && group.iter().all(|one| one.plot != learning.plot)
            };
            match alike.iter_mut().find(same) {
                Some(group) => group.push(learning),
                None => alike.push(vec![learning]),
            }
        }
    }
    let mut all = Vec::new();
    for group in alike {
        let (prior, unit) = (group[0].prior.clone(), group[0].segment.unit);
        // The least of the plots' soils bounds them all: they are fitted together.
        let ceiling = group.iter().filter_map(|one| one.ceiling).min_by(f64::total_cmp);
        let own = group.iter().map(|one| one.fit.clone()).collect();
        let settled = response::respond_farm(element, unit, own, prior.as_ref(), ceiling);
        for (one, response) in group.into_iter().zip(settled) {
            let held = response.as_ref().map(|r| (r.response, r.sd));
            let beyond = match (&one.tests, held) {
                (Ok(tests), Some(held)) => response::beyond(tests, held),
                _ => None,
            };
            all.push(PlotResponse { plot: one.plot, segment: one.segment, tests: one.tests, response, beyond });
        }
    }
    all
}

/// The layer that a segment was sampled from; one without a depth is taken to be what is worked.
pub(super) fn sampled_layer(plot: &PlotStanding, segment: &Segment) -> (SoilLayer, Centimetres) {
    let ground = plot.plot.ground();
    let depth = segment.depth.map_or(ground.depth, |band| Centimetres(band.bottom.0 - band.top.0));
    (SoilLayer::Measured { depth, bulk_density: ground.bulk_density().0, stones: ground.stones }, depth)
}

fn learn(plot: &PlotStanding, books: &Books, segment: Segment, element: Element) -> Learning {
    let (layer, depth) = sampled_layer(plot, &segment);
    let prior = response::published_prior(element, &segment.method, segment.unit, depth);
    let tests = response::tests_at(&segment, books);
    let fit = tests.clone().and_then(|tests| response::fit(&tests, prior.as_ref()));
    let ceiling = response::ceiling(segment.unit, &layer, depth);
    Learning { plot: plot.plot.id, segment, tests, fit, prior, ceiling }
}

/// What the next test is reckoned from; `None` where a part of it is not known.
fn outlook(one: &PlotResponse, element: Element, books: &Books, planned: &[Input], today: Date) -> Option<Outlook> {
    let newest = one.segment.points.last().filter(|point| point.found().is_exact())?;
    let response = one.response.as_ref()?;
    let since = books.between(element, newest.sampled_on, today);
    let coming = books.coming(planned, element);
    let (usual, seasons) = books.usual_offtake(element, USUAL_SEASONS)?;
    let so_far = since.net.known()?;
    if !coming.is_complete() {
        return None;
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
    Some(Outlook {
        found: newest.value,
        sigma: newest.sigma,
        sigma_next: one.segment.error.one_test.sigma(one.segment.scale, newest.value),
        net_kg_per_ha: net,
        response: (response.response, response.sd),
        unit: one.segment.unit.to_owned(),
        workings,
    })
}
