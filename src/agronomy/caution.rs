//! Cautions that ride with amendments: on the plan, the weigh-out sheet and the
//! application form.
//!
//! Short, plain, each with its source. They never replace the product's own label,
//! local rules or licensed advice, and never say that anything is safe or allowed.

use super::{
    amendment::{Amendment, Kind},
    element::{Element, Formula},
    guideline::{SplitOf, SplitRule, shipped_splits},
    quantity::{KgPerHa, SoilLayer},
    rate::RateUnit,
    record::keyed,
    source::{Citation, Evidence, Source},
};
use serde::{Deserialize, Serialize};
use std::{borrow::Cow, str::FromStr, sync::Arc};

/// A caution, by what it warns of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Caution {
    BoronNarrow,
    BoronHealth,
    TraceElement,
    CausticDust,
    SulfurDust,
    MetalSalt,
    AquaticHazard,
    ManurePathogens,
    PoultryAtOnce,
    AshAlkaline,
    LimeAmmonium,
    EpsomSplit,
    LimeSplit,
    ChlorideSalt,
    SaltLoad,
    SulfurOnCarbonate,
    AcidSoilOnly,
    ContaminatedGround,
    NearWater,
    GeneralDust,
}

keyed!(Caution {
    BoronNarrow "boron_narrow" "Boron: little between enough and too much",
    BoronHealth "boron_health" "Boron salts: handle with care",
    TraceElement "trace_element" "Trace element: stays in the soil",
    CausticDust "caustic_dust" "Caustic dust",
    SulfurDust "sulfur_dust" "Sulfur dust",
    MetalSalt "metal_salt" "Metal salt: harmful if swallowed, hurts eyes",
    AquaticHazard "aquatic_hazard" "Poisons water life",
    ManurePathogens "manure_pathogens" "Manure: germs and waiting days",
    PoultryAtOnce "poultry_at_once" "Poultry manure: so much at once in England",
    AshAlkaline "ash_alkaline" "Ash raises pH",
    LimeAmmonium "lime_ammonium" "Lime and ammonium apart",
    EpsomSplit "epsom_split" "Split a large dose of Epsom salt",
    LimeSplit "lime_split" "Split a large dose of lime",
    ChlorideSalt "chloride_salt" "Chloride",
    SaltLoad "salt_load" "Brings salts and more nutrients than one",
    SulfurOnCarbonate "sulfur_on_carbonate" "Sulfur cannot sour soil with free lime",
    AcidSoilOnly "acid_soil_only" "Works on acid soil only",
    ContaminatedGround "contaminated_ground" "Ground that may be contaminated",
    NearWater "near_water" "Close to water",
    GeneralDust "general_dust" "Fine dust: wear a mask",
});

const fn source(publisher: &'static str, title: &'static str, address: &'static str, evidence: Evidence) -> Source {
    Source { publisher, title, year: 0, address, evidence }
}

const CLP: Source = source(
    "EU Regulation 1272/2008 (CLP), classifications in force for the pure substance",
    "Annex VI and registration dossiers",
    "https://eur-lex.europa.eu/eli/reg/2008/1272/oj",
    Evidence::Memory,
);
const WOOD_ASHES: Source = source(
    "Extension note on wood ashes (1991), kept at sunsite.unc.edu",
    "Wood ashes (1991): 10 to 20 lb/1000 ft² a year, never at pH 7 or above",
    "https://sunsite.unc.edu/london/agriculture/general/1/msg00108.html",
    Evidence::Read,
);

