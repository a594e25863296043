//! Levels, aims and needs in the unit and form that a person likes to read: one last linear
//! step behind a figure, said with its factor in the working. It changes no level and no
//! judgement, and it refuses what is not arithmetic: a result by volume never becomes one by
//! mass, what is dissolved in an extract never becomes a mass of soil.

mod rates;

use super::{
    analyte::Analyte,
    cap::{Counted, SeasonCap},
    element::{ATOMIC_WEIGHTS, Element, Form},
    ground::Ground,
    method::Method,
    need::{By, Need, soil_mass},
    quantity::{KgPerHa, MgPerKg, MgPerL, SquareMetres, by_volume_kg_per_ha},
    rate::RateUnit,
    reading::{Level, Reading, decimals_after, number},
    record::keyed,
    source::{Citation, Evidence, Source},
    standing::{NutrientStanding, Worked, num},
    working::{Figure, Origin, Working},
};
use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// The unit that a person reads soil levels in.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LevelUnit {
    /// Unit and form of the sheet itself.
    AsPrinted,
    /// By mass of soil; mg/L where the lab scoops.
    #[default]
    MgPerKg,
    KgPerHa,
    LbPerAcre,
    GramsOnPlot,
}

keyed!(LevelUnit {
    AsPrinted "as_printed" "as the lab printed it",
    MgPerKg "mg_per_kg" "mg/kg (mg/L where the lab scoops)",
    KgPerHa "kg_per_ha" "kg/ha",
    LbPerAcre "lb_per_acre" "lb/acre",
    GramsOnPlot "grams_on_plot" "grams on the plot",
});

/// Whether a person counts the element, or the oxide that bags and some sheets print.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NutrientForm {
    #[default]
    Element,
    Oxide,
}

keyed!(NutrientForm {
    Element "element" "the element: P, K, Ca, Mg, S, Na",
    Oxide "oxide" "the oxide: P₂O₅, K₂O, CaO, MgO, SO₃, Na₂O",
});

/// 1 lb/acre in kg/ha, from the exact pound and acre.
const POUND_AND_ACRE: Source = Source {
    publisher: "International yard and pound agreement",
    title: "1 lb = 0.45359237 kg; 1 acre = 4,046.8564224 m²",
    year: 1959,
    address: "",
    evidence: Evidence::Derived,
};

const BY_VOLUME: &str = "It stays in mg/L: the lab scooped a volume of soil, and without the density of what was \
    scooped no mg/kg can be made of it. The density of the field is another one.";
const IN_SOLUTION: &str = "It stays in mg/L: it is what was dissolved in the extract, not what the soil holds.";
const OF_CONCERN: &str = "It stays in mg/kg, the unit that the limits for it are published in.";

/// How a person likes to read levels, aims and needs.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Liking {
    pub unit: LevelUnit,
    pub form: NutrientForm,
}

/// What levels by mass are weighed with: a plot's ground, and how needs are reckoned there. A
/// level and a need on one page then part by what is missing.
#[derive(Clone, Copy, Debug)]
pub struct Weighed<'a> {
    pub ground: &'a Ground,
    pub by: By,
}

/// By the ground's own layer.
impl<'a> From<&'a Ground> for Weighed<'a> {
    fn from(ground: &'a Ground) -> Self {
        Weighed { ground, by: By::OwnLayer }
    }
}

/// The last step from a figure to the one shown: value × `factor`.
#[derive(Clone, Debug, PartialEq)]
pub struct Conversion {
    pub factor: f64,
    /// With the form, where it is an oxide: "kg/ha P₂O₅".
    pub unit: String,
    /// The factor as a formula says it, each part with its sign: "× 2,860,000 kg/ha ÷ 1,000,000".
    shown: String,
    inputs: Vec<Working>,
    sources: Vec<Citation>,
}

/// A figure in the unit asked for, with its derivation.
#[derive(Clone, Debug, PartialEq)]
pub struct Shown {
    pub figure: Figure,
    pub working: Working,
}

