//! What was really put on: a plan worked through outside with one thumb, a dose done in
//! part or otherwise, what was in no plan, the lists, and taking an entry back.

use super::plots::{titled, under_plot, under_site};
use crate::{
    agronomy::{
        cap::SeasonCap,
        caution::{self, CautionNote},
        liking::Liking,
        quantity::KgPerHa,
        rate::RateUnit,
        working::Working,
    },
    app::{
        applications::{
            AmendmentRow, ApplicationForm, ApplicationRow, OpenDose, PlanOutside, PlanRow, SeasonRow, SiteRow,
        },
        history::{ChangeRow, Subject},
        plots::PlotRow,
        season_totals::{CapLeft, SeasonTotals, SiteApplications, SpanForm},
    },
    ids::{AmendmentId, ApplicationId, DoseId, PlanId, PlotId, SiteId},
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps, in_address, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// A plan as it is worked through outside: each dose with a button.
#[derive(Template, WebTemplate)]
#[template(path = "pages/applications/plan.html")]
pub struct PlanRecordPage {
    frame: Frame,
    plan: PlanRow,
    season: SeasonRow,
    form: Form,
    by_product: bool,
    /// The day that the plan is for, where it is still to come.
    early: Option<String>,
    groups: Vec<Group>,
    done: Vec<ApplicationRow>,
    cautions: Vec<Mind>,
    /// Caps gone beyond, as sentences.
    exceeded: Vec<String>,
    totals: Vec<PlotTotals>,
}

/// The doses of one plot, or of one product.
struct Group {
    title: String,
    path: Option<String>,
    jobs: Vec<Job>,
}

/// One dose still to be put on.
struct Job {
    dose: DoseId,
    what: String,
    left_g: f64,
    planned_g: f64,
    /// Some of it is on already.
    partly: bool,
}

/// A caution and the products that carry it.
struct Mind {
    note: CautionNote,
    products: Vec<String>,
}

/// A plot with the caps of which it has used something.
struct PlotTotals {
    title: String,
    path: String,
    caps: Vec<CapView>,
}

/// A cap with what it counts, as this reader reads it.
struct CapView {
    label: String,
    source: String,
    given: String,
    left: String,
    exceeded: bool,
}

/// How rates are read on a page: by whom, and on which site.
#[derive(Clone, Copy)]
struct Reads {
    liking: Liking,
    site: RateUnit,
}

impl Reads {
    fn of(cx: &Cx, site: &SiteRow) -> Reads {
        Reads { liking: cx.actor.liking, site: site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa) }
    }

    fn label(self, cap: &SeasonCap) -> String {
        self.liking.cap_label(cap, self.site)
    }

    fn amount(self, cap: &SeasonCap, amount: KgPerHa) -> String {
        show::figure(&self.liking.cap_amount(cap, amount, self.site))
    }

    fn working(self, cap: &CapLeft) -> Working {
        self.liking.cap_working(&cap.cap, &cap.working, self.site)
    }

    fn cap(self, cap: &CapLeft) -> CapView {
        CapView {
            label: self.label(&cap.cap),
            source: cap.cap.source.to_string(),
            given: self.amount(&cap.cap, cap.given),
            left: self.amount(&cap.cap, cap.left),
            exceeded: cap.exceeded(),
        }
    }
}

/// The form for one application.
#[derive(Template, WebTemplate)]
#[template(path = "pages/applications/form.html")]
pub struct ApplicationPage {
    frame: Frame,
    form: Form,
    action: String,
    /// The dose that it fulfils.
    dose: Option<OpenDose>,
    cautions: Vec<CautionNote>,
    /// Caps that it would exceed, as sentences.
    exceeds: Vec<String>,
    /// Where another product can be chosen, for what is in no plan.
    other_product: Option<String>,
}

/// The choice of what was put on, before its form.
#[derive(Template, WebTemplate)]
#[template(path = "pages/applications/choose.html")]
pub struct ChoosePage {
    frame: Frame,
    form: Form,
    plot: PlotRow,
    products: Vec<AmendmentRow>,
}

/// What was put on a plot.
#[derive(Template)]
#[template(path = "pages/applications/plot.html")]
struct PlotApplicationsPage<'a> {
    frame: Frame,
    plot: &'a PlotRow,
    /// What rates are shown in here.
    unit: &'a str,
    rows: Vec<ApplicationRow>,
    totals: &'a SeasonTotals,
    caps: Vec<CapView>,
    exceeded: Vec<String>,
    workings: Vec<Steps<'a>>,
}

