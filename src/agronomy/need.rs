//! What a plot needs this season, kg of element per hectare, and why: to raise a level to
//! its aim, to make up for what a crop carries away, a published crop rate, or a figure that
//! the grower states. Never negative; never from a range of what is usually found; never a
//! nitrogen rate from a soil level, for nitrogen is a budget.

use super::{
    crop::Crop,
    crop_rate,
    element::{Element, Form},
    ground::Ground,
    guideline::Position,
    method::Method,
    quantity::{Grams, KgPerHa, LayerConvention, MgPerKg, MgPerL, SoilLayer, SquareMetres, by_volume_kg_per_ha},
    rate::RateUnit,
    reading::Level,
    record::{Application, DepthBand, Qualifier},
    source::{Evidence, Source},
    standing::{NutrientStanding, Standing, num},
    working::{Figure, Origin, Working},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Why an element is needed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Reason {
    /// To bring the soil up to the aim.
    Raise,
    /// To replace what crops carry away.
    Maintain,
    /// A published rate for the crop.
    CropRate,
    /// The grower says so.
    Stated,
    /// Nothing is needed; more of it would count as excess.
    None,
}

impl Reason {
    /// As a person reads it.
    pub const fn words(self) -> &'static str {
        match self {
            Reason::Raise => "to raise the soil to the aim",
            Reason::Maintain => "to replace what crops carry away",
            Reason::CropRate => "the published rate for the crop",
            Reason::Stated => "stated by the grower",
            Reason::None => "none",
        }
    }

    /// The reason that these words were written for; none where they are not of ours.
    pub fn of_words(words: &str) -> Reason {
        use Reason::{CropRate, Maintain, Raise, Stated};
        [Raise, Maintain, CropRate, Stated].into_iter().find(|reason| reason.words() == words).unwrap_or(Reason::None)
    }
}

/// An element to supply this season.
#[derive(Clone, Debug, PartialEq)]
pub struct Need {
    pub element: Element,
    /// Never below zero.
    pub kg_per_ha: KgPerHa,
    pub reason: Reason,
    /// `None` only where nothing was ever needed.
    pub working: Option<Working>,
    /// The lab gave only a limit, so the true need is this or more.
    pub at_least: bool,
    pub notes: Vec<String>,
}

/// Said of a need whose test gave only a limit.
const AT_LEAST: &str = "The lab gave only a limit; the need is this or more.";

/// Less than this share of a need left is a need met: no soil test is finer. Our own choice, and
/// the same in a plan and after it, so that what one plan left of it is no need of the next.
pub const ENOUGH: f64 = 0.05;

impl Need {
    /// A need as it was written down: its figure, the words of its reason and its working.
    pub fn recorded(element: Element, kg_per_ha: KgPerHa, reason: &str, working: Option<Working>) -> Need {
        let notes = working.as_ref().map_or_else(Vec::new, |working| working.notes.clone());
        let at_least = notes.iter().any(|note| note == AT_LEAST);
        Need { element, kg_per_ha, reason: Reason::of_words(reason), working, at_least, notes }
    }

    /// What is left of the need of a test after what was put on since, both kg/ha. Over several
    /// seasons the whole difference shrinks, and each season's share with it. What is left of
    /// less than [`ENOUGH`] is nothing.
    pub fn less(self, since: Option<(KgPerHa, Working)>, seasons: u8) -> Need {
        let (Some((given, put_on)), Some(working)) = (since, self.working.clone()) else { return self };
        let share = KgPerHa(given.0 / f64::from(seasons.max(1)));
        let left = match self.kg_per_ha.0 - share.0 {
            left if left > self.kg_per_ha.0 * ENOUGH => left,
            _ => 0.0,
        };
        let split = if seasons > 1 { format!(" ÷ {seasons} seasons") } else { String::new() };
        let formula =
            format!("{} − {}{split}, never below 0 = {} kg/ha", num(self.kg_per_ha.0), num(given.0), num(left));
        let title = format!("{} still to give", capitalised(self.element.name()));
        let mut still = Working::step(title, Figure::significant(left, KgPerHa::UNIT, 3), formula, [working, put_on]);
        let mut notes = self.notes;
        let words = Figure::significant(given.0, KgPerHa::UNIT, 2);
        notes.push(match left > 0.0 {
            true => format!("{words} of it was put on, or is agreed to be, since the test; the rest is asked for."),
            false => {
                format!("Enough was put on, or is agreed to be, since the test: {words}. The next test will show it.")
            }
        });
        still.notes.clone_from(&notes);
        let reason = if left > 0.0 { self.reason } else { Reason::None };
        Need { kg_per_ha: KgPerHa(left), reason, working: Some(still), notes, ..self }
    }

