//! The form that edits an own guideline, rule by rule: limits, rates for crops, nitrate tests and
//! rules for parts. It never loses what was typed, also where somebody else saved in the meantime.

use super::{
    guideline_parts::{NitrateFields, RateFields, SplitFields},
    guidelines::changed,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        guideline::{Bands, Bounds, ClassIs, Criterion, differences, in_words, units_for},
        method::{Method, Purpose},
        record::Unit,
    },
    app::{
        self,
        own_guidelines::{ClassForm, OwnForm, RuleForm, Shown},
    },
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::filters,
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// The form.
#[derive(Template, WebTemplate)]
#[template(path = "pages/guidelines/form.html")]
pub struct GuidelineFormPage {
    frame: Frame,
    form: Form,
    slug: String,
    rules: Vec<RuleFields>,
    added: RuleFields,
    rates: Vec<RateFields>,
    nitrate: Vec<NitrateFields>,
    splits: Vec<SplitFields>,
    /// What others saved since the version that the form was read at.
    since: Vec<String>,
}

/// The fields of one rule.
struct RuleFields {
    /// What its fields begin with: `rules.3`.
    at: String,
    name: String,
    /// Its first test and its ground, for the head of its fold.
    short: String,
    /// Every test that it is for, where the head does not name it.
    methods: String,
    /// Its limits in a line.
    words: String,
    changed: Option<String>,
    /// Known only from memory, and so off unless it is switched on.
    from_memory: bool,
    /// Its limits are points of an index, each worth so much of this unit.
    in_points: Option<String>,
    kind: Kind,
    units: Vec<(String, String)>,
    /// The numbers of the lines for classes.
    lines: std::ops::Range<usize>,
    /// Something of it needs another look.
    wrong: bool,
}

#[derive(PartialEq)]
enum Kind {
    Classes,
    Critical,
    /// An index of level and pH.
    Availability,
    /// Shares of the exchange capacity.
    Saturation,
    /// What is usually found.
    Typical,
    /// No aim, and why.
    LeftAlone,
}

/// Empty lines for classes after those that there are.
const MORE_LINES: usize = 2;
/// Lines for the classes of a new rule.
const NEW_LINES: usize = 5;
/// More lines than any published table has.
const LINES_MAX: usize = 24;

impl RuleFields {
    fn of(at: usize, criterion: &Criterion, form: &Form) -> RuleFields {
        let kind = match Bounds::of(criterion).bands {
            Bands::Classes { .. } => Kind::Classes,
            Bands::Critical { .. } => Kind::Critical,
            Bands::Availability { .. } => Kind::Availability,
            Bands::Saturation { .. } => Kind::Saturation,
            Bands::Typical { .. } => Kind::Typical,
            Bands::LeftAlone { .. } => Kind::LeftAlone,
        };
        let at = format!("rules.{at}");
        let methods: Vec<_> = criterion.methods.iter().map(|method| method.label()).collect();
        RuleFields {
            name: criterion.analyte.name(),
            short: short(criterion),
            methods: if methods.len() > 1 { methods.join("; ") } else { String::new() },
            words: in_words(criterion),
            changed: changed(criterion.changed.as_ref()),
            from_memory: criterion.is_from_memory(),
            in_points: criterion.index.as_ref().map(|_| criterion.unit.to_string()),
            kind,
            units: units(units_for(criterion.analyte, criterion.layer.is_some())),
            lines: 0..lines(&at, form) + MORE_LINES,
            wrong: wrong(&at, form),
            at,
        }
    }

    fn is_classes(&self) -> bool {
        self.kind == Kind::Classes
    }

    fn is_availability(&self) -> bool {
        self.kind == Kind::Availability
    }

    fn is_saturation(&self) -> bool {
        self.kind == Kind::Saturation
    }

    fn is_typical(&self) -> bool {
        self.kind == Kind::Typical
    }

    fn is_left_alone(&self) -> bool {
        self.kind == Kind::LeftAlone
    }

    /// Shares are percent in every guideline, and a sentence has no unit.
    fn has_unit(&self) -> bool {
        !self.is_saturation() && !self.is_left_alone()
    }

    fn unit_choices(&self) -> Vec<(String, String)> {
        self.units.clone()
    }

    fn numbers(&self) -> std::ops::Range<usize> {
        self.lines.clone()
    }

    /// What a class can count as.
    fn counts_as(&self) -> Vec<(&'static str, &'static str)> {
        ClassIs::ALL.iter().map(|is| (is.slug(), is.label())).collect()
    }

    /// The full name of one of its fields.
    fn field(&self, name: &str) -> String {
        format!("{}.{name}", self.at)
    }

