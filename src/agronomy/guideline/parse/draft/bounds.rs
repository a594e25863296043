//! The limits of a rule as they can be typed: what is wrong with them as sentences by their fields,
//! and how they are written into a table of a guideline's text.

use crate::agronomy::{
    analyte::Analyte,
    guideline::{
        Class, ClassIs, Criterion, Index, Position, Rule,
        parse::{Citation, RawAvailability, RawClass, RawLimit, RawRow, RawTable},
        round_to,
    },
    record::Unit,
};

/// Why an aim that somebody set here is aimed at.
pub(super) const CHOSEN: &str = "Chosen here.";

/// The limits of a rule as they can be typed, in the printed unit.
#[derive(Clone, Debug, PartialEq)]
pub struct Bounds {
    pub unit: Unit,
    /// Results are rounded to so many decimals before they are held against the limits; 4 at most.
    pub decimals: u8,
    /// Where the limits are points of an index: what a point is worth in the unit; above zero.
    pub per_point: Option<f64>,
    pub bands: Bands,
}

/// The kinds of limit that can be edited.
#[derive(Clone, Debug, PartialEq)]
pub enum Bands {
    /// Classes, low to high, and the value aimed at.
    Classes { classes: Vec<ClassBound>, aim: f64 },
    /// Short below `critical`; too much from `high` on.
    Critical { critical: f64, high: Option<f64> },
    /// Short below `critical` of constant + per_unit × level − per_ph × pH; too much from `high` on.
    Availability { constant: f64, per_unit: f64, per_ph: f64, critical: f64, high: Option<f64> },
    /// Shares of the exchange capacity in percent, and the mg/kg that the aim never leaves.
    Saturation { low: f64, high: Option<f64>, aim: f64, floor: Option<f64>, ceiling: Option<f64> },
    /// What is usually found; 0 and `None` where that side is open.
    Typical { low: f64, high: Option<f64> },
    /// No aim, and why.
    LeftAlone { why: String },
}

/// A class by its upper end.
#[derive(Clone, Debug, PartialEq)]
pub struct ClassBound {
    pub name: String,
    pub is: ClassIs,
    /// The highest value in it; `None` only for the highest class, which has no end.
    pub up_to: Option<f64>,
}

/// What of a rule a fault is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Field {
    Unit,
    /// The classes as a whole.
    Classes,
    Name(usize),
    Is(usize),
    UpTo(usize),
    Aim,
    Critical,
    High,
    PerPoint,
    PerUnit,
    PerPh,
    Low,
    Floor,
    Ceiling,
    Why,
}

/// What is wrong with limits as typed, as a sentence.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    pub field: Field,
    pub says: String,
}

/// The units that limits for an analyte can be in; those per area need the guideline's mass of soil.
pub fn units_for(analyte: Analyte, has_layer: bool) -> Vec<Unit> {
    use Unit::*;
    let by_mass = [MgPerKg, Ppm, MgPerL, MgPer100g, GPerKg];
    let per_area = [LbPerAcre, KgPerHa].into_iter().filter(|_| has_layer);
    let by_charge = [CmolPerKg, MeqPer100g, MmolPerKg];
    match analyte {
        Analyte::Ph | Analyte::BufferPh => vec![Ph],
        Analyte::Conductivity => vec![DsPerM, MsPerCm, UsPerCm],
        Analyte::ExchangeCapacity | Analyte::Acidity => by_charge.to_vec(),
        Analyte::Element(element) if element.cation_charge().is_some() => {
            by_mass.into_iter().chain(per_area).chain(by_charge).collect()
        }
        Analyte::Element(_) | Analyte::NitrateN | Analyte::AmmoniumN => by_mass.into_iter().chain(per_area).collect(),
        Analyte::Saturation(_)
        | Analyte::BaseSaturation
        | Analyte::OrganicMatter
        | Analyte::OrganicCarbon
        | Analyte::Carbonate
        | Analyte::Clay => vec![Percent],
        Analyte::Ratio(..) => vec![],
    }
}

pub(super) fn step(decimals: u8) -> f64 {
    10f64.powi(-i32::from(decimals))
}

