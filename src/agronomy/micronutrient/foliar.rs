//! Sprays on the leaf, as published: a rescue for a crop that shows a shortage, never a way to
//! build up soil. What is sprayed counts in the season's caps like anything else.

use crate::agronomy::{
    element::Element,
    quantity::KG_PER_LB,
    source::{Evidence, Source},
};

/// Litres in 100 US gallons.
const LITRES_PER_100_GALLONS: f64 = 378.541_178_4;

/// g in a litre for each pound in 100 US gallons: 1.198.
pub const G_PER_L_PER_LB_PER_100_GALLONS: f64 = KG_PER_LB * 1e3 / LITRES_PER_100_GALLONS;

/// Where the sprays were read.
pub const SPRAYS: Source = Source {
    publisher: "NOFA",
    title: "Organic Soil-Fertility handbook, table 27: foliar rates of micronutrients",
    year: 0,
    address: "https://nofa.org/soil/html/table27.php",
    evidence: Evidence::Read,
};

/// A spray for one element.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spray {
    pub element: Element,
    /// lb of the element in 100 US gallons, from and to; `None` where the source gives a solution of a salt.
    pub lb_per_100_gallons: Option<(f64, f64)>,
    /// How often, and on what.
    pub words: &'static str,
}

/// The sprays known here.
pub const FOLIAR: &[Spray] = &[
    Spray { element: Element::B, lb_per_100_gallons: Some((0.1, 0.1)), words: "weekly, on annual crops" },
    Spray { element: Element::Cu, lb_per_100_gallons: Some((0.8, 0.8)), words: "" },
    Spray { element: Element::Mn, lb_per_100_gallons: Some((0.5, 1.0)), words: "two or three times" },
    Spray { element: Element::Zn, lb_per_100_gallons: Some((0.125, 2.2)), words: "" },
    Spray {
        element: Element::Fe,
        lb_per_100_gallons: None,
        words: "a 3 % solution of iron sulfate, 120 to 180 gallons an acre (112 to 168 mL/m²), every two weeks",
    },
];

impl Spray {
    /// The spray for an element, where one is published.
    pub fn of(element: Element) -> Option<&'static Spray> {
        FOLIAR.iter().find(|spray| spray.element == element)
    }

    /// g of the element in a litre, from and to.
    pub fn g_per_l(&self) -> Option<(f64, f64)> {
        let (low, high) = self.lb_per_100_gallons?;
        Some((low * G_PER_L_PER_LB_PER_100_GALLONS, high * G_PER_L_PER_LB_PER_100_GALLONS))
    }

    /// As a page says it, without the source.
    pub fn text(&self) -> String {
        let grams = self.g_per_l().map(|(low, high)| {
            let shown = |grams: f64| format!("{grams:.2}");
            let span = if low == high { shown(low) } else { format!("{} to {}", shown(low), shown(high)) };
            format!("{span} g of {} in a litre", self.element.name())
        });
        let parts: Vec<String> =
            grams.into_iter().chain((!self.words.is_empty()).then(|| self.words.to_owned())).collect();
        parts.join(", ")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_pound_in_a_hundred_gallons_is_a_gram_and_a_fifth_in_a_litre() {
        assert!((G_PER_L_PER_LB_PER_100_GALLONS - 1.198).abs() < 5e-4);
        assert_eq!(Spray::of(Element::B).unwrap().text(), "0.12 g of boron in a litre, weekly, on annual crops");
        assert_eq!(
            Spray::of(Element::Mn).unwrap().text(),
            "0.60 to 1.20 g of manganese in a litre, two or three times"
        );
        assert!(Spray::of(Element::Fe).unwrap().text().starts_with("a 3 % solution"));
        assert!(Spray::of(Element::Mo).is_none());
    }
}
