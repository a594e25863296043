//! A published rule for giving a large dose in parts: either the most that goes on at once, or
//! bands of the dose with as many parts as the publisher prints for each. The parts are equal; a
//! rule never makes a dose smaller.

use super::{Provenance, Seam, round_to};
use crate::agronomy::{quantity::KgPerHa, rate::RateUnit, reading::number, record::keyed};
use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// What is given in parts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SplitOf {
    Lime,
    EpsomSalt,
}

keyed!(SplitOf {
    Lime "lime" "lime",
    EpsomSalt "epsom_salt" "Epsom salt",
});

/// A rule as one publisher prints it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SplitRule {
    pub title: String,
    pub material: SplitOf,
    /// The dose as it is printed.
    pub unit: RateUnit,
    pub parts_by: PartsBy,
    pub months_apart: u8,
    pub of: Provenance,
    pub notes: Vec<String>,
}

/// How the number of parts comes about.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub enum PartsBy {
    /// No part is above this much.
    AtMost(f64),
    /// A number of parts is printed for each band of the dose, which is rounded to the printed
    /// decimals first.
    Bands { decimals: u8, bands: Vec<SplitBand>, seams: Vec<Seam> },
}

/// Doses that are given in so many parts.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct SplitBand {
    /// As printed: "11–20".
    pub printed: String,
    /// The lowest dose of it.
    pub from: f64,
    /// 1 or more.
    pub parts: u8,
}

impl SplitRule {
    /// In how many parts a dose is given; 0 for no dose.
    pub fn count(&self, dose: KgPerHa) -> usize {
        if !dose.0.is_finite() || dose.0 <= 0.0 {
            return 0;
        }
        let printed = self.unit.show(dose);
        match &self.parts_by {
            // A need of lime beyond any soil's would otherwise make a list without end.
            PartsBy::AtMost(most) => (printed / most - 1e-9).ceil().clamp(1.0, 100.0) as usize,
            PartsBy::Bands { decimals, bands, .. } => {
                let value = round_to(printed, *decimals);
                let band = bands.iter().rev().find(|band| value >= band.from - 1e-9).or(bands.first());
                band.map_or(1, |band| usize::from(band.parts))
            }
        }
    }

    /// A dose in equal parts; none at all for a dose of zero.
    pub fn parts(&self, dose: KgPerHa) -> Vec<KgPerHa> {
        let count = self.count(dose);
        vec![KgPerHa(dose.0 / count.max(1) as f64); count]
    }

    /// The rule in words, without the months.
    pub fn words(&self) -> String {
        let unit = self.unit.label();
        match &self.parts_by {
            PartsBy::AtMost(most) => format!("not more than {} {unit} at once", number(*most)),
            PartsBy::Bands { bands, .. } => {
                let band = |band: &SplitBand| match band.parts {
                    1 => format!("{} {unit} at once", band.printed),
                    parts => format!("{} in {parts} parts", band.printed),
                };
                bands.iter().map(band).collect::<Vec<_>>().join("; ")
            }
        }
    }

    /// A caution for a label or a sheet, complete in itself.
    pub fn caution(&self) -> String {
        let mut words = self.words();
        if let Some(first) = words.get(..1) {
            words = format!("{}{}", first.to_uppercase(), &words[1..]);
        }
        let months = self.months_apart;
        format!("Much {} goes on in parts. {words}; {months} months apart.", self.material.label())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::guideline::find;

    #[test]
    fn penn_state_prints_three_parts_and_no_more() {
        // "If 21 or more pounds are recommended, divide the amount by three and make three
        // applications at six month intervals." Nothing is printed for still larger doses.
        let lime = &find("penn_state_parts").unwrap().splits[0];
        let parts = |lb: f64| lime.count(RateUnit::LbPer100Ft2.read(lb));
        let all = [0.0, 5.0, 10.0, 10.4, 10.5, 20.0, 20.6, 21.0, 31.0, 80.0].map(parts);
        assert_eq!(all, [0, 1, 1, 1, 2, 2, 3, 3, 3, 3]);
        assert!(
            lime.caution().contains("11–20 in 2 parts; 21 or more in 3 parts; 6 months apart"),
            "{}",
            lime.caution()
        );
    }
}
