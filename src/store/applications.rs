//! What was really put on.

use super::{
    Day, Result, Time, Write, one_row,
    samplings::id_list,
    values::{MaybeTime, Text},
};
use crate::{
    agronomy::{amendment::Kind, element::Element, record::Application},
    ids::{AmendmentId, AnalysisId, ApplicationId, DoseId, PersonId, PlanId, PlotId, SiteId},
};
use jiff::{Timestamp, civil::Date};
use sqlx::SqliteConnection;
use std::collections::BTreeMap;

/// An application with the names that a page shows.
#[derive(Clone, Debug)]
pub struct ApplicationRow {
    pub id: ApplicationId,
    pub site: SiteId,
    pub plot: PlotId,
    pub plot_code: String,
    pub plot_name: String,
    pub applied_on: Date,
    pub amendment: AmendmentId,
    pub amendment_name: String,
    pub analysis: AnalysisId,
    pub mass_g: f64,
    pub method: String,
    /// Who did it, as written.
    pub person_name: String,
    /// The dose it fulfils, wholly or partly.
    pub dose: Option<DoseId>,
    pub note: String,
    pub recorded_at: Timestamp,
    pub voided_at: Option<Timestamp>,
    pub void_reason: Option<String>,
}

/// What a person can say about an application, checked.
#[derive(Clone, Debug)]
pub struct NewApplication {
    pub site: SiteId,
    pub plot: PlotId,
    pub applied_on: Date,
    pub amendment: AmendmentId,
    pub analysis: AnalysisId,
    pub mass_g: f64,
    pub method: String,
    pub person_name: String,
    pub person: Option<PersonId>,
    pub dose: Option<DoseId>,
    pub note: String,
}

/// Adds an application.
pub async fn insert(write: &mut Write, new: &NewApplication) -> Result<ApplicationId> {
    let (on, at, by) = (Day(new.applied_on), Time(write.at()), write.by());
    let done = sqlx::query!(
        "insert into applications (site, plot, applied_on, amendment, analysis, mass_g, method, person_name, person, dose,
                                   note, recorded_at, recorded_by)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        new.site,
        new.plot,
        on,
        new.amendment,
        new.analysis,
        new.mass_g,
        new.method,
        new.person_name,
        new.person,
        new.dose,
        new.note,
        at,
        by
    )
    .execute(&mut **write)
    .await?;
    Ok(ApplicationId(done.last_insert_rowid()))
}

/// Voids an application.
pub async fn void(write: &mut Write, id: ApplicationId, reason: &str) -> Result<()> {
    let (at, by) = (Time(write.at()), write.by());
    one_row(
        sqlx::query!(
            "update applications set voided_at = ?, voided_by = ?, void_reason = ? where id = ? and voided_at is null",
            at,
            by,
            reason,
            id
        )
        .execute(&mut **write)
        .await?,
    )
}

/// One statement with its own condition, so that each finds its index.
macro_rules! applications {
    ($db:expr, $condition:literal, $($value:expr),+) => {
        sqlx::query_as!(
            ApplicationRow,
            r#"select a.id as "id!", a.site, a.plot, p.code as plot_code, p.name as plot_name,
                      a.applied_on as "applied_on: Day", a.amendment, m.name as amendment_name, a.analysis, a.mass_g,
                      a.method, a.person_name, a.dose as "dose: DoseId", a.note, a.recorded_at as "recorded_at: Time",
                      a.voided_at as "voided_at!: MaybeTime", a.void_reason
               from applications a join plots p on p.id = a.plot join amendments m on m.id = a.amendment
               where "# + $condition + " order by a.applied_on desc, a.id desc",
            $($value),+
        )
        .fetch_all($db)
        .await
    };
}

/// One application, void or not.
pub async fn find(db: &mut SqliteConnection, id: ApplicationId) -> Result<Option<ApplicationRow>> {
    Ok(applications!(db, "a.id = ?1", id)?.pop())
}

/// What was put on a plot, newest first; void entries too where asked.
pub async fn of_plot(db: &mut SqliteConnection, plot: PlotId, voided_too: bool) -> Result<Vec<ApplicationRow>> {
    Ok(applications!(db, "a.plot = ?1 and (?2 or a.voided_at is null)", plot, voided_too)?)
}

