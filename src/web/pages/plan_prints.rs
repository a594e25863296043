//! The two pages of a plan that go out of the house: the weigh-out sheet for the shed and
//! the shopping list.

use super::{
    plan_caps::decisions,
    plans::{under_plan, unpriced},
    plots::titled,
};
use crate::{
    app::seasons::{Helping, Mix, PlanView, Sheet, SheetCautions, SheetLine, SheetPlot, Sold},
    ids::{AmendmentId, PlanId},
    web::{error::Result, guard::Cx, show, view::Frame},
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::{HeaderMap, header},
};

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
    /// Caps that were overruled: plots, sentence, the warning that stays.
    overruled: Vec<(String, String, Option<&'static str>)>,
    foot: String,
}

/// The shopping list.
#[derive(Template, WebTemplate)]
#[template(path = "print/shopping.html")]
pub struct ShoppingPage {
    frame: Frame,
    draft: bool,
    invented: bool,
    lines: Vec<Line>,
    /// Packs with a known price together; `None` where nothing is bought.
    total: Option<String>,
    unknown: Vec<String>,
    foot: String,
}

/// A product of the shopping list.
struct Line {
    name: String,
    used: String,
    on_hand: String,
    buy: String,
    cost: String,
    left_over: String,
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
        format!("{}\u{a0}g/m²", show::significant(line.g_per_m2, 2))
    }

    /// How a small dose is had, beside its grams.
    fn helping(&self, line: &SheetLine) -> Option<String> {
        match line.helping {
            Helping::Weighed => None,
            Helping::OfMix { number, mix_g, litres: None } => {
                Some(format!("as {} of dry mix {number}", show::mass(mix_g)))
            }
            Helping::OfMix { number, mix_g, litres: Some(litres) } => {
                let litres = self.litres(litres);
                if self.sheet.mixes.iter().any(|mix| mix.number == number && mix.in_water()) {
                    return Some(format!("as {litres} of solution {number}"));
                }
                Some(format!("as {} of dry mix {number}, or {litres} of solution {number}", show::mass(mix_g)))
            }
        }
    }

    fn litres(&self, litres: f64) -> String {
        if litres < 0.995 {
            format!("{}\u{a0}ml", show::significant(litres * 1000.0, 2))
        } else {
            format!("{}\u{a0}litres", show::significant(litres, 2))
        }
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
            None => steps.push(format!(
                "Mix it well with {} of dry sand or compost (1 part to {}).",
                show::mass(dry.carrier_g),
                show::significant(dry.parts, 3)
            )),
        }
        steps.push("Spread each plot’s share in two passes, the second across the first, and rake it in.".into());
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
                self.litres(least)
            ),
            _ => format!(
                "{} dissolve {} in {} ({strength} g in a litre; cold water holds about {limit}). Give each plot its share, \
                 thinned with plain water to wet the whole bed evenly, and rinse leaves.",
                if mix.in_water() { "In water, since so little in sand would be barrowloads:" } else { "Or in water:" },
                show::weighed(wet.product_g, self.step_g),
                self.litres(wet.litres)
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

/// `GET /plans/{plan}/sheet`
pub async fn sheet(cx: Cx, Path(plan): Path<PlanId>, headers: HeaderMap) -> Result<SheetPage> {
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
        overruled: decisions(&view),
        sheet: Sheet::of(&view),
    })
}

fn lines(view: &PlanView) -> Vec<Line> {
    let some = |grams: f64| if grams > 0.0 { show::mass(grams) } else { String::new() };
    let used = view.shopping.iter().filter(|line| line.used_g > 0.0);
    used.map(|line| {
        let packs = line.packs.iter().filter(|(_, count)| *count > 0.0);
        let buy: Vec<String> = packs
            .map(|(pack, count)| match view.sold(AmendmentId(i64::from(line.product.key))) {
                Sold::Loose => format!("loose, from packs of {}", show::mass(pack.mass_g)),
                Sold::Halves => {
                    let halves = if *count == 1.0 { "half" } else { "halves" };
                    let whole = show::mass(pack.mass_g * 2.0);
                    format!("{}\u{a0}{halves} of a pack of {whole}", show::number(*count, 0))
                }
                Sold::Whole => format!("{}\u{a0}×\u{a0}{}", show::number(*count, 0), show::mass(pack.mass_g)),
            })
            .collect();
        let cost = match line.cost_minor {
            Some(minor) if !buy.is_empty() => show::money(minor.round() as i64, &view.site.currency),
            None if !buy.is_empty() => "not known".into(),
            _ => String::new(),
        };
        Line {
            name: line.product.name.clone(),
            used: show::mass(line.used_g),
            on_hand: some(line.from_stock_g),
            buy: if buy.is_empty() { "nothing".into() } else { buy.join(" + ") },
            cost,
            left_over: some(line.left_over_g),
            missing: (line.missing_g > 0.0).then(|| show::mass(line.missing_g)),
        }
    })
    .collect()
}

/// `GET /plans/{plan}/shopping`
pub async fn shopping(cx: Cx, Path(plan): Path<PlanId>, headers: HeaderMap) -> Result<ShoppingPage> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let frame = under_plan(&cx, &view, format!("Shopping list: {}", view.plan.name));
    let bought = view.shopping.iter().any(|line| line.cost_minor.is_some() && !line.packs.is_empty());
    Ok(ShoppingPage {
        foot: foot(&cx, &headers, &frame),
        frame,
        draft: view.plan.state == "draft",
        invented: view.site.invented,
        lines: lines(&view),
        total: bought.then(|| show::money(view.cost_minor.round() as i64, &view.site.currency)),
        unknown: unpriced(&view),
    })
}
