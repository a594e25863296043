//! What a draft held before its last change, whole: its choices, needs and doses. There is one
//! such state to a plan; undoing trades it for the present one, so nothing is lost by undoing.

use super::{Result, Time, Write, one_row};
use crate::ids::PlanId;
use jiff::Timestamp;
use sqlx::SqliteConnection;

/// What was kept before the last change of a draft.
#[derive(Clone, Debug)]
pub struct UndoRow {
    /// What came after: `doses`, `solved`, `choices` or `undone`.
    pub change: String,
    pub kept_at: Timestamp,
    pub kept_by: Option<String>,
}

/// The last change of a draft, where there is a state before it.
pub async fn last(db: &mut SqliteConnection, plan: PlanId) -> Result<Option<UndoRow>> {
    Ok(sqlx::query_as!(
        UndoRow,
        r#"select u.change, u.kept_at as "kept_at: Time", p.name as "kept_by?"
           from plan_undos u left join people p on p.id = u.kept_by where u.plan = ?"#,
        plan
    )
    .fetch_optional(db)
    .await?)
}

/// Keeps what a draft holds before this change, in the place of what was kept before the last one.
/// A draft that was never worked out holds nothing worth keeping, and working one out right after
/// its choices were changed belongs to that change.
pub async fn keep(write: &mut Write, plan: PlanId, change: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    sqlx::query!(
        "insert or replace into plan_undos (plan, change, revision, name, guideline, guideline_version, options,
                                            outcome, inputs_sha256, plots, products, needs, doses, kept_at, kept_by)
         select p.id, ?2, p.revision, p.name, p.guideline, p.guideline_version, p.options, p.outcome, p.inputs_sha256,
                (select json_group_array(plot) from plan_plots where plan = p.id),
                (select json_group_array(amendment) from plan_products where plan = p.id),
                (select json_group_array(json_array(plot, element, need_kg_per_ha, short_g, reason, working))
                 from plan_needs where plan = p.id),
                (select json_group_array(json_array(plot, amendment, analysis, mass_g, locked, origin))
                 from doses where plan = p.id),
                ?3, ?4
         from plans p
         where p.id = ?1 and p.state = 'draft' and p.inputs_sha256 is not null
           and not (?2 = 'solved' and exists (select 1 from plan_undos u where u.plan = p.id and u.change = 'choices'
                                              and u.revision = p.revision - 1))",
        plan,
        change,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// Trades what a draft holds for what was kept, where the revision is still the one that was read.
pub async fn undo(write: &mut Write, plan: PlanId, revision: i64) -> Result<()> {
    let kept = sqlx::query!(
        r#"select name, guideline, guideline_version, options, outcome, inputs_sha256, plots, products, needs, doses
           from plan_undos where plan = ?"#,
        plan
    )
    .fetch_one(&mut **write)
    .await?;
    keep(write, plan, "undone").await?;
    one_row(
        sqlx::query!(
            "update plans set name = ?, guideline = ?, guideline_version = ?, options = ?, outcome = ?,
                              inputs_sha256 = ?, revision = revision + 1
             where id = ? and revision = ? and state = 'draft'",
            kept.name,
            kept.guideline,
            kept.guideline_version,
            kept.options,
            kept.outcome,
            kept.inputs_sha256,
            plan,
            revision
        )
        .execute(&mut **write)
        .await?,
    )?;
    sqlx::query!("delete from plan_plots where plan = ?", plan).execute(&mut **write).await?;
    sqlx::query!("delete from plan_products where plan = ?", plan).execute(&mut **write).await?;
    sqlx::query!("delete from plan_needs where plan = ?", plan).execute(&mut **write).await?;
    sqlx::query!("delete from doses where plan = ?", plan).execute(&mut **write).await?;
    sqlx::query!("insert into plan_plots (plan, plot) select ?, value from json_each(?)", plan, kept.plots)
        .execute(&mut **write)
        .await?;
    sqlx::query!("insert into plan_products (plan, amendment) select ?, value from json_each(?)", plan, kept.products)
        .execute(&mut **write)
        .await?;
    sqlx::query!(
        "insert into plan_needs (plan, plot, element, need_kg_per_ha, short_g, reason, working)
         select ?, value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5 from json_each(?)",
        plan,
        kept.needs
    )
    .execute(&mut **write)
    .await?;
    sqlx::query!(
        "insert into doses (plan, plot, amendment, analysis, mass_g, locked, origin)
         select ?, value ->> 0, value ->> 1, value ->> 2, value ->> 3, value ->> 4, value ->> 5 from json_each(?)",
        plan,
        kept.doses
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}
