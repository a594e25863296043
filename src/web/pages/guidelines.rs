//! Guidelines: whose tables a plot is read by. Every table is shown with its source, and
//! what is known only from memory is marked; the arguments about a guideline stand side by side.
//! What was changed in a copy says so beside what its publisher printed.

use crate::{
    agronomy::{
        guideline::{self, Classes, Criterion, Gives, Guideline, Position, RateEquation, Rates, Rule, Saturation},
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
use std::borrow::Cow;

/// Every guideline.
#[derive(Template, WebTemplate)]
#[template(path = "pages/guidelines/list.html")]
pub struct GuidelinesPage {
    frame: Frame,
    own: Vec<(GuidelineRow, Guideline)>,
    archived: Vec<(GuidelineRow, Guideline)>,
    shipped: &'static [Guideline],
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
pub(super) struct Table {
    pub heading: String,
    /// The methods that the limits were made for.
    pub methods: String,
    /// The soils and crops that it is for; empty for any.
    pub condition: String,
    unit: String,
    /// Class, printed band, and what the program takes it for.
    classes: Vec<(String, String, &'static str)>,
    /// Aim, limits and seams, as sentences.
    pub sentences: Vec<String>,
    notes: Vec<String>,
    source: Source,
    /// That it was changed or added here, in a sentence.
    pub changed: Option<String>,
    in_force: bool,
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
    in_force: bool,
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
    Ok(GuidelinesPage { frame: cx.frame("Guidelines"), own, archived, shipped: guideline::builtin() })
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
    let versions = cx.app.guideline_versions(&cx.actor, &slug).await?;
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
        let rates = guideline.rates.iter().map(|rates| RateView::of(rates)).collect();
        GuidelinePage { frame, guideline, own, newer, address, tables, rates, form }
    }

    /// How many tables are known only from memory.
    fn from_memory(&self) -> usize {
        let rates = self.rates.iter().filter(|rates| !rates.in_force).count();
        self.tables.iter().filter(|table| !table.in_force).count() + rates
    }

    /// How many were changed or added here.
    fn changed(&self) -> usize {
        self.tables.iter().filter(|table| table.changed.is_some()).count()
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

/// "Changed here by Ines on 21 Mar 2026. University of Delaware printed: Low 0-70 …".
fn changed(criterion: &Criterion) -> Option<String> {
    let changed = criterion.changed.as_ref()?;
    let when = show::date(changed.on);
    Some(match &changed.source {
        Some(source) => {
            format!("Changed here by {} on {when}. {} printed: {}.", changed.by, source.publisher, changed.printed)
        }
        None => format!("Added here by {} on {when}; no publisher printed it.", changed.by),
    })
}

impl Table {
    pub(super) fn of(criterion: &Criterion) -> Table {
        let methods: Vec<_> = criterion.methods.iter().map(|method| method.label()).collect();
        let mut table = Table {
            heading: criterion.analyte.name(),
            methods: methods.join("; "),
            condition: criterion.when.to_string(),
            unit: criterion.unit_words(),
            classes: vec![],
            sentences: vec![],
            notes: criterion.notes.clone(),
            source: Source::of(&criterion.source),
            changed: changed(criterion),
            in_force: criterion.in_force,
        };
        let decimals = usize::from(criterion.decimals);
        let printed = |value: f64| format!("{} {}", show::number(value, decimals), table.unit).trim().to_owned();
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
                    table.unit,
                    number(*per_ph),
                    number(*critical)
                );
                std::iter::once(index).chain(high).collect()
            }
            Rule::Saturation(saturation) => about_saturation(saturation),
            Rule::Typical { printed, .. } => {
                vec![format!("Usually found: {printed}. No aim is published, so nothing is ever called short by it.")]
            }
            Rule::LeftAlone(why) => vec![format!("No aim: {why}")],
        };
        if matches!(criterion.rule, Rule::Saturation(_)) {
            table.unit = "share of the exchange capacity".into();
        }
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
            in_force: rates.in_force,
        }
    }
}

impl RateLine {
    fn of(rates: &Rates, row: &guideline::RateRow) -> RateLine {
        let crops: Vec<String> = row.crops.iter().map(|crop| crop.in_sentence()).collect();
        let (cells, mut remarks) = match &row.gives {
            Gives::Table(table) => (table.printed.iter().map(|rate| show::significant(*rate, 4)).collect(), vec![]),
            Gives::Equation(equation) => {
                let words = format!("{} I² − {} I + {}", equation.square, -equation.linear, equation.constant);
                (vec![words], vec![equation_kept(equation, &rates.unit_words())])
            }
        };
        remarks.extend(row.withheld.iter().map(|why| format!("Not followed: {why}")));
        remarks.extend(row.notes.iter().cloned());
        RateLine { printed_for: row.printed_for.clone(), crops: crops.join(", "), cells, remarks }
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

fn about_saturation(saturation: &Saturation) -> Vec<String> {
    let mut sentences = vec![format!(
        "Published: {} % of the capacity. Aim: {} %. {}",
        saturation.printed,
        show::significant(saturation.aim, 3),
        saturation.aim_why
    )];
    let limit = |words: &str, limit: &guideline::Limit| {
        let source = &limit.source;
        format!("{words} {} mg/kg ({}, {}).", show::significant(limit.mg_per_kg.0, 4), source.publisher, source.title)
    };
    sentences.extend(saturation.floor.as_ref().map(|floor| limit("Never aims below", floor)));
    sentences.extend(saturation.ceiling.as_ref().map(|ceiling| limit("Never aims above", ceiling)));
    sentences
}
