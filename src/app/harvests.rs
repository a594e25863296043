//! What harvests carried away, and the ledger of a plot.

use super::{
    Actor, App, Error, Problems, Result, Role,
    access::found,
    day,
    error::Limits,
    lineage::{self, Lineage, all_applied},
    removals::OwnFigures,
    reports::reason,
    season_totals::SpanForm,
};
use crate::{
    agronomy::{
        amendment::Kind,
        balance::{Books, Input, Ledger, Season},
        crop::Crop,
        element::Element,
        harvest_check,
        offtake::{self, Figures, Harvest, Offtake},
        quantity::SquareMetres,
    },
    exchange::number::Low,
    ids::{HarvestId, PlotId, SeasonId, SiteId},
    store::{self, Change, Read, Subject, harvests::NewHarvest, plots::PlotRow},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use crate::store::harvests::HarvestRow;

/// What is typed about a harvest.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct HarvestForm {
    /// Number of the plot.
    pub plot: String,
    pub harvested_on: String,
    /// Key or name of the crop; not needed where nothing was carried away.
    pub crop: String,
    /// What left the plot, fresh, kg. 0 says that nothing did.
    pub fresh_mass_kg: String,
    /// How many rows of the bed gave that much each; empty where the mass is of the whole plot.
    pub rows: String,
    /// Key of one removal table; empty takes the best known, with the range over all.
    pub table: String,
    /// The grower's own figures by symbol of the element, kg in a tonne fresh; empty ones are left to the tables.
    pub own_kg_per_t: BTreeMap<String, String>,
    /// Where the own figures come from.
    pub own_words: String,
    /// Who harvested; empty is whoever records it.
    pub person_name: String,
    pub note: String,
}

const ROWS: Limits =
    Limits { what: "A number of rows", unit: "", low: Low::AtLeast(1.0), at_most: 1000.0, decimals: 0 };

/// What was harvested on a site between two days.
#[derive(Clone, Debug)]
pub struct SiteHarvests {
    pub from: Date,
    pub to: Date,
    /// Newest first, void entries left out.
    pub rows: Vec<HarvestRow>,
    /// By key of the crop, kg fresh in all.
    pub kg_by_crop: BTreeMap<String, f64>,
}

/// A plot's ledger with the plot it is of.
#[derive(Clone, Debug)]
pub struct PlotLedger {
    pub plot: PlotRow,
    pub books: Books,
    pub ledger: Ledger,
}

/// A form that was read, as far as it can be without the record.
struct Entry {
    plot: PlotId,
    on: Date,
    crop: Option<Crop>,
    mass_kg: f64,
    figures: Figures,
    person_name: String,
    note: String,
}

impl HarvestForm {
    fn read(&self, today: Date) -> Result<Entry> {
        let mut problems = Problems::default();
        let plot = self.plot.trim().parse::<PlotId>().ok();
        if plot.is_none() {
            problems.add("plot", "Choose the plot.");
        }
        let on = problems.past_date("harvested_on", &self.harvested_on, today);
        let each = problems.number("fresh_mass_kg", &self.fresh_mass_kg, &Limits::HARVEST_KG);
        let rows = problems.optional_number("rows", &self.rows, &ROWS);
        let mass = each.map(|each| each * rows.unwrap_or(1.0));
        let crop = crop(&mut problems, self, mass);
        let figures = figures(&mut problems, self);
        problems.none()?;
        Ok(Entry {
            plot: found(plot, "plot")?,
            on: found(on, "date")?,
            crop,
            mass_kg: found(mass, "mass")?,
            figures,
            person_name: self.person_name.trim().to_owned(),
            note: self.note.trim().to_owned(),
        })
    }

