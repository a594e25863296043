//! Rates for crops: what a guideline's text may say, what a plot is given by it, and that
//! plans and second opinions go by it.

use crate::guidelines::{mg_kg, mg_l, place, set, setting};
use glebe::agronomy::{
    analyte::Analyte,
    crop::{CROPS, Crop},
    crop_rate::crop_rate,
    element::{
        Element::{self, K, Mg, P},
        Form,
    },
    ground::{Cover, Ground, Texture},
    guideline::{self, Gives, Guideline, LandUse, Position},
    method::Method,
    need::{self, Need, Reason, Way},
    quantity::{Centimetres, SquareMetres},
    reading::Reading,
    record::{Application, Qualifier},
    season::{self, PlotSeason, Wishes},
    standing::Standing,
};
use jiff::civil::{Date, date};
use proptest::prelude::*;
use std::collections::BTreeMap;

/// An invented guideline with a table of rates and an equation, in force.
const OWN: &str = r#"
slug = "own"
title = "Own"
publisher = "Us"
address = ""
scope = "Our ground"

[[table]]
title = "Limits"
source = { publisher = "Us", title = "Notebook", evidence = "read" }
index_scale_source = { publisher = "Us", title = "Notebook", evidence = "read" }
methods = ["mehlich3_icp"]
unit = "mg/kg"
classes = [{ name = "low", is = "short" }, { name = "enough", is = "aim" }, { name = "high", is = "above" }]
aim_class = "enough"
aim_why = "experience"

[[table.row]]
analyte = "P"
printed = ["0-49", "50-99", ">99"]

[[table.row]]
analyte = "K"
index_scale = 2.0
printed = ["0-49", "50-99", ">99"]

[[rates]]
title = "Phosphate"
source = { publisher = "Us", title = "Notebook of rates", evidence = "read" }
methods = ["mehlich3_icp"]
nutrients = ["P2O5"]
unit = "kg/ha"
columns = ["low", "enough", "high"]

[[rates.row]]
printed_for = "Roots"
groups = ["root"]
printed = [120, 60, 0]

[[rates.row]]
printed_for = "Cabbages"
crops = ["cabbage"]
printed = [200, 100, 0]

[[rates]]
title = "Potash"
source = { publisher = "Us", title = "Notebook of rates", evidence = "read" }
methods = ["mehlich3_icp"]
nutrients = ["K2O"]
unit = "lb/acre"
give_or_take = 10

[[rates.row]]
printed_for = "Cabbages"
crops = ["cabbage"]
equation = { number = "10", square = 0.0103, linear = -2.90, constant = 200 }

[[rates.row]]
printed_for = "Lettuce"
crops = ["lettuce_romaine"]
equation = { number = "22", square = 0.0005, linear = -0.418, constant = 11 }
withheld = "a misprint is likely."
"#;

fn own() -> Guideline {
    Guideline::parse(OWN).unwrap_or_else(|problems| panic!("{}", problems[0]))
}

fn crops(slugs: &[&str]) -> Vec<Crop> {
    slugs.iter().map(|slug| Crop::find(slug).unwrap()).collect()
}

fn bed() -> Ground {
    Ground {
        area: SquareMetres(10.0),
        cover: Cover::Open,
        texture: Texture::Loam,
        bulk_density: None,
        depth: Centimetres(20.0),
        stones: 0.0,
    }
}

fn stood(reading: Reading, guideline: &Guideline) -> Standing {
    place(&[reading], guideline, &setting(false, Err("no capacity".into())))
}

fn asked(reading: Reading, guideline: &Guideline, named: &[&str]) -> Need {
    need::needs(&stood(reading, guideline), &bed(), None, &Way::default(), &crops(named)).remove(0)
}

fn oxide(need: &Need, form: Form) -> f64 {
    need.kg_per_ha.0 / form.to_element()
}

