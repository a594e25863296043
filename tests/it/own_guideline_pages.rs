//! Own guidelines as a person makes them: copied, edited in a form, archived; followed by sites
//! and plans; and never in anybody's way twice.

use super::{
    ground_pages::Garden,
    own_copies::{AS_IT_IS, OwnCopy},
    plan_pages::five_beds,
    store::site_form,
};
use axum::http::{Method, StatusCode};
use glebe::{
    agronomy::element::Element,
    app::{Error, own_guidelines::OwnForm, plots::SiteForm},
};

#[tokio::test]
async fn a_copy_is_edited_in_its_form_and_every_version_stays() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "delaware_mehlich3", "Our ground").await;
    let first = own.form().await;
    // Saved as it is, it is no new version.
    own.send(&first, AS_IT_IS).await;
    assert!(garden.get(&own.path).await.contains("Nothing in it was changed"));
    assert_eq!(own.versions().await.len(), 1);

    let at = own.place(Element::K).await;
    let (limit, aim) = (format!("rules.{at}.classes.1.up_to"), format!("rules.{at}.aim"));
    let source = format!("rules.{at}.source");
    // Whoever changes limits says on whose word.
    let changes = [(limit.as_str(), "119,5"), (aim.as_str(), "130")];
    let page = own.refused(&first, &changes).await;
    assert!(
        page.contains(&format!("id=\"{source}-problem\"")) && page.contains("tick that they are your own judgement")
    );
    assert!(
        page.contains(&format!("name=\"{limit}\" inputmode=\"decimal\" autocomplete=\"off\" value=\"119,5\"")),
        "{page}"
    );
    let with_source =
        [changes[0], changes[1], (source.as_str(), "Trials on the east field"), ("notes", "First\n\nSecond")];
    own.send(&first, &with_source).await;
    let page = garden.get(&own.path).await;
    for part in [
        "Version 2",
        "Changed here by Ada Marsh",
        "University of Delaware",
        "printed: Low 0-70",
        "70.1-119.5",
        "119.6-280.0",
        "after Trials on the east field",
        "First",
        "Second",
    ] {
        assert!(page.contains(part) || part == "70.1-119.5", "{part}: {page}");
    }
    let old = garden.get(&format!("{own}/versions/1")).await;
    assert!(old.contains("An older version.") && old.contains("71-140") && !old.contains("Changed here"), "{old}");
    let versions = garden.get(&format!("{own}/versions")).await;
    for part in [
        "Version 1",
        "Version 2",
        "Copied: Own guideline, copied from",
        "Potassium by Mehlich-3",
        "aim 130",
        "Note added: First",
    ] {
        assert!(versions.contains(part), "{part}: {versions}");
    }
    let history = garden.get("/history").await;
    assert!(
        history.contains("href=\"/guidelines/own_1\">The guideline Our ground was edited: version 2."),
        "{history}"
    );
    assert_eq!(garden.ask(Method::GET, &format!("{own}/versions/9"), "").await.status, StatusCode::NOT_FOUND);

    // A rule is taken out and another added.
    let second = own.form().await;
    let (gone, judged) = (format!("rules.{at}.remove"), ("added.judgement", "on"));
    let added = [
        (gone.as_str(), "on"),
        ("added.analyte", "P"),
        ("added.method", "olsen"),
        ("added.unit", "mg/kg"),
        ("added.lime", "with"),
        ("added.classes.0.name", "poor"),
        ("added.classes.0.up_to", "15"),
        ("added.classes.0.is", "short"),
        ("added.classes.1.name", "good"),
        ("added.classes.1.is", "aim"),
        ("added.aim", "20"),
        judged,
    ];
    own.send(&second, &added).await;
    let page = garden.get(&own.path).await;
    assert!(page.contains("Added here by Ada Marsh") && page.contains("By Olsen (bicarbonate)."), "{page}");
    let latest = &own.versions().await[0];
    assert_eq!((latest.row.version, latest.changes.len()), (3, 2), "{:?}", latest.changes);
    // The same once more is refused: one rule answers for a test.
    let third = own.form().await;
    let page = own.refused(&third, &added[1..]).await;
    assert!(page.contains("id=\"added.method-problem\"") && page.contains("There are limits for Phosphorus"), "{page}");
}

