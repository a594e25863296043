//! A plan as a page, a print or a test sees it: doses beside needs, caps and packs, with
//! what the planner said. Everything here is worked out by `agronomy` from the same input
//! that is solved; this file only puts it side by side.

use super::{
    DoseForm, DoseRow, OverruleRow, PlanOptions, PlanRow, SeasonRow, Sold, Thrift,
    load::{LoadedPlan, fingerprint, key},
    said::sentences,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        cap::Counted,
        crop::Crop,
        element::Element,
        guideline::{SplitOf, SplitRule},
        learned_need,
        liking::Liking,
        manure_phosphorus,
        need::{self, Need, Way},
        plan::{self, Account, Purchase, account::PlotAccount, grams},
        quantity::Grams,
        rate::RateUnit,
        season::{self, CapLeft, Given},
        spacing::{beside_agreed, side, spacing},
        standing::NutrientStanding,
    },
    app::{Problems, Result, plots::SiteRow, standing::PlotStanding},
    ids::{AmendmentId, DoseId, PlotId},
    store::{amendments::AmendmentRow, plans::NeedRow, undos::UndoRow},
};
use serde::{Deserialize, Serialize};
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

/// One dose of a plan, saved or as typed.
#[derive(Clone, Debug, PartialEq)]
pub struct DoseLine {
    /// `None` until it is saved.
    pub id: Option<DoseId>,
    pub plot: PlotId,
    pub amendment: AmendmentId,
    pub mass_g: f64,
    pub locked: bool,
    pub by_hand: bool,
    /// Put on so far, g.
    pub applied_g: f64,
}

impl DoseLine {
    pub(super) fn new(plot: PlotId, amendment: AmendmentId) -> DoseLine {
        DoseLine { id: None, plot, amendment, mass_g: 0.0, locked: false, by_hand: false, applied_g: 0.0 }
    }

    pub(super) fn saved(row: &DoseRow) -> DoseLine {
        DoseLine {
            id: Some(row.id),
            plot: row.plot,
            amendment: row.amendment,
            mass_g: row.mass_g,
            locked: row.locked,
            by_hand: row.origin == "hand",
            applied_g: row.applied_g,
        }
    }
}

/// A need of one plot and how far the doses meet it.
#[derive(Clone, Debug)]
pub struct NeedLine {
    pub need: Need,
    /// Grams on the plot, available in the first season.
    pub need_g: f64,
    pub supplied_g: f64,
    pub short_g: f64,
    pub excess_g: f64,
}

/// A season cap of one plot and how far the doses use it.
#[derive(Clone, Debug)]
pub struct CapLine {
    pub left: CapLeft,
    pub left_g: f64,
    pub used_g: f64,
    pub exceeded: bool,
}

/// One plot of a plan.
#[derive(Clone, Debug)]
pub struct PlanPlot {
    pub standing: PlotStanding,
    /// Of this season and the next.
    pub crops: Vec<Crop>,
    pub needs: Vec<NeedLine>,
    pub caps: Vec<CapLine>,
    pub doses: Vec<DoseLine>,
    /// Walks over the plot: what goes out together is one.
    pub passes: usize,
    /// What lime and what it drives ammonia out of ask of each other here, as sentences.
    pub spacing: Vec<String>,
    /// What phosphorus that is there already says against the manures planned, by one state’s rule.
    pub manure: Option<String>,
}

/// What the planner said when it worked the plan out, kept in the record with it.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Outcome {
    /// Cautions and oddities, as sentences.
    pub notes: Vec<String>,
    /// Each need left unmet and what stopped it, as sentences.
    pub unmet: Vec<String>,
    /// Cost is within this share of the cheapest possible, where known.
    pub gap: Option<f64>,
    pub proven: bool,
    /// Doses were changed by hand since.
    pub edited: bool,
    /// What one recipe for each block costs, where that was asked for.
    pub simplicity: Option<Simplicity>,
    /// What the choice to spend less came to, where it was made.
    pub thrift: Option<Thrift>,
    /// The needs left unmet with what stopped each, by kind.
    pub stopped: Vec<Stopped>,
    /// The rules for parts as they stood when the plan was agreed; `None` for a draft, and for a
    /// plan that was agreed before they were written down.
    pub splits: Option<Vec<SplitRule>>,
}

