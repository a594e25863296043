//! The rest of a sheet, against published figures and against what must hold for any input:
//! nothing to give below zero, more found never asks for more, printed limits never passed.

mod contaminant;
mod lime;
mod micronutrient;
mod nitrogen;
mod salinity;
mod second_opinion;

use glebe::agronomy::{
    analyte::Analyte,
    ground::{Cover, Ground, Texture},
    method::Method,
    quantity::{Centimetres, DsPerM, GramsPerCm3, MgPerKg, MgPerL, Percent, SquareMetres},
    reading::{Level, Reading},
    record::{CellKey, DepthBand, Qualifier},
    working::{Figure, Origin, Working},
};

/// A plot of 15 cm of loam at 1.3 g/cm³ in the open.
pub fn ground() -> Ground {
    Ground {
        area: SquareMetres(10.0),
        cover: Cover::Open,
        texture: Texture::Loam,
        bulk_density: Some(GramsPerCm3(1.3)),
        depth: Centimetres(15.0),
        stones: 0.0,
    }
}

/// A reading at its canonical unit.
pub fn reading(analyte: Analyte, method: Method, level: Level) -> Reading {
    let figure = Figure::new(level.number(), level.unit(), 2);
    Reading {
        analyte,
        method,
        level,
        qualifier: Qualifier::Exact,
        decimals: 2,
        sampled_on: jiff::civil::date(2024, 10, 1),
        depth: None,
        lab: "a lab".into(),
        sampling: 0,
        cell: CellKey(1),
        working: Working::leaf(analyte.name(), figure, Origin::Cell(CellKey(1))),
    }
}

pub fn ph(value: f64) -> Reading {
    reading(Analyte::Ph, Method::PhWater, Level::Ph(value))
}

pub fn mg_kg(analyte: &str, method: Method, value: f64) -> Reading {
    reading(analyte.parse().unwrap(), method, Level::MgPerKg(MgPerKg(value)))
}

pub fn mg_l(analyte: &str, method: Method, value: f64) -> Reading {
    reading(analyte.parse().unwrap(), method, Level::MgPerL(MgPerL(value)))
}

pub fn percent(analyte: Analyte, method: Method, value: f64) -> Reading {
    reading(analyte, method, Level::Percent(Percent(value)))
}

pub fn ec(method: Method, value: f64) -> Reading {
    reading(Analyte::Conductivity, method, Level::DsPerM(DsPerM(value)))
}

/// Nitrate of the top foot.
pub fn nitrate(ppm: f64) -> Reading {
    let depth = Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(30.0) });
    Reading { depth, ..mg_kg("nitrate_n", Method::PotassiumChloride, ppm) }
}
