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
use std::{
    collections::{BTreeMap, BTreeSet},
    path::{Path, PathBuf},
};
use tempfile::TempDir;

/// Assumed: the source gives masses per hectare and no areas.
pub(super) const AREA_M2: f64 = 1000.0;

pub(super) type Line = BTreeMap<String, String>;

/// The three files, or a loud word that they are not there.
pub(super) fn source() -> Option<[Vec<Line>; 3]> {
    let oracles = std::env::var_os("GLEBE_ORACLES")
        .map_or_else(|| Path::new(env!("CARGO_MANIFEST_DIR")).join("../shared/oracles"), PathBuf::from);
    let names = ["topsoil", "cations_nh4no3_with_dl", "applications_yields"];
    let mut tables = names.map(|name| {
        let path = oracles.join(format!("data/rothamsted_lime_{name}.csv"));
        let read = csv::Reader::from_path(&path);
        read.map(|mut reader| reader.deserialize().map(|line| line.expect("a table")).collect::<Vec<Line>>())
            .map_err(|error| {
                super::loud::skipped(format_args!(
                    "{}: {error}; name the data's folder in GLEBE_ORACLES",
                    path.display()
                ));
            })
            .ok()
    });
    let [Some(soil), Some(cations), Some(applications)] = &mut tables else { return None };
    Some([std::mem::take(soil), std::mem::take(cations), std::mem::take(applications)])
}

/// "281.0" is half 1 of plot 28; "2.0" is half 2; empty is the whole plot.
fn half(text: &str) -> &str {
    let digits = text.trim_end_matches(".0");
    &digits[digits.len().saturating_sub(1)..]
}

/// Both halves of 1989 and 1990 repeat the value of the whole plot (source note 5).
fn sub_sample(line: &Line, year: &str, column: &str) -> String {
    if ["1989", "1990"].contains(&year) { String::new() } else { half(&line[column]).to_owned() }
}

/// From the source's files to a set of ours.
fn converted([soil, cations, applications]: &[Vec<Line>; 3]) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::from([
        ("plots.csv", String::from("plot,block,area_m2,texture,depth_cm,note\n")),
        (
            "samplings.csv",
            String::from("sampling,plots,sampled_on,date_assumed,depth_top_cm,depth_bottom_cm,sub_sample,note\n"),
        ),
        ("determinations.csv", String::from("sampling,lab,report,analyte,method,printed,unit\n")),
        (
            "amendments.csv",
            String::from(
                "amendment,kind,valid_from,source,P2O5_percent,K2O_percent,Mg_percent,N_percent,Ca_percent,neutralising_value_percent\n\
             \"Triple superphosphate, for P as applied\",salt,1961-01-01,Assumed: the source gives the element only,46,,,,,\n\
             \"Muriate of potash, for K as applied\",salt,1961-01-01,Assumed: the source gives the element only,,60,,,,\n\
             \"Kieserite, for Mg as applied\",salt,1961-01-01,Assumed: the source gives the element only,,,17,,,\n\
             \"Ammonium nitrate, for N as applied\",salt,1961-01-01,Assumed: the source gives the element only,,,,34.5,,\n\
             Ground chalk as calcium carbonate,lime,1961-01-01,The source gives t/ha of CaCO3,,,,,40.04,100\n",
            ),
        ),
        ("applications.csv", String::from("plot,applied_on,amendment,mass_g,note\n")),
        ("seasons.csv", String::from("season,starts_on,ends_on\n")),
        ("croppings.csv", String::from("plot,season,crop\n")),
        ("harvests.csv", String::from("plot,harvested_on,crop,fresh_mass_kg,note\n")),
    ]);
    let mut add = |file: &str, line: String| {
        let text = files.get_mut(file).expect("a file of the set");
        text.push_str(&line);
        text.push('\n');
    };
    let mut plots = BTreeSet::new();
    let mut samplings = BTreeMap::new();
    for line in soil {
        let (plot, year) = (&line["plot"], line["sample_year"].as_str());
        if plots.insert(plot.clone()) {
            let note =
                "Area and texture are assumed: the source gives neither. Masses per hectare hold whatever the area is.";
            add("plots.csv", format!("{plot},Block {},{AREA_M2},silty_clay_loam,23,{note}", line["block"]));
        }
        let sub = sub_sample(line, year, "sub_plot");
        let key = format!("{plot}/{year}/{sub}");
        if samplings.insert((plot.clone(), year.to_owned(), sub.clone()), key.clone()).is_some() {
            continue;
        }
        let (top, bottom) = line["soil_depth_cm"].split_once('-').expect("a depth band");
        let (on, assumed) = (&line["sample_date"], &line["date_assumed"]);
        let note =
            if line["note_id"].is_empty() { String::new() } else { format!("\"Source notes: {}\"", line["note_id"]) };
        add("samplings.csv", format!("{key},{plot},{on},{assumed},{top},{bottom},{sub},{note}"));
        for (column, analyte, method) in [
            ("ph_water_1_2_5", "ph", "ph_water_1_2_5"),
            ("olsen_p_mg_kg", "P", "olsen"),
            ("k_nh4oac_mg_kg", "K", "nh4oac_7"),
            ("ca_nh4oac_mg_kg", "Ca", "nh4oac_7"),
            ("mg_nh4oac_mg_kg", "Mg", "nh4oac_7"),
            ("na_nh4oac_mg_kg", "Na", "nh4oac_7"),
            ("mn_nh4oac_mg_kg", "Mn", "nh4oac_7"),
        ] {
            let (printed, unit) = (&line[column], if analyte == "ph" { "" } else { "mg/kg" });
            if !printed.is_empty() {
                add("determinations.csv", format!("{key},Rothamsted,of the time,{analyte},{method},{printed},{unit}"));
            }
        }
    }
    for line in cations {
        let (plot, year) = (&line["plot"], line["sample_year"].as_str());
        let sub = sub_sample(line, year, "sub-plot");
        let key = &samplings[&(plot.clone(), year.to_owned(), sub)];
        let symbol = line["cation"].trim_start_matches("exch_");
        let printed = if line["below_dl"] == "1" {
            format!("<{}", line["detection_limit"])
        } else {
            line["mg_kg_nh4no3"].clone()
        };
        add("determinations.csv", format!("{key},Rothamsted,2019,{symbol},nh4no3,{printed},mg/kg"));
    }
    // A half treated alone counts as half the plot.
    let mut put_on: BTreeMap<(String, String, &str), f64> = BTreeMap::new();
    for line in applications {
        let share = if line["sub_plot"].is_empty() { 1.0 } else { 0.5 };
        let kg = |column: &str| line[column].parse().unwrap_or(0.0) * share;
        let lime_on = if line["lime_date"].is_empty() { String::new() } else { line["lime_date"].clone() };
        let spring = format!("{}-03-15", line["harvest_year"]);
        for (product, on, kg_per_ha, fraction) in [
            ("Triple superphosphate, for P as applied", &spring, kg("p_kg_ha"), 0.46 * 0.43642),
            ("Muriate of potash, for K as applied", &spring, kg("k_kg_ha") + kg("k_basal_kg_ha"), 0.60 * 0.83015),
            ("Kieserite, for Mg as applied", &spring, kg("mg_kg_ha") + kg("mg_basal_kg_ha"), 0.17),
            ("Ammonium nitrate, for N as applied", &spring, kg("n_kg_ha"), 0.345),
            ("Ground chalk as calcium carbonate", &lime_on, kg("lime_t_caco3_ha") * 1000.0, 1.0),
        ] {
            if kg_per_ha > 0.0 {
                *put_on.entry((line["plot"].clone(), on.clone(), product)).or_default() += kg_per_ha / fraction;
            }
        }
    }
    for ((plot, on, product), kg_per_ha) in put_on {
        let mass_g = kg_per_ha * AREA_M2 / 10.0;
        let note = if product.starts_with("Ground") {
            ""
        } else {
            "Day and product are assumed; the source gives the year and the element."
        };
        add("applications.csv", format!("{plot},{on},\"{product}\",{mass_g:.1},{note}"));
    }
    for (year, days) in seasons(applications) {
        add("seasons.csv", format!("{year},{},{}", days.0, days.1));
    }
    for ((plot, year, crop), (on, mass_kg)) in taken_off(applications) {
        add("croppings.csv", format!("{plot},{year},{crop}"));
        if let Some(on) = on {
            let note = "Yield as the source gives it, on an assumed area.";
            add("harvests.csv", format!("{plot},{on},{crop},{mass_kg:.2},\"{note}\""));
        }
    }
    files.into_iter().map(|(name, text)| (name.to_owned(), text.into_bytes())).collect()
}

