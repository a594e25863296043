//! Where a plot stands under a guideline: per nutrient what was found, the aim, found as a
//! percentage of it, the class in the publisher's words and how likely a shortage is. Every
//! figure carries its working down to the printed cell. It never converts between
//! extractants, and never expresses pH, salts, aluminium or sodium as a share of an aim.

use super::{
    analyte::Analyte,
    confidence::{self, TestError},
    element::Element,
    ground::Texture,
    guideline::{Criterion, Facts, Guideline, LandUse, Position, Rule, Saturation, round_to},
    method::Method,
    quantity::{CmolPerKg, MgPerKg},
    reading::{Level, Reading},
    record::Qualifier,
    source::Citation,
    working::{Figure, Origin, Working},
};

/// A reading that speaks for its analyte, and why it was picked over others.
#[derive(Clone, Copy, Debug)]
pub struct Chosen<'a> {
    pub reading: &'a Reading,
    pub reasons: &'a [String],
}

/// The exchange capacity that shares are counted of.
#[derive(Clone, Debug, PartialEq)]
pub struct Capacity {
    pub cmol_per_kg: CmolPerKg,
    /// It rests on an extraction that leaves free lime alone.
    pub alkaline: bool,
    pub working: Working,
}

/// What about the plot decides which rules apply.
#[derive(Clone, Debug)]
pub struct Setting<'a> {
    pub land_use: LandUse,
    pub texture: Texture,
    /// Signs of free lime were seen.
    pub carbonate: bool,
    /// The capacity, or the sentence that says why none can be trusted.
    pub capacity: Result<&'a Capacity, String>,
}

impl Setting<'_> {
    /// The facts that the conditions of rules are held against.
    pub fn facts(&self, ph: Option<f64>) -> Facts {
        Facts { land_use: self.land_use, texture: self.texture, ph, carbonate: self.carbonate }
    }
}

/// A plot under one guideline.
#[derive(Clone, Debug, PartialEq)]
pub struct Standing {
    pub guideline_slug: String,
    pub guideline_title: String,
    /// In the order of [`Analyte`].
    pub nutrients: Vec<NutrientStanding>,
}

