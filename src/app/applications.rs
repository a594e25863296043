//! What was really put on: as planned in one tap, otherwise, in part, or without a plan.

use super::{
    Actor, App, Error, Problems, Result, Role, access::found, amendments::with_cautions, day, error::Limits,
    reports::reason, undone::LeftDose,
};
use crate::{
    agronomy::{
        element::Element,
        quantity::{Grams, KgPerHa, SquareMetres},
        record::Application,
    },
    exchange::number::Low,
    ids::{AmendmentId, ApplicationId, DoseId, PlanId, PlotId, SiteId},
    store::{self, Change, Subject, Write, applications::NewApplication},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, BTreeSet};

pub use crate::store::{
    amendments::AmendmentRow,
    applications::ApplicationRow,
    plans::{DoseRow, PlanRow, SeasonRow},
    plots::SiteRow,
};

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
        let mut entry = form.read(self.today())?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        if let Some(id) = entry.dose.take() {
            let dose = found(store::plans::dose(&mut write, id).await?, "dose")?;
            if dose.plot != entry.plot || dose.amendment != entry.amendment {
                return Err(Error::invalid("dose", "This dose is for another plot or another product."));
            }
            let plan = found(store::plans::plan(&mut write, dose.plan).await?, "plan")?;
            not_a_draft(&plan)?;
            entry.dose = Some(id);
        }
        save(write, actor, entry, form).await
    }

    /// Records that a dose of an agreed plan was put on as planned: what is left of it, in
    /// one tap. An empty day is today.
    pub async fn record_as_planned(&self, actor: &Actor, dose: DoseId, applied_on: &str) -> Result<ApplicationId> {
        self.record_rest_of(actor, dose, applied_on, "").await
    }

    /// The same, done by whoever is named; an empty name is whoever records it.
    pub async fn record_rest_of(
        &self,
        actor: &Actor,
        dose: DoseId,
        applied_on: &str,
        person_name: &str,
    ) -> Result<ApplicationId> {
        actor.may(Role::Recorder)?;
        let mut problems = Problems::default();
        let applied_on = match applied_on.trim() {
            "" => Some(self.today()),
            typed => problems.past_date("applied_on", typed, self.today()),
        };
        names(&mut problems, person_name);
        problems.none()?;
        let applied_on = found(applied_on, "date")?;
        // What is left is read under the write lock: a second tap finds nothing left.
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::plans::dose(&mut write, dose).await?, "dose")?;
        let plan = found(store::plans::plan(&mut write, row.plan).await?, "plan")?;
        not_a_draft(&plan)?;
        let Some(open) = OpenDose::of(row) else {
            return Err(Error::Conflict("This dose has been put on already.".into()));
        };
        let OpenDose { row, left_g } = open;
        let entry = Entry { plot: row.plot, amendment: row.amendment, applied_on, mass_g: left_g, dose: Some(dose) };
        let form = ApplicationForm { person_name: person_name.to_owned(), ..ApplicationForm::default() };
        save(write, actor, entry, &form).await
    }

    /// A plan as it is worked through outside: what is still to be put on, and what was.
    pub async fn plan_outside(&self, actor: &Actor, id: PlanId) -> Result<PlanOutside> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let plan = found(store::plans::plan(&mut read, id).await?, "plan")?;
        let season = found(store::plans::season(&mut read, plan.season).await?, "season")?;
        let site = found(store::plots::site(&mut read, season.site).await?, "site")?;
        // As on the plot's own page: a crumb of a dose that was put on is not still to be put on.
        let still_open = |dose: &DoseRow| LeftDose::of(dose.clone(), site.scale_step_g).is_some();
        let open: Vec<OpenDose> = store::plans::doses_of(&mut read, id)
            .await?
            .into_iter()
            .filter(still_open)
            .filter_map(OpenDose::of)
            .collect();
        let done = store::applications::of_plan(&mut read, id).await?;
        let wanted: BTreeSet<AmendmentId> = open.iter().map(|dose| dose.row.amendment).collect();
        let mut products = store::amendments::all(&mut read, self.today(), true).await?;
        products.retain(|product| wanted.contains(&product.id));
        let products = products.into_iter().map(with_cautions).collect();
        Ok(PlanOutside { site, season, plan, open, done, products })
    }

    /// One dose of a plan, with its plan; what is left of it is nothing when it is done.
    pub async fn dose(&self, actor: &Actor, id: DoseId) -> Result<(PlanRow, OpenDose)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        let row = found(store::plans::dose(&mut read, id).await?, "dose")?;
        let plan = found(store::plans::plan(&mut read, row.plan).await?, "plan")?;
        let left_g = OpenDose::left(&row);
        Ok((plan, OpenDose { row, left_g }))
    }

    /// Voids an application, with a reason.
    pub async fn void_application(&self, actor: &Actor, id: ApplicationId, why: &str) -> Result<()> {
        actor.may(Role::Recorder)?;
        let why = reason(why)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::applications::find(&mut write, id).await?, "application")?;
        store::applications::void(&mut write, id, &why).await?;
        let (mass, on) = (Grams(row.mass_g).words(), day(row.applied_on));
        let summary = format!("Taken back: {mass} of {} on {}, {on}: {why}", row.amendment_name, row.plot_code);
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

