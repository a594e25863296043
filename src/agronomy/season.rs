//! From where plots stand to what a season plan is made of: needs by element, season caps
//! less what was already put on, and the products that may be used where. Pure joining of
//! `need`, `cap`, `wants` and `plan`; it decides one thing of its own, which is what must not go
//! on ground that does not suit it.

use super::{
    amendment::{Analysis, Kind, RateLimit},
    analyte::Analyte,
    cap::{self, Counted, Overruled, SeasonCap},
    crop::Crop,
    element::Element,
    ground::Ground,
    learned_need::{self, Answers},
    need::{self, Need, Reason, Way, canonical, capitalised},
    plan::{Cap, GroupCap, Key, Lock, Options, PlanInput, PlotNeed, Product},
    quantity::{Grams, KgPerHa, SquareMetres},
    record::{Application, DepthBand},
    standing::{NutrientStanding, Standing, num},
    survey::SALT_BELOW_WATER,
    wants::{self, Listing, Place, Want},
    working::{Figure, Origin, Working},
};
use jiff::{ToSpan, civil::Date};
use std::collections::{BTreeMap, BTreeSet};

/// What one plot brings to a season plan.
#[derive(Clone, Debug)]
pub struct PlotSeason {
    pub key: Key,
    pub name: String,
    /// The block it lies in, by the caller's key.
    pub block: Option<Key>,
    pub ground: Ground,
    /// Where it stands, or `None` when no soil of it was ever tested.
    pub standing: Option<Standing>,
    /// Depth of the sampling that the standing rests on.
    pub sampled: Option<DepthBand>,
    /// Signs of free lime were seen.
    pub calcareous: bool,
    /// The pH in water or, where it was read in salt, what it is at the least.
    pub ph: Option<f64>,
    /// That pH is reckoned from a reading in salt, or by a method that is not stated.
    pub ph_reckoned: bool,
    /// Crops of this season and of the next: the most sensitive governs.
    pub crops: Vec<Crop>,
    /// The crops of this season alone: what a published rate is for.
    pub growing: Vec<Crop>,
    /// The first day of the season: a rate for its crops is met by what goes on from then.
    pub season_from: Date,
    /// When soil was taken for the reading used of each analyte.
    pub tested_on: BTreeMap<Analyte, Date>,
    /// All that is known to have been put on, less what fulfils doses of this very plan.
    pub applications: Vec<Application>,
    /// What other plans have agreed and is still to be put on: it counts as given.
    pub promised: Vec<Application>,
}

/// A product and what sort of material it is.
#[derive(Clone, Debug)]
pub struct Material {
    pub product: Product,
    pub kind: Kind,
    /// Counts for limits on manure nitrogen.
    pub manure: bool,
    /// Works on acid soil only, as phosphate rock does.
    pub acid_soil_only: bool,
    /// The most of the product itself.
    pub rate_limit: Option<RateLimit>,
    /// What the list that the plan keeps to says of it; `None` where the record has no word of it.
    pub listing: Option<Listing>,
}

/// How the grower wants the season worked out.
#[derive(Clone, Debug, Default)]
pub struct Wishes {
    pub way: Way,
    /// Where a person chose to reckon by what tests answered: what they taught, plot by plot.
    pub answers: Option<BTreeMap<Key, Answers>>,
    /// Elements not to be planned for, whatever the tests say.
    pub leave_out: BTreeSet<Element>,
    /// What the grower says every plot needs, kg/ha, with the reason: above all nitrogen.
    pub stated: BTreeMap<Element, (KgPerHa, String)>,
    pub options: Options,
    pub wants: Vec<Want>,
    /// Only what stands on the list of this name is used.
    pub list: Option<String>,
    /// One recipe for all plots of a block.
    pub recipes: bool,
    /// Caps that a person decided otherwise about, by plot and what they count.
    pub overruled: BTreeMap<(Key, Counted), Overruled>,
    /// Names of the blocks, for what is said.
    pub blocks: BTreeMap<Key, String>,
    /// The day on which the caps' twelve months end: when the doses will go on.
    pub spread_on: Date,
}

