//! What each kind of worked example runs. A kind hands its inputs to the function of the
//! program that answers, and puts nothing of its own between.

mod interpretation;
mod rates;
mod salts;

use glebe::{
    agronomy::{
        amendment::{Analysis, Convention, Part, from_label, lime_for_value},
        analyte::Analyte,
        carbonate::{Signs, signs},
        caution::sulfur_to_spend_carbonate,
        choice::choose,
        confidence::p_below_target_normal,
        crop::{Crop, boron_ceiling},
        element::{Element, Form, Formula},
        exchange_capacity::{self, Parts},
        ground::{Cover, Ground, Texture},
        guideline::{self, Guideline, LandUse, SplitOf, shipped_splits},
        method::Method,
        need::{self, BuildUp, Way},
        quantity::{
            Centimetres, Grams, GramsPerCm3, KgPerHa, LayerConvention, MgPerKg, MgPerL, SoilLayer, SquareMetres,
            by_volume_kg_per_ha,
        },
        rate::{AreaUnit, MassUnit, RateUnit, depth_of_yd3_per_1000_ft2, inches},
        reading::{Divisors, Level, Reading, cmol, read},
        record::{Basis, CellKey, Determination, Report, Sampling, Unit},
        source::{Citation, Evidence},
        standing::{Chosen, Setting, stand},
    },
    exchange::number::parse_printed,
};
use serde::{Deserialize, de::DeserializeOwned};
use std::collections::BTreeMap;

/// Something that came out.
pub enum Answer {
    Mass(Grams),
    Rate(KgPerHa),
    Level(Level),
    /// A number that has only this unit (empty: none).
    Plain(f64, &'static str),
    Text(String),
}

impl Answer {
    /// The number in the unit that is asked for.
    pub fn number(&self, unit: Option<&str>) -> Result<f64, String> {
        let asked = || unit.ok_or_else(|| "expect needs a unit".to_owned());
        match self {
            Answer::Mass(mass) => Ok(asked()?.parse::<MassUnit>()?.show(*mass)),
            Answer::Rate(rate) => Ok(asked()?.parse::<RateUnit>()?.show(*rate)),
            Answer::Level(level) if asked()? == level.unit() => Ok(level.number()),
            Answer::Level(level) => Err(format!("the answer is in {}", level.unit())),
            Answer::Plain(number, own) if unit.is_none_or(|unit| own.is_empty() || unit == *own) => Ok(*number),
            Answer::Plain(_, own) => Err(format!("the answer is in {own}")),
            Answer::Text(text) => Err(format!("“{text}”, where a number is expected")),
        }
    }

