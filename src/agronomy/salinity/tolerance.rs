//! How much of its yield a crop keeps as the saturated paste grows salty. The response is
//! clamped: never above 100 %, never below 0. Crops that were only rated have no number here.

use super::{PasteEstimate, conductivity};
use crate::agronomy::{
    crop::Crop,
    method::Method,
    quantity::{DsPerM, Percent},
    reading::{Reading, number},
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

/// Maas's table, and the form of the response.
pub const MAAS_1990: Source = Source {
    publisher: "USDA Salinity Laboratory",
    title: "Crop salt tolerance (Maas 1990); response after Maas & Hoffman 1977",
    year: 1990,
    address: "",
    evidence: Evidence::Read,
};

/// A crop's tolerance of salt.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Tolerance {
    /// As the table names it.
    pub name: &'static str,
    /// Keys of the crops known here that it speaks for.
    pub crops: &'static [&'static str],
    /// Conductivity of the paste up to which nothing is lost, dS/m.
    pub threshold: f64,
    /// % of yield lost for each dS/m beyond.
    pub slope: f64,
    pub source: Source,
}

/// Another list of the same kind, for crops that Maas's table lacks.
pub const CALIFORNIA: Source = Source {
    publisher: "University of California, integrated pest management",
    title: "Salinity thresholds of vegetables, as the Los Angeles master gardeners reproduce them (FAO 29 is recalled with 1.6 and 9.6 for broad bean)",
    year: 0,
    address: "https://lbcg.org/amending-your-garden/salt-issues/",
    evidence: Evidence::Quoted,
};

/// Conductivity of the paste, dS/m, that red beet bears while it germinates.
pub const RED_BEET_GERMINATING: f64 = 3.0;

