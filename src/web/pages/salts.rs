//! Salts and sodium on one plot: what its conductivity means at its own dilution, what its crops
//! would keep of their yield, and what sodium holds.

use super::{
    plot::{cell_pages, html, sentence},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{analyte::Analyte, record::CellKey, source::Source},
    app::salts::Conductivity,
    ids::PlotId,
    web::{
        error::Result,
        guard::Cx,
        show,
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{extract::Path, response::Response};

/// Salts on a plot.
#[derive(Template)]
#[template(path = "pages/plots/salts.html")]
struct SaltsPage<'a> {
    frame: Frame,
    warnings: Vec<(&'a str, &'static str, Option<String>)>,
    readings: Vec<ReadingView<'a>>,
    /// Conductivities that cannot be read, and why.
    unreadable: Vec<String>,
    crops: Vec<CropView<'a>>,
    verdict: Option<&'static str>,
    adsorption: std::result::Result<(String, Steps<'a>), &'a str>,
    sodium: std::result::Result<SodiumView<'a>, &'a str>,
}

/// A conductivity.
struct ReadingView<'a> {
    figure: String,
    method: &'a str,
    sampled: String,
    class: std::result::Result<(&'static str, Steps<'a>), &'a str>,
    notes: &'a [String],
    paste: Option<(String, String, Vec<Steps<'a>>)>,
}

/// A crop's yield.
struct CropView<'a> {
    name: &'static str,
    kept: std::result::Result<(String, Steps<'a>), &'a str>,
}

/// Exchangeable sodium.
struct SodiumView<'a> {
    percent: String,
    estimated: bool,
    american: &'static str,
    australian: &'static str,
    steps: Steps<'a>,
}

fn reading_view<'a>(of: &'a Conductivity, page_of: &dyn Fn(CellKey) -> Option<String>) -> ReadingView<'a> {
    let level = |ec: f64| show::significant(ec, 2);
    ReadingView {
        figure: show::figure(&of.reading.figure()),
        method: of.reading.method.label(),
        sampled: show::date(of.reading.sampled_on),
        class: match &of.class {
            Ok(class) => Ok((class.class, Steps::of(&class.working, page_of))),
            Err(why) => Err(why),
        },
        notes: of.class.as_ref().map_or(&[], |class| &class.notes),
        paste: of.paste.as_ref().map(|(all, low, high)| {
            (level(low.0), level(high.0), all.iter().map(|one| Steps::of(&one.working, page_of)).collect())
        }),
    }
}

fn address(source: Source) -> Option<String> {
    show::address(&source.into()).map(str::to_owned)
}

/// `GET /plots/{plot}/salts`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>) -> Result<Response> {
    let salts = cx.app.plot_salts(&cx.actor, plot).await?;
    let pages = cell_pages(&salts.standing);
    let page_of = |key| pages.get(&key).cloned();
    let unreadable = salts.standing.present.unreadable.iter().filter(|cell| cell.analyte == Analyte::Conductivity);
    let crops = salts.crops.iter().map(|(crop, kept)| CropView {
        name: crop.name,
        kept: match kept {
            Ok(kept) => Ok((show::figure(&kept.working.figure), Steps::of(&kept.working, &page_of))),
            Err(why) => Err(why.as_str()),
        },
    });
    html(&SaltsPage {
        frame: under_plot(
            &cx,
            &salts.site,
            &salts.standing.plot,
            format!("Salts and sodium on {}", titled(&salts.standing.plot)),
        ),
        warnings: salts
            .warnings
            .iter()
            .map(|warning| (warning.text.as_str(), warning.source.publisher, address(warning.source)))
            .collect(),
        readings: salts.conductivities.iter().map(|one| reading_view(one, &page_of)).collect(),
        unreadable: unreadable.map(|cell| format!("“{}”: {}", cell.printed, sentence(&cell.reason))).collect(),
        crops: crops.collect(),
        verdict: salts.verdict,
        adsorption: match &salts.adsorption {
            Ok((_, working)) => Ok((show::figure(&working.figure), Steps::of(working, &page_of))),
            Err(why) => Err(why.as_str()),
        },
        sodium: match &salts.sodium {
            Ok(sodium) => Ok(SodiumView {
                percent: show::figure(&sodium.working.figure),
                estimated: sodium.estimated,
                american: sodium.american,
                australian: sodium.australian,
                steps: Steps::of(&sodium.working, &page_of),
            }),
            Err(why) => Err(why.as_str()),
        },
    })
}
