//! What can go wrong with the file. Sentences are for the person who runs the server;
//! nobody who only uses the pages ever sees them.

use std::path::PathBuf;

/// A failure of the record.
#[derive(Debug, thiserror::Error)]
pub enum Error {
    /// SQLite or the driver refused.
    #[error("the record could not be read or written: {0}")]
    Sql(#[source] sqlx::Error),
    /// Every connection was busy for longer than a request may wait.
    #[error("the record is busy")]
    Busy,
    /// The row was changed by somebody else since it was read.
    #[error("changed by somebody else in the meantime")]
    Stale,
    /// A text in the file that does not read back as what it must be.
    #[error("the record holds “{text}” where {what} should be")]
    Unreadable { what: &'static str, text: String },
    /// A transaction tried to end without saying what it changed.
    #[error("a change was about to be saved without its history")]
    NoHistory,
    /// The migrations failed.
    #[error("the record could not be brought to this program's schema: {0}")]
    Migrate(#[from] sqlx::migrate::MigrateError),
    /// The file was written by a newer program.
    #[error(
        "{} has schema {found}, this program knows schemas up to {known}: start a newer glebe; the file was not touched",
        file.display()
    )]
    Newer { file: PathBuf, found: i64, known: i64 },
    /// SQLite older than the release that fixed the WAL-reset corruption.
    #[error("SQLite {found} can corrupt the record; at least 3.51.3 is needed")]
    OldSqlite { found: String },
    /// Another process has the same file open.
    #[error("{} is already in use by another glebe (process {pid})", file.display())]
    InUse { file: PathBuf, pid: String },
    /// The data folder cannot be used.
    #[error("{}: {source}; check that the folder exists, is on a local disk, and may be written by this user", file.display())]
    Folder { file: PathBuf, source: std::io::Error },
}

impl From<sqlx::Error> for Error {
    fn from(error: sqlx::Error) -> Self {
        match error {
            sqlx::Error::PoolTimedOut => Error::Busy,
            sqlx::Error::Database(e) if e.code().as_deref() == Some("5") => Error::Busy, // SQLITE_BUSY
            other => Error::Sql(other),
        }
    }
}

impl Error {
    /// Whether a UNIQUE constraint refused the row.
    pub fn is_duplicate(&self) -> bool {
        matches!(self, Error::Sql(sqlx::Error::Database(e)) if e.is_unique_violation())
    }
}

/// Results of this layer.
pub type Result<T, E = Error> = std::result::Result<T, E>;
