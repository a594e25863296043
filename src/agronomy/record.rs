//! The record as the trade sees it: samplings, reports and the lab's printed cells.
//!
//! These structs carry no database identity beyond opaque keys; the layers above load
//! them. A cell keeps the text that the lab printed for ever; values are derived from it.

use super::{
    analyte::Analyte,
    element::{Element, Form},
    method::Method,
    quantity::{Centimetres, Grams, LayerConvention},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};

/// The caller's key for one printed cell, so that a working can point back to it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct CellKey(pub i64);

/// What a sign before (or instead of) the number says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Qualifier {
    /// A plain number.
    #[default]
    Exact,
    /// "<0.1": below this limit.
    Below,
    /// ">250": above this limit.
    Above,
    /// "ND", "trace": not detected, and no limit printed.
    NotDetected,
}

impl Qualifier {
    /// The sign as shown before a number.
    pub const fn sign(self) -> &'static str {
        match self {
            Qualifier::Exact | Qualifier::NotDetected => "",
            Qualifier::Below => "<",
            Qualifier::Above => ">",
        }
    }

    /// The key in the record.
    pub const fn slug(self) -> &'static str {
        match self {
            Qualifier::Exact => "exact",
            Qualifier::Below => "below",
            Qualifier::Above => "above",
            Qualifier::NotDetected => "not_detected",
        }
    }
}

impl FromStr for Qualifier {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        [Qualifier::Exact, Qualifier::Below, Qualifier::Above, Qualifier::NotDetected]
            .into_iter()
            .find(|q| q.slug() == text)
            .ok_or_else(|| format!("“{text}” is not a qualifier"))
    }
}

/// A printed number, as text and as understood.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PrintedValue {
    /// Exactly what the sheet shows.
    pub text: String,
    pub qualifier: Qualifier,
    /// The number, or the limit where the qualifier is one; `None` only for [`Qualifier::NotDetected`].
    pub value: Option<f64>,
    /// Decimals printed: no derived figure is shown finer than this allows.
    pub decimals: u8,
}

/// A unit as labs print it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub enum Unit {
    MgPerKg,
    /// Parts per million, by mass unless the basis says volume.
    Ppm,
    MgPerL,
    MgPer100g,
    GPerKg,
    LbPerAcre,
    KgPerHa,
    MeqPer100g,
    CmolPerKg,
    MmolPerKg,
    /// Charge by volume, as labs that scoop print acidity.
    MeqPer100cm3,
    Percent,
    Ph,
    DsPerM,
    /// µS/cm; 1,000 to the dS/m.
    UsPerCm,
    /// mS/cm, the same number as dS/m and mmho/cm.
    MsPerCm,
    /// So many to one, as ratios are printed.
    ToOne,
}

impl Unit {
    /// Every unit, in the order a form offers them.
    pub const ALL: &[Unit] = &[
        Unit::MgPerKg,
        Unit::Ppm,
        Unit::MgPerL,
        Unit::MgPer100g,
        Unit::GPerKg,
        Unit::LbPerAcre,
        Unit::KgPerHa,
        Unit::CmolPerKg,
        Unit::MeqPer100g,
        Unit::MmolPerKg,
        Unit::MeqPer100cm3,
        Unit::Percent,
        Unit::Ph,
        Unit::DsPerM,
        Unit::MsPerCm,
        Unit::UsPerCm,
        Unit::ToOne,
    ];

    /// As printed; also the key in the record.
    pub const fn symbol(self) -> &'static str {
        match self {
            Unit::MgPerKg => "mg/kg",
            Unit::Ppm => "ppm",
            Unit::MgPerL => "mg/L",
            Unit::MgPer100g => "mg/100 g",
            Unit::GPerKg => "g/kg",
            Unit::LbPerAcre => "lb/acre",
            Unit::KgPerHa => "kg/ha",
            Unit::MeqPer100g => "meq/100 g",
            Unit::CmolPerKg => "cmol(+)/kg",
            Unit::MmolPerKg => "mmol(+)/kg",
            Unit::MeqPer100cm3 => "meq/100 cm³",
            Unit::Percent => "%",
            Unit::Ph => "pH",
            Unit::DsPerM => "dS/m",
            Unit::UsPerCm => "µS/cm",
            Unit::MsPerCm => "mS/cm",
            Unit::ToOne => "to 1",
        }
    }

    /// Whether the unit is per volume of soil, so that the lab must have scooped it.
    pub const fn is_by_volume(self) -> bool {
        matches!(self, Unit::MgPerL | Unit::MeqPer100cm3)
    }

    /// Whether the unit is a mass per area, which means nothing without a layer convention.
    pub const fn is_per_area(self) -> bool {
        matches!(self, Unit::LbPerAcre | Unit::KgPerHa)
    }
}

