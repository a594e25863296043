//! What was harvested: entered with one thumb on a plot or for many plots at once, listed,
//! corrected and taken back; and what each harvest carried away, down to the figures used.

use super::plots::{titled, under_plot, under_site};
use crate::{
    agronomy::{analyte::Analyte, balance::Line, crop::CROPS, crop::Crop, offtake, quantity::KgPerHa},
    app::{
        harvests::{HarvestForm, HarvestRow},
        history::{ChangeRow, Subject},
        plots::{PlotRow, SiteRow},
        season_totals::SpanForm,
    },
    ids::{HarvestId, PlotId, SiteId},
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{Html, IntoResponse, Response},
};
use std::collections::BTreeMap;

/// The harvests of a plot, and the form for one more.
#[derive(Template, WebTemplate)]
#[template(path = "pages/harvests/plot.html")]
pub struct PlotHarvestsPage {
    frame: Frame,
    plot: PlotRow,
    form: Form,
    crops: Vec<(String, String)>,
    rows: Vec<HarvestRow>,
    /// What may be wrong with their mass.
    questions: BTreeMap<HarvestId, String>,
}

/// Several harvests at once.
#[derive(Template, WebTemplate)]
#[template(path = "pages/harvests/several.html")]
pub struct SeveralPage {
    frame: Frame,
    site: SiteRow,
    form: Form,
    blocks: Vec<(String, String)>,
    rows: Vec<BedRow>,
}

/// One line of the form for several: a plot and what grows on it.
struct BedRow {
    /// Name of the row in the form: "12-0".
    key: String,
    title: String,
    /// Key of the crop; empty where the season names none.
    crop: String,
    crop_name: String,
}

impl BedRow {
    fn mass(&self) -> String {
        format!("mass[{}]", self.key)
    }

    fn crop_field(&self) -> String {
        format!("crop[{}]", self.key)
    }
}

/// The harvests of a site between two days.
#[derive(Template, WebTemplate)]
#[template(path = "pages/harvests/site.html")]
pub struct SiteHarvestsPage {
    frame: Frame,
    site: SiteRow,
    form: Form,
    rows: Vec<HarvestRow>,
    /// What may be wrong with their mass.
    questions: BTreeMap<HarvestId, String>,
    /// By crop, kg in all.
    totals: Vec<(String, String)>,
}

/// One harvest.
#[derive(Template)]
#[template(path = "pages/harvests/show.html")]
struct ShowPage<'a> {
    frame: Frame,
    row: &'a HarvestRow,
    form: Form,
    /// What may be wrong with its mass.
    question: Option<String>,
    carried: Vec<Carried<'a>>,
    unknown: String,
    notes: &'a [String],
    lines: Vec<ChangeRow>,
}

/// What a harvest carried away of one element.
struct Carried<'a> {
    name: String,
    mass: String,
    rate: String,
    range: String,
    steps: Steps<'a>,
}

/// A harvest to be corrected.
#[derive(Template, WebTemplate)]
#[template(path = "pages/harvests/correct.html")]
pub struct CorrectPage {
    frame: Frame,
    id: HarvestId,
    form: Form,
    crops: Vec<(String, String)>,
    /// What may be wrong with the mass as it was recorded.
    question: Option<String>,
}

fn failed(page: impl IntoResponse) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
}

/// A crop of the record as a person reads it.
fn crop_name(slug: &str) -> String {
    Crop::find(slug).map_or_else(|| slug.to_owned(), |crop| crop.name.to_owned())
}

/// What was harvested, in a few words: "12 kg of carrot", "nothing".
pub(super) fn what(row: &HarvestRow) -> String {
    match &row.harvest.crop {
        Some(crop) => {
            format!("{} of {}", kilograms(row), crop_in_sentence(crop))
        }
        None => "nothing".to_owned(),
    }
}

/// A crop of the record as it stands in a sentence.
pub(super) fn crop_in_sentence(slug: &str) -> String {
    Crop::find(slug).map_or_else(|| slug.to_owned(), |crop| crop.in_sentence())
}

fn kilograms(row: &HarvestRow) -> String {
    format!("{}\u{a0}kg", show::significant(row.harvest.mass_kg, 4))
}

