//! A guideline taken apart, one rule to a table, so that a grower's copy can be edited rule by
//! rule and written back. What is changed says so in its source, beside what the publisher printed: nobody is to take
//! an edit for the publisher's advice.

mod beside;
mod bounds;
mod rates;

pub use beside::{NitrateBound, NitrateBounds, PartsBounds, SplitBounds};
pub use bounds::{Bands, Bounds, ClassBound, Fault, Field, units_for};
pub use rates::{RateFault, RateField, RateRowBounds, RatesBounds};

use super::{
    Changed, Citation, Criterion, Evidence, Guideline, Method, NO_LAYER, Problem, RawGuideline, RawRow, RawTable,
    RawWhen, When, criterion, raw, round_to, when,
};
use crate::agronomy::{
    analyte::Analyte,
    guideline::{builtin, in_words},
};
use bounds::{CHOSEN, step};
use jiff::civil::Date;
use toml::Spanned;

/// Who edits, when, and on whose word.
#[derive(Clone, Debug)]
pub struct Editor {
    pub name: String,
    pub on: Date,
    /// The version that the edit makes.
    pub version: i64,
    /// Where the new limits come from; empty for own judgement.
    pub source: String,
}

impl Editor {
    fn cite(&self, did: &str, title: String) -> Citation {
        let on = self.on.strftime("%-d %b %Y");
        let (after, evidence) = match self.source.is_empty() {
            true => (String::new(), Evidence::OwnJudgement),
            false => (format!(", after {}", self.source), Evidence::Quoted),
        };
        let version = self.version;
        Citation {
            publisher: format!("{did} here by {} on {on}, in version {version}{after}", self.name),
            title,
            year: 0,
            address: String::new(),
            evidence,
        }
    }
}

/// A guideline with one rule to a table, nothing taken in from elsewhere.
#[derive(Clone)]
pub struct Draft {
    raw: RawGuideline,
}

impl Draft {
    /// Takes a guideline's text apart; what it includes of shipped sets becomes its own.
    pub fn read(text: &str) -> Result<Draft, Vec<Problem>> {
        let mut raw = raw(text)?;
        let mut apart = Vec::new();
        for table in std::mem::take(&mut raw.table) {
            let table = table.into_inner();
            let set = table.set.clone().unwrap_or_else(|| raw.slug.clone());
            let layer = table.layer.clone().or_else(|| raw.layer.clone());
            apart.extend(table.row.iter().map(|row| RawTable {
                row: vec![row.clone()],
                set: Some(set.clone()),
                layer: layer.clone(),
                ..table.clone()
            }));
        }
        for include in std::mem::take(&mut raw.include) {
            let include = include.into_inner();
            let unknown = |says: String| vec![Problem { line: 1, says }];
            let set = builtin().iter().find(|set| set.slug == include.guideline);
            let set = set.ok_or_else(|| unknown(format!("“{}” is not a guideline here", include.guideline)))?;
            let narrowed = when(&include.when).map_err(unknown)?;
            for table in Draft::read(&set.text)?.raw.table {
                let mut table = table.into_inner();
                let Some(mut row) = table.row.pop().map(Spanned::into_inner) else { continue };
                let own = when(row.when.as_ref().unwrap_or(&table.when)).map_err(unknown)?;
                let wanted = include.analytes.as_ref().is_none_or(|names| names.contains(&row.analyte));
                let Some(both) = own.and(&narrowed).filter(|_| wanted) else { continue };
                row.when = Some(RawWhen::from(&both));
                table.layer.get_or_insert_with(|| NO_LAYER.into());
                table.row.push(Spanned::new(0..0, row));
                apart.push(table);
            }
        }
        raw.table = apart.into_iter().map(|table| Spanned::new(0..0, table)).collect();
        rates::take_apart(&mut raw);
        beside::name_sets(&mut raw);
        Ok(Draft { raw })
    }

    /// A copy of a guideline under a key and title of its own.
    pub fn copy(of: &Guideline, slug: &str, title: &str) -> Result<Draft, Vec<Problem>> {
        let mut draft = Draft::read(&of.text)?;
        let year = if of.year > 0 { format!(", {}", of.year) } else { String::new() };
        draft.raw.publisher = format!("Own guideline, copied from {} ({}{year})", of.title, of.publisher);
        (draft.raw.slug, draft.raw.title, draft.raw.year) = (slug.to_owned(), title.to_owned(), 0);
        Ok(draft)
    }

    /// The text that reads back as this guideline.
    pub fn text(&self) -> String {
        toml::to_string(&self.raw).unwrap_or_default()
    }

    /// The guideline as it now stands.
    pub fn guideline(&self) -> Result<Guideline, Vec<Problem>> {
        super::guideline(&self.text(), &[])
    }

    /// Says anew what it is called, what it is for, and what there is to know.
    pub fn describe(&mut self, title: &str, scope: &str, notes: Vec<String>) {
        (self.raw.title, self.raw.scope, self.raw.notes) = (title.to_owned(), scope.to_owned(), notes);
    }

    /// Whether it states a mass of soil, so that limits per area can be used.
    pub fn has_layer(&self) -> bool {
        self.raw.layer.is_some()
    }

    /// How many rules it has.
    pub fn len(&self) -> usize {
        self.raw.table.len()
    }

