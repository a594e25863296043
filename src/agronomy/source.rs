//! Who says so: the citation that every constant, table and rule carries.

use serde::{Deserialize, Serialize};
use std::fmt;

/// How well a figure is known to us.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Evidence {
    /// Seen in a copy of the source.
    Read,
    /// Seen quoted by somebody else; the source itself not seen.
    Quoted,
    /// Computed here from a definition or from figures that were read.
    Derived,
    /// Customary in the trade; no source to cite.
    CommonPractice,
    /// Set by the people who keep this record, on nobody's authority but their own.
    OwnJudgement,
    /// Recalled and not checked against the source: marked on screen, off by default.
    Memory,
}

impl Evidence {
    /// The words shown beside a figure of this standing.
    pub const fn words(self) -> &'static str {
        match self {
            Evidence::Read => "read in the source",
            Evidence::Quoted => "read where another quotes it",
            Evidence::Derived => "computed here",
            Evidence::CommonPractice => "common practice, no source",
            Evidence::OwnJudgement => "own judgement",
            Evidence::Memory => "from memory, unverified",
        }
    }
}

/// A citation. `year` 0 means that the source gives none; `address` may be empty.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Source {
    pub publisher: &'static str,
    pub title: &'static str,
    pub year: u16,
    pub address: &'static str,
    pub evidence: Evidence,
}

/// A citation read from a data file, or made from a [`Source`]; what a working carries.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Citation {
    pub publisher: String,
    pub title: String,
    #[serde(default)]
    pub year: u16,
    #[serde(default)]
    pub address: String,
    pub evidence: Evidence,
}

impl From<Source> for Citation {
    fn from(source: Source) -> Self {
        Citation {
            publisher: source.publisher.to_owned(),
            title: source.title.to_owned(),
            year: source.year,
            address: source.address.to_owned(),
            evidence: source.evidence,
        }
    }
}

impl fmt::Display for Citation {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.evidence {
            Evidence::CommonPractice if self.publisher.is_empty() => f.write_str(self.evidence.words()),
            _ => {
                write!(f, "{}, {}", self.publisher, self.title)?;
                if self.year > 0 {
                    write!(f, " ({})", self.year)?;
                }
                if self.evidence != Evidence::Read {
                    write!(f, " [{}]", self.evidence.words())?;
                }
                Ok(())
            }
        }
    }
}

impl fmt::Display for Source {
    /// As its [`Citation`].
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        Citation::from(self.clone()).fmt(f)
    }
}
