//! What was put on over a season, in as few lines as paper holds: what went on alike, on one day,
//! by one person and for one reason, is one line. Where that is still too many, the days of a
//! product are drawn together, then the people; what is left out is counted, never dropped unsaid.

use super::year_summary::{PlotBrief, PutOn, Why};
use crate::{
    agronomy::quantity::{Grams, KgPerHa},
    ids::{AmendmentId, PlanId},
};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// What went on alike.
#[derive(Clone, Debug, PartialEq)]
pub struct RegisterLine {
    /// The first and the last day.
    pub days: (Date, Date),
    pub product: String,
    pub amendment: AmendmentId,
    pub total: Grams,
    /// The least and the most on any plot, of the product.
    pub rates: (KgPerHa, KgPerHa),
    /// Who put it on, as written, each once; empty where nobody is named.
    pub people: Vec<String>,
    /// Of one plan with all needs that it served, or in one person's words.
    pub why: Why,
    /// Each time: place of the plot in the list, and of what went on in the plot's own.
    pub each: Vec<(usize, usize)>,
}

/// The lines, the first day first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Register {
    pub lines: Vec<RegisterLine>,
    /// Lines that are left out, because they are too many; how many times something went on in them.
    pub more: (usize, usize),
}

/// What a line is known by: the more is left out, the fewer lines.
#[derive(PartialEq, Eq, PartialOrd, Ord)]
struct Key<'a> {
    day: Option<Date>,
    amendment: AmendmentId,
    person: Option<&'a str>,
    why: WhyKey<'a>,
}

#[derive(PartialEq, Eq, PartialOrd, Ord)]
enum WhyKey<'a> {
    Plan(PlanId),
    Said(&'a str),
    Unsaid,
}

impl<'a> Key<'a> {
    fn of(one: &'a PutOn, days: bool, people: bool) -> Key<'a> {
        Key {
            day: days.then_some(one.row.applied_on),
            amendment: one.row.amendment,
            person: people.then_some(one.row.person_name.as_str()),
            why: match &one.why {
                Why::Planned { plan, .. } => WhyKey::Plan(*plan),
                Why::Said(words) => WhyKey::Said(words),
                Why::Unsaid => WhyKey::Unsaid,
            },
        }
    }
}

impl RegisterLine {
    fn new(one: &PutOn) -> RegisterLine {
        RegisterLine {
            days: (one.row.applied_on, one.row.applied_on),
            product: one.row.amendment_name.clone(),
            amendment: one.row.amendment,
            total: Grams(0.0),
            rates: (one.rate, one.rate),
            people: vec![],
            why: one.why.clone(),
            each: vec![],
        }
    }

    fn add(&mut self, at: (usize, usize), one: &PutOn) {
        let on = one.row.applied_on;
        self.days = (self.days.0.min(on), self.days.1.max(on));
        self.total.0 += one.row.mass_g;
        self.rates = (KgPerHa(self.rates.0.0.min(one.rate.0)), KgPerHa(self.rates.1.0.max(one.rate.0)));
        let person = &one.row.person_name;
        if !person.is_empty() && !self.people.contains(person) {
            self.people.push(person.clone());
        }
        if let (Why::Planned { serves, .. }, Why::Planned { serves: more, .. }) = (&mut self.why, &one.why) {
            for need in more {
                if !serves.contains(need) {
                    serves.push(need.clone());
                }
            }
        }
        self.each.push(at);
    }

    /// The plots that got it, by their places in the list, each once and in its order.
    pub fn plots(&self) -> BTreeSet<usize> {
        self.each.iter().map(|(plot, _)| *plot).collect()
    }
}

/// The register of plots in at most so many lines.
pub fn register(plots: &[PlotBrief], most: usize) -> Register {
    let mut lines = Vec::new();
    for (days, people) in [(true, true), (false, true), (false, false)] {
        lines = drawn_together(plots, days, people);
        if lines.len() <= most {
            break;
        }
    }
    lines.sort_by(|a, b| (a.days, &a.product).cmp(&(b.days, &b.product)));
    let left_out = lines.split_off(lines.len().min(most));
    let times = left_out.iter().map(|line| line.each.len()).sum();
    Register { lines, more: (left_out.len(), times) }
}

fn drawn_together(plots: &[PlotBrief], days: bool, people: bool) -> Vec<RegisterLine> {
    let mut lines: BTreeMap<Key<'_>, RegisterLine> = BTreeMap::new();
    for (plot, brief) in plots.iter().enumerate() {
        for (at, one) in brief.put_on.iter().enumerate() {
            let line = lines.entry(Key::of(one, days, people)).or_insert_with(|| RegisterLine::new(one));
            line.add((plot, at), one);
        }
    }
    lines.into_values().collect()
}

/// Names in a list of all names, with runs of three and more that follow one another drawn
/// together: "O1–O8, KE2".
pub fn runs(all: &[&str], chosen: &BTreeSet<usize>) -> String {
    let letters = |at: usize| all[at].trim_end_matches(|c: char| c.is_ascii_digit());
    let mut said: Vec<String> = Vec::new();
    let mut chosen = chosen.iter().copied().filter(|at| *at < all.len()).peekable();
    while let Some(first) = chosen.next() {
        let mut last = first;
        while let Some(next) = chosen.next_if(|next| *next == last + 1 && letters(*next) == letters(first)) {
            last = next;
        }
        match last - first {
            0 => said.push(all[first].to_owned()),
            1 => said.extend([all[first].to_owned(), all[last].to_owned()]),
            _ => said.push(format!("{}–{}", all[first], all[last])),
        }
    }
    said.join(", ")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_are_drawn_together_within_their_letters() {
        let all = ["L1", "L2", "L3", "O1", "O2", "KE1"];
        let of = |chosen: &[usize]| runs(&all, &chosen.iter().copied().collect());
        assert_eq!(of(&[0, 1, 2, 3, 5]), "L1–L3, O1, KE1");
        assert_eq!(of(&[0, 1, 4]), "L1, L2, O2");
        assert_eq!(of(&[]), "");
    }
}