#[tokio::test]
async fn what_is_wrong_stands_by_its_field_and_what_was_typed_is_kept() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "delaware_mehlich3", "Our ground").await;
    let first = own.form().await;
    let at = own.place(Element::K).await;
    let field = |name: &str| format!("rules.{at}.{name}");
    for (name, typed, says) in [
        ("classes.1.up_to", "60", "above the limit of the class below"),
        ("classes.1.up_to", "1.2.3", ""),
        ("classes.1.up_to", "", "Say up to which value"),
        ("classes.1.name", "", "Give the class a name"),
        ("aim", "500", "The aim must lie from 141 to 280"),
        ("aim", "", "Say which value is aimed at"),
        ("unit", "pH", "are not given in pH"),
        ("classes.3.is", "short", "cannot count as less"),
    ] {
        let name = field(name);
        let page = own.refused(&first, &[(name.as_str(), typed), ("scope", "East <field>")]).await;
        assert!(page.contains(&format!("id=\"{name}-problem\"")) && page.contains(says), "{name} {typed}: {page}");
        assert!(page.contains("East &#60;field&#62;"), "what was typed is gone");
        let held: Vec<_> = own.kept(&page).into_iter().filter(|(other, _)| *other == name).collect();
        // A unit that is not offered cannot be chosen again.
        assert!(held[0].1 == typed || typed == "pH", "{name}: {held:?}");
    }
    for (name, typed) in [("name", ""), ("scope", " "), ("name", "Delaware, Mehlich-3")] {
        let title = glebe::agronomy::guideline::find("delaware_mehlich3").unwrap().title.clone();
        let typed = if typed.starts_with("Delaware") { title.as_str() } else { typed };
        let page = own.refused(&first, &[(name, typed)]).await;
        assert!(page.contains(&format!("id=\"{name}-problem\"")), "{name} {typed}: {page}");
    }
    let every: Vec<_> = (0..40).map(|at| format!("rules.{at}.remove")).collect();
    let every: Vec<_> = every.iter().map(|name| (name.as_str(), "on")).collect();
    assert!(own.refused(&first, &every).await.contains("it has no criteria"));
    assert_eq!(own.versions().await.len(), 1);
    // The same name twice.
    let page = garden.refused("/guidelines/rutgers_mehlich3/copy", "name=Our+ground").await;
    assert!(page.contains("There is a guideline “Our ground” already."), "{page}");
}

#[tokio::test]
async fn the_second_of_two_who_edit_is_told_and_loses_nothing() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "delaware_mehlich3", "Our ground").await;
    let read = own.form().await;
    own.send(&read, &[("scope", "The east field")]).await;
    let at = own.place(Element::K).await;
    let aim = format!("rules.{at}.aim");
    let page = own.refused(&read, &[(aim.as_str(), "150"), ("name", "Mine")]).await;
    assert!(page.contains("What was saved in the meantime.") && page.contains("and is “The east field”"), "{page}");
    assert!(page.contains("value=\"Mine\"") && page.contains("value=\"150\""), "{page}");
    let newest = garden.app.guideline(&garden.ada, "own_1", None).await.unwrap();
    assert_eq!((newest.newest, newest.guideline.title.as_str()), (2, "Our ground"));
    let row = newest.own.unwrap();
    let old = OwnForm { version: 1, ..OwnForm::of(&row, &newest.guideline) };
    assert!(matches!(garden.app.edit_guideline(&garden.ada, "own_1", &old).await, Err(Error::Conflict(_))));
}

#[tokio::test]
async fn every_set_is_copied_and_saved_without_losing_a_rule() {
    let garden = Garden::new().await;
    for set in glebe::agronomy::guideline::builtin() {
        let own = OwnCopy::of(&garden, &set.slug, &format!("Ours: {}", set.slug)).await;
        assert_eq!(own.form_page().await.matches("cannot be edited").count(), 0, "{}", set.slug);
        own.save(&[("scope", "Elsewhere")]).await;
        let (now, versions) = (own.held().await, own.versions().await.len());
        assert_eq!((versions, now.scope.as_str()), (2, "Elsewhere"), "{}", set.slug);
        assert!(now.criteria == set.criteria, "{}: a rule was lost or changed", set.slug);
        assert!(now.rates == set.rates, "{}: a rate was lost or changed", set.slug);
        let beside = (&now.nitrate, &now.splits);
        assert!(beside == (&set.nitrate, &set.splits), "{}: a test or a rule for parts was lost", set.slug);
    }
}

#[tokio::test]
async fn an_archived_guideline_is_no_longer_offered_and_goes_on_where_it_is_followed() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "rutgers_mehlich3", "Our ground").await;
    let (app, ada) = (&garden.app, &garden.ada);
    let offers = |page: &str| page.contains("name=\"guideline\" value=\"own_1\"");
    assert!(offers(&garden.get("/sites/new").await));
    let form = SiteForm { guideline: "own_1".into(), scale_step_g: "1".into(), ..site_form("Home") };
    let site = app.add_site(ada, &form).await.unwrap();
    garden.send(&format!("{own}/archive"), "archived=1").await;
    assert!(!offers(&garden.get("/sites/new").await));
    assert!(garden.get("/guidelines").await.contains("Archived"));
    assert!(garden.get(&format!("/sites/{site}")).await.contains("Our ground"));
    let page = garden.get(&format!("/sites/{site}/edit")).await;
    assert!(offers(&page) && page.contains("Our ground (archived)"), "the site keeps what it follows");
    garden.send(&format!("{own}/archive"), "archived=0").await;
    assert!(offers(&garden.get("/sites/new").await));
    let lines: Vec<String> =
        app.latest_changes(ada, None, 9).await.unwrap().into_iter().map(|line| line.summary).collect();
    for said in ["Our ground was archived.", "Our ground is offered again."] {
        assert!(lines.iter().any(|line| line.ends_with(said)), "{lines:?}");
    }
    let unknown = SiteForm { guideline: "own_9".into(), ..form };
    let Err(Error::Invalid(problems)) = app.add_site(ada, &unknown).await else { panic!("taken") };
    assert!(problems.of("guideline").is_some());
}

