//! What to do next: what each plot needs, what was put on since its last test, what the caps
//! still allow and what the last agreed plan left undone. It loads; the trade decides.

use super::{
    Actor, App, Result, Role,
    access::found,
    guidelines, lineage,
    plots::{PlotRow, SiteRow},
    standing::{PlotStanding, place_now},
    undone::{LeftBy, left_undone},
};
use crate::{
    agronomy::{
        crop::Crop,
        element::Element,
        guideline::Guideline,
        liking::Liking,
        need::{self, By, Need, Way},
        outlook::{OpenDose, Outlook, Situation, Undone, outlook},
        quantity::{Grams, LayerConvention},
        record::Application,
        standing::NutrientStanding,
    },
    ids::{AnalysisId, PlanId, PlotId, SamplingId, SiteId},
    store::{self, Read, amendments::AnalysisRow},
};
use jiff::{civil::Date, tz::TimeZone};
use std::{borrow::Cow, collections::BTreeMap};

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
    /// Doses of agreed plans still to be put on.
    pub open_doses: Vec<OpenDose>,
    /// Which plans those are of: number, name and how many.
    pub open_plans: Vec<(PlanId, String, usize)>,
    /// What doses of agreed plans that are still to be put on bring of each element that was needed, g.
    pub promised: BTreeMap<Element, f64>,
    /// What plans left undone, by element.
    pub undone: BTreeMap<Element, Undone>,
    /// Samplings for which no report has come.
    pub awaiting: Vec<SamplingId>,
    /// Of this season and the next.
    pub crops: Vec<Crop>,
    /// Of this season alone.
    pub growing: Vec<Crop>,
}

/// The plots in use of a site.
#[derive(Clone, Debug)]
pub struct SiteOutlook {
    pub site: SiteRow,
    pub guideline: Cow<'static, Guideline>,
    pub plots: Vec<PlotOutlook>,
}

/// How needs are weighed on a site: by the mass of soil that it settled on, else by each plot's own layer.
pub fn way_of(site: &SiteRow) -> Way {
    let convention = site.layer.as_deref().and_then(LayerConvention::find);
    Way { by: convention.map_or(By::OwnLayer, By::Convention), ..Way::default() }
}

impl PlotStanding {
    /// What one nutrient asks for in a season of these crops.
    pub fn need(&self, nutrient: &NutrientStanding, way: &Way, growing: &[Crop]) -> Option<Need> {
        let sampled = self.present.choices.get(&nutrient.analyte).and_then(|choice| choice.chosen.depth);
        need::of_season(&self.present.standing, nutrient, &self.plot.ground(), sampled, way, growing)
    }

    /// What each nutrient that is judged asks for, in the order of the standing.
    pub fn needs(&self, way: &Way, growing: &[Crop]) -> Vec<Need> {
        self.present.standing.nutrients.iter().filter_map(|nutrient| self.need(nutrient, way, growing)).collect()
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
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let ahead = look_ahead(&mut read, &site, vec![plot], &guideline, self.today(), actor.liking, None).await?.pop();
        Ok((site, guideline, found(ahead, "plot")?))
    }

    /// What to do next on every plot in use of a site.
    pub async fn site_outlook(&self, actor: &Actor, id: SiteId) -> Result<SiteOutlook> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let plots = store::plots::plots(&mut read, id, false).await?;
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let plots = look_ahead(&mut read, &site, plots, &guideline, self.today(), actor.liking, None).await?;
        Ok(SiteOutlook { site, guideline, plots })
    }

    /// What was put on a plot up to today, oldest first, with its share of what went on the
    /// plots that it was made from.
    pub async fn put_on(&self, actor: &Actor, id: PlotId) -> Result<Vec<Application>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        found(store::plots::plot(&mut read, id).await?, "plot")?;
        Ok(lineage::all_applied(&mut read, &[id], Date::MIN, self.today()).await?.remove(&id).unwrap_or_default())
    }
}

