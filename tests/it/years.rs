//! What the years teach, beyond `balance`: green manures and legumes in the ledger, more taken than
//! was found, narrower bands, own removal figures, several harvests at once, what is at stake.

use super::store::{fresh, plot_form, site_form};
use glebe::{
    agronomy::{
        amendment::Kind,
        analyte::Analyte,
        balance::{Books, Input, Net, Season},
        crop::{CROPS, Crop},
        drift::{ErrorSettings, Scale, segments},
        element::Element::{self, *},
        forecast,
        method::Method,
        offtake::{Figures, Harvest},
        overdraw::overdrawn,
        quantity::{Centimetres, GramsPerCm3, MgPerKg, SoilLayer, SquareMetres},
        reading::{Level, Reading},
        record::{Application, CellKey, DepthBand, Qualifier},
        retest,
        working::{Figure, Origin, Working},
    },
    app::{
        Actor, App, Error,
        harvests::HarvestForm,
        removals::RemovalForm,
        reports::{CellForm, ReportForm, SamplingForm},
        retests::{STAKES, StakesForm},
        seasons::SeasonForm,
    },
    ids::{PlotId, SiteId},
};
use jiff::civil::{Date, date};
use std::collections::BTreeMap;

fn about(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "found {found}, expected {expected}");
}

fn season(year: i16, crops: &[&str]) -> Season {
    Season {
        name: year.to_string(),
        starts_on: date(year, 3, 1),
        ends_on: date(year, 10, 31),
        crops: crops.iter().map(|c| (*c).to_owned()).collect(),
        running: false,
    }
}

fn carrots(on: Date, mass_kg: f64) -> Harvest {
    let figures = Figures::Own { kg_per_t: BTreeMap::from([(K, 3.0), (N, 2.0), (P, 0.4)]), words: "our lab".into() };
    Harvest { key: 7, harvested_on: on, crop: Some("carrot".into()), mass_kg, figures }
}

fn compost(on: Date, mass_g: f64) -> Input {
    let content = BTreeMap::from([(N, 0.01), (P, 0.002), (K, 0.005)]);
    let application = Application {
        key: 3,
        applied_on: on,
        amendment: "Compost".into(),
        mass_g,
        content,
        availability: BTreeMap::new(),
        manure: false,
        organic: false,
    };
    Input { kind: Kind::Compost, application }
}

/// A year of clover dug in: nothing left, nothing came but nitrogen that nobody weighed.
#[test]
fn a_green_manure_needs_no_harvest_and_its_nitrogen_is_not_known() {
    let books = Books {
        area: SquareMetres(10.0),
        inputs: vec![compost(date(2024, 4, 1), 10_000.0)],
        harvests: vec![],
        seasons: vec![season(2024, &["clover"])],
    };
    let ledger = books.ledger();
    let line = |element: Element| ledger.seasons[0].lines.iter().find(|l| l.element == element).unwrap();
    // 10 kg at 0.5 % K on 10 m² is 50 kg/ha.
    assert!(matches!(line(K).net, Net::Known(span) if (span.mid - 50.0).abs() < 1e-9), "{:?}", line(K).net);
    assert!(matches!(line(N).net, Net::AtLeast(_)));
    assert!(line(N).brought.missing.iter().any(|m| m.contains("took from the air")), "{:?}", line(N).brought);
    assert_eq!(ledger.seasons[0].dug_in, ["clover, dug in"]);
    assert!(ledger.seasons[0].notes.is_empty(), "{:?}", ledger.seasons[0].notes);
    assert_eq!(ledger.seasons[0].came.len(), 1);
    about(ledger.seasons[0].came[0].kg_per_ha[&K].mid, 50.0, 1e-9);
    assert!(!ledger.seasons[0].came[0].kg_per_ha.contains_key(&B), "nobody analysed its boron");
    assert!(CROPS.iter().filter(|crop| crop.stays_on_the_plot()).count() >= 5);
    assert!(!Crop::find("green_rye").unwrap().fixes_nitrogen() && Crop::find("pea").unwrap().fixes_nitrogen());
}

fn potassium(cell: i64, on: Date, value: f64) -> Reading {
    Reading {
        analyte: Analyte::Element(K),
        method: Method::AmmoniumAcetate7,
        level: Level::MgPerKg(MgPerKg(value)),
        qualifier: Qualifier::Exact,
        decimals: 0,
        sampled_on: on,
        depth: Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(20.0) }),
        lab: "North".into(),
        sampling: 0,
        cell: CellKey(cell),
        working: Working::leaf("found", Figure::new(value, "mg/kg", 0), Origin::Cell(CellKey(cell))),
    }
}

