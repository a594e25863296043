//! The story of a plot: tests, products, crops, harvests, splits, notes and files in one line
//! of days, season by season; and the form to write down what was seen.

use super::{
    files::form_with_file,
    harvests,
    plots::{titled, under_plot},
};
use crate::{
    agronomy::amendment::Kind,
    app::{
        self,
        notes::{NoteForm, NoteRow},
        plots::{LineageRow, PlotRow},
        story::{Chapter, Happening, What, chapters},
    },
    ids::{NoteId, PlotId},
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, see},
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::{
    extract::{Multipart, Path, multipart::MultipartRejection},
    http::StatusCode,
    response::{IntoResponse, Response},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// The story of a plot.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plots/story.html")]
pub struct StoryPage {
    frame: Frame,
    plot: PlotRow,
    /// Newest first.
    chapters: Vec<ChapterView>,
    /// Notes that can be taken back, newest first.
    notes: Vec<NoteRow>,
    form: Form,
}

struct ChapterView {
    title: String,
    /// The season, to open its summary on paper.
    season: Option<crate::ids::SeasonId>,
    events: Vec<Event>,
}

/// Something that happened on a day, as a line.
pub(super) struct Event {
    pub on: Date,
    /// The day was not written down.
    pub assumed: bool,
    /// An anchor on the page.
    pub id: Option<String>,
    pub path: Option<String>,
    pub what: String,
    pub more: String,
    /// Files kept with it: address and name.
    pub files: Vec<(String, String)>,
}

/// A plot and those that it came from or went into, by name.
pub(super) struct Names(BTreeMap<PlotId, (String, String)>);

impl Names {
    pub async fn load(cx: &Cx, plot: PlotId) -> Result<Names> {
        let plots = cx.app.kin(&cx.actor, plot).await?;
        Ok(Names(plots.into_iter().map(|plot| (plot.id, (titled(&plot), plot.code))).collect()))
    }

    /// The code, and the name where it has one.
    pub fn of(&self, plot: PlotId) -> String {
        self.0.get(&plot).map_or_else(|| format!("plot {plot}"), |(title, _)| title.clone())
    }

    fn code(&self, plot: PlotId) -> String {
        self.0.get(&plot).map_or_else(|| format!("plot {plot}"), |(_, code)| code.clone())
    }

    /// What a split or merge made of the other plot, as seen from this one; follows its name.
    pub fn kinship(&self, plot: PlotId, row: &LineageRow) -> String {
        let on = show::date(row.took_place_on);
        match (row.kind.as_str(), row.parent == plot, row.child == plot) {
            ("split", true, _) => format!("was split off this plot on {on}"),
            ("split", _, true) => format!("is what this plot was split off, on {on}"),
            ("merge", true, _) => format!("took this plot in on {on}"),
            ("merge", _, true) => format!("went into this plot on {on}"),
            (_, _, _) => format!("came before {}, until {on}", self.of(row.child)),
        }
    }
}

/// What happened to a plot, as lines.
pub(super) fn events(happenings: &[Happening], plot: PlotId, names: &Names) -> Vec<Event> {
    happenings.iter().map(|one| event(one, plot, names)).collect()
}

fn event(one: &Happening, plot: PlotId, names: &Names) -> Event {
    let (mut id, mut files) = (None, Vec::new());
    let file = |id: &dyn std::fmt::Display, name: &str| (format!("/files/{id}"), name.to_owned());
    let (path, what, mut more) = match &one.what {
        What::Sampled(loaded, kept) => {
            let mut labs: Vec<&str> = loaded.sampling.reports.iter().map(|report| report.lab.as_str()).collect();
            labs.sort_unstable();
            labs.dedup();
            let results = loaded.sampling.determinations().count();
            let mut more = match labs[..] {
                [] => "no report yet".to_owned(),
                _ => format!("{} from {}", show::count(results, "result"), labs.join(" and ")),
            };
            match loaded.row.depth() {
                Some(depth) => more += &format!(", {depth}"),
                None => more += ", depth not written down",
            }
            if loaded.plots.len() > 1 {
                more += &format!(", one sample of {}", show::count(loaded.plots.len(), "plot"));
            }
            files = kept.iter().map(|kept| file(&kept.id, &kept.name)).collect();
            (Some(format!("/samplings/{}", loaded.row.id)), "Soil sampled".to_owned(), more)
        }
        What::PutOn(row, kind) => {
            let how = if row.method.is_empty() { String::new() } else { format!(", {}", row.method) };
            let who = if row.person_name.is_empty() { String::new() } else { format!(", {}", row.person_name) };
            let put_on = if *kind == Kind::Lime { "limed" } else { "put on" };
            let what = format!("{}, {}", row.amendment_name, show::mass(row.mass_g));
            (Some(format!("/applications/{}", row.id)), what, format!("{put_on}{how}{who}"))
        }
        What::Sown { crop, season, season_name } => {
            (Some(format!("/seasons/{season}")), crop.clone(), format!("grown, {season_name}"))
        }
        What::Harvested(row) => {
            let who = if row.person_name.is_empty() { String::new() } else { format!(", {}", row.person_name) };
            (
                Some(format!("/harvests/{}", row.id)),
                format!("Harvest: {}", harvests::what(row)),
                format!("taken off{who}"),
            )
        }
        What::Made(row) => {
            let other = if row.parent == plot { row.child } else { row.parent };
            (Some(format!("/plots/{other}")), names.of(other), names.kinship(plot, row))
        }
        What::Noted(row) => {
            id = Some(format!("note-{}", row.id));
            files.extend(row.attachment.map(|id| file(&id, row.file_name.as_deref().unwrap_or("file"))));
            let who = row.person.as_ref().map_or_else(String::new, |person| format!(", {person}"));
            (None, row.text.clone(), format!("noted{who}"))
        }
        What::Kept(row) => (Some(format!("/files/{}", row.id)), row.name.clone(), "kept with the plot".into()),
    };
    if one.plot != plot {
        more += &format!(", on {} then", names.code(one.plot));
    }
    Event { on: one.on, assumed: one.assumed, id, path, what, more, files }
}

impl StoryPage {
    async fn load(cx: &Cx, id: PlotId, form: Form) -> Result<StoryPage> {
        let (site, _, standing) = cx.app.plot_standing(&cx.actor, id).await?;
        let happenings = cx.app.happenings(&cx.actor, &standing).await?;
        let seasons = cx.app.seasons(&cx.actor, site.id).await?;
        let names = Names::load(cx, id).await?;
        let view = |chapter: &Chapter<'_>| ChapterView {
            title: match chapter.season {
                Some(season) => format!("Season {}", season.name),
                None => format!("{}, outside the seasons", chapter.year),
            },
            season: chapter.season.map(|season| season.id),
            events: chapter.happenings.iter().map(|one| event(one, id, &names)).collect(),
        };
        let chapters = chapters(&happenings, &seasons).iter().map(view).collect();
        let noted = happenings.iter().filter_map(|one| match &one.what {
            What::Noted(row) => Some(row.clone()),
            _ => None,
        });
        Ok(StoryPage {
            frame: under_plot(cx, &site, &standing.plot, format!("The story of {}", titled(&standing.plot))),
            chapters,
            notes: noted.collect(),
            plot: standing.plot,
            form,
        })
    }
}

