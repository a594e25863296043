//! Seasons of a site: the list, and one season with what grows where and what is planned.

use super::plots::{titled, under_site};
use crate::{
    agronomy::{
        crop::{CROPS, Crop},
        rate::RateUnit,
    },
    app::{
        Result as AppResult,
        plots::SiteRow,
        seasons::{PlanRow, SeasonRow, SeasonView},
    },
    ids::{PlotId, SeasonId, SiteId},
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show::filters,
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};
use jiff::{
    ToSpan,
    civil::{Date, date},
};
use std::collections::BTreeMap;

/// The seasons of a site, and the form to add one.
#[derive(Template, WebTemplate)]
#[template(path = "pages/seasons/list.html")]
pub struct SeasonsPage {
    frame: Frame,
    site: SiteRow,
    seasons: Vec<SeasonRow>,
    form: Form,
}

/// One season.
#[derive(Template, WebTemplate)]
#[template(path = "pages/seasons/show.html")]
pub struct SeasonPage {
    frame: Frame,
    site: SiteRow,
    season: SeasonRow,
    plans: Vec<PlanRow>,
    rows: Vec<CropsOfPlot>,
    form: Form,
}

/// A plot with the fields for its crops.
struct CropsOfPlot {
    id: PlotId,
    title: String,
    field: String,
    /// What stands in each field; the last ones are empty.
    named: Vec<String>,
}

/// Fields kept free for more crops on each plot.
const FREE: usize = 2;

/// A plan's state as a person reads it.
pub(super) fn state_words(plan: &PlanRow) -> &'static str {
    match plan.state.as_str() {
        "draft" => "draft",
        "agreed" => "agreed",
        _ => "closed",
    }
}

impl SeasonsPage {
    async fn load(cx: &Cx, id: SiteId, form: Form) -> Result<SeasonsPage> {
        let site = cx.app.site(&cx.actor, id).await?;
        let seasons = cx.app.seasons(&cx.actor, id).await?;
        Ok(SeasonsPage { frame: under_site(cx, &site, "Seasons"), site, seasons, form })
    }
}

/// `GET /sites/{site}/seasons`
pub async fn list(cx: Cx, Path(site): Path<SiteId>) -> Result<SeasonsPage> {
    let last = cx.app.seasons(&cx.actor, site).await?.iter().map(|season| season.ends_on).max();
    let (name, from, to) = next_year(last, cx.app.today());
    let fields = [("name", name), ("starts_on", from.to_string()), ("ends_on", to.to_string())];
    SeasonsPage::load(&cx, site, Form::filled(fields)).await
}

/// The season that a form to add one starts with: the year after the last one that is there,
/// or after today's where that is long over; this calendar year where there is none. It is
/// named after the year that holds most of it.
fn next_year(last: Option<Date>, today: Date) -> (String, Date, Date) {
    let first = |day: Date| day.checked_add(1.day()).unwrap_or(day);
    let whole = |from: Date| from.checked_add(1.year()).and_then(|to| to.yesterday()).unwrap_or(from);
    let mut from = last.map_or(date(today.year(), 1, 1), first);
    while whole(from) < today {
        from = first(whole(from));
    }
    let to = whole(from);
    let year = if from.month() > 6 { to.year() } else { from.year() };
    (year.to_string(), from, to)
}

