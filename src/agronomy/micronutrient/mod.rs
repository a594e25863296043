//! Trace elements: the manganese index of level and pH, and what different authors found to be
//! short, usual or harmful, side by side. It gives context and never a dose: authors differ
//! threefold for one element, and what is usually found is not an aim.

mod advised;
mod foliar;

pub use advised::{Advised, Tissue};
pub use foliar::{FOLIAR, SPRAYS, Spray};

use super::{
    analyte::Analyte,
    element::Element,
    ground::Texture,
    lime::in_water,
    method::Method,
    reading::{Level, Reading, number},
    source::{Citation, Evidence, Source},
    working::{Figure, Origin, Working},
};
use serde::Deserialize;
use std::sync::LazyLock;

/// Who prints a manganese availability index.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum IndexOf {
    /// 101.7 + 3.75 × Mn in mg/kg by Mehlich-3 − 15.2 × pH.
    Rutgers,
    /// 101.2 + 0.6 × Mn-I − 15.2 × pH, Mn-I being mg/L by Mehlich-3 ÷ 0.16.
    NorthCarolina,
}

impl IndexOf {
    const fn source(self) -> Source {
        match self {
            IndexOf::Rutgers => Source {
                publisher: "Rutgers NJAES Soil Testing Laboratory",
                title: "Relative levels of nutrients: manganese availability index",
                year: 0,
                address: "https://njaes.rutgers.edu/soil-testing-lab/relative-levels-of-nutrients.php",
                evidence: Evidence::Read,
            },
            IndexOf::NorthCarolina => Source {
                publisher: "North Carolina Department of Agriculture & Consumer Services, Circular 1",
                title: "Table 2.3, manganese availability index, equation A",
                year: 2014,
                address: "http://www.ncagr.gov/agronomi/obt23h.htm",
                evidence: Evidence::Read,
            },
        }
    }
}

/// mg/L of Mehlich-3 manganese that make 1 on North Carolina's scale.
const MG_PER_L_PER_INDEX: f64 = 0.16;

const INDEX_SCALE: Source = Source {
    publisher: "North Carolina Department of Agriculture & Consumer Services",
    title: "Mn-I is mg/dm³ ÷ 0.16 (follows from Rutgers’ 3.75 against North Carolina’s 0.6)",
    year: 0,
    address: "",
    evidence: Evidence::Derived,
};

/// A manganese availability index.
#[derive(Clone, Debug, PartialEq)]
pub struct ManganeseIndex {
    /// A bare number; it may fall below zero on limy soil with little manganese.
    pub value: f64,
    /// "deficient" below 25, "high" from 100.
    pub class: &'static str,
    pub working: Working,
    pub notes: Vec<String>,
}

/// The index from a Mehlich-3 manganese and a pH in water, each publisher on its own basis.
pub fn manganese_index(of: IndexOf, manganese: &Reading, ph: &Reading) -> Result<ManganeseIndex, String> {
    if manganese.analyte != Analyte::Element(Element::Mn)
        || !matches!(manganese.method, Method::Mehlich3Icp | Method::Mehlich3Colour)
    {
        return Err("The manganese index is made for manganese by Mehlich-3.".into());
    }
    let Level::Ph(acid) = ph.level else { return Err("The index needs a soil pH.".into()) };
    if !in_water(&ph.method) {
        return Err("The index needs pH in water; this one was read in a salt solution. Enter pH in water.".into());
    }
    match (of, manganese.level) {
        (IndexOf::Rutgers, Level::MgPerKg(mg)) => {
            let inputs = [manganese.working.clone(), ph.working.clone()];
            Ok(index(of, 101.7, 3.75, mg.0, acid, inputs))
        }
        (IndexOf::NorthCarolina, Level::MgPerL(mg)) => {
            let scale = mg.0 / MG_PER_L_PER_INDEX;
            let step = Working::step(
                "Manganese on North Carolina’s scale",
                Figure::new(scale, "", 0),
                format!("{} mg/L ÷ 0.16 = {}", number(mg.0), number(scale)),
                [manganese.working.clone()],
            )
            .cite(INDEX_SCALE);
            Ok(index(of, 101.2, 0.6, scale, acid, [step, ph.working.clone()]))
        }
        (IndexOf::Rutgers, _) => Err("Rutgers’ index asks for manganese by mass of soil.".into()),
        (IndexOf::NorthCarolina, _) => Err("North Carolina’s index asks for manganese by volume of soil.".into()),
    }
}

