//! One plot under several guidelines, side by side: class, aim and need of each nutrient in one
//! unit, by how much the guidelines part, and why. It never averages or ranks them, and those
//! that do not apply are listed with their reason, not left out in silence.

use super::{
    analyte::Analyte,
    choice::Overrule,
    crop::Crop,
    crop_rate,
    element::Element,
    estimate,
    ground::Ground,
    guideline::{Criterion, Facts, Guideline, LandUse, Position, Rule},
    liking::Tested,
    lime::in_water,
    method::Method,
    need::{self, Need, Way},
    quantity::{KgPerHa, MgPerKg, MgPerL, by_volume_kg_per_ha},
    reading::{Level, number},
    source::Citation,
    standing::{NutrientStanding, Worked},
    survey::{Present, Survey},
    working::{Figure, Origin, Working},
};
use jiff::civil::Date;
use std::collections::{BTreeMap, BTreeSet};

/// What a rule goes by.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Philosophy {
    /// Enough or not enough of a nutrient for crops to stop responding.
    Sufficiency,
    /// A share of the exchange capacity.
    Saturation,
    /// An index of level and pH.
    Index,
    /// A published rate for the crop, by the class or the index found.
    CropRate,
    /// What is usually found; no aim.
    Usual,
    /// Left alone on purpose.
    LeftAlone,
}

impl Philosophy {
    fn of(rule: &Rule) -> Philosophy {
        match rule {
            Rule::Classes(_) | Rule::Critical { .. } => Philosophy::Sufficiency,
            Rule::Saturation(_) => Philosophy::Saturation,
            Rule::AvailabilityIndex { .. } => Philosophy::Index,
            Rule::Typical { .. } => Philosophy::Usual,
            Rule::LeftAlone(_) => Philosophy::LeftAlone,
        }
    }

    /// As a person reads it, after "goes by".
    pub const fn words(self) -> &'static str {
        match self {
            Philosophy::Sufficiency => "whether there is enough for the crop",
            Philosophy::Saturation => "a share of the exchange capacity",
            Philosophy::Index => "an index of level and pH",
            Philosophy::CropRate => "a rate for the crop by what the test found",
            Philosophy::Usual => "what is usually found",
            Philosophy::LeftAlone => "leaving it alone",
        }
    }
}

/// One guideline's word on one nutrient. Masses are kg of element per hectare of the plot's own
/// layer, whatever mass of soil the publisher prints with, so that they can be compared.
#[derive(Clone, Debug, PartialEq)]
pub struct Opinion {
    pub guideline_slug: String,
    pub guideline_title: String,
    pub philosophy: Philosophy,
    pub method: Method,
    pub level: Level,
    pub found: Figure,
    /// From the printed cell to what was found.
    pub found_working: Working,
    /// In the publisher's words.
    pub class: Option<String>,
    pub position: Position,
    /// The aim in the unit of what was found.
    pub aim: Option<Worked>,
    /// The aim as a mass in the plot's layer, where it is one of an element.
    pub aim_kg_per_ha: Option<KgPerHa>,
    /// From the aim to that mass.
    pub aim_mass_working: Option<Working>,
    /// Never below zero; `None` for what is not given, such as pH.
    pub need: Option<Need>,
    /// From what was found to the class or the need.
    pub working: Working,
    pub notes: Vec<String>,
    /// Said where a floor or a ceiling in mg/kg holds an aim that is a share of the capacity.
    pub held: Option<String>,
    pub source: Option<Citation>,
}

impl Opinion {
    /// The result that it rests on, for showing it in a unit that a person likes.
    pub fn tested(&self, analyte: Analyte) -> Tested<'_> {
        Tested { analyte, method: &self.method, level: self.level, working: &self.found_working }
    }
}

/// A guideline that says nothing, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Silent {
    pub guideline_slug: String,
    pub guideline_title: String,
    pub reason: String,
}

/// What makes guidelines part.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Cause {
    Philosophy,
    Extractant,
    /// By mass or by volume, or another mass of soil per area.
    Convention,
    Crop,
    /// The same kind of rule for the same test; the publishers draw the line elsewhere.
    Calibration,
}

