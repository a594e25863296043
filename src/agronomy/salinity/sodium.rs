//! Sodium: its ratio in the soil's water, its share of the exchange complex, and the gypsum
//! that drives it out. Ratios are of charge, so mg/L must become meq/L first; a share of the
//! exchange needs sodium on the sheet, for a missing one is unknown and not zero.

use super::entered;
use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    exchange_capacity::Capacity,
    method::Method,
    quantity::{Centimetres, CmolPerKg, GramsPerCm3, KgPerHa, Percent},
    reading::{Level, Reading, number},
    source::{Citation, Evidence, Source},
    working::{Figure, Origin, Working},
};

/// Charge in solution, meq/L (= mmol(+)/L).
#[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd)]
pub struct MeqPerL(pub f64);

impl MeqPerL {
    /// The unit as printed.
    pub const UNIT: &'static str = "meq/L";

    /// From mg/L of a cation; `None` for what is not one.
    pub fn from_mg_per_l(element: Element, mg_per_l: f64) -> Option<MeqPerL> {
        // mg per cmol(+) is ten times mg per mmol(+).
        Some(MeqPerL(mg_per_l / (element.mg_per_cmol_charge()? / 10.0)))
    }
}

const RATIO: Source = Source {
    publisher: "US Salinity Laboratory, Agriculture Handbook 60",
    title: "Sodium adsorption ratio: Na ÷ √((Ca + Mg) ÷ 2), all in meq/L",
    year: 1954,
    address: "",
    evidence: Evidence::Quoted,
};

const REGRESSION: Source = Source {
    publisher: "US Salinity Laboratory, Agriculture Handbook 60",
    title: "Exchangeable sodium from the adsorption ratio: −0.0126 + 0.01475 × SAR",
    year: 1954,
    address: "",
    evidence: Evidence::Memory,
};

const GYPSUM: Source = Source {
    publisher: "Oster, Shainberg & Abrol 1999, quoted by North Dakota State University",
    title: "Gypsum requirement: 8.6 × F × depth × density × CEC × (ESP − aim) ÷ purity in per cent",
    year: 1999,
    address: "",
    evidence: Evidence::Quoted,
};

/// Calcium, magnesium and sodium of a saturation extract or of water.
#[derive(Clone, Debug, PartialEq)]
pub struct Solution {
    pub calcium: (MeqPerL, Working),
    pub magnesium: (MeqPerL, Working),
    pub sodium: (MeqPerL, Working),
}

impl Solution {
    /// From mg/L as entered.
    pub fn from_mg_per_l(calcium: f64, magnesium: f64, sodium: f64) -> Solution {
        let part = |element: Element, mg: f64| {
            let title = format!("{} in solution", Analyte::Element(element).name());
            in_charge(element, mg, entered(&title, mg, "mg/L", 0))
        };
        Solution {
            calcium: part(Element::Ca, calcium),
            magnesium: part(Element::Mg, magnesium),
            sodium: part(Element::Na, sodium),
        }
    }

    /// From the readings of a saturation extract by volume; what was drawn from soil by mass is refused.
    pub fn from_readings(readings: &[Reading]) -> Result<Solution, String> {
        let part = |element: Element| {
            let name = element.name();
            let reading = readings
                .iter()
                .find(|r| r.analyte == Analyte::Element(element) && r.method == Method::SaturationExtract)
                .ok_or_else(|| {
                    format!("There is no {name} in a saturation extract on the sheet; type calcium, magnesium and sodium in mg/L.")
                })?;
            match reading.level {
                Level::MgPerL(v) => Ok(in_charge(element, v.0, reading.working.clone())),
                _ => Err(format!("The {name} of the saturation extract is not by volume of extract.")),
            }
        };
        Ok(Solution { calcium: part(Element::Ca)?, magnesium: part(Element::Mg)?, sodium: part(Element::Na)? })
    }
}

fn in_charge(element: Element, mg_per_l: f64, from: Working) -> (MeqPerL, Working) {
    let charge = MeqPerL::from_mg_per_l(element, mg_per_l).unwrap_or_default();
    let per = element.mg_per_cmol_charge().unwrap_or(f64::NAN) / 10.0;
    let formula = format!("{} mg/L ÷ {} = {} meq/L", number(mg_per_l), number(per), number(charge.0));
    let title = format!("{} as charge", Analyte::Element(element).name());
    (charge, Working::step(title, Figure::new(charge.0, MeqPerL::UNIT, 2), formula, [from]))
}

