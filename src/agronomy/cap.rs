//! The most of an element that a plot may be given in a season, over all products, and what
//! was given already. A cap is hard: it is never traded against a need, and it counts the
//! total element, available or not.

use super::{
    amendment::RateLimit,
    crop::{Crop, boron_ceiling},
    element::{Element, Form},
    ground::Texture,
    quantity::{KgPerHa, SquareMetres},
    rate::RateUnit,
    record::Application,
    source::{Citation, Evidence, Source},
    standing::num,
    working::{Figure, Origin, Working},
};
use jiff::{ToSpan, civil::Date};
use std::collections::BTreeMap;

/// What a cap counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Counted {
    /// The element in every product.
    Total(Element),
    /// Total nitrogen in livestock manures only.
    ManureNitrogen,
    /// Total nitrogen in everything of animal or plant origin: manure, compost, meals.
    OrganicNitrogen,
    /// One product, by the caller's key, whatever is in it.
    Product(u32),
}

/// What a cap rests on, which decides whether a person may overrule it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Grounds {
    /// Published as the most that is sensible: a steward may overrule it, with a reason.
    Advice,
    /// Beyond it crops or soil come to harm, and it cannot be taken out again: only with a reason
    /// and after reading what is warned of, and the warning stays.
    Hazard,
    /// Law somewhere. Whether it is law here is not ours to say, so it is never overruled here.
    Law,
}

impl Counted {
    /// The key of what a cap counts: `total-B`, `manure-N`, `organic-N`, `product-7`.
    pub fn key(self) -> String {
        match self {
            Counted::Total(element) => format!("total-{}", element.symbol()),
            Counted::ManureNitrogen => "manure-N".into(),
            Counted::OrganicNitrogen => "organic-N".into(),
            Counted::Product(key) => format!("product-{key}"),
        }
    }
}

impl std::str::FromStr for Counted {
    type Err = String;

    fn from_str(key: &str) -> Result<Counted, String> {
        match key.split_once('-') {
            Some(("total", symbol)) => symbol.parse().map(Counted::Total),
            Some(("manure", "N")) => Ok(Counted::ManureNitrogen),
            Some(("organic", "N")) => Ok(Counted::OrganicNitrogen),
            Some(("product", number)) => number.parse().map(Counted::Product).map_err(|_| format!("“{key}” is no cap")),
            _ => Err(format!("“{key}” is no cap")),
        }
    }
}

/// A decision with what it stands in the place of.
#[derive(Clone, Debug, PartialEq)]
pub struct Overrule {
    pub decided: Overruled,
    pub published: KgPerHa,
    /// The label of the cap as published.
    pub label: String,
}

/// A decision to let more, or less, go on than is published.
#[derive(Clone, Debug, PartialEq)]
pub struct Overruled {
    pub kg_per_ha: KgPerHa,
    /// What was published when it was decided: the figure and the label that were decided about.
    pub published: KgPerHa,
    pub label: String,
    /// In the words of whoever decided.
    pub reason: String,
    pub by: String,
    pub on: Date,
}

/// The most that may be given in twelve months.
#[derive(Clone, Debug, PartialEq)]
pub struct SeasonCap {
    pub counted: Counted,
    pub kg_per_ha: KgPerHa,
    /// As a person reads it, with the reason for this figure.
    pub label: String,
    pub source: Citation,
    /// Known only from memory: shown, but not applied unless switched on.
    pub in_force: bool,
    pub grounds: Grounds,
    /// What no decision may go beyond, and who says so; `None` where nothing is published.
    pub outermost: Option<(KgPerHa, Source)>,
    /// The decision that stands in the place of what is published, and what is published.
    pub overruled: Option<Overrule>,
}

impl SeasonCap {
    /// Whether an application carries anything that this cap counts.
    pub fn counts(&self, application: &Application) -> bool {
        let carries = |element| application.content.get(&element).is_some_and(|fraction| *fraction > 0.0);
        match self.counted {
            Counted::Total(element) => carries(element),
            Counted::ManureNitrogen => application.manure && carries(Element::N),
            Counted::OrganicNitrogen => application.organic && carries(Element::N),
            // Applications do not know the caller's keys.
            Counted::Product(_) => false,
        }
    }

