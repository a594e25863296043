//! Sites, blocks and plots, and the lineage of plots that were split or merged.

use super::{
    Day, Result, Write, one_row,
    values::{MaybeDay, Text},
};
use crate::{
    agronomy::{
        ground::{Cover, Ground, Texture},
        guideline::LandUse,
        quantity::{Centimetres, GramsPerCm3, SquareMetres},
    },
    ids::{BlockId, PlotId, SiteId},
};
use jiff::civil::Date;
use sqlx::SqliteConnection;
use std::collections::BTreeMap;

/// A garden or farm.
#[derive(Clone, Debug)]
pub struct SiteRow {
    pub id: SiteId,
    pub name: String,
    /// ISO 4217.
    pub currency: String,
    /// Demonstration data, said on every page.
    pub invented: bool,
    /// Slug of the guideline that standing is read under.
    pub guideline: Option<String>,
    /// `g_per_m2`, `kg_per_ha` or `lb_per_acre`.
    pub rate_unit: String,
    /// Slug of a soil-mass convention; `None` computes with each plot's own layer.
    pub layer: Option<String>,
    /// Finest step of the scale that doses are weighed on.
    pub scale_step_g: f64,
    /// Slugs of the sets of nitrate tests and parts that are not used here, parted by spaces.
    pub sets_off: String,
    pub note: String,
    pub archived_on: Option<Date>,
    pub revision: i64,
}

/// What a person can say about a site.
#[derive(Clone, Debug)]
pub struct NewSite {
    pub name: String,
    pub currency: String,
    pub invented: bool,
    pub guideline: Option<String>,
    pub rate_unit: String,
    pub layer: Option<String>,
    pub scale_step_g: f64,
    pub sets_off: String,
    pub note: String,
}

/// A named group of plots.
#[derive(Clone, Debug)]
pub struct BlockRow {
    pub id: BlockId,
    pub site: SiteId,
    pub name: String,
    pub position: i64,
    pub note: String,
    pub revision: i64,
}

/// A plot, with the name of its block.
#[derive(Clone, Debug)]
pub struct PlotRow {
    pub id: PlotId,
    pub site: SiteId,
    pub block: Option<BlockId>,
    pub block_name: Option<String>,
    pub name: String,
    /// As written on the peg.
    pub code: String,
    pub area_m2: f64,
    pub cover: Cover,
    pub texture: Texture,
    /// g/cm³, where measured.
    pub bulk_density: Option<f64>,
    pub depth_cm: f64,
    /// Fraction of the volume.
    pub stones: f64,
    /// While no crop tells.
    pub land_use: LandUse,
    pub began_on: Option<Date>,
    pub retired_on: Option<Date>,
    pub position: i64,
    pub note: String,
    pub revision: i64,
}

impl PlotRow {
    /// The plot's ground, as the trade computes with it.
    pub fn ground(&self) -> Ground {
        Ground {
            area: SquareMetres(self.area_m2),
            cover: self.cover,
            texture: self.texture,
            bulk_density: self.bulk_density.map(GramsPerCm3),
            depth: Centimetres(self.depth_cm),
            stones: self.stones,
        }
    }
}

/// What a person can say about a plot.
#[derive(Clone, Debug)]
pub struct NewPlot {
    pub block: Option<BlockId>,
    pub name: String,
    pub code: String,
    pub ground: Ground,
    pub land_use: LandUse,
    pub began_on: Option<Date>,
    pub position: i64,
    pub note: String,
}

/// How a plot came from others or went into others.
#[derive(Clone, Debug)]
pub struct LineageRow {
    pub parent: PlotId,
    pub child: PlotId,
    pub took_place_on: Date,
    /// `split` or `merge`.
    pub kind: String,
}

/// Every site, by name.
pub async fn sites(db: &mut SqliteConnection) -> Result<Vec<SiteRow>> {
    Ok(sqlx::query_as!(
        SiteRow,
        r#"select id as "id!", name, currency, invented as "invented: bool", guideline, rate_unit, layer, scale_step_g,
                  sets_off, note, archived_on as "archived_on!: MaybeDay", revision
           from sites order by name"#
    )
    .fetch_all(db)
    .await?)
}

