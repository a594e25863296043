//! The arithmetic behind [`super::read`]: one printed value to the canonical unit of its
//! analyte, each conversion a step of the working. Never guesses a layer, a dilution or a basis.

use super::{Divisors, Level, UNIT_IDENTITIES, number};
use crate::agronomy::{
    analyte::Analyte,
    element::{ATOMIC_WEIGHTS, Element, Form},
    method::{Method, Purpose},
    quantity::{CmolPerKg, CmolPerL, DsPerM, KG_PER_HA_PER_LB_PER_ACRE, MgPerKg, MgPerL, Percent},
    record::{Basis, Determination, Report, Sampling, Unit},
    salinity,
    source::{Citation, Evidence, Source},
    working::{Figure, Origin, Working},
};

/// What joins a by-volume result to an area: mg/L × depth in cm × 0.1 = kg/ha.
const BY_VOLUME_AREA: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, method 18F1 (mg/dm³ × 2 is the amount per hectare to 20 cm)",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// 1 dS/m = 1 mS/cm = 1 mmho/cm = 1,000 µS/cm.
const CONDUCTIVITY_UNITS: Source = Source {
    publisher: "FAO",
    title: "Irrigation and Drainage Papers, annex on crop salt tolerance",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// What a printed value becomes.
pub(super) struct Canonical {
    pub level: Level,
    /// What the printed value was multiplied by, step by step.
    pub factors: Vec<f64>,
    pub decimals: u8,
    pub working: Working,
}

/// Brings a printed value to the canonical unit of its analyte, or says why it cannot be.
pub(super) fn canonical(
    sampling: &Sampling,
    report: &Report,
    d: &Determination,
    value: f64,
    divisors: &Divisors,
) -> Result<Canonical, String> {
    let chain = Chain::start(report, d, value);
    let (chain, scale) = match kind(d.analyte) {
        Kind::Element(element) => element_level(chain, sampling, d, element, divisors),
        Kind::Charge => charge_level(chain, d),
        Kind::Share => share_level(chain, d),
        Kind::Ph => match d.unit {
            Unit::Ph => Ok((chain, Scale::Ph)),
            other => Err(format!("{} is a pH and cannot be in {other}", d.analyte.name())),
        },
        Kind::Conductivity => conductivity_level(chain, d),
        Kind::Ratio => {
            Err("A ratio is no level: it is held against the cells where the sheets are checked, and nothing is reckoned from it".into())
        }
    }?;
    let level = match scale {
        Scale::MgPerKg => Level::MgPerKg(MgPerKg(chain.value)),
        Scale::MgPerL => Level::MgPerL(MgPerL(chain.value)),
        Scale::CmolPerKg => Level::CmolPerKg(CmolPerKg(chain.value)),
        Scale::CmolPerL => Level::CmolPerL(CmolPerL(chain.value)),
        Scale::Percent => Level::Percent(Percent(chain.value)),
        Scale::DsPerM => Level::DsPerM(DsPerM(chain.value)),
        Scale::Ph => Level::Ph(chain.value),
    };
    Ok(Canonical { level, factors: chain.factors, decimals: chain.decimals, working: chain.working })
}

/// What an analyte is measured as.
enum Kind {
    Element(Element),
    Charge,
    Share,
    Ph,
    Conductivity,
    Ratio,
}

fn kind(analyte: Analyte) -> Kind {
    match analyte {
        Analyte::Element(element) => Kind::Element(element),
        Analyte::NitrateN | Analyte::AmmoniumN => Kind::Element(Element::N),
        Analyte::Ph | Analyte::BufferPh => Kind::Ph,
        Analyte::ExchangeCapacity | Analyte::Acidity => Kind::Charge,
        Analyte::Saturation(_)
        | Analyte::BaseSaturation
        | Analyte::OrganicMatter
        | Analyte::OrganicCarbon
        | Analyte::Carbonate
        | Analyte::Clay => Kind::Share,
        Analyte::Conductivity => Kind::Conductivity,
        Analyte::Ratio(..) => Kind::Ratio,
    }
}

/// The canonical scale that a chain ended on.
enum Scale {
    MgPerKg,
    MgPerL,
    CmolPerKg,
    CmolPerL,
    Percent,
    DsPerM,
    Ph,
}

/// A value on its way to the canonical unit.
struct Chain {
    name: String,
    sign: &'static str,
    value: f64,
    unit: String,
    decimals: u8,
    factors: Vec<f64>,
    working: Working,
}

impl Chain {
    /// The printed cell.
    fn start(report: &Report, d: &Determination, value: f64) -> Chain {
        let form = d.form.map(|form| format!(" {form}")).unwrap_or_default();
        let unit = format!("{}{form}", unit_shown(d.unit));
        let sign = d.printed.qualifier.sign();
        let mut figure = Figure::new(value, unit.clone(), d.printed.decimals);
        figure.sign = sign.to_owned();
        let lab = if report.lab.is_empty() { "the lab" } else { &report.lab };
        let working =
            Working::leaf(format!("{}, printed “{}”", d.analyte.name(), d.printed.text), figure, Origin::Cell(d.key))
                .note(format!("Printed by {lab}; {}", d.method.label()));
        Chain { name: d.analyte.name(), sign, value, unit, decimals: d.printed.decimals, factors: vec![], working }
    }

    /// Multiplies by `factor`, written in the formula as `shown` ("× 10", "÷ 2").
    fn times(self, factor: f64, shown: &str, unit: &str, title: &str, source: impl Into<Citation>) -> Chain {
        let value = self.value * factor;
        let decimals = decimals_after(self.decimals, factor);
        let mut figure = Figure::new(value, unit, decimals);
        figure.sign = self.sign.to_owned();
        let formula = format!("{}{} {} {shown} = {} {unit}", self.sign, number(self.value), self.unit, number(value));
        let working = Working::step(format!("{} {title}", self.name), figure, formula, [self.working]).cite(source);
        let mut factors = self.factors;
        factors.push(factor);
        Chain { value, unit: unit.to_owned(), decimals, factors, working, name: self.name, sign: self.sign }
    }

    /// The same value under another name of the same unit.
    fn renamed(self, unit: &str) -> Chain {
        if self.unit == unit {
            return self;
        }
        let formula = format!("1 {} is 1 {unit}", self.unit);
        let mut figure = Figure::new(self.value, unit, self.decimals);
        figure.sign = self.sign.to_owned();
        let working =
            Working::step(format!("{} in {unit}", self.name), figure, formula, [self.working]).cite(UNIT_IDENTITIES);
        Chain { unit: unit.to_owned(), working, ..self }
    }

    fn note(mut self, note: impl Into<String>) -> Chain {
        self.working = self.working.note(note);
        self
    }
}

/// Decimals that a printed step still deserves after multiplying by `factor`.
pub(in crate::agronomy) fn decimals_after(decimals: u8, factor: f64) -> u8 {
    let step = 10_f64.powi(-i32::from(decimals)) * factor.abs();
    if step > 0.0 && step.is_finite() { ((-step.log10()) + 1e-9).floor().clamp(0.0, 6.0) as u8 } else { decimals }
}

/// pH has no unit to show.
pub(super) fn unit_shown(unit: Unit) -> &'static str {
    if unit == Unit::Ph { "" } else { unit.symbol() }
}

