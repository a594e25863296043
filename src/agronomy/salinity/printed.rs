//! Salts that a sheet prints in ppm: a conductivity times a factor that publishers do not agree
//! on and sheets seldom name. What can be said is the range that the conductivity lies in; the
//! conductivity itself is what a record keeps.

use crate::agronomy::{
    quantity::DsPerM,
    source::{Evidence, Source},
};

/// mg/L of salts that a publisher counts for 1 dS/m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SaltFactor {
    /// Key in examples.
    pub by: &'static str,
    pub ppm_per_ds_per_m: f64,
    pub source: Source,
}

/// The factors known here.
pub const SALT_FACTORS: &[SaltFactor] = &[
    SaltFactor {
        by: "oklahoma",
        ppm_per_ds_per_m: 650.0,
        source: Source {
            publisher: "Oklahoma State University Extension",
            title: "Classification of salt-affected soils: 4,000 µmho/cm is 2,600 ppm",
            year: 0,
            address: "",
            evidence: Evidence::Read,
        },
    },
    SaltFactor {
        by: "knott",
        ppm_per_ds_per_m: 700.0,
        source: Source {
            publisher: "Knott’s handbook, read at ECHO",
            title: "1,000 µmho/cm is about 700 ppm of salts",
            year: 0,
            address: "",
            evidence: Evidence::Read,
        },
    },
    SaltFactor {
        by: "customary",
        ppm_per_ds_per_m: 640.0,
        source: Source {
            publisher: "No publication at hand",
            title: "1 dS/m taken for 640 ppm of salts",
            year: 0,
            address: "",
            evidence: Evidence::Memory,
        },
    },
];

impl SaltFactor {
    /// Finds a factor by its key.
    pub fn find(by: &str) -> Option<SaltFactor> {
        SALT_FACTORS.iter().copied().find(|factor| factor.by == by)
    }

    /// The ppm that this publisher would print for a conductivity.
    pub fn ppm(&self, ec: DsPerM) -> f64 {
        ec.0 * self.ppm_per_ds_per_m
    }

    /// The conductivity behind this publisher's ppm.
    pub fn conductivity(&self, ppm: f64) -> DsPerM {
        DsPerM(ppm / self.ppm_per_ds_per_m)
    }
}

/// The least and the greatest conductivity that ppm of salts may have been made from.
pub fn behind_ppm(ppm: f64) -> (DsPerM, DsPerM) {
    let all = SALT_FACTORS.iter().map(|factor| factor.conductivity(ppm).0);
    (DsPerM(all.clone().fold(f64::INFINITY, f64::min)), DsPerM(all.fold(0.0, f64::max)))
}

/// Why salts in ppm are not read as a conductivity, and what to ask the laboratory for.
pub fn why_not_read(ppm: f64) -> String {
    let (low, high) = behind_ppm(ppm);
    format!(
        "Salts in ppm were made from a conductivity by a factor that publishers do not agree on (640 to 700 for each dS/m): \
         this may have been {:.2} to {:.2} dS/m. Ask the laboratory for the conductivity itself, and type that",
        low.0, high.0
    )
}
