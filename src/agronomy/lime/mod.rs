//! Lime: how much a named, published method asks for, and why. The methods disagree, so none
//! is blended with another, no buffer pH is read without its buffer's name, and the lime,
//! depth and ton that each publisher reckons in are said. What is sour enough to need lime
//! and what is not is a choice of aim, made by a person.

mod given;
mod methods;
mod suits;
mod sulfur;
mod table;
mod value;

pub use given::Given;
pub use methods::{NORTH_CAROLINA_CEILING, UK_PH, UkPh, uk_ph, uk_ph_with_barley};
pub use suits::{Suits, best_first, home_method, suits};
pub use sulfur::{NotLowered, SulfurRate, lower_ph};
pub use value::{
    FARM_LIME, FARM_LIME_PERCENT, FINENESS_SCHEMES, FinenessScheme, LimeProduct, LimeValue, ProductRate,
    UNREAD_SCHEMES, UnreadScheme, as_farm_lime, fractions_from_passing, lb_per_ton, neutralising_value_of,
};

use super::{
    analyte::Analyte,
    choice::Choice,
    element::Element,
    ground::Ground,
    method::Method,
    need::soil_working,
    quantity::{Centimetres, CmolPerKg, KgPerHa},
    rate::RateUnit,
    reading::{Level, Reading, number},
    record::{Qualifier, keyed},
    source::Source,
    working::{Figure, Origin, Working},
};
use std::{collections::BTreeMap, str::FromStr};

/// A published way to reckon the lime requirement.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum LimeMethod {
    /// Mehlich buffer, as North Carolina reckons it.
    NorthCarolina,
    /// Mehlich buffer, the Australasian curve.
    ScmaCurve,
    /// Mehlich buffer, the Australasian table to pH 5.5 or 6.5.
    ScmaTable,
    /// Sikora buffer, Oregon's table.
    OregonSikora,
    /// SMP buffer, as Ireland reckons it.
    IrelandSmp,
    /// Target pH less found pH, times a factor of the soil.
    UnitedKingdom,
    /// Lime for all exchangeable aluminium.
    Kamprath,
    /// Lime for the aluminium above what the crop bears.
    Cregan,
}

keyed!(LimeMethod {
    NorthCarolina "north_carolina" "North Carolina, Mehlich buffer",
    ScmaCurve "scma_curve" "Australasia, Mehlich buffer (curve)",
    ScmaTable "scma_table" "Australasia, Mehlich buffer (table)",
    OregonSikora "oregon_sikora" "Oregon, Sikora buffer",
    IrelandSmp "ireland_smp" "Ireland, SMP buffer",
    UnitedKingdom "uk_ph" "United Kingdom, pH and soil",
    Kamprath "kamprath" "Exchangeable aluminium (Kamprath)",
    Cregan "cregan" "Aluminium above what the crop bears (Cregan)",
});

/// Soil groups of the British factors.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub enum UkSoil {
    Light,
    #[default]
    Medium,
    Clay,
}

keyed!(UkSoil { Light "light" "light soil", Medium "medium" "medium soil", Clay "clay" "clay" });

/// What the lime is to bring about.
#[derive(Clone, Debug, PartialEq)]
pub struct Aim {
    /// pH in water.
    pub target_ph: f64,
    /// For Ireland: the buffer pH to be reached; 6.7 for grass on mineral soil.
    pub target_smp: f64,
    pub uk_soil: UkSoil,
    /// For the Australasian curve: half as much again for a crop that bears little acid.
    pub sensitive_crop: bool,
    /// For the Australasian curve: the laboratory gave the buffer twice.
    pub second_buffer_dose: bool,
    /// For Cregan: the exchangeable aluminium that the crop bears.
    pub tolerable_aluminium: CmolPerKg,
    /// For North Carolina: organic soil, where the credit for earlier lime runs out twice as fast.
    pub organic_soil: bool,
    /// Lime that is on the ground already. North Carolina credits what has not reacted yet by its
    /// own rule; from the other methods' lime comes off what was given after the sample.
    pub given: Vec<Given>,
}

