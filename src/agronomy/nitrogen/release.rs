//! Nitrogen that organic things give: soil organic matter, manure, compost, cover crops.
//! Shares of ORGANIC nitrogen and shares of TOTAL nitrogen are different types and cannot be
//! exchanged; a decay series takes shares of what was given at first, not of what is left; no
//! rule is carried beyond the range it was printed for.

use super::{Range, Term, TermKind, figure, ready::next_crop_words};
use crate::agronomy::{
    analyte::Analyte,
    ground::{Ground, Texture},
    need::soil_working,
    quantity::KgPerHa,
    rate::RateUnit,
    reading::{Level, Reading, number},
    record::keyed,
    source::{Citation, Evidence, Source},
    working::{Figure, Origin, Working},
};
use std::str::FromStr;

/// The most organic matter that is credited, %: soils of market gardens hold more, and flat rules break there.
pub const OM_CAP_PERCENT: f64 = 3.0;

const CAP: Source = Source {
    publisher: "University of Nebraska–Lincoln",
    title: "Nitrogen for corn: organic matter is credited up to 3 %",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

const RELEASE: Source = Source {
    publisher: "Hartz et al.",
    title: "Nitrogen mineralisation in 30 vegetable soils: 1 to 2 % of the organic nitrogen (abstract)",
    year: 2000,
    address: "",
    evidence: Evidence::Read,
};

const STOCK: Source = Source {
    publisher: "Mississippi State University Extension; International Plant Nutrition Institute",
    title: "1 % of organic matter in 2,000,000 lb of soil holds 750 to 1,000 lb of nitrogen",
    year: 0,
    address: "",
    evidence: Evidence::Quoted,
};

const CARBON_TO_MATTER: Source = Source {
    publisher: "",
    title: "Organic matter is 1.724 times organic carbon (van Bemmelen)",
    year: 0,
    address: "",
    evidence: Evidence::CommonPractice,
};

/// Nitrogen in organic matter, %: 750 and 1,000 lb in the 20,000 lb that 1 % of 2,000,000 lb is.
const NITROGEN_IN_MATTER_PERCENT: (f64, f64) = (3.75, 5.0);

/// What a season releases of organic matter, %, in so much soil, kg/ha.
fn released(soil: f64, matter_percent: f64) -> Range {
    let stock = |nitrogen: f64| soil * matter_percent / 100.0 * nitrogen / 100.0;
    Range::between(stock(NITROGEN_IN_MATTER_PERCENT.0) * 0.01, stock(NITROGEN_IN_MATTER_PERCENT.1) * 0.02)
}

const UNTESTED: Source = Source {
    publisher: "University of Nebraska–Lincoln",
    title: "Nitrogen for corn: where organic matter was not tested, 1 % is taken on coarse soils and 2 % on others",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// The organic matter, %, that one publisher takes where none was tested, what a season would
/// release of it here, and both as a sentence; `None` on peat and compost beds, for which it was
/// not made. Shown, and never counted: nobody measured it.
pub fn untested_matter(ground: &Ground) -> Option<(f64, Range, String)> {
    let percent = match ground.texture {
        Texture::Organic => return None,
        Texture::Sand | Texture::LoamySand | Texture::SandyLoam => 1.0,
        _ => 2.0,
    };
    let range = released(ground.layer().soil_kg_per_ha(), percent);
    let words = format!(
        "With the {} % that Nebraska takes on {} where nobody tested, it would be {} ({}).",
        number(percent),
        ground.texture.label(),
        range.words(),
        Citation::from(UNTESTED)
    );
    Some((percent, range, words))
}

/// What the organic matter of the plot's own layer gives in a season. `cap_percent` limits what
/// is credited ([`OM_CAP_PERCENT`] unless a person chose otherwise).
pub fn from_organic_matter(reading: &Reading, ground: &Ground, cap_percent: f64) -> Result<Term, String> {
    let Level::Percent(found) = reading.level else {
        return Err("Organic matter is not given in per cent.".into());
    };
    let method = reading.method.label().to_lowercase();
    let (matter, matter_working) = match reading.analyte {
        Analyte::OrganicMatter => (found.0, reading.working.clone()),
        Analyte::OrganicCarbon => {
            let matter = found.0 * 1.724;
            let factor =
                Working::leaf("Matter in carbon", Figure::new(1.724, "", 3), Origin::Published).cite(CARBON_TO_MATTER);
            let text = format!("{} % × 1.724 = {} %", number(found.0), number(matter));
            let figure = Figure::new(matter, "%", 1);
            (matter, Working::step("Organic matter", figure, text, [reading.working.clone(), factor]))
        }
        _ => return Err("Nitrogen from the soil is reckoned from organic matter or organic carbon.".into()),
    };
    let credited = matter.min(cap_percent.max(0.0)).max(0.0);
    let soil = ground.layer().soil_kg_per_ha();
    let range = released(soil, credited);
    let formula = format!(
        "{} kg/ha of soil × {} % of organic matter × {} to {} % of nitrogen × 1 to 2 % in a season = {} to {} kg/ha",
        number(soil),
        number(credited),
        NITROGEN_IN_MATTER_PERCENT.0,
        NITROGEN_IN_MATTER_PERCENT.1,
        number(range.low.0),
        number(range.high.0)
    );
    let published = |title: &str, value: f64, source: Source| {
        Working::leaf(title, Figure::new(value, "%", 2), Origin::Published).cite(source)
    };
    let inputs = [
        matter_working,
        soil_working(ground),
        published("The most organic matter that is credited", cap_percent, CAP),
        published("Nitrogen in organic matter, at most", NITROGEN_IN_MATTER_PERCENT.1, STOCK),
        published("Released in a season, at most", 2.0, RELEASE),
    ];
    let mut working = Working::step("Nitrogen from soil organic matter", figure(range), formula, inputs)
        .cite(RELEASE)
        .note(format!("Organic matter was found by {method}; other methods read otherwise."));
    if credited < matter {
        working = working.note(format!(
            "{} % was found; {} % is credited, for the rule was not made for soils so rich. They may give more.",
            number(matter),
            number(credited)
        ));
    }
    Ok(Term::new(TermKind::SoilOrganicMatter, "From soil organic matter", range, working))
}

/// Organic nitrogen, kg/ha: total less ammonium. Only this goes through a decay series.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct OrganicN(pub f64);

/// Total nitrogen, kg/ha. Only this goes through first-year shares of the total.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct TotalN(pub f64);

impl TotalN {
    /// What of it is organic, given its ammonium, kg/ha.
    pub fn less_ammonium(self, ammonium_kg_per_ha: f64) -> Result<OrganicN, String> {
        if ammonium_kg_per_ha > self.0 || ammonium_kg_per_ha < 0.0 {
            return Err("A manure cannot hold more ammonium nitrogen than nitrogen in all.".into());
        }
        Ok(OrganicN(self.0 - ammonium_kg_per_ha))
    }
}

/// Whose manure.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Livestock {
    Cow,
    Poultry,
    Swine,
    Horse,
    Sheep,
}

keyed!(Livestock {
    Cow "cow" "cattle",
    Poultry "poultry" "poultry",
    Swine "swine" "pigs",
    Horse "horse" "horses",
    Sheep "sheep" "sheep",
});

const CORNELL: Source = Source {
    publisher: "Cornell University",
    title: "CSS 412, decay series of the organic nitrogen of manure",
    year: 0,
    address: "https://courses.cit.cornell.edu/css412/mod2/ext_m2_pg6.htm",
    evidence: Evidence::Read,
};

/// % of the organic nitrogen given that is released in the year of giving, the next, and the one
/// after; each of what was given at first. From 18 % of dry matter on, manure counts as solid.
pub fn decay_series(livestock: Livestock, dry_matter_percent: f64) -> [f64; 3] {
    let solid = dry_matter_percent >= 18.0;
    let first = match (livestock, solid) {
        (Livestock::Poultry, _) => 55.0,
        (Livestock::Cow | Livestock::Swine | Livestock::Sheep, false) => 35.0,
        (Livestock::Cow | Livestock::Swine | Livestock::Sheep, true) => 25.0,
        (Livestock::Horse, false) => 30.0,
        (Livestock::Horse, true) => 25.0,
    };
    [first, 12.0, 5.0]
}

/// A quick rule for manure that is spread in autumn.
pub const ONTARIO_AUTUMN: Source = Source {
    publisher: "Ontario Ministry of Agriculture, Food and Rural Affairs (Brown)",
    title: "Factsheet 13-043: of manure spread in autumn half of the total nitrogen is usable; less after late summer, more after late autumn",
    year: 2013,
    address: "http://omafra.gov.on.ca/english/crops/facts/13-043.htm",
    evidence: Evidence::Read,
};

/// The nitrogen of manure spread in autumn that the next crop can use, kg/ha or in any measure of
/// the total: half of it.
pub fn usable_after_autumn(total: TotalN) -> f64 {
    total.0.max(0.0) / 2.0
}

/// What manures given this year, last year and the year before release this season. Ammonium is
/// not in it, for it depends on how soon the manure was worked in.
pub fn manure(livestock: Livestock, dry_matter_percent: f64, given: [OrganicN; 3]) -> Term {
    let series = decay_series(livestock, dry_matter_percent);
    let released = |(given, percent): (OrganicN, f64)| given.0.max(0.0) * percent / 100.0;
    let each: Vec<f64> = given.into_iter().zip(series).map(released).collect();
    let total: f64 = each.iter().sum();
    let range = Range::between(total, total);
    let years = ["this year", "last year", "the year before"];
    let terms: Vec<String> = given
        .iter()
        .zip(series)
        .zip(years)
        .map(|((given, percent), year)| format!("{} × {percent} % ({year})", number(given.0)))
        .collect();
    let inputs = given.iter().zip(years).map(|(given, year)| {
        Working::leaf(
            format!("Organic nitrogen given {year}"),
            Figure::significant(given.0, KgPerHa::UNIT, 3),
            Origin::Entered,
        )
    });
    let shares = Working::leaf(
        format!("Released in the first year, {}", livestock.label()),
        Figure::new(series[0], "% of organic N", 0),
        Origin::Published,
    )
    .cite(CORNELL);
    let working = Working::step(
        "Nitrogen from the organic part of manure",
        figure(range),
        format!("{} = {} kg/ha", terms.join(" + "), number(total)),
        inputs.chain([shares]),
    )
    .cite(CORNELL)
    .note("Ammonium is not counted here: how much of it stays depends on how soon the manure is worked in.")
    .note(ONE_FIGURE);
    Term::new(TermKind::Manure, format!("From manure of {}", livestock.label()), range, working)
}

/// The same over both consistencies where the dry matter, %, is not known, and over every kind of
/// livestock where whose manure it was is not.
fn manure_of_kinds(livestock: Option<Livestock>, dry_matter_percent: Option<f64>, organic: [OrganicN; 3]) -> Term {
    let kinds = livestock.map_or_else(|| Livestock::ALL.to_vec(), |one| vec![one]);
    let consistencies = dry_matter_percent.map_or_else(|| vec![0.0, 18.0], |percent| vec![percent]);
    let each = |kind: Livestock| consistencies.iter().map(move |dry| manure(kind, *dry, organic)).collect::<Vec<_>>();
    let mut terms: Vec<Term> = kinds.iter().flat_map(|kind| each(*kind)).collect();
    terms.sort_by(|a, b| a.range.low.0.total_cmp(&b.range.low.0));
    let (Some(least), Some(most)) = (terms.first(), terms.last()) else {
        return manure(Livestock::Cow, 18.0, organic);
    };
    let range = Range::between(least.range.low.0, most.range.high.0);
    let title = match livestock {
        Some(one) => format!("From manure of {}", one.label()),
        None => "From manure, whose is not known".into(),
    };
    let formula = format!("from {} to {} kg/ha", number(range.low.0), number(range.high.0));
    let mut inputs = vec![least.working.clone()];
    if range.low.0 < range.high.0 {
        inputs.push(most.working.clone());
    }
    let working = Working::step("Nitrogen from manure", figure(range), formula, inputs).cite(CORNELL);
    Term::new(TermKind::Manure, title, range, working)
}

const ONE_FIGURE: &str =
    "The source prints one figure for each year; the truth lies around it, and how far is not printed.";

/// What manure releases where only its total nitrogen is on record: all of it is counted as
/// organic. Over both consistencies where the dry matter, %, is not known, and over every kind of
/// livestock where whose manure it was is not.
pub fn manure_of_total(livestock: Option<Livestock>, dry_matter_percent: Option<f64>, given: [TotalN; 3]) -> Term {
    let Term { title, range, working, .. } =
        manure_of_kinds(livestock, dry_matter_percent, given.map(|total| OrganicN(total.0)));
    let working = working
        .note("Only its total nitrogen is on record, and all of it is counted as organic. Fresh manure that is worked in at once gives more in the first year, for its ammonium stays; left on top, less.")
        .note(ONE_FIGURE);
    let working = match usable_after_autumn(given[0]) {
        half if half > 0.0 => working.note(format!(
            "If this year’s was spread in autumn: half of its total, {} kg/ha, by the quick rule of {}.",
            number((half * 10.0).round() / 10.0),
            Citation::from(ONTARIO_AUTUMN)
        )),
        _ => working,
    };
    let working = match livestock {
        Some(Livestock::Cow | Livestock::Swine | Livestock::Sheep | Livestock::Horse) if given[0].0 > 0.0 => {
            working.note(next_crop_words(given[0].0))
        }
        _ => working,
    };
    Term::new(TermKind::Manure, title, range, working)
}

/// The nitrogen of one manure, kg/ha: in all, and of that as ammonium.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct ManureN {
    pub total: TotalN,
    pub ammonium_kg_per_ha: f64,
}

