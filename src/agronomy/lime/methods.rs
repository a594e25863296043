//! The methods of lime requirement, one function each, in their publishers' own terms. None
//! of them looks at another's buffer, and none answers outside the range it was printed for.

use super::{
    Aim, LimeMethod, Printed, Reference, Scale, Soil, UkSoil,
    table::{Found, OREGON, SCMA},
};
use crate::agronomy::{
    exchange_capacity::acidity_from_buffer,
    guideline::LandUse,
    method::Method,
    quantity::Centimetres,
    rate::RateUnit,
    reading::{Divisors, Level, Reading, charge, number},
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

const fn scma(title: &'static str) -> Source {
    Source {
        publisher: "Rayment & Lyons, CSIRO Publishing",
        title,
        year: 2011,
        address: "https://github.com/ANZSoilData/def-au-scma",
        evidence: Evidence::Read,
    }
}

pub(super) const fn source(method: LimeMethod) -> Source {
    match method {
        LimeMethod::NorthCarolina => Source {
            publisher: "North Carolina Department of Agriculture & Consumer Services",
            title: "Lime from the Mehlich buffer: acidity × (target pH − pH) ÷ (6.6 − pH) − residual credit",
            year: 0,
            address: "http://www.ncagr.gov/agronomi/bufftab1.htm",
            evidence: Evidence::Read,
        },
        LimeMethod::ScmaCurve => scma("Soil Chemical Methods – Australasia, method 16C1: 0.1 × BAC² + BAC"),
        LimeMethod::ScmaTable => scma("Soil Chemical Methods – Australasia, table 16.2"),
        LimeMethod::OregonSikora => Source {
            publisher: "Oregon State University Extension",
            title: "EM 9585, lime by Sikora buffer pH",
            year: 2025,
            address: "",
            evidence: Evidence::Read,
        },
        LimeMethod::IrelandSmp => Source {
            publisher: "Teagasc",
            title: "Calculating lime advice: (target SMP − SMP) × 12.5",
            year: 2023,
            address: "https://www.teagasc.ie/about/farm-advisory/advisory-regions/cork-east/farm-advice/calculating-lime-advice/",
            evidence: Evidence::Read,
        },
        LimeMethod::UnitedKingdom => Source {
            publisher: "AHDB RB209, as farm pages quote it",
            title: "Lime: (target pH − pH) × a factor of the soil",
            year: 0,
            address: "https://www.dblbuyinggroup.co.uk/news/lime-time/",
            evidence: Evidence::Quoted,
        },
        LimeMethod::Kamprath => scma("Soil Chemical Methods – Australasia, method 16A1 (after Kamprath)"),
        LimeMethod::Cregan => scma("Soil Chemical Methods – Australasia, method 16B1 (after Cregan)"),
    }
}

/// Who says how strong the lime is that a method's rates are printed for.
pub(super) const fn strength_source(method: LimeMethod) -> Source {
    match method {
        LimeMethod::IrelandSmp => Source {
            publisher: "Agriland, quoting Teagasc and S.I. 248 of 1978",
            title: "Ground limestone must have a total neutralising value above 90 %",
            year: 0,
            address: "https://www.agriland.ie/farming-news/heres-why-irish-farmers-spread-over-850000t-of-lime-in-2014/",
            evidence: Evidence::Quoted,
        },
        other => source(other),
    }
}

pub(super) const fn reference(method: LimeMethod) -> Reference {
    match method {
        LimeMethod::NorthCarolina => Reference {
            value_percent: None,
            scale: Scale::NotStated,
            unit: RateUnit::TonPerAcre,
            words: "short tons (2,000 lb) per acre",
        },
        LimeMethod::ScmaCurve => Reference {
            value_percent: Some(90.0),
            scale: Scale::Depth(Centimetres(20.0)),
            unit: RateUnit::TonnePerHa,
            words: "tonnes per hectare of lime of 90 % value, for 20 cm of soil",
        },
        LimeMethod::ScmaTable => Reference {
            value_percent: None,
            scale: Scale::Depth(Centimetres(10.0)),
            unit: RateUnit::TonnePerHa,
            words: "tonnes per hectare for 10 cm of soil",
        },
        LimeMethod::OregonSikora => Reference {
            value_percent: Some(100.0),
            scale: Scale::Depth(Centimetres(15.24)),
            unit: RateUnit::TonPerAcre,
            words: "short tons (2,000 lb) per acre of 100-score lime, for 6 in (15 cm) of soil",
        },
        LimeMethod::IrelandSmp => Reference {
            value_percent: Some(90.0),
            scale: Scale::NotStated,
            unit: RateUnit::TonnePerHa,
            words: "tonnes per hectare of ground limestone, whose neutralising value Irish rules put at 90 % or more",
        },
        LimeMethod::UnitedKingdom => Reference {
            value_percent: None,
            scale: Scale::NotStated,
            unit: RateUnit::TonnePerHa,
            words: "tonnes per hectare of ground limestone or chalk",
        },
        LimeMethod::Kamprath => Reference {
            value_percent: Some(100.0),
            scale: Scale::SoilMass(1.0e6),
            unit: RateUnit::KgPerHa,
            words: "kilograms of calcium carbonate per hectare, for 10 cm of soil at 1.0 g/cm³",
        },
        LimeMethod::Cregan => Reference {
            value_percent: Some(90.0),
            scale: Scale::SoilMass(1.3e6),
            unit: RateUnit::KgPerHa,
            words: "kilograms per hectare of lime of 90 % value, for 10 cm of soil at 1.3 g/cm³",
        },
    }
}

/// The target above which North Carolina's formula has no meaning: its buffer starts there.
pub const NORTH_CAROLINA_CEILING: f64 = 6.6;

fn target(aim: &Aim) -> Working {
    Working::leaf("Target pH", Figure::new(aim.target_ph, "", 1), Origin::Chosen)
}

fn step(value: f64, unit: &str, formula: String, inputs: Vec<Working>, source: Source) -> Working {
    Working::step("Lime by the method", Figure::new(value, unit, 2), formula, inputs).cite(source)
}

/// Says that nothing told whether the soil is at its target already.
fn unseen_ph(soil: &Soil<'_>) -> Vec<String> {
    match soil.water_ph() {
        Ok(_) => vec![],
        Err(why) => vec![format!("{why} A soil already at its target needs no lime, and that could not be checked.")],
    }
}

pub(super) fn north_carolina(soil: &Soil<'_>, aim: &Aim) -> Result<Printed, String> {
    let (ph_reading, ph) = soil.water_ph()?;
    if aim.target_ph > NORTH_CAROLINA_CEILING || !aim.target_ph.is_finite() {
        return Err(format!(
            "The formula divides by the distance from the soil's pH to {NORTH_CAROLINA_CEILING}, where its buffer starts; it cannot lime to pH {}.",
            aim.target_ph
        ));
    }
    let acidity = soil.acidity.filter(|r| matches!(r.level, Level::CmolPerL(_)));
    let (acidity, acidity_working) = match acidity {
        Some(reading) => (reading.level.number(), reading.working.clone()),
        None => {
            let (reading, _) = soil.buffer(&Method::BufferMehlich)?;
            let (level, working) = acidity_from_buffer(reading).map_err(|withheld| withheld.reason)?;
            (level.number(), working)
        }
    };
    let room = NORTH_CAROLINA_CEILING - ph;
    if room <= 0.0 || room.is_nan() {
        return Err(format!("At pH {ph} the formula divides by zero or less; it is for soil below pH 6.6."));
    }
    let factor = (aim.target_ph - ph) / room;
    let mut inputs = vec![acidity_working, ph_reading.working.clone(), target(aim)];
    let mut formula =
        format!("{} × ({} − {}) ÷ (6.6 − {})", number(acidity), number(aim.target_ph), number(ph), number(ph));
    let mut credit = 0.0;
    let per_month = if aim.organic_soil { 0.16 } else { 0.08 };
    for given in &aim.given {
        let (tons, months) = (RateUnit::TonPerAcre.show(given.carbonate), given.months_before_sample);
        let left = (tons * (1.0 - per_month * months.max(0.0))).max(0.0);
        if left <= 0.0 {
            continue;
        }
        let text = format!("{} × (1 − {per_month} × {}) = {} ton/acre", number(tons), number(months), number(left));
        inputs.push(
            Working::step("Lime still to react", Figure::new(left, "ton/acre", 2), text, [given.working.clone()])
                .cite(source(LimeMethod::NorthCarolina)),
        );
        formula.push_str(&format!(" − {}", number(left)));
        credit += left;
    }
    let tons = (acidity * factor - credit).max(0.0);
    formula.push_str(&format!(" = {} ton/acre", number(tons)));
    let working = step(tons, "ton/acre", formula, inputs, source(LimeMethod::NorthCarolina))
        .note("The publisher's own example prints 0.76 for 1.2 × 0.625, which is 0.75.");
    Ok(Printed { value: tons, working, notes: vec![], interpolated: false })
}

pub(super) fn scma_curve(soil: &Soil<'_>, aim: &Aim) -> Result<Printed, String> {
    if let Ok((_, ph)) = soil.water_ph()
        && ph >= 6.5
    {
        return Err(format!("The curve is for soil below pH 6.5; this one reads {ph}."));
    }
    let (reading, buffer) = soil.buffer(&Method::BufferMehlich)?;
    let doses = if aim.second_buffer_dose { 2.0 } else { 1.0 };
    let bac = ((6.6 - buffer) / 0.25 * doses).max(0.0);
    let sensitive = if aim.sensitive_crop { 1.5 } else { 1.0 };
    let rate = (0.1 * bac * bac + bac) * sensitive;
    let twice = if aim.second_buffer_dose { " × 2" } else { "" };
    let bac_working = Working::step(
        "Acidity from the buffer",
        Figure::new(bac, "cmol(+)/L", 2),
        format!("(6.6 − {}) ÷ 0.25{twice} = {}", number(buffer), number(bac)),
        [reading.working.clone()],
    );
    let more = if aim.sensitive_crop { " × 1.5" } else { "" };
    let formula = format!("(0.1 × {0}² + {0}){more} = {1} t/ha", number(bac), number(rate));
    let working = step(rate, "t/ha", formula, vec![bac_working], source(LimeMethod::ScmaCurve));
    let mut notes = unseen_ph(soil);
    notes.push("The curve names no target pH of its own; the target chosen only says when no lime is needed.".into());
    Ok(Printed { value: rate, working, notes, interpolated: false })
}

fn from_table(
    found: Found,
    reading: &Reading,
    buffer: f64,
    aim: &Aim,
    method: LimeMethod,
    mut notes: Vec<String>,
) -> Printed {
    let unit = match reference(method).unit {
        RateUnit::TonPerAcre => "ton/acre",
        _ => "t/ha",
    };
    let formula = format!(
        "buffer pH {}, target pH {}: {} {unit}, {}",
        number(buffer),
        number(aim.target_ph),
        number(found.value),
        found.words
    );
    let inputs = vec![reading.working.clone(), target(aim)];
    if found.interpolated {
        notes.push(format!("The table does not print this; it stands {}.", found.words));
    }
    let working = step(found.value, unit, formula, inputs, source(method));
    Printed { value: found.value, working, notes, interpolated: found.interpolated }
}

pub(super) fn scma_table(soil: &Soil<'_>, aim: &Aim) -> Result<Printed, String> {
    let (reading, buffer) = soil.buffer(&Method::BufferMehlich)?;
    let found = SCMA.look_up(buffer, aim.target_ph)?;
    let mut notes = unseen_ph(soil);
    if buffer > 6.0 && aim.target_ph < 6.5 {
        notes.push("The table prints “<0.5” here: the true need is this or less.".into());
    }
    Ok(from_table(found, reading, buffer, aim, LimeMethod::ScmaTable, notes))
}

pub(super) fn oregon(soil: &Soil<'_>, aim: &Aim) -> Result<Printed, String> {
    let (reading, buffer) = soil.buffer(&Method::BufferSikora)?;
    let found = OREGON.look_up(buffer, aim.target_ph)?;
    Ok(from_table(found, reading, buffer, aim, LimeMethod::OregonSikora, unseen_ph(soil)))
}

pub(super) fn ireland(soil: &Soil<'_>, aim: &Aim) -> Result<Printed, String> {
    let (reading, smp) = soil.buffer(&Method::BufferSmp)?;
    let rate = ((aim.target_smp - smp) * 12.5).max(0.0);
    let formula = format!("({} − {}) × 12.5 = {} t/ha", number(aim.target_smp), number(smp), number(rate));
    let goal = Working::leaf("Target SMP", Figure::new(aim.target_smp, "", 1), Origin::Published)
        .cite(source(LimeMethod::IrelandSmp))
        .note("6.7 is printed for grass on mineral soil.");
    let working = step(rate, "t/ha", formula, vec![goal, reading.working.clone()], source(LimeMethod::IrelandSmp))
        .note("Printed without brackets; read literally it would be below zero.");
    Ok(Printed { value: rate, working, notes: unseen_ph(soil), interpolated: false })
}

/// The factor of a soil, t/ha per pH unit.
fn uk_factor(soil: UkSoil) -> (f64, Source) {
    let light = Source {
        publisher: "DBL, a British farm buying group",
        title: "Lime time: rates on arable land, each (6.7 − pH) × 6",
        year: 0,
        address: "https://www.dblbuyinggroup.co.uk/news/lime-time/",
        evidence: Evidence::Read,
    };
    let others = Source {
        publisher: "AHDB RB209, as farm pages quote it",
        title: "Lime factors 6, 7 and 8 for light, medium and clay soil (7 and 8 seen only at second hand)",
        year: 0,
        address: "",
        evidence: Evidence::Quoted,
    };
    match soil {
        UkSoil::Light => (6.0, light),
        UkSoil::Medium => (7.0, others),
        UkSoil::Clay => (8.0, others),
    }
}

pub(super) fn united_kingdom(soil: &Soil<'_>, aim: &Aim) -> Result<Printed, String> {
    let (reading, ph) = soil.water_ph()?;
    let (factor, factor_source) = uk_factor(aim.uk_soil);
    let rate = ((aim.target_ph - ph) * factor).max(0.0);
    let formula = format!("({} − {}) × {factor} = {} t/ha", number(aim.target_ph), number(ph), number(rate));
    let leaf = Working::leaf(
        format!("Factor for {}", aim.uk_soil.label()),
        Figure::new(factor, "t/ha per pH unit", 0),
        Origin::Published,
    )
    .cite(factor_source);
    let inputs = vec![target(aim), reading.working.clone(), leaf];
    let mut notes = vec![];
    if factor_source.evidence != Evidence::Read {
        notes.push("The factor for this soil was seen only at second hand; that for light soil was read.".into());
    }
    Ok(Printed {
        value: rate,
        working: step(rate, "t/ha", formula, inputs, source(LimeMethod::UnitedKingdom)),
        notes,
        interpolated: false,
    })
}

pub(super) fn aluminium(soil: &Soil<'_>, aim: &Aim, method: LimeMethod) -> Result<Printed, String> {
    let reading = soil.aluminium.ok_or(
        "There is no exchangeable aluminium on the sheet; enter aluminium by potassium chloride as a line of it.",
    )?;
    if reading.method != Method::PotassiumChloride {
        return Err(format!(
            "This method asks for aluminium exchanged by potassium chloride; the sheet's is by {}, which draws out far more.",
            reading.method.label()
        ));
    }
    let Some((Level::CmolPerKg(found), working)) = charge(reading, &Divisors::exact()) else {
        return Err("Aluminium by volume of soil cannot be brought to charge by mass.".into());
    };
    let (factor, borne) = match method {
        LimeMethod::Cregan => (1300.0, aim.tolerable_aluminium.0.max(0.0)),
        _ => (750.0, 0.0),
    };
    let rate = (factor * (found.0 - borne)).max(0.0);
    let mut inputs = vec![working];
    let formula = if method == LimeMethod::Cregan {
        let borne_leaf =
            Working::leaf("Aluminium that the crop bears", Figure::new(borne, "cmol(+)/kg", 2), Origin::Chosen);
        inputs.push(borne_leaf);
        format!("{factor} × ({} − {}) = {} kg/ha", number(found.0), number(borne), number(rate))
    } else {
        format!("{factor} × {} = {} kg/ha", number(found.0), number(rate))
    };
    Ok(Printed {
        value: rate,
        working: step(rate, "kg/ha", formula, inputs, source(method)),
        notes: vec!["This limes away harmful aluminium; it does not aim at a pH.".into()],
        interpolated: false,
    })
}

/// A pH that British advice aims at: the optimum, and the target 0.2 above it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UkPh {
    pub land_use: LandUse,
    /// A crop that comes between, which raises the optimum of the use; empty: none.
    pub with: &'static str,
    /// Mineral, peaty or organic.
    pub soil: &'static str,
    pub optimum: f64,
    pub source: Source,
}

