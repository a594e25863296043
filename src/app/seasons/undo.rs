//! Undoing the last change of a draft: doses saved by hand, the plan worked out again, or other
//! choices. What is undone is kept in its place, so undoing twice changes nothing.

use crate::{
    app::{Actor, App, Error, Result, Role},
    ids::PlanId,
    store::{self, Change, Subject},
};

impl App {
    /// A draft again as it was before its last change; `revision` is of the plan that was looked at.
    pub async fn undo_plan(&self, actor: &Actor, id: PlanId, revision: Option<i64>) -> Result<()> {
        actor.may(Role::Recorder)?;
        let plan = self.draft(id).await?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        if store::undos::last(&mut write, id).await?.is_none() {
            return Err(Error::Conflict("There is no change of this plan to undo.".into()));
        }
        store::undos::undo(&mut write, id, revision.unwrap_or(plan.revision)).await?;
        let summary = format!("The last change of {} was undone.", plan.name);
        Ok(write.commit(Change::new(Subject::Plan(id), "undone", summary)).await?)
    }
}
