//! What a line of a lab's sheet is about.

use super::element::Element;
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, fmt, str::FromStr, sync::LazyLock};

/// The property that a determination measures. The element forms mean "the element as this
/// method finds it": available, exchangeable or total is the method's business.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(into = "String", try_from = "String")]
pub enum Analyte {
    /// An element by some extractant, counted as the element.
    Element(Element),
    /// Nitrate, counted as N.
    NitrateN,
    /// Ammonium, counted as N.
    AmmoniumN,
    /// pH in water or in a salt solution.
    Ph,
    /// pH of the soil in a lime-requirement buffer; meaningless without the buffer's name.
    BufferPh,
    /// Exchange capacity as the lab states it.
    ExchangeCapacity,
    /// Exchangeable acidity (H + Al).
    Acidity,
    /// Share of the exchange capacity held by a cation, as the lab states it.
    Saturation(Element),
    /// All bases together as a share of the exchange capacity, as the lab states it.
    BaseSaturation,
    /// Organic matter.
    OrganicMatter,
    /// Organic carbon.
    OrganicCarbon,
    /// Carbonate, counted as calcium carbonate equivalent.
    Carbonate,
    /// Electrical conductivity of an extract or paste.
    Conductivity,
    /// Clay by particle size.
    Clay,
    /// The ratio of two cations as the lab prints it, by charge or by mass as the lab sees fit: one
    /// of [`RATIOS`]. Held against the cells, and never a level.
    Ratio(Element, Element),
}

/// The ratios that sheets print.
pub const RATIOS: [(Element, Element); 3] =
    [(Element::Ca, Element::Mg), (Element::Ca, Element::K), (Element::Mg, Element::K)];

impl Analyte {
    /// Every analyte a sheet may carry: the measured properties, then all elements.
    pub fn all() -> impl Iterator<Item = Analyte> {
        let plain = [
            Analyte::Ph,
            Analyte::BufferPh,
            Analyte::OrganicMatter,
            Analyte::OrganicCarbon,
            Analyte::Carbonate,
            Analyte::ExchangeCapacity,
            Analyte::Acidity,
            Analyte::BaseSaturation,
            Analyte::Conductivity,
            Analyte::NitrateN,
            Analyte::AmmoniumN,
            Analyte::Clay,
        ];
        let cations = Element::ALL.iter().copied().filter(|e| e.cation_charge().is_some());
        plain
            .into_iter()
            .chain(Element::ALL.iter().copied().map(Analyte::Element))
            .chain(cations.map(Analyte::Saturation))
            .chain(RATIOS.map(|(over, under)| Analyte::Ratio(over, under)))
    }

    /// The element that a dose of fertiliser could supply for it, where there is one.
    pub fn element(self) -> Option<Element> {
        match self {
            Analyte::Element(element) => Some(element),
            Analyte::NitrateN | Analyte::AmmoniumN => Some(Element::N),
            _ => None,
        }
    }

    /// Whether it is a printed ratio, which says nothing of how much of anything there is.
    pub const fn is_ratio(self) -> bool {
        matches!(self, Analyte::Ratio(..))
    }

    /// The name on a page.
    pub fn name(self) -> String {
        match self {
            Analyte::Element(element) => capitalised(element.name()),
            Analyte::NitrateN => "Nitrate-N".into(),
            Analyte::AmmoniumN => "Ammonium-N".into(),
            Analyte::Ph => "pH".into(),
            Analyte::BufferPh => "Buffer pH".into(),
            Analyte::ExchangeCapacity => "Exchange capacity".into(),
            Analyte::Acidity => "Exchangeable acidity".into(),
            Analyte::Saturation(element) => format!("{} saturation", capitalised(element.name())),
            Analyte::BaseSaturation => "Base saturation".into(),
            Analyte::OrganicMatter => "Organic matter".into(),
            Analyte::OrganicCarbon => "Organic carbon".into(),
            Analyte::Carbonate => "Carbonate (as CaCO₃)".into(),
            Analyte::Conductivity => "Conductivity (EC)".into(),
            Analyte::Clay => "Clay".into(),
            Analyte::Ratio(over, under) => format!("{} to {}, ratio", capitalised(over.name()), under.name()),
        }
    }

    /// The short form for table heads.
    pub fn short(self) -> String {
        match self {
            Analyte::Element(element) => element.symbol().into(),
            Analyte::NitrateN => "NO₃-N".into(),
            Analyte::AmmoniumN => "NH₄-N".into(),
            Analyte::ExchangeCapacity => "CEC".into(),
            Analyte::Saturation(element) => format!("{element} sat."),
            Analyte::OrganicMatter => "OM".into(),
            Analyte::OrganicCarbon => "OC".into(),
            Analyte::Carbonate => "CaCO₃".into(),
            Analyte::Conductivity => "EC".into(),
            Analyte::Ratio(over, under) => format!("{over}:{under}"),
            other => other.name(),
        }
    }
}

fn capitalised(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

impl fmt::Display for Analyte {
    /// The key used in the record, in CSV files and in addresses: `P`, `ph`, `nitrate_n`, `saturation_Ca`, `ratio_Ca_Mg`.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Analyte::Element(element) => f.write_str(element.symbol()),
            Analyte::NitrateN => f.write_str("nitrate_n"),
            Analyte::AmmoniumN => f.write_str("ammonium_n"),
            Analyte::Ph => f.write_str("ph"),
            Analyte::BufferPh => f.write_str("buffer_ph"),
            Analyte::ExchangeCapacity => f.write_str("cec"),
            Analyte::Acidity => f.write_str("acidity"),
            Analyte::Saturation(element) => write!(f, "saturation_{element}"),
            Analyte::BaseSaturation => f.write_str("base_saturation"),
            Analyte::OrganicMatter => f.write_str("organic_matter"),
            Analyte::OrganicCarbon => f.write_str("organic_carbon"),
            Analyte::Carbonate => f.write_str("carbonate"),
            Analyte::Conductivity => f.write_str("ec"),
            Analyte::Clay => f.write_str("clay"),
            Analyte::Ratio(over, under) => write!(f, "ratio_{over}_{under}"),
        }
    }
}

impl FromStr for Analyte {
    type Err = String;

    /// Reads the key that [`Analyte`]'s `Display` writes, in any case.
    fn from_str(text: &str) -> Result<Self, String> {
        // Made once: a page of many plots reads thousands of keys.
        static KEYS: LazyLock<BTreeMap<String, Analyte>> = LazyLock::new(|| {
            Analyte::all().map(|analyte| (analyte.to_string().to_ascii_lowercase(), analyte)).collect()
        });
        let text = text.trim();
        KEYS.get(text.to_ascii_lowercase().as_str())
            .copied()
            .ok_or_else(|| format!("“{text}” is not an analyte known here"))
    }
}

impl From<Analyte> for String {
    fn from(analyte: Analyte) -> String {
        analyte.to_string()
    }
}

impl TryFrom<String> for Analyte {
    type Error = String;

    fn try_from(text: String) -> Result<Self, String> {
        text.parse()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_reads_back() {
        for analyte in Analyte::all() {
            assert_eq!(analyte.to_string().parse(), Ok(analyte));
        }
    }
}
