//! Samplings, reports and printed cells: the way in, and the way back to the trade's own
//! [`Sampling`]s.
//!
//! A determination is only ever inserted. A correction is a new row that supersedes the
//! old; a withdrawal hides one. What is loaded here for computing leaves both out, and
//! void samplings and reports too; [`determinations`] shows all of them for a page.

use super::{
    Day, Error, Result, Time, Write, one_row,
    values::{MaybeDay, MaybeTime, Text},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        element::Form,
        method::Method,
        quantity::{Centimetres, LayerConvention},
        record::{Basis, CellKey, DepthBand, Determination, Fizz, PrintedValue, Qualifier, Report, Sampling, Unit},
    },
    ids::{DeterminationId, PlotId, ReportId, SamplingId, SiteId},
};
use jiff::{Timestamp, civil::Date};
use sqlx::{QueryBuilder, Sqlite, SqliteConnection};
use std::{collections::BTreeMap, sync::LazyLock};

/// A sampling as the record holds it.
#[derive(Clone, Debug)]
pub struct SamplingRow {
    pub id: SamplingId,
    pub site: SiteId,
    pub sampled_on: Date,
    /// The day was not written down and is a guess.
    pub date_assumed: bool,
    pub depth_top_cm: Option<f64>,
    pub depth_bottom_cm: Option<f64>,
    pub cores: Option<i64>,
    pub fizz_acid: Option<String>,
    pub fizz_class: Option<String>,
    /// Label of a repeat taken on the same plot and day.
    pub sub_sample: Option<String>,
    pub sampler: String,
    pub note: String,
    pub revision: i64,
    pub voided_at: Option<Timestamp>,
    pub void_reason: Option<String>,
}

impl SamplingRow {
    /// The depth band, where it is known.
    pub fn depth(&self) -> Option<DepthBand> {
        let (top, bottom) = self.depth_top_cm.zip(self.depth_bottom_cm)?;
        Some(DepthBand { top: Centimetres(top), bottom: Centimetres(bottom) })
    }

    /// The field acid test, where it was made.
    pub fn fizz(&self) -> Option<Fizz> {
        fizz(self.fizz_acid.as_deref()?, self.fizz_class.as_deref()?)
    }
}

/// A field acid test from its acid and its class.
pub(super) fn fizz(acid: &str, class: &str) -> Option<Fizz> {
    Some(Fizz { acid: acid.parse().ok()?, class: class.parse().ok()? })
}

