//! A curve of choices: what is given up, downwards, against what is saved, across. Each point is
//! a plan that could be chosen and has a number that its row in the table beside repeats.

use super::{nice_scale, percent};
use askama::Template;

/// Height of the part with the points, pixels.
const HEIGHT: f64 = 180.0;

/// A few points that are plans.
#[derive(Clone, Debug, PartialEq)]
pub struct Curve {
    pub title: String,
    /// What lies across: "Cost, EUR".
    pub across: String,
    /// In the order of their numbers.
    pub points: Vec<CurvePoint>,
}

/// A plan on a curve.
#[derive(Clone, Debug, PartialEq)]
pub struct CurvePoint {
    pub x: f64,
    pub y: f64,
    /// The plan as it is.
    pub marked: bool,
    pub words: String,
}

#[derive(Template)]
#[template(path = "parts/curve.html")]
struct Drawing<'a> {
    curve: &'a Curve,
    height: f64,
    rows: Vec<(String, String)>,
    columns: Vec<(String, String)>,
    joins: Vec<[String; 4]>,
    dots: Vec<(String, String, &'a CurvePoint)>,
}

/// The ends of a scale and its labels with their places, 0 to 1.
fn scale(values: impl Iterator<Item = f64> + Clone) -> (impl Fn(f64) -> f64, Vec<(f64, String)>) {
    let (low, high, step) = nice_scale(0.0, values.fold(0.0, f64::max), 4.0);
    let place = move |value: f64| ((value - low) / (high - low)).clamp(0.0, 1.0);
    let steps = ((high - low) / step).round() as usize;
    let labels =
        (0..=steps).map(|n| low + n as f64 * step).map(|value| (place(value), crate::web::show::significant(value, 4)));
    (place, labels.collect())
}

impl Curve {
    fn draw(&self) -> Drawing<'_> {
        let sound = || self.points.iter().filter(|p| p.x.is_finite() && p.y.is_finite());
        let (across, columns) = scale(sound().map(|p| p.x));
        let (up, rows) = scale(sound().map(|p| p.y));
        // A little room at either side, for the points at the ends.
        let x = |share: f64| percent(0.04 + 0.92 * share);
        let y = |share: f64| format!("{:.1}", 10.0 + (HEIGHT - 10.0) * (1.0 - share));
        let at = |p: &CurvePoint| (x(across(p.x)), y(up(p.y)));
        let dots: Vec<_> = sound().map(|p| (at(p).0, at(p).1, p)).collect();
        Drawing {
            height: HEIGHT,
            rows: rows.into_iter().map(|(share, label)| (y(share), label)).collect(),
            columns: columns.into_iter().map(|(share, label)| (x(share), label)).collect(),
            joins: dots
                .windows(2)
                .map(|two| [two[0].0.clone(), two[0].1.clone(), two[1].0.clone(), two[1].1.clone()])
                .collect(),
            dots,
            curve: self,
        }
    }
}

impl std::fmt::Display for Curve {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.draw().render().map_err(|_| std::fmt::Error)?)
    }
}

impl askama::FastWritable for Curve {
    fn write_into(&self, to: &mut dyn std::fmt::Write, values: &dyn askama::Values) -> askama::Result<()> {
        askama::FastWritable::write_into(&self.draw(), to, values)
    }
}

impl askama::filters::HtmlSafe for Curve {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_point_is_drawn_in_words_and_odd_numbers_are_left_out() {
        let point = |x, y, marked| CurvePoint { x, y, marked, words: format!("{x} for {y}") };
        let points = vec![point(0.0, 30.0, false), point(12.5, 4.0, true), point(f64::NAN, 1.0, false)];
        let curve = Curve { title: "<Cost>".into(), across: "Cost".into(), points };
        let text = curve.to_string();
        assert_eq!(curve.draw().joins.len(), 1);
        assert!(text.contains("12.5 for 4") && !text.contains("NaN") && !text.contains("<Cost>"), "{text}");
    }
}
