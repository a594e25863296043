//! The forms of seasons and plans, as typed, and what they mean. Everything typed is text
//! until it is read here; a problem names the field it concerns.

use super::{
    DoseLine,
    load::LoadedPlan,
    wanted::{Sold, SoldLine, WantLine, WantRow},
};
use crate::{
    agronomy::{
        element::Element,
        need::Way,
        plan::{Options, doses::is_on_scale, grams},
        quantity::KgPerHa,
        season::Wishes,
    },
    app::{Error, Problems, Result},
    exchange::number::{Limits, Low},
    ids::{AmendmentId, PlotId, SeasonId},
    settings::{SOLVE_MANY_PLOTS, SOLVE_SECONDS, SOLVE_SECONDS_MANY, SOLVE_SECONDS_MAX},
    store::plans::NewPlan,
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::{
    collections::{BTreeMap, BTreeSet},
    time::Duration,
};

const NEED: Limits = Limits { what: "A need", unit: "kg/ha", low: Low::AtLeast(0.0), at_most: 2_000.0, decimals: 2 };
const DOSE: Limits = Limits { what: "A dose", unit: "g", low: Low::AtLeast(0.0), at_most: 1e9, decimals: 3 };
const PRODUCTS: Limits =
    Limits { what: "A number of products", unit: "", low: Low::AtLeast(1.0), at_most: 99.0, decimals: 0 };
const PASSES: Limits =
    Limits { what: "A number of passes", unit: "", low: Low::AtLeast(1.0), at_most: 20.0, decimals: 0 };
const SEASONS: Limits =
    Limits { what: "A number of seasons", unit: "", low: Low::AtLeast(1.0), at_most: 10.0, decimals: 0 };
const ACCEPT: Limits =
    Limits { what: "A share of the needs", unit: "%", low: Low::AtLeast(0.0), at_most: 50.0, decimals: 2 };
const SEARCH: Limits = Limits {
    what: "A time to search",
    unit: "seconds",
    low: Low::AtLeast(1.0),
    at_most: SOLVE_SECONDS_MAX as f64,
    decimals: 0,
};

/// A season, as typed.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SeasonForm {
    pub name: String,
    pub starts_on: String,
    pub ends_on: String,
}

impl SeasonForm {
    pub(super) fn read(&self, today: Date) -> Result<(String, Date, Date)> {
        let mut problems = Problems::default();
        let name = problems.text("name", &self.name, 100, "Give the season a name, such as 2027.");
        let from = problems.date("starts_on", &self.starts_on, today);
        let to = problems.date("ends_on", &self.ends_on, today);
        if let (Some(from), Some(to)) = (from, to)
            && to < from
        {
            problems.add("ends_on", "The season ends before it starts.");
        }
        match (from, to) {
            (Some(from), Some(to)) if problems.is_empty() => Ok((name, from, to)),
            _ => Err(Error::Invalid(problems)),
        }
    }
}

/// What a plan is made from, as the record keeps it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct PlanOptions {
    /// The most to spend, minor units of the site's currency.
    pub budget_minor: Option<i64>,
    pub max_products: Option<usize>,
    /// Seasons over which shortages are made up; 0 counts as 1.
    pub seasons: u8,
    /// Elements not planned for.
    pub leave_out: BTreeSet<Element>,
    /// Stated by the grower for every plot, kg/ha.
    pub stated_kg_per_ha: BTreeMap<Element, f64>,
    /// The most passes over any one plot.
    pub max_passes: Option<usize>,
    /// How products are bought, but for those of `sold_of`.
    #[serde(alias = "loose")]
    pub sold: Sold,
    pub sold_of: BTreeMap<AmendmentId, Sold>,
    /// Only what stands on the list of this name is used.
    pub list: Option<String>,
    /// One recipe for all plots of a block.
    pub recipes: bool,
    pub wants: Vec<WantRow>,
    /// When the doses will go on: the caps' twelve months end then.
    pub spread_on: Option<Date>,
    /// So many hundredths of all needs may be left short, to bring less of what is not needed.
    pub accept_short_percent: Option<f64>,
    /// So many hundredths of all needs more may be left short, to spend less.
    pub spend_less_percent: Option<f64>,
    /// Shortages become kilograms by what tests here answered, where they carry it; else by mass.
    pub by_response: bool,
    /// How long to search, seconds; `None` is [`SOLVE_SECONDS`], or [`SOLVE_SECONDS_MANY`] where plots are many.
    pub search_seconds: Option<u16>,
}