/// What a person can say about a sampling.
#[derive(Clone, Debug)]
pub struct NewSampling {
    /// One plot, or several for a composite.
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

/// A report as the record holds it, without its cells.
#[derive(Clone, Debug)]
pub struct ReportRow {
    pub id: ReportId,
    pub sampling: SamplingId,
    pub lab: String,
    /// The lab's own number.
    pub reference: String,
    pub reported_on: Option<Date>,
    pub note: String,
    pub recorded_at: Timestamp,
    pub voided_at: Option<Timestamp>,
    pub void_reason: Option<String>,
}

/// What a person can say about a report.
#[derive(Clone, Debug)]
pub struct NewReport {
    pub lab: String,
    pub reference: String,
    pub reported_on: Option<Date>,
    pub note: String,
}

/// One printed cell with what became of it, for the page that shows everything.
#[derive(Clone, Debug)]
pub struct DeterminationRow {
    pub id: DeterminationId,
    pub report: ReportId,
    pub position: i64,
    pub analyte: Analyte,
    pub method: String,
    pub printed: String,
    pub unit: String,
    pub form: Option<String>,
    pub basis: String,
    /// Slug of the lab's soil-mass convention.
    pub layer: Option<String>,
    /// The cell that this one corrects, and why.
    pub supersedes: Option<DeterminationId>,
    pub correction_reason: Option<String>,
    /// The cell that corrects this one.
    pub superseded_by: Option<DeterminationId>,
    pub withdrawn_reason: Option<String>,
}

/// A sampling as a line of a list.
#[derive(Clone, Debug)]
pub struct SamplingLine {
    pub id: SamplingId,
    pub sampled_on: Date,
    /// Codes of its plots, with commas.
    pub plots: String,
    /// How many sheets came back.
    pub reports: i64,
}

/// A sampling ready for the trade, with the row it was made from.
#[derive(Clone, Debug)]
pub struct Loaded {
    pub row: SamplingRow,
    /// All plots of the composite.
    pub plots: Vec<PlotId>,
    /// Carries the row's number as its key, and those of its reports and cells as theirs.
    pub sampling: Sampling,
}

/// Adds a sampling and says from which plots it was taken.
pub async fn insert(write: &mut Write, site: SiteId, new: &NewSampling) -> Result<SamplingId> {
    let sampled_on = Day(new.sampled_on);
    let (top, bottom) = (new.depth.map(|d| d.top.0), new.depth.map(|d| d.bottom.0));
    let (acid, class) = (new.fizz.map(|f| f.acid.slug()), new.fizz.map(|f| f.class.slug()));
    let id = sqlx::query!(
        "insert into samplings (site, sampled_on, date_assumed, depth_top_cm, depth_bottom_cm, cores, fizz_acid, fizz_class,
                                sub_sample, sampler, note)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        site,
        sampled_on,
        new.date_assumed,
        top,
        bottom,
        new.cores,
        acid,
        class,
        new.sub_sample,
        new.sampler,
        new.note
    )
    .execute(&mut **write)
    .await?
    .last_insert_rowid();
    insert_plots(write, SamplingId(id), &new.plots).await?;
    Ok(SamplingId(id))
}

