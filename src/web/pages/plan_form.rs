//! The form that a plan is made from, new or changed: guideline, plots, products and limits.

use super::{
    plots::titled,
    seasons::under_season,
    sites::{GuidelineChoice, guideline_choices},
};
use crate::{
    agronomy::{amendment::Kind, element::Element, standing::NutrientStanding},
    app::{
        self,
        plots::SiteRow,
        seasons::{PlanForm, SeasonRow},
        standing::{DEFAULT_GUIDELINE, PlotStanding},
    },
    ids::{PlanId, SeasonId},
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show,
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Path, Query},
    http::StatusCode,
    response::{IntoResponse, Response},
};
use serde::Deserialize;

/// The form.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/form.html")]
pub struct PlanFormPage {
    frame: Frame,
    form: Form,
    action: String,
    button: &'static str,
    /// Address of the form itself, for its links; only a new plan has them.
    again: Option<String>,
    site: SiteRow,
    guidelines: Vec<GuidelineChoice>,
    blocks: Vec<BlockChoice>,
    products: Vec<ProductChoice>,
    elements: Vec<(&'static str, &'static str)>,
}

/// The plots of a block.
struct BlockChoice {
    /// Empty where the site has no blocks.
    name: String,
    plots: Vec<PlotChoice>,
}

struct PlotChoice {
    id: String,
    title: String,
    /// Its worst shortage, or why none is known.
    words: String,
    tested: bool,
}

struct ProductChoice {
    id: String,
    name: String,
    /// What is on hand and in which packs it can be bought.
    words: String,
    /// It can be had, and is no lime or ash, nor a meal or manure of unknown price.
    usual: bool,
}

/// Elements that may be left out of a plan.
const ELEMENTS: [Element; 11] = [
    Element::P,
    Element::K,
    Element::Mg,
    Element::Ca,
    Element::S,
    Element::B,
    Element::Cu,
    Element::Fe,
    Element::Mn,
    Element::Mo,
    Element::Zn,
];

/// Which plots a new plan starts with: `tested` (the default), `all` or `none`.
#[derive(Debug, Default, Deserialize)]
pub struct Start {
    #[serde(default)]
    plots: String,
}

/// The nutrient that a plot lacks most.
fn worst(standing: &PlotStanding) -> Option<&NutrientStanding> {
    let nutrients = standing.present.standing.nutrients.iter().filter(|n| n.shortage_weight() > 0.0);
    nutrients.max_by(|a, b| a.shortage_weight().total_cmp(&b.shortage_weight()))
}

fn plot_choice(standing: &PlotStanding) -> PlotChoice {
    let tested = !standing.samplings.is_empty();
    let words = match worst(standing) {
        Some(nutrient) => match &nutrient.percent_of_aim {
            Some(percent) => format!("shortest of {}: {} of the aim", name(nutrient), percent.figure),
            None => format!("short of {}", name(nutrient)),
        },
        None if tested => "nothing found short".into(),
        None => "no soil test, so only what you state is planned".into(),
    };
    let area = show::area(standing.plot.area_m2);
    let words = format!("{area}; {words}");
    PlotChoice { id: standing.plot.id.to_string(), title: titled(&standing.plot), words, tested }
}

fn name(nutrient: &NutrientStanding) -> String {
    let name = nutrient.analyte.name();
    match nutrient.analyte.element() {
        Some(element) => element.name().to_owned(),
        None => name,
    }
}

fn product_choice(
    row: &app::amendments::AmendmentRow,
    packs: &[app::amendments::PackRow],
    stock_g: Option<f64>,
) -> ProductChoice {
    let on_hand = stock_g.filter(|g| *g > 0.0);
    let priced = packs.iter().any(|pack| pack.price_minor.is_some());
    let packs: Vec<String> = packs
        .iter()
        .map(|pack| match (pack.price_minor, &pack.currency) {
            (Some(price), Some(currency)) => {
                format!("{} for {}", show::mass(pack.mass_g), show::money(price, currency))
            }
            _ => show::mass(pack.mass_g),
        })
        .collect();
    let mut words = match on_hand {
        Some(grams) => format!("{} on hand", show::mass(grams)),
        None => "none on hand".into(),
    };
    words += &if packs.is_empty() { "; no pack to buy".into() } else { format!("; packs of {}", packs.join(", ")) };
    ProductChoice {
        id: row.id.to_string(),
        name: row.amendment.name.clone(),
        words,
        usual: match row.amendment.kind {
            Kind::Lime | Kind::Ash => false,
            Kind::Salt | Kind::Mineral => on_hand.is_some() || !packs.is_empty(),
            // Of a meal or a manure without a price the planner would think that it costs nothing.
            _ => on_hand.is_some() || priced,
        },
    }
}

/// The products that a new plan starts with.
pub(super) async fn usual_products(cx: &Cx) -> Result<Vec<String>> {
    Ok(product_choices(cx).await?.into_iter().filter(|product| product.usual).map(|product| product.id).collect())
}

