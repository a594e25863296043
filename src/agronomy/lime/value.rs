//! From pure calcium carbonate to a product on the pallet: neutralising value, fineness,
//! moisture, and the most that is to go on at once. Sieve fractions are used as they stand:
//! those that do not come to 100 % are said to, and never stretched to fit.

use super::Requirement;
use crate::agronomy::{
    amendment::{MOST_NEUTRALISING, lime_for_value},
    element::{Element, Formula},
    quantity::KgPerHa,
    reading::number,
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

/// What a product neutralises.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum LimeValue {
    /// % of pure calcium carbonate (CCE, TNV, ECC).
    Carbonate(f64),
    /// % as calcium oxide (the British and German way); pure limestone is 56.
    CalciumOxide(f64),
    /// Effective neutralising power in lb per short ton, which has fineness and moisture in it.
    EffectiveLbPerTon(f64),
}

impl LimeValue {
    /// The value as % of pure calcium carbonate, or why it is none.
    pub fn percent_of_carbonate(self) -> Result<f64, String> {
        let percent = match self {
            LimeValue::Carbonate(percent) => percent,
            LimeValue::CalciumOxide(percent) => percent * carbonate_per_oxide(),
            LimeValue::EffectiveLbPerTon(lb) => lb / 2000.0 * 100.0,
        };
        if percent > 0.0 && percent <= MOST_NEUTRALISING {
            Ok(percent)
        } else {
            Err(format!("{} is not the neutralising value of a lime.", self.words()))
        }
    }

    /// The value as it is printed: "90 % of CaCO₃".
    pub fn words(self) -> String {
        match self {
            LimeValue::Carbonate(percent) => format!("{} % of CaCO₃", number(percent)),
            LimeValue::CalciumOxide(percent) => format!("{} % as CaO", number(percent)),
            LimeValue::EffectiveLbPerTon(lb) => format!("{} lb of effective value per ton", number(lb)),
        }
    }
}

/// kg of calcium carbonate that neutralise as much as 1 kg of calcium oxide: 1.785.
fn carbonate_per_oxide() -> f64 {
    neutralising_value_of("CaO").map_or(f64::NAN, |percent| percent / 100.0)
}

/// What a pure carbonate, hydroxide or oxide of calcium and magnesium neutralises, % of pure
/// calcium carbonate: each atom of either stands for one CaCO₃. `None` for a formula without
/// them, or with an acid part that spends them (sulfate, phosphate, chloride).
pub fn neutralising_value_of(formula: &str) -> Option<f64> {
    let formula = formula.parse::<Formula>().ok()?;
    let basic = [Element::Ca, Element::Mg, Element::C, Element::O, Element::H];
    let atoms = |element| formula.atoms().get(&element).copied().unwrap_or(0);
    let metals = atoms(Element::Ca) + atoms(Element::Mg);
    let carbonate = "CaCO3".parse::<Formula>().ok()?;
    (metals > 0 && formula.atoms().keys().all(|element| basic.contains(element)))
        .then(|| 100.0 * f64::from(metals) * carbonate.molar_mass() / formula.molar_mass())
}

/// How a publisher counts particles of each size.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct FinenessScheme {
    pub slug: &'static str,
    /// Whose it is, and its sieves.
    pub name: &'static str,
    /// Sieve class from fine to coarse, with the share that counts, 0 to 1.
    pub classes: &'static [(&'static str, f64)],
    pub source: Source,
}

/// The schemes known here; a lime has a different value by each.
pub const FINENESS_SCHEMES: &[FinenessScheme] = &[
    FinenessScheme {
        slug: "scma",
        name: "Australasia: sieves of 60, 20 and 8 mesh",
        classes: &[
            ("finer than 60 mesh", 1.0),
            ("20 to 60 mesh", 0.6),
            ("8 to 20 mesh", 0.2),
            ("coarser than 8 mesh", 0.0),
        ],
        source: Source {
            publisher: "Rayment & Lyons, CSIRO Publishing",
            title: "Soil Chemical Methods – Australasia, fineness of agricultural lime",
            year: 2011,
            address: "https://github.com/ANZSoilData/def-au-scma",
            evidence: Evidence::Read,
        },
    },
    FinenessScheme {
        slug: "new_york",
        name: "New York: sieves of 100, 60 and 20 mesh, within one year",
        classes: &[
            ("finer than 100 mesh", 1.0),
            ("60 to 100 mesh", 0.8),
            ("20 to 60 mesh", 0.4),
            ("coarser than 20 mesh", 0.0),
        ],
        source: Source {
            publisher: "Cornell University, Northeast Region Certified Crop Adviser study resources",
            title: "Performance objective 41: fineness of lime, reaction within one year",
            year: 0,
            address: "https://nrcca.cals.cornell.edu",
            evidence: Evidence::Read,
        },
    },
];

