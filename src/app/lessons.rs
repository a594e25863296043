//! What the plots of a site taught together of how their tests answer to what comes and goes:
//! worked out over all of them at once, from columns, and kept until the record changes. A page
//! of one plot loads that plot alone, and hears the others here.

use super::{
    App, Error, Result,
    access::found,
    columns::{Lines, Sorted},
    harvests::Shelf,
    lineage,
    plots::PlotRow,
    responses::learn,
    test_errors::errors_of,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        drift::{ErrorSettings, Segment, segments_of},
        element::Element,
        method::Method,
        offtake::BALANCED,
        record::DepthBand,
        response::{Farm, Fit, Prior, Response, Skip, respond},
    },
    ids::{PlotId, SiteId},
    store::{self, columns::Columns},
};
use jiff::civil::Date;
use std::{collections::BTreeMap, sync::Arc};

/// What of this kind changes teaches nothing about responses.
const UNRELATED: &[&str] = &["person", "attachment", "plan", "note"];

/// Plots whose books are open together; more would take more memory than time.
const TOGETHER: usize = 64;

/// What must be equal for the tests of two plots to be heard together.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
struct Kind {
    element: Element,
    method: Method,
    unit: &'static str,
    /// In whole millimetres.
    depth: Option<(i64, i64)>,
}

impl Kind {
    fn of(element: Element, segment: &Segment) -> Kind {
        let millimetres = |cm: f64| (cm * 10.0).round() as i64;
        let depth = |band: DepthBand| (millimetres(band.top.0), millimetres(band.bottom.0));
        Kind { element, method: segment.method.clone(), unit: segment.unit, depth: segment.depth.map(depth) }
    }
}

/// What plots taught by one kind of test.
#[derive(Debug, Default)]
struct Lesson {
    /// Those whose tests taught something, in the order of the site's list.
    taught: Vec<PlotId>,
    fits: Vec<(f64, f64)>,
    /// The least of their soils' ceilings bounds them all: they are fitted together.
    ceiling: Option<f64>,
    farm: Option<Farm>,
}

/// What the plots of a site taught.
#[derive(Debug, Default)]
pub(super) struct Lessons(BTreeMap<Kind, Lesson>);

impl Lessons {
    fn hear(&mut self, kind: Kind, plot: PlotId, fit: Result<Fit, Skip>, ceiling: Option<f64>) {
        let lesson = self.0.entry(kind).or_default();
        if let Ok(fit) = fit {
            lesson.taught.push(plot);
            lesson.fits.push((fit.response, fit.se));
        }
        lesson.ceiling = lesson.ceiling.into_iter().chain(ceiling).min_by(f64::total_cmp);
    }

    /// What two parts of the list taught, the earlier first.
    fn join(&mut self, later: Lessons) {
        for (kind, mut more) in later.0 {
            let lesson = self.0.entry(kind).or_default();
            lesson.taught.append(&mut more.taught);
            lesson.fits.append(&mut more.fits);
            lesson.ceiling = lesson.ceiling.into_iter().chain(more.ceiling).min_by(f64::total_cmp);
        }
    }

    /// The response to reckon with on a plot: its own tests held by the other plots where four or
    /// more taught, else by what is published.
    pub fn respond(
        &self,
        element: Element,
        plot: PlotId,
        segment: &Segment,
        (own, prior, ceiling): (Result<Fit, Skip>, Option<&Prior>, Option<f64>),
    ) -> Option<Response> {
        let lesson = self.0.get(&Kind::of(element, segment));
        let ceiling = lesson.map_or(ceiling, |lesson| lesson.ceiling);
        match lesson.and_then(|lesson| Some((lesson, lesson.farm.as_ref()?))) {
            Some((lesson, farm)) => {
                let at = lesson.taught.iter().position(|id| *id == plot);
                farm.respond(element, segment.unit, own, at, ceiling)
            }
            None => respond(element, segment.unit, own, prior, ceiling),
        }
    }
}

impl App {
    /// What the plots in use of a site taught; the same until something that it rests on changes.
    pub(super) async fn lessons(&self, site: SiteId) -> Result<Arc<Lessons>> {
        self.lessons.answer(&self.store, site, self.today(), UNRELATED, self.work_out_lessons(site)).await
    }

    async fn work_out_lessons(&self, id: SiteId) -> Result<Lessons> {
        let elements: Vec<Analyte> = BALANCED.iter().copied().map(Analyte::Element).collect();
        let columns = self.store.columns(id, &elements).await?;
        // A view of the record that is no older than what the columns were read from.
        let mut read = self.store.read().await?;
        found(store::plots::site(&mut read, id).await?, "site")?;
        let plots = store::plots::plots(&mut read, id, false).await?;
        let lines = Lines::load(&mut read, &lineage::ids(&plots)).await?;
        let errors = errors_of(&mut read, id).await?;
        let shelf = Shelf::load(&mut read, id).await?;
        drop(read);
        let tests = Arc::new(Tests { sorted: Sorted::of(&columns), columns, lines, errors, shelf });
        let half = plots.len().div_ceil(2).max(TOGETHER);
        let mut workers = Vec::new();
        for part in plots.chunks(half) {
            let (app, tests, part) = (self.clone(), tests.clone(), part.to_vec());
            workers.push(tokio::spawn(async move { app.hear(&tests, &part).await }));
        }
        let mut lessons = Lessons::default();
        for worker in workers {
            lessons.join(worker.await.map_err(|failed| Error::Internal(failed.to_string()))??);
        }
        for lesson in lessons.0.values_mut() {
            lesson.farm = Farm::of(std::mem::take(&mut lesson.fits));
        }
        Ok(lessons)
    }

    async fn hear(&self, tests: &Tests, plots: &[PlotRow]) -> Result<Lessons> {
        let mut lessons = Lessons::default();
        for some in plots.chunks(TOGETHER) {
            let mut read = self.store.read().await?;
            let today = self.today();
            let mut books = tests.shelf.books(&mut read, some, (Date::MIN, today), today).await?;
            drop(read);
            for plot in some {
                let books = books.remove(&plot.id).unwrap_or_default();
                for segment in tests.segments(plot) {
                    let Some(element) = segment.analyte.element() else { continue };
                    let learned = learn(plot, &books, &segment, element);
                    lessons.hear(Kind::of(element, &segment), plot.id, learned.fit, learned.ceiling);
                }
            }
        }
        Ok(lessons)
    }
}

/// The tests of a site, in columns, and what its books are kept by.
struct Tests {
    columns: Columns,
    sorted: Sorted,
    lines: Lines,
    errors: ErrorSettings,
    shelf: Shelf,
}

impl Tests {
    fn segments(&self, plot: &PlotRow) -> Vec<Segment> {
        let before = self.lines.all.get(&plot.id).map_or(&[][..], Vec::as_slice);
        let (tests, assumed) = self.sorted.tests(&self.columns, plot.id, before, |_| true);
        segments_of(tests, &assumed, &self.errors)
    }
}
