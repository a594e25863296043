//! Where plots stand now: loads what was sampled on a plot and on the plots that it was
//! made from, and lets the trade place it under the site's guideline. It decides nothing.

use super::{
    Actor, App, Error, Result, Role,
    access::found,
    guidelines, lineage,
    plots::{PlotRow, SiteRow},
    test_errors::errors_of,
};
use crate::{
    agronomy::{
        choice::Overrule,
        crop::{self, Crop},
        drift::ErrorSettings,
        guideline::{Guideline, LandUse},
        record::Sampling,
        survey::{Present, Survey},
    },
    ids::{PlotId, SamplingId, SiteId},
    store::{self, samplings::Loaded},
};
use jiff::civil::Date;
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
};

/// A plot with everything that its samplings say.
#[derive(Clone, Debug)]
pub struct PlotStanding {
    pub plot: PlotRow,
    /// Its samplings, oldest first, and those of the plots that it was made from.
    pub samplings: Vec<Loaded>,
    /// The same, read.
    pub survey: Survey,
    /// Where it stands today.
    pub present: Present,
    /// What grows there in the season of the day and the next one; in a plan, in its own season.
    pub crops: Vec<Crop>,
    /// What its limits are read for, by its crops; while none tells, as its own record says.
    pub land_use: LandUse,
    /// Its samplings are all of one soil; otherwise it was merged of plots that were tested
    /// apart, and only what was sampled since speaks for it.
    pub one_soil: bool,
}

/// The plots of a site under its guideline.
#[derive(Clone, Debug)]
pub struct SiteStandings {
    pub site: SiteRow,
    pub guideline: Cow<'static, Guideline>,
    /// In the order of the site's list; plots in use only.
    pub plots: Vec<PlotStanding>,
}

impl App {
    /// Where one plot stands, with its site and the guideline used.
    pub async fn plot_standing(
        &self,
        actor: &Actor,
        id: PlotId,
    ) -> Result<(SiteRow, Cow<'static, Guideline>, PlotStanding)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let site = found(store::plots::site(&mut read, plot.site).await?, "site")?;
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let mut standing = place(&mut read, vec![plot], &guideline, self.today()).await?;
        let standing = standing.pop().ok_or(Error::NotFound("plot"))?;
        Ok((site, guideline, standing))
    }

    /// Where every plot in use of a site stands.
    pub async fn site_standings(&self, actor: &Actor, id: SiteId) -> Result<SiteStandings> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let plots = store::plots::plots(&mut read, id, false).await?;
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let plots = place_now(&mut read, plots, &guideline, self.today(), None).await?;
        Ok(SiteStandings { site, guideline, plots })
    }
}

/// Places plots under a guideline, in a few reads for all of them, with all of their history.
pub(super) async fn place(
    read: &mut store::Read,
    plots: Vec<PlotRow>,
    guideline: &Guideline,
    on: Date,
) -> Result<Vec<PlotStanding>> {
    let grown = grown_on(read, &plots, on).await?;
    place_by(read, plots, guideline, on, None, grown, |samplings| Survey::read(samplings)).await
}

/// The same for pages of many plots: where they stand, without the history behind it; from
/// these samplings only, where it is known that nothing rests on the others.
pub(super) async fn place_now(
    read: &mut store::Read,
    plots: Vec<PlotRow>,
    guideline: &Guideline,
    on: Date,
    only: Option<&[SamplingId]>,
) -> Result<Vec<PlotStanding>> {
    let grown = grown_on(read, &plots, on).await?;
    place_by(read, plots, guideline, on, only, grown, |samplings| Survey::read_newest(samplings)).await
}

/// The same for a season of these crops, whatever grows on the day: the tests are those of the
/// day, what the limits are read for is what the season grows.
pub(super) async fn place_for(
    read: &mut store::Read,
    plots: Vec<PlotRow>,
    guideline: &Guideline,
    on: Date,
    only: Option<&[SamplingId]>,
    grown: BTreeMap<PlotId, Vec<Crop>>,
) -> Result<Vec<PlotStanding>> {
    place_by(read, plots, guideline, on, only, grown, |samplings| Survey::read_newest(samplings)).await
}

