//! The weigh-out sheet: what the shed needs to put a plan on the ground. Grams to the
//! scale's step, what must be mixed or dissolved first, and what to beware of. It never
//! changes a dose and never rounds one up.

use super::{PlanPlot, PlanView};
use crate::{
    agronomy::{
        amendment::Amendment,
        caution::{Caution, CautionNote, Context, cautions_for},
        order_of_work::{Round, Wear},
        pass::{Pass, pass_of},
        plan::{CarrierMix, Solution, carrier_mix, doses, solution},
        quantity::Grams,
    },
    app::plots::PlotRow,
    ids::AmendmentId,
};
use std::collections::BTreeMap;

/// Water for a solution, litres on a square metre: a light watering, from practice.
pub const LITRES_PER_M2: f64 = 1.0;

/// A common watering can, litres.
pub const CAN_LITRES: f64 = 10.0;

/// Doses of one mix differ by this at most, g/m² by g/m²: our own choice.
const SPAN: f64 = 3.0;

/// A stock of a solution is made no stronger than this share of what cold water holds: our own
/// choice, so that it dissolves at once and stays so.
const STRONGEST: f64 = 0.25;

/// The least of a solution that is measured out, litres: a jug shows a twentieth or so of it.
const LEAST_LITRES: f64 = 0.5;

/// More parts of carrier than these to one are mixed in two goes: our own choice.
const PARTS_AT_ONCE: f64 = 100.0;

/// More dry carrier than this in one mix is no longer turned by hand, g: our own choice.
const CARRIER_MOST_G: f64 = 10_000.0;

/// The whole sheet.
#[derive(Clone, Debug)]
pub struct Sheet {
    /// Mixes to make before going out.
    pub mixes: Vec<Mix>,
    /// What to beware of, by product.
    pub cautions: Vec<SheetCautions>,
    /// Plots with something to put on, in the order of the plan.
    pub plots: Vec<SheetPlot>,
    /// What goes on in which round of the garden, in order.
    pub rounds: Vec<(Round, Vec<String>)>,
    /// What to wear besides gloves, and for what.
    pub wear: Vec<(Wear, Vec<String>)>,
}

/// A heap of the sheet: everything that is weighed out together.
#[derive(Clone, Debug)]
pub struct Heap<'a> {
    /// The product, the round, or what is carried on the pass.
    pub title: String,
    /// Of several the last: what goes out together goes when all of it may.
    pub round: Round,
    /// Of what is carried first.
    pub pass: Pass,
    /// Everything of it, g.
    pub total_g: f64,
    pub lines: Vec<(&'a SheetPlot, &'a SheetLine)>,
}

/// Doses of one product that are too small to weigh or spread by themselves, of about one
/// strength, so that the thinnest does not dilute the rest into barrowloads.
#[derive(Clone, Debug)]
pub struct Mix {
    /// As the sheet calls it: "1", "2".
    pub number: usize,
    pub amendment: AmendmentId,
    pub name: String,
    /// Codes of the plots that it goes to.
    pub plots: Vec<String>,
    pub dry: CarrierMix,
    /// In water instead, where the product dissolves.
    pub wet: Option<Solution>,
    /// What a litre of cold water holds, g.
    pub holds_g_per_l: Option<f64>,
}

impl Mix {
    /// Whether it is made with water alone: a dry mix would be barrowloads, and it dissolves.
    pub fn in_water(&self) -> bool {
        let dissolves = self.wet.as_ref().is_some_and(|wet| wet.dissolves == Some(true));
        dissolves && self.dry.carrier_g > CARRIER_MOST_G
    }

    /// Carrier for the first of two goes, g, where one would leave lumps: midway, so that both
    /// goes are about as strong.
    pub fn first_go_g(&self) -> Option<f64> {
        let dry = &self.dry;
        (dry.first.is_none() && dry.parts > PARTS_AT_ONCE).then(|| {
            let midway = (dry.product_g * dry.carrier_g).sqrt();
            let digit = 10f64.powf(midway.log10().floor());
            (midway / digit).round() * digit
        })
    }
}

/// A product with its standing cautions.
#[derive(Clone, Debug)]
pub struct SheetCautions {
    pub name: String,
    pub notes: Vec<CautionNote>,
}

/// What goes on one plot.
#[derive(Clone, Debug)]
pub struct SheetPlot {
    pub plot: PlotRow,
    pub crops: Vec<&'static str>,
    pub lines: Vec<SheetLine>,
    /// What this plot and these doses add to the standing cautions: product and sentence.
    pub cautions: Vec<(String, String)>,
    /// The days that lime and what it drives ammonia out of want between them here, as sentences.
    pub spacing: Vec<String>,
}

/// One product on one plot.
#[derive(Clone, Debug)]
pub struct SheetLine {
    pub amendment: AmendmentId,
    pub name: String,
    pub round: Round,
    /// What it can be carried with.
    pub pass: Pass,
    /// In whole steps of the scale; below one step as planned.
    pub weigh_g: f64,
    pub g_per_m2: f64,
    pub helping: Helping,
    /// What to beware of with this dose on this plot, the most particular first.
    pub beware: Vec<Caution>,
}

