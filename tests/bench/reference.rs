//! The reference record: 2,000 plots, 25 years, two samplings a year, 20 results to each, and
//! ten applications a year: two million results. Made by SQLite itself, from a fixed seed, and
//! asked as a browser asks. What is printed is what a grower would wait for.

use crate::pages::{ask, time_page, told};
use axum::Router;
use glebe::{
    app::{
        App,
        plots::{PlotForm, SiteForm},
        seasons::{PlanForm, SeasonForm},
    },
    clock::Clock,
    settings::Settings,
    web::Server,
};
use jiff::civil::date;
use sqlx::{Connection, SqliteConnection};
use std::{
    fs,
    path::Path,
    time::{Duration, Instant},
};

/// Budgets of the design.
const COLD: Duration = Duration::from_secs(1);
const WARM: Duration = Duration::from_millis(50);
const FIRST_PAGE: Duration = Duration::from_millis(200);
const PASSWORD: &str = "four plain garden words";

/// Key, method, unit, a usual level and its decimals.
const ANALYTES: [(&str, &str, &str, f64, u8); 20] = [
    ("ph", "ph_water_1_1", "pH", 6.5, 1),
    ("organic_matter", "loss_on_ignition", "%", 5.0, 1),
    ("P", "mehlich3_icp", "mg/kg", 60.0, 0),
    ("K", "mehlich3_icp", "mg/kg", 150.0, 0),
    ("Mg", "mehlich3_icp", "mg/kg", 140.0, 0),
    ("Ca", "mehlich3_icp", "mg/kg", 1200.0, 0),
    ("S", "mehlich3_icp", "mg/kg", 18.0, 0),
    ("B", "mehlich3_icp", "mg/kg", 0.7, 2),
    ("Cu", "mehlich3_icp", "mg/kg", 2.5, 1),
    ("Fe", "mehlich3_icp", "mg/kg", 120.0, 0),
    ("Mn", "mehlich3_icp", "mg/kg", 40.0, 0),
    ("Zn", "mehlich3_icp", "mg/kg", 5.0, 1),
    ("Na", "mehlich3_icp", "mg/kg", 25.0, 0),
    ("Al", "mehlich3_icp", "mg/kg", 600.0, 0),
    ("cec", "cec_sum", "cmol(+)/kg", 11.0, 1),
    ("ec", "ec_1_2", "dS/m", 0.4, 2),
    ("nitrate_n", "kcl_extract", "mg/kg", 15.0, 0),
    ("ammonium_n", "kcl_extract", "mg/kg", 5.0, 0),
    ("Mo", "mehlich3_icp", "mg/kg", 0.1, 2),
    ("Ni", "mehlich3_icp", "mg/kg", 0.8, 1),
];
const PLOTS: i64 = 2000;
const YEARS: i64 = 25;
/// Plots of the plan whose page is asked for.
const PLANNED: i64 = 60;

/// Makes the record and prints what its pages take.
pub fn run() {
    tokio::runtime::Runtime::new().expect("a runtime").block_on(time_all());
}

