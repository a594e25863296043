//! The ledger of a plot: what was brought on and what harvests carried away, season by
//! season and added up, for each element.
//!
//! What nobody wrote down or analysed is not known, and is never counted as nothing: a sum
//! with an unknown part says so, and on which side the truth then lies.

use super::{
    amendment::Kind,
    crop::Crop,
    element::Element,
    offtake::{self, BALANCED, Harvest, Span, capitalised, round},
    quantity::{Grams, KgPerHa, SquareMetres},
    record::Application,
    standing::num,
    working::{Figure, Origin, Working},
};
use jiff::{ToSpan, civil::Date};
use std::collections::{BTreeMap, BTreeSet};

/// The longest gap between seasons, in days, that is taken for a winter and not for seasons
/// that nobody wrote down.
const WINTER_DAYS: i32 = 183;

/// What was brought on.
#[derive(Clone, Debug, PartialEq)]
pub struct Input {
    pub application: Application,
    pub kind: Kind,
}

impl Input {
    /// Whether an element that its analysis does not name is none: a salt or a lime is what
    /// its formula says, and rock holds no nitrogen to speak of; composts, manures, meals
    /// and ashes hold a little of everything, measured or not.
    fn lacks_unnamed(&self, element: Element) -> bool {
        match self.kind {
            Kind::Salt | Kind::Lime => true,
            Kind::Mineral => element == Element::N,
            Kind::PlantMeal | Kind::AnimalMeal | Kind::Compost | Kind::Manure | Kind::Ash => false,
        }
    }
}

/// A season of the plot.
#[derive(Clone, Debug, PartialEq)]
pub struct Season {
    pub name: String,
    pub starts_on: Date,
    pub ends_on: Date,
    /// Keys of the crops that grew on the plot.
    pub crops: Vec<String>,
    /// It is not over: what is not harvested yet is not missing.
    pub running: bool,
}

impl Season {
    /// The day that a season without a harvest record is counted at.
    fn middle(&self) -> Date {
        let days = (self.ends_on - self.starts_on).get_days();
        self.starts_on.saturating_add((days / 2).days())
    }

    fn holds(&self, day: Date) -> bool {
        self.starts_on <= day && day <= self.ends_on
    }
}

/// All that is written down about one plot's comings and goings.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Books {
    pub area: SquareMetres,
    pub inputs: Vec<Input>,
    pub harvests: Vec<Harvest>,
    pub seasons: Vec<Season>,
}

/// One direction of the ledger, kg/ha of an element.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Flow {
    /// What is known of it.
    pub known: Span,
    /// Why there is more that is not known; empty where it is complete.
    pub missing: BTreeSet<String>,
}

impl Flow {
    /// Whether nothing is missing from it.
    pub fn is_complete(&self) -> bool {
        self.missing.is_empty()
    }

    fn add(&mut self, other: &Flow) {
        self.known = self.known + other.known;
        self.missing.extend(other.missing.iter().cloned());
    }
}

/// What came and went of an element up to a day.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct UpTo {
    pub brought: Flow,
    pub carried: Flow,
    /// How many times something of it was not known: between two days nothing is missing where
    /// there are no more at the later one.
    pub holes: usize,
}

/// What came less what went, kg/ha of an element.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Net {
    Known(Span),
    /// Something that left is not known: the net is this or less.
    AtMost(Span),
    /// Something that came is not known: the net is this or more.
    AtLeast(Span),
    /// Unknown on both sides; the known parts differ by this.
    Unknown(Span),
}

impl Net {
    /// Of two directions.
    pub fn of(brought: &Flow, carried: &Flow) -> Net {
        let known = brought.known - carried.known;
        match (brought.is_complete(), carried.is_complete()) {
            (true, true) => Net::Known(known),
            (true, false) => Net::AtMost(known),
            (false, true) => Net::AtLeast(known),
            (false, false) => Net::Unknown(known),
        }
    }

    /// The net, where nothing is missing from it.
    pub fn known(self) -> Option<Span> {
        match self {
            Net::Known(span) => Some(span),
            _ => None,
        }
    }