/// An element in any unit to mg/kg or mg/L.
fn element_level(
    chain: Chain,
    sampling: &Sampling,
    d: &Determination,
    element: Element,
    divisors: &Divisors,
) -> Result<(Chain, Scale), String> {
    if let Unit::MeqPer100g | Unit::CmolPerKg | Unit::MmolPerKg | Unit::MeqPer100cm3 = d.unit {
        return cation_level(chain, d, element, divisors);
    }
    let chain = match d.form {
        None => chain,
        Some(form) if form_fits(form, d.analyte) => {
            let factor = form.to_element();
            let counted = counted_as(d.analyte, element);
            let unit = format!("{} {counted}", d.unit.symbol());
            chain.times(factor, &format!("× {factor:.4}"), &unit, &format!("counted as {counted}"), ATOMIC_WEIGHTS)
        }
        Some(form) => return Err(format!("{} cannot be printed as {form}", d.analyte.name())),
    };
    let by_volume = d.basis == Basis::Volume;
    let title = if by_volume { "by volume of soil" } else { "by mass of soil" };
    match d.unit {
        Unit::MgPerKg if by_volume => Ok((
            unify(chain, MgPerKg::UNIT)
                .note("The lab scoops its soil, and yet prints mg/kg: taken by mass, as printed"),
            Scale::MgPerKg,
        )),
        Unit::MgPerKg => Ok((unify(chain, MgPerKg::UNIT), Scale::MgPerKg)),
        Unit::Ppm if by_volume => Ok((
            chain.times(1.0, "× 1", MgPerL::UNIT, title, UNIT_IDENTITIES).note("Parts per million by volume of soil"),
            Scale::MgPerL,
        )),
        Unit::Ppm => Ok((chain.times(1.0, "× 1", MgPerKg::UNIT, title, UNIT_IDENTITIES), Scale::MgPerKg)),
        Unit::MgPerL if d.method == Method::SaturationExtract => {
            Ok((unify(chain, MgPerL::UNIT).note("Per litre of the extracted solution, not of soil"), Scale::MgPerL))
        }
        Unit::MgPerL => Ok((unify(chain, MgPerL::UNIT), Scale::MgPerL)),
        Unit::MgPer100g => Ok((chain.times(10.0, "× 10", MgPerKg::UNIT, title, UNIT_IDENTITIES), Scale::MgPerKg)),
        Unit::GPerKg => Ok((chain.times(1000.0, "× 1,000", MgPerKg::UNIT, title, UNIT_IDENTITIES), Scale::MgPerKg)),
        Unit::Percent => Ok((chain.times(10_000.0, "× 10,000", MgPerKg::UNIT, title, UNIT_IDENTITIES), Scale::MgPerKg)),
        Unit::LbPerAcre | Unit::KgPerHa => area_level(chain, sampling, d),
        other => Err(format!("{} cannot be read in {other}", d.analyte.name())),
    }
}

