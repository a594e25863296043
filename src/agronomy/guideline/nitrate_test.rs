//! A published soil nitrate test: bands of nitrate nitrogen in the top foot, mg/kg, and what each
//! of them asks for beside the crop. Some publishers print a rate for each band, some what comes
//! off a base rate, one a worksheet, and some a class alone. What is made of a reading stands in
//! [`nitrogen`](crate::agronomy::nitrogen); here is only what was printed.

use super::{Provenance, Seam, round_to};
use crate::agronomy::{rate::RateUnit, reading::number, record::keyed};
use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// A nitrate test as one publisher prints it.
#[derive(Clone, Debug, PartialEq)]
pub struct NitrateTest {
    pub title: String,
    /// A short name for lists: "Rutgers".
    pub name: String,
    /// What it was made for: "sweet corn on manured soil".
    pub made_for: String,
    /// The level is rounded to so many decimals before it is held against the bands.
    pub decimals: u8,
    /// Low to high; every level has one.
    pub bands: Vec<NitrateBand>,
    pub seams: Vec<Seam>,
    pub gives: NitrateGives,
    /// Of the rates.
    pub unit: RateUnit,
    /// Nitrogen in the foot of soil for each mg/kg, in that unit, where it is printed.
    pub in_foot: Option<f64>,
    pub of: Provenance,
    pub notes: Vec<String>,
}

/// One band.
#[derive(Clone, Debug, PartialEq)]
pub struct NitrateBand {
    /// In the publisher's words; empty where only figures are printed.
    pub name: String,
    /// As printed: "11–15".
    pub printed: String,
    /// The lowest level of it, mg/kg.
    pub from: f64,
    /// The rate, or what comes off the base rate; `None` where nothing is given whatever the base.
    pub figure: Option<f64>,
}

impl NitrateBand {
    /// The class of a level in it: its name, else the band as printed.
    pub fn class(&self) -> &str {
        if self.name.is_empty() { &self.printed } else { &self.name }
    }
}

/// What a band's figure is.
#[derive(Clone, Debug, PartialEq)]
pub enum NitrateGives {
    /// A class alone.
    Class,
    /// A rate beside the crop.
    Rate,
    /// What comes off a base rate; a band without a figure gives none.
    OffBase,
    /// A worksheet; a band with a figure gives that, whatever the worksheet says.
    Worksheet(Worksheet),
}

/// The kinds by name, as a text says them.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum GivesKind {
    Class,
    Rate,
    OffBase,
    Worksheet,
}

keyed!(GivesKind {
    Class "class" "a class alone",
    Rate "rate" "a rate beside the crop",
    OffBase "off_base" "what comes off a base rate",
    Worksheet "worksheet" "a worksheet",
});

/// Nitrogen from the grain expected, less nitrate × a factor of the field's history.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Worksheet {
    /// Nitrogen for a bushel of grain expected to the acre, in the unit of the test.
    pub per_bushel: f64,
    /// Parts of the factor, which are added up.
    pub manured_since_harvest: f64,
    pub not_manured_since: f64,
    pub manured_before: f64,
    pub after_soybean: f64,
    pub after_forage_legume: f64,
}

impl NitrateTest {
    /// The band of a level, mg/kg.
    pub fn band(&self, mg_per_kg: f64) -> Option<&NitrateBand> {
        let value = round_to(mg_per_kg, self.decimals);
        self.bands.iter().rev().find(|band| value >= band.from - 1e-9).or(self.bands.first())
    }

    /// What its bands' figures are.
    pub fn kind(&self) -> GivesKind {
        match self.gives {
            NitrateGives::Class => GivesKind::Class,
            NitrateGives::Rate => GivesKind::Rate,
            NitrateGives::OffBase => GivesKind::OffBase,
            NitrateGives::Worksheet(_) => GivesKind::Worksheet,
        }
    }

    /// How its bands meet, as sentences.
    pub fn how_bands_meet(&self) -> Vec<String> {
        let mut said: Vec<String> = self.seams.iter().map(|seam| seam.why.clone()).collect();
        if let ([first, second, ..], 0) = (&self.bands[..], self.decimals) {
            let last = number(second.from - 1.0);
            said.push(format!(
                "Printed in whole mg/kg; the level is rounded first, so that {last}.4 is in “{}” and {last}.5 in “{}”.",
                first.printed, second.printed
            ));
        }
        said
    }

    /// What a band asks for, in words: "120 lb/acre", "30 lb/acre off the base rate", "none".
    pub fn asks(&self, band: &NitrateBand) -> String {
        let unit = self.unit.label();
        match (&self.gives, band.figure) {
            (NitrateGives::Class, _) => String::new(),
            (NitrateGives::Rate | NitrateGives::Worksheet(_), Some(0.0)) | (NitrateGives::OffBase, None) => {
                "none".into()
            }
            (NitrateGives::Rate | NitrateGives::Worksheet(_), Some(rate)) => format!("{} {unit}", number(rate)),
            (NitrateGives::OffBase, Some(0.0)) => "the base rate".into(),
            (NitrateGives::OffBase, Some(off)) => format!("{} {unit} off the base rate", number(off)),
            (NitrateGives::Worksheet(_), None) => "by the worksheet".into(),
            (NitrateGives::Rate, None) => String::new(),
        }
    }

    /// The whole in a line, for comparing versions.
    pub fn words(&self) -> String {
        let band = |band: &NitrateBand| {
            let asks = self.asks(band);
            let name = if band.name.is_empty() { String::new() } else { format!("{} ", band.name) };
            if asks.is_empty() { format!("{name}{}", band.printed) } else { format!("{name}{}: {asks}", band.printed) }
        };
        let bands: Vec<String> = self.bands.iter().map(band).collect();
        let mut words = format!("{} mg/kg", bands.join("; "));
        if let NitrateGives::Worksheet(sheet) = &self.gives {
            words.push_str(&format!("; {}", sheet.words(self.unit)));
        }
        if let Some(in_foot) = self.in_foot {
            words.push_str(&format!("; {} {} in the foot for each mg/kg", number(in_foot), self.unit.label()));
        }
        words
    }
}

impl Worksheet {
    /// The worksheet in a line.
    pub fn words(&self, unit: RateUnit) -> String {
        format!(
            "{} {} for a bushel of grain, less nitrate × ({} where manured since the harvest, else {}; {} more where manured in the three years before; {} more after soybean, {} after a forage legume)",
            number(self.per_bushel),
            unit.label(),
            number(self.manured_since_harvest),
            number(self.not_manured_since),
            number(self.manured_before),
            number(self.after_soybean),
            number(self.after_forage_legume)
        )
    }
}
