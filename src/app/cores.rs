//! How many cores a sample wants on a site: from how much single cores differ and how near the
//! mean is wanted, both typed; nothing is reckoned from a figure that cannot be used.

use super::{Actor, App, Problems, Result, error::Limits, plots::SiteRow};
use crate::{
    agronomy::cores::{Cores, cores},
    exchange::number::Low,
    ids::SiteId,
};
use serde::{Deserialize, Serialize};

const SPREAD: Limits =
    Limits { what: "A spread", unit: "% of the mean", low: Low::Above(0.0), at_most: 300.0, decimals: 1 };
const WANTED: Limits =
    Limits { what: "A nearness", unit: "% of the mean", low: Low::Above(0.0), at_most: 100.0, decimals: 1 };

/// What is typed about a sample's cores.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct CoresForm {
    /// Standard deviation of single cores, % of their mean.
    pub spread: String,
    /// How near the mean of the sample is to come, % of the mean.
    pub wanted: String,
}

/// Cores for a sample.
#[derive(Clone, Debug)]
pub struct SiteCores {
    pub site: SiteRow,
    pub form: CoresForm,
    pub problems: Problems,
    /// `None` while nothing is typed.
    pub found: Option<std::result::Result<Cores, String>>,
}

impl App {
    /// How many cores the wish asks for.
    pub async fn site_cores(&self, actor: &Actor, id: SiteId, form: CoresForm) -> Result<SiteCores> {
        let site = self.site(actor, id).await?;
        let mut problems = Problems::default();
        let empty = |typed: &str| typed.trim().is_empty();
        if empty(&form.spread) && empty(&form.wanted) {
            return Ok(SiteCores { site, form, problems, found: None });
        }
        let mut read = |field: &str, typed: &str, limits: &Limits, missing: &str| match empty(typed) {
            true => {
                problems.add(field, missing);
                None
            }
            false => problems.number(field, typed, limits),
        };
        let spread = read("spread", &form.spread, &SPREAD, "Type how much single cores differ, in % of their mean.");
        let wanted = read("wanted", &form.wanted, &WANTED, "Type how near the mean is wanted, such as 10.");
        let found = spread.zip(wanted).map(|(spread, wanted)| cores(spread, wanted));
        if let Some(Err(why)) = &found {
            problems.add("wanted", why.clone());
        }
        Ok(SiteCores { site, form, problems, found })
    }
}