async fn time_all() {
    let folder = tempfile::tempdir().expect("a temporary folder");
    let settings = Settings { data: folder.path().into(), listen: ([127, 0, 0, 1], 0).into(), https: false };
    let clock = Clock::Fixed("2026-03-21T09:00:00Z".parse().expect("a moment"));
    let start = Instant::now();
    let site = prepare(&settings, clock.clone()).await;
    let megabytes = |bytes: u64| bytes as f64 / 1e6;
    let size = fs::metadata(folder.path().join("glebe.sqlite")).map_or(0, |file| file.len());
    println!(
        "reference record: {PLOTS} plots, {} results, {} applications, {:.0} MB, made in {:.0} s:",
        PLOTS * YEARS * 2 * 20,
        PLOTS * YEARS * 10,
        megabytes(size),
        start.elapsed().as_secs_f64()
    );

    let _ = fs::write("/proc/self/clear_refs", "5"); // the peak counts from here
    let start = Instant::now();
    let app = App::open(&settings, clock).await.expect("the record");
    let session = app.sign_in("ada", PASSWORD).await.expect("signing in");
    let signed_in = start.elapsed();
    let router = Server::new(app.clone(), &settings).router();
    let token = session.secret();
    ask(&router, token, "/sites").await;
    // Checking a password is slow on purpose, and happens once.
    let start_alone = Instant::now();
    let again = app.sign_in("ada", PASSWORD).await.expect("signing in");
    let password = start_alone.elapsed();
    let mut first = [start.elapsed().saturating_sub(password * 2)];
    drop((signed_in, again));
    told("start to first page", &mut first, FIRST_PAGE);

    let path = format!("/sites/{site}/drift");
    let mut cold = Vec::new();
    for round in 0..3 {
        if round > 0 {
            touch(&app, token, site, round).await;
        }
        let start = Instant::now();
        ask(&router, token, &path).await;
        cold.push(start.elapsed());
    }
    told("drift review, nothing kept", &mut cold, COLD);
    println!("  resident after it {:.0} MB, at most {:.0} MB", memory("VmRSS"), memory("VmHWM"));
    for (name, path) in [
        ("drift, kept", path.clone()),
        ("drift, falling P", format!("{path}?sort=falling&nutrient=P")),
        ("drift, pictures", format!("{path}?view=small")),
        ("plot", "/plots/1000".into()),
        ("trend", "/plots/1000/trend/K".into()),
    ] {
        time_page(&router, token, name, &path, WARM, 100).await;
    }
    bare_reads(&settings).await;
    for (name, path) in
        [("site", format!("/sites/{site}")), ("today", "/".into()), ("drift CSV", format!("{path}.csv"))]
    {
        time_page(&router, token, name, &path, WARM, 3).await;
    }
    let plan = plan_sixty(&app, token, site).await;
    let name = format!("season plan, {PLANNED} plots");
    time_page(&router, token, &name, &format!("/plans/{plan}"), WARM, 100).await;
    println!("  resident at the end {:.0} MB, at most {:.0} MB", memory("VmRSS"), memory("VmHWM"));
    under_load(&router, token, site, plan).await;
    app.close().await;
}

/// A line of /proc/self/status, MB; 0 where there is none.
fn memory(line: &str) -> f64 {
    let status = fs::read_to_string("/proc/self/status").unwrap_or_default();
    let found = status.lines().find_map(|text| text.strip_prefix(line)?.strip_prefix(':')?.trim().strip_suffix(" kB"));
    found.and_then(|kilobytes| kilobytes.trim().parse::<f64>().ok()).map_or(0.0, |kilobytes| kilobytes / 1024.0)
}

/// Something is recorded about the ground, so that what was kept no longer holds.
async fn touch(app: &App, token: &str, site: glebe::ids::SiteId, round: usize) {
    let actor = app.session(token).await.expect("a session").expect("somebody");
    let form = PlotForm {
        code: format!("new {round}"),
        area_m2: "10".into(),
        texture: "loam".into(),
        depth_cm: "20".into(),
        ..PlotForm::default()
    };
    app.add_plot(&actor, site, &form).await.expect("a plot");
}

/// A season's plan of some beds, all products allowed.
async fn plan_sixty(app: &App, token: &str, site: glebe::ids::SiteId) -> glebe::ids::PlanId {
    let actor = app.session(token).await.expect("a session").expect("somebody");
    let season = SeasonForm { name: "2026".into(), starts_on: "2026-03-01".into(), ends_on: "2026-10-31".into() };
    let season = app.add_season(&actor, site, &season).await.expect("a season");
    let products = app.amendments(&actor, false).await.expect("amendments");
    let form = PlanForm {
        name: "Sixty beds".into(),
        guideline: "extension_sufficiency".into(),
        plots: (1..=PLANNED).map(|plot| plot.to_string()).collect(),
        products: products.iter().map(|product| product.id.to_string()).collect(),
        ..PlanForm::default()
    };
    app.add_plan(&actor, season, &form).await.expect("a plan")
}

