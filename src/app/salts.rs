//! Salts and sodium of a plot: its newest conductivity at its own dilution, what its crops would
//! keep of their yield, and what sodium holds. A conductivity without its dilution stays refused.

use super::{Actor, App, Result, plots::SiteRow, standing::PlotStanding};
use crate::{
    agronomy::{
        analyte::Analyte,
        crop::Crop,
        method::Method,
        quantity::{DsPerM, Percent},
        reading::{Level, Reading},
        salinity::{
            EcClass, PasteEstimate, SaltWarning, Solution, YieldShare, class, esp_class_australia, esp_class_us,
            esp_from_sar, exchangeable_sodium, paste_from_1to5, relative_yield, saline_sodic, sodium_adsorption,
            spread, under_cover,
        },
        working::Working,
    },
    ids::PlotId,
};

/// A plot's salts.
#[derive(Clone, Debug)]
pub struct PlotSalts {
    pub site: SiteRow,
    pub standing: PlotStanding,
    pub conductivities: Vec<Conductivity>,
    /// What the plot is to grow, each with the share of its yield that is kept.
    pub crops: Vec<(Crop, std::result::Result<YieldShare, String>)>,
    /// The sodium adsorption ratio.
    pub adsorption: std::result::Result<(f64, Working), String>,
    pub sodium: std::result::Result<Sodium, String>,
    /// Saline, sodic, both or neither.
    pub verdict: Option<&'static str>,
    pub warnings: Vec<SaltWarning>,
}

/// A conductivity as read.
#[derive(Clone, Debug)]
pub struct Conductivity {
    pub reading: Reading,
    pub class: std::result::Result<EcClass, String>,
    /// The paste by each published equation, with the lowest and the highest; only from 1:5.
    pub paste: Option<(Vec<PasteEstimate>, DsPerM, DsPerM)>,
}

/// Exchangeable sodium.
#[derive(Clone, Debug)]
pub struct Sodium {
    pub percent: Percent,
    /// Only estimated from the adsorption ratio.
    pub estimated: bool,
    pub american: &'static str,
    pub australian: &'static str,
    pub working: Working,
}

impl App {
    /// Salts and sodium on one plot.
    pub async fn plot_salts(&self, actor: &Actor, id: PlotId) -> Result<PlotSalts> {
        let (site, _, ahead) = self.plot_outlook(actor, id).await?;
        let (standing, crops) = (ahead.standing, ahead.crops);
        let newest = standing.survey.newest();
        let clay = newest.iter().find(|r| r.analyte == Analyte::Clay);
        let read: Vec<&Reading> = newest.iter().filter(|r| r.analyte == Analyte::Conductivity).collect();
        let conductivities = read.iter().map(|reading| Conductivity {
            reading: (*reading).clone(),
            class: class(reading, clay),
            paste: paste_from_1to5(reading).ok().and_then(|all| spread(&all).map(|(low, high)| (all, low, high))),
        });
        let paste = read.iter().find(|r| matches!(r.method, Method::EcPaste | Method::SaturationExtract));
        let told = paste.or(read.first());
        let kept = |crop: &Crop| {
            let reading = told.ok_or("No conductivity was read on this plot.")?;
            relative_yield(crop, reading, false)
        };
        let adsorption = Solution::from_readings(&newest).and_then(|solution| sodium_adsorption(&solution));
        let sodium = sodium(&standing, &adsorption);
        let paste_level = paste.and_then(|r| match r.level {
            Level::DsPerM(ec) => Some(ec),
            _ => None,
        });
        let capacity = standing.present.capacity.as_ref().ok();
        let bases = capacity.and_then(|c| c.base_saturation.as_ref()).map(|held| held.share.0);
        let history = standing.survey.history(Analyte::Conductivity);
        let warnings = under_cover(standing.plot.cover, &history, bases, &standing.present.signs);
        Ok(PlotSalts {
            conductivities: conductivities.collect(),
            crops: crops.into_iter().map(|crop| (crop, kept(&crop))).collect(),
            verdict: saline_sodic(paste_level, sodium.as_ref().ok().map(|s| s.percent.0)),
            adsorption,
            sodium,
            warnings,
            site,
            standing,
        })
    }
}

/// Sodium as the capacity holds it, otherwise as the adsorption ratio lets it be estimated.
fn sodium(
    standing: &PlotStanding,
    adsorption: &std::result::Result<(f64, Working), String>,
) -> std::result::Result<Sodium, String> {
    let held = standing.present.capacity.as_ref().map_err(Clone::clone).and_then(exchangeable_sodium);
    let (estimated, (percent, working)) = match (held, adsorption) {
        (Ok(held), _) => (false, held),
        (Err(_), Ok((ratio, working))) => (true, esp_from_sar(*ratio, working.clone())?),
        (Err(why), Err(_)) => return Err(why),
    };
    Ok(Sodium {
        percent,
        estimated,
        american: esp_class_us(percent),
        australian: esp_class_australia(percent),
        working,
    })
}
