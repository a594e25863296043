//! The pages about what was put on: a plan worked through with one tap to a dose, parts and
//! other amounts, what was in no plan, caps gone beyond, and entries taken back.

use super::store::{PASSWORD, fresh, plot_form, site_form};
use axum::{
    Router,
    body::Body,
    http::{Method, Request, StatusCode, header},
};
use glebe::{
    app::{
        Actor, App,
        amendments::{AmendmentForm, AnalysisForm},
        seasons::{DoseForm, PlanForm, SeasonForm},
    },
    ids::{AmendmentId, DoseId, PlanId, PlotId, SiteId},
    web::Server,
};
use http_body_util::BodyExt;
use tempfile::TempDir;
use tower::ServiceExt;

/// Two beds of 10 m², two products, and an agreed plan with a dose of each on each.
struct Shed {
    app: App,
    ada: Actor,
    router: Router,
    token: String,
    site: SiteId,
    plots: [PlotId; 2],
    potash: AmendmentId,
    borax: AmendmentId,
    plan: PlanId,
    _folder: TempDir,
}

struct Answer {
    status: StatusCode,
    to: String,
    said: String,
    text: String,
}

async fn product(app: &App, ada: &Actor, name: &str, label: &str) -> AmendmentId {
    let product = AmendmentForm { name: name.into(), kind: "salt".into(), ..AmendmentForm::default() };
    let analysis = AnalysisForm {
        valid_from: "2024-01-01".into(),
        label: label.into(),
        source: "The bag".into(),
        ..AnalysisForm::default()
    };
    app.add_amendment(ada, &product, &analysis).await.unwrap()
}

impl Shed {
    async fn new() -> Shed {
        let (folder, app, ada) = fresh().await;
        let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
        let mut plots = [PlotId(0); 2];
        for (plot, code) in plots.iter_mut().zip(["A1", "A2"]) {
            *plot = app.add_plot(&ada, site, &plot_form(code, "10")).await.unwrap();
        }
        let potash = product(&app, &ada, "Potash", "0-0-50").await;
        let borax = product(&app, &ada, "Borax", "11.3 B").await;
        let season = SeasonForm { name: "2026".into(), starts_on: "2026-01-01".into(), ends_on: "2026-12-31".into() };
        let season = app.add_season(&ada, site, &season).await.unwrap();
        let form = PlanForm {
            name: "Spring".into(),
            guideline: "extension_sufficiency".into(),
            plots: plots.iter().map(ToString::to_string).collect(),
            products: vec![potash.to_string(), borax.to_string()],
            ..PlanForm::default()
        };
        let plan = app.add_plan(&ada, season, &form).await.unwrap();
        let doses: Vec<(String, &str)> = plots
            .iter()
            .flat_map(|plot| {
                [(DoseForm::grams_field(*plot, potash), "300"), (DoseForm::grams_field(*plot, borax), "5")]
            })
            .collect();
        let doses = DoseForm::from_fields(doses.iter().map(|(name, grams)| (name.as_str(), *grams)));
        app.save_doses(&ada, plan, &doses).await.unwrap();
        let token = app.sign_in("ada", PASSWORD).await.unwrap().secret().to_owned();
        let router = Server::new(app.clone(), app.settings()).router();
        Shed { app, ada, router, token, site, plots, potash, borax, plan, _folder: folder }
    }

    async fn agreed() -> Shed {
        let shed = Shed::new().await;
        shed.app.agree_plan(&shed.ada, shed.plan).await.unwrap();
        shed
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
        let (to, said) = (head(header::LOCATION), glebe::web::view::from_address(&head(header::SET_COOKIE)));
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer { status, to, said, text: String::from_utf8(bytes.to_vec()).unwrap() }
    }

    async fn get(&self, path: &str) -> String {
        let answer = self.ask(Method::GET, path, "").await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
        answer.text.replace('\u{a0}', " ")
    }

    async fn send(&self, path: &str, body: &str) -> Answer {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{path}: {}", answer.text);
        answer
    }

    async fn refused(&self, path: &str, body: &str) -> String {
        let answer = self.ask(Method::POST, path, body).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{path}: {}", answer.text);
        answer.text.replace('\u{a0}', " ")
    }

    /// The dose of a product on a plot.
    async fn dose(&self, plot: PlotId, product: AmendmentId) -> DoseId {
        self.app.plan(&self.ada, self.plan).await.unwrap().dose(plot, product).unwrap().id.unwrap()
    }

    fn record(&self) -> String {
        format!("/plans/{}/record", self.plan)
    }
}

