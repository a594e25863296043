//! Salts and sodium of a plot: its conductivity at its own dilution, what its crops would keep of
//! their yield, what sodium holds, and the gypsum that drives it out. A conductivity without its
//! dilution stays refused. What was typed and cannot be used is named beside its field.

use super::{Actor, App, Problems, Result, error::Limits, plots::SiteRow, standing::PlotStanding};
use crate::{
    agronomy::{
        analyte::Analyte,
        crop::Crop,
        method::Method,
        quantity::{CmolPerKg, DsPerM, Grams, GramsPerM2, Percent},
        reading::{Level, Reading},
        salinity::{
            EcClass, Exchange, GypsumCase, GypsumRate, PasteEstimate, SaltWarning, Solution, YieldShare, class,
            esp_class_australia, esp_class_us, esp_from_sar, estimated_yield, exchangeable_sodium, gypsum_on,
            paste_from_1to5, plant_group, relative_yield, saline_sodic, sodium_adsorption, spread, under_cover,
        },
        working::{Figure, Origin, Working},
    },
    exchange::number::Low,
    ids::PlotId,
};
use serde::{Deserialize, Serialize};

const ESP: Limits =
    Limits { what: "A share of sodium", unit: "%", low: Low::AtLeast(0.0), at_most: 100.0, decimals: 1 };
const CAPACITY: Limits =
    Limits { what: "A capacity", unit: "cmol(+)/kg", low: Low::Above(0.0), at_most: 200.0, decimals: 1 };
const IN_WATER: Limits =
    Limits { what: "A level in water", unit: "mg/L", low: Low::AtLeast(0.0), at_most: 50_000.0, decimals: 1 };

/// Least and greatest factor for what of the gypsum is lost on the way, as the formula prints it.
const LOSSES: [f64; 2] = [1.1, 1.3];

/// What is typed on the page about salts.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SaltsForm {
    /// "on" where the soil holds gypsum.
    pub gypsum_rich: String,
    /// mg/L of a saturation extract or of water.
    pub calcium: String,
    pub magnesium: String,
    pub sodium: String,
    /// % of the capacity; what the sheet gives where empty.
    pub esp_from: String,
    pub esp_to: String,
    /// cmol(+)/kg; what the sheet gives where empty.
    pub capacity: String,
    /// In per cent.
    pub purity: String,
    pub moisture: String,
    pub depth_cm: String,
}

/// A plot's salts.
#[derive(Clone, Debug)]
pub struct PlotSalts {
    pub site: SiteRow,
    pub standing: PlotStanding,
    pub form: SaltsForm,
    pub problems: Problems,
    pub conductivities: Vec<Conductivity>,
    /// What the plot is to grow, each with the share of its yield that is kept.
    pub crops: Vec<(Crop, std::result::Result<Kept, String>)>,
    /// The sodium adsorption ratio.
    pub adsorption: std::result::Result<(f64, Working), String>,
    pub sodium: std::result::Result<Sodium, String>,
    /// Saline, sodic, both or neither.
    pub verdict: Option<&'static str>,
    pub warnings: Vec<SaltWarning>,
    /// Gypsum by the least and the greatest factor for losses, or what is missing.
    pub gypsum: std::result::Result<Gypsum, String>,
}

/// What is kept of a yield.
#[derive(Clone, Debug)]
pub enum Kept {
    /// By the paste as read.
    Read(YieldShare),
    /// The least and the most, by estimates of the paste from another dilution.
    Estimated(YieldShare, YieldShare),
}

/// A gypsum requirement on the plot, from the least to the greatest factor for losses.
#[derive(Clone, Debug)]
pub struct Gypsum {
    pub low: GypsumRate,
    pub high: GypsumRate,
    pub grams_per_m2: (GramsPerM2, GramsPerM2),
    pub on_plot: (Grams, Grams),
}

