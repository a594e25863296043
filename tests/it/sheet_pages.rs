//! The pages about lab sheets as a person uses them: typed in, kept, questioned, corrected.

use super::store::{PASSWORD, fresh, plot_form, site_form};
use axum::{
    Router,
    body::Body,
    http::{HeaderMap, Method, Request, StatusCode, header},
};
use glebe::{
    app::{Actor, App},
    ids::{PlotId, SiteId},
    web::{Server, view::in_address},
};
use http_body_util::BodyExt;
use tempfile::TempDir;
use tower::ServiceExt;

struct Garden {
    router: Router,
    token: String,
    app: App,
    ada: Actor,
    site: SiteId,
    beds: [PlotId; 2],
    _folder: TempDir,
}

struct Answer {
    status: StatusCode,
    headers: HeaderMap,
    text: String,
}

impl Answer {
    fn to(&self) -> &str {
        self.headers.get(header::LOCATION).map_or("", |to| to.to_str().unwrap())
    }
}

/// A form as a browser sends it.
fn body(fields: &[(&str, &str)]) -> String {
    fields
        .iter()
        .map(|(name, value)| format!("{}={}", in_address(name), in_address(value)))
        .collect::<Vec<_>>()
        .join("&")
}

/// The fields of one line of a sheet.
fn line(n: usize, analyte: &str, method: &str, printed: &str, unit: &str) -> Vec<(String, String)> {
    [("analyte", analyte), ("method", method), ("printed", printed), ("unit", unit), ("fixed", "1")]
        .iter()
        .map(|(name, value)| (format!("rows.{n}.{name}"), (*value).to_owned()))
        .collect()
}

impl Garden {
    async fn new() -> Garden {
        let (folder, app, ada) = fresh().await;
        let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
        let beds = [
            app.add_plot(&ada, site, &plot_form("A1", "12")).await.unwrap(),
            app.add_plot(&ada, site, &plot_form("A2", "15")).await.unwrap(),
        ];
        let token = app.sign_in("ada", PASSWORD).await.unwrap().secret().to_owned();
        let router = Server::new(app.clone(), app.settings()).router();
        Garden { router, token, app, ada, site, beds, _folder: folder }
    }

    async fn ask(&self, method: Method, path: &str, kind: &str, body: impl Into<Body>) -> Answer {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "glebe.test")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, kind)
            .header(header::COOKIE, format!("sid={}", self.token))
            .body(body.into())
            .unwrap();
        let response = self.router.clone().oneshot(request).await.unwrap();
        let (status, headers) = (response.status(), response.headers().clone());
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        Answer { status, headers, text: String::from_utf8_lossy(&bytes).into_owned() }
    }

    async fn get(&self, path: &str) -> String {
        let answer = self.ask(Method::GET, path, "", Body::empty()).await;
        assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
        answer.text
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Answer {
        self.ask(Method::POST, path, "application/x-www-form-urlencoded", body(fields)).await
    }

    /// A sampling of the first bed, with lines.
    async fn send(&self, on: &str, lines: Vec<Vec<(String, String)>>, more: &[(&str, &str)]) -> Answer {
        let bed = self.beds[0].to_string();
        let count = lines.len().to_string();
        let lines: Vec<_> = lines.into_iter().flatten().collect();
        let mut fields =
            vec![("plots", bed.as_str()), ("sampled_on", on), ("depth_bottom_cm", "15"), ("lines", &count)];
        fields.extend(lines.iter().map(|(name, value)| (name.as_str(), value.as_str())));
        fields.extend(more);
        self.post(&format!("/sites/{}/samplings", self.site), &fields).await
    }

    async fn nothing_saved(&self) {
        assert!(self.app.samplings(&self.ada, self.beds[0]).await.unwrap().is_empty());
    }
}

/// A page without its markup, for looking at the words.
fn words(page: &str) -> String {
    let mut inside = false;
    let text: String = page
        .chars()
        .filter(|c| {
            let shown = !inside && *c != '<';
            inside = *c == '<' || inside && *c != '>';
            shown
        })
        .collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[tokio::test]
async fn the_new_sampling_starts_with_what_is_usual_and_the_plot_it_was_asked_for() {
    let garden = Garden::new().await;
    let page = garden.get(&format!("/sites/{}/samplings/new?plot={}", garden.site, garden.beds[1])).await;
    assert!(page.contains(&format!("value=\"{}\" checked", garden.beds[1])), "{page}");
    assert!(page.contains("type=\"date\" value=\"2026-03-21\"") && page.contains("value=\"15\""), "{page}");
    assert!(page.contains("no bubbles with it prove nothing"), "the vinegar caveat");
    // A later one starts from the depth that was used here last.
    let saved = garden.send("2026-02-10", vec![], &[("depth_top_cm", "0"), ("depth_bottom_cm", "15")]).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "{}", saved.text);
    let listed = words(&garden.get(&format!("/sites/{}/samplings", garden.site)).await);
    assert!(listed.contains("10 Feb 2026, A1 no sheet yet"), "{listed}");
}