impl Conversion {
    fn none(unit: &str) -> Conversion {
        Conversion { factor: 1.0, unit: unit.into(), shown: String::new(), inputs: vec![], sources: vec![] }
    }

    /// A value in the unit asked for.
    pub fn there(&self, value: f64) -> f64 {
        value * self.factor
    }

    /// The same back.
    pub fn back(&self, shown: f64) -> f64 {
        shown / self.factor
    }

    /// Whether nothing changes, neither number nor unit.
    fn is_idle(&self) -> bool {
        self.shown.is_empty()
    }

    fn then(mut self, factor: f64, shown: String, unit: String) -> Conversion {
        self.factor *= factor;
        self.shown = format!("{} {shown}", self.shown).trim().to_owned();
        self.unit = unit;
        self
    }

    fn resting_on(mut self, input: Working) -> Conversion {
        self.inputs.push(input);
        self
    }

    fn citing(mut self, source: Source) -> Conversion {
        self.sources.push(source.into());
        self
    }

    /// kg/ha as lb/acre or as grams on the plot, where that is asked for.
    fn by_area(self, unit: LevelUnit, area: SquareMetres) -> Conversion {
        match unit {
            LevelUnit::LbPerAcre => self
                .then(
                    KgPerHa(1.0).lb_per_acre(),
                    format!("÷ {:.5}", 1.0 / KgPerHa(1.0).lb_per_acre()),
                    "lb/acre".into(),
                )
                .citing(POUND_AND_ACRE),
            LevelUnit::GramsOnPlot => self
                .then(KgPerHa(1.0).on(area).0, format!("× 0.1 g/m² × {} m²", number(area.0)), "g".into())
                .resting_on(Working::leaf("Area of the plot", Figure::significant(area.0, "m²", 3), Origin::Entered)),
            _ => self,
        }
    }

    /// The element as its oxide, where that is asked for and customary.
    fn in_form(self, form: NutrientForm, element: Option<Element>) -> Conversion {
        let oxide = element.filter(|_| form == NutrientForm::Oxide).and_then(Form::oxide_of);
        let Some(oxide) = oxide else { return self };
        let factor = 1.0 / oxide.to_element();
        let unit = format!("{} {}", self.unit, subscripts(oxide));
        self.then(factor, format!("× {factor:.4}"), unit).citing(ATOMIC_WEIGHTS)
    }

    /// A figure through this step: no finer than it was, but never so coarse that something
    /// becomes nothing.
    pub fn figure(&self, figure: &Figure) -> Figure {
        if self.is_idle() {
            return figure.clone();
        }
        let shown = self.there(figure.value);
        let lab = decimals_after(figure.decimals, self.factor);
        let needed = (lab..6).find(|d| shown == 0.0 || shown.abs() * 10f64.powi(i32::from(*d)) >= 0.95).unwrap_or(6);
        Figure { sign: figure.sign.clone(), ..Figure::new(shown, self.unit.clone(), needed) }
    }

    /// A figure through this step; `decimals` are those that it had.
    fn show(&self, title: &str, value: f64, sign: &str, decimals: u8, working: &Working) -> Shown {
        if self.is_idle() {
            return Shown { figure: working.figure.clone(), working: working.clone() };
        }
        let before = Figure { sign: sign.to_owned(), ..Figure::new(value, "", decimals) };
        let figure = self.figure(&before);
        let formula = format!("{sign}{} {} {} = {figure}", number(value), working.figure.unit, self.shown);
        let inputs = std::iter::once(working.clone()).chain(self.inputs.iter().cloned());
        let mut step = Working::step(title, figure.clone(), formula, inputs)
            .note("The last step only puts it into the unit of your settings; nothing is judged by it.");
        // A node cites one source; of two steps at once the other is said in words.
        let mut sources = self.sources.iter();
        if let Some(first) = sources.next() {
            step = step.cite(first.clone());
        }
        for other in sources {
            step = step.note(format!("Also {other}"));
        }
        Shown { figure, working: step }
    }
}

