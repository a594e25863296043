//! What of an own guideline stands beside its classes: rates for crops, indices, nitrate tests and
//! rules for parts, as a person edits them; and that no figure of one's own bears another's name.

use super::{
    ground_pages::Garden,
    opinion_pages::{Field, words},
    own_copies::{AS_IT_IS, OwnCopy, body, fields},
    plan_pages::five_beds,
};
use glebe::{
    agronomy::{
        crop::Crop,
        element::{Element, Form},
        guideline::{Gives, Guideline},
        need::Reason,
        working::{Origin, Working},
    },
    app::{
        plots::SiteForm,
        reports::{CellForm, ReportForm, SamplingForm},
    },
};
use std::collections::BTreeMap;

/// Where a row stands: the number of its table, and of its line.
fn row_of(guideline: &Guideline, element: Element, printed_for: &str) -> (usize, usize) {
    let found = guideline.rates.iter().enumerate().find_map(|(table, rates)| {
        let line = rates.rows.iter().position(|row| row.printed_for == printed_for)?;
        (rates.element == element).then_some((table, line))
    });
    found.unwrap_or_else(|| panic!("{printed_for}"))
}

fn find<'a>(working: &'a Working, title: &str) -> Option<&'a Working> {
    if working.title.starts_with(title) {
        return Some(working);
    }
    working.inputs.iter().find_map(|input| find(input, title))
}

#[tokio::test]
async fn north_carolinas_equations_speak_for_the_crops_that_a_grower_names() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let (app, ada) = (&garden.app, &garden.ada);
    // A laboratory that reports by volume: P-I 24 ÷ 1.2 = 20, K-I 97.5 ÷ 1.95 = 50.
    let sampling = SamplingForm {
        plots: planned.beds.iter().map(ToString::to_string).collect(),
        sampled_on: "2026-02-20".into(),
        depth_bottom_cm: "20".into(),
        ..SamplingForm::default()
    };
    let cell = |analyte: &str, printed: &str| CellForm {
        analyte: analyte.into(),
        method: "mehlich3_icp".into(),
        printed: printed.into(),
        unit: "mg/L".into(),
        ..CellForm::default()
    };
    let rows = vec![cell("P", "24"), cell("K", "97.5")];
    let report = ReportForm { lab: "Lab South".into(), rows, ..ReportForm::default() };
    app.save_sampling_with_report(ada, &sampling, &report).await.unwrap();
    let own = OwnCopy::of(garden, "north_carolina_index", "Ours, by index").await;
    let site = app.site(ada, planned.site).await.unwrap();
    let follow = SiteForm { guideline: "own_1+memory".into(), ..SiteForm::from(&site) };
    app.edit_site(ada, planned.site, &follow).await.unwrap();
    let crops = planned.beds.iter().map(|bed| (*bed, vec!["tomato".to_owned()])).collect::<BTreeMap<_, _>>();
    app.set_crops(ada, planned.season, &crops).await.unwrap();

    // Nobody has said which equation is for tomatoes: no rate, and why.
    let need = |view: &glebe::app::seasons::PlanView, element| {
        view.plots[0].needs.iter().find(|line| line.need.element == element).map(|line| line.need.clone()).unwrap()
    };
    let before = planned.view(planned.plan().await).await;
    assert_eq!(need(&before, Element::P).reason, Reason::Raise);
    assert!(need(&before, Element::P).notes.iter().any(|note| note.contains("is not known here")));

    // The same crop takes one equation for phosphate and another for potash.
    let held = own.held().await;
    let (p_table, p_line) = row_of(&held, Element::P, "Equation 10");
    let (k_table, k_line) = row_of(&held, Element::K, "Equation 2");
    let named = [
        (format!("rates.{p_table}.rows.{p_line}.crops"), "tomato\nSnap bean"),
        (format!("rates.{p_table}.judgement"), "on"),
        (format!("rates.{k_table}.rows.{k_line}.crops"), "Tomato"),
        (format!("rates.{k_table}.source"), "The department’s table 2.3"),
    ];
    own.save(&named).await;
    let view = planned.view(planned.plan().await).await;
    // 0.0103 × 20² − 2.90 × 20 + 200 = 146.12 lb P2O5/acre; 0.0202 × 50² − 6.37 × 50 + 500 = 232 lb K2O/acre.
    for (element, form, lb) in [(Element::P, Form::P2O5, 146.12), (Element::K, Form::K2O, 232.0)] {
        let need = need(&view, element);
        assert_eq!(need.reason, Reason::CropRate, "{need:#?}");
        assert!((need.kg_per_ha.lb_per_acre() / form.to_element() - lb).abs() < 1e-6, "{need:#?}");
        let working = need.working.unwrap();
        assert!(working.is_grounded());
        // The figures are the department's; who named the crops is said.
        let rate = find(&working, "Rate for").unwrap();
        assert_eq!(rate.origin, Origin::Published);
        assert!(rate.source.as_ref().unwrap().publisher.starts_with("North Carolina"), "{rate:#?}");
        assert!(
            rate.notes.iter().any(|note| note.contains("named here: Ada Marsh, 21 Mar 2026, version 2")),
            "{rate:#?}"
        );
    }
    let page = words(&garden.get(&own.path).await);
    for part in [
        "2 rules changed or added here",
        "Changed here by Ada Marsh on 21 Mar 2026, in version 2",
        "tomato, snap bean (French bean)",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let versions = garden.get(&format!("{own}/versions")).await;
    for part in ["Rates of phosphorus, Table 2.4", "for no crop yet; is Equation 10", "for tomato, snap bean"] {
        assert!(versions.contains(part), "{part}: {versions}");
    }
    // Saved as it now stands, nothing changes.
    own.save(AS_IT_IS).await;
    assert_eq!(own.versions().await.len(), 2);
}

