//! The pages that say more of a plot's sheet: every guideline side by side, lime, salts, nitrogen
//! and metals. Figures are checked against what the publishers print.

use super::store::{PASSWORD, fresh, plot_form, site_form};
use axum::{
    Router,
    body::Body,
    http::{Request, StatusCode, header},
};
use glebe::{
    app::{Actor, App, plots::PlotForm},
    ids::PlotId,
    web::{Server, view::in_address},
};
use http_body_util::BodyExt;
use tempfile::TempDir;
use tower::ServiceExt;

/// A line of a sheet: analyte, method, what is printed, unit.
pub type Line = (&'static str, &'static str, &'static str, &'static str);

pub struct Field {
    router: Router,
    token: String,
    pub plot: PlotId,
    pub app: App,
    pub ada: Actor,
    _folder: TempDir,
}

impl Field {
    /// A plot of 100 m², worked to 20 cm, with one sheet of today.
    pub async fn tested(lines: &[Line], cover: &str, more: &[(&str, &str)]) -> Field {
        let (folder, app, ada) = fresh().await;
        let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
        let form = PlotForm { cover: cover.into(), ..plot_form("A1", "100") };
        let plot = app.add_plot(&ada, site, &form).await.unwrap();
        let token = app.sign_in("ada", PASSWORD).await.unwrap().secret().to_owned();
        let router = Server::new(app.clone(), app.settings()).router();
        let field = Field { router, token, plot, app, ada, _folder: folder };
        let mut fields: Vec<(String, String)> = [
            ("plots", plot.to_string().as_str()),
            ("sampled_on", "2026-03-10"),
            ("depth_top_cm", "0"),
            ("depth_bottom_cm", "20"),
            ("lab", "Lab North"),
            ("lines", &lines.len().to_string()),
        ]
        .iter()
        // What the test says of a field stands in the place of what is usual.
        .filter(|(usual, _)| more.iter().all(|(name, _)| name != usual))
        .chain(more)
        .map(|(name, value)| ((*name).to_owned(), (*value).to_owned()))
        .collect();
        for (n, (analyte, method, printed, unit)) in lines.iter().enumerate() {
            for (name, value) in
                [("analyte", analyte), ("method", method), ("printed", printed), ("unit", unit), ("fixed", &"1")]
            {
                fields.push((format!("rows.{n}.{name}"), (*value).to_owned()));
            }
        }
        let body: Vec<String> =
            fields.iter().map(|(name, value)| format!("{}={}", in_address(name), in_address(value))).collect();
        let (status, text) = field.ask("POST", &format!("/sites/{site}/samplings"), body.join("&")).await;
        assert_eq!(status, StatusCode::SEE_OTHER, "{text}");
        field
    }

    pub async fn ask(&self, method: &str, path: &str, body: String) -> (StatusCode, String) {
        let request = Request::builder()
            .method(method)
            .uri(path)
            .header(header::HOST, "glebe.test")
            .header("sec-fetch-site", "same-origin")
            .header(header::CONTENT_TYPE, "application/x-www-form-urlencoded")
            .header(header::COOKIE, format!("sid={}", self.token))
            .body(Body::from(body))
            .unwrap();
        let response = self.router.clone().oneshot(request).await.unwrap();
        let status = response.status();
        let bytes = response.into_body().collect().await.unwrap().to_bytes();
        (status, String::from_utf8_lossy(&bytes).into_owned())
    }

    /// A page of the plot as it stands, with its markup.
    pub async fn page(&self, path: &str) -> String {
        let path = format!("/plots/{}{path}", self.plot);
        let (status, text) = self.ask("GET", &path, String::new()).await;
        assert_eq!(status, StatusCode::OK, "{path}: {text}");
        text
    }

    /// The same as words.
    pub async fn words(&self, path: &str) -> String {
        words(&self.page(path).await)
    }
}

