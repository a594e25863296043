//! Lime for a plot: its newest pH and buffer readings under every published method, less what lies
//! on the ground already, brought to a product and to the plot. What was typed and cannot be read
//! is named beside its field, and the usual figure is used in its place.

use super::{
    Actor, App, Problems, Result, amendments::AmendmentRow, error::Limits, guidelines, lineage, plots::SiteRow,
    standing::PlotStanding,
};
use crate::{
    agronomy::{
        analyte::Analyte,
        ground::{Ground, Texture},
        guideline::{SplitOf, SplitRule},
        lime::{
            self, Aim, FinenessScheme, Given, LimeMethod, LimeProduct, LimeValue, NotLowered, ProductRate, Requirement,
            Soil, Suits, SulfurRate, UkSoil, fractions_from_passing,
        },
        quantity::{Centimetres, CmolPerKg, Grams, GramsPerM2, KgPerHa, SquareMetres},
        rate::RateUnit,
        reading::{Level, Reading, number},
        working::{Figure, Origin, Working},
    },
    exchange::number::Low,
    ids::PlotId,
};
use jiff::{ToSpan, civil::Date};
use serde::{Deserialize, Serialize};
use std::sync::Arc;

const TARGET: Limits = Limits { what: "A target pH", unit: "", low: Low::AtLeast(4.0), at_most: 8.5, decimals: 1 };
const TARGET_SMP: Limits =
    Limits { what: "A target buffer pH", unit: "", low: Low::AtLeast(5.0), at_most: 7.5, decimals: 2 };
const VALUE: Limits =
    Limits { what: "A neutralising value", unit: "", low: Low::Above(0.0), at_most: 5000.0, decimals: 1 };
const ALUMINIUM: Limits =
    Limits { what: "Aluminium", unit: "cmol(+)/kg", low: Low::AtLeast(0.0), at_most: 20.0, decimals: 2 };
const GIVEN: Limits = Limits { what: "Lime", unit: "t/ha", low: Low::AtLeast(0.0), at_most: 50.0, decimals: 2 };
const MONTHS: Limits = Limits { what: "Months", unit: "", low: Low::AtLeast(0.0), at_most: 240.0, decimals: 1 };

/// The pH that is limed to where neither the grower nor the guideline names one.
const USUAL_TARGET: f64 = 6.5;

/// Days in a month, on the average of the calendar.
const DAYS_A_MONTH: f64 = 30.4375;

/// Names of the fields for sieves, from the finest.
const SIEVES: [&str; 4] = ["sieve_1", "sieve_2", "sieve_3", "sieve_4"];