    pub fn text(&self) -> Option<&str> {
        match self {
            Answer::Text(text) => Some(text),
            _ => None,
        }
    }
}

/// Answers by name; the only answer of a case has the empty name.
pub type Answers = BTreeMap<String, Answer>;

type Outcome = Result<Answers, String>;

/// A kind by name, and what runs it.
type Kind = (&'static str, fn(&toml::Table) -> Outcome);

/// Every kind and what runs it.
pub fn all() -> impl Iterator<Item = &'static Kind> {
    KINDS.iter().chain(interpretation::KINDS).chain(rates::KINDS).chain(salts::KINDS)
}

const KINDS: &[Kind] = &[
    ("supplied", supplied),
    ("product_for", product_for),
    ("price", price),
    ("rate", rate),
    ("mass_on_area", mass_on_area),
    ("rate_of_mass", rate_of_mass),
    ("spread_depth", spread_depth),
    ("factor", factor),
    ("form_mass", form_mass),
    ("composition", composition),
    ("lime_for_value", lime),
    ("split", split),
    ("sulfur_for_carbonate", sulfur_for_carbonate),
    ("boron_ceiling", boron),
    ("reading", reading),
    ("charge", charge),
    ("layer_mass", layer_mass),
    ("layer_weight", layer_weight),
    ("by_volume", by_volume),
    ("class", class),
    ("capacity", capacity),
    ("below_target", below_target),
    ("raise", raise),
    ("build_up", build_up),
];

/// Runs a kind on its inputs.
pub fn run(kind: &str, inputs: &toml::Table) -> Outcome {
    match all().find(|(name, _)| *name == kind) {
        Some((_, run)) => run(inputs),
        None => Err(format!("“{kind}” is not a kind known here")),
    }
}

fn inputs<T: DeserializeOwned>(table: &toml::Table) -> Result<T, String> {
    table.clone().try_into().map_err(|e| e.to_string())
}

fn one(answer: Answer) -> Outcome {
    Ok(Answers::from([(String::new(), answer)]))
}

fn some<T>(value: Option<T>) -> Result<T, String> {
    value.ok_or_else(|| "the program gives no answer".into())
}

/// A citation for what a case types in itself.
fn stated() -> Citation {
    Citation {
        publisher: "the example".into(),
        title: "as stated there".into(),
        year: 0,
        address: String::new(),
        evidence: Evidence::Read,
    }
}

fn bag(label: &str, convention: Convention) -> Result<Analysis, String> {
    let analysis = Analysis::from_label(&from_label(label, convention)?, stated());
    match analysis.problems().into_iter().next() {
        Some(problem) => Err(problem),
        None => Ok(analysis),
    }
}

/// "P" or "P2O5": the element, and what share of the named form it is.
fn nutrient(name: &str) -> Result<(Element, f64), String> {
    match name.parse::<Form>() {
        Ok(form) => Ok((form.element(), form.to_element())),
        Err(_) => Ok((name.parse()?, 1.0)),
    }
}

fn part<'a>(analysis: &'a Analysis, element: Element) -> Result<&'a Part, String> {
    analysis.parts.get(&element).ok_or_else(|| format!("the label gives no {}", element.name()))
}

/// What a mass of a bag brings, by element and by the form its label prints.
fn supplied(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        label: String,
        #[serde(default)]
        convention: Convention,
        mass: f64,
        unit: MassUnit,
    }
    let i: In = inputs(table)?;
    let brought = bag(&i.label, i.convention)?.supplied(i.unit.read(i.mass));
    let mut answers = Answers::new();
    for (element, mass) in brought {
        answers.insert(element.symbol().into(), Answer::Mass(mass));
        if let Some(oxide) = Form::oxide_of(element) {
            answers.insert(oxide.symbol().into(), Answer::Mass(Grams(mass.0 / oxide.to_element())));
        }
    }
    Ok(answers)
}

/// The product for a need, as a mass, as a rate, or as a mass on an area.
fn product_for(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        label: String,
        #[serde(default)]
        convention: Convention,
        of: String,
        need: f64,
        unit: String,
        area: Option<f64>,
        area_unit: Option<AreaUnit>,
    }
    let i: In = inputs(table)?;
    let (element, share) = nutrient(&i.of)?;
    let analysis = bag(&i.label, i.convention)?;
    let part = part(&analysis, element)?;
    if let Ok(unit) = i.unit.parse::<MassUnit>() {
        return one(Answer::Mass(some(part.product_for(unit.read(i.need * share)))?));
    }
    let need = i.unit.parse::<RateUnit>()?.read(i.need * share);
    let area = match (i.area, i.area_unit) {
        (Some(area), Some(unit)) => Some(SquareMetres(area * unit.m2())),
        _ => None,
    };
    let hectare = SquareMetres(AreaUnit::Hectare.m2());
    let product = some(part.product_for(need.on(area.unwrap_or(hectare))))?;
    one(if area.is_some() { Answer::Mass(product) } else { Answer::Rate(product.per(hectare)) })
}

/// What a unit of an element costs in a bag.
fn price(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        label: String,
        of: String,
        price: f64,
        pack: f64,
        unit: MassUnit,
    }
    let i: In = inputs(table)?;
    let analysis = bag(&i.label, Convention::Oxide)?;
    let (element, _) = nutrient(&i.of)?;
    let per = some(part(&analysis, element)?.price_per(i.unit, i.price, i.unit.read(i.pack)))?;
    let words = if i.unit == MassUnit::Pound { "per lb" } else { "per unit of the pack" };
    one(Answer::Plain(per, words))
}

