//! Loads what a plan is made from, in one read: plots with their standing, products with
//! stock and packs, crops of this season and the next, what was put on and what other plans
//! have promised, and the plan's own doses. Then hands plain values to the trade.
//!
//! A draft is judged by today's record. An agreed plan is judged by what it was agreed on: the
//! needs, the analyses and the rules for parts written down with it, as of that day.

use super::{DoseLine, DoseRow, Outcome, OverruleRow, PlanOptions, PlanRow, SeasonRow, Thrift, wanted::Sold, wishes};
use crate::{
    agronomy::{
        cap::{Counted, Overruled},
        caution::Caution,
        crop::Crop,
        element::Element,
        guideline::SplitRule,
        learned_need::Answers,
        need::Need,
        pass::pass_of,
        plan::{self, Key},
        quantity::KgPerHa,
        record::Application,
        season::{self, Material, PlotSeason, Prepared},
        spacing::{Side, Spread, side},
        wants::Listing,
    },
    app::{
        App, Result,
        access::found,
        amendments::with_cautions,
        guidelines::{self, Followed},
        lineage, lists,
        plots::SiteRow,
        standing::{self, PlotStanding},
        undone::LeftDose,
    },
    ids::{AmendmentId, AnalysisId, PlanId, PlotId, SiteId},
    store::{
        self, Db,
        amendments::{AmendmentRow, PackRow},
        plans::NeedRow,
        undos::UndoRow,
    },
};
use jiff::{ToSpan, civil::Date};
use sha2::{Digest, Sha256};
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

/// A plan with everything that it is made from and judged by.
pub struct LoadedPlan {
    pub site: SiteRow,
    pub season: SeasonRow,
    pub plan: PlanRow,
    pub options: PlanOptions,
    /// A draft follows the newest version; what is agreed keeps the version it was worked out under.
    pub guideline: Followed,
    pub plots: Vec<PlotStanding>,
    pub products: Vec<AmendmentRow>,
    pub packs: BTreeMap<AmendmentId, Vec<PackRow>>,
    /// Those that the plan may use; the others only have doses from before.
    ticked: BTreeSet<AmendmentId>,
    /// On hand, less what other plans have promised.
    pub stock_g: BTreeMap<AmendmentId, f64>,
    /// Crops that set the caps: of the season of spreading and of the next.
    pub crops: BTreeMap<PlotId, Vec<Crop>>,
    /// Crops of the plan's own season: what rates for crops are for, and what limits are read for.
    pub growing: BTreeMap<PlotId, Vec<Crop>>,
    /// What was put on up to the day of spreading, as far back as anything counts it, less what
    /// fulfils this plan's doses.
    pub applications: BTreeMap<PlotId, Vec<Application>>,
    pub promised: Promised,
    /// The last change of a draft, where it can be undone.
    pub undo: Option<UndoRow>,
    /// Caps that a steward decided otherwise about.
    pub overrules: Vec<OverruleRow>,
    overruled: BTreeMap<(Key, Counted), Overruled>,
    /// How large doses go on in parts, as far as the site uses such rules, or used them when the plan was agreed.
    pub splits: Vec<Arc<SplitRule>>,
    /// What the plan's list says of products.
    pub listings: BTreeMap<AmendmentId, Listing>,
    /// Products by name that lime must be kept apart from, and limes.
    sides: BTreeMap<String, Side>,
    pub doses: Vec<DoseRow>,
    /// What tests answered, where the plan's needs are reckoned by it; `None` once they are written down.
    answers: Option<BTreeMap<Key, Answers>>,
    /// The needs written down with an agreed plan; `None` for a draft, whose needs are today's.
    pub settled: Option<BTreeMap<Key, Vec<Need>>>,
    /// Today for a draft, else the day of the agreement.
    pub judged_on: Date,
}

/// What other agreed plans are still to put on.
#[derive(Default)]
pub struct Promised {
    pub by_plot: BTreeMap<PlotId, Vec<Application>>,
    pub by_product_g: BTreeMap<AmendmentId, f64>,
    /// The names of what is to go on each plot.
    pub names: BTreeMap<PlotId, BTreeSet<String>>,
    /// The names of those plans.
    pub plans: BTreeSet<String>,
}

/// The planner's key of a row; rows beyond its range do not occur in a garden's record.
pub fn key(id: i64) -> Key {
    Key::try_from(id).unwrap_or(Key::MAX)
}