    /// After which day what was put on counts against the need: after the test for what raises
    /// the soil; a rate for the crops of a season is met only by what went on in that season.
    pub fn counted_from(&self, tested_on: Option<Date>, season_from: Date) -> Option<Date> {
        if self.reason != Reason::CropRate {
            return tested_on;
        }
        Some(tested_on.map_or(season_from, |tested| tested.max(season_from)))
    }

    /// That the test gave only a limit, where it did.
    pub fn limit_note(&self) -> Option<&'static str> {
        self.at_least.then_some(AT_LEAST)
    }

    /// The same with one more remark, on its working too.
    pub fn noted(mut self, note: String) -> Need {
        if let Some(working) = &mut self.working {
            working.notes.push(note.clone());
        }
        self.notes.push(note);
        self
    }

    fn nothing(element: Element, note: Option<String>) -> Need {
        Need {
            element,
            kg_per_ha: KgPerHa(0.0),
            reason: Reason::None,
            working: None,
            at_least: false,
            notes: note.into_iter().collect(),
        }
    }
}

/// A published amount of fertiliser that lifts a soil test by one unit, more than the bare mass.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BuildUp {
    /// Key in the record.
    pub slug: &'static str,
    pub words: &'static str,
    pub element: Element,
    /// The printed rate per mg/kg or mg/L, in the printed form.
    pub rate: f64,
    pub unit: RateUnit,
    pub form: Form,
    /// Per mg/L rather than per mg/kg.
    pub by_volume: bool,
    /// The tests that it was found for.
    pub methods: &'static [Method],
    pub source: Source,
}

const TRI_STATE: Source = Source {
    publisher: "Ag Professional, on Tri-State Fertilizer Recommendations, bulletin E-2567",
    title: "How much fertilizer will move soil test levels? 20 lb P2O5 per ppm P; 6 to 10 lb K2O per ppm K by exchange capacity",
    year: 0,
    address: "http://www.agprofessional.com/resource-centers/crop-fertility/phosphorus-potassium/news/How-much-fertilizer-will-move-soil-test-levels-178095811.html",
    evidence: Evidence::Quoted,
};

/// The build-up factors known here.
pub const BUILD_UPS: &[BuildUp] = &[
    BuildUp {
        slug: "tri_state_p",
        words: "20 lb P₂O₅ per acre for each ppm of P",
        element: Element::P,
        rate: 20.0,
        unit: RateUnit::LbPerAcre,
        form: Form::P2O5,
        by_volume: false,
        methods: &[Method::Bray1, Method::Mehlich3Icp, Method::Mehlich3Colour],
        source: TRI_STATE,
    },
    BuildUp {
        slug: "tri_state_k_light",
        words: "6 lb K₂O per acre for each ppm of K (low exchange capacity)",
        element: Element::K,
        rate: 6.0,
        unit: RateUnit::LbPerAcre,
        form: Form::K2O,
        by_volume: false,
        methods: &[Method::AmmoniumAcetate7, Method::Mehlich3Icp],
        source: TRI_STATE,
    },
    BuildUp {
        slug: "tri_state_k_heavy",
        words: "10 lb K₂O per acre for each ppm of K (high exchange capacity)",
        element: Element::K,
        rate: 10.0,
        unit: RateUnit::LbPerAcre,
        form: Form::K2O,
        by_volume: false,
        methods: &[Method::AmmoniumAcetate7, Method::Mehlich3Icp],
        source: TRI_STATE,
    },
    BuildUp {
        slug: "pda_k",
        words: "10 kg K₂O per hectare for each mg/L of K (sandy clay loam)",
        element: Element::K,
        rate: 10.0,
        unit: RateUnit::KgPerHa,
        form: Form::K2O,
        by_volume: true,
        methods: &[Method::AmmoniumNitrate],
        source: Source {
            publisher: "Potash Development Association",
            title: "Some frequently asked questions about P and K: 600 kg K2O/ha for 60 mg/L; heavier soil to 800, light sand about half",
            year: 2009,
            address: "https://pda.org.uk/some-frequently-asked-questions-about-p-and-k",
            evidence: Evidence::Read,
        },
    },
];