    /// Whether it has no rule at all.
    pub fn is_empty(&self) -> bool {
        self.raw.table.is_empty()
    }

    /// A rule as it is read; `None` where there is no such rule.
    pub fn criterion(&self, at: usize) -> Option<Criterion> {
        let table = self.raw.table.get(at)?.get_ref();
        criterion(&self.raw, table, table.row.first()?.get_ref()).ok()
    }

    /// Gives a rule other limits; says why where they make no rule.
    pub fn change(&mut self, at: usize, to: &Bounds, by: &Editor) -> Result<(), String> {
        let was = self.criterion(at).ok_or("there is no such rule")?;
        let mut table = self.raw.table[at].get_ref().clone();
        let mut row = table.row.first().ok_or("there is no such rule")?.get_ref().clone();
        // Edited twice, it is still held against what the publisher printed.
        let (before, source) = match was.changed.as_ref() {
            Some(changed) => (changed.printed.clone(), changed.source.clone()),
            None => (in_words(&was), Some(was.source.clone())),
        };
        let title = match &source {
            Some(source) => format!("{} printed: {before}", source.publisher),
            None => "own limits".into(),
        };
        let cited = by.cite(if source.is_some() { "Changed" } else { "Added" }, title);
        if to.per_point.is_some() && to.per_point != was.index.as_ref().map(|index| index.per_point) {
            table.index_scale_source = Some(cited.clone());
        }
        table.source = Some(cited.clone());
        let held = Bounds::of(&was);
        let same_aim =
            (to.unit, to.per_point) == (held.unit, held.per_point) && to.aim().is_some() && to.aim() == held.aim();
        let kept = same_aim && source.is_some() && was.changed.as_ref().is_none_or(|changed| changed.kept);
        let (name, version) = (by.name.clone(), by.version);
        table.changed = Some(Changed { by: name, on: by.on, version, kept, printed: before, source });
        // What is one's own speaks, unless it was switched off.
        table.in_force = table.in_force.filter(|on| !on);
        (table.set, row.source) = (None, None);
        if !same_aim {
            (row.aim_why, table.aim_why, table.aim_source) = (None, Some(CHOSEN.into()), None);
        }
        if to.unit != held.unit {
            row.own_index = None;
        }
        to.write(&mut table, &mut row, &cited);
        self.put(at, table, row)
    }

    /// Adds a rule before all others.
    pub fn add(
        &mut self,
        analyte: Analyte,
        methods: &[Method],
        carbonate: Option<bool>,
        to: &Bounds,
        by: &Editor,
    ) -> Result<(), String> {
        let cited = by.cite("Added", "own limits".into());
        let mut table = RawTable {
            title: format!("{}, added here", analyte.name()),
            source: Some(cited.clone()),
            set: None,
            changed: Some(Changed {
                by: by.name.clone(),
                on: by.on,
                version: by.version,
                kept: false,
                printed: String::new(),
                source: None,
            }),
            methods: methods.iter().map(Method::slug).collect(),
            unit: to.unit.to_string(),
            layer: self.raw.layer.clone(),
            when: RawWhen::from(&When { carbonate, ..When::default() }),
            aim_why: Some(CHOSEN.into()),
            ..RawTable::default()
        };
        let mut row = RawRow { analyte: analyte.to_string(), ..RawRow::default() };
        to.write(&mut table, &mut row, &cited);
        self.raw.table.insert(0, Spanned::new(0..0, RawTable::default()));
        self.put(0, table, row).inspect_err(|_| _ = self.raw.table.remove(0))
    }

    fn put(&mut self, at: usize, mut table: RawTable, row: RawRow) -> Result<(), String> {
        criterion(&self.raw, &table, &row)?;
        table.row = vec![Spanned::new(0..0, row)];
        self.raw.table[at] = Spanned::new(0..0, table);
        Ok(())
    }

    /// Switches a rule on or off; one known only from memory is off as long as nobody switches it on.
    pub fn switch(&mut self, at: usize, on: bool) {
        let Some(source) = self.criterion(at).map(|criterion| criterion.source) else { return };
        let mut table = self.raw.table[at].get_ref().clone();
        table.in_force = switched(&source, on);
        self.raw.table[at] = Spanned::new(0..0, table);
    }

    /// Takes rules out.
    pub fn remove(&mut self, rules: &[usize]) {
        let mut at = 0..;
        self.raw.table.retain(|_| at.next().is_some_and(|i| !rules.contains(&i)));
    }

    /// The rule that answers for an analyte by one of these methods already, where one does.
    pub fn answering(&self, analyte: Analyte, methods: &[Method], carbonate: Option<bool>) -> Option<usize> {
        let asked = When { carbonate, ..When::default() };
        let meets = |c: Criterion| {
            c.analyte == analyte && c.methods.iter().any(|m| methods.contains(m)) && c.when.and(&asked).is_some()
        };
        (0..self.len()).find(|at| self.criterion(*at).is_some_and(meets))
    }
}

/// What a text says of a table that a person switched on or off: nothing where it is so anyhow.
fn switched(source: &Citation, on: bool) -> Option<bool> {
    match (on, source.evidence == Evidence::Memory) {
        (true, true) => Some(true),
        (false, false) => Some(false),
        _ => None,
    }
}
