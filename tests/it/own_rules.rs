//! Rules of a copy that are no table of classes: shares of the exchange capacity, what is usually
//! found, and what is left alone. They are edited in the form like all others, each fault stands by
//! its field, and no figure of one's own bears a publisher's name.

use super::{
    ground_pages::Garden,
    opinion_pages::{Field, SOUR, words},
    own_copies::{AS_IT_IS, OwnCopy, body, fields},
};
use glebe::agronomy::{
    element::Element,
    guideline::{Guideline, Rule},
};

/// Where a rule of a kind stands.
fn rule(guideline: &Guideline, element: Element, kind: fn(&Rule) -> bool) -> usize {
    let found = guideline.criteria.iter().position(|c| c.analyte.element() == Some(element) && kind(&c.rule));
    found.unwrap_or_else(|| panic!("{element}"))
}

/// What the pages say in place of the signs of their markup.
fn plain(page: &str) -> String {
    words(page).replace("&#39;", "'").replace("&#38;", "&").replace('\u{a0}', " ")
}

/// Each is typed into a form and refused by its own field, which still holds it.
async fn refused(own: &OwnCopy<'_>, at: usize, cases: &[(&str, &str, &str, &str)]) {
    let first = own.form().await;
    for (field, typed, by, says) in cases {
        let name = format!("rules.{at}.{field}");
        let sent = [(name.clone(), (*typed).to_owned()), (format!("rules.{at}.judgement"), "on".into())];
        let page = own.refused(&first, &sent).await;
        let problem = page.split_once(&format!("id=\"rules.{at}.{by}-problem\">")).map(|(_, rest)| rest);
        let problem = problem.unwrap_or_else(|| panic!("{name} {typed}: {page}")).split('<').next().unwrap();
        assert!(problem.contains(says), "{name} {typed}: {problem}");
        assert!(own.kept(&page).contains(&(name.clone(), (*typed).to_owned())), "{name} {typed} is gone: {page}");
    }
    assert_eq!(own.versions().await.len(), 1);
}

#[tokio::test]
async fn shares_of_the_capacity_are_edited_like_other_limits() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "saturation_bear", "Our shares").await;
    let k = own.place(Element::K).await;
    // Bear's single set: potassium 5 %; with calcium 65 % and magnesium 10 % more than 25 % cannot be held.
    refused(
        &own,
        k,
        &[
            ("low", "", "low", "Say which share is the lowest"),
            ("low", "5,1", "aim", "must lie from 5.1 to 100 %"),
            ("low", "101", "low", "100"),
            ("high", "5", "high", "above the lowest share"),
            ("aim", "", "aim", "Say which share is aimed at"),
            ("aim", "4.9", "aim", "must lie from 5 to 100 %"),
            ("aim", "25.5", "aim", "come to 100.5 % of the capacity"),
            ("floor", "0", "floor", "above 0"),
            ("floor", "281", "ceiling", "no lower than the lowest level"),
            ("ceiling", "much", "ceiling", ""),
        ],
    )
    .await;
    let first = own.form().await;
    let field = |name: &str| format!("rules.{k}.{name}");
    let mut typed = vec![(field("high"), "7,5"), (field("aim"), "6"), (field("floor"), "100")];
    // Whoever changes them says on whose word.
    let page = own.refused(&first, &typed).await;
    assert!(page.contains(&format!("id=\"{}-problem\"", field("source"))), "{page}");
    typed.push((field("source"), "Leaf tests 2025"));
    own.send(&first, &typed).await;

    let page = plain(&garden.get(&own.path).await);
    for part in [
        "Shares: 5-7.5 % of the capacity. Aim: 6 %. Chosen here.",
        "Never aims below 100 mg/kg (Changed here by Ada Marsh on 21 Mar 2026, in version 2, after Leaf tests 2025",
        "Never aims above 280 mg/kg (University of Delaware",
        "printed: 5 % of the exchange capacity; aim 5 %, never below 141 mg/kg, never above 280 mg/kg",
        "Published: 10 % of the capacity.",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let changes = &own.versions().await[0].changes;
    assert_eq!(changes.len(), 1, "{changes:?}");
    assert!(
        changes[0].contains(
            "was 5 % of the exchange capacity; aim 5 %, never below 141 mg/kg, never above 280 mg/kg; is 5-7.5 %"
        ) && changes[0].contains("aim 6 %, never below 100 mg/kg, never above 280 mg/kg."),
        "{changes:?}"
    );
    assert!(plain(&garden.get(&format!("{own}/versions")).await).contains("is 5-7.5 %"));
    let old = plain(&garden.get(&format!("{own}/versions/1")).await);
    assert!(old.contains("Never aims below 141 mg/kg") && !old.contains("Chosen here"), "{old}");
    own.save(AS_IT_IS).await;
    assert_eq!(own.versions().await.len(), 2, "saved as it stands it is no new version");

    // An aim that was left as it was printed is still the publisher's, whatever is above it.
    let mg = own.place(Element::Mg).await;
    own.save(&[(format!("rules.{mg}.high"), "15"), (format!("rules.{mg}.judgement"), "on")]).await;
    let held = own.held().await;
    assert!(held.criteria[mg].changed.as_ref().is_some_and(|changed| changed.kept));
    assert!(held.criteria[k].changed.as_ref().is_some_and(|changed| !changed.kept && changed.version == 2));
    // The level below is taken away, and so is the range.
    own.save(&[(field("floor"), ""), (field("high"), ""), (field("judgement"), "on")]).await;
    let held = own.held().await;
    let Rule::Saturation(shares) = &held.criteria[k].rule else { panic!("shares") };
    assert!(shares.floor.is_none() && shares.high.is_none() && shares.printed == "5", "{shares:?}");
    assert!(shares.ceiling.as_ref().is_some_and(|ceiling| !ceiling.own), "{shares:?}");
}