#[tokio::test]
async fn a_panel_gives_the_lines_and_another_loses_nothing_that_was_typed() {
    let garden = Garden::new().await;
    let first = garden.send("2026-02-10", vec![], &[("panel", "mehlich3"), ("lab", "Lab North")]).await;
    assert_eq!(first.status, StatusCode::OK);
    assert!(first.text.contains(">Phosphorus</label>") && first.text.contains("value=\"Lab North\""), "{}", first.text);
    assert!(first.text.contains("<option value=\"mehlich3_icp\" selected>"));
    let typed = vec![line(0, "P", "mehlich3_icp", "<b>1.2.3", "mg/kg"), line(1, "K", "mehlich3_icp", "", "mg/kg")];
    let second = garden.send("2026-02-10", typed, &[("panel", "fizzing")]).await;
    assert!(second.text.contains("value=\"&#60;b&#62;1.2.3\""), "{}", second.text);
    assert!(second.text.contains("<option value=\"olsen\" selected>") && second.text.contains("Sodium"));
    let third = garden.send("2026-02-10", vec![line(0, "P", "olsen", "12", "mg/kg")], &[("do", "lines")]).await;
    assert!(third.text.contains("rows.6.analyte") && third.text.contains("value=\"12\""), "{}", third.text);
    garden.nothing_saved().await;
}

#[tokio::test]
async fn every_bad_cell_gets_its_sentence_and_keeps_what_was_typed() {
    let garden = Garden::new().await;
    for typed in ["1.2.3", "-4", "NaN", "1e400", "1,234", "12 ppm", "none", "about 5"] {
        let lines = vec![line(0, "K", "olsen", "120", "mg/kg"), line(1, "P", "olsen", typed, "mg/kg")];
        let page = garden.send("2026-02-10", lines, &[("lab", "Lab")]).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{typed}");
        let at = page.text.find("id=\"rows.1-problem\"").unwrap_or_else(|| panic!("{typed}: {}", page.text));
        let sentence = words(&page.text[at - 5..at + 400]);
        assert!(sentence.contains(typed), "{typed}: {sentence}");
        assert!(page.text.contains(&format!("name=\"rows.1.printed\" value=\"{typed}\"")), "{typed}");
        assert!(page.text.contains("name=\"rows.0.printed\" value=\"120\"") && !page.text.contains("rows.0-problem"));
        assert!(page.text.contains("aria-describedby=\"rows.1-problem\""));
    }
    let ambiguous = garden.send("2026-02-10", vec![line(0, "P", "olsen", "1,234", "mg/kg")], &[("lab", "L")]).await;
    assert!(words(&ambiguous.text).contains("can be read as 1234 or as 1.234"));
    let cells = vec![line(0, "P", "olsen", "9", "mg/kg")];
    for (on, more, field) in [
        ("2026-03-22", vec![("lab", "Lab")], "sampled_on"), // tomorrow
        ("2026-02-30", vec![("lab", "Lab")], "sampled_on"),
        ("2026-02-10", vec![], "lab"),
        ("2026-02-10", vec![("lab", "Lab"), ("depth_top_cm", "30")], "depth_bottom_cm"),
        ("2026-02-10", vec![("lab", "Lab"), ("cores", "-3")], "cores"),
        ("2026-02-10", vec![("lab", "Lab"), ("reported_on", "2026-01-05")], "reported_on"),
    ] {
        let page = garden.send(on, cells.clone(), &more).await;
        assert_eq!(page.status, StatusCode::UNPROCESSABLE_ENTITY, "{field}");
        assert!(page.text.contains(&format!("id=\"{field}-problem\"")), "{field}: {}", page.text);
        assert!(page.text.contains("name=\"rows.0.printed\" value=\"9\""), "{field}: what was typed is gone");
    }
    garden.nothing_saved().await;
}