    /// The known parts, whatever is missing.
    pub fn of_known_parts(self) -> Span {
        match self {
            Net::Known(span) | Net::AtMost(span) | Net::AtLeast(span) | Net::Unknown(span) => span,
        }
    }

    /// The sentence that stands before the number, empty where it is complete.
    pub const fn words(self) -> &'static str {
        match self {
            Net::Known(_) => "",
            Net::AtMost(_) => "at most",
            Net::AtLeast(_) => "at least",
            Net::Unknown(_) => "not known",
        }
    }
}

/// One element in one season, or over several.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    pub element: Element,
    pub brought: Flow,
    pub carried: Flow,
    pub net: Net,
    pub working: Working,
}

impl Line {
    /// Grams on the plot that a rate of this line is.
    pub fn grams(rate: Span, area: SquareMetres) -> Span {
        let on = |kg_per_ha: f64| KgPerHa(kg_per_ha).on(area).0;
        Span { low: on(rate.low), mid: on(rate.mid), high: on(rate.high) }
    }
}

/// What one application or one harvest of a season brought or carried away.
#[derive(Clone, Debug, PartialEq)]
pub struct Entry {
    pub on: Date,
    /// "Green compost", "carrot".
    pub what: String,
    /// Sort of material; `None` for a harvest.
    pub kind: Option<Kind>,
    /// The caller's key of the application or the harvest.
    pub key: i64,
    /// g of the product, or of the harvest, fresh.
    pub mass_g: f64,
    /// kg/ha of each element that is known of it; what is missing is not known.
    pub kg_per_ha: BTreeMap<Element, Span>,
}

/// A season in the ledger.
#[derive(Clone, Debug, PartialEq)]
pub struct SeasonAccount {
    pub name: String,
    pub starts_on: Date,
    pub ends_on: Date,
    /// What came, oldest first.
    pub came: Vec<Entry>,
    /// What went, oldest first.
    pub went: Vec<Entry>,
    /// Green manures that grew here and were dug in, as a person reads them.
    pub dug_in: Vec<String>,
    /// One line for each element of [`BALANCED`].
    pub lines: Vec<Line>,
    /// Everything up to the end of this season.
    pub so_far: Vec<Line>,
    /// What is missing, in sentences; each once.
    pub notes: Vec<String>,
}

/// The ledger of a plot, oldest season first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Ledger {
    pub seasons: Vec<SeasonAccount>,
    pub notes: Vec<String>,
}

/// A season, or a stretch between seasons in which something happened.
struct Slice {
    span: Season,
    /// Whether it is a season that somebody wrote down.
    written: bool,
}

/// What happened between two days.
struct Between<'a> {
    inputs: Vec<&'a Input>,
    harvests: Vec<&'a Harvest>,
    /// Seasons whose harvest nobody wrote down, and gaps in the record, as sentences.
    unwritten: BTreeSet<String>,
    /// Crops that took nitrogen from the air, as sentences.
    fixed: BTreeSet<String>,
}

impl Books {
    /// The ledger by season. What falls between seasons gets an account of its own.
    pub fn ledger(&self) -> Ledger {
        let mut ledger = Ledger::default();
        let mut so_far: BTreeMap<Element, (Flow, Flow, Vec<Working>)> = BTreeMap::new();
        let slices = self.slices();
        for (at, Slice { span: slice, written }) in slices.iter().enumerate() {
            let between = self.within(slice, &slices[..at], *written);
            let lines: Vec<Line> = BALANCED.iter().map(|element| self.line(*element, &between)).collect();
            let mut notes: BTreeSet<String> = between.unwritten.clone();
            if slice.running {
                notes.insert("This season is not over: this is what came and went so far.".into());
            }
            notes.extend(between.harvests.iter().flat_map(|h| offtake::notes(h, self.area)));
            let mut totals = Vec::new();
            for line in &lines {
                let (brought, carried, parts) = so_far.entry(line.element).or_default();
                brought.add(&line.brought);
                carried.add(&line.carried);
                parts.push(line.working.clone());
                let net = Net::of(brought, carried);
                let title = format!("{}, net since the record begins", capitalised(line.element.name()));
                let figure = Figure::significant(net.of_known_parts().mid, KgPerHa::UNIT, 2);
                let working = Working::step(title, figure, "sum of the seasons", parts.clone());
                let (brought, carried) = (brought.clone(), carried.clone());
                totals.push(Line { element: line.element, brought, carried, net, working });
            }
            ledger.seasons.push(SeasonAccount {
                name: slice.name.clone(),
                starts_on: slice.starts_on,
                ends_on: slice.ends_on,
                came: between.inputs.iter().map(|input| self.came(input)).collect(),
                went: between.harvests.iter().map(|harvest| self.went(harvest)).collect(),
                dug_in: slice
                    .crops
                    .iter()
                    .filter_map(|crop| Crop::find(crop))
                    .filter(Crop::stays_on_the_plot)
                    .map(|crop| crop.in_sentence())
                    .collect(),
                lines,
                so_far: totals,
                notes: notes.into_iter().collect(),
            });
        }
        if self.seasons.is_empty() {
            ledger
                .notes
                .push("No seasons are written down for this plot, so what its harvests took cannot be known.".into());
        }
        ledger
    }

