//! Published facts of materials beside what they hold: what a heap or a spoon of one weighs, its
//! salt index, the lime that it uses up or brings, and how far a bag may fall short of its label.
//! Publishers differ and each is named; nothing here enters a dose or a cap.

use super::{
    amendment::{Amendment, Kind},
    contaminant::holdings,
    element::Element,
    quantity::Grams,
    rate::MassUnit,
    record::keyed,
    source::{Citation, Evidence, Source},
    working::Figure,
};
use std::str::FromStr;

/// A volume as factsheets print it; United States measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum VolumeUnit {
    Litre,
    Teaspoon,
    Tablespoon,
    Cup,
    /// Liquid pint.
    Pint,
    Bushel,
    CubicYard,
}

keyed!(VolumeUnit {
    Litre "l" "litre",
    Teaspoon "tsp" "teaspoon",
    Tablespoon "tbsp" "tablespoon",
    Cup "cup" "cup",
    Pint "pint" "pint",
    Bushel "bushel" "bushel",
    CubicYard "yd3" "cubic yard",
});

/// 1 pint = 2 cups = 32 tablespoons = 96 teaspoons.
pub const KITCHEN_MEASURES: Source = Source {
    publisher: "LSU AgCenter (Wang & Stevens)",
    title: "Fertilizer conversion table for small areas: 1 pint = 2 cups = 32 tablespoons = 96 teaspoons",
    year: 0,
    address: "https://www.lsuagcenter.com",
    evidence: Evidence::Read,
};

impl VolumeUnit {
    /// Litres in one of this unit (231 in³ to the gallon, 2,150.42 in³ to the bushel; exact).
    pub fn litres(self) -> f64 {
        const PINT: f64 = 0.473_176_473;
        match self {
            VolumeUnit::Litre => 1.0,
            VolumeUnit::Teaspoon => PINT / 96.0,
            VolumeUnit::Tablespoon => PINT / 32.0,
            VolumeUnit::Cup => PINT / 2.0,
            VolumeUnit::Pint => PINT,
            VolumeUnit::Bushel => 35.239_070_166_88,
            VolumeUnit::CubicYard => 764.554_857_984,
        }
    }
}

/// What a volume of a material weighs, loose.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Loose {
    /// Keys of the catalogue that it speaks for.
    pub slugs: &'static [&'static str],
    /// As the publisher names it.
    pub name: &'static str,
    /// The printed masses and volumes; several where a publisher prints both, rounded apart.
    pub printed: &'static [(f64, MassUnit, VolumeUnit)],
    pub source: Source,
}

const NOFA: Source = Source {
    publisher: "NOFA",
    title: "Organic Soil-Fertility handbook, appendix A: weights of manures, compost and ash by the bushel and the cubic yard",
    year: 0,
    address: "https://nofa.org/soil/html/appendix1.php",
    evidence: Evidence::Read,
};

const LSU: Source =
    Source { title: "Fertilizer conversion table for small areas: ounces in a pint", ..KITCHEN_MEASURES };

