//! Signs of free lime and of salts: what makes acid and neutral extractions over-read the
//! bases. Signs only; it never corrects a number and never estimates how much lime there is.

use super::{
    analyte::Analyte,
    ground::Cover,
    method::Method,
    reading::{Level, Reading},
    record::{CellKey, Fizz, FizzAcid, FizzClass, Qualifier, Sampling},
    source::{Citation, Evidence, Source},
};

/// From this pH in water calcium by Mehlich-3 departs from calcium by acetate.
pub const PH_WITH_LIME: f64 = 7.3;
/// Above this, % CaCO₃, neutral acetate over-reads calcium.
pub const CARBONATE_PERCENT: f64 = 0.5;
/// From this conductivity of the saturated paste, dS/m, a soil is called saline.
pub const SALINE_PASTE_DS_PER_M: f64 = 4.0;
/// From this conductivity of a 1:5 extract, dS/m, on soil of 20 to 40 % clay only tolerant plants are safe.
pub const SALINE_1TO5_DS_PER_M: f64 = 0.45;

/// pH from which Mehlich-3 calcium is not to be used.
pub const PH_BREAK: Source = Source {
    publisher: "Kansas Agricultural Experiment Station",
    title: "Research Reports 7(8), article 3 (abstract): calcium by Mehlich-3 and by ammonium acetate diverges from pH 7.3 upwards",
    year: 2021,
    address: "https://newprairiepress.org/kaesrr/vol7/iss8/3/",
    evidence: Evidence::Read,
};

/// Carbonate from which neutral acetate over-reads calcium, and what a higher pH of the extractant does.
pub const ACETATE_AND_LIME: Source = Source {
    publisher: "Normandin et al., Communications in Soil Science and Plant Analysis 29",
    title: "Modification of the ammonium acetate extractant for the determination of exchangeable cations in calcareous soils, pp. 1785–1791 (abstract)",
    year: 1998,
    address: "https://doi.org/10.1080/00103629809370069",
    evidence: Evidence::Read,
};

/// The classes of the field acid test.
pub const FIZZ_CLASSES: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, method 19D1, table 19.4",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// Neutral acetate and carbonate; the pre-washed alkaline chloride as the preferred method.
pub const ALKALINE_EXTRACTION: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, methods 15C1 and 15D1",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// pH in calcium chloride lies 0.5 to 1.0 below pH in water.
pub const PH_IN_SALT: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, chapter on soil pH",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// Where a soil is called saline.
pub const SALINE: Source = Source {
    publisher: "Oklahoma State University Extension",
    title: "Classification of salt-affected soils (saline from 4 dS/m in the saturation extract)",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// Conductivity classes of the 1:5 extract by clay.
pub const SALINE_1TO5: Source = Source {
    publisher: "Rayment & Lyons, CSIRO Publishing",
    title: "Soil Chemical Methods – Australasia, table 3.1",
    year: 2011,
    address: "https://github.com/ANZSoilData/def-au-scma",
    evidence: Evidence::Read,
};

/// What speaks for free lime, and for salts, in one sampling.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Signs {
    /// Each sign of free lime, as a sentence.
    pub reasons: Vec<String>,
    /// Each sign of salts that inflate the bases, as a sentence.
    pub salts: Vec<String>,
    /// What was looked at and proves nothing, or was not looked at.
    pub cautions: Vec<String>,
    /// The printed cells that the signs rest on.
    pub cells: Vec<CellKey>,
    /// The publications that the signs rest on, each once.
    pub sources: Vec<Citation>,
}

impl Signs {
    /// Whether there is any sign of free lime.
    pub fn calcareous(&self) -> bool {
        !self.reasons.is_empty()
    }

    /// Whether there is any sign of salts.
    pub fn salty(&self) -> bool {
        !self.salts.is_empty()
    }

    /// Whether bases by an acid or neutral extraction, their sum and their shares over-read here.
    pub fn inflates_bases(&self) -> bool {
        self.calcareous() || self.salty()
    }

    fn cite(&mut self, source: Source) {
        let citation = Citation::from(source);
        if !self.sources.contains(&citation) {
            self.sources.push(citation);
        }
    }
}

/// What one table takes a fizz with 1 M hydrochloric acid for, % of carbonate as CaCO₃: from and
/// to, `None` for no upper end. A hint and no test: grain and mineral change how it fizzes, the
/// printed ranges leave holes, and other countries' tables give the same words other figures.
pub const fn fizz_percent(class: FizzClass) -> (f64, Option<f64>) {
    match class {
        FizzClass::None => (0.0, Some(0.0)),
        FizzClass::VerySlight => (1.0, Some(5.0)),
        FizzClass::Slight => (6.0, Some(10.0)),
        FizzClass::Strong => (10.0, Some(15.0)),
        FizzClass::Violent => (15.0, None),
    }
}

