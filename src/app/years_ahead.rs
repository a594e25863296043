//! How many seasons each nutrient needs to reach its aim, on one plot and on the plots of a
//! site, some at a time. It gathers; the trade decides.

use super::{
    Actor, App, Result, Role,
    access::found,
    forecasts::USUAL_SEASONS,
    lessons::Lessons,
    lineage,
    next_season::put_on_or_agreed,
    outlook::{promised, way_of},
    plots::{PlotRow, SiteRow},
    responses::responses,
    standing::PlotStanding,
    undone::left_undone,
};
use crate::{
    agronomy::{
        balance::Books,
        cap::{Counted, season_caps},
        crop::Crop,
        element::Element,
        need::Way,
        quantity::KgPerHa,
        record::Application,
        standing::NutrientStanding,
        years_ahead::{Ahead, Question, most_per_kg, years_ahead},
    },
    ids::{PlotId, SiteId},
    store::{self, Read},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Plots of a site that are reckoned and shown together; of more, so many at a time.
pub const PLOTS_AT_ONCE: usize = 50;

/// One nutrient in the seasons ahead.
#[derive(Clone, Debug)]
pub struct YearsLine {
    pub nutrient: NutrientStanding,
    pub element: Element,
    /// The way to the aim, or why none can be reckoned.
    pub ahead: std::result::Result<Ahead, String>,
    /// What crops usually carry away is known from harvests.
    pub offtake_known: bool,
}

/// A plot in the seasons ahead.
#[derive(Clone, Debug)]
pub struct PlotYears {
    pub site: SiteRow,
    pub plot: PlotRow,
    pub lines: Vec<YearsLine>,
}

/// Plots of a site in the seasons ahead.
#[derive(Clone, Debug)]
pub struct SiteYears {
    pub site: SiteRow,
    /// In the order of the site, at most [`PLOTS_AT_ONCE`]; those that are short of nothing too.
    pub plots: Vec<(PlotRow, Vec<YearsLine>)>,
    /// How many plots come before the first of them.
    pub before: usize,
    /// All plots in use.
    pub all: usize,
}

impl App {
    /// How many seasons each nutrient that a plot is short of needs to reach its aim.
    pub async fn plot_years(&self, actor: &Actor, id: PlotId) -> Result<PlotYears> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, id).await?, "plot")?;
        let site = found(store::plots::site(&mut read, plot.site).await?, "site")?;
        let lines = match plot.retired_on {
            None => self.years_of(read, &site, vec![plot.clone()]).await?.pop().map(|(_, lines)| lines),
            Some(_) => None,
        };
        Ok(PlotYears { site, plot, lines: lines.unwrap_or_default() })
    }

    /// The same for the plots in use of a site, from one of them on, in a few reads for all of them.
    pub async fn site_years(&self, actor: &Actor, id: SiteId, from: usize) -> Result<SiteYears> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let mut plots = store::plots::plots(&mut read, id, false).await?;
        let all = plots.len();
        let before = from.min(all.saturating_sub(1));
        plots.drain(..before);
        plots.truncate(PLOTS_AT_ONCE);
        let plots = self.years_of(read, &site, plots).await?;
        Ok(SiteYears { site, plots, before, all })
    }

    async fn years_of(
        &self,
        mut read: Read,
        site: &SiteRow,
        plots: Vec<PlotRow>,
    ) -> Result<Vec<(PlotRow, Vec<YearsLine>)>> {
        let (today, ids, way) = (self.today(), lineage::ids(&plots), way_of(site));
        let opened = self.with_books(&mut read, site.id, plots).await?;
        let mut crops = lineage::crops_on(&mut read, site.id, &ids, today, None).await?;
        let mut left = left_undone(&mut read, site, None).await?;
        left.retain(|plot, _| ids.contains(plot));
        let promised = promised(&mut read, &left).await?;
        drop(read);
        let lessons = self.lessons(site.id).await?;
        let of_plot = |(standing, books): (PlotStanding, Books)| {
            let id = standing.plot.id;
            let crops = crops.remove(&id).unwrap_or_default();
            let lines = lines(&standing, &books, &crops, promised.get(&id), &lessons, (&way, today));
            (standing.plot, lines)
        };
        Ok(opened.into_iter().map(of_plot).collect())
    }
}

/// Each nutrient that a plot is short of; `promised` is what agreed doses still bring, g on the plot.
fn lines(
    standing: &PlotStanding,
    books: &Books,
    crops: &[Crop],
    promised: Option<&BTreeMap<Element, f64>>,
    lessons: &Lessons,
    (way, today): (&Way, Date),
) -> Vec<YearsLine> {
    let ground = standing.plot.ground();
    let caps = season_caps(crops, ground.texture);
    let put_on: Vec<Application> = books.inputs.iter().map(|input| input.application.clone()).collect();
    let none = BTreeMap::new();
    let promised = promised.unwrap_or(&none);
    let mut answers: BTreeMap<Element, Vec<_>> = BTreeMap::new();
    let mut lines = Vec::new();
    for nutrient in &standing.present.standing.nutrients {
        let (Some(element), Some(aim), Some(aim_level)) =
            (nutrient.analyte.element(), &nutrient.aim, nutrient.aim_level)
        else {
            continue;
        };
        if element == Element::N || nutrient.shortage_weight() == 0.0 {
            continue;
        }
        let depth = standing.present.choices.get(&nutrient.analyte).and_then(|choice| choice.chosen.depth);
        let answers = answers.entry(element).or_insert_with(|| responses(standing, books, element, lessons));
        let same = answers.iter().rev().find(|one| {
            let run = &one.segment;
            run.method == nutrient.method && run.unit == nutrient.level.unit() && run.depth == depth
        });
        let usual = books.usual_offtake(element, USUAL_SEASONS).map(|(span, _)| span);
        let missing = aim_level.number() - nutrient.level.number();
        let need = standing.need(nutrient, way, &[]);
        let asked = need.as_ref().map_or(0.0, |need| need.kg_per_ha.0 / missing);
        let already = need.as_ref().and_then(|need| {
            put_on_or_agreed(need, nutrient, standing, (&put_on, promised), (today, today)).map(|(rate, _)| rate)
        });
        // The tightest binds.
        let of_element = caps.iter().filter(|cap| cap.in_force && cap.counted == Counted::Total(element));
        let ahead = years_ahead(&Question {
            element,
            found: (nutrient.level.number(), nutrient.found.working.clone()),
            aim: (aim_level.number(), aim.working.clone()),
            unit: nutrient.level.unit(),
            response: same.and_then(|one| one.response.as_ref()),
            most: most_per_kg(nutrient.level, element, &ground, depth),
            asked_kg_per_ha_per_unit: asked,
            already: already.unwrap_or(KgPerHa(0.0)),
            cap: of_element.min_by(|a, b| a.kg_per_ha.0.total_cmp(&b.kg_per_ha.0)),
            offtake: usual,
        });
        // Where nothing is planned, the need says why.
        let why = || {
            let said = need.as_ref().and_then(|need| need.notes.first().cloned());
            said.unwrap_or_else(|| "Nothing is planned for it here, so there is nothing to reckon with.".to_owned())
        };
        let ahead = ahead.ok_or_else(why);
        lines.push(YearsLine { nutrient: nutrient.clone(), element, ahead, offtake_known: usual.is_some() });
    }
    lines
}
