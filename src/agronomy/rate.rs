//! Masses and rates in the units of bags, factsheets and kitchen scales.
//!
//! Inside the program a mass is grams and a rate is kg/ha; these units exist only where a
//! person types or reads. Volumes appear once, for compost measured by depth.

use super::{
    quantity::{Centimetres, Grams, KG_PER_HA_PER_LB_PER_ACRE, KG_PER_LB, KgPerHa, M2_PER_ACRE},
    record::keyed,
};
use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// Square feet in an acre (exact).
pub const FT2_PER_ACRE: f64 = 43_560.0;
/// Metres in a foot (exact, international yard and pound agreement, 1959).
const M_PER_FT: f64 = 0.3048;

/// A mass over an area as printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "&str", try_from = "String")]
pub enum RateUnit {
    KgPerHa,
    TonnePerHa,
    GramsPerM2,
    LbPerAcre,
    /// Short tons of 2,000 lb.
    TonPerAcre,
    LbPer1000Ft2,
    LbPer100Ft2,
    OzPer100Ft2,
    OzPerYd2,
}

keyed!(RateUnit {
    KgPerHa "kg_per_ha" "kg/ha",
    TonnePerHa "t_per_ha" "t/ha",
    GramsPerM2 "g_per_m2" "g/m²",
    LbPerAcre "lb_per_acre" "lb/acre",
    TonPerAcre "ton_per_acre" "ton/acre (2,000 lb)",
    LbPer1000Ft2 "lb_per_1000_ft2" "lb/1000 ft²",
    LbPer100Ft2 "lb_per_100_ft2" "lb/100 ft²",
    OzPer100Ft2 "oz_per_100_ft2" "oz/100 ft²",
    OzPerYd2 "oz_per_yd2" "oz/yd²",
});

impl RateUnit {
    /// kg/ha in one of this unit.
    pub fn kg_per_ha(self) -> f64 {
        match self {
            RateUnit::KgPerHa => 1.0,
            RateUnit::TonnePerHa => 1_000.0,
            RateUnit::GramsPerM2 => 10.0,
            RateUnit::LbPerAcre => KG_PER_HA_PER_LB_PER_ACRE,
            RateUnit::TonPerAcre => 2_000.0 * KG_PER_HA_PER_LB_PER_ACRE,
            RateUnit::LbPer1000Ft2 => FT2_PER_ACRE / 1_000.0 * KG_PER_HA_PER_LB_PER_ACRE,
            RateUnit::LbPer100Ft2 => FT2_PER_ACRE / 100.0 * KG_PER_HA_PER_LB_PER_ACRE,
            RateUnit::OzPer100Ft2 => FT2_PER_ACRE / 1_600.0 * KG_PER_HA_PER_LB_PER_ACRE,
            RateUnit::OzPerYd2 => FT2_PER_ACRE / 9.0 / 16.0 * KG_PER_HA_PER_LB_PER_ACRE,
        }
    }

    /// A printed rate, understood.
    pub fn read(self, rate: f64) -> KgPerHa {
        KgPerHa(rate * self.kg_per_ha())
    }

    /// A rate as this unit prints it.
    pub fn show(self, rate: KgPerHa) -> f64 {
        rate.0 / self.kg_per_ha()
    }
}

/// A mass as printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "&str", try_from = "String")]
pub enum MassUnit {
    Gram,
    Kilogram,
    Tonne,
    /// The German and Polish decitonne, 100 kg.
    Decitonne,
    Ounce,
    Pound,
    /// 2,000 lb.
    ShortTon,
}

keyed!(MassUnit {
    Gram "g" "g",
    Kilogram "kg" "kg",
    Tonne "t" "t",
    Decitonne "dt" "dt (100 kg)",
    Ounce "oz" "oz",
    Pound "lb" "lb",
    ShortTon "short_ton" "short ton (2,000 lb)",
});

impl MassUnit {
    /// Grams in one of this unit.
    pub fn grams(self) -> f64 {
        match self {
            MassUnit::Gram => 1.0,
            MassUnit::Kilogram => 1e3,
            MassUnit::Tonne => 1e6,
            MassUnit::Decitonne => 1e5,
            MassUnit::Ounce => KG_PER_LB * 1e3 / 16.0,
            MassUnit::Pound => KG_PER_LB * 1e3,
            MassUnit::ShortTon => KG_PER_LB * 2e6,
        }
    }

    /// A printed mass, understood.
    pub fn read(self, mass: f64) -> Grams {
        Grams(mass * self.grams())
    }

    /// A mass as this unit prints it.
    pub fn show(self, mass: Grams) -> f64 {
        mass.0 / self.grams()
    }
}

/// An area as printed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(into = "&str", try_from = "String")]
pub enum AreaUnit {
    SquareMetre,
    /// 100 m².
    Are,
    Hectare,
    SquareFoot,
    Acre,
}

keyed!(AreaUnit {
    SquareMetre "m2" "m²",
    Are "are" "are (100 m²)",
    Hectare "ha" "ha",
    SquareFoot "ft2" "ft²",
    Acre "acre" "acre",
});

impl AreaUnit {
    /// Square metres in one of this unit.
    pub fn m2(self) -> f64 {
        match self {
            AreaUnit::SquareMetre => 1.0,
            AreaUnit::Are => 100.0,
            AreaUnit::Hectare => 10_000.0,
            AreaUnit::SquareFoot => M2_PER_ACRE / FT2_PER_ACRE,
            AreaUnit::Acre => M2_PER_ACRE,
        }
    }
}

/// Data files and the record write the same key that [`FromStr`] reads.
macro_rules! written_by_key {
    ($($type:ident)*) => {$(
        impl From<$type> for &str {
            fn from(unit: $type) -> &'static str {
                unit.slug()
            }
        }

        impl TryFrom<String> for $type {
            type Error = String;

            fn try_from(text: String) -> Result<Self, String> {
                text.parse()
            }
        }
    )*};
}

written_by_key!(RateUnit MassUnit AreaUnit);

/// A depth as a ruler in inches reads it.
pub fn inches(depth: Centimetres) -> f64 {
    depth.0 / (M_PER_FT / 12.0 * 100.0)
}

/// The depth that cubic yards per 1,000 ft² make when spread evenly.
pub fn depth_of_yd3_per_1000_ft2(volume: f64) -> Centimetres {
    Centimetres(volume * 27.0 / 1_000.0 * M_PER_FT * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_units_of_factsheets_agree_with_each_other() {
        // SI Brochure and NIST SP 811 definitions: 1 oz/yd² is 33.906 g/m², 1 lb/acre 1.12085 kg/ha.
        assert!((RateUnit::GramsPerM2.show(RateUnit::OzPerYd2.read(1.0)) - 33.906).abs() < 5e-4);
        assert!((RateUnit::LbPerAcre.read(1.0).0 - 1.12085).abs() < 5e-6);
        assert!((AreaUnit::SquareFoot.m2() - 0.092_903_04).abs() < 1e-12);
    }
}
