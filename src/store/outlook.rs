//! What the look ahead asks of many plots at once: the plan that was last agreed, when lime
//! last went on, and how much.

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

/// A dose of something that raises pH.
#[derive(Clone, Debug)]
pub struct LimeDose {
    pub plot: PlotId,
    pub on: Date,
    pub name: String,
    pub mass_g: f64,
    /// % of pure calcium carbonate, by the analysis then in force.
    pub value_percent: f64,
    /// Fraction of the product.
    pub moisture: Option<f64>,
}

/// What raises pH and went on plots between two days, both counted, oldest first.
pub async fn lime_doses(db: &mut SqliteConnection, plots: &[PlotId], from: Date, to: Date) -> Result<Vec<LimeDose>> {
    let (wanted, from, to) = (id_list(plots.iter().map(|id| id.0)), Day(from), Day(to));
    let rows = sqlx::query!(
        r#"select a.plot as "plot!: PlotId", a.applied_on as "on!: Day", m.name, a.mass_g,
                  n.neutralising_value as "value!: f64", n.moisture
           from applications a join amendments m on m.id = a.amendment join analyses n on n.id = a.analysis
           where a.plot in (select value from json_each(?1)) and a.voided_at is null
             and m.kind in ('lime', 'ash') and n.neutralising_value > 0 and a.applied_on between ?2 and ?3
           order by a.applied_on, a.id"#,
        wanted,
        from,
        to
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| LimeDose {
            plot: row.plot,
            on: row.on.0,
            name: row.name,
            mass_g: row.mass_g,
            value_percent: row.value,
            moisture: row.moisture,
        })
        .collect())
}
