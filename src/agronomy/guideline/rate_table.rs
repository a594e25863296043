//! A published table of rates: one rate for each class or index of the soil test. The columns
//! are kept as printed; one that stands for several of our classes ("4 and higher", "2" where
//! the halves 2- and 2+ are told apart) says which it covers.

use super::Index;
use std::{fmt, str::FromStr};

/// A column of a rate table.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Column {
    /// A class by its words, "Low", or one half of an index, "2+".
    Class(String),
    /// A whole index, with its halves.
    Index(u8),
    /// An index and every higher one.
    AndHigher(u8),
}

impl Column {
    /// Whether a class of the guideline falls into this column.
    pub fn covers(&self, class: &str) -> bool {
        let index = || class.parse::<Index>().ok();
        match self {
            Column::Class(name) => name == class,
            Column::Index(number) => index().is_some_and(|index| index.number() == *number),
            Column::AndHigher(number) => index().is_some_and(|index| index.number() >= *number),
        }
    }
}

impl FromStr for Column {
    type Err = String;

    /// Reads "2", "2+", "4 and higher", "Low".
    fn from_str(text: &str) -> Result<Column, String> {
        let text = text.trim();
        if text.is_empty() {
            return Err("a column has no heading".into());
        }
        if let Some(number) = text.strip_suffix("and higher") {
            let number = number.trim();
            return number.parse().map(Column::AndHigher).map_err(|_| format!("“{number}” is not an index"));
        }
        Ok(text.parse().map_or_else(|_| Column::Class(text.to_owned()), Column::Index))
    }
}

impl fmt::Display for Column {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Column::Class(name) => f.write_str(name),
            Column::Index(number) => write!(f, "{number}"),
            Column::AndHigher(number) => write!(f, "{number} and higher"),
        }
    }
}

/// One line of a table: a rate for each column, in the printed unit.
#[derive(Clone, Debug, PartialEq)]
pub struct RateTable {
    pub columns: Vec<Column>,
    /// As many as there are columns; none below zero.
    pub printed: Vec<f64>,
}

impl RateTable {
    /// The column and the rate for a class; `None` where the table has no column for it.
    pub fn at(&self, class: &str) -> Option<(&Column, f64)> {
        let (column, rate) = self.columns.iter().zip(&self.printed).find(|(column, _)| column.covers(class))?;
        Some((column, *rate))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_column_covers_what_its_heading_says() {
        for (column, covered, not) in [
            ("2", &["2", "2-", "2+"][..], &["1", "3", "12"][..]),
            ("2+", &["2+"], &["2-", "2", "3"]),
            ("4 and higher", &["4", "5", "9"], &["3", "2+", "High"]),
            ("Low", &["Low"], &["low", "Very low"]),
        ] {
            let read: Column = column.parse().unwrap();
            assert_eq!(read.to_string(), column);
            assert!(covered.iter().all(|class| read.covers(class)), "{column}");
            assert!(!not.iter().any(|class| read.covers(class)), "{column}");
        }
        assert!("many and higher".parse::<Column>().is_err());
    }
}
