//! Rates on the pages about nitrogen, trace elements, lime and salts as a person likes to read
//! them. Their fields and steps are in kg/ha, so that is what stands where nobody asked for a
//! unit per area. What quotes a publisher stays as it is printed.

use super::{LevelUnit, Liking};
use crate::agronomy::{
    element::Element,
    quantity::{KgPerHa, SquareMetres},
    rate::RateUnit,
    working::{Figure, Working},
};

impl Liking {
    /// A range of an element per area in whole numbers: "20 to 45 kg/ha", "90 g" where both ends are
    /// the same; finer only where a plot is so small that nothing would be left.
    pub fn range(self, element: Element, low: KgPerHa, high: KgPerHa, area: SquareMetres) -> String {
        let step = self.need_conversion(element, area, RateUnit::KgPerHa);
        let digits = |rate: KgPerHa| {
            let whole = Figure::new(rate.0.round(), KgPerHa::UNIT, 0);
            Figure { unit: String::new(), ..step.figure(&whole) }.to_string()
        };
        let (from, to) = (digits(low), digits(high));
        if from == to { format!("{from}\u{a0}{}", step.unit) } else { format!("{from} to {to}\u{a0}{}", step.unit) }
    }

    /// A rate of an element where kg/ha stands unless a unit per area was asked for.
    pub fn rate_here(self, element: Element, rate: KgPerHa, area: SquareMetres) -> Figure {
        self.rate(element, rate, area, RateUnit::KgPerHa)
    }

    /// The working of a rate of an element with the last step, where there is one.
    pub fn rate_working(self, element: Element, working: &Working, area: SquareMetres) -> Working {
        let step = self.need_conversion(element, area, RateUnit::KgPerHa);
        let of_area = [KgPerHa::UNIT, "kg N/ha"].contains(&working.figure.unit.as_str());
        if step.is_idle() || !of_area {
            return working.clone();
        }
        let (figure, title) = (&working.figure, format!("{}, as you read it", working.title));
        step.show(&title, figure.value, &figure.sign, figure.decimals, working).working
    }

    /// Lime per area: t/ha where nobody asked for another unit, else lb/acre, or what it is on the plot.
    pub fn lime(self, rate: KgPerHa, area: SquareMetres) -> Figure {
        let (value, unit) = match self.unit {
            LevelUnit::LbPerAcre => (rate.lb_per_acre(), "lb/acre"),
            LevelUnit::GramsOnPlot => (rate.on(area).0, "g"),
            _ => (RateUnit::TonnePerHa.show(rate), RateUnit::TonnePerHa.label()),
        };
        Figure::significant(value, unit, 2)
    }

    /// A product per area, as it is spread.
    pub fn product(self, rate: KgPerHa) -> Figure {
        let step = self.product_conversion();
        Figure::significant(step.there(rate.0), step.unit, 2)
    }
}
