//! A set of CSV files, from bytes to the record: what is understood, what is refused, by
//! line and column, and that a set read twice changes nothing.

use super::store::fresh;
use glebe::{
    agronomy::{
        analyte::Analyte,
        element::{Element, Form},
        record::{Qualifier, Unit},
    },
    app::{self, Actor, Error, Role, import::ImportInto},
    exchange::record_set::{self, FILES, ImportProblem, RecordSet},
};
use jiff::civil::{Date, date};
use sqlx::{Connection, SqliteConnection};
use std::{collections::BTreeMap, path::Path};

const TODAY: Date = date(2026, 11, 25);

const PLOTS: &str = "plot,name,block,area_m2,cover,texture,depth_cm,stones_percent,note\n\
                     A1,\"Long bed, north\",North field,24,open,sandy_loam,20,5,\"said \"\"stony\"\"\"\n\
                     A2,,North field,18.5,tunnel,clay_loam,20,,\n";
const SAMPLINGS: &str = "sampling,plots,sampled_on,depth_top_cm,depth_bottom_cm,cores,fizz_class,fizz_acid,sub_sample\n\
                         s1,A1,2024-10-12,0,15,15,strong,vinegar,\n\
                         s2,A2|A1,2024-10-12,0,15,12,,,composite\n";
const DETERMINATIONS: &str = "sampling,lab,report,reported_on,analyte,method,printed,unit,form,basis,layer\n\
                              s1,Sarn Water,SW-1,2024-11-02,ph,ph_water_1_1,7.8,,,,\n\
                              s1,Sarn Water,SW-1,2024-11-02,P,mehlich3_icp,112,mg/kg,,,\n\
                              s1,Sarn Water,SW-1,2024-11-02,B,hot_water,<0.2,ppm,,,\n\
                              s1,Marl Hill,77,2024-11-20,P,olsen,44,lb/acre,P2O5,,two_million_lb_per_acre\n\
                              s2,Sarn Water,SW-2,2024-11-02,K,mehlich3_icp,ND,mg/L,,volume,\n";
const AMENDMENTS: &str = "amendment,kind,valid_from,source,label,N_percent,P2O5_percent,N_available_percent,neutralising_value_percent\n\
     Shed mix 4-3,compost,2020-01-01,bag,4-3-0,4,3,50,-5\n";
const APPLICATIONS: &str = "plot,applied_on,amendment,mass_g,method,person,note\n\
                            A1,2025-03-20,Shed mix 4-3,1250,raked in,Ines,\n\
                            A2,2025-03-20,Shed mix 4-3,\"900,5\",raked in,Ines,\n";
const SEASONS: &str = "season,starts_on,ends_on\n2025,2024-11-01,2025-10-31\n";
const HARVESTS: &str = "plot,harvested_on,crop,fresh_mass_kg,table,own_kg_per_t,own_source,person,note\n\
                        A1,2025-09-01,carrot,\"50,5\",,,,Ines,\n\
                        A1,2025-09-08,carrot,12,usda,,,Ines,second pull\n\
                        A1,2025-09-20,carrot,3,,K=2.9 Mg=0.2,our lab 2024,,\n\
                        A2,2025-10-01,,0,,,,,resting\n";
const CROPPINGS: &str = "plot,season,crop,sown_on\nA1,2025,carrot,2025-04-02\n";

fn set(files: &[(&str, &str)]) -> BTreeMap<String, Vec<u8>> {
    files.iter().map(|(name, text)| ((*name).to_owned(), text.as_bytes().to_vec())).collect()
}

fn whole() -> BTreeMap<String, Vec<u8>> {
    set(&[
        ("plots.csv", PLOTS),
        ("samplings.csv", SAMPLINGS),
        ("determinations.csv", DETERMINATIONS),
        ("amendments.csv", AMENDMENTS),
        ("applications.csv", APPLICATIONS),
        ("seasons.csv", SEASONS),
        ("croppings.csv", CROPPINGS),
        ("harvests.csv", HARVESTS),
    ])
}

