//! Own guidelines: a copy of a published one, or of an own one, that stewards edit. Every edit
//! is a new version; old ones stay, because plans name them. Whoever saves upon a version that
//! is no longer the newest is told so, and nothing is lost.

mod beside;
mod rates;
mod typed;

pub use beside::WORKSHEET;
pub use rates::in_short as rate_row_in_short;
pub use typed::Typed;

use super::{Actor, App, Error, Problems, Result, Role, access::found, error::Limits, guidelines};
use crate::{
    agronomy::{
        analyte::Analyte,
        guideline::{
            Bands, Bounds, ClassBound, ClassIs, Criterion, Draft, Editor, Fault, Field, Guideline, Rates, differences,
        },
        method::Method,
        record::Unit,
    },
    exchange::number::{self, Low},
    ids::GuidelineId,
    store::{self, Change, Subject},
};
use std::{borrow::Cow, collections::BTreeMap};

pub use crate::store::guidelines::GuidelineRow;

/// What is typed about a guideline. Rules are named by their place in the version that was read;
/// a rule that the form does not name stays as it is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OwnForm {
    /// The version that was read.
    pub version: i64,
    pub name: String,
    pub scope: String,
    /// A note to a line.
    pub notes: String,
    pub rules: BTreeMap<usize, RuleForm>,
    /// A rule to add; one without an analyte is none.
    pub added: RuleForm,
    /// Rates for crops, nitrate tests and rules for parts, by the names of their fields.
    pub parts: Typed,
}

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
    pub high: String,
    /// What a point of the index is worth, where the limits are points of one.
    pub per_point: String,
    /// Of an index of level and pH.
    pub constant: String,
    pub per_unit: String,
    pub per_ph: String,
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

/// A guideline with what the record says of it.
#[derive(Clone, Debug)]
pub struct Shown {
    pub guideline: Cow<'static, Guideline>,
    /// `None` for one that comes with the program.
    pub own: Option<GuidelineRow>,
    /// The newest version of an own one.
    pub newest: i64,
}

/// A saved version and what it changed.
#[derive(Clone, Debug)]
pub struct Version {
    pub row: GuidelineRow,
    /// Against the version before, or for the first against what was copied.
    pub changes: Vec<String>,
}

