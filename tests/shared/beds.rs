//! Beds, products and requests of a plan, as the tests of plans build them.

use glebe::agronomy::{element::Element, plan::*};

/// A bed of this size with needs in kg/ha.
pub fn bed(key: Key, area_m2: f64, need: &[(Element, f64)]) -> PlotNeed {
    let need_kg_per_ha = need.iter().copied().collect();
    PlotNeed { key, name: format!("bed {key}"), area_m2, need_kg_per_ha, ..PlotNeed::default() }
}

/// A product sold loose by the kilogram, at a price per kilogram in minor units where one is known;
/// contents are mass fractions.
pub fn product(key: Key, content: &[(Element, f64)], price_minor: Option<i64>) -> Product {
    Product {
        key,
        name: format!("product {key}"),
        content: content.iter().copied().collect(),
        packs: vec![Pack { mass_g: 1_000.0, price_minor }],
        ..Product::default()
    }
}

/// A request for a plan, with every option as it comes.
pub fn request(plots: Vec<PlotNeed>, products: Vec<Product>) -> PlanInput {
    PlanInput { plots, products, ..PlanInput::default() }
}

/// The dose of a product on a bed, g, as it is to be weighed; 0 for none.
pub fn weighed_g(plan: &Plan, plot: Key, product: Key) -> f64 {
    plan.doses.iter().find(|d| (d.plot.key, d.product.key) == (plot, product)).map_or(0.0, |d| d.weigh_g)
}
