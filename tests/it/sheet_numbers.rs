//! The short copy of every sheet that reviews of a site read: it says what the record says,
//! after corrections, withdrawals and imports too.

use super::{demo::garden as demo_garden, store::fresh};
use sqlx::{Connection, SqliteConnection};
use std::path::Path;

async fn raw(folder: &Path) -> SqliteConnection {
    let file = folder.join("glebe.sqlite");
    SqliteConnection::connect(&format!("sqlite://{}", file.display())).await.unwrap()
}

/// Each result as the copy has it: report, analyte, method, unit, form, value; by the order of the sheet.
async fn copied(db: &mut SqliteConnection) -> Vec<(i64, String, f64)> {
    let sheets: Vec<(i64, String)> =
        sqlx::query_as("select report, numbers from sheet_numbers order by report").fetch_all(&mut *db).await.unwrap();
    let kinds: Vec<(i64, String)> = sqlx::query_as(
        "select id, analyte || ' ' || method || ' ' || unit || ' ' || form || ' ' || qualifier || ' ' || decimals || ' '
                    || basis || ' ' || layer
         from result_kinds",
    )
    .fetch_all(db)
    .await
    .unwrap();
    let mut all = vec![];
    for (report, numbers) in sheets {
        let words: Vec<&str> = numbers.split(' ').collect();
        for pair in words.chunks(2) {
            let kind: i64 = pair[0].parse().unwrap();
            let (_, kind) = kinds.iter().find(|(id, _)| *id == kind).unwrap();
            all.push((report, kind.clone(), pair[1].parse().unwrap()));
        }
    }
    all
}

/// The same from the record itself.
async fn recorded(db: &mut SqliteConnection) -> Vec<(i64, String, f64)> {
    sqlx::query_as(
        "select report, analyte || ' ' || method || ' ' || unit || ' ' || coalesce(form, '') || ' ' || qualifier || ' '
                    || decimals || ' ' || basis || ' ' || coalesce(layer, ''), value
         from determinations d
         where value is not null and not exists (select 1 from determinations n where n.supersedes = d.id)
           and not exists (select 1 from withdrawals w where w.determination = d.id)
         order by report, id",
    )
    .fetch_all(db)
    .await
    .unwrap()
}

#[tokio::test]
async fn an_imported_garden_is_copied_to_the_last_digit() {
    let (folder, _app, _actor) = demo_garden(super::demo::AUTUMN).await;
    let mut db = raw(folder.path()).await;
    let copy = copied(&mut db).await;
    assert!(copy.len() > 500, "{}", copy.len());
    assert_eq!(copy, recorded(&mut db).await);
}

#[tokio::test]
async fn corrections_and_withdrawals_reach_the_copy_at_once() {
    let (folder, _app, _ada) = fresh().await;
    let mut db = raw(folder.path()).await;
    let result = |id: i64, report: i64, analyte: &str, value: &str, rest: &str| {
        let (qualifier, supersedes) = if value == "null" { ("not_detected", "null") } else { ("exact", rest) };
        let reason = if supersedes == "null" { "null, null" } else { "'misread', '2026'" };
        format!(
            "insert into determinations (id, report, position, analyte, method, printed, qualifier, value, decimals, unit, basis,
                                         supersedes, correction_reason, corrected_at)
             values ({id}, {report}, {id}, '{analyte}', 'olsen', '{value}', '{qualifier}', {value}, 1, 'mg/kg', 'mass', {supersedes}, {reason})"
        )
    };
    let steps = [
        ("pragma foreign_keys = off".to_owned(), 0),
        (result(1, 7, "P", "31.5", "null"), 1),
        (result(2, 7, "K", "120", "null"), 2),
        (result(3, 7, "B", "null", "null"), 2), // not detected: no number
        (result(4, 8, "P", "0.1", "null"), 3),
        (result(5, 7, "P", "13.5", "1"), 3), // a correction
        ("insert into withdrawals (determination, at, reason) values (2, '2026', 'another bed')".into(), 2),
        ("insert into withdrawals (determination, at, reason) values (4, '2026', 'another bed')".into(), 1),
        (result(6, 8, "K", "99", "null"), 2), // a sheet that was empty
    ];
    for (sql, left) in steps {
        sqlx::raw_sql(sqlx::AssertSqlSafe(sql.clone())).execute(&mut db).await.unwrap_or_else(|e| panic!("{sql}: {e}"));
        let copy = copied(&mut db).await;
        assert_eq!(copy.len(), left, "{sql}");
        assert_eq!(copy, recorded(&mut db).await, "{sql}");
    }
    assert_eq!(copied(&mut db).await[0].2, 13.5);
}
