//! Guidelines: whose tables a plot is read by. Every table is shown with its source, and
//! what is known only from memory is marked; the arguments about a guideline stand side by side.
//! What was changed in a copy says so beside what its publisher printed.

use crate::{
    agronomy::{
        guideline::{
            self, Changed, Classes, Criterion, Gives, GivesKind, Guideline, NitrateGives, NitrateTest, Position,
            RateEquation, Rates, Rule, Saturation, SplitRule,
        },
        source::{Citation, Evidence},
    },
    app::{
        guidelines::WITH_MEMORY,
        own_guidelines::{GuidelineRow, Shown, Version},
    },
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show::{self, filters},
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
use std::{borrow::Cow, sync::Arc};

/// Every guideline.
#[derive(Template, WebTemplate)]
#[template(path = "pages/guidelines/list.html")]
pub struct GuidelinesPage {
    frame: Frame,
    own: Vec<(GuidelineRow, Guideline)>,
    archived: Vec<(GuidelineRow, Guideline)>,
    /// Those that a site can be read by.
    shipped: Vec<&'static Guideline>,
    /// Nitrate tests and rules for parts.
    beside: Vec<&'static Guideline>,
}

/// One guideline with all its tables.
#[derive(Template, WebTemplate)]
#[template(path = "pages/guidelines/show.html")]
pub struct GuidelinePage {
    frame: Frame,
    guideline: Cow<'static, Guideline>,
    /// `None` for one that comes with the program.
    own: Option<GuidelineRow>,
    /// The newest version, where an older one is shown.
    newer: Option<i64>,
    address: Option<String>,
    tables: Vec<Table>,
    rates: Vec<RateView>,
    nitrate: Vec<NitrateView>,
    splits: Vec<SplitView>,
    /// Of the copy that a steward is about to make.
    form: Form,
}

/// The versions of an own guideline.
#[derive(Template, WebTemplate)]
#[template(path = "pages/guidelines/versions.html")]
pub struct VersionsPage {
    frame: Frame,
    slug: String,
    versions: Vec<Version>,
}

/// One rule as the page prints it.
struct Table {
    heading: String,
    /// The methods that the limits were made for.
    methods: String,
    /// The soils and crops that it is for; empty for any.
    condition: String,
    /// What its figures are in, as a sentence; empty for none.
    unit: String,
    /// Class, printed band, and what the program takes it for.
    classes: Vec<(String, String, &'static str)>,
    /// Aim, limits and seams, as sentences.
    sentences: Vec<String>,
    notes: Vec<String>,
    source: Source,
    /// That it was changed or added here, in a sentence.
    changed: Option<String>,
    /// That it does not speak, and why.
    state: Option<&'static str>,
}

/// Rates for crops as the page prints them.
struct RateView {
    title: String,
    nutrient: String,
    methods: String,
    condition: String,
    unit: String,
    /// Headings of a table of rates; empty where there are only equations.
    columns: Vec<String>,
    rows: Vec<RateLine>,
    notes: Vec<String>,
    source: Source,
    state: Option<&'static str>,
}

/// The rates of some crops.
struct RateLine {
    printed_for: String,
    /// The crops here that take them.
    crops: String,
    /// By column, or the equation alone.
    cells: Vec<String>,
    /// What is done with the equation, and why a rate is not followed.
    remarks: Vec<String>,
    /// That it was changed or added here, in a sentence.
    changed: Option<String>,
}

/// A nitrate test as the page prints it.
struct NitrateView {
    name: String,
    made_for: String,
    /// Heading of the column that says what a band asks for; empty where it is a class alone.
    asks: &'static str,
    /// Class, band in mg/kg, and what it asks for.
    bands: Vec<(String, String, String)>,
    sentences: Vec<String>,
    notes: Vec<String>,
    source: Source,
    changed: Option<String>,
    state: Option<&'static str>,
}

/// A rule for parts as the page prints it.
struct SplitView {
    heading: String,
    rule: String,
    notes: Vec<String>,
    source: Source,
    changed: Option<String>,
    state: Option<&'static str>,
}

/// A citation as the page prints it.
struct Source {
    words: String,
    address: Option<String>,
    evidence: &'static str,
    unverified: bool,
}

/// The page of a guideline, by the key and version that a site or a plan follows.
pub(super) fn path_of(key: &str, version: i64) -> String {
    let slug = key.strip_suffix(WITH_MEMORY).unwrap_or(key);
    match version {
        0 => format!("/guidelines/{slug}"),
        version => format!("/guidelines/{slug}/versions/{version}"),
    }
}

/// `GET /guidelines`
pub async fn list(cx: Cx) -> Result<GuidelinesPage> {
    let all = cx.app.own_guidelines(&cx.actor).await?;
    let (archived, own) = all.into_iter().partition(|(row, _)| row.archived_at.is_some());
    let (shipped, beside) = guideline::builtin().iter().partition(|set| set.has_limits());
    Ok(GuidelinesPage { frame: cx.frame("Guidelines"), own, archived, shipped, beside })
}

/// `GET /guidelines/{slug}`
pub async fn show(cx: Cx, Path(slug): Path<String>) -> Result<GuidelinePage> {
    Ok(GuidelinePage::of(&cx, cx.app.guideline(&cx.actor, &slug, None).await?, Form::new()))
}

/// `GET /guidelines/{slug}/versions/{version}`
pub async fn show_version(cx: Cx, Path((slug, version)): Path<(String, i64)>) -> Result<GuidelinePage> {
    Ok(GuidelinePage::of(&cx, cx.app.guideline(&cx.actor, &slug, Some(version)).await?, Form::new()))
}

/// `GET /guidelines/{slug}/versions`
pub async fn versions(cx: Cx, Path(slug): Path<String>) -> Result<VersionsPage> {
    let mut versions = cx.app.guideline_versions(&cx.actor, &slug).await?;
    // No figure is parted from its unit at the end of a line.
    for line in versions.iter_mut().flat_map(|version| &mut version.changes) {
        *line = line.replace(" %", "\u{a0}%").replace(" mg/kg", "\u{a0}mg/kg");
    }
    let name = versions.first().map_or_else(String::new, |version| version.row.name.clone());
    let frame = cx.frame(format!("Versions of {name}")).under("/guidelines", "Guidelines");
    Ok(VersionsPage { frame: frame.under(format!("/guidelines/{slug}"), &name), slug, versions })
}

/// `POST /guidelines/{slug}/copy`
pub async fn copy(cx: Cx, Path(slug): Path<String>, form: Form) -> Result<Response> {
    match cx.app.copy_guideline(&cx.actor, &slug, form.value("name")).await {
        Ok(own) => Ok(see(format!("/guidelines/{own}/edit"))
            .say("The copy is yours. Change what you like; the original stays as it is.")
            .into_response()),
        Err(error) => {
            let form = form.refused(error)?;
            let page = GuidelinePage::of(&cx, cx.app.guideline(&cx.actor, &slug, None).await?, form);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /guidelines/{slug}/archive`
pub async fn archive(cx: Cx, Path(slug): Path<String>, form: Form) -> Result<Response> {
    let archived = form.value("archived") == "1";
    cx.app.archive_guideline(&cx.actor, &slug, archived).await?;
    let said = match archived {
        true => "Archived: it is no longer offered. Sites and plans that follow it go on as they are.",
        false => "It is offered again.",
    };
    Ok(see(format!("/guidelines/{slug}")).say(said).into_response())
}

impl GuidelinePage {
    fn of(cx: &Cx, shown: Shown, mut form: Form) -> GuidelinePage {
        let Shown { guideline, own, newest } = shown;
        let version = own.as_ref().map_or(0, |row| row.version);
        let mut frame = cx.frame(&guideline.title).under("/guidelines", "Guidelines");
        if version < newest {
            frame = frame.under(format!("/guidelines/{}", guideline.slug), &guideline.title);
            frame.title = format!("{}, version {version}", guideline.title);
        }
        if form.value("name").is_empty() && form.wrong() == 0 {
            form.set("name", format!("Ours, after {}", guideline.title));
        }
        let web = |address: &&str| address.starts_with("https://") || address.starts_with("http://");
        let address = Some(guideline.address.as_str()).filter(web).map(str::to_owned);
        let tables = guideline.criteria.iter().map(Table::of).collect();
        let newer = Some(newest).filter(|newest| version < *newest);
        let rates = RateView::all(&guideline.rates);
        let nitrate = guideline.nitrate.iter().map(|test| NitrateView::of(test)).collect();
        let splits = guideline.splits.iter().map(|rule| SplitView::of(rule)).collect();
        GuidelinePage { frame, guideline, own, newer, address, tables, rates, nitrate, splits, form }
    }

    /// How many tables are known only from memory.
    fn from_memory(&self) -> usize {
        let unverified = self.tables.iter().filter(|table| table.source.unverified).count();
        unverified + self.rates.iter().filter(|rates| rates.source.unverified).count()
    }

    /// How many were changed or added here: rules, rows of rates, nitrate tests, rules for parts.
    fn changed(&self) -> usize {
        let rules = self.tables.iter().filter(|table| table.changed.is_some()).count();
        let rows = self.rates.iter().flat_map(|rates| &rates.rows).filter(|row| row.changed.is_some()).count();
        let nitrate = self.nitrate.iter().filter(|test| test.changed.is_some()).count();
        rules + rows + nitrate + self.splits.iter().filter(|rule| rule.changed.is_some()).count()
    }

    /// What its limits, rates, tests and rules are called together.
    fn has_limits(&self) -> bool {
        self.guideline.has_limits()
    }
}

impl Source {
    fn of(citation: &Citation) -> Source {
        let year = if citation.year > 0 { format!(", {}", citation.year) } else { String::new() };
        let by = if citation.publisher.is_empty() { String::new() } else { format!("{}, ", citation.publisher) };
        Source {
            words: format!("{by}{}{year}", citation.title),
            address: show::address(citation).map(str::to_owned),
            evidence: citation.evidence.words(),
            unverified: citation.evidence == Evidence::Memory,
        }
    }
}

/// "Changed here by Ines on 21 Mar 2026, in version 2. University of Delaware printed: Low 0-70 …".
pub(super) fn changed(changed: Option<&Changed>) -> Option<String> {
    let changed = changed?;
    let when = show::date(changed.on);
    let version = if changed.version > 0 { format!(", in version {}", changed.version) } else { String::new() };
    Some(match &changed.source {
        Some(source) => {
            let aim = if changed.kept { " What it aims at or gives is still theirs." } else { "" };
            format!(
                "Changed here by {} on {when}{version}. {} printed: {}.{aim}",
                changed.by, source.publisher, changed.printed
            )
        }
        None => format!("Added here by {} on {when}{version}; no publisher printed it.", changed.by),
    })
}

/// What to say of a table that does not speak.
fn state(in_force: bool, off: bool) -> Option<&'static str> {
    match (in_force, off) {
        (true, _) => None,
        (false, true) => Some("Switched off here."),
        (false, false) => Some("Off unless switched on."),
    }
}

impl NitrateView {
    fn of(test: &NitrateTest) -> NitrateView {
        let mut sentences = test.how_bands_meet();
        if let NitrateGives::Worksheet(sheet) = &test.gives {
            sentences.push(format!("The worksheet: {}.", sheet.words(test.unit)));
        }
        if let Some(factor) = test.in_foot {
            let factor = show::significant(factor, 3);
            sentences.push(format!("Each mg/kg is {factor} {} in the foot of soil.", test.unit.label()));
        }
        NitrateView {
            name: test.name.clone(),
            made_for: test.made_for.clone(),
            asks: match test.kind() {
                GivesKind::Class => "",
                GivesKind::Rate => "Beside the crop",
                GivesKind::OffBase | GivesKind::Worksheet => "What is given",
            },
            bands: test.bands.iter().map(|b| (b.class().to_owned(), b.printed.clone(), test.asks(b))).collect(),
            sentences,
            notes: test.notes.clone(),
            source: Source::of(&test.of.source),
            changed: changed(test.of.changed.as_ref()),
            state: state(test.of.in_force, test.of.off),
        }
    }
}

impl SplitView {
    fn of(rule: &SplitRule) -> SplitView {
        let mut heading = rule.title.clone();
        if !heading.to_lowercase().contains(&rule.material.label().to_lowercase()) {
            heading = format!("{heading} ({})", rule.material.label());
        }
        SplitView {
            heading,
            rule: format!("{}; {} months between.", rule.words(), rule.months_apart),
            notes: rule.notes.clone(),
            source: Source::of(&rule.of.source),
            changed: changed(rule.of.changed.as_ref()),
            state: state(rule.of.in_force, rule.of.off),
        }
    }
}

impl Table {
    fn of(criterion: &Criterion) -> Table {
        let methods: Vec<_> = criterion.methods.iter().map(|method| method.label()).collect();
        let mut table = Table {
            heading: criterion.analyte.name(),
            methods: methods.join("; "),
            condition: criterion.when.to_string(),
            unit: String::new(),
            classes: vec![],
            sentences: vec![],
            notes: criterion.notes.clone(),
            source: Source::of(&criterion.source),
            changed: changed(criterion.changed.as_ref()),
            state: state(criterion.in_force, criterion.off),
        };
        let decimals = usize::from(criterion.decimals);
        let unit = criterion.unit_words();
        let printed = |value: f64| format!("{} {unit}", show::number(value, decimals)).trim().to_owned();
        table.sentences = match &criterion.rule {
            Rule::Classes(classes) => {
                table.classes = bands(classes);
                about_classes(classes, &printed)
            }
            Rule::Critical { critical, high } => {
                let who = if criterion.changed.is_some() { "it counts as" } else { "the publisher warns of" };
                let high = high.map(|high| format!("From {} on {who} too much.", printed(high)));
                std::iter::once(format!("Short below {}.", printed(*critical))).chain(high).collect()
            }
            Rule::AvailabilityIndex { constant, per_unit, per_ph, critical, high } => {
                let number = |value: f64| show::significant(value, 4);
                let high =
                    high.map(|high| format!("From an index of {} on the publisher warns of too much.", number(high)));
                let index = format!(
                    "Index = {} + {} × level in {} − {} × pH; short below an index of {}.",
                    number(*constant),
                    number(*per_unit),
                    unit,
                    number(*per_ph),
                    number(*critical)
                );
                std::iter::once(index).chain(high).collect()
            }
            Rule::Saturation(saturation) => about_saturation(saturation, criterion.changed.is_some()),
            Rule::Typical { printed, .. } => {
                let set = if criterion.changed.is_some() { "set" } else { "published" };
                vec![format!("Usually found: {printed}. No aim is {set}, so nothing is ever called short by it.")]
            }
            Rule::LeftAlone(why) => vec![format!("No aim: {why}")],
        };
        table.unit = match criterion.rule {
            Rule::Saturation(_) => "As a share of the exchange capacity.".into(),
            Rule::LeftAlone(_) => String::new(),
            _ if unit.is_empty() => String::new(),
            _ => format!("In {unit}."),
        };
        if let Some(index) = &criterion.index {
            let Citation { publisher, title, .. } = &index.source;
            table.sentences.push(format!(
                "A point of the index is {} {} ({publisher}, {title}; {}).",
                show::significant(index.per_point, 3),
                criterion.unit,
                index.source.evidence.words()
            ));
        }
        table
    }
}

impl RateView {
    /// Every table; where one is printed for several nutrients alike, it is shown once.
    fn all(tables: &[Arc<Rates>]) -> Vec<RateView> {
        let mut views: Vec<RateView> = Vec::new();
        let mut before: Option<&Rates> = None;
        for rates in tables {
            let alike = |other: &&Rates| {
                let Rates { element, form, .. } = **rates;
                Rates { element, form, ..(*other).clone() } == **rates
            };
            match (before.filter(alike), views.last_mut()) {
                (Some(_), Some(view)) => {
                    view.nutrient = format!("{} and {}", view.nutrient, rates.element.name());
                    view.unit = format!(
                        "{} and {}",
                        view.unit,
                        rates.form.map_or(rates.element.symbol().to_owned(), |form| form.to_string())
                    );
                }
                _ => views.push(RateView::of(rates)),
            }
            before = Some(&**rates);
        }
        views
    }

    fn of(rates: &Rates) -> RateView {
        let methods: Vec<_> = rates.methods.iter().map(|method| method.label()).collect();
        let columns = rates.rows.iter().find_map(|row| match &row.gives {
            Gives::Table(table) => Some(table.columns.iter().map(ToString::to_string).collect()),
            Gives::Equation(_) => None,
        });
        RateView {
            title: rates.title.clone(),
            nutrient: crate::agronomy::analyte::Analyte::Element(rates.element).name(),
            methods: methods.join("; "),
            condition: rates.when.to_string(),
            unit: rates.unit_words(),
            columns: columns.unwrap_or_default(),
            rows: rates.rows.iter().map(|row| RateLine::of(rates, row)).collect(),
            notes: rates.notes.clone(),
            source: Source::of(&rates.source),
            state: state(rates.in_force, rates.off),
        }
    }
}

impl RateLine {
    fn of(rates: &Rates, row: &guideline::RateRow) -> RateLine {
        let crops: Vec<String> = row.crops.iter().map(|crop| crop.in_sentence()).collect();
        let (cells, mut remarks) = match &row.gives {
            Gives::Table(table) => (table.printed.iter().map(|rate| show::significant(*rate, 4)).collect(), vec![]),
            Gives::Equation(equation) => (vec![equation.words()], vec![equation_kept(equation, &rates.unit_words())]),
        };
        remarks.extend(row.withheld.iter().map(|why| format!("Not followed: {why}")));
        remarks.extend(row.notes.iter().cloned());
        let changed = changed(row.changed.as_ref());
        RateLine { printed_for: row.printed_for.clone(), crops: crops.join(", "), cells, remarks, changed }
    }
}

/// From where an equation gives nothing more, or no longer falls.
fn equation_kept(equation: &RateEquation, unit: &str) -> String {
    match (equation.nothing_from(), equation.vertex()) {
        (Some(index), _) => format!("None from an index of {} on.", show::number(index, 0)),
        (None, Some(vertex)) => format!(
            "Stays at {} {unit} from an index of {} on, where it would rise again.",
            show::significant(equation.at(vertex).0, 2),
            show::number(vertex, 0)
        ),
        (None, None) => String::new(),
    }
}

/// Class, printed band, and what it counts as.
fn bands(classes: &Classes) -> Vec<(String, String, &'static str)> {
    classes.classes.iter().map(|class| (class.name.clone(), class.printed.clone(), class.position.words())).collect()
}

fn about_classes(classes: &Classes, printed: &impl Fn(f64) -> String) -> Vec<String> {
    let typical = classes.classes.iter().all(|class| class.position == Position::TypicalRangeOnly);
    let mut sentences = Vec::new();
    if !typical {
        let why = if classes.aim_why.is_empty() { String::new() } else { format!(" {}", classes.aim_why) };
        sentences.push(format!("Aim: {}.{why}", printed(classes.aim)));
    }
    sentences.extend(classes.seams.iter().map(|seam| format!("At {}: {}. {}", printed(seam.at), seam.class, seam.why)));
    sentences
}

fn about_saturation(saturation: &Saturation, changed: bool) -> Vec<String> {
    let mut sentences = vec![format!(
        "{}: {}\u{a0}% of the capacity. Aim: {}\u{a0}%. {}",
        if changed { "Shares" } else { "Published" },
        saturation.printed,
        show::significant(saturation.aim, 3),
        saturation.aim_why
    )];
    let limit = |words: &str, limit: &guideline::Limit| {
        let source = &limit.source;
        if limit.own {
            // Its title repeats what was printed, which stands above already.
            return format!("{words} {}\u{a0}mg/kg ({}).", show::significant(limit.mg_per_kg.0, 4), source.publisher);
        }
        format!(
            "{words} {}\u{a0}mg/kg ({}, {}).",
            show::significant(limit.mg_per_kg.0, 4),
            source.publisher,
            source.title
        )
    };
    sentences.extend(saturation.floor.as_ref().map(|floor| limit("Never aims below", floor)));
    sentences.extend(saturation.ceiling.as_ref().map(|ceiling| limit("Never aims above", ceiling)));
    sentences
}
