//! What goes on the ground: products and materials, their composition, and the catalogue
//! that a new record starts from.
//!
//! Composition is kept as mass fractions of elements in the product as sold. A printed
//! grade comes before the chemistry of the pure compound, which is shown beside it; a
//! grower's own bag comes before both. Prices are never in here: they are the grower's.

use super::{
    caution::Caution,
    element::{ATOMIC_WEIGHTS, Element, Form, Formula},
    quantity::{Grams, KgPerHa},
    rate::{MassUnit, RateUnit},
    record::keyed,
    source::{Citation, Evidence},
    working::{Figure, Origin, Working},
};
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, fmt, str::FromStr, sync::LazyLock};

/// The most that a material neutralises, % of its mass in pure calcium carbonate: pure magnesium
/// oxide has 248.3 (100.09 ÷ 40.304, [`ATOMIC_WEIGHTS`]). The record holds no more (migration 0022).
pub const MOST_NEUTRALISING: f64 = 250.0;

/// The most that a material sours, on the same scale: pure sulfur, all of it turned to sulfuric
/// acid, has −312.2 (100.09 ÷ 32.06, [`ATOMIC_WEIGHTS`]).
pub const MOST_SOURING: f64 = -320.0;

/// What sort of material it is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Kind {
    /// A soluble or sparingly soluble salt with a formula.
    Salt,
    /// Something that raises pH and is measured by what it neutralises.
    Lime,
    /// Ground rock and elements as mined.
    Mineral,
    /// A meal or cake of plants.
    PlantMeal,
    /// A meal of animals.
    AnimalMeal,
    Compost,
    Manure,
    Ash,
}

keyed!(Kind {
    Salt "salt" "salt",
    Lime "lime" "lime",
    Mineral "mineral" "ground mineral",
    PlantMeal "plant_meal" "plant meal",
    AnimalMeal "animal_meal" "animal meal",
    Compost "compost" "compost",
    Manure "manure" "manure",
    Ash "ash" "ash",
});

impl Kind {
    /// Whether such material comes from animals or plants.
    pub const fn is_organic(self) -> bool {
        matches!(self, Kind::PlantMeal | Kind::AnimalMeal | Kind::Compost | Kind::Manure)
    }
}

/// How the first three numbers of a bag are meant.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Convention {
    /// N-P₂O₅-K₂O: most countries.
    #[default]
    Oxide,
    /// N-P-K as elements: Ireland, Australia, New Zealand and others.
    Elemental,
}

keyed!(Convention { Oxide "oxide" "N-P₂O₅-K₂O", Elemental "elemental" "N-P-K as elements" });

/// One guarantee of a label.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Guarantee {
    pub element: Element,
    /// The oxide or ion it is printed in; `None` as the element.
    pub form: Option<Form>,
    /// As printed, % of mass.
    pub percent: f64,
}

impl Guarantee {
    /// Mass fraction of the element.
    pub fn fraction(&self) -> f64 {
        self.percent / 100.0 * self.form.map_or(1.0, Form::to_element)
    }

    /// As printed: "50 % K2O".
    pub fn words(&self) -> String {
        match self.form {
            Some(form) => format!("{} % {form}", self.percent),
            None => format!("{} % {}", self.percent, self.element),
        }
    }
}

/// A label as printed, understood.
#[derive(Clone, Debug, PartialEq)]
pub struct Label {
    pub text: String,
    pub guarantees: Vec<Guarantee>,
}

/// Reads a label: three numbers for N, P and K, then any number of `+ 18 S`, `+ 2 MgO`;
/// or only the latter. "0-0-50 + 18 S", "18-6-12", "10.6 B", "0-46-0 + 14% Ca".
pub fn from_label(text: &str, convention: Convention) -> Result<Label, String> {
    let mut guarantees: Vec<Guarantee> = Vec::new();
    for (place, item) in text.split('+').map(str::trim).enumerate() {
        if item.is_empty() {
            return Err(format!("“{text}” is not a label: write 0-0-50 or 0-0-50 + 18 S"));
        }
        let triple: Vec<&str> = item.split('-').map(str::trim).collect();
        if place == 0 && triple.len() == 3 {
            let form = |form| (convention == Convention::Oxide).then_some(form);
            let columns = [(Element::N, None), (Element::P, form(Form::P2O5)), (Element::K, form(Form::K2O))];
            for (number, (element, form)) in triple.into_iter().zip(columns) {
                guarantees.push(Guarantee { element, form, percent: percent(number)? });
            }
            continue;
        }
        let at =
            item.find(|c: char| c.is_alphabetic()).ok_or_else(|| format!("“{item}” names no element: write 18 S"))?;
        let (number, name) = item.split_at(at);
        let (element, form) = match name.parse::<Form>() {
            Ok(form) => (form.element(), Some(form)),
            Err(_) => (name.parse::<Element>()?, None),
        };
        guarantees.push(Guarantee { element, form, percent: percent(number)? });
    }
    for (at, one) in guarantees.iter().enumerate() {
        if guarantees[..at].iter().any(|other| other.element == one.element && other.percent > 0.0) {
            return Err(format!("“{text}” gives {} twice", one.element.name()));
        }
    }
    Ok(Label { text: text.trim().to_owned(), guarantees })
}

