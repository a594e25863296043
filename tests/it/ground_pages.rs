//! The pages about ground as a person uses them: what was typed is kept, each problem
//! stands by its field, nothing is lost.

use super::store::{PASSWORD, fresh};
use axum::{
    Router,
    body::Body,
    http::{Method, Request, StatusCode, header},
};
use glebe::{
    app::{
        Actor, App,
        reports::{CellForm, ReportForm, SamplingForm},
    },
    web::Server,
};
use http_body_util::BodyExt;
use tempfile::TempDir;
use tower::ServiceExt;

/// A record with one steward, asked as a browser does.
pub struct Garden {
    pub app: App,
    pub ada: Actor,
    router: Router,
    token: String,
    pub folder: TempDir,
}

pub struct Answer {
    pub status: StatusCode,
    pub to: String,
    pub text: String,
}

impl Garden {
    pub async fn new() -> Garden {
        let (folder, app, ada) = fresh().await;
        Garden::of(folder, app, ada).await
    }

    pub async fn of(folder: TempDir, app: App, ada: Actor) -> Garden {
        let token = app.sign_in("ada", PASSWORD).await.unwrap().secret().to_owned();
        let router = Server::new(app.clone(), app.settings()).router();
        Garden { app, ada, router, token, folder }
    }

    pub async fn ask(&self, method: Method, path: &str, body: &str) -> Answer {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "glebe.test")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(header::COOKIE, format!("sid={}", self.token))
            .body(Body::from(body.to_owned()))
            .unwrap();
        self.answer(request).await
    }

    async fn answer(&self, request: Request<Body>) -> Answer {
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let to = response.headers().get(header::LOCATION).map_or("", |to| to.to_str().unwrap()).to_owned();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer { status, to, text: String::from_utf8_lossy(&bytes).into_owned() }
    }

    /// Sends fields and a file as a browser does.
    pub async fn upload(&self, path: &str, fields: &[(&str, &str)], file: (&str, &[u8])) -> Answer {
        let mut body = Vec::new();
        for (name, value) in fields {
            let part = format!("--seam\r\nContent-Disposition: form-data; name=\"{name}\"\r\n\r\n{value}\r\n");
            body.extend(part.into_bytes());
        }
        let head = "--seam\r\nContent-Disposition: form-data; name=\"file\"; filename";
        body.extend(format!("{head}=\"{}\"\r\n\r\n", file.0).into_bytes());
        body.extend(file.1);
        body.extend(b"\r\n--seam--\r\n");
        let request = Request::builder()
            .method(Method::POST)
            .uri(path)
            .header(header::HOST, "glebe.test")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "multipart/form-data; boundary=seam")
            .header(header::COOKIE, format!("sid={}", self.token))
            .body(Body::from(body))
            .unwrap();
        self.answer(request).await
    }

    pub async fn get(&self, path: &str) -> String {
        let answer = self.ask(Method::GET, path, "").await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
        answer.text
    }

    /// Sends a form that is accepted, and gives the page it leads to.
    pub async fn send(&self, path: &str, body: &str) -> String {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{path}: {}", answer.text);
        answer.to
    }

    /// Sends a form that is refused, and gives the page that says why.
    pub async fn refused(&self, path: &str, body: &str) -> String {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}: {}", answer.text);
        answer.text
    }

    /// Soil of the first plot by one lab: lines of analyte, method, printed text, unit.
    pub async fn tested(&self, on: &str, bottom_cm: &str, fizz: &str, lines: &[[&str; 4]]) {
        let sampling = SamplingForm {
            plots: vec!["1".into()],
            sampled_on: on.into(),
            depth_bottom_cm: bottom_cm.into(),
            fizz_acid: if fizz.is_empty() { String::new() } else { "hydrochloric_1m".into() },
            fizz_class: fizz.into(),
            ..SamplingForm::default()
        };
        let rows = lines.iter().map(|[analyte, method, printed, unit]| CellForm {
            analyte: (*analyte).into(),
            method: (*method).into(),
            printed: (*printed).into(),
            unit: (*unit).into(),
            ..CellForm::default()
        });
        let report = ReportForm { lab: "River Lab".into(), rows: rows.collect(), ..ReportForm::default() };
        self.app.save_sampling_with_report(&self.ada, &sampling, &report).await.unwrap();
    }

    pub async fn site(&self) -> String {
        self.send("/sites", "name=Home&currency=EUR&guideline=rutgers_mehlich3&scale_step_g=1&revision=0").await
    }
}