    /// Some elements of one season by itself, as the ledger has them. `None` where no season has these days.
    pub fn season_lines(&self, starts_on: Date, ends_on: Date, elements: &[Element]) -> Option<Vec<Line>> {
        let slices = self.slices();
        let here = |one: &Slice| one.written && (one.span.starts_on, one.span.ends_on) == (starts_on, ends_on);
        let at = slices.iter().position(here)?;
        let between = self.within(&slices[at].span, &slices[..at], true);
        Some(elements.iter().map(|element| self.line(*element, &between)).collect())
    }

    /// One element between two days: from `from` on, up to but not on `to`.
    ///
    /// What went on the day of a sampling is taken to have gone on after it: soil is taken
    /// before anything is spread. A season without a harvest record counts where its middle
    /// lies; a gap in the seasons longer than half a year is a gap in what is known.
    pub fn between(&self, element: Element, from: Date, to: Date) -> Line {
        let mut between = Between {
            inputs: self
                .inputs
                .iter()
                .filter(|i| from <= i.application.applied_on && i.application.applied_on < to)
                .collect(),
            harvests: self.harvests.iter().filter(|h| from <= h.harvested_on && h.harvested_on < to).collect(),
            unwritten: BTreeSet::new(),
            fixed: BTreeSet::new(),
        };
        let counted = |season: &&Season| from <= season.middle() && season.middle() < to;
        between.unwritten.extend(self.seasons.iter().filter(counted).filter_map(|season| self.unharvested(season)));
        between.fixed.extend(self.seasons.iter().filter(counted).flat_map(fixed_from_the_air));
        between.unwritten.extend(gaps(&self.by_start(), from, to));
        self.line(element, &between)
    }

    /// What came and went of an element from one day up to but not on each of some later days, given
    /// in their order: the figures and reasons of [`Books::between`], in one pass over the record and
    /// without their derivation, for reviews of thousands of plots.
    pub fn flows(&self, element: Element, from: Date, days: &[Date]) -> Vec<UpTo> {
        let mut inputs: Vec<&Input> = self.inputs.iter().filter(|i| from <= i.application.applied_on).collect();
        inputs.sort_by_key(|input| input.application.applied_on);
        let mut harvests: Vec<&Harvest> = self.harvests.iter().filter(|h| from <= h.harvested_on).collect();
        harvests.sort_by_key(|harvest| harvest.harvested_on);
        let mut seasons: Vec<&Season> = self.seasons.iter().filter(|season| from <= season.middle()).collect();
        seasons.sort_by_key(|season| season.middle());
        let by_start = self.by_start();
        let (mut inputs, mut harvests) = (inputs.into_iter().peekable(), harvests.into_iter().peekable());
        let mut seasons = seasons.into_iter().peekable();
        let (mut brought, mut carried, mut holes) = (Flow::default(), Flow::default(), 0);
        let mut flows = Vec::with_capacity(days.len());
        let mut before = from;
        for to in days {
            while let Some(input) = inputs.next_if(|input| input.application.applied_on < *to) {
                match self.rate_brought(input, element) {
                    Some(rate) => brought.known = brought.known + Span::exact(rate),
                    None => {
                        holes += 1;
                        brought.missing.insert(unanalysed(input, element));
                    }
                }
            }
            while let Some(harvest) = harvests.next_if(|harvest| harvest.harvested_on < *to) {
                match offtake::taken(harvest, self.area, element) {
                    Some(rate) => carried.known = carried.known + rate,
                    None => {
                        holes += 1;
                        carried.missing.insert(untabled(harvest, element));
                    }
                }
            }
            while let Some(season) = seasons.next_if(|season| season.middle() < *to) {
                let unharvested = self.unharvested(season);
                holes += usize::from(unharvested.is_some());
                carried.missing.extend(unharvested);
                if element == Element::N {
                    let fixed: Vec<String> = fixed_from_the_air(season).collect();
                    holes += fixed.len();
                    brought.missing.extend(fixed);
                }
            }
            holes += gaps(&by_start, before, *to).len();
            let mut so_far = carried.clone();
            so_far.missing.extend(gaps(&by_start, from, *to));
            flows.push(UpTo { brought: brought.clone(), carried: so_far, holes });
            before = *to;
        }
        flows
    }

