//! Kinds of worked example for the rest of a sheet: lime, nitrogen, salt, trace elements,
//! contaminants.

use super::{Answer, Answers, Cell, Kind, Outcome, inputs, one, read_cell};
use glebe::agronomy::{
    analyte::Analyte,
    contaminant::{self, Content, Side},
    element::Element,
    ground::{Cover, Ground, Texture},
    guideline::LandUse,
    lime::{self, FinenessScheme, LimeMethod, LimeProduct, LimeValue, Soil, SplitRule, UkSoil},
    method::Method,
    micronutrient::{self, IndexOf},
    nitrogen::{self, Corn, CoverCrop, Livestock, OrganicN, PreviousCrop},
    quantity::{Centimetres, CmolPerKg, DsPerM, GramsPerCm3, Percent, SquareMetres},
    rate::RateUnit,
    reading::Reading,
    record::{Basis, Unit},
    salinity::{self, Exchange, GypsumCase, MediaTest, Solution, Tolerance},
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
    ("ec_class", ec_class),
    ("paste_estimates", paste_estimates),
    ("media_class", media_class),
    ("salt_yield", salt_yield),
    ("sodium_ratio", sodium_ratio),
    ("gypsum", gypsum),
    ("manganese_index", manganese_index),
    ("screening", screening),
];

fn ground(depth_cm: f64, bulk_density: f64, texture: Texture) -> Ground {
    Ground {
        area: SquareMetres(1.0),
        cover: Cover::Open,
        texture,
        bulk_density: Some(GramsPerCm3(bulk_density)),
        depth: Centimetres(depth_cm),
        stones: 0.0,
    }
}

fn ph_cell(analyte: Analyte, printed: &str, method: &str) -> Cell {
    cell(analyte, printed, Unit::Ph, method, Basis::Mass)
}

/// The lime requirement by a method. With `buffers` or `phs` one answer for each of them;
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

fn water() -> String {
    Method::PhWater.slug()
}

/// The British optimum and target pH.
fn uk_ph(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        land_use: LandUse,
        soil: String,
    }
    let i: In = inputs(table)?;
    let row = lime::uk_ph(i.land_use, &i.soil).ok_or("no such row")?;
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
    let rule = SplitRule::find(&i.rule).ok_or("no such rule")?;
    let parts = |rate: f64| Answer::Plain(rule.parts(i.unit.read(rate)).len() as f64, "");
    let mut answers: Answers = i.rates.iter().map(|rate| (rate.to_string(), parts(*rate))).collect();
    answers.insert("months apart".into(), Answer::Plain(f64::from(rule.months_apart), ""));
    Ok(answers)
}

fn cell(analyte: Analyte, printed: &str, unit: Unit, method: &str, basis: Basis) -> Cell {
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

fn grounded(working: &Working) -> Result<(), String> {
    if working.is_grounded() { Ok(()) } else { Err("the working does not reach its cells".into()) }
}

fn nitrate(ppm: &str) -> Result<Reading, String> {
    let method = Method::PotassiumChloride.slug();
    Ok(read_cell(&cell(Analyte::NitrateN, ppm, Unit::Ppm, &method, Basis::Mass))?.0)
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
        let advice = match (i.test.as_str(), i.base_lb_per_acre) {
            ("rutgers", None) => nitrogen::rutgers_manured_sweet_corn(&reading),
            ("ohio", Some(base)) => nitrogen::ohio_state(&reading, RateUnit::LbPerAcre.read(base)),
            ("uc", None) => nitrogen::uc_classes(&reading),
            ("vegetables", None) => nitrogen::vegetables(&reading),
            _ => Err("no such test".into()),
        }?;
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
    let advice = nitrogen::penn_state(&nitrate(&i.printed)?, &corn)?;
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
    }
    Ok(answers)
}

fn conductivity(printed: &str, method: &str) -> Result<Reading, String> {
    Ok(read_cell(&cell(Analyte::Conductivity, printed, Unit::DsPerM, method, Basis::Mass))?.0)
}

/// The class of each conductivity.
fn ec_class(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: String,
        clay: Option<String>,
        printed: Vec<String>,
    }
    let i: In = inputs(table)?;
    let particles = Method::ParticleSize.slug();
    let clay = i.clay.map(|c| read_cell(&cell(Analyte::Clay, &c, Unit::Percent, &particles, Basis::Mass)));
    let clay = clay.transpose()?.map(|(reading, _)| reading);
    let mut answers = Answers::new();
    for printed in &i.printed {
        let text = match salinity::class(&conductivity(printed, &i.method)?, clay.as_ref()) {
            Ok(answer) => {
                grounded(&answer.working)?;
                answer.class.to_owned()
            }
            Err(why) => why,
        };
        answers.insert(printed.clone(), Answer::Text(text));
    }
    Ok(answers)
}

/// The paste's conductivity from 1:5 by each author.
fn paste_estimates(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        printed: String,
    }
    let i: In = inputs(table)?;
    let estimates = salinity::paste_from_1to5(&conductivity(&i.printed, &Method::Ec1to5.slug())?)?;
    Ok(estimates.into_iter().map(|e| (e.author.to_owned(), Answer::Plain(e.value.0, "dS/m"))).collect())
}