/// What was put on a site.
#[derive(Template, WebTemplate)]
#[template(path = "pages/applications/site.html")]
pub struct SiteApplicationsPage {
    frame: Frame,
    site: SiteRow,
    form: Form,
    /// `None` where the span was not understood.
    found: Option<SiteApplications>,
}

/// One application, and the way to take it back.
#[derive(Template, WebTemplate)]
#[template(path = "pages/applications/show.html")]
pub struct ShowPage {
    frame: Frame,
    row: ApplicationRow,
    form: Form,
    lines: Vec<ChangeRow>,
}

/// Address of the page that works through a plan.
pub fn record_path(plan: PlanId) -> String {
    format!("/plans/{plan}/record")
}

/// The same with the day, the name and the order that were chosen there.
fn record_path_with(plan: PlanId, form: &Form) -> String {
    let kept = ["applied_on", "person_name", "by"].map(|name| format!("{name}={}", in_address(form.value(name))));
    format!("{}?{}", record_path(plan), kept.join("&"))
}

/// A cap gone beyond, as a sentence.
fn beyond(cap: &CapLeft, reads: Reads) -> String {
    let (label, given) = (reads.label(&cap.cap), reads.amount(&cap.cap, cap.given));
    format!("{label} in twelve months. With this it is {given}.")
}

/// The name of a plot, from a row that carries code and name.
fn plot_name(code: &str, name: &str) -> String {
    if name.is_empty() || name == code { code.to_owned() } else { format!("{code} {name}") }
}

fn failed(page: impl IntoResponse) -> Response {
    (StatusCode::UNPROCESSABLE_ENTITY, page).into_response()
}

impl PlanRecordPage {
    async fn load(cx: &Cx, plan: PlanId, mut form: Form) -> Result<PlanRecordPage> {
        let PlanOutside { site, season, plan, open, done, products } = cx.app.plan_outside(&cx.actor, plan).await?;
        let today = cx.app.today();
        if form.value("applied_on").is_empty() && form.problems("applied_on").is_empty() {
            form.set("applied_on", today);
        }
        let mut plots: Vec<(PlotId, String)> = vec![];
        let named = open.iter().map(|dose| (dose.row.plot, plot_name(&dose.row.plot_code, &dose.row.plot_name)));
        for (id, name) in named.chain(done.iter().map(|row| (row.plot, plot_name(&row.plot_code, &row.plot_name)))) {
            if plots.iter().all(|(known, _)| *known != id) {
                plots.push((id, name));
            }
        }
        let ids: Vec<PlotId> = plots.iter().map(|(id, _)| *id).collect();
        let mut totals = cx.app.season_totals(&cx.actor, &ids, today).await?;
        let mut exceeded = vec![];
        let reads = Reads::of(cx, &site);
        let totals = plots
            .into_iter()
            .filter_map(|(id, title)| {
                let mut caps = totals.remove(&id)?.caps;
                caps.retain(|cap| cap.given.0 > 0.0);
                exceeded.extend(caps.iter().filter(|cap| cap.exceeded()).map(|cap| over(&title, cap, reads)));
                let path = format!("/plots/{id}/applications");
                let caps: Vec<CapView> = caps.iter().map(|cap| reads.cap(cap)).collect();
                (!caps.is_empty()).then_some(PlotTotals { title, path, caps })
            })
            .collect();
        let by_product = form.value("by") == "product";
        let spread_on = cx.app.plan_form(&cx.actor, plan.id).await?.2.spread_on.parse::<jiff::civil::Date>();
        let early = spread_on.ok().filter(|day| *day > today).map(show::date);
        let frame = under_site(cx, &site, format!("Record what was put on: {}", plan.name))
            .under(format!("/plans/{}", plan.id), &plan.name);
        Ok(PlanRecordPage {
            frame,
            season,
            form,
            by_product,
            early,
            groups: groups(open, by_product),
            done,
            cautions: to_mind(&products),
            exceeded,
            totals,
            plan,
        })
    }
}

/// A cap that a plot is beyond, as a sentence.
fn over(plot: &str, cap: &CapLeft, reads: Reads) -> String {
    format!(
        "{plot} got more than a cap allows. {}; {} were put on in the twelve months. Put no more of it there.",
        reads.label(&cap.cap),
        reads.amount(&cap.cap, cap.given)
    )
}