/// A limit of a class or of a rule, in whatever unit it is printed.
const LIMIT: Limits = Limits { what: "A limit", unit: "", low: Low::AtLeast(0.0), at_most: 1e7, decimals: 4 };
/// A figure of an index of level and pH, which may also lie below 0.
const OF_INDEX: Limits = Limits { what: "A figure", unit: "", low: Low::AtLeast(-1e6), at_most: 1e6, decimals: 6 };
const NAME: usize = 100;

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
        let unit = bounds.unit.to_string();
        let per_point = bounds.per_point.map(|value| value.to_string()).unwrap_or_default();
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
                high: high.map(|high| high.to_string()).unwrap_or_default(),
                ..RuleForm::default()
            },
        }
    }

    /// The limits that were typed, or what is wrong with them by fields that begin with `at`.
    /// `like` is what is held so far, for its kind and the precision that it was printed with.
    fn read(
        &self,
        at: &str,
        analyte: Analyte,
        like: Option<&Bounds>,
        layer: bool,
        problems: &mut Problems,
    ) -> Option<Bounds> {
        let critical = like.is_some_and(|held| matches!(held.bands, Bands::Critical { .. }));
        let availability = like.is_some_and(|held| matches!(held.bands, Bands::Availability { .. }));
        let mut wrong = Problems::default();
        let mut finest = like.map_or(0, |held| held.decimals);
        let mut limit = |wrong: &mut Problems, field: &str, typed: &str| {
            let read = wrong.take(&format!("{at}.{field}"), number::parse_optional(typed, &LIMIT)).flatten()?;
            finest = finest.max(read.decimals);
            Some(read.value)
        };
        let unit = wrong.one_of::<Unit>(&format!("{at}.unit"), &self.unit);
        let typed = self.classes.iter().enumerate();
        let typed: Vec<(usize, &ClassForm)> =
            typed.filter(|(_, c)| !c.name.trim().is_empty() || !c.up_to.trim().is_empty()).collect();
        let bands = if availability {
            let mut figure = |field: &str, typed: &str, missing: &str| {
                let field = format!("{at}.{field}");
                if typed.trim().is_empty() && !missing.is_empty() {
                    wrong.add(&field, missing);
                }
                Some(wrong.take(&field, number::parse_optional(typed, &OF_INDEX)).flatten()?.value)
            };
            let constant = figure("constant", &self.constant, "Type what the index begins with.");
            let per_unit = figure("per_unit", &self.per_unit, "Type what each unit of the level adds.");
            let per_ph = figure("per_ph", &self.per_ph, "Type what each unit of pH takes off.");
            let critical = figure("critical", &self.critical, "Say below which index it is short.");
            let high = figure("high", &self.high, "");
            match (constant, per_unit, per_ph, critical) {
                (Some(constant), Some(per_unit), Some(per_ph), Some(critical)) => {
                    Some(Bands::Availability { constant, per_unit, per_ph, critical, high })
                }
                _ => None,
            }
        } else if critical {
            if self.critical.trim().is_empty() {
                wrong.add(&format!("{at}.critical"), "Say below which value it is short.");
            }
            let critical = limit(&mut wrong, "critical", &self.critical);
            let high = limit(&mut wrong, "high", &self.high);
            critical.map(|critical| Bands::Critical { critical, high })
        } else {
            let mut classes = Vec::new();
            for (line, class) in &typed {
                let is = wrong.one_of::<ClassIs>(&format!("{at}.classes.{line}.is"), &class.is);
                let up_to = limit(&mut wrong, &format!("classes.{line}.up_to"), &class.up_to);
                let name = class.name.trim().to_owned();
                classes.extend(is.map(|is| ClassBound { name, is, up_to }));
            }
            if self.aim.trim().is_empty() {
                wrong.add(&format!("{at}.aim"), "Say which value is aimed at.");
            }
            limit(&mut wrong, "aim", &self.aim).map(|aim| Bands::Classes { classes, aim })
        };
        let mut per_point = None;
        if like.is_some_and(|held| held.per_point.is_some()) {
            let field = format!("{at}.per_point");
            if self.per_point.trim().is_empty() {
                wrong.add(&field, "Say what a point of the index is worth.");
            }
            let read = wrong.take(&field, number::parse_optional(&self.per_point, &OF_INDEX)).flatten();
            per_point = read.map(|read| read.value);
        }
        let mut bounds = None;
        if let (true, Some(unit), Some(bands)) = (wrong.is_empty(), unit, bands) {
            let read = Bounds { unit, decimals: finest, per_point, bands };
            for Fault { field, says } in read.faults(analyte, layer) {
                let line = |i: usize| typed.get(i).map_or(i, |(line, _)| *line);
                let field = match field {
                    Field::Unit => "unit".to_owned(),
                    Field::Classes => "classes".to_owned(),
                    Field::Name(i) => format!("classes.{}.name", line(i)),
                    Field::Is(i) => format!("classes.{}.is", line(i)),
                    Field::UpTo(i) => format!("classes.{}.up_to", line(i)),
                    Field::Aim => "aim".to_owned(),
                    Field::Critical => "critical".to_owned(),
                    Field::High => "high".to_owned(),
                    Field::PerPoint => "per_point".to_owned(),
                    Field::PerUnit => "per_unit".to_owned(),
                    Field::PerPh => "per_ph".to_owned(),
                };
                wrong.add(&format!("{at}.{field}"), says);
            }
            bounds = Some(read).filter(|_| wrong.is_empty());
        }
        problems.0.extend(wrong.0);
        bounds
    }

    /// On whose word the limits are changed: a source, or the person's own judgement, said so.
    fn editor(&self, at: &str, by: By<'_>, problems: &mut Problems) -> Option<Editor> {
        let (actor, on, version) = by;
        typed::editor(&format!("{at}.source"), (&self.source, self.judgement), actor, on, version, problems)
    }
}

