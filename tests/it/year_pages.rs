//! The pages of the years: harvests with one thumb, the ledger, the second reading of a trend,
//! responses, forecasts held against tests, the calendar; on a small garden and on the demonstration.

use super::store::{PASSWORD, fresh, plot_form, site_form};
use axum::{
    Router,
    body::Body,
    http::{Method, Request, StatusCode, header},
};
use glebe::{
    agronomy::forecast::Fell,
    app::{Actor, App, demo, plots::PlotRow, seasons::SeasonForm},
    clock::Clock,
    ids::{DeterminationId, PlotId, SiteId},
    settings::Settings,
    web::Server,
};
use http_body_util::BodyExt;
use std::collections::BTreeMap;
use tempfile::TempDir;
use tower::ServiceExt;

struct Garden {
    app: App,
    actor: Actor,
    router: Router,
    token: String,
    site: SiteId,
    _folder: TempDir,
}

struct Answer {
    status: StatusCode,
    to: String,
    text: String,
    kind: String,
}

impl Garden {
    async fn small() -> (Garden, [PlotId; 2]) {
        let (folder, app, actor) = fresh().await;
        let site = app.add_site(&actor, &site_form("Home")).await.unwrap();
        let mut plots = [PlotId(0); 2];
        for (plot, code) in plots.iter_mut().zip(["A1", "A2"]) {
            *plot = app.add_plot(&actor, site, &plot_form(code, "20")).await.unwrap();
        }
        let season = SeasonForm { name: "2026".into(), starts_on: "2026-01-01".into(), ends_on: "2026-12-31".into() };
        let season = app.add_season(&actor, site, &season).await.unwrap();
        app.set_crops(&actor, season, &BTreeMap::from([(plots[0], vec!["Carrot".to_owned()])])).await.unwrap();
        let token = app.sign_in("ada", PASSWORD).await.unwrap().secret().to_owned();
        let router = Server::new(app.clone(), app.settings()).router();
        (Garden { app, actor, router, token, site, _folder: folder }, plots)
    }

    async fn invented() -> (Garden, Vec<PlotRow>) {
        let folder = tempfile::tempdir().unwrap();
        let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
        let clock = Clock::Fixed("2026-11-25T12:00:00Z".parse().unwrap());
        let app = App::open(&settings, clock).await.unwrap();
        assert!(app.invent_garden().await.unwrap());
        let token = app.sign_in(demo::LOGIN, demo::PASSWORD).await.unwrap().secret().to_owned();
        let actor = app.session(&token).await.unwrap().unwrap();
        let router = Server::new(app.clone(), app.settings()).router();
        let site = app.sites(&actor).await.unwrap()[0].id;
        let plots = app.plots(&actor, site, false).await.unwrap();
        (Garden { app, actor, router, token, site, _folder: folder }, plots)
    }

    async fn ask(&self, method: Method, path: &str, body: &str) -> Answer {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "glebe.test")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(header::COOKIE, format!("sid={}", self.token))
            .body(Body::from(body.to_owned()))
            .unwrap();
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let head = |name| response.headers().get(name).map_or("", |value| value.to_str().unwrap()).to_owned();
        let (to, kind) = (head(header::LOCATION), head(header::CONTENT_TYPE));
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer { status, to, kind, text: String::from_utf8(bytes.to_vec()).unwrap().replace('\u{a0}', " ") }
    }

    async fn get(&self, path: &str) -> String {
        let answer = self.ask(Method::GET, path, "").await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
        answer.text
    }

    async fn send(&self, path: &str, body: &str) -> String {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{path}: {}", answer.text);
        answer.to
    }

    async fn refused(&self, path: &str, body: &str) -> String {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}: {}", answer.text);
        answer.text
    }
}