fn groups(open: Vec<OpenDose>, by_product: bool) -> Vec<Group> {
    let mut groups: Vec<(i64, Group)> = vec![];
    for OpenDose { row, left_g } in open {
        let plot = plot_name(&row.plot_code, &row.plot_name);
        let (key, title, what, path) = match by_product {
            true => (row.amendment.0, row.amendment_name, plot, None),
            false => (row.plot.0, plot, row.amendment_name, Some(format!("/plots/{}", row.plot))),
        };
        let job = Job { dose: row.id, what, left_g, planned_g: row.mass_g, partly: row.applied_g > 0.0 };
        match groups.iter_mut().find(|(known, _)| *known == key) {
            Some((_, group)) => group.jobs.push(job),
            None => groups.push((key, Group { title, path, jobs: vec![job] })),
        }
    }
    if by_product {
        groups.sort_by(|(_, a), (_, b)| a.title.cmp(&b.title));
    }
    groups.into_iter().map(|(_, group)| group).collect()
}

/// The standing cautions of several products, each once.
fn to_mind(products: &[AmendmentRow]) -> Vec<Mind> {
    let mut all: Vec<Mind> = vec![];
    for product in products {
        let name = product.amendment.name.clone();
        for note in caution::cautions_for(&product.amendment, &caution::Context::default()) {
            match all.iter_mut().find(|mind| mind.note.caution == note.caution) {
                Some(mind) => mind.products.push(name.clone()),
                None => all.push(Mind { note, products: vec![name.clone()] }),
            }
        }
    }
    all
}

