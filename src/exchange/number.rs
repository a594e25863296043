//! Numbers and dates as people and labs write them: understood, questioned or refused.
//!
//! Every refusal is a sentence for the person who typed, and carries what was typed. A
//! reading that is not the only possible one is never taken silently: either it comes back
//! with the words of what was understood, or as a question that names both readings.

use crate::agronomy::{
    amendment::{MOST_NEUTRALISING, MOST_SOURING},
    record::{PrintedValue, Qualifier},
};
use jiff::civil::Date;
use std::fmt;

/// Longest cell that is taken for a number at all, in characters.
const LONGEST: usize = 48;
/// No measurement of soil, mass or money here is larger.
const LARGEST: f64 = 1e12;

/// What is wrong with a typed number or date.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kind {
    /// Nothing was typed where something is needed.
    Missing,
    /// It cannot be read as a number or date.
    NotRead,
    /// Two readings are possible; [`NumberProblem::readings`] holds both.
    Ambiguous,
    /// Below zero where that cannot be.
    Negative,
    /// Read, and outside the limits of its field.
    OutOfRange,
    /// A date after today.
    Future,
}

/// A refusal or a question, as a sentence by the field.
#[derive(Clone, Debug, PartialEq)]
pub struct NumberProblem {
    /// Exactly what was typed.
    pub typed: String,
    pub kind: Kind,
    /// What to tell the person.
    pub sentence: String,
    /// The possible readings of an ambiguous number, written with a decimal point.
    pub readings: Vec<String>,
}

impl NumberProblem {
    fn new(typed: &str, kind: Kind, sentence: impl Into<String>) -> Self {
        NumberProblem { typed: typed.to_owned(), kind, sentence: sentence.into(), readings: vec![] }
    }
}

impl fmt::Display for NumberProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentence)
    }
}

impl std::error::Error for NumberProblem {}

/// A lab cell, read.
#[derive(Clone, Debug, PartialEq)]
pub enum Cell {
    /// Nothing printed: no result, which is neither zero nor "not detected".
    Empty,
    /// A result.
    Value {
        printed: PrintedValue,
        /// What was made of the text where that is not plain, to be shown beside it.
        understood: Option<String>,
    },
}

impl Cell {
    /// The result, unless the cell is empty.
    pub fn printed(self) -> Option<PrintedValue> {
        match self {
            Cell::Empty => None,
            Cell::Value { printed, .. } => Some(printed),
        }
    }

    /// What was understood, where that needs saying.
    pub fn understood(&self) -> Option<&str> {
        match self {
            Cell::Value { understood, .. } => understood.as_deref(),
            Cell::Empty => None,
        }
    }
}

/// Reads one cell of a lab's sheet: "14", "0,5", "<0.1", ">250", "ND", or nothing.
///
/// Below zero is refused: no analyte here can be negative.
pub fn parse_printed(text: &str) -> Result<Cell, NumberProblem> {
    let shown = tidy(text);
    if shown.is_empty() {
        return Ok(Cell::Empty);
    }
    let lower = shown.to_lowercase();
    if is_not_detected(&lower) {
        let printed =
            PrintedValue { text: text.to_owned(), qualifier: Qualifier::NotDetected, value: None, decimals: 0 };
        return Ok(Cell::Value { printed, understood: Some("not detected, no limit printed".into()) });
    }
    if matches!(lower.as_str(), "-" | "--" | "na" | "n/a" | "n.a." | "nil" | "none" | ".") {
        return Err(NumberProblem::new(
            text,
            Kind::NotRead,
            format!(
                "“{shown}” can mean “not tested” or “none found”: leave the cell empty if it was not tested, write ND if none was found"
            ),
        ));
    }
    let (qualifier, rest) = split_sign(&shown);
    let number = plain(text, rest)?;
    if number.value < 0.0 {
        return Err(NumberProblem::new(text, Kind::Negative, format!("“{shown}” is below 0, which no lab can find")));
    }
    if qualifier == Qualifier::Below && number.value == 0.0 {
        return Err(NumberProblem::new(
            text,
            Kind::NotRead,
            format!("“{shown}” says less than nothing: write the lab's limit after the <, or ND"),
        ));
    }
    let understood = match (qualifier, shown.starts_with(['<', '>'])) {
        (Qualifier::Below, false) => Some(format!("below {}", number.written)),
        (Qualifier::Above, false) => Some(format!("above {}", number.written)),
        _ => number.understood,
    };
    let printed =
        PrintedValue { text: text.to_owned(), qualifier, value: Some(number.value), decimals: number.decimals };
    Ok(Cell::Value { printed, understood })
}

