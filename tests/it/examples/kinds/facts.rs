//! Kinds of worked example for single facts that stand beside a figure: manure where phosphorus
//! is high, what manure has ready, rates of trace elements by publisher, how extracts go together,
//! what is usually found, what the season moves, how printed figures are shown.

use super::{
    Answer, Answers, Cell, Kind, Outcome, ReadSheet, inputs,
    interpretation::{cell, ground},
    one, read_cell, read_sheet, set, some,
};
use glebe::agronomy::{
    amendment,
    analyte::Analyte,
    caution::{Caution, Context, cautions_for},
    choice::chloride_apart_percent,
    cores::found_cores,
    crop::Crop,
    drift::seasonal,
    element::Element,
    exchange_capacity::{self, Parts},
    ground::Texture,
    lab_check::{Together, recommended},
    lime::{as_farm_lime, lb_per_ton},
    manure_phosphorus::{caution, manure_by},
    method::Method,
    micronutrient::{Advised, Tissue},
    nitrogen::{Farmyard, SpreadIn, next_crop_percent, readily_available, untested_matter},
    offtake,
    pass::{Pass, pass_of},
    quantity::{Grams, KgPerHa, Percent},
    rate::{MassUnit, RateUnit},
    reading::Divisors,
    record::{Basis, Unit},
    saturation::{beside_modified_morgan, usually_found},
};
use jiff::civil::Date;
use serde::Deserialize;

pub const KINDS: &[Kind] = &[
    ("manure_by_phosphorus", manure_by_phosphorus),
    ("farmyard", farmyard),
    ("untested_matter", untested),
    ("trace_rates", trace_rates),
    ("tissue", tissue),
    ("together", together),
    ("decimals", reported_decimals),
    ("usual_share", usual_share),
    ("share_beside_morgan", share_beside_morgan),
    ("set_says", set_says),
    ("fruit_holds", fruit_holds_of),
    ("usual_density", usual_density),
    ("at_once", at_once),
    ("seasonal", season_moves),
    ("found_cores", cores_found),
    ("chloride_apart", chloride_apart),
    ("farm_lime", farm_lime),
    ("lb_per_ton", effective_lb),
    ("pass", pass),
    ("shares_shown", shares_shown),
];

/// What one state lets manure be reckoned by at each level, and by "… said" whether a plan with
/// manure is cautioned.
fn manure_by_phosphorus(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: Method,
        printed: Vec<String>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for printed in &i.printed {
        let phosphorus = cell(Analyte::Element(Element::P), printed, Unit::MgPerKg, &i.method.slug(), Basis::Mass);
        let phosphorus = read_cell(&phosphorus)?.0;
        let says = manure_by(&phosphorus).map_or("not said", |rule| rule.label());
        answers.insert(printed.clone(), Answer::Text(says.into()));
        let said = match caution(&phosphorus, &["Cattle manure"]) {
            Some(words) if words.contains("Cattle manure") && words.contains("come first") => "cautioned",
            Some(words) => return Err(words),
            None => "nothing",
        };
        answers.insert(format!("{printed} said"), Answer::Text(said.into()));
        if caution(&phosphorus, &[]).is_some() {
            return Err("cautioned without a manure".into());
        }
    }
    Ok(answers)
}

/// Ready nitrogen of a tonne of farmyard manure, "old" and "fresh", and % of the total to the next
/// crop: "autumn light", "spring heavy fresh worked in", …
fn farmyard(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        of: String,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    match readily_available(i.of.parse::<Farmyard>()?) {
        None => {
            answers.insert("ready".into(), Answer::Text("no data".into()));
        }
        Some((old, fresh)) => {
            for (name, kg) in [("old", old), ("fresh", fresh)] {
                answers.insert(name.into(), Answer::Mass(Grams(MassUnit::Kilogram.grams() * kg)));
            }
        }
    }
    for when in SpreadIn::ALL {
        for (light, soil) in [(true, "light"), (false, "heavy")] {
            for (fresh, age) in [(true, "fresh"), (false, "old")] {
                for (worked_in, how) in [(true, "worked in"), (false, "on top")] {
                    let percent = next_crop_percent(*when, light, fresh, worked_in);
                    answers.insert(format!("{} {soil} {age} {how}", when.slug()), Answer::Plain(percent, "%"));
                }
            }
        }
    }
    Ok(answers)
}

/// Organic matter, %, that is taken where none was tested, by texture; "none" where none is.
fn untested(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        textures: Vec<Texture>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for texture in i.textures {
        let answer = match untested_matter(&ground(15.0, 1.3, texture)) {
            Some((percent, range, words)) if words.contains(&range.words()) => Answer::Plain(percent, "%"),
            Some((.., words)) => return Err(words),
            None => Answer::Text("none".into()),
        };
        answers.insert(texture.slug().into(), answer);
    }
    Ok(answers)
}

