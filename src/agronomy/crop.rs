//! Market-garden crops: what they are, and how much boron each will bear.
//!
//! A crop that is not in the list is not refused: it is held to the cautious rule of
//! [`BoronTolerance::Unlisted`]. Nothing here says how much boron a crop needs.

use super::{
    guideline::LandUse,
    quantity::KgPerHa,
    rate::RateUnit,
    record::keyed,
    source::{Evidence, Source},
};
use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// Kinds of crop that rules of fertilising tell apart.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CropGroup {
    Leafy,
    Brassica,
    Root,
    Tuber,
    Allium,
    Legume,
    Fruiting,
    Cucurbit,
    Corn,
    Stem,
    Herb,
    Berry,
    Cereal,
    Grass,
    /// Grown to be dug in where it stands.
    GreenManure,
}

keyed!(CropGroup {
    Leafy "leafy" "leafy crops",
    Brassica "brassica" "brassicas",
    Root "root" "root crops",
    Tuber "tuber" "tubers",
    Allium "allium" "onion family",
    Legume "legume" "peas and beans",
    Fruiting "fruiting" "fruiting crops",
    Cucurbit "cucurbit" "cucumber family",
    Corn "corn" "sweet corn",
    Stem "stem" "stem crops",
    Herb "herb" "herbs",
    Berry "berry" "berries",
    Cereal "cereal" "cereals",
    Grass "grass" "grass and clover",
    GreenManure "green_manure" "green manures",
});

/// How much boron a crop may be given in a season, by the class that Delaware puts it in.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BoronTolerance {
    /// Beans and peas: none at all.
    VeryLow,
    Low,
    /// Not in Delaware's list. Held to 1 lb/acre: the lowest of its ceilings that is not
    /// nothing, and the upper end of what NOFA prints for most crops (0.5 to 1 lb).
    Unlisted,
    Medium,
    High,
}

keyed!(BoronTolerance {
    VeryLow "very_low" "very low: none",
    Low "low" "low",
    Unlisted "unlisted" "not listed",
    Medium "medium" "medium",
    High "high" "high",
});

/// Season ceilings of boron by crop.
pub const BORON_CEILINGS: Source = Source {
    publisher: "University of Delaware Cooperative Extension",
    title: "Boron in Vegetable Crops Revisited (Johnson)",
    year: 0,
    address: "https://extension.udel.edu/weeklycropupdate/?tag=vegetable-crop-nutrients",
    evidence: Evidence::Read,
};

/// What supports the rule for crops that Delaware does not list.
pub const BORON_UNLISTED: Source = Source {
    publisher: "NOFA",
    title: "Organic Soil-Fertility handbook, Table 27: boron 0.5 to 1 lb/acre for most crops; the rule built on it is ours",
    year: 0,
    address: "https://nofa.org/soil/html/table27.php",
    evidence: Evidence::Derived,
};

impl BoronTolerance {
    /// The most boron for one season.
    pub fn ceiling(self) -> KgPerHa {
        let lb_per_acre = match self {
            BoronTolerance::VeryLow => 0.0,
            BoronTolerance::Low | BoronTolerance::Unlisted => 1.0,
            BoronTolerance::Medium => 2.0,
            BoronTolerance::High => 3.0,
        };
        RateUnit::LbPerAcre.read(lb_per_acre)
    }

    /// Who says so.
    pub const fn source(self) -> Source {
        match self {
            BoronTolerance::Unlisted => BORON_UNLISTED,
            _ => BORON_CEILINGS,
        }
    }
}

/// A crop.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Crop {
    /// Key in the record, in guideline files and in CSV.
    pub slug: &'static str,
    /// As a person reads it.
    pub name: &'static str,
    pub group: CropGroup,
    pub boron: BoronTolerance,
}

const fn crop(slug: &'static str, name: &'static str, group: CropGroup, boron: BoronTolerance) -> Crop {
    Crop { slug, name, group, boron }
}