/// How a dose is had.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Helping {
    /// Weighed by itself.
    Weighed,
    /// So much of the mix; or of the solution, where there is one.
    OfMix { number: usize, mix_g: f64, litres: Option<f64> },
}

impl Sheet {
    /// The sheet of a plan's doses as they stand.
    pub fn of(view: &PlanView) -> Sheet {
        let step_g = view.site.scale_step_g;
        let mut mixes = Vec::new();
        let mut helpings: BTreeMap<(i64, AmendmentId), Helping> = BTreeMap::new();
        let mut cautions = Vec::new();
        for row in view.used() {
            for group in by_strength(view, row.id, step_g) {
                let Some(mix) = mix(mixes.len() + 1, row.id, &row.amendment, &group, step_g) else { continue };
                for (at, (plot, _)) in group.iter().enumerate() {
                    let litres = mix.wet.as_ref().and_then(|wet| wet.portions_l.get(at).copied());
                    let mix_g = mix.dry.portions_g.get(at).copied().unwrap_or(0.0);
                    let helping = Helping::OfMix { number: mix.number, mix_g, litres };
                    helpings.insert((plot.standing.plot.id.0, row.id), helping);
                }
                mixes.push(mix);
            }
        }
        let plots = view.plots.iter().map(|plot| sheet_plot(view, plot, step_g, &helpings));
        let plots: Vec<SheetPlot> = plots.filter(|plot| !plot.lines.is_empty()).collect();
        for row in view.used() {
            let mut notes = cautions_for(&row.amendment, &Context { splits: Some(&view.splits), ..Context::default() });
            notes.retain(|note| asked_for(note.caution, row.id, &plots));
            if !notes.is_empty() {
                cautions.push(SheetCautions { name: row.amendment.name.clone(), notes });
            }
        }
        let (mut rounds, mut wear) = (BTreeMap::<_, Vec<_>>::new(), BTreeMap::<_, Vec<_>>::new());
        for row in view.used() {
            let name = || row.amendment.name.clone();
            rounds.entry(Round::of(&row.amendment)).or_default().push(name());
            Wear::with(&row.amendment).for_each(|what| wear.entry(what).or_default().push(name()));
        }
        let (rounds, wear) = (rounds.into_iter().collect(), wear.into_iter().collect());
        Sheet { mixes, cautions, plots, rounds, wear }
    }

    /// The same doses product by product, in the order of the work: for whoever goes round
    /// with one bag.
    pub fn by_product(&self) -> Vec<Heap<'_>> {
        self.heaps(|line| (line.round, line.amendment), |line| line.name.clone())
    }

    /// The same doses round by round of the garden.
    pub fn by_round(&self) -> Vec<Heap<'_>> {
        self.heaps(|line| line.round, |line| line.round.label().to_owned())
    }

    /// The same doses pass by pass, as the planner counts them and the limit on passes does: what is
    /// carried together is one heap. A plot stands in as many heaps as passes go over it.
    pub fn by_pass(&self) -> Vec<Heap<'_>> {
        let walk = |line: &SheetLine| (line.pass, (line.pass == Pass::Alone).then_some(line.amendment));
        let title = |line: &SheetLine| match line.pass {
            Pass::Alone => line.name.clone(),
            shared => shared.label().to_owned(),
        };
        let mut heaps = self.heaps(walk, title);
        heaps.sort_by_key(|heap| heap.round);
        heaps
    }

    fn heaps<K: Ord>(&self, of: impl Fn(&SheetLine) -> K, title: impl Fn(&SheetLine) -> String) -> Vec<Heap<'_>> {
        let mut heaps: BTreeMap<K, Heap> = BTreeMap::new();
        for (plot, line) in self.plots.iter().flat_map(|plot| plot.lines.iter().map(move |line| (plot, line))) {
            let heap = heaps.entry(of(line)).or_insert_with(|| Heap {
                title: title(line),
                round: line.round,
                pass: line.pass,
                total_g: 0.0,
                lines: Vec::new(),
            });
            heap.round = heap.round.max(line.round);
            heap.total_g += line.weigh_g;
            heap.lines.push((plot, line));
        }
        heaps.into_values().collect()
    }
}

/// Whether a caution is worth saying of these doses: to part a large dose, only where one is.
fn asked_for(caution: Caution, amendment: AmendmentId, plots: &[SheetPlot]) -> bool {
    if !matches!(caution, Caution::EpsomSplit | Caution::LimeSplit | Caution::PoultryAtOnce) {
        return true;
    }
    let mut lines = plots.iter().flat_map(|plot| &plot.lines).filter(|line| line.amendment == amendment);
    lines.any(|line| line.beware.contains(&caution))
}