/// Trims, and writes every minus sign as "-".
fn tidy(text: &str) -> String {
    text.trim_matches(is_space)
        .chars()
        .map(|c| if matches!(c, '\u{2212}' | '\u{2010}' | '\u{2011}' | '–' | '—' | '﹣' | '－') { '-' } else { c })
        .collect()
}

/// Spaces, thin and unbreakable ones too, and the marks that spreadsheets leave behind.
fn is_space(c: char) -> bool {
    c.is_whitespace() || matches!(c, '\u{200b}' | '\u{2060}' | '\u{feff}')
}

/// The ways in which labs print "we looked and found none".
fn is_not_detected(lower: &str) -> bool {
    let letters: String = lower.chars().filter(|c| !is_space(*c) && *c != '.').collect();
    matches!(
        letters.as_str(),
        "nd" | "trace"
            | "traces"
            | "tr"
            | "bdl"
            | "<dl"
            | "<lod"
            | "<loq"
            | "<mdl"
            | "lod"
            | "notdetected"
            | "belowdetection"
            | "belowdetectionlimit"
    )
}

/// Takes "<", "≤", ">=" and the like off the front.
fn split_sign(shown: &str) -> (Qualifier, &str) {
    for (sign, qualifier) in [
        ("<=", Qualifier::Below),
        ("=<", Qualifier::Below),
        ("≤", Qualifier::Below),
        ("<", Qualifier::Below),
        (">=", Qualifier::Above),
        ("=>", Qualifier::Above),
        ("≥", Qualifier::Above),
        (">", Qualifier::Above),
    ] {
        if let Some(rest) = shown.strip_prefix(sign) {
            return (qualifier, rest.trim_start_matches(is_space));
        }
    }
    (Qualifier::Exact, shown)
}

/// A number without qualifier.
struct Plain {
    value: f64,
    decimals: u8,
    /// The number with a decimal point and nothing else.
    written: String,
    understood: Option<String>,
}

/// Reads a bare number; `typed` is the whole cell, for the sentence.
fn plain(typed: &str, rest: &str) -> Result<Plain, NumberProblem> {
    let cell = tidy(typed);
    let refuse = |sentence: String| Err(NumberProblem::new(typed, Kind::NotRead, sentence));
    if cell.chars().count() > LONGEST {
        return refuse("That is too long for a number".into());
    }
    let lower = rest.to_lowercase();
    if matches!(lower.trim_start_matches(['-', '+']), "nan" | "inf" | "infinity" | "∞") {
        return refuse(format!("“{cell}” is not a number that can be measured"));
    }
    let (negative, body) = match rest.strip_prefix('-') {
        Some(body) => (true, body.trim_start_matches(is_space)),
        None => (false, rest.strip_prefix('+').unwrap_or(rest)),
    };
    let Some(last_digit) = body.rfind(|c: char| c.is_ascii_digit()) else {
        return refuse(format!("“{cell}” is not a number"));
    };
    // A single separator may close the number ("5."); anything else after it is a mark or a unit.
    let tail = body[last_digit + 1..].trim_matches(is_space);
    let mark = tail.strip_prefix(['.', ',']).unwrap_or(tail).trim_matches(is_space);
    if !mark.is_empty() {
        let number = &body[..=last_digit];
        let is_flag = mark.chars().count() <= 2 && mark != "%";
        return refuse(if is_flag {
            format!("“{cell}” has “{mark}” after the number: type {number} alone, and keep the lab's mark in the notes")
        } else {
            format!("“{cell}” has “{mark}” after the number: type {number} alone; the unit has its own place")
        });
    }
    let (mantissa, exponent) = match body[..=last_digit].split_once(['e', 'E']) {
        None => (&body[..=last_digit], 0_i32),
        Some((mantissa, exponent)) => match exponent.parse::<i32>() {
            Ok(exponent) if exponent.abs() <= 12 => (mantissa, exponent),
            Ok(_) => return refuse(format!("“{cell}” is too large or too small to be measured")),
            Err(_) => return refuse(format!("“{cell}” is not a number")),
        },
    };
    let separated = separators(typed, &cell, mantissa, negative)?;
    let written = if exponent == 0 { separated.written.clone() } else { format!("{}e{exponent}", separated.written) };
    let value: f64 = match written.parse() {
        Ok(value) => value,
        Err(_) => return refuse(format!("“{cell}” is not a number")),
    };
    if !value.is_finite() || value > LARGEST {
        return refuse(format!("“{cell}” is too large to be measured"));
    }
    let decimals = (i32::try_from(separated.decimals).unwrap_or(0) - exponent).clamp(0, 30) as u8;
    let sign = if negative { "-" } else { "" };
    Ok(Plain {
        value: if negative { -value } else { value },
        decimals,
        understood: separated.unusual.then(|| format!("read as {sign}{written}")),
        written: format!("{sign}{written}"),
    })
}