/// A season cap on one plot with what it still leaves.
#[derive(Clone, Debug)]
pub struct CapLeft {
    pub cap: SeasonCap,
    /// What was put on of what it counts.
    pub given: KgPerHa,
    /// Below zero when it is exceeded.
    pub left: KgPerHa,
    pub working: Working,
}

impl Prepared {
    /// The same with needs that were settled before, in the place of those of today's tests:
    /// an agreed plan is judged by what it was agreed on.
    pub fn with_needs(mut self, settled: &BTreeMap<Key, Vec<Need>>) -> Prepared {
        for plot in &mut self.input.plots {
            let needs = settled.get(&plot.key).cloned().unwrap_or_default();
            plot.need_kg_per_ha = need::totals(&needs).into_iter().map(|(e, rate)| (e, rate.0)).collect();
            self.needs.insert(plot.key, needs);
        }
        self
    }
}

impl CapLeft {
    /// Whether more was given than the cap allows; what the sums of machine numbers lose does not count.
    pub fn exceeded(&self) -> bool {
        self.left.0 < -1e-9 * self.cap.kg_per_ha.0.max(1.0)
    }
}

/// A plan's input with the reasons behind it.
#[derive(Clone, Debug, Default)]
pub struct Prepared {
    pub input: PlanInput,
    pub needs: BTreeMap<Key, Vec<Need>>,
    pub caps: BTreeMap<Key, Vec<CapLeft>>,
    /// What a person should know before the plan: plots without a test, products kept off.
    pub notes: Vec<String>,
}

/// By what share of its aim an available amount of an element lifts a nutrient on this ground:
/// 0.25 is a quarter of the aim. The reverse of the need, reckoned the same way, so that a
/// dose that meets a need made up in one season reaches the aim; the next test may rise by
/// less, because soil binds part of what is given.
///
/// `None` where there is no aim, or the level cannot be turned into a mass of soil.
pub fn lift(available: KgPerHa, nutrient: &NutrientStanding, ground: &Ground, way: &Way) -> Option<f64> {
    let element = nutrient.analyte.element()?;
    let aim = canonical(nutrient.aim_level?, element)?;
    let per_unit = need::per_unit(aim, element, &nutrient.method, ground, way)?;
    let share = available.0 / per_unit.0 / aim.number();
    (share.is_finite() && share >= 0.0).then_some(share)
}

/// A dose of one product, for the working of what it brings.
#[derive(Clone, Copy, Debug)]
pub struct Given<'a> {
    pub product: &'a str,
    pub analysis: &'a Analysis,
    pub grams: Grams,
    /// Typed by a person rather than set by the planner.
    pub by_hand: bool,
}

impl Given<'_> {
    /// The element that the dose brings, usable in the first season.
    pub fn available(&self, element: Element) -> Grams {
        let part = self.analysis.parts.get(&element);
        Grams(part.map_or(0.0, |p| self.grams.0 * p.mass_fraction * p.first_year_availability))
    }

    /// The element that the dose brings in all: what a cap counts.
    pub fn total(&self, element: Element) -> Grams {
        Grams(self.grams.0 * self.analysis.fraction(element))
    }

    fn dose(&self) -> Working {
        let origin = if self.by_hand { Origin::Chosen } else { Origin::Planned };
        Working::leaf(format!("Dose of {}", self.product), Figure::significant(self.grams.0, "g", 4), origin)
    }

    /// What the dose brings in all, from the dose and the analysis; `None` where that is nothing.
    fn total_working(&self, element: Element) -> Option<Working> {
        let content = self.analysis.working(element)?;
        let (grams, percent) = (self.total(element), self.analysis.fraction(element) * 100.0);
        let formula = format!("{} g × {} % = {} g", num(self.grams.0), num(percent), num(grams.0));
        let title = format!("{} in {}", capitalised(element.name()), self.product);
        Some(Working::step(title, Figure::significant(grams.0, "g", 3), formula, [self.dose(), content]))
    }

    /// What of it a crop can use in the first season.
    fn available_working(&self, element: Element) -> Option<Working> {
        let total = self.total_working(element)?;
        let part = self.analysis.parts.get(&element)?;
        if part.first_year_availability >= 1.0 {
            return Some(total.note("All of it counts in the first season."));
        }
        let percent = part.first_year_availability * 100.0;
        let cited = part.availability_source.as_ref().unwrap_or(&part.source).clone();
        let share = Working::leaf("Usable in the first season", Figure::new(percent, "%", 0), Origin::Published);
        let grams = self.available(element);
        let formula = format!("{} g × {} % = {} g", num(self.total(element).0), num(percent), num(grams.0));
        let title = format!("{} from {} in the first season", capitalised(element.name()), self.product);
        let figure = Figure::significant(grams.0, "g", 3);
        Some(Working::step(title, figure, formula, [total, share.cite(cited)]))
    }
}

