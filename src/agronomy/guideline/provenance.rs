//! Where a table beside the limits comes from, whether it speaks, and whether somebody changed it.

use super::Changed;
use crate::agronomy::source::{Citation, Evidence};
use serde::{Deserialize, Serialize};

/// What every table carries besides its figures.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Provenance {
    pub source: Citation,
    /// The slug of the set that prints it; differs from the guideline's own in a copy.
    pub set: String,
    /// Tables known only from memory are off unless switched on.
    pub in_force: bool,
    /// A person switched it off; switching on what is from memory leaves it so.
    pub off: bool,
    /// In a copy: who changed it, and what its publisher had printed.
    pub changed: Option<Changed>,
}

impl Provenance {
    pub(super) fn new(source: Citation, set: &str, in_force: Option<bool>, changed: Option<Changed>) -> Provenance {
        let memory = source.evidence == Evidence::Memory;
        let set = set.to_owned();
        Provenance { in_force: in_force.unwrap_or(!memory), off: in_force == Some(false), source, set, changed }
    }

    /// Switches it on where it is known only from memory and nobody switched it off.
    pub(super) fn switch_on(&mut self) {
        self.in_force |= !self.off;
    }
}
