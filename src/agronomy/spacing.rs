//! Days between lime or ash and what they drive ammonia out of: manure, slurry, urea, ammonium
//! fertiliser. Looks at what a plan puts on one plot and at what went on before; says what to
//! wait for, and never moves or changes a dose.

use super::{
    amendment::Amendment,
    caution::Caution,
    source::{Evidence, Source},
};
use jiff::{ToSpan, civil::Date};

/// Which side of the rule a product is on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Side {
    /// Lime or ash.
    Lime,
    /// Manure, slurry, urea or ammonium.
    Ammonium,
}

/// Lime follows manure, slurry and urea after so many days: the longer of 7 to 10.
pub const LIME_AFTER_DAYS: i64 = 10;
/// They follow lime after so many months.
pub const AMMONIUM_AFTER_MONTHS: i64 = 3;

/// Who says so.
pub const SPACING: Source = Source {
    publisher: "Agriland, quoting Teagasc",
    title: "Lime 7 to 10 days after slurry or urea; if lime goes first, wait three months",
    year: 0,
    address: "https://www.agriland.ie",
    evidence: Evidence::Quoted,
};

/// The side of a product; `None` for one that the rule says nothing of.
pub fn side(amendment: &Amendment) -> Option<Side> {
    let named = amendment.cautions.contains(&Caution::LimeAmmonium);
    named.then_some(if amendment.raises_ph() { Side::Lime } else { Side::Ammonium })
}

/// What goes on, or went on, one plot.
#[derive(Clone, Debug, PartialEq)]
pub struct Spread {
    pub what: String,
    pub side: Side,
    pub on: Date,
}

/// What the spacing asks of a plan's products and of what is agreed already and still to be put
/// on, as sentences: nobody knows yet on which day that goes on, so what is to come first is said.
pub fn beside_agreed(planned: &[(String, Side)], agreed: &[(String, Side)]) -> Vec<String> {
    let names = |of: &[(String, Side)], side: Side| -> String {
        let of = of.iter().filter(|(_, other)| *other == side).map(|(name, _)| name.as_str());
        of.collect::<Vec<_>>().join(", ")
    };
    let ask = |(side, other): (Side, Side)| {
        let (here, there) = (names(planned, side), names(agreed, other));
        let ammonium = if side == Side::Ammonium { &here } else { &there };
        (!here.is_empty() && !there.is_empty()).then(|| {
            format!(
                "{there} is agreed in another plan and still to be put on: it and {here} do not go on together. Put \
                 {ammonium} on first and lime {LIME_AFTER_DAYS} days later, or lime and wait {AMMONIUM_AFTER_MONTHS} \
                 months."
            )
        })
    };
    [(Side::Ammonium, Side::Lime), (Side::Lime, Side::Ammonium)].into_iter().filter_map(ask).collect()
}

/// What the spacing asks of a plan's products on one plot, as sentences: among themselves, and
/// after what went on before `on`.
pub fn spacing(planned: &[(String, Side)], before: &[Spread], on: Date) -> Vec<String> {
    let names = |side: Side| -> Vec<&str> {
        planned.iter().filter(|(_, other)| *other == side).map(|(name, _)| name.as_str()).collect()
    };
    let (lime, ammonium) = (names(Side::Lime), names(Side::Ammonium));
    let mut said = Vec::new();
    if !lime.is_empty() && !ammonium.is_empty() {
        said.push(format!(
            "{} and {} do not go on together: put {} on first and lime {LIME_AFTER_DAYS} days later, or lime and wait \
             {AMMONIUM_AFTER_MONTHS} months.",
            lime.join(", "),
            ammonium.join(", "),
            ammonium.join(", ")
        ));
    }
    for earlier in before.iter().filter(|earlier| earlier.on <= on) {
        let (late, until) = match earlier.side {
            Side::Lime => (&ammonium, earlier.on.saturating_add(AMMONIUM_AFTER_MONTHS.months())),
            Side::Ammonium => (&lime, earlier.on.saturating_add(LIME_AFTER_DAYS.days())),
        };
        if !late.is_empty() && on < until {
            said.push(format!(
                "{} went on on {}: wait with {} until {}.",
                earlier.what,
                earlier.on.strftime("%-d %b %Y"),
                late.join(", "),
                until.strftime("%-d %b %Y")
            ));
        }
    }
    said
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date;

    #[test]
    fn what_is_agreed_and_not_put_on_yet_is_kept_apart_too() {
        let lime = || vec![("Ground limestone".to_owned(), Side::Lime)];
        let manure = || vec![("Cattle manure".to_owned(), Side::Ammonium)];
        let said = beside_agreed(&manure(), &lime());
        assert_eq!(said.len(), 1);
        assert!(said[0].starts_with("Ground limestone is agreed in another plan"), "{said:?}");
        assert!(said[0].contains("Put Cattle manure on first and lime 10 days later"), "{said:?}");
        assert!(beside_agreed(&lime(), &manure())[0].contains("Put Cattle manure on first"));
        assert!(beside_agreed(&lime(), &lime()).is_empty() && beside_agreed(&manure(), &[]).is_empty());
    }

    #[test]
    fn manure_waits_three_months_for_lime_and_lime_ten_days_for_manure() {
        let lime = || vec![("Ground limestone".to_owned(), Side::Lime)];
        let manure = || vec![("Cattle manure".to_owned(), Side::Ammonium)];
        let spread = |what: &str, side, on| vec![Spread { what: what.into(), side, on }];
        let limed = spread("Ground limestone", Side::Lime, date(2026, 1, 15));
        assert!(spacing(&manure(), &limed, date(2026, 4, 14))[0].contains("until 15 Apr 2026"));
        assert!(spacing(&manure(), &limed, date(2026, 4, 15)).is_empty());
        let manured = spread("Cattle manure", Side::Ammonium, date(2026, 3, 1));
        assert!(spacing(&lime(), &manured, date(2026, 3, 10))[0].contains("until 11 Mar 2026"));
        assert!(spacing(&lime(), &manured, date(2026, 3, 11)).is_empty());
        assert_eq!(spacing(&[lime(), manure()].concat(), &[], date(2026, 3, 11)).len(), 1);
        assert!(spacing(&lime(), &limed, date(2026, 1, 16)).is_empty());
    }
}