#[tokio::test]
async fn rates_are_changed_added_and_taken_out_and_each_fault_stands_by_its_field() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "england_wales_index", "Our ground").await;
    let first = own.form().await;
    let held = own.held().await;
    let (table, rates) = held
        .rates
        .iter()
        .enumerate()
        .find(|(_, rates)| rates.element == Element::P && rates.rows.len() > 2)
        .expect("a table of phosphate");
    let field = |name: &str| format!("rates.{table}.{name}");
    let new = rates.rows.len();
    let taken = rates.rows.iter().find_map(|row| row.crops.first()).unwrap().name;
    let other = (0..new).find(|row| !rates.rows[*row].crops.iter().any(|crop| crop.name == taken)).unwrap();
    for (name, typed, says) in [
        ("rows.0.rate.0", "-5", "must be 0 or more"),
        ("rows.0.rate.0", "much", ""),
        ("rows.0.rate.1", "", "Type the rate for this class"),
        ("rows.0.printed_for", "", "Say what the row is for"),
        ("rows.0.crops", "moonflower", "“moonflower” is not a crop known here"),
        ("rows.0.crops", "Tomat", "Perhaps Tomato?"),
        (&*format!("rows.{other}.crops"), taken, "has a rate already"),
        ("columns.0.is", "7", "No column is for the class"),
        ("unit", "stone per rood", ""),
        ("give_or_take", "-1", "must be 0 or more"),
        (&*format!("rows.{new}.printed_for"), "Herbs", "Type the rate for this class"),
    ] {
        let name = field(name);
        let page = own.refused(&first, &[(name.as_str(), typed), (&field("judgement"), "on")]).await;
        let problem = page.split("-problem\">").skip(1).map(|rest| rest.split('<').next().unwrap()).collect::<Vec<_>>();
        assert!(
            problem.iter().any(|problem| problem.replace("&#39;", "'").contains(says)),
            "{name} {typed}: {problem:?}"
        );
        let by = if typed == "7" { "columns" } else { name.rsplit_once('.').unwrap().0 };
        assert!(page.contains("-problem\"") && page.contains(by), "{name}");
        let kept: Vec<_> = own.kept(&page).into_iter().filter(|(held, _)| *held == name).collect();
        // A unit that is not offered cannot be chosen again.
        assert!(kept[0].1 == typed || name.ends_with("unit"), "{name}: {kept:?}");
    }
    // Whoever changes rates says on whose word.
    let page = own.refused(&first, &[(&field("rows.0.rate.0"), "111")]).await;
    assert!(page.contains(&format!("id=\"{}-problem\"", field("source"))), "{page}");
    assert_eq!(own.versions().await.len(), 1);

    // One figure changed, a row taken out, another added.
    let columns = match &rates.rows[0].gives {
        Gives::Table(table) => table.printed.len(),
        Gives::Equation(_) => panic!("a table"),
    };
    let mut typed = vec![
        (field("rows.0.rate.0"), "111".to_owned()),
        (field(&format!("rows.{other}.remove")), "on".into()),
        (field(&format!("rows.{new}.printed_for")), "Rhubarb".into()),
        (field(&format!("rows.{new}.crops")), "rhubarb".into()),
        (field("source"), "Trials at the brook".into()),
    ];
    typed.extend((0..columns).map(|column| (field(&format!("rows.{new}.rate.{column}")), "90".to_owned())));
    own.send(&first, &typed).await;
    let now = own.held().await;
    let rows = &now.rates[table].rows;
    assert_eq!(rows.len(), rates.rows.len());
    let first_row = rows.iter().find(|row| row.printed_for == rates.rows[0].printed_for).unwrap();
    let Gives::Table(figures) = &first_row.gives else { panic!("a table") };
    assert_eq!(figures.printed[0], 111.0);
    let changed = first_row.changed.as_ref().unwrap();
    assert!(
        !changed.kept && changed.version == 2 && changed.printed.contains(&rates.rows[0].printed_for),
        "{changed:?}"
    );
    assert!(first_row.source.as_ref().unwrap().publisher.contains("after Trials at the brook"));
    let added = rows.iter().find(|row| row.printed_for == "Rhubarb").unwrap();
    assert_eq!(added.crops, [Crop::find("rhubarb").unwrap()]);
    assert!(added.changed.as_ref().unwrap().source.is_none());
    // What was not touched is still the publisher's.
    assert!(rows.iter().filter(|row| row.changed.is_none()).count() == rates.rows.len() - 2);
    let latest = &own.versions().await[0].changes;
    assert_eq!(latest.len(), 3, "{latest:?}");
    for part in [": was ", ": taken out: ", ": added: Rhubarb: "] {
        assert!(latest.iter().any(|line| line.contains(part)), "{part}: {latest:?}");
    }
    let page = garden.get(&own.path).await;
    assert!(page.contains("Added here by Ada Marsh") && page.contains("<strong>Ours.</strong>"), "{page}");
    // A class that is renamed wants a column of its name.
    let second = own.form().await;
    let p = own.place(Element::P).await;
    let renamed = [(format!("rules.{p}.classes.0.name"), "poor"), (format!("rules.{p}.judgement"), "on")];
    let page = own.refused(&second, &renamed).await;
    assert!(page.contains("No column is for the class “poor” of Phosphorus."), "{page}");
    // The whole table is taken out.
    own.send(&second, &[(&field("remove"), "on")]).await;
    assert_eq!(own.held().await.rates.len(), held.rates.len() - 1);
}