/// A need left unmet, and what stopped it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Stopped {
    /// The name of the plot.
    pub plot: String,
    pub element: Element,
    pub need_g: f64,
    pub short_g: f64,
    /// In a word or two each: "cap", "budget".
    pub kinds: Vec<String>,
    /// As parts of a sentence.
    pub reasons: Vec<String>,
}

impl Stopped {
    fn of(unmet: &plan::Unmet) -> Stopped {
        let mut kinds: Vec<String> = Vec::new();
        for kind in unmet.because.iter().map(plan::Because::kind) {
            if !kinds.iter().any(|other| other == kind) {
                kinds.push(kind.into());
            }
        }
        Stopped {
            plot: unmet.plot.to_string(),
            element: unmet.element,
            need_g: unmet.need_g,
            short_g: unmet.short_g,
            kinds,
            reasons: unmet.reasons(),
        }
    }
}

/// The same plan with one recipe for each block, and bed by bed.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Simplicity {
    pub recipes: Measure,
    pub apart: Measure,
}

/// How a plan comes out, in a few figures.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Measure {
    /// Minor units, packs with a known price.
    pub cost_minor: f64,
    /// Of all needs, how much is missing on average, %, plots weighed by their area.
    pub short_percent: f64,
    /// How much more than needed comes along on average, % of the need or of a light dressing.
    pub over_percent: f64,
    pub mass_g: f64,
}

impl Measure {
    pub(super) fn of(account: &Account) -> Measure {
        let area: f64 = account.plots.iter().map(|plot| plot.area_m2).sum();
        let each = |count: fn(&plan::NeedMet) -> bool| -> f64 {
            let of = |plot: &PlotAccount| plot.needs.iter().filter(|n| count(n)).count() as f64 * plot.area_m2;
            account.plots.iter().map(of).sum::<f64>() / area
        };
        let percent = |sum: f64, of: f64| if of > 0.0 { 100.0 * sum / of } else { 0.0 };
        Measure {
            cost_minor: account.cost_minor,
            short_percent: percent(account.relative_shortage, each(|n| n.need_g > 0.0)),
            over_percent: percent(account.relative_excess, each(|_| true)),
            mass_g: account.mass_g,
        }
    }
}

impl Outcome {
    pub(super) fn of(notes: &[String], plan: &plan::Plan, apart: Option<&plan::Plan>) -> Outcome {
        let mut all = notes.to_vec();
        // What the kept doses ask beyond a limit is no matter of the doses as they stand.
        let kept = plan.account.notes.iter().filter(|note| matches!(note, plan::Note::TooManyLocked { .. }));
        all.extend(sentences(plan.notes.iter().chain(kept).filter(|note| !is_about_price(note))));
        Outcome {
            notes: all,
            unmet: plan.unmet.iter().filter(|u| !is_rounding(u)).map(ToString::to_string).collect(),
            gap: plan.gap,
            proven: plan.proven,
            edited: false,
            simplicity: apart
                .map(|apart| Simplicity { recipes: Measure::of(&plan.account), apart: Measure::of(&apart.account) }),
            thrift: None,
            stopped: plan.unmet.iter().filter(|u| !is_rounding(u)).map(Stopped::of).collect(),
            splits: None,
        }
    }

    pub(super) fn from_json(text: &str) -> Outcome {
        serde_json::from_str(text).unwrap_or_default()
    }

    pub(super) fn to_json(&self) -> String {
        serde_json::to_string(self).unwrap_or_else(|_| "{}".into())
    }

    /// The same after a hand edit: what was said of the solved doses no longer holds.
    pub(super) fn edited(&self) -> Outcome {
        let notes = self.notes.clone();
        Outcome { edited: true, notes, ..Outcome::default() }
    }
}

/// Nearly met, and only because the scale weighs in steps: nothing that stopped it is worth naming.
fn is_rounding(unmet: &plan::Unmet) -> bool {
    unmet.is_of_the_scale() && nearly(unmet.short_g, unmet.need_g)
}