fn read(files: &BTreeMap<String, Vec<u8>>) -> (RecordSet, Vec<ImportProblem>) {
    record_set::read(files, TODAY)
}

/// A set without its line numbers, which depend on how it is written and not on what it says.
fn unnumbered(mut set: RecordSet) -> RecordSet {
    set.plots.iter_mut().for_each(|row| row.line = 0);
    set.seasons.iter_mut().for_each(|row| row.line = 0);
    set.amendments.iter_mut().for_each(|row| row.line = 0);
    set.samplings.iter_mut().for_each(|row| row.line = 0);
    set.reports.iter_mut().for_each(|row| row.line = 0);
    set.cells.iter_mut().for_each(|row| row.line = 0);
    set.applications.iter_mut().for_each(|row| row.line = 0);
    set.croppings.iter_mut().for_each(|row| row.line = 0);
    set.harvests.iter_mut().for_each(|row| row.line = 0);
    set
}

#[test]
fn a_set_is_understood() {
    let (set, problems) = read(&whole());
    assert_eq!(problems, []);
    assert_eq!((set.plots.len(), set.samplings.len(), set.reports.len(), set.cells.len()), (2, 2, 3, 5));
    assert_eq!(set.plots[0].name, "Long bed, north");
    assert_eq!(set.plots[0].note, "said \"stony\"");
    assert_eq!(set.plots[1].name, "A2");
    assert_eq!(set.samplings[1].plots, ["A1", "A2"]);
    assert_eq!(set.cells[2].printed.qualifier, Qualifier::Below);
    assert_eq!(set.cells[3].form, Some(Form::P2O5));
    assert_eq!(set.cells[3].layer, Some("two_million_lb_per_acre"));
    assert_eq!(set.cells[4].printed.value, None);
    assert_eq!(set.applications[1].mass_g, 900.5);
    // 3 % P2O5 is 1.309 % P: IUPAC weights, 2 × 30.974 ÷ 141.943.
    let parts = &set.amendments[0].parts;
    assert!((parts[&Element::P].mass_fraction - 0.01309).abs() < 5e-6);
    assert_eq!(parts[&Element::N].first_year_availability, 0.5);
}

#[test]
fn a_printed_ratio_and_the_ammonium_of_a_manure_are_taken_in() {
    let mut files = whole();
    let ratio = "s1,Marl Hill,77,2024-11-20,ratio_Ca_Mg,unstated,8.2,,,,\n";
    files.insert("determinations.csv".into(), format!("{DETERMINATIONS}{ratio}").into_bytes());
    let slurry = |ammonium: &str| {
        let head = "amendment,kind,valid_from,source,manure,moisture_percent,ammonium_n_percent,N_percent\n";
        format!("{head}Slurry,manure,2024-01-01,lab,yes,94,{ammonium},0.45\nShed mix 4-3,compost,2020-01-01,bag,,,,4\n")
    };
    files.insert("amendments.csv".into(), slurry("0.2").into_bytes());
    let (set, problems) = read(&files);
    assert_eq!(problems, []);
    assert_eq!((set.cells[5].analyte, set.cells[5].unit), (Analyte::Ratio(Element::Ca, Element::Mg), Unit::ToOne));
    assert_eq!(set.amendments[0].ammonium_n, Some(0.002));
    let (again, problems) = read(&record_set::write(&set));
    assert_eq!((problems, &again.amendments[0].ammonium_n), (vec![], &Some(0.002)));
    files.insert("amendments.csv".into(), slurry("0.5").into_bytes());
    let (_, problems) = read(&files);
    assert!(problems.iter().any(|p| p.column == "ammonium_n_percent" && p.line == 2), "{problems:?}");
}

