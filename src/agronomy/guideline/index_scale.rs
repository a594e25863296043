//! An index that a publisher prints in the place of a concentration, and what one point of it
//! is worth: North Carolina prints P-I 45, not mg/dm³. An index is not a concentration, and the
//! points of two nutrients are not alike.

use crate::agronomy::source::Citation;

/// What one point of an index stands for, in the unit of the rule that is printed in it.
#[derive(Clone, Debug, PartialEq)]
pub struct IndexScale {
    /// The concentration of one point; above zero.
    pub per_point: f64,
    pub source: Citation,
}
