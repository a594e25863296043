//! A plot's own page: where each nutrient stands and why, what was done, what to do next;
//! and the page that opens any figure of it down to the lab's printed cell.

use super::{
    calibration::{forecast_path, test_name},
    plots::{titled, under_plot, under_site},
    story::{self, Event, Names},
    trend_second::Numbers,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        crop,
        guideline::{Guideline, Position},
        liking::{Liking, Shown, Weighed},
        need::Reason,
        rate::RateUnit,
        reading::Level,
        record::CellKey,
        saturation::{
            BY_CHARGE, BY_CHARGE_SOURCE, Schools, WHY_HELD, aims_at_shares, authors_say, odd_for_texture, schools,
        },
        standing::NutrientStanding,
        working::{Figure, Working},
    },
    app::{
        forecasts::ForecastResult,
        outlook::{PlotOutlook, way_of},
        plots::{LineageRow, PlotRow, SiteRow},
        standing::PlotStanding,
    },
    ids::PlotId,
    web::{
        chart::{Strip, Track},
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{Html, IntoResponse, Response},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// A plot: what stands here, what was done, what to do next.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plots/show.html")]
pub struct PlotPage {
    frame: Frame,
    plot: PlotRow,
    site: SiteRow,
    guideline: String,
    /// Nothing was ever sampled.
    untested: bool,
    /// It was merged of plots that were tested apart, and not tested since.
    tested_apart: bool,
    strip: Option<Strip>,
    /// What was tested and has no limits here.
    others: Vec<Other>,
    /// They are more than what is judged.
    others_first: bool,
    /// What is said of aims that are shares of the capacity, where the guideline has such.
    shares: Option<Shares>,
    /// Signs of lime and of salts, as sentences; why no capacity can be trusted.
    signs: Vec<String>,
    cautions: Vec<String>,
    /// Cells of the newest sheet that cannot be read: what they are and why.
    unreadable: Vec<String>,
    timeline: Vec<Event>,
    /// The same, longer ago.
    earlier: Vec<Event>,
    next: Next,
    /// What agreed plans expected of its tests, and what came: the newest test of each nutrient.
    verdicts: Vec<(String, String, String)>,
    /// Its pH is below the aim.
    sour: bool,
    /// What its limits are read for, and by what.
    used_for: String,
    relatives: Vec<Relative>,
    /// The form to retire it.
    form: Form,
}

/// What must be said where shares of the capacity are shown.
pub(super) struct Shares {
    pub schools: Schools,
    pub by_charge: &'static str,
    pub by_charge_source: String,
    pub why_held: &'static str,
    /// What authors read from shares and ratios.
    pub authors: [String; 3],
}

impl Shares {
    pub(super) fn of<'a>(guidelines: impl IntoIterator<Item = &'a Guideline>) -> Shares {
        Shares {
            schools: schools(guidelines),
            by_charge: BY_CHARGE,
            by_charge_source: BY_CHARGE_SOURCE.to_string(),
            why_held: WHY_HELD,
            authors: authors_say(),
        }
    }
}

/// A tested value without limits to hold it against.
struct Other {
    name: String,
    found: String,
    working: String,
    trend: String,
    why: String,
}

/// What to do next, in short.
struct Next {
    /// The most pressing things, at most [`PRESSING`].
    steps: Vec<String>,
    /// The others, folded.
    more: Vec<String>,
    /// How many nutrients have no limits to be judged by.
    unjudged: usize,
    test_on: Date,
    test_due: bool,
}

impl Next {
    fn of(ahead: &PlotOutlook) -> Next {
        let mut steps: Vec<String> = ahead.outlook.steps.iter().map(|step| step.what.clone()).collect();
        let more = steps.split_off(steps.len().min(PRESSING));
        Next {
            steps,
            more,
            unjudged: ahead.outlook.unjudged,
            test_on: ahead.outlook.next_test.due_on,
            test_due: ahead.outlook.next_test.due,
        }
    }
}

/// How many things to do next stand open.
const PRESSING: usize = 3;

/// How many things done a plot's page shows before it folds the earlier ones away.
const EVENTS: usize = 12;

/// A plot that this one came from or went into, as a line.
struct Relative {
    path: String,
    name: String,
    words: String,
}

/// A figure, opened.
#[derive(Template)]
#[template(path = "pages/plots/working.html")]
pub(super) struct WorkingPage<'a> {
    pub frame: Frame,
    pub figure: String,
    pub steps: Steps<'a>,
    pub why: Vec<String>,
    /// Other figures of the same nutrient.
    pub others: Vec<(&'static str, String)>,
    /// The same as tests here answered, with its own steps, or why they do not tell.
    pub beside: Option<Beside<'a>>,
    /// The numbers behind what is said of tests over the years.
    pub numbers: Option<Numbers>,
}

