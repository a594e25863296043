//! Where phosphorus already in the ground leaves no room for manure: Utah's rule by Olsen P. A
//! caution beside a plan, never a cap: other states and countries have other lines, and theirs
//! come first. It moves no dose.

use super::{
    analyte::Analyte,
    element::Element,
    method::Method,
    reading::{Level, Reading, number},
    record::Qualifier,
    source::{Evidence, Source},
};

/// Who draws the lines.
pub const UTAH: Source = Source {
    publisher: "Utah State University Extension",
    title: "Comprehensive nutrient management plans, step 5.1: manure by Olsen phosphorus",
    year: 0,
    // The page above step 5.1, which is not found any more.
    address: "http://extension.usu.edu/waterquality/htm/agriculturewq/cnmp/",
    evidence: Evidence::Read,
};

/// What Utah lets manure be reckoned by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ManureBy {
    /// Below 50 mg/kg: by nitrogen or by phosphorus.
    NitrogenOrPhosphorus,
    /// From 50 to 100 mg/kg: no more phosphorus than the crop carries away.
    RemovalOnly,
    /// Above 100 mg/kg: no manure.
    NoManure,
}

impl ManureBy {
    /// As a person reads it.
    pub const fn label(self) -> &'static str {
        match self {
            ManureBy::NitrogenOrPhosphorus => "by nitrogen or phosphorus",
            ManureBy::RemovalOnly => "crop removal of phosphorus only",
            ManureBy::NoManure => "no manure",
        }
    }
}

/// Utah's line for a level of phosphorus; `None` for a test other than Olsen, one not by mass of
/// soil, and a limit that leaves the line open.
pub fn manure_by(phosphorus: &Reading) -> Option<ManureBy> {
    let (Analyte::Element(Element::P), Method::Olsen, Level::MgPerKg(level)) =
        (phosphorus.analyte, &phosphorus.method, phosphorus.level)
    else {
        return None;
    };
    match phosphorus.qualifier {
        Qualifier::Exact => Some(line(level.0)),
        // Below a limit, and above one, only the outer class is certain.
        Qualifier::Below => Some(ManureBy::NitrogenOrPhosphorus).filter(|_| level.0 <= 50.0),
        Qualifier::Above => Some(ManureBy::NoManure).filter(|_| level.0 >= 100.0),
        Qualifier::NotDetected => Some(ManureBy::NitrogenOrPhosphorus),
    }
}

fn line(mg_per_kg: f64) -> ManureBy {
    match mg_per_kg {
        p if p < 50.0 => ManureBy::NitrogenOrPhosphorus,
        p if p <= 100.0 => ManureBy::RemovalOnly,
        _ => ManureBy::NoManure,
    }
}

/// What is said beside a plan that puts these manures, by name, on a plot with this phosphorus;
/// `None` where there is no manure, or nothing against it.
pub fn caution(phosphorus: &Reading, manures: &[&str]) -> Option<String> {
    if manures.is_empty() {
        return None;
    }
    let rule = match manure_by(phosphorus)? {
        ManureBy::NitrogenOrPhosphorus => return None,
        ManureBy::RemovalOnly => {
            "between 50 and 100 it lets manure bring no more phosphorus than the crop carries away"
        }
        ManureBy::NoManure => "above 100 it lets no manure go on",
    };
    Some(format!(
        "Olsen phosphorus here is {}{}\u{a0}mg/kg, and {} would add to it. This is Utah’s rule: {rule}. Rules where you are \
         come first. ({UTAH}.)",
        phosphorus.qualifier.sign(),
        number(phosphorus.level.number()),
        manures.join(", ")
    ))
}
