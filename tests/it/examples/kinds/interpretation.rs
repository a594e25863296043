//! Kinds of worked example for the rest of a sheet: lime and nitrogen.

use super::{Answer, Answers, Cell, Kind, Outcome, inputs, one, read_cell};
use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    ground::{Cover, Ground, Texture},
    guideline::{LandUse, find},
    lime::{self, FinenessScheme, Given, LimeMethod, LimeProduct, LimeValue, Soil, UkSoil},
    method::Method,
    nitrogen::{
        self, Asked, Corn, CoverCrop, Livestock, NitrateAdvice, OrganicN, PreviousCrop, TotalN, by_nitrate_test,
    },
    quantity::{Centimetres, CmolPerKg, GramsPerCm3, GramsPerM2, SquareMetres},
    rate::RateUnit,
    reading::Reading,
    record::{Basis, Unit},
    working::Working,
};
use serde::Deserialize;

pub const KINDS: &[Kind] = &[
    ("lime", lime_requirement),
    ("uk_ph", uk_ph),
    ("fineness", fineness),
    ("lime_value", lime_value),
    ("lime_parts", lime_parts),
    ("nitrate_test", nitrate_test),
    ("penn_state_nitrate", penn_state_nitrate),
    ("decay_series", decay_series),
    ("manure_release", manure_release),
    ("cover_crop", cover_crop),
    ("organic_matter", organic_matter),
    ("compost", compost),
    ("sulfur", sulfur),
];

pub(super) fn ground(depth_cm: f64, bulk_density: f64, texture: Texture) -> Ground {
    Ground {
        area: SquareMetres(1.0),
        cover: Cover::Open,
        texture,
        bulk_density: Some(GramsPerCm3(bulk_density)),
        depth: Centimetres(depth_cm),
        stones: 0.0,
    }
}

pub(super) fn ph_cell(analyte: Analyte, printed: &str, method: &str) -> Cell {
    cell(analyte, printed, Unit::Ph, method, Basis::Mass)
}

/// The lime requirement by a method, by "… is" whether the table prints only a limit. With `buffers` or `phs` one answer for each of them;
/// otherwise the answer itself, "carbonate" for this plot, and what was said.
fn lime_requirement(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: String,
        ph: Option<String>,
        #[serde(default = "water")]
        ph_method: String,
        #[serde(default)]
        phs: Vec<String>,
        buffer: Option<String>,
        buffer_method: Option<String>,
        #[serde(default)]
        buffers: Vec<String>,
        acidity: Option<Cell>,
        aluminium: Option<Cell>,
        target_ph: Option<f64>,
        target_smp: Option<f64>,
        soil: Option<String>,
        tolerable: Option<f64>,
        #[serde(default)]
        sensitive: bool,
        #[serde(default)]
        second_dose: bool,
        #[serde(default)]
        organic_soil: bool,
        /// Short tons per acre of pure lime, and the months from its giving to the sample.
        #[serde(default)]
        given: Vec<(f64, f64)>,
        depth_cm: Option<f64>,
        bulk_density: Option<f64>,
    }
    let i: In = inputs(table)?;
    let method: LimeMethod = i.method.parse()?;
    let mut aim = lime::Aim::default();
    aim.target_ph = i.target_ph.unwrap_or(aim.target_ph);
    aim.target_smp = i.target_smp.unwrap_or(aim.target_smp);
    aim.uk_soil = i.soil.as_deref().map_or(Ok(aim.uk_soil), str::parse::<UkSoil>)?;
    aim.tolerable_aluminium = i.tolerable.map_or(aim.tolerable_aluminium, CmolPerKg);
    (aim.sensitive_crop, aim.second_buffer_dose, aim.organic_soil) = (i.sensitive, i.second_dose, i.organic_soil);
    let to_tonnes = |tons: f64| RateUnit::TonnePerHa.show(RateUnit::TonPerAcre.read(tons));
    aim.given = i.given.iter().map(|(tons, months)| Given::stated(to_tonnes(*tons), *months)).collect();
    let ground = ground(i.depth_cm.unwrap_or(15.0), i.bulk_density.unwrap_or(1.3), Texture::Loam);
    let buffer_method = i.buffer_method.unwrap_or_else(|| Method::Unstated.slug());
    let read = |cell: Option<Cell>| cell.map(|c| read_cell(&c)).transpose().map(|r| r.map(|(reading, _)| reading));
    let (acidity, aluminium) = (read(i.acidity)?, read(i.aluminium)?);
    let reckon = |ph: Option<&str>, buffer: Option<&str>| -> Result<_, String> {
        let ph = read(ph.map(|ph| ph_cell(Analyte::Ph, ph, &i.ph_method)))?;
        let buffer = read(buffer.map(|b| ph_cell(Analyte::BufferPh, b, &buffer_method)))?;
        let soil = Soil {
            ph: ph.as_ref(),
            buffers: buffer.iter().collect::<Vec<&Reading>>(),
            acidity: acidity.as_ref(),
            aluminium: aluminium.as_ref(),
            ground: &ground,
        };
        let found = lime::requirement(method, &soil, &aim);
        if found.as_ref().is_ok_and(|r| !r.working.is_grounded()) {
            return Err("the working of the lime does not reach its cells".into());
        }
        Ok(found)
    };
    let unit = method.reference().unit.slug();
    let mut answers = Answers::new();
    for buffer in &i.buffers {
        let found = reckon(i.ph.as_deref(), Some(buffer))??;
        answers.insert(buffer.clone(), Answer::Plain(found.printed, unit));
        let interpolated = if found.interpolated { "between" } else { "printed" };
        answers.insert(format!("{buffer} row"), Answer::Text(interpolated.into()));
        let limit = if found.notes.iter().any(|note| note.contains("this or less")) { "at most" } else { "that much" };
        answers.insert(format!("{buffer} is"), Answer::Text(limit.into()));
    }
    for ph in &i.phs {
        answers.insert(ph.clone(), Answer::Plain(reckon(Some(ph), i.buffer.as_deref())??.printed, unit));
    }
    if answers.is_empty() {
        match reckon(i.ph.as_deref(), i.buffer.as_deref())? {
            Ok(found) => {
                answers.insert(String::new(), Answer::Plain(found.printed, unit));
                answers.insert("carbonate".into(), Answer::Rate(found.carbonate));
            }
            Err(why) => {
                answers.insert("refused".into(), Answer::Text(why));
            }
        }
    }
    Ok(answers)
}

