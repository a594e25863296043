//! How many seasons a nutrient needs to reach its aim: each season what is asked for goes
//! on as far as the cap allows, crops carry their share away, and the test answers by its
//! learned or published response. Where that never arrives, it says so.
//!
//! A projection, not a promise: each season's test says where it really went.

use super::{
    cap::SeasonCap,
    element::Element,
    need::TOO_LITTLE,
    offtake::{Span, round},
    quantity::KgPerHa,
    response::Response,
    standing::num,
    working::{Figure, Origin, Working},
};

/// Seasons looked ahead at most; beyond, the answer is "not this way". Our own choice.
pub const HORIZON: u8 = 15;

/// One nutrient of one plot.
#[derive(Clone, Debug, PartialEq)]
pub struct Question<'a> {
    pub element: Element,
    /// The newest test, in `unit`, with its working.
    pub found: (f64, Working),
    /// In the same unit.
    pub aim: (f64, Working),
    pub unit: &'a str,
    /// Test units per kg/ha net.
    pub response: &'a Response,
    /// What a plan asks for to raise the test by one unit, kg/ha: the bare mass of the soil, or a
    /// published build-up; above 0.
    pub asked_kg_per_ha_per_unit: f64,
    /// What went on since the test, or is agreed to, kg/ha: part of the first season's dose.
    pub already: KgPerHa,
    /// The most that may go on in twelve months.
    pub cap: Option<&'a SeasonCap>,
    /// What crops usually carry away in a season, kg/ha; `None` where no harvest tells.
    pub offtake: Option<Span>,
}

/// One season of the projection.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SeasonAhead {
    /// 1 is the next.
    pub season: u8,
    /// What goes on, kg/ha of the element; in the first season less what is on already.
    pub give: KgPerHa,
    /// The level at its end by the low, middle and high of the response and the offtake.
    pub level: (f64, f64, f64),
}

/// When the aim is reached.
#[derive(Clone, Debug, PartialEq)]
pub enum Reaches {
    /// It is there.
    Already,
    /// After so many seasons, by the middle of the range; and by its ends, where those arrive.
    In { seasons: u8, soonest: u8, latest: Option<u8> },
    /// Not this way, and why.
    Never(String),
}

impl Reaches {
    /// As a person reads it: a sentence.
    pub fn words(&self) -> String {
        let seasons = |n: u8| if n == 1 { "one season".to_owned() } else { format!("{n} seasons") };
        match self {
            Reaches::Already => "It is at the aim.".into(),
            Reaches::In { seasons: n, soonest, latest: Some(latest) } if soonest == latest => {
                format!("It should be at the aim after {}.", seasons(*n))
            }
            Reaches::In { seasons: n, soonest, latest: Some(latest) } => {
                format!(
                    "It should be at the aim after {}; {soonest} to {latest} by the range of the response.",
                    seasons(*n)
                )
            }
            Reaches::In { seasons: n, soonest, latest: None } => {
                let soonest = if soonest < n { format!(", {soonest} at the soonest") } else { String::new() };
                format!(
                    "It should be at the aim after {}{soonest}. If the soil answers as little as it may, not within \
                     {HORIZON} seasons.",
                    seasons(*n)
                )
            }
            Reaches::Never(why) => why.clone(),
        }
    }
}

/// The way to the aim.
#[derive(Clone, Debug, PartialEq)]
pub struct Ahead {
    /// Up to the aim or [`HORIZON`], whichever comes first.
    pub seasons: Vec<SeasonAhead>,
    pub reaches: Reaches,
    /// The cap held back at least one season.
    pub capped: bool,
    pub working: Working,
}

