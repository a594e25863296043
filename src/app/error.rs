//! How a thing that a person tried can fail, and the collecting of what is wrong with a form.
//!
//! Every sentence in here is read by a person. Nothing in here shows SQL or a path.

use crate::store;
use jiff::civil::Date;
use std::{fmt, str::FromStr};

/// Why something was not done.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// The role does not allow it.
    #[error("You are not allowed to do this.")]
    Denied,
    /// There is no such thing; the word names what was looked for.
    #[error("There is no such {0}.")]
    NotFound(&'static str),
    /// The form has problems; nothing was saved.
    #[error("{0}")]
    Invalid(Problems),
    /// Somebody else changed it in the meantime; nothing was saved.
    #[error("{0}")]
    Conflict(String),
    /// The record was busy for too long.
    #[error("The record is busy. Please try again.")]
    Busy,
    /// A fault of ours or of the machine's; the text is for the log, never for a page.
    #[error("internal: {0}")]
    Internal(String),
}

/// Results of this layer.
pub type Result<T, E = Error> = std::result::Result<T, E>;

impl Error {
    /// One problem with one field.
    pub fn invalid(field: &str, message: impl Into<String>) -> Error {
        let mut problems = Problems::default();
        problems.add(field, message);
        Error::Invalid(problems)
    }
}

impl From<store::Error> for Error {
    fn from(error: store::Error) -> Self {
        match error {
            store::Error::Busy => Error::Busy,
            store::Error::Stale => {
                Error::Conflict("Somebody else changed this while you were writing. Your version is still here.".into())
            }
            other => Error::Internal(other.to_string()),
        }
    }
}

/// What is wrong with one field.
#[derive(Clone, Debug, PartialEq, Eq, serde::Serialize)]
pub struct Problem {
    /// The field's name in the form; empty for the form as a whole.
    pub field: String,
    /// A sentence.
    pub message: String,
}

/// All that is wrong with a form, collected so that a person sees it at once.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Problems(pub Vec<Problem>);

impl fmt::Display for Problems {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (i, problem) in self.0.iter().enumerate() {
            write!(f, "{}{}", if i == 0 { "" } else { " " }, problem.message)?;
        }
        Ok(())
    }
}

impl Problems {
    /// Adds a sentence for a field.
    pub fn add(&mut self, field: &str, message: impl Into<String>) {
        self.0.push(Problem { field: field.to_owned(), message: message.into() });
    }

