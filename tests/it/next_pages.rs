//! What to do next, on a plot and on a whole site: nothing that is asked for is out of reach, and
//! what earlier plans did presses no more.

use super::{
    ground_pages::Garden,
    plan_pages::{amendment, cell, five_beds, table},
    store::{plot_form, site_form},
};
use glebe::app::{
    plots::SiteForm,
    reports::{ReportForm, SamplingForm},
    seasons::{DoseForm, Solving},
};
use std::collections::BTreeSet;

#[tokio::test]
async fn every_step_of_a_plot_can_be_read() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plot = planned.beds[0];
    let (_, _, ahead) = garden.app.plot_outlook(&garden.ada, plot).await.unwrap();
    let steps = &ahead.outlook.steps;
    assert!(steps.len() > 3, "{steps:?}");
    let page = garden.get(&format!("/plots/{plot}")).await;
    let next = page.split("<h2>Next</h2>").nth(1).expect("what to do").split("</section>").next().unwrap();
    for step in steps {
        let words = step.what.replace('&', "&#38;").replace('\'', "&#39;");
        assert!(next.contains(&words), "“{words}” is not on the page: {next}");
    }
    assert!(next.contains(&format!("<summary>And {} more</summary>", steps.len() - 3)), "{next}");
    assert!(next.contains("<ol start=\"4\">"), "{next}");
}

#[tokio::test]
async fn the_ranking_goes_on_as_far_as_there_is_something_to_rank() {
    let garden = Garden::new().await;
    let (app, ada) = (&garden.app, &garden.ada);
    let form = SiteForm { guideline: "rutgers_mehlich3".into(), ..site_form("Home") };
    let site = app.add_site(ada, &form).await.unwrap();
    let mut beds = Vec::new();
    for n in 1..=20 {
        beds.push(app.add_plot(ada, site, &plot_form(&format!("A{n}"), "10")).await.unwrap().to_string());
    }
    let sampling = SamplingForm {
        plots: beds,
        sampled_on: "2026-02-10".into(),
        depth_bottom_cm: "20".into(),
        cores: "20".into(),
        ..SamplingForm::default()
    };
    let rows = [("ph", "6.4"), ("P", "14"), ("K", "45"), ("Cu", "0.2"), ("B", "0.3")];
    let rows = rows.map(|(analyte, printed)| cell(analyte, printed)).to_vec();
    let report = ReportForm { lab: "Lab North".into(), rows, ..ReportForm::default() };
    app.save_sampling_with_report(ada, &sampling, &report).await.unwrap();
    let all = app.next_season(ada, site).await.unwrap().asks.len();
    assert!(all > 60, "{all} things are asked for");
    let mut seen = BTreeSet::new();
    let mut path = format!("/sites/{site}/next");
    let mut pages = 0;
    loop {
        let page = garden.get(&path).await;
        let needs = page.split("/working/").skip(1).filter(|rest| rest.split('"').next().unwrap().ends_with("/need"));
        let plots =
            page.split("<a href=\"/plots/").skip(1).filter(|rest| rest.split('"').next().unwrap().ends_with("/need"));
        let keys: Vec<&str> = plots.map(|rest| rest.split('"').next().unwrap()).collect();
        assert_eq!(keys.len(), needs.count());
        seen.extend(keys.iter().map(|key| (*key).to_owned()));
        pages += 1;
        let on = page.split("less pressing still</a>").next().filter(|before| before.len() < page.len());
        let Some(on) = on.and_then(|before| before.rsplit("<a href=\"").next()) else { break };
        path = on.split('"').next().unwrap().to_owned();
    }
    assert_eq!((seen.len(), pages), (all, all.div_ceil(60)));
    // An odd address shows the end of the list, or its beginning.
    assert!(garden.get(&format!("/sites/{site}/next?after=9999")).await.contains("More pressing"));
    assert!(garden.get(&format!("/sites/{site}/next?after=x")).await.contains("less pressing still"));
}