impl Default for Aim {
    fn default() -> Self {
        Aim {
            target_ph: 6.5,
            target_smp: 6.7,
            uk_soil: UkSoil::default(),
            sensitive_crop: false,
            second_buffer_dose: false,
            tolerable_aluminium: CmolPerKg(0.0),
            organic_soil: false,
            given: vec![],
        }
    }
}

/// What is known of the soil.
#[derive(Clone, Debug)]
pub struct Soil<'a> {
    pub ph: Option<&'a Reading>,
    /// Every buffer pH of the sheets, each with its buffer.
    pub buffers: Vec<&'a Reading>,
    pub acidity: Option<&'a Reading>,
    pub aluminium: Option<&'a Reading>,
    pub ground: &'a Ground,
}

impl<'a> Soil<'a> {
    /// Takes what the methods ask for from the choices made among a plot's readings.
    pub fn gather(choices: &'a BTreeMap<Analyte, Choice>, ground: &'a Ground) -> Soil<'a> {
        let all = |analyte: Analyte| {
            choices.get(&analyte).into_iter().flat_map(|c| std::iter::once(&c.chosen).chain(&c.others))
        };
        let ph = all(Analyte::Ph).find(|r| in_water(&r.method)).or_else(|| all(Analyte::Ph).next());
        let aluminium = all(Analyte::Element(Element::Al));
        Soil {
            ph,
            buffers: all(Analyte::BufferPh).collect(),
            acidity: all(Analyte::Acidity).next(),
            aluminium: aluminium.clone().find(|r| r.method == Method::PotassiumChloride).or(aluminium.clone().next()),
            ground,
        }
    }

    /// The soil's pH in water, or the sentence that says what is missing.
    fn water_ph(&self) -> Result<(&'a Reading, f64), String> {
        let reading = self.ph.ok_or("There is no soil pH on the sheet; enter pH in water as a line of it.")?;
        let Level::Ph(ph) = reading.level else { return Err("The soil pH on the sheet is not a pH.".into()) };
        if !in_water(&reading.method) {
            return Err(format!(
                "The soil pH was read {}, which lies well below pH in water; this method asks for pH in water. Enter that as a line of the sheet.",
                reading.method.label().to_lowercase()
            ));
        }
        Ok((reading, ph))
    }

    /// The reading in one buffer. A buffer pH without its buffer's name is never used.
    fn buffer(&self, buffer: &Method) -> Result<(&'a Reading, f64), String> {
        let Some(reading) = self.buffers.iter().find(|r| r.method == *buffer) else {
            return Err(match self.buffers.first() {
                None => format!("There is no buffer pH on the sheet; this method asks for the {}.", buffer.label()),
                Some(found) if found.method == Method::Unstated => format!(
                    "The sheet gives a buffer pH of {} without naming the buffer. By four buffers the same number means four different amounts of lime, so none is reckoned: ask the laboratory which buffer it uses, and choose it as the method of the line.",
                    found.figure()
                ),
                Some(found) => format!(
                    "This method is for the {}; the sheet's buffer is the {}, and their readings are not interchangeable. A buffer pH by this one would be needed.",
                    buffer.label(),
                    found.method.label()
                ),
            });
        };
        match (reading.level, reading.qualifier) {
            (Level::Ph(ph), Qualifier::Exact) => Ok((reading, ph)),
            (Level::Ph(_), _) => {
                Err(format!("The buffer pH is only a limit ({}); ask the laboratory for the number.", reading.figure()))
            }
            _ => Err("The buffer reading is not a pH.".into()),
        }
    }
}

/// Whether a pH was read in water.
pub fn in_water(method: &Method) -> bool {
    use Method::{PhWater, PhWater1to1, PhWater1to2, PhWater1to5, PhWater1to25};
    matches!(method, PhWater | PhWater1to1 | PhWater1to2 | PhWater1to25 | PhWater1to5)
}