/// A figure by another way, beside the one that the page is about.
pub(super) struct Beside<'a> {
    pub words: String,
    pub steps: Option<Steps<'a>>,
}

/// What of a nutrient a working is behind: the last part of its address, and its name.
const FIGURES: [(&str, &str); 6] = [
    ("found", "What was found"),
    ("aim", "The aim"),
    ("percent", "The share of the aim"),
    ("class", "The class"),
    ("likelihood", "The chance of a shortage"),
    ("need", "What to give"),
];

/// Address of the working behind a figure of a plot: `what` is one of found, aim, percent,
/// class, likelihood, need.
pub fn working_path(plot: PlotId, analyte: Analyte, what: &str) -> String {
    format!("/plots/{plot}/working/{analyte}/{what}")
}

/// Address of the trend of a plot.
pub fn trend_path(plot: PlotId, analyte: Analyte) -> String {
    format!("/plots/{plot}/trend/{analyte}")
}

/// The sheet that shows each printed cell of a plot, as an address.
pub fn cell_pages(standing: &PlotStanding) -> BTreeMap<CellKey, String> {
    let cells = standing.samplings.iter().flat_map(|loaded| loaded.sampling.determinations());
    cells.map(|(report, cell)| (cell.key, format!("/reports/{}#cell-{}", report.key, cell.key.0))).collect()
}

/// A nutrient of a plot as a track of the standing strip, every figure with its working.
pub fn track(plot: PlotId, nutrient: &NutrientStanding, on: Weighed<'_>, liking: Liking) -> Track {
    let path = |what| working_path(plot, nutrient.analyte, what);
    let mut links = Vec::new();
    if let Some(percent) = &nutrient.percent_of_aim {
        links.push((format!("{} of the aim", percent.figure), path("percent")));
    }
    if let Some(likelihood) = &nutrient.likelihood {
        links.push((format!("short: {}", likelihood.words), path("likelihood")));
    }
    if nutrient.class_working.is_some() {
        links.push(("the class".into(), path("class")));
    }
    links.push(("over the years".into(), trend_path(plot, nutrient.analyte)));
    let mut why: Vec<String> = nutrient.why_this_reading.iter().map(|reason| sentence(reason)).collect();
    // What holds the aim stands in the open.
    let folded = nutrient.notes.iter().filter(|note| nutrient.held() != Some(note.as_str()));
    why.extend(folded.map(|note| sentence(note)));
    why.extend(liking.kept(nutrient.into(), on).map(str::to_owned));
    Track {
        name: nutrient.analyte.name(),
        found_text: figure(&liking.found(nutrient.into(), on).figure),
        aim_text: liking.aim(nutrient, on).map_or_else(String::new, |aim| figure(&aim.figure)),
        words: match nutrient.held() {
            Some(held) => format!("{}. {held}", words(nutrient)),
            None => words(nutrient),
        },
        found: nutrient.ratio(),
        likely: nutrient.ratio_range_90(),
        ceiling: nutrient.ceiling_ratio(),
        doses: vec![],
        working: Some(path("found")),
        aim_working: nutrient.aim.as_ref().map(|_| path("aim")),
        links,
        why,
    }
}

/// Where a nutrient stands: the publisher's class, then our own word for it.
pub fn words(nutrient: &NutrientStanding) -> String {
    placed(nutrient.class.as_deref(), &nutrient.position)
}

/// A publisher's class with our own word for the position.
pub fn placed(class: Option<&str>, position: &Position) -> String {
    let ours = match position {
        Position::NotKnown(why) | Position::NoCriterion(why) => return sentence(why),
        position => position.words(),
    };
    match class {
        Some(class) if class.eq_ignore_ascii_case(ours) => class.to_owned(),
        Some(class) => format!("{class}; {ours}"),
        None => ours.to_owned(),
    }
}

fn figure(figure: &Figure) -> String {
    figure.to_string()
}

/// A remark as a sentence of its own.
pub(super) fn sentence(remark: &str) -> String {
    let remark = remark.trim();
    if remark.is_empty() || remark.ends_with(['.', '!', '?']) { remark.to_owned() } else { format!("{remark}.") }
}

