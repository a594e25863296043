//! Every route, with who may use it. The router is built from this table and from
//! nothing else, so a page that is not in it does not exist.

use super::{
    Server, assets,
    guard::{Gate, pass},
    pages::{
        ahead, amendment_lists, amendments, applications, calibration, cores, drift, files, guideline_form, guidelines,
        harvests, history, home, lab_check, ledger, lime, metals, next, nitrogen, opinions, people, plan_caps,
        plan_compare, plan_expects, plan_form, plan_prints, plan_trade, plan_why, plan_work, plan_working, plans, plot,
        plots, removals, reports, salts, samplings, seasons, settings, setup, sign_in, sites, story, test_errors,
        traces, trend, year_summary, years,
    },
    probes,
};
use crate::{
    app::{Actor, Role},
    settings::UPLOAD_BYTES_MAX,
};
use axum::{
    Router,
    extract::DefaultBodyLimit,
    handler::Handler,
    http::Method,
    middleware::from_fn_with_state,
    routing::{MethodFilter, MethodRouter, on},
};

/// Who may use a route.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Access {
    /// Anybody.
    Public,
    /// Anybody signed in.
    Reader,
    /// Those who keep the record.
    Recorder,
    /// Those who look after ground, products and people.
    Steward,
}

impl Access {
    /// Whether it lets this person through.
    pub fn admits(self, actor: Option<&Actor>) -> bool {
        match (self, actor.map(|actor| actor.role)) {
            (Access::Public, _) | (Access::Reader, Some(_)) => true,
            (Access::Recorder, Some(role)) => role >= Role::Recorder,
            (Access::Steward, Some(role)) => role == Role::Steward,
            (_, None) => false,
        }
    }
}

/// One row of the table.
pub struct Route {
    pub method: Method,
    /// In axum's form: `/plots/{plot}`.
    pub path: &'static str,
    pub access: Access,
    handler: MethodRouter<Server>,
}

impl Route {
    /// The same route, taking files up to the limit for uploads.
    pub fn taking_files(mut self) -> Route {
        self.handler = self.handler.layer(DefaultBodyLimit::max(UPLOAD_BYTES_MAX));
        self
    }
}

fn get<T: 'static>(path: &'static str, access: Access, handler: impl Handler<T, Server>) -> Route {
    Route { method: Method::GET, path, access, handler: on(MethodFilter::GET, handler) }
}

fn post<T: 'static>(path: &'static str, access: Access, handler: impl Handler<T, Server>) -> Route {
    Route { method: Method::POST, path, access, handler: on(MethodFilter::POST, handler) }
}