/// `GET /plans/{plan}/record`
pub async fn plan(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<PlanRecordPage> {
    PlanRecordPage::load(&cx, plan, form).await
}

/// What is said after an application was saved: what, where, and each cap it goes beyond.
async fn said_of(cx: &Cx, id: ApplicationId) -> Result<String> {
    let row = cx.app.application(&cx.actor, id).await?;
    let plot = plot_name(&row.plot_code, &row.plot_name);
    let mut said = format!("Recorded: {} of {} on {plot}.", show::mass(row.mass_g), row.amendment_name);
    let exceeded = cx.app.caps_exceeded_by(&cx.actor, id).await?;
    if !exceeded.is_empty() {
        let site = cx.app.plot(&cx.actor, row.plot).await?.site;
        let reads = Reads::of(cx, &cx.app.site(&cx.actor, site).await?);
        said.extend(exceeded.iter().map(|cap| format!(" {}", over(&plot, cap, reads))));
    }
    Ok(said)
}

/// `POST /doses/{dose}/done`: what is left of the dose was put on as planned.
pub async fn done(cx: Cx, Path(dose): Path<DoseId>, form: Form) -> Result<Response> {
    let (plan, _) = cx.app.dose(&cx.actor, dose).await?;
    let (on, who) = (form.value("applied_on"), form.value("person_name"));
    match cx.app.record_rest_of(&cx.actor, dose, on, who).await {
        Ok(id) => Ok(see(record_path_with(plan.id, &form)).say(said_of(&cx, id).await?).into_response()),
        Err(error) => Ok(failed(PlanRecordPage::load(&cx, plan.id, form.refused(error)?).await?)),
    }
}

impl ApplicationPage {
    /// The form for a dose of a plan, put on otherwise than planned.
    async fn of_dose(cx: &Cx, plan: &PlanRow, dose: OpenDose, form: Form) -> Result<ApplicationPage> {
        let row = &dose.row;
        let plot = cx.app.plot(&cx.actor, row.plot).await?;
        let site = cx.app.site(&cx.actor, plot.site).await?;
        let frame = under_site(cx, &site, format!("{} on {}", row.amendment_name, titled(&plot)))
            .under(record_path_with(plan.id, &form), format!("Record: {}", plan.name));
        let mass = Some(dose.left_g).filter(|g| *g > 0.0);
        Ok(ApplicationPage {
            frame,
            form,
            action: format!("/doses/{}/record", row.id),
            cautions: cx.app.application_cautions(&cx.actor, row.plot, row.amendment, mass).await?,
            dose: Some(dose),
            exceeds: vec![],
            other_product: None,
        })
    }

    /// The form for something that was in no plan.
    async fn extra(cx: &Cx, plot: &PlotRow, product: AmendmentId, form: Form) -> Result<ApplicationPage> {
        let site = cx.app.site(&cx.actor, plot.site).await?;
        let name = cx.app.amendment(&cx.actor, product).await?.row.amendment.name;
        Ok(ApplicationPage {
            frame: under_plot(cx, &site, plot, format!("{name} on {}", titled(plot))),
            action: format!("/plots/{}/applications", plot.id),
            dose: None,
            cautions: cx.app.application_cautions(&cx.actor, plot.id, product, None).await?,
            exceeds: vec![],
            other_product: Some(format!("/plots/{}/applications/new", plot.id)),
            form,
        })
    }
}

/// Saves an application as typed, unless it exceeds a cap and nobody said yet that it really
/// happened: then the sentences about those caps come back.
async fn save(cx: &Cx, form: &Form, typed: &ApplicationForm) -> Result<Saved> {
    if form.value("anyway") != "yes" {
        match cx.app.caps_exceeded_by_form(&cx.actor, typed).await {
            Ok(caps) if caps.is_empty() => {}
            Ok(caps) => {
                let plot: PlotId = typed.plot.parse().map_err(|_| Error::not_found())?;
                let site = cx.app.plot(&cx.actor, plot).await?.site;
                let reads = Reads::of(cx, &cx.app.site(&cx.actor, site).await?);
                return Ok(Saved::Exceeds(caps.iter().map(|cap| beyond(cap, reads)).collect()));
            }
            Err(error) => return Ok(Saved::Refused(form.clone().refused(error)?)),
        }
    }
    match cx.app.record_application(&cx.actor, typed).await {
        Ok(id) => Ok(Saved::Yes(id)),
        Err(error) => Ok(Saved::Refused(form.clone().refused(error)?)),
    }
}

/// What came of saving an application.
enum Saved {
    Yes(ApplicationId),
    /// It would exceed these caps.
    Exceeds(Vec<String>),
    Refused(Form),
}

/// `GET /doses/{dose}/record`
pub async fn other(cx: Cx, Path(dose): Path<DoseId>, mut form: Form) -> Result<ApplicationPage> {
    let (plan, dose) = cx.app.dose(&cx.actor, dose).await?;
    if form.value("applied_on").is_empty() {
        form.set("applied_on", cx.app.today());
    }
    if dose.left_g > 0.0 {
        form.set("mass_g", dose.left_g);
    }
    ApplicationPage::of_dose(&cx, &plan, dose, form).await
}

/// `POST /doses/{dose}/record`
pub async fn record_other(cx: Cx, Path(id): Path<DoseId>, form: Form) -> Result<Response> {
    let (plan, dose) = cx.app.dose(&cx.actor, id).await?;
    let typed = ApplicationForm {
        plot: dose.row.plot.to_string(),
        amendment: dose.row.amendment.to_string(),
        dose: id.to_string(),
        ..form.read_as()?
    };
    let (form, exceeds) = match save(&cx, &form, &typed).await? {
        Saved::Yes(id) => {
            return Ok(see(record_path_with(plan.id, &form)).say(said_of(&cx, id).await?).into_response());
        }
        Saved::Exceeds(caps) => (form, caps),
        Saved::Refused(form) => (form, vec![]),
    };
    Ok(failed(ApplicationPage { exceeds, ..ApplicationPage::of_dose(&cx, &plan, dose, form).await? }))
}

impl ChoosePage {
    async fn load(cx: &Cx, plot: PlotRow, form: Form) -> Result<ChoosePage> {
        let site = cx.app.site(&cx.actor, plot.site).await?;
        let mut products = cx.app.amendments(&cx.actor, false).await?;
        products.sort_by_key(|product| product.amendment.name.to_lowercase());
        let frame = under_plot(cx, &site, &plot, format!("Something was put on {}", titled(&plot)));
        Ok(ChoosePage { frame, form, plot, products })
    }

    fn options(&self) -> Vec<(String, String)> {
        let unanswered = (String::new(), "Choose one".to_owned());
        let products = self.products.iter().map(|row| (row.id.to_string(), row.amendment.name.clone()));
        std::iter::once(unanswered).chain(products).collect()
    }
}

/// `GET /plots/{plot}/applications/new`: asks for the product, then for the rest.
pub async fn new(cx: Cx, Path(plot): Path<PlotId>, mut form: Form) -> Result<Response> {
    let plot = cx.app.plot(&cx.actor, plot).await?;
    let Ok(product) = form.value("amendment").parse::<AmendmentId>() else {
        return Ok(ChoosePage::load(&cx, plot, form).await?.into_response());
    };
    if form.value("applied_on").is_empty() {
        form.set("applied_on", cx.app.today());
    }
    Ok(ApplicationPage::extra(&cx, &plot, product, form).await?.into_response())
}

/// `POST /plots/{plot}/applications`
pub async fn add(cx: Cx, Path(plot): Path<PlotId>, mut form: Form) -> Result<Response> {
    let plot = cx.app.plot(&cx.actor, plot).await?;
    let Ok(product) = form.value("amendment").parse::<AmendmentId>() else {
        form.problem("amendment", "Choose what was put on.");
        return Ok(failed(ChoosePage::load(&cx, plot, form).await?));
    };
    let typed =
        ApplicationForm { plot: plot.id.to_string(), dose: String::new(), ..form.read_as::<ApplicationForm>()? };
    let (form, exceeds) = match save(&cx, &form, &typed).await? {
        Saved::Yes(id) => {
            return Ok(see(format!("/plots/{}/applications", plot.id)).say(said_of(&cx, id).await?).into_response());
        }
        Saved::Exceeds(caps) => (form, caps),
        Saved::Refused(form) => (form, vec![]),
    };
    Ok(failed(ApplicationPage { exceeds, ..ApplicationPage::extra(&cx, &plot, product, form).await? }))
}

/// `GET /plots/{plot}/applications`
pub async fn of_plot(cx: Cx, Path(id): Path<PlotId>) -> Result<Response> {
    let plot = cx.app.plot(&cx.actor, id).await?;
    let site = cx.app.site(&cx.actor, plot.site).await?;
    let rows = cx.app.applications_of_plot(&cx.actor, id, true).await?;
    let totals = cx.app.cap_totals(&cx.actor, id, cx.app.today()).await?;
    let name = titled(&plot);
    let reads = Reads::of(&cx, &site);
    let workings: Vec<Working> = totals.caps.iter().map(|cap| reads.working(cap)).collect();
    let page = PlotApplicationsPage {
        frame: under_plot(&cx, &site, &plot, format!("What was put on {name}")),
        plot: &plot,
        unit: &site.rate_unit,
        rows,
        exceeded: totals.caps.iter().filter(|cap| cap.exceeded()).map(|cap| over(&name, cap, reads)).collect(),
        caps: totals.caps.iter().map(|cap| reads.cap(cap)).collect(),
        workings: workings.iter().map(|working| Steps::of(working, &|_| None)).collect(),
        totals: &totals,
    };
    let page = page.render().map_err(|_| Error::from_status(StatusCode::INTERNAL_SERVER_ERROR))?;
    Ok(axum::response::Html(page).into_response())
}

/// `GET /sites/{site}/applications`
pub async fn of_site(cx: Cx, Path(id): Path<SiteId>, mut form: Form) -> Result<Response> {
    let site = cx.app.site(&cx.actor, id).await?;
    let frame = under_site(&cx, &site, format!("What was put on {}", site.name));
    match cx.app.site_applications(&cx.actor, id, &form.read_as::<SpanForm>()?).await {
        Ok(found) => {
            form.set("from", found.from);
            form.set("to", found.to);
            Ok(SiteApplicationsPage { frame, site, form, found: Some(found) }.into_response())
        }
        Err(error) => Ok(failed(SiteApplicationsPage { frame, site, form: form.refused(error)?, found: None })),
    }
}

impl ShowPage {
    async fn load(cx: &Cx, id: ApplicationId, form: Form) -> Result<ShowPage> {
        let row = cx.app.application(&cx.actor, id).await?;
        let plot = cx.app.plot(&cx.actor, row.plot).await?;
        let site = cx.app.site(&cx.actor, row.site).await?;
        let lines = cx.app.history(&cx.actor, Subject::Application(id)).await?;
        let title = format!("{} of {}, {}", show::mass(row.mass_g), row.amendment_name, show::date(row.applied_on));
        let frame = under_plot(cx, &site, &plot, title).under(format!("/plots/{}/applications", plot.id), "Put on");
        Ok(ShowPage { frame, row, form, lines })
    }
}

/// `GET /applications/{application}`
pub async fn show(cx: Cx, Path(id): Path<ApplicationId>, form: Form) -> Result<ShowPage> {
    let mut form = form;
    form.set("why", "Entered by mistake");
    ShowPage::load(&cx, id, form).await
}

/// `POST /applications/{application}/void`
pub async fn void(cx: Cx, Path(id): Path<ApplicationId>, form: Form) -> Result<Response> {
    let row = cx.app.application(&cx.actor, id).await?;
    match cx.app.void_application(&cx.actor, id, form.value("why")).await {
        Ok(()) => {
            let back = match row.dose {
                Some(dose) => record_path(cx.app.dose(&cx.actor, dose).await?.0.id),
                None => format!("/plots/{}/applications", row.plot),
            };
            let said = format!("Taken back: {} of {}. It counts no more.", show::mass(row.mass_g), row.amendment_name);
            Ok(see(back).say(said).into_response())
        }
        Err(error) => Ok(failed(ShowPage::load(&cx, id, form.refused(error)?).await?)),
    }
}

/// What of a list of applications a void entry is; nothing where it counts.
fn void_words(row: &ApplicationRow) -> Option<String> {
    row.voided_at.map(|at| format!("Taken back {}: {}", show::moment(at), row.void_reason.as_deref().unwrap_or("")))
}