/// The source's crops that the list of crops has; of the others no harvest can be weighed.
pub(super) const CROPS: [(&str, &str); 5] = [
    ("spring beans", "field_bean"),
    ("spring barley", "barley"),
    ("potatoes", "potato"),
    ("spring oats", "oats"),
    ("winter wheat", "wheat"),
];

/// Each harvest year from the day after the last harvest of the year before to its own last one;
/// assumed, for the source names the years only.
fn seasons(applications: &[Line]) -> BTreeMap<String, (String, String)> {
    let years: BTreeSet<&String> = applications.iter().map(|line| &line["harvest_year"]).collect();
    let before = |year: &str| year.parse::<i16>().expect("a year") - 1;
    years.into_iter().map(|year| (year.clone(), (format!("{}-11-01", before(year)), format!("{year}-10-31")))).collect()
}

/// What left each plot by year and crop: the last day of its harvest and kg, the mean of two halves
/// that were weighed apart. A crop without a yield has no day.
fn taken_off(applications: &[Line]) -> BTreeMap<(String, String, &'static str), (Option<String>, f64)> {
    let mut taken: BTreeMap<(String, String, &'static str), (Option<String>, f64)> = BTreeMap::new();
    for line in applications {
        let known = CROPS.iter().find(|(theirs, _)| *theirs == line["crop"]);
        let Some((_, crop)) = known else { continue };
        let share = if line["sub_plot"].is_empty() { 1.0 } else { 0.5 };
        let entry = taken.entry((line["plot"].clone(), line["harvest_year"].clone(), crop)).or_default();
        if let (Some(t_per_ha), false) =
            (line["yield_t_ha"].parse::<f64>().ok().filter(|t| *t > 0.0), line["harvest_date"].is_empty())
        {
            entry.0 = entry.0.take().max(Some(line["harvest_date"].clone()));
            entry.1 += t_per_ha * share * AREA_M2 / 10.0;
        }
    }
    taken
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
    assert_eq!(of_potassium.len(), 4, "two methods, each at two depths");
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
