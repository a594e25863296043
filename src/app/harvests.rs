//! What harvests carried away, the ledger of a plot, and how the forecasts of agreed plans
//! have held.

use super::{
    Actor, App, Error, Problems, Result, Role,
    access::found,
    day,
    error::Limits,
    lineage::{self, Lineage, all_applied},
    reports::reason,
};
use crate::{
    agronomy::{
        amendment::Kind,
        balance::{Books, Input, Ledger, Season},
        crop::Crop,
        element::Element,
        offtake::{self, Figures, Harvest},
        quantity::SquareMetres,
    },
    ids::{HarvestId, PlotId, SiteId},
    store::{self, Change, Read, Subject, harvests::NewHarvest, plots::PlotRow},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use crate::store::harvests::{ForecastRow, HarvestRow};

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

/// A plot's ledger with the plot it is of.
#[derive(Clone, Debug)]
pub struct PlotLedger {
    pub plot: PlotRow,
    pub books: Books,
    pub ledger: Ledger,
}

impl App {
    /// Records what was harvested, or that nothing was.
    pub async fn record_harvest(&self, actor: &Actor, form: &HarvestForm) -> Result<HarvestId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let plot = form.plot.trim().parse::<PlotId>().ok();
        if plot.is_none() {
            problems.add("plot", "Choose the plot.");
        }
        let on = problems.past_date("harvested_on", &form.harvested_on, self.today());
        let mass = problems.number("fresh_mass_kg", &form.fresh_mass_kg, &Limits::HARVEST_KG);
        let crop = crop(&mut problems, form, mass);
        let figures = figures(&mut problems, form);
        problems.none()?;
        let (plot, on, fresh_mass_kg) = (found(plot, "plot")?, found(on, "date")?, found(mass, "mass")?);

        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let plot = found(store::plots::plot(&mut write, plot).await?, "plot")?;
        if plot.began_on.is_some_and(|began| on < began) {
            return Err(Error::invalid("harvested_on", format!("{} did not exist on this day.", plot.code)));
        }
        let named = form.person_name.trim();
        let new = NewHarvest {
            site: plot.site,
            plot: plot.id,
            season: store::harvests::season_of(&mut write, plot.site, on).await?,
            crop: crop.map(|crop| crop.slug.to_owned()),
            harvested_on: on,
            fresh_mass_kg,
            figures,
            note: form.note.trim().to_owned(),
            person_name: if named.is_empty() { actor.name.clone() } else { named.to_owned() },
        };
        let id = store::harvests::insert(&mut write, &new).await?;
        let summary = match crop {
            Some(crop) => {
                let (on, crop) = (day(on), crop.in_sentence());
                format!("Harvested on {on} from {}: {fresh_mass_kg} kg of {crop}.", plot.code)
            }
            None => format!("Nothing was carried away from {} on {}.", plot.code, day(on)),
        };
        write.commit(Change::new(Subject::Harvest(id), "added", summary)).await?;
        Ok(id)
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

    /// What came and went on a plot, season by season and added up.
    pub async fn plot_ledger(&self, actor: &Actor, id: PlotId) -> Result<PlotLedger> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let books = books(&mut read, std::slice::from_ref(&plot), self.today()).await?.remove(&id).unwrap_or_default();
        let ledger = books.ledger();
        Ok(PlotLedger { plot, books, ledger })
    }

    /// The books of every plot of a site in use, for reviews over all of them.
    pub async fn site_books(&self, actor: &Actor, site: SiteId) -> Result<BTreeMap<PlotId, Books>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plots = store::plots::plots(&mut read, site, false).await?;
        books(&mut read, &plots, self.today()).await
    }

    /// What agreed plans expected of the tests of plots, oldest first.
    pub async fn forecasts(&self, actor: &Actor, plots: &[PlotId]) -> Result<Vec<ForecastRow>> {
        actor.may(Role::Reader)?;
        Ok(store::harvests::forecasts_of_plots(&mut *self.store.read().await?, plots).await?)
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

/// The books of plots of one site: with the share of what happened on the plots that they
/// were made from, by area as for applications. Seasons count from when a plot began, or its
/// forerunners did, to when it was given up, and none that is still to come.
pub(super) async fn books(read: &mut Read, plots: &[PlotRow], today: Date) -> Result<BTreeMap<PlotId, Books>> {
    let Some(site) = plots.first().map(|plot| plot.site) else { return Ok(BTreeMap::new()) };
    let ids = lineage::ids(plots);
    let line = Lineage::load(read, &ids).await?;
    let everyone = line.everyone();
    let seasons = store::plans::seasons(read, site).await?;
    let mut crops: BTreeMap<(PlotId, crate::ids::SeasonId), Vec<String>> = BTreeMap::new();
    for season in &seasons {
        for row in store::plans::croppings(read, season.id).await? {
            crops.entry((row.plot, season.id)).or_default().push(row.crop);
        }
    }
    let kinds = store::harvests::kinds_of_applications(read, &everyone).await?;
    let harvests = store::harvests::of_plots(read, &everyone).await?;
    let mut applied = all_applied(read, &ids, Date::MIN, today).await?;
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
            let of_one = harvests.get(&id).into_iter().flatten().cloned();
            taken.extend(of_one.map(|harvest| Harvest { mass_kg: harvest.mass_kg * share, ..harvest }));
        }
        taken.sort_by_key(|harvest| (harvest.harvested_on, harvest.key));
        let existed = |season: &&store::plans::SeasonRow| {
            season.starts_on <= today
                && (has_past || plot.began_on.is_none_or(|began| began <= season.ends_on))
                && plot.retired_on.is_none_or(|retired| season.starts_on <= retired)
        };
        let grown = |season: &store::plans::SeasonRow| {
            let who = line.of(plot.id);
            who.filter_map(|(id, _)| crops.get(&(id, season.id))).flatten().cloned().collect()
        };
        let seasons = seasons.iter().filter(existed).map(|season| Season {
            name: season.name.clone(),
            starts_on: season.starts_on,
            ends_on: season.ends_on,
            crops: grown(season),
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
