//! Real input: the Rothamsted long-term liming experiment, 32 plots from 1962 to 1994, taken
//! in through the importer.
//!
//! Data: Glendining, Holland, McGrath, Goulding (2023), soil chemical properties 1962-1996,
//! <https://doi.org/10.23637/rcs10-soil-01>; Thomas, Holland, Glendining, Haefele (2023), the
//! archived samples analysed again by ammonium nitrate, <https://doi.org/10.23637/rcs10-rltlcation-01>;
//! Glendining et al. (2021), yields and applications, <https://doi.org/10.23637/rcs10-rltlyields-01>.
//! All CC BY 4.0, Rothamsted Research. The files are no part of this project: name their
//! folder's parent in GLEBE_ORACLES.
//!
//! What the conversion assumes, it also writes into the record: the area and texture of the
//! plots, the products behind the elements, and the days of spreading, none of which the
//! source gives.

use super::{
    import::{everything, into},
    rothamsted_set::{self, AREA_M2, Line, converted},
    store::fresh,
};
use glebe::{
    agronomy::{
        analyte::Analyte,
        carbonate,
        drift::{self, ErrorSettings},
        element::Element,
        method::Method,
        plausibility::{Entry, QuestionKind, questions},
        quantity::{Grams, SquareMetres},
        reading::{Reading, read_all},
        record::{CellKey, Qualifier},
    },
    app::{Actor, App, reports::Loaded},
    exchange::record_set,
};
use jiff::civil::date;
use std::collections::{BTreeMap, BTreeSet};
use tempfile::TempDir;

/// The three files, or a loud word that they are not there.
pub(super) fn source() -> Option<[Vec<Line>; 3]> {
    rothamsted_set::source().map_err(super::loud::skipped).ok()
}

/// The experiment in a record of its own.
pub(super) async fn imported() -> Option<(TempDir, App, Actor, BTreeMap<String, Vec<u8>>)> {
    let files = converted(&source()?);
    let (folder, app, actor) = fresh().await;
    let told = app.accept_import(Some(&actor), &into("Rothamsted liming experiment"), files.clone()).await.unwrap();
    assert_eq!(told.problems, []);
    assert!(told.saved);
    Some((folder, app, actor, files))
}

async fn plot(app: &App, actor: &Actor, code: &str) -> Vec<Loaded> {
    let site = app.sites(actor).await.unwrap()[0].id;
    let plots = app.plots(actor, site, false).await.unwrap();
    let id = plots.iter().find(|plot| plot.code == code).expect("a plot of the experiment").id;
    app.samplings(actor, id).await.unwrap()
}

fn readings(samplings: &[Loaded]) -> Vec<Reading> {
    samplings
        .iter()
        .flat_map(|loaded| {
            let (readings, unreadable) = read_all(&loaded.sampling);
            assert_eq!(unreadable, []);
            readings
        })
        .collect()
}

#[tokio::test]
async fn everything_arrives_once_and_all_of_it_can_be_read() {
    let Some((folder, app, actor, files)) = imported().await else { return };
    // Counted in the source with another program: 928 lines of soil less 64 repeats of a
    // whole-plot value, 2,494 results of the time and 1,152 of 2019, 2,032 applications.
    let before = everything(folder.path()).await;
    let count = |table: &str| before.iter().filter(|line| line.starts_with(&format!("{table}: "))).count();
    assert_eq!(count("plots"), 32);
    assert_eq!(count("samplings"), 864);
    assert_eq!(count("reports"), 864 + 192);
    assert_eq!(count("determinations"), 2494 + 1152);
    assert_eq!(count("applications"), 2032);
    let again = app.accept_import(Some(&actor), &into("Rothamsted liming experiment"), files).await.unwrap();
    assert_eq!((again.new_lines(), again.saved, again.problems.len()), (0, false, 0));
    assert_eq!(everything(folder.path()).await, before);
    let mut all = 0;
    for code in 1..=32 {
        all += readings(&plot(&app, &actor, &code.to_string()).await).len();
    }
    assert_eq!(all, 2494 + 1152);
}

#[tokio::test]
async fn two_extractants_on_the_same_soil_stand_side_by_side() {
    let Some((_folder, app, actor, _)) = imported().await else { return };
    let samplings = plot(&app, &actor, "1").await;
    let potassium = Analyte::Element(Element::K);
    let twice: Vec<_> = samplings.iter().filter(|loaded| loaded.sampling.reports.len() == 2).collect();
    assert_eq!(twice.len(), 6, "1964, 1967, 1974, 1979, 1983 and 1989 were analysed again in 2019");
    let of_1964 = twice.iter().find(|loaded| loaded.row.sampled_on.year() == 1964).unwrap();
    let (read, _) = read_all(&of_1964.sampling);
    let by = |method: Method| read.iter().find(|r| r.analyte == potassium && r.method == method);
    let (then, later) = (by(Method::AmmoniumAcetate7).unwrap(), by(Method::AmmoniumNitrate).unwrap());
    assert_ne!(then.level, later.level);
    let segments = drift::segments(&readings(&samplings), &BTreeSet::new(), &ErrorSettings::default());
    let of_potassium: Vec<_> = segments.iter().filter(|segment| segment.analyte == potassium).collect();
    assert_eq!(of_potassium.len(), 5, "two methods, each at two depths, and acetate by plasma from 1989 on");
    assert!(of_potassium.iter().all(|segment| segment.points.iter().all(|point| point.value > 0.0)));
}

