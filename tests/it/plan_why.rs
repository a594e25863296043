//! Why a plan is as it is, what would be otherwise, what else could be chosen, and how a change
//! is undone: each against a plan that is really made so.

use super::plan_pages::{Planned, amendment, five_beds, table};
use glebe::{
    agronomy::{element::Element, plan::Change},
    app::seasons::{PlanWhy, Solving},
    ids::PlanId,
};

impl Planned {
    /// A plan from the form as it stands, with one field filled otherwise.
    async fn plan_with(&self, from: &str, to: &str) -> PlanId {
        let body = self.new_plan_body().await;
        assert!(body.contains(from), "{from} in {body}");
        let sent = self.garden.send(&format!("/seasons/{}/plans", self.season), &body.replace(from, to)).await;
        let plan = sent.strip_prefix("/plans/").unwrap().trim_end_matches("/work").parse().unwrap();
        self.at_rest(plan).await;
        plan
    }

    async fn at_rest(&self, plan: PlanId) {
        while self.garden.app.solving(&self.garden.ada, plan).unwrap() != Solving::Done {
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
    }

    async fn why(&self, plan: PlanId) -> PlanWhy {
        self.garden.app.plan_why(&self.garden.ada, plan).await.unwrap()
    }
}

#[tokio::test]
async fn what_products_bring_adds_up_to_the_needs_and_to_what_is_too_much() {
    let planned = five_beds().await;
    let why = planned.why(planned.plan().await).await;
    let lines = || why.view.plots.iter().flat_map(|plot| &plot.needs);
    let mut seen = 0;
    for element in Element::ALL {
        let needs = || lines().filter(|line| line.need.element == *element);
        let serves = || why.merits.iter().flat_map(|m| &m.serves).filter(|s| s.element == *element);
        let met: f64 = needs().map(|line| line.need_g - line.short_g).sum();
        let over: f64 = needs().map(|line| line.excess_g).sum();
        let useful: f64 = serves().map(|s| s.useful_g).sum();
        let beyond: f64 = serves().map(|s| s.beyond_g).sum();
        assert!((met - useful).abs() < 1e-6 * met.max(1.0), "{element}: {met} met, {useful} by products");
        assert!((over - beyond).abs() < 1e-6 * over.max(1.0), "{element}: {over} over, {beyond} by products");
        seen += usize::from(useful > 0.0) + usize::from(beyond > 0.0);
    }
    assert!(seen > 3, "{seen}");
    let cost: f64 = why.merits.iter().filter_map(|m| m.cost_minor).sum();
    assert!((cost - why.view.cost_minor).abs() < 0.5 && cost > 0.0, "{cost}");
}

#[tokio::test]
async fn a_plan_without_a_product_is_as_the_page_of_reasons_says() {
    let planned = five_beds().await;
    let plan = planned.plan().await;
    let why = planned.why(plan).await;
    assert_eq!(why.untried, 0);
    let potash = amendment(&planned.garden, "Sulfate of potash").await;
    let tried = why.tried.as_ref().expect("a draft is tried");
    let without = |t: &&glebe::app::seasons::Tried| t.change == Change::WithoutProduct(potash.0 as u32);
    let without = tried.iter().find(without).expect("it is used");
    // The same plan, really made without it.
    let real = planned.plan_with(&format!("products={potash}&"), "").await;
    let real = planned.why(real).await;
    let (said, is) = (without.after, real.base.expect("there was time"));
    assert_eq!((said.met, said.needs, said.products), (is.met, is.needs, is.products));
    assert!((said.measure.short_percent - is.measure.short_percent).abs() < 1e-6);
    assert!(without.difference.met < 0 && without.difference.cost_minor < 0.0, "{without:?}");
    assert_eq!((said.met, said.needs), real.view.needs_met());
    // Dearer by a fifth: what it costs now and a fifth of it.
    let dearer = tried.iter().find(|t| matches!(t.change, Change::PriceRaised { .. })).expect("it is bought");
    let cost = why.base.unwrap().measure.cost_minor;
    assert!(dearer.difference.cost_minor > 0.0 && dearer.difference.cost_minor <= 0.2 * cost + 1.0, "{dearer:?}");

    let page = planned.garden.get(&format!("/plans/{plan}/why")).await;
    for part in ["Without Sulfate of potash", "a fifth dearer", "of the need", "As it is", "less to pay", "more unmet"]
    {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(planned.garden.get(&format!("/plans/{plan}")).await.contains(&format!("/plans/{plan}/why")));
}

#[tokio::test]
async fn each_need_that_is_not_met_says_what_stopped_it() {
    let planned = five_beds().await;
    let one = planned.plan_with("max_products=", "max_products=1").await;
    let page = planned.garden.get(&format!("/plans/{one}/why")).await;
    assert!(page.contains("Number of products") && page.contains("missing in all"), "{page}");
    let poor = planned.plan_with("budget=", "budget=8").await;
    let why = planned.why(poor).await;
    let kinds: Vec<&str> = why.view.outcome.stopped.iter().flat_map(|s| &s.kinds).map(String::as_str).collect();
    assert!(kinds.contains(&"budget"), "{kinds:?}");
    let tried = why.tried.expect("a draft is tried");
    assert!(tried.iter().any(|t| t.change == Change::BudgetRaised { by_minor: 80 }));
    let potash = amendment(&planned.garden, "Sulfate of potash").await;
    let bare = planned.plan_with(&format!("products={potash}&"), "").await;
    let page = planned.garden.get(&format!("/plans/{bare}/why")).await;
    assert!(page.contains("<strong>No product.</strong> Potassium on A1, A2, A3, B1, B2"), "{page}");

    // After a hand edit the reasons are gone, and the page says so.
    let view = planned.view(bare).await;
    let dose = view.plots[0].doses.iter().find(|d| d.mass_g >= 2.0).expect("a dose");
    let field = glebe::app::seasons::DoseForm::grams_field(dose.plot, dose.amendment);
    planned.garden.send(&format!("/plans/{bare}/doses"), &table(&view, &[(field, "1")])).await;
    let page = planned.garden.get(&format!("/plans/{bare}/why")).await;
    assert!(page.contains("Doses were changed by hand") && page.contains("not supplied by these doses"), "{page}");
    // What is agreed is not tried any more.
    planned.garden.send(&format!("/plans/{bare}/agree"), "").await;
    assert!(!planned.garden.get(&format!("/plans/{bare}/why")).await.contains("What if"));
}