impl BuildUp {
    /// Finds a factor by its key.
    pub fn find(slug: &str) -> Option<BuildUp> {
        BUILD_UPS.iter().copied().find(|b| b.slug == slug)
    }

    /// kg of the element per hectare that lift the test by 1 mg/kg (or mg/L).
    pub fn kg_per_ha_per_unit(&self) -> f64 {
        self.unit.read(self.rate).0 * self.form.to_element()
    }

    /// The factors that fit an element by a method.
    pub fn fitting(element: Element, method: &Method) -> impl Iterator<Item = BuildUp> {
        BUILD_UPS.iter().copied().filter(move |b| b.element == element && b.methods.contains(method))
    }
}

/// How a difference in concentration becomes a mass per area.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum By {
    /// The plot's own layer: area-true grams on a bed. The usual way.
    OwnLayer,
    /// A publisher's fixed mass of soil, to follow its advice to the letter.
    Convention(LayerConvention),
    /// A published build-up factor.
    BuildUp(BuildUp),
}

/// How needs are worked out.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Way {
    pub by: By,
    /// Seasons over which the difference is made up, at least 1.
    pub seasons: u8,
}

impl Default for Way {
    fn default() -> Self {
        Way { by: By::OwnLayer, seasons: 1 }
    }
}

/// The need of every element of a standing that is judged, zero where the level is enough.
///
/// An element that no rule judges is left out: nothing is known of it, neither need nor excess.
/// `crops` are those of the season: where the guideline prints a rate for them, that is the need.
pub fn needs(standing: &Standing, ground: &Ground, sampled: Option<DepthBand>, way: &Way, crops: &[Crop]) -> Vec<Need> {
    let need = |nutrient| of_season(standing, nutrient, ground, sampled, way, crops);
    standing.nutrients.iter().filter_map(need).collect()
}

/// The need of one nutrient of a standing: the published rate for the crops of the season, where
/// there is one, else what raises it ([`worthwhile`]).
pub fn of_season(
    standing: &Standing,
    nutrient: &NutrientStanding,
    ground: &Ground,
    sampled: Option<DepthBand>,
    way: &Way,
    crops: &[Crop],
) -> Option<Need> {
    crop_rate::or_raise(worthwhile(standing, nutrient, ground, sampled, way), nutrient, crops)
}

/// A shortage smaller than this share of the aim is not worth a dose: a test tells levels
/// apart only several times as coarsely ([`super::confidence::default_error`]). Our own choice.
pub(super) const TOO_LITTLE: f64 = 0.03;

/// What raises one nutrient of a standing ([`raise`]), where putting it on does any good.
pub fn worthwhile(
    standing: &Standing,
    nutrient: &NutrientStanding,
    ground: &Ground,
    sampled: Option<DepthBand>,
    way: &Way,
) -> Option<Need> {
    let need = raise(nutrient, ground, sampled, way)?;
    let near = nutrient.ratio().is_some_and(|ratio| (1.0 - TOO_LITTLE..1.0).contains(&ratio));
    if near && need.kg_per_ha.0 > 0.0 {
        let note = "Short by less than 3 % of the aim, less than a test can tell: nothing is planned for it.";
        return Some(Need::nothing(need.element, Some(note.into())));
    }
    Some(if standing.calcareous { not_locked_up(need) } else { need })
}

/// Iron and manganese are not worth putting on soil with free lime: no need, and why.
///
/// Common practice, no source: their salts turn insoluble there within weeks.
fn not_locked_up(need: Need) -> Need {
    if !matches!(need.element, Element::Fe | Element::Mn) || need.kg_per_ha.0 == 0.0 {
        return need;
    }
    let name = need.element.name();
    let note = format!(
        "Short of {name}, but soil with free lime soon locks up what is put on it: none is planned. \
         A leaf spray or a chelate is usual there (common practice, no source); take local advice."
    );
    Need::nothing(need.element, Some(note))
}