/// A mass per area back to the concentration it was computed from.
fn area_level(chain: Chain, sampling: &Sampling, d: &Determination) -> Result<(Chain, Scale), String> {
    let per_lb = KG_PER_HA_PER_LB_PER_ACRE;
    if d.basis == Basis::Volume {
        let thickness = sampling.depth.map(|band| band.bottom.0 - band.top.0).filter(|cm| *cm > 0.0);
        let Some(thickness) = thickness else {
            return Err(format!(
                "A figure in {} from a lab that scoops its soil needs the depth that was sampled: mg/L × depth in cm × 0.1 is kg/ha. Type it on the sampling",
                d.unit
            ));
        };
        let kg = match d.unit {
            Unit::LbPerAcre => chain.times(per_lb, &format!("× {per_lb:.5}"), "kg/ha", "per hectare", UNIT_IDENTITIES),
            _ => chain,
        };
        let per_mg = thickness * 0.1;
        let shown = format!("÷ ({} cm × 0.1)", number(thickness));
        return Ok((kg.times(1.0 / per_mg, &shown, MgPerL::UNIT, "by volume of soil", BY_VOLUME_AREA), Scale::MgPerL));
    }
    let Some(layer) = d.layer else {
        return Err(format!(
            "A figure in {} means nothing without the mass of soil it was computed with: choose it as “Soil mass behind a figure per area” on the line, such as 2,000,000 lb of soil per acre",
            d.unit
        ));
    };
    if !layer.soil_kg_per_ha.is_finite() || layer.soil_kg_per_ha <= 0.0 {
        return Err("The mass of soil per hectare must be above 0".into());
    }
    let million_kg = layer.soil_kg_per_ha / 1e6;
    let per_unit = if d.unit == Unit::LbPerAcre { million_kg / per_lb } else { million_kg };
    let shown = format!("÷ {}", number(per_unit));
    Ok((
        chain
            .times(1.0 / per_unit, &shown, MgPerKg::UNIT, "by mass of soil", layer.source)
            .note(format!("The lab's own soil mass: {}", layer.words)),
        Scale::MgPerKg,
    ))
}

/// A cation printed as charge, to mass.
fn cation_level(
    chain: Chain,
    d: &Determination,
    element: Element,
    divisors: &Divisors,
) -> Result<(Chain, Scale), String> {
    let divisor = match d.analyte {
        Analyte::Element(element) => divisors.mg_per_cmol(element),
        Analyte::AmmoniumN => Some(Element::N.atomic_weight() * 10.0), // NH₄⁺ carries one charge
        _ => None,
    };
    let Some(divisor) = divisor else {
        return Err(format!("{} is not held as a cation: {} says nothing about it", d.analyte.name(), d.unit));
    };
    let counted = counted_as(d.analyte, element);
    let by_volume = d.unit == Unit::MeqPer100cm3;
    let (charge_unit, mass_unit, scale) = if by_volume {
        (CmolPerL::UNIT, MgPerL::UNIT, Scale::MgPerL)
    } else {
        (CmolPerKg::UNIT, MgPerKg::UNIT, Scale::MgPerKg)
    };
    let chain = match d.form {
        Some(form) => Chain { unit: d.unit.symbol().to_owned(), ..chain }
            .note(format!("Charge is the same for {form} and {counted}")),
        None => chain,
    };
    let chain = if d.unit == Unit::MmolPerKg {
        chain.times(0.1, "÷ 10", charge_unit, "as charge", UNIT_IDENTITIES)
    } else {
        chain.renamed(charge_unit)
    };
    let chain = chain
        .times(divisor, &format!("× {}", number(divisor)), mass_unit, "as mass", divisors.source.clone())
        .note(format!("mg per cmol(+) by {}", divisors.words));
    Ok((chain, scale))
}

