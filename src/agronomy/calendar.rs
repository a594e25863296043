//! The sampling calendar: when each plot is next to be sampled, gathered by month, and what
//! keeps the next test comparable with the last. When, [`super::outlook::next_test`] says.

use super::{outlook::NextTest, record::DepthBand};
use jiff::civil::Date;
use std::collections::BTreeSet;

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