/// Who edits, on which day, and the version that comes of it.
type By<'a> = (&'a Actor, jiff::civil::Date, i64);

impl OwnForm {
    /// The form as it shows a version.
    pub fn of(row: &GuidelineRow, guideline: &Guideline) -> OwnForm {
        let rule = |(at, c): (usize, &Criterion)| {
            let shown = Bounds::of(c).map_or_else(RuleForm::default, |bounds| RuleForm::of(&bounds));
            (at, RuleForm { shown: true, in_use: c.in_force, ..shown })
        };
        let mut parts = Typed::new();
        rates::show(guideline, &mut parts);
        beside::show(guideline, &mut parts);
        OwnForm {
            parts,
            version: row.version,
            name: row.name.clone(),
            scope: guideline.scope.clone(),
            notes: guideline.notes.join("\n"),
            rules: guideline.criteria.iter().enumerate().map(rule).collect(),
            added: RuleForm::default(),
        }
    }

    /// The draft with what was typed in it, or everything that is wrong.
    fn write(&self, draft: &mut Draft, was: &Guideline, by: By<'_>) -> Result<()> {
        let mut problems = Problems::default();
        let rates_before: Vec<Rates> = was.rates.iter().map(|rates| (**rates).clone()).collect();
        let mut shown = Typed::new();
        rates::show(was, &mut shown);
        beside::show(was, &mut shown);
        let name = problems.text("name", &self.name, NAME, "Give the guideline a name.");
        let scope = problems.text("scope", &self.scope, 1000, "Say what ground and crops it is for.");
        let notes = self.notes.lines().map(str::trim).filter(|line| !line.is_empty()).map(str::to_owned).collect();
        draft.describe(&name, &scope, notes);
        let mut gone = Vec::new();
        for (at, typed) in &self.rules {
            let Some(was) = draft.criterion(*at) else { continue };
            if typed.remove {
                gone.push(*at);
                continue;
            }
            if typed.shown && typed.in_use != was.in_force {
                draft.switch(*at, typed.in_use);
            }
            let Some(held) = Bounds::of(&was) else { continue };
            // What stands as it was shown is not changed, whatever a reading of it would make.
            let shown = RuleForm::of(&held);
            if shown.figures() == typed.figures() && shown.filled() == typed.filled() {
                continue;
            }
            let field = format!("rules.{at}");
            let Some(to) = typed.read(&field, was.analyte, Some(&held), was.layer.is_some(), &mut problems) else {
                continue;
            };
            if (to.unit, to.per_point, &to.bands) == (held.unit, held.per_point, &held.bands) {
                continue;
            }
            if let Some(editor) = typed.editor(&field, by, &mut problems)
                && let Err(says) = draft.change(*at, &to, &editor)
            {
                problems.add(&format!("{field}.classes"), format!("{says}."));
            }
        }
        draft.remove(&gone);
        if !self.added.analyte.trim().is_empty() {
            self.add(draft, by, &mut problems);
        }
        rates::write(&rates_before, (&self.parts, &shown), draft, by, &mut problems);
        beside::write((&self.parts, &shown), draft, by, &mut problems);
        problems.none()
    }

