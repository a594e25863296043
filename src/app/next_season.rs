//! What next season asks for on a whole site, ranked. It gathers; the trade decides.

use super::{
    Actor, App, Result, lineage,
    outlook::{PlotOutlook, way_of},
    plots::{PlotRow, SiteRow},
    seasons::SeasonRow,
    standing::PlotStanding,
    undone::LeftDose,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        element::Element,
        guideline::Position,
        need::{self, Need},
        outlook::NextTest,
        quantity::{Grams, KgPerHa},
        record::Application,
        standing::NutrientStanding,
        working::{Figure, Origin, Working},
    },
    ids::{AmendmentId, PlotId, SiteId},
    store,
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// One nutrient that one plot is short of.
#[derive(Clone, Debug)]
pub struct Ask {
    pub plot: PlotRow,
    pub nutrient: NutrientStanding,
    pub need: Need,
    /// Share of the aim that is missing and not yet given × chance that it truly is × m².
    pub weight: f64,
}

/// What next season asks for on a site.
#[derive(Clone, Debug)]
pub struct NextSeason {
    pub site: SiteRow,
    pub guideline: String,
    /// The most pressing first.
    pub asks: Vec<Ask>,
    /// Plots that are below the aim for pH: lime comes before feeding.
    pub sour: Vec<PlotRow>,
    /// Plots due for a test, the longest overdue first.
    pub due: Vec<(PlotRow, NextTest)>,
    pub stock: Vec<InShed>,
    /// What earlier plans left undone, g on the plot.
    pub undone: Vec<(PlotRow, Element, f64)>,
    /// The season that a draft would be for: the next to start, else the one that runs.
    pub season: Option<SeasonRow>,
}

/// A product in the shed.
#[derive(Clone, Debug)]
pub struct InShed {
    pub amendment: AmendmentId,
    pub name: String,
    /// On hand, g; above 0.
    pub on_hand_g: f64,
    /// What agreed plans have still to put on of it, g.
    pub promised_g: f64,
}

impl InShed {
    /// What a new plan finds, g: never below 0.
    pub fn left_g(&self) -> f64 {
        (self.on_hand_g - self.promised_g).max(0.0)
    }
}

/// A need of a test less what went on since, and less what agreed doses still hold: as a plan counts.
fn still_asked(need: Need, nutrient: &NutrientStanding, plot: &PlotOutlook, from: Date, today: Date) -> Need {
    let since = put_on_or_agreed(&need, nutrient, &plot.standing, (&plot.applications, &plot.promised), (from, today));
    need.less(since, 1)
}

/// What went on towards a need since its test up to `today`, and what doses of agreed plans that are not
/// put on yet bring of its element (g on the plot), kg/ha; `from` is the first day of the need's season.
pub(super) fn put_on_or_agreed(
    need: &Need,
    nutrient: &NutrientStanding,
    plot: &PlotStanding,
    (applications, promised): (&[Application], &BTreeMap<Element, f64>),
    (from, today): (Date, Date),
) -> Option<(KgPerHa, Working)> {
    let (element, area) = (need.element, plot.plot.ground().area);
    let tested_on = plot.present.tested_on().get(&nutrient.analyte).copied();
    let put_on = need::since(applications, need.counted_from(tested_on, from), today);
    let put_on = need::brought(put_on, element, area);
    // What a closed plan did not put on nobody will put on.
    let open_g = promised.get(&element).copied().unwrap_or(0.0);
    let open = (open_g > 0.0).then(|| {
        let rate = Grams(open_g).per(area);
        (
            rate,
            Working::leaf(
                "In agreed doses not put on yet",
                Figure::significant(rate.0, KgPerHa::UNIT, 3),
                Origin::Planned,
            ),
        )
    });
    both(put_on, open)
}

/// What went on and what is agreed to, as one.
fn both(put_on: Option<(KgPerHa, Working)>, open: Option<(KgPerHa, Working)>) -> Option<(KgPerHa, Working)> {
    let ((given, one), (agreed, other)) = match (put_on, open) {
        (Some(put_on), Some(open)) => (put_on, open),
        (put_on, open) => return put_on.or(open),
    };
    let all = KgPerHa(given.0 + agreed.0);
    let figure = |rate: KgPerHa| Figure::significant(rate.0, KgPerHa::UNIT, 3);
    let formula = format!("{} + {} = {}", figure(given), figure(agreed), figure(all));
    Some((all, Working::step("Put on since the test, or agreed to", figure(all), formula, [one, other])))
}

