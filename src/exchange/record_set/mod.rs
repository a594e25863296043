//! The record as a set of CSV files: what the files are, and reading them into plain values.
//!
//! Reading never fails as a whole and knows nothing of what is already recorded: it gives
//! every value that could be understood, and every problem by file, line and column.

mod read;
mod table;
mod write;

use crate::agronomy::{
    amendment::Kind,
    analyte::Analyte,
    element::{Element, Form},
    ground::Ground,
    guideline::LandUse,
    method::Method,
    offtake::Figures,
    record::{Basis, DepthBand, Fizz, PrintedValue, Unit},
};
use jiff::civil::Date;
use std::{collections::BTreeMap, fmt};

pub use read::read;
pub use write::write;

/// What is wrong, and where. `line` is 0 where it is about the file or the set as a whole.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct ImportProblem {
    pub file: String,
    /// Line of the file, counted from 1; the head is line 1.
    pub line: u64,
    /// Name of the column, or empty.
    pub column: String,
    /// A sentence for the person who wrote the file.
    pub message: String,
}

impl fmt::Display for ImportProblem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.file)?;
        if self.line > 0 {
            write!(f, ", line {}", self.line)?;
        }
        if !self.column.is_empty() {
            write!(f, ", {}", self.column)?;
        }
        write!(f, ": {}", self.message)
    }
}

/// A column of a file.
#[derive(Clone, Copy, Debug)]
pub struct Column {
    pub name: &'static str,
    /// Whether the file makes no sense without it.
    pub needed: bool,
    /// What it holds, for the help and the documentation.
    pub about: &'static str,
}

/// A file of the set.
#[derive(Clone, Copy, Debug)]
pub struct FileSpec {
    pub name: &'static str,
    pub about: &'static str,
    pub columns: &'static [Column],
    /// Whether columns such as `P2O5_percent` and `P_available_percent` may stand beside the named ones.
    pub composition: bool,
}

const fn must(name: &'static str, about: &'static str) -> Column {
    Column { name, needed: true, about }
}

const fn may(name: &'static str, about: &'static str) -> Column {
    Column { name, needed: false, about }
}

/// Pieces of ground.
pub const PLOTS: FileSpec = FileSpec {
    name: "plots.csv",
    about: "one line per plot",
    columns: &[
        must("plot", "code on the peg, unlike any other of the site"),
        may("name", "the plot's name; the code where empty"),
        may("block", "the block it belongs to"),
        must("area_m2", "net area"),
        may("cover", "open (where empty), tunnel or glasshouse"),
        must(
            "texture",
            "sand, loamy_sand, sandy_loam, loam, silt_loam, sandy_clay_loam, clay_loam, silty_clay_loam, sandy_clay, silty_clay, clay or organic",
        ),
        may("bulk_density_g_per_cm3", "where it was measured; the texture's typical value where empty"),
        must("depth_cm", "depth that is worked"),
        may("stones_percent", "of the volume"),
        may("land_use", "vegetables (where empty), fruit, arable or grass: while no crop tells"),
        may("began_on", "first day of the plot"),
        may("note", ""),
    ],
    composition: false,
};

/// Soil taken.
pub const SAMPLINGS: FileSpec = FileSpec {
    name: "samplings.csv",
    about: "one line per sample of soil taken",
    columns: &[
        must("sampling", "any text that names the sample in this set; determinations.csv refers to it"),
        must("plots", "code of the plot, or of all plots of a composite, parted by |"),
        must("sampled_on", ""),
        may("date_assumed", "yes where the day was not written down"),
        may("depth_top_cm", "both depths or neither"),
        may("depth_bottom_cm", ""),
        may("cores", "how many were mixed"),
        may("fizz_class", "none, very_slight, slight, strong or violent"),
        may("fizz_acid", "hydrochloric_1m, vinegar or unknown; unknown where empty"),
        may("sub_sample", "label of a repeat taken on the same plots and day"),
        may("sampler", "who took it"),
        may("note", ""),
    ],
    composition: false,
};

/// Printed results.
pub const DETERMINATIONS: FileSpec = FileSpec {
    name: "determinations.csv",
    about: "one line per result printed on a lab's sheet",
    columns: &[
        must("sampling", "as in samplings.csv"),
        must("lab", "the laboratory; with report it tells one sheet from another"),
        may("report", "the lab's own number of the sheet"),
        may("reported_on", ""),
        may("report_note", ""),
        must("analyte", "P, K, …, ph, buffer_ph, organic_matter, cec, ec, nitrate_n, …"),
        must("method", "mehlich3_icp, olsen, nh4oac_7, ph_water_1_2_5, …, other:NAME, or unstated"),
        must("printed", "exactly what the sheet shows: 14, 0,5, <0.1, ND"),
        must("unit", "mg/kg, ppm, mg/L, lb/acre, cmol(+)/kg, %, dS/m, …; may be empty for pH"),
        may("form", "P2O5, K2O, NO3, … where the sheet prints that and not the element"),
        may("basis", "mass (where empty) or volume"),
        may("layer", "soil mass behind a unit per area: two_million_lb_per_acre, …"),
    ],
    composition: false,
};

