//! The pages about products, guidelines and history: a label typed, a count, a price; whose
//! tables; who changed what.

use super::store::{PASSWORD, fresh, plot_form, site_form};
use axum::{
    Router,
    body::Body,
    http::{Method, Request, StatusCode, header},
};
use glebe::{
    agronomy::{guideline, source::Evidence},
    app::{Actor, App},
    web::{Server, view::in_address},
};
use http_body_util::BodyExt;
use tempfile::TempDir;
use tower::ServiceExt;

struct Shed {
    router: Router,
    token: String,
    app: App,
    ada: Actor,
    _folder: TempDir,
}

struct Answer {
    status: StatusCode,
    to: String,
    text: String,
}

impl Shed {
    async fn new() -> Shed {
        let (folder, app, ada) = fresh().await;
        let token = app.sign_in("ada", PASSWORD).await.unwrap().secret().to_owned();
        let router = Server::new(app.clone(), app.settings()).router();
        Shed { router, token, app, ada, _folder: folder }
    }

    async fn ask(&self, method: Method, path: &str, fields: &[(&str, &str)]) -> Answer {
        let body: Vec<_> =
            fields.iter().map(|(name, value)| format!("{}={}", in_address(name), in_address(value))).collect();
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "glebe.test")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(header::COOKIE, format!("sid={}", self.token))
            .body(Body::from(body.join("&")))
            .unwrap();
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let to = response.headers().get(header::LOCATION).map_or("", |to| to.to_str().unwrap()).to_owned();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer { status, to, text: String::from_utf8_lossy(&bytes).into_owned() }
    }

    async fn get(&self, path: &str) -> String {
        let answer = self.ask(Method::GET, path, &[]).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
        answer.text
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.ask(Method::POST, path, fields).await
    }
}

fn product<'a>(label: &'a str, convention: &'a str, more: &[(&'a str, &'a str)]) -> Vec<(&'a str, &'a str)> {
    let mut fields = vec![
        ("name", "Sulphate of potash"),
        ("kind", "salt"),
        ("label", label),
        ("convention", convention),
        ("source", "The bag"),
        ("valid_from", "2026-01-05"),
        ("revision", "0"),
    ];
    fields.extend(more);
    fields
}

#[tokio::test]
async fn a_product_is_added_by_its_label_and_shown_as_element_and_oxide() {
    let shed = Shed::new().await;
    assert!(shed.get("/amendments").await.contains("No product is recorded yet."));
    let saved = shed.post("/amendments", &product("0-0-50 + 18 S", "oxide", &[])).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.text);
    let page = shed.get(&saved.to).await;
    // 50 % K₂O is 41.5 % K; 18 % S is 44.9 % SO₃ (IUPAC atomic weights).
    for figure in ["41.5\u{a0}%", "50\u{a0}% K2O", "18\u{a0}%", "44.9\u{a0}% SO3"] {
        assert!(page.contains(figure), "{figure}: {page}");
    }
    assert!(page.contains("The bag, 0-0-50 + 18 S") && page.contains("read in the source"), "{page}");
    let list = shed.get("/amendments").await;
    assert!(list.contains("K 41.5\u{a0}% (50 % K2O)") && list.contains("Never counted."), "{list}");
    // The same numbers where bags print elements.
    let elemental = [("name", "Potash, Irish bag")];
    let mut fields = product("0-0-42 + 18 S", "elemental", &[]);
    fields[0] = elemental[0];
    let saved = shed.post("/amendments", &fields).await;
    assert!(shed.get(&saved.to).await.contains("42\u{a0}%"));
}

