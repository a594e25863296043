//! Many rows at once: what an import finds in the record, and the rows it adds.
//!
//! Rows arrive with their numbers already given (the write lock is held, so
//! [`Next`] cannot go stale) and are written hundreds to a statement. Nothing here
//! overwrites anything; what must be unlike what is there, the caller has checked.

use super::{
    Day, Result, Time, Write,
    values::{MaybeDay, Text, json},
};
use crate::{
    agronomy::{
        amendment::{Analysis, Kind},
        analyte::Analyte,
        element::Form,
        ground::Ground,
        guideline::LandUse,
        method::Method,
        offtake::Figures,
        record::{Basis, DepthBand, Fizz, PrintedValue, Unit},
    },
    ids::*,
};
use jiff::civil::Date;
use sqlx::{QueryBuilder, SqliteConnection};
use std::collections::BTreeMap;

/// Rows to a statement: SQLite takes 32,766 values, and no row here has more than 16.
const ROWS: usize = 500;

/// The numbers that the next rows take.
#[derive(Clone, Copy, Debug)]
pub struct Next {
    pub block: i64,
    pub plot: i64,
    pub season: i64,
    pub amendment: i64,
    pub analysis: i64,
    pub sampling: i64,
    pub report: i64,
}

/// The numbers that the next rows take; they hold for as long as the write lock is held.
pub async fn next(db: &mut SqliteConnection) -> Result<Next> {
    Ok(sqlx::query_as!(
        Next,
        r#"select (select coalesce(max(id), 0) + 1 from blocks) as "block!: i64",
                  (select coalesce(max(id), 0) + 1 from plots) as "plot!: i64",
                  (select coalesce(max(id), 0) + 1 from seasons) as "season!: i64",
                  (select coalesce(max(id), 0) + 1 from amendments) as "amendment!: i64",
                  (select coalesce(max(id), 0) + 1 from analyses) as "analysis!: i64",
                  (select coalesce(max(id), 0) + 1 from samplings) as "sampling!: i64",
                  (select coalesce(max(id), 0) + 1 from reports) as "report!: i64""#
    )
    .fetch_one(db)
    .await?)
}