#[tokio::test]
async fn two_extracts_stand_side_by_side_and_the_choice_can_be_overruled_and_undone() {
    let garden = Garden::new().await;
    let acid = vec![
        line(0, "ph", "ph_water", "7,9", "pH"),
        line(1, "P", "mehlich3_icp", "88", "ppm"),
        line(2, "Ca", "mehlich3_icp", "6120", "ppm"),
        line(3, "B", "hot_water", "<0.1", "ppm"),
        line(4, "Zn", "dtpa", "", "ppm"),
    ];
    let more = [("lab", "Lab North"), ("fizz_acid", "hydrochloric_1m"), ("fizz_class", "strong"), ("do", "another")];
    let saved = garden.send("2026-02-10", acid, &more).await;
    assert!(saved.to().ends_with("/reports/new"), "{} {}", saved.status, saved.text);
    let sampling = saved.to().trim_end_matches("/reports/new").to_owned();
    // The same lines as last time, less the numbers.
    let again = garden.post(&format!("{sampling}/reports"), &[("panel", "last"), ("lab", "lab north")]).await;
    assert!(again.text.contains("value=\"mehlich3_icp\" selected") && !again.text.contains("value=\"6120\""));
    let fields: Vec<_> = [line(0, "P", "olsen", "11", "mg/kg"), line(1, "K", "nh4oac_8_2", "ND", "mg/kg")].concat();
    let mut fields: Vec<_> = fields.iter().map(|(name, value)| (name.as_str(), value.as_str())).collect();
    fields.extend([("lines", "2"), ("lab", "Lab South")]);
    let second = garden.post(&format!("{sampling}/reports"), &fields).await;
    assert_eq!(second.to(), sampling, "{}", second.text);

    let page = garden.get(&sampling).await;
    let seen = words(&page);
    assert!(seen.contains("7,9 understood as 7.9"), "the comma is shown back: {seen}");
    assert!(seen.contains("88 ppm understood as 88 mg/kg Mehlich-3, ICP, Lab North left aside"), "{seen}");
    assert!(seen.contains("11 mg/kg understood as 11 mg/kg Olsen (bicarbonate), Lab South used"), "{seen}");
    assert!(seen.contains("&#60;0.1 ppm understood as &#60;0.1 mg/kg"), "{seen}");
    assert!(seen.contains("Not detected, and the sheet prints no limit"), "{seen}");
    assert!(seen.contains("This soil shows free lime") && seen.contains("Withheld."), "{seen}");

    let loaded = garden.app.samplings(&garden.ada, garden.beds[0]).await.unwrap().remove(0);
    let cell = |analyte: &str, text: &str| {
        let found =
            loaded.sampling.determinations().find(|(_, d)| d.analyte.to_string() == analyte && d.printed.text == text);
        found.unwrap().1.key.0.to_string()
    };
    let mehlich = cell("P", "88");
    let refused =
        garden.post(&format!("{sampling}/overrule"), &[("analyte", "P"), ("cell", &mehlich), ("reason", " ")]).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(refused.text.contains("id=\"why-P-problem\""), "{}", refused.text);
    let why = [("analyte", "P"), ("cell", &mehlich), ("reason", "the adviser’s tables are for it")];
    assert_eq!(garden.post(&format!("{sampling}/overrule"), &why).await.status, StatusCode::SEE_OTHER);
    let overruled = words(&garden.get(&sampling).await);
    assert!(
        overruled.contains("Lab North used") && overruled.contains("Ada Marsh: the adviser’s tables"),
        "{overruled}"
    );
    garden.post(&format!("{sampling}/follow"), &[("analyte", "P")]).await;
    assert!(words(&garden.get(&sampling).await).contains("Lab South used"));

    // Every number opens, down to the printed cell.
    let working = garden.get(&format!("/determinations/{mehlich}/working")).await;
    assert!(working.contains(&format!("href=\"/determinations/{mehlich}\"")), "{working}");
    let found = garden.ask(Method::GET, &format!("/determinations/{mehlich}"), "", Body::empty()).await;
    assert!(found.to().ends_with(&format!("#cell-{mehlich}")), "{}", found.to());
    assert!(garden.get(&format!("{sampling}/workings/P")).await.contains("Why this reading"));
    let none = garden.ask(Method::GET, &format!("{sampling}/workings/capacity"), "", Body::empty()).await;
    assert_eq!(none.status, StatusCode::NOT_FOUND, "what is withheld has no working");
    let unread = garden.get(&format!("/determinations/{}/working", cell("K", "ND"))).await;
    assert!(unread.contains("cannot be read"), "{unread}");
}