/// A rate from one printed unit to another.
fn rate(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        value: Option<f64>,
        #[serde(default)]
        values: Vec<f64>,
        from: RateUnit,
        to: RateUnit,
    }
    let i: In = inputs(table)?;
    let shown = |value| Answer::Plain(i.to.show(i.from.read(value)), i.to.slug());
    let several = i.values.iter().map(|v| (v.to_string(), shown(*v)));
    Ok(several.chain(i.value.map(|v| (String::new(), shown(v)))).collect())
}

/// A rate spread on an area.
fn mass_on_area(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rate: f64,
        rate_unit: RateUnit,
        area: f64,
        area_unit: AreaUnit,
    }
    let i: In = inputs(table)?;
    one(Answer::Mass(i.rate_unit.read(i.rate).on(SquareMetres(i.area * i.area_unit.m2()))))
}

/// The rate that a mass makes on an area.
fn rate_of_mass(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mass: f64,
        mass_unit: MassUnit,
        area: f64,
        area_unit: AreaUnit,
    }
    let i: In = inputs(table)?;
    one(Answer::Rate(i.mass_unit.read(i.mass).per(SquareMetres(i.area * i.area_unit.m2()))))
}

/// The depth that a volume makes.
fn spread_depth(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        yd3_per_1000_ft2: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(inches(depth_of_yd3_per_1000_ft2(i.yd3_per_1000_ft2)), "in"))
}

/// The factor between an element and a form of it.
fn factor(table: &toml::Table) -> Outcome {
    one(Answer::Plain(between(table)?.1, ""))
}

/// A mass of one form as another.
fn form_mass(table: &toml::Table) -> Outcome {
    let (mass, factor) = between(table)?;
    one(Answer::Plain(mass * factor, "kg"))
}

fn between(table: &toml::Table) -> Result<(f64, f64), String> {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        #[serde(default)]
        mass: f64,
        from: String,
        to: String,
    }
    let i: In = inputs(table)?;
    let ((from, share), (to, other)) = (nutrient(&i.from)?, nutrient(&i.to)?);
    if from == to { Ok((i.mass, share / other)) } else { Err(format!("{} is no form of {}", i.to, i.from)) }
}

/// A pure compound by its formula, % of each element.
fn composition(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        formula: String,
    }
    let i: In = inputs(table)?;
    let formula: Formula = i.formula.parse()?;
    let share = |e: &Element| (e.symbol().to_owned(), Answer::Plain(formula.mass_fraction(*e) * 100.0, "%"));
    Ok(formula.atoms().keys().map(share).collect())
}

/// A rate of lime for a material of another neutralising value.
fn lime(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rate: f64,
        value: f64,
        #[serde(default = "pure")]
        assumed_value: f64,
    }
    fn pure() -> f64 {
        100.0
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(some(lime_for_value(i.rate, i.assumed_value, i.value))?, ""))
}

/// In how many parts a dose is given.
fn split(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        rule: String,
        rates: Vec<f64>,
        unit: RateUnit,
    }
    let i: In = inputs(table)?;
    let material = match i.rule.as_str() {
        "lime" => SplitOf::Lime,
        "epsom" => SplitOf::EpsomSalt,
        other => return Err(format!("“{other}” is not a rule known here")),
    };
    let rule = shipped_splits(material).next().ok_or("no such rule")?;
    let parts = |rate: f64| rule.count(i.unit.read(rate)) as f64;
    let mut answers: Answers = i.rates.iter().map(|r| (r.to_string(), Answer::Plain(parts(*r), ""))).collect();
    answers.insert("months apart".into(), Answer::Plain(f64::from(rule.months_apart), ""));
    Ok(answers)
}

fn convention(slug: &str) -> Result<LayerConvention, String> {
    LayerConvention::find(slug).ok_or_else(|| format!("“{slug}” is not a soil mass known here"))
}

/// Sulfur that free lime uses up.
fn sulfur_for_carbonate(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        carbonate_percent: f64,
        layer: String,
    }
    let i: In = inputs(table)?;
    let layer = SoilLayer::Convention(convention(&i.layer)?);
    one(Answer::Rate(sulfur_to_spend_carbonate(i.carbonate_percent, &layer)))
}

