//! Amendments: the list with what is in the shed, and a product's own page: its analyses in
//! element and oxide, packs and prices, cautions with their source.

use crate::{
    agronomy::{
        amendment::{Analysis, Convention, Kind},
        analyte::Analyte,
        caution::{CautionNote, Context, cautions_for},
        content::{self, Content},
        element::{Element, Form as Oxide},
        material,
        plausibility::products,
        source::{Citation, Evidence},
    },
    app::{
        self,
        amendments::{AmendmentForm, AmendmentPage as Found, AmendmentRow, AnalysisForm, PackForm, PackRow, PartForm},
        history::{ChangeRow, Subject},
        lists::{ListStatusRow, STANDINGS, listing},
    },
    ids::{AmendmentId, PackId},
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Path, RawQuery},
    http::StatusCode,
    response::{IntoResponse, Response},
};
use std::collections::BTreeSet;

/// Every product.
#[derive(Template, WebTemplate)]
#[template(path = "pages/amendments/list.html")]
pub struct AmendmentsPage {
    frame: Frame,
    lines: Vec<Line>,
    /// Whether those no longer offered are shown too.
    all: bool,
}

struct Line {
    row: AmendmentRow,
    contents: String,
    stock: Option<String>,
    packs: String,
    mark: Option<&'static str>,
}

/// The form to add a product, or to edit one.
#[derive(Template, WebTemplate)]
#[template(path = "pages/amendments/form.html")]
pub struct AmendmentFormPage {
    frame: Frame,
    action: String,
    form: Form,
    /// Whether the analysis is asked for too.
    new: bool,
}

/// One product.
#[derive(Template, WebTemplate)]
#[template(path = "pages/amendments/show.html")]
pub struct AmendmentPage {
    frame: Frame,
    found: Found,
    analyses: Vec<AnalysisView>,
    cautions: Vec<CautionNote>,
    history: Vec<ChangeRow>,
    /// Published facts beside its content: sentence, who says so.
    facts: Vec<(String, Source)>,
    /// What may be wrong with the analysis in force, as questions, with why it is asked.
    questions: Vec<(String, Source)>,
    /// What lists say of it, the newest first.
    statuses: Vec<ListStatusRow>,
    /// Names of lists that the record knows.
    lists: Vec<String>,
    form: Form,
    /// Which form was refused: `analysis`, `pack`, `stock`.
    refused: &'static str,
}

/// An analysis as the page prints it.
struct AnalysisView {
    from: String,
    label: String,
    in_force: bool,
    rows: Vec<ContentRow>,
    neutralising: Option<String>,
    moisture: Option<String>,
    ammonium: Option<String>,
    source: Source,
}

/// One element of it: percent as the element, as the oxide, usable in the first year.
struct ContentRow {
    name: String,
    percent: String,
    oxide: String,
    available: String,
    printed: String,
    source: Source,
}

/// A citation as the page prints it.
struct Source {
    words: String,
    address: Option<String>,
    evidence: &'static str,
    unverified: bool,
}

impl Source {
    fn of(citation: &Citation) -> Source {
        let year = if citation.year > 0 { format!(", {}", citation.year) } else { String::new() };
        let parts = [citation.publisher.as_str(), citation.title.as_str()];
        let words: Vec<_> = parts.into_iter().filter(|part| !part.is_empty()).collect();
        Source {
            words: format!("{}{year}", words.join(", ")),
            address: show::address(citation).map(str::to_owned),
            evidence: citation.evidence.words(),
            unverified: citation.evidence == Evidence::Memory,
        }
    }
}

/// Lines for elements in the form.
const PARTS: usize = 8;

/// "K 41.5 % (50 % K2O), S 18 %": what a product holds, in a line.
fn contents(analysis: &Analysis) -> String {
    let one = |content: &Content<'_>| {
        let oxide =
            content.oxide.map_or_else(String::new, |(form, p)| format!(" ({} % {form})", show::significant(p, 3)));
        format!("{} {}\u{a0}%{oxide}", content.element, show::significant(content.percent, 3))
    };
    let mut words: Vec<_> = content::contents(analysis).iter().map(one).collect();
    words.extend(analysis.neutralising_value.map(|v| format!("neutralises {}\u{a0}%", show::significant(v, 3))));
    words.join(", ")
}

/// "25 kg, £18.50".
fn pack(pack: &PackRow) -> String {
    let price = pack.price_minor.zip(pack.currency.as_deref()).map(|(minor, currency)| show::money(minor, currency));
    match price {
        Some(price) => format!("{}, {price}", show::mass(pack.mass_g)),
        None => format!("{}, no price yet", show::mass(pack.mass_g)),
    }
}