    /// The first sentence for a field.
    pub fn of(&self, field: &str) -> Option<&str> {
        self.0.iter().find(|problem| problem.field == field).map(|problem| problem.message.as_str())
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Goes on only where nothing is wrong.
    pub fn none(self) -> Result<()> {
        if self.is_empty() { Ok(()) } else { Err(Error::Invalid(self)) }
    }

    /// A text that must not be empty, trimmed, of at most `most` characters.
    pub fn text(&mut self, field: &str, typed: &str, most: usize, missing: &str) -> String {
        let text = typed.trim();
        if text.is_empty() {
            self.add(field, missing);
        } else if text.chars().count() > most {
            self.add(field, format!("At most {most} characters, please."));
        }
        text.to_owned()
    }

    /// A plain decimal number within limits; empty or wrong adds a sentence and gives `None`.
    pub fn number(&mut self, field: &str, typed: &str, limits: Limits) -> Option<f64> {
        if typed.trim().is_empty() {
            self.add(field, format!("Give {}.", limits.what));
            return None;
        }
        self.optional_number(field, typed, limits)
    }

    /// The same where the field may stay empty.
    pub fn optional_number(&mut self, field: &str, typed: &str, limits: Limits) -> Option<f64> {
        if typed.trim().is_empty() {
            return None;
        }
        match decimal(typed) {
            Some(n) if limits.allow(n) => Some(n),
            Some(_) => {
                self.add(field, format!("“{}” cannot be right: {} is {}.", typed.trim(), limits.what, limits.words()));
                None
            }
            None => {
                self.add(
                    field,
                    format!("“{}” is not a number. Give {}, such as 12.5 or 12,5.", typed.trim(), limits.what),
                );
                None
            }
        }
    }

    /// A date written as YYYY-MM-DD.
    pub fn date(&mut self, field: &str, typed: &str) -> Option<Date> {
        if typed.trim().is_empty() {
            self.add(field, "Give a date.");
            return None;
        }
        self.optional_date(field, typed)
    }

    /// The same where the field may stay empty.
    pub fn optional_date(&mut self, field: &str, typed: &str) -> Option<Date> {
        let typed = typed.trim();
        if typed.is_empty() {
            return None;
        }
        let date = typed.parse().ok().filter(|date: &Date| (1800..=2200).contains(&date.year()));
        if date.is_none() {
            self.add(field, format!("“{typed}” is not a date. Write it as 2026-03-21."));
        }
        date
    }

    /// A date that is not in the future.
    pub fn past_date(&mut self, field: &str, typed: &str, today: Date) -> Option<Date> {
        let date = self.date(field, typed)?;
        if date > today {
            self.add(field, format!("{date} is in the future."));
            return None;
        }
        Some(date)
    }

    /// One of a list of keyed words.
    pub fn one_of<T: FromStr>(&mut self, field: &str, typed: &str) -> Option<T>
    where
        T::Err: fmt::Display,
    {
        typed.trim().parse().map_err(|e| self.add(field, format!("{e}."))).ok()
    }

    /// Takes over a problem made by [`Error::Invalid`], or passes any other error on.
    pub fn merge(&mut self, error: Error) -> Result<()> {
        match error {
            Error::Invalid(more) => {
                self.0.extend(more.0);
                Ok(())
            }
            other => Err(other),
        }
    }
}

/// What a number in a form may be.
#[derive(Clone, Copy, Debug)]
pub struct Limits {
    /// With its article and unit: "the area in m²".
    pub what: &'static str,
    /// Smallest value; excluded where `above` is set.
    pub least: f64,
    /// Whether `least` itself is refused.
    pub above: bool,
    /// Largest value, allowed.
    pub most: f64,
}

impl Limits {
    /// More than `least`, at most `most`.
    pub const fn above(least: f64, most: f64, what: &'static str) -> Limits {
        Limits { what, least, above: true, most }
    }

    /// From `least` to `most`, both allowed.
    pub const fn from(least: f64, most: f64, what: &'static str) -> Limits {
        Limits { what, least, above: false, most }
    }

    fn allow(self, n: f64) -> bool {
        n.is_finite() && n <= self.most && if self.above { n > self.least } else { n >= self.least }
    }

    fn words(self) -> String {
        let from = if self.above { format!("more than {}", self.least) } else { format!("{} or more", self.least) };
        format!("{from} and at most {}", self.most)
    }
}

/// Reads a plain decimal number with a point or a comma; no exponent, no grouping, so
/// that "1.2.3", "NaN" and "1e400" are not numbers and "1,000.5" is not guessed at.
pub fn decimal(typed: &str) -> Option<f64> {
    let plain = typed.trim().replace(',', ".");
    let digits = plain.strip_prefix(['-', '+', '−']).unwrap_or(&plain);
    let well_formed = digits.chars().all(|c| c.is_ascii_digit() || c == '.')
        && digits.chars().filter(|c| *c == '.').count() <= 1
        && digits.chars().any(|c| c.is_ascii_digit());
    if !well_formed {
        return None;
    }
    let size: f64 = digits.parse().ok()?;
    let negative = plain.len() > digits.len() && !plain.starts_with('+');
    Some(if negative { -size } else { size }).filter(|n| n.is_finite())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_plain_numbers_are_numbers() {
        for (typed, number) in [("12.5", 12.5), (" 0,5 ", 0.5), ("-3", -3.0), ("+.5", 0.5), ("7.", 7.0)] {
            assert_eq!(decimal(typed), Some(number), "{typed}");
        }
        for typed in ["", "1.2.3", "1,000.5", "NaN", "inf", "1e400", "<0.1", "ND", "--1", ".", "12 m"] {
            assert_eq!(decimal(typed), None, "{typed}");
        }
    }

    #[test]
    fn a_number_out_of_limits_gets_a_sentence_by_its_field() {
        let mut problems = Problems::default();
        let area = Limits::above(0.0, 1e8, "the area in m²");
        assert_eq!(problems.number("area_m2", "0", area), None);
        assert!(problems.of("area_m2").is_some_and(|s| s.contains("more than 0")), "{problems}");
        assert_eq!(problems.number("other", "12,5", area), Some(12.5));
        assert_eq!(problems.of("other"), None);
    }
}
