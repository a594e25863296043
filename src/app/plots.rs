//! Sites, blocks and plots: adding, editing, retiring, splitting, merging.
//!
//! Forms hold what was typed, as text, so that a form with a problem is shown again
//! exactly as it was left.

use super::{Actor, App, Error, Problems, Result, Role, access::found, day, error::Limits, guidelines};
use crate::{
    agronomy::{
        ground::{Cover, Ground, Texture},
        guideline::LandUse,
        quantity::{Centimetres, GramsPerCm3, LayerConvention, SquareMetres},
    },
    exchange::number::Low,
    ids::{BlockId, PlotId, SiteId},
    store::{self, Change, Subject, Write},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};

pub use crate::store::plots::{BlockRow, LineageRow, PlotRow, SiteRow};
use crate::store::plots::{NewPlot, NewSite};

/// What is typed about a site.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SiteForm {
    pub name: String,
    /// ISO 4217.
    pub currency: String,
    /// Slug; empty until one is chosen.
    pub guideline: String,
    /// `g_per_m2`, `kg_per_ha` or `lb_per_acre`.
    pub rate_unit: String,
    /// Slug of a soil-mass convention; empty computes with each plot's own layer.
    pub layer: String,
    pub scale_step_g: String,
    /// Slugs of the sets of nitrate tests and parts that are not used here.
    pub sets_off: Vec<String>,
    pub note: String,
    pub revision: i64,
}

/// What is typed about a block.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct BlockForm {
    pub name: String,
    pub position: String,
    pub note: String,
    pub revision: i64,
}

/// What is typed about a plot.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PlotForm {
    /// Number of the block; empty for none.
    pub block: String,
    pub name: String,
    pub code: String,
    pub area_m2: String,
    pub cover: String,
    pub texture: String,
    /// g/cm³; empty takes the texture's typical value.
    pub bulk_density: String,
    pub depth_cm: String,
    /// Percent of the volume, as people say it; empty is none.
    pub stones_percent: String,
    /// Key of a use; empty is vegetables.
    pub land_use: String,
    pub began_on: String,
    pub position: String,
    pub note: String,
    pub revision: i64,
}

/// One of the plots that a split makes.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PartForm {
    pub name: String,
    pub code: String,
    pub area_m2: String,
}

/// What is typed to split a plot.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SplitForm {
    pub took_place_on: String,
    pub parts: Vec<PartForm>,
}

/// What is typed to make one plot of several.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct MergeForm {
    /// Numbers of the plots that become one.
    pub parents: Vec<String>,
    pub took_place_on: String,
    /// The new plot; its area may be left empty for the sum of the old ones.
    pub plot: PlotForm,
}

impl From<&SiteRow> for SiteForm {
    fn from(row: &SiteRow) -> Self {
        SiteForm {
            name: row.name.clone(),
            currency: row.currency.clone(),
            guideline: row.guideline.clone().unwrap_or_default(),
            rate_unit: row.rate_unit.clone(),
            layer: row.layer.clone().unwrap_or_default(),
            scale_step_g: row.scale_step_g.to_string(),
            sets_off: row.sets_off.split_whitespace().map(str::to_owned).collect(),
            note: row.note.clone(),
            revision: row.revision,
        }
    }
}

impl From<&BlockRow> for BlockForm {
    fn from(row: &BlockRow) -> Self {
        BlockForm {
            name: row.name.clone(),
            position: row.position.to_string(),
            note: row.note.clone(),
            revision: row.revision,
        }
    }
}

impl From<&PlotRow> for PlotForm {
    fn from(row: &PlotRow) -> Self {
        let text = |value: Option<f64>| value.map_or_else(String::new, |v| v.to_string());
        PlotForm {
            block: row.block.map_or_else(String::new, |id| id.to_string()),
            name: row.name.clone(),
            code: row.code.clone(),
            area_m2: row.area_m2.to_string(),
            cover: row.cover.slug().into(),
            texture: row.texture.slug().into(),
            bulk_density: text(row.bulk_density),
            depth_cm: row.depth_cm.to_string(),
            stones_percent: text((row.stones > 0.0).then_some(row.stones * 100.0)),
            land_use: row.land_use.slug().into(),
            began_on: row.began_on.map_or_else(String::new, |day| day.to_string()),
            position: row.position.to_string(),
            note: row.note.clone(),
            revision: row.revision,
        }
    }
}