/// The most boron for a bed that carries these crops.
fn boron(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        crops: Vec<String>,
    }
    let i: In = inputs(table)?;
    let find = |name: &String| Crop::find(name).ok_or_else(|| format!("“{name}” is not a crop known here"));
    let crops: Vec<Crop> = i.crops.iter().map(find).collect::<Result<_, _>>()?;
    one(Answer::Rate(boron_ceiling(crops).ceiling))
}

/// A printed cell, as a lab's sheet gives it.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Cell {
    analyte: Analyte,
    printed: String,
    unit: Unit,
    #[serde(default = "unstated")]
    method: String,
    form: Option<String>,
    #[serde(default)]
    basis: Basis,
    layer: Option<String>,
    /// mg/kg per cmol(+)/kg that the publisher uses; left out: exact.
    divisor: Option<f64>,
}

fn unstated() -> String {
    "unstated".into()
}

/// A sampling with one report of these cells.
fn sampling(cells: Vec<Determination>) -> Sampling {
    let report = Report { key: 1, lab: "the example’s lab".into(), determinations: cells };
    Sampling {
        key: 1,
        sampled_on: jiff::civil::date(2000, 1, 1),
        date_assumed: true,
        depth: None,
        cores: None,
        fizz: None,
        reports: vec![report],
    }
}

fn determination(key: i64, cell: &Cell) -> Result<Determination, String> {
    let read = parse_printed(&cell.printed).map_err(|p| format!("{p:?}"))?;
    Ok(Determination {
        key: CellKey(key),
        analyte: cell.analyte,
        method: cell.method.parse::<Method>()?,
        printed: read.printed().ok_or("an empty cell")?,
        unit: cell.unit,
        form: cell.form.as_deref().map(str::parse).transpose()?,
        basis: cell.basis,
        layer: cell.layer.as_deref().map(convention).transpose()?,
    })
}

fn divisors(of: impl IntoIterator<Item = (Element, f64)>) -> Divisors {
    Divisors::published("the publisher’s own", of, stated())
}

fn read_cell(cell: &Cell) -> Result<(Reading, Divisors), String> {
    let sampling = sampling(vec![determination(1, cell)?]);
    let report = &sampling.reports[0];
    let divisors = divisors(cell.analyte.element().zip(cell.divisor));
    let reading = read(&sampling, report, &report.determinations[0], &divisors).map_err(|u| u.reason)?;
    if !reading.working.is_grounded() {
        return Err("the working of the reading does not reach its cell".into());
    }
    Ok((reading, divisors))
}

/// A printed cell brought to its canonical unit.
fn reading(table: &toml::Table) -> Outcome {
    one(Answer::Level(read_cell(&inputs(table)?)?.0.level))
}

/// A printed cell as charge.
fn charge(table: &toml::Table) -> Outcome {
    let (reading, divisors) = read_cell(&inputs(table)?)?;
    one(Answer::Level(Level::CmolPerKg(some(cmol(&reading, &divisors))?.0)))
}

/// A concentration by mass as a mass per area, in a publisher's soil mass.
fn layer_mass(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mg_per_kg: f64,
        layer: String,
    }
    let i: In = inputs(table)?;
    one(Answer::Rate(SoilLayer::Convention(convention(&i.layer)?).mass(MgPerKg(i.mg_per_kg))))
}

/// What a layer of soil weighs.
fn layer_weight(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        depth_cm: f64,
        bulk_density_g_per_cm3: f64,
        #[serde(default)]
        stones: f64,
    }
    let i: In = inputs(table)?;
    let layer = SoilLayer::Measured {
        depth: Centimetres(i.depth_cm),
        bulk_density: GramsPerCm3(i.bulk_density_g_per_cm3),
        stones: i.stones,
    };
    one(Answer::Rate(KgPerHa(layer.soil_kg_per_ha())))
}

/// A concentration by volume as a mass per area.
fn by_volume(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        mg_per_l: f64,
        depth_cm: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Rate(by_volume_kg_per_ha(MgPerL(i.mg_per_l), Centimetres(i.depth_cm))))
}

