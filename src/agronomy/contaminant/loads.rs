//! Metals that were brought on, beside the most that published rules let go onto land, and what
//! a material holds beside the most that rules let it hold. Only what analyses name is counted.
//! It caps nothing and calls nothing fit: the rules were made for sludge or for sprays, and it
//! says so beside each.

use super::{METALS, Side, Value};
use crate::agronomy::{
    element::Element,
    quantity::{KgPerHa, SquareMetres},
    reading::number,
    record::Application,
    source::{Citation, Evidence},
    working::{Figure, Origin, Working},
};
use jiff::{ToSpan, civil::Date};
use serde::Deserialize;
use std::sync::LazyLock;

/// The most of one metal in a set.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Most {
    pub element: Element,
    pub kg_per_ha: f64,
}

/// A published set of loads.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LoadSet {
    pub slug: String,
    pub jurisdiction: String,
    /// What it was made for, and over which time.
    pub purpose: String,
    pub date: String,
    pub status: String,
    /// The years that are counted together; `None`: all that ever went on.
    pub years: Option<i16>,
    /// Whether the figure is for one year, as a mean of those years.
    pub yearly: bool,
    pub source: Citation,
    pub values: Vec<Most>,
}

impl LoadSet {
    /// What may go on over the whole time that is counted, kg/ha.
    fn over_all(&self, most: &Most) -> KgPerHa {
        let times = self.years.filter(|_| self.yearly).unwrap_or(1);
        KgPerHa(most.kg_per_ha * f64::from(times))
    }
}

/// A published set of what a material may hold, mg/kg of dry matter.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ContentSet {
    pub slug: String,
    pub jurisdiction: String,
    pub purpose: String,
    pub date: String,
    pub status: String,
    pub source: Citation,
    pub values: Vec<Value>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    load: Vec<LoadSet>,
    content: Vec<ContentSet>,
}

static FILE: LazyLock<File> =
    LazyLock::new(|| toml::from_str(include_str!("loads.toml")).expect("the embedded loads are checked by a test"));

/// Every set of loads.
pub fn load_sets() -> &'static [LoadSet] {
    &FILE.load
}

/// Every set of what a material may hold.
pub fn content_sets() -> &'static [ContentSet] {
    &FILE.content
}

/// What went on of one metal, beside one set.
#[derive(Clone, Debug, PartialEq)]
pub struct Load {
    pub set: &'static LoadSet,
    pub element: Element,
    /// Over the time that the set counts.
    pub brought: KgPerHa,
    pub most: KgPerHa,
    /// More went on than the set lets.
    pub beyond: bool,
    pub words: String,
    pub working: Working,
}

fn speaks(evidence: Evidence, place: &str, jurisdiction: Option<&str>, with_memory: bool) -> bool {
    (evidence != Evidence::Memory || with_memory) && jurisdiction.is_none_or(|known| known.eq_ignore_ascii_case(place))
}

/// What went on a plot of each metal that an analysis names, beside every set that may be used.
///
/// Counted are the years that end with `today`; a day exactly so many years earlier no longer
/// counts. A plot without an area, and an application without a mass, add nothing.
pub fn loads(
    applications: &[Application],
    area: SquareMetres,
    today: Date,
    jurisdiction: Option<&str>,
    with_memory: bool,
) -> Vec<Load> {
    let mut all = Vec::new();
    for element in METALS {
        for set in load_sets() {
            let Some(most) = set.values.iter().find(|most| most.element == element) else { continue };
            if speaks(set.source.evidence, &set.jurisdiction, jurisdiction, with_memory) {
                all.extend(load(applications, area, today, set, most));
            }
        }
    }
    all
}

