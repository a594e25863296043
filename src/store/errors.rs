//! The errors of soil tests that a site has set itself.

use super::{Result, Write, values::Text};
use crate::{agronomy::analyte::Analyte, ids::SiteId};
use sqlx::SqliteConnection;

/// One error that a site has set.
#[derive(Clone, Debug, PartialEq)]
pub struct ErrorRow {
    pub analyte: Analyte,
    /// As on its sheets; empty for any lab.
    pub lab: String,
    /// Added for a test by another lab; else the error of one test.
    pub between_labs: bool,
    /// A share of the value; for pH in pH units.
    pub amount: f64,
}

/// What a site has set.
pub async fn of_site(db: &mut SqliteConnection, site: SiteId) -> Result<Vec<ErrorRow>> {
    Ok(sqlx::query_as!(
        ErrorRow,
        r#"select analyte as "analyte: Text<Analyte>", lab, what = 'between_labs' as "between_labs!: bool", amount
           from test_errors where site = ? order by id"#,
        site
    )
    .fetch_all(db)
    .await?)
}

/// Puts these in the place of what the site had set.
pub async fn replace(write: &mut Write, site: SiteId, rows: &[ErrorRow]) -> Result<()> {
    sqlx::query!("delete from test_errors where site = ?", site).execute(&mut **write).await?;
    for row in rows {
        let (analyte, what) = (row.analyte.to_string(), if row.between_labs { "between_labs" } else { "one_test" });
        sqlx::query!(
            "insert into test_errors (site, analyte, lab, what, amount) values (?, ?, ?, ?, ?)",
            site,
            analyte,
            row.lab,
            what,
            row.amount
        )
        .execute(&mut **write)
        .await?;
    }
    Ok(())
}
