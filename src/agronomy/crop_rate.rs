//! A published rate for the crops of a season, by the class or the index that the soil test
//! found: cell → reading → class or index → row of the publisher's table → kg of element per
//! hectare. It gives no rate for a crop that the publisher does not name, and says so; it
//! never turns a limit such as "<5" into a rate below what the publisher prints for it.

use super::{
    crop::Crop,
    guideline::{Changed, Gives, Kept, RateEquation, RateRow, Rates},
    need::{Need, Reason, capitalised},
    quantity::KgPerHa,
    record::Qualifier,
    standing::{NutrientStanding, num},
    working::{Figure, Origin, Working},
};

/// The need of a season: the rate for the crops where the guideline prints one, else what
/// raises the soil to its aim, with the reason why there is no rate.
pub fn or_raise(raise: Option<Need>, nutrient: &NutrientStanding, crops: &[Crop]) -> Option<Need> {
    match crop_rate(nutrient, crops) {
        None => raise,
        Some(Ok(need)) => Some(need),
        Some(Err(why)) => raise.map(|mut need| {
            need.notes.push(why);
            need
        }),
    }
}

/// The rate for the most demanding of these crops. `None` where the guideline prints no rates
/// of this nutrient by this test; the sentence says why there is none for these crops.
pub fn crop_rate(nutrient: &NutrientStanding, crops: &[Crop]) -> Option<Result<Need, String>> {
    let title = &nutrient.rates.first()?.title;
    if crops.is_empty() {
        return Some(Err(format!(
            "“{title}” has rates for crops; none is named for this season, so the soil is raised to its aim."
        )));
    }
    let (mut found, mut without): (Vec<(Crop, Need)>, Vec<String>) = (vec![], vec![]);
    for crop in crops {
        match for_crop(nutrient, crop) {
            Ok(need) => found.push((*crop, need)),
            Err(why) => without.push(why),
        }
    }
    let most = found.iter().max_by(|(_, a), (_, b)| a.kg_per_ha.0.total_cmp(&b.kg_per_ha.0)).cloned();
    let Some((governs, mut need)) = most else { return Some(Err(without.join(" "))) };
    let mut notes = without;
    let others: Vec<String> =
        found.iter().filter(|(crop, _)| *crop != governs).map(|(crop, _)| crop.in_sentence()).collect();
    if !others.is_empty() {
        notes.push(format!(
            "The rate for {} governs; the other crops of the season ask for no more: {}.",
            governs.in_sentence(),
            others.join(", ")
        ));
    }
    if let Some(working) = &mut need.working {
        working.notes.extend(notes.iter().cloned());
    }
    need.notes.extend(notes);
    Some(Ok(need))
}

/// The rate for one crop, or why there is none.
fn for_crop(nutrient: &NutrientStanding, crop: &Crop) -> Result<Need, String> {
    let name = crop.in_sentence();
    let (rates, row) = nutrient
        .rates
        .iter()
        .find_map(|rates| Some((rates, rates.row(crop)?)))
        .ok_or_else(|| no_rate_for(nutrient, &name))?;
    if let Some(why) = &row.withheld {
        return Err(format!("The printed rate for {name} is not followed: {why}"));
    }
    let (printed, formula, step) = match &row.gives {
        Gives::Table(table) => {
            let class = nutrient.class.as_ref().ok_or("The test gave only a limit, and its class is not known.")?;
            let (column, rate) =
                table.at(class).ok_or_else(|| format!("“{}” has no column for the class “{class}”.", rates.title))?;
            (rate, format!("{class}: column {column}, {}: {}", row.printed_for, num(rate)), Kept::AsPrinted)
        }
        Gives::Equation(equation) => {
            if nutrient.qualifier == Qualifier::Above {
                return Err("The test gave only a lower limit, and the rate above it is not known.".into());
            }
            let index = nutrient.printed.ok_or("The test gives no index to put into the equation.")?;
            let (rate, kept) = equation.at(index);
            (rate, equation_words(equation, index), kept)
        }
    };
    Ok(need_of(nutrient, rates, row, printed, formula, step))
}