/// What is typed on the page about lime.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct LimeForm {
    pub target_ph: String,
    pub target_smp: String,
    /// Key of a British soil group.
    pub soil: String,
    /// Number of an amendment; empty goes by the value.
    pub product: String,
    pub value_percent: String,
    /// What the value is counted in: empty for % of pure calcium carbonate, `oxide`, `effective`.
    pub value_as: String,
    pub moisture_percent: String,
    /// Key of a publisher's sieves; empty where the fineness is not known.
    pub fineness: String,
    /// `passing` where the figures add up as they go; empty for fractions.
    pub sieve_as: String,
    pub sieve_1: String,
    pub sieve_2: String,
    pub sieve_3: String,
    pub sieve_4: String,
    /// The depth limed; the plot's own where empty.
    pub depth_cm: String,
    /// "on" for a crop that bears little acid.
    pub sensitive: String,
    /// "on" where the lab gave the buffer twice.
    pub second_dose: String,
    pub tolerable_aluminium: String,
    pub given_t_per_ha: String,
    pub given_months: String,
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
    /// The depth that is limed.
    pub depth_cm: f64,
    /// The target is the guideline's own aim.
    pub target_is_aim: bool,
    /// What raises pH in the record.
    pub products: Vec<AmendmentRow>,
    /// The one used, in words.
    pub product: String,
    /// The sieves of the publisher chosen, each with the share that counts.
    pub sieves: Option<FinenessScheme>,
    pub ph: Option<Reading>,
    pub buffers: Vec<Reading>,
    /// Lime that is on the ground already, on record or as stated.
    pub given: Vec<Given>,
    /// The methods that answer, the one that suits best first.
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
    /// What speaks for and against it on this ground.
    pub suits: Suits,
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
    pub rule: Arc<SplitRule>,
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
        let Wanted { mut aim, target_is_aim, product, spreadable, fractions, ground } = wanted;
        let sampled_on = standing.present.choices.get(&Analyte::Ph).map(|choice| choice.chosen.sampled_on);
        let sampled_on = sampled_on.or(standing.survey.last_sampled());
        if let Some(sampled_on) = sampled_on {
            let mut given = self.lime_given(id, sampled_on, ground.area).await?;
            given.append(&mut aim.given);
            aim.given = given;
        }
        let splits = guidelines::beside(&mut *self.store.read().await?, &site).await?.splits;
        let known = Soil::gather(&standing.present.choices, &ground);
        let spreadable = LimeProduct {
            value: spreadable.value,
            fineness: fractions.as_ref().map(|(scheme, fractions)| (*scheme, fractions.as_slice())),
            moisture_percent: spreadable.moisture_percent,
        };
        let home = lime::home_method(&guideline);
        let named = home.map(|home| (home, guideline.title.as_str()));
        let (mut answers, mut silent) = (Vec::new(), Vec::new());
        for (method, answer) in lime::all_methods(&known, &aim) {
            match answer {
                Ok(requirement) => answers.push(LimeAnswer {
                    suits: lime::suits(&requirement, named, ground.texture),
                    carbonate_t_per_ha: RateUnit::TonnePerHa.show(requirement.carbonate),
                    spread: spread(&spreadable, &requirement, &product, ground.area, &splits),
                    requirement,
                }),
                Err(why) => silent.push((method, why)),
            }
        }
        lime::best_first(&mut answers, |answer: &LimeAnswer| &answer.requirement, home);
        let (ph, buffers) = (known.ph.cloned(), known.buffers.iter().map(|r| (*r).clone()).collect());
        let carbonate = standing.present.choices.get(&Analyte::Carbonate).map(|choice| &choice.chosen);
        let signs = &standing.present.signs;
        let above = |reading: &Reading| matches!(reading.level, Level::Ph(found) if found > aim.target_ph);
        let lowering = ph
            .as_ref()
            .filter(|reading| signs.calcareous() || above(reading))
            .map(|reading| lime::lower_ph(reading, aim.target_ph, carbonate, signs, &ground));
        Ok(PlotLime {
            site,
            guideline: guideline.title.clone(),
            sieves: FinenessScheme::find(&form.fineness),
            standing,
            form,
            problems,
            target_ph: aim.target_ph,
            depth_cm: ground.depth.0,
            target_is_aim,
            products,
            product,
            ph,
            buffers,
            given: aim.given,
            answers,
            silent,
            lowering,
        })
    }

    /// Lime on record since a year and a half before the sample: by North Carolina's rule none
    /// that is older has anything left to react.
    async fn lime_given(&self, plot: PlotId, sampled_on: Date, area: SquareMetres) -> Result<Vec<Given>> {
        let mut read = self.store.read().await?;
        let from = sampled_on.saturating_sub(18.months());
        let doses = lineage::lime_doses(&mut read, plot, from, self.today()).await?;
        let given = doses.into_iter().map(|dose| {
            let days = dose.on.until(sampled_on).map_or(0, |span| span.get_days());
            let title = format!("{} of {}", dose.name, dose.on);
            let value = (dose.value_percent, dose.moisture.unwrap_or(0.0) * 100.0);
            Given::of_dose(title, Grams(dose.mass_g), value, area, f64::from(days.max(0)) / DAYS_A_MONTH)
        });
        Ok(given.collect())
    }
}

/// What the form asks for, every gap filled.
struct Wanted {
    aim: Aim,
    target_is_aim: bool,
    product: String,
    /// Still without its sieves.
    spreadable: LimeProduct<'static>,
    fractions: Option<(FinenessScheme, Vec<f64>)>,
    /// The plot's, worked to the depth that was asked for.
    ground: Ground,
}

fn read(mut form: LimeForm, standing: &PlotStanding, products: &[AmendmentRow]) -> (LimeForm, Problems, Wanted) {
    let mut problems = Problems::default();
    let mut ground = standing.plot.ground();
    let untouched = form.target_ph.is_empty() && form.value_percent.is_empty() && form.product.is_empty();
    let aim_ph = standing.present.standing.get(Analyte::Ph).and_then(|nutrient| match nutrient.aim_level {
        Some(Level::Ph(aim)) => Some(aim),
        _ => None,
    });
    let usual = aim_ph.unwrap_or(USUAL_TARGET);
    let target_ph = problems.optional_number("target_ph", &form.target_ph, &TARGET).unwrap_or(usual);
    if form.target_ph.trim().is_empty() {
        form.target_ph = format!("{usual:.1}");
    }
    let soil = form.soil.parse().unwrap_or_else(|_| soil_group(standing.plot.texture));
    form.soil = soil.slug().into();
    if let Some(depth) = problems.optional_number("depth_cm", &form.depth_cm, &Limits::DEPTH_CM) {
        ground.depth = Centimetres(depth);
    }
    let mut aim = Aim {
        target_ph,
        uk_soil: soil,
        sensitive_crop: form.sensitive == "on",
        second_buffer_dose: form.second_dose == "on",
        organic_soil: standing.plot.texture == Texture::Organic,
        ..Aim::default()
    };
    if let Some(smp) = problems.optional_number("target_smp", &form.target_smp, &TARGET_SMP) {
        aim.target_smp = smp;
    }
    if let Some(borne) = problems.optional_number("tolerable_aluminium", &form.tolerable_aluminium, &ALUMINIUM) {
        aim.tolerable_aluminium = CmolPerKg(borne);
    }
    let months = problems.optional_number("given_months", &form.given_months, &MONTHS);
    if let Some(tonnes) = problems.optional_number("given_t_per_ha", &form.given_t_per_ha, &GIVEN)
        && tonnes > 0.0
    {
        aim.given.push(Given::stated(tonnes, months.unwrap_or(0.0)));
    }
    // Ground limestone where there is one: burnt lime is caustic, and not to be offered first.
    let limestone = |row: &&AmendmentRow| row.catalogue.as_deref() == Some("ground_limestone");
    if untouched && let Some(first) = products.iter().find(limestone).or(products.first()) {
        form.product = first.id.to_string();
    }
    let chosen = products.iter().find(|row| row.id.to_string() == form.product);
    let (product, spreadable, fractions) = read_product(&mut form, chosen, &mut problems);
    let target_is_aim = aim_ph == Some(target_ph);
    (form, problems, Wanted { aim, target_is_aim, product, spreadable, fractions, ground })
}

