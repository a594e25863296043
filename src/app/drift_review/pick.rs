//! Which rows of a review somebody wants to see, and in what order.

use super::SiteDrift;
use crate::{
    agronomy::{analyte::Analyte, drift::PlotDrift, ground::Cover},
    app::plots::PlotRow,
    ids::BlockId,
};

/// What comes first.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Order {
    /// The lowest share of the aim.
    #[default]
    Worst,
    /// The fastest fall, in errors of one test a year.
    Falling,
    /// The fastest rise.
    Rising,
    /// The slope that its tests say least of.
    Uncertain,
    /// The order of the site's own list.
    Plot,
}

impl Order {
    /// Every order with its key and its words.
    pub const ALL: [(Order, &'static str, &'static str); 5] = [
        (Order::Worst, "worst", "lowest against the aim"),
        (Order::Falling, "falling", "falling fastest"),
        (Order::Rising, "rising", "rising fastest"),
        (Order::Uncertain, "uncertain", "least certain"),
        (Order::Plot, "plot", "plot by plot"),
    ];

    /// The order under a key; an unknown key is the first.
    pub fn of(key: &str) -> Order {
        Order::ALL.iter().find(|(_, known, _)| *known == key).map_or(Order::default(), |(order, _, _)| *order)
    }

    /// Smaller comes first; `None` comes last. Where plots are drawn so far together that they move
    /// alike, the second number tells them apart: how each moves by its own tests.
    fn place(self, row: &PlotDrift) -> Option<(f64, f64)> {
        let own = row.slope.map_or(0.0, |(slope, _)| slope);
        match self {
            Order::Worst => row.now().and_then(|year| year.ratio).map(|ratio| (ratio, 0.0)),
            Order::Falling => row.speed().map(|speed| (speed, own)),
            Order::Rising => row.speed().map(|speed| (-speed, -own)),
            Order::Uncertain => row.uncertainty().map(|uncertainty| (-uncertainty, 0.0)),
            Order::Plot => None,
        }
    }
}

/// Which rows.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wanted {
    pub nutrient: Option<Analyte>,
    pub block: Option<BlockId>,
    pub cover: Option<Cover>,
    /// Slug of a crop that grows there.
    pub crop: Option<String>,
    pub order: Order,
}

impl SiteDrift {
    /// The rows wanted, each with its plot, in the order wanted.
    pub fn pick(&self, wanted: &Wanted) -> Vec<(&PlotRow, &PlotDrift)> {
        let here = |plot: &PlotRow| {
            let grows = |crop: &String| self.crops.get(&plot.id).is_some_and(|all| all.iter().any(|c| c.slug == crop));
            wanted.block.is_none_or(|block| plot.block == Some(block))
                && wanted.cover.is_none_or(|cover| plot.cover == cover)
                && wanted.crop.as_ref().is_none_or(grows)
        };
        let here: Vec<bool> = self.plots.iter().map(here).collect();
        let rows = self.rows.iter().filter(|(at, row)| here[*at] && wanted.nutrient.is_none_or(|n| n == row.analyte));
        let mut rows: Vec<(Option<(f64, f64)>, &PlotRow, &PlotDrift)> =
            rows.map(|(at, row)| (wanted.order.place(row), &self.plots[*at], row)).collect();
        // Stable: what is alike stays in the order of the plots.
        rows.sort_by(|(a, _, _), (b, _, _)| match (a, b) {
            (Some(a), Some(b)) => a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)),
            (a, b) => a.is_none().cmp(&b.is_none()),
        });
        rows.into_iter().map(|(_, plot, row)| (plot, row)).collect()
    }

    /// What may be filtered by crop: slug and name of each that grows somewhere.
    pub fn crops_grown(&self) -> Vec<(&'static str, &'static str)> {
        let mut crops: Vec<_> = self.crops.values().flatten().map(|crop| (crop.slug, crop.name)).collect();
        crops.sort_unstable_by_key(|(_, name)| *name);
        crops.dedup();
        crops
    }

    /// How many rows are surely falling, and how many rising, once the plots are drawn together.
    pub fn moving(&self) -> (usize, usize) {
        let drawn = || self.rows.iter().filter_map(|(_, row)| row.drawn).filter(|drawn| drawn.is_moving());
        let falling = drawn().filter(|drawn| drawn.slope < 0.0).count();
        (falling, drawn().count() - falling)
    }
}
