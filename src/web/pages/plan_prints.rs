//! The pages of a plan that go out of the house: the weigh-out sheet for the shed, by plot,
//! by product, by round or by pass; labels for the weighed bags; and the shopping list by supplier.

use super::{
    plan_caps::{decisions, packs as packs_words, unpriced},
    plan_plot::spacing_source,
    plan_words::together,
    plans::under_plan,
    plots::titled,
};
use crate::{
    agronomy::{liking::Liking, order_of_work::Round, quantity::GramsPerM2},
    app::{
        amendments::PackRow,
        seasons::{
            CAN_LITRES, Heap, Helping, LITRES_PER_M2, Mix, PlanView, Sheet, SheetCautions, SheetLine, SheetPlot, Sold,
        },
    },
    ids::{AmendmentId, PlanId},
    web::{error::Result, guard::Cx, show, view::Frame},
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Path, Query},
    http::{HeaderMap, header},
};
use serde::Deserialize;
use std::collections::BTreeMap;

/// How a print is asked for, in the address.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Wanted {
    /// "plot", "product", "round" or "pass"; anything else is by plot.
    by: String,
    /// "a4" or "letter"; anything else is A4.
    paper: String,
}

impl Wanted {
    const ORDERS: [(&'static str, &'static str); 4] = [
        ("plot", "Plot by plot"),
        ("product", "Product by product"),
        ("round", "Round by round"),
        ("pass", "Pass by pass"),
    ];
    const PAPERS: [(&'static str, &'static str); 2] = [("a4", "A4"), ("letter", "Letter")];

    fn by(&self) -> &'static str {
        Self::ORDERS.iter().find(|(key, _)| *key == self.by).unwrap_or(&Self::ORDERS[0]).0
    }

    fn paper(&self) -> &'static str {
        Self::PAPERS.iter().find(|(key, _)| *key == self.paper).unwrap_or(&Self::PAPERS[0]).0
    }

    fn orders(&self) -> &'static [(&'static str, &'static str)] {
        &Self::ORDERS
    }

    fn papers(&self) -> &'static [(&'static str, &'static str)] {
        &Self::PAPERS
    }
}

/// The weigh-out sheet.
#[derive(Template, WebTemplate)]
#[template(path = "print/sheet.html")]
pub struct SheetPage {
    frame: Frame,
    site: String,
    season: String,
    spread_on: String,
    draft: bool,
    invented: bool,
    stale: bool,
    /// The scale's step.
    step_g: f64,
    sheet: Sheet,
    liking: Liking,
    /// Caps that were overruled: plots, sentence, the warning that stays.
    overruled: Vec<(String, String, Option<&'static str>)>,
    wanted: Wanted,
    foot: String,
}

/// Labels to cut out, one for each weighed bag.
#[derive(Template, WebTemplate)]
#[template(path = "print/labels.html")]
pub struct LabelsPage {
    frame: Frame,
    site: String,
    season: String,
    draft: bool,
    invented: bool,
    stale: bool,
    wanted: Wanted,
    labels: Vec<Label>,
}

/// What is written on one bag.
struct Label {
    plot: String,
    product: String,
    weigh: String,
    rate: String,
    /// "as 340 g of dry mix 2".
    helping: Option<String>,
    /// What to beware of, in a few words.
    beware: String,
}

/// The shopping list.
#[derive(Template, WebTemplate)]
#[template(path = "print/shopping.html")]
pub struct ShoppingPage {
    frame: Frame,
    draft: bool,
    invented: bool,
    suppliers: Vec<Supplier>,
    /// Packs with a known price together; `None` where nothing is bought.
    total: Option<String>,
    /// What is left over is worth at this year's prices.
    left_worth: Option<String>,
    unknown: Vec<String>,
    foot: String,
    /// What the first figure of a line is: all of a draft, or what an agreed plan has still to put on.
    uses: &'static str,
}

/// What is bought in one place.
struct Supplier {
    name: String,
    lines: Vec<Line>,
    /// Where there are several suppliers and a price is known.
    total: Option<String>,
}

/// A product of the shopping list.
struct Line {
    name: String,
    used: String,
    on_hand: String,
    buy: String,
    cost: String,
    left_over: String,
    /// What that is worth next year, at this year's price for a gram.
    worth: Option<String>,
    missing: Option<String>,
}

/// Day and address for the foot of a printed page.
fn foot(cx: &Cx, headers: &HeaderMap, frame: &Frame) -> String {
    let host = headers.get(header::HOST).and_then(|host| host.to_str().ok()).unwrap_or_default();
    format!("Printed {} from {host}{}", show::date(cx.app.today()), frame.path)
}

impl SheetPage {
    fn weighed(&self, line: &SheetLine) -> String {
        show::weighed(line.weigh_g, self.step_g)
    }

