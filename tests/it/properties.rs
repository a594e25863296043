//! What must hold for any figure under every guideline, of every kind of rule: a level is always
//! placed, more in the soil is never placed lower nor asks for more, nothing asks for less than
//! nothing, and a level is the same in whatever unit the sheet prints it.

use super::interpretation::{ground, ph, reading};
use glebe::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    crop::CROPS,
    drift::DEFAULT_ERRORS,
    element::{Element, Form},
    exchange_capacity::Capacity,
    ground::Texture,
    guideline::{self, Criterion, Guideline, LandUse, Position, Rule},
    liking::{LevelUnit, Liking, NutrientForm},
    material::VolumeUnit,
    method::Method,
    need::{self, Way},
    quantity::{CmolPerKg, DsPerM, LAYER_CONVENTIONS, MgPerKg, MgPerL, Percent, SoilLayer},
    reading::{Level, Reading, read_all},
    record::{Basis, CellKey, Determination, PrintedValue, Qualifier, Report, Sampling, Unit},
    salinity::SALT_FACTORS,
    standing::{Chosen, NutrientStanding, Setting, Standing, stand},
};
use proptest::prelude::*;
use std::sync::LazyLock;

/// Every shipped set, what is known from memory switched on.
static SETS: LazyLock<Vec<Guideline>> =
    LazyLock::new(|| guideline::builtin().iter().map(Guideline::with_memory).collect());

fn capacity(cmol: f64) -> Capacity {
    let level = Level::CmolPerKg(CmolPerKg(cmol));
    Capacity {
        level,
        stated: true,
        working: reading(Analyte::ExchangeCapacity, Method::CapacityAcetate82, level).working,
        cations: [].into(),
        acidity: None,
        base_saturation: None,
        notes: vec![],
    }
}

/// The top of what is tried under a rule, in its printed unit.
fn top(rule: &Rule) -> f64 {
    match rule {
        Rule::Classes(classes) => classes.classes.last().map_or(10.0, |class| class.from * 2.0),
        Rule::Critical { critical, high } => high.unwrap_or(*critical) * 2.0,
        Rule::AvailabilityIndex { .. } => 60.0,
        Rule::Saturation(_) => 6000.0,
        Rule::Typical { low, high, .. } => high.unwrap_or(*low) * 2.0 + 1.0,
        Rule::LeftAlone(_) => 1000.0,
    }
}

/// A reading that the rule speaks for, at a value in its printed unit.
fn at_printed(criterion: &Criterion, printed: f64) -> Option<Reading> {
    let like = [
        Level::MgPerKg(MgPerKg(0.0)),
        Level::MgPerL(MgPerL(0.0)),
        Level::Percent(Percent(0.0)),
        Level::DsPerM(DsPerM(0.0)),
        Level::Ph(0.0),
    ];
    let back =
        |level: &Level| criterion.to_printed(*level).is_ok_and(|back| (back - printed).abs() <= 1e-9 * printed.abs());
    let level = like.iter().filter_map(|like| criterion.to_level(printed, *like)).find(back)?;
    Some(reading(criterion.analyte, criterion.methods[0].clone(), level))
}

/// A reading placed on ground of the kind that its rule is for.
fn placed(criterion: &Criterion, guideline: &Guideline, reading: &Reading, cmol: f64) -> (Standing, NutrientStanding) {
    let signs = match criterion.when.carbonate {
        Some(true) => Signs { reasons: vec!["It fizzes with 1 M hydrochloric acid".into()], ..Signs::default() },
        _ => Signs::default(),
    };
    let held = capacity(cmol);
    let setting = Setting {
        errors: &DEFAULT_ERRORS,
        land_use: criterion.when.uses.first().copied().unwrap_or(LandUse::Vegetables),
        texture: criterion.when.textures.first().copied().unwrap_or(Texture::Loam),
        signs: &signs,
        capacity: Ok(&held),
    };
    let acid = ph(criterion.when.ph.map_or(6.2, |(low, high)| (low + high) / 2.0));
    let mut chosen = vec![Chosen { reading, reasons: &[] }];
    if reading.analyte != Analyte::Ph {
        chosen.push(Chosen { reading: &acid, reasons: &[] });
    }
    let standing = stand(&chosen, guideline, &setting);
    let nutrient = standing.get(reading.analyte).unwrap().clone();
    (standing, nutrient)
}