/// A page without its markup.
pub fn words(page: &str) -> String {
    let mut inside = false;
    let text: String = page
        .chars()
        .map(|c| {
            let shown = !inside && c != '<';
            inside = c == '<' || inside && c != '>';
            if shown { c } else { ' ' }
        })
        .collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The addresses on a page that lie under a path.
pub fn links(page: &str, under: &str) -> Vec<String> {
    let hrefs = page.split("href=\"").skip(1).filter_map(|rest| rest.split('"').next());
    let mut found: Vec<String> = hrefs.filter(|to| to.starts_with(under)).map(|to| to.replace("&#38;", "&")).collect();
    found.sort();
    found.dedup();
    found
}

/// Sour, short of potassium by one school: an invented sheet.
pub const SOUR: [Line; 7] = [
    ("ph", "ph_water", "5.2", "pH"),
    ("buffer_ph", "buffer_sikora", "6.2", "pH"),
    ("P", "mehlich3_icp", "40", "mg/kg"),
    ("K", "mehlich3_icp", "90", "mg/kg"),
    ("Ca", "mehlich3_icp", "400", "mg/kg"),
    ("Mg", "mehlich3_icp", "60", "mg/kg"),
    ("acidity", "bacl2_tea", "1.0", "cmol(+)/kg"),
];

#[tokio::test]
async fn every_guideline_stands_beside_the_others_and_every_figure_opens() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let page = field.page("/opinions").await;
    let seen = words(&page);
    assert!(seen.contains("The guidelines part over") && seen.contains("potassium"), "{seen}");
    assert!(
        seen.contains("They ask different questions") && seen.contains("a share of the exchange capacity"),
        "{seen}"
    );
    assert!(seen.contains("Guidelines that do not apply"), "those that say nothing give their reason: {seen}");
    let workings = links(&page, &format!("/plots/{}/opinions/", field.plot));
    assert!(workings.len() > 12, "{workings:?}");
    for path in &workings {
        let (status, text) = field.ask("GET", path, String::new()).await;
        assert_eq!(status, StatusCode::OK, "{path}");
        // An aim may be a printed limit alone; all else rests on a cell.
        let of_print = path.ends_with("/aim") || path.ends_with("/mass");
        assert!(of_print || text.contains("/reports/"), "{path} does not lead to the lab’s cell");
    }
    for path in ["/opinions/nobody/K/aim", "/opinions/rutgers_mehlich3/K/colour", "/opinions/rutgers_mehlich3/Xx/aim"] {
        let (status, _) = field.ask("GET", &format!("/plots/{}{path}", field.plot), String::new()).await;
        assert_eq!(status, StatusCode::NOT_FOUND, "{path}");
    }
    assert!(field.page("").await.contains(&format!("/plots/{}/opinions", field.plot)));
}

#[tokio::test]
async fn limits_from_memory_stay_out_until_asked_for_and_are_marked_then() {
    // The ammonium nitrate tables of the British set are held from memory.
    let lines = [("ph", "ph_water", "6.4", "pH"), ("K", "nh4no3", "120", "mg/L")];
    let field = Field::tested(&lines, "open", &[]).await;
    let without = field.page("/opinions").await;
    assert!(!without.contains("unverified\">from memory"), "{}", words(&without));
    let with = field.page("/opinions?use=vegetables&memory=on").await;
    assert!(with.contains("unverified\">from memory, unverified"), "{}", words(&with));
    let workings = links(&with, &format!("/plots/{}/opinions/", field.plot));
    for path in workings.iter().filter(|path| path.contains("/K/")) {
        assert!(path.ends_with("?use=vegetables&memory=on"), "{path} loses what was asked");
        assert_eq!(field.ask("GET", path, String::new()).await.0, StatusCode::OK, "{path}");
    }
}