fn percent(text: &str) -> Result<f64, String> {
    let plain = text.trim().trim_end_matches('%').trim().replace(',', ".");
    match plain.parse::<f64>() {
        Ok(number) if number.is_finite() && (0.0..=100.0).contains(&number) => Ok(number),
        _ => Err(format!("“{}” is not a percentage from 0 to 100", text.trim())),
    }
}

impl Label {
    /// Mass fraction of each element that is guaranteed above nothing.
    pub fn fractions(&self) -> BTreeMap<Element, f64> {
        self.guarantees.iter().filter(|g| g.percent > 0.0).map(|g| (g.element, g.fraction())).collect()
    }
}

/// One element in a product as sold.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Of the product's mass as sold, counted as the element, 0 to 1.
    pub mass_fraction: f64,
    /// Share of it that a crop can use in the first year, 0 to 1.
    pub first_year_availability: f64,
    /// As printed, or how it was worked out.
    pub printed: String,
    /// Content of the pure compound, where the product is one: shown beside the grade.
    pub pure: Option<f64>,
    /// Where the fraction comes from.
    pub source: Citation,
    /// Where the availability comes from; `None` where all of it counts.
    pub availability_source: Option<Citation>,
}

impl Part {
    /// Product that brings this much of the element in all; `None` where it holds none.
    pub fn product_for(&self, need: Grams) -> Option<Grams> {
        (self.mass_fraction > 0.0).then(|| Grams(need.0 / self.mass_fraction))
    }

    /// Product that brings this much of the element usable in the first year.
    pub fn product_for_first_year(&self, need: Grams) -> Option<Grams> {
        let usable = self.mass_fraction * self.first_year_availability;
        (usable > 0.0).then(|| Grams(need.0 / usable))
    }

    /// What one `unit` of the element costs in this product, in the currency of `price`.
    pub fn price_per(&self, unit: MassUnit, price: f64, pack: Grams) -> Option<f64> {
        let bought = unit.show(Grams(pack.0 * self.mass_fraction));
        (bought > 0.0).then(|| price / bought)
    }
}

/// The composition of a product as of a date. Applications point to the analysis in force
/// when they were made.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Analysis {
    /// As on the bag: "0-0-50 + 18 S"; empty where none is printed.
    pub label: String,
    pub parts: BTreeMap<Element, Part>,
    /// Calcium carbonate equivalent, % of pure CaCO₃.
    pub neutralising_value: Option<f64>,
    /// Water in the product as sold, mass fraction.
    pub moisture: Option<f64>,
    pub source: Citation,
}

impl Analysis {
    /// The composition that a grower's bag prints, all of it usable in the first year.
    pub fn from_label(label: &Label, source: Citation) -> Analysis {
        let parts = label.guarantees.iter().filter(|g| g.percent > 0.0).map(|g| {
            let part = Part {
                mass_fraction: g.fraction(),
                first_year_availability: 1.0,
                printed: g.words(),
                pure: None,
                source: source.clone(),
                availability_source: None,
            };
            (g.element, part)
        });
        Analysis {
            label: label.text.clone(),
            parts: parts.collect(),
            neutralising_value: None,
            moisture: None,
            source: source.clone(),
        }
    }

    /// Mass fraction of an element, 0 where it holds none.
    pub fn fraction(&self, element: Element) -> f64 {
        self.parts.get(&element).map_or(0.0, |p| p.mass_fraction)
    }

    /// How well the weakest figure in it is known.
    pub fn evidence(&self) -> Evidence {
        self.parts.values().map(|p| p.source.evidence).fold(self.source.evidence, Ord::max)
    }