#[tokio::test]
async fn a_plan_is_put_on_with_one_tap_to_a_dose_on_the_day_and_by_whom_the_page_says() {
    let shed = Shed::agreed().await;
    let page = shed.get(&shed.record()).await;
    assert_eq!(page.matches("Done as planned</button>").count(), 4, "{page}");
    assert!(page.contains("value=\"2026-03-21\"") && page.contains("300 g") && page.contains("By plot."), "{page}");
    let page = shed.get(&format!("{}?by=product", shed.record())).await;
    assert!(page.contains("<h2>Borax</h2>") && page.contains("By product."), "{page}");

    let dose = shed.dose(shed.plots[0], shed.potash).await;
    let body = "applied_on=2026-03-10&person_name=Jo+Field&by=product";
    let done = shed.send(&format!("/doses/{dose}/done"), body).await;
    assert_eq!(done.to, format!("{}?applied_on=2026-03-10&person_name=Jo%20Field&by=product", shed.record()));
    assert!(done.said.contains("Recorded: 300\u{a0}g of Potash on A1"), "{}", done.said);
    let page = shed.get(&done.to).await;
    assert_eq!(page.matches("Done as planned</button>").count(), 3, "{page}");
    assert!(page.contains("10 Mar 2026: 300 g of Potash on A1") && page.contains("by Jo Field"), "{page}");
    assert!(page.contains("value=\"Jo Field\"") && page.contains("value=\"2026-03-10\""), "the choice is kept: {page}");
    // A second tap on a page that was left open does not put it on twice.
    let again = shed.refused(&format!("/doses/{dose}/done"), body).await;
    assert!(again.contains("has been put on already") && again.contains("value=\"2026-03-10\""), "{again}");
    assert_eq!(shed.app.applications_of_plot(&shed.ada, shed.plots[0], true).await.unwrap().len(), 1);
    // A day to come is refused by its field.
    let other = shed.dose(shed.plots[1], shed.potash).await;
    let page = shed.refused(&format!("/doses/{other}/done"), "applied_on=2026-03-22&person_name=Jo+Field").await;
    assert!(page.contains("id=\"applied_on-problem\"") && page.contains("value=\"2026-03-22\""), "{page}");
    assert!(page.contains("value=\"Jo Field\""), "{page}");
}

#[tokio::test]
async fn a_draft_is_not_put_on() {
    let shed = Shed::new().await;
    let page = shed.get(&shed.record()).await;
    assert!(page.contains("still a draft") && !page.contains("Done as planned"), "{page}");
    let dose = shed.dose(shed.plots[0], shed.potash).await;
    for (path, body) in [("done", ""), ("record", "applied_on=2026-03-01&mass_g=3")] {
        let page = shed.refused(&format!("/doses/{dose}/{path}"), body).await;
        assert!(page.contains("Agree it first"), "{page}");
    }
}

#[tokio::test]
async fn a_part_leaves_the_rest_open_and_odd_amounts_say_why() {
    let shed = Shed::agreed().await;
    let dose = shed.dose(shed.plots[0], shed.potash).await;
    let form = format!("/doses/{dose}/record");
    let page = shed.get(&format!("{form}?applied_on=2026-03-09&person_name=Jo")).await;
    assert!(page.contains("value=\"300\"") && page.contains("value=\"2026-03-09\"") && page.contains("value=\"Jo\""));
    for typed in ["0", "-3", "1.2.3", "NaN", "1e400", "", "2 bags"] {
        let body = format!("mass_g={}&applied_on=2026-03-09&method=raked+in", typed.replace(' ', "+"));
        let page = shed.refused(&form, &body).await;
        assert!(page.contains("id=\"mass_g-problem\"") && page.contains(&format!("value=\"{typed}\"")), "{page}");
        assert!(page.contains("value=\"raked in\""), "{page}");
    }
    let page = shed.refused(&form, "mass_g=5&applied_on=2026-02-30").await;
    assert!(page.contains("id=\"applied_on-problem\""), "{page}");

    shed.send(&form, "mass_g=0,18+kg&applied_on=2026-03-09&method=raked+in&note=ran+out").await;
    let page = shed.get(&shed.record()).await;
    assert!(page.contains("120 g</strong> <span class=\"hint\">left of 300 g"), "{page}");
    assert!(page.contains("The rest is done</button>") && page.contains("ran out"), "{page}");
    shed.send(&format!("/doses/{dose}/done"), "").await;
    let page = shed.get(&format!("/plots/{}/applications", shed.plots[0])).await;
    assert!(page.contains("180 g") && page.contains("120 g") && page.contains("raked in, Ada Marsh"), "{page}");
    // University of Maryland and others print 50 % K2O as 41.5 % K: 300 g on 10 m² are 124.5 g, 12.5 g/m².
    assert!(page.contains("<th scope=\"row\">potassium</th><td class=\"num\">125 g</td><td class=\"num\">12.5 g/m²"));
}