/// A conductivity as read.
#[derive(Clone, Debug)]
pub struct Conductivity {
    pub reading: Reading,
    pub class: std::result::Result<EcClass, String>,
    /// The same by another publisher; only of the paste.
    pub group: Option<EcClass>,
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
    /// Salts and sodium on one plot, as the form asks.
    pub async fn plot_salts(&self, actor: &Actor, id: PlotId, form: SaltsForm) -> Result<PlotSalts> {
        let (site, _, standing) = self.plot_standing(actor, id).await?;
        let mut problems = Problems::default();
        let newest = standing.survey.newest();
        let clay = newest.iter().find(|r| r.analyte == Analyte::Clay);
        let read: Vec<&Reading> = newest.iter().filter(|r| r.analyte == Analyte::Conductivity).collect();
        let conductivities = read.iter().map(|reading| Conductivity {
            reading: (*reading).clone(),
            class: class(reading, clay),
            group: plant_group(reading),
            paste: paste_from_1to5(reading).ok().and_then(|all| spread(&all).map(|(low, high)| (all, low, high))),
        });
        let conductivities: Vec<Conductivity> = conductivities.collect();
        let crops = standing.crops.iter().map(|crop| (*crop, kept(crop, &conductivities, form.gypsum_rich == "on")));
        let typed = typed_solution(&form, &mut problems);
        let solution = Solution::from_readings(&newest);
        let adsorption = typed
            .map_or(solution, |mg| Ok(Solution::from_mg_per_l(mg[0], mg[1], mg[2])))
            .and_then(|s| sodium_adsorption(&s));
        let sodium = sodium(&standing, &adsorption);
        let gypsum = gypsum(&form, &standing, sodium.as_ref(), &mut problems);
        Ok(PlotSalts {
            crops: crops.collect(),
            verdict: saline_sodic(paste_level(&conductivities), sodium.as_ref().ok().map(|s| s.percent.0)),
            adsorption,
            sodium,
            warnings: warnings(&standing),
            gypsum,
            conductivities,
            site,
            standing,
            form,
            problems,
        })
    }
}

fn is_paste(reading: &Reading) -> bool {
    matches!(reading.method, Method::EcPaste | Method::SaturationExtract)
}

fn paste_level(conductivities: &[Conductivity]) -> Option<DsPerM> {
    conductivities.iter().filter(|one| is_paste(&one.reading)).find_map(|one| match one.reading.level {
        Level::DsPerM(ec) => Some(ec),
        _ => None,
    })
}

/// What a crop keeps of its yield: by the paste where it was read, else by estimates of it.
fn kept(crop: &Crop, conductivities: &[Conductivity], gypsum_rich: bool) -> std::result::Result<Kept, String> {
    let paste = conductivities.iter().find(|one| is_paste(&one.reading));
    let told = paste.or(conductivities.first()).ok_or("No conductivity was read on this plot.")?;
    if paste.is_none()
        && let Some((estimates, ..)) = conductivities.iter().find_map(|one| one.paste.as_ref())
        && let Some((least, most)) = estimated_yield(crop, estimates, gypsum_rich)?
    {
        return Ok(Kept::Estimated(least, most));
    }
    relative_yield(crop, &told.reading, gypsum_rich).map(Kept::Read)
}

/// Warnings from the plot's history: conductivity over the years, and the bases beside it.
fn warnings(standing: &PlotStanding) -> Vec<SaltWarning> {
    let survey = &standing.survey;
    let history = survey.history(Analyte::Conductivity);
    let mut days: Vec<_> = history.iter().map(|reading| reading.sampled_on).collect();
    days.extend(survey.last_sampled());
    days.sort_unstable();
    days.dedup();
    let bases: Vec<f64> = days.into_iter().filter_map(|day| survey.until(day).bases_as_printed()).collect();
    under_cover(standing.plot.cover, &history, &bases, &standing.present.signs)
}