const BED: &str = "code=A1&name=Long+bed&cover=open&texture=loam&depth_cm=20&revision=0&note=wet+in+spring";

#[tokio::test]
async fn a_bed_is_added_with_a_decimal_comma_and_read_back() {
    let garden = Garden::new().await;
    let site = garden.site().await;
    let block = garden.send(&format!("{site}/blocks"), "name=North&revision=0").await;
    assert_eq!(block, site);
    let plot = garden.send(&format!("{site}/plots"), &format!("{BED}&area_m2=12%2C5&block=1")).await;
    let page = garden.get(&plot).await;
    assert!(page.contains("12.5\u{a0}m²") && page.contains("wet in spring") && page.contains("in North"), "{page}");
    let edit = garden.get(&format!("{plot}/edit")).await;
    assert!(edit.contains("value=\"12.5\"") && edit.contains("name=\"revision\" value=\"1\""), "{edit}");
    let list = garden.get(&site).await;
    assert!(list.contains(&format!("href=\"{plot}\"")) && list.contains("North"), "{list}");
    for path in [format!("{plot}/history"), format!("{site}/history"), format!("{site}/edit"), "/sites".into()] {
        garden.get(&path).await;
    }
}

#[tokio::test]
async fn each_wrong_field_says_why_and_keeps_what_was_typed() {
    let garden = Garden::new().await;
    let site = garden.site().await;
    for typed in ["0", "-3", "1.2.3", "NaN", "1e400", ""] {
        let page = garden.refused(&format!("{site}/plots"), &format!("{BED}&area_m2={typed}")).await;
        assert!(page.contains("id=\"area_m2-problem\""), "{typed}: {page}");
        assert!(page.contains(&format!("value=\"{typed}\"")) && page.contains("wet in spring"), "{typed}: {page}");
        assert!(page.contains("<option value=\"loam\" selected>"), "{typed}: {page}");
    }
    let list = garden.get(&site).await;
    assert!(list.contains("No plots yet."), "{list}");
    let page = garden.refused("/sites", "name=&currency=euro&scale_step_g=0,5&revision=0&note=hill").await;
    assert!(page.contains("name-problem") && page.contains("currency-problem"), "{page}");
    assert!(page.contains("value=\"0,5\"") && page.contains("hill"), "{page}");
}

#[tokio::test]
async fn an_edit_of_what_somebody_else_changed_shows_both_and_saves_neither() {
    let garden = Garden::new().await;
    let site = garden.site().await;
    let plot = garden.send(&format!("{site}/plots"), &format!("{BED}&area_m2=30")).await;
    let edit = |area: &str, revision: u32| {
        BED.replace("revision=0", &format!("revision={revision}")) + &format!("&area_m2={area}")
    };
    garden.send(&plot, &edit("31", 1)).await;
    let page = garden.refused(&plot, &edit("29", 1)).await;
    assert!(page.contains("value=\"29\"") && page.contains("The record now holds “31”."), "{page}");
    assert!(page.contains("name=\"revision\" value=\"2\""), "{page}");
    assert!(garden.get(&plot).await.contains("31\u{a0}m²"));
    garden.send(&plot, &edit("29", 2)).await;
    assert!(garden.get(&plot).await.contains("29\u{a0}m²"));
}