/// 20 cm at 1.3 g/cm³ is 2,600 t/ha: 60 mg/kg is 156 kg K/ha. 60 t/ha of carrots take 180.
#[test]
fn more_taken_than_was_found_is_said() {
    let layer = SoilLayer::Measured { depth: Centimetres(20.0), bulk_density: GramsPerCm3(1.3), stones: 0.0 };
    let of = |mass_kg: f64| {
        let books = Books {
            area: SquareMetres(10.0),
            inputs: vec![],
            harvests: vec![carrots(date(2024, 9, 1), mass_kg)],
            seasons: vec![season(2024, &["carrot"])],
        };
        let tests = [potassium(1, date(2024, 2, 1), 60.0), potassium(2, date(2025, 2, 1), 50.0)];
        let segment = segments(&tests, &Default::default(), &ErrorSettings::default()).remove(0);
        overdrawn(&segment, &books, &layer, Centimetres(20.0), date(2025, 3, 1))
    };
    let found = of(60.0);
    assert_eq!(found.len(), 1);
    about(found[0].stock.0, 156.0, 1e-9);
    about(found[0].drawn.0, 180.0, 1e-9);
    assert!(found[0].words().contains("180 kg/ha more potassium left"), "{}", found[0].words());
    assert!(of(40.0).is_empty());
}

/// A 90 % band about 100 with σ 0.2 on the log scale; eight in ten lie within ± 1.2815515655 σ (scipy norm.ppf(0.9)).
#[test]
fn a_narrower_band_lies_within_the_wider() {
    let ends = (100.0 * (-1.6448536269514722f64 * 0.2).exp(), 100.0 * (1.6448536269514722f64 * 0.2).exp());
    let (low, high) = forecast::narrower(ends, 0.8).unwrap();
    about(low, 100.0 * (-1.2815515655446004f64 * 0.2).exp(), 1e-6);
    about(high, 100.0 * (1.2815515655446004f64 * 0.2).exp(), 1e-6);
    assert_eq!((forecast::narrower((0.0, 1.0), 0.8), forecast::narrower((2.0, 1.0), 0.8)), (None, None));
    let eight = forecast::calibration_of([forecast::Fell::Inside, forecast::Fell::Above], 0.8).unwrap();
    assert!(eight.words().contains("where 8 in 10 should"), "{}", eight.words());
}

/// Geometric mean and sample deviation of the logarithms: 2 and 8 are 4 and ln 4 ÷ √2.
#[test]
fn what_other_plots_say_beforehand() {
    let (middle, spread) = retest::spread(Scale::Log, &[2.0, 8.0]).unwrap();
    about(middle, 4.0, 1e-12);
    about(spread, 4f64.ln() / 2f64.sqrt(), 1e-12);
    assert_eq!((retest::spread(Scale::Log, &[3.0]), retest::spread(Scale::Log, &[3.0, 3.0])), (None, None));
}

// ---- The record

async fn garden() -> (tempfile::TempDir, App, Actor, SiteId, PlotId) {
    let (folder, app, actor) = fresh().await;
    let site = app.add_site(&actor, &site_form("Home")).await.unwrap();
    let plot = app.add_plot(&actor, site, &plot_form("A1", "20")).await.unwrap();
    let form = SeasonForm { name: "2025".into(), starts_on: "2025-03-01".into(), ends_on: "2025-10-31".into() };
    app.add_season(&actor, site, &form).await.unwrap();
    (folder, app, actor, site, plot)
}

fn form(plot: PlotId, crop: &str, mass: &str) -> HarvestForm {
    HarvestForm {
        plot: plot.to_string(),
        harvested_on: "2025-09-01".into(),
        crop: crop.into(),
        fresh_mass_kg: mass.into(),
        ..HarvestForm::default()
    }
}

async fn net_of(app: &App, actor: &Actor, plot: PlotId, element: Element) -> Net {
    let ledger = app.plot_ledger(actor, plot).await.unwrap().ledger;
    ledger.seasons[0].lines.iter().find(|l| l.element == element).unwrap().net
}

