//! Decisions about caps: what a steward lets go on in the place of the published most, on a plot
//! in a plan. A decision is only ever inserted or withdrawn.

use super::{Result, Time, Write, one_row};
use crate::ids::{OverruleId, PlanId, PlotId};
use jiff::Timestamp;
use sqlx::SqliteConnection;

/// A decision that stands.
#[derive(Clone, Debug)]
pub struct OverruleRow {
    pub id: OverruleId,
    pub plan: PlanId,
    pub plot: PlotId,
    /// What the cap counts, as a key.
    pub cap: String,
    /// The cap as published, in words.
    pub label: String,
    pub published_kg_per_ha: f64,
    pub kg_per_ha: f64,
    /// A published hazard, whose warning was read.
    pub warned: bool,
    pub reason: String,
    pub decided_at: Timestamp,
    pub decided_by: String,
}

/// A decision to be written down.
#[derive(Clone, Debug)]
pub struct NewOverrule {
    pub plot: PlotId,
    pub cap: String,
    pub label: String,
    pub published_kg_per_ha: f64,
    pub kg_per_ha: f64,
    pub warned: bool,
    pub reason: String,
}

/// The decisions that stand in a plan, by plot.
pub async fn of_plan(db: &mut SqliteConnection, plan: PlanId) -> Result<Vec<OverruleRow>> {
    Ok(sqlx::query_as!(
        OverruleRow,
        r#"select o.id as "id!", o.plan, o.plot, o.cap, o.label, o.published_kg_per_ha, o.kg_per_ha,
                  o.warned as "warned: bool", o.reason, o.decided_at as "decided_at: Time", p.name as decided_by
           from cap_overrules o join people p on p.id = o.decided_by
           where o.plan = ? and o.withdrawn_at is null order by o.plot, o.cap"#,
        plan
    )
    .fetch_all(db)
    .await?)
}

/// Writes a decision down, in the place of one that stood for the same cap.
pub async fn insert(write: &mut Write, plan: PlanId, new: &NewOverrule) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    sqlx::query!(
        "update cap_overrules set withdrawn_at = ?, withdrawn_by = ?
         where plan = ? and plot = ? and cap = ? and withdrawn_at is null",
        at,
        by,
        plan,
        new.plot,
        new.cap
    )
    .execute(&mut **write)
    .await?;
    sqlx::query!(
        "insert into cap_overrules (plan, plot, cap, label, published_kg_per_ha, kg_per_ha, warned, reason, decided_at, decided_by)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        plan,
        new.plot,
        new.cap,
        new.label,
        new.published_kg_per_ha,
        new.kg_per_ha,
        new.warned,
        new.reason,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// Takes a decision back.
pub async fn withdraw(write: &mut Write, plan: PlanId, id: OverruleId) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update cap_overrules set withdrawn_at = ?, withdrawn_by = ? where id = ? and plan = ? and withdrawn_at is null",
            at,
            by,
            id,
            plan
        )
        .execute(&mut **write)
        .await?,
    )
}
