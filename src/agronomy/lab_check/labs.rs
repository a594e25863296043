//! Two results by one method on one soil, against the error that honest labs have: the least
//! significant change, once for two labs that share one bag of soil and once for two samples.

use super::precision::{HORWITZ, between_labs, horwitz, within_one_lab};
use crate::agronomy::{
    analyte::Analyte,
    confidence::TestError,
    drift::{ErrorSettings, Scale, Z_95, two_tests},
    method::Method,
    quantity::scooped_density,
    reading::{Level, Reading, number},
    record::CellKey,
    source::{Citation, Evidence, Source},
    working::{Figure, Origin, Working},
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

/// Weighs two results of one analyte by one method against each other.
///
/// Labs alone: each within its between-lab error of the true value (a lab against itself: the
/// printed error of one lab where it was read, else the customary). Two samples: sampling and laboratory error of one test, each by
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
        return bare(format!(
            "One counts by mass of soil and the other by volume: they are not compared.{}",
            alike_at(first, second)
        ));
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
        true => match within_one_lab(first.analyte, &first.method) {
            Some((error, source)) => (error, source.into()),
            None => (usual.laboratory, CUSTOM.into()),
        },
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
    let mut working = Working::step(format!("{}, two results", first.analyte.name()), figure, formula, inputs);
    if let (false, Level::MgPerKg(level)) = (same_lab, high.level)
        && let Some(expected) = horwitz(level.0)
    {
        working = working.note(format!(
            "By Horwitz’s line, which knows no method, labs would be {} apart at this content (one standard deviation; {}).",
            expected.words(),
            Citation::from(HORWITZ)
        ));
    }
    Pair { agreement: Some(agreement), words, working: Some(working), ..bare(String::new()) }
}

/// At which weight of scooped soil a result by volume and one by mass would say the same.
fn alike_at(first: &Reading, second: &Reading) -> String {
    let density = match (first.level, second.level) {
        (Level::MgPerL(volume), Level::MgPerKg(mass)) | (Level::MgPerKg(mass), Level::MgPerL(volume)) => {
            scooped_density(volume, mass).filter(|_| first.is_exact() && second.is_exact())
        }
        _ => None,
    };
    density.map_or_else(String::new, |density| {
        // Dried and ground soil weighs 0.8 to 1.5 kg to the litre, peat less; our own bounds.
        let odd = if (0.3..=1.8).contains(&density.0) { "" } else { ", which no soil does" };
        format!(
            " They would say the same of soil that weighs {} kg to the litre as the lab scoops it{odd} ({}).",
            Figure::new(density.0, "", 2),
            Citation::from(BY_SCOOP)
        )
    })
}

/// What joins the two.
const BY_SCOOP: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, method 18F1, note 3: mg/kg is mg/dm³ divided by the weight of the scooped soil",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// The customary error of one lab against itself: 8 %, or 0.05 pH.
const CUSTOM: Source = Source { publisher: "", title: "", year: 0, address: "", evidence: Evidence::CommonPractice };