    fn rate(&self, line: &SheetLine) -> String {
        product_rate(self.liking, line.g_per_m2)
    }

    fn helping(&self, line: &SheetLine, plot: &SheetPlot) -> Option<String> {
        helping(&self.sheet, line, plot.plot.area_m2)
    }

    fn wear(&self) -> Vec<String> {
        let line = |(wear, names): &(crate::agronomy::order_of_work::Wear, Vec<String>)| {
            format!("{} with {}", wear.label(), names.join(", "))
        };
        self.sheet.wear.iter().map(line).collect()
    }

    fn heaps(&self) -> Vec<Heap<'_>> {
        match self.wanted.by() {
            "product" => self.sheet.by_product(),
            "pass" => self.sheet.by_pass(),
            _ => self.sheet.by_round(),
        }
    }

    /// What stands beside the heading of a heap.
    fn heap_words(&self, heap: &Heap) -> String {
        match self.wanted.by() {
            "product" => format!("{} in all", show::weighed(heap.total_g, self.step_g)),
            "pass" => format!("{} {} {}", heap.pass.how(), heap.round.when(), heap.round.weather()),
            _ => heap.round.weather().to_owned(),
        }
    }

    /// The product of a line is named where its heap holds several.
    fn names_products(&self) -> bool {
        matches!(self.wanted.by(), "round" | "pass")
    }

    /// What the days between lime and manure ask of plots, those of which the same is said together.
    fn spacing(&self) -> Vec<String> {
        let plots = self.sheet.plots.iter();
        let said = plots.flat_map(|plot| plot.spacing.iter().map(|words| format!("{}: {words}", plot.plot.code)));
        together(&said.collect::<Vec<_>>())
    }

    /// Who says so.
    fn spacing_source(&self) -> String {
        spacing_source()
    }

    fn sources(&self) -> String {
        let mut said: Vec<String> = Vec::new();
        for source in self.sheet.rounds.iter().flat_map(|(round, _)| Round::sources(*round)) {
            let who = if source.publisher.is_empty() {
                source.evidence.words().to_owned()
            } else {
                match show::evidence_mark(source.evidence) {
                    Some(mark) => format!("{}, {} ({mark})", source.publisher, source.title),
                    None => format!("{}, {}", source.publisher, source.title),
                }
            };
            if !said.contains(&who) {
                said.push(who);
            }
        }
        said.join("; ")
    }

    /// What to weigh and mix, step by step.
    fn dry(&self, mix: &Mix) -> Vec<String> {
        let dry = &mix.dry;
        let weigh = format!("Weigh {} of {}.", show::weighed(dry.product_g, self.step_g), mix.name);
        let mut steps = vec![weigh];
        match dry.first {
            Some(first) => {
                steps.push(format!(
                    "Mix it well with {} of dry sand or compost (1 part to {}).",
                    show::mass(first.carrier_g),
                    show::significant(first.parts, 3)
                ));
                steps.push(format!(
                    "Of this mix take {}, and keep the rest, labelled, for another time.",
                    show::weighed(first.take_g, self.step_g)
                ));
                steps.push(format!("Mix what you took with {} more sand or compost.", show::mass(dry.carrier_g)));
            }
            None => {
                let (carrier, parts) = (show::mass(dry.carrier_g), show::significant(dry.parts, 2));
                steps.push(match mix.first_go_g() {
                    Some(first_g) => format!(
                        "Mix it well with {} of dry sand or compost first, then that with the rest of {carrier} in all \
                         (1 part to {parts}).",
                        show::mass(first_g)
                    ),
                    None => format!("Mix it well with {carrier} of dry sand or compost (1 part to {parts})."),
                });
            }
        }
        steps.push("Spread half of each plot’s share lengthwise and half across, and rake it in.".into());
        steps
    }