    fn add(&self, draft: &mut Draft, by: By<'_>, problems: &mut Problems) {
        let typed = &self.added;
        let Some(analyte) = problems.one_of::<Analyte>("added.analyte", &typed.analyte) else { return };
        if typed.method.trim().is_empty() {
            return problems.add("added.method", "Choose the test that finds it.");
        }
        let fits = |method: &Method| *method != Method::Unstated && Method::for_analyte(analyte).contains(method);
        let Some(method) = problems.one_of::<Method>("added.method", &typed.method).filter(|m| {
            if !fits(m) {
                problems
                    .add("added.method", format!("{} is not tested by that: choose its own method.", analyte.name()));
            }
            fits(m)
        }) else {
            return;
        };
        let lime = match typed.lime.as_str() {
            "with" => Some(true),
            "without" => Some(false),
            _ => None,
        };
        let methods = [method];
        if draft.answering(analyte, &methods, lime).is_some() {
            let says = format!(
                "There are limits for {} by this method already: change those, or remove them.",
                analyte.name()
            );
            problems.add("added.method", says);
        }
        let bounds = typed.read("added", analyte, None, draft.has_layer(), problems);
        let by = typed.editor("added", by, problems);
        if let (Some(to), Some(by)) = (bounds, by)
            && let Err(says) = draft.add(analyte, &methods, lime, &to, &by)
        {
            problems.add("added.classes", format!("{says}."));
        }
    }
}

impl RuleForm {
    /// What is typed besides the classes.
    fn figures(&self) -> [&str; 8] {
        let all = [
            &self.unit,
            &self.aim,
            &self.critical,
            &self.high,
            &self.per_point,
            &self.constant,
            &self.per_unit,
            &self.per_ph,
        ];
        all.map(|typed| typed.trim())
    }

    /// The lines of classes that say anything.
    fn filled(&self) -> Vec<(&str, &str, &str)> {
        let lines = self.classes.iter().map(|c| (c.name.trim(), c.is.trim(), c.up_to.trim()));
        lines.filter(|(name, _, up_to)| !name.is_empty() || !up_to.is_empty()).collect()
    }
}

fn subject(id: i64) -> Subject {
    Subject::Guideline(GuidelineId(id))
}

/// The number in an own guideline's key, which history knows it by.
fn number_of(slug: &str) -> Result<i64> {
    slug.strip_prefix("own_").and_then(|n| n.parse().ok()).ok_or(Error::NotFound("guideline"))
}

fn unreadable(problems: Vec<crate::agronomy::guideline::Problem>) -> Error {
    Error::Internal(problems.first().map(ToString::to_string).unwrap_or_default())
}

impl App {
    /// Every own guideline in its newest version, by name; archived ones too.
    pub async fn own_guidelines(&self, actor: &Actor) -> Result<Vec<(GuidelineRow, Guideline)>> {
        actor.may(Role::Reader)?;
        let rows = store::guidelines::newest(&mut *self.store.read().await?).await?;
        rows.into_iter().map(|row| Ok((row.clone(), guidelines::read(&row)?))).collect()
    }

    /// A guideline by its key, shipped or own; an own one in the version asked for, or its newest.
    pub async fn guideline(&self, actor: &Actor, slug: &str, version: Option<i64>) -> Result<Shown> {
        actor.may(Role::Reader)?;
        if let Some(shipped) = crate::agronomy::guideline::find(slug) {
            return Ok(Shown { guideline: Cow::Borrowed(shipped), own: None, newest: 0 });
        }
        let mut db = self.store.read().await?;
        let newest = found(store::guidelines::newest_of(&mut db, slug).await?, "guideline")?;
        let number = newest.version;
        let row = match version.filter(|version| *version != number) {
            Some(version) => found(store::guidelines::find(&mut db, slug, version).await?, "guideline")?,
            None => newest,
        };
        Ok(Shown { guideline: Cow::Owned(guidelines::read(&row)?), own: Some(row), newest: number })
    }

    /// The versions of an own guideline, newest first, each with what it changed.
    pub async fn guideline_versions(&self, actor: &Actor, slug: &str) -> Result<Vec<Version>> {
        actor.may(Role::Reader)?;
        let rows = store::guidelines::versions(&mut *self.store.read().await?, slug).await?;
        if rows.is_empty() {
            return Err(Error::NotFound("guideline"));
        }
        let mut versions = Vec::new();
        let mut before: Option<Guideline> = None;
        for row in rows {
            let is = guidelines::read(&row)?;
            let changes = match &before {
                Some(was) => differences(was, &is),
                None => vec![format!("Copied: {}.", is.publisher)],
            };
            versions.push(Version { row, changes });
            before = Some(is);
        }
        versions.reverse();
        Ok(versions)
    }