/// Every rule of every set with the set that it stands in; rules that set no aim are placed by none.
fn rules() -> impl Iterator<Item = (&'static Guideline, &'static Criterion)> {
    SETS.iter().flat_map(|set| set.criteria.iter().map(move |criterion| (set, criterion)))
}

/// Printed cells of one sampling, read; each must be readable.
fn read(cells: &[(Analyte, Method, f64, Unit, Option<Form>, usize)]) -> Vec<Reading> {
    let determinations =
        cells.iter().zip(1..).map(|((analyte, method, value, unit, form, layer), key)| Determination {
            key: CellKey(key),
            analyte: *analyte,
            method: method.clone(),
            printed: PrintedValue {
                text: value.to_string(),
                qualifier: Qualifier::Exact,
                value: Some(*value),
                decimals: 3,
            },
            unit: *unit,
            form: *form,
            basis: if unit.is_by_volume() { Basis::Volume } else { Basis::Mass },
            layer: unit.is_per_area().then(|| LAYER_CONVENTIONS[*layer % LAYER_CONVENTIONS.len()]),
        });
    let sampling = Sampling {
        key: 1,
        sampled_on: jiff::civil::date(2026, 3, 1),
        date_assumed: false,
        depth: None,
        cores: None,
        fizz: None,
        reports: vec![Report { key: 1, lab: String::new(), determinations: determinations.collect() }],
    };
    let (readings, unreadable) = read_all(&sampling);
    assert!(unreadable.is_empty(), "{unreadable:?}");
    readings
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Classification is total: whatever the level, a rule that speaks for it places it, and no
    /// value falls between bands.
    #[test]
    fn every_level_is_placed_by_every_kind_of_rule(share in 0.0..1.0f64, cmol in 1.0..60.0f64) {
        for (set, criterion) in rules() {
            if matches!(criterion.rule, Rule::LeftAlone(_)) { continue }
            let Some(at) = at_printed(criterion, share * top(&criterion.rule)) else { continue };
            let (_, nutrient) = placed(criterion, set, &at, cmol);
            prop_assert!(
                !matches!(nutrient.position, Position::NoCriterion(_) | Position::NotKnown(_)),
                "{} {} {:?}: {:?}", set.slug, criterion.analyte, at.level, nutrient.position
            );
            prop_assert!(nutrient.class_working.as_ref().is_none_or(|working| working.is_grounded()));
        }
    }

    /// More in the soil is never placed lower, and a shortage never grows likelier by it.
    #[test]
    fn more_is_never_placed_lower(a in 0.0..1.0f64, b in 0.0..1.0f64, cmol in 1.0..60.0f64) {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        for (set, criterion) in rules() {
            if matches!(criterion.rule, Rule::LeftAlone(_) | Rule::Typical { .. }) { continue }
            let [Some(less), Some(more)] = [low, high].map(|share| at_printed(criterion, share * top(&criterion.rule))) else { continue };
            let [(_, less), (_, more)] = [less, more].map(|at| placed(criterion, set, &at, cmol));
            let what = || format!("{} {}: {:?} then {:?}", set.slug, criterion.analyte, less.level, more.level);
            prop_assert!(less.position <= more.position, "{}", what());
            if let (Some(less), Some(more)) = (&less.likelihood, &more.likelihood) {
                prop_assert!(less.p_short >= more.p_short - 1e-12, "{}", what());
            }
            if let (Some(less), Some(more)) = (less.ratio(), more.ratio()) {
                prop_assert!(less <= more + 1e-12, "{}", what());
            }
        }
    }

    /// A need is never below zero and never rises with the level, under every kind of rule and
    /// for every crop.
    #[test]
    fn needs_stay_above_zero_and_fall_with_the_level(a in 0.0..1.0f64, b in 0.0..1.0f64, cmol in 1.0..60.0f64, which in 0..CROPS.len()) {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        for (set, criterion) in rules().filter(|(_, c)| c.analyte.element().is_some_and(|e| e != Element::N)) {
            let [Some(less), Some(more)] = [low, high].map(|share| at_printed(criterion, share * top(&criterion.rule))) else { continue };
            let asked = |at: &Reading| {
                let (standing, _) = placed(criterion, set, at, cmol);
                let needs = need::needs(&standing, &ground(), None, &Way::default(), &[CROPS[which]]);
                needs.into_iter().find(|need| Some(need.element) == criterion.analyte.element())
            };
            let (Some(at_less), Some(at_more)) = (asked(&less), asked(&more)) else { continue };
            prop_assert!(at_more.kg_per_ha.0 >= 0.0 && at_more.kg_per_ha.0.is_finite());
            prop_assert!(
                at_less.kg_per_ha.0 >= at_more.kg_per_ha.0 - 1e-9,
                "{} {} {}: {} then {}", set.slug, criterion.analyte, CROPS[which].slug, at_less.kg_per_ha.0, at_more.kg_per_ha.0
            );
        }
    }

    /// One level printed in every unit that a sheet may use reads as one level.
    #[test]
    fn a_level_is_the_same_in_every_unit(value in 1e-3..1e5f64, layer in 0usize..8) {
        let convention = SoilLayer::Convention(LAYER_CONVENTIONS[layer % LAYER_CONVENTIONS.len()]);
        let per_ha = convention.mass(MgPerKg(value)).0;
        let per_acre = convention.mass(MgPerKg(value)).lb_per_acre();
        for element in [Element::P, Element::K, Element::Ca, Element::Mg, Element::S, Element::Na] {
            let analyte = Analyte::Element(element);
            let one = |value: f64, unit: Unit| (analyte, Method::AmmoniumAcetate7, value, unit, None, layer);
            let mut cells = vec![
                one(value, Unit::MgPerKg), one(value, Unit::Ppm), one(value / 10.0, Unit::MgPer100g),
                one(value / 1e3, Unit::GPerKg), one(value / 1e4, Unit::Percent), one(per_ha, Unit::KgPerHa),
                one(per_acre, Unit::LbPerAcre),
            ];
            if let Some(per_cmol) = element.mg_per_cmol_charge() {
                let cmol = value / per_cmol;
                cells.extend([one(cmol, Unit::CmolPerKg), one(cmol, Unit::MeqPer100g), one(cmol * 10.0, Unit::MmolPerKg)]);
            }
            if let Some(oxide) = Form::oxide_of(element) {
                cells.push((analyte, Method::AmmoniumAcetate7, value / oxide.to_element(), Unit::MgPerKg, Some(oxide), layer));
            }
            for reading in read(&cells) {
                prop_assert!((reading.level.number() / value - 1.0).abs() < 1e-12, "{element}: {:?} {:?}", reading.cell, reading.level);
            }
        }
        let salt = |value: f64, unit: Unit| (Analyte::Conductivity, Method::Ec1to2, value, unit, None, 0);
        for reading in read(&[salt(value, Unit::DsPerM), salt(value, Unit::MsPerCm), salt(value * 1e3, Unit::UsPerCm)]) {
            prop_assert!((reading.level.number() / value - 1.0).abs() < 1e-12);
        }
    }

    /// Volumes, salts in ppm and rates of products go there and back.
    #[test]
    fn the_newer_conversions_come_back_as_they_went(value in 1e-6..1e6f64) {
        for factor in SALT_FACTORS {
            prop_assert!((factor.conductivity(factor.ppm(DsPerM(value))).0 / value - 1.0).abs() < 1e-12);
        }
        for unit in LevelUnit::ALL {
            let step = Liking { unit: *unit, form: NutrientForm::Oxide }.product_conversion();
            prop_assert!((step.back(step.there(value)) / value - 1.0).abs() < 1e-12);
        }
        for (from, to) in VolumeUnit::ALL.iter().flat_map(|a| VolumeUnit::ALL.iter().map(move |b| (a, b))) {
            let there = value * from.litres() / to.litres();
            prop_assert!((there * to.litres() / from.litres() / value - 1.0).abs() < 1e-12);
        }
    }
}

#[test]
fn the_rules_tried_are_of_every_kind() {
    let kinds: std::collections::BTreeSet<&str> = rules()
        .map(|(_, criterion)| match criterion.rule {
            Rule::Classes(_) => "classes",
            Rule::Critical { .. } => "critical",
            Rule::AvailabilityIndex { .. } => "index",
            Rule::Saturation(_) => "share",
            Rule::Typical { .. } => "usual",
            Rule::LeftAlone(_) => "left alone",
        })
        .collect();
    assert_eq!(kinds.len(), 6, "{kinds:?}");
    let tried = rules().filter(|(_, criterion)| at_printed(criterion, top(&criterion.rule) / 3.0).is_some()).count();
    assert!(tried > 100 && tried * 10 > rules().count() * 9, "{tried} of {}", rules().count());
}
