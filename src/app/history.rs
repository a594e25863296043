//! What was changed, by whom and when, as readable lines.

use super::{Actor, App, Result, Role};
use crate::store;

pub use crate::store::history::{ChangeRow, Subject};

impl App {
    /// The history of one thing, newest first.
    pub async fn history(&self, actor: &Actor, subject: Subject) -> Result<Vec<ChangeRow>> {
        actor.may(Role::Reader)?;
        Ok(store::history::of(&mut *self.store.read().await?, subject).await?)
    }

    /// The newest lines of the whole record, older than line `before` where one is given.
    pub async fn latest_changes(&self, actor: &Actor, before: Option<i64>, count: u32) -> Result<Vec<ChangeRow>> {
        actor.may(Role::Reader)?;
        Ok(store::history::latest(&mut *self.store.read().await?, before, count).await?)
    }
}
