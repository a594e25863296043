//! The demonstration garden: Quillow Holt, which does not exist.
//!
//! Its record is told through the same doors as anybody's: files taken in by the importer,
//! forms filled in by people. Everything in it is invented, and every page says so. The
//! same day gives the same record.

mod garden;
mod sheets;
mod soil;
mod story;

use super::{
    Actor, App, Error, Result,
    access::found,
    amendments::PackForm,
    applications::ApplicationForm,
    import::ImportInto,
    people::PersonForm,
    plots::{PartForm, SiteForm, SplitForm},
    removals::RemovalForm,
    seasons::{DoseForm, PlanForm, Sold},
};
use crate::{
    clock::Clock,
    exchange::record_set::{self, RecordSet},
    ids::SiteId,
};
use jiff::{
    civil::{Date, date},
    tz::TimeZone,
};
use std::collections::{BTreeMap, BTreeSet};
use story::{Event, PastPlan};

/// Name of the invented site.
pub const SITE: &str = "Quillow Holt Market Garden (invented)";
/// What every page says beside it.
pub const REMARK: &str = "Invented for demonstration: no such garden, people, laboratories or prices exist.";
/// Who may sign in to look around as a steward.
pub const LOGIN: &str = "ines";
/// Everybody's password in the demonstration. Printed on the terminal, so it protects nothing.
pub const PASSWORD: &str = "quillow holt demo";

const CURRENCY: &str = "GBP";
/// What the invented growers go by.
const GUIDELINE: &str = "extension_sufficiency";
/// Blocks that this season's plan is for.
const PLANNED_BLOCKS: [&str; 4] = ["Orchard Side", "Brook Ground", "Kiln East", "Kiln West"];
/// Products that it may use, by their keys in the catalogue.
const PLANNED_PRODUCTS: &[&str] = &[
    "sulfate_of_potash",
    "langbeinite",
    "kieserite",
    "epsom_salt",
    "rock_phosphate",
    "pelleted_poultry",
    "borax",
    "zinc_sulfate_mono",
];

/// Name, login and role of the invented people beside the steward.
const PEOPLE: [(&str, &str, &str); 2] = [("Tobias Fennick", "tobias", "recorder"), ("Maud Carrow", "maud", "reader")];

/// What the invented merchants ask and what is left in the shed: key in the catalogue, pack
/// in kg, price, kg left.
const SHED: &[(&str, &str, &str, &str)] = &[
    ("sulfate_of_potash", "25", "38.50", "1.2"),
    ("sulfate_of_potash", "5", "11.90", ""),
    ("langbeinite", "25", "34.00", "9"),
    ("kieserite", "25", "21.80", "7.5"),
    ("epsom_salt", "25", "24.60", "3.4"),
    ("epsom_salt", "2", "4.95", ""),
    ("ground_limestone", "25", "6.20", "50"),
    ("dolomitic_limestone", "25", "6.90", "0"),
    ("pelleted_poultry", "20", "13.40", "30"),
    ("feather_meal", "20", "29.80", "4"),
    ("rock_phosphate", "25", "22.50", "0"),
    ("gypsum", "20", "9.80", "0"),
    ("borax", "1", "7.20", "0.62"),
    ("zinc_sulfate_mono", "1", "8.40", "0.8"),
    ("copper_sulfate", "1", "11.60", "1"),
    ("manganese_sulfate", "1", "7.90", "0.45"),
    ("green_compost", "1000", "42.00", ""),
    ("kelp_meal", "20", "38.00", "12"),
];

/// Who sells most of it, and who the rest.
const STORE: &str = "Nether Quillow Growers’ Store (invented)";
const OTHER_STORES: &[(&str, &str)] =
    &[("green_compost", "Withy Lane Compost (invented)"), ("kelp_meal", "Saltings Seaweed (invented)")];