impl Bounds {
    /// The limits of a rule.
    pub fn of(criterion: &Criterion) -> Bounds {
        let decimals = criterion.decimals;
        let bands = match &criterion.rule {
            Rule::Classes(all) => {
                let bound = |(i, class): (usize, &Class)| {
                    let next = all.classes.get(i + 1);
                    let up_to = next.map(|next| round_to(next.from - step(decimals), decimals));
                    let is = match class.position {
                        Position::Short => ClassIs::Short,
                        Position::AtAim => ClassIs::Aim,
                        Position::Excess => ClassIs::Excess,
                        // No class of a text that was read is anything else.
                        _ => ClassIs::Above,
                    };
                    ClassBound { name: class.name.clone(), is, up_to }
                };
                Bands::Classes { classes: all.classes.iter().enumerate().map(bound).collect(), aim: all.aim }
            }
            Rule::Critical { critical, high } => Bands::Critical { critical: *critical, high: *high },
            Rule::AvailabilityIndex { constant, per_unit, per_ph, critical, high } => Bands::Availability {
                constant: *constant,
                per_unit: *per_unit,
                per_ph: *per_ph,
                critical: *critical,
                high: *high,
            },
            Rule::Saturation(shares) => Bands::Saturation {
                low: shares.low,
                high: shares.high,
                aim: shares.aim,
                floor: shares.floor.as_ref().map(|limit| limit.mg_per_kg.0),
                ceiling: shares.ceiling.as_ref().map(|limit| limit.mg_per_kg.0),
            },
            Rule::Typical { low, high, .. } => Bands::Typical { low: *low, high: *high },
            Rule::LeftAlone(why) => Bands::LeftAlone { why: why.clone() },
        };
        let per_point = criterion.index.as_ref().map(|index| index.per_point);
        Bounds { unit: criterion.unit, decimals, per_point, bands }
    }

    /// Everything that is wrong with the limits for an analyte: limits must rise, the aim lie in
    /// a class that counts as the aim, the unit suit what is measured.
    pub fn faults(&self, analyte: Analyte, has_layer: bool) -> Vec<Fault> {
        let mut faults = Vec::new();
        let mut fault = |field, says: String| faults.push(Fault { field, says });
        if !units_for(analyte, has_layer).contains(&self.unit) {
            let per_area = matches!(self.unit, Unit::LbPerAcre | Unit::KgPerHa);
            fault(
                Field::Unit,
                match per_area && units_for(analyte, true).contains(&self.unit) {
                    true => {
                        format!("{} needs a mass of soil per area, which this guideline does not state.", self.unit)
                    }
                    false => format!("Results of {} are not given in {}.", analyte.name(), self.unit),
                },
            );
        }
        if self.per_point.is_some_and(|per_point| per_point <= 0.0) {
            fault(Field::PerPoint, "A point of the index must be worth something.".into());
        }
        match &self.bands {
            Bands::Availability { per_unit, per_ph, critical, high, .. } => {
                if *per_unit <= 0.0 {
                    fault(Field::PerUnit, "The index must rise with the level: this must be above 0.".into());
                }
                if *per_ph < 0.0 {
                    fault(Field::PerPh, "This must be 0 or more.".into());
                }
                if high.is_some_and(|high| high <= *critical) {
                    fault(Field::High, "Too much must begin above the limit for too little.".into());
                }
            }
            Bands::Critical { critical, high } => {
                if *critical <= 0.0 {
                    fault(Field::Critical, "The limit must be above 0.".into());
                }
                if high.is_some_and(|high| high <= *critical) {
                    fault(Field::High, "Too much must begin above the limit for too little.".into());
                }
            }
            Bands::Classes { classes, aim } => class_faults(classes, *aim, self.decimals, &mut fault),
            Bands::Saturation { low, high, aim, floor, ceiling } => {
                share_faults((*low, *high, *aim), (*floor, *ceiling), &mut fault);
            }
            Bands::Typical { low, high } => match high {
                None if *low <= 0.0 => {
                    fault(Field::Low, "Say from which value on it is usual, up to which, or both.".into());
                }
                Some(high) if high <= low => fault(Field::High, "This must be above the lowest usual value.".into()),
                _ => {}
            },
            Bands::LeftAlone { why } => {
                if why.trim().is_empty() {
                    fault(
                        Field::Why,
                        "Say why it is left alone: the pages give this sentence in place of an aim.".into(),
                    );
                }
            }
        }
        faults
    }
}

