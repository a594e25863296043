//! A grower's own removal figures: kept beside the published ones, in force until a newer
//! analysis, with where they come from. Ledgers go by those in force; nothing is forgotten.

use super::{Actor, App, Error, Problems, Result, Role, access::found, error::Limits, reports::reason};
use crate::{
    agronomy::{
        crop::Crop,
        element::Element,
        offtake::{Figures, Harvest},
    },
    ids::SiteId,
    store::{self, Change, Db, Subject},
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use crate::store::years::OwnRemoval;

/// What is typed about a crop's own figures.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct RemovalForm {
    /// By symbol of the element, kg in a tonne fresh; empty ones are left to the tables.
    pub kg_per_t: BTreeMap<String, String>,
    /// Where they come from.
    pub source: String,
}

/// The own figures in force on a site, by crop.
pub(super) struct OwnFigures(BTreeMap<String, OwnRemoval>);

impl OwnFigures {
    pub async fn load(db: &mut Db, site: SiteId) -> Result<OwnFigures> {
        let rows = store::years::own_removals(db, site, false).await?;
        Ok(OwnFigures(rows.into_iter().map(|row| (row.crop.clone(), row)).collect()))
    }

    /// A harvest that names no figures of its own goes by those of its crop.
    pub fn for_harvest(&self, harvest: Harvest) -> Harvest {
        let own = harvest.crop.as_ref().and_then(|crop| self.0.get(crop));
        match (own, &harvest.figures) {
            (Some(own), Figures::Tables) => {
                let figures = Figures::Own { kg_per_t: own.kg_per_t.clone(), words: own.source.clone() };
                Harvest { figures, ..harvest }
            }
            _ => harvest,
        }
    }
}

impl App {
    /// Own removal figures of a site, newest first; those that no longer hold too where asked.
    pub async fn own_removals(&self, actor: &Actor, site: SiteId, voided_too: bool) -> Result<Vec<OwnRemoval>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        found(store::plots::site(&mut read, site).await?, "site")?;
        Ok(store::years::own_removals(&mut read, site, voided_too).await?)
    }

    /// Sets the own figures of a crop; those in force before are kept as history.
    pub async fn set_own_removal(&self, actor: &Actor, site: SiteId, crop: &str, form: &RemovalForm) -> Result<()> {
        actor.may(Role::Recorder)?;
        let crop = found(Crop::find(crop), "crop")?;
        let mut problems = Problems::default();
        let mut kg_per_t = BTreeMap::new();
        for (symbol, typed) in form.kg_per_t.iter().filter(|(_, typed)| !typed.trim().is_empty()) {
            let field = format!("kg_per_t[{symbol}]");
            let element = problems.one_of::<Element>(&field, symbol);
            let figure = problems.number(&field, typed, &Limits::KG_PER_T);
            if let (Some(element), Some(figure)) = (element, figure) {
                kg_per_t.insert(element, figure);
            }
        }
        let source =
            problems.text("source", &form.source, 500, "Say where the figures come from: a lab, a year, a book.");
        if problems.is_empty() && kg_per_t.is_empty() {
            problems.add("", "Give at least one figure.");
        }
        problems.none()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        found(store::plots::site(&mut write, site).await?, "site")?;
        for old in store::years::own_removals(&mut write, site, false).await?.iter().filter(|old| old.crop == crop.slug)
        {
            store::years::void_own_removal(&mut write, old.id, "A newer analysis took its place.").await?;
        }
        store::years::insert_own_removal(&mut write, site, crop.slug, &kg_per_t, &source).await?;
        let figures: Vec<String> = kg_per_t.iter().map(|(element, value)| format!("{element} {value}")).collect();
        let summary = format!("Own removal figures of {}, kg/t: {}. {source}", crop.in_sentence(), figures.join(", "));
        Ok(write.commit(Change::new(Subject::Site(site), "set", summary)).await?)
    }

    /// Goes back to the published figures of a crop, with a reason.
    pub async fn void_own_removal(&self, actor: &Actor, site: SiteId, crop: &str, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let crop = found(Crop::find(crop), "crop")?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let rows = store::years::own_removals(&mut write, site, false).await?;
        let Some(row) = rows.iter().find(|row| row.crop == crop.slug) else {
            return Err(Error::Conflict("The published figures are in force already.".into()));
        };
        store::years::void_own_removal(&mut write, row.id, &why).await?;
        let summary = format!("The published removal figures of {} are in force again: {why}", crop.in_sentence());
        Ok(write.commit(Change::new(Subject::Site(site), "voided", summary)).await?)
    }
}
