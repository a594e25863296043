//! Loads what a plan is made from, in one read: plots with their standing, products with
//! stock and packs, crops of this season and the next, what was put on in the year before,
//! and the plan's own doses. Then hands plain values to the trade.

use super::{DoseLine, DoseRow, PlanOptions, PlanRow, SeasonRow, guideline_of, wishes};
use crate::{
    agronomy::{
        analyte::Analyte,
        caution::Caution,
        crop::Crop,
        element::Element,
        guideline::Guideline,
        plan::{self, Key},
        record::Application,
        season::{self, Material, PlotSeason, Prepared},
    },
    app::{
        App, Result,
        access::found,
        amendments::with_cautions,
        plots::SiteRow,
        standing::{self, PlotStanding},
    },
    ids::{AmendmentId, AnalysisId, PlanId, PlotId},
    store::{
        self,
        amendments::{AmendmentRow, PackRow},
        plans::NeedRow,
    },
};
use jiff::{ToSpan, civil::Date};
use sha2::{Digest, Sha256};
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
};

/// A plan with everything that it is made from and judged by.
pub struct LoadedPlan {
    pub site: SiteRow,
    pub season: SeasonRow,
    pub plan: PlanRow,
    pub options: PlanOptions,
    pub guideline: Cow<'static, Guideline>,
    pub plots: Vec<PlotStanding>,
    pub products: Vec<AmendmentRow>,
    pub packs: BTreeMap<AmendmentId, Vec<PackRow>>,
    pub stock_g: BTreeMap<AmendmentId, f64>,
    /// Crops of this season and the next.
    pub crops: BTreeMap<PlotId, Vec<Crop>>,
    /// What was put on in the year before spreading, less what fulfils this plan's doses.
    pub applications: BTreeMap<PlotId, Vec<Application>>,
    pub doses: Vec<DoseRow>,
    pub today: Date,
}

/// The planner's key of a row; rows beyond its range do not occur in a garden's record.
pub fn key(id: i64) -> Key {
    Key::try_from(id).unwrap_or(Key::MAX)
}

/// A dose as the planner takes a fixed one.
pub fn lock(dose: &DoseLine) -> plan::Lock {
    plan::Lock { plot: key(dose.plot.0), product: key(dose.amendment.0), dose_g: dose.mass_g }
}

/// What a plan was solved from, as one number: it differs when any input but a lock does.
pub fn fingerprint(input: &plan::PlanInput) -> Vec<u8> {
    let unlocked = plan::PlanInput { locks: vec![], ..input.clone() };
    // The derived Debug form lists every field of every input, maps in key order.
    Sha256::digest(format!("{unlocked:?}").as_bytes()).to_vec()
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
    pub(super) async fn load_plan(&self, id: PlanId) -> Result<LoadedPlan> {
        let today = self.today();
        let mut read = self.store.read().await?;
        let plan = found(store::plans::plan(&mut read, id).await?, "plan")?;
        let season = found(store::plans::season(&mut read, plan.season).await?, "season")?;
        let site = found(store::plots::site(&mut read, season.site).await?, "site")?;
        let options = PlanOptions::from_json(&plan.options);
        let guideline = guideline_of(&plan)?;
        let spread_on = wishes(&options, &site, &season, today).spread_on;

        let chosen: BTreeSet<PlotId> = store::plans::plots_of(&mut read, id).await?.into_iter().collect();
        let mut rows = store::plots::plots(&mut read, site.id, true).await?;
        rows.retain(|plot| chosen.contains(&plot.id));
        let ids: Vec<PlotId> = rows.iter().map(|p| p.id).collect();
        let plots = standing::place(&mut read, rows, &guideline, today).await?;

        let doses = store::plans::doses_of(&mut read, id).await?;
        let mut wanted: BTreeSet<AmendmentId> = store::plans::products_of(&mut read, id).await?.into_iter().collect();
        wanted.extend(doses.iter().map(|d| d.amendment));
        let all = store::amendments::all(&mut read, today, true).await?;
        let products = all.into_iter().filter(|row| wanted.contains(&row.id)).map(with_cautions).collect();
        let mut packs: BTreeMap<AmendmentId, Vec<PackRow>> = BTreeMap::new();
        for pack in store::amendments::packs(&mut read).await? {
            packs.entry(pack.amendment).or_default().push(pack);
        }
        let stock_g = store::amendments::stock(&mut read).await?;

        let mut crops: BTreeMap<PlotId, Vec<Crop>> = BTreeMap::new();
        let seasons = store::plans::seasons(&mut read, site.id).await?;
        let next = seasons.iter().filter(|s| s.starts_on > season.starts_on).min_by_key(|s| s.starts_on);
        for season in std::iter::once(&season).chain(next) {
            for row in store::plans::croppings(&mut read, season.id).await? {
                crops.entry(row.plot).or_default().extend(Crop::find(&row.crop));
            }
        }

        let own: BTreeSet<_> = doses.iter().map(|d| d.id).collect();
        let from = spread_on.saturating_sub(1.year());
        let fulfil: BTreeSet<i64> = store::applications::of_site(&mut read, site.id, from, spread_on)
            .await?
            .into_iter()
            .filter(|a| a.dose.is_some_and(|dose| own.contains(&dose)))
            .map(|a| a.id.0)
            .collect();
        let mut applications = store::applications::of_plots(&mut read, &ids, from, spread_on).await?;
        applications.values_mut().for_each(|of_plot| of_plot.retain(|a| !fulfil.contains(&a.key)));

        Ok(LoadedPlan {
            site,
            season,
            plan,
            options,
            guideline,
            plots,
            products,
            packs,
            stock_g,
            crops,
            applications,
            doses,
            today,
        })
    }
}

