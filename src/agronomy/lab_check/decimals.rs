//! How finely a sheet prints its results, beside the decimals that a publisher recommends for
//! reporting. It changes no result: what was printed stays as printed everywhere.

use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    exchange_capacity::BASES,
    method::Method,
    reading::{charge_decimals, number},
    record::{Determination, Qualifier, Unit},
    source::{Evidence, Source},
};

/// Who recommends them.
pub const REPORTING: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, table App. 1.1: decimals for reporting",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// The fewest and the most decimals that are recommended for a result in its unit ([`REPORTING`]);
/// `None` where the table says nothing of such a test or unit.
pub fn recommended(analyte: Analyte, method: &Method, unit: Unit, value: f64) -> Option<(u8, u8)> {
    let exactly = |decimals| Some((decimals, decimals));
    match (analyte, unit) {
        (Analyte::Ph, Unit::Ph) => exactly(1),
        (Analyte::Conductivity, Unit::DsPerM | Unit::MsPerCm) => exactly(3),
        // A thousandth of a dS/m is one µS/cm.
        (Analyte::Conductivity, Unit::UsPerCm) => exactly(0),
        (Analyte::ExchangeCapacity, Unit::CmolPerKg | Unit::MeqPer100g) => exactly(charge_decimals(value)),
        (Analyte::Element(element), Unit::CmolPerKg | Unit::MeqPer100g) if BASES.contains(&element) => {
            exactly(charge_decimals(value))
        }
        (Analyte::Saturation(Element::Na), Unit::Percent) => exactly(1),
        (Analyte::BaseSaturation, Unit::Percent) => exactly(0),
        (Analyte::OrganicCarbon, Unit::Percent) => exactly(if value < 1.0 { 2 } else { 1 }),
        (Analyte::Element(_), Unit::MgPerKg | Unit::Ppm)
            if matches!(method, Method::Mehlich3Icp | Method::Mehlich3Colour) =>
        {
            Some((0, 1))
        }
        _ => None,
    }
}

/// What is to be said of how finely a sheet prints: a sentence for what is finer than
/// recommended, one for what is coarser, with what its rounding leaves open.
pub fn fineness(cells: &[Determination]) -> Vec<String> {
    let (mut finer, mut coarser) = (vec![], vec![]);
    for cell in cells {
        let (Qualifier::Exact, Some(value)) = (cell.printed.qualifier, cell.printed.value) else { continue };
        let Some((least, most)) = recommended(cell.analyte, &cell.method, cell.unit, value) else { continue };
        let unit = if cell.unit == Unit::Ph { String::new() } else { format!("\u{a0}{}", cell.unit.symbol()) };
        let printed = format!("{} {}{unit}", cell.analyte.name(), cell.printed.text);
        if cell.printed.decimals > most {
            let asked = if least < most { format!("{least} to {}", decimals(most)) } else { decimals(most) };
            finer.push(format!("{printed} ({asked})"));
        } else if cell.printed.decimals < least {
            let half = 0.5 * 10f64.powi(-i32::from(cell.printed.decimals));
            coarser.push(format!(
                "{printed} ({}: as it stands, anything from {} to {})",
                decimals(least),
                number((value - half).max(0.0)),
                number(value + half)
            ));
        }
    }
    let mut said = vec![];
    if !finer.is_empty() {
        said.push(format!(
            "Printed finer than is recommended: {}. Digits beyond that are no ground to tell two results apart. ({REPORTING}.)",
            finer.join("; ")
        ));
    }
    if !coarser.is_empty() {
        said.push(format!("Printed coarser than is recommended: {}. ({REPORTING}.)", coarser.join("; ")));
    }
    said
}

fn decimals(count: u8) -> String {
    match count {
        0 => "no decimals".into(),
        1 => "1 decimal".into(),
        _ => format!("{count} decimals"),
    }
}
