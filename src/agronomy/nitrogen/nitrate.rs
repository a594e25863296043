//! Soil nitrate tests taken beside the growing crop, each by its publisher's own bands. A band
//! printed in whole numbers is entered with the value rounded to a whole number, so that 10.4
//! is in "0–10" and 10.5 in "11–15". The tests are for the top foot; a shallower or deeper
//! sample is refused.

use super::{Range, Term, TermKind, figure};
use crate::agronomy::{
    analyte::Analyte,
    confidence::{TestError, default_error, sigma_ln},
    guideline::round_to,
    need::soil_working,
    quantity::KgPerHa,
    rate::RateUnit,
    reading::{Level, Reading, number},
    record::{Qualifier, keyed},
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};
use std::str::FromStr;

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

const RUTGERS: Source = Source {
    publisher: "Rutgers NJAES, read at the University of Delaware",
    title: "Sweet corn on manured soil: nitrogen by the soil nitrate test",
    year: 0,
    address: "https://extension.udel.edu/weeklycropupdate/",
    evidence: Evidence::Read,
};

const OHIO: Source = Source {
    publisher: "Ohio State University Extension",
    title: "Corn nitrogen adjusted by the soil nitrate test",
    year: 2022,
    address: "",
    evidence: Evidence::Read,
};