#[test]
fn a_rate_comes_from_the_class_and_opens_to_the_cell() {
    for (found, kg) in [(20.0, 200.0), (49.4, 200.0), (49.5, 100.0), (70.0, 100.0), (120.0, 0.0)] {
        let need = asked(mg_kg(P, Method::Mehlich3Icp, found), &own(), &["cabbage"]);
        assert!((oxide(&need, Form::P2O5) - kg).abs() < 1e-9, "{found}: {need:#?}");
        assert_eq!(need.reason, if kg > 0.0 { Reason::CropRate } else { Reason::None });
        let working = need.working.unwrap();
        assert!(working.is_grounded() && working.cells().len() == 1, "{working:#?}");
    }
}

#[test]
fn a_rate_comes_from_the_index_and_is_kept_to_its_domain() {
    // NCDA&CS Circular 1, equation 10, in lb K2O/acre: index 25, 133.9375; 50, 80.75; 100, 13; index = mg/kg ÷ 2 here.
    for (mg, lb) in [(50.0, 133.9375), (100.0, 80.75), (200.0, 13.0), (1000.0, 0.0)] {
        let need = asked(mg_kg(K, Method::Mehlich3Icp, mg), &own(), &["cabbage"]);
        assert!((need.kg_per_ha.lb_per_acre() / Form::K2O.to_element() - lb).abs() < 1e-6, "{mg}: {need:#?}");
        assert!(need.working.as_ref().unwrap().is_grounded());
        assert_eq!(need.notes.iter().any(|note| note.contains("give or take 10")), lb > 0.0);
    }
    // 0.0103 × 500² − 2.90 × 500 + 200 = 1325; its lowest point, at 2.90 ÷ 0.0206 = 141, is −4.1.
    let beyond = asked(mg_kg(K, Method::Mehlich3Icp, 1000.0), &own(), &["cabbage"]).working.unwrap().formula.unwrap();
    assert!(
        beyond.contains("= 1,325; lowest at I = 141: ") && beyond.contains("never below 0 → 0 lb/acre"),
        "{beyond}"
    );
    let mut limit = mg_kg(K, Method::Mehlich3Icp, 50.0);
    limit.qualifier = Qualifier::Below;
    assert!(asked(limit.clone(), &own(), &["cabbage"]).at_least);
    limit.qualifier = Qualifier::Above;
    let above = crop_rate(&stood(limit, &own()).nutrients[0], &crops(&["cabbage"])).unwrap();
    assert!(above.unwrap_err().contains("lower limit"));
}

#[test]
fn what_has_no_rate_is_raised_and_it_is_said_why() {
    let p = || mg_kg(P, Method::Mehlich3Icp, 20.0);
    let k = || mg_kg(K, Method::Mehlich3Icp, 40.0);
    for (reading, named, why) in [
        (p(), &["tomato"][..], "names no rate for tomato"),
        (p(), &[], "none is named for this season"),
        (k(), &["lettuce_romaine"], "a misprint is likely"),
        (k(), &["carrot"], "names no rate for carrot"),
    ] {
        let need = asked(reading, &own(), named);
        assert_eq!(need.reason, Reason::Raise, "{named:?}");
        assert!(need.notes.iter().any(|note| note.contains(why)), "{named:?}: {:?}", need.notes);
    }
    // A crop that nobody can name is no crop of the table.
    let unknown = [Crop::known_or_cautious("moonflower")];
    let need = need::needs(&stood(p(), &own()), &bed(), None, &Way::default(), &unknown).remove(0);
    assert_eq!(need.reason, Reason::Raise);
    // North Carolina's equations stand there without crops: it is not known which is whose.
    let north = set("north_carolina_index").with_memory();
    let need = asked(mg_l(P, Method::Mehlich3Icp, 24.0), &north, &["tomato"]);
    assert!(need.notes.iter().any(|note| note.contains("is not known here")), "{:?}", need.notes);
    // A guideline without rates has nothing to say of them.
    let standing = stood(p(), set("rutgers_mehlich3"));
    assert_eq!(crop_rate(&standing.nutrients[0], &crops(&["cabbage"])), None);
}

