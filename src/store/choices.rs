//! Readings that people chose by hand where the rule would have used another.

use super::{Error, Result, Time, Write, samplings::id_list, values::Text};
use crate::{
    agronomy::{analyte::Analyte, choice::Overrule, record::CellKey},
    ids::{DeterminationId, PlotId, SamplingId, SiteId},
};
use sqlx::SqliteConnection;
use std::collections::{BTreeMap, BTreeSet};

/// Records that a person chose another reading than the rule's.
pub async fn insert(
    write: &mut Write,
    sampling: SamplingId,
    analyte: Analyte,
    cell: DeterminationId,
    reason: &str,
) -> Result<()> {
    let (analyte, at, by) = (analyte.to_string(), Time(write.at()), write.by());
    sqlx::query!(
        "insert into reading_overrules (sampling, analyte, determination, reason, person, at) values (?, ?, ?, ?, ?, ?)",
        sampling,
        analyte,
        cell,
        reason,
        by,
        at
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// Goes back to the rule's own choice for an analyte.
pub async fn void(write: &mut Write, sampling: SamplingId, analyte: Analyte) -> Result<()> {
    let (analyte, at, by) = (analyte.to_string(), Time(write.at()), write.by());
    one_row_or_more(
        sqlx::query!(
            "update reading_overrules set voided_at = ?, voided_by = ?
             where sampling = ? and analyte = ? and voided_at is null",
            at,
            by,
            sampling,
            analyte
        )
        .execute(&mut **write)
        .await?,
    )
}

fn one_row_or_more(done: sqlx::sqlite::SqliteQueryResult) -> Result<()> {
    if done.rows_affected() > 0 { Ok(()) } else { Err(Error::Stale) }
}

/// The plots of a site where a reading chosen by hand is in force.
pub async fn plots_of(db: &mut SqliteConnection, site: SiteId) -> Result<BTreeSet<PlotId>> {
    let plots = sqlx::query_scalar!(
        r#"select distinct t.plot as "plot!: PlotId" from reading_overrules o join sampling_plots t on t.sampling = o.sampling
           join plots p on p.id = t.plot where p.site = ? and o.voided_at is null"#,
        site
    )
    .fetch_all(db)
    .await?;
    Ok(plots.into_iter().collect())
}

/// The overrules in force of several samplings, oldest first, so that the newest wins.
pub async fn of_samplings(
    db: &mut SqliteConnection,
    samplings: &[SamplingId],
) -> Result<BTreeMap<SamplingId, Vec<Overrule>>> {
    let ids = id_list(samplings.iter().map(|id| id.0));
    let rows = sqlx::query!(
        r#"select o.sampling as "sampling: SamplingId", o.analyte as "analyte: Text<Analyte>",
                  o.determination as "determination: DeterminationId", o.reason, p.name as "by?"
           from reading_overrules o left join people p on p.id = o.person
           where o.sampling in (select value from json_each(?)) and o.voided_at is null order by o.id"#,
        ids
    )
    .fetch_all(db)
    .await?;
    let mut by_sampling: BTreeMap<SamplingId, Vec<Overrule>> = BTreeMap::new();
    for row in rows {
        by_sampling.entry(row.sampling).or_default().push(Overrule {
            analyte: row.analyte.0,
            cell: CellKey(row.determination.0),
            reason: row.reason,
            by: row.by.unwrap_or_default(),
        });
    }
    Ok(by_sampling)
}