/// The hint of [`fizz_percent`] as a sentence; `None` with another acid, or where nothing fizzed.
pub fn fizz_hint(fizz: Fizz) -> Option<String> {
    if fizz.acid != FizzAcid::Hydrochloric1M || fizz.class == FizzClass::None {
        return None;
    }
    let range = match fizz_percent(fizz.class) {
        (from, Some(to)) => format!("about {from} to {to}\u{a0}%"),
        (from, None) => format!("more than {from}\u{a0}%"),
    };
    Some(format!(
        "One table takes that for {range} of carbonate ({}); a hint and no test, for coarse lime and dolomite fizz less.",
        Citation::from(FIZZ_CLASSES)
    ))
}

/// Whether an extraction leaves most free lime alone.
pub fn is_alkaline(method: &Method) -> bool {
    matches!(method, Method::AmmoniumAcetate82 | Method::AmmoniumAcetate85 | Method::AmmoniumChloride85)
}

/// Gathers the signs of lime and of salts in a sampling and its readings.
pub fn signs(sampling: &Sampling, readings: &[Reading], cover: Option<Cover>) -> Signs {
    let mut signs = Signs::default();
    fizz(&mut signs, sampling);
    for reading in readings {
        let sign = match reading.analyte {
            Analyte::Ph => ph(&mut signs, reading),
            Analyte::Carbonate => carbonate(&mut signs, reading),
            Analyte::Conductivity => salts(&mut signs, reading),
            _ => false,
        };
        if sign {
            signs.cells.push(reading.cell);
        }
    }
    let covered = matches!(cover, Some(Cover::Tunnel | Cover::Glasshouse));
    if covered && !readings.iter().any(|r| r.analyte == Analyte::Conductivity) {
        signs.cautions.push(
            "Under cover no rain washes salts down, and the sheet has no conductivity: salts may inflate the bases unseen"
                .into(),
        );
    }
    signs
}

fn fizz(signs: &mut Signs, sampling: &Sampling) {
    let Some(fizz) = sampling.fizz else { return };
    match (fizz.class, fizz.acid) {
        (FizzClass::None, FizzAcid::Hydrochloric1M) => {}
        (FizzClass::None, acid) => signs.cautions.push(format!(
            "No fizz with {} proves nothing: it is too weak, or unknown; test with 1 M hydrochloric acid",
            acid.label()
        )),
        (class, acid) => {
            signs.reasons.push(format!("It fizzes with {}: {}", acid.label(), class.label()));
            signs.cite(FIZZ_CLASSES);
        }
    }
}

fn ph(signs: &mut Signs, reading: &Reading) -> bool {
    let (Level::Ph(ph), false) = (reading.level, reading.qualifier == Qualifier::Below) else { return false };
    let in_salt = matches!(reading.method, Method::PhCalciumChloride | Method::PhPotassiumChloride);
    if ph >= PH_WITH_LIME {
        signs.reasons.push(format!("pH {} is {PH_WITH_LIME} or more", reading.figure()));
        signs.cite(PH_BREAK);
        return true;
    }
    // A salt solution reads at least 0.5 lower, so the same soil in water is at the break or above it.
    if in_salt && ph + 0.5 >= PH_WITH_LIME {
        signs.cautions.push(format!(
            "pH {} was read {}, 0.5 to 1.0 below water: in water it would be about {PH_WITH_LIME} or more; test with acid",
            reading.figure(),
            reading.method.label().to_lowercase()
        ));
        signs.cite(PH_IN_SALT);
    }
    false
}

fn carbonate(signs: &mut Signs, reading: &Reading) -> bool {
    let (Level::Percent(percent), false) = (reading.level, reading.qualifier == Qualifier::Below) else { return false };
    let over = percent.0 > CARBONATE_PERCENT || reading.qualifier == Qualifier::Above && percent.0 >= CARBONATE_PERCENT;
    if over {
        signs.reasons.push(format!("{} of carbonate as CaCO₃ is above {CARBONATE_PERCENT}\u{a0}%", reading.figure()));
        signs.cite(ACETATE_AND_LIME);
    }
    over
}

fn salts(signs: &mut Signs, reading: &Reading) -> bool {
    let (Level::DsPerM(ec), false) = (reading.level, reading.qualifier == Qualifier::Below) else { return false };
    // More water only thins the solution: what is saline at 1:1 or 1:2 is more so in the paste.
    let (limit, source) = match reading.method {
        Method::EcPaste | Method::SaturationExtract | Method::Ec1to1 | Method::Ec1to2 => {
            (SALINE_PASTE_DS_PER_M, SALINE)
        }
        Method::Ec1to5 => (SALINE_1TO5_DS_PER_M, SALINE_1TO5),
        _ => return false,
    };
    let salty = ec.0 >= limit;
    if salty {
        signs.salts.push(format!(
            "Conductivity {} ({}) is {limit}\u{a0}dS/m or more: salts add to the bases found",
            reading.figure(),
            reading.method.label().to_lowercase()
        ));
        signs.cite(source);
    }
    salty
}
