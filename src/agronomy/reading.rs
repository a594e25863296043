//! A determination brought to canonical units, with the steps that brought it there.

use super::{
    analyte::Analyte,
    method::Method,
    quantity::{CmolPerKg, CmolPerL, DsPerM, MgPerKg, MgPerL, Percent},
    record::{CellKey, DepthBand, Qualifier},
    working::Working,
};
use jiff::civil::Date;

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
    pub cell: CellKey,
    /// From the printed cell to `level`.
    pub working: Working,
}