/// What one publisher gives of an element: "least" and "most", where it names how.
fn trace_rates(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        by: String,
        #[serde(default)]
        how: String,
    }
    let i: In = inputs(table)?;
    let rate = some(Advised::of(i.element).find(|rate| rate.by == i.by && rate.how.starts_with(&i.how)))?;
    Ok(Answers::from([("least".into(), Answer::Rate(rate.least)), ("most".into(), Answer::Rate(rate.most))]))
}

/// What a publisher makes of contents of dry leaves, mg/kg.
fn tissue(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        mg_per_kg: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let tissue = some(Tissue::of(i.element))?;
    Ok(i.mg_per_kg.iter().map(|v| (v.to_string(), Answer::Text(tissue.says(*v).into()))).collect())
}

/// How two extracts went together: "r", and "told", % of how soils differ.
fn together(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        one: Method,
        other: Method,
    }
    let i: In = inputs(table)?;
    let Some(found) = Together::of(i.element, &i.one, &i.other) else {
        return one(Answer::Text("not known".into()));
    };
    if Together::of(i.element, &i.other, &i.one) != Some(found) {
        return Err("the other way round it is another".into());
    }
    Ok(Answers::from([
        ("r".into(), Answer::Plain(found.r, "")),
        ("told".into(), Answer::Plain(found.told_percent(), "%")),
    ]))
}

/// Decimals that are recommended for results of a test, each by its number.
fn reported_decimals(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        analyte: Analyte,
        method: Method,
        unit: Unit,
        results: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let says = |result: &f64| {
        let words = match recommended(i.analyte, &i.method, i.unit, *result) {
            Some((least, most)) if least == most => least.to_string(),
            Some((least, most)) => format!("{least} to {most}"),
            None => "not said".into(),
        };
        (result.to_string(), Answer::Text(words))
    };
    Ok(i.results.iter().map(says).collect())
}

/// Where shares of potassium, calcium and magnesium together lie beside what is usually found.
fn usual_share(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        percent: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let says =
        |share: &f64| Ok((share.to_string(), Answer::Text(some(usually_found(i.element, Percent(*share)))?.into())));
    i.percent.iter().map(says).collect()
}

/// Where shares of the whole capacity lie beside what one laboratory prints with modified Morgan.
fn share_beside_morgan(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        element: Element,
        percent: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let says = |share: &f64| {
        let answer = beside_modified_morgan(i.element, Percent(*share)).unwrap_or("nothing");
        (share.to_string(), Answer::Text(answer.into()))
    };
    Ok(i.percent.iter().map(says).collect())
}

/// Whether a set says something beside its limits: each of the words is looked for in what it says
/// of itself.
fn set_says(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        guideline: String,
        words: Vec<String>,
    }
    let i: In = inputs(table)?;
    let set = set(&i.guideline, false)?;
    let sentences = [&set.evidence_for, &set.evidence_against, &set.notes].into_iter().flatten().chain([&set.scope]);
    let all: Vec<&String> = sentences.collect();
    let says = |words: &String| {
        let said = if all.iter().any(|sentence| sentence.contains(words)) { "said" } else { "not said" };
        (words.clone(), Answer::Text(said.into()))
    };
    Ok(i.words.iter().map(says).collect())
}

/// What the fruit holds of the uptake: "… least" and "… most" in %, and by "… kg" of the row of a crop.
fn fruit_holds_of(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        crop: String,
        elements: Vec<Element>,
    }
    let i: In = inputs(table)?;
    let crop = some(Crop::find(&i.crop))?;
    let row = some(offtake::rows_for(&crop).into_iter().find(|row| row.table == "heg"))?;
    let mut answers = Answers::new();
    for element in i.elements {
        let (low, high) = some(offtake::fruit_holds(element))?;
        answers.insert(format!("{element} least"), Answer::Plain(low, "%"));
        answers.insert(format!("{element} most"), Answer::Plain(high, "%"));
        let held = some(row.in_fruit(element))?;
        answers.insert(format!("{element} kg least"), Answer::Plain(held.low, "kg"));
        answers.insert(format!("{element} kg most"), Answer::Plain(held.high, "kg"));
    }
    Ok(answers)
}