    /// What is warned of when it is overruled; `None` where it is advice only.
    pub fn warning(&self) -> Option<&'static str> {
        match (self.grounds, self.counted) {
            (Grounds::Advice, _) => None,
            (Grounds::Law, _) => Some("This is law in places, and is not overruled here."),
            (_, Counted::Total(Element::B)) => Some(
                "Boron beyond this has poisoned crops. It harms sensitive crops first, beans and peas above all, now \
                 and in the seasons after, and it cannot be taken out of the soil by hand.",
            ),
            _ => Some(
                "This is a metal that stays in the soil. Too much poisons crops, soil life or grazing animals, and \
                 cannot be taken out again. Laws on soil and on sludge may set limits of their own.",
            ),
        }
    }

    /// What is published, whatever was decided about it.
    pub fn published(&self) -> (KgPerHa, &str) {
        match &self.overruled {
            Some(overrule) => (overrule.published, &overrule.label),
            None => (self.kg_per_ha, &self.label),
        }
    }

    /// What no decision may go beyond, and why; `None` where nothing bounds it. A hazard for which
    /// nobody publishes an outermost figure is bounded by what is published.
    pub fn most_decided(&self) -> Option<(KgPerHa, String)> {
        match (&self.outermost, self.grounds) {
            (Some((most, source)), _) => Some((*most, format!("{}, {}", source.publisher, source.title))),
            (None, Grounds::Hazard) => {
                Some((self.published().0, "how far beyond what is published it does no harm, nothing read says".into()))
            }
            (None, Grounds::Advice | Grounds::Law) => None,
        }
    }

    /// Whether a decision may stand in the place of this published cap: it lets no more go on, or
    /// what it was decided about is published still, in the same words and no lower.
    pub fn bears(&self, decided: &Overruled) -> bool {
        let at_most = |a: KgPerHa, b: KgPerHa| a.0 <= b.0 * (1.0 + 1e-9);
        at_most(decided.kg_per_ha, self.kg_per_ha)
            || at_most(decided.published, self.kg_per_ha) && decided.label == self.label
    }

    /// The same cap as a person decided it, but never beyond [`SeasonCap::most_decided`].
    pub fn overrule(mut self, mut decided: Overruled) -> SeasonCap {
        if let Some((most, _)) = self.most_decided() {
            decided.kg_per_ha.0 = decided.kg_per_ha.0.min(most.0);
        }
        let plain = |rate: KgPerHa| num((rate.0 * 100.0).round() / 100.0);
        let published = self.kg_per_ha;
        let label = self.label.clone();
        let what = label.split(": at most ").next().unwrap_or(&label);
        let unit = KgPerHa::UNIT;
        self.label = format!(
            "{what}: {} {unit} by decision of {}, where {} {unit} is published",
            plain(decided.kg_per_ha),
            decided.by,
            plain(published)
        );
        self.kg_per_ha = decided.kg_per_ha;
        self.overruled = Some(Overrule { decided, published, label });
        self
    }
}

impl SeasonCap {
    /// An amount of what it counts, with the decimals that the label gives the cap; with more
    /// where fewer would make a small amount none, or one beyond the cap look like the cap.
    pub fn amount(&self, given: KgPerHa) -> Figure {
        let shown = |value: f64, decimals: u8| format!("{value:.*}", usize::from(decimals));
        let whole = self.kg_per_ha.0 >= 100.0 && (self.kg_per_ha.0 * 100.0).round() % 100.0 == 0.0;
        let tells = |decimals: &u8| {
            let as_none = given.0 > 0.0 && shown(given.0, *decimals).parse() == Ok(0.0);
            let as_cap = given.0 > self.kg_per_ha.0 * (1.0 + 1e-9)
                && shown(given.0, *decimals) == shown(self.kg_per_ha.0, *decimals);
            !as_none && !as_cap
        };
        let least = if whole { 0 } else { 2 };
        Figure::new(given.0, KgPerHa::UNIT, (least..6).find(tells).unwrap_or(6))
    }
}