impl PlanOptions {
    pub(super) fn from_json(text: &str) -> PlanOptions {
        serde_json::from_str(text).unwrap_or_default()
    }

    /// How long a plan of so many plots is searched for.
    pub(super) fn search_time(&self, plots: usize) -> Duration {
        let usual = if plots < SOLVE_MANY_PLOTS { SOLVE_SECONDS } else { SOLVE_SECONDS_MANY };
        Duration::from_secs(self.search_seconds.unwrap_or(usual).into())
    }

    pub(super) fn wishes(&self, spread_on: Date) -> Wishes {
        let reason =
            |element: &Element| format!("stated by the grower for {} on every plot of the plan", element.name());
        Wishes {
            way: Way { seasons: self.seasons.max(1), ..Way::default() },
            leave_out: self.leave_out.clone(),
            stated: self.stated_kg_per_ha.iter().map(|(e, rate)| (*e, (KgPerHa(*rate), reason(e)))).collect(),
            options: Options {
                budget_minor: self.budget_minor,
                max_products: self.max_products,
                max_passes: self.max_passes,
                ..Options::default()
            },
            wants: self.wants.iter().map(WantRow::want).collect(),
            list: self.list.clone(),
            recipes: self.recipes,
            spread_on,
            ..Wishes::default()
        }
    }
}

/// Key of reckoning by what tests here answered.
pub const BY_RESPONSE: &str = "response";

/// A plan's choices, as typed.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct PlanForm {
    pub name: String,
    pub guideline: String,
    /// Plot numbers.
    pub plots: Vec<String>,
    /// Amendment numbers.
    pub products: Vec<String>,
    /// In major units: "120" or "119,50".
    pub budget: String,
    pub max_products: String,
    pub seasons: String,
    /// Symbols of elements not to be planned for.
    pub leave_out: Vec<String>,
    /// kg N/ha that the crops want from what is put on.
    pub nitrogen_kg_per_ha: String,
    pub spread_on: String,
    /// Key of how products are bought.
    pub sold: String,
    /// Products bought otherwise.
    #[serde(skip)]
    pub sold_of: Vec<SoldLine>,
    pub max_passes: String,
    /// Name of the list that the plan keeps to; empty for none.
    pub list: String,
    /// "yes" for one recipe for each block.
    pub recipes: String,
    /// What is wanted, line by line.
    #[serde(skip)]
    pub wants: Vec<WantLine>,
    /// Hundredths of all needs; empty is none.
    pub accept_short_percent: String,
    /// Hundredths of all needs; empty is none.
    pub spend_less_percent: String,
    /// How shortages become kilograms: [`BY_RESPONSE`], else by the mass of the soil.
    pub reckoned: String,
    /// Seconds; empty is the usual.
    pub search_seconds: String,
    /// Of the plan that was read, when one is changed.
    pub revision: i64,
}

