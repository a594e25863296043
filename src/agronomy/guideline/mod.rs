//! Guidelines: named, cited sets of limits that a reading is held against. Each is one TOML
//! text, so that a publisher's table can be compared with the page by eye and a grower can
//! copy one and edit the copy. Guidelines that disagree are kept apart; nothing here blends
//! two of them, converts between extractants, or holds a limit without a source.
//!
//! A set of one's own needs no more than this (bands exactly as printed; `is` says where each
//! class lies: short, aim, above or excess):
//!
//! ```toml
//! slug = "our_ground"
//! title = "Our ground"
//! publisher = "The garden"
//! address = ""
//! scope = "Heavy beds by the river"
//!
//! [[table]]
//! title = "Potassium"
//! source = { publisher = "The garden", title = "Trials 2019 to 2024", year = 2024, evidence = "read" }
//! methods = ["mehlich3_icp"]
//! unit = "mg/kg"
//! classes = [{ name = "low", is = "short" }, { name = "enough", is = "aim" }]
//! aim_class = "enough"
//! aim_why = "No plot above it gained from potash."
//!
//! [[table.row]]
//! analyte = "K"
//! printed = ["0-119", ">=120"]
//! ```
//!
//! Instead of `printed` a row may have `critical` (with `high`), `availability_index`,
//! `saturation` (with `floor` and `ceiling`), `typical` or `left_alone`; `when` narrows a
//! table or row to uses, textures, a pH range or free lime; `seam` settles a value that is
//! printed in two bands or in none (`seam` says what the house does otherwise); `[[include]]`
//! takes in rows of a set that is shipped. `index_scale = 1.2` (with `index_scale_source` on the
//! table) says that a row's limits are points of an index, each worth 1.2 of the unit; `own_index`,
//! that the publisher prints such an index beside, which is shown and judges nothing.
//!
//! Rates for crops stand beside the limits whose classes they go by, with as many figures as
//! there are columns, or as an equation in the index:
//!
//! ```toml
//! [[rates]]
//! title = "Potash for roots"
//! source = { publisher = "The garden", title = "Trials 2019 to 2024", year = 2024, evidence = "read" }
//! methods = ["mehlich3_icp"]
//! nutrients = ["K2O"]
//! unit = "kg/ha"
//! columns = ["low", "enough"]
//!
//! [[rates.row]]
//! printed_for = "Carrots and beetroot"
//! crops = ["carrot", "beetroot"]
//! printed = [200, 50]
//!
//! [[rates.row]]
//! printed_for = "Sweet corn"
//! crops = ["sweet_corn"]
//! equation = { number = "1", square = 0.01, linear = -2.9, constant = 200 }
//! ```
//!
//! A soil nitrate test, and how a large dose of lime goes on in parts, stand in a set of their own
//! or beside limits; `gives` says what the figure of a band is, and a rule for parts has bands or
//! `at_most`:
//!
//! ```toml
//! [[nitrate]]
//! title = "Nitrate beside leeks"
//! name = "Our trials"
//! made_for = "leeks"
//! source = { publisher = "The garden", title = "Trials 2019 to 2024", year = 2024, evidence = "read" }
//! gives = "rate"
//! unit = "kg_per_ha"
//! bands = [{ printed = "0-14", figure = 60 }, { printed = ">14", figure = 0 }]
//!
//! [[split]]
//! title = "Lime on the heavy beds"
//! source = { publisher = "The garden", title = "Trials 2019 to 2024", year = 2024, evidence = "read" }
//! of = "lime"
//! unit = "kg_per_ha"
//! months_apart = 6
//! at_most = 4000
//! ```
//!
//! A copy that a grower edits has a table to each rule, with `set` where the table is another
//! set's, `changed` where it is no longer as its publisher printed it, and `layer = "none"` where
//! it has no mass of soil though the guideline states one. `in_force` switches a table on or off.

mod criterion;
mod difference;
mod index_scale;
mod nitrate_test;
mod parse;
mod provenance;
mod rate_equation;
mod rate_rule;
mod rate_table;
mod seam;
mod split_rule;

