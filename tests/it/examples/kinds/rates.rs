//! Kinds of worked example for what is given to crops: rates by class or index, what crops take
//! up, and what one extract might read by another.

use super::{Answer, Answers, Cell, Kind, Outcome, inputs, read_cell, set, some};
use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    crop::Crop,
    element::{Element, Form},
    estimate,
    ground::{Cover, Ground, Texture},
    guideline::{Gives, Kept, LandUse, RateRow},
    method::Method,
    need::{self, Reason, Way},
    offtake,
    quantity::{Centimetres, KgPerHa, SquareMetres},
    record::{Basis, Unit},
    standing::{Chosen, Setting, stand},
};
use serde::Deserialize;

pub const KINDS: &[Kind] =
    &[("rate_equation", rate_equation), ("crop_rate", crop_rate), ("taken_up", taken_up), ("estimate", estimated)];

/// A printed equation at indices: by the index the rate in the printed unit, by "… kept" what
/// was done to keep it to what it was made for; by "withheld" why it is not followed.
fn rate_equation(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        guideline: String,
        number: String,
        index: Vec<f64>,
    }
    let i: In = inputs(table)?;
    let guideline = set(&i.guideline, false)?;
    let named = |row: &&RateRow| matches!(&row.gives, Gives::Equation(equation) if equation.number == i.number);
    let row = some(guideline.rates.iter().flat_map(|rates| &rates.rows).find(named))?;
    let Gives::Equation(equation) = &row.gives else { return Err("a table".into()) };
    let mut answers = Answers::new();
    for index in &i.index {
        let (rate, kept) = equation.at(*index);
        let words = match kept {
            Kept::AsPrinted => "as printed",
            Kept::AtZero => "at zero",
            Kept::AtLowest => "at its lowest",
        };
        answers.insert(index.to_string(), Answer::Plain(rate, ""));
        answers.insert(format!("{index} kept"), Answer::Text(words.into()));
    }
    let withheld = row.withheld.as_ref().map_or("no", |_| "yes");
    answers.insert("withheld".into(), Answer::Text(withheld.into()));
    Ok(answers)
}

/// What a plot is given for a crop, by printed cells, one at a time: cell, reading, standing,
/// need. By the printed text the rate in the form that bags print, by "… reason" why.
fn crop_rate(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        guideline: String,
        #[serde(default)]
        memory: bool,
        analyte: Analyte,
        method: Method,
        unit: Unit,
        #[serde(default)]
        basis: Basis,
        printed: Vec<String>,
        crop: String,
    }
    let i: In = inputs(table)?;
    let guideline = set(&i.guideline, i.memory)?;
    let crop = some(Crop::find(&i.crop))?;
    let setting = Setting {
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: &Signs::default(),
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        capacity: Err("the example gives no capacity".into()),
    };
    let ground = Ground {
        area: SquareMetres(10.0),
        cover: Cover::Open,
        texture: Texture::Loam,
        bulk_density: None,
        depth: Centimetres(20.0),
        stones: 0.0,
    };
    let mut answers = Answers::new();
    for printed in &i.printed {
        let (reading, _) = read_cell(&Cell {
            analyte: i.analyte,
            printed: printed.clone(),
            unit: i.unit,
            method: i.method.slug(),
            form: None,
            basis: i.basis,
            layer: None,
            divisor: None,
        })?;
        let standing = stand(&[Chosen { reading: &reading, reasons: &[] }], &guideline, &setting);
        let nutrient = some(standing.get(i.analyte))?;
        let need = some(need::of_season(&standing, nutrient, &ground, None, &Way::default(), &[crop]))?;
        if need.working.as_ref().is_some_and(|w| !w.is_grounded() || w.cells().is_empty()) {
            return Err("the working of the rate does not reach its cell".into());
        }
        let share = Form::oxide_of(need.element).map_or(1.0, Form::to_element);
        let why = if need.reason == Reason::None { "none" } else { need.reason.words() };
        answers.insert(printed.clone(), Answer::Rate(KgPerHa(need.kg_per_ha.0 / share)));
        answers.insert(format!("{printed} reason"), Answer::Text(why.into()));
    }
    Ok(answers)
}

/// What a crop takes up or carries away at a yield, by one published table.
fn taken_up(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        table: String,
        crop: String,
        t_per_ha: f64,
    }
    let i: In = inputs(table)?;
    let crop = some(Crop::find(&i.crop))?;
    let row = some(offtake::rows_for(&crop).into_iter().find(|row| row.table == i.table))?;
    let rate = |(element, span): (&Element, &offtake::Span)| {
        (element.symbol().to_owned(), Answer::Rate(KgPerHa(span.mid * i.t_per_ha)))
    };
    Ok(row.kg_per_t.iter().map(rate).collect())
}

/// What results by one extract might read by another, by one publisher's line.
fn estimated(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        by: String,
        element: Element,
        from: Method,
        to: Method,
        mg_per_kg: Vec<f64>,
        ph: Option<f64>,
    }
    let i: In = inputs(table)?;
    let line = some(estimate::lines(i.element, &i.from, &i.to, i.ph).find(|line| line.by == i.by))?;
    Ok(i.mg_per_kg.iter().map(|mg| (mg.to_string(), Answer::Plain(line.at(*mg), "mg/kg"))).collect())
}
