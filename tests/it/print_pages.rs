//! What goes to the shed and to the shop: the same doses whichever way they are laid out.

use super::plan_pages::{amendment, five_beds, table};
use glebe::{
    agronomy::order_of_work::Round,
    app::{
        amendments::PackForm,
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

    let garden = &planned.garden;
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
