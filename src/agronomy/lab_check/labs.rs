//! Two results by one method on one soil, against the error that honest labs have: the least
//! significant change, once for two labs that share one bag of soil and once for two samples.

use crate::agronomy::{
    analyte::Analyte,
    confidence::TestError,
    drift::{ErrorSettings, Scale, Z_95, two_tests},
    element::Element,
    method::Method,
    reading::{Reading, number},
    record::CellKey,
    source::{Citation, Evidence, Source},
    working::{Figure, Origin, Working},
};

/// Robust coefficients of variation between labs, one standard deviation.
const PROFICIENCY: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, table App. 2.1: robust CV between laboratories",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// One of two results.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    pub lab: String,
    pub figure: Figure,
    pub cell: CellKey,
}

impl Side {
    fn of(reading: &Reading) -> Side {
        Side { lab: reading.lab.clone(), figure: reading.figure(), cell: reading.cell }
    }
}

/// How two results of one soil by one method lie to each other.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Agreement {
    /// As near as two labs come on one bag of soil.
    AsLabsDo,
    /// Further, but not beyond what two samples of one plot show.
    AsSamplesDo,
    /// Beyond both.
    Beyond,
}

/// Two results of one analyte by one method.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    pub analyte: Analyte,
    pub method: Method,
    pub first: Side,
    pub second: Side,
    /// `None` where they cannot be weighed: a limit, or one by mass and one by volume.
    pub agreement: Option<Agreement>,
    /// What is to be said, as sentences.
    pub words: String,
    pub working: Option<Working>,
}

/// The error of one lab among others for a test, one standard deviation, and who says so:
/// published for the method where it was read, else the spread of proficiency rounds.
pub fn between_labs(analyte: Analyte, method: &Method) -> (TestError, Source) {
    use Element::{B, Ca, Cu, Fe, K, Mg, Mn, Na, P, Zn};
    let published = match (analyte, method) {
        (Analyte::Element(P), Method::Olsen) => 0.14,
        (Analyte::Element(P), Method::Bray1) => 0.247,
        (Analyte::Element(Ca), Method::AmmoniumAcetate7) => 0.0956,
        (Analyte::Element(Mg), Method::AmmoniumAcetate7) => 0.0779,
        (Analyte::Element(Na), Method::AmmoniumAcetate7) => 0.169,
        (Analyte::Element(K), Method::AmmoniumAcetate7) => 0.0917,
        (Analyte::Element(Cu), Method::Dtpa) => 0.15,
        (Analyte::Element(Zn), Method::Dtpa) => 0.14,
        (Analyte::Element(Mn), Method::Dtpa) => 0.11,
        (Analyte::Element(Fe), Method::Dtpa) => 0.23,
        (Analyte::Element(B), Method::CalciumChloride) => 0.38,
        (Analyte::NitrateN, Method::PotassiumChloride) => 0.119,
        (Analyte::AmmoniumN, Method::PotassiumChloride) => 0.187,
        (Analyte::Conductivity, Method::Ec1to5) => 0.0875,
        (Analyte::OrganicCarbon, Method::WalkleyBlack) => 0.15,
        (Analyte::OrganicCarbon, Method::DryCombustion) => 0.0785,
        _ => {
            let usual = ErrorSettings::default().of(analyte);
            return (usual.between_labs, usual.between_labs_source);
        }
    };
    (TestError::Relative(published), PROFICIENCY)
}

