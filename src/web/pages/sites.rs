//! Sites and blocks: the list, the forms, and a site's plots at a glance.

use super::plot::working_path;
use crate::{
    agronomy::{guideline::Guideline, quantity::LAYER_CONVENTIONS},
    app::{
        glance::{PlotGlance, SiteGlance},
        guidelines::{DEFAULT_GUIDELINE, WITH_MEMORY},
        plots::{BlockForm, BlockRow, PlotRow, SiteForm, SiteRow},
    },
    ids::{BlockId, SiteId},
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, in_address, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Path, Query},
    http::StatusCode,
    response::{IntoResponse, Response},
};
use jiff::civil::Date;
use serde::Deserialize;

/// Every site.
#[derive(Template, WebTemplate)]
#[template(path = "pages/sites/list.html")]
pub struct SitesPage {
    frame: Frame,
    sites: Vec<SiteRow>,
}

/// The form to add or edit a site.
#[derive(Template, WebTemplate)]
#[template(path = "pages/sites/form.html")]
pub struct SiteFormPage {
    frame: Frame,
    form: Form,
    action: String,
    guidelines: Vec<GuidelineChoice>,
    beside: Vec<SetChoice>,
    button: &'static str,
}

/// A set of nitrate tests or of rules for parts, as the form offers to leave it out.
struct SetChoice {
    slug: String,
    title: String,
    scope: String,
}

/// A guideline as the form offers it.
pub struct GuidelineChoice {
    pub(super) slug: String,
    pub(super) title: String,
    pub(super) scope: String,
    /// How well its limits are known to us, in a sentence.
    pub(super) evidence: String,
    /// Some of its limits nobody has checked against their source.
    pub(super) unverified: bool,
    pub(super) evidence_for: Vec<String>,
    pub(super) evidence_against: Vec<String>,
}

/// The form to add or edit a block.
#[derive(Template, WebTemplate)]
#[template(path = "pages/sites/block.html")]
pub struct BlockFormPage {
    frame: Frame,
    form: Form,
    action: String,
}

/// A site: its plots at a glance.
#[derive(Template, WebTemplate)]
#[template(path = "pages/sites/show.html")]
pub struct SitePage {
    frame: Frame,
    site: SiteRow,
    /// Title of the guideline in use.
    guideline: String,
    /// It was chosen here, rather than taken because none was.
    chosen: bool,
    blocks: Vec<BlockRow>,
    groups: Vec<Group>,
    plots: usize,
    /// How many of them are due for a test.
    due: usize,
    /// How to find some of many plots; none where all of them stand on one page.
    finder: Option<Finder>,
    retired: Vec<PlotRow>,
}

/// Plots on a page; of more, each page has so many, and there is a way to find some.
const PLOTS: usize = 100;

/// What the address of a site asks for.
#[derive(Clone, Debug, Default, Deserialize)]
#[serde(default)]
pub struct Asked {
    /// Number of a block.
    block: String,
    /// A key of [`KINDS`].
    only: String,
    /// A part of a code or a name.
    q: String,
    from: String,
}

/// Which plots, with what is said of them.
const KINDS: [(&str, &str); 5] = [
    ("", "all"),
    ("due", "due for a soil test"),
    ("short", "short of something"),
    ("excess", "with too much of something"),
    ("doses", "with doses to put on"),
];

/// How to find some of many plots.
struct Finder {
    /// Key, words and chosen.
    blocks: Vec<(String, String, bool)>,
    kinds: Vec<(&'static str, &'static str, bool)>,
    q: String,
    /// Numbers of the first and last plot shown, counted from 1, and of those found.
    shown: (usize, usize, usize),
    before: Option<String>,
    after: Option<String>,
}

impl Asked {
    fn holds(&self, glance: &PlotGlance) -> bool {
        let plot = &glance.plot;
        let block = self.block.parse::<BlockId>().ok();
        let part = self.q.trim().to_lowercase();
        block.is_none_or(|block| plot.block == Some(block))
            && (part.is_empty() || plot.code.to_lowercase().contains(&part) || plot.name.to_lowercase().contains(&part))
            && match self.only.as_str() {
                "due" => glance.due,
                "short" => glance.worst.is_some(),
                "excess" => !glance.excess.is_empty(),
                "doses" => glance.open_doses > 0,
                _ => true,
            }
    }