    /// The form that a recorded harvest would be typed with.
    pub fn of(row: &HarvestRow) -> HarvestForm {
        let Harvest { harvested_on, crop, mass_kg, figures, .. } = &row.harvest;
        let (table, own, words) = match figures {
            Figures::Tables => (String::new(), BTreeMap::new(), String::new()),
            Figures::Table(table) => (table.clone(), BTreeMap::new(), String::new()),
            Figures::Own { kg_per_t, words } => {
                let own = kg_per_t.iter().map(|(element, value)| (element.symbol().to_owned(), value.to_string()));
                (String::new(), own.collect(), words.clone())
            }
        };
        HarvestForm {
            plot: row.plot.to_string(),
            harvested_on: harvested_on.to_string(),
            crop: crop.clone().unwrap_or_default(),
            fresh_mass_kg: mass_kg.to_string(),
            rows: String::new(),
            table,
            own_kg_per_t: own,
            own_words: words,
            person_name: row.person_name.clone(),
            note: row.note.clone(),
        }
    }
}

impl Entry {
    /// Saves it under the write lock; gives its number and the line of history.
    async fn save(self, write: &mut store::Write, actor: &Actor) -> Result<(HarvestId, Change)> {
        let plot = found(store::plots::plot(write, self.plot).await?, "plot")?;
        if plot.began_on.is_some_and(|began| self.on < began) {
            return Err(Error::invalid("harvested_on", format!("{} did not exist on this day.", plot.code)));
        }
        if let Some(ended) = plot.retired_on.filter(|ended| self.on > *ended) {
            return Err(Error::invalid(
                "harvested_on",
                format!("The record of {} ended on {}.", plot.code, day(ended)),
            ));
        }
        let new = NewHarvest {
            site: plot.site,
            plot: plot.id,
            season: store::harvests::season_of(write, plot.site, self.on).await?,
            crop: self.crop.map(|crop| crop.slug.to_owned()),
            harvested_on: self.on,
            fresh_mass_kg: self.mass_kg,
            figures: self.figures,
            note: self.note,
            person_name: if self.person_name.is_empty() { actor.name.clone() } else { self.person_name },
        };
        let id = store::harvests::insert(write, &new).await?;
        let summary = match self.crop {
            Some(crop) => {
                let (on, crop, mass) = (day(self.on), crop.in_sentence(), self.mass_kg);
                format!("Harvested on {on} from {}: {mass} kg of {crop}.", plot.code)
            }
            None => format!("Nothing was carried away from {} on {}.", plot.code, day(self.on)),
        };
        Ok((id, Change::new(Subject::Harvest(id), "added", summary)))
    }
}

impl App {
    /// Records what was harvested, or that nothing was.
    pub async fn record_harvest(&self, actor: &Actor, form: &HarvestForm) -> Result<HarvestId> {
        actor.may(Role::Recorder)?;
        let entry = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let (id, change) = entry.save(&mut write, actor).await?;
        write.commit(change).await?;
        Ok(id)
    }