#[tokio::test]
async fn lime_is_told_by_the_methods_of_its_buffer_in_a_product_on_the_plot() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let seen = field.words("/lime?target_ph=6.4&value_percent=100&product=").await;
    // Oregon State EM 9585, Sikora buffer 6.2 to pH 6.4: 2.8 ton/acre of 100-score lime for 6 in;
    // × 2,241.7 kg/ha × 20 cm ÷ 15.24 cm = 8,237 kg/ha.
    assert!(seen.contains("As the publisher prints it: 2.8 ton/acre (2,000 lb)"), "{seen}");
    assert!(seen.contains("Lime of 100 % of CaCO₃: 82.4 kg on this plot 824 g/m², 8.2 t/ha"), "{seen}");
    assert!(seen.contains("their readings are not interchangeable"), "the other buffers say why they cannot: {seen}");
    assert!(seen.contains("Too much for once"), "{seen}");
    assert!(field.words("").await.contains("How much lime"), "the plot's page leads here");
    assert!(field.words("/next").await.contains("How much lime"), "so does the step to lime");
    // Half the strength, twice the lime.
    let (full, half) = (field.words("/lime?value_percent=100").await, field.words("/lime?value_percent=50").await);
    let on_plot = |page: &str, name: &str| -> f64 {
        let rest = page.split(&format!("{name}: ")).nth(1).unwrap_or_else(|| panic!("{name}: {page}"));
        rest.split_whitespace().next().unwrap().replace(',', "").parse().unwrap()
    };
    let (full, half) = (on_plot(&full, "Lime of 100 % of CaCO₃"), on_plot(&half, "Lime of 50 % of CaCO₃"));
    assert!((half / full - 2.0).abs() < 0.02, "{full} {half}");
}

#[tokio::test]
async fn a_lime_form_keeps_what_was_typed_and_says_what_is_wrong_by_its_field() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let path = format!("/plots/{}/lime?target_ph=sweet&value_percent=80&soil=clay", field.plot);
    let (status, page) = field.ask("GET", &path, String::new()).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{page}");
    assert!(page.contains("value=\"sweet\"") && page.contains("id=\"target_ph-problem\""), "{page}");
    assert!(page.contains("value=\"80\"") && page.contains("<option value=\"clay\" selected>"), "{page}");
}

#[tokio::test]
async fn a_buffer_without_its_name_gives_no_lime_and_sweet_soil_needs_none() {
    let lines = [("ph", "ph_water", "5.4", "pH"), ("buffer_ph", "unstated", "6.3", "pH")];
    let unnamed = Field::tested(&lines, "open", &[]).await;
    let seen = unnamed.words("/lime").await;
    assert!(seen.contains("without naming the buffer") || seen.contains("does not say"), "{seen}");
    let lines = [("ph", "ph_water", "6.8", "pH"), ("buffer_ph", "buffer_sikora", "6.0", "pH")];
    let sweet = Field::tested(&lines, "open", &[]).await;
    let seen = sweet.words("/lime?target_ph=6.5").await;
    assert!(seen.contains("No lime.") && !seen.contains("on this plot 1"), "{seen}");
}

#[tokio::test]
async fn ground_that_fizzes_is_not_soured_and_the_sum_is_shown() {
    let lines = [("ph", "ph_water", "7.9", "pH"), ("carbonate", "calcimeter", "8", "%")];
    let fizz = [("fizz_acid", "hydrochloric_1m"), ("fizz_class", "strong")];
    let field = Field::tested(&lines, "tunnel", &fizz).await;
    let seen = field.words("/lime").await;
    // One S neutralises one CaCO3: 32.06 ÷ 100.09 = 0.320 kg to the kg (IUPAC weights).
    assert!(seen.contains("No sulfur.") && seen.contains("0.3203") && seen.contains("free lime"), "{seen}");
    let salts = field.words("/salts").await;
    assert!(salts.contains("none were tested here"), "a tunnel without a salt test is told so: {salts}");
}

