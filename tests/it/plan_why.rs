//! Why a plan is as it is, what would be otherwise, what else could be chosen, and how a change
//! is undone: each against a plan that is really made so.

use super::plan_pages::{Planned, amendment, five_beds, form_pairs, table};
use axum::http::{Method, StatusCode};
use glebe::{
    agronomy::{element::Element, plan::Change},
    app::{
        applications::ApplicationForm,
        seasons::{DoseForm, PlanView, PlanWhy, Solving, Step, Tried, With},
    },
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

    /// The reasons; asked again where a busy machine left something untried.
    async fn why(&self, plan: PlanId) -> PlanWhy {
        for _ in 0..10 {
            let why = self.garden.app.plan_why(&self.garden.ada, plan).await.unwrap();
            if why.view.plan.state != "draft" || why.untried == 0 && why.base.is_some() {
                return why;
            }
        }
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
    let without = |t: &&Tried| t.change == Change::WithoutProduct(potash.0 as u32);
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
    let poor = planned.plan_with("budget=", "budget=7").await;
    let why = planned.why(poor).await;
    let kinds: Vec<&str> = why.view.outcome.stopped.iter().flat_map(|s| &s.kinds).map(String::as_str).collect();
    assert!(kinds.contains(&"budget"), "{kinds:?}");
    let tried = why.tried.expect("a draft is tried");
    assert!(tried.iter().any(|t| t.change == Change::BudgetRaised { by_minor: 70 }));
    let potash = amendment(&planned.garden, "Sulfate of potash").await;
    let bare = planned.plan_with(&format!("products={potash}&"), "").await;
    let page = planned.garden.get(&format!("/plans/{bare}/why")).await;
    assert!(page.contains("<strong>No product.</strong> Potassium on A1, A2, A3, B1, B2"), "{page}");

    // After a hand edit the reasons are gone, and the page says so.
    let view = planned.view(bare).await;
    let dose = view.plots[0].doses.iter().find(|d| d.mass_g >= 2.0).expect("a dose");
    let field = DoseForm::grams_field(dose.plot, dose.amendment);
    planned.garden.send(&format!("/plans/{bare}/doses"), &table(&view, &[(field, "1")])).await;
    let page = planned.garden.get(&format!("/plans/{bare}/why")).await;
    assert!(page.contains("Doses were changed by hand") && page.contains("not supplied by these doses"), "{page}");
    // What is agreed is not tried any more.
    planned.garden.send(&format!("/plans/{bare}/agree"), "").await;
    assert!(!planned.garden.get(&format!("/plans/{bare}/why")).await.contains("What if"));
}

#[tokio::test]
async fn the_last_change_of_a_draft_is_undone_whole_and_undoing_can_be_undone() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let state = |view: &PlanView| {
        let doses = view.plots.iter().flat_map(|p| &p.doses);
        let doses: Vec<_> = doses.map(|d| (d.plot, d.amendment, d.mass_g, d.locked, d.by_hand)).collect();
        (doses, view.options.clone(), view.outcome.clone(), view.stale)
    };
    let first = planned.view(plan).await;
    assert!(first.undo.is_none() && !garden.get(&format!("/plans/{plan}")).await.contains("Undo it"));
    let dose = first.plots[0].doses.iter().find(|d| d.mass_g >= 2.0).expect("a dose");
    let field = DoseForm::grams_field(dose.plot, dose.amendment);

    // Saved as it is, nothing changes, and there is nothing to undo.
    garden.send(&format!("/plans/{plan}/doses"), &table(&first, &[])).await;
    let first = planned.view(plan).await;
    assert!(first.undo.is_none());

    garden.send(&format!("/plans/{plan}/doses"), &table(&first, &[(field.clone(), "1")])).await;
    let edited = planned.view(plan).await;
    let page = garden.get(&format!("/plans/{plan}")).await;
    assert!(page.contains("Last change: doses were saved by hand") && page.contains("by Ada"), "{page}");
    let body = |view: &PlanView| format!("revision={}", view.plan.revision);
    // Not over somebody else's change.
    let late = garden.refused(&format!("/plans/{plan}/undo"), &body(&first)).await;
    assert!(late.contains("Somebody else changed this"), "{late}");
    garden.send(&format!("/plans/{plan}/undo"), &body(&edited)).await;
    let undone = planned.view(plan).await;
    assert_eq!(state(&undone), state(&first));
    garden.send(&format!("/plans/{plan}/undo"), &body(&undone)).await;
    let back = planned.view(plan).await;
    assert_eq!(state(&back), state(&edited));

    // Worked out again with another limit: undone, the limit is what it was, and the plan is not out of date.
    let to = "limit=budget&to=0";
    garden.send(&format!("/plans/{plan}/trade-off"), &format!("revision={}&{to}", back.plan.revision)).await;
    planned.at_rest(plan).await;
    let poor = planned.view(plan).await;
    assert_eq!((poor.options.budget_minor, poor.cost_minor), (Some(0), 0.0));
    garden.send(&format!("/plans/{plan}/undo"), &body(&poor)).await;
    let rich = planned.view(plan).await;
    assert_eq!(state(&rich), state(&back));
    assert!(!rich.stale && rich.options.budget_minor.is_none());
    let history = garden.get(&format!("/plans/{plan}/history")).await;
    assert!(history.contains("was undone"), "{history}");

    garden.send(&format!("/plans/{plan}/agree"), "").await;
    assert!(!garden.get(&format!("/plans/{plan}")).await.contains("Undo it"));
    let refused = garden.refused(&format!("/plans/{plan}/undo"), "").await;
    assert!(refused.contains("agreed, so it no longer changes"), "{refused}");
}