fn loam() -> Texture {
    Texture::Loam
}

/// A shipped guideline, with what is known only from memory where asked.
fn set(slug: &str, memory: bool) -> Result<Guideline, String> {
    let found = guideline::find(slug).ok_or_else(|| format!("no guideline “{slug}”"))?;
    Ok(if memory { found.with_memory() } else { found.clone() })
}

/// The class of printed cells under a guideline, one at a time, as a plot's page shows it: by
/// the printed text the publisher's word, and by "… position" where it lies against the aim.
fn class(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        guideline: String,
        analyte: Analyte,
        method: Method,
        unit: Unit,
        #[serde(default)]
        basis: Basis,
        layer: Option<String>,
        printed: Vec<String>,
        #[serde(default)]
        land_use: LandUse,
        form: Option<String>,
        #[serde(default = "loam")]
        texture: Texture,
        /// Tables known only from memory are switched on.
        #[serde(default)]
        memory: bool,
        /// pH in water as printed, for rules that ask for it.
        ph: Option<String>,
    }
    let i: In = inputs(table)?;
    let guideline = set(&i.guideline, i.memory)?;
    let setting = Setting {
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        land_use: i.land_use,
        texture: i.texture,
        signs: &Signs::default(),
        capacity: Err("the example gives no capacity".into()),
    };
    let cell = |analyte, printed: &str, method: &str, unit| Cell {
        analyte,
        printed: printed.to_owned(),
        unit,
        method: method.to_owned(),
        form: i.form.clone().filter(|_| unit == i.unit),
        basis: if unit == i.unit { i.basis } else { Basis::Mass },
        layer: i.layer.clone().filter(|_| unit.is_per_area()),
        divisor: None,
    };
    let ph = i.ph.map(|ph| read_cell(&cell(Analyte::Ph, &ph, &Method::PhWater.slug(), Unit::Ph))).transpose()?;
    let mut answers = Answers::new();
    for printed in &i.printed {
        let (reading, _) = read_cell(&cell(i.analyte, printed, &i.method.slug(), i.unit))?;
        let readings = [Some(&reading), ph.as_ref().map(|(reading, _)| reading)];
        let chosen: Vec<_> = readings.into_iter().flatten().map(|reading| Chosen { reading, reasons: &[] }).collect();
        let standing = stand(&chosen, &guideline, &setting);
        let nutrient = some(standing.get(i.analyte))?;
        if nutrient.class_working.as_ref().is_some_and(|working| !working.is_grounded()) {
            return Err("the working of the class does not reach its cells".into());
        }
        let class = nutrient.class.clone().unwrap_or_else(|| "none".into());
        answers.insert(printed.clone(), Answer::Text(class));
        answers.insert(format!("{printed} position"), Answer::Text(nutrient.position.words().into()));
    }
    Ok(answers)
}

/// The exchange capacity of a sheet, and who holds it, as a plot's page shows it.
fn capacity(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cells: Vec<Cell>,
        /// mg/kg per cmol(+)/kg by the publisher; left out: exact.
        #[serde(default)]
        divisors: BTreeMap<Element, f64>,
    }
    let i: In = inputs(table)?;
    let divisors = divisors(i.divisors);
    let cells = i.cells.iter().zip(1..).map(|(cell, key)| determination(key, cell)).collect::<Result<_, _>>()?;
    let sampling = sampling(cells);
    let readings: Vec<Reading> = sampling
        .determinations()
        .map(|(report, d)| read(&sampling, report, d, &divisors).map_err(|u| u.reason))
        .collect::<Result<_, _>>()?;
    let signs = signs(&sampling, &readings, None);
    let choices = choose(&readings, &signs, &[], |_| true);
    let mut answers = Answers::new();
    let capacity = match exchange_capacity::capacity(&Parts::gather(&choices), &signs, &divisors) {
        Ok(capacity) => capacity,
        Err(withheld) => {
            answers.insert("withheld".into(), Answer::Text(withheld.reason));
            return Ok(answers);
        }
    };
    if !capacity.working.is_grounded() {
        return Err("the working of the capacity does not reach its cells".into());
    }
    answers.insert("cec".into(), Answer::Level(capacity.level));
    for (element, held) in &capacity.cations {
        answers.insert(element.symbol().into(), Answer::Level(held.charge));
        answers.insert(format!("{element} share"), Answer::Plain(held.share.0, "%"));
    }
    if let Some(acidity) = capacity.acidity {
        answers.insert("acidity".into(), Answer::Level(acidity.charge));
        answers.insert("acidity share".into(), Answer::Plain(acidity.share.0, "%"));
    }
    if let Some(bases) = capacity.base_saturation {
        answers.insert("bases".into(), Answer::Level(bases.charge));
        answers.insert("base saturation".into(), Answer::Plain(bases.share.0, "%"));
    }
    Ok(answers)
}