/// A dose of which something is still to be put on.
#[derive(Clone, Debug)]
pub struct OpenDose {
    pub row: DoseRow,
    /// Still to be put on, g, to the milligram.
    pub left_g: f64,
}

impl OpenDose {
    /// Rounded down: a dose that just fills a cap must not go beyond it by being put on.
    fn left(row: &DoseRow) -> f64 {
        ((row.mass_g - row.applied_g) * 1000.0 + 1e-6).floor().max(0.0) / 1000.0
    }

    fn of(row: DoseRow) -> Option<OpenDose> {
        let left_g = OpenDose::left(&row);
        (left_g > 0.0).then_some(OpenDose { row, left_g })
    }
}

/// A plan as it is worked through outside.
#[derive(Clone, Debug)]
pub struct PlanOutside {
    pub site: SiteRow,
    pub season: SeasonRow,
    pub plan: PlanRow,
    /// Doses not put on yet, or only in part, in the order of the site's plots.
    pub open: Vec<OpenDose>,
    /// What was put on of the plan, newest first.
    pub done: Vec<ApplicationRow>,
    /// The products still to be put on, as they are today.
    pub products: Vec<AmendmentRow>,
}

/// An application, checked as far as the form goes.
pub(super) struct Entry {
    pub(super) plot: PlotId,
    pub(super) amendment: AmendmentId,
    pub(super) applied_on: Date,
    pub(super) mass_g: f64,
    dose: Option<DoseId>,
}

impl ApplicationForm {
    pub(super) fn read(&self, today: Date) -> Result<Entry> {
        let mut problems = Problems::default();
        let plot = self.plot.trim().parse::<PlotId>().ok();
        let amendment = self.amendment.trim().parse::<AmendmentId>().ok();
        if plot.is_none() {
            problems.add("plot", "Choose the plot.");
        }
        if amendment.is_none() {
            problems.add("amendment", "Choose what was put on.");
        }
        let on = problems.past_date("applied_on", &self.applied_on, today);
        let mass = mass_g(&mut problems, &self.mass_g);
        let dose = Some(self.dose.trim()).filter(|dose| !dose.is_empty()).map(str::parse::<DoseId>);
        if matches!(dose, Some(Err(_))) {
            problems.add("dose", "Choose the dose from the plan.");
        }
        names(&mut problems, &self.person_name);
        problems.none()?;
        Ok(Entry {
            plot: found(plot, "plot")?,
            amendment: found(amendment, "amendment")?,
            applied_on: found(on, "date")?,
            mass_g: found(mass, "mass")?,
            dose: dose.and_then(std::result::Result::ok),
        })
    }
}

/// A mass as typed: grams, or with its unit behind it, "25 kg".
fn mass_g(problems: &mut Problems, typed: &str) -> Option<f64> {
    let text = typed.trim();
    match text.strip_suffix("kg").or_else(|| text.strip_suffix("KG")).or_else(|| text.strip_suffix("Kg")) {
        Some(kilograms) => problems.number("mass_g", kilograms, &MASS_KG).map(|kg| kg * 1000.0),
        None => problems.number("mass_g", text.strip_suffix('g').unwrap_or(text), &Limits::MASS_G),
    }
}

const MASS_KG: Limits = Limits { what: "A mass", unit: "kg", low: Low::Above(0.0), at_most: 1e6, decimals: 6 };

/// Longest name of whoever did something, in characters.
const NAME_MAX: usize = 100;

fn names(problems: &mut Problems, person_name: &str) {
    if person_name.trim().chars().count() > NAME_MAX {
        problems.add("person_name", format!("At most {NAME_MAX} characters, please."));
    }
}

fn not_a_draft(plan: &PlanRow) -> Result<()> {
    match plan.state.as_str() {
        "draft" => {
            Err(Error::Conflict("The plan is a draft. Agree it first, or record the application by itself.".into()))
        }
        _ => Ok(()),
    }
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
    let (mass, on) = (Grams(mass_g).words(), day(applied_on));
    let summary = format!("{mass} of {} was put on {} on {on}.", product.amendment.name, ground.code);
    write.commit(Change::new(Subject::Application(id), "added", summary)).await?;
    Ok(id)
}
