//! What a plan was agreed on stays with it, whatever a site, its guidelines and its products say later.

use super::{
    own_copies::OwnCopy,
    plan_pages::{amendment, five_beds, table},
};
use glebe::app::seasons::DoseForm;

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