/// The finest step that a scale for doses may have, g.
const SCALE_STEP: Limits =
    Limits { what: "A scale’s step", unit: "g", low: Low::Above(0.0), at_most: 100_000.0, decimals: 3 };
/// More stones than this is not a bed, % of the volume.
const STONES: Limits =
    Limits { what: "The share of stones", unit: "%", low: Low::AtLeast(0.0), at_most: 95.0, decimals: 2 };

impl SiteForm {
    /// Reads the form, or says what is wrong with it.
    pub fn read(&self) -> Result<NewSite> {
        let mut problems = Problems::default();
        let name = problems.text("name", &self.name, 200, "Give the site a name.");
        let currency = self.currency.trim().to_uppercase();
        if currency.len() != 3 || !currency.bytes().all(|b| b.is_ascii_uppercase()) {
            problems.add("currency", "Give the currency as its three letters, such as EUR.");
        }
        let rate_unit = match self.rate_unit.trim() {
            "" => "g_per_m2",
            unit @ ("g_per_m2" | "kg_per_ha" | "lb_per_acre") => unit,
            other => {
                problems.add("rate_unit", format!("“{other}” is not a unit for rates."));
                other
            }
        };
        let layer = Some(self.layer.trim().to_owned()).filter(|slug| !slug.is_empty());
        if layer.as_ref().is_some_and(|slug| LayerConvention::find(slug).is_none()) {
            problems.add("layer", format!("“{}” is not a soil-mass convention known here.", self.layer.trim()));
        }
        let scale_step_g = if self.scale_step_g.trim().is_empty() {
            Some(1.0)
        } else {
            problems.number("scale_step_g", &self.scale_step_g, &SCALE_STEP)
        };
        let slug = |b: u8| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_';
        if self.sets_off.iter().any(|set| set.is_empty() || !set.bytes().all(slug)) {
            problems.add("sets_off", "Choose from the list what is not used here.");
        }
        problems.none()?;
        Ok(NewSite {
            name,
            currency,
            invented: false,
            guideline: Some(self.guideline.trim().to_owned()).filter(|slug| !slug.is_empty()),
            rate_unit: rate_unit.to_owned(),
            layer,
            scale_step_g: scale_step_g.unwrap_or(1.0),
            sets_off: self.sets_off.join(" "),
            note: self.note.trim().to_owned(),
        })
    }
}

impl PlotForm {
    /// Reads the form, or says what is wrong with it.
    pub fn read(&self, today: Date) -> Result<NewPlot> {
        let mut problems = Problems::default();
        let code = problems.text("code", &self.code, 20, "Give the plot a short code, as on its peg.");
        let name = if self.name.trim().is_empty() { code.clone() } else { problems.text("name", &self.name, 200, "") };
        let block = Some(self.block.trim()).filter(|b| !b.is_empty()).and_then(|b| {
            b.parse::<BlockId>().map_err(|_| problems.add("block", "Choose a block from the list.")).ok()
        });
        let area = problems.number("area_m2", &self.area_m2, &Limits::AREA_M2);
        let cover = problems.one_of::<Cover>("cover", if self.cover.trim().is_empty() { "open" } else { &self.cover });
        if self.texture.trim().is_empty() {
            problems.add("texture", "Choose the texture that fits best.");
        }
        let texture =
            Some(&self.texture).filter(|t| !t.trim().is_empty()).and_then(|t| problems.one_of::<Texture>("texture", t));
        let bulk_density = problems.optional_number("bulk_density", &self.bulk_density, &Limits::BULK_DENSITY);
        let depth = problems.number("depth_cm", &self.depth_cm, &Limits::DEPTH_CM);
        let stones = problems.optional_number("stones_percent", &self.stones_percent, &STONES).unwrap_or(0.0);
        let land_use = match self.land_use.trim() {
            "" => Some(LandUse::default()),
            typed => problems.one_of::<LandUse>("land_use", typed),
        };
        let began_on = problems.optional_date("began_on", &self.began_on, today);
        let position = position(&mut problems, &self.position);
        problems.none()?;
        let (Some(area), Some(cover), Some(texture), Some(depth), Some(land_use)) =
            (area, cover, texture, depth, land_use)
        else {
            return Err(Error::Internal("a checked form without its values".into()));
        };
        let ground = Ground {
            area: SquareMetres(area),
            cover,
            texture,
            bulk_density: bulk_density.map(GramsPerCm3),
            depth: Centimetres(depth),
            stones: stones / 100.0,
        };
        Ok(NewPlot { block, name, code, ground, land_use, began_on, position, note: self.note.trim().to_owned() })
    }
}

