//! The invented laboratories' sheets: what each determines, in which units and how finely it prints.

use super::soil::{Dice, Soil};
use crate::{
    agronomy::{
        analyte::Analyte,
        element::Element,
        method::Method,
        record::{Basis, Unit},
    },
    exchange::{number::parse_printed, record_set::CellRow},
};

/// An invented laboratory.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Lab {
    /// Pounds to the acre, P read by colour; the garden's laboratory until it changed.
    TallowBridge,
    /// mg/kg, plasma; the garden's laboratory since.
    SarnWater,
    /// The second sheet of ground that fizzes: bicarbonate, alkaline acetate, chelate, hot water.
    MarlAndFenner,
}

impl Lab {
    pub(super) const fn name(self) -> &'static str {
        match self {
            Lab::TallowBridge => "Tallow Bridge Testing House (invented)",
            Lab::SarnWater => "Sarn Water Soil Laboratory (invented)",
            Lab::MarlAndFenner => "Marl & Fenner Analytical (invented)",
        }
    }

    /// The lab's own number of a sheet.
    pub(super) fn reference(self, year: i16, number: usize) -> String {
        match self {
            Lab::TallowBridge => format!("TB-{:02}-{:04}", year % 100, 400 + number),
            Lab::SarnWater => format!("SW/{year}/{}", 1100 + number * 3),
            Lab::MarlAndFenner => format!("{year}{:05}", 20310 + number),
        }
    }
}

/// A line as it is determined, before chance and print.
struct Line {
    analyte: Analyte,
    method: Method,
    /// In `unit`.
    value: f64,
    /// Relative deviation of sampling and laboratory together.
    deviation: f64,
    unit: Unit,
    decimals: usize,
    /// What is below it is printed as "<" and this.
    limit: f64,
}

/// lb/acre for 1 mg/kg in two million pounds of soil.
const LB_PER_ACRE: f64 = 2.0;

/// The cells of a sheet; `label` names the sample, so that the same sample always prints the same.
pub(super) fn sheet(lab: Lab, soil: &Soil, label: &str, report: usize) -> Vec<CellRow> {
    let lines = match lab {
        Lab::TallowBridge => tallow_bridge(soil),
        Lab::SarnWater => sarn_water(soil),
        Lab::MarlAndFenner => marl_and_fenner(soil),
    };
    lines.into_iter().map(|line| line.print(label, report)).collect()
}

impl Line {
    fn print(self, label: &str, report: usize) -> CellRow {
        let mut dice = Dice::of(&format!("{label} {} {}", self.analyte, self.method.slug()));
        let value = match self.unit {
            // Acidity scatters by a step, not by a share.
            Unit::Ph => self.value + self.deviation * dice.normal(),
            _ => self.value * dice.about(self.deviation),
        };
        let decimals = self.decimals;
        let text = if value < self.limit { format!("<{}", self.limit) } else { format!("{value:.decimals$}") };
        let printed = parse_printed(&text).ok().and_then(|cell| cell.printed()).expect("a number was printed");
        CellRow {
            line: 0,
            report,
            analyte: self.analyte,
            method: self.method,
            printed,
            unit: self.unit,
            form: None,
            basis: Basis::Mass,
            layer: self.unit.is_per_area().then_some("two_million_lb_per_acre"),
        }
    }
}

fn level(soil: &Soil, element: Element) -> f64 {
    soil.levels.get(&element).copied().unwrap_or(0.0)
}

fn ph(soil: &Soil) -> Line {
    let (analyte, method) = (Analyte::Ph, Method::PhWater1to1);
    Line { analyte, method, value: soil.ph, deviation: 0.08, unit: Unit::Ph, decimals: 1, limit: 0.0 }
}

fn organic_matter(soil: &Soil) -> Line {
    Line {
        analyte: Analyte::OrganicMatter,
        method: Method::LossOnIgnition,
        value: soil.organic_matter,
        deviation: 0.05,
        unit: Unit::Percent,
        decimals: 1,
        limit: 0.0,
    }
}

fn tallow_bridge(soil: &Soil) -> Vec<Line> {
    let mut lines = vec![ph(soil), organic_matter(soil)];
    if soil.ph < 6.3 {
        let value = 8.0 - 0.21 * (6.8 - soil.ph);
        let (analyte, method) = (Analyte::BufferPh, Method::BufferAdamsEvans);
        lines.push(Line { analyte, method, value, deviation: 0.02, unit: Unit::Ph, decimals: 2, limit: 0.0 });
    }
    for (element, by, method) in [
        (Element::P, 0.86, Method::Mehlich3Colour), // colour leaves organic P uncounted
        (Element::K, 1.0, Method::Mehlich3Icp),
        (Element::Mg, 1.0, Method::Mehlich3Icp),
        (Element::Ca, 1.0, Method::Mehlich3Icp),
    ] {
        // The auger went to 20 cm then, into poorer soil.
        let value = level(soil, element) * by * 0.92 * LB_PER_ACRE;
        let analyte = Analyte::Element(element);
        lines.push(Line { analyte, method, value, deviation: 0.10, unit: Unit::LbPerAcre, decimals: 0, limit: 0.0 });
    }
    for (element, limit) in [(Element::B, 0.3), (Element::Zn, 0.5), (Element::Cu, 0.5), (Element::Mn, 1.0)] {
        let value = level(soil, element) * 0.95;
        let (analyte, method) = (Analyte::Element(element), Method::Mehlich3Icp);
        lines.push(Line { analyte, method, value, deviation: 0.13, unit: Unit::Ppm, decimals: 1, limit });
    }
    lines
}