/// What was put on a site from one day to another, both counted, newest first; void entries left out.
pub async fn of_site(db: &mut SqliteConnection, site: SiteId, from: Date, to: Date) -> Result<Vec<ApplicationRow>> {
    let (from, to) = (Day(from), Day(to));
    Ok(applications!(db, "a.site = ?1 and a.applied_on between ?2 and ?3 and a.voided_at is null", site, from, to)?)
}

/// The same with void entries among them.
pub async fn of_site_with_void(
    db: &mut SqliteConnection,
    site: SiteId,
    from: Date,
    to: Date,
) -> Result<Vec<ApplicationRow>> {
    let (from, to) = (Day(from), Day(to));
    Ok(applications!(db, "a.site = ?1 and a.applied_on between ?2 and ?3", site, from, to)?)
}

/// What fulfils the doses of a plan, newest first; void entries left out.
pub async fn of_plan(db: &mut SqliteConnection, plan: PlanId) -> Result<Vec<ApplicationRow>> {
    Ok(applications!(db, "a.dose in (select id from doses where plan = ?1) and a.voided_at is null", plan)?)
}

/// What went on a plot in a year, of one element.
#[derive(Clone, Copy, Debug)]
pub struct YearSum {
    pub plot: PlotId,
    pub year: i64,
    pub element: Element,
    pub mass_g: f64,
}

/// Each element that went on each plot, year by year, up to a day; void entries left out.
pub async fn by_year(db: &mut SqliteConnection, plots: &[PlotId], to: Date) -> Result<Vec<YearSum>> {
    let (wanted, to) = (id_list(plots.iter().map(|id| id.0)), Day(to));
    Ok(sqlx::query_as!(
        YearSum,
        r#"select s.plot as "plot!: PlotId", s.year as "year!: i64", p.element as "element!: Text<Element>",
                  sum(s.mass_g * p.mass_fraction) as "mass_g!: f64"
           from (select plot, cast(substr(applied_on, 1, 4) as integer) as year, analysis, sum(mass_g) as mass_g
                 from applications
                 where plot in (select value from json_each(?1)) and voided_at is null and applied_on <= ?2
                 group by 1, 2, 3) s
                join analysis_parts p on p.analysis = s.analysis
           group by 1, 2, 3"#,
        wanted,
        to
    )
    .fetch_all(db)
    .await?)
}

/// The same for a few pairs of plot and element, which is sooner done than all of the plots'.
pub async fn by_year_of(db: &mut SqliteConnection, wanted: &[(PlotId, Element)], to: Date) -> Result<Vec<YearSum>> {
    let pairs: Vec<(i64, String)> = wanted.iter().map(|(plot, element)| (plot.0, element.to_string())).collect();
    let (pairs, to) = (serde_json::json!(pairs).to_string(), Day(to));
    Ok(sqlx::query_as!(
        YearSum,
        r#"select a.plot as "plot!: PlotId", cast(substr(a.applied_on, 1, 4) as integer) as "year!: i64",
                  p.element as "element!: Text<Element>", sum(a.mass_g * p.mass_fraction) as "mass_g!: f64"
           from (select value ->> 0 as plot, value ->> 1 as element from json_each(?1)) w
                cross join applications a on a.plot = w.plot and a.voided_at is null and a.applied_on <= ?2
                cross join analysis_parts p on p.analysis = a.analysis and p.element = w.element
           group by 1, 2, 3"#,
        pairs,
        to
    )
    .fetch_all(db)
    .await?)
}

/// What went on a plot in a year that is no one element: what raises pH, and what is bulky.
#[derive(Clone, Copy, Debug)]
pub struct YearBulk {
    pub plot: PlotId,
    pub year: i64,
    /// Neutralising value as pure calcium carbonate, g; below 0 for what makes sour.
    pub lime_g: f64,
    /// Compost and manure, g.
    pub organic_g: f64,
}