fn position(problems: &mut Problems, typed: &str) -> i64 {
    let typed = typed.trim();
    if typed.is_empty() {
        return 0;
    }
    typed.parse::<i32>().map(i64::from).unwrap_or_else(|_| {
        problems.add("position", "The place in the order is a whole number.");
        0
    })
}

/// Refuses a guideline that is not here: every page of the site would fail.
async fn known_guideline(db: &mut store::Db, site: &NewSite) -> Result<()> {
    match &site.guideline {
        Some(key) if guidelines::find(db, key, None).await?.is_none() => {
            Err(Error::invalid("guideline", "Choose a guideline from the list."))
        }
        _ => Ok(()),
    }
}

impl App {
    /// Every site, by name.
    pub async fn sites(&self, actor: &Actor) -> Result<Vec<SiteRow>> {
        actor.may(Role::Reader)?;
        Ok(store::plots::sites(&mut *self.store.read().await?).await?)
    }

    /// One site.
    pub async fn site(&self, actor: &Actor, id: SiteId) -> Result<SiteRow> {
        actor.may(Role::Reader)?;
        found(store::plots::site(&mut *self.store.read().await?, id).await?, "site")
    }

    /// Adds a site.
    pub async fn add_site(&self, actor: &Actor, form: &SiteForm) -> Result<SiteId> {
        actor.may(Role::Steward)?;
        self.add_new_site(actor, form.read()?).await
    }

    /// Adds a site that is demonstration data and says so.
    pub async fn add_invented_site(&self, actor: &Actor, form: &SiteForm) -> Result<SiteId> {
        actor.may(Role::Steward)?;
        self.add_new_site(actor, NewSite { invented: true, ..form.read()? }).await
    }

    async fn add_new_site(&self, actor: &Actor, site: NewSite) -> Result<SiteId> {
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        known_guideline(&mut write, &site).await?;
        let id = store::plots::insert_site(&mut write, &site).await.map_err(taken("name", &site.name))?;
        write.commit(Change::new(Subject::Site(id), "added", format!("The site {} was added.", site.name))).await?;
        Ok(id)
    }

    /// Changes a site.
    pub async fn edit_site(&self, actor: &Actor, id: SiteId, form: &SiteForm) -> Result<()> {
        actor.may(Role::Steward)?;
        let mut site = form.read()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let before = found(store::plots::site(&mut write, id).await?, "site")?;
        site.invented = before.invented;
        known_guideline(&mut write, &site).await?;
        store::plots::update_site(&mut write, id, form.revision, &site).await.map_err(taken("name", &site.name))?;
        let change = Change::new(Subject::Site(id), "edited", format!("The site {} was edited.", site.name))
            .with(serde_json::json!({ "before": SiteForm::from(&before), "after": form }));
        Ok(write.commit(change).await?)
    }