/// A plan with its judgement.
pub struct PlanView {
    pub site: SiteRow,
    pub season: SeasonRow,
    pub plan: PlanRow,
    pub options: PlanOptions,
    /// With its version, where it is an own one.
    pub guideline_title: String,
    /// The version that it follows; 0 for a guideline that comes with the program.
    pub guideline_version: i64,
    /// The day on which the caps' twelve months end.
    pub spread_on: jiff::civil::Date,
    /// How its needs are reckoned.
    pub way: Way,
    pub plots: Vec<PlanPlot>,
    pub products: Vec<AmendmentRow>,
    pub stock_g: BTreeMap<AmendmentId, f64>,
    /// What to buy for what is still to be put on, and what is left over.
    pub shopping: Vec<Purchase>,
    /// What the doses take of each product in all, put on or not, g.
    pub totals_g: BTreeMap<AmendmentId, f64>,
    /// Minor units of the site's currency, for packs with a known price.
    pub cost_minor: f64,
    /// All doses together, g.
    pub mass_g: f64,
    /// What is wrong or odd about the doses as they stand, as sentences.
    pub warnings: Vec<String>,
    pub outcome: Outcome,
    /// The last change of a draft, where it can be undone.
    pub undo: Option<UndoRow>,
    /// Caps that a steward decided otherwise about.
    pub overrules: Vec<OverruleRow>,
    /// How large doses go on in parts, as far as the site uses such rules; of an agreed plan as it
    /// was agreed.
    pub splits: Vec<Arc<SplitRule>>,
    /// Tests, crops, products or applications have changed since it was worked out.
    pub stale: bool,
}

impl PlanView {
    /// The caps that the doses go beyond, a sentence by the field of each dose that counts, its
    /// figures as a person reads them.
    pub fn cap_problems(&self, liking: Liking) -> Problems {
        let site: RateUnit = self.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
        let mut problems = Problems::default();
        for plot in &self.plots {
            for cap in plot.caps.iter().filter(|cap| cap.exceeded && cap.used_g > 0.0) {
                let sentence = format!(
                    "{}: this goes beyond a cap. {}. {} of it may still go on here, and the doses bring {}.",
                    plot.standing.plot.code,
                    liking.cap_label(&cap.left.cap, site),
                    grams(cap.left_g.max(0.0)),
                    grams(cap.used_g)
                );
                for dose in plot.doses.iter().filter(|d| d.mass_g > 0.0 && self.counts(d.amendment, cap)) {
                    problems.add(&DoseForm::grams_field(plot.standing.plot.id, dose.amendment), sentence.clone());
                }
            }
        }
        problems
    }

    /// Refuses doses beyond a cap.
    pub(super) fn caps_kept(&self, liking: Liking) -> Result<()> {
        self.cap_problems(liking).none()
    }

    /// Said of a plan that was agreed before the rules for parts were kept with it, where they matter
    /// for what it gives: nobody can tell any more what they were.
    pub fn parts_of_today(&self) -> Option<String> {
        if self.plan.state == "draft" || self.outcome.splits.is_some() {
            return None;
        }
        let cautions = self.used().flat_map(|row| &row.amendment.cautions);
        let of: BTreeSet<SplitOf> = cautions.filter_map(|caution| caution.in_parts()).collect();
        let of: Vec<&str> = of.iter().map(|material| material.label()).collect();
        (!of.is_empty()).then(|| {
            format!(
                "It was agreed before a plan kept the rules for giving {} in parts, so parts go by the rules of today.",
                of.join(" and ")
            )
        })
    }

    /// Whether a product brings what a cap counts.
    fn counts(&self, amendment: AmendmentId, cap: &CapLine) -> bool {
        let Some(row) = self.product(amendment) else { return false };
        match cap.left.cap.counted {
            Counted::Total(element) => row.amendment.analysis.fraction(element) > 0.0,
            Counted::ManureNitrogen => row.amendment.manure,
            Counted::OrganicNitrogen => row.amendment.manure || row.amendment.kind.is_organic(),
            Counted::Product(product) => product == key(row.id.0),
        }
    }

    /// The version of its guideline that a draft was worked out under, where there is a newer one.
    pub fn worked_out_under(&self) -> Option<i64> {
        Some(self.plan.guideline_version).filter(|was| *was != self.guideline_version)
    }

    /// Needs met to within 5 %, and all needs.
    pub fn needs_met(&self) -> (usize, usize) {
        let each = self.plots.iter().map(PlanPlot::needs_met);
        each.fold((0, 0), |(met, all), (more_met, more)| (met + more_met, all + more))
    }