    /// Records several at once, all of them or none: each form by the name of its row, which
    /// what is wrong with it is said by: `mass[12]` for the mass of row 12.
    pub async fn record_harvests(
        &self,
        actor: &Actor,
        forms: &BTreeMap<String, HarvestForm>,
    ) -> Result<Vec<HarvestId>> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        if forms.is_empty() {
            problems.add("", "Nothing was saved: write what left at least one plot, or 0 where nothing did.");
        }
        let mut entries = Vec::new();
        for (row, form) in forms {
            match form.read(self.today()) {
                Ok(entry) => entries.push((row, entry)),
                Err(error) => of_row(&mut problems, row, error)?,
            }
        }
        problems.none()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let (mut ids, mut changes, mut problems) = (Vec::new(), Vec::new(), Problems::default());
        for (row, entry) in entries {
            match entry.save(&mut write, actor).await {
                Ok((id, change)) => {
                    ids.push(id);
                    changes.push(change);
                }
                Err(error) => of_row(&mut problems, row, error)?,
            }
        }
        problems.none()?;
        write.commit_all(&changes).await?;
        Ok(ids)
    }

    /// Corrects a harvest: the entry is voided with the reason and the right one recorded, together.
    pub async fn correct_harvest(
        &self,
        actor: &Actor,
        id: HarvestId,
        form: &HarvestForm,
        why: &str,
    ) -> Result<HarvestId> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let entry = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::harvests::find(&mut write, id).await?, "harvest")?;
        if row.voided_at.is_some() {
            return Err(Error::Conflict(
                "This entry was taken back already; correct the one that took its place.".into(),
            ));
        }
        store::harvests::void(&mut write, id, &why).await?;
        let (new, added) = entry.save(&mut write, actor).await?;
        let voided = Change::new(Subject::Harvest(id), "voided", format!("Corrected by a new entry: {why}"));
        write.commit_all(&[voided, added]).await?;
        Ok(new)
    }

    /// Voids a harvest, with a reason.
    pub async fn void_harvest(&self, actor: &Actor, id: HarvestId, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::harvests::find(&mut write, id).await?, "harvest")?;
        store::harvests::void(&mut write, id, &why).await?;
        let Harvest { mass_kg, harvested_on, .. } = row.harvest;
        let summary = format!("The harvest of {mass_kg} kg on {} of {harvested_on} was voided: {why}", row.plot_code);
        Ok(write.commit(Change::new(Subject::Harvest(id), "voided", summary)).await?)
    }

    /// One harvest.
    pub async fn harvest(&self, actor: &Actor, id: HarvestId) -> Result<HarvestRow> {
        actor.may(Role::Reader)?;
        found(store::harvests::find(&mut *self.store.read().await?, id).await?, "harvest")
    }

    /// What may be wrong with the mass of these harvests of one site, as questions; void ones are not
    /// asked about.
    pub async fn harvest_questions(&self, actor: &Actor, rows: &[HarvestRow]) -> Result<BTreeMap<HarvestId, String>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let mut plots: BTreeMap<PlotId, PlotRow> = BTreeMap::new();
        let mut rates: BTreeMap<&str, Vec<(HarvestId, f64)>> = BTreeMap::new();
        let mut asked = BTreeMap::new();
        for row in rows.iter().filter(|row| row.voided_at.is_none()) {
            let Some(crop) = row.harvest.crop.as_deref().and_then(Crop::find) else { continue };
            if !plots.contains_key(&row.plot) {
                plots.insert(row.plot, found(store::plots::plot(&mut read, row.plot).await?, "plot")?);
            }
            if !rates.contains_key(crop.slug) {
                rates.insert(crop.slug, store::harvests::rates_of_crop(&mut read, row.site, crop.slug).await?);
            }
            let (plot, rates) = (&plots[&row.plot], &rates[crop.slug]);
            let others: Vec<f64> = rates.iter().filter(|(id, _)| *id != row.id).map(|(_, rate)| *rate).collect();
            let area = SquareMetres(plot.area_m2);
            let question = harvest_check::question(&crop, row.harvest.mass_kg, area, plot.cover, &others);
            asked.extend(question.map(|question| (row.id, question)));
        }
        Ok(asked)
    }

    /// What was harvested on a plot, newest first; voided entries too where asked.
    pub async fn harvests_of_plot(&self, actor: &Actor, plot: PlotId, voided_too: bool) -> Result<Vec<HarvestRow>> {
        actor.may(Role::Reader)?;
        Ok(store::harvests::of_plot(&mut *self.store.read().await?, plot, voided_too).await?)
    }

    /// What was harvested on a site between two days, newest first.
    pub async fn harvests_of_site(&self, actor: &Actor, site: SiteId, from: Date, to: Date) -> Result<Vec<HarvestRow>> {
        actor.may(Role::Reader)?;
        Ok(store::harvests::of_site(&mut *self.store.read().await?, site, from, to).await?)
    }

    /// What was harvested on a site in a span as typed, newest first, with the total of each crop.
    pub async fn harvests_in_span(&self, actor: &Actor, site: SiteId, span: &SpanForm) -> Result<SiteHarvests> {
        let (from, to) = span.read(self.today())?;
        let rows = self.harvests_of_site(actor, site, from, to).await?;
        let mut kg_by_crop: BTreeMap<String, f64> = BTreeMap::new();
        for Harvest { crop, mass_kg, .. } in rows.iter().map(|row| &row.harvest) {
            if let Some(crop) = crop {
                *kg_by_crop.entry(crop.clone()).or_default() += mass_kg;
            }
        }
        Ok(SiteHarvests { from, to, rows, kg_by_crop })
    }

    /// What a harvest carried away, by the figures in force for it.
    pub async fn offtake_of(&self, actor: &Actor, row: &HarvestRow) -> Result<(SquareMetres, Offtake)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, row.plot).await?, "plot")?;
        let own = OwnFigures::load(&mut read, row.site).await?;
        let area = SquareMetres(plot.area_m2);
        Ok((area, offtake::offtake(&own.for_harvest(row.harvest.clone()), area)))
    }

    /// What grows on each plot of a site in the season that holds a day, void entries left out.
    pub async fn growing(&self, actor: &Actor, site: SiteId, on: Date) -> Result<BTreeMap<PlotId, Vec<String>>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let mut growing: BTreeMap<PlotId, Vec<String>> = BTreeMap::new();
        if let Some(season) = store::harvests::season_of(&mut read, site, on).await? {
            for row in store::plans::croppings(&mut read, season).await? {
                let crops = growing.entry(row.plot).or_default();
                if !crops.contains(&row.crop) {
                    crops.push(row.crop);
                }
            }
        }
        Ok(growing)
    }

    /// What came and went on a plot, season by season and added up.
    pub async fn plot_ledger(&self, actor: &Actor, id: PlotId) -> Result<PlotLedger> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let books = books(&mut read, std::slice::from_ref(&plot), self.today()).await?.remove(&id).unwrap_or_default();
        let ledger = books.ledger();
        Ok(PlotLedger { plot, books, ledger })
    }
}

