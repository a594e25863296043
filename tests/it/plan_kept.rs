//! What a plan was agreed on stays with it, whatever a site, its guidelines and its products say later.

use super::{
    own_copies::OwnCopy,
    plan_pages::{amendment, five_beds, table},
};
use glebe::app::seasons::DoseForm;
use sqlx::{Connection, SqliteConnection};

#[tokio::test]
async fn an_agreed_plan_keeps_the_rules_for_parts_that_it_was_agreed_with() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let own = OwnCopy::of(garden, "penn_state_parts", "Our parts").await;
    // Of Epsom salt no more than a pound on 100 ft² at once, else two parts.
    let typed = [("splits.1.bands.0.up_to", "1"), ("splits.1.source", "Our wet clay")];
    own.save(&typed).await;
    let epsom = amendment(garden, "Epsom salt").await;
    let (agreed, draft) = (planned.plan().await, planned.plan().await);
    for plan in [agreed, draft] {
        // 1 kg on 10 m² is 100 g/m², 2 lb on 100 ft².
        let typed = table(&planned.view(plan).await, &[(DoseForm::grams_field(planned.beds[0], epsom), "1000")]);
        garden.send(&format!("/plans/{plan}/doses"), &typed).await;
    }
    let sheet = async |plan| garden.get(&format!("/plans/{plan}/sheet")).await;
    let parts = |page: &str, times: usize| page.contains(&format!("give it in {times} parts, 4 months apart"));
    garden.send(&format!("/plans/{agreed}/agree"), "").await;
    let (before, page_before) = (sheet(agreed).await, garden.get(&format!("/plans/{agreed}")).await);
    assert!(parts(&before, 2) && parts(&sheet(draft).await, 2), "{before}");

    // From now on three parts, half a year between.
    own.save(&[("splits.1.bands.1.parts", "3"), ("splits.1.source", "A wetter year")]).await;
    assert!(parts(&sheet(draft).await, 3), "a draft follows the record");
    assert_eq!(sheet(agreed).await, before);
    assert_eq!(garden.get(&format!("/plans/{agreed}")).await, page_before);
    // Nor does it change when the site leaves such rules out altogether, or the copy is archived.
    garden.send(&format!("{own}/archive"), "archived=1").await;
    assert!(!parts(&sheet(draft).await, 3));
    assert_eq!(sheet(agreed).await, before);
    // Closed, it is still what was agreed; a draft again, it follows the record.
    let other = planned.plan().await;
    assert!(planned.view(other).await.outcome.splits.is_none());
    garden.send(&format!("/plans/{agreed}/reopen"), "").await;
    assert!(!parts(&sheet(agreed).await, 2));
}

/// Plans of before are in records still, and what rules they were agreed with nobody can tell.
#[tokio::test]
async fn a_plan_agreed_before_rules_for_parts_were_kept_says_that_it_goes_by_those_of_today() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let (epsom, potash) = (amendment(garden, "Epsom salt").await, amendment(garden, "Sulfate of potash").await);
    let (of_epsom, of_potash) = (planned.plan().await, planned.plan().await);
    for (plan, product) in [(of_epsom, epsom), (of_potash, potash)] {
        let view = planned.view(plan).await;
        // Nothing but this product, or the other plan would give Epsom salt too.
        let given = view.plots.iter().flat_map(|plot| &plot.doses);
        let mut doses: Vec<(String, &str)> =
            given.map(|dose| (DoseForm::grams_field(dose.plot, dose.amendment), "0")).collect();
        let field = DoseForm::grams_field(planned.beds[0], product);
        doses.retain(|(other, _)| *other != field);
        doses.push((field, "100"));
        garden.send(&format!("/plans/{plan}/doses"), &table(&view, &doses)).await;
        garden.send(&format!("/plans/{plan}/agree"), "").await;
    }
    let says = async |plan| {
        let page = garden.get(&format!("/plans/{plan}")).await;
        page.contains("the rules for giving Epsom salt in parts, so parts go by the rules of today")
    };
    assert!(!says(of_epsom).await, "its rules were kept when it was agreed");
    let file = format!("sqlite://{}", garden.folder.path().join("glebe.sqlite").display());
    let mut db = SqliteConnection::connect(&file).await.unwrap();
    let forget = "update plans set outcome = json_remove(outcome, '$.splits') where state <> 'draft'";
    assert_eq!(sqlx::query(forget).execute(&mut db).await.unwrap().rows_affected(), 2);
    assert!(says(of_epsom).await);
    assert!(!says(of_potash).await, "nothing of it is given in parts");
    garden.send(&format!("/plans/{of_epsom}/reopen"), "").await;
    assert!(!says(of_epsom).await, "a draft follows the record anyway");
}