/// A dose as the planner takes a fixed one.
pub fn lock(dose: &DoseLine) -> plan::Lock {
    plan::Lock { plot: key(dose.plot.0), product: key(dose.amendment.0), dose_g: dose.mass_g }
}

/// What a plan was solved from, as one number: it differs when any input but a lock does, or how
/// much may be left short to spend less.
pub fn fingerprint(input: &plan::PlanInput, options: &PlanOptions) -> Vec<u8> {
    let unlocked = plan::PlanInput { locks: vec![], ..input.clone() };
    // The derived Debug form lists every field of every input, maps in key order.
    let mut all = format!("{unlocked:?}");
    if let Some(percent) = options.spend_less_percent {
        all += &format!(" spend less {percent}");
    }
    Sha256::digest(all.as_bytes()).to_vec()
}

/// The needs as the record keeps them.
pub fn need_rows(prepared: &Prepared, short_g: impl Fn(Key, Element) -> f64) -> Vec<NeedRow> {
    prepared
        .needs
        .iter()
        .flat_map(|(plot, needs)| needs.iter().map(move |need| (plot, need)))
        .map(|(plot, need)| NeedRow {
            plot: PlotId(i64::from(*plot)),
            element: need.element,
            need_kg_per_ha: need.kg_per_ha.0,
            short_g: short_g(*plot, need.element),
            reason: need.reason.words().to_owned(),
            working: serde_json::to_string(&need.working).unwrap_or_else(|_| "null".into()),
        })
        .collect()
}

impl App {
    async fn site_of_plan(&self, id: PlanId) -> Result<SiteId> {
        let mut read = self.store.read().await?;
        let plan = found(store::plans::plan(&mut read, id).await?, "plan")?;
        Ok(found(store::plans::season(&mut read, plan.season).await?, "season")?.site)
    }

    pub(super) async fn load_plan(&self, id: PlanId) -> Result<LoadedPlan> {
        self.load_plan_with(id, &BTreeSet::new()).await
    }

