//! Questions about a product as its analysis is entered: the other scale of a lime's value, the
//! other hydrate of a salt, more than a compound can hold, figures of dry matter for wet stuff.
//! Each is a question to the person with the bag in hand; a printed grade stands as it was typed.

use crate::agronomy::{
    amendment::{self, Amendment, Analysis, Kind},
    element::{ATOMIC_WEIGHTS, Element, Formula},
    lime::neutralising_value_of,
    reading::number,
    source::{Citation, Evidence, Source},
};

/// What a question about a product is about.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum ProductQuestionKind {
    /// The neutralising value fits % as CaO better than % of pure carbonate.
    ValueAsOxide,
    /// The content fits another hydrate of the salt.
    OtherHydrate,
    /// More than the pure compound can hold.
    AbovePure,
    /// Of the material as it is, or of its dry matter.
    WetOrDry,
}

/// A question to the person who has the bag or the sheet.
#[derive(Clone, Debug, PartialEq)]
pub struct ProductQuestion {
    pub kind: ProductQuestionKind,
    /// One or two sentences ending in a question.
    pub text: String,
    pub source: Citation,
}

/// The same limes by both scales: 100 % of pure carbonate is 56 % as CaO.
const AS_OXIDE: Source = Source {
    publisher: "IUPAC Commission on Isotopic Abundances and Atomic Weights",
    title: "Weights of CaO and CaCO₃: pure carbonate neutralises as much as 56.03 % of its mass in CaO, the scale of British and European labels",
    year: 2021,
    address: "https://iupac.qmul.ac.uk/AtWt/",
    evidence: Evidence::Derived,
};

/// Farmyard manures by the tonne with their dry matter: 2.4 % of nitrogen in dry matter for
/// cattle's (6.0 kg in a tonne of 25 %), 2.3 for horses' (7.0 kg, 30 %).
const MANURES: Source = Source {
    publisher: "Defra",
    title: "Fertiliser Manual (RB209), 8th edition: farmyard manure, total nitrogen by fresh weight at 25 to 30 % dry matter",
    year: 2010,
    address: "http://adlib.everysite.co.uk/adlib/defra/content.aspx?id=2RRVTHNXTS.88UF90DE8XRAN",
    evidence: Evidence::Read,
};

/// Nitrogen in the dry matter of manure, %, above which figures are likely of dry matter already.
/// Our own limit, no source: over twice what farmyard manures hold, for poultry's is richer.
const MOST_IN_DRY_MATTER: f64 = 8.0;

/// Salts whose hydrates are sold side by side: words of the name, the salt, waters. The hydrates
/// are common practice; what each holds comes from the atomic weights.
const HYDRATES: &[(&str, &str, &[u32])] = &[
    ("zinc sul", "ZnSO4", &[0, 1, 6, 7]),
    ("magnesium sul", "MgSO4", &[0, 1, 7]),
    ("manganese sul", "MnSO4", &[0, 1, 4]),
    ("iron sul", "FeSO4", &[0, 1, 7]),
    ("ferrous sul", "FeSO4", &[0, 1, 7]),
    ("copper sul", "CuSO4", &[0, 1, 5]),
    ("calcium sul", "CaSO4", &[0, 2]),
    ("borax", "Na2B4O7", &[0, 5, 10]),
    ("sodium tetraborate", "Na2B4O7", &[0, 5, 10]),
    ("octaborate", "Na2B8O13", &[0, 4]),
    ("molybdate", "Na2MoO4", &[0, 2]),
];

/// How a name says how much water a salt holds.
const WATERS: &[(&str, u32)] = &[
    ("anhydr", 0),
    ("monohydr", 1),
    ("dihydr", 2),
    ("tetrahydr", 4),
    ("pentahydr", 5),
    ("hexahydr", 6),
    ("heptahydr", 7),
    ("decahydr", 10),
];

/// Every question that a product's analysis raises. What was taken from the catalogue as it
/// stands there raises none: it was read, not typed.
pub fn questions(amendment: &Amendment, analysis: &Analysis) -> Vec<ProductQuestion> {
    if amendment::find(&amendment.slug).is_some_and(|entry| entry.analysis == *analysis) {
        return vec![];
    }
    let mut asked = Vec::new();
    value_as_oxide(amendment, analysis, &mut asked);
    salt(amendment, analysis, &mut asked);
    wet_or_dry(amendment, analysis, &mut asked);
    asked
}

/// A lime of 50 to 56 %, or of 56 % of what its own formula gives.
fn value_as_oxide(amendment: &Amendment, analysis: &Analysis, asked: &mut Vec<ProductQuestion>) {
    let Some(value) = analysis.neutralising_value.filter(|_| amendment.kind == Kind::Lime) else { return };
    let of_carbonate = amendment.formula.as_deref().and_then(neutralising_value_of).unwrap_or(100.0);
    let as_oxide = |pure: f64| pure * per_carbonate();
    // A tenth of impurity is ordinary; 0.2 above is rounding: our own limits, no source.
    if !(as_oxide(of_carbonate) * 0.89..=as_oxide(of_carbonate) + 0.2).contains(&value) {
        return;
    }
    let text = format!(
        "A neutralising value of {} % is what {} has as CaO, the scale that British and European labels print; of pure carbonate it would be {} %. Which of the two does the label mean? Here it is % of pure calcium carbonate.",
        number(value),
        match &amendment.formula {
            Some(formula) => format!("good {formula}"),
            None => "good ground limestone".into(),
        },
        number((value / per_carbonate()).round())
    );
    asked.push(ProductQuestion { kind: ProductQuestionKind::ValueAsOxide, text, source: AS_OXIDE.into() });
}

