//! What the catalogue says of a product's standing under organic rules: shown, never counted.

use crate::agronomy::source::{Citation, Evidence};
use serde::{Deserialize, Serialize};
use std::fmt;

/// Standing under organic rules, in neutral words: the certifier decides.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ListStatus {
    /// "US 7 CFR 205.601(j)".
    pub scheme: String,
    /// "listed", "restricted" or "not listed", with the condition printed.
    pub status: String,
    pub source: Citation,
}

impl fmt::Display for ListStatus {
    /// "EU 2021/1165 annex II: listed [from memory, unverified]".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.scheme, self.status)?;
        if self.source.evidence == Evidence::Read { Ok(()) } else { write!(f, " [{}]", self.source.evidence.words()) }
    }
}