    /// The address that asks for the same from another plot on.
    fn path(&self, site: SiteId, from: usize) -> String {
        let from = if from > 0 { from.to_string() } else { String::new() };
        let fields = [("block", &self.block), ("only", &self.only), ("q", &self.q), ("from", &from)];
        let said = fields.iter().filter(|(_, value)| !value.is_empty());
        let said: Vec<String> = said.map(|(name, value)| format!("{name}={}", in_address(value))).collect();
        format!("/sites/{site}?{}", said.join("&"))
    }
}

impl Finder {
    /// Of so many plots found, those from one on; `None` where all plots stand on one page.
    fn of(asked: &Asked, glance: &SiteGlance, blocks: &[BlockRow], found: usize) -> Option<(Finder, usize)> {
        if glance.plots.len() <= PLOTS {
            return None;
        }
        let from = asked.from.parse().unwrap_or(0).min(found.saturating_sub(1));
        let to = (from + PLOTS).min(found);
        let mut choices = vec![(String::new(), "all".to_owned(), asked.block.is_empty())];
        for block in blocks {
            let here = || glance.plots.iter().filter(|one| one.plot.block == Some(block.id));
            let due = here().filter(|one| one.due).count();
            let due = if due > 0 { format!(", {due} due") } else { String::new() };
            let key = block.id.to_string();
            let chosen = key == asked.block;
            choices.push((key, format!("{}: {}{due}", block.name, show::count(here().count(), "plot")), chosen));
        }
        let site = glance.site.id;
        let finder = Finder {
            blocks: choices,
            kinds: KINDS.iter().map(|(key, words)| (*key, *words, *key == asked.only)).collect(),
            q: asked.q.clone(),
            shown: (from + 1, to, found),
            before: (from > 0).then(|| asked.path(site, from.saturating_sub(PLOTS))),
            after: (to < found).then(|| asked.path(site, to)),
        };
        Some((finder, from))
    }
}

/// The plots of a block, or those of none.
struct Group {
    /// Empty where the site has no blocks.
    name: String,
    plots: Vec<PlotLine>,
}

/// A plot at a glance.
struct PlotLine {
    plot: PlotRow,
    last_test: Option<Date>,
    /// A test is due.
    due: bool,
    worst: Option<Worst>,
    /// Names of what there is too much of.
    excess: String,
    /// Agreed doses still to be put on.
    open_doses: usize,
}

/// The shortage that weighs most.
struct Worst {
    words: String,
    /// For sorting; the heaviest first.
    weight: f64,
    working: String,
}

impl PlotLine {
    fn of(glance: &PlotGlance) -> PlotLine {
        let worst = glance.worst.map(|worst| Worst {
            words: format!("{}: {}", worst.analyte.name(), worst.likely.unwrap_or("short")),
            weight: worst.weight,
            working: working_path(glance.plot.id, worst.analyte, "found"),
        });
        let excess: Vec<String> = glance.excess.iter().map(|analyte| analyte.short()).collect();
        PlotLine {
            plot: glance.plot.clone(),
            last_test: glance.last_sampled,
            due: glance.due,
            worst,
            excess: excess.join(", "),
            open_doses: glance.open_doses,
        }
    }
}

impl GuidelineChoice {
    fn of(guideline: &Guideline) -> GuidelineChoice {
        let memory = guideline.criteria.iter().filter(|criterion| criterion.is_from_memory()).count();
        let all = guideline.criteria.len();
        let own = guideline.criteria.iter().filter(|criterion| criterion.changed.is_some()).count();
        let evidence = match memory {
            0 if own > 0 => format!("{own} of its {all} rules were changed or added here."),
            0 => "Every limit carries a source that was seen.".into(),
            _ if memory == all => "All of its limits are from memory, unverified.".into(),
            _ => format!("{memory} of its {all} rules are from memory, unverified, and switched off."),
        };
        GuidelineChoice {
            slug: guideline.slug.clone(),
            title: guideline.title.clone(),
            scope: guideline.scope.clone(),
            evidence,
            unverified: memory > 0,
            evidence_for: guideline.evidence_for.clone(),
            evidence_against: guideline.evidence_against.clone(),
        }
    }
}