impl Caution {
    /// What a person is told. Plain words; the product's own label always comes first.
    pub fn text(self) -> Cow<'static, str> {
        let text = match self {
            Caution::BoronNarrow => {
                "Weigh boron in grams, spread it evenly over the whole bed and never put it in contact with seed. \
                 Grow no beans or peas where it went, this year or next. Count every source of it in the season’s total."
            }
            Caution::BoronHealth => {
                "Borax, boric acid and octaborate can harm fertility and the unborn child. Gloves and dust mask; keep \
                 from children, pregnant people stay away. Sale to the public is restricted in some countries. \
                 Follow the product’s own label."
            }
            Caution::TraceElement => {
                "Give it only on the evidence of a test. Too much cannot be taken out again, and what is enough for \
                 one crop can poison another. Test again before giving more."
            }
            Caution::CausticDust => {
                "Burnt and hydrated lime and ash burn skin, eyes and lungs, worst when damp. Goggles, gloves, dust mask, \
                 a still day. Follow the product’s own label."
            }
            Caution::SulfurDust => {
                "Sulfur dust irritates eyes and skin and can catch fire or explode in the air of a closed shed. No \
                 flame, no spark, no dust cloud. Follow the product’s own label."
            }
            Caution::MetalSalt => {
                "Harmful if swallowed, can damage eyes. Goggles and gloves; keep dry, labelled and away from children. \
                 Follow the product’s own label."
            }
            Caution::AquaticHazard => {
                "Very poisonous to water life for a long time. None of it, and no rinsing water, into drains, ditches \
                 or ponds."
            }
            Caution::ManurePathogens => {
                "Raw manure can carry germs that make people ill. Keep it off crops eaten fresh: United States organic \
                 rules ask 120 days before harvest where the eaten part touches the soil, 90 days otherwise. Other \
                 rules may apply to you. Wash hands and tools."
            }
            Caution::PoultryAtOnce => {
                "Where nitrate is regulated in England: from the end of the closed period to the end of February at most \
                 8 t/ha of poultry manure at once, or 30 m³/ha of slurry, and three weeks between. On tilled land the \
                 closed period runs from 1 August to 31 December on sandy soil, from 1 October to 31 January on other. \
                 It does not hold in a greenhouse. Other rules may apply to you."
            }
            Caution::AshAlkaline => {
                "Wood ash is a lime and brings potassium. Do not use it where soil pH is 7 or above."
            }
            Caution::LimeAmmonium => {
                "Lime or ash drives ammonia out of manure, slurry, urea and ammonium fertiliser. Lime 7 to 10 days \
                 after them; if lime goes first, wait three months."
            }
            Caution::EpsomSplit | Caution::LimeSplit => return Cow::Owned(self.split_words()),
            Caution::ChlorideSalt => {
                "Brings chloride, which salt-sensitive crops (beans, strawberries, lettuce) and covered beds bear badly. \
                 Organic rules restrict it."
            }
            Caution::SaltLoad => {
                "Compost and manure dosed for nitrogen pile up phosphorus, potassium and salts, most of all under cover. \
                 Check conductivity, and count everything they bring."
            }
            Caution::SulfurOnCarbonate => "Where the soil fizzes, sulfur is spent on the free lime before pH can move.",
            Caution::AcidSoilOnly => "Dissolves in acid soil only, over years; idle where the pH is above 6.",
            Caution::ContaminatedGround => {
                "Old orchards, made ground, roadsides and plots beside old paint may hold lead, arsenic or other metals. \
                 A nutrient test does not show them. Ask for total metals and for advice from your health authority \
                 before growing food."
            }
            Caution::NearWater => {
                "Near wells, ditches, streams and ponds rules for keeping distance and closed seasons may apply. Local \
                 rules, the product’s own label and licensed advice come before anything printed here."
            }
            Caution::GeneralDust => "Fine powder: dust mask and a still day. Follow the product’s own label.",
        };
        Cow::Borrowed(text)
    }

    /// The material of a caution about parts.
    pub fn in_parts(self) -> Option<SplitOf> {
        match self {
            Caution::EpsomSplit => Some(SplitOf::EpsomSalt),
            Caution::LimeSplit => Some(SplitOf::Lime),
            _ => None,
        }
    }

    /// A caution about parts by the first rule that comes with the program.
    fn split_words(self) -> String {
        let rule = self.in_parts().and_then(|material| shipped_splits(material).next());
        rule.map_or_else(|| format!("{}.", self.label()), |rule| rule.caution())
    }

    /// Who says so.
    pub fn source(self) -> Citation {
        if let Some(rule) = self.in_parts().and_then(|material| shipped_splits(material).next()) {
            return rule.of.source.clone();
        }
        self.own_source().into()
    }

    /// The same for a caution that is no published rule for parts.
    pub const fn own_source(self) -> Source {
        match self {
            Caution::BoronNarrow => source(
                "Ontario dry bean agronomy",
                "Boron: no beans the year after boron on another crop; broadcast, never banded at seed",
                "https://drybeanagronomy.ca/boron/",
                Evidence::Read,
            ),
            Caution::BoronHealth | Caution::CausticDust | Caution::SulfurDust | Caution::MetalSalt => CLP,
            Caution::AquaticHazard => CLP,
            Caution::TraceElement => source(
                "University of California Small Farm Program",
                "Fertilizing, appendix: micronutrients",
                "https://sfp.ucanr.edu/pubs/Family_Farm_Series/Veg/Fertilizing/appendix/",
                Evidence::Derived,
            ),
            Caution::ManurePathogens => source(
                "USDA National Organic Program",
                "7 CFR 205.203(c): raw manure, 120 and 90 days before harvest",
                "https://www.ecfr.gov/current/title-7/section-205.203",
                Evidence::Memory,
            ),
            Caution::PoultryAtOnce => source(
                "Parliament of the United Kingdom",
                "The Nitrate Pollution Prevention Regulations 2015 (SI 2015/668, England), regulation 20",
                "https://www.legislation.gov.uk/id/uksi/2015/668/regulation/20/6",
                Evidence::Read,
            ),
            Caution::AshAlkaline => WOOD_ASHES,
            Caution::LimeAmmonium => source(
                "Agriland, quoting Teagasc",
                "Spacing of lime with slurry and urea",
                "https://www.agriland.ie",
                Evidence::Quoted,
            ),
            Caution::EpsomSplit | Caution::LimeSplit => {
                source("", "Large doses in parts", "", Evidence::CommonPractice)
            }
            Caution::ChlorideSalt => source(
                "USDA National Organic Program",
                "7 CFR 205.602: potassium chloride only if mined and applied so as to limit chloride",
                "https://www.ecfr.gov/current/title-7/section-205.602",
                Evidence::Memory,
            ),
            Caution::SaltLoad => source(
                "Penn State Extension (Burkhart 2002 data)",
                "Dealing with high soluble salt levels in high tunnels",
                "https://hightunnels.org/dealing-high-soluble-salt-levels-high-tunnels/",
                Evidence::Read,
            ),
            Caution::SulfurOnCarbonate => SULFUR_ON_CARBONATE,
            Caution::AcidSoilOnly => {
                source("", "Phosphate rock on soil of pH 6 and above", "", Evidence::CommonPractice)
            }
            Caution::ContaminatedGround => source(
                "US Environmental Protection Agency",
                "Residential soil lead screening levels (2024); a screening level, not a gardening limit",
                "https://www.epa.gov/superfund/updated-soil-lead-guidance-cercla-sites-and-rcra-corrective-action-facilities",
                Evidence::Quoted,
            ),
            Caution::NearWater => source(
                "European Union",
                "Nitrates Directive 91/676/EEC and national rules made under it, as one example",
                "https://eur-lex.europa.eu/legal-content/EN/TXT/?uri=LEGISSUM:l28013",
                Evidence::Quoted,
            ),
            Caution::GeneralDust => source("", "Handling of fine powders", "", Evidence::CommonPractice),
        }
    }
}

