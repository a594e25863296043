//! What lists of organic schemes say of products: noted with its source and its day, with the
//! evidence where there is some. The newest word of a list counts. Nothing here decides, and
//! nothing says "allowed": the certifier decides.

use super::{Actor, App, Problems, Result, Role, access::found, day, files, reports};
use crate::{
    agronomy::wants::{Listed, Listing},
    ids::{AmendmentId, ListStatusId},
    store::{self, Change, Subject, lists::Evidence, lists::NewListStatus},
};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use crate::store::lists::ListStatusRow;

/// How a product can stand on a list, by key and in words.
pub const STANDINGS: [(&str, &str, Listed); 3] = [
    ("listed", "Listed", Listed::Listed),
    ("conditions", "Listed under conditions", Listed::Conditions),
    ("not_listed", "Not listed", Listed::NotListed),
];

/// What is typed about a product on a list.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ListForm {
    pub list: String,
    pub status: String,
    pub conditions: String,
    /// Who or what says so.
    pub list_source: String,
    pub stated_on: String,
}

/// A status as the trade reads it.
pub fn listing(row: &ListStatusRow) -> Listing {
    let listed =
        STANDINGS.iter().find(|(key, ..)| *key == row.status).map_or(Listed::NotListed, |(.., listed)| *listed);
    Listing { listed, conditions: row.conditions.clone(), source: row.source.clone(), on: row.stated_on }
}

/// The newest word of one list on each product.
pub fn newest(rows: &[ListStatusRow], list: &str) -> BTreeMap<AmendmentId, Listing> {
    let mut newest = BTreeMap::new();
    // The newest of a product and list comes first.
    for row in rows.iter().filter(|row| row.list == list) {
        newest.entry(row.amendment).or_insert_with(|| listing(row));
    }
    newest
}

impl App {
    /// Everything that lists said, the newest of each list and product first.
    pub async fn list_statuses(&self, actor: &Actor) -> Result<Vec<ListStatusRow>> {
        actor.may(Role::Reader)?;
        Ok(store::lists::all(&mut *self.store.read().await?).await?)
    }

    /// Notes what a list says of a product.
    pub async fn add_list_status(&self, actor: &Actor, id: AmendmentId, form: &ListForm) -> Result<ListStatusId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let list = problems.text("list", &form.list, 200, "Name the list, such as EU 2021/1165 annex II.");
        let source =
            problems.text("list_source", &form.list_source, 500, "Say who or what says so: the list, a letter.");
        let on = problems.past_date("stated_on", &form.stated_on, self.today());
        let status = STANDINGS.iter().find(|(key, ..)| *key == form.status).map(|(key, ..)| *key);
        if status.is_none() {
            problems.add("status", "Choose what the list says.");
        }
        if form.conditions.trim().chars().count() > 1000 {
            problems.add("conditions", "At most 1000 characters, please.");
        }
        problems.none()?;
        let new = NewListStatus {
            list,
            status: found(status, "status")?,
            conditions: form.conditions.trim().to_owned(),
            source,
            stated_on: found(on, "date")?,
        };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::amendments::find(&mut write, id, self.today()).await?, "amendment")?;
        let status = store::lists::insert(&mut write, id, &new).await?;
        let rows = store::lists::all(&mut write).await?;
        let words = rows.iter().find(|r| r.id == status).map_or_else(String::new, |r| listing(r).words(&new.list));
        let summary = format!("{}: {words}.", row.amendment.name);
        write.commit(Change::new(Subject::Amendment(id), "listed", summary)).await?;
        Ok(status)
    }

    /// Keeps the evidence of a status; gives the product that it is about.
    pub async fn attach_to_list_status(
        &self,
        actor: &Actor,
        id: ListStatusId,
        name: &str,
        bytes: &[u8],
    ) -> Result<AmendmentId> {
        actor.may(Role::Recorder)?;
        let (name, media_type) = files::checked(name, bytes)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::lists::find(&mut write, id).await?, "list status")?;
        if row.evidence.is_some() {
            return Err(super::Error::invalid("file", "There is evidence already. Note the status anew for another."));
        }
        let file = Evidence { name, media_type: media_type.to_owned(), bytes: bytes.to_vec() };
        store::lists::insert_evidence(&mut write, id, &file, &files::sha256(bytes)).await?;
        let summary = format!("The file {} was kept as evidence of what {} says.", file.name, row.list);
        write.commit(Change::new(Subject::Amendment(row.amendment), "attached", summary)).await?;
        Ok(row.amendment)
    }

    /// The evidence of a status.
    pub async fn list_evidence(&self, actor: &Actor, id: ListStatusId) -> Result<Evidence> {
        actor.may(Role::Reader)?;
        found(store::lists::evidence(&mut *self.store.read().await?, id).await?, "file")
    }

    /// Voids a status that was noted by mistake; gives the product that it was about.
    pub async fn void_list_status(&self, actor: &Actor, id: ListStatusId, reason: &str) -> Result<AmendmentId> {
        actor.may(Role::Recorder)?;
        let reason = reports::reason(reason)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::lists::find(&mut write, id).await?, "list status")?;
        store::lists::void(&mut write, id, &reason).await?;
        let summary = format!(
            "What {} said on {} was noted by mistake and no longer counts: {reason}",
            row.list,
            day(row.stated_on)
        );
        write.commit(Change::new(Subject::Amendment(row.amendment), "voided", summary)).await?;
        Ok(row.amendment)
    }
}
