//! A season on paper, for the meeting at the end of the year or for the certifier: of each plot
//! what was put on, when, by whom and why, what grew and left, what stays of N, P and K, and
//! what the tests say; with the evidence that is kept for it. It gathers; it judges nothing.

use super::{
    Actor, App, Result, Role,
    access::found,
    applications::{ApplicationRow, SiteRow},
    columns::newest_samplings,
    files::AttachmentRow,
    guidelines,
    harvests::{HarvestRow, Shelf, books},
    lists::ListStatusRow,
    plots::{LineageRow, PlotRow},
    standing::{PlotStanding, place, place_now},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        balance::{Flow, SeasonAccount},
        crop::Crop,
        element::Element,
        guideline::{Guideline, Position},
        quantity::{Grams, KgPerHa, SquareMetres},
        standing::Standing,
    },
    ids::{AmendmentId, AnalysisId, PlanId, PlotId, ReportId, SeasonId, SiteId},
    store::{self, Read, amendments::AnalysisRow, plans::SeasonRow, samplings::Loaded},
};
use jiff::civil::Date;
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

/// A season of a site, or of one of its plots.
#[derive(Clone, Debug)]
pub struct YearSummary<P> {
    pub site: SiteRow,
    /// All seasons of the site, newest first.
    pub seasons: Vec<SeasonRow>,
    /// The one that it is about; none is written down where it is missing.
    pub year: Option<Year<P>>,
}

/// What happened in the season.
#[derive(Clone, Debug)]
pub struct Year<P> {
    pub season: SeasonRow,
    /// It is not over.
    pub running: bool,
    /// Title of the guideline in use.
    pub guideline: String,
    /// In the order of the site's list: those in use in the season.
    pub plots: Vec<P>,
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

/// The same of one plot among all of a site, in brief.
#[derive(Clone, Debug)]
pub struct PlotBrief {
    pub plot: PlotRow,
    /// As people read them.
    pub crops: Vec<String>,
    /// Oldest first.
    pub put_on: Vec<PutOn>,
    /// What left it, kg fresh; `None` where nothing is written down.
    pub harvested_kg: Option<f64>,
    /// N, P and K, where the ledger has an account of the season.
    pub balance: Vec<(Element, Flow, Flow)>,
    /// Samples taken in the season.
    pub tests: usize,
    /// Of those, how many have the lab's own sheet kept with them.
    pub with_sheet: usize,
    /// The newest sample up to the end of the season.
    pub last_sampled: Option<Date>,
    /// What it was short of at the end of the season; `None` where no sample speaks for it.
    pub short: Option<Vec<Analyte>>,
}

/// The elements whose balance stands on a site's page.
const BALANCE: [Element; 3] = [Element::N, Element::P, Element::K];

/// What of this kind changes is on no such page.
const UNRELATED: &[&str] = &["person", "note"];

/// Plots that are looked at together; more would take more memory than time.
const TOGETHER: usize = 64;

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
    pub analysis_id: AnalysisId,
    pub total: Grams,
    /// How many plots got it.
    pub plots: usize,
    pub analysis: Option<AnalysisRow>,
    /// The newest word of each list, up to the end of the season.
    pub lists: Vec<ListStatusRow>,
}

impl Year<PlotBrief> {
    /// The products of some of its plots, with what these got of each.
    pub fn products_of(&self, plots: &[PlotBrief]) -> Vec<ProductUsed> {
        let of_plots = |product: &ProductUsed| {
            let (mut total, mut got) = (Grams(0.0), 0);
            for brief in plots {
                let here = brief.put_on.iter().map(|one| &one.row);
                let here = here.filter(|row| row.amendment == product.amendment && row.analysis == product.analysis_id);
                let masses: Vec<f64> = here.map(|row| row.mass_g).collect();
                total.0 += masses.iter().sum::<f64>();
                got += usize::from(!masses.is_empty());
            }
            (got > 0).then(|| ProductUsed { total, plots: got, ..product.clone() })
        };
        self.products.iter().filter_map(of_plots).collect()
    }
}

impl App {
    /// A season of a whole site; without one named the running one, else the newest that began.
    /// The same until something that it rests on changes.
    pub async fn site_year(
        &self,
        actor: &Actor,
        id: SiteId,
        season: Option<SeasonId>,
    ) -> Result<Arc<YearSummary<PlotBrief>>> {
        actor.may(Role::Reader)?;
        let work = self.sum_up_site(id, season);
        self.year_summaries.answer(&self.store, (id, season), self.today(), UNRELATED, work).await
    }

