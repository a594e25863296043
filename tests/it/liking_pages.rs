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
async fn nitrogen_boron_and_lime_follow_the_settings_too() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let typed = "/nitrogen?low_kg_per_ha=150&high_kg_per_ha=180";
    let lime = "/lime?target_ph=6.4&value_percent=100";
    assert!(field.words(typed).await.contains("150 to 180 kg/ha"));
    assert!(field.words(lime).await.contains("As pure calcium carbonate for 20 cm here: 8.2 t/ha"));
    like(&field, "lb_per_acre", "element").await;
    // 1 kg/ha is 0.8922 lb/acre, by the international pound and acre.
    let seen = field.words(typed).await;
    assert!(seen.contains("134 to 161 lb/acre") && seen.contains("÷ 1.12085"), "{seen}");
    // Vegetables of no list bear a pound of boron to the acre.
    assert!(field.words("/traces").await.contains("1 lb/acre, 11 g on this plot"), "{}", field.words("/traces").await);
    // EM 9585: 8,237 kg/ha of carbonate.
    let seen = field.words(lime).await;
    assert!(seen.contains("for 20 cm here: 7,349 lb/acre") && seen.contains("2.8 ton/acre"), "as printed: {seen}");
    like(&field, "grams_on_plot", "element").await;
    // On 100 m² a kilogram to the hectare is ten grams.
    assert!(field.words(typed).await.contains("1500 to 1800 g"), "{}", field.words(typed).await);
    assert!(field.words(lime).await.contains("for 20 cm here: 82.4 kg on this plot"), "{}", field.words(lime).await);
}

