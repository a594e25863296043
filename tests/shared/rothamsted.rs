//! The Rothamsted long-term liming experiment, 32 plots from 1962 to 1994, made into a set of CSV
//! files that `glebe import` takes: for the server's tests and for the browser's stories.
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

use std::{
    collections::{BTreeMap, BTreeSet},
    path::{Path, PathBuf},
};

/// Assumed: the source gives masses per hectare and no areas.
pub const AREA_M2: f64 = 1000.0;

/// "Leachates analysed by emission or atomic absorption flame spectrophotometry. Since 1989, the extracts
/// have been analysed by ICP-OES": methods of the soil data's own README (Glendining et al. 2023),
/// <https://github.com/Rothamsted-Ecoinformatics/eRA2023>, metadata/rcs10/RLTLSOIL/01-RLTLSOIL. One extract read
/// by two instruments is two methods here.
const ICP_FROM: &str = "1989";
/// The name of those readings in the record.
pub const BY_ICP: &str = "other:Ammonium acetate, pH 7, by ICP";

pub type Line = BTreeMap<String, String>;

/// The folder that holds the data, as named, or where it usually lies beside the project.
fn folder() -> PathBuf {
    let beside = || {
        let from = Path::new(env!("CARGO_MANIFEST_DIR"));
        let mut all = from.ancestors().map(|folder| folder.join("../shared/oracles"));
        all.find(|folder| folder.is_dir()).unwrap_or_else(|| from.join("../shared/oracles"))
    };
    std::env::var_os("GLEBE_ORACLES").map_or_else(beside, PathBuf::from)
}

/// The three files; the sentence says which is not there.
pub fn source() -> Result<[Vec<Line>; 3], String> {
    let read = |name: &str| -> Result<Vec<Line>, String> {
        let path = folder().join(format!("data/rothamsted_lime_{name}.csv"));
        let mut reader = csv::Reader::from_path(&path)
            .map_err(|error| format!("{}: {error}; name the data's folder in GLEBE_ORACLES", path.display()))?;
        Ok(reader.deserialize().map(|line| line.expect("a table")).collect())
    };
    Ok([read("topsoil")?, read("cations_nh4no3_with_dl")?, read("applications_yields")?])
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
pub fn converted([soil, cations, applications]: &[Vec<Line>; 3]) -> BTreeMap<String, Vec<u8>> {
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
        let cations = if on.as_str() < ICP_FROM { "nh4oac_7" } else { BY_ICP };
        for (column, analyte, method) in [
            ("ph_water_1_2_5", "ph", "ph_water_1_2_5"),
            ("olsen_p_mg_kg", "P", "olsen"),
            ("k_nh4oac_mg_kg", "K", cations),
            ("ca_nh4oac_mg_kg", "Ca", cations),
            ("mg_nh4oac_mg_kg", "Mg", cations),
            ("na_nh4oac_mg_kg", "Na", cations),
            ("mn_nh4oac_mg_kg", "Mn", cations),
        ] {
            let (printed, unit) = (&line[column], if analyte == "ph" { "" } else { "mg/kg" });
            if !printed.is_empty() {
                let cell = format!("{key},Rothamsted,of the time,{analyte},\"{method}\",{printed},{unit}");
                add("determinations.csv", cell);
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
    for (plot, year) in fallow(applications) {
        let note = "Fallow in the source: nothing grew and nothing left. The day is assumed.";
        add("harvests.csv", format!("{plot},{year}-10-31,,0,\"{note}\""));
    }
    files.into_iter().map(|(name, text)| (name.to_owned(), text.into_bytes())).collect()
}

/// Plots and years of fallow, each once.
fn fallow(applications: &[Line]) -> BTreeSet<(String, String)> {
    let fallow = applications.iter().filter(|line| line["crop"] == "fallow");
    fallow.map(|line| (line["plot"].clone(), line["harvest_year"].clone())).collect()
}

/// The source's crops that the list of crops has; of the others no harvest can be weighed.
pub const CROPS: [(&str, &str); 5] = [
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
