//! Salts: what a conductivity means at its own dilution. A conductivity without its dilution is
//! refused, a class for mineral soil is never given to a potting mix or the other way round, and
//! an estimate of the saturated paste from another dilution is always a range of several
//! publishers' equations.

mod printed;
mod sodium;
mod tolerance;

pub use printed::{SALT_FACTORS, SaltFactor, behind_ppm, why_not_read};
pub use sodium::{
    Exchange, GypsumCase, GypsumRate, MeqPerL, SODIC_BY_RATIO, Solution, esp_class_australia, esp_class_us,
    esp_from_sar, exchangeable_sodium, gypsum_on, gypsum_requirement, sar_class_us, sodium_adsorption,
};
pub use tolerance::{
    CALIFORNIA, MAAS_1990, RATED_ONLY, RED_BEET_GERMINATING, TOLERANCES, Tolerance, YieldShare, estimated_yield,
    relative_yield,
};

use super::{
    carbonate::Signs,
    ground::Cover,
    method::Method,
    quantity::DsPerM,
    reading::{Level, Reading, number},
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

/// A class of conductivity.
#[derive(Clone, Debug, PartialEq)]
pub struct EcClass {
    /// What grows there, in the publisher's sense.
    pub class: &'static str,
    pub working: Working,
    pub notes: Vec<String>,
}

const USDA: Source = Source {
    publisher: "USDA classes, read in Knott's handbook at ECHO",
    title: "Conductivity of the saturation extract and crops",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

const SCMA_CLASSES: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, table 3.1: conductivity 1:5 by clay",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

const SCMA_ESTIMATES: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, table 14.2: conductivity of the paste from 1:5",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

const UMASS_SALTS: Source = Source {
    publisher: "UMass Amherst Soil and Plant Nutrient Testing Laboratory",
    title: "Specimen soil report S141006-324: soluble salts 1:2 usually below 0.6 dS/m",
    year: 2015,
    address: "https://www.scribd.com/document/258603620",
    evidence: Evidence::Read,
};

/// Classes of the saturation extract, each from this value up.
const PASTE: &[(f64, &str)] = &[
    (0.0, "negligible for crops"),
    (2.0, "felt by very sensitive crops"),
    (4.0, "felt by many crops"),
    (8.0, "for tolerant crops only"),
    (16.0, "for a very few crops only"),
];

const PLANT_GROUPS: [&str; 6] = [
    "fit for sensitive plants",
    "fit for moderately sensitive plants",
    "fit for moderately tolerant plants",
    "fit for tolerant plants",
    "fit for very tolerant plants",
    "too saline for crops",
];

/// Lower edges of the plant groups by clay, %: up to and with the first figure.
const BY_CLAY: &[(f64, [f64; 6])] = &[
    (20.0, [0.0, 0.07, 0.15, 0.34, 0.63, 0.93]),
    (40.0, [0.0, 0.09, 0.19, 0.45, 0.76, 1.21]),
    (60.0, [0.0, 0.12, 0.24, 0.56, 0.96, 1.53]),
    (80.0, [0.0, 0.15, 0.3, 0.7, 1.18, 1.87]),
];

/// The same plant groups by the saturation extract, whatever the clay: the last column of the table.
const BY_PASTE: [f64; 6] = [0.0, 0.95, 1.9, 4.5, 7.7, 12.2];

fn conductivity(reading: &Reading) -> Result<f64, String> {
    match reading.level {
        Level::DsPerM(DsPerM(ec)) if ec.is_finite() && ec >= 0.0 => Ok(ec),
        _ => Err("This is not a conductivity.".into()),
    }
}

/// The class of a conductivity on mineral soil, by the table made for its dilution. `clay` is the
/// reading of clay, without which 1:5 has no class.
///
/// Values on a printed edge belong to the saltier class; clay on an edge to the lighter soil,
/// whose limits are lower: both err towards a warning.
pub fn class(reading: &Reading, clay: Option<&Reading>) -> Result<EcClass, String> {
    let ec = conductivity(reading)?;
    match reading.method {
        Method::EcPaste | Method::SaturationExtract => {
            let (from, class) = PASTE.iter().rev().find(|(from, _)| ec >= *from).unwrap_or(&PASTE[0]);
            let formula = format!("{} dS/m is {from} or more: {class}", number(ec));
            Ok(classed(reading, class, formula, vec![], USDA))
        }
        Method::Ec1to5 => {
            let clay_reading = clay.ok_or(
                "A conductivity at 1:5 means different things on sand and on clay: the clay content is needed, from a particle-size test, as a line of the sheet.",
            )?;
            let clay = match clay_reading.level {
                Level::Percent(p) => p.0,
                _ => return Err("The clay content is not in per cent.".into()),
            };
            if !(10.0..=80.0).contains(&clay) {
                return Err(format!("The table is for 10 to 80 % of clay; this soil has {}.", clay_reading.figure()));
            }
            let (upto, edges) = BY_CLAY.iter().find(|(upto, _)| clay <= *upto).unwrap_or(&BY_CLAY[3]);
            let at = edges.iter().rposition(|edge| ec >= *edge).unwrap_or(0);
            let formula =
                format!("{} dS/m at 1:5, clay up to {upto} %: {} or more, {}", number(ec), edges[at], PLANT_GROUPS[at]);
            Ok(classed(reading, PLANT_GROUPS[at], formula, vec![clay_reading.working.clone()], SCMA_CLASSES))
        }
        Method::Ec1to2 => {
            let class = if ec < 0.6 { "as usually found" } else { "above what is usually found" };
            let formula = format!("{} dS/m against 0.6: {class}", number(ec));
            let mut answer = classed(reading, class, formula, vec![], UMASS_SALTS);
            answer.notes.push("One laboratory's usual range, not a limit for crops.".into());
            Ok(answer)
        }
        Method::Unstated => Err(
            "The sheet does not say how much water the conductivity was read in; the same soil reads 6 to 13 times higher in the paste than at 1:5, so it means nothing yet. Ask the laboratory for the dilution, and choose it as the method of the line."
                .into(),
        ),
        ref other => Err(format!("No classes for mineral soil are known for a conductivity by {}.", other.label())),
    }
}

/// What the Australian table says of a conductivity of the paste, beside the American classes of
/// [`class`]; `None` for another dilution. A value on a printed edge belongs to the saltier group.
pub fn plant_group(reading: &Reading) -> Option<EcClass> {
    let ec = conductivity(reading).ok()?;
    if !matches!(reading.method, Method::EcPaste | Method::SaturationExtract) {
        return None;
    }
    let at = BY_PASTE.iter().rposition(|edge| ec >= *edge).unwrap_or(0);
    let formula = format!("{} dS/m in the paste: {} or more, {}", number(ec), BY_PASTE[at], PLANT_GROUPS[at]);
    let source = Source {
        title: "Soil Chemical Methods – Australasia, table 3.1: conductivity of the saturation extract",
        ..SCMA_CLASSES
    };
    Some(classed(reading, PLANT_GROUPS[at], formula, vec![], source))
}

fn classed(reading: &Reading, class: &'static str, formula: String, more: Vec<Working>, source: Source) -> EcClass {
    let inputs = std::iter::once(reading.working.clone()).chain(more);
    let working = Working::step("Class of conductivity", reading.figure(), formula, inputs).cite(source);
    EcClass { class, working, notes: vec![] }
}

/// An estimate of the conductivity of the saturated paste.
#[derive(Clone, Debug, PartialEq)]
pub struct PasteEstimate {
    /// Who published the equation.
    pub author: &'static str,
    /// Never below zero.
    pub value: DsPerM,
    pub working: Working,
}

/// The equations: author, slope, constant.
const EQUATIONS: &[(&str, f64, f64)] = &[
    ("Talsma", 6.4, 0.0),
    ("Loveday", 6.5, 0.0),
    ("Murray", 6.44, -0.102),
    ("Shaw", 6.08, -0.937),
    ("Lyons", 6.29, -0.27),
];

/// The paste's conductivity from 1:5 by each published equation: they differ, and the range is
/// what is known. Only for 1:5.
pub fn paste_from_1to5(reading: &Reading) -> Result<Vec<PasteEstimate>, String> {
    let ec = conductivity(reading)?;
    if reading.method != Method::Ec1to5 {
        return Err("The published equations start from a conductivity at 1:5.".into());
    }
    Ok(EQUATIONS
        .iter()
        .map(|&(author, slope, constant)| {
            let value = (slope * ec + constant).max(0.0);
            let formula = match constant {
                0.0 => format!("{slope} × {} = {} dS/m", number(ec), number(value)),
                _ => format!("{slope} × {} − {} = {} dS/m", number(ec), -constant, number(value)),
            };
            let working = Working::step(
                format!("Paste by {author}"),
                Figure::new(value, DsPerM::UNIT, 1),
                formula,
                [reading.working.clone()],
            )
            .cite(SCMA_ESTIMATES)
            .note("An estimate; gypsum in the bed makes 1:5 read high.");
            PasteEstimate { author, value: DsPerM(value), working }
        })
        .collect())
}

/// Lowest and highest of several estimates.
pub fn spread(estimates: &[PasteEstimate]) -> Option<(DsPerM, DsPerM)> {
    let values = estimates.iter().map(|e| e.value.0);
    let low = values.clone().reduce(f64::min)?;
    Some((DsPerM(low), DsPerM(values.reduce(f64::max)?)))
}

/// How the conductivity of a potting mix was taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum MediaTest {
    OneToTwo,
    /// Saturated media extract.
    Saturated,
    /// Water poured through the pot.
    PourThrough,
}

const MEDIA: Source = Source {
    publisher: "University of Massachusetts Extension, greenhouse media",
    title: "Conductivity of soilless media by 1:2, saturated extract and pour-through (read from a garbled copy; its first break repaired)",
    year: 0,
    address: "",
    evidence: Evidence::Quoted,
};

/// The class of a soilless growing medium, mS/cm. Never for soil in the ground. Bands share
/// their edges; a value on an edge belongs to the saltier band.
pub fn media_class(test: MediaTest, ms_per_cm: f64) -> Result<(&'static str, Source), String> {
    const WORDS: [&str; 6] = ["very low", "low", "normal", "high", "very high", "extreme"];
    if !ms_per_cm.is_finite() || ms_per_cm < 0.0 {
        return Err("This is not a conductivity.".into());
    }
    // The last edge is printed ">": its own value is still "very high".
    let (edges, last) = match test {
        MediaTest::OneToTwo => ([0.0, 0.3, 0.8, 1.3, 1.8], 2.3),
        MediaTest::Saturated => ([0.0, 0.8, 2.0, 3.5, 5.0], 6.0),
        MediaTest::PourThrough => ([0.0, 1.0, 2.6, 4.6, 6.5], 7.8),
    };
    if ms_per_cm > last {
        return Ok((WORDS[5], MEDIA));
    }
    let at = edges.iter().rposition(|edge| ms_per_cm >= *edge).unwrap_or(0);
    Ok((WORDS[at], MEDIA))
}

/// A warning about salts under cover.
#[derive(Clone, Debug, PartialEq)]
pub struct SaltWarning {
    pub text: String,
    pub source: Source,
}

const TUNNEL: Source = Source {
    publisher: "Penn State Extension",
    title: "Dealing with high soluble salt levels in high tunnels: test year-round tunnels regularly, by one dilution",
    year: 0,
    address: "https://hightunnels.org/dealing-high-soluble-salt-levels-high-tunnels/",
    evidence: Evidence::Read,
};

const GREENHOUSE_BASES: Source = Source {
    publisher: "Japanese Journal of Soil Science and Plant Nutrition 67(6)",
    title: "Base saturation far above 100 % in greenhouse soils comes from salts of the bases",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// Warnings for a bed under cover: salts that rise, and bases that they inflate.
///
/// `history` is of conductivity, oldest first; only readings by the newest one's method are
/// compared. `bases` are base saturations in % as the sheets have them, oldest first. A rise
/// counts from 14 %, beyond what one laboratory's repeats differ by (10 % for two standard
/// deviations at 1:5, SCMA table App. 2.1, times √2 for a difference).
pub fn under_cover(cover: Cover, history: &[Reading], bases: &[f64], signs: &Signs) -> Vec<SaltWarning> {
    let mut warnings = Vec::new();
    if cover == Cover::Open {
        return warnings;
    }
    let newest = history.last();
    let same: Vec<f64> = history
        .iter()
        .filter(|r| newest.is_some_and(|n| n.method == r.method && r.method != Method::Unstated))
        .filter_map(|r| conductivity(r).ok())
        .collect();
    if let (Some(first), Some(last), true) = (same.first(), same.last(), same.len() > 1)
        && *last > first * 1.14
    {
        warnings.push(SaltWarning {
            text: format!(
                "Salts are rising under cover: from {} to {} dS/m by the same method. No rain washes them down; water deeply between crops, and hold back compost and manure.",
                number(*first),
                number(*last)
            ),
            source: TUNNEL,
        });
    } else if same.is_empty() {
        warnings.push(SaltWarning {
            text: "Salts gather in beds that no rain reaches, and none were tested here: ask for conductivity with the next sample, at the same dilution each time.".into(),
            source: TUNNEL,
        });
    }
    let now = bases.last().copied();
    if signs.salty() || now.is_some_and(|percent| percent > 100.5) {
        let mut text = "Salts count as calcium, magnesium and potassium in the test: capacity and saturations read too high here, even without free lime. The levels in mg/kg stay usable.".to_owned();
        match (bases.first(), now) {
            (Some(first), Some(now)) if bases.len() > 1 && now > first + 0.5 => text
                .push_str(&format!(" The bases came to {first:.0} % of the capacity at first and to {now:.0} % now.")),
            (_, Some(now)) if now > 100.5 => {
                text.push_str(&format!(" The bases come to {now:.0} % of the capacity, more than it can hold."))
            }
            _ => {}
        }
        warnings.push(SaltWarning { text, source: GREENHOUSE_BASES });
    }
    warnings
}

/// Whether a soil is saline, sodic or both, from the paste and exchangeable sodium.
pub fn saline_sodic(paste: Option<DsPerM>, esp_percent: Option<f64>) -> Option<&'static str> {
    match (paste.map(|ec| ec.0 >= 4.0), esp_percent.map(|esp| esp >= 15.0)) {
        (Some(true), Some(true)) => Some("saline and sodic"),
        (Some(true), Some(false)) => Some("saline"),
        (Some(false), Some(true)) => Some("sodic"),
        (Some(false), Some(false)) => Some("neither saline nor sodic"),
        (Some(true), None) => Some("saline; sodium not known"),
        (None, Some(true)) => Some("sodic; salts not known"),
        _ => None,
    }
}

/// A working leaf of an entered number.
fn entered(title: &str, value: f64, unit: &str, decimals: u8) -> Working {
    Working::leaf(title, Figure::new(value, unit, decimals), Origin::Entered)
}