#[tokio::test]
async fn a_harvest_is_one_form_with_the_crop_that_grows_here_chosen() {
    let (garden, [plot, other]) = Garden::small().await;
    let list = format!("/plots/{plot}/harvests");
    let page = garden.get(&list).await;
    assert!(page.contains("<option value=\"carrot\" selected>Carrot</option>"), "{page}");
    assert!(page.contains("Nothing left this plot") && page.contains("value=\"2026-03-21\""), "{page}");

    let page = garden.refused(&list, "crop=carrot&fresh_mass_kg=12x&harvested_on=2026-03-20").await;
    assert!(page.contains("value=\"12x\"") && page.contains("id=\"fresh_mass_kg-problem\""), "{page}");
    let page = garden.refused(&list, "crop=&fresh_mass_kg=12&harvested_on=2026-03-20").await;
    assert!(page.contains("Choose the crop, or type 0 kg"), "{page}");
    garden.send(&list, "crop=carrot&fresh_mass_kg=2,5&rows=4&harvested_on=2026-03-20").await;
    garden.send(&format!("/plots/{other}/harvests"), "nothing=yes&crop=leek&harvested_on=2026-03-20").await;
    let page = garden.get(&list).await;
    assert!(page.contains("10 kg"), "{page}");
    let page = garden.get(&format!("/plots/{other}/harvests")).await;
    assert!(page.contains("nothing left"), "{page}");

    let id = garden.app.harvests_of_plot(&garden.actor, plot, false).await.unwrap()[0].id;
    let page = garden.get(&format!("/harvests/{id}")).await;
    for part in ["10 kg of carrot left", "The removal figure and its source", "New England", "Not known: ", "boron"] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let page = garden.get(&format!("/harvests/{id}/correct")).await;
    assert!(page.contains("value=\"10\"") && page.contains("Why it was wrong"), "{page}");
    let body = "crop=carrot&fresh_mass_kg=11&harvested_on=2026-03-20";
    let page = garden.refused(&format!("/harvests/{id}/correct"), body).await;
    assert!(page.contains("Say why") && page.contains("value=\"11\""), "{page}");
    let to = garden.send(&format!("/harvests/{id}/correct"), &format!("{body}&reason=misread")).await;
    assert!(garden.get(&to).await.contains("11 kg of carrot"));
    let page = garden.get(&list).await;
    assert!(page.contains("class=\"void\"") && page.contains("misread"), "{page}");
    garden.send(&format!("{to}/void"), "reason=the+next+bed").await;
    assert!(garden.get(&to).await.contains("This counts no more."));
}

#[tokio::test]
async fn several_plots_at_once_keep_what_was_typed() {
    let (garden, [plot, other]) = Garden::small().await;
    let path = format!("/sites/{}/harvests", garden.site);
    let page = garden.get(&format!("{path}/new")).await;
    assert!(page.contains(&format!("name=\"mass[{plot}-0]\"")) && page.contains("list=\"crops\""), "{page}");
    let body = |second: &str| {
        format!(
            "harvested_on=2026-03-20&crop%5B{plot}-0%5D=carrot&mass%5B{plot}-0%5D=30\
             &crop%5B{other}-0%5D={second}&mass%5B{other}-0%5D=12"
        )
    };
    let page = garden.refused(&path, &body("moonflower")).await;
    assert!(
        page.contains("not a crop known here") && page.contains("value=\"30\"") && page.contains("moonflower"),
        "{page}"
    );
    garden.send(&path, &body("Leek")).await;
    let page = garden.get(&path).await;
    assert!(page.contains("30 kg") && page.contains("Leek") && page.contains("In all"), "{page}");
    let page = garden.refused(&path, "harvested_on=2026-03-20").await;
    assert!(page.contains("write what left at least one plot"), "{page}");
}