/// The crops known here, by group. Boron classes are Delaware's; where its list has one
/// word for several crops ("squash", "beans") each of them takes it.
pub const CROPS: &[Crop] = {
    use BoronTolerance::{High, Low, Medium, Unlisted, VeryLow};
    use CropGroup::*;
    &[
        crop("lettuce_butterhead", "Lettuce, butterhead", Leafy, Unlisted),
        crop("lettuce_romaine", "Lettuce, romaine (cos)", Leafy, Unlisted),
        crop("lettuce_iceberg", "Lettuce, iceberg (crisp)", Leafy, Unlisted),
        crop("spinach", "Spinach", Leafy, High),
        crop("chard", "Chard", Leafy, Unlisted),
        crop("endive", "Endive and chicory", Leafy, Unlisted),
        crop("lambs_lettuce", "Lamb’s lettuce", Leafy, Unlisted),
        crop("cabbage", "Cabbage", Brassica, High),
        crop("broccoli", "Broccoli (calabrese)", Brassica, High),
        crop("cauliflower", "Cauliflower", Brassica, High),
        crop("brussels_sprouts", "Brussels sprouts", Brassica, Unlisted),
        crop("kale", "Kale", Brassica, Unlisted),
        crop("collards", "Collards", Brassica, Unlisted),
        crop("kohlrabi", "Kohlrabi", Brassica, Unlisted),
        crop("pak_choi", "Pak choi", Brassica, Unlisted),
        crop("mustard_greens", "Mustard greens", Brassica, Unlisted),
        crop("rocket", "Rocket (arugula)", Brassica, Unlisted),
        crop("turnip", "Turnip", Brassica, High),
        crop("swede", "Swede (rutabaga)", Brassica, High),
        crop("radish", "Radish", Brassica, Medium),
        crop("beetroot", "Beetroot", Root, High),
        crop("carrot", "Carrot", Root, Medium),
        crop("parsnip", "Parsnip", Root, Medium),
        crop("celeriac", "Celeriac", Root, Unlisted),
        crop("sugar_beet", "Sugar beet", Root, Unlisted),
        crop("potato", "Potato", Tuber, Medium),
        crop("sweet_potato", "Sweet potato", Tuber, Low),
        crop("onion", "Onion", Allium, Medium),
        crop("leek", "Leek", Allium, Medium),
        crop("garlic", "Garlic", Allium, Unlisted),
        crop("shallot", "Shallot", Allium, Unlisted),
        crop("spring_onion", "Spring onion", Allium, Unlisted),
        crop("snap_bean", "Snap bean (French bean)", Legume, VeryLow),
        crop("runner_bean", "Runner bean", Legume, VeryLow),
        crop("broad_bean", "Broad bean", Legume, VeryLow),
        crop("dry_bean", "Dry bean", Legume, VeryLow),
        crop("lima_bean", "Lima bean", Legume, VeryLow),
        crop("pea", "Pea", Legume, VeryLow),
        crop("dried_pea", "Pea, dried", Legume, VeryLow),
        crop("field_bean", "Field bean, dried", Legume, VeryLow),
        crop("tomato", "Tomato", Fruiting, Medium),
        crop("sweet_pepper", "Pepper, sweet", Fruiting, Low),
        crop("hot_pepper", "Pepper, hot", Fruiting, Low),
        crop("eggplant", "Aubergine (eggplant)", Fruiting, Medium),
        crop("okra", "Okra", Fruiting, Medium),
        crop("cucumber", "Cucumber", Cucurbit, Medium),
        crop("zucchini", "Courgette (zucchini, summer squash)", Cucurbit, Medium),
        crop("butternut", "Butternut and other winter squash", Cucurbit, Medium),
        crop("pumpkin", "Pumpkin", Cucurbit, Unlisted),
        crop("muskmelon", "Muskmelon", Cucurbit, Medium),
        crop("watermelon", "Watermelon", Cucurbit, Unlisted),
        crop("sweet_corn", "Sweet corn", Corn, Medium),
        crop("celery", "Celery", Stem, Unlisted),
        crop("asparagus", "Asparagus", Stem, Medium),
        crop("rhubarb", "Rhubarb", Stem, Unlisted),
        crop("fennel", "Fennel, bulb", Stem, Unlisted),
        crop("parsley", "Parsley", Herb, Unlisted),
        crop("basil", "Basil", Herb, Unlisted),
        crop("strawberry", "Strawberry", Berry, Medium),
        crop("raspberry", "Raspberry", Berry, Unlisted),
        crop("blackcurrant", "Blackcurrant", Berry, Unlisted),
        crop("wheat", "Wheat", Cereal, Unlisted),
        crop("barley", "Barley", Cereal, Unlisted),
        crop("oats", "Oats", Cereal, Unlisted),
        crop("rye", "Rye", Cereal, Unlisted),
        crop("grass_ley", "Grass or grass and clover", Grass, Unlisted),
        crop("clover", "Clover, dug in", GreenManure, Unlisted),
        crop("vetch", "Vetch, dug in", GreenManure, Unlisted),
        crop("grass_clover", "Grass and clover, dug in", GreenManure, Unlisted),
        crop("green_rye", "Rye, dug in", GreenManure, Unlisted),
        crop("green_mustard", "Mustard, dug in", GreenManure, Unlisted),
        crop("phacelia", "Phacelia, dug in", GreenManure, Unlisted),
        crop("buckwheat", "Buckwheat, dug in", GreenManure, Unlisted),
    ]
};