#[tokio::test]
async fn an_analysis_that_cannot_be_is_refused_by_its_field_and_kept_as_typed() {
    let shed = Shed::new().await;
    for (fields, field) in [
        (product("0-0-50 + 90 S", "oxide", &[]), "parts"), // more than the whole
        (product("60-60-0", "elemental", &[]), "parts"),
        (product("0-0-fifty", "oxide", &[]), "label"),
        (product("", "oxide", &[]), "label"),
        (product("0-0-50", "oxide", &[("moisture_percent", "101")]), "moisture_percent"),
        (product("0-0-50", "oxide", &[("neutralising_value", "1.2.3")]), "neutralising_value"),
        // Beyond pure magnesium oxide (248.3 %) and pure sulfur (−312.2 %).
        (product("0-0-50", "oxide", &[("neutralising_value", "250.1")]), "neutralising_value"),
        (product("0-0-50", "oxide", &[("neutralising_value", "-320.1")]), "neutralising_value"),
        (product("0-0-50", "oxide", &[("solubility_g_per_l", "-4")]), "solubility_g_per_l"),
    ] {
        let page = shed.post("/amendments", &fields).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{fields:?}");
        assert!(page.text.contains(&format!("id=\"{field}-problem\"")), "{field}: {}", page.text);
        assert!(page.text.contains("value=\"Sulphate of potash\""), "what was typed is gone");
    }
    for day in ["2026-03-22", "2026-02-30"] {
        let mut fields = product("0-0-50", "oxide", &[]);
        fields[5] = ("valid_from", day);
        assert!(shed.post("/amendments", &fields).await.text.contains("id=\"valid_from-problem\""), "{day}");
    }
    let part = [("parts.0.substance", "Xx"), ("parts.0.percent", "4"), ("parts.1.percent", "NaN")];
    let page = shed.post("/amendments", &product("0-0-50", "oxide", &part)).await.text;
    assert!(page.contains("Say which element this is the share of.") && page.contains("value=\"NaN\""), "{page}");
    assert!(shed.app.amendments(&shed.ada, true).await.unwrap().is_empty());
    // Pure magnesium oxide can be: 100.09 ÷ 40.304.
    let oxide = [("neutralising_value", "248.3"), ("parts.0.substance", "MgO"), ("parts.0.percent", "100")];
    let kept = shed.post("/amendments", &product("", "oxide", &oxide)).await;
    assert!(shed.get(&kept.to).await.contains("as much acid as 248"), "{}", kept.text);
}

#[tokio::test]
async fn packs_stock_and_new_labels_are_kept_with_their_days() {
    let shed = Shed::new().await;
    shed.app.add_site(&shed.ada, &site_form("Home")).await.unwrap();
    let path = shed.post("/amendments", &product("0-0-50 + 18 S", "oxide", &[])).await.to;
    assert!(shed.get(&path).await.contains("name=\"currency\" type=\"text\" autocomplete=\"off\" value=\"EUR\""));
    for (mass, price, field) in
        [("0", "12", "mass_kg"), ("25", "1,2,3", "price"), ("25", "-1", "price"), ("", "", "mass_kg")]
    {
        let page =
            shed.post(&format!("{path}/packs"), &[("mass_kg", mass), ("price", price), ("currency", "EUR")]).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY);
        assert!(page.text.contains(&format!("id=\"{field}-problem\"")), "{mass} {price}: {}", page.text);
    }
    let added =
        shed.post(&format!("{path}/packs"), &[("mass_kg", "25"), ("price", "31,50"), ("currency", "EUR")]).await;
    assert_eq!(added.to, path, "{}", added.text);
    let page = shed.get(&path).await;
    assert!(page.contains("25\u{a0}kg, €31.50"), "{page}");
    let pack = shed.app.packs(&shed.ada).await.unwrap().into_values().flatten().next().unwrap().id;
    let id = path.rsplit('/').next().unwrap();
    assert_eq!(shed.post(&format!("/packs/{pack}/archive"), &[("amendment", id)]).await.to, path);
    assert!(!shed.get(&path).await.contains("€31.50"));

    for (kg, on, field) in [("-1", "2026-03-01", "counted_kg"), ("4", "2026-03-22", "counted_on")] {
        let page = shed.post(&format!("{path}/stock"), &[("counted_kg", kg), ("counted_on", on)]).await;
        assert!(page.text.contains(&format!("id=\"{field}-problem\"")), "{field}: {}", page.text);
        assert!(page.text.contains(&format!("value=\"{kg}\"")), "{}", page.text);
    }
    shed.post(&format!("{path}/stock"), &[("counted_kg", "0,8"), ("counted_on", "2026-03-01")]).await;
    assert!(shed.get(&path).await.contains("800\u{a0}g, counted"));

    let label = |text: &'static str| {
        [("label", text), ("convention", "oxide"), ("source", "The bag"), ("valid_from", "2026-03-01")]
    };
    let refused = shed.post(&format!("{path}/analyses"), &label("50-50-50")).await;
    assert!(refused.status == 422 && refused.text.contains("id=\"parts-problem\""), "{}", refused.text);
    assert!(refused.text.contains("value=\"50-50-50\""));
    assert_eq!(shed.post(&format!("{path}/analyses"), &label("0-0-52 + 17 S")).await.status, StatusCode::SEE_OTHER);
    let page = shed.get(&path).await;
    assert!(
        page.contains("0-0-52 + 17 S, in force since 1\u{a0}Mar\u{a0}2026") && page.contains("0-0-50 + 18 S, from"),
        "{page}"
    );

    shed.post(&format!("{path}/archive"), &[("archived", "1")]).await;
    assert!(!shed.get("/amendments").await.contains("0-0-52"));
    assert!(shed.get("/amendments?all=1").await.contains("no longer offered"));
}