/// The most poultry manure that England's rule lets go on at once, 8 t/ha ([`Caution::PoultryAtOnce`]).
const POULTRY_AT_ONCE: KgPerHa = KgPerHa(8000.0);

/// A caution as it is shown: the standing text, and what this plot and dose add to it.
#[derive(Clone, Debug, PartialEq)]
pub struct CautionNote {
    pub caution: Caution,
    /// Plain words, complete in themselves.
    pub text: String,
    pub source: Citation,
}

impl From<Caution> for CautionNote {
    fn from(caution: Caution) -> Self {
        CautionNote { caution, text: caution.text().into_owned(), source: caution.source() }
    }
}

/// What is known of the plot and the dose; unknown is `None` or `false`, and only narrows
/// what can be said.
#[derive(Clone, Debug, Default)]
pub struct Context<'a> {
    pub ph: Option<f64>,
    /// Free carbonate in the soil, % as CaCO₃, where measured.
    pub carbonate_percent: Option<f64>,
    /// The plot shows any sign of free carbonate.
    pub carbonate_signs: bool,
    /// The layer that the amendment is mixed into, for the sulfur arithmetic.
    pub layer: Option<SoilLayer>,
    /// The dose of this amendment.
    pub dose: Option<KgPerHa>,
    /// What else goes on this plot in the same season.
    pub beside: &'a [&'a Amendment],
    /// The plot lies close to water.
    pub near_water: bool,
    /// The site's history gives reason to suspect contamination.
    pub suspect_ground: bool,
    /// The rules for parts that speak on the site; `None` goes by the first that comes with the program.
    pub splits: Option<&'a [Arc<SplitRule>]>,
}