/// CaO that neutralises as much as 1 of pure carbonate, by mass.
fn per_carbonate() -> f64 {
    let of = |formula: &str| formula.parse::<Formula>().map_or(f64::NAN, |f| f.molar_mass());
    of("CaO") / of("CaCO3")
}

/// The formula of the product, its own or by its name: salt and waters.
fn formula_of(amendment: &Amendment) -> Option<String> {
    if let Some(formula) = &amendment.formula {
        return Some(formula.clone());
    }
    let name = amendment.name.to_lowercase();
    let (_, salt, _) = HYDRATES.iter().find(|(words, ..)| name.contains(words))?;
    let (_, waters) = WATERS.iter().find(|(word, _)| name.contains(word))?;
    Some(hydrate(salt, *waters))
}

fn hydrate(salt: &str, waters: u32) -> String {
    match waters {
        0 => salt.to_owned(),
        1 => format!("{salt}·H2O"),
        n => format!("{salt}·{n}H2O"),
    }
}

/// What a salt of a known formula cannot hold, or what another of its hydrates holds.
fn salt(amendment: &Amendment, analysis: &Analysis, asked: &mut Vec<ProductQuestion>) {
    let Some(text) = formula_of(amendment) else { return };
    let Ok(formula) = text.parse::<Formula>() else { return };
    let core = text.split('·').next().unwrap_or(&text);
    let hydrates = HYDRATES.iter().find(|(_, salt, _)| *salt == core).map_or(&[][..], |(.., waters)| *waters);
    for (element, part) in &analysis.parts {
        let (printed, pure) = (part.mass_fraction, formula.mass_fraction(*element));
        if pure <= 0.0 || matches!(element, Element::H | Element::O | Element::C) {
            continue;
        }
        let fits = |other: &str| {
            let holds = other.parse::<Formula>().map_or(0.0, |other| other.mass_fraction(*element));
            // Grades are printed to the half per cent or so, and are a little under the pure salt: our own
            // limits here and below, no source.
            (other != text && (0.96..=1.015).contains(&(printed / holds))).then_some(holds)
        };
        let percent = |share: f64| number((share * 1000.0).round() / 10.0);
        let own = (0.9..=1.015).contains(&(printed / pure));
        let other = hydrates.iter().map(|waters| hydrate(core, *waters)).find_map(|h| fits(&h).map(|holds| (h, holds)));
        if let Some((other, holds)) = other.filter(|_| !own) {
            let said = format!(
                "{} of {} % is what {other} holds ({} %); this product is {text}, which holds {} % when pure. Which of the two is in the bag?",
                capital(element.name()),
                percent(printed),
                percent(holds),
                percent(pure)
            );
            asked.push(ProductQuestion {
                kind: ProductQuestionKind::OtherHydrate,
                text: said,
                source: ATOMIC_WEIGHTS.into(),
            });
        } else if printed > pure * 1.005 {
            let said = format!(
                "{} of {} % is more than pure {text} can hold, which is {} %. Is the figure rounded up, of an oxide, or of another salt?",
                capital(element.name()),
                percent(printed),
                percent(pure)
            );
            asked.push(ProductQuestion {
                kind: ProductQuestionKind::AbovePure,
                text: said,
                source: ATOMIC_WEIGHTS.into(),
            });
        }
    }
}

/// Manure and compost whose figures may be of dry matter.
fn wet_or_dry(amendment: &Amendment, analysis: &Analysis, asked: &mut Vec<ProductQuestion>) {
    let wet = amendment.manure || matches!(amendment.kind, Kind::Manure | Kind::Compost);
    let nitrogen = analysis.fraction(Element::N) * 100.0;
    if !wet || analysis.parts.is_empty() {
        return;
    }
    let what = if amendment.kind == Kind::Compost { "compost" } else { "manure" };
    let text = match analysis.moisture {
        None => format!(
            "Labs print {what} as it came or on its dry matter, and the two may be several times apart. Which is this, and how much water does it hold? Here all figures are of the {what} as it is spread."
        ),
        Some(water) if water >= 0.3 && nitrogen / (1.0 - water) > MOST_IN_DRY_MATTER => format!(
            "Nitrogen of {} % with {} % of water would be {} % of the dry matter, far more than manures hold. Are these figures of the dry matter? Here they are of the {what} as it is spread.",
            number(nitrogen),
            number((water * 1000.0).round() / 10.0),
            number((nitrogen / (1.0 - water) * 10.0).round() / 10.0)
        ),
        Some(_) => return,
    };
    asked.push(ProductQuestion { kind: ProductQuestionKind::WetOrDry, text, source: MANURES.into() });
}

fn capital(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
