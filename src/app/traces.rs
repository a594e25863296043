//! Trace elements of a plot: each reading beside what authors found short, usual or harmful, the
//! manganese indices, and the boron that its crops will bear. It sets no aim and no dose.

use super::{Actor, App, Result, plots::SiteRow, standing::PlotStanding};
use crate::{
    agronomy::{
        analyte::Analyte,
        crop::{BoronCeiling, boron_ceiling},
        element::Element,
        lime::in_water,
        method::Method,
        micronutrient::{Conditions, Context, IndexOf, ManganeseIndex, context, manganese_index},
        quantity::Grams,
        reading::{Level, Reading},
    },
    ids::PlotId,
};

/// The elements of the page, in its order.
pub const TRACES: [Element; 6] = [Element::B, Element::Mn, Element::Zn, Element::Cu, Element::Fe, Element::Mo];

/// A plot's trace elements.
#[derive(Clone, Debug)]
pub struct PlotTraces {
    pub site: SiteRow,
    pub standing: PlotStanding,
    pub traces: Vec<Trace>,
    pub not_tested: Vec<Element>,
    /// Each publisher's index, or why there is none.
    pub manganese: Vec<(IndexOf, std::result::Result<ManganeseIndex, String>)>,
    /// The most boron for this season, set by the crops of this and the next.
    pub boron: BoronCeiling,
    /// The same on this plot.
    pub boron_on_plot: Grams,
}

/// A level as read, with what authors say of it.
#[derive(Clone, Debug)]
pub struct Trace {
    pub reading: Reading,
    pub context: std::result::Result<Context, String>,
}

impl App {
    /// Trace elements of one plot; limits known only from memory speak where asked.
    pub async fn plot_traces(&self, actor: &Actor, id: PlotId, with_memory: bool) -> Result<PlotTraces> {
        let (site, _, standing) = self.plot_standing(actor, id).await?;
        let newest = standing.survey.newest();
        let of = |element: Element| newest.iter().filter(move |r| r.analyte == Analyte::Element(element));
        let phosphorus = of(Element::P).filter(|r| r.method == Method::Mehlich3Icp).find_map(|r| match r.level {
            Level::MgPerKg(level) => Some(level.0),
            _ => None,
        });
        let conditions = Conditions { texture: standing.plot.texture, ph: standing.present.ph_in_water(), phosphorus };
        let traces = TRACES
            .iter()
            .flat_map(|element| of(*element))
            .map(|reading| Trace { context: context(reading, &conditions, with_memory), reading: reading.clone() });
        let ph = newest.iter().filter(|r| r.analyte == Analyte::Ph);
        let ph = ph.clone().find(|r| in_water(&r.method)).or_else(|| ph.clone().next());
        let index = |which: IndexOf| -> std::result::Result<ManganeseIndex, String> {
            let ph = ph.ok_or("No pH was read on this plot.")?;
            let mut answers = of(Element::Mn).map(|manganese| manganese_index(which, manganese, ph));
            let first = answers.next().unwrap_or_else(|| Err("Manganese was not tested here.".into()));
            first.or_else(|why| answers.find_map(std::result::Result::ok).ok_or(why))
        };
        let manganese = [IndexOf::Rutgers, IndexOf::NorthCarolina].map(|which| (which, index(which)));
        let boron = boron_ceiling(standing.crops.iter().copied());
        Ok(PlotTraces {
            traces: traces.collect(),
            not_tested: TRACES.into_iter().filter(|element| of(*element).next().is_none()).collect(),
            manganese: manganese.into(),
            boron_on_plot: boron.ceiling.on(standing.plot.ground().area),
            boron,
            site,
            standing,
        })
    }
}