#[tokio::test]
async fn a_plot_is_split_merged_retired_and_reopened_and_its_line_is_shown() {
    let garden = Garden::new().await;
    let site = garden.site().await;
    let plot = garden.send(&format!("{site}/plots"), &format!("{BED}&area_m2=30")).await;
    let parts = "took_place_on=2024-03-01&rows=3&parts.0.code=A1a&parts.0.area_m2=10&parts.1.code=A1b&parts.1.area_m2=";
    let more = garden.ask(Method::POST, &format!("{plot}/split"), &format!("{parts}&do=more")).await;
    assert!(more.status == StatusCode::OK && more.text.contains("parts.3.code"), "{}", more.text);
    let page = garden.refused(&format!("{plot}/split"), parts).await;
    assert!(page.contains("parts.1.area_m2-problem") && page.contains("value=\"A1a\""), "{page}");
    let page = garden.refused(&format!("{plot}/split"), &format!("{parts}40")).await;
    assert!(page.contains("more than the 30.0 m² there are"), "{page}");
    garden.send(&format!("{plot}/split"), &format!("{parts}19,5")).await;
    let page = garden.get(&plot).await;
    assert!(page.contains("no longer worked") && page.contains("A1a") && page.contains("split off"), "{page}");
    let (first, second) = ("/plots/2", "/plots/3");
    assert!(garden.get(second).await.contains("19.5\u{a0}m²"));
    let page = garden.refused(&format!("{site}/merge"), &format!("{BED}&took_place_on=2025-03-01&parents=2")).await;
    assert!(page.contains("Choose two plots or more") && page.contains("checked"), "{page}");
    let body = BED.replace("A1", "A2") + "&took_place_on=2025-03-01&parents=2&parents=3";
    let merged = garden.send(&format!("{site}/merge"), &body).await;
    let page = garden.get(&merged).await;
    assert!(page.contains("29.5\u{a0}m²") && page.contains("went into this plot"), "{page}");
    assert!(garden.get(first).await.contains("took this plot in"));
    let page = garden.refused(&format!("{merged}/retire"), "retired_on=2199-01-01").await;
    assert!(page.contains("has not come yet") && page.contains("value=\"2199-01-01\""), "{page}");
    garden.send(&format!("{merged}/retire"), "retired_on=2025-06-01").await;
    garden.send(&format!("{merged}/reopen"), "").await;
    assert!(!garden.get(&merged).await.contains("no longer worked.</strong>"));
}

/// The addresses in a page that begin like this, each once.
fn links(page: &str, start: &str) -> std::collections::BTreeSet<String> {
    let addresses = page.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next());
    addresses.filter(|address| address.starts_with(start)).map(str::to_owned).collect()
}

#[tokio::test]
async fn every_figure_of_a_tested_bed_opens_down_to_the_printed_cell() {
    let garden = Garden::new().await;
    let site = garden.site().await;
    let plot = garden.send(&format!("{site}/plots"), &format!("{BED}&area_m2=20")).await;
    assert!(garden.get(&plot).await.contains("No soil was sampled here yet."));
    let m3 = "mehlich3_icp";
    let lines =
        [["P", m3, "18", "mg/kg"], ["K", m3, "150", "mg/kg"], ["B", m3, "<0.3", "mg/kg"], ["P", "olsen", "9", "mg/kg"]];
    garden.tested("2025-10-02", "20", "", &lines).await;
    let page = garden.get(&plot).await;
    // Rutgers NJAES prints 72 lb/acre as the least of "high" for phosphorus: 36 mg/kg.
    assert!(page.contains("18\u{a0}mg/kg") && page.contains("36\u{a0}mg/kg") && page.contains("50\u{a0}% of the aim"));
    let workings = links(&page, &format!("{plot}/working/"));
    assert!(workings.len() >= 8, "{workings:?}");
    for working in &workings {
        let opened = garden.get(working).await;
        assert!(opened.contains("/reports/1#cell-") || working.ends_with("/aim"), "{working}: {opened}");
    }
    let need = garden.get(&format!("{plot}/working/P/need")).await;
    assert!(need.contains("Phosphorus to give") && need.contains("Rutgers") && need.contains("/reports/1#cell-1"));
    for nothing in ["working/P/nonsense", "working/Zn/found", "working/unobtainium/found", "trend/unobtainium"] {
        assert_eq!(garden.ask(Method::GET, &format!("{plot}/{nothing}"), "").await.status, StatusCode::NOT_FOUND);
    }
    let list = garden.get(&site).await;
    assert!(list.contains("Phosphorus: very likely") && list.contains("2\u{a0}Oct\u{a0}2025"), "{list}");
}