/// A mantissa with its separators understood.
struct Separated {
    /// Digits with a decimal point, no grouping.
    written: String,
    decimals: usize,
    /// Whether a comma was taken for the decimal sign or anything was taken for grouping.
    unusual: bool,
}

/// Understands commas, points, spaces and apostrophes between digits.
fn separators(typed: &str, cell: &str, mantissa: &str, negative: bool) -> Result<Separated, NumberProblem> {
    let refuse = |sentence: String| Err(NumberProblem::new(typed, Kind::NotRead, sentence));
    let is_group_mark = |c: char| is_space(c) || matches!(c, '\'' | '’');
    if let Some(odd) = mantissa.chars().find(|c| !c.is_ascii_digit() && !matches!(c, '.' | ',') && !is_group_mark(*c)) {
        return refuse(match odd {
            '-' => format!("“{cell}” looks like a range: a result is one number"),
            '<' | '>' | '≤' | '≥' => format!("“{cell}” has “{odd}” in the middle"),
            _ => format!("“{cell}” is not a number: “{odd}” has no place in one"),
        });
    }
    let spaced = mantissa.contains(is_group_mark);
    let points = mantissa.matches('.').count();
    let commas = mantissa.matches(',').count();
    let decimal_at = match (points, commas) {
        (0, 0) => None,
        (1, 0) => mantissa.find('.'),
        (0, 1) => {
            let at = mantissa.find(',').unwrap_or(0);
            let (before, after) = (&mantissa[..at], &mantissa[at + 1..]);
            // "1,234" is one thousand or one and a bit; "0,234", "1234,5" and "12,34" can only be decimals.
            if !spaced && after.len() == 3 && (1..=3).contains(&before.len()) && !before.starts_with('0') {
                let sign = if negative { "-" } else { "" };
                let readings = vec![format!("{sign}{before}{after}"), format!("{sign}{before}.{after}")];
                return Err(NumberProblem {
                    typed: typed.to_owned(),
                    kind: Kind::Ambiguous,
                    sentence: format!(
                        "“{cell}” can be read as {} or as {}: type it without the comma, or with a point",
                        readings[0], readings[1]
                    ),
                    readings,
                });
            }
            Some(at)
        }
        // Two different signs: the last is the decimal one, if the other groups thousands properly.
        (1, _) if mantissa.rfind('.') > mantissa.rfind(',') => mantissa.rfind('.'),
        (_, 1) if mantissa.rfind(',') > mantissa.rfind('.') => mantissa.rfind(','),
        (0, _) => None,
        _ => return refuse(format!("“{cell}” has {points} decimal points")),
    };
    let (whole, fraction) = match decimal_at {
        Some(at) => (&mantissa[..at], &mantissa[at + 1..]),
        None => (mantissa, ""),
    };
    if !fraction.chars().all(|c| c.is_ascii_digit()) {
        return refuse(format!("“{cell}” is broken up after the decimal sign"));
    }
    let groups: Vec<&str> = whole.split(|c: char| matches!(c, '.' | ',') || is_group_mark(c)).collect();
    let mut marks = whole.chars().filter(|c| !c.is_ascii_digit());
    let first_mark = marks.next();
    let one_mark = marks.all(|c| Some(c) == first_mark);
    let well_grouped = groups.len() == 1
        || one_mark && (1..=3).contains(&groups[0].len()) && groups[1..].iter().all(|group| group.len() == 3);
    if !well_grouped {
        return refuse(format!("“{cell}” is not a number: its thousands are not set apart in threes"));
    }
    let digits = groups.concat();
    if digits.is_empty() && fraction.is_empty() {
        return refuse(format!("“{cell}” is not a number"));
    }
    let digits = if digits.is_empty() { "0".to_owned() } else { digits };
    let written = if fraction.is_empty() { digits } else { format!("{digits}.{fraction}") };
    Ok(Separated {
        written,
        decimals: fraction.len(),
        unusual: groups.len() > 1 || decimal_at.is_some_and(|at| mantissa[at..].starts_with(',')),
    })
}