impl fmt::Display for Unit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl FromStr for Unit {
    type Err = String;

    /// Reads a unit as people type it: spaces, case, "mg/dm3", "cmolc/kg", "lbs/A", "umho/cm" and the like.
    fn from_str(text: &str) -> Result<Self, String> {
        let plain: String = text.to_lowercase().replace('μ', "µ").chars().filter(|c| !c.is_whitespace()).collect();
        let unit = match plain.as_str() {
            "mg/kg" | "ug/g" | "µg/g" | "mgkg-1" => Unit::MgPerKg,
            "ppm" => Unit::Ppm,
            "mg/l" | "mg/dm3" | "mg/dm³" => Unit::MgPerL,
            "mg/100g" => Unit::MgPer100g,
            "g/kg" => Unit::GPerKg,
            "lb/acre" | "lbs/acre" | "lb/a" | "lbs/a" | "lb/ac" | "lbs/ac" | "pp2m" => Unit::LbPerAcre,
            "kg/ha" => Unit::KgPerHa,
            "meq/100g" | "me/100g" => Unit::MeqPer100g,
            "cmol(+)/kg" | "cmol/kg" | "cmolc/kg" | "cmol+/kg" => Unit::CmolPerKg,
            "mmol(+)/kg" | "mmol/kg" | "mmolc/kg" | "mmol+/kg" => Unit::MmolPerKg,
            "meq/100cm3" | "meq/100cm³" | "cmolc/l" | "cmol/l" => Unit::MeqPer100cm3,
            "%" | "percent" => Unit::Percent,
            "ph" | "phunits" => Unit::Ph,
            "ds/m" | "mmho/cm" | "mmhos/cm" => Unit::DsPerM,
            "µs/cm" | "us/cm" | "umho/cm" | "µmho/cm" => Unit::UsPerCm,
            "ms/cm" => Unit::MsPerCm,
            "to1" | ":1" | "ratio" => Unit::ToOne,
            _ => return Err(format!("“{text}” is not a unit known here")),
        };
        Ok(unit)
    }
}

impl From<Unit> for String {
    fn from(unit: Unit) -> String {
        unit.symbol().to_owned()
    }
}

impl TryFrom<String> for Unit {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

/// Whether the lab weighed its soil or scooped it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    #[default]
    Mass,
    Volume,
}

/// One printed result of a lab's sheet. Never changed once recorded: a correction is a new
/// cell that supersedes it.
#[derive(Clone, Debug, PartialEq)]
pub struct Determination {
    pub key: CellKey,
    pub analyte: Analyte,
    pub method: Method,
    pub printed: PrintedValue,
    pub unit: Unit,
    /// The oxide or ion in which the element is printed; `None` means as the element.
    pub form: Option<Form>,
    pub basis: Basis,
    /// The mass of soil that a per-area unit was computed with.
    pub layer: Option<LayerConvention>,
}

/// One lab's sheet for a sampling.
#[derive(Clone, Debug, PartialEq)]
pub struct Report {
    /// The caller's key.
    pub key: i64,
    pub lab: String,
    pub determinations: Vec<Determination>,
}

/// A depth band.
#[derive(Clone, Copy, Debug, PartialEq, PartialOrd)]
pub struct DepthBand {
    pub top: Centimetres,
    pub bottom: Centimetres,
}

impl fmt::Display for DepthBand {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}–{}\u{a0}cm", self.top.0, self.bottom.0)
    }
}

/// Acid used for the fizz test in the field.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FizzAcid {
    /// 1 M hydrochloric acid, about 10 % by volume of the concentrated acid.
    Hydrochloric1M,
    /// Household vinegar: no fizz with it proves nothing.
    Vinegar,
    /// Something else, or not noted.
    Unknown,
}

