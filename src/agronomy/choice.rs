//! Which reading speaks for an analyte when several do, and why.
//!
//! Repeats by one method are averaged, and that is said; nothing is ever averaged or
//! converted across methods. A person may overrule the choice with a reason.

use super::{
    analyte::Analyte,
    carbonate::{Signs, is_alkaline},
    element::Element,
    method::Method,
    reading::{Reading, number},
    record::CellKey,
    source::{Evidence, Source},
    working::{Figure, Working},
};
use std::collections::BTreeMap;

/// A person's decision to use another reading than the rule's.
#[derive(Clone, Debug, PartialEq)]
pub struct Overrule {
    pub analyte: Analyte,
    /// The cell to use.
    pub cell: CellKey,
    pub reason: String,
    /// Who decided, by name.
    pub by: String,
}

/// The reading used for an analyte, and the ones left aside.
#[derive(Clone, Debug, PartialEq)]
pub struct Choice {
    pub chosen: Reading,
    /// The other readings, best first.
    pub others: Vec<Reading>,
    /// Why this one, as sentences; never empty.
    pub reasons: Vec<String>,
    pub overruled: Option<Overrule>,
}

/// Picks one reading for each analyte of a sampling.
///
/// `readable_by` says whether the guideline in use has limits for a reading. With signs of
/// free lime or salts the extraction that suits such soil comes first, whether the guideline
/// reads it or not; without, a reading that the guideline reads comes first. Ties end in a
/// fixed order of methods and then of cells, so that the same sheet gives the same choice.
pub fn choose(
    readings: &[Reading],
    signs: &Signs,
    overrules: &[Overrule],
    readable_by: impl Fn(&Reading) -> bool,
) -> BTreeMap<Analyte, Choice> {
    let mut by_analyte: BTreeMap<Analyte, Vec<&Reading>> = BTreeMap::new();
    for reading in readings {
        by_analyte.entry(reading.analyte).or_default().push(reading);
    }
    by_analyte
        .into_iter()
        .filter_map(|(analyte, mut readings)| {
            readings.sort_by_key(|reading| reading.cell);
            let overrule = overrules.iter().rev().find(|o| o.analyte == analyte);
            Some((analyte, choose_one(analyte, &readings, signs, overrule, &readable_by)?))
        })
        .collect()
}

fn choose_one(
    analyte: Analyte,
    readings: &[&Reading],
    signs: &Signs,
    overrule: Option<&Overrule>,
    readable_by: &impl Fn(&Reading) -> bool,
) -> Option<Choice> {
    let mut candidates = merge_repeats(readings);
    candidates.sort_by_cached_key(|reading| {
        let suits = suitability(analyte, &reading.method, signs);
        // A limit says less than a number, and a method that is not stated says least.
        let unstated = reading.method == Method::Unstated;
        (unstated, suits, !readable_by(reading), !reading.is_exact(), reading.method.clone(), reading.cell)
    });
    let best = candidates.first()?.clone();
    let mut reasons = Vec::new();
    if candidates.len() == 1 {
        reasons.push(match merged(&best) {
            0 => format!("The only reading of {}", in_sentence(analyte)),
            n => format!("The mean of {n} repeats by {}, the only method used", best.method.label()),
        });
    } else {
        reasons.extend(why(analyte, &best, &candidates[1..], signs, readable_by));
    }
    if !readable_by(&best) {
        reasons.push(format!(
            "The guideline in use has no limits for {} by {}",
            in_sentence(analyte),
            best.method.label()
        ));
    }
    let Some(overrule) = overrule else {
        return Some(Choice { chosen: best, others: candidates.split_off(1), reasons, overruled: None });
    };
    // One repeat alone may be meant, so look among the cells as printed.
    let Some(wanted) = readings.iter().find(|r| r.cell == overrule.cell) else {
        reasons.push("The reading chosen by hand is no longer on the sheet: the rule decides again".into());
        return Some(Choice { chosen: best, others: candidates.split_off(1), reasons, overruled: None });
    };
    if best.cell == wanted.cell && merged(&best) == 0 {
        return Some(Choice { chosen: best, others: candidates.split_off(1), reasons, overruled: None });
    }
    reasons.insert(
        0,
        format!(
            "{} chose {} by hand: {}",
            if overrule.by.is_empty() { "Somebody" } else { &overrule.by },
            wanted.method.label(),
            overrule.reason
        ),
    );
    reasons.insert(1, format!("The rule would have used {} ({})", best.method.label(), best.figure()));
    let others = candidates.into_iter().filter(|r| r.cell != wanted.cell || merged(r) > 0).collect();
    Some(Choice { chosen: (*wanted).clone(), others, reasons, overruled: Some(overrule.clone()) })
}

/// Which test of phosphorus suits which pH.
pub const PHOSPHORUS_TESTS: Source = Source {
    publisher: "University of Minnesota Extension (Kaiser)",
    title: "What is the best soil test option for phosphorus: Bray-P1 up to pH 7.4, Olsen from 7.4 up, and usable from 6.0",
    year: 2021,
    address: "https://blog-crop-news.extension.umn.edu/2021/02/what-is-best-soil-test-option-for.html",
    evidence: Evidence::Read,
};

