//! Chemical elements, their atomic weights, and the composition of pure compounds.
//!
//! One table of weights; every oxide factor, equivalent weight and salt content in
//! the program is computed from it, never typed in.

use super::source::{Evidence, Source};
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, fmt, str::FromStr};

/// Where the atomic weights come from.
pub const ATOMIC_WEIGHTS: Source = Source {
    publisher: "IUPAC Commission on Isotopic Abundances and Atomic Weights",
    title: "Standard atomic weights, abridged to five significant digits",
    year: 2021,
    address: "https://iupac.qmul.ac.uk/AtWt/",
    evidence: Evidence::Quoted, // typed here, compared with PyPI periodictable by tests/it/chemistry.rs
};

macro_rules! elements {
    ($($symbol:ident $name:literal $weight:literal),* $(,)?) => {
        /// An element that a soil report, an amendment or a crop is counted in.
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum Element { $(#[doc = $name] $symbol),* }

        impl Element {
            /// Every element known here, by atomic number.
            pub const ALL: &[Element] = &[$(Element::$symbol),*];

            /// The chemical symbol, as printed on sheets and bags.
            pub const fn symbol(self) -> &'static str {
                match self { $(Element::$symbol => stringify!($symbol)),* }
            }

            /// The English name, in lower case.
            pub const fn name(self) -> &'static str {
                match self { $(Element::$symbol => $name),* }
            }

            /// Standard atomic weight in g/mol ([`ATOMIC_WEIGHTS`]).
            pub const fn atomic_weight(self) -> f64 {
                match self { $(Element::$symbol => $weight),* }
            }
        }
    };
}

elements! {
    H "hydrogen" 1.0080,
    B "boron" 10.81,
    C "carbon" 12.011,
    N "nitrogen" 14.007,
    O "oxygen" 15.999,
    F "fluorine" 18.998,
    Na "sodium" 22.990,
    Mg "magnesium" 24.305,
    Al "aluminium" 26.982,
    Si "silicon" 28.085,
    P "phosphorus" 30.974,
    S "sulfur" 32.06,
    Cl "chlorine" 35.45,
    K "potassium" 39.098,
    Ca "calcium" 40.078,
    Cr "chromium" 51.996,
    Mn "manganese" 54.938,
    Fe "iron" 55.845,
    Co "cobalt" 58.933,
    Ni "nickel" 58.693,
    Cu "copper" 63.546,
    Zn "zinc" 65.38,
    As "arsenic" 74.922,
    Se "selenium" 78.971,
    Mo "molybdenum" 95.95,
    Ag "silver" 107.87,
    Cd "cadmium" 112.41,
    Hg "mercury" 200.59,
    Pb "lead" 207.2,
}

impl Element {
    /// Charge of the ion held on the soil's exchange complex, for the cations that are;
    /// `None` for elements not counted in exchange capacity.
    pub const fn cation_charge(self) -> Option<u8> {
        match self {
            Element::H | Element::Na | Element::K => Some(1),
            Element::Mg | Element::Ca => Some(2),
            Element::Al => Some(3),
            _ => None,
        }
    }

    /// mg/kg that make 1 cmol(+)/kg (= 1 meq/100 g) of this cation: weight ÷ charge × 10.
    pub fn mg_per_cmol_charge(self) -> Option<f64> {
        self.cation_charge().map(|charge| self.atomic_weight() / f64::from(charge) * 10.0)
    }
}

impl fmt::Display for Element {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl FromStr for Element {
    type Err = String;

