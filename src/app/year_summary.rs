//! A season on paper, for the meeting at the end of the year or for the certifier: of each plot
//! what was put on, when, by whom and why, what grew and left, what stays of N, P and K, and
//! what the tests say; with the evidence that is kept for it. It gathers; it judges nothing.

use super::{
    Actor, App, Result, Role,
    access::found,
    applications::{ApplicationRow, SiteRow},
    files::AttachmentRow,
    guidelines,
    harvests::{HarvestRow, books},
    lists::ListStatusRow,
    plots::{LineageRow, PlotRow},
    standing::{PlotStanding, place},
};
use crate::{
    agronomy::{
        balance::SeasonAccount,
        crop::Crop,
        element::Element,
        guideline::Guideline,
        quantity::{Grams, KgPerHa, SquareMetres},
        standing::Standing,
    },
    ids::{AmendmentId, AnalysisId, PlanId, PlotId, ReportId, SeasonId, SiteId},
    store::{
        self,
        amendments::AnalysisRow,
        plans::{DoseRow, NeedRow, PlanRow, SeasonRow},
        samplings::Loaded,
    },
};
use jiff::civil::Date;
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
};

/// A season of some plots of a site.
#[derive(Clone, Debug)]
pub struct YearSummary {
    pub site: SiteRow,
    /// All seasons of the site, newest first.
    pub seasons: Vec<SeasonRow>,
    /// The one that it is about; none is written down where it is missing.
    pub year: Option<Year>,
}

/// What happened in the season.
#[derive(Clone, Debug)]
pub struct Year {
    pub season: SeasonRow,
    /// It is not over.
    pub running: bool,
    pub guideline: Cow<'static, Guideline>,
    /// In the order of the site's list: those in use in the season.
    pub plots: Vec<PlotYear>,
    /// By name.
    pub products: Vec<ProductUsed>,
}

/// A plot's season.
#[derive(Clone, Debug)]
pub struct PlotYear {
    pub plot: PlotRow,
    /// As people read them.
    pub crops: Vec<String>,
    /// Oldest first.
    pub put_on: Vec<PutOn>,
    /// Oldest first.
    pub harvests: Vec<HarvestRow>,
    /// The account of the season, where the ledger has one.
    pub account: Option<SeasonAccount>,
    /// Samples taken in the season.
    pub tests: Vec<Loaded>,
    /// Files kept with the sheets of those samples.
    pub files: Vec<AttachmentRow>,
    /// The newest sample up to the end of the season.
    pub last_sampled: Option<Date>,
    /// Where it stood at the end of the season, or today if that comes first; `None` where no sample
    /// speaks for it.
    pub standing: Option<Standing>,
    /// Splits and merges of the season that it came from or went into.
    pub made: Vec<LineageRow>,
}

/// Something put on.
#[derive(Clone, Debug)]
pub struct PutOn {
    pub row: ApplicationRow,
    /// The product over the plot's area.
    pub rate: KgPerHa,
    pub why: Why,
}

/// Why something was put on.
#[derive(Clone, Debug, PartialEq)]
pub enum Why {
    /// A dose of a plan, with the needs of this plot that the product serves and their reasons.
    Planned { plan: PlanId, name: String, serves: Vec<(Element, String)> },
    /// What whoever recorded it wrote.
    Said(String),
    /// Nobody wrote it down.
    Unsaid,
}

/// A product of the season, by the analysis that was in force.
#[derive(Clone, Debug)]
pub struct ProductUsed {
    pub name: String,
    pub amendment: AmendmentId,
    pub total: Grams,
    /// How many plots got it.
    pub plots: usize,
    pub analysis: Option<AnalysisRow>,
    /// The newest word of each list, up to the end of the season.
    pub lists: Vec<ListStatusRow>,
}

impl App {
    /// A season of a whole site; without one named the running one, else the newest that began.
    pub async fn site_year(&self, actor: &Actor, id: SiteId, season: Option<SeasonId>) -> Result<YearSummary> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let plots = store::plots::plots(&mut read, id, true).await?;
        summary(&mut read, site, plots, season, self.today()).await
    }

    /// A season of one plot.
    pub async fn plot_year(&self, actor: &Actor, id: PlotId, season: Option<SeasonId>) -> Result<YearSummary> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let site = found(store::plots::site(&mut read, plot.site).await?, "site")?;
        summary(&mut read, site, vec![plot], season, self.today()).await
    }
}

