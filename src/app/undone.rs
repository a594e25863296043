//! What plans left undone on plots: the one answer that the next plan, the look ahead and the
//! round outside all go by. It counts; it decides no need.

use super::Result;
use crate::{
    agronomy::{
        element::Element,
        need::ENOUGH,
        quantity::{KgPerHa, SquareMetres},
    },
    ids::{PlanId, PlotId},
    store::{
        self, Db,
        plans::{DoseRow, NeedRow, PlanRow, SeasonRow},
        plots::SiteRow,
    },
};
use std::collections::{BTreeMap, BTreeSet};

/// Less than this share of a dose left is a dose put on: nobody weighs or spreads finer.
const DOSE_DONE: f64 = 0.02;

/// What one plan left undone on a plot.
#[derive(Clone, Debug)]
pub struct LeftBy {
    pub plan: PlanRow,
    pub season: SeasonRow,
    /// Elements that the plan asked for there.
    pub needed: BTreeSet<Element>,
    /// Need that a cap, a pack, a budget or a choice stopped, g on the plot, and why it was a need;
    /// of the newest plan of the plot only: it planned what an earlier one left out, or left it
    /// out again.
    pub needs: Vec<NeedRow>,
    /// Doses not put on, or only in part.
    pub doses: Vec<LeftDose>,
}

/// A dose with what is still to be put on of it.
#[derive(Clone, Debug)]
pub struct LeftDose {
    pub row: DoseRow,
    /// Above zero.
    pub left_g: f64,
}

impl LeftBy {
    /// Agreed and not closed: its doses are still to be put on.
    pub fn is_open(&self) -> bool {
        self.plan.state == "agreed"
    }

    /// Nothing was left.
    pub fn is_empty(&self) -> bool {
        self.needs.is_empty() && self.doses.is_empty()
    }
}

impl LeftDose {
    /// A dose that is not, or not wholly, put on. What is left of one that was begun does not
    /// count below a step of the scale, nor of any below [`DOSE_DONE`] of it.
    pub fn of(row: DoseRow, scale_step_g: f64) -> Option<LeftDose> {
        let left_g = row.mass_g - row.applied_g;
        let done = left_g <= row.mass_g * DOSE_DONE || row.applied_g > 0.0 && left_g < scale_step_g;
        (!done).then_some(LeftDose { row, left_g })
    }
}

/// What plans of a site left undone on each plot, the newest first: every agreed plan, and of
/// the closed ones the newest. Before a given plan, where one is given: those of its season
/// and of earlier ones.
pub(super) async fn left_undone(
    db: &mut Db,
    site: &SiteRow,
    before: Option<(&SeasonRow, PlanId)>,
) -> Result<BTreeMap<PlotId, Vec<LeftBy>>> {
    let mut plans: Vec<(SeasonRow, PlanRow)> = Vec::new();
    for season in store::plans::seasons(db, site.id).await? {
        let earlier = |plan: &PlanRow| {
            before.is_none_or(|(this, id)| season.starts_on <= this.starts_on && (season.id != this.id || plan.id < id))
        };
        let of_season = store::plans::plans(db, season.id).await?;
        let of_season = of_season.into_iter().filter(|plan| plan.state != "draft" && earlier(plan));
        plans.extend(of_season.map(|plan| (season.clone(), plan)));
    }
    plans.sort_by_key(|(season, plan)| std::cmp::Reverse((season.starts_on, plan.agreed_at, plan.id)));
    let areas = match plans.is_empty() {
        true => BTreeMap::new(),
        false => store::plots::areas_m2(db, site.id).await?,
    };
    let mut left: BTreeMap<PlotId, Vec<LeftBy>> = BTreeMap::new();
    let mut closed: BTreeSet<PlotId> = BTreeSet::new();
    for (season, plan) in plans {
        let mut plots = store::plans::plots_of(db, plan.id).await?;
        plots.retain(|plot| plan.state == "agreed" || closed.insert(*plot));
        if plots.is_empty() {
            continue;
        }
        let needs = store::plans::needs_of(db, plan.id).await?;
        let doses = store::plans::doses_of(db, plan.id).await?;
        for plot in plots {
            let needs = || needs.iter().filter(move |need| need.plot == plot);
            let doses = doses.iter().filter(|dose| dose.plot == plot).cloned();
            let of_plot = left.entry(plot).or_default();
            let newest = of_plot.is_empty();
            let short = |need: &&NeedRow| newest && is_short(need, areas.get(&plot).copied());
            of_plot.push(LeftBy {
                plan: plan.clone(),
                season: season.clone(),
                needed: needs().filter(|need| need.need_kg_per_ha > 0.0).map(|need| need.element).collect(),
                needs: needs().filter(short).cloned().collect(),
                doses: doses.filter_map(|dose| LeftDose::of(dose, site.scale_step_g)).collect(),
            });
        }
    }
    Ok(left)
}

/// Short by more than a plan takes for met.
fn is_short(need: &NeedRow, area_m2: Option<f64>) -> bool {
    let need_g = KgPerHa(need.need_kg_per_ha).on(SquareMetres(area_m2.unwrap_or(0.0)));
    need.short_g > 0.0 && need.short_g > need_g.0 * ENOUGH
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ids::{AmendmentId, AnalysisId, DoseId};

    fn dose(mass_g: f64, applied_g: f64) -> DoseRow {
        DoseRow {
            id: DoseId(1),
            plan: PlanId(1),
            plot: PlotId(1),
            plot_code: "A1".into(),
            plot_name: String::new(),
            amendment: AmendmentId(1),
            amendment_name: "Borax".into(),
            analysis: AnalysisId(1),
            mass_g,
            locked: false,
            origin: "solved".into(),
            applied_g,
        }
    }

    #[test]
    fn a_dose_put_on_to_the_milligram_or_the_scales_step_is_done_and_one_not_begun_is_not() {
        let left = |mass_g, applied_g, step_g| LeftDose::of(dose(mass_g, applied_g), step_g).map(|d| d.left_g);
        assert_eq!(left(12.3456, 12.345, 1.0), None);
        assert_eq!(left(12.3456, 12.0, 1.0), None);
        assert_eq!(left(300.0, 295.0, 1.0), None);
        assert_eq!(left(300.0, 290.0, 1.0), Some(10.0));
        // Half a gram is mixed into a carrier: not begun, it is open whatever the scale shows.
        assert_eq!(left(0.5, 0.0, 1.0), Some(0.5));
        assert_eq!(left(0.0, 0.0, 1.0), None);
    }
}
