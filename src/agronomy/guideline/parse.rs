//! TOML text to guideline. Names every fault with its line, and lets nothing through that
//! has no source, leaves a hole between two classes undecided, or cannot be compared with a
//! reading. It reads text only; where the text comes from is not its business.
//!
//! The structs below are the format, both ways: a key that is read is written back too, for
//! they derive both, so that no copy can lose a rule that its editor does not understand.

mod bands;
mod draft;
mod nitrate;
mod split;

pub use draft::{
    Bands, Bounds, ClassBound, Draft, Editor, Fault, Field, NitrateBound, NitrateBounds, PartsBounds, RateFault,
    RateField, RateRowBounds, RatesBounds, SplitBounds, units_for,
};

use super::{
    Guideline, IndexScale,
    criterion::{
        Changed, Class, Classes, Criterion, Index, LandUse, Limit, Position, Rule, Saturation, When, round_to,
    },
};
use crate::agronomy::{
    analyte::Analyte,
    element::Form,
    ground::Texture,
    method::Method,
    quantity::{Centimetres, LayerConvention, MgPerKg},
    record::{Basis, DepthBand, Unit, keyed},
    source::{Citation, Evidence},
};
use bands::{Joined, RawSeam, band, join};
use serde::{Deserialize, Serialize};
use std::{fmt, str::FromStr};
use toml::Spanned;

mod rates;

/// A fault in a guideline's text.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Problem {
    /// Line in the text, from 1.
    pub line: usize,
    pub says: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}: {}", self.line, self.says)
    }
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawGuideline {
    slug: String,
    title: String,
    publisher: String,
    #[serde(default)]
    year: u16,
    address: String,
    scope: String,
    #[serde(default)]
    collection: bool,
    depth_cm: Option<[f64; 2]>,
    layer: Option<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    evidence_for: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    evidence_against: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    notes: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    include: Vec<Spanned<RawInclude>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    table: Vec<Spanned<RawTable>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    rates: Vec<Spanned<rates::RawRates>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    nitrate: Vec<Spanned<nitrate::RawNitrate>>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    split: Vec<Spanned<split::RawSplit>>,
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawInclude {
    guideline: String,
    /// None: all of them.
    analytes: Option<Vec<String>>,
    #[serde(default, skip_serializing_if = "RawWhen::is_any")]
    when: RawWhen,
}

#[derive(Clone, Default, PartialEq, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawWhen {
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    uses: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    textures: Vec<String>,
    ph: Option<[f64; 2]>,
    carbonate: Option<bool>,
}

/// Values shared by the rows of one published table; a row may restate any of them.
#[derive(Clone, Default, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawTable {
    title: String,
    source: Option<Citation>,
    /// The set that it was copied from, where it is not this one's own.
    set: Option<String>,
    /// That it is not as its publisher printed it.
    changed: Option<Changed>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    methods: Vec<String>,
    unit: String,
    form: Option<String>,
    #[serde(default)]
    basis: Basis,
    layer: Option<String>,
    #[serde(default)]
    decimals: u8,
    #[serde(default, skip_serializing_if = "RawWhen::is_any")]
    when: RawWhen,
    /// Switches on a table that is known from memory.
    in_force: Option<bool>,
    /// The classes are numbers of an index.
    #[serde(default)]
    index: bool,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    classes: Vec<RawClass>,
    aim_class: Option<String>,
    aim_why: Option<String>,
    aim_source: Option<Citation>,
    /// Who says what a point of the index is worth, where rows have an `index_scale`.
    index_scale_source: Option<Citation>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    notes: Vec<String>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    row: Vec<Spanned<RawRow>>,
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawClass {
    name: String,
    is: ClassIs,
}

/// What a class of a table counts as here.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Deserialize, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum ClassIs {
    Short,
    Aim,
    Above,
    Excess,
}

keyed!(ClassIs {
    Short "short" "short",
    Aim "aim" "at the aim",
    Above "above" "above the aim",
    Excess "excess" "too much",
});

