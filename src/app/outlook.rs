//! What to do next: what each plot needs, what was put on since its last test, what the caps
//! still allow and what the last agreed plan left undone. It loads; the trade decides.

use super::{
    Actor, App, Result, Role,
    access::found,
    plots::{PlotRow, SiteRow},
    standing::{PlotStanding, guideline_of, place},
};
use crate::{
    agronomy::{
        crop::Crop,
        element::Element,
        guideline::Guideline,
        need::{self, By, Need, Way},
        outlook::{OpenDose, Outlook, Situation, Undone, outlook},
        quantity::{Grams, LayerConvention},
        record::Application,
        standing::NutrientStanding,
    },
    ids::{AnalysisId, PlanId, PlotId, SamplingId, SiteId},
    store::{self, Read},
};
use jiff::{civil::Date, tz::TimeZone};
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
};

pub use crate::store::outlook::LastPlan;

/// A plot, where it stands and what it asks for next.
#[derive(Clone, Debug)]
pub struct PlotOutlook {
    pub standing: PlotStanding,
    pub outlook: Outlook,
    /// What was put on, oldest first; of the plots that it was made from, its share.
    pub applications: Vec<Application>,
    /// The plan that was last agreed for it.
    pub plan: Option<LastPlan>,
    /// Doses of that plan still to be put on.
    pub open_doses: Vec<OpenDose>,
    /// What that plan left undone, by element.
    pub undone: BTreeMap<Element, Undone>,
    /// Samplings for which no report has come.
    pub awaiting: Vec<SamplingId>,
    pub crops: Vec<Crop>,
}

/// The plots in use of a site.
#[derive(Clone, Debug)]
pub struct SiteOutlook {
    pub site: SiteRow,
    pub guideline: Cow<'static, Guideline>,
    pub plots: Vec<PlotOutlook>,
}

/// A crop that grew on a plot.
#[derive(Clone, Debug)]
pub struct Grown {
    /// As a person reads it.
    pub crop: String,
    pub season: String,
    /// The day of sowing, or the first of the season.
    pub from: Date,
}

/// How needs are weighed on a site: by the mass of soil that it settled on, else by each plot's own layer.
pub fn way_of(site: &SiteRow) -> Way {
    let convention = site.layer.as_deref().and_then(LayerConvention::find);
    Way { by: convention.map_or(By::OwnLayer, By::Convention), ..Way::default() }
}

impl PlotStanding {
    /// What raises one nutrient to its aim.
    pub fn need(&self, nutrient: &NutrientStanding, way: &Way) -> Option<Need> {
        let sampled = self.present.choices.get(&nutrient.analyte).and_then(|choice| choice.chosen.depth);
        need::worthwhile(&self.present.standing, nutrient, &self.plot.ground(), sampled, way)
    }

    /// What raises each nutrient that is judged, in the order of the standing.
    pub fn needs(&self, way: &Way) -> Vec<Need> {
        self.present.standing.nutrients.iter().filter_map(|nutrient| self.need(nutrient, way)).collect()
    }
}

impl App {
    /// What to do next on one plot.
    pub async fn plot_outlook(
        &self,
        actor: &Actor,
        id: PlotId,
    ) -> Result<(SiteRow, Cow<'static, Guideline>, PlotOutlook)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let site = found(store::plots::site(&mut read, plot.site).await?, "site")?;
        let guideline = guideline_of(&site)?;
        let ahead = look_ahead(&mut read, vec![plot], &guideline, &way_of(&site), self.today()).await?.pop();
        Ok((site, guideline, found(ahead, "plot")?))
    }

    /// What to do next on every plot in use of a site.
    pub async fn site_outlook(&self, actor: &Actor, id: SiteId) -> Result<SiteOutlook> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let plots = store::plots::plots(&mut read, id, false).await?;
        let guideline = guideline_of(&site)?;
        let plots = look_ahead(&mut read, plots, &guideline, &way_of(&site), self.today()).await?;
        Ok(SiteOutlook { site, guideline, plots })
    }

    /// What was put on a plot up to today, oldest first, with its share of what went on the
    /// plots that it was made from.
    pub async fn put_on(&self, actor: &Actor, id: PlotId) -> Result<Vec<Application>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        Ok(all_applied(&mut read, &[plot], self.today()).await?.remove(&id).unwrap_or_default())
    }

    /// What grew on a plot, newest season first.
    pub async fn grown(&self, actor: &Actor, id: PlotId) -> Result<Vec<Grown>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let seasons = store::plans::seasons(&mut read, plot.site).await?;
        let grown = store::plans::croppings_of_plot(&mut read, id).await?;
        let line = |row: store::plans::CroppingRow| {
            let season = seasons.iter().find(|season| season.id == row.season)?;
            let crop = Crop::find(&row.crop).map_or(row.crop, |crop| crop.name.to_owned());
            Some(Grown { crop, season: season.name.clone(), from: row.sown_on.unwrap_or(season.starts_on) })
        };
        Ok(grown.into_iter().filter_map(line).collect())
    }
}

