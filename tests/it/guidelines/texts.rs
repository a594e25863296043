//! Reading sets: what is refused, copied, included and marked.

use super::*;

#[test]
fn every_shipped_set_parses_and_cites() {
    assert_eq!(guideline::builtin().len(), guideline::SHIPPED, "a shipped set does not parse");
    for set in guideline::builtin() {
        // Each text must also read through the door that a grower's own copy uses.
        let again = Guideline::parse(&set.text).unwrap_or_else(|e| panic!("{}: {}", set.slug, e[0]));
        assert_eq!(&again, set);
        for criterion in &set.criteria {
            assert!(!criterion.source.publisher.is_empty() && !criterion.source.title.is_empty(), "{}", set.slug);
            assert_eq!(criterion.in_force, criterion.source.evidence != Evidence::Memory, "{}", set.slug);
        }
        for rates in &set.rates {
            assert!(!rates.source.publisher.is_empty() && !rates.source.title.is_empty(), "{}", set.slug);
            assert_eq!(rates.in_force, rates.source.evidence != Evidence::Memory, "{}", set.slug);
        }
    }
}

#[test]
fn a_row_or_table_without_a_source_is_refused() {
    let good = r#"
slug = "own"
title = "Own"
publisher = "Us"
address = ""
scope = "Our ground"
[[table]]
title = "Potassium"
source = { publisher = "Us", title = "Notebook", evidence = "common_practice" }
methods = ["mehlich3_icp"]
unit = "mg/kg"
classes = [{ name = "low", is = "short" }, { name = "fine", is = "aim" }]
aim_class = "fine"
aim_why = "experience"
[[table.row]]
analyte = "K"
printed = ["0-99", ">99"]
"#;
    assert!(Guideline::parse(good).is_ok());
    for (from, to, expected) in [
        ("source = { publisher = \"Us\", title = \"Notebook\", evidence = \"common_practice\" }", "", "has no source"),
        (
            "title = \"Notebook\", evidence = \"common_practice\"",
            "title = \"\", evidence = \"read\"",
            "lacks its publisher",
        ),
        ("methods = [\"mehlich3_icp\"]", "methods = []", "no method is named"),
        ("mehlich3_icp", "mehlich9", "not a method"),
        ("unit = \"mg/kg\"", "unit = \"lb/acre\"", "needs a soil mass"),
        ("\">99\"", "\">109\"", "does not join"),
        ("\">99\"", "\"100-200\"", "has an upper end"),
        ("\"0-99\"", "\"0-99.5\"", "finer than"),
        ("aim_why = \"experience\"", "", "why this aim"),
        ("printed = [\"0-99\", \">99\"]", "printed = [\"0-99\", \">99\"]\ncritical = 4", "exactly one of"),
        ("analyte = \"K\"", "analyte = \"kryptonite\"", "not an analyte"),
        ("analyte = \"K\"", "analyte = \"K\"\naim = 90", "outside its class"),
    ] {
        let text = good.replace(from, to);
        assert_ne!(text, good);
        let problems = Guideline::parse(&text).expect_err(expected);
        assert!(problems[0].says.contains(expected), "{expected:?} expected, got {}", problems[0]);
        assert!(problems[0].line > 1, "{}", problems[0]);
    }
    let floor = "slug='s'\ntitle='t'\npublisher='p'\naddress=''\nscope='s'\n[[table]]\ntitle='x'\nsource={publisher='p',title='t',evidence='read'}\nmethods=['nh4oac_7']\nunit='mg/kg'\n[[table.row]]\nanalyte='K'\nsaturation='2-5'\naim_why='w'\nfloor={mg_per_kg=100}\n";
    assert!(Guideline::parse(floor).unwrap_err()[0].says.contains("the floor has no source"));
    for odd in ["nan", "-inf", "-4"] {
        assert!(Guideline::parse(&floor.replace("=100", &format!("={odd}"))).is_err(), "{odd}");
    }
}

#[test]
fn a_copy_can_be_edited_and_a_set_included() {
    let copied = set("rutgers_mehlich3").text.replace("slug = \"rutgers_mehlich3\"", "slug = \"our_copy\"");
    let edited = copied.replacen("analyte = \"K\"", "analyte = \"K\"\naim = 200", 1);
    let own = Guideline::parse(&edited).unwrap();
    // 200 lb/acre at ppm × 2.
    let aim = alone(mg_kg(K, Method::Mehlich3Icp, 90.0), &own).aim.unwrap();
    assert!((aim.figure.value - 100.0).abs() < 1e-9);
    let outside = copied.replacen("analyte = \"K\"", "analyte = \"K\"\naim = 20", 1);
    assert!(Guideline::parse(&outside).unwrap_err()[0].says.contains("outside its class"));
    let include = |body: &str| {
        let head =
            "slug = \"mix\"\ntitle = \"Mix\"\npublisher = \"Us\"\naddress = \"\"\nscope = \"Here\"\n[[include]]\n";
        Guideline::parse(&format!("{head}{body}"))
    };
    let mixed =
        include("guideline = \"rutgers_mehlich3\"\nanalytes = [\"Ca\", \"K\"]\nwhen = { carbonate = true }\n").unwrap();
    // Rutgers' calcium is only for soil without lime, so nothing of it is left on soil with.
    assert_eq!(mixed.criteria.iter().map(|c| c.analyte).collect::<Vec<_>>(), [Analyte::Element(K)]);
    assert_eq!(mixed.criteria[0].set, "rutgers_mehlich3");
    assert!(include("guideline = \"nowhere\"\n").is_err());
    assert!(include("guideline = \"dtpa_metals\"\nanalytes = [\"P\"]\n").is_err());
}

#[test]
fn what_is_from_memory_says_so() {
    // The Northern Ireland limits were read in the law, and the target in the manual of 2010.
    let p = alone(mg_l(P, Method::Olsen, 18.0), set("northern_ireland_index"));
    assert!(!p.notes.iter().any(|n| n.contains("from memory")), "{:?}", p.notes);
    let england = alone(mg_l(P, Method::Olsen, 18.0), &set("england_wales_index").with_memory());
    assert!(england.notes.iter().any(|n| n.contains("from memory, unverified")), "{:?}", england.notes);
    let olsen = alone(mg_kg(P, Method::Olsen, 8.0), set("western_olsen"));
    assert!(matches!(&olsen.position, Position::NoCriterion(why) if why.contains("from memory")));
    let on = alone(mg_kg(P, Method::Olsen, 8.0), &set("western_olsen").with_memory());
    assert!(on.position == Position::Short && on.notes.iter().any(|n| n.contains("from memory, unverified")));
}