    /// A season of one plot.
    pub async fn plot_year(
        &self,
        actor: &Actor,
        id: PlotId,
        season: Option<SeasonId>,
    ) -> Result<YearSummary<PlotYear>> {
        actor.may(Role::Reader)?;
        let today = self.today();
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let site = found(store::plots::site(&mut read, plot.site).await?, "site")?;
        let seasons = store::plans::seasons(&mut read, site.id).await?;
        let Some(season) = choose(&seasons, season, today)? else {
            return Ok(YearSummary { site, seasons, year: None });
        };
        let running = season.ends_on >= today;
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let mut year = Year { running, guideline: guideline.title.clone(), plots: vec![], products: vec![], season };
        if in_use(&plot, &year.season) {
            let shared = Shared::load(&mut read, &site, &year.season, Some(id)).await?;
            year.products = shared.products(&BTreeSet::from([id]));
            year.plots.push(self.one(&mut read, plot, &shared, &guideline).await?);
        }
        Ok(YearSummary { site, seasons, year: Some(year) })
    }

    async fn one(&self, read: &mut Read, plot: PlotRow, shared: &Shared, guideline: &Guideline) -> Result<PlotYear> {
        let (id, from, to, today) = (plot.id, shared.from, shared.to, self.today());
        let books = books(read, std::slice::from_ref(&plot), today).await?.remove(&id).unwrap_or_default();
        let area = SquareMetres(plot.area_m2);
        let standing = place(read, vec![plot], guideline, to.min(today)).await?.pop();
        let standing = found(standing, "plot")?;
        let in_season = |loaded: &&Loaded| from <= loaded.row.sampled_on && loaded.row.sampled_on <= to;
        let tests: Vec<Loaded> = standing.samplings.iter().filter(in_season).cloned().collect();
        let reports: Vec<ReportId> = tests.iter().flat_map(reports_of).collect();
        let lineage = store::plots::lineage(read, id).await?;
        let mut ledger = books.ledger();
        ledger.seasons.retain(|account| account.starts_on == from && account.ends_on == to);
        Ok(PlotYear {
            crops: shared.crops_of(id),
            put_on: shared.put_on(id, area),
            harvests: shared.harvests.get(&id).cloned().unwrap_or_default(),
            account: ledger.seasons.into_iter().next(),
            files: store::files::of_all(read, &reports, &[]).await?,
            last_sampled: standing.survey.until(to).last_sampled(),
            standing: stood(read, &standing, guideline, to.min(today)).await?,
            made: lineage
                .into_iter()
                .filter(|row| row.parent == id || row.child == id)
                .filter(|row| from <= row.took_place_on && row.took_place_on <= to)
                .collect(),
            plot: standing.plot,
            tests,
        })
    }

    async fn sum_up_site(&self, id: SiteId, season: Option<SeasonId>) -> Result<YearSummary<PlotBrief>> {
        let today = self.today();
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let seasons = store::plans::seasons(&mut read, id).await?;
        let Some(season) = choose(&seasons, season, today)? else {
            return Ok(YearSummary { site, seasons, year: None });
        };
        let mut plots = store::plots::plots(&mut read, id, true).await?;
        plots.retain(|plot| in_use(plot, &season));
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let shared = Shared::load(&mut read, &site, &season, None).await?;
        let shelf = Shelf::load(&mut read, id).await?;
        drop(read);
        let (from, to) = (shared.from, shared.to.min(today));
        // Where a plot stood rests on few of its samplings; the others are not read.
        let mut only = newest_samplings(&self.store, id, &plots, to).await?;
        let mut briefs = Vec::with_capacity(plots.len());
        let mut read = self.store.read().await?;
        only.extend(store::sampled::between(&mut read, id, from, shared.to).await?);
        for some in plots.chunks(TOGETHER) {
            let mut books = shelf.books(&mut read, some, (from, shared.to), today).await?;
            let standings = place_now(&mut read, some.to_vec(), &guideline, to, Some(&only)).await?;
            let in_season = |loaded: &&Loaded| from <= loaded.row.sampled_on && loaded.row.sampled_on <= shared.to;
            let tests = standings.iter().flat_map(|one| one.samplings.iter().filter(in_season));
            let reports: Vec<ReportId> = tests.flat_map(reports_of).collect();
            let files = store::files::of_all(&mut read, &reports, &[]).await?;
            let with_file: BTreeSet<ReportId> = files.iter().filter_map(|file| file.report).collect();
            for standing in standings {
                let plot = standing.plot;
                let books = books.remove(&plot.id).unwrap_or_default();
                let lines = books.season_lines(from, shared.to, &BALANCE).unwrap_or_default();
                let tests: Vec<&Loaded> = standing.samplings.iter().filter(in_season).collect();
                let last_sampled = standing.samplings.iter().map(|one| one.row.sampled_on).filter(|on| *on <= to).max();
                let nutrients = &standing.present.standing.nutrients;
                let short = nutrients.iter().filter(|nutrient| nutrient.position == Position::Short);
                let harvests = shared.harvests.get(&plot.id);
                briefs.push(PlotBrief {
                    crops: shared.crops_of(plot.id),
                    put_on: shared.put_on(plot.id, SquareMetres(plot.area_m2)),
                    harvested_kg: harvests.map(|rows| rows.iter().map(|row| row.harvest.mass_kg).sum()),
                    balance: lines.into_iter().map(|line| (line.element, line.brought, line.carried)).collect(),
                    tests: tests.len(),
                    with_sheet: tests.iter().filter(|one| reports_of(one).any(|id| with_file.contains(&id))).count(),
                    short: (standing.one_soil && last_sampled.is_some()).then(|| short.map(|n| n.analyte).collect()),
                    last_sampled,
                    plot,
                });
            }
        }
        let ids = briefs.iter().map(|brief| brief.plot.id).collect();
        let year = Year {
            running: season.ends_on >= today,
            guideline: guideline.title.clone(),
            products: shared.products(&ids),
            plots: briefs,
            season,
        };
        Ok(YearSummary { site, seasons, year: Some(year) })
    }
}