#[tokio::test]
async fn equations_and_indices_are_edited_with_their_scales() {
    let garden = Garden::new().await;
    let own = OwnCopy::of(&garden, "north_carolina_index", "Ours").await;
    let first = own.form().await;
    let held = own.held().await;
    let (table, line) = row_of(&held, Element::K, "Equation 18");
    let row = |name: &str| format!("rates.{table}.rows.{line}.{name}");
    let rule = |at: usize, name: &str| format!("rules.{at}.{name}");
    let (p, mn) = (own.place(Element::P).await, own.place(Element::Mn).await);
    for (name, typed, says) in [
        (row("linear"), "0", "This must be above 0"),
        (row("constant"), "", "Type the rate at an index of 0"),
        (row("constant"), "0", "must be above 0"),
        (row("square"), "-0.1", "must be 0 or more"),
        (rule(p, "per_point"), "0", "worth something"),
        (rule(p, "per_point"), "", "Say what a point"),
        (rule(p, "classes.1.up_to"), "9", "above the limit of the class below"),
        (rule(mn, "per_unit"), "0", "must rise with the level"),
        (rule(mn, "critical"), "", "below which index"),
    ] {
        let page = own.refused(&first, &[(&name, typed)]).await;
        assert!(page.contains(&format!("id=\"{name}-problem\"")) && page.contains(says), "{name} {typed}: {page}");
    }
    let typed = [
        (row("constant"), "130"),
        (format!("rates.{table}.judgement"), "on"),
        (rule(p, "per_point"), "1.25"),
        (rule(p, "judgement"), "on"),
        (rule(mn, "critical"), "30"),
        (rule(mn, "judgement"), "on"),
    ];
    own.save(&typed).await;
    let now = own.held().await;
    let Gives::Equation(equation) = &now.rates[table].rows[line].gives else { panic!("an equation") };
    assert_eq!((equation.constant, equation.linear, equation.number.as_str()), (130.0, -3.0, "18"));
    let scale = now.criteria[p].index.as_ref().unwrap();
    assert_eq!(scale.per_point, 1.25);
    assert!(scale.source.publisher.starts_with("Changed here by Ada Marsh"), "{}", scale.source);
    // What is one's own is no longer from memory, and speaks.
    assert!(now.criteria[p].in_force && !held.criteria[p].in_force);
    let changes = &own.versions().await[0].changes;
    for part in ["points of 1.25 mg/L", "short below 30 of an index", "+ 130 lb/acre K2O"] {
        assert!(changes.iter().any(|line| line.contains(part)), "{part}: {changes:?}");
    }
}

