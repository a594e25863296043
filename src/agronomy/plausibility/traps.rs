//! Slips that a single sheet shows by contradicting itself, its soil or the way the plot was
//! tested before: each met by people who type sheets in, each a question and no more.

use super::{Entry, Question, QuestionKind, ask, cations, find};
use crate::agronomy::{
    analyte::Analyte,
    carbonate::{CARBONATE_PERCENT, is_alkaline},
    choice::{SuitsPh, suits_ph},
    element::Element,
    exchange_capacity::acidity_formula,
    method::{Method, Purpose},
    reading::{Level, Reading, number},
    record::{Basis, CellKey, Determination, FizzClass, Qualifier, Unit},
};
use std::collections::BTreeMap;

/// All of them.
pub(super) fn look(entry: &Entry, asked: &mut Vec<Question>) {
    nought(entry, asked);
    indices(entry, asked);
    irish_indices(entry, asked);
    by_volume(entry, asked);
    dried_otherwise(entry, asked);
    buffer_start(entry, asked);
    soil_mass(entry, asked);
    acidity_left_out(entry, asked);
    acidity_by_volume(entry, asked);
    denominator(entry, asked);
    inflated_shares(entry, asked);
    lime_in_sour_soil(entry, asked);
    ph_in_salt(entry, asked);
    bray_above_its_ph(entry, asked);
    method_changed(entry, asked);
    depth_changed(entry, asked);
}

/// A plain 0 for an element: a lab that found none prints the limit that it was below.
fn nought(entry: &Entry, asked: &mut Vec<Question>) {
    for (_, d) in entry.sampling.determinations() {
        let element = matches!(d.analyte, Analyte::Element(_) | Analyte::NitrateN | Analyte::AmmoniumN);
        if element && d.printed.qualifier == Qualifier::Exact && d.printed.value == Some(0.0) {
            let text = format!(
                "{} of 0: a lab that finds none prints a limit, such as <0.1. Is a limit meant, or was it not tested?",
                d.analyte.name()
            );
            ask(asked, QuestionKind::Nought, [d.key], text);
        }
    }
}

/// The British tests of P, K and Mg all as whole numbers from 0 to 9: indices typed for mg/L.
fn indices(entry: &Entry, asked: &mut Vec<Question>) {
    for report in &entry.sampling.reports {
        let small: BTreeMap<Analyte, CellKey> = report
            .determinations
            .iter()
            .filter(|d| match d.analyte {
                Analyte::Element(Element::P) => d.method == Method::Olsen,
                Analyte::Element(Element::K | Element::Mg) => d.method == Method::AmmoniumNitrate,
                _ => false,
            })
            .filter(|d| d.printed.value.is_some_and(|v| v.fract() == 0.0 && (0.0..=9.0).contains(&v)))
            .map(|d| (d.analyte, d.key))
            .collect();
        if small.len() == 3 {
            let text = "Phosphorus, potassium and magnesium are all whole numbers below 10. Are these indices? An index is a class, not mg/L; type the mg/L beside it.";
            ask(asked, QuestionKind::UnitSlip, small.into_values(), text);
        }
    }
}

/// The Irish tests as whole numbers from 1 to 4: indices typed for mg/L. Phosphorus alone may be as
/// low; potassium or magnesium of 4 mg/L is hardly known.
fn irish_indices(entry: &Entry, asked: &mut Vec<Question>) {
    for report in &entry.sampling.reports {
        let of_morgan = |d: &&Determination| {
            d.method == Method::Morgan && matches!(d.analyte, Analyte::Element(Element::P | Element::K | Element::Mg))
        };
        let tested: Vec<&Determination> = report.determinations.iter().filter(of_morgan).collect();
        let index = |d: &&Determination| d.printed.value.is_some_and(|v| v.fract() == 0.0 && (1.0..=4.0).contains(&v));
        let others = tested.iter().any(|d| d.analyte != Analyte::Element(Element::P));
        if tested.len() > 1 && others && tested.iter().all(index) {
            let text = "By Morgan all of them are whole numbers from 1 to 4. Are these the Irish indices? An index is a class, not mg/L; type the mg/L beside it.";
            ask(asked, QuestionKind::UnitSlip, tested.iter().map(|d| d.key), text);
        }
    }
}

/// Tests that are read of scooped soil, typed by mass: one question for a sheet.
fn by_volume(entry: &Entry, asked: &mut Vec<Question>) {
    for report in &entry.sampling.reports {
        let by_mass = |d: &&Determination| {
            matches!(d.method, Method::AmmoniumNitrate | Method::Morgan)
                && matches!(d.unit, Unit::MgPerKg | Unit::Ppm)
                && d.basis == Basis::Mass
        };
        let typed: Vec<&Determination> = report.determinations.iter().filter(by_mass).collect();
        let mut names: Vec<&str> = typed.iter().map(|d| d.method.label()).collect();
        names.sort_unstable();
        names.dedup();
        if !typed.is_empty() {
            let text = format!(
                "{}: labs of Britain and Ireland scoop the soil for it and print mg/L, also where they write ppm. Did this lab weigh it, or is it mg/L? Their limits are by volume.",
                names.join(", ")
            );
            ask(asked, QuestionKind::ByVolume, typed.iter().map(|d| d.key), text);
        }
    }
}