const AMMONIUM: Source = Source {
    publisher: "Cornell University",
    title: "CSS 412, types of nitrogen in manure: in principle plants can take all of its ammonium; part or all of it may be lost to the air",
    year: 0,
    address: "https://courses.cit.cornell.edu/css412/mod2/ext_m2_pg2.htm",
    evidence: Evidence::Read,
};

/// What manures release whose ammonium was analysed, given this year, last year and the year
/// before: their organic nitrogen by its decay, and beside it the ammonium of this year’s, from
/// none to all. A manure with more ammonium than nitrogen is refused.
pub fn manure_of_parts(
    livestock: Option<Livestock>,
    dry_matter_percent: Option<f64>,
    given: [ManureN; 3],
) -> Result<Vec<Term>, String> {
    let mut organic = [OrganicN::default(); 3];
    for (organic, given) in organic.iter_mut().zip(given) {
        *organic = given.total.less_ammonium(given.ammonium_kg_per_ha)?;
    }
    let Term { title, range, working, .. } = manure_of_kinds(livestock, dry_matter_percent, organic);
    let working = working
        .note("Its ammonium was analysed and is no part of this: only the organic nitrogen, total less ammonium, goes through the decay.")
        .note(ONE_FIGURE);
    let mut terms = vec![Term::new(TermKind::Manure, title, range, working)];
    terms.extend((given[0].ammonium_kg_per_ha > 0.0).then(|| ammonium(livestock, given[0].ammonium_kg_per_ha)));
    Ok(terms)
}

