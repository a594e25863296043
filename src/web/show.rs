//! How figures, dates, masses and money are written on a page: words and digits only.
//! Nothing here computes a measurement; it must never show a number finer than it was given.

use crate::agronomy::{
    quantity::KgPerHa,
    rate::RateUnit,
    source::{Citation, Evidence},
    working::Figure,
};
use jiff::{Timestamp, civil::Date};

/// Digits grouped by commas from four figures left of the point: "12,500", "1,250.5".
pub fn number(value: f64, decimals: usize) -> String {
    if !value.is_finite() {
        return "–".into();
    }
    let plain = format!("{:.decimals$}", value.abs());
    let (whole, fraction) = plain.split_once('.').unwrap_or((&plain, ""));
    let mut grouped = String::new();
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    let nothing = plain.chars().all(|c| matches!(c, '0' | '.'));
    let minus = if value < 0.0 && !nothing { "−" } else { "" };
    let point = if fraction.is_empty() { "" } else { "." };
    format!("{minus}{grouped}{point}{fraction}")
}

/// A number for other programs: no grouping, and decimals as printed.
pub fn plain(value: f64, decimals: u8) -> String {
    format!("{value:.*}", usize::from(decimals))
}

/// About `digits` significant digits, trailing noughts after the point dropped, never powers of ten.
pub fn significant(value: f64, digits: u8) -> String {
    let whole = if value == 0.0 || !value.is_finite() { 0 } else { value.abs().log10().floor() as i32 };
    let decimals = (i32::from(digits) - 1 - whole).clamp(0, 6) as usize;
    trimmed(number(value, decimals))
}