#[test]
fn the_most_demanding_crop_of_the_season_governs() {
    let need = asked(mg_kg(P, Method::Mehlich3Icp, 20.0), &own(), &["carrot", "cabbage", "tomato"]);
    assert!((oxide(&need, Form::P2O5) - 200.0).abs() < 1e-9);
    assert!(need.notes.iter().any(|note| note.contains("carrot")), "{:?}", need.notes);
    assert!(need.notes.iter().any(|note| note.contains("tomato")), "{:?}", need.notes);
}

#[test]
fn a_text_with_odd_rates_is_refused_with_its_reason() {
    for (from, to, says) in [
        (
            "title = \"Phosphate\"\nsource = { publisher = \"Us\", title = \"Notebook of rates\", evidence = \"read\" }",
            "title = \"Phosphate\"",
            "has no source",
        ),
        ("columns = [\"low\", \"enough\", \"high\"]", "columns = [\"low\", \"enough\", \"High\"]", "no column covers"),
        ("columns = [\"low\", \"enough\", \"high\"]", "columns = [\"low\", \"enough\", \"low\"]", "two columns cover"),
        ("printed = [120, 60, 0]", "printed = [120, 60]", "2 rates are printed for 3 columns"),
        ("printed = [120, 60, 0]", "printed = [120, 60, -5]", "below zero"),
        ("groups = [\"root\"]", "groups = [\"roots\"]", "not one of"),
        ("crops = [\"lettuce_romaine\"]", "crops = [\"moonflower\"]", "not a crop known here"),
        ("crops = [\"lettuce_romaine\"]", "crops = [\"cabbage\"]", "has two rates"),
        ("linear = -2.90", "linear = 2.90", "does not fall"),
        ("nutrients = [\"K2O\"]", "nutrients = [\"MgO\"]", "no limits for magnesium"),
        ("nutrients = [\"K2O\"]", "nutrients = [\"K3O\"]", "no nutrient"),
        ("index_scale = 2.0", "index_scale = 0.0", "worth something"),
        (
            "index_scale_source = { publisher = \"Us\", title = \"Notebook\", evidence = \"read\" }\n",
            "",
            "a point of the index is worth has no source",
        ),
    ] {
        let text = OWN.replacen(from, to, 1);
        assert_ne!(text, OWN, "{says}");
        let problems = Guideline::parse(&text).expect_err(says);
        assert!(problems.iter().any(|p| p.says.contains(says) && p.line > 1), "{says:?} expected: {problems:?}");
    }
}

fn put_on(day: Date, grams: f64) -> Application {
    Application {
        key: 1,
        applied_on: day,
        amendment: "Something".into(),
        mass_g: grams,
        content: BTreeMap::from([(P, 0.1)]),
        availability: BTreeMap::new(),
        manure: false,
        organic: false,
    }
}

#[test]
fn a_plan_goes_by_the_rate_and_counts_only_its_own_season() {
    let standing = stood(mg_kg(P, Method::Mehlich3Icp, 20.0), &own());
    let plot = |applications| PlotSeason {
        key: 1,
        name: "Bed 1".into(),
        block: None,
        ground: bed(),
        standing: Some(standing.clone()),
        sampled: None,
        calcareous: false,
        ph: Some(6.5),
        ph_reckoned: false,
        crops: crops(&["cabbage"]),
        growing: crops(&["cabbage"]),
        season_from: date(2026, 1, 1),
        tested_on: BTreeMap::from([(Analyte::Element(P), date(2024, 10, 1))]),
        applications,
        promised: vec![],
    };
    let wishes = Wishes { way: Way { seasons: 3, ..Way::default() }, spread_on: date(2026, 3, 1), ..Wishes::default() };
    let rate = 200.0 * Form::P2O5.to_element();
    // 100 g at 10 % on 10 m² are 10 kg/ha. Last year's fed last year's crop; this year's feeds this one,
    // and a rate is not parted over the seasons that a shortage is made up in.
    for (applications, kg) in [
        (vec![], rate),
        (vec![put_on(date(2025, 4, 1), 100.0)], rate),
        (vec![put_on(date(2025, 12, 31), 100.0)], rate),
        (vec![put_on(date(2026, 1, 1), 100.0)], rate - 10.0),
        (vec![put_on(date(2026, 2, 1), 1000.0)], 0.0),
    ] {
        let prepared = season::prepare(&[plot(applications.clone())], &[], &[], &wishes);
        let need = &prepared.needs[&1][0];
        assert!((need.kg_per_ha.0 - kg).abs() < 1e-9, "{applications:?}: {need:#?}");
        assert!(need.working.as_ref().unwrap().is_grounded());
    }
}