const PENN_STATE: Source = Source {
    publisher: "Penn State Agronomy Guide",
    title: "Table 1.4-4, worksheet of the presidedress soil nitrate test",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

const UC: Source = Source {
    publisher: "University of California Cooperative Extension (Fulton)",
    title: "Nitrate guideline table",
    year: 0,
    address: "https://docslib.org/doc/3975102",
    evidence: Evidence::Read,
};

const VEGETABLES: Source = Source {
    publisher: "Texas A&M AgriLife; Hartz et al. 2000; SARE ANE94-019",
    title: "Nitrate-N of 20 to 25 mg/kg is enough beside cabbage, celery, lettuce, sweet corn and tomato",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

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

/// A band of a table in whole mg/kg: its last value, its printed form, and what belongs to it.
type Band = (f64, &'static str, f64);

fn band(bands: &'static [Band], ppm: f64) -> &'static Band {
    let whole = round_to(ppm, 0);
    bands.iter().find(|(last, ..)| whole <= *last).unwrap_or(&bands[bands.len() - 1])
}

fn advice(
    reading: &Reading,
    class: String,
    lb_per_acre: Option<f64>,
    formula: String,
    more: Vec<Working>,
    source: Source,
    notes: Vec<String>,
) -> NitrateAdvice {
    let rate = lb_per_acre.map(|lb| RateUnit::LbPerAcre.read(lb.max(0.0)));
    let figure = match rate {
        Some(rate) => Figure::new(rate.0, KgPerHa::UNIT, 0),
        None => reading.figure(),
    };
    let inputs = std::iter::once(reading.working.clone()).chain(more);
    let mut working = Working::step("By the soil nitrate test", figure, formula, inputs).cite(source);
    working.notes.clone_from(&notes);
    NitrateAdvice { class, rate, working, notes }
}

/// A published test, what it was made for, and how its bands meet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct NitrateTest {
    pub name: &'static str,
    pub made_for: &'static str,
    pub seam: &'static str,
}

const WHOLE_BANDS: &str =
    "Printed in whole mg/kg; the level is rounded first, so that 10.4 is in “0–10” and 10.5 in “11–15”.";

/// What every test known here says of a nitrate level, or why it cannot: those that start from a
/// base rate or from a field of corn need it told.
pub fn every_nitrate_test(
    reading: &Reading,
    base: Option<KgPerHa>,
    corn: Option<&Corn>,
) -> Vec<(NitrateTest, Result<NitrateAdvice, String>)> {
    let test = |name, made_for, seam| NitrateTest { name, made_for, seam };
    vec![
        (
            test(
                "Vegetables",
                "cabbage, celery, lettuce, sweet corn and tomato",
                "20 and 25 themselves belong to the middle.",
            ),
            vegetables(reading),
        ),
        (test("University of California", "vegetables", "20 itself counts as high, and 30 too."), uc_classes(reading)),
        (test("Rutgers", "sweet corn on manured soil", WHOLE_BANDS), rutgers_manured_sweet_corn(reading)),
        (
            test("Ohio State", "corn with a base rate", WHOLE_BANDS),
            base.ok_or_else(|| {
                "It lowers a base rate of nitrogen; none is typed as “Base rate, Ohio State”.".to_owned()
            })
            .and_then(|base| ohio_state(reading, base)),
        ),
        (
            test("Penn State", "grain corn", "None from 21 mg/kg up."),
            corn.ok_or_else(|| {
                "It starts from an expected yield of grain; none is typed as “Grain expected, Penn State”.".to_owned()
            })
            .and_then(|corn| penn_state(reading, corn)),
        ),
    ]
}

const RUTGERS_BANDS: &[Band] = &[
    (10.0, "0–10", 160.0),
    (15.0, "11–15", 120.0),
    (20.0, "16–20", 80.0),
    (25.0, "21–25", 40.0),
    (f64::INFINITY, ">25", 0.0),
];

/// Side-dressing of sweet corn on manured soil, by Rutgers.
pub fn rutgers_manured_sweet_corn(reading: &Reading) -> Result<NitrateAdvice, String> {
    let (ppm, notes) = in_top_foot(reading)?;
    let (_, words, lb) = *band(RUTGERS_BANDS, ppm);
    let formula = format!("{} mg/kg is in the band {words}: {lb} lb/acre", number(ppm));
    Ok(advice(reading, words.into(), Some(lb), formula, vec![], RUTGERS, notes))
}

const OHIO_BANDS: &[Band] = &[
    (10.0, "0–10", 0.0),
    (15.0, "11–15", 30.0),
    (20.0, "16–20", 45.0),
    (25.0, "21–25", 90.0),
    (f64::INFINITY, ">25", f64::INFINITY),
];

/// A base rate of nitrogen lowered by the nitrate found, by Ohio State.
pub fn ohio_state(reading: &Reading, base: KgPerHa) -> Result<NitrateAdvice, String> {
    let (ppm, notes) = in_top_foot(reading)?;
    if !base.0.is_finite() || base.0 < 0.0 {
        return Err("The base rate is not a rate of nitrogen.".into());
    }
    let base_lb = base.lb_per_acre();
    let (last, words, less) = *band(OHIO_BANDS, ppm);
    let lb = if last.is_infinite() { 0.0 } else { (base_lb - less).max(0.0) };
    let formula = if last.is_infinite() {
        format!("{} mg/kg is above 25: no side-dressing", number(ppm))
    } else {
        format!("{} mg/kg is in the band {words}: {} − {less} = {} lb/acre", number(ppm), number(base_lb), number(lb))
    };
    let leaf = Working::leaf("Base rate", Figure::new(base.0, KgPerHa::UNIT, 0), Origin::Chosen);
    Ok(advice(reading, words.into(), Some(lb), formula, vec![leaf], OHIO, notes))
}

/// The crop before, for Penn State's worksheet.
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

/// What Penn State's worksheet asks about a field of corn.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Corn {
    /// Expected grain, bushels per acre.
    pub yield_bushels_per_acre: f64,
    pub manured_since_harvest: bool,
    pub manured_in_prior_three_years: bool,
    pub previous: PreviousCrop,
}

/// Side-dressing of grain corn by Penn State's worksheet; none from 21 mg/kg.
pub fn penn_state(reading: &Reading, corn: &Corn) -> Result<NitrateAdvice, String> {
    let (ppm, notes) = in_top_foot(reading)?;
    if !corn.yield_bushels_per_acre.is_finite() || corn.yield_bushels_per_acre < 0.0 {
        return Err("The expected yield is not one.".into());
    }
    let history = if corn.manured_since_harvest { 3.5 } else { 0.75 }
        + if corn.manured_in_prior_three_years { 1.75 } else { 0.0 }
        + match corn.previous {
            PreviousCrop::Soybean => 1.0,
            PreviousCrop::ForageLegume => 3.5,
            PreviousCrop::Corn | PreviousCrop::Other => 0.0,
        };
    let goal = 1.1 * corn.yield_bushels_per_acre;
    let enough = ppm >= 21.0;
    let lb = if enough { 0.0 } else { (goal - history * ppm).max(0.0) };
    let formula = if enough {
        format!("{} mg/kg is 21 or more: none", number(ppm))
    } else {
        format!("1.1 × {} − {history} × {} = {} lb/acre", number(corn.yield_bushels_per_acre), number(ppm), number(lb))
    };
    let more = vec![
        Working::leaf("Expected yield", Figure::new(corn.yield_bushels_per_acre, "bu/acre", 0), Origin::Entered),
        Working::leaf("Factor of the field’s history", Figure::new(history, "", 2), Origin::Published).cite(PENN_STATE),
    ];
    let class = if enough { "21 or more" } else { "below 21" };
    Ok(advice(reading, class.into(), Some(lb), formula, more, PENN_STATE, notes))
}

/// The University of California's classes. They are printed "<10, 10–20, 20–30, >30": 20 itself
/// is counted with the higher band, as other publishers call it enough; 30 is still "high".
pub fn uc_classes(reading: &Reading) -> Result<NitrateAdvice, String> {
    let (ppm, notes) = in_top_foot(reading)?;
    let class = match ppm {
        v if v < 10.0 => "low",
        v if v < 20.0 => "medium",
        v if v <= 30.0 => "high",
        _ => "excessive",
    };
    let lb = ppm * 3.6;
    let formula = format!("{} mg/kg, {} × 3.6 = {} lb/acre in the foot: {class}", number(ppm), number(ppm), number(lb));
    Ok(advice(reading, class.into(), None, formula, vec![], UC, notes))
}

/// Whether vegetables have enough nitrate beside them.
pub fn vegetables(reading: &Reading) -> Result<NitrateAdvice, String> {
    let (ppm, notes) = in_top_foot(reading)?;
    let class = match ppm {
        v if v < 20.0 => "below 20: side-dressing may pay",
        v if v <= 25.0 => "20 to 25: about enough; publishers differ",
        _ => "above 25: enough",
    };
    let formula = format!("{} mg/kg: {class}", number(ppm));
    Ok(advice(reading, class.into(), None, formula, vec![], VEGETABLES, notes))
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
