//! Exchange capacity by summation or as stated, acidity from a named buffer, and the share
//! of each cation. Never counts aluminium or hydrogen as a base, never takes a missing
//! sodium for none, never adds charge by volume to charge by mass, and withholds what free
//! lime or salts have inflated.

use super::{
    analyte::Analyte,
    carbonate::{ALKALINE_EXTRACTION, Signs, is_alkaline},
    choice::Choice,
    element::Element,
    method::Method,
    quantity::{CmolPerKg, CmolPerL, Percent},
    reading::{Divisors, Level, Reading, charge, charge_decimals, number},
    record::Qualifier,
    source::{Evidence, Source},
    working::{Figure, Working},
};
use std::collections::BTreeMap;

/// The bases; Al and H are acids.
pub const BASES: [Element; 4] = [Element::Ca, Element::Mg, Element::K, Element::Na];

/// Sum of cations and acidity, base saturation as a share of it, and decimals for both.
pub const SUMMATION: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, chapter 15",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

const CLEMSON: Source = Source {
    publisher: "Clemson University Agricultural Service Laboratory",
    title: "Cation exchange capacity calculations",
    year: 0,
    address: "http://www.clemson.edu/public/regulatory/ag-srvc-lab/soil-testing/cec-calculations.html",
    evidence: Evidence::Read,
};

const CROP_FILE: Source = Source {
    publisher: "ServiTech",
    title: "Crop File 1.04.132, What is base saturation?",
    year: 0,
    address: "https://cropfile.hostwiki.io/1-00-soil-fertility-and-plant-nutrition/1-04-132-what-is-base-saturation",
    evidence: Evidence::Read,
};

const NORTH_CAROLINA: Source = Source {
    publisher: "North Carolina Department of Agriculture",
    title: "Buffer acidity (Mehlich 1976): (6.6 − buffer pH) × 4, in meq/100 cm³",
    year: 0,
    address: "http://www.ncagr.gov/agronomi/bufftab1.htm",
    evidence: Evidence::Read,
};

const WOODRUFF: Source = Source {
    publisher: "University of Missouri",
    title: "Acidity from the Woodruff buffer: 10 × (7.0 − buffer pH)",
    year: 0,
    address: "",
    evidence: Evidence::Memory,
};

const NO_ACIDITY_FROM_PH_7: Source = Source {
    publisher: "",
    title: "No exchangeable acidity is counted from pH 7.0 up",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// How one buffer's reading becomes acidity: factor × (start − buffer pH), never below 0.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct AcidityFormula {
    /// cmol(+) per pH unit, per kg or per litre of soil.
    pub factor: f64,
    /// The buffer pH at which no acidity is left.
    pub start: f64,
    /// Whether the answer is per volume of soil (meq/100 cm³).
    pub by_volume: bool,
    /// What must be said about it.
    pub caution: &'static str,
    pub source: Source,
}

/// The formula that belongs to a buffer; none without its name, for the same buffer pH of 6.4
/// means 12.8, 7.2, 6.0 or 0.8 by four buffers.
pub fn acidity_formula(buffer: &Method) -> Option<AcidityFormula> {
    let (factor, start, by_volume, caution, source) = match buffer {
        Method::BufferAdamsEvans => (
            8.0,
            8.0,
            false,
            "The formula was read at its publisher; that its buffer is Adams-Evans is from memory, unverified",
            CLEMSON,
        ),
        Method::BufferSmp | Method::BufferSikora => {
            (12.0, 7.0, false, "Printed for soil of pH 6.4 or below", CROP_FILE)
        }
        Method::BufferMehlich => (4.0, 6.6, true, "", NORTH_CAROLINA),
        Method::BufferWoodruff => (10.0, 7.0, false, "", WOODRUFF),
        _ => return None,
    };
    Some(AcidityFormula { factor, start, by_volume, caution, source })
}

/// Exchangeable acidity from a buffer pH: cmol(+)/kg, or cmol(+)/L for a buffer that is read by volume.
pub fn acidity_from_buffer(buffer_ph: &Reading) -> Result<(Level, Working), Withheld> {
    let Level::Ph(ph) = buffer_ph.level else {
        return Err(Withheld::because("The buffer reading is not a pH"));
    };
    let Some(formula) = acidity_formula(&buffer_ph.method) else {
        return Err(Withheld::because(
            "The sheet does not name its lime buffer, and a buffer pH says nothing without the name: ask the laboratory, and choose the buffer as the method of the line",
        ));
    };
    let acidity = (formula.factor * (formula.start - ph)).max(0.0);
    let level = with_unit(acidity, formula.by_volume);
    let text = format!(
        "{} × ({} − {}) = {} {}{}",
        number(formula.factor),
        number(formula.start),
        number(ph),
        number(acidity),
        level.unit(),
        if ph > formula.start { ", no acidity being left" } else { "" }
    );
    let figure = Figure::new(acidity, level.unit(), charge_decimals(acidity));
    let mut working = Working::step("Acidity from the buffer pH", figure, text, [buffer_ph.working.clone()])
        .note(format!("The formula of the {} only", buffer_ph.method.label()))
        .cite(formula.source);
    if !formula.caution.is_empty() {
        working = working.note(formula.caution);
    }
    Ok((level, working))
}

