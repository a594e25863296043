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
    pub archived_at: Option<Timestamp>,
}

/// The newest version of each guideline, by name; archived ones left out.
pub async fn newest(db: &mut SqliteConnection) -> Result<Vec<GuidelineRow>> {
    Ok(sqlx::query_as!(
        GuidelineRow,
        r#"select id as "id!", slug, version, name, based_on, toml, saved_at as "saved_at: Time",
                  archived_at as "archived_at!: MaybeTime"
           from guidelines g
           where archived_at is null and version = (select max(version) from guidelines n where n.slug = g.slug)
           order by name, slug"#
    )
    .fetch_all(db)
    .await?)
}

/// One version, archived or not: a plan may name it.
pub async fn find(db: &mut SqliteConnection, slug: &str, version: i64) -> Result<Option<GuidelineRow>> {
    Ok(sqlx::query_as!(
        GuidelineRow,
        r#"select id as "id!", slug, version, name, based_on, toml, saved_at as "saved_at: Time",
                  archived_at as "archived_at!: MaybeTime"
           from guidelines where slug = ? and version = ?"#,
        slug,
        version
    )
    .fetch_optional(db)
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
