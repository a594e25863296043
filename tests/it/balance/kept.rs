//! Harvests and forecasts through the record.

use super::*;

async fn garden() -> (tempfile::TempDir, glebe::app::App, glebe::app::Actor, glebe::ids::PlotId) {
    let (folder, app, actor) = fresh().await;
    let site = app.add_site(&actor, &site_form("Home")).await.unwrap();
    let plot = app.add_plot(&actor, site, &plot_form("A1", "20")).await.unwrap();
    (folder, app, actor, plot)
}

fn harvest_form(plot: glebe::ids::PlotId) -> HarvestForm {
    HarvestForm {
        plot: plot.to_string(),
        harvested_on: "2025-09-01".into(),
        crop: "carrot".into(),
        fresh_mass_kg: "50".into(),
        ..HarvestForm::default()
    }
}

#[tokio::test]
async fn a_harvest_is_recorded_shown_in_the_ledger_and_voided_with_its_history() {
    let (_folder, app, actor, plot) = garden().await;
    let own = HarvestForm {
        own_kg_per_t: BTreeMap::from([("K".into(), "2,5".into()), ("B".into(), "".into())]),
        own_words: "our lab".into(),
        ..harvest_form(plot)
    };
    let id = app.record_harvest(&actor, &own).await.unwrap();
    let row = app.harvest(&actor, id).await.unwrap();
    let figures = Figures::Own { kg_per_t: BTreeMap::from([(K, 2.5)]), words: "our lab".into() };
    assert_eq!(
        (row.harvest.mass_kg, row.harvest.crop.as_deref(), &row.harvest.figures),
        (50.0, Some("carrot"), &figures)
    );
    let ledger = app.plot_ledger(&actor, plot).await.unwrap().ledger;
    let potassium = ledger.seasons[0].lines.iter().find(|l| l.element == K).unwrap();
    about(potassium.carried.known.mid, 62.5, 1e-9); // 125 g on 20 m²

    app.void_harvest(&actor, id, "the next bed").await.unwrap();
    assert!(app.harvests_of_plot(&actor, plot, false).await.unwrap().is_empty());
    assert_eq!(app.harvests_of_plot(&actor, plot, true).await.unwrap().len(), 1);
    assert!(app.plot_ledger(&actor, plot).await.unwrap().ledger.seasons.is_empty());
    let history = app.history(&actor, glebe::app::history::Subject::Harvest(id)).await.unwrap();
    assert_eq!(history.iter().map(|h| h.verb.as_str()).collect::<Vec<_>>(), ["voided", "added"]);
    assert!(matches!(app.void_harvest(&actor, id, "again").await, Err(Error::Conflict(_))));
}

#[tokio::test]
async fn a_harvest_of_nothing_needs_no_crop_and_odd_entries_get_a_sentence() {
    let (_folder, app, actor, plot) = garden().await;
    let none = HarvestForm { crop: String::new(), fresh_mass_kg: "0".into(), ..harvest_form(plot) };
    let id = app.record_harvest(&actor, &none).await.unwrap();
    assert_eq!(app.harvest(&actor, id).await.unwrap().harvest.crop, None);
    let odd = [
        ("crop", HarvestForm { crop: String::new(), ..harvest_form(plot) }),
        ("crop", HarvestForm { crop: "moonflower".into(), ..harvest_form(plot) }),
        ("fresh_mass_kg", HarvestForm { fresh_mass_kg: "-1".into(), ..harvest_form(plot) }),
        ("harvested_on", HarvestForm { harvested_on: "2030-01-01".into(), ..harvest_form(plot) }),
        ("table", HarvestForm { table: "nobody".into(), ..harvest_form(plot) }),
        ("plot", HarvestForm { plot: "".into(), ..harvest_form(plot) }),
        (
            "own_kg_per_t.K",
            HarvestForm { own_kg_per_t: BTreeMap::from([("K".into(), "101".into())]), ..harvest_form(plot) },
        ),
    ];
    for (field, form) in odd {
        match app.record_harvest(&actor, &form).await {
            Err(Error::Invalid(problems)) => assert!(problems.of(field).is_some(), "{field}: {problems}"),
            other => panic!("{field}: {other:?}"),
        }
    }
    let reader = glebe::app::Actor { role: glebe::app::Role::Reader, ..actor };
    assert!(matches!(app.record_harvest(&reader, &harvest_form(plot)).await, Err(Error::Denied)));
    assert!(matches!(app.void_harvest(&reader, id, "x").await, Err(Error::Denied)));
}

