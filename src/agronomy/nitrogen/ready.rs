//! What Defra prints of the nitrogen of farmyard manure: how much of it is ready, old or fresh,
//! and which share of the total the next crop can use by when it was spread.

use crate::agronomy::{
    record::keyed,
    source::{Evidence, Source},
};
use std::str::FromStr;

/// Whose farmyard manure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Farmyard {
    Cattle,
    Pig,
    Sheep,
    Duck,
    Horse,
}

keyed!(Farmyard {
    Cattle "cattle" "cattle",
    Pig "pig" "pigs",
    Sheep "sheep" "sheep",
    Duck "duck" "ducks",
    Horse "horse" "horses",
});

/// Who prints it.
pub const FARMYARD: Source = Source {
    publisher: "Defra",
    title: "Fertiliser Manual (RB209), 8th edition: farmyard manure, total and available nitrogen",
    year: 2010,
    address: "http://adlib.everysite.co.uk/adlib/defra/content.aspx?id=2RRVTHNXTS.88UF90DE8XRAN",
    evidence: Evidence::Read,
};

/// Readily available nitrogen, kg in a tonne of fresh weight: of manure stored for three months or
/// more, and of manure straight from the building. `None` where the publisher has no data.
pub fn readily_available(of: Farmyard) -> Option<(f64, f64)> {
    match of {
        Farmyard::Cattle => Some((0.6, 1.2)),
        Farmyard::Pig => Some((1.0, 1.8)),
        Farmyard::Sheep => Some((0.7, 1.4)),
        Farmyard::Duck => Some((1.0, 1.6)),
        Farmyard::Horse => None,
    }
}

/// When manure is spread, in England.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum SpreadIn {
    /// August to October.
    Autumn,
    /// November to January.
    Winter,
    /// February to April.
    Spring,
}

keyed!(SpreadIn { Autumn "autumn" "autumn", Winter "winter" "winter", Spring "spring" "spring" });

/// % of the total nitrogen of farmyard manure that the next crop can use. `light`: sandy or
/// shallow soil; `fresh`: straight from the building; `worked_in`: within a day of spreading.
pub const fn next_crop_percent(when: SpreadIn, light: bool, fresh: bool, worked_in: bool) -> f64 {
    match when {
        SpreadIn::Autumn if light => 5.0,
        SpreadIn::Spring if fresh && worked_in => 15.0,
        _ => 10.0,
    }
}

/// What the table says of so much total nitrogen, kg/ha, as a sentence.
pub(super) fn next_crop_words(total_kg_per_ha: f64) -> String {
    let of = |percent: f64| format!("{:.0}\u{a0}kg/ha", total_kg_per_ha * percent / 100.0);
    format!(
        "As farmyard manure, the next crop would find {} of this year’s where it went on sandy ground in autumn, {} \
         where it was fresh and worked in within a day in spring, {} otherwise ({FARMYARD}).",
        of(next_crop_percent(SpreadIn::Autumn, true, false, false)),
        of(next_crop_percent(SpreadIn::Spring, false, true, true)),
        of(next_crop_percent(SpreadIn::Winter, false, false, false)),
    )
}
