//! A lab's sheet comes in: the sampling, the report, its printed cells, and their correction.
//!
//! A cell is kept as printed. A unit that does not suit its analyte or a value that looks
//! wrong is a question for the page to ask, not a reason to refuse; only what cannot be
//! understood at all is sent back, with a sentence by its field.

use super::{Actor, App, Error, Problem, Problems, Result, Role, access::found, day, error::Limits};
use crate::{
    agronomy::{
        analyte::Analyte,
        choice::Overrule,
        element::Form,
        method::Method,
        quantity::{Centimetres, LayerConvention},
        record::{Basis, CellKey, DepthBand, Determination, Fizz, FizzAcid, FizzClass, Unit},
    },
    exchange::number::{self, Low},
    ids::{DeterminationId, PlotId, ReportId, SamplingId},
    store::{self, Change, Subject, Write},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use crate::store::samplings::{
    DeterminationRow, Loaded, NewReport, NewSampling, ReportRow, SamplingLine, SamplingRow,
};

/// What is typed about a sampling.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SamplingForm {
    /// Numbers of the plots: one, or several for a composite.
    pub plots: Vec<String>,
    pub sampled_on: String,
    /// Not empty when the day is a guess.
    pub date_assumed: String,
    pub depth_top_cm: String,
    pub depth_bottom_cm: String,
    pub cores: String,
    /// Empty where no acid test was made.
    pub fizz_acid: String,
    pub fizz_class: String,
    /// Label of a repeat taken on the same plot and day.
    pub sub_sample: String,
    pub sampler: String,
    pub note: String,
    pub revision: i64,
}

/// What is typed about a report.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ReportForm {
    pub lab: String,
    pub reference: String,
    pub reported_on: String,
    pub note: String,
    /// The lines of the sheet; one with an empty `printed` is left out.
    pub rows: Vec<CellForm>,
}

/// What is typed about one printed cell.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct CellForm {
    pub analyte: String,
    pub method: String,
    pub printed: String,
    pub unit: String,
    /// The oxide or ion printed; empty for the element.
    pub form: String,
    /// Empty is by mass, or by volume where the unit is per volume.
    pub basis: String,
    /// Slug of the lab's soil-mass convention, for units per area.
    pub layer: String,
}

/// A report form, read.
#[derive(Clone, Debug)]
pub struct ReadReport {
    pub report: NewReport,
    /// With the line of the form that each was typed on.
    pub cells: Vec<(usize, Determination)>,
    /// What was made of entries that are not plain ("read as 0.5"), by field.
    pub understood: Vec<Problem>,
}

impl From<&Determination> for CellForm {
    fn from(cell: &Determination) -> Self {
        let by_rule = if cell.unit.is_by_volume() { Basis::Volume } else { Basis::Mass };
        CellForm {
            analyte: cell.analyte.to_string(),
            method: cell.method.slug(),
            printed: cell.printed.text.clone(),
            unit: cell.unit.symbol().into(),
            form: cell.form.map_or_else(String::new, |form| form.symbol().into()),
            basis: if cell.basis == by_rule { String::new() } else { cell.basis.slug().into() },
            layer: cell.layer.map_or_else(String::new, |layer| layer.slug.into()),
        }
    }
}

/// The most cores that make one sample.
const CORES: Limits =
    Limits { what: "The number of cores", unit: "", low: Low::Above(0.0), at_most: 10_000.0, decimals: 0 };

impl From<&Loaded> for SamplingForm {
    fn from(loaded: &Loaded) -> Self {
        let row = &loaded.row;
        let text = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
        SamplingForm {
            plots: loaded.plots.iter().map(ToString::to_string).collect(),
            sampled_on: row.sampled_on.to_string(),
            date_assumed: if row.date_assumed { "on".into() } else { String::new() },
            depth_top_cm: text(row.depth_top_cm),
            depth_bottom_cm: text(row.depth_bottom_cm),
            cores: row.cores.map_or_else(String::new, |cores| cores.to_string()),
            fizz_acid: row.fizz_acid.clone().unwrap_or_default(),
            fizz_class: row.fizz_class.clone().unwrap_or_default(),
            sub_sample: row.sub_sample.clone().unwrap_or_default(),
            sampler: row.sampler.clone(),
            note: row.note.clone(),
            revision: row.revision,
        }
    }
}

