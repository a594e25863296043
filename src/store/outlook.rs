//! What the look ahead asks of many plots at once: the plan that was last agreed, and when
//! lime last went on.

use super::{Day, Result, samplings::id_list, values::MaybeTime};
use crate::ids::{PlanId, PlotId};
use jiff::{Timestamp, civil::Date};
use sqlx::SqliteConnection;
use std::collections::BTreeMap;

/// The plan that was last agreed for a plot.
#[derive(Clone, Debug)]
pub struct LastPlan {
    pub plot: PlotId,
    pub plan: PlanId,
    pub name: String,
    /// The season's name.
    pub season: String,
    /// Not `closed` yet: its doses are still to be put on.
    pub open: bool,
    pub agreed_at: Option<Timestamp>,
}

/// The last agreed plan of each plot that has one.
pub async fn last_plans(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<BTreeMap<PlotId, LastPlan>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    let rows = sqlx::query_as!(
        LastPlan,
        r#"select pp.plot as "plot: PlotId", p.id as "plan!: PlanId", p.name, s.name as season,
                  p.state = 'agreed' as "open!: bool", p.agreed_at as "agreed_at!: MaybeTime"
           from plan_plots pp join plans p on p.id = pp.plan join seasons s on s.id = p.season
           where pp.plot in (select value from json_each(?)) and p.state <> 'draft'
           order by s.starts_on, p.agreed_at, p.id"#,
        wanted
    )
    .fetch_all(db)
    .await?;
    // The later of the same plot takes the place of the earlier.
    Ok(rows.into_iter().map(|row| (row.plot, row)).collect())
}

/// The day that a liming material last went on each plot that ever had one.
pub async fn last_limed(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<BTreeMap<PlotId, Date>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    let rows = sqlx::query!(
        r#"select a.plot as "plot!: PlotId", max(a.applied_on) as "on!: Day"
           from applications a join amendments m on m.id = a.amendment
           where a.plot in (select value from json_each(?)) and a.voided_at is null and m.kind = 'lime'
           group by a.plot"#,
        wanted
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.plot, row.on.0)).collect())
}
