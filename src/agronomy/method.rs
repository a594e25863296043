//! How a lab came to a number: extractant and finish, dilution, buffer.
//!
//! Results by different methods are never compared, averaged or converted silently;
//! every table of limits names the methods that it was calibrated for.

use super::analyte::Analyte;
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, fmt, str::FromStr, sync::LazyLock};

/// What kind of determination a method serves; a form offers only the fitting ones.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Purpose {
    /// Draws nutrients out of the soil.
    Extraction,
    /// pH in a liquid that is not a buffer.
    Ph,
    /// pH in a lime-requirement buffer.
    Buffer,
    /// Conductivity at a dilution.
    Conductivity,
    /// Exchange capacity.
    Capacity,
    /// Organic matter or carbon.
    OrganicMatter,
    /// Anything: stated by name or not stated.
    Any,
}

macro_rules! methods {
    ($($(#[$doc:meta])* $name:ident $slug:literal $purpose:ident $label:literal $about:literal),* $(,)?) => {
        /// A method of soil analysis. `Other` carries a name typed by a person.
        #[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(into = "String", from = "String")]
        pub enum Method {
            $(#[doc = $about] $(#[$doc])* $name,)*
            /// A method that is not in this list, by the name the lab gives it.
            Other(String),
        }

        impl Method {
            /// Every method with a name of its own here.
            pub const NAMED: &[Method] = &[$(Method::$name),*];

            /// The key used in the record, in guideline files and in CSV.
            pub fn slug(&self) -> String {
                match self {
                    $(Method::$name => $slug.to_owned(),)*
                    Method::Other(name) => format!("other:{name}"),
                }
            }

            /// As a person reads it.
            pub fn label(&self) -> &str {
                match self {
                    $(Method::$name => $label,)*
                    Method::Other(name) => name,
                }
            }

            /// One sentence of what it is.
            pub fn about(&self) -> &str {
                match self {
                    $(Method::$name => $about,)*
                    Method::Other(_) => "A method named by the lab; no limits here apply to it.",
                }
            }

            /// What it is for.
            pub fn purpose(&self) -> Purpose {
                match self {
                    $(Method::$name => Purpose::$purpose,)*
                    Method::Other(_) => Purpose::Any,
                }
            }
        }
    };
}

methods! {
    Mehlich3Icp "mehlich3_icp" Extraction "Mehlich-3, ICP" "Mehlich-3 extract read by plasma (ICP), which also counts organic P.",
    Mehlich3Colour "mehlich3_colour" Extraction "Mehlich-3, colorimetric" "Mehlich-3 extract with P read by colour; reads lower than ICP.",
    AmmoniumAcetate7 "nh4oac_7" Extraction "Ammonium acetate, pH 7" "1 M ammonium acetate at pH 7; over-reads calcium where there is free lime.",
    AmmoniumAcetate82 "nh4oac_8_2" Extraction "Ammonium acetate, pH 8.2" "Ammonium acetate brought to pH 8.2, which leaves most free lime alone.",
    AmmoniumAcetate85 "nh4oac_8_5" Extraction "Ammonium acetate, pH 8.5" "Ammonium acetate brought to pH 8.5, which leaves most free lime alone.",
    AmmoniumChloride85 "nh4cl_8_5" Extraction "Ammonium chloride, pH 8.5" "1 M alcoholic ammonium chloride at pH 8.5 after a salt pre-wash (Tucker 1954).",
    AmmoniumNitrate "nh4no3" Extraction "Ammonium nitrate" "1 M ammonium nitrate, the British K and Mg test.",
    Olsen "olsen" Extraction "Olsen (bicarbonate)" "0.5 M sodium bicarbonate at pH 8.5; the P test for calcareous soil.",
    Colwell "colwell" Extraction "Colwell (bicarbonate)" "0.5 M sodium bicarbonate at pH 8.5, shaken overnight at 1:100: the Australian P test, which reads higher than Olsen.",
    Bray1 "bray1" Extraction "Bray-1" "Dilute acid fluoride; under-reads P where there is free lime.",
    Mehlich1 "mehlich1" Extraction "Mehlich-1 (double acid)" "Dilute hydrochloric and sulfuric acid, for sour soils of low capacity.",
    Morgan "morgan" Extraction "Morgan" "Sodium acetate at pH 4.8.",
    Resin "resin" Extraction "Resin" "P taken up by an exchange resin from a suspension of the soil, by volume.",
    Cal "cal" Extraction "CAL (calcium acetate-lactate)" "Calcium acetate and lactate at pH 4.1, the German P and K test.",
    EgnerRiehm "egner_riehm_dl" Extraction "Egner-Riehm (double lactate)" "Calcium lactate at pH 3.6, the Polish P and K test.",
    ModifiedMorgan "modified_morgan" Extraction "Modified Morgan" "Ammonium acetate at pH 4.8.",
    Dtpa "dtpa" Extraction "DTPA" "Chelate buffered at pH 7.3 with calcium chloride; the metals test for calcareous soil.",
    HotWater "hot_water" Extraction "Hot water" "Hot-water extract, the boron test.",
    CalciumChloride "cacl2_extract" Extraction "Calcium chloride extract" "0.01 M calcium chloride.",
    PotassiumChloride "kcl_extract" Extraction "Potassium chloride extract" "1 or 2 M potassium chloride: nitrate, ammonium, exchangeable acidity.",
    PotassiumChloride40 "kcl_40" Extraction "KCl-40" "0.25 M potassium chloride, warmed to 40 °C: an Australian test for sulfur.",
    CalciumPhosphate "ca_phosphate" Extraction "Calcium phosphate extract" "0.01 M calcium phosphate: sulfate, what the soil has bound included.",
    BariumChlorideTea "bacl2_tea" Extraction "Barium chloride–TEA, pH 8.2" "Acidity titrated at pH 8.2.",
    SaturationExtract "saturation_extract" Extraction "Saturation extract" "Solution drawn from a saturated paste.",
    Total "total" Extraction "Total (strong acid)" "Digestion in strong acid: the total, not what a plant can take.",
    PhWater "ph_water" Ph "In water" "pH in water, dilution not stated.",
    PhWater1to1 "ph_water_1_1" Ph "In water 1:1" "pH in water, one part soil to one of water.",
    PhWater1to2 "ph_water_1_2" Ph "In water 1:2" "pH in water, one part soil to two of water.",
    PhWater1to25 "ph_water_1_2_5" Ph "In water 1:2.5" "pH in water, one part soil to two and a half of water.",
    PhWater1to5 "ph_water_1_5" Ph "In water 1:5" "pH in water, one part soil to five of water.",
    PhCalciumChloride "ph_cacl2" Ph "In calcium chloride" "pH in 0.01 M calcium chloride: 0.5 to 1.0 below water.",
    PhPotassiumChloride "ph_kcl" Ph "In potassium chloride" "pH in 1 M potassium chloride: well below water.",
    BufferMehlich "buffer_mehlich" Buffer "Mehlich buffer" "Lime buffer that starts at pH 6.6.",
    BufferSikora "buffer_sikora" Buffer "Sikora buffer" "Lime buffer made to match SMP without its poisons.",
    BufferSmp "buffer_smp" Buffer "SMP buffer" "Shoemaker, McLean and Pratt's lime buffer.",
    BufferAdamsEvans "buffer_adams_evans" Buffer "Adams-Evans buffer" "Lime buffer that starts at pH 8.0, for sandy soils.",
    BufferWoodruff "buffer_woodruff" Buffer "Woodruff buffer" "Lime buffer that starts at pH 7.0.",
    EcPaste "ec_paste" Conductivity "Saturated paste" "Conductivity of the saturation extract (ECe).",
    Ec1to1 "ec_1_1" Conductivity "Extract 1:1" "Conductivity, one part soil to one of water.",
    Ec1to2 "ec_1_2" Conductivity "Extract 1:2" "Conductivity, one part soil to two of water.",
    Ec1to5 "ec_1_5" Conductivity "Extract 1:5" "Conductivity, one part soil to five of water.",
    CapacitySummation "cec_sum" Capacity "Sum of cations" "Exchange capacity added up from the cations and the acidity.",
    CapacityAcetate7 "cec_nh4oac_7" Capacity "Displacement at pH 7" "Exchange capacity by saturating with ammonium at pH 7 and displacing it.",
    CapacityAcetate82 "cec_acetate_8_2" Capacity "Displacement at pH 8.2" "Exchange capacity by saturating with acetate at pH 8.2 and displacing it.",
    LossOnIgnition "loss_on_ignition" OrganicMatter "Loss on ignition" "Organic matter as the mass lost in a furnace.",
    WalkleyBlack "walkley_black" OrganicMatter "Walkley-Black" "Organic carbon by wet oxidation.",
    DryCombustion "dry_combustion" OrganicMatter "Dry combustion" "Carbon by burning.",
    Calcimeter "calcimeter" Any "Calcimeter" "Carbonate by the gas it gives with acid.",
    ParticleSize "particle_size" Any "Particle size" "Sand, silt and clay by settling or by laser.",
    Unstated "unstated" Any "Method not stated" "The sheet does not say; no limits can be applied.",
}

impl Method {
    /// The methods that can answer for an analyte, in the order a form offers them; the last is [`Method::Unstated`].
    pub fn for_analyte(analyte: Analyte) -> Vec<Method> {
        let purpose = match analyte {
            Analyte::Ph => Purpose::Ph,
            Analyte::BufferPh => Purpose::Buffer,
            Analyte::Conductivity => Purpose::Conductivity,
            Analyte::ExchangeCapacity => Purpose::Capacity,
            Analyte::OrganicMatter | Analyte::OrganicCarbon => Purpose::OrganicMatter,
            Analyte::Carbonate => return vec![Method::Calcimeter, Method::Unstated],
            Analyte::Clay => return vec![Method::ParticleSize, Method::Unstated],
            Analyte::Ratio(..) => return vec![Method::Unstated], // of the cations beside it
            _ => Purpose::Extraction,
        };
        let mut fitting: Vec<_> = Method::NAMED.iter().filter(|m| m.purpose() == purpose).cloned().collect();
        fitting.push(Method::Unstated);
        fitting
    }
}

impl Method {
    /// Whether it reads pH in water, at whatever dilution.
    pub fn is_ph_in_water(&self) -> bool {
        use Method::{PhWater, PhWater1to1, PhWater1to2, PhWater1to5, PhWater1to25};
        matches!(self, PhWater | PhWater1to1 | PhWater1to2 | PhWater1to25 | PhWater1to5)
    }
}

impl fmt::Display for Method {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.label())
    }
}

impl FromStr for Method {
    type Err = String;

    /// Reads a key as [`Method::slug`] writes it.
    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        if let Some(name) = text.strip_prefix("other:").map(str::trim).filter(|name| !name.is_empty()) {
            return Ok(Method::Other(name.to_owned()));
        }
        // Made once: a page of many plots reads thousands of keys.
        static NAMES: LazyLock<BTreeMap<String, Method>> = LazyLock::new(|| {
            let labels = Method::NAMED.iter().map(|method| (method.label().to_lowercase(), method.clone()));
            let slugs = Method::NAMED.iter().map(|method| (method.slug().to_lowercase(), method.clone()));
            labels.chain(slugs).collect()
        });
        NAMES
            .get(text.to_lowercase().as_str())
            .cloned()
            .ok_or_else(|| format!("“{text}” is not a method known here; write other:{text} to keep it by name"))
    }
}

impl From<Method> for String {
    fn from(method: Method) -> String {
        method.slug()
    }
}

impl From<String> for Method {
    /// A key that is not known becomes [`Method::Other`], so that nothing recorded is lost.
    fn from(text: String) -> Method {
        text.parse().unwrap_or(Method::Other(text))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_key_reads_back() {
        let other = Method::Other("Haney".into());
        for method in Method::NAMED.iter().chain([&other]) {
            assert_eq!(method.slug().parse().as_ref(), Ok(method));
        }
    }
}