fn index(of: IndexOf, constant: f64, per_unit: f64, level: f64, ph: f64, inputs: [Working; 2]) -> ManganeseIndex {
    let value = constant + per_unit * level - 15.2 * ph;
    let class = match value {
        v if v < 25.0 => "deficient",
        v if v < 100.0 => "enough",
        _ => "high",
    };
    let formula = format!("{constant} + {per_unit} × {} − 15.2 × {} = {}", number(level), number(ph), number(value));
    let working =
        Working::step("Manganese availability index", Figure::new(value, "", 0), formula, inputs).cite(of.source());
    let mut notes = Vec::new();
    if class == "deficient" && ph > 6.5 {
        notes.push("Manganese is locked up by the pH more than missing; lowering an overlimed pH helps more than manganese on the soil.".into());
    }
    ManganeseIndex { value, class, working, notes }
}

/// A published level below which crops were found short.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ShortBelow {
    pub element: Element,
    pub methods: Vec<Method>,
    /// mg/kg; the two are equal where the author gives one figure.
    pub below: (f64, f64),
    #[serde(default)]
    pub textures: Vec<Texture>,
    /// From the first, below the second.
    pub ph: Option<(f64, f64)>,
    /// Mehlich-3 phosphorus, mg/kg: from the first, below the second.
    pub phosphorus: Option<(f64, f64)>,
    /// The soil or crop it was found for.
    #[serde(default)]
    pub words: String,
    /// The publisher does not say how it was drawn out of the soil, so no result is judged by it.
    #[serde(default)]
    pub extract_unstated: bool,
    pub source: Citation,
}

/// What is usually found.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Usual {
    pub element: Element,
    pub methods: Vec<Method>,
    pub range: (f64, f64),
    pub source: Citation,
}

/// A level from which harm was found or is warned of.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct HarmFrom {
    pub element: Element,
    pub methods: Vec<Method>,
    pub from: f64,
    /// Printed as "above": `from` itself does no harm yet.
    #[serde(default)]
    pub above: bool,
    /// mg/L of soil instead of mg/kg.
    #[serde(default)]
    pub by_volume: bool,
    pub words: String,
    pub source: Citation,
}

impl HarmFrom {
    fn harms(&self, level: f64) -> bool {
        level > self.from || (!self.above && level >= self.from)
    }
}

#[derive(Default, Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    limit: Vec<ShortBelow>,
    typical: Vec<Usual>,
    harm: Vec<HarmFrom>,
}

static LIMITS: LazyLock<File> =
    LazyLock::new(|| toml::from_str(include_str!("limits.toml")).expect("the embedded limits are checked by a test"));

/// Every published level of shortage.
pub fn short_below() -> &'static [ShortBelow] {
    &LIMITS.limit
}

/// What the plot is like, as far as the limits ask.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Conditions {
    pub texture: Texture,
    /// pH in water.
    pub ph: Option<f64>,
    /// Mehlich-3 phosphorus, mg/kg.
    pub phosphorus: Option<f64>,
}

impl ShortBelow {
    fn holds(&self, conditions: &Conditions) -> Result<(), String> {
        if !self.textures.is_empty() && !self.textures.contains(&conditions.texture) {
            return Err(format!("made for {}; this plot is {}", self.words, conditions.texture.label()));
        }
        let within = |range: Option<(f64, f64)>, value: Option<f64>, what: &str| match (range, value) {
            (Some((from, to)), Some(value)) if !(from..to).contains(&value) => {
                Err(format!("made for {}; this plot's {what} is {}", self.words, number(value)))
            }
            (Some(_), None) => Err(format!("made for {}, and no {what} was read", self.words)),
            _ => Ok(()),
        };
        within(self.ph, conditions.ph, "pH")?;
        within(self.phosphorus, conditions.phosphorus, "phosphorus")
    }
}

/// One author's word on a reading.
#[derive(Clone, Debug, PartialEq)]
pub struct Opinion {
    pub limit: &'static ShortBelow,
    /// "short", "enough", or "marginal" between an author's two figures.
    pub says: &'static str,
}

