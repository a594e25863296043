//! The soil nitrate tests of a guideline's text. Refuses one without a source, bands that do not
//! meet, and figures that would ask for more where the ground holds more.

use super::{
    Changed, Citation,
    bands::{Joined, RawSeam, join},
    citation,
};
use crate::agronomy::{
    guideline::{GivesKind, NitrateBand, NitrateGives, NitrateTest, Provenance, Worksheet},
    rate::RateUnit,
};
use serde::{Deserialize, Serialize};
use std::sync::Arc;
use toml::Spanned;

/// A nitrate test.
#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawNitrate {
    pub title: String,
    pub name: String,
    pub made_for: String,
    pub source: Option<Citation>,
    pub set: Option<String>,
    pub changed: Option<Changed>,
    pub in_force: Option<bool>,
    #[serde(default)]
    pub decimals: u8,
    pub gives: GivesKind,
    pub unit: RateUnit,
    pub in_foot: Option<f64>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub notes: Vec<String>,
    pub bands: Vec<RawNitrateBand>,
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub seam: Vec<RawSeam>,
    pub worksheet: Option<Worksheet>,
}

#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawNitrateBand {
    #[serde(default, skip_serializing_if = "String::is_empty")]
    pub name: String,
    pub printed: String,
    pub figure: Option<f64>,
}

/// Reads all tests; what is at fault is told with its place in the text.
pub(super) fn read(
    slug: &str,
    raw: &[Spanned<RawNitrate>],
    fault: &mut impl FnMut(usize, String),
) -> Vec<Arc<NitrateTest>> {
    let mut all = Vec::new();
    for table in raw {
        match test(slug, table.get_ref()) {
            Ok(test) => all.push(Arc::new(test)),
            Err(says) => fault(table.span().start, format!("{}: {says}", table.get_ref().title)),
        }
    }
    all
}

pub(super) fn test(slug: &str, raw: &RawNitrate) -> Result<NitrateTest, String> {
    let source = citation(raw.source.as_ref(), &format!("the nitrate test “{}”", raw.title))?;
    if raw.bands.len() < 2 {
        return Err("it has fewer than two bands".into());
    }
    let printed: Vec<String> = raw.bands.iter().map(|band| band.printed.clone()).collect();
    let names: Vec<&str> =
        raw.bands.iter().map(|band| if band.name.is_empty() { &*band.printed } else { &*band.name }).collect();
    let Joined { from, seams, printed_to } = join(&printed, &names, &raw.seam, raw.decimals)?;
    if printed_to.is_some() {
        return Err("the highest band has an upper end; what lies above it is undecided".into());
    }
    let figures: Vec<Option<f64>> = raw.bands.iter().map(|band| band.figure).collect();
    if figures.iter().flatten().any(|figure| *figure < 0.0) || raw.in_foot.is_some_and(|factor| factor <= 0.0) {
        return Err("a figure is below zero".into());
    }
    let falls = |rates: &[Option<f64>]| rates.windows(2).all(|pair| pair[0] >= pair[1]);
    let gives = match (raw.gives, &raw.worksheet) {
        (GivesKind::Class, None) if figures.iter().all(Option::is_none) => NitrateGives::Class,
        (GivesKind::Rate, None) if figures.iter().all(Option::is_some) && falls(&figures) => NitrateGives::Rate,
        (GivesKind::OffBase, None) => {
            let off: Vec<f64> = figures.iter().map(|figure| figure.unwrap_or(f64::INFINITY)).collect();
            if !off.is_sorted() {
                return Err("less comes off the base rate where the ground holds more".into());
            }
            NitrateGives::OffBase
        }
        (GivesKind::Worksheet, Some(sheet)) if figures.iter().any(Option::is_none) => {
            let parts = [
                sheet.manured_since_harvest,
                sheet.not_manured_since,
                sheet.manured_before,
                sheet.after_soybean,
                sheet.after_forage_legume,
            ];
            if sheet.per_bushel <= 0.0 || parts.iter().any(|part| *part < 0.0) {
                return Err("the worksheet has a figure below zero".into());
            }
            NitrateGives::Worksheet(*sheet)
        }
        (GivesKind::Rate, None) => return Err("a band lacks its rate, or asks for more than the one below it".into()),
        _ => return Err(format!("its bands do not fit a test that gives {}", raw.gives.label())),
    };
    let band = |(raw, from): (&RawNitrateBand, f64)| NitrateBand {
        name: raw.name.clone(),
        printed: raw.printed.clone(),
        from,
        figure: raw.figure,
    };
    let set = raw.set.as_deref().unwrap_or(slug);
    Ok(NitrateTest {
        title: raw.title.clone(),
        name: raw.name.clone(),
        made_for: raw.made_for.clone(),
        decimals: raw.decimals,
        bands: raw.bands.iter().zip(from).map(band).collect(),
        seams,
        gives,
        unit: raw.unit,
        in_foot: raw.in_foot,
        of: Provenance::new(source, set, raw.in_force, raw.changed.clone()),
        notes: raw.notes.clone(),
    })
}
