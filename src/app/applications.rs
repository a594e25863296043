//! What was really put on: as planned in one tap, otherwise, in part, or without a plan.

use super::{Actor, App, Error, Problems, Result, Role, access::found, error::Limits, reports::reason};
use crate::{
    agronomy::{
        element::Element,
        quantity::{Grams, KgPerHa, SquareMetres},
        record::Application,
    },
    ids::{AmendmentId, ApplicationId, DoseId, PlotId, SiteId},
    store::{self, Change, Subject, Write, applications::NewApplication},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

pub use crate::store::{applications::ApplicationRow, plans::DoseRow};

/// What is typed about an application.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct ApplicationForm {
    /// Number of the plot.
    pub plot: String,
    pub applied_on: String,
    /// Number of the amendment.
    pub amendment: String,
    pub mass_g: String,
    /// How: raked in, watered on, …
    pub method: String,
    /// Who did it; empty is whoever records it.
    pub person_name: String,
    /// Number of the dose that it fulfils, wholly or partly; may be empty.
    pub dose: String,
    pub note: String,
}

/// What a plot got of one element.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Supplied {
    pub grams: Grams,
    pub rate: KgPerHa,
}

impl App {
    /// Records what was put on.
    pub async fn record_application(&self, actor: &Actor, form: &ApplicationForm) -> Result<ApplicationId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let plot = form.plot.trim().parse::<PlotId>().ok();
        let amendment = form.amendment.trim().parse::<AmendmentId>().ok();
        if plot.is_none() {
            problems.add("plot", "Choose the plot.");
        }
        if amendment.is_none() {
            problems.add("amendment", "Choose what was put on.");
        }
        let on = problems.past_date("applied_on", &form.applied_on, self.today());
        let mass = problems.number("mass_g", &form.mass_g, &Limits::MASS_G);
        let dose = Some(form.dose.trim()).filter(|dose| !dose.is_empty()).map(str::parse::<DoseId>);
        if matches!(dose, Some(Err(_))) {
            problems.add("dose", "Choose the dose from the plan.");
        }
        problems.none()?;
        let mut entry = Entry {
            plot: found(plot, "plot")?,
            amendment: found(amendment, "amendment")?,
            applied_on: found(on, "date")?,
            mass_g: found(mass, "mass")?,
            dose: None,
        };
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        if let Some(Ok(id)) = dose {
            let dose = found(store::plans::dose(&mut write, id).await?, "dose")?;
            if dose.plot != entry.plot || dose.amendment != entry.amendment {
                return Err(Error::invalid("dose", "This dose is for another plot or another product."));
            }
            entry.dose = Some(id);
        }
        save(write, actor, entry, form).await
    }

    /// Records that a dose of an agreed plan was put on as planned: what is left of it, in
    /// one tap. An empty day is today.
    pub async fn record_as_planned(&self, actor: &Actor, dose: DoseId, applied_on: &str) -> Result<ApplicationId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let applied_on = match applied_on.trim() {
            "" => Some(self.today()),
            typed => problems.past_date("applied_on", typed, self.today()),
        };
        problems.none()?;
        let applied_on = found(applied_on, "date")?;
        // What is left is read under the write lock: a second tap finds nothing left.
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::plans::dose(&mut write, dose).await?, "dose")?;
        let plan = found(store::plans::plan(&mut write, row.plan).await?, "plan")?;
        if plan.state == "draft" {
            return Err(Error::Conflict(
                "The plan is a draft. Agree it first, or record the application by itself.".into(),
            ));
        }
        let mass_g = row.mass_g - row.applied_g;
        if mass_g <= 0.0 {
            return Err(Error::Conflict("This dose has been put on already.".into()));
        }
        let entry = Entry { plot: row.plot, amendment: row.amendment, applied_on, mass_g, dose: Some(dose) };
        save(write, actor, entry, &ApplicationForm::default()).await
    }

    /// Voids an application, with a reason.
    pub async fn void_application(&self, actor: &Actor, id: ApplicationId, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::applications::find(&mut write, id).await?, "application")?;
        store::applications::void(&mut write, id, &why).await?;
        let summary = format!(
            "{} g of {} on {} of {} were voided: {why}",
            row.mass_g, row.amendment_name, row.plot_code, row.applied_on
        );
        Ok(write.commit(Change::new(Subject::Application(id), "voided", summary)).await?)
    }

    /// What was put on a plot, newest first; voided entries too where asked.
    pub async fn applications_of_plot(
        &self,
        actor: &Actor,
        plot: PlotId,
        voided_too: bool,
    ) -> Result<Vec<ApplicationRow>> {
        actor.may(Role::Reader)?;
        Ok(store::applications::of_plot(&mut *self.store.read().await?, plot, voided_too).await?)
    }

    /// What was put on a site between two days, newest first.
    pub async fn applications_of_site(
        &self,
        actor: &Actor,
        site: SiteId,
        from: Date,
        to: Date,
    ) -> Result<Vec<ApplicationRow>> {
        actor.may(Role::Reader)?;
        Ok(store::applications::of_site(&mut *self.store.read().await?, site, from, to).await?)
    }

    /// One application.
    pub async fn application(&self, actor: &Actor, id: ApplicationId) -> Result<ApplicationRow> {
        actor.may(Role::Reader)?;
        found(store::applications::find(&mut *self.store.read().await?, id).await?, "application")
    }

    /// What was put on several plots, as the trade reads it, oldest first.
    pub async fn applied(
        &self,
        actor: &Actor,
        plots: &[PlotId],
        from: Date,
        to: Date,
    ) -> Result<BTreeMap<PlotId, Vec<Application>>> {
        actor.may(Role::Reader)?;
        Ok(store::applications::of_plots(&mut *self.store.read().await?, plots, from, to).await?)
    }

    /// Totals of each element that a plot got between two days, over every product.
    pub async fn totals(
        &self,
        actor: &Actor,
        plot: PlotId,
        from: Date,
        to: Date,
    ) -> Result<BTreeMap<Element, Supplied>> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let ground = found(store::plots::plot(&mut read, plot).await?, "plot")?;
        let applied = store::applications::of_plots(&mut read, &[plot], from, to).await?;
        let area = SquareMetres(ground.area_m2);
        let mut totals: BTreeMap<Element, f64> = BTreeMap::new();
        for application in applied.into_values().flatten() {
            for (element, fraction) in application.content {
                *totals.entry(element).or_default() += application.mass_g * fraction;
            }
        }
        let supplied = |g: f64| Supplied { grams: Grams(g), rate: Grams(g).per(area) };
        Ok(totals.into_iter().map(|(element, g)| (element, supplied(g))).collect())
    }
}