/// Which figures a harvest goes by, in words.
fn figures_words(row: &HarvestRow) -> String {
    match &row.harvest.figures {
        offtake::Figures::Tables => String::new(),
        offtake::Figures::Table(table) => format!("by the table “{}”", table_name(table)),
        offtake::Figures::Own { words, .. } => format!("by own figures: {words}"),
    }
}

fn table_name(key: &str) -> String {
    let row = offtake::rows().iter().find(|row| row.table == key);
    row.map_or_else(|| key.to_owned(), |row| row.source.publisher.clone())
}

/// What of a list of harvests a void entry is; nothing where it counts.
fn void_words(row: &HarvestRow) -> Option<String> {
    row.voided_at.map(|at| format!("Taken back {}: {}", show::moment(at), row.void_reason.as_deref().unwrap_or("")))
}

fn plot_name(row: &HarvestRow) -> String {
    if row.plot_name == row.plot_code { row.plot_code.clone() } else { format!("{} {}", row.plot_code, row.plot_name) }
}

/// Crops to choose from, those that grow here first.
fn crop_options(here: &[String]) -> Vec<(String, String)> {
    let unanswered = (String::new(), "Choose one".to_owned());
    let growing = here.iter().map(|slug| (slug.clone(), crop_name(slug)));
    let others = CROPS.iter().filter(|crop| !here.iter().any(|slug| slug == crop.slug));
    let others = others.map(|crop| (crop.slug.to_owned(), crop.name.to_owned()));
    std::iter::once(unanswered).chain(growing).chain(others).collect()
}

/// Removal tables to choose from.
fn tables() -> Vec<(String, String)> {
    let mut tables: Vec<(String, String)> = vec![(String::new(), "The best known, with the range over all".into())];
    for row in offtake::rows() {
        if !tables.iter().any(|(key, _)| *key == row.table) {
            tables.push((row.table.clone(), row.source.publisher.clone()));
        }
    }
    tables
}

impl PlotHarvestsPage {
    async fn load(cx: &Cx, id: PlotId, mut form: Form) -> Result<PlotHarvestsPage> {
        let plot = cx.app.plot(&cx.actor, id).await?;
        let site = cx.app.site(&cx.actor, plot.site).await?;
        let rows = cx.app.harvests_of_plot(&cx.actor, id, true).await?;
        if form.value("harvested_on").is_empty() {
            form.set("harvested_on", cx.app.today());
        }
        let on = form.value("harvested_on").parse().unwrap_or_else(|_| cx.app.today());
        let here = cx.app.growing(&cx.actor, plot.site, on).await?.remove(&id).unwrap_or_default();
        if let ([only], "") = (&here[..], form.value("crop")) {
            form.set("crop", only);
        }
        let frame = under_plot(cx, &site, &plot, format!("Harvests of {}", titled(&plot)));
        let questions = cx.app.harvest_questions(&cx.actor, &rows).await?;
        Ok(PlotHarvestsPage { frame, plot, form, crops: crop_options(&here), rows, questions })
    }
}

/// `GET /plots/{plot}/harvests`
pub async fn of_plot(cx: Cx, Path(plot): Path<PlotId>) -> Result<PlotHarvestsPage> {
    PlotHarvestsPage::load(&cx, plot, Form::new()).await
}

/// `POST /plots/{plot}/harvests`
pub async fn add(cx: Cx, Path(plot): Path<PlotId>, mut form: Form) -> Result<Response> {
    if form.value("nothing") == "yes" {
        form.set("crop", "");
        form.set("fresh_mass_kg", "0");
        form.set("rows", "");
    }
    let typed = HarvestForm { plot: plot.to_string(), ..form.read_as()? };
    match cx.app.record_harvest(&cx.actor, &typed).await {
        Ok(id) => {
            let row = cx.app.harvest(&cx.actor, id).await?;
            let said =
                format!("Recorded: {} from {}, {}.", what(&row), row.plot_code, show::date(row.harvest.harvested_on));
            Ok(see(format!("/plots/{plot}/harvests")).say(said).into_response())
        }
        Err(error) => Ok(failed(PlotHarvestsPage::load(&cx, plot, form.refused(error)?).await?)),
    }
}