    /// The blocks of a site, in the grower's order.
    pub async fn blocks(&self, actor: &Actor, site: SiteId) -> Result<Vec<BlockRow>> {
        actor.may(Role::Reader)?;
        Ok(store::plots::blocks(&mut *self.store.read().await?, site).await?)
    }

    /// One block.
    pub async fn block(&self, actor: &Actor, id: BlockId) -> Result<BlockRow> {
        actor.may(Role::Reader)?;
        found(store::plots::block(&mut *self.store.read().await?, id).await?, "block")
    }

    /// Adds a block to a site.
    pub async fn add_block(&self, actor: &Actor, site: SiteId, form: &BlockForm) -> Result<BlockId> {
        actor.may(Role::Steward)?;
        let (name, position) = form.read()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::plots::site(&mut write, site).await?, "site")?;
        let id = store::plots::insert_block(&mut write, site, &name, position, form.note.trim())
            .await
            .map_err(taken("name", &name))?;
        write.commit(Change::new(Subject::Block(id), "added", format!("The block {name} was added."))).await?;
        Ok(id)
    }

    /// Changes a block.
    pub async fn edit_block(&self, actor: &Actor, id: BlockId, form: &BlockForm) -> Result<()> {
        actor.may(Role::Steward)?;
        let (name, position) = form.read()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let before = found(store::plots::block(&mut write, id).await?, "block")?;
        store::plots::update_block(&mut write, id, form.revision, &name, position, form.note.trim())
            .await
            .map_err(taken("name", &name))?;
        let change = Change::new(Subject::Block(id), "edited", format!("The block {name} was edited."))
            .with(serde_json::json!({ "before": BlockForm::from(&before), "after": form }));
        Ok(write.commit(change).await?)
    }

    /// The plots of a site by block, position and code; the retired ones too where asked.
    pub async fn plots(&self, actor: &Actor, site: SiteId, retired_too: bool) -> Result<Vec<PlotRow>> {
        actor.may(Role::Reader)?;
        Ok(store::plots::plots(&mut *self.store.read().await?, site, retired_too).await?)
    }

    /// One plot.
    pub async fn plot(&self, actor: &Actor, id: PlotId) -> Result<PlotRow> {
        actor.may(Role::Reader)?;
        found(store::plots::plot(&mut *self.store.read().await?, id).await?, "plot")
    }

    /// A plot, those that it was made from, all the way back, and those that were made of it.
    pub async fn kin(&self, actor: &Actor, id: PlotId) -> Result<Vec<PlotRow>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let lineage = store::plots::lineage(&mut read, id).await?;
        let mut ids: Vec<PlotId> = lineage.iter().flat_map(|row| [row.parent, row.child]).chain([id]).collect();
        ids.sort_unstable();
        ids.dedup();
        let mut kin = Vec::with_capacity(ids.len());
        for id in ids {
            kin.extend(store::plots::plot(&mut read, id).await?);
        }
        Ok(kin)
    }

    /// The plots this one came from, to the first, and those that it became.
    pub async fn lineage(&self, actor: &Actor, id: PlotId) -> Result<Vec<LineageRow>> {
        actor.may(Role::Reader)?;
        Ok(store::plots::lineage(&mut *self.store.read().await?, id).await?)
    }

    /// Adds a plot to a site.
    pub async fn add_plot(&self, actor: &Actor, site: SiteId, form: &PlotForm) -> Result<PlotId> {
        actor.may(Role::Recorder)?;
        let plot = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::plots::site(&mut write, site).await?, "site")?;
        let id = insert(&mut write, site, &plot).await?;
        write.commit(Change::new(Subject::Plot(id), "added", format!("The plot {} was added.", titled(&plot)))).await?;
        Ok(id)
    }

    /// Changes a plot.
    pub async fn edit_plot(&self, actor: &Actor, id: PlotId, form: &PlotForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let plot = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let before = found(store::plots::plot(&mut write, id).await?, "plot")?;
        check_block(&mut write, before.site, plot.block).await?;
        store::plots::update_plot(&mut write, id, form.revision, &plot).await.map_err(taken("code", &plot.code))?;
        let change = Change::new(Subject::Plot(id), "edited", format!("The plot {} was edited.", titled(&plot)))
            .with(serde_json::json!({ "before": PlotForm::from(&before), "after": form }));
        Ok(write.commit(change).await?)
    }

    /// Ends a plot on a day. Its record stays.
    pub async fn retire_plot(&self, actor: &Actor, id: PlotId, on: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let on = problems.past_date("retired_on", on, self.today());
        problems.none()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let plot = found(store::plots::plot(&mut write, id).await?, "plot")?;
        store::plots::set_retired(&mut write, id, on).await?;
        let day = on.map_or_else(String::new, |day| format!(" from {day}"));
        let summary = format!("The plot {} ({}) is no longer worked{day}.", plot.name, plot.code);
        Ok(write.commit(Change::new(Subject::Plot(id), "retired", summary)).await?)
    }

    /// Takes a retired plot back into use.
    pub async fn reopen_plot(&self, actor: &Actor, id: PlotId) -> Result<()> {
        actor.may(Role::Recorder)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let plot = found(store::plots::plot(&mut write, id).await?, "plot")?;
        store::plots::set_retired(&mut write, id, None).await?;
        let summary = format!("The plot {} ({}) is worked again.", plot.name, plot.code);
        Ok(write.commit(Change::new(Subject::Plot(id), "reopened", summary)).await?)
    }

    /// Makes several plots of one. The parts keep its ground and its past; the old plot
    /// is retired that day.
    pub async fn split_plot(&self, actor: &Actor, id: PlotId, form: &SplitForm) -> Result<Vec<PlotId>> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let on = problems.past_date("took_place_on", &form.took_place_on, self.today());
        if form.parts.len() < 2 {
            problems.add("parts", "A split makes two plots or more.");
        }
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let parent = found(store::plots::plot(&mut write, id).await?, "plot")?;
        still_worked(&parent)?;
        let mut parts = Vec::new();
        for (i, part) in form.parts.iter().enumerate() {
            let typed = PlotForm {
                name: part.name.clone(),
                code: part.code.clone(),
                area_m2: part.area_m2.clone(),
                began_on: form.took_place_on.clone(),
                ..PlotForm::from(&parent)
            };
            match typed.read(self.today()) {
                Ok(plot) => parts.push(plot),
                Err(Error::Invalid(wrong)) => {
                    wrong.0.into_iter().for_each(|p| problems.add(&format!("parts.{i}.{}", p.field), p.message));
                }
                Err(other) => return Err(other),
            }
        }
        let area: f64 = parts.iter().map(|part| part.ground.area.0).sum();
        fits(&mut problems, "parts", area, parent.area_m2);
        problems.none()?;
        let on = found(on, "date")?;
        store::plots::set_retired(&mut write, id, Some(on)).await?;
        let mut made = Vec::new();
        let mut changes = Vec::new();
        for part in &parts {
            let child = insert(&mut write, parent.site, part).await?;
            store::plots::insert_lineage(&mut write, id, child, on, "split").await?;
            let summary =
                format!("The plot {} was split off {} ({}) on {}.", titled(part), parent.name, parent.code, day(on));
            changes.push(Change::new(Subject::Plot(child), "added", summary));
            made.push(child);
        }
        let codes: Vec<_> = parts.iter().map(|part| part.code.as_str()).collect();
        let summary =
            format!("The plot {} ({}) was split into {} on {}.", parent.name, parent.code, codes.join(", "), day(on));
        changes.push(Change::new(Subject::Plot(id), "split", summary));
        write.commit_all(&changes).await?;
        Ok(made)
    }

    /// Makes one plot of several, which are retired that day. The new plot has the past of all.
    pub async fn merge_plots(&self, actor: &Actor, form: &MergeForm) -> Result<PlotId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let on = problems.past_date("took_place_on", &form.took_place_on, self.today());
        let mut ids: Vec<PlotId> = form.parents.iter().filter_map(|id| id.trim().parse().ok()).collect();
        ids.sort();
        ids.dedup();
        if ids.len() < 2 {
            problems.add("parents", "Choose two plots or more to make one of.");
        }
        problems.none()?;
        let on = found(on, "date")?;
        let mut problems = Problems::default();
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let mut parents = Vec::new();
        for id in &ids {
            let parent = found(store::plots::plot(&mut write, *id).await?, "plot")?;
            still_worked(&parent)?;
            parents.push(parent);
        }
        let site = parents[0].site;
        if parents.iter().any(|parent| parent.site != site) {
            problems.add("parents", "Plots of different sites cannot become one.");
        }
        let area: f64 = parents.iter().map(|parent| parent.area_m2).sum();
        let mut typed = PlotForm { began_on: form.took_place_on.clone(), ..form.plot.clone() };
        if typed.area_m2.trim().is_empty() {
            typed.area_m2 = area.to_string();
        }
        let plot = typed.read(self.today())?;
        fits(&mut problems, "area_m2", plot.ground.area.0, area);
        problems.none()?;
        let child = insert(&mut write, site, &plot).await?;
        let mut changes = Vec::new();
        for parent in &parents {
            store::plots::set_retired(&mut write, parent.id, Some(on)).await?;
            store::plots::insert_lineage(&mut write, parent.id, child, on, "merge").await?;
            let summary =
                format!("The plot {} ({}) became part of {} on {}.", parent.name, parent.code, titled(&plot), day(on));
            changes.push(Change::new(Subject::Plot(parent.id), "merged", summary));
        }
        let codes: Vec<_> = parents.iter().map(|parent| parent.code.as_str()).collect();
        let summary = format!("The plot {} was made of {} on {}.", titled(&plot), codes.join(", "), day(on));
        changes.push(Change::new(Subject::Plot(child), "added", summary));
        write.commit_all(&changes).await?;
        Ok(child)
    }
}

