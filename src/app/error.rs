//! How a thing that a person tried can fail, and the collecting of what is wrong with a form.
//!
//! Every sentence in here is read by a person. Nothing in here shows SQL or a path.

use crate::{
    exchange::number::{self, NumberProblem},
    store,
};
use jiff::{SignedDuration, civil::Date};
use std::{fmt, str::FromStr};

pub use crate::exchange::number::Limits;

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
    /// Too many passwords were tried for a name; the next is looked at after this long.
    #[error(
        "Too many passwords were tried for this name, so it has to wait. Try again in {}; trying before that makes it \
         neither shorter nor longer.", in_minutes(.0)
    )]
    TooManyTries(SignedDuration),
    /// The record was busy for too long.
    #[error("The record is busy. Please try again.")]
    Busy,
    /// A fault of ours or of the machine's; the text is for the log, never for a page.
    #[error("internal: {0}")]
    Internal(String),
}

/// Results of this layer.
pub type Result<T, E = Error> = std::result::Result<T, E>;

/// "4 minutes", never less than one.
fn in_minutes(wait: &SignedDuration) -> String {
    match (wait.as_secs() + 59) / 60 {
        ..=1 => "a minute".into(),
        minutes => format!("{minutes} minutes"),
    }
}

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

    /// A number within the limits of its field; empty or wrong adds a sentence and gives `None`.
    pub fn number(&mut self, field: &str, typed: &str, limits: &Limits) -> Option<f64> {
        let read = number::parse_quantity(typed, limits);
        self.take(field, read).map(|quantity| quantity.value)
    }

    /// The same where the field may stay empty.
    pub fn optional_number(&mut self, field: &str, typed: &str, limits: &Limits) -> Option<f64> {
        let read = number::parse_optional(typed, limits);
        self.take(field, read).flatten().map(|quantity| quantity.value)
    }

    /// A price in minor units of the currency, where the field may stay empty.
    pub fn optional_money(&mut self, field: &str, typed: &str) -> Option<i64> {
        if typed.trim().is_empty() {
            return None;
        }
        let read = number::parse_money(typed);
        self.take(field, read)
    }

    /// A date, today or before.
    pub fn past_date(&mut self, field: &str, typed: &str, today: Date) -> Option<Date> {
        let read = number::parse_date(typed, today);
        self.take(field, read)
    }

    /// A date, also one to come.
    pub fn date(&mut self, field: &str, typed: &str, today: Date) -> Option<Date> {
        let read = number::parse_date(typed, today).or_else(|problem| match problem.kind {
            number::Kind::Future => number::parse_date(typed, FAR),
            _ => Err(problem),
        });
        self.take(field, read)
    }

    /// The same where the field may stay empty.
    pub fn optional_date(&mut self, field: &str, typed: &str, today: Date) -> Option<Date> {
        if typed.trim().is_empty() { None } else { self.date(field, typed, today) }
    }

    /// A reading that failed with a sentence of its own.
    pub fn take<T>(&mut self, field: &str, read: Result<T, NumberProblem>) -> Option<T> {
        read.map_err(|problem| self.add(field, format!("{}.", problem.sentence.trim_end_matches('.')))).ok()
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

/// The last date that a form takes.
const FAR: Date = jiff::civil::date(2199, 12, 31);

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_odd_entry_gets_a_sentence_by_its_field() {
        let mut problems = Problems::default();
        for typed in ["0", "-1", "1.2.3", "NaN", "1e400", "<0.1", "ND", ""] {
            assert_eq!(problems.number(typed, typed, &Limits::AREA_M2), None, "{typed}");
            assert!(problems.of(typed).is_some_and(|sentence| sentence.ends_with('.')), "{typed}: {problems}");
        }
        assert_eq!(problems.number("comma", "12,5", &Limits::AREA_M2), Some(12.5));
        assert_eq!(problems.of("comma"), None);
    }

    #[test]
    fn dates_to_come_are_taken_only_where_they_make_sense() {
        let today = jiff::civil::date(2026, 3, 21);
        let mut problems = Problems::default();
        assert_eq!(problems.past_date("applied_on", "2026-03-22", today), None);
        assert!(problems.of("applied_on").is_some());
        assert_eq!(problems.date("starts_on", "2026-03-22", today), Some(jiff::civil::date(2026, 3, 22)));
        assert_eq!(problems.date("odd", "2026-02-30", today), None);
        assert!(problems.of("starts_on").is_none() && problems.of("odd").is_some());
    }
}
