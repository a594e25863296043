//! A plan that is being worked out: how far it is, looked at again every second, and a
//! button that ends the search. Where it is done within a moment nobody sees this page.

use super::{
    plans::{path, refused},
    seasons::under_season,
};
use crate::{
    agronomy::plan::{Goal, Progress},
    app::seasons::{Begun, Solving, UndoRow},
    ids::PlanId,
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show,
        view::{Frame, See, see},
    },
};
use askama::Template;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{Html, IntoResponse, Response},
};

/// On to the plan, or to how far it is.
pub(super) fn worked_out(plan: PlanId, begun: Begun, said: &str) -> See {
    match begun {
        Begun::Done => see(path(plan)).say(said),
        Begun::Running => see(format!("{}/work", path(plan))),
    }
}

/// A plan that is being worked out.
#[derive(Template)]
#[template(path = "pages/plans/work.html")]
pub struct WorkPage {
    frame: Frame,
    plan: PlanId,
    lines: Vec<String>,
    stopping: bool,
}

/// `GET /plans/{plan}/work`: how far it is, again every second; then the plan.
pub async fn show(cx: Cx, Path(plan): Path<PlanId>) -> Result<Response> {
    match cx.app.solving(&cx.actor, plan) {
        Ok(Solving::Done) => Ok(see(path(plan)).say("The plan is worked out. Look it over.").into_response()),
        Ok(Solving::Running { seconds, started, progress, stopping }) => {
            let (site, season, row) = cx.app.plan_place(&cx.actor, plan).await?;
            let frame = under_season(&cx, &site, format!("Working out {}", row.name))
                .under(format!("/seasons/{}", season.id), format!("Season {}", season.name))
                .under(path(plan), &row.name);
            let lines = progress_words(seconds, started, progress, &site.currency);
            let page = WorkPage { frame, plan, lines, stopping };
            let page = page.render().map_err(|_| Error::from_status(StatusCode::INTERNAL_SERVER_ERROR))?;
            Ok(([("refresh", "1"), ("cache-control", "no-store")], Html(page)).into_response())
        }
        Err(error) => refused(&cx, plan, Form::new(), error).await,
    }
}

/// `POST /plans/{plan}/work/stop`: keeps the best plan found so far.
pub async fn stop(cx: Cx, Path(plan): Path<PlanId>) -> Result<Response> {
    cx.app.stop_solving(&cx.actor, plan).await?;
    Ok(see(format!("{}/work", path(plan))).into_response())
}

/// `POST /plans/{plan}/undo`: a draft again as it was before its last change.
pub async fn undo(cx: Cx, Path(plan): Path<PlanId>, form: Form) -> Result<Response> {
    match cx.app.undo_plan(&cx.actor, plan, form.value("revision").trim().parse().ok()).await {
        Ok(()) => Ok(see(path(plan)).say("Undone. To have it back, undo the undoing.").into_response()),
        Err(error) => refused(&cx, plan, Form::new(), error).await,
    }
}

/// What the last change of a draft was, as a sentence.
pub(super) fn undo_words(undo: &UndoRow) -> String {
    let what = match undo.change.as_str() {
        "doses" => "doses were saved by hand",
        "solved" => "the plan was worked out again",
        "choices" => "its plots, products or limits were changed and it was worked out again",
        _ => "a change was undone",
    };
    let by = undo.kept_by.as_ref().map_or_else(String::new, |name| format!(", by {name}"));
    format!("Last change: {what}, {}{by}.", show::moment(undo.kept_at))
}

/// How far a search is, in sentences.
fn progress_words(seconds: u64, started: bool, progress: Option<Progress>, currency: &str) -> Vec<String> {
    let begun = format!("Begun {} ago.", show::count(seconds as usize, "second"));
    let Some(progress) = progress else {
        let words = match started {
            true => "It is being worked out; there is no whole plan yet.",
            false => "Two other plans are being worked out; this one waits for its turn.",
        };
        return vec![begun, words.into()];
    };
    let mut lines = vec![begun];
    lines.push(format!(
        "The best plan so far meets {} of {} needs to within 5 %, uses {} and costs {}.",
        progress.met,
        progress.needs,
        show::count(progress.products, "product"),
        show::money(progress.cost_minor.round() as i64, currency)
    ));
    lines.push(match (progress.goal, progress.gap) {
        (Goal::Cost, Some(gap)) if gap > 1e-6 => {
            format!("Looking for cheaper packs: at most {} % can still be saved.", show::significant(gap * 100.0, 2))
        }
        (Goal::Cost, _) => "Looking for cheaper packs.".into(),
        (goal, _) => format!("Now settling: {}.", goal.words()),
    });
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_plan_that_has_its_turn_does_not_say_that_it_waits() {
        let words = |started| progress_words(2, started, None, "EUR").join(" ");
        assert!(words(false).contains("waits for its turn") && !words(true).contains("waits"), "{}", words(true));
        let progress = Progress { goal: Goal::Excess, needs: 3, met: 2, products: 1, cost_minor: 900.0, gap: None };
        let words = progress_words(2, true, Some(progress), "EUR");
        assert!(words[1].contains("meets 2 of 3 needs") && words.len() == 3, "{words:?}");
    }
}
