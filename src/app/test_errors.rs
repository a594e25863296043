//! How far apart two honest tests come out, as a site sets it: by nutrient, by lab, and
//! between labs. Drift, the likelihood of a shortage and tests by several labs are all
//! weighed by it; where nothing is set, the published defaults stand.

use super::{Actor, App, Problems, Result, Role, access::found, error::Limits};
use crate::{
    agronomy::{
        analyte::Analyte,
        confidence::TestError,
        drift::{ErrorSettings, REVIEWED, Scale},
    },
    exchange::number::Low,
    ids::SiteId,
    store::{self, Change, Db, Subject, errors::ErrorRow},
};
use std::collections::BTreeMap;

/// What is typed: percent for concentrations, pH units for pH; empty takes the default.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ErrorForm {
    /// By analyte.
    pub error: BTreeMap<String, String>,
    /// What is added between labs, by analyte.
    pub between: BTreeMap<String, String>,
    /// By lab, then by analyte.
    pub by_lab: Vec<(String, BTreeMap<String, String>)>,
    /// Of the site.
    pub revision: i64,
}

/// Labs that the form has room for.
const LABS: usize = 4;

const SHARE: Limits =
    Limits { what: "The error of a test", unit: "%", low: Low::Above(0.0), at_most: 200.0, decimals: 2 };
const PH_UNITS: Limits =
    Limits { what: "The error of a pH", unit: "", low: Low::Above(0.0), at_most: 3.0, decimals: 3 };

/// A row of the record as the trade takes it.
fn error(row: &ErrorRow) -> TestError {
    match Scale::of(row.analyte) {
        Scale::Log => TestError::Relative(row.amount),
        Scale::Linear => TestError::Absolute(row.amount),
    }
}

/// The errors in force on a site.
pub(super) async fn errors_of(db: &mut Db, site: SiteId) -> Result<ErrorSettings> {
    let mut settings = ErrorSettings::default();
    for row in store::errors::of_site(db, site).await? {
        let error = error(&row);
        match (row.between_labs, row.lab.is_empty()) {
            (true, _) => drop(settings.between_labs.insert(row.analyte, error)),
            (false, true) => drop(settings.own.insert(row.analyte, error)),
            (false, false) => drop(settings.by_lab.insert((row.analyte, row.lab), error)),
        }
    }
    Ok(settings)
}

/// As it is typed: "15" for 15 %, "0.15" for pH.
fn typed(row: &ErrorRow) -> String {
    let shown = if Scale::of(row.analyte) == Scale::Log { row.amount * 100.0 } else { row.amount };
    let text = format!("{shown:.3}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

impl ErrorForm {
    fn of(rows: &[ErrorRow], labs: Vec<String>, revision: i64) -> ErrorForm {
        let by = |wanted: &dyn Fn(&ErrorRow) -> bool| -> BTreeMap<String, String> {
            rows.iter().filter(|row| wanted(row)).map(|row| (row.analyte.to_string(), typed(row))).collect()
        };
        ErrorForm {
            error: by(&|row| !row.between_labs && row.lab.is_empty()),
            between: by(&|row| row.between_labs),
            by_lab: labs.into_iter().map(|lab| (lab.clone(), by(&|row| row.lab == lab))).collect(),
            revision,
        }
    }

    /// Reads the form, or says by its field what is wrong: `error[P]`, `between[P]`, `lab_0[P]`.
    fn read(&self) -> Result<Vec<ErrorRow>> {
        let (mut problems, mut rows) = (Problems::default(), Vec::new());
        let columns = [("error".to_owned(), "", false, &self.error), ("between".to_owned(), "", true, &self.between)];
        let by_lab =
            self.by_lab.iter().enumerate().map(|(at, (lab, typed))| (format!("lab_{at}"), lab.as_str(), false, typed));
        for (column, lab, between_labs, typed) in columns.into_iter().chain(by_lab) {
            for (key, text) in typed {
                let field = format!("{column}[{key}]");
                let Ok(analyte) = key.parse::<Analyte>() else {
                    problems.add(&field, format!("“{key}” is not known here."));
                    continue;
                };
                let (limits, unit) = match Scale::of(analyte) {
                    Scale::Log => (&SHARE, 0.01),
                    Scale::Linear => (&PH_UNITS, 1.0),
                };
                if let Some(number) = problems.optional_number(&field, text, limits) {
                    rows.push(ErrorRow { analyte, lab: lab.to_owned(), between_labs, amount: number * unit });
                }
            }
        }
        problems.none()?;
        Ok(rows)
    }
}

impl App {
    /// The errors of a site as its form shows them, with the nutrients and what stands where
    /// nothing is set.
    pub async fn error_form(&self, actor: &Actor, id: SiteId) -> Result<ErrorForm> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let rows = store::errors::of_site(&mut read, id).await?;
        let mut labs: Vec<String> = rows.iter().map(|row| row.lab.clone()).filter(|lab| !lab.is_empty()).collect();
        labs.extend(store::samplings::labs(&mut read).await?.into_iter().take(LABS));
        let mut once = Vec::new();
        labs.into_iter().for_each(|lab| {
            if !once.contains(&lab) {
                once.push(lab)
            }
        });
        Ok(ErrorForm::of(&rows, once, site.revision))
    }

    /// The errors in force on a site.
    pub async fn test_errors(&self, actor: &Actor, id: SiteId) -> Result<ErrorSettings> {
        actor.may(Role::Reader)?;
        errors_of(&mut *self.store.read().await?, id).await
    }

    /// Sets the errors of a site's tests.
    pub async fn set_test_errors(&self, actor: &Actor, id: SiteId, form: &ErrorForm) -> Result<()> {
        actor.may(Role::Steward)?;
        let rows = form.read()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let site = found(store::plots::site(&mut write, id).await?, "site")?;
        let before = store::errors::of_site(&mut write, id).await?;
        store::plots::count_edit(&mut write, id, form.revision).await?;
        store::errors::replace(&mut write, id, &rows).await?;
        let told = |rows: &[ErrorRow]| -> Vec<serde_json::Value> {
            let told = |row: &ErrorRow| serde_json::json!({ "analyte": row.analyte, "lab": row.lab, "between_labs": row.between_labs, "amount": row.amount });
            rows.iter().map(told).collect()
        };
        let summary = match rows.len() {
            0 => format!("{} goes back to the default errors of soil tests.", site.name),
            n => format!("{} sets {n} errors of soil tests itself.", site.name),
        };
        let detail = serde_json::json!({ "before": told(&before), "after": told(&rows) });
        Ok(write.commit(Change::new(Subject::Site(id), "edited", summary).with(detail)).await?)
    }
}

/// The nutrients that the form has a line for.
pub fn analytes() -> &'static [Analyte] {
    &REVIEWED
}
