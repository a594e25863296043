//! The demonstration garden: the same on the same day, readable throughout, and what it
//! says of itself.

use super::import::everything;
use glebe::{
    agronomy::{
        analyte::Analyte,
        carbonate,
        element::Element,
        method::Method,
        quantity::LayerConvention,
        reading::{Reading, read_all},
        record::{FizzClass, Qualifier, Unit},
    },
    app::{Actor, App, Error, demo, plots::PlotRow, reports::Loaded},
    clock::Clock,
    settings::Settings,
};
use jiff::Timestamp;
use sqlx::{Connection, SqliteConnection};
use std::collections::{BTreeMap, BTreeSet};
use tempfile::TempDir;

pub async fn garden(now: &str) -> (TempDir, App, Actor) {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
    let app = App::open(&settings, Clock::Fixed(now.parse::<Timestamp>().unwrap())).await.unwrap();
    assert!(app.invent_garden().await.unwrap());
    let session = app.sign_in(demo::LOGIN, demo::PASSWORD).await.unwrap();
    let actor = app.session(session.secret()).await.unwrap().unwrap();
    (folder, app, actor)
}

pub const AUTUMN: &str = "2026-11-25T12:00:00Z";

async fn beds(app: &App, actor: &Actor) -> Vec<(PlotRow, Vec<Loaded>)> {
    let site = app.sites(actor).await.unwrap().into_iter().find(|site| site.name == demo::SITE).unwrap();
    assert!(site.invented);
    let mut beds = Vec::new();
    for plot in app.plots(actor, site.id, false).await.unwrap() {
        let samplings = app.samplings(actor, plot.id).await.unwrap();
        beds.push((plot, samplings));
    }
    beds
}

/// The readings of a sampling; nothing of the garden may be unreadable.
fn read(loaded: &Loaded) -> Vec<Reading> {
    let (readings, unreadable) = read_all(&loaded.sampling);
    assert_eq!(unreadable, [], "{:?}", loaded.row);
    readings
}

fn level(readings: &[Reading], analyte: Analyte, method: &Method) -> Option<f64> {
    readings.iter().find(|r| r.analyte == analyte && r.method == *method).map(|r| r.level.number())
}

#[tokio::test]
async fn the_same_day_invents_the_same_record() {
    let (first, ..) = garden(AUTUMN).await;
    let (second, ..) = garden("2026-11-25T18:30:00Z").await;
    let (one, other) = (everything(first.path()).await, everything(second.path()).await);
    assert!(one == other, "first difference: {:?}", one.iter().zip(&other).find(|(a, b)| a != b));
    assert!(one.len() > 5_000, "{}", one.len());
}

#[tokio::test]
async fn a_record_in_use_is_left_alone_and_the_garden_is_recognised() {
    let (_folder, app, _) = garden(AUTUMN).await;
    assert!(!app.invent_garden().await.unwrap(), "there already");
    let (other, in_use, _) = super::store::fresh().await;
    let before = everything(other.path()).await;
    assert!(matches!(in_use.invent_garden().await, Err(Error::Conflict(_))));
    assert_eq!(everything(other.path()).await, before);
}

#[tokio::test]
async fn the_ground_is_as_told() {
    let (_folder, app, actor) = garden(AUTUMN).await;
    let beds = beds(&app, &actor).await;
    assert_eq!(beds.len(), 41, "forty beds, of which one was split");
    let mut fizzing: BTreeMap<String, BTreeSet<Option<FizzClass>>> = BTreeMap::new();
    let mut blocks = BTreeSet::new();
    for (plot, samplings) in &beds {
        let block = plot.block_name.clone().unwrap();
        blocks.insert(block.clone());
        assert!((8.0..60.0).contains(&plot.area_m2), "{} {}", plot.code, plot.area_m2);
        let latest = samplings.last().unwrap();
        assert_eq!(latest.row.sampled_on.year(), 2026);
        let readings = read(latest);
        let signs = carbonate::signs(&latest.sampling, &readings, Some(plot.cover));
        let kiln = block.starts_with("Kiln");
        assert_eq!(signs.calcareous(), kiln, "{}", plot.code);
        assert_eq!(latest.sampling.reports.len(), if kiln { 2 } else { 1 }, "{}", plot.code);
        let acidity = level(&readings, Analyte::Ph, &Method::PhWater1to1).unwrap();
        let expected = match block.as_str() {
            "Kiln East" => 7.5..=8.2,
            "Kiln West" => 7.3..=8.0,
            "Brook Ground" => 4.9..=6.1,
            _ => 5.4..=7.0,
        };
        assert!(expected.contains(&acidity), "{}: pH {acidity}", plot.code);
        if block == "Brook Ground" {
            assert!(level(&readings, Analyte::BufferPh, &Method::BufferSikora).is_some(), "{}", plot.code);
        }
        fizzing.entry(block).or_default().insert(latest.row.fizz().map(|fizz| fizz.class));
    }
    assert_eq!(blocks.len(), 5);
    assert_eq!(fizzing["Kiln East"], BTreeSet::from([Some(FizzClass::Strong)]));
    assert_eq!(fizzing["Kiln West"], BTreeSet::from([Some(FizzClass::Slight)]));
    let salts = |block: &str| {
        let of: Vec<f64> = beds
            .iter()
            .filter(|(plot, _)| plot.block_name.as_deref() == Some(block))
            .filter_map(|(_, s)| level(&read(s.last()?), Analyte::Conductivity, &Method::Ec1to2))
            .collect();
        of.iter().sum::<f64>() / of.len() as f64
    };
    assert!(
        salts("Kiln East") > 1.2 && salts("Kiln West") < salts("Kiln East"),
        "{} {}",
        salts("Kiln East"),
        salts("Kiln West")
    );
}

