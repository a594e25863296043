//! One CSV file of a record set, by named columns: RFC 4180, UTF-8, with or without a byte
//! order mark, parted by commas, semicolons or tabs.
//!
//! Nothing fails as a whole: what cannot be read becomes an [`ImportProblem`] with its line
//! and column, and reading goes on. A cell is never guessed at and never dropped unsaid.

use super::{FileSpec, ImportProblem};
use crate::exchange::number::{Limits, parse_date, parse_optional, parse_quantity};
use csv::{ReaderBuilder, StringRecord};
use jiff::{ToSpan, civil::Date};
use std::{cell::RefCell, collections::BTreeMap, str::FromStr};

/// Problems named one by one; past this only their number is told.
const PROBLEMS_MAX: usize = 500;

/// Collects what is wrong with the files of a set.
#[derive(Debug, Default)]
pub(super) struct Problems {
    listed: Vec<ImportProblem>,
    unlisted: BTreeMap<&'static str, usize>,
}

impl Problems {
    pub(super) fn add(&mut self, file: &'static str, line: u64, column: &str, message: impl Into<String>) {
        if self.listed.len() < PROBLEMS_MAX {
            self.listed.push(ImportProblem { file: file.into(), line, column: column.into(), message: message.into() });
        } else {
            *self.unlisted.entry(file).or_default() += 1;
        }
    }

    pub(super) fn finish(mut self) -> Vec<ImportProblem> {
        for (file, more) in self.unlisted {
            let message = format!("{more} more problems in this file are not listed");
            self.listed.push(ImportProblem { file: file.into(), line: 0, column: String::new(), message });
        }
        self.listed
    }
}

/// The cells of one line, asked for by the column's name.
pub(super) struct Row<'a> {
    table: &'a Table<'a>,
    record: &'a StringRecord,
    pub(super) line: u64,
    problems: &'a RefCell<Problems>,
    today: Date,
}

/// The head of a file: where each column stands.
struct Table<'a> {
    spec: &'a FileSpec,
    places: BTreeMap<String, usize>,
}

impl Row<'_> {
    /// The cell without the spaces around it; empty where the column or the cell is missing.
    pub(super) fn text(&self, column: &str) -> &str {
        self.table.places.get(column).and_then(|at| self.record.get(*at)).map_or("", str::trim)
    }

    /// The columns present.
    pub(super) fn columns(&self) -> impl Iterator<Item = &str> {
        self.table.places.keys().map(String::as_str)
    }

    /// Says what is wrong with a cell.
    pub(super) fn problem(&self, column: &str, message: impl Into<String>) {
        self.problems.borrow_mut().add(self.table.spec.name, self.line, column, message);
    }

    /// A cell that must not be empty.
    pub(super) fn needed(&self, column: &str) -> Option<&str> {
        let text = self.text(column);
        if text.is_empty() {
            self.problem(column, "nothing is written here, and it is needed");
            return None;
        }
        Some(text)
    }

    fn told<T, E: std::fmt::Display>(&self, column: &str, result: Result<T, E>) -> Option<T> {
        result.map_err(|problem| self.problem(column, problem.to_string())).ok()
    }

    /// A number that must be there.
    pub(super) fn number(&self, column: &str, limits: &Limits) -> Option<f64> {
        self.told(column, parse_quantity(self.text(column), limits)).map(|quantity| quantity.value)
    }

    /// A number that may be missing: `Some(None)` where the cell is empty, `None` where it cannot be read.
    pub(super) fn number_if_any(&self, column: &str, limits: &Limits) -> Option<Option<f64>> {
        self.told(column, parse_optional(self.text(column), limits)).map(|found| found.map(|quantity| quantity.value))
    }

    /// A date that must be there.
    pub(super) fn date(&self, column: &str) -> Option<Date> {
        self.told(column, parse_date(self.text(column), self.today))
    }

    /// A date that may lie ahead, such as the end of a season: up to ten years.
    pub(super) fn date_ahead(&self, column: &str) -> Option<Date> {
        let horizon = self.today.saturating_add(10.years());
        self.told(column, parse_date(self.text(column), horizon))
    }

    /// A date that may be missing, as [`Row::number_if_any`].
    pub(super) fn date_if_any(&self, column: &str) -> Option<Option<Date>> {
        if self.text(column).is_empty() { Some(None) } else { self.date(column).map(Some) }
    }

    /// A key of the record ("sandy_loam", "open"); an empty cell takes `default` where there is one.
    pub(super) fn key<T: FromStr<Err = String>>(&self, column: &str, default: Option<T>) -> Option<T> {
        match (self.text(column), default) {
            ("", Some(default)) => Some(default),
            _ => self.needed(column).and_then(|text| self.told(column, text.parse())),
        }
    }

    /// A key that may be missing.
    pub(super) fn key_if_any<T: FromStr<Err = String>>(&self, column: &str) -> Option<Option<T>> {
        match self.text(column) {
            "" => Some(None),
            text => self.told(column, text.parse()).map(Some),
        }
    }

    /// "yes" or "no"; empty is no.
    pub(super) fn yes(&self, column: &str) -> Option<bool> {
        match self.text(column).to_lowercase().as_str() {
            "" | "no" | "n" | "0" | "false" => Some(false),
            "yes" | "y" | "1" | "true" => Some(true),
            other => {
                self.problem(column, format!("“{other}” is neither yes nor no"));
                None
            }
        }
    }
}