/// A reading of a criterion's analyte at a value in its printed unit.
fn at_printed(criterion: &guideline::Criterion, printed: f64) -> Option<Reading> {
    use glebe::agronomy::{quantity::MgPerL, reading::Level};
    let element = criterion.analyte.element()?;
    let method = criterion.methods[0].clone();
    let by_volume = criterion.to_level(printed, Level::MgPerL(MgPerL(0.0)))?;
    Some(match by_volume {
        Level::MgPerL(v) => mg_l(element, method, v.0),
        Level::MgPerKg(v) => mg_kg(element, method, v.0),
        _ => return None,
    })
}

#[test]
fn neighbouring_bands_meet_on_both_sides_of_every_printed_edge() {
    let mut edges = 0;
    for set in guideline::builtin() {
        for criterion in &set.criteria {
            let guideline::Rule::Classes(classes) = &criterion.rule else { continue };
            let step = 10f64.powi(-i32::from(criterion.decimals));
            let place =
                |value: f64| classes.classes.iter().position(|c| c == classes.classify(value, criterion.decimals));
            for (i, pair) in classes.classes.windows(2).enumerate() {
                let edge = pair[1].from;
                for (value, class) in
                    [(edge - step, i), (edge - 0.51 * step, i), (edge - 0.49 * step, i + 1), (edge, i + 1)]
                {
                    assert_eq!(place(value), Some(class), "{} {} at {value}", set.slug, criterion.analyte);
                }
                // The printed end of the lower band belongs to it, and the next value to the higher.
                let seam = classes.seams.iter().find(|seam| (seam.at - edge).abs() <= step * 1.01);
                if let (None, Some((_, end))) = (seam, pair[0].printed.split_once('-')) {
                    let end: f64 = end.trim().parse().unwrap();
                    assert_eq!(
                        (place(end), place(end + step)),
                        (Some(i), Some(i + 1)),
                        "{} {}",
                        set.slug,
                        criterion.analyte
                    );
                }
                edges += 1;
            }
            for seam in &classes.seams {
                assert_eq!(classes.classify(seam.at, criterion.decimals).name, seam.class, "{} {}", set.slug, seam.why);
            }
        }
    }
    assert!(edges > 150, "{edges}");
}

