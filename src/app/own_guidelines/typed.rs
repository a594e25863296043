//! What is typed about the parts of a guideline beside its limits, by the names of the fields:
//! `rates.0.rows.3.crops`. A part that stands as it was shown is left alone, and one that the
//! form does not name stays as it is.

use crate::{
    agronomy::guideline::Editor,
    app::{Actor, Problems, error::Limits},
    exchange::number::{self, Low},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Values by the names of fields.
pub type Typed = BTreeMap<String, String>;

/// A figure of a part, in whatever unit it is printed.
pub(super) const FIGURE: Limits =
    Limits { what: "A figure", unit: "", low: Low::AtLeast(0.0), at_most: 1e6, decimals: 6 };
/// The longest list of rows or bands that is read.
const LINES_MAX: usize = 200;

/// Fields that say what is to be done with a part, and are no part of it.
const ABOUT_IT: [&str; 5] = ["source", "judgement", "remove", "in_use", "shown"];

/// One part of the form.
pub(super) struct Part<'a> {
    /// What its fields begin with: `rates.0`.
    pub at: String,
    typed: &'a Typed,
    shown: &'a Typed,
}

impl<'a> Part<'a> {
    pub fn new(at: String, typed: &'a Typed, shown: &'a Typed) -> Part<'a> {
        Part { at, typed, shown }
    }

    /// The full name of a field.
    pub fn field(&self, name: &str) -> String {
        format!("{}.{name}", self.at)
    }

    /// What was typed in a field.
    pub fn value(&self, name: &str) -> &'a str {
        self.typed.get(&self.field(name)).map_or("", |value| value.trim())
    }

    /// Whether a box is ticked.
    pub fn ticked(&self, name: &str) -> bool {
        !self.value(name).is_empty()
    }

    /// The names of its fields in a form, without what they begin with.
    fn names<'b>(&'b self, form: &'b Typed) -> impl Iterator<Item = &'b str> {
        form.keys().filter_map(|name| name.strip_prefix(&*self.at)?.strip_prefix('.'))
    }

    /// Whether the form names it at all.
    pub fn is_named(&self) -> bool {
        self.names(self.typed).next().is_some()
    }

    /// Whether any of its figures is not as it was shown.
    pub fn touched(&self) -> bool {
        let differs = |name: &str| {
            let shown = self.shown.get(&self.field(name)).map_or("", |value| value.trim());
            let plain =
                |text: &str| text.lines().map(str::trim).filter(|l| !l.is_empty()).collect::<Vec<_>>().join("\n");
            !ABOUT_IT.contains(&name) && plain(self.value(name)) != plain(shown)
        };
        self.names(self.typed).chain(self.names(self.shown)).any(differs)
    }

    /// That it is to be switched on or off; `None` where the form does not ask, or it is so already.
    pub fn switched(&self, in_force: bool) -> Option<bool> {
        let on = self.ticked("in_use");
        (self.ticked("shown") && on != in_force).then_some(on)
    }

    /// The numbers of its lines of one kind, such as rows, that say anything.
    pub fn lines(&self, kind: &str) -> Vec<usize> {
        let of_kind = |name: &str| {
            let (number, _) = name.strip_prefix(kind)?.strip_prefix('.')?.split_once('.')?;
            number.parse::<usize>().ok().filter(|n| *n < LINES_MAX)
        };
        let mut lines: Vec<usize> =
            self.names(self.typed).filter(|name| !self.value(name).is_empty()).filter_map(of_kind).collect();
        lines.sort_unstable();
        lines.dedup();
        lines
    }

    /// A figure, or a sentence by its field; empty is none.
    pub fn figure(&self, name: &str, limits: &Limits, problems: &mut Problems) -> Option<number::Quantity> {
        problems.take(&self.field(name), number::parse_optional(self.value(name), limits)).flatten()
    }

    /// The same where it must be there.
    pub fn needed(&self, name: &str, missing: &str, problems: &mut Problems) -> Option<f64> {
        if self.value(name).is_empty() {
            problems.add(&self.field(name), missing);
            return None;
        }
        self.figure(name, &FIGURE, problems).map(|read| read.value)
    }

    /// On whose word it is changed: a source, or the person's own judgement, said so.
    pub fn editor(&self, actor: &Actor, on: Date, version: i64, problems: &mut Problems) -> Option<Editor> {
        let typed = (self.value("source"), self.ticked("judgement"));
        editor(&self.field("source"), typed, actor, on, version, problems)
    }
}

/// Who edits and on whose word, or a sentence by the field for it.
pub(super) fn editor(
    field: &str,
    (source, judgement): (&str, bool),
    actor: &Actor,
    on: Date,
    version: i64,
    problems: &mut Problems,
) -> Option<Editor> {
    let source = source.trim();
    if source.is_empty() && !judgement {
        problems.add(field, "Say where these limits come from, or tick that they are your own judgement.");
        return None;
    }
    if source.chars().count() > 300 {
        problems.add(field, "At most 300 characters, please.");
        return None;
    }
    Some(Editor { name: actor.name.clone(), on, version, source: source.to_owned() })
}

/// A figure as the form shows it: never in powers of ten, never coarser than it is.
pub(super) fn text(value: f64) -> String {
    value.to_string()
}