#[tokio::test]
async fn the_catalogue_comes_with_cautions_and_their_sources() {
    let shed = Shed::new().await;
    let seeded = shed.post("/amendments/catalogue", &[]).await;
    assert_eq!(seeded.to, "/amendments");
    let rows = shed.app.amendments(&shed.ada, false).await.unwrap();
    assert!(rows.len() > 20, "{}", rows.len());
    for row in rows {
        let page = shed.get(&format!("/amendments/{}", row.id)).await;
        assert!(page.contains("in force since"), "{}", row.amendment.name);
        assert_eq!(page.contains("<h2>Take care</h2>"), !row.amendment.cautions.is_empty(), "{}", row.amendment.name);
        if row.amendment.analysis.evidence() == Evidence::Memory {
            assert!(page.contains("class=\"unverified\""), "{} is not marked", row.amendment.name);
        }
    }
    let again = shed.post("/amendments/catalogue", &[]).await;
    assert_eq!(again.status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn every_guideline_shows_its_publisher_its_tables_and_what_is_unverified() {
    let shed = Shed::new().await;
    let list = shed.get("/guidelines").await;
    for guideline in guideline::builtin() {
        let path = format!("/guidelines/{}", guideline.slug);
        assert!(list.contains(&format!("href=\"{path}\"")), "{path}");
        let page = shed.get(&path).await;
        let printed = |kind: &str| guideline.text.matches(&format!("[[{kind}]]\n")).count();
        let tables = guideline.criteria.len() + printed("rates") + printed("nitrate") + printed("split");
        assert_eq!(page.matches("<div class=\"keep\">").count(), tables, "{path}");
        assert_eq!(page.contains("Some tables here are unverified."), guideline.criteria.iter().any(|c| !c.in_force));
        assert_eq!(page.contains("<h3>Against</h3>"), !guideline.evidence_against.is_empty(), "{path}");
    }
    // Delaware's bands for Mehlich-3 phosphorus as printed.
    let delaware = shed.get("/guidelines/delaware_mehlich3").await;
    let printed = guideline::find("delaware_mehlich3").unwrap();
    let guideline::Rule::Classes(classes) = &printed.criteria[0].rule else { panic!("a table of classes") };
    for class in &classes.classes {
        assert!(delaware.contains(&class.printed.replace('<', "&#60;").replace('>', "&#62;")), "{}", class.printed);
    }
    // Rates stand by the crops that they are printed for; one that is not followed says so.
    let england = shed.get("/guidelines/england_wales_index").await;
    assert!(england.contains("4 and higher") && england.contains("Brussels sprouts and cabbage"));
    let carolina = shed.get("/guidelines/north_carolina_index").await;
    assert!(carolina.contains("0.0103 I² − 2.9 I + 200") && carolina.contains("Not followed: "));
    let missing = shed.ask(Method::GET, "/guidelines/no_such", &[]).await;
    assert_eq!(missing.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn the_history_says_who_did_what_and_leads_there() {
    let shed = Shed::new().await;
    let site = shed.app.add_site(&shed.ada, &site_form("Home")).await.unwrap();
    for n in 0..70 {
        shed.app.add_plot(&shed.ada, site, &plot_form(&format!("Q{n}"), "4")).await.unwrap();
    }
    let newest = shed.get("/history").await;
    assert!(newest.contains("Q69") && newest.contains("Ada Marsh") && !newest.contains("Q3 "), "{newest}");
    let at = newest.find("/history?before=").expect("a way to the older ones");
    let older: String = newest[at..].chars().take_while(|c| *c != '"').collect();
    let older = shed.get(&older).await;
    assert!(older.contains(&format!("href=\"/sites/{site}\"")) && !older.contains("Q69"), "{older}");
    assert!(shed.get("/history?before=1").await.contains("Nothing older."));
}