/// The seasons that a nutrient needs to reach its aim.
///
/// Each season gives what a plan asks for, (aim − level) × kg per unit, and what crops carry
/// away, at most the cap; then level + response × (given − offtake). The low path answers by the low response and loses the
/// high offtake, the high path the reverse, and each season's dose is set by that path's own
/// level, as a test would show it; what falls, falls faster on the low path by the high
/// response. At the aim is within the 3 % of it that no test can tell. `None` for numbers that
/// are none.
pub fn years_ahead(question: &Question) -> Option<Ahead> {
    let Question { found: (found, _), aim: (aim, _), response, .. } = question;
    let (low, high) = response.range_90();
    let middle = response.response;
    let finite = [*found, *aim, low, middle, high].iter().all(|number| number.is_finite());
    let asks = question.asked_kg_per_ha_per_unit.is_finite() && question.asked_kg_per_ha_per_unit > 0.0;
    if !finite || !asks || middle <= 0.0 || *found < 0.0 || *aim <= 0.0 {
        return None;
    }
    let offtake = question.offtake.unwrap_or(Span { low: 0.0, mid: 0.0, high: 0.0 });
    let cap = question.cap.as_ref().map_or(f64::INFINITY, |cap| cap.kg_per_ha.0.max(0.0));
    // As near as a test can tell is there.
    let there = |level: f64| level >= aim * (1.0 - TOO_LITTLE);
    let (mut level, mut seasons, mut capped) = ([*found; 3], Vec::new(), false);
    // How each path answers to a kilogram that is left over, and to one that is lacking; what is carried away.
    let paths = [(low, high, offtake.high), (middle, middle, offtake.mid), (high, low, offtake.low)];
    let mut arrived: [Option<u8>; 3] = [None; 3];
    for season in 1..=HORIZON {
        if there(*found) || arrived.iter().all(Option::is_some) {
            break;
        }
        let mut give = 0.0;
        for (path, (up, down, gone)) in paths.into_iter().enumerate() {
            // Each season's test sets the next dose, whichever path the soil is on.
            let asked = (aim - level[path]).max(0.0) * question.asked_kg_per_ha_per_unit + offtake.mid;
            let given = asked.min(cap);
            if path == 1 {
                let first = if season == 1 { question.already.0 } else { 0.0 };
                give = (given - first).max(0.0);
                capped |= arrived[1].is_none() && asked > cap * (1.0 + 1e-9);
            }
            let net = given - gone;
            level[path] = (level[path] + net * if net < 0.0 { down } else { up }).max(0.0);
            if arrived[path].is_none() && there(level[path]) {
                arrived[path] = Some(season);
            }
        }
        seasons.push(SeasonAhead { season, give: KgPerHa(give), level: (level[0], level[1], level[2]) });
    }
    // Once the middle is there, further seasons only serve to see whether the low end follows.
    if let Some(last) = arrived[1] {
        seasons.truncate(usize::from(last));
    }
    let reaches = match arrived[1] {
        _ if there(*found) => Reaches::Already,
        Some(n) => Reaches::In { seasons: n, soonest: arrived[2].unwrap_or(n).min(n), latest: arrived[0] },
        None => Reaches::Never(never(question, cap, offtake, &seasons)),
    };
    let working = working(question, &seasons, &reaches);
    Some(Ahead { seasons, reaches, capped, working })
}

fn never(question: &Question, cap: f64, offtake: Span, seasons: &[SeasonAhead]) -> String {
    let name = question.element.name();
    let rate = |value: f64| format!("{} kg/ha", num(round(value)));
    if cap <= 0.0 {
        return format!("It will not get there: {name} may not be given at all here in the coming twelve months.");
    }
    if cap <= offtake.mid {
        return format!(
            "It will never get there this way: at most {} of {name} may go on in a season, and crops carry away {}.",
            rate(cap),
            rate(offtake.mid)
        );
    }
    let last = seasons.last().map_or(question.found.0, |season| season.level.1);
    let how = if cap.is_finite() { format!("at most {} a season", rate(cap)) } else { "what is asked for".to_owned() };
    format!(
        "It will not get there this way in {HORIZON} seasons: with {how} it would be at {} {} by then.",
        num(round(last)),
        question.unit
    )
}

