//! How the tests of a plot answered to what came and went on it: its learned response, and
//! what is left beyond it. The plot is read by itself; what the other plots taught is heard
//! from [`super::lessons`].

use super::{
    Actor, App, Result, Role,
    access::found,
    guidelines,
    harvests::books,
    lessons::Lessons,
    plots::PlotRow,
    standing::{PlotStanding, place},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        balance::Books,
        drift::{self, Point, Segment},
        element::Element,
        guideline::Position,
        learned_need::{self, Answers, Learned},
        need::Need,
        offtake::BALANCED,
        quantity::{Centimetres, SoilLayer},
        response::{self, Beyond, Fit, Prior, Response, Skip, TestAt},
        standing::NutrientStanding,
    },
    ids::{PlotId, SiteId},
    store::{self, Read},
};
use jiff::civil::Date;
use std::{
    collections::{BTreeMap, BTreeSet},
    ops::Range,
    sync::Arc,
};

/// Plots whose books are open together; more would take more memory than time.
const TOGETHER: usize = 64;

/// The tests of one element of a plot by one method at one depth, with the ledger's help.
#[derive(Clone, Debug)]
pub struct PlotResponse {
    pub plot: PlotId,
    pub segment: Segment,
    /// The tests with the net since the first of them, or why that is not known.
    pub tests: Result<Vec<TestAt>, Skip>,
    /// Which points of the segment those are; between the others something is not known.
    pub points: Range<usize>,
    /// Why the others are left out, as sentences.
    pub left_out: Vec<String>,
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
        let points = self.segment.points.get(self.points.clone()).unwrap_or_default();
        points.iter().zip(tests).map(at).collect()
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

impl App {
    /// How the tests of an element on a plot answered to what came and went, newest run
    /// last. Other plots of the site are heard where four or more can teach.
    pub async fn plot_responses(&self, actor: &Actor, id: PlotId, element: Element) -> Result<Vec<PlotResponse>> {
        let (plot, books, lessons) = self.plot_with_books(actor, id).await?;
        Ok(responses(&plot, &books, element, &lessons))
    }

    /// The same of every element.
    pub async fn plot_learning(&self, actor: &Actor, id: PlotId) -> Result<Vec<(Element, PlotResponse)>> {
        let (plot, books, lessons) = self.plot_with_books(actor, id).await?;
        Ok(of_all(|element| responses(&plot, &books, element, &lessons)))
    }

    /// How the tests of an element answered on every plot of a site in use.
    pub async fn site_responses(&self, actor: &Actor, site: SiteId, element: Element) -> Result<Vec<PlotResponse>> {
        actor.may(Role::Reader)?;
        let lessons = self.lessons(site).await?;
        let mut read = self.store.read().await?;
        let plots = store::plots::plots(&mut read, site, false).await?;
        let opened = self.with_books(&mut read, site, plots).await?;
        Ok(opened.iter().flat_map(|(plot, books)| responses(plot, books, element, &lessons)).collect())
    }

    /// What raises a nutrient of a plot as tests there answered, beside its need by mass; or why
    /// they do not tell.
    pub async fn need_as_answered(
        &self,
        actor: &Actor,
        id: PlotId,
        nutrient: &NutrientStanding,
        need: &Need,
    ) -> Result<std::result::Result<Learned, String>> {
        let responses = self.plot_responses(actor, id, need.element).await?;
        let (_, _, plot) = self.plot_standing(actor, id).await?;
        let answer = answer(&plot, nutrient, responses);
        Ok(answer.and_then(|response| learned_need::learned(need, nutrient, &response, 1)))
    }

    /// What tests taught of every element that plots of a site are short of.
    pub(super) async fn answers(&self, site: SiteId, plots: Vec<PlotRow>) -> Result<BTreeMap<PlotId, Answers>> {
        let lessons = self.lessons(site).await?;
        let mut all = BTreeMap::new();
        for some in plots.chunks(TOGETHER) {
            let mut read = self.store.read().await?;
            let opened = self.with_books(&mut read, site, some.to_vec()).await?;
            drop(read);
            for (plot, books) in &opened {
                let mut answers = Answers::new();
                for nutrient in &plot.present.standing.nutrients {
                    let Some(element) = nutrient.analyte.element().filter(|e| BALANCED.contains(e)) else { continue };
                    if nutrient.position == Position::Short {
                        let responses = responses(plot, books, element, &lessons);
                        answers.insert(element, answer(plot, nutrient, responses));
                    }
                }
                all.insert(plot.plot.id, answers);
            }
        }
        Ok(all)
    }

    async fn plot_with_books(&self, actor: &Actor, id: PlotId) -> Result<(PlotStanding, Books, Arc<Lessons>)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let site = plot.site;
        let opened = self.with_books(&mut read, site, vec![plot]).await?.pop();
        drop(read);
        let (plot, books) = found(opened, "plot")?;
        Ok((plot, books, self.lessons(site).await?))
    }

