//! What a person types on the pages about lime, salts, nitrogen, trace elements and metals, and
//! what the ground is used for. Figures are checked against what the publishers print.

use super::opinion_pages::{Field, Line, SOUR, words};
use axum::http::StatusCode;
use glebe::{
    agronomy::{
        guideline::LandUse,
        lime::{FINENESS_SCHEMES, UNREAD_SCHEMES},
    },
    app::{applications::ApplicationForm, plots::PlotForm, reports, seasons::SeasonForm},
};
use jiff::civil::date;
use std::collections::BTreeMap;

/// A page that says what is wrong with what was typed, with its markup.
async fn refused(field: &Field, path: &str) -> String {
    let (status, page) = field.ask("GET", &format!("/plots/{}{path}", field.plot), String::new()).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "{path}: {}", words(&page));
    page
}

/// Crops of the season that today lies in.
async fn grow(field: &Field, crops: &[&str]) {
    let site = field.app.plot(&field.ada, field.plot).await.unwrap().site;
    let form = SeasonForm {
        name: "2026".into(),
        starts_on: "2026-01-01".into(),
        ends_on: "2026-12-31".into(),
        ..SeasonForm::default()
    };
    let season = field.app.add_season(&field.ada, site, &form).await.unwrap();
    let crops = BTreeMap::from([(field.plot, crops.iter().map(|crop| (*crop).to_owned()).collect())]);
    field.app.set_crops(&field.ada, season, &crops).await.unwrap();
}

/// Puts something of the catalogue on the plot.
async fn put_on(field: &Field, catalogue: &str, on: &str, grams: &str) {
    field.app.seed_catalogue(&field.ada, date(2020, 1, 1)).await.unwrap();
    let rows = field.app.amendments(&field.ada, false).await.unwrap();
    let row = rows.iter().find(|row| row.catalogue.as_deref() == Some(catalogue)).expect("in the catalogue");
    let form = ApplicationForm {
        plot: field.plot.to_string(),
        amendment: row.id.to_string(),
        applied_on: on.into(),
        mass_g: grams.into(),
        ..ApplicationForm::default()
    };
    field.app.record_application(&field.ada, &form).await.unwrap();
}

#[tokio::test]
async fn a_lime_is_weighed_by_its_oxide_its_water_and_its_sieves() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    // 50 % CaO is 89.2 % of CaCO₃; × 0.86 fine by New York's sieves × 0.9 dry = 69.1 %:
    // 82.37 kg of pure carbonate on 100 m² (EM 9585, see the other test) ÷ 0.691 = 119 kg.
    let sieves = "sieve_1=70&sieve_2=15&sieve_3=10&sieve_4=5";
    let typed = "target_ph=6.4&value_percent=50&value_as=oxide&moisture_percent=10&fineness=new_york";
    let page = field.page(&format!("/lime?{typed}&{sieves}")).await;
    let seen = words(&page);
    assert!(seen.contains("Lime of 50 % as CaO: 119 kg on this plot"), "{seen}");
    assert!(seen.contains("finer than 100 mesh counts 1"), "the classes are named: {seen}");
    // Two schemes of which only the ends were read: nothing is worked out by them, and it is said why.
    for scheme in UNREAD_SCHEMES {
        assert!(FINENESS_SCHEMES.iter().all(|read| read.source.publisher != scheme.source.publisher));
        assert!(seen.contains(scheme.name) && seen.contains(&scheme.why()), "{}: {seen}", scheme.name);
        assert!(page.contains(scheme.source.address), "{}", scheme.name);
    }
    assert!(page.contains("name=\"sieve_2\"") && page.contains("value=\"15\""), "what was typed stays: {seen}");
    // The same lime by what passes the sieves.
    let passing = field.words(&format!("/lime?{typed}&sieve_as=passing&sieve_1=70&sieve_2=85&sieve_3=95")).await;
    assert!(passing.contains("119 kg on this plot"), "{passing}");
    // Twice the depth, twice the lime.
    let deep = field.words("/lime?target_ph=6.4&value_percent=100&depth_cm=40").await;
    assert!(deep.contains("165 kg on this plot") && deep.contains("for 40 cm here"), "{deep}");
    for (path, name) in [
        ("/lime?value_percent=90&fineness=scma", "sieve_1"),
        ("/lime?value_percent=90&fineness=scma&sieve_1=60&sieve_2=60", "sieve_1"),
        ("/lime?value_percent=90&fineness=scma&sieve_as=passing&sieve_1=90&sieve_2=60", "sieve_1"),
        ("/lime?value_percent=300", "value_percent"),
        ("/lime?value_percent=1600&value_as=effective&moisture_percent=5", "moisture_percent"),
        ("/lime?tolerable_aluminium=-1", "tolerable_aluminium"),
        ("/lime?given_t_per_ha=lots", "given_t_per_ha"),
    ] {
        let page = refused(&field, path).await;
        assert!(page.contains(&format!("id=\"{name}-problem\"")), "{path}: {}", words(&page));
    }
}

