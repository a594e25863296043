//! Pictures of numbers: the standing strip and the trend, as SVG drawn on the server.
//!
//! Places across are percentages and places down are pixels, so a picture fills any
//! width and its lettering keeps its size. Looks come from the stylesheet. Each picture
//! says in words and in a table what it draws. It must never join points that do not
//! compare, and never compute a measurement: callers bring ratios and limits.

mod curve;
mod small;
mod strip;
mod trend;

pub use curve::{Curve, CurvePoint};
pub use small::{Small, SmallPoint};
pub use strip::{Dose, Strip, Track, place};
pub use trend::{Mark, Point, Segment, Trend};

/// A place across a picture, in hundredths of a percent at the finest.
fn percent(share: f64) -> String {
    format!("{:.2}%", share * 100.0)
}

/// A value's place between two others, 0 to 1, with a little room at both ends; in the middle where they are one.
pub fn within(value: f64, low: f64, high: f64) -> f64 {
    if high > low { 0.1 + 0.8 * (value - low) / (high - low) } else { 0.5 }
}

/// Round steps that cover a span: the ends and the step between.
fn nice_scale(low: f64, high: f64, steps: f64) -> (f64, f64, f64) {
    let span = if high > low { high - low } else { high.abs().max(1.0) };
    let rough = span / steps;
    let power = 10f64.powf(rough.log10().floor());
    let step = [1.0, 2.0, 2.5, 5.0, 10.0].into_iter().map(|m| m * power).find(|s| *s >= rough * 0.999).unwrap_or(rough);
    let first = (low / step).floor() * step;
    let mut last = (high / step).ceil() * step;
    if last <= first {
        last = first + step;
    }
    (first, last, step)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn scales_are_round_and_cover_the_span() {
        assert_eq!(nice_scale(0.0, 47.0, 4.0), (0.0, 60.0, 20.0));
        assert_eq!(nice_scale(5.9, 7.1, 4.0), (5.5, 7.5, 0.5));
        let (low, high, _) = nice_scale(3.0, 3.0, 4.0);
        assert!(low <= 3.0 && high > 3.0);
    }
}