impl Crop {
    /// Finds a crop by its key or its name, in any case.
    pub fn find(text: &str) -> Option<Crop> {
        let text = text.trim();
        CROPS.iter().copied().find(|c| c.slug == text || c.name.eq_ignore_ascii_case(text))
    }

    /// Finds a crop by its key, its name, or either part of a name such as "Rocket (arugula)", in
    /// any case: for lists that people type.
    pub fn called(text: &str) -> Option<Crop> {
        let text = text.trim().to_lowercase();
        let names = |crop: &Crop| -> Vec<String> {
            let name = crop.name.to_lowercase();
            let mut names = vec![crop.slug.to_owned(), crop.slug.replace('_', " ")];
            if let Some((first, rest)) = name.split_once(" (") {
                names.push(first.to_owned());
                names.extend(rest.trim_end_matches(')').split(", ").map(str::to_owned));
            }
            names.push(name);
            names
        };
        CROPS.iter().copied().find(|crop| names(crop).contains(&text))
    }

    /// The crops whose names come nearest to something typed that names none; four at most.
    pub fn like(text: &str) -> Vec<Crop> {
        let text = text.trim().to_lowercase();
        let start: String = text.chars().take(4).collect();
        let near = |crop: &&Crop| {
            let name = crop.name.to_lowercase();
            !text.is_empty() && (name.contains(&text) || text.contains(&name) || name.contains(&start))
        };
        CROPS.iter().filter(near).copied().take(4).collect()
    }

    /// The crop of a key in the record; a key that is not known here, such as of a crop taken off
    /// the list since, stands for a crop held to the cautious rule, never for no crop.
    pub fn known_or_cautious(slug: &str) -> Crop {
        // Nothing is read from the group of a crop that nobody can name; any would do.
        let unknown = crop("", "A crop that is not in the list", CropGroup::Herb, BoronTolerance::Unlisted);
        Crop::find(slug).unwrap_or(unknown)
    }

    /// Whether it is dug in where it grew: it carries nothing away, and brings back only what it took up there.
    pub fn stays_on_the_plot(&self) -> bool {
        self.group == CropGroup::GreenManure
    }

    /// Whether it takes nitrogen from the air, which nobody weighs.
    pub fn fixes_nitrogen(&self) -> bool {
        self.group == CropGroup::Legume || matches!(self.slug, "clover" | "vetch" | "grass_clover")
    }

    /// The name inside a sentence: "snap bean (French bean)", "Brussels sprouts".
    pub fn in_sentence(&self) -> String {
        let mut chars = self.name.chars();
        match chars.next() {
            // A town keeps its capital.
            Some(first) if !self.name.starts_with("Brussels") => first.to_lowercase().chain(chars).collect(),
            _ => self.name.to_owned(),
        }
    }
}

impl Crop {
    /// The use of ground that it stands for, as far as published tables tell them apart; `None`
    /// for a crop that nobody can name.
    pub fn land_use(&self) -> Option<LandUse> {
        match (self.slug, self.group) {
            ("", _) => None,
            ("sugar_beet" | "dry_bean" | "dried_pea" | "field_bean", _) | (_, CropGroup::Cereal) => {
                Some(LandUse::Arable)
            }
            (_, CropGroup::Berry) => Some(LandUse::Fruit),
            (_, CropGroup::Grass) => Some(LandUse::Grass),
            _ => Some(LandUse::Vegetables),
        }
    }
}

/// What the crops of a plot make of its ground. Where they differ, one vegetable makes it a
/// vegetable plot, then fruit, then a field crop: a ley or a cereal between vegetables is a rest
/// of the same ground (our own rule, no source). `None` where no crop tells.
pub fn land_use(crops: &[Crop]) -> Option<LandUse> {
    crops.iter().filter_map(Crop::land_use).min()
}