    /// How to dissolve it instead.
    fn wet(&self, mix: &Mix) -> Option<String> {
        let (wet, holds) = (mix.wet.as_ref()?, mix.holds_g_per_l?);
        let strength = show::significant(wet.g_per_l, 2);
        let limit = show::significant(holds, 2);
        Some(match (wet.dissolves, wet.least_litres) {
            (Some(false), Some(least)) => format!(
                "It does not dissolve in so little water: {} needs at least {} cold (a litre holds {limit} g). Use the dry mix.",
                show::weighed(wet.product_g, self.step_g),
                litres(least)
            ),
            _ => format!(
                "{} dissolve {} in {} ({strength} g in a litre; cold water holds about {limit}, so this is {} % of what it \
                 can). Give each plot its share, thinned with plain water to {LITRES_PER_M2} litre on a square metre, and \
                 rinse leaves.",
                if mix.in_water() { "In water, since so little in sand would be barrowloads:" } else { "Or in water:" },
                show::weighed(wet.product_g, self.step_g),
                litres(wet.litres),
                show::significant(100.0 * wet.g_per_l / holds, 2)
            ),
        })
    }

    fn title(&self, plot: &SheetPlot) -> String {
        titled(&plot.plot)
    }

    fn about(&self, plot: &SheetPlot) -> String {
        let area = show::area(plot.plot.area_m2);
        if plot.crops.is_empty() { area } else { format!("{area}; {}", plot.crops.join(", ")) }
    }

    /// Products that say the same are named together, each sentence once.
    fn cautions(&self) -> Vec<(String, &'static str, String)> {
        let mut said: Vec<(Vec<&str>, &'static str, String)> = Vec::new();
        for SheetCautions { name, notes } in &self.sheet.cautions {
            for note in notes {
                match said.iter_mut().find(|(_, _, text)| *text == note.text) {
                    Some((names, ..)) => names.push(name),
                    None => said.push((vec![name], note.caution.label(), note.text.clone())),
                }
            }
        }
        said.into_iter().map(|(names, label, text)| (names.join(", "), label, text)).collect()
    }
}

fn litres(litres: f64) -> String {
    if litres < 0.995 {
        format!("{}\u{a0}ml", show::significant(litres * 1000.0, 2))
    } else {
        let text = show::significant(litres, 2);
        let litres = if text == "1" { "litre" } else { "litres" };
        format!("{text}\u{a0}{litres}")
    }
}

/// The rate of a product as this reader reads rates; what is weighed stays in grams of it.
fn product_rate(liking: Liking, g_per_m2: f64) -> String {
    let step = liking.product_conversion();
    let shown = step.there(GramsPerM2(g_per_m2).kg_per_ha().0);
    format!("{}\u{a0}{}", show::significant(shown, 2), step.unit)
}

/// So many watering cans.
fn cans(litres: f64) -> String {
    let text = show::significant(litres / CAN_LITRES, 2);
    let cans = if text == "1" { "can" } else { "cans" };
    format!("{text} {cans} of {CAN_LITRES}\u{a0}litres")
}

/// How a small dose is had, beside its grams.
fn helping(sheet: &Sheet, line: &SheetLine, area_m2: f64) -> Option<String> {
    let Helping::OfMix { number, mix_g, litres: wet } = line.helping else { return None };
    let dry = format!("as {} of dry mix {number}", show::mass(mix_g));
    let Some(wet) = wet else { return Some(dry) };
    // Thinned to wet the bed evenly; a strong share of a weak solution wets it as it is.
    let water = (area_m2 * LITRES_PER_M2).max(wet);
    let cans = cans(water);
    let solution = if water > wet {
        format!("{} of solution {number}, made up to {} ({cans})", litres(wet), litres(water))
    } else {
        format!("{} of solution {number} ({cans})", litres(wet))
    };
    let only_water = sheet.mixes.iter().any(|mix| mix.number == number && mix.in_water());
    Some(if only_water { format!("as {solution}") } else { format!("{dry}, or {solution}") })
}

/// `GET /plans/{plan}/sheet`
pub async fn sheet(
    cx: Cx,
    Path(plan): Path<PlanId>,
    Query(wanted): Query<Wanted>,
    headers: HeaderMap,
) -> Result<SheetPage> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let frame = under_plan(&cx, &view, format!("Weigh-out sheet: {}", view.plan.name));
    Ok(SheetPage {
        foot: foot(&cx, &headers, &frame),
        frame,
        site: view.site.name.clone(),
        season: view.season.name.clone(),
        spread_on: show::date(view.spread_on),
        draft: view.plan.state == "draft",
        invented: view.site.invented,
        stale: view.stale,
        step_g: view.site.scale_step_g,
        overruled: decisions(&view, cx.actor.liking),
        liking: cx.actor.liking,
        sheet: Sheet::of(&view),
        wanted,
    })
}

