//! How many cores make one sample: from how much single cores differ and how near the mean is
//! wanted, and how many publishers ask for. It speaks of sampling only; what the laboratory adds
//! to the error no number of cores takes away.

use super::{
    reading::number,
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};
use statrs::distribution::{ContinuousCDF, StudentsT};

/// The formula with its worked figures.
pub const SUB_SAMPLES: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, chapter 2: number of sub-samples, n = (t × s ÷ E)²",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// Student's t that the publisher starts with, before the number of cores is known.
pub const FIRST_T: f64 = 2.0;

/// More cores than anybody takes for one sample; beyond it the wish cannot be met by coring.
pub const MOST: u32 = 500;

/// How many cores a publisher asks for in one composite sample.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Advised {
    pub least: u32,
    pub most: u32,
    /// What it is said for.
    pub words: &'static str,
    pub source: Source,
}

const fn advised(least: u32, most: u32, words: &'static str, publisher: &'static str, title: &'static str) -> Advised {
    let source = Source { publisher, title, year: 0, address: "", evidence: Evidence::Read };
    Advised { least, most, words, source }
}

/// What publishers ask for.
pub const ADVISED: &[Advised] = &[
    Advised { source: SUB_SAMPLES, ..advised(15, 30, "a composite sample", "", "") },
    Advised {
        source: Source {
            publisher: "Kansas State University",
            title: "The challenge of collecting a representative soil sample",
            year: 0,
            address: "https://eupdate.agronomy.ksu.edu/article/the-challenge-of-collecting-a-representative-soil-sample-665-7",
            evidence: Evidence::Read,
        },
        ..advised(20, 30, "a composite sample; 12 to 15 at the least", "", "")
    },
    advised(
        15,
        20,
        "a composite sample; with about 18 the error no longer falls much",
        "Oklahoma State University Extension",
        "How to get a good soil sample",
    ),
    advised(
        15,
        20,
        "a zone of a field; 8 to 10 around one point",
        "North Carolina Department of Agriculture",
        "Soil sampling",
    ),
    Advised {
        source: Source {
            publisher: "Indiana extension column, Newton County Enterprise",
            title: "10 to 20 cores to 6 in, in a clean bucket that is not galvanised",
            year: 0,
            address: "https://newsbug.info/newton_county_enterprise",
            evidence: Evidence::Read,
        },
        ..advised(10, 20, "a garden or a field, to 6 in (15 cm)", "", "")
    },
    Advised {
        source: Source {
            publisher: "United Kingdom, Sludge (Use in Agriculture) Regulations",
            title: "25 cores, to 25 cm",
            year: 1989,
            address: "",
            evidence: Evidence::Quoted,
        },
        ..advised(25, 25, "land that is to take sewage sludge, to 25 cm", "", "")
    },
];

/// How much single cores were found to differ, % of their mean: a spread to start from where
/// nobody measured it on this ground.
pub const FOUND_SPREAD: (f64, f64) = (18.0, 55.0);
/// How near a good protocol came there, %.
pub const GOOD_PROTOCOL: (f64, f64) = (15.0, 20.0);

/// Who found it.
pub const HILL_PASTURE: Source = Source {
    publisher: "A New Zealand study of hill pasture",
    title: "Coefficients of variation of 18 to 55 % between cores; a good protocol comes within 15 to 20 %",
    year: 0,
    address: "",
    evidence: Evidence::Quoted,
};

/// The fewest and the most cores that such a nearness takes there: the widest wish on the most
/// even ground, and the narrowest on the least.
pub fn found_cores() -> Result<(Cores, Cores), String> {
    Ok((cores(FOUND_SPREAD.0, GOOD_PROTOCOL.1)?, cores(FOUND_SPREAD.1, GOOD_PROTOCOL.0)?))
}

/// n = (t × s ÷ E)², before rounding up: s and E in one unit, or both in % of the mean.
/// `None` for figures that are not above zero.
pub fn formula(spread: f64, wanted: f64, t: f64) -> Option<f64> {
    let n = (t * spread / wanted).powi(2);
    (spread > 0.0 && wanted > 0.0 && t > 0.0 && n.is_finite()).then_some(n)
}

