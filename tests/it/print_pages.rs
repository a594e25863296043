//! What goes to the shed and to the shop: the same doses whichever way they are laid out.

use super::plan_pages::{amendment, five_beds, table};
use glebe::{
    agronomy::{order_of_work::Round, pass::Pass},
    app::{
        amendments::PackForm,
        applications::ApplicationForm,
        seasons::{DoseForm, Heap, Sheet},
    },
};

fn grams(heaps: &[Heap]) -> f64 {
    heaps.iter().flat_map(|heap| &heap.lines).map(|(_, line)| line.weigh_g).sum()
}

#[tokio::test]
async fn every_order_of_the_sheet_weighs_out_the_same() {
    let planned = five_beds().await;
    let plan = planned.plan().await;
    let view = planned.view(plan).await;
    let sheet = Sheet::of(&view);
    let all: f64 = sheet.plots.iter().flat_map(|plot| &plot.lines).map(|line| line.weigh_g).sum();
    let (by_product, by_round) = (sheet.by_product(), sheet.by_round());
    assert!(all > 0.0 && (grams(&by_product) - all).abs() < 1e-9 && (grams(&by_round) - all).abs() < 1e-9);
    assert_eq!(by_product.len(), view.used().count());
    for heap in by_product.iter().chain(&by_round) {
        let sum: f64 = heap.lines.iter().map(|(_, line)| line.weigh_g).sum();
        assert!((heap.total_g - sum).abs() < 1e-9, "{}", heap.title);
    }
    let rounds: Vec<Round> = by_round.iter().map(|heap| heap.round).collect();
    assert!(rounds.is_sorted() && rounds.last() == Some(&Round::TraceElements), "borax and copper go last: {rounds:?}");

    // A plot stands in as many heaps of the passes as the planner counts passes over it.
    let by_pass = sheet.by_pass();
    assert!((grams(&by_pass) - all).abs() < 1e-9 && by_pass.iter().map(|heap| heap.round).is_sorted());
    for plot in &view.plots {
        let here = |heap: &&Heap| heap.lines.iter().any(|(of, _)| of.plot.id == plot.standing.plot.id);
        let heaps: Vec<Pass> = by_pass.iter().filter(here).map(|heap| heap.pass).collect();
        assert_eq!(heaps.len(), plot.passes, "{}: {heaps:?}", plot.standing.plot.code);
        assert_eq!(heaps, [Pass::DryMix, Pass::Trace], "salts in one bucket, borax and copper after them");
    }

    let garden = &planned.garden;
    let of_pass = garden.get(&format!("/plans/{plan}/sheet?by=pass")).await;
    assert!(of_pass.contains("<h2>One bucket of dry products") && of_pass.contains("<h2>Trace elements"), "{of_pass}");
    assert!(of_pass.contains(": Sulfate of potash") && of_pass.contains("Mixed dry and spread together."), "{of_pass}");
    let of_product = garden.get(&format!("/plans/{plan}/sheet?by=product&paper=letter")).await;
    assert!(of_product.contains("data-paper=\"letter\"") && of_product.contains("in all</span></h2>"), "{of_product}");
    assert!(of_product.contains("Order of work") && of_product.contains("goggles with Copper sulfate"), "{of_product}");
    assert!(of_product.contains("made up to 10\u{a0}litres (1 can of 10\u{a0}litres)"), "{of_product}");
    let of_round = garden.get(&format!("/plans/{plan}/sheet?by=round")).await;
    assert!(of_round.contains("<h2>Trace elements") && of_round.contains("data-paper=\"a4\""), "{of_round}");
    let odd = garden.get(&format!("/plans/{plan}/sheet?by=moon&paper=papyrus")).await;
    assert!(odd.contains("Weigh</th>") && odd.contains("data-paper=\"a4\""));
}