proptest! {
    /// Under every set and for every crop: a need is never below zero, and more in the soil
    /// never asks for more.
    #[test]
    fn needs_never_rise_with_the_level(a in 0.0..1.0f64, b in 0.0..1.0f64, which in 0..CROPS.len()) {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        for set in guideline::builtin().iter().map(Guideline::with_memory).chain([own()]) {
            for criterion in set.criteria.iter().filter(|c| c.analyte.element().is_some_and(|e| e != Element::N)) {
                // Levels from nothing to twice the highest limit.
                let top = match &criterion.rule {
                    guideline::Rule::Classes(classes) => classes.classes.last().map_or(10.0, |c| c.from * 2.0),
                    guideline::Rule::Critical { critical, high } => high.unwrap_or(*critical) * 2.0,
                    _ => continue,
                };
                let [Some(less), Some(more)] = [low, high].map(|share| at_printed(criterion, share * top)) else { continue };
                let land_use = criterion.when.uses.first().copied().unwrap_or(LandUse::Vegetables);
                let texture = criterion.when.textures.first().copied().unwrap_or(Texture::Loam);
                let base = setting(criterion.when.carbonate == Some(true), Err("none".into()));
                let here = glebe::agronomy::standing::Setting { land_use, texture, ..base };
                let asked = |reading: Reading| {
                    let standing = place(&[reading], &set, &here);
                    need::needs(&standing, &bed(), None, &Way::default(), &[CROPS[which]]).pop()
                };
                let (Some(at_less), Some(at_more)) = (asked(less), asked(more)) else { continue };
                prop_assert!(at_more.kg_per_ha.0 >= 0.0);
                prop_assert!(
                    at_less.kg_per_ha.0 >= at_more.kg_per_ha.0 - 1e-9,
                    "{} {} {}: {} then {}", set.slug, criterion.analyte, CROPS[which].slug, at_less.kg_per_ha.0, at_more.kg_per_ha.0
                );
            }
        }
    }

    /// Every printed rate falls, or stays, as the class or the index rises.
    #[test]
    fn printed_rates_never_rise(a in -10.0..2000.0f64, b in -10.0..2000.0f64) {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        for row in guideline::builtin().iter().flat_map(|g| &g.rates).flat_map(|rates| &rates.rows) {
            match &row.gives {
                Gives::Table(table) => prop_assert!(table.printed.is_sorted_by(|x, y| x >= y), "{}", row.printed_for),
                Gives::Equation(equation) => {
                    prop_assert!(equation.at(low).0 >= equation.at(high).0 && equation.at(high).0 >= 0.0);
                }
            }
        }
    }

    /// There and back again in every unit.
    #[test]
    fn units_come_back_as_they_went(value in 1e-6..1e9f64) {
        use glebe::agronomy::{quantity::{LAYER_CONVENTIONS, MgPerKg, SoilLayer, Grams}, rate::{AreaUnit, MassUnit, RateUnit}, reading::Level};
        let same = |x: f64| (x / value - 1.0).abs() < 1e-12;
        for unit in RateUnit::ALL { prop_assert!(same(unit.show(unit.read(value))), "{unit:?}"); }
        for unit in MassUnit::ALL { prop_assert!(same(unit.show(unit.read(value))), "{unit:?}"); }
        for unit in AreaUnit::ALL { prop_assert!(same(value * unit.m2() / unit.m2()), "{unit:?}"); }
        for form in Form::ALL { prop_assert!(same(value * form.to_element() / form.to_element()), "{form}"); }
        for convention in LAYER_CONVENTIONS {
            let layer = SoilLayer::Convention(*convention);
            prop_assert!(same(layer.level(layer.mass(MgPerKg(value))).0));
        }
        let area = SquareMetres(37.0);
        prop_assert!(same(Grams(value).per(area).on(area).0));
        for criterion in guideline::builtin().iter().flat_map(|g| &g.criteria) {
            for like in [Level::MgPerKg(MgPerKg(1.0)), Level::MgPerL(glebe::agronomy::quantity::MgPerL(1.0))] {
                let Some(level) = criterion.to_level(value, like) else { continue };
                if let Ok(back) = criterion.to_printed(level) { prop_assert!(same(back), "{}", criterion.analyte); }
            }
        }
    }
}

#[test]
fn recalled_rates_are_off_until_switched_on() {
    let england = set("england_wales_index");
    let k = || mg_l(K, Method::AmmoniumNitrate, 100.0);
    let off = stood(k(), england);
    assert!(matches!(off.nutrients[0].position, Position::NoCriterion(_)) && off.nutrients[0].rates.is_empty());
    // Cabbage at K index 1: 250 kg K2O/ha, from memory and said so; potatoes 330, read.
    let all = england.with_memory();
    let cabbage = asked(k(), &all, &["cabbage"]);
    assert!((oxide(&cabbage, Form::K2O) - 250.0).abs() < 1e-9);
    assert!(cabbage.notes.iter().any(|note| note.contains("rate is from memory, unverified")), "{:?}", cabbage.notes);
    let potato = asked(k(), &all, &["potato"]);
    assert!((oxide(&potato, Form::K2O) - 330.0).abs() < 1e-9);
    assert!(!potato.notes.iter().any(|note| note.contains("rate is from memory")), "{:?}", potato.notes);
    let magnesium = asked(mg_l(Mg, Method::AmmoniumNitrate, 20.0), &all, &["cabbage"]);
    assert!((oxide(&magnesium, Form::MgO) - 150.0).abs() < 1e-9);
}