    /// Every element that a mass of product brings, in all.
    pub fn supplied(&self, mass: Grams) -> BTreeMap<Element, Grams> {
        self.parts.iter().map(|(e, p)| (*e, Grams(mass.0 * p.mass_fraction))).collect()
    }

    /// Every element that a mass of product makes usable in the first year.
    pub fn supplied_first_year(&self, mass: Grams) -> BTreeMap<Element, Grams> {
        let usable = |p: &Part| Grams(mass.0 * p.mass_fraction * p.first_year_availability);
        self.parts.iter().map(|(e, p)| (*e, usable(p))).collect()
    }

    /// What is wrong with it, one sentence each; empty when it can stand.
    pub fn problems(&self) -> Vec<String> {
        let mut problems = Vec::new();
        for (element, part) in &self.parts {
            if !(0.0..=1.0).contains(&part.mass_fraction) {
                problems.push(format!("{}: {:.4} is not a share from 0 to 1", element.name(), part.mass_fraction));
            }
            if !(0.0..=1.0).contains(&part.first_year_availability) {
                problems.push(format!("{}: availability must be from 0 to 100 %", element.name()));
            }
        }
        let moisture = self.moisture.unwrap_or(0.0);
        if !(0.0..1.0).contains(&moisture) {
            problems.push("moisture must be from 0 to below 100 %".into());
        }
        let total = self.parts.values().map(|p| p.mass_fraction).sum::<f64>() + moisture;
        if total > 1.0 + 1e-9 {
            problems.push(format!("the parts and the water add to {:.1} %, more than the whole", total * 100.0));
        }
        if self.neutralising_value.is_some_and(|v| !(MOST_SOURING..=MOST_NEUTRALISING).contains(&v)) {
            let ends = format!("from −{} to {MOST_NEUTRALISING}", -MOST_SOURING);
            problems.push(format!("the neutralising value must be {ends} % of pure calcium carbonate"));
        }
        problems
    }

    /// How the content of an element was arrived at; `None` where it holds none.
    pub fn working(&self, element: Element) -> Option<Working> {
        let part = self.parts.get(&element)?;
        let figure = Figure::significant(part.mass_fraction * 100.0, format!("% {element}"), 3);
        let mut node = Working::leaf(format!("{} in the product", element.name()), figure, Origin::Published)
            .cite(part.source.clone())
            .note(format!("Printed: {}.", part.printed));
        if let Some(pure) = part.pure {
            node = node.note(format!("The pure compound holds {:.2} % {element}.", pure * 100.0));
        }
        Some(node)
    }
}

/// A figure with its source, where a bare number would not do.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Cited<T> {
    pub value: T,
    pub source: Citation,
}

/// Standing under organic rules, in neutral words: the certifier decides.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ListStatus {
    /// "US 7 CFR 205.601(j)".
    pub scheme: String,
    /// "listed", "restricted" or "not listed", with the condition printed.
    pub status: String,
    pub source: Citation,
}

impl fmt::Display for ListStatus {
    /// "EU 2021/1165 annex II: listed [from memory, unverified]".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: {}", self.scheme, self.status)?;
        if self.source.evidence == Evidence::Read { Ok(()) } else { write!(f, " [{}]", self.source.evidence.words()) }
    }
}

/// A published most for the product itself; ceilings of elements are the season caps.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RateLimit {
    /// Product, not element.
    pub rate: KgPerHa,
    /// "at once", "a year".
    pub per: String,
    pub source: Citation,
}

/// Another grade printed for the same material: publishers disagree, and it is shown.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OtherGrade {
    pub label: String,
    pub source: Citation,
}

/// A product or material that can be put on.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Amendment {
    pub slug: String,
    pub name: String,
    pub kind: Kind,
    /// One sentence: what it is and how it is used.
    pub about: String,
    /// Formula of the pure compound, where it is one.
    pub formula: Option<String>,
    pub analysis: Analysis,
    /// Grades that other publishers print.
    pub also_printed: Vec<OtherGrade>,
    /// g in a litre of cold water; `None` is not known or not soluble.
    pub solubility: Option<Cited<f64>>,
    pub rate_limit: Option<RateLimit>,
    pub list_status: Vec<ListStatus>,
    /// Counts for limits on manure nitrogen.
    pub manure: bool,
    pub cautions: Vec<Caution>,
    /// Pack sizes to start from: common in shops, not from any source.
    pub packs_kg: Vec<f64>,
}

