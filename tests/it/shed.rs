//! Amendments, their analyses and stock, and what was put on.

use crate::store::{fresh, plot_form, site_form};
use glebe::{
    agronomy::{amendment::catalogue, element::Element, quantity::KgPerHa},
    app::{
        Actor, App, Error,
        amendments::{AmendmentForm, AnalysisForm, PackForm, PartForm},
        applications::ApplicationForm,
    },
    ids::{AmendmentId, DoseId, PlotId, SiteId},
    store::{
        Change, Store, Subject,
        plans::{self, NewDose, NewPlan},
    },
};
use jiff::civil::date;

fn potash(label: &str) -> (AmendmentForm, AnalysisForm) {
    let product = AmendmentForm { name: "Bag of potash".into(), kind: "salt".into(), ..AmendmentForm::default() };
    let analysis = AnalysisForm {
        valid_from: "2025-01-01".into(),
        label: label.into(),
        source: "The bag".into(),
        ..AnalysisForm::default()
    };
    (product, analysis)
}

async fn bed(app: &App, ada: &Actor) -> (SiteId, PlotId) {
    let site = app.add_site(ada, &site_form("Home")).await.unwrap();
    (site, app.add_plot(ada, site, &plot_form("A1", "20")).await.unwrap())
}

fn put_on(plot: PlotId, amendment: AmendmentId, on: &str, grams: &str) -> ApplicationForm {
    ApplicationForm {
        plot: plot.to_string(),
        amendment: amendment.to_string(),
        applied_on: on.into(),
        mass_g: grams.into(),
        ..ApplicationForm::default()
    }
}

#[tokio::test]
async fn the_catalogue_comes_back_from_the_record_as_it_was() {
    let (_folder, app, ada) = fresh().await;
    assert_eq!(app.seed_catalogue(&ada, date(2020, 1, 1)).await.unwrap(), catalogue().len());
    assert_eq!(app.seed_catalogue(&ada, date(2020, 1, 1)).await.unwrap(), 0, "taken twice");
    let rows = app.amendments(&ada, false).await.unwrap();
    let packs = app.packs(&ada).await.unwrap();
    assert_eq!(rows.len(), catalogue().len());
    for row in rows {
        let mut entry = catalogue().iter().find(|e| Some(&e.slug) == row.catalogue.as_ref()).unwrap().clone();
        let kg: Vec<f64> = packs[&row.id].iter().map(|pack| pack.mass_g / 1000.0).collect();
        entry.packs_kg.sort_by(f64::total_cmp);
        assert_eq!(kg.len(), entry.packs_kg.len(), "{}", entry.slug);
        entry.packs_kg.clear();
        entry.cautions.sort();
        assert_eq!(row.amendment, entry);
    }
}