/// Sieves that a publisher weighs lime by, of which not every weight could be read: nothing is
/// worked out from them, and a reader is told why.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct UnreadScheme {
    /// Whose it is, and its sieves.
    pub name: &'static str,
    /// What was read of it, and what not.
    pub known: &'static str,
    pub source: Source,
}

impl UnreadScheme {
    /// What stands in the place of a result.
    pub fn why(&self) -> String {
        format!(
            "{} So nothing is worked out from these sieves. The label gives the effective value in pounds per ton: type that as the value, and no sieves.",
            self.known
        )
    }
}

/// Schemes of which the weights in the middle were not found in print.
pub const UNREAD_SCHEMES: &[UnreadScheme] = &[
    UnreadScheme {
        name: "Ohio: sieves of 8, 20, 60 and 100 mesh",
        known: "What passes 100 mesh counts in full and the size of 20 mesh for a fifth; what the sizes between count for was not found in print.",
        source: Source {
            publisher: "Ohio Aggregates & Industrial Minerals Association",
            title: "Ohio’s Effective Neutralizing Power for Aglime",
            year: 0,
            address: "http://www.oaima.org/aws/OAIMA/pt/sp/aglime_enp",
            evidence: Evidence::Read,
        },
    },
    UnreadScheme {
        name: "Minnesota: sieves of 8, 20 and 60 mesh, within three years",
        known: "What passes 60 mesh counts in full; what the two coarser sizes count for was not found in print.",
        source: Source {
            publisher: "Minnesota Department of Agriculture",
            title: "Agricultural Liming Materials Analysis Explanation",
            year: 0,
            address: "http://www.mda.state.mn.us/licensing/licensetypes/limeprogram/limealm.aspx",
            evidence: Evidence::Read,
        },
    },
];

impl FinenessScheme {
    /// Finds a scheme by its key.
    pub fn find(slug: &str) -> Option<FinenessScheme> {
        FINENESS_SCHEMES.iter().copied().find(|s| s.slug == slug)
    }

    /// The share of a lime that counts, 0 to 1, from its fractions in %, fine to coarse.
    pub fn share(&self, fractions: &[f64]) -> Result<(f64, Working), String> {
        if fractions.len() != self.classes.len() {
            let classes: Vec<_> = self.classes.iter().map(|(name, _)| *name).collect();
            return Err(format!("This scheme asks for {} fractions: {}.", classes.len(), classes.join(", ")));
        }
        if fractions.iter().any(|f| !f.is_finite() || *f < 0.0) {
            return Err("A sieve fraction cannot be below zero.".into());
        }
        let total: f64 = fractions.iter().sum();
        if total > 100.5 {
            return Err(format!(
                "The fractions come to {} %, more than the whole: perhaps they are “passing” figures, which add up as they go.",
                number(total)
            ));
        }
        let share: f64 = fractions.iter().zip(self.classes).map(|(f, (_, weight))| f * weight).sum::<f64>() / 100.0;
        let terms: Vec<String> =
            fractions.iter().zip(self.classes).map(|(f, (_, weight))| format!("{} × {weight}", number(*f))).collect();
        let inputs = fractions
            .iter()
            .zip(self.classes)
            .map(|(f, (name, _))| Working::leaf(*name, Figure::new(*f, "%", 1), Origin::Entered));
        let mut working = Working::step(
            "Fine enough to count",
            Figure::new(share * 100.0, "%", 2),
            format!("{} = {} %", terms.join(" + "), number(share * 100.0)),
            inputs,
        )
        .cite(self.source);
        if (total - 100.0).abs() > 0.05 {
            working = working.note(format!(
                "The fractions come to {} %, not 100; they are used as printed, and the rest counts as nothing.",
                number(total)
            ));
        }
        Ok((share, working))
    }
}

/// Fractions from a "% passing" analysis, sieves given from the finest to the coarsest; the
/// last fraction returned is what stays on the coarsest sieve.
pub fn fractions_from_passing(passing: &[f64]) -> Result<Vec<f64>, String> {
    if passing.is_empty() || passing.iter().any(|p| !(0.0..=100.0).contains(p)) {
        return Err("“Passing” figures lie between 0 and 100 %.".into());
    }
    if passing.windows(2).any(|pair| pair[1] < pair[0]) {
        return Err("A coarser sieve passes at least as much as a finer one; these figures do not.".into());
    }
    let ends = [&[0.0][..], passing, &[100.0]].concat();
    Ok(ends.windows(2).map(|pair| pair[1] - pair[0]).collect())
}

/// A liming product.
#[derive(Clone, Debug, PartialEq)]
pub struct LimeProduct<'a> {
    pub value: LimeValue,
    /// The publisher's scheme with the product's fractions in %, fine to coarse.
    pub fineness: Option<(FinenessScheme, &'a [f64])>,
    /// Water, % of the product as it is spread.
    pub moisture_percent: Option<f64>,
}