/// How a printed rate grows with the soil that the lime is mixed into.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Scale {
    /// With depth.
    Depth(Centimetres),
    /// With the mass of soil, kg/ha: for rates reckoned from charge per kilogram.
    SoilMass(f64),
    /// The depth was not stated where the method was read.
    NotStated,
}

/// What a publisher's rate is a rate of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Reference {
    /// Neutralising value of the lime, % of pure calcium carbonate; `None` where not stated,
    /// and then taken as 100, which never gives too much.
    pub value_percent: Option<f64>,
    pub scale: Scale,
    /// The unit that the publisher prints, with its ton.
    pub unit: RateUnit,
    /// The whole in words.
    pub words: &'static str,
}

/// A lime requirement.
#[derive(Clone, Debug, PartialEq)]
pub struct Requirement {
    pub method: LimeMethod,
    /// As the publisher reckons it: in its ton, of its lime, for its depth. Never below zero.
    pub printed: f64,
    pub reference: Reference,
    /// Pure, fine calcium carbonate for this plot's working depth. Never below zero.
    pub carbonate: KgPerHa,
    /// A value between printed rows or columns was worked out.
    pub interpolated: bool,
    pub working: Working,
    pub notes: Vec<String>,
}

impl Requirement {
    /// Pure calcium carbonate in kg/m².
    pub fn carbonate_kg_per_m2(&self) -> f64 {
        self.carbonate.grams_per_m2().0 / 1000.0
    }
}

/// An answer of one method in its own terms.
struct Printed {
    value: f64,
    working: Working,
    notes: Vec<String>,
    interpolated: bool,
}

/// The lime that a method asks for on a plot, or the sentence that says why it cannot tell.
///
/// A soil already at its target pH needs none, whatever its buffer says.
pub fn requirement(method: LimeMethod, soil: &Soil<'_>, aim: &Aim) -> Result<Requirement, String> {
    let reference = method.reference();
    let at_target = if method.has_target_ph() { at_target(soil, aim) } else { None };
    let printed = match at_target {
        Some(printed) => printed,
        None => method.reckon(soil, aim)?,
    };
    if !printed.value.is_finite() {
        return Err("These figures give no lime requirement.".into());
    }
    let mut notes = vec![format!("{}: {}.", method.label(), reference.words)];
    notes.extend(printed.notes);
    let unit = reference.unit;
    let value = reference.value_percent.unwrap_or(100.0);
    if reference.value_percent.is_none() {
        notes.push(
            "The strength of the lime that this rate is printed for was not stated where it was read; it is taken as pure calcium carbonate, so the true need may be a little more."
                .into(),
        );
    }
    let per_printed = unit.kg_per_ha() * value / 100.0;
    let mut inputs = vec![printed.working];
    let mut formula = format!("{} {} × {}", number(printed.value), unit.label(), number(unit.kg_per_ha()));
    if value != 100.0 {
        formula.push_str(&format!(" × {} ÷ 100", number(value)));
    }
    let ground = soil.ground;
    let factor = match reference.scale {
        Scale::Depth(depth) => {
            formula.push_str(&format!(" × {} cm ÷ {} cm", number(ground.depth.0), number(depth.0)));
            inputs.push(Working::leaf("Working depth", Figure::new(ground.depth.0, "cm", 0), Origin::Entered));
            ground.depth.0 / depth.0
        }
        Scale::SoilMass(kg_per_ha) => {
            let own = ground.layer().soil_kg_per_ha();
            formula.push_str(&format!(" × {} ÷ {} kg/ha of soil", number(own), number(kg_per_ha)));
            inputs.push(soil_working(ground));
            own / kg_per_ha
        }
        Scale::NotStated => {
            notes.push(format!(
                "The depth that this rate is for was not stated where it was read; it is not changed for this plot's {:.0}\u{a0}cm.",
                ground.depth.0
            ));
            1.0
        }
    };
    let kg_per_ha = (printed.value * per_printed * factor).max(0.0);
    formula.push_str(&format!(" = {} kg/ha of pure calcium carbonate", number(kg_per_ha)));
    let strength = Figure::new(value, "% of CaCO₃", 0);
    inputs.push(match reference.value_percent {
        Some(_) => Working::leaf("Strength of the publisher’s lime", strength, Origin::Published)
            .cite(methods::strength_source(method)),
        None => Working::leaf("Strength of the lime, not stated: taken as pure", strength, Origin::Chosen),
    });
    let figure = Figure::significant(kg_per_ha / 1000.0, "t/ha of CaCO₃", 2);
    let mut working = Working::step("Lime to give", figure, formula, inputs).cite(method.source());
    let mut carbonate = KgPerHa(kg_per_ha);
    if method != LimeMethod::NorthCarolina
        && carbonate.0 > 0.0
        && let Some((since, given)) = given::since_sample(&aim.given)
    {
        carbonate = KgPerHa((kg_per_ha - since.0).max(0.0));
        notes.push(format!(
            "{} t/ha of calcium carbonate went on after this sample, which knows nothing of it; all of it is taken off (our own rule).",
            number(since.0 / 1000.0)
        ));
        let formula =
            format!("{} − {} = {} kg/ha, not below zero", number(kg_per_ha), number(since.0), number(carbonate.0));
        let figure = Figure::significant(carbonate.0 / 1000.0, "t/ha of CaCO₃", 2);
        working = Working::step("Lime still to give", figure, formula, std::iter::once(working).chain(given));
    }
    working.notes.clone_from(&notes);
    Ok(Requirement {
        method,
        printed: printed.value,
        reference,
        carbonate,
        interpolated: printed.interpolated,
        working,
        notes,
    })
}

