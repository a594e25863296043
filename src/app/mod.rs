//! What a person can do. Every function here goes the same way: allow, load, compute,
//! save, record. Page, API, command line and importer all call the same function; none
//! of them can do anything that is not here. This layer knows no HTTP and no SQL.

pub mod access;
pub mod amendments;
pub mod applications;
pub mod calendar;
pub mod care;
mod columns;
pub mod cores;
pub mod demo;
pub mod drift_review;
pub mod error;
pub mod files;
pub mod forecasts;
pub mod glance;
pub mod guidelines;
pub mod harvests;
pub mod history;
pub mod import;
mod kept;
pub mod lab_check;
pub mod ledger;
mod lessons;
pub mod lime;
mod lineage;
pub mod lists;
pub mod metals;
pub mod next_season;
pub mod nitrogen;
pub mod notes;
pub mod opinions;
pub mod outlook;
pub mod own_guidelines;
pub mod people;
pub mod plots;
pub mod register;
pub mod removals;
pub mod reports;
pub mod responses;
pub mod retests;
pub mod salts;
pub mod season_totals;
pub mod seasons;
pub mod setup;
pub mod sheet;
pub mod standing;
pub mod story;
pub mod test_errors;
pub mod traces;
pub mod trends;
mod tries;
pub mod undone;
pub mod year_summary;

pub use access::{Actor, Role};
pub use error::{Error, Problem, Problems, Result};

use crate::{clock::Clock, settings::Settings, store::Store};
use jiff::{Timestamp, civil::Date};
use std::sync::Arc;
use tokio::sync::Semaphore;

/// The running program, less its ways in and out. Cheap to clone.
#[derive(Clone, Debug)]
pub struct App {
    store: Store,
    clock: Clock,
    settings: Arc<Settings>,
    /// Slots for computing password hashes.
    hashing: Arc<Semaphore>,
    /// Reviews of sites, until the record changes.
    drift_reviews: Arc<kept::Kept<crate::ids::SiteId, drift_review::SiteDrift>>,
    /// What the plots of sites taught of responses, until the record changes.
    lessons: Arc<kept::Kept<crate::ids::SiteId, lessons::Lessons>>,
    /// How the forecasts of sites held, until the record changes.
    forecast_reviews: Arc<kept::Kept<crate::ids::SiteId, forecasts::ForecastReview>>,
    /// Seasons of sites on paper, until the record changes.
    year_summaries: Arc<kept::Kept<YearKey, year_summary::YearSummary<year_summary::PlotBrief>>>,
    /// Season plans being worked out.
    desk: seasons::Desk,
    /// Plots at a glance, by site, until the record changes.
    glances: Arc<kept::Kept<crate::ids::SiteId, glance::SiteGlance>>,
    /// The samplings that the present of sites rests on, until the tests change.
    newest: Arc<kept::Kept<crate::ids::SiteId, columns::Newest>>,
    /// Passwords that were tried and not right, by name.
    tries: Arc<tries::Tries>,
    /// What an unknown name's password is checked against, so that both answers take as long.
    nobodys_hash: Arc<str>,
}

/// A site, and the season asked for.
type YearKey = (crate::ids::SiteId, Option<crate::ids::SeasonId>);

/// A day as sentences of the history say it: "5 Mar 2026".
fn day(on: Date) -> impl std::fmt::Display {
    on.strftime("%-d %b %Y")
}

impl App {
    /// Opens or creates the record in the settings' data folder.
    pub async fn open(settings: &Settings, clock: Clock) -> Result<App> {
        let store = Store::open(&settings.data.join("glebe.sqlite"), clock.now()).await?;
        let hashing = Arc::new(Semaphore::new(crate::settings::HASHES_AT_ONCE));
        let nobodys_hash = people::hash(&hashing, people::random_hex()?).await?.into();
        Ok(App {
            store,
            clock,
            settings: Arc::new(settings.clone()),
            hashing,
            drift_reviews: Arc::default(),
            lessons: Arc::default(),
            newest: Arc::default(),
            forecast_reviews: Arc::default(),
            year_summaries: Arc::default(),
            desk: seasons::Desk::default(),
            glances: Arc::default(),
            tries: Arc::default(),
            nobodys_hash,
        })
    }

    /// Today's date where the server runs.
    pub fn today(&self) -> Date {
        self.clock.today()
    }

    /// The present moment.
    pub fn now(&self) -> Timestamp {
        self.clock.now()
    }

    /// The settings it was opened with.
    pub fn settings(&self) -> &Settings {
        &self.settings
    }

    /// Closes the record after what is running has finished.
    pub async fn close(&self) {
        self.desk.stop_all().await;
        self.store.close().await;
    }
}
