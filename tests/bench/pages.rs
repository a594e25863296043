//! Pages of the demonstration garden, timed through the router in this process, and the plan
//! of all its plots: what a grower waits for at that size. No network and no browser in it.

use axum::{
    Router,
    body::Body,
    http::{Request, StatusCode, header},
};
use glebe::{
    app::{App, demo, seasons::PlanForm},
    clock::Clock,
    ids::PlanId,
    settings::Settings,
    web::Server,
};
use http_body_util::BodyExt;
use std::time::{Duration, Instant};
use tower::ServiceExt;

/// Requests that are timed for each page, after a few that are not.
const REQUESTS: usize = 200;
const WARM_UP: usize = 5;
/// Times that the plan of all plots is worked out.
const SOLVES: usize = 5;
/// The budgets: a page at the demonstration's size, and the plan of all its plots.
const PAGE_BUDGET: Duration = Duration::from_millis(50);
const SOLVE_BUDGET: Duration = Duration::from_secs(2);

/// Builds the garden in a folder of its own and prints what its pages take.
pub fn run() {
    tokio::runtime::Runtime::new().expect("a runtime").block_on(time_all());
}

async fn time_all() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let settings = Settings { data: folder.path().into(), listen: ([127, 0, 0, 1], 0).into(), https: false };
    let now = "2026-11-25T12:00:00Z".parse().expect("a moment");
    let app = App::open(&settings, Clock::Fixed(now)).await.expect("a record");
    let start = Instant::now();
    app.invent_garden().await.expect("the garden");
    let session = app.sign_in(demo::LOGIN, demo::PASSWORD).await.expect("signing in");
    let actor = app.session(session.secret()).await.expect("a session").expect("somebody");
    let site = app.sites(&actor).await.expect("sites").remove(0);
    let plots = app.plots(&actor, site.id, false).await.expect("plots");
    println!("pages of the invented garden, {} plots, made in {:.1} s:", plots.len(), start.elapsed().as_secs_f64());
    let season = app.seasons(&actor, site.id).await.expect("seasons").remove(0);
    let plan = app.season(&actor, season.id).await.expect("the season").plans.remove(0).id;

    let router = Server::new(app.clone(), &settings).router();
    let (site, plot) = (site.id, plots[plots.len() / 2].id);
    for (name, path) in [
        ("today", "/".to_owned()),
        ("site", format!("/sites/{site}")),
        ("drift", format!("/sites/{site}/drift")),
        ("plot", format!("/plots/{plot}")),
        ("next season", format!("/plots/{plot}/next")),
        ("trend", format!("/plots/{plot}/trend/P")),
        ("plan", format!("/plans/{plan}")),
        ("record", format!("/plans/{plan}/record")),
        ("put on, plot", format!("/plots/{plot}/applications")),
        ("put on, site", format!("/sites/{site}/applications")),
    ] {
        time_page(&router, session.secret(), name, &path, PAGE_BUDGET, REQUESTS).await;
    }

    let form = PlanForm {
        name: "All plots".into(),
        guideline: "extension_sufficiency".into(),
        plots: plots.iter().map(|plot| plot.id.to_string()).collect(),
        products: app
            .amendments(&actor, false)
            .await
            .expect("amendments")
            .iter()
            .map(|product| product.id.to_string())
            .collect(),
        ..PlanForm::default()
    };
    let of = format!("plan of {} plots × {} products, worked out and saved", form.plots.len(), form.products.len());
    let mut spent = Vec::new();
    let mut made: Option<PlanId> = None;
    for _ in 0..SOLVES {
        let start = Instant::now();
        match made {
            None => made = Some(app.add_plan(&actor, season.id, &form).await.expect("a plan")),
            Some(plan) => app.solve_plan(&actor, plan).await.expect("the plan again"),
        }
        spent.push(start.elapsed());
    }
    told(&of, &mut spent, SOLVE_BUDGET);
    app.close().await;
}

/// Asks for a page and gives its bytes.
pub async fn ask(router: &Router, token: &str, path: &str) -> usize {
    let request = Request::builder()
        .uri(path)
        .header(header::HOST, "glebe.test")
        .header(header::COOKIE, format!("sid={token}"))
        .body(Body::empty())
        .expect("a request");
    let response = router.clone().oneshot(request).await.expect("an answer");
    let status = response.status();
    let body = response.into_body().collect().await.expect("a page").to_bytes();
    assert_eq!(status, StatusCode::OK, "{path}: {}", String::from_utf8_lossy(&body));
    body.len()
}

/// Asks for a page many times and prints how long it takes.
pub async fn time_page(router: &Router, token: &str, name: &str, path: &str, budget: Duration, times: usize) {
    let mut spent = Vec::with_capacity(times);
    let mut bytes = 0;
    for n in 0..WARM_UP.min(times) + times {
        let start = Instant::now();
        bytes = ask(router, token, path).await;
        if n >= WARM_UP.min(times) {
            spent.push(start.elapsed());
        }
    }
    told(&format!("{name} ({} kB)", bytes / 1000), &mut spent, budget);
}

/// Prints the middle and the slowest of what was measured, against what is allowed.
pub fn told(what: &str, spent: &mut [Duration], budget: Duration) {
    spent.sort();
    let at = |share: f64| spent[((spent.len() - 1) as f64 * share).round() as usize];
    let ms = |took: Duration| took.as_secs_f64() * 1e3;
    let mark = if at(0.99) > budget { "OVER" } else { "within" };
    println!("  {what:<22} p50 {:>7.1} ms, p99 {:>7.1} ms: {mark} {:.0} ms", ms(at(0.5)), ms(at(0.99)), ms(budget));
}