    fn class_field(&self, line: &usize, name: &str) -> String {
        format!("{}.classes.{line}.{name}", self.at)
    }
}

/// "by Mehlich-3, ICP and 4 other tests; soil without free lime".
fn short(criterion: &Criterion) -> String {
    let first = criterion.methods.first().map_or("", |method| method.label());
    let others = match criterion.methods.len() {
        ..=1 => String::new(),
        2 => " and another test".into(),
        all => format!(" and {} other tests", all - 1),
    };
    let ground = criterion.when.to_string();
    let ground = if ground.is_empty() { ground } else { format!("; {ground}") };
    format!("by {first}{others}{ground}")
}

/// A unit's key, and its words.
fn units(units: Vec<Unit>) -> Vec<(String, String)> {
    units.into_iter().map(|unit| (unit.to_string(), unit.to_string())).collect()
}

/// How many lines of classes a form holds for a rule.
fn lines(at: &str, form: &Form) -> usize {
    let says =
        |line: &usize| ["name", "up_to"].iter().any(|f| !form.value(&format!("{at}.classes.{line}.{f}")).is_empty());
    (0..LINES_MAX).rev().find(says).map_or(0, |line| line + 1)
}

pub(super) fn wrong(at: &str, form: &Form) -> bool {
    let of_rule = |field: &str| field.strip_prefix(at).is_some_and(|rest| rest.starts_with('.'));
    form.wrong_fields().any(of_rule)
}

/// A form with everything that a version holds.
fn filled(held: &OwnForm) -> Form {
    let mut form = Form::new();
    form.set("version", held.version);
    for (name, value) in [("name", &held.name), ("scope", &held.scope), ("notes", &held.notes)] {
        form.set(name, value);
    }
    for (at, rule) in &held.rules {
        let fields = [
            ("unit", &rule.unit),
            ("aim", &rule.aim),
            ("critical", &rule.critical),
            ("low", &rule.low),
            ("high", &rule.high),
            ("per_point", &rule.per_point),
            ("constant", &rule.constant),
            ("per_unit", &rule.per_unit),
            ("per_ph", &rule.per_ph),
            ("floor", &rule.floor),
            ("ceiling", &rule.ceiling),
            ("why", &rule.why),
        ];
        for (name, value) in fields {
            form.set(format!("rules.{at}.{name}"), value);
        }
        form.set(format!("rules.{at}.in_use"), if rule.in_use { "on" } else { "" });
        for (line, class) in rule.classes.iter().enumerate() {
            for (name, value) in [("name", &class.name), ("is", &class.is), ("up_to", &class.up_to)] {
                form.set(format!("rules.{at}.classes.{line}.{name}"), value);
            }
        }
    }
    for (name, value) in &held.parts {
        form.set(name, value);
    }
    form
}

/// What is typed about a rule whose fields begin with `at`.
fn rule(at: &str, form: &Form) -> RuleForm {
    let of = |name: &str| form.value(&format!("{at}.{name}")).to_owned();
    let class = |line: usize| ClassForm {
        name: of(&format!("classes.{line}.name")),
        is: of(&format!("classes.{line}.is")),
        up_to: of(&format!("classes.{line}.up_to")),
    };
    RuleForm {
        remove: !of("remove").is_empty(),
        analyte: of("analyte"),
        method: of("method"),
        lime: of("lime"),
        unit: of("unit"),
        classes: (0..lines(at, form)).map(class).collect(),
        aim: of("aim"),
        critical: of("critical"),
        low: of("low"),
        high: of("high"),
        per_point: of("per_point"),
        constant: of("constant"),
        per_unit: of("per_unit"),
        per_ph: of("per_ph"),
        floor: of("floor"),
        ceiling: of("ceiling"),
        why: of("why"),
        shown: !of("shown").is_empty(),
        in_use: !of("in_use").is_empty(),
        source: of("source"),
        judgement: !of("judgement").is_empty(),
    }
}

/// What is typed, as the app takes it.
fn typed(form: &Form) -> Result<OwnForm> {
    let version = form.value("version").parse().map_err(|_| Error::from_status(StatusCode::BAD_REQUEST))?;
    let places =
        form.pairs().filter_map(|(name, _)| name.strip_prefix("rules.")?.split('.').next()?.parse::<usize>().ok());
    let places: std::collections::BTreeSet<usize> = places.collect();
    Ok(OwnForm {
        version,
        name: form.value("name").to_owned(),
        scope: form.value("scope").to_owned(),
        notes: form.verbatim("notes").to_owned(),
        rules: places.into_iter().map(|at| (at, rule(&format!("rules.{at}"), form))).collect(),
        added: rule("added", form),
        parts: form
            .pairs()
            .filter(|(name, _)| ["rates.", "nitrate.", "splits."].iter().any(|part| name.starts_with(part)))
            .map(|(name, value)| (name.to_owned(), value.to_owned()))
            .collect(),
    })
}