/// What plans left undone on a plot, as the trade takes it: what is open, what that brings of each
/// element that was needed (g), and what was left undone by element.
fn undone(
    left: &[LeftBy],
    analyses: &BTreeMap<AnalysisId, AnalysisRow>,
) -> (Vec<OpenDose>, BTreeMap<Element, f64>, BTreeMap<Element, Undone>) {
    let mut undone: BTreeMap<Element, Undone> = BTreeMap::new();
    let mut promised: BTreeMap<Element, f64> = BTreeMap::new();
    for need in left.iter().flat_map(|one| &one.needs) {
        undone.entry(need.element).or_default().left_out_g += need.short_g;
    }
    let open = |left: &&LeftBy| left.is_open();
    let any_open = left.iter().any(|one| one.is_open() && !one.doses.is_empty());
    // What a closed plan did not put on nobody will put on, unless a new plan says so.
    let counted = left.iter().filter(|one| one.is_open() || !any_open);
    for (one, dose) in counted.flat_map(|one| one.doses.iter().map(move |dose| (one, dose))) {
        let Some(row) = analyses.get(&dose.row.analysis) else { continue };
        // As it counts against a need.
        for (element, mass) in row.analysis.supplied_first_year(Grams(dose.left_g)) {
            // What a dose carries besides is no need left undone.
            if one.needed.contains(&element) {
                undone.entry(element).or_default().not_put_on_g += mass.0;
                if one.is_open() {
                    *promised.entry(element).or_default() += mass.0;
                }
            }
        }
    }
    let doses = left.iter().filter(open).flat_map(|one| &one.doses);
    let doses = doses.map(|dose| OpenDose { amendment: dose.row.amendment_name.clone(), left_g: dose.left_g });
    (doses.collect(), promised, undone)
}

/// What doses of agreed plans that are still to be put on bring of each element that was needed, g
/// on each plot: of what was left undone there.
pub(super) async fn promised(
    read: &mut Read,
    left: &BTreeMap<PlotId, Vec<LeftBy>>,
) -> Result<BTreeMap<PlotId, BTreeMap<Element, f64>>> {
    let analyses = analyses_of(read, left).await?;
    Ok(left.iter().map(|(plot, left)| (*plot, undone(left, &analyses).1)).collect())
}

/// The analyses that the doses left undone were agreed with.
async fn analyses_of(
    read: &mut Read,
    left: &BTreeMap<PlotId, Vec<LeftBy>>,
) -> Result<BTreeMap<AnalysisId, AnalysisRow>> {
    let doses = left.values().flatten().flat_map(|one| &one.doses);
    let analyses: Vec<AnalysisId> = doses.map(|dose| dose.row.analysis).collect();
    Ok(store::amendments::analyses_by_id(read, &analyses).await?)
}

/// Looks ahead for plots of one site, in a few reads for all of them; from these samplings
/// only, where it is known that nothing rests on the others.
pub(super) async fn look_ahead(
    read: &mut Read,
    site: &SiteRow,
    plots: Vec<PlotRow>,
    guideline: &Guideline,
    today: Date,
    liking: Liking,
    only: Option<&[SamplingId]>,
) -> Result<Vec<PlotOutlook>> {
    let (ids, way) = (lineage::ids(&plots), way_of(site));
    let mut applied = lineage::all_applied(read, &ids, Date::MIN, today).await?;
    let mut plans = store::outlook::last_plans(read, &ids).await?;
    let mut left = left_undone(read, site, None).await?;
    let analyses = analyses_of(read, &left).await?;
    let limed = lineage::last_limed(read, &ids).await?;
    let season = lineage::season_on(read, site.id, today).await?;
    let now = season.iter().map(|season| season.id).collect();
    let mut growing = lineage::crops_of(read, &ids, &now).await?;
    let season_from = season.map(|season| season.starts_on);
    let standings = place_now(read, plots, guideline, today, only).await?;
    let ahead = |standing: PlotStanding| {
        let id = standing.plot.id;
        let applications = applied.remove(&id).unwrap_or_default();
        let left = left.remove(&id).unwrap_or_default();
        let (open_doses, promised, undone) = undone(&left, &analyses);
        let open_plans = left.iter().filter(|one| one.is_open() && !one.doses.is_empty());
        let open_plans = open_plans.map(|one| (one.plan.id, one.plan.name.clone(), one.doses.len())).collect();
        let plan = plans.remove(&id);
        let crops = standing.crops.clone();
        let growing = growing.remove(&id).unwrap_or_default();
        let agreed_on = plan.as_ref().and_then(|plan| plan.agreed_at);
        let outlook = outlook(&Situation {
            ground: &standing.plot.ground(),
            standing: &standing.present.standing,
            season_from,
            needs: &standing.needs(&way, &growing),
            tested_on: standing.present.tested_on(),
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
            liking,
            by: way.by,
            today,
        });
        let awaiting = standing.samplings.iter().filter(|one| one.sampling.reports.is_empty());
        let awaiting = awaiting.map(|one| one.row.id).collect();
        PlotOutlook {
            standing,
            outlook,
            applications,
            plan,
            open_doses,
            open_plans,
            promised,
            undone,
            awaiting,
            crops,
            growing,
        }
    };
    Ok(standings.into_iter().map(ahead).collect())
}