/// The class of a potting mix.
fn media_class(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        test: String,
        values: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let test = match i.test.as_str() {
        "1:2" => MediaTest::OneToTwo,
        "saturated" => MediaTest::Saturated,
        "pour_through" => MediaTest::PourThrough,
        other => return Err(format!("no test “{other}”")),
    };
    let class = |v: f64| Ok((v.to_string(), Answer::Text(salinity::media_class(test, v)?.0.into())));
    i.values.into_iter().map(class).collect()
}

/// % of yield at conductivities of the paste, or the conductivity at which a % is left.
fn salt_yield(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        crop: String,
        #[serde(default)]
        paste: Vec<f64>,
        #[serde(default)]
        yields: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let row = Tolerance::find(&i.crop).ok_or("no such row")?;
    let at = i.paste.iter().map(|ec| (ec.to_string(), Answer::Plain(row.yield_percent(DsPerM(*ec)), "%")));
    let left = i.yields.iter().map(|y| (format!("{y} %"), Answer::Plain(row.paste_for(*y).0, "dS/m")));
    Ok(at.chain(left).collect())
}

/// Sodium adsorption from mg/L, with each cation in meq/L and the share of the exchange estimated.
fn sodium_ratio(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        ca: Option<f64>,
        mg: Option<f64>,
        na: Option<f64>,
        sar: Option<f64>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    let (ratio, working) = match (i.ca, i.mg, i.na, i.sar) {
        (Some(ca), Some(mg), Some(na), None) => {
            let solution = Solution::from_mg_per_l(ca, mg, na);
            let parts = [("Ca", &solution.calcium), ("Mg", &solution.magnesium), ("Na", &solution.sodium)];
            answers.extend(parts.map(|(name, part)| (name.to_owned(), Answer::Plain(part.0.0, "meq/L"))));
            salinity::sodium_adsorption(&solution)?
        }
        (None, None, None, Some(sar)) => {
            let figure = glebe::agronomy::working::Figure::new(sar, "", 0);
            (sar, Working::leaf("SAR", figure, glebe::agronomy::working::Origin::Entered))
        }
        _ => return Err("three cations or the ratio".into()),
    };
    grounded(&working)?;
    answers.insert("SAR".into(), Answer::Plain(ratio, ""));
    answers.insert("ESP".into(), Answer::Plain(salinity::esp_from_sar(ratio, working)?.0.0, "%"));
    Ok(answers)
}

/// A gypsum requirement.
fn gypsum(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cec: f64,
        esp_from: f64,
        esp_to: f64,
        depth_cm: f64,
        bulk_density: f64,
        losses: f64,
        purity: f64,
        #[serde(default)]
        moisture: f64,
    }
    let i: In = inputs(table)?;
    let case = GypsumCase {
        exchange: Exchange { capacity: CmolPerKg(i.cec), esp_from: Percent(i.esp_from), esp_to: Percent(i.esp_to) },
        depth: Centimetres(i.depth_cm),
        bulk_density: GramsPerCm3(i.bulk_density),
        losses: i.losses,
        purity: Percent(i.purity),
        moisture: Percent(i.moisture),
    };
    match salinity::gypsum_requirement(&case) {
        Ok(rate) => {
            grounded(&rate.working)?;
            one(Answer::Rate(rate.rate))
        }
        Err(why) => Ok(Answers::from([("refused".into(), Answer::Text(why))])),
    }
}

/// A manganese availability index: Rutgers from ppm, North Carolina from mg/L or its own index.
fn manganese_index(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        of: String,
        printed: String,
        ph: String,
    }
    let i: In = inputs(table)?;
    let (of, unit, basis) = match i.of.as_str() {
        "rutgers" => (IndexOf::Rutgers, Unit::Ppm, Basis::Mass),
        "north_carolina" => (IndexOf::NorthCarolina, Unit::MgPerL, Basis::Volume),
        other => return Err(format!("no index “{other}”")),
    };
    let extract = Method::Mehlich3Icp.slug();
    let manganese = read_cell(&cell(Analyte::Element(Element::Mn), &i.printed, unit, &extract, basis))?.0;
    let ph = read_cell(&ph_cell(Analyte::Ph, &i.ph, &water()))?.0;
    let index = micronutrient::manganese_index(of, &manganese, &ph)?;
    grounded(&index.working)?;
    Ok(Answers::from([
        (String::new(), Answer::Plain(index.value, "")),
        ("class".into(), Answer::Text(index.class.into())),
    ]))
}

/// On which side of each published value a total content lies.
fn screening(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        set: String,
        ph: Option<f64>,
        levels: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for level in &i.levels {
        let total = Method::Total.slug();
        let reading = read_cell(&cell(Analyte::Element(i.element), level, Unit::MgPerKg, &total, Basis::Mass))?.0;
        let Content::Total(total) = contaminant::content(&reading)? else { return Err("not a total".into()) };
        let screening = contaminant::screen(&total, i.ph, None, true);
        let found = screening.comparisons.iter().find(|c| c.set.slug == i.set).ok_or("this set does not apply")?;
        grounded(&found.working)?;
        let side = match found.side {
            Side::Below => "below",
            Side::Within => "within",
            Side::AtOrAbove => "at or above",
            Side::NotKnown => "not known",
        };
        answers.insert(level.clone(), Answer::Text(side.into()));
    }
    Ok(answers)
}