impl GuidelineFormPage {
    fn of(cx: &Cx, shown: &Shown, form: Form) -> GuidelineFormPage {
        let (guideline, slug) = (&shown.guideline, shown.guideline.slug.clone());
        let frame = cx.frame(format!("Edit {}", guideline.title)).under("/guidelines", "Guidelines");
        let rules = guideline.criteria.iter().enumerate().map(|(at, c)| RuleFields::of(at, c, &form)).collect();
        let added = RuleFields {
            at: "added".into(),
            name: String::new(),
            short: String::new(),
            methods: String::new(),
            words: String::new(),
            changed: None,
            from_memory: false,
            in_points: None,
            kind: Kind::Classes,
            units: units(
                Unit::ALL.iter().copied().filter(|unit| !matches!(unit, Unit::MeqPer100cm3 | Unit::ToOne)).collect(),
            ),
            lines: 0..NEW_LINES.max(lines("added", &form) + 1),
            wrong: wrong("added", &form),
        };
        let frame = frame.under(format!("/guidelines/{slug}"), &guideline.title);
        let rates = guideline.rates.iter().enumerate().map(|(at, rates)| RateFields::of(at, rates, &form)).collect();
        let nitrate =
            guideline.nitrate.iter().enumerate().map(|(at, test)| NitrateFields::of(at, test, &form)).collect();
        let splits = guideline.splits.iter().enumerate().map(|(at, rule)| SplitFields::of(at, rule, &form)).collect();
        GuidelineFormPage { frame, form, slug, rules, added, rates, nitrate, splits, since: vec![] }
    }

    /// What can be measured, to choose from.
    fn analytes(&self) -> Vec<(String, String)> {
        let none = (String::new(), "Nothing to add".to_owned());
        let levels = Analyte::all().filter(|analyte| !analyte.is_ratio());
        std::iter::once(none).chain(levels.map(|analyte| (analyte.to_string(), analyte.name()))).collect()
    }

    /// Methods that limits can be made for.
    fn methods(&self) -> Vec<(String, String)> {
        let named = Method::NAMED.iter().filter(|method| **method != Method::Unstated);
        let words = |method: &Method| match method.purpose() {
            Purpose::Ph => format!("pH: {}", method.label()),
            Purpose::Conductivity => format!("Conductivity: {}", method.label()),
            _ => method.label().to_owned(),
        };
        std::iter::once((String::new(), "Choose".into())).chain(named.map(|m| (m.slug(), words(m)))).collect()
    }

    fn limes(&self) -> [(&'static str, &'static str); 3] {
        [("", "any soil"), ("without", "soil without free lime"), ("with", "soil with free lime")]
    }
}

/// `GET /guidelines/{slug}/edit`
pub async fn edit(cx: Cx, Path(slug): Path<String>) -> Result<GuidelineFormPage> {
    let shown = cx.app.guideline(&cx.actor, &slug, None).await?;
    let row = shown.own.as_ref().ok_or_else(Error::not_found)?;
    let form = filled(&OwnForm::of(row, &shown.guideline));
    Ok(GuidelineFormPage::of(&cx, &shown, form))
}

/// `POST /guidelines/{slug}/edit`
pub async fn save(cx: Cx, Path(slug): Path<String>, form: Form) -> Result<Response> {
    // Whether there is such a guideline is said before what is wrong with the form.
    let newest = cx.app.guideline(&cx.actor, &slug, None).await?;
    let typed = typed(&form)?;
    match cx.app.edit_guideline(&cx.actor, &slug, &typed).await {
        Ok(version) if version == typed.version => {
            Ok(see(format!("/guidelines/{slug}")).say("Nothing was changed.").into_response())
        }
        Ok(version) => {
            Ok(see(format!("/guidelines/{slug}")).say(format!("Saved as version {version}.")).into_response())
        }
        Err(error) => {
            // The fields are named by their place in the version that they were read from.
            let shown = cx.app.guideline(&cx.actor, &slug, Some(typed.version)).await?;
            let stale = matches!(error, app::Error::Conflict(_));
            let since = if stale { differences(&shown.guideline, &newest.guideline) } else { vec![] };
            let page = GuidelineFormPage { since, ..GuidelineFormPage::of(&cx, &shown, form.refused(error)?) };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