#[test]
fn what_is_written_reads_back_the_same() {
    let (set, _) = read(&whole());
    let written = record_set::write(&set);
    let (again, problems) = read(&written);
    assert_eq!(problems, []);
    // The oxide of the bag comes back as the element, to the six decimals of a percentage.
    assert!(
        (again.amendments[0].parts[&Element::P].mass_fraction - set.amendments[0].parts[&Element::P].mass_fraction)
            .abs()
            < 1e-8
    );
    let (mut first, mut second) = (unnumbered(set), unnumbered(again));
    first.amendments.clear();
    second.amendments.clear();
    assert_eq!(first, second);
    assert_eq!(written, record_set::write(&read(&written).0));
}

#[test]
fn spreadsheets_habits_are_tolerated() {
    let (plain, _) = read(&whole());
    let rewrite = |name: &str, text: String| {
        let mut files = whole();
        files.insert(name.to_owned(), text.into_bytes());
        let (set, problems) = read(&files);
        assert_eq!(problems, [], "{name}");
        assert_eq!(unnumbered(set), unnumbered(plain.clone()));
    };
    rewrite("determinations.csv", format!("\u{feff}{DETERMINATIONS}"));
    rewrite("determinations.csv", DETERMINATIONS.replace(',', ";"));
    rewrite("determinations.csv", DETERMINATIONS.replace(',', "\t"));
    rewrite("samplings.csv", SAMPLINGS.replace('\n', "\r\n"));
    rewrite(
        "samplings.csv",
        SAMPLINGS
            .to_uppercase()
            .replace("S1", "s1")
            .replace("S2", "s2")
            .replace("STRONG", "strong")
            .replace("VINEGAR", "vinegar")
            .replace("COMPOSITE", "composite"),
    );
    rewrite("croppings.csv", format!("{CROPPINGS}\n,,,\n"));
    // A semicolon file with decimal commas, as half of the world's spreadsheets save it.
    let comma = "plot;name;block;area_m2;cover;texture;depth_cm;stones_percent;note\n\
                 A1;Long bed, north;North field;24,0;open;sandy_loam;20;5;\"said \"\"stony\"\"\"\n\
                 A2;;North field;18,5;tunnel;clay_loam;20\n";
    rewrite("plots.csv", comma.to_owned());
}

/// Replaces one piece of one file and returns what is then wrong.
fn spoilt(file: &str, from: &str, to: &str) -> Vec<ImportProblem> {
    let mut files = whole();
    let text = String::from_utf8(files[file].clone()).unwrap();
    assert!(text.contains(from), "{file} has no {from:?}");
    files.insert(file.to_owned(), text.replacen(from, to, 1).into_bytes());
    read(&files).1
}