fn load(
    applications: &[Application],
    area: SquareMetres,
    today: Date,
    set: &'static LoadSet,
    most: &Most,
) -> Option<Load> {
    let since = set.years.map(|years| today.saturating_sub(i64::from(years).years()));
    let counted =
        applications.iter().filter(|a| a.applied_on <= today && since.is_none_or(|since| a.applied_on > since));
    let nodes: Vec<Working> = counted.filter_map(|a| node(a, most.element, area)).collect();
    if nodes.is_empty() {
        return None;
    }
    let brought = KgPerHa(nodes.iter().map(|node| node.figure.value).sum());
    let limit = set.over_all(most);
    let beyond = brought.0 > limit.0 * (1.0 + 1e-9);
    let shown = |rate: f64| Figure::significant(rate, KgPerHa::UNIT, 3);
    let time = match set.years {
        Some(years) => format!("In the {years} years to {}", today.strftime("%-d %b %Y")),
        None => format!("Up to {}, as far as the record goes back,", today.strftime("%-d %b %Y")),
    };
    let printed = match (set.yearly, set.years) {
        (true, Some(years)) => {
            format!("{} a year as a mean of {years} years, so {} in all", shown(most.kg_per_ha), shown(limit.0))
        }
        (_, Some(years)) => {
            format!("{} in {years} years, {} a year on average", shown(limit.0), shown(limit.0 / f64::from(years)))
        }
        _ => format!("{} ever", shown(limit.0)),
    };
    let words = format!(
        "{time} {} of {} went on by the analyses; {} prints at most {printed} ({}; {}; {}).",
        shown(brought.0),
        most.element.name(),
        set.jurisdiction,
        set.purpose,
        set.date,
        set.status
    );
    let leaf = Working::leaf("The most that is printed", shown(limit.0), Origin::Published).cite(set.source.clone());
    let terms: Vec<String> = nodes.iter().map(|node| number(node.figure.value)).collect();
    let sum = match &terms[..] {
        [one] => one.clone(),
        _ => format!("{} = {}", terms.join(" + "), number(brought.0)),
    };
    let formula = format!("{sum} kg/ha, beside {} kg/ha", number(limit.0));
    let working = Working::step(
        format!("{} brought on", capital(most.element.name())),
        shown(brought.0),
        formula,
        nodes.into_iter().chain([leaf]),
    )
    .note("What no analysis names is not counted, and a product may hold metals that nobody looked for.");
    Some(Load { set, element: most.element, brought, most: limit, beyond, words, working })
}

/// What one application brought of an element; `None` where its analysis names none of it.
fn node(application: &Application, element: Element, area: SquareMetres) -> Option<Working> {
    let share = application.content.get(&element).copied().filter(|share| share.is_finite() && *share > 0.0)?;
    let has_mass = application.mass_g.is_finite() && application.mass_g > 0.0;
    if !(has_mass && area.0.is_finite() && area.0 > 0.0) {
        return None;
    }
    let rate = application.total(element).per(area);
    let formula = format!(
        "{} g × {} % ÷ {} m² × 10 = {} kg/ha",
        number(application.mass_g),
        number(share * 100.0),
        number(area.0),
        number(rate.0)
    );
    let entered = |title: &str, value: f64, unit: &str| {
        Working::leaf(title, Figure::significant(value, unit, 4), Origin::Entered)
    };
    let inputs = [
        entered("Put on", application.mass_g, "g"),
        entered("Content by its analysis", share * 100.0, "%"),
        entered("Area of the plot", area.0, "m²"),
    ];
    let title = format!("{} in {}, {}", capital(element.name()), application.amendment, application.applied_on);
    Some(Working::step(title, Figure::significant(rate.0, KgPerHa::UNIT, 3), formula, inputs))
}