impl Cause {
    /// A word for a table.
    pub const fn words(self) -> &'static str {
        match self {
            Cause::Philosophy => "philosophy",
            Cause::Extractant => "extractant",
            Cause::Convention => "convention",
            Cause::Crop => "crop",
            Cause::Calibration => "where the line is drawn",
        }
    }
}

/// How guidelines part over a nutrient.
#[derive(Clone, Debug, PartialEq)]
pub struct Disagreement {
    /// The least and the most that is asked for.
    pub least: KgPerHa,
    pub most: KgPerHa,
    /// Some call it short and others do not.
    pub over_shortness: bool,
    /// Each cause with a sentence, in order.
    pub why: Vec<(Cause, String)>,
    /// `most` − `least`, down to the cells.
    pub working: Working,
}

impl Disagreement {
    /// By how much they part.
    pub fn by(&self) -> KgPerHa {
        KgPerHa(self.most.0 - self.least.0)
    }
}

/// One nutrient under every guideline.
#[derive(Clone, Debug, PartialEq)]
pub struct Row {
    pub analyte: Analyte,
    /// In the order that the guidelines were given.
    pub opinions: Vec<Opinion>,
    pub silent: Vec<Silent>,
    pub disagreement: Option<Disagreement>,
}

impl Row {
    /// How far the guidelines part, as a share of the highest aim; 0 where they do not.
    pub fn apart(&self) -> f64 {
        let Some(parted) = &self.disagreement else { return 0.0 };
        let aims = self.opinions.iter().filter_map(|opinion| opinion.aim_kg_per_ha).map(|aim| aim.0);
        let highest = aims.fold(parted.most.0, f64::max);
        if highest > 0.0 { parted.by().0 / highest } else { 0.0 }
    }
}

impl SecondOpinion {
    /// The nutrients with the worst disagreement first: those that some call short and others do
    /// not, then by how far the needs part; where guidelines agree, in the order of the sheet.
    pub fn worst_first(&self) -> Vec<&Row> {
        let mut rows: Vec<&Row> = self.rows.iter().collect();
        let over_shortness = |row: &Row| row.disagreement.as_ref().is_some_and(|parted| parted.over_shortness);
        rows.sort_by(|a, b| {
            (over_shortness(b), b.disagreement.is_some())
                .cmp(&(over_shortness(a), a.disagreement.is_some()))
                .then(b.apart().total_cmp(&a.apart()))
        });
        rows
    }
}

/// The whole.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SecondOpinion {
    /// Nutrients that at least one guideline speaks of, in the order of [`Analyte`].
    pub rows: Vec<Row>,
    /// Nutrients that were read and that none speaks of.
    pub unspoken: Vec<Analyte>,
    /// Guidelines that say nothing of this plot at all, with their reasons.
    pub left_out: Vec<Silent>,
}

