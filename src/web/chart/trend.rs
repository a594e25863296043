//! The trend of one nutrient on one plot: tests by date, the aim, and what was put on.

use super::{nice_scale, percent};
use crate::{
    agronomy::record::Qualifier,
    web::show::{self, significant},
};
use askama::Template;
use jiff::civil::{Date, date};

/// Height of the part with the points, pixels.
const HEIGHT: f64 = 200.0;
/// Room above the points for the letters of the series.
const TOP: f64 = 18.0;
/// Marks nearer than this share of the width are drawn as one.
const MARK_GAP: f64 = 0.055;
/// Glyphs told apart by shape, in the order given out.
const GLYPHS: [&str; 4] = ["dot", "square", "diamond", "cross"];

/// A picture of tests over time. Points are joined only within a segment.
#[derive(Clone, Debug, PartialEq)]
pub struct Trend {
    /// "Phosphorus".
    pub title: String,
    /// The unit of every value: "mg/kg".
    pub unit: String,
    /// Runs of tests that compare with one another: one method, one depth, one basis.
    pub segments: Vec<Segment>,
    /// The span to aim for; both ends the same for a single figure.
    pub aim: Option<(f64, f64)>,
    /// What was put on, drawn in a lane below.
    pub marks: Vec<Mark>,
}

/// Tests by one method at one depth.
#[derive(Clone, Debug, PartialEq)]
pub struct Segment {
    /// "Olsen, 0–18 cm".
    pub label: String,
    pub points: Vec<Point>,
}

/// One test.
#[derive(Clone, Debug, PartialEq)]
pub struct Point {
    pub date: Date,
    /// The value; the limit where the qualifier is one; ignored where nothing was detected.
    pub value: f64,
    pub qualifier: Qualifier,
    /// Ends of the likely range, where known.
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// Anything to be said of this test; may be empty.
    pub note: String,
    /// Whether the note is what somebody wrote of it, and not of our making: drawn with a star.
    pub remarked: bool,
    /// Where a question about it is asked, where there is one.
    pub asked: Option<String>,
}

/// Something done to the plot on a day.
#[derive(Clone, Debug, PartialEq)]
pub struct Mark {
    pub date: Date,
    /// "Gypsum, 2 kg".
    pub label: String,
}

#[derive(Template)]
#[template(path = "parts/trend.html")]
struct Drawing<'a> {
    title: &'a str,
    unit: &'a str,
    /// The whole in a sentence, for those who do not see it.
    summary: String,
    height: f64,
    grid: Vec<(String, String)>,
    years: Vec<(String, String)>,
    aim: Option<AimBand>,
    joins: Vec<[String; 4]>,
    breaks: Vec<Break>,
    dots: Vec<Dot>,
    letters: bool,
    legend: Vec<Legend>,
    flags: Vec<Flag>,
    marks: Vec<(String, String)>,
    marks_folded: bool,
    rows: Vec<Row>,
}

struct AimBand {
    y: String,
    height: String,
    words: String,
}

struct Break {
    x: String,
    before: String,
    after: String,
}

struct Dot {
    x: String,
    y: String,
    whisker: Option<(String, String)>,
    /// Which glyph; "below" and "above" where the lab gave only a limit.
    glyph: &'static str,
    words: String,
    remarked: bool,
    asked: Option<String>,
}

struct Legend {
    letter: String,
    glyph: &'static str,
    label: String,
    span: String,
}

struct Flag {
    x: String,
    number: String,
    words: String,
}

struct Row {
    date: String,
    value: String,
    range: String,
    label: String,
    note: String,
    asked: Option<String>,
}

impl Point {
    fn text(&self) -> String {
        match self.qualifier {
            Qualifier::NotDetected => "not detected".into(),
            q => format!("{}{}", q.sign(), significant(self.value, 3)),
        }
    }

    /// Where it stands on the scale.
    fn level(&self) -> f64 {
        if self.qualifier == Qualifier::NotDetected { 0.0 } else { self.value }
    }

    fn range(&self) -> Option<(f64, f64)> {
        let (low, high) = (self.low?, self.high?);
        (low.is_finite() && high.is_finite() && low <= high).then_some((low, high))
    }
}

