//! Quantities with their units in the type, and the soil layer that joins
//! concentration to area.
//!
//! A concentration by mass (mg/kg) and one by volume (mg/L) are different types, and
//! only a [`SoilLayer`] turns the first into kg/ha, only a depth the second: field bulk
//! density never touches a by-volume result.

use super::source::{Evidence, Source};
use serde::{Deserialize, Serialize};
use std::fmt;

macro_rules! quantities {
    ($($(#[$doc:meta])* $name:ident $unit:literal),* $(,)?) => {$(
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl $name {
            /// The unit as printed.
            pub const UNIT: &'static str = $unit;
        }

        impl fmt::Display for $name {
            /// The bare number with the formatter's precision, then the unit.
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)?;
                f.write_str(concat!("\u{a0}", $unit))
            }
        }
    )*};
}

quantities! {
    /// Concentration by mass of dry soil.
    MgPerKg "mg/kg",
    /// Concentration by volume of scooped, dried and ground soil.
    MgPerL "mg/L",
    /// Charge held per mass of soil; the same number as meq/100 g.
    CmolPerKg "cmol(+)/kg",
    /// Charge held per volume of scooped soil; the same number as meq/100 cm³. Never added to charge by mass.
    CmolPerL "cmol(+)/L",
    /// Mass of an element (never an oxide) per area of ground.
    KgPerHa "kg/ha",
    /// Mass per area on the scale of a bed.
    GramsPerM2 "g/m²",
    /// Mass on the scale of a weighing.
    Grams "g",
    /// Area of ground.
    SquareMetres "m²",
    /// Depth of soil.
    Centimetres "cm",
    /// Dry mass per volume of soil as it lies.
    GramsPerCm3 "g/cm³",
    /// A share of a whole, 0 to 100 where it is one.
    Percent "%",
    /// Electrical conductivity; meaningless without its dilution.
    DsPerM "dS/m",
}

/// kilograms in a pound avoirdupois (exact, international yard and pound agreement, 1959).
pub const KG_PER_LB: f64 = 0.453_592_37;
/// square metres in an acre (exact to the digits given).
pub const M2_PER_ACRE: f64 = 4_046.856_422_4;
/// kg/ha in 1 lb/acre.
pub const KG_PER_HA_PER_LB_PER_ACRE: f64 = KG_PER_LB * 10_000.0 / M2_PER_ACRE;

impl KgPerHa {
    /// 1 kg/ha is 0.1 g/m².
    pub fn grams_per_m2(self) -> GramsPerM2 {
        GramsPerM2(self.0 * 0.1)
    }

    /// Grams on a plot of this area.
    pub fn on(self, area: SquareMetres) -> Grams {
        Grams(self.0 * 0.1 * area.0)
    }

    /// The same rate in lb/acre.
    pub fn lb_per_acre(self) -> f64 {
        self.0 / KG_PER_HA_PER_LB_PER_ACRE
    }
}

impl GramsPerM2 {
    /// 1 g/m² is 10 kg/ha.
    pub fn kg_per_ha(self) -> KgPerHa {
        KgPerHa(self.0 * 10.0)
    }
}

impl Grams {
    /// In words that suit a kitchen scale: "12.4 kg", "9.18 kg", "298 g", "12.6 g", "4 g", "40 mg".
    pub fn words(self) -> String {
        let (value, decimals, unit) = match self.0.abs() {
            x if x >= 10_000.0 => (self.0 / 1000.0, 1, "kg"),
            x if x >= 1_000.0 => (self.0 / 1000.0, 2, "kg"),
            x if x >= 100.0 => (self.0, 0, "g"),
            x if x >= 10.0 => (self.0, 1, "g"),
            x if x >= 1.0 => (self.0, 2, "g"),
            _ => (self.0 * 1000.0, 0, "mg"),
        };
        let digits = format!("{value:.decimals$}");
        // Noughts after the point say nothing of a mass on a scale.
        let digits = if decimals > 0 { digits.trim_end_matches('0').trim_end_matches('.') } else { &digits };
        format!("{digits} {unit}")
    }

