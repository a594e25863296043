//! One rule of a guideline: an analyte under named methods, in the unit that its publisher
//! prints. A value is brought to that unit, rounded to the printed precision, and only then
//! classified, so that no value falls between two printed bands. A rule never answers for a
//! method that it does not name.

use super::{IndexScale, Seam};
use crate::agronomy::{
    analyte::Analyte,
    element::Form,
    ground::Texture,
    method::Method,
    quantity::{CmolPerKg, DsPerM, LayerConvention, MgPerKg, MgPerL, Percent, SoilLayer},
    reading::Level,
    record::{Basis, Unit, keyed},
    source::{Citation, Evidence},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};

/// Where a level lies against an aim.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Position {
    /// Below the aim.
    Short,
    /// At the aim or within the publisher's best class.
    AtAim,
    /// Above the best class; harmless as far as the publisher says.
    Above,
    /// So high that the publisher warns of it.
    Excess,
    /// The publisher gives only what is usually found: no aim, so never a need.
    TypicalRangeOnly,
    /// The test does not say: a limit such as "<5" on the wrong side of the aim.
    NotKnown(String),
    /// No rule applies, and why.
    NoCriterion(String),
}

impl Position {
    /// As a person reads it.
    pub fn words(&self) -> &'static str {
        match self {
            Position::Short => "short",
            Position::AtAim => "at the aim",
            Position::Above => "above the aim",
            Position::Excess => "excess",
            Position::TypicalRangeOnly => "compared with what is usually found",
            Position::NotKnown(_) => "not known",
            Position::NoCriterion(_) => "no limits apply",
        }
    }
}

/// What the ground is used for, as far as published tables tell.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LandUse {
    #[default]
    Vegetables,
    Fruit,
    Arable,
    Grass,
}

keyed!(LandUse {
    Vegetables "vegetables" "vegetables",
    Fruit "fruit" "fruit",
    Arable "arable" "arable crops",
    Grass "grass" "grass",
});

/// The soil and crop that a rule was made for. An empty list or `None` means any.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct When {
    pub uses: Vec<LandUse>,
    pub textures: Vec<Texture>,
    /// From the first, up to but not including the second.
    pub ph: Option<(f64, f64)>,
    /// `true`: only with signs of free carbonate; `false`: only without.
    pub carbonate: Option<bool>,
}

/// The facts about a plot that the conditions of rules are held against.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Facts {
    pub land_use: LandUse,
    pub texture: Texture,
    pub ph: Option<f64>,
    /// Signs of free carbonate were seen.
    pub carbonate: bool,
}

impl When {
    /// Whether the rule applies, or the sentence that says why not.
    pub fn holds(&self, facts: &Facts) -> Result<(), String> {
        if !self.uses.is_empty() && !self.uses.contains(&facts.land_use) {
            let uses: Vec<_> = self.uses.iter().map(|c| c.label()).collect();
            return Err(format!("these limits are for {}", uses.join(", ")));
        }
        if !self.textures.is_empty() && !self.textures.contains(&facts.texture) {
            let textures: Vec<_> = self.textures.iter().map(|t| t.label()).collect();
            return Err(format!(
                "these limits are for {}; this plot is {}",
                textures.join(", "),
                facts.texture.label()
            ));
        }
        match (self.carbonate, facts.carbonate) {
            (Some(true), false) => return Err("these limits are for soil with free lime; none was seen here".into()),
            (Some(false), true) => return Err("these limits are for soil without free lime; this soil shows it".into()),
            _ => {}
        }
        match (self.ph, facts.ph) {
            (Some((low, high)), Some(ph)) if !(low..high).contains(&ph) => {
                Err(format!("these limits are for pH {low} to {high}; this soil reads {ph:.1}"))
            }
            (Some((low, high)), None) => Err(format!("these limits are for pH {low} to {high}, and no pH was read")),
            _ => Ok(()),
        }
    }

    /// Both conditions together; `None` where they contradict each other.
    pub fn and(&self, other: &When) -> Option<When> {
        fn both<T: Copy + PartialEq>(a: &[T], b: &[T]) -> Option<Vec<T>> {
            match (a.is_empty(), b.is_empty()) {
                (true, _) => Some(b.to_vec()),
                (_, true) => Some(a.to_vec()),
                _ => Some(a.iter().copied().filter(|x| b.contains(x)).collect()).filter(|c: &Vec<T>| !c.is_empty()),
            }
        }
        let ph = match (self.ph, other.ph) {
            (Some(a), Some(b)) => Some((a.0.max(b.0), a.1.min(b.1))),
            (a, b) => a.or(b),
        };
        let carbonate = match (self.carbonate, other.carbonate) {
            (Some(a), Some(b)) if a != b => return None,
            (a, b) => a.or(b),
        };
        if ph.is_some_and(|(low, high)| low >= high) {
            return None;
        }
        Some(When {
            uses: both(&self.uses, &other.uses)?,
            textures: both(&self.textures, &other.textures)?,
            ph,
            carbonate,
        })
    }
}