    /// What the doses leave undone: in the planner's words with their reasons where the doses
    /// are its own, else as counted.
    pub fn unmet(&self) -> Vec<String> {
        if !self.outcome.edited {
            return self.outcome.unmet.clone();
        }
        let mut sentences = Vec::new();
        for plot in &self.plots {
            for line in plot.needs.iter().filter(|line| line.need_g > 0.0 && !line.is_met()) {
                sentences.push(format!(
                    "{}: {} of the {} of {} are not supplied by these doses.",
                    plot.standing.plot.code,
                    grams(line.short_g),
                    grams(line.need_g),
                    line.need.element.name()
                ));
            }
        }
        sentences
    }

    /// The products that are used or held at a dose, in the order of the list.
    pub fn used(&self) -> impl Iterator<Item = &AmendmentRow> {
        let holds = |row: &AmendmentRow| {
            let doses = self.plots.iter().flat_map(|plot| &plot.doses);
            doses.into_iter().any(|d| d.amendment == row.id && (d.mass_g > 0.0 || d.locked))
        };
        self.products.iter().filter(move |row| holds(row))
    }

    /// The doses of a plot as its workings take them.
    pub fn given<'a>(&'a self, plot: &'a PlanPlot) -> Vec<Given<'a>> {
        let doses = plot.doses.iter().filter(|d| d.mass_g > 0.0);
        doses
            .filter_map(|dose| {
                let amendment = &self.product(dose.amendment)?.amendment;
                Some(Given {
                    product: &amendment.name,
                    analysis: &amendment.analysis,
                    grams: Grams(dose.mass_g),
                    by_hand: dose.by_hand,
                })
            })
            .collect()
    }

    /// By what share of its aim each dose lifts a nutrient: product, grams, share.
    pub fn lifts(&self, plot: &PlanPlot, nutrient: &NutrientStanding) -> Vec<(String, f64, f64)> {
        let ground = plot.standing.plot.ground();
        let Some(element) = nutrient.analyte.element() else { return vec![] };
        let need = plot.needs.iter().find(|line| line.need.element == element);
        let lift = |dose: &Given| {
            let rate = dose.available(element).per(ground.area);
            let answered = need.and_then(|line| learned_need::lift(rate, &line.need, nutrient));
            let share = answered.or_else(|| season::lift(rate, nutrient, &ground, &self.way))?;
            (share > 0.0).then(|| (dose.product.to_owned(), dose.grams.0, share))
        };
        self.given(plot).iter().filter_map(lift).collect()
    }

    /// The needs with what the doses as they stand leave short.
    pub(super) fn need_rows(&self) -> Vec<NeedRow> {
        self.plots
            .iter()
            .flat_map(|plot| plot.needs.iter().map(move |line| (plot, line)))
            .map(|(plot, line)| NeedRow {
                plot: plot.standing.plot.id,
                element: line.need.element,
                need_kg_per_ha: line.need.kg_per_ha.0,
                short_g: line.short_g,
                reason: line.need.reason.words().to_owned(),
                working: serde_json::to_string(&line.need.working).unwrap_or_else(|_| "null".into()),
            })
            .collect()
    }

    /// A product of the plan.
    pub fn product(&self, id: AmendmentId) -> Option<&AmendmentRow> {
        self.products.iter().find(|row| row.id == id)
    }

    /// How a product is bought in this plan.
    pub fn sold(&self, id: AmendmentId) -> Sold {
        self.options.sold_of.get(&id).copied().unwrap_or(self.options.sold)
    }

    /// The dose of a product on a plot.
    pub fn dose(&self, plot: PlotId, amendment: AmendmentId) -> Option<&DoseLine> {
        let plot = self.plots.iter().find(|p| p.standing.plot.id == plot)?;
        plot.doses.iter().find(|d| d.amendment == amendment)
    }
}

/// A shortage within this share of the need counts as met: a scale's step leaves it, and no
/// soil test is that exact. The record keeps it all the same.
pub(super) fn nearly(short_g: f64, need_g: f64) -> bool {
    short_g <= need_g * need::ENOUGH
}

/// Prices that are not known are said once, beside the cost, and only of what is bought.
fn is_about_price(note: &plan::Note) -> bool {
    matches!(note, plan::Note::PriceUnknown { .. })
}

