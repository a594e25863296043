//! A determination brought to canonical units, with the steps that brought it there.
//!
//! Oxides become elements, areas become concentrations by the lab's own soil mass, charge
//! becomes mass through equivalent weights. A result by mass and one by volume never mix,
//! and what cannot be brought over is returned with the sentence that says why, not guessed.

mod convert;

pub(super) use convert::decimals_after;

use super::{
    analyte::Analyte,
    element::{ATOMIC_WEIGHTS, Element},
    method::Method,
    quantity::{CmolPerKg, CmolPerL, DsPerM, MgPerKg, MgPerL, Percent},
    record::{CellKey, DepthBand, Determination, Qualifier, Report, Sampling},
    source::{Citation, Evidence, Source},
    working::{Figure, Working},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Identities between the units of soil reports.
pub const UNIT_IDENTITIES: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, Appendix 5",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// A value in the canonical unit of its kind. By mass and by volume stay apart.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Level {
    MgPerKg(MgPerKg),
    MgPerL(MgPerL),
    CmolPerKg(CmolPerKg),
    CmolPerL(CmolPerL),
    Percent(Percent),
    DsPerM(DsPerM),
    Ph(f64),
}

impl Level {
    /// The bare number, for statistics within one method and unit.
    pub const fn number(self) -> f64 {
        match self {
            Level::MgPerKg(v) => v.0,
            Level::MgPerL(v) => v.0,
            Level::CmolPerKg(v) => v.0,
            Level::CmolPerL(v) => v.0,
            Level::Percent(v) => v.0,
            Level::DsPerM(v) => v.0,
            Level::Ph(v) => v,
        }
    }

    /// Another number in the same unit.
    pub const fn with(self, number: f64) -> Level {
        match self {
            Level::MgPerKg(_) => Level::MgPerKg(MgPerKg(number)),
            Level::MgPerL(_) => Level::MgPerL(MgPerL(number)),
            Level::CmolPerKg(_) => Level::CmolPerKg(CmolPerKg(number)),
            Level::CmolPerL(_) => Level::CmolPerL(CmolPerL(number)),
            Level::Percent(_) => Level::Percent(Percent(number)),
            Level::DsPerM(_) => Level::DsPerM(DsPerM(number)),
            Level::Ph(_) => Level::Ph(number),
        }
    }

    /// The unit as printed; empty for pH.
    pub const fn unit(self) -> &'static str {
        match self {
            Level::MgPerKg(_) => MgPerKg::UNIT,
            Level::MgPerL(_) => MgPerL::UNIT,
            Level::CmolPerKg(_) => CmolPerKg::UNIT,
            Level::CmolPerL(_) => CmolPerL::UNIT,
            Level::Percent(_) => Percent::UNIT,
            Level::DsPerM(_) => DsPerM::UNIT,
            Level::Ph(_) => "",
        }
    }
}

/// One determination, readable: what every rule of the trade works on.
#[derive(Clone, Debug, PartialEq)]
pub struct Reading {
    pub analyte: Analyte,
    pub method: Method,
    /// The value, or the limit where `qualifier` is one.
    pub level: Level,
    pub qualifier: Qualifier,
    /// Decimals that the lab's own printing allows at this unit.
    pub decimals: u8,
    pub sampled_on: Date,
    pub depth: Option<DepthBand>,
    pub lab: String,
    /// The caller's key of the sampling: two of one day are two draws of soil.
    pub sampling: i64,
    pub cell: CellKey,
    /// From the printed cell to `level`.
    pub working: Working,
}

impl Reading {
    /// The level as shown: sign, number and unit, no finer than the lab's.
    pub fn figure(&self) -> Figure {
        let mut figure = Figure::new(self.level.number(), self.level.unit(), self.decimals);
        figure.sign = self.qualifier.sign().to_owned();
        figure
    }

    /// Whether this is a number and not only a limit.
    pub fn is_exact(&self) -> bool {
        self.qualifier == Qualifier::Exact
    }
}

