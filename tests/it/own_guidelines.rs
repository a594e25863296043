//! Own guidelines: a copy reads as what it was copied from, what is changed says so, and
//! nothing that is wrong gets in.

use glebe::agronomy::{
    analyte::Analyte,
    element::Element::{K, P, Zn},
    guideline::{
        self, Bands, Bounds, ClassBound, ClassIs, Draft, Editor, Field, Guideline, Position, Rule, differences,
        in_words,
    },
    method::Method,
    record::Unit,
    source::Evidence,
};
use jiff::civil::date;

fn set(slug: &str) -> &'static Guideline {
    guideline::find(slug).unwrap()
}

fn ines(source: &str) -> Editor {
    Editor { name: "Ines Moreau".into(), on: date(2026, 3, 21), version: 2, source: source.into() }
}

fn classes(limits: &[(&str, ClassIs, Option<f64>)], aim: f64) -> Bounds {
    let class =
        |(name, is, up_to): &(&str, ClassIs, Option<f64>)| ClassBound { name: (*name).into(), is: *is, up_to: *up_to };
    Bounds {
        unit: Unit::Ppm,
        decimals: 0,
        per_point: None,
        bands: Bands::Classes { classes: limits.iter().map(class).collect(), aim },
    }
}

fn potassium(draft: &Draft) -> usize {
    (0..draft.len()).find(|at| draft.criterion(*at).unwrap().analyte == Analyte::Element(K)).unwrap()
}

#[test]
fn every_shipped_set_reads_back_the_same_when_it_is_written() {
    for set in guideline::builtin() {
        let text = Draft::read(&set.text).unwrap().text();
        let again = Guideline::parse(&text).unwrap_or_else(|p| panic!("{}: {p:?}\n{text}", set.slug));
        assert!(Guideline { text: set.text.clone(), ..again } == *set, "{}: {text}", set.slug);
        assert_eq!(Draft::read(&text).unwrap().text(), text, "{}: written twice", set.slug);
        assert!(!text.contains("[[include]]"), "a copy must not follow what the program ships later");
    }
}

#[test]
fn a_copy_has_every_rule_of_its_original_and_a_name_of_its_own() {
    for set in guideline::builtin() {
        assert!(!set.slug.starts_with("own_"), "{}: such keys are for own guidelines", set.slug);
        let copy = Draft::copy(set, "own_1", "Ours").unwrap().guideline().unwrap();
        for (is, was) in copy.criteria.iter().zip(&set.criteria) {
            assert_eq!(is, was, "{}", set.slug);
        }
        assert_eq!(copy.criteria.len(), set.criteria.len());
        assert_eq!((copy.slug.as_str(), copy.title.as_str()), ("own_1", "Ours"));
        assert!(
            copy.publisher.contains(&set.title) && copy.publisher.starts_with("Own guideline"),
            "{}",
            copy.publisher
        );
        for (criterion, bounds) in copy.criteria.iter().map(|c| (c, Bounds::of(c))) {
            let faults = bounds.faults(criterion.analyte, criterion.layer.is_some());
            assert!(faults.is_empty(), "{}: {}: {faults:?}", set.slug, in_words(criterion));
        }
    }
}

#[test]
fn limits_typed_as_they_are_make_the_same_classes() {
    for set in guideline::builtin() {
        let draft = Draft::read(&set.text).unwrap();
        for at in 0..draft.len() {
            let was = draft.criterion(at).unwrap();
            let bounds = Bounds::of(&was);
            let mut again = draft.clone();
            again.change(at, &bounds, &ines("")).unwrap_or_else(|e| panic!("{}: {}: {e}", set.slug, in_words(&was)));
            let is = again.criterion(at).unwrap();
            let (Rule::Classes(a), Rule::Classes(b)) = (&was.rule, &is.rule) else {
                // A range that is printed open at the bottom begins at 0 once it is edited.
                assert_eq!(Bounds::of(&is), bounds, "{}: {}", set.slug, in_words(&was));
                if !matches!(was.rule, Rule::Typical { .. }) {
                    assert_eq!(was.rule, is.rule);
                }
                continue;
            };
            // An index that ends is open above once it is edited; otherwise every tenth of a step falls alike.
            assert_eq!((a.optimum, a.aim), (b.optimum, b.aim), "{}: {}", set.slug, in_words(&was));
            let top = a.classes.last().unwrap().from * 1.2 + 2.0;
            for i in 0..2000 {
                let value = top * f64::from(i) / 2000.0;
                let (x, y) = (a.classify(value, was.decimals), b.classify(value, is.decimals));
                assert_eq!((&x.name, &x.position), (&y.name, &y.position), "{}: {value}: {}", set.slug, in_words(&was));
            }
        }
    }
}

