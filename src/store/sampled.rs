//! Which samplings were taken when: their numbers alone, for whoever reads only some of them.

use super::{Day, Result, samplings::id_list};
use crate::ids::{PlotId, SamplingId, SiteId};
use jiff::civil::Date;
use sqlx::SqliteConnection;

/// The samplings of plots from a day on, void ones left out.
pub async fn since(db: &mut SqliteConnection, plots: &[PlotId], since: Date) -> Result<Vec<SamplingId>> {
    let (wanted, since) = (id_list(plots.iter().map(|id| id.0)), Day(since));
    Ok(sqlx::query_scalar!(
        r#"select distinct s.id as "id!: SamplingId"
           from sampling_plots t join samplings s on s.id = t.sampling
           where t.plot in (select value from json_each(?)) and s.sampled_on >= ? and s.voided_at is null order by s.id"#,
        wanted,
        since
    )
    .fetch_all(db)
    .await?)
}

/// The samplings of a site between two days, both counted, void ones left out.
pub async fn between(db: &mut SqliteConnection, site: SiteId, from: Date, to: Date) -> Result<Vec<SamplingId>> {
    let (from, to) = (Day(from), Day(to));
    Ok(sqlx::query_scalar!(
        r#"select id as "id!: SamplingId" from samplings
           where site = ? and sampled_on between ? and ? and voided_at is null order by id"#,
        site,
        from,
        to
    )
    .fetch_all(db)
    .await?)
}