/// What grows on plots in the season of a day and the next one.
async fn grown_on(read: &mut store::Read, plots: &[PlotRow], on: Date) -> Result<BTreeMap<PlotId, Vec<Crop>>> {
    let mut grown = BTreeMap::new();
    for site in plots.iter().map(|plot| plot.site).collect::<BTreeSet<_>>() {
        let of_site: Vec<PlotId> = plots.iter().filter(|plot| plot.site == site).map(|plot| plot.id).collect();
        grown.append(&mut lineage::crops_on(read, site, &of_site, on, None).await?);
    }
    Ok(grown)
}

async fn place_by(
    read: &mut store::Read,
    plots: Vec<PlotRow>,
    guideline: &Guideline,
    on: Date,
    only: Option<&[SamplingId]>,
    mut grown: BTreeMap<PlotId, Vec<Crop>>,
    survey_of: fn(Vec<Sampling>) -> Survey,
) -> Result<Vec<PlotStanding>> {
    let ids: Vec<PlotId> = plots.iter().map(|p| p.id).collect();
    let forerunners = store::plots::forerunners(read, &ids).await?;
    let of_one_soil = store::plots::forerunners_of_one_soil(read, &ids).await?;
    let everyone: Vec<PlotId> = ids.iter().copied().chain(forerunners.values().flatten().copied()).collect();
    let mut loaded = store::samplings::among(read, &everyone, only).await?;
    loaded.values_mut().for_each(|of_plot| of_plot.sort_by_key(|l| (l.row.sampled_on, l.row.id)));
    let parents: BTreeSet<PlotId> = forerunners.values().flatten().copied().collect();
    let sampling_ids: Vec<_> = loaded.values().flatten().map(|l| l.row.id).collect();
    let overrules = store::choices::of_samplings(read, &sampling_ids).await?;
    let errors = match plots.first() {
        Some(plot) => errors_of(read, plot.site).await?,
        None => ErrorSettings::default(),
    };
    Ok(plots
        .into_iter()
        .map(|plot| {
            let before = forerunners.get(&plot.id).map_or(&[][..], Vec::as_slice);
            let samplings = match before {
                // Nobody else asks for them.
                [] if !parents.contains(&plot.id) => loaded.remove(&plot.id).unwrap_or_default(),
                _ => of_line(plot.id, before, &loaded),
            };
            let chosen: Vec<Overrule> =
                samplings.iter().filter_map(|l| overrules.get(&l.row.id)).flatten().cloned().collect();
            let survey = survey_of(samplings.iter().map(|l| l.sampling.clone()).collect()).with_errors(&errors);
            // Soils that were tested apart before a merge do not speak for the whole; they stay in the history.
            let same = of_one_soil.get(&plot.id).map_or(&[][..], Vec::as_slice);
            let one_soil = same.len() == before.len();
            let crops = grown.remove(&plot.id).unwrap_or_default();
            let land_use = crop::land_use(&crops).unwrap_or(plot.land_use);
            let present = if one_soil {
                survey.present(&plot.ground(), guideline, land_use, &chosen, on)
            } else {
                let own = survey_of(of_line(plot.id, same, &loaded).into_iter().map(|l| l.sampling).collect());
                let own = own.with_errors(&errors);
                own.present(&plot.ground(), guideline, land_use, &chosen, on)
            };
            PlotStanding { plot, samplings, survey, present, crops, land_use, one_soil }
        })
        .collect())
}

/// The samplings of a plot and its forerunners, oldest first, each once.
pub(super) fn of_line(plot: PlotId, before: &[PlotId], loaded: &BTreeMap<PlotId, Vec<Loaded>>) -> Vec<Loaded> {
    let mut all: Vec<Loaded> =
        before.iter().chain([&plot]).filter_map(|id| loaded.get(id)).flatten().cloned().collect();
    all.sort_by_key(|l| (l.row.sampled_on, l.row.id));
    all.dedup_by_key(|l| l.row.id);
    all
}