/// How a displaced capacity is titrated.
pub const TITRATION: Source = Source {
    publisher: "University of Illinois, NRES 201 laboratory notes",
    title: "Exchange capacity by distillation: 12.5 mL of 0.10 N acid on 5 g of soil is 25 meq/100 g",
    year: 0,
    address: "https://www.coursehero.com/file/6307336",
    evidence: Evidence::Read,
};

/// Charge found by titrating what a weight of soil gave off: mL × normality ÷ g × 100. `None`
/// without soil, or for a titration below zero.
pub fn titrated(soil_g: f64, acid_ml: f64, normality: f64) -> Option<CmolPerKg> {
    let charge = acid_ml * normality / soil_g * 100.0;
    (soil_g > 0.0 && charge.is_finite() && charge >= 0.0).then_some(CmolPerKg(charge))
}

/// The acid, mL, that a charge takes: the other way round.
pub fn acid_for(charge: CmolPerKg, soil_g: f64, normality: f64) -> Option<f64> {
    let ml = charge.0 * soil_g / 100.0 / normality;
    (normality > 0.0 && ml.is_finite() && ml >= 0.0).then_some(ml)
}

/// Clemson's divisors (lb/acre ÷ 400, 240, 782, 460 at ppm × 2).
pub fn clemson_divisors() -> Divisors {
    use Element::*;
    Divisors::published("Clemson's rounded weights", [(Ca, 200.0), (Mg, 120.0), (K, 391.0), (Na, 230.0)], CLEMSON)
}

/// The rounded divisors most American publishers print (ppm ÷ 200, 120, 390, 230).
pub fn rounded_divisors() -> Divisors {
    use Element::*;
    Divisors::published("rounded weights", [(Ca, 200.0), (Mg, 120.0), (K, 390.0), (Na, 230.0)], CROP_FILE)
}

/// Why there is no capacity.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Withheld {
    /// A sentence.
    pub reason: String,
}

impl Withheld {
    fn because(reason: impl Into<String>) -> Self {
        Withheld { reason: reason.into() }
    }
}

/// What a capacity is made from.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Parts {
    /// Ca, Mg, K, Na, and Al and H where the sheet prints them; the bases all by one method.
    pub cations: BTreeMap<Element, Reading>,
    pub acidity: Option<Reading>,
    pub buffer_ph: Option<Reading>,
    pub ph: Option<Reading>,
    /// The capacity as the sheet states it.
    pub stated: Option<Reading>,
}

impl Parts {
    /// Takes the parts from the choices made: all bases by the method chosen for calcium.
    pub fn gather(choices: &BTreeMap<Analyte, Choice>) -> Parts {
        let calcium = choices.get(&Analyte::Element(Element::Ca)).map(|choice| choice.chosen.clone());
        // Parts of other dates or depths are of other soil, and are left out rather than added.
        let of_this_soil = |reading: &Reading| {
            calcium.as_ref().is_none_or(|ca| (ca.sampled_on, ca.depth) == (reading.sampled_on, reading.depth))
        };
        let chosen =
            |analyte| choices.get(&analyte).map(|choice| choice.chosen.clone()).filter(|reading| of_this_soil(reading));
        let mut cations = BTreeMap::new();
        for element in BASES.into_iter().chain([Element::Al, Element::H]) {
            let Some(choice) = choices.get(&Analyte::Element(element)) else { continue };
            let fits = |reading: &&Reading| {
                of_this_soil(reading)
                    && match (&calcium, BASES.contains(&element)) {
                        (Some(calcium), true) => {
                            reading.method == calcium.method && reading.level.unit() == calcium.level.unit()
                        }
                        _ => true,
                    }
            };
            if let Some(reading) = std::iter::once(&choice.chosen).chain(&choice.others).find(fits) {
                cations.insert(element, reading.clone());
            }
        }
        Parts {
            cations,
            acidity: chosen(Analyte::Acidity),
            buffer_ph: chosen(Analyte::BufferPh),
            ph: chosen(Analyte::Ph),
            stated: chosen(Analyte::ExchangeCapacity),
        }
    }
}