/// What stands after the figure in the planner's sentence about a decision that no longer counts.
const LAPSED: &str = " kg/ha where this was published: ";

/// A cap in a sentence: two decimals at most, or three digits where the unit makes it small.
fn cap_figure(value: f64) -> String {
    let decimals = (2.0 - value.abs().log10().floor()).clamp(2.0, 6.0);
    let digits = 10f64.powf(decimals);
    number((value * digits).round() / digits)
}

/// "P2O5" with its small figures.
pub fn subscripts(form: Form) -> String {
    let small = |c: char| c.to_digit(10).and_then(|digit| char::from_u32(0x2080 + digit)).unwrap_or(c);
    form.symbol().chars().map(small).collect()
}

/// What of a result decides how it may be shown.
#[derive(Clone, Copy, Debug)]
pub struct Tested<'a> {
    pub analyte: Analyte,
    pub method: &'a Method,
    pub level: Level,
    /// From the printed cell to `level`.
    pub working: &'a Working,
}

impl<'a> From<&'a NutrientStanding> for Tested<'a> {
    fn from(n: &'a NutrientStanding) -> Self {
        Tested { analyte: n.analyte, method: &n.method, level: n.level, working: &n.found.working }
    }
}

impl<'a> From<&'a Reading> for Tested<'a> {
    fn from(r: &'a Reading) -> Self {
        Tested { analyte: r.analyte, method: &r.method, level: r.level, working: &r.working }
    }
}

impl Liking {
    /// The last step for levels like this result's, or the sentence that says why its own unit stays.
    pub fn conversion<'a>(self, result: Tested<'_>, on: impl Into<Weighed<'a>>) -> Result<Conversion, &'static str> {
        let Weighed { ground, by } = on.into();
        let own = Conversion::none(result.level.unit());
        if self.unit == LevelUnit::AsPrinted {
            return Ok(as_printed(result).unwrap_or(own));
        }
        let nutrient = match result.analyte {
            Analyte::Element(element) => Some(element),
            Analyte::NitrateN | Analyte::AmmoniumN => None,
            _ => return Ok(own),
        };
        let in_mass = |converted: Conversion| match (self.unit, result.level) {
            (LevelUnit::MgPerKg, _) => converted,
            (unit, Level::MgPerKg(_)) => {
                let (layer, soil) = soil_mass(ground, by);
                let shown = format!("× {} kg/ha of soil ÷ 1,000,000", num(layer.soil_kg_per_ha()));
                converted
                    .then(layer.mass(MgPerKg(1.0)).0, shown, "kg/ha".into())
                    .resting_on(soil)
                    .by_area(unit, ground.area)
            }
            (unit, _) => {
                let shown = format!("× {} cm × 0.1", number(ground.depth.0));
                let depth = Working::leaf("Working depth", Figure::new(ground.depth.0, "cm", 0), Origin::Entered);
                converted
                    .then(by_volume_kg_per_ha(MgPerL(1.0), ground.depth).0, shown, "kg/ha".into())
                    .resting_on(depth)
                    .by_area(unit, ground.area)
            }
        };
        match result.level {
            Level::MgPerKg(_) | Level::MgPerL(_) => {}
            _ => return Ok(own),
        }
        let per_area = self.unit != LevelUnit::MgPerKg;
        if result.method == &Method::SaturationExtract {
            return if per_area { Err(IN_SOLUTION) } else { Ok(own) };
        }
        if nutrient.is_some_and(is_of_concern) {
            return if per_area { Err(OF_CONCERN) } else { Ok(own) };
        }
        Ok(in_mass(own).in_form(self.form, nutrient))
    }

    /// Why a result is not in the unit asked for, where it is not.
    pub fn kept<'a>(self, result: Tested<'_>, on: impl Into<Weighed<'a>>) -> Option<&'static str> {
        match self.conversion(result, on) {
            Err(why) => Some(why),
            Ok(_) if self.unit == LevelUnit::MgPerKg && self != Liking::default() => by_volume(result),
            Ok(_) => None,
        }
    }

