//! What plots got in the twelve months up to a day, beside the caps that count it; which caps
//! an application exceeds, before and after it is saved; and what to mind while putting it on.
//! A record of what happened is never refused for its amount: it is named.

use super::{
    Actor, App, Problems, Result, Role,
    access::found,
    amendments::with_cautions,
    applications::{ApplicationForm, ApplicationRow, SiteRow, Supplied},
    guidelines,
    lineage::{all_applied, crops_on},
};
use crate::{
    agronomy::{
        caution::{self, CautionNote},
        crop::Crop,
        element::Element,
        quantity::{Grams, SquareMetres},
        record::Application,
        season,
    },
    ids::{AmendmentId, ApplicationId, PlotId, SiteId},
    store::{self, plots::PlotRow},
};
use jiff::{ToSpan, civil::Date};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

pub use crate::agronomy::season::CapLeft;

/// What a plot got in twelve months.
#[derive(Clone, Debug)]
pub struct SeasonTotals {
    /// The last day that counts; the first is the day after the same day a year before.
    pub until: Date,
    pub elements: BTreeMap<Element, Supplied>,
    /// The caps in force, set by the crops of this season and the next.
    pub caps: Vec<CapLeft>,
}

/// The span of a list of applications, as typed.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct SpanForm {
    /// Empty is a year before `to`.
    pub from: String,
    /// Empty is today.
    pub to: String,
}

impl SpanForm {
    /// The two days, both counted.
    pub(super) fn read(&self, today: Date) -> Result<(Date, Date)> {
        let mut problems = Problems::default();
        let to = problems.optional_date("to", &self.to, today);
        let from = problems.optional_date("from", &self.from, today);
        problems.none()?;
        let to = to.unwrap_or(today);
        let from = from.unwrap_or_else(|| to.saturating_sub(1.year()));
        if from > to {
            return Err(super::Error::invalid("to", "The last day lies before the first."));
        }
        Ok((from, to))
    }
}

/// What was put on a site between two days.
#[derive(Clone, Debug)]
pub struct SiteApplications {
    pub site: SiteRow,
    pub from: Date,
    pub to: Date,
    /// Newest first, with void entries among them.
    pub rows: Vec<ApplicationRow>,
    /// What each product came to, void entries left out.
    pub products: BTreeMap<String, Grams>,
    /// What each element came to, over all products.
    pub elements: BTreeMap<Element, Grams>,
}

/// The key that an application has while it is not saved.
const UNSAVED: i64 = -1;

impl App {
    /// What one plot got in the twelve months up to a day, against its caps.
    pub async fn cap_totals(&self, actor: &Actor, plot: PlotId, on: Date) -> Result<SeasonTotals> {
        found(self.season_totals(actor, &[plot], on).await?.remove(&plot), "plot")
    }

    /// The same of several plots of one site.
    pub async fn season_totals(
        &self,
        actor: &Actor,
        plots: &[PlotId],
        on: Date,
    ) -> Result<BTreeMap<PlotId, SeasonTotals>> {
        actor.may(Role::Reader)?;
        let Some(first) = plots.first() else { return Ok(BTreeMap::new()) };
        let mut read = self.store.read().await?;
        let site = found(store::plots::plot(&mut read, *first).await?, "plot")?.site;
        let wanted: BTreeSet<&PlotId> = plots.iter().collect();
        let crops = crops_on(&mut read, site, plots, on, None).await?;
        // A day exactly a year earlier no longer counts: `already_applied` leaves it out.
        let mut applied = all_applied(&mut read, plots, on.saturating_sub(1.year()), on).await?;
        let rows = store::plots::plots(&mut read, site, true).await?;
        Ok(rows
            .into_iter()
            .filter(|row| wanted.contains(&row.id))
            .map(|row| {
                let applications = applied.remove(&row.id).unwrap_or_default();
                let crops = crops.get(&row.id).map_or(&[][..], Vec::as_slice);
                (row.id, totals(&row, crops, &applications, on))
            })
            .collect())
    }

