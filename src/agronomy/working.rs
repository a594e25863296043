//! The derivation of a number: what every figure on a page opens to.
//!
//! A working is a tree. Its leaves are printed cells, properties of the plot, constants
//! and choices made by a person; each step above names its formula, with the numbers
//! put in, and its source. Page, print and tests read the same tree, so what a person
//! can check is what the program did.

use super::{record::CellKey, source::Citation};
use serde::{Deserialize, Serialize};
use std::fmt;

/// A number as it is shown: value, unit, and no more decimals than it deserves.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Figure {
    pub value: f64,
    /// Empty for a bare number.
    pub unit: String,
    pub decimals: u8,
    /// "<" or ">" where the lab gave only a limit.
    #[serde(default)]
    pub sign: String,
}

impl Figure {
    /// A figure with a unit, shown with this many decimals.
    pub fn new(value: f64, unit: impl Into<String>, decimals: u8) -> Self {
        Figure { value, unit: unit.into(), decimals, sign: String::new() }
    }

    /// A figure shown with about `digits` significant digits, never in powers of ten.
    pub fn significant(value: f64, unit: impl Into<String>, digits: u8) -> Self {
        let whole = if value == 0.0 || !value.is_finite() { 0 } else { value.abs().log10().floor() as i32 };
        let decimals = (i32::from(digits) - 1 - whole).clamp(0, 6) as u8;
        Figure::new(value, unit, decimals)
    }
}

impl fmt::Display for Figure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{:.*}", self.sign, usize::from(self.decimals), self.value)?;
        if self.unit.is_empty() { Ok(()) } else { write!(f, "\u{a0}{}", self.unit) }
    }
}

/// Where a node's value comes from.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Origin {
    /// Worked out from the inputs below it.
    Computed,
    /// The lab's printed cell.
    Cell(CellKey),
    /// A property of the plot or sampling, as entered.
    Entered,
    /// A constant or a row of a published table.
    Published,
    /// A choice made by a person, with their reason in the notes.
    Chosen,
    /// A dose that the planner set; the plan itself says what it was weighed against.
    Planned,
}

/// One node of a derivation.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Working {
    /// What this number is: "Phosphorus found", "Soil in the layer".
    pub title: String,
    pub figure: Figure,
    pub origin: Origin,
    /// The step with its numbers put in: "200 lb/acre ÷ 2.242 = 89 kg/ha".
    pub formula: Option<String>,
    /// Why it was done this way; cautions about it.
    pub notes: Vec<String>,
    pub source: Option<Citation>,
    pub inputs: Vec<Working>,
}

impl Working {
    /// A leaf: a number that was not computed.
    pub fn leaf(title: impl Into<String>, figure: Figure, origin: Origin) -> Self {
        Working { title: title.into(), figure, origin, formula: None, notes: vec![], source: None, inputs: vec![] }
    }

    /// A step from inputs by a formula.
    pub fn step(
        title: impl Into<String>,
        figure: Figure,
        formula: impl Into<String>,
        inputs: impl IntoIterator<Item = Working>,
    ) -> Self {
        Working {
            title: title.into(),
            figure,
            origin: Origin::Computed,
            formula: Some(formula.into()),
            notes: vec![],
            source: None,
            inputs: inputs.into_iter().collect(),
        }
    }

    /// The same node, citing its source.
    pub fn cite(mut self, source: impl Into<Citation>) -> Self {
        self.source = Some(source.into());
        self
    }

    /// The same node with one more remark.
    pub fn note(mut self, note: impl Into<String>) -> Self {
        self.notes.push(note.into());
        self
    }

    /// Every printed cell that the number rests on, in order of appearance, each once.
    pub fn cells(&self) -> Vec<CellKey> {
        let mut found = Vec::new();
        self.visit(&mut |node| {
            if let Origin::Cell(key) = node.origin
                && !found.contains(&key)
            {
                found.push(key);
            }
        });
        found
    }

    /// Calls `see` for this node and then for all below it.
    pub fn visit(&self, see: &mut impl FnMut(&Working)) {
        see(self);
        for input in &self.inputs {
            input.visit(see);
        }
    }

    /// Whether every leaf is a cell, an entered property, a choice, a planned dose, or a cited constant:
    /// the promise that a careful person can check the number by hand.
    pub fn is_grounded(&self) -> bool {
        match self.origin {
            Origin::Computed => !self.inputs.is_empty() && self.inputs.iter().all(Working::is_grounded),
            Origin::Published => self.source.is_some(),
            Origin::Cell(_) | Origin::Entered | Origin::Chosen | Origin::Planned => true,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_keep_the_digits_asked_for() {
        for (value, digits, text) in [
            (1234.5, 3, "1234\u{a0}g"),
            (0.01234, 3, "0.0123\u{a0}g"),
            (9.87, 2, "9.9\u{a0}g"),
            (0.0, 3, "0.00\u{a0}g"),
        ] {
            assert_eq!(Figure::significant(value, "g", digits).to_string(), text);
        }
    }

    #[test]
    fn a_computed_number_without_inputs_is_not_grounded() {
        let leaf = Working::leaf("found", Figure::new(4.0, "mg/kg", 0), Origin::Cell(CellKey(7)));
        let step = Working::step("twice", Figure::new(8.0, "mg/kg", 0), "4 × 2 = 8", [leaf]);
        assert!(step.is_grounded());
        assert_eq!(step.cells(), [CellKey(7)]);
        assert!(!Working::step("thin air", Figure::new(8.0, "", 0), "8", []).is_grounded());
    }
}