    /// What was found, as this person reads it.
    pub fn found<'a>(self, result: Tested<'_>, on: impl Into<Weighed<'a>>) -> Shown {
        let (figure, working) = (&result.working.figure, result.working);
        let step = self.conversion(result, on).unwrap_or_else(|_| Conversion::none(&figure.unit));
        if self.unit == LevelUnit::AsPrinted {
            // The cell itself, not a number that was sent there and back.
            return match printed(working).filter(|_| !step.is_idle()) {
                Some(cell) => Shown { figure: cell.figure.clone(), working: working.clone() },
                None => Shown { figure: figure.clone(), working: working.clone() },
            };
        }
        let title = format!("{} as you read it", result.analyte.name());
        step.show(&title, result.level.number(), &figure.sign, figure.decimals, working)
    }

    /// The aim, where there is one, in the unit of what was found.
    pub fn aim<'a>(self, nutrient: &NutrientStanding, on: impl Into<Weighed<'a>>) -> Option<Shown> {
        let aim = nutrient.aim.as_ref()?;
        Some(self.like_found(nutrient.into(), "aim as you read it", aim, on))
    }

    /// A figure in the unit of a result's level (an aim, a ceiling), as this person reads it.
    pub fn like_found<'a>(self, result: Tested<'_>, what: &str, worked: &Worked, on: impl Into<Weighed<'a>>) -> Shown {
        let own = || Shown { figure: worked.figure.clone(), working: worked.working.clone() };
        if worked.figure.unit != result.level.unit() {
            return own();
        }
        let Ok(step) = self.conversion(result, on) else { return own() };
        let title = format!("{}, {what}", result.analyte.name());
        let figure = &worked.figure;
        // As fine as what was found is shown, and no finer than that or itself.
        let decimals = figure.decimals.max(result.working.figure.decimals);
        step.show(&title, figure.value, &figure.sign, decimals, &worked.working)
    }

    /// The step from kg/ha of an element to what this person reads needs in: per area where
    /// levels are read so, else the rate that the site speaks of; as the oxide where liked.
    pub fn need_conversion(self, element: Element, area: SquareMetres, site: RateUnit) -> Conversion {
        let own = Conversion::none("kg/ha");
        let step = match self.unit {
            LevelUnit::KgPerHa | LevelUnit::LbPerAcre | LevelUnit::GramsOnPlot => own.by_area(self.unit, area),
            LevelUnit::AsPrinted | LevelUnit::MgPerKg => match site {
                RateUnit::KgPerHa => own,
                unit => {
                    own.then(unit.show(KgPerHa(1.0)), format!("÷ {}", number(unit.kg_per_ha())), unit.label().into())
                }
            },
        };
        step.in_form(self.form, Some(element))
    }

    /// A need in that unit, as many digits as a need deserves: two below 10, else three.
    pub fn need(self, need: &Need, area: SquareMetres, site: RateUnit) -> Figure {
        self.rate(need.element, need.kg_per_ha, area, site)
    }

    /// The same for any mass of an element per area.
    pub fn rate(self, element: Element, rate: KgPerHa, area: SquareMetres, site: RateUnit) -> Figure {
        let step = self.need_conversion(element, area, site);
        let value = step.there(rate.0);
        Figure::significant(value, step.unit, if value.abs() < 9.95 { 2 } else { 3 })
    }

    /// The same liking where grams on the plot stand beside the figure anyway: per area as the
    /// site speaks of it.
    pub fn by_rate(self) -> Liking {
        match self.unit {
            LevelUnit::GramsOnPlot => Liking { unit: LevelUnit::MgPerKg, ..self },
            _ => self,
        }
    }

    /// The step from kg/ha of a product, as it is spread: per area where levels are read so, else
    /// g/m². Of a product there is no oxide.
    pub fn product_conversion(self) -> Conversion {
        let own = Conversion::none("kg/ha");
        match self.unit {
            LevelUnit::KgPerHa => own,
            LevelUnit::LbPerAcre => own.by_area(self.unit, SquareMetres(1.0)),
            LevelUnit::AsPrinted | LevelUnit::MgPerKg | LevelUnit::GramsOnPlot => {
                own.then(KgPerHa(1.0).grams_per_m2().0, "× 0.1".into(), "g/m²".into())
            }
        }
    }

    /// The step from the kg/ha that a cap is kept in to what this person reads it in.
    fn cap_conversion(self, counted: Counted, site: RateUnit) -> Conversion {
        match counted {
            Counted::Total(element) => self.by_rate().need_conversion(element, SquareMetres(1.0), site),
            Counted::ManureNitrogen | Counted::OrganicNitrogen => {
                self.by_rate().need_conversion(Element::N, SquareMetres(1.0), site)
            }
            Counted::Product(_) => self.product_conversion(),
        }
    }

    /// A rate of what a cap counts, beside words.
    fn cap_rate(self, counted: Counted, rate: KgPerHa, site: RateUnit) -> String {
        let step = self.cap_conversion(counted, site);
        let value = step.there(rate.0);
        let shown = match counted {
            Counted::Product(_) => num((value * 10.0).round() / 10.0),
            _ => cap_figure(value),
        };
        format!("{shown} {}", step.unit)
    }

    /// The label of a cap, its figures as this person reads them; `site` is the rate that the
    /// site speaks of.
    pub fn cap_label(self, cap: &SeasonCap, site: RateUnit) -> String {
        let step = self.cap_conversion(cap.counted, site);
        let product = matches!(cap.counted, Counted::Product(_));
        let said_already = if product { "g/m²" } else { KgPerHa::UNIT };
        if step.unit == said_already {
            return cap.label.clone();
        }
        let rate = |rate: KgPerHa| self.cap_rate(cap.counted, rate, site);
        let of = if product { " of the product" } else { "" };
        match &cap.overruled {
            Some(overrule) => {
                let what = overrule.label.split(": at most ").next().unwrap_or(&overrule.label);
                let (now, by, published) = (rate(cap.kg_per_ha), &overrule.decided.by, rate(overrule.published));
                format!("{what}: {now} by decision of {by}, where {published} is published")
            }
            None => match cap.label.split_once(": at most ") {
                Some((what, _)) => format!("{what}: at most {}{of}", rate(cap.kg_per_ha)),
                None => cap.label.clone(),
            },
        }
    }

    /// What was decided about a cap once, and the label that was published then, as this person
    /// reads them; `cap` is what is published now and counts the same.
    pub fn decided_once(self, cap: &SeasonCap, decided: KgPerHa, label: &str, site: RateUnit) -> (String, String) {
        let published = label.split_once(": at most ").and_then(|(_, rate)| {
            let (value, unit) = rate.split_once(' ')?;
            let value: f64 = value.replace(',', "").parse().ok()?;
            Some(if unit.starts_with("g/m²") { RateUnit::GramsPerM2.read(value) } else { KgPerHa(value) })
        });
        // A label is printed to the hundredth: of all figures within that the plainest is meant, 3 lb and not 2.998.
        let step = self.cap_conversion(cap.counted, site);
        let plainest = |rate: KgPerHa| {
            let value = step.there(rate.0);
            let mut rounded = (0..5).map(|decimals| 10f64.powi(decimals)).map(|scale| (value * scale).round() / scale);
            rounded
                .find(|plain| (plain - value).abs() <= step.there(0.005))
                .map_or(rate, |plain| KgPerHa(step.back(plain)))
        };
        let published = published.map(plainest);
        let then = |kg_per_ha| SeasonCap { kg_per_ha, label: label.to_owned(), overruled: None, ..cap.clone() };
        let figure = self.cap_rate(cap.counted, decided, site);
        (figure, published.map_or_else(|| label.to_owned(), |rate| self.cap_label(&then(rate), site)))
    }

    /// The planner's sentence about a decision that no longer counts; `None` where it is no such
    /// sentence, or about another cap.
    fn lapsed_sentence(self, sentence: &str, cap: &SeasonCap, site: RateUnit) -> Option<String> {
        if self.cap_conversion(cap.counted, site).is_idle() {
            return None;
        }
        let (head, rest) = sentence.split_once(LAPSED)?;
        let (label, rest) = rest.split_once(". Published now: ")?;
        let rest = rest.strip_prefix(cap.label.as_str())?.strip_prefix(". ")?;
        let (head, decided) = head.rsplit_once(' ')?;
        let decided = KgPerHa(decided.replace(',', "").parse().ok()?);
        let (decided, label) = self.decided_once(cap, decided, label, site);
        let now = self.cap_label(cap, site);
        Some(format!("{head} {decided} where this was published: {label}. Published now: {now}. {rest}"))
    }

    /// A sentence of the planner, the cap in it as this person reads it; a sentence without that
    /// cap stays as it is.
    pub fn cap_sentence(self, sentence: &str, cap: &SeasonCap, site: RateUnit) -> String {
        if sentence.contains("where this was published") {
            return self.lapsed_sentence(sentence, cap, site).unwrap_or_else(|| sentence.to_owned());
        }
        let read = self.cap_label(cap, site);
        // "the boron cap (carrots: …)": an element that is named before it is not named in it.
        let after_name = |label: &str| match (label.split_once(", "), cap.counted) {
            (Some((head, rest)), Counted::Total(element)) if head.eq_ignore_ascii_case(element.name()) => {
                rest.to_owned()
            }
            _ => label.to_owned(),
        };
        let (was, now) = (after_name(&cap.label), after_name(&read));
        if was == now || !sentence.contains(&was) {
            return sentence.to_owned();
        }
        let said = sentence.replace(&was, &now);
        let exceeded = said.split_once("exceeded by ").and_then(|(before, after)| {
            let (figure, rest) = after.split_once(" kg/ha")?;
            let over = KgPerHa(figure.parse().ok()?);
            Some(format!("{before}exceeded by {}{rest}", self.cap_amount(cap, over, site)))
        });
        exceeded.unwrap_or(said)
    }

    /// An amount of what a cap counts, beside its label: enough decimals that a small amount is
    /// not none, and one beyond the cap does not look like the cap.
    pub fn cap_amount(self, cap: &SeasonCap, given: KgPerHa, site: RateUnit) -> Figure {
        let step = self.cap_conversion(cap.counted, site);
        if step.is_idle() {
            return cap.amount(given);
        }
        let read = SeasonCap { kg_per_ha: KgPerHa(step.there(cap.kg_per_ha.0)), ..cap.clone() };
        let amount = read.amount(KgPerHa(step.there(given.0)));
        let beside = cap_figure(read.kg_per_ha.0).split_once('.').map_or(0, |(_, decimals)| decimals.len() as u8);
        Figure { unit: step.unit.clone(), decimals: amount.decimals.max(beside), ..amount }
    }

    /// The working of what a cap leaves, with the last step where there is one.
    pub fn cap_working(self, cap: &SeasonCap, working: &Working, site: RateUnit) -> Working {
        let step = self.cap_conversion(cap.counted, site);
        if step.is_idle() || working.figure.unit != KgPerHa::UNIT {
            return working.clone();
        }
        let (figure, title) = (&working.figure, "Still left, as you read it");
        step.show(title, figure.value, &figure.sign, figure.decimals, working).working
    }

    /// The working of a need with the last step, where there is one.
    pub fn need_working(self, need: &Need, area: SquareMetres, site: RateUnit) -> Option<Working> {
        let working = need.working.as_ref()?;
        let step = self.need_conversion(need.element, area, site);
        // A recorded need may stand in another unit than kg/ha.
        if step.is_idle() || working.figure.unit != KgPerHa::UNIT {
            return Some(working.clone());
        }
        let title = format!("{}, need as you read it", Analyte::Element(need.element).name());
        Some(step.show(&title, need.kg_per_ha.0, "", working.figure.decimals, working).working)
    }

    /// The step for all tests of one method over the years, whose levels share this result's unit;
    /// `None` where nothing changes.
    pub fn for_trend<'a>(self, result: Tested<'_>, on: impl Into<Weighed<'a>>) -> Option<Conversion> {
        self.conversion(result, on).ok().filter(|step| !step.is_idle())
    }

    /// The same for levels of which only analyte, method and unit are known, as in a review of many
    /// tests. As the lab printed them they stay as they are: many sheets stand in one line there.
    pub fn for_series<'a>(
        self,
        analyte: Analyte,
        method: &Method,
        unit: &str,
        on: impl Into<Weighed<'a>>,
    ) -> Option<Conversion> {
        let level = match unit {
            MgPerKg::UNIT => Level::MgPerKg(MgPerKg(1.0)),
            MgPerL::UNIT => Level::MgPerL(MgPerL(1.0)),
            _ => return None,
        };
        if self.unit == LevelUnit::AsPrinted {
            return None;
        }
        let working = Working::leaf("One of these levels", Figure::new(1.0, unit, 0), Origin::Entered);
        self.for_trend(Tested { analyte, method, level, working: &working }, on)
    }

    /// The working of a mass in grams of an element, with the step to its oxide where liked.
    pub fn mass_working(self, element: Element, working: Working) -> Working {
        let step = Conversion::none("g").in_form(self.form, Some(element));
        if step.is_idle() || working.figure.unit != "g" {
            return working;
        }
        let title = format!("{} as you read it", Analyte::Element(element).name());
        step.show(&title, working.figure.value, "", working.figure.decimals, &working).working
    }

    /// A mass of an element in grams of the form that this person counts.
    pub fn mass(self, element: Element, grams: f64) -> f64 {
        grams * self.weighed(element).0
    }

    /// "Phosphorus", or "Phosphorus as P₂O₅" where that is counted.
    pub fn name(self, element: Element) -> String {
        let name = Analyte::Element(element).name();
        match self.weighed(element) {
            (1.0, _) => name,
            (_, form) => format!("{name} as {form}"),
        }
    }

    /// How much more a mass of an element weighs in the form that this person counts, and the
    /// form's name; 1 and "the element" where it is the element itself.
    pub fn weighed(self, element: Element) -> (f64, String) {
        match Form::oxide_of(element).filter(|_| self.form == NutrientForm::Oxide) {
            Some(oxide) => (1.0 / oxide.to_element(), subscripts(oxide)),
            None => (1.0, "the element".into()),
        }
    }
}

