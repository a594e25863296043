//! Every plot of a site and every nutrient over the years, at once: where each stands, which
//! way it moves, and how sure that is. Worked out once and kept until what it rests on changes.

mod pick;
mod work;

pub use pick::{Order, Wanted};

use super::{
    Actor, App, Error, Result, Role,
    access::found,
    columns::{Lines, Sorted},
    guidelines,
    lineage::{self, Lineage},
    plots::{PlotRow, SiteRow},
    test_errors::errors_of,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        crop::{self, Crop},
        drift::PlotDrift,
        element::Element,
    },
    ids::{PlotId, SiteId},
    store,
};
use jiff::civil::Date;
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};
use work::{Work, goes_by_capacity, needed_analytes};

/// The drift of every plot in use of a site.
#[derive(Debug)]
pub struct SiteDrift {
    pub site: SiteRow,
    /// Title of the guideline that the aims are from.
    pub guideline: String,
    pub plots: Vec<PlotRow>,
    /// By plot, in the order of `plots`; then by analyte. The number is the plot's place there.
    pub rows: Vec<(usize, PlotDrift)>,
    /// First and last year in which anything was found; 0 where nothing was.
    pub span: (i16, i16),
    /// What grows on each plot.
    pub crops: BTreeMap<PlotId, Vec<Crop>>,
    /// The site weighs its tests by errors of its own.
    pub own_errors: bool,
}

/// Rows up to which what was put on is read pair by pair of plot and element.
const PAIRS_AT_ONCE: usize = 400;

/// What was done underneath, kg/ha by plot, analyte and year.
pub type PutOnByYear = BTreeMap<(PlotId, Analyte), BTreeMap<i16, f64>>;

/// What of this kind changes touches no review: the tests, the ground, the aims stay.
const UNRELATED: &[&str] = &["person", "attachment", "amendment", "plan", "application", "harvest", "note"];

impl App {
    /// The drift review of a site; the same one until something that it rests on changes.
    pub async fn drift_review(&self, actor: &Actor, id: SiteId) -> Result<Arc<SiteDrift>> {
        actor.may(Role::Reader)?;
        self.drift_reviews.answer(&self.store, id, self.today(), UNRELATED, self.work_out_review(id)).await
    }

    /// What was done underneath these rows, kg/ha by year: of each element what went on; of pH the
    /// lime, as pure calcium carbonate; of organic matter the compost and manure. Of the plots that
    /// they were made from, their share.
    pub async fn put_on_by_year(&self, actor: &Actor, rows: &[(&PlotRow, &PlotDrift)]) -> Result<PutOnByYear> {
        actor.may(Role::Reader)?;
        let mut plots: Vec<&PlotRow> = rows.iter().map(|(plot, _)| *plot).collect();
        plots.sort_by_key(|plot| plot.id);
        plots.dedup_by_key(|plot| plot.id);
        let ids: Vec<PlotId> = plots.iter().map(|plot| plot.id).collect();
        let mut read = self.store.read().await?;
        let lineage = Lineage::load(&mut read, &ids).await?;
        let found = if rows.len() > PAIRS_AT_ONCE {
            store::applications::by_year(&mut read, &lineage.everyone(), self.today()).await?
        } else {
            let pairs: BTreeSet<(PlotId, Element)> = rows
                .iter()
                .filter_map(|(plot, row)| Some((plot.id, row.analyte.element()?)))
                .flat_map(|(plot, element)| lineage.of(plot).into_iter().map(move |(id, _)| (id, element)))
                .collect();
            let pairs: Vec<_> = pairs.into_iter().collect();
            store::applications::by_year_of(&mut read, &pairs, self.today()).await?
        };
        let bulky: BTreeSet<PlotId> = rows
            .iter()
            .filter(|(_, row)| matches!(row.analyte, Analyte::Ph | Analyte::OrganicMatter))
            .flat_map(|(plot, _)| lineage.of(plot.id).map(|(id, _)| id))
            .collect();
        let bulky: Vec<PlotId> = bulky.into_iter().collect();
        let mut sums: BTreeMap<PlotId, Vec<(Analyte, i16, f64)>> = BTreeMap::new();
        for sum in found {
            sums.entry(sum.plot).or_default().push((Analyte::Element(sum.element), sum.year as i16, sum.mass_g));
        }
        for sum in store::applications::bulk_by_year(&mut read, &bulky, self.today()).await? {
            for (analyte, mass_g) in [(Analyte::Ph, sum.lime_g), (Analyte::OrganicMatter, sum.organic_g)] {
                if mass_g != 0.0 {
                    sums.entry(sum.plot).or_default().push((analyte, sum.year as i16, mass_g));
                }
            }
        }
        let mut put_on = PutOnByYear::new();
        for plot in plots {
            for (id, share) in lineage.of(plot.id) {
                for (analyte, year, mass_g) in sums.get(&id).into_iter().flatten() {
                    let kg_per_ha = mass_g * share / plot.area_m2 * 10.0;
                    *put_on.entry((plot.id, *analyte)).or_default().entry(*year).or_default() += kg_per_ha;
                }
            }
        }
        Ok(put_on)
    }

    async fn work_out_review(&self, id: SiteId) -> Result<SiteDrift> {
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, id).await?, "site")?;
        let guideline = guidelines::of_site(&mut read, &site).await?;
        let columns = self.store.columns(id, &needed_analytes(&guideline)).await?;
        // A view of the record that is no older than what the columns were read from.
        let mut read = self.store.read().await?;
        let plots = store::plots::plots(&mut read, id, false).await?;
        let ids = lineage::ids(&plots);
        let errors = errors_of(&mut read, id).await?;
        let own_errors = !errors.is_default();
        let crops = lineage::crops_on(&mut read, id, &ids, self.today(), None).await?;
        let lines = Lines::load(&mut read, &ids).await?;
        let sorted = Sorted::of(&columns);
        let chosen = store::choices::plots_of(&mut read, id).await?;
        let by_hand = plots.iter().filter(|plot| lines.of_one_soil(plot.id).any(|id| chosen.contains(&id)));
        let by_hand: Vec<PlotRow> = by_hand.cloned().collect();
        let newest = sorted.newest(&columns, &by_hand, &lines, Date::MAX);
        let of_line: Vec<PlotId> = by_hand.iter().flat_map(|plot| lines.of_one_soil(plot.id)).collect();
        let by_hand = store::samplings::among(&mut read, &of_line, Some(&newest)).await?;
        let overrules = store::choices::of_samplings(&mut read, &newest).await?;
        drop(read);
        let title = guideline.title.clone();
        let by_capacity = goes_by_capacity(&guideline);
        let land_uses = crops.iter().filter_map(|(plot, crops)| Some((*plot, crop::land_use(crops)?))).collect();
        let work =
            Work { land_uses, columns, sorted, plots, lines, by_hand, overrules, guideline, by_capacity, errors };
        let (plots, rows) = tokio::task::spawn_blocking(move || {
            let rows = work.rows();
            (work.plots, rows)
        })
        .await
        .map_err(|failed| Error::Internal(failed.to_string()))?;
        let years = || rows.iter().flat_map(|(_, row)| row.years.iter().map(|year| year.year));
        let span = (years().min().unwrap_or_default(), years().max().unwrap_or_default());
        Ok(SiteDrift { site, guideline: title, plots, rows, span, crops, own_errors })
    }
}