/// Changes what is said about a sampling, where the revision is still the one that was read.
pub async fn update(write: &mut Write, id: SamplingId, revision: i64, new: &NewSampling) -> Result<()> {
    let sampled_on = Day(new.sampled_on);
    let (top, bottom) = (new.depth.map(|d| d.top.0), new.depth.map(|d| d.bottom.0));
    let (acid, class) = (new.fizz.map(|f| f.acid.slug()), new.fizz.map(|f| f.class.slug()));
    one_row(
        sqlx::query!(
            "update samplings set sampled_on = ?, date_assumed = ?, depth_top_cm = ?, depth_bottom_cm = ?, cores = ?,
                    fizz_acid = ?, fizz_class = ?, sub_sample = ?, sampler = ?, note = ?, revision = revision + 1
             where id = ? and revision = ?",
            sampled_on,
            new.date_assumed,
            top,
            bottom,
            new.cores,
            acid,
            class,
            new.sub_sample,
            new.sampler,
            new.note,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )?;
    sqlx::query!("delete from sampling_plots where sampling = ?", id).execute(&mut **write).await?;
    insert_plots(write, id, &new.plots).await
}

async fn insert_plots(write: &mut Write, id: SamplingId, plots: &[PlotId]) -> Result<()> {
    for plot in plots {
        sqlx::query!("insert into sampling_plots (sampling, plot) values (?, ?)", id, plot)
            .execute(&mut **write)
            .await?;
    }
    Ok(())
}

/// Voids a sampling with everything that hangs on it.
pub async fn void(write: &mut Write, id: SamplingId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update samplings set voided_at = ?, voided_by = ?, void_reason = ?, revision = revision + 1
             where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Adds a report to a sampling.
pub async fn insert_report(write: &mut Write, sampling: SamplingId, new: &NewReport) -> Result<ReportId> {
    let (reported_on, at, by) = (new.reported_on.map(Day), Time(write.at()), write.by());
    let done = sqlx::query!(
        "insert into reports (sampling, lab, reference, reported_on, note, recorded_at, recorded_by)
         values (?, ?, ?, ?, ?, ?, ?)",
        sampling,
        new.lab,
        new.reference,
        reported_on,
        new.note,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(ReportId(done.last_insert_rowid()))
}

/// Voids a report with its cells.
pub async fn void_report(write: &mut Write, id: ReportId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update reports set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Rows per statement: twelve values each stay far below SQLite's limit of 32,766.
const ROWS_AT_ONCE: usize = 500;

/// Adds cells to reports, many to a statement. Keys are given by the record: what the
/// cells carry is not looked at.
pub async fn insert_determinations(write: &mut Write, cells: &[(ReportId, usize, &Determination)]) -> Result<()> {
    for chunk in cells.chunks(ROWS_AT_ONCE) {
        let mut query = QueryBuilder::<Sqlite>::new(
            "insert into determinations (report, position, analyte, method, printed, qualifier, value, decimals, unit, form, \
             basis, layer) ",
        );
        query.push_values(chunk, |mut row, (report, position, cell)| {
            row.push_bind(*report)
                .push_bind(*position as i64)
                .push_bind(cell.analyte.to_string())
                .push_bind(cell.method.slug())
                .push_bind(cell.printed.text.as_str())
                .push_bind(cell.printed.qualifier.slug())
                .push_bind(cell.printed.value)
                .push_bind(cell.printed.decimals)
                .push_bind(cell.unit.symbol())
                .push_bind(cell.form.map(Form::symbol))
                .push_bind(cell.basis.slug())
                .push_bind(cell.layer.map(|layer| layer.slug));
        });
        query.build().execute(&mut **write).await?;
    }
    Ok(())
}

/// Puts a corrected cell in the place of another, which stays in the record.
pub async fn supersede(
    write: &mut Write,
    old: DeterminationId,
    cell: &Determination,
    reason: &str,
) -> Result<DeterminationId> {
    let (at, by) = (Time(write.at()), write.by());
    let (analyte, method) = (cell.analyte.to_string(), cell.method.slug());
    let (qualifier, unit, basis) = (cell.printed.qualifier.slug(), cell.unit.symbol(), cell.basis.slug());
    let (form, layer) = (cell.form.map(Form::symbol), cell.layer.map(|layer| layer.slug));
    let done = sqlx::query!(
        "insert into determinations (report, position, analyte, method, printed, qualifier, value, decimals, unit, form,
                                     basis, layer, supersedes, correction_reason, corrected_at, corrected_by)
         select report, position, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, id, ?, ?, ? from determinations where id = ?",
        analyte,
        method,
        cell.printed.text,
        qualifier,
        cell.printed.value,
        cell.printed.decimals,
        unit,
        form,
        basis,
        layer,
        reason,
        at,
        by,
        old
    )
    .execute(&mut **write)
    .await?;
    let id = done.last_insert_rowid();
    one_row(done)?;
    Ok(DeterminationId(id))
}

/// Takes a cell out of use, with a reason; it stays in the record.
pub async fn withdraw(write: &mut Write, id: DeterminationId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    sqlx::query!("insert into withdrawals (determination, at, person, reason) values (?, ?, ?, ?)", id, at, by, reason)
        .execute(&mut **write)
        .await?;
    Ok(())
}

/// One sampling, void or not.
pub async fn find(db: &mut SqliteConnection, id: SamplingId) -> Result<Option<SamplingRow>> {
    Ok(sqlx::query_as!(
        SamplingRow,
        r#"select id as "id!", site, sampled_on as "sampled_on: Day", date_assumed as "date_assumed: bool", depth_top_cm,
                  depth_bottom_cm, cores, fizz_acid, fizz_class, sub_sample, sampler, note, revision,
                  voided_at as "voided_at!: MaybeTime", void_reason
           from samplings where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// The plots that a sampling was taken from.
pub async fn plots_of(db: &mut SqliteConnection, id: SamplingId) -> Result<Vec<PlotId>> {
    Ok(sqlx::query_scalar!(r#"select plot as "plot: PlotId" from sampling_plots where sampling = ? order by plot"#, id)
        .fetch_all(db)
        .await?)
}

/// The reports of a sampling, void ones too, oldest first.
pub async fn reports_of(db: &mut SqliteConnection, sampling: SamplingId) -> Result<Vec<ReportRow>> {
    Ok(sqlx::query_as!(
        ReportRow,
        r#"select id as "id!", sampling, lab, reference, reported_on as "reported_on!: MaybeDay", note,
                  recorded_at as "recorded_at: Time", voided_at as "voided_at!: MaybeTime", void_reason
           from reports where sampling = ? order by id"#,
        sampling
    )
    .fetch_all(db)
    .await?)
}

/// One report, void or not.
pub async fn report(db: &mut SqliteConnection, id: ReportId) -> Result<Option<ReportRow>> {
    Ok(sqlx::query_as!(
        ReportRow,
        r#"select id as "id!", sampling, lab, reference, reported_on as "reported_on!: MaybeDay", note,
                  recorded_at as "recorded_at: Time", voided_at as "voided_at!: MaybeTime", void_reason
           from reports where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// The newest sampling of a site that is not void.
pub async fn latest_of_site(db: &mut SqliteConnection, site: SiteId) -> Result<Option<SamplingRow>> {
    let id = sqlx::query_scalar!(
        r#"select id as "id!: SamplingId" from samplings where site = ? and voided_at is null
           order by sampled_on desc, id desc limit 1"#,
        site
    )
    .fetch_optional(&mut *db)
    .await?;
    match id {
        Some(id) => find(db, id).await,
        None => Ok(None),
    }
}

/// The samplings of a site that are not void, newest first, each with the codes of its plots
/// and the number of its reports.
pub async fn of_site(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<SamplingLine>> {
    Ok(sqlx::query_as!(
        SamplingLine,
        r#"select s.id as "id!", s.sampled_on as "sampled_on: Day",
                  (select group_concat(code, ', ') from (select p.code from sampling_plots t join plots p on p.id = t.plot
                    where t.sampling = s.id order by p.position, p.code)) as "plots!: String",
                  (select count(*) from reports r where r.sampling = s.id and r.voided_at is null) as "reports!: i64"
           from samplings s where s.site = ? and s.voided_at is null order by s.sampled_on desc, s.id desc"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// The names of labs on sheets, the one used last first.
pub async fn labs(db: &mut SqliteConnection) -> Result<Vec<String>> {
    Ok(sqlx::query_scalar!(
        r#"select lab as "lab!: String" from reports where voided_at is null group by lab order by max(id) desc limit 40"#
    )
    .fetch_all(db)
    .await?)
}

/// The newest report of a lab on a site, of any lab where its name is empty.
pub async fn latest_report(db: &mut SqliteConnection, site: SiteId, lab: &str) -> Result<Option<ReportId>> {
    Ok(sqlx::query_scalar!(
        r#"select r.id as "id!: ReportId" from reports r join samplings s on s.id = r.sampling
           where s.site = ?1 and s.voided_at is null and r.voided_at is null and (?2 = '' or r.lab = ?2 collate nocase)
           order by r.id desc limit 1"#,
        site,
        lab
    )
    .fetch_optional(db)
    .await?)
}

/// The report that a cell stands on.
pub async fn report_of(db: &mut SqliteConnection, id: DeterminationId) -> Result<Option<ReportId>> {
    Ok(sqlx::query_scalar!(r#"select report as "report: ReportId" from determinations where id = ?"#, id)
        .fetch_optional(db)
        .await?)
}

/// Every cell of a report, corrected and withdrawn ones too, in the order of the sheet.
pub async fn determinations(db: &mut SqliteConnection, report: ReportId) -> Result<Vec<DeterminationRow>> {
    Ok(sqlx::query_as!(
        DeterminationRow,
        r#"select d.id as "id!", d.report, d.position, d.analyte as "analyte: Text<Analyte>", d.method, d.printed, d.unit,
                  d.form, d.basis, d.layer, d.supersedes as "supersedes: DeterminationId", d.correction_reason,
                  n.id as "superseded_by?: DeterminationId", w.reason as "withdrawn_reason?"
           from determinations d
           left join determinations n on n.supersedes = d.id
           left join withdrawals w on w.determination = d.id
           where d.report = ? order by d.position, d.id"#,
        report
    )
    .fetch_all(db)
    .await?)
}

/// The samplings of several plots, oldest first, each with its reports and the cells in
/// force: four statements however many plots there are. A composite stands under each of
/// its plots that was asked for.
pub async fn of_plots(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<BTreeMap<PlotId, Vec<Loaded>>> {
    among(db, plots, None).await
}

/// The same, of these samplings only where some are named.
pub async fn among(
    db: &mut SqliteConnection,
    plots: &[PlotId],
    only: Option<&[SamplingId]>,
) -> Result<BTreeMap<PlotId, Vec<Loaded>>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    let named = only.map(|only| id_list(only.iter().map(|id| id.0)));
    let pairs = sqlx::query!(
        r#"select plot as "plot: PlotId", sampling as "sampling: SamplingId" from sampling_plots
           where sampling in (select sampling from sampling_plots where plot in (select value from json_each(?1))
                              and (?2 is null or sampling in (select value from json_each(?2))))
           order by plot"#,
        wanted,
        named
    )
    .fetch_all(&mut *db)
    .await?;
    let mut taken_from: BTreeMap<SamplingId, Vec<PlotId>> = BTreeMap::new();
    for pair in pairs {
        taken_from.entry(pair.sampling).or_default().push(pair.plot);
    }
    let loaded = load(db, taken_from).await?;
    let mut by_plot: BTreeMap<PlotId, Vec<Loaded>> = plots.iter().map(|plot| (*plot, vec![])).collect();
    for one in loaded {
        let asked: Vec<PlotId> = one.plots.iter().copied().filter(|plot| by_plot.contains_key(plot)).collect();
        let Some((last, others)) = asked.split_last() else { continue };
        for plot in others {
            by_plot.entry(*plot).or_default().push(one.clone());
        }
        by_plot.entry(*last).or_default().push(one);
    }
    Ok(by_plot)
}

/// The samplings of one plot, oldest first, as the trade reads them.
pub async fn of_plot(db: &mut SqliteConnection, plot: PlotId) -> Result<Vec<Loaded>> {
    Ok(of_plots(db, &[plot]).await?.remove(&plot).unwrap_or_default())
}

/// What was noted on the reports of these samplings, by report; those without a note are left out.
pub async fn report_notes(db: &mut SqliteConnection, samplings: &[SamplingId]) -> Result<BTreeMap<i64, String>> {
    let wanted = id_list(samplings.iter().map(|id| id.0));
    let rows = sqlx::query!(
        r#"select id as "id!: i64", note from reports
           where sampling in (select value from json_each(?)) and note <> '' and voided_at is null"#,
        wanted
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.note)).collect())
}

/// One sampling with its reports and cells in force; `None` where there is none or it is void.
pub async fn one(db: &mut SqliteConnection, id: SamplingId) -> Result<Option<Loaded>> {
    let plots = plots_of(db, id).await?;
    Ok(load(db, BTreeMap::from([(id, plots)])).await?.pop())
}

async fn load(db: &mut SqliteConnection, mut taken_from: BTreeMap<SamplingId, Vec<PlotId>>) -> Result<Vec<Loaded>> {
    let ids = id_list(taken_from.keys().map(|id| id.0));
    let rows = sqlx::query_as!(
        SamplingRow,
        r#"select id as "id!", site, sampled_on as "sampled_on: Day", date_assumed as "date_assumed: bool", depth_top_cm,
                  depth_bottom_cm, cores, fizz_acid, fizz_class, sub_sample, sampler, note, revision,
                  voided_at as "voided_at!: MaybeTime", void_reason
           from samplings where id in (select value from json_each(?)) and voided_at is null
           order by sampled_on, id"#,
        ids
    )
    .fetch_all(&mut *db)
    .await?;
    let mut cells = cells(db, &ids).await?;
    let reports = sqlx::query!(
        r#"select id as "id!: i64", sampling, lab from reports
           where sampling in (select value from json_each(?)) and voided_at is null order by id"#,
        ids
    )
    .fetch_all(&mut *db)
    .await?;
    let mut sheets: BTreeMap<i64, Vec<Report>> = BTreeMap::new();
    for report in reports {
        let determinations = cells.remove(&report.id).unwrap_or_default();
        let sheet = Report { key: report.id, lab: report.lab, determinations };
        sheets.entry(report.sampling).or_default().push(sheet);
    }
    Ok(rows
        .into_iter()
        .map(|row| Loaded {
            plots: taken_from.remove(&row.id).unwrap_or_default(),
            sampling: Sampling {
                key: row.id.0,
                sampled_on: row.sampled_on,
                date_assumed: row.date_assumed,
                depth: row.depth(),
                cores: row.cores.and_then(|cores| u32::try_from(cores).ok()),
                fizz: row.fizz(),
                reports: sheets.remove(&row.id.0).unwrap_or_default(),
            },
            row,
        })
        .collect())
}

/// The cells in force of these samplings (a JSON list), by report, in the order of the sheet.
async fn cells(db: &mut SqliteConnection, samplings: &str) -> Result<BTreeMap<i64, Vec<Determination>>> {
    let rows = sqlx::query!(
        r#"select d.id as "id!: i64", d.report, d.analyte, d.method, d.printed, d.qualifier as "qualifier: Text<Qualifier>",
                  d.value, d.decimals, d.unit, d.form as "form: Text<Form>", d.basis as "basis: Text<Basis>", d.layer
           from reports r join determinations d on d.report = r.id
           where r.sampling in (select value from json_each(?)) and r.voided_at is null
             and not exists (select 1 from determinations n where n.supersedes = d.id)
             and not exists (select 1 from withdrawals w where w.determination = d.id)
           order by d.report, d.position, d.id"#,
        samplings
    )
    .fetch_all(db)
    .await?;
    let mut by_report: BTreeMap<i64, Vec<Determination>> = BTreeMap::new();
    for row in rows {
        let cell = Determination {
            key: CellKey(row.id),
            analyte: analyte(&row.analyte)?,
            method: method(row.method),
            printed: PrintedValue {
                text: row.printed,
                qualifier: row.qualifier.0,
                value: row.value,
                decimals: u8::try_from(row.decimals).unwrap_or(u8::MAX),
            },
            unit: unit(&row.unit)?,
            form: row.form.map(|form| form.0),
            basis: row.basis.0,
            layer: row.layer.as_deref().and_then(LayerConvention::find),
        };
        by_report.entry(row.report).or_default().push(cell);
    }
    Ok(by_report)
}

// A plot page reads hundreds of cells: keys are looked up, not parsed.

pub(super) fn analyte(key: &str) -> Result<Analyte> {
    static KEYS: LazyLock<BTreeMap<String, Analyte>> =
        LazyLock::new(|| Analyte::all().map(|analyte| (analyte.to_string(), analyte)).collect());
    KEYS.get(key).copied().ok_or_else(|| Error::Unreadable { what: "an analyte", text: key.to_owned() })
}

pub(super) fn method(key: String) -> Method {
    static KEYS: LazyLock<BTreeMap<String, Method>> =
        LazyLock::new(|| Method::NAMED.iter().map(|method| (method.slug(), method.clone())).collect());
    KEYS.get(&key).cloned().unwrap_or_else(|| Method::from(key))
}

pub(super) fn unit(symbol: &str) -> Result<Unit> {
    let found = Unit::ALL.iter().copied().find(|unit| unit.symbol() == symbol);
    found.ok_or_else(|| Error::Unreadable { what: "a unit", text: symbol.to_owned() })
}

/// A list of numbers as SQLite's `json_each` takes it.
pub(super) fn id_list(ids: impl Iterator<Item = i64>) -> String {
    let list: Vec<i64> = ids.collect();
    serde_json::json!(list).to_string()
}