impl SamplingForm {
    /// Reads the form, or says what is wrong with it.
    pub fn read(&self, today: Date) -> Result<NewSampling> {
        let mut problems = Problems::default();
        let mut plots: Vec<PlotId> = self.plots.iter().filter_map(|id| id.trim().parse().ok()).collect();
        plots.sort();
        plots.dedup();
        if plots.is_empty() {
            problems.add("plots", "Choose the plot, or the plots, that the soil came from.");
        }
        let sampled_on = problems.past_date("sampled_on", &self.sampled_on, today);
        let top = problems.optional_number("depth_top_cm", &self.depth_top_cm, &Limits::TOP_CM);
        let bottom = problems.optional_number("depth_bottom_cm", &self.depth_bottom_cm, &Limits::DEPTH_CM);
        let depth = match (top, bottom) {
            (top, Some(bottom)) if bottom > top.unwrap_or(0.0) => {
                Some(DepthBand { top: Centimetres(top.unwrap_or(0.0)), bottom: Centimetres(bottom) })
            }
            (_, Some(_)) => {
                problems.add("depth_bottom_cm", "The layer ends below where it begins: from 0 to 15 cm, say.");
                None
            }
            (Some(_), None) if problems.of("depth_bottom_cm").is_none() => {
                problems.add("depth_bottom_cm", "Say how deep the layer goes.");
                None
            }
            _ => None,
        };
        let cores = problems.optional_number("cores", &self.cores, &CORES).map(|n| n as u32);
        let fizz = match (self.fizz_acid.trim(), self.fizz_class.trim()) {
            (_, "") => None,
            ("", class) => {
                problems.one_of::<FizzClass>("fizz_class", class).map(|class| Fizz { acid: FizzAcid::Unknown, class })
            }
            (acid, class) => {
                let acid = problems.one_of::<FizzAcid>("fizz_acid", acid);
                let class = problems.one_of::<FizzClass>("fizz_class", class);
                acid.zip(class).map(|(acid, class)| Fizz { acid, class })
            }
        };
        problems.none()?;
        Ok(NewSampling {
            plots,
            sampled_on: found(sampled_on, "date")?,
            date_assumed: !self.date_assumed.trim().is_empty(),
            depth,
            cores,
            fizz,
            sub_sample: Some(self.sub_sample.trim().to_owned()).filter(|label| !label.is_empty()),
            sampler: self.sampler.trim().to_owned(),
            note: self.note.trim().to_owned(),
        })
    }
}

impl ReportForm {
    /// Reads the form without saving anything, or says what is wrong with it.
    pub fn read(&self, today: Date) -> Result<ReadReport> {
        let mut problems = Problems::default();
        let lab = problems.text("lab", &self.lab, 200, "Give the lab’s name.");
        let reported_on = if self.reported_on.trim().is_empty() {
            None
        } else {
            problems.past_date("reported_on", &self.reported_on, today)
        };
        let mut cells = Vec::new();
        let mut understood = Vec::new();
        for (line, row) in self.rows.iter().enumerate() {
            let field = |name: &str| format!("rows.{line}.{name}");
            match row.read(&field, &mut problems) {
                Some(Cell { determination, said }) => {
                    cells.push((line, determination));
                    understood.extend(said.map(|message| Problem { field: field("printed"), message }));
                }
                None => continue,
            }
        }
        if cells.is_empty() && problems.is_empty() {
            problems.add("rows", "Type at least one result.");
        }
        problems.none()?;
        let report = NewReport {
            lab,
            reference: self.reference.trim().to_owned(),
            reported_on,
            note: self.note.trim().to_owned(),
        };
        Ok(ReadReport { report, cells, understood })
    }
}

struct Cell {
    determination: Determination,
    said: Option<String>,
}