impl Trend {
    fn draw(&self) -> Drawing<'_> {
        let mut segments: Vec<Segment> = self.segments.clone();
        for segment in &mut segments {
            segment.points.retain(|point| point.level().is_finite());
            segment.points.sort_by_key(|point| point.date);
        }
        segments.retain(|segment| !segment.points.is_empty());
        segments.sort_by_key(|segment| segment.points[0].date);
        let mut marks: Vec<(usize, &Mark)> = self.marks.iter().enumerate().collect();
        marks.sort_by_key(|(at, mark)| (mark.date, *at));

        let points = || segments.iter().flat_map(|segment| &segment.points);
        let days = Days::over(points().map(|p| p.date).chain(marks.iter().map(|(_, m)| m.date)));
        let levels: Vec<f64> = points()
            .flat_map(|p| [Some(p.level()), p.range().map(|r| r.0), p.range().map(|r| r.1)])
            .flatten()
            .chain(self.aim.into_iter().flat_map(|(low, high)| [low, high]))
            .filter(|level| level.is_finite())
            .collect();
        let scale = Scale::over(&levels);

        let letters = segments.len() > 1;
        let letter = |at: usize| if letters { char::from(b'A' + (at % 26) as u8).to_string() } else { String::new() };
        let glyph = |at: usize| GLYPHS[at % GLYPHS.len()];

        let mut dots = Vec::new();
        let mut joins = Vec::new();
        for (at, segment) in segments.iter().enumerate() {
            for pair in segment.points.windows(2) {
                let [a, b] = [&pair[0], &pair[1]];
                joins.push([days.x(a.date), scale.y(a.level()), days.x(b.date), scale.y(b.level())]);
            }
            for point in &segment.points {
                let range = point.range().map_or(String::new(), |(low, high)| {
                    format!(", likely {} to {}", significant(low, 3), significant(high, 3))
                });
                let unit = if point.qualifier == Qualifier::NotDetected { "" } else { &self.unit };
                dots.push(Dot {
                    x: days.x(point.date),
                    y: scale.y(point.level()),
                    whisker: point.range().map(|(low, high)| (scale.y(high), scale.y(low))),
                    glyph: match point.qualifier {
                        Qualifier::Exact => glyph(at),
                        Qualifier::Above => "above",
                        Qualifier::Below | Qualifier::NotDetected => "below",
                    },
                    words: format!(
                        "{}: {} {unit}{range} · {}{}{}",
                        show::date(point.date),
                        point.text(),
                        segment.label,
                        if point.note.is_empty() { "" } else { " · " },
                        point.note
                    )
                    .replace(" ,", ","),
                    remarked: point.remarked,
                    asked: point.asked.clone(),
                });
            }
        }

        let breaks = (1..segments.len())
            .filter_map(|at| {
                let before = segments[..at].iter().filter_map(|s| s.points.last()).map(|p| p.date).max()?;
                let after = segments[at].points[0].date;
                let middle = (days.share(before) + days.share(after)) / 2.0;
                (before < after).then(|| Break { x: percent(middle), before: letter(at - 1), after: letter(at) })
            })
            .collect();

        let legend = segments
            .iter()
            .enumerate()
            .map(|(at, segment)| {
                let (first, last) = (segment.points[0].date, segment.points[segment.points.len() - 1].date);
                let span = if first.year() == last.year() {
                    first.year().to_string()
                } else {
                    format!("{} to {}", first.year(), last.year())
                };
                Legend { letter: letter(at), glyph: glyph(at), label: segment.label.clone(), span }
            })
            .collect();

        let mut rows: Vec<(Date, Row)> = segments
            .iter()
            .flat_map(|segment| {
                segment.points.iter().map(|point| {
                    let row = Row {
                        date: show::date(point.date),
                        value: if point.remarked { format!("{} *", point.text()) } else { point.text() },
                        range: point.range().map_or(String::new(), |(low, high)| {
                            format!("{} to {}", significant(low, 3), significant(high, 3))
                        }),
                        label: segment.label.clone(),
                        note: point.note.clone(),
                        asked: point.asked.clone(),
                    };
                    (point.date, row)
                })
            })
            .collect();
        rows.sort_by_key(|(day, _)| *day);

