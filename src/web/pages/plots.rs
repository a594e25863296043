//! Plots: the forms to add, edit, retire, split and merge them, and their history.

use super::plot::PlotPage;
use crate::{
    agronomy::{
        ground::{Cover, Texture},
        guideline::LandUse,
    },
    app::{
        history::{ChangeRow, Subject},
        plots::{BlockRow, MergeForm, PartForm, PlotForm, PlotRow, SiteRow, SplitForm},
    },
    ids::{PlotId, SiteId},
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

/// The form to add or edit a plot.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plots/form.html")]
pub struct PlotFormPage {
    frame: Frame,
    form: Form,
    action: String,
    blocks: Vec<BlockRow>,
    button: &'static str,
}

/// The form to split a plot.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plots/split.html")]
pub struct SplitPage {
    frame: Frame,
    plot: PlotRow,
    form: Form,
    parts: Vec<PartFields>,
}

/// Names of the fields of one part.
struct PartFields {
    number: usize,
    code: String,
    name: String,
    area_m2: String,
}

/// The form to make one plot of several.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plots/merge.html")]
pub struct MergePage {
    frame: Frame,
    site: SiteRow,
    form: Form,
    plots: Vec<PlotRow>,
    blocks: Vec<BlockRow>,
}

/// The history of a plot or a site.
#[derive(Template, WebTemplate)]
#[template(path = "pages/history.html")]
pub struct HistoryPage {
    pub(super) frame: Frame,
    pub(super) lines: Vec<ChangeRow>,
}

/// A plot by its code, and its name where it has one.
pub(super) fn titled(plot: &PlotRow) -> String {
    if plot.name == plot.code { plot.code.clone() } else { format!("{} {}", plot.code, plot.name) }
}

/// The frame of a page about a site.
pub(super) fn under_site(cx: &Cx, site: &SiteRow, title: impl Into<String>) -> Frame {
    cx.frame(title).under("/sites", "Sites").under(format!("/sites/{}", site.id), &site.name)
}

/// The frame of a page about a plot.
pub(super) fn under_plot(cx: &Cx, site: &SiteRow, plot: &PlotRow, title: impl Into<String>) -> Frame {
    under_site(cx, site, title).under(format!("/plots/{}", plot.id), titled(plot))
}

fn block_options(blocks: &[BlockRow]) -> Vec<(String, String)> {
    let none = (String::new(), "None".to_owned());
    std::iter::once(none).chain(blocks.iter().map(|block| (block.id.to_string(), block.name.clone()))).collect()
}

fn texture_options() -> Vec<(&'static str, String)> {
    let unanswered = ("", "Choose one".to_owned());
    let textures = Texture::ALL.iter().map(|t| {
        let density = show::significant(t.typical_bulk_density().0.0, 3);
        (t.slug(), format!("{} (typically {density} g/cm³)", t.label()))
    });
    std::iter::once(unanswered).chain(textures).collect()
}

fn use_options() -> Vec<(&'static str, &'static str)> {
    LandUse::ALL.iter().map(|land_use| (land_use.slug(), land_use.label())).collect()
}

fn cover_options() -> Vec<(&'static str, &'static str)> {
    Cover::ALL.iter().map(|cover| (cover.slug(), cover.label())).collect()
}

impl PlotFormPage {
    async fn new(cx: &Cx, site: &SiteRow, form: Form) -> Result<PlotFormPage> {
        let blocks = cx.app.blocks(&cx.actor, site.id).await?;
        let action = format!("/sites/{}/plots", site.id);
        Ok(PlotFormPage { frame: under_site(cx, site, "A new plot"), form, action, blocks, button: "Add the plot" })
    }

    async fn edit(cx: &Cx, plot: &PlotRow, form: Form) -> Result<PlotFormPage> {
        let site = cx.app.site(&cx.actor, plot.site).await?;
        let blocks = cx.app.blocks(&cx.actor, site.id).await?;
        let frame = under_plot(cx, &site, plot, format!("Edit {}", titled(plot)));
        Ok(PlotFormPage { frame, form, action: format!("/plots/{}", plot.id), blocks, button: "Save" })
    }

    fn block_options(&self) -> Vec<(String, String)> {
        block_options(&self.blocks)
    }

    fn texture_options(&self) -> Vec<(&'static str, String)> {
        texture_options()
    }

    fn use_options(&self) -> Vec<(&'static str, &'static str)> {
        use_options()
    }

    fn cover_options(&self) -> Vec<(&'static str, &'static str)> {
        cover_options()
    }
}

/// `GET /sites/{site}/plots/new`
pub async fn new(cx: Cx, Path(site): Path<SiteId>) -> Result<PlotFormPage> {
    let site = cx.app.site(&cx.actor, site).await?;
    PlotFormPage::new(&cx, &site, Form::filled([("cover", "open"), ("depth_cm", "20")])).await
}

/// `POST /sites/{site}/plots`
pub async fn add(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<Response> {
    match cx.app.add_plot(&cx.actor, site, &form.read_as()?).await {
        Ok(id) => {
            let plot = cx.app.plot(&cx.actor, id).await?;
            let again = format!("/sites/{site}/plots/new");
            let to = if form.value("do") == "another" { again } else { format!("/plots/{id}") };
            let said = format!("{} is added, with {} of ground.", titled(&plot), show::area(plot.area_m2));
            Ok(see(to).say(said).into_response())
        }
        Err(error) => {
            let site = cx.app.site(&cx.actor, site).await?;
            let page = PlotFormPage::new(&cx, &site, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `GET /plots/{plot}/edit`
pub async fn edit(cx: Cx, Path(plot): Path<PlotId>) -> Result<PlotFormPage> {
    let plot = cx.app.plot(&cx.actor, plot).await?;
    PlotFormPage::edit(&cx, &plot, Form::of(&PlotForm::from(&plot))).await
}

/// `POST /plots/{plot}`
pub async fn change(cx: Cx, Path(id): Path<PlotId>, form: Form) -> Result<Response> {
    match cx.app.edit_plot(&cx.actor, id, &form.read_as()?).await {
        Ok(()) => {
            let plot = cx.app.plot(&cx.actor, id).await?;
            let said = format!("Saved. {} has {} of ground.", titled(&plot), show::area(plot.area_m2));
            Ok(see(format!("/plots/{id}")).say(said).into_response())
        }
        Err(error) => {
            let plot = cx.app.plot(&cx.actor, id).await?;
            let form = form.refused_edit(error, &PlotForm::from(&plot))?;
            let page = PlotFormPage::edit(&cx, &plot, form).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /plots/{plot}/retire`
pub async fn retire(cx: Cx, Path(id): Path<PlotId>, form: Form) -> Result<Response> {
    match cx.app.retire_plot(&cx.actor, id, form.value("retired_on")).await {
        Ok(()) => {
            Ok(see(format!("/plots/{id}")).say("The plot is no longer worked. Its record stays.").into_response())
        }
        Err(error) => {
            let page = PlotPage::load(&cx, id, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /plots/{plot}/reopen`
pub async fn reopen(cx: Cx, Path(id): Path<PlotId>) -> Result<Response> {
    cx.app.reopen_plot(&cx.actor, id).await?;
    Ok(see(format!("/plots/{id}")).say("The plot is worked again.").into_response())
}

/// Most parts that a form offers at once.
const PARTS_MAX: usize = 40;

impl SplitPage {
    async fn load(cx: &Cx, id: PlotId, form: Form, parts: usize) -> Result<SplitPage> {
        let plot = cx.app.plot(&cx.actor, id).await?;
        let site = cx.app.site(&cx.actor, plot.site).await?;
        let parts = (0..parts.clamp(2, PARTS_MAX))
            .map(|i| PartFields {
                number: i + 1,
                code: format!("parts.{i}.code"),
                name: format!("parts.{i}.name"),
                area_m2: format!("parts.{i}.area_m2"),
            })
            .collect();
        Ok(SplitPage { frame: under_plot(cx, &site, &plot, format!("Split {}", titled(&plot))), plot, form, parts })
    }
}

/// How many parts a form came with.
fn parts_in(form: &Form) -> usize {
    form.value("rows").parse().unwrap_or(2_usize).clamp(2, PARTS_MAX)
}

fn split_form(form: &Form) -> SplitForm {
    let part = |i: usize| PartForm {
        name: form.value(&format!("parts.{i}.name")).into(),
        code: form.value(&format!("parts.{i}.code")).into(),
        area_m2: form.value(&format!("parts.{i}.area_m2")).into(),
    };
    let mut parts: Vec<_> = (0..parts_in(form)).map(part).collect();
    // Rows left empty at the end were offered and not wanted.
    let untouched = |part: &PartForm| part.name.is_empty() && part.code.is_empty() && part.area_m2.is_empty();
    while parts.len() > 2 && parts.last().is_some_and(untouched) {
        parts.pop();
    }
    SplitForm { took_place_on: form.value("took_place_on").into(), parts }
}

/// `GET /plots/{plot}/split`
pub async fn split(cx: Cx, Path(plot): Path<PlotId>) -> Result<SplitPage> {
    let form = Form::filled([("took_place_on", cx.app.today())]);
    SplitPage::load(&cx, plot, form, 2).await
}

/// `POST /plots/{plot}/split`: splits it, or offers one part more and keeps what was typed.
pub async fn do_split(cx: Cx, Path(id): Path<PlotId>, form: Form) -> Result<Response> {
    let rows = parts_in(&form);
    if form.value("do") == "more" {
        return Ok(SplitPage::load(&cx, id, form, rows.saturating_add(1)).await?.into_response());
    }
    match cx.app.split_plot(&cx.actor, id, &split_form(&form)).await {
        Ok(made) => {
            let said = format!("The plot is now {}. Each has its past.", show::count(made.len(), "plot"));
            Ok(see(format!("/plots/{id}")).say(said).into_response())
        }
        Err(error) => {
            let page = SplitPage::load(&cx, id, form.refused(error)?, rows).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

impl MergePage {
    async fn load(cx: &Cx, site: SiteId, form: Form) -> Result<MergePage> {
        let site = cx.app.site(&cx.actor, site).await?;
        let plots = cx.app.plots(&cx.actor, site.id, false).await?;
        let blocks = cx.app.blocks(&cx.actor, site.id).await?;
        Ok(MergePage { frame: under_site(cx, &site, "Make one plot of several"), site, form, plots, blocks })
    }

    fn block_options(&self) -> Vec<(String, String)> {
        block_options(&self.blocks)
    }

    fn texture_options(&self) -> Vec<(&'static str, String)> {
        texture_options()
    }

    fn use_options(&self) -> Vec<(&'static str, &'static str)> {
        use_options()
    }

    fn cover_options(&self) -> Vec<(&'static str, &'static str)> {
        cover_options()
    }
}

/// `GET /sites/{site}/merge`
pub async fn merge(cx: Cx, Path(site): Path<SiteId>) -> Result<MergePage> {
    let today = cx.app.today().to_string();
    let form =
        Form::filled([("took_place_on", today.as_str()), ("cover", "open"), ("depth_cm", "20")].map(|(n, v)| (n, v)));
    MergePage::load(&cx, site, form).await
}

/// `POST /sites/{site}/merge`
pub async fn do_merge(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<Response> {
    let of_this_site = cx.app.plots(&cx.actor, site, true).await?;
    let parents: Vec<String> = form.all("parents").to_vec();
    if parents.iter().any(|id| !of_this_site.iter().any(|plot| plot.id.to_string() == id.trim())) {
        return Err(Error::from_status(StatusCode::BAD_REQUEST));
    }
    let merge =
        MergeForm { parents, took_place_on: form.value("took_place_on").into(), plot: form.read_as::<PlotForm>()? };
    match cx.app.merge_plots(&cx.actor, &merge).await {
        Ok(id) => Ok(see(format!("/plots/{id}")).say("The plots are now one, with the past of all.").into_response()),
        Err(error) => {
            let page = MergePage::load(&cx, site, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `GET /plots/{plot}/history`
pub async fn history(cx: Cx, Path(id): Path<PlotId>) -> Result<HistoryPage> {
    let plot = cx.app.plot(&cx.actor, id).await?;
    let site = cx.app.site(&cx.actor, plot.site).await?;
    let lines = cx.app.history(&cx.actor, Subject::Plot(id)).await?;
    Ok(HistoryPage { frame: under_plot(&cx, &site, &plot, format!("History of {}", titled(&plot))), lines })
}

/// `GET /sites/{site}/history`
pub async fn site_history(cx: Cx, Path(id): Path<SiteId>) -> Result<HistoryPage> {
    let site = cx.app.site(&cx.actor, id).await?;
    let lines = cx.app.history(&cx.actor, Subject::Site(id)).await?;
    Ok(HistoryPage { frame: under_site(&cx, &site, format!("History of {}", site.name)), lines })
}