/// An application, checked as far as the form goes.
struct Entry {
    plot: PlotId,
    amendment: AmendmentId,
    applied_on: Date,
    mass_g: f64,
    dose: Option<DoseId>,
}

/// Saves an application with the analysis in force on its day; `form` gives the words.
async fn save(mut write: Write, actor: &Actor, entry: Entry, form: &ApplicationForm) -> Result<ApplicationId> {
    let Entry { plot, amendment, applied_on, mass_g, dose } = entry;
    let ground = found(store::plots::plot(&mut write, plot).await?, "plot")?;
    let product = found(store::amendments::find(&mut write, amendment, applied_on).await?, "amendment")?;
    let own = form.person_name.trim().is_empty();
    let new = NewApplication {
        site: ground.site,
        plot,
        applied_on,
        amendment,
        analysis: product.analysis,
        mass_g,
        method: form.method.trim().to_owned(),
        person_name: if own { actor.name.clone() } else { form.person_name.trim().to_owned() },
        person: own.then_some(actor.person),
        dose,
        note: form.note.trim().to_owned(),
    };
    let id = store::applications::insert(&mut write, &new).await?;
    let summary = format!("{mass_g} g of {} were put on {} on {applied_on}.", product.amendment.name, ground.code);
    write.commit(Change::new(Subject::Application(id), "added", summary)).await?;
    Ok(id)
}