/// How much of a product does the work.
#[derive(Clone, Debug, PartialEq)]
pub struct ProductRate {
    pub kg_per_ha: KgPerHa,
    /// Effective value, % of pure fine dry calcium carbonate.
    pub effective_percent: f64,
    pub working: Working,
    pub notes: Vec<String>,
}

/// What lime in the field is worth where nobody had it tested, % of pure calcium carbonate.
pub const FARM_LIME_PERCENT: f64 = 73.0;

/// Who found it.
pub const FARM_LIME: Source = Source {
    publisher: "University of Georgia",
    // Its title does not stand on the page of its record.
    title: "Thesis, record 16037 (abstract): five farm limes were on average 73 % as effective as reagent-grade calcium carbonate",
    year: 0,
    address: "https://openscholar.uga.edu/record/16037",
    evidence: Evidence::Read,
};

/// Lb of effective value in a short ton, as labels have it in Ohio (Department of Agriculture,
/// Liming Material) and Minnesota (Rules, 1508.0015, subpart 8): fineness times neutralising power
/// times dry matter, which come as a share in % of pure calcium carbonate.
pub fn lb_per_ton(effective_percent: f64) -> f64 {
    effective_percent / 100.0 * 2000.0
}

/// How much of a farm lime of average value does what so much of one reckoned as pure would.
pub fn as_farm_lime(pure: KgPerHa) -> KgPerHa {
    KgPerHa(lime_for_value(pure.0, 100.0, FARM_LIME_PERCENT).unwrap_or(f64::NAN))
}

impl LimeProduct<'_> {
    /// Effective value, % of pure fine dry calcium carbonate: value × fineness × (1 − moisture).
    pub fn effective_percent(&self) -> Result<(f64, Working, Vec<String>), String> {
        let percent = self.value.percent_of_carbonate()?;
        let effective = matches!(self.value, LimeValue::EffectiveLbPerTon(_));
        let mut notes = Vec::new();
        let leaf = Working::leaf(
            format!("Value on the label: {}", self.value.words()),
            Figure::new(percent, "%", 1),
            Origin::Entered,
        );
        let mut inputs = vec![leaf];
        let mut formula = format!("{} %", number(percent));
        let mut result = percent;
        match self.fineness {
            Some(_) if effective => {
                return Err(
                    "An effective value has the fineness in it already; counting it twice would double the lime."
                        .into(),
                );
            }
            Some((scheme, fractions)) => {
                let (share, working) = scheme.share(fractions)?;
                formula.push_str(&format!(" × {}", number(share)));
                notes.extend(working.notes.iter().cloned());
                inputs.push(working);
                result *= share;
            }
            None if !effective => notes.push("The fineness is not known; all of it is counted as fine.".into()),
            None => {}
        }
        match self.moisture_percent {
            Some(_) if effective => return Err("An effective value has the moisture in it already.".into()),
            Some(water) if !(0.0..100.0).contains(&water) => {
                return Err("Moisture lies between 0 and 100 %.".into());
            }
            Some(water) => {
                formula.push_str(&format!(" × (1 − {} ÷ 100)", number(water)));
                inputs.push(Working::leaf("Moisture", Figure::new(water, "%", 0), Origin::Entered));
                result *= 1.0 - water / 100.0;
            }
            None if !effective => notes.push("The moisture is not known; it is counted as dry.".into()),
            None => {}
        }
        if result <= 0.0 {
            return Err("Nothing of this lime is fine enough to work.".into());
        }
        formula.push_str(&format!(" = {} %", number(result)));
        let working = Working::step("Effective value", Figure::new(result, "%", 1), formula, inputs);
        Ok((result, working, notes))
    }

    /// The product that brings a requirement.
    pub fn rate(&self, requirement: &Requirement) -> Result<ProductRate, String> {
        let (effective_percent, value_working, mut notes) = self.effective_percent()?;
        let kg_per_ha = requirement.carbonate.0 * 100.0 / effective_percent;
        let formula = format!(
            "{} kg/ha × 100 ÷ {} = {} kg/ha",
            number(requirement.carbonate.0),
            number(effective_percent),
            number(kg_per_ha)
        );
        let figure = Figure::significant(kg_per_ha, KgPerHa::UNIT, 3);
        let working = Working::step("Product to give", figure, formula, [requirement.working.clone(), value_working]);
        if self.fineness.is_some() {
            notes.push(format!(
                "As labels in Ohio and Minnesota print it, it has {} lb of effective value in a short ton.",
                number(lb_per_ton(effective_percent).round())
            ));
        }
        if self.value == LimeValue::Carbonate(100.0) {
            notes.push(format!(
                "It is reckoned as pure. Lime from a farm heap averages {FARM_LIME_PERCENT} % of that ({FARM_LIME}): it would take {} kg/ha of such. Ask for the value of yours.",
                number(as_farm_lime(KgPerHa(kg_per_ha)).0.round())
            ));
        }
        Ok(ProductRate { kg_per_ha: KgPerHa(kg_per_ha), effective_percent, working, notes })
    }
}