/// The ammonium of manure given this year: none of it where it lay open to the air until it was
/// gone, all of it where it was worked in at once before a crop.
fn ammonium(livestock: Option<Livestock>, given_kg_per_ha: f64) -> Term {
    let range = Range::between(0.0, given_kg_per_ha);
    let title = match livestock {
        Some(one) => format!("Ammonium of the manure of {}", one.label()),
        None => "Ammonium of manure, whose is not known".into(),
    };
    let leaf = Working::leaf(
        "Ammonium nitrogen given this year",
        Figure::significant(given_kg_per_ha, KgPerHa::UNIT, 3),
        Origin::Entered,
    );
    let formula = format!("from none to all of {} kg/ha", number(given_kg_per_ha));
    let working = Working::step(title.clone(), figure(range), formula, [leaf])
        .cite(AMMONIUM)
        .note("How much of it stays goes by how soon the manure was worked in: all of it at once before a crop, little or none after days on top. Lean to the high end only where it went in the same day, and to none where it was spread before the winter.")
        .note("What was given in years before is not counted: it was taken, washed down or lost.");
    Term::new(TermKind::Manure, title, range, working)
}

/// Materials with a first-year share of TOTAL nitrogen.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TotalMaterial {
    FreshPoultry,
    SolidDairy,
    FinishedCompost,
    Meal,
}