impl Context<'_> {
    /// The first rule for a material that speaks here.
    fn split(&self, material: SplitOf) -> Option<&SplitRule> {
        match self.splits {
            Some(rules) => rules.iter().find(|rule| rule.material == material).map(Arc::as_ref),
            None => shipped_splits(material).next().map(Arc::as_ref),
        }
    }
}

/// The cautions that an amendment carries on this plot, the most particular first. With an
/// empty context: its standing cautions.
pub fn cautions_for(amendment: &Amendment, context: &Context) -> Vec<CautionNote> {
    let mut notes = Vec::new();
    for &caution in &amendment.cautions {
        let mut note = CautionNote::from(caution);
        match caution {
            // A split is worth saying when the dose asks for it, or when no dose is known yet.
            Caution::EpsomSplit | Caution::LimeSplit => {
                let Some(rule) = caution.in_parts().and_then(|material| context.split(material)) else { continue };
                note.source = rule.of.source.clone();
                note.text = match context.dose {
                    None => rule.caution(),
                    Some(dose) => {
                        // The most at once is printed for ground limestone: of a stronger lime less mass does as
                        // much, so the heavier of product and pure carbonate decides.
                        let value = amendment.analysis.neutralising_value.unwrap_or(0.0);
                        let times = rule.count(KgPerHa(dose.0.max(dose.0 * value / 100.0)));
                        if times < 2 {
                            continue;
                        }
                        let per_m2 = dose.grams_per_m2().0;
                        format!(
                            "{per_m2:.0} g/m² is much at once: give it in {times} parts, {} months apart.",
                            rule.months_apart
                        )
                    }
                };
            }
            // Worth saying where the dose goes beyond it, or when no dose is known yet.
            Caution::PoultryAtOnce => match context.dose {
                Some(dose) if dose.0 <= POULTRY_AT_ONCE.0 => continue,
                Some(dose) => {
                    let tonnes = RateUnit::TonnePerHa.show(dose);
                    note.text = format!("{tonnes:.2} t/ha is more than 8. {}", caution.text());
                }
                None => {}
            },
            Caution::AshAlkaline if context.ph.is_some_and(|ph| ph >= 7.0) => {
                note.text = format!("Soil pH here is {:.1}: leave wood ash off this plot.", context.ph.unwrap_or(7.0));
            }
            Caution::SulfurOnCarbonate => match (context.carbonate_percent, &context.layer) {
                (Some(carbonate), Some(layer)) if carbonate > 0.0 => {
                    let sulfur = sulfur_to_spend_carbonate(carbonate, layer);
                    note.text = format!(
                        "{carbonate} % of free lime in {} would use up {:.0} g of sulfur per m² before pH could move.",
                        layer.words(),
                        sulfur.grams_per_m2().0
                    );
                }
                _ if !context.carbonate_signs && context.ph.is_some() => continue,
                _ => {}
            },
            Caution::LimeAmmonium if !context.beside.is_empty() => {
                let clash = context.beside.iter().find(|other| {
                    other.slug != amendment.slug
                        && other.cautions.contains(&Caution::LimeAmmonium)
                        && other.raises_ph() != amendment.raises_ph()
                });
                match clash {
                    Some(other) => note.text = format!("With {}: {}", other.name, caution.text()),
                    None => continue,
                }
            }
            _ => {}
        }
        notes.push(note);
    }
    if context.near_water {
        notes.push(Caution::NearWater.into());
    }
    if context.suspect_ground {
        notes.push(Caution::ContaminatedGround.into());
    }
    notes
}

