//! The pages about ground as a person uses them: what was typed is kept, each problem
//! stands by its field, nothing is lost.

use super::store::{PASSWORD, fresh};
use axum::{
    Router,
    body::Body,
    http::{Method, Request, StatusCode, header},
};
use glebe::{app::App, web::Server};
use http_body_util::BodyExt;
use tempfile::TempDir;
use tower::ServiceExt;

struct Garden {
    router: Router,
    token: String,
    _app: App,
    _folder: TempDir,
}

struct Answer {
    status: StatusCode,
    to: String,
    text: String,
}

impl Garden {
    async fn new() -> Garden {
        let (folder, app, _) = fresh().await;
        let token = app.sign_in("ada", PASSWORD).await.unwrap().secret().to_owned();
        let router = Server::new(app.clone(), app.settings()).router();
        Garden { router, token, _app: app, _folder: folder }
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
        let to = response.headers().get(header::LOCATION).map_or("", |to| to.to_str().unwrap()).to_owned();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer { status, to, text: String::from_utf8(bytes.to_vec()).unwrap() }
    }

    async fn get(&self, path: &str) -> String {
        let answer = self.ask(Method::GET, path, "").await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
        answer.text
    }

    /// Sends a form that is accepted, and gives the page it leads to.
    async fn send(&self, path: &str, body: &str) -> String {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{path}: {}", answer.text);
        answer.to
    }

    /// Sends a form that is refused, and gives the page that says why.
    async fn refused(&self, path: &str, body: &str) -> String {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}: {}", answer.text);
        answer.text
    }

    async fn site(&self) -> String {
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