/// The sodium adsorption ratio: sodium over the root of HALF the sum of calcium and magnesium.
pub fn sodium_adsorption(solution: &Solution) -> Result<(f64, Working), String> {
    let Solution { calcium, magnesium, sodium } = solution;
    let half = (calcium.0.0 + magnesium.0.0) / 2.0;
    if !half.is_finite() || half <= 0.0 {
        return Err("Without calcium and magnesium in solution the ratio divides by zero.".into());
    }
    let ratio = sodium.0.0 / half.sqrt();
    if !ratio.is_finite() || ratio < 0.0 {
        return Err("These figures give no sodium adsorption ratio.".into());
    }
    let formula = format!(
        "{} ÷ √(({} + {}) ÷ 2) = {}",
        number(sodium.0.0),
        number(calcium.0.0),
        number(magnesium.0.0),
        number(ratio)
    );
    let inputs = [sodium.1.clone(), calcium.1.clone(), magnesium.1.clone()];
    Ok((ratio, Working::step("Sodium adsorption ratio", Figure::new(ratio, "", 1), formula, inputs).cite(RATIO)))
}

/// Exchangeable sodium, % of the capacity, as the capacity holds it.
pub fn exchangeable_sodium(capacity: &Capacity) -> Result<(Percent, Working), String> {
    match capacity.cations.get(&Element::Na) {
        Some(held) => Ok((held.share, held.working.clone())),
        None => Err("Sodium is not on the sheet: its share is unknown, not nothing. Enter sodium as a line of the sheet, or type its share of the capacity.".into()),
    }
}

/// Exchangeable sodium estimated from the adsorption ratio; never below zero.
pub fn esp_from_sar(sar: f64, sar_working: Working) -> Result<(Percent, Working), String> {
    if !sar.is_finite() || sar < 0.0 {
        return Err("The sodium adsorption ratio is not below zero.".into());
    }
    let ratio = -0.0126 + 0.01475 * sar;
    let percent = (100.0 * ratio / (1.0 + ratio)).max(0.0);
    let formula = format!(
        "r = −0.0126 + 0.01475 × {} = {}; 100 × r ÷ (1 + r) = {} %",
        number(sar),
        number(ratio),
        number(percent)
    );
    let working = Working::step("Exchangeable sodium, estimated", Figure::new(percent, "%", 0), formula, [sar_working])
        .cite(REGRESSION)
        .note("From memory, unverified; an estimate where the capacity is not known.")
        .note(format!("By the ratio itself, {} ({}).", sar_class_us(sar), Citation::from(SODIC_BY_RATIO)));
    Ok((Percent(percent), working))
}

/// Where American publishers draw the line by the adsorption ratio.
pub const SODIC_BY_RATIO: Source = Source {
    publisher: "Colorado State University Extension",
    title: "Factsheet 0.504: soil is sodic above a sodium adsorption ratio of 13",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// The same by the sodium adsorption ratio of the saturation extract ([`SODIC_BY_RATIO`]).
pub fn sar_class_us(sar: f64) -> &'static str {
    if sar > 13.0 { "sodic" } else { "not sodic" }
}

/// Where American publishers draw the line (Oklahoma State: sodic from 15 %).
pub fn esp_class_us(esp: Percent) -> &'static str {
    if esp.0 >= 15.0 { "sodic" } else { "not sodic" }
}

/// Where Australian publishers draw it (SCMA 15N1: below 6 non-sodic, 6 to 15, above 15).
pub fn esp_class_australia(esp: Percent) -> &'static str {
    match esp.0 {
        v if v < 6.0 => "non-sodic",
        v if v <= 15.0 => "sodic",
        _ => "strongly sodic",
    }
}

/// The exchange to be changed by gypsum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Exchange {
    pub capacity: CmolPerKg,
    pub esp_from: Percent,
    pub esp_to: Percent,
}

