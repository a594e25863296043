//! What a plot asks for next: from its last tests, what was put on since, what the caps of
//! twelve months still allow and what the last agreed plan left undone, in ranked plain
//! sentences; and when to test again. It adds no need of its own: a need that a plan left
//! undone is part of what the test still shows, and is never counted twice.

mod judge;
mod next_test;
#[cfg(test)]
mod tests;
mod words;

pub use next_test::{
    GARDEN_INTERVAL, NextTest, SALTS_UNDER_COVER, SAME_SEASON, TEST_INTERVALS, WAIT_AFTER_LIME, YEARLY_UNDER_COVER,
    next_test,
};

use super::{
    analyte::Analyte,
    cap::{Applied, Counted, SeasonCap, already_applied, season_caps},
    crop::Crop,
    element::Element,
    ground::Ground,
    guideline::Position,
    liking::{Liking, Weighed},
    need::{self, By, Need},
    quantity::{Grams, KgPerHa},
    record::Application,
    standing::{NutrientStanding, Standing},
    working::Working,
};
use jiff::civil::Date;
use judge::judge;
use std::collections::BTreeMap;
use words::grams;

/// What the last agreed plan left undone of one element on the plot.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Undone {
    /// What a cap, packs, a budget or a choice left out when it was agreed, g.
    pub left_out_g: f64,
    /// What its doses that were not put on would bring for a first season, g.
    pub not_put_on_g: f64,
}

/// A dose that was agreed and is not, or not wholly, put on.
#[derive(Clone, Debug, PartialEq)]
pub struct OpenDose {
    /// "Borax".
    pub amendment: String,
    /// Still to put on, g of the product.
    pub left_g: f64,
}

/// All that bears on what to do next.
#[derive(Clone, Debug)]
pub struct Situation<'a> {
    pub ground: &'a Ground,
    pub standing: &'a Standing,
    /// The first day of the season, where one is on record.
    pub season_from: Option<Date>,
    /// What each nutrient asks for this season.
    pub needs: &'a [Need],
    /// The day that each reading used was sampled on.
    pub tested_on: BTreeMap<Analyte, Date>,
    pub last_sampled: Option<Date>,
    /// Soil was taken on this day and no sheet has come back for it.
    pub awaiting: Option<Date>,
    /// All that is known to have been put on.
    pub applications: &'a [Application],
    pub limed_on: Option<Date>,
    /// What grows there and comes next.
    pub crops: &'a [Crop],
    pub undone: BTreeMap<Element, Undone>,
    /// When that plan was agreed: a later test already sees what it left undone.
    pub agreed_on: Option<Date>,
    pub open_doses: &'a [OpenDose],
    /// How whoever asks likes to read levels and needs.
    pub liking: Liking,
    /// How needs are reckoned, so that levels per area are weighed alike.
    pub by: By,
    pub today: Date,
}

impl<'a> Situation<'a> {
    fn weighed(&self) -> Weighed<'a> {
        Weighed { ground: self.ground, by: self.by }
    }
}

/// An element put on since the last test.
#[derive(Clone, Debug, PartialEq)]
pub struct PutOn {
    pub element: Element,
    pub mass: Grams,
    pub rate: KgPerHa,
}

/// A cap of twelve months, and how much of it is used.
#[derive(Clone, Debug, PartialEq)]
pub struct CapLine {
    pub cap: SeasonCap,
    pub used: KgPerHa,
    /// Below zero when it is exceeded.
    pub left: KgPerHa,
    /// The same on the plot.
    pub left_on_plot: Grams,
    pub working: Working,
}

/// What kind of thing to do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Kind {
    /// Take soil.
    Test,
    /// Put on what was agreed.
    Finish,
    /// Bring the pH up, before feeding.
    Lime,
    /// Feed.
    Feed,
    /// Feed, but a cap holds it back.
    Capped,
    /// It may be short or not.
    Unsure,
    /// Give none.
    Hold,
}

/// One thing to do, as sentences.
#[derive(Clone, Debug, PartialEq)]
pub struct Step {
    pub kind: Kind,
    /// What it is about, so that a page can link to its working.
    pub analyte: Option<Analyte>,
    pub what: String,
    pub why: Vec<String>,
}

