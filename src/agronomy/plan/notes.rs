//! What a plan has to say, as data with a sentence each. Must never decide anything:
//! a note reports what another module did, in words a tired grower can act on.

use super::super::{element::Element, quantity::Grams};
use super::{Goal, Key};
use std::fmt;

/// A key with the name to show for it.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Named {
    pub key: Key,
    pub name: String,
}

impl Named {
    pub(crate) fn new(key: Key, name: &str) -> Self {
        Named { key, name: name.to_owned() }
    }
}

impl fmt::Display for Named {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.name.is_empty() { write!(f, "no. {}", self.key) } else { f.write_str(&self.name) }
    }
}

/// Something about a plan that a person should know.
#[derive(Clone, Debug, PartialEq)]
pub enum Note {
    /// The plot has no usable area.
    PlotLeftOut { plot: Named },
    /// The product cannot be counted on; `why` completes the sentence.
    ProductLeftOut { product: Named, why: &'static str },
    /// Two entries share a key; the first is used.
    Twice { what: &'static str, name: Named },
    /// A figure that cannot be used; `taken_as` says what was used instead.
    OddNumber { whose: String, what: String, taken_as: &'static str },
    /// A cap has nothing left, so the products counted by it are barred from the plot.
    CapUsedUp { plot: Named, label: String, element: Option<Element>, over_kg_per_ha: f64, barred: Vec<Named> },
    /// The doses go beyond a cap.
    CapExceeded { plot: Named, label: String, element: Option<Element>, used_g: f64, left_g: f64 },
    /// The dose goes beyond the product's rate limit.
    RateExceeded { plot: Named, product: Named, g_per_m2: f64, most_g_per_m2: f64 },
    /// The product is used where it is not allowed.
    NotAllowedHere { plot: Named, product: Named },
    /// Less of the product than must be used here.
    LessThanRequired { plot: Named, product: Named, dose_g: f64, least_g: f64 },
    /// What must be used here cannot be, or not so much of it; `why` completes the sentence.
    RequiredLess { plot: Named, product: Named, asked_g: f64, given_g: f64, why: String },
    /// The passes over these plots had to be chosen among.
    PassesChosen { plots: Vec<Named>, most: usize },
    /// There was no time to try every choice of passes over these plots.
    PassesNotTried { plots: Vec<Named> },
    /// The doses take more passes than asked for.
    TooManyPasses { plot: Named, passes: usize, most: usize },
    /// A plot with doses of its own does not follow the recipe of its block.
    OutOfRecipe { plot: Named },
    /// There is a budget and no price, so none of it is bought.
    NeedsPrice { product: Named },
    /// More is used than is on hand, and it cannot be bought.
    BeyondStock { product: Named, short_g: f64 },
    /// More is spent than the budget.
    OverBudget { cost_minor: f64, budget_minor: f64 },
    /// Locked doses alone need more products than asked for.
    TooManyLocked { locked: usize, asked: usize },
    /// No product in the list carries the element.
    NothingCarries { element: Element, plots: Vec<Named> },
    /// None on hand and no pack to buy.
    NoneToBeHad { product: Named },
    /// No price is known: counted as costing nothing.
    PriceUnknown { product: Named },
    /// A lock or a dose for a plot or product that is not there.
    DoseIgnored { plot: Key, product: Key, why: &'static str },
    /// Two locks for one place; the smaller is kept.
    LocksDisagree { plot: Named, product: Named, kept_g: f64, other_g: f64 },
    /// Less than the scale can weigh.
    BelowScale { plot: Named, product: Named, dose_g: f64, step_g: f64 },
    /// Weighing moves the dose noticeably.
    Coarse { plot: Named, product: Named, exact_g: f64, weigh_g: f64 },
    /// The search stopped before a goal was proven best.
    NotProven { goal: Goal, gap: Option<f64> },
    /// Which packs or products to have was chosen for the least shortage; how near this goal is to the
    /// best for that choice is known, how near to the best of all choices is not.
    OfChoice { goal: Goal, gap: Option<f64> },
    /// One recipe for the block puts more of a product on the plot than is any use there, g beyond
    /// the plot's own needs by element.
    RecipeExcess { plot: Named, product: Named, beyond_g: Vec<(Element, f64)> },
}

/// What kept a need from being met.
#[derive(Clone, Debug, PartialEq)]
pub enum Because {
    /// No product in the list carries the element.
    NoProduct,
    /// Products that carry it are not allowed on the plot.
    NotAllowed(Vec<Named>),
    /// A cap has no room for more of `product`.
    Cap { label: String, element: Option<Element>, product: Named },
    /// The product is at its rate limit.
    RateLimit(Named),
    /// The dose is locked.
    Locked(Named),
    /// No more of the product can be had.
    Supply(Named),
    /// There is a budget, and what the product costs is not known.
    NoPrice(Named),
    /// The budget is spent.
    Budget,
    /// The limit on the number of products is reached.
    ProductCount,
    /// Other products take the passes that the plot may have.
    Passes,
    /// One recipe for the whole block.
    OneRecipe,
    /// Some shortage was accepted, for less excess, cost or mass.
    Accepted,
    /// Weighing steps.
    Scale,
    /// The search was cut short.
    Search,
}

impl Because {
    /// What kind of thing stopped it, in a word or two.
    pub const fn kind(&self) -> &'static str {
        match self {
            Because::NoProduct => "no product",
            Because::NotAllowed(_) => "kept off",
            Because::Cap { .. } => "cap",
            Because::RateLimit(_) => "most of a product",
            Because::Locked(_) => "kept dose",
            Because::Supply(_) => "stock and packs",
            Because::NoPrice(_) => "no price",
            Because::Budget => "budget",
            Because::ProductCount => "number of products",
            Because::Passes => "passes",
            Because::OneRecipe => "one recipe",
            Because::Accepted => "accepted",
            Because::Scale => "scale",
            Because::Search => "search",
        }
    }
}

/// Grams with a precision that suits a kitchen scale.
pub(crate) fn grams(g: f64) -> String {
    Grams(g).words()
}

fn names(list: &[Named]) -> String {
    list.iter().map(Named::to_string).collect::<Vec<_>>().join(", ")
}

/// "the boron cap (carrots: 2.24 kg/ha)".
fn cap_words(label: &str, element: Option<Element>) -> String {
    match (element, label) {
        (Some(e), "") => format!("the {} cap", e.name()),
        (Some(e), _) => {
            let said = label.split_once(", ").filter(|(head, _)| head.eq_ignore_ascii_case(e.name()));
            format!("the {} cap ({})", e.name(), said.map_or(label, |(_, rest)| rest))
        }
        (None, "") => "a cap".to_owned(),
        (None, _) => format!("the cap “{label}”"),
    }
}

impl Goal {
    /// What the goal is about, in plain words.
    pub const fn words(self) -> &'static str {
        match self {
            Goal::Shortage => "least shortage",
            Goal::Excess => "least excess",
            Goal::Cost => "least cost",
            Goal::Products => "fewest products",
            Goal::Mass => "least to carry",
        }
    }
}

impl fmt::Display for Note {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Note::PlotLeftOut { plot } => write!(f, "{plot} has no usable area and is left out of the plan."),
            Note::ProductLeftOut { product, why } => write!(f, "{product} is left out: {why}."),
            Note::Twice { what, name } => write!(f, "The {what} {name} is listed twice; the first is used."),
            Note::OddNumber { whose, what, taken_as } => {
                write!(f, "{whose}: {what} is not a usable number; {taken_as}.")
            }
            Note::CapUsedUp { plot, label, element, over_kg_per_ha, barred } => {
                write!(f, "{plot}: {} ", cap_words(label, *element))?;
                match *over_kg_per_ha >= 0.005 {
                    true => write!(f, "is already exceeded by {over_kg_per_ha:.2} kg/ha")?,
                    false => write!(f, "leaves nothing to give")?,
                }
                match barred.is_empty() {
                    true => f.write_str("; no product in the list is affected."),
                    false => write!(f, ", so this is not used here: {}.", names(barred)),
                }
            }
            Note::CapExceeded { plot, label, element, used_g, left_g } => write!(
                f,
                "{plot}: the doses bring {} against {}, which has {} left.",
                grams(*used_g),
                cap_words(label, *element),
                grams(left_g.max(0.0))
            ),
            Note::RateExceeded { plot, product, g_per_m2, most_g_per_m2 } => {
                write!(f, "{plot}: {product} at {g_per_m2:.1} g/m² is above its limit of {most_g_per_m2:.1} g/m².")
            }
            Note::NotAllowedHere { plot, product } => {
                write!(f, "{plot}: {product} is kept off this plot, and yet there is a dose of it.")
            }
            Note::BeyondStock { product, short_g } => {
                write!(f, "{product}: {} more is used than is on hand, and no pack is known to buy.", grams(*short_g))
            }
            Note::OverBudget { cost_minor, budget_minor } => {
                let (cost, budget) = (cost_minor / 100.0, budget_minor / 100.0);
                write!(f, "The packs cost {cost:.2}, which is more than the budget of {budget:.2}.")
            }
            Note::TooManyLocked { locked, asked } => {
                write!(
                    f,
                    "Doses that are kept or must be used take {locked} products, more than the {asked} asked for; \
                     no others are used."
                )
            }
            Note::NothingCarries { element, plots } => {
                write!(f, "No product in the list supplies {}, which is needed on {}.", element.name(), names(plots))
            }
            Note::NoneToBeHad { product } => {
                write!(f, "{product} is not used: none is on hand and no pack is known to buy.")
            }
            Note::PriceUnknown { product } => {
                write!(
                    f,
                    "{product} has no price. So that unknown does not count as free, the plan takes it to be as dear, \
                     gram for gram, as the dearest product here; the cost shown leaves it out."
                )
            }
            Note::NeedsPrice { product } => write!(
                f,
                "{product} has no price, and there is a budget to keep, so none of it is bought. Give its pack a price."
            ),
            Note::LessThanRequired { plot, product, dose_g, least_g } => write!(
                f,
                "{plot}: at least {} of {product} must be used here, and the dose is {}.",
                grams(*least_g),
                grams(*dose_g)
            ),
            Note::RequiredLess { plot, product, asked_g, given_g, why } => {
                write!(f, "{plot}: {product} must be used")?;
                if *asked_g > 0.0 {
                    write!(f, ", at least {}", grams(*asked_g))?;
                }
                match *given_g > 0.0 {
                    true => write!(f, "; it gets {}, because {why}.", grams(*given_g)),
                    false => write!(f, "; it gets none, because {why}."),
                }
            }
            Note::PassesChosen { plots, most } => write!(
                f,
                "{}: which products take the {} was chosen plot by plot, for the least shortage and then the least \
                 excess, before prices and packs were looked at.",
                names(plots),
                if *most == 1 { "one pass".to_owned() } else { format!("{most} passes") }
            ),
            Note::PassesNotTried { plots } => write!(
                f,
                "{}: there was no time to try every choice of passes, so those were taken that by themselves can bring \
                 most of what is needed. Another choice may leave less missing.",
                names(plots)
            ),
            Note::TooManyPasses { plot, passes, most } => {
                write!(f, "{plot}: these doses take {passes} passes, more than the {most} asked for.")
            }
            Note::OutOfRecipe { plot } => {
                write!(f, "{plot} has a dose that is kept, so it is planned by itself and not by its block's recipe.")
            }
            Note::DoseIgnored { plot, product, why } => {
                write!(f, "A dose of product no. {product} on plot no. {plot} is left out: {why}.")
            }
            Note::LocksDisagree { plot, product, kept_g, other_g } => write!(
                f,
                "{plot}: {product} is to be kept at both {} and {}, so the smaller is kept.",
                grams(*kept_g),
                grams(*other_g)
            ),
            Note::BelowScale { plot, product, dose_g, step_g } => write!(
                f,
                "{plot}: {} of {product} is less than the scale's step of {}; use a carrier mix or a solution.",
                grams(*dose_g),
                grams(*step_g)
            ),
            Note::Coarse { plot, product, exact_g, weigh_g } => write!(
                f,
                "{plot}: weighing turns {} of {product} into {}; a carrier mix or a solution would be closer.",
                grams(*exact_g),
                grams(*weigh_g)
            ),
            Note::NotProven { goal, gap: Some(gap) } => {
                write!(
                    f,
                    "{}: the best found, within {:.1} % of the best possible; the search stopped there.",
                    capital(goal.words()),
                    gap * 100.0
                )
            }
            Note::NotProven { goal, gap: None } => {
                write!(f, "{}: the best found; the search stopped before it was proven.", capital(goal.words()))
            }
            Note::OfChoice { goal, gap } => {
                let near = match gap {
                    Some(gap) if *gap > 1e-6 => format!("within {:.1} % of the best", gap * 100.0),
                    Some(_) => "the best".to_owned(),
                    None => "the best found".to_owned(),
                };
                write!(
                    f,
                    "{}: {near} for the products and packs that were chosen to leave least missing. Another choice \
                     that leaves no more missing was not looked for here, so how near this is to the best of all \
                     choices is not known.",
                    capital(goal.words())
                )
            }
            Note::RecipeExcess { plot, product, beyond_g } => {
                let each = beyond_g.iter().map(|(element, g)| format!("{} of {}", grams(*g), element.name()));
                write!(
                    f,
                    "{plot}: its block’s one recipe puts on more {product} than is any use here: {} beyond what this \
                     bed needs.",
                    each.collect::<Vec<_>>().join(", ")
                )
            }
        }
    }
}

