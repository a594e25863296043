//! Readings that must say the same wherever they are asked for: a plan's own season, a lab's own
//! error, an equation as printed, levels and needs by one mass of soil.

use super::{
    opinion_pages::{Field, SOUR, words},
    readings::{K, cell, sheet},
};
use axum::http::StatusCode;
use glebe::{
    agronomy::{
        carbonate::Signs,
        confidence::TestError,
        drift::ErrorSettings,
        element::Element,
        guideline::{self, Bounds, Gives, LandUse},
        lab_check::{Agreement, check},
        liking::{LevelUnit, Liking, Tested, Weighed},
        method::Method,
        need::By,
        quantity::{LayerConvention, MgPerKg},
        reading::Level,
        record::{CellKey, Report, Unit},
        working::{Figure, Origin, Working},
    },
    app::seasons::{PlanForm, SeasonForm},
    ids::SeasonId,
};
use std::collections::BTreeMap;

/// A season of one year with these crops on the plot.
async fn grow(field: &Field, year: u16, crops: &[&str]) -> SeasonId {
    let site = field.app.plot(&field.ada, field.plot).await.unwrap().site;
    let form = SeasonForm {
        name: year.to_string(),
        starts_on: format!("{year}-01-01"),
        ends_on: format!("{year}-12-31"),
        ..SeasonForm::default()
    };
    let season = field.app.add_season(&field.ada, site, &form).await.unwrap();
    let crops = BTreeMap::from([(field.plot, crops.iter().map(|crop| (*crop).to_owned()).collect())]);
    field.app.set_crops(&field.ada, season, &crops).await.unwrap();
    season
}

#[tokio::test]
async fn a_plan_reads_limits_for_what_its_own_season_grows() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    grow(&field, 2026, &["cabbage"]).await;
    let next = grow(&field, 2027, &["grass_ley"]).await;
    field.app.seed_catalogue(&field.ada, jiff::civil::date(2020, 1, 1)).await.unwrap();
    let products = field.app.amendments(&field.ada, false).await.unwrap();
    let form = PlanForm {
        name: "Ley".into(),
        guideline: "extension_sufficiency".into(),
        plots: vec![field.plot.to_string()],
        products: vec![products[0].id.to_string()],
        ..PlanForm::default()
    };
    let plan = field.app.draft_plan(&field.ada, next, &form).await.unwrap();
    let view = field.app.plan(&field.ada, plan).await.unwrap();
    assert_eq!(view.plots[0].standing.land_use, LandUse::Grass);
}

#[tokio::test]
async fn nitrogen_is_reckoned_for_what_grows_now() {
    let field = Field::tested(&SOUR, "open", &[]).await;
    let now = grow(&field, 2026, &[]).await;
    grow(&field, 2027, &["leek"]).await;
    let seen = field.words("/nitrogen").await;
    assert!(seen.contains("No crop is recorded for this season: leek of the next one is taken"), "{seen}");
    let crops = BTreeMap::from([(field.plot, vec!["cabbage".to_owned(), "lettuce_romaine".to_owned()])]);
    field.app.set_crops(&field.ada, now, &crops).await.unwrap();
    let path = format!("/plots/{}/nitrogen?hoped_t_per_ha=40", field.plot);
    let (status, page) = field.ask("GET", &path, String::new()).await;
    assert_eq!(status, StatusCode::UNPROCESSABLE_ENTITY, "two crops and one yield");
    assert!(page.contains("id=\"crop-problem\""), "{}", words(&page));
    let said = words(&page);
    let about = said.split("Published rates").nth(1).unwrap_or_default();
    assert!(about.contains("abbage") && !about.contains("Leek"), "{about}");
}

#[test]
fn each_lab_has_its_own_error() {
    let one = |key, text| vec![cell(key, K, Method::AmmoniumAcetate7, text, Unit::MgPerKg)];
    let mut sampling = sheet(vec![]);
    sampling.reports = [(1, "North", "100"), (2, "South", "160")]
        .map(|(key, lab, text)| Report { key, lab: lab.into(), determinations: one(key, text) })
        .into();
    let usual = ErrorSettings::default();
    assert_eq!(check(&sampling, &Signs::default(), &usual).pairs[0].agreement, Some(Agreement::Beyond));
    // Whichever side it is on: 1.96 × √(0.385² + 0.12² + 2 × 0.0915²) on the log scale is a ratio of 2.3.
    for lab in ["North", "South"] {
        let by_lab = BTreeMap::from([((K, lab.to_owned()), TestError::Relative(0.4))]);
        let errors = ErrorSettings { by_lab, ..ErrorSettings::default() };
        let pairs = check(&sampling, &Signs::default(), &errors).pairs;
        assert_eq!(pairs[0].agreement, Some(Agreement::AsSamplesDo), "{lab}");
    }
}

#[test]
fn points_of_an_index_are_never_offered_as_concentrations() {
    let set = guideline::find("north_carolina_index").unwrap();
    assert!(set.criteria.iter().any(|c| c.index.is_some()));
    // Its limits are edited in points, with what a point is worth beside them.
    let points = |c: &&guideline::Criterion| c.index.is_some();
    assert!(set.criteria.iter().filter(points).all(|c| Bounds::of(c).per_point.is_some()));
    // NCDA&CS, equation 18: 0.0120 × 100² − 3.00 × 100 + 120 = −60.
    let rows = set.rates.iter().flat_map(|rates| &rates.rows);
    let equations: Vec<_> = rows
        .filter_map(|row| match &row.gives {
            Gives::Equation(equation) if equation.number == "18" => Some(equation),
            _ => None,
        })
        .collect();
    assert!(!equations.is_empty() && equations.iter().all(|e| (e.plain(100.0) + 60.0).abs() < 1e-9));
}

#[test]
fn a_level_per_area_is_weighed_as_the_need_is() {
    let ground = glebe::agronomy::ground::Ground {
        area: glebe::agronomy::quantity::SquareMetres(10.0),
        cover: glebe::agronomy::ground::Cover::Open,
        texture: glebe::agronomy::ground::Texture::Loam,
        bulk_density: None,
        depth: glebe::agronomy::quantity::Centimetres(20.0),
        stones: 0.0,
    };
    let working = Working::leaf("P, printed", Figure::new(30.0, "mg/kg", 0), Origin::Cell(CellKey(1)));
    let (method, level) = (Method::Mehlich3Icp, Level::MgPerKg(MgPerKg(30.0)));
    let tested = Tested {
        analyte: glebe::agronomy::analyte::Analyte::Element(Element::P),
        method: &method,
        level,
        working: &working,
    };
    // Ohio State: 30 ppm is 60 lb/acre.
    let by = By::Convention(LayerConvention::find("two_million_lb_per_acre").unwrap());
    let liking = Liking { unit: LevelUnit::LbPerAcre, ..Liking::default() };
    let shown = liking.found(tested, Weighed { ground: &ground, by });
    assert!((shown.figure.value - 60.0).abs() < 1e-9, "{shown:?}");
    let own = liking.found(tested, &ground).figure.value;
    assert!((own - 60.0).abs() > 1.0, "the bed’s own layer is another one: {own}");
}
