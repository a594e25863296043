//! When to test again, and why then: by ground and cover, in the month of the last test, and
//! after lime has worked.

use crate::agronomy::{
    ground::{Cover, Ground, Texture},
    source::{Citation, Evidence, Source},
};
use jiff::{ToSpan, civil::Date};

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