const NORTH_CAROLINA: &str = "North Carolina Department of Agriculture, Agronomic Division";
const NC_MICRONUTRIENTS: Source = Source {
    publisher: NORTH_CAROLINA,
    title: "Circular 1 (Hardy, Tucker & Stokes), table 2.3 footnotes: Zn 6 lb/acre broadcast, Cu 2, 4 or 6 by soil class, Mn 10",
    year: 2014,
    address: "http://www.ncagr.gov/agronomi/obt23h.htm",
    evidence: Evidence::Read,
};
const MOLYBDENUM: Source = Source {
    publisher: "NOFA",
    title: "Organic Soil-Fertility handbook, table 27: molybdenum 0.02 to 0.4 lb/acre to the soil",
    year: 0,
    address: "https://nofa.org/soil/html/table27.php",
    evidence: Evidence::Read,
};
const MANURE_N: Source = Source {
    publisher: "Council of the European Communities",
    title: "Nitrates Directive 91/676/EEC: 170 kg N/ha a year from livestock manure",
    year: 1991,
    address: "https://eur-lex.europa.eu/legal-content/EN/TXT/?uri=LEGISSUM:l28013",
    evidence: Evidence::Read,
};
/// Regulation 7 of the same holds livestock manure to 170 kg as a mean over the whole holding, which
/// [`MANURE_N`] holds every plot to. Regulation 8 lets more go on as certified green compost alone, 500 kg
/// in two years: whoever that is about decides so, with a reason.
const ORGANIC_N: Source = Source {
    publisher: "Parliament of the United Kingdom",
    title: "The Nitrate Pollution Prevention Regulations 2015 (SI 2015/668, England), regulation 8: organic manure at \
most 250 kg N on any hectare in any twelve months; more as certified green compost alone",
    year: 2015,
    address: "https://www.legislation.gov.uk/uksi/2015/668/part/3/made",
    evidence: Evidence::Read,
};
/// The highest that was read for any crop.
const BORON_OUTERMOST: Source = Source {
    publisher: "University of Delaware Cooperative Extension",
    title: "Boron in Vegetable Crops Revisited (Johnson): 3 lb B/acre, for crops of high need",
    year: 0,
    address: "https://extension.udel.edu/weeklycropupdate/?tag=vegetable-crop-nutrients",
    evidence: Evidence::Read,
};
/// Made for sewage sludge; taken as an outermost bound for any product by our own choice.
const SLUDGE_LOADS: Source = Source {
    publisher: "Council of the European Communities",
    title: "Directive 86/278/EEC, annex I C: with sewage sludge at most 12 kg Cu and 30 kg Zn/ha a year as a ten-year mean",
    year: 1986,
    address: "https://www.legislation.gov.uk/eudr/1986/278/annexes",
    evidence: Evidence::Read,
};
const POTASH_SPLIT: Source = Source {
    publisher: "No publication at hand",
    title: "Potash above 300 kg K2O/ha is split",
    year: 0,
    address: "",
    evidence: Evidence::Memory,
};
/// The caps of a plot that carries, or will next carry, these crops.
///
/// Boron: the most sensitive of the crops decides ([`boron_ceiling`]); a crop that its
/// publisher does not list, or none named, is held to the cautious rule there. Zinc, copper
/// and manganese: North Carolina's broadcast rates, the lowest that were read. Caps known only
/// from memory are returned with `in_force` false.
pub fn season_caps(crops: &[Crop], texture: Texture) -> Vec<SeasonCap> {
    use Element::{B, Cu, K, Mn, Mo, Zn};
    let cap = |counted, kg_per_ha: KgPerHa, label: String, source: Source| SeasonCap {
        counted,
        kg_per_ha,
        label: format!("{label}: at most {} kg/ha", num((kg_per_ha.0 * 100.0).round() / 100.0)),
        in_force: source.evidence != Evidence::Memory,
        grounds: grounds(counted),
        outermost: outermost(counted),
        overruled: None,
        source: source.into(),
    };
    let total = Counted::Total;
    let boron = boron_ceiling(crops.iter().copied());
    let whose = match boron.crop {
        Some(crop) => format!("Boron, set by {} (tolerance {})", crop.in_sentence(), boron.tolerance.label()),
        None => "Boron, no crop named".to_owned(),
    };
    let (copper, soil) = match texture {
        Texture::Organic => (6.0, "organic soil"),
        _ => (2.0, "mineral soil"),
    };
    let lb = |rate| RateUnit::LbPerAcre.read(rate);
    vec![
        cap(total(B), boron.ceiling, whose, boron.source),
        cap(total(Zn), lb(6.0), "Zinc, broadcast".into(), NC_MICRONUTRIENTS),
        cap(total(Cu), lb(copper), format!("Copper on {soil}"), NC_MICRONUTRIENTS),
        cap(total(Mn), lb(10.0), "Manganese".into(), NC_MICRONUTRIENTS),
        cap(total(Mo), lb(0.4), "Molybdenum".into(), MOLYBDENUM),
        cap(Counted::ManureNitrogen, KgPerHa(170.0), "Nitrogen from livestock manure".into(), MANURE_N),
        cap(
            Counted::OrganicNitrogen,
            KgPerHa(250.0),
            "Nitrogen from manure, compost and meals, law in England’s nitrate vulnerable zones".into(),
            ORGANIC_N,
        ),
        cap(
            total(K),
            KgPerHa(300.0 * Form::K2O.to_element()),
            "Potassium at one time (300 kg K₂O)".into(),
            POTASH_SPLIT,
        ),
    ]
}