impl App {
    /// Fills an empty record with the invented garden; `false` where it is there already.
    ///
    /// A record that somebody uses for anything else is left alone, with [`Error::Conflict`].
    pub async fn invent_garden(&self) -> Result<bool> {
        let Some(link) = self.setup_link().await? else {
            let steward = match self.sign_in(LOGIN, PASSWORD).await {
                Ok(session) => self.session(session.secret()).await?,
                Err(_) => None,
            };
            let sites = match &steward {
                Some(steward) => self.sites(steward).await?,
                None => vec![],
            };
            if sites.iter().any(|site| site.invented && site.name == SITE) {
                return Ok(false);
            }
            return Err(Error::Conflict(
                "This record is in use. The demonstration garden needs one of its own: leave out --data, or name an \
                 empty folder."
                    .into(),
            ));
        };
        let session = self.set_up(link.secret(), "Ines Quarrell", LOGIN, PASSWORD).await?;
        let steward = found(self.session(session.secret()).await?, "person")?;
        self.sign_out(session.secret()).await?;
        for (name, login, role) in PEOPLE {
            let [name, login, role, password] = [name, login, role, PASSWORD].map(str::to_owned);
            self.add_person(&steward, &PersonForm { name, login, password, role }).await?;
        }
        let today = self.today();
        let story = story::story(today);
        let form = SiteForm {
            name: SITE.to_owned(),
            currency: CURRENCY.to_owned(),
            guideline: GUIDELINE.to_owned(),
            rate_unit: "g_per_m2".to_owned(),
            scale_step_g: "1".to_owned(),
            note: "An invented market garden in the invented parish of Nether Quillow. Forty beds, two tunnels on the \
                   spread of an old lime-kiln, one sour block down by the brook."
                .to_owned(),
            ..SiteForm::default()
        };
        let site = self.add_invented_site(&steward, &form).await?;
        self.seed_catalogue(&steward, date(story::last_sampling(today) - story::SEASONS - 1, 1, 1)).await?;
        for (crop, figures) in story::OWN_REMOVALS {
            let kg_per_t = figures.iter().map(|(element, figure)| (element.symbol().to_owned(), (*figure).to_owned()));
            let source = "Own crop, two samples, Marl & Fenner (invented)".to_owned();
            let form = RemovalForm { kg_per_t: kg_per_t.collect(), source };
            self.set_own_removal(&steward, site, crop, &form).await?;
        }
        for event in &story.events {
            match event {
                Event::TakeIn(set) => self.take_in(&steward, set).await?,
                Event::Split(on) => self.split_bed(&steward, site, on.to_string()).await?,
                Event::Plan(plan) => self.past_plan(&steward, site, plan).await?,
            }
        }
        self.stock_the_shed(&steward).await?;
        self.half_a_plan(&steward, site, &story.season).await?;
        Ok(true)
    }

    /// The same record on an earlier day.
    fn on(&self, day: Date) -> App {
        let noon = TimeZone::UTC.to_timestamp(day.at(12, 0, 0, 0)).unwrap_or_else(|_| self.now());
        App { clock: Clock::Fixed(noon), ..self.clone() }
    }

    /// A plan of an earlier spring: agreed on its day, put on as planned, closed in autumn.
    async fn past_plan(&self, steward: &Actor, site: SiteId, plan: &PastPlan) -> Result<()> {
        let then = self.on(plan.agreed_on);
        let season = self.seasons(steward, site).await?.into_iter().find(|row| row.name == plan.season);
        let season = found(season, "season")?;
        let plots: BTreeMap<String, _> =
            self.plots(steward, site, false).await?.into_iter().map(|plot| (plot.code, plot.id)).collect();
        let products: BTreeMap<String, _> = self
            .amendments(steward, false)
            .await?
            .into_iter()
            .filter_map(|row| Some((row.catalogue.clone()?, row.id)))
            .filter(|(slug, _)| plan.doses.iter().any(|dose| dose.slug == slug))
            .collect();
        let beds: Vec<_> = plan.beds.iter().filter_map(|code| plots.get(code).copied()).collect();
        let form = PlanForm {
            name: format!("Potash and magnesium {}", plan.season),
            guideline: GUIDELINE.to_owned(),
            plots: beds.iter().map(ToString::to_string).collect(),
            products: products.values().map(ToString::to_string).collect(),
            sold: Sold::Loose.key().to_owned(),
            ..PlanForm::default()
        };
        let id = then.add_plan(steward, season.id, &form).await?;
        let mut grams: BTreeMap<String, String> = BTreeMap::new();
        for (bed, product) in beds.iter().flat_map(|bed| products.values().map(move |product| (*bed, *product))) {
            grams.insert(DoseForm::grams_field(bed, product), "0".to_owned());
        }
        let mut days = BTreeMap::new();
        for dose in &plan.doses {
            let (bed, product) = (*found(plots.get(&dose.bed), "plot")?, *found(products.get(dose.slug), "amendment")?);
            grams.insert(DoseForm::grams_field(bed, product), dose.mass_g.to_string());
            days.insert((bed, product), dose.on);
        }
        let typed = grams.iter().map(|(field, typed)| (field.as_str(), typed.as_str()));
        then.save_doses(steward, id, &DoseForm::from_fields(typed)).await?;
        then.agree_plan(steward, id).await?;
        for dose in self.plan(steward, id).await?.plots.iter().flat_map(|plot| &plot.doses) {
            if let (Some(dose_id), Some(on)) = (dose.id, days.get(&(dose.plot, dose.amendment))) {
                self.on(*on).record_as_planned(steward, dose_id, &on.to_string()).await?;
            }
        }
        self.on(plan.closed_on).close_plan(steward, id).await
    }