/// The table.
#[rustfmt::skip]
pub fn routes() -> Vec<Route> {
    use Access::*;
    vec![
        get("/healthz", Public, probes::health),
        get("/static/{name}", Public, assets::serve),
        get("/setup", Public, setup::show),
        post("/setup", Public, setup::start),
        get("/sign-in", Public, sign_in::show),
        post("/sign-in", Public, sign_in::enter),
        post("/sign-out", Public, sign_in::leave),
        get("/", Reader, home::show),
        get("/sites", Reader, sites::list),
        post("/sites", Steward, sites::add),
        get("/sites/new", Steward, sites::new),
        get("/sites/{site}", Reader, sites::show),
        post("/sites/{site}", Steward, sites::change),
        get("/sites/{site}/edit", Steward, sites::edit),
        get("/sites/{site}/history", Reader, plots::site_history),
        get("/sites/{site}/drift", Reader, drift::show),
        get("/sites/{site}/drift.csv", Reader, drift::csv),
        get("/sites/{site}/errors", Reader, test_errors::show),
        post("/sites/{site}/errors", Steward, test_errors::change),
        get("/sites/{site}/blocks/new", Steward, sites::new_block),
        post("/sites/{site}/blocks", Steward, sites::add_block),
        get("/blocks/{block}/edit", Steward, sites::edit_block),
        post("/blocks/{block}", Steward, sites::change_block),
        get("/sites/{site}/plots/new", Recorder, plots::new),
        post("/sites/{site}/plots", Recorder, plots::add),
        get("/sites/{site}/merge", Recorder, plots::merge),
        post("/sites/{site}/merge", Recorder, plots::do_merge),
        get("/plots/{plot}", Reader, plot::show),
        get("/plots/{plot}/next", Reader, next::show),
        get("/plots/{plot}/years", Reader, ahead::plot),
        get("/sites/{site}/next", Reader, ahead::site),
        get("/sites/{site}/years", Reader, ahead::site_years),
        get("/plots/{plot}/working/{analyte}/{what}", Reader, plot::working),
        get("/plots/{plot}/trend/{analyte}", Reader, trend::show),
        get("/plots/{plot}/trend/{analyte}/working", Reader, trend::working),
        get("/plots/{plot}/opinions", Reader, opinions::show),
        get("/plots/{plot}/opinions/{guideline}/{analyte}/{what}", Reader, opinions::working),
        get("/plots/{plot}/lime", Reader, lime::show),
        get("/plots/{plot}/salts", Reader, salts::show),
        get("/plots/{plot}/nitrogen", Reader, nitrogen::show),
        get("/plots/{plot}/traces", Reader, traces::show),
        get("/plots/{plot}/contaminants", Reader, metals::show),
        get("/plots/{plot}/story", Reader, story::show),
        post("/plots/{plot}/notes", Recorder, story::note).taking_files(),
        post("/notes/{note}/void", Recorder, story::void_note),
        get("/plots/{plot}/summary", Reader, year_summary::plot),
        get("/sites/{site}/summary", Reader, year_summary::site),
        post("/plots/{plot}", Recorder, plots::change),
        get("/plots/{plot}/edit", Recorder, plots::edit),
        get("/plots/{plot}/split", Recorder, plots::split),
        post("/plots/{plot}/split", Recorder, plots::do_split),
        post("/plots/{plot}/retire", Recorder, plots::retire),
        post("/plots/{plot}/reopen", Recorder, plots::reopen),
        get("/plots/{plot}/history", Reader, plots::history),
        get("/sites/{site}/samplings", Reader, samplings::list),
        post("/sites/{site}/samplings", Recorder, samplings::add),
        get("/sites/{site}/samplings/new", Recorder, samplings::new),
        get("/sites/{site}/cores", Reader, cores::show),
        get("/samplings/{sampling}", Reader, samplings::show),
        get("/samplings/{sampling}/edit", Recorder, samplings::edit),
        post("/samplings/{sampling}/edit", Recorder, samplings::change),
        get("/samplings/{sampling}/check", Reader, lab_check::show),
        post("/samplings/{sampling}/void", Recorder, samplings::void),
        post("/samplings/{sampling}/overrule", Recorder, samplings::overrule),
        post("/samplings/{sampling}/follow", Recorder, samplings::follow),
        get("/samplings/{sampling}/workings/{what}", Reader, samplings::working),
        get("/samplings/{sampling}/reports/new", Recorder, reports::new),
        post("/samplings/{sampling}/reports", Recorder, reports::add),
        get("/reports/{report}", Reader, reports::show),
        post("/reports/{report}/void", Recorder, reports::void),
        get("/reports/{report}/opinions", Reader, opinions::of_report),
        get("/reports/{report}/opinions/{guideline}/{analyte}/{what}", Reader, opinions::report_working),
        post("/reports/{report}/files", Recorder, files::attach).taking_files(),
        get("/determinations/{cell}", Reader, reports::find),
        get("/determinations/{cell}/working", Reader, reports::working),
        get("/determinations/{cell}/correct", Recorder, reports::correct),
        post("/determinations/{cell}/correct", Recorder, reports::do_correct),
        post("/determinations/{cell}/withdraw", Recorder, reports::withdraw),
        get("/files/{file}", Reader, files::send),
        post("/files/{file}/void", Recorder, files::void),
        get("/plans/{plan}/forecasts", Reader, plan_expects::show),
        get("/plans/{plan}/record", Recorder, applications::plan),
        post("/doses/{dose}/done", Recorder, applications::done),
        get("/doses/{dose}/record", Recorder, applications::other),
        post("/doses/{dose}/record", Recorder, applications::record_other),
        get("/plots/{plot}/applications", Reader, applications::of_plot),
        post("/plots/{plot}/applications", Recorder, applications::add),
        get("/plots/{plot}/applications/new", Recorder, applications::new),
        get("/sites/{site}/applications", Reader, applications::of_site),
        get("/applications/{application}", Reader, applications::show),
        post("/applications/{application}/void", Recorder, applications::void),
        get("/plots/{plot}/harvests", Reader, harvests::of_plot),
        post("/plots/{plot}/harvests", Recorder, harvests::add),
        get("/sites/{site}/harvests", Reader, harvests::of_site),
        post("/sites/{site}/harvests", Recorder, harvests::add_several),
        get("/sites/{site}/harvests/new", Recorder, harvests::several),
        get("/harvests/{harvest}", Reader, harvests::show),
        post("/harvests/{harvest}/void", Recorder, harvests::void),
        get("/harvests/{harvest}/correct", Recorder, harvests::correct),
        post("/harvests/{harvest}/correct", Recorder, harvests::do_correct),
        get("/sites/{site}/removals", Reader, removals::list),
        get("/sites/{site}/removals/{crop}", Reader, removals::crop),
        post("/sites/{site}/removals/{crop}", Recorder, removals::set),
        post("/sites/{site}/removals/{crop}/void", Recorder, removals::void),
        get("/plots/{plot}/ledger", Reader, ledger::show),
        get("/plots/{plot}/ledger.csv", Reader, ledger::csv),
        get("/plots/{plot}/ledger/{from}/{element}/{what}", Reader, ledger::working),
        get("/plots/{plot}/response", Reader, years::response),
        get("/sites/{site}/calibration", Reader, calibration::show),
        get("/forecasts/{forecast}", Reader, calibration::one),
        get("/sites/{site}/calendar", Reader, years::calendar),
        get("/sites/{site}/stakes", Reader, years::stakes),
        post("/sites/{site}/stakes", Steward, years::set_stakes),
        get("/amendments", Reader, amendments::list),
        post("/amendments", Recorder, amendments::add),
        get("/amendments/new", Recorder, amendments::new),
        post("/amendments/catalogue", Steward, amendments::seed),
        get("/amendments/{amendment}", Reader, amendments::show),
        post("/amendments/{amendment}", Recorder, amendments::change),
        get("/amendments/{amendment}/edit", Recorder, amendments::edit),
        post("/amendments/{amendment}/analyses", Recorder, amendments::add_analysis),
        post("/amendments/{amendment}/lists", Recorder, amendment_lists::add),
        post("/lists/{status}/file", Recorder, amendment_lists::attach).taking_files(),
        get("/lists/{status}/file", Reader, amendment_lists::evidence),
        post("/lists/{status}/void", Recorder, amendment_lists::void),
        post("/amendments/{amendment}/packs", Recorder, amendments::add_pack),
        post("/amendments/{amendment}/stock", Recorder, amendments::count),
        post("/amendments/{amendment}/archive", Recorder, amendments::archive),
        post("/packs/{pack}/archive", Recorder, amendments::archive_pack),
        post("/packs/{pack}/price", Recorder, amendments::price_pack),
        get("/guidelines", Reader, guidelines::list),
        get("/guidelines/{slug}", Reader, guidelines::show),
        get("/guidelines/{slug}/versions", Reader, guidelines::versions),
        get("/guidelines/{slug}/versions/{version}", Reader, guidelines::show_version),
        post("/guidelines/{slug}/copy", Steward, guidelines::copy),
        post("/guidelines/{slug}/archive", Steward, guidelines::archive),
        get("/guidelines/{slug}/edit", Steward, guideline_form::edit),
        post("/guidelines/{slug}/edit", Steward, guideline_form::save),
        get("/history", Reader, history::list),
        get("/sites/{site}/seasons", Reader, seasons::list),
        post("/sites/{site}/seasons", Recorder, seasons::add),
        get("/seasons/{season}", Reader, seasons::show),
        post("/seasons/{season}/crops", Recorder, seasons::set_crops),
        get("/seasons/{season}/plans/new", Recorder, plan_form::new),
        post("/seasons/{season}/plans", Recorder, plan_form::add),
        get("/plans/{plan}", Reader, plans::show),
        post("/plans/{plan}", Recorder, plan_form::change),
        get("/plans/{plan}/edit", Recorder, plan_form::edit),
        post("/plans/{plan}/check", Recorder, plans::check),
        post("/plans/{plan}/doses", Recorder, plans::save),
        post("/plans/{plan}/solve", Recorder, plans::solve),
        get("/plans/{plan}/work", Recorder, plan_work::show),
        post("/plans/{plan}/work/stop", Recorder, plan_work::stop),
        post("/plans/{plan}/undo", Recorder, plan_work::undo),
        get("/plans/{plan}/compare", Reader, plan_compare::show),
        get("/plans/{plan}/trade-off", Reader, plan_trade::show),
        post("/plans/{plan}/trade-off", Recorder, plan_trade::choose),
        post("/plans/{plan}/agree", Recorder, plans::agree),
        post("/plans/{plan}/reopen", Recorder, plans::reopen),
        post("/plans/{plan}/close", Recorder, plans::close),
        get("/plans/{plan}/working/{plot}/{element}", Reader, plan_working::working),
        get("/plans/{plan}/caps/{plot}/{cap}", Steward, plan_caps::show),
        post("/plans/{plan}/caps/{plot}/{cap}", Steward, plan_caps::overrule),
        post("/plans/{plan}/overrules/{overrule}/withdraw", Steward, plan_caps::withdraw),
        get("/plans/{plan}/sheet", Reader, plan_prints::sheet),
        get("/plans/{plan}/labels", Reader, plan_prints::labels),
        get("/plans/{plan}/shopping", Reader, plan_prints::shopping),
        get("/plans/{plan}/why", Reader, plan_why::show),
        get("/plans/{plan}/history", Reader, plans::history),
        get("/settings", Reader, settings::show),
        post("/settings/reading", Reader, settings::set_reading),
        post("/settings/password", Reader, settings::set_password),
        get("/people", Steward, people::list),
        post("/people", Steward, people::add),
        post("/people/{person}", Steward, people::change),
    ]
}

/// The router, each route behind its gate.
pub(super) fn router(server: Server) -> Router {
    routes()
        .into_iter()
        .fold(Router::new(), |router, route| {
            let gate = Gate { server: server.clone(), access: route.access };
            router.route(route.path, route.handler.layer(from_fn_with_state(gate, pass)))
        })
        .with_state(server)
}
