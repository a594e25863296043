//! How many seasons a nutrient needs to reach its aim: each season what is asked for goes
//! on as far as the cap allows, crops carry their share away, and the test answers by its
//! learned or published response. Where that never arrives, it says so. Where no response is
//! known, the mass of the soil still tells how soon it can be at the very best.
//!
//! A projection, not a promise: each season's test says where it really went.

use super::{
    cap::SeasonCap,
    element::Element,
    ground::Ground,
    need::{TOO_LITTLE, soil_working},
    offtake::{Span, capitalised, round},
    quantity::{Centimetres, KgPerHa, MgPerL, by_volume_kg_per_ha},
    reading::Level,
    record::DepthBand,
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
    /// Test units per kg/ha net; `None` where neither tests nor a publication tell it.
    pub response: Option<&'a Response>,
    /// The most that a kg/ha can raise the test, in test units ([`most_per_kg`]): what is reckoned
    /// with where no response is known. `None` where the level is no mass.
    pub most: Option<(f64, Working)>,
    /// What a plan asks for to raise the test by one unit, kg/ha: the bare mass of the soil, or a
    /// published build-up; above 0 where anything is planned.
    pub asked_kg_per_ha_per_unit: f64,
    /// What went on since the test, and what agreed plans have still to put on, kg/ha: part of the
    /// first season's dose.
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
    /// The level at its end by the low, middle and high of the response and the offtake; at the
    /// very best, thrice, where no response is known ([`Ahead::at_best`]).
    pub level: (f64, f64, f64),
}

/// When the aim is reached.
#[derive(Clone, Debug, PartialEq)]
pub enum Reaches {
    /// It is there.
    Already,
    /// After so many seasons, by the middle of the range; and by its ends, where those arrive.
    In { seasons: u8, soonest: u8, latest: Option<u8> },
    /// After so many seasons at the very best: all that is given stays and is found, and crops carry
    /// the least away. No response is known, so how many more it takes is not.
    NotBefore { seasons: u8 },
    /// Not this way, and why.
    Never(Never),
}

/// Why an aim is not reached.
#[derive(Clone, Debug, PartialEq)]
pub struct Never {
    /// In a few words: "none may be given".
    pub brief: String,
    /// As a sentence.
    pub words: String,
}

fn seasons_words(n: u8) -> String {
    if n == 1 { "one season".to_owned() } else { format!("{n} seasons") }
}

impl Reaches {
    /// As a person reads it: a sentence or two.
    pub fn words(&self) -> String {
        match self {
            Reaches::Already => "It is at the aim.".into(),
            Reaches::In { seasons: n, soonest, latest: Some(latest) } if soonest == latest => {
                format!("It should be at the aim after {}.", seasons_words(*n))
            }
            Reaches::In { seasons: n, soonest, latest: Some(latest) } => {
                format!(
                    "It should be at the aim after {}; {soonest} to {latest} by the range of the response.",
                    seasons_words(*n)
                )
            }
            Reaches::In { seasons: n, soonest, latest: None } => {
                let soonest = if soonest < n { format!(", {soonest} at the soonest") } else { String::new() };
                format!(
                    "It should be at the aim after {}{soonest}. If the soil answers as little as it may, not within \
                     {HORIZON} seasons.",
                    seasons_words(*n)
                )
            }
            Reaches::NotBefore { seasons } => format!(
                "It is at the aim after {} at the soonest: that is if all that is given stays in the soil and the \
                 test finds all of it. How much of it this test truly finds has not been published for its extract and \
                 depth, and the plot’s own tests do not tell it yet, so how much longer it takes is not known.",
                seasons_words(*seasons)
            ),
            Reaches::Never(why) => why.words.clone(),
        }
    }