impl fmt::Display for When {
    /// The soils and crops that a rule is for; empty for any.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let mut words = Vec::new();
        if !self.uses.is_empty() {
            words.push(self.uses.iter().map(|land_use| land_use.label()).collect::<Vec<_>>().join(", "));
        }
        if !self.textures.is_empty() {
            words.push(self.textures.iter().map(|texture| texture.label()).collect::<Vec<_>>().join(", "));
        }
        if let Some((low, high)) = self.ph {
            words.push(match (low, high) {
                (low, high) if low <= 0.0 => format!("pH below {high}"),
                (low, high) if high >= 14.0 => format!("pH {low} or more"),
                (low, high) => format!("pH {low} to below {high}"),
            });
        }
        match self.carbonate {
            Some(true) => words.push("soil with free lime".into()),
            Some(false) => words.push("soil without free lime".into()),
            None => {}
        }
        f.write_str(&words.join("; "))
    }
}

/// One class of a published table.
#[derive(Clone, Debug, PartialEq)]
pub struct Class {
    /// In the publisher's own words.
    pub name: String,
    /// The band as printed: "72-137".
    pub printed: String,
    /// Lowest value of the class at the printed precision, in the printed unit.
    pub from: f64,
    pub position: Position,
}

/// A published table of classes, low to high; total by construction: every number has one class.
#[derive(Clone, Debug, PartialEq)]
pub struct Classes {
    pub classes: Vec<Class>,
    /// Which class is the best, or the lowest of the best.
    pub optimum: usize,
    /// In the printed unit.
    pub aim: f64,
    /// Why this aim within the best class.
    pub aim_why: String,
    /// Where the aim is known from, if not from the table itself.
    pub aim_source: Option<Citation>,
    pub seams: Vec<Seam>,
    /// The highest value that the publisher prints, where the last band has an upper end.
    pub printed_to: Option<f64>,
}

impl Classes {
    /// The class of a value in the printed unit, rounded to `decimals` first.
    pub fn classify(&self, printed: f64, decimals: u8) -> &Class {
        let value = round_to(printed, decimals);
        let at = self.classes.iter().rposition(|class| value >= class.from - 1e-9).unwrap_or(0);
        &self.classes[at]
    }

    /// The value from which the publisher warns of excess, in the printed unit.
    pub fn ceiling(&self) -> Option<f64> {
        self.classes.iter().find(|c| c.position == Position::Excess).map(|c| c.from)
    }

    /// The lowest value above the best class, in the printed unit.
    pub fn above(&self) -> Option<f64> {
        self.classes.iter().find(|c| c.position > Position::AtAim).map(|c| c.from)
    }
}

/// Rounds half away from zero at a decimal, forgiving the last bits of a conversion
/// (24.499999999 that was 24.5 on paper).
pub fn round_to(value: f64, decimals: u8) -> f64 {
    let scale = 10f64.powi(i32::from(decimals));
    let scaled = value * scale;
    (scaled + scaled.signum() * scaled.abs() * 1e-12).round() / scale
}

/// A limit in mg/kg with its own source: the floor or ceiling under a saturation aim.
#[derive(Clone, Debug, PartialEq)]
pub struct Limit {
    pub mg_per_kg: MgPerKg,
    pub source: Citation,
    /// Somebody set it in a copy; it is no publisher's figure.
    pub own: bool,
}

/// A share of the exchange capacity that a cation should hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Saturation {
    /// As printed: "10-20", "10".
    pub printed: String,
    /// Percent of capacity.
    pub low: f64,
    /// Percent of capacity; `None` where the publisher gives a single ideal.
    pub high: Option<f64>,
    /// Percent of capacity, within the range.
    pub aim: f64,
    pub aim_why: String,
    /// The aim never goes below this, however small the capacity.
    pub floor: Option<Limit>,
    /// Nor above this, however large.
    pub ceiling: Option<Limit>,
}

/// The kinds of rule.
#[derive(Clone, Debug, PartialEq)]
pub enum Rule {
    Classes(Classes),
    /// Short below `critical`; from `high` on the publisher warns.
    Critical {
        critical: f64,
        high: Option<f64>,
    },
    /// An index of level and pH: constant + per_unit × level − per_ph × pH, deficient below `critical`.
    AvailabilityIndex {
        constant: f64,
        per_unit: f64,
        per_ph: f64,
        critical: f64,
        high: Option<f64>,
    },
    Saturation(Saturation),
    /// What is usually found; never an aim.
    Typical {
        printed: String,
        low: f64,
        high: Option<f64>,
    },
    /// The publisher, or sound practice on this soil, sets no aim, and why.
    LeftAlone(String),
}