        Drawing {
            title: &self.title,
            unit: &self.unit,
            summary: self.summary(&segments),
            height: HEIGHT,
            grid: scale.ticks(),
            years: days.ticks(),
            aim: self.aim.filter(|(low, high)| low.is_finite() && high.is_finite()).map(|(low, high)| {
                let (top, foot) = (scale.place(low.max(high)), scale.place(low.min(high)));
                AimBand {
                    y: format!("{top:.1}"),
                    height: format!("{:.1}", (foot - top).max(1.5)),
                    words: aim_words(low, high, &self.unit),
                }
            }),
            joins,
            breaks,
            dots,
            letters,
            legend,
            flags: flags(&marks, &days),
            marks_folded: marks.len() > 4,
            marks: marks.iter().map(|(_, mark)| (show::date(mark.date), mark.label.clone())).collect(),
            rows: rows.into_iter().map(|(_, row)| row).collect(),
        }
    }

    fn summary(&self, segments: &[Segment]) -> String {
        let tests = segments.iter().map(|s| s.points.len()).sum();
        let mut words = format!("{}, {}, over time: {}", self.title, self.unit, show::count(tests, "test"));
        if let Some(last) = segments.iter().flat_map(|s| &s.points).max_by_key(|p| p.date) {
            words += &format!(", the last on {} at {}", show::date(last.date), last.text());
        }
        if segments.len() > 1 {
            words += &format!(", in {} runs that do not compare with one another", segments.len());
        }
        if let Some((low, high)) = self.aim {
            words += &format!("; {}", aim_words(low, high, &self.unit));
        }
        words + "."
    }
}

/// Renders as HTML: `{{ trend }}` in a template.
impl std::fmt::Display for Trend {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.draw().render().map_err(|_| std::fmt::Error)?)
    }
}

impl askama::FastWritable for Trend {
    fn write_into(&self, to: &mut dyn std::fmt::Write, values: &dyn askama::Values) -> askama::Result<()> {
        askama::FastWritable::write_into(&self.draw(), to, values)
    }
}

impl askama::filters::HtmlSafe for Trend {}

fn aim_words(low: f64, high: f64, unit: &str) -> String {
    if low == high {
        format!("aim {} {unit} or more", significant(low, 3))
    } else {
        format!("aim {} to {} {unit}", significant(low.min(high), 3), significant(low.max(high), 3))
    }
}

/// Marks numbered in order, those too close to tell apart under one flag ("2–4").
fn flags(marks: &[(usize, &Mark)], days: &Days) -> Vec<Flag> {
    let mut groups: Vec<(f64, usize, usize)> = Vec::new();
    for (at, (_, mark)) in marks.iter().enumerate() {
        let share = days.share(mark.date);
        match groups.last_mut() {
            Some((start, _, last)) if share - *start < MARK_GAP => *last = at,
            _ => groups.push((share, at, at)),
        }
    }
    groups
        .into_iter()
        .map(|(start, first, last)| Flag {
            x: percent((start + days.share(marks[last].1.date)) / 2.0),
            number: if first == last { format!("{}", first + 1) } else { format!("{}–{}", first + 1, last + 1) },
            words: marks[first..=last]
                .iter()
                .map(|(_, mark)| format!("{}: {}", show::date(mark.date), mark.label))
                .collect::<Vec<_>>()
                .join("; "),
        })
        .collect()
}

/// Days laid across the width.
struct Days {
    first: f64,
    span: f64,
    years: (i16, i16),
}

fn day_number(day: Date) -> f64 {
    f64::from(day.duration_since(date(1970, 1, 1)).as_hours() as i32) / 24.0
}

impl Days {
    fn over(dates: impl Iterator<Item = Date>) -> Days {
        let dates: Vec<Date> = dates.collect();
        let first = dates.iter().min().copied().unwrap_or(date(2000, 1, 1));
        let last = dates.iter().max().copied().unwrap_or(first);
        let (from, to) = (day_number(first), day_number(last));
        let margin = ((to - from) * 0.05).max(120.0);
        Days { first: from - margin, span: to - from + 2.0 * margin, years: (first.year(), last.year()) }
    }

    fn share(&self, day: Date) -> f64 {
        (day_number(day) - self.first) / self.span
    }

    fn x(&self, day: Date) -> String {
        percent(self.share(day))
    }

    /// First days of years, six labels at most, none so near an edge that its lettering is cut.
    fn ticks(&self) -> Vec<(String, String)> {
        let count = f64::from(self.years.1 - self.years.0) + 2.0;
        let step = [1, 2, 5, 10, 20, 50].into_iter().find(|s| count / f64::from(*s) <= 6.0).unwrap_or(100);
        (self.years.0..=self.years.1.saturating_add(1))
            .filter(|year| year % step == 0)
            .filter_map(|year| Date::new(year, 1, 1).ok())
            .filter(|day| (0.05..=0.95).contains(&self.share(*day)))
            .map(|day| (self.x(day), day.year().to_string()))
            .collect()
    }
}

