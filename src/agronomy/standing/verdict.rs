//! One rule held against one reading, in the unit that the publisher prints: position, class,
//! aim and where it comes from. It never compares a limit such as "<5" as if it were a number.

use super::{Case, in_water, num};
use crate::agronomy::{
    guideline::{Criterion, Limit, Position, Rule, Saturation, round_to},
    quantity::{CmolPerKg, MgPerKg},
    reading::Level,
    record::Qualifier,
    working::{Figure, Origin, Working},
};

/// Said where a level in mg/kg holds an aim that is a share of the capacity.
const HELD: &str = "the aim is held at the";

/// A rule applied to one reading, in the unit that the publisher prints.
pub(super) struct Verdict {
    pub position: Position,
    pub class: Option<String>,
    pub class_formula: String,
    /// What the class rests on besides the reading: a pH, a capacity.
    pub class_inputs: Vec<Working>,
    pub aim: Option<Working>,
    pub aim_printed: Option<f64>,
    pub above: Option<f64>,
    pub ceiling: Option<f64>,
    pub notes: Vec<String>,
}

impl Case<'_> {
    /// Applies a criterion to a value in its printed unit, or says why it does not apply.
    pub(super) fn verdict(&self, criterion: &Criterion, printed: f64) -> Result<Verdict, String> {
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
                        "{} rounds to {} at the precision of the limits, which is in the class.",
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
                        "The critical level: below it a shortage is expected.",
                    )),
                    aim_printed: Some(*critical),
                    // A critical level is a floor: nothing above it but the warning is said.
                    above: None,
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
                let critical_leaf = limit_leaf(criterion, "Critical index", Figure::new(*critical, "", 0));
                let aim_working = Working::step(
                    format!("{}, aim at this pH", criterion.analyte.name()),
                    self.aim_figure(criterion, aim),
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
                    above: None,
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
        let per_cmol = criterion.analyte.element().and_then(|e| e.mg_per_cmol_charge());
        let Level::CmolPerKg(CmolPerKg(cec)) = capacity.level else {
            return Err(
                "Shares of the capacity are withheld: it is by volume of soil, and the aims are by mass.".into()
            );
        };
        let (Some(per_cmol), true) = (per_cmol, cec.is_finite() && cec > 0.0) else {
            return Err("Shares of the capacity need a capacity above zero.".into());
        };
        let mg_of = |percent: f64| percent / 100.0 * cec * per_cmol;
        let floor = rule.floor.as_ref().map_or(0.0, |f| f.mg_per_kg.0);
        let ceiling = rule.ceiling.as_ref().map_or(f64::INFINITY, |c| c.mg_per_kg.0);
        let share_mg = mg_of(rule.aim);
        let aim = share_mg.max(floor).min(ceiling);
        let above =
            rule.high.map(|high| mg_of(high).max(floor).min(ceiling)).or(rule.ceiling.as_ref().map(|c| c.mg_per_kg.0));
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
        let leaf = |title: &str, figure: Figure, limit: &Limit| {
            let origin = if limit.own { Origin::Chosen } else { Origin::Published };
            Working::leaf(title, figure, origin).cite(limit.source.clone())
        };
        let mut inputs = vec![
            capacity.working.clone(),
            limit_leaf(criterion, "Share aimed at", Figure::new(rule.aim, "%", decimals_of(rule.aim)))
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
                Figure::new(mg.0, MgPerKg::UNIT, decimals_of(mg.0)),
                limit,
            ));
            if bound {
                formula.push_str(&format!("; held at the {what}, {} mg/kg", num(mg.0)));
                notes.push(format!(
                    "{} % of this capacity would be {} mg/kg; {HELD} {what} of {} mg/kg ({}).",
                    num(rule.aim),
                    num(share_mg.round()),
                    num(mg.0),
                    limit.source
                ));
            }
        }
        let (what, source) = match &criterion.changed {
            Some(changed) if changed.kept => ("aim", changed.source.clone().unwrap_or(criterion.source.clone())),
            Some(_) => ("own aim", criterion.source.clone()),
            None => ("aim", criterion.source.clone()),
        };
        let aim_working =
            Working::step(format!("{name}, {what}"), Figure::new(aim, MgPerKg::UNIT, 0), formula, inputs).cite(source);
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

    /// An aim in the publisher's unit, by the name that the reading has for it: "ppm" is "mg/kg".
    fn aim_figure(&self, criterion: &Criterion, printed: f64) -> Figure {
        let same = |level: &Level| (level.number() - printed).abs() <= printed.abs() * 1e-12;
        let level = criterion.to_level(printed, self.reading.level).filter(same);
        Figure::new(
            printed,
            level.map_or_else(|| criterion.unit_words(), |level| level.unit().to_owned()),
            criterion.decimals,
        )
    }

    /// A published limit as a node, turned into the unit of the reading where they differ.
    fn aim_leaf(&self, criterion: &Criterion, printed: f64, why: &str) -> Working {
        let own = criterion.changed.as_ref().is_some_and(|changed| !changed.kept);
        let name = format!("{}, {}", criterion.analyte.name(), if own { "own aim" } else { "aim" });
        let figure = Figure::new(printed, criterion.unit_words(), criterion.decimals);
        let leaf = limit_leaf(criterion, &name, figure).note(why);
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

/// A limit as a node. One that was changed in a copy is the person's own, said beside what the
/// publisher printed; an aim that was left as it was printed stays the publisher's.
fn limit_leaf(criterion: &Criterion, title: &str, figure: Figure) -> Working {
    match &criterion.changed {
        Some(changed) if changed.kept => {
            let source = changed.source.clone().unwrap_or_else(|| criterion.source.clone());
            Working::leaf(title, figure, Origin::Published).cite(source)
        }
        Some(changed) => {
            Working::leaf(title, figure, Origin::Chosen).cite(criterion.source.clone()).note(changed.beside_publisher())
        }
        None => Working::leaf(title, figure, Origin::Published).cite(criterion.source.clone()),
    }
}

/// Whether a note says that a floor or ceiling holds the aim.
pub(super) fn says_held(note: &str) -> bool {
    note.contains(HELD)
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