#[tokio::test]
async fn salts_are_told_at_their_own_dilution_or_not_at_all() {
    let lines = [("ec", "ec_paste", "4.5", "dS/m"), ("ph", "ph_water", "6.5", "pH")];
    let field = Field::tested(&lines, "tunnel", &[]).await;
    let seen = field.words("/salts").await;
    // USDA classes of the saturation extract: from 4 on many crops feel it.
    assert!(seen.contains("felt by many crops") && seen.contains("saline"), "{seen}");
    // Rayment & Lyons, table 3.1: 1.9 to 4.5 dS/m for moderately tolerant plants, from 4.5 for tolerant ones.
    assert!(seen.contains("fit for tolerant plants by another table, Rayment"), "{seen}");
    assert!(seen.contains("No sodium adsorption ratio"), "{seen}");
    let lines = [("ec", "unstated", "0.9", "dS/m"), ("ph", "ph_water", "6.5", "pH")];
    let unstated = Field::tested(&lines, "open", &[]).await;
    let seen = unstated.words("/salts").await;
    assert!(seen.contains("Ask the laboratory for the dilution") || seen.contains("dilution"), "{seen}");
    assert!(!seen.contains("felt by"), "no class is given: {seen}");
}

#[tokio::test]
async fn nitrogen_is_a_range_and_the_stated_demand_is_kept() {
    let lines = [("organic_matter", "loss_on_ignition", "4.2", "%"), ("ph", "ph_water", "6.5", "pH")];
    let field = Field::tested(&lines, "open", &[]).await;
    let seen = field.words("/nitrogen").await;
    assert!(seen.contains("What the crop takes is not known"), "{seen}");
    let page = field.page("/nitrogen?low_kg_per_ha=150&high_kg_per_ha=180").await;
    let seen = words(&page);
    assert!(page.contains("name=\"low_kg_per_ha\"") && page.contains("value=\"150\""), "{seen}");
    assert!(seen.contains("150 to 180 kg/ha") && seen.contains("of nitrogen."), "{seen}");
    assert!(seen.contains("Nitrate was not tested"), "{seen}");
    let path = format!("/plots/{}/nitrogen?low_kg_per_ha=-4", field.plot);
    let (status, page) = field.ask("GET", &path, String::new()).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("value=\"-4\"") && page.contains("id=\"low_kg_per_ha-problem\""), "{page}");
}

#[tokio::test]
async fn lead_stands_beside_its_values_and_nothing_is_called_safe() {
    let lines =
        [("Pb", "total", "250", "mg/kg"), ("Cd", "mehlich3_icp", "0.4", "mg/kg"), ("ph", "ph_water", "6.8", "pH")];
    let field = Field::tested(&lines, "open", &[]).await;
    let seen = field.words("/contaminants").await;
    // US EPA, January 2024: 200 mg/kg for residential soil; New York State, 2010: 400 mg/kg.
    assert!(seen.contains("is at or above the 200 mg/kg of United States"), "{seen}");
    assert!(seen.contains("is below the 400 mg/kg of New York State"), "{seen}");
    assert!(seen.contains("local health or environment authority"), "{seen}");
    assert!(seen.contains("cannot be compared with it"), "an extract is kept apart: {seen}");
    for word in ["safe", "Safe"] {
        assert!(!seen.contains(word), "{word} in {seen}");
    }
    let untested = Field::tested(&[("ph", "ph_water", "6.8", "pH")], "open", &[]).await;
    assert!(untested.words("/contaminants").await.contains("No total metal was tested here"));
}

#[tokio::test]
async fn a_strong_lime_is_parted_as_the_limestone_that_it_stands_for() {
    // 8.2 t/ha of limestone is over the 7.5 that Teagasc puts on at once; as burnt lime of 178 % it
    // is 4.6 t/ha and does as much.
    let field = Field::tested(&SOUR, "open", &[]).await;
    let seen = field.words("/lime?target_ph=6.4&value_percent=178").await;
    assert!(seen.contains("4.6 t/ha") && seen.contains("Teagasc : 2 parts of"), "{seen}");
}