/// Fifty requests a second for some seconds, of the pages that people open most.
async fn under_load(router: &Router, token: &str, site: glebe::ids::SiteId, plan: glebe::ids::PlanId) {
    let (mut spent, mut waiting) = (Vec::new(), Vec::new());
    for n in 0..300_u64 {
        let path = match n % 5 {
            0 => format!("/plots/{}", 1 + n * 6),
            1 => format!("/plots/{}/trend/P", 1 + n * 6),
            2 => format!("/sites/{site}/drift?from={}", n * 10),
            3 => format!("/plots/{}/next", 1 + n * 6),
            _ => format!("/plans/{plan}"),
        };
        let (router, token) = (router.clone(), token.to_owned());
        waiting.push(tokio::spawn(async move {
            let start = Instant::now();
            ask(&router, &token, &path).await;
            start.elapsed()
        }));
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    for one in waiting {
        spent.push(one.await.expect("a page"));
    }
    told("50 pages a second", &mut spent, WARM);
    println!("  resident under load {:.0} MB, at most {:.0} MB", memory("VmRSS"), memory("VmHWM"));
}

/// The statements behind a plot's page, by themselves.
async fn bare_reads(settings: &Settings) {
    let mut db = open(&settings.data).await;
    let mut spent = Vec::new();
    for _ in 0..30 {
        let start = Instant::now();
        for sql in [
            "select s.* from sampling_plots t join samplings s on s.id = t.sampling where t.plot = 1000",
            "select r.* from sampling_plots t join reports r on r.sampling = t.sampling where t.plot = 1000",
            "select d.* from sampling_plots t join reports r on r.sampling = t.sampling join determinations d on d.report = r.id
             where t.plot = 1000 and not exists (select 1 from determinations n where n.supersedes = d.id)
               and not exists (select 1 from withdrawals w where w.determination = d.id)",
            "select a.*, m.name from applications a join amendments m on m.id = a.amendment where a.plot = 1000",
        ] {
            sqlx::query(sql).fetch_all(&mut db).await.expect("rows");
        }
        spent.push(start.elapsed());
    }
    told("plot, its reads alone", &mut spent, WARM);
}

async fn open(data: &Path) -> SqliteConnection {
    let file = data.join("glebe.sqlite");
    SqliteConnection::connect(&format!("sqlite://{}", file.display())).await.expect("the file")
}

/// Makes the record: the first steps as a person takes them, the rest in one transaction.
async fn prepare(settings: &Settings, clock: Clock) -> glebe::ids::SiteId {
    let app = App::open(settings, clock).await.expect("a record");
    let link = app.setup_link().await.expect("a link").expect("nobody is there yet");
    let session = app.set_up(link.secret(), "Ada Marsh", "ada", PASSWORD).await.expect("a steward");
    let actor = app.session(session.secret()).await.expect("a session").expect("somebody");
    let form = SiteForm {
        name: "Reference".into(),
        currency: "EUR".into(),
        guideline: "extension_sufficiency".into(),
        ..SiteForm::default()
    };
    let site = app.add_site(&actor, &form).await.expect("a site");
    app.seed_catalogue(&actor, date(2000, 1, 1)).await.expect("the catalogue");
    app.close().await;
    drop(app);

    let mut db = open(&settings.data).await;
    for pragma in ["pragma synchronous = off", "pragma cache_size = -65536", "pragma temp_store = memory", "begin"] {
        sqlx::query(pragma).execute(&mut db).await.expect(pragma);
    }
    let analytes = ANALYTES.iter().enumerate().map(|(at, (key, method, unit, level, decimals))| {
        format!("({at}, '{key}', '{method}', '{unit}', {level}, {decimals})")
    });
    let analytes = analytes.collect::<Vec<_>>().join(", ");
    // A share from 0 to 1 that looks random: Numerical Recipes' multiplier, on a number of the row.
    let dice = |number: &str| format!("(((({number}) * 1664525 + 1013904223) & 4294967295) / 4294967296.0)");
    let noise = dice("(r.id * 31 + a.at) * 40503 & 4294967295");
    let own = dice("t.plot * 7919 + a.at * 104729");
    let pace = dice("t.plot * 15485863 + a.at * 32452843");
    let count =
        |name: &str, to: i64| format!("{name}(n) as (select 1 union all select n + 1 from {name} where n < {to})");
    for sql in [
        format!(
            "with recursive {} insert into plots (id, site, name, code, area_m2, cover, texture, depth_cm)
             select n, {site}, 'Bed ' || n, 'B' || n, 20, iif(n % 3 = 0, 'tunnel', 'open'), 'loam', 20 from p",
            count("p", PLOTS)
        ),
        format!(
            "with recursive {}, {} insert into samplings (site, sampled_on, depth_top_cm, depth_bottom_cm, cores)
             select {site}, printf('%04d-%02d-%02d', 2000 + y.n, iif(h.column1 = 0, 3, 9), 1 + p.n % 28), 0, 20, 15
             from p, y, (values (0), (1)) h order by p.n, y.n, h.column1",
            count("p", PLOTS),
            count("y", YEARS)
        ),
        format!("insert into sampling_plots (sampling, plot) select id, (id - 1) / {} + 1 from samplings", YEARS * 2),
        "insert into reports (sampling, lab, recorded_at) select id, 'Lab North', '2026-01-01T00:00:00.000Z' from samplings"
            .into(),
        format!(
            "with a(at, key, method, unit, level, decimals) as (values {analytes})
             insert into determinations (report, position, analyte, method, printed, qualifier, value, decimals, unit, basis)
             select report, at, key, method, text, 'exact', cast(text as real), decimals, unit, 'mass'
             from (select r.id as report, a.at, a.key, a.method, a.unit, a.decimals,
                          printf('%.' || a.decimals || 'f',
                                 iif(a.key = 'ph', a.level + 0.6 * ({own} - 0.5) + 0.3 * ({noise} - 0.5),
                                     a.level * (0.5 + {own}) * (1 + 0.02 * ({pace} - 0.6) * ((r.id - 1) % {span}) / 2.0)
                                             * (0.8 + 0.4 * {noise}))) as text
                   from reports r join sampling_plots t on t.sampling = r.sampling cross join a order by r.id, a.at)",
            span = YEARS * 2
        ),
        format!(
            "with recursive {}, {}, {},
                  some(at, id, analysis) as (select row_number() over (order by id) - 1, amendment, id from analyses limit 10)
             insert into applications (site, plot, applied_on, amendment, analysis, mass_g, method, recorded_at)
             select {site}, p.n, printf('%04d-%02d-%02d', 2000 + y.n, k.n, 1 + p.n % 28), some.id, some.analysis,
                    50 + (p.n * 31 + y.n * 17 + k.n * 7) % 400, 'raked in', '2026-01-01T00:00:00.000Z'
             from p, y, k join some on some.at = k.n - 1",
            count("p", PLOTS),
            count("y", YEARS),
            count("k", 10)
        ),
        format!(
            "insert into changes (at, entity, entity_id, verb, summary)
             values ('2026-01-01T00:00:00.000Z', 'site', {site}, 'imported', 'The reference record was made.')"
        ),
        "commit".into(),
        "pragma wal_checkpoint(truncate)".into(),
        "analyze".into(),
    ] {
        sqlx::query(sqlx::AssertSqlSafe(sql.clone())).execute(&mut db).await.unwrap_or_else(|error| panic!("{error}: {sql}"));
    }
    db.close().await.expect("the file closes");
    site
}
