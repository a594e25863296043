//! Seasons, what grows, season plans and their doses.
//!
//! A draft's needs and doses are replaced whole each time it is solved; an agreed plan's
//! doses never change again, and the schema itself refuses it.

use super::{
    Day, Error, Result, Time, Write, one_row,
    values::{MaybeDay, MaybeTime, Text},
};
use crate::{
    agronomy::element::Element,
    ids::{AmendmentId, AnalysisId, CroppingId, DoseId, PlanId, PlotId, SeasonId, SiteId},
};
use jiff::{Timestamp, civil::Date};
use sqlx::SqliteConnection;

/// A named span of a site's years.
#[derive(Clone, Debug)]
pub struct SeasonRow {
    pub id: SeasonId,
    pub site: SiteId,
    pub name: String,
    pub starts_on: Date,
    pub ends_on: Date,
    pub revision: i64,
}

/// A crop on a plot in a season.
#[derive(Clone, Debug)]
pub struct CroppingRow {
    pub id: CroppingId,
    pub plot: PlotId,
    pub season: SeasonId,
    /// Key of the crop.
    pub crop: String,
    pub sown_on: Option<Date>,
    pub note: String,
}

/// A season plan.
#[derive(Clone, Debug)]
pub struct PlanRow {
    pub id: PlanId,
    pub season: SeasonId,
    pub name: String,
    /// `draft`, `agreed` or `closed`.
    pub state: String,
    /// Slug of the guideline it follows, and its version.
    pub guideline: String,
    pub guideline_version: i64,
    /// JSON of the planner's options.
    pub options: String,
    /// JSON of what the planner said about its own work.
    pub outcome: String,
    /// SHA-256 of what it was solved from.
    pub inputs_sha256: Option<Vec<u8>>,
    pub agreed_at: Option<Timestamp>,
    pub revision: i64,
}

/// What a plan starts with.
#[derive(Clone, Debug)]
pub struct NewPlan {
    pub season: SeasonId,
    pub name: String,
    pub guideline: String,
    pub guideline_version: i64,
    /// JSON.
    pub options: String,
    pub plots: Vec<PlotId>,
    pub products: Vec<AmendmentId>,
}

/// Element to supply on a plot, and what was left undone.
#[derive(Clone, Debug)]
pub struct NeedRow {
    pub plot: PlotId,
    pub element: Element,
    pub need_kg_per_ha: f64,
    /// What caps, packs, budget or choice left undone, g on the plot.
    pub short_g: f64,
    pub reason: String,
    /// JSON of the working behind the need.
    pub working: String,
}

/// Grams of an amendment on a plot.
#[derive(Clone, Debug)]
pub struct NewDose {
    pub plot: PlotId,
    pub amendment: AmendmentId,
    pub analysis: AnalysisId,
    pub mass_g: f64,
    pub locked: bool,
    /// Typed by a person rather than solved.
    pub by_hand: bool,
}

/// A dose with the names that a page shows and what was put on of it.
#[derive(Clone, Debug)]
pub struct DoseRow {
    pub id: DoseId,
    pub plan: PlanId,
    pub plot: PlotId,
    pub plot_code: String,
    pub plot_name: String,
    pub amendment: AmendmentId,
    pub amendment_name: String,
    pub analysis: AnalysisId,
    pub mass_g: f64,
    pub locked: bool,
    /// `solved` or `hand`.
    pub origin: String,
    /// Put on so far, g.
    pub applied_g: f64,
}

