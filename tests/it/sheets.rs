//! A lab's sheet from the form to the trade's own structs, and its correction.

use crate::store::{fresh, plot_form, site_form};
use glebe::{
    agronomy::{
        analyte::Analyte,
        element::Element,
        method::Method,
        record::{Basis, CellKey, FizzClass, Qualifier, Unit},
    },
    app::{
        Actor, App, Error,
        history::Subject,
        reports::{CellForm, ReportForm, SamplingForm},
    },
    ids::{DeterminationId, PlotId},
};
use sqlx::{Connection, SqliteConnection};
use std::path::Path;

fn cell(analyte: &str, method: &str, printed: &str, unit: &str) -> CellForm {
    CellForm {
        analyte: analyte.into(),
        method: method.into(),
        printed: printed.into(),
        unit: unit.into(),
        ..CellForm::default()
    }
}

fn sampling(plots: &[PlotId], on: &str) -> SamplingForm {
    SamplingForm {
        plots: plots.iter().map(ToString::to_string).collect(),
        sampled_on: on.into(),
        depth_bottom_cm: "15".into(),
        cores: "20".into(),
        fizz_acid: "hydrochloric_1m".into(),
        fizz_class: "strong".into(),
        ..SamplingForm::default()
    }
}

fn report(lab: &str, rows: Vec<CellForm>) -> ReportForm {
    ReportForm { lab: lab.into(), rows, ..ReportForm::default() }
}

async fn two_beds(app: &App, ada: &Actor) -> [PlotId; 2] {
    let site = app.add_site(ada, &site_form("Home")).await.unwrap();
    [
        app.add_plot(ada, site, &plot_form("A1", "12")).await.unwrap(),
        app.add_plot(ada, site, &plot_form("A2", "15")).await.unwrap(),
    ]
}

#[tokio::test]
async fn two_reports_of_a_composite_come_back_as_they_were_printed() {
    let (_folder, app, ada) = fresh().await;
    let beds = two_beds(&app, &ada).await;
    let neutral = report(
        "Lab North",
        vec![
            cell("ph", "ph_water_1_1", "7,9", ""),
            cell("Ca", "nh4oac_7", "4210", "mg/kg"),
            cell("B", "hot_water", "<0.1", "ppm"),
            cell("Mo", "dtpa", "", "mg/kg"),
            cell("Se", "other:Lab's own", "ND", "mg/kg"),
        ],
    );
    let (sampling, _) = app.save_sampling_with_report(&ada, &sampling(&beds, "2026-02-10"), &neutral).await.unwrap();
    let mut alkaline = cell("P", "olsen", "18.5", "mg/L");
    alkaline.form = "P2O5".into();
    app.save_report(&ada, sampling, &report("Lab South", vec![alkaline, cell("Ca", "nh4oac_8_2", "11.4", "meq/100g")]))
        .await
        .unwrap();

    for bed in beds {
        let found = app.samplings(&ada, bed).await.unwrap();
        assert_eq!(found.len(), 1);
        assert_eq!(found[0].plots, beds);
        let one = &found[0].sampling;
        assert_eq!((one.depth.unwrap().top.0, one.depth.unwrap().bottom.0, one.cores), (0.0, 15.0, Some(20)));
        assert_eq!(one.fizz.unwrap().class, FizzClass::Strong);
        assert_eq!(one.reports.iter().map(|r| r.lab.as_str()).collect::<Vec<_>>(), ["Lab North", "Lab South"]);
        let north = &one.reports[0].determinations;
        assert_eq!(north.len(), 4, "an empty cell is no result");
        assert_eq!(
            (north[0].printed.text.as_str(), north[0].printed.value, north[0].unit),
            ("7,9", Some(7.9), Unit::Ph)
        );
        assert_eq!((north[2].printed.qualifier, north[2].printed.value), (Qualifier::Below, Some(0.1)));
        assert_eq!((north[3].printed.qualifier, north[3].printed.value), (Qualifier::NotDetected, None));
        assert_eq!(north[3].method, Method::Other("Lab's own".into()));
        let south = &one.reports[1].determinations;
        assert_eq!(south[0].analyte, Analyte::Element(Element::P));
        assert_eq!(south[0].basis, Basis::Volume, "mg/L is by volume");
        assert_eq!(south[0].form.unwrap().symbol(), "P2O5");
        assert_eq!(south[1].unit, Unit::MeqPer100g);
    }
    let several = app.samplings_of(&ada, &beds).await.unwrap();
    assert_eq!(several.values().map(Vec::len).collect::<Vec<_>>(), [1, 1]);
}