    /// In a few words, for a table: "3 seasons", "3 seasons, 2 to 5", "1 season at the soonest", "never this way".
    pub fn brief(&self) -> String {
        let count = |n: u8| if n == 1 { "1 season".to_owned() } else { format!("{n} seasons") };
        match self {
            Reaches::Already => "at the aim".into(),
            Reaches::In { soonest, latest: Some(latest), .. } if soonest == latest => count(*latest),
            Reaches::In { seasons, soonest, latest: Some(latest) } => {
                format!("{}, {soonest} to {latest}", count(*seasons))
            }
            Reaches::In { seasons, soonest, latest: None } => {
                format!("{}, {soonest} to over {HORIZON}", count(*seasons))
            }
            Reaches::NotBefore { seasons } => format!("{} at the soonest", count(*seasons)),
            Reaches::Never(_) => "never this way".into(),
        }
    }
}

/// The way to the aim.
#[derive(Clone, Debug, PartialEq)]
pub struct Ahead {
    /// Up to the aim or [`HORIZON`], whichever comes first; none where the verdict needs none.
    pub seasons: Vec<SeasonAhead>,
    pub reaches: Reaches,
    /// The cap held back at least one season.
    pub capped: bool,
    /// No response is known: the levels are the most that they can be.
    pub at_best: bool,
    pub working: Working,
}

/// The most that 1 kg/ha of an element can raise a test like this one, in its unit: all of it
/// stays, and the extract finds all of it, in the soil of the depth sampled, else of the plot's
/// working depth. `None` for a level that is no mass, or a layer without soil.
///
/// mg/kg: 1,000,000 ÷ kg of soil per hectare; mg/L: 10 ÷ depth in cm, for field density must not
/// touch a result by volume; cmol(+)/kg: the same by the cation's weight.
pub fn most_per_kg(
    level: Level,
    element: Element,
    ground: &Ground,
    sampled: Option<DepthBand>,
) -> Option<(f64, Working)> {
    let depth = sampled.map_or(ground.depth, |band| Centimetres(band.bottom.0 - band.top.0));
    let ground = Ground { depth, ..*ground };
    let by_mass = || {
        let soil = ground.layer().soil_kg_per_ha();
        let most = ground.layer().level(KgPerHa(1.0)).0;
        (most, format!("1,000,000 ÷ {} kg/ha of soil = {}", num(soil), num(round(most))), soil_working(&ground))
    };
    let (most, formula, input) = match level {
        Level::MgPerKg(_) => by_mass(),
        Level::CmolPerKg(_) => {
            let weight = element.mg_per_cmol_charge()?;
            let (most, formula, soil) = by_mass();
            (most / weight, format!("{formula}; ÷ {} mg/kg in 1 cmol(+)/kg", num(weight)), soil)
        }
        Level::MgPerL(_) => {
            let most = by_volume_kg_per_ha(MgPerL(1.0), depth).0.recip();
            let leaf = Working::leaf("Depth of the soil", Figure::new(depth.0, "cm", 0), Origin::Entered);
            (most, format!("10 ÷ {} cm = {}", num(depth.0), num(round(most))), leaf)
        }
        _ => return None,
    };
    let unit = format!("{} per kg/ha", level.unit());
    let working =
        Working::step("The most that 1 kg/ha can raise the test", Figure::significant(most, unit, 3), formula, [input])
            .note("If all of it stays, and the test finds all of it.");
    (most.is_finite() && most > 0.0).then_some((most, working))
}