keyed!(TotalMaterial {
    FreshPoultry "fresh_poultry" "fresh poultry manure",
    SolidDairy "solid_dairy" "solid dairy manure",
    FinishedCompost "finished_compost" "finished compost",
    Meal "meal" "fish, feather or blood meal",
});

const OF_TOTAL: Source = Source {
    publisher: "No publication at hand",
    title: "First-year availability of the total nitrogen of organic materials",
    year: 0,
    address: "",
    evidence: Evidence::Memory,
};

/// What a material gives in its first year, from its total nitrogen. Known only from memory.
pub fn first_year_of_total(material: TotalMaterial, total: TotalN) -> Term {
    let (low, high) = match material {
        TotalMaterial::FreshPoultry => (40.0, 60.0),
        TotalMaterial::SolidDairy => (20.0, 40.0),
        TotalMaterial::FinishedCompost => (0.0, 15.0),
        TotalMaterial::Meal => (60.0, 80.0),
    };
    let given = total.0.max(0.0);
    let range = Range::between(given * low / 100.0, given * high / 100.0);
    let title = format!("From {}", material.label());
    let kind = if material == TotalMaterial::FinishedCompost { TermKind::Compost } else { TermKind::Manure };
    let leaf = Working::leaf("Total nitrogen given", Figure::significant(given, KgPerHa::UNIT, 3), Origin::Entered);
    let share =
        Working::leaf("First-year share of total nitrogen, at most", Figure::new(high, "%", 0), Origin::Published)
            .cite(OF_TOTAL);
    let formula =
        format!("{} × {low} to {high} % = {} to {} kg/ha", number(given), number(range.low.0), number(range.high.0));
    let working = Working::step(title.clone(), figure(range), formula, [leaf, share])
        .cite(OF_TOTAL)
        .note("These shares are from memory, unverified.");
    Term::new(kind, title, range, working)
}