/// A need as grams on one plot. `None` where nothing is needed.
pub fn need_on_plot(need: &Need, area: SquareMetres) -> Option<Working> {
    let per_area = need.working.clone()?;
    let grams = need.kg_per_ha.on(area);
    let formula = format!("{} kg/ha × {} m² ÷ 10 = {} g", num(need.kg_per_ha.0), num(area.0), num(grams.0));
    let title = format!("{} for this plot", capitalised(need.element.name()));
    let area = Working::leaf("Area of the plot", Figure::significant(area.0, "m²", 3), Origin::Entered);
    Some(Working::step(title, Figure::significant(grams.0, "g", 3), formula, [per_area, area]))
}

/// What doses bring of an element in the first season. `None` where they bring nothing.
pub fn supplied(doses: &[Given], element: Element) -> Option<Working> {
    let title = format!("{} from the doses, usable in the first season", capitalised(element.name()));
    sum(title, doses, |dose| dose.available(element), |dose| dose.available_working(element))
}

/// What doses bring of an element in all, which is what a cap counts. `None` for nothing.
pub fn brought(doses: &[Given], element: Element) -> Option<Working> {
    let title = format!("{} from the doses in all", capitalised(element.name()));
    sum(title, doses, |dose| dose.total(element), |dose| dose.total_working(element))
}

