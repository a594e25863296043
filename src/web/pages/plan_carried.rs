//! What earlier plans left undone on the plots of a plan, as its page says it: in one sentence
//! for all, a line to a plot, and with the plot itself. It adds up; it decides no need.

use super::plan_words::in_sentence;
use crate::{
    agronomy::{element::Element, liking::Liking, plan::grams},
    app::seasons::{LeftBy, PlanView},
    ids::PlotId,
    web::show,
};
use std::collections::BTreeMap;

/// What is carried over into a plan.
#[derive(Default)]
pub(super) struct CarriedOver {
    /// All of it in a sentence; empty where nothing is.
    pub lead: String,
    /// Plot, its code, and what was left undone there.
    pub plots: Vec<(PlotId, String, String)>,
}

impl CarriedOver {
    pub(super) fn of(view: &PlanView, over: &BTreeMap<PlotId, Vec<LeftBy>>, liking: Liking) -> CarriedOver {
        let mut plots = Vec::new();
        let mut needs: BTreeMap<Element, f64> = BTreeMap::new();
        let (mut doses, mut seasons) = (0, Vec::new());
        for plot in view.plots.iter().map(|plot| &plot.standing.plot) {
            let Some(left) = over.get(&plot.id) else { continue };
            for one in left {
                one.needs.iter().for_each(|need| *needs.entry(need.element).or_default() += need.short_g);
                doses += one.doses.len();
                if !seasons.contains(&&one.season.name) {
                    seasons.push(&one.season.name);
                }
            }
            let words: Vec<String> = left.iter().flat_map(|one| carried(one, liking)).collect();
            plots.push((plot.id, plot.code.clone(), words.join(" ")));
        }
        if plots.is_empty() {
            return CarriedOver::default();
        }
        let mut needs: Vec<(Element, f64)> = needs.into_iter().collect();
        needs.sort_by(|a, b| b.1.total_cmp(&a.1));
        let mut parts: Vec<String> = needs
            .into_iter()
            .map(|(element, grams)| {
                format!("{} of {}", show::element_mass(liking.mass(element, grams)), in_sentence(liking, element))
            })
            .collect();
        if doses > 0 {
            parts.push(show::count(doses, "dose"));
        }
        let seasons: Vec<&str> = seasons.iter().map(|name| name.as_str()).collect();
        CarriedOver {
            lead: format!(
                "{} left undone on {}: {}.",
                seasons.join(" and "),
                show::count(plots.len(), "plot"),
                parts.join(", ")
            ),
            plots,
        }
    }
}

/// What an earlier plan left undone on a plot, as sentences.
pub(super) fn carried(over: &LeftBy, liking: Liking) -> Vec<String> {
    let season = &over.season;
    let needs = over.needs.iter().map(|need| {
        let (mass, name) = (grams(liking.mass(need.element, need.short_g)), liking.name(need.element));
        format!("{mass} of {} were left undone in {}.", show::uncapitalised(&name), season.name)
    });
    let doses = over.doses.iter().map(|dose| &dose.row).map(|dose| match dose.applied_g > 0.0 {
        true => format!(
            "{}: {} of {} were put on in {}.",
            dose.amendment_name,
            show::mass(dose.applied_g),
            show::mass(dose.mass_g),
            season.name
        ),
        false => format!(
            "{}: {} were planned in {} and not put on.",
            dose.amendment_name,
            show::mass(dose.mass_g),
            season.name
        ),
    });
    needs.chain(doses).collect()
}