/// What raises one nutrient to its aim: (aim − found) × soil mass, or × a build-up factor.
///
/// `None` for what is not a nutrient that is given (pH, sodium, metals of concern) and for a
/// reading that no rule judges. Grams on a bed rest on the bed's own layer to its working
/// depth, whatever mass of soil the publisher's tables were printed with; results by volume
/// take the depth alone, for field density must not touch them.
pub fn raise(nutrient: &NutrientStanding, ground: &Ground, sampled: Option<DepthBand>, way: &Way) -> Option<Need> {
    use Element::{B, Ca, Co, Cu, Fe, K, Mg, Mn, Mo, Ni, P, S, Se, Si, Zn};
    let element = nutrient.analyte.element()?;
    if element == Element::N {
        return Some(Need::nothing(element, Some("Nitrogen is a budget of the crop, not a level to raise.".into())));
    }
    if !matches!(element, B | Ca | Co | Cu | Fe | K | Mg | Mn | Mo | Ni | P | S | Se | Si | Zn) {
        return None;
    }
    let note = match &nutrient.position {
        Position::NoCriterion(_) => return None,
        Position::Short => None,
        Position::Excess => Some(format!("By these limits this much {} is excessive: give none.", element.name())),
        Position::TypicalRangeOnly => {
            Some("Only a range of what is usually found is known; it is no reason to give any.".into())
        }
        Position::NotKnown(why) => Some(why.clone()),
        Position::AtAim | Position::Above => None,
    };
    let (Position::Short, Some(aim_level), Some(aim)) = (&nutrient.position, nutrient.aim_level, &nutrient.aim) else {
        return Some(Need::nothing(element, note));
    };
    let (Some(found), Some(target)) = (canonical(nutrient.level, element), canonical(aim_level, element)) else {
        return Some(Need::nothing(element, Some("This level cannot be turned into a mass of soil.".into())));
    };
    let missing = (target.number() - found.number()).max(0.0);
    if missing == 0.0 || missing.is_nan() {
        // Rounded up into the class below the aim's edge: short by the words, not by the number.
        return Some(Need::nothing(element, None));
    }
    let unit = target.unit();
    let difference = Working::step(
        format!("{} missing", capitalised(element.name())),
        Figure::new(missing, unit, nutrient.found.figure.decimals),
        format!("{} − {} = {} {unit}", num(target.number()), num(found.number()), num(missing)),
        [aim.working.clone(), nutrient.found.working.clone()],
    );
    let mut notes = Vec::new();
    let (mass, formula, other) = match per_area(missing, target, element, &nutrient.method, ground, way) {
        Ok(found) => found,
        Err(why) => {
            notes.push(why);
            let own = Way { by: By::OwnLayer, ..*way };
            per_area(missing, target, element, &nutrient.method, ground, &own).ok()?
        }
    };
    let seasons = f64::from(way.seasons.max(1));
    let kg_per_ha = KgPerHa(mass.0 / seasons);
    let mut formula = formula;
    if way.seasons > 1 {
        formula.push_str(&format!("; a share of 1 in {} seasons: {} kg/ha", way.seasons, num(kg_per_ha.0)));
    }
    if matches!(way.by, By::OwnLayer | By::Convention(_)) && matches!(element, P | K) {
        notes
            .push("This is the bare mass. Soil binds part of what is given, so the next test may rise by less.".into());
    }
    if let Some(band) = sampled
        && (band.bottom.0 - ground.depth.0).abs() > 1.0
    {
        notes.push(format!("Sampled {band}, reckoned over the plot's working depth of {:.0}\u{a0}cm.", ground.depth.0));
    }
    let at_least = nutrient.qualifier == Qualifier::Below;
    if at_least {
        notes.push(AT_LEAST.into());
    }
    let mut working = Working::step(
        format!("{} to give", capitalised(element.name())),
        Figure::significant(kg_per_ha.0, KgPerHa::UNIT, 3),
        formula,
        [difference, other],
    );
    working.notes.clone_from(&notes);
    Some(Need { element, kg_per_ha, reason: Reason::Raise, working: Some(working), at_least, notes })
}

/// mg/kg or mg/L; charge becomes mass by the cation's weight.
pub(super) fn canonical(level: Level, element: Element) -> Option<Level> {
    match level {
        Level::MgPerKg(_) | Level::MgPerL(_) => Some(level),
        Level::CmolPerKg(v) => Some(Level::MgPerKg(MgPerKg(v.0 * element.mg_per_cmol_charge()?))),
        _ => None,
    }
}

