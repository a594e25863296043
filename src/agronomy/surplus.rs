//! Phosphate that came beyond what harvests took, as a mean of years, beside the most that a
//! national rule lets. It caps nothing: where the rule holds, and in which version, is for the
//! grower to know.

use super::{
    balance::{Books, Net},
    element::{Element, Form},
    quantity::KgPerHa,
    source::{Evidence, Source},
    standing::num,
    working::{Figure, Origin, Working},
};
use jiff::{ToSpan, civil::Date};

/// The most phosphate a year beyond what is carried away, kg P₂O₅/ha, as a mean of
/// [`SURPLUS_YEARS`].
pub const PHOSPHATE_SURPLUS: KgPerHa = KgPerHa(10.0);

/// How many years are counted together.
pub const SURPLUS_YEARS: i16 = 6;

/// Who says so.
pub const SURPLUS_RULE: Source = Source {
    publisher: "Geries Ingenieure, on the German fertiliser ordinance",
    title: "Phosphate surplus of at most 10 kg P₂O₅/ha a year as a mean of six years (20 before); amended since 2018, from memory",
    year: 2018,
    address: "https://geries.de/2018/09/10/",
    evidence: Evidence::Read,
};

/// Phosphate of some years.
#[derive(Clone, Debug, PartialEq)]
pub struct PhosphateSurplus {
    /// How many years are on record, at most [`SURPLUS_YEARS`] and at least one.
    pub years: f64,
    /// What came less what went in a year, kg P₂O₅/ha; of the known parts.
    pub a_year: KgPerHa,
    /// More than [`PHOSPHATE_SURPLUS`].
    pub above: bool,
    pub words: String,
    pub working: Working,
}

/// Phosphate that came less what went, as a mean of the last six years up to and with today; of
/// fewer where the record is younger, and then of one at the least. `None` for an empty record.
pub fn phosphate_surplus(books: &Books, today: Date) -> Option<PhosphateSurplus> {
    let begins = books
        .inputs
        .iter()
        .map(|input| input.application.applied_on)
        .chain(books.harvests.iter().map(|harvest| harvest.harvested_on))
        .chain(books.seasons.iter().map(|season| season.starts_on))
        .filter(|day| *day <= today)
        .min()?;
    let ends = today.saturating_add(1.day());
    let six_ago = ends.saturating_sub(i64::from(SURPLUS_YEARS).years());
    let from = begins.max(six_ago);
    let days = f64::from((ends - from).get_days());
    let whole = from == six_ago;
    let years = if whole { f64::from(SURPLUS_YEARS) } else { (days / 365.25).max(1.0) };
    let line = books.between(Element::P, from, ends);
    let net = KgPerHa(line.net.of_known_parts().mid / Form::P2O5.to_element());
    let a_year = KgPerHa(net.0 / years);
    let above = a_year.0 > PHOSPHATE_SURPLUS.0 * (1.0 + 1e-9);
    let shown = |value: f64| num((value * 10.0).round() / 10.0);
    let known = match line.net {
        Net::Known(_) => "",
        Net::AtMost(_) => "at most ",
        Net::AtLeast(_) => "at least ",
        Net::Unknown(_) => "by what is known ",
    };
    let time = if whole { "the last six years".to_owned() } else { format!("the {} years on record", shown(years)) };
    let words = format!(
        "Over {time} {known}{} kg/ha a year more phosphate (P₂O₅) came than harvests took. German rules of 2018 let at most {} as a mean of six years; they were amended since, and are law there only.",
        shown(a_year.0),
        num(PHOSPHATE_SURPLUS.0)
    );
    let formula = format!("{} kg P₂O₅/ha ÷ {} years = {} kg/ha a year", shown(net.0), shown(years), shown(a_year.0));
    let rule = Working::leaf(
        "The most that is printed",
        Figure::new(PHOSPHATE_SURPLUS.0, "kg P₂O₅/ha a year", 0),
        Origin::Published,
    )
    .cite(SURPLUS_RULE);
    let figure = Figure::new(a_year.0, "kg P₂O₅/ha a year", 1);
    let working = Working::step("Phosphate beyond what went", figure, formula, [line.working, rule]);
    Some(PhosphateSurplus { years, a_year, above, words, working })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::{amendment::Kind, balance::Input, quantity::SquareMetres, record::Application};
    use jiff::civil::date;

    fn books(given: &[(Date, f64)]) -> Books {
        let input = |(on, p2o5): &(Date, f64)| Input {
            application: Application {
                key: 1,
                applied_on: *on,
                amendment: "Phosphate".into(),
                // 10 m²: 1 g is 1 kg/ha.
                mass_g: *p2o5,
                content: [(Element::P, Form::P2O5.to_element())].into(),
                availability: Default::default(),
                manure: false,
                organic: false,
            },
            kind: Kind::Salt,
        };
        Books { area: SquareMetres(10.0), inputs: given.iter().map(input).collect(), ..Books::default() }
    }

    #[test]
    fn six_years_are_a_mean_and_a_young_record_is_no_excuse() {
        let today = date(2026, 5, 1);
        let of = |given: &[(Date, f64)]| phosphate_surplus(&books(given), today).unwrap();
        let sixty = of(&[(date(2019, 1, 1), 500.0), (date(2021, 1, 1), 60.0)]);
        assert_eq!(sixty.years, 6.0);
        assert!((sixty.a_year.0 - 10.0).abs() < 1e-9 && !sixty.above, "{}", sixty.words);
        assert!(of(&[(date(2019, 1, 1), 500.0), (date(2021, 1, 1), 61.0)]).above);
        // Put on last month, one year counts.
        let young = of(&[(date(2026, 4, 1), 12.0)]);
        assert_eq!(young.years, 1.0);
        assert!(young.above && young.words.contains("12 kg/ha a year"), "{}", young.words);
        assert_eq!(phosphate_surplus(&Books::default(), today), None);
    }
}
