//! Odd records of the years, each taken in, counted as it should be and said: what a page says
//! of them, by the page itself.

use super::{
    ground_pages::Garden,
    store::{plot_form, site_form},
};
use axum::http::{Method, StatusCode};
use glebe::{
    agronomy::{analyte::Analyte, drift::Finding, element::Element},
    app::{
        amendments::AmendmentRow,
        applications::ApplicationForm,
        harvests::HarvestForm,
        plots::{PartForm, PlotForm, SiteForm, SplitForm},
        reports::{CellForm, ReportForm, SamplingForm},
        seasons::SeasonForm,
    },
    ids::{PlotId, SamplingId, SiteId},
};

const POTASSIUM: Analyte = Analyte::Element(Element::K);

/// A bed of 20 m² with seasons from 2020 to 2025.
async fn bed(began_on: &str) -> (Garden, SiteId, PlotId) {
    let garden = Garden::new().await;
    let (app, ada) = (&garden.app, &garden.ada);
    let site = SiteForm { guideline: "rutgers_mehlich3".into(), ..site_form("Home") };
    let site = app.add_site(ada, &site).await.unwrap();
    let form = PlotForm { began_on: began_on.into(), ..plot_form("A1", "20") };
    let plot = app.add_plot(ada, site, &form).await.unwrap();
    for year in 2020..=2025 {
        let form =
            SeasonForm { name: year.to_string(), starts_on: format!("{year}-01-01"), ends_on: format!("{year}-12-31") };
        app.add_season(ada, site, &form).await.unwrap();
    }
    (garden, site, plot)
}

/// Potassium by Mehlich-3 on a day; an empty depth is not written down.
async fn test(garden: &Garden, plot: PlotId, on: &str, depth_cm: &str, printed: &str) -> SamplingId {
    let sampling = SamplingForm {
        plots: vec![plot.to_string()],
        sampled_on: on.into(),
        depth_bottom_cm: depth_cm.into(),
        ..SamplingForm::default()
    };
    let cell = CellForm {
        analyte: "K".into(),
        method: "mehlich3_icp".into(),
        printed: printed.into(),
        unit: "mg/kg".into(),
        ..CellForm::default()
    };
    let report = ReportForm { lab: "River Lab".into(), rows: vec![cell], ..ReportForm::default() };
    garden.app.save_sampling_with_report(&garden.ada, &sampling, &report).await.unwrap();
    garden.app.samplings(&garden.ada, plot).await.unwrap().into_iter().map(|one| one.row.id).max().unwrap()
}

async fn trend(garden: &Garden, plot: PlotId) -> String {
    garden.get(&format!("/plots/{plot}/trend/K")).await.replace('\u{a0}', " ")
}

async fn potash(garden: &Garden) -> AmendmentRow {
    let (app, ada) = (&garden.app, &garden.ada);
    app.seed_catalogue(ada, "2019-01-01".parse().unwrap()).await.unwrap();
    let all = app.amendments(ada, false).await.unwrap();
    let found = all.into_iter().find(|row| row.amendment.name.starts_with("Sulfate of potash"));
    found.expect("sulfate of potash")
}

async fn put_on(garden: &Garden, plot: PlotId, on: &str, grams: &str) {
    let form = ApplicationForm {
        plot: plot.to_string(),
        applied_on: on.into(),
        amendment: potash(garden).await.id.to_string(),
        mass_g: grams.into(),
        ..ApplicationForm::default()
    };
    garden.app.record_application(&garden.ada, &form).await.unwrap();
}

/// Everything that a person may open about a plot and its site.
async fn every_page_opens(garden: &Garden, site: SiteId, plot: PlotId) {
    for page in
        ["", "/story", "/summary", "/trend/K", "/trend/K?reading=net", "/ledger", "/response", "/next", "/years"]
    {
        garden.get(&format!("/plots/{plot}{page}")).await;
    }
    for page in ["", "/drift", "/drift.csv", "/summary", "/calendar", "/calibration"] {
        garden.get(&format!("/sites/{site}{page}")).await;
    }
}