pub use criterion::{
    Changed, Class, Classes, Criterion, Facts, Index, LandUse, Limit, Position, Rule, Saturation, When, round_to,
};
pub use difference::{differences, in_words};
pub use index_scale::IndexScale;
pub use nitrate_test::{GivesKind, NitrateBand, NitrateGives, NitrateTest, Worksheet};
pub use parse::{
    Bands, Bounds, ClassBound, ClassIs, Draft, Editor, Fault, Field, NitrateBound, NitrateBounds, PartsBounds, Problem,
    RateFault, RateField, RateRowBounds, RatesBounds, SplitBounds, units_for,
};
pub use provenance::Provenance;
pub use rate_equation::{Kept, RateEquation};
pub use rate_rule::{Gives, RateRow, Rates};
pub use rate_table::{Column, RateTable};
pub use seam::Seam;
pub use split_rule::{PartsBy, SplitBand, SplitOf, SplitRule};

use super::{
    analyte::Analyte,
    method::Method,
    quantity::LayerConvention,
    reading::{Level, Reading},
    record::DepthBand,
};
use std::sync::{Arc, LazyLock};

/// A set of criteria.
#[derive(Clone, Debug, PartialEq)]
pub struct Guideline {
    /// Key in the record and in addresses.
    pub slug: String,
    pub title: String,
    pub publisher: String,
    /// 0 where the publisher gives none.
    pub year: u16,
    pub address: String,
    /// What soils, crops and region it is for.
    pub scope: String,
    /// Several publishers' tables side by side, each row with its own source.
    pub collection: bool,
    /// The depth that the publisher asks samples from.
    pub depth: Option<DepthBand>,
    /// The publisher's mass of soil per area, used for reading its tables.
    pub layer: Option<LayerConvention>,
    /// What supporters say, neutrally.
    pub evidence_for: Vec<String>,
    /// What critics say, neutrally.
    pub evidence_against: Vec<String>,
    pub notes: Vec<String>,
    pub criteria: Vec<Criterion>,
    /// What is given to crops, where the publisher prints it.
    pub rates: Vec<Arc<Rates>>,
    /// Soil nitrate tests beside a growing crop.
    pub nitrate: Vec<Arc<NitrateTest>>,
    /// How large doses go on in parts.
    pub splits: Vec<Arc<SplitRule>>,
    /// The text that it was read from, for copying and for keeping versions.
    pub text: String,
}

impl Guideline {
    /// Reads a guideline from TOML; a set named by `include` is looked up among [`builtin`].
    ///
    /// Every fault found is named with its line; a table, row or limit without a source is one.
    pub fn parse(text: &str) -> Result<Guideline, Vec<Problem>> {
        parse::guideline(text, builtin())
    }

    /// The same guideline with the tables that are known only from memory switched on; what a
    /// person switched off stays off.
    pub fn with_memory(&self) -> Guideline {
        let mut all = self.clone();
        all.criteria.iter_mut().for_each(|c| c.in_force |= !c.off);
        all.rates.iter_mut().map(Arc::make_mut).for_each(|rates| rates.in_force |= !rates.off);
        all.nitrate.iter_mut().for_each(|test| Arc::make_mut(test).of.switch_on());
        all.splits.iter_mut().for_each(|rule| Arc::make_mut(rule).of.switch_on());
        all
    }

    /// Whether it has limits that a plot can be read by; a set of nitrate tests or of parts has none.
    pub fn has_limits(&self) -> bool {
        !self.criteria.is_empty()
    }

    /// The rates that go by a test on a plot.
    pub fn rates_for(&self, analyte: Analyte, method: &Method, facts: &Facts) -> Vec<Arc<Rates>> {
        let fits = |rates: &&Arc<Rates>| {
            Analyte::Element(rates.element) == analyte
                && rates.methods.contains(method)
                && rates.in_force
                && rates.when.holds(facts).is_ok()
        };
        self.rates.iter().filter(fits).cloned().collect()
    }