/// Clay soil of two labs whose results lie apart by one share, as soil dried in air and in the oven does.
fn dried_otherwise(entry: &Entry, asked: &mut Vec<Question>) {
    // Rayment & Lyons, Soil Chemical Methods – Australasia (2011): up to 12 to 14 % on swelling clays.
    // From 35 % of clay on a soil is taken for clay here; our own limit, as the triangle draws it from 35 to 55.
    let tested = find(entry.readings, Analyte::Clay).map(|clay| clay.level.number() >= 35.0);
    if !tested.unwrap_or(entry.clay) {
        return;
    }
    let weighed = |r: &&Reading| {
        matches!(r.level, Level::MgPerKg(_) | Level::CmolPerKg(_)) && r.is_exact() && r.level.number() > 0.0
    };
    let readings: Vec<&Reading> = entry.readings.iter().filter(weighed).collect();
    let mut pairs: BTreeMap<(&str, &str), Vec<(f64, [CellKey; 2])>> = BTreeMap::new();
    for (at, one) in readings.iter().enumerate() {
        for other in &readings[at + 1..] {
            let alike = one.analyte == other.analyte
                && one.method == other.method
                && one.method != Method::Unstated
                && one.level.unit() == other.level.unit();
            let (first, second) = if one.lab <= other.lab { (one, other) } else { (other, one) };
            if alike && one.lab != other.lab {
                let ratio = (second.level.number() / first.level.number()).ln();
                pairs.entry((&first.lab, &second.lab)).or_default().push((ratio, [first.cell, second.cell]));
            }
        }
    }
    for ((first, second), found) in pairs {
        let mean = found.iter().map(|(ratio, _)| ratio).sum::<f64>() / found.len() as f64;
        let one_way = found.iter().all(|(ratio, _)| ratio.signum() == mean.signum());
        let percent = (mean.abs().exp() - 1.0) * 100.0;
        // From 4 to 15 %: our own limits about the published share.
        if found.len() > 1 && one_way && (4.0..=15.0).contains(&percent) {
            let (more, less) = if mean > 0.0 { (second, first) } else { (first, second) };
            let text = format!(
                "On this clay {more} finds more than {less} of all that both tested, by {percent:.0} % as a mean. Does one reckon on soil dried in the air and the other on soil dried in the oven? On swelling clays that alone makes up to 12 to 14 % (Rayment & Lyons, Soil Chemical Methods – Australasia)."
            );
            ask(asked, QuestionKind::Drying, found.into_iter().flat_map(|(_, cells)| cells), text);
        }
    }
}

/// A buffer reading above where that buffer starts.
fn buffer_start(entry: &Entry, asked: &mut Vec<Question>) {
    for reading in entry.readings.iter().filter(|r| r.analyte == Analyte::BufferPh) {
        let start = match reading.method {
            // SMP and Sikora buffers start at 7.5; the 7.0 of their acidity formula is its cut-off (from memory).
            Method::BufferSmp | Method::BufferSikora => 7.5,
            _ => match acidity_formula(&reading.method) {
                Some(formula) => formula.start,
                None => continue,
            },
        };
        let value = reading.level.number();
        if reading.method.purpose() == Purpose::Buffer && value > start + 0.1 {
            let text = format!(
                "The {} starts at pH {} and only falls, and the sheet says {}. Is it another buffer, or the pH of the soil?",
                reading.method.label(),
                number(start),
                reading.figure()
            );
            ask(asked, QuestionKind::OutOfRange, [reading.cell], text);
        }
    }
}

/// A published soil mass that cannot lie in the depth that was sampled: 2,000,000 lb for a foot of
/// nitrate, 3,600,000 lb for six inches.
fn soil_mass(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(depth) = entry.sampling.depth else { return };
    let cm = depth.bottom.0 - depth.top.0;
    let mut odd: BTreeMap<&'static str, Vec<CellKey>> = BTreeMap::new();
    for (_, d) in entry.sampling.determinations() {
        let (Some(layer), Unit::LbPerAcre | Unit::KgPerHa) = (d.layer, d.unit) else { continue };
        let density = layer.soil_kg_per_ha / (cm * 1e5);
        // Mineral soil lies at 0.9 to 1.8 g/cm³; the conventions themselves imply 1.0 to 1.5 at their own depths.
        if cm > 0.0 && !(0.8..=2.3).contains(&density) {
            odd.entry(layer.words).or_default().push(d.key);
        }
    }
    for (words, cells) in odd {
        let text = format!(
            "{words}: that much soil hardly lies in the {} cm that were sampled. Does the lab count another depth? Nitrate of a foot is usually counted with 3,600,000 lb per acre.",
            number(cm)
        );
        ask(asked, QuestionKind::UnitSlip, cells, text);
    }
}

