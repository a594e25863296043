//! Levels in the unit that a person likes: published factors, and there and back.

use glebe::agronomy::{
    analyte::Analyte,
    element::{ATOMIC_WEIGHTS, Element},
    ground::{Cover, Ground, Texture},
    liking::{LevelUnit, Liking, NutrientForm, Tested},
    method::Method,
    quantity::{Centimetres, GramsPerCm3, MgPerKg, MgPerL, SquareMetres},
    rate::RateUnit,
    reading::Level,
    record::CellKey,
    standing::Worked,
    working::{Figure, Origin, Working},
};
use proptest::prelude::*;

fn ground(density: f64, depth: f64) -> Ground {
    Ground {
        area: SquareMetres(30.0),
        cover: Cover::Open,
        texture: Texture::Loam,
        bulk_density: Some(GramsPerCm3(density)),
        depth: Centimetres(depth),
        stones: 0.0,
    }
}

fn cell(value: f64, unit: &str, decimals: u8) -> Working {
    Working::leaf("P, printed", Figure::new(value, unit, decimals), Origin::Cell(CellKey(1)))
}

fn of<'a>(element: Element, level: Level, working: &'a Working, method: &'a Method) -> Tested<'a> {
    Tested { analyte: Analyte::Element(element), method, level, working }
}

fn liking(unit: LevelUnit, form: NutrientForm) -> Liking {
    Liking { unit, form }
}

#[test]
fn factors_are_those_that_are_published() {
    let working = cell(1.0, "mg/kg", 0);
    let by_mass = |element, unit, form, density, depth| {
        let result = of(element, Level::MgPerKg(MgPerKg(1.0)), &working, &Method::Mehlich3Icp);
        liking(unit, form).conversion(result, &ground(density, depth)).unwrap().factor
    };
    // SCMA (Rayment & Lyons 2011) 16A1: at 1.0 g/cm³ and 10 cm, 1 mg/kg is 1 kg/ha; 16B1: 1.3 at 1.3 g/cm³.
    assert!((by_mass(Element::K, LevelUnit::KgPerHa, NutrientForm::Element, 1.0, 10.0) - 1.0).abs() < 1e-12);
    assert!((by_mass(Element::K, LevelUnit::KgPerHa, NutrientForm::Element, 1.3, 10.0) - 1.3).abs() < 1e-12);
    // 2,000,000 lb of soil per acre: ppm × 2 = lb/acre (Ohio State).
    let two_million_lb = 2.241_702_3 / 1.5;
    assert!(
        (by_mass(Element::K, LevelUnit::LbPerAcre, NutrientForm::Element, two_million_lb, 15.0) - 2.0).abs() < 1e-6
    );
    // On 30 m² 1 kg/ha is 3 g.
    assert!((by_mass(Element::K, LevelUnit::GramsOnPlot, NutrientForm::Element, 1.0, 10.0) - 3.0).abs() < 1e-12);
    // Mattilsynet (Norwegian Food Safety Authority), conversion of mineral fertiliser declarations, 2013:
    // P = P₂O₅ × 0.436, K = K₂O × 0.830, Ca = CaO × 0.715,
    // Mg = MgO × 0.603, S = SO₃ × 0.400.
    for (element, printed) in
        [(Element::P, 0.436), (Element::K, 0.830), (Element::Ca, 0.715), (Element::Mg, 0.603), (Element::S, 0.400)]
    {
        let factor = by_mass(element, LevelUnit::MgPerKg, NutrientForm::Oxide, 1.0, 10.0);
        assert!((1.0 / factor - printed).abs() < 6e-4, "{element}: {factor}");
    }
}