#[tokio::test]
async fn two_tests_on_one_day_are_one_point() {
    let (garden, site, plot) = bed("").await;
    test(&garden, plot, "2020-03-01", "20", "120").await;
    test(&garden, plot, "2023-03-01", "20", "100").await;
    test(&garden, plot, "2023-03-01", "20", "110").await;
    let page = trend(&garden, plot).await;
    assert!(page.contains("mean of 2 tests"), "{page}");
    let found = garden.app.plot_trend(&garden.ada, plot, POTASSIUM).await.unwrap();
    let points = &found.methods[0].segments[0].points;
    assert_eq!((points.len(), points[1].replicates, found.verdict.n), (2, 2, 2));
    assert!((points[1].value - (100f64 * 110.0).sqrt()).abs() < 1e-9 || (points[1].value - 105.0).abs() < 1e-9);
    every_page_opens(&garden, site, plot).await;
}

#[tokio::test]
async fn a_test_from_before_the_plot_is_kept_and_asked_about() {
    let (garden, site, plot) = bed("2022-01-01").await;
    let before = test(&garden, plot, "2020-03-01", "20", "120").await;
    let since = test(&garden, plot, "2023-03-01", "20", "100").await;
    let page = garden.get(&format!("/samplings/{before}")).await.replace('\u{a0}', " ");
    assert!(page.contains("Taken before the plot was made.") && page.contains("A1 began on 1 Jan 2022"), "{page}");
    assert!(!garden.get(&format!("/samplings/{since}")).await.contains("Taken before"));
    let found = garden.app.plot_trend(&garden.ada, plot, POTASSIUM).await.unwrap();
    assert_eq!(found.verdict.n, 2, "the ground was there before its name");
    // What is done to a plot that does not exist yet is refused, by its field.
    let harvest = "crop=carrot&fresh_mass_kg=5&harvested_on=2021-03-20";
    let page = garden.refused(&format!("/plots/{plot}/harvests"), harvest).await;
    assert!(page.contains("did not exist on this day"), "{page}");
    every_page_opens(&garden, site, plot).await;
}

#[tokio::test]
async fn a_sampling_without_a_depth_is_said_to_have_none_and_joins_no_other() {
    let (garden, site, plot) = bed("").await;
    test(&garden, plot, "2020-03-01", "20", "120").await;
    let bare = test(&garden, plot, "2023-03-01", "", "100").await;
    let page = garden.get(&format!("/samplings/{bare}")).await;
    assert!(page.contains("depth not written down, so it is compared with no test of a known depth"), "{page}");
    let page = trend(&garden, plot).await;
    assert!(page.contains("no two tests can be compared"), "{page}");
    assert!(page.contains("No line is drawn across it"), "{page}");
    let story = garden.get(&format!("/plots/{plot}/story")).await;
    assert!(story.contains("depth not written down"), "{story}");
    every_page_opens(&garden, site, plot).await;
}

#[tokio::test]
async fn values_that_are_all_below_the_limit_show_no_change() {
    let (garden, site, plot) = bed("").await;
    for year in [2020, 2021, 2022, 2023] {
        test(&garden, plot, &format!("{year}-03-01"), "20", "<10").await;
    }
    let page = trend(&garden, plot).await;
    assert!(page.contains("every test is below the lab&#39;s limit (&#60;10 mg/kg); no change can be read"), "{page}");
    let found = garden.app.plot_trend(&garden.ada, plot, POTASSIUM).await.unwrap();
    assert_eq!((found.verdict.finding, found.slope), (Finding::OnlyLimits, None));
    every_page_opens(&garden, site, plot).await;
}

#[tokio::test]
async fn a_single_test_says_that_a_second_is_needed() {
    let (garden, site, plot) = bed("").await;
    test(&garden, plot, "2023-03-01", "20", "100").await;
    let page = trend(&garden, plot).await;
    assert!(page.contains("one test only; a second is needed"), "{page}");
    every_page_opens(&garden, site, plot).await;
}

