//! The sampling calendar: when each plot is next to be sampled, gathered by month, and what
//! keeps the next test comparable with the last; and how often publishers ask for a test, beside
//! it. When, [`super::outlook::next_test`] says.

use super::{
    element::Element,
    ground::Texture,
    outlook::NextTest,
    record::{Application, DepthBand},
    source::Citation,
};
use jiff::{ToSpan, civil::Date};
use serde::Deserialize;
use std::{collections::BTreeSet, sync::LazyLock};

/// How often one publisher, or one rule, asks for a test.
#[derive(Clone, Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Interval {
    /// Key in examples.
    pub key: String,
    /// What it is said of.
    pub of: String,
    /// From the first year on, at the latest in the second.
    pub years: (i16, i16),
    /// Soils that it is said of; empty: any.
    #[serde(default)]
    pub textures: Vec<Texture>,
    /// A rule or law somewhere, not advice.
    #[serde(default)]
    pub rule: bool,
    /// Said only of ground that was given this element since its last test.
    pub after: Option<Element>,
    pub source: Citation,
}

impl Interval {
    /// "every 2 to 3 years", "every 4 years".
    pub fn words(&self) -> String {
        match self.years {
            (from, to) if from == to => format!("every {to} years"),
            (from, to) => format!("every {from} to {to} years"),
        }
    }

    /// Whether it speaks of ground of a texture, last sampled on a day, that was given this.
    pub fn is_said_of(&self, texture: Texture, last: Option<Date>, applications: &[Application]) -> bool {
        let given = |element| {
            applications.iter().any(|a| last.is_none_or(|last| a.applied_on >= last) && a.total(element).0 > 0.0)
        };
        (self.textures.is_empty() || self.textures.contains(&texture)) && self.after.is_none_or(given)
    }

    /// Whether ground last sampled on a day (`None`: never) has gone longer than it asks.
    pub fn is_past(&self, last: Option<Date>, today: Date) -> bool {
        last.is_none_or(|last| last.saturating_add(i64::from(self.years.1).years()) < today)
    }
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    interval: Vec<Interval>,
}

static INTERVALS: LazyLock<File> = LazyLock::new(|| {
    toml::from_str(include_str!("calendar/intervals.toml")).expect("the embedded intervals are checked by a test")
});

/// How often publishers ask for a test, in the order of the file.
pub fn intervals() -> &'static [Interval] {
    &INTERVALS.interval
}

/// The last time soil was taken on a plot.
#[derive(Clone, Debug, PartialEq)]
pub struct Taken {
    pub on: Date,
    pub depth: Option<DepthBand>,
    /// Who printed the sheets; empty while none has come.
    pub labs: BTreeSet<String>,
}

/// One plot to be sampled.
#[derive(Clone, Debug, PartialEq)]
pub struct Visit {
    /// The caller's key of the plot.
    pub plot: i64,
    pub next: NextTest,
    pub last: Option<Taken>,
    /// How to take it so that it compares with the last.
    pub alike: Vec<String>,
}

/// The visits of one month.
#[derive(Clone, Debug, PartialEq)]
pub struct Month {
    pub year: i16,
    /// 1 to 12.
    pub month: i8,
    /// By day, then in the order given.
    pub visits: Vec<Visit>,
}

/// When to sample what.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Calendar {
    /// Due today or before, the longest overdue first.
    pub now: Vec<Visit>,
    /// Soil was taken and no sheet has come back: nothing to take.
    pub at_the_lab: Vec<Visit>,
    pub months: Vec<Month>,
}

/// How to take the next sample so that it compares: same laboratory and depth; `taken` oldest first.
pub fn alike(taken: &[Taken]) -> Vec<String> {
    let reported: Vec<&Taken> = taken.iter().filter(|one| !one.labs.is_empty()).collect();
    let Some(last) = reported.last() else { return vec![] };
    let names = |labs: &BTreeSet<String>| labs.iter().cloned().collect::<Vec<_>>().join(" and ");
    let depth = last.depth.map_or_else(String::new, |depth| format!(", {depth}"));
    let mut said = vec![format!("As last time: {}{depth}.", names(&last.labs))];
    let before = reported.len().checked_sub(2).map(|at| reported[at]);
    if let Some(before) = before.filter(|before| before.labs.is_disjoint(&last.labs)) {
        said.push(format!(
            "The sheets before came from {}. Stay with one: another laboratory adds its own error, or its own method.",
            names(&before.labs)
        ));
    }
    if let Some(before) = before.filter(|before| before.depth != last.depth) {
        let words =
            |depth: Option<DepthBand>| depth.map_or_else(|| "a depth not written down".into(), |d| d.to_string());
        said.push(format!(
            "It was {} before and {} last time: only the same depth compares.",
            words(before.depth),
            words(last.depth)
        ));
    }
    said
}

