//! Samplings: taking soil, with the lab's sheet typed beside it, and a sampling's own page:
//! what was understood beside what was printed, every extract side by side.

use super::{
    fell::FellView,
    lines::{self, Lines},
    plot::Shares,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        carbonate::fizz_hint,
        choice::Overrule,
        guideline,
        plausibility::Question,
        record::{Basis, CellKey, Determination, FizzAcid, FizzClass},
        working::Working,
    },
    app::{
        files::AttachmentRow,
        history::{ChangeRow, Subject},
        plots::{PlotRow, SiteRow},
        reports::{SamplingForm, SamplingLine, SamplingRow},
        sheet::Sheet,
    },
    ids::{DeterminationId, PlotId, ReportId, SamplingId, SiteId},
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
    extract::{Path, RawQuery},
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// The samplings of a site.
#[derive(Template, WebTemplate)]
#[template(path = "pages/samplings/list.html")]
pub struct SamplingsPage {
    frame: Frame,
    site: SiteRow,
    samplings: Vec<SamplingLine>,
}

/// The form for a new sampling, with room for the first sheet, and to edit one.
#[derive(Template, WebTemplate)]
#[template(path = "pages/samplings/form.html")]
pub struct SamplingFormPage {
    frame: Frame,
    action: String,
    form: Form,
    site: SiteId,
    plots: Vec<PlotRow>,
    /// `None` where a sampling is edited, whose sheets have pages of their own.
    lines: Option<Lines>,
}

/// One sampling.
#[derive(Template, WebTemplate)]
#[template(path = "pages/samplings/show.html")]
pub struct SamplingPage {
    frame: Frame,
    sheet: Sheet,
    groups: Vec<Group>,
    questions: Vec<Asked>,
    sheets: Vec<LabSheet>,
    /// Where the results fell against the plan before them; `None` where none expected any.
    fell: Option<FellView>,
    history: Vec<ChangeRow>,
    /// What is said of shares of the capacity.
    shares_said: Shares,
    /// The form that was refused, and what it was about.
    form: Form,
    refused: String,
}

/// A sampling that is void.
#[derive(Template, WebTemplate)]
#[template(path = "pages/samplings/void.html")]
pub struct VoidSamplingPage {
    frame: Frame,
    reason: String,
    history: Vec<ChangeRow>,
}

/// One analyte: its cells side by side, and which of them speaks.
struct Group {
    analyte: Analyte,
    cells: Vec<CellLine>,
    /// What is used: the figure and the address of its working.
    used: Option<(String, String)>,
    reasons: Vec<String>,
    overruled: Option<Overrule>,
}

/// One printed cell, and what was made of it.
struct CellLine {
    id: i64,
    report: ReportId,
    lab: String,
    method: String,
    printed: String,
    /// The level in canonical units.
    read: Option<String>,
    /// Why it could not be read.
    unread: Option<String>,
    used: bool,
}

/// A question with the cells that it is about.
struct Asked {
    text: String,
    cells: Vec<(DeterminationId, String)>,
}

/// One lab's sheet with its files.
struct LabSheet {
    id: ReportId,
    words: String,
    results: usize,
    files: Vec<AttachmentRow>,
}

/// The frame of a page about a site's samplings.
pub(super) fn under_site(cx: &Cx, site: &SiteRow, title: impl Into<String>) -> Frame {
    cx.frame(title).under("/sites", "Sites").under(format!("/sites/{}", site.id), &site.name)
}

/// What a sampling is called: "A1, A2, 10 Feb 2026".
fn title(plots: &[PlotRow], row: &SamplingRow) -> String {
    let codes: Vec<_> = plots.iter().map(|plot| plot.code.as_str()).collect();
    let codes = match codes.len() {
        0..=4 => codes.join(", "),
        n => format!("{} and {} more", codes[..3].join(", "), n - 3),
    };
    format!("Soil of {codes}, {}", show::date(row.sampled_on))
}

/// The address that leads to a printed cell on its report.
pub fn cell_page(key: CellKey) -> String {
    format!("/determinations/{}", key.0)
}

