//! One rule of an own guideline as it is typed: limits by classes or by one level, an index of
//! level and pH, shares of the exchange capacity, what is usually found, or that it is left alone.

use super::{By, typed};
use crate::{
    agronomy::{
        analyte::Analyte,
        guideline::{Bands, Bounds, ClassBound, ClassIs, Editor, Fault, Field},
        record::Unit,
    },
    app::{Problems, error::Limits},
    exchange::number::{self, Low},
};

/// What is typed about a rule, as the fields `rules.3.unit`, `rules.3.classes.0.up_to`, or
/// `added.unit` are.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RuleForm {
    pub remove: bool,
    /// Of an added rule only.
    pub analyte: String,
    /// Of an added rule only.
    pub method: String,
    /// Of an added rule only: empty for any soil, or `with` or `without` free lime.
    pub lime: String,
    pub unit: String,
    pub classes: Vec<ClassForm>,
    pub aim: String,
    pub critical: String,
    /// The lowest share, or the lowest value that is usual.
    pub low: String,
    pub high: String,
    /// What a point of the index is worth, where the limits are points of one.
    pub per_point: String,
    /// Of an index of level and pH.
    pub constant: String,
    pub per_unit: String,
    pub per_ph: String,
    /// Of shares of the capacity: the aim never goes below this, nor above the other; mg/kg.
    pub floor: String,
    pub ceiling: String,
    /// Why nothing is aimed at.
    pub why: String,
    /// The form asks whether it is in use.
    pub shown: bool,
    pub in_use: bool,
    /// Where limits that were changed come from.
    pub source: String,
    /// They are the editor's own judgement.
    pub judgement: bool,
}

/// What is typed about a class; a line with neither name nor limit is none.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ClassForm {
    pub name: String,
    pub is: String,
    pub up_to: String,
}

/// A limit of a class or of a rule, in whatever unit it is printed.
const LIMIT: Limits = Limits { what: "A limit", unit: "", low: Low::AtLeast(0.0), at_most: 1e7, decimals: 4 };
/// A figure of an index of level and pH, which may also lie below 0.
const OF_INDEX: Limits = Limits { what: "A figure", unit: "", low: Low::AtLeast(-1e6), at_most: 1e6, decimals: 6 };
/// A share of the exchange capacity.
const SHARE: Limits = Limits { what: "A share", unit: "%", low: Low::AtLeast(0.0), at_most: 100.0, decimals: 2 };
/// A level that holds an aim.
const LEVEL: Limits = Limits { what: "A level", unit: "mg/kg", low: Low::AtLeast(0.0), at_most: 1e6, decimals: 2 };
/// The longest sentence that says why something is left alone.
const WHY: usize = 500;

impl RuleForm {
    /// The form as it shows limits.
    pub fn of(bounds: &Bounds) -> RuleForm {
        let decimals = usize::from(bounds.decimals);
        // Never coarser than it is: an aim may be printed finer than its classes.
        let text = |value: f64| {
            let shown = format!("{value:.decimals$}");
            if shown.parse() == Ok(value) { shown } else { value.to_string() }
        };
        let maybe = |value: Option<f64>| value.map(text).unwrap_or_default();
        let plain = |value: Option<f64>| value.map(|value| value.to_string()).unwrap_or_default();
        let unit = bounds.unit.to_string();
        let per_point = plain(bounds.per_point);
        match &bounds.bands {
            Bands::Classes { classes, aim } => RuleForm {
                unit,
                per_point,
                aim: text(*aim),
                classes: classes
                    .iter()
                    .map(|c| ClassForm { name: c.name.clone(), is: c.is.slug().into(), up_to: maybe(c.up_to) })
                    .collect(),
                ..RuleForm::default()
            },
            Bands::Critical { critical, high } => {
                RuleForm { unit, per_point, critical: text(*critical), high: maybe(*high), ..RuleForm::default() }
            }
            Bands::Availability { constant, per_unit, per_ph, critical, high } => RuleForm {
                unit,
                per_point,
                constant: constant.to_string(),
                per_unit: per_unit.to_string(),
                per_ph: per_ph.to_string(),
                critical: critical.to_string(),
                high: plain(*high),
                ..RuleForm::default()
            },
            // Shares are percent, and what holds them is mg/kg, in every guideline.
            Bands::Saturation { low, high, aim, floor, ceiling } => RuleForm {
                low: low.to_string(),
                high: plain(*high),
                aim: aim.to_string(),
                floor: plain(*floor),
                ceiling: plain(*ceiling),
                ..RuleForm::default()
            },
            Bands::Typical { low, high } => {
                let low = maybe(Some(*low).filter(|low| *low > 0.0));
                RuleForm { unit, per_point, low, high: maybe(*high), ..RuleForm::default() }
            }
            Bands::LeftAlone { why } => RuleForm { why: why.clone(), ..RuleForm::default() },
        }
    }