    /// The rate that this mass makes on an area; zero area gives zero, never infinity.
    pub fn per(self, area: SquareMetres) -> KgPerHa {
        if area.0 > 0.0 { KgPerHa(self.0 / area.0 * 10.0) } else { KgPerHa(0.0) }
    }
}

/// A layer of soil as a mass per area: what turns mg/kg into kg/ha.
///
/// Either measured (depth × bulk density × stones) or a publisher's convention such as
/// "two million pounds per acre". Which of the two was used is always said.
#[derive(Clone, Debug, PartialEq)]
pub enum SoilLayer {
    /// This plot's own layer.
    Measured {
        depth: Centimetres,
        bulk_density: GramsPerCm3,
        /// Volume fraction of stones, 0 to 1.
        stones: f64,
    },
    /// A publisher's fixed soil mass.
    Convention(LayerConvention),
}

impl SoilLayer {
    /// Dry fine earth in the layer, kg/ha: bulk density × depth × 100,000 × (1 − stones).
    ///
    /// SCMA (Rayment & Lyons 2011) §16A1 prints the same for 10 cm at 1.0 g/cm³: 1,000,000 kg/ha.
    pub fn soil_kg_per_ha(&self) -> f64 {
        match self {
            SoilLayer::Measured { depth, bulk_density, stones } => {
                bulk_density.0 * depth.0 * 100_000.0 * (1.0 - stones)
            }
            SoilLayer::Convention(convention) => convention.soil_kg_per_ha,
        }
    }

    /// Dry fine earth of the layer under an area.
    pub fn soil_on(&self, area: SquareMetres) -> Grams {
        KgPerHa(self.soil_kg_per_ha()).on(area)
    }

    /// Mass of element in the layer at a concentration by mass.
    pub fn mass(&self, level: MgPerKg) -> KgPerHa {
        KgPerHa(level.0 * self.soil_kg_per_ha() / 1e6)
    }

    /// Concentration by mass that this much element makes in the layer.
    pub fn level(&self, mass: KgPerHa) -> MgPerKg {
        MgPerKg(mass.0 * 1e6 / self.soil_kg_per_ha())
    }

    /// The layer in words, as a working shows it.
    pub fn words(&self) -> String {
        match self {
            SoilLayer::Measured { depth, bulk_density, stones } => {
                let stones =
                    if *stones > 0.0 { format!(", {:.0} % stones by volume", stones * 100.0) } else { String::new() };
                format!("{:.0} cm of soil at {:.2} g/cm³{stones}", depth.0, bulk_density.0)
            }
            SoilLayer::Convention(convention) => convention.words.to_owned(),
        }
    }
}

/// kg/ha of an element at a concentration by volume: mg/L × depth in cm × 0.1.
///
/// A result by volume of scooped soil as one by mass, where a litre of it as it is scooped weighs
/// so much (SCMA 18F1 note 3: mg/dm³ × the volume of a standard weight ÷ the volume of the scoop).
/// The density of soil in the field is another, and never goes in here. `None` for none.
pub fn by_mass(level: MgPerL, scooped: GramsPerCm3) -> Option<MgPerKg> {
    (scooped.0.is_finite() && scooped.0 > 0.0).then(|| MgPerKg(level.0 / scooped.0))
}

/// What a litre of soil as it is scooped weighs, kg, if a result by volume and one by mass say the
/// same; `None` where either is nothing.
pub fn scooped_density(by_volume: MgPerL, by_mass: MgPerKg) -> Option<GramsPerCm3> {
    let density = by_volume.0 / by_mass.0;
    (by_volume.0 > 0.0 && by_mass.0 > 0.0 && density.is_finite()).then_some(GramsPerCm3(density))
}

/// The rule of labs that scoop a volume (SCMA 18F1 note 3; UK practice: ×2 for 20 cm);
/// no density enters.
pub fn by_volume_kg_per_ha(level: MgPerL, depth: Centimetres) -> KgPerHa {
    KgPerHa(level.0 * depth.0 * 0.1)
}