#[tokio::test]
async fn own_figures_of_a_crop_come_first_and_the_published_stay_beside_them() {
    let (_folder, app, actor, site, plot) = garden().await;
    app.record_harvest(&actor, &form(plot, "carrot", "50")).await.unwrap();
    let published = net_of(&app, &actor, plot, K).await.known().unwrap();
    let own = |potassium: &str| RemovalForm {
        kg_per_t: BTreeMap::from([("K".into(), potassium.into()), ("P".into(), String::new())]),
        source: "our lab, 2025".into(),
    };
    app.set_own_removal(&actor, site, "carrot", &own("2,5")).await.unwrap();
    // 50 kg × 2.5 g/kg on 20 m² is 62.5 kg/ha.
    about(net_of(&app, &actor, plot, K).await.known().unwrap().mid, -62.5, 1e-9);
    let ledger = app.plot_ledger(&actor, plot).await.unwrap().ledger;
    let line = ledger.seasons[0].lines.iter().find(|l| l.element == K).unwrap();
    let said = format!("{:?}", line.working);
    assert!(said.contains("our lab, 2025") && said.contains("Published, and not used here"), "{said}");
    app.set_own_removal(&actor, site, "carrot", &own("3")).await.unwrap();
    let all = app.own_removals(&actor, site, true).await.unwrap();
    assert_eq!(all.iter().map(|own| own.voided_at.is_some()).collect::<Vec<_>>(), [false, true]);
    app.void_own_removal(&actor, site, "carrot", "one sample is too few").await.unwrap();
    assert_eq!(net_of(&app, &actor, plot, K).await.known(), Some(published));
    assert!(matches!(app.void_own_removal(&actor, site, "carrot", "again").await, Err(Error::Conflict(_))));
    for (field, wrong) in [
        ("source", RemovalForm { source: String::new(), ..own("3") }),
        ("kg_per_t[K]", own("101")),
        ("", RemovalForm { kg_per_t: BTreeMap::new(), ..own("3") }),
    ] {
        match app.set_own_removal(&actor, site, "carrot", &wrong).await {
            Err(Error::Invalid(problems)) => assert!(problems.of(field).is_some(), "{field}: {problems}"),
            other => panic!("{field}: {other:?}"),
        }
    }
}

#[tokio::test]
async fn several_harvests_are_recorded_together_or_not_at_all() {
    let (_folder, app, actor, site, plot) = garden().await;
    let other = app.add_plot(&actor, site, &plot_form("A2", "20")).await.unwrap();
    let rows = |second: &str| {
        BTreeMap::from([
            ("1-0".to_owned(), form(plot, "carrot", "50")),
            ("2-0".to_owned(), form(other, "leek", second)),
        ])
    };
    match app.record_harvests(&actor, &rows("x")).await {
        Err(Error::Invalid(problems)) => assert!(problems.of("mass[2-0]").is_some(), "{problems}"),
        other => panic!("{other:?}"),
    }
    assert!(app.harvests_of_plot(&actor, plot, true).await.unwrap().is_empty());
    assert!(matches!(app.record_harvests(&actor, &BTreeMap::new()).await, Err(Error::Invalid(_))));
    assert_eq!(app.record_harvests(&actor, &rows("0")).await.unwrap().len(), 2);
    assert_eq!(app.harvests_of_plot(&actor, other, false).await.unwrap()[0].harvest.crop, None);

    let by_row = HarvestForm { rows: "4".into(), ..form(plot, "carrot", "12,5") };
    let id = app.record_harvest(&actor, &by_row).await.unwrap();
    assert_eq!(app.harvest(&actor, id).await.unwrap().harvest.mass_kg, 50.0);
    let right = app.correct_harvest(&actor, id, &form(plot, "carrot", "45"), "read the scale wrong").await.unwrap();
    assert_eq!(app.harvest(&actor, right).await.unwrap().harvest.mass_kg, 45.0);
    let old = app.harvest(&actor, id).await.unwrap();
    assert_eq!(old.void_reason.as_deref(), Some("read the scale wrong"));
    assert!(matches!(
        app.correct_harvest(&actor, id, &form(plot, "carrot", "44"), "again").await,
        Err(Error::Conflict(_))
    ));
    let silent = app.correct_harvest(&actor, right, &form(plot, "carrot", "44"), " ").await;
    assert!(matches!(silent, Err(Error::Invalid(problems)) if problems.of("reason").is_some()));
}

/// pH is limed and not fed, and one test of it too may be wrong: error 0.15, on the plain scale.
#[tokio::test]
async fn a_retest_of_ph_weighs_the_decision_to_lime() {
    let (_folder, app, actor, site, _) = garden().await;
    let plot = app.add_plot(&actor, site, &plot_form("C1", "100")).await.unwrap();
    let sampling = SamplingForm {
        plots: vec![plot.to_string()],
        sampled_on: "2025-11-10".into(),
        depth_bottom_cm: "15".into(),
        ..SamplingForm::default()
    };
    let cell =
        CellForm { analyte: "ph".into(), method: "ph_water".into(), printed: "5.9".into(), ..CellForm::default() };
    let report = ReportForm { lab: "North".into(), rows: vec![cell], ..ReportForm::default() };
    app.save_sampling_with_report(&actor, &sampling, &report).await.unwrap();
    let found = app.plot_retest(&actor, plot).await.unwrap();
    let ph = found.nutrients.iter().find(|one| one.analyte == Analyte::Ph).expect("pH is asked about");
    assert_eq!((ph.question.scale, ph.question.sigma, ph.question.found), (Scale::Linear, 0.15, 5.9));
    assert_eq!(ph.question.target, ph.aim);
    assert_eq!(retest::value(&ph.question).unwrap(), ph.retest);
    // Φ((aim − 5.9) ÷ 0.15), by the same law that the standing uses.
    let below = glebe::agronomy::confidence::p_below_target_normal(5.9, ph.aim, 0.15);
    about(ph.retest.p_below, below, 1e-9);
    assert!(!ph.retest.words("").contains("  "), "{}", ph.retest.words(""));
}

