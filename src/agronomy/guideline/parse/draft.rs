//! A guideline taken apart, one rule to a table, so that a grower's copy can be edited rule by
//! rule and written back. Rules that cannot be edited here are written back as they were read.
//! What is changed says so in its source, beside what the publisher printed: nobody is to take
//! an edit for the publisher's advice.

mod beside;
mod rates;

pub use beside::{NitrateBound, NitrateBounds, PartsBounds, SplitBounds};
pub use rates::{RateFault, RateField, RateRowBounds, RatesBounds};

use super::{
    Changed, Citation, ClassIs, Criterion, Evidence, Guideline, Index, Method, NO_LAYER, Position, Problem,
    RawAvailability, RawClass, RawGuideline, RawRow, RawTable, RawWhen, Rule, When, criterion, raw, round_to, when,
};
use crate::agronomy::{
    analyte::Analyte,
    guideline::{builtin, in_words},
    record::Unit,
};
use jiff::civil::Date;
use toml::Spanned;

/// The limits of a rule as they can be typed, in the printed unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Bounds {
    pub unit: Unit,
    /// Results are rounded to so many decimals before they are held against the limits; 4 at most.
    pub decimals: u8,
    /// Where the limits are points of an index: what a point is worth in the unit; above zero.
    pub per_point: Option<f64>,
    pub bands: Bands,
}

/// The kinds of limit that can be edited.
#[derive(Clone, Debug, PartialEq)]
pub enum Bands {
    /// Classes, low to high, and the value aimed at.
    Classes { classes: Vec<ClassBound>, aim: f64 },
    /// Short below `critical`; too much from `high` on.
    Critical { critical: f64, high: Option<f64> },
    /// Short below `critical` of constant + per_unit × level − per_ph × pH; too much from `high` on.
    Availability { constant: f64, per_unit: f64, per_ph: f64, critical: f64, high: Option<f64> },
}

/// A class by its upper end.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassBound {
    pub name: String,
    pub is: ClassIs,
    /// The highest value in it; `None` only for the highest class, which has no end.
    pub up_to: Option<f64>,
}

/// What of a rule a fault is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Field {
    Unit,
    /// The classes as a whole.
    Classes,
    Name(usize),
    Is(usize),
    UpTo(usize),
    Aim,
    Critical,
    High,
    PerPoint,
    PerUnit,
    PerPh,
}

/// What is wrong with limits as typed, as a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    pub field: Field,
    pub says: String,
}

/// The units that limits for an analyte can be in; those per area need the guideline's mass of soil.
pub fn units_for(analyte: Analyte, has_layer: bool) -> Vec<Unit> {
    use Unit::*;
    let by_mass = [MgPerKg, Ppm, MgPerL, MgPer100g, GPerKg];
    let per_area = [LbPerAcre, KgPerHa].into_iter().filter(|_| has_layer);
    let by_charge = [CmolPerKg, MeqPer100g, MmolPerKg];
    match analyte {
        Analyte::Ph | Analyte::BufferPh => vec![Ph],
        Analyte::Conductivity => vec![DsPerM, MsPerCm, UsPerCm],
        Analyte::ExchangeCapacity | Analyte::Acidity => by_charge.to_vec(),
        Analyte::Element(element) if element.cation_charge().is_some() => {
            by_mass.into_iter().chain(per_area).chain(by_charge).collect()
        }
        Analyte::Element(_) | Analyte::NitrateN | Analyte::AmmoniumN => by_mass.into_iter().chain(per_area).collect(),
        Analyte::Saturation(_)
        | Analyte::BaseSaturation
        | Analyte::OrganicMatter
        | Analyte::OrganicCarbon
        | Analyte::Carbonate
        | Analyte::Clay => vec![Percent],
    }
}

fn step(decimals: u8) -> f64 {
    10f64.powi(-i32::from(decimals))
}