/// Every method with its answer or with what it lacks: for a page that shows them side by side.
pub fn all_methods(soil: &Soil<'_>, aim: &Aim) -> Vec<(LimeMethod, Result<Requirement, String>)> {
    LimeMethod::ALL.iter().map(|&method| (method, requirement(method, soil, aim))).collect()
}

/// Zero, where the soil is at its target already.
fn at_target(soil: &Soil<'_>, aim: &Aim) -> Option<Printed> {
    let (reading, ph) = soil.water_ph().ok()?;
    let told = matches!(reading.qualifier, Qualifier::Exact | Qualifier::Above);
    (told && aim.target_ph.is_finite() && ph >= aim.target_ph).then(|| {
        let target = Working::leaf("Target pH", Figure::new(aim.target_ph, "", 1), Origin::Chosen);
        let text = format!("pH {} is at or above the target of {}: none", number(ph), number(aim.target_ph));
        let inputs = [reading.working.clone(), target];
        Printed {
            value: 0.0,
            working: Working::step("Lime by the method", Figure::new(0.0, "", 0), text, inputs),
            notes: vec!["The soil is at its target already, so no lime is needed, whatever its buffer pH.".into()],
            interpolated: false,
        }
    })
}

impl LimeMethod {
    /// Who publishes it.
    pub const fn source(self) -> Source {
        methods::source(self)
    }

    /// What its rates are rates of.
    pub const fn reference(self) -> Reference {
        methods::reference(self)
    }

    /// Whether it limes to a pH, and not to a level of aluminium.
    pub const fn has_target_ph(self) -> bool {
        !matches!(self, LimeMethod::Kamprath | LimeMethod::Cregan)
    }

    fn reckon(self, soil: &Soil<'_>, aim: &Aim) -> Result<Printed, String> {
        match self {
            LimeMethod::NorthCarolina => methods::north_carolina(soil, aim),
            LimeMethod::ScmaCurve => methods::scma_curve(soil, aim),
            LimeMethod::ScmaTable => methods::scma_table(soil, aim),
            LimeMethod::OregonSikora => methods::oregon(soil, aim),
            LimeMethod::IrelandSmp => methods::ireland(soil, aim),
            LimeMethod::UnitedKingdom => methods::united_kingdom(soil, aim),
            LimeMethod::Kamprath => methods::aluminium(soil, aim, self),
            LimeMethod::Cregan => methods::aluminium(soil, aim, self),
        }
    }
}
