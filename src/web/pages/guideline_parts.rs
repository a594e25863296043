//! The parts of the form for an own guideline beside its limits: rates for crops, nitrate tests,
//! and rules for giving much in parts, each with the names of its fields and a line that says
//! what it holds.

use super::{guideline_form::wrong, guidelines::changed};
use crate::{
    agronomy::{
        analyte::Analyte,
        guideline::{Gives, GivesKind, NitrateTest, PartsBy, Rates, SplitRule},
        rate::RateUnit,
        source::{Citation, Evidence},
    },
    app::own_guidelines::{WORKSHEET, rate_row_in_short},
    web::form::Form,
};

/// What every part says of itself.
pub(super) struct About {
    /// What its fields begin with: `rates.0`.
    pub at: String,
    pub heading: String,
    pub condition: String,
    /// Who says so.
    pub source: String,
    pub from_memory: bool,
    /// Something of it needs another look.
    pub wrong: bool,
    pub changed: Option<String>,
}

impl About {
    fn new(at: String, heading: String, condition: String, source: &Citation, form: &Form) -> About {
        About {
            wrong: wrong(&at, form),
            at,
            heading,
            condition,
            source: source.to_string(),
            from_memory: source.evidence == Evidence::Memory,
            changed: None,
        }
    }

    /// The full name of a field.
    pub fn field(&self, name: &str) -> String {
        format!("{}.{name}", self.at)
    }

    /// The same of a line: `rates.0.rows.3.crops`.
    pub fn of_line(&self, kind: &str, line: &usize, name: &str) -> String {
        format!("{}.{kind}.{line}.{name}", self.at)
    }

    /// The rate of a row for a column.
    pub fn rate_field(&self, line: &usize, column: &usize) -> String {
        format!("{}.rows.{line}.rate.{column}", self.at)
    }

    /// The units that rates can be in.
    pub fn units(&self) -> Vec<(&'static str, &'static str)> {
        RateUnit::ALL.iter().map(|unit| (unit.slug(), unit.label())).collect()
    }
}

/// How many lines of a kind a form holds.
fn held(about: &About, kind: &str, form: &Form) -> usize {
    let start = format!("{}.{kind}.", about.at);
    let line = |(name, value): (&str, &str)| {
        let number = name.strip_prefix(&*start)?.split('.').next()?.parse::<usize>().ok()?;
        (!value.trim().is_empty()).then_some(number + 1)
    };
    form.pairs().filter_map(line).max().unwrap_or(0)
}

/// Rates of one nutrient.
pub(super) struct RateFields {
    pub about: About,
    /// A row has a figure for each class; else it has an equation.
    pub by_class: bool,
    /// The columns by their numbers, each with its heading; one more stands empty.
    pub columns: Vec<(usize, String)>,
    pub rows: Vec<RowFields>,
}

/// A row of them.
pub(super) struct RowFields {
    pub line: usize,
    pub short: String,
    pub is_table: bool,
    pub wrong: bool,
    pub changed: Option<String>,
    /// It is not there yet.
    pub new: bool,
}

/// Empty rows after those that there are.
const MORE_ROWS: usize = 2;

impl RateFields {
    pub fn of(at: usize, rates: &Rates, form: &Form) -> RateFields {
        let name = Analyte::Element(rates.element).name();
        let heading = format!("{name}: {}", rates.title);
        let about = About::new(format!("rates.{at}"), heading, rates.when.to_string(), &rates.source, form);
        let by_class = rates.rows.iter().any(|row| matches!(row.gives, Gives::Table(_)));
        let columns = if by_class { held(&about, "columns", form) + 1 } else { 0 };
        let heading = |column: usize| {
            let typed = form.value(&about.of_line("columns", &column, "is"));
            (column, if typed.is_empty() { "one more class".to_owned() } else { typed.to_owned() })
        };
        let columns = (0..columns).map(heading).collect();
        let lines = rates.rows.len().max(held(&about, "rows", form)) + MORE_ROWS;
        let row = |line: usize| {
            let before = rates.rows.get(line);
            RowFields {
                line,
                short: match before {
                    Some(_) => rate_row_in_short(rates, line),
                    None => "One more row".into(),
                },
                is_table: before.map_or(by_class, |row| matches!(row.gives, Gives::Table(_))),
                wrong: wrong(&format!("{}.rows.{line}", about.at), form),
                changed: changed(before.and_then(|row| row.changed.as_ref())),
                new: before.is_none(),
            }
        };
        let rows = (0..lines).map(row).collect();
        RateFields { by_class, columns, rows, about }
    }

    /// How many of its rows name no crop.
    pub fn without_crop(&self) -> usize {
        self.rows.iter().filter(|row| row.short.ends_with("no crop yet")).count()
    }
}

/// A nitrate test.
pub(super) struct NitrateFields {
    pub about: About,
    pub words: String,
    /// What the figure of a band is; empty where the test names classes alone.
    pub figure: &'static str,
    pub lines: std::ops::Range<usize>,
    pub has_foot: bool,
    /// The figures of a worksheet: field and words.
    pub worksheet: &'static [(&'static str, &'static str)],
}

impl NitrateFields {
    pub fn of(at: usize, test: &NitrateTest, form: &Form) -> NitrateFields {
        let heading = format!("{}, for {}", test.name, test.made_for);
        let mut about = About::new(format!("nitrate.{at}"), heading, String::new(), &test.of.source, form);
        about.changed = changed(test.of.changed.as_ref());
        NitrateFields {
            words: test.words(),
            figure: match test.kind() {
                GivesKind::Class => "",
                GivesKind::Rate => "rate",
                GivesKind::OffBase => "off the base rate",
                GivesKind::Worksheet => "fixed rate",
            },
            lines: 0..held(&about, "bands", form) + 1,
            has_foot: test.kind() == GivesKind::Class,
            worksheet: if test.kind() == GivesKind::Worksheet { &WORKSHEET } else { &[] },
            about,
        }
    }

    pub fn numbers(&self) -> std::ops::Range<usize> {
        self.lines.clone()
    }
}

/// A rule for parts.
pub(super) struct SplitFields {
    pub about: About,
    pub words: String,
    pub by_bands: bool,
    pub lines: std::ops::Range<usize>,
}

impl SplitFields {
    pub fn of(at: usize, rule: &SplitRule, form: &Form) -> SplitFields {
        let mut about = About::new(format!("splits.{at}"), rule.title.clone(), String::new(), &rule.of.source, form);
        about.changed = changed(rule.of.changed.as_ref());
        SplitFields {
            words: format!("{}; {} months apart", rule.words(), rule.months_apart),
            by_bands: matches!(rule.parts_by, PartsBy::Bands { .. }),
            lines: 0..held(&about, "bands", form) + 1,
            about,
        }
    }

    pub fn numbers(&self) -> std::ops::Range<usize> {
        self.lines.clone()
    }
}
