//! Own guidelines: a copy of a published one, or of an own one, that stewards edit. Every edit
//! is a new version; old ones stay, because plans name them. Whoever saves upon a version that
//! is no longer the newest is told so, and nothing is lost.

mod beside;
mod rates;
mod rule;
mod typed;

pub use beside::WORKSHEET;
pub use rates::in_short as rate_row_in_short;
pub use rule::{ClassForm, RuleForm};
pub use typed::Typed;

use super::{Actor, App, Error, Problems, Result, Role, access::found, guidelines};
use crate::{
    agronomy::{
        analyte::Analyte,
        guideline::{Bounds, Criterion, Draft, Guideline, Rates, Rule, differences},
        method::Method,
    },
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

const NAME: usize = 100;

/// Who edits, on which day, and the version that comes of it.
type By<'a> = (&'a Actor, jiff::civil::Date, i64);

impl OwnForm {
    /// The form as it shows a version.
    pub fn of(row: &GuidelineRow, guideline: &Guideline) -> OwnForm {
        let rule = |(at, c): (usize, &Criterion)| {
            (at, RuleForm { shown: true, in_use: c.in_force, ..RuleForm::of(&Bounds::of(c)) })
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
        let (mut gone, mut changed) = (Vec::new(), Vec::new());
        for (at, typed) in &self.rules {
            let Some(was) = draft.criterion(*at) else { continue };
            if typed.remove {
                gone.push(*at);
                continue;
            }
            if typed.shown && typed.in_use != was.in_force {
                draft.switch(*at, typed.in_use);
            }
            let held = Bounds::of(&was);
            // What stands as it was shown is not changed, whatever a reading of it would make.
            if !typed.differs_from(&RuleForm::of(&held)) {
                continue;
            }
            let field = format!("rules.{at}");
            let Some(to) = typed.read(&field, was.analyte, Some(&held), was.layer.is_some(), &mut problems) else {
                continue;
            };
            if (to.unit, to.per_point, &to.bands) == (held.unit, held.per_point, &held.bands) {
                continue;
            }
            if let Some(editor) = typed.editor(&field, by, &mut problems) {
                match draft.change(*at, &to, &editor) {
                    Ok(()) => changed.push(*at),
                    Err(says) => problems.add(&format!("{field}.classes"), format!("{says}.")),
                }
            }
        }
        for at in changed {
            if let Some(sum) = shares_beyond_all(draft, at, &gone) {
                let says = format!(
                    "Together with the other shares for this soil, the aims come to {sum} % of the capacity. No soil \
                     holds more than 100 %."
                );
                problems.add(&format!("rules.{at}.aim"), says);
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

/// What the shares aimed at beside this rule's come to, in percent, where that is more than there is.
fn shares_beyond_all(draft: &Draft, at: usize, gone: &[usize]) -> Option<f64> {
    let this = draft.criterion(at)?;
    let share = |criterion: &Criterion| match &criterion.rule {
        Rule::Saturation(shares) => Some(shares.aim),
        _ => None,
    };
    share(&this)?;
    let beside = (0..draft.len()).filter(|other| !gone.contains(other)).filter_map(|other| draft.criterion(other));
    let same = beside.filter(|other| other.in_force && other.when == this.when && other.methods == this.methods);
    let sum = same.filter_map(|other| share(&other)).sum::<f64>();
    let shown = (sum * 100.0).round() / 100.0;
    (shown > 100.0).then_some(shown)
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
