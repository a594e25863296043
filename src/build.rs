//! Builds the empty database that `sqlx::query!` checks every statement against.
//!
//! It runs the embedded migrations on a fresh file in `OUT_DIR`, so that a clean
//! clone compiles with no tool and no committed query data, and a statement that
//! does not fit the schema fails the build with SQLite's own message.

use sqlx::{ConnectOptions, migrate::Migrator, sqlite::SqliteConnectOptions};
use std::{env, error::Error, fs, path::PathBuf, str::FromStr};

fn main() -> Result<(), Box<dyn Error>> {
    println!("cargo:rerun-if-changed=migrations");
    let file = PathBuf::from(env::var("OUT_DIR")?).join("schema.sqlite");
    for name in ["schema.sqlite", "schema.sqlite-wal", "schema.sqlite-shm"] {
        let _ = fs::remove_file(file.with_file_name(name));
    }
    let url = format!("sqlite://{}", file.display());
    tokio::runtime::Builder::new_current_thread().build()?.block_on(async {
        let options = SqliteConnectOptions::from_str(&url)?.create_if_missing(true);
        let mut connection = options.connect().await?;
        Migrator::new(PathBuf::from("migrations")).await?.run(&mut connection).await?;
        Ok::<(), Box<dyn Error>>(())
    })?;
    println!("cargo:rustc-env=DATABASE_URL={url}");
    Ok(())
}