    /// Copies a guideline, shipped or own, under a name of its own, and gives the copy's key.
    pub async fn copy_guideline(&self, actor: &Actor, slug: &str, name: &str) -> Result<String> {
        actor.may(Role::Steward)?;
        let of = self.guideline(actor, slug, None).await?.guideline;
        let mut problems = Problems::default();
        let name = problems.text("name", name, NAME, "Give your copy a name.");
        problems.none()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        free(&mut write, &name, "").await?;
        let id = store::guidelines::next_id(&mut write).await?;
        let key = format!("own_{id}");
        let draft = Draft::copy(&of, &key, &name).map_err(unreadable)?;
        draft.guideline().map_err(unreadable)?;
        store::guidelines::insert(&mut write, &key, &name, &of.slug, &draft.text()).await?;
        let said = format!("The guideline {} was copied as {name}.", of.title);
        write.commit(Change::new(subject(id), "copied", said)).await?;
        Ok(key)
    }

    /// Saves what was typed as the next version, and gives its number; the old one stays.
    pub async fn edit_guideline(&self, actor: &Actor, slug: &str, form: &OwnForm) -> Result<i64> {
        actor.may(Role::Steward)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let newest = found(store::guidelines::newest_of(&mut write, slug).await?, "guideline")?;
        if newest.version != form.version {
            return Err(store::Error::Stale.into());
        }
        let mut draft = Draft::read(&newest.toml).map_err(unreadable)?;
        let was = guidelines::read(&newest)?;
        form.write(&mut draft, &was, (actor, self.today(), newest.version + 1))?;
        let name = form.name.trim();
        free(&mut write, name, slug).await?;
        let is = draft.guideline().map_err(|problems| {
            let says = problems.first().map(|problem| problem.says.clone()).unwrap_or_default();
            Error::invalid("", format!("These limits make no guideline: {says}."))
        })?;
        let changes = differences(&was, &is);
        if changes.is_empty() {
            return Ok(newest.version);
        }
        let version = store::guidelines::insert(&mut write, slug, name, &newest.based_on, &draft.text()).await?;
        if newest.archived_at.is_some() {
            store::guidelines::archive(&mut write, slug, version).await?;
        }
        let said = format!("The guideline {name} was edited: version {version}.");
        let change = Change::new(subject(number_of(slug)?), "edited", said);
        write.commit(change.with(serde_json::json!({ "changes": changes }))).await?;
        Ok(version)
    }

    /// Offers a guideline no longer, or offers it again; sites and plans that follow it go on.
    pub async fn archive_guideline(&self, actor: &Actor, slug: &str, archived: bool) -> Result<()> {
        actor.may(Role::Steward)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let newest = found(store::guidelines::newest_of(&mut write, slug).await?, "guideline")?;
        if newest.archived_at.is_some() == archived {
            return Ok(());
        }
        let (verb, said) = match archived {
            true => {
                store::guidelines::archive(&mut write, slug, newest.version).await?;
                ("archived", format!("The guideline {} was archived.", newest.name))
            }
            false => {
                store::guidelines::restore(&mut write, slug, newest.version).await?;
                ("restored", format!("The guideline {} is offered again.", newest.name))
            }
        };
        Ok(write.commit(Change::new(subject(number_of(slug)?), verb, said)).await?)
    }
}

/// Refuses a name that another guideline has.
async fn free(db: &mut store::Db, name: &str, slug: &str) -> Result<()> {
    let own = store::guidelines::newest(db).await?;
    let taken = own.iter().any(|row| row.slug != slug && row.name == name)
        || crate::agronomy::guideline::builtin().iter().any(|set| set.title == name);
    match taken {
        true => Err(Error::invalid("name", format!("There is a guideline “{name}” already."))),
        false => Ok(()),
    }
}
