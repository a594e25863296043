//! What was acknowledged survives `kill -9` at any moment.
//!
//! A child process (this test binary, told so by an environment variable) saves one
//! numbered change after another and prints each number once it is saved. It is killed at
//! an arbitrary moment, again and again; every number that was printed must be there.

use crate::store::{plot_form, site_form};
use glebe::store::{self, Change, Store, Subject};
use jiff::Timestamp;
use sqlx::{Connection, SqliteConnection};
use std::{
    io::{BufRead, BufReader, Write},
    path::Path,
    process::{Command, Stdio},
    time::Duration,
};

const CHILD: &str = "GLEBE_TEST_DURABILITY_FILE";
const KILLS: u64 = 10;

/// The child's life: never returns before it is killed. Without the variable it is nothing.
#[test]
fn durability_child() {
    let Ok(file) = std::env::var(CHILD) else { return };
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .unwrap()
        .block_on(write_for_ever(Path::new(&file)));
}

async fn write_for_ever(file: &Path) {
    let now: Timestamp = "2026-03-21T09:00:00Z".parse().unwrap();
    let store = Store::open(file, now).await.unwrap();
    let mut write = store.write(now, None).await.unwrap();
    let known = store::plots::sites(&mut write).await.unwrap();
    let site = match known.first() {
        Some(site) => site.id,
        None => store::plots::insert_site(&mut write, &site_form("Home").read().unwrap()).await.unwrap(),
    };
    let first = store::plots::plots(&mut write, site, true).await.unwrap().len();
    write.commit(Change::new(Subject::Site(site), "opened", "Opened.")).await.unwrap();
    for n in first.. {
        let mut write = store.write(now, None).await.unwrap();
        let plot = plot_form(&format!("P{n}"), "10").read(jiff::civil::date(2026, 3, 21)).unwrap();
        let id = store::plots::insert_plot(&mut write, site, &plot).await.unwrap();
        write.commit(Change::new(Subject::Plot(id), "added", format!("P{n} was added."))).await.unwrap();
        let mut out = std::io::stdout().lock();
        writeln!(out, "saved P{n}").unwrap();
        out.flush().unwrap();
    }
}

#[tokio::test]
async fn nothing_acknowledged_is_lost_to_kill_9() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("glebe.sqlite");
    let mut acknowledged = Vec::new();
    for round in 0..KILLS {
        let mut child = Command::new(std::env::current_exe().unwrap())
            .args(["--exact", "durability::durability_child", "--nocapture"])
            .env(CHILD, &file)
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let out = BufReader::new(child.stdout.take().unwrap());
        let reader = std::thread::spawn(move || {
            // The harness may print on the same line before the first; a line cut off by the kill says nothing.
            out.split(b'\n')
                .map_while(Result::ok)
                .filter_map(|line| {
                    let line = String::from_utf8_lossy(&line).into_owned();
                    line.find("saved P").map(|at| line[at + "saved ".len()..].trim().to_owned())
                })
                .collect::<Vec<_>>()
        });
        std::thread::sleep(Duration::from_millis(60 + round * 37)); // a different moment every time
        child.kill().unwrap(); // SIGKILL on Unix
        child.wait().unwrap();
        acknowledged.extend(reader.join().unwrap());
        sound(&file).await;
    }
    assert!(acknowledged.len() > 50, "only {} saves in {KILLS} rounds: nothing was tested", acknowledged.len());
    let mut db = SqliteConnection::connect(&format!("sqlite://{}", file.display())).await.unwrap();
    let kept: Vec<String> = sqlx::query_scalar("select code from plots order by id").fetch_all(&mut db).await.unwrap();
    // The last line of a killed child may have been cut ("P12" of "P123"); every number below it is whole.
    let lost: Vec<_> = acknowledged.iter().filter(|code| !kept.contains(code)).collect();
    assert!(lost.is_empty(), "acknowledged and lost: {lost:?}");
    let unrecorded: i64 = sqlx::query_scalar(
        "select count(*) from plots p where not exists (select 1 from changes c where c.entity = 'plot' and c.entity_id = p.id)",
    )
    .fetch_one(&mut db)
    .await
    .unwrap();
    assert_eq!(unrecorded, 0, "plots without their history");
}

async fn sound(file: &Path) {
    let mut db = SqliteConnection::connect(&format!("sqlite://{}", file.display())).await.unwrap();
    let verdict: String = sqlx::query_scalar("pragma integrity_check").fetch_one(&mut db).await.unwrap();
    assert_eq!(verdict, "ok");
    let orphans = sqlx::query("pragma foreign_key_check").fetch_all(&mut db).await.unwrap();
    assert!(orphans.is_empty(), "{} rows refer to nothing", orphans.len());
    db.close().await.unwrap();
}