/// How a test of phosphorus suits a pH in water.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum SuitsPh {
    Well,
    /// It can be used.
    Usable,
    /// The publisher does not use it there.
    NotUsed,
}

/// What Minnesota says of Bray-1 and Olsen at a pH in water; `None` for other tests. At 7.4 both
/// suit. Others use Olsen on sour soil as well (the British index does), so below 6.0 this is one
/// publisher's word.
pub fn suits_ph(method: &Method, ph: f64) -> Option<SuitsPh> {
    match method {
        Method::Bray1 if ph <= 7.4 => Some(SuitsPh::Well),
        Method::Bray1 => Some(SuitsPh::NotUsed),
        Method::Olsen if ph >= 7.4 => Some(SuitsPh::Well),
        Method::Olsen if ph >= 6.0 => Some(SuitsPh::Usable),
        Method::Olsen => Some(SuitsPh::NotUsed),
        _ => None,
    }
}

/// Means of exchangeable calcium and magnesium, cmol(+)/kg, of 18 soils with carbonate.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Carbonate18 {
    pub calcium: f64,
    pub magnesium: f64,
}

/// By alcoholic ammonium chloride of pH 8.5.
pub const BY_CHLORIDE: Carbonate18 = Carbonate18 { calcium: 16.5, magnesium: 11.7 };
/// By leaching twice with sodium chloride.
pub const BY_DOUBLE_LEACHING: Carbonate18 = Carbonate18 { calcium: 16.4, magnesium: 11.7 };

/// Who found them.
pub const TUCKER: Source = Source {
    publisher: "Tucker, Australian Journal of Agricultural Research 5:706",
    title: "Exchangeable calcium and magnesium in carbonate soils (abstract)",
    year: 1954,
    address: "https://doi.org/10.1071/AR9540706",
    evidence: Evidence::Read,
};

/// How far ammonium chloride lay from the double leaching on these soils, %.
pub fn chloride_apart_percent() -> (f64, f64) {
    let apart = |one: f64, other: f64| 100.0 * (one - other) / other;
    (apart(BY_CHLORIDE.calcium, BY_DOUBLE_LEACHING.calcium), apart(BY_CHLORIDE.magnesium, BY_DOUBLE_LEACHING.magnesium))
}

/// How well a method suits an analyte on this soil: 0 is best.
fn suitability(analyte: Analyte, method: &Method, signs: &Signs) -> u8 {
    use Method::*;
    let bases = is_base(analyte);
    if bases && signs.inflates_bases() {
        return match method {
            AmmoniumChloride85 => u8::from(!signs.salty()), // salts are washed out before
            AmmoniumAcetate82 | AmmoniumAcetate85 | CapacityAcetate82 => 1,
            AmmoniumAcetate7 | CapacityAcetate7 => 2,
            Mehlich3Icp | Mehlich3Colour => 3,
            Morgan | ModifiedMorgan | AmmoniumNitrate => 3,
            CapacitySummation => 4,
            _ => 5,
        };
    }
    if signs.calcareous() {
        return match analyte {
            Analyte::Element(Element::P) => match method {
                Olsen => 0,
                Mehlich3Icp | Mehlich3Colour => 1,
                Morgan | ModifiedMorgan => 2,
                Bray1 => 3,
                Total => 5,
                _ => 4,
            },
            Analyte::Element(Element::Fe | Element::Mn | Element::Zn | Element::Cu) => match method {
                Dtpa => 0,
                Total => 2,
                _ => 1,
            },
            // The lime uses up an acid extract; water leaves it alone.
            Analyte::Element(Element::B) => match method {
                HotWater => 0,
                Total => 2,
                _ => 1,
            },
            _ => u8::from(*method == Total),
        };
    }
    // Anything but a total may speak for what a plant can take.
    u8::from(*method == Total)
}

/// The cations and their sum, which free lime and salts inflate.
fn is_base(analyte: Analyte) -> bool {
    matches!(
        analyte,
        Analyte::Element(Element::Ca | Element::Mg | Element::K | Element::Na)
            | Analyte::ExchangeCapacity
            | Analyte::Saturation(_)
            | Analyte::BaseSaturation
    )
}