fn capital(name: &str) -> String {
    let mut chars = name.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

/// What a material holds beside one set.
#[derive(Clone, Debug, PartialEq)]
pub struct Holding {
    pub set: &'static ContentSet,
    pub element: Element,
    /// mg/kg of dry matter.
    pub mg_per_kg: f64,
    pub side: Side,
    pub words: String,
}

/// What a material holds of each metal that its analysis names, beside every set that may be
/// used. `shares`: mass fractions of the material as it is; `moisture`: the fraction of it that
/// is water, `None` where it is not known: then the material is counted as dry, which understates
/// it, and the words say that its water is not known.
pub fn holdings(
    shares: impl IntoIterator<Item = (Element, f64)>,
    moisture: Option<f64>,
    jurisdiction: Option<&str>,
    with_memory: bool,
) -> Vec<Holding> {
    let dry = 1.0 - moisture.filter(|water| (0.0..1.0).contains(water)).unwrap_or(0.0);
    let mut all = Vec::new();
    for (element, share) in shares.into_iter().filter(|(_, share)| share.is_finite() && *share > 0.0) {
        let mg_per_kg = share * 1e6 / dry;
        for set in content_sets() {
            let Some(value) = set.values.iter().find(|value| value.element == element) else { continue };
            if !speaks(set.source.evidence, &set.jurisdiction, jurisdiction, with_memory) {
                continue;
            }
            // A printed share that comes to the very figure is not below it for the last bits of a float.
            let (side, how) = match mg_per_kg * (1.0 + 1e-9) {
                found if found < value.low => (Side::Below, "below"),
                found if found < value.high => (Side::Within, "within"),
                _ => (Side::AtOrAbove, "at or above"),
            };
            let printed = match value.low == value.high {
                true => number(value.low),
                false => format!("{} to {}", number(value.low), number(value.high)),
            };
            let basis = if moisture.is_some() { "dry matter" } else { "the material as it is, its water not known" };
            let words = format!(
                "{} {}\u{a0}mg/kg of {basis}: {how} the {printed} of {} ({}; {}; {}).",
                capital(element.name()),
                number((mg_per_kg * 100.0).round() / 100.0),
                set.jurisdiction,
                set.purpose,
                set.date,
                set.status
            );
            all.push(Holding { set, element, mg_per_kg, side, words });
        }
    }
    all
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn copper(on: Date, grams: f64) -> Application {
        Application {
            key: 1,
            applied_on: on,
            amendment: "Copper oxide".into(),
            mass_g: grams,
            content: [(Element::Cu, 0.5)].into(),
            availability: Default::default(),
            manure: false,
            organic: false,
        }
    }

    #[test]
    fn every_set_says_where_when_and_what_it_was_made_for() {
        for set in load_sets() {
            assert!(!set.date.is_empty() && !set.purpose.is_empty() && !set.source.title.is_empty(), "{}", set.slug);
            assert_eq!(set.source.evidence == Evidence::Memory, set.status.contains("memory"), "{}", set.slug);
            assert!(set.values.iter().all(|most| most.kg_per_ha > 0.0 && METALS.contains(&most.element)));
            assert!(!set.yearly || set.years.is_some(), "{}: a mean of how many years", set.slug);
        }
        for set in content_sets() {
            assert_eq!(set.source.evidence == Evidence::Memory, set.status.contains("memory"), "{}", set.slug);
            assert!(set.values.iter().all(|v| 0.0 < v.low && v.low <= v.high), "{}", set.slug);
        }
    }

    #[test]
    fn seven_years_of_copper_are_counted_and_the_eighth_is_not() {
        // Regulation (EU) 2018/1981: 28 kg/ha in seven years. 560 g of half copper on 100 m² is 28 kg/ha.
        let today = date(2026, 6, 1);
        let of = |applications: &[Application], slug: &str| {
            let all = loads(applications, SquareMetres(100.0), today, None, false);
            all.into_iter().find(|load| load.set.slug == slug)
        };
        let found = of(&[copper(date(2019, 6, 2), 560.0)], "eu_copper_sprays").unwrap();
        assert!((found.brought.0 - 28.0).abs() < 1e-9 && !found.beyond, "{}", found.words);
        assert!(
            found.working.is_grounded() && found.words.contains("4.00\u{a0}kg/ha a year on average"),
            "{}",
            found.words
        );
        assert_eq!(of(&[copper(date(2019, 6, 1), 560.0)], "eu_copper_sprays"), None);
        let more = [copper(date(2019, 6, 2), 560.0), copper(date(2025, 6, 2), 1.0)];
        assert!(of(&more, "eu_copper_sprays").unwrap().beyond);
        // As a mean of ten years 12 kg/ha a year, 120 in all, is far off.
        let mean = of(&more, "eu_sludge_load").unwrap();
        assert!(!mean.beyond && (mean.most.0 - 120.0).abs() < 1e-9);
        // What was put on later than today, on no area, or without a name in the analysis adds nothing.
        assert!(loads(&[copper(date(2027, 1, 1), 9e9)], SquareMetres(100.0), today, None, true).is_empty());
        assert!(loads(&more, SquareMetres(0.0), today, None, true).is_empty());
    }

    #[test]
    fn a_moist_material_is_held_against_its_dry_matter() {
        // 2,150 mg/kg of copper in a sludge that is half water is 4,300 in the dry matter (40 CFR 503.13, table 1).
        let found = |moisture| holdings([(Element::Cu, 2150e-6)], moisture, Some("United States"), false).remove(0);
        assert!((found(Some(0.5)).mg_per_kg - 4300.0).abs() < 1e-9);
        assert_eq!((found(Some(0.5)).side, found(None).side), (Side::AtOrAbove, Side::Below));
        assert!(found(None).words.contains("its water not known"));
    }
}