/// The small doses of a product, thinnest first, in groups of which no dose per m² is more
/// than [`SPAN`] times another.
fn by_strength(view: &PlanView, amendment: AmendmentId, step_g: f64) -> Vec<Vec<(&PlanPlot, f64)>> {
    let thin = |(plot, dose): &(&PlanPlot, f64)| dose / plot.standing.plot.area_m2;
    let dose_of = |plot: &PlanPlot| plot.doses.iter().find(|d| d.amendment == amendment).map(|d| d.mass_g);
    let mut small: Vec<(&PlanPlot, f64)> = view
        .plots
        .iter()
        .filter_map(|plot| Some((plot, dose_of(plot)?)))
        .filter(|(plot, dose)| doses::wants_carrier(*dose, plot.standing.plot.area_m2, step_g))
        .collect();
    small.sort_by(|a, b| thin(a).total_cmp(&thin(b)));
    let mut groups: Vec<Vec<(&PlanPlot, f64)>> = Vec::new();
    for dose in small {
        match groups.last_mut().filter(|group| thin(&dose) <= SPAN * thin(&group[0])) {
            Some(group) => group.push(dose),
            None => groups.push(vec![dose]),
        }
    }
    groups
}

fn mix(number: usize, id: AmendmentId, amendment: &Amendment, small: &[(&PlanPlot, f64)], step_g: f64) -> Option<Mix> {
    let portions: Vec<(f64, f64)> = small.iter().map(|(plot, g)| (*g, plot.standing.plot.area_m2)).collect();
    let dry = carrier_mix(&portions, step_g)?;
    let grams: Vec<f64> = portions.iter().map(|(g, _)| *g).collect();
    let holds_g_per_l = amendment.solubility.as_ref().map(|s| s.value);
    let area: f64 = portions.iter().map(|(_, area)| area).sum();
    let wet = holds_g_per_l.and_then(|limit| stock(&grams, step_g, (area * LITRES_PER_M2).ceil(), limit));
    let plots = small.iter().map(|(plot, _)| plot.standing.plot.code.clone()).collect();
    Some(Mix { number, amendment: id, name: amendment.name.clone(), plots, dry, wet, holds_g_per_l })
}

/// A solution in as few cans as hold it with a wide margin, and as give every plot enough to
/// measure; in all the water of a light watering where they do not.
fn stock(grams: &[f64], step_g: f64, most_litres: f64, limit_g_per_l: f64) -> Option<Solution> {
    let in_litres = |litres: f64| solution(grams, step_g, litres, Some(limit_g_per_l));
    let fits = |solution: &Solution| {
        solution.g_per_l <= limit_g_per_l * STRONGEST && solution.portions_l.iter().all(|l| *l >= LEAST_LITRES)
    };
    let cans = (1..).map(|n| f64::from(n) * CAN_LITRES).take_while(|litres| *litres < most_litres);
    cans.filter_map(in_litres).find(fits).or_else(|| in_litres(most_litres))
}

fn sheet_plot(
    view: &PlanView,
    plot: &PlanPlot,
    step_g: f64,
    helpings: &BTreeMap<(i64, AmendmentId), Helping>,
) -> SheetPlot {
    let standing = &plot.standing;
    let on = |dose: &&super::DoseLine| dose.mass_g > 0.0;
    let here: Vec<&Amendment> =
        plot.doses.iter().filter(on).filter_map(|d| Some(&view.product(d.amendment)?.amendment)).collect();
    let mut lines = Vec::new();
    let mut cautions = Vec::new();
    for dose in plot.doses.iter().filter(on) {
        let Some(row) = view.product(dose.amendment) else { continue };
        let amendment = &row.amendment;
        let helping = helpings.get(&(standing.plot.id.0, row.id)).copied().unwrap_or(Helping::Weighed);
        // What goes into a mix is measured by the mix, not by the scale's step.
        let weigh_g = if helping == Helping::Weighed { doses::on_scale(dose.mass_g, step_g) } else { dose.mass_g };
        let rate = Grams(weigh_g).per(standing.plot.ground().area);
        let context = Context {
            ph: standing.present.ph_at_least(),
            carbonate_signs: standing.present.signs.calcareous(),
            layer: Some(standing.plot.ground().layer()),
            dose: Some(rate),
            beside: &here,
            splits: Some(&view.splits),
            ..Context::default()
        };
        let always = cautions_for(amendment, &Context { splits: Some(&view.splits), ..Context::default() });
        let said = cautions_for(amendment, &context);
        lines.push(SheetLine {
            amendment: row.id,
            name: amendment.name.clone(),
            round: Round::of(amendment),
            pass: pass_of(amendment, row.liquid),
            weigh_g,
            g_per_m2: rate.grams_per_m2().0,
            helping,
            beware: said.iter().map(|note| note.caution).collect(),
        });
        let more = said.into_iter().filter(|note| !always.contains(note));
        cautions.extend(more.map(|note| (amendment.name.clone(), note.text)));
    }
    lines.sort_by_key(|line| line.round);
    SheetPlot {
        plot: standing.plot.clone(),
        crops: plot.crops.iter().map(|c| c.name).collect(),
        lines,
        cautions,
        spacing: plot.spacing.clone(),
    }
}
