//! A published equation of a rate: square × I² + linear × I + constant, I being the index or
//! level of the soil test. Such curves were fitted where rates are given; past their lowest
//! point they climb again, and many run below zero. Neither is advice: the rate stays at the
//! curve's lowest point from there on, and is never below zero.

/// A quadratic in the index of the soil test.
#[derive(Clone, Debug, PartialEq)]
pub struct RateEquation {
    /// As the publisher numbers it.
    pub number: String,
    /// Not below zero: a curve that opens downwards would rise with the test.
    pub square: f64,
    /// Below zero: more in the soil asks for less.
    pub linear: f64,
    /// The rate at index 0; above zero.
    pub constant: f64,
}

/// What was done to keep an equation to what it was made for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    /// The equation as printed.
    AsPrinted,
    /// Below zero there is nothing to give.
    AtZero,
    /// Beyond its lowest point it stays there.
    AtLowest,
}

impl RateEquation {
    /// As it is printed: "0.0103 I² − 2.9 I + 200".
    pub fn words(&self) -> String {
        let square = if self.square == 0.0 { String::new() } else { format!("{} I² ", self.square) };
        format!("{square}− {} I + {}", -self.linear, self.constant)
    }

    /// The index of the lowest point; `None` for a straight line, which has none.
    pub fn vertex(&self) -> Option<f64> {
        (self.square > 0.0).then(|| -self.linear / (2.0 * self.square))
    }

    /// The printed polynomial, whatever it gives.
    pub fn plain(&self, index: f64) -> f64 {
        self.square * index * index + self.linear * index + self.constant
    }

    /// The rate at an index, in the printed unit. An index below zero counts as zero.
    pub fn at(&self, index: f64) -> (f64, Kept) {
        let index = index.max(0.0);
        let (reached, beyond) = match self.vertex() {
            Some(vertex) if index > vertex => (vertex, true),
            _ => (index, false),
        };
        match self.plain(reached) {
            rate if rate <= 0.0 => (0.0, Kept::AtZero),
            rate if beyond => (rate, Kept::AtLowest),
            rate => (rate, Kept::AsPrinted),
        }
    }

    /// From which index nothing is given; `None` where the curve never comes down to zero.
    pub fn nothing_from(&self) -> Option<f64> {
        if self.square == 0.0 {
            return Some(-self.constant / self.linear);
        }
        let under_root = self.linear * self.linear - 4.0 * self.square * self.constant;
        (under_root >= 0.0).then(|| (-self.linear - under_root.sqrt()) / (2.0 * self.square))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// NCDA&CS Circular 1, Table 2.4 (2014).
    fn equation(square: f64, linear: f64, constant: f64) -> RateEquation {
        RateEquation { number: String::new(), square, linear, constant }
    }

    #[test]
    fn it_is_clipped_at_zero_and_never_climbs_again() {
        // Equation 18: 0.0120 I² − 3.00 I + 120: 0 at 50, −60 as printed at 100.
        let eighteen = equation(0.0120, -3.00, 120.0);
        assert_eq!(eighteen.at(50.0), (0.0, Kept::AtZero));
        assert_eq!(eighteen.at(100.0), (0.0, Kept::AtZero));
        assert_eq!(eighteen.at(900.0), (0.0, Kept::AtZero));
        assert!((eighteen.nothing_from().unwrap() - 50.0).abs() < 1e-9);
        // Equation 4: 0.0175 I² − 4.46 I + 300 turns at 127.4 and never reaches zero.
        let four = equation(0.0175, -4.46, 300.0);
        assert!((four.vertex().unwrap() - 127.428_571).abs() < 1e-6);
        let lowest = four.at(127.428_571_428).0;
        assert!(lowest > 15.0 && four.nothing_from().is_none());
        let (beyond, kept) = four.at(300.0);
        assert!((beyond - lowest).abs() < 1e-9 && kept == Kept::AtLowest);
        assert_eq!(four.at(-5.0).0, 300.0);
    }
}