/// A determination that could not become a reading, and why.
#[derive(Clone, Debug, PartialEq)]
pub struct Unreadable {
    pub cell: CellKey,
    pub analyte: Analyte,
    pub method: Method,
    pub lab: String,
    /// Exactly what the sheet shows.
    pub printed: String,
    /// The number as printed, where there is one: to be shown, never to be judged.
    pub shown: Option<Figure>,
    /// What is missing or does not fit, as a sentence.
    pub reason: String,
}

/// The mg/kg that stand for 1 cmol(+)/kg (= 1 meq/100 g) of each cation.
///
/// Exact from the atomic weights, or the rounded set of one publisher, kept apart so that
/// each publisher's own figures can be reproduced.
#[derive(Clone, Debug, PartialEq)]
pub struct Divisors {
    /// As a person reads it: "exact equivalent weights".
    pub words: String,
    rounded: BTreeMap<Element, f64>,
    pub source: Citation,
}

impl Default for Divisors {
    fn default() -> Self {
        Divisors::exact()
    }
}

impl Divisors {
    /// Atomic weight ÷ charge × 10.
    pub fn exact() -> Self {
        Divisors { words: "exact equivalent weights".into(), rounded: BTreeMap::new(), source: ATOMIC_WEIGHTS.into() }
    }

    /// A publisher's own numbers, mg/kg per cmol(+)/kg; what it does not print stays exact.
    /// Numbers that are not above 0 are left out.
    pub fn published(
        words: impl Into<String>,
        rounded: impl IntoIterator<Item = (Element, f64)>,
        source: impl Into<Citation>,
    ) -> Self {
        let rounded = rounded.into_iter().filter(|(_, divisor)| divisor.is_finite() && *divisor > 0.0).collect();
        Divisors { words: words.into(), rounded, source: source.into() }
    }

    /// mg/kg per cmol(+)/kg of a cation; `None` for an element that is not one.
    pub fn mg_per_cmol(&self, element: Element) -> Option<f64> {
        self.rounded.get(&element).copied().or_else(|| element.mg_per_cmol_charge())
    }
}

/// Brings one determination to its canonical unit.
pub fn read(
    sampling: &Sampling,
    report: &Report,
    d: &Determination,
    divisors: &Divisors,
) -> Result<Reading, Unreadable> {
    let printed_figure = d.printed.value.map(|value| {
        let mut figure = Figure::new(value, convert::unit_shown(d.unit), d.printed.decimals);
        figure.sign = d.printed.qualifier.sign().to_owned();
        figure
    });
    let unreadable = |reason: String| Unreadable {
        cell: d.key,
        analyte: d.analyte,
        method: d.method.clone(),
        lab: report.lab.clone(),
        printed: d.printed.text.clone(),
        shown: printed_figure.clone(),
        reason,
    };
    let Some(value) = d.printed.value else {
        return Err(unreadable("Not detected, and the sheet prints no limit: a result, but not a number".into()));
    };
    if !value.is_finite() || value < 0.0 {
        return Err(unreadable(format!("“{}” is not a level that soil can have", d.printed.text)));
    }
    let canonical = convert::canonical(sampling, report, d, value, divisors).map_err(unreadable)?;
    Ok(Reading {
        analyte: d.analyte,
        method: d.method.clone(),
        level: canonical.level,
        qualifier: d.printed.qualifier,
        decimals: canonical.decimals,
        sampled_on: sampling.sampled_on,
        depth: sampling.depth,
        lab: report.lab.clone(),
        sampling: sampling.key,
        cell: d.key,
        working: canonical.working,
    })
}

/// What [`read`] does to printed values of one kind, found once and used for many: one
/// analyte, method, unit, form and basis, with the same decimals, from one depth.
#[derive(Clone, Debug, PartialEq)]
pub struct Conversion {
    /// Any level of the kind; says the unit.
    like: Level,
    factors: Vec<f64>,
    /// Decimals that the lab's own printing allows at the canonical unit.
    pub decimals: u8,
}

