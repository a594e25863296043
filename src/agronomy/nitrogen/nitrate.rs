//! Soil nitrate tests taken beside the growing crop, each by its publisher's own bands, which
//! stand in the sets of guidelines. A level is rounded as the bands are printed before it is held
//! against them. The tests are for the top foot; a shallower or deeper sample is refused.

use super::{Range, Term, TermKind, figure};
use crate::agronomy::{
    analyte::Analyte,
    confidence::{TestError, default_error, sigma_ln},
    guideline::{Changed, NitrateBand, NitrateGives, NitrateTest, Worksheet},
    need::soil_working,
    quantity::KgPerHa,
    reading::{Level, Reading, number},
    record::{Qualifier, keyed},
    working::{Figure, Origin, Working},
};
use std::{str::FromStr, sync::Arc};

/// What a nitrate test says.
#[derive(Clone, Debug, PartialEq)]
pub struct NitrateAdvice {
    /// The band, as printed.
    pub class: String,
    /// Nitrogen to give beside the crop; `None` where the publisher gives no rate. Never below zero.
    pub rate: Option<KgPerHa>,
    pub working: Working,
    pub notes: Vec<String>,
}

/// One foot of soil, cm.
const FOOT_CM: f64 = 30.48;

/// mg/kg of nitrate-N in the top foot, with what must be said about the sample.
fn in_top_foot(reading: &Reading) -> Result<(f64, Vec<String>), String> {
    if reading.analyte != Analyte::NitrateN {
        return Err("This test asks for nitrate nitrogen.".into());
    }
    let Level::MgPerKg(level) = reading.level else {
        return Err("This test is printed by mass of soil; the result is by volume.".into());
    };
    let mut notes = Vec::new();
    match reading.depth {
        Some(band) if band.top.0 > 1.0 || (band.bottom.0 - FOOT_CM).abs() > 4.0 => {
            return Err(format!("This test is for the top 30 cm of soil; the sample is of {band}."));
        }
        Some(_) => {}
        None => notes.push("The depth of the sample is not on record; the test is for the top 30 cm.".into()),
    }
    match reading.qualifier {
        Qualifier::Below => notes.push("The lab gave only a limit: the need is this or more.".into()),
        Qualifier::Above => notes.push("The lab gave only a limit: the need is this or less.".into()),
        Qualifier::Exact | Qualifier::NotDetected => {}
    }
    notes.push("Nitrate rises in a sample that is left warm: it must be chilled or dried at once.".into());
    Ok((level.0, notes))
}

/// What a test starts from besides nitrate, as far as it is told.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Asked {
    /// A base rate of nitrogen.
    pub base: Option<KgPerHa>,
    pub corn: Option<Corn>,
}

/// What a published test says of a nitrate level, or why it cannot: one that starts from a base
/// rate or from a field of corn needs it told.
pub fn by_nitrate_test(test: &NitrateTest, reading: &Reading, asked: &Asked) -> Result<NitrateAdvice, String> {
    let (ppm, notes) = in_top_foot(reading)?;
    let band = test.band(ppm).ok_or("This test has no bands.")?;
    let (class, unit) = (band.class().to_owned(), test.unit.label());
    let found = number(ppm);
    let in_band = format!("{found} mg/kg is in the band {}", band.printed);
    let (rate, formula, more) = match (&test.gives, band.figure) {
        (NitrateGives::Class, _) => match test.in_foot {
            Some(factor) => {
                let held = number(ppm * factor);
                let formula =
                    format!("{found} mg/kg, {found} × {} = {held} {unit} in the foot: {class}", number(factor));
                (None, formula, vec![])
            }
            None => (None, format!("{found} mg/kg: {class}"), vec![]),
        },
        (NitrateGives::Rate, Some(rate)) => (Some(rate), format!("{in_band}: {} {unit}", number(rate)), vec![]),
        (NitrateGives::Rate, None) => return Err("The test prints no rate for this level.".into()),
        (NitrateGives::OffBase, off) => {
            let base = asked.base.ok_or_else(|| {
                format!("It lowers a base rate of nitrogen; none is typed as “Base rate, {}”.", test.name)
            })?;
            if !base.0.is_finite() || base.0 < 0.0 {
                return Err("The base rate is not a rate of nitrogen.".into());
            }
            let leaf = Working::leaf("Base rate", Figure::new(base.0, KgPerHa::UNIT, 0), Origin::Chosen);
            let printed = test.unit.show(base);
            let (rate, formula) = match off {
                None => (0.0, format!("{found} mg/kg is in the band {}: no side-dressing", band.printed)),
                Some(off) => {
                    let rate = (printed - off).max(0.0);
                    (rate, format!("{in_band}: {} − {} = {} {unit}", number(printed), number(off), number(rate)))
                }
            };
            (Some(rate), formula, vec![leaf])
        }
        (NitrateGives::Worksheet(sheet), fixed) => {
            let corn = asked.corn.ok_or_else(|| {
                format!("It starts from an expected yield of grain; none is typed as “Grain expected, {}”.", test.name)
            })?;
            by_worksheet(test, sheet, &corn, ppm, fixed)?
        }
    };
    let rate = rate.map(|rate| test.unit.read(rate.max(0.0)));
    let figure = match rate {
        Some(rate) => Figure::new(rate.0, KgPerHa::UNIT, 0),
        None => reading.figure(),
    };
    let origin = if test.of.changed.is_some() { Origin::Chosen } else { Origin::Published };
    let mut table =
        Working::leaf(format!("The bands of {}", test.name), Figure::new(band.from, "mg/kg", test.decimals), origin)
            .cite(test.of.source.clone())
            .note(test.words());
    table.notes.extend(test.of.changed.as_ref().map(Changed::beside_publisher));
    let inputs = [reading.working.clone(), table].into_iter().chain(more);
    let mut working = Working::step("By the soil nitrate test", figure, formula, inputs).cite(test.of.source.clone());
    working.notes.clone_from(&notes);
    Ok(NitrateAdvice { class, rate, working, notes })
}

