//! What can go out in one pass: one walk over the bed with a bucket, a barrow or a can.
//!
//! Dry products that may lie in one bucket are mixed and spread together, so that all of them
//! are one pass. Apart go what raises pH (it drives ammonia out of ammonium and turns soluble
//! phosphate back), sulfur (its dust burns, the worse beside a nitrate), whatever comes by the
//! barrow, and liquids. A pass is about work and about what must not lie together: it says
//! nothing of how many days must lie between two passes, which is a caution.

use super::{
    amendment::{Amendment, Kind},
    caution::Caution,
    source::{Evidence, Source},
};

/// What a product can share a pass with.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum Pass {
    /// Any other dry product that is neither lime nor ash.
    #[default]
    DryMix,
    /// Lime and ash among themselves.
    Lime,
    /// Nothing: it is a pass of its own.
    Alone,
}

/// Who says what must not be mixed.
pub const PASSES: Source = Source {
    publisher: "",
    title: "Dry products in one bucket are one pass; lime and ash apart from the rest; sulfur, bulky materials and \
            liquids each by itself",
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
        assert_eq!([pass("ammonium_sulfate"), pass("borax"), pass("sulfate_of_potash")], [Pass::DryMix; 3]);
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
