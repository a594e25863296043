//! What a plot has from the plots that it was made from: its share of what went on them, what
//! grows on its ground, when that was last limed. Everybody who counts over a split or a merge
//! asks here, so that a kilogram put on once is counted once.

use super::Result;
use crate::{
    agronomy::{crop::Crop, record::Application},
    ids::{PlotId, SeasonId, SiteId},
    store::{
        self, Db,
        plans::SeasonRow,
        plots::{LineStep, PlotRow},
    },
};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// Plots with the plots that they were made from, all the way back.
pub(super) struct Lineage {
    /// By plot: each forerunner and the share of what happened on it that fell to the plot, 0 to 1.
    shares: BTreeMap<PlotId, BTreeMap<PlotId, f64>>,
}

impl Lineage {
    /// The lines of these plots.
    pub async fn load(db: &mut Db, plots: &[PlotId]) -> Result<Lineage> {
        let steps = store::plots::steps_to(db, plots).await?;
        Ok(Lineage { shares: plots.iter().map(|plot| (*plot, shares(&steps, *plot))).collect() })
    }

    /// The plots themselves and all their forerunners, each once.
    pub fn everyone(&self) -> Vec<PlotId> {
        let all: BTreeSet<PlotId> =
            self.shares.iter().flat_map(|(plot, before)| before.keys().chain([plot])).copied().collect();
        all.into_iter().collect()
    }

    /// The plots that a plot was made from.
    pub fn before(&self, plot: PlotId) -> impl Iterator<Item = PlotId> {
        self.shares.get(&plot).into_iter().flat_map(|before| before.keys().copied())
    }

    /// A plot, all of it, and its forerunners with its share of each.
    pub fn of(&self, plot: PlotId) -> impl Iterator<Item = (PlotId, f64)> {
        let before = self.shares.get(&plot).into_iter().flatten().map(|(id, share)| (*id, *share));
        std::iter::once((plot, 1.0)).chain(before)
    }
}

/// A plot's share of each of its forerunners. Each split passes on a part by area among the
/// plots that it made, each merge the whole; over several generations the parts multiply, and
/// over several ways back to one forerunner they add up.
fn shares(steps: &[LineStep], plot: PlotId) -> BTreeMap<PlotId, f64> {
    let mut shares: BTreeMap<PlotId, f64> = BTreeMap::new();
    let mut open = vec![(plot, 1.0, 0)];
    while let Some((child, share, generation)) = open.pop() {
        // No line is longer than all steps together: a ring, which no garden makes, ends here.
        for step in steps.iter().filter(|step| step.child == child && generation < steps.len()) {
            let part = if step.split && step.together_m2 > 0.0 { step.child_m2 / step.together_m2 } else { 1.0 };
            *shares.entry(step.parent).or_default() += share * part;
            open.push((step.parent, share * part, generation + 1));
        }
    }
    shares
}

/// What went on each plot between two days, both counted, oldest first: its own, and its share
/// of what went on the plots that it was made from.
pub(super) async fn all_applied(
    db: &mut Db,
    plots: &[PlotId],
    from: Date,
    to: Date,
) -> Result<BTreeMap<PlotId, Vec<Application>>> {
    let lineage = Lineage::load(db, plots).await?;
    let applied = store::applications::of_plots(db, &lineage.everyone(), from, to).await?;
    let shared = |plot: PlotId| {
        let mut all: Vec<Application> = Vec::new();
        for (id, share) in lineage.of(plot) {
            let of_one = applied.get(&id).into_iter().flatten().cloned();
            all.extend(of_one.map(|a| Application { mass_g: a.mass_g * share, ..a }));
        }
        all.sort_by_key(|a| (a.applied_on, a.key));
        (plot, all)
    };
    Ok(plots.iter().map(|plot| shared(*plot)).collect())
}

/// When lime last went on each plot's ground, where it ever did.
pub(super) async fn last_limed(db: &mut Db, plots: &[PlotId]) -> Result<BTreeMap<PlotId, Date>> {
    let lineage = Lineage::load(db, plots).await?;
    let limed = store::outlook::last_limed(db, &lineage.everyone()).await?;
    let last = |plot: PlotId| lineage.of(plot).filter_map(|(id, _)| limed.get(&id).copied()).max();
    Ok(plots.iter().filter_map(|plot| Some((*plot, last(*plot)?))).collect())
}