#[tokio::test]
async fn own_figures_stand_beside_the_published() {
    let (garden, _) = Garden::small().await;
    let path = format!("/sites/{}/removals", garden.site);
    let page = garden.get(&path).await;
    assert!(page.contains("Carrot") && page.contains("not known") && !page.contains("Clover"), "{page}");
    let crop = format!("{path}/carrot");
    let page = garden.get(&crop).await;
    assert!(page.contains("Indian Food Composition Tables") && page.contains("never counted"), "{page}");
    // Hegde 1997: 45 to 60 % of 2.5 to 3 kg of nitrogen in a tonne of tomatoes.
    let tomato = garden.get(&format!("{path}/tomato")).await;
    assert!(tomato.contains("The fruit holds") && tomato.contains("N 45 to 60 %, 1.1 to 1.8"), "{tomato}");
    let page = garden.refused(&crop, "kg_per_t%5BK%5D=2,9&source=").await;
    assert!(page.contains("value=\"2,9\"") && page.contains("Say where the figures come from"), "{page}");
    garden.send(&crop, "kg_per_t%5BK%5D=2,9&source=our+lab").await;
    let page = garden.get(&crop).await;
    assert!(page.contains("Your own figures are in force") && page.contains("Published, and not used here"), "{page}");
    garden.send(&format!("{crop}/void"), "reason=too+few+samples").await;
    assert!(garden.get(&crop).await.contains("Own figures before"));
}

#[tokio::test]
async fn an_empty_plot_says_what_is_missing_everywhere() {
    let (garden, [plot, _]) = Garden::small().await;
    let page = garden.get(&format!("/plots/{plot}/ledger")).await;
    assert!(page.contains("This season is not over"), "{page}");
    let page = garden.get(&format!("/plots/{plot}/response")).await;
    assert!(page.contains("It takes two tests by one method"), "{page}");
    let page = garden.get(&format!("/plots/{plot}/trend/K?reading=net")).await;
    assert!(page.contains("Nothing can be said of"), "{page}");
    let page = garden.get(&format!("/plots/{plot}/trend/ph?reading=net")).await;
    assert!(page.contains("Nothing can be said of pH.") && page.contains("No test of it yet."), "{page}");
    let page = garden.get(&format!("/plots/{plot}/trend/organic_matter?reading=net")).await;
    assert!(page.contains("is no element"), "{page}");
    assert!(!page.contains("The numbers behind"), "no test, no numbers: {page}");
    let page = garden.get(&format!("/sites/{}/calibration", garden.site)).await;
    assert!(page.contains("Nothing to judge yet."), "{page}");
    let page = garden.get(&format!("/sites/{}/calendar", garden.site)).await;
    assert!(page.contains("<h2>Now</h2>") && page.contains("never tested"), "{page}");
    assert!(page.contains("How often others ask") && page.contains("every 2 to 3 years"), "{page}");
    assert!(page.contains("Longer ago here, or never"), "{page}");
    let stakes = format!("/sites/{}/stakes", garden.site);
    assert!(garden.get(&stakes).await.contains("These are not your figures yet."));
    let page = garden.refused(&stakes, "revision=0&sheet=0&needless=5&missed=x").await;
    assert!(page.contains("value=\"x\"") && page.contains("above 0"), "{page}");
    garden.send(&stakes, "revision=0&sheet=25&needless=5&missed=20").await;
    assert!(!garden.get(&stakes).await.contains("These are not your figures yet."));
}

