//! What a result by one extract might have been by another, by equations that somebody found on
//! the soils of one region: the one table of them. They disagree with each other, and none may
//! be run backwards or one after the other. An estimate explains a difference; it never stands
//! for a result, is never held against limits, and never enters a need.

use super::{element::Element, method::Method, source::Citation};
use serde::Deserialize;
use std::{collections::BTreeMap, sync::LazyLock};

/// A published straight line between two extracts, mg/kg to mg/kg.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// Key in examples: who found it.
    pub by: String,
    pub element: Element,
    pub from: Method,
    pub to: Method,
    pub slope: f64,
    pub intercept: f64,
    /// The least that it gives: as printed, else 0.
    pub floor: f64,
    /// Water pH from the first, up to but not including the second; `None`: any.
    pub ph: Option<(f64, f64)>,
    /// As the publisher has it.
    pub printed: String,
    pub source: Citation,
}

impl Line {
    /// The estimate, mg/kg; never below the floor.
    pub fn at(&self, mg_per_kg: f64) -> f64 {
        (self.slope * mg_per_kg + self.intercept).max(self.floor)
    }

    /// Whether the line itself lies below what it gives.
    pub fn is_floored(&self, mg_per_kg: f64) -> bool {
        self.slope * mg_per_kg + self.intercept < self.floor
    }

    fn holds_at(&self, ph: Option<f64>) -> bool {
        self.ph.is_none_or(|(low, high)| ph.is_some_and(|ph| (low..high).contains(&ph)))
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    source: BTreeMap<String, Citation>,
    line: Vec<Printed>,
}

/// A line as the data file has it; the slope is given in one of two ways.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Printed {
    source: String,
    element: Element,
    from: Method,
    to: Method,
    times: Option<f64>,
    over: Option<f64>,
    #[serde(default)]
    plus: f64,
    #[serde(default)]
    at_least: f64,
    ph: Option<(f64, f64)>,
    printed: String,
}

impl Printed {
    fn read(self, sources: &BTreeMap<String, Citation>) -> Result<Line, String> {
        let source = sources.get(&self.source).cloned().ok_or_else(|| format!("no source “{}”", self.source))?;
        let slope = match (self.times, self.over) {
            (Some(times), None) => times,
            (None, Some(over)) => 1.0 / over,
            _ => return Err(format!("{}: one of `times` and `over`", self.printed)),
        };
        Ok(Line {
            by: self.source,
            element: self.element,
            from: self.from,
            to: self.to,
            slope,
            intercept: self.plus,
            floor: self.at_least,
            ph: self.ph,
            printed: self.printed,
            source,
        })
    }
}

/// Reads a file of lines; the sentence names what is wrong with it.
pub fn parse(toml: &str) -> Result<Vec<Line>, String> {
    let file: File = toml::from_str(toml).map_err(|e| e.to_string())?;
    file.line.into_iter().map(|line| line.read(&file.source)).collect()
}

/// The lines known here, in the order of the file. For one pair of tests they disagree, which is
/// why all are shown.
pub fn all() -> &'static [Line] {
    static LINES: LazyLock<Vec<Line>> =
        LazyLock::new(|| parse(include_str!("estimate/lines.toml")).unwrap_or_default()); // read by a test below
    &LINES
}

/// The lines from one extract to any other that hold at this pH; a line that asks for a pH is
/// left out where none was read.
pub fn lines_from<'a>(
    element: Element,
    from: &'a Method,
    ph: Option<f64>,
) -> impl Iterator<Item = &'static Line> + use<'a> {
    all().iter().filter(move |line| line.element == element && line.from == *from && line.holds_at(ph))
}

/// The lines from one extract to another that hold at this pH.
pub fn lines<'a>(
    element: Element,
    from: &'a Method,
    to: &'a Method,
    ph: Option<f64>,
) -> impl Iterator<Item = &'static Line> + use<'a> {
    lines_from(element, from, ph).filter(move |line| line.to == *to)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::carbonate::PH_WITH_LIME;

    #[test]
    fn every_line_is_read_names_known_extracts_and_goes_one_way() {
        let lines = parse(include_str!("estimate/lines.toml")).unwrap();
        assert_eq!(lines.len(), 12);
        for line in &lines {
            assert!(!matches!(&line.from, Method::Other(_)) && !matches!(&line.to, Method::Other(_)), "{line:?}");
            assert!(line.slope > 0.0 && line.floor >= 0.0 && !line.source.title.is_empty(), "{line:?}");
            let back = |other: &&Line| other.element == line.element && other.from == line.to && other.to == line.from;
            assert_eq!(lines.iter().find(back), None);
        }
        let calcium = lines.iter().find(|line| line.element == Element::Ca).unwrap();
        assert_eq!(calcium.ph, Some((0.0, PH_WITH_LIME)));
    }

    #[test]
    fn a_file_that_gives_no_slope_or_no_source_is_told() {
        let text = "[source.a]\npublisher = \"a\"\ntitle = \"b\"\nevidence = \"read\"\n[[line]]\nsource = \"a\"\n\
                    element = \"P\"\nfrom = \"olsen\"\nto = \"bray1\"\nprinted = \"x\"\n";
        assert!(parse(text).unwrap_err().contains("one of `times` and `over`"));
        let text = text.replace("source = \"a\"", "source = \"b\"");
        assert!(parse(&format!("{text}times = 1.0\n")).unwrap_err().contains("no source “b”"));
    }
}