#[tokio::test]
async fn a_limit_of_one_pass_leaves_one_heap_for_each_plot() {
    let planned = five_beds().await;
    let body = planned.new_plan_body().await;
    assert!(body.contains("max_passes=&"), "{body}");
    let limited = planned.plan_from(&body.replace("max_passes=&", "max_passes=1&")).await;
    let view = planned.view(limited).await;
    let sheet = Sheet::of(&view);
    let heaps = sheet.by_pass();
    for plot in &view.plots {
        let here = heaps.iter().filter(|heap| heap.lines.iter().any(|(of, _)| of.plot.id == plot.standing.plot.id));
        assert_eq!((plot.passes, here.count()), (1, 1), "{}", plot.standing.plot.code);
    }
}

/// Lime that went on in January, and lime that another plan has still to put on, stand on the sheet beside
/// the manure that has to wait for it.
#[tokio::test]
async fn the_days_between_lime_and_manure_are_printed() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let (lime, manure) =
        (amendment(garden, "Ground limestone").await, amendment(garden, "Pelleted poultry manure").await);
    let put_on = ApplicationForm {
        plot: planned.beds[0].to_string(),
        applied_on: "2026-01-15".into(),
        amendment: lime.to_string(),
        mass_g: "2000".into(),
        ..ApplicationForm::default()
    };
    garden.app.record_application(&garden.ada, &put_on).await.unwrap();
    // A plan of lime alone, agreed and not put on: one dose on the second bed.
    let body = planned.new_plan_body().await;
    let liming = planned.plan_from(&format!("{body}&products={lime}")).await;
    let doses: Vec<(String, &str)> = {
        let view = planned.view(liming).await;
        let others = view.plots.iter().flat_map(|plot| &plot.doses).filter(|dose| dose.amendment != lime);
        let none = others.map(|dose| (DoseForm::grams_field(dose.plot, dose.amendment), ""));
        none.chain([(DoseForm::grams_field(planned.beds[1], lime), "1500")]).collect()
    };
    let body = table(&planned.view(liming).await, &doses);
    garden.send(&format!("/plans/{liming}/doses"), &body).await;
    garden.send(&format!("/plans/{liming}/agree"), "").await;

    let body = planned.new_plan_body().await;
    let plan = planned.plan_from(&format!("{body}&products={manure}")).await;
    let phosphate = amendment(garden, "Triple superphosphate").await;
    let of = |bed: usize, product, grams| (DoseForm::grams_field(planned.beds[bed], product), grams);
    let doses = [of(0, manure, "200"), of(1, manure, "200"), of(0, phosphate, ""), of(1, phosphate, "")];
    garden.send(&format!("/plans/{plan}/doses"), &table(&planned.view(plan).await, &doses)).await;
    let view = planned.view(plan).await;
    let sheet = Sheet::of(&view);
    let said = |bed: usize| &sheet.plots.iter().find(|plot| plot.plot.id == planned.beds[bed]).unwrap().spacing;
    // Three months after the fifteenth of January.
    assert!(said(0).iter().any(|words| words.contains("until 15 Apr 2026")), "{:?}", said(0));
    assert!(
        said(1).iter().any(|words| words.contains("is agreed in another plan and still to be put on")),
        "{:?}",
        said(1)
    );
    assert!(said(2).is_empty(), "{:?}", said(2));
    for by in ["plot", "product", "round", "pass"] {
        let page = garden.get(&format!("/plans/{plan}/sheet?by={by}")).await;
        assert!(page.contains("until 15 Apr 2026") && page.contains("agreed in another plan"), "{by}: {page}");
    }
}

#[tokio::test]
async fn there_is_a_label_for_every_bag() {
    let planned = five_beds().await;
    let plan = planned.plan().await;
    let sheet = Sheet::of(&planned.view(plan).await);
    let bags: usize = sheet.plots.iter().map(|plot| plot.lines.len()).sum();
    for by in ["plot", "product"] {
        let page = planned.garden.get(&format!("/plans/{plan}/labels?by={by}")).await;
        assert_eq!(page.matches("class=\"grams\"").count(), bags);
        assert!(page.contains("Poisons water life") || page.contains("little between enough"), "{page}");
        assert!(page.contains("Draft"), "a label from a draft says so");
    }
}