/// Student's t, two-sided, 95 %, for a number of cores; infinite for a single one.
pub fn students_t(cores: u32) -> f64 {
    match StudentsT::new(0.0, 1.0, f64::from(cores.max(1)) - 1.0) {
        Ok(t) => t.inverse_cdf(0.975),
        Err(_) => f64::INFINITY,
    }
}

/// A number of cores.
#[derive(Clone, Debug, PartialEq)]
pub struct Cores {
    /// The fewest that are enough.
    pub cores: u32,
    /// By the formula with t = 2, as the publisher starts: rounded up.
    pub at_first: u32,
    pub working: Working,
}

/// The fewest cores whose mean lies within `wanted` of the true one in 19 of 20 cases, both in %
/// of the mean: the formula with t for that very number of cores.
///
/// The publisher starts with t = 2 and repeats with the t of the number found; that swings around
/// the answer, so here the smallest number that satisfies its own t is taken.
pub fn cores(spread_percent: f64, wanted_percent: f64) -> Result<Cores, String> {
    if !(spread_percent.is_finite() && spread_percent > 0.0) {
        return Err("How much single cores differ is missing: type it in % of their mean, above 0.".into());
    }
    if !(wanted_percent.is_finite() && wanted_percent > 0.0) {
        return Err("How near the mean is wanted is missing: type it in % of the mean, above 0.".into());
    }
    let enough =
        |n: &u32| formula(spread_percent, wanted_percent, students_t(*n)).is_some_and(|need| need <= f64::from(*n));
    let Some(cores) = (2..=MOST).find(enough) else {
        return Err(format!(
            "Not even {MOST} cores bring the mean that near. Ask for less nearness, or part the ground into pieces that differ less within."
        ));
    };
    let t = students_t(cores);
    let need = formula(spread_percent, wanted_percent, t).unwrap_or(f64::from(cores));
    let at_first = formula(spread_percent, wanted_percent, FIRST_T).map_or(cores, |n| (n - 1e-9).ceil() as u32);
    let text = format!(
        "({} × {} ÷ {})² = {}, so {cores}",
        Figure::new(t, "", 2),
        number(spread_percent),
        number(wanted_percent),
        Figure::new(need, "", 1)
    );
    let inputs = [
        Working::leaf(
            "Single cores differ by (standard deviation)",
            Figure::new(spread_percent, "% of the mean", 0),
            Origin::Entered,
        ),
        Working::leaf("Wanted nearness", Figure::new(wanted_percent, "% of the mean", 0), Origin::Chosen),
        Working::leaf(
            format!("Student’s t for {cores} cores, two-sided, 95 %"),
            Figure::new(t, "", 2),
            Origin::Published,
        )
        .cite(SUB_SAMPLES),
    ];
    let working = Working::step("Cores for one sample", Figure::new(f64::from(cores), "cores", 0), text, inputs)
        .cite(SUB_SAMPLES)
        .note("The formula is for values that scatter evenly; nitrate and patchy ground do not, and want more.");
    Ok(Cores { cores, at_first, working })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_printed_example_and_its_repetition() {
        // SCMA chapter 2: s 6, E 4, t 2.0 gives 9; with t = 2.31 (8 degrees) 12.0.
        assert_eq!(formula(6.0, 4.0, FIRST_T), Some(9.0));
        assert!((students_t(9) - 2.306).abs() < 5e-4);
        assert!((formula(6.0, 4.0, students_t(9)).unwrap() - 12.0).abs() < 0.05);
        let found = cores(6.0, 4.0).unwrap();
        assert_eq!((found.at_first, found.cores), (9, 12));
        assert!(found.working.is_grounded());
    }

    #[test]
    fn nearer_never_takes_fewer_and_odd_wishes_get_a_sentence() {
        let mut before = 0;
        for wanted in [40.0, 20.0, 10.0, 5.0] {
            let now = cores(30.0, wanted).unwrap().cores;
            assert!(now >= before, "{wanted}");
            before = now;
        }
        assert!(cores(30.0, 1.0).unwrap_err().contains("Not even 500"));
        for (spread, wanted) in [(0.0, 10.0), (f64::NAN, 10.0), (30.0, 0.0), (30.0, f64::INFINITY)] {
            assert!(cores(spread, wanted).unwrap_err().contains("is missing"), "{spread} {wanted}");
        }
    }
}
