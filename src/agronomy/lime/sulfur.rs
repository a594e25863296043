//! Lowering pH with elemental sulfur. The free lime of a soil must be used up first, so on
//! ground that fizzes the plan is refused, with the sum that shows why; on ground without, a
//! published range is given. It never promises a pH.

use super::in_water;
use crate::agronomy::{
    carbonate::Signs,
    caution::{SULFUR_ON_CARBONATE, sulfur_to_spend_carbonate},
    element::ATOMIC_WEIGHTS,
    ground::{Ground, Texture},
    need::soil_working,
    quantity::{GramsPerM2, KgPerHa},
    rate::RateUnit,
    reading::{Level, Reading, number},
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

/// Sulfur for a soil without free lime.
pub const SULFUR_RATES: Source = Source {
    publisher: "Royal Horticultural Society",
    title: "Sulfur to lower pH from 7.0–7.5 to 6.0–6.5 in the top 15 cm without free lime: 135 g/m² on sand, 270 on clay",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// How much sulfur at once.
pub const SULFUR_AT_ONCE: Source = Source {
    publisher: "Clemson University, EC 707 (McCarty), quoted elsewhere",
    title: "5 to 10 lb of sulfur per 1,000 ft² at once on turf, again after two to three months",
    year: 2003,
    address: "",
    evidence: Evidence::Quoted,
};

/// A published range of sulfur.
#[derive(Clone, Debug, PartialEq)]
pub struct SulfurRate {
    pub low: GramsPerM2,
    pub high: GramsPerM2,
    /// The most at once, and how often that comes to for the higher figure.
    pub at_once: GramsPerM2,
    pub times: u8,
    pub working: Working,
    pub notes: Vec<String>,
}

/// Why pH is not to be lowered here.
#[derive(Clone, Debug, PartialEq)]
pub struct NotLowered {
    /// A sentence or two, with the sum in words.
    pub reason: String,
    /// The sulfur that the free lime would use up, before pH could move.
    pub spent_on_lime: Option<KgPerHa>,
    pub working: Option<Box<Working>>,
}

impl NotLowered {
    fn because(reason: impl Into<String>) -> NotLowered {
        NotLowered { reason: reason.into(), spent_on_lime: None, working: None }
    }
}

/// Sulfur to lower pH, or why not. `carbonate` is a measured content, where there is one.
pub fn lower_ph(
    ph: &Reading,
    target_ph: f64,
    carbonate: Option<&Reading>,
    signs: &Signs,
    ground: &Ground,
) -> Result<SulfurRate, NotLowered> {
    let measured = carbonate.filter(|r| r.is_exact()).and_then(|reading| match reading.level {
        Level::Percent(percent) if percent.0 > 0.0 => Some((reading, percent.0)),
        _ => None,
    });
    if measured.is_some() || signs.calcareous() {
        return Err(on_free_lime(measured, signs, ground));
    }
    let Level::Ph(found) = ph.level else {
        return Err(NotLowered::because("There is no soil pH to start from; enter pH in water."));
    };
    if !in_water(&ph.method) {
        return Err(NotLowered::because(
            "The published rates are for pH in water; this one was read in a salt solution. Enter pH in water.",
        ));
    }
    if found <= target_ph {
        return Err(NotLowered::because(format!(
            "The soil is at pH {} already, not above {}: no sulfur.",
            number(found),
            number(target_ph)
        )));
    }
    if !(7.0..=7.5).contains(&found) || !(6.0..=6.5).contains(&target_ph) {
        return Err(NotLowered::because(format!(
            "A published rate is known only for bringing pH 7.0 to 7.5 down to 6.0 to 6.5; none for {} to {}.",
            number(found),
            number(target_ph)
        )));
    }
    let (low, high) = match ground.texture {
        Texture::Sand | Texture::LoamySand => (135.0, 135.0),
        Texture::Clay | Texture::SiltyClay | Texture::SandyClay => (270.0, 270.0),
        _ => (135.0, 270.0),
    };
    let factor = ground.depth.0 / 15.0;
    let (low, high) = (low * factor, high * factor);
    // 10 lb/1,000 ft².
    let at_once = RateUnit::LbPer1000Ft2.read(10.0).grams_per_m2();
    let times = (high / at_once.0 - 1e-9).ceil().clamp(1.0, 100.0) as u8;
    let inputs = [
        ph.working.clone(),
        Working::leaf("Target pH", Figure::new(target_ph, "", 1), Origin::Chosen),
        Working::leaf("Sulfur on sand", Figure::new(135.0, "g/m²", 0), Origin::Published).cite(SULFUR_RATES),
        Working::leaf("Sulfur on clay", Figure::new(270.0, "g/m²", 0), Origin::Published).cite(SULFUR_RATES),
        Working::leaf("Working depth", Figure::new(ground.depth.0, "cm", 0), Origin::Entered),
        Working::leaf("The most at once", Figure::new(at_once.0, "g/m²", 0), Origin::Published).cite(SULFUR_AT_ONCE),
    ];
    let formula = format!(
        "135 g/m² on sand to 270 on clay for 15 cm; {} at {} cm: {} to {} g/m²",
        ground.texture.label(),
        number(ground.depth.0),
        number(low),
        number(high)
    );
    let working = Working::step("Sulfur to lower pH", Figure::new(high, "g/m²", 0), formula, inputs).cite(SULFUR_RATES);
    let mut notes = vec![
        format!(
            "Give at most about {:.0}\u{a0}g/m² at once and test again before the next: {times} times for the higher figure.",
            at_once.0
        ),
        "Soil life turns sulfur to acid over months in warm, moist soil; no pH is promised.".into(),
    ];
    notes.extend(signs.cautions.iter().cloned());
    Ok(SulfurRate { low: GramsPerM2(low), high: GramsPerM2(high), at_once, times, working, notes })
}

fn on_free_lime(measured: Option<(&Reading, f64)>, signs: &Signs, ground: &Ground) -> NotLowered {
    let layer = ground.layer();
    let percent = measured.map_or(1.0, |(_, percent)| percent);
    let sulfur = sulfur_to_spend_carbonate(percent, &layer);
    let lime = match measured {
        Some((reading, _)) => reading.working.clone(),
        None => Working::leaf("Free lime, if it were 1 %", Figure::new(1.0, "%", 0), Origin::Chosen)
            .note("Not measured; each 1 % more asks for as much again."),
    };
    let kg = layer.soil_kg_per_ha();
    let per_carbonate = sulfur.0 / (kg * percent / 100.0);
    let ratio = Working::leaf(
        "Sulfur that neutralises 1 kg of CaCO₃, one S to one CaCO₃",
        Figure::new(per_carbonate, "kg", 4),
        Origin::Published,
    )
    .cite(ATOMIC_WEIGHTS);
    let formula = format!(
        "{} kg/ha of soil × {} ÷ 100 × {per_carbonate:.4} = {} kg/ha",
        number(kg),
        number(percent),
        number(sulfur.0)
    );
    let working = Working::step(
        "Sulfur that the free lime uses up first",
        Figure::significant(sulfur.0, KgPerHa::UNIT, 3),
        formula,
        [soil_working(ground), lime, ratio],
    )
    .cite(SULFUR_ON_CARBONATE);
    let grams = sulfur.grams_per_m2().0;
    let reason = match measured {
        Some((reading, _)) => format!(
            "The soil holds {} of free lime, which would use up {grams:.0} g of sulfur per m² before pH could move. Lowering pH here is not realistic; grow what bears lime, or use beds of other soil.",
            reading.figure()
        ),
        None => format!(
            "There are signs of free lime ({}). Each 1 % of it would use up {grams:.0} g of sulfur per m² before pH could move, so lowering pH here is not realistic; gypsum does not lower it either. How much lime there is, a carbonate test on the sheet would tell.",
            signs.reasons.join("; ")
        ),
    };
    NotLowered { reason, spent_on_lime: measured.map(|_| sulfur), working: Some(Box::new(working)) }
}