/// What is said of stock and money rather than of the ground.
fn is_about_buying(note: &plan::Note) -> bool {
    matches!(note, plan::Note::BeyondStock { .. } | plan::Note::OverBudget { .. } | plan::Note::PriceUnknown { .. })
}

/// What these very doses do wrong, which comes first.
fn is_about_doses(note: &plan::Note) -> bool {
    use plan::Note::*;
    matches!(
        note,
        CapExceeded { .. }
            | RateExceeded { .. }
            | NotAllowedHere { .. }
            | LessThanRequired { .. }
            | TooManyPasses { .. }
            | BeyondStock { .. }
            | OverBudget { .. }
    )
}

/// Why a product was not chosen on some ground: it stands with how the plan was worked out.
fn is_background(note: &plan::Note) -> bool {
    matches!(note, plan::Note::CapUsedUp { over_kg_per_ha, .. } if *over_kg_per_ha < 0.005)
}

/// What a plan has still to put on of a dose, g: all of a draft's, nothing of a closed plan's.
fn still_to_put_on(plan: &PlanRow, dose: &DoseLine) -> f64 {
    match plan.state.as_str() {
        "draft" => dose.mass_g,
        "agreed" => (dose.mass_g - dose.applied_g).max(0.0),
        _ => 0.0,
    }
}

impl PlanPlot {
    /// Needs met to within 5 %, and all needs.
    pub fn needs_met(&self) -> (usize, usize) {
        let wanted = || self.needs.iter().filter(|line| line.need_g > 0.0);
        (wanted().filter(|line| line.is_met()).count(), wanted().count())
    }
}

impl NeedLine {
    /// Met, but for what a scale and a soil test do not tell apart.
    pub fn is_met(&self) -> bool {
        nearly(self.short_g, self.need_g)
    }
}

/// Judges doses against what the plan is made from.
pub(super) fn view(loaded: &LoadedPlan, doses: Vec<DoseLine>) -> PlanView {
    let same = |line: &DoseLine| {
        let saved = loaded.doses.iter().find(|d| d.plot == line.plot && d.amendment == line.amendment);
        saved.map_or(0.0, |d| d.mass_g) == line.mass_g
    };
    let edited = !doses.iter().all(same);
    let typed: Vec<plan::Lock> = doses
        .iter()
        .map(|d| plan::Lock { plot: key(d.plot.0), product: key(d.amendment.0), dose_g: d.mass_g })
        .collect();
    let prepared = loaded.prepare(&[], &typed);
    let stale = loaded.plan.state == "draft"
        && loaded.plan.inputs_sha256 != Some(fingerprint(&prepared.input, &loaded.options));
    let account: Account = plan::assess(&prepared.input, &typed);
    // Stock is what is left after what was put on, so only the rest is bought from it.
    let rest: Vec<plan::Lock> = typed
        .iter()
        .zip(&doses)
        .map(|(lock, dose)| plan::Lock { dose_g: still_to_put_on(&loaded.plan, dose), ..*lock })
        .collect();
    let rest = plan::assess(&prepared.input, &rest);
    // Of a dose that is kept, what must be used was settled when the plan was worked out.
    let settled = |note: &plan::Note| match note {
        plan::Note::RequiredLess { plot, product, .. } => {
            let here = |d: &&DoseLine| key(d.plot.0) == plot.key && key(d.amendment.0) == product.key;
            doses.iter().find(here).is_some_and(|dose| dose.locked)
        }
        _ => false,
    };
    let ground = account.notes.iter().filter(|note| !is_about_buying(note) && !is_background(note) && !settled(note));
    let buying = rest.notes.iter().filter(|note| is_about_buying(note));
    let (wrong, odd): (Vec<&plan::Note>, Vec<&plan::Note>) =
        ground.chain(buying).partition(|note| is_about_doses(note));
    let warnings = wrong.into_iter().chain(odd);
    let mut totals_g: BTreeMap<AmendmentId, f64> = BTreeMap::new();
    for dose in &doses {
        *totals_g.entry(dose.amendment).or_default() += dose.mass_g;
    }
    let wishes = super::wishes(&loaded.options, &loaded.site, &loaded.season, loaded.judged_on);
    let mut by_plot: BTreeMap<plan::Key, &PlotAccount> = account.plots.iter().map(|p| (p.plot.key, p)).collect();
    let plots = loaded
        .plots
        .iter()
        .map(|standing| {
            let key = key(standing.plot.id.0);
            let account = by_plot.remove(&key);
            PlanPlot {
                crops: loaded.crops.get(&standing.plot.id).cloned().unwrap_or_default(),
                needs: needs(prepared.needs.get(&key).map_or(&[][..], Vec::as_slice), account),
                caps: caps(prepared.caps.get(&key).map_or(&[][..], Vec::as_slice), account),
                doses: doses.iter().filter(|d| d.plot == standing.plot.id).cloned().collect(),
                passes: account.map_or(0, |account| account.passes),
                spacing: spaced(loaded, &doses, standing.plot.id, wishes.spread_on),
                manure: manured(loaded, &doses, standing),
                standing: standing.clone(),
            }
        })
        .collect();
    PlanView {
        spread_on: wishes.spread_on,
        way: wishes.way,
        guideline_title: loaded.guideline.title(),
        guideline_version: loaded.guideline.version,
        outcome: match Outcome::from_json(&loaded.plan.outcome) {
            outcome if edited => outcome.edited(),
            outcome => outcome,
        },
        stale,
        mass_g: account.mass_g,
        warnings: sentences(warnings.filter(|note| !is_about_price(note))),
        shopping: rest.shopping,
        cost_minor: rest.cost_minor,
        totals_g,
        site: loaded.site.clone(),
        season: loaded.season.clone(),
        plan: loaded.plan.clone(),
        options: loaded.options.clone(),
        plots,
        products: loaded.products.clone(),
        stock_g: loaded.stock_g.clone(),
        undo: loaded.undo.clone(),
        overrules: loaded.overrules.clone(),
        splits: loaded.splits.clone(),
    }
}

