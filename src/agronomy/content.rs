//! A product's composition in percent, as people and bags write it: each element, and the
//! oxide that is customary for it. The record keeps fractions of the element; nothing else
//! is computed with these.

use super::{
    amendment::{Analysis, Part},
    element::{Element, Form},
};

/// One element of a product in percent.
#[derive(Clone, Debug, PartialEq)]
pub struct Content<'a> {
    pub element: Element,
    /// Of the product's mass, counted as the element.
    pub percent: f64,
    /// The same counted as the oxide that bags print, where one is customary.
    pub oxide: Option<(Form, f64)>,
    /// Share that a crop can use in the first year, %.
    pub available_percent: f64,
    pub part: &'a Part,
}

/// What a product holds, in the order of the elements.
pub fn contents(analysis: &Analysis) -> Vec<Content<'_>> {
    let mut contents = Vec::new();
    for (element, part) in &analysis.parts {
        let percent = part.mass_fraction * 100.0;
        let oxide = Form::oxide_of(*element).map(|form| (form, percent / form.to_element()));
        let available_percent = part.first_year_availability * 100.0;
        contents.push(Content { element: *element, percent, oxide, available_percent, part });
    }
    contents
}

/// Water in a product as sold, % of mass.
pub fn moisture_percent(analysis: &Analysis) -> Option<f64> {
    analysis.moisture.map(|fraction| fraction * 100.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::{
        amendment::{Convention, from_label},
        source::{Citation, Evidence},
    };

    #[test]
    fn an_oxide_label_reads_back_as_printed() {
        let source = Citation {
            publisher: "a bag".into(),
            title: String::new(),
            year: 0,
            address: String::new(),
            evidence: Evidence::Read,
        };
        let label = from_label("0-0-50 + 18 S", Convention::Oxide).unwrap();
        let analysis = Analysis::from_label(&label, source);
        let contents = contents(&analysis);
        let potassium = contents.iter().find(|c| c.element == Element::K).unwrap();
        // 50 % K₂O is 41.5 % K by atomic weights (K₂O ÷ 1.2046).
        assert!((potassium.percent - 50.0 / 1.2046).abs() < 0.01, "{potassium:?}");
        let (form, oxide) = potassium.oxide.unwrap();
        assert!(form == Form::K2O && (oxide - 50.0).abs() < 1e-9);
    }
}