/// The mass per area that raises a level like this one by one unit, as [`raise`] reckons it.
pub(super) fn per_unit(like: Level, element: Element, method: &Method, ground: &Ground, way: &Way) -> Option<KgPerHa> {
    let own = Way { by: By::OwnLayer, ..*way };
    let reckoned = per_area(1.0, like, element, method, ground, way);
    reckoned.or_else(|_| per_area(1.0, like, element, method, ground, &own)).ok().map(|(mass, ..)| mass)
}

/// The mass per area, its formula, and the node it rests on besides the difference.
fn per_area(
    missing: f64,
    like: Level,
    element: Element,
    method: &Method,
    ground: &Ground,
    way: &Way,
) -> Result<(KgPerHa, String, Working), String> {
    let by_volume = matches!(like, Level::MgPerL(_));
    if let By::BuildUp(factor) = way.by {
        if factor.element != element {
            return Err(format!("The build-up factor is for {}; the plot's own layer is used.", factor.element.name()));
        }
        if !factor.methods.contains(method) || factor.by_volume != by_volume {
            return Err(format!("“{}” was not found for {method}; the plot's own layer is used.", factor.words));
        }
        let per_unit = factor.kg_per_ha_per_unit();
        let mass = KgPerHa(missing * per_unit);
        let leaf =
            Working::leaf("Build-up factor", Figure::significant(per_unit, "kg/ha per unit", 3), Origin::Published)
                .cite(factor.source)
                .note(factor.words);
        return Ok((mass, format!("{} × {} = {} kg/ha", num(missing), num(per_unit), num(mass.0)), leaf));
    }
    if by_volume {
        let mass = by_volume_kg_per_ha(MgPerL(missing), ground.depth);
        let depth = Working::leaf("Working depth", Figure::new(ground.depth.0, "cm", 0), Origin::Entered);
        let formula = format!("{} mg/L × {} cm × 0.1 = {} kg/ha", num(missing), num(ground.depth.0), num(mass.0));
        return Ok((mass, formula, depth));
    }
    let (layer, node) = soil_mass(ground, way.by);
    let mass = layer.mass(MgPerKg(missing));
    let formula =
        format!("{} mg/kg × {} kg/ha ÷ 1,000,000 = {} kg/ha", num(missing), num(layer.soil_kg_per_ha()), num(mass.0));
    Ok((mass, formula, node))
}

/// The soil that a level by mass is weighed with, and where its mass comes from.
pub(super) fn soil_mass(ground: &Ground, by: By) -> (SoilLayer, Working) {
    match by {
        By::Convention(convention) => {
            let figure = Figure::new(convention.soil_kg_per_ha, "kg/ha", 0);
            let leaf = Working::leaf("Soil in the publisher's layer", figure, Origin::Published);
            (SoilLayer::Convention(convention), leaf.cite(convention.source).note(convention.words))
        }
        By::OwnLayer | By::BuildUp(_) => (ground.layer(), soil_working(ground)),
    }
}

/// The mass of soil in a plot's own layer, with where its density comes from.
pub fn soil_working(ground: &Ground) -> Working {
    let (density, source) = ground.bulk_density();
    let figure = Figure::new(density.0, "g/cm³", 2);
    let density_leaf = match source {
        Some(source) => Working::leaf("Bulk density", figure, Origin::Published)
            .cite(source)
            .note(format!("Typical of {}; not measured here", ground.texture.label())),
        None => Working::leaf("Bulk density", figure, Origin::Entered),
    };
    let mass = ground.layer().soil_kg_per_ha();
    let mut inputs =
        vec![density_leaf, Working::leaf("Working depth", Figure::new(ground.depth.0, "cm", 0), Origin::Entered)];
    let mut formula = format!("{} g/cm³ × {} cm × 100,000", num(density.0), num(ground.depth.0));
    if ground.stones > 0.0 {
        formula.push_str(&format!(" × (1 − {})", num(ground.stones)));
        let stones = Figure::new(ground.stones * 100.0, "% by volume", 0);
        inputs.push(Working::leaf("Stones", stones, Origin::Entered));
    }
    formula.push_str(&format!(" = {} kg/ha", num(mass)));
    Working::step("Soil in the plot's own layer", Figure::significant(mass, "kg/ha", 3), formula, inputs)
}

/// A need that the grower states, such as nitrogen for a crop, with their reason. Below zero counts as none.
pub fn stated(element: Element, kg_per_ha: KgPerHa, reason: &str) -> Need {
    given(element, kg_per_ha, Reason::Stated, |figure| {
        Working::leaf(format!("{} stated", capitalised(element.name())), figure, Origin::Chosen).note(reason)
    })
}