/// `GET /plots/{plot}/story`
pub async fn show(cx: Cx, Path(id): Path<PlotId>) -> Result<StoryPage> {
    let form = Form::filled([("noted_on", cx.app.today())]);
    StoryPage::load(&cx, id, form).await
}

/// `POST /plots/{plot}/notes`
pub async fn note(
    cx: Cx,
    Path(id): Path<PlotId>,
    upload: std::result::Result<Multipart, MultipartRejection>,
) -> Result<Response> {
    let (form, file) = form_with_file(upload).await?;
    let typed: NoteForm = form.read_as()?;
    let file = file.as_ref().map(|(name, bytes)| (name.as_str(), bytes.as_slice()));
    match cx.app.add_note(&cx.actor, id, &typed, file).await {
        Ok(note) => Ok(see(format!("/plots/{id}/story#note-{note}")).say("It is written down.").into_response()),
        Err(error @ app::Error::Invalid(_)) => {
            let page = StoryPage::load(&cx, id, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
        Err(error) => Err(error.into()),
    }
}

/// `POST /notes/{note}/void`
pub async fn void_note(cx: Cx, Path(id): Path<NoteId>, form: Form) -> Result<Response> {
    let row = cx.app.note(&cx.actor, id).await?;
    match cx.app.void_note(&cx.actor, id, form.value("reason")).await {
        Ok(()) => {
            let story = format!("/plots/{}/story", row.plot);
            Ok(see(story).say("The note is taken back; the history says so.").into_response())
        }
        Err(error @ app::Error::Invalid(_)) => {
            let page = StoryPage::load(&cx, row.plot, form.refused(error)?).await?;
            Ok((StatusCode::UNPROCESSABLE_ENTITY, page).into_response())
        }
        Err(error) => Err(error.into()),
    }
}