/// A printed cell in words: "412 ppm as K2O, by volume".
pub(super) fn printed(cell: &Determination) -> String {
    let mut words = cell.printed.text.trim().to_owned();
    if cell.analyte != Analyte::Ph && cell.analyte != Analyte::BufferPh {
        words += &format!("\u{a0}{}", cell.unit);
    }
    if let Some(form) = cell.form {
        words += &format!(" {form}");
    }
    if cell.basis == Basis::Volume && !cell.unit.is_by_volume() {
        words += ", by volume";
    }
    words
}

impl SamplingFormPage {
    async fn new(cx: &Cx, site: &SiteRow, form: Form) -> Result<SamplingFormPage> {
        let plots = cx.app.plots(&cx.actor, site.id, false).await?;
        let lines = Some(Lines::of(cx, site.id, &form).await?);
        let frame = under_site(cx, site, "A new sampling");
        Ok(SamplingFormPage {
            frame,
            action: format!("/sites/{}/samplings", site.id),
            form,
            site: site.id,
            plots,
            lines,
        })
    }

    fn acids(&self) -> Vec<(&'static str, &'static str)> {
        let none = ("", "no test made, or acid not known");
        std::iter::once(none).chain(FizzAcid::ALL.iter().map(|acid| (acid.slug(), acid.label()))).collect()
    }

    fn classes(&self) -> Vec<(&'static str, &'static str)> {
        let none = ("", "not tested");
        std::iter::once(none).chain(FizzClass::ALL.iter().map(|class| (class.slug(), class.label()))).collect()
    }
}

/// `GET /sites/{site}/samplings`
pub async fn list(cx: Cx, Path(site): Path<SiteId>) -> Result<SamplingsPage> {
    let site = cx.app.site(&cx.actor, site).await?;
    let samplings = cx.app.samplings_of_site(&cx.actor, site.id).await?;
    Ok(SamplingsPage { frame: under_site(&cx, &site, "Soil samplings"), site, samplings })
}

/// `GET /sites/{site}/samplings/new?plot=3`
pub async fn new(cx: Cx, Path(site): Path<SiteId>, RawQuery(query): RawQuery) -> Result<SamplingFormPage> {
    let site = cx.app.site(&cx.actor, site).await?;
    let query = query.unwrap_or_default();
    let plots: Vec<PlotId> =
        query.split('&').filter_map(|pair| pair.strip_prefix("plot=")).filter_map(|id| id.parse().ok()).collect();
    let form = Form::of(&cx.app.next_sampling(&cx.actor, site.id, &plots).await?);
    SamplingFormPage::new(&cx, &site, form).await
}