/// What to do next on a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct Outlook {
    /// The most pressing first.
    pub steps: Vec<Step>,
    /// How many results have no limits to be judged by, so that silence about them says nothing.
    pub unjudged: usize,
    pub put_on: Vec<PutOn>,
    /// Those that were drawn on, or that hold back something needed.
    pub caps: Vec<CapLine>,
    pub next_test: NextTest,
}

/// What to do next on a plot.
pub fn outlook(situation: &Situation<'_>) -> Outlook {
    let applied = already_applied(situation.applications, situation.ground.area, situation.today);
    let next_test = next_test(situation.last_sampled, situation.limed_on, situation.ground, situation.today);
    let caps: Vec<CapLine> = season_caps(situation.crops, situation.ground.texture)
        .into_iter()
        .filter(|cap| cap.in_force)
        .map(|cap| cap_line(cap, &applied, situation.ground))
        .collect();
    let mut ranked: Vec<(f64, Step)> = Vec::new();
    if next_test.due {
        let why = next_test.why.iter().map(|(words, _)| words.clone()).collect();
        ranked.push((0.0, step(Kind::Test, None, "Take a soil sample now.".into(), why)));
    }
    if let Some(taken) = situation.awaiting {
        let what = format!("The sheet for the soil taken on {} is awaited.", taken.strftime("%-d %b %Y"));
        ranked.push((0.5, step(Kind::Test, None, what, vec!["What is said here rests on earlier tests.".into()])));
    }
    if !situation.open_doses.is_empty() {
        let doses: Vec<String> =
            situation.open_doses.iter().map(|dose| format!("{} of {}", grams(dose.left_g), dose.amendment)).collect();
        let what = format!("Put on what was agreed and is still open: {}.", doses.join(", "));
        ranked.push((1.0, step(Kind::Finish, None, what, vec![])));
    }
    for nutrient in &situation.standing.nutrients {
        if let Some((rank, step)) = judge(situation, nutrient, &caps) {
            ranked.push((rank, step));
        }
    }
    ranked.sort_by(|a, b| a.0.total_cmp(&b.0));
    let needed: Vec<Element> = situation.needs.iter().filter(|n| n.kg_per_ha.0 > 0.0).map(|n| n.element).collect();
    let caps = caps.into_iter().filter(|line| {
        line.used.0 > 0.0 || matches!(line.cap.counted, Counted::Total(element) if needed.contains(&element))
    });
    let unjudged =
        |n: &&NutrientStanding| matches!(n.position, Position::NoCriterion(_)) && n.analyte.element().is_some();
    Outlook {
        unjudged: situation.standing.nutrients.iter().filter(unjudged).count(),
        steps: ranked.into_iter().map(|(_, step)| step).collect(),
        put_on: put_on(situation),
        caps: caps.collect(),
        next_test,
    }
}

fn step(kind: Kind, analyte: Option<Analyte>, what: String, why: Vec<String>) -> Step {
    Step { kind, analyte, what, why }
}

fn cap_line(cap: SeasonCap, applied: &Applied, ground: &Ground) -> CapLine {
    let (left, working) = applied.left(&cap);
    let left_on_plot = KgPerHa(left.0.max(0.0)).on(ground.area);
    CapLine { used: applied.of(cap.counted), left, left_on_plot, working, cap }
}

/// Every element put on after the last sampling, totals whether available or not.
fn put_on(situation: &Situation<'_>) -> Vec<PutOn> {
    let mut totals: BTreeMap<Element, f64> = BTreeMap::new();
    for application in need::since(situation.applications, situation.last_sampled, situation.today) {
        for element in application.content.keys() {
            *totals.entry(*element).or_default() += application.total(*element).0;
        }
    }
    let area = situation.ground.area;
    let line = |(element, g)| PutOn { element, mass: Grams(g), rate: Grams(g).per(area) };
    totals.into_iter().filter(|(_, g)| g.is_finite() && *g > 0.0).map(line).collect()
}