impl SeveralPage {
    async fn load(cx: &Cx, id: SiteId, mut form: Form) -> Result<SeveralPage> {
        let site = cx.app.site(&cx.actor, id).await?;
        if form.value("harvested_on").is_empty() {
            form.set("harvested_on", cx.app.today());
        }
        let on = form.value("harvested_on").parse().unwrap_or_else(|_| cx.app.today());
        let growing = cx.app.growing(&cx.actor, id, on).await?;
        let plots = cx.app.plots(&cx.actor, id, false).await?;
        let mut blocks = vec![(String::new(), "All".to_owned())];
        for block in plots.iter().filter_map(|plot| plot.block_name.clone()) {
            if !blocks.iter().any(|(key, _)| *key == block) {
                blocks.push((block.clone(), block));
            }
        }
        let wanted = |plot: &&PlotRow| match form.value("block") {
            "" => true,
            block => plot.block_name.as_deref() == Some(block),
        };
        let rows = plots.iter().filter(wanted).flat_map(|plot| {
            let crops = growing.get(&plot.id).cloned().unwrap_or_default();
            let crops = if crops.is_empty() { vec![String::new()] } else { crops };
            let row = |(n, crop): (usize, String)| BedRow {
                key: format!("{}-{n}", plot.id),
                title: titled(plot),
                crop_name: if crop.is_empty() { String::new() } else { crop_name(&crop) },
                crop,
            };
            crops.into_iter().enumerate().map(row).collect::<Vec<_>>()
        });
        let rows = rows.collect();
        let frame =
            under_site(cx, &site, "What was harvested today").under(format!("/sites/{id}/harvests"), "Harvests");
        Ok(SeveralPage { frame, site, form, blocks, rows })
    }

    fn crops(&self) -> &'static [Crop] {
        CROPS
    }
}

/// `GET /sites/{site}/harvests/new`
pub async fn several(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<SeveralPage> {
    SeveralPage::load(&cx, site, form).await
}

/// `POST /sites/{site}/harvests`
pub async fn add_several(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<Response> {
    let crops = form.rows("crop");
    let forms: BTreeMap<String, HarvestForm> = form
        .rows("mass")
        .into_iter()
        .filter(|(_, mass)| !mass.is_empty())
        .map(|(key, mass)| {
            let typed = HarvestForm {
                plot: key.split('-').next().unwrap_or_default().to_owned(),
                harvested_on: form.value("harvested_on").to_owned(),
                crop: crops.get(key).copied().unwrap_or_default().to_owned(),
                fresh_mass_kg: mass.to_owned(),
                person_name: form.value("person_name").to_owned(),
                ..HarvestForm::default()
            };
            (key.to_owned(), typed)
        })
        .collect();
    match cx.app.record_harvests(&cx.actor, &forms).await {
        Ok(ids) => {
            let said = format!("{} recorded.", show::count(ids.len(), "harvest"));
            Ok(see(format!("/sites/{site}/harvests")).say(said).into_response())
        }
        Err(error) => Ok(failed(SeveralPage::load(&cx, site, form.refused(error)?).await?)),
    }
}

/// `GET /sites/{site}/harvests`
pub async fn of_site(cx: Cx, Path(id): Path<SiteId>, mut form: Form) -> Result<Response> {
    let site = cx.app.site(&cx.actor, id).await?;
    let frame = under_site(&cx, &site, format!("Harvests of {}", site.name));
    match cx.app.harvests_in_span(&cx.actor, id, &form.read_as::<SpanForm>()?).await {
        Ok(found) => {
            form.set("from", found.from);
            form.set("to", found.to);
            let totals = found.kg_by_crop.iter().map(|(crop, kg)| (crop_name(crop), show::mass(*kg * 1e3)));
            let totals = totals.collect();
            let questions = cx.app.harvest_questions(&cx.actor, &found.rows).await?;
            Ok(SiteHarvestsPage { frame, site, form, rows: found.rows, questions, totals }.into_response())
        }
        Err(error) => {
            let form = form.refused(error)?;
            Ok(failed(SiteHarvestsPage { frame, site, form, rows: vec![], questions: BTreeMap::new(), totals: vec![] }))
        }
    }
}

async fn page(cx: &Cx, id: HarvestId, form: Form) -> Result<Response> {
    let row = cx.app.harvest(&cx.actor, id).await?;
    let plot = cx.app.plot(&cx.actor, row.plot).await?;
    let site = cx.app.site(&cx.actor, row.site).await?;
    let (area, offtake) = cx.app.offtake_of(&cx.actor, &row).await?;
    let carried = offtake.known.iter().map(|(element, carried)| {
        let grams = Line::grams(carried.kg_per_ha, area);
        let range = carried.kg_per_ha;
        Carried {
            name: Analyte::Element(*element).name(),
            mass: show::element_mass(grams.mid),
            rate: show::rate_in(KgPerHa(range.mid), "kg_per_ha"),
            range: match range.has_range() {
                true => format!("{} to {}", show::significant(range.low, 2), show::significant(range.high, 2)),
                false => String::new(),
            },
            steps: Steps::of(&carried.working, &|_| None),
        }
    });
    let unknown: Vec<&str> = offtake.unknown.iter().map(|element| element.name()).collect();
    let title = format!("Harvest of {}, {}", show::date(row.harvest.harvested_on), titled(&plot));
    let page = ShowPage {
        frame: under_plot(cx, &site, &plot, title).under(format!("/plots/{}/harvests", plot.id), "Harvests"),
        carried: carried.collect(),
        unknown: unknown.join(", "),
        notes: &offtake.notes,
        lines: cx.app.history(&cx.actor, Subject::Harvest(id)).await?,
        question: cx.app.harvest_questions(&cx.actor, std::slice::from_ref(&row)).await?.remove(&id),
        row: &row,
        form,
    };
    let page = page.render().map_err(|_| Error::from_status(StatusCode::INTERNAL_SERVER_ERROR))?;
    Ok(Html(page).into_response())
}

/// `GET /harvests/{harvest}`
pub async fn show(cx: Cx, Path(id): Path<HarvestId>) -> Result<Response> {
    page(&cx, id, Form::new()).await
}

/// `POST /harvests/{harvest}/void`
pub async fn void(cx: Cx, Path(id): Path<HarvestId>, form: Form) -> Result<Response> {
    let row = cx.app.harvest(&cx.actor, id).await?;
    match cx.app.void_harvest(&cx.actor, id, form.value("reason")).await {
        Ok(()) => {
            let said = format!("Taken back: {}. It counts no more.", what(&row));
            Ok(see(format!("/plots/{}/harvests", row.plot)).say(said).into_response())
        }
        Err(error) => {
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page(&cx, id, form.refused(error)?).await?).into_response())
        }
    }
}

