//! Exact fractions for exact probabilities. Never rounds.

use std::fmt;

/// A fraction in lowest terms; the denominator is never 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Fraction {
    pub numerator: u128,
    pub denominator: u128,
}

impl Fraction {
    /// In lowest terms; a denominator of 0 gives 1/1, the probability that claims nothing.
    pub fn new(numerator: u128, denominator: u128) -> Self {
        let shared = greatest_common_divisor(numerator, denominator);
        if denominator == 0 {
            return Fraction { numerator: 1, denominator: 1 };
        }
        Fraction { numerator: numerator / shared, denominator: denominator / shared }
    }

    /// The nearest float.
    pub fn value(self) -> f64 {
        self.numerator as f64 / self.denominator as f64
    }

    /// Whether it is at most this many hundredths, without rounding.
    pub fn at_most_percent(self, percent: u8) -> bool {
        self.numerator.saturating_mul(100) <= self.denominator.saturating_mul(percent.into())
    }

    /// Whether it is at least this many hundredths, without rounding.
    pub fn at_least_percent(self, percent: u8) -> bool {
        self.numerator.saturating_mul(100) >= self.denominator.saturating_mul(percent.into())
    }
}

fn greatest_common_divisor(a: u128, b: u128) -> u128 {
    if b == 0 { a } else { greatest_common_divisor(b, a % b) }
}

impl fmt::Display for Fraction {
    /// "1/3" while a person can still read it, else the decimal: "0.44", "0.00013", "under 0.00001".
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let value = self.value();
        match self {
            Fraction { numerator, denominator: 1 } => write!(f, "{numerator}"),
            Fraction { numerator, denominator } if *denominator <= 1000 => write!(f, "{numerator}/{denominator}"),
            _ if value < 0.000_01 => f.write_str("under 0.00001"),
            _ if value < 0.01 => write!(f, "{value:.5}"),
            _ => write!(f, "{value:.2}"),
        }
    }
}