#[tokio::test]
async fn every_bad_entry_gets_a_sentence_by_its_field_and_nothing_is_stored() {
    let (_folder, app, ada) = fresh().await;
    let beds = two_beds(&app, &ada).await;
    let rows = vec![
        cell("P", "olsen", "1.2.3", "mg/kg"),
        cell("K", "", "120", "mg/kg"),
        cell("Mg", "nh4oac_7", "-4", "mg/kg"),
        cell("Ca", "nh4oac_7", "NaN", "mg/kg"),
        cell("S", "mehlich3_icp", "1e400", "mg/kg"),
        cell("Zn", "dtpa", "2.1", ""),
        cell("Unobtainium", "dtpa", "2.1", "mg/kg"),
        CellForm { form: "K2O".into(), ..cell("P", "olsen", "20", "mg/kg") },
        CellForm { layer: "knee_deep".into(), ..cell("Cu", "dtpa", "3", "lb/acre") },
    ];
    let mut when = sampling(&beds, "2026-03-22"); // tomorrow
    when.depth_top_cm = "20".into();
    let Err(Error::Invalid(problems)) = app.save_sampling_with_report(&ada, &when, &report("", rows)).await else {
        panic!("taken");
    };
    for field in [
        "sampled_on",
        "depth_bottom_cm",
        "lab",
        "rows.0.printed",
        "rows.1.method",
        "rows.2.printed",
        "rows.3.printed",
        "rows.4.printed",
        "rows.5.unit",
        "rows.6.analyte",
        "rows.7.form",
        "rows.8.layer",
    ] {
        let sentence = problems.of(field).unwrap_or_else(|| panic!("no sentence for {field}: {problems}"));
        assert!(sentence.ends_with('.'), "{sentence}");
    }
    assert!(app.samplings(&ada, beds[0]).await.unwrap().is_empty());
    let Err(Error::Invalid(problems)) =
        app.save_sampling_with_report(&ada, &sampling(&beds, "2026-02-10"), &report("Lab", vec![])).await
    else {
        panic!("a report without results was taken");
    };
    assert!(problems.of("rows").is_some());
}

#[tokio::test]
async fn a_correction_takes_the_place_of_a_cell_that_stays_to_be_seen() {
    let (folder, app, ada) = fresh().await;
    let beds = two_beds(&app, &ada).await;
    let rows = vec![cell("P", "olsen", "85", "mg/kg"), cell("K", "nh4oac_7", "120", "mg/kg")];
    let (sampling, report) =
        app.save_sampling_with_report(&ada, &sampling(&beds[..1], "2026-02-10"), &report("Lab", rows)).await.unwrap();
    let cells = app.report(&ada, report).await.unwrap().1;
    let typed = cell("P", "olsen", "8.5", "mg/kg");
    assert!(app.correct_cell(&ada, cells[0].id, &typed, " ").await.is_err(), "without a reason");
    let new = app.correct_cell(&ada, cells[0].id, &typed, "decimal point lost in typing").await.unwrap();
    let again = app.correct_cell(&ada, cells[0].id, &typed, "twice").await;
    assert!(matches!(again, Err(Error::Conflict(_))));
    app.overrule_reading(&ada, sampling, cells[1].id, "only one there is").await.unwrap();
    assert_eq!(app.overrules(&ada, &[sampling]).await.unwrap()[&sampling][0].cell, CellKey(cells[1].id.0));
    app.withdraw_cell(&ada, cells[1].id, "belongs to another bed").await.unwrap();

    let live = app.sampling(&ada, sampling).await.unwrap().sampling;
    let live: Vec<_> = live.determinations().map(|(_, d)| (d.key, d.printed.text.as_str())).collect();
    assert_eq!(live, [(CellKey(new.0), "8.5")]);
    let (_, all) = app.report(&ada, report).await.unwrap();
    let seen: Vec<_> =
        all.iter().map(|c| (c.printed.as_str(), c.superseded_by, c.withdrawn_reason.is_some())).collect();
    assert_eq!(seen, [("85", Some(new), false), ("8.5", None, false), ("120", None, true)]);
    let verbs: Vec<_> =
        app.history(&ada, Subject::Report(report)).await.unwrap().into_iter().map(|line| line.verb).collect();
    assert_eq!(verbs, ["withdrawn", "corrected", "added"]);

    app.void_sampling(&ada, sampling, "wrong bed").await.unwrap();
    assert!(app.samplings(&ada, beds[0]).await.unwrap().is_empty());
    app.close().await;
    the_file_itself_keeps_printed_cells(folder.path(), cells[0].id).await;
}