/// The site of this name.
pub async fn site_by_name(db: &mut SqliteConnection, name: &str) -> Result<Option<SiteId>> {
    Ok(sqlx::query_scalar!(r#"select id as "id!: SiteId" from sites where name = ?"#, name).fetch_optional(db).await?)
}

/// A season of a site.
#[derive(Clone, Debug)]
pub struct SeasonRow {
    pub id: SeasonId,
    pub name: String,
    pub starts_on: Date,
    pub ends_on: Date,
}

/// The seasons of a site.
pub async fn seasons(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<SeasonRow>> {
    Ok(sqlx::query_as!(
        SeasonRow,
        r#"select id as "id!: SeasonId", name, starts_on as "starts_on: Day", ends_on as "ends_on: Day"
           from seasons where site = ?"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// A sampling of the record, as an import tells it from others.
#[derive(Clone, Debug)]
pub struct SamplingFound {
    pub id: SamplingId,
    pub sampled_on: Date,
    pub depth_top_cm: Option<f64>,
    pub depth_bottom_cm: Option<f64>,
    pub sub_sample: Option<String>,
    pub voided: bool,
    /// Ascending.
    pub plots: Vec<PlotId>,
}

/// Every sampling of a site, voided ones too: what was thrown out is not let in again.
pub async fn samplings(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<SamplingFound>> {
    let mut pairs = BTreeMap::<SamplingId, Vec<PlotId>>::new();
    let rows = sqlx::query!(
        r#"select sp.sampling as "sampling!: SamplingId", sp.plot as "plot!: PlotId"
           from samplings s join sampling_plots sp on sp.sampling = s.id where s.site = ? order by sp.sampling, sp.plot"#,
        site
    )
    .fetch_all(&mut *db)
    .await?;
    for row in rows {
        pairs.entry(row.sampling).or_default().push(row.plot);
    }
    let rows = sqlx::query!(
        r#"select id as "id!: SamplingId", sampled_on as "sampled_on: Day", depth_top_cm, depth_bottom_cm, sub_sample,
                  voided_at is not null as "voided!: bool"
           from samplings where site = ? order by voided_at is not null, id"#,
        site
    )
    .fetch_all(db)
    .await?;
    let found = rows.into_iter().map(|row| SamplingFound {
        id: row.id,
        sampled_on: row.sampled_on.into(),
        depth_top_cm: row.depth_top_cm,
        depth_bottom_cm: row.depth_bottom_cm,
        sub_sample: row.sub_sample,
        voided: row.voided,
        plots: pairs.remove(&row.id).unwrap_or_default(),
    });
    Ok(found.collect())
}

/// A report of the record.
#[derive(Clone, Debug)]
pub struct ReportFound {
    pub id: ReportId,
    pub sampling: SamplingId,
    pub lab: String,
    pub reference: String,
    /// Cells it has, superseded ones too.
    pub cells: i64,
}

/// Every report of a site's samplings, voided ones too.
pub async fn reports(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<ReportFound>> {
    Ok(sqlx::query_as!(
        ReportFound,
        r#"select r.id as "id!: ReportId", r.sampling as "sampling: SamplingId", r.lab, r.reference,
                  (select count(*) from determinations d where d.report = r.id) as "cells!: i64"
           from samplings s join reports r on r.sampling = s.id where s.site = ? order by r.voided_at is not null, r.id"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// A printed result of the record.
#[derive(Clone, Debug)]
pub struct CellFound {
    pub report: ReportId,
    pub analyte: Analyte,
    pub method: Method,
    pub unit: Unit,
    pub form: Option<Form>,
    pub basis: Basis,
    pub printed: String,
}

/// Every printed result of these reports, superseded ones too.
pub async fn cells(db: &mut SqliteConnection, reports: &[ReportId]) -> Result<Vec<CellFound>> {
    let reports = serde_json::json!(reports).to_string();
    let rows = sqlx::query!(
        r#"select d.report as "report: ReportId", d.analyte as "analyte: Text<Analyte>", d.method as "method: Text<Method>",
                  d.unit as "unit: Text<Unit>", d.form as "form: Text<Form>", d.basis as "basis: Text<Basis>", d.printed
           from json_each(?) as wanted join determinations d on d.report = wanted.value"#,
        reports
    )
    .fetch_all(db)
    .await?;
    let found = rows.into_iter().map(|row| CellFound {
        report: row.report,
        analyte: row.analyte.0,
        method: row.method.0,
        unit: row.unit.0,
        form: row.form.map(|form| form.0),
        basis: row.basis.0,
        printed: row.printed,
    });
    Ok(found.collect())
}

/// An analysis of the record, by its amendment's name.
#[derive(Clone, Debug)]
pub struct AnalysisFound {
    pub id: AnalysisId,
    pub amendment: AmendmentId,
    pub name: String,
    pub valid_from: Date,
}

/// Every analysis of every amendment.
pub async fn analyses(db: &mut SqliteConnection) -> Result<Vec<AnalysisFound>> {
    Ok(sqlx::query_as!(
        AnalysisFound,
        r#"select n.id as "id!: AnalysisId", a.id as "amendment!: AmendmentId", a.name, n.valid_from as "valid_from: Day"
           from amendments a join analyses n on n.amendment = a.id"#
    )
    .fetch_all(db)
    .await?)
}

/// An application of the record.
#[derive(Clone, Debug)]
pub struct ApplicationFound {
    pub plot: PlotId,
    pub applied_on: Date,
    pub amendment: AmendmentId,
    pub mass_g: f64,
    pub method: String,
    pub note: String,
}

/// Every application of a site, voided ones too.
pub async fn applications(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<ApplicationFound>> {
    Ok(sqlx::query_as!(
        ApplicationFound,
        r#"select plot as "plot: PlotId", applied_on as "applied_on: Day", amendment as "amendment: AmendmentId", mass_g,
                  method, note
           from applications where site = ?"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// A cropping of the record.
#[derive(Clone, Debug)]
pub struct CroppingFound {
    pub plot: PlotId,
    pub season: SeasonId,
    pub crop: String,
    pub sown_on: Option<Date>,
}

/// Every cropping of a site, voided ones too.
pub async fn croppings(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<CroppingFound>> {
    Ok(sqlx::query_as!(
        CroppingFound,
        r#"select c.plot as "plot: PlotId", c.season as "season: SeasonId", c.crop, c.sown_on as "sown_on!: MaybeDay"
           from croppings c join plots p on p.id = c.plot where p.site = ?"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// A harvest of the record.
#[derive(Clone, Debug)]
pub struct HarvestFound {
    pub plot: PlotId,
    pub harvested_on: Date,
    pub crop: Option<String>,
    pub fresh_mass_kg: f64,
    pub note: String,
}

/// Every harvest of a site, voided ones too.
pub async fn harvests(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<HarvestFound>> {
    Ok(sqlx::query_as!(
        HarvestFound,
        r#"select plot as "plot: PlotId", harvested_on as "harvested_on: Day", crop, fresh_mass_kg, note
           from harvests where site = ?"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// Rows to add, each with its number given from [`Next`].
#[derive(Clone, Debug, Default)]
pub struct Batch {
    pub blocks: Vec<(BlockId, String)>,
    pub plots: Vec<NewPlot>,
    pub seasons: Vec<SeasonRow>,
    pub amendments: Vec<NewAmendment>,
    pub analyses: Vec<NewAnalysis>,
    pub samplings: Vec<NewSampling>,
    pub reports: Vec<NewReport>,
    pub cells: Vec<NewCell>,
    pub applications: Vec<NewApplication>,
    pub croppings: Vec<NewCropping>,
    pub harvests: Vec<NewHarvest>,
}

/// A plot to add.
#[derive(Clone, Debug)]
pub struct NewPlot {
    pub id: PlotId,
    pub block: Option<BlockId>,
    pub name: String,
    pub code: String,
    pub ground: Ground,
    pub land_use: LandUse,
    pub began_on: Option<Date>,
    pub position: i64,
    pub note: String,
}

/// An amendment to add.
#[derive(Clone, Debug)]
pub struct NewAmendment {
    pub id: AmendmentId,
    pub name: String,
    pub supplier: String,
    pub kind: Kind,
    pub liquid: bool,
    pub manure: bool,
    pub note: String,
}

/// An analysis to add.
#[derive(Clone, Debug)]
pub struct NewAnalysis {
    pub id: AnalysisId,
    pub amendment: AmendmentId,
    pub valid_from: Date,
    pub analysis: Analysis,
}

/// A sampling to add.
#[derive(Clone, Debug)]
pub struct NewSampling {
    pub id: SamplingId,
    pub plots: Vec<PlotId>,
    pub sampled_on: Date,
    pub date_assumed: bool,
    pub depth: Option<DepthBand>,
    pub cores: Option<u32>,
    pub fizz: Option<Fizz>,
    pub sub_sample: Option<String>,
    pub sampler: String,
    pub note: String,
}

/// A report to add.
#[derive(Clone, Debug)]
pub struct NewReport {
    pub id: ReportId,
    pub sampling: SamplingId,
    pub lab: String,
    pub reference: String,
    pub reported_on: Option<Date>,
    pub note: String,
}

/// A printed result to add.
#[derive(Clone, Debug)]
pub struct NewCell {
    pub report: ReportId,
    pub position: i64,
    pub analyte: Analyte,
    pub method: Method,
    pub printed: PrintedValue,
    pub unit: Unit,
    pub form: Option<Form>,
    pub basis: Basis,
    pub layer: Option<&'static str>,
}

/// An application to add.
#[derive(Clone, Debug)]
pub struct NewApplication {
    pub plot: PlotId,
    pub applied_on: Date,
    pub amendment: AmendmentId,
    pub analysis: AnalysisId,
    pub mass_g: f64,
    pub method: String,
    pub person_name: String,
    pub note: String,
}

/// A cropping to add.
#[derive(Clone, Debug)]
pub struct NewCropping {
    pub plot: PlotId,
    pub season: SeasonId,
    pub crop: String,
    pub sown_on: Option<Date>,
    pub note: String,
}

/// A harvest to add.
#[derive(Clone, Debug)]
pub struct NewHarvest {
    pub plot: PlotId,
    pub season: Option<SeasonId>,
    pub crop: Option<String>,
    pub harvested_on: Date,
    pub fresh_mass_kg: f64,
    pub figures: Figures,
    pub person_name: String,
    pub note: String,
}

/// Writes rows `ROWS` at a time under a statement's fixed beginning.
macro_rules! insert {
    ($write:expr, $head:literal, $rows:expr, |$row:ident, $b:ident| $bind:expr) => {
        for some in $rows.chunks(ROWS) {
            let mut query = QueryBuilder::<sqlx::Sqlite>::new($head);
            query.push_values(some, |mut $b, $row| {
                $bind;
            });
            query.build().execute(&mut **$write).await?;
        }
    };
}

/// Adds a batch to a site. The caller commits, and says in the history what was added.
pub async fn insert(write: &mut Write, site: SiteId, batch: &Batch) -> Result<()> {
    let (at, by) = (write.at(), write.by());
    insert!(write, "insert into blocks (id, site, name, position) ", batch.blocks, |row, b| {
        b.push_bind(row.0).push_bind(site).push_bind(row.1.as_str()).push_bind(row.0.0)
    });
    insert!(
        write,
        "insert into plots (id, site, block, name, code, area_m2, cover, texture, bulk_density, depth_cm, stones, \
         land_use, began_on, position, note) ",
        batch.plots,
        |row, b| b
            .push_bind(row.id)
            .push_bind(site)
            .push_bind(row.block)
            .push_bind(row.name.as_str())
            .push_bind(row.code.as_str())
            .push_bind(row.ground.area.0)
            .push_bind(row.ground.cover.slug())
            .push_bind(row.ground.texture.slug())
            .push_bind(row.ground.bulk_density.map(|d| d.0))
            .push_bind(row.ground.depth.0)
            .push_bind(row.ground.stones)
            .push_bind(row.land_use.slug())
            .push_bind(row.began_on.map(Day))
            .push_bind(row.position)
            .push_bind(row.note.as_str())
    );
    insert!(write, "insert into seasons (id, site, name, starts_on, ends_on) ", batch.seasons, |row, b| {
        b.push_bind(row.id)
            .push_bind(site)
            .push_bind(row.name.as_str())
            .push_bind(Day(row.starts_on))
            .push_bind(Day(row.ends_on))
    });
    insert!(
        write,
        "insert into amendments (id, name, supplier, kind, form, manure, note) ",
        batch.amendments,
        |row, b| b
            .push_bind(row.id)
            .push_bind(row.name.as_str())
            .push_bind(row.supplier.as_str())
            .push_bind(row.kind.slug())
            .push_bind(if row.liquid { "liquid" } else { "solid" })
            .push_bind(row.manure)
            .push_bind(row.note.as_str())
    );
    insert!(
        write,
        "insert into analyses (id, amendment, valid_from, label, source, neutralising_value, moisture, ammonium_n, \
         recorded_at, recorded_by) ",
        batch.analyses,
        |row, b| b
            .push_bind(row.id)
            .push_bind(row.amendment)
            .push_bind(Day(row.valid_from))
            .push_bind(row.analysis.label.as_str())
            .push_bind(serde_json::json!(row.analysis.source).to_string())
            .push_bind(row.analysis.neutralising_value)
            .push_bind(row.analysis.moisture)
            .push_bind(row.analysis.ammonium_n)
            .push_bind(Time(at))
            .push_bind(by)
    );
    let parts: Vec<_> =
        batch.analyses.iter().flat_map(|row| row.analysis.parts.iter().map(move |part| (row.id, part))).collect();
    insert!(
        write,
        "insert into analysis_parts (analysis, element, mass_fraction, first_year_availability, printed, pure, source, \
         availability_source) ",
        parts,
        |row, b| b
            .push_bind(row.0)
            .push_bind(row.1.0.symbol())
            .push_bind(row.1.1.mass_fraction)
            .push_bind(row.1.1.first_year_availability)
            .push_bind(row.1.1.printed.as_str())
            .push_bind(row.1.1.pure)
            .push_bind(serde_json::json!(row.1.1.source).to_string())
            .push_bind(row.1.1.availability_source.as_ref().map(|source| serde_json::json!(source).to_string()))
    );
    insert!(
        write,
        "insert into samplings (id, site, sampled_on, date_assumed, depth_top_cm, depth_bottom_cm, cores, fizz_acid, \
         fizz_class, sub_sample, sampler, note) ",
        batch.samplings,
        |row, b| b
            .push_bind(row.id)
            .push_bind(site)
            .push_bind(Day(row.sampled_on))
            .push_bind(row.date_assumed)
            .push_bind(row.depth.map(|depth| depth.top.0))
            .push_bind(row.depth.map(|depth| depth.bottom.0))
            .push_bind(row.cores)
            .push_bind(row.fizz.map(|fizz| fizz.acid.slug()))
            .push_bind(row.fizz.map(|fizz| fizz.class.slug()))
            .push_bind(row.sub_sample.as_deref())
            .push_bind(row.sampler.as_str())
            .push_bind(row.note.as_str())
    );
    let pairs: Vec<_> = batch.samplings.iter().flat_map(|row| row.plots.iter().map(move |p| (row.id, *p))).collect();
    insert!(write, "insert into sampling_plots (sampling, plot) ", pairs, |row, b| {
        b.push_bind(row.0).push_bind(row.1)
    });
    insert!(
        write,
        "insert into reports (id, sampling, lab, reference, reported_on, note, recorded_at, recorded_by) ",
        batch.reports,
        |row, b| b
            .push_bind(row.id)
            .push_bind(row.sampling)
            .push_bind(row.lab.as_str())
            .push_bind(row.reference.as_str())
            .push_bind(row.reported_on.map(Day))
            .push_bind(row.note.as_str())
            .push_bind(Time(at))
            .push_bind(by)
    );
    insert!(
        write,
        "insert into determinations (report, position, analyte, method, printed, qualifier, value, decimals, unit, form, \
         basis, layer) ",
        batch.cells,
        |row, b| b
            .push_bind(row.report)
            .push_bind(row.position)
            .push_bind(row.analyte.to_string())
            .push_bind(row.method.slug())
            .push_bind(row.printed.text.as_str())
            .push_bind(row.printed.qualifier.slug())
            .push_bind(row.printed.value)
            .push_bind(row.printed.decimals)
            .push_bind(row.unit.symbol())
            .push_bind(row.form.map(Form::symbol))
            .push_bind(row.basis.slug())
            .push_bind(row.layer)
    );
    insert!(
        write,
        "insert into applications (site, plot, applied_on, amendment, analysis, mass_g, method, person_name, note, \
         recorded_at, recorded_by) ",
        batch.applications,
        |row, b| b
            .push_bind(site)
            .push_bind(row.plot)
            .push_bind(Day(row.applied_on))
            .push_bind(row.amendment)
            .push_bind(row.analysis)
            .push_bind(row.mass_g)
            .push_bind(row.method.as_str())
            .push_bind(row.person_name.as_str())
            .push_bind(row.note.as_str())
            .push_bind(Time(at))
            .push_bind(by)
    );
    insert!(write, "insert into croppings (plot, season, crop, sown_on, note) ", batch.croppings, |row, b| {
        b.push_bind(row.plot)
            .push_bind(row.season)
            .push_bind(row.crop.as_str())
            .push_bind(row.sown_on.map(Day))
            .push_bind(row.note.as_str())
    });
    insert!(
        write,
        "insert into harvests (site, plot, season, crop, harvested_on, fresh_mass_kg, figures, note, person_name, \
         recorded_at, recorded_by) ",
        batch.harvests,
        |row, b| b
            .push_bind(site)
            .push_bind(row.plot)
            .push_bind(row.season)
            .push_bind(row.crop.as_deref())
            .push_bind(Day(row.harvested_on))
            .push_bind(row.fresh_mass_kg)
            .push_bind(json(&row.figures))
            .push_bind(row.note.as_str())
            .push_bind(row.person_name.as_str())
            .push_bind(Time(at))
            .push_bind(by)
    );
    Ok(())
}
