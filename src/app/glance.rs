//! Each plot of a site at a glance, for the pages that show all of them: kept until the
//! record changes, because people open those pages far more often than they record.

use super::{
    Actor, App, Error, Result, Role,
    access::found,
    columns::newest_samplings,
    guidelines,
    outlook::{PlotOutlook, look_ahead},
    plots::{PlotRow, SiteRow},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        liking::Liking,
        method::Method,
        reading::{Level, Reading},
        record::DepthBand,
    },
    ids::{PlanId, SamplingId, SiteId},
    store,
};
use jiff::civil::Date;
use std::sync::Arc;

/// The plots in use of a site, each at a glance.
#[derive(Debug)]
pub struct SiteGlance {
    pub site: SiteRow,
    /// Title of the guideline in use.
    pub guideline: String,
    /// In the order of the site's list.
    pub plots: Vec<PlotGlance>,
    /// Plots that are no longer worked.
    pub retired: Vec<PlotRow>,
}

/// A plot at a glance.
#[derive(Clone, Debug)]
pub struct PlotGlance {
    pub plot: PlotRow,
    /// When soil was last taken; `None` where it never was, on this plot or those it was made from.
    pub last_sampled: Option<Date>,
    /// A test is due.
    pub due: bool,
    pub worst: Option<Shortage>,
    /// What there is too much of.
    pub excess: Vec<Analyte>,
    /// How many agreed doses are still to be put on.
    pub open_doses: usize,
    /// Which plans those are of: number, name and how many.
    pub open_plans: Vec<(PlanId, String, usize)>,
    /// Samplings for which no report has come, each with its day.
    pub awaiting: Vec<(SamplingId, Date)>,
    /// More of something was put on in twelve months than may be.
    pub over_a_cap: bool,
    /// The readings that its standing goes by and that are plain numbers.
    pub levels: Vec<PlainLevel>,
}

/// What one test said, as far as it may be held beside another plot's.
#[derive(Clone, Debug, PartialEq)]
pub struct PlainLevel {
    pub analyte: Analyte,
    pub method: Method,
    /// In its unit.
    pub level: Level,
    pub depth: Option<DepthBand>,
}

/// The shortage that weighs most.
#[derive(Clone, Copy, Debug)]
pub struct Shortage {
    pub analyte: Analyte,
    /// How likely it is, in words; `None` where the test does not say.
    pub likely: Option<&'static str>,
    /// The heavier, the larger.
    pub weight: f64,
}

/// What of this kind changes is on no such page.
const UNRELATED: &[&str] = &["person", "attachment", "harvest"];

/// Plots that are looked at together; more would take more memory than time.
const TOGETHER: usize = 64;

impl PlotGlance {
    fn of(ahead: PlotOutlook) -> PlotGlance {
        let standing = &ahead.standing.present.standing;
        let worst = standing.worst().map(|nutrient| Shortage {
            analyte: nutrient.analyte,
            likely: nutrient.likelihood.as_ref().map(|likelihood| likelihood.words),
            weight: nutrient.shortage_weight(),
        });
        let taken = |id: &SamplingId| ahead.standing.samplings.iter().find(|one| one.row.id == *id);
        PlotGlance {
            last_sampled: ahead.standing.survey.last_sampled(),
            due: ahead.outlook.next_test.due,
            worst,
            excess: standing.excesses().map(|nutrient| nutrient.analyte).collect(),
            open_doses: ahead.open_doses.len(),
            open_plans: ahead.open_plans,
            awaiting: ahead.awaiting.iter().filter_map(|id| Some((*id, taken(id)?.row.sampled_on))).collect(),
            levels: ahead.standing.present.choices.values().filter_map(|choice| plain(&choice.chosen)).collect(),
            over_a_cap: ahead.outlook.caps.iter().any(|line| line.left.0 < 0.0),
            plot: ahead.standing.plot,
        }
    }
}

fn plain(reading: &Reading) -> Option<PlainLevel> {
    let Reading { analyte, method, level, depth, .. } = reading;
    reading.is_exact().then(|| PlainLevel { analyte: *analyte, method: method.clone(), level: *level, depth: *depth })
}

impl App {
    /// Every plot in use of a site at a glance; the same until something about them changes.
    pub async fn site_glance(&self, actor: &Actor, id: SiteId) -> Result<Arc<SiteGlance>> {
        actor.may(Role::Reader)?;
        self.glances.answer(&self.store, id, self.today(), UNRELATED, self.look_around(id)).await
    }

    async fn look_around(&self, id: SiteId) -> Result<SiteGlance> {
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let all = store::plots::plots(&mut read, id, true).await?;
        let (rows, retired): (Vec<PlotRow>, Vec<PlotRow>) = all.into_iter().partition(|plot| plot.retired_on.is_none());
        drop(read);
        let newest: Arc<[SamplingId]> = newest_samplings(&self.store, id, &rows, Date::MAX).await?.into();
        let half = rows.len().div_ceil(2).max(TOGETHER);
        let mut workers = Vec::new();
        for part in rows.chunks(half) {
            let (app, site, part, newest) = (self.clone(), site.clone(), part.to_vec(), newest.clone());
            workers.push(tokio::spawn(async move {
                let mut read = app.store.read().await?;
                let guideline = guidelines::of_site(&mut read, &site).await?;
                let mut plots = Vec::with_capacity(part.len());
                for some in part.chunks(TOGETHER) {
                    let some = some.to_vec();
                    let ahead =
                        look_ahead(&mut read, &site, some, &guideline, app.today(), Liking::default(), Some(&newest))
                            .await?;
                    plots.extend(ahead.into_iter().map(PlotGlance::of));
                }
                Ok::<_, Error>(plots)
            }));
        }
        let mut plots = Vec::with_capacity(rows.len());
        for worker in workers {
            plots.extend(worker.await.map_err(|failed| Error::Internal(failed.to_string()))??);
        }
        Ok(SiteGlance { site, guideline: guideline.title.clone(), plots, retired })
    }
}