const fn row(name: &'static str, crops: &'static [&'static str], threshold: f64, slope: f64) -> Tolerance {
    Tolerance { name, crops, threshold, slope, source: MAAS_1990 }
}

/// The table.
pub const TOLERANCES: &[Tolerance] = &[
    row("asparagus", &["asparagus"], 4.1, 2.0),
    row("bean", &["snap_bean", "runner_bean", "dry_bean"], 1.0, 19.0),
    row("red beet", &["beetroot"], 4.0, 9.0),
    row("broccoli", &["broccoli"], 2.8, 9.2),
    row("cabbage", &["cabbage"], 1.8, 9.7),
    row("carrot", &["carrot"], 1.0, 14.0),
    row("celery", &["celery"], 1.8, 6.2),
    row("sweet corn", &["sweet_corn"], 1.7, 12.0),
    row("cucumber", &["cucumber"], 2.5, 13.0),
    row("eggplant", &["eggplant"], 1.1, 6.9),
    row("lettuce", &["lettuce_butterhead", "lettuce_romaine", "lettuce_iceberg"], 1.3, 13.0),
    row("onion", &["onion"], 1.2, 16.0),
    row("pepper", &["sweet_pepper", "hot_pepper"], 1.5, 14.0),
    row("potato", &["potato"], 1.7, 12.0),
    row("radish", &["radish"], 1.2, 13.0),
    row("spinach", &["spinach"], 2.0, 7.6),
    row("scallop squash", &[], 3.2, 16.0),
    row("zucchini", &["zucchini"], 4.7, 9.4),
    row("strawberry", &["strawberry"], 1.0, 33.0),
    row("sweet potato", &["sweet_potato"], 1.5, 11.0),
    row("tomato", &["tomato"], 2.5, 9.9),
    row("cherry tomato", &[], 1.7, 9.1),
    row("turnip", &["turnip"], 0.9, 9.0),
    Tolerance { source: CALIFORNIA, ..row("broad bean", &["broad_bean"], 1.8, 9.8) },
];

/// Crops that the table rates in words and gives no numbers for.
pub const RATED_ONLY: &[&str] = &[
    "kale",
    "pea",
    "parsnip",
    "okra",
    "muskmelon",
    "pumpkin",
    "brussels_sprouts",
    "cauliflower",
    "kohlrabi",
    "watermelon",
];

impl Tolerance {
    /// Finds a row by its printed name or by the key of a crop.
    pub fn find(name: &str) -> Option<Tolerance> {
        TOLERANCES.iter().copied().find(|row| row.name == name || row.crops.contains(&name))
    }

    /// % of full yield kept at a conductivity of the paste, 0 to 100.
    pub fn yield_percent(&self, paste: DsPerM) -> f64 {
        (100.0 - self.slope * (paste.0 - self.threshold)).clamp(0.0, 100.0)
    }

    /// The conductivity of the paste at which this share of yield, 0 to below 100 %, is left.
    pub fn paste_for(&self, percent: f64) -> DsPerM {
        DsPerM(self.threshold + (100.0 - percent.clamp(0.0, 100.0)) / self.slope)
    }
}

/// The yield that a crop keeps.
#[derive(Clone, Debug, PartialEq)]
pub struct YieldShare {
    /// 0 to 100.
    pub percent: Percent,
    pub working: Working,
    pub notes: Vec<String>,
}

/// The share of full yield at a conductivity of the saturated paste, or why there is none.
/// Where the soil holds gypsum, crops bear about 2 dS/m more.
pub fn relative_yield(crop: &Crop, paste: &Reading, gypsum_rich: bool) -> Result<YieldShare, String> {
    let ec = conductivity(paste)?;
    if !matches!(paste.method, Method::EcPaste | Method::SaturationExtract) {
        return Err(format!(
            "Crop tolerance is told for the saturated paste; this conductivity is by {}.",
            paste.method.label().to_lowercase()
        ));
    }
    let row = row_for(crop)?;
    Ok(kept(&row, ec, paste.working.clone(), gypsum_rich))
}

/// The row of a crop, or why there is none.
fn row_for(crop: &Crop) -> Result<Tolerance, String> {
    Tolerance::find(crop.slug).ok_or_else(|| {
        if RATED_ONLY.contains(&crop.slug) {
            format!("{} was rated in words only; no numbers are published in the table.", crop.name)
        } else {
            format!("{} is not in the table of salt tolerance.", crop.name)
        }
    })
}

/// The same from estimates of the paste: the least and the most that is kept, by whichever
/// equation. `None` without estimates.
pub fn estimated_yield(
    crop: &Crop,
    estimates: &[PasteEstimate],
    gypsum_rich: bool,
) -> Result<Option<(YieldShare, YieldShare)>, String> {
    let row = row_for(crop)?;
    let by = |one: &PasteEstimate| kept(&row, one.value.0, one.working.clone(), gypsum_rich);
    let least = estimates.iter().max_by(|a, b| a.value.0.total_cmp(&b.value.0)).map(by);
    let most = estimates.iter().min_by(|a, b| a.value.0.total_cmp(&b.value.0)).map(by);
    Ok(least.zip(most))
}

fn kept(row: &Tolerance, ec: f64, paste: Working, gypsum_rich: bool) -> YieldShare {
    let felt = if gypsum_rich { (ec - 2.0).max(0.0) } else { ec };
    let percent = row.yield_percent(DsPerM(felt));
    let published = |title: &str, value: f64, unit: &str| {
        Working::leaf(title, Figure::new(value, unit, 1), Origin::Published).cite(row.source)
    };
    let inputs = [
        paste,
        published("Nothing is lost up to", row.threshold, DsPerM::UNIT),
        published("Lost for each dS/m beyond", row.slope, "%"),
    ];
    let formula = format!(
        "100 − {} × ({} − {}) = {} %, kept between 0 and 100",
        number(row.slope),
        number(felt),
        number(row.threshold),
        number(percent)
    );
    let mut notes = vec![match row.crops.contains(&"beetroot") {
        true => format!("Once established; while it germinates it bears no more than {RED_BEET_GERMINATING} dS/m."),
        false => "Once established; seedlings bear less.".to_owned(),
    }];
    if gypsum_rich {
        notes.push("With gypsum in the soil about 2 dS/m less is felt.".into());
    }
    let title = format!("Yield of {} kept", row.name);
    let working = Working::step(title, Figure::new(percent, "%", 0), formula, inputs).cite(row.source);
    YieldShare { percent: Percent(percent), working, notes }
}
