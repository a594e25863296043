//! Needs and season caps against published rates.

use crate::guidelines::{mg_kg, mg_l, place, set, setting};
use glebe::agronomy::{
    cap::{Counted, already_applied, season_caps},
    crop::Crop,
    element::{
        Element::{self, B, Cu, K, Mg, Mn, N, P, Zn},
        Form,
    },
    ground::{Cover, Ground, Texture},
    guideline::{Guideline, Position},
    method::Method,
    need::{self, BuildUp, By, Reason, Way},
    quantity::{Centimetres, GramsPerCm3, KgPerHa, LayerConvention, SquareMetres},
    reading::Reading,
    record::{Application, DepthBand, Qualifier},
    source::Evidence,
};
use jiff::civil::{Date, date};
use proptest::prelude::*;

fn ground(density: f64, depth: f64, stones: f64) -> Ground {
    Ground {
        area: SquareMetres(10.0),
        cover: Cover::Open,
        texture: Texture::Loam,
        bulk_density: Some(GramsPerCm3(density)),
        depth: Centimetres(depth),
        stones,
    }
}

fn raise(reading: Reading, guideline: &Guideline, ground: &Ground, way: Way) -> need::Need {
    let standing = place(&[reading], guideline, &setting(false, Err("no capacity".into())));
    need::needs(&standing, ground, None, &way, &[]).remove(0)
}

#[test]
fn potash_is_raised_as_in_the_polish_exercise() {
    // zanotowane.pl/225/7793: from 10 to 15 mg K2O/100 g on 3,000,000 kg of soil takes 150 kg K2O/ha.
    let own = Guideline::parse(
        r#"
slug = "poland"
title = "Exercise"
publisher = "Polish student exercise"
address = "https://zanotowane.pl/225/7793"
scope = "An exercise"
[[table]]
title = "Potash"
source = { publisher = "Polish student exercise", title = "Raising a K2O test", evidence = "read" }
methods = ["other:Egner-Riehm"]
unit = "mg/100 g"
form = "K2O"
classes = [{ name = "short", is = "short" }, { name = "aim", is = "aim" }]
aim_class = "aim"
aim_why = "the exercise"
[[table.row]]
analyte = "K"
printed = ["<15", ">=15"]
"#,
    )
    .unwrap();
    let found = mg_kg(K, Method::Other("Egner-Riehm".into()), 100.0 * Form::K2O.to_element());
    let need = raise(found, &own, &ground(1.5, 20.0, 0.0), Way::default());
    assert!((need.kg_per_ha.0 / Form::K2O.to_element() - 150.0).abs() < 1e-9, "{need:#?}");
    assert_eq!(need.reason, Reason::Raise);
    assert!(need.working.unwrap().is_grounded());
}

#[test]
fn the_layer_used_is_the_one_named() {
    // Delaware's aim for P is 51 ppm; 21 ppm lacks 30. Ohio State: 30 ppm is 60 lb/acre at 2,000,000 lb.
    let (delaware, p) = (set("delaware_mehlich3"), || mg_kg(P, Method::Mehlich3Icp, 21.0));
    let bed = ground(0.85, 20.0, 0.0);
    let convention = LayerConvention::find("two_million_lb_per_acre").unwrap();
    let by_book = raise(p(), delaware, &bed, Way { by: By::Convention(convention), seasons: 1 });
    assert!((by_book.kg_per_ha.lb_per_acre() - 60.0).abs() < 1e-9);
    // The bed's own soil weighs 1,700,000 kg/ha (0.85 × 20 × 100,000): 51 kg/ha, and stones take their share.
    let own = raise(p(), delaware, &bed, Way::default());
    assert!((own.kg_per_ha.0 - 51.0).abs() < 1e-9);
    let stony = raise(p(), delaware, &ground(0.85, 20.0, 0.25), Way::default());
    assert!((stony.kg_per_ha.0 - 38.25).abs() < 1e-9);
    // Over three seasons a third each year.
    let third = raise(p(), delaware, &bed, Way { by: By::OwnLayer, seasons: 3 });
    assert!((third.kg_per_ha.0 - 17.0).abs() < 1e-9);
    for need in [by_book, own, stony, third] {
        let working = need.working.unwrap();
        assert!(working.is_grounded() && working.cells().len() == 1, "{working:#?}");
    }
    // A depth sampled other than the depth worked is said.
    let standing = place(&[p()], delaware, &setting(false, Err(String::new())));
    let band = DepthBand { top: Centimetres(0.0), bottom: Centimetres(15.0) };
    let needs = need::needs(&standing, &bed, Some(band), &Way::default(), &[]);
    assert!(needs[0].notes.iter().any(|n| n.contains("0–15")), "{:?}", needs[0].notes);
}