    /// Whether anything that is typed differs from what the form showed.
    pub(super) fn differs_from(&self, shown: &RuleForm) -> bool {
        self.figures() != shown.figures() || self.filled() != shown.filled()
    }

    /// What is typed besides the classes.
    fn figures(&self) -> [&str; 12] {
        let all = [
            &self.unit,
            &self.aim,
            &self.critical,
            &self.low,
            &self.high,
            &self.per_point,
            &self.constant,
            &self.per_unit,
            &self.per_ph,
            &self.floor,
            &self.ceiling,
            &self.why,
        ];
        all.map(|typed| typed.trim())
    }

    /// The lines of classes that say anything.
    fn filled(&self) -> Vec<(&str, &str, &str)> {
        let lines = self.classes.iter().map(|c| (c.name.trim(), c.is.trim(), c.up_to.trim()));
        lines.filter(|(name, _, up_to)| !name.is_empty() || !up_to.is_empty()).collect()
    }

    /// The limits that were typed, or what is wrong with them by fields that begin with `at`.
    /// `like` is what is held so far, for its kind and the precision that it was printed with.
    pub(super) fn read(
        &self,
        at: &str,
        analyte: Analyte,
        like: Option<&Bounds>,
        layer: bool,
        problems: &mut Problems,
    ) -> Option<Bounds> {
        let mut reading = Reading { at, problems: Problems::default(), finest: like.map_or(0, |held| held.decimals) };
        let bands = match like.map(|held| &held.bands) {
            None | Some(Bands::Classes { .. }) => reading.classes(self),
            Some(Bands::Critical { .. }) => reading.critical(self),
            Some(Bands::Availability { .. }) => reading.availability(self),
            Some(Bands::Saturation { .. }) => reading.saturation(self),
            Some(Bands::Typical { .. }) => reading.typical(self),
            Some(Bands::LeftAlone { .. }) => reading.left_alone(self),
        };
        let unit = match like {
            // The form asks for none.
            Some(Bounds { unit, bands: Bands::Saturation { .. } | Bands::LeftAlone { .. }, .. }) => Some(*unit),
            _ => reading.problems.one_of::<Unit>(&format!("{at}.unit"), &self.unit),
        };
        let mut per_point = None;
        if like.is_some_and(|held| held.per_point.is_some()) {
            per_point =
                reading.needed("per_point", &self.per_point, &OF_INDEX, "Say what a point of the index is worth.");
        }
        let Reading { problems: mut wrong, finest, .. } = reading;
        let mut bounds = None;
        if let (true, Some(unit), Some(bands)) = (wrong.is_empty(), unit, bands) {
            let read = Bounds { unit, decimals: finest, per_point, bands };
            let lines = self.lines();
            for Fault { field, says } in read.faults(analyte, layer) {
                wrong.add(&format!("{at}.{}", name(field, &lines)), says);
            }
            bounds = Some(read).filter(|_| wrong.is_empty());
        }
        problems.0.extend(wrong.0);
        bounds
    }

    /// The numbers of the lines of classes that say anything.
    fn lines(&self) -> Vec<usize> {
        let says = |(_, c): &(usize, &ClassForm)| !c.name.trim().is_empty() || !c.up_to.trim().is_empty();
        self.classes.iter().enumerate().filter(says).map(|(line, _)| line).collect()
    }

    /// On whose word the limits are changed: a source, or the person's own judgement, said so.
    pub(super) fn editor(&self, at: &str, by: By<'_>, problems: &mut Problems) -> Option<Editor> {
        let (actor, on, version) = by;
        typed::editor(&format!("{at}.source"), (&self.source, self.judgement), actor, on, version, problems)
    }
}

/// The field of the form that a fault stands by; `lines` are those of the classes that were read.
fn name(field: Field, lines: &[usize]) -> String {
    let of_class = |i: usize, name: &str| format!("classes.{}.{name}", lines.get(i).copied().unwrap_or(i));
    let plain = match field {
        Field::Name(i) => return of_class(i, "name"),
        Field::Is(i) => return of_class(i, "is"),
        Field::UpTo(i) => return of_class(i, "up_to"),
        Field::Unit => "unit",
        Field::Classes => "classes",
        Field::Aim => "aim",
        Field::Critical => "critical",
        Field::Low => "low",
        Field::High => "high",
        Field::PerPoint => "per_point",
        Field::PerUnit => "per_unit",
        Field::PerPh => "per_ph",
        Field::Floor => "floor",
        Field::Ceiling => "ceiling",
        Field::Why => "why",
    };
    plain.to_owned()
}