/// The seasons that a nutrient needs to reach its aim.
///
/// What needs no response is judged first: a cap of nothing, and one that crops use up. Each
/// season gives what a plan asks for, (aim − level) × kg per unit, and what crops carry
/// away, at most the cap; then level + response × (given − offtake). The low path answers by the
/// low response and loses the high offtake, the high path the reverse, and each season's dose is
/// set by that path's own level, as a test would show it; what falls, falls faster on the low path
/// by the high response. What is on already counts in the first season, were it more than is asked
/// for. At the aim is within the 3 % of it that no test can tell.
///
/// Without a response there is one path, the best that can be: the whole of what is given is found
/// ([`most_per_kg`]), and the least is carried away. `None` for numbers that are none, and where
/// nothing is planned or nothing can be reckoned with.
pub fn years_ahead(question: &Question) -> Option<Ahead> {
    let Question { found: (found, _), aim: (aim, _), .. } = question;
    if !found.is_finite() || !aim.is_finite() || *found < 0.0 || *aim <= 0.0 {
        return None;
    }
    // As near as a test can tell is there.
    let there = |level: f64| level >= aim * (1.0 - TOO_LITTLE);
    let offtake = question.offtake.unwrap_or(Span { low: 0.0, mid: 0.0, high: 0.0 });
    let cap = question.cap.as_ref().map_or(f64::INFINITY, |cap| cap.kg_per_ha.0.max(0.0));
    let verdict =
        if there(*found) { Some(Reaches::Already) } else { never(question, cap, offtake).map(Reaches::Never) };
    let answer = |reaches, path: Path, at_best| {
        let working = working(question, &path.seasons, &reaches);
        Some(Ahead { seasons: path.seasons, reaches, capped: path.capped, at_best, working })
    };
    let asks = question.asked_kg_per_ha_per_unit.is_finite() && question.asked_kg_per_ha_per_unit > 0.0;
    let response = question.response.map(|response| (response.response, response.range_90()));
    match (response, verdict) {
        (_, Some(Reaches::Already)) => answer(Reaches::Already, Path::default(), false),
        // How each path answers to a kilogram that is left over, and to one that is lacking; what is carried away.
        (Some((middle, (low, high))), verdict) if asks && middle > 0.0 && low.is_finite() && high.is_finite() => {
            let ways = [(low, high, offtake.high), (middle, middle, offtake.mid), (high, low, offtake.low)];
            let path = path(question, cap, offtake.mid, ways, there);
            let reaches = match (verdict, path.arrived[1]) {
                (Some(never), _) => never,
                (None, Some(n)) => {
                    Reaches::In { seasons: n, soonest: path.arrived[2].unwrap_or(n).min(n), latest: path.arrived[0] }
                }
                (None, None) => Reaches::Never(too_slow(question, cap, &path.seasons, false)),
            };
            answer(reaches, path, false)
        }
        (_, Some(never)) => answer(never, Path::default(), false),
        (Some(_), None) => None,
        (None, None) => {
            let (most, _) = question.most.as_ref().filter(|(most, _)| asks && most.is_finite() && *most > 0.0)?;
            let path = path(question, cap, offtake.mid, [(*most, *most, offtake.low); 3], there);
            let reaches = match path.arrived[1] {
                Some(seasons) => Reaches::NotBefore { seasons },
                None => Reaches::Never(too_slow(question, cap, &path.seasons, true)),
            };
            answer(reaches, path, true)
        }
    }
}

/// Season by season.
#[derive(Default)]
struct Path {
    seasons: Vec<SeasonAhead>,
    /// After which season each way is at the aim.
    arrived: [Option<u8>; 3],
    capped: bool,
}

/// Each way: test units for a kilogram that is left over and for one that is lacking, kg/ha carried away.
fn path(question: &Question, cap: f64, replaced: f64, ways: [(f64, f64, f64); 3], there: impl Fn(f64) -> bool) -> Path {
    let (found, aim) = (question.found.0, question.aim.0);
    let mut level = [found; 3];
    let mut path = Path::default();
    for season in 1..=HORIZON {
        if path.arrived.iter().all(Option::is_some) {
            break;
        }
        let already = if season == 1 { question.already.0.max(0.0) } else { 0.0 };
        let mut give = 0.0;
        for (at, (up, down, gone)) in ways.into_iter().enumerate() {
            // Each season's test sets the next dose, whichever path the soil is on.
            let asked = (aim - level[at]).max(0.0) * question.asked_kg_per_ha_per_unit + replaced;
            let given = asked.min(cap).max(already);
            if at == 1 {
                give = given - already;
                path.capped |= path.arrived[1].is_none() && asked > cap * (1.0 + 1e-9);
            }
            let net = given - gone;
            level[at] = (level[at] + net * if net < 0.0 { down } else { up }).max(0.0);
            if path.arrived[at].is_none() && there(level[at]) {
                path.arrived[at] = Some(season);
            }
        }
        path.seasons.push(SeasonAhead { season, give: KgPerHa(give), level: (level[0], level[1], level[2]) });
    }
    // Once the middle is there, further seasons only serve to see whether the low end follows.
    if let Some(last) = path.arrived[1] {
        path.seasons.truncate(usize::from(last));
    }
    path
}