/// The product as chosen or as its value is typed, with its sieves; one that cannot be is named
/// by its field, and pure lime stands in for it.
fn read_product(
    form: &mut LimeForm,
    chosen: Option<&AmendmentRow>,
    problems: &mut Problems,
) -> (String, LimeProduct<'static>, Option<(FinenessScheme, Vec<f64>)>) {
    let typed = problems.optional_number("value_percent", &form.value_percent, &VALUE);
    let water = problems.optional_number("moisture_percent", &form.moisture_percent, &Limits::PERCENT);
    let (name, value, moisture_percent) = match chosen {
        Some(row) => {
            let analysis = &row.amendment.analysis;
            let value = LimeValue::Carbonate(analysis.neutralising_value.unwrap_or(100.0));
            (row.amendment.name.clone(), value, water.or(analysis.moisture.map(|water| water * 100.0)))
        }
        None => {
            let value = typed.unwrap_or(100.0);
            if form.value_percent.trim().is_empty() {
                form.value_percent = number(value);
            }
            let value = match form.value_as.as_str() {
                "oxide" => LimeValue::CalciumOxide(value),
                "effective" => LimeValue::EffectiveLbPerTon(value),
                _ => LimeValue::Carbonate(value),
            };
            (format!("Lime of {}", value.words()), value, water)
        }
    };
    let mut product = LimeProduct { value, fineness: None, moisture_percent };
    if let Err(why) = value.percent_of_carbonate() {
        problems.add("value_percent", why);
        product.value = LimeValue::Carbonate(100.0);
    }
    let fractions =
        FinenessScheme::find(&form.fineness).and_then(|scheme| match read_sieves(form, &scheme, problems) {
            Ok(fractions) => Some((scheme, fractions)),
            Err(why) => {
                problems.add(SIEVES[0], why);
                None
            }
        });
    let whole = LimeProduct {
        value: product.value,
        fineness: fractions.as_ref().map(|(scheme, fractions)| (*scheme, fractions.as_slice())),
        moisture_percent,
    };
    if let Err(why) = whole.effective_percent() {
        problems.add(if product.moisture_percent.is_some() { "moisture_percent" } else { SIEVES[0] }, why);
        product.moisture_percent = None;
        return (name, product, None);
    }
    (name, product, fractions)
}

/// The fractions of a product, %, from fine to coarse, or what is wrong with them.
fn read_sieves(
    form: &LimeForm,
    scheme: &FinenessScheme,
    problems: &mut Problems,
) -> std::result::Result<Vec<f64>, String> {
    let typed = [&form.sieve_1, &form.sieve_2, &form.sieve_3, &form.sieve_4];
    if typed.iter().all(|figure| figure.trim().is_empty()) {
        return Err("Type what passes or lies between the sieves, from the lab’s sheet or the sack.".into());
    }
    let read = typed
        .iter()
        .zip(SIEVES)
        .map(|(figure, field)| problems.optional_number(field, figure, &Limits::PERCENT).unwrap_or(0.0));
    let mut figures: Vec<f64> = read.collect();
    if form.sieve_as == "passing" {
        // What stays on the coarsest sieve is the rest, and has no figure of its own.
        figures.pop();
        figures = fractions_from_passing(&figures)?;
    }
    scheme.share(&figures)?;
    Ok(figures)
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
    splits: &[Arc<SplitRule>],
) -> std::result::Result<Spread, String> {
    let rate = product.rate(requirement)?;
    let on_plot = rate.kg_per_ha.on(area);
    // The most at once is printed for ground limestone: of a stronger lime less mass does as
    // much, so the heavier of product and pure carbonate decides.
    let heavier = KgPerHa(rate.kg_per_ha.0.max(requirement.carbonate.0));
    let splits = splits.iter().filter(|rule| rule.material == SplitOf::Lime).filter_map(|rule| {
        let parts = rule.count(heavier);
        (parts > 1).then(|| Split { rule: rule.clone(), parts, each: Grams(on_plot.0 / parts as f64) })
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