/// Lays visits out by month. `awaited` says of which plots soil lies at the laboratory.
pub fn calendar(visits: Vec<Visit>, awaited: &BTreeSet<i64>) -> Calendar {
    let mut calendar = Calendar::default();
    let mut ahead = Vec::new();
    for visit in visits {
        match visit {
            visit if awaited.contains(&visit.plot) => calendar.at_the_lab.push(visit),
            visit if visit.next.due => calendar.now.push(visit),
            visit => ahead.push(visit),
        }
    }
    calendar.now.sort_by_key(|visit| visit.next.due_on);
    ahead.sort_by_key(|visit| visit.next.due_on);
    for visit in ahead {
        let (year, month) = (visit.next.due_on.year(), visit.next.due_on.month());
        match calendar.months.last_mut().filter(|last| (last.year, last.month) == (year, month)) {
            Some(last) => last.visits.push(visit),
            None => calendar.months.push(Month { year, month, visits: vec![visit] }),
        }
    }
    calendar
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::quantity::Centimetres;
    use jiff::civil::date;

    fn visit(plot: i64, due_on: Date, due: bool) -> Visit {
        Visit { plot, next: NextTest { due_on, due, why: vec![] }, last: None, alike: vec![] }
    }

    #[test]
    fn each_plot_stands_once_in_its_month() {
        let visits = vec![
            visit(1, date(2027, 10, 9), false),
            visit(2, date(2026, 3, 1), true),
            visit(3, date(2027, 10, 2), false),
            visit(4, date(2025, 3, 1), true),
            visit(5, date(2028, 10, 2), false),
        ];
        let calendar = calendar(visits, &BTreeSet::from([2]));
        let plots = |visits: &[Visit]| visits.iter().map(|v| v.plot).collect::<Vec<_>>();
        assert_eq!((plots(&calendar.now), plots(&calendar.at_the_lab)), (vec![4], vec![2]));
        let months: Vec<_> = calendar.months.iter().map(|m| (m.year, m.month, plots(&m.visits))).collect();
        assert_eq!(months, [(2027, 10, vec![3, 1]), (2028, 10, vec![5])]);
    }

    #[test]
    fn an_interval_ends_on_its_last_day_and_each_has_a_source() {
        for interval in intervals() {
            assert!(0 < interval.years.0 && interval.years.0 <= interval.years.1, "{}", interval.key);
            assert!(!interval.of.is_empty() && !interval.source.title.is_empty(), "{}", interval.key);
        }
        let five = intervals().iter().find(|interval| interval.key == "nrcs_590").unwrap();
        let last = Some(date(2021, 3, 10));
        assert!(!five.is_past(last, date(2026, 3, 10)) && five.is_past(last, date(2026, 3, 11)));
        assert!(five.is_past(None, date(2026, 3, 10)) && five.rule);
        let sandy = intervals().iter().find(|interval| interval.key == "virginia_sandy").unwrap();
        assert!(sandy.is_said_of(Texture::SandyLoam, None, &[]) && !sandy.is_said_of(Texture::Clay, None, &[]));
        let boron = intervals().iter().find(|interval| interval.key == "tennessee_boron").unwrap();
        let borax = Application {
            key: 1,
            applied_on: date(2024, 4, 1),
            amendment: "Borax".into(),
            mass_g: 10.0,
            content: [(Element::B, 0.11)].into(),
            availability: Default::default(),
            manure: false,
            organic: false,
        };
        let said = |last| boron.is_said_of(Texture::Loam, Some(last), std::slice::from_ref(&borax));
        assert!(said(date(2023, 3, 1)) && !said(date(2024, 10, 1)), "a later test has seen it");
        assert_eq!((sandy.words(), five.words()), ("every 2 to 3 years".into(), "every 5 years".into()));
    }

    #[test]
    fn a_change_of_laboratory_or_depth_is_said() {
        let taken = |year: i16, lab: &str, bottom: f64| Taken {
            on: date(year, 10, 1),
            depth: Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(bottom) }),
            labs: BTreeSet::from([lab.to_owned()]),
        };
        assert_eq!(alike(&[taken(2024, "North", 15.0), taken(2025, "North", 15.0)]).len(), 1);
        let said = alike(&[taken(2024, "South", 20.0), taken(2025, "North", 15.0)]);
        assert!(
            said[0].contains("North") && said[1].contains("South") && said[2].contains("only the same depth"),
            "{said:?}"
        );
        assert!(alike(&[]).is_empty());
    }
}
