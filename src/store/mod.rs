//! SQL and only SQL: one SQLite file, one writer, a few readers.
//!
//! A [`Read`] sees one consistent state; a [`Write`] holds the only write lock, and the
//! one way to end it well is [`Write::commit`], which takes the [`Change`] that history
//! will show. Functions that read take a connection and work in either; functions that
//! change the record take a [`Write`]. This layer never decides who may do what, and
//! never computes.

pub mod amendments;
pub mod applications;
pub mod bulk;
pub mod choices;
pub mod columns;
pub mod error;
pub mod errors;
pub mod files;
pub mod forecasts;
pub mod guidelines;
pub mod harvests;
pub mod history;
pub mod lists;
pub mod notes;
mod open;
pub mod outlook;
pub mod overrules;
pub mod people;
pub mod plans;
pub mod plots;
pub mod sampled;
pub mod samplings;
pub mod undos;
mod values;
pub mod years;

pub use error::{Error, Result};
pub use history::{Change, Subject};
pub use values::{Day, Time};

use crate::ids::PersonId;
use jiff::Timestamp;
use sqlx::{Connection, Sqlite, SqliteConnection, SqlitePool, Transaction};
use std::{
    fs::File,
    ops::{Deref, DerefMut},
    path::{Path, PathBuf},
    sync::Arc,
};

/// The connection that functions which read take; a [`Read`] and a [`Write`] both give one.
pub type Db = SqliteConnection;

/// The open record. Cheap to clone.
#[derive(Clone, Debug)]
pub struct Store {
    writer: SqlitePool,
    readers: SqlitePool,
    file: Arc<PathBuf>,
    /// Held for as long as any clone lives, so that no second process opens the file.
    _lock: Arc<File>,
}

impl Store {
    /// Where the record lies.
    pub fn file(&self) -> &Path {
        &self.file
    }

    /// Begins to read: everything read through it is of one moment.
    pub async fn read(&self) -> Result<Read> {
        Ok(Read(self.readers.begin().await?))
    }

    /// Takes the write lock. `by` is who acts, `None` for the program itself.
    ///
    /// Dropping the result without [`Write::commit`] undoes everything done through it.
    pub async fn write(&self, at: Timestamp, by: Option<PersonId>) -> Result<Write> {
        Ok(Write { transaction: self.writer.begin_with("BEGIN IMMEDIATE").await?, at, by })
    }

    /// Writes a checked, compact copy of the record as it is at this moment, while others
    /// read and write. Never overwrites a file.
    pub async fn back_up(&self, to: &Path) -> Result<()> {
        let mut connection = open::for_copying(&self.file).await?; // the readers may write nowhere, not even a copy
        open::copy(&mut connection, to).await?;
        Ok(connection.close().await?)
    }

    /// What SQLite finds wrong with the file and its references; empty when it is sound.
    pub async fn check(&self) -> Result<Vec<String>> {
        let mut read = self.read().await?;
        let mut found: Vec<String> =
            sqlx::query_scalar("select integrity_check from pragma_integrity_check where integrity_check <> 'ok'")
                .fetch_all(&mut *read)
                .await?;
        let orphans: Vec<String> = sqlx::query_scalar(
            r#"select "table" || ' row ' || coalesce(rowid, '?') || ' refers to a ' || parent || ' that is not there'
               from pragma_foreign_key_check"#,
        )
        .fetch_all(&mut *read)
        .await?;
        found.extend(orphans);
        Ok(found)
    }

    /// Finishes what is running, folds the write-ahead log into the file and closes it.
    pub async fn close(&self) {
        self.readers.close().await;
        self.writer.close().await;
    }

    /// Lets the connection pools be examined: the writer's, then the readers'.
    pub async fn pragmas(&self) -> Result<Vec<Vec<(&'static str, String)>>> {
        let mut all = Vec::new();
        let mut held = Vec::new(); // so that the pool hands out every one of its connections
        for pool in [&self.writer, &self.readers] {
            for _ in 0..pool.options().get_max_connections() {
                let mut connection = pool.acquire().await?;
                all.push(open::pragmas(&mut connection).await?);
                held.push(connection);
            }
        }
        Ok(all)
    }
}

/// A consistent view of the record; dereferences to the connection that readers take.
#[derive(Debug)]
pub struct Read(Transaction<'static, Sqlite>);

impl Deref for Read {
    type Target = SqliteConnection;

    fn deref(&self) -> &SqliteConnection {
        &self.0
    }
}

impl DerefMut for Read {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.0
    }
}

/// The one transaction that may change the record at this moment.
#[derive(Debug)]
pub struct Write {
    transaction: Transaction<'static, Sqlite>,
    at: Timestamp,
    by: Option<PersonId>,
}

impl Write {
    /// When the change is made.
    pub fn at(&self) -> Timestamp {
        self.at
    }

    /// Who makes it; `None` for the program itself.
    pub fn by(&self) -> Option<PersonId> {
        self.by
    }

    /// Saves the change together with its line of history.
    pub async fn commit(self, change: Change) -> Result<()> {
        self.commit_all(&[change]).await
    }

    /// Saves several changes that belong together; refuses to save without any history.
    pub async fn commit_all(mut self, changes: &[Change]) -> Result<()> {
        if changes.is_empty() {
            return Err(Error::NoHistory);
        }
        for change in changes {
            history::insert(&mut self, change).await?;
        }
        Ok(self.transaction.commit().await?)
    }
}

impl Deref for Write {
    type Target = SqliteConnection;

    fn deref(&self) -> &SqliteConnection {
        &self.transaction
    }
}

impl DerefMut for Write {
    fn deref_mut(&mut self) -> &mut SqliteConnection {
        &mut self.transaction
    }
}

/// Turns "no row was touched" into [`Error::Stale`]: the revision that was read is gone.
fn one_row(done: sqlx::sqlite::SqliteQueryResult) -> Result<()> {
    if done.rows_affected() == 1 { Ok(()) } else { Err(Error::Stale) }
}
