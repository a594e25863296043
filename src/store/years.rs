//! What a site knows of the years for itself: its own removal figures of crops, and what
//! being wrong about a shortage costs it.

use super::{
    Result, Time, Write, one_row,
    values::{MaybeTime, from_json, json},
};
use crate::{agronomy::element::Element, ids::SiteId};
use jiff::Timestamp;
use sqlx::SqliteConnection;
use std::collections::BTreeMap;

/// A grower's own analysis of a crop.
#[derive(Clone, Debug)]
pub struct OwnRemoval {
    pub id: i64,
    /// Key of the crop.
    pub crop: String,
    /// kg of element in a tonne fresh.
    pub kg_per_t: BTreeMap<Element, f64>,
    /// Where the figures come from, in the grower's words.
    pub source: String,
    pub recorded_at: Timestamp,
    pub voided_at: Option<Timestamp>,
    pub void_reason: Option<String>,
}

/// Own figures of a site, newest first; those that no longer hold too where asked.
pub async fn own_removals(db: &mut SqliteConnection, site: SiteId, voided_too: bool) -> Result<Vec<OwnRemoval>> {
    let rows = sqlx::query!(
        r#"select id as "id!: i64", crop, kg_per_t, source, recorded_at as "recorded_at: Time",
                  voided_at as "voided_at!: MaybeTime", void_reason
           from own_removals where site = ?1 and (?2 or voided_at is null) order by id desc"#,
        site,
        voided_too
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|row| {
            Ok(OwnRemoval {
                id: row.id,
                crop: row.crop,
                kg_per_t: from_json("own removal figures", &row.kg_per_t)?,
                source: row.source,
                recorded_at: row.recorded_at.into(),
                voided_at: row.voided_at.into(),
                void_reason: row.void_reason,
            })
        })
        .collect()
}

/// Adds own figures of a crop; the caller has voided those in force.
pub async fn insert_own_removal(
    write: &mut Write,
    site: SiteId,
    crop: &str,
    kg_per_t: &BTreeMap<Element, f64>,
    source: &str,
) -> Result<()> {
    let (at, by, kg_per_t) = (Time(write.at()), write.by(), json(kg_per_t));
    sqlx::query!(
        "insert into own_removals (site, crop, kg_per_t, source, recorded_at, recorded_by) values (?, ?, ?, ?, ?, ?)",
        site,
        crop,
        kg_per_t,
        source,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// Voids own figures.
pub async fn void_own_removal(write: &mut Write, id: i64, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update own_removals set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// What is at stake, in minor units of the site's currency.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct StakesRow {
    /// One more sample with its sheet.
    pub sheet_minor: i64,
    /// Lost by feeding 100 m² that were not short.
    pub needless_per_100_m2_minor: i64,
    /// Lost by leaving 100 m² short.
    pub missed_per_100_m2_minor: i64,
    pub revision: i64,
}

/// What a site says is at stake; `None` until it does.
pub async fn stakes(db: &mut SqliteConnection, site: SiteId) -> Result<Option<StakesRow>> {
    Ok(sqlx::query_as!(
        StakesRow,
        "select sheet_minor, needless_per_100_m2_minor, missed_per_100_m2_minor, revision from site_stakes where site = ?",
        site
    )
    .fetch_optional(db)
    .await?)
}

/// Says what is at stake, where the revision is still the one that was read; 0 is none yet.
pub async fn set_stakes(write: &mut Write, site: SiteId, stakes: &StakesRow) -> Result<()> {
    let done = if stakes.revision == 0 {
        sqlx::query!(
            "insert into site_stakes (site, sheet_minor, needless_per_100_m2_minor, missed_per_100_m2_minor)
             values (?, ?, ?, ?) on conflict do nothing",
            site,
            stakes.sheet_minor,
            stakes.needless_per_100_m2_minor,
            stakes.missed_per_100_m2_minor
        )
        .execute(&mut **write)
        .await?
    } else {
        sqlx::query!(
            "update site_stakes set sheet_minor = ?, needless_per_100_m2_minor = ?, missed_per_100_m2_minor = ?,
                                    revision = revision + 1
             where site = ? and revision = ?",
            stakes.sheet_minor,
            stakes.needless_per_100_m2_minor,
            stakes.missed_per_100_m2_minor,
            site,
            stakes.revision
        )
        .execute(&mut **write)
        .await?
    };
    one_row(done)
}