/// What was put on.
pub const APPLICATIONS: FileSpec = FileSpec {
    name: "applications.csv",
    about: "one line per product put on a plot",
    columns: &[
        must("plot", "code of the plot"),
        must("applied_on", ""),
        must("amendment", "name as in amendments.csv or in the record"),
        must("mass_g", "of product, as weighed"),
        may("method", "raked in, watered on, …"),
        may("person", "who did it"),
        may("note", ""),
    ],
    composition: false,
};

/// Products with their composition.
pub const AMENDMENTS: FileSpec = FileSpec {
    name: "amendments.csv",
    about: "one line per product and analysis; beside these, columns such as N_percent, P2O5_percent or Zn_percent \
            (share of the product as sold) and N_available_percent (share of that free in the first year, 100 where empty)",
    columns: &[
        must("amendment", "the product's name"),
        must("kind", "salt, lime, mineral, plant_meal, animal_meal, compost, manure or ash"),
        may("liquid", "yes or no"),
        may("manure", "yes where it counts for limits on manure nitrogen"),
        may("supplier", ""),
        must("valid_from", "first day on which this analysis holds"),
        may("label", "as printed on the bag"),
        must("source", "where the figures come from"),
        may("neutralising_value_percent", "of pure calcium carbonate"),
        may("moisture_percent", "as sold"),
        may("ammonium_n_percent", "of the mass as sold, counted as N; of manure"),
        may("note", ""),
    ],
    composition: true,
};

/// Named spans of time.
pub const SEASONS: FileSpec = FileSpec {
    name: "seasons.csv",
    about: "one line per season",
    columns: &[must("season", "its name"), must("starts_on", ""), must("ends_on", "last day")],
    composition: false,
};

/// What grew.
pub const CROPPINGS: FileSpec = FileSpec {
    name: "croppings.csv",
    about: "one line per crop on a plot in a season",
    columns: &[
        must("plot", "code of the plot"),
        must("season", "as in seasons.csv or in the record"),
        must("crop", "carrot, snap_bean, …"),
        may("sown_on", ""),
        may("note", ""),
    ],
    composition: false,
};

/// What left a plot.
pub const HARVESTS: FileSpec = FileSpec {
    name: "harvests.csv",
    about: "one line per harvest, or per statement that nothing left",
    columns: &[
        must("plot", "code of the plot"),
        must("harvested_on", ""),
        may("crop", "carrot, snap_bean, …; empty where nothing left the plot"),
        must("fresh_mass_kg", "what left, fresh; 0 says that nothing did"),
        may("table", "key of one removal table; the best known where empty"),
        may("own_kg_per_t", "own removal figures: K=3.1 Mg=0.2"),
        may("own_source", "where own removal figures come from"),
        may("person", "who harvested"),
        may("note", ""),
    ],
    composition: false,
};

/// Every file of a set, in the order in which they are read. A set may lack any of them.
pub const FILES: &[&FileSpec] =
    &[&PLOTS, &SEASONS, &AMENDMENTS, &SAMPLINGS, &DETERMINATIONS, &APPLICATIONS, &CROPPINGS, &HARVESTS];

impl FileSpec {
    /// Names of its columns.
    pub fn column_names(&self) -> impl Iterator<Item = &'static str> {
        self.columns.iter().map(|column| column.name)
    }

    /// A column's name as spelt here, whatever case the file has it in; the text itself where it is none.
    fn spelling<'a>(&self, text: &'a str) -> Result<String, &'a str> {
        if let Some(name) = self.column_names().find(|name| name.eq_ignore_ascii_case(text)) {
            return Ok(name.to_owned());
        }
        match Composition::of(text).filter(|_| self.composition) {
            Some(part) => Ok(part.column()),
            None => Err(text),
        }
    }
}

/// A column that says how much of an element a product holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Composition {
    /// `N_percent`: as the element.
    Element(Element),
    /// `P2O5_percent`: as printed on a bag.
    Form(Form),
    /// `N_available_percent`: share of it that is free in the first year.
    Available(Element),
}