/// Seasons 2025 and 2026; 50 kg of carrots taken in 2025 and potassium found at 120 mg/kg in
/// February 2026. The plan puts on 200 g at 41.5 % K: 41.5 kg/ha less the usual 83 is −41.5,
/// at a published 0.146 mg/kg per kg/ha (15 cm) 114 is to be expected.
#[tokio::test]
async fn an_agreed_plan_says_what_the_next_test_should_find_and_is_held_to_it() {
    use glebe::app::{
        App,
        amendments::{AmendmentForm, AnalysisForm},
        reports::{CellForm, ReportForm, SamplingForm},
        seasons::{DoseForm, PlanForm, SeasonForm},
    };
    let (folder, app, actor, plot) = garden().await;
    let site = app.plot_ledger(&actor, plot).await.unwrap().plot.site;
    let mut seasons = Vec::new();
    for year in ["2025", "2026"] {
        let form =
            SeasonForm { name: year.into(), starts_on: format!("{year}-03-01"), ends_on: format!("{year}-10-31") };
        seasons.push(app.add_season(&actor, site, &form).await.unwrap());
    }
    app.record_harvest(&actor, &harvest_form(plot)).await.unwrap();
    let bag = AmendmentForm { name: "Bag of potash".into(), kind: "salt".into(), ..AmendmentForm::default() };
    let label = AnalysisForm {
        valid_from: "2025-01-01".into(),
        label: "0-0-50 + 18 S".into(),
        source: "The bag".into(),
        ..AnalysisForm::default()
    };
    let bag = app.add_amendment(&actor, &bag, &label).await.unwrap();
    let sampling = |on: &str| SamplingForm {
        plots: vec![plot.to_string()],
        sampled_on: on.into(),
        depth_bottom_cm: "15".into(),
        ..SamplingForm::default()
    };
    let potassium = |printed: &str| ReportForm {
        lab: "North".into(),
        rows: vec![CellForm {
            analyte: "K".into(),
            method: "nh4oac_7".into(),
            printed: printed.into(),
            unit: "mg/kg".into(),
            ..CellForm::default()
        }],
        ..ReportForm::default()
    };
    app.save_sampling_with_report(&actor, &sampling("2026-02-10"), &potassium("120")).await.unwrap();
    let plan = PlanForm {
        name: "Spring".into(),
        guideline: "extension_sufficiency".into(),
        plots: vec![plot.to_string()],
        products: vec![bag.to_string()],
        seasons: "1".into(),
        ..PlanForm::default()
    };
    let plan = app.add_plan(&actor, seasons[1], &plan).await.unwrap();
    let field = DoseForm::grams_field(plot, bag);
    app.save_doses(&actor, plan, &DoseForm::from_fields([(field.as_str(), "200")])).await.unwrap();
    app.agree_plan(&actor, plan).await.unwrap();
    app.reopen_plan(&actor, plan).await.unwrap();
    assert!(app.forecasts(&actor, &[plot]).await.unwrap().is_empty(), "a draft promises nothing");
    app.agree_plan(&actor, plan).await.unwrap();

    let rows = app.forecasts(&actor, &[plot]).await.unwrap();
    assert_eq!(rows.len(), 1);
    let forecast = &rows[0].forecast;
    about(forecast.expected, 120.0 - 41.5 * 0.146, 0.3);
    assert!(forecast.low < 95.0 && forecast.high > 130.0, "{} to {}", forecast.low, forecast.high);
    assert!(forecast.working.is_grounded() && forecast.working.cells().len() == 1);
    let review = app.forecast_review(&actor, site).await.unwrap();
    assert!(review.results[0].came.is_none() && review.calibration.is_none());
    app.close().await;
    drop(app);

    let settings =
        glebe::settings::Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
    let clock = glebe::clock::Clock::Fixed("2027-03-21T09:00:00Z".parse().unwrap());
    let app = App::open(&settings, clock).await.unwrap();
    app.save_sampling_with_report(&actor, &sampling("2027-02-10"), &potassium("60")).await.unwrap();
    let review = app.forecast_review(&actor, site).await.unwrap();
    let (point, fell) = review.results[0].came.as_ref().unwrap();
    assert_eq!((point.value, *fell), (60.0, Fell::Below));
    assert_eq!(review.calibration.map(|c| (c.held, c.tests)), Some((0, 1)));
    // The dose was never put on and the 2026 harvest never written down: nothing is learned, and that is said.
    let responses = app.plot_responses(&actor, plot, K).await.unwrap();
    let own = &responses[0].response.as_ref().unwrap().own;
    assert!(matches!(own, Err(Skip::NetNotKnown(why)) if why[0].contains("2026")), "{own:?}");
}
