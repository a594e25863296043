//! Panels: the lines that a lab's sheet usually prints together, so that a person types
//! only the numbers. They hold no number of the trade: every method and unit in them is a
//! beginning that the person with the sheet changes where the sheet says otherwise.

use super::{analyte::Analyte, element::Element, method::Method, record::Unit};

/// One line of a sheet, still without its number.
#[derive(Clone, Debug, PartialEq)]
pub struct PanelLine {
    pub analyte: Analyte,
    pub method: Method,
    pub unit: Unit,
}

/// Lines that are offered together.
#[derive(Clone, Debug, PartialEq)]
pub struct Panel {
    /// Key in forms.
    pub slug: &'static str,
    pub name: &'static str,
    /// For what soil or sheet, in one line.
    pub about: &'static str,
    pub lines: &'static [PanelLine],
}

const fn line(analyte: Analyte, method: Method, unit: Unit) -> PanelLine {
    PanelLine { analyte, method, unit }
}

macro_rules! lines {
    ($($method:ident $unit:ident: $($element:ident)+);* $(;)?) => {
        &[$($(line(lines!(@ $element), Method::$method, Unit::$unit)),+),*]
    };
    (@ Ph) => { Analyte::Ph };
    (@ BufferPh) => { Analyte::BufferPh };
    (@ ExchangeCapacity) => { Analyte::ExchangeCapacity };
    (@ OrganicMatter) => { Analyte::OrganicMatter };
    (@ Carbonate) => { Analyte::Carbonate };
    (@ Conductivity) => { Analyte::Conductivity };
    (@ NitrateN) => { Analyte::NitrateN };
    (@ AmmoniumN) => { Analyte::AmmoniumN };
    (@ $element:ident) => { Analyte::Element(Element::$element) };
}

/// The panels offered, in order.
///
/// Where sheets differ in what they leave unsaid (which lime buffer, which dilution), the
/// line starts as "method not stated", so that the page asks.
pub const PANELS: &[Panel] = &[
    Panel {
        slug: "mehlich3",
        name: "Mehlich-3 by ICP, mg/kg",
        about: "One extract for nearly everything; for soil that does not fizz.",
        lines: lines! {
            PhWater1to1 Ph: Ph;
            Unstated Ph: BufferPh;
            LossOnIgnition Percent: OrganicMatter;
            CapacitySummation CmolPerKg: ExchangeCapacity;
            Mehlich3Icp MgPerKg: P K Ca Mg Na S B Fe Mn Zn Cu Al;
        },
    },
    Panel {
        slug: "fizzing",
        name: "Olsen P, alkaline acetate cations, DTPA metals",
        about: "For soil that fizzes: extracts that leave free lime alone.",
        lines: lines! {
            PhWater Ph: Ph;
            Unstated DsPerM: Conductivity;
            Calcimeter Percent: Carbonate;
            LossOnIgnition Percent: OrganicMatter;
            Olsen MgPerKg: P;
            AmmoniumAcetate82 MgPerKg: Ca Mg K Na;
            CapacityAcetate82 CmolPerKg: ExchangeCapacity;
            Dtpa MgPerKg: Fe Mn Zn Cu;
            HotWater MgPerKg: B;
        },
    },
    Panel {
        slug: "neutral_acetate",
        name: "Bray-1 P, neutral acetate cations, DTPA metals",
        about: "Common where the ground is neutral to sour.",
        lines: lines! {
            PhWater1to1 Ph: Ph;
            Unstated Ph: BufferPh;
            LossOnIgnition Percent: OrganicMatter;
            Bray1 MgPerKg: P;
            AmmoniumAcetate7 MgPerKg: Ca Mg K Na;
            CapacitySummation CmolPerKg: ExchangeCapacity;
            Dtpa MgPerKg: Fe Mn Zn Cu;
            HotWater MgPerKg: B;
        },
    },
    Panel {
        slug: "modified_morgan",
        name: "Modified Morgan, mg/kg",
        about: "The weak acetate extract of the north-eastern United States.",
        lines: lines! {
            PhWater1to1 Ph: Ph;
            Unstated Ph: BufferPh;
            LossOnIgnition Percent: OrganicMatter;
            CapacitySummation CmolPerKg: ExchangeCapacity;
            ModifiedMorgan MgPerKg: P K Ca Mg S B Fe Mn Zn Cu Al;
        },
    },
    Panel {
        slug: "morgan_ireland",
        name: "Morgan (Ireland), mg/L",
        about: "Results by volume of scooped soil.",
        lines: lines! {
            PhWater Ph: Ph;
            Unstated Ph: BufferPh;
            LossOnIgnition Percent: OrganicMatter;
            Morgan MgPerL: P K Mg;
        },
    },
    Panel {
        slug: "olsen_nitrate",
        name: "Olsen P, ammonium nitrate K and Mg, mg/L",
        about: "The British index tests, by volume of scooped soil.",
        lines: lines! {
            PhWater1to25 Ph: Ph;
            LossOnIgnition Percent: OrganicMatter;
            Olsen MgPerL: P;
            AmmoniumNitrate MgPerL: K Mg Na;
        },
    },
    Panel {
        slug: "cal_germany",
        name: "CAL P and K, calcium chloride Mg, mg/100 g",
        about: "The German tests; the form, P or P₂O₅, K or K₂O, is as the sheet prints it.",
        lines: lines! {
            PhCalciumChloride Ph: Ph;
            DryCombustion Percent: OrganicMatter;
            Cal MgPer100g: P K;
            CalciumChloride MgPer100g: Mg;
        },
    },
    Panel {
        slug: "egner_riehm_poland",
        name: "Egner-Riehm P and K, mg/100 g",
        about: "The Polish tests; sheets print P₂O₅ and K₂O.",
        lines: lines! {
            PhPotassiumChloride Ph: Ph;
            EgnerRiehm MgPer100g: P K;
        },
    },
    Panel {
        slug: "nitrogen",
        name: "Mineral nitrogen and salts",
        about: "Nitrate and ammonium by potassium chloride, and conductivity.",
        lines: lines! {
            PotassiumChloride MgPerKg: NitrateN AmmoniumN;
            Unstated DsPerM: Conductivity;
        },
    },
    Panel {
        slug: "metals",
        name: "Total metals, mg/kg",
        about: "All that strong acid draws out: for city ground, old orchards and paint.",
        lines: lines! {
            PhWater Ph: Ph;
            Total MgPerKg: Pb As Cd Cr Cu Hg Ni Zn;
        },
    },
];

/// The panel under a key.
pub fn find(slug: &str) -> Option<&'static Panel> {
    PANELS.iter().find(|panel| panel.slug == slug)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_line_has_a_method_that_can_answer_for_it_and_stands_once() {
        for panel in PANELS {
            for (i, line) in panel.lines.iter().enumerate() {
                let fitting = Method::for_analyte(line.analyte);
                assert!(fitting.contains(&line.method), "{}: {}", panel.slug, line.analyte.name());
                let twice = panel.lines[..i].iter().any(|other| other.analyte == line.analyte);
                assert!(!twice, "{}: {} twice", panel.slug, line.analyte.name());
            }
            assert_eq!(find(panel.slug), Some(panel));
        }
    }
}