/// Says what is wrong with one row of several, by fields of that row.
fn of_row(problems: &mut Problems, row: &str, error: Error) -> Result<()> {
    match error {
        Error::Invalid(wrong) => {
            for problem in wrong.0 {
                let field = match problem.field.as_str() {
                    "harvested_on" => "harvested_on".to_owned(),
                    "crop" => format!("crop[{row}]"),
                    _ => format!("mass[{row}]"),
                };
                problems.add(&field, problem.message);
            }
            Ok(())
        }
        other => Err(other),
    }
}

/// The crop of a harvest: needed where something was carried away, and only there.
fn crop(problems: &mut Problems, form: &HarvestForm, mass: Option<f64>) -> Option<Crop> {
    let named = form.crop.trim();
    if mass == Some(0.0) {
        return None;
    }
    let crop = Crop::find(named);
    match crop {
        None if named.is_empty() => problems.add("crop", "Choose the crop, or type 0 kg where nothing left the plot."),
        None => problems.add("crop", format!("“{named}” is not a crop known here.")),
        Some(_) => {}
    }
    crop
}

/// The removal figures that the form asks for.
fn figures(problems: &mut Problems, form: &HarvestForm) -> Figures {
    let mut kg_per_t = BTreeMap::new();
    for (symbol, typed) in form.own_kg_per_t.iter().filter(|(_, typed)| !typed.trim().is_empty()) {
        let field = format!("own_kg_per_t.{symbol}");
        let element = problems.one_of::<Element>(&field, symbol);
        let figure = problems.number(&field, typed, &Limits::KG_PER_T);
        if let (Some(element), Some(figure)) = (element, figure) {
            kg_per_t.insert(element, figure);
        }
    }
    let table = form.table.trim();
    if !table.is_empty() && !offtake::rows().iter().any(|row| row.table == table) {
        problems.add("table", "Choose one of the removal tables.");
    }
    match (kg_per_t.is_empty(), table.is_empty()) {
        (false, _) => Figures::Own { kg_per_t, words: form.own_words.trim().to_owned() },
        (true, false) => Figures::Table(table.to_owned()),
        (true, true) => Figures::Tables,
    }
}