/// Places a plot under each guideline. Every one chooses its own reading, as it does alone.
/// `crops` are those of the season; a guideline that prints a rate for them asks for that.
pub fn second_opinion<'a>(
    survey: &Survey,
    ground: &Ground,
    guidelines: impl IntoIterator<Item = &'a Guideline>,
    land_use: LandUse,
    overrules: &[Overrule],
    crops: &[Crop],
    on: Date,
) -> SecondOpinion {
    let guidelines: Vec<&Guideline> = guidelines.into_iter().collect();
    let mut rows: BTreeMap<Analyte, Row> = BTreeMap::new();
    let mut left_out = Vec::new();
    let mut conditions: BTreeMap<Analyte, Vec<Grounds>> = BTreeMap::new();
    let mut ph = None;
    for guideline in &guidelines {
        let present = survey.present(ground, guideline, land_use, overrules, on);
        let facts = facts(&present, ground, land_use);
        ph = ph.or(facts.ph);
        let mut reasons = BTreeSet::new();
        let mut spoke = false;
        for nutrient in &present.standing.nutrients {
            let row = rows.entry(nutrient.analyte).or_insert_with(|| Row {
                analyte: nutrient.analyte,
                opinions: vec![],
                silent: vec![],
                disagreement: None,
            });
            let criterion = guideline.criterion(nutrient.analyte, &nutrient.method, nutrient.level, &facts).ok();
            match opinion(guideline, &guidelines, nutrient, criterion, ground, crops) {
                Ok(opinion) => {
                    spoke = true;
                    let grounds = Grounds::of(&opinion, criterion);
                    conditions.entry(nutrient.analyte).or_default().push(grounds);
                    row.opinions.push(opinion);
                }
                Err(reason) => {
                    reasons.insert(reason.clone());
                    row.silent.push(silent(guideline, reason));
                }
            }
        }
        if !spoke {
            let reason = if reasons.is_empty() {
                "Nothing was read on this plot yet.".to_owned()
            } else {
                reasons.into_iter().collect::<Vec<_>>().join(" ")
            };
            left_out.push(silent(guideline, reason));
        }
    }
    let gone: BTreeSet<&str> = left_out.iter().map(|s| s.guideline_slug.as_str()).collect();
    let (mut spoken, mut unspoken) = (Vec::new(), Vec::new());
    for (analyte, mut row) in rows {
        row.silent.retain(|s| !gone.contains(s.guideline_slug.as_str()));
        if row.opinions.is_empty() {
            unspoken.push(analyte);
            continue;
        }
        row.disagreement = disagreement(&row.opinions, conditions.get(&analyte).map_or(&[], Vec::as_slice));
        if let (Some(parted), Some(element)) = (&mut row.disagreement, analyte.element()) {
            let said = estimated(&row.opinions, element, ph).into_iter().map(|text| (Cause::Extractant, text));
            parted.why.extend(said);
        }
        spoken.push(row);
    }
    SecondOpinion { rows: spoken, unspoken, left_out }
}

fn silent(guideline: &Guideline, reason: String) -> Silent {
    Silent { guideline_slug: guideline.slug.clone(), guideline_title: guideline.title.clone(), reason }
}

fn facts(present: &Present, ground: &Ground, land_use: LandUse) -> Facts {
    let ph = present.choices.get(&Analyte::Ph).map(|c| &c.chosen).filter(|r| in_water(&r.method));
    Facts { land_use, texture: ground.texture, ph: ph.map(|r| r.level.number()), carbonate: present.signs.calcareous() }
}

fn opinion(
    guideline: &Guideline,
    all: &[&Guideline],
    nutrient: &NutrientStanding,
    criterion: Option<&Criterion>,
    ground: &Ground,
    crops: &[Crop],
) -> Result<Opinion, String> {
    if let Position::NoCriterion(why) = &nutrient.position {
        return Err(why.clone());
    }
    let criterion = criterion.ok_or("No limits apply.")?;
    // A collection that takes a row from a set that stands beside it would be counted twice.
    if criterion.set != guideline.slug
        && let Some(own) = all.iter().find(|g| g.slug == criterion.set)
    {
        return Err(format!("Takes its limits for {} from {}, which is shown.", nutrient.analyte.name(), own.title));
    }
    let raise = need::raise(nutrient, ground, None, &Way::default());
    let by_rate = matches!(crop_rate::crop_rate(nutrient, crops), Some(Ok(_)));
    let need = crop_rate::or_raise(raise, nutrient, crops);
    let working = need
        .as_ref()
        .and_then(|need| need.working.clone())
        .or_else(|| nutrient.class_working.clone())
        .unwrap_or_else(|| nutrient.found.working.clone());
    let mass = nutrient.aim_level.zip(nutrient.analyte.element()).and_then(|(l, e)| in_layer(l, e, ground));
    let aim_mass_working = match (mass, &nutrient.aim, nutrient.analyte.element()) {
        (Some(mass), Some(aim), Some(element)) => Some(in_layer_working(mass, aim, element, ground)),
        _ => None,
    };
    Ok(Opinion {
        guideline_slug: guideline.slug.clone(),
        guideline_title: guideline.title.clone(),
        philosophy: if by_rate { Philosophy::CropRate } else { Philosophy::of(&criterion.rule) },
        method: nutrient.method.clone(),
        level: nutrient.level,
        found: nutrient.found.figure.clone(),
        found_working: nutrient.found.working.clone(),
        class: nutrient.class.clone(),
        position: nutrient.position.clone(),
        aim: nutrient.aim.clone(),
        aim_kg_per_ha: mass,
        aim_mass_working,
        need,
        working,
        notes: nutrient.notes.clone(),
        held: nutrient.held().map(str::to_owned),
        source: nutrient.source.clone(),
    })
}