fn sarn_water(soil: &Soil) -> Vec<Line> {
    let mut lines = vec![ph(soil), organic_matter(soil)];
    let mut acidity = 0.0;
    if soil.ph < 6.3 {
        let value = 7.0 - 0.42 * (6.9 - soil.ph);
        acidity = 10.0 * (7.0 - value);
        let (analyte, method) = (Analyte::BufferPh, Method::BufferSikora);
        lines.push(Line { analyte, method, value, deviation: 0.03, unit: Unit::Ph, decimals: 2, limit: 0.0 });
    }
    for (element, decimals, deviation, limit) in [
        (Element::P, 0, 0.10, 0.0),
        (Element::K, 0, 0.09, 0.0),
        (Element::Ca, 0, 0.06, 0.0),
        (Element::Mg, 0, 0.07, 0.0),
        (Element::S, 0, 0.14, 0.0),
        (Element::Na, 0, 0.12, 0.0),
        (Element::B, 2, 0.12, 0.20),
        (Element::Zn, 1, 0.10, 0.0),
        (Element::Cu, 1, 0.09, 0.5),
        (Element::Mn, 0, 0.10, 0.0),
        (Element::Fe, 0, 0.10, 0.0),
    ] {
        let (analyte, method, value) = (Analyte::Element(element), Method::Mehlich3Icp, level(soil, element));
        lines.push(Line { analyte, method, value, deviation, unit: Unit::MgPerKg, decimals, limit });
    }
    let bases: f64 = [Element::Ca, Element::Mg, Element::K, Element::Na]
        .into_iter()
        .filter_map(|element| Some(level(soil, element) / element.mg_per_cmol_charge()?))
        .sum();
    lines.push(Line {
        analyte: Analyte::ExchangeCapacity,
        method: Method::CapacitySummation,
        value: bases + acidity,
        deviation: 0.02,
        unit: Unit::MeqPer100g,
        decimals: 1,
        limit: 0.0,
    });
    lines
}

fn marl_and_fenner(soil: &Soil) -> Vec<Line> {
    let mut lines = Vec::new();
    let found = |element| level(soil, element);
    for (element, method, value, decimals, limit) in [
        (Element::P, Method::Olsen, found(Element::P) * 0.36, 0, 0.0),
        (Element::K, Method::AmmoniumAcetate82, found(Element::K) * 0.95, 0, 0.0),
        (Element::Mg, Method::AmmoniumAcetate82, found(Element::Mg) * 0.93, 0, 0.0),
        // Alkaline acetate leaves the lime alone that Mehlich-3 dissolves.
        (Element::Ca, Method::AmmoniumAcetate82, 2050.0 + found(Element::Ca) * 0.14, 0, 0.0),
        (Element::Na, Method::AmmoniumAcetate82, found(Element::Na) * 0.9, 0, 0.0),
        (Element::Zn, Method::Dtpa, found(Element::Zn) * 0.24, 2, 0.0),
        (Element::Cu, Method::Dtpa, found(Element::Cu) * 0.42, 2, 0.0),
        (Element::Mn, Method::Dtpa, found(Element::Mn) * 0.045, 1, 0.0),
        (Element::Fe, Method::Dtpa, found(Element::Fe) * 0.07, 1, 0.0),
        (Element::B, Method::HotWater, found(Element::B) * 0.62, 2, 0.30),
    ] {
        // This laboratory scoops the soil for its Olsen test and prints it by volume.
        let unit = if method == Method::Olsen { Unit::MgPerL } else { Unit::MgPerKg };
        let analyte = Analyte::Element(element);
        lines.push(Line { analyte, method, value, deviation: 0.09, unit, decimals, limit });
    }
    lines.push(Line {
        analyte: Analyte::Carbonate,
        method: Method::Calcimeter,
        value: soil.carbonate,
        deviation: 0.08,
        unit: Unit::Percent,
        decimals: 1,
        limit: 0.0,
    });
    lines.push(Line {
        analyte: Analyte::Conductivity,
        method: Method::Ec1to2,
        value: soil.conductivity,
        deviation: 0.10,
        unit: Unit::MsPerCm,
        decimals: 2,
        limit: 0.0,
    });
    lines
}