/// What replaces an offtake, with the working of that offtake.
pub fn maintain(element: Element, offtake: KgPerHa, offtake_working: Working) -> Need {
    given(element, offtake, Reason::Maintain, |figure| {
        let formula = format!("as much as is carried away: {figure}");
        Working::step(format!("{} to replace", capitalised(element.name())), figure, formula, [offtake_working])
    })
}

fn given(element: Element, rate: KgPerHa, reason: Reason, working: impl FnOnce(Figure) -> Working) -> Need {
    if !rate.0.is_finite() || rate.0 <= 0.0 {
        return Need::nothing(element, None);
    }
    let working = working(Figure::significant(rate.0, KgPerHa::UNIT, 3));
    Need { element, kg_per_ha: rate, reason, working: Some(working), at_least: false, notes: vec![] }
}

/// The applications that a test of a day has not seen, from that day on (soil is taken before
/// anything is spread) up to and including another. Without a test, all of them.
pub fn since(applications: &[Application], tested_on: Option<Date>, until: Date) -> impl Iterator<Item = &Application> {
    applications.iter().filter(move |a| a.applied_on <= until && tested_on.is_none_or(|day| a.applied_on >= day))
}

/// What applications brought of an element for the first season, which is what counts against
/// a need. `None` where they brought nothing, or the plot has no area.
pub fn brought<'a>(
    applications: impl IntoIterator<Item = &'a Application>,
    element: Element,
    area: SquareMetres,
) -> Option<(KgPerHa, Working)> {
    let counts = |g: Grams| g.0.is_finite() && g.0 > 0.0 && area.0.is_finite() && area.0 > 0.0;
    let each: Vec<(KgPerHa, Working)> = applications
        .into_iter()
        .filter(|application| counts(application.available(element)))
        .map(|application| brought_by(application, element, area))
        .collect();
    let rate = KgPerHa(each.iter().map(|(rate, _)| rate.0).sum());
    let terms: Vec<String> = each.iter().map(|(rate, _)| num(rate.0)).collect();
    let formula = format!("{} = {} kg/ha", terms.join(" + "), num(rate.0));
    let title = format!("{} put on since the test", capitalised(element.name()));
    let nodes: Vec<Working> = each.into_iter().map(|(_, node)| node).collect();
    let figure = Figure::significant(rate.0, KgPerHa::UNIT, 3);
    (!nodes.is_empty()).then(|| (rate, Working::step(title, figure, formula, nodes)))
}

fn brought_by(application: &Application, element: Element, area: SquareMetres) -> (KgPerHa, Working) {
    let rate = application.available(element).per(area);
    let fraction = application.content.get(&element).copied().unwrap_or(0.0);
    let available = application.availability(element);
    let percent = |title: &str, fraction: f64| {
        Working::leaf(title, Figure::significant(fraction * 100.0, "%", 3), Origin::Entered)
    };
    let mut inputs = vec![
        Working::leaf("Put on", Figure::significant(application.mass_g, "g", 4), Origin::Entered),
        percent("Content by its analysis", fraction),
        Working::leaf("Area of the plot", Figure::significant(area.0, "m²", 3), Origin::Entered),
    ];
    let mut formula = format!("{} g × {} %", num(application.mass_g), num(fraction * 100.0));
    if available < 1.0 {
        formula += &format!(" × {} %", num(available * 100.0));
        inputs.push(percent("Usable in the first season", available));
    }
    formula += &format!(" ÷ {} m² × 10 = {} kg/ha", num(area.0), num(rate.0));
    let title = format!("{} in {}, {}", element.name(), application.amendment, application.applied_on);
    (rate, Working::step(title, Figure::significant(rate.0, KgPerHa::UNIT, 3), formula, inputs))
}

/// All needs added up by element; an element judged and found to need nothing is there with zero.
pub fn totals(needs: &[Need]) -> BTreeMap<Element, KgPerHa> {
    let mut totals = BTreeMap::new();
    for need in needs {
        totals.entry(need.element).or_insert(KgPerHa(0.0)).0 += need.kg_per_ha.0;
    }
    totals
}

pub(super) fn capitalised(word: &str) -> String {
    let mut chars = word.chars();
    chars.next().map_or_else(String::new, |first| first.to_uppercase().chain(chars).collect())
}