fn working(question: &Question, seasons: &[SeasonAhead], reaches: &Reaches) -> Working {
    let unit = question.unit;
    let mut inputs = vec![question.found.1.clone(), question.aim.1.clone(), question.response.working.clone()];
    if let Some(cap) = question.cap {
        let figure = Figure::significant(cap.kg_per_ha.0, KgPerHa::UNIT, 3);
        inputs.push(Working::leaf(cap.label.clone(), figure, Origin::Published).cite(cap.source.clone()));
    }
    if let Some(offtake) = question.offtake {
        let figure = Figure::significant(offtake.mid, KgPerHa::UNIT, 2);
        inputs.push(Working::leaf("Carried away in a usual season", figure, Origin::Entered));
    }
    let line = |season: &SeasonAhead| {
        let (low, middle, high) = season.level;
        format!(
            "season {}: {} kg/ha, then {} {unit} ({} to {})",
            season.season,
            num(round(season.give.0)),
            num(round(middle)),
            num(round(low)),
            num(round(high))
        )
    };
    let path: Vec<String> = seasons.iter().map(line).collect();
    let end = seasons.last().map_or(question.found.0, |season| season.level.1);
    let title = format!("{} in the seasons ahead", question.element.name());
    let formula = format!(
        "given = (aim − level) × {} kg/ha + carried away; level + response × (given − carried away), season by season",
        num(round(question.asked_kg_per_ha_per_unit))
    );
    let mut working = Working::step(title, Figure::significant(end, unit, 3), formula, inputs).note(reaches.words());
    if !path.is_empty() {
        working = working.note(path.join("; "));
    }
    if question.offtake.is_none() {
        working =
            working.note("No harvest is written down, so nothing is counted as carried away: true seasons are more.");
    }
    working
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::{
        cap::{Counted, Grounds},
        response::Skip,
        source::{Evidence, Source},
    };

    fn response(response: f64, sd: f64) -> Response {
        Response {
            response,
            sd,
            own_share: 0.0,
            own: Err(Skip::NotAnElement),
            farm_plots: 0,
            working: Working::leaf("r", Figure::significant(response, "", 3), Origin::Published),
        }
    }

    fn leaf(value: f64) -> (f64, Working) {
        (value, Working::leaf("x", Figure::significant(value, "mg/kg", 3), Origin::Entered))
    }

    fn ask(found: f64, aim: f64, r: &Response, cap: Option<f64>, offtake: Option<f64>) -> Ahead {
        let offtake = offtake.map(|mid| Span { low: mid * 0.8, mid, high: mid * 1.2 });
        let source =
            Source { publisher: "", title: "a test", year: 0, address: "", evidence: Evidence::CommonPractice };
        let cap = cap.map(|cap| SeasonCap {
            counted: Counted::Total(Element::K),
            kg_per_ha: KgPerHa(cap),
            label: "the cap".into(),
            source: source.into(),
            in_force: true,
            grounds: Grounds::Advice,
            outermost: None,
            overruled: None,
        });
        years_ahead(&Question {
            element: Element::K,
            found: leaf(found),
            aim: leaf(aim),
            unit: "mg/kg",
            response: r,
            asked_kg_per_ha_per_unit: 1.0 / r.response,
            already: KgPerHa(0.0),
            cap: cap.as_ref(),
            offtake,
        })
        .expect("numbers")
    }

    #[test]
    fn a_cap_spreads_sixty_units_over_the_seasons_that_the_arithmetic_gives() {
        // Potash Development Association FAQ (2009): 600 kg K2O/ha, 498 kg K, for 60 mg/L on
        // top of offtake. With 150 kg K/ha a season and 25 carried away: 498 ÷ 125 = 3.98.
        let r = response(60.0 / 498.1, 0.0);
        let ahead = ask(60.0, 120.0, &r, Some(150.0), Some(25.0));
        assert_eq!(ahead.reaches, Reaches::In { seasons: 4, soonest: 4, latest: Some(4) });
        assert!(ahead.capped && ahead.seasons.len() == 4);
        assert!((ahead.seasons[0].level.1 - (60.0 + 125.0 * 60.0 / 498.1)).abs() < 1e-9);
        // The last season gives no more than is still missing.
        assert!(ahead.seasons[3].give.0 < 150.0);
    }

    #[test]
    fn without_a_cap_one_season_does_it_and_the_low_end_follows_test_by_test() {
        // 20 units ÷ 0.1 = 200 kg/ha; by the low end, 0.1 − 1.645 × 0.03 = 0.0507, it moves half as far
        // each season: 30, 40.1, 45.1, 47.6, 48.8 of the 48.5 that count as 50.
        let ahead = ask(30.0, 50.0, &response(0.1, 0.03), None, None);
        assert_eq!(ahead.reaches, Reaches::In { seasons: 1, soonest: 1, latest: Some(4) });
        assert_eq!(ahead.seasons.len(), 1);
        assert!((ahead.seasons[0].level.0 - (30.0 + 200.0 * (0.1 - 1.645 * 0.03))).abs() < 0.01);
        assert!(ahead.working.notes.iter().any(|note| note.contains("No harvest")));
    }

    #[test]
    fn the_bare_mass_of_the_soil_takes_several_seasons_where_the_soil_holds_some_back() {
        // 20 cm at 1.3 g/cm³: 2.6 kg/ha for 1 mg/kg. With a response of 0.1 for a kilogram each season
        // closes 26 % of what is missing: 0.74ⁿ × 20 ≤ 1.5 of 50 (3 %) after 9.
        let r = response(0.1, 0.0);
        let question = Question {
            element: Element::P,
            found: leaf(30.0),
            aim: leaf(50.0),
            unit: "mg/kg",
            response: &r,
            asked_kg_per_ha_per_unit: 2.6,
            already: KgPerHa(12.0),
            cap: None,
            offtake: None,
        };
        let ahead = years_ahead(&question).expect("numbers");
        assert_eq!(ahead.reaches, Reaches::In { seasons: 9, soonest: 9, latest: Some(9) });
        // 52 kg/ha are asked for, and 12 of them are on.
        assert!((ahead.seasons[0].give.0 - 40.0).abs() < 1e-9 && (ahead.seasons[0].level.1 - 35.2).abs() < 1e-9);
    }

    #[test]
    fn what_crops_take_faster_than_a_cap_gives_never_arrives_and_says_so() {
        let ahead = ask(60.0, 120.0, &response(0.12, 0.02), Some(50.0), Some(80.0));
        let Reaches::Never(why) = &ahead.reaches else { panic!("{:?}", ahead.reaches) };
        assert!(why.contains("50 kg/ha") && why.contains("80 kg/ha"), "{why}");
        assert!(ahead.seasons.last().unwrap().level.1 < 60.0, "it falls");
        assert!(matches!(ask(60.0, 120.0, &response(0.12, 0.02), Some(0.0), None).reaches, Reaches::Never(_)));
        let slow = ask(60.0, 120.0, &response(0.12, 0.02), Some(20.0), None);
        assert!(matches!(&slow.reaches, Reaches::Never(why) if why.contains("15 seasons")), "{:?}", slow.reaches);
    }

    #[test]
    fn what_is_there_needs_nothing_and_nonsense_gives_no_answer() {
        assert_eq!(ask(120.0, 120.0, &response(0.1, 0.0), None, None).reaches, Reaches::Already);
        let r = response(0.0, 0.0);
        let question = Question {
            element: Element::K,
            found: leaf(1.0),
            aim: leaf(2.0),
            unit: "mg/kg",
            response: &r,
            asked_kg_per_ha_per_unit: 10.0,
            already: KgPerHa(0.0),
            cap: None,
            offtake: None,
        };
        assert_eq!(years_ahead(&question), None);
        let r = response(0.1, 0.0);
        assert_eq!(years_ahead(&Question { found: leaf(f64::NAN), response: &r, ..question }), None);
    }
}
