//! What to do next, on a plot and on a whole site: nothing that is asked for is out of reach, and
//! what earlier plans did presses no more.

use super::{
    ground_pages::Garden,
    plan_pages::{amendment, cell, five_beds, table},
    store::{plot_form, site_form},
};
use glebe::{
    agronomy::{element::Element, years_ahead::Reaches},
    app::{
        plots::SiteForm,
        reports::{ReportForm, SamplingForm},
        seasons::{DoseForm, Solving},
        years_ahead::YearsLine,
    },
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

/// Boron and copper have no published response: by the mass of the soil it is said how soon they can be at
/// their aim. The table of the site says of each plot what the plot's own page does.
#[tokio::test]
async fn the_seasons_ahead_of_a_site_are_those_of_its_plots() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let years = garden.app.site_years(&garden.ada, planned.site, 0).await.unwrap();
    assert_eq!((years.plots.len(), years.before, years.all), (5, 0, 5));
    let mut soonest = 0;
    for (plot, lines) in &years.plots {
        let alone = garden.app.plot_years(&garden.ada, plot.id).await.unwrap();
        let told = |lines: &[YearsLine]| -> Vec<_> { lines.iter().map(|l| (l.element, l.ahead.clone())).collect() };
        assert!(!lines.is_empty());
        assert_eq!(told(lines), told(&alone.lines), "{}", plot.code);
        for line in lines {
            let ahead = line.ahead.as_ref().unwrap();
            assert!(ahead.working.is_grounded(), "{:?}", ahead.working);
            let needs_an_answer = !matches!(ahead.reaches, Reaches::Never(_) | Reaches::Already);
            assert_eq!(ahead.at_best && needs_an_answer, matches!(ahead.reaches, Reaches::NotBefore { .. }));
            soonest += usize::from(ahead.at_best);
        }
        assert!(lines.iter().any(|line| line.element == Element::B && line.ahead.as_ref().unwrap().at_best));
    }
    assert!(soonest >= 5, "{soonest} answers by the mass of the soil");
    let page = garden.get(&format!("/sites/{}/years", planned.site)).await;
    assert!(page.contains("at the soonest") && page.contains("data-label=\"Boron\""), "{page}");
    for bed in &planned.beds {
        assert!(page.contains(&format!("<a href=\"/plots/{bed}/years\">")), "{page}");
    }
    let of_plot = garden.get(&format!("/plots/{}/years", planned.beds[0])).await;
    assert!(of_plot.contains("at the soonest: that is if all that is given stays"), "{of_plot}");
    assert!(of_plot.contains("The most that 1 kg/ha can raise the test"), "{of_plot}");
    assert!(garden.get(&format!("/sites/{}/next", planned.site)).await.contains("/years\">How many seasons"));

    // What is agreed is part of the first season's dose, as the ranking counts it: 10 m² and g are kg/ha.
    let plan = planned.plan().await;
    assert!(garden.get(&format!("/plans/{plan}")).await.contains(&format!("/sites/{}/years\">", planned.site)));
    garden.send(&format!("/plans/{plan}/agree"), "").await;
    let view = planned.view(plan).await;
    let after = garden.app.site_years(&garden.ada, planned.site, 0).await.unwrap();
    let mut seen = 0;
    for ((plot, before), (_, after)) in years.plots.iter().zip(&after.plots) {
        let needs = &view.plots.iter().find(|one| one.standing.plot.id == plot.id).unwrap().needs;
        for (before, after) in before.iter().zip(after) {
            let need = needs.iter().find(|line| line.need.element == before.element).unwrap();
            let first = |line: &YearsLine| line.ahead.as_ref().unwrap().seasons.first().map(|season| season.give.0);
            let (Some(was), Some(is)) = (first(before), first(after)) else { continue };
            let expected = (was - need.supplied_g).max(0.0);
            assert!((is - expected).abs() < 1e-6 * was.max(1.0), "{}: {was}, {is}, {need:?}", before.element);
            seen += usize::from(need.supplied_g > 0.0);
        }
    }
    assert!(seen >= 5, "{seen} first seasons with something agreed");
}

#[tokio::test]
async fn the_seasons_ahead_of_many_plots_come_page_by_page() {
    let garden = Garden::new().await;
    let (app, ada) = (&garden.app, &garden.ada);
    let form = SiteForm { guideline: "rutgers_mehlich3".into(), ..site_form("Home") };
    let site = app.add_site(ada, &form).await.unwrap();
    let mut beds = Vec::new();
    for n in 1..=53 {
        beds.push(app.add_plot(ada, site, &plot_form(&format!("A{n}"), "10")).await.unwrap().to_string());
    }
    let sampling = SamplingForm {
        plots: beds,
        sampled_on: "2026-02-10".into(),
        depth_bottom_cm: "20".into(),
        cores: "20".into(),
        ..SamplingForm::default()
    };
    let rows = [("ph", "6.4"), ("B", "0.3")].map(|(analyte, printed)| cell(analyte, printed)).to_vec();
    let report = ReportForm { lab: "Lab North".into(), rows, ..ReportForm::default() };
    app.save_sampling_with_report(ada, &sampling, &report).await.unwrap();
    let first = garden.get(&format!("/sites/{site}/years")).await;
    let rows = |page: &str| page.matches("<td data-label=\"Boron\">").count();
    assert!(first.contains("Plots 1 to 50 of 53.") && rows(&first) == 50, "{first}");
    assert!(first.contains("?from=50\">Next plots</a>") && !first.contains("Plots before"), "{first}");
    let last = garden.get(&format!("/sites/{site}/years?from=50")).await;
    assert!(last.contains("Plots 51 to 53 of 53.") && rows(&last) == 3 && last.contains("Plots before"), "{last}");
    assert!(garden.get(&format!("/sites/{site}/years?from=999")).await.contains("Plots 53 to 53 of 53."));
    assert!(garden.get(&format!("/sites/{site}/years?from=x")).await.contains("Plots 1 to 50 of 53."));
}

/// What is in the shed is told less what agreed plans still take of it: as a new draft finds it.
#[tokio::test]
async fn what_agreed_plans_still_take_is_no_longer_in_the_shed() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let potash = amendment(garden, "Sulfate of potash").await;
    garden.app.count_stock(&garden.ada, potash, "2026-03-01", "5").await.unwrap();
    let held = async || {
        let next = garden.app.next_season(&garden.ada, planned.site).await.unwrap();
        next.stock.into_iter().find(|held| held.amendment == potash).unwrap()
    };
    assert_eq!(held().await.left_g(), 5000.0);
    let plan = planned.plan().await;
    assert_eq!(held().await.promised_g, 0.0, "a draft promises nothing");
    garden.send(&format!("/plans/{plan}/agree"), "").await;
    let held = held().await;
    let taken = planned.view(plan).await.totals_g[&potash];
    assert!(taken > 0.0 && (held.promised_g - taken).abs() < 1e-9, "{held:?}, {taken}");
    let draft = planned.plan().await;
    assert!((planned.view(draft).await.stock_g[&potash] - held.left_g()).abs() < 1e-9, "{held:?}");
    let page = garden.get(&format!("/sites/{}/next", planned.site)).await;
    assert!(page.contains(" on hand, agreed plans still take "), "{page}");
}
