//! Files kept with the record. What a file is, is told by its content, never by its name;
//! only a few kinds are taken, and none of them is ever shown as a page of ours.

use super::{Actor, App, Error, Result, Role, access::found};
use crate::{
    ids::{AttachmentId, PlotId, ReportId},
    settings::UPLOAD_BYTES_MAX,
    store::{self, Change, Subject},
};
use sha2::{Digest, Sha256};

pub use crate::store::files::AttachmentRow;
use crate::store::files::Place;

impl App {
    /// The files of a report.
    pub async fn files_of_report(&self, actor: &Actor, id: ReportId) -> Result<Vec<AttachmentRow>> {
        actor.may(Role::Reader)?;
        Ok(store::files::of(&mut *self.store.read().await?, Place::Report(id)).await?)
    }

    /// The files of a plot.
    pub async fn files_of_plot(&self, actor: &Actor, id: PlotId) -> Result<Vec<AttachmentRow>> {
        actor.may(Role::Reader)?;
        Ok(store::files::of(&mut *self.store.read().await?, Place::Plot(id)).await?)
    }

    /// A file with its bytes.
    pub async fn file(&self, actor: &Actor, id: AttachmentId) -> Result<(AttachmentRow, Vec<u8>)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::files::find(&mut read, id).await?, "file")?;
        let bytes = found(store::files::bytes(&mut read, id).await?, "file")?;
        Ok((row, bytes))
    }

    /// Keeps the lab's own sheet with a report.
    pub async fn attach_to_report(
        &self,
        actor: &Actor,
        id: ReportId,
        name: &str,
        bytes: &[u8],
    ) -> Result<AttachmentId> {
        self.attach(actor, Place::Report(id), name, bytes).await
    }

    /// Keeps a file with a plot.
    pub async fn attach_to_plot(&self, actor: &Actor, id: PlotId, name: &str, bytes: &[u8]) -> Result<AttachmentId> {
        self.attach(actor, Place::Plot(id), name, bytes).await
    }

    async fn attach(&self, actor: &Actor, place: Place, name: &str, bytes: &[u8]) -> Result<AttachmentId> {
        actor.may(Role::Recorder)?;
        let (name, media_type) = checked(name, bytes)?;
        let sha256 = sha256(bytes);
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        match place {
            Place::Report(id) => drop(found(store::samplings::report(&mut write, id).await?, "report")?),
            Place::Plot(id) => drop(found(store::plots::plot(&mut write, id).await?, "plot")?),
        }
        let id = store::files::insert(&mut write, place, &name, media_type, &sha256, bytes).await?;
        let subject = match place {
            Place::Report(id) => Subject::Report(id),
            Place::Plot(id) => Subject::Plot(id),
        };
        write.commit(Change::new(subject, "attached", format!("The file {name} was attached."))).await?;
        Ok(id)
    }

    /// Hides a file, with a reason.
    pub async fn void_file(&self, actor: &Actor, id: AttachmentId, reason: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let reason = super::reports::reason(reason)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::files::find(&mut write, id).await?.filter(|row| row.voided_at.is_none()), "file")?;
        store::files::void(&mut write, id, &reason).await?;
        let subject = match (row.report, row.plot) {
            (Some(id), _) => Subject::Report(id),
            (None, Some(id)) => Subject::Plot(id),
            (None, None) => Subject::Attachment(id),
        };
        Ok(write.commit(Change::new(subject, "voided", format!("The file {} was removed: {reason}", row.name))).await?)
    }
}

/// The name to keep a file under and what it is, or why it is not taken.
pub(super) fn checked(name: &str, bytes: &[u8]) -> Result<(String, &'static str)> {
    let name: String =
        name.rsplit(['/', '\\']).next().unwrap_or_default().chars().filter(|c| !c.is_control()).collect();
    let name = Some(name.trim()).filter(|name| !name.is_empty()).unwrap_or("file");
    let name: String = name.chars().take(200).collect();
    if bytes.is_empty() {
        return Err(Error::invalid("file", "Choose a file; this one is empty."));
    }
    if bytes.len() > UPLOAD_BYTES_MAX {
        return Err(Error::invalid("file", format!("A file has at most {} MiB.", UPLOAD_BYTES_MAX >> 20)));
    }
    match media_type(bytes, &name) {
        Some(media_type) => Ok((name, media_type)),
        None => {
            Err(Error::invalid("file", "Only PDF, PNG, JPEG, CSV and plain text are kept; this is something else."))
        }
    }
}

/// What the bytes of a file are found by.
pub(super) fn sha256(bytes: &[u8]) -> Vec<u8> {
    Sha256::digest(bytes).to_vec()
}

/// What a file is, by its first bytes; the name only tells CSV from other plain text.
fn media_type(bytes: &[u8], name: &str) -> Option<&'static str> {
    if bytes.starts_with(b"%PDF-") {
        Some("application/pdf")
    } else if bytes.starts_with(b"\x89PNG\r\n\x1a\n") {
        Some("image/png")
    } else if bytes.starts_with(b"\xff\xd8\xff") {
        Some("image/jpeg")
    } else {
        let text = std::str::from_utf8(bytes).ok().filter(|text| !text.contains('\0'))?;
        let start = text.trim_start_matches(['\u{feff}', ' ', '\t', '\r', '\n']);
        if start.starts_with('<') {
            None // markup may carry scripts
        } else if name.to_lowercase().ends_with(".csv") {
            Some("text/csv")
        } else {
            Some("text/plain")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::media_type;

    #[test]
    fn a_file_is_what_its_bytes_say() {
        assert_eq!(media_type(b"%PDF-1.7 ...", "photo.png"), Some("application/pdf"));
        assert_eq!(media_type(b"\xff\xd8\xff\xe0", "a.pdf"), Some("image/jpeg"));
        assert_eq!(media_type("P;14\nK;0,5".as_bytes(), "sheet.CSV"), Some("text/csv"));
        for (bytes, name) in
            [(&b"<svg onload=x>"[..], "a.png"), (b" <html>", "a.txt"), (b"MZ\0\0", "a.pdf"), (b"\xff\xfe", "a.csv")]
        {
            assert_eq!(media_type(bytes, name), None, "{name}");
        }
    }
}
