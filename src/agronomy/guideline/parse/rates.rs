//! The rates of a guideline's text. Refuses a rate without a source, a column for a class that
//! the guideline does not have, a class without a column, and an equation that would ask for
//! more where the soil holds more.

use super::{Changed, RawWhen, citation, when};
use crate::agronomy::{
    analyte::Analyte,
    crop::{CROPS, Crop, CropGroup},
    element::{Element, Form},
    guideline::{Column, Criterion, Gives, RateEquation, RateRow, RateTable, Rates, Rule},
    method::Method,
    rate::RateUnit,
    source::{Citation, Evidence},
};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use toml::Spanned;

/// A printed table of rates, or a set of equations.
#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawRates {
    pub title: String,
    pub source: Option<Citation>,
    /// The set that it was copied from, where it is not this one's own.
    pub set: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub methods: Vec<String>,
    /// "P2O5", "K": each is given by the same rows.
    pub nutrients: Vec<String>,
    pub unit: String,
    #[serde(default, skip_serializing_if = "RawWhen::is_any")]
    pub when: RawWhen,
    pub in_force: Option<bool>,
    pub give_or_take: Option<f64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub columns: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub row: Vec<Spanned<RawRateRow>>,
}

#[derive(Clone, Default, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawRateRow {
    pub printed_for: String,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub crops: Vec<String>,
    /// Whole groups of crops, such as "brassica".
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub groups: Vec<String>,
    pub withheld: Option<String>,
    pub source: Option<Citation>,
    pub changed: Option<Changed>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    // One of these two.
    pub printed: Option<Vec<f64>>,
    pub equation: Option<RawEquation>,
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawEquation {
    pub number: String,
    pub square: f64,
    pub linear: f64,
    pub constant: f64,
}

/// Reads all rates; what is at fault is told with its place in the text.
pub(super) fn read(
    slug: &str,
    raw: &[Spanned<RawRates>],
    criteria: &[Criterion],
    fault: &mut impl FnMut(usize, String),
) -> Vec<Arc<Rates>> {
    let mut all = Vec::new();
    for table in raw {
        match rates(slug, table.get_ref(), criteria) {
            Ok(rates) => all.extend(rates.into_iter().map(Arc::new)),
            Err((at, says)) => {
                fault(at.unwrap_or(table.span().start), format!("{}: {says}", table.get_ref().title));
            }
        }
    }
    all
}

/// A fault with the place of its row, where it is one row's.
pub(super) type Fault = (Option<usize>, String);

pub(super) fn rates(slug: &str, raw: &RawRates, criteria: &[Criterion]) -> Result<Vec<Rates>, Fault> {
    let here = |says: String| (None, says);
    let source = citation(raw.source.as_ref(), &format!("the rates “{}”", raw.title)).map_err(here)?;
    if raw.methods.is_empty() {
        return Err((None, "no method is named; rates without a test fit nothing".into()));
    }
    if raw.give_or_take.is_some_and(|give_or_take| give_or_take < 0.0) {
        return Err((None, "give_or_take is below zero".into()));
    }
    let methods: Vec<Method> = raw.methods.iter().map(|m| m.parse()).collect::<Result<_, _>>().map_err(here)?;
    let unit: RateUnit = raw.unit.parse().map_err(here)?;
    let columns: Vec<Column> = raw.columns.iter().map(|c| c.parse()).collect::<Result<_, _>>().map_err(here)?;
    let when = when(&raw.when).map_err(here)?;
    let rows = raw
        .row
        .iter()
        .map(|one| row(one.get_ref(), &columns).map_err(|says| (Some(one.span().start), says)))
        .collect::<Result<Vec<_>, _>>()?;
    if rows.is_empty() || raw.nutrients.is_empty() {
        return Err((None, "there are no rates in it".into()));
    }
    if let Some(twice) = CROPS.iter().find(|crop| rows.iter().filter(|row| row.crops.contains(crop)).count() > 1) {
        return Err((None, format!("{} has two rates", twice.in_sentence())));
    }
    let of_nutrient = |name: &String| {
        let (element, form) = nutrient(name).map_err(here)?;
        limits_beside(element, &methods, &columns, &rows, criteria).map_err(here)?;
        Ok(Rates {
            title: raw.title.clone(),
            element,
            form,
            unit,
            methods: methods.clone(),
            when: when.clone(),
            give_or_take: raw.give_or_take,
            rows: rows.clone(),
            in_force: raw.in_force.unwrap_or(source.evidence != Evidence::Memory),
            off: raw.in_force == Some(false),
            source: source.clone(),
            set: raw.set.as_deref().unwrap_or(slug).to_owned(),
            notes: raw.notes.clone(),
        })
    };
    raw.nutrients.iter().map(of_nutrient).collect()
}