#[tokio::test]
async fn an_analysis_of_more_than_the_whole_is_refused_and_nothing_is_kept() {
    let (_folder, app, ada) = fresh().await;
    let (product, mut analysis) = potash("0-0-50 + 18 S");
    analysis.parts.push(PartForm { substance: "CaO".into(), percent: "60".into(), ..PartForm::default() });
    let Err(Error::Invalid(problems)) = app.add_amendment(&ada, &product, &analysis).await else { panic!("taken") };
    assert!(problems.of("parts").is_some_and(|s| s.contains("more than the whole")), "{problems}");
    analysis.parts = vec![
        PartForm { substance: "Unobtainium".into(), percent: "1".into(), ..PartForm::default() },
        PartForm { substance: "B".into(), percent: "1.2.3".into(), ..PartForm::default() },
    ];
    analysis.moisture_percent = "NaN".into();
    analysis.source = String::new();
    let unnamed = AmendmentForm { name: " ".into(), ..product };
    let Err(Error::Invalid(problems)) = app.add_amendment(&ada, &unnamed, &analysis).await else { panic!("taken") };
    for field in ["name", "source", "parts.0.substance", "parts.1.percent", "moisture_percent"] {
        assert!(problems.of(field).is_some(), "no sentence for {field}: {problems}");
    }
    assert!(app.amendments(&ada, true).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_new_label_leaves_what_was_put_on_before_as_it_was() {
    let (_folder, app, ada) = fresh().await;
    let (_, plot) = bed(&app, &ada).await;
    let (product, analysis) = potash("0-0-50 + 18 S");
    let id = app.add_amendment(&ada, &product, &analysis).await.unwrap();
    app.record_application(&ada, &put_on(plot, id, "2025-04-01", "1000")).await.unwrap();
    let (_, mut weaker) = potash("0-0-48");
    weaker.valid_from = "2026-01-01".into();
    app.add_analysis(&ada, id, &weaker).await.unwrap();
    app.record_application(&ada, &put_on(plot, id, "2026-03-01", "1000")).await.unwrap();
    app.record_application(&ada, &put_on(plot, id, "2025-05-01", "1000")).await.unwrap(); // entered late: the old bag

    // Cornell NRCCA: 50 % K2O is 41.5 % K; 1 kg of it on 20 m² is 415 g K, 207.5 kg/ha.
    let year = app.totals(&ada, plot, date(2025, 1, 1), date(2025, 12, 31)).await.unwrap();
    assert!((year[&Element::K].grams.0 - 2.0 * 415.0).abs() < 0.5, "{year:?}");
    assert!((year[&Element::S].grams.0 - 360.0).abs() < 1e-9);
    let this = app.totals(&ada, plot, date(2026, 1, 1), date(2026, 12, 31)).await.unwrap();
    assert!((this[&Element::K].grams.0 - 398.4).abs() < 0.5, "{this:?}");
    assert!(!this.contains_key(&Element::S), "the new label has none");
    let KgPerHa(rate) = this[&Element::K].rate;
    assert!((rate - 199.2).abs() < 0.3, "{rate}");
    let page = app.amendment(&ada, id).await.unwrap();
    assert_eq!(
        page.analyses.iter().map(|a| a.analysis.label.as_str()).collect::<Vec<_>>(),
        ["0-0-48", "0-0-50 + 18 S"]
    );
    assert_eq!(page.row.amendment.analysis.label, "0-0-48");
}

#[tokio::test]
async fn packs_prices_and_stock_are_counted() {
    let (_folder, app, ada) = fresh().await;
    let (_, plot) = bed(&app, &ada).await;
    let (product, analysis) = potash("0-0-50");
    let id = app.add_amendment(&ada, &product, &analysis).await.unwrap();
    let pack = PackForm { mass_kg: "25".into(), price: "31,90".into(), currency: "eur".into(), ..PackForm::default() };
    let pack = app.add_pack(&ada, id, &pack).await.unwrap();
    let page = app.amendment(&ada, id).await.unwrap();
    assert_eq!((page.packs[0].mass_g, page.packs[0].price_minor), (25_000.0, Some(3190)));
    assert_eq!(page.stock_g, None);
    app.count_stock(&ada, id, "2026-02-01", "12.5").await.unwrap();
    app.record_application(&ada, &put_on(plot, id, "2026-01-15", "700")).await.unwrap(); // before the count
    let used = app.record_application(&ada, &put_on(plot, id, "2026-03-01", "500")).await.unwrap();
    assert_eq!(app.stock(&ada).await.unwrap()[&id], 12_000.0);
    app.void_application(&ada, used, "it rained").await.unwrap();
    assert_eq!(app.stock(&ada).await.unwrap()[&id], 12_500.0);
    app.archive_pack(&ada, pack).await.unwrap();
    assert!(app.amendment(&ada, id).await.unwrap().packs.is_empty());
    app.archive_amendment(&ada, id, true).await.unwrap();
    assert!(app.amendments(&ada, false).await.unwrap().is_empty());
}

#[tokio::test]
async fn an_application_of_tomorrow_of_nothing_or_of_the_unknown_is_refused() {
    let (_folder, app, ada) = fresh().await;
    let (_, plot) = bed(&app, &ada).await;
    let (product, analysis) = potash("0-0-50");
    let id = app.add_amendment(&ada, &product, &analysis).await.unwrap();
    let Err(Error::Invalid(problems)) = app.record_application(&ada, &put_on(plot, id, "2026-03-22", "0")).await else {
        panic!("taken");
    };
    assert!(problems.of("applied_on").is_some() && problems.of("mass_g").is_some(), "{problems}");
    let unknown = app.record_application(&ada, &put_on(PlotId(99), id, "2026-03-01", "5")).await;
    assert!(matches!(unknown, Err(Error::NotFound("plot"))));
    let unknown = app.record_application(&ada, &put_on(plot, AmendmentId(99), "2026-03-01", "5")).await;
    assert!(matches!(unknown, Err(Error::NotFound("amendment"))));
}

/// Two doses of 300 g and 500 g on one plot in a plan that is agreed; the record must be closed.
async fn agreed_plan(store: &Store, ada: &Actor, site: SiteId, plot: PlotId, products: &[AmendmentId]) -> Vec<DoseId> {
    let now = crate::store::NOW.parse().unwrap();
    let mut write = store.write(now, Some(ada.person)).await.unwrap();
    let season = plans::insert_season(&mut write, site, "2026", date(2026, 1, 1), date(2026, 12, 31)).await.unwrap();
    let new = NewPlan {
        season,
        name: "Spring".into(),
        guideline: "any".into(),
        guideline_version: 0,
        options: "{}".into(),
        plots: vec![plot],
        products: products.to_vec(),
    };
    let plan = plans::insert_plan(&mut write, &new).await.unwrap();
    let mut doses = Vec::new();
    for (product, mass_g) in products.iter().zip([300.0, 500.0]) {
        let row = glebe::store::amendments::find(&mut write, *product, date(2026, 3, 1)).await.unwrap().unwrap();
        let (amendment, analysis) = (row.id, row.analysis);
        doses.push(NewDose { plot, amendment, analysis, mass_g, locked: false, by_hand: false });
    }
    plans::replace_solution(&mut write, plan, 1, &[0; 32], "{}", &[], &doses).await.unwrap();
    plans::agree(&mut write, plan, 2, "{}").await.unwrap();
    let rows = plans::doses_of(&mut write, plan).await.unwrap();
    write.commit(Change::new(Subject::Plan(plan), "agreed", "Agreed.")).await.unwrap();
    // Agreed doses stand: the schema refuses to replace them even where the state were not looked at.
    let mut write = store.write(now, Some(ada.person)).await.unwrap();
    assert!(plans::replace_solution(&mut write, plan, 3, &[0; 32], "{}", &[], &[]).await.is_err());
    drop(write);
    rows.into_iter().map(|row| row.id).collect()
}

#[tokio::test]
async fn a_dose_is_put_on_as_planned_in_one_tap_or_in_parts() {
    let (folder, app, ada) = fresh().await;
    let (site, plot) = bed(&app, &ada).await;
    let (mut product, analysis) = potash("0-0-50");
    let first = app.add_amendment(&ada, &product, &analysis).await.unwrap();
    product.name = "Second bag".into();
    let second = app.add_amendment(&ada, &product, &analysis).await.unwrap();
    let settings = app.settings().clone();
    app.close().await;
    drop(app);
    let store = Store::open(&folder.path().join("glebe.sqlite"), crate::store::NOW.parse().unwrap()).await.unwrap();
    let doses = agreed_plan(&store, &ada, site, plot, &[first, second]).await;
    store.close().await;
    drop(store);
    let app = App::open(&settings, glebe::clock::Clock::Fixed(crate::store::NOW.parse().unwrap())).await.unwrap();

    let id = app.record_as_planned(&ada, doses[0], "").await.unwrap();
    let row = app.application(&ada, id).await.unwrap();
    assert_eq!((row.mass_g, row.applied_on, row.dose), (300.0, date(2026, 3, 21), Some(doses[0])));
    assert_eq!(row.person_name, "Ada Marsh");
    assert!(matches!(app.record_as_planned(&ada, doses[0], "").await, Err(Error::Conflict(_))), "a second tap");

    let mut part = put_on(plot, second, "2026-03-10", "180");
    part.dose = doses[1].to_string();
    app.record_application(&ada, &part).await.unwrap();
    part.amendment = first.to_string();
    let Err(Error::Invalid(problems)) = app.record_application(&ada, &part).await else { panic!("another product") };
    assert!(problems.of("dose").is_some());
    let rest = app.record_as_planned(&ada, doses[1], "2026-03-12").await.unwrap();
    assert_eq!(app.application(&ada, rest).await.unwrap().mass_g, 320.0);

    app.void_application(&ada, id, "put on the wrong bed").await.unwrap();
    assert!(app.void_application(&ada, id, "again").await.is_err());
    assert_eq!(app.applications_of_plot(&ada, plot, false).await.unwrap().len(), 2);
    assert_eq!(app.applications_of_plot(&ada, plot, true).await.unwrap().len(), 3);
    app.record_as_planned(&ada, doses[0], "").await.unwrap(); // it is open again
}
