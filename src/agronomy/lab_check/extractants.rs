//! What published equations make of one extractant's result for another: estimates, shown
//! beside what was found. An equation belongs to the soils it was found on. None is turned
//! round, none is chained, none replaces a test, and no result is judged by one.

use crate::agronomy::{
    analyte::Analyte,
    element::Element,
    method::Method,
    quantity::MgPerKg,
    reading::{Level, Reading, number},
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

/// One published line from a result by one extractant to another's, mg/kg to mg/kg.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Equation {
    pub element: Element,
    pub from: &'static Method,
    pub to: &'static Method,
    pub slope: f64,
    pub intercept: f64,
    /// The least that it may answer.
    pub floor: f64,
    /// pH in water that it holds for: from the first up to below the second.
    pub ph: Option<(f64, f64)>,
    /// As the publisher has it.
    pub printed: &'static str,
    pub source: Source,
}

const OHIO_LINE: Source = Source {
    publisher: "Ohio State University",
    title: "Understanding Soil Test Reports for Phosphorus Values",
    year: 0,
    address: "https://agbmps.osu.edu/faq/understanding-soil-test-reports-phosphorus-values",
    evidence: Evidence::Read,
};
const OHIO_SHARES: Source = Source {
    publisher: "Ohio State University Extension",
    title: "ANR-75: Mehlich-3 reads 35 % above Bray for P and 14 % above ammonium acetate for K",
    year: 2019,
    address: "",
    evidence: Evidence::Read,
};
const LABORATORY: Source = Source {
    publisher: "Spectrum Analytic (laboratory)",
    title: "Conversions between its own tests",
    year: 2005,
    address: "",
    evidence: Evidence::Read,
};
const IOWA: Source = Source {
    publisher: "Attributed to Mallarino, Iowa State University",
    title: "Bray-1 from Mehlich-3 and from Olsen",
    year: 2003,
    address: "",
    evidence: Evidence::Quoted,
};
const IDAHO: Source = Source {
    publisher: "An Idaho study, as Montana State University quotes it",
    title: "Olsen P = Mehlich-3 P ÷ 2.05 − 14",
    year: 2020,
    address: "",
    evidence: Evidence::Quoted,
};

const fn line(
    element: Element,
    from: &'static Method,
    to: &'static Method,
    (slope, intercept): (f64, f64),
    printed: &'static str,
    source: Source,
) -> Equation {
    Equation { element, from, to, slope, intercept, floor: 0.0, ph: None, printed, source }
}

/// The equations known here. For one pair of tests they disagree, which is why all are shown.
pub const EQUATIONS: &[Equation] = &[
    line(Element::P, &Method::Mehlich3Icp, &Method::Bray1, (0.832, -8.08), "0.832 × Mehlich-3 (ICP) − 8.08", OHIO_LINE),
    line(Element::P, &Method::Mehlich3Icp, &Method::Bray1, (1.0 / 1.35, 0.0), "Mehlich-3 ÷ 1.35", OHIO_SHARES),
    line(Element::P, &Method::Mehlich3Icp, &Method::Bray1, (0.7, 0.0), "Mehlich-3 × 0.7", LABORATORY),
    line(Element::P, &Method::Mehlich3Icp, &Method::Bray1, (0.778, -6.4667), "0.778 × Mehlich-3 (ICP) − 6.4667", IOWA),
    line(Element::P, &Method::Mehlich3Colour, &Method::Bray1, (0.84, 1.21), "0.84 × Mehlich-3 (colour) + 1.21", IOWA),
    Equation {
        floor: 1.0,
        ph: Some((0.0, 7.05)),
        ..line(Element::P, &Method::Olsen, &Method::Bray1, (2.381, -8.3333), "2.381 × Olsen − 8.3333", IOWA)
    },
    Equation {
        floor: 1.0,
        ph: Some((7.05, 7.45)),
        ..line(Element::P, &Method::Olsen, &Method::Bray1, (2.27, -7.045), "2.27 × Olsen − 7.045", IOWA)
    },
    line(Element::P, &Method::Mehlich3Icp, &Method::Olsen, (1.0 / 2.05, -14.0), "Mehlich-3 ÷ 2.05 − 14", IDAHO),
    line(
        Element::K,
        &Method::Mehlich3Icp,
        &Method::AmmoniumAcetate7,
        (1.0 / 1.14, 0.0),
        "Mehlich-3 ÷ 1.14",
        OHIO_SHARES,
    ),
    line(Element::K, &Method::Mehlich3Icp, &Method::AmmoniumAcetate7, (0.84, 0.0), "Mehlich-3 × 0.84", LABORATORY),
    line(Element::Ca, &Method::Mehlich3Icp, &Method::AmmoniumAcetate7, (0.75, 0.0), "Mehlich-3 × 0.75", LABORATORY),
    line(Element::Mg, &Method::Mehlich3Icp, &Method::AmmoniumAcetate7, (0.88, 0.0), "Mehlich-3 × 0.88", LABORATORY),
];

/// What an equation makes of a result.
#[derive(Clone, Debug, PartialEq)]
pub struct Estimate {
    pub equation: &'static Equation,
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
    /// What equations make of one for another that was read too, in the order of [`EQUATIONS`].
    pub estimates: Vec<Estimate>,
}

/// What the equations make of a result for other extractants, at a pH in water where it is known.
pub fn estimates(reading: &Reading, ph: Option<f64>) -> Vec<Estimate> {
    let (Analyte::Element(element), Level::MgPerKg(MgPerKg(found)), true) =
        (reading.analyte, reading.level, reading.is_exact())
    else {
        return vec![];
    };
    let holds = |equation: &&'static Equation| {
        equation.element == element
            && *equation.from == reading.method
            && equation.ph.is_none_or(|(from, to)| ph.is_some_and(|ph| (from..to).contains(&ph)))
    };
    let estimate = |equation: &'static Equation| {
        let line = equation.slope * found + equation.intercept;
        let value = line.max(equation.floor);
        let floored = value > line;
        let below = if floored { format!(", held at {}", number(equation.floor)) } else { String::new() };
        let formula = format!("{}, with {}: {}{below} mg/kg", equation.printed, number(found), number(line));
        let leaf = Working::leaf(
            "The published equation",
            Figure::new(equation.slope, "mg/kg per mg/kg", 3),
            Origin::Published,
        )
        .note(equation.printed)
        .cite(equation.source);
        let title = format!("{} by {}, estimated", reading.analyte.name(), equation.to.label());
        let figure = Figure::new(value, MgPerKg::UNIT, reading.decimals.min(1));
        let working = Working::step(title, figure, formula, [reading.working.clone(), leaf]);
        Estimate { equation, level: MgPerKg(value), floored, working }
    };
    EQUATIONS.iter().filter(holds).map(estimate).collect()
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
        group.estimates = all.filter(|estimate| read(estimate.equation.to)).collect();
    }
    groups.sort_by_key(|group| group.analyte);
    groups
}