/// What a field takes.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Limits {
    /// The thing with its article, as a sentence starts: "An area".
    pub what: &'static str,
    /// Its unit as shown; may be empty.
    pub unit: &'static str,
    pub low: Low,
    /// The most that makes sense.
    pub at_most: f64,
    /// The most decimals that make sense.
    pub decimals: u8,
}

/// The lower limit of a field.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Low {
    /// Must be above this.
    Above(f64),
    /// May be this or more.
    AtLeast(f64),
}

impl Limits {
    /// Area of a plot, m²: up to 10,000 ha.
    pub const AREA_M2: Limits =
        Limits { what: "An area", unit: "m²", low: Low::Above(0.0), at_most: 1e8, decimals: 3 };
    /// Mass of a dose or an application, g: up to 1,000 t.
    pub const MASS_G: Limits = Limits { what: "A mass", unit: "g", low: Low::Above(0.0), at_most: 1e9, decimals: 3 };
    /// Fresh mass of a harvest, kg; 0 says that nothing was carried away.
    pub const HARVEST_KG: Limits =
        Limits { what: "A harvest", unit: "kg", low: Low::AtLeast(0.0), at_most: 1e9, decimals: 3 };
    /// An element in a harvested crop, kg in a tonne fresh: seeds reach 60.
    pub const KG_PER_T: Limits =
        Limits { what: "A removal figure", unit: "kg/t", low: Low::AtLeast(0.0), at_most: 100.0, decimals: 6 };
    /// Mass of a pack, kg.
    pub const PACK_KG: Limits = Limits { what: "A pack", unit: "kg", low: Low::Above(0.0), at_most: 1e6, decimals: 4 };
    /// Stock on hand, g.
    pub const STOCK_G: Limits = Limits { what: "Stock", unit: "g", low: Low::AtLeast(0.0), at_most: 1e9, decimals: 3 };
    /// A price in whole units of the currency.
    pub const MONEY: Limits = Limits { what: "A price", unit: "", low: Low::AtLeast(0.0), at_most: 1e7, decimals: 2 };
    /// A depth, cm.
    pub const DEPTH_CM: Limits =
        Limits { what: "A depth", unit: "cm", low: Low::Above(0.0), at_most: 300.0, decimals: 1 };
    /// The upper edge of a depth band, cm.
    pub const TOP_CM: Limits =
        Limits { what: "The top of a layer", unit: "cm", low: Low::AtLeast(0.0), at_most: 300.0, decimals: 1 };
    /// Bulk density, g/cm³: nothing that grows crops is heavier than 2.2.
    pub const BULK_DENSITY: Limits =
        Limits { what: "A bulk density", unit: "g/cm³", low: Low::Above(0.0), at_most: 2.2, decimals: 3 };
    /// A neutralising value, % of pure calcium carbonate; what sours has one below zero, typed with a minus.
    pub const NEUTRALISING: Limits = Limits {
        what: "A neutralising value",
        unit: "%",
        low: Low::AtLeast(MOST_SOURING),
        at_most: MOST_NEUTRALISING,
        decimals: 2,
    };
    /// A share, %.
    pub const PERCENT: Limits =
        Limits { what: "A share", unit: "%", low: Low::AtLeast(0.0), at_most: 100.0, decimals: 6 };
}