#[tokio::test]
async fn slips_become_questions_on_the_next_page_and_a_correction_stays_to_be_seen() {
    let garden = Garden::new().await;
    let lines = vec![
        line(0, "ph", "ph_water", "120", "pH"), // pH and potassium in each other's column
        line(1, "K", "unstated", "6.8", "mg/kg"),
    ];
    let saved = garden.send("2026-02-10", lines, &[("lab", "Lab")]).await;
    assert_eq!(saved.status, StatusCode::SEE_OTHER, "questions, not refusals: {}", saved.text);
    let sampling = saved.to().to_owned();
    let page = garden.get(&sampling).await;
    let seen = words(&page);
    assert!(seen.contains("Worth another look") && seen.contains("The extraction is not stated"), "{seen}");
    assert!(seen.contains("in the right column?") && seen.contains("Correct pH 120"), "{seen}");
    let loaded = garden.app.samplings(&garden.ada, garden.beds[0]).await.unwrap().remove(0);
    let ph = loaded.sampling.reports[0].determinations[0].key.0;
    let report = loaded.sampling.reports[0].key;
    let correct = format!("/determinations/{ph}/correct");
    assert!(garden.get(&correct).await.contains("value=\"120\""));
    let cell = |printed: &'static str, reason: &'static str| {
        [
            ("cell.analyte", "ph"),
            ("cell.method", "ph_water"),
            ("cell.unit", "pH"),
            ("cell.printed", printed),
            ("reason", reason),
        ]
    };
    let refused = garden.post(&correct, &cell("6.8.1", "")).await;
    assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY);
    for part in ["id=\"cell.printed-problem\"", "id=\"reason-problem\"", "value=\"6.8.1\""] {
        assert!(refused.text.contains(part), "{part}: {}", refused.text);
    }
    let done = garden.post(&correct, &cell("6.8", "columns were swapped")).await;
    assert_eq!(done.to(), sampling, "{}", done.text);
    let sheet = garden.get(&format!("/reports/{report}")).await;
    assert!(sheet.contains(&format!("<li id=\"cell-{ph}\"><s>")), "{sheet}");
    assert!(words(&sheet).contains("Corrected: columns were swapped"), "{sheet}");
    // The address of the old cell still leads somewhere.
    let old = garden.ask(Method::GET, &correct, "", Body::empty()).await;
    assert!(old.to().starts_with(&format!("/reports/{report}#cell-")), "{}", old.to());

    let potassium = loaded.sampling.reports[0].determinations[1].key.0;
    let withdraw = format!("/determinations/{potassium}/withdraw");
    let refused = garden.post(&withdraw, &[("reason", "")]).await;
    assert!(refused.status == 422 && refused.text.contains("id=\"withdraw-problem\""), "{}", refused.text);
    assert_eq!(garden.post(&withdraw, &[("reason", "another bed’s")]).await.status, StatusCode::SEE_OTHER);
    let refused = garden.post(&format!("{sampling}/void"), &[("reason", "")]).await;
    assert!(refused.status == 422 && refused.text.contains("id=\"reason-problem\""), "{}", refused.text);
    garden.post(&format!("{sampling}/void"), &[("reason", "wrong bag")]).await;
    assert!(words(&garden.get(&sampling).await).contains("This sampling is void. wrong bag"));
}

#[tokio::test]
async fn the_labs_file_is_kept_and_only_ever_handed_out_to_be_saved() {
    let garden = Garden::new().await;
    let saved = garden.send("2026-02-10", vec![line(0, "P", "olsen", "9", "mg/kg")], &[("lab", "Lab")]).await;
    let sampling = saved.to().to_owned();
    let loaded = garden.app.samplings(&garden.ada, garden.beds[0]).await.unwrap().remove(0);
    let report = loaded.sampling.reports[0].key;
    let upload = |name: &str, content: &str| {
        format!(
            "--cut\r\nContent-Disposition: form-data; name=\"file\"; filename=\"{name}\"\r\n\
             Content-Type: text/html\r\n\r\n{content}\r\n--cut--\r\n"
        )
    };
    let path = format!("/reports/{report}/files");
    let kind = "multipart/form-data; boundary=cut";
    for (name, content) in [("sheet.pdf", "<html><script>alert(1)</script>"), ("empty.pdf", "")] {
        let refused = garden.ask(Method::POST, &path, kind, upload(name, content)).await;
        assert_eq!(refused.status, StatusCode::UNPROCESSABLE_ENTITY, "{name}");
        assert!(refused.text.contains("id=\"file-problem\""), "{}", refused.text);
    }
    let kept = garden.ask(Method::POST, &path, kind, upload("März \u{201c}1\u{201d}.pdf", "%PDF-1.4 invented")).await;
    assert_eq!(kept.status, StatusCode::SEE_OTHER, "{}", kept.text);
    let page = garden.get(&sampling).await;
    let at = page.find("/files/").expect("a link to the file");
    let file: String = page[at..].chars().take_while(|c| *c != '"').collect();
    let sent = garden.ask(Method::GET, &file, "", Body::empty()).await;
    assert_eq!((sent.status, sent.text.as_str()), (StatusCode::OK, "%PDF-1.4 invented"));
    assert_eq!(sent.headers[header::CONTENT_TYPE], "application/pdf");
    assert!(
        sent.headers[header::CONTENT_DISPOSITION]
            .to_str()
            .unwrap()
            .starts_with("attachment; filename*=UTF-8''M%C3%A4rz")
    );
    assert_eq!(sent.headers["x-content-type-options"], "nosniff");
    garden.post(&format!("{file}/void"), &[("reason", "wrong sheet")]).await;
    assert_eq!(garden.ask(Method::GET, &file, "", Body::empty()).await.status, StatusCode::NOT_FOUND);
}