/// The season named, else the running one, else the newest that began.
fn choose(seasons: &[SeasonRow], named: Option<SeasonId>, today: Date) -> Result<Option<SeasonRow>> {
    let began = |season: &&SeasonRow| season.starts_on <= today;
    Ok(match named {
        Some(id) => Some(found(seasons.iter().find(|season| season.id == id), "season")?.clone()),
        None => {
            let running = seasons.iter().find(|season| began(season) && today <= season.ends_on);
            running.or_else(|| seasons.iter().find(began)).cloned()
        }
    })
}

/// Whether a plot was in use on any day of a season.
fn in_use(plot: &PlotRow, season: &SeasonRow) -> bool {
    plot.began_on.is_none_or(|began| began <= season.ends_on)
        && plot.retired_on.is_none_or(|ended| season.starts_on <= ended)
}

fn reports_of(loaded: &Loaded) -> impl Iterator<Item = ReportId> {
    loaded.sampling.reports.iter().map(|report| ReportId(report.key))
}

/// What is read once for all plots of a season.
struct Shared {
    from: Date,
    to: Date,
    /// By plot, oldest first.
    applied: BTreeMap<PlotId, Vec<ApplicationRow>>,
    /// By plot, oldest first.
    harvests: BTreeMap<PlotId, Vec<HarvestRow>>,
    analyses: BTreeMap<AnalysisId, AnalysisRow>,
    lists: Vec<ListStatusRow>,
    plans: Plans,
    croppings: BTreeMap<PlotId, Vec<String>>,
}

impl Shared {
    /// Of all plots, or of one.
    async fn load(read: &mut Read, site: &SiteRow, season: &SeasonRow, plot: Option<PlotId>) -> Result<Shared> {
        let (from, to) = (season.starts_on, season.ends_on);
        let here = |id: PlotId| plot.is_none_or(|plot| plot == id);
        let mut rows = store::applications::of_site(read, site.id, from, to).await?;
        rows.retain(|row| here(row.plot));
        rows.reverse();
        let analyses: BTreeSet<AnalysisId> = rows.iter().map(|row| row.analysis).collect();
        let analyses: Vec<AnalysisId> = analyses.into_iter().collect();
        let analyses = store::amendments::analyses_by_id(read, &analyses).await?;
        let plans = Plans::of(read, &rows).await?;
        let mut applied: BTreeMap<PlotId, Vec<ApplicationRow>> = BTreeMap::new();
        for row in rows {
            applied.entry(row.plot).or_default().push(row);
        }
        let mut harvests: BTreeMap<PlotId, Vec<HarvestRow>> = BTreeMap::new();
        for row in store::harvests::of_site(read, site.id, from, to).await?.into_iter().rev() {
            if here(row.plot) {
                harvests.entry(row.plot).or_default().push(row);
            }
        }
        let mut croppings: BTreeMap<PlotId, Vec<String>> = BTreeMap::new();
        for row in store::plans::croppings(read, season.id).await? {
            let name = Crop::find(&row.crop).map_or(row.crop, |crop| crop.name.into());
            croppings.entry(row.plot).or_default().push(name);
        }
        let lists = store::lists::all(read).await?;
        Ok(Shared { from, to, applied, harvests, analyses, lists, plans, croppings })
    }