fn sum<'a>(
    title: String,
    doses: &[Given<'a>],
    grams: impl Fn(&Given<'a>) -> Grams,
    working: impl Fn(&Given<'a>) -> Option<Working>,
) -> Option<Working> {
    let each: Vec<(f64, Working)> =
        doses.iter().filter(|d| grams(d).0 > 0.0).filter_map(|d| Some((grams(d).0, working(d)?))).collect();
    let total: f64 = each.iter().map(|(g, _)| g).sum();
    let terms: Vec<String> = each.iter().map(|(g, _)| format!("{} g", num(*g))).collect();
    let formula = format!("{} = {} g", terms.join(" + "), num(total));
    let nodes: Vec<Working> = each.into_iter().map(|(_, node)| node).collect();
    (!nodes.is_empty()).then(|| Working::step(title, Figure::significant(total, "g", 3), formula, nodes))
}

/// Water pH from which ash and lime are kept off a plot.
///
/// Wood ash "never at pH 7 or above": extension note, *Wood ashes* (1991), read; taken here
/// for liming materials too, as a caution of our own.
pub const NO_LIME_FROM_PH: f64 = 7.0;

/// Water pH from which what works on acid soil only is kept off a plot (common practice, no source).
pub const ACID_SOIL_BELOW_PH: f64 = 6.0;

/// Everything that the planner needs, from plots, products and wishes.
pub fn prepare(plots: &[PlotSeason], materials: &[Material], locks: &[Lock], wishes: &Wishes) -> Prepared {
    let mut prepared = Prepared::default();
    let products: Vec<Product> = materials.iter().map(|m| m.product.clone()).collect();
    let unlisted = off_the_list(materials, wishes, &mut prepared.notes);
    prepared.notes.extend(wants_told(plots, materials, wishes));
    for plot in plots {
        let needs = needs_of(plot, wishes);
        if plot.standing.is_none() {
            prepared.notes.push(format!("{} has no soil test, so nothing is planned from one.", plot.name));
        }
        let caps = caps_of(plot, materials, wishes, &mut prepared.notes);
        let mut forbidden = unsuited(plot, materials);
        if let Some(note) = kept_off(plot, materials, &forbidden) {
            prepared.notes.push(note);
        }
        let wanted = wants::here(&wishes.wants, plot.key, plot.block);
        forbidden.extend(unlisted.iter().chain(&wanted.kept_off));
        prepared.input.plots.push(PlotNeed {
            key: plot.key,
            name: plot.name.clone(),
            area_m2: plot.ground.area.0,
            need_kg_per_ha: need::totals(&needs).into_iter().map(|(e, rate)| (e, rate.0)).collect(),
            caps: element_caps(&caps),
            group_caps: group_caps(&caps, materials),
            allowed: None,
            forbidden,
            required_g_per_m2: wanted.used_g_per_m2,
            recipe: plot.block.filter(|_| wishes.recipes),
        });
        prepared.needs.insert(plot.key, needs);
        prepared.caps.insert(plot.key, caps);
    }
    if wishes.answers.is_some() {
        let names = plots.iter().map(|plot| (plot.key, plot.name.as_str())).collect();
        prepared.notes.extend(learned_need::told(&prepared.needs, &names));
    }
    prepared.input.products = products;
    prepared.input.locks = locks.to_vec();
    prepared.input.options = wishes.options.clone();
    prepared
}

fn needs_of(plot: &PlotSeason, wishes: &Wishes) -> Vec<Need> {
    let tested = plot
        .standing
        .iter()
        .flat_map(|standing| need::needs(standing, &plot.ground, plot.sampled, &wishes.way, &plot.growing))
        .filter(|need| !wishes.stated.contains_key(&need.element))
        .map(|need| answered(need, plot, wishes))
        .map(|need| still_needed(need, plot, wishes));
    let stated = wishes.stated.iter().map(|(element, (rate, reason))| need::stated(*element, *rate, reason));
    let mut needs: Vec<Need> = tested.chain(stated).filter(|n| !wishes.leave_out.contains(&n.element)).collect();
    // Nitrogen that nobody asked for is not a need of nothing: it is not known, so its excess is not judged.
    needs.retain(|n| n.element != Element::N || n.kg_per_ha.0 > 0.0);
    needs.sort_by_key(|n| n.element);
    needs
}

/// A need as tests here answered, where a person chose so and they carry it.
fn answered(need: Need, plot: &PlotSeason, wishes: &Wishes) -> Need {
    let Some(answers) = &wishes.answers else { return need };
    let nutrient = plot.standing.as_ref().and_then(|standing| standing.get(Analyte::Element(need.element)));
    let nothing = Answers::new();
    learned_need::by_answers(need, nutrient, answers.get(&plot.key).unwrap_or(&nothing), wishes.way.seasons)
}

impl PlotSeason {
    /// When soil was taken for the test of an element; of nitrogen, for nitrate or ammonium where that
    /// is what was tested.
    fn tested_of(&self, element: Element) -> Option<Date> {
        let forms = || self.tested_on.iter().filter(|(analyte, _)| analyte.element() == Some(element));
        let itself = self.tested_on.get(&Analyte::Element(element));
        itself.copied().or_else(|| forms().map(|(_, day)| *day).max())
    }
}

/// A need of the plot's tests less what went on since them, and what is agreed to.
fn still_needed(need: Need, plot: &PlotSeason, wishes: &Wishes) -> Need {
    let tested_on = plot.tested_of(need.element);
    let seasons = if need.reason == Reason::CropRate { 1 } else { wishes.way.seasons };
    let counted_from = need.counted_from(tested_on, plot.season_from);
    let given = need::since(&plot.applications, counted_from, wishes.spread_on).chain(&plot.promised);
    let given = need::brought(given, need.element, plot.ground.area);
    need.less(given, seasons)
}

/// Products that the plan's list does not hold, which stay out, with what the list says of all.
fn off_the_list(materials: &[Material], wishes: &Wishes, notes: &mut Vec<String>) -> BTreeSet<Key> {
    let Some(list) = &wishes.list else { return BTreeSet::new() };
    let holds = |m: &&Material| m.listing.as_ref().is_some_and(Listing::holds);
    let (on, off): (Vec<&Material>, Vec<&Material>) = materials.iter().partition(holds);
    if !off.is_empty() {
        let names = off.iter().map(|m| match &m.listing {
            Some(listing) => format!("{}, {}", m.product.name, listing.words(list)),
            None => format!("{}, of which nothing is noted", m.product.name),
        });
        let names: Vec<String> = names.collect();
        notes.push(format!(
            "Only what is listed on {list} is used, so these are left out: {}. What a list says is noted on the \
             product’s page; the certifier decides.",
            names.join("; ")
        ));
    }
    for material in on {
        if let Some(listing) = &material.listing {
            notes.push(format!("{} is {}.", material.product.name, listing.words(list)));
        }
    }
    off.iter().map(|m| m.product.key).collect()
}

fn wants_told(plots: &[PlotSeason], materials: &[Material], wishes: &Wishes) -> Vec<String> {
    let told = |want: &Want| {
        let product = materials.iter().find(|m| m.product.key == want.product)?;
        let place = match want.place {
            Place::Everywhere => "every plot".to_owned(),
            Place::Block(key) => wishes.blocks.get(&key)?.clone(),
            Place::Plot(key) => plots.iter().find(|plot| plot.key == key)?.name.clone(),
        };
        Some(wants::words(want, &product.product.name, &place))
    };
    wishes.wants.iter().filter_map(told).collect()
}

fn caps_of(plot: &PlotSeason, materials: &[Material], wishes: &Wishes, notes: &mut Vec<String>) -> Vec<CapLeft> {
    let on = wishes.spread_on;
    // What is agreed goes on by then.
    let promised = plot.promised.iter().map(|a| Application { applied_on: on, ..a.clone() });
    let given: Vec<Application> = plot.applications.iter().cloned().chain(promised).collect();
    let mut applied = cap::already_applied(&given, plot.ground.area, on);
    let mut caps: Vec<SeasonCap> = cap::season_caps(&plot.crops, plot.ground.texture);
    caps.retain(|cap| cap.in_force);
    for material in materials {
        let Some(limit) = &material.rate_limit else { continue };
        let (key, name) = (material.product.key, material.product.name.as_str());
        if limit.per != "at once" {
            let since = on.saturating_sub(1.year());
            let same = |a: &&Application| {
                let agreed =
                    a.amendment.strip_prefix(name).is_some_and(|rest| rest.is_empty() || rest.starts_with(" (agreed"));
                agreed && a.applied_on > since && a.applied_on <= on
            };
            let grams: f64 = given.iter().filter(same).map(|a| a.mass_g).sum();
            applied.by_product.insert(key, Grams(grams).per(plot.ground.area));
        }
        caps.push(cap::product_cap(key, name, limit));
    }
    let decided = |cap: SeasonCap| match wishes.overruled.get(&(plot.key, cap.counted)) {
        Some(overruled) if cap.bears(overruled) => cap.overrule(overruled.clone()),
        Some(Overruled { kg_per_ha, label, by, .. }) => {
            notes.push(format!(
                "{}: {by} decided on {} kg/ha where this was published: {label}. Published now: {}. That decision no \
                 longer counts; where more is to go on, a new one is needed.",
                plot.name,
                num(kg_per_ha.0),
                cap.label
            ));
            cap
        }
        None => cap,
    };
    caps.into_iter().map(decided).map(|cap| left_of(cap, &applied)).collect()
}

fn left_of(cap: SeasonCap, applied: &cap::Applied) -> CapLeft {
    let (left, working) = applied.left(&cap);
    CapLeft { given: applied.of(cap.counted), cap, left, working }
}

/// The caps in force on a plot, with what the twelve months that end with `on` leave of each.
pub fn caps_on(crops: &[Crop], ground: &Ground, applications: &[Application], on: Date) -> Vec<CapLeft> {
    let applied = cap::already_applied(applications, ground.area, on);
    cap::season_caps(crops, ground.texture)
        .into_iter()
        .filter(|cap| cap.in_force)
        .map(|cap| left_of(cap, &applied))
        .collect()
}

/// The caps that one of these applications, the one with this key, takes part in exceeding:
/// in the twelve months that end on its day or on a later day of spreading, whichever is worst.
/// One entered late can so exceed a cap together with what was put on after it.
pub fn caps_exceeded_by(crops: &[Crop], ground: &Ground, applications: &[Application], key: i64) -> Vec<CapLeft> {
    let Some(this) = applications.iter().find(|application| application.key == key) else { return vec![] };
    let ends: BTreeSet<Date> = applications
        .iter()
        .map(|application| application.applied_on)
        .filter(|on| *on >= this.applied_on && on.saturating_sub(1.year()) < this.applied_on)
        .collect();
    let mut worst: Vec<CapLeft> = vec![];
    for on in ends {
        for found in caps_on(crops, ground, applications, on) {
            if !found.exceeded() || !found.cap.counts(this) {
                continue;
            }
            match worst.iter_mut().find(|held| held.cap.label == found.cap.label) {
                Some(held) if held.left.0 <= found.left.0 => {}
                Some(held) => *held = found,
                None => worst.push(found),
            }
        }
    }
    worst
}

/// The tightest cap on each element.
fn element_caps(caps: &[CapLeft]) -> BTreeMap<Element, Cap> {
    let mut tightest: BTreeMap<Element, Cap> = BTreeMap::new();
    for one in caps {
        let Counted::Total(element) = one.cap.counted else { continue };
        let cap =
            Cap { left_kg_per_ha: one.left.0, whole_kg_per_ha: one.cap.kg_per_ha.0, label: one.cap.label.clone() };
        match tightest.get(&element) {
            Some(held) if held.left_kg_per_ha <= cap.left_kg_per_ha => {}
            _ => {
                tightest.insert(element, cap);
            }
        }
    }
    tightest
}

fn group_caps(caps: &[CapLeft], materials: &[Material]) -> Vec<GroupCap> {
    let nitrogen_of = |counts: fn(&Material) -> bool| -> BTreeMap<Key, f64> {
        let nitrogen = |m: &Material| (m.product.key, m.product.content.get(&Element::N).copied().unwrap_or(0.0));
        materials.iter().filter(|m| counts(m)).map(nitrogen).collect()
    };
    let counted = |list: BTreeMap<Key, f64>| Some(list).filter(|list| !list.is_empty());
    let group = |one: &CapLeft| {
        let grams_per_gram = match one.cap.counted {
            Counted::Total(_) => return None,
            Counted::ManureNitrogen => counted(nitrogen_of(|m| m.manure))?,
            Counted::OrganicNitrogen => counted(nitrogen_of(|m| m.manure || m.kind.is_organic()))?,
            Counted::Product(key) => BTreeMap::from([(key, 1.0)]),
        };
        Some(GroupCap {
            label: one.cap.label.clone(),
            grams_per_gram,
            left_kg_per_ha: one.left.0,
            whole_kg_per_ha: one.cap.kg_per_ha.0,
        })
    };
    caps.iter().filter_map(group).collect()
}

/// Products that must not go on this ground: what raises pH where it is high already, what
/// works on acid soil only where the soil is not acid, and both where lime is free.
fn unsuited(plot: &PlotSeason, materials: &[Material]) -> BTreeSet<Key> {
    let from = |limit: f64| plot.calcareous || plot.ph.is_some_and(|ph| ph >= limit);
    let raises = |m: &Material| matches!(m.kind, Kind::Lime | Kind::Ash);
    materials
        .iter()
        .filter(|m| raises(m) && from(NO_LIME_FROM_PH) || m.acid_soil_only && from(ACID_SOIL_BELOW_PH))
        .map(|m| m.product.key)
        .collect()
}

fn kept_off(plot: &PlotSeason, materials: &[Material], forbidden: &BTreeSet<Key>) -> Option<String> {
    let names: Vec<&str> =
        materials.iter().filter(|m| forbidden.contains(&m.product.key)).map(|m| m.product.name.as_str()).collect();
    let why = match (plot.calcareous, plot.ph) {
        (true, _) => "free lime in the soil".to_owned(),
        (false, Some(ph)) if plot.ph_reckoned => format!(
            "pH in water reckoned to be {ph:.1} or more (it was not read in water; calcium chloride reads at least \
             {SALT_BELOW_WATER} lower)"
        ),
        (false, Some(ph)) => format!("pH {ph:.1}"),
        (false, None) => "pH too high".to_owned(),
    };
    (!names.is_empty()).then(|| format!("{}: kept off for {why}: {}.", plot.name, names.join(", ")))
}

#[cfg(test)]
mod tests;
