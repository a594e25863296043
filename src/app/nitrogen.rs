//! Nitrogen for a plot as a budget: what the crop takes as the grower states it, less what the
//! newest tests and what was put on in three years bring. It never narrows a range.

use super::{Actor, App, Problems, Result, error::Limits, guidelines, outlook::PlotOutlook, plots::SiteRow};
use crate::{
    agronomy::{
        amendment::Kind,
        analyte::Analyte,
        crop::Crop,
        element::Element,
        guideline::NitrateTest,
        liking::Liking,
        nitrogen::{
            Asked, Budget, Corn, CoverCrop, Livestock, ManureN, NitrateAdvice, OM_CAP_PERCENT, Range, Term,
            TotalMaterial, TotalN, budget, by_every_nitrate_test, compost, cover_crop, crop_demand,
            first_year_of_total, from_organic_matter, is_for_crop, manure_of_parts, manure_of_total, nitrate_in_ground,
            stated_demand, untested_matter, uptake_demand,
        },
        quantity::{Grams, KgPerHa, SquareMetres},
        reading::Reading,
        record::Application,
        survey::years_between,
    },
    exchange::number::Low,
    ids::PlotId,
    store,
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::{collections::BTreeMap, sync::Arc};

const DEMAND: Limits = Limits { what: "A demand", unit: "kg/ha", low: Low::AtLeast(0.0), at_most: 600.0, decimals: 1 };
const HOPED: Limits = Limits { what: "A yield", unit: "t/ha", low: Low::Above(0.0), at_most: 500.0, decimals: 1 };
const DRY_MATTER: Limits =
    Limits { what: "Dry matter", unit: "t/ha", low: Low::AtLeast(0.0), at_most: 40.0, decimals: 2 };
const IN_COVER: Limits = Limits { what: "Nitrogen", unit: "%", low: Low::AtLeast(0.0), at_most: 8.0, decimals: 2 };
const MATTER: Limits = Limits { what: "A limit", unit: "%", low: Low::AtLeast(0.0), at_most: 30.0, decimals: 1 };
const RATIO: Limits =
    Limits { what: "Carbon to nitrogen", unit: "", low: Low::AtLeast(1.0), at_most: 500.0, decimals: 1 };
const YIELD: Limits = Limits { what: "A yield", unit: "bu/acre", low: Low::AtLeast(0.0), at_most: 400.0, decimals: 0 };

/// After so many days a nitrate test is not counted: rain and crops have changed it. Our own
/// limit; publishers ask for the test within weeks of the side-dressing that it is for.
const NITRATE_DAYS: i32 = 60;

/// What is typed on the page about nitrogen.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
#[serde(default)]
pub struct NitrogenForm {
    /// Key of a crop; empty for those on record.
    pub crop: String,
    pub low_kg_per_ha: String,
    pub high_kg_per_ha: String,
    /// The yield hoped for.
    pub hoped_t_per_ha: String,
    /// "on" to count what is known only from memory.
    pub memory: String,
    /// The most organic matter that is credited, %.
    pub matter_cap_percent: String,
    /// Dry matter of a cover crop, the nitrogen in it, and "on" for a cereal.
    pub cover_t_per_ha: String,
    pub cover_percent: String,
    pub cover_cereal: String,
    /// Carbon to nitrogen of the compost that was put on.
    pub compost_ratio: String,
    /// Ohio State's base rate.
    pub base_kg_per_ha: String,
    /// Penn State's field of corn.
    pub bushels_per_acre: String,
    pub manured_since: String,
    pub manured_before: String,
    pub previous: String,
}

/// A plot's nitrogen.
#[derive(Clone, Debug)]
pub struct PlotNitrogen {
    pub site: SiteRow,
    pub ahead: PlotOutlook,
    pub form: NitrogenForm,
    pub problems: Problems,
    /// Published rates for the crop chosen or those of the season, or why there is none.
    pub rates: Vec<(Crop, std::result::Result<Term, String>)>,
    /// Nothing is recorded for this season: the crops are those of the next.
    pub later: bool,
    /// `None` until a demand is known.
    pub budget: Option<Budget>,
    /// What the budget could not count, with why.
    pub uncounted: Vec<String>,
    /// The newest nitrate level, and what every published test says of it.
    pub nitrate: Option<(Reading, Vec<NitrateSays>)>,
}

/// A nitrate test with what it says, or why it cannot.
pub type NitrateSays = (Arc<NitrateTest>, std::result::Result<NitrateAdvice, String>);

impl App {
    /// The nitrogen budget of one plot, as the form asks.
    pub async fn plot_nitrogen(&self, actor: &Actor, id: PlotId, form: NitrogenForm) -> Result<PlotNitrogen> {
        let (site, _, ahead) = self.plot_outlook(actor, id).await?;
        let products = self.amendments(actor, true).await?;
        let sorts = products.iter().map(|row| {
            let dry = row.amendment.analysis.moisture.map(|water| ((1.0 - water) * 100.0).round() as u8);
            let sort = Sort {
                kind: row.amendment.kind,
                livestock: row.catalogue.as_deref().and_then(livestock),
                dry_matter_percent: dry,
            };
            (row.amendment.name.as_str(), sort)
        });
        let sorts: Sorts<'_> = sorts.collect();
        let mut problems = Problems::default();
        let low = problems.optional_number("low_kg_per_ha", &form.low_kg_per_ha, &DEMAND);
        let high = problems.optional_number("high_kg_per_ha", &form.high_kg_per_ha, &DEMAND);
        let hoped = problems.optional_number("hoped_t_per_ha", &form.hoped_t_per_ha, &HOPED);
        let cap = problems.optional_number("matter_cap_percent", &form.matter_cap_percent, &MATTER);
        let ratio = problems.optional_number("compost_ratio", &form.compost_ratio, &RATIO);
        let with_memory = form.memory == "on";
        let chosen = Crop::find(&form.crop);
        // What grows now; where nothing does, what the next season brings, said so.
        let later = chosen.is_none() && ahead.growing.is_empty() && !ahead.crops.is_empty();
        let on_record = if later { &ahead.crops } else { &ahead.growing };
        let crops = chosen.map_or_else(|| on_record.clone(), |crop| vec![crop]);
        let rates: Vec<_> = crops.iter().map(|crop| (*crop, crop_demand(crop, with_memory))).collect();
        let demand = match (low, high) {
            // A rate for any garden is no measure of what this crop takes.
            (None, None) => match hoped {
                Some(_) if crops.len() > 1 => {
                    let names: Vec<String> = crops.iter().map(|crop| crop.in_sentence()).collect();
                    let says = format!("Choose the crop that the yield is of: {}.", names.join(" or "));
                    problems.add("crop", says);
                    None
                }
                Some(tonnes) => match uptake_demand_of(&crops, tonnes) {
                    Ok(term) => Some(term),
                    Err(why) => {
                        problems.add("hoped_t_per_ha", why);
                        None
                    }
                },
                None => {
                    let own = rates.iter().filter(|(crop, _)| is_for_crop(crop, with_memory));
                    own.filter_map(|(_, rate)| rate.as_ref().ok()).next().cloned()
                }
            },
            (low, high) => {
                let (low, high) = (low.or(high).unwrap_or(0.0), high.or(low).unwrap_or(0.0));
                Some(stated_demand(low, high, "As typed on this page."))
            }
        };
        let mut uncounted =
            Uncounted { reads: actor.liking, area: ahead.standing.plot.ground().area, told: Vec::new() };
        let mut supplies = from_soil(&ahead, self.today(), cap.unwrap_or(OM_CAP_PERCENT), &mut uncounted);
        let keys: Vec<i64> = ahead.applications.iter().map(|a| a.key).collect();
        let ammonium = store::applications::ammonium(&mut *self.store.read().await?, &keys).await?;
        supplies.extend(put_on(&ahead, (&sorts, &ammonium), self.today(), ratio, &mut uncounted));
        supplies.extend(cover(&form, &mut problems));
        let asked = corn(&form, &mut problems);
        let tests = guidelines::beside(&mut *self.store.read().await?, &site).await?.nitrate;
        let nitrate = ahead.standing.present.choices.get(&Analyte::NitrateN).map(|choice| &choice.chosen);
        let fresh = nitrate.filter(|reading| days_between(reading.sampled_on, self.today()) <= NITRATE_DAYS);
        Ok(PlotNitrogen {
            nitrate: fresh.map(|reading| (reading.clone(), by_every_nitrate_test(&tests, reading, &asked))),
            budget: demand.map(|demand| budget(demand, supplies, with_memory)),
            site,
            ahead,
            form,
            problems,
            rates,
            later,
            uncounted: uncounted.told,
        })
    }
}

/// What could not be counted, told in the reader's unit.
struct Uncounted {
    reads: Liking,
    area: SquareMetres,
    told: Vec<String>,
}

impl Uncounted {
    fn push(&mut self, why: String) {
        self.told.push(why);
    }

    fn range(&self, range: Range) -> String {
        self.reads.range(Element::N, range.low, range.high, self.area)
    }
}

/// What the first of the crops takes up for a yield.
fn uptake_demand_of(crops: &[Crop], tonnes_per_ha: f64) -> std::result::Result<Term, String> {
    match crops.first() {
        Some(crop) => uptake_demand(crop, tonnes_per_ha),
        None => Err("Choose the crop that the yield is of.".into()),
    }
}

/// A cover crop as typed.
fn cover(form: &NitrogenForm, problems: &mut Problems) -> Option<Term> {
    let tonnes = problems.optional_number("cover_t_per_ha", &form.cover_t_per_ha, &DRY_MATTER);
    let percent = problems.optional_number("cover_percent", &form.cover_percent, &IN_COVER);
    match (tonnes, percent) {
        (Some(tonnes), Some(nitrogen_percent)) => {
            let cereal = form.cover_cereal == "on";
            cover_crop(&CoverCrop { dry_matter_kg_per_ha: tonnes * 1000.0, nitrogen_percent, cereal })
                .map_err(|why| problems.add("cover_percent", why))
                .ok()
        }
        (Some(_), None) if form.cover_percent.trim().is_empty() => {
            problems.add("cover_percent", "What a cover crop gives goes by the nitrogen in it.");
            None
        }
        (None, Some(_)) if form.cover_t_per_ha.trim().is_empty() => {
            problems.add("cover_t_per_ha", "What a cover crop gives goes by how much of it there is.");
            None
        }
        _ => None,
    }
}

/// What the tests for corn ask besides nitrate, as typed.
fn corn(form: &NitrogenForm, problems: &mut Problems) -> Asked {
    let base = problems.optional_number("base_kg_per_ha", &form.base_kg_per_ha, &DEMAND);
    let bushels = problems.optional_number("bushels_per_acre", &form.bushels_per_acre, &YIELD);
    let corn = bushels.map(|yield_bushels_per_acre| Corn {
        yield_bushels_per_acre,
        manured_since_harvest: form.manured_since == "on",
        manured_in_prior_three_years: form.manured_before == "on",
        previous: form.previous.parse().unwrap_or_default(),
    });
    Asked { base: base.map(KgPerHa), corn }
}

/// What a product is, whose manure, and how dry.
#[derive(Clone, Copy, Debug)]
struct Sort {
    kind: Kind,
    livestock: Option<Livestock>,
    /// In whole per cent.
    dry_matter_percent: Option<u8>,
}

/// The products by name.
type Sorts<'a> = BTreeMap<&'a str, Sort>;

/// Whose manure an entry of the catalogue is. Ducks are left out: the table of the decay says
/// poultry, and Defra finds duck manure to give less than other poultry’s.
fn livestock(catalogue: &str) -> Option<Livestock> {
    match catalogue {
        "cattle_manure" => Some(Livestock::Cow),
        "horse_manure" => Some(Livestock::Horse),
        "sheep_manure" => Some(Livestock::Sheep),
        "pig_manure" => Some(Livestock::Swine),
        "chicken_manure" | "layer_manure" | "pelleted_poultry" => Some(Livestock::Poultry),
        _ => None,
    }
}

fn days_between(from: Date, to: Date) -> i32 {
    from.until(to).map_or(i32::MAX, |span| span.get_days())
}

/// What organic matter and nitrate bring.
fn from_soil(ahead: &PlotOutlook, today: Date, cap_percent: f64, uncounted: &mut Uncounted) -> Vec<Term> {
    let choices = &ahead.standing.present.choices;
    let newest = |analyte| choices.get(&analyte).map(|choice| &choice.chosen);
    let ground = ahead.standing.plot.ground();
    let mut terms = Vec::new();
    match newest(Analyte::OrganicMatter).or_else(|| newest(Analyte::OrganicCarbon)) {
        None => {
            let not = "Organic matter was not tested, so what the soil itself releases is not counted.";
            // The publisher's rule on this plot's soil: a figure of this plot, in the reader's unit.
            let as_read = |(_, range, words): (f64, Range, String)| {
                format!("{not} {}", words.replace(&range.words(), &uncounted.range(range)))
            };
            let told = untested_matter(&ground).map_or(not.to_owned(), as_read);
            uncounted.push(told);
        }
        Some(reading) => match from_organic_matter(reading, &ground, cap_percent) {
            Ok(term) => terms.push(term),
            Err(why) => uncounted.push(format!("Organic matter: {why}")),
        },
    }
    match newest(Analyte::NitrateN) {
        None => uncounted.push("Nitrate was not tested, so what lies ready in the ground is not counted.".into()),
        Some(reading) if days_between(reading.sampled_on, today) > NITRATE_DAYS => uncounted.push(format!(
            "Nitrate was tested on {}; after {NITRATE_DAYS} days rain and crops have changed it, so it is not counted.",
            reading.sampled_on
        )),
        Some(reading) => match nitrate_in_ground(reading, &ground) {
            Ok(term) => terms.push(term),
            Err(why) => uncounted.push(format!("Nitrate: {why}")),
        },
    }
    terms
}

/// What manure, compost and meals of the last three years bring.
fn put_on(
    ahead: &PlotOutlook,
    (sorts, ammonium): (&Sorts<'_>, &BTreeMap<i64, f64>),
    today: Date,
    compost_ratio: Option<f64>,
    uncounted: &mut Uncounted,
) -> Vec<Term> {
    let area = SquareMetres(ahead.standing.plot.area_m2);
    let per_ha = |a: &Application, share: f64| Grams(a.mass_g * share).per(area).0;
    let nitrogen = |a: &Application| per_ha(a, a.content.get(&Element::N).copied().unwrap_or(0.0));
    // Manures with and without an analysis of their ammonium are reckoned apart.
    let mut manures: BTreeMap<(Option<Livestock>, Option<u8>), [TotalN; 3]> = BTreeMap::new();
    let mut analysed: BTreeMap<(Option<Livestock>, Option<u8>), [ManureN; 3]> = BTreeMap::new();
    let (mut composts, mut meals) = (TotalN(0.0), TotalN(0.0));
    let mut others = BTreeMap::new();
    for a in &ahead.applications {
        let year = years_between(a.applied_on, today);
        let given = nitrogen(a);
        if !(0.0..3.0).contains(&year) || given <= 0.0 {
            continue;
        }
        let unknown = Sort { kind: Kind::Salt, livestock: None, dry_matter_percent: None };
        let Sort { kind, livestock, dry_matter_percent } = sorts.get(a.amendment.as_str()).copied().unwrap_or(unknown);
        let this_year = year < 1.0;
        match kind {
            _ if a.manure || kind == Kind::Manure => {
                let sort = (livestock, dry_matter_percent);
                if let Some(share) = ammonium.get(&a.key) {
                    let so_far = &mut analysed.entry(sort).or_default()[year as usize];
                    so_far.total.0 += given;
                    so_far.ammonium_kg_per_ha += per_ha(a, *share);
                    continue;
                }
                manures.entry(sort).or_default()[year as usize].0 += given;
            }
            Kind::Compost if this_year => composts.0 += given,
            Kind::AnimalMeal if this_year => meals.0 += given,
            _ if this_year => *others.entry(a.amendment.as_str()).or_insert(0.0) += given,
            _ => {}
        }
    }
    let mut terms: Vec<Term> =
        manures.into_iter().map(|((whose, dry), given)| manure_of_total(whose, dry.map(f64::from), given)).collect();
    for ((whose, dry), given) in analysed {
        match manure_of_parts(whose, dry.map(f64::from), given) {
            Ok(parts) => terms.extend(parts),
            Err(why) => uncounted.push(format!("Manure: {why}")),
        }
    }
    if composts.0 > 0.0 {
        terms.push(compost(composts, compost_ratio));
    }
    if meals.0 > 0.0 {
        terms.push(first_year_of_total(TotalMaterial::Meal, meals));
    }
    for (name, given) in others {
        let given = uncounted.range(Range::between(given, given));
        uncounted.push(format!(
            "{name} of the last twelve months brought {given} of nitrogen in all; how much of it is left is not known."
        ));
    }
    terms
}