/// Sentences for the choice among several.
fn why(
    analyte: Analyte,
    best: &Reading,
    others: &[Reading],
    signs: &Signs,
    readable_by: &impl Fn(&Reading) -> bool,
) -> Vec<String> {
    let name = in_sentence(analyte);
    let label = best.method.label();
    let over: Vec<&str> = others.iter().map(|r| r.method.label()).collect();
    let mut reasons = Vec::new();
    if merged(best) > 0 {
        reasons.push(format!("The mean of {} repeats by {label}", merged(best)));
    }
    let next = &others[0];
    let better_suited = suitability(analyte, &best.method, signs) < suitability(analyte, &next.method, signs);
    if next.method == Method::Unstated && best.method != Method::Unstated {
        reasons.push(format!("{label} is named on the sheet; the other reading's method is not"));
    } else if better_suited && signs.inflates_bases() {
        let (signs, kind) = if signs.calcareous() { (&signs.reasons, "Free lime") } else { (&signs.salts, "Salts") };
        reasons.push(format!("{kind}: {}", signs.join("; ")));
        reasons.push(match analyte {
            Analyte::Element(Element::P) => format!("{label} is the {name} test that suits such soil best"),
            _ if is_alkaline(&best.method) => {
                format!("{label} leaves most free lime alone, so {name} is read by it and not by {}", over.join(" or "))
            }
            _ => format!("{label} suits such soil better than {}", over.join(" or ")),
        });
        let apart = match analyte {
            Analyte::Element(Element::Ca) => Some(chloride_apart_percent().0),
            Analyte::Element(Element::Mg) => Some(chloride_apart_percent().1),
            _ => None,
        };
        if let Some(apart) = apart.filter(|_| best.method == Method::AmmoniumChloride85) {
            reasons.push(format!(
                "On 18 soils with carbonate its mean lay {apart:.1} % from a double leaching ({TUCKER})"
            ));
        }
    } else if better_suited {
        reasons.push(format!("{label} speaks for what plants can take; a total does not"));
    } else if readable_by(best) && !readable_by(next) {
        reasons.push(format!("The guideline in use has limits for {label} and not for {}", over.join(" or ")));
    } else if best.is_exact() && !next.is_exact() {
        reasons.push(format!("{label} gives a number, the other only a limit"));
    } else if best.method == next.method {
        reasons.push(format!("Several results by {label} that cannot be averaged: the first on the sheet is used"));
    } else {
        let readers = if readable_by(best) { "The guideline reads" } else { "No guideline here tells between" };
        reasons.push(format!("{readers} {label} and {}; {label} stands first in the fixed order", over.join(" and ")));
    }
    if best.method == Method::Unstated {
        reasons.push("Its method is not stated, so no limits can be applied".into());
    }
    reasons
}

/// The number of printed cells averaged into a reading; 0 for one that is not a mean.
fn merged(reading: &Reading) -> usize {
    if reading.working.title.ends_with(MEAN) { reading.working.inputs.len() } else { 0 }
}

const MEAN: &str = ", mean of repeats";

/// Averages repeats by the same method, unit and depth; keeps limits and unstated methods apart.
fn merge_repeats(readings: &[&Reading]) -> Vec<Reading> {
    let mut merged: Vec<Vec<&Reading>> = Vec::new();
    for &reading in readings {
        let same = |other: &&Reading| {
            other.method == reading.method
                && other.level.unit() == reading.level.unit()
                && other.depth == reading.depth
                && other.is_exact()
                && reading.is_exact()
                && reading.method != Method::Unstated
        };
        match merged.iter_mut().find(|group| same(&group[0])) {
            Some(group) => group.push(reading),
            None => merged.push(vec![reading]),
        }
    }
    merged
        .into_iter()
        .map(|group| match group[..] {
            [one] => one.clone(),
            _ => mean(&group),
        })
        .collect()
}

fn mean(repeats: &[&Reading]) -> Reading {
    let first = repeats[0];
    let unit = first.level.unit();
    let numbers: Vec<f64> = repeats.iter().map(|r| r.level.number()).collect();
    let value = numbers.iter().sum::<f64>() / numbers.len() as f64;
    // No finer than the finest of the repeats.
    let decimals = repeats.iter().map(|r| r.decimals).max().unwrap_or(0);
    let sum: Vec<String> = numbers.iter().map(|n| number(*n)).collect();
    let formula = format!("({}) ÷ {} = {} {unit}", sum.join(" + "), numbers.len(), number(value));
    let mut working = Working::step(
        format!("{}{MEAN}", first.analyte.name()),
        Figure::new(value, unit, decimals),
        formula.trim_end(),
        repeats.iter().map(|r| r.working.clone()),
    )
    .note(format!("{} repeats by {} in one sampling count as one result", numbers.len(), first.method.label()));
    if first.analyte == Analyte::Ph {
        working = working.note("pH is averaged as printed, which serves only for close values");
    }
    let mut labs: Vec<&str> = repeats.iter().map(|r| r.lab.as_str()).collect();
    labs.dedup();
    let level = first.level.with(value);
    Reading { level, decimals, lab: labs.join(" and "), working, ..first.clone() }
}

/// The analyte's name inside a sentence.
fn in_sentence(analyte: Analyte) -> String {
    match analyte {
        Analyte::Element(element) => element.name().to_owned(),
        Analyte::Ph | Analyte::NitrateN | Analyte::AmmoniumN => analyte.name(),
        other => {
            let name = other.name();
            let mut chars = name.chars();
            chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
        }
    }
}