/// A publisher's fixed mass of soil per area, to which its tables were calibrated.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LayerConvention {
    /// Key used in data files and in the record.
    pub slug: &'static str,
    /// As a person reads it.
    pub words: &'static str,
    /// Dry soil taken to lie on one hectare, kg.
    pub soil_kg_per_ha: f64,
    pub source: Source,
}

/// The conventions known here.
pub const LAYER_CONVENTIONS: &[LayerConvention] = &[
    LayerConvention {
        slug: "two_million_lb_per_acre",
        words: "2,000,000 lb of soil per acre (ppm × 2 = lb/acre; 6 to 7 in)",
        soil_kg_per_ha: 2.0e6 * KG_PER_HA_PER_LB_PER_ACRE,
        source: Source {
            publisher: "Ohio State University",
            title: "Understanding Soil Test Reports for Phosphorus Values (60 lb/acre = 30 ppm)",
            year: 0,
            address: "https://agbmps.osu.edu/faq/understanding-soil-test-reports-phosphorus-values",
            evidence: Evidence::Read,
        },
    },
    LayerConvention {
        slug: "uc_davis_2_4_million_lb_per_acre",
        words: "2,400,000 lb of soil per acre (8 in)",
        soil_kg_per_ha: 2.4e6 * KG_PER_HA_PER_LB_PER_ACRE,
        source: Source {
            publisher: "UC Davis Analytical Laboratory",
            title: "Soil analyses, reporting conventions",
            year: 0,
            address: "http://anlab.ucdavis.edu/using-the-lab/analysis/soils/450",
            evidence: Evidence::Read,
        },
    },
    LayerConvention {
        slug: "one_foot_3_6_million_lb_per_acre",
        words: "3,600,000 lb of soil per acre-foot (nitrate ppm × 3.6 = lb/acre)",
        soil_kg_per_ha: 3.6e6 * KG_PER_HA_PER_LB_PER_ACRE,
        source: Source {
            publisher: "University of California Cooperative Extension (Fulton)",
            title: "Nitrate guideline table",
            year: 0,
            address: "https://docslib.org/doc/3975102",
            evidence: Evidence::Read,
        },
    },
    LayerConvention {
        slug: "ten_cm_at_1_0",
        words: "1,000,000 kg of soil per hectare (10 cm at 1.0 g/cm³)",
        soil_kg_per_ha: 1.0e6,
        source: Source {
            publisher: "Rayment & Lyons, CSIRO Publishing",
            title: "Soil Chemical Methods – Australasia, method 16A1",
            year: 2011,
            address: "https://github.com/ANZSoilData/def-au-scma",
            evidence: Evidence::Read,
        },
    },
];

impl LayerConvention {
    /// Finds a convention by its key.
    pub fn find(slug: &str) -> Option<LayerConvention> {
        LAYER_CONVENTIONS.iter().copied().find(|c| c.slug == slug)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_million_pounds_doubles_ppm_into_lb_per_acre() {
        // Ohio State: 30 ppm is 60 lb/acre.
        let layer = SoilLayer::Convention(LayerConvention::find("two_million_lb_per_acre").unwrap());
        assert!((layer.mass(MgPerKg(30.0)).lb_per_acre() - 60.0).abs() < 1e-9);
    }

    #[test]
    fn a_measured_layer_weighs_what_scma_prints() {
        // SCMA 16A1: 10 cm at 1.0 g/cm³ is 1,000,000 kg/ha; 16B1: at 1.3 it is 1,300,000.
        for (density, kg) in [(1.0, 1.0e6), (1.3, 1.3e6)] {
            let layer =
                SoilLayer::Measured { depth: Centimetres(10.0), bulk_density: GramsPerCm3(density), stones: 0.0 };
            assert!((layer.soil_kg_per_ha() - kg).abs() < 1e-6);
        }
    }
}