/// A level as a mass in the plot's own layer; by volume, depth alone enters.
fn in_layer(level: Level, element: Element, ground: &Ground) -> Option<KgPerHa> {
    match level {
        Level::MgPerKg(v) => Some(ground.layer().mass(v)),
        Level::MgPerL(MgPerL(v)) => Some(by_volume_kg_per_ha(MgPerL(v), ground.depth)),
        Level::CmolPerKg(v) => Some(ground.layer().mass(MgPerKg(v.0 * element.mg_per_cmol_charge()?))),
        _ => None,
    }
}

fn in_layer_working(mass: KgPerHa, aim: &Worked, element: Element, ground: &Ground) -> Working {
    let by_volume = aim.figure.unit.contains("/L");
    let (over, layer) = if by_volume {
        let depth = Working::leaf("Working depth", Figure::new(ground.depth.0, "cm", 0), Origin::Entered);
        (format!("{} cm × 0.1", number(ground.depth.0)), depth)
    } else {
        let kg = number(ground.layer().soil_kg_per_ha());
        let per_charge = element.mg_per_cmol_charge().filter(|_| aim.figure.unit != MgPerKg::UNIT);
        let to_mg = per_charge.map_or_else(String::new, |mg| format!(" × {} mg per cmol(+)", number(mg)));
        (format!("{kg} kg/ha of soil{to_mg} ÷ 1,000,000"), need::soil_working(ground))
    };
    let formula = format!("{} × {over} = {} kg/ha", aim.figure, number(mass.0));
    let figure = Figure::significant(mass.0, KgPerHa::UNIT, 2);
    Working::step("The aim in the plot's own layer", figure, formula, [aim.working.clone(), layer])
}

/// What an opinion rests on, beside its number.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Grounds {
    title: String,
    philosophy: Philosophy,
    method: Method,
    convention: String,
    crops: Vec<&'static str>,
}

impl Grounds {
    fn of(opinion: &Opinion, criterion: Option<&Criterion>) -> Grounds {
        let by_volume = opinion.found.unit.contains("/L");
        let convention = match criterion.and_then(|c| c.layer.filter(|_| c.unit.is_per_area())) {
            Some(layer) => layer.words.to_owned(),
            None if by_volume => "by volume of scooped soil".to_owned(),
            None => "by mass of soil".to_owned(),
        };
        Grounds {
            title: opinion.guideline_title.clone(),
            philosophy: opinion.philosophy,
            method: opinion.method.clone(),
            convention,
            crops: criterion.map(|c| c.when.uses.iter().map(|u| u.label()).collect()).unwrap_or_default(),
        }
    }
}

/// Whether and why opinions part. Only those with an aim count: what is usually found, and what
/// a limit of the lab leaves open, takes no side.
fn disagreement(opinions: &[Opinion], grounds: &[Grounds]) -> Option<Disagreement> {
    let sides: Vec<(&Opinion, &Grounds, f64)> = opinions
        .iter()
        .zip(grounds)
        .filter(|(opinion, _)| {
            matches!(opinion.position, Position::Short | Position::AtAim | Position::Above | Position::Excess)
        })
        .map(|(opinion, grounds)| (opinion, grounds, opinion.need.as_ref().map_or(0.0, |n| n.kg_per_ha.0)))
        .collect();
    let least = sides.iter().map(|(.., need)| *need).reduce(f64::min)?;
    let most = sides.iter().map(|(.., need)| *need).reduce(f64::max)?;
    let short = sides.iter().filter(|(o, ..)| o.position == Position::Short).count();
    let over_shortness = short > 0 && short < sides.len();
    // A twentieth is less than any of these tests can tell.
    if !over_shortness && most - least <= 0.05 * most {
        return None;
    }
    // pH and salts are called short or not, and no mass of them is given.
    let formula = if sides.iter().any(|(opinion, ..)| opinion.need.is_some()) {
        format!("{} − {} = {} kg/ha", number(most), number(least), number(most - least))
    } else {
        format!("{short} of {} call it short; it is not a nutrient that is given", sides.len())
    };
    let inputs = sides.iter().map(|(opinion, ..)| opinion.working.clone());
    let figure = Figure::significant(most - least, KgPerHa::UNIT, 2);
    let working = Working::step("Difference between guidelines", figure, formula, inputs)
        .note("Each in kg of the element per hectare of the plot's own layer; a rate for the crops where the guideline prints one.");
    let grounds: Vec<&Grounds> = sides.iter().map(|(_, grounds, _)| *grounds).collect();
    Some(Disagreement { least: KgPerHa(least), most: KgPerHa(most), over_shortness, why: causes(&grounds), working })
}