    /// What inputs yet to come would bring of an element.
    pub fn coming(&self, inputs: &[Input], element: Element) -> Flow {
        let inputs = inputs.iter().collect();
        self.line(element, &Between { inputs, harvests: vec![], unwritten: BTreeSet::new(), fixed: BTreeSet::new() })
            .brought
    }

    /// What a season's harvests usually carried away of an element: the mean of the newest
    /// seasons, at most `seasons`, in which that is wholly known; and of how many. `None`
    /// without any.
    pub fn usual_offtake(&self, element: Element, seasons: usize) -> Option<(Span, usize)> {
        let slices = self.slices();
        let mut known = Vec::new();
        for (at, Slice { span, written }) in slices.iter().enumerate().rev() {
            let carried = self.line(element, &self.within(span, &slices[..at], *written)).carried;
            if *written && !span.running && carried.is_complete() {
                known.push(carried.known);
            }
            if known.len() == seasons {
                break;
            }
        }
        let total = known.iter().copied().reduce(|a, b| a + b)?;
        Some((total.times(1.0 / known.len() as f64), known.len()))
    }

    /// The season's crops that no harvest is written down for, as a sentence.
    fn unharvested(&self, season: &Season) -> Option<String> {
        if season.running {
            return None;
        }
        let taken: Vec<&Harvest> = self.harvests.iter().filter(|h| season.holds(h.harvested_on)).collect();
        let dug_in = |crop: &String| Crop::find(crop).is_some_and(|crop| crop.stays_on_the_plot());
        if taken.is_empty() && !season.crops.is_empty() && season.crops.iter().all(dug_in) {
            return None;
        }
        if taken.is_empty() {
            return Some(format!(
                "No harvest is written down for {}: what left the plot is not known. If nothing did, say so.",
                season.name
            ));
        }
        let harvested: BTreeSet<&str> = taken.iter().filter_map(|h| h.crop.as_deref()).collect();
        let nothing_said = taken.iter().any(|h| h.crop.is_none());
        let left: Vec<String> = season
            .crops
            .iter()
            .filter(|crop| !nothing_said && !dug_in(crop) && !harvested.contains(crop.as_str()))
            .map(|crop| Crop::find(crop).map_or_else(|| crop.clone(), |c| c.in_sentence()))
            .collect();
        (!left.is_empty()).then(|| format!("No harvest of {} is written down for {}.", left.join(", "), season.name))
    }

    fn by_start(&self) -> Vec<&Season> {
        let mut seasons: Vec<&Season> = self.seasons.iter().collect();
        seasons.sort_by_key(|season| (season.starts_on, season.ends_on));
        seasons
    }

