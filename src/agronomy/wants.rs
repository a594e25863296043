//! What a grower wants of a season plan beside what the tests ask: a product kept off or used
//! somewhere, only what stands on a list, one recipe for a block. Says what follows for each plot,
//! in words too; wants that contradict each other never fail: keeping off comes first.

use super::plan::Key;
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// Where something is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Place {
    /// On every plot of the plan.
    Everywhere,
    /// On the plots of a block, by the caller's key.
    Block(Key),
    Plot(Key),
}

/// What is wanted of a product.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum What {
    KeepOff,
    /// Used, at least so many g/m²; without a figure, enough to weigh well.
    Use(Option<f64>),
}

/// One thing that a grower wants.
#[derive(Clone, Debug, PartialEq)]
pub struct Want {
    pub product: Key,
    pub place: Place,
    pub what: What,
    /// In the grower's words; may be empty.
    pub reason: String,
}

/// How a product stands on a list of what an organic scheme lets its members use. The certifier
/// decides; the record only says what a list said on a day.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Listed {
    Listed,
    /// Listed under conditions.
    Conditions,
    NotListed,
}

/// What a list said of a product.
#[derive(Clone, Debug, PartialEq)]
pub struct Listing {
    pub listed: Listed,
    /// The conditions as printed; may be empty.
    pub conditions: String,
    /// Who or what says so: the list itself, a letter, a label.
    pub source: String,
    pub on: Date,
}

impl Listing {
    /// "listed on EU 2021/1165 (certifier’s letter, 3 Mar 2026)".
    pub fn words(&self, list: &str) -> String {
        let standing = match self.listed {
            Listed::Listed => "listed",
            Listed::Conditions => "listed under conditions",
            Listed::NotListed => "not listed",
        };
        let on = self.on.strftime("%-d %b %Y");
        let mut words = format!("{standing} on {list} ({}, {on})", self.source);
        if !self.conditions.is_empty() {
            words += &format!(": {}", self.conditions);
        }
        words
    }

    /// Whether the list holds it, be it under conditions.
    pub fn holds(&self) -> bool {
        self.listed != Listed::NotListed
    }
}

/// What the wants come to on one plot.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Here {
    pub kept_off: BTreeSet<Key>,
    pub used_g_per_m2: BTreeMap<Key, Option<f64>>,
}

/// What the wants come to on a plot of a block.
pub fn here(wants: &[Want], plot: Key, block: Option<Key>) -> Here {
    let mut here = Here::default();
    let meant = |place: Place| match place {
        Place::Everywhere => true,
        Place::Block(key) => block == Some(key),
        Place::Plot(key) => key == plot,
    };
    for want in wants.iter().filter(|want| meant(want.place)) {
        match want.what {
            What::KeepOff => _ = here.kept_off.insert(want.product),
            What::Use(least) => {
                // Of two leasts the larger satisfies both.
                let held = here.used_g_per_m2.entry(want.product).or_insert(least);
                *held = match (*held, least) {
                    (Some(a), Some(b)) => Some(a.max(b)),
                    (a, b) => a.or(b),
                };
            }
        }
    }
    here
}

/// A want as a sentence. The names are the caller's.
pub fn words(want: &Want, product: &str, place: &str) -> String {
    let mut words = match want.what {
        What::KeepOff => format!("{product} is kept off {place}, as you asked"),
        What::Use(Some(least)) => format!("{product} must be used on {place}, at least {least} g/m², as you asked"),
        What::Use(None) => format!("{product} must be used on {place}, as you asked"),
    };
    match want.reason.trim() {
        "" => words.push('.'),
        reason => words += &format!(": {}.", reason.trim_end_matches('.')),
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    fn want(place: Place, what: What) -> Want {
        Want { product: 7, place, what, reason: String::new() }
    }

    #[test]
    fn wants_reach_the_plots_they_name_and_the_larger_least_holds() {
        let wants = [
            want(Place::Everywhere, What::Use(None)),
            want(Place::Block(3), What::Use(Some(10.0))),
            want(Place::Plot(1), What::Use(Some(4.0))),
            want(Place::Plot(2), What::KeepOff),
        ];
        assert_eq!(here(&wants, 1, Some(3)).used_g_per_m2[&7], Some(10.0));
        assert_eq!(here(&wants, 1, None).used_g_per_m2[&7], Some(4.0));
        assert_eq!(here(&wants, 9, None), Here { used_g_per_m2: BTreeMap::from([(7, None)]), ..Here::default() });
        assert!(here(&wants, 2, None).kept_off.contains(&7));
    }

    #[test]
    fn a_listing_says_who_and_when_and_never_that_it_is_allowed() {
        let on = jiff::civil::date(2026, 3, 3);
        let listing = Listing {
            listed: Listed::Conditions,
            conditions: "shortage shown by a test".into(),
            source: "certifier’s letter".into(),
            on,
        };
        let words = listing.words("EU 2021/1165");
        assert_eq!(
            words,
            "listed under conditions on EU 2021/1165 (certifier’s letter, 3 Mar 2026): shortage shown by a test"
        );
        assert!(!words.contains("allowed"));
    }
}