/// Metals that are looked for because they harm; their limits are in mg/kg everywhere.
fn is_of_concern(element: Element) -> bool {
    use Element::{Al, As, Cd, Cr, Hg, Pb};
    matches!(element, Al | As | Cd | Cr | Hg | Pb)
}

fn by_volume(result: Tested<'_>) -> Option<&'static str> {
    let of_soil = result.method != &Method::SaturationExtract;
    matches!(result.level, Level::MgPerL(_)).then_some(if of_soil { BY_VOLUME } else { IN_SOLUTION })
}

/// The printed cell that a level comes from.
fn printed(working: &Working) -> Option<&Working> {
    match working.origin {
        Origin::Cell(_) => Some(working),
        _ => working.inputs.iter().find_map(printed),
    }
}

/// Back to the unit and form of the sheet: the inverse of all the steps between cell and level.
fn as_printed(result: Tested<'_>) -> Option<Conversion> {
    let cell = printed(result.working)?;
    let (printed, level) = (cell.figure.value, result.level.number());
    let factor = printed / level;
    if cell.figure.unit == result.level.unit() || !factor.is_finite() || factor <= 0.0 {
        return None;
    }
    let shown = format!("× {} ÷ {}", number(printed), number(level));
    Some(Conversion::none("").then(factor, shown, cell.figure.unit.clone()).resting_on(cell.clone()))
}