#[tokio::test]
async fn nitrate_tests_and_parts_of_lime_are_copied_changed_and_left_out() {
    // Sour by the Sikora buffer: EM 9585 asks for some 82 kg of pure lime on 100 m², 8.2 t/ha; nitrate in the top foot.
    let lines = [
        ("ph", "ph_water", "5.2", "pH"),
        ("buffer_ph", "buffer_sikora", "6.2", "pH"),
        ("nitrate_n", "kcl_extract", "19", "mg/kg"),
    ];
    let field = Field::tested(&lines, "open", &[("depth_bottom_cm", "30")]).await;
    let (app, ada) = (&field.app, &field.ada);
    let seen = field.words("/nitrogen").await;
    assert!(seen.contains("University of California , for vegetables: medium."), "{seen}");
    let lime = field.words("/lime?target_ph=6.4&value_percent=100").await;
    assert!(lime.contains("Penn State Agricultural Analytical Services Laboratory : 2 parts of"), "{lime}");

    // A copy of each, changed: it speaks before the publisher's, under its own name.
    for (set, name) in [("uc_nitrate", "Our nitrate"), ("penn_state_parts", "Our parts")] {
        app.copy_guideline(ada, set, name).await.unwrap();
    }
    let again = field.words("/nitrogen").await;
    assert_eq!(again.matches("University of California").count(), seen.matches("University of California").count());
    let (status, page) = field.ask("GET", "/guidelines/own_1/edit", String::new()).await;
    assert_eq!(status, 200, "{page}");
    let edit = "/guidelines/own_1/edit";
    let first = fields(&page, edit);
    for (name, typed, says) in [
        ("nitrate.0.bands.1.up_to", "5", "above the limit of the band below"),
        ("nitrate.0.bands.1.up_to", "", "only the highest has no end"),
        ("nitrate.0.bands.3.up_to", "90", "The highest band has no end"),
        ("nitrate.0.in_foot", "0", "above 0, or empty"),
    ] {
        let (status, page) = field.ask("POST", edit, body(&first, &[(name, typed)])).await;
        assert_eq!(status, 422);
        assert!(page.contains(&format!("id=\"{name}-problem\"")) && page.contains(says), "{name} {typed}: {page}");
    }
    let typed = [("nitrate.0.bands.1.up_to", "17.9"), ("nitrate.0.judgement", "on")];
    let (status, page) = field.ask("POST", edit, body(&first, &typed)).await;
    assert_eq!(status, 303, "{page}");
    let seen = field.words("/nitrogen").await;
    assert!(seen.contains("for vegetables: high. Own figures of Ada Marsh, 21 Mar 2026, version 2"), "{seen}");
    assert!(seen.contains("for vegetables: medium."), "the publisher’s own stands beside it: {seen}");

    // Parts: at most 5 lb at once in two, more in four.
    let edit = "/guidelines/own_2/edit";
    let (_, page) = field.ask("GET", edit, String::new()).await;
    let first = fields(&page, edit);
    let (status, page) = field.ask("POST", edit, body(&first, &[("splits.0.bands.1.parts", "1")])).await;
    assert!(status == 422 && page.contains("id=\"splits.0.bands.1.parts-problem\""), "{page}");
    let typed = [("splits.0.bands.1.parts", "4"), ("splits.0.bands.2.parts", "5"), ("splits.0.source", "Our wet clay")];
    let (status, page) = field.ask("POST", edit, body(&first, &typed)).await;
    assert_eq!(status, 303, "{page}");
    let lime = field.words("/lime?target_ph=6.4&value_percent=100").await;
    assert!(lime.contains(": 4 parts of") && lime.contains(": 2 parts of"), "{lime}");

    // A site leaves out what is not for its ground; the copy that was switched off is silent too.
    let site = app.plot(ada, field.plot).await.unwrap().site;
    let form = SiteForm::from(&app.site(ada, site).await.unwrap());
    let off = ["uc_nitrate", "penn_state_parts", "own_2"].map(str::to_owned).to_vec();
    app.edit_site(ada, site, &SiteForm { sets_off: off, ..form }).await.unwrap();
    let (_, page) = field.ask("GET", &format!("/sites/{site}/edit"), String::new()).await;
    assert!(page.contains("name=\"sets_off\" value=\"own_2\" checked"), "{page}");
    let seen = field.words("/nitrogen").await;
    assert!(seen.contains("for vegetables: high. Own figures") && !seen.contains("for vegetables: medium."), "{seen}");
    let lime = field.words("/lime?target_ph=6.4&value_percent=100").await;
    assert!(!lime.contains("Penn State Agricultural") && lime.contains("Teagasc"), "{lime}");
    let (_, page) = field.ask("GET", "/guidelines/own_1/edit", String::new()).await;
    let mut read = fields(&page, "/guidelines/own_1/edit");
    read.retain(|(name, _)| name != "nitrate.0.in_use");
    let (status, _) = field.ask("POST", "/guidelines/own_1/edit", body(&read, AS_IT_IS)).await;
    assert_eq!(status, 303);
    assert!(!field.words("/nitrogen").await.contains("Own figures"));
    let (_, page) = field.ask("GET", "/guidelines/own_1", String::new()).await;
    assert!(words(&page).contains("Switched off here."), "{page}");
    let latest = &app.guideline_versions(ada, "own_1").await.unwrap()[0].changes;
    assert_eq!(latest, &["The nitrate test of University of California: switched off."]);
    // Sets without limits are not offered to be followed, nor counted among the opinions.
    let (_, page) = field.ask("GET", "/sites/new", String::new()).await;
    assert!(!page.contains("name=\"guideline\" value=\"uc_nitrate\"") && !page.contains("value=\"own_1\" checked"));
    assert!(!field.page("/opinions").await.contains("/guidelines/uc_nitrate"));
}

