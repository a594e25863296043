//! The record's foundations: connections, schema, history, first start, signing in.

use glebe::{
    app::{
        Actor, App, Error, Role,
        people::PersonForm,
        plots::{MergeForm, PartForm, PlotForm, SiteForm, SplitForm},
    },
    clock::Clock,
    ids::{PersonId, SiteId},
    settings::Settings,
    store::{self, Change, Store, Subject, history::Subject as About},
};
use jiff::Timestamp;
use sqlx::{Connection, SqliteConnection};
use std::path::Path;
use tempfile::TempDir;

pub const NOW: &str = "2026-03-21T09:00:00Z";
pub const PASSWORD: &str = "four plain garden words";

fn now() -> Timestamp {
    NOW.parse().unwrap()
}

/// A record of its own in a folder that is removed afterwards, with one steward.
pub async fn fresh() -> (TempDir, App, Actor) {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
    let app = App::open(&settings, Clock::Fixed(now())).await.unwrap();
    let link = app.setup_link().await.unwrap().unwrap();
    let session = app.set_up(link.secret(), "Ada Marsh", "ada", PASSWORD).await.unwrap();
    let actor = app.session(session.secret()).await.unwrap().unwrap();
    (folder, app, actor)
}

pub fn site_form(name: &str) -> SiteForm {
    SiteForm { name: name.into(), currency: "EUR".into(), ..SiteForm::default() }
}

pub fn plot_form(code: &str, area_m2: &str) -> PlotForm {
    PlotForm {
        code: code.into(),
        name: format!("Bed {code}"),
        area_m2: area_m2.into(),
        texture: "loam".into(),
        depth_cm: "20".into(),
        ..PlotForm::default()
    }
}

async fn raw(folder: &Path) -> SqliteConnection {
    SqliteConnection::connect(&format!("sqlite://{}", folder.join("glebe.sqlite").display())).await.unwrap()
}

#[tokio::test]
async fn every_connection_has_the_agreed_settings() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("glebe.sqlite"), now()).await.unwrap();
    let connections = store.pragmas().await.unwrap();
    assert_eq!(connections.len(), 25, "one writer, and three readers to a request or a solve");
    for (i, settings) in connections.iter().enumerate() {
        let expected = [
            ("journal_mode", "wal"),
            ("synchronous", "2"),
            ("foreign_keys", "1"),
            ("trusted_schema", "0"),
            ("query_only", if i == 0 { "0" } else { "1" }),
            ("busy_timeout", "5000"),
        ];
        let found: Vec<_> = settings.iter().map(|(name, value)| (*name, value.as_str())).collect();
        assert_eq!(found, expected, "connection {i}");
    }
}

#[tokio::test]
async fn every_table_is_strict_and_every_foreign_key_indexed() {
    let (folder, app, _) = fresh().await;
    app.close().await;
    let mut db = raw(folder.path()).await;
    let loose: Vec<String> = sqlx::query_scalar(
        "select name from pragma_table_list
         where schema = 'main' and type = 'table' and not strict and name not like 'sqlite_%' and name <> '_sqlx_migrations'",
    )
    .fetch_all(&mut db)
    .await
    .unwrap();
    assert!(loose.is_empty(), "not STRICT: {loose:?}");

    let tables: Vec<String> =
        sqlx::query_scalar("select name from pragma_table_list where schema = 'main' and type = 'table' and strict")
            .fetch_all(&mut db)
            .await
            .unwrap();
    assert!(tables.len() > 20);
    let mut seen = 0;
    for table in tables {
        let keys: Vec<(i64, String)> =
            sqlx::query_as("select id, \"from\" from pragma_foreign_key_list(?) where seq = 0")
                .bind(&table)
                .fetch_all(&mut db)
                .await
                .unwrap();
        // The first column of every index, and of the primary key where that is one.
        let first: Vec<String> = sqlx::query_scalar(
            "select i.name from pragma_index_list(?1) l, pragma_index_info(l.name) i where i.seqno = 0
             union select name from pragma_table_info(?1) where pk = 1",
        )
        .bind(&table)
        .fetch_all(&mut db)
        .await
        .unwrap();
        for (_, column) in keys {
            seen += 1;
            assert!(first.contains(&column), "{table}.{column} refers to another table without an index");
        }
    }
    assert!(seen > 40, "only {seen} foreign keys found");
}