impl Composition {
    fn of(column: &str) -> Option<Composition> {
        let lower = column.to_lowercase();
        let stem = lower.strip_suffix("_percent")?;
        if let Some(element) = stem.strip_suffix("_available") {
            return element.parse().ok().map(Composition::Available);
        }
        let element = || Element::ALL.iter().find(|e| e.symbol().eq_ignore_ascii_case(stem)).copied();
        element().map(Composition::Element).or_else(|| stem.parse().ok().map(Composition::Form))
    }

    fn column(self) -> String {
        match self {
            Composition::Element(element) => format!("{element}_percent"),
            Composition::Form(form) => format!("{form}_percent"),
            Composition::Available(element) => format!("{element}_available_percent"),
        }
    }
}

/// A set of files as values, each with the line it stands on.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RecordSet {
    pub plots: Vec<PlotRow>,
    pub seasons: Vec<SeasonRow>,
    pub amendments: Vec<AmendmentRow>,
    pub samplings: Vec<SamplingRow>,
    pub reports: Vec<ReportRow>,
    pub cells: Vec<CellRow>,
    pub applications: Vec<ApplicationRow>,
    pub croppings: Vec<CroppingRow>,
    pub harvests: Vec<HarvestRow>,
}

/// A plot.
#[derive(Clone, Debug, PartialEq)]
pub struct PlotRow {
    pub line: u64,
    pub code: String,
    pub name: String,
    pub block: Option<String>,
    pub ground: Ground,
    pub land_use: LandUse,
    pub began_on: Option<Date>,
    pub note: String,
}

/// A season.
#[derive(Clone, Debug, PartialEq)]
pub struct SeasonRow {
    pub line: u64,
    pub name: String,
    pub starts_on: Date,
    pub ends_on: Date,
}

/// An analysis of an amendment, with the amendment's own properties.
#[derive(Clone, Debug, PartialEq)]
pub struct AmendmentRow {
    pub line: u64,
    pub name: String,
    pub kind: Kind,
    pub liquid: bool,
    pub manure: bool,
    pub supplier: String,
    pub valid_from: Date,
    pub label: String,
    pub source: String,
    /// % of pure calcium carbonate.
    pub neutralising_value: Option<f64>,
    /// Mass fraction as sold.
    pub moisture: Option<f64>,
    /// Of its nitrogen what is ammonium, counted as N, mass fraction as sold.
    pub ammonium_n: Option<f64>,
    pub parts: BTreeMap<Element, Part>,
    pub note: String,
}

/// How much of an element a product holds.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Part {
    /// Of the product as sold, as element, 0 to 1.
    pub mass_fraction: f64,
    /// Share of it that is free in the first year, 0 to 1.
    pub first_year_availability: f64,
}

/// A sampling.
#[derive(Clone, Debug, PartialEq)]
pub struct SamplingRow {
    pub line: u64,
    pub key: String,
    /// Codes, sorted.
    pub plots: Vec<String>,
    pub sampled_on: Date,
    pub date_assumed: bool,
    pub depth: Option<DepthBand>,
    pub cores: Option<u32>,
    pub fizz: Option<Fizz>,
    pub sub_sample: Option<String>,
    pub sampler: String,
    pub note: String,
}

/// A lab's sheet, gathered from the lines of determinations.csv that belong to it.
#[derive(Clone, Debug, PartialEq)]
pub struct ReportRow {
    /// The first of its lines.
    pub line: u64,
    /// Place in [`RecordSet::samplings`].
    pub sampling: usize,
    pub lab: String,
    pub reference: String,
    pub reported_on: Option<Date>,
    pub note: String,
}

/// A printed result.
#[derive(Clone, Debug, PartialEq)]
pub struct CellRow {
    pub line: u64,
    /// Place in [`RecordSet::reports`].
    pub report: usize,
    pub analyte: Analyte,
    pub method: Method,
    pub printed: PrintedValue,
    pub unit: Unit,
    pub form: Option<Form>,
    pub basis: Basis,
    /// Key of a soil-mass convention.
    pub layer: Option<&'static str>,
}

/// Something put on a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct ApplicationRow {
    pub line: u64,
    pub plot: String,
    pub applied_on: Date,
    pub amendment: String,
    pub mass_g: f64,
    pub method: String,
    pub person: String,
    pub note: String,
}

/// A crop on a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct CroppingRow {
    pub line: u64,
    pub plot: String,
    pub season: String,
    pub crop: String,
    pub sown_on: Option<Date>,
    pub note: String,
}

/// What left a plot at a harvest, or the statement that nothing did.
#[derive(Clone, Debug, PartialEq)]
pub struct HarvestRow {
    pub line: u64,
    pub plot: String,
    pub harvested_on: Date,
    /// `None` where nothing left.
    pub crop: Option<String>,
    pub fresh_mass_kg: f64,
    pub figures: Figures,
    pub person: String,
    pub note: String,
}