/// What a cap rests on. Boron and the metals that stay in the soil harm; manure nitrogen is law
/// in the European Union; the rest is advice. So is nitrogen from all that is organic: it is law in
/// parts of England, and the law itself has an exception that a person may come under.
fn grounds(counted: Counted) -> Grounds {
    use Element::{B, Cu, Mo, Zn};
    match counted {
        Counted::Total(B | Cu | Mo | Zn) => Grounds::Hazard,
        Counted::ManureNitrogen => Grounds::Law,
        Counted::Total(_) | Counted::OrganicNitrogen | Counted::Product(_) => Grounds::Advice,
    }
}

fn outermost(counted: Counted) -> Option<(KgPerHa, Source)> {
    match counted {
        Counted::Total(Element::B) => Some((RateUnit::LbPerAcre.read(3.0), BORON_OUTERMOST)),
        Counted::Total(Element::Cu) => Some((KgPerHa(12.0), SLUDGE_LOADS)),
        Counted::Total(Element::Zn) => Some((KgPerHa(30.0), SLUDGE_LOADS)),
        _ => None,
    }
}

/// The most of a product itself, as published for it or told by the grower. "At once" counts this
/// plan only; "a year" counts what `given` says went on in the twelve months before.
pub fn product_cap(key: u32, name: &str, limit: &RateLimit) -> SeasonCap {
    let g_per_m2 = limit.rate.grams_per_m2().0;
    SeasonCap {
        counted: Counted::Product(key),
        kg_per_ha: limit.rate,
        label: format!("{name} {}: at most {} g/m² of the product", limit.per, num((g_per_m2 * 10.0).round() / 10.0)),
        source: limit.source.clone(),
        in_force: true,
        grounds: Grounds::Advice,
        outermost: None,
        overruled: None,
    }
}

/// What was put on a plot in the twelve months up to and including a day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Applied {
    /// Total of each element.
    pub by_element: BTreeMap<Element, KgPerHa>,
    /// Total nitrogen from livestock manures.
    pub manure_nitrogen: KgPerHa,
    /// Total nitrogen from everything of animal or plant origin.
    pub organic_nitrogen: KgPerHa,
    /// Of products whose own cap counts a year, by the caller's key.
    pub by_product: BTreeMap<u32, KgPerHa>,
    /// One node for each application and what it carried of what is counted.
    nodes: BTreeMap<Counted, Vec<Working>>,
}