impl PlanForm {
    /// The form that a saved plan was made with.
    pub fn of(name: &str, guideline: &str, options: &PlanOptions, plots: &[PlotId], products: &[AmendmentId]) -> Self {
        let plain = |n: Option<f64>| n.map(|n| n.to_string()).unwrap_or_default();
        PlanForm {
            name: name.to_owned(),
            guideline: guideline.to_owned(),
            plots: plots.iter().map(PlotId::to_string).collect(),
            products: products.iter().map(AmendmentId::to_string).collect(),
            budget: plain(options.budget_minor.map(|minor| minor as f64 / 100.0)),
            max_products: options.max_products.map(|n| n.to_string()).unwrap_or_default(),
            seasons: options.seasons.max(1).to_string(),
            leave_out: options.leave_out.iter().map(|e| e.symbol().to_owned()).collect(),
            nitrogen_kg_per_ha: plain(options.stated_kg_per_ha.get(&Element::N).copied()),
            spread_on: options.spread_on.map(|d| d.to_string()).unwrap_or_default(),
            sold: options.sold.key().into(),
            sold_of: options
                .sold_of
                .iter()
                .map(|(id, sold)| SoldLine { product: id.to_string(), how: sold.key().into() })
                .collect(),
            max_passes: options.max_passes.map(|n| n.to_string()).unwrap_or_default(),
            list: options.list.clone().unwrap_or_default(),
            recipes: if options.recipes { "yes".into() } else { String::new() },
            wants: options.wants.iter().map(WantLine::of).collect(),
            accept_short_percent: plain(options.accept_short_percent),
            spend_less_percent: plain(options.spend_less_percent),
            reckoned: if options.by_response { BY_RESPONSE.into() } else { String::new() },
            search_seconds: options.search_seconds.map(|n| n.to_string()).unwrap_or_default(),
            revision: 0,
        }
    }

    /// `version` is that of the guideline named, `None` where there is no such guideline.
    pub(super) fn read(&self, season: SeasonId, today: Date, version: Option<i64>) -> Result<NewPlan> {
        let mut problems = Problems::default();
        let name = problems.text("name", &self.name, 200, "Give the plan a name.");
        let plots: Vec<PlotId> = self.plots.iter().filter_map(|p| p.parse().ok()).collect();
        if plots.is_empty() {
            problems.add("plots", "Choose at least one plot.");
        }
        let mut products: Vec<AmendmentId> = self.products.iter().filter_map(|p| p.parse().ok()).collect();
        if version.is_none() {
            problems.add("guideline", "Choose the guideline that the plan follows.");
        }
        let mut options = PlanOptions {
            budget_minor: problems.optional_money("budget", &self.budget),
            max_products: problems.optional_number("max_products", &self.max_products, &PRODUCTS).map(|n| n as usize),
            seasons: problems.optional_number("seasons", &self.seasons, &SEASONS).map_or(1, |n| n as u8),
            spread_on: problems.optional_date("spread_on", &self.spread_on, today),
            max_passes: problems.optional_number("max_passes", &self.max_passes, &PASSES).map(|n| n as usize),
            sold: Sold::read(&self.sold).unwrap_or_default(),
            list: Some(self.list.trim().to_owned()).filter(|list| !list.is_empty()),
            recipes: self.recipes == "yes",
            by_response: self.reckoned == BY_RESPONSE,
            accept_short_percent: problems
                .optional_number("accept_short_percent", &self.accept_short_percent, &ACCEPT)
                .filter(|percent| *percent > 0.0),
            spend_less_percent: problems
                .optional_number("spend_less_percent", &self.spend_less_percent, &ACCEPT)
                .filter(|percent| *percent > 0.0),
            search_seconds: problems.optional_number("search_seconds", &self.search_seconds, &SEARCH).map(|n| n as u16),
            ..PlanOptions::default()
        };
        for symbol in &self.leave_out {
            options.leave_out.extend(problems.one_of::<Element>("leave_out", symbol));
        }
        for (at, line) in self.sold_of.iter().enumerate() {
            options.sold_of.extend(line.read(at, &mut problems));
        }
        options.wants = self.wants.iter().enumerate().filter_map(|(at, line)| line.read(at, &mut problems)).collect();
        // What must be used is among the products of the plan, whether it was ticked or not.
        let used: BTreeSet<AmendmentId> = options.wants.iter().filter(|w| !w.keep_off).map(|w| w.product).collect();
        products.extend(used.into_iter().filter(|id| !self.products.contains(&id.to_string())).collect::<Vec<_>>());
        let nitrogen = problems.optional_number("nitrogen_kg_per_ha", &self.nitrogen_kg_per_ha, &NEED);
        options.stated_kg_per_ha.extend(nitrogen.filter(|n| *n > 0.0).map(|n| (Element::N, n)));
        problems.none()?;
        Ok(NewPlan {
            season,
            name,
            guideline: self.guideline.clone(),
            guideline_version: version.unwrap_or(0),
            options: serde_json::to_string(&options).map_err(|e| Error::Internal(e.to_string()))?,
            plots,
            products,
        })
    }
}

