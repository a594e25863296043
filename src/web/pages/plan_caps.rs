//! Caps of a plan as its pages show them, with the decision that overrules one and the page where
//! a steward makes it; what to beware of in the products that the plan uses; and what one recipe
//! for a whole block costs.

use super::{plan_working::working_path, plans::under_plan, plots::titled};
use crate::{
    agronomy::{
        cap::{Counted, Grounds, SeasonCap},
        element::Element,
        liking::Liking,
        plan::{Pack, Purchase, doses::wants_carrier},
        quantity::KgPerHa,
        rate::RateUnit,
        source::Evidence,
    },
    app::seasons::{CapLine, Measure, OverruleForm, OverruleRow, PlanView, Sheet, Simplicity, Sold, Thrift},
    ids::{AmendmentId, OverruleId, PlanId, PlotId},
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show,
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use std::collections::BTreeMap;

/// A cap on one plot.
pub(super) struct Cap {
    pub label: String,
    pub used: String,
    /// `None` where it leaves nothing.
    pub left: Option<String>,
    pub exceeded: bool,
    pub publisher: String,
    pub address: Option<String>,
    /// Said where we did not read the source ourselves.
    pub mark: Option<&'static str>,
    pub working: Option<String>,
    /// The decision that stands in its place, as a sentence.
    pub decision: Option<String>,
    /// Stays as long as a published hazard is overruled.
    pub warning: Option<&'static str>,
    /// Where a steward may decide about it.
    pub overrule: Option<String>,
    /// The doses touch it, or it is used up.
    pub touched: bool,
}

/// What to beware of, with the products it is said of.
pub(super) struct Care {
    pub names: String,
    pub label: String,
    pub text: String,
    pub source: String,
    pub address: Option<String>,
    pub mark: Option<&'static str>,
}

/// The page where a cap is overruled.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/overrule.html")]
pub struct OverrulePage {
    frame: Frame,
    form: Form,
    action: String,
    label: String,
    /// The same as this reader reads it, where that is another unit.
    as_read: Option<String>,
    /// What was put on already and what the doses bring.
    stands: String,
    source: String,
    address: Option<String>,
    warning: Option<&'static str>,
    hazard: bool,
    law: bool,
    outermost: Option<String>,
    /// Counted in grams of a product, not of an element.
    product: bool,
    plots: Vec<(PlotId, String)>,
    /// The decision that stands, and where it is taken back.
    decided: Option<(String, String)>,
}

fn path(plan: PlanId, plot: PlotId, counted: Counted) -> String {
    format!("/plans/{plan}/caps/{plot}/{}", counted.key())
}

/// The label of a cap as this reader reads it.
fn label(view: &PlanView, cap: &SeasonCap, liking: Liking) -> String {
    liking.cap_label(cap, view.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa))
}

/// Sentences of the planner, the caps in them as this reader reads them.
pub(super) fn caps_read(view: &PlanView, sentences: &[String], liking: Liking) -> Vec<String> {
    let site = view.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    let caps = view.plots.iter().flat_map(|plot| &plot.caps).map(|line| &line.left.cap);
    let caps: BTreeMap<&str, &SeasonCap> = caps.map(|cap| (cap.label.as_str(), cap)).collect();
    let read = |said: &String| caps.values().fold(said.clone(), |said, cap| liking.cap_sentence(&said, cap, site));
    sentences.iter().map(read).collect()
}

fn decision(view: &PlanView, cap: &SeasonCap, liking: Liking) -> Option<String> {
    let overrule = cap.overruled.as_ref()?;
    let decided = &overrule.decided;
    let reason = decided.reason.trim().trim_end_matches('.');
    let published =
        SeasonCap { kg_per_ha: overrule.published, label: overrule.label.clone(), overruled: None, ..cap.clone() };
    let published = label(view, &published, liking);
    Some(format!("Decided by {} on {}: {reason}. Published: {published}.", decided.by, show::date(decided.on)))
}

fn warning(cap: &SeasonCap) -> Option<&'static str> {
    let overrule = cap.overruled.as_ref()?;
    cap.warning().filter(|_| overrule.decided.kg_per_ha.0 > overrule.published.0)
}