    /// Seasons and, between them, the stretches in which something happened.
    fn slices(&self) -> Vec<Slice> {
        let seasons = self.by_start();
        let applied = self.inputs.iter().map(|i| i.application.applied_on);
        let mut outside: Vec<Date> = applied.chain(self.harvests.iter().map(|h| h.harvested_on)).collect();
        outside.retain(|day| !seasons.iter().any(|season| season.holds(*day)));
        outside.sort();
        let mut slices: Vec<Slice> =
            seasons.iter().map(|season| Slice { span: (*season).clone(), written: true }).collect();
        let mut days = outside.into_iter().peekable();
        while let Some(first) = days.next() {
            let until = seasons.iter().map(|s| s.starts_on).filter(|start| *start > first).min().unwrap_or(Date::MAX);
            let mut last = first;
            while let Some(day) = days.next_if(|day| *day < until) {
                last = day;
            }
            let name = "between seasons".to_owned();
            let span = Season { name, starts_on: first, ends_on: last, crops: vec![], running: false };
            slices.push(Slice { span, written: false });
        }
        slices.sort_by_key(|slice| (slice.span.starts_on, slice.span.ends_on));
        slices
    }

    /// What belongs to a slice: a day in two of them counts for the earlier.
    fn within(&self, slice: &Season, earlier: &[Slice], written: bool) -> Between<'_> {
        let mine = |day: Date| slice.holds(day) && !earlier.iter().any(|e| e.span.holds(day));
        Between {
            inputs: self.inputs.iter().filter(|i| mine(i.application.applied_on)).collect(),
            harvests: self.harvests.iter().filter(|h| mine(h.harvested_on)).collect(),
            unwritten: if written { self.unharvested(slice).into_iter().collect() } else { BTreeSet::new() },
            fixed: if written { fixed_from_the_air(slice).collect() } else { BTreeSet::new() },
        }
    }

    fn line(&self, element: Element, between: &Between) -> Line {
        let (mut brought, mut carried) = (Flow::default(), Flow::default());
        let (mut came, mut went) = (Vec::new(), Vec::new());
        for input in &between.inputs {
            match self.brought(input, element) {
                Some((rate, working)) => {
                    brought.known = brought.known + Span::exact(rate);
                    came.extend(working);
                }
                None => drop(brought.missing.insert(unanalysed(input, element))),
            }
        }
        for harvest in &between.harvests {
            match offtake::carried(harvest, self.area, element) {
                Some(taken) => {
                    carried.known = carried.known + taken.kg_per_ha;
                    went.push(taken.working);
                }
                None => drop(carried.missing.insert(untabled(harvest, element))),
            }
        }
        if element == Element::N {
            brought.missing.extend(between.fixed.iter().cloned());
        }
        carried.missing.extend(between.unwritten.iter().cloned());
        let net = Net::of(&brought, &carried);
        let working = net_working(element, &brought, &carried, net, came, went);
        Line { element, brought, carried, net, working }
    }

    fn came(&self, input: &Input) -> Entry {
        let Application { key, applied_on, amendment, mass_g, .. } = &input.application;
        let known = BALANCED.iter().filter_map(|e| Some((*e, Span::exact(self.brought(input, *e)?.0))));
        Entry {
            on: *applied_on,
            what: amendment.clone(),
            kind: Some(input.kind),
            key: *key,
            mass_g: *mass_g,
            kg_per_ha: known.collect(),
        }
    }

    fn went(&self, harvest: &Harvest) -> Entry {
        let crop = harvest.crop.as_deref();
        let named = |slug: &str| Crop::find(slug).map_or_else(|| slug.to_owned(), |crop| crop.in_sentence());
        Entry {
            on: harvest.harvested_on,
            what: crop.map_or_else(|| "nothing".to_owned(), named),
            kind: None,
            key: harvest.key,
            mass_g: harvest.mass_kg * 1e3,
            kg_per_ha: offtake::offtake(harvest, self.area).known.iter().map(|(e, c)| (*e, c.kg_per_ha)).collect(),
        }
    }

    /// What an input brought of an element, kg/ha; `None` where nobody analysed it.
    fn rate_brought(&self, input: &Input, element: Element) -> Option<f64> {
        let Application { mass_g, content, .. } = &input.application;
        let sound = mass_g.is_finite() && *mass_g > 0.0 && self.area.0.is_finite() && self.area.0 > 0.0;
        match content.get(&element) {
            Some(fraction) if fraction.is_finite() && *fraction >= 0.0 && sound => {
                Some(Grams(mass_g * fraction).per(self.area).0)
            }
            None if input.lacks_unnamed(element) && sound => Some(0.0),
            _ => None,
        }
    }

    /// The same with its working; a salt that does not hold the element brings nothing, without one.
    fn brought(&self, input: &Input, element: Element) -> Option<(f64, Option<Working>)> {
        let rate = KgPerHa(self.rate_brought(input, element)?);
        let Application { amendment, applied_on, mass_g, content, .. } = &input.application;
        let Some(fraction) = content.get(&element).copied() else { return Some((rate.0, None)) };
        let formula = format!(
            "{} g × {} % ÷ {} m² × 10 = {} kg/ha",
            num(*mass_g),
            num(fraction * 100.0),
            num(self.area.0),
            num(rate.0)
        );
        let leaf = |title: &str, value: f64, unit: &str| {
            Working::leaf(title, Figure::significant(value, unit, 3), Origin::Entered)
        };
        let inputs = [
            leaf("Put on", *mass_g, "g"),
            leaf("Content by its analysis", fraction * 100.0, "%"),
            leaf("Area of the plot", self.area.0, "m²"),
        ];
        let title = format!("{} in {amendment}, {applied_on}", capitalised(element.name()));
        Some((rate.0, Some(Working::step(title, Figure::significant(rate.0, KgPerHa::UNIT, 3), formula, inputs))))
    }
}

