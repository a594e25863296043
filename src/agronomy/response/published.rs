//! What has been published of how far a kilogram of an element per hectare moves a soil test:
//! each figure as stated, for its extractant, unit and depth, with who says so.

use super::PER;
use crate::agronomy::{
    element::Element,
    method::Method,
    offtake::round,
    quantity::{Centimetres, KG_PER_HA_PER_LB_PER_ACRE, MgPerKg, MgPerL},
    source::{Evidence, Source},
    standing::num,
    working::{Figure, Origin, Working},
};

/// Least spread of a published prior, as a share of its mean: sources for one extractant at
/// one depth differ by as much.
const PRIOR_SPREAD: f64 = 0.4;

/// Who says so of the spread.
pub const PRIOR_SPREAD_SOURCE: Source = Source {
    publisher: "Defaults of this program",
    title: "Spread of a published response: at least 0.4 of its mean, as three New Zealand soils differ (5, 7 and 11 kg P/ha per Olsen unit)",
    year: 0,
    address: "https://www.nzgajournal.org.nz/index.php/ProNZGA/article/view/2187",
    evidence: Evidence::Derived,
};

/// A published response.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Published {
    pub element: Element,
    /// The extractants that it was stated for.
    pub methods: &'static [Method],
    /// Units of the tests that it was stated for.
    pub units: &'static [&'static str],
    /// Depth of the soil that it was stated for.
    pub depth: Centimetres,
    /// As stated.
    pub stated: &'static str,
    /// Test units per kg/ha of the element: the middle of what is stated.
    pub response: f64,
    pub source: Source,
}

const BY_MASS: &[&str] = &[MgPerKg::UNIT];
const BY_VOLUME: &[&str] = &[MgPerL::UNIT];
const BY_EITHER: &[&str] = &[MgPerKg::UNIT, MgPerL::UNIT];
/// 6⅔ inches, the layer of the American rule.
const FURROW_SLICE: Centimetres = Centimetres(16.93);

const TRI_STATE: Source = Source {
    publisher: "AgProfessional, summarising the Tri-State fertilizer recommendations",
    title: "How much fertilizer will move soil test levels: 20 lb P2O5/acre per ppm P; 6 to 10 lb K2O/acre per ppm K by exchange capacity; 6⅔ in",
    year: 0,
    address: "http://www.agprofessional.com/resource-centers/crop-fertility/phosphorus-potassium/news/How-much-fertilizer-will-move-soil-test-levels-178095811.html",
    evidence: Evidence::Quoted,
};
const PDA: Source = Source {
    publisher: "Potash Development Association",
    title: "Frequently asked questions: 10 kg K2O/ha per mg/L on sandy clay loam, heavier soil more, light sand about half (depth not stated; British fields are sampled to 15 cm)",
    year: 2009,
    address: "https://pda.org.uk/some-frequently-asked-questions-about-p-and-k",
    evidence: Evidence::Read,
};
const CANTERBURY: Source = Source {
    publisher: "Roberts and others, Proceedings of the New Zealand Grassland Association 56",
    title: "North Canterbury: 5 kg P/ha above maintenance per Olsen unit, 0 to 7.5 cm",
    year: 1994,
    address: "https://doi.org/10.33584/jnzg.1994.56.2126",
    evidence: Evidence::Read,
};
const NORTHLAND: Source = Source {
    publisher: "Roberts and others, Proceedings of the New Zealand Grassland Association",
    title: "Northland: 7 kg P/ha (sedimentary) and 11 kg P/ha (volcanic) per Olsen unit, 0 to 7.5 cm",
    year: 0,
    address: "https://www.nzgajournal.org.nz/index.php/ProNZGA/article/view/2187",
    evidence: Evidence::Read,
};
const ROTHAMSTED: Source = Source {
    publisher: "Rothamsted Research (Glendining and others), long-term liming experiment, CC BY 4.0",
    title: "Fertilised less unfertilised plots over the element applied since 1962, 0 to 23 cm, not corrected for the larger crops",
    year: 2023,
    address: "https://doi.org/10.23637/rcs10-soil-01",
    evidence: Evidence::Derived,
};

/// kg of P in a kg of P₂O₅ and of K in one of K₂O: the abridged 2021 weights, as
/// [`crate::agronomy::element::Form`] computes them. Typed here because the table is a constant;
/// compared with that computation by a test.
const P_IN_P2O5: f64 = 0.436_428_7;
const K_IN_K2O: f64 = 0.830_150_2;
/// kg/ha in 1 lb/acre.
const LB: f64 = KG_PER_HA_PER_LB_PER_ACRE;