fn class_faults(classes: &[ClassBound], aim: f64, decimals: u8, fault: &mut impl FnMut(Field, String)) {
    if classes.len() < 2 {
        return fault(Field::Classes, "Give at least two classes: one that is short, one that is the aim.".into());
    }
    let last = classes.len() - 1;
    for (i, class) in classes.iter().enumerate() {
        if class.name.trim().is_empty() {
            fault(Field::Name(i), "Give the class a name.".into());
        } else if classes[..i].iter().any(|other| other.name == class.name) {
            fault(Field::Name(i), format!("There is a class “{}” already.", class.name));
        }
        match class.up_to {
            None if i < last => {
                fault(Field::UpTo(i), "Say up to which value this class goes; only the highest has no end.".into());
            }
            Some(_) if i == last => {
                fault(Field::UpTo(i), "The highest class has no end: leave this empty, or add a class above it.".into())
            }
            Some(up_to) if i > 0 && classes[i - 1].up_to.is_some_and(|below| below >= up_to) => {
                fault(Field::UpTo(i), "This must be above the limit of the class below.".into());
            }
            _ => {}
        }
        if i > 0 && class.is < classes[i - 1].is {
            fault(
                Field::Is(i),
                format!("A class above one that counts as “{}” cannot count as less.", classes[i - 1].is.label()),
            );
        }
    }
    let Some(first) = classes.iter().position(|class| class.is == ClassIs::Aim) else {
        return fault(Field::Classes, "One class must count as at the aim.".into());
    };
    let best = classes.iter().rposition(|class| class.is == ClassIs::Aim).unwrap_or(first);
    let below = first.checked_sub(1).map_or(Some(0.0), |i| classes[i].up_to.map(|up_to| up_to + step(decimals)));
    let Some(low) = below else { return };
    let low = round_to(low, decimals);
    let high = classes[best].up_to.filter(|_| best < last);
    if aim < low - 1e-9 || high.is_some_and(|high| aim > high + 1e-9) {
        fault(
            Field::Aim,
            match high {
                Some(high) => format!("The aim must lie from {low} to {high}: in a class that counts as at the aim."),
                None => format!("The aim must be {low} or more: in a class that counts as at the aim."),
            },
        );
    }
}

/// Shares in percent of the capacity, low to high with the aim among them; the floor and the ceiling in mg/kg.
fn share_faults(
    (low, high, aim): (f64, Option<f64>, f64),
    (floor, ceiling): (Option<f64>, Option<f64>),
    fault: &mut impl FnMut(Field, String),
) {
    if low > 100.0 {
        fault(Field::Low, "A share of the capacity is 100 % at most.".into());
    }
    match high {
        Some(high) if high > 100.0 => fault(Field::High, "A share of the capacity is 100 % at most.".into()),
        Some(high) if high <= low => {
            let says = "This must be above the lowest share. Leave it empty where one share alone is meant.";
            fault(Field::High, says.into());
        }
        _ => {}
    }
    let top = high.unwrap_or(100.0);
    if aim <= 0.0 {
        fault(Field::Aim, "The share aimed at must be above 0 %.".into());
    } else if aim < low || aim > top {
        fault(Field::Aim, format!("The share aimed at must lie from {low} to {top} %."));
    }
    if floor.is_some_and(|floor| floor <= 0.0) {
        fault(Field::Floor, "This must be above 0. Leave it empty where there is no lowest level.".into());
    }
    if ceiling.is_some_and(|ceiling| ceiling <= 0.0 || floor.is_some_and(|floor| floor > ceiling)) {
        let says = "This must be above 0, and no lower than the lowest level. Leave it empty where there is none.";
        fault(Field::Ceiling, says.into());
    }
}