/// The reading of one rule: what is wrong so far, and the most decimals that were typed.
struct Reading<'a> {
    at: &'a str,
    problems: Problems,
    finest: u8,
}

impl Reading<'_> {
    fn figure(&mut self, field: &str, typed: &str, limits: &Limits) -> Option<number::Quantity> {
        self.problems.take(&format!("{}.{field}", self.at), number::parse_optional(typed, limits)).flatten()
    }

    fn needed(&mut self, field: &str, typed: &str, limits: &Limits, missing: &str) -> Option<f64> {
        if typed.trim().is_empty() {
            self.problems.add(&format!("{}.{field}", self.at), missing);
        }
        self.figure(field, typed, limits).map(|read| read.value)
    }

    /// A limit, whose decimals are those that results are rounded to.
    fn limit(&mut self, field: &str, typed: &str) -> Option<f64> {
        let read = self.figure(field, typed, &LIMIT)?;
        self.finest = self.finest.max(read.decimals);
        Some(read.value)
    }

    fn needed_limit(&mut self, field: &str, typed: &str, missing: &str) -> Option<f64> {
        if typed.trim().is_empty() {
            self.problems.add(&format!("{}.{field}", self.at), missing);
        }
        self.limit(field, typed)
    }

    fn classes(&mut self, form: &RuleForm) -> Option<Bands> {
        let mut classes = Vec::new();
        for line in form.lines() {
            let class = &form.classes[line];
            let is = self.problems.one_of::<ClassIs>(&format!("{}.classes.{line}.is", self.at), &class.is);
            let up_to = self.limit(&format!("classes.{line}.up_to"), &class.up_to);
            let name = class.name.trim().to_owned();
            classes.extend(is.map(|is| ClassBound { name, is, up_to }));
        }
        let aim = self.needed_limit("aim", &form.aim, "Say which value is aimed at.")?;
        Some(Bands::Classes { classes, aim })
    }

    fn critical(&mut self, form: &RuleForm) -> Option<Bands> {
        let critical = self.needed_limit("critical", &form.critical, "Say below which value it is short.");
        let high = self.limit("high", &form.high);
        Some(Bands::Critical { critical: critical?, high })
    }

    fn availability(&mut self, form: &RuleForm) -> Option<Bands> {
        let constant = self.needed("constant", &form.constant, &OF_INDEX, "Type what the index begins with.");
        let per_unit = self.needed("per_unit", &form.per_unit, &OF_INDEX, "Type what each unit of the level adds.");
        let per_ph = self.needed("per_ph", &form.per_ph, &OF_INDEX, "Type what each unit of pH takes off.");
        let critical = self.needed("critical", &form.critical, &OF_INDEX, "Say below which index it is short.");
        let high = self.figure("high", &form.high, &OF_INDEX).map(|read| read.value);
        let (constant, per_unit, per_ph, critical) = (constant?, per_unit?, per_ph?, critical?);
        Some(Bands::Availability { constant, per_unit, per_ph, critical, high })
    }

    fn saturation(&mut self, form: &RuleForm) -> Option<Bands> {
        let low = self.needed("low", &form.low, &SHARE, "Say which share is the lowest that is enough.");
        let high = self.figure("high", &form.high, &SHARE).map(|read| read.value);
        let aim = self.needed("aim", &form.aim, &SHARE, "Say which share is aimed at.");
        let floor = self.figure("floor", &form.floor, &LEVEL).map(|read| read.value);
        let ceiling = self.figure("ceiling", &form.ceiling, &LEVEL).map(|read| read.value);
        Some(Bands::Saturation { low: low?, high, aim: aim?, floor, ceiling })
    }

    fn typical(&mut self, form: &RuleForm) -> Option<Bands> {
        let low = self.limit("low", &form.low);
        let high = self.limit("high", &form.high);
        Some(Bands::Typical { low: low.unwrap_or(0.0), high })
    }

    fn left_alone(&mut self, form: &RuleForm) -> Option<Bands> {
        let mut why = form.why.split_whitespace().collect::<Vec<_>>().join(" ");
        if why.chars().count() > WHY {
            self.problems.add(&format!("{}.why", self.at), format!("At most {WHY} characters, please."));
        }
        // It stands among other sentences.
        if !why.is_empty() && !why.ends_with(['.', '!', '?']) {
            why.push('.');
        }
        Some(Bands::LeftAlone { why })
    }
}