/// `POST /sites/{site}/samplings`
pub async fn add(cx: Cx, Path(site): Path<SiteId>, mut form: Form) -> Result<Response> {
    let site = cx.app.site(&cx.actor, site).await?;
    if lines::step(&cx, site.id, &mut form).await? {
        return Ok(SamplingFormPage::new(&cx, &site, form).await?.into_response());
    }
    let sampling: SamplingForm = form.read_as()?;
    let report = lines::report(&form);
    let saved = if lines::is_begun(&report) {
        cx.app.save_sampling_with_report(&cx.actor, &sampling, &report).await.map(|(id, _)| id)
    } else {
        cx.app.save_sampling(&cx.actor, &sampling).await
    };
    match saved {
        Ok(id) if form.value("do") == "another" => {
            Ok(see(format!("/samplings/{id}/reports/new")).say("Saved. Now the next sheet.").into_response())
        }
        Ok(id) => Ok(see(format!("/samplings/{id}")).say("Saved.").into_response()),
        Err(error) => {
            let page = SamplingFormPage::new(&cx, &site, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `GET /samplings/{sampling}/edit`
pub async fn edit(cx: Cx, Path(id): Path<SamplingId>) -> Result<SamplingFormPage> {
    let loaded = cx.app.sampling(&cx.actor, id).await?;
    edit_page(&cx, id, loaded.row.site, Form::of(&SamplingForm::from(&loaded))).await
}

async fn edit_page(cx: &Cx, id: SamplingId, site: SiteId, form: Form) -> Result<SamplingFormPage> {
    let site = cx.app.site(&cx.actor, site).await?;
    let mut plots = cx.app.plots(&cx.actor, site.id, true).await?;
    plots.retain(|plot| plot.retired_on.is_none() || form.has("plots", plot.id));
    let frame = under_site(cx, &site, "Edit the sampling").under(format!("/samplings/{id}"), "Sampling");
    Ok(SamplingFormPage { frame, action: format!("/samplings/{id}/edit"), form, site: site.id, plots, lines: None })
}

/// `POST /samplings/{sampling}/edit`
pub async fn change(cx: Cx, Path(id): Path<SamplingId>, form: Form) -> Result<Response> {
    let loaded = cx.app.sampling(&cx.actor, id).await?;
    match cx.app.edit_sampling(&cx.actor, id, &form.read_as()?).await {
        Ok(()) => Ok(see(format!("/samplings/{id}")).say("Saved.").into_response()),
        Err(error) => {
            let form = form.refused_edit(error, &SamplingForm::from(&loaded))?;
            let page = edit_page(&cx, id, loaded.row.site, form).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `GET /samplings/{sampling}`
pub async fn show(cx: Cx, Path(id): Path<SamplingId>) -> Result<Response> {
    Ok(match SamplingPage::load(&cx, id).await? {
        Ok(page) => page.into_response(),
        Err(void) => void.into_response(),
    })
}

/// `POST /samplings/{sampling}/void`
pub async fn void(cx: Cx, Path(id): Path<SamplingId>, form: Form) -> Result<Response> {
    let done = cx.app.void_sampling(&cx.actor, id, form.value("reason")).await;
    answer(cx, id, form, "void", done, "The sampling is void; it stays in the history.").await
}

/// `POST /samplings/{sampling}/overrule`: another reading than the rule's.
pub async fn overrule(cx: Cx, Path(id): Path<SamplingId>, form: Form) -> Result<Response> {
    let Ok(cell) = form.value("cell").parse::<DeterminationId>() else {
        return Err(Error::from_status(StatusCode::BAD_REQUEST));
    };
    let done = cx.app.overrule_reading(&cx.actor, id, cell, form.value("reason")).await;
    let about = form.value("analyte").to_owned();
    answer(cx, id, form, &about, done, "The reading is chosen.").await
}

/// `POST /samplings/{sampling}/follow`: back to the rule's own choice.
pub async fn follow(cx: Cx, Path(id): Path<SamplingId>, form: Form) -> Result<Response> {
    let Ok(analyte) = form.value("analyte").parse::<Analyte>() else {
        return Err(Error::from_status(StatusCode::BAD_REQUEST));
    };
    let done = cx.app.follow_rule_again(&cx.actor, id, analyte).await;
    let about = analyte.to_string();
    answer(cx, id, form, &about, done, "The rule chooses again.").await
}

async fn answer(
    cx: Cx,
    id: SamplingId,
    form: Form,
    about: &str,
    done: crate::app::Result<()>,
    said: &str,
) -> Result<Response> {
    let Err(error) = done else { return Ok(see(format!("/samplings/{id}")).say(said).into_response()) };
    let form = form.refused(error)?;
    Ok(match SamplingPage::load(&cx, id).await? {
        Ok(page) => {
            let page = SamplingPage { form, refused: about.to_owned(), ..page };
            (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
        }
        Err(void) => void.into_response(),
    })
}

impl SamplingPage {
    async fn load(cx: &Cx, id: SamplingId) -> Result<std::result::Result<SamplingPage, VoidSamplingPage>> {
        let history = cx.app.history(&cx.actor, Subject::Sampling(id)).await?;
        let row = cx.app.sampling_row(&cx.actor, id).await?;
        if row.voided_at.is_some() {
            let site = cx.app.site(&cx.actor, row.site).await?;
            let frame = under_site(cx, &site, format!("Soil of {}", show::date(row.sampled_on)));
            return Ok(Err(VoidSamplingPage { frame, reason: row.void_reason.unwrap_or_default(), history }));
        }
        let sheet = cx.app.sheet(&cx.actor, id).await?;
        let mut frame = under_site(cx, &sheet.site, title(&sheet.plots, &sheet.loaded.row));
        match &sheet.plots[..] {
            [plot] => frame = frame.under(format!("/plots/{}", plot.id), &plot.code),
            _ => frame = frame.under(format!("/sites/{}/samplings", sheet.site.id), "Samplings"),
        }
        let mut sheets = Vec::new();
        for report in &sheet.reports {
            let results = sheet.loaded.sampling.reports.iter().find(|r| r.key == report.id.0);
            let on = report.reported_on.map_or_else(String::new, |day| format!(", {}", show::date(day)));
            sheets.push(LabSheet {
                id: report.id,
                words: format!("{}{on}", report.lab),
                results: results.map_or(0, |r| r.determinations.len()),
                files: cx.app.files_of_report(&cx.actor, report.id).await?,
            });
        }
        let groups = groups(&sheet);
        let questions = sheet.questions.iter().map(|question| asked(&sheet, question)).collect();
        let (form, refused) = (Form::new(), String::new());
        let shares_said = Shares::of(guideline::builtin());
        let fell = FellView::of(&cx.app.sampling_forecasts(&cx.actor, &sheet).await?);
        Ok(Ok(SamplingPage { frame, sheet, groups, questions, sheets, fell, history, shares_said, form, refused }))
    }

    /// Plots of the sample that by their own record began only later, as sentences.
    fn before(&self) -> Vec<String> {
        let taken = self.sheet.loaded.row.sampled_on;
        let later =
            self.sheet.plots.iter().filter_map(|plot| Some((plot, plot.began_on.filter(|began| taken < *began)?)));
        later.map(|(plot, began)| format!("{} began on {} by its record.", plot.code, show::date(began))).collect()
    }

    /// Where, when and how the soil was taken, in a sentence.
    fn taken(&self) -> String {
        let row = &self.sheet.loaded.row;
        let mut words = vec![match row.date_assumed {
            true => format!("Taken on {} (the day is a guess)", show::date(row.sampled_on)),
            false => format!("Taken on {}", show::date(row.sampled_on)),
        }];
        words.push(match row.depth() {
            Some(depth) => format!("from {depth}"),
            None => "depth not written down, so it is compared with no test of a known depth".into(),
        });
        if let Some(cores) = row.cores {
            words.push(show::count(usize::try_from(cores).unwrap_or(0), "core"));
        }
        if !row.sampler.is_empty() {
            words.push(format!("by {}", row.sampler));
        }
        words.join(", ") + "."
    }

    fn fizz(&self) -> Option<String> {
        let fizz = self.sheet.loaded.row.fizz()?;
        let hint = fizz_hint(fizz).map_or_else(String::new, |hint| format!(" {hint}"));
        Some(format!("Acid test with {}: {}.{hint}", fizz.acid.label(), fizz.class.label()))
    }

    /// The shares of the capacity: name, figure, and the working's key.
    fn shares(&self) -> Vec<(String, String, String)> {
        let Ok(capacity) = &self.sheet.present.capacity else { return vec![] };
        let cations = capacity.cations.iter().map(|(element, held)| {
            let name = Analyte::Element(*element).name();
            (name, held.working.figure.to_string(), format!("share-{element}"))
        });
        let acidity = capacity
            .acidity
            .iter()
            .map(|held| ("Acidity".to_owned(), held.working.figure.to_string(), "share-acidity".to_owned()));
        let bases = capacity
            .base_saturation
            .iter()
            .map(|held| ("All bases".to_owned(), held.working.figure.to_string(), "share-bases".to_owned()));
        cations.chain(acidity).chain(bases).collect()
    }

    fn is_refused(&self, about: &str) -> bool {
        self.refused == about
    }

    /// The address of the working under a key.
    fn working_of(&self, key: &str) -> String {
        format!("/samplings/{}/workings/{key}", self.sheet.loaded.row.id)
    }
}

fn asked(sheet: &Sheet, question: &Question) -> Asked {
    let cells = question.cells.iter().filter_map(|key| {
        let (_, cell) = sheet.determination(*key)?;
        Some((DeterminationId(key.0), format!("{} {}", cell.analyte.name(), printed(cell))))
    });
    Asked { text: question.text.clone(), cells: cells.collect() }
}

/// The cells of a sampling by analyte, in the order of the first sheet that prints them.
fn groups(sheet: &Sheet) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for (report, cell) in sheet.loaded.sampling.determinations() {
        let choice = sheet.present.choices.get(&cell.analyte);
        let used_cells = choice.map(|choice| choice.chosen.working.cells()).unwrap_or_default();
        let read = sheet.readings.iter().find(|reading| reading.cell == cell.key);
        let line = CellLine {
            id: cell.key.0,
            report: ReportId(report.key),
            lab: report.lab.clone(),
            method: cell.method.label().to_owned(),
            printed: printed(cell),
            read: read.map(|reading| reading.figure().to_string()),
            unread: sheet.unreadable.iter().find(|u| u.cell == cell.key).map(|u| u.reason.clone()),
            used: used_cells.contains(&cell.key),
        };
        match groups.iter_mut().find(|group| group.analyte == cell.analyte) {
            Some(group) => group.cells.push(line),
            None => groups.push(Group {
                analyte: cell.analyte,
                cells: vec![line],
                used: choice.map(|choice| {
                    let working = format!("/samplings/{}/workings/{}", sheet.loaded.row.id, cell.analyte);
                    (choice.chosen.figure().to_string(), working)
                }),
                reasons: choice.map(|choice| choice.reasons.clone()).unwrap_or_default(),
                overruled: choice.and_then(|choice| choice.overruled.clone()),
            }),
        }
    }
    groups
}

/// `GET /samplings/{sampling}/workings/{what}`: an analyte's key, `capacity`, or `share-Ca`,
/// `share-acidity`, `share-bases`.
pub async fn working(cx: Cx, Path((id, what)): Path<(SamplingId, String)>) -> Result<WorkingPage> {
    let sheet = cx.app.sheet(&cx.actor, id).await?;
    let (heading, working) = find_working(&sheet, &what).ok_or_else(Error::not_found)?;
    let reasons = match what.parse::<Analyte>().ok().and_then(|analyte| sheet.present.choices.get(&analyte)) {
        Some(choice) => choice.reasons.clone(),
        None => vec![],
    };
    let frame =
        under_site(&cx, &sheet.site, heading).under(format!("/samplings/{id}"), title(&sheet.plots, &sheet.loaded.row));
    Ok(WorkingPage { frame, working, reasons })
}

fn find_working(sheet: &Sheet, what: &str) -> Option<(String, Working)> {
    let capacity = sheet.present.capacity.as_ref().ok();
    if what == "capacity" {
        return Some(("Exchange capacity".into(), capacity?.working.clone()));
    }
    if let Some(part) = what.strip_prefix("share-") {
        let held = match part {
            "acidity" => capacity?.acidity.as_ref(),
            "bases" => capacity?.base_saturation.as_ref(),
            element => capacity?.cations.get(&element.parse().ok()?),
        }?;
        return Some((held.working.title.clone(), held.working.clone()));
    }
    let analyte: Analyte = what.parse().ok()?;
    let chosen = &sheet.present.choices.get(&analyte)?.chosen;
    Some((analyte.name(), chosen.working.clone()))
}

/// A number, opened.
#[derive(Template, WebTemplate)]
#[template(path = "pages/samplings/working.html")]
pub struct WorkingPage {
    pub(super) frame: Frame,
    pub(super) working: Working,
    /// Why this reading and not another.
    pub(super) reasons: Vec<String>,
}

impl WorkingPage {
    fn steps(&self) -> Steps<'_> {
        Steps::of(&self.working, &|key| Some(cell_page(key)))
    }
}