#[test]
fn by_volume_takes_depth_and_no_density() {
    // Rayment & Lyons 2011, 18F1 note 3: mg/dm³ × 2 is kg/ha over 20 cm. Index 3 begins at 26; 16 lacks 10: 20 kg/ha.
    for density in [0.6, 1.6] {
        let p = mg_l(P, Method::Olsen, 16.0);
        let need = raise(p, set("northern_ireland_index"), &ground(density, 20.0, 0.0), Way::default());
        assert!((need.kg_per_ha.0 - 20.0).abs() < 1e-9);
    }
}

#[test]
fn build_up_factors_are_the_published_ones_in_elements() {
    // 20 lb P2O5 is 9.783 kg P/ha; 6 and 10 lb K2O are 5.583 and 9.305 kg K/ha; 10 kg K2O/ha is 8.30 kg K.
    for (slug, kg) in
        [("tri_state_p", 9.783), ("tri_state_k_light", 5.583), ("tri_state_k_heavy", 9.305), ("pda_k", 8.302)]
    {
        let factor = BuildUp::find(slug).unwrap();
        assert!((factor.kg_per_ha_per_unit() / kg - 1.0).abs() < 2e-4, "{slug}: {}", factor.kg_per_ha_per_unit());
    }
    // Tri-State, as Ag Professional prints it: 20 lb P2O5 per ppm, so 55 lb P2O5 moves the test about 3 ppm (2.75).
    let by = By::BuildUp(BuildUp::find("tri_state_p").unwrap());
    let need = raise(
        mg_kg(P, Method::Mehlich3Icp, 51.0 - 2.75),
        set("delaware_mehlich3"),
        &ground(1.3, 15.0, 0.0),
        Way { by, seasons: 1 },
    );
    assert!((need.kg_per_ha.lb_per_acre() / Form::P2O5.to_element() - 55.0).abs() < 1e-9);
    // A factor found for another element or method is set aside, and that is said.
    let potassium = raise(
        mg_kg(K, Method::Mehlich3Icp, 100.0),
        set("delaware_mehlich3"),
        &ground(1.0, 10.0, 0.0),
        Way { by, seasons: 1 },
    );
    assert!((potassium.kg_per_ha.0 - 41.0).abs() < 1e-9);
    assert!(potassium.notes.iter().any(|n| n.contains("own layer")));
}

#[test]
fn what_is_enough_typical_or_unknown_needs_nothing() {
    let bed = ground(1.3, 20.0, 0.0);
    let nothing = |reading: Reading, slug: &str, note: &str| {
        let need = raise(reading, set(slug), &bed, Way::default());
        assert_eq!((need.kg_per_ha, need.reason, need.working.is_none()), (KgPerHa(0.0), Reason::None, true));
        assert!(note.is_empty() || need.notes.iter().any(|n| n.contains(note)), "{:?}", need.notes);
    };
    nothing(mg_kg(P, Method::Mehlich3Icp, 60.0), "delaware_mehlich3", "");
    nothing(mg_kg(P, Method::Mehlich3Icp, 160.0), "delaware_mehlich3", "excessive: give none");
    // UMass prints what is usually found for copper, no aim: a low value prescribes nothing.
    nothing(mg_kg(Cu, Method::ModifiedMorgan, 0.0), "umass_modified_morgan", "no reason to give");
    let mut limit = mg_kg(Zn, Method::Dtpa, 5.0);
    limit.qualifier = Qualifier::Below;
    nothing(limit.clone(), "dtpa_metals", "only say that it is below");
    // A limit below the aim is a need of at least the difference.
    limit.level = glebe::agronomy::reading::Level::MgPerKg(glebe::agronomy::quantity::MgPerKg(0.2));
    let at_least = raise(limit, set("dtpa_metals"), &bed, Way::default());
    assert!(at_least.at_least && (at_least.kg_per_ha.0 - 0.9 * 2.6).abs() < 1e-9);
    // What no rule judges is left out altogether, and so is what is never given.
    let standing =
        place(&[mg_kg(P, Method::Bray1, 1.0)], set("delaware_mehlich3"), &setting(false, Err(String::new())));
    assert!(matches!(standing.nutrients[0].position, Position::NoCriterion(_)));
    assert_eq!(need::needs(&standing, &bed, None, &Way::default(), &[]), []);
    // Nitrogen is stated, not raised.
    let stated = need::stated(N, KgPerHa(120.0), "cabbage, by its yield");
    assert!(stated.working.as_ref().unwrap().is_grounded());
    assert_eq!(need::stated(N, KgPerHa(-5.0), "").kg_per_ha, KgPerHa(0.0));
    assert_eq!(need::stated(N, KgPerHa(f64::NAN), "").kg_per_ha, KgPerHa(0.0));
    let twice = need::totals(&[stated.clone(), stated]);
    assert_eq!(twice[&N], KgPerHa(240.0));
}