impl AnalysisView {
    fn of(row: &crate::app::amendments::AnalysisRow, in_force: bool) -> AnalysisView {
        let analysis = &row.analysis;
        let percent = |value: f64| format!("{}\u{a0}%", show::significant(value, 3));
        AnalysisView {
            from: show::date(row.valid_from),
            label: analysis.label.clone(),
            in_force,
            rows: content::contents(analysis)
                .into_iter()
                .map(|content| ContentRow {
                    name: Analyte::Element(content.element).name(),
                    percent: percent(content.percent),
                    oxide: content.oxide.map_or_else(String::new, |(form, p)| format!("{} {form}", percent(p))),
                    available: percent(content.available_percent),
                    printed: content.part.printed.clone(),
                    source: Source::of(&content.part.source),
                })
                .collect(),
            neutralising: analysis.neutralising_value.map(percent),
            moisture: content::moisture_percent(analysis).map(percent),
            ammonium: analysis.ammonium_n.map(|share| percent(share * 100.0)),
            source: Source::of(&analysis.source),
        }
    }
}

/// `GET /amendments?all=1`
pub async fn list(cx: Cx, RawQuery(query): RawQuery) -> Result<AmendmentsPage> {
    let all = query.is_some_and(|query| query.split('&').any(|pair| pair == "all=1"));
    let stock = cx.app.stock(&cx.actor).await?;
    let packs = cx.app.packs(&cx.actor).await?;
    let lines = cx.app.amendments(&cx.actor, all).await?.into_iter().map(|row| {
        let on_sale = packs.get(&row.id).into_iter().flatten().filter(|pack| pack.archived_on.is_none());
        Line {
            contents: contents(&row.amendment.analysis),
            stock: stock.get(&row.id).map(|grams| show::mass(*grams)),
            packs: on_sale.map(pack).collect::<Vec<_>>().join("; "),
            mark: show::evidence_mark(row.amendment.analysis.evidence()),
            row,
        }
    });
    Ok(AmendmentsPage { lines: lines.collect(), frame: cx.frame("Amendments"), all })
}

/// `POST /amendments/catalogue`: takes over the catalogue that comes with the program.
pub async fn seed(cx: Cx) -> Result<Response> {
    let added = cx.app.seed_catalogue(&cx.actor, cx.app.today()).await?;
    let said = format!("{} added from the catalogue. Packs have no prices yet.", show::count(added, "product"));
    Ok(see("/amendments").say(said).into_response())
}

/// The analysis that a form holds.
fn analysis(form: &Form) -> AnalysisForm {
    let of = |name: &str| form.value(name).to_owned();
    let part = |n: usize| PartForm {
        substance: of(&format!("parts.{n}.substance")),
        percent: of(&format!("parts.{n}.percent")),
        available_percent: of(&format!("parts.{n}.available_percent")),
    };
    AnalysisForm {
        valid_from: of("valid_from"),
        label: of("label"),
        convention: of("convention"),
        source: of("source"),
        neutralising_value: of("neutralising_value"),
        moisture_percent: of("moisture_percent"),
        ammonium_n_percent: of("ammonium_n_percent"),
        parts: (0..PARTS).map(part).collect(),
    }
}

fn conventions() -> Vec<(&'static str, &'static str)> {
    Convention::ALL.iter().map(|convention| (convention.slug(), convention.label())).collect()
}

/// What a part of an analysis can be called: elements and oxides.
fn substances() -> Vec<&'static str> {
    let oxides = Oxide::ALL.iter().map(|form| form.symbol());
    Element::ALL.iter().map(|element| element.symbol()).chain(oxides).collect()
}

/// The numbers of the lines for elements.
fn part_lines() -> std::ops::Range<usize> {
    0..PARTS
}

impl AmendmentFormPage {
    fn kinds(&self) -> Vec<(&'static str, &'static str)> {
        let unanswered = ("", "Choose");
        std::iter::once(unanswered).chain(Kind::ALL.iter().map(|kind| (kind.slug(), kind.label()))).collect()
    }

    fn conventions(&self) -> Vec<(&'static str, &'static str)> {
        conventions()
    }

    fn substances(&self) -> Vec<&'static str> {
        substances()
    }

    fn part_lines(&self) -> std::ops::Range<usize> {
        part_lines()
    }

    fn adding(cx: &Cx, form: Form) -> AmendmentFormPage {
        let frame = cx.frame("A new product").under("/amendments", "Amendments");
        AmendmentFormPage { frame, action: "/amendments".into(), form, new: true }
    }

    fn editing(cx: &Cx, row: &AmendmentRow, form: Form) -> AmendmentFormPage {
        let path = format!("/amendments/{}", row.id);
        let frame = cx.frame("Edit the product").under("/amendments", "Amendments").under(&path, &row.amendment.name);
        AmendmentFormPage { frame, action: path, form, new: false }
    }
}

