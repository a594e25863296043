//! Lime that lies on the ground already. A sample knows nothing of what came after it, and lime
//! given shortly before it has not all reacted yet; both come off what is still to give, and
//! neither is ever counted below zero.

use crate::agronomy::{
    quantity::{Grams, KgPerHa, SquareMetres},
    rate::RateUnit,
    reading::number,
    working::{Figure, Origin, Working},
};

/// Lime that was put on, as pure calcium carbonate.
#[derive(Clone, Debug, PartialEq)]
pub struct Given {
    pub carbonate: KgPerHa,
    /// From the giving to the sample; 0 where it came after the sample.
    pub months_before_sample: f64,
    pub working: Working,
}

impl Given {
    /// A dose on record: its neutralising value in % of pure calcium carbonate, its water in %
    /// of the product.
    pub fn of_dose(
        title: impl Into<String>,
        mass: Grams,
        (value_percent, moisture_percent): (f64, f64),
        area: SquareMetres,
        months_before_sample: f64,
    ) -> Given {
        let effective = value_percent * (1.0 - moisture_percent / 100.0);
        let carbonate = KgPerHa(mass.per(area).0 * effective.max(0.0) / 100.0);
        let inputs = [
            Working::leaf("Put on", Figure::significant(mass.0 / 1000.0, "kg", 3), Origin::Entered),
            Working::leaf("Its neutralising value", Figure::new(value_percent, "%", 0), Origin::Entered),
            Working::leaf("Its moisture", Figure::new(moisture_percent, "%", 0), Origin::Entered),
            Working::leaf("Area of the plot", Figure::new(area.0, "m²", 1), Origin::Entered),
        ];
        let formula = format!(
            "{} kg × {} ÷ 100 ÷ {} m² × 10,000 = {} kg/ha of pure calcium carbonate",
            number(mass.0 / 1000.0),
            number(effective),
            number(area.0),
            number(carbonate.0)
        );
        let figure = Figure::significant(carbonate.0 / 1000.0, "t/ha of CaCO₃", 2);
        Given { carbonate, months_before_sample, working: Working::step(title, figure, formula, inputs) }
    }

    /// Lime that a person remembers, as pure calcium carbonate.
    pub fn stated(t_per_ha: f64, months_before_sample: f64) -> Given {
        let figure = Figure::significant(t_per_ha, "t/ha of CaCO₃", 2);
        Given {
            carbonate: RateUnit::TonnePerHa.read(t_per_ha.max(0.0)),
            months_before_sample: months_before_sample.max(0.0),
            working: Working::leaf("Lime given, as stated", figure, Origin::Entered),
        }
    }

    /// Whether the sample was taken before it.
    pub fn since_sample(&self) -> bool {
        self.months_before_sample <= 0.0
    }
}

/// What came after the sample, together; `None` where nothing did.
pub(super) fn since_sample(given: &[Given]) -> Option<(KgPerHa, Vec<Working>)> {
    let since: Vec<&Given> = given.iter().filter(|one| one.since_sample() && one.carbonate.0 > 0.0).collect();
    let sum: f64 = since.iter().map(|one| one.carbonate.0).sum();
    (sum > 0.0).then(|| (KgPerHa(sum), since.iter().map(|one| one.working.clone()).collect()))
}