async fn summary(
    read: &mut store::Read,
    site: SiteRow,
    plots: Vec<PlotRow>,
    season: Option<SeasonId>,
    today: Date,
) -> Result<YearSummary> {
    let seasons = store::plans::seasons(read, site.id).await?;
    let wanted = match season {
        Some(id) => Some(found(seasons.iter().find(|season| season.id == id), "season")?),
        None => seasons
            .iter()
            .find(|season| season.starts_on <= today && today <= season.ends_on)
            .or_else(|| seasons.iter().find(|season| season.starts_on <= today)),
    };
    let Some(season) = wanted.cloned() else { return Ok(YearSummary { site, seasons, year: None }) };
    let in_use = |plot: &PlotRow| {
        plot.began_on.is_none_or(|began| began <= season.ends_on)
            && plot.retired_on.is_none_or(|ended| season.starts_on <= ended)
    };
    let plots: Vec<PlotRow> = plots.into_iter().filter(in_use).collect();
    let year = year(read, &site, plots, season, today).await?;
    Ok(YearSummary { site, seasons, year: Some(year) })
}

async fn year(
    read: &mut store::Read,
    site: &SiteRow,
    plots: Vec<PlotRow>,
    season: SeasonRow,
    today: Date,
) -> Result<Year> {
    let (from, to) = (season.starts_on, season.ends_on);
    let ids: BTreeSet<PlotId> = plots.iter().map(|plot| plot.id).collect();
    let mut applied = store::applications::of_site(read, site.id, from, to).await?;
    applied.retain(|row| ids.contains(&row.plot));
    applied.reverse();
    let mut harvests = store::harvests::of_site(read, site.id, from, to).await?;
    harvests.reverse();
    let analyses: BTreeSet<AnalysisId> = applied.iter().map(|row| row.analysis).collect();
    let analyses: Vec<AnalysisId> = analyses.into_iter().collect();
    let analyses = store::amendments::analyses_by_id(read, &analyses).await?;
    let lists = store::lists::all(read).await?;
    let plans = Plans::of(read, &applied).await?;
    let guideline = guidelines::of_site(read, site).await?;
    let croppings = store::plans::croppings(read, season.id).await?;
    let mut accounts = books(read, &plots, today).await?;
    let areas: BTreeMap<PlotId, SquareMetres> =
        plots.iter().map(|plot| (plot.id, SquareMetres(plot.area_m2))).collect();
    let products = products(&applied, &analyses, &lists, to);
    let mut of_plots: Vec<PlotYear> = Vec::new();
    for standing in place(read, plots, &guideline, to.min(today)).await? {
        let id = standing.plot.id;
        let tests: Vec<Loaded> = standing
            .samplings
            .iter()
            .filter(|loaded| from <= loaded.row.sampled_on && loaded.row.sampled_on <= to)
            .cloned()
            .collect();
        let reports = tests.iter().flat_map(|loaded| loaded.sampling.reports.iter().map(|report| ReportId(report.key)));
        let files = store::files::of_all(read, &reports.collect::<Vec<_>>(), &[]).await?;
        let lineage = store::plots::lineage(read, id).await?;
        let put_on = applied.iter().filter(|row| row.plot == id).map(|row| PutOn {
            row: row.clone(),
            rate: Grams(row.mass_g).per(areas[&id]),
            why: plans.why(row, analyses.get(&row.analysis)),
        });
        let crops = croppings.iter().filter(|row| row.plot == id);
        let ledger = accounts.remove(&id).unwrap_or_default().ledger();
        of_plots.push(PlotYear {
            crops: crops.map(|row| Crop::find(&row.crop).map_or(row.crop.clone(), |crop| crop.name.into())).collect(),
            put_on: put_on.collect(),
            harvests: harvests.iter().filter(|row| row.plot == id).cloned().collect(),
            account: ledger.seasons.into_iter().find(|account| account.starts_on == from && account.ends_on == to),
            last_sampled: standing.survey.until(to).last_sampled(),
            standing: stood(read, &standing, &guideline, to.min(today)).await?,
            made: lineage
                .into_iter()
                .filter(|row| row.parent == id || row.child == id)
                .filter(|row| from <= row.took_place_on && row.took_place_on <= to)
                .collect(),
            plot: standing.plot,
            tests,
            files,
        });
    }
    let running = season.ends_on >= today;
    Ok(Year { season, running, guideline, plots: of_plots, products })
}

