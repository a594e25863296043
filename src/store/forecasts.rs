//! What agreed plans expected of the next tests: written down once, never changed.

use super::{
    Day, Result, Write,
    samplings::id_list,
    values::{Text, from_json, json},
};
use crate::{
    agronomy::{
        analyte::Analyte, forecast::Forecast, method::Method, quantity::Centimetres, record::DepthBand,
        working::Working,
    },
    ids::{ForecastId, PlanId, PlotId},
};
use jiff::civil::Date;
use sqlx::SqliteConnection;

/// What a plan expected of the next test of a plot, with how it comes about.
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

/// The same in brief, for lists of many.
#[derive(Clone, Debug, PartialEq)]
pub struct ForecastLine {
    pub id: ForecastId,
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
    /// What that test said when the forecast was made, where it was written down.
    pub start: Option<f64>,
    pub expected: f64,
    /// The ends of the 90 % band.
    pub low: f64,
    pub high: f64,
}

/// Writes down what an agreed plan expects. Final.
pub async fn insert(write: &mut Write, row: &ForecastRow) -> Result<()> {
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

/// One statement with its own condition, so that each finds its index. Of each plan, while it
/// is agreed, what was written down when it was agreed last.
macro_rules! lines {
    ($db:expr, $condition:literal, $value:expr) => {
        sqlx::query!(
            r#"select f.id as "id!: ForecastId", f.plan as "plan!: PlanId", f.plot as "plot!: PlotId",
                      f.analyte as "analyte!: Text<Analyte>", f.method as "method!: Text<Method>", f.unit as "unit!",
                      f.depth_top_cm, f.depth_bottom_cm, f.from_test_on as "from_test_on!: Day", f.expected as "expected!",
                      f.low as "low!", f.high as "high!", f.made_on as "made_on!: Day",
                      cast(json_extract(f.working, '$.inputs[0].figure.value') as real) as "start?: f64"
               from plan_forecasts f join plans p on p.id = f.plan
               where "# + $condition + r#" and p.state <> 'draft'
                 and f.id = (select max(g.id) from plan_forecasts g
                             where g.plan = f.plan and g.plot = f.plot and g.analyte = f.analyte and g.method = f.method
                               and g.unit = f.unit)
               order by f.plot, f.made_on, f.plan, f.analyte, f.method"#,
            $value
        )
        .fetch_all($db)
        .await?
        .into_iter()
        .map(|row| ForecastLine {
            id: row.id,
            plan: row.plan,
            plot: row.plot,
            analyte: row.analyte.0,
            method: row.method.0,
            unit: row.unit,
            depth: depth(row.depth_top_cm, row.depth_bottom_cm),
            from_test_on: row.from_test_on.0,
            made_on: row.made_on.0,
            start: row.start,
            expected: row.expected,
            low: row.low,
            high: row.high,
        })
        .collect::<Vec<_>>()
    };
}

fn depth(top: Option<f64>, bottom: Option<f64>) -> Option<DepthBand> {
    let (top, bottom) = top.zip(bottom)?;
    Some(DepthBand { top: Centimetres(top), bottom: Centimetres(bottom) })
}

/// What plans expected of the tests of several plots, in brief, oldest first on each plot.
pub async fn of_plots(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<Vec<ForecastLine>> {
    let wanted = id_list(plots.iter().map(|id| id.0));
    Ok(lines!(db, "f.plot in (select value from json_each(?))", wanted))
}

/// One of them, with how it comes about.
pub async fn one(db: &mut SqliteConnection, id: ForecastId) -> Result<Option<(ForecastLine, Working)>> {
    let Some(line) = lines!(&mut *db, "f.id = ?", id).pop() else { return Ok(None) };
    let text = sqlx::query_scalar!(r#"select working as "working!" from plan_forecasts where id = ?"#, id)
        .fetch_one(db)
        .await?;
    Ok(Some((line, from_json("the working of a forecast", &text)?)))
}

/// What plans expected of the tests of several plots, each with how it comes about.
pub async fn with_workings(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<Vec<ForecastRow>> {
    let mut rows = Vec::new();
    for ForecastLine { id, .. } in of_plots(db, plots).await? {
        let Some((line, working)) = one(db, id).await? else { continue };
        rows.push(ForecastRow {
            plan: line.plan,
            plot: line.plot,
            analyte: line.analyte,
            method: line.method,
            unit: line.unit,
            depth: line.depth,
            from_test_on: line.from_test_on,
            made_on: line.made_on,
            forecast: Forecast { expected: line.expected, low: line.low, high: line.high, working },
        });
    }
    Ok(rows)
}