#[tokio::test]
async fn the_lime_page_puts_one_answer_first_and_hides_no_other() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let page = field.page("/lime?target_ph=6.4&value_percent=100").await;
    let seen = words(&page);
    let (first, others) = seen.split_once(": what is asked for, and why it comes after").expect("others");
    assert!(first.contains("Oregon, Sikora buffer") && first.contains("Why this one first."), "{first}");
    assert!(first.contains("The laboratory measured the Sikora buffer"), "{first}");
    // Beside it only the British factor answers; North Carolina's buffer was not measured, and that is said.
    assert!(first.contains("The other method asks for"), "{first}");
    assert!(
        others.contains("United Kingdom, pH and soil") && others.contains("North Carolina, Mehlich buffer"),
        "{others}"
    );
    assert!(
        others.contains("Why after: ") && others.contains("does not see how much acid this soil holds back"),
        "{others}"
    );
    assert!(page.find("Oregon, Sikora buffer") < page.find("United Kingdom, pH and soil"));
}

#[tokio::test]
async fn lime_given_since_the_sample_comes_off_and_each_method_says_what_it_reckons_in() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let seen = field.words("/lime?target_ph=6.4&value_percent=100&given_t_per_ha=2&given_months=0").await;
    // 8,237 − 2,000 kg/ha on 100 m².
    assert!(seen.contains("62.4 kg on this plot") && seen.contains("went on after this sample"), "{seen}");
    let before = field.words("/lime?target_ph=6.4&value_percent=100&given_t_per_ha=2&given_months=9").await;
    assert!(before.contains("82.4 kg on this plot"), "lime before the sample shows in its pH: {before}");
    for terms in [
        "short tons (2,000 lb) per acre of 100-score lime, for 6 in (15 cm) of soil",
        "the strength of the lime and the depth not stated where it was read",
        "It reckons in tonnes per hectare for 10 cm of soil; the strength of the lime not stated",
        "kilograms of calcium carbonate per hectare, for 10 cm of soil at 1.0 g/cm³",
    ] {
        assert!(seen.contains(terms), "{terms}: {seen}");
    }
    // On record: 20 kg of ground limestone a week after the sample.
    put_on(&field, "ground_limestone", "2026-03-17", "20000").await;
    let seen = field.words("/lime?target_ph=6.4&value_percent=100&product=").await;
    assert!(seen.contains("Lime on the ground already") && seen.contains("after the sample"), "{seen}");
    assert!(!seen.contains("82.4 kg on this plot") && seen.contains("went on after this sample"), "{seen}");
}