const CLEMSON_C_TO_N: Source = Source {
    publisher: "Clemson University Cooperative Extension",
    title: "Carbon to nitrogen below 20 releases nitrogen, above 30 ties it up",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// What a compost gives in its first year. Its ratio of carbon to nitrogen decides whether it
/// gives any: above 30 it ties nitrogen up, from 20 to 30 nothing is counted.
pub fn compost(total: TotalN, carbon_to_nitrogen: Option<f64>) -> Term {
    let Some(ratio) = carbon_to_nitrogen.filter(|r| *r >= 20.0) else {
        return first_year_of_total(TotalMaterial::FinishedCompost, total);
    };
    let range = Range::between(0.0, 0.0);
    let leaf = Working::leaf("Carbon to nitrogen", Figure::new(ratio, "to 1", 0), Origin::Entered);
    let limit = Working::leaf("Releases below", Figure::new(20.0, "to 1", 0), Origin::Published).cite(CLEMSON_C_TO_N);
    let note = if ratio > 30.0 {
        "So much carbon ties nitrogen up: the crop may go short for a while, and how much is not known."
    } else {
        "Between 20 and 30 it neither gives nor ties up nitrogen to speak of."
    };
    let working = Working::step(
        "From compost",
        figure(range),
        format!("carbon to nitrogen {} is not below 20: none counted", number(ratio)),
        [leaf, limit],
    )
    .cite(CLEMSON_C_TO_N)
    .note(note);
    Term::new(TermKind::Compost, "From compost", range, working)
}

/// A cover crop as it is cut or worked in.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CoverCrop {
    pub dry_matter_kg_per_ha: f64,
    /// Nitrogen in its dry matter, %.
    pub nitrogen_percent: f64,
    /// Rye, oats, wheat, barley and the like, or mostly so.
    pub cereal: bool,
}