    /// The same with more products, whose doses are to be judged too.
    pub(super) async fn load_plan_with(&self, id: PlanId, more: &BTreeSet<AmendmentId>) -> Result<LoadedPlan> {
        // Before the view of the record that all is read in.
        let newest = self.newest(self.site_of_plan(id).await?).await?;
        let mut read = self.store.read().await?;
        let plan = found(store::plans::plan(&mut read, id).await?, "plan")?;
        let season = found(store::plans::season(&mut read, plan.season).await?, "season")?;
        let site = found(store::plots::site(&mut read, season.site).await?, "site")?;
        let options = PlanOptions::from_json(&plan.options);
        let kept = (plan.state != "draft").then_some(plan.guideline_version);
        let guideline = found(guidelines::find(&mut read, &plan.guideline, kept).await?, "guideline")?;
        let judged_on = plan.agreed_at.map_or_else(|| self.today(), |at| self.clock.day_of(at));
        let spread_on = wishes(&options, &site, &season, judged_on).spread_on;

        let chosen: BTreeSet<PlotId> = store::plans::plots_of(&mut read, id).await?.into_iter().collect();
        let mut rows = store::plots::plots(&mut read, site.id, true).await?;
        rows.retain(|plot| chosen.contains(&plot.id));
        let ids = lineage::ids(&rows);
        let growing = lineage::crops_of(&mut read, &ids, &BTreeSet::from([season.id])).await?;
        let answers = match options.by_response && plan.state == "draft" {
            true => Some(self.answers(site.id, rows.clone()).await?),
            false => None,
        };
        let answers = answers.map(|of| of.into_iter().map(|(plot, answers)| (key(plot.0), answers)).collect());
        let only = newest.in_view(&mut read).await?;
        let (rules, today) = (&guideline.guideline, self.today());
        let plots = standing::place_for(&mut read, rows, rules, today, only, growing.clone()).await?;

        let doses = store::plans::doses_of(&mut read, id).await?;
        let ticked: BTreeSet<AmendmentId> = store::plans::products_of(&mut read, id).await?.into_iter().collect();
        let mut wanted = ticked.clone();
        wanted.extend(doses.iter().map(|d| d.amendment).chain(more.iter().copied()));
        let all = store::amendments::all(&mut read, self.today(), true).await?;
        let promised = promised(&mut read, &plan, spread_on, site.scale_step_g, &all).await?;
        let all: Vec<AmendmentRow> = all.into_iter().map(with_cautions).collect();
        let sides = all.iter().filter_map(|row| Some((row.amendment.name.clone(), side(&row.amendment)?))).collect();
        let mut products: Vec<_> = all.into_iter().filter(|row| wanted.contains(&row.id)).collect();
        let undo = if plan.state == "draft" { store::undos::last(&mut read, id).await? } else { None };
        let agreed = Outcome::from_json(&plan.outcome).splits.filter(|_| plan.state != "draft");
        let splits = match agreed {
            Some(rules) => rules.into_iter().map(Arc::new).collect(),
            None => guidelines::beside(&mut read, &site).await?.splits,
        };
        let overrules = store::overrules::of_plan(&mut read, id).await?;
        let decided = |row: &OverruleRow| overruled(row, self.clock.day_of(row.decided_at));
        let overruled = overrules.iter().filter_map(decided).collect();
        let listings = match &options.list {
            Some(list) => lists::newest(&store::lists::all(&mut read).await?, list),
            None => BTreeMap::new(),
        };
        let settled = if plan.state == "draft" {
            None
        } else {
            recorded_analyses(&mut read, &doses, &mut products).await?;
            Some(recorded_needs(store::plans::needs_of(&mut read, id).await?))
        };
        let mut packs: BTreeMap<AmendmentId, Vec<PackRow>> = BTreeMap::new();
        for pack in store::amendments::packs(&mut read).await? {
            packs.entry(pack.amendment).or_default().push(pack);
        }
        let mut stock_g = store::amendments::stock(&mut read).await?;
        for (product, promised_g) in &promised.by_product_g {
            stock_g.entry(*product).and_modify(|g| *g = (*g - promised_g).max(0.0));
        }
        let crops = lineage::crops_on(&mut read, site.id, &ids, spread_on, Some(season.id)).await?;
        let own = store::applications::of_plan(&mut read, id).await?;
        let own: BTreeSet<i64> = own.iter().map(|application| application.id.0).collect();
        // Caps count twelve months, needs what went on since the test or in the season; nothing asks further back.
        let tested_on = plots.iter().flat_map(|plot| plot.present.tested_on().into_values()).min();
        let a_year_before = spread_on.saturating_sub(1.year());
        let from = tested_on.into_iter().chain([a_year_before, season.starts_on]).min().unwrap_or(Date::MIN);
        let mut applications = lineage::all_applied(&mut read, &ids, from, spread_on).await?;
        applications.values_mut().for_each(|of_plot| of_plot.retain(|a| !own.contains(&a.key)));

        Ok(LoadedPlan {
            site,
            season,
            plan,
            options,
            guideline,
            plots,
            products,
            ticked,
            packs,
            stock_g,
            crops,
            growing,
            applications,
            promised,
            undo,
            overrules,
            overruled,
            splits,
            listings,
            sides,
            doses,
            answers,
            settled,
            judged_on,
        })
    }
}

/// What the plans agreed before this one are still to put on, taken as put on when this one is.
async fn promised(
    db: &mut Db,
    plan: &PlanRow,
    spread_on: Date,
    scale_step_g: f64,
    products: &[AmendmentRow],
) -> Result<Promised> {
    let mut promised = Promised::default();
    let doses = store::plans::doses_agreed_before(db, plan.id).await?;
    let doses: Vec<LeftDose> = doses.into_iter().filter_map(|dose| LeftDose::of(dose, scale_step_g)).collect();
    let analyses: Vec<AnalysisId> = doses.iter().map(|dose| dose.row.analysis).collect();
    let analyses = store::amendments::analyses_by_id(db, &analyses).await?;
    for LeftDose { row, left_g } in doses {
        let product = products.iter().find(|product| product.id == row.amendment);
        let (Some(product), Some(analysis)) = (product, analyses.get(&row.analysis)) else { continue };
        let parts = &analysis.analysis.parts;
        promised.by_plot.entry(row.plot).or_default().push(Application {
            // Doses and applications are numbered apart.
            key: -row.id.0,
            applied_on: spread_on,
            amendment: format!("{} (agreed, still to be put on)", row.amendment_name),
            mass_g: left_g,
            content: parts.iter().map(|(element, part)| (*element, part.mass_fraction)).collect(),
            availability: parts.iter().map(|(element, part)| (*element, part.first_year_availability)).collect(),
            manure: product.amendment.manure,
            organic: product.amendment.manure || product.amendment.kind.is_organic(),
        });
        *promised.by_product_g.entry(row.amendment).or_default() += left_g;
        promised.names.entry(row.plot).or_default().insert(product.amendment.name.clone());
        promised.plans.extend(store::plans::plan(db, row.plan).await?.map(|plan| plan.name));
    }
    Ok(promised)
}