/// The chance that a value with a constant error is truly below a target.
fn below_target(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        found: f64,
        target: f64,
        sd: f64,
    }
    let i: In = inputs(table)?;
    one(Answer::Plain(p_below_target_normal(i.found, i.target, i.sd), ""))
}

/// A rate of an element, also in the form that bags print.
fn rate_answers(element: Element, rate: KgPerHa) -> Answers {
    let mut answers = Answers::from([(element.symbol().into(), Answer::Rate(rate))]);
    if let Some(oxide) = Form::oxide_of(element) {
        answers.insert(oxide.symbol().into(), Answer::Rate(KgPerHa(rate.0 / oxide.to_element())));
    }
    answers
}

/// What raises a printed cell to an aim in the same unit: cell, reading, standing, need.
fn raise(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        cell: Cell,
        aim: f64,
        depth_cm: f64,
        bulk_density_g_per_cm3: f64,
    }
    let i: In = inputs(table)?;
    let (reading, _) = read_cell(&i.cell)?;
    let form = i.cell.form.as_ref().map_or_else(String::new, |form| format!("form = \"{form}\""));
    // The example's own aim, as a grower's guideline would carry it.
    let text = format!(
        r#"slug = "example"
        title = "The example"
        publisher = "the example"
        address = ""
        scope = "this case"
        [[table]]
        title = "The example’s aim"
        source = {{ publisher = "the example", title = "as stated there", evidence = "read" }}
        methods = ["{}"]
        unit = "{}"
        {form}
        [[table.row]]
        analyte = "{}"
        critical = {:?}"#,
        i.cell.method, i.cell.unit, i.cell.analyte, i.aim
    );
    let guideline = Guideline::parse(&text).map_err(|problems| problems[0].to_string())?;
    let setting = Setting {
        errors: &glebe::agronomy::drift::DEFAULT_ERRORS,
        land_use: LandUse::Vegetables,
        texture: Texture::Loam,
        signs: &Signs::default(),
        capacity: Err("the example gives no capacity".into()),
    };
    let standing = stand(&[Chosen { reading: &reading, reasons: &[] }], &guideline, &setting);
    let ground = Ground {
        area: SquareMetres(1.0),
        cover: Cover::Open,
        texture: Texture::Loam,
        bulk_density: Some(GramsPerCm3(i.bulk_density_g_per_cm3)),
        depth: Centimetres(i.depth_cm),
        stones: 0.0,
    };
    let need = some(need::raise(some(standing.get(i.cell.analyte))?, &ground, None, &Way::default()))?;
    if need.working.as_ref().is_some_and(|working| !working.is_grounded()) {
        return Err("the working of the need does not reach its cell".into());
    }
    Ok(rate_answers(need.element, need.kg_per_ha))
}

/// What a published build-up factor asks for a rise of the test.
fn build_up(table: &toml::Table) -> Outcome {
    #[derive(Deserialize)]
    #[serde(deny_unknown_fields)]
    struct In {
        factor: String,
        rise: f64,
    }
    let i: In = inputs(table)?;
    let factor = BuildUp::find(&i.factor).ok_or_else(|| format!("“{}” is not a factor known here", i.factor))?;
    Ok(rate_answers(factor.element, KgPerHa(factor.kg_per_ha_per_unit() * i.rise)))
}
