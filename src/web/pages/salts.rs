//! Salts and sodium on one plot: what its conductivity means at its own dilution, what its crops
//! would keep of their yield, and what sodium holds.

use super::{
    plot::{cell_pages, html, sentence},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        liking::Liking,
        quantity::{DsPerM, KgPerHa},
        reading::number,
        record::CellKey,
        salinity::{CALIFORNIA, MAAS_1990, RATED_ONLY, SALT_FACTORS, TOLERANCES},
        source::{Citation, Source},
    },
    app::salts::{Conductivity, Gypsum, Kept},
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

/// Salts on a plot.
#[derive(Template)]
#[template(path = "pages/plots/salts.html")]
struct SaltsPage<'a> {
    frame: Frame,
    plot: PlotId,
    form: Form,
    warnings: Vec<(&'a str, &'static str, Option<String>)>,
    readings: Vec<ReadingView<'a>>,
    /// Conductivities that cannot be read, and why.
    unreadable: Vec<String>,
    crops: Vec<CropView<'a>>,
    verdict: Option<&'static str>,
    adsorption: std::result::Result<(String, Steps<'a>), &'a str>,
    sodium: std::result::Result<SodiumView<'a>, &'a str>,
    gypsum: std::result::Result<GypsumView<'a>, &'a str>,
    /// The published table: crop, threshold, loss beyond it, and the paste at which half is left.
    table: Vec<(&'static str, String, String, String)>,
    rated_only: String,
    table_title: &'static str,
    table_address: Option<String>,
    /// Who else is in the table, for the crops that the first source lacks.
    table_also: String,
    /// What publishers count 1 dS/m for where a sheet prints ppm.
    ppm: Vec<(String, String)>,
}

/// Gypsum to give.
struct GypsumView<'a> {
    none: bool,
    on_plot: String,
    per_area: String,
    notes: &'a [String],
    steps: Vec<Steps<'a>>,
}

/// A conductivity.
struct ReadingView<'a> {
    figure: String,
    method: &'a str,
    sampled: String,
    class: std::result::Result<(&'static str, Steps<'a>), &'a str>,
    /// The class by a second publisher, and who that is.
    group: Option<(&'static str, String, Steps<'a>)>,
    notes: &'a [String],
    paste: Option<(String, String, Vec<Steps<'a>>)>,
}

/// A crop's yield.
struct CropView<'a> {
    name: &'static str,
    kept: std::result::Result<Share<'a>, &'a str>,
}

/// What is kept, how that is known, and each way to it.
type Share<'a> = (String, &'static str, Vec<Steps<'a>>);

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
        group: of.group.as_ref().map(|group| {
            let by = group.working.source.as_ref().map_or_else(String::new, |source| source.publisher.clone());
            (group.class, by, Steps::of(&group.working, page_of))
        }),
        notes: of.class.as_ref().map_or(&[], |class| &class.notes),
        paste: of.paste.as_ref().map(|(all, low, high)| {
            (level(low.0), level(high.0), all.iter().map(|one| Steps::of(&one.working, page_of)).collect())
        }),
    }
}

fn gypsum_view<'a>(of: &'a Gypsum, liking: Liking, page_of: &dyn Fn(CellKey) -> Option<String>) -> GypsumView<'a> {
    let span = |low: String, high: String| if low == high { low } else { format!("{low} to {high}") };
    let (low, high) = (of.grams_per_m2.0.kg_per_ha(), of.grams_per_m2.1.kg_per_ha());
    let per_area = |rate: KgPerHa| show::significant(liking.product(rate).value, 2);
    GypsumView {
        none: of.high.rate.0 <= 0.0,
        on_plot: span(show::mass(of.on_plot.0.0), show::mass(of.on_plot.1.0)),
        per_area: format!("{}\u{a0}{}", span(per_area(low), per_area(high)), liking.product(high).unit),
        notes: &of.high.notes,
        steps: [&of.low, &of.high].map(|rate| Steps::of(&rate.working, page_of)).into(),
    }
}

fn kept_view<'a>(kept: &'a Kept, page_of: &dyn Fn(CellKey) -> Option<String>) -> Share<'a> {
    match kept {
        Kept::Read(share) => (show::figure(&share.working.figure), "", vec![Steps::of(&share.working, page_of)]),
        Kept::Estimated(least, most) => {
            let (low, high) = (show::figure(&least.working.figure), show::figure(&most.working.figure));
            let words = if low == high { low } else { format!("{low} to {high}") };
            (words, ", by estimates of the paste", [least, most].map(|share| Steps::of(&share.working, page_of)).into())
        }
    }
}

fn address(source: Source) -> Option<String> {
    show::address(&source.into()).map(str::to_owned)
}

/// `GET /plots/{plot}/salts?esp_to=10&purity=90`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let salts = cx.app.plot_salts(&cx.actor, plot, form.read_as()?).await?;
    let mut form = Form::of(&salts.form);
    for problem in &salts.problems.0 {
        form.problem(&problem.field, &problem.message);
    }
    let pages = cell_pages(&salts.standing);
    let page_of = |key| pages.get(&key).cloned();
    let unreadable = salts.standing.present.unreadable.iter().filter(|cell| cell.analyte == Analyte::Conductivity);
    let crops = salts.crops.iter().map(|(crop, kept)| CropView {
        name: crop.name,
        kept: match kept {
            Ok(kept) => Ok(kept_view(kept, &page_of)),
            Err(why) => Err(why.as_str()),
        },
    });
    let status = if salts.problems.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = SaltsPage {
        plot,
        form,
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
        gypsum: salts
            .gypsum
            .as_ref()
            .map(|gypsum| gypsum_view(gypsum, cx.actor.liking, &page_of))
            .map_err(String::as_str),
        table: TOLERANCES
            .iter()
            .map(|row| {
                let half = number(row.paste_for(50.0).0);
                (
                    row.name,
                    format!("{} {}", number(row.threshold), DsPerM::UNIT),
                    format!("{} %", number(row.slope)),
                    half,
                )
            })
            .collect(),
        rated_only: RATED_ONLY.iter().map(|slug| slug.replace('_', " ")).collect::<Vec<_>>().join(", "),
        table_title: MAAS_1990.title,
        table_address: address(MAAS_1990),
        table_also: format!(
            "{} {}",
            TOLERANCES.iter().filter(|row| row.source == CALIFORNIA).map(|row| row.name).collect::<Vec<_>>().join(", "),
            format_args!("from {}", Citation::from(CALIFORNIA))
        ),
        ppm: SALT_FACTORS
            .iter()
            .map(|factor| (number(factor.ppm_per_ds_per_m), Citation::from(factor.source).to_string()))
            .collect(),
    };
    Ok((status, html(&page)?).into_response())
}
