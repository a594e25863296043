//! The invented garden's soil: what it holds, and how a season changes it.
//!
//! Only good enough to make a record that looks like a real one. Nothing in here is a rule
//! of the trade, and nothing outside the demonstration may use it.

use crate::agronomy::element::Element;
use std::collections::BTreeMap;

/// What the invented soil holds, as a Mehlich-3 extract of the top 15 cm would find it.
#[derive(Clone, Debug)]
pub(super) struct Soil {
    /// mg/kg.
    pub levels: BTreeMap<Element, f64>,
    pub ph: f64,
    /// Organic matter, %.
    pub organic_matter: f64,
    /// Free carbonate, %.
    pub carbonate: f64,
    /// Conductivity of a 1:2 extract, dS/m.
    pub conductivity: f64,
    /// Sand, which rain washes cations out of; loam and clay hold them.
    pub sandy: bool,
    /// Where sulfate and borate settle back to.
    rest: BTreeMap<Element, f64>,
}

/// kg/ha that raise the invented layer by 1 mg/kg, were all of it found again.
const KG_PER_MG: f64 = 2.0;

impl Soil {
    /// A soil without lime or salts, from what its block holds and the dice of its bed.
    pub(super) fn new(levels: &[(Element, f64)], ph: f64, organic_matter: f64, dice: &mut Dice) -> Soil {
        let levels: BTreeMap<_, _> = levels.iter().map(|(e, level)| (*e, level * dice.about(0.16))).collect();
        let ph = ph + 0.12 * dice.normal();
        let organic_matter = organic_matter * dice.about(0.12);
        Soil { rest: levels.clone(), levels, ph, organic_matter, carbonate: 0.0, conductivity: 0.0, sandy: false }
    }

    /// A season passes: `added` and `taken` in kg/ha; lime as t/ha of pure carbonate.
    pub(super) fn season(
        &mut self,
        added: &BTreeMap<Element, f64>,
        lime_t_per_ha: f64,
        taken: &BTreeMap<Element, f64>,
        roofed: bool,
    ) {
        for (element, level) in &mut self.levels {
            let net = added.get(element).unwrap_or(&0.0) - taken.get(element).unwrap_or(&0.0);
            let found_again = match element {
                Element::P => 0.30,
                Element::K => 0.20,
                Element::Mg => 0.55,
                Element::Ca => 0.70,
                Element::Zn | Element::Cu => 0.45,
                Element::B => 0.55,
                Element::S => 0.25,
                Element::Na => 0.50,
                _ => 0.0,
            };
            let washed_out = match element {
                Element::S | Element::B if roofed => 0.15,
                Element::S | Element::B => 0.45,
                Element::K | Element::Mg | Element::Na if self.sandy && !roofed => 0.05,
                _ => 0.01,
            };
            let rest = self.rest.get(element).copied().unwrap_or(0.0);
            *level = (*level - washed_out * (*level - rest * 0.7) + found_again * net / KG_PER_MG).max(rest * 0.25);
        }
        if self.carbonate > 0.0 {
            self.ph += (7.8 - self.ph) * 0.1;
        } else {
            self.ph += 0.11 * lime_t_per_ha - 0.06;
        }
        if roofed {
            let salts: f64 = added.values().sum::<f64>() / 9_000.0;
            self.conductivity = (self.conductivity + salts).min(2.6);
        }
        let bulky = added.get(&Element::P).copied().unwrap_or(0.0);
        self.organic_matter += if bulky > 30.0 { 0.10 } else { -0.04 };
    }
}

/// Chance with a memory: the same label always throws the same.
pub(super) struct Dice(u64);

impl Dice {
    /// The dice of this label (FNV-1a).
    pub(super) fn of(label: &str) -> Dice {
        let hash = |seed: u64, byte: u8| (seed ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3);
        Dice(label.bytes().fold(0xcbf2_9ce4_8422_2325, hash))
    }

    /// Splitmix64 (Steele, Lea and Flood 2014).
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// From 0 to 1.
    pub(super) fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// A whole number from `least` to `most`.
    pub(super) fn whole(&mut self, least: i32, most: i32) -> i32 {
        least + (self.unit() * f64::from(most - least + 1)) as i32
    }

    /// Near enough normal, mean 0 and deviation 1: twelve uniforms less six. No logarithm or
    /// cosine, whose last digit may differ from machine to machine.
    pub(super) fn normal(&mut self) -> f64 {
        (0..12).map(|_| self.unit()).sum::<f64>() - 6.0
    }

    /// A factor about 1 with this relative deviation, never below a third.
    pub(super) fn about(&mut self, deviation: f64) -> f64 {
        (1.0 + deviation * self.normal()).max(1.0 / 3.0)
    }
}