/// Stretches between two days that no season covers, longer than a winter.
fn gaps(by_start: &[&Season], from: Date, to: Date) -> Vec<String> {
    let mut gaps = Vec::new();
    let mut covered = from;
    for season in by_start {
        if season.starts_on > covered && season.starts_on < to {
            gaps.extend(gap(covered, season.starts_on));
        }
        covered = covered.max(season.ends_on);
    }
    if covered < to {
        gaps.extend(gap(covered, to));
    }
    gaps
}

/// That nobody knows what an input brought of an element.
fn unanalysed(input: &Input, element: Element) -> String {
    let Application { amendment, applied_on, .. } = &input.application;
    format!("The {} in {amendment} ({applied_on}) was never analysed.", element.name())
}

/// That nobody knows what a harvest took of an element.
fn untabled(harvest: &Harvest, element: Element) -> String {
    let crop = harvest.crop.as_deref().and_then(Crop::find);
    let crop = crop.map_or("this crop".to_owned(), |crop| crop.in_sentence());
    format!("No table gives the {} in {crop}.", element.name())
}

/// What a season's legumes took from the air: not known, as a sentence for each.
fn fixed_from_the_air(season: &Season) -> impl Iterator<Item = String> {
    let legumes = season.crops.iter().filter_map(|crop| Crop::find(crop)).filter(Crop::fixes_nitrogen);
    legumes.map(|crop| {
        format!("How much nitrogen the {} of {} took from the air is not known.", crop.in_sentence(), season.name)
    })
}

fn net_working(
    element: Element,
    brought: &Flow,
    carried: &Flow,
    net: Net,
    came: Vec<Working>,
    went: Vec<Working>,
) -> Working {
    let title = format!("{}, brought less carried away", capitalised(element.name()));
    let figure = Figure::significant(net.of_known_parts().mid, KgPerHa::UNIT, 2);
    let side = |title: &str, value: f64, parts: Vec<Working>| {
        let figure = Figure::significant(value, KgPerHa::UNIT, 2);
        if parts.is_empty() {
            Working::leaf(title, figure, Origin::Entered).note("Nothing of it is written down.")
        } else {
            let terms: Vec<String> = parts.iter().map(|p| num(round(p.figure.value))).collect();
            Working::step(title, figure, format!("{} = {} kg/ha", terms.join(" + "), num(round(value))), parts)
        }
    };
    let formula = format!(
        "{} − {} = {} kg/ha",
        num(round(brought.known.mid)),
        num(round(carried.known.mid)),
        num(round(net.of_known_parts().mid))
    );
    let sides = [side("Brought", brought.known.mid, came), side("Carried away", carried.known.mid, went)];
    brought
        .missing
        .iter()
        .chain(&carried.missing)
        .fold(Working::step(title, figure, formula, sides), |w, why| w.note(why.clone()))
}

fn gap(from: Date, to: Date) -> Option<String> {
    ((to - from).get_days() > WINTER_DAYS).then(|| format!("No season is written down from {from} to {to}."))
}