pub(super) fn water() -> String {
    Method::PhWater.slug()
}

/// The British optimum and target pH.
fn uk_ph(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        land_use: LandUse,
        soil: String,
        #[serde(default)]
        occasional_barley: bool,
    }
    let i: In = inputs(table)?;
    let row = match i.occasional_barley {
        true => lime::uk_ph_with_barley(&i.soil).filter(|row| row.land_use == i.land_use),
        false => lime::uk_ph(i.land_use, &i.soil),
    };
    let row = row.ok_or("no such row")?;
    Ok(Answers::from([
        ("optimum".into(), Answer::Plain(row.optimum, "")),
        ("target".into(), Answer::Plain(row.target(), "")),
    ]))
}

/// The share of a lime that is fine enough, from its sieve fractions.
fn fineness(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        scheme: String,
        fractions: Option<Vec<f64>>,
        passing: Option<Vec<f64>>,
    }
    let i: In = inputs(table)?;
    let scheme = FinenessScheme::find(&i.scheme).ok_or("no such scheme")?;
    let fractions = match (i.fractions, i.passing) {
        (Some(fractions), None) => fractions,
        (None, Some(passing)) => lime::fractions_from_passing(&passing)?,
        _ => return Err("fractions or passing".into()),
    };
    one(Answer::Plain(scheme.share(&fractions)?.0 * 100.0, "%"))
}

/// A neutralising value as % of pure calcium carbonate.
fn lime_value(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        calcium_oxide: Option<f64>,
        effective_lb_per_ton: Option<f64>,
        carbonate: Option<f64>,
        moisture: Option<f64>,
    }
    let i: In = inputs(table)?;
    let value = match (i.calcium_oxide, i.effective_lb_per_ton, i.carbonate) {
        (Some(v), None, None) => LimeValue::CalciumOxide(v),
        (None, Some(v), None) => LimeValue::EffectiveLbPerTon(v),
        (None, None, Some(v)) => LimeValue::Carbonate(v),
        _ => return Err("one value".into()),
    };
    let product = LimeProduct { value, fineness: None, moisture_percent: i.moisture };
    one(Answer::Plain(product.effective_percent()?.0, "%"))
}