impl PlotPage {
    pub(super) async fn load(cx: &Cx, id: PlotId, form: Form) -> Result<PlotPage> {
        let (site, guideline, ahead) = cx.app.plot_outlook(&cx.actor, id).await?;
        let next = Next::of(&ahead);
        let standing = ahead.standing;
        let verdicts = verdicts(&cx.app.plot_forecasts(&cx.actor, &standing).await?);
        let names = Names::load(cx, id).await?;
        let relatives = relatives(cx, &standing.plot, &names).await?;
        let frame = under_site(cx, &site, titled(&standing.plot));
        let (judged, unjudged): (Vec<_>, Vec<_>) = standing
            .present
            .standing
            .nutrients
            .iter()
            .partition(|nutrient| !matches!(nutrient.position, Position::NoCriterion(_)));
        let caption = match standing.survey.last_sampled() {
            Some(on) => format!("Under {}; newest sample of {}", guideline.title, show::date(on)),
            None => String::new(),
        };
        let judged_count = judged.len();
        let (ground, liking) = (standing.plot.ground(), cx.actor.liking);
        let on = Weighed { ground: &ground, by: way_of(&site).by };
        let tracks: Vec<Track> = judged.into_iter().map(|nutrient| track(id, nutrient, on, liking)).collect();
        let others = unjudged.into_iter().map(|nutrient| Other {
            name: nutrient.analyte.name(),
            found: figure(&liking.found(nutrient.into(), on).figure),
            working: working_path(id, nutrient.analyte, "found"),
            trend: trend_path(id, nutrient.analyte),
            why: words(nutrient),
        });
        let signs = &standing.present.signs;
        let mut said: Vec<String> = signs.reasons.iter().chain(&signs.salts).map(|sign| sentence(sign)).collect();
        if !said.is_empty()
            && let Err(why) = &standing.present.capacity
        {
            said.push(sentence(why));
        }
        let unreadable = standing.present.unreadable.iter().map(|cell| {
            let (what, printed, method) = (cell.analyte.name(), &cell.printed, &cell.method);
            format!("{what}, “{printed}” by {method}: {}", sentence(&cell.reason))
        });
        let mut timeline = story::events(&cx.app.happenings(&cx.actor, &standing).await?, id, &names);
        let earlier = timeline.split_off(timeline.len().min(EVENTS));
        Ok(PlotPage {
            frame,
            guideline: guideline.title.clone(),
            untested: standing.samplings.is_empty(),
            tested_apart: !standing.samplings.is_empty() && standing.present.choices.is_empty() && !standing.one_soil,
            strip: (!tracks.is_empty()).then_some(Strip { caption, tracks }),
            others_first: others.len() > judged_count,
            others: others.collect(),
            shares: aims_at_shares(&guideline).then(|| Shares::of([&*guideline])),
            signs: said,
            cautions: signs.cautions.iter().map(|caution| sentence(caution)).chain(of_ground(&standing)).collect(),
            unreadable: unreadable.collect(),
            timeline,
            earlier,
            next,
            verdicts,
            used_for: used_for(&standing),
            sour: standing.present.standing.get(Analyte::Ph).is_some_and(|ph| ph.position == Position::Short),
            plot: standing.plot,
            site,
            relatives,
            form,
        })
    }
}

/// What the ground itself gives to ask: so dense that roots have trouble, a capacity that its
/// texture hardly has.
fn of_ground(standing: &PlotStanding) -> Vec<String> {
    let capacity = match standing.present.capacity.as_ref().map(|capacity| capacity.level) {
        Ok(Level::CmolPerKg(level)) => odd_for_texture(level, standing.plot.texture),
        _ => None,
    };
    let ground = standing.plot.ground();
    ground.too_dense().or_else(|| ground.too_light()).into_iter().chain(capacity).collect()
}

/// What the limits are read for: by the crops on record, else as the plot's own record says.
fn used_for(standing: &PlotStanding) -> String {
    let by = match crop::land_use(&standing.crops) {
        Some(_) => "by the crops on record",
        None => "as set for the plot, no crop telling otherwise",
    };
    format!("Limits are read for {}, {by}.", standing.land_use.label())
}

/// The newest forecast of each nutrient that a test has answered: name, address, sentence.
fn verdicts(forecasts: &[ForecastResult]) -> Vec<(String, String, String)> {
    let mut newest: BTreeMap<(Analyte, String), &ForecastResult> = BTreeMap::new();
    for result in forecasts.iter().filter(|result| result.came.is_some()) {
        newest.insert((result.row.analyte, result.row.method.slug()), result);
    }
    newest.into_values().map(|one| (test_name(one), forecast_path(one.row.id), one.words())).collect()
}

