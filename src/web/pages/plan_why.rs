//! Why a plan is as it is: what each product does and costs, what stopped each need that is not
//! met, what comes along that nobody needs, and what would be otherwise.

use super::{
    plan_caps::{caps_read, percent},
    plan_words::{capitalised, together},
    plans::under_plan,
    plot::{html, page_text},
};
use crate::{
    agronomy::{
        element::Element,
        liking::Liking,
        plan::{Change, Merit, Serves},
    },
    app::seasons::{Difference, PlanView, PlanWhy, Stopped, Tally, Tried},
    ids::PlanId,
    web::{error::Result, guard::Cx, halves::in_halves, show, view::Frame},
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{extract::Path, response::Response};

/// The reasons of a plan.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/why.html")]
pub struct WhyPage {
    frame: Frame,
    plan: PlanId,
    draft: bool,
    /// How many needs are met, in a sentence.
    lead: String,
    products: Vec<Product>,
    /// Needs that are not met: kinds of what stopped them, and the sentence.
    stopped: Vec<(String, String)>,
    /// Needs that are not met and of which only so much is known.
    left: Vec<String>,
    /// Doses were changed by hand, so the planner's reasons are gone.
    edited: bool,
    /// What comes along beyond need, a sentence to an element.
    beyond: Vec<String>,
    /// As it is: needs met, missing, beyond, cost.
    base: Option<[String; 4]>,
    tried: Option<Vec<Line>>,
    untried: usize,
    poor: bool,
    /// What would be otherwise is still being tried.
    waiting: bool,
}

/// A product and what it does.
struct Product {
    name: String,
    /// "320 g on 5 plots".
    given: String,
    cost: String,
    serves: Vec<String>,
}

/// Something that was tried.
struct Line {
    what: String,
    /// What it changes, as a sentence.
    words: String,
    /// Needs met, missing, beyond need, cost.
    figures: [String; 4],
}

/// What a product costs, in words.
fn cost(merit: &Merit, view: &PlanView) -> String {
    match merit.cost_minor {
        Some(0.0) => "nothing to buy".into(),
        Some(minor) => show::money(minor.round() as i64, &view.site.currency),
        None => "price not known".into(),
    }
}

fn serves(serves: &Serves, liking: Liking) -> Option<String> {
    let mass = |grams| show::element_mass(liking.mass(serves.element, grams));
    if serves.useful_g < 1e-6 * serves.need_g || serves.need_g <= 0.0 {
        return None;
    }
    let share = show::percent(serves.useful_g / serves.need_g);
    Some(format!("{}: {}, {share} of the need", liking.name(serves.element), mass(serves.useful_g)))
}

/// What comes along beyond need, element by element, with the products that bring it.
fn beyond(merits: &[Merit], liking: Liking) -> Vec<String> {
    let of = |element: Element| {
        let bring = merits.iter().filter_map(move |merit| {
            let serves = merit.serves.iter().find(|serves| serves.element == element)?;
            // Less than a hundredth of the need, or than the scale tells, is not worth a word.
            (serves.beyond_g > 0.01 * serves.need_g && serves.beyond_g > 0.005).then_some((merit, serves.beyond_g))
        });
        let bring: Vec<_> = bring.collect();
        let all: f64 = bring.iter().map(|(_, grams)| grams).sum();
        let mass = |grams| show::element_mass(liking.mass(element, grams));
        let from: Vec<String> =
            bring.iter().map(|(merit, grams)| format!("{} by {}", mass(*grams), merit.product)).collect();
        let name = capitalised(&liking.name(element));
        (!bring.is_empty()).then(|| format!("{name}: {} more than needed, {}.", mass(all), from.join(", ")))
    };
    Element::ALL.iter().filter_map(|element| of(*element)).collect()
}

/// Needs that one thing stopped, all plots together.
fn stopped(list: &[Stopped], liking: Liking) -> Vec<(String, String)> {
    let mut groups: Vec<(&Stopped, Vec<&str>, f64, f64)> = Vec::new();
    for one in list {
        let same = |(first, ..): &&mut (&Stopped, Vec<&str>, f64, f64)| {
            first.element == one.element && first.reasons == one.reasons
        };
        match groups.iter_mut().find(same) {
            Some((_, plots, short, need)) => {
                plots.push(&one.plot);
                *short += one.short_g;
                *need += one.need_g;
            }
            None => groups.push((one, vec![&one.plot], one.short_g, one.need_g)),
        }
    }
    let line = |(first, plots, short, need): (&Stopped, Vec<&str>, f64, f64)| {
        let mass = |grams| show::element_mass(liking.mass(first.element, grams));
        let reasons = if first.reasons.is_empty() { String::new() } else { format!(": {}", first.reasons.join("; ")) };
        let name = capitalised(&liking.name(first.element));
        let all = if plots.len() > 1 { " in all" } else { "" };
        let said = format!("{name} on {}: {} of {} missing{all}{reasons}.", plots.join(", "), mass(short), mass(need));
        (capitalised(&first.kinds.join(", ")), said)
    };
    groups.into_iter().map(line).collect()
}

/// A change, as the beginning of a sentence.
fn what(tried: &Tried) -> String {
    let product = tried.product.as_deref().unwrap_or("a product");
    match &tried.change {
        Change::CapsRaised { element, .. } => format!("The {} cap a tenth higher", element.name()),
        Change::CapRaised { element, .. } => format!("More room under the {} cap of one plot", element.name()),
        Change::GroupCapsRaised { label, .. } => format!("A tenth higher, the cap “{label}”"),
        Change::WithoutProduct(_) => format!("Without {product}"),
        Change::PriceRaised { .. } => format!("{product} a fifth dearer"),
        Change::BudgetRaised { .. } => "A tenth more to spend".into(),
    }
}

/// How one plan differs from another, as parts of a sentence; none where nothing is worth a word.
pub(super) fn difference(d: &Difference, currency: &str) -> Vec<String> {
    let mut parts = Vec::new();
    let needs = |n: i64| show::count(n.unsigned_abs() as usize, "need");
    match d.met {
        0 => {}
        n if n < 0 => parts.push(format!("{} more unmet", needs(n))),
        n => parts.push(format!("{} more met", needs(n))),
    }
    let points = |p: f64| percent(p.abs());
    match d.short_percent {
        p if p >= 0.05 => parts.push(format!("{} more of the needs missing", points(p))),
        p if p <= -0.05 => parts.push(format!("{} less of the needs missing", points(p))),
        _ => {}
    }
    match d.over_percent {
        p if p >= 0.05 => parts.push(format!("{} more beyond need", points(p))),
        p if p <= -0.05 => parts.push(format!("{} less beyond need", points(p))),
        _ => {}
    }
    let money = show::money(d.cost_minor.abs().round() as i64, currency);
    match d.cost_minor {
        c if c >= 0.5 => parts.push(format!("{money} more to pay")),
        c if c <= -0.5 => parts.push(format!("{money} less to pay")),
        _ => {}
    }
    parts
}

fn line(tried: &Tried, view: &PlanView, liking: Liking) -> Line {
    let currency = &view.site.currency;
    let parts = difference(&tried.difference, currency);
    Line {
        what: caps_read(view, &[what(tried)], liking).concat(),
        words: if parts.is_empty() { "Nothing changes.".into() } else { capitalised(&parts.join(", ")) + "." },
        figures: figures(&tried.after, currency),
    }
}

/// Needs met, missing, beyond need, cost.
fn figures(tally: &Tally, currency: &str) -> [String; 4] {
    let measure = &tally.measure;
    [
        format!("{} of {}", tally.met, tally.needs),
        percent(measure.short_percent),
        percent(measure.over_percent),
        show::money(measure.cost_minor.round() as i64, currency),
    ]
}

impl WhyPage {
    fn new(cx: &Cx, why: &PlanWhy) -> WhyPage {
        let view = &why.view;
        let liking = cx.actor.liking;
        let product = |merit: &Merit| Product {
            name: merit.product.to_string(),
            given: format!("{} on {}", show::mass(merit.mass_g), show::count(merit.plots, "plot")),
            cost: cost(merit, view),
            serves: merit.serves.iter().filter_map(|one| serves(one, liking)).collect(),
        };
        let (met, all) = view.needs_met();
        let known = !view.outcome.stopped.is_empty();
        WhyPage {
            plan: view.plan.id,
            draft: view.plan.state == "draft",
            lead: match all {
                0 => "The tests ask for nothing.".into(),
                _ => format!("{met} of {} are met to within 5 %.", show::count(all, "need")),
            },
            products: why.merits.iter().map(product).collect(),
            stopped: stopped(&view.outcome.stopped, liking),
            left: if known { vec![] } else { together(&caps_read(view, &view.unmet(), liking)) },
            edited: view.outcome.edited,
            beyond: beyond(&why.merits, liking),
            base: why.base.as_ref().map(|base| figures(base, &view.site.currency)),
            tried: why.tried.as_ref().map(|tried| tried.iter().map(|one| line(one, view, liking)).collect()),
            untried: why.untried,
            poor: why.poor,
            waiting: false,
            frame: under_plan(cx, view, "Why this plan"),
        }
    }
}

/// `GET /plans/{plan}/why`: the reasons at once; what would be otherwise, once it is tried.
pub async fn show(cx: Cx, Path(plan): Path<PlanId>) -> Result<Response> {
    let now = WhyPage { waiting: true, ..WhyPage::new(&cx, &cx.app.plan_reasons(&cx.actor, plan).await?) };
    if !now.draft {
        return html(&now);
    }
    let first = page_text(&now)?;
    let rest = async move {
        match cx.app.plan_why(&cx.actor, plan).await {
            Ok(why) => WhyPage::new(&cx, &why).render().unwrap_or_default(),
            // As where other plans are being worked out: try again.
            Err(_) => WhyPage { waiting: false, ..now }.render().unwrap_or_default(),
        }
    };
    Ok(in_halves(&first, rest))
}