/// Lime, compost and manure that went on each plot, year by year, up to a day; void entries left out.
pub async fn bulk_by_year(db: &mut SqliteConnection, plots: &[PlotId], to: Date) -> Result<Vec<YearBulk>> {
    let (wanted, to) = (id_list(plots.iter().map(|id| id.0)), Day(to));
    Ok(sqlx::query_as!(
        YearBulk,
        r#"select a.plot as "plot!: PlotId", cast(substr(a.applied_on, 1, 4) as integer) as "year!: i64",
                  sum(a.mass_g * coalesce(n.neutralising_value, 0.0) / 100.0) as "lime_g!: f64",
                  sum(iif(m.kind in ('compost', 'manure'), a.mass_g, 0.0)) as "organic_g!: f64"
           from applications a join analyses n on n.id = a.analysis join amendments m on m.id = a.amendment
           where a.plot in (select value from json_each(?1)) and a.voided_at is null and a.applied_on <= ?2
             and (n.neutralising_value <> 0 or m.kind in ('compost', 'manure'))
           group by 1, 2"#,
        wanted,
        to
    )
    .fetch_all(db)
    .await?)
}

/// The applications of several plots as the trade reads them, oldest first, void ones left
/// out: two statements however many plots there are.
pub async fn of_plots(
    db: &mut SqliteConnection,
    plots: &[PlotId],
    from: Date,
    to: Date,
) -> Result<BTreeMap<PlotId, Vec<Application>>> {
    let (wanted, from, to) = (id_list(plots.iter().map(|id| id.0)), Day(from), Day(to));
    let rows = sqlx::query!(
        r#"select a.id as "id!: i64", a.plot as "plot: PlotId", a.applied_on as "applied_on: Day", m.name, m.manure as "manure: bool",
                  m.kind as "kind: Text<Kind>",
                  a.analysis, a.mass_g
           from applications a join amendments m on m.id = a.amendment
           where a.plot in (select value from json_each(?1)) and a.voided_at is null
             and a.applied_on between ?2 and ?3
           order by a.applied_on, a.id"#,
        wanted,
        from,
        to
    )
    .fetch_all(&mut *db)
    .await?;
    let analyses = id_list(rows.iter().map(|row| row.analysis).collect::<std::collections::BTreeSet<_>>().into_iter());
    let parts = sqlx::query!(
        r#"select analysis, element as "element: Text<Element>", mass_fraction, first_year_availability
           from analysis_parts where analysis in (select value from json_each(?))"#,
        analyses
    )
    .fetch_all(db)
    .await?;
    let mut contents: BTreeMap<i64, BTreeMap<Element, f64>> = BTreeMap::new();
    let mut shares: BTreeMap<i64, BTreeMap<Element, f64>> = BTreeMap::new();
    for part in parts {
        contents.entry(part.analysis).or_default().insert(part.element.0, part.mass_fraction);
        shares.entry(part.analysis).or_default().insert(part.element.0, part.first_year_availability);
    }
    let mut by_plot: BTreeMap<PlotId, Vec<Application>> = plots.iter().map(|plot| (*plot, vec![])).collect();
    for row in rows {
        by_plot.entry(row.plot).or_default().push(Application {
            key: row.id,
            applied_on: row.applied_on.0,
            amendment: row.name,
            mass_g: row.mass_g,
            content: contents.get(&row.analysis).cloned().unwrap_or_default(),
            availability: shares.get(&row.analysis).cloned().unwrap_or_default(),
            manure: row.manure,
            organic: row.manure || row.kind.0.is_organic(),
        });
    }
    Ok(by_plot)
}

/// Of the applications with these keys those whose analysis says how much of the nitrogen is
/// ammonium: that mass fraction of what was put on.
pub async fn ammonium(db: &mut SqliteConnection, keys: &[i64]) -> Result<BTreeMap<i64, f64>> {
    let wanted = id_list(keys.iter().copied());
    let rows = sqlx::query!(
        r#"select a.id as "id!: i64", n.ammonium_n as "ammonium_n!: f64"
           from applications a join analyses n on n.id = a.analysis
           where a.id in (select value from json_each(?)) and n.ammonium_n is not null"#,
        wanted
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.ammonium_n)).collect())
}