/// What the books of all plots of a site are kept by: its seasons, what grew in them, and its own
/// removal figures. Loaded once for many plots.
pub(super) struct Shelf {
    seasons: Vec<store::plans::SeasonRow>,
    crops: BTreeMap<(PlotId, SeasonId), Vec<String>>,
    own: OwnFigures,
}

impl Shelf {
    pub async fn load(read: &mut Read, site: SiteId) -> Result<Shelf> {
        let seasons = store::plans::seasons(read, site).await?;
        let mut crops: BTreeMap<(PlotId, SeasonId), Vec<String>> = BTreeMap::new();
        for season in &seasons {
            for row in store::plans::croppings(read, season.id).await? {
                crops.entry((row.plot, season.id)).or_default().push(row.crop);
            }
        }
        Ok(Shelf { seasons, crops, own: OwnFigures::load(read, site).await? })
    }

    /// The books of plots, as far as they tell of the days from `from` to `to`: with the share of
    /// what happened on the plots that they were made from, by area as for applications. Seasons
    /// count from when a plot began, or its forerunners did, to when it was given up, and none
    /// that is still to come.
    pub async fn books(
        &self,
        read: &mut Read,
        plots: &[PlotRow],
        (from, to): (Date, Date),
        today: Date,
    ) -> Result<BTreeMap<PlotId, Books>> {
        let ids = lineage::ids(plots);
        let line = Lineage::load(read, &ids).await?;
        let everyone = line.everyone();
        let kinds = store::harvests::kinds_of_applications(read, &everyone, from, to).await?;
        let harvests = store::harvests::of_plots(read, &everyone).await?;
        let mut applied = all_applied(read, &ids, from, to).await?;
        let mut all = BTreeMap::new();
        for plot in plots {
            let has_past = line.before(plot.id).next().is_some();
            let inputs = applied.remove(&plot.id).unwrap_or_default().into_iter().map(|application| {
                // An amendment is always known; a compost would be the cautious reading.
                let kind = kinds.get(&application.key).copied().unwrap_or(Kind::Compost);
                Input { application, kind }
            });
            let mut taken: Vec<Harvest> = Vec::new();
            for (id, share) in line.of(plot.id) {
                let of_one = harvests.get(&id).into_iter().flatten();
                let of_one = of_one.filter(|h| from <= h.harvested_on && h.harvested_on <= to).cloned();
                taken.extend(of_one.map(|h| self.own.for_harvest(Harvest { mass_kg: h.mass_kg * share, ..h })));
            }
            taken.sort_by_key(|harvest| (harvest.harvested_on, harvest.key));
            let existed = |season: &&store::plans::SeasonRow| {
                season.starts_on <= today
                    && (has_past || plot.began_on.is_none_or(|began| began <= season.ends_on))
                    && plot.retired_on.is_none_or(|retired| season.starts_on <= retired)
            };
            let grown = |season: &store::plans::SeasonRow| {
                let who = line.of(plot.id);
                who.filter_map(|(id, _)| self.crops.get(&(id, season.id))).flatten().cloned().collect()
            };
            let seasons = self.seasons.iter().filter(existed).map(|season| Season {
                name: season.name.clone(),
                starts_on: season.starts_on,
                ends_on: season.ends_on,
                crops: grown(season),
                running: season.ends_on >= today,
            });
            let books = Books {
                area: SquareMetres(plot.area_m2),
                inputs: inputs.collect(),
                harvests: taken,
                seasons: seasons.collect(),
            };
            all.insert(plot.id, books);
        }
        Ok(all)
    }
}

/// The whole books of plots of one site, up to today.
pub(super) async fn books(read: &mut Read, plots: &[PlotRow], today: Date) -> Result<BTreeMap<PlotId, Books>> {
    match plots.first() {
        Some(plot) => Shelf::load(read, plot.site).await?.books(read, plots, (Date::MIN, today), today).await,
        None => Ok(BTreeMap::new()),
    }
}