#[tokio::test]
async fn salts_in_a_tunnel_over_the_years_and_what_crops_keep() {
    let lines =
        [("ec", "ec_1_5", "0.5", "dS/m"), ("clay", "particle_size", "30", "%"), ("ph", "ph_water", "6.5", "pH")];
    let field = Field::tested(&lines, "tunnel", &[]).await;
    grow(&field, &["snap_bean", "kale", "zucchini"]).await;
    let seen = field.words("/salts").await;
    // SCMA table 3.1, 20 to 40 % of clay: 0.45 to 0.76 is for tolerant plants.
    assert!(seen.contains("fit for tolerant plants"), "{seen}");
    // Table 14.2 puts the paste at 2.103 to 3.25; beans lose 19 % for each dS/m beyond 1.0.
    assert!(seen.contains("Snap bean (French bean): 57 % to 79 % , by estimates of the paste"), "{seen}");
    assert!(
        seen.contains("Kale was rated in words only") && seen.contains("Courgette (zucchini, summer squash): 100 %"),
        "{seen}"
    );
    assert!(seen.contains("asparagus 4.1 dS/m 2 %"), "the whole table is there: {seen}");
    // A year before it was half as salty.
    let sampling = reports::SamplingForm {
        plots: vec![field.plot.to_string()],
        sampled_on: "2025-03-10".into(),
        depth_bottom_cm: "20".into(),
        ..reports::SamplingForm::default()
    };
    let row = |analyte: &str, method: &str, printed: &str, unit: &str| reports::CellForm {
        analyte: analyte.into(),
        method: method.into(),
        printed: printed.into(),
        unit: unit.into(),
        ..reports::CellForm::default()
    };
    let report = reports::ReportForm {
        lab: "Lab North".into(),
        rows: vec![row("ec", "ec_1_5", "0.2", "dS/m")],
        ..reports::ReportForm::default()
    };
    field.app.save_sampling_with_report(&field.ada, &sampling, &report).await.unwrap();
    let seen = field.words("/salts").await;
    assert!(seen.contains("Salts are rising under cover: from 0.2 to 0.5 dS/m"), "{seen}");
}

#[tokio::test]
async fn gypsum_asks_for_purity_in_per_cent_and_is_a_range() {
    let lines = [("ph", "ph_water", "6.5", "pH")];
    let field = Field::tested(&lines, "open", &[]).await;
    let seen = field.words("/salts").await;
    assert!(seen.contains("No gypsum is reckoned"), "{seen}");
    let page = refused(&field, "/salts?capacity=20&esp_from=20&esp_to=10&purity=0.9").await;
    assert!(page.contains("id=\"purity-problem\"") && page.contains("looks like a fraction"), "{}", words(&page));
    // Oster, Shainberg & Abrol: 8.6 × 1.1 × 0.15 m × 1.43 × 20 × 10 ÷ 90 = 4.51 t/ha, 451 g/m²; with
    // the factor of 1.3 instead, 533.
    let seen = field.words("/salts?capacity=20&esp_from=20&esp_to=10&purity=90&depth_cm=15").await;
    assert!(seen.contains("45.1 kg to 53.3 kg on this plot"), "{seen}");
    assert!(seen.contains("no rain arrives") && seen.contains("Gypsum is not lime"), "{seen}");
    let none = field.words("/salts?capacity=20&esp_from=4&esp_to=10&purity=90").await;
    assert!(none.contains("No gypsum: sodium is at its aim"), "{none}");
    // Weiner, Example 6.8, supply B: 108, 33 and 63 mg/L have a ratio of 1.36.
    let seen = field.words("/salts?calcium=108&magnesium=33&sodium=63").await;
    assert!(seen.contains("Sodium adsorption ratio: 1.4"), "{seen}");
    let page = refused(&field, "/salts?calcium=108").await;
    assert!(page.contains("id=\"sodium-problem\""), "{}", words(&page));
}

