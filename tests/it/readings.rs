//! From printed cell to reading, choice and questions: properties, and cases from print.

use glebe::{
    agronomy::record::Qualifier,
    exchange::number::{Limits, parse_date, parse_printed, parse_quantity},
};
use jiff::civil::date;
use proptest::prelude::*;

proptest! {
    #[test]
    fn no_text_makes_the_parsers_panic(text in "\\PC{0,40}") {
        let _ = parse_printed(&text);
        let _ = parse_quantity(&text, &Limits::AREA_M2);
        let _ = parse_date(&text, date(2026, 3, 9));
    }

    #[test]
    fn no_nearly_numeric_text_makes_the_parsers_panic(text in "[<>≤0-9.,eE+\\-−\u{2009}\u{a0}' *HLNDnd/%]{0,14}") {
        if let Ok(cell) = parse_printed(&text)
            && let Some(printed) = cell.printed()
        {
            prop_assert_eq!(&printed.text, &text);
            prop_assert_eq!(printed.value.is_none(), printed.qualifier == Qualifier::NotDetected);
            prop_assert!(printed.value.is_none_or(|v| v.is_finite() && v >= 0.0));
        }
        let _ = parse_date(&text, date(2026, 3, 9));
    }

    #[test]
    fn what_is_printed_reads_back(whole in 0_u32..2_000_000, part in 0_u32..10_000, decimals in 0_usize..=4, sign in 0..3) {
        let number: f64 = format!("{whole}.{part:04}").parse().unwrap();
        let written = format!("{number:.decimals$}");
        let (mark, qualifier) = [("", Qualifier::Exact), ("<", Qualifier::Below), (">", Qualifier::Above)][sign as usize];
        let expected: f64 = written.parse().unwrap();
        prop_assume!(expected > 0.0);
        let printed = parse_printed(&format!("{mark}{written}")).unwrap().printed().unwrap();
        prop_assert_eq!(printed.value, Some(expected));
        prop_assert_eq!(usize::from(printed.decimals), decimals);
        prop_assert_eq!(printed.qualifier, qualifier);
        // The same number with a decimal comma is the same number, or a question; never another one.
        match parse_printed(&format!("{mark}{}", written.replace('.', ","))) {
            Ok(cell) => prop_assert_eq!(cell.printed().unwrap().value, Some(expected)),
            Err(problem) => prop_assert_eq!(decimals, 3, "{}", problem),
        }
    }
}