/// One dose in the plan's table, as typed.
#[derive(Clone, Debug, Default)]
pub struct DoseCell {
    /// Number of the plot.
    pub plot: i64,
    /// Number of the amendment.
    pub amendment: i64,
    /// Grams on the plot; empty is none.
    pub grams: String,
    pub locked: bool,
}

/// The doses of a plan, as typed.
#[derive(Clone, Debug, Default)]
pub struct DoseForm {
    pub cells: Vec<DoseCell>,
    /// Of the plan whose doses were read; `None` where it does not matter.
    pub revision: Option<i64>,
}

impl DoseForm {
    /// Field name of a dose's grams.
    pub fn grams_field(plot: PlotId, amendment: AmendmentId) -> String {
        format!("g_{plot}_{amendment}")
    }

    /// Field name of a dose's lock.
    pub fn lock_field(plot: PlotId, amendment: AmendmentId) -> String {
        format!("lock_{plot}_{amendment}")
    }

    /// A dose as its field shows it: grams, no finer than a thousandth; empty for none.
    pub fn grams_text(mass_g: f64) -> String {
        match mass_g {
            g if g > 0.0 => {
                let decimals = if g >= 100.0 { 1 } else { 3 };
                let text = format!("{g:.decimals$}");
                text.trim_end_matches('0').trim_end_matches('.').to_owned()
            }
            _ => String::new(),
        }
    }

    /// Reads the fields `g_PLOT_AMENDMENT` and `lock_PLOT_AMENDMENT` of a posted form.
    pub fn from_fields<'a>(fields: impl IntoIterator<Item = (&'a str, &'a str)>) -> DoseForm {
        let mut cells: BTreeMap<(i64, i64), DoseCell> = BTreeMap::new();
        let mut revision = None;
        for (name, value) in fields {
            if name == "revision" {
                revision = value.trim().parse().ok();
            }
            let mut parts = name.split('_');
            let (kind, plot, amendment) = (parts.next(), parts.next(), parts.next());
            let (Some(Ok(plot)), Some(Ok(amendment))) = (plot.map(str::parse), amendment.map(str::parse)) else {
                continue;
            };
            let cell = cells.entry((plot, amendment)).or_default();
            (cell.plot, cell.amendment) = (plot, amendment);
            match kind {
                Some("g") => cell.grams = value.to_owned(),
                Some("lock") => cell.locked = true,
                _ => {}
            }
        }
        DoseForm { cells: cells.into_values().collect(), revision }
    }

    /// The doses meant; those not in the form stay as they are.
    pub(super) fn read(&self, loaded: &LoadedPlan) -> Result<Vec<DoseLine>> {
        let mut problems = Problems::default();
        let mut lines: BTreeMap<(PlotId, AmendmentId), DoseLine> =
            loaded.dose_lines().into_iter().map(|line| ((line.plot, line.amendment), line)).collect();
        for cell in &self.cells {
            let (plot, amendment) = (PlotId(cell.plot), AmendmentId(cell.amendment));
            if !loaded.knows(plot, amendment) {
                continue;
            }
            let field = DoseForm::grams_field(plot, amendment);
            let line = lines.entry((plot, amendment)).or_insert_with(|| DoseLine::new(plot, amendment));
            let typed = cell.grams.trim();
            // What a field shows may be rounded: left as it is, it changes nothing.
            if typed != DoseForm::grams_text(line.mass_g) {
                let mass_g = if typed.is_empty() { Some(0.0) } else { problems.optional_number(&field, typed, &DOSE) };
                let Some(mass_g) = mass_g else { continue };
                let step_g = loaded.site.scale_step_g;
                if !is_on_scale(mass_g, step_g) {
                    let step = grams(step_g);
                    problems.add(&field, format!("The scale weighs in steps of {step}, so it cannot weigh {typed} g."));
                    continue;
                }
                line.by_hand = true;
                line.mass_g = mass_g;
            }
            line.locked = cell.locked;
        }
        problems.none()?;
        Ok(lines.into_values().collect())
    }
}
