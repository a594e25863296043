//! What one more test of a plot would be worth before feeding it, and what a site says is at
//! stake. The trade weighs; the costs are the grower's.

use super::{
    Actor, App, Problems, Result, Role,
    access::found,
    glance::{PlainLevel, PlotGlance},
    standing::PlotStanding,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        drift::Scale,
        guideline::Position,
        quantity::SquareMetres,
        reading::Reading,
        retest::{self, Question, Retest},
        standing::NutrientStanding,
    },
    ids::{PlotId, SiteId},
    store::{self, Change, Subject},
};
use serde::{Deserialize, Serialize};

pub use crate::store::years::StakesRow;

/// Fewest other plots that say anything beforehand of one.
const OTHERS_NEEDED: usize = 4;

/// Until a site says what is at stake: round figures of our own, in whatever its currency is.
pub const STAKES: StakesRow =
    StakesRow { sheet_minor: 3000, needless_per_100_m2_minor: 1200, missed_per_100_m2_minor: 4000, revision: 0 };

/// What is typed about what is at stake, in major units.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct StakesForm {
    /// One more sample with its sheet.
    pub sheet: String,
    /// Lost by feeding 100 m² that were not short.
    pub needless: String,
    /// Lost by leaving 100 m² short.
    pub missed: String,
    pub revision: i64,
}

impl From<&StakesRow> for StakesForm {
    fn from(row: &StakesRow) -> Self {
        let major = |minor: i64| format!("{}.{:02}", minor / 100, minor % 100);
        StakesForm {
            sheet: major(row.sheet_minor),
            needless: major(row.needless_per_100_m2_minor),
            missed: major(row.missed_per_100_m2_minor),
            revision: row.revision,
        }
    }
}

/// What a retest would say of one nutrient.
#[derive(Clone, Debug, PartialEq)]
pub struct RetestOf {
    pub analyte: Analyte,
    /// The reading that the question is about.
    pub reading: Reading,
    pub aim: f64,
    /// How many other plots were heard.
    pub others: usize,
    pub question: Question,
    pub retest: Retest,
}

/// What one more sample of a plot would be worth, over all nutrients that one sheet tells of.
#[derive(Clone, Debug)]
pub struct PlotRetest {
    pub stakes: StakesRow,
    /// The site said so itself.
    pub own_stakes: bool,
    pub area: SquareMetres,
    /// The worthiest first.
    pub nutrients: Vec<RetestOf>,
    /// Value of the sheet, minor units: the sum over its nutrients.
    pub value_minor: f64,
    pub worth_it: bool,
}

impl App {
    /// What is at stake on a site, and whether it said so itself.
    pub async fn stakes(&self, actor: &Actor, site: SiteId) -> Result<(StakesRow, bool)> {
        actor.may(Role::Reader)?;
        let mut read = self.store.read().await?;
        found(store::plots::site(&mut read, site).await?, "site")?;
        let own = store::years::stakes(&mut read, site).await?;
        Ok((own.unwrap_or(STAKES), own.is_some()))
    }

    /// Says what is at stake on a site.
    pub async fn set_stakes(&self, actor: &Actor, site: SiteId, form: &StakesForm) -> Result<()> {
        actor.may(Role::Steward)?;
        let mut problems = Problems::default();
        let mut money = |field: &str, typed: &str| {
            let minor = problems.optional_money(field, typed);
            if problems.of(field).is_none() && minor.is_none_or(|minor| minor <= 0) {
                problems.add(field, "Give an amount above 0.");
            }
            minor.unwrap_or(0)
        };
        let stakes = StakesRow {
            sheet_minor: money("sheet", &form.sheet),
            needless_per_100_m2_minor: money("needless", &form.needless),
            missed_per_100_m2_minor: money("missed", &form.missed),
            revision: form.revision,
        };
        problems.none()?;
        let mut write = self.store.write(self.now(), Some(actor.person)).await?;
        let row = found(store::plots::site(&mut write, site).await?, "site")?;
        store::years::set_stakes(&mut write, site, &stakes).await?;
        let StakesForm { sheet, needless, missed, .. } = StakesForm::from(&stakes);
        let summary = format!(
            "At stake on {}, in {}: {sheet} for one more sample, {needless} for feeding 100 m² needlessly, {missed} for leaving them short.",
            row.name, row.currency
        );
        Ok(write.commit(Change::new(Subject::Site(site), "set", summary)).await?)
    }

    /// What one more sample of a plot would be worth.
    pub async fn plot_retest(&self, actor: &Actor, id: PlotId) -> Result<PlotRetest> {
        let plot = self.plot(actor, id).await?;
        let (stakes, own_stakes) = self.stakes(actor, plot.site).await?;
        let area = SquareMetres(plot.area_m2);
        let mut nutrients = Vec::new();
        if plot.retired_on.is_none() {
            let (_, _, this) = self.plot_standing(actor, id).await?;
            // The others are heard as the site's page knows them.
            let all = self.site_glance(actor, plot.site).await?;
            let asked = |nutrient| question(&this, nutrient, &all.plots, &stakes, area);
            nutrients.extend(this.present.standing.nutrients.iter().filter_map(asked));
        }
        nutrients.sort_by(|a, b| b.retest.value.total_cmp(&a.retest.value));
        let value_minor: f64 = nutrients.iter().map(|one| one.retest.value).sum();
        let worth_it = value_minor > stakes.sheet_minor as f64;
        Ok(PlotRetest { stakes, own_stakes, area, nutrients, value_minor, worth_it })
    }
}

/// The question that a retest of one nutrient or of pH would answer; none where it is not judged by
/// an aim, where nothing is fed or limed by it, or where the lab gave only a limit.
fn question(
    plot: &PlotStanding,
    nutrient: &NutrientStanding,
    all: &[PlotGlance],
    stakes: &StakesRow,
    area: SquareMetres,
) -> Option<RetestOf> {
    let judged = matches!(nutrient.position, Position::Short | Position::AtAim | Position::Above);
    let aim = nutrient.aim_level?.number();
    let analyte = nutrient.analyte;
    // What is fed, and pH, which is limed.
    if !judged || (analyte.element().is_none() && analyte != Analyte::Ph) {
        return None;
    }
    let reading = plot.present.choices.get(&analyte).map(|choice| choice.chosen.clone()).filter(Reading::is_exact)?;
    let found = reading.level.number();
    let scale = Scale::of(analyte);
    let alike = |other: &&PlainLevel| {
        other.analyte == analyte
            && other.method == reading.method
            && other.level.unit() == reading.level.unit()
            && other.depth == reading.depth
    };
    let others: Vec<f64> = all
        .iter()
        .filter(|other| other.plot.id != plot.plot.id)
        .filter_map(|other| other.levels.iter().find(alike))
        .map(|other| other.level.number())
        .collect();
    // Money on this plot: what is lost on 100 m², by its area.
    let on_plot = |minor: i64| minor as f64 * area.0 / 100.0;
    let question = Question {
        scale,
        found,
        target: aim,
        sigma: plot.survey.errors.of_lab(analyte, &reading.lab).one_test.sigma(scale, found),
        others: (others.len() >= OTHERS_NEEDED).then(|| retest::spread(scale, &others)).flatten(),
        cost_needless: on_plot(stakes.needless_per_100_m2_minor),
        cost_missed: on_plot(stakes.missed_per_100_m2_minor),
        price: stakes.sheet_minor as f64,
    };
    let others = question.others.map_or(0, |_| others.len());
    Some(RetestOf { analyte, reading, aim, others, question, retest: retest::value(&question)? })
}