fn rate(value: f64) -> String {
    format!("{} kg/ha", num(round(value)))
}

/// Why it never gets there, whatever the soil answers; `None` where that depends on the answer.
fn never(question: &Question, cap: f64, offtake: Span) -> Option<Never> {
    let name = question.element.name();
    if cap <= 0.0 {
        return Some(Never {
            brief: "none may be given".into(),
            words: format!("It will not get there: {name} may not be given at all here in the coming twelve months."),
        });
    }
    (cap <= offtake.mid).then(|| Never {
        brief: format!("at most {} a season, crops take {}", rate(cap), rate(offtake.mid)),
        words: format!(
            "It will never get there this way: at most {} of {name} may go on in a season, and crops carry away {}.",
            rate(cap),
            rate(offtake.mid)
        ),
    })
}

/// Why it is not there by [`HORIZON`].
fn too_slow(question: &Question, cap: f64, seasons: &[SeasonAhead], at_best: bool) -> Never {
    let last = num(round(seasons.last().map_or(question.found.0, |season| season.level.1)));
    let unit = question.unit;
    let how = if cap.is_finite() { format!("at most {} a season", rate(cap)) } else { "what is asked for".to_owned() };
    let even = if at_best { ", even if all of it stays and is found" } else { "" };
    let at = if at_best { "at most " } else { "" };
    Never {
        brief: format!("{at}{last} {unit} after {HORIZON} seasons"),
        words: format!(
            "It will not get there this way in {HORIZON} seasons{even}: with {how} it would be at {last} {unit} by then."
        ),
    }
}