    /// Reads a symbol ("Mg") or an English name ("magnesium"), in any case.
    fn from_str(text: &str) -> Result<Self, String> {
        let text = text.trim();
        Element::ALL
            .iter()
            .copied()
            .find(|e| e.symbol().eq_ignore_ascii_case(text) || e.name().eq_ignore_ascii_case(text))
            .ok_or_else(|| format!("“{text}” is not an element known here"))
    }
}

/// A chemical formula such as `CaSO4·2H2O` or `K2Mg2(SO4)3`, counted out into atoms.
///
/// ```
/// use glebe::agronomy::element::{Element, Formula};
/// let epsom: Formula = "MgSO4·7H2O".parse().unwrap();
/// assert!((epsom.mass_fraction(Element::Mg) - 0.0986).abs() < 5e-5);
/// ```
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Formula {
    text: String,
    atoms: BTreeMap<Element, u32>,
}

impl Formula {
    /// Atoms of each element in one formula unit.
    pub fn atoms(&self) -> &BTreeMap<Element, u32> {
        &self.atoms
    }

    /// Molar mass in g/mol.
    pub fn molar_mass(&self) -> f64 {
        self.atoms.iter().map(|(e, n)| e.atomic_weight() * f64::from(*n)).sum()
    }

    /// Share of the pure compound's mass that is `element`, 0 to 1.
    pub fn mass_fraction(&self, element: Element) -> f64 {
        let n = self.atoms.get(&element).copied().unwrap_or(0);
        element.atomic_weight() * f64::from(n) / self.molar_mass()
    }
}

impl fmt::Display for Formula {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.text)
    }
}

impl FromStr for Formula {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mut atoms = BTreeMap::new();
        // A hydrate is parts joined by a dot, each with an optional leading count.
        for part in text.trim().split(['·', '.', '*']) {
            let digits = part.len() - part.trim_start_matches(|c: char| c.is_ascii_digit()).len();
            let times = if digits == 0 {
                1
            } else {
                part[..digits].parse().map_err(|_| format!("“{part}”: count too large"))?
            };
            let chars: Vec<char> = part[digits..].chars().collect();
            let mut at = 0;
            for (element, n) in group(&chars, &mut at, 0)? {
                add(&mut atoms, element, n, times)?;
            }
            if at != chars.len() {
                return Err(format!("“{text}”: a bracket closes that was not opened"));
            }
        }
        if atoms.is_empty() {
            return Err("an empty formula".into());
        }
        Ok(Formula { text: text.trim().to_owned(), atoms })
    }
}

/// One bracket level of a formula, from `at` to its closing bracket or the end.
fn group(chars: &[char], at: &mut usize, depth: u8) -> Result<BTreeMap<Element, u32>, String> {
    let mut atoms = BTreeMap::new();
    while let Some(&c) = chars.get(*at) {
        let inner = match c {
            ')' if depth > 0 => return Ok(atoms),
            ')' => break,
            '(' if depth < 8 => {
                *at += 1;
                let inner = group(chars, at, depth + 1)?;
                if chars.get(*at) != Some(&')') {
                    return Err("a bracket that is not closed".into());
                }
                *at += 1;
                inner
            }
            'A'..='Z' => {
                let start = *at;
                *at += 1;
                while chars.get(*at).is_some_and(char::is_ascii_lowercase) {
                    *at += 1;
                }
                let symbol: String = chars[start..*at].iter().collect();
                BTreeMap::from([(symbol.parse::<Element>()?, 1)])
            }
            _ => return Err(format!("“{c}” has no place in a formula")),
        };
        let start = *at;
        while chars.get(*at).is_some_and(char::is_ascii_digit) {
            *at += 1;
        }
        let count: String = chars[start..*at].iter().collect();
        let times: u32 = if count.is_empty() { 1 } else { count.parse().map_err(|_| "count too large".to_owned())? };
        for (element, n) in inner {
            add(&mut atoms, element, n, times)?;
        }
    }
    Ok(atoms)
}

/// Counts `n × times` more atoms; a formula so long that this overflows is no formula.
fn add(atoms: &mut BTreeMap<Element, u32>, element: Element, n: u32, times: u32) -> Result<(), String> {
    let held = atoms.entry(element).or_insert(0);
    let sum = n.checked_mul(times).and_then(|more| held.checked_add(more));
    *held = sum.ok_or("count too large")?;
    Ok(())
}