/// Puts the analyses that doses were agreed with in the place of those in force today.
async fn recorded_analyses(db: &mut Db, doses: &[DoseRow], products: &mut [AmendmentRow]) -> Result<()> {
    let wanted: Vec<AnalysisId> = doses.iter().map(|dose| dose.analysis).collect();
    for (id, row) in store::amendments::analyses_by_id(db, &wanted).await? {
        if let Some(product) = products.iter_mut().find(|product| product.id == row.amendment) {
            (product.analysis, product.valid_from) = (id, row.valid_from);
            product.amendment.analysis = row.analysis;
        }
    }
    Ok(())
}

/// A decision as the trade reads it.
fn overruled(row: &OverruleRow, on: Date) -> Option<((Key, Counted), Overruled)> {
    let decided = Overruled {
        kg_per_ha: KgPerHa(row.kg_per_ha),
        published: KgPerHa(row.published_kg_per_ha),
        label: row.label.clone(),
        reason: row.reason.clone(),
        by: row.decided_by.clone(),
        on,
    };
    Some(((key(row.plot.0), row.cap.parse().ok()?), decided))
}

/// The needs as a plan was worked out from them.
fn recorded_needs(rows: Vec<NeedRow>) -> BTreeMap<Key, Vec<Need>> {
    let mut needs: BTreeMap<Key, Vec<Need>> = BTreeMap::new();
    for row in rows {
        let working = serde_json::from_str(&row.working).unwrap_or_default();
        let need = Need::recorded(row.element, KgPerHa(row.need_kg_per_ha), &row.reason, working);
        needs.entry(key(row.plot.0)).or_default().push(need);
    }
    needs
}

impl LoadedPlan {
    /// The planner's input with the reasons behind it: with the products that are ticked, and those
    /// of `doses`, which are fixed or judged.
    pub fn prepare(&self, locks: &[plan::Lock], doses: &[plan::Lock]) -> Prepared {
        let plots: Vec<PlotSeason> = self.plots.iter().map(|standing| self.plot_season(standing)).collect();
        let dosed: BTreeSet<Key> = doses.iter().map(|dose| dose.product).collect();
        let here = |row: &&AmendmentRow| self.ticked.contains(&row.id) || dosed.contains(&key(row.id.0));
        let materials: Vec<Material> = self.products.iter().filter(here).map(|row| self.material(row)).collect();
        let mut wishes = wishes(&self.options, &self.site, &self.season, self.judged_on);
        wishes.options.time_limit = self.options.search_time(self.plots.len());
        wishes.overruled = self.overruled.clone();
        wishes.answers.clone_from(&self.answers);
        let block = |standing: &PlotStanding| Some((key(standing.plot.block?.0), standing.plot.block_name.clone()?));
        wishes.blocks = self.plots.iter().filter_map(block).collect();
        let mut prepared = season::prepare(&plots, &materials, locks, &wishes);
        if !self.promised.plans.is_empty() {
            let names: Vec<&str> = self.promised.plans.iter().map(String::as_str).collect();
            prepared.notes.push(format!(
                "What is agreed and still to be put on counts as given and as taken from stock: see {}. \
                 Close a plan whose rest will not go on.",
                names.join(", ")
            ));
        }
        let mut prepared = match &self.settled {
            Some(settled) => prepared.with_needs(settled),
            None => prepared,
        };
        if let Some(percent) = self.options.accept_short_percent {
            prepared.input.accept_shortage(percent / 100.0);
        }
        prepared
    }

    /// What went on a plot that lime must be kept apart from, and lime.
    pub fn spread_before(&self, plot: PlotId) -> Vec<Spread> {
        let applications = self.applications.get(&plot).map_or(&[][..], Vec::as_slice);
        let spread = |a: &Application| {
            Some(Spread { what: a.amendment.clone(), side: *self.sides.get(&a.amendment)?, on: a.applied_on })
        };
        applications.iter().filter_map(spread).collect()
    }