/// In how many parts lime is given.
fn lime_parts(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rule: String,
        rates: Vec<f64>,
        unit: RateUnit,
    }
    let i: In = inputs(table)?;
    let set = find(&format!("{}_parts", i.rule)).ok_or("no such set")?;
    let rule = set.splits.first().ok_or("no such rule")?;
    let parts = |rate: f64| Answer::Plain(rule.parts(i.unit.read(rate)).len() as f64, "");
    let mut answers: Answers = i.rates.iter().map(|rate| (rate.to_string(), parts(*rate))).collect();
    answers.insert("months apart".into(), Answer::Plain(f64::from(rule.months_apart), ""));
    Ok(answers)
}

pub(super) fn cell(analyte: Analyte, printed: &str, unit: Unit, method: &str, basis: Basis) -> Cell {
    Cell {
        analyte,
        printed: printed.to_owned(),
        unit,
        method: method.to_owned(),
        form: None,
        basis,
        layer: None,
        divisor: None,
    }
}

pub(super) fn grounded(working: &Working) -> Result<(), String> {
    if working.is_grounded() { Ok(()) } else { Err("the working does not reach its cells".into()) }
}

fn nitrate(ppm: &str) -> Result<Reading, String> {
    let method = Method::PotassiumChloride.slug();
    Ok(read_cell(&cell(Analyte::NitrateN, ppm, Unit::Ppm, &method, Basis::Mass))?.0)
}

/// What the nitrate test of a set says.
fn by_set(set: &str, reading: &Reading, asked: &Asked) -> Result<NitrateAdvice, String> {
    let set = find(&format!("{set}_nitrate")).ok_or("no such set")?;
    by_nitrate_test(set.nitrate.first().ok_or("no such test")?, reading, asked)
}

/// A soil nitrate test: for each printed value the rate, and by "… class" the band.
fn nitrate_test(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        test: String,
        printed: Vec<String>,
        base_lb_per_acre: Option<f64>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for printed in &i.printed {
        let reading = nitrate(printed)?;
        let base = i.base_lb_per_acre.map(|base| RateUnit::LbPerAcre.read(base));
        let advice = by_set(&i.test, &reading, &Asked { base, corn: None })?;
        grounded(&advice.working)?;
        answers.insert(format!("{printed} class"), Answer::Text(advice.class));
        if let Some(rate) = advice.rate {
            answers.insert(printed.clone(), Answer::Rate(rate));
        }
    }
    Ok(answers)
}

/// Penn State's worksheet.
fn penn_state_nitrate(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        printed: String,
        bushels: f64,
        #[serde(default)]
        manured: bool,
        #[serde(default)]
        manured_before: bool,
        #[serde(default)]
        after_soybean: bool,
    }
    let i: In = inputs(table)?;
    let corn = Corn {
        yield_bushels_per_acre: i.bushels,
        manured_since_harvest: i.manured,
        manured_in_prior_three_years: i.manured_before,
        previous: if i.after_soybean { PreviousCrop::Soybean } else { PreviousCrop::Corn },
    };
    let advice = by_set("penn_state", &nitrate(&i.printed)?, &Asked { base: None, corn: Some(corn) })?;
    grounded(&advice.working)?;
    one(Answer::Rate(advice.rate.ok_or("no rate")?))
}

/// % of organic nitrogen released in the first, second and third year.
fn decay_series(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        livestock: String,
        dry_matter: f64,
    }
    let i: In = inputs(table)?;
    let series = nitrogen::decay_series(i.livestock.parse::<Livestock>()?, i.dry_matter);
    Ok((1..).zip(series).map(|(year, percent)| (year.to_string(), Answer::Plain(percent, "%"))).collect())
}

/// What manures of three years release, given in lb of organic nitrogen per acre.
fn manure_release(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        livestock: String,
        dry_matter: f64,
        organic_lb_per_acre: [f64; 3],
    }
    let i: In = inputs(table)?;
    let given = i.organic_lb_per_acre.map(|lb| OrganicN(RateUnit::LbPerAcre.read(lb).0));
    let term = nitrogen::manure(i.livestock.parse()?, i.dry_matter, given);
    grounded(&term.working)?;
    one(Answer::Rate(term.range.high))
}