impl CorrectPage {
    async fn load(cx: &Cx, id: HarvestId, form: Form) -> Result<CorrectPage> {
        let row = cx.app.harvest(&cx.actor, id).await?;
        let plot = cx.app.plot(&cx.actor, row.plot).await?;
        let site = cx.app.site(&cx.actor, row.site).await?;
        let title = format!("Correct the harvest of {}", show::date(row.harvest.harvested_on));
        let frame = under_plot(cx, &site, &plot, title).under(format!("/harvests/{id}"), "The harvest");
        let question = cx.app.harvest_questions(&cx.actor, std::slice::from_ref(&row)).await?.remove(&id);
        let here = row.harvest.crop.into_iter().collect::<Vec<_>>();
        Ok(CorrectPage { frame, id, form, crops: crop_options(&here), question })
    }
}

/// `GET /harvests/{harvest}/correct`
pub async fn correct(cx: Cx, Path(id): Path<HarvestId>) -> Result<CorrectPage> {
    let row = cx.app.harvest(&cx.actor, id).await?;
    CorrectPage::load(&cx, id, Form::of(&HarvestForm::of(&row))).await
}

/// `POST /harvests/{harvest}/correct`
pub async fn do_correct(cx: Cx, Path(id): Path<HarvestId>, form: Form) -> Result<Response> {
    let row = cx.app.harvest(&cx.actor, id).await?;
    let before = HarvestForm::of(&row);
    let typed: HarvestForm = form.read_as()?;
    // Own figures are set with the crop; a correction keeps what the entry had.
    let own = typed.table.is_empty();
    let typed = HarvestForm {
        plot: before.plot,
        own_kg_per_t: if own { before.own_kg_per_t } else { BTreeMap::new() },
        own_words: before.own_words,
        ..typed
    };
    match cx.app.correct_harvest(&cx.actor, id, &typed, form.value("reason")).await {
        Ok(new) => {
            Ok(see(format!("/harvests/{new}")).say("Corrected; the old entry stays in the history.").into_response())
        }
        Err(error) => Ok(failed(CorrectPage::load(&cx, id, form.refused(error)?).await?)),
    }
}