/// Levels laid up the height; from nought unless the values lie far from it.
struct Scale {
    low: f64,
    high: f64,
    step: f64,
}

impl Scale {
    fn over(levels: &[f64]) -> Scale {
        let low = levels.iter().copied().fold(f64::INFINITY, f64::min);
        let high = levels.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let (low, high) = if low.is_finite() { (low, high) } else { (0.0, 1.0) };
        let low = if low >= 0.0 && low < high * 0.5 { 0.0 } else { low - (high - low) * 0.1 };
        let (low, high, step) = nice_scale(low, high + (high - low) * 0.04, 4.0);
        Scale { low, high, step }
    }

    fn place(&self, level: f64) -> f64 {
        TOP + (HEIGHT - TOP) * (1.0 - (level - self.low) / (self.high - self.low))
    }

    fn y(&self, level: f64) -> String {
        format!("{:.1}", self.place(level))
    }

    fn ticks(&self) -> Vec<(String, String)> {
        let count = ((self.high - self.low) / self.step).round().clamp(1.0, 12.0) as u32;
        let decimals = (0..6).find(|d| (self.step * 10f64.powi(*d)).fract().abs() < 1e-6).unwrap_or(6) as usize;
        (0..=count)
            .map(|n| self.low + f64::from(n) * self.step)
            .map(|level| (self.y(level), show::number((level / self.step).round() * self.step, decimals)))
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn point(year: i16, value: f64) -> Point {
        Point {
            date: date(year, 3, 1),
            value,
            qualifier: Qualifier::Exact,
            low: None,
            high: None,
            note: String::new(),
            remarked: false,
            asked: None,
        }
    }

    fn trend(segments: Vec<Segment>) -> Trend {
        Trend { title: "Phosphorus".into(), unit: "mg/kg".into(), segments, aim: Some((25.0, 45.0)), marks: vec![] }
    }

    fn run(label: &str, points: &[(i16, f64)]) -> Segment {
        Segment { label: label.into(), points: points.iter().map(|(y, v)| point(*y, *v)).collect() }
    }

    #[test]
    fn no_line_crosses_a_change_of_method() {
        let shallow = run("Olsen, 0–18 cm", &[(1962, 12.0), (1968, 14.0), (1975, 18.0)]);
        let deep = run("Olsen, 0–23 cm", &[(1981, 11.0), (1987, 13.0)]);
        let drawing = trend(vec![deep, shallow]).draw_owned_counts();
        // Three points and two points: two joins and one join, none between; one break.
        assert_eq!(drawing, (3, 1, 5));
    }

    #[test]
    fn two_extractants_of_the_same_years_are_drawn_side_by_side_without_a_break() {
        let a = run("Olsen", &[(2020, 12.0), (2024, 14.0)]);
        let b = run("Mehlich-3, ICP", &[(2020, 40.0), (2024, 44.0)]);
        assert_eq!(trend(vec![a, b]).draw_owned_counts(), (2, 0, 4));
    }

    #[test]
    fn marks_that_would_overlap_share_a_flag() {
        let mut picture = trend(vec![run("Olsen", &[(2010, 12.0), (2024, 14.0)])]);
        for (year, month) in [(2012, 3), (2012, 5), (2020, 3)] {
            picture.marks.push(Mark { date: date(year, month, 1), label: "Gypsum, 2 kg".into() });
        }
        let numbers: Vec<_> = picture.draw().flags.into_iter().map(|flag| flag.number).collect();
        assert_eq!(numbers, ["1–2", "3"]);
    }

    #[test]
    fn odd_input_is_drawn_and_does_not_panic() {
        let mut odd = point(2020, f64::NAN);
        let below = Point { qualifier: Qualifier::NotDetected, ..point(2021, f64::NAN) };
        odd.low = Some(f64::INFINITY);
        let text = trend(vec![Segment { label: "<b>".into(), points: vec![odd, below] }]).to_string();
        assert!(text.contains("not detected") && !text.contains("NaN") && !text.contains("<b>"));
        assert!(trend(vec![]).to_string().contains("0\u{a0}tests"));
    }

    impl Trend {
        /// Joins, breaks and dots drawn.
        fn draw_owned_counts(&self) -> (usize, usize, usize) {
            let drawing = self.draw();
            (drawing.joins.len(), drawing.breaks.len(), drawing.dots.len())
        }
    }
}