/// Weighs two results of one analyte by one method against each other.
///
/// Labs alone: each within its between-lab error of the true value (a lab against itself: the
/// customary error of one lab). Two samples: sampling and laboratory error of one test, each by
/// its own lab, and between labs that error in quadrature. Two-sided, 95 %.
pub fn pair(first: &Reading, second: &Reading, one_sheet: bool, errors: &ErrorSettings) -> Pair {
    let bare = |words: String| Pair {
        analyte: first.analyte,
        method: first.method.clone(),
        first: Side::of(first),
        second: Side::of(second),
        agreement: None,
        words,
        working: None,
    };
    if first.level.unit() != second.level.unit() {
        return bare("One counts by mass of soil and the other by volume: they are not compared.".into());
    }
    if !first.is_exact() || !second.is_exact() {
        return bare("One of them is only a limit, so by how much they part is not known.".into());
    }
    let scale = Scale::of(first.analyte);
    let same_lab = one_sheet || first.lab == second.lab;
    let (low, high) = match first.level.number() <= second.level.number() {
        true => (first, second),
        false => (second, first),
    };
    let (usual, usual_of_high) = (errors.of_lab(low.analyte, &low.lab), errors.of_lab(high.analyte, &high.lab));
    let (lab_error, lab_source): (TestError, Citation) = match same_lab {
        true => (usual.laboratory, CUSTOM.into()),
        // What the site has set itself goes before what is published.
        false if errors.between_labs.contains_key(&first.analyte) => {
            (usual.between_labs, usual.between_labs_source.into())
        }
        false => {
            let (error, source) = between_labs(first.analyte, &first.method);
            (error, source.into())
        }
    };
    let (a, b) = (low.level.number(), high.level.number());
    let labs_sigma = |value: f64| lab_error.sigma(scale, value);
    let samples_sigma = |error: TestError, value: f64| {
        let one_test = error.sigma(scale, value);
        if same_lab { one_test } else { one_test.hypot(labs_sigma(value)) }
    };
    let labs = two_tests(scale, (a, labs_sigma(a)), (b, labs_sigma(b)), Z_95);
    let samples =
        two_tests(scale, (a, samples_sigma(usual.one_test, a)), (b, samples_sigma(usual_of_high.one_test, b)), Z_95);
    let (Some(labs), Some(samples)) = (labs, samples) else {
        return bare("Nothing was found by one of them, so no ratio can be made.".into());
    };
    let agreement = match (labs.significant, samples.significant) {
        (false, _) => Agreement::AsLabsDo,
        (true, false) => Agreement::AsSamplesDo,
        (true, true) => Agreement::Beyond,
    };
    let shown = |apart: f64| match scale {
        Scale::Log => format!("{:.0}\u{a0}%", apart),
        Scale::Linear => format!("{apart:.2}"),
    };
    let apart = match scale {
        Scale::Log => 100.0 * (b / a - 1.0),
        Scale::Linear => b - a,
    };
    let who = if same_lab { "one lab’s repeats" } else { "two labs" };
    let words = format!(
        "{} apart. On one bag of soil {who} come within {} of each other nineteen times in twenty, and on two samples of one plot within {}: {}",
        shown(apart),
        shown(labs.least_rise),
        shown(samples.least_rise),
        match (agreement, same_lab) {
            (Agreement::AsLabsDo, _) => "no difference to speak of.",
            (Agreement::AsSamplesDo, _) =>
                "more than on one bag of soil, and no more than two samples of the plot would show.",
            (Agreement::Beyond, false) =>
                "these two differ more than the labs’ usual error and the sampling explain. Look for another unit, method or soil before trusting either.",
            (Agreement::Beyond, true) =>
                "these two differ more than the lab’s usual error and the sampling explain. Ask the lab to repeat it.",
        }
    );
    let (figure, formula) = match scale {
        Scale::Log => (
            Figure::new(apart, "%", 0),
            format!(
                "100 × ({} ÷ {} − 1) = {apart:.0} %; limit 100 × (e^(1.96 × √({:.3}² + {:.3}²)) − 1) = {:.0} %",
                number(b),
                number(a),
                labs_sigma(a),
                labs_sigma(b),
                labs.least_rise
            ),
        ),
        Scale::Linear => (
            Figure::new(apart, "", 2),
            format!(
                "{} − {} = {apart:.2}; limit 1.96 × √({:.2}² + {:.2}²) = {:.2}",
                number(b),
                number(a),
                labs_sigma(a),
                labs_sigma(b),
                labs.least_rise
            ),
        ),
    };
    let leaf = |title: &str, error: TestError, source: Citation| {
        let figure = match error {
            TestError::Relative(cv) => Figure::new(cv * 100.0, "%", 1),
            TestError::Absolute(sd) => Figure::new(sd, "", 2),
        };
        Working::leaf(title, figure, Origin::Published).cite(source)
    };
    let mut inputs = vec![
        low.working.clone(),
        high.working.clone(),
        leaf("Error of one result, lab alone (one standard deviation)", lab_error, lab_source),
    ];
    let tests = "Error of one test, sampling and lab (one standard deviation)";
    if usual.one_test == usual_of_high.one_test {
        inputs.push(leaf(tests, usual.one_test, usual.source.into()));
    } else {
        for (reading, of) in [(low, usual), (high, usual_of_high)] {
            inputs.push(leaf(&format!("{tests}, {}", reading.lab), of.one_test, of.source.into()));
        }
    }
    let working = Working::step(format!("{}, two results", first.analyte.name()), figure, formula, inputs);
    Pair { agreement: Some(agreement), words, working: Some(working), ..bare(String::new()) }
}

/// The customary error of one lab against itself: 8 %, or 0.05 pH.
const CUSTOM: Source = Source { publisher: "", title: "", year: 0, address: "", evidence: Evidence::CommonPractice };