#[tokio::test]
async fn a_share_of_ones_own_is_ones_own_on_every_page() {
    // 400 ÷ 200.39 + 60 ÷ 121.5 + 90 ÷ 391 + 1.0 = 3.72 cmol(+)/kg: 8 % of it are 116 mg/kg of potassium.
    let field = Field::tested(&SOUR, "open", &[]).await;
    field.app.copy_guideline(&field.ada, "saturation_bear", "Our shares").await.unwrap();
    let edit = "/guidelines/own_1/edit";
    let held = field.app.guideline(&field.ada, "own_1", None).await.unwrap().guideline.into_owned();
    let shares = |rule: &Rule| matches!(rule, Rule::Saturation(_));
    let (k, mg) = (rule(&held, Element::K, shares), rule(&held, Element::Mg, shares));
    let save = async |typed: &[(String, &str)]| {
        let (_, page) = field.ask("GET", edit, String::new()).await;
        let (status, page) = field.ask("POST", edit, body(&fields(&page, edit), typed)).await;
        assert_eq!(status, 303, "{page}");
    };
    let of = |at: usize, name: &str| format!("rules.{at}.{name}");
    save(&[(of(k, "aim"), "8"), (of(k, "floor"), "100"), (of(k, "judgement"), "on")]).await;
    let seen = plain(&field.page("/opinions/own_1/K/aim").await);
    for part in [
        "Potassium, own aim 116 mg/kg",
        "8 % × 3.72",
        "Own figures of Ada Marsh, 21 Mar 2026, version 2; changed from what Bear et al.",
        "Changed here by Ada Marsh on 21 Mar 2026, in version 2",
        "chosen by a person",
        "Ceiling of the aim 280 mg/kg",
    ] {
        assert!(seen.contains(part), "{part}: {seen}");
    }
    // Below the floor, the floor holds, and it is said whose floor it is.
    save(&[(of(k, "aim"), "6"), (of(k, "judgement"), "on")]).await;
    let seen = plain(&field.page("/opinions/own_1/K/aim").await);
    assert!(seen.contains("Potassium, own aim 100 mg/kg") && seen.contains("held at the floor, 100 mg/kg"), "{seen}");
    // Of magnesium only the top of the range is one's own: the aim stays Bear's, held at Delaware's 111.
    save(&[(of(mg, "high"), "15"), (of(mg, "judgement"), "on")]).await;
    let seen = plain(&field.page("/opinions/own_1/Mg/aim").await);
    assert!(seen.contains("Magnesium, aim 111 mg/kg") && !seen.contains("own aim"), "{seen}");
    assert!(!seen.contains("Changed here by"), "{seen}");
}