/// A bed to be treated with gypsum.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GypsumCase {
    pub exchange: Exchange,
    pub depth: Centimetres,
    pub bulk_density: GramsPerCm3,
    /// 1.1 to 1.3: how much is lost on the way.
    pub losses: f64,
    /// In PER CENT: 90, not 0.9.
    pub purity: Percent,
    /// Water in the product, % of its dry mass.
    pub moisture: Percent,
}

/// A gypsum requirement.
#[derive(Clone, Debug, PartialEq)]
pub struct GypsumRate {
    /// The product as it is spread. Never below zero.
    pub rate: KgPerHa,
    pub working: Working,
    pub notes: Vec<String>,
}

/// Gypsum that brings exchangeable sodium down; none where it is at its aim.
pub fn gypsum_requirement(case: &GypsumCase) -> Result<GypsumRate, String> {
    let capacity = entered("Exchange capacity", case.exchange.capacity.0, CmolPerKg::UNIT, 1);
    let sodium = entered("Exchangeable sodium now", case.exchange.esp_from.0, "%", 1);
    gypsum_on(case, capacity, sodium)
}

/// The same, with what stands behind the capacity and the sodium.
pub fn gypsum_on(case: &GypsumCase, capacity: Working, sodium: Working) -> Result<GypsumRate, String> {
    let GypsumCase { exchange, depth, bulk_density, losses, purity, moisture } = *case;
    if purity.0 <= 1.0 && purity.0 > 0.0 {
        return Err(format!(
            "A purity of {} looks like a fraction; the formula asks for per cent ({}), and would come out a hundred times too high.",
            number(purity.0),
            number(purity.0 * 100.0)
        ));
    }
    if !(1.0..=100.0).contains(&purity.0) {
        return Err("Purity lies between 1 and 100 %.".into());
    }
    if !(1.1..=1.3).contains(&losses) {
        return Err("The factor for losses is printed as 1.1 to 1.3.".into());
    }
    if !(0.0..100.0).contains(&moisture.0) {
        return Err("Moisture lies between 0 and 100 %.".into());
    }
    let share = |p: Percent| (0.0..=100.0).contains(&p.0);
    if !share(exchange.esp_from) || !share(exchange.esp_to) || !(0.0..).contains(&exchange.capacity.0) {
        return Err("Shares of the exchange lie between 0 and 100 %.".into());
    }
    let drop = (exchange.esp_from.0 - exchange.esp_to.0).max(0.0);
    let tonnes = 8.6 * losses * (depth.0 / 100.0) * bulk_density.0 * exchange.capacity.0 * drop / purity.0
        * (1.0 + moisture.0 / 100.0);
    if !tonnes.is_finite() || tonnes < 0.0 {
        return Err("These figures give no gypsum requirement.".into());
    }
    let mut formula = format!(
        "8.6 × {losses} × {} m × {} × {} × ({} − {}) ÷ {}",
        number(depth.0 / 100.0),
        number(bulk_density.0),
        number(exchange.capacity.0),
        number(exchange.esp_from.0),
        number(exchange.esp_to.0),
        number(purity.0)
    );
    if moisture.0 > 0.0 {
        formula.push_str(&format!(" × (1 + {} ÷ 100)", number(moisture.0)));
    }
    formula.push_str(&format!(" = {} t/ha", number(tonnes)));
    let inputs = [
        capacity,
        sodium,
        Working::leaf("Exchangeable sodium aimed at", Figure::new(exchange.esp_to.0, "%", 0), Origin::Chosen),
        entered("Depth", depth.0, "cm", 0),
        entered("Bulk density", bulk_density.0, GramsPerCm3::UNIT, 2),
        Working::leaf("Factor for losses", Figure::new(losses, "", 1), Origin::Chosen),
        entered("Purity of the gypsum", purity.0, "%", 0),
    ];
    let working = Working::step("Gypsum to give", Figure::new(tonnes, "t/ha", 1), formula, inputs).cite(GYPSUM);
    let notes = vec![
        "Gypsum only loosens the sodium; water must then carry it below the roots. Under cover that means deep watering, for no rain arrives.".to_owned(),
        "Gypsum is not lime: it neither raises nor lowers the pH of limy soil.".to_owned(),
    ];
    Ok(GypsumRate { rate: KgPerHa(tonnes * 1000.0), working, notes })
}