fn trimmed(text: String) -> String {
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

/// A figure of a working or a result, with its sign and unit, digits grouped: "2,500,000 kg/ha".
pub fn figure(figure: &Figure) -> String {
    let digits = number(figure.value, usize::from(figure.decimals));
    let unit = if figure.unit.is_empty() { String::new() } else { format!("\u{a0}{}", figure.unit) };
    format!("{}{digits}{unit}", figure.sign)
}

/// A mass to be weighed, from grams: "12.5 kg", "1.25 kg", "340 g", "3.4 g", "0.84 g".
pub fn mass(grams: f64) -> String {
    let size = grams.abs();
    match size {
        _ if !size.is_finite() => "–".into(),
        0.0 => "0\u{a0}g".into(),
        _ if size < 0.01 => format!("{}\u{a0}mg", trimmed(number(grams * 1000.0, 1))),
        _ if size < 1.0 => format!("{}\u{a0}g", trimmed(number(grams, 2))),
        _ if size < 9.95 => format!("{}\u{a0}g", trimmed(number(grams, 1))),
        _ if size < 999.5 => format!("{}\u{a0}g", number(grams, 0)),
        _ if size < 99_950.0 => {
            format!("{}\u{a0}kg", trimmed(number(grams / 1000.0, if size < 9_995.0 { 2 } else { 1 })))
        }
        _ if size < 9_999_500.0 => format!("{}\u{a0}kg", number(grams / 1000.0, 0)),
        _ => format!("{}\u{a0}t", trimmed(number(grams / 1e6, 1))),
    }
}

/// A mass of an element, from grams: two significant digits below 10 g, for there the
/// thousandths matter: "0.43 g", "12 g".
pub fn element_mass(grams: f64) -> String {
    if grams > 0.0 && grams < 9.95 { format!("{}\u{a0}g", significant(grams, 2)) } else { mass(grams) }
}

/// A mass as the scale is to show it, digits by the scale's step: "1,254 g", "3.5 g"; from
/// 10 kg in kilograms. What is less than one step is written as finely as it was planned.
pub fn weighed(grams: f64, step_g: f64) -> String {
    if grams > 0.0 && grams < step_g {
        return format!("{}\u{a0}g", significant(grams, 2));
    }
    let decimals = (0..3).find(|d| (step_g * 10f64.powi(*d)).fract().abs() < 1e-9).unwrap_or(3) as usize;
    if grams < 10_000.0 {
        format!("{}\u{a0}g", trimmed(number(grams, decimals)))
    } else {
        format!("{}\u{a0}kg", trimmed(number(grams / 1000.0, 2)))
    }
}

/// A rate of an element: two significant digits below 10, for a trace element is a matter of hundredths.
pub fn element_rate(kg_per_ha: f64) -> String {
    if kg_per_ha.abs() < 9.95 { format!("{}\u{a0}kg/ha", significant(kg_per_ha, 2)) } else { rate(kg_per_ha) }
}

/// The same in the figure's own unit: two significant digits below 10, else whole numbers.
pub fn element_figure(figure: &Figure) -> String {
    let value = figure.value;
    let digits = if value.abs() < 9.95 { significant(value, 2) } else { number(value, 0) };
    format!("{digits}\u{a0}{}", figure.unit)
}

/// A rate of an element in the unit that a site speaks of, by its key: "g_per_m2", "kg_per_ha", "lb_per_acre".
pub fn rate_in(rate: KgPerHa, unit: &str) -> String {
    let unit: RateUnit = unit.parse().unwrap_or(RateUnit::KgPerHa);
    let shown = unit.show(rate);
    let digits = significant(shown, if shown.abs() < 9.95 { 2 } else { 3 });
    format!("{digits}\u{a0}{}", unit.label())
}

/// A rate or a mass as a figure of its own unit: two significant digits below 10, else three.
pub fn rate_figure(figure: &Figure) -> String {
    let digits = significant(figure.value, if figure.value.abs() < 9.95 { 2 } else { 3 });
    format!("{}{digits}\u{a0}{}", figure.sign, figure.unit)
}

/// An area, from square metres: "30 m²", "7.5 m²", "1.25 ha".
pub fn area(m2: f64) -> String {
    if m2 < 9_999.5 {
        format!("{}\u{a0}m²", trimmed(number(m2, if m2 < 100.0 { 1 } else { 0 })))
    } else {
        format!("{}\u{a0}ha", trimmed(number(m2 / 10_000.0, 2)))
    }
}

/// A rate on a field's scale: "45 kg/ha", "1.2 kg/ha".
pub fn rate(kg_per_ha: f64) -> String {
    format!("{}\u{a0}kg/ha", trimmed(number(kg_per_ha, if kg_per_ha.abs() < 10.0 { 1 } else { 0 })))
}

/// A day: "5 Mar 2026".
pub fn date(day: Date) -> String {
    day.strftime("%-d\u{a0}%b\u{a0}%Y").to_string()
}

/// A moment, in universal time: "5 Mar 2026, 14:05 UTC".
pub fn moment(at: Timestamp) -> String {
    at.strftime("%-d\u{a0}%b\u{a0}%Y, %H:%M\u{a0}UTC").to_string()
}

/// Digits after the point of a currency.
fn minor_digits(currency: &str) -> i32 {
    match currency {
        "JPY" | "KRW" | "CLP" | "ISK" | "VND" => 0,
        _ => 2,
    }
}

/// Money on the scale of a chart, from minor units.
pub fn major(minor: f64, currency: &str) -> f64 {
    minor / 10f64.powi(minor_digits(currency))
}

/// Money, from minor units and an ISO 4217 code: "£12.50", "1,200 JPY".
pub fn money(minor: i64, currency: &str) -> String {
    let decimals = minor_digits(currency);
    let amount = number(minor as f64 / 10f64.powi(decimals), decimals as usize);
    let (minus, amount) = amount.strip_prefix('−').map_or(("", amount.as_str()), |rest| ("−", rest));
    match currency {
        "GBP" => format!("{minus}£{amount}"),
        "EUR" => format!("{minus}€{amount}"),
        "USD" | "AUD" | "CAD" | "NZD" => format!("{minus}${amount}"),
        code => format!("{minus}{amount}\u{a0}{code}"),
    }
}

/// A share as whole per cent: "87 %"; never rounded up to all or down to none.
pub fn percent(share: f64) -> String {
    match share {
        s if s > 0.0 && s < 0.005 => "under 1\u{a0}%".into(),
        s if s > 0.995 && s < 1.0 => "over 99\u{a0}%".into(),
        s => format!("{}\u{a0}%", number(s * 100.0, 0)),
    }
}

/// "1 plot", "2 plots": a count with its noun, which takes an s.
pub fn count(n: usize, noun: &str) -> String {
    format!("{}\u{a0}{noun}{}", number(n as f64, 0), if n == 1 { "" } else { "s" })
}

/// A name inside a sentence: "Phosphorus as P₂O₅" as "phosphorus as P₂O₅".
pub fn uncapitalised(name: &str) -> String {
    let mut chars = name.chars();
    chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
}

/// The mark that a figure carries when we did not read its source ourselves.
pub fn evidence_mark(evidence: Evidence) -> Option<&'static str> {
    (evidence != Evidence::Read).then(|| evidence.words())
}

/// The place to read a citation, when its address is one that a browser may open.
pub fn address(citation: &Citation) -> Option<&str> {
    Some(citation.address.as_str()).filter(|a| a.starts_with("https://") || a.starts_with("http://"))
}