/// Where a plot stood on a day, by what had been sampled until then.
async fn stood(
    read: &mut store::Read,
    standing: &PlotStanding,
    guideline: &Guideline,
    on: Date,
) -> Result<Option<Standing>> {
    let survey = standing.survey.until(on);
    if !standing.one_soil || survey.visits.is_empty() {
        return Ok(None);
    }
    let ids: Vec<_> = standing.samplings.iter().map(|loaded| loaded.row.id).collect();
    let overrules: Vec<_> = store::samplings::overrules(read, &ids).await?.into_values().flatten().collect();
    Ok(Some(survey.present(&standing.plot.ground(), guideline, standing.land_use, &overrules, on).standing))
}

/// The products of a season, by name and analysis, with the newest word of each list.
fn products(
    applied: &[ApplicationRow],
    analyses: &BTreeMap<AnalysisId, AnalysisRow>,
    lists: &[ListStatusRow],
    until: Date,
) -> Vec<ProductUsed> {
    let mut products: BTreeMap<(&str, AnalysisId), (ProductUsed, BTreeSet<PlotId>)> = BTreeMap::new();
    for row in applied {
        let (product, plots) = products.entry((&row.amendment_name, row.analysis)).or_insert_with(|| {
            let mut seen = BTreeSet::new();
            // The newest of a product and list comes first.
            let said = lists.iter().filter(|one| one.amendment == row.amendment && one.stated_on <= until);
            let product = ProductUsed {
                name: row.amendment_name.clone(),
                amendment: row.amendment,
                total: Grams(0.0),
                plots: 0,
                analysis: analyses.get(&row.analysis).cloned(),
                lists: said.filter(|one| seen.insert(one.list.clone())).cloned().collect(),
            };
            (product, BTreeSet::new())
        });
        product.total.0 += row.mass_g;
        plots.insert(row.plot);
        product.plots = plots.len();
    }
    products.into_values().map(|(product, _)| product).collect()
}

/// The plans that applications fulfil.
struct Plans {
    doses: BTreeMap<i64, DoseRow>,
    plans: BTreeMap<PlanId, (PlanRow, Vec<NeedRow>)>,
}

impl Plans {
    async fn of(read: &mut store::Read, applied: &[ApplicationRow]) -> Result<Plans> {
        let (mut doses, mut plans) = (BTreeMap::new(), BTreeMap::new());
        for id in applied.iter().filter_map(|row| row.dose) {
            if doses.contains_key(&id.0) {
                continue;
            }
            let Some(dose) = store::plans::dose(read, id).await? else { continue };
            // All doses of its plan come with it, in one read.
            let plan = found(store::plans::plan(read, dose.plan).await?, "plan")?;
            for dose in store::plans::doses_of(read, plan.id).await? {
                doses.insert(dose.id.0, dose);
            }
            let needs = store::plans::needs_of(read, plan.id).await?;
            plans.insert(plan.id, (plan, needs));
        }
        Ok(Plans { doses, plans })
    }

    fn why(&self, row: &ApplicationRow, analysis: Option<&AnalysisRow>) -> Why {
        let dose = row.dose.and_then(|id| self.doses.get(&id.0));
        let Some((plan, needs)) = dose.and_then(|dose| self.plans.get(&dose.plan)) else {
            let note = row.note.trim();
            return if note.is_empty() { Why::Unsaid } else { Why::Said(note.to_owned()) };
        };
        let brings = |need: &&NeedRow| {
            analysis
                .is_some_and(|row| row.analysis.parts.get(&need.element).is_some_and(|part| part.mass_fraction > 0.0))
        };
        let needed = needs.iter().filter(|need| need.plot == row.plot && need.need_kg_per_ha > 0.0);
        let serves = needed.filter(brings).map(|need| (need.element, need.reason.clone())).collect();
        Why::Planned { plan: plan.id, name: plan.name.clone(), serves }
    }
}