/// The lineage of a plot as lines: what it came from, then what came of it.
async fn relatives(cx: &Cx, plot: &PlotRow, names: &Names) -> Result<Vec<Relative>> {
    let lineage = cx.app.lineage(&cx.actor, plot.id).await?;
    let line = |row: &LineageRow| {
        let other = if row.parent == plot.id { row.child } else { row.parent };
        Relative { path: format!("/plots/{other}"), name: names.of(other), words: names.kinship(plot.id, row) }
    };
    Ok(lineage.iter().map(line).collect())
}

/// `GET /plots/{plot}`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>) -> Result<PlotPage> {
    let form = Form::filled([("retired_on", cx.app.today())]);
    PlotPage::load(&cx, plot, form).await
}

/// The working behind a figure of a nutrient, where it has one.
fn behind(
    nutrient: &NutrientStanding,
    need: Option<&Working>,
    what: &str,
    on: Weighed<'_>,
    liking: Liking,
) -> Option<Shown> {
    let plain = |working: &Working| Shown { figure: working.figure.clone(), working: working.clone() };
    match what {
        "found" => Some(liking.found(nutrient.into(), on)),
        "aim" => liking.aim(nutrient, on),
        "percent" => nutrient.percent_of_aim.as_ref().map(|percent| plain(&percent.working)),
        "class" => nutrient.class_working.as_ref().map(plain),
        "likelihood" => nutrient.likelihood.as_ref().map(|likelihood| plain(&likelihood.working)),
        "need" => need.map(plain),
        _ => None,
    }
}

/// `GET /plots/{plot}/working/{analyte}/{what}`
pub async fn working(cx: Cx, Path((plot, analyte, what)): Path<(PlotId, String, String)>) -> Result<Response> {
    let (site, _, ahead) = cx.app.plot_outlook(&cx.actor, plot).await?;
    let standing = ahead.standing;
    let analyte: Analyte = analyte.parse().map_err(|_| Error::not_found())?;
    let nutrient = standing.present.standing.get(analyte).ok_or_else(Error::not_found)?;
    let (ground, liking) = (standing.plot.ground(), cx.actor.liking);
    let way = way_of(&site);
    let on = Weighed { ground: &ground, by: way.by };
    let need = standing.need(nutrient, &way, &ahead.growing);
    let raised = need.as_ref().filter(|need| what == "need" && need.reason == Reason::Raise);
    let answered = match raised {
        Some(need) => Some(cx.app.need_as_answered(&cx.actor, plot, nutrient, need).await?),
        None => None,
    };
    // In kg/ha where levels are read by mass: what a step of the outlook says.
    let need = need.and_then(|need| liking.need_working(&need, ground.area, RateUnit::KgPerHa));
    let open = |what: &str| behind(nutrient, need.as_ref(), what, on, liking);
    let shown = open(&what).ok_or_else(Error::not_found)?;
    let pages = cell_pages(&standing);
    let (_, name) = FIGURES.iter().find(|(key, _)| *key == what).ok_or_else(Error::not_found)?;
    let others = FIGURES
        .iter()
        .filter(|(key, _)| *key != what && open(key).is_some())
        .map(|(key, name)| (*name, working_path(plot, analyte, key)))
        .collect();
    let page = WorkingPage {
        frame: under_plot(&cx, &site, &standing.plot, format!("{}: {}", analyte.name(), name.to_lowercase())),
        figure: figure(&shown.figure),
        steps: Steps::of(&shown.working, &|key| pages.get(&key).cloned()),
        why: nutrient
            .why_this_reading
            .iter()
            .map(|reason| sentence(reason))
            .chain(liking.kept(nutrient.into(), on).map(str::to_owned))
            .collect(),
        others,
        numbers: None,
        beside: answered.as_ref().map(|answered| match answered {
            Ok(learned) => Beside {
                words: format!(
                    "{}; nine times in ten {} to {}. A plan goes by it where you choose so.",
                    show::rate_in(learned.need.kg_per_ha, "kg_per_ha"),
                    show::rate_in(learned.range.0, "kg_per_ha"),
                    show::rate_in(learned.range.1, "kg_per_ha")
                ),
                steps: learned.need.working.as_ref().map(|working| Steps::of(working, &|key| pages.get(&key).cloned())),
            },
            Err(why) => Beside { words: format!("They do not tell. {why}"), steps: None },
        }),
    };
    html(&page)
}

/// A page that borrows what it shows, as a response.
pub(super) fn html(page: &impl Template) -> Result<Response> {
    Ok(Html(page_text(page)?).into_response())
}

/// The text of a page.
pub(super) fn page_text(page: &impl Template) -> Result<String> {
    page.render().map_err(|_| Error::from_status(StatusCode::INTERNAL_SERVER_ERROR))
}
