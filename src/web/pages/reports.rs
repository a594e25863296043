//! A lab's report: every cell as printed with what became of it, the form for one more
//! sheet of a sampling, and a single cell's correction and working.

use super::{
    lines::{self, Lines},
    samplings::{WorkingPage, printed, under_site},
};
use crate::{
    agronomy::{method::Method, quantity::LayerConvention, reading::Unreadable},
    app::{
        files::AttachmentRow,
        history::{ChangeRow, Subject},
        reports::{CellForm, DeterminationRow, ReportRow, SamplingRow},
        sheet::Cell,
    },
    ids::{DeterminationId, ReportId, SamplingId},
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
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// One more sheet for a sampling.
#[derive(Template, WebTemplate)]
#[template(path = "pages/reports/form.html")]
pub struct ReportFormPage {
    frame: Frame,
    sampling: SamplingId,
    form: Form,
    lines: Lines,
}

/// A report with everything that was ever on it.
#[derive(Template, WebTemplate)]
#[template(path = "pages/reports/show.html")]
pub struct ReportPage {
    frame: Frame,
    report: ReportRow,
    cells: Vec<CellLine>,
    files: Vec<AttachmentRow>,
    history: Vec<ChangeRow>,
    pub(super) form: Form,
    /// Which form was refused: `void`, `file`.
    pub(super) refused: String,
}

/// A cell as the report page lists it.
struct CellLine {
    id: DeterminationId,
    analyte: String,
    method: String,
    printed: String,
    /// Basis and soil mass, where they are not what the unit says.
    aside: String,
    /// Why it no longer counts.
    struck: Option<String>,
    /// Why it stands in the place of another.
    corrects: Option<String>,
}

/// The form to correct one printed cell.
#[derive(Template, WebTemplate)]
#[template(path = "pages/reports/correct.html")]
pub struct CorrectPage {
    frame: Frame,
    id: DeterminationId,
    cell: Cell,
    now: String,
    form: Form,
    /// Whether taking it out was refused, and not correcting it.
    withdrawing: bool,
}

/// A cell that could not be read, in place of its working.
#[derive(Template, WebTemplate)]
#[template(path = "pages/reports/unread.html")]
pub struct UnreadPage {
    frame: Frame,
    id: DeterminationId,
    report: ReportId,
    unread: Unreadable,
}

impl ReportFormPage {
    async fn new(cx: &Cx, sampling: &SamplingRow, form: Form) -> Result<ReportFormPage> {
        let site = cx.app.site(&cx.actor, sampling.site).await?;
        let lines = Lines::of(cx, site.id, &form).await?;
        let soil = format!("Soil of {}", show::date(sampling.sampled_on));
        let frame = under_site(cx, &site, "The lab’s sheet").under(format!("/samplings/{}", sampling.id), soil);
        Ok(ReportFormPage { frame, sampling: sampling.id, form, lines })
    }
}

/// `GET /samplings/{sampling}/reports/new`
pub async fn new(cx: Cx, Path(sampling): Path<SamplingId>) -> Result<ReportFormPage> {
    let sampling = cx.app.sampling(&cx.actor, sampling).await?.row;
    ReportFormPage::new(&cx, &sampling, Form::new()).await
}

/// `POST /samplings/{sampling}/reports`
pub async fn add(cx: Cx, Path(sampling): Path<SamplingId>, mut form: Form) -> Result<Response> {
    let sampling = cx.app.sampling(&cx.actor, sampling).await?.row;
    if lines::step(&cx, sampling.site, &mut form).await? {
        return Ok(ReportFormPage::new(&cx, &sampling, form).await?.into_response());
    }
    match cx.app.save_report(&cx.actor, sampling.id, &lines::report(&form)).await {
        Ok(_) if form.value("do") == "another" => {
            let next = format!("/samplings/{}/reports/new", sampling.id);
            Ok(see(next).say("Saved. Now the next sheet.").into_response())
        }
        Ok(_) => Ok(see(format!("/samplings/{}", sampling.id)).say("Saved.").into_response()),
        Err(error) => {
            let page = ReportFormPage::new(&cx, &sampling, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

impl ReportPage {
    pub(super) async fn load(cx: &Cx, id: ReportId) -> Result<ReportPage> {
        let (report, cells) = cx.app.report(&cx.actor, id).await?;
        let sampling = cx.app.sampling_row(&cx.actor, report.sampling).await?;
        let site = cx.app.site(&cx.actor, sampling.site).await?;
        let soil = format!("Soil of {}", show::date(sampling.sampled_on));
        let frame = under_site(cx, &site, format!("Sheet of {}", report.lab))
            .under(format!("/samplings/{}", sampling.id), soil);
        let files = cx.app.files_of_report(&cx.actor, id).await?;
        let history = cx.app.history(&cx.actor, Subject::Report(id)).await?;
        let reasons: Vec<_> =
            cells.iter().filter_map(|cell| Some((cell.supersedes?, cell.correction_reason.clone()?))).collect();
        let cells = cells.iter().map(|cell| line(cell, &reasons)).collect();
        Ok(ReportPage { frame, report, cells, files, history, form: Form::new(), refused: String::new() })
    }

    fn is_refused(&self, about: &str) -> bool {
        self.refused == about
    }
}

fn line(cell: &DeterminationRow, reasons: &[(DeterminationId, String)]) -> CellLine {
    let mut printed = cell.printed.trim().to_owned();
    if cell.unit != "pH" {
        printed += &format!("\u{a0}{}", cell.unit);
    }
    if let Some(form) = &cell.form {
        printed += &format!(" {form}");
    }
    let mut aside = Vec::new();
    if cell.basis == "volume" {
        aside.push("soil by volume".to_owned());
    }
    if let Some(layer) = cell.layer.as_deref().and_then(LayerConvention::find) {
        aside.push(layer.words.to_owned());
    }
    let corrected = reasons.iter().find(|(id, _)| *id == cell.id).map(|(_, why)| format!("Corrected: {why}"));
    CellLine {
        id: cell.id,
        analyte: cell.analyte.name(),
        method: Method::from(cell.method.clone()).label().to_owned(),
        printed,
        aside: aside.join("; "),
        struck: corrected.or_else(|| cell.withdrawn_reason.as_ref().map(|why| format!("Withdrawn: {why}"))),
        corrects: cell.correction_reason.clone(),
    }
}

/// `GET /reports/{report}`
pub async fn show(cx: Cx, Path(id): Path<ReportId>) -> Result<ReportPage> {
    ReportPage::load(&cx, id).await
}

/// `POST /reports/{report}/void`
pub async fn void(cx: Cx, Path(id): Path<ReportId>, form: Form) -> Result<Response> {
    match cx.app.void_report(&cx.actor, id, form.value("reason")).await {
        Ok(()) => Ok(see(format!("/reports/{id}")).say("The sheet is void; it stays in the history.").into_response()),
        Err(error) => {
            let form = form.refused(error)?;
            let page = ReportPage { form, refused: "void".into(), ..ReportPage::load(&cx, id).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `GET /determinations/{cell}`: on to the cell on its report.
pub async fn find(cx: Cx, Path(id): Path<DeterminationId>) -> Result<Response> {
    let report = cx.app.report_of_cell(&cx.actor, id).await?;
    Ok(see(format!("/reports/{report}#cell-{id}")).into_response())
}

/// A cell in force; the way to its report where it no longer is.
async fn in_force(cx: &Cx, id: DeterminationId) -> Result<std::result::Result<Cell, Response>> {
    match cx.app.cell(&cx.actor, id).await {
        Ok(cell) => Ok(Ok(cell)),
        Err(error) if error.is_not_found() => {
            let report = cx.app.report_of_cell(&cx.actor, id).await?;
            let said = "This result no longer counts: it was corrected, withdrawn or voided.";
            Ok(Err(see(format!("/reports/{report}#cell-{id}")).say(said).into_response()))
        }
        Err(error) => Err(error.into()),
    }
}

fn under_report(cx: &Cx, cell: &Cell, title: String) -> Frame {
    under_site(cx, &cell.site, title)
        .under(format!("/samplings/{}", cell.sampling.id), format!("Soil of {}", show::date(cell.sampling.sampled_on)))
        .under(format!("/reports/{}", cell.report.id), &cell.report.lab)
}

/// `GET /determinations/{cell}/working`
pub async fn working(cx: Cx, Path(id): Path<DeterminationId>) -> Result<Response> {
    let cell = match in_force(&cx, id).await? {
        Ok(cell) => cell,
        Err(elsewhere) => return Ok(elsewhere),
    };
    let title = format!("{}, {}", cell.determination.analyte.name(), cell.determination.method.label());
    let frame = under_report(&cx, &cell, title);
    Ok(match cell.reading {
        Ok(reading) => WorkingPage { frame, working: reading.working, reasons: vec![] }.into_response(),
        Err(unread) => UnreadPage { frame, id, report: cell.report.id, unread }.into_response(),
    })
}

/// Where the fields of the cell to correct begin.
const AT: &str = "cell";

impl CorrectPage {
    fn new(cx: &Cx, id: DeterminationId, cell: Cell, form: Form) -> CorrectPage {
        let frame = under_report(cx, &cell, format!("Correct {}", cell.determination.analyte.name()));
        let now = format!("{}, {}", printed(&cell.determination), cell.determination.method.label());
        CorrectPage { frame, id, now, cell, form, withdrawing: false }
    }

    fn choices(&self, name: &str) -> Vec<(String, String)> {
        let mut choices = match name {
            "analyte" => crate::agronomy::analyte::Analyte::all().map(|a| (a.to_string(), a.name())).collect(),
            "method" => lines::methods(None),
            "unit" => lines::units().collect(),
            "form" => lines::oxides(),
            "basis" => lines::bases(),
            _ => lines::layers(),
        };
        let chosen = self.form.value(&format!("{AT}.{name}"));
        if !choices.iter().any(|(key, _)| key == chosen) {
            choices.insert(0, (chosen.to_owned(), chosen.to_owned()));
        }
        choices
    }
}

/// `GET /determinations/{cell}/correct`
pub async fn correct(cx: Cx, Path(id): Path<DeterminationId>) -> Result<Response> {
    let cell = match in_force(&cx, id).await? {
        Ok(cell) => cell,
        Err(elsewhere) => return Ok(elsewhere),
    };
    let mut form = Form::new();
    lines::fill(&mut form, AT, &CellForm::from(&cell.determination));
    Ok(CorrectPage::new(&cx, id, cell, form).into_response())
}

/// `POST /determinations/{cell}/correct`
pub async fn do_correct(cx: Cx, Path(id): Path<DeterminationId>, form: Form) -> Result<Response> {
    let cell = match in_force(&cx, id).await? {
        Ok(cell) => cell,
        Err(elsewhere) => return Ok(elsewhere),
    };
    match cx.app.correct_cell(&cx.actor, id, &lines::cell(&form, AT), form.value("reason")).await {
        Ok(_) => Ok(see(format!("/samplings/{}", cell.sampling.id)).say("Corrected.").into_response()),
        Err(error) => {
            // The app names the fields of a lone cell plainly; on this page they stand under one name.
            let mut told = form.clone().refused(error)?;
            for name in ["analyte", "method", "printed", "unit", "form", "basis", "layer"] {
                for problem in told.problems(name).to_vec() {
                    told.problem(format!("{AT}.{name}"), problem);
                }
            }
            let page = CorrectPage::new(&cx, id, cell, told);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /determinations/{cell}/withdraw`
pub async fn withdraw(cx: Cx, Path(id): Path<DeterminationId>, form: Form) -> Result<Response> {
    let cell = match in_force(&cx, id).await? {
        Ok(cell) => cell,
        Err(elsewhere) => return Ok(elsewhere),
    };
    match cx.app.withdraw_cell(&cx.actor, id, form.value("reason")).await {
        Ok(()) => Ok(see(format!("/samplings/{}", cell.sampling.id)).say("The result is withdrawn.").into_response()),
        Err(error) => {
            let mut told = form.refused(error)?;
            lines::fill(&mut told, AT, &CellForm::from(&cell.determination));
            let page = CorrectPage { withdrawing: true, ..CorrectPage::new(&cx, id, cell, told) };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

impl ReportPage {
    /// The page again after a file was refused.
    pub(super) async fn refusing(cx: &Cx, id: ReportId, error: crate::app::Error) -> Result<Response, Error> {
        let form = Form::new().refused(error)?;
        let page = ReportPage { form, refused: "file".into(), ..ReportPage::load(cx, id).await? };
        Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
    }
}