/// A cap as the page of the plan lists it; `may` says whether this reader may decide about it.
pub(super) fn cap(view: &PlanView, plot: PlotId, line: &CapLine, liking: Liking, may: bool) -> Cap {
    let cap = &line.left.cap;
    Cap {
        label: label(view, cap, liking),
        used: show::element_mass(line.used_g),
        left: (line.left_g > 0.0).then(|| show::element_mass(line.left_g)),
        exceeded: line.exceeded,
        publisher: cap.source.publisher.clone(),
        address: show::address(&cap.source).map(str::to_owned),
        mark: show::evidence_mark(cap.source.evidence),
        working: match cap.counted {
            Counted::Total(element) => Some(working_path(view.plan.id, plot, element)),
            Counted::ManureNitrogen | Counted::OrganicNitrogen => Some(working_path(view.plan.id, plot, Element::N)),
            Counted::Product(_) => None,
        },
        decision: decision(view, cap, liking),
        warning: warning(cap),
        overrule: (may && cap.grounds != Grounds::Law).then(|| path(view.plan.id, plot, cap.counted)),
        // A cap that nothing touches and nothing has used is only noise.
        touched: line.used_g > 0.0 || line.exceeded || line.left_g <= 0.0 || cap.overruled.is_some(),
    }
}

/// What one recipe for each block costs, line by line; empty where that was not asked for.
pub(super) fn simplicity(view: &PlanView) -> Vec<(&'static str, String, String)> {
    let simplicity = view.outcome.simplicity;
    simplicity.map_or_else(Vec::new, |Simplicity { recipes, apart }| beside(&recipes, &apart, view))
}

/// What spending less gives up, line by line; empty where nothing was saved.
pub(super) fn thrift(view: &PlanView) -> Vec<(&'static str, String, String)> {
    let thrift = view.outcome.thrift.filter(Thrift::saved);
    thrift.map_or_else(Vec::new, |thrift| beside(&thrift.with, &thrift.without, view))
}

/// Two ways to plan the same, line by line.
fn beside(one: &Measure, other: &Measure, view: &PlanView) -> Vec<(&'static str, String, String)> {
    let money = |minor: f64| show::money(minor.round() as i64, &view.site.currency);
    let line = |what, of: &dyn Fn(&Measure) -> String| (what, of(one), of(other));
    vec![
        line("Cost, as far as prices are known", &|m| money(m.cost_minor)),
        line("Of the needs, missing on average", &|m| percent(m.short_percent)),
        line("More than needed, on average", &|m| percent(m.over_percent)),
        line("To weigh and carry", &|m| show::mass(m.mass_g)),
    ]
}

/// That a draft follows a newer version of its guideline than it was worked out under.
pub(super) fn moved(view: &PlanView) -> Option<String> {
    let was = view.worked_out_under()?;
    Some(format!(
        "This draft was worked out under version {was}, and is now read by {}. Work it out again to take it in.",
        view.guideline_title
    ))
}

/// Products to buy whose price is not known.
pub(super) fn unpriced(view: &PlanView) -> Vec<String> {
    let lines = view.shopping.iter().filter(|line| {
        line.packs.iter().any(|(pack, count)| *count > 0.0 && pack.price_minor.is_none()) && !line.packs.is_empty()
    });
    lines.map(|line| line.product.name.clone()).collect()
}

/// What is to be bought for the doses as they stand, a line to a product.
pub(super) fn to_buy(view: &PlanView) -> Vec<String> {
    let line = |line: &Purchase| {
        let id = AmendmentId(i64::from(line.product.key));
        let packs: Vec<String> = line.packs.iter().map(|(pack, count)| packs(view.sold(id), pack, *count)).collect();
        let cost = line.cost_minor.filter(|cost| *cost > 0.0);
        let cost = cost.map(|cost| format!(", {}", show::money(cost.round() as i64, &view.site.currency)));
        format!("{}: {}{}", line.product, packs.join(" and "), cost.unwrap_or_default())
    };
    view.shopping.iter().filter(|line| !line.packs.is_empty()).map(line).collect()
}

/// So many packs, as they are sold.
pub(super) fn packs(sold: Sold, pack: &Pack, count: f64) -> String {
    match sold {
        Sold::Loose => format!("loose, from packs of {}", show::mass(pack.mass_g)),
        Sold::Halves => {
            let halves = if count == 1.0 { "half" } else { "halves" };
            let whole = show::mass(pack.mass_g * 2.0);
            format!("{}\u{a0}{halves} of a pack of {whole}", show::number(count, 0))
        }
        Sold::Whole => format!("{}\u{a0}×\u{a0}{}", show::number(count, 0), show::mass(pack.mass_g)),
    }
}

