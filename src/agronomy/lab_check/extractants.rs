//! What published equations make of one extractant's result for another: estimates, shown
//! beside what was found. An equation belongs to the soils it was found on. None is turned
//! round, none is chained, none replaces a test, and no result is judged by one.

use crate::agronomy::{
    analyte::Analyte,
    estimate::{Line, lines_from},
    method::Method,
    quantity::MgPerKg,
    reading::{Level, Reading, number},
    working::{Figure, Origin, Working},
};

/// What an equation makes of a result.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    pub equation: &'static Line,
    /// mg/kg, never below the equation's floor.
    pub level: MgPerKg,
    /// The line itself lies below the floor here.
    pub floored: bool,
    pub working: Working,
}

/// One analyte by more than one extractant.
#[derive(Clone, Debug, PartialEq)]
pub struct SideBySide {
    pub analyte: Analyte,
    /// In the order of the sheets.
    pub found: Vec<Reading>,
    /// What equations make of one for another that was read too, in the order of
    /// [`all`](crate::agronomy::estimate::all).
    pub estimates: Vec<Estimate>,
}

/// What the equations make of a result for other extractants, at a pH in water where it is known.
pub fn estimates(reading: &Reading, ph: Option<f64>) -> Vec<Estimate> {
    let (Analyte::Element(element), Level::MgPerKg(MgPerKg(found)), true) =
        (reading.analyte, reading.level, reading.is_exact())
    else {
        return vec![];
    };
    let estimate = |equation: &'static Line| {
        let line = equation.slope * found + equation.intercept;
        let value = equation.at(found);
        let floored = equation.is_floored(found);
        let below = if floored { format!(", held at {}", number(equation.floor)) } else { String::new() };
        let formula = format!("{}, with {}: {}{below} mg/kg", equation.printed, number(found), number(line));
        let leaf = Working::leaf(
            "The published equation",
            Figure::new(equation.slope, "mg/kg per mg/kg", 3),
            Origin::Published,
        )
        .note(equation.printed.clone())
        .cite(equation.source.clone());
        let title = format!("{} by {}, estimated", reading.analyte.name(), equation.to.label());
        let figure = Figure::new(value, MgPerKg::UNIT, reading.decimals.min(1));
        let working = Working::step(title, figure, formula, [reading.working.clone(), leaf]);
        Estimate { equation, level: MgPerKg(value), floored, working }
    };
    lines_from(element, &reading.method, ph).map(estimate).collect()
}

/// The analytes that were read by more than one extractant.
pub(super) fn side_by_side(readings: &[Reading], ph: Option<f64>) -> Vec<SideBySide> {
    let mut groups: Vec<SideBySide> = Vec::new();
    for reading in readings.iter().filter(|r| matches!(r.analyte, Analyte::Element(_)) && r.method != Method::Unstated)
    {
        match groups.iter_mut().find(|group| group.analyte == reading.analyte) {
            Some(group) => group.found.push(reading.clone()),
            None => {
                groups.push(SideBySide { analyte: reading.analyte, found: vec![reading.clone()], estimates: vec![] })
            }
        }
    }
    groups.retain(|group| group.found.iter().any(|reading| reading.method != group.found[0].method));
    for group in &mut groups {
        let read = |method: &Method| group.found.iter().any(|reading| reading.method == *method);
        let all = group.found.iter().flat_map(|reading| estimates(reading, ph));
        group.estimates = all.filter(|estimate| read(&estimate.equation.to)).collect();
    }
    groups.sort_by_key(|group| group.analyte);
    groups
}
