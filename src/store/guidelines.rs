//! Guidelines that a grower copied and edited. A saved version never changes.

use super::{Result, Time, Write, one_row, values::MaybeTime};
use jiff::Timestamp;
use sqlx::SqliteConnection;

/// One saved version.
#[derive(Clone, Debug)]
pub struct GuidelineRow {
    pub id: i64,
    pub slug: String,
    pub version: i64,
    pub name: String,
    /// Slug of the guideline that it was copied from; empty where written afresh.
    pub based_on: String,
    pub toml: String,
    pub saved_at: Timestamp,
    /// Who saved it; `None` for the program itself.
    pub saved_by: Option<String>,
    pub archived_at: Option<Timestamp>,
}

macro_rules! rows {
    ($db:expr, $where:literal $(, $bind:expr)*) => {
        sqlx::query_as!(
            GuidelineRow,
            r#"select g.id as "id!", g.slug, g.version, g.name, g.based_on, g.toml, g.saved_at as "saved_at: Time",
                      p.name as "saved_by?", g.archived_at as "archived_at!: MaybeTime"
               from guidelines g left join people p on p.id = g.saved_by where "# + $where
            $(, $bind)*
        )
        .fetch_all($db)
        .await
    };
}

/// The newest version of each guideline, by name; archived ones too.
pub async fn newest(db: &mut SqliteConnection) -> Result<Vec<GuidelineRow>> {
    Ok(rows!(db, "g.version = (select max(version) from guidelines n where n.slug = g.slug) order by g.name, g.slug")?)
}

/// The newest version of one guideline.
pub async fn newest_of(db: &mut SqliteConnection, slug: &str) -> Result<Option<GuidelineRow>> {
    Ok(rows!(db, "g.slug = ? order by g.version desc limit 1", slug)?.pop())
}

/// Every version of one guideline, oldest first.
pub async fn versions(db: &mut SqliteConnection, slug: &str) -> Result<Vec<GuidelineRow>> {
    Ok(rows!(db, "g.slug = ? order by g.version", slug)?)
}

/// One version, archived or not: a plan may name it.
pub async fn find(db: &mut SqliteConnection, slug: &str, version: i64) -> Result<Option<GuidelineRow>> {
    Ok(rows!(db, "g.slug = ? and g.version = ?", slug, version)?.pop())
}

/// The number that the next row will have; rows are never taken away.
pub async fn next_id(write: &mut Write) -> Result<i64> {
    Ok(sqlx::query_scalar!(r#"select coalesce(max(id), 0) + 1 as "id!: i64" from guidelines"#)
        .fetch_one(&mut **write)
        .await?)
}

/// Saves the next version of a guideline and gives its number.
pub async fn insert(write: &mut Write, slug: &str, name: &str, based_on: &str, toml: &str) -> Result<i64> {
    let (at, by) = (Time(write.at()), write.by());
    Ok(sqlx::query_scalar!(
        r#"insert into guidelines (slug, version, name, based_on, toml, saved_at, saved_by)
           values (?1, (select coalesce(max(version), 0) + 1 from guidelines where slug = ?1), ?2, ?3, ?4, ?5, ?6)
           returning version as "version!: i64""#,
        slug,
        name,
        based_on,
        toml,
        at,
        by
    )
    .fetch_one(&mut **write)
    .await?)
}

/// Takes a version off the lists; plans that name it still read it.
pub async fn archive(write: &mut Write, slug: &str, version: i64) -> Result<()> {
    let at = Time(write.at());
    one_row(
        sqlx::query!(
            "update guidelines set archived_at = ? where slug = ? and version = ? and archived_at is null",
            at,
            slug,
            version
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Puts a version back on the lists.
pub async fn restore(write: &mut Write, slug: &str, version: i64) -> Result<()> {
    one_row(
        sqlx::query!(
            "update guidelines set archived_at = null where slug = ? and version = ? and archived_at is not null",
            slug,
            version
        )
        .execute(&mut **write)
        .await?,
    )
}