/// The same words as filters: `{{ grams|mass }}`, `{{ day|date }}`. A page's module says
/// `use crate::web::show::filters;` when its template uses one.
pub mod filters {
    use askama::{Result, Values};
    use jiff::{Timestamp, civil::Date};

    /// See [`super::figure`].
    #[askama::filter_fn]
    pub fn figure(figure: &crate::agronomy::working::Figure, _: &dyn Values) -> Result<String> {
        Ok(super::figure(figure))
    }

    /// See [`super::mass`].
    #[askama::filter_fn]
    pub fn mass(grams: &f64, _: &dyn Values) -> Result<String> {
        Ok(super::mass(*grams))
    }

    /// See [`super::area`].
    #[askama::filter_fn]
    pub fn area(m2: &f64, _: &dyn Values) -> Result<String> {
        Ok(super::area(*m2))
    }

    /// See [`super::rate`].
    #[askama::filter_fn]
    pub fn rate(kg_per_ha: &f64, _: &dyn Values) -> Result<String> {
        Ok(super::rate(*kg_per_ha))
    }

    /// See [`super::date`].
    #[askama::filter_fn]
    pub fn date(day: &Date, _: &dyn Values) -> Result<String> {
        Ok(super::date(*day))
    }

    /// See [`super::moment`].
    #[askama::filter_fn]
    pub fn moment(at: &Timestamp, _: &dyn Values) -> Result<String> {
        Ok(super::moment(*at))
    }

    /// See [`super::significant`].
    #[askama::filter_fn]
    pub fn sig(value: &f64, _: &dyn Values, digits: u8) -> Result<String> {
        Ok(super::significant(*value, digits))
    }

    /// See [`super::count`].
    #[askama::filter_fn]
    pub fn counted(n: &usize, _: &dyn Values, noun: &str) -> Result<String> {
        Ok(super::count(*n, noun))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn masses_read_as_a_scale_shows_them() {
        for (grams, text) in [
            (0.0, "0 g"),
            (0.84, "0.84 g"),
            (0.0042, "4.2 mg"),
            (3.44, "3.4 g"),
            (9.96, "10 g"),
            (340.2, "340 g"),
            (999.6, "1 kg"),
            (1250.0, "1.25 kg"),
            (12_540.0, "12.5 kg"),
            (125_400.0, "125 kg"),
            (25_000_000.0, "25 t"),
            (f64::NAN, "–"),
        ] {
            assert_eq!(mass(grams).replace('\u{a0}', " "), text);
        }
    }

    #[test]
    fn small_masses_and_rates_keep_their_digits() {
        let plain = |text: String| text.replace('\u{a0}', " ");
        assert_eq!(plain(element_mass(0.4321)), "0.43 g");
        assert_eq!(plain(element_mass(12.4)), "12 g");
        for (unit, text) in [("kg_per_ha", "0.48 kg/ha"), ("g_per_m2", "0.048 g/m²"), ("", "0.48 kg/ha")] {
            assert_eq!(plain(rate_in(KgPerHa(0.48), unit)), text);
        }
        assert_eq!(plain(rate_in(KgPerHa(224.17), "lb_per_acre")), "200 lb/acre");
        for (grams, step, text) in
            [(1254.0, 1.0, "1,254 g"), (3.5, 0.5, "3.5 g"), (0.31, 1.0, "0.31 g"), (12_340.0, 5.0, "12.34 kg")]
        {
            assert_eq!(plain(weighed(grams, step)), text);
        }
    }

    #[test]
    fn numbers_are_grouped_and_never_minus_nothing() {
        assert_eq!(number(1234567.891, 1), "1,234,567.9");
        assert_eq!(number(999.0, 0), "999");
        assert_eq!(number(-0.004, 2), "0.00");
        assert_eq!(number(-1200.0, 0), "−1,200");
        assert_eq!(significant(0.01234, 2), "0.012");
        assert_eq!(significant(2500.0, 2), "2,500");
    }

    #[test]
    fn money_and_days() {
        assert_eq!(money(1250, "GBP"), "£12.50");
        assert_eq!(money(-5, "EUR"), "−€0.05");
        assert_eq!(money(1200, "JPY"), "1,200\u{a0}JPY");
        assert_eq!(date(jiff::civil::date(2026, 3, 5)).replace('\u{a0}', " "), "5 Mar 2026");
        assert_eq!(count(1, "plot").replace('\u{a0}', " "), "1 plot");
    }
}
