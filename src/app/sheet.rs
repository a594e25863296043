//! What the pages about a lab's sheet show: a sampling with what was understood of it, a
//! single printed cell with its working, and the beginnings of a form to type the next one.
//! It loads and lets the trade speak; it saves nothing.

use super::{
    Actor, App, Error, Result, Role,
    access::found,
    guidelines,
    plots::{PlotRow, SiteRow},
    reports::{CellForm, DeterminationRow, Loaded, ReportRow, SamplingForm, SamplingLine, SamplingRow},
    standing,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        ground::Texture,
        guideline::Guideline,
        plausibility::{self, Entry, Question},
        reading::{self, Divisors, Reading, Unreadable},
        record::{Basis, CellKey, Determination, Unit},
        survey::Present,
    },
    ids::{DeterminationId, PlotId, ReportId, SamplingId, SiteId},
    store::{self, Read},
};
use jiff::ToSpan;
use std::borrow::Cow;

/// The depth of a first sampling, cm, where no other says what is usual here.
///
/// 15 cm (6 in) is the common depth for gardens and vegetables; each guideline states its own.
const USUAL_DEPTH_CM: (&str, &str) = ("0", "15");

/// One sampling with everything that its page shows.
#[derive(Clone, Debug)]
pub struct Sheet {
    pub site: SiteRow,
    /// The plots of the composite.
    pub plots: Vec<PlotRow>,
    pub guideline: Cow<'static, Guideline>,
    pub loaded: Loaded,
    /// The sheets in force.
    pub reports: Vec<ReportRow>,
    pub readings: Vec<Reading>,
    pub unreadable: Vec<Unreadable>,
    /// The first of the plots as it was known on the day of the sampling.
    pub present: Present,
    /// What the person with the sheet should look at again.
    pub questions: Vec<Question>,
}

/// One printed cell in force.
#[derive(Clone, Debug)]
pub struct Cell {
    pub site: SiteRow,
    pub sampling: SamplingRow,
    pub report: ReportRow,
    pub determination: Determination,
    /// What was made of it, or why nothing can be.
    pub reading: Result<Reading, Unreadable>,
}

impl App {
    /// A sampling with what was understood of its sheets.
    pub async fn sheet(&self, actor: &Actor, id: SamplingId) -> Result<Sheet> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let loaded = found(store::samplings::one(&mut read, id).await?, "sampling")?;
        let site = found(store::plots::site(&mut read, loaded.row.site).await?, "site")?;
        let mut plots = Vec::new();
        for plot in &loaded.plots {
            plots.extend(store::plots::plot(&mut read, *plot).await?);
        }
        let mut reports = store::samplings::reports_of(&mut read, id).await?;
        reports.retain(|report| report.voided_at.is_none());
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let first = found(plots.first().cloned(), "plot")?;
        let on = loaded.row.sampled_on;
        let placed = standing::place(&mut read, vec![first], &guideline, on).await?;
        let placed = found(placed.into_iter().next(), "plot")?;
        let ids: Vec<SamplingId> = placed.samplings.iter().map(|one| one.row.id).collect();
        let overrules = store::choices::of_samplings(&mut read, &ids).await?;
        let overrules: Vec<_> = overrules.into_values().flatten().collect();
        let survey = placed.survey.until(on);
        let present = survey.present(&placed.plot.ground(), &guideline, placed.land_use, &overrules, on);