/// `POST /sites/{site}/seasons`
pub async fn add(cx: Cx, Path(site): Path<SiteId>, form: Form) -> Result<Response> {
    match cx.app.add_season(&cx.actor, site, &form.read_as()?).await {
        Ok(id) => Ok(see(format!("/seasons/{id}")).say("The season is added. Say what grows where.").into_response()),
        Err(error) => {
            let page = SeasonsPage::load(&cx, site, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

impl SeasonPage {
    fn new(cx: &Cx, view: SeasonView, form: Option<Form>) -> SeasonPage {
        let frame = under_season(cx, &view.site, format!("Season {}", view.season.name));
        let rows = view.plots.iter().map(|plot| {
            let field = crop_field(plot.id);
            let mut named: Vec<String> = match &form {
                Some(form) => form.all(&field).iter().filter(|name| !name.trim().is_empty()).cloned().collect(),
                None => {
                    let grown = view.crops.get(&plot.id).into_iter().flatten();
                    grown.map(|row| Crop::find(&row.crop).map_or(row.crop.clone(), |crop| crop.name.into())).collect()
                }
            };
            named.resize(named.len() + FREE, String::new());
            CropsOfPlot { id: plot.id, title: titled(plot), field, named }
        });
        SeasonPage {
            frame,
            rows: rows.collect(),
            site: view.site,
            season: view.season,
            plans: view.plans,
            form: form.unwrap_or_default(),
        }
    }

    fn crops(&self) -> &'static [Crop] {
        CROPS
    }
}

/// The frame of a page that lies under a site's seasons.
pub(super) fn under_season(cx: &Cx, site: &SiteRow, title: impl Into<String>) -> Frame {
    under_site(cx, site, title).under(format!("/sites/{}/seasons", site.id), "Seasons")
}

fn crop_field(plot: PlotId) -> String {
    format!("crop_{plot}")
}

/// `GET /seasons/{season}`
pub async fn show(cx: Cx, Path(season): Path<SeasonId>) -> Result<SeasonPage> {
    let view = cx.app.season(&cx.actor, season).await?;
    Ok(SeasonPage::new(&cx, view, None))
}

/// The caps that are exceeded already, with the plots.
async fn beyond(cx: &Cx, view: &SeasonView) -> Result<BTreeMap<String, Vec<String>>> {
    let ids: Vec<PlotId> = view.plots.iter().map(|plot| plot.id).collect();
    let totals = cx.app.season_totals(&cx.actor, &ids, cx.app.today()).await?;
    let mut beyond: BTreeMap<String, Vec<String>> = BTreeMap::new();
    let site: RateUnit = view.site.rate_unit.parse().unwrap_or(RateUnit::KgPerHa);
    for plot in &view.plots {
        let caps = totals.get(&plot.id).map_or(&[][..], |totals| &totals.caps);
        for cap in caps.iter().filter(|cap| cap.exceeded()) {
            beyond.entry(cx.actor.liking.cap_label(&cap.cap, site)).or_default().push(plot.code.clone());
        }
    }
    Ok(beyond)
}

/// `POST /seasons/{season}/crops`
pub async fn set_crops(cx: Cx, Path(season): Path<SeasonId>, form: Form) -> Result<Response> {
    let view = cx.app.season(&cx.actor, season).await?;
    // Only what the form shows is changed: a plot added meanwhile keeps its crops.
    let named: BTreeMap<PlotId, Vec<String>> = view
        .plots
        .iter()
        .map(|plot| (plot.id, form.all(&crop_field(plot.id)).to_vec()))
        .filter(|(_, names)| !names.is_empty())
        .collect();
    let before = beyond(&cx, &view).await?;
    let done: AppResult<()> = cx.app.set_crops(&cx.actor, season, &named).await;
    match done {
        Ok(()) => {
            let mut said = "The crops are saved.".to_owned();
            for (label, plots) in beyond(&cx, &view).await? {
                if !before.contains_key(&label) {
                    said += &format!(" On {} more was put on in the last twelve months: {label}.", plots.join(", "));
                }
            }
            Ok(see(format!("/seasons/{season}")).say(said).into_response())
        }
        Err(error) => {
            let page = SeasonPage::new(&cx, view, Some(form.refused(error)?));
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_new_season_begins_where_the_last_one_ends() {
        let today = date(2026, 11, 26);
        let of = |last| {
            let (name, from, to) = next_year(last, today);
            (name, from.to_string(), to.to_string())
        };
        let said = |name: &str, from: &str, to: &str| (name.to_owned(), from.to_owned(), to.to_owned());
        assert_eq!(of(None), said("2026", "2026-01-01", "2026-12-31"));
        assert_eq!(of(Some(date(2026, 12, 31))), said("2027", "2027-01-01", "2027-12-31"));
        assert_eq!(of(Some(date(2027, 10, 31))), said("2028", "2027-11-01", "2028-10-31"));
        // Over for years: the one that holds today, in the same rhythm.
        assert_eq!(of(Some(date(2022, 10, 31))), said("2027", "2026-11-01", "2027-10-31"));
        // A leap day stays inside.
        assert_eq!(of(Some(date(2028, 2, 28))), said("2028", "2028-02-29", "2029-02-27"));
    }
}
