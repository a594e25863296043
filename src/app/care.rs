//! Looking after the record itself: copies and checks. Nothing in here changes it.

use super::{Actor, App, Error, Result, Role};
use std::path::Path;

impl App {
    /// Writes a checked copy of the record to a new file, while it is in use. `actor` is
    /// `None` for whoever runs the program on the machine itself.
    pub async fn back_up(&self, actor: Option<&Actor>, to: &Path) -> Result<()> {
        actor.map_or(Ok(()), |actor| actor.may(Role::Steward))?;
        if to.exists() {
            return Err(Error::invalid("to", format!("{} is there already; a copy never overwrites.", to.display())));
        }
        Ok(self.store.back_up(to).await?)
    }

    /// What is wrong with the file; empty when it is sound.
    pub async fn check(&self, actor: Option<&Actor>) -> Result<Vec<String>> {
        actor.map_or(Ok(()), |actor| actor.may(Role::Steward))?;
        Ok(self.store.check().await?)
    }
}
