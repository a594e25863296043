//! What a plot asks for next: from its last tests, what was put on since, what the caps of
//! twelve months still allow and what the last agreed plan left undone, in ranked plain
//! sentences; and when to test again. It adds no need of its own: a need that a plan left
//! undone is part of what the test still shows, and is never counted twice.

mod words;

use super::{
    analyte::Analyte,
    cap::{Applied, Counted, SeasonCap, already_applied, season_caps},
    crop::Crop,
    element::Element,
    ground::{Cover, Ground, Texture},
    guideline::Position,
    liking::{LevelUnit, Liking, Weighed},
    need::{self, By, ENOUGH, Need, Reason},
    quantity::{Grams, KgPerHa},
    rate::RateUnit,
    record::Application,
    source::{Citation, Evidence, Source},
    standing::{NutrientStanding, Standing},
    working::{Figure, Working},
};
use jiff::{ToSpan, civil::Date};
use std::collections::BTreeMap;
use words::{found_words, grams, in_sentence, standing_words};

/// How often ground in the open is tested, by its texture.
pub const TEST_INTERVALS: Source = Source {
    publisher: "Virginia Cooperative Extension (as reproduced)",
    title: "Soil sampling: sandy soils every two to three years, silt or clay loams every four",
    year: 0,
    address: "https://verydays.com/articles_mt4dga.html",
    evidence: Evidence::Quoted,
};

/// How often garden media are tested.
pub const GARDEN_INTERVAL: Source = Source {
    publisher: "Daily Press, citing university extension services",
    title: "Gardening Q&A: test your garden soil every 2 to 3 years",
    year: 2023,
    address: "https://www.dailypress.com/life/home-garden/vp-hl-ask-ken-spencer-030423-20230304-k2fjolm7pnfi7egnloedfmo5py-story.html",
    evidence: Evidence::Quoted,
};

/// Why covered ground is tested often.
pub const SALTS_UNDER_COVER: Source = Source {
    publisher: "Penn State Extension",
    title: "High Tunnel Soil Test Report: Soluble Salts Levels (salts gather under cover; test them periodically)",
    year: 0,
    address: "https://extension.psu.edu/high-tunnel-soil-test-report-soluble-salts-levels",
    evidence: Evidence::Read,
};