/// The guidelines as offered, own ones and those that come with the program: those whose every
/// limit was seen first; those with limits from memory also with these switched on, which nobody
/// gets without choosing it. `current` is chosen already.
pub(super) async fn guideline_choices(cx: &Cx, current: &str) -> Result<Vec<GuidelineChoice>> {
    let mut choices = Vec::new();
    for guideline in cx.app.guidelines_to_choose(&cx.actor, current).await?.iter() {
        let choice = GuidelineChoice::of(guideline);
        let unverified = choice.unverified;
        choices.push(choice);
        if unverified {
            choices.push(GuidelineChoice {
                slug: format!("{}{WITH_MEMORY}", guideline.slug),
                title: format!("{}, with the limits from memory", guideline.title),
                scope: String::new(),
                evidence: "The limits from memory, unverified, are switched on and marked on every page.".into(),
                unverified: true,
                evidence_for: vec![],
                evidence_against: vec![],
            });
        }
    }
    choices.sort_by_key(|choice| choice.unverified);
    Ok(choices)
}

impl SiteFormPage {
    async fn new(
        cx: &Cx,
        frame: Frame,
        form: Form,
        action: String,
        current: &str,
        button: &'static str,
    ) -> Result<SiteFormPage> {
        let guidelines = guideline_choices(cx, current).await?;
        let beside = cx.app.sets_beside(&cx.actor).await?;
        let choice =
            |set: &Guideline| SetChoice { slug: set.slug.clone(), title: set.title.clone(), scope: set.scope.clone() };
        let beside = beside.iter().map(|set| choice(set)).collect();
        Ok(SiteFormPage { frame, form, action, guidelines, beside, button })
    }

    fn rate_units(&self) -> [(&'static str, &'static str); 3] {
        [
            ("g_per_m2", "grams per square metre (g/m²)"),
            ("kg_per_ha", "kilograms per hectare (kg/ha)"),
            ("lb_per_acre", "pounds per acre (lb/acre)"),
        ]
    }

    fn layers(&self) -> Vec<(&'static str, &'static str)> {
        let own = [("", "Each plot’s own depth and density")];
        own.into_iter().chain(LAYER_CONVENTIONS.iter().map(|layer| (layer.slug, layer.words))).collect()
    }
}

/// `GET /sites`
pub async fn list(cx: Cx) -> Result<SitesPage> {
    let sites = cx.app.sites(&cx.actor).await?;
    Ok(SitesPage { frame: cx.frame("Sites"), sites })
}

async fn new_page(cx: &Cx, form: Form) -> Result<SiteFormPage> {
    let frame = cx.frame("A new site").under("/sites", "Sites");
    SiteFormPage::new(cx, frame, form, "/sites".into(), "", "Add the site").await
}

/// `GET /sites/new`
pub async fn new(cx: Cx) -> Result<SiteFormPage> {
    new_page(
        &cx,
        Form::filled([
            ("currency", "EUR"),
            ("guideline", DEFAULT_GUIDELINE),
            ("rate_unit", "g_per_m2"),
            ("scale_step_g", "1"),
        ]),
    )
    .await
}

/// `POST /sites`
pub async fn add(cx: Cx, form: Form) -> Result<Response> {
    match cx.app.add_site(&cx.actor, &form.read_as()?).await {
        Ok(id) => Ok(see(format!("/sites/{id}")).say("The site is added. Now add its plots.").into_response()),
        Err(error) => {
            Ok((StatusCode::UNPROCESSABLE_ENTITY, new_page(&cx, form.refused(error)?).await?).into_response())
        }
    }
}

async fn edit_page(cx: &Cx, site: &SiteRow, form: Form) -> Result<SiteFormPage> {
    let path = format!("/sites/{}", site.id);
    let frame = cx.frame(format!("Edit {}", site.name)).under("/sites", "Sites").under(&path, &site.name);
    SiteFormPage::new(cx, frame, form, path, site.guideline.as_deref().unwrap_or_default(), "Save").await
}

/// `GET /sites/{site}/edit`
pub async fn edit(cx: Cx, Path(site): Path<SiteId>) -> Result<SiteFormPage> {
    let site = cx.app.site(&cx.actor, site).await?;
    edit_page(&cx, &site, Form::of(&SiteForm::from(&site))).await
}

/// `POST /sites/{site}`
pub async fn change(cx: Cx, Path(id): Path<SiteId>, form: Form) -> Result<Response> {
    match cx.app.edit_site(&cx.actor, id, &form.read_as()?).await {
        Ok(()) => Ok(see(format!("/sites/{id}")).say("Saved.").into_response()),
        Err(error) => {
            let site = cx.app.site(&cx.actor, id).await?;
            let form = form.refused_edit(error, &SiteForm::from(&site))?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, edit_page(&cx, &site, form).await?).into_response())
        }
    }
}

