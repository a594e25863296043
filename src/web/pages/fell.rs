//! Where the results of a sampling fell against what the plan before it expected of them.

use super::{
    calibration::{forecast_path, test_name},
    plot::trend_path,
};
use crate::{agronomy::forecast::Fell, app::forecasts::ForecastResult, web::show};

/// Results against the bands of the newest plan before them.
pub(super) struct FellView {
    pub lead: String,
    /// Those that fell outside, and the others: the nutrient, its trend, what was expected and found.
    pub outside: Vec<FellLine>,
    pub inside: Vec<FellLine>,
}

pub(super) struct FellLine {
    pub name: String,
    pub trend: String,
    pub words: String,
    /// Where the forecast is opened.
    pub path: String,
}

impl FellView {
    /// `None` where no plan expected any of them.
    pub fn of(results: &[ForecastResult]) -> Option<FellView> {
        let line = |result: &ForecastResult| FellLine {
            name: format!("{}, {}", result.plot_code, test_name(result)),
            trend: trend_path(result.row.plot, result.row.analyte),
            words: result.words(),
            path: forecast_path(result.row.id),
        };
        let is_outside = |result: &&ForecastResult| {
            result.came.as_ref().is_some_and(|(_, fell)| matches!(fell, Fell::Below | Fell::Above))
        };
        let (outside, inside): (Vec<_>, Vec<_>) = results.iter().partition(is_outside);
        let first = results.first()?;
        let seasons = match results.iter().all(|result| result.season == first.season) {
            true => format!("the plan of {}", first.season),
            false => "the plans".into(),
        };
        let foreseen = show::count(results.len(), "result");
        let lead = match (outside.len(), results.len()) {
            (0, 1) => format!("The one result that {seasons} foresaw fell inside its band."),
            (0, _) => format!("All of the {foreseen} that {seasons} foresaw fell inside their bands."),
            (n, all) if n == all => format!("Of the {foreseen} that {seasons} foresaw, none fell inside its band."),
            (n, all) => format!("Of the {foreseen} that {seasons} foresaw, {} fell inside the band.", all - n),
        };
        Some(FellView {
            lead,
            outside: outside.into_iter().map(line).collect(),
            inside: inside.into_iter().map(line).collect(),
        })
    }
}