/// A number within the limits of its field.
#[derive(Clone, Debug, PartialEq)]
pub struct Quantity {
    pub value: f64,
    pub decimals: u8,
    /// What was made of the text where that is not plain, to be shown beside it.
    pub understood: Option<String>,
}

/// Reads an area, a mass, a price or the like, within limits.
pub fn parse_quantity(text: &str, limits: &Limits) -> Result<Quantity, NumberProblem> {
    let shown = tidy(text);
    let problem = |kind, sentence| Err(NumberProblem::new(text, kind, sentence));
    if shown.is_empty() {
        return problem(Kind::Missing, format!("{} is needed here", limits.what));
    }
    if !matches!(split_sign(&shown).0, Qualifier::Exact) {
        return problem(Kind::NotRead, format!("{} must be a plain number, without a sign before it", limits.what));
    }
    let number = plain(text, &shown)?;
    let unit = if limits.unit.is_empty() { String::new() } else { format!("\u{a0}{}", limits.unit) };
    let (too_low, floor) = match limits.low {
        Low::Above(low) => (number.value <= low, format!("must be above {low}")),
        Low::AtLeast(low) => (number.value < low, format!("must be {low} or more")),
    };
    if too_low {
        let kind = if number.value < 0.0 { Kind::Negative } else { Kind::OutOfRange };
        return problem(kind, format!("{} {floor}", limits.what));
    }
    if number.value > limits.at_most {
        return problem(Kind::OutOfRange, format!("{} must be {}{unit} or less", limits.what, limits.at_most));
    }
    if number.decimals > limits.decimals {
        let places = if limits.decimals == 1 { "decimal" } else { "decimals" };
        return problem(Kind::OutOfRange, format!("{} takes {} {places} at most", limits.what, limits.decimals));
    }
    Ok(Quantity { value: number.value, decimals: number.decimals, understood: number.understood })
}

/// [`parse_quantity`] for a field that may be left empty.
pub fn parse_optional(text: &str, limits: &Limits) -> Result<Option<Quantity>, NumberProblem> {
    if tidy(text).is_empty() { Ok(None) } else { parse_quantity(text, limits).map(Some) }
}

/// Reads a price into minor units (cents, pence): at most two decimals.
pub fn parse_money(text: &str) -> Result<i64, NumberProblem> {
    parse_quantity(text, &Limits::MONEY).map(|price| (price.value * 100.0).round() as i64)
}