/// The responses that were published, as stated.
pub const PUBLISHED: &[Published] = {
    use Element::{K, P};
    use Method::{AmmoniumAcetate7, AmmoniumNitrate, Bray1, Mehlich3Colour, Mehlich3Icp, Olsen};
    const fn row(
        (element, methods): (Element, &'static [Method]),
        (units, depth): (&'static [&'static str], f64),
        stated: &'static str,
        response: f64,
        source: Source,
    ) -> Published {
        Published { element, methods, units, depth: Centimetres(depth), stated, response, source }
    }
    const AMERICAN_P: (Element, &[Method]) = (P, &[Bray1, Mehlich3Icp, Mehlich3Colour]);
    const AMERICAN_K: (Element, &[Method]) = (K, &[AmmoniumAcetate7, Mehlich3Icp, Mehlich3Colour]);
    const OLSEN: (Element, &[Method]) = (P, &[Olsen]);
    &[
        row(
            AMERICAN_P,
            (BY_MASS, FURROW_SLICE.0),
            "20 lb P₂O₅/acre per ppm P",
            1.0 / (20.0 * LB * P_IN_P2O5),
            TRI_STATE,
        ),
        row(
            AMERICAN_K,
            (BY_MASS, FURROW_SLICE.0),
            "6 lb K₂O/acre per ppm K, low exchange capacity",
            1.0 / (6.0 * LB * K_IN_K2O),
            TRI_STATE,
        ),
        row(
            AMERICAN_K,
            (BY_MASS, FURROW_SLICE.0),
            "10 lb K₂O/acre per ppm K, high exchange capacity",
            1.0 / (10.0 * LB * K_IN_K2O),
            TRI_STATE,
        ),
        row(
            (K, &[AmmoniumNitrate]),
            (BY_VOLUME, 15.0),
            "10 kg K₂O/ha per mg/L, sandy clay loam",
            1.0 / (10.0 * K_IN_K2O),
            PDA,
        ),
        row(OLSEN, (BY_EITHER, 7.5), "5 kg P/ha per Olsen unit, North Canterbury", 1.0 / 5.0, CANTERBURY),
        row(OLSEN, (BY_EITHER, 7.5), "7 kg P/ha per Olsen unit, sedimentary soil", 1.0 / 7.0, NORTHLAND),
        row(OLSEN, (BY_EITHER, 7.5), "11 kg P/ha per Olsen unit, volcanic soil", 1.0 / 11.0, NORTHLAND),
        row(OLSEN, (BY_MASS, 23.0), "302.5 kg P/ha raised Olsen P by 17.0 mg/kg (1972)", 17.0125 / 302.5, ROTHAMSTED),
        row(OLSEN, (BY_MASS, 23.0), "385 kg P/ha raised Olsen P by 14.7 mg/kg (1974)", 14.656_25 / 385.0, ROTHAMSTED),
        row(
            (K, &[AmmoniumAcetate7]),
            (BY_MASS, 23.0),
            "1352 kg K/ha raised K by 101 mg/kg (1974)",
            101.25 / 1352.0,
            ROTHAMSTED,
        ),
    ]
};

/// What is held before the plot's own tests are heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Prior {
    /// Test units per kg/ha.
    pub mean: f64,
    pub sd: f64,
    pub working: Working,
}

/// What has been published for an element, an extractant, a unit and a depth; `None` where
/// nothing has.
///
/// Each source is brought to the depth sampled (the same kilograms in twice the soil move
/// the test half as far); the mean of the sources, with a spread of their range over two
/// or 0.4 of the mean, whichever is more.
pub fn published_prior(element: Element, method: &Method, unit: &str, depth: Centimetres) -> Option<Prior> {
    if !(depth.0.is_finite() && depth.0 > 0.0) {
        return None;
    }
    let rows: Vec<&Published> = PUBLISHED
        .iter()
        .filter(|row| row.element == element && row.methods.contains(method) && row.units.contains(&unit))
        .collect();
    let at_depth = |row: &Published| row.response * row.depth.0 / depth.0;
    let values: Vec<f64> = rows.iter().map(|row| at_depth(row)).collect();
    if values.is_empty() {
        return None;
    }
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    let (low, high) = values.iter().fold((f64::INFINITY, 0.0f64), |(l, h), v| (l.min(*v), h.max(*v)));
    let sd = ((high - low) / 2.0).max(PRIOR_SPREAD * mean);
    let unit_of = format!("{unit} {PER}");
    let leaves = rows.iter().map(|row| {
        let formula = format!("{} × {} cm ÷ {} cm", num(round(row.response)), num(row.depth.0), num(depth.0));
        let figure = Figure::significant(at_depth(row), unit_of.clone(), 3);
        let leaf = Working::leaf(row.stated, Figure::significant(row.response, unit_of.clone(), 3), Origin::Published);
        Working::step("At the depth sampled", figure, formula, [leaf.cite(row.source)])
    });
    let working = Working::step(
        "Response as published",
        Figure::significant(mean, unit_of.clone(), 2),
        format!("mean of {}", rows.len()),
        leaves,
    )
    .cite(PRIOR_SPREAD_SOURCE)
    .note(format!("Spread taken: {} {unit_of} to each side.", num(round(sd))));
    Some(Prior { mean, sd, working })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::element::Form;

    #[test]
    fn the_oxide_factors_of_the_table_are_the_computed_ones() {
        assert!((P_IN_P2O5 - Form::P2O5.to_element()).abs() < 1e-6, "{}", Form::P2O5.to_element());
        assert!((K_IN_K2O - Form::K2O.to_element()).abs() < 1e-6, "{}", Form::K2O.to_element());
    }
}