    /// Takes a set in through the importer, whose problems would be mistakes of the story.
    async fn take_in(&self, steward: &Actor, set: &RecordSet) -> Result<()> {
        let into = ImportInto { site: SITE.to_owned(), currency: CURRENCY.to_owned() };
        let told = self.accept_import(Some(steward), &into, record_set::write(set)).await?;
        match told.problems.first() {
            None => Ok(()),
            Some(problem) => Err(Error::Internal(format!("the demonstration garden is wrong: {problem}"))),
        }
    }

    async fn split_bed(&self, steward: &Actor, site: SiteId, took_place_on: String) -> Result<()> {
        let (code, halves) = story::SPLIT;
        let plots = self.plots(steward, site, false).await?;
        let parent = found(plots.into_iter().find(|plot| plot.code == code), "plot")?;
        let area_m2 = ((parent.area_m2 * 5.0).floor() / 10.0).to_string();
        let part = |half: &str, name: &str| PartForm {
            code: half.to_owned(),
            name: format!("{} {name}", parent.name),
            area_m2: area_m2.clone(),
        };
        let parts = vec![part(halves[0], "upper half"), part(halves[1], "lower half")];
        self.split_plot(steward, parent.id, &SplitForm { took_place_on, parts }).await?;
        Ok(())
    }

    /// The plan of the season that runs, agreed, with every second of its doses put on; the
    /// first of them came out a little short, as happens.
    async fn half_a_plan(&self, steward: &Actor, site: SiteId, season: &str) -> Result<()> {
        let season = found(self.seasons(steward, site).await?.into_iter().find(|row| row.name == season), "season")?;
        let in_plan = |block: Option<&str>| block.is_some_and(|name| PLANNED_BLOCKS.contains(&name));
        let plots = self.plots(steward, site, false).await?.into_iter();
        let amendments = self.amendments(steward, false).await?.into_iter();
        let form = PlanForm {
            name: format!("All but Long Field {}", season.name),
            guideline: GUIDELINE.to_owned(),
            plots: plots.filter(|plot| in_plan(plot.block_name.as_deref())).map(|plot| plot.id.to_string()).collect(),
            products: amendments
                .filter(|row| row.catalogue.as_deref().is_some_and(|slug| PLANNED_PRODUCTS.contains(&slug)))
                .map(|row| row.id.to_string())
                .collect(),
            ..PlanForm::default()
        };
        let plan = self.add_plan(steward, season.id, &form).await?;
        self.agree_plan(steward, plan).await?;
        let view = self.plan(steward, plan).await?;
        let doses = view.plots.iter().flat_map(|plot| &plot.doses).filter(|dose| dose.mass_g > 0.0);
        for (n, dose) in doses.step_by(2).enumerate() {
            let Some(id) = dose.id else { continue };
            if n > 0 {
                self.record_as_planned(steward, id, "").await?;
                continue;
            }
            let form = ApplicationForm {
                plot: dose.plot.to_string(),
                applied_on: self.today().to_string(),
                amendment: dose.amendment.to_string(),
                mass_g: (dose.mass_g * 0.9).round().max(1.0).to_string(),
                dose: id.to_string(),
                note: "The bag ran out.".to_owned(),
                ..ApplicationForm::default()
            };
            self.record_application(steward, &form).await?;
        }
        Ok(())
    }

    /// Packs with invented prices, and what a look into the shed found.
    async fn stock_the_shed(&self, steward: &Actor) -> Result<()> {
        let today = self.today().to_string();
        let ids: BTreeMap<_, _> = self
            .amendments(steward, false)
            .await?
            .into_iter()
            .filter_map(|row| Some((row.catalogue.clone()?, row.id)))
            .collect();
        // The catalogue's own packs have no price; where a merchant names one, they go.
        let unpriced = self.packs(steward).await?;
        let priced: BTreeSet<_> = SHED.iter().filter_map(|(slug, ..)| ids.get(*slug)).collect();
        for pack in unpriced.iter().filter(|(id, _)| priced.contains(id)).flat_map(|(_, packs)| packs) {
            self.archive_pack(steward, pack.id).await?;
        }
        for (slug, pack_kg, price, left_kg) in SHED {
            let id = *found(ids.get(*slug), "amendment")?;
            let form = PackForm {
                mass_kg: (*pack_kg).to_owned(),
                price: (*price).to_owned(),
                currency: CURRENCY.to_owned(),
                supplier: OTHER_STORES.iter().find(|(of, _)| of == slug).map_or(STORE, |(_, store)| store).to_owned(),
                ..PackForm::default()
            };
            self.add_pack(steward, id, &form).await?;
            if !left_kg.is_empty() {
                self.count_stock(steward, id, &today, left_kg).await?;
            }
        }
        Ok(())
    }
}