/// Reads a date written year-month-day, not after `today` and not before 1800.
pub fn parse_date(text: &str, today: Date) -> Result<Date, NumberProblem> {
    let shown = tidy(text);
    let problem = |kind, sentence: String| Err(NumberProblem::new(text, kind, sentence));
    if shown.is_empty() {
        return problem(Kind::Missing, "A date is needed here".into());
    }
    let parts: Vec<&str> = shown.split(['-', '/', '.']).map(|part| part.trim_matches(is_space)).collect();
    let is_number = |part: &&str| !part.is_empty() && part.len() <= 4 && part.chars().all(|c| c.is_ascii_digit());
    let [first, second, third] = parts[..] else {
        return problem(Kind::NotRead, format!("“{shown}” is not a date: write year-month-day, like {today}"));
    };
    if !parts.iter().all(is_number) {
        return problem(Kind::NotRead, format!("“{shown}” is not a date: write year-month-day, like {today}"));
    }
    let number = |part: &str| part.parse::<i16>().unwrap_or(-1);
    if first.len() != 4 {
        // Day first or month first: never guessed.
        let candidates: Vec<Date> = [(second, first), (first, second)]
            .into_iter()
            .filter(|_| third.len() == 4)
            .filter_map(|(month, day)| civil(number(third), number(month), number(day)))
            .collect();
        return match candidates[..] {
            [one, other] if one != other => Err(NumberProblem {
                typed: text.to_owned(),
                kind: Kind::Ambiguous,
                sentence: format!("“{shown}” can be {one} or {other}: write year-month-day"),
                readings: vec![one.to_string(), other.to_string()],
            }),
            [one, ..] => problem(Kind::NotRead, format!("Write the date as year-month-day: {one}")),
            [] => problem(Kind::NotRead, format!("“{shown}” is not a date: write year-month-day, like {today}")),
        };
    }
    let Some(date) = civil(number(first), number(second), number(third)) else {
        return problem(Kind::NotRead, format!("“{shown}” is not in the calendar"));
    };
    if date > today {
        return problem(Kind::Future, format!("{date} has not come yet; today is {today}"));
    }
    if date.year() < 1800 {
        return problem(Kind::OutOfRange, format!("{date} is before 1800"));
    }
    Ok(date)
}