/// Exchange capacity and acidity, to cmol(+)/kg, or cmol(+)/L where scooped.
fn charge_level(chain: Chain, d: &Determination) -> Result<(Chain, Scale), String> {
    match d.unit {
        Unit::CmolPerKg | Unit::MeqPer100g => Ok((chain.renamed(CmolPerKg::UNIT), Scale::CmolPerKg)),
        Unit::MmolPerKg => {
            Ok((chain.times(0.1, "÷ 10", CmolPerKg::UNIT, "in cmol", UNIT_IDENTITIES), Scale::CmolPerKg))
        }
        Unit::MeqPer100cm3 => Ok((chain.renamed(CmolPerL::UNIT), Scale::CmolPerL)),
        other => Err(format!("{} is counted in charge, and cannot be read in {other}", d.analyte.name())),
    }
}

/// Shares, to %.
fn share_level(chain: Chain, d: &Determination) -> Result<(Chain, Scale), String> {
    match d.unit {
        Unit::Percent => Ok((chain, Scale::Percent)),
        Unit::GPerKg => Ok((chain.times(0.1, "÷ 10", Percent::UNIT, "as a share", UNIT_IDENTITIES), Scale::Percent)),
        Unit::MgPerKg | Unit::Ppm => {
            Ok((chain.times(1e-4, "÷ 10,000", Percent::UNIT, "as a share", UNIT_IDENTITIES), Scale::Percent))
        }
        other => Err(format!("{} is a share, and cannot be read in {other}", d.analyte.name())),
    }
}

/// Conductivity, to dS/m; without its dilution it is shown and not read.
fn conductivity_level(chain: Chain, d: &Determination) -> Result<(Chain, Scale), String> {
    if d.method.purpose() != Purpose::Conductivity && d.method != Method::SaturationExtract {
        return Err(
            "Conductivity means nothing without its dilution (saturated paste, 1:1, 1:2, 1:5): shown, not judged, until that is chosen as the method of the line"
                .into(),
        );
    }
    match d.unit {
        Unit::DsPerM => Ok((chain, Scale::DsPerM)),
        Unit::MsPerCm => Ok((chain.times(1.0, "× 1", DsPerM::UNIT, "in dS/m", CONDUCTIVITY_UNITS), Scale::DsPerM)),
        Unit::UsPerCm => Ok((chain.times(1e-3, "÷ 1,000", DsPerM::UNIT, "in dS/m", CONDUCTIVITY_UNITS), Scale::DsPerM)),
        Unit::Ppm | Unit::MgPerL | Unit::MgPerKg => Err(salinity::why_not_read(chain.value)),
        other => Err(format!(
            "Conductivity cannot be read in {other}: give the unit that the sheet prints, dS/m, mS/cm or µS/cm"
        )),
    }
}

/// Drops the chemical symbol that an oxide step left behind the unit.
fn unify(mut chain: Chain, unit: &str) -> Chain {
    chain.unit = unit.to_owned();
    if chain.working.inputs.is_empty() {
        return chain;
    }
    chain.working.figure.unit = unit.to_owned();
    chain
}

fn counted_as(analyte: Analyte, element: Element) -> String {
    match analyte {
        Analyte::NitrateN | Analyte::AmmoniumN => analyte.short(),
        _ => element.symbol().to_owned(),
    }
}

/// Whether a sheet can print this analyte in this form.
fn form_fits(form: Form, analyte: Analyte) -> bool {
    match form {
        Form::NO3 => analyte == Analyte::NitrateN,
        Form::NH4 => analyte == Analyte::AmmoniumN,
        other => analyte == Analyte::Element(other.element()),
    }
}
