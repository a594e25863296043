//! The sampling calendar of a site: what it loads for [`crate::agronomy::calendar`].

use super::{Actor, App, Result, outlook::PlotOutlook, plots::SiteRow};
use crate::{
    agronomy::calendar::{Calendar, Interval, Taken, Visit, alike, calendar, intervals},
    ids::{PlotId, SiteId},
    store::plots::PlotRow,
};
use std::collections::{BTreeMap, BTreeSet};

/// When to sample what on a site.
#[derive(Clone, Debug)]
pub struct SiteCalendar {
    pub site: SiteRow,
    pub plots: BTreeMap<PlotId, PlotRow>,
    pub calendar: Calendar,
    /// How often publishers ask for a test, each with the plots that have gone longer.
    pub asked: Vec<(&'static Interval, Vec<PlotId>)>,
}

impl App {
    /// The sampling calendar of a site.
    pub async fn sampling_calendar(&self, actor: &Actor, id: SiteId) -> Result<SiteCalendar> {
        let ahead = self.site_outlook(actor, id).await?;
        let awaited: BTreeSet<i64> =
            ahead.plots.iter().filter(|plot| !plot.awaiting.is_empty()).map(|plot| plot.standing.plot.id.0).collect();
        let calendar = calendar(ahead.plots.iter().map(visit).collect(), &awaited);
        let asked = intervals().iter().map(|interval| (interval, self.gone_longer(interval, &ahead.plots))).collect();
        let plots = ahead.plots.into_iter().map(|plot| (plot.standing.plot.id, plot.standing.plot));
        Ok(SiteCalendar { site: ahead.site, plots: plots.collect(), calendar, asked })
    }

    /// The plots of a soil that an interval is said of, last sampled longer ago than it asks.
    fn gone_longer(&self, interval: &Interval, plots: &[PlotOutlook]) -> Vec<PlotId> {
        let longer = |plot: &&PlotOutlook| {
            let last = plot.standing.survey.last_sampled();
            interval.is_said_of(plot.standing.plot.texture, last, &plot.applications)
                && interval.is_past(last, self.today())
        };
        plots.iter().filter(longer).map(|plot| plot.standing.plot.id).collect()
    }
}

fn visit(plot: &PlotOutlook) -> Visit {
    let taken: Vec<Taken> = plot
        .standing
        .samplings
        .iter()
        .map(|loaded| Taken {
            on: loaded.row.sampled_on,
            depth: loaded.row.depth(),
            labs: loaded.sampling.reports.iter().map(|report| report.lab.clone()).collect(),
        })
        .collect();
    Visit {
        plot: plot.standing.plot.id.0,
        next: plot.outlook.next_test.clone(),
        alike: alike(&taken),
        last: taken.into_iter().last(),
    }
}