#[tokio::test]
async fn a_plot_split_in_the_middle_keeps_its_tests_and_its_share_of_what_was_put_on() {
    let (garden, site, plot) = bed("").await;
    test(&garden, plot, "2020-03-01", "20", "120").await;
    put_on(&garden, plot, "2020-04-01", "1000").await;
    let parts = [("A1a", "5"), ("A1b", "15")].map(|(code, area_m2)| PartForm {
        name: String::new(),
        code: code.into(),
        area_m2: area_m2.into(),
    });
    let form = SplitForm { took_place_on: "2022-06-10".into(), parts: parts.to_vec() };
    let made = garden.app.split_plot(&garden.ada, plot, &form).await.unwrap();
    test(&garden, made[0], "2024-03-01", "20", "60").await;
    let found = garden.app.plot_trend(&garden.ada, made[0], POTASSIUM).await.unwrap();
    assert_eq!(found.verdict.n, 2, "one before the split and one after");
    assert_eq!(garden.app.plot_trend(&garden.ada, made[1], POTASSIUM).await.unwrap().verdict.n, 1);
    // A quarter of the ground has a quarter of the product: as much on a hectare as the whole.
    let brought = async |id: PlotId| {
        let ledger = garden.app.plot_ledger(&garden.ada, id).await.unwrap().ledger;
        let line = |season: &glebe::agronomy::balance::SeasonAccount| {
            season.lines.iter().find(|line| line.element == Element::K).unwrap().brought.known.mid
        };
        ledger.seasons.iter().map(line).sum::<f64>()
    };
    let (whole, part) = (brought(plot).await, brought(made[0]).await);
    assert!(whole > 0.0 && (whole - part).abs() < 1e-9, "{whole} and {part} kg/ha");
    let page = garden.get(&format!("/plots/{}/story", made[0])).await.replace('\u{a0}', " ");
    assert!(page.contains("on A1 then") && page.contains("split off, on 10 Jun 2022"), "{page}");
    for id in [plot, made[0], made[1]] {
        every_page_opens(&garden, site, id).await;
    }
}

#[tokio::test]
async fn what_is_dated_after_a_test_counts_after_it() {
    let (garden, site, plot) = bed("").await;
    test(&garden, plot, "2023-03-01", "20", "100").await;
    let since = async || {
        let page = garden.get(&format!("/plots/{plot}/next")).await;
        page.split("Put on since the last test").nth(1).unwrap().contains("Sulfate of potash")
    };
    assert!(!since().await);
    put_on(&garden, plot, "2023-02-20", "300").await;
    assert!(!since().await, "what went on before the test is in it");
    put_on(&garden, plot, "2023-03-01", "200").await;
    assert!(since().await, "what went on that day or later is not");
    let page = garden.get(&format!("/plots/{plot}/ledger")).await;
    assert!(page.contains("on the day of a soil test, or after it, counts after that test"), "{page}");
    every_page_opens(&garden, site, plot).await;
}

#[tokio::test]
async fn an_offtake_larger_than_the_soil_holds_is_pointed_out() {
    let (garden, site, plot) = bed("").await;
    test(&garden, plot, "2020-03-01", "20", "40").await;
    let harvest = HarvestForm {
        plot: plot.to_string(),
        harvested_on: "2021-09-01".into(),
        crop: "carrot".into(),
        fresh_mass_kg: "400".into(),
        ..HarvestForm::default()
    };
    garden.app.record_harvest(&garden.ada, &harvest).await.unwrap();
    let page = garden.get(&format!("/plots/{plot}/ledger")).await.replace('\u{a0}', " ");
    assert!(page.contains("More left than was found.") && page.contains("more potassium left than came"), "{page}");
    assert!(page.contains("stocks that this test does not see"), "{page}");
    every_page_opens(&garden, site, plot).await;
    assert_eq!(
        garden.ask(Method::GET, &format!("/plots/{plot}/trend/nonsense"), "").await.status,
        StatusCode::NOT_FOUND
    );
}