#[test]
fn each_fault_is_told_by_line_and_column() {
    let cases: &[(&str, &str, &str, u64, &str, &str)] = &[
        ("plots.csv", "24,open", "0,open", 2, "area_m2", "above 0"),
        ("plots.csv", "24,open", ",open", 2, "area_m2", "needed"),
        ("plots.csv", "24,open", "NaN,open", 2, "area_m2", "not a number"),
        ("plots.csv", "24,open", "1e400,open", 2, "area_m2", "too large"),
        ("plots.csv", "24,open", "1.2.3,open", 2, "area_m2", "decimal points"),
        ("plots.csv", "24,open", "-4,open", 2, "area_m2", "above 0"),
        ("plots.csv", "24,open", "24,cave", 2, "cover", "cave"),
        ("plots.csv", "clay_loam", "mud", 3, "texture", "mud"),
        ("plots.csv", "A2,,", "a1,,", 3, "plot", "line 2 already has this plot"),
        ("plots.csv", "area_m2", "area", 1, "area", "not a column of plots.csv"),
        ("plots.csv", "area_m2", "area", 1, "area_m2", "missing"),
        ("plots.csv", "stones_percent", "cover", 1, "cover", "twice"),
        ("plots.csv", "tunnel,clay_loam,20,,", "tunnel,clay_loam,20,,,,", 3, "", "11 cells stand under 9 columns"),
        ("samplings.csv", "2024-10-12", "2027-10-12", 2, "sampled_on", "has not come yet"),
        ("samplings.csv", "2024-10-12", "2024-02-30", 2, "sampled_on", "not in the calendar"),
        ("samplings.csv", "2024-10-12", "03/04/2024", 2, "sampled_on", "write year-month-day"),
        ("samplings.csv", "0,15,15", "15,0,15", 2, "depth_bottom_cm", "above 0"),
        ("samplings.csv", "0,15,15", "20,15,15", 2, "depth_bottom_cm", "deeper"),
        ("samplings.csv", "0,15,15", "0,,15", 2, "depth_bottom_cm", "both"),
        ("samplings.csv", "strong,vinegar", ",vinegar", 2, "fizz_class", "not what was seen"),
        ("samplings.csv", "A2|A1", "A2|A2", 3, "plots", "twice"),
        ("samplings.csv", "s2,A2|A1", "s1,A2|A1", 3, "sampling", "line 2 already has"),
        (
            "samplings.csv",
            "12,,,composite",
            "12,,,composite\ns3,A1,2024-10-12,0,15,9,,,",
            4,
            "sampling",
            "line 2 already has the same plots",
        ),
        ("determinations.csv", "s2,Sarn", "s9,Sarn", 6, "sampling", "not in samplings.csv"),
        ("determinations.csv", "mehlich3_icp,112", ",112", 3, "method", "no method"),
        ("determinations.csv", "mehlich3_icp,112", "mehlic3,112", 3, "method", "not a method known here"),
        ("determinations.csv", "112,mg/kg", "mg/kg,112", 3, "printed", "not a number"),
        ("determinations.csv", "112,mg/kg", "mg/kg,112", 3, "unit", "not a unit"),
        ("determinations.csv", "112,mg/kg", "112,", 3, "unit", "needed"),
        ("determinations.csv", "112,mg/kg", ",mg/kg", 3, "printed", "leave the line out"),
        ("determinations.csv", "112,mg/kg", "-3,mg/kg", 3, "printed", "below 0"),
        ("determinations.csv", "112,mg/kg", "1.2.3,mg/kg", 3, "printed", "decimal points"),
        ("determinations.csv", "112,mg/kg", "NaN,mg/kg", 3, "printed", "not a number"),
        ("determinations.csv", "112,mg/kg", "1e400,mg/kg", 3, "printed", "too large"),
        (
            "determinations.csv",
            "44,lb/acre,P2O5,,two_million_lb_per_acre",
            "44,lb/acre,P2O5,,",
            5,
            "layer",
            "soil mass",
        ),
        ("determinations.csv", "44,lb/acre,P2O5", "44,lb/acre,K2O", 5, "form", "K2O is not a form of “P”"),
        (
            "determinations.csv",
            "B,hot_water,<0.2,ppm",
            "P,mehlich3_icp,9,mg/kg",
            4,
            "analyte",
            "line 3 already has this analyte",
        ),
        ("determinations.csv", "SW-1,2024-11-02,P", "SW-1,2024-11-03,P", 3, "reported_on", "line 2 has another day"),
        ("amendments.csv", "4,3,50", "90,30,50", 2, "", "120.0 %"),
        ("amendments.csv", "4,3,50", ",3,50", 2, "N_available_percent", "no N is given"),
        ("amendments.csv", "P2O5_percent", "N_percent", 1, "N_percent", "twice"),
        ("applications.csv", "1250", "0", 2, "mass_g", "above 0"),
        (
            "applications.csv",
            "A2,2025-03-20,Shed mix 4-3,\"900,5\"",
            "A1,2025-03-20,Shed mix 4-3,1250",
            3,
            "",
            "line 2 already has the same application",
        ),
        ("seasons.csv", "2025-10-31", "2024-10-31", 2, "ends_on", "before it starts"),
        ("croppings.csv", "carrot", "", 2, "crop", "needed"),
        ("harvests.csv", "usda", "nobody", 3, "table", "not a removal table"),
        ("harvests.csv", "K=2.9", "K:2.9", 4, "own_kg_per_t", "write K=3.1"),
        ("harvests.csv", "2025-10-01,,0", "2025-10-01,kale,0", 5, "crop", "a crop and a mass above 0"),
    ];
    for (file, from, to, line, column, says) in cases {
        let problems = spoilt(file, from, to);
        let found = problems
            .iter()
            .any(|p| p.file == *file && p.line == *line && p.column == *column && p.message.contains(says));
        assert!(found, "{file}: {from:?} → {to:?}: {problems:?}");
    }
}