#[tokio::test]
async fn measurements_that_make_no_sense_are_refused_by_the_file_itself() {
    let (folder, app, ada) = fresh().await;
    app.add_site(&ada, &site_form("Home")).await.unwrap();
    app.close().await;
    let mut db = raw(folder.path()).await;
    for area in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
        let done = sqlx::query("insert into plots (site, name, code, area_m2, cover, texture, depth_cm) values (1, 'a', 'a', ?, 'open', 'loam', 20)")
            .bind(area)
            .execute(&mut db)
            .await;
        assert!(done.is_err(), "an area of {area} was taken");
    }
    for day in ["2026-02-30", "21.3.2026", "", "2026-3-1"] {
        let done =
            sqlx::query("insert into samplings (site, sampled_on) values (1, ?)").bind(day).execute(&mut db).await;
        assert!(done.is_err(), "the date {day:?} was taken");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn eight_writers_at_once_lose_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("glebe.sqlite"), now()).await.unwrap();
    let site = {
        let mut write = store.write(now(), None).await.unwrap();
        let site = site_form("Home").read().unwrap();
        let id = store::plots::insert_site(&mut write, &site).await.unwrap();
        write.commit(Change::new(Subject::Site(id), "added", "Added.")).await.unwrap();
        id
    };
    let writers: Vec<_> = (0..8)
        .map(|_| {
            let store = store.clone();
            tokio::spawn(async move {
                for _ in 0..50 {
                    let mut write = store.write(now(), None).await.unwrap();
                    let row = store::plots::site(&mut write, site).await.unwrap().unwrap();
                    let count: u32 = row.note.parse().unwrap_or(0);
                    let mut next = site_form("Home").read().unwrap();
                    next.note = (count + 1).to_string();
                    store::plots::update_site(&mut write, site, row.revision, &next).await.unwrap();
                    write.commit(Change::new(Subject::Site(site), "edited", "Counted.")).await.unwrap();
                }
            })
        })
        .collect();
    for writer in writers {
        writer.await.unwrap();
    }
    let mut read = store.read().await.unwrap();
    let row = store::plots::site(&mut read, site).await.unwrap().unwrap();
    assert_eq!((row.note.as_str(), row.revision), ("400", 401));
    assert_eq!(store::history::of(&mut read, About::Site(site)).await.unwrap().len(), 401);
}

#[tokio::test]
async fn a_change_and_its_history_are_saved_together_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("glebe.sqlite"), now()).await.unwrap();
    let site = site_form("Home").read().unwrap();
    // No history at all: refused.
    let mut write = store.write(now(), None).await.unwrap();
    store::plots::insert_site(&mut write, &site).await.unwrap();
    assert!(matches!(write.commit_all(&[]).await, Err(store::Error::NoHistory)));
    // History that cannot be written (nobody with that number): the change goes with it.
    let mut write = store.write(now(), Some(PersonId(99))).await.unwrap();
    let id = store::plots::insert_site(&mut write, &site).await.unwrap();
    assert!(write.commit(Change::new(Subject::Site(id), "added", "Added.")).await.is_err());
    // Dropped without a word: undone.
    let mut write = store.write(now(), None).await.unwrap();
    store::plots::insert_site(&mut write, &site).await.unwrap();
    drop(write);
    let mut read = store.read().await.unwrap();
    assert!(store::plots::sites(&mut read).await.unwrap().is_empty());
    assert!(store::history::latest(&mut read, None, 10).await.unwrap().is_empty());
}

#[tokio::test]
async fn a_second_process_is_told_who_has_the_file() {
    let (folder, app, _) = fresh().await;
    let file = folder.path().join("glebe.sqlite");
    let second = Store::open(&file, now()).await.unwrap_err().to_string();
    assert!(second.contains("already in use") && second.contains(&std::process::id().to_string()), "{second}");
    app.close().await;
    drop(app);
    Store::open(&file, now()).await.unwrap();
}

#[tokio::test]
async fn a_newer_schema_is_refused_and_left_alone() {
    let (folder, app, _) = fresh().await;
    app.close().await;
    drop(app);
    let mut db = raw(folder.path()).await;
    sqlx::query("insert into _sqlx_migrations (version, description, success, checksum, execution_time) values (9999, 'later', 1, x'00', 0)")
        .execute(&mut db)
        .await
        .unwrap();
    db.close().await.unwrap();
    let file = folder.path().join("glebe.sqlite");
    let before = std::fs::read(&file).unwrap();
    let refusal = Store::open(&file, now()).await.unwrap_err().to_string();
    assert!(refusal.contains("9999") && refusal.contains("newer glebe"), "{refusal}");
    assert!(std::fs::read(&file).unwrap() == before, "the file was touched");
}