/// Below this pH in water a soil holds acidity that a whole capacity counts.
const SOUR: f64 = 6.5;

fn ph_in_water<'a>(entry: &Entry<'a>) -> Option<&'a Reading> {
    entry.readings.iter().find(|r| r.analyte == Analyte::Ph && r.method.is_ph_in_water() && r.is_exact())
}

/// A capacity "by sum" that is the bases alone, on sour soil.
fn acidity_left_out(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(ph) = ph_in_water(entry).filter(|ph| ph.level.number() < SOUR) else { return };
    let Some(stated) = find(entry.readings, Analyte::ExchangeCapacity) else { return };
    if stated.method != Method::CapacitySummation {
        return;
    }
    for set in cations(entry.readings) {
        let bases = set.bases();
        if set.whole() && stated.level.unit() == set.unit && (bases / stated.level.number() - 1.0).abs() < 0.02 {
            let text = format!(
                "At pH {} the soil holds acidity too, and the capacity of {} is the bases alone. Does the lab leave hydrogen and aluminium out?",
                ph.figure(),
                stated.figure()
            );
            ask(asked, QuestionKind::Denominator, [stated.cell], text);
        }
    }
}

/// Acidity per volume beside cations per mass, or the other way round.
fn acidity_by_volume(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(acidity) = find(entry.readings, Analyte::Acidity) else { return };
    for set in cations(entry.readings).iter().filter(|set| set.unit != acidity.level.unit()) {
        let text = format!(
            "The acidity is in {} and the cations are in {}: one is by volume of soil, and they cannot be added. Is the unit right?",
            acidity.level.unit(),
            set.unit
        );
        let cells = std::iter::once(acidity.cell).chain(set.cells());
        ask(asked, QuestionKind::UnitSlip, cells, text);
    }
}

/// Shares of calcium, magnesium and potassium that make 100 among themselves, on sour soil.
fn denominator(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(ph) = ph_in_water(entry).filter(|ph| ph.level.number() < SOUR) else { return };
    let share = |element| find(entry.readings, Analyte::Saturation(element));
    let (Some(ca), Some(mg), Some(k)) = (share(Element::Ca), share(Element::Mg), share(Element::K)) else { return };
    let sodium = share(Element::Na).map_or(0.0, |na| na.level.number());
    let sum = ca.level.number() + mg.level.number() + k.level.number() + sodium;
    if share(Element::H).is_none() && (sum - 100.0).abs() <= 1.0 {
        let text = format!(
            "At pH {} hydrogen holds a share too, yet the bases make {} % among themselves. Are these shares of the bases and not of the capacity? Michigan State prints them so.",
            ph.figure(),
            number((sum * 10.0).round() / 10.0)
        );
        ask(asked, QuestionKind::Denominator, [ca.cell, mg.cell, k.cell], text);
    }
}

/// Printed shares, or calcium by neutral acetate, where free lime or salts were found.
fn inflated_shares(entry: &Entry, asked: &mut Vec<Question>) {
    let lime_seen = entry.sampling.fizz.is_some_and(|fizz| fizz.class != FizzClass::None)
        || find(entry.readings, Analyte::Carbonate).is_some_and(|c| c.level.number() > CARBONATE_PERCENT);
    if lime_seen {
        for reading in entry.readings.iter().filter(|r| r.method == Method::AmmoniumAcetate7) {
            if reading.analyte == Analyte::Element(Element::Ca) {
                let text = format!(
                    "Neutral acetate dissolves some of the free lime, so this calcium ({}) is too high. Can the lab also extract at pH 8.2 or 8.5?",
                    reading.figure()
                );
                ask(asked, QuestionKind::Inflated, [reading.cell], text);
            }
        }
    }
    if !entry.signs.inflates_bases() {
        return;
    }
    let alkaline = entry.readings.iter().any(|r| is_alkaline(&r.method));
    let shares: Vec<CellKey> = entry
        .readings
        .iter()
        .filter(|r| matches!(r.analyte, Analyte::Saturation(_) | Analyte::BaseSaturation))
        .map(|r| r.cell)
        .collect();
    if !alkaline && !shares.is_empty() {
        let what = if entry.signs.calcareous() { "free lime" } else { "salts" };
        let text = format!(
            "There are signs of {what}, which swell the bases: a small share of potassium then looks like a shortage where none is. Can the lab extract at pH 8.2 or 8.5? Potassium and magnesium in mg/kg stay good."
        );
        ask(asked, QuestionKind::Inflated, shares, text);
    }
}

