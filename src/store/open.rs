//! Opening the file: the lock, the checks that come before anything is touched, the
//! backup before a migration, the migrations, and the settings of every connection.

use super::{Error, Result, Store};
use crate::settings;
use jiff::Timestamp;
use sqlx::{
    ConnectOptions, Connection, SqliteConnection,
    migrate::Migrator,
    sqlite::{SqliteConnectOptions, SqliteJournalMode, SqlitePoolOptions, SqliteSynchronous},
};
use std::{
    fs::{self, File, OpenOptions, TryLockError},
    io::{Read as _, Seek as _, Write as _},
    path::{Path, PathBuf},
    sync::Arc,
    time::Duration,
};

/// The schema's history, embedded in the program.
pub static MIGRATIONS: Migrator = sqlx::migrate!();

/// Oldest SQLite that may open the record: earlier ones can corrupt a file in WAL mode
/// (<https://sqlite.org/wal.html>, "The WAL-Reset Bug").
const SQLITE_MIN: [u32; 3] = [3, 51, 3];

/// Readers beside the one writer: each request may hold three, and so may each solve, lest
/// they wait for each other. A connection opens when it is first needed.
const READERS: u32 = 3 * (settings::REQUESTS_AT_ONCE + settings::SOLVES_AT_ONCE) as u32;

/// How long a request waits for a connection.
const PATIENCE: Duration = Duration::from_secs(10);

impl Store {
    /// Opens or creates the record at `file`; `now` names the backup taken before a migration.
    pub async fn open(file: &Path, now: Timestamp) -> Result<Store> {
        let in_folder = |source| Error::Folder { file: file.to_owned(), source };
        if let Some(folder) = file.parent() {
            fs::create_dir_all(folder).map_err(in_folder)?;
        }
        let lock = lock(file)?;
        OpenOptions::new().append(true).create(true).open(file).map_err(in_folder)?;
        private(file).map_err(in_folder)?;

        let found = applied(file).await?;
        let known = MIGRATIONS.iter().map(|m| m.version).max().unwrap_or(0);
        if found > known {
            return Err(Error::Newer { file: file.to_owned(), found, known });
        }
        let mut connection = options(file).connect().await?;
        check_sqlite(&mut connection).await?;
        if 0 < found && found < known {
            let name = format!("before-schema-{known}-{}.sqlite", now.strftime("%Y%m%dT%H%M%SZ"));
            copy(&mut connection, &file.with_file_name("backups").join(name)).await?;
        }
        MIGRATIONS.run(&mut connection).await?;
        connection.close().await?;

        let pool = || SqlitePoolOptions::new().acquire_timeout(PATIENCE).idle_timeout(None).max_lifetime(None);
        let writer = pool().max_connections(1).connect_with(options(file).optimize_on_close(true, None)).await?;
        let readers = pool()
            .max_connections(READERS)
            .connect_with(options(file).read_only(true).pragma("query_only", "on").pragma("cache_size", "-2048"))
            .await?;
        Ok(Store { writer, readers, file: Arc::new(file.to_owned()), _lock: Arc::new(lock) })
    }
}

fn options(file: &Path) -> SqliteConnectOptions {
    SqliteConnectOptions::new()
        .filename(file)
        .foreign_keys(true)
        .journal_mode(SqliteJournalMode::Wal)
        .synchronous(SqliteSynchronous::Full)
        .busy_timeout(Duration::from_secs(5))
        .pragma("trusted_schema", "off")
        .pragma("temp_store", "memory")
        .pragma("cache_size", "-8192")
}

/// A connection that cannot change the record but may write a copy of it.
pub(super) async fn for_copying(file: &Path) -> Result<SqliteConnection> {
    Ok(options(file).read_only(true).connect().await?)
}