impl CellForm {
    /// Reads one line; `None` where it is empty or where a problem was added.
    fn read(&self, field: &impl Fn(&str) -> String, problems: &mut Problems) -> Option<Cell> {
        let cell = problems.take(&field("printed"), number::parse_printed(&self.printed))?;
        let said = cell.understood().map(str::to_owned);
        let printed = cell.printed()?;
        let before = problems.0.len();
        let analyte = if self.analyte.trim().is_empty() {
            problems.add(&field("analyte"), "Say what this result is of.");
            None
        } else {
            problems.one_of::<Analyte>(&field("analyte"), &self.analyte)
        };
        let method = if self.method.trim().is_empty() {
            problems.add(&field("method"), "Choose the method. If the sheet does not say, choose “Method not stated”.");
            None
        } else {
            problems.one_of::<Method>(&field("method"), &self.method)
        };
        let unit = match (self.unit.trim(), analyte) {
            ("", Some(Analyte::Ph | Analyte::BufferPh)) => Some(Unit::Ph),
            ("", Some(Analyte::Ratio(..))) => Some(Unit::ToOne),
            ("", _) => {
                problems.add(&field("unit"), "Choose the unit that the sheet prints.");
                None
            }
            (typed, _) => problems.one_of::<Unit>(&field("unit"), typed),
        };
        let form = if self.form.trim().is_empty() { None } else { problems.one_of::<Form>(&field("form"), &self.form) };
        if let (Some(form), Some(analyte)) = (form, analyte)
            && analyte.element() != Some(form.element())
        {
            problems.add(
                &field("form"),
                format!("{form} is a form of {}, not of {}.", form.element().name(), analyte.name()),
            );
        }
        let by_volume = unit.is_some_and(Unit::is_by_volume);
        let basis = match self.basis.trim() {
            "" if by_volume => Some(Basis::Volume),
            "" => Some(Basis::Mass),
            typed => problems.one_of::<Basis>(&field("basis"), typed),
        };
        let layer = match self.layer.trim() {
            "" => None,
            slug => {
                let layer = LayerConvention::find(slug);
                if layer.is_none() {
                    problems.add(&field("layer"), format!("“{slug}” is not a soil-mass convention known here."));
                }
                layer
            }
        };
        if problems.0.len() > before {
            return None;
        }
        let determination = Determination {
            key: CellKey(0), // the record gives one
            analyte: analyte?,
            method: method?,
            printed,
            unit: unit?,
            form,
            basis: basis?,
            layer,
        };
        Some(Cell { determination, said })
    }
}

/// A reason that somebody gives: never empty.
pub(super) fn reason(typed: &str) -> Result<String> {
    let mut problems = Problems::default();
    let reason = problems.text("reason", typed, 1000, "Say why, so that it can be understood later.");
    problems.none()?;
    Ok(reason)
}