/// The equation with what it gives by itself, and only then what that was kept to.
fn equation_words(equation: &RateEquation, index: f64) -> String {
    let index = index.max(0.0);
    let mut words = format!(
        "equation {}: {} × {i}² − {} × {i} + {} = {}",
        equation.number,
        equation.square,
        -equation.linear,
        equation.constant,
        num(equation.plain(index)),
        i = num(index)
    );
    let mut reached = equation.plain(index);
    if let Some(vertex) = equation.vertex().filter(|vertex| index > *vertex) {
        reached = equation.plain(vertex);
        words.push_str(&format!("; lowest at I = {}: {}", num(vertex.round()), num(reached)));
    }
    if reached < 0.0 {
        words.push_str("; never below 0 → 0");
    }
    words
}

fn no_rate_for(nutrient: &NutrientStanding, crop: &str) -> String {
    let named = nutrient.rates.iter().flat_map(|rates| &rates.rows).any(|row| !row.crops.is_empty());
    let titles: Vec<&str> = nutrient.rates.iter().map(|rates| rates.title.as_str()).collect();
    match named {
        true => format!("“{}” names no rate for {crop}; the soil is raised to its aim instead.", titles.join("” or “")),
        false => format!(
            "Which rate of “{}” is meant for {crop} is not known here; the soil is raised to its aim instead.",
            titles.join("” or “")
        ),
    }
}

fn need_of(
    nutrient: &NutrientStanding,
    rates: &Rates,
    row: &RateRow,
    printed: f64,
    formula: String,
    kept: Kept,
) -> Need {
    let rate = KgPerHa(printed * rates.kg_per_ha());
    let element = rates.element;
    let mut notes: Vec<String> = Vec::new();
    match kept {
        Kept::AsPrinted => {}
        Kept::AtZero => notes.push("The equation comes down to nothing here: none is given.".into()),
        Kept::AtLowest => {
            notes.push("Beyond its lowest point the equation would rise again; the rate stays at the lowest.".into());
        }
    }
    if let Some(give_or_take) = rates.give_or_take.filter(|_| printed > 0.0) {
        let own = row.changed.as_ref().is_some_and(|changed| !changed.kept);
        let whose = if own { "It is" } else { "The publisher’s advice is" };
        notes.push(format!("{whose} this rate give or take {} {}.", num(give_or_take), rates.unit_words()));
    }
    if rates.is_from_memory(row) {
        notes.push("This rate is from memory, unverified.".into());
    }
    notes.push("It is for one season and for this crop, whatever mass of soil the plot has.".into());
    notes.extend(rates.notes.iter().chain(&row.notes).cloned());
    // Only a table's lowest class or an equation's least index speaks for "below".
    let at_least = nutrient.qualifier == Qualifier::Below && matches!(row.gives, Gives::Equation(_));
    let below = nutrient.class_working.clone().unwrap_or_else(|| nutrient.found.working.clone());
    // The figures may be the publisher's own although somebody here named the crops.
    let (origin, source, own) = match &row.changed {
        Some(changed @ Changed { kept: true, source: Some(publisher), .. }) => {
            let named = format!("The crops of this rate were named here: {}.", changed.who_and_when());
            (Origin::Published, publisher.clone(), Some(named))
        }
        Some(changed) => (Origin::Chosen, rates.source_of(row).clone(), Some(changed.beside_publisher())),
        None => (Origin::Published, rates.source_of(row).clone(), None),
    };
    let figure = Figure::significant(printed, rates.unit_words(), 3);
    let mut leaf =
        Working::leaf(format!("Rate for {}", row.printed_for), figure, origin).cite(source.clone()).note(&rates.title);
    notes.extend(own.clone());
    leaf.notes.extend(own);
    let shown = Figure::significant(rate.0, KgPerHa::UNIT, 3);
    let formula = match rates.form {
        None if rates.unit.kg_per_ha() == 1.0 => format!("{formula} {}", rates.unit_words()),
        _ => format!(
            "{formula} {}; × {} = {} kg/ha of {}",
            rates.unit_words(),
            num(rates.kg_per_ha()),
            num(rate.0),
            element.name()
        ),
    };
    let title = format!("{} for {}", capitalised(element.name()), row.printed_for);
    let mut working = Working::step(title, shown, formula, [below, leaf]).cite(source);
    working.notes.clone_from(&notes);
    let reason = if rate.0 > 0.0 { Reason::CropRate } else { Reason::None };
    Need { element, kg_per_ha: rate, reason, working: Some(working), at_least, notes }
}