async fn the_file_itself_keeps_printed_cells(folder: &Path, id: DeterminationId) {
    let mut db =
        SqliteConnection::connect(&format!("sqlite://{}", folder.join("glebe.sqlite").display())).await.unwrap();
    for statement in [
        "update determinations set printed = '9' where id = ?",
        "update determinations set value = 9 where id = ?",
        "delete from determinations where id = ?",
        "update changes set summary = 'nothing happened' where id = ?",
        "delete from changes where id = ?",
    ] {
        assert!(sqlx::query(statement).bind(id.0).execute(&mut db).await.is_err(), "{statement}");
    }
}

#[tokio::test]
async fn the_soil_of_a_part_has_the_past_of_the_whole() {
    let (_folder, app, ada) = fresh().await;
    let beds = two_beds(&app, &ada).await;
    let rows = vec![cell("P", "olsen", "8.5", "mg/kg")];
    app.save_sampling_with_report(&ada, &sampling(&beds[..1], "2025-02-10"), &report("Lab", rows)).await.unwrap();
    let part = |code: &str| glebe::app::plots::PartForm { name: String::new(), code: code.into(), area_m2: "6".into() };
    let split =
        glebe::app::plots::SplitForm { took_place_on: "2025-11-01".into(), parts: vec![part("A1a"), part("A1b")] };
    let parts = app.split_plot(&ada, beds[0], &split).await.unwrap();
    assert_eq!(app.samplings(&ada, parts[1]).await.unwrap().len(), 1);
    assert!(app.samplings(&ada, beds[1]).await.unwrap().is_empty());
}

#[tokio::test]
async fn the_labs_own_sheet_is_kept_byte_for_byte() {
    let (_folder, app, ada) = fresh().await;
    let beds = two_beds(&app, &ada).await;
    let rows = vec![cell("P", "olsen", "8.5", "mg/kg")];
    let (_, report) =
        app.save_sampling_with_report(&ada, &sampling(&beds[..1], "2026-02-10"), &report("Lab", rows)).await.unwrap();
    let sheet = b"%PDF-1.4 an invented sheet".to_vec();
    let id = app.attach_to_report(&ada, report, "C:\\sheets\\2026.pdf", &sheet).await.unwrap();
    app.attach_to_plot(&ada, beds[0], "again.pdf", &sheet).await.unwrap(); // the same bytes are kept once
    let (row, bytes) = app.file(&ada, id).await.unwrap();
    assert_eq!((row.name.as_str(), row.media_type.as_str(), bytes), ("2026.pdf", "application/pdf", sheet));
    assert!(matches!(app.attach_to_plot(&ada, beds[0], "x.pdf", b"<svg onload='x'/>").await, Err(Error::Invalid(_))));
    app.void_file(&ada, id, "wrong sheet").await.unwrap();
    assert!(app.files_of_report(&ada, report).await.unwrap().is_empty());
    assert_eq!(app.files_of_plot(&ada, beds[0]).await.unwrap().len(), 1);
}
