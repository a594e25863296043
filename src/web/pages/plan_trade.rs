//! The trade-off of a draft: shortage against cost and against excess, a few plans along each
//! curve, and a button at each to have it so.

use super::{
    plan_caps::percent,
    plan_work::worked_out,
    plans::{refused, under_plan},
    plot::{html, page_text},
};
use crate::{
    app::seasons::{DoseForm, Point, Step, TradeForm, TradeOff},
    ids::PlanId,
    web::{
        chart::{Curve, CurvePoint},
        error::Result,
        form::Form,
        guard::Cx,
        halves::in_halves,
        show,
        view::Frame,
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    response::{IntoResponse, Response},
};

/// The curves.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/trade_off.html")]
pub struct TradePage {
    frame: Frame,
    plan: PlanId,
    revision: i64,
    /// A draft before somebody who may change it.
    editable: bool,
    draft: bool,
    busy: bool,
    /// The curves are still being worked out.
    waiting: bool,
    left_out: usize,
    /// More may be left short to spend less, %; the curves leave that out.
    thrifty: Option<String>,
    /// Each with its heading.
    curves: Vec<(&'static str, Choices)>,
}

/// A curve with its table.
struct Choices {
    curve: Curve,
    rows: Vec<Row>,
}

/// A plan along a curve.
struct Row {
    what: String,
    present: bool,
    limit: &'static str,
    to: String,
    met: String,
    short: String,
    over: String,
    cost: String,
}

fn what(step: Step, currency: &str) -> String {
    match step {
        Step::Budget(None) => "No limit".into(),
        Step::Budget(Some(0)) => "Buy nothing".into(),
        Step::Budget(Some(minor)) => format!("At most {}", show::money(minor, currency)),
        Step::Accept(0.0) => "Nothing given up".into(),
        Step::Accept(p) => format!("{}\u{a0}% given up", show::significant(p, 3)),
    }
}

fn row(point: &Point, currency: &str) -> Row {
    let (tally, measure) = (&point.tally, &point.tally.measure);
    Row {
        what: what(point.step, currency),
        present: point.present,
        limit: point.step.limit(),
        to: point.step.to(),
        met: format!("{} of {}", tally.met, tally.needs),
        short: percent(measure.short_percent),
        over: percent(measure.over_percent),
        cost: show::money(measure.cost_minor.round() as i64, currency),
    }
}

fn choices(points: &[Point], title: &str, across: &str, currency: &str) -> Option<Choices> {
    let rows: Vec<Row> = points.iter().map(|point| row(point, currency)).collect();
    let dot = |(point, row): (&Point, &Row)| {
        let measure = &point.tally.measure;
        let (x, gained) = match point.step {
            Step::Budget(_) => (show::major(measure.cost_minor, currency), &row.cost),
            Step::Accept(_) => (measure.over_percent, &row.over),
        };
        let now = if point.present { ", as the plan is set now" } else { "" };
        let words = format!("{}: {} missing, {gained}{now}", row.what, row.short);
        CurvePoint { x, y: measure.short_percent, marked: point.present, words }
    };
    let dots = points.iter().zip(&rows).map(dot).collect();
    let curve = Curve { title: title.into(), across: across.into(), points: dots };
    (points.len() > 1).then_some(Choices { curve, rows })
}

impl TradePage {
    fn new(cx: &Cx, trade: &TradeOff) -> TradePage {
        let view = &trade.view;
        let currency = &view.site.currency;
        let frame = under_plan(cx, view, "Trade-off");
        let draft = view.plan.state == "draft";
        let cost = format!("Cost, {currency}");
        let cost = choices(&trade.cost, "Missing of all needs, %, against cost", &cost, currency);
        let title = "Missing of all needs, %, against what is more than needed";
        let excess = choices(&trade.excess, title, "More than needed, %", currency);
        let curves = [("To spend less", cost), ("To bring less of what is not needed", excess)];
        TradePage {
            plan: view.plan.id,
            revision: view.plan.revision,
            editable: draft && frame.may_record(),
            draft,
            busy: trade.busy,
            waiting: false,
            left_out: trade.left_out,
            thrifty: view.options.spend_less_percent.map(|percent| show::significant(percent, 3)),
            curves: curves.into_iter().filter_map(|(heading, one)| Some((heading, one?))).collect(),
            frame,
        }
    }
}

/// `GET /plans/{plan}/trade-off`: what it is at once; the curves, once they are worked out.
pub async fn show(cx: Cx, Path(plan): Path<PlanId>) -> Result<Response> {
    let view = cx.app.plan(&cx.actor, plan).await?;
    let none = TradeOff { view, cost: vec![], excess: vec![], left_out: 0, busy: false };
    let now = TradePage { waiting: true, ..TradePage::new(&cx, &none) };
    if !now.draft {
        return html(&now);
    }
    let first = page_text(&now)?;
    let rest = async move {
        let page = match cx.app.trade_off(&cx.actor, plan).await {
            Ok(trade) => TradePage::new(&cx, &trade),
            // As where other plans are being worked out: try again.
            Err(_) => TradePage { busy: true, waiting: false, ..now },
        };
        page.render().unwrap_or_default()
    };
    Ok(in_halves(&first, rest))
}

/// `POST /plans/{plan}/trade-off`: sets the limit of a point and works the plan out again.
pub async fn choose(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<Response> {
    let typed: TradeForm = form.read_as()?;
    cx.app.choose_trade_off(&cx.actor, plan, &typed).await?;
    match cx.app.begin_solving(&cx.actor, plan, &DoseForm::default()).await {
        Ok(begun) => Ok(worked_out(plan, begun, "The plan is worked out so. It can be undone below.").into_response()),
        Err(error) => refused(&cx, plan, Form::new(), error).await,
    }
}
