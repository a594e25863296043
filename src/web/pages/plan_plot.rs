//! One plot of a plan: its standing strip with what the doses add, its needs and its caps.

use super::{
    plan_caps::{Cap, cap},
    plan_carried::carried,
    plan_words::left_words,
    plan_working::working_path,
    plot::track,
    plots::titled,
};
use crate::{
    agronomy::{
        learned_need,
        liking::{Liking, Weighed},
        rate::RateUnit,
        spacing::SPACING,
    },
    app::seasons::{LeftBy, NeedLine, PlanPlot, PlanView},
    ids::PlotId,
    web::{
        chart::{Dose, Strip, Track},
        show,
    },
};

/// A plot with all that the plan says of it.
pub(super) struct PlotBlock {
    pub plot: PlotId,
    pub title: String,
    pub about: String,
    /// How many of its needs are met.
    pub met: String,
    pub strip: Option<Strip>,
    pub needs: Vec<Need>,
    /// What is not short and gets nothing: name and working.
    pub enough: Vec<(String, String)>,
    pub caps: Vec<Cap>,
    /// Caps that the doses do not touch.
    pub quiet: Vec<Cap>,
    /// What lime and what it drives ammonia out of ask of each other here.
    pub spacing: Vec<String>,
    pub manure: Option<String>,
    pub carried: Vec<String>,
    /// Why there is nothing to show.
    pub empty: Option<&'static str>,
}

pub(super) struct Need {
    pub name: String,
    pub rate: String,
    pub grams: String,
    pub supplied: String,
    /// "short 3 g", "over by 12 g", "met".
    pub left: String,
    pub working: String,
    pub why: String,
}

/// Who says how many days lime and manure want between them.
pub(super) fn spacing_source() -> String {
    format!("{}: {}", SPACING.publisher, SPACING.title)
}

fn need(view: &PlanView, plot: &PlanPlot, line: &NeedLine, liking: Liking) -> Need {
    let element = line.need.element;
    let site: RateUnit = view.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    let row = &plot.standing.plot;
    let mass = |grams| show::element_mass(liking.mass(element, grams));
    Need {
        name: liking.name(element),
        rate: show::rate_figure(&liking.by_rate().need(&line.need, row.ground().area, site)),
        grams: mass(line.need_g),
        supplied: mass(line.supplied_g),
        left: left_words(line, liking),
        working: working_path(view.plan.id, row.id, element),
        why: match (line.need_g > 0.0, learned_need::beside(&line.need)) {
            (false, _) => "nothing is short".into(),
            (true, None) => line.need.reason.words().to_owned(),
            (true, Some(by_mass)) => format!(
                "{}, as tests here answered; {} by the mass of the soil",
                line.need.reason.words(),
                show::rate_in(by_mass, &view.site.rate_unit)
            ),
        },
    }
}

/// A plot's nutrients against their aims, each with what the doses add; every figure opens
/// to its working under the plan's own guideline.
fn strip(view: &PlanView, plot: &PlanPlot, liking: Liking) -> Option<Strip> {
    let id = plot.standing.plot.id;
    let ground = plot.standing.plot.ground();
    let nutrients = plot.standing.present.standing.nutrients.iter();
    let tracks: Vec<Track> = nutrients
        .filter(|nutrient| nutrient.aim.is_some())
        .filter_map(|nutrient| {
            let working = working_path(view.plan.id, id, nutrient.analyte.element()?);
            let doses = view.lifts(plot, nutrient).into_iter();
            let doses =
                doses.map(|(product, grams, adds)| Dose { label: format!("{product}, {}", show::mass(grams)), adds });
            Some(Track {
                doses: doses.collect(),
                working: Some(format!("{working}#found")),
                aim_working: Some(format!("{working}#aim")),
                links: vec![("how it comes about".into(), working)],
                why: vec![],
                ..track(id, nutrient, Weighed { ground: &ground, by: view.way.by }, liking)
            })
        })
        .collect();
    let on = plot.standing.survey.last_sampled();
    let caption = on.map_or_else(String::new, |on| format!("Newest sample of {}, with the doses", show::date(on)));
    (!tracks.is_empty()).then_some(Strip { caption, tracks })
}

pub(super) fn plot_block(view: &PlanView, plot: &PlanPlot, over: &[LeftBy], liking: Liking, may: bool) -> PlotBlock {
    let row = &plot.standing.plot;
    let crops: Vec<&str> = plot.crops.iter().map(|crop| crop.name).collect();
    let crops = if crops.is_empty() { "no crop named".to_owned() } else { crops.join(", ") };
    let strip = strip(view, plot, liking);
    let (caps, quiet): (Vec<Cap>, Vec<Cap>) =
        plot.caps.iter().map(|c| cap(view, row.id, c, liking, may)).partition(|cap| cap.touched);
    // What is not short, and of which nothing comes along, is only named.
    let (asked, rest): (Vec<&NeedLine>, Vec<&NeedLine>) =
        plot.needs.iter().partition(|line| line.need_g > 0.0 || line.supplied_g > 0.005);
    let enough = rest.into_iter().map(|line| line.need.element);
    let enough = enough.map(|element| (liking.name(element), working_path(view.plan.id, row.id, element)));
    PlotBlock {
        plot: row.id,
        title: titled(row),
        about: match plot.passes {
            0 => format!("{}; {crops}", show::area(row.area_m2)),
            1 => format!("{}; {crops}; one pass", show::area(row.area_m2)),
            n => format!("{}; {crops}; {n} passes", show::area(row.area_m2)),
        },
        met: match plot.needs_met() {
            (_, 0) => "needs nothing".into(),
            (met, all) => format!("{met} of {} met", show::count(all, "need")),
        },
        empty: (plot.needs.is_empty() && strip.is_none()).then_some(match plot.standing.samplings.is_empty() {
            true => "No soil was tested here, so the plan knows no need.",
            false => "Nothing that was tested here has limits under this guideline.",
        }),
        strip,
        needs: asked.into_iter().map(|line| need(view, plot, line, liking)).collect(),
        enough: enough.collect(),
        caps,
        quiet,
        spacing: plot.spacing.clone(),
        manure: plot.manure.clone(),
        carried: over.iter().flat_map(|over| carried(over, liking)).collect(),
    }
}