#[tokio::test]
async fn nitrogen_takes_a_cover_crop_by_its_nitrogen_and_every_nitrate_test() {
    let lines: [Line; 3] = [
        ("organic_matter", "loss_on_ignition", "8", "%"),
        ("nitrate_n", "kcl_extract", "15.5", "mg/kg"),
        ("ph", "ph_water", "6.5", "pH"),
    ];
    let field = Field::tested(&lines, "open", &[("depth_bottom_cm", "30")]).await;
    grow(&field, &["leek"]).await;
    // A general rate before planting is no measure of what a leek takes.
    let asked = field.words("/nitrogen").await;
    assert!(asked.contains("What the crop takes is not known"));
    // PNW 636: 75:25 cereal to legume is near zero; said where the mix is typed.
    assert!(
        asked.contains("three parts of cereal to one of legume comes to near nothing. (Pacific Northwest"),
        "{asked}"
    );
    let bare = field.words("/nitrogen?low_kg_per_ha=150&high_kg_per_ha=200").await;
    assert!(bare.contains("8 % was found; 3 % is credited"), "{bare}");
    // Rutgers prints 16–20 for 80 lb/acre (89.7 kg/ha); 15.5 is rounded into it. Ohio: 45 lb less.
    let seen = field.words("/nitrogen?base_kg_per_ha=112&bushels_per_acre=125&high_kg_per_ha=180").await;
    assert!(seen.contains("Rutgers , for sweet corn on manured soil: 16–20; 90 kg/ha beside the crop"), "{seen}");
    assert!(seen.contains("Ohio State , for corn with a base rate: 16–20; 62 kg/ha"), "{seen}");
    assert!(
        seen.contains("below 20: side-dressing may pay") && seen.contains("Penn State , for grain corn: below 21"),
        "{seen}"
    );
    // PNW 636: 2.5 % of nitrogen gives 17.5 lb per ton, 8.75 kg per tonne: 4 t/ha give 35 kg/ha.
    let seen = field.words("/nitrogen?cover_t_per_ha=4&cover_percent=2.5&low_kg_per_ha=150&high_kg_per_ha=150").await;
    assert!(seen.contains("From the cover crop: 35 kg/ha"), "{seen}");
    let page = refused(&field, "/nitrogen?cover_t_per_ha=4").await;
    assert!(page.contains("id=\"cover_percent-problem\""), "{}", words(&page));
    // Ten tonnes to the hectare of cattle manure last week; a decay series, not a share of the total.
    put_on(&field, "cattle_manure", "2026-03-14", "100000").await;
    let seen = field.words("/nitrogen?low_kg_per_ha=200&high_kg_per_ha=200").await;
    assert!(seen.contains("From manure of cattle") && seen.contains("all of it is counted as organic"), "{seen}");
    // One figure is never told as one.
    let lead = seen.split("of nitrogen.").next().unwrap();
    assert!(lead.ends_with("kg/ha ") && lead.contains(" to "), "{lead}");
}

#[tokio::test]
async fn trace_elements_stand_beside_their_authors_and_boron_under_its_ceiling() {
    let lines: [Line; 5] = [
        ("ph", "ph_water", "7.0", "pH"),
        ("Mn", "mehlich3_icp", "10", "mg/kg"),
        ("Zn", "dtpa", "0.5", "mg/kg"),
        ("B", "modified_morgan", "0.3", "mg/kg"),
        ("B", "hot_water", "0.4", "mg/kg"),
    ];
    let field = Field::tested(&lines, "open", &[]).await;
    grow(&field, &["beetroot", "snap_bean"]).await;
    let page = field.page("/traces").await;
    let seen = words(&page);
    // Delaware: none for beans, though beet alone takes 3 lb/acre.
    assert!(seen.contains("No boron in this season.") && seen.contains("decides: snap bean"), "{seen}");
    // Rutgers: 101.7 + 3.75 × 10 − 15.2 × 7.0 = 32.8.
    assert!(seen.contains("Rutgers: 33 , enough"), "{seen}");
    assert!(seen.contains("North Carolina’s index asks for manganese by volume"), "{seen}");
    assert!(seen.contains("Short below 0.6 to 1 mg/kg: short"), "{seen}");
    assert!(seen.contains("0.1 to 0.5 mg/kg: usually found (context only)"), "{seen}");
    assert!(seen.contains("known only from memory, and switched off"), "{seen}");
    let with = field.page("/traces?memory=on").await;
    assert!(with.contains("unverified\">from memory, unverified"), "{}", words(&with));
    assert!(field.page("").await.contains("/traces\""), "the plot's page leads here");
    let untested = Field::tested(&[("ph", "ph_water", "6.8", "pH")], "open", &[]).await.words("/traces").await;
    assert!(untested.contains("No trace element was tested here") && untested.contains("1.1 kg/ha"), "{untested}");
}

#[tokio::test]
async fn metals_are_held_against_the_values_of_one_place() {
    let lines = [("Pb", "total", "250", "mg/kg"), ("ph", "ph_water", "6.8", "pH")];
    let field = Field::tested(&lines, "open", &[]).await;
    let page = field.page("/contaminants?place=European+Union").await;
    let seen = words(&page);
    // Directive 86/278: 50 to 300 mg/kg of lead.
    assert!(seen.contains("lies within the 50 to 300 mg/kg of European Union"), "{seen}");
    assert!(
        seen.contains("United States, ") && seen.contains("for United States"),
        "others are listed with the reason: {seen}"
    );
    assert!(page.contains("<option value=\"European Union\" selected>"), "{seen}");
    let extract = Field::tested(&[("Pb", "modified_morgan", "30", "mg/kg")], "open", &[]).await;
    let seen = extract.words("/contaminants").await;
    assert!(
        seen.contains("above what this laboratory usually finds") && seen.contains("Ask for total metals"),
        "{seen}"
    );
    for seen in [seen, field.words("/contaminants").await] {
        assert!(!seen.to_lowercase().contains("safe"), "{seen}");
    }
}

