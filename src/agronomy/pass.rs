//! What can go out in one pass: one walk over the bed with a bucket, a barrow or a can.
//!
//! Dry products that may lie in one bucket are mixed and spread together, so that all of them
//! are one pass. Apart go what raises pH (it drives ammonia out of ammonium and turns soluble
//! phosphate back), trace elements (grams that only sand or water of their own spreads evenly, after
//! the rest: [`Round::TraceElements`]), sulfur (its dust burns, the worse beside a nitrate), whatever
//! comes by the barrow, and liquids. A pass is about work and about what must not lie together: it says
//! nothing of how many days must lie between two passes, which is a caution.

use super::{
    amendment::{Amendment, Kind},
    caution::Caution,
    order_of_work::Round,
    source::{Evidence, Source},
};

/// What a product can share a pass with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pass {
    /// Any other dry product that is neither lime nor ash nor a trace element.
    #[default]
    DryMix,
    /// Lime and ash among themselves.
    Lime,
    /// Trace elements among themselves.
    Trace,
    /// Nothing: it is a pass of its own.
    Alone,
}

impl Pass {
    /// What is carried, as a heading; a product that is a pass of its own goes by its name.
    pub const fn label(self) -> &'static str {
        match self {
            Pass::DryMix => "One bucket of dry products",
            Pass::Lime => "Lime and ash",
            Pass::Trace => "Trace elements",
            Pass::Alone => "By itself",
        }
    }

    /// How it is carried.
    pub const fn how(self) -> &'static str {
        match self {
            Pass::DryMix => "Mixed dry and spread together.",
            Pass::Lime => "Apart from everything else.",
            Pass::Trace => "The mixes of a plot together in one bucket of sand, or in one can.",
            Pass::Alone => "By itself.",
        }
    }
}

/// Who says what must not be mixed.
pub const PASSES: Source = Source {
    publisher: "",
    title: "Dry products in one bucket are one pass; lime and ash apart from the rest, and so are trace elements; \
            sulfur, bulky materials and liquids each by itself",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// The pass of an amendment; `liquid` as sold.
pub fn pass_of(amendment: &Amendment, liquid: bool) -> Pass {
    match amendment.kind {
        _ if liquid => Pass::Alone,
        Kind::Lime | Kind::Ash => Pass::Lime,
        Kind::Compost | Kind::Manure => Pass::Alone,
        _ if amendment.slug == "calurea" => Pass::Alone, // never blended with superphosphate
        _ if amendment.cautions.contains(&Caution::SulfurDust) => Pass::Alone,
        // As the order of work has it, so that a sheet and a count of passes agree.
        _ if Round::of(amendment) == Round::TraceElements => Pass::Trace,
        Kind::Salt | Kind::Mineral | Kind::PlantMeal | Kind::AnimalMeal => Pass::DryMix,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::amendment::find;

    #[test]
    fn lime_never_shares_a_bucket_with_what_it_drives_ammonia_out_of() {
        let pass = |slug| pass_of(find(slug).unwrap(), false);
        assert_eq!([pass("ground_limestone"), pass("wood_ash")], [Pass::Lime; 2]);
        assert_eq!([pass("ammonium_sulfate"), pass("sulfate_of_potash")], [Pass::DryMix; 2]);
        // What the order of work keeps for the end is no part of the one bucket.
        assert_eq!([pass("borax"), pass("copper_sulfate")], [Pass::Trace; 2]);
        for amendment in crate::agronomy::amendment::catalogue() {
            let trace = Round::of(amendment) == Round::TraceElements;
            assert!(trace == (pass_of(amendment, false) == Pass::Trace), "{}", amendment.slug);
        }
        assert_eq!(pass("elemental_sulfur"), Pass::Alone);
        // Auburn, ANR-174: not to be blended with superphosphate.
        assert_eq!([pass("calurea"), pass("triple_superphosphate")], [Pass::Alone, Pass::DryMix]);
        assert_eq!(pass_of(find("epsom_salt").unwrap(), true), Pass::Alone);
        // Whatever the caution keeps from lime is never in lime's pass.
        for amendment in crate::agronomy::amendment::catalogue() {
            let apart = amendment.cautions.contains(&Caution::LimeAmmonium) && !amendment.raises_ph();
            assert!(!apart || pass_of(amendment, false) != Pass::Lime, "{}", amendment.slug);
        }
    }
}
