//! What happens where printed bands do not meet edge to edge. Decided once, here:
//!
//! - a value lies in a band by its figure at the printed precision, so 25.4 is 25 where whole
//!   numbers are printed, and "25 / 26" leaves no hole;
//! - a value printed in two bands ("26-50, 50-100") belongs to the lower, as bands that end on a
//!   round number nearly always mean it;
//! - a value printed in none ("<1, >1") belongs to the higher: the lower band says that it ends below.
//!
//! A row of a set may settle its own seam otherwise, with the reason.

use serde::{Deserialize, Serialize};

/// What was decided where two printed bands overlap or leave a hole.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Seam {
    pub at: f64,
    /// The class that the value goes to.
    pub class: String,
    pub why: String,
}

/// How two neighbouring bands fail to meet, by one value at the printed precision.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Misfit {
    /// The value ends the lower band and begins the higher.
    Shared,
    /// The value lies between them, in neither.
    Hole,
}

impl Misfit {
    /// The seam by the rule of the house.
    pub fn settle(self, at: f64, lower: &str, higher: &str) -> Seam {
        let (class, why) = match self {
            Misfit::Shared => {
                (lower, format!("{at} is printed in “{lower}” and in “{higher}”; it is read as the lower."))
            }
            Misfit::Hole => {
                (higher, format!("{at} is printed neither in “{lower}” nor in “{higher}”; it is read as the higher."))
            }
        };
        Seam { at, class: class.to_owned(), why }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_in_two_bands_is_the_lower_and_one_in_none_the_higher() {
        assert_eq!(Misfit::Shared.settle(50.0, "2", "3").class, "2");
        assert_eq!(Misfit::Hole.settle(1.0, "low", "high").class, "high");
    }
}