/// One site.
pub async fn site(db: &mut SqliteConnection, id: SiteId) -> Result<Option<SiteRow>> {
    Ok(sqlx::query_as!(
        SiteRow,
        r#"select id as "id!", name, currency, invented as "invented: bool", guideline, rate_unit, layer, scale_step_g,
                  sets_off, note, archived_on as "archived_on!: MaybeDay", revision
           from sites where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// Adds a site.
pub async fn insert_site(write: &mut Write, site: &NewSite) -> Result<SiteId> {
    let done = sqlx::query!(
        "insert into sites (name, currency, invented, guideline, rate_unit, layer, scale_step_g, sets_off, note)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?)",
        site.name,
        site.currency,
        site.invented,
        site.guideline,
        site.rate_unit,
        site.layer,
        site.scale_step_g,
        site.sets_off,
        site.note
    )
    .execute(&mut **write)
    .await?;
    Ok(SiteId(done.last_insert_rowid()))
}

/// Changes a site, where the revision is still the one that was read.
pub async fn update_site(write: &mut Write, id: SiteId, revision: i64, site: &NewSite) -> Result<()> {
    one_row(
        sqlx::query!(
            "update sites set name = ?, currency = ?, invented = ?, guideline = ?, rate_unit = ?, layer = ?,
                    scale_step_g = ?, sets_off = ?, note = ?, revision = revision + 1
             where id = ? and revision = ?",
            site.name,
            site.currency,
            site.invented,
            site.guideline,
            site.rate_unit,
            site.layer,
            site.scale_step_g,
            site.sets_off,
            site.note,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Counts an edit of what belongs to a site, where the revision is still the one that was read.
pub async fn count_edit(write: &mut Write, id: SiteId, revision: i64) -> Result<()> {
    one_row(
        sqlx::query!("update sites set revision = revision + 1 where id = ? and revision = ?", id, revision)
            .execute(&mut **write)
            .await?,
    )
}

/// The blocks of a site, in the grower's order.
pub async fn blocks(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<BlockRow>> {
    Ok(sqlx::query_as!(
        BlockRow,
        r#"select id as "id!", site, name, position, note, revision from blocks where site = ? order by position, name"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// One block.
pub async fn block(db: &mut SqliteConnection, id: BlockId) -> Result<Option<BlockRow>> {
    Ok(sqlx::query_as!(
        BlockRow,
        r#"select id as "id!", site, name, position, note, revision from blocks where id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// Adds a block.
pub async fn insert_block(write: &mut Write, site: SiteId, name: &str, position: i64, note: &str) -> Result<BlockId> {
    let done =
        sqlx::query!("insert into blocks (site, name, position, note) values (?, ?, ?, ?)", site, name, position, note)
            .execute(&mut **write)
            .await?;
    Ok(BlockId(done.last_insert_rowid()))
}

/// Changes a block, where the revision is still the one that was read.
pub async fn update_block(
    write: &mut Write,
    id: BlockId,
    revision: i64,
    name: &str,
    position: i64,
    note: &str,
) -> Result<()> {
    one_row(
        sqlx::query!(
            "update blocks set name = ?, position = ?, note = ?, revision = revision + 1 where id = ? and revision = ?",
            name,
            position,
            note,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

/// The plots of a site by block, position and code; the retired ones too where asked.
pub async fn plots(db: &mut SqliteConnection, site: SiteId, retired_too: bool) -> Result<Vec<PlotRow>> {
    Ok(sqlx::query_as!(
        PlotRow,
        r#"select p.id as "id!", p.site, p.block as "block: BlockId", b.name as "block_name?", p.name, p.code, p.area_m2,
                  p.cover as "cover: Text<Cover>", p.texture as "texture: Text<Texture>", p.bulk_density, p.depth_cm,
                  p.stones, p.land_use as "land_use: Text<LandUse>", p.began_on as "began_on!: MaybeDay", p.retired_on as "retired_on!: MaybeDay", p.position,
                  p.note, p.revision
           from plots p left join blocks b on b.id = p.block
           where p.site = ? and (? or p.retired_on is null)
           order by b.position, b.name, p.position, p.code"#,
        site,
        retired_too
    )
    .fetch_all(db)
    .await?)
}

/// The area of every plot of a site, m², the retired ones too.
pub async fn areas_m2(db: &mut SqliteConnection, site: SiteId) -> Result<BTreeMap<PlotId, f64>> {
    let rows =
        sqlx::query!(r#"select id as "id!: PlotId", area_m2 from plots where site = ?"#, site).fetch_all(db).await?;
    Ok(rows.into_iter().map(|row| (row.id, row.area_m2)).collect())
}

/// One plot.
pub async fn plot(db: &mut SqliteConnection, id: PlotId) -> Result<Option<PlotRow>> {
    Ok(sqlx::query_as!(
        PlotRow,
        r#"select p.id as "id!", p.site, p.block as "block: BlockId", b.name as "block_name?", p.name, p.code, p.area_m2,
                  p.cover as "cover: Text<Cover>", p.texture as "texture: Text<Texture>", p.bulk_density, p.depth_cm,
                  p.stones, p.land_use as "land_use: Text<LandUse>", p.began_on as "began_on!: MaybeDay", p.retired_on as "retired_on!: MaybeDay", p.position,
                  p.note, p.revision
           from plots p left join blocks b on b.id = p.block
           where p.id = ?"#,
        id
    )
    .fetch_optional(db)
    .await?)
}

/// The plot with this code on a site.
pub async fn plot_by_code(db: &mut SqliteConnection, site: SiteId, code: &str) -> Result<Option<PlotId>> {
    Ok(sqlx::query_scalar!(r#"select id as "id!: PlotId" from plots where site = ? and code = ?"#, site, code)
        .fetch_optional(db)
        .await?)
}

/// Adds a plot.
pub async fn insert_plot(write: &mut Write, site: SiteId, plot: &NewPlot) -> Result<PlotId> {
    let (cover, texture, land_use) = (plot.ground.cover.slug(), plot.ground.texture.slug(), plot.land_use.slug());
    let bulk_density = plot.ground.bulk_density.map(|d| d.0);
    let began_on = plot.began_on.map(Day);
    let done = sqlx::query!(
        "insert into plots (site, block, name, code, area_m2, cover, texture, bulk_density, depth_cm, stones, land_use,
                            began_on, position, note)
         values (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
        site,
        plot.block,
        plot.name,
        plot.code,
        plot.ground.area.0,
        cover,
        texture,
        bulk_density,
        plot.ground.depth.0,
        plot.ground.stones,
        land_use,
        began_on,
        plot.position,
        plot.note
    )
    .execute(&mut **write)
    .await?;
    Ok(PlotId(done.last_insert_rowid()))
}

/// Changes a plot, where the revision is still the one that was read.
pub async fn update_plot(write: &mut Write, id: PlotId, revision: i64, plot: &NewPlot) -> Result<()> {
    let (cover, texture, land_use) = (plot.ground.cover.slug(), plot.ground.texture.slug(), plot.land_use.slug());
    let bulk_density = plot.ground.bulk_density.map(|d| d.0);
    let began_on = plot.began_on.map(Day);
    one_row(
        sqlx::query!(
            "update plots set block = ?, name = ?, code = ?, area_m2 = ?, cover = ?, texture = ?, bulk_density = ?,
                    depth_cm = ?, stones = ?, land_use = ?, began_on = ?, position = ?, note = ?,
                    revision = revision + 1
             where id = ? and revision = ?",
            plot.block,
            plot.name,
            plot.code,
            plot.ground.area.0,
            cover,
            texture,
            bulk_density,
            plot.ground.depth.0,
            plot.ground.stones,
            land_use,
            began_on,
            plot.position,
            plot.note,
            id,
            revision
        )
        .execute(&mut **write)
        .await?,
    )
}

/// Ends a plot on a day, or opens it again.
pub async fn set_retired(write: &mut Write, id: PlotId, on: Option<Date>) -> Result<()> {
    let on = on.map(Day);
    one_row(
        sqlx::query!("update plots set retired_on = ?, revision = revision + 1 where id = ?", on, id)
            .execute(&mut **write)
            .await?,
    )
}

/// Says that `child` has the soil of `parent`; `kind` is `split` or `merge`.
pub async fn insert_lineage(write: &mut Write, parent: PlotId, child: PlotId, on: Date, kind: &str) -> Result<()> {
    let on = Day(on);
    sqlx::query!(
        "insert into plot_lineage (parent, child, took_place_on, kind) values (?, ?, ?, ?)",
        parent,
        child,
        on,
        kind
    )
    .execute(&mut **write)
    .await?;
    Ok(())
}

/// The lineage around a plot: its ancestors to the first, and its immediate children.
pub async fn lineage(db: &mut SqliteConnection, plot: PlotId) -> Result<Vec<LineageRow>> {
    Ok(sqlx::query_as!(
        LineageRow,
        r#"with recursive line (parent, child, took_place_on, kind) as (
               select parent, child, took_place_on, kind from plot_lineage where child = ?1
               union
               select l.parent, l.child, l.took_place_on, l.kind from plot_lineage l join line on l.child = line.parent
           )
           select parent as "parent!: PlotId", child as "child!: PlotId", took_place_on as "took_place_on!: Day", kind as "kind!: String"
           from line
           union
           select parent, child, took_place_on, kind from plot_lineage where parent = ?1
           order by 3, 1, 2"#,
        plot
    )
    .fetch_all(db)
    .await?)
}

/// The plots that each plot was made from by splits and merges, all the way back.
pub async fn forerunners(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<BTreeMap<PlotId, Vec<PlotId>>> {
    let ids = serde_json::json!(plots).to_string();
    let rows = sqlx::query!(
        r#"with recursive line(plot, forerunner) as (
               select child, parent from plot_lineage where child in (select value from json_each(?))
               union
               select line.plot, up.parent from plot_lineage up join line on up.child = line.forerunner
           )
           select plot as "plot!: PlotId", forerunner as "forerunner!: PlotId" from line order by 1, 2"#,
        ids
    )
    .fetch_all(db)
    .await?;
    let mut lines: BTreeMap<PlotId, Vec<PlotId>> = BTreeMap::new();
    for row in rows {
        lines.entry(row.plot).or_default().push(row.forerunner);
    }
    Ok(lines)
}

/// The same, as far as a plot is all that became of one forerunner or a part of it: the line
/// ends where several plots were merged, because their soils were tested apart.
pub async fn forerunners_of_one_soil(
    db: &mut SqliteConnection,
    plots: &[PlotId],
) -> Result<BTreeMap<PlotId, Vec<PlotId>>> {
    let ids = serde_json::json!(plots).to_string();
    let rows = sqlx::query!(
        r#"with recursive single(child, parent) as (
               select child, min(parent) from plot_lineage group by child having count(*) = 1
           ), line(plot, forerunner) as (
               select child, parent from single where child in (select value from json_each(?))
               union
               select line.plot, up.parent from single up join line on up.child = line.forerunner
           )
           select plot as "plot!: PlotId", forerunner as "forerunner!: PlotId" from line order by 1, 2"#,
        ids
    )
    .fetch_all(db)
    .await?;
    let mut lines: BTreeMap<PlotId, Vec<PlotId>> = BTreeMap::new();
    for row in rows {
        lines.entry(row.plot).or_default().push(row.forerunner);
    }
    Ok(lines)
}

/// One step in how a plot came about.
#[derive(Clone, Debug)]
pub struct LineStep {
    pub parent: PlotId,
    pub child: PlotId,
    /// Split off; else merged into.
    pub split: bool,
    pub child_m2: f64,
    /// All plots that the parent was split into, m²; 0 where it was not.
    pub together_m2: f64,
}

/// Every step by which these plots came from others, all the way back.
pub async fn steps_to(db: &mut SqliteConnection, plots: &[PlotId]) -> Result<Vec<LineStep>> {
    let ids = serde_json::json!(plots).to_string();
    Ok(sqlx::query_as!(
        LineStep,
        r#"with recursive line(parent, child) as (
               select parent, child from plot_lineage where child in (select value from json_each(?))
               union
               select up.parent, up.child from plot_lineage up join line on up.child = line.parent
           )
           select l.parent as "parent: PlotId", l.child as "child: PlotId", l.kind = 'split' as "split!: bool",
                  c.area_m2 as child_m2,
                  (select coalesce(sum(s.area_m2), 0.0) from plot_lineage k join plots s on s.id = k.child
                   where k.parent = l.parent and k.kind = 'split') as "together_m2!: f64"
           from plot_lineage l join line on line.parent = l.parent and line.child = l.child
                join plots c on c.id = l.child
           order by 1, 2"#,
        ids
    )
    .fetch_all(db)
    .await?)
}