impl Conversion {
    /// How a printed cell of this kind is read; `None` where [`read`] cannot read it.
    pub fn of(sampling: &Sampling, report: &Report, d: &Determination) -> Option<Conversion> {
        let canonical = convert::canonical(sampling, report, d, 1.0, &Divisors::exact()).ok()?;
        Some(Conversion { like: canonical.level, factors: canonical.factors, decimals: canonical.decimals })
    }

    /// The level of a printed value, to the last bit that of [`read`].
    pub fn level(&self, printed: f64) -> Level {
        self.like.with(self.factors.iter().fold(printed, |value, factor| value * factor))
    }
}

/// Reads every determination of a sampling with exact divisors, in the order of the sheets.
pub fn read_all(sampling: &Sampling) -> (Vec<Reading>, Vec<Unreadable>) {
    let divisors = Divisors::exact();
    let (mut readings, mut unreadable) = (Vec::new(), Vec::new());
    for (report, determination) in sampling.determinations() {
        match read(sampling, report, determination, &divisors) {
            Ok(reading) => readings.push(reading),
            Err(problem) => unreadable.push(problem),
        }
    }
    (readings, unreadable)
}

/// The charge of a cation: cmol(+)/kg of one read by mass, cmol(+)/L of one read by volume.
///
/// A cation that the sheet prints as charge keeps the printed charge, so that no publisher's
/// divisor can change it. `None` for what is not a cation.
pub fn charge(reading: &Reading, divisors: &Divisors) -> Option<(Level, Working)> {
    if let Level::CmolPerKg(_) | Level::CmolPerL(_) = reading.level {
        return Some((reading.level, reading.working.clone()));
    }
    let Analyte::Element(element) = reading.analyte else { return None };
    let divisor = divisors.mg_per_cmol(element)?;
    let by_volume = match reading.level {
        Level::MgPerKg(_) => false,
        Level::MgPerL(_) => true,
        _ => return None,
    };
    let (unit, make): (_, fn(f64) -> Level) = if by_volume {
        (CmolPerL::UNIT, |v| Level::CmolPerL(CmolPerL(v)))
    } else {
        (CmolPerKg::UNIT, |v| Level::CmolPerKg(CmolPerKg(v)))
    };
    if let Some(printed) = printed_charge(&reading.working, unit) {
        return Some((make(printed.figure.value), printed.clone()));
    }
    let value = reading.level.number() / divisor;
    let mut figure = Figure::new(value, unit, charge_decimals(value));
    figure.sign = reading.qualifier.sign().to_owned();
    let formula = format!(
        "{} {} ÷ {} = {} {unit}",
        number(reading.level.number()),
        reading.level.unit(),
        number(divisor),
        number(value)
    );
    let working =
        Working::step(format!("{} as charge", reading.analyte.name()), figure, formula, [reading.working.clone()])
            .note(format!("mg per cmol(+) by {}", divisors.words))
            .cite(divisors.source.clone());
    Some((make(value), working))
}

/// [`charge`] of a cation read by mass; by volume there is none, for want of the scooped density.
pub fn cmol(reading: &Reading, divisors: &Divisors) -> Option<(CmolPerKg, Working)> {
    match charge(reading, divisors)? {
        (Level::CmolPerKg(value), working) => Some((value, working)),
        _ => None,
    }
}

/// Decimals for charge: two below 1, one up to 10, none above (SCMA, Table App. 1.1).
pub(crate) fn charge_decimals(value: f64) -> u8 {
    match value.abs() {
        v if v < 1.0 => 2,
        v if v < 10.0 => 1,
        _ => 0,
    }
}

/// A number for a formula: up to six significant digits, no trailing zeros.
pub(crate) fn number(value: f64) -> String {
    let figure = Figure::significant(value, "", 6).to_string();
    if figure.contains('.') { figure.trim_end_matches('0').trim_end_matches('.').to_owned() } else { figure }
}

/// The node of a working that holds the charge as the sheet printed it.
fn printed_charge<'a>(working: &'a Working, unit: &str) -> Option<&'a Working> {
    let direct = working.inputs.iter().find_map(|input| printed_charge(input, unit));
    direct.or_else(|| (working.figure.unit == unit).then_some(working))
}