/// Cautions that the content of a product calls for, whatever was ticked: what a product
/// entered by a grower carries from its first day.
pub fn cautions_by_content(kind: Kind, content: impl Fn(Element) -> f64, manure: bool) -> Vec<Caution> {
    let mut cautions = Vec::new();
    // One per cent of boron or a trace metal is a micronutrient product; manures and meals hold far less.
    if content(Element::B) > 0.005 {
        cautions.extend([Caution::BoronNarrow, Caution::BoronHealth]);
    }
    if [Element::Zn, Element::Cu, Element::Mn, Element::Mo, Element::Fe].iter().any(|&e| content(e) > 0.01) {
        cautions.push(Caution::TraceElement);
    }
    if content(Element::Zn) > 0.01 || content(Element::Cu) > 0.01 {
        cautions.push(Caution::AquaticHazard);
    }
    if content(Element::Cl) > 0.1 {
        cautions.push(Caution::ChlorideSalt);
    }
    if content(Element::S) > 0.5 {
        cautions.extend([Caution::SulfurDust, Caution::SulfurOnCarbonate]);
    }
    match kind {
        Kind::Ash => cautions.extend([Caution::AshAlkaline, Caution::CausticDust, Caution::LimeAmmonium]),
        Kind::Lime => cautions.extend([Caution::LimeSplit, Caution::LimeAmmonium]),
        Kind::Compost => cautions.push(Caution::SaltLoad),
        _ => {}
    }
    if manure {
        cautions.extend([Caution::ManurePathogens, Caution::SaltLoad, Caution::LimeAmmonium]);
    }
    cautions.sort();
    cautions.dedup();
    cautions
}

/// Why sulfur cannot lower the pH of soil with free lime.
pub const SULFUR_ON_CARBONATE: Source = Source {
    publisher: "AGVISE Laboratories",
    title: "Lowering soil pH with elemental sulfur: 1 % CaCO₃ in 0 to 6 in takes 6,400 lb S/acre",
    year: 2025,
    address: "https://www.agvise.com",
    evidence: Evidence::Read,
};

