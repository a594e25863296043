//! The story of a plot: everything that happened on its ground, on the plots that it was made
//! from too, in one line of days. It collects; it judges nothing.

use super::{
    Actor, App, Result, Role, files::AttachmentRow, harvests::HarvestRow, lineage::Lineage, notes::NoteRow,
    plots::LineageRow, standing::PlotStanding,
};
use crate::{
    agronomy::{amendment::Kind, crop::Crop},
    ids::{AttachmentId, PlotId, ReportId, SeasonId},
    store::{self, applications::ApplicationRow, plans::SeasonRow, samplings::Loaded},
};
use jiff::civil::Date;
use std::collections::BTreeSet;

/// Something that happened on a day.
#[derive(Clone, Debug)]
pub struct Happening {
    pub on: Date,
    /// The day was not written down.
    pub assumed: bool,
    /// Where: the plot itself, or one that it was made from.
    pub plot: PlotId,
    pub what: What,
}

/// What it was.
#[derive(Clone, Debug)]
pub enum What {
    /// Soil was taken, with the files kept with its sheets.
    Sampled(Box<Loaded>, Vec<AttachmentRow>),
    PutOn(Box<ApplicationRow>, Kind),
    /// A crop was sown or planted; the day is the season's first where none was written down.
    Sown {
        crop: String,
        season: SeasonId,
        season_name: String,
    },
    Harvested(Box<HarvestRow>),
    /// A split or a merge.
    Made(LineageRow),
    Noted(NoteRow),
    /// A file kept with the plot, without a note.
    Kept(AttachmentRow),
}

/// A season of the story, or the days of a year that lie in none.
#[derive(Clone, Debug)]
pub struct Chapter<'a> {
    pub season: Option<&'a SeasonRow>,
    pub year: i16,
    /// Newest first.
    pub happenings: Vec<&'a Happening>,
}

impl App {
    /// What happened on a plot's ground, newest first; void entries left out.
    pub async fn happenings(&self, actor: &Actor, standing: &PlotStanding) -> Result<Vec<Happening>> {
        actor.may(Role::Reader)?;
        let plot = &standing.plot;
        let mut read = self.store.read().await?;
        let ground = Lineage::load(&mut read, &[plot.id]).await?.everyone();
        let seasons = store::plans::seasons(&mut read, plot.site).await?;
        let kinds = store::harvests::kinds_of_applications(&mut read, &ground, Date::MIN, Date::MAX).await?;
        let reports = |loaded: &Loaded| -> Vec<ReportId> {
            loaded.sampling.reports.iter().map(|report| ReportId(report.key)).collect()
        };
        let all_reports: Vec<ReportId> = standing.samplings.iter().flat_map(reports).collect();
        let files = store::files::of_all(&mut read, &all_reports, &ground).await?;
        let mut all: Vec<Happening> = Vec::new();
        for loaded in &standing.samplings {
            let of_it = reports(loaded);
            let files = files.iter().filter(|file| file.report.is_some_and(|report| of_it.contains(&report)));
            all.push(Happening {
                on: loaded.row.sampled_on,
                assumed: loaded.row.date_assumed,
                plot: loaded.plots.iter().copied().find(|id| ground.contains(id)).unwrap_or(plot.id),
                what: What::Sampled(Box::new(loaded.clone()), files.cloned().collect()),
            });
        }
        for id in &ground {
            let happened = |on, what| Happening { on, assumed: false, plot: *id, what };
            for row in store::applications::of_plot(&mut read, *id, false).await? {
                // An amendment is always known; a compost would be the cautious reading.
                let kind = kinds.get(&row.id.0).copied().unwrap_or(Kind::Compost);
                all.push(happened(row.applied_on, What::PutOn(Box::new(row), kind)));
            }
            for row in store::harvests::of_plot(&mut read, *id, false).await? {
                all.push(happened(row.harvest.harvested_on, What::Harvested(Box::new(row))));
            }
            for row in store::plans::croppings_of_plot(&mut read, *id).await? {
                let Some(season) = seasons.iter().find(|season| season.id == row.season) else { continue };
                let crop = Crop::find(&row.crop).map_or(row.crop, |crop| crop.name.to_owned());
                let what = What::Sown { crop, season: season.id, season_name: season.name.clone() };
                let on = row.sown_on.unwrap_or(season.starts_on);
                all.push(Happening { assumed: row.sown_on.is_none(), ..happened(on, what) });
            }
        }
        for row in store::plots::lineage(&mut read, plot.id).await? {
            let on = row.took_place_on;
            all.push(Happening { on, assumed: false, plot: plot.id, what: What::Made(row) });
        }
        let notes = store::notes::of_plots(&mut read, &ground).await?;
        let noted: BTreeSet<AttachmentId> = notes.iter().filter_map(|note| note.attachment).collect();
        let note =
            |row: NoteRow| Happening { on: row.noted_on, assumed: false, plot: row.plot, what: What::Noted(row) };
        all.extend(notes.into_iter().map(note));
        all.extend(files.into_iter().filter(|file| !noted.contains(&file.id)).filter_map(|file| {
            let on = self.clock.day_of(file.attached_at);
            Some(Happening { on, assumed: false, plot: file.plot?, what: What::Kept(file) })
        }));
        all.sort_by_key(|one| std::cmp::Reverse(one.on));
        Ok(all)
    }
}

/// The happenings by season, the newest first; what lies in no season by its year.
pub fn chapters<'a>(happenings: &'a [Happening], seasons: &'a [SeasonRow]) -> Vec<Chapter<'a>> {
    let mut chapters: Vec<Chapter<'a>> = Vec::new();
    for one in happenings {
        let season = match &one.what {
            What::Sown { season, .. } => seasons.iter().find(|row| row.id == *season),
            _ => seasons.iter().find(|row| row.starts_on <= one.on && one.on <= row.ends_on),
        };
        let key = (season.map(|season| season.id), if season.is_some() { 0 } else { one.on.year() });
        let same = |chapter: &&mut Chapter<'_>| {
            (chapter.season.map(|season| season.id), if chapter.season.is_some() { 0 } else { chapter.year }) == key
        };
        match chapters.iter_mut().find(same) {
            Some(chapter) => chapter.happenings.push(one),
            None => chapters.push(Chapter { season, year: one.on.year(), happenings: vec![one] }),
        }
    }
    chapters
}
