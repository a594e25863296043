//! What harvests carried away, and what plans expected of the next test.

use super::{
    Day, Result, Time, Write, one_row,
    samplings::id_list,
    values::{MaybeTime, Text, from_json, json},
};
use crate::{
    agronomy::{
        amendment::Kind,
        analyte::Analyte,
        forecast::Forecast,
        method::Method,
        offtake::{Figures, Harvest},
        quantity::Centimetres,
        record::DepthBand,
    },
    ids::{HarvestId, PlanId, PlotId, SeasonId, SiteId},
};
use jiff::{Timestamp, civil::Date};
use sqlx::SqliteConnection;
use std::collections::BTreeMap;

/// A harvest with the names that a page shows.
#[derive(Clone, Debug)]
pub struct HarvestRow {
    pub id: HarvestId,
    pub site: SiteId,
    pub plot: PlotId,
    pub plot_code: String,
    pub plot_name: String,
    pub season: Option<SeasonId>,
    /// The harvest as the trade reads it.
    pub harvest: Harvest,
    pub note: String,
    /// Who harvested, as written.
    pub person_name: String,
    pub recorded_at: Timestamp,
    pub voided_at: Option<Timestamp>,
    pub void_reason: Option<String>,
}

/// What a person can say about a harvest, checked.
#[derive(Clone, Debug)]
pub struct NewHarvest {
    pub site: SiteId,
    pub plot: PlotId,
    pub season: Option<SeasonId>,
    /// Key of the crop; `None` with a mass of 0 says that nothing was carried away.
    pub crop: Option<String>,
    pub harvested_on: Date,
    pub fresh_mass_kg: f64,
    pub figures: Figures,
    pub note: String,
    pub person_name: String,
}

/// Adds a harvest.
pub async fn insert(write: &mut Write, new: &NewHarvest) -> Result<HarvestId> {
    let (on, at, by) = (Day(new.harvested_on), Time(write.at()), write.by());
    let figures = json(&new.figures);
    let done = sqlx::query!(
        "insert into harvests (site, plot, season, crop, harvested_on, fresh_mass_kg, figures, note, person_name,
                               recorded_at, recorded_by)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        new.site,
        new.plot,
        new.season,
        new.crop,
        on,
        new.fresh_mass_kg,
        figures,
        new.note,
        new.person_name,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(HarvestId(done.last_insert_rowid()))
}

/// Voids a harvest.
pub async fn void(write: &mut Write, id: HarvestId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update harvests set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// A harvest as SQLite gives it.
struct Raw {
    id: HarvestId,
    site: SiteId,
    plot: PlotId,
    plot_code: String,
    plot_name: String,
    season: Option<SeasonId>,
    crop: Option<String>,
    harvested_on: Date,
    fresh_mass_kg: f64,
    figures: String,
    note: String,
    person_name: String,
    recorded_at: Timestamp,
    voided_at: Option<Timestamp>,
    void_reason: Option<String>,
}

impl Raw {
    fn read(self) -> Result<HarvestRow> {
        let harvest = Harvest {
            key: self.id.0,
            harvested_on: self.harvested_on,
            crop: self.crop,
            mass_kg: self.fresh_mass_kg,
            figures: from_json("removal figures", &self.figures)?,
        };
        Ok(HarvestRow {
            id: self.id,
            site: self.site,
            plot: self.plot,
            plot_code: self.plot_code,
            plot_name: self.plot_name,
            season: self.season,
            harvest,
            note: self.note,
            person_name: self.person_name,
            recorded_at: self.recorded_at,
            voided_at: self.voided_at,
            void_reason: self.void_reason,
        })
    }
}

/// One statement with its own condition, so that each finds its index.
macro_rules! harvests {
    ($db:expr, $condition:literal, $($value:expr),+) => {
        sqlx::query_as!(
            Raw,
            r#"select h.id as "id!", h.site, h.plot, p.code as plot_code, p.name as plot_name,
                      h.season as "season: SeasonId", h.crop, h.harvested_on as "harvested_on: Day", h.fresh_mass_kg,
                      h.figures, h.note, h.person_name, h.recorded_at as "recorded_at: Time",
                      h.voided_at as "voided_at!: MaybeTime", h.void_reason
               from harvests h join plots p on p.id = h.plot
               where "# + $condition + " order by h.harvested_on desc, h.id desc",
            $($value),+
        )
        .fetch_all($db)
        .await?
        .into_iter()
        .map(Raw::read)
        .collect::<Result<Vec<HarvestRow>>>()
    };
}

/// One harvest, void or not.
pub async fn find(db: &mut SqliteConnection, id: HarvestId) -> Result<Option<HarvestRow>> {
    Ok(harvests!(db, "h.id = ?1", id)?.pop())
}

/// What was harvested on a plot, newest first; void entries too where asked.
pub async fn of_plot(db: &mut SqliteConnection, plot: PlotId, voided_too: bool) -> Result<Vec<HarvestRow>> {
    harvests!(db, "h.plot = ?1 and (?2 or h.voided_at is null)", plot, voided_too)
}

/// What was harvested on a site from one day to another, both counted, newest first; void entries left out.
pub async fn of_site(db: &mut SqliteConnection, site: SiteId, from: Date, to: Date) -> Result<Vec<HarvestRow>> {
    let (from, to) = (Day(from), Day(to));
    harvests!(db, "h.site = ?1 and h.harvested_on between ?2 and ?3 and h.voided_at is null", site, from, to)
}

/// The harvests of several plots as the trade reads them, oldest first, void ones left out:
/// one statement however many plots there are.
pub async fn of_plots(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<BTreeMap<PlotId, Vec<Harvest>>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    let rows = harvests!(db, "h.plot in (select value from json_each(?1)) and h.voided_at is null", wanted)?;
    let mut by_plot: BTreeMap<PlotId, Vec<Harvest>> = plots.iter().map(|plot| (*plot, vec![])).collect();
    for row in rows.into_iter().rev() {
        by_plot.entry(row.plot).or_default().push(row.harvest);
    }
    Ok(by_plot)
}

/// What sort of material each application put on, by its number.
pub async fn kinds_of_applications(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<BTreeMap<i64, Kind>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    let rows = sqlx::query!(
        r#"select a.id as "id!: i64", m.kind as "kind: Text<Kind>"
           from applications a join amendments m on m.id = a.amendment
           where a.plot in (select value from json_each(?)) and a.voided_at is null"#,
        wanted
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.kind.0)).collect())
}