/// Plots of 100 m² by ammonium acetate, aim above what most hold: where one lies near the aim
/// a retest has a value, and it grows with what is at stake.
#[tokio::test]
async fn what_is_at_stake_decides_whether_a_retest_pays() {
    let (_folder, app, actor, site, _) = garden().await;
    let mut plots = Vec::new();
    for (n, found) in ["150", "110", "95", "130", "170"].iter().enumerate() {
        let plot = app.add_plot(&actor, site, &plot_form(&format!("B{n}"), "100")).await.unwrap();
        let sampling = SamplingForm {
            plots: vec![plot.to_string()],
            sampled_on: "2025-11-10".into(),
            depth_bottom_cm: "15".into(),
            ..SamplingForm::default()
        };
        let cell = CellForm {
            analyte: "K".into(),
            method: "nh4oac_7".into(),
            printed: (*found).into(),
            unit: "mg/kg".into(),
            ..CellForm::default()
        };
        let report = ReportForm { lab: "North".into(), rows: vec![cell], ..ReportForm::default() };
        app.save_sampling_with_report(&actor, &sampling, &report).await.unwrap();
        plots.push(plot);
    }
    let before = app.plot_retest(&actor, plots[0]).await.unwrap();
    assert!(!before.own_stakes && before.stakes == STAKES);
    let potassium = &before.nutrients[0];
    assert_eq!((potassium.analyte, potassium.others), (Analyte::Element(K), 4));
    // The same question to the trade's own function gives the same value.
    assert_eq!(retest::value(&potassium.question).unwrap(), potassium.retest);
    about(potassium.question.cost_needless, 1200.0, 1e-9);
    assert!(before.value_minor >= 0.0 && before.value_minor <= potassium.retest.ceiling);

    let stakes = StakesForm { sheet: "1".into(), needless: "120,00".into(), missed: "400".into(), revision: 0 };
    app.set_stakes(&actor, site, &stakes).await.unwrap();
    let after = app.plot_retest(&actor, plots[0]).await.unwrap();
    assert!(after.own_stakes);
    about(after.value_minor, 10.0 * before.value_minor, 1e-6 * after.value_minor.max(1.0));
    let stale = app.set_stakes(&actor, site, &stakes).await;
    assert!(matches!(stale, Err(Error::Conflict(_))), "{stale:?}");
    let wrong = StakesForm { sheet: "0".into(), missed: "a lot".into(), revision: 1, ..stakes };
    match app.set_stakes(&actor, site, &wrong).await {
        Err(Error::Invalid(problems)) => {
            assert!(
                problems.of("sheet").is_some() && problems.of("missed").is_some() && problems.of("needless").is_none()
            )
        }
        other => panic!("{other:?}"),
    }
}

#[tokio::test]
async fn the_file_of_a_ledger_leaves_what_is_not_known_empty() {
    let (_folder, app, actor, _, plot) = garden().await;
    app.record_harvest(&actor, &form(plot, "carrot", "50")).await.unwrap();
    let (name, file) = app.ledger_csv(&actor, plot).await.unwrap();
    assert_eq!(name, "ledger-A1.csv");
    let text = String::from_utf8(file).unwrap();
    let head: Vec<&str> = text.lines().next().unwrap().split(',').collect();
    let at = |column: &str| head.iter().position(|name| *name == column).unwrap();
    let of = |element: &str| {
        let row = text.lines().find(|row| row.contains(&format!(",season,{element},"))).unwrap();
        row.split(',').map(str::to_owned).collect::<Vec<_>>()
    };
    let potassium = of("K");
    let carried: f64 = potassium[at("carried_away_kg_per_ha")].parse().unwrap();
    assert!((60.0..100.0).contains(&carried), "{carried}");
    about(potassium[at("net_kg_per_ha")].parse().unwrap(), -carried, 1e-6);
    about(potassium[at("net_g_on_the_plot")].parse().unwrap(), -carried * 2.0, 1e-6);
    let boron = of("B");
    assert_eq!(
        (boron[at("carried_away_kg_per_ha")].as_str(), boron[at("carried_away_is")].as_str()),
        ("", "not known")
    );
    assert_eq!(boron[at("net_is")], "at most");
}
