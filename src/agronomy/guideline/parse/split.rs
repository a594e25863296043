//! The rules of a guideline's text for giving large doses in parts. Refuses one without a source,
//! and one that would give a larger dose in fewer parts.

use super::{
    Changed, Citation,
    bands::{Joined, RawSeam, join},
    citation,
};
use crate::agronomy::{
    guideline::{PartsBy, Provenance, SplitBand, SplitOf, SplitRule},
    rate::RateUnit,
};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use toml::Spanned;

/// A rule.
#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSplit {
    pub title: String,
    pub source: Option<Citation>,
    pub set: Option<String>,
    pub changed: Option<Changed>,
    pub in_force: Option<bool>,
    pub of: SplitOf,
    pub unit: RateUnit,
    pub months_apart: u8,
    #[serde(default)]
    pub decimals: u8,
    // One of these two.
    pub at_most: Option<f64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub bands: Vec<RawSplitBand>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seam: Vec<RawSeam>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSplitBand {
    pub printed: String,
    pub parts: u8,
}

/// Reads all rules; what is at fault is told with its place in the text.
pub(super) fn read(
    slug: &str,
    raw: &[Spanned<RawSplit>],
    fault: &mut impl FnMut(usize, String),
) -> Vec<Arc<SplitRule>> {
    let mut all = Vec::new();
    for table in raw {
        match rule(slug, table.get_ref()) {
            Ok(rule) => all.push(Arc::new(rule)),
            Err(says) => fault(table.span().start, format!("{}: {says}", table.get_ref().title)),
        }
    }
    all
}

pub(super) fn rule(slug: &str, raw: &RawSplit) -> Result<SplitRule, String> {
    let source = citation(raw.source.as_ref(), &format!("the parts “{}”", raw.title))?;
    if raw.months_apart == 0 {
        return Err("no time lies between the parts".into());
    }
    let parts_by = match (raw.at_most, &raw.bands[..]) {
        (Some(most), []) if most > 0.0 => PartsBy::AtMost(most),
        (Some(_), []) => return Err("the most at once must be above zero".into()),
        (None, [_, _, ..]) => bands(raw)?,
        _ => return Err("it must have either at_most, or bands".into()),
    };
    let set = raw.set.as_deref().unwrap_or(slug);
    Ok(SplitRule {
        title: raw.title.clone(),
        material: raw.of,
        unit: raw.unit,
        parts_by,
        months_apart: raw.months_apart,
        of: Provenance::new(source, set, raw.in_force, raw.changed.clone()),
        notes: raw.notes.clone(),
    })
}

fn bands(raw: &RawSplit) -> Result<PartsBy, String> {
    let printed: Vec<String> = raw.bands.iter().map(|band| band.printed.clone()).collect();
    let names: Vec<&str> = printed.iter().map(String::as_str).collect();
    let Joined { from, seams, printed_to } = join(&printed, &names, &raw.seam, raw.decimals)?;
    if printed_to.is_some() {
        return Err("the highest band has an upper end; what lies above it is undecided".into());
    }
    if !raw.bands.is_sorted_by(|a, b| a.parts < b.parts) || raw.bands[0].parts == 0 {
        return Err("a larger dose must be given in more parts".into());
    }
    let band =
        |(band, from): (&RawSplitBand, f64)| SplitBand { printed: band.printed.clone(), from, parts: band.parts };
    Ok(PartsBy::Bands { decimals: raw.decimals, bands: raw.bands.iter().zip(from).map(band).collect(), seams })
}