impl App {
    /// The samplings of a plot, oldest first, with those of the plots it was made from.
    pub async fn samplings(&self, actor: &Actor, plot: PlotId) -> Result<Vec<Loaded>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let mut ids = vec![plot];
        let line = store::plots::lineage(&mut read, plot).await?;
        ids.extend(line.iter().map(|link| link.parent).filter(|parent| *parent != plot));
        ids.sort();
        ids.dedup();
        let mut all: Vec<Loaded> = store::samplings::of_plots(&mut read, &ids).await?.into_values().flatten().collect();
        all.sort_by_key(|one| (one.row.sampled_on, one.row.id));
        all.dedup_by_key(|one| one.row.id);
        Ok(all)
    }

    /// The samplings of several plots in a few reads, without those of their forerunners.
    pub async fn samplings_of(&self, actor: &Actor, plots: &[PlotId]) -> Result<BTreeMap<PlotId, Vec<Loaded>>> {
        actor.may(Role::Reader)?;
        Ok(store::samplings::of_plots(&mut *self.store.read().await?, plots).await?)
    }

    /// One sampling with its reports and the cells in force.
    pub async fn sampling(&self, actor: &Actor, id: SamplingId) -> Result<Loaded> {
        actor.may(Role::Reader)?;
        found(store::samplings::one(&mut *self.store.read().await?, id).await?, "sampling")
    }

    /// The reports of a sampling, void ones too.
    pub async fn reports(&self, actor: &Actor, sampling: SamplingId) -> Result<Vec<ReportRow>> {
        actor.may(Role::Reader)?;
        Ok(store::samplings::reports_of(&mut *self.store.read().await?, sampling).await?)
    }

    /// One report with every cell, corrected and withdrawn ones too.
    pub async fn report(&self, actor: &Actor, id: ReportId) -> Result<(ReportRow, Vec<DeterminationRow>)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let report = found(store::samplings::report(&mut read, id).await?, "report")?;
        let cells = store::samplings::determinations(&mut read, id).await?;
        Ok((report, cells))
    }

    /// The readings that people chose against the rule, by sampling.
    pub async fn overrules(
        &self,
        actor: &Actor,
        samplings: &[SamplingId],
    ) -> Result<BTreeMap<SamplingId, Vec<Overrule>>> {
        actor.may(Role::Reader)?;
        Ok(store::choices::of_samplings(&mut *self.store.read().await?, samplings).await?)
    }

    /// Records that soil was taken.
    pub async fn save_sampling(&self, actor: &Actor, form: &SamplingForm) -> Result<SamplingId> {
        actor.may(Role::Recorder)?;
        let new = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let (id, change) = insert_sampling(&mut write, &new).await?;
        write.commit(change).await?;
        Ok(id)
    }

    /// Changes what is said about a sampling.
    pub async fn edit_sampling(&self, actor: &Actor, id: SamplingId, form: &SamplingForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let new = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let before = found(store::samplings::one(&mut write, id).await?, "sampling")?;
        let (site, codes) = site_of(&mut write, &new.plots).await?;
        if site != before.row.site {
            return Err(Error::invalid("plots", "A sampling stays on its site."));
        }
        store::samplings::update(&mut write, id, form.revision, &new).await?;
        let summary = format!("The sampling of {} on {} was edited.", codes.join(", "), day(new.sampled_on));
        let change = Change::new(Subject::Sampling(id), "edited", summary)
            .with(serde_json::json!({ "before": SamplingForm::from(&before), "after": form }));
        Ok(write.commit(change).await?)
    }

    /// Voids a sampling with its reports, with a reason.
    pub async fn void_sampling(&self, actor: &Actor, id: SamplingId, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::samplings::find(&mut write, id).await?, "sampling")?;
        store::samplings::void(&mut write, id, &why).await?;
        let summary = format!("The sampling of {} was taken back: {why}", day(row.sampled_on));
        Ok(write.commit(Change::new(Subject::Sampling(id), "voided", summary)).await?)
    }

    /// Records a lab's sheet for a sampling.
    pub async fn save_report(&self, actor: &Actor, sampling: SamplingId, form: &ReportForm) -> Result<ReportId> {
        actor.may(Role::Recorder)?;
        let read = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row =
            found(store::samplings::find(&mut write, sampling).await?.filter(|s| s.voided_at.is_none()), "sampling")?;
        let (id, change) = insert_report(&mut write, &row, &read).await?;
        write.commit(change).await?;
        Ok(id)
    }

    /// Records a sampling and the sheet that came back for it, both or neither.
    pub async fn save_sampling_with_report(
        &self,
        actor: &Actor,
        sampling: &SamplingForm,
        report: &ReportForm,
    ) -> Result<(SamplingId, ReportId)> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let new = sampling.read(self.today()).map_err(|error| problems.merge(error));
        let read = report.read(self.today()).map_err(|error| problems.merge(error));
        let (new, read) = match (new, read) {
            (Ok(new), Ok(read)) => (new, read),
            (Err(Err(other)), _) | (_, Err(Err(other))) => return Err(other),
            _ => return Err(Error::Invalid(problems)),
        };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let (id, sampled) = insert_sampling(&mut write, &new).await?;
        let row = found(store::samplings::find(&mut write, id).await?, "sampling")?;
        let (report, reported) = insert_report(&mut write, &row, &read).await?;
        write.commit_all(&[sampled, reported]).await?;
        Ok((id, report))
    }

    /// Corrects a printed cell: the new one takes its place, the old one stays to be seen.
    pub async fn correct_cell(
        &self,
        actor: &Actor,
        id: DeterminationId,
        form: &CellForm,
        why: &str,
    ) -> Result<DeterminationId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let read = form.read(&|name| name.to_owned(), &mut problems);
        if let Err(error) = reason(why) {
            problems.merge(error)?;
        }
        if read.is_none() && problems.is_empty() {
            problems.add("printed", "Type what the sheet prints. To take the line out, withdraw it.");
        }
        problems.none()?;
        let cell = found(read, "cell")?.determination;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let old = live_cell(&mut write, id).await?;
        let new = store::samplings::supersede(&mut write, id, &cell, why.trim()).await?;
        let summary = format!(
            "{} was corrected from “{} {}” to “{} {}”: {}",
            cell.analyte.name(),
            old.printed,
            old.unit,
            cell.printed.text,
            cell.unit,
            why.trim()
        );
        write.commit(Change::new(Subject::Report(old.report), "corrected", summary)).await?;
        Ok(new)
    }

    /// Takes a printed cell out of use, with a reason.
    pub async fn withdraw_cell(&self, actor: &Actor, id: DeterminationId, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let old = live_cell(&mut write, id).await?;
        store::samplings::withdraw(&mut write, id, &why).await?;
        let summary = format!("{} “{} {}” was withdrawn: {why}", old.analyte.name(), old.printed, old.unit);
        Ok(write.commit(Change::new(Subject::Report(old.report), "withdrawn", summary)).await?)
    }

    /// Voids a report with its cells, with a reason.
    pub async fn void_report(&self, actor: &Actor, id: ReportId, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::samplings::report(&mut write, id).await?, "report")?;
        store::samplings::void_report(&mut write, id, &why).await?;
        let summary = format!("The report of {} was taken back: {why}", row.lab);
        Ok(write.commit(Change::new(Subject::Report(id), "voided", summary)).await?)
    }

    /// Uses another reading of an analyte than the rule would, with a reason.
    pub async fn overrule_reading(
        &self,
        actor: &Actor,
        sampling: SamplingId,
        cell: DeterminationId,
        why: &str,
    ) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = live_cell(&mut write, cell).await?;
        let report = found(store::samplings::report(&mut write, row.report).await?, "report")?;
        if report.sampling != sampling {
            return Err(Error::NotFound("result of this sampling"));
        }
        store::choices::insert(&mut write, sampling, row.analyte, cell, &why).await?;
        let summary = format!(
            "For {} the result “{} {}” of {} is used: {why}",
            row.analyte.name(),
            row.printed,
            row.unit,
            report.lab
        );
        Ok(write.commit(Change::new(Subject::Sampling(sampling), "overruled", summary)).await?)
    }

    /// Goes back to the rule's own choice of reading for an analyte.
    pub async fn follow_rule_again(&self, actor: &Actor, sampling: SamplingId, analyte: Analyte) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::samplings::find(&mut write, sampling).await?, "sampling")?;
        store::choices::void(&mut write, sampling, analyte).await?;
        let summary = format!("For {} the rule chooses the reading again.", analyte.name());
        Ok(write.commit(Change::new(Subject::Sampling(sampling), "overruled", summary)).await?)
    }
}