/// Reads a file line by line, handing each to `take`, which says what is wrong with it.
pub(super) fn each_row(
    spec: &'static FileSpec,
    bytes: &[u8],
    today: Date,
    problems: &RefCell<Problems>,
    mut take: impl FnMut(&Row),
) {
    let add = |line: u64, column: &str, message: String| problems.borrow_mut().add(spec.name, line, column, message);
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    if let Err(broken) = std::str::from_utf8(bytes) {
        let line = 1 + bytes[..broken.valid_up_to()].iter().filter(|b| **b == b'\n').count() as u64;
        add(line, "", "this line is not UTF-8 text: save the file again as “CSV UTF-8”".into());
        return;
    }
    let mut reader =
        ReaderBuilder::new().delimiter(delimiter(bytes)).flexible(true).has_headers(false).from_reader(bytes);
    let mut record = StringRecord::new();
    match reader.read_record(&mut record) {
        Ok(true) => {}
        Ok(false) => return add(1, "", "the file is empty: its first line names the columns".into()),
        Err(error) => return add(1, "", error.to_string()),
    }
    let width = record.len();
    let Some(table) = head(spec, &record, &add) else { return };
    loop {
        match reader.read_record(&mut record) {
            Ok(true) => {}
            Ok(false) => return,
            // The text is known to be UTF-8 and a slice cannot fail to be read: this ends a file that no rule foresaw.
            Err(error) => return add(reader.position().line(), "", error.to_string()),
        }
        let line = record.position().map_or(0, csv::Position::line);
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        if record.len() > width || (record.len() < width && record.len() < table.width_needed()) {
            let message =
                format!("{} cells stand under {width} columns: a separator or a quote is amiss", record.len());
            add(line, "", message);
            continue;
        }
        take(&Row { table: &table, record: &record, line, problems, today });
    }
}

impl Table<'_> {
    /// Cells that a line must have at least: lines may leave off empty cells at their end.
    fn width_needed(&self) -> usize {
        let needed = self.spec.columns.iter().filter(|column| column.needed);
        needed.filter_map(|column| self.places.get(column.name)).max().map_or(0, |at| at + 1)
    }
}

/// Reads the first line; `None`, with the reason told, where the file makes no sense under it.
fn head<'a>(spec: &'a FileSpec, record: &StringRecord, add: &impl Fn(u64, &str, String)) -> Option<Table<'a>> {
    let mut places = BTreeMap::new();
    let mut sound = true;
    for (at, name) in record.iter().enumerate() {
        match spec.spelling(name.trim()) {
            Err("") => {
                add(1, "", format!("column {} has no name", at + 1));
                sound = false;
            }
            Err(unknown) => add(
                1,
                unknown,
                format!(
                    "not a column of {}, which has: {}",
                    spec.name,
                    spec.column_names().collect::<Vec<_>>().join(", ")
                ),
            ),
            Ok(name) => {
                if places.insert(name.clone(), at).is_some() {
                    add(1, &name, "the column is there twice".into());
                    sound = false;
                }
            }
        }
    }
    for column in spec.columns.iter().filter(|column| column.needed && !places.contains_key(column.name)) {
        add(1, column.name, "the column is missing, and it is needed".into());
        sound = false;
    }
    sound.then_some(Table { spec, places })
}

/// The sign that parts the cells of the first line, where it stands most often outside quotes.
fn delimiter(bytes: &[u8]) -> u8 {
    let mut quoted = false;
    let mut counts = [(b',', 0), (b';', 0), (b'\t', 0)];
    for byte in bytes.iter().take_while(|byte| **byte != b'\n') {
        if *byte == b'"' {
            quoted = !quoted;
        }
        if let Some((_, count)) = counts.iter_mut().find(|(sign, _)| sign == byte && !quoted) {
            *count += 1;
        }
    }
    // Of equal counts the first listed wins, so a file of one column is read as RFC 4180 says.
    counts.iter().rev().max_by_key(|(_, count)| *count).map_or(b',', |(sign, _)| *sign)
}