#[test]
fn a_changed_rule_says_who_changed_it_and_what_was_printed() {
    let mut draft = Draft::copy(set("delaware_mehlich3"), "own_1", "Ours").unwrap();
    let at = potassium(&draft);
    let was = draft.criterion(at).unwrap();
    let to = classes(
        &[("Poor", ClassIs::Short, Some(99.0)), ("Good", ClassIs::Aim, Some(300.0)), ("Rich", ClassIs::Excess, None)],
        120.0,
    );
    draft.change(at, &to, &ines("")).unwrap();
    let own = draft.guideline().unwrap();
    let is = &own.criteria[at];
    let Rule::Classes(rule) = &is.rule else { panic!("classes") };
    assert_eq!(rule.classes.iter().map(|c| c.printed.as_str()).collect::<Vec<_>>(), ["0-99", "100-300", ">300"]);
    assert_eq!((rule.aim, rule.ceiling(), is.set.as_str()), (120.0, Some(301.0), "own_1"));
    assert_eq!(rule.classify(99.4, 0).position, Position::Short);
    assert_eq!(rule.classify(99.6, 0).position, Position::AtAim);
    let changed = is.changed.as_ref().unwrap();
    assert_eq!(
        (changed.by.as_str(), changed.on, &changed.printed),
        ("Ines Moreau", date(2026, 3, 21), &in_words(&was))
    );
    assert_eq!(changed.source.as_ref(), Some(&was.source));
    let cited = is.source.to_string();
    for part in
        ["Changed here by Ines Moreau on 21 Mar 2026", "University of Delaware", "printed: Low", "[own judgement]"]
    {
        assert!(cited.contains(part), "{part}: {cited}");
    }
    // Changed again, with a source: still held against the publisher's own figures.
    let again = classes(&[("Poor", ClassIs::Short, Some(89.0)), ("Good", ClassIs::Aim, None)], 90.0);
    draft.change(at, &again, &ines("Our trials 2019 to 2024")).unwrap();
    let is = draft.criterion(at).unwrap();
    assert_eq!(is.changed.as_ref().unwrap().printed, in_words(&was));
    assert_eq!(is.source.evidence, Evidence::Quoted);
    assert!(is.source.to_string().contains("after Our trials 2019 to 2024"), "{}", is.source);
    // Nothing else moved.
    let copy = Draft::copy(set("delaware_mehlich3"), "own_1", "Ours").unwrap().guideline().unwrap();
    let said = differences(&copy, &draft.guideline().unwrap());
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(
        said[0].starts_with("Potassium by Mehlich-3") && said[0].contains("is Poor 0-89, Good >89 ppm; aim 90"),
        "{said:?}"
    );
}

#[test]
fn rules_are_added_first_and_taken_out_by_their_place() {
    let mut draft = Draft::copy(set("delaware_mehlich3"), "own_1", "Ours").unwrap();
    let before = draft.guideline().unwrap();
    let olsen = [Method::Olsen];
    let phosphorus = Analyte::Element(P);
    assert_eq!(draft.answering(phosphorus, &olsen, None), None);
    let to = Bounds {
        unit: Unit::MgPerKg,
        decimals: 1,
        per_point: None,
        bands: Bands::Critical { critical: 12.5, high: Some(60.0) },
    };
    draft.add(phosphorus, &olsen, Some(true), &to, &ines("")).unwrap();
    assert_eq!(draft.answering(phosphorus, &olsen, None), Some(0));
    assert_eq!(draft.answering(phosphorus, &olsen, Some(false)), None);
    let own = draft.guideline().unwrap();
    assert_eq!(
        (&own.criteria[0].rule, own.criteria[0].when.carbonate),
        (&Rule::Critical { critical: 12.5, high: Some(60.0) }, Some(true))
    );
    assert!(own.criteria[0].changed.as_ref().unwrap().source.is_none());
    let at = potassium(&draft);
    draft.remove(&[at]);
    let after = draft.guideline().unwrap();
    assert_eq!(after.criteria.len(), before.criteria.len());
    let said = differences(&before, &after);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].contains("Potassium") && said[0].contains("taken out"), "{said:?}");
    assert!(said[1].contains("Phosphorus by Olsen") && said[1].contains("added. short below 12.5 mg/kg"), "{said:?}");
}