#[tokio::test]
async fn what_is_usually_found_is_edited_and_stays_no_aim() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "umass_modified_morgan", "Our ground").await;
    let (b, al) = (own.place(Element::B).await, own.place(Element::Al).await);
    refused(
        &own,
        b,
        &[
            ("low", "0.5", "high", "above the lowest usual value"),
            ("high", "x", "high", ""),
            ("low", "-1", "low", "0 or more"),
        ],
    )
    .await;
    let first = own.form().await;
    let empty =
        [(format!("rules.{b}.low"), ""), (format!("rules.{b}.high"), ""), (format!("rules.{b}.judgement"), "on")];
    let page = own.refused(&first, &empty).await;
    assert!(page.contains(&format!("id=\"rules.{b}.low-problem\"")) && page.contains("Say from which value"), "{page}");
    let typed = [
        (format!("rules.{b}.low"), "0.2"),
        (format!("rules.{b}.high"), "0.65"),
        (format!("rules.{b}.judgement"), "on"),
        (format!("rules.{al}.high"), "80"),
        (format!("rules.{al}.source"), "Twelve years of our own tests"),
    ];
    own.send(&first, &typed).await;
    let page = plain(&garden.get(&own.path).await);
    for part in [
        "Usually found: 0.20-0.65. No aim is set, so nothing is ever called short by it.",
        "Usually found: 0-80. No aim is set",
        "printed: usually found: 0.1-0.5 ppm, no aim",
        "Usually found: 1.1-6.3. No aim is published",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let changes = &own.versions().await[0].changes;
    assert!(
        changes.len() == 2
            && changes.iter().any(|line| line.contains("was usually found: <75 ppm, no aim; is usually found: 0-80")),
        "{changes:?}"
    );
    let held = own.held().await;
    let Rule::Typical { low, high, .. } = held.criteria[b].rule else { panic!("a usual range") };
    assert_eq!((low, high, held.criteria[b].decimals), (0.2, Some(0.65), 2));
}

#[tokio::test]
async fn why_something_is_left_alone_is_said_in_ones_own_words() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "saturation_bear", "Our shares").await;
    let ca = rule(&own.held().await, Element::Ca, |rule| matches!(rule, Rule::LeftAlone(_)));
    let long = "lime ".repeat(120);
    refused(&own, ca, &[("why", "", "why", "Say why it is left alone"), ("why", long.trim(), "why", "At most 500")])
        .await;
    let first = own.form().await;
    let typed = [(format!("rules.{ca}.why"), "The whole hill is chalk"), (format!("rules.{ca}.judgement"), "on")];
    own.send(&first, &typed).await;
    let page = plain(&garden.get(&own.path).await);
    assert!(page.contains("No aim: The whole hill is chalk."), "{page}");
    assert!(page.contains("printed: left alone, no aim: Calcium is left alone where there is free lime"), "{page}");
    let changes = &own.versions().await[0].changes;
    assert!(
        changes.len() == 1
            && changes[0].contains("was left alone, no aim: Calcium is left alone")
            && changes[0].contains("is left alone, no aim: The whole hill is chalk."),
        "{changes:?}"
    );
    // Taken out, other limits may stand in its place in the same step.
    let second = own.form().await;
    let typed = [
        (format!("rules.{ca}.remove"), "on"),
        ("added.analyte".into(), "Ca"),
        ("added.method".into(), "nh4oac_8_2"),
        ("added.lime".into(), "with"),
        ("added.unit".into(), "mg/kg"),
        ("added.classes.0.name".into(), "poor"),
        ("added.classes.0.up_to".into(), "1500"),
        ("added.classes.0.is".into(), "short"),
        ("added.classes.1.name".into(), "enough"),
        ("added.classes.1.is".into(), "aim"),
        ("added.aim".into(), "1600"),
        ("added.judgement".into(), "on"),
    ];
    own.send(&second, &typed).await;
    let held = own.held().await;
    assert!(!held.criteria.iter().any(|c| matches!(c.rule, Rule::LeftAlone(_))), "{:?}", held.criteria);
}