fn civil(year: i16, month: i16, day: i16) -> Option<Date> {
    Date::new(year, i8::try_from(month).ok()?, i8::try_from(day).ok()?).ok()
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    fn value(text: &str) -> PrintedValue {
        parse_printed(text).unwrap_or_else(|p| panic!("{text:?}: {p}")).printed().unwrap_or_else(|| panic!("{text:?}"))
    }

    #[test]
    fn plain_numbers_keep_their_text_and_decimals() {
        for (text, number, decimals) in [
            ("14", 14.0, 0),
            ("6.50", 6.5, 2),
            (" 0.05 ", 0.05, 2),
            (".5", 0.5, 1),
            ("5.", 5.0, 0),
            ("+3.2", 3.2, 1),
            ("1.234", 1.234, 3),
            ("1.5E-2", 0.015, 3),
            ("2e3", 2000.0, 0),
            ("\u{feff}12\u{a0}", 12.0, 0),
        ] {
            let printed = value(text);
            assert_eq!((printed.value, printed.decimals), (Some(number), decimals), "{text:?}");
            assert_eq!(printed.text, text);
            assert_eq!(parse_printed(text).unwrap().understood(), None, "{text:?}");
        }
    }

    #[test]
    fn commas_and_grouping_are_understood_aloud_where_only_one_reading_exists() {
        for (text, number, said) in [
            ("0,5", 0.5, "read as 0.5"),
            ("12,34", 12.34, "read as 12.34"),
            ("0,123", 0.123, "read as 0.123"),
            ("1234,567", 1234.567, "read as 1234.567"),
            ("1,234.5", 1234.5, "read as 1234.5"),
            ("1.234,5", 1234.5, "read as 1234.5"),
            ("1,234,567", 1_234_567.0, "read as 1234567"),
            ("1\u{2009}234", 1234.0, "read as 1234"),
            ("12\u{202f}345,6", 12_345.6, "read as 12345.6"),
            ("1'234.5", 1234.5, "read as 1234.5"),
            ("≤ 0.1", 0.1, "below 0.1"),
            ("≥250", 250.0, "above 250"),
        ] {
            let cell = parse_printed(text).unwrap();
            assert_eq!(cell.understood(), Some(said), "{text:?}");
            assert_eq!(cell.printed().unwrap().value, Some(number), "{text:?}");
        }
    }

    #[test]
    fn a_lone_comma_before_three_digits_is_a_question() {
        let problem = parse_printed("1,234").unwrap_err();
        assert_eq!(problem.kind, Kind::Ambiguous);
        assert_eq!(problem.readings, ["1234", "1.234"]);
        assert!(problem.sentence.contains("1234") && problem.sentence.contains("1.234"));
        assert_eq!(parse_printed("<1,234").unwrap_err().kind, Kind::Ambiguous);
    }

    #[test]
    fn limits_and_absence_are_results_of_their_own() {
        for (text, qualifier, number) in [
            ("<0.1", Qualifier::Below, Some(0.1)),
            ("< 0,1", Qualifier::Below, Some(0.1)),
            (">250", Qualifier::Above, Some(250.0)),
            ("ND", Qualifier::NotDetected, None),
            ("n.d.", Qualifier::NotDetected, None),
            ("Trace", Qualifier::NotDetected, None),
            ("BDL", Qualifier::NotDetected, None),
            ("not detected", Qualifier::NotDetected, None),
            ("0", Qualifier::Exact, Some(0.0)),
        ] {
            let printed = value(text);
            assert_eq!((printed.qualifier, printed.value), (qualifier, number), "{text:?}");
        }
        for text in ["", "  ", "\u{a0}", "\t"] {
            assert_eq!(parse_printed(text), Ok(Cell::Empty), "{text:?}");
        }
    }

    #[test]
    fn everything_else_is_refused_with_a_sentence_that_keeps_what_was_typed() {
        for (text, hint) in [
            ("1.2.3", "2 decimal points"),
            ("1,2,3", "thousands"),
            ("-3", "below 0"),
            ("\u{2212}3", "below 0"),
            ("NaN", "not a number"),
            ("inf", "not a number"),
            ("1e400", "too large"),
            ("12*", "“*” after the number"),
            ("12 H", "“H” after the number"),
            ("3.1L", "“L” after the number"),
            ("14 ppm", "the unit has its own place"),
            ("5-10", "a range"),
            ("abc", "not a number"),
            ("<", "not a number"),
            ("<0", "less than nothing"),
            ("-", "not tested"),
            ("1 2", "thousands"),
            ("1..2", "decimal points"),
            ("1/2", "no place"),
            ("٣", "not a number"),
        ] {
            let problem = parse_printed(text).expect_err(text);
            assert!(problem.sentence.contains(hint), "{text:?}: {}", problem.sentence);
            assert_eq!(problem.typed, text);
        }
    }

    #[test]
    fn fields_have_limits_in_words() {
        let area = |text| parse_quantity(text, &Limits::AREA_M2);
        assert_eq!(area("0").unwrap_err().sentence, "An area must be above 0");
        assert_eq!(area("-2").unwrap_err().sentence, "An area must be above 0");
        assert_eq!(area("").unwrap_err().kind, Kind::Missing);
        assert_eq!(area("12,5").unwrap().value, 12.5);
        assert_eq!(area("<5").unwrap_err().kind, Kind::NotRead);
        assert!(area("1e12").unwrap_err().sentence.contains("or less"));
        assert_eq!(parse_money("12,50").unwrap(), 1250);
        assert!(parse_money("1.999").unwrap_err().sentence.contains("2 decimals"));
        assert_eq!(parse_optional(" ", &Limits::DEPTH_CM), Ok(None));
    }

    #[test]
    fn dates_are_never_guessed() {
        let today = date(2026, 3, 9);
        assert_eq!(parse_date("2026-03-09", today), Ok(today));
        assert_eq!(parse_date(" 1843-10-01 ", today), Ok(date(1843, 10, 1)));
        assert_eq!(parse_date("2026-03-10", today).unwrap_err().kind, Kind::Future);
        assert!(parse_date("2025-02-30", today).unwrap_err().sentence.contains("not in the calendar"));
        let two = parse_date("03/04/2025", today).unwrap_err();
        assert_eq!(two.readings, ["2025-04-03", "2025-03-04"]);
        assert!(parse_date("25/12/2024", today).unwrap_err().sentence.contains("2024-12-25"));
        for bad in ["", "soon", "2025", "2025-13-01", "99999-01-01", "1700-01-01", "2025-1-1-1", "１-2-2025"] {
            assert!(parse_date(bad, today).is_err(), "{bad:?}");
        }
    }
}
