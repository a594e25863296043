//! What harvests carried away.

use super::{
    Day, Result, Time, Write, one_row,
    samplings::id_list,
    values::{MaybeTime, Text, from_json, json},
};
use crate::{
    agronomy::{
        amendment::Kind,
        offtake::{Figures, Harvest},
    },
    ids::{HarvestId, PlotId, SeasonId, SiteId},
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

/// What sort of material each application between two days put on, both counted, by its number.
pub async fn kinds_of_applications(
    db: &mut SqliteConnection,
    plots: &[PlotId],
    from: Date,
    to: Date,
) -> Result<BTreeMap<i64, Kind>> {
    let (wanted, from, to) = (id_list(plots.iter().map(|id| id.0)), Day(from), Day(to));
    let rows = sqlx::query!(
        r#"select a.id as "id!: i64", m.kind as "kind: Text<Kind>"
           from applications a join amendments m on m.id = a.amendment
           where a.plot in (select value from json_each(?)) and a.voided_at is null and a.applied_on between ? and ?"#,
        wanted,
        from,
        to
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

/// Harvests of a crop on a site, kg fresh to the square metre of their plot; void ones left out.
pub async fn rates_of_crop(db: &mut SqliteConnection, site: SiteId, crop: &str) -> Result<Vec<(HarvestId, f64)>> {
    let rows = sqlx::query!(
        r#"select h.id as "id!: HarvestId", h.fresh_mass_kg / p.area_m2 as "rate!: f64"
           from harvests h join plots p on p.id = h.plot
           where h.site = ? and h.crop = ? and h.voided_at is null"#,
        site,
        crop
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.rate)).collect())
}