/// The demonstration shows each page with something on it, and every figure of a ledger opens.
#[tokio::test]
async fn the_demonstration_has_years_to_read() {
    let (garden, plots) = Garden::invented().await;
    let plot = |code: &str| plots.iter().find(|plot| plot.code == code).unwrap().id;
    let tunnel = plot("KW1");
    let page = garden.get(&format!("/plots/{tunnel}/ledger")).await;
    assert!(page.contains("<h3>Came</h3>") && page.contains("Compost") && page.contains("tomato"), "{page}");
    let mut opened = 0;
    for path in page.split("href=\"").filter_map(|rest| rest.split('"').next()).filter(|p| p.contains("/K/")) {
        let working = garden.get(path).await;
        assert!(working.contains("and how it comes about"), "{path}");
        opened += 1;
    }
    assert!(opened >= 16, "{opened}");
    let file = garden.ask(Method::GET, &format!("/plots/{tunnel}/ledger.csv"), "").await;
    assert!(file.kind.starts_with("text/csv") && file.text.lines().count() > 100, "{}", file.kind);

    let review = garden.app.forecast_review(&garden.actor, garden.site).await.unwrap();
    let calibration = review.calibration.unwrap();
    assert!(calibration.tests >= 40, "{calibration:?}");
    assert!(calibration.share() > 0.6, "{calibration:?}");
    let page = garden.get(&format!("/sites/{}/calibration", garden.site)).await;
    assert!(page.contains(&format!("{} of {}", calibration.held, calibration.tests)), "{page}");
    // A plan's own page of them lists every band that it wrote down, and of other tests why there is none.
    let plan = review.results.iter().find(|result| result.row.plot == tunnel).unwrap().row.plan;
    let page = garden.get(&format!("/plans/{plan}/forecasts")).await;
    let expects = garden.app.plan_expects(&garden.actor, plan).await.unwrap();
    let written = review.results.iter().filter(|result| result.row.plan == plan);
    assert_eq!(expects.written.len(), written.count());
    assert!(expects.written.len() > 10 && !expects.without.is_empty(), "{expects:?}");
    assert_eq!(page.matches("How that comes about").count(), expects.written.len());
    for one in &expects.without {
        assert!(one.why.ends_with('.') && !one.why.contains(".."), "{one:?}");
        assert!(!expects.written.iter().any(|w| (w.row.plot, w.row.analyte) == (one.plot, one.analyte)), "{one:?}");
    }
    assert!(page.contains("Without a band"), "{page}");
    assert!(garden.get(&format!("/plans/{plan}")).await.contains(&format!("/plans/{plan}/forecasts")));
    // A test's own page says where it fell, and shows every one that fell outside.
    let answered = review.results.iter().filter(|result| result.row.plot == tunnel && result.season == "2026");
    let (point, _) = answered.filter_map(|result| result.came.as_ref()).next().unwrap();
    let cell = DeterminationId(point.cells[0].0);
    let sampling = garden.app.cell(&garden.actor, cell).await.unwrap().sampling.id;
    let page = garden.get(&format!("/samplings/{sampling}")).await;
    assert!(page.contains("Against the plan") && page.contains("that the plan of 2026 foresaw"), "{page}");
    let outside = page.matches(": below it").count() + page.matches(": above it").count();
    let missed = review.results.iter().filter(|result| {
        let fell = result.came.as_ref().filter(|(other, _)| other.cells == point.cells);
        result.season == "2026" && fell.is_some_and(|(_, fell)| matches!(fell, Fell::Below | Fell::Above))
    });
    assert!(missed.count() <= outside, "{page}");
    let page = garden.get(&format!("/plots/{tunnel}")).await;
    assert!(page.contains("The plan of 2026 expected"), "{page}");
    let page = garden.get(&format!("/plots/{tunnel}/trend/K?reading=net")).await;
    assert!(page.contains("had nothing come or gone") && page.contains("The numbers behind"), "{page}");
    assert!(page.contains("mg/kg a year (90 %)") && page.contains("since the first, kg/ha"), "{page}");
    garden.send("/settings/reading", "unit=lb_per_acre&form=oxide").await;
    let read = garden.get(&format!("/plots/{tunnel}/trend/K?reading=net")).await;
    assert!(
        read.contains("lb/acre K₂O a year (90 %)") && read.contains("since the first, lb/acre K₂O"),
        "what is left is read in the reader's unit too: {read}"
    );
    assert!(!read.contains("mg/kg a year"), "{read}");
    garden.send("/settings/reading", "unit=mg_per_kg&form=element").await;
    let page = garden.get(&format!("/plots/{tunnel}/response")).await;
    assert!(
        page.contains("the garden’s mean stands for it") && page.contains("Raising the test by 10&nbsp;mg/kg takes"),
        "{page}"
    );
    let page = garden.get(&format!("/plots/{}/ledger", plot("L3"))).await;
    assert!(page.contains("No harvest is written down for"), "{page}");
    let page = garden.get(&format!("/plots/{}/next", plot("O3"))).await;
    assert!(page.contains("Would another test pay?"), "{page}");
    let page = garden.get(&format!("/sites/{}/calendar", garden.site)).await;
    assert!(page.contains("October 2027") && page.contains("Sarn Water"), "{page}");
}
