//! Lime for a plot: its newest pH and buffer readings under every published method, brought to a
//! product and to the plot. What was typed and cannot be read is named beside its field, and the
//! usual figure is used in its place.

use super::{
    Actor, App, Problems, Result, amendments::AmendmentRow, error::Limits, plots::SiteRow, standing::PlotStanding,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        ground::Texture,
        lime::{
            self, Aim, LimeMethod, LimeProduct, LimeValue, NotLowered, ProductRate, Requirement, SPLITS, Soil,
            SplitRule, SulfurRate, UkSoil,
        },
        quantity::{Grams, GramsPerM2, KgPerHa, SquareMetres},
        rate::RateUnit,
        reading::{Level, Reading, number},
        working::{Figure, Origin, Working},
    },
    exchange::number::Low,
    ids::PlotId,
};
use serde::{Deserialize, Serialize};

const TARGET: Limits = Limits { what: "A target pH", unit: "", low: Low::AtLeast(4.0), at_most: 8.5, decimals: 1 };
const VALUE: Limits =
    Limits { what: "A neutralising value", unit: "%", low: Low::Above(0.0), at_most: 250.0, decimals: 1 };

/// The pH that is limed to where neither the grower nor the guideline names one.
const USUAL_TARGET: f64 = 6.5;

/// What is typed on the page about lime.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct LimeForm {
    pub target_ph: String,
    /// Key of a British soil group.
    pub soil: String,
    /// Number of an amendment; empty goes by the value.
    pub product: String,
    /// % of pure calcium carbonate.
    pub value_percent: String,
}

/// A plot's lime.
#[derive(Clone, Debug)]
pub struct PlotLime {
    pub site: SiteRow,
    pub guideline: String,
    pub standing: PlotStanding,
    /// What was typed, or the usual figures.
    pub form: LimeForm,
    pub problems: Problems,
    pub target_ph: f64,
    /// The target is the guideline's own aim.
    pub target_is_aim: bool,
    /// What raises pH in the record.
    pub products: Vec<AmendmentRow>,
    /// The one used, in words.
    pub product: String,
    pub ph: Option<Reading>,
    pub buffers: Vec<Reading>,
    /// The methods that answer.
    pub answers: Vec<LimeAnswer>,
    /// Those that do not, each with what is missing.
    pub silent: Vec<(LimeMethod, String)>,
    /// Sulfur, or why not, where the soil lies above its target.
    pub lowering: Option<Result<SulfurRate, NotLowered>>,
}

/// What one method asks for.
#[derive(Clone, Debug)]
pub struct LimeAnswer {
    pub requirement: Requirement,
    /// Pure calcium carbonate, t/ha.
    pub carbonate_t_per_ha: f64,
    /// In the product; the sentence says why there is none.
    pub spread: std::result::Result<Spread, String>,
}

/// A requirement in a product, on the plot.
#[derive(Clone, Debug)]
pub struct Spread {
    pub rate: ProductRate,
    pub t_per_ha: f64,
    pub grams_per_m2: GramsPerM2,
    pub on_plot: Grams,
    pub splits: Vec<Split>,
    /// From the printed cell to what is weighed out.
    pub working: Working,
}

/// A dose in parts, by a publisher's most at once.
#[derive(Clone, Debug)]
pub struct Split {
    pub rule: SplitRule,
    pub parts: usize,
    pub each: Grams,
}

impl App {
    /// Lime for one plot, as the form asks.
    pub async fn plot_lime(&self, actor: &Actor, id: PlotId, form: LimeForm) -> Result<PlotLime> {
        let (site, guideline, standing) = self.plot_standing(actor, id).await?;
        let mut products = self.amendments(actor, false).await?;
        products.retain(|row| {
            row.amendment.analysis.neutralising_value.is_some_and(|v| v > 0.0) && row.amendment.raises_ph()
        });
        let (form, problems, wanted) = read(form, &standing, &products);
        let Wanted { target_ph, target_is_aim, soil, product, value_percent, moisture_percent } = wanted;
        let ground = standing.plot.ground();
        let known = Soil::gather(&standing.present.choices, &ground);
        let aim = Aim { target_ph, uk_soil: soil, ..Aim::default() };
        let spreadable = LimeProduct { value: LimeValue::Carbonate(value_percent), fineness: None, moisture_percent };
        let (mut answers, mut silent) = (Vec::new(), Vec::new());
        for (method, answer) in lime::all_methods(&known, &aim) {
            match answer {
                Ok(requirement) => answers.push(LimeAnswer {
                    carbonate_t_per_ha: RateUnit::TonnePerHa.show(requirement.carbonate),
                    spread: spread(&spreadable, &requirement, &product, ground.area),
                    requirement,
                }),
                Err(why) => silent.push((method, why)),
            }
        }
        let (ph, buffers) = (known.ph.cloned(), known.buffers.iter().map(|r| (*r).clone()).collect());
        let carbonate = standing.present.choices.get(&Analyte::Carbonate).map(|choice| &choice.chosen);
        let signs = &standing.present.signs;
        let above = |reading: &Reading| matches!(reading.level, Level::Ph(found) if found > target_ph);
        let lowering = ph
            .as_ref()
            .filter(|reading| signs.calcareous() || above(reading))
            .map(|reading| lime::lower_ph(reading, target_ph, carbonate, signs, &ground));
        Ok(PlotLime {
            site,
            guideline: guideline.title.clone(),
            standing,
            form,
            problems,
            target_ph,
            target_is_aim,
            products,
            product,
            ph,
            buffers,
            answers,
            silent,
            lowering,
        })
    }
}