/// That a rule is not as its publisher printed it: somebody changed it in a copy, or added it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Changed {
    pub by: String,
    pub on: Date,
    /// The version of the copy that it was last changed in; 0 where that was not kept.
    #[serde(default)]
    pub version: i64,
    /// What is aimed at, or the figures of a rate, are still the publisher's own.
    #[serde(default)]
    pub kept: bool,
    /// The limits as they were printed; empty for a rule that was added.
    #[serde(default)]
    pub printed: String,
    /// Where they were printed.
    pub source: Option<Citation>,
}

impl Changed {
    /// "Own figures of Ines Moreau, 21 Mar 2026, version 2; changed from what University of
    /// Delaware printed: Low 0-70 …".
    pub fn beside_publisher(&self) -> String {
        let own = format!("Own figures of {}", self.who_and_when());
        match &self.source {
            Some(source) => format!("{own}; changed from what {} printed: {}.", source.publisher, self.printed),
            None => format!("{own}; no publisher printed them."),
        }
    }

    /// "Ines Moreau, 21 Mar 2026, version 2".
    pub fn who_and_when(&self) -> String {
        let on = self.on.strftime("%-d %b %Y");
        match self.version {
            0 => format!("{}, {on}", self.by),
            version => format!("{}, {on}, version {version}", self.by),
        }
    }
}

/// One rule with everything needed to apply and to cite it.
#[derive(Clone, Debug, PartialEq)]
pub struct Criterion {
    pub analyte: Analyte,
    /// The methods that the limits were calibrated for.
    pub methods: Vec<Method>,
    /// The unit, form and basis that the publisher prints.
    pub unit: Unit,
    pub form: Option<Form>,
    pub basis: Basis,
    /// The limits are points of an index, each worth so much of the unit.
    pub index: Option<IndexScale>,
    /// What a point of an index that the publisher prints beside is worth, in the printed unit; it is
    /// shown beside the class and judges nothing.
    pub own_index: Option<f64>,
    /// The publisher's mass of soil, for limits per area.
    pub layer: Option<LayerConvention>,
    /// Printed precision.
    pub decimals: u8,
    pub when: When,
    pub rule: Rule,
    pub source: Citation,
    /// Tables known only from memory are off unless switched on.
    pub in_force: bool,
    /// A person switched it off; switching on what is from memory leaves it so.
    pub off: bool,
    /// The slug of the set that prints it; differs from the guideline's own in a collection.
    pub set: String,
    /// In a copy that was edited: who changed it, and what its publisher had printed.
    pub changed: Option<Changed>,
    pub notes: Vec<String>,
}

/// The kinds of quantity between which there is no conversion.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Kind {
    Mass,
    Volume,
    Charge,
    Share,
    Conductivity,
    Ph,
}

impl Criterion {
    /// The kind of quantity that the limits are in, and what a printed unit of it is in canonical units.
    fn scale(&self) -> Option<(Kind, f64)> {
        let (kind, factor) = self.unit_scale()?;
        Some((kind, factor * self.index.as_ref().map_or(1.0, |index| index.per_point)))
    }

    fn unit_scale(&self) -> Option<(Kind, f64)> {
        let form = self.form.map_or(1.0, Form::to_element);
        let mass = |factor: f64| match self.basis {
            Basis::Mass => (Kind::Mass, factor * form),
            Basis::Volume => (Kind::Volume, factor * form),
        };
        let per_area = |kg_per_ha: f64| {
            let layer = SoilLayer::Convention(self.layer?);
            (self.basis == Basis::Mass).then(|| (Kind::Mass, kg_per_ha * form * 1e6 / layer.soil_kg_per_ha()))
        };
        Some(match self.unit {
            Unit::MgPerKg | Unit::Ppm => mass(1.0),
            Unit::MgPerL => (Kind::Volume, form),
            Unit::MgPer100g => mass(10.0),
            Unit::GPerKg => mass(1000.0),
            Unit::LbPerAcre => return per_area(crate::agronomy::quantity::KG_PER_HA_PER_LB_PER_ACRE),
            Unit::KgPerHa => return per_area(1.0),
            Unit::MeqPer100g | Unit::CmolPerKg => (Kind::Charge, 1.0),
            Unit::MmolPerKg => (Kind::Charge, 0.1),
            Unit::Percent => (Kind::Share, 1.0),
            Unit::DsPerM | Unit::MsPerCm => (Kind::Conductivity, 1.0),
            Unit::UsPerCm => (Kind::Conductivity, 0.001),
            Unit::Ph => (Kind::Ph, 1.0),
            Unit::MeqPer100cm3 | Unit::ToOne => return None,
        })
    }

