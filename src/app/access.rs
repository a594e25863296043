//! Who acts, and what their role lets them do.
//!
//! A role that is too low is [`Error::Denied`]; a thing that does not exist is
//! [`Error::NotFound`]. Whoever may not even read learns nothing about what exists,
//! because the role is asked first.

use super::{Error, Result};
use crate::{agronomy::liking::Liking, ids::PersonId};

pub use crate::store::people::Role;

/// A signed-in person, acting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    pub person: PersonId,
    pub name: String,
    pub role: Role,
    /// How they like to read levels and needs.
    pub liking: Liking,
}

impl Actor {
    /// Goes on only where the actor's role is at least this.
    pub fn may(&self, least: Role) -> Result<()> {
        if self.role >= least { Ok(()) } else { Err(Error::Denied) }
    }
}

/// Turns "no such row" into [`Error::NotFound`], naming what was looked for.
pub(super) fn found<T>(row: Option<T>, what: &'static str) -> Result<T> {
    row.ok_or(Error::NotFound(what))
}