#[tokio::test]
async fn what_was_brought_stands_beside_the_loads_that_rules_print() {
    let field = Field::tested(&[("ph", "ph_water", "6.8", "pH")], "open", &[]).await;
    let seen = field.words("/contaminants").await;
    assert!(seen.contains("Nothing that was put on here names such a metal"), "{seen}");
    // 80 g of copper sulfate (25 % Cu, as the catalogue has it) on 100 m² is 2.00 kg/ha.
    put_on(&field, "copper_sulfate", "2026-03-12", "80").await;
    let seen = field.words("/contaminants").await;
    assert!(seen.contains("2.00 kg/ha of copper went on by the analyses"), "{seen}");
    // Regulation (EU) 2018/1981: 28 kg/ha in seven years; Directive 86/278: 12 a year; 40 CFR 503.13: 1,500 ever.
    for part in
        ["28.0 kg/ha in 7 years, 4.00 kg/ha a year", "12.0 kg/ha a year as a mean of 10 years", "1500 kg/ha ever"]
    {
        assert!(seen.contains(part), "{part}: {seen}");
    }
    assert!(!seen.contains("Beyond it."), "{seen}");
    let seen = field.words("/contaminants?place=United+States").await;
    assert!(seen.contains("1500 kg/ha ever") && !seen.contains("in 7 years"), "{seen}");
    // 2 kg of triple superphosphate (46 % P₂O₅) on 100 m²: 92 kg/ha, in a record of less than a year.
    assert!(!field.words("/ledger").await.contains("Phosphate piles up."));
    put_on(&field, "triple_superphosphate", "2026-03-12", "2000").await;
    let seen = field.words("/ledger").await;
    assert!(seen.contains("Phosphate piles up.") && seen.contains("92 kg/ha a year more phosphate"), "{seen}");
    // Burkhart 2002: an inch of compost, 441-1345-1559 lb/acre where 100 each was advised.
    let rows = field.app.amendments(&field.ada, false).await.unwrap();
    let compost = rows.iter().find(|row| row.catalogue.as_deref() == Some("compost")).unwrap();
    let (_, page) = field.ask("GET", &format!("/amendments/{}", compost.id), String::new()).await;
    assert!(words(&page).contains("494 kg N, 1508 kg P₂O₅ and 1747 kg K₂O per hectare, where 112 of each"), "{page}");
}

#[tokio::test]
async fn what_grows_decides_what_the_limits_are_read_for() {
    let field = Field::tested(&[("ph", "ph_water", "6.0", "pH"), ("P", "morgan", "4", "mg/L")], "open", &[]).await;
    let plot = field.app.plot(&field.ada, field.plot).await.unwrap();
    assert_eq!(plot.land_use, LandUse::Vegetables);
    let form = PlotForm { land_use: "grass".into(), ..PlotForm::from(&plot) };
    field.app.edit_plot(&field.ada, field.plot, &form).await.unwrap();
    let seen = field.words("").await;
    assert!(seen.contains("Limits are read for grass, as set for the plot"), "{seen}");
    let page = field.page("/opinions").await;
    assert!(page.contains("<option value=\"grass\" selected>"), "{}", words(&page));
    let chosen = field.page("/opinions?use=fruit").await;
    assert!(chosen.contains("<option value=\"fruit\" selected>"), "{}", words(&chosen));
    grow(&field, &["barley", "grass_ley"]).await;
    let seen = field.words("").await;
    assert!(seen.contains("Limits are read for arable crops, by the crops on record"), "{seen}");
    let odd = PlotForm { land_use: "lawn".into(), revision: 2, ..form };
    let why = field.app.edit_plot(&field.ada, field.plot, &odd).await.unwrap_err();
    assert!(format!("{why:?}").contains("land_use"), "{why:?}");
}