/// The one site of these plots and their codes.
async fn site_of(write: &mut Write, plots: &[PlotId]) -> Result<(crate::ids::SiteId, Vec<String>)> {
    let mut site = None;
    let mut codes = Vec::new();
    for id in plots {
        let plot = store::plots::plot(write, *id).await?;
        let Some(plot) = plot else { return Err(Error::invalid("plots", "Choose plots from the list.")) };
        if site.is_some_and(|site| site != plot.site) {
            return Err(Error::invalid("plots", "A composite is taken from plots of one site."));
        }
        site = Some(plot.site);
        codes.push(plot.code);
    }
    Ok((found(site, "plot")?, codes))
}

async fn insert_sampling(write: &mut Write, new: &NewSampling) -> Result<(SamplingId, Change)> {
    let (site, codes) = site_of(write, &new.plots).await?;
    let id = store::samplings::insert(write, site, new).await?;
    let summary = format!("Soil was taken from {} on {}.", codes.join(", "), day(new.sampled_on));
    Ok((id, Change::new(Subject::Sampling(id), "added", summary)))
}

async fn insert_report(write: &mut Write, sampling: &SamplingRow, read: &ReadReport) -> Result<(ReportId, Change)> {
    if !sampling.date_assumed && read.report.reported_on.is_some_and(|day| day < sampling.sampled_on) {
        return Err(Error::invalid(
            "reported_on",
            format!("The lab cannot report before the soil was taken on {}.", sampling.sampled_on),
        ));
    }
    let id = store::samplings::insert_report(write, sampling.id, &read.report).await?;
    let cells: Vec<_> = read.cells.iter().map(|(line, cell)| (id, *line, cell)).collect();
    store::samplings::insert_determinations(write, &cells).await?;
    let summary = format!(
        "The report of {} for the soil of {} was added, with {} results.",
        read.report.lab,
        sampling.sampled_on,
        cells.len()
    );
    Ok((id, Change::new(Subject::Report(id), "added", summary)))
}

/// A cell that is in force.
async fn live_cell(write: &mut Write, id: DeterminationId) -> Result<DeterminationRow> {
    let report = found(store::samplings::report_of(write, id).await?, "result")?;
    let cell = store::samplings::determinations(write, report).await?.into_iter().find(|cell| cell.id == id);
    let cell = found(cell, "result")?;
    if cell.superseded_by.is_some() || cell.withdrawn_reason.is_some() {
        return Err(Error::Conflict("This result was corrected or withdrawn in the meantime.".into()));
    }
    Ok(cell)
}