/// The bulk density usually found in a texture: "… from" and "… to"; and by "… at D" whether the
/// plot's page asks about a measured D.
fn usual_density(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        textures: Vec<Texture>,
        #[serde(default)]
        measured: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for texture in i.textures {
        let (from, to) = texture.usual_bulk_density();
        answers.insert(format!("{} from", texture.slug()), Answer::Plain(from.0, "g/cm³"));
        answers.insert(format!("{} to", texture.slug()), Answer::Plain(to.0, "g/cm³"));
        for density in &i.measured {
            let asked = if ground(15.0, *density, texture).too_light().is_some() { "asked" } else { "not asked" };
            answers.insert(format!("{} at {density}", texture.slug()), Answer::Text(asked.into()));
        }
    }
    Ok(answers)
}

/// Whether doses of a product, t/ha, are said to be more than may go on at once.
fn at_once(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        slug: String,
        t_per_ha: Vec<f64>,
        words: Vec<String>,
    }
    let i: In = inputs(table)?;
    let product = some(amendment::find(&i.slug))?;
    let said = |dose: Option<f64>| {
        let dose = dose.map(|tonnes| RateUnit::TonnePerHa.read(tonnes));
        let notes = cautions_for(product, &Context { dose, ..Context::default() });
        notes.into_iter().find(|note| note.caution == Caution::PoultryAtOnce)
    };
    let says = |tonnes: &f64| {
        let text = if said(Some(*tonnes)).is_some() { "too much at once" } else { "nothing" };
        (tonnes.to_string(), Answer::Text(text.into()))
    };
    let mut answers: Answers = i.t_per_ha.iter().map(says).collect();
    let standing = said(None).map_or_else(String::new, |note| note.text);
    answers.extend(i.words.iter().map(|words| {
        let text = if standing.contains(words) { "said" } else { "not said" };
        (words.clone(), Answer::Text(text.into()))
    }));
    Ok(answers)
}

/// Whether the time of year alone may explain how two tests lie apart.
fn season_moves(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        analyte: Analyte,
        first: (Date, f64),
        then: Vec<(Date, f64)>,
    }
    let i: In = inputs(table)?;
    let says = |then: &(Date, f64)| {
        let may = seasonal(i.analyte, "mg/kg", i.first, *then).is_some();
        (format!("{} {}", then.0, then.1), Answer::Text(if may { "may be the season" } else { "nothing" }.into()))
    };
    Ok(i.then.iter().map(says).collect())
}

/// Cores for the nearness of a good protocol on ground as uneven as was found.
fn cores_found(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {}
    let In {} = inputs(table)?;
    let (few, many) = found_cores()?;
    Ok(Answers::from([
        ("fewest".into(), Answer::Plain(f64::from(few.cores), "")),
        ("most".into(), Answer::Plain(f64::from(many.cores), "")),
        ("fewest at first".into(), Answer::Plain(f64::from(few.at_first), "")),
        ("most at first".into(), Answer::Plain(f64::from(many.at_first), "")),
    ]))
}

/// How far ammonium chloride lay from a double leaching, %.
fn chloride_apart(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {}
    let In {} = inputs(table)?;
    let (calcium, magnesium) = chloride_apart_percent();
    Ok(Answers::from([("Ca".into(), Answer::Plain(calcium, "%")), ("Mg".into(), Answer::Plain(magnesium, "%"))]))
}

/// Farm lime of average value for a rate of pure lime, kg/ha.
fn farm_lime(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        pure_kg_per_ha: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Rate(as_farm_lime(KgPerHa(i.pure_kg_per_ha))))
}

/// Lb of effective value in a short ton, of a share in %.
fn effective_lb(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        effective_percent: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(lb_per_ton(i.effective_percent), "lb"))
}

/// Which of the catalogue may lie in one bucket with others.
fn pass(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        slugs: Vec<String>,
    }
    let i: In = inputs(table)?;
    let says = |slug: &String| {
        let text = match pass_of(some(amendment::find(slug))?, false) {
            Pass::DryMix => "with others",
            Pass::Lime => "with lime",
            Pass::Trace => "with trace elements",
            Pass::Alone => "by itself",
        };
        Ok((slug.clone(), Answer::Text(text.into())))
    };
    i.slugs.iter().map(says).collect()
}

/// Base saturation and the share of sodium as they are shown, of a sheet with a stated capacity.
fn shares_shown(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cells: Vec<Cell>,
    }
    let i: In = inputs(table)?;
    let exact = Divisors::exact();
    let ReadSheet { signs, choices } = read_sheet(&i.cells, &exact)?;
    let capacity = exchange_capacity::capacity(&Parts::gather(&choices), &signs, &exact).map_err(|w| w.reason)?;
    let shown = |held: &exchange_capacity::Held| Answer::Text(held.working.figure.to_string().replace('\u{a0}', " "));
    Ok(Answers::from([
        ("base saturation".into(), shown(some(capacity.base_saturation.as_ref())?)),
        ("sodium".into(), shown(some(capacity.cations.get(&Element::Na))?)),
    ]))
}