/// What the form asks for, every gap filled.
struct Wanted {
    target_ph: f64,
    target_is_aim: bool,
    soil: UkSoil,
    product: String,
    value_percent: f64,
    moisture_percent: Option<f64>,
}

fn read(mut form: LimeForm, standing: &PlotStanding, products: &[AmendmentRow]) -> (LimeForm, Problems, Wanted) {
    let mut problems = Problems::default();
    let untouched = form.target_ph.is_empty() && form.value_percent.is_empty() && form.product.is_empty();
    let aim = standing.present.standing.get(Analyte::Ph).and_then(|nutrient| match nutrient.aim_level {
        Some(Level::Ph(aim)) => Some(aim),
        _ => None,
    });
    let usual = aim.unwrap_or(USUAL_TARGET);
    let typed = problems.optional_number("target_ph", &form.target_ph, &TARGET);
    let target_ph = typed.unwrap_or(usual);
    if form.target_ph.trim().is_empty() {
        form.target_ph = format!("{usual:.1}");
    }
    let soil = form.soil.parse().unwrap_or_else(|_| soil_group(standing.plot.texture));
    form.soil = soil.slug().into();
    // Ground limestone where there is one: burnt lime is caustic, and not to be offered first.
    let limestone = |row: &&AmendmentRow| row.catalogue.as_deref() == Some("ground_limestone");
    if untouched && let Some(first) = products.iter().find(limestone).or(products.first()) {
        form.product = first.id.to_string();
    }
    let chosen = products.iter().find(|row| row.id.to_string() == form.product);
    let typed = problems.optional_number("value_percent", &form.value_percent, &VALUE);
    let (product, value_percent, moisture_percent) = match chosen {
        Some(row) => {
            let analysis = &row.amendment.analysis;
            let value = analysis.neutralising_value.unwrap_or(100.0);
            (row.amendment.name.clone(), value, analysis.moisture.map(|water| water * 100.0))
        }
        None => {
            let value = typed.unwrap_or(100.0);
            if form.value_percent.trim().is_empty() {
                form.value_percent = number(value);
            }
            (format!("Lime of {} %", number(value)), value, None)
        }
    };
    let target_is_aim = aim == Some(target_ph);
    (form, problems, Wanted { target_ph, target_is_aim, soil, product, value_percent, moisture_percent })
}

/// The British soil group that a texture falls into: sands light, clays clay, the rest medium.
fn soil_group(texture: Texture) -> UkSoil {
    match texture {
        Texture::Sand | Texture::LoamySand => UkSoil::Light,
        Texture::Clay | Texture::SiltyClay | Texture::SandyClay => UkSoil::Clay,
        _ => UkSoil::Medium,
    }
}

fn spread(
    product: &LimeProduct<'_>,
    requirement: &Requirement,
    name: &str,
    area: SquareMetres,
) -> std::result::Result<Spread, String> {
    let rate = product.rate(requirement)?;
    let on_plot = rate.kg_per_ha.on(area);
    // The most at once is printed for ground limestone: of a stronger lime less mass does as
    // much, so the heavier of product and pure carbonate decides.
    let heavier = KgPerHa(rate.kg_per_ha.0.max(requirement.carbonate.0));
    let splits = SPLITS.iter().filter_map(|rule| {
        let parts = rule.parts(heavier).len();
        (parts > 1).then_some(Split { rule: *rule, parts, each: Grams(on_plot.0 / parts as f64) })
    });
    let kg = on_plot.0 / 1000.0;
    let formula = format!("{} kg/ha × {} m² ÷ 10,000 = {} kg", number(rate.kg_per_ha.0), number(area.0), number(kg));
    let ground = Working::leaf("Area of the plot", Figure::new(area.0, "m²", 1), Origin::Entered);
    let title = format!("{name} on this plot");
    let figure = Figure::significant(kg, "kg", 3);
    Ok(Spread {
        t_per_ha: RateUnit::TonnePerHa.show(rate.kg_per_ha),
        grams_per_m2: rate.kg_per_ha.grams_per_m2(),
        on_plot,
        splits: splits.collect(),
        working: Working::step(title, figure, formula, [rate.working.clone(), ground]),
        rate,
    })
}
