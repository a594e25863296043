//! Kinds of worked example for what the years bring and ask: metals brought on, phosphate beyond
//! what went, how often to test, which test suits a pH, how far labs part, what lime and autumn
//! manure are worth.

use super::{
    Answer, Answers, Kind, Outcome, inputs,
    interpretation::{cell, grounded},
    one, read_cell, some,
};
use glebe::agronomy::{
    amendment::Kind as Sort,
    analyte::Analyte,
    balance::{Books, Input},
    calendar::intervals,
    choice::{SuitsPh, suits_ph},
    confidence::TestError,
    contaminant::{Side as Against, content_sets, holdings, load_sets, loads},
    crop::Crop,
    element::{Element, Form},
    lab_check::horwitz,
    lime::neutralising_value_of,
    material::inch_of_compost,
    method::Method,
    nitrogen::{TotalN, usable_after_autumn},
    quantity::{Grams, GramsPerCm3, KgPerHa, MgPerKg, MgPerL, SquareMetres, by_mass, scooped_density},
    rate::MassUnit,
    record::{Application, Basis, Unit},
    salinity::relative_yield,
    spacing::{Side, Spread, spacing},
    surplus::phosphate_surplus,
};
use jiff::civil::Date;
use serde::Deserialize;

pub const KINDS: &[Kind] = &[
    ("metal_load", metal_load),
    ("metal_content", metal_content),
    ("test_interval", test_interval),
    ("horwitz", horwitz_line),
    ("phosphorus_test", phosphorus_test),
    ("neutralising_value", neutralising_value),
    ("autumn_manure", autumn_manure),
    ("phosphate_surplus", surplus),
    ("compost_inch", compost_inch),
    ("by_scoop", by_scoop),
    ("spacing", apart),
    ("salt_kept", salt_kept),
];

/// So much of an element on a plot of 10 m², where 1 g is 1 kg/ha.
fn given(element: Element, on: Date, kg_per_ha: f64) -> Application {
    Application {
        key: 1,
        applied_on: on,
        amendment: "the example’s".into(),
        mass_g: KgPerHa(kg_per_ha).on(SquareMetres(10.0)).0 * 2.0,
        content: [(element, 0.5)].into(),
        availability: Default::default(),
        manure: false,
        organic: false,
    }
}

/// What was brought of a metal beside a set: "brought", "most" over the time that it counts, and
/// "says".
fn metal_load(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        set: String,
        element: Element,
        today: Date,
        given: Vec<(Date, f64)>,
        #[serde(default)]
        memory: bool,
    }
    let i: In = inputs(table)?;
    some(load_sets().iter().find(|set| set.slug == i.set))?;
    let applications: Vec<Application> = i.given.iter().map(|(on, rate)| given(i.element, *on, *rate)).collect();
    let all = loads(&applications, SquareMetres(10.0), i.today, None, i.memory);
    let Some(load) = all.iter().find(|load| load.set.slug == i.set && load.element == i.element) else {
        return Ok(Answers::from([("says".into(), Answer::Text("nothing".into()))]));
    };
    grounded(&load.working)?;
    let says = if load.beyond { "beyond" } else { "not beyond" };
    Ok(Answers::from([
        ("brought".into(), Answer::Rate(load.brought)),
        ("most".into(), Answer::Rate(load.most)),
        ("says".into(), Answer::Text(says.into())),
    ]))
}

/// On which side of a set each content of a material lies, mg/kg of it as it is.
fn metal_content(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        set: String,
        element: Element,
        mg_per_kg: Vec<f64>,
        moisture: Option<f64>,
        #[serde(default)]
        memory: bool,
    }
    let i: In = inputs(table)?;
    some(content_sets().iter().find(|set| set.slug == i.set))?;
    let says = |mg: &f64| {
        let all = holdings([(i.element, mg * 1e-6)], i.moisture, None, i.memory);
        let side = all.iter().find(|one| one.set.slug == i.set).map(|one| one.side);
        let text = match side {
            Some(Against::Below) => "below",
            Some(Against::Within) => "within",
            Some(Against::AtOrAbove) => "at or above",
            Some(Against::NotKnown) | None => "nothing",
        };
        (mg.to_string(), Answer::Text(text.into()))
    };
    Ok(i.mg_per_kg.iter().map(says).collect())
}

/// How often a publisher asks for a test, and whether ground last sampled on a day is past it.
fn test_interval(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        key: String,
        last: Option<Date>,
        #[serde(default)]
        days: Vec<Date>,
    }
    let i: In = inputs(table)?;
    let interval = some(intervals().iter().find(|interval| interval.key == i.key))?;
    let mut answers = Answers::from([
        ("from".to_owned(), Answer::Plain(f64::from(interval.years.0), "years")),
        ("to".to_owned(), Answer::Plain(f64::from(interval.years.1), "years")),
        ("is".to_owned(), Answer::Text(if interval.rule { "a rule" } else { "advice" }.into())),
    ]);
    for day in i.days {
        let past = if interval.is_past(i.last, day) { "past" } else { "not past" };
        answers.insert(day.to_string(), Answer::Text(past.into()));
    }
    Ok(answers)
}

/// How far labs part at contents in mg/kg, one standard deviation in %.
fn horwitz_line(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mg_per_kg: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let mut answers = Answers::new();
    for mg in i.mg_per_kg {
        let answer = match horwitz(mg) {
            Some(TestError::Relative(cv)) => Answer::Plain(cv * 100.0, "%"),
            _ => Answer::Text("none".into()),
        };
        answers.insert(mg.to_string(), answer);
    }
    Ok(answers)
}

