//! The standing strip: each nutrient as found, against its aim, on one common scale.

use super::percent;
use crate::web::show;
use askama::Template;

/// The scale runs from an eighth of the aim to eight times it.
const DOUBLINGS: f64 = 3.0;

/// A table of nutrients, each with a track on a common logarithmic scale of found ÷ aim.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Strip {
    /// What it stands for, as the table's caption: "North bed 3, under Olsen P index".
    pub caption: String,
    pub tracks: Vec<Track>,
}

/// One nutrient. All ratios are to the aim: 1 is the aim itself.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Track {
    /// "Phosphorus".
    pub name: String,
    /// What was found, with its unit: "18 mg/kg"; "not tested" where it was not.
    pub found_text: String,
    /// The aim, with its unit; empty where there is none.
    pub aim_text: String,
    /// Where it stands, in the publisher's words and ours: "Low; short of the aim, likely".
    pub words: String,
    /// Found ÷ aim; `None` where nothing can be drawn, and then `words` says why.
    pub found: Option<f64>,
    /// Ends of the likely range of found ÷ aim.
    pub likely: Option<(f64, f64)>,
    /// Level above which more does harm, ÷ aim.
    pub ceiling: Option<f64>,
    /// What each planned amendment adds, in the order stacked.
    pub doses: Vec<Dose>,
    /// Address of the working behind `found_text`.
    pub working: Option<String>,
    /// Address of the working behind `aim_text`.
    pub aim_working: Option<String>,
    /// Further figures and pages, each with its address: "64 % of the aim".
    pub links: Vec<(String, String)>,
    /// Why this reading, and what to know about it; folded away.
    pub why: Vec<String>,
}

/// What one amendment moves a nutrient by.
#[derive(Clone, Debug, PartialEq)]
pub struct Dose {
    /// "Rock phosphate, 400 g".
    pub label: String,
    /// Its share of the aim: 0.25 moves the nutrient by a quarter of the aim.
    pub adds: f64,
}

#[derive(Template)]
#[template(path = "parts/strip.html")]
struct Drawing<'a> {
    caption: &'a str,
    scale: Vec<(String, &'static str, &'static str)>,
    aim_at: String,
    rows: Vec<Row<'a>>,
    has_doses: bool,
    has_ceiling: bool,
    has_likely: bool,
}

struct Row<'a> {
    track: &'a Track,
    drawn: bool,
    at: String,
    /// "off-low" or "off-high" where the value lies beyond the scale.
    off: &'static str,
    likely: Option<(String, String)>,
    /// Left edge and width of the zone above the ceiling.
    ceiling: Option<(String, String)>,
    doses: Vec<Step>,
    words: String,
}

struct Step {
    x: String,
    width: String,
    /// Which of three tints, so that neighbours differ.
    tint: usize,
    label: String,
}

/// A ratio's place on the track, 0 to 1; beyond the scale it stands at the end.
pub fn place(ratio: f64) -> f64 {
    if ratio <= 0.0 {
        return 0.0;
    }
    ((ratio.log2() + DOUBLINGS) / (2.0 * DOUBLINGS)).clamp(0.0, 1.0)
}