#[tokio::test]
async fn a_value_below_the_detection_limit_stays_below_it() {
    let Some((_folder, app, actor, _)) = imported().await else { return };
    let read = readings(&plot(&app, &actor, "3").await);
    // Plot 3 of 1964: aluminium 0.01 mg/kg in the file, flagged below the limit of 0.33.
    let aluminium: Vec<_> =
        read.iter().filter(|r| r.analyte == Analyte::Element(Element::Al) && r.sampled_on.year() == 1964).collect();
    assert_eq!(aluminium.len(), 1);
    assert_eq!((aluminium[0].qualifier, aluminium[0].level.number()), (Qualifier::Below, 0.33));
}

#[tokio::test]
async fn the_deeper_auger_of_1971_parts_the_past_from_what_follows() {
    let Some((_folder, app, actor, _)) = imported().await else { return };
    let samplings = plot(&app, &actor, "28").await;
    let assumed = samplings.iter().filter(|l| l.row.date_assumed).map(|l| l.row.sampled_on).collect::<BTreeSet<_>>();
    assert_eq!(assumed, BTreeSet::from([date(1974, 10, 30), date(1989, 10, 30)]));
    let acidity: Vec<_> = readings(&samplings).into_iter().filter(|r| r.analyte == Analyte::Ph).collect();
    let segments = drift::segments(&acidity, &assumed, &ErrorSettings::default());
    let bottoms: Vec<_> = segments.iter().map(|s| s.depth.map(|depth| depth.bottom.0)).collect();
    assert_eq!(bottoms, [Some(18.0), Some(23.0)]);
    let breaks = drift::breaks(&segments);
    assert_eq!(breaks.len(), 1);
    assert_eq!((breaks[0].last, breaks[0].first), (date(1970, 9, 28), date(1971, 10, 22)));
    // Two halves tested on one day are one point; the whole-plot value of 1989 is one test.
    let point = |year: i16| segments[1].points.iter().find(|p| p.sampled_on.year() == year).unwrap();
    assert_eq!(point(1974).cells.len(), 2);
    assert_eq!(point(1989).cells.len(), 1);
    assert!(point(1989).date_assumed && !point(1978).date_assumed);
}

#[tokio::test]
async fn the_potassium_that_its_own_publisher_doubts_is_questioned() {
    let Some((_folder, app, actor, _)) = imported().await else { return };
    // Source note 8: K of plot 28, half 1, in 1974 (236 mg/kg) is queried as too high.
    let samplings = plot(&app, &actor, "28").await;
    let here = |loaded: &&Loaded, half: &str| {
        loaded.row.sampled_on == date(1974, 10, 30) && loaded.row.sub_sample.as_deref() == Some(half)
    };
    let doubted = samplings.iter().find(|loaded| here(loaded, "1")).unwrap();
    let (read, _) = read_all(&doubted.sampling);
    let (beside, _) = read_all(&samplings.iter().find(|loaded| here(loaded, "2")).unwrap().sampling);
    let earlier: Vec<_> = samplings.iter().filter(|l| l.row.sampled_on < date(1974, 10, 30)).cloned().collect();
    let signs = carbonate::signs(&doubted.sampling, &read, None);
    let asked = questions(&Entry {
        sampling: &doubted.sampling,
        readings: &read,
        signs: &signs,
        history: &readings(&earlier),
        beside: &beside,
        last_applied: None,
        clay: false,
    });
    let potassium: Vec<CellKey> =
        read.iter().filter(|r| r.analyte == Analyte::Element(Element::K)).map(|r| r.cell).collect();
    assert!(
        asked.iter().any(|q| q.kind == QuestionKind::FarFromBeside && q.cells.iter().any(|c| potassium.contains(c))),
        "{asked:?}"
    );
}

#[test]
fn what_was_put_on_comes_back_as_the_elements_of_the_source() {
    let Some(source) = source() else { return };
    let (set, problems) = record_set::read(&converted(&source), date(2026, 1, 1));
    assert_eq!(problems, []);
    // Plot 28 over all years, kg/ha, summed from the source with another program; a half counts half.
    let mut supplied: BTreeMap<Element, f64> = BTreeMap::new();
    for application in set.applications.iter().filter(|application| application.plot == "28") {
        let product = set.amendments.iter().find(|amendment| amendment.name == application.amendment).unwrap();
        for (element, part) in &product.parts {
            let rate = Grams(application.mass_g * part.mass_fraction).per(SquareMetres(AREA_M2));
            *supplied.entry(*element).or_default() += rate.0;
        }
    }
    for (element, kg_per_ha) in [
        (Element::P, 745.0),
        (Element::K, 2438.0),
        (Element::Mg, 497.0),
        (Element::N, 2934.0),
        (Element::Ca, 52_500.0 * 0.4004),
    ] {
        let found = supplied[&element];
        assert!((found / kg_per_ha - 1.0).abs() < 2e-5, "{element}: {found} kg/ha");
    }
}