#[tokio::test]
async fn the_shopping_list_goes_by_supplier_and_says_what_is_left_over_is_worth() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let phosphate = amendment(garden, "Triple superphosphate").await;
    for (product, supplier, price) in
        [(phosphate, "Northfield Stores", "9.00"), (amendment(garden, "Epsom salt").await, "Hill & Daughters", "4.00")]
    {
        let pack = PackForm {
            mass_kg: "3".into(),
            price: price.into(),
            currency: "EUR".into(),
            supplier: supplier.into(),
            ..PackForm::default()
        };
        garden.app.add_pack(&garden.ada, product, &pack).await.unwrap();
    }
    let plan = planned.plan().await;
    let view = planned.view(plan).await;
    let bought =
        view.shopping.iter().find(|line| line.product.name.starts_with("Triple")).expect("phosphate is needed");
    let page = garden.get(&format!("/plans/{plan}/shopping")).await;
    let with_price = bought.packs.iter().any(|(pack, count)| *count > 0.0 && pack.price_minor.is_some());
    assert_eq!(page.contains("<caption>Northfield Stores</caption>"), with_price, "{page}");
    assert!(page.contains("No supplier written down"), "{page}");
    // 3 kg for 9.00 is 0.3 minor units for a gram; 2 kg of potash for 7.50 is 0.375.
    let per_g = |name: &str| if name.starts_with("Triple") { 0.3 } else { 0.375 };
    let potash = view.shopping.iter().find(|line| line.product.name.starts_with("Sulfate")).expect("potash is needed");
    let worth = (potash.left_over_g * per_g(&potash.product.name)).round() as i64;
    assert!(worth == 0 || page.contains(&format!("worth €{}.{:02}", worth / 100, worth % 100)), "{worth}: {page}");
}

#[tokio::test]
async fn a_dose_is_parted_only_where_it_is_large() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let epsom = amendment(garden, "Epsom salt").await;
    // 30 g/m² on one bed; then 145 on another: 3.0 lb on 100 ft², which Penn State parts.
    let split = "Split a large dose of Epsom salt";
    for (bed, grams, parted) in [(0, "300", false), (1, "1450", true)] {
        let typed = [(DoseForm::grams_field(planned.beds[bed], epsom), grams)];
        garden.send(&format!("/plans/{plan}/doses"), &table(&planned.view(plan).await, &typed)).await;
        let labels = garden.get(&format!("/plans/{plan}/labels")).await;
        assert!(labels.contains("Epsom salt"), "{labels}");
        assert_eq!(labels.matches(split).count(), usize::from(parted), "{labels}");
        let sheet = garden.get(&format!("/plans/{plan}/sheet")).await;
        assert_eq!(sheet.contains(split), parted, "{sheet}");
        assert_eq!(sheet.contains("145 g/m² is much at once: give it in 2 parts, 4 months apart."), parted, "{sheet}");
    }
}

#[tokio::test]
async fn a_solution_is_made_in_a_can_and_shared_out_in_what_can_be_measured() {
    let planned = five_beds().await;
    let plan = planned.plan().await;
    let sheet = Sheet::of(&planned.view(plan).await);
    let wet: Vec<_> = sheet.mixes.iter().filter_map(|mix| Some((mix.wet.as_ref()?, mix.holds_g_per_l?))).collect();
    assert!(!wet.is_empty(), "borax on 10 m² is too little to spread by itself");
    for (solution, holds) in wet {
        // 50 m² would take 50 litres; less water holds it all the same.
        assert!(solution.litres <= 50.0 && solution.g_per_l <= holds, "{solution:?}");
        assert!(solution.g_per_l <= holds / 4.0 || solution.litres == 50.0, "{solution:?} of {holds}");
        assert!(solution.portions_l.iter().all(|litres| *litres >= 0.5), "{solution:?}");
        let shared: f64 = solution.portions_l.iter().sum();
        assert!(shared <= solution.litres + 1e-9, "{shared} litres of {solution:?}");
    }
    let page = planned.garden.get(&format!("/plans/{plan}/sheet")).await;
    assert!(!page.contains(" 1\u{a0}litres") && !page.contains("(1 cans"), "{page}");
}
