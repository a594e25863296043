//! Metals that do harm, on one plot: total contents beside published screening values. It judges
//! no ground; what an extract drew out is kept apart and compared with nothing.

use super::{Actor, App, Result, plots::SiteRow, standing::PlotStanding};
use crate::{
    agronomy::{
        analyte::Analyte,
        contaminant::{Content, METALS, Screening, Total, content, screen},
        lime::in_water,
        reading::Reading,
    },
    ids::PlotId,
};

/// A plot's metals.
#[derive(Clone, Debug)]
pub struct PlotMetals {
    pub site: SiteRow,
    pub standing: PlotStanding,
    pub metals: Vec<Metal>,
    /// Readings that cannot be held against a value, with why.
    pub apart: Vec<(Reading, String)>,
}

/// A total content beside the values.
#[derive(Clone, Debug)]
pub struct Metal {
    pub reading: Reading,
    pub total: Total,
    pub screening: Screening,
}

impl App {
    /// Metals of one plot; values known only from memory are used where asked.
    pub async fn plot_metals(&self, actor: &Actor, id: PlotId, with_memory: bool) -> Result<PlotMetals> {
        let (site, _, standing) = self.plot_standing(actor, id).await?;
        let ph = standing.present.choices.get(&Analyte::Ph).map(|choice| &choice.chosen);
        let ph = ph.filter(|reading| in_water(&reading.method)).map(|reading| reading.level.number());
        let (mut metals, mut apart) = (Vec::new(), Vec::new());
        for reading in standing.survey.newest() {
            if !matches!(reading.analyte, Analyte::Element(element) if METALS.contains(&element)) {
                continue;
            }
            match content(&reading) {
                Ok(Content::Total(total)) => {
                    let screening = screen(&total, ph, None, with_memory);
                    metals.push(Metal { reading, total, screening });
                }
                Ok(Content::Extractable(part)) => {
                    let why = format!(
                        "{} draws out only a part; the values are for the total and cannot be compared with it.",
                        part.method.label()
                    );
                    apart.push((reading, why));
                }
                Err(why) => apart.push((reading, why)),
            }
        }
        Ok(PlotMetals { site, standing, metals, apart })
    }
}
