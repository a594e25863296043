//! A small multiple: one nutrient of one plot over the years, on the scale of the standing
//! strip turned upright, so that fifty of them can be compared at a glance.

use super::percent;
use askama::Template;

/// Height of the part with the points, pixels.
const HEIGHT: f64 = 64.0;

/// One small picture.
#[derive(Clone, Debug, PartialEq)]
pub struct Small {
    /// "K on 3 North".
    pub title: String,
    /// Where the whole is shown.
    pub path: String,
    /// What can be said, in a sentence.
    pub words: String,
    /// First and last year of every picture on the page.
    pub years: (i16, i16),
    /// Oldest first.
    pub points: Vec<SmallPoint>,
    /// Place of the aim, 0 at the bottom to 1; none where there is no aim.
    pub aim: Option<f64>,
    /// Years in which the element was put on, each with how much: "12 kg/ha".
    pub put_on: Vec<(i16, String)>,
}

/// What a year found.
#[derive(Clone, Debug, PartialEq)]
pub struct SmallPoint {
    pub year: i16,
    /// 0 at the bottom to 1.
    pub at: f64,
    /// The lab gave only a limit.
    pub limit: bool,
    /// Which run of comparable tests; only points of one run are joined.
    pub run: u8,
    /// "2021: 64 % of the aim".
    pub words: String,
}

#[derive(Template)]
#[template(path = "parts/small.html")]
struct Drawing<'a> {
    small: &'a Small,
    aim: Option<String>,
    joins: Vec<[String; 4]>,
    points: Vec<(String, String, bool, &'a str)>,
    breaks: Vec<String>,
    flags: Vec<(String, &'a str, i16)>,
    ends: (i16, i16),
}

impl Small {
    fn draw(&self) -> Drawing<'_> {
        let (first, last) = self.years;
        // Half a year of room at either end.
        let span = f64::from(last - first).max(0.0) + 1.0;
        let share = |year: f64| ((year - f64::from(first) + 0.5) / span).clamp(0.0, 1.0);
        let x = |year: i16| percent(share(f64::from(year)));
        let y = |at: f64| format!("{:.1}", HEIGHT * (1.0 - at.clamp(0.0, 1.0)));
        let sound: Vec<&SmallPoint> = self.points.iter().filter(|point| point.at.is_finite()).collect();
        let pairs = || sound.windows(2).map(|pair| (pair[0], pair[1]));
        let joined = pairs().filter(|(a, b)| a.run == b.run);
        let parted = pairs().filter(|(a, b)| a.run != b.run);
        Drawing {
            aim: self.aim.map(y),
            joins: joined.map(|(a, b)| [x(a.year), y(a.at), x(b.year), y(b.at)]).collect(),
            breaks: parted.map(|(a, b)| percent(share((f64::from(a.year) + f64::from(b.year)) / 2.0))).collect(),
            points: sound.iter().map(|p| (x(p.year), y(p.at), p.limit, p.words.as_str())).collect(),
            flags: self.put_on.iter().map(|(year, words)| (x(*year), words.as_str(), *year)).collect(),
            ends: self.years,
            small: self,
        }
    }
}

impl std::fmt::Display for Small {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.draw().render().map_err(|_| std::fmt::Error)?)
    }
}

impl askama::FastWritable for Small {
    fn write_into(&self, to: &mut dyn std::fmt::Write, values: &dyn askama::Values) -> askama::Result<()> {
        askama::FastWritable::write_into(&self.draw(), to, values)
    }
}

impl askama::filters::HtmlSafe for Small {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn runs_are_not_joined_and_odd_numbers_are_left_out() {
        let point = |year, at, run| SmallPoint { year, at, limit: false, run, words: String::new() };
        let small = Small {
            title: "<K>".into(),
            path: "/".into(),
            words: String::new(),
            years: (2001, 2010),
            points: vec![point(2001, 0.5, 0), point(2003, 0.4, 0), point(2006, f64::NAN, 0), point(2009, 0.6, 1)],
            aim: Some(0.5),
            put_on: vec![(2004, "12 kg/ha".into())],
        };
        let drawing = small.draw();
        assert_eq!((drawing.joins.len(), drawing.breaks.len(), drawing.points.len()), (1, 1, 3));
        let text = small.to_string();
        assert!(!text.contains("NaN") && !text.contains("<K>"), "{text}");
    }
}
