//! pH and lime on one plot: what each published method asks for, in a product and on the plot;
//! what the others lack; and lowering pH, or why not.

use super::{
    plot::{cell_pages, html, sentence},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{lime::UkSoil, quantity::GramsPerM2, reading::Reading, record::CellKey},
    app::lime::{LimeAnswer, PlotLime, Spread},
    ids::PlotId,
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show,
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// Lime on a plot.
#[derive(Template)]
#[template(path = "pages/plots/lime.html")]
struct LimePage<'a> {
    frame: Frame,
    lime: &'a PlotLime,
    form: Form,
    soils: Vec<(&'static str, &'static str)>,
    products: Vec<(String, String)>,
    ph: Option<String>,
    buffers: Vec<String>,
    /// Signs of free lime, as sentences.
    fizzes: Vec<String>,
    answers: Vec<AnswerView<'a>>,
    target: String,
    lowering: Option<Lowering<'a>>,
}

/// What one method asks for.
struct AnswerView<'a> {
    method: &'static str,
    none: bool,
    interpolated: bool,
    printed: String,
    reference: &'static str,
    carbonate: String,
    carbonate_steps: Steps<'a>,
    spread: std::result::Result<SpreadView<'a>, &'a str>,
    notes: &'a [String],
}

/// A requirement in the product.
struct SpreadView<'a> {
    t_per_ha: String,
    per_m2: String,
    on_plot: String,
    splits: Vec<SplitView<'a>>,
    notes: &'a [String],
    steps: Steps<'a>,
}

struct SplitView<'a> {
    parts: String,
    each: String,
    words: &'a str,
    months: u8,
    publisher: &'a str,
    address: Option<String>,
}

/// Sulfur, or why not.
struct Lowering<'a> {
    refused: bool,
    words: String,
    notes: &'a [String],
    steps: Option<Steps<'a>>,
}

fn read_as(reading: &Reading) -> String {
    let (figure, method) = (show::figure(&reading.figure()), reading.method.label());
    format!("{figure} ({method}), sampled {}", show::date(reading.sampled_on))
}

/// Tonnes to the hectare.
fn tonnes(t_per_ha: f64) -> String {
    format!("{}\u{a0}t/ha", show::significant(t_per_ha, 2))
}

type PageOf<'p> = &'p dyn Fn(CellKey) -> Option<String>;

fn answer_view<'a>(answer: &'a LimeAnswer, page_of: PageOf<'_>) -> AnswerView<'a> {
    let asked = &answer.requirement;
    AnswerView {
        method: asked.method.label(),
        none: asked.carbonate.0 <= 0.0,
        interpolated: asked.interpolated,
        printed: format!("{}\u{a0}{}", show::significant(asked.printed, 3), asked.reference.unit.label()),
        reference: asked.reference.words,
        carbonate: tonnes(answer.carbonate_t_per_ha),
        carbonate_steps: Steps::of(&asked.working, page_of),
        spread: answer.spread.as_ref().map(|spread| spread_view(spread, page_of)).map_err(String::as_str),
        notes: &asked.notes,
    }
}

fn spread_view<'a>(spread: &'a Spread, page_of: PageOf<'_>) -> SpreadView<'a> {
    let splits = spread.splits.iter().map(|split| SplitView {
        parts: show::count(split.parts, "part"),
        each: show::mass(split.each.0),
        words: split.rule.words,
        months: split.rule.months_apart,
        publisher: split.rule.source.publisher,
        address: show::address(&split.rule.source.into()).map(str::to_owned),
    });
    SpreadView {
        t_per_ha: tonnes(spread.t_per_ha),
        per_m2: format!("{}\u{a0}{}", show::significant(spread.grams_per_m2.0, 2), GramsPerM2::UNIT),
        on_plot: show::mass(spread.on_plot.0),
        splits: splits.collect(),
        notes: &spread.rate.notes,
        steps: Steps::of(&spread.working, page_of),
    }
}

/// `GET /plots/{plot}/lime?target_ph=6.5&product=3`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let lime = cx.app.plot_lime(&cx.actor, plot, form.read_as()?).await?;
    let pages = cell_pages(&lime.standing);
    let page_of = |key| pages.get(&key).cloned();
    let mut form = Form::of(&lime.form);
    for problem in &lime.problems.0 {
        form.problem(&problem.field, &problem.message);
    }
    let typed = (String::new(), "By its value, below".to_owned());
    let products = lime.products.iter().map(|row| (row.id.to_string(), row.amendment.name.clone()));
    let answers = lime.answers.iter().map(|answer| answer_view(answer, &page_of)).collect();
    let lowering = lime.lowering.as_ref().map(|lowering| match lowering {
        Ok(rate) => Lowering {
            refused: false,
            words: format!(
                "Elemental sulfur, {} to {}\u{a0}{}",
                show::significant(rate.low.0, 2),
                show::significant(rate.high.0, 2),
                GramsPerM2::UNIT
            ),
            notes: &rate.notes,
            steps: Some(Steps::of(&rate.working, &page_of)),
        },
        Err(not) => Lowering {
            refused: true,
            words: not.reason.clone(),
            notes: &[],
            steps: not.working.as_ref().map(|working| Steps::of(working, &page_of)),
        },
    });
    let status = if lime.problems.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = LimePage {
        frame: under_plot(
            &cx,
            &lime.site,
            &lime.standing.plot,
            format!("pH and lime on {}", titled(&lime.standing.plot)),
        ),
        form,
        soils: UkSoil::ALL.iter().map(|soil| (soil.slug(), soil.label())).collect(),
        products: products.chain([typed]).collect(),
        ph: lime.ph.as_ref().map(read_as),
        buffers: lime.buffers.iter().map(read_as).collect(),
        fizzes: lime.standing.present.signs.reasons.iter().map(|sign| sentence(sign)).collect(),
        answers,
        target: show::number(lime.target_ph, 1),
        lowering,
        lime: &lime,
    };
    Ok((status, html(&page)?).into_response())
}