    /// Whether the printed unit can be compared with readings at all.
    pub fn unit_is_usable(&self) -> bool {
        self.scale().is_some()
    }

    /// A level in the unit that the publisher prints, or why it cannot be brought to it.
    pub fn to_printed(&self, level: Level) -> Result<f64, String> {
        let (kind, factor) = self.scale().ok_or_else(|| format!("{} cannot be compared with a reading", self.unit))?;
        let cation = self.analyte.element().and_then(|e| e.mg_per_cmol_charge());
        let canonical = match (kind, level) {
            (Kind::Mass, Level::MgPerKg(v)) => v.0,
            (Kind::Mass, Level::CmolPerKg(v)) if cation.is_some() => v.0 * cation.unwrap_or(1.0),
            (Kind::Charge, Level::CmolPerKg(v)) => v.0,
            (Kind::Charge, Level::MgPerKg(v)) if cation.is_some() => v.0 / cation.unwrap_or(1.0),
            (Kind::Volume, Level::MgPerL(v)) => v.0,
            (Kind::Share, Level::Percent(v)) => v.0,
            (Kind::Conductivity, Level::DsPerM(v)) => v.0,
            (Kind::Ph, Level::Ph(v)) => v,
            (Kind::Volume, Level::MgPerKg(_)) => {
                return Err(
                    "these limits count by volume of soil and the sheet by mass; field density must not join them"
                        .into(),
                );
            }
            (Kind::Mass, Level::MgPerL(_)) => {
                return Err(
                    "these limits count by mass of soil and the sheet by volume; field density must not join them"
                        .into(),
                );
            }
            _ => return Err(format!("these limits are in {} and the reading in {}", self.unit, level.unit())),
        };
        Ok(canonical / factor)
    }

    /// A printed limit in the unit of the reading it is held against.
    pub fn to_level(&self, printed: f64, like: Level) -> Option<Level> {
        let (kind, factor) = self.scale()?;
        let value = printed * factor;
        let cation = self.analyte.element().and_then(|e| e.mg_per_cmol_charge());
        Some(match (kind, like) {
            (Kind::Mass, Level::CmolPerKg(_)) => Level::CmolPerKg(CmolPerKg(value / cation?)),
            (Kind::Mass, _) => Level::MgPerKg(MgPerKg(value)),
            (Kind::Charge, Level::MgPerKg(_)) => Level::MgPerKg(MgPerKg(value * cation?)),
            (Kind::Charge, _) => Level::CmolPerKg(CmolPerKg(value)),
            (Kind::Volume, _) => Level::MgPerL(MgPerL(value)),
            (Kind::Share, _) => Level::Percent(Percent(value)),
            (Kind::Conductivity, _) => Level::DsPerM(DsPerM(value)),
            (Kind::Ph, _) => Level::Ph(value),
        })
    }

    /// The printed unit with its form: "lb/acre", "mg/L", "mg/kg P2O5", "points of 1.2 mg/L".
    pub fn unit_words(&self) -> String {
        if let Some(index) = &self.index {
            return format!("points of {} {}", index.per_point, self.unit);
        }
        match self.form {
            Some(form) => format!("{} {form}", self.unit),
            None if self.unit == Unit::Ph => String::new(),
            None => self.unit.to_string(),
        }
    }

    /// Whether it is known only from memory.
    pub fn is_from_memory(&self) -> bool {
        self.source.evidence == Evidence::Memory
    }
}

/// The name of a class in an index system such as 0, 1, 2-, 2+, 3: the halves of 2 come in
/// that order, which their text does not ("2+" sorts before "2-").
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Index {
    number: u8,
    half: i8,
}

impl Index {
    /// The index without its half: 2 of "2+".
    pub fn number(self) -> u8 {
        self.number
    }
}

impl FromStr for Index {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        let (digits, half) = match text.strip_suffix(['-', '−', '+']) {
            Some(digits) if text.ends_with('+') => (digits, 1),
            Some(digits) => (digits, -1),
            None => (text, 0),
        };
        let number = digits.parse().map_err(|_| format!("“{text}” is not an index such as 2, 2- or 2+"))?;
        Ok(Index { number, half })
    }
}

impl fmt::Display for Index {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let half = match self.half {
            0 => "",
            h if h < 0 => "-",
            _ => "+",
        };
        write!(f, "{}{half}", self.number)
    }
}
