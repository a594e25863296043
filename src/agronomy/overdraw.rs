//! Whether more of an element left between two tests than the first test found in the soil:
//! no mistake by itself, for plants draw on stocks that no extractant sees, but always worth
//! a look at the harvest and its figures.

use super::{
    balance::Books,
    drift::Segment,
    element::Element,
    offtake::round,
    quantity::{Centimetres, KgPerHa, SoilLayer},
    response::ceiling,
    standing::num,
};
use jiff::civil::Date;

/// A stretch in which more left than was found.
#[derive(Clone, Debug, PartialEq)]
pub struct Overdrawn {
    pub element: Element,
    pub from: Date,
    pub to: Date,
    /// Found by the test at the beginning, in the layer sampled.
    pub stock: KgPerHa,
    /// Carried away beyond what was brought.
    pub drawn: KgPerHa,
}

impl Overdrawn {
    /// As a person reads it.
    pub fn words(&self) -> String {
        format!(
            "From {} to {} {} kg/ha more {} left than came, and the test at the beginning found only {} kg/ha. \
             Look at the harvests and their figures; if they are right, the crops drew on stocks that this test does not see.",
            self.from,
            self.to,
            num(round(self.drawn.0)),
            self.element.name(),
            num(round(self.stock.0))
        )
    }
}

/// Stretches between the tests of a segment, and from the last until today, in which the
/// known parts of the ledger draw more than the test found. Limits say nothing.
pub fn overdrawn(
    segment: &Segment,
    books: &Books,
    layer: &SoilLayer,
    depth: Centimetres,
    today: Date,
) -> Vec<Overdrawn> {
    let (Some(element), Some(per_kg)) = (segment.analyte.element(), ceiling(segment.unit, layer, depth)) else {
        return vec![];
    };
    let ends = segment.points.iter().skip(1).map(|point| point.sampled_on).chain([today]);
    let stretches = segment.points.iter().zip(ends).filter(|(point, _)| point.found().is_exact());
    stretches
        .filter_map(|(point, to)| {
            let stock = KgPerHa(point.value / per_kg);
            let net = books.between(element, point.sampled_on, to).net.of_known_parts();
            let drawn = KgPerHa(-net.mid);
            (drawn.0 > stock.0).then_some(Overdrawn { element, from: point.sampled_on, to, stock, drawn })
        })
        .collect()
}
