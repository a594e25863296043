//! The form that a plan is made from, new or changed: guideline, plots, products, limits, and what
//! the grower wants beside what the tests ask.

use super::{
    plan_work::worked_out,
    plots::titled,
    seasons::under_season,
    sites::{GuidelineChoice, guideline_choices},
};
use crate::{
    agronomy::{amendment::Kind, analyte::Analyte, element::Element, standing::NutrientStanding},
    app::{
        self, Error,
        guidelines::DEFAULT_GUIDELINE,
        lists::newest,
        plots::SiteRow,
        seasons::{BY_RESPONSE, DoseForm, PlanForm, SeasonRow, Sold, SoldLine, WantLine, Where},
        standing::PlotStanding,
    },
    ids::{AmendmentId, PlanId, SeasonId},
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
use std::collections::BTreeSet;

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
    /// Keys and names of everywhere, each block and each plot.
    places: Vec<(String, String)>,
    /// Names of lists that the record knows something of.
    lists: Vec<String>,
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
    /// The lists that hold it, by their newest word.
    listed: String,
    /// It can be had, and is no lime or ash, nor a meal or manure of unknown price.
    usual: bool,
}

/// So many plots stand open one below the other; of more, each block is folded.
const OPEN: usize = 12;

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
            None if nutrient.analyte == Analyte::Ph => "the soil is sour".into(),
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
    listed: String,
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
        listed,
        usual: match row.amendment.kind {
            Kind::Lime | Kind::Ash => false,
            Kind::Salt | Kind::Mineral => on_hand.is_some() || !packs.is_empty(),
            _ => on_hand.is_some() || priced,
        },
    }
}

/// The products that a new plan starts with.
pub(super) async fn usual_products(cx: &Cx) -> Result<Vec<String>> {
    let products = product_choices(cx, &[], &BTreeSet::new()).await?;
    Ok(products.into_iter().filter(|product| product.usual).map(|product| product.id).collect())
}

/// Every product, with what each list says of it.
async fn product_choices(
    cx: &Cx,
    statuses: &[app::lists::ListStatusRow],
    lists: &BTreeSet<String>,
) -> Result<Vec<ProductChoice>> {
    let (packs, stock) = (cx.app.packs(&cx.actor).await?, cx.app.stock(&cx.actor).await?);
    let products = cx.app.amendments(&cx.actor, false).await?;
    let listed = |id: AmendmentId| {
        let newest = lists.iter().filter_map(|list| Some((list, newest(statuses, list).remove(&id)?)));
        let words: Vec<String> = newest.map(|(list, listing)| listing.words(list)).collect();
        words.join("; ")
    };
    let choice = |row: &app::amendments::AmendmentRow| {
        let packs = packs.get(&row.id).map_or(&[][..], Vec::as_slice);
        product_choice(row, packs, stock.get(&row.id).copied(), listed(row.id))
    };
    Ok(products.iter().map(choice).collect())
}