impl BlockForm {
    fn read(&self) -> Result<(String, i64)> {
        let mut problems = Problems::default();
        let name = problems.text("name", &self.name, 200, "Give the block a name.");
        let position = position(&mut problems, &self.position);
        problems.none()?;
        Ok((name, position))
    }
}

fn titled(plot: &NewPlot) -> String {
    if plot.name == plot.code { plot.code.clone() } else { format!("{} ({})", plot.name, plot.code) }
}

/// Parts may lose ground to paths, but not win any beyond a measuring error of 2 %.
fn fits(problems: &mut Problems, field: &str, new_m2: f64, old_m2: f64) {
    if new_m2 > old_m2 * 1.02 {
        problems.add(field, format!("{new_m2:.1} m² is more than the {old_m2:.1} m² there are."));
    }
}

fn still_worked(plot: &PlotRow) -> Result<()> {
    match plot.retired_on {
        None => Ok(()),
        Some(on) => Err(Error::Conflict(format!(
            "The plot {} ({}) is no longer worked since {}.",
            plot.name,
            plot.code,
            day(on)
        ))),
    }
}

async fn check_block(write: &mut Write, site: SiteId, block: Option<BlockId>) -> Result<()> {
    let Some(block) = block else { return Ok(()) };
    match store::plots::block(write, block).await? {
        Some(row) if row.site == site => Ok(()),
        _ => Err(Error::invalid("block", "Choose a block of this site.")),
    }
}

async fn insert(write: &mut Write, site: SiteId, plot: &NewPlot) -> Result<PlotId> {
    check_block(write, site, plot.block).await?;
    store::plots::insert_plot(write, site, plot).await.map_err(taken("code", &plot.code))
}

/// Says by the field that a name is taken; any other failure stays what it is.
fn taken(field: &'static str, name: &str) -> impl FnOnce(store::Error) -> Error {
    let message = format!("“{name}” is taken already.");
    move |error| if error.is_duplicate() { Error::invalid(field, message) } else { error.into() }
}