/// The seasons of a site, newest first.
pub async fn seasons(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<SeasonRow>> {
    Ok(sqlx::query_as!(
        SeasonRow,
        r#"select id as "id!", site, name, starts_on as "starts_on: Day", ends_on as "ends_on: Day", revision
           from seasons where site = ? order by starts_on desc, id desc"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// One season.
pub async fn season(db: &mut SqliteConnection, id: SeasonId) -> Result<Option<SeasonRow>> {
    Ok(sqlx::query_as!(
        SeasonRow,
        r#"select id as "id!", site, name, starts_on as "starts_on: Day", ends_on as "ends_on: Day", revision
           from seasons where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// Adds a season.
pub async fn insert_season(write: &mut Write, site: SiteId, name: &str, from: Date, to: Date) -> Result<SeasonId> {
    let (from, to) = (Day(from), Day(to));
    let done =
        sqlx::query!("insert into seasons (site, name, starts_on, ends_on) values (?, ?, ?, ?)", site, name, from, to)
            .execute(&mut **write)
            .await?;
    Ok(SeasonId(done.last_insert_rowid()))
}

/// Changes a season, where the revision is still the one that was read.
pub async fn update_season(
    write: &mut Write,
    id: SeasonId,
    revision: i64,
    name: &str,
    from: Date,
    to: Date,
) -> Result<()> {
    let (from, to) = (Day(from), Day(to));
    one_row(
        sqlx::query!(
            "update seasons set name = ?, starts_on = ?, ends_on = ?, revision = revision + 1 where id = ? and revision = ?",
            name,
            from,
            to,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

/// What grows in a season, void entries left out.
pub async fn croppings(db: &mut SqliteConnection, season: SeasonId) -> Result<Vec<CroppingRow>> {
    Ok(sqlx::query_as!(
        CroppingRow,
        r#"select id as "id!", plot, season, crop, sown_on as "sown_on!: MaybeDay", note
           from croppings where season = ? and voided_at is null order by plot, id"#,
        season
    )
    .fetch_all(db)
    .await?)
}

/// What grew on a plot, newest season first, void entries left out.
pub async fn croppings_of_plot(db: &mut SqliteConnection, plot: PlotId) -> Result<Vec<CroppingRow>> {
    Ok(sqlx::query_as!(
        CroppingRow,
        r#"select c.id as "id!", c.plot, c.season, c.crop, c.sown_on as "sown_on!: MaybeDay", c.note
           from croppings c join seasons s on s.id = c.season
           where c.plot = ? and c.voided_at is null order by s.starts_on desc, c.id"#,
        plot
    )
    .fetch_all(db)
    .await?)
}

/// Adds a crop to a plot's season.
pub async fn insert_cropping(
    write: &mut Write,
    plot: PlotId,
    season: SeasonId,
    crop: &str,
    sown_on: Option<Date>,
    note: &str,
) -> Result<CroppingId> {
    let sown_on = sown_on.map(Day);
    let done = sqlx::query!(
        "insert into croppings (plot, season, crop, sown_on, note) values (?, ?, ?, ?, ?)",
        plot,
        season,
        crop,
        sown_on,
        note
    )
    .execute(&mut **write)
    .await?;
    Ok(CroppingId(done.last_insert_rowid()))
}

/// Voids a cropping.
pub async fn void_cropping(write: &mut Write, id: CroppingId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update croppings set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// The plans of a season, newest first.
pub async fn plans(db: &mut SqliteConnection, season: SeasonId) -> Result<Vec<PlanRow>> {
    Ok(sqlx::query_as!(
        PlanRow,
        r#"select id as "id!", season, name, state, guideline, guideline_version, options, outcome, inputs_sha256,
                  agreed_at as "agreed_at!: MaybeTime", revision
           from plans where season = ? order by id desc"#,
        season
    )
    .fetch_all(db)
    .await?)
}

/// One plan.
pub async fn plan(db: &mut SqliteConnection, id: PlanId) -> Result<Option<PlanRow>> {
    Ok(sqlx::query_as!(
        PlanRow,
        r#"select id as "id!", season, name, state, guideline, guideline_version, options, outcome, inputs_sha256,
                  agreed_at as "agreed_at!: MaybeTime", revision
           from plans where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// The plots of a plan.
pub async fn plots_of(db: &mut SqliteConnection, plan: PlanId) -> Result<Vec<PlotId>> {
    Ok(sqlx::query_scalar!(r#"select plot as "plot: PlotId" from plan_plots where plan = ? order by plot"#, plan)
        .fetch_all(db)
        .await?)
}

/// The products that a plan may use.
pub async fn products_of(db: &mut SqliteConnection, plan: PlanId) -> Result<Vec<AmendmentId>> {
    Ok(sqlx::query_scalar!(
        r#"select amendment as "amendment: AmendmentId" from plan_products where plan = ? order by amendment"#,
        plan
    )
    .fetch_all(db)
    .await?)
}

/// The needs of a plan, by plot.
pub async fn needs_of(db: &mut SqliteConnection, plan: PlanId) -> Result<Vec<NeedRow>> {
    Ok(sqlx::query_as!(
        NeedRow,
        r#"select plot, element as "element: Text<Element>", need_kg_per_ha, short_g, reason, working
           from plan_needs where plan = ? order by plot, element"#,
        plan
    )
    .fetch_all(db)
    .await?)
}

/// One statement with its own condition, so that each finds its index.
macro_rules! doses {
    ($db:expr, $condition:literal, $value:expr) => {
        sqlx::query_as!(
            DoseRow,
            r#"select d.id as "id!", d.plan, d.plot, p.code as plot_code, p.name as plot_name, d.amendment,
                      m.name as amendment_name, d.analysis, d.mass_g, d.locked as "locked: bool", d.origin,
                      (select coalesce(sum(a.mass_g), 0.0) from applications a
                       where a.dose = d.id and a.voided_at is null) as "applied_g!: f64"
               from doses d join plots p on p.id = d.plot join amendments m on m.id = d.amendment
               where "#
                + $condition
                + " order by p.position, p.code, m.name",
            $value
        )
        .fetch_all($db)
        .await
    };
}

/// The doses of a plan with what was put on of each, by plot and product.
pub async fn doses_of(db: &mut SqliteConnection, plan: PlanId) -> Result<Vec<DoseRow>> {
    Ok(doses!(db, "d.plan = ?", plan)?)
}

/// The doses of the other agreed plans, with what was put on of each: for a draft of them all,
/// for an agreed or closed plan of those that were agreed before it.
pub async fn doses_agreed_before(db: &mut SqliteConnection, plan: PlanId) -> Result<Vec<DoseRow>> {
    Ok(doses!(
        db,
        "d.plan in (select other.id from plans other, plans this
                    where this.id = ?1 and other.id <> this.id and other.state = 'agreed'
                      and (this.agreed_at is null or (other.agreed_at, other.id) < (this.agreed_at, this.id)))",
        plan
    )?)
}

/// The doses of all agreed plans, with what was put on of each: what a new draft finds promised.
pub async fn doses_agreed(db: &mut SqliteConnection) -> Result<Vec<DoseRow>> {
    Ok(doses!(db, "d.plan in (select id from plans where state = ?)", "agreed")?)
}

/// One dose.
pub async fn dose(db: &mut SqliteConnection, id: DoseId) -> Result<Option<DoseRow>> {
    Ok(doses!(db, "d.id = ?", id)?.pop())
}

/// Adds a draft.
pub async fn insert_plan(write: &mut Write, new: &NewPlan) -> Result<PlanId> {
    let id = sqlx::query!(
        "insert into plans (season, name, guideline, guideline_version, options) values (?, ?, ?, ?, ?)",
        new.season,
        new.name,
        new.guideline,
        new.guideline_version,
        new.options
    )
    .execute(&mut **write)
    .await?
    .last_insert_rowid();
    let id = PlanId(id);
    set_choice(write, id, &new.plots, &new.products).await?;
    Ok(id)
}

/// Changes what a draft is asked to do, where the revision is still the one that was read.
pub async fn update_plan(write: &mut Write, id: PlanId, revision: i64, new: &NewPlan) -> Result<()> {
    one_row(
        sqlx::query!(
            "update plans set name = ?, guideline = ?, guideline_version = ?, options = ?, revision = revision + 1
             where id = ? and revision = ? and state = 'draft'",
            new.name,
            new.guideline,
            new.guideline_version,
            new.options,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )?;
    set_choice(write, id, &new.plots, &new.products).await
}

/// Notes the version of its guideline that a draft was worked out under.
pub async fn note_guideline_version(write: &mut Write, id: PlanId, version: i64) -> Result<()> {
    one_row(
        sqlx::query!("update plans set guideline_version = ? where id = ? and state = 'draft'", version, id)
            .execute(&mut **write)
            .await?,
    )
}

async fn set_choice(write: &mut Write, plan: PlanId, plots: &[PlotId], products: &[AmendmentId]) -> Result<()> {
    sqlx::query!("delete from plan_plots where plan = ?", plan).execute(&mut **write).await?;
    sqlx::query!("delete from plan_products where plan = ?", plan).execute(&mut **write).await?;
    for plot in plots {
        sqlx::query!("insert into plan_plots (plan, plot) values (?, ?)", plan, plot).execute(&mut **write).await?;
    }
    for product in products {
        sqlx::query!("insert into plan_products (plan, amendment) values (?, ?)", plan, product)
            .execute(&mut **write)
            .await?;
    }
    Ok(())
}

/// Puts a solved plan in the place of what the draft had, where the revision is still the
/// one that was read. `outcome` is JSON.
pub async fn replace_solution(
    write: &mut Write,
    id: PlanId,
    revision: i64,
    inputs_sha256: &[u8],
    outcome: &str,
    needs: &[NeedRow],
    doses: &[NewDose],
) -> Result<()> {
    one_row(
        sqlx::query!(
            "update plans set inputs_sha256 = ?, outcome = ?, revision = revision + 1
             where id = ? and revision = ? and state = 'draft'",
            inputs_sha256,
            outcome,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )?;
    sqlx::query!("delete from plan_needs where plan = ?", id).execute(&mut **write).await?;
    sqlx::query!("delete from doses where plan = ?", id).execute(&mut **write).await?;
    for need in needs {
        let element = need.element.symbol();
        sqlx::query!(
            "insert into plan_needs (plan, plot, element, need_kg_per_ha, short_g, reason, working)
             values (?, ?, ?, ?, ?, ?, ?)",
            id,
            need.plot,
            element,
            need.need_kg_per_ha,
            need.short_g,
            need.reason,
            need.working
        )
        .execute(&mut **write)
        .await?;
    }
    for dose in doses {
        let origin = if dose.by_hand { "hand" } else { "solved" };
        sqlx::query!(
            "insert into doses (plan, plot, amendment, analysis, mass_g, locked, origin) values (?, ?, ?, ?, ?, ?, ?)",
            id,
            dose.plot,
            dose.amendment,
            dose.analysis,
            dose.mass_g,
            dose.locked,
            origin
        )
        .execute(&mut **write)
        .await?;
    }
    Ok(())
}

/// Agrees a draft: from then on its doses stand. `outcome` is JSON: what the planner said, with what
/// of the day of the agreement is to stay.
pub async fn agree(write: &mut Write, id: PlanId, revision: i64, outcome: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update plans set state = 'agreed', agreed_at = ?, agreed_by = ?, outcome = ?, revision = revision + 1
             where id = ? and revision = ? and state = 'draft'",
            at,
            by,
            outcome,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Closes an agreed plan: what was not put on by then is carried over.
pub async fn close(write: &mut Write, id: PlanId, revision: i64) -> Result<()> {
    one_row(
        sqlx::query!(
            "update plans set state = 'closed', revision = revision + 1 where id = ? and revision = ? and state = 'agreed'",
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Takes an agreement back, as long as nothing was put on; else [`Error::Stale`].
pub async fn reopen(write: &mut Write, id: PlanId, revision: i64) -> Result<()> {
    let begun = sqlx::query_scalar!(
        r#"select exists (select 1 from applications a join doses d on d.id = a.dose where d.plan = ?) as "begun!: bool""#,
        id
    )
    .fetch_one(&mut **write)
    .await?;
    if begun {
        return Err(Error::Stale);
    }
    one_row(
        sqlx::query!(
            "update plans set state = 'draft', agreed_at = null, agreed_by = null, revision = revision + 1
             where id = ? and revision = ? and state = 'agreed'",
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}