    /// What other agreed plans have still to put on a plot of lime and of what it is kept apart from.
    pub fn agreed_beside(&self, plot: PlotId) -> Vec<(String, Side)> {
        let names = self.promised.names.get(&plot).into_iter().flatten();
        names.filter_map(|name| Some((name.clone(), *self.sides.get(name)?))).collect()
    }

    /// What the choice to spend less came to when the plan was worked out, as long as it is set so.
    pub fn thrift(&self) -> Option<Thrift> {
        let thrift = Outcome::from_json(&self.plan.outcome).thrift?;
        (self.options.spend_less_percent == Some(thrift.percent)).then_some(thrift)
    }

    /// How a product of the plan is bought.
    pub fn sold(&self, amendment: AmendmentId) -> Sold {
        self.options.sold_of.get(&amendment).copied().unwrap_or(self.options.sold)
    }

    /// The doses as saved.
    pub fn dose_lines(&self) -> Vec<DoseLine> {
        self.doses.iter().map(DoseLine::saved).collect()
    }

    /// Whether a plot and a product belong to the plan.
    pub fn knows(&self, plot: PlotId, amendment: AmendmentId) -> bool {
        self.plots.iter().any(|p| p.plot.id == plot) && self.products.iter().any(|a| a.id == amendment)
    }

    /// The analysis in force of a product.
    pub fn analysis_of(&self, amendment: AmendmentId) -> Option<AnalysisId> {
        self.products.iter().find(|row| row.id == amendment).map(|row| row.analysis)
    }

    fn plot_season(&self, standing: &PlotStanding) -> PlotSeason {
        let present = &standing.present;
        let tested = !present.standing.nutrients.is_empty();
        PlotSeason {
            key: key(standing.plot.id.0),
            name: standing.plot.code.clone(),
            block: standing.plot.block.map(|id| key(id.0)),
            ground: standing.plot.ground(),
            standing: tested.then(|| present.standing.clone()),
            sampled: standing.survey.visits.first().and_then(|v| v.sampling.depth),
            calcareous: present.signs.calcareous(),
            ph: present.ph_at_least(),
            ph_reckoned: present.ph_in_water().is_none(),
            crops: self.crops.get(&standing.plot.id).cloned().unwrap_or_default(),
            growing: self.growing.get(&standing.plot.id).cloned().unwrap_or_default(),
            season_from: self.season.starts_on,
            tested_on: present.tested_on(),
            applications: self.applications.get(&standing.plot.id).cloned().unwrap_or_default(),
            promised: self.promised.by_plot.get(&standing.plot.id).cloned().unwrap_or_default(),
        }
    }

    fn material(&self, row: &AmendmentRow) -> Material {
        let parts = &row.amendment.analysis.parts;
        let packs = self.packs.get(&row.id).map_or(&[][..], Vec::as_slice);
        let sold = self.sold(row.id);
        // Half a pack is a pack of half the mass, at half the price, rounded up.
        let part = if sold == Sold::Halves { 2 } else { 1 };
        let priced_here = |pack: &PackRow| pack.currency.as_deref() == Some(self.site.currency.as_str());
        let product = plan::Product {
            key: key(row.id.0),
            name: row.amendment.name.clone(),
            content: parts.iter().map(|(e, part)| (*e, part.mass_fraction)).collect(),
            availability: parts.iter().map(|(e, part)| (*e, part.first_year_availability)).collect(),
            pass: pass_of(&row.amendment, row.liquid),
            // A cap of the plot, so that it can be decided about, and counts a year where it is one.
            rate_max_g_per_m2: None,
            stock_g: self.stock_g.get(&row.id).copied().unwrap_or(0.0),
            packs: packs
                .iter()
                .map(|pack| plan::Pack {
                    mass_g: pack.mass_g / f64::from(part),
                    price_minor: pack
                        .price_minor
                        .filter(|_| priced_here(pack))
                        .map(|minor| (minor + i64::from(part) - 1) / i64::from(part)),
                })
                .collect(),
            whole_packs: sold != Sold::Loose,
            scale_step_g: Some(self.site.scale_step_g),
        };
        let acid_soil_only = row.amendment.cautions.contains(&Caution::AcidSoilOnly);
        Material {
            product,
            kind: row.amendment.kind,
            manure: row.amendment.manure,
            acid_soil_only,
            rate_limit: row.amendment.rate_limit.clone(),
            listing: self.listings.get(&row.id).cloned(),
        }
    }
}