#[tokio::test]
async fn a_point_of_the_trade_off_becomes_the_plan() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let trade = garden.app.trade_off(&garden.ada, plan).await.unwrap();
    assert!(trade.left_out == 0 && !trade.busy);
    for curve in [&trade.cost, &trade.excess] {
        assert!((4..=8).contains(&curve.len()) && curve.iter().filter(|p| p.present).count() == 1, "{curve:?}");
    }
    // More money, less shortage; never dearer than the limit.
    for two in trade.cost.windows(2) {
        assert!(two[1].tally.measure.short_percent <= two[0].tally.measure.short_percent + 0.5, "{two:?}");
    }
    for point in &trade.cost {
        let Step::Budget(budget) = point.step else { panic!("{point:?}") };
        assert!(budget.is_none_or(|b| point.tally.measure.cost_minor <= b as f64 + 0.5), "{point:?}");
    }
    // What is given up is never more than was asked, but for the scale's steps, and it saves excess.
    let none = trade.excess[0].tally.measure;
    for point in &trade.excess {
        let Step::Accept(percent) = point.step else { panic!("{point:?}") };
        let measure = point.tally.measure;
        assert!(measure.short_percent <= none.short_percent + percent + 0.5, "{point:?}");
        assert!(measure.over_percent <= none.over_percent + 0.5, "{point:?}");
    }
    let page = garden.get(&format!("/plans/{plan}/trade-off")).await;
    for part in ["<figure class=\"trend curve\">", "Plan it so", "as it is set now", "Buy nothing", "given up"] {
        assert!(page.contains(part), "{part}: {page}");
    }

    let revision = planned.view(plan).await.plan.revision;
    garden.send(&format!("/plans/{plan}/trade-off"), &format!("revision={revision}&limit=accept&to=10")).await;
    planned.at_rest(plan).await;
    let view = planned.view(plan).await;
    assert_eq!(view.options.accept_short_percent, Some(10.0));
    let why = planned.why(plan).await;
    let (is, said) = (why.base.unwrap().measure, trade.excess.iter().find(|p| p.step == Step::Accept(10.0)).unwrap());
    assert!((is.over_percent - said.tally.measure.over_percent).abs() < 1.0, "{is:?} {said:?}");
    // The form of the plan keeps it, and what is nonsense is refused.
    assert!(garden.get(&format!("/plans/{plan}/edit")).await.contains("name=\"accept_short_percent\""));
    for bad in ["limit=accept&to=99", "limit=budget&to=-5", "limit=budget&to=x", "limit=&to=1"] {
        let answer = garden.ask(Method::POST, &format!("/plans/{plan}/trade-off"), bad).await;
        assert!(answer.status.is_client_error(), "{bad}: {}", answer.status);
    }
    assert_eq!(planned.view(plan).await.options, view.options);
}