    fn crops_of(&self, plot: PlotId) -> Vec<String> {
        self.croppings.get(&plot).cloned().unwrap_or_default()
    }

    fn put_on(&self, plot: PlotId, area: SquareMetres) -> Vec<PutOn> {
        let one = |row: &ApplicationRow| PutOn {
            row: row.clone(),
            rate: Grams(row.mass_g).per(area),
            why: self.plans.why(row, self.analyses.get(&row.analysis)),
        };
        self.applied.get(&plot).into_iter().flatten().map(one).collect()
    }

    fn products(&self, plots: &BTreeSet<PlotId>) -> Vec<ProductUsed> {
        let applied = self.applied.iter().filter(|(plot, _)| plots.contains(plot)).flat_map(|(_, rows)| rows);
        products(applied, &self.analyses, &self.lists, self.to)
    }
}

/// Where a plot stood on a day, by what had been sampled until then.
async fn stood(read: &mut Read, standing: &PlotStanding, guideline: &Guideline, on: Date) -> Result<Option<Standing>> {
    let survey = standing.survey.until(on);
    if !standing.one_soil || survey.visits.is_empty() {
        return Ok(None);
    }
    let ids: Vec<_> = standing.samplings.iter().map(|loaded| loaded.row.id).collect();
    let overrules: Vec<_> = store::choices::of_samplings(read, &ids).await?.into_values().flatten().collect();
    Ok(Some(survey.present(&standing.plot.ground(), guideline, standing.land_use, &overrules, on).standing))
}

/// The products of a season, by name and analysis, with the newest word of each list.
fn products<'a>(
    applied: impl Iterator<Item = &'a ApplicationRow>,
    analyses: &BTreeMap<AnalysisId, AnalysisRow>,
    lists: &[ListStatusRow],
    until: Date,
) -> Vec<ProductUsed> {
    let mut products: BTreeMap<(&'a str, AnalysisId), (ProductUsed, BTreeSet<PlotId>)> = BTreeMap::new();
    for row in applied {
        let (product, plots) = products.entry((&row.amendment_name, row.analysis)).or_insert_with(|| {
            let mut seen = BTreeSet::new();
            // The newest of a product and list comes first.
            let said = lists.iter().filter(|one| one.amendment == row.amendment && one.stated_on <= until);
            let product = ProductUsed {
                name: row.amendment_name.clone(),
                amendment: row.amendment,
                analysis_id: row.analysis,
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
    /// Plan of each dose.
    doses: BTreeMap<i64, PlanId>,
    plans: BTreeMap<PlanId, PlanReasons>,
}

/// What a plan's doses were for.
struct PlanReasons {
    name: String,
    /// By plot: elements that were needed there, and why.
    needs: BTreeMap<PlotId, Vec<(Element, String)>>,
}

impl Plans {
    async fn of(read: &mut Read, applied: &[ApplicationRow]) -> Result<Plans> {
        let (mut doses, mut plans) = (BTreeMap::new(), BTreeMap::new());
        for id in applied.iter().filter_map(|row| row.dose) {
            if doses.contains_key(&id.0) {
                continue;
            }
            let Some(dose) = store::plans::dose(read, id).await? else { continue };
            // All doses of its plan come with it, in one read.
            let plan = found(store::plans::plan(read, dose.plan).await?, "plan")?;
            for dose in store::plans::doses_of(read, plan.id).await? {
                doses.insert(dose.id.0, plan.id);
            }
            let mut needs: BTreeMap<PlotId, Vec<(Element, String)>> = BTreeMap::new();
            for need in store::plans::needs_of(read, plan.id).await? {
                if need.need_kg_per_ha > 0.0 {
                    needs.entry(need.plot).or_default().push((need.element, need.reason));
                }
            }
            plans.insert(plan.id, PlanReasons { name: plan.name, needs });
        }
        Ok(Plans { doses, plans })
    }

    fn why(&self, row: &ApplicationRow, analysis: Option<&AnalysisRow>) -> Why {
        let plan = row.dose.and_then(|dose| self.doses.get(&dose.0));
        let Some((id, plan)) = plan.and_then(|plan| Some((*plan, self.plans.get(plan)?))) else {
            let note = row.note.trim();
            return if note.is_empty() { Why::Unsaid } else { Why::Said(note.to_owned()) };
        };
        let brings = |element: &Element| {
            analysis.is_some_and(|row| row.analysis.parts.get(element).is_some_and(|part| part.mass_fraction > 0.0))
        };
        let needed = plan.needs.get(&row.plot).into_iter().flatten();
        let serves = needed.filter(|(element, _)| brings(element)).cloned().collect();
        Why::Planned { plan: id, name: plan.name.clone(), serves }
    }
}
