//! Guidelines: whose tables a plot is read by. Every table is shown with its source, and
//! what is known only from memory is marked; the arguments about a guideline stand side by side.

use crate::{
    agronomy::{
        guideline::{
            self, Classes, Criterion, Gives, Guideline, Position, RateEquation, Rates, Rule, Saturation, When,
        },
        source::{Citation, Evidence},
    },
    web::{
        error::{Error, Result},
        guard::Cx,
        show,
        view::Frame,
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::extract::Path;

/// Every guideline.
#[derive(Template, WebTemplate)]
#[template(path = "pages/guidelines/list.html")]
pub struct GuidelinesPage {
    frame: Frame,
    guidelines: &'static [Guideline],
}

/// One guideline with all its tables.
#[derive(Template, WebTemplate)]
#[template(path = "pages/guidelines/show.html")]
pub struct GuidelinePage {
    frame: Frame,
    guideline: &'static Guideline,
    address: Option<&'static str>,
    tables: Vec<Table>,
    rates: Vec<RateView>,
}

/// One rule as the page prints it.
struct Table {
    heading: String,
    /// The methods that the limits were made for.
    methods: String,
    /// The soils and crops that it is for; empty for any.
    condition: String,
    unit: String,
    /// Class, printed band, and what the program takes it for.
    classes: Vec<(String, String, &'static str)>,
    /// Aim, limits and seams, as sentences.
    sentences: Vec<String>,
    notes: &'static [String],
    source: Source,
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
    notes: &'static [String],
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
    address: Option<&'static str>,
    evidence: &'static str,
    unverified: bool,
}

/// `GET /guidelines`
pub async fn list(cx: Cx) -> GuidelinesPage {
    GuidelinesPage { frame: cx.frame("Guidelines"), guidelines: guideline::builtin() }
}

/// `GET /guidelines/{slug}`
pub async fn show(cx: Cx, Path(slug): Path<String>) -> Result<GuidelinePage> {
    let guideline = guideline::find(&slug).ok_or_else(Error::not_found)?;
    let frame = cx.frame(&guideline.title).under("/guidelines", "Guidelines");
    let web = |address: &&str| address.starts_with("https://") || address.starts_with("http://");
    let address = Some(guideline.address.as_str()).filter(web);
    let tables = guideline.criteria.iter().map(Table::of).collect();
    let rates = guideline.rates.iter().map(|rates| RateView::of(rates)).collect();
    Ok(GuidelinePage { frame, guideline, address, tables, rates })
}

impl GuidelinePage {
    /// How many tables are known only from memory.
    fn from_memory(&self) -> usize {
        let rates = self.rates.iter().filter(|rates| !rates.in_force).count();
        self.tables.iter().filter(|table| !table.in_force).count() + rates
    }
}

impl Source {
    fn of(citation: &'static Citation) -> Source {
        let year = if citation.year > 0 { format!(", {}", citation.year) } else { String::new() };
        let by = if citation.publisher.is_empty() { String::new() } else { format!("{}, ", citation.publisher) };
        Source {
            words: format!("{by}{}{year}", citation.title),
            address: show::address(citation),
            evidence: citation.evidence.words(),
            unverified: citation.evidence == Evidence::Memory,
        }
    }
}

impl Table {
    fn of(criterion: &'static Criterion) -> Table {
        let methods: Vec<_> = criterion.methods.iter().map(|method| method.label()).collect();
        let mut table = Table {
            heading: criterion.analyte.name(),
            methods: methods.join("; "),
            condition: condition(&criterion.when),
            unit: criterion.unit_words(),
            classes: vec![],
            sentences: vec![],
            notes: &criterion.notes,
            source: Source::of(&criterion.source),
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
                let high = high.map(|high| format!("From {} on the publisher warns of too much.", printed(high)));
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
    fn of(rates: &'static Rates) -> RateView {
        let methods: Vec<_> = rates.methods.iter().map(|method| method.label()).collect();
        let columns = rates.rows.iter().find_map(|row| match &row.gives {
            Gives::Table(table) => Some(table.columns.iter().map(ToString::to_string).collect()),
            Gives::Equation(_) => None,
        });
        RateView {
            title: rates.title.clone(),
            nutrient: crate::agronomy::analyte::Analyte::Element(rates.element).name(),
            methods: methods.join("; "),
            condition: condition(&rates.when),
            unit: rates.unit_words(),
            columns: columns.unwrap_or_default(),
            rows: rates.rows.iter().map(|row| RateLine::of(rates, row)).collect(),
            notes: &rates.notes,
            source: Source::of(&rates.source),
            in_force: rates.in_force,
        }
    }
}

impl RateLine {
    fn of(rates: &'static Rates, row: &'static guideline::RateRow) -> RateLine {
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
fn bands(classes: &'static Classes) -> Vec<(String, String, &'static str)> {
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

/// The soils and crops that a rule is for.
fn condition(when: &When) -> String {
    let mut words = Vec::new();
    if !when.uses.is_empty() {
        words.push(when.uses.iter().map(|land_use| land_use.label()).collect::<Vec<_>>().join(", "));
    }
    if !when.textures.is_empty() {
        words.push(when.textures.iter().map(|texture| texture.label()).collect::<Vec<_>>().join(", "));
    }
    if let Some((low, high)) = when.ph {
        words.push(match (low, high) {
            (low, high) if low <= 0.0 => format!("pH below {high}"),
            (low, high) if high >= 14.0 => format!("pH {low} or more"),
            (low, high) => format!("pH {low} to below {high}"),
        });
    }
    match when.carbonate {
        Some(true) => words.push("soil with free lime".into()),
        Some(false) => words.push("soil without free lime".into()),
        None => {}
    }
    words.join("; ")
}