fn working(question: &Question, seasons: &[SeasonAhead], reaches: &Reaches) -> Working {
    let unit = question.unit;
    let mut inputs = vec![question.found.1.clone(), question.aim.1.clone()];
    let answers = match (question.response, &question.most) {
        (Some(response), _) => Some(("response", response.working.clone())),
        (None, Some((_, most))) if !seasons.is_empty() => Some(("the most that 1 kg/ha can raise it", most.clone())),
        (None, _) => None,
    };
    let by = answers.as_ref().map(|(words, _)| *words);
    inputs.extend(answers.map(|(_, working)| working));
    if let Some(cap) = question.cap {
        let figure = Figure::significant(cap.kg_per_ha.0, KgPerHa::UNIT, 3);
        inputs.push(Working::leaf(cap.label.clone(), figure, Origin::Published).cite(cap.source.clone()));
    }
    if let Some(offtake) = question.offtake {
        let figure = Figure::significant(offtake.mid, KgPerHa::UNIT, 2);
        inputs.push(Working::leaf("Carried away in a usual season", figure, Origin::Entered));
    }
    if question.already.0 > 0.0 && !seasons.is_empty() {
        let figure = Figure::significant(question.already.0, KgPerHa::UNIT, 2);
        inputs.push(Working::leaf("Put on since the test, or agreed to", figure, Origin::Planned));
    }
    let at_best = question.response.is_none();
    let line = |season: &SeasonAhead| {
        let (low, middle, high) = season.level;
        let range = if at_best {
            format!("at most {} {unit}", num(round(middle)))
        } else {
            format!("{} {unit} ({} to {})", num(round(middle)), num(round(low)), num(round(high)))
        };
        format!("season {}: {} kg/ha, then {range}", season.season, num(round(season.give.0)))
    };
    let path: Vec<String> = seasons.iter().map(line).collect();
    let end = seasons.last().map_or(question.found.0, |season| season.level.1);
    let title = format!("{} in the seasons ahead", capitalised(question.element.name()));
    let formula = match by.filter(|_| !seasons.is_empty()) {
        Some(by) => format!(
            "given = (aim − level) × {} kg/ha + carried away; level + {by} × (given − carried away), season by season",
            num(round(question.asked_kg_per_ha_per_unit))
        ),
        None => "found against the aim, and what may be given against what is carried away".into(),
    };
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
        ground::{Cover, Texture},
        quantity::{CmolPerKg, GramsPerCm3, MgPerKg, SquareMetres},
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
            response: Some(r),
            most: None,
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
        assert_eq!(ahead.reaches.brief(), "1 season, 1 to 4");
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
            response: Some(&r),
            most: None,
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
        let Never { brief, words } = why;
        assert!(words.contains("50 kg/ha") && words.contains("80 kg/ha"), "{words}");
        assert_eq!(brief, "at most 50 kg/ha a season, crops take 80 kg/ha");
        assert!(ahead.seasons.last().unwrap().level.1 < 60.0, "it falls");
        assert!(matches!(ask(60.0, 120.0, &response(0.12, 0.02), Some(0.0), None).reaches, Reaches::Never(_)));
        let slow = ask(60.0, 120.0, &response(0.12, 0.02), Some(20.0), None);
        assert!(matches!(&slow.reaches, Reaches::Never(why) if why.words.contains("15 seasons")), "{:?}", slow.reaches);
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
            response: Some(&r),
            most: None,
            asked_kg_per_ha_per_unit: 10.0,
            already: KgPerHa(0.0),
            cap: None,
            offtake: None,
        };
        assert_eq!(years_ahead(&question), None);
        let r = response(0.1, 0.0);
        assert_eq!(years_ahead(&Question { found: leaf(f64::NAN), response: Some(&r), ..question }), None);
    }

    /// A question about boron, of which no response is known: a loam of 20 cm at 1.3 g/cm³.
    fn unanswered(found: f64, cap: Option<&SeasonCap>, offtake: Option<Span>, already: f64) -> Option<Ahead> {
        let ground = Ground {
            area: SquareMetres(10.0),
            cover: Cover::Open,
            texture: Texture::Loam,
            bulk_density: Some(GramsPerCm3(1.3)),
            depth: Centimetres(30.0),
            stones: 0.0,
        };
        let sampled = DepthBand { top: Centimetres(0.0), bottom: Centimetres(20.0) };
        let level = Level::MgPerKg(MgPerKg(found));
        let most = most_per_kg(level, Element::B, &ground, Some(sampled)).expect("a level by mass");
        // 2.6 million kg of soil to the hectare, whatever the plot's working depth.
        assert!((most.0 - 1.0 / 2.6).abs() < 1e-12 && most.1.is_grounded(), "{most:?}");
        years_ahead(&Question {
            element: Element::B,
            found: leaf(found),
            aim: leaf(1.0),
            unit: "mg/kg",
            response: None,
            most: Some(most),
            asked_kg_per_ha_per_unit: 2.6,
            already: KgPerHa(already),
            cap,
            offtake,
        })
    }

    fn cap_of(kg_per_ha: f64) -> SeasonCap {
        let source =
            Source { publisher: "", title: "a test", year: 0, address: "", evidence: Evidence::CommonPractice };
        SeasonCap {
            counted: Counted::Total(Element::B),
            kg_per_ha: KgPerHa(kg_per_ha),
            label: "the cap".into(),
            source: source.into(),
            in_force: true,
            grounds: Grounds::Advice,
            outermost: None,
            overruled: None,
        }
    }

    #[test]
    fn without_a_response_the_mass_of_the_soil_tells_the_soonest_and_says_that_it_is_only_that() {
        // 0.4 → 1.0 mg/kg is 1.56 kg/ha; with 0.5 a season, 0.192 mg/kg each: 0.592, 0.785, 0.977 ≥ 0.97.
        let cap = cap_of(0.5);
        let ahead = unanswered(0.4, Some(&cap), None, 0.0).unwrap();
        assert_eq!(ahead.reaches, Reaches::NotBefore { seasons: 3 });
        assert!(ahead.at_best && ahead.capped && ahead.seasons.len() == 3);
        assert!((ahead.seasons[0].level.1 - (0.4 + 0.5 / 2.6)).abs() < 1e-12, "{:?}", ahead.seasons);
        assert_eq!(ahead.reaches.brief(), "3 seasons at the soonest");
        let words = ahead.reaches.words();
        assert!(words.contains("at the soonest") && words.contains("not known"), "{words}");
        assert!(ahead.working.is_grounded(), "{:?}", ahead.working);
        assert!(ahead.working.inputs.iter().any(|one| one.title.contains("The most that 1 kg/ha")));
        // Without a cap one season does it: what is asked for is the mass that is missing.
        assert_eq!(unanswered(0.4, None, None, 0.0).unwrap().reaches, Reaches::NotBefore { seasons: 1 });
        // The least that crops carry away still has to be made up for: 0.5 − 0.1 a season is 0.154 mg/kg.
        let span = Span { low: 0.1, mid: 0.2, high: 0.3 };
        let slower = unanswered(0.4, Some(&cap), Some(span), 0.0).unwrap();
        assert_eq!(slower.reaches, Reaches::NotBefore { seasons: 4 });
        // What is on already, more than the cap of a season lets, counts whole: 1.56 kg/ha are the aim.
        let there = unanswered(0.4, Some(&cap), None, 1.56).unwrap();
        assert_eq!((there.reaches, there.seasons[0].give.0), (Reaches::NotBefore { seasons: 1 }, 0.0));
    }

    #[test]
    fn what_never_arrives_needs_no_response_to_say_so() {
        let never = |cap: f64, offtake: Option<f64>| {
            let span = offtake.map(|mid| Span { low: mid, mid, high: mid });
            let cap = cap_of(cap);
            let ahead = unanswered(0.4, Some(&cap), span, 0.0).unwrap();
            let Reaches::Never(why) = ahead.reaches else { panic!("{:?}", ahead.reaches) };
            (why.brief, ahead.seasons.len())
        };
        assert_eq!(never(0.0, None), ("none may be given".into(), 0));
        assert_eq!(never(0.2, Some(0.3)), ("at most 0.2 kg/ha a season, crops take 0.3 kg/ha".into(), 0));
        // 15 × 0.05 kg/ha are 0.288 mg/kg: not there even if all of it stays.
        assert_eq!(never(0.05, None), ("at most 0.688 mg/kg after 15 seasons".into(), 15));
        // Neither a response nor a mass: nothing can be said, but for what a cap says.
        let cap = cap_of(0.0);
        let bare = |cap| Question {
            element: Element::B,
            found: leaf(0.4),
            aim: leaf(1.0),
            unit: "",
            response: None,
            most: None,
            asked_kg_per_ha_per_unit: 0.0,
            already: KgPerHa(0.0),
            cap,
            offtake: None,
        };
        assert_eq!(years_ahead(&bare(None)), None);
        assert!(matches!(years_ahead(&bare(Some(&cap))).unwrap().reaches, Reaches::Never(_)));
    }

    #[test]
    fn the_most_that_a_kilogram_can_do_goes_by_the_unit_of_the_test() {
        let ground = Ground {
            area: SquareMetres(10.0),
            cover: Cover::Open,
            texture: Texture::Loam,
            bulk_density: Some(GramsPerCm3(1.3)),
            depth: Centimetres(20.0),
            stones: 0.0,
        };
        let most = |level| most_per_kg(level, Element::K, &ground, None).map(|(most, _)| most);
        // By volume the depth alone: 1 mg/L in 20 cm is 2 kg/ha, whatever the field weighs.
        assert!((most(Level::MgPerL(MgPerL(50.0))).unwrap() - 0.5).abs() < 1e-12);
        // Potassium, 39.098 g/mol of one charge: 1 cmol(+)/kg is 390.98 mg/kg (IUPAC 2021 weights).
        let charge = most(Level::CmolPerKg(CmolPerKg(0.2))).unwrap();
        assert!((charge - 1.0 / 2.6 / 390.98).abs() < 1e-6, "{charge}");
        assert_eq!(most(Level::Ph(6.5)), None);
    }
}