#[tokio::test]
async fn a_printed_ratio_is_typed_checked_and_never_stands() {
    let lines = [
        ("ph", "ph_water", "6.2", "pH"),
        ("Ca", "nh4oac_7", "2005", "mg/kg"),
        ("Mg", "nh4oac_7", "243", "mg/kg"),
        ("ratio_Ca_Mg", "unstated", "8.2", "to 1"),
    ];
    let field = Field::tested(&lines, "open", &[]).await;
    let plot = field.page("").await;
    assert!(!words(&plot).contains("Cannot be read"), "{}", words(&plot));
    let sampling = links(&plot, "/samplings/").remove(0);
    let (status, page) = field.ask("GET", &format!("{sampling}/check"), String::new()).await;
    let seen = words(&page);
    // 2005 ÷ 243 is 8.25 by weight; 10.0 and 2.0 cmol(+)/kg make 5.0.
    assert!(status == StatusCode::OK && seen.contains("The printed ratio is by weight"), "{seen}");
    let (_, sheet) = field.ask("GET", &sampling, String::new()).await;
    assert!(words(&sheet).contains("A ratio is no level"), "{}", words(&sheet));
    let next = field.words("/next").await;
    assert!(!next.contains("to magnesium, ratio"), "{next}");
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
        ("ph", "ph_water", "5.83", "pH"),
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
    // SCMA table App. 1.1: pH with one decimal.
    assert!(seen.contains("Printed finer than is recommended: pH 5.83 (1 decimal)."), "{seen}");
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

/// A steward who reads pounds an acre and oxides, on a garden with two tests of one plot.
async fn twice_tested(first: &str, second: &str) -> Field {
    twice_tested_in((first, "mg/kg"), (second, "mg/kg")).await
}

/// The same with the unit that each sheet prints potassium in.
async fn twice_tested_in(first: (&str, &str), second: (&str, &str)) -> Field {
    let leak = |text: &str| -> &'static str { Box::leak(text.to_owned().into_boxed_str()) };
    let lines = |(printed, unit): (&str, &str)| {
        [("ph", "ph_water", "6.4", "pH"), ("K", "mehlich3_icp", leak(printed), leak(unit))]
    };
    let field = Field::tested(&lines(first), "open", &[("sampled_on", "2022-03-10")]).await;
    let site = field.app.plot(&field.ada, field.plot).await.unwrap().site;
    let rows: Vec<String> = lines(second)
        .iter()
        .enumerate()
        .flat_map(|(n, (analyte, method, printed, unit))| {
            [("analyte", analyte), ("method", method), ("printed", printed), ("unit", unit), ("fixed", &"1")]
                .map(|(name, value)| format!("rows.{n}.{name}={}", glebe::web::view::in_address(value)))
        })
        .collect();
    let head =
        format!("plots={}&sampled_on=2026-03-10&depth_top_cm=0&depth_bottom_cm=20&lab=Lab+North&lines=2", field.plot);
    let body = format!("{head}&{}", rows.join("&"));
    let (status, text) = field.ask("POST", &format!("/sites/{site}/samplings"), body).await;
    assert_eq!(status, StatusCode::SEE_OTHER, "{text}");
    field
}

#[tokio::test]
async fn sentences_about_years_are_in_the_readers_unit() {
    let field = twice_tested("90", "40").await;
    let plain = field.words("/trend/K").await;
    assert!(plain.contains("from 90 mg/kg to 40 mg/kg"), "{plain}");
    assert!(plain.contains("The numbers behind") && plain.contains("Last found 40 mg/kg"), "{plain}");
    like(&field, "lb_per_acre", "oxide").await;
    // 2,860,000 kg/ha × 1.2046 ÷ 1.12085: 90 mg/kg are 277 lb/acre of K₂O, 40 are 123.
    let seen = field.words("/trend/K").await;
    assert!(seen.contains("from 277 lb/acre K₂O to 123 lb/acre K₂O"), "{seen}");
    assert!(seen.contains("Last found 123 lb/acre K₂O") && seen.contains("lb/acre K₂O a year"), "{seen}");
    assert!(!seen.contains("mg/kg"), "nothing is left in another unit: {seen}");
    let site = field.app.plot(&field.ada, field.plot).await.unwrap().site;
    let (_, review) = field.ask("GET", &format!("/sites/{site}/drift"), String::new()).await;
    assert!(review.contains("123\u{a0}lb/acre K₂O") && review.contains("2022: 277\u{a0}lb/acre K₂O"), "{review}");
    assert!(review.contains("from 277\u{a0}lb/acre K₂O to 123"), "{review}");
    assert!(words(&review).contains("in pounds an acre of the element, or of its oxide"), "{review}");
    let (_, pictures) = field.ask("GET", &format!("/sites/{site}/drift?view=small"), String::new()).await;
    assert!(pictures.contains("from 277\u{a0}lb/acre K₂O to 123"), "{pictures}");
    // The file for other programs stays in the unit that its own column names.
    let (_, csv) = field.ask("GET", &format!("/sites/{site}/drift.csv"), String::new()).await;
    assert!(csv.contains("mg/kg") && csv.contains(",40,") && !csv.contains("lb/acre"), "{csv}");
}

#[tokio::test]
async fn a_year_is_read_as_it_was_tested_whatever_the_newest_test_was() {
    // A lab that scoops, then one that weighs: 100 mg/L and 90 mg/kg of a loam of 1.43 g/cm³ to 20 cm.
    let field = twice_tested_in(("100", "mg/L"), ("90", "mg/kg")).await;
    let site = field.app.plot(&field.ada, field.plot).await.unwrap().site;
    let drift = async |view: &str| field.ask("GET", &format!("/sites/{site}/drift{view}"), String::new()).await.1;
    let plain = drift("").await;
    assert!(plain.contains("2022: 100\u{a0}mg/L, another") || plain.contains("2022: 100\u{a0}mg/L\""), "{plain}");
    assert!(plain.contains(">100\u{a0}mg/L</a>"), "a level in another unit than the row's bears it: {plain}");
    assert!(plain.contains("2026: 90\u{a0}mg/kg"), "{plain}");
    like(&field, "kg_per_ha", "element").await;
    // By the depth alone 100 × 20 × 0.1 = 200 kg/ha; by the soil's mass 90 × 2.86 = 257 kg/ha.
    let seen = drift("").await;
    assert!(seen.contains("2022: 200\u{a0}kg/ha") && seen.contains("2026: 257\u{a0}kg/ha"), "{seen}");
    like(&field, "lb_per_acre", "oxide").await;
    // 200 and 257.4 kg/ha × 1.2046 ÷ 1.12085.
    let seen = drift("").await;
    assert!(seen.contains("2022: 215\u{a0}lb/acre K₂O") && seen.contains("2026: 277\u{a0}lb/acre K₂O"), "{seen}");
    // The file says of each year what its number is in.
    let csv = drift(".csv").await;
    let mut lines = csv.lines();
    let heads: Vec<&str> = lines.next().unwrap().split(',').collect();
    let line = lines.find(|line| line.contains(",K,")).unwrap();
    let cells: Vec<&str> = line.split(',').collect();
    // What parts the runs is said in words, with commas, before the years.
    let cell = |head: &str| {
        let from_the_end = heads.iter().rev().position(|other| *other == head).unwrap_or_else(|| panic!("{head}"));
        cells[cells.len() - 1 - from_the_end]
    };
    assert_eq!((cell("found_2022"), cell("unit_2022")), ("100", "mg/L"));
    assert_eq!((cell("found_2026"), cell("unit_2026")), ("90", "mg/kg"));
}

#[tokio::test]
async fn only_limits_are_limits_in_any_unit() {
    let field = twice_tested("<30", "<20").await;
    like(&field, "kg_per_ha", "element").await;
    // 30 mg/kg × 2.86 = 86 kg/ha.
    let seen = field.words("/trend/K").await;
    assert!(
        seen.contains("below the lab's limit (&#60;86 kg/ha)")
            || seen.contains("below the lab&#39;s limit (&#60;86 kg/ha)"),
        "{seen}"
    );
}

#[tokio::test]
async fn what_next_season_asks_and_the_caps_are_in_the_readers_unit() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let site = field.app.plot(&field.ada, field.plot).await.unwrap().site;
    let ask = async |path: String| words(&field.ask("GET", &path, String::new()).await.1);
    let plain = ask(format!("/sites/{site}/next")).await;
    assert!(plain.contains("potassium") && !plain.contains("K₂O"), "{plain}");
    like(&field, "lb_per_acre", "oxide").await;
    let seen = ask(format!("/sites/{site}/next")).await;
    assert!(seen.contains("potassium as K₂O") && seen.contains("lb/acre K₂O"), "{seen}");
    assert!(!seen.contains("kg/ha") && !seen.contains("g/m²"), "{seen}");
    // A pound of boron where no crop is named, Carolina's 6 lb of zinc.
    let seen = field.words("/applications").await;
    assert!(seen.contains("Boron, no crop named: at most 1 lb/acre"), "{seen}");
    assert!(seen.contains("Zinc, broadcast: at most 6 lb/acre"), "{seen}");
    let (shown, worked) = seen.split_once("How this was worked out").unwrap();
    assert!(!shown.contains("kg/ha"), "{shown}");
    assert!(worked.contains("Still left, as you read it 1.0"), "{worked}");
    let next = field.words("/next").await;
    // Nothing that has a limit was put on here: the page names none.
    assert!(next.contains("lb/acre MgO") && !next.contains("kg/ha"), "{next}");
    let years = field.words("/years").await;
    assert!(years.contains("Potassium as K₂O") || years.contains("K₂O"), "{years}");
    // The working goes down to the printed cell; what is said does not.
    let said = years.split("How this comes about").next().unwrap();
    assert!(!said.contains("mg/kg"), "{years}");
}