/// Bubbles or carbonate in soil whose pH says that lime would long be dissolved.
fn lime_in_sour_soil(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(ph) = ph_in_water(entry).filter(|ph| ph.level.number() < SOUR) else { return };
    let carbonate = find(entry.readings, Analyte::Carbonate).filter(|c| c.level.number() > CARBONATE_PERCENT);
    let fizz = entry.sampling.fizz.is_some_and(|fizz| !matches!(fizz.class, FizzClass::None));
    if carbonate.is_some() || fizz {
        let seen = if fizz { "it was seen to fizz" } else { "the sheet finds carbonate" };
        let text = format!(
            "At pH {} free lime dissolves, and yet {seen}. Are there lumps of fresh lime or shell in it, or is one of the two of other soil?",
            ph.figure()
        );
        ask(asked, QuestionKind::Contradiction, std::iter::once(ph.cell).chain(carbonate.map(|c| c.cell)), text);
    }
}

/// pH in calcium chloride above pH in water: it lies 0.5 to 1.0 below (SCMA).
fn ph_in_salt(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(water) = ph_in_water(entry) else { return };
    let salt = entry.readings.iter().find(|r| r.analyte == Analyte::Ph && r.method == Method::PhCalciumChloride);
    if let Some(salt) = salt.filter(|salt| salt.level.number() > water.level.number()) {
        let text = format!(
            "pH in calcium chloride lies below pH in water, by 0.5 to 1.0 as a rule; here it is {} against {}. Are the two exchanged?",
            salt.figure(),
            water.figure()
        );
        ask(asked, QuestionKind::ColumnsSwapped, [salt.cell, water.cell], text);
    }
}

/// Phosphorus by Bray alone on soil whose lime uses the extract up.
fn bray_above_its_ph(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(ph) = ph_in_water(entry) else { return };
    let of = |method: Method| {
        entry.readings.iter().find(|r| r.analyte == Analyte::Element(Element::P) && r.method == method)
    };
    let (Some(bray), None) = (of(Method::Bray1), of(Method::Olsen)) else { return };
    if suits_ph(&Method::Bray1, ph.level.number()) == Some(SuitsPh::NotUsed) {
        let text = format!(
            "Bray-1 reads too little phosphorus where there is free lime, and at pH {} Minnesota’s advisers use Olsen instead. Can the lab read Olsen too?",
            ph.figure()
        );
        ask(asked, QuestionKind::Contradiction, [bray.cell, ph.cell], text);
    }
}

/// An analyte by another method than all its past on this plot.
fn method_changed(entry: &Entry, asked: &mut Vec<Question>) {
    let mut changed: BTreeMap<(String, String), Vec<&Reading>> = BTreeMap::new();
    for reading in entry.readings.iter().filter(|r| matches!(r.analyte, Analyte::Element(_))) {
        let past: Vec<&Reading> = entry.history.iter().filter(|past| past.analyte == reading.analyte).collect();
        let now = |method: &Method| entry.readings.iter().any(|r| r.analyte == reading.analyte && r.method == *method);
        let Some(last) = past.iter().max_by_key(|past| past.sampled_on) else { continue };
        if !past.iter().any(|past| now(&past.method)) && reading.method != Method::Unstated {
            let key = (last.method.label().to_owned(), reading.method.label().to_owned());
            changed.entry(key).or_default().push(reading);
        }
    }
    for ((before, now), readings) in changed {
        let names: Vec<String> =
            readings.iter().map(|r| r.analyte.element().map_or(r.analyte.name(), |e| e.name().into())).collect();
        let text = format!(
            "This plot’s {} was read by {before} before and is read by {now} here; the two do not compare. Is the method as the sheet has it?",
            names.join(", ")
        );
        ask(asked, QuestionKind::MethodChanged, readings.iter().map(|r| r.cell), text);
    }
}

/// Soil from another depth than the last time: shallow soil holds more phosphorus and potassium.
fn depth_changed(entry: &Entry, asked: &mut Vec<Question>) {
    let Some(depth) = entry.sampling.depth else { return };
    let last = entry.history.iter().filter(|past| past.depth.is_some()).max_by_key(|past| past.sampled_on);
    let Some(before) = last.and_then(|last| last.depth) else { return };
    let apart = |a: f64, b: f64| (a - b).abs() > 2.0;
    if apart(depth.top.0, before.top.0) || apart(depth.bottom.0, before.bottom.0) {
        let cells: Vec<CellKey> = entry.readings.iter().map(|r| r.cell).collect();
        let text = format!(
            "This soil is from {depth}, the last was from {before}; results from two depths do not compare. Is the depth right?"
        );
        if !cells.is_empty() {
            ask(asked, QuestionKind::MethodChanged, cells, text);
        }
    }
}