#[test]
fn by_volume_takes_the_depth_alone_and_never_becomes_mg_per_kg() {
    let working = cell(21.0, "mg/L", 0);
    let result = of(Element::P, Level::MgPerL(MgPerL(21.0)), &working, &Method::Olsen);
    // SCMA 18F1 note 3: mg/dm³ × 2 for 20 cm, whatever the density of the field.
    for density in [0.6, 1.1, 1.7] {
        let step =
            liking(LevelUnit::KgPerHa, NutrientForm::Element).conversion(result, &ground(density, 20.0)).unwrap();
        assert!((step.factor - 2.0).abs() < 1e-12);
    }
    let shown = liking(LevelUnit::MgPerKg, NutrientForm::Oxide).found(result, &ground(1.3, 20.0));
    assert_eq!(shown.figure.to_string().replace('\u{a0}', " "), "48 mg/L P₂O₅");
    assert!(liking(LevelUnit::MgPerKg, NutrientForm::Oxide).kept(result, &ground(1.3, 20.0)).is_some());
    let extract = of(Element::Na, Level::MgPerL(MgPerL(90.0)), &working, &Method::SaturationExtract);
    assert_eq!(
        liking(LevelUnit::KgPerHa, NutrientForm::Element).conversion(extract, &ground(1.3, 20.0)),
        Err("It stays in mg/L: it is what was dissolved in the extract, not what the soil holds.")
    );
}

#[test]
fn as_printed_is_the_cell_itself_and_aims_follow_its_unit() {
    // 200 lb/acre at 2,000,000 lb is 100 mg/kg; the aim of 141 mg/kg is 282 lb/acre.
    let leaf = cell(200.0, "lb/acre", 0);
    let working = Working::step("K by mass", Figure::new(100.0, "mg/kg", 0), "200 lb/acre ÷ 2", [leaf]);
    let method = Method::Mehlich3Icp;
    let result = of(Element::K, Level::MgPerKg(MgPerKg(100.0)), &working, &method);
    let printed = liking(LevelUnit::AsPrinted, NutrientForm::Oxide);
    assert_eq!(printed.found(result, &ground(1.4, 15.0)).figure.to_string(), "200\u{a0}lb/acre");
    let aim = Working::leaf("aim", Figure::new(141.0, "mg/kg", 0), Origin::Published).cite(ATOMIC_WEIGHTS);
    let aim = Worked { figure: aim.figure.clone(), working: aim };
    let shown = printed.like_found(result, "aim", &aim, &ground(1.4, 15.0));
    assert_eq!(shown.figure.to_string(), "282\u{a0}lb/acre");
    assert!(shown.working.is_grounded());
}

#[test]
fn decimals_are_no_finer_than_the_labs_and_the_step_is_said() {
    let working = cell(34.0, "mg/kg", 0);
    let method = Method::Mehlich3Icp;
    let result = of(Element::P, Level::MgPerKg(MgPerKg(34.0)), &working, &method);
    let shown = liking(LevelUnit::KgPerHa, NutrientForm::Oxide).found(result, &ground(1.3, 20.0));
    assert_eq!(shown.figure.to_string().replace('\u{a0}', " "), "203 kg/ha P₂O₅");
    let formula = shown.working.formula.as_deref().unwrap();
    assert!(formula.contains("× 2,600,000 kg/ha of soil ÷ 1,000,000 × 2.2913"), "{formula}");
    assert!(shown.working.is_grounded() && shown.working.cells() == [CellKey(1)]);
    let fine = cell(0.42, "mg/kg", 2);
    let boron = of(Element::B, Level::MgPerKg(MgPerKg(0.42)), &fine, &method);
    let shown = liking(LevelUnit::KgPerHa, NutrientForm::Element).found(boron, &ground(1.3, 20.0));
    assert_eq!(shown.figure.to_string().replace('\u{a0}', " "), "1.1 kg/ha");
    let none = Liking::default().found(result, &ground(1.3, 20.0));
    assert_eq!((none.figure, none.working), (working.figure.clone(), working));
}