#[tokio::test]
async fn a_backup_is_taken_before_a_migration() {
    // A record as the program before the newest migration left it.
    let folder = tempfile::tempdir().unwrap();
    let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("migrations");
    let mut older = sqlx::migrate::Migrator::new(from).await.unwrap();
    let newest = older.iter().map(|migration| migration.version).max().unwrap();
    older.migrations = older.iter().filter(|migration| migration.version < newest).cloned().collect();
    std::fs::File::create(folder.path().join("glebe.sqlite")).unwrap();
    let mut db = raw(folder.path()).await;
    older.run(&mut db).await.unwrap();
    sqlx::query("insert into people (name, login, password_hash, role, created_at) values ('Ada', 'ada', '$argon2id$x', 'steward', '2026-03-21T09:00:00Z')")
        .execute(&mut db)
        .await
        .unwrap();
    db.close().await.unwrap();
    let store = Store::open(&folder.path().join("glebe.sqlite"), now()).await.unwrap();
    assert!(store::people::any(&mut store.read().await.unwrap()).await.unwrap());
    let backups: Vec<_> = std::fs::read_dir(folder.path().join("backups"))
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .collect();
    assert_eq!(backups, [format!("before-schema-{newest}-20260321T090000Z.sqlite")]);
    let copy = folder.path().join("backups").join(&backups[0]);
    let mut db = SqliteConnection::connect(&format!("sqlite://{}", copy.display())).await.unwrap();
    let people: i64 = sqlx::query_scalar("select count(*) from people").fetch_one(&mut db).await.unwrap();
    assert_eq!(people, 1);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn the_setup_link_makes_one_steward_however_many_use_it() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
    let app = App::open(&settings, Clock::Fixed(now())).await.unwrap();
    let link = app.setup_link().await.unwrap().unwrap();
    assert!(app.setup_is_open(link.secret()).await.unwrap());
    assert!(!app.setup_is_open("0000").await.unwrap());
    let racers: Vec<_> = (0..10)
        .map(|i| {
            let (app, link) = (app.clone(), link.clone());
            tokio::spawn(async move { app.set_up(link.secret(), "Ada", &format!("ada{i}"), PASSWORD).await })
        })
        .collect();
    let mut made = 0;
    for racer in racers {
        match racer.await.unwrap() {
            Ok(_) => made += 1,
            Err(error) => assert!(matches!(error, Error::NotFound(_)), "{error}"),
        }
    }
    assert_eq!(made, 1);
    assert!(!app.setup_is_open(link.secret()).await.unwrap());
    assert_eq!(app.setup_link().await.unwrap(), None);
}

#[tokio::test]
async fn the_setup_link_dies_after_half_an_hour() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
    let app = App::open(&settings, Clock::Fixed(now())).await.unwrap();
    let link = app.setup_link().await.unwrap().unwrap();
    app.close().await;
    drop(app);
    let later = now() + jiff::SignedDuration::from_mins(31);
    let app = App::open(&settings, Clock::Fixed(later)).await.unwrap();
    assert!(matches!(app.set_up(link.secret(), "Ada", "ada", PASSWORD).await, Err(Error::NotFound(_))));
}

#[tokio::test]
async fn a_wrong_password_and_an_unknown_name_get_the_same_answer() {
    let (_folder, app, _) = fresh().await;
    let wrong = app.sign_in("ada", "not the right words").await.unwrap_err().to_string();
    let unknown = app.sign_in("nobody", "not the right words").await.unwrap_err().to_string();
    assert_eq!(wrong, unknown);
    let session = app.sign_in(" ADA ", PASSWORD).await.unwrap();
    assert_eq!(app.session(session.secret()).await.unwrap().unwrap().role, Role::Steward);
    app.sign_out(session.secret()).await.unwrap();
    assert_eq!(app.session(session.secret()).await.unwrap(), None);
}