/// A form in which sheets and bags print a nutrient instead of the element.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Form {
    P2O5,
    K2O,
    CaO,
    MgO,
    SO3,
    SO4,
    Na2O,
    B2O3,
    NO3,
    NH4,
}

impl Form {
    /// Every form known here.
    pub const ALL: &[Form] = &[
        Form::P2O5,
        Form::K2O,
        Form::CaO,
        Form::MgO,
        Form::SO3,
        Form::SO4,
        Form::Na2O,
        Form::B2O3,
        Form::NO3,
        Form::NH4,
    ];

    /// The formula, as printed in plain letters.
    pub const fn symbol(self) -> &'static str {
        match self {
            Form::P2O5 => "P2O5",
            Form::K2O => "K2O",
            Form::CaO => "CaO",
            Form::MgO => "MgO",
            Form::SO3 => "SO3",
            Form::SO4 => "SO4",
            Form::Na2O => "Na2O",
            Form::B2O3 => "B2O3",
            Form::NO3 => "NO3",
            Form::NH4 => "NH4",
        }
    }

    /// The element that the form is counted as.
    pub const fn element(self) -> Element {
        match self {
            Form::P2O5 => Element::P,
            Form::K2O => Element::K,
            Form::CaO => Element::Ca,
            Form::MgO => Element::Mg,
            Form::SO3 | Form::SO4 => Element::S,
            Form::Na2O => Element::Na,
            Form::B2O3 => Element::B,
            Form::NO3 | Form::NH4 => Element::N,
        }
    }

    /// Share of the form's mass that is the element: multiply by it to go from form to element.
    pub fn to_element(self) -> f64 {
        let formula: Formula = self.symbol().parse().expect("the forms above are formulas");
        formula.mass_fraction(self.element())
    }

    /// The printed form of `element` on a bag that prints oxides, where one is customary.
    pub const fn oxide_of(element: Element) -> Option<Form> {
        match element {
            Element::P => Some(Form::P2O5),
            Element::K => Some(Form::K2O),
            Element::Ca => Some(Form::CaO),
            Element::Mg => Some(Form::MgO),
            Element::S => Some(Form::SO3),
            Element::Na => Some(Form::Na2O),
            _ => None,
        }
    }
}

impl fmt::Display for Form {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.symbol())
    }
}

impl FromStr for Form {
    type Err = String;

    /// Reads "P2O5" or "P₂O₅", in any case.
    fn from_str(text: &str) -> Result<Self, String> {
        let plain: String = text
            .trim()
            .chars()
            .map(|c| match c {
                '₀'..='₉' => char::from(b'0' + (c as u32 - '₀' as u32) as u8),
                other => other,
            })
            .collect();
        Form::ALL
            .iter()
            .copied()
            .find(|form| form.symbol().eq_ignore_ascii_case(&plain))
            .ok_or_else(|| format!("“{text}” is not a form known here"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn formulas_count_atoms_through_brackets_and_hydrates() {
        let polyhalite: Formula = "K2Ca2Mg(SO4)4·2H2O".parse().unwrap();
        let atoms: Vec<_> = polyhalite.atoms().iter().map(|(e, n)| (e.symbol(), *n)).collect();
        assert_eq!(atoms, [("H", 4), ("O", 18), ("Mg", 1), ("S", 4), ("K", 2), ("Ca", 2)]);
        // 602.91 g/mol from the IUPAC standard atomic weights of 2021.
        assert!((polyhalite.molar_mass() - 602.91).abs() < 0.05);
    }

    #[test]
    fn odd_formulas_are_refused_with_a_sentence() {
        for bad in ["", "Xx2", "CaSO4)", "Ca(SO4", "ca", "Ca-SO4", "K99999999999", "(K99999)99999"] {
            assert!(bad.parse::<Formula>().is_err(), "{bad:?} was taken");
        }
    }
}
