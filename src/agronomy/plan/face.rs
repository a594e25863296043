//! One plot on its own: the least shortage, then the least excess that goes with it, and
//! every dose that is as good. What is as good is a face of the polyhedron of allowed doses;
//! [`face`] gives a point of it and the range of each rate over it, so that the later goals,
//! which all plots share, are settled on what is really left to choose.
//!
//! Must never return an answer that it has not checked against the plot itself.

use super::bed::Bed;
use super::clean::{Plot, Target};
use super::tableau::NONE;

/// The doses that give a plot its least shortage and then its least excess.
#[derive(Clone, Debug)]
pub(super) struct Face {
    /// One of them, g/m² by product.
    pub rates: Vec<f64>,
    /// The least and the most of each product in any of them, g/m².
    pub least: Vec<f64>,
    pub most: Vec<f64>,
    /// Per target: the shortage and the excess that all of them have, where there is only one.
    pub short: Vec<Option<f64>>,
    pub over: Vec<Option<f64>>,
    /// Per limit: all of them use it up.
    pub used_up: Vec<bool>,
}

/// The optimal face of a plot planned on its own; `None` where rounding spoilt the search, which
/// then is the general solver's to make.
pub(super) fn face(plot: &Plot) -> Option<(Face, Bed)> {
    let mut bed = Bed::new(plot);
    let (free, open) = (vec![0.0; plot.most.len()], vec![true; plot.most.len()]);
    bed.settle((1.0, 0.0), &free, &open, NONE)?;
    bed.settle((0.0, 1.0), &free, &open, NONE)?;
    let face = of(plot, &bed, None)?;
    Some((face, bed))
}

/// The face on which a plot stands: with these rates of it, or with those where the plot is now.
pub(super) fn of(plot: &Plot, bed: &Bed, rates: Option<&[f64]>) -> Option<Face> {
    let Bed { now: tableau, columns, .. } = bed;
    let n = plot.most.len();
    let mut face = Face {
        rates: vec![0.0; n],
        least: vec![0.0; n],
        most: vec![0.0; n],
        short: vec![None; plot.targets.len()],
        over: vec![None; plot.targets.len()],
        used_up: vec![false; plot.limits.len()],
    };
    let values = tableau.values();
    for &(p, column) in &columns.rate {
        let (least, most) = tableau.range(column, values[column])?;
        // What is left of rounding is nothing; all else must stay, or the rows no longer add up.
        let inside = |share: f64| if share < 1e-11 { 0.0 } else { share.min(1.0) * plot.most[p] };
        let value = rates.map_or_else(|| inside(values[column]), |rates| rates[p]);
        (face.least[p], face.most[p]) = match most - least > 1e-9 {
            true => (inside(least).min(value), inside(most).max(value)),
            false => (value, value),
        };
        face.rates[p] = without_dust(plot, p, value);
    }
    for &(t, column) in &columns.short {
        face.short[t] = tableau.barred[column].then_some(values[column]);
    }
    for &(t, column) in &columns.over {
        face.over[t] = tableau.barred[column].then_some(values[column]);
    }
    for &(limit, column) in &columns.slack {
        face.used_up[limit] = tableau.barred[column];
    }
    let allowed = plot.limits.iter().all(|limit| {
        let used: f64 = limit.per_gram.iter().zip(&face.rates).map(|(c, r)| c * r).sum();
        limit.free <= 0.0 || used <= limit.free * (1.0 + 1e-9)
    });
    let short = |t: &Target, r: &[f64]| super::stages::short_and_over(t, r).0;
    let over = |t: &Target, r: &[f64]| super::stages::short_and_over(t, r).1;
    // Where a goal has one value on the face, or the plot's own point is meant, it must be told again.
    let told = |which: &[(usize, usize)], fixed: &[Option<f64>], of: fn(&Target, &[f64]) -> f64| {
        which.iter().filter(|(t, _)| rates.is_none() || fixed[*t].is_some()).all(|&(t, column)| {
            let value = of(&plot.targets[t], &face.rates);
            (value - values[column]).abs() <= 2e-6 * (1.0 + value)
        })
    };
    (allowed && told(&columns.short, &face.short, short) && told(&columns.over, &face.over, over)).then_some(face)
}

/// Nothing, where the rate is too small to serve any need.
pub(super) fn without_dust(plot: &Plot, p: usize, rate: f64) -> f64 {
    // Less than a millionth of every need it serves is what is left of a solver's tolerance.
    let dust = plot.targets.iter().all(|t| t.need <= 0.0 || t.supply[p] * rate < 1e-6 * t.need);
    if dust { 0.0 } else { rate }
}