fn capital(words: &str) -> String {
    let mut chars = words.chars();
    chars.next().map(|c| c.to_uppercase().chain(chars).collect()).unwrap_or_default()
}

impl fmt::Display for Because {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Because::NoProduct => f.write_str("no product in the list carries it"),
            Because::NotAllowed(products) => write!(f, "kept off here: {}", names(products)),
            Because::Cap { label, element, product } => {
                write!(f, "{} leaves no room for more {product}", cap_words(label, *element))
            }
            Because::RateLimit(product) => write!(f, "{product} is at the most that is given of it"),
            Because::Locked(product) => write!(f, "the dose of {product} is kept as it was set"),
            Because::Supply(product) => write!(f, "no more {product} can be had"),
            Because::NoPrice(product) => {
                write!(f, "{product} has no price, so with a budget to keep none of it is bought")
            }
            Because::Budget => f.write_str("the budget is spent"),
            Because::ProductCount => f.write_str("the limit on the number of products is reached"),
            Because::Passes => f.write_str("the passes over this plot are taken by other products"),
            Because::OneRecipe => f.write_str("all beds of the block get one recipe"),
            Because::Accepted => f.write_str(
                "some shortage was accepted, as asked, so that less is spent or less comes along that is not needed",
            ),
            Because::Scale => f.write_str("that is what the steps of the scale leave, so nothing more is to be done"),
            Because::Search => f.write_str("the search was cut short"),
        }
    }
}