/// Hundredths of all needs, in a tenth: "3.2 %".
pub(super) fn percent(p: f64) -> String {
    format!("{}\u{a0}%", show::number(p, 1))
}

fn said_by(publisher: &str, title: &str) -> String {
    [publisher, title].into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join(", ")
}

/// What to beware of in the products used, each sentence once, and how small doses dissolve.
pub(super) fn cares(view: &PlanView) -> Vec<Care> {
    let mut said: Vec<(Vec<String>, Care)> = Vec::new();
    for product in Sheet::of(view).cautions {
        for note in product.notes {
            match said.iter_mut().find(|(_, care)| care.text == note.text) {
                Some((names, _)) => names.push(product.name.clone()),
                None => {
                    let care = Care {
                        names: String::new(),
                        label: note.caution.label().to_owned(),
                        text: note.text,
                        source: said_by(&note.source.publisher, &note.source.title),
                        address: show::address(&note.source).map(str::to_owned),
                        mark: show::evidence_mark(note.source.evidence),
                    };
                    said.push((vec![product.name.clone()], care));
                }
            }
        }
    }
    let mut cares: Vec<Care> = said.into_iter().map(|(names, care)| Care { names: names.join(", "), ..care }).collect();
    cares.extend(view.used().filter_map(|row| {
        let small = view.plots.iter().any(|plot| {
            let doses = plot.doses.iter().filter(|dose| dose.amendment == row.id);
            let (area, step) = (plot.standing.plot.area_m2, view.site.scale_step_g);
            doses.into_iter().any(|dose| wants_carrier(dose.mass_g, area, step))
        });
        let solubility = row.amendment.solubility.as_ref().filter(|_| small)?;
        Some(Care {
            names: row.amendment.name.clone(),
            label: "Dissolving it".into(),
            text: format!(
                "A litre of cold water holds {} g. The weigh-out sheet keeps its drenches below that.",
                show::significant(solubility.value, 3)
            ),
            source: solubility.source.to_string(),
            address: show::address(&solubility.source).map(str::to_owned),
            mark: show::evidence_mark(solubility.source.evidence),
        })
    }));
    cares
}