impl PlanFormPage {
    /// `current` is the guideline chosen already; empty for the site's own.
    async fn load(cx: &Cx, season: &SeasonRow, title: String, action: String, current: &str) -> Result<PlanFormPage> {
        let standings = cx.app.site_standings(&cx.actor, season.site).await?;
        let current = if current.is_empty() { standings.site.guideline.as_deref().unwrap_or("") } else { current };
        let guidelines = guideline_choices(cx, current).await?;
        let statuses = cx.app.list_statuses(&cx.actor).await?;
        let lists: BTreeSet<String> = statuses.iter().map(|status| status.list.clone()).collect();
        let products = product_choices(cx, &statuses, &lists).await?;
        let mut places = vec![(Where::Everywhere.key(), "every plot of the plan".to_owned())];
        for standing in &standings.plots {
            if let Some((block, name)) = standing.plot.block.zip(standing.plot.block_name.as_ref()) {
                let place = (Where::Block(block).key(), format!("block {name}"));
                if !places.contains(&place) {
                    places.push(place);
                }
            }
        }
        places.extend(standings.plots.iter().map(|s| (Where::Plot(s.plot.id).key(), titled(&s.plot))));
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
            guidelines,
            blocks,
            products,
            places,
            lists: lists.iter().cloned().collect(),
            elements: ELEMENTS.iter().map(|element| (element.symbol(), element.name())).collect(),
            site: standings.site,
        })
    }

    /// Whether there are so many plots that each block is folded.
    fn folds(&self) -> bool {
        self.blocks.iter().map(|block| block.plots.len()).sum::<usize>() > OPEN
    }

    /// How many plots of a block were ticked when the page was made.
    fn ticked(&self, block: &BlockChoice) -> String {
        let all = block.plots.len();
        match block.plots.iter().filter(|plot| self.form.has("plots", &plot.id)).count() {
            0 => format!("none of {all} ticked"),
            n if n == all => format!("all {all} ticked"),
            n => format!("{n} of {all} ticked"),
        }
    }

    /// Products that are ticked or usual, and the others.
    fn by_use(&self) -> (Vec<&ProductChoice>, Vec<&ProductChoice>) {
        self.products.iter().partition(|product| product.usual || self.form.has("products", &product.id))
    }

    /// The guideline that is chosen.
    fn followed(&self) -> Option<&str> {
        let chosen = self.guidelines.iter().find(|choice| self.form.has("guideline", &choice.slug))?;
        Some(&chosen.title)
    }

    /// A wish cannot be used as it was typed.
    fn want_wrong(&self) -> bool {
        self.want_lines().any(|at| !self.want_problems(&at).is_empty())
    }

    /// Something stands among the limits that few ask for.
    fn bound(&self) -> bool {
        let typed = |name: &&str| !self.form.value(name).is_empty() || !self.form.problems(name).is_empty();
        let sold = self.sold_lines().any(|at| {
            !self.form.value(&self.sold(&at, "product")).is_empty()
                || !self.form.problems(&self.sold(&at, "how")).is_empty()
        });
        let packs = self.ways().first().is_some_and(|(usual, _)| !["", usual].contains(&self.form.value("sold")));
        ["max_passes", "recipes", "search_seconds"].iter().any(typed) || packs || sold
    }

    /// Lines for what is wanted: those filled, and some empty ones.
    fn want_lines(&self) -> std::ops::Range<usize> {
        0..lines_of(&self.form, "wants.", 3)
    }

    fn sold_lines(&self) -> std::ops::Range<usize> {
        0..lines_of(&self.form, "sold.", 2)
    }

    /// Products by number and name, for a line that may stay empty.
    fn named(&self) -> Vec<(String, String)> {
        let none = (String::new(), "no product".to_owned());
        std::iter::once(none).chain(self.products.iter().map(|p| (p.id.clone(), p.name.clone()))).collect()
    }

    fn whats(&self) -> [(&'static str, &'static str); 2] {
        [("off", "is kept off"), ("use", "must be used on")]
    }

    fn reckonings(&self) -> [(&'static str, &'static str); 2] {
        [("", "by the mass of the soil"), (BY_RESPONSE, "by what tests here answered, where they carry it")]
    }

    fn ways(&self) -> Vec<(&'static str, &'static str)> {
        Sold::ALL.iter().map(|(_, key, words)| (*key, *words)).collect()
    }

    fn list_choices(&self) -> Vec<(String, String)> {
        let any = (String::new(), "Any product, listed or not".to_owned());
        let only = self.lists.iter().map(|list| (list.clone(), format!("Only what is listed on {list}")));
        std::iter::once(any).chain(only).collect()
    }

    fn want(&self, at: &usize, name: &str) -> String {
        WantLine::field(*at, name)
    }

    /// What is wrong with a line, field by field.
    fn want_problems(&self, at: &usize) -> Vec<String> {
        let fields = WantLine::FIELDS.iter().map(|name| WantLine::field(*at, name));
        fields.flat_map(|field| self.form.problems(&field).to_vec()).collect()
    }

    fn sold(&self, at: &usize, name: &str) -> String {
        SoldLine::field(*at, name)
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

/// Lines of a name that the form shows: two more than are filled, and no fewer than `least`.
fn lines_of(form: &Form, name: &str, least: usize) -> usize {
    let at = |field: &str| field.strip_prefix(name)?.split('.').next()?.parse::<usize>().ok();
    let filled = form.pairs().filter(|(_, value)| !value.trim().is_empty()).filter_map(|(field, _)| at(field));
    // A line's selects have values even where it says nothing; its product tells.
    let filled = filled.filter(|n| !form.value(&format!("{name}{n}.product")).is_empty());
    filled.max().map_or(least, |n| (n + 3).max(least)).min(MOST_LINES)
}

/// More lines than these are not read.
const MOST_LINES: usize = 40;

/// The choices as a form shows them, lines and all.
fn form_of(held: &PlanForm) -> Form {
    let mut form = Form::of(held);
    for (at, line) in held.wants.iter().enumerate() {
        let values = [&line.product, &line.place, &line.what, &line.least_g_per_m2, &line.reason];
        for (name, value) in WantLine::FIELDS.into_iter().zip(values) {
            form.set(WantLine::field(at, name), value);
        }
    }
    for (at, line) in held.sold_of.iter().enumerate() {
        form.set(SoldLine::field(at, "product"), &line.product);
        form.set(SoldLine::field(at, "how"), &line.how);
    }
    form
}

/// The choices as typed, lines and all.
fn typed(form: &Form) -> Result<PlanForm> {
    let of = |field: String| form.value(&field).to_owned();
    let want = |at| WantLine {
        product: of(WantLine::field(at, "product")),
        place: of(WantLine::field(at, "place")),
        what: of(WantLine::field(at, "what")),
        least_g_per_m2: of(WantLine::field(at, "least")),
        reason: of(WantLine::field(at, "reason")),
    };
    let sold = |at| SoldLine { product: of(SoldLine::field(at, "product")), how: of(SoldLine::field(at, "how")) };
    Ok(PlanForm {
        wants: (0..MOST_LINES).map(want).collect(),
        sold_of: (0..MOST_LINES).map(sold).collect(),
        ..form.read_as()?
    })
}

async fn new_page(cx: &Cx, season: &SeasonRow) -> Result<PlanFormPage> {
    let action = format!("/seasons/{}/plans", season.id);
    let mut page = PlanFormPage::load(cx, season, "A new plan".into(), action, "").await?;
    page.again = Some(format!("/seasons/{}/plans/new", season.id));
    Ok(page)
}

/// `GET /seasons/{season}/plans/new`
pub async fn new(cx: Cx, Path(season): Path<SeasonId>, Query(start): Query<Start>) -> Result<PlanFormPage> {
    let season = cx.app.season(&cx.actor, season).await?.season;
    let mut page = new_page(&cx, &season).await?;
    page.form = form_of(&page.filled(&season, &start, cx.app.today()));
    Ok(page)
}

/// `POST /seasons/{season}/plans`
pub async fn add(cx: Cx, Path(season): Path<SeasonId>, form: Form) -> Result<Response> {
    let done = match cx.app.draft_plan(&cx.actor, season, &typed(&form)?).await {
        Ok(id) => cx.app.begin_solving(&cx.actor, id, &DoseForm::default()).await.map(|begun| (id, begun)),
        Err(error) => Err(error),
    };
    match done {
        Ok((id, begun)) => {
            Ok(worked_out(id, begun, "The plan is worked out. Look it over before you agree it.").into_response())
        }
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
    let mut page = PlanFormPage::load(cx, &season, title, format!("/plans/{plan}"), &held.guideline).await?;
    page.frame = page.frame.under(format!("/plans/{plan}"), &row.name);
    page.button = "Work it out again";
    Ok((held, page))
}

/// `GET /plans/{plan}/edit`
pub async fn edit(cx: Cx, Path(plan): Path<PlanId>) -> Result<PlanFormPage> {
    let (held, page) = edit_page(&cx, plan).await?;
    Ok(PlanFormPage { form: form_of(&held), ..page })
}

/// `POST /plans/{plan}`
pub async fn change(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<Response> {
    let done = match cx.app.edit_plan(&cx.actor, plan, &typed(&form)?).await {
        Ok(()) => match cx.app.begin_solving(&cx.actor, plan, &DoseForm::default()).await {
            // What is kept goes beyond a cap by the new choices; those are saved.
            Err(Error::Invalid(_)) => {
                let said = "The choices are saved, but doses that you keep go beyond a cap now. Change them, then work it \
                            out again.";
                return Ok(see(format!("/plans/{plan}")).say(said).into_response());
            }
            begun => begun,
        },
        Err(error) => Err(error),
    };
    match done {
        Ok(begun) => Ok(worked_out(plan, begun, "The plan is worked out again.").into_response()),
        Err(error) => {
            let (held, page) = edit_page(&cx, plan).await?;
            let page = PlanFormPage { form: form.refused_edit(error, &held)?, ..page };
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
