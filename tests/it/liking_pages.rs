//! Each person reads levels and needs in their own unit; the sheet checked; a password of one's own.

use super::opinion_pages::{Field, SOUR, links, words};
use axum::http::StatusCode;

async fn like(field: &Field, unit: &str, form: &str) {
    let (status, text) = field.ask("POST", "/settings/reading", format!("unit={unit}&form={form}")).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{text}");
}

#[tokio::test]
async fn levels_and_needs_follow_the_settings_of_whoever_reads() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let plain = field.words("").await;
    assert!(plain.contains("90 mg/kg"), "{plain}");
    like(&field, "kg_per_ha", "oxide").await;
    // A loam of 1.43 g/cm³ to 20 cm weighs 2,860,000 kg/ha: 90 mg/kg is 257.4 kg/ha of K, × 1.2046 K₂O 310.
    let seen = field.words("").await;
    assert!(seen.contains("310 kg/ha K₂O") && !seen.contains("90 mg/kg"), "{seen}");
    assert!(seen.contains("kg/ha P₂O₅"), "{seen}");
    let page = field.page("/working/K/found").await;
    let seen = words(&page);
    assert!(seen.contains("× 2,860,000 kg/ha of soil ÷ 1,000,000 × 1.2046"), "{seen}");
    assert!(seen.contains("90 mg/kg") && page.contains("/reports/"), "the steps before it stay: {seen}");
    let seen = field.words("/next").await;
    assert!(seen.contains("of K₂O on this plot") && seen.contains("kg/ha K₂O"), "{seen}");
    let seen = field.words("/opinions").await;
    assert!(seen.contains("here 310 kg/ha K₂O"), "{seen}");
    let seen = field.words("/trend/K").await;
    assert!(seen.contains("kg/ha K₂O"), "{seen}");
    like(&field, "grams_on_plot", "element").await;
    // On 100 m²: 257.4 kg/ha is 2,574 g.
    assert!(field.words("").await.contains("2574 g"), "{}", field.words("").await);
    like(&field, "lb_per_acre", "element").await;
    assert!(field.words("").await.contains("230 lb/acre"), "{}", field.words("").await);
    // pH and acidity are what they are, in any unit.
    assert!(field.words("").await.contains("5.2"));
}

#[tokio::test]
async fn what_the_lab_scooped_stays_by_volume_and_says_so() {
    let lines = [("ph", "ph_water", "6.4", "pH"), ("K", "mehlich3_icp", "100", "mg/L")];
    let field = Field::tested(&lines, "open", &[]).await;
    like(&field, "mg_per_kg", "oxide").await;
    let seen = field.words("/working/K/found").await;
    assert!(seen.contains("120 mg/L K₂O") && seen.contains("no mg/kg can be made of it"), "{seen}");
    like(&field, "kg_per_ha", "element").await;
    // By the depth alone: 100 mg/L × 20 cm × 0.1 = 200 kg/ha.
    let seen = field.words("/working/K/found").await;
    assert!(seen.contains("200 kg/ha") && seen.contains("× 20 cm × 0.1"), "{seen}");
}

#[tokio::test]
async fn as_printed_is_the_sheets_own_unit() {
    let lines = [("ph", "ph_water", "6.4", "pH"), ("K", "nh4oac_7", "0.30", "meq/100 g")];
    let field = Field::tested(&lines, "open", &[]).await;
    assert!(field.words("").await.contains("117 mg/kg"), "{}", field.words("").await);
    like(&field, "as_printed", "element").await;
    let seen = field.words("").await;
    assert!(seen.contains("0.30 meq/100 g"), "{seen}");
}

#[tokio::test]
async fn settings_refuse_what_they_do_not_know_and_ask_for_the_present_password() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let (status, page) = field.ask("POST", "/settings/reading", "unit=furlongs&form=oxide".into()).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("id=\"unit-problem\""), "{page}");
    let send = |body: &str| field.ask("POST", "/settings/password", body.to_owned());
    let new = "password=another+few+plain+words&again=another+few+plain+words";
    let (status, page) = send(&format!("present=wrong&{new}")).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("id=\"present-problem\"") && !page.contains("another few plain words"), "{page}");
    let (status, page) =
        send("present=four+plain+garden+words&password=another+few+plain+words&again=another+few").await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY);
    assert!(page.contains("id=\"again-problem\""), "{page}");
    let (status, _) = send(&format!("present=four+plain+garden+words&{new}")).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
    // Every earlier session has ended, this one's token too; the answer carried a new one.
    let (status, _) = field.ask("GET", "/settings", String::new()).await;
    assert_eq!(status, StatusCode::SEE_OTHER);
}

#[tokio::test]
async fn a_sheet_is_checked_and_stands_alone_under_every_guideline() {
    let lines = [
        ("ph", "ph_water", "5.8", "pH"),
        ("K", "mehlich3_icp", "90", "mg/kg"),
        ("K", "nh4oac_7", "80", "mg/kg"),
        ("Ca", "mehlich3_icp", "400", "mg/kg"),
        ("Mg", "mehlich3_icp", "60", "mg/kg"),
        ("acidity", "bacl2_tea", "1.0", "cmol(+)/kg"),
        ("cec", "cec_sum", "3.7", "cmol(+)/kg"),
    ];
    let field = Field::tested(&lines, "open", &[]).await;
    let sampling = links(&field.page("").await, "/samplings/").remove(0);
    let (status, page) = field.ask("GET", &format!("{sampling}/check"), String::new()).await;
    assert_eq!(status, StatusCode::OK);
    let seen = words(&page);
    // Ohio State: Mehlich-3 potassium is 14 % above acetate; a laboratory: × 0.84.
    assert!(seen.contains("79 mg/kg by Ammonium acetate, pH 7, from Mehlich-3 ÷ 1.14"), "{seen}");
    assert!(seen.contains("76 mg/kg by Ammonium acetate, pH 7, from Mehlich-3 × 0.84"), "{seen}");
    assert!(seen.contains("they disagree with one another"), "{seen}");
    // 400 ÷ 200.39 + 60 ÷ 121.5 + 90 ÷ 391 + 1.0 = 3.72.
    assert!(seen.contains("The cells make the printed figure."), "{seen}");
    assert!(seen.contains("Calcium to magnesium, by charge"), "{seen}");
    let report = links(&page, "/reports/").remove(0);
    let (status, alone) = field.ask("GET", &format!("{report}/opinions"), String::new()).await;
    assert_eq!(status, StatusCode::OK);
    let workings = links(&alone, &format!("{report}/opinions/"));
    assert!(workings.len() > 6, "{workings:?}");
    for path in &workings {
        assert_eq!(field.ask("GET", path, String::new()).await.0, StatusCode::OK, "{path}");
    }
}

#[tokio::test]
async fn shares_of_the_capacity_say_how_they_are_counted_and_what_holds_them() {
    // A sand that holds 3.7 cmol(+)/kg: 5 % potassium would be 73 mg/kg; the aim is held at Delaware's 141.
    let field = Field::tested(&SOUR, "open", &[]).await;
    let page = field.page("/opinions").await;
    let seen = words(&page);
    assert!(seen.contains("the aim is held at the floor of 141 mg/kg"), "{seen}");
    for said in ["counted by charge", "Kopittke &#38; Menzies", "Supporters hold", "Bear et al.", "1.65 times"] {
        assert!(seen.contains(said), "{said}: {seen}");
    }
    let sampling = links(&field.page("").await, "/samplings/").remove(0);
    let (_, sheet) = field.ask("GET", &sampling, String::new()).await;
    assert!(words(&sheet).contains("counted by charge"), "the sheet's own shares say so too");
}
