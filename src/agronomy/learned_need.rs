//! What raises a level, reckoned by how tests on this ground answered to what came and went, in
//! the place of the bare mass of the soil: (aim − found) ÷ response. It stands beside the figure
//! by mass and takes its place only where a person chose so and the tests carry it; where they
//! do not, it says why, and the figure by mass stands.

use super::{
    element::Element,
    need::{Need, Reason},
    offtake::{capitalised, round},
    plan::Key,
    quantity::KgPerHa,
    response::{Response, response_title},
    source::{Evidence, Source},
    standing::{NutrientStanding, num},
    working::{Figure, Working},
};
use std::collections::BTreeMap;

/// What tests on a plot taught of each element: the response of the test that its standing goes
/// by, or why there is none.
pub type Answers = BTreeMap<Element, Result<Response, String>>;

/// How a dose is reckoned from a response.
pub const METHOD: Source = Source {
    publisher: "Agricultural extension bulletins, in common",
    title: "Build-up rate: the rise wanted over the rise that a kilogram gives, on top of what crops carry away",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// Title of the figure by mass where it stands beside, and is not used.
const BY_MASS: &str = "By the mass of the soil, beside it and not used";

/// A need by the response learned here, and its 90 % range.
#[derive(Clone, Debug, PartialEq)]
pub struct Learned {
    pub need: Need,
    /// kg/ha at the most and at the least response, for the same season.
    pub range: (KgPerHa, KgPerHa),
}

/// A need to raise a level as the response has it, or why that is not known.
///
/// `need` is the same by mass, for one season of `seasons`. The response is of net kilograms, so
/// what crops carry away until the next test comes on top.
pub fn learned(need: &Need, nutrient: &NutrientStanding, response: &Response, seasons: u8) -> Result<Learned, String> {
    response.carries()?;
    let (unit, aim) = match (nutrient.level.unit(), nutrient.aim_level, &nutrient.aim) {
        (unit, Some(level), Some(aim)) if level.unit() == unit && need.reason == Reason::Raise => (unit, (level, aim)),
        _ => return Err("There is no level to raise it to.".into()),
    };
    let (aim_level, aim) = (aim.0.number(), aim.1);
    let missing = (aim_level - nutrient.level.number()).max(0.0);
    let (Some((middle, least, Some(most))), Some(by_mass)) = (response.to_raise(missing), &need.working) else {
        return Err("What was learned gives no dose.".into());
    };
    let seasons = seasons.max(1);
    let share = |rate: KgPerHa| KgPerHa(rate.0 / f64::from(seasons));
    let rate = share(middle);
    let name = capitalised(need.element.name());
    let difference = Working::step(
        format!("{name} missing"),
        Figure::new(missing, unit, nutrient.found.figure.decimals),
        format!("{} − {} = {} {unit}", num(aim_level), num(nutrient.level.number()), num(missing)),
        [aim.working.clone(), nutrient.found.working.clone()],
    );
    let mut formula = format!(
        "{} {unit} ÷ {} {unit} per kg/ha = {} kg/ha",
        num(missing),
        num(round(response.response)),
        num(round(middle.0))
    );
    if seasons > 1 {
        formula.push_str(&format!("; a share of 1 in {seasons} seasons: {} kg/ha", num(round(rate.0))));
    }
    let range = (share(least), share(most));
    let mut notes = vec![
        format!(
            "By what tests here answered; nine times in ten {} to {} kg/ha. By the mass of the soil it would be {} kg/ha.",
            num(round(range.0.0)),
            num(round(range.1.0)),
            num(round(need.kg_per_ha.0))
        ),
        "This is net: what crops carry away until the next test comes on top.".to_owned(),
    ];
    notes.extend(need.limit_note().map(str::to_owned));
    let beside = Working { title: BY_MASS.into(), ..by_mass.clone() };
    let figure = Figure::significant(rate.0, KgPerHa::UNIT, 3);
    let inputs = [difference, response.working.clone(), beside];
    let mut working = Working::step(format!("{name} to give"), figure, formula, inputs).cite(METHOD);
    working.notes.clone_from(&notes);
    let need = Need { kg_per_ha: rate, working: Some(working), notes, ..need.clone() };
    Ok(Learned { need, range })
}

/// The figure by mass that stands beside a need by the response.
pub fn beside(need: &Need) -> Option<KgPerHa> {
    let mut found = None;
    need.working.as_ref()?.visit(&mut |node| {
        if node.title == BY_MASS && found.is_none() {
            found = Some(KgPerHa(node.figure.value));
        }
    });
    found
}

/// By what share of its aim an available amount lifts a nutrient whose need is by the response:
/// kg/ha × response ÷ aim. `None` where the need is by mass.
pub fn lift(available: KgPerHa, need: &Need, nutrient: &NutrientStanding) -> Option<f64> {
    beside(need)?;
    let title = response_title(need.element);
    let mut response = None;
    need.working.as_ref()?.visit(&mut |node| {
        if node.title == title && response.is_none() {
            response = Some(node.figure.value);
        }
    });
    let share = available.0 * response? / nutrient.aim_level?.number();
    (share.is_finite() && share >= 0.0).then_some(share)
}

/// A need as the answers have it where they carry it; else as it is, with why. Only what raises
/// a level is reckoned by them.
pub fn by_answers(need: Need, nutrient: Option<&NutrientStanding>, answers: &Answers, seasons: u8) -> Need {
    let Some(nutrient) = nutrient.filter(|_| need.reason == Reason::Raise && need.kg_per_ha.0 > 0.0) else {
        return need;
    };
    let answer = match answers.get(&need.element) {
        Some(Ok(response)) => learned(&need, nutrient, response, seasons),
        Some(Err(why)) => Err(why.clone()),
        None => Err("No balance of it is kept, so nothing is learned of it.".into()),
    };
    match answer {
        Ok(learned) => learned.need,
        Err(why) => need.noted(format!("{NOT_LEARNED} {why}")),
    }
}

/// Said of a need that is by mass although the answers were asked for.
const NOT_LEARNED: &str = "By the mass of the soil, not by what tests here answered.";

/// Where the needs of a plan are by what tests answered and where not, a sentence to an element
/// and reason; plots by their names.
pub fn told(needs: &BTreeMap<Key, Vec<Need>>, names: &BTreeMap<Key, &str>) -> Vec<String> {
    let mut said: BTreeMap<(Element, Option<String>), Vec<&str>> = BTreeMap::new();
    for (plot, needs) in needs {
        let name = names.get(plot).copied().unwrap_or_default();
        for need in needs.iter().filter(|need| need.reason == Reason::Raise) {
            let why = need.notes.iter().find_map(|note| note.strip_prefix(NOT_LEARNED));
            match (beside(need), why) {
                (Some(_), _) => said.entry((need.element, None)).or_default().push(name),
                (None, Some(why)) => said.entry((need.element, Some(why.trim().to_owned()))).or_default().push(name),
                (None, None) => {}
            }
        }
    }
    let sentence = |((element, why), plots): ((Element, Option<String>), Vec<&str>)| {
        let (plots, name) = (plots.join(", "), capitalised(element.name()));
        match why {
            None => format!("{name} by what tests here answered: {plots}."),
            Some(why) => format!("{name} by the mass of the soil on {plots}: {why}"),
        }
    };
    said.into_iter().map(sentence).collect()
}