#[test]
fn boron_caps_are_delawares_and_the_most_sensitive_crop_decides() {
    // Univ. of Delaware, Boron in Vegetable Crops Revisited: 3, 2, 1 and 0 lb B/acre.
    let cap = |crops: &[&str]| {
        let crops: Vec<Crop> = crops.iter().map(|c| Crop::find(c).expect(c)).collect();
        season_caps(&crops, Texture::Loam).into_iter().find(|c| c.counted == Counted::Total(B)).unwrap()
    };
    for (crops, lb) in [
        (&["broccoli"][..], 3.0),
        (&["tomato"], 2.0),
        (&["sweet_pepper"], 1.0),
        (&["snap_bean"], 0.0),
        (&["beetroot", "carrot"], 2.0),
        // No beans the year after boron on another crop: the next crop counts too.
        (&["beetroot", "snap_bean"], 0.0),
        (&["lettuce_romaine"], 1.0),
        (&[], 1.0),
    ] {
        let cap = cap(crops);
        assert!((cap.kg_per_ha.lb_per_acre() - lb).abs() < 1e-9, "{crops:?}: {}", cap.label);
        assert!(cap.in_force && cap.kg_per_ha.lb_per_acre() <= 3.0);
    }
    assert!(cap(&["beetroot", "snap_bean"]).label.contains("bean"));
    // 3 lb/acre is 3.36 kg/ha.
    assert!((cap(&["broccoli"]).kg_per_ha.0 - 3.36).abs() < 5e-3);
}

#[test]
fn only_caps_that_were_read_are_in_force() {
    for texture in [Texture::Loam, Texture::Organic] {
        for cap in season_caps(&[], texture) {
            assert_eq!(cap.in_force, cap.source.evidence != Evidence::Memory, "{}", cap.label);
            assert!(cap.kg_per_ha.0 > 0.0 && !cap.source.title.is_empty());
        }
    }
    // NCDA&CS Circular 1: Cu 2 lb/acre on mineral soil, 6 on organic; Zn 6; Mn 10. Nitrates Directive: 170 kg N.
    let lb = |texture, element| {
        let cap = season_caps(&[], texture).into_iter().find(|c| c.counted == Counted::Total(element)).unwrap();
        cap.kg_per_ha.lb_per_acre()
    };
    for (texture, element, rate) in
        [(Texture::Loam, Cu, 2.0), (Texture::Organic, Cu, 6.0), (Texture::Clay, Zn, 6.0), (Texture::Sand, Mn, 10.0)]
    {
        assert!((lb(texture, element) - rate).abs() < 1e-9);
    }
}

fn put_on(day: Date, grams: f64, content: &[(Element, f64)], manure: bool) -> Application {
    Application {
        key: 1,
        applied_on: day,
        amendment: "Something".into(),
        mass_g: grams,
        content: content.iter().copied().collect(),
        availability: std::collections::BTreeMap::new(),
        manure,
        organic: manure,
    }
}

