//! Metals that do harm, on one plot: total contents beside published screening values. It judges
//! no ground; what an extract drew out is kept apart and compared with nothing.

use super::{Actor, App, Result, plots::SiteRow, standing::PlotStanding};
use crate::{
    agronomy::{
        analyte::Analyte,
        contaminant::{
            Content, Load, METALS, Screening, Total, content, jurisdictions, loads, screen, screen_extractable,
        },
        lime::in_water,
        quantity::SquareMetres,
        reading::Reading,
        working::Working,
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
    pub apart: Vec<Apart>,
    /// What was brought on, beside the most that published rules let.
    pub loads: Vec<Load>,
}

/// A reading that stands by itself.
#[derive(Clone, Debug)]
pub struct Apart {
    pub reading: Reading,
    pub why: String,
    pub working: Option<Working>,
}

/// A total content beside the values.
#[derive(Clone, Debug)]
pub struct Metal {
    pub reading: Reading,
    pub total: Total,
    pub screening: Screening,
}

impl App {
    /// Metals of one plot by the values of one place, or of every place where it is not one known
    /// here; values known only from memory are used where asked.
    pub async fn plot_metals(&self, actor: &Actor, id: PlotId, place: &str, with_memory: bool) -> Result<PlotMetals> {
        let place = jurisdictions().into_iter().find(|known| *known == place);
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
                    let screening = screen(&total, ph, place, with_memory);
                    metals.push(Metal { reading, total, screening });
                }
                Ok(Content::Extractable(part)) => {
                    let (words, working) = screen_extractable(&part);
                    let why = format!(
                        "{} draws out only a part; values for the total cannot be compared with it. {words}",
                        part.method.label()
                    );
                    apart.push(Apart { reading, why, working });
                }
                Err(why) => apart.push(Apart { reading, why, working: None }),
            }
        }
        let applications = self.put_on(actor, id).await?;
        let area = SquareMetres(standing.plot.area_m2);
        let loads = loads(&applications, area, self.today(), place, with_memory);
        Ok(PlotMetals { site, standing, metals, apart, loads })
    }
}