/// `GET /plans/{plan}/labels`
pub async fn labels(cx: Cx, Path(plan): Path<PlanId>, Query(wanted): Query<Wanted>) -> Result<LabelsPage> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let sheet = Sheet::of(&view);
    let step_g = view.site.scale_step_g;
    // What this dose on this plot asks for, not what the product may.
    let beware = |line: &SheetLine| line.beware.iter().map(|caution| caution.label()).collect::<Vec<_>>().join(". ");
    let of = |plot: &SheetPlot, line: &SheetLine| Label {
        plot: titled(&plot.plot),
        product: line.name.clone(),
        weigh: show::weighed(line.weigh_g, step_g),
        rate: format!("{} on {}", product_rate(cx.actor.liking, line.g_per_m2), show::area(plot.plot.area_m2)),
        helping: helping(&sheet, line, plot.plot.area_m2),
        beware: beware(line),
    };
    // Heap by heap, as bags are filled.
    let heaps = if wanted.by() == "plot" { None } else { Some(sheet.by_product()) };
    let labels = match &heaps {
        Some(heaps) => heaps.iter().flat_map(|heap| &heap.lines).map(|(plot, line)| of(plot, line)).collect(),
        None => sheet.plots.iter().flat_map(|plot| plot.lines.iter().map(move |line| of(plot, line))).collect(),
    };
    Ok(LabelsPage {
        frame: under_plan(&cx, &view, format!("Labels: {}", view.plan.name)),
        site: view.site.name.clone(),
        season: view.season.name.clone(),
        draft: view.plan.state == "draft",
        invented: view.site.invented,
        stale: view.stale,
        wanted,
        labels,
    })
}

/// Minor units for a gram, at the best known price of the packs that the plan buys, else of
/// those on sale.
fn price_per_g(bought: &[(crate::agronomy::plan::Pack, f64)], on_sale: &[PackRow]) -> Option<f64> {
    let bought = bought.iter().filter_map(|(pack, _)| Some(pack.price_minor? as f64 / pack.mass_g));
    let on_sale = on_sale.iter().filter_map(|pack| Some(pack.price_minor? as f64 / pack.mass_g));
    bought.reduce(f64::min).or_else(|| on_sale.reduce(f64::min))
}

