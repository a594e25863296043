//! Taking in a set of CSV files: what it would change, and changing it.
//!
//! A dry run and the real thing are one function over the same bytes; the dry run looks at
//! the record through a reader and throws the rows away, the real thing holds the write lock
//! and saves them all in one transaction, or none where anything is wrong. What is in the
//! record already is recognised and left as it is, so a set may be taken in twice.

mod resolve;

use super::{Actor, App, Error, Result, Role};
use crate::{
    exchange::record_set::{self, RecordSet},
    store::{self, Change, Subject, bulk, plots::NewSite},
};
use resolve::{Resolved, resolve};
use serde::Serialize;
use std::collections::BTreeMap;

pub use crate::exchange::record_set::ImportProblem;

/// What a set is taken into.
#[derive(Clone, Debug)]
pub struct ImportInto {
    /// Name of the site; it is added where there is none of this name.
    pub site: String,
    /// ISO 4217, for a site that is added.
    pub currency: String,
}

/// How many lines of one kind a set has, and what becomes of them.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Count {
    /// Understood in the files.
    pub in_files: usize,
    /// Not in the record yet.
    pub new: usize,
}

impl Count {
    /// In the record already.
    pub fn already(self) -> usize {
        self.in_files - self.new
    }
}

/// What a set holds beside what the record holds.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Preview {
    /// Whether the site itself would be added.
    pub new_site: bool,
    /// By what the lines are, in the order of the files.
    pub counts: Vec<(&'static str, Count)>,
    /// Nothing is taken in while there is one of these.
    pub problems: Vec<ImportProblem>,
    /// Worth knowing; these stop nothing.
    pub notices: Vec<ImportProblem>,
    /// Whether it was saved.
    pub saved: bool,
}

impl Preview {
    /// Lines that are not in the record yet.
    pub fn new_lines(&self) -> usize {
        self.counts.iter().map(|(_, count)| count.new).sum()
    }

    /// What is new, as a sentence continues: "40 plots and 320 samplings".
    fn words(&self) -> String {
        let new = self.counts.iter().filter(|(_, count)| count.new > 0);
        let some: Vec<_> = new.map(|(what, count)| format!("{} {}", count.new, numbered(what, count.new))).collect();
        match some.as_slice() {
            [] => "nothing new".into(),
            [one] => one.clone(),
            [all @ .., last] => format!("{} and {last}", all.join(", ")),
        }
    }
}

/// The word for this many of a kind.
fn numbered(what: &'static str, n: usize) -> &'static str {
    match what {
        "analyses of amendments" if n == 1 => "analysis of an amendment",
        _ if n == 1 => what.strip_suffix('s').unwrap_or(what),
        _ => what,
    }
}

impl App {
    /// A dry run. `actor` is `None` for whoever runs the program on the machine itself.
    pub async fn preview_import(
        &self,
        actor: Option<&Actor>,
        into: &ImportInto,
        files: BTreeMap<String, Vec<u8>>,
    ) -> Result<Preview> {
        actor.map_or(Ok(()), |actor| actor.may(Role::Steward))?;
        let (set, problems) = self.read_set(files).await?;
        let mut read = self.store.read().await?;
        let site = bulk::site_by_name(&mut read, into.site.trim()).await?;
        Ok(resolve(&mut read, site, set, problems).await?.preview)
    }

    /// The real thing: the same as [`App::preview_import`] on the same bytes, and saved where
    /// nothing is wrong and something is new; [`Preview::saved`] says whether it was.
    pub async fn accept_import(
        &self,
        actor: Option<&Actor>,
        into: &ImportInto,
        files: BTreeMap<String, Vec<u8>>,
    ) -> Result<Preview> {
        actor.map_or(Ok(()), |actor| actor.may(Role::Steward))?;
        let (set, problems) = self.read_set(files).await?;
        let mut write = self.store.write(self.now(), actor.map(|actor| actor.person)).await?;
        let site = bulk::site_by_name(&mut write, into.site.trim()).await?;
        let Resolved { mut preview, batch } = resolve(&mut write, site, set, problems).await?;
        if !preview.problems.is_empty() || preview.new_lines() == 0 {
            return Ok(preview);
        }
        let mut changes = Vec::new();
        let site = match site {
            Some(site) => site,
            None => {
                let site = new_site(into)?;
                let id = store::plots::insert_site(&mut write, &site).await?;
                changes.push(Change::new(Subject::Site(id), "added", format!("The site {} was added.", site.name)));
                id
            }
        };
        bulk::insert(&mut write, site, &batch).await?;
        let counts: BTreeMap<_, _> = preview.counts.iter().copied().collect();
        changes.push(
            Change::new(Subject::Site(site), "imported", format!("Taken in from CSV files: {}.", preview.words()))
                .with(serde_json::json!(counts)),
        );
        write.commit_all(&changes).await?;
        preview.saved = true;
        Ok(preview)
    }

    /// Reads the files off the async threads.
    async fn read_set(&self, files: BTreeMap<String, Vec<u8>>) -> Result<(RecordSet, Vec<ImportProblem>)> {
        let today = self.today();
        tokio::task::spawn_blocking(move || record_set::read(&files, today))
            .await
            .map_err(|error| Error::Internal(error.to_string()))
    }
}

fn new_site(into: &ImportInto) -> Result<NewSite> {
    let name = into.site.trim();
    if name.is_empty() || name.chars().count() > 200 {
        return Err(Error::invalid("site", "Give the site a name of at most 200 characters."));
    }
    let currency = into.currency.trim().to_uppercase();
    if currency.len() != 3 || !currency.chars().all(|c| c.is_ascii_uppercase()) {
        return Err(Error::invalid("currency", format!("“{}” is not a currency. Write it as EUR.", into.currency)));
    }
    Ok(NewSite {
        name: name.to_owned(),
        currency,
        invented: false,
        guideline: None,
        rate_unit: "g_per_m2".into(),
        layer: None,
        scale_step_g: 1.0,
        sets_off: String::new(),
        note: String::new(),
    })
}