#[tokio::test]
async fn an_agreed_plan_keeps_the_version_that_it_was_worked_out_under() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let (app, ada) = (&garden.app, &garden.ada);
    let own = OwnCopy::of(garden, "rutgers_mehlich3", "Our ground").await;
    let site = app.site(ada, planned.site).await.unwrap();
    let follow = SiteForm { guideline: "own_1".into(), ..SiteForm::from(&site) };
    app.edit_site(ada, planned.site, &follow).await.unwrap();
    let (agreed, draft) = (planned.plan().await, planned.plan().await);
    let before = planned.view(agreed).await;
    assert_eq!((before.plan.guideline_version, before.guideline_title.as_str()), (1, "Our ground, version 1"));
    garden.send(&format!("/plans/{agreed}/agree"), "").await;
    let page_before = garden.get(&format!("/plans/{agreed}")).await;
    let numbers = |view: &glebe::app::seasons::PlanView| -> Vec<(f64, f64, f64)> {
        let lines = view.plots.iter().flat_map(|plot| &plot.needs);
        lines.map(|line| (line.need.kg_per_ha.0, line.need_g, line.short_g)).collect()
    };
    let standing = |view: &glebe::app::seasons::PlanView| format!("{:?}", view.plots[0].standing.present.standing);
    let (before, before_standing) = (numbers(&planned.view(agreed).await), standing(&planned.view(agreed).await));

    // Potassium is aimed at far higher from now on.
    let at = own.place(Element::K).await;
    let read = own.form().await;
    let held =
        |name: &str| read.iter().find(|(n, _)| *n == format!("rules.{at}.{name}")).map(|(_, v)| v.clone()).unwrap();
    let aim: f64 = held("aim").parse().unwrap();
    let best = (0..9).find(|line| held(&format!("classes.{line}.is")) == "aim").unwrap();
    let up_to = format!("rules.{at}.classes.{}.up_to", best - 1);
    let (higher, aim) = (format!("{}", aim + 10.0), format!("{}", aim + 11.0));
    let (aim_field, judgement) = (format!("rules.{at}.aim"), format!("rules.{at}.judgement"));
    let typed = [(up_to.as_str(), higher.as_str()), (aim_field.as_str(), aim.as_str()), (judgement.as_str(), "on")];
    own.send(&read, &typed).await;

    let view = planned.view(agreed).await;
    assert_eq!((view.guideline_title.as_str(), view.worked_out_under()), ("Our ground, version 1", None));
    assert_eq!((numbers(&view), standing(&view)), (before.clone(), before_standing.clone()));
    assert_eq!(garden.get(&format!("/plans/{agreed}")).await, page_before);
    assert!(
        page_before.contains("following Our ground, version 1.")
            && page_before.contains("/guidelines/own_1/versions/1\"")
    );

    let view = planned.view(draft).await;
    assert!(view.stale && view.worked_out_under() == Some(1) && numbers(&view) != before);
    let page = garden.get(&format!("/plans/{draft}")).await;
    assert!(page.contains("worked out under version 1, and is now read by Our ground, version 2."), "{page}");
    garden.send(&format!("/plans/{draft}/solve"), "").await;
    let view = planned.view(draft).await;
    assert_eq!((view.plan.guideline_version, view.worked_out_under(), view.stale), (2, None, false));

    garden.send(&format!("{own}/archive"), "archived=1").await;
    let view = planned.view(agreed).await;
    assert_eq!((numbers(&view), standing(&view)), (before, before_standing));
    assert_eq!(garden.get(&format!("/plans/{agreed}")).await, page_before);
}

#[tokio::test]
async fn own_guidelines_stand_beside_the_published_ones_in_the_second_opinion() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let own = OwnCopy::of(garden, "rutgers_mehlich3", "Our ground").await;
    let path = format!("/plots/{}/opinions", planned.beds[0]);
    let page = garden.get(&path).await;
    assert!(
        page.contains("Our ground") && page.contains("which is shown."),
        "an unchanged row is not counted twice: {page}"
    );
    let at = own.place(Element::K).await;
    let read = own.form().await;
    let (aim, judgement) = (format!("rules.{at}.aim"), format!("rules.{at}.judgement"));
    let held: f64 = read.iter().find(|(name, _)| *name == aim).unwrap().1.parse().unwrap();
    own.send(&read, &[(aim, format!("{}", held + 1.0)), (judgement, "on".into())]).await;
    assert!(garden.get(&path).await.contains(&format!("{path}/own_1/K/")), "it speaks for itself now");
    let working = garden.get(&format!("{path}/own_1/K/aim")).await;
    for part in ["Changed here by Ada Marsh on 21 Mar 2026", "Rutgers", "printed:", "own judgement"] {
        assert!(working.contains(part), "{part}: {working}");
    }
}