/// What the spacing of lime and manure asks on one plot.
fn spaced(loaded: &LoadedPlan, doses: &[DoseLine], plot: PlotId, on: jiff::civil::Date) -> Vec<String> {
    let planned = doses.iter().filter(|d| d.plot == plot && d.mass_g > 0.0).filter_map(|dose| {
        let row = loaded.products.iter().find(|row| row.id == dose.amendment)?;
        Some((row.amendment.name.clone(), side(&row.amendment)?))
    });
    let planned: Vec<_> = planned.collect();
    let mut said = spacing(&planned, &loaded.spread_before(plot), on);
    said.extend(beside_agreed(&planned, &loaded.agreed_beside(plot)));
    said
}

/// What Olsen phosphorus says against the manures and manure composts planned on one plot.
fn manured(loaded: &LoadedPlan, doses: &[DoseLine], standing: &PlotStanding) -> Option<String> {
    let here = doses.iter().filter(|d| d.plot == standing.plot.id && d.mass_g > 0.0);
    let rows = here.filter_map(|dose| loaded.products.iter().find(|row| row.id == dose.amendment));
    let names: Vec<&str> = rows.filter(|row| row.amendment.manure).map(|row| row.amendment.name.as_str()).collect();
    let choice = standing.present.choices.get(&Analyte::Element(Element::P))?;
    let mut read = std::iter::once(&choice.chosen).chain(&choice.others);
    read.find_map(|reading| manure_phosphorus::caution(reading, &names))
}

fn needs(needs: &[Need], account: Option<&PlotAccount>) -> Vec<NeedLine> {
    needs
        .iter()
        .map(|need| {
            let met = account.and_then(|a| a.needs.iter().find(|m| m.element == need.element));
            NeedLine {
                need: need.clone(),
                need_g: met.map_or(0.0, |m| m.need_g),
                supplied_g: met.map_or(0.0, |m| m.supplied_g),
                short_g: met.map_or(0.0, |m| m.short_g),
                excess_g: met.map_or(0.0, |m| m.excess_g),
            }
        })
        .collect()
}

fn caps(caps: &[CapLeft], account: Option<&PlotAccount>) -> Vec<CapLine> {
    caps.iter()
        .filter_map(|left| {
            let used = account?.caps.iter().find(|c| c.label == left.cap.label)?;
            Some(CapLine { left: left.clone(), left_g: used.left_g, used_g: used.used_g, exceeded: used.exceeded })
        })
        .collect()
}