/// How often covered ground is tested.
pub const YEARLY_UNDER_COVER: Source = Source {
    publisher: "",
    title: "Once a year under cover",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// Why a test is taken in the same month as the last.
pub const SAME_SEASON: Source = Source {
    publisher: "Oregon State University Extension",
    title: "Soil sampling: same time of year, same laboratory and extractant, same depth",
    year: 0,
    address: "",
    evidence: Evidence::Quoted,
};

/// How long lime works before a test tells its effect.
pub const WAIT_AFTER_LIME: Source = Source {
    publisher: "No publication at hand",
    title: "Sample about six months after liming at the earliest",
    year: 0,
    address: "",
    evidence: Evidence::Memory,
};

/// Months that lime is left to work before the next test ([`WAIT_AFTER_LIME`]).
const LIME_MONTHS: i32 = 6;

/// When to test again, and why then.
#[derive(Clone, Debug, PartialEq)]
pub struct NextTest {
    pub due_on: Date,
    /// The day has come.
    pub due: bool,
    /// Each reason, with who says so.
    pub why: Vec<(String, Option<Citation>)>,
}

/// When to test ground again that was last sampled on a day (`None`: never) and limed on another.
pub fn next_test(last: Option<Date>, limed_on: Option<Date>, ground: &Ground, today: Date) -> NextTest {
    use Texture::{LoamySand, Organic, Sand, SandyLoam};
    let Some(last) = last else {
        let why = vec![("It was never tested, so everything else is a guess.".into(), None)];
        return NextTest { due_on: today, due: true, why };
    };
    let mut why: Vec<(String, Option<Citation>)> = Vec::new();
    let years = match (ground.cover, ground.texture) {
        (Cover::Tunnel | Cover::Glasshouse, _) => {
            why.push((
                "Under cover no rain washes salts down, so they are watched closely.".into(),
                Some(SALTS_UNDER_COVER.into()),
            ));
            why.push(("Once a year is usual there.".into(), Some(YEARLY_UNDER_COVER.into())));
            1
        }
        (Cover::Open, Sand | LoamySand) => {
            let words = "Sandy soil changes fast: every two to three years, and this is the lightest, so two.";
            why.push((words.into(), Some(TEST_INTERVALS.into())));
            2
        }
        (Cover::Open, SandyLoam) => {
            why.push(("Sandy soil changes fast: every two to three years.".into(), Some(TEST_INTERVALS.into())));
            3
        }
        (Cover::Open, Organic) => {
            why.push(("Beds of compost or peat: every two to three years.".into(), Some(GARDEN_INTERVAL.into())));
            2
        }
        (Cover::Open, _) => {
            why.push(("Loam and clay change slowly: every four years will do.".into(), Some(TEST_INTERVALS.into())));
            4
        }
    };
    why.push(("Take it in the same month as the last, so that the two compare.".into(), Some(SAME_SEASON.into())));
    let mut due_on = last.saturating_add(years.years());
    if let Some(limed_on) = limed_on.filter(|day| *day > last) {
        let worked = limed_on.saturating_add(LIME_MONTHS.months());
        if worked > due_on {
            due_on = worked;
            why.push((
                format!("Lime went on on {limed_on}; it is left to work for {LIME_MONTHS} months first."),
                Some(WAIT_AFTER_LIME.into()),
            ));
        }
    }
    NextTest { due_on, due: due_on <= today, why }
}

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

/// What one nutrient asks for: its rank among the steps and the step, or nothing.
fn judge(situation: &Situation<'_>, nutrient: &NutrientStanding, caps: &[CapLine]) -> Option<(f64, Step)> {
    let name = nutrient.analyte.name();
    let chance = nutrient.likelihood.as_ref().map(|likelihood| likelihood.p_short);
    match &nutrient.position {
        Position::Excess => {
            let what = format!("Give no {}: there is too much already.", in_sentence(nutrient.analyte));
            let why = vec![found_words(situation, nutrient)];
            Some((40.0, step(Kind::Hold, Some(nutrient.analyte), what, why)))
        }
        Position::NotKnown(why) => {
            let what = format!("{name}: the test does not say whether it is short.");
            Some((31.0, step(Kind::Unsure, Some(nutrient.analyte), what, vec![why.clone()])))
        }
        Position::Short if nutrient.analyte == Analyte::Ph => {
            let mut why = standing_words(situation, nutrient);
            why.push("The rate comes from the lab’s buffer test; pH alone gives none.".into());
            Some((2.0, step(Kind::Lime, Some(nutrient.analyte), "Lime comes first: the soil is sour.".into(), why)))
        }
        Position::Short => feed(situation, nutrient, caps, chance.unwrap_or(1.0)),
        Position::AtAim | Position::Above if wants_a_rate(situation, nutrient) => feed(situation, nutrient, caps, 1.0),
        Position::NoCriterion(why) if is_fed(nutrient.analyte) => {
            let found = situation.liking.found(nutrient.into(), situation.weighed()).figure;
            let what = format!("{name}: {found} found, and no limits to judge it by.");
            Some((33.0, step(Kind::Unsure, Some(nutrient.analyte), what, vec![why.clone()])))
        }
        _ => None,
    }
}

/// The season's crop is given a published rate, even where the level is enough.
fn wants_a_rate(situation: &Situation<'_>, nutrient: &NutrientStanding) -> bool {
    let of = |need: &&Need| Some(need.element) == nutrient.analyte.element();
    situation.needs.iter().find(of).is_some_and(|need| need.reason == Reason::CropRate && need.kg_per_ha.0 > 0.0)
}

/// What growers give on the evidence of a test: silence about it would be taken for "enough".
fn is_fed(analyte: Analyte) -> bool {
    use Element::{B, Cu, Fe, K, Mg, Mn, P, Zn};
    matches!(analyte, Analyte::Element(P | K | Mg | B | Cu | Fe | Mn | Zn))
}

/// A shortage: how much, how sure, what went on since, what a cap holds back, what was left undone.
fn feed(situation: &Situation<'_>, nutrient: &NutrientStanding, caps: &[CapLine], chance: f64) -> Option<(f64, Step)> {
    let element = nutrient.analyte.element()?;
    let name = nutrient.analyte.name();
    let area = situation.ground.area;
    let need = situation.needs.iter().find(|n| n.element == element)?;
    if need.kg_per_ha.0 <= 0.0 {
        // Short, and yet nothing is planned: the need says why.
        let why = need.notes.first()?.clone();
        let what = format!("{name}: short, and nothing to put on the soil for it.");
        return Some((
            32.0,
            step(Kind::Hold, Some(nutrient.analyte), what, vec![found_words(situation, nutrient), why]),
        ));
    }
    let need_g = need.kg_per_ha.on(area).0;
    let tested_on = situation.tested_on.get(&nutrient.analyte).copied().or(situation.last_sampled);
    let counted_from = situation.season_from.map_or(tested_on, |from| need.counted_from(tested_on, from));
    let since = need::since(situation.applications, counted_from, situation.today);
    let since_g = need::brought(since, element, area).map_or(0.0, |(rate, _)| rate.on(area).0);
    let left_g = (need_g - since_g).max(0.0);
    let mut why = standing_words(situation, nutrient);
    let (weight, form) = situation.liking.weighed(element);
    let weighed = |g: f64| grams(g * weight);
    if since_g > 0.0 {
        why.push(format!(
            "Since that test {} of it that a crop can use went on, against {} needed then.",
            weighed(since_g),
            weighed(need_g)
        ));
    }
    let newer = tested_on.zip(situation.agreed_on).is_some_and(|(tested, agreed)| tested > agreed);
    if let Some(undone) = situation.undone.get(&element).filter(|_| !newer) {
        if undone.left_out_g > 0.0 {
            why.push(format!("The last agreed plan left {} of it out.", weighed(undone.left_out_g)));
        }
        if undone.not_put_on_g > 0.0 {
            why.push(format!("Doses agreed and not put on hold {} of it.", weighed(undone.not_put_on_g)));
        }
        if undone.left_out_g > 0.0 || undone.not_put_on_g > 0.0 {
            why.push("That is part of this need, not on top of it.".into());
        }
    }
    // Shorter and surer comes first; every shortage stands between liming (2) and doubts (30).
    let rank = 23.0 - 20.0 * nutrient.shortage_weight();
    if left_g <= need_g * ENOUGH {
        let what = format!("{name}: enough went on since the test. The next test will show it.");
        return Some((35.0, step(Kind::Hold, Some(nutrient.analyte), what, why)));
    }
    let held_g = situation.undone.get(&element).map_or(0.0, |undone| undone.not_put_on_g);
    if !newer && !situation.open_doses.is_empty() && held_g >= left_g * 0.95 {
        let what = format!("{name}: the doses still to be put on bring the rest.");
        return Some((rank, step(Kind::Finish, Some(nutrient.analyte), what, why)));
    }
    if chance <= 0.75 {
        let what = format!("{name}: may be short or not. At most {} on this plot; a retest helps.", weighed(left_g));
        return Some((rank + 7.0, step(Kind::Unsure, Some(nutrient.analyte), what, why)));
    }
    let rate = match situation.liking.unit {
        // Grams on the plot are said already.
        LevelUnit::GramsOnPlot => Liking { unit: LevelUnit::KgPerHa, ..situation.liking },
        _ => situation.liking,
    };
    let rate = rate.need_conversion(element, area, RateUnit::KgPerHa);
    let rate = Figure::significant(rate.there(Grams(left_g).per(area).0), rate.unit, 2);
    let at_least = if need.at_least { "at least " } else { "" };
    let cap = caps.iter().find(|line| line.cap.counted == Counted::Total(element));
    match cap.filter(|line| line.left_on_plot.0 < left_g) {
        Some(line) => {
            why.push(format!(
                "{}; {} of it is used in the last twelve months.",
                situation.liking.cap_label(&line.cap, RateUnit::KgPerHa),
                situation.liking.cap_amount(&line.cap, line.used, RateUnit::KgPerHa)
            ));
            let now = match line.left_on_plot.0 {
                g if g > 0.0 => format!("give {} now", weighed(g)),
                _ => "give none now".into(),
            };
            let of_form = if weight == 1.0 { String::new() } else { format!(" of {form}") };
            let what =
                format!("{name}: short by {at_least}{}{of_form}, but a cap holds it back: {now}.", weighed(left_g));
            Some((rank, step(Kind::Capped, Some(nutrient.analyte), what, why)))
        }
        None => {
            let what = format!("{name}: give {at_least}{} of {form} on this plot ({rate}).", weighed(left_g));
            Some((rank, step(Kind::Feed, Some(nutrient.analyte), what, why)))
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::{
        guideline::{self, Guideline, LandUse},
        method::Method,
        need::{Way, needs},
        quantity::{Centimetres, SquareMetres},
        record::{Basis, CellKey, Determination, PrintedValue, Qualifier, Report, Sampling, Unit},
        survey::{Present, Survey},
    };
    use jiff::civil::date;

    fn ground(cover: Cover, texture: Texture) -> Ground {
        Ground { area: SquareMetres(20.0), cover, texture, bulk_density: None, depth: Centimetres(20.0), stones: 0.0 }
    }

    #[test]
    fn intervals_are_those_printed_and_keep_the_month() {
        // Virginia Cooperative Extension: sandy two to three years, silt or clay loams four.
        let last = date(2022, 10, 5);
        for (cover, texture, due) in [
            (Cover::Open, Texture::Sand, date(2024, 10, 5)),
            (Cover::Open, Texture::SandyLoam, date(2025, 10, 5)),
            (Cover::Open, Texture::ClayLoam, date(2026, 10, 5)),
            (Cover::Tunnel, Texture::ClayLoam, date(2023, 10, 5)),
        ] {
            let next = next_test(Some(last), None, &ground(cover, texture), date(2025, 1, 1));
            assert_eq!((next.due_on, next.due), (due, due <= date(2025, 1, 1)), "{cover:?} {texture:?}");
            assert!(next.why.iter().any(|(_, source)| source.is_some()));
        }
        assert!(next_test(None, None, &ground(Cover::Open, Texture::Loam), last).due);
    }

    #[test]
    fn lime_is_left_to_work_before_the_next_test() {
        let tunnel = ground(Cover::Tunnel, Texture::Loam);
        let limed = Some(date(2023, 8, 1));
        let next = next_test(Some(date(2022, 10, 5)), limed, &tunnel, date(2023, 10, 6));
        assert_eq!((next.due_on, next.due), (date(2024, 2, 1), false));
        let before = next_test(Some(date(2022, 10, 5)), Some(date(2022, 9, 1)), &tunnel, date(2023, 10, 6));
        assert_eq!(before.due_on, date(2023, 10, 5));
    }

    fn present(ground: &Ground, cells: &[(&str, f64)]) -> Present {
        present_under(guideline::find("delaware_mehlich3").unwrap(), ground, cells)
    }

    fn present_under(guideline: &Guideline, ground: &Ground, cells: &[(&str, f64)]) -> Present {
        let determination = |(i, (analyte, value)): (usize, &(&str, f64))| Determination {
            key: CellKey(i as i64),
            analyte: analyte.parse().unwrap(),
            method: if *analyte == "ph" { Method::PhWater1to1 } else { Method::Mehlich3Icp },
            printed: PrintedValue {
                text: value.to_string(),
                qualifier: Qualifier::Exact,
                value: Some(*value),
                decimals: 1,
            },
            unit: if *analyte == "ph" { Unit::Ph } else { Unit::MgPerKg },
            form: None,
            basis: Basis::Mass,
            layer: None,
        };
        let determinations = cells.iter().enumerate().map(determination).collect();
        let sampling = Sampling {
            key: 1,
            sampled_on: date(2024, 10, 5),
            date_assumed: false,
            depth: None,
            cores: None,
            fizz: None,
            reports: vec![Report { key: 1, lab: "a lab".into(), determinations }],
        };
        Survey::read([sampling]).present(ground, guideline, LandUse::default(), &[], date(2025, 3, 1))
    }

    fn application(key: i64, on: Date, mass_g: f64, content: &[(Element, f64)]) -> Application {
        Application {
            key,
            applied_on: on,
            amendment: "Something".into(),
            mass_g,
            content: content.iter().copied().collect(),
            availability: BTreeMap::new(),
            manure: false,
            organic: false,
        }
    }

    fn ask(
        ground: &Ground,
        present: &Present,
        applications: &[Application],
        undone: BTreeMap<Element, Undone>,
        open_doses: &[OpenDose],
    ) -> Outlook {
        let needs = needs(&present.standing, ground, None, &Way::default(), &[]);
        outlook(&Situation {
            ground,
            season_from: None,
            standing: &present.standing,
            needs: &needs,
            tested_on: present.choices.iter().map(|(a, c)| (*a, c.chosen.sampled_on)).collect(),
            last_sampled: Some(date(2024, 10, 5)),
            awaiting: None,
            applications,
            limed_on: None,
            crops: &[],
            undone,
            agreed_on: Some(date(2025, 2, 1)),
            open_doses,
            liking: Liking::default(),
            by: By::OwnLayer,
            today: date(2025, 3, 1),
        })
    }

    fn about<'a>(outlook: &'a Outlook, analyte: &str) -> Option<&'a Step> {
        outlook.steps.iter().find(|step| step.analyte == Some(analyte.parse().unwrap()))
    }

    #[test]
    fn the_shortest_and_surest_comes_first_and_nothing_is_said_of_what_is_enough() {
        let ground = ground(Cover::Open, Texture::Loam);
        let present = present(&ground, &[("P", 10.0), ("K", 60.0), ("Mg", 1000.0)]);
        let outlook = ask(&ground, &present, &[], BTreeMap::new(), &[]);
        assert_eq!(outlook.steps[0].analyte, Some(Analyte::Element(Element::P)), "{:#?}", outlook.steps);
        assert_eq!(outlook.steps[1].analyte, Some(Analyte::Element(Element::K)));
        assert!(outlook.steps[..2].iter().all(|step| step.kind == Kind::Feed));
        assert!(about(&outlook, "Mg").is_none_or(|step| step.kind == Kind::Hold));
    }

    #[test]
    fn what_went_on_since_the_test_counts_and_what_went_on_before_does_not() {
        let ground = ground(Cover::Open, Texture::Loam);
        let present = present(&ground, &[("P", 10.0)]);
        let needed = needs(&present.standing, &ground, None, &Way::default(), &[])[0].kg_per_ha.on(ground.area).0;
        let before = [application(1, date(2024, 10, 4), 10.0 * needed, &[(Element::P, 0.5)])];
        let outlook = ask(&ground, &present, &before, BTreeMap::new(), &[]);
        assert_eq!((about(&outlook, "P").unwrap().kind, outlook.put_on.len()), (Kind::Feed, 0));
        let since = [application(1, date(2024, 11, 1), 2.0 * needed, &[(Element::P, 0.5)])];
        let outlook = ask(&ground, &present, &since, BTreeMap::new(), &[]);
        assert_eq!(about(&outlook, "P").unwrap().kind, Kind::Hold);
        assert!((outlook.put_on[0].mass.0 - needed).abs() < 1e-9);
        let tomorrow = [application(1, date(2025, 3, 2), 2.0 * needed, &[(Element::P, 0.5)])];
        assert_eq!(about(&ask(&ground, &present, &tomorrow, BTreeMap::new(), &[]), "P").unwrap().kind, Kind::Feed);
    }

    #[test]
    fn only_what_counts_in_the_first_season_is_taken_off_the_need() {
        // 5 % first-year availability, as compost of low nitrogen is often reckoned at: by hand, need ÷ 0.05 ÷ 0.5.
        let ground = ground(Cover::Open, Texture::Loam);
        let present = present(&ground, &[("P", 10.0)]);
        let needed = needs(&present.standing, &ground, None, &Way::default(), &[])[0].kg_per_ha.on(ground.area).0;
        let slow = |mass_g| {
            let all = application(1, date(2024, 11, 1), mass_g, &[(Element::P, 0.5)]);
            [Application { availability: BTreeMap::from([(Element::P, 0.05)]), ..all }]
        };
        let kind =
            |put_on: &[Application]| about(&ask(&ground, &present, put_on, BTreeMap::new(), &[]), "P").unwrap().kind;
        assert_eq!(kind(&slow(2.0 * needed)), Kind::Feed);
        assert_eq!(kind(&slow(40.0 * needed)), Kind::Hold);
    }

    #[test]
    fn a_cap_used_up_holds_the_need_back_and_the_remainder_is_named() {
        let ground = ground(Cover::Open, Texture::Loam);
        let present = present_under(guideline::find("rutgers_mehlich3").unwrap(), &ground, &[("Zn", 0.2)]);
        // North Carolina: 6 lb/acre of zinc broadcast, 6.7 kg/ha, is 13.4 g on 20 m².
        let used = [application(1, date(2024, 6, 1), 100.0, &[(Element::Zn, 0.12)])];
        let outlook = ask(&ground, &present, &used, BTreeMap::new(), &[]);
        let line = outlook.caps.iter().find(|line| line.cap.counted == Counted::Total(Element::Zn)).unwrap();
        assert!((line.used.0 - 6.0).abs() < 1e-9 && (line.left_on_plot.0 - 1.45).abs() < 0.01, "{line:?}");
        let step = about(&outlook, "Zn").unwrap();
        assert_eq!(step.kind, Kind::Capped, "{step:?}");
    }

    #[test]
    fn what_the_plan_left_undone_is_said_and_not_added() {
        let ground = ground(Cover::Open, Texture::Loam);
        let present = present(&ground, &[("P", 10.0)]);
        let undone = BTreeMap::from([(Element::P, Undone { left_out_g: 30.0, not_put_on_g: 12.0 })]);
        let open = [OpenDose { amendment: "Rock phosphate".into(), left_g: 400.0 }];
        let with = ask(&ground, &present, &[], undone, &open);
        let without = ask(&ground, &present, &[], BTreeMap::new(), &[]);
        assert_eq!(with.steps[0].kind, Kind::Finish);
        let (with, without) = (about(&with, "P").unwrap(), about(&without, "P").unwrap());
        assert_eq!(with.what, without.what);
        assert!(with.why.len() == without.why.len() + 3 && with.why.iter().any(|w| w.contains("30\u{a0}g")));
    }

    #[test]
    fn what_open_doses_hold_is_not_asked_for_again() {
        let ground = ground(Cover::Open, Texture::Loam);
        let present = present(&ground, &[("P", 10.0)]);
        let needed = needs(&present.standing, &ground, None, &Way::default(), &[])[0].kg_per_ha.on(ground.area).0;
        let undone = |g: f64| BTreeMap::from([(Element::P, Undone { left_out_g: 0.0, not_put_on_g: g })]);
        let open = [OpenDose { amendment: "Rock phosphate".into(), left_g: 400.0 }];
        let kind = |outlook: Outlook| about(&outlook, "P").unwrap().kind;
        assert_eq!(kind(ask(&ground, &present, &[], undone(needed), &open)), Kind::Finish);
        assert_eq!(kind(ask(&ground, &present, &[], undone(needed / 2.0), &open)), Kind::Feed);
        // Without an open plan nobody will put them on: the need stands.
        assert_eq!(kind(ask(&ground, &present, &[], undone(needed), &[])), Kind::Feed);
    }

    #[test]
    fn sour_soil_is_limed_before_it_is_fed() {
        let ground = ground(Cover::Open, Texture::Loam);
        let own = r#"
            slug = "own"
            title = "Our own"
            publisher = "the grower"
            year = 2025
            address = ""
            scope = "this test"
            [[table]]
            title = "pH"
            source = { publisher = "the grower", title = "our own limits", year = 2025, address = "", evidence = "common_practice" }
            methods = ["ph_water_1_1"]
            unit = "pH"
            decimals = 1
            [[table.row]]
            analyte = "ph"
            critical = 6.0
            [[table]]
            title = "Phosphorus"
            source = { publisher = "the grower", title = "our own limits", year = 2025, address = "", evidence = "common_practice" }
            methods = ["mehlich3_icp"]
            unit = "mg/kg"
            decimals = 0
            [[table.row]]
            analyte = "P"
            critical = 50
        "#;
        let present = present_under(&Guideline::parse(own).unwrap(), &ground, &[("P", 10.0), ("ph", 4.8)]);
        let outlook = ask(&ground, &present, &[], BTreeMap::new(), &[]);
        assert_eq!(outlook.steps.iter().map(|step| step.kind).collect::<Vec<_>>(), [Kind::Lime, Kind::Feed]);
    }
}