/// How a test of phosphorus suits each pH.
fn phosphorus_test(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        method: Method,
        ph: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let says = |ph: &f64| {
        let text = match suits_ph(&i.method, *ph) {
            Some(SuitsPh::Well) => "well",
            Some(SuitsPh::Usable) => "usable",
            Some(SuitsPh::NotUsed) => "not used",
            None => "not said",
        };
        (ph.to_string(), Answer::Text(text.into()))
    };
    Ok(i.ph.iter().map(says).collect())
}

/// What pure materials neutralise, % of calcium carbonate.
fn neutralising_value(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        formulas: Vec<String>,
    }
    let i: In = inputs(table)?;
    let value = |formula: &String| {
        let answer = neutralising_value_of(formula).map_or(Answer::Text("none".into()), |v| Answer::Plain(v, "%"));
        (formula.clone(), answer)
    };
    Ok(i.formulas.iter().map(value).collect())
}

/// The nitrogen that is usable of manure spread in autumn: of a tonne and of a short ton.
fn autumn_manure(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        total_percent: f64,
    }
    let i: In = inputs(table)?;
    let of = |unit: MassUnit| {
        let total = unit.grams() * i.total_percent / 100.0;
        Answer::Mass(Grams(usable_after_autumn(TotalN(total))))
    };
    Ok(Answers::from([("tonne".into(), of(MassUnit::Tonne)), ("short ton".into(), of(MassUnit::ShortTon))]))
}

/// Phosphate put on that nothing carried away: "a year", kg P₂O₅/ha, and "says".
fn surplus(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        today: Date,
        /// Day, and kg P₂O₅/ha.
        given: Vec<(Date, f64)>,
    }
    let i: In = inputs(table)?;
    let input = |(on, phosphate): &(Date, f64)| Input {
        application: given(Element::P, *on, phosphate * Form::P2O5.to_element()),
        kind: Sort::Salt,
    };
    let books = Books { area: SquareMetres(10.0), inputs: i.given.iter().map(input).collect(), ..Books::default() };
    let found = some(phosphate_surplus(&books, i.today))?;
    grounded(&found.working)?;
    let says = if found.above { "above" } else { "not above" };
    Ok(Answers::from([("a year".into(), Answer::Rate(found.a_year)), ("says".into(), Answer::Text(says.into()))]))
}

/// The trial of an inch of compost.
fn compost_inch(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {}
    let In {} = inputs(table)?;
    let [n, p2o5, k2o] = inch_of_compost::brought().map(Answer::Rate);
    let mut answers = Answers::from([
        ("N".to_owned(), n),
        ("P2O5".to_owned(), p2o5),
        ("K2O".to_owned(), k2o),
        ("advised".to_owned(), Answer::Rate(inch_of_compost::advised())),
        ("said".to_owned(), Answer::Text(inch_of_compost::words())),
    ]);
    for (year, salts) in inch_of_compost::SALTS_DS_PER_M.into_iter().enumerate() {
        answers.insert(format!("salts after {year}"), Answer::Plain(salts, "dS/m"));
    }
    Ok(answers)
}

/// Whether lime and ammonium, one planned for days after the other went on, have to wait.
fn apart(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        /// "lime" or "ammonium".
        first: String,
        on: Date,
        days: Vec<Date>,
    }
    let i: In = inputs(table)?;
    let (first, then) = match i.first.as_str() {
        "lime" => (Side::Lime, Side::Ammonium),
        "ammonium" => (Side::Ammonium, Side::Lime),
        other => return Err(format!("no side “{other}”")),
    };
    let before = [Spread { what: "the first".into(), side: first, on: i.on }];
    let says = |day: &Date| {
        let waits = !spacing(&[("the second".into(), then)], &before, *day).is_empty();
        (day.to_string(), Answer::Text(if waits { "waits" } else { "may go on" }.into()))
    };
    Ok(i.days.iter().map(says).collect())
}

/// What salts leave of a crop's yield, as its page says it; by "note" and "why" the words.
fn salt_kept(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        crops: Vec<String>,
        paste: String,
        #[serde(default)]
        gypsum_rich: bool,
    }
    let i: In = inputs(table)?;
    let paste = Method::EcPaste.slug();
    let reading = read_cell(&cell(Analyte::Conductivity, &i.paste, Unit::DsPerM, &paste, Basis::Mass))?.0;
    let mut answers = Answers::new();
    for name in &i.crops {
        let crop = some(Crop::find(name))?;
        match relative_yield(&crop, &reading, i.gypsum_rich) {
            Ok(kept) => {
                grounded(&kept.working)?;
                answers.insert(name.clone(), Answer::Plain(kept.percent.0, "%"));
                answers.insert(format!("{name} note"), Answer::Text(kept.notes.join(" ")));
            }
            Err(_) => {
                answers.insert(name.clone(), Answer::Text("no numbers".into()));
            }
        }
    }
    Ok(answers)
}

/// A result by volume as one by mass, where the scooped soil weighs so much, and back.
fn by_scoop(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mg_per_l: f64,
        scooped: Option<f64>,
        mg_per_kg: Option<f64>,
    }
    let i: In = inputs(table)?;
    match (i.scooped, i.mg_per_kg) {
        (Some(density), None) => {
            let mass = some(by_mass(MgPerL(i.mg_per_l), GramsPerCm3(density)))?;
            one(Answer::Plain(mass.0, "mg/kg"))
        }
        (None, Some(mg)) => one(Answer::Plain(some(scooped_density(MgPerL(i.mg_per_l), MgPerKg(mg)))?.0, "g/cm³")),
        _ => Err("one of `scooped` and `mg_per_kg`".into()),
    }
}