impl LoadedPlan {
    /// The planner's input with the reasons behind it.
    pub fn prepare(&self, locks: &[plan::Lock]) -> Prepared {
        let plots: Vec<PlotSeason> = self.plots.iter().map(|standing| self.plot_season(standing)).collect();
        let materials: Vec<Material> = self.products.iter().map(|row| self.material(row)).collect();
        season::prepare(&plots, &materials, locks, &wishes(&self.options, &self.site, &self.season, self.today))
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
            ground: standing.plot.ground(),
            standing: tested.then(|| present.standing.clone()),
            sampled: standing.survey.visits.first().and_then(|v| v.sampling.depth),
            calcareous: present.signs.calcareous(),
            ph: present.choices.get(&Analyte::Ph).map(|c| c.chosen.level.number()),
            crops: self.crops.get(&standing.plot.id).cloned().unwrap_or_default(),
            applications: self.applications.get(&standing.plot.id).cloned().unwrap_or_default(),
        }
    }

    fn material(&self, row: &AmendmentRow) -> Material {
        let parts = &row.amendment.analysis.parts;
        let packs = self.packs.get(&row.id).map_or(&[][..], Vec::as_slice);
        let priced_here = |pack: &PackRow| pack.currency.as_deref() == Some(self.site.currency.as_str());
        let product = plan::Product {
            key: key(row.id.0),
            name: row.amendment.name.clone(),
            content: parts.iter().map(|(e, part)| (*e, part.mass_fraction)).collect(),
            availability: parts.iter().map(|(e, part)| (*e, part.first_year_availability)).collect(),
            rate_max_g_per_m2: row.amendment.rate_limit.as_ref().map(|limit| limit.rate.grams_per_m2().0),
            stock_g: self.stock_g.get(&row.id).copied().unwrap_or(0.0),
            packs: packs
                .iter()
                .map(|pack| plan::Pack {
                    mass_g: pack.mass_g,
                    price_minor: pack.price_minor.filter(|_| priced_here(pack)),
                })
                .collect(),
            whole_packs: !self.options.loose,
            scale_step_g: Some(self.site.scale_step_g),
        };
        let acid_soil_only = row.amendment.cautions.contains(&Caution::AcidSoilOnly);
        Material { product, kind: row.amendment.kind, manure: row.amendment.manure, acid_soil_only }
    }
}
