//! What publishers give of a trace element where it is short, and what leaves hold where it is
//! enough: beside each other, for they differ fivefold. Never an aim and never a dose; what may go
//! on in a season is the season cap.

use crate::agronomy::{element::Element, quantity::KgPerHa, rate::RateUnit, source::Citation};
use serde::Deserialize;
use std::{collections::BTreeMap, sync::LazyLock};

/// A published rate.
#[derive(Clone, Debug, PartialEq)]
pub struct Advised {
    /// Who says so, as the key in examples.
    pub by: String,
    pub element: Element,
    /// Equal to `most` where one figure is printed.
    pub least: KgPerHa,
    pub most: KgPerHa,
    /// How, or on what; empty where not said.
    pub how: String,
    pub source: Citation,
}

impl Advised {
    /// Every rate for an element, in the order of the file.
    pub fn of(element: Element) -> impl Iterator<Item = &'static Advised> {
        FILE.0.iter().filter(move |rate| rate.element == element)
    }
}

/// What dry leaves hold.
#[derive(Clone, Debug, PartialEq)]
pub struct Tissue {
    pub element: Element,
    /// mg/kg of dry matter.
    pub enough: (f64, f64),
    pub harm_above: f64,
    pub source: Citation,
}

impl Tissue {
    /// What is printed of an element's content in leaves.
    pub fn of(element: Element) -> Option<&'static Tissue> {
        FILE.1.iter().find(|tissue| tissue.element == element)
    }

    /// What the publisher makes of a content, mg/kg of dry matter; between what is enough and what
    /// harms it says nothing.
    pub fn says(&self, mg_per_kg: f64) -> &'static str {
        match mg_per_kg {
            v if v < self.enough.0 => "below what is enough",
            v if v <= self.enough.1 => "enough",
            v if v <= self.harm_above => "above what is enough",
            _ => "harmful",
        }
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    source: BTreeMap<String, Citation>,
    rate: Vec<Rate>,
    tissue: Vec<Leaf>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Rate {
    element: Element,
    least: Option<f64>,
    most: f64,
    unit: RateUnit,
    #[serde(default)]
    how: String,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Leaf {
    element: Element,
    from: f64,
    to: f64,
    harm_above: f64,
    source: String,
}

/// Reads the file; the sentence names what is wrong with it.
fn parse(toml: &str) -> Result<(Vec<Advised>, Vec<Tissue>), String> {
    let file: File = toml::from_str(toml).map_err(|e| e.to_string())?;
    let cite = |key: &str| file.source.get(key).cloned().ok_or_else(|| format!("no source “{key}”"));
    let rate = |rate: &Rate| {
        let (least, most) = (rate.unit.read(rate.least.unwrap_or(rate.most)), rate.unit.read(rate.most));
        let how = rate.how.clone();
        Ok(Advised { by: rate.source.clone(), element: rate.element, least, most, how, source: cite(&rate.source)? })
    };
    let leaf = |leaf: &Leaf| {
        let (enough, harm_above) = ((leaf.from, leaf.to), leaf.harm_above);
        Ok(Tissue { element: leaf.element, enough, harm_above, source: cite(&leaf.source)? })
    };
    let rates = file.rate.iter().map(rate).collect::<Result<_, String>>()?;
    Ok((rates, file.tissue.iter().map(leaf).collect::<Result<_, String>>()?))
}

static FILE: LazyLock<(Vec<Advised>, Vec<Tissue>)> =
    LazyLock::new(|| parse(include_str!("advised.toml")).expect("the embedded rates are checked by a test"));

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_rate_is_read_and_cited() {
        let (rates, leaves) = parse(include_str!("advised.toml")).unwrap();
        assert_eq!((rates.len(), leaves.len()), (16, 1));
        for rate in rates {
            assert!(rate.least.0 > 0.0 && rate.least.0 <= rate.most.0 && !rate.source.title.is_empty(), "{rate:?}");
        }
        assert!(
            parse(
                "rate = []\ntissue = [{ element = \"B\", from = 1, to = 2, harm_above = 3, source = \"x\" }]\n[source]"
            )
            .is_err()
        );
    }
}