#[tokio::test]
async fn the_sheets_read_like_sheets() {
    let (_folder, app, actor) = garden(AUTUMN).await;
    let mut limits = BTreeSet::new();
    let mut units = BTreeSet::new();
    let (mut composites, mut doubted, mut layers) = (0, Vec::new(), 0);
    for (plot, samplings) in beds(&app, &actor).await {
        assert!(samplings.len() >= 5, "{}", plot.code);
        for loaded in &samplings {
            assert!((12..=15).contains(&loaded.row.cores.unwrap()));
            composites += usize::from(loaded.plots.len() > 1);
            for reading in read(loaded) {
                if reading.qualifier == Qualifier::Below {
                    limits.insert(reading.analyte);
                }
                assert!(reading.level.number().is_finite());
            }
            for (report, cell) in loaded.sampling.determinations() {
                assert!(report.lab.ends_with("(invented)"), "{}", report.lab);
                units.insert(cell.unit);
                layers += usize::from(cell.layer == LayerConvention::find("two_million_lb_per_acre"));
            }
            if loaded.row.note.contains("ten times") {
                doubted.push((
                    plot.code.clone(),
                    level(&read(loaded), Analyte::Element(Element::K), &Method::Mehlich3Icp).unwrap(),
                ));
            }
        }
    }
    assert!(limits.contains(&Analyte::Element(Element::B)) && limits.len() >= 2, "{limits:?}");
    assert!([Unit::LbPerAcre, Unit::Ppm, Unit::MgPerKg, Unit::MsPerCm].iter().all(|unit| units.contains(unit)));
    assert!(composites > 0 && layers > 100);
    assert_eq!(doubted.len(), 1);
    assert_eq!(doubted[0].0, "O5");
    assert!(doubted[0].1 > 800.0, "{doubted:?}");
}

#[tokio::test]
async fn no_bean_stands_in_fresh_boron() {
    let (folder, ..) = garden(AUTUMN).await;
    let mut db =
        SqliteConnection::connect(&format!("sqlite://{}", folder.path().join("glebe.sqlite").display())).await.unwrap();
    let mut count = async |sql: &'static str| sqlx::query_scalar::<_, i64>(sql).fetch_one(&mut db).await.unwrap();
    let given =
        "select count(*) from applications a join amendments m on m.id = a.amendment where m.catalogue = 'borax'";
    assert!(count(given).await > 20);
    let beside = "select count(*) from applications a join amendments m on m.id = a.amendment
                  join croppings c on c.plot = a.plot join seasons s on s.id = c.season
                  where m.catalogue = 'borax' and c.crop in ('snap_bean', 'runner_bean', 'broad_bean', 'pea')
                  and (a.applied_on between s.starts_on and s.ends_on
                       or date(a.applied_on, '+1 year') between s.starts_on and s.ends_on)";
    assert_eq!(count(beside).await, 0);
    // And beans do grow next to brassicas, so that the ceiling of boron changes from bed to bed.
    let beans = "select count(*) from croppings where crop in ('snap_bean', 'runner_bean', 'broad_bean', 'pea')";
    assert!(count(beans).await > 40);
}

#[tokio::test]
async fn this_seasons_plan_is_agreed_and_half_applied() {
    let (_folder, app, actor) = garden(AUTUMN).await;
    let site = app.sites(&actor).await.unwrap()[0].id;
    let season = app.seasons(&actor, site).await.unwrap().into_iter().find(|season| season.name == "2027").unwrap();
    let plans = app.season(&actor, season.id).await.unwrap().plans;
    assert_eq!(plans.len(), 1);
    let view = app.plan(&actor, plans[0].id).await.unwrap();
    assert_eq!(view.plan.state, "agreed");
    let doses: Vec<_> = view.plots.iter().flat_map(|plot| &plot.doses).filter(|dose| dose.mass_g > 0.0).collect();
    let done = doses.iter().filter(|dose| dose.applied_g > 0.0).count();
    assert!(doses.len() >= 10 && done == doses.len().div_ceil(2), "{done} of {}", doses.len());
    assert!(doses.iter().any(|dose| dose.applied_g > 0.0 && dose.applied_g < dose.mass_g), "one was cut short");
    let least = doses.iter().map(|dose| dose.mass_g).fold(f64::INFINITY, f64::min);
    assert!(least >= 0.1, "the solver's dust is no dose: {least} g");
    assert!(view.outcome.proven, "the same plan on every machine");
}

#[tokio::test]
async fn the_garden_can_be_invented_on_any_day_of_the_year() {
    for day in ["2026-11-01", "2026-10-31", "2027-03-20", "2028-02-29", "2031-07-15"] {
        let (_folder, app, actor) = garden(&format!("{day}T08:00:00Z")).await;
        let today = app.today();
        for (plot, samplings) in beds(&app, &actor).await {
            assert!(samplings.len() >= 5, "{day} {}", plot.code);
            assert!(samplings.iter().all(|loaded| loaded.row.sampled_on <= today), "{day} {}", plot.code);
        }
        let site = app.sites(&actor).await.unwrap()[0].id;
        let seasons = app.seasons(&actor, site).await.unwrap();
        assert!(seasons.iter().any(|season| season.starts_on <= today && today <= season.ends_on), "{day}");
    }
}