const REEVES: Source = Source {
    publisher: "Walter Reeves, gardening page",
    title: "A pound of 10-10-10 is about 2 cups",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

macro_rules! heap {
    ($slugs:expr, $name:literal, $bushel:literal, $yard:literal) => {
        Loose {
            slugs: &$slugs,
            name: $name,
            printed: &[($bushel, MassUnit::Pound, VolumeUnit::Bushel), ($yard, MassUnit::Pound, VolumeUnit::CubicYard)],
            source: NOFA,
        }
    };
}

macro_rules! jar {
    ($slugs:expr, $name:literal, $ounces:literal) => {
        Loose { slugs: &$slugs, name: $name, printed: &[($ounces, MassUnit::Ounce, VolumeUnit::Pint)], source: LSU }
    };
}

/// Loose weights known here. They vary by half with moisture and how a heap is filled.
pub const LOOSE: &[Loose] = &[
    heap!(["horse_manure"], "horse manure", 40.0, 800.0),
    heap!(["chicken_manure"], "broiler manure", 50.0, 1000.0),
    heap!(["cattle_manure", "sheep_manure", "layer_manure"], "other manure", 80.0, 1700.0),
    heap!(["compost", "green_compost"], "compost", 50.0, 1000.0),
    heap!([], "sawdust", 15.0, 300.0),
    heap!(["wood_ash"], "wood ash", 30.0, 600.0),
    heap!([], "compressed peat", 25.0, 500.0),
    jar!(["elemental_sulfur"], "flowers of sulfur", 10.0),
    jar!(["cottonseed_meal"], "cottonseed meal", 10.0),
    jar!([], "ammonium nitrate", 13.0),
    jar!([], "sodium nitrate", 23.0),
    Loose { slugs: &[], name: "10-10-10", printed: &[(0.5, MassUnit::Pound, VolumeUnit::Cup)], source: REEVES },
];

impl Loose {
    /// Finds a weight by a key of the catalogue or by the printed name.
    pub fn find(key: &str) -> Option<&'static Loose> {
        LOOSE.iter().find(|row| row.slugs.contains(&key) || row.name == key)
    }

    /// kg in a litre: least and most of what is printed; the same twice where one figure is.
    pub fn kg_per_l(&self) -> (f64, f64) {
        let each = |(mass, unit, volume): &(f64, MassUnit, VolumeUnit)| unit.grams() * mass / 1e3 / volume.litres();
        let all = self.printed.iter().map(each);
        (all.clone().fold(f64::INFINITY, f64::min), all.fold(0.0, f64::max))
    }

    /// What a volume weighs: least and most.
    pub fn weighs(&self, volume: f64, unit: VolumeUnit) -> (Grams, Grams) {
        let (low, high) = self.kg_per_l();
        let litres = volume * unit.litres();
        (Grams(low * litres * 1e3), Grams(high * litres * 1e3))
    }
}

/// How salty a material makes the water of the soil, against the same weight of sodium nitrate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SaltIndex {
    pub slugs: &'static [&'static str],
    pub name: &'static str,
    /// Sodium nitrate is 100.
    pub index: f64,
}

/// Where the salt indices were read.
pub const SALT_INDICES: Source = Source {
    publisher: "A table of garden materials, agroconection.com",
    title: "Salt index relative to sodium nitrate = 100; other methods give other figures",
    year: 0,
    address: "https://agroconection.com/salt-index.html",
    evidence: Evidence::Read,
};

const fn salt(slugs: &'static [&'static str], name: &'static str, index: f64) -> SaltIndex {
    SaltIndex { slugs, name, index }
}

/// The indices known here.
pub const SALT_INDEX: &[SaltIndex] = &[
    salt(&["potassium_chloride"], "potassium chloride", 114.0),
    salt(&[], "ammonium nitrate", 105.0),
    salt(&["urea"], "urea", 75.0),
    salt(&["ammonium_sulfate"], "ammonium sulfate", 69.0),
    salt(&[], "calcium nitrate", 69.0),
    salt(&["sulfate_of_potash"], "potassium sulfate", 46.0),
    salt(&["epsom_salt"], "Epsom salt", 44.0),
    salt(&[], "superphosphate", 8.0),
    salt(&["gypsum"], "gypsum", 8.0),
    salt(&["dolomitic_limestone"], "dolomite", 1.0),
];

impl SaltIndex {
    /// Finds an index by a key of the catalogue or by the printed name.
    pub fn find(key: &str) -> Option<&'static SaltIndex> {
        SALT_INDEX.iter().find(|row| row.slugs.contains(&key) || row.name == key)
    }
}

/// What a fertiliser does to acidity as the soil turns it over.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct LimeEffect {
    pub slugs: &'static [&'static str],
    pub name: &'static str,
    /// Pure calcium carbonate that 100 of the material are worth; below zero where it uses lime up.
    pub carbonate_per_100: f64,
    pub source: Source,
}

const AUBURN: Source = Source {
    publisher: "Auburn University and Alabama A&M Extension",
    title: "ANR-174, Nutrient content of fertilizer materials: equivalent acidity and basicity",
    year: 0,
    address: "https://docslib.org/doc/3055401",
    evidence: Evidence::Read,
};

