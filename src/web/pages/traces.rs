//! Trace elements on one plot: what was found beside what authors found short, usual or harmful,
//! and how much boron the crops here will bear. Context, never a dose.

use super::{
    plot::{cell_pages, html},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        element::Element,
        liking::Liking,
        micronutrient::{Advised, IndexOf, SPRAYS, ShortBelow, Spray, Tissue},
        quantity::{KgPerHa, SquareMetres},
        reading::number,
        source::Citation,
    },
    app::traces::{PlotTraces, Trace},
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
use axum::{extract::Path, response::Response};

/// Trace elements of a plot.
#[derive(Template)]
#[template(path = "pages/plots/traces.html")]
struct TracesPage<'a> {
    frame: Frame,
    plot: PlotId,
    form: Form,
    traces: Vec<TraceView<'a>>,
    not_tested: String,
    manganese: Vec<IndexView<'a>>,
    boron: Boron,
}

/// A level.
struct TraceView<'a> {
    name: String,
    found: String,
    method: &'a str,
    sampled: String,
    summary: String,
    lines: Vec<Line>,
    /// Published limits that do not fit, and why.
    not_here: Vec<(String, String)>,
    notes: &'a [String],
    /// A spray on the leaf, as published.
    spray: Option<String>,
    /// What publishers give where it is short, and what leaves hold.
    advised: Vec<Line>,
    steps: Steps<'a>,
}

/// What one author says.
struct Line {
    says: &'static str,
    level: String,
    words: String,
    by: String,
    address: Option<String>,
    mark: Option<&'static str>,
}

/// A manganese index.
struct IndexView<'a> {
    by: &'static str,
    says: std::result::Result<(String, &'static str, &'a [String], Steps<'a>), &'a str>,
}

/// The boron ceiling.
struct Boron {
    rate: String,
    on_plot: String,
    none: bool,
    crop: Option<String>,
    tolerance: &'static str,
    by: &'static str,
    address: Option<String>,
    mark: Option<&'static str>,
    crops: String,
}

fn line(says: &'static str, level: String, words: &str, source: &Citation) -> Line {
    Line {
        says,
        level,
        words: words.to_owned(),
        by: source.publisher.clone(),
        address: show::address(source).map(str::to_owned),
        mark: show::evidence_mark(source.evidence),
    }
}

fn below(limit: &ShortBelow) -> String {
    span(limit.below)
}

fn span((low, high): (f64, f64)) -> String {
    if low == high { number(low) } else { format!("{} to {}", number(low), number(high)) }
}

fn trace_view<'a>(of: &'a Trace, reads: (Liking, SquareMetres), steps: Steps<'a>) -> TraceView<'a> {
    let (mut lines, mut not_here) = (Vec::new(), Vec::new());
    let mut notes: &[String] = &[];
    let summary = match &of.context {
        Err(why) => why.clone(),
        Ok(context) => {
            for opinion in &context.opinions {
                let level = format!("Short below {} mg/kg", below(opinion.limit));
                lines.push(line(opinion.says, level, &opinion.limit.words, &opinion.limit.source));
            }
            for harm in &context.harm {
                let unit = if harm.by_volume { "mg/L" } else { "mg/kg" };
                let from = if harm.above { "above" } else { "from" };
                let level = format!("Harm {from} {} {unit}", number(harm.from));
                lines.push(line("may do harm", level, &harm.words, &harm.source));
            }
            for usual in &context.usual {
                let level = format!("{} mg/kg", span(usual.range));
                lines.push(line("usually found", level, "context only", &usual.source));
            }
            for (limit, why) in &context.not_for_this_plot {
                not_here.push((format!("{}, below {} mg/kg", limit.source.publisher, below(limit)), why.clone()));
            }
            notes = &context.notes;
            context.summary.clone()
        }
    };
    TraceView {
        name: of.reading.analyte.name(),
        found: show::figure(&of.reading.figure()),
        method: of.reading.method.label(),
        sampled: show::date(of.reading.sampled_on),
        summary,
        lines,
        not_here,
        notes,
        spray: of.reading.analyte.element().and_then(Spray::of).map(|spray| format!("{} ({SPRAYS})", spray.text())),
        advised: of.reading.analyte.element().map_or_else(Vec::new, |element| advised(element, reads)),
        steps,
    }
}

/// What publishers give of an element, and what leaves hold where it is enough.
fn advised(element: Element, (liking, area): (Liking, SquareMetres)) -> Vec<Line> {
    let read = |rate: KgPerHa| show::element_figure(&liking.rate_here(element, rate, area));
    let rates = Advised::of(element).map(|rate| {
        let most = read(rate.most);
        let level = match rate.least == rate.most {
            true => most,
            false => format!("{} to {most}", read(rate.least)),
        };
        line("as printed", level, &rate.how, &rate.source)
    });
    let leaves = Tissue::of(element).map(|tissue| {
        let (from, to) = tissue.enough;
        let level = format!("In dry leaves {} to {} mg/kg", number(from), number(to));
        line("enough", level, &format!("harmful above {}", number(tissue.harm_above)), &tissue.source)
    });
    rates.chain(leaves).collect()
}

fn boron_view(of: &PlotTraces, liking: Liking) -> Boron {
    // Grams on the plot stand beside it anyway.
    let area = of.standing.plot.ground().area;
    let rate = liking.by_rate().rate_here(Element::B, of.boron.ceiling, area);
    let crops: Vec<String> = of.standing.crops.iter().map(|crop| crop.in_sentence()).collect();
    Boron {
        rate: show::element_figure(&rate),
        on_plot: show::element_mass(of.boron_on_plot.0),
        none: of.boron.ceiling.0 <= 0.0,
        crop: of.boron.crop.map(|crop| crop.in_sentence()),
        tolerance: of.boron.tolerance.label(),
        by: of.boron.source.publisher,
        address: show::address(&of.boron.source.into()).map(str::to_owned),
        mark: show::evidence_mark(of.boron.source.evidence),
        crops: crops.join(", "),
    }
}

/// `GET /plots/{plot}/traces?memory=on`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let found = cx.app.plot_traces(&cx.actor, plot, form.has("memory", "on")).await?;
    let pages = cell_pages(&found.standing);
    let page_of = |key| pages.get(&key).cloned();
    let reads = (cx.actor.liking, found.standing.plot.ground().area);
    let traces = found.traces.iter().map(|one| trace_view(one, reads, Steps::of(&one.reading.working, &page_of)));
    let manganese = found.manganese.iter().map(|(which, index)| IndexView {
        by: match which {
            IndexOf::Rutgers => "Rutgers",
            IndexOf::NorthCarolina => "North Carolina",
        },
        says: index
            .as_ref()
            .map(|index| {
                let value = show::figure(&index.working.figure);
                (value, index.class, index.notes.as_slice(), Steps::of(&index.working, &page_of))
            })
            .map_err(String::as_str),
    });
    let name = |element: &Element| Analyte::Element(*element).name().to_lowercase();
    html(&TracesPage {
        frame: under_plot(
            &cx,
            &found.site,
            &found.standing.plot,
            format!("Trace elements on {}", titled(&found.standing.plot)),
        ),
        plot,
        form,
        traces: traces.collect(),
        not_tested: found.not_tested.iter().map(name).collect::<Vec<_>>().join(", "),
        manganese: manganese.collect(),
        boron: boron_view(&found, cx.actor.liking),
    })
}