    /// The caps that an application would exceed if it were saved as typed. What is wrong with
    /// the form is said first.
    pub async fn caps_exceeded_by_form(&self, actor: &Actor, form: &ApplicationForm) -> Result<Vec<CapLeft>> {
        actor.may(Role::Recorder)?;
        let entry = form.read(self.today())?;
        let mut read = self.store.read().await?;
        let plot = found(store::plots::plot(&mut read, entry.plot).await?, "plot")?;
        let product = store::amendments::find(&mut read, entry.amendment, entry.applied_on).await?;
        let product = found(product, "amendment")?.amendment;
        let parts = &product.analysis.parts;
        let unsaved = Application {
            key: UNSAVED,
            applied_on: entry.applied_on,
            amendment: product.name.clone(),
            mass_g: entry.mass_g,
            content: parts.iter().map(|(element, part)| (*element, part.mass_fraction)).collect(),
            availability: parts.iter().map(|(element, part)| (*element, part.first_year_availability)).collect(),
            manure: product.manure,
            organic: product.manure || product.kind.is_organic(),
        };
        exceeded(&mut read, &plot, entry.applied_on, Some(unsaved), UNSAVED).await
    }

    /// The caps that a saved application takes part in exceeding.
    pub async fn caps_exceeded_by(&self, actor: &Actor, id: ApplicationId) -> Result<Vec<CapLeft>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::applications::find(&mut read, id).await?, "application")?;
        let plot = found(store::plots::plot(&mut read, row.plot).await?, "plot")?;
        exceeded(&mut read, &plot, row.applied_on, None, id.0).await
    }

    /// What to mind when this product goes on this plot; the mass sharpens what can be said.
    pub async fn application_cautions(
        &self,
        actor: &Actor,
        plot: PlotId,
        amendment: AmendmentId,
        mass_g: Option<f64>,
    ) -> Result<Vec<CautionNote>> {
        let (site, _, standing) = self.plot_standing(actor, plot).await?;
        let mut read = self.store.read().await?;
        let row = store::amendments::find(&mut read, amendment, self.today()).await?;
        let splits = guidelines::beside(&mut read, &site).await?.splits;
        let product = with_cautions(found(row, "product")?);
        let present = &standing.present;
        let context = caution::Context {
            ph: present.ph_at_least(),
            carbonate_signs: present.signs.calcareous(),
            dose: mass_g.map(|g| Grams(g).per(SquareMetres(standing.plot.area_m2))),
            splits: Some(&splits),
            ..caution::Context::default()
        };
        Ok(caution::cautions_for(&product.amendment, &context))
    }

    /// What was put on a site in a span as typed, void entries among it, with its totals.
    pub async fn site_applications(&self, actor: &Actor, site: SiteId, span: &SpanForm) -> Result<SiteApplications> {
        actor.may(Role::Reader)?;
        let (from, to) = span.read(self.today())?;
        let mut read = self.store.read().await?;
        let site = found(store::plots::site(&mut read, site).await?, "site")?;
        let rows = store::applications::of_site_with_void(&mut read, site.id, from, to).await?;
        let plots: Vec<PlotId> = rows.iter().map(|row| row.plot).collect::<BTreeSet<_>>().into_iter().collect();
        let applied = store::applications::of_plots(&mut read, &plots, from, to).await?;
        let mut products: BTreeMap<String, Grams> = BTreeMap::new();
        let mut elements: BTreeMap<Element, Grams> = BTreeMap::new();
        for application in applied.into_values().flatten() {
            products.entry(application.amendment).or_default().0 += application.mass_g;
            for (element, fraction) in application.content {
                elements.entry(element).or_default().0 += application.mass_g * fraction;
            }
        }
        Ok(SiteApplications { site, from, to, rows, products, elements })
    }
}

fn totals(plot: &PlotRow, crops: &[Crop], applications: &[Application], on: Date) -> SeasonTotals {
    let ground = plot.ground();
    let given = crate::agronomy::cap::already_applied(applications, ground.area, on).by_element;
    let supplied = |rate: crate::agronomy::quantity::KgPerHa| Supplied { grams: rate.on(ground.area), rate };
    SeasonTotals {
        until: on,
        elements: given.into_iter().map(|(element, rate)| (element, supplied(rate))).collect(),
        caps: season::caps_on(crops, &ground, applications, on),
    }
}

/// The caps that the application with this key exceeds, counting the year before and after it.
async fn exceeded(
    db: &mut store::Db,
    plot: &PlotRow,
    on: Date,
    unsaved: Option<Application>,
    key: i64,
) -> Result<Vec<CapLeft>> {
    let (from, to) = (on.saturating_sub(1.year()), on.saturating_add(1.year()));
    let mut applications = all_applied(db, &[plot.id], from, to).await?.remove(&plot.id).unwrap_or_default();
    applications.extend(unsaved);
    let crops = crops_on(db, plot.site, &[plot.id], on, None).await?.remove(&plot.id).unwrap_or_default();
    Ok(season::caps_exceeded_by(&crops, &plot.ground(), &applications, key))
}
