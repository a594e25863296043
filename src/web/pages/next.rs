//! What to do next on a plot, and why: ranked steps, when to test again, what was put on
//! since the last test, what the caps of twelve months leave, what the last plan left undone.

use super::{
    plot::{html, working_path},
    plots::{titled, under_plot},
    years::RetestView,
};
use crate::{
    agronomy::{
        cap::Counted,
        outlook::{Kind, Step},
        rate::RateUnit,
        source::Citation,
        working::Working,
    },
    app::outlook::PlotOutlook,
    ids::PlotId,
    web::{
        error::Result,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{extract::Path, response::Response};

/// Next season on one plot.
#[derive(Template)]
#[template(path = "pages/plots/next.html")]
struct NextPage<'a> {
    frame: Frame,
    ahead: &'a PlotOutlook,
    guideline: &'a str,
    steps: Vec<StepLine<'a>>,
    why_then: Vec<Why<'a>>,
    put_on: Vec<Carried>,
    /// What was put on since the last test, one line each.
    since: Vec<String>,
    caps: Vec<CapRow<'a>>,
    undone: Vec<UndoneRow>,
    crops: String,
    retest: Option<RetestView>,
}

struct StepLine<'a> {
    step: &'a Step,
    /// Address of the working of the need, or of what was found.
    working: Option<String>,
    /// Address of the page that says how much lime.
    lime: Option<String>,
}

/// A reason and who says so.
struct Why<'a> {
    words: &'a str,
    source: Option<&'a Citation>,
    address: Option<&'a str>,
}

struct Carried {
    name: String,
    mass: String,
    rate: String,
}

struct CapRow<'a> {
    label: String,
    used: String,
    left: String,
    over: bool,
    steps: Steps<'a>,
}

struct UndoneRow {
    name: String,
    left_out: String,
    not_put_on: String,
}

fn step_line(plot: PlotId, step: &Step) -> StepLine<'_> {
    let what = match step.kind {
        Kind::Feed | Kind::Capped => "need",
        _ => "found",
    };
    let lime = (step.kind == Kind::Lime).then(|| format!("/plots/{plot}/lime"));
    StepLine { step, working: step.analyte.map(|analyte| working_path(plot, analyte, what)), lime }
}

/// `GET /plots/{plot}/next`
pub async fn show(cx: Cx, Path(id): Path<PlotId>) -> Result<Response> {
    let (site, guideline, ahead) = cx.app.plot_outlook(&cx.actor, id).await?;
    let retest = cx.app.plot_retest(&cx.actor, id).await?;
    let plot = &ahead.standing.plot;
    let outlook = &ahead.outlook;
    let liking = cx.actor.liking;
    let rates = liking.by_rate();
    let rate_unit: RateUnit = site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    let last = ahead.standing.survey.last_sampled();
    let since = ahead.applications.iter().filter(|a| last.is_none_or(|last| a.applied_on >= last));
    let whys = outlook.next_test.why.iter().map(|(words, source)| {
        let source = source.as_ref();
        Why { words, source, address: source.and_then(show::address) }
    });
    let put_on = outlook.put_on.iter().map(|line| Carried {
        name: liking.name(line.element),
        mass: show::mass(liking.mass(line.element, line.mass.0)),
        rate: show::rate_figure(&rates.rate(line.element, line.rate, plot.ground().area, rate_unit)),
    });
    let workings: Vec<Working> =
        outlook.caps.iter().map(|line| liking.cap_working(&line.cap, &line.working, rate_unit)).collect();
    let caps = outlook.caps.iter().zip(&workings).map(|(line, working)| CapRow {
        label: liking.cap_label(&line.cap, rate_unit),
        used: show::figure(&liking.cap_amount(&line.cap, line.used, rate_unit)),
        left: show::mass(match line.cap.counted {
            Counted::Total(element) => liking.mass(element, line.left_on_plot.0),
            _ => line.left_on_plot.0,
        }),
        over: line.left.0 < 0.0,
        steps: Steps::of(working, &|_| None),
    });
    let undone = ahead.undone.iter().filter(|(_, undone)| undone.left_out_g > 0.0 || undone.not_put_on_g > 0.0);
    let undone = undone.map(|(element, undone)| UndoneRow {
        name: show::uncapitalised(&liking.name(*element)),
        left_out: show::mass(liking.mass(*element, undone.left_out_g)),
        not_put_on: show::mass(liking.mass(*element, undone.not_put_on_g)),
    });
    let crops: Vec<String> = ahead.crops.iter().map(|crop| crop.in_sentence()).collect();
    html(&NextPage {
        frame: under_plot(&cx, &site, plot, format!("Next on {}", titled(plot))),
        steps: outlook.steps.iter().map(|step| step_line(id, step)).collect(),
        why_then: whys.collect(),
        put_on: put_on.collect(),
        since: since
            .map(|a| format!("{}: {}, {}", show::date(a.applied_on), a.amendment, show::mass(a.mass_g)))
            .collect(),
        caps: caps.collect(),
        undone: undone.collect(),
        crops: crops.join(", "),
        retest: RetestView::of(&retest, &site),
        ahead: &ahead,
        guideline: &guideline.title,
    })
}
