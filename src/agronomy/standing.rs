//! Where a plot stands under a guideline: per nutrient what was found, the aim, found as a
//! percentage of it, the class in the publisher's words and how likely a shortage is. Every
//! figure carries its working down to the printed cell. It never converts between
//! extractants, and never expresses pH, salts, aluminium or sodium as a share of an aim.

use super::{
    analyte::Analyte,
    carbonate::Signs,
    choice::Choice,
    confidence::{self, TestError},
    drift::ErrorSettings,
    element::Element,
    exchange_capacity::Capacity,
    ground::Texture,
    guideline::{Criterion, Facts, Guideline, LandUse, Position, Rates},
    method::Method,
    reading::{Level, Reading},
    record::Qualifier,
    source::Citation,
    working::{Figure, Origin, Working},
};
use std::sync::Arc;
use verdict::Verdict;

mod verdict;

/// A reading that speaks for its analyte, and why it was picked over others.
#[derive(Clone, Copy, Debug)]
pub struct Chosen<'a> {
    pub reading: &'a Reading,
    pub reasons: &'a [String],
}

impl<'a> From<&'a Choice> for Chosen<'a> {
    fn from(choice: &'a Choice) -> Self {
        Chosen { reading: &choice.chosen, reasons: &choice.reasons }
    }
}

/// What about the plot decides which rules apply.
#[derive(Clone, Debug)]
pub struct Setting<'a> {
    pub land_use: LandUse,
    pub texture: Texture,
    /// Signs of free lime and of salts.
    pub signs: &'a Signs,
    /// The capacity as [`exchange_capacity::capacity`](super::exchange_capacity::capacity) gives it,
    /// which withholds what free lime or salts have inflated; or the sentence that says why none can be trusted.
    pub capacity: Result<&'a Capacity, String>,
    /// Errors of tests: the site's own where it has set any.
    pub errors: &'a ErrorSettings,
}

impl Setting<'_> {
    /// The facts that the conditions of rules are held against.
    pub fn facts(&self, ph: Option<f64>) -> Facts {
        Facts { land_use: self.land_use, texture: self.texture, ph, carbonate: self.signs.calcareous() }
    }
}

/// A plot under one guideline.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    pub guideline_slug: String,
    pub guideline_title: String,
    /// Signs of free lime were seen.
    pub calcareous: bool,
    /// In the order of [`Analyte`].
    pub nutrients: Vec<NutrientStanding>,
}

impl Standing {
    /// The standing of one analyte.
    pub fn get(&self, analyte: Analyte) -> Option<&NutrientStanding> {
        self.nutrients.iter().find(|n| n.analyte == analyte)
    }

    /// The nutrient whose shortage weighs most, where any is short.
    pub fn worst(&self) -> Option<&NutrientStanding> {
        let short = self.nutrients.iter().filter(|n| n.position == Position::Short);
        short.max_by(|a, b| a.shortage_weight().total_cmp(&b.shortage_weight()))
    }

    /// The nutrients that the publisher warns of excess of.
    pub fn excesses(&self) -> impl Iterator<Item = &NutrientStanding> {
        self.nutrients.iter().filter(|n| n.position == Position::Excess)
    }
}

/// A figure with its derivation.
#[derive(Clone, Debug, PartialEq)]
pub struct Worked {
    pub figure: Figure,
    pub working: Working,
}

impl Worked {
    fn new(working: Working) -> Worked {
        Worked { figure: working.figure.clone(), working }
    }
}

/// How likely the plot is truly short.
#[derive(Clone, Debug, PartialEq)]
pub struct Likelihood {
    /// 0 to 1.
    pub p_short: f64,
    pub words: &'static str,
    pub working: Working,
}