#[test]
fn what_is_wrong_is_said_by_its_field() {
    use ClassIs::{Above, Aim, Excess, Short};
    let zinc = Analyte::Element(Zn);
    for (bounds, field) in [
        (classes(&[("a", Short, Some(10.0)), ("b", Aim, Some(10.0)), ("c", Above, None)], 11.0), Field::UpTo(1)),
        (classes(&[("a", Short, None), ("b", Aim, None)], 11.0), Field::UpTo(0)),
        (classes(&[("a", Short, Some(10.0)), ("b", Aim, Some(20.0))], 11.0), Field::UpTo(1)),
        (classes(&[("a", Short, Some(10.0)), ("", Aim, None)], 11.0), Field::Name(1)),
        (classes(&[("a", Short, Some(10.0)), ("a", Aim, None)], 11.0), Field::Name(1)),
        (classes(&[("a", Aim, Some(10.0)), ("b", Short, None)], 5.0), Field::Is(1)),
        (classes(&[("a", Short, Some(10.0)), ("b", Excess, None)], 5.0), Field::Classes),
        (classes(&[("a", Aim, None)], 5.0), Field::Classes),
        (classes(&[("a", Short, Some(10.0)), ("b", Aim, Some(20.0)), ("c", Above, None)], 10.0), Field::Aim),
        (classes(&[("a", Short, Some(10.0)), ("b", Aim, Some(20.0)), ("c", Above, None)], 21.0), Field::Aim),
        (
            Bounds {
                unit: Unit::Ppm,
                decimals: 0,
                per_point: None,
                bands: Bands::Critical { critical: 0.0, high: None },
            },
            Field::Critical,
        ),
        (
            Bounds {
                unit: Unit::Ppm,
                decimals: 0,
                per_point: None,
                bands: Bands::Critical { critical: 5.0, high: Some(5.0) },
            },
            Field::High,
        ),
        (
            Bounds {
                unit: Unit::Ph,
                decimals: 0,
                per_point: None,
                bands: Bands::Critical { critical: 5.0, high: None },
            },
            Field::Unit,
        ),
        (
            Bounds {
                unit: Unit::LbPerAcre,
                decimals: 0,
                per_point: None,
                bands: Bands::Critical { critical: 5.0, high: None },
            },
            Field::Unit,
        ),
    ] {
        let faults = bounds.faults(zinc, false);
        assert!(faults.iter().any(|fault| fault.field == field && fault.says.ends_with('.')), "{field:?}: {faults:?}");
    }
    let faults_of = |bands| {
        let bounds = Bounds { unit: Unit::MgPerKg, decimals: 1, per_point: None, bands };
        let faults = bounds.faults(Analyte::Element(K), false);
        assert!(faults.iter().all(|fault| fault.says.ends_with('.')), "{faults:?}");
        faults.into_iter().map(|fault| fault.field).collect::<Vec<_>>()
    };
    let shares = |low, high, aim, floor, ceiling| faults_of(Bands::Saturation { low, high, aim, floor, ceiling });
    assert_eq!(shares(2.0, Some(5.0), 2.0, Some(141.0), Some(280.0)), []);
    assert_eq!(shares(2.0, None, 100.0, None, None), []);
    assert_eq!(shares(5.0, Some(5.0), 5.0, None, None), [Field::High]);
    assert_eq!(shares(2.0, Some(105.0), 2.0, None, None), [Field::High]);
    assert_eq!(shares(2.0, Some(5.0), 5.1, None, None), [Field::Aim]);
    assert_eq!(shares(0.0, Some(5.0), 0.0, None, None), [Field::Aim]);
    assert_eq!(shares(101.0, None, 101.0, None, None), [Field::Low, Field::Aim]);
    assert_eq!(shares(2.0, Some(5.0), 2.0, Some(300.0), Some(280.0)), [Field::Ceiling]);
    assert_eq!(shares(2.0, Some(5.0), 2.0, Some(0.0), Some(0.0)), [Field::Floor, Field::Ceiling]);
    assert_eq!(faults_of(Bands::Typical { low: 0.0, high: None }), [Field::Low]);
    assert_eq!(faults_of(Bands::Typical { low: 3.0, high: Some(3.0) }), [Field::High]);
    assert_eq!(faults_of(Bands::Typical { low: 3.0, high: None }), []);
    assert_eq!(faults_of(Bands::LeftAlone { why: "  ".into() }), [Field::Why]);
    let sound = classes(&[("a", Short, Some(10.0)), ("b", Aim, Some(20.0)), ("c", Above, None)], 11.0);
    assert_eq!(sound.faults(zinc, false), []);
    let by_area = Bounds { unit: Unit::LbPerAcre, ..sound };
    assert_eq!(by_area.faults(zinc, true), []);
}
