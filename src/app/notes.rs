//! What somebody saw on a plot: a few words with a day, and a photo where there is one.

use super::{Actor, App, Error, Problems, Result, Role, access::found, day, files, reports::reason};
use crate::{
    ids::{NoteId, PlotId},
    store::{self, Change, Subject, files::Place},
};
use serde::{Deserialize, Serialize};

pub use crate::store::notes::NoteRow;

/// What is typed about something seen.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct NoteForm {
    pub noted_on: String,
    pub text: String,
}

impl App {
    /// Writes down what was seen on a plot, with the name and bytes of a file where there is one.
    pub async fn add_note(
        &self,
        actor: &Actor,
        id: PlotId,
        form: &NoteForm,
        file: Option<(&str, &[u8])>,
    ) -> Result<NoteId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let on = problems.past_date("noted_on", &form.noted_on, self.today());
        let text = problems.text("text", &form.text, 2000, "Write what you saw.");
        let file = match file.map(|(name, bytes)| files::checked(name, bytes).map(|checked| (checked, bytes))) {
            Some(Err(Error::Invalid(wrong))) => {
                wrong.0.into_iter().for_each(|problem| problems.add(&problem.field, problem.message));
                None
            }
            other => other.transpose()?,
        };
        problems.none()?;
        let on = found(on, "date")?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let plot = found(store::plots::plot(&mut write, id).await?, "plot")?;
        if plot.began_on.is_some_and(|began| on < began) {
            return Err(Error::invalid("noted_on", format!("{} did not exist on this day.", plot.code)));
        }
        let mut attachment = None;
        if let Some(((name, media_type), bytes)) = file {
            let (place, sha256) = (Place::Plot(id), files::sha256(bytes));
            attachment = Some(store::files::insert(&mut write, place, &name, media_type, &sha256, bytes).await?);
        }
        let note = store::notes::insert(&mut write, id, on, &text, attachment).await?;
        let summary = format!("Noted on {} of {}: {text}", plot.code, day(on));
        write.commit(Change::new(Subject::Note(note), "added", summary)).await?;
        Ok(note)
    }

    /// One note, void or not.
    pub async fn note(&self, actor: &Actor, id: NoteId) -> Result<NoteRow> {
        actor.may(Role::Reader)?;
        found(store::notes::find(&mut *self.store.read().await?, id).await?, "note")
    }

    /// Takes a note back, with a reason, and the file that came with it.
    pub async fn void_note(&self, actor: &Actor, id: NoteId, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::notes::find(&mut write, id).await?.filter(|row| row.voided_at.is_none()), "note")?;
        store::notes::void(&mut write, id, &why).await?;
        if let Some(file) = row.attachment {
            store::files::void(&mut write, file, &why).await?;
        }
        let summary = format!("The note of {} was taken back: {why}", day(row.noted_on));
        Ok(write.commit(Change::new(Subject::Note(id), "voided", summary)).await?)
    }
}