fn row(raw: &RawRateRow, columns: &[Column]) -> Result<RateRow, String> {
    let gives = match (&raw.printed, &raw.equation) {
        (Some(printed), None) if printed.len() != columns.len() => {
            return Err(format!("{} rates are printed for {} columns", printed.len(), columns.len()));
        }
        (Some(printed), None) if printed.iter().any(|rate| *rate < 0.0) => {
            return Err("a rate is below zero".into());
        }
        (Some(printed), None) => Gives::Table(RateTable { columns: columns.to_vec(), printed: printed.clone() }),
        (None, Some(equation)) => Gives::Equation(falling(equation)?),
        _ => return Err("it must have either printed or equation".into()),
    };
    let groups = raw.groups.iter().map(|g| g.parse::<CropGroup>()).collect::<Result<Vec<_>, _>>()?;
    let mut crops: Vec<Crop> = CROPS.iter().copied().filter(|crop| groups.contains(&crop.group)).collect();
    for name in &raw.crops {
        let crop = Crop::find(name).ok_or_else(|| format!("“{name}” is not a crop known here"))?;
        if !crops.contains(&crop) {
            crops.push(crop);
        }
    }
    let (printed_for, withheld) = (raw.printed_for.clone(), raw.withheld.clone());
    let source = raw.source.as_ref().map(|source| citation(Some(source), &printed_for)).transpose()?;
    let (changed, notes) = (raw.changed.clone(), raw.notes.clone());
    Ok(RateRow { printed_for, crops, gives, withheld, source, changed, notes })
}

fn falling(raw: &RawEquation) -> Result<RateEquation, String> {
    let RawEquation { number, square, linear, constant } = raw;
    if *square < 0.0 || *linear >= 0.0 || *constant <= 0.0 {
        return Err(format!("equation {number} does not fall as the soil holds more"));
    }
    Ok(RateEquation { number: number.clone(), square: *square, linear: *linear, constant: *constant })
}

/// "P2O5" or "P".
fn nutrient(name: &str) -> Result<(Element, Option<Form>), String> {
    match name.parse::<Form>() {
        Ok(form) => Ok((form.element(), Some(form))),
        Err(_) => {
            name.parse::<Element>().map(|element| (element, None)).map_err(|_| format!("“{name}” is no nutrient"))
        }
    }
}

/// A rate goes by the limits of its own guideline: a table needs classes, each in one column; an
/// equation needs limits in the index that it is printed in.
fn limits_beside(
    element: Element,
    methods: &[Method],
    columns: &[Column],
    rows: &[RateRow],
    criteria: &[Criterion],
) -> Result<(), String> {
    let beside: Vec<&Criterion> = criteria
        .iter()
        .filter(|c| c.analyte == Analyte::Element(element) && c.methods.iter().any(|m| methods.contains(m)))
        .collect();
    if beside.is_empty() {
        return Err(format!("the guideline has no limits for {} by these methods", element.name()));
    }
    if !rows.iter().any(|row| matches!(row.gives, Gives::Table(_))) {
        return Ok(());
    }
    for criterion in beside {
        let Rule::Classes(classes) = &criterion.rule else {
            return Err(format!("the limits for {} have no classes", element.name()));
        };
        for class in &classes.classes {
            match columns.iter().filter(|column| column.covers(&class.name)).count() {
                1 => {}
                0 => return Err(format!("no column covers the class “{}” of {}", class.name, element.name())),
                _ => return Err(format!("two columns cover the class “{}”", class.name)),
            }
        }
        if let Some(idle) =
            columns.iter().find(|column| !classes.classes.iter().any(|class| column.covers(&class.name)))
        {
            return Err(format!("no class of {} falls into the column “{idle}”", element.name()));
        }
    }
    Ok(())
}
