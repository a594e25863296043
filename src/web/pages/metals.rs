//! Harmful metals on one plot: each total content beside what authorities print, with place,
//! purpose and date. It calls no ground fit or unfit, and says who decides.

use super::{
    plot::{cell_pages, html},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::contaminant::{Comparison, Load, ScreeningSet, Side, jurisdictions},
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

/// Metals on a plot.
#[derive(Template)]
#[template(path = "pages/plots/contaminants.html")]
struct MetalsPage<'a> {
    frame: Frame,
    plot: PlotId,
    form: Form,
    metals: Vec<MetalView<'a>>,
    apart: Vec<(String, &'a str, Option<Steps<'a>>)>,
    places: Vec<(&'static str, &'static str)>,
    loads: Vec<LoadView<'a>>,
}

/// What was brought of one metal, beside one published load.
struct LoadView<'a> {
    load: &'a Load,
    address: Option<&'a str>,
    mark: Option<&'static str>,
    steps: Steps<'a>,
}

/// One metal.
struct MetalView<'a> {
    name: String,
    found: String,
    sampled: String,
    lines: Vec<Line<'a>>,
    not_applied: &'a [(&'static ScreeningSet, String)],
    advice: &'a [String],
}

/// One value beside it.
struct Line<'a> {
    reached: bool,
    comparison: &'a Comparison,
    address: Option<&'a str>,
    mark: Option<&'static str>,
    steps: Steps<'a>,
}

/// `GET /plots/{plot}/contaminants?place=England&memory=on`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let found = cx.app.plot_metals(&cx.actor, plot, form.value("place"), form.has("memory", "on")).await?;
    let pages = cell_pages(&found.standing);
    let metals = found.metals.iter().map(|metal| {
        let lines = metal.screening.comparisons.iter().map(|comparison| Line {
            reached: matches!(comparison.side, Side::AtOrAbove | Side::Within),
            address: show::address(&comparison.set.source),
            mark: show::evidence_mark(comparison.set.source.evidence),
            steps: Steps::of(&comparison.working, &|key| pages.get(&key).cloned()),
            comparison,
        });
        MetalView {
            name: metal.reading.analyte.name(),
            found: show::figure(&metal.reading.figure()),
            sampled: show::date(metal.reading.sampled_on),
            lines: lines.collect(),
            not_applied: &metal.screening.not_applied,
            advice: &metal.screening.advice,
        }
    });
    let apart = found.apart.iter().map(|one| {
        let (reading, why) = (&one.reading, &one.why);
        (
            format!("{}, {} by {}", reading.analyte.name(), show::figure(&reading.figure()), reading.method.label()),
            why.as_str(),
            one.working.as_ref().map(|working| Steps::of(working, &|key| pages.get(&key).cloned())),
        )
    });
    let loads = found.loads.iter().map(|load| LoadView {
        address: show::address(&load.set.source),
        mark: show::evidence_mark(load.set.source.evidence),
        steps: Steps::of(&load.working, &|_| None),
        load,
    });
    let title = format!("Harmful metals on {}", titled(&found.standing.plot));
    html(&MetalsPage {
        frame: under_plot(&cx, &found.site, &found.standing.plot, title),
        plot,
        form,
        metals: metals.collect(),
        apart: apart.collect(),
        loads: loads.collect(),
        places: std::iter::once("")
            .chain(jurisdictions())
            .map(|place| (place, if place.is_empty() { "Every place" } else { place }))
            .collect(),
    })
}
