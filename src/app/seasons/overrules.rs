//! Overruling a cap: a steward's written decision, for one plan and the plots named in it. What
//! is law somewhere is not overruled here, because whether it is law where the garden lies is not
//! ours to say; a published hazard only by somebody who has read what is warned of, and never
//! beyond the most that anybody publishes. Every decision is a line of history and is printed.

use super::{App, PlanView};
use crate::{
    agronomy::{
        cap::{Counted, Grounds},
        quantity::KgPerHa,
        season::CapLeft,
    },
    app::{Actor, Error, Problems, Result, Role, access::found},
    exchange::number::{Limits, Low},
    ids::{OverruleId, PlanId, PlotId},
    store::{self, Change, Subject, overrules::NewOverrule},
};
use serde::{Deserialize, Serialize};

pub use crate::store::overrules::OverruleRow;

const CAP: Limits = Limits { what: "A cap", unit: "kg/ha", low: Low::AtLeast(0.0), at_most: 1_000_000.0, decimals: 3 };

/// A decision about a cap, as typed.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct OverruleForm {
    pub kg_per_ha: String,
    /// Numbers of the plots that it is for.
    pub plots: Vec<String>,
    pub reason: String,
    /// "yes" where the warning was read.
    pub warned: String,
}

/// The caps of a plan that count the same, by plot.
fn of_plan(view: &PlanView, counted: Counted) -> Vec<(PlotId, &CapLeft)> {
    let plots = view.plots.iter();
    plots
        .filter_map(|plot| {
            let line = plot.caps.iter().find(|line| line.left.cap.counted == counted)?;
            Some((plot.standing.plot.id, &line.left))
        })
        .collect()
}

impl OverruleForm {
    fn read(&self, view: &PlanView, counted: Counted) -> Result<Vec<NewOverrule>> {
        let mut problems = Problems::default();
        let here = of_plan(view, counted);
        let chosen: Vec<PlotId> = self.plots.iter().filter_map(|id| id.parse().ok()).collect();
        let caps: Vec<(PlotId, &CapLeft)> = here.into_iter().filter(|(plot, _)| chosen.contains(plot)).collect();
        if caps.is_empty() {
            problems.add("plots", "Choose at least one plot.");
        }
        let value = problems.number("kg_per_ha", &self.kg_per_ha, &CAP);
        let reason = problems.text(
            "reason",
            &self.reason,
            1000,
            "Say why, in writing: it is printed on the weigh-out sheet and stays in the history.",
        );
        if !reason.is_empty() && reason.chars().count() < 3 {
            problems.add("reason", "Say why in a few words.");
        }
        for (_, left) in &caps {
            if left.cap.grounds == Grounds::Law {
                problems.add("", left.cap.warning().unwrap_or("This cap is not overruled here."));
            }
            let Some(value) = value else { continue };
            let beyond_all = |(most, _): &(KgPerHa, String)| value > most.0 * (1.0 + 1e-9);
            if let Some((most, why)) = left.cap.most_decided().filter(beyond_all) {
                let most = (most.0 * 100.0).round() / 100.0;
                problems.add("kg_per_ha", format!("No more than {most} kg/ha: {why}."));
            }
            let beyond = value > left.cap.published().0.0;
            if beyond && left.cap.grounds == Grounds::Hazard && self.warned != "yes" {
                problems.add("warned", "Read the warning, and tick that you have read it.");
            }
        }
        problems.0.dedup_by(|a, b| a == b);
        problems.none()?;
        let value = found(value, "cap")?;
        let one = |(plot, left): &(PlotId, &CapLeft)| {
            let (rate, label) = left.cap.published();
            NewOverrule {
                plot: *plot,
                cap: counted.key(),
                label: label.to_owned(),
                published_kg_per_ha: rate.0,
                kg_per_ha: value,
                warned: left.cap.grounds == Grounds::Hazard && value > rate.0,
                reason: reason.clone(),
            }
        };
        Ok(caps.iter().map(one).collect())
    }
}

impl App {
    /// Writes down a decision about a cap of a draft, for the plots named. Stewards only.
    pub async fn overrule_cap(&self, actor: &Actor, id: PlanId, cap: &str, form: &OverruleForm) -> Result<()> {
        actor.may(Role::Steward)?;
        self.draft(id).await?;
        let view = self.plan(actor, id).await?;
        let counted: Counted = cap.parse().map_err(|_| Error::NotFound("cap"))?;
        let decided = form.read(&view, counted)?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let mut codes = Vec::new();
        for new in &decided {
            store::overrules::insert(&mut write, id, new).await?;
            let plot = view.plots.iter().find(|plot| plot.standing.plot.id == new.plot);
            codes.extend(plot.map(|plot| plot.standing.plot.code.clone()));
        }
        let Some(first) = decided.first() else { return Ok(()) };
        let read = if first.warned { " The warning was read." } else { "" };
        let summary = format!(
            "A cap was overruled on {}: {} kg/ha in the place of “{}”. Reason: {}.{read}",
            codes.join(", "),
            first.kg_per_ha,
            first.label,
            first.reason.trim_end_matches('.')
        );
        Ok(write.commit(Change::new(Subject::Plan(id), "overruled", summary)).await?)
    }

    /// Takes a decision back: the published cap holds again. Stewards only.
    pub async fn withdraw_overrule(&self, actor: &Actor, plan: PlanId, id: OverruleId) -> Result<()> {
        actor.may(Role::Steward)?;
        self.draft(plan).await?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let rows = store::overrules::of_plan(&mut write, plan).await?;
        let row = found(rows.into_iter().find(|row| row.id == id), "decision")?;
        let plot = found(store::plots::plot(&mut write, row.plot).await?, "plot")?;
        store::overrules::withdraw(&mut write, plan, id).await?;
        let summary = format!("The published cap holds again on {}: {}.", plot.code, row.label);
        Ok(write.commit(Change::new(Subject::Plan(plan), "withdrawn", summary)).await?)
    }
}