/// `GET /sites/{site}`
pub async fn show(cx: Cx, Path(id): Path<SiteId>, Query(asked): Query<Asked>) -> Result<SitePage> {
    let glance = cx.app.site_glance(&cx.actor, id).await?;
    let site = glance.site.clone();
    let blocks = cx.app.blocks(&cx.actor, id).await?;
    let plots = glance.plots.len();
    let due = glance.plots.iter().filter(|plot| plot.due).count();
    // A filter that the page has no fields for would hide plots unsaid.
    let found: Vec<&PlotGlance> = glance.plots.iter().filter(|glance| plots <= PLOTS || asked.holds(glance)).collect();
    let (finder, shown) = match Finder::of(&asked, &glance, &blocks, found.len()) {
        Some((finder, from)) => (Some(finder), &found[from..(from + PLOTS).min(found.len())]),
        None => (None, &found[..]),
    };
    let groups = in_blocks(shown.iter().map(|glance| PlotLine::of(glance)), !blocks.is_empty());
    Ok(SitePage {
        frame: cx.frame(site.name.clone()).under("/sites", "Sites"),
        guideline: glance.guideline.clone(),
        chosen: site.guideline.is_some(),
        site,
        blocks,
        groups,
        plots,
        due,
        finder,
        retired: glance.retired.clone(),
    })
}

/// Plots by block, in the order that they come.
fn in_blocks(plots: impl Iterator<Item = PlotLine>, any: bool) -> Vec<Group> {
    let mut groups: Vec<Group> = Vec::new();
    for line in plots {
        let name = match &line.plot.block_name {
            Some(name) => name.clone(),
            None if any => "In no block".into(),
            None => String::new(),
        };
        match groups.last_mut().filter(|group| group.name == name) {
            Some(group) => group.plots.push(line),
            None => groups.push(Group { name, plots: vec![line] }),
        }
    }
    groups
}

impl SitePage {
    /// How rates are spoken of here.
    fn rate_words(&self) -> &'static str {
        match self.site.rate_unit.as_str() {
            "kg_per_ha" => "kg/ha",
            "lb_per_acre" => "lb/acre",
            _ => "g/m²",
        }
    }
}

fn block_page(cx: &Cx, site: &SiteRow, title: String, action: String, form: Form) -> BlockFormPage {
    let frame = cx.frame(title).under("/sites", "Sites").under(format!("/sites/{}", site.id), &site.name);
    BlockFormPage { frame, form, action }
}

/// `GET /sites/{site}/blocks/new`
pub async fn new_block(cx: Cx, Path(site): Path<SiteId>) -> Result<BlockFormPage> {
    let site = cx.app.site(&cx.actor, site).await?;
    let action = format!("/sites/{}/blocks", site.id);
    Ok(block_page(&cx, &site, "A new block".into(), action, Form::new()))
}

/// `POST /sites/{site}/blocks`
pub async fn add_block(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<Response> {
    match cx.app.add_block(&cx.actor, site, &form.read_as()?).await {
        Ok(_) => Ok(see(format!("/sites/{site}")).say("The block is added.").into_response()),
        Err(error) => {
            let site = cx.app.site(&cx.actor, site).await?;
            let action = format!("/sites/{}/blocks", site.id);
            let page = block_page(&cx, &site, "A new block".into(), action, form.refused(error)?);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

/// `GET /blocks/{block}/edit`
pub async fn edit_block(cx: Cx, Path(block): Path<BlockId>) -> Result<BlockFormPage> {
    let block = cx.app.block(&cx.actor, block).await?;
    let site = cx.app.site(&cx.actor, block.site).await?;
    let (title, action) = (format!("Edit {}", block.name), format!("/blocks/{}", block.id));
    Ok(block_page(&cx, &site, title, action, Form::of(&BlockForm::from(&block))))
}

/// `POST /blocks/{block}`
pub async fn change_block(cx: Cx, Path(id): Path<BlockId>, form: Form) -> Result<Response> {
    let done = cx.app.edit_block(&cx.actor, id, &form.read_as()?).await;
    let block = cx.app.block(&cx.actor, id).await?;
    match done {
        Ok(()) => Ok(see(format!("/sites/{}", block.site)).say("Saved.").into_response()),
        Err(error) => {
            let site = cx.app.site(&cx.actor, block.site).await?;
            let form = form.refused_edit(error, &BlockForm::from(&block))?;
            let page = block_page(&cx, &site, format!("Edit {}", block.name), format!("/blocks/{id}"), form);
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}
