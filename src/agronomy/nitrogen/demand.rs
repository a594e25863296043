//! What a crop asks for in nitrogen: as the grower states it, or a published rate for the crop.

use super::{Range, Term, TermKind, figure};
use crate::agronomy::{
    crop::{Crop, CropGroup},
    rate::RateUnit,
    reading::number,
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

/// A published rate for crops, for the whole season, where no soil test tells more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CropRate {
    /// Keys of the crops it is for; empty: any crop that is not a legume.
    pub crops: &'static [&'static str],
    pub low: f64,
    pub high: f64,
    pub unit: RateUnit,
    pub note: &'static str,
    pub source: Source,
}

const COLORADO: Source = Source {
    publisher: "Colorado State University Extension",
    title: "Vegetable gardening: nitrogen recommendations, no. 7.247 (Swift)",
    year: 2011,
    address: "http://www.ext.colostate.edu/pubs/garden/07247.html",
    evidence: Evidence::Read,
};

const FLORIDA: Source = Source {
    publisher: "University of Florida IFAS Extension",
    title: "CIR 1152, Standardized nutrient recommendations for vegetable crops: target N",
    year: 0,
    address: "https://edis.ifas.ufl.edu/CV002",
    evidence: Evidence::Memory,
};

const fn florida(lb: f64, crops: &'static [&'static str]) -> CropRate {
    CropRate {
        crops,
        low: lb,
        high: lb,
        unit: RateUnit::LbPerAcre,
        note: "Made for the sandy soils of Florida, which hold little nitrogen over.",
        source: FLORIDA,
    }
}

/// The rates known here. Those from memory are used only where a site switches them on.
pub const CROP_RATES: &[CropRate] = &[
    CropRate {
        crops: &[],
        low: 0.5,
        high: 0.5,
        unit: RateUnit::LbPer1000Ft2,
        note: "Before planting, where no soil test was made; more may follow while the crop grows.",
        source: COLORADO,
    },
    florida(
        200.0,
        &[
            "tomato",
            "sweet_pepper",
            "hot_pepper",
            "eggplant",
            "potato",
            "celery",
            "sweet_corn",
            "lettuce_butterhead",
            "lettuce_romaine",
            "lettuce_iceberg",
        ],
    ),
    florida(175.0, &["cabbage", "broccoli", "cauliflower", "brussels_sprouts", "collards", "carrot"]),
    florida(150.0, &["cucumber", "zucchini", "butternut", "pumpkin", "muskmelon", "watermelon", "onion", "strawberry"]),
    florida(120.0, &["kale", "turnip", "mustard_greens", "beetroot", "okra", "parsley"]),
    florida(100.0, &["snap_bean"]),
    florida(90.0, &["radish"]),
    florida(60.0, &["sweet_potato"]),
];

/// What the grower says the crop needs, with the reason; below zero counts as none.
pub fn stated_demand(low_kg_per_ha: f64, high_kg_per_ha: f64, why: &str) -> Term {
    let range = Range::between(low_kg_per_ha.max(0.0), high_kg_per_ha.max(0.0));
    let working = Working::leaf("Nitrogen for the crop, as stated", figure(range), Origin::Chosen).note(why);
    Term::new(TermKind::Demand, "What the crop takes", range, working)
}

/// A published rate for a crop: one for the crop itself where it may be used, otherwise the general one.
pub fn crop_demand(crop: &Crop, with_memory: bool) -> Result<Term, String> {
    let usable = |rate: &&CropRate| with_memory || rate.source.evidence != Evidence::Memory;
    let own = CROP_RATES.iter().filter(usable).find(|rate| rate.crops.contains(&crop.slug));
    let general = || CROP_RATES.iter().filter(usable).find(|rate| rate.crops.is_empty());
    let rate = match own {
        Some(rate) => rate,
        None if crop.group == CropGroup::Legume => {
            return Err("Peas and beans feed themselves from the air; nitrogen can lower their yield.".into());
        }
        None if matches!(crop.group, CropGroup::Cereal | CropGroup::Grass) => {
            return Err(format!(
                "The general rate is for vegetable gardens; none was read for {}.",
                crop.in_sentence()
            ));
        }
        None => general().ok_or_else(|| format!("No published rate of nitrogen is known for {}.", crop.name))?,
    };
    let range = Range::between(rate.unit.read(rate.low).0, rate.unit.read(rate.high).0);
    let printed = if rate.low == rate.high {
        format!("{} {}", number(rate.low), rate.unit.label())
    } else {
        format!("{} to {} {}", number(rate.low), number(rate.high), rate.unit.label())
    };
    let leaf = Working::leaf(
        format!("Published rate: {printed}"),
        Figure::new(rate.high, rate.unit.label(), if rate.high < 10.0 { 1 } else { 0 }),
        Origin::Published,
    )
    .cite(rate.source);
    let mut working = Working::step(
        format!("Nitrogen for {}", crop.name),
        figure(range),
        format!("{printed} = {}", range.words()),
        [leaf],
    )
    .cite(rate.source)
    .note(rate.note);
    if rate.crops.is_empty() {
        working = working.note(format!("A general rate for gardens; none that may be used names {}.", crop.name));
    }
    Ok(Term::new(TermKind::Demand, "What the crop takes", range, working))
}