/// The decisions about caps as the weigh-out sheet prints them: plots, sentence, warning.
pub(super) fn decisions(view: &PlanView, liking: Liking) -> Vec<(String, String, Option<&'static str>)> {
    let mut said: Vec<(Vec<String>, String, Option<&'static str>)> = Vec::new();
    for plot in &view.plots {
        for line in plot.caps.iter().filter(|line| line.left.cap.overruled.is_some()) {
            let cap = &line.left.cap;
            let sentence = format!("{}. {}", label(view, cap, liking), decision(view, cap, liking).unwrap_or_default());
            let code = plot.standing.plot.code.clone();
            match said.iter_mut().find(|(_, other, _)| *other == sentence) {
                Some((codes, ..)) => codes.push(code),
                None => said.push((vec![code], sentence, warning(cap))),
            }
        }
    }
    said.into_iter().map(|(codes, sentence, warning)| (codes.join(", "), sentence, warning)).collect()
}

impl OverrulePage {
    fn of(cx: &Cx, view: &PlanView, plot: PlotId, counted: Counted) -> Result<OverrulePage> {
        let here = view.plots.iter().find(|p| p.standing.plot.id == plot).ok_or_else(Error::not_found)?;
        let line = here.caps.iter().find(|line| line.left.cap.counted == counted).ok_or_else(Error::not_found)?;
        let cap = &line.left.cap;
        let (rate, published) = cap.published();
        // What is decided is typed and kept in kg/ha, so the page stays in it and says the other beside.
        let plain = SeasonCap { kg_per_ha: rate, label: published.to_owned(), overruled: None, ..cap.clone() };
        let as_read = Some(label(view, &plain, cx.actor.liking)).filter(|read| read != published);
        let stands = format!(
            "In the twelve months up to {}, {} went on {} already; these doses bring {}.",
            show::date(view.spread_on),
            cap.amount(line.left.given),
            titled(&here.standing.plot),
            show::element_mass(line.used_g)
        );
        let others = view.plots.iter().filter(|p| p.caps.iter().any(|line| line.left.cap.counted == counted));
        let standing = view.overrules.iter().find(|row| row.plot == plot && row.cap == counted.key());
        let mut form = Form::filled([("plots", plot.to_string())]);
        form.set("kg_per_ha", show::significant(rate.0, 3));
        if let Some(row) = standing {
            form.set("kg_per_ha", row.kg_per_ha);
            form.set("reason", &row.reason);
        }
        let back = |id: OverruleId| format!("/plans/{}/overrules/{id}/withdraw", view.plan.id);
        Ok(OverrulePage {
            frame: under_plan(cx, view, "Overrule a cap"),
            form,
            action: path(view.plan.id, plot, counted),
            label: published.to_owned(),
            as_read,
            stands,
            source: cap.source.to_string(),
            address: show::address(&cap.source).map(str::to_owned),
            warning: cap.warning(),
            hazard: cap.grounds == Grounds::Hazard,
            law: cap.grounds == Grounds::Law,
            outermost: outermost(cap),
            product: matches!(counted, Counted::Product(_)),
            plots: others.map(|p| (p.standing.plot.id, titled(&p.standing.plot))).collect(),
            decided: standing.map(|row| {
                let stands = decision(view, cap, Liking::default());
                (stands.unwrap_or_else(|| past(view, row, cap, cx.actor.liking)), back(row.id))
            }),
        })
    }
}

fn outermost(cap: &SeasonCap) -> Option<String> {
    let (most, why) = cap.most_decided()?;
    let why = match &cap.outermost {
        Some((_, source)) if source.evidence == Evidence::Memory => {
            format!("{}, from memory", said_by(source.publisher, source.title))
        }
        Some((_, source)) => said_by(source.publisher, source.title),
        None => why,
    };
    Some(format!("At the very most {} kg/ha ({why}).", show::significant(most.0, 3)))
}

/// A decision that stands in the record, but not in the place of what is published now. It was typed in
/// kg/ha, which is said beside another unit.
fn past(view: &PlanView, row: &OverruleRow, cap: &SeasonCap, liking: Liking) -> String {
    let site = view.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    let (decided, label) = liking.decided_once(cap, KgPerHa(row.kg_per_ha), &row.label, site);
    let typed = format!("{} kg/ha", show::number(row.kg_per_ha, 2));
    let typed = if decided.ends_with(" kg/ha") { String::new() } else { format!(" ({typed} as it was typed)") };
    format!(
        "{} decided on {decided}{typed}, where this was published: {label}. That no longer counts, because something \
         else is published now.",
        row.decided_by,
    )
}

async fn page(cx: &Cx, plan: PlanId, plot: PlotId, cap: &str) -> Result<OverrulePage> {
    let counted: Counted = cap.parse().map_err(|_| Error::not_found())?;
    let view = cx.app.plan(&cx.actor, plan).await?;
    OverrulePage::of(cx, &view, plot, counted)
}

/// `GET /plans/{plan}/caps/{plot}/{cap}`
pub async fn show(cx: Cx, Path((plan, plot, cap)): Path<(PlanId, PlotId, String)>) -> Result<OverrulePage> {
    page(&cx, plan, plot, &cap).await
}

/// `POST /plans/{plan}/caps/{plot}/{cap}`
pub async fn overrule(cx: Cx, Path((plan, plot, cap)): Path<(PlanId, PlotId, String)>, form: Form) -> Result<Response> {
    let typed: OverruleForm = form.read_as()?;
    match cx.app.overrule_cap(&cx.actor, plan, &cap, &typed).await {
        Ok(()) => Ok(see(format!("/plans/{plan}"))
            .say("The decision stands and will be printed. Work the plan out again to use it.")
            .into_response()),
        Err(error) => {
            let page = OverrulePage { form: form.refused(error)?, ..page(&cx, plan, plot, &cap).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `POST /plans/{plan}/overrules/{overrule}/withdraw`
pub async fn withdraw(cx: Cx, Path((plan, id)): Path<(PlanId, OverruleId)>) -> Result<Response> {
    cx.app.withdraw_overrule(&cx.actor, plan, id).await?;
    Ok(see(format!("/plans/{plan}")).say("The published cap holds again. Work the plan out again.").into_response())
}