impl UkPh {
    /// The pH to lime to.
    pub fn target(&self) -> f64 {
        ((self.optimum + 0.2) * 10.0).round() / 10.0
    }

    /// "grass with occasional barley, peaty soil".
    pub fn words(&self) -> String {
        let with = if self.with.is_empty() { String::new() } else { format!(" with {}", self.with) };
        format!("{}{with}, {} soil", self.land_use.label(), self.soil)
    }
}

const fn uk(land_use: LandUse, soil: &'static str, optimum: f64, evidence: Evidence) -> UkPh {
    UkPh {
        land_use,
        with: "",
        soil,
        optimum,
        source: Source {
            publisher: "AHDB",
            title: "Nutrient Management Guide (RB209), optimum soil pH",
            year: 0,
            address: "",
            evidence,
        },
    }
}

/// Barley bears less acidity than grass, wheat or oats.
const OCCASIONAL_BARLEY: &str = "occasional barley";

const fn uk_barley(soil: &'static str, optimum: f64, evidence: Evidence) -> UkPh {
    UkPh { with: OCCASIONAL_BARLEY, ..uk(LandUse::Grass, soil, optimum, evidence) }
}

/// Optimum pH in Britain. The heads of the columns were scrambled in the copy read: mineral and
/// peaty are sure, "organic" is probable.
pub const UK_PH: &[UkPh] = &[
    uk(LandUse::Arable, "mineral", 6.5, Evidence::Read),
    uk(LandUse::Arable, "peaty", 5.8, Evidence::Read),
    uk(LandUse::Arable, "organic", 6.0, Evidence::Derived),
    uk(LandUse::Grass, "mineral", 6.0, Evidence::Read),
    uk(LandUse::Grass, "peaty", 5.3, Evidence::Read),
    uk(LandUse::Grass, "organic", 5.5, Evidence::Derived),
    uk_barley("mineral", 6.2, Evidence::Read),
    uk_barley("peaty", 5.5, Evidence::Read),
    uk_barley("organic", 5.7, Evidence::Derived),
];

/// The British optimum for a use on mineral, peaty or organic soil. Vegetables take the arable
/// value, which is the only one read for cropped land. Grass is continuous, or with occasional
/// wheat or oats.
pub fn uk_ph(land_use: LandUse, soil: &str) -> Option<UkPh> {
    let land_use = if land_use == LandUse::Grass { LandUse::Grass } else { LandUse::Arable };
    UK_PH.iter().copied().find(|row| row.land_use == land_use && row.with.is_empty() && row.soil == soil)
}

/// The British optimum of grass where barley is grown now and then.
pub fn uk_ph_with_barley(soil: &str) -> Option<UkPh> {
    UK_PH.iter().copied().find(|row| row.with == OCCASIONAL_BARLEY && row.soil == soil)
}