/// Who says what cover crops give.
pub const PNW_636: Source = Source {
    publisher: "Pacific Northwest Extension (Oregon State, Washington State, Idaho)",
    title: "PNW 636, Estimating plant-available nitrogen release from cover crops",
    year: 2012,
    address: "",
    evidence: Evidence::Read,
};

/// What a mostly cereal mix comes to ([`PNW_636`]): 75 % of cereal to 25 % of legume is what is printed.
pub const COVER_MIX: &str = "A mix of three parts of cereal to one of legume comes to near nothing.";

/// What a cover crop gives: nothing below 1.5 % of nitrogen, 35 lb per ton of dry matter at
/// 3.5 %, a straight line between. The line is carried in neither direction: below it a cereal
/// may tie nitrogen up, above it the credit stays between 35 and the 40 that the Spanish
/// edition prints for 4 %.
pub fn cover_crop(crop: &CoverCrop) -> Result<Term, String> {
    let n = crop.nitrogen_percent;
    if !(0.0..=8.0).contains(&n) || !crop.dry_matter_kg_per_ha.is_finite() || crop.dry_matter_kg_per_ha < 0.0 {
        return Err("A cover crop has between 0 and 8 % of nitrogen, and its dry matter is not below zero.".into());
    }
    // 1 lb per short ton is 0.5 kg per tonne.
    let tonnes = crop.dry_matter_kg_per_ha / 1000.0;
    let per_ton = |lb: f64| lb * 0.5 * tonnes;
    let tie_up = RateUnit::LbPerAcre.read(50.0).0;
    let (range, how, note) = if n < 1.5 {
        let low = if crop.cereal { -tie_up } else { 0.0 };
        let note = if crop.cereal {
            "Below 1.5 % of nitrogen it gives little or none, and a cereal can tie up to 50 lb/acre (56 kg/ha)."
        } else {
            "Below 1.5 % of nitrogen it gives little or none, and may tie some up for a while."
        };
        (Range::between(low, 0.0), "below 1.5 %: no credit".to_owned(), note)
    } else if n <= 3.5 {
        let lb = 35.0 * (n - 1.5) / 2.0;
        (
            Range::between(per_ton(lb), per_ton(lb)),
            format!("35 × ({} − 1.5) ÷ 2 = {} lb per ton", number(n), number(lb)),
            "The source prints a line through scattered trials; the truth lies around it.",
        )
    } else {
        (
            Range::between(per_ton(35.0), per_ton(40.0)),
            "above 3.5 %: 35 to 40 lb per ton, not more".to_owned(),
            "The line ends at 3.5 % and is not carried on.",
        )
    };
    let inputs = [
        Working::leaf("Dry matter", Figure::significant(crop.dry_matter_kg_per_ha, KgPerHa::UNIT, 3), Origin::Entered),
        Working::leaf("Nitrogen in dry matter", Figure::new(n, "%", 1), Origin::Entered),
        Working::leaf("Released at 3.5 % of nitrogen", Figure::new(35.0, "lb per short ton", 0), Origin::Published)
            .cite(PNW_636),
    ];
    let formula = format!("{how}; {} t/ha of dry matter: {}", number(tonnes), range.words());
    let working = Working::step("From the cover crop", figure(range), formula, inputs)
        .cite(PNW_636)
        .note(note)
        .note("Most of it comes four to six weeks after the cover crop is killed.");
    let working = if crop.cereal { working.note(COVER_MIX) } else { working };
    Ok(Term::new(TermKind::CoverCrop, "From the cover crop", range, working))
}