#[tokio::test]
async fn what_is_agreed_presses_no_more() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let before = garden.app.next_season(&garden.ada, planned.site).await.unwrap();
    assert!(before.asks.iter().any(|ask| ask.need.element.symbol() == "K"));
    // With a manure on one bed, of which only a part counts in its first season.
    let manure = amendment(garden, "Pelleted poultry manure").await;
    let body = format!("{}&products={manure}", planned.new_plan_body().await);
    let to = garden.send(&format!("/seasons/{}/plans", planned.season), &body).await;
    let plan = to.trim_start_matches("/plans/").trim_end_matches("/work").parse().unwrap();
    while garden.app.solving(&garden.ada, plan).unwrap() != Solving::Done {
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let phosphate = amendment(garden, "Triple superphosphate").await;
    let field = |product| DoseForm::grams_field(planned.beds[0], product);
    let body = table(&planned.view(plan).await, &[(field(manure), "400"), (field(phosphate), "")]);
    garden.send(&format!("/plans/{plan}/doses"), &body).await;
    garden.send(&format!("/plans/{plan}/agree"), "").await;
    let view = planned.view(plan).await;
    let after = garden.app.next_season(&garden.ada, planned.site).await.unwrap();
    for ask in &after.asks {
        let plot = view.plots.iter().find(|plot| plot.standing.plot.id == ask.plot.id).unwrap();
        let line = plot.needs.iter().find(|line| line.need.element == ask.need.element).unwrap();
        assert!(!line.is_met(), "{} of {} is asked for, though the plan meets it", ask.need.element, ask.plot.code);
        let whole = before.asks.iter().find(|one| one.plot.id == ask.plot.id && one.need.element == ask.need.element);
        let whole = whole.expect("it was asked for before");
        let share = ask.need.kg_per_ha.0 / whole.need.kg_per_ha.0;
        // What a plan counts as brought is what is taken off, no more: 10 m² and g are kg/ha.
        let taken = whole.need.kg_per_ha.0 - ask.need.kg_per_ha.0;
        assert!((taken - line.supplied_g).abs() < 0.01 * line.need_g, "{taken} of {line:?}");
        assert!((ask.weight - whole.weight * share).abs() < 1e-9, "{} of {}", ask.weight, whole.weight);
    }
    let fed = |ask: &glebe::app::next_season::Ask| ask.plot.id == planned.beds[0] && ask.need.element.symbol() == "P";
    assert!(after.asks.iter().any(fed), "a little manure does not bring all the phosphorus");
    let met: usize = view.plots.iter().map(|plot| plot.needs_met().0).sum();
    assert!(met > 0 && after.asks.len() + met <= before.asks.len(), "{met} met, {} left", after.asks.len());
}

#[tokio::test]
async fn what_a_closed_plan_did_not_put_on_is_asked_for_again_and_carried_over_once() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let asks = async || {
        let asks = garden.app.next_season(&garden.ada, planned.site).await.unwrap().asks;
        let line = |ask: &glebe::app::next_season::Ask| {
            format!("{} {} {:.3}", ask.plot.code, ask.need.element, ask.need.kg_per_ha.0)
        };
        asks.iter().map(line).collect::<BTreeSet<String>>()
    };
    let before = asks().await;
    // Two plans one after the other, of which nothing is put on; both leave the same undone.
    for _ in 0..2 {
        let plan = planned.plan().await;
        garden.send(&format!("/plans/{plan}/agree"), "").await;
        assert_ne!(asks().await, before, "what is agreed is not asked for");
        garden.send(&format!("/plans/{plan}/close"), "").await;
        assert_eq!(asks().await, before, "nobody will put on what a closed plan did not");
    }
    let draft = planned.plan().await;
    let over = garden.app.carried_into(&garden.ada, draft).await.unwrap();
    for left in over.values() {
        assert_eq!(left.len(), 1, "the newest of the closed plans: {left:?}");
    }
    // An agreed plan beside a closed one: what both left out is said once.
    garden.send(&format!("/plans/{draft}/agree"), "").await;
    let last = planned.plan().await;
    let over = garden.app.carried_into(&garden.ada, last).await.unwrap();
    assert!(over.values().any(|left| left.len() == 2), "{over:?}");
    for left in over.values() {
        let mut elements: Vec<String> =
            left.iter().flat_map(|one| &one.needs).map(|need| need.element.to_string()).collect();
        let all = elements.len();
        elements.dedup();
        assert_eq!(elements.len(), all, "{left:?}");
    }
    let page = garden.get(&format!("/plans/{last}")).await;
    assert!(page.contains("<summary>Carried over: 2026 left undone on 5\u{a0}plots: "), "{page}");
}