#[test]
fn broken_files_are_told_and_the_rest_is_read() {
    let mut files = whole();
    files.insert("plots.csv".into(), b"plot,area_m2,texture,depth_cm\nA1,24,loam,20\nA\xe92,24,loam,20\n".to_vec());
    files.insert("croppings.csv".into(), Vec::new());
    files.insert("weather.csv".into(), b"rain\n".to_vec());
    let (set, problems) = read(&files);
    let told: Vec<_> = problems.iter().map(ToString::to_string).collect();
    assert!(told.iter().any(|t| t.starts_with("plots.csv, line 3: this line is not UTF-8")), "{told:?}");
    assert!(told.iter().any(|t| t.starts_with("croppings.csv, line 1: the file is empty")), "{told:?}");
    assert!(told.iter().any(|t| t.contains("“weather.csv” is not a file of a set")), "{told:?}");
    assert_eq!(set.cells.len(), 5);
}

#[test]
fn a_flood_of_problems_is_counted_not_listed() {
    let rows: String = (0..2000).map(|n| format!("P{n},0,loam,20\n")).collect();
    let (_, problems) = read(&set(&[("plots.csv", &format!("plot,area_m2,texture,depth_cm\n{rows}"))]));
    assert_eq!(problems.len(), 501);
    assert_eq!(problems[500].message, "1500 more problems in this file are not listed");
}

#[test]
fn every_column_is_explained() {
    let text = include_str!("../../DEVELOPERS.md");
    for file in FILES {
        let names: std::collections::BTreeSet<_> = file.column_names().collect();
        assert_eq!(names.len(), file.columns.len(), "{}", file.name);
        let line = text.lines().find(|line| line.starts_with(&format!("| `{}` |", file.name))).expect(file.name);
        for column in file.columns {
            let listed = format!("{}{}", column.name, if column.needed { "\\*" } else { "" });
            let stands = line.split([' ', ',', '|']).any(|word| word == listed);
            assert!(stands, "{listed} of {} is not described in DEVELOPERS.md", file.name);
        }
    }
}

/// Everything the record holds but times and secrets, one line per row.
pub async fn everything(folder: &Path) -> Vec<String> {
    let mut db =
        SqliteConnection::connect(&format!("sqlite://{}", folder.join("glebe.sqlite").display())).await.unwrap();
    let tables: Vec<String> = sqlx::query_scalar(
        "select name from sqlite_schema where type = 'table' and name not like '\\_sqlx%' escape '\\'
         and name not in ('sessions', 'setup_links', 'tokens') order by name",
    )
    .fetch_all(&mut db)
    .await
    .unwrap();
    let mut lines = Vec::new();
    for table in tables {
        let columns: Vec<String> = sqlx::query_scalar(
            "select name from pragma_table_info(?) where name not like '%\\_at' escape '\\' and name not in ('at', 'password_hash')",
        )
        .bind(&table)
        .fetch_all(&mut db)
        .await
        .unwrap();
        let row = columns.iter().map(|c| format!("quote({c})")).collect::<Vec<_>>().join(" || ',' || ");
        let rows: Vec<String> =
            sqlx::query_scalar(sqlx::AssertSqlSafe(format!("select '{table}: ' || {row} from {table}")))
                .fetch_all(&mut db)
                .await
                .unwrap();
        let mut rows = rows;
        rows.sort();
        lines.extend(rows);
    }
    lines
}