/// Adds up the applications of the twelve months that end with `on`: a day exactly one year
/// earlier no longer counts, and one after `on` does not count yet.
///
/// A plot without an area, and an application without a mass, add nothing.
pub fn already_applied(applications: &[Application], area: SquareMetres, on: Date) -> Applied {
    let mut applied = Applied::default();
    let since = on.saturating_sub(1.year());
    for application in applications.iter().filter(|a| a.applied_on > since && a.applied_on <= on) {
        if !(application.mass_g.is_finite() && application.mass_g > 0.0 && area.0.is_finite() && area.0 > 0.0) {
            continue;
        }
        for (element, fraction) in application.content.iter().filter(|(_, f)| f.is_finite() && **f > 0.0) {
            let mass = super::quantity::Grams(application.mass_g * fraction).per(area);
            applied.by_element.entry(*element).or_default().0 += mass.0;
            let mut counted = vec![Counted::Total(*element)];
            if application.manure && *element == Element::N {
                applied.manure_nitrogen.0 += mass.0;
                counted.push(Counted::ManureNitrogen);
            }
            if application.organic && *element == Element::N {
                applied.organic_nitrogen.0 += mass.0;
                counted.push(Counted::OrganicNitrogen);
            }
            let title = format!("{} in {}, {}", element.name(), application.amendment, application.applied_on);
            let formula = format!(
                "{} g × {} % ÷ {} m² × 10 = {} kg/ha",
                num(application.mass_g),
                num(fraction * 100.0),
                num(area.0),
                num(mass.0)
            );
            let node = Working::step(
                title,
                Figure::significant(mass.0, KgPerHa::UNIT, 3),
                formula,
                [
                    Working::leaf("Put on", Figure::significant(application.mass_g, "g", 4), Origin::Entered),
                    Working::leaf(
                        "Content by its analysis",
                        Figure::significant(fraction * 100.0, "%", 3),
                        Origin::Entered,
                    ),
                    Working::leaf("Area of the plot", Figure::significant(area.0, "m²", 3), Origin::Entered),
                ],
            );
            for counted in counted {
                applied.nodes.entry(counted).or_default().push(node.clone());
            }
        }
    }
    applied
}

impl Applied {
    /// How much of what a cap counts was put on.
    pub fn of(&self, counted: Counted) -> KgPerHa {
        match counted {
            Counted::Total(element) => self.by_element.get(&element).copied().unwrap_or_default(),
            Counted::ManureNitrogen => self.manure_nitrogen,
            Counted::OrganicNitrogen => self.organic_nitrogen,
            Counted::Product(key) => self.by_product.get(&key).copied().unwrap_or_default(),
        }
    }

    /// What a cap still leaves, kg/ha; below zero when it is already exceeded.
    pub fn left(&self, cap: &SeasonCap) -> (KgPerHa, Working) {
        let given = self.of(cap.counted);
        let left = KgPerHa(cap.kg_per_ha.0 - given.0);
        let figure = |rate: KgPerHa| Figure::significant(rate.0, KgPerHa::UNIT, 3);
        let leaf = match &cap.overruled {
            None => Working::leaf(cap.label.clone(), figure(cap.kg_per_ha), Origin::Published),
            Some(Overrule { decided, published, .. }) => {
                Working::leaf(cap.label.clone(), figure(cap.kg_per_ha), Origin::Chosen)
                    .note(format!("Decided on {}: {}", decided.on, decided.reason))
                    .note(format!("Published: {} kg/ha.", num((published.0 * 100.0).round() / 100.0)))
            }
        };
        let leaf = leaf.cite(cap.source.clone());
        let nodes = self.nodes.get(&cap.counted).cloned().unwrap_or_default();
        let formula = format!("{} − {} = {} kg/ha", num(cap.kg_per_ha.0), num(given.0), num(left.0));
        let figure = Figure::significant(left.0, KgPerHa::UNIT, 3);
        let mut working =
            Working::step("Still left under this cap", figure, formula, std::iter::once(leaf).chain(nodes));
        if left.0 < 0.0 {
            working =
                working.note("Already exceeded: no product with it may be given until the twelve months have passed.");
        }
        (left, working)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_are_as_fine_as_the_cap_and_never_look_like_what_they_are_not() {
        let caps = season_caps(&[], Texture::Loam);
        let cap = |counted| caps.iter().find(|cap| cap.counted == counted).unwrap();
        let boron = cap(Counted::Total(Element::B));
        assert!(boron.label.ends_with("1.12 kg/ha"), "{}", boron.label);
        let words = |cap: &SeasonCap, given| cap.amount(KgPerHa(given)).to_string().replace('\u{a0}', " ");
        for (given, text) in
            [(1.149, "1.15 kg/ha"), (0.0, "0.00 kg/ha"), (0.004, "0.004 kg/ha"), (1.1216, "1.122 kg/ha")]
        {
            assert_eq!(words(boron, given), text);
        }
        assert_eq!(words(cap(Counted::ManureNitrogen), 12.34), "12 kg/ha");
    }
}