impl Bounds {
    /// The limits of a rule, where it is of a kind that can be edited.
    pub fn of(criterion: &Criterion) -> Option<Bounds> {
        let decimals = criterion.decimals;
        let bands = match &criterion.rule {
            Rule::Classes(all) => {
                let bound = |(i, class): (usize, &super::Class)| {
                    let next = all.classes.get(i + 1);
                    let up_to = next.map(|next| round_to(next.from - step(decimals), decimals));
                    let is = match class.position {
                        Position::Short => ClassIs::Short,
                        Position::AtAim => ClassIs::Aim,
                        Position::Above => ClassIs::Above,
                        Position::Excess => ClassIs::Excess,
                        _ => return None,
                    };
                    Some(ClassBound { name: class.name.clone(), is, up_to })
                };
                let classes = all.classes.iter().enumerate().map(bound).collect::<Option<Vec<_>>>()?;
                Bands::Classes { classes, aim: all.aim }
            }
            Rule::Critical { critical, high } => Bands::Critical { critical: *critical, high: *high },
            Rule::AvailabilityIndex { constant, per_unit, per_ph, critical, high } => Bands::Availability {
                constant: *constant,
                per_unit: *per_unit,
                per_ph: *per_ph,
                critical: *critical,
                high: *high,
            },
            _ => return None,
        };
        let per_point = criterion.index.as_ref().map(|index| index.per_point);
        Some(Bounds { unit: criterion.unit, decimals, per_point, bands })
    }

    /// Everything that is wrong with the limits for an analyte: limits must rise, the aim lie in
    /// a class that counts as the aim, the unit suit what is measured.
    pub fn faults(&self, analyte: Analyte, has_layer: bool) -> Vec<Fault> {
        let mut faults = Vec::new();
        let mut fault = |field, says: String| faults.push(Fault { field, says });
        if !units_for(analyte, has_layer).contains(&self.unit) {
            let per_area = matches!(self.unit, Unit::LbPerAcre | Unit::KgPerHa);
            fault(
                Field::Unit,
                match per_area && units_for(analyte, true).contains(&self.unit) {
                    true => {
                        format!("{} needs a mass of soil per area, which this guideline does not state.", self.unit)
                    }
                    false => format!("Results of {} are not given in {}.", analyte.name(), self.unit),
                },
            );
        }
        if self.per_point.is_some_and(|per_point| per_point <= 0.0) {
            fault(Field::PerPoint, "A point of the index must be worth something.".into());
        }
        match &self.bands {
            Bands::Availability { per_unit, per_ph, critical, high, .. } => {
                if *per_unit <= 0.0 {
                    fault(Field::PerUnit, "The index must rise with the level: this must be above 0.".into());
                }
                if *per_ph < 0.0 {
                    fault(Field::PerPh, "This must be 0 or more.".into());
                }
                if high.is_some_and(|high| high <= *critical) {
                    fault(Field::High, "Too much must begin above the limit for too little.".into());
                }
            }
            Bands::Critical { critical, high } => {
                if *critical <= 0.0 {
                    fault(Field::Critical, "The limit must be above 0.".into());
                }
                if high.is_some_and(|high| high <= *critical) {
                    fault(Field::High, "Too much must begin above the limit for too little.".into());
                }
            }
            Bands::Classes { classes, aim } => class_faults(classes, *aim, self.decimals, &mut fault),
        }
        faults
    }
}

fn class_faults(classes: &[ClassBound], aim: f64, decimals: u8, fault: &mut impl FnMut(Field, String)) {
    if classes.len() < 2 {
        return fault(Field::Classes, "Give at least two classes: one that is short, one that is the aim.".into());
    }
    let last = classes.len() - 1;
    for (i, class) in classes.iter().enumerate() {
        if class.name.trim().is_empty() {
            fault(Field::Name(i), "Give the class a name.".into());
        } else if classes[..i].iter().any(|other| other.name == class.name) {
            fault(Field::Name(i), format!("There is a class “{}” already.", class.name));
        }
        match class.up_to {
            None if i < last => {
                fault(Field::UpTo(i), "Say up to which value this class goes; only the highest has no end.".into());
            }
            Some(_) if i == last => {
                fault(Field::UpTo(i), "The highest class has no end: leave this empty, or add a class above it.".into())
            }
            Some(up_to) if i > 0 && classes[i - 1].up_to.is_some_and(|below| below >= up_to) => {
                fault(Field::UpTo(i), "This must be above the limit of the class below.".into());
            }
            _ => {}
        }
        if i > 0 && class.is < classes[i - 1].is {
            fault(
                Field::Is(i),
                format!("A class above one that counts as “{}” cannot count as less.", classes[i - 1].is.label()),
            );
        }
    }
    let Some(first) = classes.iter().position(|class| class.is == ClassIs::Aim) else {
        return fault(Field::Classes, "One class must count as at the aim.".into());
    };
    let best = classes.iter().rposition(|class| class.is == ClassIs::Aim).unwrap_or(first);
    let below = first.checked_sub(1).map_or(Some(0.0), |i| classes[i].up_to.map(|up_to| up_to + step(decimals)));
    let Some(low) = below else { return };
    let low = round_to(low, decimals);
    let high = classes[best].up_to.filter(|_| best < last);
    if aim < low - 1e-9 || high.is_some_and(|high| aim > high + 1e-9) {
        fault(
            Field::Aim,
            match high {
                Some(high) => format!("The aim must lie from {low} to {high}: in a class that counts as at the aim."),
                None => format!("The aim must be {low} or more: in a class that counts as at the aim."),
            },
        );
    }
}