pub fn into(site: &str) -> ImportInto {
    ImportInto { site: site.into(), currency: "eur".into() }
}

#[tokio::test]
async fn a_dry_run_tells_what_the_real_thing_does_and_changes_nothing() {
    let (folder, app, actor) = fresh().await;
    let before = everything(folder.path()).await;
    let dry = app.preview_import(Some(&actor), &into("Home"), whole()).await.unwrap();
    assert_eq!(everything(folder.path()).await, before);
    assert!(dry.new_site && !dry.saved);
    let done = app.accept_import(Some(&actor), &into("Home"), whole()).await.unwrap();
    assert!(done.saved);
    assert_eq!(app::import::Preview { saved: false, ..done }, dry);
    let counts: BTreeMap<_, _> = dry.counts.iter().map(|(what, count)| (*what, (count.in_files, count.new))).collect();
    for (what, n) in [
        ("plots", 2),
        ("seasons", 1),
        ("analyses of amendments", 1),
        ("samplings", 2),
        ("reports", 3),
        ("determinations", 5),
        ("applications", 2),
        ("croppings", 1),
    ] {
        assert_eq!(counts[what], (n, n), "{what}");
    }
    let record = everything(folder.path()).await;
    let has = |text: &str| record.iter().any(|line| line.contains(text));
    assert!(has("determinations: 3,1,2,'B','hot_water','<0.2','below',0.2,1,'ppm'"), "{record:#?}");
    assert!(has("'ND','not_detected',NULL,0,'mg/L',NULL,'volume'"));
    assert!(has("'44','exact',44.0,0,'lb/acre','P2O5','mass','two_million_lb_per_acre'"));
    assert!(has("Taken in from CSV files: 2 plots, 1 season, 1 analysis of an amendment, "));
    // The composite counts for both plots.
    assert_eq!(record.iter().filter(|line| line.starts_with("sampling_plots: 2,")).count(), 2);
}

#[tokio::test]
async fn taking_a_set_in_again_adds_nothing_and_says_so() {
    let (folder, app, actor) = fresh().await;
    app.accept_import(None, &into("Home"), whole()).await.unwrap();
    let before = everything(folder.path()).await;
    let again = app.accept_import(Some(&actor), &into(" Home "), whole()).await.unwrap();
    assert_eq!((again.new_lines(), again.saved, again.new_site), (0, false, false));
    assert_eq!((&again.problems[..], &again.notices[..]), (&[][..], &[][..]));
    assert_eq!(everything(folder.path()).await, before);

    // One line more is one line new; everything else is recognised.
    let mut files = whole();
    files.insert(
        "determinations.csv".into(),
        format!("{DETERMINATIONS}s1,Sarn Water,SW-1,2024-11-02,Zn,mehlich3_icp,4.1,ppm,,,\n").into_bytes(),
    );
    let more = app.accept_import(None, &into("Home"), files).await.unwrap();
    assert_eq!((more.new_lines(), more.saved), (1, true));
    let record = everything(folder.path()).await;
    assert!(
        record.iter().any(|line| line.contains("determinations: 6,1,3,'Zn'")),
        "the fourth line of its sheet: {record:#?}"
    );
}

