//! In which order a season's products go on, when, in what weather, and what to wear.
//!
//! Rules of the yard rather than of the lab: most are common practice and say so. Nothing
//! here moves a dose; the product's own label and local rules come before all of it.

use super::{
    amendment::{Amendment, Kind},
    caution::Caution,
    record::keyed,
    source::{Evidence, Source},
};
use std::str::FromStr;

/// One round of the garden, in the order in which the rounds are made.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Round {
    /// What raises pH, months before everything else.
    Liming,
    /// Ground rock, gypsum, sulfur: slow, worked in.
    Minerals,
    /// Compost and manure.
    Bulky,
    /// Meals of plants and animals.
    Meals,
    /// Soluble salts, close to the crop.
    Salts,
    /// Grams of boron, zinc and the like, by themselves.
    TraceElements,
}

keyed!(Round {
    Liming "liming" "Lime and ash",
    Minerals "minerals" "Ground minerals",
    Bulky "bulky" "Compost and manure",
    Meals "meals" "Meals",
    Salts "salts" "Soluble salts",
    TraceElements "trace_elements" "Trace elements",
});

impl Round {
    /// The round that a product goes on in.
    pub fn of(amendment: &Amendment) -> Round {
        let traces = [Caution::BoronNarrow, Caution::TraceElement];
        match amendment.kind {
            Kind::Lime | Kind::Ash => Round::Liming,
            Kind::Compost | Kind::Manure => Round::Bulky,
            Kind::PlantMeal | Kind::AnimalMeal => Round::Meals,
            Kind::Salt | Kind::Mineral if traces.iter().any(|caution| amendment.cautions.contains(caution)) => {
                Round::TraceElements
            }
            Kind::Mineral => Round::Minerals,
            Kind::Salt => Round::Salts,
        }
    }

    /// When it is done.
    pub const fn when(self) -> &'static str {
        match self {
            Round::Liming => {
                "In autumn or winter, months before the crop, worked in. Apart from manure and ammonium: 7 to 10 days \
                 after them, or three months before."
            }
            Round::Minerals => "Any time the ground is open, before the last working of the bed, and worked in.",
            Round::Bulky => {
                "Some weeks before sowing, worked in the same day. Raw manure much earlier: see the waiting days."
            }
            Round::Meals => "One to three weeks before sowing, raked into the top few centimetres, not against seed.",
            Round::Salts => {
                "At the last working before sowing or planting. A large dose of soluble nitrogen or potassium goes on \
                 in two parts, the second when the crop grows away."
            }
            Round::TraceElements => {
                "By themselves, after the rest, over the whole bed in dry sand or in water, raked in. Boron is never \
                 put against seed or in a band."
            }
        }
    }

    /// The weather for it.
    pub const fn weather(self) -> &'static str {
        match self {
            Round::Liming | Round::Minerals => "A still, dry day, the soil dry enough to walk on.",
            Round::Bulky => "Not on frozen, flooded, soaked or snow-covered ground, nor before heavy rain.",
            Round::Meals | Round::Salts => "Dry leaves, moist soil, and no heavy rain in sight.",
            Round::TraceElements => "A still day; in water, in the cool of the evening or under cloud.",
        }
    }

    /// Who says so.
    pub const fn sources(self) -> &'static [Source] {
        match self {
            Round::Liming => &[PRACTICE, LIME_SPACING],
            Round::Bulky => &[PRACTICE, NITRATES],
            Round::TraceElements => &[PRACTICE, BORON],
            Round::Minerals | Round::Meals | Round::Salts => &[PRACTICE],
        }
    }
}

const PRACTICE: Source = Source {
    publisher: "",
    title: "Order and timing of amendments in a garden",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};
const LIME_SPACING: Source = Caution::LimeAmmonium.own_source();
const BORON: Source = Caution::BoronNarrow.own_source();
const NITRATES: Source = Source {
    publisher: "European Union",
    title: "Nitrates Directive 91/676/EEC, Annex II A 3: flooded, frozen or snow-covered ground",
    year: 1991,
    address: "https://eur-lex.europa.eu/eli/dir/1991/676/oj",
    evidence: Evidence::Memory,
};

/// What to wear besides gloves, which go with everything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Wear {
    Goggles,
    DustMask,
}

keyed!(Wear { Goggles "goggles" "goggles", DustMask "dust_mask" "a dust mask (P2 or N95)" });

impl Wear {
    /// What the cautions of a product ask for; the product's own label may ask for more. From
    /// the hazard classes that the cautions cite ([`Caution::source`]).
    pub fn with(amendment: &Amendment) -> impl Iterator<Item = Wear> {
        let carries = |any: &[Caution]| any.iter().any(|caution| amendment.cautions.contains(caution));
        let goggles = carries(&[Caution::CausticDust, Caution::SulfurDust, Caution::MetalSalt]);
        let mask = carries(&[Caution::CausticDust, Caution::SulfurDust, Caution::GeneralDust, Caution::BoronHealth]);
        [goggles.then_some(Wear::Goggles), mask.then_some(Wear::DustMask)].into_iter().flatten()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::amendment::{catalogue, find};

    #[test]
    fn rounds_are_made_in_order() {
        let round = |slug: &str| Round::of(find(slug).unwrap_or_else(|| panic!("no {slug}")));
        assert_eq!(round("ground_limestone"), Round::Liming);
        assert_eq!(round("wood_ash"), Round::Liming);
        assert_eq!(round("borax"), Round::TraceElements);
        assert_eq!(round("pelleted_poultry"), Round::Bulky);
        assert_eq!(round("blood_meal"), Round::Meals);
        assert_eq!(round("sulfate_of_potash"), Round::Salts);
        let mut all = Round::ALL.to_vec();
        all.sort();
        assert_eq!(all, Round::ALL, "listed as they are made");
    }

    #[test]
    fn every_round_is_used_and_cites_something() {
        for &round in Round::ALL {
            assert!(catalogue().iter().any(|one| Round::of(one) == round), "{round:?} has no product");
            assert!(round.sources().iter().all(|source| !source.title.is_empty()), "{round:?}");
        }
    }

    #[test]
    fn hydrated_lime_wants_goggles_and_a_mask_and_gypsum_may_not() {
        let wear = |slug: &str| Wear::with(find(slug).unwrap()).collect::<Vec<_>>();
        assert_eq!(wear("hydrated_lime"), [Wear::Goggles, Wear::DustMask]);
        assert!(!wear("gypsum").contains(&Wear::Goggles));
    }
}