const NORTH_CAROLINA: Source = Source {
    publisher: "North Carolina Cooperative Extension",
    title: "AG-439-18: equivalent acidity (of ammonium nitrate listed with 30 % N)",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

macro_rules! sours {
    ($slugs:expr, $name:literal, $carbonate:literal, $source:ident) => {
        LimeEffect { slugs: &$slugs, name: $name, carbonate_per_100: $carbonate, source: $source }
    };
}

/// The effects known here. Publishers differ by method.
pub const LIME_EFFECTS: &[LimeEffect] = &[
    sours!([], "ammonium nitrate", -61.0, AUBURN),
    sours!([], "ammonium nitrate", -59.0, NORTH_CAROLINA),
    sours!(["ammonium_sulfate"], "ammonium sulfate", -110.0, AUBURN),
    sours!(["urea"], "urea", -81.0, AUBURN),
    sours!([], "sodium nitrate", 29.0, AUBURN),
    sours!([], "potassium nitrate", 26.0, AUBURN),
    sours!([], "calcium nitrate", 20.0, AUBURN),
    sours!(["calurea"], "calurea", -36.0, AUBURN),
];

impl LimeEffect {
    /// Every figure for a material, by a key of the catalogue or by the printed name.
    pub fn of(key: &str) -> impl Iterator<Item = &'static LimeEffect> {
        LIME_EFFECTS.iter().filter(move |row| row.slugs.contains(&key) || row.name == key)
    }
}

/// How far a bag may fall short of its label before it is looked into.
pub const LABEL_TOLERANCE: Source = Source {
    publisher: "New Hampshire Code of Administrative Rules",
    title: "Agr 1105.04, investigational allowances of fertiliser labels",
    year: 0,
    address: "https://casetext.com",
    evidence: Evidence::Read,
};

/// Percentage points by which an element may lie below the label's guarantee, %; `None` for an
/// element that the rule does not name here.
///
/// Ca, Mg and S: 0.2 and a twentieth of the guarantee; B: 0.003 and 15 %; Zn, Cu, Fe, Mn and Na:
/// 0.005 and a tenth; never more than one point.
pub fn label_tolerance(element: Element, guaranteed_percent: f64) -> Option<f64> {
    use Element::{B, Ca, Cu, Fe, Mg, Mn, Na, S, Zn};
    let (points, share) = match element {
        Ca | Mg | S => (0.2, 0.05),
        B => (0.003, 0.15),
        Zn | Cu | Fe | Mn | Na => (0.005, 0.10),
        _ => return None,
    };
    (guaranteed_percent.is_finite() && guaranteed_percent > 0.0)
        .then(|| (points + share * guaranteed_percent).min(1.0).min(guaranteed_percent))
}

/// An inch (2.5 cm) of compost a year in a tunnel, as a trial found it.
pub mod inch_of_compost {
    use super::{Evidence, Source};
    use crate::agronomy::{quantity::KgPerHa, rate::RateUnit};

    /// The trial.
    pub const SOURCE: Source = Source {
        publisher: "Penn State (Burkhart 2002, in the High Tunnels project)",
        title: "Dealing with high soluble salt levels in high tunnels: one inch of compost a year, dug in to 1 ft",
        year: 0,
        address: "http://hightunnels.org/dealing-high-soluble-salt-levels-high-tunnels/",
        evidence: Evidence::Read,
    };

    /// What it brought in a year as printed, lb/acre: N, P₂O₅, K₂O.
    const BROUGHT_LB_PER_ACRE: [f64; 3] = [441.0, 1345.0, 1559.0];
    /// What was advised of each.
    const ADVISED_LB_PER_ACRE: f64 = 100.0;
    /// Conductivity before, after one year and after two, mmho/cm, which is dS/m.
    pub const SALTS_DS_PER_M: [f64; 3] = [0.15, 0.45, 0.81];

    /// What it brought in a year of N, P₂O₅ and K₂O.
    pub fn brought() -> [KgPerHa; 3] {
        BROUGHT_LB_PER_ACRE.map(|lb| RateUnit::LbPerAcre.read(lb))
    }

    /// What was advised of each.
    pub fn advised() -> KgPerHa {
        RateUnit::LbPerAcre.read(ADVISED_LB_PER_ACRE)
    }

