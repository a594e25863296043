//! Tables that a migration makes anew keep what they held, and what refers to it.

use glebe::store::Store;
use sqlx::{Connection, SqliteConnection};
use std::path::Path;

async fn raw(folder: &Path) -> SqliteConnection {
    SqliteConnection::connect(&format!("sqlite://{}", folder.join("glebe.sqlite").display())).await.unwrap()
}

/// A record as the program before migration `before` left it.
async fn older(folder: &Path, before: i64) -> SqliteConnection {
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut older = sqlx::migrate::Migrator::new(from).await.unwrap();
    older.migrations = older.iter().filter(|migration| migration.version < before).cloned().collect();
    std::fs::File::create(folder.join("glebe.sqlite")).unwrap();
    let mut db = raw(folder).await;
    older.run(&mut db).await.unwrap();
    db
}

/// Every row of the tables that hold or name an analysis, as text.
async fn rows(db: &mut SqliteConnection) -> Vec<String> {
    sqlx::query_scalar(
        "select json_array('analysis', id, amendment, valid_from, label, source, neutralising_value, moisture, recorded_at, recorded_by)
         from analyses
         union all select json_array('part', analysis, element, mass_fraction, printed, source) from analysis_parts
         union all select json_array('dose', id, plan, amendment, analysis, mass_g) from doses
         union all select json_array('application', id, applied_on, amendment, analysis, mass_g, dose) from applications
         order by 1",
    )
    .fetch_all(db)
    .await
    .unwrap()
}

/// Indexes and triggers of a table.
async fn attached(db: &mut SqliteConnection) -> Vec<(String, String)> {
    sqlx::query_as("select name, coalesce(sql, '') from sqlite_schema where tbl_name = 'analyses' and type <> 'table' order by name")
        .fetch_all(db)
        .await
        .unwrap()
}

const RECORDED: &str = "
insert into people (id, name, login, password_hash, role, created_at) values (3, 'Ada', 'ada', '$argon2id$x', 'steward', '2025');
insert into sites (id, name, currency) values (1, 'Home', 'EUR');
insert into plots (id, site, name, code, area_m2, cover, texture, depth_cm) values (1, 1, 'Bed 1', 'B1', 10, 'open', 'loam', 20);
insert into seasons (id, site, name, starts_on, ends_on) values (1, 1, '2025', '2025-01-01', '2025-12-31');
insert into amendments (id, name, kind) values (4, 'Limestone', 'lime'), (5, 'Sulfur', 'mineral');
insert into analyses (id, amendment, valid_from, label, source, neutralising_value, moisture, recorded_at, recorded_by)
values (11, 4, '2024-01-01', '', '{}', 93.25, 0.015, '2024', 3),
       (12, 5, '2024-01-01', '90 S', '{}', -200, null, '2024', null),
       (27, 4, '2025-02-01', 'new pit', '{}', null, null, '2025', 3);
insert into analysis_parts (analysis, element, mass_fraction, first_year_availability, source)
values (11, 'Ca', 0.37, 1, '{}'), (12, 'S', 0.9, 0.5, '{}'), (27, 'Ca', 0.38, 1, '{}');
insert into plans (id, season, name, guideline, guideline_version) values (1, 1, 'Spring', 'x', 0);
insert into doses (id, plan, plot, amendment, analysis, mass_g, origin) values (1, 1, 1, 4, 27, 2500, 'solved'), (2, 1, 1, 5, 12, 300, 'hand');
update plans set state = 'agreed', agreed_at = '2025', agreed_by = 3;
insert into applications (id, site, plot, applied_on, amendment, analysis, mass_g, dose, recorded_at)
values (1, 1, 1, '2024-10-01', 4, 11, 1800, null, '2024'), (2, 1, 1, '2025-03-01', 4, 27, 2500, 1, '2025');
";

#[tokio::test]
async fn analyses_made_anew_keep_their_rows_and_all_that_names_them() {
    let folder = tempfile::tempdir().unwrap();
    let mut db = older(folder.path(), 22).await;
    sqlx::raw_sql(RECORDED).execute(&mut db).await.unwrap();
    let strong = "insert into analyses (amendment, valid_from, source, neutralising_value, recorded_at) values (4, '2026-01-01', '{}', 216.2, '2026')";
    assert!(sqlx::query(strong).execute(&mut db).await.is_err(), "an older record takes it");
    let (held, attached_before) = (rows(&mut db).await, attached(&mut db).await);
    assert_eq!(held.len(), 3 + 3 + 2 + 2);
    assert!(attached_before.len() >= 4, "{attached_before:?}");
    db.close().await.unwrap();

    // Opened as the program opens it: with foreign keys.
    drop(Store::open(&folder.path().join("glebe.sqlite"), "2026-03-21T09:00:00Z".parse().unwrap()).await.unwrap());

    let mut db = raw(folder.path()).await;
    assert_eq!(rows(&mut db).await, held);
    assert_eq!(attached(&mut db).await, attached_before);
    assert!(sqlx::query("pragma foreign_key_check").fetch_all(&mut db).await.unwrap().is_empty());
    let left: i64 = sqlx::query_scalar("select count(*) from sqlite_schema where name like 'analyses_before%'")
        .fetch_one(&mut db)
        .await
        .unwrap();
    assert_eq!(left, 0, "the copy was left behind");

    // What had to hold still does, and only the ends have moved.
    for refused in [
        "update analyses set label = 'x' where id = 11",
        "delete from analyses where id = 27",
        "insert into applications (site, plot, applied_on, amendment, analysis, mass_g, recorded_at) values (1, 1, '2026-01-01', 5, 11, 1, '2026')",
        "insert into analysis_parts (analysis, element, mass_fraction, first_year_availability, source) values (99, 'Ca', 0.1, 1, '{}')",
        "insert into analyses (amendment, valid_from, source, neutralising_value, recorded_at) values (4, '2026-01-01', '{}', 250.1, '2026')",
        "insert into analyses (amendment, valid_from, source, neutralising_value, recorded_at) values (4, '2026-01-01', '{}', -320.1, '2026')",
        "insert into analyses (amendment, valid_from, source, neutralising_value, recorded_at) values (6, '2026-01-01', '{}', 100, '2026')",
    ] {
        assert!(sqlx::query(refused).execute(&mut db).await.is_err(), "taken: {refused}");
    }
    sqlx::query(strong).execute(&mut db).await.unwrap();
}