impl App {
    /// Plots and nutrients by what is missing × how likely × area, with tests due, stock and
    /// what was left undone.
    pub async fn next_season(&self, actor: &Actor, id: SiteId) -> Result<NextSeason> {
        let ahead = self.site_outlook(actor, id).await?;
        let (way, today) = (way_of(&ahead.site), self.today());
        let mut seasons = self.seasons(actor, id).await?;
        seasons.retain(|season| season.ends_on >= today);
        let season = seasons
            .iter()
            .filter(|season| season.starts_on > today)
            .min_by_key(|season| season.starts_on)
            .or_else(|| seasons.iter().max_by_key(|season| season.starts_on))
            .cloned();
        // A rate is for the crop of the season asked about, where that is known already.
        let ids: Vec<PlotId> = ahead.plots.iter().map(|plot| plot.standing.plot.id).collect();
        let of = season.iter().map(|season| season.id).collect();
        let mut crops = lineage::crops_of(&mut *self.store.read().await?, &ids, &of).await?;
        let from = season.as_ref().map_or(today, |season| season.starts_on);
        let (mut asks, mut sour, mut due, mut undone) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
        for plot in &ahead.plots {
            let row = &plot.standing.plot;
            let ph = plot.standing.present.standing.get(Analyte::Ph);
            if ph.is_some_and(|ph| ph.position == Position::Short) {
                sour.push(row.clone());
            }
            let growing = crops.remove(&row.id).unwrap_or_default();
            for nutrient in &plot.standing.present.standing.nutrients {
                let Some(need) = plot.standing.need(nutrient, &way, &growing) else { continue };
                let whole = need.kg_per_ha.0;
                let need = still_asked(need, nutrient, plot, from, today);
                if need.kg_per_ha.0 > 0.0 {
                    // What is on already, or agreed to, presses no more.
                    let weight = nutrient.shortage_weight() * need.kg_per_ha.0 / whole * row.area_m2;
                    asks.push(Ask { plot: row.clone(), nutrient: nutrient.clone(), need, weight });
                }
            }
            if plot.outlook.next_test.due && plot.awaiting.is_empty() {
                due.push((row.clone(), plot.outlook.next_test.clone()));
            }
            let left = plot.undone.iter().map(|(element, left)| (*element, left.left_out_g + left.not_put_on_g));
            undone.extend(left.filter(|(_, grams)| *grams > 0.0).map(|(element, grams)| (row.clone(), element, grams)));
        }
        asks.sort_by(|a, b| b.weight.total_cmp(&a.weight).then_with(|| a.plot.code.cmp(&b.plot.code)));
        due.sort_by_key(|(plot, test)| (test.due_on, plot.code.clone()));
        let stock = self.stock(actor).await?;
        // As a new draft counts it: what is agreed and not put on yet is no longer to be had.
        let doses = store::plans::doses_agreed(&mut *self.store.read().await?).await?;
        let mut promised: BTreeMap<AmendmentId, f64> = BTreeMap::new();
        for dose in doses.into_iter().filter_map(|dose| LeftDose::of(dose, ahead.site.scale_step_g)) {
            *promised.entry(dose.row.amendment).or_default() += dose.left_g;
        }
        let products = self.amendments(actor, false).await?;
        let held = products.into_iter().filter_map(|row| {
            let on_hand_g = stock.get(&row.id).copied().filter(|grams| *grams > 0.0)?;
            let promised_g = promised.get(&row.id).copied().unwrap_or(0.0);
            Some(InShed { amendment: row.id, name: row.amendment.name, on_hand_g, promised_g })
        });
        Ok(NextSeason {
            guideline: ahead.guideline.title.clone(),
            site: ahead.site,
            asks,
            sour,
            due,
            stock: held.collect(),
            undone,
            season,
        })
    }
}
