//! Metals that do harm: total content held against published screening values, each with its
//! jurisdiction, purpose, date and standing. Total and extractable content are different types
//! and are never compared. It never calls ground fit or unfit; it says what was found beside
//! what authorities print, and who decides.

mod loads;

pub use loads::{ContentSet, Holding, Load, LoadSet, Most, content_sets, holdings, load_sets, loads};

use super::{
    analyte::Analyte,
    element::Element,
    method::Method,
    quantity::MgPerKg,
    reading::{Level, Reading, number},
    record::Qualifier,
    source::{Citation, Evidence, Source},
    working::{Figure, Origin, Working},
};
use serde::Deserialize;
use std::sync::LazyLock;

/// A total content: what strong acid draws out.
#[derive(Clone, Debug, PartialEq)]
pub struct Total {
    pub element: Element,
    pub level: MgPerKg,
    pub qualifier: Qualifier,
    pub working: Working,
}

/// What a milder extract draws out; it cannot be held against a value for total content.
#[derive(Clone, Debug, PartialEq)]
pub struct Extractable {
    pub element: Element,
    pub method: Method,
    pub level: Level,
    pub working: Working,
}

/// A metal by one kind of test or the other.
#[derive(Clone, Debug, PartialEq)]
pub enum Content {
    Total(Total),
    Extractable(Extractable),
}

/// The elements for which values are known.
pub const METALS: [Element; 10] = [
    Element::Ag,
    Element::As,
    Element::Cd,
    Element::Cr,
    Element::Cu,
    Element::Hg,
    Element::Ni,
    Element::Pb,
    Element::Se,
    Element::Zn,
];

/// Sorts a reading of a metal into total or extractable by its method; refused without one.
pub fn content(reading: &Reading) -> Result<Content, String> {
    let Analyte::Element(element) = reading.analyte else { return Err("This is not a metal.".into()) };
    if !METALS.contains(&element) {
        return Err(format!("No screening values are known for {}.", element.name()));
    }
    match (&reading.method, reading.level) {
        (Method::Unstated, _) => Err(format!(
            "The sheet does not say whether this {} is total or extracted, and the two differ many times over: ask the laboratory, and choose the method of the line.",
            element.name()
        )),
        (Method::Total, _) if reading.qualifier == Qualifier::NotDetected => {
            Err(format!("Total {} was not detected, and the sheet prints no limit.", element.name()))
        }
        (Method::Total, Level::MgPerKg(level)) => {
            Ok(Content::Total(Total { element, level, qualifier: reading.qualifier, working: reading.working.clone() }))
        }
        (Method::Total, _) => Err("A total content is held against values by mass of soil; this one is not.".into()),
        (method, level) => Ok(Content::Extractable(Extractable {
            element,
            method: method.clone(),
            level,
            working: reading.working.clone(),
        })),
    }
}

/// One element's value in a set.
#[derive(Clone, Copy, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Value {
    pub element: Element,
    /// mg/kg; equal to `high` unless a range is printed.
    pub low: f64,
    pub high: f64,
}

/// A published set of screening values.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ScreeningSet {
    pub slug: String,
    pub jurisdiction: String,
    /// What the values are for.
    pub purpose: String,
    /// As known: "January 2024", "not known".
    pub date: String,
    /// How it stands: guidance, superseded, from memory.
    pub status: String,
    #[serde(default)]
    pub superseded: bool,
    /// Soil pH that it is printed for: from the first, below the second.
    pub ph: Option<(f64, f64)>,
    #[serde(default)]
    pub ph_note: String,
    pub source: Citation,
    pub values: Vec<Value>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    set: Vec<ScreeningSet>,
}

static SETS: LazyLock<File> =
    LazyLock::new(|| toml::from_str(include_str!("values.toml")).expect("the embedded values are checked by a test"));

/// Every set of values.
pub fn sets() -> &'static [ScreeningSet] {
    &SETS.set
}