#[tokio::test]
async fn nothing_is_half_taken_in() {
    let (folder, app, actor) = fresh().await;
    let before = everything(folder.path()).await;
    let cases = [
        ("samplings.csv", "s2,A2|A1", "s2,A2|C7", "samplings.csv, line 3, plots: “C7” is neither"),
        ("applications.csv", "A1,2025", "C7,2025", "applications.csv, line 2, plot: “C7” is neither"),
        ("applications.csv", "Shed mix 4-3", "Shed mix", "applications.csv, line 2, amendment: “Shed mix” is neither"),
        ("croppings.csv", "A1,2025", "A1,2019", "croppings.csv, line 2, season: “2019” is neither"),
        ("plots.csv", "24,open", "0,open", "plots.csv, line 2, area_m2"),
    ];
    for (file, from, to, says) in cases {
        let mut files = whole();
        let text = String::from_utf8(files[file].clone()).unwrap().replacen(from, to, 1);
        files.insert(file.to_owned(), text.into_bytes());
        let dry = app.preview_import(Some(&actor), &into("Home"), files.clone()).await.unwrap();
        let refused = app.accept_import(Some(&actor), &into("Home"), files).await.unwrap();
        assert_eq!(dry, refused);
        assert!(!refused.saved);
        let told: Vec<_> = refused.problems.iter().map(ToString::to_string).collect();
        assert!(told.iter().any(|t| t.starts_with(says)), "{told:?}");
        assert_eq!(everything(folder.path()).await, before, "{file}");
    }
}

#[tokio::test]
async fn what_the_record_says_otherwise_is_told() {
    let (folder, app, actor) = fresh().await;
    app.accept_import(None, &into("Home"), whole()).await.unwrap();
    let before = everything(folder.path()).await;
    let mut files = whole();
    files.insert("determinations.csv".into(), DETERMINATIONS.replace("112", "121").into_bytes());
    files.insert("plots.csv".into(), PLOTS.replace("18.5", "19").into_bytes());
    files.insert("seasons.csv".into(), SEASONS.replace("2025-10-31", "2025-09-30").into_bytes());
    files.insert("croppings.csv".into(), CROPPINGS.replace("carrot", "moon carrot").into_bytes());
    let told = app.accept_import(Some(&actor), &into("Home"), files).await.unwrap();
    let lines: Vec<_> = told.problems.iter().map(ToString::to_string).collect();
    assert_eq!(
        lines,
        ["determinations.csv, line 3, printed: the record has “112” here, not “121”: correct it there, with a reason"]
    );
    let lines: Vec<_> = told.notices.iter().map(ToString::to_string).collect();
    assert_eq!(lines.len(), 3, "{lines:?}");
    assert_eq!(lines[0], "plots.csv, line 3, plot: in the record already with another area_m2; the record stays");
    assert_eq!(everything(folder.path()).await, before);
}

#[tokio::test]
async fn only_stewards_take_in_files() {
    let (_folder, app, steward) = fresh().await;
    let recorder = Actor { role: Role::Recorder, ..steward };
    assert!(matches!(app.preview_import(Some(&recorder), &into("Home"), whole()).await, Err(Error::Denied)));
    assert!(matches!(app.accept_import(Some(&recorder), &into("Home"), whole()).await, Err(Error::Denied)));
    assert!(matches!(
        app.accept_import(None, &ImportInto { site: "Home".into(), currency: "shells".into() }, whole()).await,
        Err(Error::Invalid(_))
    ));
}

#[tokio::test]
async fn what_was_voided_is_not_let_in_again() {
    let (folder, app, _) = fresh().await;
    app.accept_import(None, &into("Home"), whole()).await.unwrap();
    let mut db =
        SqliteConnection::connect(&format!("sqlite://{}", folder.path().join("glebe.sqlite").display())).await.unwrap();
    for table in ["samplings", "applications"] {
        let sql =
            format!("update {table} set voided_at = '2026-01-01T00:00:00.000Z', void_reason = 'another garden''s'");
        sqlx::query(sqlx::AssertSqlSafe(sql)).execute(&mut db).await.unwrap();
    }
    let again = app.accept_import(None, &into("Home"), whole()).await.unwrap();
    assert_eq!((again.new_lines(), again.saved), (0, false));
    assert_eq!(again.notices.len(), 2);
}