impl Amendment {
    /// Whether it is a lime or an ash: something that raises pH by design.
    pub fn raises_ph(&self) -> bool {
        matches!(self.kind, Kind::Lime | Kind::Ash)
    }
}

/// A rate of lime printed for material of one neutralising value, for material of another.
/// `None` where the material neutralises nothing.
///
/// Adjusted rate = rate × assumed value ÷ value of the material (Penn State home garden and
/// lawn comments; both in % of pure CaCO₃).
pub fn lime_for_value(rate: f64, assumed_value: f64, value: f64) -> Option<f64> {
    (value > 0.0).then(|| rate * assumed_value / value)
}

/// The materials a new record starts from.
pub fn catalogue() -> &'static [Amendment] {
    static CATALOGUE: LazyLock<Vec<Amendment>> =
        LazyLock::new(|| load(CATALOGUE_TEXT).expect("the embedded catalogue is checked by a test"));
    &CATALOGUE
}

const CATALOGUE_TEXT: &str = include_str!("catalogue/amendments.toml");

/// Finds an amendment of the catalogue by its key.
pub fn find(slug: &str) -> Option<&'static Amendment> {
    catalogue().iter().find(|a| a.slug == slug)
}

/// The catalogue file as written; see its own head for the meaning of each field.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    source: BTreeMap<String, Citation>,
    amendment: Vec<Entry>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    slug: String,
    name: String,
    kind: Kind,
    about: String,
    formula: Option<String>,
    #[serde(default)]
    grade: Vec<Keyed>,
    #[serde(default)]
    other_grade: Vec<Keyed>,
    neutralising_value: Option<Amount>,
    moisture: Option<Amount>,
    #[serde(default)]
    availability: BTreeMap<Element, Range>,
    solubility: Option<Amount>,
    rate_limit: Option<Limit>,
    #[serde(default)]
    list: Vec<List>,
    #[serde(default)]
    manure: bool,
    #[serde(default)]
    cautions: Vec<Caution>,
    packs_kg: Vec<f64>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Keyed {
    label: String,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Amount {
    value: f64,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Range {
    low: f64,
    high: f64,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Limit {
    rate: f64,
    unit: RateUnit,
    per: String,
    source: String,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct List {
    scheme: String,
    status: String,
    source: String,
}

fn load(text: &str) -> Result<Vec<Amendment>, String> {
    let file: File = toml::from_str(text).map_err(|e| e.to_string())?;
    let cite = |key: &str| file.source.get(key).cloned().ok_or_else(|| format!("no [source.{key}]"));
    file.amendment.iter().map(|entry| assemble(entry, &cite).map_err(|e| format!("{}: {e}", entry.slug))).collect()
}

/// What a content cites that is worked out from a formula.
fn by_formula() -> Citation {
    Citation { evidence: Evidence::Derived, ..Citation::from(ATOMIC_WEIGHTS) }
}

fn assemble(entry: &Entry, cite: &impl Fn(&str) -> Result<Citation, String>) -> Result<Amendment, String> {
    let formula: Option<Formula> = entry.formula.as_deref().map(str::parse).transpose()?;
    let pure = |element| formula.as_ref().map(|f| f.mass_fraction(element)).filter(|f| *f > 0.0);
    let mut parts = BTreeMap::new();
    let mut purity = 1.0f64;
    for grade in &entry.grade {
        let source = cite(&grade.source)?;
        for guarantee in from_label(&grade.label, Convention::Oxide)?.guarantees {
            let printed = guarantee.fraction();
            if printed == 0.0 || parts.contains_key(&guarantee.element) {
                continue;
            }
            let mut part = Part {
                mass_fraction: printed,
                first_year_availability: 1.0,
                printed: guarantee.words(),
                pure: pure(guarantee.element),
                source: source.clone(),
                availability_source: None,
            };
            if let Some(pure) = part.pure {
                if printed > pure {
                    // A printed grade above the pure compound is a rounded one.
                    part.mass_fraction = pure;
                    part.printed.push_str(", which is more than the pure compound can hold; the compound is used");
                } else {
                    purity = purity.min(printed / pure);
                }
            }
            parts.insert(guarantee.element, part);
        }
    }
    if let Some(formula) = &formula {
        for &element in formula.atoms().keys() {
            if matches!(element, Element::H | Element::O | Element::C) || parts.contains_key(&element) {
                continue;
            }
            let whole = formula.mass_fraction(element);
            let printed = if purity < 1.0 {
                format!("not printed; {:.2} % in pure {formula}, at the purity its grade implies", whole * 100.0)
            } else {
                format!("{:.2} % in pure {formula}", whole * 100.0)
            };
            let part = Part {
                mass_fraction: whole * purity,
                first_year_availability: 1.0,
                printed,
                pure: Some(whole),
                source: by_formula(),
                availability_source: None,
            };
            parts.insert(element, part);
        }
    }
    for (element, range) in &entry.availability {
        let part =
            parts.get_mut(element).ok_or_else(|| format!("availability of {element}, which it does not hold"))?;
        part.first_year_availability = (range.low + range.high) / 2.0;
        part.availability_source = Some(cite(&range.source)?);
    }
    let amount = |amount: &Option<Amount>| -> Result<Option<Cited<f64>>, String> {
        let cited = |a: &Amount| Ok(Cited { value: a.value, source: cite(&a.source)? });
        amount.as_ref().map(cited).transpose()
    };
    // The analysis cites its first grade; a material without one cites what else it rests on.
    let neutralising = amount(&entry.neutralising_value)?;
    let source = match (entry.grade.first(), &neutralising, &formula) {
        (Some(grade), _, _) => cite(&grade.source)?,
        (None, Some(cited), None) => cited.source.clone(),
        (None, _, Some(_)) => by_formula(),
        (None, None, None) => return Err("neither grade nor formula: nothing to cite".into()),
    };
    let analysis = Analysis {
        label: entry.grade.iter().map(|g| g.label.as_str()).collect::<Vec<_>>().join("; "),
        parts,
        neutralising_value: neutralising.map(|n| n.value),
        moisture: amount(&entry.moisture)?.map(|m| m.value),
        source,
    };
    if let Some(problem) = analysis.problems().into_iter().next() {
        return Err(problem);
    }
    let others = entry.other_grade.iter();
    let lists = entry.list.iter();
    Ok(Amendment {
        slug: entry.slug.clone(),
        name: entry.name.clone(),
        kind: entry.kind,
        about: entry.about.clone(),
        formula: entry.formula.clone(),
        analysis,
        also_printed: others
            .map(|g| Ok(OtherGrade { label: g.label.clone(), source: cite(&g.source)? }))
            .collect::<Result<_, String>>()?,
        solubility: amount(&entry.solubility)?,
        rate_limit: entry
            .rate_limit
            .as_ref()
            .map(|l| {
                Ok::<_, String>(RateLimit { rate: l.unit.read(l.rate), per: l.per.clone(), source: cite(&l.source)? })
            })
            .transpose()?,
        list_status: lists
            .map(|l| Ok(ListStatus { scheme: l.scheme.clone(), status: l.status.clone(), source: cite(&l.source)? }))
            .collect::<Result<_, String>>()?,
        manure: entry.manure,
        cautions: entry.cautions.clone(),
        packs_kg: entry.packs_kg.clone(),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::caution::cautions_by_content;
    use std::collections::BTreeSet;

    #[test]
    fn labels_are_read_in_both_conventions() {
        // Irish bag "18-6-12" is elemental: 3 kg P in 50 kg (Fertilizer Association of Ireland).
        let irish = from_label("18-6-12", Convention::Elemental).unwrap().fractions();
        assert_eq!(irish[&Element::P], 0.06);
        let oxide = from_label("0-0-50 + 18 S", Convention::Oxide).unwrap().fractions();
        assert!((oxide[&Element::K] - 0.4151).abs() < 5e-5);
        assert_eq!(oxide[&Element::S], 0.18);
        assert_eq!(oxide.len(), 2);
        assert_eq!(from_label("10,6 % B", Convention::Oxide).unwrap().fractions()[&Element::B], 0.106);
    }

    #[test]
    fn odd_labels_get_a_sentence() {
        for bad in ["", "0-0", "50", "0-0-5O", "1.2.3 B", "-1 S", "101 S", "5 Xx", "0-0-50 + 3 K", "NaN B", "1e400 B"] {
            assert!(from_label(bad, Convention::Oxide).is_err(), "{bad:?} was taken");
        }
    }

    #[test]
    fn the_catalogue_loads_and_every_row_has_a_source() {
        let all = load(CATALOGUE_TEXT).unwrap();
        assert!(all.len() >= 40, "{}", all.len());
        assert_eq!(all.iter().map(|a| &a.slug).collect::<BTreeSet<_>>().len(), all.len(), "a key twice");
        for a in &all {
            let cited = |c: &Citation| {
                c.evidence == Evidence::CommonPractice || !(c.publisher.is_empty() || c.title.is_empty())
            };
            assert!(cited(&a.analysis.source), "{}", a.slug);
            assert!(
                a.analysis.parts.values().all(|p| cited(&p.source) && p.availability_source.iter().all(cited)),
                "{}",
                a.slug
            );
            assert!(
                !a.analysis.parts.is_empty() || a.analysis.neutralising_value.is_some(),
                "{} brings nothing",
                a.slug
            );
            assert!(a.analysis.problems().is_empty(), "{}", a.slug);
            assert!(!a.packs_kg.is_empty() && a.packs_kg.iter().all(|kg| *kg > 0.0), "{}", a.slug);
            assert!(a.analysis.working(Element::K).is_none_or(|w| w.is_grounded()), "{}", a.slug);
            assert!(
                a.list_status
                    .iter()
                    .all(|l| !l.status.split(|c: char| !c.is_alphabetic()).any(|w| w == "allowed") && cited(&l.source)),
                "{}",
                a.slug
            );
        }
    }

    #[test]
    fn no_product_is_without_the_cautions_its_content_calls_for() {
        for a in catalogue() {
            for caution in cautions_by_content(a.kind, |e| a.analysis.fraction(e), a.manure) {
                assert!(a.cautions.contains(&caution), "{} lacks {}", a.slug, caution.slug());
            }
        }
    }

    #[test]
    fn organic_nitrogen_is_never_all_usable_at_once() {
        for a in catalogue().iter().filter(|a| !matches!(a.kind, Kind::Salt | Kind::Lime | Kind::Mineral | Kind::Ash)) {
            if let Some(n) = a.analysis.parts.get(&Element::N) {
                assert!(n.first_year_availability < 1.0 && n.availability_source.is_some(), "{}", a.slug);
            }
        }
    }

    #[test]
    fn a_grade_above_the_pure_compound_falls_back_to_chemistry() {
        // NCDA&CS table 4.10 prints Epsom salt at 10 % Mg; MgSO4·7H2O holds 9.86 %.
        let mg = &find("epsom_salt").unwrap().analysis.parts[&Element::Mg];
        assert!((mg.mass_fraction - 0.0986).abs() < 5e-5);
        assert!(mg.printed.starts_with("10 % Mg"));
    }

    #[test]
    fn a_printed_grade_comes_before_chemistry() {
        // Cornell NRCCA: sulfate of potash 50 % K2O; the pure salt holds 54.06 %.
        let k = &find("sulfate_of_potash").unwrap().analysis.parts[&Element::K];
        assert!((k.mass_fraction - 0.4151).abs() < 5e-5);
        assert!((k.pure.unwrap() - 0.4488).abs() < 5e-5);
    }

    #[test]
    fn typed_neutralising_values_agree_with_the_atoms() {
        // One CaCO₃ for each calcium: SCMA and the molar masses give 135.1 and 178.5 % of pure carbonate.
        for slug in ["ground_limestone", "hydrated_lime", "burnt_lime"] {
            let lime = find(slug).unwrap();
            let exact = crate::agronomy::lime::neutralising_value_of(lime.formula.as_deref().unwrap()).unwrap();
            assert!((lime.analysis.neutralising_value.unwrap() - exact).abs() < 0.06, "{slug}: {exact}");
        }
        // Of an oxide with 52.5 % Mg, 52.5 ÷ 60.30 is the oxide itself: 216.2 %. Nothing is stronger than the pure one.
        let oxide = find("magnesium_oxide").unwrap();
        let pure = crate::agronomy::lime::neutralising_value_of(oxide.formula.as_deref().unwrap()).unwrap();
        let magnesium = &oxide.analysis.parts[&Element::Mg];
        let share = magnesium.mass_fraction / magnesium.pure.unwrap();
        assert!((oxide.analysis.neutralising_value.unwrap() - share * pure).abs() < 0.06, "{share} × {pure}");
        assert!((240.0..MOST_NEUTRALISING).contains(&pure), "{pure}");
    }

    #[test]
    fn an_analysis_above_the_whole_is_told() {
        let label = from_label("40-0-0 + 70 S", Convention::Oxide).unwrap();
        let analysis = Analysis::from_label(&label, Citation::from(ATOMIC_WEIGHTS));
        assert!(analysis.problems()[0].contains("110.0 %"));
    }
}