/// Elemental sulfur that this much free carbonate (% as CaCO₃) uses up in the layer:
/// one S for one CaCO₃, by molar mass.
pub fn sulfur_to_spend_carbonate(carbonate_percent: f64, layer: &SoilLayer) -> KgPerHa {
    let carbonate = layer.soil_kg_per_ha() * carbonate_percent / 100.0;
    let per_carbonate = "CaCO3".parse::<Formula>().map_or(0.0, |f| Element::S.atomic_weight() / f.molar_mass());
    KgPerHa(carbonate * per_carbonate)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::amendment;

    fn texts(slug: &str, context: &Context) -> Vec<(Caution, String)> {
        let amendment = amendment::find(slug).expect(slug);
        cautions_for(amendment, context).into_iter().map(|n| (n.caution, n.text)).collect()
    }

    #[test]
    fn a_large_dose_of_lime_is_split_as_penn_state_prints() {
        // Penn State: 15 lb/100 ft² in two applications six months apart; 5 lb at once.
        let dose = |lb| Context { dose: Some(RateUnit::LbPer100Ft2.read(lb)), ..Context::default() };
        let split = |notes: Vec<(Caution, String)>| notes.into_iter().find(|(c, _)| *c == Caution::LimeSplit);
        let (_, text) = split(texts("ground_limestone", &dose(15.0))).unwrap();
        assert!(text.contains("2 parts, 6 months"), "{text}");
        assert_eq!(split(texts("ground_limestone", &dose(5.0))), None);
        // Ten pounds of hydrated lime do as much as thirteen and more of limestone, and are parted as those.
        let strong = amendment::find("hydrated_lime").and_then(|lime| lime.analysis.neutralising_value).unwrap();
        let parts = |slug: &str, lb: f64| {
            let note = split(texts(slug, &dose(lb)));
            note.map(|(_, text)| text.split_once("give it").expect("in parts").1.to_owned())
        };
        for lb in [3.0, 5.0, 8.0, 10.0, 20.0] {
            let as_much = parts("ground_limestone", lb * strong / 100.0);
            assert_eq!(parts("hydrated_lime", lb), as_much, "{lb} lb");
        }
        assert!(strong > 120.0 && parts("hydrated_lime", 20.0).is_some());
    }

    #[test]
    fn sulfur_on_fizzing_soil_shows_its_arithmetic() {
        let layer = SoilLayer::Measured {
            depth: crate::agronomy::quantity::Centimetres(15.0),
            bulk_density: crate::agronomy::quantity::GramsPerCm3(1.3),
            stones: 0.0,
        };
        let context = Context { carbonate_percent: Some(1.0), layer: Some(layer), ..Context::default() };
        let notes = texts("elemental_sulfur", &context);
        // By the same stoichiometry as AGVISE's 6,400 lb/acre: 0.62 kg/m² at 15 cm and 1.3 g/cm³.
        assert!(notes.iter().any(|(_, text)| text.contains("625 g")), "{notes:?}");
    }

    #[test]
    fn lime_beside_poultry_manure_is_kept_apart() {
        let manure = amendment::find("pelleted_poultry").unwrap();
        let gypsum = amendment::find("gypsum").unwrap();
        let apart = |beside: &[&Amendment]| {
            let context = Context { beside, ..Context::default() };
            texts("hydrated_lime", &context).iter().any(|(c, _)| *c == Caution::LimeAmmonium)
        };
        assert!(apart(&[manure]));
        assert!(!apart(&[gypsum]));
    }

    #[test]
    fn ash_is_kept_off_alkaline_soil() {
        let context = Context { ph: Some(7.4), ..Context::default() };
        assert!(texts("wood_ash", &context).iter().any(|(_, text)| text.contains("7.4")));
    }

    #[test]
    fn boron_brings_its_cautions_by_content_alone() {
        let cautions = cautions_by_content(Kind::Salt, |e| if e == Element::B { 0.1 } else { 0.0 }, false);
        assert_eq!(cautions, [Caution::BoronNarrow, Caution::BoronHealth]);
    }

    #[test]
    fn every_caution_says_something_and_cites_something() {
        for &caution in Caution::ALL {
            assert!(caution.text().len() > 30, "{caution:?}");
            let source = caution.source();
            assert!(!source.title.is_empty(), "{caution:?}");
            assert!(!source.publisher.is_empty() || source.evidence == Evidence::CommonPractice, "{caution:?}");
            assert!(!caution.text().contains(" allowed") && !caution.text().contains(" safe "), "{caution:?}");
        }
    }
}