/// `GET /amendments/new`
pub async fn new(cx: Cx) -> AmendmentFormPage {
    let today = cx.app.today().to_string();
    AmendmentFormPage::adding(&cx, Form::filled([("valid_from", today.as_str()), ("source", "The bag")]))
}

/// `POST /amendments`
pub async fn add(cx: Cx, form: Form) -> Result<Response> {
    match cx.app.add_amendment(&cx.actor, &form.read_as()?, &analysis(&form)).await {
        Ok(id) => Ok(see(format!("/amendments/{id}")).say("Saved.").into_response()),
        Err(error) => {
            let page = AmendmentFormPage::adding(&cx, form.refused(error)?);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `GET /amendments/{amendment}/edit`
pub async fn edit(cx: Cx, Path(id): Path<AmendmentId>) -> Result<AmendmentFormPage> {
    let row = cx.app.amendment(&cx.actor, id).await?.row;
    let form = Form::of(&AmendmentForm::from(&row));
    Ok(AmendmentFormPage::editing(&cx, &row, form))
}

/// `POST /amendments/{amendment}`
pub async fn change(cx: Cx, Path(id): Path<AmendmentId>, form: Form) -> Result<Response> {
    let row = cx.app.amendment(&cx.actor, id).await?.row;
    match cx.app.edit_amendment(&cx.actor, id, &form.read_as()?).await {
        Ok(()) => Ok(see(format!("/amendments/{id}")).say("Saved.").into_response()),
        Err(error) => {
            let form = form.refused_edit(error, &AmendmentForm::from(&row))?;
            let page = AmendmentFormPage::editing(&cx, &row, form);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

impl AmendmentPage {
    pub(super) async fn load(cx: &Cx, id: AmendmentId) -> Result<AmendmentPage> {
        let found = cx.app.amendment(&cx.actor, id).await?;
        let frame = cx.frame(&found.row.amendment.name).under("/amendments", "Amendments");
        let analyses = found.analyses.iter().map(|row| AnalysisView::of(row, row.id == found.row.analysis)).collect();
        let cautions = cautions_for(&found.row.amendment, &Context::default());
        let history = cx.app.history(&cx.actor, Subject::Amendment(id)).await?;
        let statuses = cx.app.list_statuses(&cx.actor).await?;
        let printed = found.row.amendment.list_status.iter().map(|status| status.scheme.clone());
        let lists: BTreeSet<String> = statuses.iter().map(|row| row.list.clone()).chain(printed).collect();
        let statuses = statuses.into_iter().filter(|row| row.amendment == id).collect();
        let today = cx.app.today().to_string();
        let currency = found.packs.iter().rev().find_map(|pack| pack.currency.clone());
        let currency = match currency {
            Some(currency) => currency,
            None => cx.app.sites(&cx.actor).await?.first().map_or_else(String::new, |site| site.currency.clone()),
        };
        let form = Form::filled([
            ("valid_from", today.as_str()),
            ("counted_on", &today),
            ("stated_on", &today),
            ("currency", &currency),
        ]);
        let lists = lists.into_iter().collect();
        let facts = material::facts(&found.row.amendment);
        let facts = facts.into_iter().map(|(text, source)| (text, Source::of(&source))).collect();
        let questions = products::questions(&found.row.amendment, &found.row.amendment.analysis);
        let questions = questions.into_iter().map(|asked| (asked.text, Source::of(&asked.source))).collect();
        let refused = "";
        Ok(AmendmentPage {
            frame,
            found,
            analyses,
            cautions,
            facts,
            questions,
            history,
            statuses,
            lists,
            form,
            refused,
        })
    }

    fn conventions(&self) -> Vec<(&'static str, &'static str)> {
        conventions()
    }

    fn substances(&self) -> Vec<&'static str> {
        substances()
    }

    fn part_lines(&self) -> std::ops::Range<usize> {
        part_lines()
    }

    /// The page with a form that was refused beside it.
    pub(super) fn refusing(self, form: Form) -> AmendmentPage {
        AmendmentPage { form, refused: "file", ..self }
    }

    /// How a product can stand on a list.
    fn standings(&self) -> Vec<(&'static str, &'static str)> {
        let choose = ("", "Choose");
        std::iter::once(choose).chain(STANDINGS.iter().map(|(key, words, _)| (*key, *words))).collect()
    }

    /// A status in words.
    fn status(&self, row: &ListStatusRow) -> String {
        let words = listing(row).words(&row.list);
        let mut chars = words.chars();
        chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
    }

    fn is_refused(&self, name: &str) -> bool {
        self.refused == name
    }

    /// The form of this name as it was left, or an empty one.
    fn form_of(&self, name: &str) -> Form {
        if self.refused == name || self.refused.is_empty() { self.form.clone() } else { Form::new() }
    }

    /// The packs on sale: number, words, and whether a price is known.
    fn packs(&self) -> Vec<(PackId, String, bool)> {
        let on_sale = self.found.packs.iter().filter(|pack| pack.archived_on.is_none());
        let supplier =
            |row: &PackRow| if row.supplier.is_empty() { String::new() } else { format!(", {}", row.supplier) };
        on_sale.map(|row| (row.id, format!("{}{}", pack(row), supplier(row)), row.price_minor.is_some())).collect()
    }

    /// The field of a pack's price.
    fn price_field(&self, pack: &PackId) -> String {
        format!("price-{pack}")
    }

    fn stock(&self) -> Option<String> {
        self.found.stock_g.map(show::mass)
    }

    fn address<'a>(&self, citation: &'a Citation) -> Option<&'a str> {
        show::address(citation)
    }
}

/// `GET /amendments/{amendment}`
pub async fn show(cx: Cx, Path(id): Path<AmendmentId>) -> Result<AmendmentPage> {
    AmendmentPage::load(&cx, id).await
}

pub(super) async fn answer<T>(
    cx: &Cx,
    id: AmendmentId,
    form: Form,
    refused: &'static str,
    done: app::Result<T>,
    said: &str,
) -> Result<Response> {
    match done {
        Ok(_) => Ok(see(format!("/amendments/{id}")).say(said).into_response()),
        Err(error) => {
            let page = AmendmentPage { form: form.refused(error)?, refused, ..AmendmentPage::load(cx, id).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /amendments/{amendment}/analyses`
pub async fn add_analysis(cx: Cx, Path(id): Path<AmendmentId>, form: Form) -> Result<Response> {
    let done = cx.app.add_analysis(&cx.actor, id, &analysis(&form)).await;
    let said = "The new analysis holds from its day on; what was put on before keeps its own.";
    answer(&cx, id, form, "analysis", done, said).await
}

/// `POST /amendments/{amendment}/packs`
pub async fn add_pack(cx: Cx, Path(id): Path<AmendmentId>, form: Form) -> Result<Response> {
    let typed: PackForm = form.read_as()?;
    let done = cx.app.add_pack(&cx.actor, id, &typed).await;
    answer(&cx, id, form, "pack", done, "The pack is added.").await
}

/// `POST /packs/{pack}/price`
pub async fn price_pack(cx: Cx, Path(pack): Path<PackId>, form: Form) -> Result<Response> {
    let id = form.value("amendment").parse::<AmendmentId>().map_err(|_| Error::from_status(StatusCode::BAD_REQUEST))?;
    let done = cx.app.price_pack(&cx.actor, pack, form.value("price"), form.value("currency")).await;
    // Only the price is asked for there; what is wrong with it stands above all packs.
    let (mut told, pack) = (Form::new(), format!("price-{pack}"));
    told.set(pack.as_str(), form.value("price"));
    told.set("currency", form.value("currency"));
    if let Err(app::Error::Invalid(problems)) = &done {
        for problem in &problems.0 {
            told.problem(pack.as_str(), &problem.message);
        }
    }
    answer(&cx, id, told, "price", done, "The price is set.").await
}

/// `POST /packs/{pack}/archive`
pub async fn archive_pack(cx: Cx, Path(pack): Path<PackId>, form: Form) -> Result<Response> {
    cx.app.archive_pack(&cx.actor, pack).await?;
    let back = form.value("amendment").parse::<AmendmentId>();
    let back = back.map_or_else(|_| "/amendments".to_owned(), |id| format!("/amendments/{id}"));
    Ok(see(back).say("The pack is off sale.").into_response())
}

/// `POST /amendments/{amendment}/stock`
pub async fn count(cx: Cx, Path(id): Path<AmendmentId>, form: Form) -> Result<Response> {
    let mut told = form.clone();
    let done = cx.app.count_stock(&cx.actor, id, form.value("counted_on"), form.value("counted_kg")).await;
    if let Err(app::Error::Invalid(problems)) = &done {
        for problem in problems.0.iter().filter(|problem| problem.field == "mass_kg") {
            told.problem("counted_kg", &problem.message);
        }
    }
    answer(&cx, id, told, "stock", done, "Counted.").await
}

/// `POST /amendments/{amendment}/archive`
pub async fn archive(cx: Cx, Path(id): Path<AmendmentId>, form: Form) -> Result<Response> {
    let archived = form.value("archived") == "1";
    cx.app.archive_amendment(&cx.actor, id, archived).await?;
    let said = if archived { "It is no longer offered; its record stays." } else { "It is offered again." };
    Ok(see(format!("/amendments/{id}")).say(said).into_response())
}