proptest! {
    #[test]
    fn every_conversion_goes_there_and_back(
        value in 1e-3f64..1e5, density in 0.5f64..1.8, depth in 5.0f64..40.0, which in 0usize..5, oxide: bool, scooped: bool
    ) {
        let unit = LevelUnit::ALL[which];
        let form = if oxide { NutrientForm::Oxide } else { NutrientForm::Element };
        let level = if scooped { Level::MgPerL(MgPerL(value)) } else { Level::MgPerKg(MgPerKg(value)) };
        let working = cell(value * 2.0, "lb/acre", 0);
        for element in [Element::P, Element::K, Element::Ca, Element::Mg, Element::S, Element::B] {
            let result = of(element, level, &working, &Method::Mehlich3Icp);
            let step = liking(unit, form).conversion(result, &ground(density, depth)).unwrap();
            prop_assert!((step.back(step.there(value)) / value - 1.0).abs() < 1e-12);
            let need = liking(unit, form).need_conversion(element, SquareMetres(12.0), RateUnit::LbPerAcre);
            prop_assert!((need.back(need.there(value)) / value - 1.0).abs() < 1e-12);
        }
    }
}

mod caps {
    use super::*;
    use glebe::agronomy::{
        amendment::RateLimit,
        cap::{Counted, Overruled, SeasonCap, product_cap, season_caps},
        crop::Crop,
        element::Element::{B, K},
        quantity::KgPerHa,
        source::Citation,
    };

    fn pounds() -> Liking {
        liking(LevelUnit::LbPerAcre, NutrientForm::Oxide)
    }

    fn cap(counted: Counted) -> SeasonCap {
        let caps = season_caps(&[Crop::find("broccoli").unwrap()], Texture::Loam);
        caps.into_iter().find(|cap| cap.counted == counted).unwrap()
    }

    #[test]
    fn labels_and_amounts_are_read_in_pounds_and_oxides() {
        // Delaware: 3 lb of boron an acre for broccoli, which bags print as the element.
        let boron = cap(Counted::Total(B));
        let label = pounds().cap_label(&boron, RateUnit::KgPerHa);
        assert_eq!(label, "Boron, set by broccoli (calabrese) (tolerance high): at most 3 lb/acre");
        assert_eq!(Liking::default().cap_label(&boron, RateUnit::KgPerHa), boron.label);
        let given = pounds().cap_amount(&boron, KgPerHa(1.120_851), RateUnit::KgPerHa);
        assert_eq!(given.to_string(), "1.00\u{a0}lb/acre");
        // 300 kg of K₂O a hectare: 300 ÷ 1.120851 = 267.65 lb an acre.
        let potash = cap(Counted::Total(K));
        let label = pounds().cap_label(&potash, RateUnit::KgPerHa);
        assert!(label.ends_with("at most 267.65 lb/acre K₂O"), "{label}");
        assert!(
            pounds().cap_label(&cap(Counted::ManureNitrogen), RateUnit::KgPerHa).ends_with("at most 151.67 lb/acre")
        );
    }

    #[test]
    fn an_amount_beyond_a_cap_never_looks_like_it() {
        let boron = cap(Counted::Total(B));
        let over = KgPerHa(boron.kg_per_ha.0 * 1.000_4);
        let shown = pounds().cap_amount(&boron, over, RateUnit::KgPerHa).to_string();
        assert_ne!(shown, "3.00\u{a0}lb/acre");
        assert!(shown.starts_with("3.00"), "{shown}");
    }

    #[test]
    fn a_decision_and_what_is_published_are_both_read() {
        let boron = cap(Counted::Total(B));
        let decided = Overruled {
            kg_per_ha: KgPerHa(1.120_851),
            published: boron.kg_per_ha,
            label: boron.label.clone(),
            reason: "sensitive beans beside it".into(),
            by: "Ada".into(),
            on: jiff::civil::date(2026, 3, 1),
        };
        let label = pounds().cap_label(&boron.overrule(decided), RateUnit::KgPerHa);
        assert_eq!(
            label,
            "Boron, set by broccoli (calabrese) (tolerance high): 1 lb/acre by decision of Ada, where 3 lb/acre is published"
        );
    }

