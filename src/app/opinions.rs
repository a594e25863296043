//! One plot, or one sheet of it, under every guideline, own ones and those that come with the
//! program: loads what was sampled and lets the trade set the guidelines side by side. It ranks
//! none of them.

use super::{
    Actor, App, Result,
    access::found,
    guidelines, lineage,
    plots::{PlotRow, SiteRow},
    reports::{ReportRow, SamplingRow},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        choice::Overrule,
        crop,
        guideline::{Guideline, LandUse, builtin},
        record::Sampling,
        second_opinion::{Opinion, SecondOpinion, second_opinion},
        survey::Survey,
    },
    ids::{PlotId, ReportId},
    store,
};
use std::borrow::Cow;

/// A plot, or one sheet read for it, under all guidelines.
#[derive(Clone, Debug)]
pub struct Opinions {
    pub site: SiteRow,
    /// The plot whose ground counts; of a mixed sample, its first.
    pub plot: PlotRow,
    /// What the opinions rest on.
    pub samplings: Vec<Sampling>,
    /// The one sheet that they rest on, where it is one.
    pub report: Option<(ReportRow, SamplingRow)>,
    /// What the limits were asked for.
    pub land_use: LandUse,
    pub opinion: SecondOpinion,
}

impl Opinions {
    /// One guideline's word on one nutrient.
    pub fn of(&self, guideline: &str, analyte: Analyte) -> Option<&Opinion> {
        let row = self.opinion.rows.iter().find(|row| row.analyte == analyte)?;
        row.opinions.iter().find(|opinion| opinion.guideline_slug == guideline)
    }
}

impl App {
    /// A plot under every guideline, for one use of the ground, its own where none is given; tables
    /// known only from memory speak where asked. A reading that a person chose on the plot is kept
    /// throughout.
    pub async fn second_opinion(
        &self,
        actor: &Actor,
        id: PlotId,
        land_use: Option<LandUse>,
        with_memory: bool,
    ) -> Result<Opinions> {
        let (site, _, ahead) = self.plot_outlook(actor, id).await?;
        let (standing, growing) = (ahead.standing, ahead.growing);
        let land_use = land_use.unwrap_or(standing.land_use);
        let chosen: Vec<Overrule> =
            standing.present.choices.values().filter_map(|choice| choice.overruled.clone()).collect();
        let ground = standing.plot.ground();
        let all = self.every_guideline(with_memory).await?;
        let all = all.iter().map(|guideline| &**guideline);
        let opinion = second_opinion(&standing.survey, &ground, all, land_use, &chosen, &growing, self.today());
        let samplings = standing.samplings.into_iter().map(|loaded| loaded.sampling).collect();
        Ok(Opinions { site, plot: standing.plot, samplings, report: None, land_use, opinion })
    }

    /// One sheet under every guideline, as if nothing else had ever been tested, on the ground of
    /// its plot; of a mixed sample, of the first.
    pub async fn report_opinion(
        &self,
        actor: &Actor,
        id: ReportId,
        land_use: Option<LandUse>,
        with_memory: bool,
    ) -> Result<Opinions> {
        let (report, _) = self.report(actor, id).await?;
        let (site, plot, grown, growing, sampling, row) = {
            let mut read = self.store.read().await?;
            let loaded = found(store::samplings::one(&mut read, report.sampling).await?, "report in force")?;
            let site = found(store::plots::site(&mut read, loaded.row.site).await?, "site")?;
            let first = found(loaded.plots.first().copied(), "plot")?;
            let plot = found(store::plots::plot(&mut read, first).await?, "plot")?;
            let grown = lineage::crops_on(&mut read, site.id, &[first], loaded.row.sampled_on, None).await?;
            // As on the plot: limits for what grows and comes next, rates for the season alone.
            let season = lineage::season_on(&mut read, site.id, loaded.row.sampled_on).await?;
            let season = season.iter().map(|season| season.id).collect();
            let growing = lineage::crops_of(&mut read, &[first], &season).await?.remove(&first).unwrap_or_default();
            (site, plot, grown, growing, loaded.sampling, loaded.row)
        };
        let own = grown.get(&plot.id).and_then(|crops| crop::land_use(crops)).unwrap_or(plot.land_use);
        let land_use = land_use.unwrap_or(own);
        let sheets = sampling.reports.iter().filter(|sheet| sheet.key == id.0).cloned().collect();
        let alone = Sampling { reports: sheets, ..sampling };
        let survey = Survey::read([alone.clone()]);
        let all = self.every_guideline(with_memory).await?;
        let all = all.iter().map(|guideline| &**guideline);
        let on = row.sampled_on;
        let opinion = second_opinion(&survey, &plot.ground(), all, land_use, &[], &growing, on);
        Ok(Opinions { site, plot, samplings: vec![alone], report: Some((report, row)), land_use, opinion })
    }

    /// Own guidelines, then those that come with the program; tables known only from memory
    /// speak where asked.
    async fn every_guideline(&self, with_memory: bool) -> Result<Vec<Cow<'static, Guideline>>> {
        let own = guidelines::own(&mut *self.store.read().await?).await?;
        let all = own.into_iter().map(Cow::<Guideline>::Owned).chain(builtin().iter().map(Cow::Borrowed));
        let all = all.filter(|guideline| guideline.has_limits());
        Ok(match with_memory {
            true => all.map(|guideline| Cow::Owned(guideline.with_memory())).collect(),
            false => all.collect(),
        })
    }
}
