//! What a crop asks for in nitrogen: as the grower states it, a published rate for the crop, or
//! what the whole crop takes up for the yield hoped for. A general rate before planting is
//! shown beside them and is never taken for what a crop takes.

use super::{Range, Term, TermKind, figure};
use crate::agronomy::{
    crop::{Crop, CropGroup},
    element::Element,
    offtake::{Part, rows_for},
    rate::RateUnit,
    reading::number,
    source::{Evidence, Source},
    working::{Figure, Origin, Working},
};

/// A published rate for crops, for the whole season, where no soil test tells more.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CropRate {
    /// Keys of the crops it is for; empty: any crop that is not a legume.
    pub crops: &'static [&'static str],
    pub low: f64,
    pub high: f64,
    pub unit: RateUnit,
    pub note: &'static str,
    pub source: Source,
}

const COLORADO: Source = Source {
    publisher: "Colorado State University Extension",
    title: "Vegetable gardening: nitrogen recommendations, no. 7.247 (Swift)",
    year: 2011,
    address: "http://www.ext.colostate.edu/pubs/garden/07247.html",
    evidence: Evidence::Read,
};

const FLORIDA: Source = Source {
    publisher: "University of Florida IFAS Extension",
    title: "CIR 1152, Standardized nutrient recommendations for vegetable crops: target N",
    year: 0,
    address: "https://edis.ifas.ufl.edu/CV002",
    evidence: Evidence::Memory,
};

const fn florida(lb: f64, crops: &'static [&'static str]) -> CropRate {
    CropRate {
        crops,
        low: lb,
        high: lb,
        unit: RateUnit::LbPerAcre,
        note: "Made for the sandy soils of Florida, which hold little nitrogen over.",
        source: FLORIDA,
    }
}

/// The rates known here. Those from memory are used only where a site switches them on.
pub const CROP_RATES: &[CropRate] = &[
    CropRate {
        crops: &[],
        low: 0.5,
        high: 0.5,
        unit: RateUnit::LbPer1000Ft2,
        note: "Before planting, where no soil test was made; more may follow while the crop grows.",
        source: COLORADO,
    },
    florida(
        200.0,
        &[
            "tomato",
            "sweet_pepper",
            "hot_pepper",
            "eggplant",
            "potato",
            "celery",
            "sweet_corn",
            "lettuce_butterhead",
            "lettuce_romaine",
            "lettuce_iceberg",
        ],
    ),
    florida(175.0, &["cabbage", "broccoli", "cauliflower", "brussels_sprouts", "collards", "carrot"]),
    florida(150.0, &["cucumber", "zucchini", "butternut", "pumpkin", "muskmelon", "watermelon", "onion", "strawberry"]),
    florida(120.0, &["kale", "turnip", "mustard_greens", "beetroot", "okra", "parsley"]),
    florida(100.0, &["snap_bean"]),
    florida(90.0, &["radish"]),
    florida(60.0, &["sweet_potato"]),
];

/// What the grower says the crop needs, with the reason; below zero counts as none.
pub fn stated_demand(low_kg_per_ha: f64, high_kg_per_ha: f64, why: &str) -> Term {
    let range = Range::between(low_kg_per_ha.max(0.0), high_kg_per_ha.max(0.0));
    let working = Working::leaf("Nitrogen for the crop, as stated", figure(range), Origin::Chosen).note(why);
    Term::new(TermKind::Demand, "What the crop takes", range, working)
}

/// Nitrogen that the whole crop takes up for so many tonnes of yield on a hectare, by the
/// tables that count the whole crop; the range spans them. The sentence says why there is none.
pub fn uptake_demand(crop: &Crop, tonnes_per_ha: f64) -> Result<Term, String> {
    if crop.group == CropGroup::Legume {
        return Err("Peas and beans feed themselves from the air; nitrogen can lower their yield.".into());
    }
    let rows: Vec<_> = rows_for(crop)
        .into_iter()
        .filter(|row| row.part == Part::Whole && !row.doubted.contains(&Element::N))
        .filter_map(|row| Some((row, *row.kg_per_t.get(&Element::N)?)))
        .collect();
    let low = rows.iter().map(|(_, span)| span.low).reduce(f64::min);
    let high = rows.iter().map(|(_, span)| span.high).reduce(f64::max);
    let (Some(low), Some(high)) = (low, high) else {
        return Err(format!("No table read here counts the whole crop of {}; type what it takes.", crop.in_sentence()));
    };
    let range = Range::between(low * tonnes_per_ha, high * tonnes_per_ha);
    let leaves = rows.iter().map(|(row, span)| {
        let figure = Figure::new(span.mid, "kg/t", 2);
        Working::leaf(row.stated.clone(), figure, Origin::Published).cite(row.source.clone())
    });
    let hoped = Working::leaf("Yield hoped for", Figure::significant(tonnes_per_ha, "t/ha", 3), Origin::Chosen);
    let formula = format!(
        "{} to {} kg/t × {} t/ha = {}",
        number((low * 100.0).round() / 100.0),
        number((high * 100.0).round() / 100.0),
        number(tonnes_per_ha),
        range.words()
    );
    let title = format!("Nitrogen that {} takes up", crop.in_sentence());
    let working = Working::step(title, figure(range), formula, leaves.chain([hoped]))
        .note("Leaves and stalks are in it; what they hold comes back when they are worked in.");
    Ok(Term::new(TermKind::Demand, "What the crop takes", range, working))
}