#[derive(Clone, Default, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawRow {
    analyte: String,
    source: Option<Citation>,
    methods: Option<Vec<String>>,
    unit: Option<String>,
    decimals: Option<u8>,
    when: Option<RawWhen>,
    aim_class: Option<String>,
    aim_why: Option<String>,
    aim: Option<f64>,
    /// The limits are points of an index, each worth so much of the unit.
    index_scale: Option<f64>,
    /// What a point of an index that the publisher prints beside is worth, by the tops of its classes.
    own_index: Option<f64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    seam: Vec<RawSeam>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    notes: Vec<String>,
    // Exactly one of these says what kind of rule it is.
    printed: Option<Vec<String>>,
    critical: Option<f64>,
    availability_index: Option<RawAvailability>,
    saturation: Option<String>,
    typical: Option<String>,
    left_alone: Option<String>,
    // With `critical`.
    high: Option<f64>,
    // With `saturation`.
    floor: Option<RawLimit>,
    ceiling: Option<RawLimit>,
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawAvailability {
    constant: f64,
    per_unit: f64,
    per_ph: f64,
    critical: f64,
    high: Option<f64>,
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
struct RawLimit {
    mg_per_kg: f64,
    source: Option<Citation>,
    /// It was set in a copy.
    #[serde(default, skip_serializing_if = "std::ops::Not::not")]
    own: bool,
}

fn citation(found: Option<&Citation>, what: &str) -> Result<Citation, String> {
    let source = found.ok_or_else(|| format!("{what} has no source"))?;
    if source.evidence == Evidence::CommonPractice {
        return Ok(source.clone());
    }
    if source.publisher.trim().is_empty() || source.title.trim().is_empty() {
        return Err(format!("the source of {what} lacks its publisher or title"));
    }
    Ok(source.clone())
}

impl RawWhen {
    fn is_any(&self) -> bool {
        *self == RawWhen::default()
    }
}

impl From<&When> for RawWhen {
    fn from(when: &When) -> RawWhen {
        RawWhen {
            uses: when.uses.iter().map(|land_use| land_use.slug().to_owned()).collect(),
            textures: when.textures.iter().map(|texture| texture.slug().to_owned()).collect(),
            ph: when.ph.map(|(low, high)| [low, high]),
            carbonate: when.carbonate,
        }
    }
}

fn when(raw: &RawWhen) -> Result<When, String> {
    if raw.ph.is_some_and(|[low, high]| low >= high || low.is_nan() || high.is_nan()) {
        return Err("the pH range runs downwards".into());
    }
    Ok(When {
        uses: raw.uses.iter().map(|c| c.parse::<LandUse>()).collect::<Result<_, _>>()?,
        textures: raw.textures.iter().map(|t| t.parse::<Texture>()).collect::<Result<_, _>>()?,
        ph: raw.ph.map(|[low, high]| (low, high)),
        carbonate: raw.carbonate,
    })
}

/// A table without a mass of soil of its own, in a guideline that states one.
const NO_LAYER: &str = "none";

fn layer(slug: Option<&String>) -> Result<Option<LayerConvention>, String> {
    slug.filter(|s| *s != NO_LAYER)
        .map(|s| LayerConvention::find(s).ok_or_else(|| format!("“{s}” is not a soil mass known here")))
        .transpose()
}

/// The classes of a row, each from where its printed band starts.
fn classes(table: &RawTable, row: &RawRow, printed: &[String], decimals: u8) -> Result<Classes, String> {
    if printed.len() != table.classes.len() {
        return Err(format!("{} bands are printed for {} classes", printed.len(), table.classes.len()));
    }
    let names: Vec<&str> = table.classes.iter().map(|class| class.name.as_str()).collect();
    let Joined { from, seams, printed_to } = join(printed, &names, &row.seam, decimals)?;
    if printed_to.is_some() && !table.index {
        return Err("the highest class has an upper end; what lies above it is undecided".into());
    }
    let class = |((class, printed), from): ((&RawClass, &String), f64)| {
        let position = match class.is {
            ClassIs::Short => Position::Short,
            ClassIs::Aim => Position::AtAim,
            ClassIs::Above => Position::Above,
            ClassIs::Excess => Position::Excess,
        };
        Class { name: class.name.clone(), printed: printed.clone(), from, position }
    };
    let out: Vec<Class> = table.classes.iter().zip(printed).zip(from).map(class).collect();
    if out.windows(2).any(|pair| pair[0].position > pair[1].position) {
        return Err("the classes do not run from short to excess".into());
    }
    if table.index {
        let names = out.iter().map(|c| c.name.parse::<Index>()).collect::<Result<Vec<_>, _>>()?;
        if !names.is_sorted_by(|a, b| a < b) {
            return Err("the index numbers do not ascend".into());
        }
    }
    let best = row.aim_class.as_ref().or(table.aim_class.as_ref()).ok_or("no class is named as the aim (aim_class)")?;
    let optimum = out.iter().position(|c| c.name == *best).ok_or_else(|| format!("there is no class “{best}”"))?;
    if out[optimum].position != Position::AtAim {
        return Err(format!("the class “{best}” is the aim but is not marked so"));
    }
    let aim = row.aim.unwrap_or(out[optimum].from);
    let above = out.iter().find(|c| c.position > Position::AtAim).map_or(f64::INFINITY, |c| c.from);
    if !(out[optimum].from..above).contains(&aim) {
        return Err(format!("the aim {aim} lies outside its class “{best}”"));
    }
    let aim_why = row.aim_why.as_ref().or(table.aim_why.as_ref()).ok_or("it is not said why this aim (aim_why)")?;
    let aim_source = table.aim_source.as_ref().map(|s| citation(Some(s), "the aim")).transpose()?;
    Ok(Classes { classes: out, optimum, aim, aim_why: aim_why.clone(), aim_source, seams, printed_to })
}

fn saturation(row: &RawRow, printed: &str) -> Result<Rule, String> {
    let band = band(printed)?;
    let low = band.low.ok_or("a saturation range needs a lower end")?;
    let high = band.high.filter(|high| *high > low);
    let aim = row.aim.unwrap_or(low);
    if !(0.0..=100.0).contains(&low) || high.is_some_and(|h| h > 100.0) {
        return Err(format!("“{printed}” is not a share of the capacity"));
    }
    if aim < low || high.is_some_and(|h| aim > h) {
        return Err(format!("the aim {aim} % lies outside “{printed}”"));
    }
    let limit = |raw: &Option<RawLimit>, what: &str| {
        let Some(raw) = raw else { return Ok(None) };
        if raw.mg_per_kg <= 0.0 {
            return Err(format!("{what} must be above zero"));
        }
        let source = citation(raw.source.as_ref(), what)?;
        Ok(Some(Limit { mg_per_kg: MgPerKg(raw.mg_per_kg), source, own: raw.own }))
    };
    let (floor, ceiling) = (limit(&row.floor, "the floor")?, limit(&row.ceiling, "the ceiling")?);
    if let (Some(floor), Some(ceiling)) = (&floor, &ceiling)
        && floor.mg_per_kg > ceiling.mg_per_kg
    {
        return Err("the floor lies above the ceiling".into());
    }
    Ok(Rule::Saturation(Saturation {
        printed: printed.to_owned(),
        low,
        high,
        aim,
        aim_why: row.aim_why.clone().ok_or("it is not said why this aim (aim_why)")?,
        floor,
        ceiling,
    }))
}

fn rule(table: &RawTable, row: &RawRow, decimals: u8) -> Result<Rule, String> {
    let mut rules: Vec<Result<Rule, String>> = Vec::new();
    if let Some(printed) = &row.printed {
        rules.push(classes(table, row, printed, decimals).map(Rule::Classes));
    }
    if let Some(critical) = row.critical {
        rules.push(match row.high.is_some_and(|high| high <= critical) {
            true => Err("“high” is not above “critical”".into()),
            false => Ok(Rule::Critical { critical, high: row.high }),
        });
    }
    if let Some(RawAvailability { constant, per_unit, per_ph, critical, high }) = row.availability_index {
        rules.push(match per_unit > 0.0 {
            true => Ok(Rule::AvailabilityIndex { constant, per_unit, per_ph, critical, high }),
            false => Err("an availability index must rise with the level".into()),
        });
    }
    if let Some(printed) = &row.saturation {
        rules.push(saturation(row, printed));
    }
    if let Some(printed) = &row.typical {
        rules.push(band(printed).map(|b| Rule::Typical {
            printed: printed.clone(),
            low: b.low.unwrap_or(0.0),
            high: b.high,
        }));
    }
    if let Some(why) = &row.left_alone {
        rules.push(Ok(Rule::LeftAlone(why.clone())));
    }
    match (rules.pop(), rules.is_empty()) {
        (Some(only), true) => only,
        _ => Err("it must have exactly one of: printed, critical, availability_index, saturation, typical, left_alone"
            .into()),
    }
}

fn index_scale(table: &RawTable, row: &RawRow) -> Result<Option<IndexScale>, String> {
    let Some(per_point) = row.index_scale else { return Ok(None) };
    if per_point <= 0.0 {
        return Err("a point of the index must be worth something".into());
    }
    let source = citation(table.index_scale_source.as_ref(), "what a point of the index is worth")?;
    Ok(Some(IndexScale { per_point, source }))
}

fn criterion(raw: &RawGuideline, table: &RawTable, row: &RawRow) -> Result<Criterion, String> {
    let source = citation(row.source.as_ref().or(table.source.as_ref()), &format!("the table “{}”", table.title))?;
    let decimals = row.decimals.unwrap_or(table.decimals);
    if decimals > 4 {
        return Err("more than four decimals".into());
    }
    let methods = row.methods.as_ref().unwrap_or(&table.methods);
    if methods.is_empty() {
        return Err("no method is named; limits without a method fit nothing".into());
    }
    if row.own_index.is_some_and(|per_point| per_point <= 0.0) {
        return Err("a point of the publisher's own index must be worth something".into());
    }
    let criterion = Criterion {
        analyte: row.analyte.parse::<Analyte>()?,
        methods: methods.iter().map(|m| m.parse::<Method>()).collect::<Result<_, _>>()?,
        unit: row.unit.as_ref().unwrap_or(&table.unit).parse::<Unit>()?,
        form: table.form.as_ref().map(|f| f.parse::<Form>()).transpose()?,
        basis: table.basis,
        index: index_scale(table, row)?,
        own_index: row.own_index,
        layer: layer(table.layer.as_ref().or(raw.layer.as_ref()))?,
        decimals,
        when: when(row.when.as_ref().unwrap_or(&table.when))?,
        rule: rule(table, row, decimals)?,
        in_force: table.in_force.unwrap_or(source.evidence != Evidence::Memory),
        off: table.in_force == Some(false),
        source,
        set: table.set.as_ref().unwrap_or(&raw.slug).clone(),
        changed: table.changed.clone(),
        notes: table.notes.iter().chain(&row.notes).cloned().collect(),
    };
    if !criterion.unit_is_usable() {
        return Err(format!("{} needs a soil mass (layer), or cannot be compared with a reading", criterion.unit));
    }
    if matches!(criterion.rule, Rule::Saturation(_))
        && criterion.analyte.element().and_then(|e| e.cation_charge()).is_none()
    {
        return Err(format!("{} holds no share of the exchange capacity", criterion.analyte.name()));
    }
    Ok(criterion)
}

/// The rules of another set, narrowed.
fn included(include: &RawInclude, known: &[Guideline]) -> Result<Vec<Criterion>, String> {
    let set = known
        .iter()
        .find(|g| g.slug == include.guideline)
        .ok_or_else(|| format!("“{}” is not a guideline that can be included", include.guideline))?;
    let wanted = match &include.analytes {
        None => None,
        Some(names) => Some(names.iter().map(|n| n.parse::<Analyte>()).collect::<Result<Vec<_>, _>>()?),
    };
    let narrowed = when(&include.when)?;
    let taken: Vec<Criterion> = set
        .criteria
        .iter()
        .filter(|c| wanted.as_ref().is_none_or(|w| w.contains(&c.analyte)))
        .filter_map(|c| Some(Criterion { when: c.when.and(&narrowed)?, ..c.clone() }))
        .collect();
    if taken.is_empty() {
        return Err(format!("“{}” has no limits for what is asked of it", include.guideline));
    }
    Ok(taken)
}

/// Whether a number anywhere in the text is infinite or not a number: no limit can be either.
fn has_odd_number(value: &toml::Value) -> bool {
    match value {
        toml::Value::Float(number) => !number.is_finite(),
        toml::Value::Array(items) => items.iter().any(has_odd_number),
        toml::Value::Table(table) => table.values().any(has_odd_number),
        _ => false,
    }
}

fn line_of(text: &str, offset: usize) -> usize {
    text.bytes().take(offset).filter(|b| *b == b'\n').count() + 1
}

fn raw(text: &str) -> Result<RawGuideline, Vec<Problem>> {
    toml::from_str(text).map_err(|e| {
        vec![Problem { line: line_of(text, e.span().map_or(0, |s| s.start)), says: e.message().to_owned() }]
    })
}

/// Reads a guideline; `known` are the sets that it may include.
pub(super) fn guideline(text: &str, known: &[Guideline]) -> Result<Guideline, Vec<Problem>> {
    let raw = raw(text)?;
    let mut problems = Vec::new();
    let mut fault = |at: usize, says: String| problems.push(Problem { line: line_of(text, at), says });
    if raw.slug.is_empty() || !raw.slug.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'_') {
        fault(0, format!("the slug “{}” must be small letters, digits and underscores", raw.slug));
    }
    for (field, value) in [("title", &raw.title), ("publisher", &raw.publisher), ("scope", &raw.scope)] {
        if value.trim().is_empty() {
            fault(0, format!("the {field} is empty"));
        }
    }
    if text.parse::<toml::Table>().is_ok_and(|table| has_odd_number(&toml::Value::Table(table))) {
        fault(0, "a number is infinite or not a number".into());
    }
    if raw.depth_cm.is_some_and(|[top, bottom]| top < 0.0 || top >= bottom) {
        fault(0, "the depth runs upwards".into());
    }
    let convention = layer(raw.layer.as_ref()).unwrap_or_else(|says| {
        fault(0, says);
        None
    });
    let mut criteria = Vec::new();
    // Own tables first: in a collection they go before what is included.
    for table in &raw.table {
        if table.get_ref().source.is_none() && table.get_ref().row.iter().any(|r| r.get_ref().source.is_none()) {
            fault(table.span().start, format!("the table “{}” has no source", table.get_ref().title));
            continue;
        }
        if table.get_ref().row.is_empty() {
            fault(table.span().start, format!("the table “{}” has no rows", table.get_ref().title));
        }
        for row in &table.get_ref().row {
            match criterion(&raw, table.get_ref(), row.get_ref()) {
                Ok(criterion) => criteria.push(criterion),
                Err(says) => fault(row.span().start, format!("{}: {says}", row.get_ref().analyte)),
            }
        }
    }
    for include in &raw.include {
        match included(include.get_ref(), known) {
            Ok(more) => criteria.extend(more),
            Err(says) => fault(include.span().start, says),
        }
    }
    let rates = rates::read(&raw.slug, &raw.rates, &criteria, &mut fault);
    let nitrate = nitrate::read(&raw.slug, &raw.nitrate, &mut fault);
    let splits = split::read(&raw.slug, &raw.split, &mut fault);
    if criteria.is_empty() && nitrate.is_empty() && splits.is_empty() && problems.is_empty() {
        problems.push(Problem { line: 1, says: "it has no criteria".into() });
    }
    if !problems.is_empty() {
        return Err(problems);
    }
    Ok(Guideline {
        slug: raw.slug,
        title: raw.title,
        publisher: raw.publisher,
        year: raw.year,
        address: raw.address,
        scope: raw.scope,
        collection: raw.collection,
        depth: raw.depth_cm.map(|[top, bottom]| DepthBand { top: Centimetres(top), bottom: Centimetres(bottom) }),
        layer: convention,
        evidence_for: raw.evidence_for,
        evidence_against: raw.evidence_against,
        notes: raw.notes,
        criteria,
        rates,
        nitrate,
        splits,
        text: text.to_owned(),
    })
}