    /// The trial as a sentence.
    pub fn words() -> String {
        let [n, p2o5, k2o] = brought().map(|rate| rate.0);
        let [before, one, two] = SALTS_DS_PER_M;
        format!(
            "In one tunnel an inch (2.5 cm) of compost a year brought {n:.0} kg N, {p2o5:.0} kg P₂O₅ and {k2o:.0} kg K₂O \
             per hectare, where {:.0} of each was advised, and salts rose from {before} to {one} and then {two} dS/m in two years.",
            advised().0
        )
    }
}

/// What is published of a material beside what it holds: sentences, each with who says so.
pub fn facts(amendment: &Amendment) -> Vec<(String, Citation)> {
    let slug = amendment.slug.as_str();
    let mut facts = Vec::new();
    if let Some(loose) = Loose::find(slug) {
        // What is spread by the barrow is told by the bucket, what is measured out by the spoon.
        let (volume, what) = match loose.printed.len() {
            1 => (VolumeUnit::Tablespoon, "A level tablespoon of it weighs"),
            _ => (VolumeUnit::Litre, "A litre of it weighs"),
        };
        let (low, high) = loose.weighs(1.0, volume);
        let (low, high) = (low.words(), high.words());
        let weighs = if low == high { low } else { format!("{low} to {high}") };
        let text = format!(
            "{what} about {weighs}, loose (printed for {}). It varies by half: weigh some of yours.",
            loose.name
        );
        facts.push((text, loose.source.into()));
    }
    if let Some(salt) = SaltIndex::find(slug) {
        let text = format!(
            "Salt index {}, where sodium nitrate is 100: how salty it makes the water of the soil.",
            salt.index
        );
        facts.push((text, SALT_INDICES.into()));
    }
    facts.extend(LimeEffect::of(slug).map(|effect| {
        let what = if effect.carbonate_per_100 < 0.0 { "uses up" } else { "is worth" };
        let kg = effect.carbonate_per_100.abs();
        (format!("As the soil turns it over, 100 kg {what} {kg} kg of pure calcium carbonate."), effect.source.into())
    }));
    let bagged = matches!(amendment.kind, Kind::Salt | Kind::Mineral);
    let printed = amendment.analysis.parts.iter().filter(|(_, part)| part.source.evidence != Evidence::Derived);
    let short: Vec<String> = printed
        .filter_map(|(element, part)| {
            let percent = part.mass_fraction * 100.0;
            let points = Figure::significant(label_tolerance(*element, percent)?, "", 2);
            Some(format!("{} by {points} of {} %", element.name(), Figure::significant(percent, "", 3)))
        })
        .collect();
    if bagged && !short.is_empty() {
        let text = format!(
            "In one state a bag may fall short of its label, before it is looked into, in {}.",
            short.join(", ")
        );
        facts.push((text, LABEL_TOLERANCE.into()));
    }
    if amendment.kind == Kind::Compost {
        facts.push((inch_of_compost::words(), inch_of_compost::SOURCE.into()));
    }
    // A salt of copper is meant to hold copper; limits of sludge speak of what is spread by the barrow.
    if matches!(amendment.kind, Kind::Compost | Kind::Manure) {
        let shares = amendment.analysis.parts.iter().map(|(element, part)| (*element, part.mass_fraction));
        let held = holdings(shares, amendment.analysis.moisture, None, false);
        facts.extend(held.into_iter().map(|one| (one.words, one.set.source.clone())));
    }
    facts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::amendment;

    #[test]
    fn every_key_is_one_of_the_catalogue() {
        let keys = LOOSE.iter().flat_map(|row| row.slugs);
        let keys = keys.chain(SALT_INDEX.iter().flat_map(|row| row.slugs));
        for key in keys.chain(LIME_EFFECTS.iter().flat_map(|row| row.slugs)) {
            assert!(amendment::find(key).is_some(), "{key}");
        }
    }

    #[test]
    fn bushels_and_cubic_yards_of_one_publisher_agree_within_a_tenth() {
        // NOFA: 1 yd³ = 21.7 bushels; its weights by the yard are rounded down.
        assert!((VolumeUnit::CubicYard.litres() / VolumeUnit::Bushel.litres() - 21.7).abs() < 0.05);
        for row in LOOSE {
            let (low, high) = row.kg_per_l();
            assert!(low > 0.0 && high <= low * 1.1, "{}: {low} to {high}", row.name);
        }
    }
}