/// The boron ceiling of a plot, and the crop that sets it.
#[derive(Clone, Debug, PartialEq)]
pub struct BoronCeiling {
    pub ceiling: KgPerHa,
    pub tolerance: BoronTolerance,
    /// The most sensitive crop; `None` where no crop is known.
    pub crop: Option<Crop>,
    pub source: Source,
}

/// The boron ceiling for a plot that will carry these crops: this season's and the next,
/// because boron stays. The most sensitive decides; with no crop named, the cautious rule
/// for crops that are not listed.
pub fn boron_ceiling(crops: impl IntoIterator<Item = Crop>) -> BoronCeiling {
    let strictest = crops.into_iter().min_by(|a, b| a.boron.cmp(&b.boron));
    let tolerance = strictest.map_or(BoronTolerance::Unlisted, |c| c.boron);
    BoronCeiling { ceiling: tolerance.ceiling(), tolerance, crop: strictest, source: tolerance.source() }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeSet;

    #[test]
    fn every_crop_of_delawares_list_is_here_in_its_class() {
        // University of Delaware, Boron in Vegetable Crops Revisited.
        let list = [
            (BoronTolerance::High, "broccoli cabbage cauliflower beetroot spinach turnip swede"),
            (
                BoronTolerance::Medium,
                "asparagus carrot cucumber eggplant leek muskmelon okra onion parsnip radish zucchini butternut \
                 strawberry sweet_corn tomato potato",
            ),
            (BoronTolerance::Low, "sweet_pepper sweet_potato"),
            (BoronTolerance::VeryLow, "snap_bean pea"),
        ];
        for (class, slugs) in list {
            for slug in slugs.split_whitespace() {
                assert_eq!(Crop::find(slug).map(|c| c.boron), Some(class), "{slug}");
            }
        }
        assert!(CROPS.len() >= 45);
        assert_eq!(CROPS.iter().map(|c| c.slug).collect::<BTreeSet<_>>().len(), CROPS.len());
    }

    #[test]
    fn names_keep_their_proper_capitals_in_a_sentence() {
        for (slug, words) in
            [("snap_bean", "snap bean (French bean)"), ("brussels_sprouts", "Brussels sprouts"), ("leek", "leek")]
        {
            assert_eq!(Crop::find(slug).unwrap().in_sentence(), words);
        }
    }

    #[test]
    fn crops_tell_the_use_of_their_ground() {
        let uses = [
            ("wheat", Some(LandUse::Arable)),
            ("sugar_beet barley", Some(LandUse::Arable)),
            ("grass_ley", Some(LandUse::Grass)),
            ("strawberry grass_ley", Some(LandUse::Fruit)),
            ("rye leek", Some(LandUse::Vegetables)),
            ("moonflower", None),
            ("moonflower oats", Some(LandUse::Arable)),
            ("", None),
        ];
        for (slugs, told) in uses {
            let crops: Vec<Crop> = slugs.split_whitespace().map(Crop::known_or_cautious).collect();
            assert_eq!(land_use(&crops), told, "{slugs}");
        }
    }

    #[test]
    fn the_most_sensitive_crop_decides() {
        let [beet, bean, chard] = ["beetroot", "snap_bean", "chard"].map(|s| Crop::find(s).unwrap());
        assert!((boron_ceiling([beet]).ceiling.0 - 3.36).abs() < 0.005); // 3 lb/acre
        assert_eq!(boron_ceiling([beet, bean]).ceiling, KgPerHa(0.0));
        assert!((boron_ceiling([beet, chard]).ceiling.0 - 1.12).abs() < 0.005);
        assert_eq!(boron_ceiling([]).tolerance, BoronTolerance::Unlisted);
    }

    #[test]
    fn a_crop_that_is_not_known_holds_back_one_that_bears_more() {
        // Broccoli takes 3 lb/acre; beside a crop that nobody can name it is 1 lb, 1.12 kg/ha.
        let crops = ["broccoli", "moonflower"].map(Crop::known_or_cautious);
        let ceiling = boron_ceiling(crops);
        assert_eq!(ceiling.tolerance, BoronTolerance::Unlisted);
        assert!((ceiling.ceiling.0 - 1.12).abs() < 0.005);
        assert_eq!(Crop::known_or_cautious("broccoli"), Crop::find("broccoli").unwrap());
    }
}