        let (readings, unreadable) = reading::read_all(&loaded.sampling);
        let (mut history, mut beside) = (Vec::new(), Vec::new());
        for visit in survey.visits.iter().filter(|visit| visit.sampling.key != loaded.sampling.key) {
            let past = visit.sampling.sampled_on < on;
            if past { &mut history } else { &mut beside }.extend(visit.readings.iter().cloned());
        }
        let long_ago = on.saturating_sub(1.year());
        let applied = store::applications::of_plots(&mut read, &[placed.plot.id], long_ago, on).await?;
        let last_applied = applied.values().flatten().map(|one| one.applied_on).filter(|day| *day < on).max();
        let questions = plausibility::questions(&Entry {
            sampling: &loaded.sampling,
            readings: &readings,
            signs: &present.signs,
            history: &history,
            beside: &beside,
            last_applied,
            clay: matches!(placed.plot.ground().texture, Texture::Clay | Texture::SiltyClay | Texture::SandyClay),
        });
        Ok(Sheet { site, plots, guideline, loaded, reports, readings, unreadable, present, questions })
    }

    /// A sampling as its row, void or not.
    pub async fn sampling_row(&self, actor: &Actor, id: SamplingId) -> Result<SamplingRow> {
        actor.may(Role::Reader)?;
        found(store::samplings::find(&mut *self.store.read().await?, id).await?, "sampling")
    }

    /// The samplings of a site, newest first.
    pub async fn samplings_of_site(&self, actor: &Actor, site: SiteId) -> Result<Vec<SamplingLine>> {
        actor.may(Role::Reader)?;
        Ok(store::samplings::of_site(&mut *self.store.read().await?, site).await?)
    }

    /// A printed cell that is in force, with what was made of it.
    pub async fn cell(&self, actor: &Actor, id: DeterminationId) -> Result<Cell> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let report = found(store::samplings::report_of(&mut read, id).await?, "result")?;
        let report = found(store::samplings::report(&mut read, report).await?, "report")?;
        let loaded = found(store::samplings::one(&mut read, report.sampling).await?, "result in force")?;
        let site = found(store::plots::site(&mut read, loaded.row.site).await?, "site")?;
        let cell = loaded.sampling.determinations().find(|(_, cell)| cell.key == CellKey(id.0));
        let (sheet, determination) = found(cell, "result in force")?;
        let reading = reading::read(&loaded.sampling, sheet, determination, &Divisors::exact());
        let determination = determination.clone();
        Ok(Cell { site, sampling: loaded.row, report, determination, reading })
    }

    /// The report that a cell stands on, whatever became of the cell.
    pub async fn report_of_cell(&self, actor: &Actor, id: DeterminationId) -> Result<ReportId> {
        actor.may(Role::Reader)?;
        found(store::samplings::report_of(&mut *self.store.read().await?, id).await?, "result")
    }

    /// A form for the next sampling, begun with what is usual on the site.
    pub async fn next_sampling(&self, actor: &Actor, site: SiteId, plots: &[PlotId]) -> Result<SamplingForm> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        found(store::plots::site(&mut read, site).await?, "site")?;
        let last = store::samplings::latest_of_site(&mut read, site).await?;
        let depth = last.as_ref().and_then(SamplingRow::depth);
        let (top, bottom) = match depth {
            Some(depth) => (depth.top.0.to_string(), depth.bottom.0.to_string()),
            None => (USUAL_DEPTH_CM.0.to_owned(), USUAL_DEPTH_CM.1.to_owned()),
        };
        Ok(SamplingForm {
            plots: plots.iter().map(ToString::to_string).collect(),
            sampled_on: self.today().to_string(),
            depth_top_cm: top,
            depth_bottom_cm: bottom,
            cores: last.as_ref().and_then(|row| row.cores).map_or_else(String::new, |cores| cores.to_string()),
            fizz_acid: last.and_then(|row| row.fizz_acid).unwrap_or_default(),
            sampler: actor.name.clone(),
            ..SamplingForm::default()
        })
    }

    /// The names of labs, the one used last first.
    pub async fn labs(&self, actor: &Actor) -> Result<Vec<String>> {
        actor.may(Role::Reader)?;
        Ok(store::samplings::labs(&mut *self.store.read().await?).await?)
    }

    /// The lines of the last sheet of a lab on a site, less their numbers; of any lab where
    /// none is named. Empty where there is no such sheet.
    pub async fn last_lines(&self, actor: &Actor, site: SiteId, lab: &str) -> Result<Vec<CellForm>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let Some(report) = store::samplings::latest_report(&mut read, site, lab.trim()).await? else {
            return Ok(vec![]);
        };
        Ok(lines(&mut read, report).await?)
    }
}

async fn lines(read: &mut Read, report: ReportId) -> store::Result<Vec<CellForm>> {
    let cells = store::samplings::determinations(read, report).await?;
    let live = cells.into_iter().filter(|cell| cell.superseded_by.is_none() && cell.withdrawn_reason.is_none());
    Ok(live.map(|cell| CellForm { printed: String::new(), ..typed(&cell) }).collect())
}

/// A cell as it would be typed.
pub fn typed(cell: &DeterminationRow) -> CellForm {
    let by_volume = cell.unit.parse().is_ok_and(Unit::is_by_volume);
    let by_rule = if by_volume { Basis::Volume } else { Basis::Mass };
    CellForm {
        analyte: cell.analyte.to_string(),
        method: cell.method.clone(),
        printed: cell.printed.clone(),
        unit: cell.unit.clone(),
        form: cell.form.clone().unwrap_or_default(),
        basis: if cell.basis == by_rule.slug() { String::new() } else { cell.basis.clone() },
        layer: cell.layer.clone().unwrap_or_default(),
    }
}

impl Sheet {
    /// The readings of one analyte on this sampling's sheets.
    pub fn readings_of(&self, analyte: Analyte) -> impl Iterator<Item = &Reading> {
        self.readings.iter().filter(move |reading| reading.analyte == analyte)
    }

    /// A printed cell in force with the key of its report.
    pub fn determination(&self, key: CellKey) -> Option<(ReportId, &Determination)> {
        let all = self.loaded.sampling.determinations();
        all.map(|(report, cell)| (ReportId(report.key), cell)).find(|(_, cell)| cell.key == key)
    }
}

impl Error {
    /// Whether what was asked for is not there.
    pub fn is_not_found(&self) -> bool {
        matches!(self, Error::NotFound(_))
    }
}
