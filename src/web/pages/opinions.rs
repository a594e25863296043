//! One plot under every guideline: a table for each nutrient, by how much they part and why, and
//! who says nothing. Each figure opens to its working.

use super::{
    plot::{WorkingPage, cell_pages, html, placed},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        guideline::LandUse,
        second_opinion::{Opinion, Row, Silent},
    },
    app::opinions::{Behind, PlotOpinions, behind},
    ids::PlotId,
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{extract::Path, response::Response};

/// A plot under all guidelines.
#[derive(Template)]
#[template(path = "pages/plots/opinions.html")]
struct OpinionsPage<'a> {
    frame: Frame,
    plot: PlotId,
    form: Form,
    uses: Vec<(&'static str, &'static str)>,
    rows: Vec<RowView<'a>>,
    /// Nutrients over which they part, with their places on the page.
    parted: Vec<(String, String)>,
    unspoken: String,
    left_out: &'a [Silent],
}

/// A nutrient.
struct RowView<'a> {
    key: String,
    name: String,
    opinions: Vec<OpinionView<'a>>,
    silent: &'a [Silent],
    apart: Option<Apart<'a>>,
}

/// One guideline's word.
struct OpinionView<'a> {
    opinion: &'a Opinion,
    class: String,
    aim_mass: Option<String>,
    need: Option<String>,
    /// What to say of how well its limits are known.
    mark: Option<&'static str>,
    /// Addresses of the workings.
    found_at: String,
    aim_at: String,
    mass_at: String,
    verdict_at: String,
}

/// By how much they part.
struct Apart<'a> {
    least: String,
    most: String,
    by: String,
    over_shortness: bool,
    why: Vec<&'a str>,
    steps: Steps<'a>,
}

/// What of an opinion a working is behind, as the last part of its address, and its name.
const FIGURES: [(&str, Behind, &str); 4] = [
    ("found", Behind::Found, "What was found"),
    ("aim", Behind::Aim, "The aim"),
    ("mass", Behind::AimMass, "The aim in the soil of this plot"),
    ("verdict", Behind::Verdict, "The class and the need"),
];

/// What the page was asked for.
fn asked(form: &Form) -> (LandUse, bool) {
    (form.value("use").parse().unwrap_or_default(), form.has("memory", "on"))
}

/// The same as the end of an address.
fn query(form: &Form) -> String {
    match asked(form) {
        (LandUse::Vegetables, false) => String::new(),
        (land_use, memory) => format!("?use={}{}", land_use.slug(), if memory { "&memory=on" } else { "" }),
    }
}

impl<'a> OpinionView<'a> {
    fn of(plot: PlotId, analyte: Analyte, opinion: &'a Opinion, query: &str) -> OpinionView<'a> {
        let at = |what| format!("/plots/{plot}/opinions/{}/{analyte}/{what}{query}", opinion.guideline_slug);
        let need = opinion.need.as_ref().map(|need| match need.kg_per_ha.0 {
            0.0 => "none".to_owned(),
            kg if need.at_least => format!("{} or more", show::element_rate(kg)),
            kg => show::element_rate(kg),
        });
        OpinionView {
            opinion,
            class: placed(opinion.class.as_deref(), &opinion.position),
            aim_mass: opinion.aim_mass_working.as_ref().map(|working| show::figure(&working.figure)),
            need,
            mark: opinion.source.as_ref().and_then(|source| show::evidence_mark(source.evidence)),
            found_at: at("found"),
            aim_at: at("aim"),
            mass_at: at("mass"),
            verdict_at: at("verdict"),
        }
    }
}

fn row_view<'a>(of: &'a PlotOpinions, row: &'a Row, query: &str) -> RowView<'a> {
    let pages = cell_pages(&of.standing);
    RowView {
        key: row.analyte.to_string(),
        name: row.analyte.name(),
        opinions: row.opinions.iter().map(|o| OpinionView::of(of.standing.plot.id, row.analyte, o, query)).collect(),
        silent: &row.silent,
        apart: row.disagreement.as_ref().map(|apart| Apart {
            least: show::element_rate(apart.least.0),
            most: show::element_rate(apart.most.0),
            by: show::figure(&apart.working.figure),
            over_shortness: apart.over_shortness,
            why: apart.why.iter().map(|(_, sentence)| sentence.as_str()).collect(),
            steps: Steps::of(&apart.working, &|key| pages.get(&key).cloned()),
        }),
    }
}

/// `GET /plots/{plot}/opinions?use=vegetables&memory=on`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let (land_use, memory) = asked(&form);
    let opinions = cx.app.second_opinion(&cx.actor, plot, land_use, memory).await?;
    let mut form = form;
    form.set("use", land_use.slug());
    let query = query(&form);
    let rows: Vec<RowView<'_>> = opinions.opinion.rows.iter().map(|row| row_view(&opinions, row, &query)).collect();
    let parted = rows.iter().filter(|row| row.apart.is_some()).map(|row| (row.key.clone(), row.name.clone()));
    let unspoken: Vec<String> = opinions.opinion.unspoken.iter().map(|analyte| analyte.name()).collect();
    let title = format!("{} under every guideline", titled(&opinions.standing.plot));
    html(&OpinionsPage {
        frame: under_plot(&cx, &opinions.site, &opinions.standing.plot, title),
        plot,
        form,
        uses: LandUse::ALL.iter().map(|land_use| (land_use.slug(), land_use.label())).collect(),
        parted: parted.collect(),
        rows,
        unspoken: unspoken.join(", "),
        left_out: &opinions.opinion.left_out,
    })
}

/// `GET /plots/{plot}/opinions/{guideline}/{analyte}/{what}`
pub async fn working(
    cx: Cx,
    Path((plot, guideline, analyte, what)): Path<(PlotId, String, String, String)>,
    form: Form,
) -> Result<Response> {
    let (land_use, memory) = asked(&form);
    let opinions = cx.app.second_opinion(&cx.actor, plot, land_use, memory).await?;
    let analyte: Analyte = analyte.parse().map_err(|_| Error::not_found())?;
    let opinion = opinions.of(&guideline, analyte).ok_or_else(Error::not_found)?;
    let (_, which, name) = FIGURES.into_iter().find(|(key, ..)| *key == what).ok_or_else(Error::not_found)?;
    let working = behind(opinion, which).ok_or_else(Error::not_found)?;
    let pages = cell_pages(&opinions.standing);
    let query = query(&form);
    let others = FIGURES
        .into_iter()
        .filter(|(_, other, _)| *other != which && behind(opinion, *other).is_some())
        .map(|(key, _, name)| (name, format!("/plots/{plot}/opinions/{guideline}/{analyte}/{key}{query}")));
    let title = format!("{}: {} by {}", analyte.name(), name.to_lowercase(), opinion.guideline_title);
    let frame = under_plot(&cx, &opinions.site, &opinions.standing.plot, title)
        .under(format!("/plots/{plot}/opinions{query}"), "Every guideline");
    html(&WorkingPage {
        frame,
        figure: show::figure(&working.figure),
        steps: Steps::of(working, &|key| pages.get(&key).cloned()),
        why: opinion.notes.clone(),
        others: others.collect(),
    })
}