/// One part of the capacity.
#[derive(Clone, Debug, PartialEq)]
pub struct Held {
    /// cmol(+)/kg or cmol(+)/L.
    pub charge: Level,
    /// Share of the capacity.
    pub share: Percent,
    /// The share, down to the printed cells.
    pub working: Working,
}

/// The exchange capacity and who holds it.
#[derive(Clone, Debug, PartialEq)]
pub struct Capacity {
    /// cmol(+)/kg, or cmol(+)/L where the lab scoops.
    pub level: Level,
    /// Whether it is the sheet's own figure and not our sum.
    pub stated: bool,
    pub working: Working,
    /// Each base found on the sheet; a base that is not on it is unknown, and not here.
    pub cations: BTreeMap<Element, Held>,
    pub acidity: Option<Held>,
    /// Bases as a share of the capacity; `None` while calcium, magnesium or potassium is unknown.
    pub base_saturation: Option<Held>,
    pub notes: Vec<String>,
}

/// The capacity: as the sheet states it, otherwise by summation; with the share of each cation.
///
/// Withheld, with the reason, where free lime or salts inflate the bases, where a part of the
/// sum is unknown, and where charge by mass and by volume would have to be added.
pub fn capacity(parts: &Parts, signs: &Signs, divisors: &Divisors) -> Result<Capacity, Withheld> {
    let mut notes = Vec::new();
    withhold_inflated(parts, signs, &mut notes)?;
    let stated = parts.stated.as_ref().filter(|stated| {
        let suits = !signs.calcareous() || is_alkaline(&stated.method) || stated.method == Method::CapacityAcetate82;
        if !suits {
            notes.push(format!(
                "The capacity on the sheet ({}, {}) counts dissolved lime and is left aside",
                stated.figure(),
                stated.method.label().to_lowercase()
            ));
        }
        suits
    });
    let mut charges: BTreeMap<Element, (Level, Working)> = BTreeMap::new();
    for (element, reading) in &parts.cations {
        let Some((level, working)) = charge(reading, divisors) else { continue };
        match reading.qualifier {
            Qualifier::Below => {
                notes.push(format!("{} is below {}: counted at that limit", element.name(), reading.figure()))
            }
            Qualifier::Above => {
                notes.push(format!("{} is above {}: counted at that limit", element.name(), reading.figure()))
            }
            _ => {}
        }
        charges.insert(*element, (level, working));
    }
    let unit = match (stated, charges.values().next()) {
        (Some(stated), _) => stated.level.unit(),
        (None, Some((level, _))) => level.unit(),
        (None, None) => {
            return Err(Withheld::because(
                "No cation is on the sheet: a capacity needs calcium, magnesium and potassium by one extraction, or the sheet’s own capacity",
            ));
        }
    };
    if charges.values().any(|(level, _)| level.unit() != unit) {
        return Err(Withheld::because(
            "Some cations are by mass and some by volume of soil: they cannot be added without the density of the scooped soil",
        ));
    }
    let acidity = acidity(parts, &charges, unit, stated.is_some())?;
    let bases: Vec<_> = BASES.iter().filter_map(|base| charges.get(base).map(|held| (*base, held.clone()))).collect();
    let missing: Vec<&str> =
        BASES[..3].iter().filter(|base| !charges.contains_key(base)).map(|base| base.name()).collect();
    if stated.is_none() && !missing.is_empty() {
        return Err(Withheld::because(format!(
            "The sum needs {}, which the sheet does not give by the same method",
            missing.join(" and ")
        )));
    }
    if !charges.contains_key(&Element::Na) {
        notes.push("Sodium is not on the sheet: unknown, not none; its share cannot be told".into());
    }
    let (level, working) = match stated {
        Some(stated) => (stated.level, stated.working.clone()),
        None => {
            sum("Exchange capacity, summed", bases.iter().map(|(_, held)| held.clone()).chain(acidity.clone()), unit)
        }
    };
    if level.number() <= 0.0 {
        return Err(Withheld::because("A capacity of 0 cannot be shared out"));
    }
    let share = |title: String, held: &(Level, Working), decimals: u8| {
        let percent = 100.0 * held.0.number() / level.number();
        let text = format!("100 × {} ÷ {} = {} %", number(held.0.number()), number(level.number()), number(percent));
        let working =
            Working::step(title, Figure::new(percent, "%", decimals), text, [held.1.clone(), working.clone()])
                .cite(SUMMATION);
        Held { charge: held.0, share: Percent(percent), working }
    };
    let base_saturation = missing.is_empty().then(|| {
        let sum = sum("Bases, summed", bases.iter().map(|(_, held)| held.clone()), unit);
        share("Base saturation".into(), &sum, 0)
    });
    if base_saturation.as_ref().is_some_and(|held| held.share.0 > 100.5) {
        notes.push("The bases come to more than the capacity: free lime, salts, or a slip on the sheet".into());
    }
    Ok(Capacity {
        level,
        stated: stated.is_some(),
        cations: bases.iter().map(|(base, held)| (*base, share(Analyte::Saturation(*base).name(), held, 1))).collect(),
        acidity: acidity.map(|held| share("Acidity as a share".into(), &held, 1)),
        base_saturation,
        working,
        notes,
    })
}