/// One nutrient of a plot under one guideline.
#[derive(Clone, Debug, PartialEq)]
pub struct NutrientStanding {
    pub analyte: Analyte,
    pub method: Method,
    /// The value found, or the limit where `qualifier` is one.
    pub level: Level,
    pub qualifier: Qualifier,
    pub found: Worked,
    /// In the unit of what was found.
    pub aim_level: Option<Level>,
    pub aim: Option<Worked>,
    /// From here on the publisher calls it above the best, in the unit of what was found.
    pub above: Option<Level>,
    /// From here on the publisher warns of excess, in the unit of what was found.
    pub ceiling: Option<Level>,
    pub percent_of_aim: Option<Worked>,
    /// Where the true percentage of the aim lies with 90 % probability.
    pub percent_range_90: Option<(f64, f64)>,
    /// The class, in the publisher's words where it has any.
    pub class: Option<String>,
    /// From what was found to the class.
    pub class_working: Option<Working>,
    pub position: Position,
    pub likelihood: Option<Likelihood>,
    /// Why this reading was used.
    pub why_this_reading: Vec<String>,
    pub notes: Vec<String>,
    /// The value in the unit, or the points of the index, that the limits are printed in.
    pub printed: Option<f64>,
    /// The rates for crops that the guideline prints by this test.
    pub rates: Vec<Arc<Rates>>,
    /// Who printed the limits.
    pub source: Option<Citation>,
}

impl NutrientStanding {
    /// Found ÷ aim, where a share of the aim means anything.
    pub fn ratio(&self) -> Option<f64> {
        self.percent_of_aim.as_ref().map(|percent| percent.figure.value / 100.0)
    }

    /// Where found ÷ aim truly lies with 90 % probability.
    pub fn ratio_range_90(&self) -> Option<(f64, f64)> {
        self.percent_range_90.map(|(low, high)| (low / 100.0, high / 100.0))
    }

    /// Ceiling ÷ aim.
    pub fn ceiling_ratio(&self) -> Option<f64> {
        let (ceiling, aim) = (self.ceiling?.number(), self.aim_level?.number());
        (self.percent_of_aim.is_some() && aim > 0.0).then(|| ceiling / aim)
    }

    /// The sentence that says that a floor or a ceiling in mg/kg holds the aim, where a share of
    /// the capacity would lie beyond it.
    pub fn held(&self) -> Option<&str> {
        self.notes.iter().map(String::as_str).find(|note| verdict::says_held(note))
    }

    /// How much a shortage weighs: the share of the aim that is missing times the chance
    /// that it truly is. 0 where nothing is short or nothing is known.
    pub fn shortage_weight(&self) -> f64 {
        let missing = self.ratio().map_or(0.5, |ratio| (1.0 - ratio).clamp(0.0, 1.0));
        let chance = self.likelihood.as_ref().map_or(1.0, |likelihood| likelihood.p_short);
        if self.position == Position::Short { missing * chance } else { 0.0 }
    }
}

/// Places every chosen reading under a guideline.
pub fn stand(chosen: &[Chosen<'_>], guideline: &Guideline, setting: &Setting<'_>) -> Standing {
    let ph = chosen.iter().map(|c| c.reading).find(|r| r.analyte == Analyte::Ph);
    let facts = setting.facts(ph.filter(|r| in_water(&r.method)).map(|r| r.level.number()));
    let mut nutrients: Vec<NutrientStanding> =
        chosen.iter().map(|c| Case { reading: c.reading, facts, setting, ph }.judge(c.reasons, guideline)).collect();
    nutrients.sort_by_key(|n| n.analyte);
    Standing {
        guideline_slug: guideline.slug.clone(),
        guideline_title: guideline.title.clone(),
        calcareous: setting.signs.calcareous(),
        nutrients,
    }
}

/// Places one reading under a guideline; `ph` is the reading that speaks for pH.
pub fn stand_one(
    reading: &Reading,
    ph: Option<&Reading>,
    guideline: &Guideline,
    setting: &Setting<'_>,
) -> NutrientStanding {
    let facts = setting.facts(ph.filter(|r| in_water(&r.method)).map(|r| r.level.number()));
    Case { reading, facts, setting, ph }.judge(&[], guideline)
}

fn in_water(method: &Method) -> bool {
    use Method::{PhWater, PhWater1to1, PhWater1to2, PhWater1to5, PhWater1to25};
    matches!(method, PhWater | PhWater1to1 | PhWater1to2 | PhWater1to25 | PhWater1to5)
}

/// Whether a share of the aim means anything for an analyte: never for pH, salts, aluminium or sodium.
pub fn has_share(analyte: Analyte) -> bool {
    match analyte {
        Analyte::Element(element) => !matches!(element, Element::Na | Element::Al | Element::H | Element::Pb),
        Analyte::NitrateN | Analyte::AmmoniumN | Analyte::OrganicMatter | Analyte::OrganicCarbon => true,
        _ => false,
    }
}

struct Case<'a> {
    reading: &'a Reading,
    facts: Facts,
    setting: &'a Setting<'a>,
    ph: Option<&'a Reading>,
}

