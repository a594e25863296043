//! A plan that puts manure on ground already full of phosphorus says so beside the plot, by the
//! test that was made there, and leaves the dose alone.

use super::plan_pages::{amendment, five_beds, table};
use glebe::app::{
    reports::{CellForm, ReportForm, SamplingForm},
    seasons::{DoseForm, Solving},
};

#[tokio::test]
async fn manure_on_ground_full_of_phosphorus_is_cautioned_beside_the_plot() {
    let planned = five_beds().await;
    let (garden, beds) = (&planned.garden, &planned.beds);
    // Utah State University, step 5.1: above 100 ppm by Olsen no manure, from 50 only what the crop takes.
    for (bed, olsen) in [(beds[0], "120"), (beds[1], "50"), (beds[2], "49")] {
        let sampling = SamplingForm {
            plots: vec![bed.to_string()],
            sampled_on: "2026-02-11".into(),
            depth_bottom_cm: "20".into(),
            ..SamplingForm::default()
        };
        let row = CellForm {
            analyte: "P".into(),
            method: "olsen".into(),
            printed: olsen.into(),
            unit: "mg/kg".into(),
            ..CellForm::default()
        };
        let report = ReportForm { lab: "Lab South".into(), rows: vec![row], ..ReportForm::default() };
        garden.app.save_sampling_with_report(&garden.ada, &sampling, &report).await.unwrap();
    }
    let manure = amendment(garden, "Cattle manure").await;
    let body = format!("{}&products={manure}", planned.new_plan_body().await);
    let to = garden.send(&format!("/seasons/{}/plans", planned.season), &body).await;
    let plan = to.strip_prefix("/plans/").unwrap().trim_end_matches("/work").parse().unwrap();
    while garden.app.solving(&garden.ada, plan).unwrap() != Solving::Done {
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
    }
    let typed = |grams: &'static str| [0, 1, 2].map(|at| (DoseForm::grams_field(beds[at], manure), grams));
    let view = planned.view(plan).await;
    garden.send(&format!("/plans/{plan}/doses"), &table(&view, &typed("5000"))).await;
    let view = planned.view(plan).await;
    let said = |at: usize| view.plots.iter().find(|plot| plot.standing.plot.id == beds[at]).unwrap().manure.clone();
    assert!(said(0).is_some_and(|words| words.contains("120") && words.contains("above 100 it lets no manure go on")));
    assert!(said(1).is_some_and(|words| words.contains("no more phosphorus than the crop carries away")));
    assert_eq!([said(2), said(3)], [None, None], "below the line, and without an Olsen test");
    let page = garden.get(&format!("/plans/{plan}?all=on")).await;
    assert_eq!(page.matches("Manure where phosphorus is high").count(), 2, "{page}");
    assert!(page.contains("Utah State University Extension") && page.contains("Rules where you are come first"));
    // Without the manure nothing is said.
    garden.send(&format!("/plans/{plan}/doses"), &table(&view, &typed("0"))).await;
    assert!(planned.view(plan).await.plots.iter().all(|plot| plot.manure.is_none()));
}