/// Whether a rate is one for the crop itself rather than for any crop of a garden.
pub fn is_for_crop(crop: &Crop, with_memory: bool) -> bool {
    let usable = |rate: &&CropRate| with_memory || rate.source.evidence != Evidence::Memory;
    CROP_RATES.iter().filter(usable).any(|rate| rate.crops.contains(&crop.slug))
}

/// A published rate for a crop: one for the crop itself where it may be used, otherwise the general one.
pub fn crop_demand(crop: &Crop, with_memory: bool) -> Result<Term, String> {
    let usable = |rate: &&CropRate| with_memory || rate.source.evidence != Evidence::Memory;
    let own = CROP_RATES.iter().filter(usable).find(|rate| rate.crops.contains(&crop.slug));
    let general = || CROP_RATES.iter().filter(usable).find(|rate| rate.crops.is_empty());
    let rate = match own {
        Some(rate) => rate,
        None if crop.group == CropGroup::Legume => {
            return Err("Peas and beans feed themselves from the air; nitrogen can lower their yield.".into());
        }
        None if matches!(crop.group, CropGroup::Cereal | CropGroup::Grass) => {
            return Err(format!(
                "The general rate is for vegetable gardens; none was read for {}.",
                crop.in_sentence()
            ));
        }
        None => general().ok_or_else(|| format!("No published rate of nitrogen is known for {}.", crop.name))?,
    };
    let range = Range::between(rate.unit.read(rate.low).0, rate.unit.read(rate.high).0);
    let printed = if rate.low == rate.high {
        format!("{} {}", number(rate.low), rate.unit.label())
    } else {
        format!("{} to {} {}", number(rate.low), number(rate.high), rate.unit.label())
    };
    let leaf = Working::leaf(
        format!("Published rate: {printed}"),
        Figure::new(rate.high, rate.unit.label(), if rate.high < 10.0 { 1 } else { 0 }),
        Origin::Published,
    )
    .cite(rate.source);
    let mut working = Working::step(
        format!("Nitrogen for {}", crop.name),
        figure(range),
        format!("{printed} = {}", range.words()),
        [leaf],
    )
    .cite(rate.source)
    .note(rate.note);
    if rate.crops.is_empty() {
        working = working
            .note(format!("A general rate for gardens; none that may be used names {}.", crop.name.to_lowercase()));
    }
    Ok(Term::new(TermKind::Demand, "What the crop takes", range, working))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_hundred_tonnes_of_tomatoes_take_up_what_south_africa_prints() {
        // HortScience South Africa, nutrient uptake of vegetable crops: 2.5 kg N for a tonne of
        // determinate tomatoes, 250 kg for 100 t/ha; Hegde 1997: 2.5 to 3 for a tonne of fruit.
        let tomato = Crop::find("tomato").expect("a crop");
        let term = uptake_demand(&tomato, 100.0).expect("tables");
        assert!(term.range.low.0 <= 250.0 + 1e-9 && term.range.high.0 >= 250.0 - 1e-9, "{:?}", term.range);
        assert!(term.working.is_grounded());
        assert!(uptake_demand(&Crop::find("pea").expect("a crop"), 5.0).is_err());
        assert!(uptake_demand(&Crop::find("parsley").expect("a crop"), 5.0).is_err_and(|why| why.contains("type")));
        assert!(!is_for_crop(&tomato, false) && is_for_crop(&tomato, true), "Florida's rates are from memory");
    }
}