/// Everything published about a trace element at this level, without an aim.
#[derive(Clone, Debug, PartialEq)]
pub struct Context {
    pub opinions: Vec<Opinion>,
    /// Limits for the same test that do not fit the plot, and why.
    pub not_for_this_plot: Vec<(&'static ShortBelow, String)>,
    pub usual: Vec<&'static Usual>,
    pub harm: Vec<&'static HarmFrom>,
    /// The whole in a sentence or two.
    pub summary: String,
    pub notes: Vec<String>,
}

/// What authors say of a trace element by its own test. Limits known from memory are left out
/// unless asked for.
pub fn context(reading: &Reading, conditions: &Conditions, with_memory: bool) -> Result<Context, String> {
    let Analyte::Element(element) = reading.analyte else { return Err("This is not a trace element.".into()) };
    if !matches!(element, Element::B | Element::Cu | Element::Fe | Element::Mn | Element::Zn | Element::Mo) {
        return Err(format!("{} is not counted among the trace elements.", reading.analyte.name()));
    }
    let mut notes = Vec::new();
    let by_volume = matches!(reading.level, Level::MgPerL(_));
    let found = match reading.level {
        Level::MgPerKg(v) => v.0,
        Level::MgPerL(v) => v.0,
        _ => return Err("This is not a level of a trace element.".into()),
    };
    let (mut opinions, mut not_for_this_plot) = (Vec::new(), Vec::new());
    let same_test = |methods: &[Method]| methods.contains(&reading.method);
    for limit in LIMITS.limit.iter().filter(|l| l.element == element && same_test(&l.methods)) {
        if limit.source.evidence == Evidence::Memory && !with_memory {
            not_for_this_plot.push((limit, "known only from memory, and switched off".into()));
        } else if limit.extract_unstated {
            let best = if limit.words.is_empty() { String::new() } else { format!("; {}", limit.words) };
            not_for_this_plot.push((limit, format!("the publisher does not say by which extract{best}")));
        } else if by_volume {
            not_for_this_plot.push((limit, "printed by mass of soil; the sheet counts by volume".into()));
        } else if let Err(why) = limit.holds(conditions) {
            not_for_this_plot.push((limit, why));
        } else {
            let says = match found {
                v if v < limit.below.0 => "short",
                v if v < limit.below.1 => "marginal",
                _ => "enough",
            };
            opinions.push(Opinion { limit, says });
        }
    }
    let usual: Vec<_> =
        LIMITS.typical.iter().filter(|t| t.element == element && same_test(&t.methods) && !by_volume).collect();
    let harm: Vec<_> = LIMITS
        .harm
        .iter()
        .filter(|h| h.element == element && same_test(&h.methods) && h.by_volume == by_volume && h.harms(found))
        .collect();
    if !usual.is_empty() {
        notes.push("What is usually found is no aim: a level below it is no reason to give any.".into());
    }
    if !reading.is_exact() {
        notes.push(format!("The lab gave only a limit ({}).", reading.figure()));
    }
    let short = opinions.iter().filter(|o| o.says == "short").count();
    let name = reading.analyte.name();
    let mut summary = match opinions.len() {
        0 if reading.method == Method::Unstated => format!(
            "The sheet does not say how {} was drawn out of the soil, and every published level belongs to one \
             extraction: ask the laboratory, and choose it as the method of the line.",
            name.to_lowercase()
        ),
        0 => format!("No published level for {} by {} fits this plot.", name.to_lowercase(), reading.method.label()),
        all => format!(
            "{} published {} that {} this plot {} {} {} short.",
            match short {
                0 if all == 1 => "The one".to_owned(),
                0 => format!("None of the {all}"),
                n if n == all && all == 1 => "The one".to_owned(),
                n if n == all => format!("All {all}"),
                n => format!("{n} of {all}"),
            },
            if all == 1 { "level" } else { "levels" },
            if all == 1 { "fits" } else { "fit" },
            match short {
                0 if all == 1 => "does not call",
                0 | 1 => "calls",
                _ => "call",
            },
            name.to_lowercase(),
            reading.figure()
        ),
    };
    if let Some(worst) = harm.first() {
        summary.push_str(&format!(" It is so high that {} warns of harm: give none.", worst.source.publisher));
    }
    Ok(Context { opinions, not_for_this_plot, usual, harm, summary, notes })
}

/// The published figures of a limit as a leaf of a working.
pub fn limit_working(limit: &ShortBelow) -> Working {
    Working::leaf(
        format!("{} short below", limit.element.name()),
        Figure::new(limit.below.1, "mg/kg", 2),
        Origin::Published,
    )
    .cite(limit.source.clone())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_embedded_limits_are_read_and_each_is_cited() {
        assert!(LIMITS.limit.len() > 20 && LIMITS.typical.len() == 5 && LIMITS.harm.len() == 10);
        for limit in short_below() {
            assert!(limit.below.0 <= limit.below.1 && !limit.methods.is_empty() && !limit.source.title.is_empty());
            let conditional = !limit.textures.is_empty() || limit.ph.is_some() || limit.phosphorus.is_some();
            assert!(!conditional || !limit.words.is_empty(), "{limit:?}");
        }
    }
}
