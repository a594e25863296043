//! What somebody saw on a plot and wrote down. A note is only ever inserted or voided.

use super::{Day, Result, Time, Write, one_row, samplings::id_list, values::MaybeTime};
use crate::ids::{AttachmentId, NoteId, PlotId};
use jiff::{Timestamp, civil::Date};
use sqlx::SqliteConnection;

/// A note with the names that a page shows.
#[derive(Clone, Debug)]
pub struct NoteRow {
    pub id: NoteId,
    pub plot: PlotId,
    pub noted_on: Date,
    pub text: String,
    /// The photo or file that goes with it, and its name, unless that was removed.
    pub attachment: Option<AttachmentId>,
    pub file_name: Option<String>,
    /// Who wrote it down.
    pub person: Option<String>,
    pub recorded_at: Timestamp,
    pub voided_at: Option<Timestamp>,
}

/// Writes a note.
pub async fn insert(
    write: &mut Write,
    plot: PlotId,
    noted_on: Date,
    text: &str,
    attachment: Option<AttachmentId>,
) -> Result<NoteId> {
    let (on, at, by) = (Day(noted_on), Time(write.at()), write.by());
    let done = sqlx::query!(
        "insert into plot_notes (plot, noted_on, text, attachment, recorded_at, recorded_by) values (?, ?, ?, ?, ?, ?)",
        plot,
        on,
        text,
        attachment,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(NoteId(done.last_insert_rowid()))
}

/// Voids a note.
pub async fn void(write: &mut Write, id: NoteId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update plot_notes set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// One statement with its own condition, so that each finds its index.
macro_rules! notes {
    ($db:expr, $condition:literal, $value:expr) => {
        sqlx::query_as!(
            NoteRow,
            r#"select n.id as "id!", n.plot, n.noted_on as "noted_on: Day", n.text,
                      f.id as "attachment?: AttachmentId", f.name as "file_name?", p.name as "person?",
                      n.recorded_at as "recorded_at: Time", n.voided_at as "voided_at!: MaybeTime"
               from plot_notes n
                    left join attachments f on f.id = n.attachment and f.voided_at is null
                    left join people p on p.id = n.recorded_by
               where "#
                + $condition
                + " order by n.noted_on desc, n.id desc",
            $value
        )
        .fetch_all($db)
        .await
    };
}

/// One note, void or not.
pub async fn find(db: &mut SqliteConnection, id: NoteId) -> Result<Option<NoteRow>> {
    Ok(notes!(db, "n.id = ?", id)?.pop())
}

/// The notes of plots, newest first, void ones left out.
pub async fn of_plots(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<Vec<NoteRow>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    Ok(notes!(db, "n.plot in (select value from json_each(?)) and n.voided_at is null", wanted)?)
}