/// The bands as a publisher would print them: "0-70", "71-140", ">140".
fn printed(classes: &[ClassBound], decimals: u8) -> Vec<String> {
    let number = |value: f64| format!("{value:.*}", usize::from(decimals));
    let mut from = 0.0;
    let band = |class: &ClassBound| match class.up_to {
        Some(up_to) => {
            let band = format!("{}-{}", number(from), number(up_to));
            from = up_to + step(decimals);
            band
        }
        None => format!(">{}", number(from - step(decimals))),
    };
    classes.iter().map(band).collect()
}

impl Bounds {
    /// What they aim at, with the levels that hold the aim; `None` where that is no figure by itself.
    pub(super) fn aim(&self) -> Option<[Option<f64>; 3]> {
        Some(match &self.bands {
            Bands::Classes { aim, .. } => [Some(*aim), None, None],
            Bands::Critical { critical, .. } => [Some(*critical), None, None],
            Bands::Saturation { aim, floor, ceiling, .. } => [Some(*aim), *floor, *ceiling],
            // The aim of an index of level and pH moves with all of its figures.
            Bands::Availability { .. } | Bands::Typical { .. } | Bands::LeftAlone { .. } => return None,
        })
    }

    /// Writes them into the table and the row of a rule; a figure that carries a source of its own is
    /// cited to `cited` where it is new.
    pub(super) fn write(&self, table: &mut RawTable, row: &mut RawRow, cited: &Citation) {
        (row.unit, row.decimals) = (Some(self.unit.to_string()), Some(self.decimals));
        if self.per_point.is_some() {
            row.index_scale = self.per_point;
        }
        match &self.bands {
            Bands::Critical { critical, high } => (row.critical, row.high) = (Some(*critical), *high),
            Bands::Availability { constant, per_unit, per_ph, critical, high } => {
                let (constant, per_unit, per_ph) = (*constant, *per_unit, *per_ph);
                let index = RawAvailability { constant, per_unit, per_ph, critical: *critical, high: *high };
                row.availability_index = Some(index);
            }
            Bands::Saturation { low, high, aim, floor, ceiling } => {
                row.saturation = Some(match high {
                    Some(high) => format!("{low}-{high}"),
                    None => low.to_string(),
                });
                row.aim = Some(*aim);
                row.aim_why.get_or_insert_with(|| CHOSEN.into());
                let limit = |held: &Option<RawLimit>, to: Option<f64>| {
                    let kept = held.clone().filter(|held| Some(held.mg_per_kg) == to);
                    let new = to.map(|mg_per_kg| RawLimit { mg_per_kg, source: Some(cited.clone()), own: true });
                    kept.or(new)
                };
                (row.floor, row.ceiling) = (limit(&row.floor, *floor), limit(&row.ceiling, *ceiling));
            }
            Bands::Typical { low, high } => {
                let number = |value: f64| format!("{value:.*}", usize::from(self.decimals));
                row.typical = Some(match high {
                    Some(high) => format!("{}-{}", number(*low), number(*high)),
                    None => format!("{} or more", number(*low)),
                });
            }
            Bands::LeftAlone { why } => row.left_alone = Some(why.clone()),
            Bands::Classes { classes, aim } => {
                table.classes = classes.iter().map(|c| RawClass { name: c.name.clone(), is: c.is }).collect();
                // The highest of the best classes that the aim reaches.
                let mut floor = 0.0;
                let mut best = None;
                for class in classes {
                    if class.is == ClassIs::Aim && (best.is_none() || *aim >= floor - 1e-9) {
                        best = Some(class.name.clone());
                    }
                    floor = class.up_to.map_or(f64::INFINITY, |up_to| up_to + step(self.decimals));
                }
                (row.aim_class, table.aim_class) = (None, best);
                table.index &= classes
                    .iter()
                    .map(|c| c.name.parse::<Index>())
                    .collect::<Result<Vec<_>, _>>()
                    .is_ok_and(|all| all.is_sorted_by(|a, b| a < b));
                row.printed = Some(printed(classes, self.decimals));
                (row.aim, row.seam) = (Some(*aim), vec![]);
            }
        }
    }
}