#[tokio::test]
async fn a_change_of_depth_or_method_is_never_drawn_across() {
    let garden = Garden::new().await;
    let site = garden.site().await;
    let plot = garden.send(&format!("{site}/plots"), &format!("{BED}&area_m2=20")).await;
    let tests = |m3: &'static str| [["P", "mehlich3_icp", m3, "mg/kg"], ["P", "olsen", "9", "mg/kg"]];
    garden.tested("2019-10-02", "15", "", &tests("30")).await;
    garden.tested("2021-10-02", "20", "", &tests("34")).await;
    let page = garden.get(&format!("{plot}/trend/P")).await;
    // One picture for each extractant, each with its break, no line, and the aim only where there is one.
    assert_eq!(page.matches("<figure class=\"trend\"").count(), 2, "{page}");
    assert_eq!((page.matches("class=\"break\"").count(), page.matches("class=\"join\"").count()), (2, 0));
    assert_eq!((page.matches("class=\"aim-key\"").count(), page.matches("No aim is drawn").count()), (1, 1), "{page}");
    assert!(page.contains("No line is drawn across it") && page.contains("The same as a table"), "{page}");
    garden.tested("2023-10-02", "20", "", &tests("38")).await;
    let page = garden.get(&format!("{plot}/trend/P")).await;
    assert_eq!((page.matches("class=\"break\"").count(), page.matches("class=\"join\"").count()), (2, 2));
}

#[tokio::test]
async fn what_to_do_next_says_why_and_the_first_page_what_is_due() {
    let garden = Garden::new().await;
    let site = garden.site().await;
    let plot = garden.send(&format!("{site}/plots"), &format!("{BED}&area_m2=20")).await;
    let home = garden.get("/").await;
    assert!(home.contains("1\u{a0}plot never tested"), "{home}");
    assert!(garden.get(&format!("{plot}/next")).await.contains("Take a soil sample now."));
    garden.tested("2019-10-02", "20", "", &[["P", "mehlich3_icp", "10", "mg/kg"]]).await;
    let next = garden.get(&format!("{plot}/next")).await;
    // A loam is tested every four years (Virginia Cooperative Extension).
    assert!(next.contains("it was due on 2\u{a0}Oct\u{a0}2023") && next.contains("Virginia Cooperative Extension"));
    assert!(next.contains("Phosphorus: give") && next.contains(&format!("{plot}/working/P/need")), "{next}");
    assert!(garden.get("/").await.contains("1\u{a0}plot due for a soil test"));
    let waiting = SamplingForm { plots: vec!["1".into()], sampled_on: "2024-10-02".into(), ..SamplingForm::default() };
    garden.app.save_sampling(&garden.ada, &waiting).await.unwrap();
    let home = garden.get("/").await;
    assert!(home.contains("A report is awaited for the sample of 2\u{a0}Oct\u{a0}2024"), "{home}");
    assert!(!home.contains("due for a soil test"), "{home}");
}

/// Rothamsted's long-term liming experiment (doi 10.23637/rcs10-soil-01 and rcs10-rltlcation-01):
/// two extractants on the same soil, a deeper auger from 1971 on, halves of a plot sampled apart.
#[tokio::test]
async fn the_pages_of_a_real_experiment_keep_apart_what_does_not_compare() {
    let Some((folder, app, ada, _)) = super::rothamsted::imported().await else { return };
    let site = app.sites(&ada).await.unwrap()[0].id;
    let plots = app.plots(&ada, site, false).await.unwrap();
    let plot = plots.iter().find(|plot| plot.code == "28").unwrap().id;
    let garden = Garden::of(folder, app, ada).await;
    let page = garden.get(&format!("/plots/{plot}/trend/K")).await;
    assert!(page.matches("<figure class=\"trend\"").count() >= 2, "two extractants, two pictures");
    assert!(page.contains("0–18") && page.contains("0–23") && page.contains("class=\"break\""), "{page}");
    assert!(page.contains("in 1971") && page.contains("No line is drawn across it"), "{page}");
    assert!(page.contains("mean of 2 tests"), "two halves of one day are one point");
    for path in [format!("/plots/{plot}"), format!("/plots/{plot}/next"), format!("/sites/{site}"), "/".into()] {
        garden.get(&path).await;
    }
}