/// Calcium, magnesium and sodium as typed; all three or none.
fn typed_solution(form: &SaltsForm, problems: &mut Problems) -> Option<[f64; 3]> {
    let fields = [("calcium", &form.calcium), ("magnesium", &form.magnesium), ("sodium", &form.sodium)];
    let read = fields.map(|(name, typed)| problems.optional_number(name, typed, &IN_WATER));
    let any = fields.iter().any(|(_, typed)| !typed.trim().is_empty());
    for (name, _) in fields.iter().filter(|(_, typed)| any && typed.trim().is_empty()) {
        problems.add(name, "The ratio asks for all three.");
    }
    match read {
        [Some(calcium), Some(magnesium), Some(sodium)] => Some([calcium, magnesium, sodium]),
        _ => None,
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

/// The gypsum that the form asks for, or what is missing.
fn gypsum(
    form: &SaltsForm,
    standing: &PlotStanding,
    sodium: std::result::Result<&Sodium, &String>,
    problems: &mut Problems,
) -> std::result::Result<Gypsum, String> {
    let typed = |title: &str, value: f64, unit: &str| {
        Working::leaf(title, Figure::new(value, unit, 1), Origin::Entered).note("As typed on this page.")
    };
    let esp_typed = problems.optional_number("esp_from", &form.esp_from, &ESP);
    let esp_to = problems.optional_number("esp_to", &form.esp_to, &ESP);
    let capacity_typed = problems.optional_number("capacity", &form.capacity, &CAPACITY);
    let purity = problems.optional_number("purity", &form.purity, &Limits::PERCENT);
    let moisture = problems.optional_number("moisture", &form.moisture, &Limits::PERCENT).unwrap_or(0.0);
    let depth = problems.optional_number("depth_cm", &form.depth_cm, &Limits::DEPTH_CM);
    let (esp_from, sodium_working) = match (esp_typed, sodium) {
        (Some(esp), _) => (Percent(esp), typed("Exchangeable sodium now", esp, "%")),
        (None, Ok(sodium)) => (sodium.percent, sodium.working.clone()),
        (None, Err(why)) => return Err(format!("The share of sodium is not known: {why}")),
    };
    let by_mass = standing.present.capacity.as_ref().ok().and_then(|capacity| match capacity.level {
        Level::CmolPerKg(level) => Some((level, capacity.working.clone())),
        _ => None,
    });
    let (capacity, capacity_working) = match (capacity_typed, by_mass) {
        (Some(level), _) => (CmolPerKg(level), typed("Exchange capacity", level, CmolPerKg::UNIT)),
        (None, Some(held)) => held,
        (None, None) => {
            return Err(
                "No capacity by mass of soil can be trusted here; type the exchange capacity to reckon with.".into()
            );
        }
    };
    let (Some(esp_to), Some(purity)) = (esp_to, purity) else {
        return Err("Type the share of sodium to aim for, and the purity of the gypsum from its bag.".into());
    };
    let mut ground = standing.plot.ground();
    ground.depth.0 = depth.unwrap_or(ground.depth.0);
    let by = |losses: f64| {
        let exchange = Exchange { capacity, esp_from, esp_to: Percent(esp_to) };
        let case = GypsumCase {
            exchange,
            depth: ground.depth,
            bulk_density: ground.bulk_density().0,
            losses,
            purity: Percent(purity),
            moisture: Percent(moisture),
        };
        gypsum_on(&case, capacity_working.clone(), sodium_working.clone())
    };
    match (by(LOSSES[0]), by(LOSSES[1])) {
        (Ok(low), Ok(high)) => Ok(Gypsum {
            grams_per_m2: (low.rate.grams_per_m2(), high.rate.grams_per_m2()),
            on_plot: (low.rate.on(ground.area), high.rate.on(ground.area)),
            low,
            high,
        }),
        (Err(why), _) | (_, Err(why)) => {
            let field = if why.contains("urity") { "purity" } else { "esp_to" };
            problems.add(field, why.clone());
            Err(why)
        }
    }
}