/// What was seen when acid was dropped on the soil: the five classes of SCMA table 19.4.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FizzClass {
    None,
    VerySlight,
    Slight,
    Strong,
    Violent,
}

macro_rules! keyed {
    ($type:ident { $($variant:ident $slug:literal $label:literal),* $(,)? }) => {
        impl $type {
            /// Every value, in order.
            pub const ALL: &[$type] = &[$($type::$variant),*];

            /// The key in the record and in CSV.
            pub const fn slug(self) -> &'static str {
                match self { $($type::$variant => $slug),* }
            }

            /// As a person reads it.
            pub const fn label(self) -> &'static str {
                match self { $($type::$variant => $label),* }
            }
        }

        impl FromStr for $type {
            type Err = String;

            fn from_str(text: &str) -> Result<Self, String> {
                Self::ALL
                    .iter()
                    .copied()
                    .find(|v| v.slug() == text.trim() || v.label().eq_ignore_ascii_case(text.trim()))
                    .ok_or_else(|| format!("“{text}” is not one of: {}", Self::ALL.iter().map(|v| v.slug()).collect::<Vec<_>>().join(", ")))
            }
        }
    };
}
pub(crate) use keyed;

keyed!(Basis { Mass "mass" "by mass", Volume "volume" "by volume" });
keyed!(FizzAcid {
    Hydrochloric1M "hydrochloric_1m" "1 M hydrochloric acid",
    Vinegar "vinegar" "vinegar",
    Unknown "unknown" "another acid, or not noted",
});
keyed!(FizzClass {
    None "none" "no bubbles",
    VerySlight "very_slight" "few bubbles",
    Slight "slight" "bubbles readily seen",
    Strong "strong" "bubbles form a low foam",
    Violent "violent" "thick foam at once",
});

/// The field acid test.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fizz {
    pub acid: FizzAcid,
    pub class: FizzClass,
}

/// Soil taken on a date from a depth band, with every sheet that came back for it.
#[derive(Clone, Debug, PartialEq)]
pub struct Sampling {
    /// The caller's key.
    pub key: i64,
    pub sampled_on: Date,
    /// The date was not written down and is a guess.
    pub date_assumed: bool,
    pub depth: Option<DepthBand>,
    pub cores: Option<u32>,
    pub fizz: Option<Fizz>,
    pub reports: Vec<Report>,
}

impl Sampling {
    /// All determinations of all its reports, with the lab that printed each.
    pub fn determinations(&self) -> impl Iterator<Item = (&Report, &Determination)> {
        self.reports.iter().flat_map(|report| report.determinations.iter().map(move |d| (report, d)))
    }
}

/// What was put on a plot, as far as the balance and the caps care.
#[derive(Clone, Debug, PartialEq)]
pub struct Application {
    /// The caller's key.
    pub key: i64,
    pub applied_on: Date,
    pub amendment: String,
    pub mass_g: f64,
    /// Total of each element in the product then in force, mass fractions.
    pub content: std::collections::BTreeMap<Element, f64>,
    /// Share of each element that a crop can use in the first season, 0 to 1; all of it where nothing is said.
    pub availability: std::collections::BTreeMap<Element, f64>,
    /// Whether the product is a livestock manure, for limits on manure nitrogen.
    pub manure: bool,
    /// Whether it is of animal or plant origin, manure or not, for limits on nitrogen from such.
    pub organic: bool,
}

impl Application {
    /// The element that it brought in all: what caps and the ledger count.
    pub fn total(&self, element: Element) -> Grams {
        Grams(self.mass_g * self.content.get(&element).copied().unwrap_or(0.0))
    }

    /// The element that it brought for the first season: what counts against a need.
    pub fn available(&self, element: Element) -> Grams {
        Grams(self.total(element).0 * self.availability(element))
    }

    /// The share of an element that a crop can use in the first season.
    pub fn availability(&self, element: Element) -> f64 {
        self.availability.get(&element).copied().unwrap_or(1.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn units_read_back_and_in_the_spellings_of_labs() {
        for unit in Unit::ALL {
            assert_eq!(unit.symbol().parse(), Ok(*unit));
        }
        assert_eq!("mg / dm3".parse(), Ok(Unit::MgPerL));
        assert_eq!("LBS/A".parse(), Ok(Unit::LbPerAcre));
        assert!("furlongs".parse::<Unit>().is_err());
    }
}