/// Titles in a sentence, in quotes, for they hold commas: “A”, “A” and “B”, “A”, “B” and “C”.
fn listed(titles: &[&str]) -> String {
    let quoted: Vec<String> = titles.iter().map(|title| format!("“{title}”")).collect();
    match &quoted[..] {
        [] => String::new(),
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    }
}

/// What one test might have read by the other, by published lines: why the figures differ, no more.
fn estimated(opinions: &[Opinion], element: Element, ph: Option<f64>) -> Vec<String> {
    let mut tests: Vec<&Opinion> = Vec::new();
    for opinion in
        opinions.iter().filter(|opinion| opinion.found.unit == MgPerKg::UNIT && opinion.found.sign.is_empty())
    {
        if !tests.iter().any(|test| test.method == opinion.method) {
            tests.push(opinion);
        }
    }
    let mut said = Vec::new();
    for (one, other) in tests.iter().flat_map(|one| tests.iter().map(move |other| (*one, *other))) {
        let all: Vec<(f64, &str)> = estimate::lines(element, &one.method, &other.method, ph)
            .map(|line| (line.at(one.found.value), line.source.publisher.as_str()))
            .collect();
        if all.is_empty() {
            continue;
        }
        let each: Vec<String> = all.iter().map(|(mg, by)| format!("about {} ({by})", number(mg.round()))).collect();
        said.push(format!(
            "{} by {} might be, by {}, {}; read by it was {}. An estimate from other soils: it explains, it does not convert.",
            one.found,
            one.method,
            other.method,
            each.join(" or "),
            other.found
        ));
    }
    said
}

fn causes(sides: &[&Grounds]) -> Vec<(Cause, String)> {
    // Each verb for one guideline and for several.
    let differs = |(one, several): (&str, &str), of: &dyn Fn(&Grounds) -> String| {
        let mut by_word: BTreeMap<String, Vec<&str>> = BTreeMap::new();
        for side in sides {
            by_word.entry(of(side)).or_default().push(&side.title);
        }
        (by_word.len() > 1).then(|| {
            let part = |(word, titles): (String, Vec<&str>)| {
                let verb = if titles.len() == 1 { one } else { several };
                format!("{} {verb} {word}", listed(&titles))
            };
            by_word.into_iter().map(part).collect::<Vec<_>>().join("; ")
        })
    };
    let mut why = Vec::new();
    if let Some(parts) = differs(("goes by", "go by"), &|g| g.philosophy.words().into()) {
        why.push((Cause::Philosophy, format!("They ask different questions: {parts}.")));
    }
    if let Some(parts) = differs(("reads", "read"), &|g| g.method.label().into()) {
        why.push((Cause::Extractant, format!("They read different tests, which draw out different amounts: {parts}.")));
    }
    if let Some(parts) = differs(("counts", "count"), &|g| g.convention.clone()) {
        why.push((Cause::Convention, format!("Their limits were printed on different soil: {parts}.")));
    }
    let crops = |g: &Grounds| match g.crops.is_empty() {
        true => "any crop".to_owned(),
        false => g.crops.join(", "),
    };
    if let Some(parts) = differs(("is for", "are for"), &crops) {
        why.push((Cause::Crop, format!("Their limits were made for different crops: {parts}.")));
    }
    if why.is_empty() {
        let sentence = "They ask the same question of the same test and draw the line elsewhere: each was found in trials of its own soils and crops.";
        why.push((Cause::Calibration, sentence.into()));
    }
    why
}