impl Standing {
    /// The standing of one analyte.
    pub fn get(&self, analyte: Analyte) -> Option<&NutrientStanding> {
        self.nutrients.iter().find(|n| n.analyte == analyte)
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
    /// Who printed the limits.
    pub source: Option<Citation>,
}

/// Places every chosen reading under a guideline.
pub fn stand(chosen: &[Chosen<'_>], guideline: &Guideline, setting: &Setting<'_>) -> Standing {
    let ph = chosen.iter().map(|c| c.reading).find(|r| r.analyte == Analyte::Ph);
    let facts = setting.facts(ph.filter(|r| in_water(&r.method)).map(|r| r.level.number()));
    let mut nutrients: Vec<NutrientStanding> =
        chosen.iter().map(|c| Case { reading: c.reading, facts, setting, ph }.judge(c.reasons, guideline)).collect();
    nutrients.sort_by_key(|n| n.analyte);
    Standing { guideline_slug: guideline.slug.clone(), guideline_title: guideline.title.clone(), nutrients }
}

fn in_water(method: &Method) -> bool {
    use Method::{PhWater, PhWater1to1, PhWater1to2, PhWater1to5, PhWater1to25};
    matches!(method, PhWater | PhWater1to1 | PhWater1to2 | PhWater1to25 | PhWater1to5)
}

/// Whether a share of the aim means anything for an analyte.
fn has_percent(analyte: Analyte) -> bool {
    match analyte {
        Analyte::Element(element) => !matches!(element, Element::Na | Element::Al | Element::H | Element::Pb),
        Analyte::NitrateN | Analyte::AmmoniumN | Analyte::OrganicMatter | Analyte::OrganicCarbon => true,
        _ => false,
    }
}

/// A rule applied to one reading, in the unit that the publisher prints.
struct Verdict {
    position: Position,
    class: Option<String>,
    class_formula: String,
    /// What the class rests on besides the reading: a pH, a capacity.
    class_inputs: Vec<Working>,
    aim: Option<Working>,
    aim_printed: Option<f64>,
    above: Option<f64>,
    ceiling: Option<f64>,
    notes: Vec<String>,
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
        match self.verdict(criterion, printed) {
            Ok(verdict) => self.fill(standing, criterion, verdict),
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
        if has_percent(reading.analyte) && target > 0.0 {
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
            if let (true, (TestError::Relative(cv), _)) =
                (standing.percent_of_aim.is_some(), confidence::default_error(reading.analyte))
            {
                standing.percent_range_90 = confidence::percent_of_target_90(found, target, cv);
            }
        }
        standing
    }

    fn likelihood(&self, found: f64, target: f64, aim: &Working) -> Option<Likelihood> {
        let analyte = self.reading.analyte;
        let (error, source) = confidence::default_error(analyte);
        let (p_short, error_figure, how) = match error {
            TestError::Relative(cv) if has_percent(analyte) && target > 0.0 => (
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
        let figure = Figure::new(p_short * 100.0, "%", 0);
        let error =
            Working::leaf("Error of one test (one standard deviation)", error_figure, Origin::Published).cite(source);
        let working = Working::step(
            format!("Chance that {} is truly below the aim", analyte.name()),
            figure.clone(),
            format!("{how} = {figure}: {words}"),
            [self.reading.working.clone(), aim.clone(), error],
        )
        .note(
            "All levels are held equally likely before the test. Sampling the same plot again is the way to be surer.",
        );
        Some(Likelihood { p_short, words, working })
    }

    fn verdict(&self, criterion: &Criterion, printed: f64) -> Result<Verdict, String> {
        match &criterion.rule {
            Rule::LeftAlone(why) => Err(why.clone()),
            Rule::Classes(classes) => {
                let class_at = |v: f64| classes.classify(v, criterion.decimals);
                let step = 10f64.powi(-i32::from(criterion.decimals));
                let (class, position) = match self.reading.qualifier {
                    Qualifier::Below => {
                        // Everything under the limit shares a class only if the lowest class reaches up to it.
                        let below = class_at(printed - step);
                        let lowest = std::ptr::eq(below, &classes.classes[0]);
                        (lowest.then_some(below), below_limit(printed, classes.aim))
                    }
                    Qualifier::Above => {
                        let class = class_at(printed);
                        let highest = std::ptr::eq(class, &classes.classes[classes.classes.len() - 1]);
                        (highest.then_some(class), above_limit(printed, classes.aim, class.position.clone()))
                    }
                    _ => (Some(class_at(printed)), class_at(printed).position.clone()),
                };
                let mut notes = Vec::new();
                let rounded = round_to(printed, criterion.decimals);
                if let Some(seam) = classes.seams.iter().find(|s| (s.at - rounded).abs() < step / 2.0) {
                    notes.push(seam.why.clone());
                }
                if let Some(top) = classes.printed_to.filter(|top| rounded > *top) {
                    notes.push(format!("The publisher's table ends at {}; this is beyond it.", num(top)));
                }
                if position == Position::AtAim && printed < classes.aim && self.reading.qualifier == Qualifier::Exact {
                    notes.push(format!(
                        "{} rounds to {} at the publisher's precision, which is in the class.",
                        num(printed),
                        num(rounded)
                    ));
                }
                let mut aim = self.aim_leaf(criterion, classes.aim, &classes.aim_why);
                if let Some(source) = &classes.aim_source {
                    notes.push(format!("The aim itself: {source}."));
                    aim = aim.note(format!("The aim: {source}"));
                }
                let formula = class.map_or_else(String::new, |c| {
                    format!(
                        "{}, rounded to {}, is in {}: {}",
                        self.in_printed_unit(criterion, printed),
                        num(rounded),
                        c.printed,
                        c.name
                    )
                });
                Ok(Verdict {
                    position,
                    class: class.map(|c| c.name.clone()),
                    class_formula: formula,
                    class_inputs: vec![],
                    aim: Some(aim),
                    aim_printed: Some(classes.aim),
                    above: classes.above(),
                    ceiling: classes.ceiling(),
                    notes,
                })
            }
            Rule::Critical { critical, high } => {
                let rounded = round_to(printed, criterion.decimals);
                let plain = match (rounded < *critical, high.is_some_and(|high| rounded > high)) {
                    (true, _) => Position::Short,
                    (_, true) => Position::Excess,
                    _ => Position::AtAim,
                };
                let position = match self.reading.qualifier {
                    Qualifier::Below => below_limit(printed, *critical),
                    Qualifier::Above => above_limit(printed, *critical, plain),
                    _ => plain,
                };
                let class = level_words(&position);
                Ok(Verdict {
                    class_formula: format!(
                        "{}, rounded to {}, against the critical level {}",
                        self.in_printed_unit(criterion, printed),
                        num(rounded),
                        num(*critical)
                    ),
                    class,
                    position,
                    class_inputs: vec![],
                    aim: Some(self.aim_leaf(
                        criterion,
                        *critical,
                        "The critical level: below it the publisher expects a shortage.",
                    )),
                    aim_printed: Some(*critical),
                    above: high.map(|h| h + 10f64.powi(-i32::from(criterion.decimals))),
                    ceiling: high.map(|h| h + 10f64.powi(-i32::from(criterion.decimals))),
                    notes: vec![],
                })
            }
            Rule::AvailabilityIndex { constant, per_unit, per_ph, critical, high } => {
                let ph = self.ph.ok_or("These limits need the soil's pH, and no pH was read.")?;
                if !in_water(&ph.method) {
                    return Err(format!("These limits need pH in water; the pH here is by {}.", ph.method));
                }
                let ph_value = ph.level.number();
                let index_of = |level: f64| constant + per_unit * level - per_ph * ph_value;
                let level_at = |index: f64| (index - constant + per_ph * ph_value) / per_unit;
                let index = index_of(printed);
                let plain = match (index < *critical, high.is_some_and(|high| index > high)) {
                    (true, _) => Position::Short,
                    (_, true) => Position::Excess,
                    _ => Position::AtAim,
                };
                let aim = level_at(*critical);
                let position = match self.reading.qualifier {
                    Qualifier::Below => below_limit(printed, aim),
                    Qualifier::Above => above_limit(printed, aim, plain),
                    _ => plain,
                };
                let formula =
                    format!("({critical} − {constant} + {per_ph} × {}) ÷ {per_unit} = {}", num(ph_value), num(aim));
                let critical_leaf = Working::leaf("Critical index", Figure::new(*critical, "", 0), Origin::Published)
                    .cite(criterion.source.clone());
                let aim_working = Working::step(
                    format!("{}, aim at this pH", criterion.analyte.name()),
                    Figure::new(aim, criterion.unit_words(), criterion.decimals),
                    formula,
                    [critical_leaf, ph.working.clone()],
                )
                .cite(criterion.source.clone());
                let any = aim <= 0.0;
                Ok(Verdict {
                    class: level_words(&position),
                    class_formula: format!(
                        "{constant} + {per_unit} × {} − {per_ph} × {} = {}; critical {critical}",
                        num(printed),
                        num(ph_value),
                        num(index)
                    ),
                    position,
                    class_inputs: vec![ph.working.clone()],
                    aim: (!any).then_some(aim_working),
                    aim_printed: (!any).then_some(aim),
                    above: high.map(level_at),
                    ceiling: high.map(level_at),
                    notes: if any { vec!["At this pH any amount is enough by the index.".into()] } else { vec![] },
                })
            }
            Rule::Saturation(saturation) => self.saturation(criterion, saturation, printed),
            Rule::Typical { printed: band, low, high } => {
                let rounded = round_to(printed, criterion.decimals);
                let class = match (rounded < *low, high.is_some_and(|h| rounded > h), self.reading.qualifier) {
                    (true, _, _) => Some("below what is usually found"),
                    (_, _, Qualifier::Below) => None,
                    (_, true, _) => Some("above what is usually found"),
                    (_, _, Qualifier::Above) => None,
                    _ => Some("within what is usually found"),
                };
                Ok(Verdict {
                    position: Position::TypicalRangeOnly,
                    class: class.map(str::to_owned),
                    class_formula: format!("{} against {band}", self.in_printed_unit(criterion, printed)),
                    class_inputs: vec![],
                    aim: None,
                    aim_printed: None,
                    above: None,
                    ceiling: None,
                    notes: vec![],
                })
            }
        }
    }

    fn saturation(&self, criterion: &Criterion, rule: &Saturation, printed: f64) -> Result<Verdict, String> {
        let capacity = self.setting.capacity.clone()?;
        if rule.alkaline_capacity && !capacity.alkaline {
            return Err("Shares of the capacity are withheld: this soil shows free lime, and its capacity does not rest on an alkaline extraction.".into());
        }
        let per_cmol = criterion.analyte.element().and_then(|e| e.mg_per_cmol_charge());
        let cec = capacity.cmol_per_kg.0;
        let (Some(per_cmol), true) = (per_cmol, cec.is_finite() && cec > 0.0) else {
            return Err("Shares of the capacity need a capacity above zero.".into());
        };
        let mg_of = |percent: f64| percent / 100.0 * cec * per_cmol;
        let floor = rule.floor.as_ref().map_or(0.0, |f| f.mg_per_kg.0);
        let ceiling = rule.ceiling.as_ref().map_or(f64::INFINITY, |c| c.mg_per_kg.0);
        let share_mg = mg_of(rule.aim);
        let aim = share_mg.clamp(floor, ceiling);
        let above =
            rule.high.map(|high| mg_of(high).clamp(floor, ceiling)).or(rule.ceiling.as_ref().map(|c| c.mg_per_kg.0));
        let plain = match (printed < aim, above.is_some_and(|above| printed > above)) {
            (true, _) => Position::Short,
            (_, true) => Position::Above,
            _ => Position::AtAim,
        };
        let position = match self.reading.qualifier {
            Qualifier::Below => below_limit(printed, aim),
            Qualifier::Above => above_limit(printed, aim, plain),
            _ => plain,
        };
        let share = 100.0 * printed / (cec * per_cmol);
        let class = match (share < rule.low, rule.high.is_some_and(|high| share > high)) {
            (true, _) => format!("below {} % of the capacity", rule.printed),
            (_, true) => format!("above {} % of the capacity", rule.printed),
            _ if rule.high.is_none() => format!("at or above {} % of the capacity", rule.printed),
            _ => format!("within {} % of the capacity", rule.printed),
        };
        let name = criterion.analyte.name();
        let leaf = |title: &str, figure: Figure, source: &Citation| {
            Working::leaf(title, figure, Origin::Published).cite(source.clone())
        };
        let mut inputs = vec![
            capacity.working.clone(),
            leaf("Share aimed at", Figure::new(rule.aim, "%", decimals_of(rule.aim)), &criterion.source)
                .note(&rule.aim_why),
        ];
        let mut formula = format!(
            "{} % × {} cmol(+)/kg × {} mg per cmol = {} mg/kg",
            num(rule.aim),
            num(cec),
            num(per_cmol),
            num(share_mg)
        );
        let mut notes = Vec::new();
        for (limit, what, bound) in
            [(&rule.floor, "floor", share_mg < floor), (&rule.ceiling, "ceiling", share_mg > ceiling)]
        {
            let Some(limit) = limit else { continue };
            let mg = limit.mg_per_kg;
            inputs.push(leaf(
                &format!("{what} of the aim").replacen(what, &capitalised(what), 1),
                Figure::new(mg.0, MgPerKg::UNIT, 0),
                &limit.source,
            ));
            if bound {
                formula.push_str(&format!("; held at the {what}, {} mg/kg", num(mg.0)));
                notes.push(format!(
                    "{} % of this capacity would be {} mg/kg; the aim is held at the {what} of {} mg/kg ({}).",
                    num(rule.aim),
                    num(share_mg.round()),
                    num(mg.0),
                    limit.source
                ));
            }
        }
        let aim_working = Working::step(format!("{name}, aim"), Figure::new(aim, MgPerKg::UNIT, 0), formula, inputs)
            .cite(criterion.source.clone());
        Ok(Verdict {
            position,
            class: (self.reading.qualifier == Qualifier::Exact).then_some(class),
            class_formula: format!("100 × {} ÷ ({} × {}) = {share:.1} %", num(printed), num(cec), num(per_cmol)),
            class_inputs: vec![capacity.working.clone()],
            aim: Some(aim_working),
            aim_printed: Some(aim),
            above,
            ceiling: None,
            notes,
        })
    }

    /// A published limit as a node, turned into the unit of the reading where they differ.
    fn aim_leaf(&self, criterion: &Criterion, printed: f64, why: &str) -> Working {
        let name = format!("{}, aim", criterion.analyte.name());
        let leaf =
            Working::leaf(&name, Figure::new(printed, criterion.unit_words(), criterion.decimals), Origin::Published)
                .cite(criterion.source.clone())
                .note(why);
        let Some(level) = criterion.to_level(printed, self.reading.level) else { return leaf };
        let same = (level.number() - printed).abs() <= printed.abs() * 1e-12;
        if same {
            let figure = Figure { unit: level.unit().to_owned(), ..leaf.figure.clone() };
            return Working { figure, ..leaf };
        }
        let figure = Figure::new(level.number(), level.unit(), self.reading.decimals);
        let layer = criterion.layer.filter(|_| criterion.unit.is_per_area());
        let formula = match layer {
            Some(layer) => {
                format!(
                    "{} {} ÷ {} ({}) = {figure}",
                    num(printed),
                    criterion.unit_words(),
                    num(printed / level.number()),
                    layer.words
                )
            }
            None => format!("{} {} = {figure}", num(printed), criterion.unit_words()),
        };
        let mut inputs = vec![leaf];
        if let Some(layer) = layer {
            let mass = Figure::new(layer.soil_kg_per_ha, "kg/ha", 0);
            inputs.push(Working::leaf("Soil taken to lie on one hectare", mass, Origin::Published).cite(layer.source));
        }
        Working::step(name, figure, formula, inputs)
    }

    fn in_printed_unit(&self, criterion: &Criterion, printed: f64) -> String {
        let unit = criterion.unit_words();
        let sign = self.reading.qualifier.sign();
        let found = format!("{sign}{} {}", num(self.reading.level.number()), self.reading.level.unit());
        let same = (self.reading.level.number() - printed).abs() <= printed.abs() * 1e-9;
        if same {
            found.trim_end().to_owned()
        } else {
            format!("{} is {sign}{} {unit}", found.trim_end(), num(printed))
        }
    }
}

/// Where "<limit" lies: surely short when the limit is no higher than the aim, else not known.
fn below_limit(limit: f64, aim: f64) -> Position {
    if limit <= aim {
        Position::Short
    } else {
        Position::NotKnown("The lab could only say that it is below a limit, and the limit lies above the aim.".into())
    }
}

/// Where ">limit" lies: at least where the limit lies when that is no lower than the aim.
fn above_limit(limit: f64, aim: f64, at_limit: Position) -> Position {
    if limit >= aim {
        at_limit
    } else {
        Position::NotKnown("The lab could only say that it is above a limit, and the limit lies below the aim.".into())
    }
}

/// Plain words where the publisher has only a critical level.
fn level_words(position: &Position) -> Option<String> {
    let words = match position {
        Position::Short => "below the critical level",
        Position::AtAim | Position::Above => "above the critical level",
        Position::Excess => "above the warning level",
        _ => return None,
    };
    Some(words.to_owned())
}

fn capitalised(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}

fn decimals_of(value: f64) -> u8 {
    u8::from(value.fract().abs() > 1e-9)
}

/// A number inside a formula: up to four decimals, without trailing zeros.
pub(super) fn num(value: f64) -> String {
    let decimals = if value.abs() >= 1000.0 { 1 } else { 4 };
    let text = format!("{value:.decimals$}");
    match text.contains('.') {
        true => text.trim_end_matches('0').trim_end_matches('.').to_owned(),
        false => text,
    }
}