/// What a short ton of dry matter of a cover crop gives, for each content of nitrogen.
fn cover_crop(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        nitrogen_percent: Vec<f64>,
        #[serde(default)]
        cereal: bool,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for n in i.nitrogen_percent {
        let dry_matter_kg_per_ha = RateUnit::TonPerAcre.read(1.0).0;
        let term = nitrogen::cover_crop(&CoverCrop { dry_matter_kg_per_ha, nitrogen_percent: n, cereal: i.cereal })?;
        grounded(&term.working)?;
        answers.insert(n.to_string(), Answer::Rate(term.range.high));
        answers.insert(format!("{n} least"), Answer::Rate(term.range.low));
        if term.notes.iter().any(|note| note == nitrogen::COVER_MIX && note.contains("near nothing")) {
            answers.insert(format!("{n} mix"), Answer::Text("near nothing".into()));
        }
    }
    Ok(answers)
}

/// What soil organic matter gives in a season: "least" and "most", on a layer of the given mass.
fn organic_matter(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        printed: String,
        soil_lb_per_acre: f64,
        cap_percent: Option<f64>,
    }
    let i: In = inputs(table)?;
    let by_ignition = Method::LossOnIgnition.slug();
    let reading = read_cell(&cell(Analyte::OrganicMatter, &i.printed, Unit::Percent, &by_ignition, Basis::Mass))?.0;
    // The density at which 15 cm of soil have this mass.
    let density = RateUnit::LbPerAcre.read(i.soil_lb_per_acre).0 / (15.0 * 100_000.0);
    let cap = i.cap_percent.unwrap_or(nitrogen::OM_CAP_PERCENT);
    let term = nitrogen::from_organic_matter(&reading, &ground(15.0, density, Texture::Loam), cap)?;
    grounded(&term.working)?;
    Ok(Answers::from([
        ("least".into(), Answer::Rate(term.range.low)),
        ("most".into(), Answer::Rate(term.range.high)),
        ("said".into(), Answer::Text(if term.notes.len() > 1 { "capped" } else { "in full" }.into())),
    ]))
}

/// What compost gives at each ratio of carbon to nitrogen.
fn compost(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        total_kg_per_ha: f64,
        ratios: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let says = |ratio: f64| {
        let term = nitrogen::compost(TotalN(i.total_kg_per_ha), Some(ratio));
        let says = match term.range.high.0 {
            high if high > 0.0 => "releases",
            _ if term.notes.iter().any(|note| note.contains("ties nitrogen up")) => "ties up",
            _ => "neither",
        };
        (ratio.to_string(), Answer::Text(says.into()))
    };
    Ok(i.ratios.into_iter().map(says).collect())
}

/// Sulfur to lower pH: "least", "most" in g/m², "at once", or "refused".
fn sulfur(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        ph: String,
        target_ph: f64,
        texture: Texture,
        carbonate: Option<String>,
    }
    let i: In = inputs(table)?;
    let ph = read_cell(&ph_cell(Analyte::Ph, &i.ph, &water()))?.0;
    let by_gas = Method::Calcimeter.slug();
    let carbonate = i.carbonate.map(|c| read_cell(&cell(Analyte::Carbonate, &c, Unit::Percent, &by_gas, Basis::Mass)));
    let carbonate = carbonate.transpose()?.map(|(reading, _)| reading);
    let ground = ground(15.0, 1.3, i.texture);
    match lime::lower_ph(&ph, i.target_ph, carbonate.as_ref(), &Signs::default(), &ground) {
        Ok(rate) => {
            grounded(&rate.working)?;
            let grams = |rate: GramsPerM2| Answer::Plain(rate.0, "g/m²");
            Ok(Answers::from([
                ("least".into(), grams(rate.low)),
                ("most".into(), grams(rate.high)),
                ("at once".into(), grams(rate.at_once)),
            ]))
        }
        Err(not) => {
            let spent = not.spent_on_lime.map(|spent| ("spent first".to_owned(), Answer::Rate(spent)));
            let refused = ("refused".to_owned(), Answer::Text(not.reason));
            Ok(spent.into_iter().chain([refused]).collect())
        }
    }
}
