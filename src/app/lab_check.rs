//! A sampling's sheets held against each other and against their own sums: loads them and lets
//! the trade speak.

use super::{Actor, App, Result, sheet::Sheet};
use crate::{
    agronomy::lab_check::{LabCheck, check},
    ids::SamplingId,
};

impl App {
    /// A sampling with what a check of its sheets has to say.
    pub async fn lab_check(&self, actor: &Actor, id: SamplingId) -> Result<(Sheet, LabCheck)> {
        let sheet = self.sheet(actor, id).await?;
        let errors = self.test_errors(actor, sheet.site.id).await?;
        let found = check(&sheet.loaded.sampling, &sheet.present.signs, &errors);
        Ok((sheet, found))
    }
}