impl Case<'_> {
    fn judge(&self, reasons: &[String], guideline: &Guideline) -> NutrientStanding {
        let reading = self.reading;
        let mut standing = NutrientStanding {
            analyte: reading.analyte,
            method: reading.method.clone(),
            level: reading.level,
            qualifier: reading.qualifier,
            found: Worked::new(reading.working.clone()),
            aim_level: None,
            aim: None,
            above: None,
            ceiling: None,
            percent_of_aim: None,
            percent_range_90: None,
            class: None,
            class_working: None,
            position: Position::NoCriterion(String::new()),
            likelihood: None,
            why_this_reading: reasons.to_vec(),
            notes: vec![],
            printed: None,
            rates: vec![],
            source: None,
        };
        let criterion = match guideline.criterion(reading.analyte, &reading.method, reading.level, &self.facts) {
            Ok(criterion) => criterion,
            Err(why) => {
                standing.position = Position::NoCriterion(why);
                return standing;
            }
        };
        standing.source = Some(criterion.source.clone());
        standing.notes.extend(criterion.notes.iter().cloned());
        if criterion.is_from_memory() {
            standing.notes.push("These limits are from memory, unverified.".into());
        }
        let printed = criterion.to_printed(reading.level).ok().filter(|v| v.is_finite());
        let (Some(printed), false) = (printed, reading.qualifier == Qualifier::NotDetected) else {
            standing.position =
                Position::NotKnown("Nothing was detected, and the sheet prints no limit that it was below.".into());
            return standing;
        };
        standing.printed = Some(printed);
        if let Some(per_point) = criterion.own_index.filter(|_| reading.is_exact()) {
            let points = (printed / per_point * 10.0).round() / 10.0;
            standing.notes.push(format!(
                "On its publisher’s own index that would be {}, worked out here from the tops of the classes.",
                num(points)
            ));
        }
        match self.verdict(criterion, printed) {
            Ok(verdict) => {
                standing.rates = guideline.rates_for(reading.analyte, &reading.method, &self.facts);
                self.fill(standing, criterion, verdict)
            }
            Err(why) => {
                standing.position = Position::NoCriterion(why);
                standing
            }
        }
    }

    /// Carries a verdict into the standing, with percentages and likelihood where they mean something.
    fn fill(&self, mut standing: NutrientStanding, criterion: &Criterion, verdict: Verdict) -> NutrientStanding {
        let reading = self.reading;
        let to_level = |printed: f64| criterion.to_level(printed, reading.level);
        standing.notes.extend(verdict.notes);
        standing.above = verdict.above.and_then(to_level);
        standing.ceiling = verdict.ceiling.and_then(to_level);
        if let Some(class) = &verdict.class {
            let inputs = std::iter::once(reading.working.clone()).chain(verdict.class_inputs);
            let printed = criterion.to_printed(reading.level).unwrap_or_default();
            let figure = Figure::new(printed, criterion.unit_words(), criterion.decimals);
            let working =
                Working::step(format!("{}: {class}", reading.analyte.name()), figure, verdict.class_formula, inputs)
                    .cite(criterion.source.clone());
            standing.class_working = Some(working);
        }
        standing.class = verdict.class;
        standing.position = verdict.position;
        let (Some(aim), Some(aim_printed)) = (verdict.aim, verdict.aim_printed) else { return standing };
        let Some(aim_level) = to_level(aim_printed) else { return standing };
        standing.aim_level = Some(aim_level);
        standing.aim = Some(Worked::new(aim.clone()));
        let (found, target) = (reading.level.number(), aim_level.number());
        if has_share(reading.analyte) && target > 0.0 {
            let percent = 100.0 * found / target;
            let mut figure = Figure::new(percent, "%", 0);
            figure.sign = reading.qualifier.sign().to_owned();
            let formula = format!("100 × {} ÷ {} = {}", num(found), num(target), figure);
            let title = format!("{}, share of the aim", reading.analyte.name());
            standing.percent_of_aim =
                Some(Worked::new(Working::step(title, figure, formula, [reading.working.clone(), aim.clone()])));
        }
        if reading.qualifier == Qualifier::Exact {
            standing.likelihood = self.likelihood(found, target, &aim);
            let error = self.setting.errors.of_lab(reading.analyte, &reading.lab).one_test;
            if let (true, TestError::Relative(cv)) = (standing.percent_of_aim.is_some(), error) {
                standing.percent_range_90 = confidence::percent_of_target_90(found, target, cv);
            }
        }
        standing
    }

    fn likelihood(&self, found: f64, target: f64, aim: &Working) -> Option<Likelihood> {
        let analyte = self.reading.analyte;
        let typical = self.setting.errors.of_lab(analyte, &self.reading.lab);
        let (error, source) = (typical.one_test, typical.source);
        let (p_short, error_figure, how) = match error {
            TestError::Relative(cv) if has_share(analyte) && target > 0.0 => (
                confidence::p_below_target_lognormal(found, target, cv),
                Figure::new(cv * 100.0, "%", 0),
                format!("Φ((ln {} − ln {}) ÷ {:.3})", num(target), num(found), confidence::sigma_ln(cv)),
            ),
            TestError::Absolute(sd) => (
                confidence::p_below_target_normal(found, target, sd),
                Figure::new(sd, "", 2),
                format!("Φ(({} − {}) ÷ {sd})", num(target), num(found)),
            ),
            TestError::Relative(_) => return None,
        };
        let words = confidence::words(p_short);
        // A test is never certain, so neither is the figure shown.
        let mut figure = Figure::new((p_short * 100.0).clamp(1.0, 99.0), "%", 0);
        figure.sign = match p_short {
            p if p > 0.99 => ">".into(),
            p if p < 0.01 => "<".into(),
            _ => String::new(),
        };
        let error =
            Working::leaf("Error of one test (one standard deviation)", error_figure, Origin::Published).cite(source);
        let working = Working::step(
            format!("{}: chance of being truly below the aim", analyte.name()),
            figure.clone(),
            format!("{how}: {figure}, {words}"),
            [self.reading.working.clone(), aim.clone(), error],
        )
        .note(
            "All levels are held equally likely before the test. Sampling the same plot again is the way to be surer.",
        );
        Some(Likelihood { p_short, words, working })
    }
}

/// A number inside a formula: four significant digits, whole thousands kept and grouped.
pub(super) fn num(value: f64) -> String {
    let digits = if value.is_finite() && value != 0.0 { value.abs().log10().floor() as i32 } else { 0 };
    let decimals = match digits {
        d if d >= 4 => 0,
        3 => 1,
        d => (3 - d).clamp(0, 6) as usize,
    };
    let text = format!("{:.decimals$}", value.abs());
    let (whole, fraction) = text.split_once('.').unwrap_or((&text, ""));
    let fraction = fraction.trim_end_matches('0');
    let mut grouped = String::new();
    for (place, digit) in whole.chars().enumerate() {
        if place > 0 && (whole.len() - place).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    let minus = if value < 0.0 && (whole != "0" || !fraction.is_empty()) { "-" } else { "" };
    let point = if fraction.is_empty() { "" } else { "." };
    format!("{minus}{grouped}{point}{fraction}")
}
