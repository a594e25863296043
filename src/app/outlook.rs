//! What to do next on a plot: what it needs, what was put on since its last test, what the
//! caps still allow and what the last agreed plan left undone. It loads; the trade decides.

use super::standing::PlotStanding;
use crate::agronomy::{
    need::{self, Need, Way},
    standing::NutrientStanding,
};

impl PlotStanding {
    /// What raises one nutrient to its aim, on the plot's own layer.
    pub fn need(&self, nutrient: &NutrientStanding) -> Option<Need> {
        let sampled = self.present.choices.get(&nutrient.analyte).and_then(|choice| choice.chosen.depth);
        need::raise(nutrient, &self.plot.ground(), sampled, &Way::default())
    }

    /// What raises each nutrient that is judged, in the order of the standing.
    pub fn needs(&self) -> Vec<Need> {
        self.present.standing.nutrients.iter().filter_map(|nutrient| self.need(nutrient)).collect()
    }
}