/// What several tests say, each beside its own words.
pub fn by_every_nitrate_test(
    tests: &[Arc<NitrateTest>],
    reading: &Reading,
    asked: &Asked,
) -> Vec<(Arc<NitrateTest>, Result<NitrateAdvice, String>)> {
    tests.iter().map(|test| (test.clone(), by_nitrate_test(test, reading, asked))).collect()
}

/// The crop before, for a worksheet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum PreviousCrop {
    Corn,
    Soybean,
    ForageLegume,
    #[default]
    Other,
}

keyed!(PreviousCrop {
    Corn "corn" "corn",
    Soybean "soybean" "soybean",
    ForageLegume "forage_legume" "clover or lucerne",
    Other "other" "another",
});

/// What a worksheet for grain asks about a field of corn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corn {
    /// Expected grain, bushels per acre.
    pub yield_bushels_per_acre: f64,
    pub manured_since_harvest: bool,
    pub manured_in_prior_three_years: bool,
    pub previous: PreviousCrop,
}

/// A worksheet's rate, its formula, and the nodes it rests on.
fn by_worksheet(
    test: &NitrateTest,
    sheet: &Worksheet,
    corn: &Corn,
    ppm: f64,
    fixed: Option<f64>,
) -> Result<(Option<f64>, String, Vec<Working>), String> {
    let bushels = corn.yield_bushels_per_acre;
    if !bushels.is_finite() || bushels < 0.0 {
        return Err("The expected yield is not one.".into());
    }
    let history = if corn.manured_since_harvest { sheet.manured_since_harvest } else { sheet.not_manured_since }
        + if corn.manured_in_prior_three_years { sheet.manured_before } else { 0.0 }
        + match corn.previous {
            PreviousCrop::Soybean => sheet.after_soybean,
            PreviousCrop::ForageLegume => sheet.after_forage_legume,
            PreviousCrop::Corn | PreviousCrop::Other => 0.0,
        };
    let unit = test.unit.label();
    let (rate, formula) = match fixed {
        Some(rate) => {
            let band = test.band(ppm).map_or("", NitrateBand::class);
            let words = if rate == 0.0 { "none".to_owned() } else { format!("{} {unit}", number(rate)) };
            (rate, format!("{} mg/kg is {band}: {words}", number(ppm)))
        }
        None => {
            let rate = (sheet.per_bushel * bushels - history * ppm).max(0.0);
            let formula = format!(
                "{} × {} − {} × {} = {} {unit}",
                number(sheet.per_bushel),
                number(bushels),
                number(history),
                number(ppm),
                number(rate)
            );
            (rate, formula)
        }
    };
    let more = vec![
        Working::leaf("Expected yield", Figure::new(bushels, "bu/acre", 0), Origin::Entered),
        Working::leaf("Factor of the field’s history", Figure::new(history, "", 2), Origin::Published)
            .cite(test.of.source.clone()),
    ];
    Ok((Some(rate), formula, more))
}

/// Nitrate that is in the ground, as a line of the budget: level × soil of the sampled layer,
/// with the error of one test around it.
pub fn nitrate_in_ground(reading: &Reading, ground: &crate::agronomy::ground::Ground) -> Result<Term, String> {
    let (Analyte::NitrateN, Level::MgPerKg(level)) = (reading.analyte, reading.level) else {
        return Err("Nitrate nitrogen by mass of soil is asked for.".into());
    };
    let Some(band) = reading.depth else {
        return Err(
            "The depth of the sample is not on record, and without it nitrate has no mass; type it on the sampling."
                .into(),
        );
    };
    let mut sampled = ground.clone();
    sampled.depth.0 = band.bottom.0 - band.top.0;
    let mass = sampled.layer().mass(level).0;
    let (error, source) = default_error(reading.analyte);
    let TestError::Relative(cv) = error else { return Err("The error of a nitrate test is not known.".into()) };
    // 90 % of a log-normal lies within 1.645 standard deviations of its logarithm.
    let factor = (1.645 * sigma_ln(cv)).exp();
    let range = Range::between(mass / factor, mass * factor);
    let soil = sampled.layer().soil_kg_per_ha();
    let formula = format!(
        "{} mg/kg × {} kg/ha ÷ 1,000,000 = {} kg/ha, within the error of one test {}",
        number(level.0),
        number(soil),
        number(mass),
        range.words()
    );
    let inputs = [
        reading.working.clone(),
        soil_working(&sampled),
        Working::leaf("Error of one test (one standard deviation)", Figure::new(cv * 100.0, "%", 0), Origin::Published)
            .cite(source),
    ];
    let working = Working::step("Nitrate in the ground", figure(range), formula, inputs)
        .note("Rain and watering can carry it below the roots before the crop takes it.");
    Ok(Term::new(TermKind::SoilNitrate, "Nitrate in the ground", range, working))
}
