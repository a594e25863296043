//! One plot under every guideline that comes with the program: loads what was sampled and lets
//! the trade set the guidelines side by side. It ranks none of them.

use super::{Actor, App, Result, plots::SiteRow, standing::PlotStanding};
use crate::{
    agronomy::{
        analyte::Analyte,
        choice::Overrule,
        guideline::{Guideline, LandUse, builtin},
        second_opinion::{Opinion, SecondOpinion, second_opinion},
        working::Working,
    },
    ids::PlotId,
};

/// What of an opinion a working is behind.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Behind {
    Found,
    /// The aim in the unit of what was found.
    Aim,
    /// The aim as a mass in the plot's own layer.
    AimMass,
    /// The class, or the need where there is one.
    Verdict,
}

/// A plot under all guidelines.
#[derive(Clone, Debug)]
pub struct PlotOpinions {
    pub site: SiteRow,
    pub standing: PlotStanding,
    pub opinion: SecondOpinion,
}

impl PlotOpinions {
    /// One guideline's word on one nutrient.
    pub fn of(&self, guideline: &str, analyte: Analyte) -> Option<&Opinion> {
        let row = self.opinion.rows.iter().find(|row| row.analyte == analyte)?;
        row.opinions.iter().find(|opinion| opinion.guideline_slug == guideline)
    }
}

/// The working behind a figure of an opinion, where it has one.
pub fn behind(opinion: &Opinion, what: Behind) -> Option<&Working> {
    match what {
        Behind::Found => Some(&opinion.found_working),
        Behind::Aim => opinion.aim.as_ref().map(|aim| &aim.working),
        Behind::AimMass => opinion.aim_mass_working.as_ref(),
        Behind::Verdict => Some(&opinion.working),
    }
}

impl App {
    /// A plot under every guideline, for one use of the ground; tables known only from memory
    /// speak where asked. A reading that a person chose on the plot is kept throughout.
    pub async fn second_opinion(
        &self,
        actor: &Actor,
        id: PlotId,
        land_use: LandUse,
        with_memory: bool,
    ) -> Result<PlotOpinions> {
        let (site, _, standing) = self.plot_standing(actor, id).await?;
        let chosen: Vec<Overrule> =
            standing.present.choices.values().filter_map(|choice| choice.overruled.clone()).collect();
        let (ground, today) = (standing.plot.ground(), self.today());
        let remembered: Vec<Guideline>;
        let guidelines = if with_memory {
            remembered = builtin().iter().map(Guideline::with_memory).collect();
            remembered.as_slice()
        } else {
            builtin()
        };
        let opinion = second_opinion(&standing.survey, &ground, guidelines, land_use, &chosen, today);
        Ok(PlotOpinions { site, standing, opinion })
    }
}