/// What raises pH and went on a plot between two days, both counted: its own, and its share of
/// what went on the plots that it was made from.
pub(super) async fn lime_doses(
    db: &mut Db,
    plot: PlotId,
    from: Date,
    to: Date,
) -> Result<Vec<store::outlook::LimeDose>> {
    let lineage = Lineage::load(db, &[plot]).await?;
    let shares: BTreeMap<PlotId, f64> = lineage.of(plot).collect();
    let mut doses = store::outlook::lime_doses(db, &lineage.everyone(), from, to).await?;
    for dose in &mut doses {
        dose.mass_g *= shares.get(&dose.plot).copied().unwrap_or(0.0);
    }
    Ok(doses)
}

/// The crops that set what each plot may be given on a day: those of the season that the day
/// lies in, or comes before, and of the one after it; and those of a plan's own season, where
/// one is given. What was sown before a split or a merge still grows. A crop that is not known
/// here counts as one that will bear little.
pub(super) async fn crops_on(
    db: &mut Db,
    site: SiteId,
    plots: &[PlotId],
    on: Date,
    own: Option<SeasonId>,
) -> Result<BTreeMap<PlotId, Vec<Crop>>> {
    let seasons = seasons_from(db, site, on).await?;
    let near: BTreeSet<SeasonId> = seasons.iter().take(2).map(|season| season.id).chain(own).collect();
    crops_of(db, plots, &near).await
}

/// The season that a day lies in or comes before, where one is on record.
pub(super) async fn season_on(db: &mut Db, site: SiteId, on: Date) -> Result<Option<SeasonRow>> {
    Ok(seasons_from(db, site, on).await?.into_iter().next())
}

/// The seasons that have not ended on a day, first to last.
async fn seasons_from(db: &mut Db, site: SiteId, on: Date) -> Result<Vec<SeasonRow>> {
    let mut seasons = store::plans::seasons(db, site).await?;
    seasons.retain(|season| season.ends_on >= on);
    seasons.sort_by_key(|season| (season.starts_on, season.id));
    Ok(seasons)
}

/// The crops of some seasons on each plot. What was sown before a split or a merge still grows.
pub(super) async fn crops_of(
    db: &mut Db,
    plots: &[PlotId],
    seasons: &BTreeSet<SeasonId>,
) -> Result<BTreeMap<PlotId, Vec<Crop>>> {
    let lineage = Lineage::load(db, plots).await?;
    let mut grown: BTreeMap<PlotId, Vec<Crop>> = BTreeMap::new();
    for season in seasons {
        for row in store::plans::croppings(db, *season).await? {
            grown.entry(row.plot).or_default().push(Crop::known_or_cautious(&row.crop));
        }
    }
    let of_line = |plot: PlotId| {
        let mut crops: Vec<Crop> = Vec::new();
        for crop in lineage.of(plot).filter_map(|(id, _)| grown.get(&id)).flatten() {
            if !crops.contains(crop) {
                crops.push(*crop);
            }
        }
        (plot, crops)
    };
    Ok(plots.iter().map(|plot| of_line(*plot)).collect())
}

/// The numbers of plots.
pub(super) fn ids(plots: &[PlotRow]) -> Vec<PlotId> {
    plots.iter().map(|plot| plot.id).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(parent: i64, child: i64, split: bool, child_m2: f64, together_m2: f64) -> LineStep {
        LineStep { parent: PlotId(parent), child: PlotId(child), split, child_m2, together_m2 }
    }

    #[test]
    fn a_kilogram_stays_one_over_two_generations() {
        // A (1) and B (2), 20 m² each, become C (3) of 40; C becomes D (4) of 10 and E (5) of 30.
        let steps = [
            step(1, 3, false, 40.0, 0.0),
            step(2, 3, false, 40.0, 0.0),
            step(3, 4, true, 10.0, 40.0),
            step(3, 5, true, 30.0, 40.0),
        ];
        let (d, e) = (shares(&steps, PlotId(4)), shares(&steps, PlotId(5)));
        for parent in [1, 2, 3].map(PlotId) {
            assert_eq!((d[&parent], e[&parent]), (0.25, 0.75));
        }
        assert_eq!(shares(&steps, PlotId(3)), BTreeMap::from([(PlotId(1), 1.0), (PlotId(2), 1.0)]));
        assert!(shares(&steps, PlotId(1)).is_empty());
    }

    #[test]
    fn a_plot_split_and_put_together_again_has_all_of_it_and_a_ring_ends() {
        let steps = [
            step(1, 2, true, 5.0, 20.0),
            step(1, 3, true, 15.0, 20.0),
            step(2, 4, false, 20.0, 0.0),
            step(3, 4, false, 20.0, 0.0),
        ];
        assert_eq!(shares(&steps, PlotId(4))[&PlotId(1)], 1.0);
        let ring = [step(1, 2, false, 1.0, 0.0), step(2, 1, false, 1.0, 0.0)];
        assert!(shares(&ring, PlotId(1)).values().all(|share| share.is_finite()));
    }
}
