//! What published equations make of one extractant's result for another: estimates, shown
//! beside what was found. An equation belongs to the soils it was found on. None is turned
//! round, none is chained, none replaces a test, and no result is judged by one.

use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    estimate::{Line, lines_from},
    method::Method,
    quantity::MgPerKg,
    reading::{Level, Reading, number},
    source::{Evidence, Source},
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
    /// How nearly two of the methods found went together elsewhere.
    pub together: Option<Together>,
}

/// How nearly two extracts of one element went together on many soils.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Together {
    pub element: Element,
    /// Correlation coefficient.
    pub r: f64,
}

/// Who found it.
pub const TOGETHER: Source = Source {
    publisher: "Kansas Agricultural Experiment Station",
    title: "Research Reports 8(9), article 5 (abstract): Mehlich-3 beside DTPA on Kansas soils; iron and manganese need the pH in any conversion",
    year: 0,
    address: "https://newprairiepress.org/kaesrr/vol8/iss9/5/",
    evidence: Evidence::Read,
};

/// What was found of Mehlich-3 beside DTPA.
const MEHLICH_BESIDE_DTPA: [Together; 4] = [
    Together { element: Element::Zn, r: 0.98 },
    Together { element: Element::Cu, r: 0.92 },
    Together { element: Element::Fe, r: 0.91 },
    Together { element: Element::Mn, r: 0.17 },
];

impl Together {
    /// How two methods went together for an element; `None` where nobody whom we read looked.
    pub fn of(element: Element, one: &Method, other: &Method) -> Option<Together> {
        let pair =
            |a: &Method, b: &Method| matches!((a, b), (Method::Mehlich3Icp | Method::Mehlich3Colour, Method::Dtpa));
        let known = pair(one, other) || pair(other, one);
        MEHLICH_BESIDE_DTPA.into_iter().find(|row| known && row.element == element)
    }

    /// How much of the difference between soils in one test the other tells, %: the square of r.
    pub fn told_percent(self) -> f64 {
        self.r * self.r * 100.0
    }

    /// The same as a sentence, with who found it.
    pub fn words(self) -> String {
        let beside = match self.element {
            Element::Fe | Element::Mn => " without the pH",
            _ => "",
        };
        format!(
            "On Kansas soils the two went together with r = {}: one tells {:.0} % of how soils differ in the other{beside} ({TOGETHER}).",
            number(self.r),
            self.told_percent()
        )
    }
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
            None => groups.push(SideBySide {
                analyte: reading.analyte,
                found: vec![reading.clone()],
                estimates: vec![],
                together: None,
            }),
        }
    }
    groups.retain(|group| group.found.iter().any(|reading| reading.method != group.found[0].method));
    for group in &mut groups {
        let read = |method: &Method| group.found.iter().any(|reading| reading.method == *method);
        let all = group.found.iter().flat_map(|reading| estimates(reading, ph));
        group.together = group.analyte.element().and_then(|element| {
            let methods = group.found.iter().map(|reading| &reading.method);
            methods.clone().find_map(|one| methods.clone().find_map(|other| Together::of(element, one, other)))
        });
        group.estimates = all.filter(|estimate| read(&estimate.equation.to)).collect();
    }
    groups.sort_by_key(|group| group.analyte);
    groups
}
