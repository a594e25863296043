//! What a quick search found out about plots, so that the next, for the same garden with one thing
//! changed, need not find it out again. Must never hold for a plot that is not what it was.

use super::super::bed::Bed;
use super::super::clean::Plot;
use super::super::face::Face;
use super::super::shares::Choice;

/// What plots have on their own, by key, and what was chosen among where they share.
#[derive(Clone, Default)]
pub(in super::super) struct Known {
    plots: Vec<(Plot, (Face, Bed))>,
    /// The packs and products that were chosen.
    pub choice: Option<Choice>,
    /// What it has of each product with the packs that it buys, g.
    pub had_g: Option<Vec<f64>>,
}

impl Known {
    pub fn of<'a>(plots: impl Iterator<Item = (&'a Plot, Option<(Face, Bed)>)>) -> Known {
        let mut plots: Vec<_> = plots.filter_map(|(plot, found)| Some((plot.clone(), found?))).collect();
        plots.sort_by_key(|(plot, _)| plot.key);
        Known { plots, choice: None, had_g: None }
    }

    /// The doses that are best for this plot, where it has the needs and limits that it had, and
    /// what it may have is the same but for products that none of those doses uses.
    pub fn face(&self, plot: &Plot) -> Option<&(Face, Bed)> {
        let at = self.plots.binary_search_by_key(&plot.key, |(known, _)| known.key).ok()?;
        let (known, found) = &self.plots[at];
        let limits = |plot: &Plot| plot.limits.iter().map(|l| (l.free, l.per_gram.clone())).collect::<Vec<_>>();
        let mut most = known.most.iter().zip(&plot.most).zip(&found.0.most);
        let same = known.targets == plot.targets
            && known.locked_g == plot.locked_g
            && known.most.len() == plot.most.len()
            && most.all(|((was, is), used)| was == is || *is == 0.0 && *used == 0.0)
            && limits(known) == limits(plot);
        same.then_some(found)
    }
}

impl std::fmt::Debug for Known {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "Known of {} plots", self.plots.len())
    }
}