    #[test]
    fn sentences_of_the_planner_name_the_cap_as_it_is_read() {
        let boron = cap(Counted::Total(B));
        let said = format!(
            "A1: the boron cap ({}) is already exceeded by 1.12 kg/ha; no product in the list is affected.",
            boron.label.strip_prefix("Boron, ").unwrap()
        );
        assert_eq!(
            pounds().cap_sentence(&said, &boron, RateUnit::KgPerHa),
            "A1: the boron cap (set by broccoli (calabrese) (tolerance high): at most 3 lb/acre) is already exceeded by \
             1.00\u{a0}lb/acre; no product in the list is affected."
        );
        let other = "A1: the copper cap leaves nothing to give.";
        assert_eq!(pounds().cap_sentence(other, &boron, RateUnit::KgPerHa), other);
        assert_eq!(Liking::default().cap_sentence(&said, &boron, RateUnit::KgPerHa), said);
    }

    #[test]
    fn a_decision_that_no_longer_counts_is_read_in_the_readers_unit_too() {
        // Delaware: 3 lb of boron an acre for broccoli; 2 lb for what tolerates less.
        let boron = cap(Counted::Total(B));
        let tail = "That decision no longer counts; where more is to go on, a new one is needed.";
        let said = format!(
            "A1: Ada, who decided on much, decided on 2.242 kg/ha where this was published: Boron, no crop named: at \
             most 1.12 kg/ha. Published now: {}. {tail}",
            boron.label
        );
        assert_eq!(
            pounds().cap_sentence(&said, &boron, RateUnit::KgPerHa),
            format!(
                "A1: Ada, who decided on much, decided on 2 lb/acre where this was published: Boron, no crop named: at \
                 most 1 lb/acre. Published now: Boron, set by broccoli (calabrese) (tolerance high): at most 3 lb/acre. \
                 {tail}"
            )
        );
        // In the reader's own unit, and of another cap, it stays.
        assert_eq!(Liking::default().cap_sentence(&said, &boron, RateUnit::KgPerHa), said);
        let copper = cap(Counted::Total(glebe::agronomy::element::Element::Cu));
        assert_eq!(pounds().cap_sentence(&said, &copper, RateUnit::KgPerHa), said);
        // A product is counted in grams a square metre.
        let limit = RateLimit { rate: KgPerHa(1_465.0), per: "at once".into(), source: Citation::from(ATOMIC_WEIGHTS) };
        let epsom = product_cap(1, "Epsom salt", &limit);
        let read = pounds().decided_once(
            &epsom,
            KgPerHa(1_120.851),
            "Epsom salt at once: at most 1,000 g/m² of the product",
            RateUnit::KgPerHa,
        );
        assert_eq!(read, ("1,000 lb/acre".into(), "Epsom salt at once: at most 8,921.8 lb/acre of the product".into()));
    }

    #[test]
    fn small_caps_keep_three_digits() {
        let boron = cap(Counted::Total(B));
        // 3 lb/acre are 0.336 g/m².
        let label = Liking::default().cap_label(&boron, RateUnit::GramsPerM2);
        assert!(label.ends_with("at most 0.336 g/m²"), "{label}");
        let given = Liking::default().cap_amount(&boron, KgPerHa(1.0), RateUnit::GramsPerM2);
        assert_eq!(given.to_string(), "0.100\u{a0}g/m²");
    }

    #[test]
    fn a_product_stays_a_product() {
        // Penn State: 3 lb of Epsom salt on 100 ft² at once, 146.5 g/m².
        let limit = RateLimit {
            rate: RateUnit::LbPer100Ft2.read(3.0),
            per: "at once".into(),
            source: Citation::from(ATOMIC_WEIGHTS),
        };
        let cap = product_cap(1, "Epsom salt", &limit);
        assert_eq!(Liking::default().cap_label(&cap, RateUnit::LbPerAcre), cap.label);
        assert_eq!(
            pounds().cap_label(&cap, RateUnit::KgPerHa),
            "Epsom salt at once: at most 1,306.8 lb/acre of the product"
        );
        let step = liking(LevelUnit::GramsOnPlot, NutrientForm::Oxide).product_conversion();
        assert_eq!((step.there(100.0), step.unit.as_str()), (10.0, "g/m²"));
    }
}