/// The bands as a publisher would print them: "0-70", "71-140", ">140".
fn printed(classes: &[ClassBound], decimals: u8) -> Vec<String> {
    let number = |value: f64| format!("{value:.*}", usize::from(decimals));
    let mut from = 0.0;
    let band = |class: &ClassBound| match class.up_to {
        Some(up_to) => {
            let band = format!("{}-{}", number(from), number(up_to));
            from = up_to + step(decimals);
            band
        }
        None => format!(">{}", number(from - step(decimals))),
    };
    classes.iter().map(band).collect()
}

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
        table.source = Some(cited);
        let same_aim = to.unit == was.unit
            && to.per_point == was.index.as_ref().map(|index| index.per_point)
            && aim_of(&was.rule).is_some_and(|aim| Some(aim) == to.aim());
        let kept = same_aim && source.is_some() && was.changed.as_ref().is_none_or(|changed| changed.kept);
        let (name, version) = (by.name.clone(), by.version);
        table.changed = Some(Changed { by: name, on: by.on, version, kept, printed: before, source });
        // What is one's own speaks, unless it was switched off.
        table.in_force = table.in_force.filter(|on| !on);
        (table.set, row.source) = (None, None);
        if !same_aim {
            (row.aim_why, table.aim_why, table.aim_source) = (None, Some("Chosen here.".into()), None);
        }
        to.write(&mut table, &mut row);
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
        let mut table = RawTable {
            title: format!("{}, added here", analyte.name()),
            source: Some(by.cite("Added", "own limits".into())),
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
            aim_why: Some("Chosen here.".into()),
            ..RawTable::default()
        };
        let mut row = RawRow { analyte: analyte.to_string(), ..RawRow::default() };
        to.write(&mut table, &mut row);
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

/// What a rule aims at, where it is one figure.
fn aim_of(rule: &Rule) -> Option<f64> {
    match rule {
        Rule::Classes(classes) => Some(classes.aim),
        Rule::Critical { critical, .. } | Rule::AvailabilityIndex { critical, .. } => Some(*critical),
        _ => None,
    }
}

impl Bounds {
    /// What they aim at.
    fn aim(&self) -> Option<f64> {
        Some(match &self.bands {
            Bands::Classes { aim, .. } => *aim,
            // The aim of an index of level and pH moves with all of its figures.
            Bands::Availability { .. } => return None,
            Bands::Critical { critical, .. } => *critical,
        })
    }

    fn write(&self, table: &mut RawTable, row: &mut RawRow) {
        (row.unit, row.decimals) = (Some(self.unit.to_string()), Some(self.decimals));
        if self.per_point.is_some() {
            row.index_scale = self.per_point;
        }
        match &self.bands {
            Bands::Critical { critical, high } => (row.critical, row.high) = (Some(*critical), *high),
            Bands::Availability { constant, per_unit, per_ph, critical, high } => {
                let (constant, per_unit, per_ph) = (*constant, *per_unit, *per_ph);
                let index = RawAvailability { constant, per_unit, per_ph, critical: *critical, high: *high };
                row.availability_index = Some(index);
            }
            Bands::Classes { classes, aim } => {
                table.classes = classes.iter().map(|c| RawClass { name: c.name.clone(), is: c.is }).collect();
                // The highest of the best classes that the aim reaches.
                let mut floor = 0.0;
                let mut best = None;
                for class in classes {
                    if class.is == ClassIs::Aim && (best.is_none() || *aim >= floor - 1e-9) {
                        best = Some(class.name.clone());
                    }
                    floor = class.up_to.map_or(f64::INFINITY, |up_to| up_to + step(self.decimals));
                }
                (row.aim_class, table.aim_class) = (None, best);
                table.index &= classes
                    .iter()
                    .map(|c| c.name.parse::<Index>())
                    .collect::<Result<Vec<_>, _>>()
                    .is_ok_and(|all| all.is_sorted_by(|a, b| a < b));
                row.printed = Some(printed(classes, self.decimals));
                (row.aim, row.seam) = (Some(*aim), vec![]);
            }
        }
    }
}