/// Refuses bases that the extraction dissolved out of lime or salts.
fn withhold_inflated(parts: &Parts, signs: &Signs, notes: &mut Vec<String>) -> Result<(), Withheld> {
    let inflated: Vec<&Reading> = parts
        .cations
        .iter()
        .filter(|(element, reading)| BASES.contains(element) && !is_alkaline(&reading.method))
        .map(|(_, reading)| reading)
        .collect();
    if let Some(reading) = inflated.first().filter(|_| signs.inflates_bases()) {
        let (kind, why) = if signs.calcareous() { ("free lime", &signs.reasons) } else { ("salts", &signs.salts) };
        return Err(Withheld::because(format!(
            "There are signs of {kind} ({}), and {} over-reads the bases there: sums and shares need an extraction at pH 8.2 to 8.5. Potassium and magnesium in {} stay usable",
            why.join("; "),
            reading.method.label(),
            reading.level.unit()
        )));
    }
    if signs.salty() && parts.cations.values().any(|r| r.method != Method::AmmoniumChloride85) {
        notes.push(format!("Salts add to the bases, alkaline extraction or not: {}", signs.salts.join("; ")));
    }
    if signs.calcareous() {
        notes.push(format!(
            "Free lime: the bases are by an alkaline extraction, which leaves most of it alone ({})",
            ALKALINE_EXTRACTION.title
        ));
    }
    Ok(())
}

/// The acidity in the unit of the cations, from the best that the sheet gives.
fn acidity(
    parts: &Parts,
    charges: &BTreeMap<Element, (Level, Working)>,
    unit: &'static str,
    stated: bool,
) -> Result<Option<(Level, Working)>, Withheld> {
    let acids: Vec<_> = [Element::H, Element::Al].iter().filter_map(|acid| charges.get(acid).cloned()).collect();
    let found = if let Some(acidity) = &parts.acidity {
        Some((acidity.level, acidity.working.clone()))
    } else if !acids.is_empty() {
        Some(sum("Acidity, hydrogen and aluminium", acids.into_iter(), unit))
    } else if let Some(buffer_ph) = &parts.buffer_ph {
        match acidity_from_buffer(buffer_ph) {
            Ok(found) => Some(found),
            Err(_) if stated => None,
            Err(withheld) => return Err(withheld),
        }
    } else {
        match parts.ph.as_ref().map(|ph| (ph, ph.level)) {
            Some((reading, Level::Ph(ph))) if ph >= 7.0 => {
                let text = format!("pH {} is 7.0 or more: none", reading.figure());
                let working = Working::step("Acidity", Figure::new(0.0, unit, 0), text, [reading.working.clone()])
                    .cite(NO_ACIDITY_FROM_PH_7);
                Some((with_unit(0.0, unit == CmolPerL::UNIT), working))
            }
            _ if stated => None,
            _ => {
                return Err(Withheld::because(
                    "Below pH 7 the capacity needs the acidity, or a buffer pH with the buffer's name: the bases alone are not the capacity",
                ));
            }
        }
    };
    match found {
        Some((level, _)) if level.unit() != unit && stated => Ok(None),
        Some((level, _)) if level.unit() != unit => Err(Withheld::because(format!(
            "The acidity is in {} and the cations are in {unit}: they cannot be added without the density of the scooped soil",
            level.unit()
        ))),
        found => Ok(found),
    }
}

/// Adds charges of one unit.
fn sum(title: &str, parts: impl Iterator<Item = (Level, Working)>, unit: &'static str) -> (Level, Working) {
    let parts: Vec<_> = parts.collect();
    let total: f64 = parts.iter().map(|(level, _)| level.number()).sum();
    let terms: Vec<String> = parts.iter().map(|(level, _)| number(level.number())).collect();
    let text = format!("{} = {} {unit}", terms.join(" + "), number(total));
    let figure = Figure::new(total, unit, charge_decimals(total));
    let working = Working::step(title, figure, text, parts.into_iter().map(|(_, working)| working)).cite(SUMMATION);
    (with_unit(total, unit == CmolPerL::UNIT), working)
}

fn with_unit(value: f64, by_volume: bool) -> Level {
    if by_volume { Level::CmolPerL(CmolPerL(value)) } else { Level::CmolPerKg(CmolPerKg(value)) }
}