    /// The rule for a reading on a plot, or the sentence that says why there is none.
    pub fn criterion(
        &self,
        analyte: Analyte,
        method: &Method,
        level: Level,
        facts: &Facts,
    ) -> Result<&Criterion, String> {
        let name = analyte.name();
        let about: Vec<&Criterion> = self.criteria.iter().filter(|c| c.analyte == analyte).collect();
        if about.is_empty() {
            return Err(format!("{} gives no limits for {name}.", self.title));
        }
        let (in_force, off): (Vec<_>, Vec<_>) = about.into_iter().partition(|c| c.in_force);
        let (named, others): (Vec<_>, Vec<_>) = in_force.into_iter().partition(|c| c.methods.contains(method));
        if named.is_empty() {
            let mut by: Vec<&str> = others.iter().flat_map(|c| &c.methods).map(Method::label).collect();
            by.sort_unstable();
            by.dedup();
            let by = by.join(" or ");
            return Err(if off.iter().any(|c| c.off && c.methods.contains(method)) {
                format!("{} has limits for {name} by {method}, which are switched off there.", self.title)
            } else if off.iter().any(|c| c.methods.contains(method)) {
                format!(
                    "{} has limits for {name} by {method} only from memory, unverified; they are off until the site switches them on.",
                    self.title
                )
            } else if others.is_empty() {
                format!(
                    "{} has limits for {name} only from memory, unverified; they are off until the site switches them on.",
                    self.title
                )
            } else if *method == Method::Unstated {
                format!(
                    "{} has limits for {name} by {by}, and the sheet does not say how this was extracted: ask the laboratory, and choose it as the method of the line.",
                    self.title
                )
            } else {
                format!(
                    "{} has limits for {name} by {by}; this result is by {method}, and results by different methods are never compared.",
                    self.title
                )
            });
        }
        let mut why = None;
        for criterion in named {
            match criterion.when.holds(facts).and_then(|()| criterion.to_printed(level).map(|_| ())) {
                Ok(()) => return Ok(criterion),
                Err(reason) => why = why.or(Some(reason)),
            }
        }
        Err(format!("No limits for {name}: {}.", why.unwrap_or_default()))
    }

    /// Whether it has limits for a reading on this plot: what the choice between readings asks.
    pub fn reads(&self, reading: &Reading, facts: &Facts) -> bool {
        self.criterion(reading.analyte, &reading.method, reading.level, facts).is_ok()
    }
}

/// The texts of the sets that come with the program; one that includes another follows it.
const SETS: &[&str] = &[
    include_str!("sets/rutgers_mehlich3.toml"),
    include_str!("sets/delaware_mehlich3.toml"),
    include_str!("sets/umass_modified_morgan.toml"),
    include_str!("sets/northern_ireland_index.toml"),
    include_str!("sets/ireland_morgan.toml"),
    include_str!("sets/dtpa_metals.toml"),
    include_str!("sets/western_olsen.toml"),
    include_str!("sets/saturation_bear.toml"),
    include_str!("sets/saturation_albrecht.toml"),
    include_str!("sets/saturation_baker_amacher.toml"),
    include_str!("sets/maine_modified_morgan.toml"),
    include_str!("sets/extension_sufficiency.toml"),
    include_str!("sets/england_wales_index.toml"),
    include_str!("sets/north_carolina_index.toml"),
    include_str!("sets/germany_cal.toml"),
    include_str!("sets/poland_egner_riehm.toml"),
    include_str!("sets/scotland_modified_morgan.toml"),
    include_str!("sets/cornell_morgan.toml"),
    include_str!("sets/penn_state_mehlich3.toml"),
    include_str!("sets/sare_bray.toml"),
    include_str!("sets/iowa_phosphorus.toml"),
    include_str!("sets/iowa_phosphorus_trials.toml"),
    include_str!("sets/oregon_bray.toml"),
    include_str!("sets/minnesota.toml"),
    include_str!("sets/california_vegetables.toml"),
    include_str!("sets/vegetables_nitrate.toml"),
    include_str!("sets/uc_nitrate.toml"),
    include_str!("sets/rutgers_nitrate.toml"),
    include_str!("sets/ohio_nitrate.toml"),
    include_str!("sets/penn_state_nitrate.toml"),
    include_str!("sets/penn_state_parts.toml"),
    include_str!("sets/teagasc_parts.toml"),
    include_str!("sets/uk_parts.toml"),
    include_str!("sets/poland_parts.toml"),
];

static BUILTIN: LazyLock<Vec<Guideline>> = LazyLock::new(|| {
    let mut known: Vec<Guideline> = Vec::new();
    for text in SETS {
        // The tests parse every set; a set that does not parse is left out rather than stopping a server.
        if let Ok(guideline) = parse::guideline(text, &known) {
            known.push(guideline);
        }
    }
    known
});

/// The guidelines that come with the program.
pub fn builtin() -> &'static [Guideline] {
    &BUILTIN
}

/// The guideline that comes with the program under this key.
pub fn find(slug: &str) -> Option<&'static Guideline> {
    builtin().iter().find(|g| g.slug == slug)
}

/// The rules that come with the program for giving a material in parts, in the order of the sets.
pub fn shipped_splits(material: SplitOf) -> impl Iterator<Item = &'static Arc<SplitRule>> {
    builtin().iter().flat_map(|set| &set.splits).filter(move |rule| rule.material == material && rule.of.in_force)
}

/// How many texts are shipped, so that a test can see that each of them was read.
pub const SHIPPED: usize = SETS.len();