#[test]
fn nitrogen_of_all_that_is_organic_has_a_cap_of_its_own() {
    // The Nitrate Pollution Prevention Regulations 2015 (SI 2015/668), regulations 7 and 8, read: 170 kg N/ha
    // from livestock manure over the holding, 250 kg N from organic manure on any hectare in twelve months.
    let on = date(2026, 3, 1);
    let compost = Application { organic: true, ..put_on(on, 10_000.0, &[(N, 0.02)], false) };
    let manure = put_on(on, 1_000.0, &[(N, 0.02)], true);
    let salt = put_on(on, 1_000.0, &[(N, 0.2)], false);
    let applied = already_applied(&[compost, manure, salt], SquareMetres(10.0), on);
    let caps = season_caps(&[], Texture::Loam);
    let left = |counted| {
        let cap = caps.iter().find(|cap| cap.counted == counted).unwrap();
        (cap.kg_per_ha.0, applied.left(cap).0.0, cap.source.address.clone())
    };
    // 200 g of nitrogen in compost and 20 g in manure on 10 m² are 200 and 20 kg/ha.
    let (whole, remains, source) = left(Counted::OrganicNitrogen);
    assert!(whole == 250.0 && (remains - 30.0).abs() < 1e-9 && source.contains("uksi/2015/668"), "{remains}");
    let (whole, remains, _) = left(Counted::ManureNitrogen);
    assert!(whole == 170.0 && (remains - 150.0).abs() < 1e-9, "{remains}");
    assert_eq!("organic-N".parse(), Ok(Counted::OrganicNitrogen));
    assert_eq!(Counted::OrganicNitrogen.key(), "organic-N");
}

#[test]
fn caps_count_a_rolling_year_over_all_products() {
    let on = date(2026, 3, 1);
    // Borax on 10 m²: 11.34 % B, so 1 g is 0.1134 g B, 0.1134 kg/ha. Ash carries some too.
    let borax = [(B, 0.1134)];
    let applications = [
        put_on(date(2025, 3, 1), 10.0, &borax, false), // a year ago to the day: no longer
        put_on(date(2025, 3, 2), 4.0, &borax, false),
        put_on(date(2026, 3, 1), 2.0, &borax, false),
        put_on(date(2026, 3, 2), 50.0, &borax, false), // not yet
        put_on(date(2025, 10, 1), 1000.0, &[(B, 0.0002), (N, 0.02), (Mg, 0.01)], true),
        put_on(date(2025, 10, 1), 100.0, &[(N, 0.12)], false),
        put_on(date(2025, 10, 1), f64::NAN, &borax, false),
    ];
    let applied = already_applied(&applications, SquareMetres(10.0), on);
    let boron = applied.of(Counted::Total(B)).0;
    assert!((boron - (6.0 * 0.1134 + 0.2)).abs() < 1e-9, "{boron}");
    assert!((applied.of(Counted::Total(N)).0 - 32.0).abs() < 1e-9);
    assert!((applied.of(Counted::ManureNitrogen).0 - 20.0).abs() < 1e-9);
    let crops = [Crop::find("sweet_pepper").unwrap()];
    for cap in season_caps(&crops, Texture::Loam) {
        let (left, working) = applied.left(&cap);
        assert!((left.0 - (cap.kg_per_ha.0 - applied.of(cap.counted).0)).abs() < 1e-12);
        assert!(working.is_grounded(), "{working:#?}");
    }
    // Beans: nothing may be given, so what was given exceeds it; said, not an error.
    let beans = season_caps(&[Crop::find("snap_bean").unwrap()], Texture::Loam);
    let (left, working) = applied.left(&beans[0]);
    assert!(left.0 < 0.0 && working.notes.iter().any(|n| n.contains("Already exceeded")));
    // No area, no rate; never infinity.
    assert_eq!(already_applied(&applications, SquareMetres(0.0), on).of(Counted::Total(B)), KgPerHa(0.0));
}

proptest! {
    /// A need is never negative, and more in the soil never asks for more.
    #[test]
    fn needs_are_never_negative_and_fall_as_the_level_rises(a in 0.0..500.0f64, b in 0.0..500.0f64, depth in 1.0..60.0f64, density in 0.2..1.9f64) {
        let (low, high) = if a <= b { (a, b) } else { (b, a) };
        let bed = ground(density, depth, 0.1);
        for element in [P, K, Mg] {
            let [more, less] = [low, high].map(|v| raise(mg_kg(element, Method::Mehlich3Icp, v), set("rutgers_mehlich3"), &bed, Way::default()));
            prop_assert!(less.kg_per_ha.0 >= 0.0);
            prop_assert!(more.kg_per_ha.0 >= less.kg_per_ha.0);
            prop_assert!(more.working.is_none_or(|w| w.is_grounded()));
        }
    }
}