/// The season of a site that a day falls into, where one is written down.
pub async fn season_of(db: &mut SqliteConnection, site: SiteId, on: Date) -> Result<Option<SeasonId>> {
    let on = Day(on);
    Ok(sqlx::query_scalar!(
        r#"select id as "id!: SeasonId" from seasons
           where site = ?1 and starts_on <= ?2 and ends_on >= ?2 order by starts_on, id limit 1"#,
        site,
        on
    )
    .fetch_optional(db)
    .await?)
}

/// What a plan expected of the next test of a plot.
#[derive(Clone, Debug)]
pub struct ForecastRow {
    pub plan: PlanId,
    pub plot: PlotId,
    pub analyte: Analyte,
    pub method: Method,
    /// Unit of the levels.
    pub unit: String,
    pub depth: Option<DepthBand>,
    /// Day of the test that it starts from.
    pub from_test_on: Date,
    pub made_on: Date,
    pub forecast: Forecast,
}

/// Writes down what an agreed plan expects. Final.
pub async fn insert_forecast(write: &mut Write, row: &ForecastRow) -> Result<()> {
    let (analyte, method) = (row.analyte.to_string(), row.method.slug());
    let (top, bottom) = (row.depth.map(|d| d.top.0), row.depth.map(|d| d.bottom.0));
    let (from, made, working) = (Day(row.from_test_on), Day(row.made_on), json(&row.forecast.working));
    sqlx::query!(
        "insert into plan_forecasts (plan, plot, analyte, method, unit, depth_top_cm, depth_bottom_cm, from_test_on,
                                     expected, low, high, made_on, working)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        row.plan,
        row.plot,
        analyte,
        method,
        row.unit,
        top,
        bottom,
        from,
        row.forecast.expected,
        row.forecast.low,
        row.forecast.high,
        made,
        working
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// What plans expected of the tests of several plots, oldest first: of each plan, while it
/// is agreed, what was written down when it was agreed last.
pub async fn forecasts_of_plots(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<Vec<ForecastRow>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    let rows = sqlx::query!(
        r#"select f.plan as "plan!: PlanId", f.plot as "plot!: PlotId", f.analyte as "analyte!: Text<Analyte>",
                  f.method as "method!: Text<Method>", f.unit as "unit!", f.depth_top_cm, f.depth_bottom_cm,
                  f.from_test_on as "from_test_on!: Day", f.expected as "expected!", f.low as "low!", f.high as "high!",
                  f.made_on as "made_on!: Day", f.working as "working!"
           from plan_forecasts f join plans p on p.id = f.plan
           where f.plot in (select value from json_each(?)) and p.state <> 'draft'
             and f.id = (select max(g.id) from plan_forecasts g
                         where g.plan = f.plan and g.plot = f.plot and g.analyte = f.analyte and g.method = f.method
                           and g.unit = f.unit)
           order by f.plot, f.made_on, f.plan, f.analyte, f.method"#,
        wanted
    )
    .fetch_all(db)
    .await?;
    rows.into_iter()
        .map(|row| {
            let depth = row.depth_top_cm.zip(row.depth_bottom_cm);
            let working = from_json("the working of a forecast", &row.working)?;
            Ok(ForecastRow {
                plan: row.plan,
                plot: row.plot,
                analyte: row.analyte.0,
                method: row.method.0,
                unit: row.unit,
                depth: depth.map(|(top, bottom)| DepthBand { top: Centimetres(top), bottom: Centimetres(bottom) }),
                from_test_on: row.from_test_on.0,
                made_on: row.made_on.0,
                forecast: Forecast { expected: row.expected, low: row.low, high: row.high, working },
            })
        })
        .collect()
}