#[tokio::test]
async fn tokens_and_passwords_are_not_in_the_file() {
    let (folder, app, _) = fresh().await;
    let session = app.sign_in("ada", PASSWORD).await.unwrap();
    app.close().await;
    let bytes = std::fs::read(folder.path().join("glebe.sqlite")).unwrap();
    for secret in [session.secret(), PASSWORD] {
        assert!(!bytes.windows(secret.len()).any(|window| window == secret.as_bytes()));
    }
    let mut db = raw(folder.path()).await;
    let hash: String = sqlx::query_scalar("select password_hash from people").fetch_one(&mut db).await.unwrap();
    assert!(hash.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"), "{hash}");
}

#[tokio::test]
async fn roles_hold_and_a_disabled_person_is_out_at_once() {
    let (_folder, app, ada) = fresh().await;
    let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
    let form = PersonForm { name: "Ben".into(), login: "ben".into(), password: PASSWORD.into(), role: "reader".into() };
    let ben_id = app.add_person(&ada, &form).await.unwrap();
    let session = app.sign_in("ben", PASSWORD).await.unwrap();
    let ben = app.session(session.secret()).await.unwrap().unwrap();
    assert_eq!(app.sites(&ben).await.unwrap().len(), 1);
    assert!(matches!(app.add_plot(&ben, site, &plot_form("A1", "12")).await, Err(Error::Denied)));
    assert!(matches!(app.people(&ben).await, Err(Error::Denied)));
    assert!(matches!(app.add_plot(&ada, SiteId(77), &plot_form("A1", "12")).await, Err(Error::NotFound("site"))));
    assert!(app.disable_person(&ada, ada.person, true).await.is_err(), "the last steward was disabled");
    app.disable_person(&ada, ben_id, true).await.unwrap();
    assert_eq!(app.session(session.secret()).await.unwrap(), None);
    assert!(app.sign_in("ben", PASSWORD).await.is_err());
}

#[tokio::test]
async fn a_plot_form_gets_a_sentence_for_every_field_that_is_wrong() {
    let (_folder, app, ada) = fresh().await;
    let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
    let mut form = plot_form("", "0");
    form.depth_cm = "1.2.3".into();
    form.texture = "mud".into();
    form.stones_percent = "NaN".into();
    let Err(Error::Invalid(problems)) = app.add_plot(&ada, site, &form).await else { panic!("taken") };
    for field in ["code", "area_m2", "depth_cm", "texture", "stones_percent"] {
        assert!(problems.of(field).is_some(), "no sentence for {field}: {problems}");
    }
    form = plot_form("A1", "12,5");
    let id = app.add_plot(&ada, site, &form).await.unwrap();
    assert_eq!(app.plot(&ada, id).await.unwrap().area_m2, 12.5);
    let Err(Error::Invalid(problems)) = app.add_plot(&ada, site, &form).await else { panic!("taken twice") };
    assert!(problems.of("code").is_some_and(|s| s.contains("taken")), "{problems}");
}

#[tokio::test]
async fn two_people_who_edit_at_once_find_out() {
    let (_folder, app, ada) = fresh().await;
    let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
    let id = app.add_plot(&ada, site, &plot_form("A1", "12")).await.unwrap();
    let seen = PlotForm::from(&app.plot(&ada, id).await.unwrap());
    let first = PlotForm { area_m2: "13".into(), ..seen.clone() };
    let second = PlotForm { area_m2: "14".into(), ..seen };
    app.edit_plot(&ada, id, &first).await.unwrap();
    assert!(matches!(app.edit_plot(&ada, id, &second).await, Err(Error::Conflict(_))));
    assert_eq!(app.plot(&ada, id).await.unwrap().area_m2, 13.0);
    let history = app.history(&ada, About::Plot(id)).await.unwrap();
    assert_eq!(history.iter().map(|line| line.verb.as_str()).collect::<Vec<_>>(), ["edited", "added"]);
    assert_eq!(history[0].person.as_deref(), Some("Ada Marsh"));
}

#[tokio::test]
async fn splits_and_merges_keep_the_line_of_descent() {
    let (_folder, app, ada) = fresh().await;
    let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
    let parent = app.add_plot(&ada, site, &plot_form("A", "20")).await.unwrap();
    let part = |code: &str, area: &str| PartForm { name: String::new(), code: code.into(), area_m2: area.into() };
    let mut form = SplitForm { took_place_on: "2026-03-01".into(), parts: vec![part("A1", "12"), part("A2", "9")] };
    let Err(Error::Invalid(problems)) = app.split_plot(&ada, parent, &form).await else { panic!("21 m² of 20") };
    assert!(problems.of("parts").is_some(), "{problems}");
    form.parts[1].area_m2 = "7.5".into();
    let parts = app.split_plot(&ada, parent, &form).await.unwrap();
    assert_eq!(app.plots(&ada, site, false).await.unwrap().len(), 2);
    assert!(matches!(app.split_plot(&ada, parent, &form).await, Err(Error::Conflict(_))));
    let merge = MergeForm {
        parents: parts.iter().map(ToString::to_string).collect(),
        took_place_on: "2026-03-20".into(),
        plot: plot_form("A+", ""),
    };
    let whole = app.merge_plots(&ada, &merge).await.unwrap();
    assert_eq!(app.plot(&ada, whole).await.unwrap().area_m2, 19.5);
    let line = app.lineage(&ada, whole).await.unwrap();
    let pairs: Vec<_> = line.iter().map(|l| (l.parent, l.child, l.kind.as_str())).collect();
    assert_eq!(
        pairs,
        [
            (parent, parts[0], "split"),
            (parent, parts[1], "split"),
            (parts[0], whole, "merge"),
            (parts[1], whole, "merge")
        ]
    );
}