#[tokio::test]
async fn an_extra_dose_beyond_a_cap_asks_once_and_is_then_recorded_and_named() {
    let shed = Shed::agreed().await;
    let plot = format!("/plots/{}/applications", shed.plots[0]);
    let page = shed.get(&format!("{plot}/new")).await;
    assert!(page.contains(&format!("<option value=\"{}\">Borax", shed.borax)), "{page}");
    let page = shed.get(&format!("{plot}/new?amendment={}", shed.borax)).await;
    assert!(page.contains("Weigh boron in grams"), "the caution stands on the form: {page}");
    let page = shed.refused(&plot, "applied_on=2026-03-20&mass_g=5").await;
    assert!(page.contains("id=\"amendment-problem\""), "{page}");

    // 40 g of borax on 10 m² are 4.52 kg B/ha, more than any crop's ceiling; this site speaks of g/m².
    let body = format!("amendment={}&applied_on=2026-03-20&mass_g=40&note=misread+the+scale", shed.borax);
    let page = shed.refused(&plot, &body).await;
    assert!(page.contains("goes beyond a cap") && page.contains("With this it is 0.452 g/m²."), "{page}");
    assert!(page.contains("Record it anyway") && page.contains("misread the scale"), "{page}");
    assert!(shed.app.applications_of_plot(&shed.ada, shed.plots[0], true).await.unwrap().is_empty());
    let done = shed.send(&plot, &format!("{body}&anyway=yes")).await;
    assert!(done.said.contains("got more than a cap allows. Boron"), "{}", done.said);
    let page = shed.get(&plot).await;
    assert!(page.contains("Beyond a cap.") && page.contains("Exceeded.") && page.contains("0.452 g/m²"), "{page}");
    assert!(page.contains("40 g × 11.3 %"), "the total opens: {page}");
    // The plan's own dose, put on now, is recorded and named at once.
    let dose = shed.dose(shed.plots[0], shed.borax).await;
    let done = shed.send(&format!("/doses/{dose}/done"), "").await;
    assert!(done.said.contains("got more than a cap allows"), "{}", done.said);
    assert!(shed.get(&shed.record()).await.contains("Beyond a cap."));
}

#[tokio::test]
async fn an_entry_is_taken_back_with_a_reason_in_two_taps_and_stays_to_be_seen() {
    let shed = Shed::agreed().await;
    let dose = shed.dose(shed.plots[0], shed.potash).await;
    let to = shed.send(&format!("/doses/{dose}/done"), "").await.to;
    let page = shed.get(&to).await;
    let entry = page.split("href=\"/applications/").nth(1).unwrap().split('"').next().unwrap();
    let page = shed.get(&format!("/applications/{entry}")).await;
    assert!(page.contains("value=\"Entered by mistake\"") && page.contains("Take it back</button>"), "{page}");
    let page = shed.refused(&format!("/applications/{entry}/void"), "why=").await;
    assert!(page.contains("problem"), "{page}");
    let back = shed.send(&format!("/applications/{entry}/void"), "why=the+wrong+bed").await;
    assert_eq!(back.to, shed.record());
    assert_eq!(shed.get(&back.to).await.matches("Done as planned</button>").count(), 4, "the dose is open again");
    for path in [format!("/plots/{}/applications", shed.plots[0]), format!("/sites/{}/applications", shed.site)] {
        let page = shed.get(&path).await;
        assert!(page.contains("class=\"void\"") && page.contains("the wrong bed"), "{path}: {page}");
    }
    let page = shed.get(&format!("/applications/{entry}")).await;
    assert!(page.contains("counts no more") && !page.contains("Take it back</button>"), "{page}");
    assert_eq!(shed.ask(Method::POST, &format!("/applications/{entry}/void"), "why=again").await.status, 422);
}

#[tokio::test]
async fn a_site_lists_what_was_put_on_between_two_days_with_its_totals() {
    let shed = Shed::agreed().await;
    for (plot, on) in [(0, "2026-03-01"), (1, "2025-12-01"), (1, "2024-06-01")] {
        let body = format!("amendment={}&applied_on={on}&mass_g=1000", shed.potash);
        let answer = shed.ask(Method::POST, &format!("/plots/{}/applications", shed.plots[plot]), &body).await;
        assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
    }
    let list = format!("/sites/{}/applications", shed.site);
    let page = shed.get(&list).await;
    assert!(page.contains("<th scope=\"row\">Potash</th><td class=\"num\">2 kg</td>"), "a year back: {page}");
    assert!(page.contains("<th scope=\"row\">potassium</th><td class=\"num\">830 g</td>"), "{page}");
    let page = shed.get(&format!("{list}?from=2024-01-01&to=2026-03-21")).await;
    assert!(page.contains("3 kg") && page.contains("1 Jun 2024"), "{page}");
    let answer = shed.ask(Method::GET, &format!("{list}?from=2026-13-01&to=2026-03-21"), "").await;
    assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(answer.text.contains("id=\"from-problem\"") && answer.text.contains("value=\"2026-13-01\""));
    let page = shed.ask(Method::GET, &format!("{list}?from=2026-03-02&to=2026-03-01"), "").await;
    assert!(page.text.contains("lies before the first"), "{}", page.text);
}
