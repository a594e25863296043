//! Files kept with the record: the lab's own sheet, a photo of a plot. The bytes are
//! stored once however often they are attached, and found by their SHA-256.

use super::{Result, Time, Write, one_row, samplings::id_list, values::MaybeTime};
use crate::ids::{AttachmentId, PlotId, ReportId};
use jiff::Timestamp;
use sqlx::SqliteConnection;

/// What a file hangs on.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    Report(ReportId),
    Plot(PlotId),
}

/// A file, without its bytes.
#[derive(Clone, Debug)]
pub struct AttachmentRow {
    pub id: AttachmentId,
    pub report: Option<ReportId>,
    pub plot: Option<PlotId>,
    /// As the person's machine called it; shown, never used as a path.
    pub name: String,
    /// By content.
    pub media_type: String,
    /// Bytes.
    pub size: i64,
    pub attached_at: Timestamp,
    pub voided_at: Option<Timestamp>,
}

/// Keeps a file.
pub async fn insert(
    write: &mut Write,
    place: Place,
    name: &str,
    media_type: &str,
    sha256: &[u8],
    bytes: &[u8],
) -> Result<AttachmentId> {
    let (report, plot) = match place {
        Place::Report(id) => (Some(id), None),
        Place::Plot(id) => (None, Some(id)),
    };
    let (at, by, size) = (Time(write.at()), write.by(), bytes.len() as i64);
    sqlx::query!("insert into contents (sha256, bytes) values (?, ?) on conflict (sha256) do nothing", sha256, bytes)
        .execute(&mut **write)
        .await?;
    let done = sqlx::query!(
        "insert into attachments (sha256, report, plot, name, media_type, size, attached_at, attached_by)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        sha256,
        report,
        plot,
        name,
        media_type,
        size,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(AttachmentId(done.last_insert_rowid()))
}

/// Hides a file; its bytes stay.
pub async fn void(write: &mut Write, id: AttachmentId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update attachments set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// One file, void or not.
pub async fn find(db: &mut SqliteConnection, id: AttachmentId) -> Result<Option<AttachmentRow>> {
    Ok(sqlx::query_as!(
        AttachmentRow,
        r#"select id as "id!", report as "report: ReportId", plot as "plot: PlotId", name, media_type, size,
                  attached_at as "attached_at: Time", voided_at as "voided_at!: MaybeTime"
           from attachments where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// The files that hang on a report or a plot and are not void, oldest first.
pub async fn of(db: &mut SqliteConnection, place: Place) -> Result<Vec<AttachmentRow>> {
    let (report, plot) = match place {
        Place::Report(id) => (Some(id), None),
        Place::Plot(id) => (None, Some(id)),
    };
    Ok(sqlx::query_as!(
        AttachmentRow,
        r#"select id as "id!", report as "report: ReportId", plot as "plot: PlotId", name, media_type, size,
                  attached_at as "attached_at: Time", voided_at as "voided_at!: MaybeTime"
           from attachments where (report = ?1 or plot = ?2) and voided_at is null order by id"#,
        report,
        plot
    )
    .fetch_all(db)
    .await?)
}

/// The bytes of a file.
pub async fn bytes(db: &mut SqliteConnection, id: AttachmentId) -> Result<Option<Vec<u8>>> {
    Ok(sqlx::query_scalar!(
        "select c.bytes from attachments a join contents c on c.sha256 = a.sha256 where a.id = ? and a.voided_at is null",
        id
    )
    .fetch_optional(db)
    .await?)
}

/// The files that hang on any of these reports and plots and are not void, oldest first.
pub async fn of_all(db: &mut SqliteConnection, reports: &[ReportId], plots: &[PlotId]) -> Result<Vec<AttachmentRow>> {
    let (reports, plots) = (id_list(reports.iter().map(|id| id.0)), id_list(plots.iter().map(|id| id.0)));
    Ok(sqlx::query_as!(
        AttachmentRow,
        r#"select id as "id!", report as "report: ReportId", plot as "plot: PlotId", name, media_type, size,
                  attached_at as "attached_at: Time", voided_at as "voided_at!: MaybeTime"
           from attachments
           where (report in (select value from json_each(?1)) or plot in (select value from json_each(?2)))
             and voided_at is null
           order by id"#,
        reports,
        plots
    )
    .fetch_all(db)
    .await?)
}
