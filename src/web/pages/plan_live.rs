//! What the table of a plan says while doses are typed: how each plot comes out, beside its
//! fields, and the whole plan in one line that stays in sight.

use super::plan_words::{in_sentence, left_words};
use crate::{
    agronomy::liking::Liking,
    app::seasons::{PlanPlot, PlanView},
    web::show,
};

/// How many of what is not met a line names.
const NAMED: usize = 3;

/// How a plot comes out: "1 of 3 needs met; potassium 163 g short; 1 cap exceeded".
pub(super) fn plot_words(plot: &PlanPlot, liking: Liking) -> String {
    let (met, all) = plot.needs_met();
    let mut parts = vec![match all {
        0 => "needs nothing".to_owned(),
        _ => format!("{met} of {} met", show::count(all, "need")),
    }];
    let short = plot.needs.iter().filter(|line| line.need_g > 0.0 && !line.is_met());
    let short: Vec<String> =
        short.map(|line| format!("{} {}", in_sentence(liking, line.need.element), left_words(line, liking))).collect();
    parts.extend(short.iter().take(NAMED).cloned());
    if short.len() > NAMED {
        parts.push(format!("{} more short", short.len() - NAMED));
    }
    let exceeded = plot.caps.iter().filter(|cap| cap.exceeded && cap.used_g > 0.0).count();
    if exceeded > 0 {
        parts.push(format!("{} exceeded", show::count(exceeded, "cap")));
    }
    parts.join("; ")
}

/// The whole plan: "39 of 49 needs met. £63.80 to pay for 2 products. 292 kg to carry."
pub(super) fn plan_words(view: &PlanView) -> String {
    let (met, all) = view.needs_met();
    let bought = view.shopping.iter().filter(|line| !line.packs.is_empty());
    let unpriced = bought.clone().filter(|line| line.cost_minor.is_none()).count();
    let money = show::money(view.cost_minor.round() as i64, &view.site.currency);
    let pay = match (bought.count(), unpriced) {
        (0, _) => "Nothing to buy".to_owned(),
        (all, unknown) if all == unknown => format!("{} to buy, price not known", show::count(all, "product")),
        (all, 0) => format!("{money} to pay for {}", show::count(all, "product")),
        (all, unknown) => format!("{money} to pay for {}, {unknown} without a price", show::count(all, "product")),
    };
    format!("{met} of {} met. {pay}. {} to carry.", show::count(all, "need"), show::mass(view.mass_g))
}
