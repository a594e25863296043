//! What lists of organic schemes said of products. A status is only ever inserted or voided.

use super::{Day, Result, Time, Write, one_row};
use crate::ids::{AmendmentId, ListStatusId};
use jiff::civil::Date;
use sqlx::SqliteConnection;

/// What a list said of a product on a day.
#[derive(Clone, Debug)]
pub struct ListStatusRow {
    pub id: ListStatusId,
    pub amendment: AmendmentId,
    /// The list's name, as the grower writes it.
    pub list: String,
    /// `listed`, `conditions` or `not_listed`.
    pub status: String,
    pub conditions: String,
    pub source: String,
    pub stated_on: Date,
    /// Name of the file kept as evidence.
    pub evidence: Option<String>,
}

/// What a person can say, checked.
#[derive(Clone, Debug)]
pub struct NewListStatus {
    pub list: String,
    pub status: &'static str,
    pub conditions: String,
    pub source: String,
    pub stated_on: Date,
}

/// A file kept as evidence.
#[derive(Clone, Debug)]
pub struct Evidence {
    pub name: String,
    pub media_type: String,
    pub bytes: Vec<u8>,
}

/// Every status that is not void, by product and list, the newest first.
pub async fn all(db: &mut SqliteConnection) -> Result<Vec<ListStatusRow>> {
    Ok(sqlx::query_as!(
        ListStatusRow,
        r#"select s.id as "id!", s.amendment, s.list, s.status, s.conditions, s.source, s.stated_on as "stated_on: Day",
                  e.name as "evidence?"
           from list_statuses s left join list_evidence e on e.list_status = s.id
           where s.voided_at is null order by s.amendment, s.list, s.stated_on desc, s.id desc"#
    )
    .fetch_all(db)
    .await?)
}

/// One status that is not void.
pub async fn find(db: &mut SqliteConnection, id: ListStatusId) -> Result<Option<ListStatusRow>> {
    Ok(all(db).await?.into_iter().find(|row| row.id == id))
}

/// Notes a status.
pub async fn insert(write: &mut Write, amendment: AmendmentId, new: &NewListStatus) -> Result<ListStatusId> {
    let (on, at, by) = (Day(new.stated_on), Time(write.at()), write.by());
    let done = sqlx::query!(
        "insert into list_statuses (amendment, list, status, conditions, source, stated_on, recorded_at, recorded_by)
         values (?, ?, ?, ?, ?, ?, ?, ?)",
        amendment,
        new.list,
        new.status,
        new.conditions,
        new.source,
        on,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(ListStatusId(done.last_insert_rowid()))
}

/// Voids a status.
pub async fn void(write: &mut Write, id: ListStatusId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update list_statuses set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Keeps the evidence of a status.
pub async fn insert_evidence(write: &mut Write, id: ListStatusId, file: &Evidence, sha256: &[u8]) -> Result<()> {
    let size = file.bytes.len() as i64;
    sqlx::query!(
        "insert into contents (sha256, bytes) values (?, ?) on conflict (sha256) do nothing",
        sha256,
        file.bytes
    )
    .execute(&mut **write)
    .await?;
    sqlx::query!(
        "insert into list_evidence (list_status, sha256, name, media_type, size) values (?, ?, ?, ?, ?)",
        id,
        sha256,
        file.name,
        file.media_type,
        size
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// The evidence of a status.
pub async fn evidence(db: &mut SqliteConnection, id: ListStatusId) -> Result<Option<Evidence>> {
    Ok(sqlx::query_as!(
        Evidence,
        "select e.name, e.media_type, c.bytes from list_evidence e join contents c on c.sha256 = e.sha256
         where e.list_status = ?",
        id
    )
    .fetch_optional(db)
    .await?)
}