/// What went on each plot up to a day. Of a plot that it was split off, its share by area;
/// of plots that were merged into it, the whole.
pub(super) async fn all_applied(
    read: &mut Read,
    plots: &[PlotRow],
    to: Date,
) -> Result<BTreeMap<PlotId, Vec<Application>>> {
    let ids: Vec<PlotId> = plots.iter().map(|plot| plot.id).collect();
    let forerunners = store::plots::forerunners(read, &ids).await?;
    let before: BTreeSet<PlotId> = forerunners.values().flatten().copied().collect();
    let everyone: Vec<PlotId> = ids.iter().chain(&before).copied().collect();
    let mut applied = store::applications::of_plots(read, &everyone, Date::MIN, to).await?;
    let mut areas = BTreeMap::new();
    for id in before {
        if let Some(plot) = store::plots::plot(read, id).await? {
            areas.insert(id, plot.area_m2);
        }
    }
    let shares = |plot: &PlotRow| {
        let mut all = applied.get(&plot.id).cloned().unwrap_or_default();
        for parent in forerunners.get(&plot.id).into_iter().flatten() {
            let share = areas.get(parent).map_or(1.0, |area| (plot.area_m2 / area).min(1.0));
            let of_parent = applied.get(parent).into_iter().flatten().cloned();
            all.extend(of_parent.map(|a| Application { mass_g: a.mass_g * share, ..a }));
        }
        all.sort_by_key(|a| (a.applied_on, a.key));
        (plot.id, all)
    };
    let all = plots.iter().map(shares).collect();
    applied.clear();
    Ok(all)
}

/// Doses of the last agreed plans that are not, or not wholly, put on, and what each plot
/// was left short of.
#[derive(Default)]
struct Left {
    open: BTreeMap<PlotId, Vec<OpenDose>>,
    undone: BTreeMap<PlotId, BTreeMap<Element, Undone>>,
}

/// Less than this share of a dose left is a dose put on.
const DOSE_DONE: f64 = 0.02;

async fn left_undone(read: &mut Read, plans: &BTreeMap<PlotId, LastPlan>) -> Result<Left> {
    let mut left = Left::default();
    let distinct: BTreeSet<PlanId> = plans.values().map(|plan| plan.plan).collect();
    for plan in distinct {
        let of_this = |plot: &PlotId| plans.get(plot).filter(|last| last.plan == plan);
        let mut needed: BTreeSet<(PlotId, Element)> = BTreeSet::new();
        for need in store::plans::needs_of(read, plan).await? {
            if need.need_kg_per_ha > 0.0 {
                needed.insert((need.plot, need.element));
            }
            if of_this(&need.plot).is_some() && need.short_g > 0.0 {
                left.undone.entry(need.plot).or_default().entry(need.element).or_default().left_out_g += need.short_g;
            }
        }
        let doses = store::plans::doses_of(read, plan).await?;
        let analyses: Vec<AnalysisId> = doses.iter().map(|dose| dose.analysis).collect();
        let analyses = store::amendments::analyses_by_id(read, &analyses).await?;
        for dose in doses {
            let Some(last) = of_this(&dose.plot) else { continue };
            let left_g = dose.mass_g - dose.applied_g;
            if left_g <= dose.mass_g * DOSE_DONE {
                continue;
            }
            if last.open {
                let open = OpenDose { amendment: dose.amendment_name.clone(), left_g };
                left.open.entry(dose.plot).or_default().push(open);
            }
            let Some(row) = analyses.get(&dose.analysis) else { continue };
            let undone = left.undone.entry(dose.plot).or_default();
            for (element, mass) in row.analysis.supplied(Grams(left_g)) {
                // What a dose carries besides is no need left undone.
                if needed.contains(&(dose.plot, element)) {
                    undone.entry(element).or_default().not_put_on_g += mass.0;
                }
            }
        }
    }
    Ok(left)
}

/// Looks ahead for plots of one site, in a few reads for all of them.
async fn look_ahead(
    read: &mut Read,
    plots: Vec<PlotRow>,
    guideline: &Guideline,
    way: &Way,
    today: Date,
) -> Result<Vec<PlotOutlook>> {
    let ids: Vec<PlotId> = plots.iter().map(|plot| plot.id).collect();
    let mut applied = all_applied(read, &plots, today).await?;
    let mut plans = store::outlook::last_plans(read, &ids).await?;
    let mut left = left_undone(read, &plans).await?;
    let limed = store::outlook::last_limed(read, &ids).await?;
    let crops = store::outlook::crops_from(read, &ids, today).await?;
    let standings = place(read, plots, guideline, today).await?;
    let ahead = |standing: PlotStanding| {
        let id = standing.plot.id;
        let applications = applied.remove(&id).unwrap_or_default();
        let open_doses = left.open.remove(&id).unwrap_or_default();
        let undone = left.undone.remove(&id).unwrap_or_default();
        let plan = plans.remove(&id);
        let crops: Vec<Crop> = crops.get(&id).into_iter().flatten().filter_map(|crop| Crop::find(crop)).collect();
        let agreed_on = plan.as_ref().and_then(|plan| plan.agreed_at);
        let tested_on = standing.present.choices.iter().map(|(a, choice)| (*a, choice.chosen.sampled_on));
        let outlook = outlook(&Situation {
            ground: &standing.plot.ground(),
            standing: &standing.present.standing,
            needs: &standing.needs(way),
            tested_on: tested_on.collect(),
            last_sampled: standing.survey.last_sampled(),
            awaiting: standing
                .samplings
                .iter()
                .rev()
                .find(|one| one.sampling.reports.is_empty())
                .map(|one| one.row.sampled_on),
            applications: &applications,
            limed_on: limed.get(&id).copied(),
            crops: &crops,
            undone: undone.clone(),
            agreed_on: agreed_on.map(|at| TimeZone::UTC.to_datetime(at).date()),
            open_doses: &open_doses,
            today,
        });
        let awaiting = standing.samplings.iter().filter(|one| one.sampling.reports.is_empty());
        let awaiting = awaiting.map(|one| one.row.id).collect();
        PlotOutlook { standing, outlook, applications, plan, open_doses, undone, awaiting, crops }
    };
    Ok(standings.into_iter().map(ahead).collect())
}