/// The list by supplier; a product that is not bought stands under "From the shed".
fn suppliers(view: &PlanView, packs: &BTreeMap<AmendmentId, Vec<PackRow>>) -> (Vec<Supplier>, Option<f64>) {
    let some = |grams: f64| if grams > 0.0 { show::mass(grams) } else { String::new() };
    let money = |minor: f64| show::money(minor.round() as i64, &view.site.currency);
    let none = Vec::new();
    let mut by: BTreeMap<(bool, String), (Vec<Line>, Option<f64>)> = BTreeMap::new();
    let mut left_minor = None;
    for line in view.shopping.iter().filter(|line| line.used_g > 0.0) {
        let id = AmendmentId(i64::from(line.product.key));
        let on_sale = packs.get(&id).unwrap_or(&none);
        let bought: Vec<_> = line.packs.iter().filter(|(_, count)| *count > 0.0).copied().collect();
        let buy: Vec<String> = bought.iter().map(|(pack, count)| packs_words(view.sold(id), pack, *count)).collect();
        // Where a pack's supplier is not written down, the product's is.
        let of_pack = bought.iter().find_map(|(pack, _)| {
            // Half of a pack is a pack of half the mass.
            let parts = if view.sold(id) == Sold::Halves { 2.0 } else { 1.0 };
            let same = |row: &&PackRow| row.mass_g == pack.mass_g * parts;
            on_sale.iter().find(same).map(|row| row.supplier.clone()).filter(|name| !name.is_empty())
        });
        let of_product = || view.product(id).map(|row| row.supplier.clone()).unwrap_or_default();
        let from_shed = bought.is_empty();
        let supplier = if from_shed { String::new() } else { of_pack.unwrap_or_else(of_product) };
        let worth = price_per_g(&bought, on_sale).map(|price| price * line.left_over_g).filter(|minor| *minor >= 1.0);
        if let Some(worth) = worth {
            left_minor = Some(left_minor.unwrap_or(0.0) + worth);
        }
        let (lines, total) = by.entry((from_shed, supplier)).or_default();
        if let Some(cost) = line.cost_minor.filter(|_| !from_shed) {
            *total = Some(total.unwrap_or(0.0) + cost);
        }
        lines.push(Line {
            name: line.product.name.clone(),
            used: show::mass(line.used_g),
            on_hand: some(line.from_stock_g),
            buy: if from_shed { String::new() } else { buy.join(" + ") },
            cost: match line.cost_minor {
                Some(minor) if !from_shed => money(minor),
                None if !from_shed => "not known".into(),
                _ => String::new(),
            },
            left_over: some(line.left_over_g),
            worth: worth.map(money),
            missing: (line.missing_g > 0.0).then(|| show::mass(line.missing_g)),
        });
    }
    let several = by.keys().filter(|(from_shed, _)| !from_shed).count() > 1;
    let named = |from_shed: bool, name: String| match (from_shed, name.is_empty()) {
        (true, _) => "From the shed".to_owned(),
        (_, true) => "No supplier written down".to_owned(),
        _ => name,
    };
    let suppliers = by.into_iter().map(|((from_shed, name), (lines, total))| Supplier {
        name: named(from_shed, name),
        lines,
        total: total.filter(|_| several).map(money),
    });
    (suppliers.collect(), left_minor)
}

/// `GET /plans/{plan}/shopping`
pub async fn shopping(cx: Cx, Path(plan): Path<PlanId>, headers: HeaderMap) -> Result<ShoppingPage> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let packs = cx.app.packs(&cx.actor).await?;
    let frame = under_plan(&cx, &view, format!("Shopping list: {}", view.plan.name));
    let bought = view.shopping.iter().any(|line| line.cost_minor.is_some() && !line.packs.is_empty());
    let (suppliers, left_minor) = suppliers(&view, &packs);
    Ok(ShoppingPage {
        foot: foot(&cx, &headers, &frame),
        frame,
        draft: view.plan.state == "draft",
        uses: if view.plan.state == "draft" { "The plan uses" } else { "Still to put on" },
        invented: view.site.invented,
        suppliers,
        total: bought.then(|| show::money(view.cost_minor.round() as i64, &view.site.currency)),
        left_worth: left_minor.map(|minor| show::money(minor.round() as i64, &view.site.currency)),
        unknown: unpriced(&view),
    })
}