    /// Plots of a site with all of their tests, and their books.
    pub(super) async fn with_books(
        &self,
        read: &mut Read,
        site: SiteId,
        plots: Vec<PlotRow>,
    ) -> Result<Vec<(PlotStanding, Books)>> {
        let row = found(store::plots::site(read, site).await?, "site")?;
        let mut books = books(read, &plots, self.today()).await?;
        let guideline = guidelines::of_site(read, &row).await?;
        let plots = place(read, plots, &guideline, self.today()).await?;
        let open = |plot: PlotStanding| {
            let books = books.remove(&plot.plot.id).unwrap_or_default();
            (plot, books)
        };
        Ok(plots.into_iter().map(open).collect())
    }
}

/// The runs of comparable tests of an analyte on a plot.
pub(super) fn segments_of(plot: &PlotStanding, analyte: Analyte) -> Vec<Segment> {
    let assumed: BTreeSet<Date> =
        plot.samplings.iter().filter(|l| l.row.date_assumed).map(|l| l.row.sampled_on).collect();
    drift::segments(&plot.survey.history(analyte), &assumed, &plot.survey.errors)
}

/// The response of the test that a nutrient's standing goes by, or why there is none.
fn answer(
    plot: &PlotStanding,
    nutrient: &NutrientStanding,
    responses: Vec<PlotResponse>,
) -> std::result::Result<Response, String> {
    let depth = plot.present.choices.get(&nutrient.analyte).and_then(|choice| choice.chosen.depth);
    let method = nutrient.method.label();
    let same = responses.into_iter().rev().find(|one| {
        let run = &one.segment;
        run.method == nutrient.method && run.unit == nutrient.level.unit() && run.depth == depth
    });
    let Some(same) = same else { return Err(format!("No run of tests by {method} at this depth.")) };
    let why = same.why_not_beyond();
    same.response.ok_or_else(|| why.unwrap_or_else(|| Skip::NothingToHoldAgainst.words()))
}

/// What is known of each element that a balance is kept for.
pub(super) fn of_all<T>(of: impl Fn(Element) -> Vec<T>) -> Vec<(Element, T)> {
    BALANCED.iter().flat_map(|element| of(*element).into_iter().map(|one| (*element, one))).collect()
}

/// What the tests of a run teach before the other plots are heard.
pub(super) struct Taught {
    /// The tests with the net since the first, or why that is not known.
    tests: Result<Vec<TestAt>, Skip>,
    points: Range<usize>,
    left_out: Vec<String>,
    pub fit: Result<Fit, Skip>,
    prior: Option<Prior>,
    pub ceiling: Option<f64>,
}

/// The responses of a plot to one element, a run of comparable tests after the other.
pub(super) fn responses(plot: &PlotStanding, books: &Books, element: Element, lessons: &Lessons) -> Vec<PlotResponse> {
    let answered = |segment: Segment| {
        let Taught { tests, points, left_out, fit, prior, ceiling } = learn(&plot.plot, books, &segment, element);
        let response = lessons.respond(element, plot.plot.id, &segment, (fit, prior.as_ref(), ceiling));
        let held = response.as_ref().map(|r| (r.response, r.sd));
        let beyond = match (&tests, held) {
            (Ok(tests), Some(held)) => response::beyond(tests, held),
            _ => None,
        };
        PlotResponse { plot: plot.plot.id, segment, tests, points, left_out, response, beyond }
    };
    segments_of(plot, Analyte::Element(element)).into_iter().map(answered).collect()
}

/// The layer that a segment was sampled from; one without a depth is taken to be what is worked.
pub(super) fn sampled_layer(plot: &PlotRow, segment: &Segment) -> (SoilLayer, Centimetres) {
    let ground = plot.ground();
    let depth = segment.depth.map_or(ground.depth, |band| Centimetres(band.bottom.0 - band.top.0));
    (SoilLayer::Measured { depth, bulk_density: ground.bulk_density().0, stones: ground.stones }, depth)
}

/// What the tests of a run teach by themselves.
pub(super) fn learn(plot: &PlotRow, books: &Books, segment: &Segment, element: Element) -> Taught {
    let (layer, depth) = sampled_layer(plot, segment);
    let prior = response::published_prior(element, &segment.method, segment.unit, depth);
    let (tests, points, left_out) = match response::told(segment, books) {
        // One test alone tells nothing; why it is alone does.
        Ok(told) if told.tests.len() < 2 && !told.left_out.is_empty() => {
            (Err(Skip::NetNotKnown(told.left_out)), 0..0, vec![])
        }
        Ok(told) => (Ok(told.tests), told.points, told.left_out),
        Err(skip) => (Err(skip), 0..0, vec![]),
    };
    let fit = tests.clone().and_then(|tests| response::fit(&tests, prior.as_ref()));
    let ceiling = response::ceiling(segment.unit, &layer, depth);
    Taught { tests, points, left_out, fit, prior, ceiling }
}