/// More may be left short to spend less: the plan says what that saves, keeps to it, and is the plan that
/// its reasons are tried of.
#[tokio::test]
async fn more_left_short_to_spend_less_says_what_it_saves() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    // What has no price is on hand.
    for name in ["Triple superphosphate", "Epsom salt", "Copper sulfate", "Borax"] {
        garden.app.count_stock(&garden.ada, amendment(garden, name).await, "2026-03-01", "50").await.unwrap();
    }
    let whole = planned.plan().await;
    let plain = planned.why(whole).await.base.unwrap().measure;
    // One pack of potash is all that is bought: to save it, potassium has to be left out, one need of a handful.
    assert!(plain.cost_minor == 750.0, "{plain:?}");
    let body = planned.new_plan_body().await;
    let plan = planned.plan_from(&body.replace("spend_less_percent=", "spend_less_percent=25")).await;
    let view = planned.view(plan).await;
    assert!(!view.stale && view.options.spend_less_percent == Some(25.0));
    let thrift = view.outcome.thrift.expect("it was looked into");
    assert!((thrift.without.cost_minor - plain.cost_minor).abs() < 0.5, "{thrift:?} {plain:?}");
    assert!(thrift.saved() && thrift.with.cost_minor == view.cost_minor, "{thrift:?}");
    // Never more given up than was asked, but for the scale's steps, and no more of what nobody needs.
    assert!(thrift.with.short_percent <= thrift.without.short_percent + 25.0 + 0.5, "{thrift:?}");
    assert!(thrift.with.over_percent <= thrift.without.over_percent + 0.5, "{thrift:?}");
    let page = garden.get(&format!("/plans/{plan}")).await;
    assert!(page.contains("To spend less, up to 25\u{a0}% more of the needs may be left short"), "{page}");
    assert!(page.contains("What spending less gives up"), "{page}");
    let compared = garden.get(&format!("/plans/{plan}/compare?with={whole}")).await;
    assert!(compared.contains("To spend less, up to 25\u{a0}% more"), "{compared}");
    let form = form_pairs(&garden.get(&format!("/plans/{plan}/edit")).await);
    assert!(form.iter().any(|pair| pair == "spend_less_percent=25"), "{form:?}");
    let tried = planned.why(plan).await.base.unwrap().measure;
    assert!((tried.cost_minor - view.cost_minor).abs() < 0.05 * plain.cost_minor, "{tried:?}, {}", view.cost_minor);
    // Set otherwise, it waits to be worked out again; what is no share is refused by its field.
    let refused = garden
        .refused(
            &format!("/seasons/{}/plans", planned.season),
            &body.replace("spend_less_percent=", "spend_less_percent=99"),
        )
        .await;
    assert!(refused.contains("id=\"spend_less_percent-problem\""), "{refused}");
    // A tenth saves no pack, so nothing is given up for nothing.
    let plan = planned.plan_from(&body.replace("spend_less_percent=", "spend_less_percent=10")).await;
    let page = garden.get(&format!("/plans/{plan}")).await;
    assert!(page.contains("would save nothing, so none of that is given up"), "{page}");
}

#[tokio::test]
async fn a_plan_is_held_against_nothing_last_season_and_other_plans() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let view = planned.view(plan).await;
    let (met, all) = view.needs_met();
    let both = |with| garden.app.compare_plan(&garden.ada, plan, with);

    let nothing = both(With::Nothing).await.unwrap();
    assert_eq!((nothing.this.tally.met, nothing.this.tally.needs), (met, all));
    assert!((nothing.this.tally.measure.cost_minor - view.cost_minor).abs() < 0.5);
    assert_eq!((nothing.other.tally.met, nothing.other.tally.products), (0, 0));
    assert_eq!(nothing.other.tally.measure.mass_g, 0.0);
    assert!((nothing.other.tally.measure.short_percent - 100.0).abs() < 1e-6, "{:?}", nothing.other.tally);
    assert_eq!(nothing.difference.met, -(met as i64));

    // Another plan of the season with one product, held against it from either side.
    let one = planned.plan_with("max_products=", "max_products=1").await;
    let other = both(With::Plan(one)).await.unwrap();
    assert_eq!(other.other.tally.products, 1);
    assert_eq!((other.other.tally.met, all), planned.view(one).await.needs_met());
    let back = garden.app.compare_plan(&garden.ada, one, With::Plan(plan)).await.unwrap();
    assert_eq!(back.difference.met, -other.difference.met);

    // Last season: a product that this plan does not hold, far beyond a cap on one bed.
    let none = both(With::LastSeason).await.unwrap();
    assert!(none.notes.iter().any(|note| note.contains("Nothing is recorded")), "{:?}", none.notes);
    let lime = amendment(garden, "Ground limestone").await;
    let copper = amendment(garden, "Copper sulfate").await;
    for (product, grams) in [(lime, "500"), (copper, "40")] {
        let form = ApplicationForm {
            plot: planned.beds[0].to_string(),
            amendment: product.to_string(),
            applied_on: "2025-04-01".into(),
            mass_g: grams.into(),
            ..ApplicationForm::default()
        };
        garden.app.record_application(&garden.ada, &form).await.unwrap();
    }
    let last = both(With::LastSeason).await.unwrap();
    let bed = &last.other.plots[&planned.beds[0]];
    assert_eq!((bed.doses_g[&lime], bed.doses_g[&copper]), (500.0, 40.0));
    assert!(last.other.exceeded.iter().any(|(plot, cap)| plot == "A1" && cap.contains("Copper")), "{:?}", last.other);

    let page = garden.get(&format!("/plans/{plan}/compare?with={one}")).await;
    assert!(page.contains("more unmet") && page.contains("Plot by plot"), "{page}");
    let page = garden.get(&format!("/plans/{plan}/compare?with=last")).await;
    assert!(page.contains("Caps exceeded") && page.contains("Ground limestone"), "{page}");
    for odd in ["x", "999", "-1"] {
        let answer = garden.ask(Method::GET, &format!("/plans/{plan}/compare?with={odd}"), "").await;
        assert_eq!(answer.status, StatusCode::NOT_FOUND, "{odd}");
    }
}