#[tokio::test]
async fn an_aim_of_ones_own_never_bears_the_publishers_name() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let (app, ada) = (&garden.app, &garden.ada);
    let own = OwnCopy::of(garden, "rutgers_mehlich3", "Our ground").await;
    let site = app.site(ada, planned.site).await.unwrap();
    let follow = SiteForm { guideline: "own_1".into(), ..SiteForm::from(&site) };
    app.edit_site(ada, planned.site, &follow).await.unwrap();
    let (k, p) = (own.place(Element::K).await, own.place(Element::P).await);
    let read = own.form().await;
    let held = |name: &str| read.iter().find(|(other, _)| other == name).map(|(_, value)| value.clone()).unwrap();
    // Of potassium the aim is changed; of phosphorus a limit far above it.
    let aim = held(&format!("rules.{k}.aim")).parse::<f64>().unwrap() + 7.0;
    let top = held(&format!("rules.{p}.classes.3.up_to")).parse::<f64>().unwrap() + 40.0;
    let typed = [
        (format!("rules.{k}.aim"), aim.to_string()),
        (format!("rules.{k}.judgement"), "on".into()),
        (format!("rules.{p}.classes.3.up_to"), top.to_string()),
        (format!("rules.{p}.judgement"), "on".into()),
    ];
    own.save(&typed).await;
    let (_, _, standing) = app.plot_standing(ada, planned.beds[0]).await.unwrap();
    let leaf = |element: Element| {
        let nutrient = standing.present.standing.get(glebe::agronomy::analyte::Analyte::Element(element)).unwrap();
        let mut leaves = Vec::new();
        nutrient.aim.as_ref().unwrap().working.visit(&mut |node| {
            if node.inputs.is_empty() && node.title.contains("aim") {
                leaves.push(node.clone());
            }
        });
        leaves.remove(0)
    };
    let potassium = leaf(Element::K);
    assert_eq!((potassium.origin.clone(), potassium.title.as_str()), (Origin::Chosen, "Potassium, own aim"));
    let told = potassium.notes.join(" ");
    for part in [
        "Own figures of Ada Marsh, 21 Mar 2026, version 2; changed from what Rutgers",
        "printed: Very low 0-40",
        "aim 146",
    ] {
        assert!(told.contains(part), "{part}: {told}");
    }
    assert!(potassium.source.as_ref().unwrap().publisher.starts_with("Changed here by Ada Marsh"));
    let phosphorus = leaf(Element::P);
    assert_eq!((phosphorus.origin.clone(), phosphorus.title.as_str()), (Origin::Published, "Phosphorus, aim"));
    assert!(phosphorus.source.as_ref().unwrap().publisher.starts_with("Rutgers"), "{phosphorus:#?}");
    // The working says so on every page that opens it.
    let page = words(&garden.get(&format!("/plots/{}/opinions/own_1/K/aim", planned.beds[0])).await);
    assert!(page.contains("Potassium, own aim") && page.contains("chosen by a person"), "{page}");
}
