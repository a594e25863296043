//! Slopes of many plots together: each is drawn towards their mean by as much as its own
//! error deserves, so that the most extreme of many uncertain slopes is not taken at face
//! value. Never for fewer than four plots, nor across nutrients or methods.

/// Fewer plots than this say too little about how plots differ.
const PLOTS_NEEDED: usize = 4;

/// One plot's slope after the others have been heard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct ShrunkenSlope {
    pub slope: f64,
    pub se: f64,
    /// Share of the plot's own slope in it, 0 to 1; the rest is the mean of the plots.
    pub own_share: f64,
}

/// The plots together.
#[derive(Clone, Debug, PartialEq)]
pub struct Shrunken {
    /// Mean slope of the plots and its standard error.
    pub mean: f64,
    pub se_mean: f64,
    /// Variance of the true slopes between plots.
    pub between_plots: f64,
    /// Weighted squared distances from the plain mean (Cochran's Q).
    pub q: f64,
    /// In the order given.
    pub plots: Vec<ShrunkenSlope>,
}

/// Shrinks slopes of one nutrient and method, each (slope, standard error, Birge-widened).
///
/// DerSimonian & Laird 1986, Controlled Clinical Trials 7:177, for the variance between
/// plots; empirical Bayes after Efron & Morris 1975. `None` with fewer than four plots or a
/// slope or error that is no number.
pub fn shrink(slopes: &[(f64, f64)]) -> Option<Shrunken> {
    if slopes.len() < PLOTS_NEEDED || !slopes.iter().all(|(b, se)| b.is_finite() && se.is_finite() && *se > 0.0) {
        return None;
    }
    let weighted = |extra: f64| {
        let total: f64 = slopes.iter().map(|(_, se)| 1.0 / (se * se + extra)).sum();
        (slopes.iter().map(|(b, se)| b / (se * se + extra)).sum::<f64>() / total, total)
    };
    let (plain_mean, total) = weighted(0.0);
    let q: f64 = slopes.iter().map(|(b, se)| ((b - plain_mean) / se).powi(2)).sum();
    let squares: f64 = slopes.iter().map(|(_, se)| se.powi(-4)).sum();
    let between_plots = ((q - (slopes.len() - 1) as f64) / (total - squares / total)).max(0.0);
    let (mean, total) = weighted(between_plots);
    let plots = slopes
        .iter()
        .map(|(b, se)| {
            let own_share = between_plots / (between_plots + se * se);
            let variance = own_share * se * se + (1.0 - own_share).powi(2) / total;
            ShrunkenSlope { slope: own_share * b + (1.0 - own_share) * mean, se: variance.sqrt(), own_share }
        })
        .collect();
    Some(Shrunken { mean, se_mean: total.recip().sqrt(), between_plots, q, plots })
}