/// The places that values are known for, each once, in the order of the sets.
pub fn jurisdictions() -> Vec<&'static str> {
    let mut places: Vec<&str> = Vec::new();
    for set in sets() {
        if !places.contains(&set.jurisdiction.as_str()) {
            places.push(&set.jurisdiction);
        }
    }
    places
}

/// Where a content lies against a value.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Side {
    Below,
    /// Within a printed range.
    Within,
    AtOrAbove,
    /// A detection limit above the value: the test cannot tell.
    NotKnown,
}

/// A content beside one value.
#[derive(Clone, Debug, PartialEq)]
pub struct Comparison {
    pub set: &'static ScreeningSet,
    pub value: Value,
    pub side: Side,
    /// A sentence that never calls ground fit or unfit.
    pub words: String,
    pub working: Working,
}

/// What the values say together.
#[derive(Clone, Debug, PartialEq)]
pub struct Screening {
    pub comparisons: Vec<Comparison>,
    /// Sets that do not apply, and why.
    pub not_applied: Vec<(&'static ScreeningSet, String)>,
    /// What to do next, in order.
    pub advice: Vec<String>,
}

/// A total content beside every value that may be used. `jurisdiction`: only that place's sets,
/// if any; values known from memory only where switched on.
pub fn screen(total: &Total, ph: Option<f64>, jurisdiction: Option<&str>, with_memory: bool) -> Screening {
    let (mut comparisons, mut not_applied) = (Vec::new(), Vec::new());
    for set in sets() {
        let Some(value) = set.values.iter().find(|v| v.element == total.element) else { continue };
        match applies(set, ph, jurisdiction, with_memory) {
            Ok(()) => comparisons.push(compare(total, set, *value)),
            Err(why) => not_applied.push((set, why)),
        }
    }
    let advice = advice(total.element, &comparisons);
    Screening { comparisons, not_applied, advice }
}

fn applies(set: &ScreeningSet, ph: Option<f64>, jurisdiction: Option<&str>, with_memory: bool) -> Result<(), String> {
    if jurisdiction.is_some_and(|place| !set.jurisdiction.eq_ignore_ascii_case(place)) {
        return Err(format!("for {}", set.jurisdiction));
    }
    if set.superseded {
        return Err("superseded; shown so that an old report can be understood".into());
    }
    if set.source.evidence == Evidence::Memory && !with_memory {
        return Err("known only from memory, and switched off".into());
    }
    match (set.ph, ph) {
        (Some((from, to)), Some(ph)) if !(from..to).contains(&ph) => {
            Err(format!("for soil of pH {from} to {to}; this soil reads {ph:.1}"))
        }
        (Some((from, to)), None) => Err(format!("for soil of pH {from} to {to}, and no pH was read")),
        _ => Ok(()),
    }
}

fn compare(total: &Total, set: &'static ScreeningSet, value: Value) -> Comparison {
    let found = total.level.0;
    let side = match total.qualifier {
        Qualifier::Below if found > value.low => Side::NotKnown,
        Qualifier::Below => Side::Below,
        Qualifier::Above if found < value.low => Side::NotKnown,
        _ if found < value.low => Side::Below,
        _ if found < value.high => Side::Within,
        _ => Side::AtOrAbove,
    };
    let printed = if value.low == value.high {
        format!("{}\u{a0}mg/kg", number(value.low))
    } else {
        format!("{} to {}\u{a0}mg/kg", number(value.low), number(value.high))
    };
    let shown = format!("{}{}\u{a0}mg/kg", total.qualifier.sign(), number(found));
    let how = match side {
        Side::Below => "is below",
        Side::Within => "lies within",
        Side::AtOrAbove => "is at or above",
        Side::NotKnown => "cannot be told from",
    };
    let words = format!(
        "Total {} {shown} {how} the {printed} of {} ({}; {}; {}).",
        total.element.name(),
        set.jurisdiction,
        set.purpose,
        set.date,
        set.status
    );
    let leaf = Working::leaf("Screening value", Figure::new(value.high, MgPerKg::UNIT, 1), Origin::Published)
        .cite(set.source.clone());
    let mut working = Working::step(
        format!("Total {} beside a screening value", total.element.name()),
        Figure::new(found / value.high, "times the value", 2),
        format!("{} ÷ {} = {}", number(found), number(value.high), number(found / value.high)),
        [total.working.clone(), leaf],
    );
    if !set.ph_note.is_empty() {
        working = working.note(set.ph_note.clone());
    }
    Comparison { set, value, side, words, working }
}

fn advice(element: Element, comparisons: &[Comparison]) -> Vec<String> {
    let raised = comparisons.iter().any(|c| matches!(c.side, Side::AtOrAbove | Side::Within));
    let mut advice = Vec::new();
    if raised {
        advice.push(
            "Show this result to your local health or environment authority before growing food here; they decide, and know what counts where you are."
                .to_owned(),
        );
        advice
            .push("Have more spots tested: metals lie in patches, and a mixed sample hides the worst of them.".into());
        if element == Element::Pb {
            advice.push("Until then keep soil off hands, shoes and salads, wash and peel, keep small children from bare soil, and keep pH near neutral.".into());
        }
    } else {
        advice.push(
            "A value that is not reached is no promise about food grown here: these values were made for their own purposes. Your local health or environment authority can say what counts where you are."
                .to_owned(),
        );
    }
    advice
}

const UMASS_LEAD: Source = Source {
    publisher: "UMass Amherst Soil and Plant Nutrient Testing Laboratory",
    title: "Specimen soil report S141006-324: extractable lead usually below 22 ppm (modified Morgan)",
    year: 2015,
    address: "https://www.scribd.com/document/258603620",
    evidence: Evidence::Read,
};

/// What can be said of an extractable content: only whether one laboratory would ask for a total test.
pub fn screen_extractable(extractable: &Extractable) -> (String, Option<Working>) {
    let name = extractable.element.name();
    let pointer = "Ask for total metals, and show them to your local health or environment authority.";
    match (extractable.element, &extractable.method, extractable.level) {
        (Element::Pb, Method::ModifiedMorgan, Level::MgPerKg(level)) => {
            let words = if level.0 < 22.0 {
                format!(
                    "Extractable {name} of {}\u{a0}mg/kg is what this laboratory usually finds (below 22). It says little about total lead. {pointer}",
                    number(level.0)
                )
            } else {
                format!(
                    "Extractable {name} of {}\u{a0}mg/kg is above what this laboratory usually finds (below 22): total lead may be raised. {pointer}",
                    number(level.0)
                )
            };
            let limit =
                Working::leaf("Usually found below", Figure::new(22.0, "mg/kg", 0), Origin::Published).cite(UMASS_LEAD);
            let working = Working::step(
                format!("Extractable {name} beside what is usual"),
                Figure::new(level.0 / 22.0, "times", 2),
                format!("{} ÷ 22 = {}", number(level.0), number(level.0 / 22.0)),
                [extractable.working.clone(), limit],
            );
            (words, Some(working))
        }
        _ => (format!("No screening value speaks of {name} drawn out so. {pointer}"), None),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_value_has_its_place_date_and_source_and_no_word_promises_anything() {
        assert!(sets().len() >= 14);
        for set in sets() {
            assert!(!set.date.is_empty() && !set.status.is_empty() && !set.source.title.is_empty(), "{}", set.slug);
            let memory = set.source.evidence == Evidence::Memory;
            assert_eq!(memory, set.status.contains("memory"), "{}", set.slug);
            assert!(set.values.iter().all(|v| 0.0 < v.low && v.low <= v.high && METALS.contains(&v.element)));
            for text in [&set.purpose, &set.status] {
                assert!(!text.to_lowercase().contains("safe"), "{}", set.slug);
            }
        }
    }
}
