//! What was acknowledged survives `kill -9` at any moment.
//!
//! A child process (this test binary, told so by an environment variable) saves one
//! numbered change after another and prints each number once it is saved. It is killed at
//! an arbitrary moment, again and again; every number that was printed must be there.

use crate::store::{fresh, plot_form, site_form};
use glebe::store::{self, Change, Store, Subject};
use jiff::Timestamp;
use sqlx::{Connection, SqliteConnection};
use std::{
    io::{BufRead, BufReader, Write},
    path::Path,
    process::{Command, Stdio},
    sync::mpsc,
    time::Duration,
};

const CHILD: &str = "GLEBE_TEST_DURABILITY_FILE";
const KILLS: u64 = 12;

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
        let mut out = BufReader::new(child.stdout.take().unwrap());
        let (send, saved) = mpsc::channel();
        let reader = std::thread::spawn(move || {
            let mut line = String::new();
            // The harness may print on the same line before the first; a line without its end says nothing.
            while out.read_line(&mut line).is_ok_and(|n| n > 0) && line.ends_with('\n') {
                if let Some(at) = line.find("saved P") {
                    let _ = send.send(line[at + "saved ".len()..].trim().to_owned());
                }
                line.clear();
            }
        });
        // Killed somewhere in the midst of it: after so many saves and a few odd microseconds.
        for _ in 0..5 + round {
            let code = saved.recv_timeout(Duration::from_secs(60)).expect("the child saves nothing");
            acknowledged.push(code);
        }
        std::thread::sleep(Duration::from_micros(137 * round));
        child.kill().unwrap(); // SIGKILL on Unix
        child.wait().unwrap();
        reader.join().unwrap();
        acknowledged.extend(saved.try_iter());
        sound(&file).await;
    }
    let mut db = SqliteConnection::connect(&format!("sqlite://{}", file.display())).await.unwrap();
    let kept: Vec<String> = sqlx::query_scalar("select code from plots order by id").fetch_all(&mut db).await.unwrap();
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

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_copy_taken_while_others_write_is_whole_private_and_never_overwrites() {
    let (folder, app, ada) = fresh().await;
    let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
    let writer = {
        let (app, ada) = (app.clone(), ada.clone());
        tokio::spawn(async move {
            for n in 0..60 {
                app.add_plot(&ada, site, &plot_form(&format!("P{n}"), "10")).await.unwrap();
            }
        })
    };
    let copy = folder.path().join("copies").join("one.sqlite");
    app.back_up(Some(&ada), &copy).await.unwrap();
    writer.await.unwrap();
    assert!(app.back_up(Some(&ada), &copy).await.is_err(), "overwritten");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(&copy).unwrap().permissions().mode() & 0o777, 0o600);
    }
    sound(&copy).await;
    let mut db = SqliteConnection::connect(&format!("sqlite://{}", copy.display())).await.unwrap();
    let plots: i64 = sqlx::query_scalar("select count(*) from plots").fetch_one(&mut db).await.unwrap();
    let lines: i64 =
        sqlx::query_scalar("select count(*) from changes where entity = 'plot'").fetch_one(&mut db).await.unwrap();
    assert_eq!(plots, lines, "a change without its history in the copy");
    assert!(app.check(Some(&ada)).await.unwrap().is_empty());
}

async fn sound(file: &Path) {
    let mut db = SqliteConnection::connect(&format!("sqlite://{}", file.display())).await.unwrap();
    let verdict: String = sqlx::query_scalar("pragma integrity_check").fetch_one(&mut db).await.unwrap();
    assert_eq!(verdict, "ok");
    let orphans = sqlx::query("pragma foreign_key_check").fetch_all(&mut db).await.unwrap();
    assert!(orphans.is_empty(), "{} rows refer to nothing", orphans.len());
    db.close().await.unwrap();
}