impl Track {
    fn row(&self) -> Row<'_> {
        let found = self.found.filter(|ratio| ratio.is_finite() && *ratio >= 0.0);
        let mut steps = Vec::new();
        let mut reached = found.unwrap_or(0.0);
        if found.is_some() {
            for (at, dose) in self.doses.iter().filter(|dose| dose.adds.is_finite() && dose.adds > 0.0).enumerate() {
                let (from, to) = (place(reached), place(reached + dose.adds));
                reached += dose.adds;
                steps.push(Step {
                    x: percent(from),
                    width: percent(to - from),
                    tint: at % 3,
                    label: dose.label.clone(),
                });
            }
        }
        let edge = 2f64.powf(DOUBLINGS);
        let mut words = match found {
            None => format!("{}: {}", self.name, self.words),
            Some(ratio) => {
                format!("{}: {}, {} % of the aim", self.name, self.found_text, show::significant(ratio * 100.0, 2))
            }
        };
        if !steps.is_empty() {
            words += &format!("; {} % with the doses", show::significant(reached * 100.0, 2));
        }
        Row {
            track: self,
            drawn: found.is_some(),
            at: percent(place(found.unwrap_or(1.0))),
            off: match found {
                Some(ratio) if ratio * edge < 1.0 => "off-low",
                Some(ratio) if ratio > edge => "off-high",
                _ => "",
            },
            likely: self
                .likely
                .filter(|(low, high)| found.is_some() && low.is_finite() && high.is_finite() && low <= high)
                .map(|(low, high)| (percent(place(low)), percent(place(high)))),
            ceiling: self
                .ceiling
                .filter(|ratio| ratio.is_finite() && *ratio > 0.0 && place(*ratio) < 1.0)
                .map(|ratio| (percent(place(ratio)), percent(1.0 - place(ratio)))),
            doses: steps,
            words,
        }
    }
}

impl Strip {
    fn draw(&self) -> Drawing<'_> {
        let rows: Vec<Row<'_>> = self.tracks.iter().map(Track::row).collect();
        let scale = [(0.125, "⅛", "minor"), (0.25, "¼", ""), (0.5, "½", ""), (1.0, "aim", "aim"), (2.0, "×2", "")];
        let scale = scale.into_iter().chain([(4.0, "×4", ""), (8.0, "×8", "minor")]);
        Drawing {
            caption: &self.caption,
            scale: scale.map(|(ratio, label, class)| (percent(place(ratio)), label, class)).collect(),
            aim_at: percent(place(1.0)),
            has_doses: rows.iter().any(|row| !row.doses.is_empty()),
            has_ceiling: rows.iter().any(|row| row.ceiling.is_some()),
            has_likely: rows.iter().any(|row| row.likely.is_some()),
            rows,
        }
    }
}

/// Renders as HTML: `{{ strip }}` in a template.
impl std::fmt::Display for Strip {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(&self.draw().render().map_err(|_| std::fmt::Error)?)
    }
}

impl askama::FastWritable for Strip {
    fn write_into(&self, to: &mut dyn std::fmt::Write, values: &dyn askama::Values) -> askama::Result<()> {
        askama::FastWritable::write_into(&self.draw(), to, values)
    }
}

impl askama::filters::HtmlSafe for Strip {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_aim_is_in_the_middle_and_each_doubling_is_a_step() {
        assert_eq!(
            [0.0, 0.125, 0.5, 1.0, 2.0, 8.0, 80.0].map(|r| (place(r) * 6.0).round()),
            [0., 0., 2., 3., 4., 6., 6.]
        );
    }

    #[test]
    fn doses_stand_end_to_end_from_what_was_found() {
        let track = Track {
            found: Some(0.5),
            doses: vec![Dose { label: "a".into(), adds: 0.5 }, Dose { label: "b".into(), adds: 1.0 }],
            ..Track::default()
        };
        let row = track.row();
        let spans: Vec<_> = row.doses.iter().map(|step| (step.x.as_str(), step.width.as_str())).collect();
        assert_eq!(spans, [("33.33%", "16.67%"), ("50.00%", "16.67%")]);
        assert!(row.words.ends_with("200 % with the doses"), "{}", row.words);
    }

    #[test]
    fn odd_input_is_drawn_and_does_not_panic() {
        let odd = Track { found: Some(f64::NAN), likely: Some((2.0, 1.0)), ceiling: Some(-1.0), ..Track::default() };
        let far = Track { found: Some(1e9), words: "<b>".into(), ..Track::default() };
        let text = Strip { caption: "x".into(), tracks: vec![odd, far] }.to_string();
        assert!(!text.contains("NaN") && text.contains("off-high") && !text.contains("<b>"));
    }
}