/// What every connection must be set to; read by a test.
pub(super) async fn pragmas(connection: &mut SqliteConnection) -> Result<Vec<(&'static str, String)>> {
    let mut found = Vec::new();
    macro_rules! ask {
        ($($name:literal),*) => {$(
            let text: String = sqlx::query_scalar(concat!("select cast(", $name, " as text) from pragma_", $name))
                .fetch_one(&mut *connection)
                .await?;
            found.push(($name, text));
        )*};
    }
    ask!("journal_mode", "synchronous", "foreign_keys", "trusted_schema", "query_only");
    let timeout: String =
        sqlx::query_scalar("select cast(timeout as text) from pragma_busy_timeout").fetch_one(&mut *connection).await?;
    found.push(("busy_timeout", timeout));
    Ok(found)
}

async fn check_sqlite(connection: &mut SqliteConnection) -> Result<()> {
    let found: String = sqlx::query_scalar("select sqlite_version()").fetch_one(connection).await?;
    let parts: Vec<u32> = found.split('.').map(|part| part.parse().unwrap_or(0)).collect();
    if parts.as_slice() < SQLITE_MIN.as_slice() {
        return Err(Error::OldSqlite { found });
    }
    Ok(())
}

/// The newest migration in the file, 0 for a file without any. Opens it for reading only.
async fn applied(file: &Path) -> Result<i64> {
    let mut connection = SqliteConnectOptions::new().filename(file).read_only(true).connect().await?;
    let exists: bool =
        sqlx::query_scalar("select exists (select 1 from sqlite_schema where name = '_sqlx_migrations')")
            .fetch_one(&mut connection)
            .await?;
    let version = if exists {
        sqlx::query_scalar("select coalesce(max(version), 0) from _sqlx_migrations").fetch_one(&mut connection).await?
    } else {
        0
    };
    connection.close().await?;
    Ok(version)
}

/// Writes a compact copy of the record under a temporary name, checks it, and only then
/// gives it its own name: a copy that exists is a good one. Never overwrites one.
pub(super) async fn copy(connection: &mut SqliteConnection, to: &Path) -> Result<()> {
    let in_folder = |source| Error::Folder { file: to.to_owned(), source };
    if let Some(folder) = to.parent() {
        fs::create_dir_all(folder).map_err(in_folder)?;
    }
    if to.exists() {
        return Err(in_folder(std::io::ErrorKind::AlreadyExists.into()));
    }
    let partial = to.with_extension("partial");
    if partial.exists() {
        fs::remove_file(&partial).map_err(in_folder)?;
    }
    let name = partial.display().to_string();
    sqlx::query("vacuum into ?").bind(&name).execute(&mut *connection).await?;
    let mut check = SqliteConnectOptions::new().filename(&partial).read_only(true).connect().await?;
    let verdict: String = sqlx::query_scalar("pragma integrity_check").fetch_one(&mut check).await?;
    check.close().await?;
    if verdict != "ok" {
        return Err(in_folder(std::io::Error::other(verdict)));
    }
    private(&partial).map_err(in_folder)?;
    File::open(&partial).and_then(|copy| copy.sync_all()).map_err(in_folder)?;
    fs::rename(&partial, to).map_err(in_folder)
}

/// Leaves the file to its owner: it holds people's names and password hashes.
fn private(file: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        fs::set_permissions(file, fs::Permissions::from_mode(0o600))?;
    }
    let _ = file;
    Ok(())
}

/// Takes the lock beside the file for the life of the process, or says who has it.
fn lock(file: &Path) -> Result<File> {
    let path = PathBuf::from(format!("{}.lock", file.display()));
    let in_folder = |source| Error::Folder { file: path.clone(), source };
    let mut lock =
        OpenOptions::new().read(true).write(true).create(true).truncate(false).open(&path).map_err(in_folder)?;
    match lock.try_lock() {
        Ok(()) => {
            lock.set_len(0).map_err(in_folder)?;
            lock.rewind().map_err(in_folder)?;
            writeln!(lock, "{}", std::process::id()).map_err(in_folder)?;
            Ok(lock)
        }
        Err(TryLockError::WouldBlock) => {
            let mut pid = String::new();
            let _ = lock.read_to_string(&mut pid);
            Err(Error::InUse { file: file.to_owned(), pid: pid.trim().to_owned() })
        }
        Err(TryLockError::Error(source)) => Err(in_folder(source)),
    }
}