async fn product_choices(cx: &Cx) -> Result<Vec<ProductChoice>> {
    let (packs, stock) = (cx.app.packs(&cx.actor).await?, cx.app.stock(&cx.actor).await?);
    let products = cx.app.amendments(&cx.actor, false).await?;
    let choice = |row: &app::amendments::AmendmentRow| {
        product_choice(row, packs.get(&row.id).map_or(&[][..], Vec::as_slice), stock.get(&row.id).copied())
    };
    Ok(products.iter().map(choice).collect())
}

impl PlanFormPage {
    async fn load(cx: &Cx, season: &SeasonRow, title: String, action: String) -> Result<PlanFormPage> {
        let standings = cx.app.site_standings(&cx.actor, season.site).await?;
        let products = product_choices(cx).await?;
        let mut blocks: Vec<BlockChoice> = Vec::new();
        for standing in &standings.plots {
            let name = standing.plot.block_name.clone().unwrap_or_default();
            if blocks.last().is_none_or(|block| block.name != name) {
                blocks.push(BlockChoice { name, plots: vec![] });
            }
            if let Some(block) = blocks.last_mut() {
                block.plots.push(plot_choice(standing));
            }
        }
        let frame = under_season(cx, &standings.site, title)
            .under(format!("/seasons/{}", season.id), format!("Season {}", season.name));
        Ok(PlanFormPage {
            frame,
            form: Form::new(),
            action,
            button: "Work out the plan",
            again: None,
            guidelines: guideline_choices(),
            blocks,
            products,
            elements: ELEMENTS.iter().map(|element| (element.symbol(), element.name())).collect(),
            site: standings.site,
        })
    }

    /// What a new plan starts with.
    fn filled(&self, season: &SeasonRow, start: &Start, today: jiff::civil::Date) -> PlanForm {
        let plots = self.blocks.iter().flat_map(|block| &block.plots).filter(|plot| match start.plots.as_str() {
            "all" => true,
            "none" => false,
            _ => plot.tested,
        });
        PlanForm {
            name: format!("Plan {}", season.name),
            guideline: self.site.guideline.clone().unwrap_or_else(|| DEFAULT_GUIDELINE.into()),
            plots: plots.map(|plot| plot.id.clone()).collect(),
            products: self.products.iter().filter(|p| p.usual).map(|p| p.id.clone()).collect(),
            seasons: "1".into(),
            spread_on: today.max(season.starts_on).to_string(),
            ..PlanForm::default()
        }
    }
}

async fn new_page(cx: &Cx, season: &SeasonRow) -> Result<PlanFormPage> {
    let action = format!("/seasons/{}/plans", season.id);
    let mut page = PlanFormPage::load(cx, season, "A new plan".into(), action).await?;
    page.again = Some(format!("/seasons/{}/plans/new", season.id));
    Ok(page)
}

/// `GET /seasons/{season}/plans/new`
pub async fn new(cx: Cx, Path(season): Path<SeasonId>, Query(start): Query<Start>) -> Result<PlanFormPage> {
    let season = cx.app.season(&cx.actor, season).await?.season;
    let mut page = new_page(&cx, &season).await?;
    page.form = Form::of(&page.filled(&season, &start, cx.app.today()));
    Ok(page)
}

/// `POST /seasons/{season}/plans`
pub async fn add(cx: Cx, Path(season): Path<SeasonId>, form: Form) -> Result<Response> {
    match cx.app.add_plan(&cx.actor, season, &form.read_as()?).await {
        Ok(id) => Ok(see(format!("/plans/{id}"))
            .say("The plan is worked out. Look it over before you agree it.")
            .into_response()),
        Err(error) => {
            let form = form.refused(error)?;
            let season = cx.app.season(&cx.actor, season).await?.season;
            let page = PlanFormPage { form, ..new_page(&cx, &season).await? };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// The form with what a plan holds, and the page round it.
async fn edit_page(cx: &Cx, plan: PlanId) -> Result<(PlanForm, PlanFormPage)> {
    let (season, row, held) = cx.app.plan_form(&cx.actor, plan).await?;
    let title = format!("Change what {} is made from", row.name);
    let mut page = PlanFormPage::load(cx, &season, title, format!("/plans/{plan}")).await?;
    page.frame = page.frame.under(format!("/plans/{plan}"), &row.name);
    page.button = "Work it out again";
    Ok((held, page))
}

/// `GET /plans/{plan}/edit`
pub async fn edit(cx: Cx, Path(plan): Path<PlanId>) -> Result<PlanFormPage> {
    let (held, page) = edit_page(&cx, plan).await?;
    Ok(PlanFormPage { form: Form::of(&held), ..page })
}

/// `POST /plans/{plan}`
pub async fn change(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<Response> {
    match cx.app.edit_plan(&cx.actor, plan, &form.read_as()?).await {
        Ok(()) => Ok(see(format!("/plans/{plan}")).say("The plan is worked out again.").into_response()),
        Err(error) => {
            let (held, page) = edit_page(&cx, plan).await?;
            let page = PlanFormPage { form: form.refused_edit(error, &held)?, ..page };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
