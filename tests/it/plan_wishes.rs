//! Wishes, lists, overruled caps and odd input on the pages of plans: always a plan and a clear
//! sentence, what was typed is kept, and nobody but a steward moves a cap.

use super::plan_pages::{Planned, amendment, five_beds, form_pairs, table};
use axum::http::{Method, StatusCode};
use glebe::{
    agronomy::element::Element,
    app::{
        Actor, Error, Role,
        amendments::{AmendmentForm, AnalysisForm, PackForm},
        applications::ApplicationForm,
        plots::{BlockForm, PlotForm, SiteForm},
        seasons::{DoseForm, OverruleForm},
    },
    ids::{AmendmentId, PlanId, PlotId},
};

impl Planned {
    /// Changes what a plan is made from: its form as it stands, with these fields besides.
    async fn change(&self, plan: PlanId, more: &str) -> String {
        let pairs = form_pairs(&self.garden.get(&format!("/plans/{plan}/edit")).await);
        let typed: Vec<&str> = more.split('&').filter_map(|pair| pair.split('=').next()).collect();
        let kept = pairs.iter().filter(|pair| !typed.contains(&pair.split('=').next().unwrap()));
        let body = kept.map(String::as_str).chain([more]).collect::<Vec<_>>().join("&");
        self.garden.send(&format!("/plans/{plan}"), &body).await;
        self.page(plan).await
    }

    async fn page(&self, plan: PlanId) -> String {
        self.garden.get(&format!("/plans/{plan}")).await
    }

    async fn mass(&self, plan: PlanId, plot: PlotId, product: AmendmentId) -> f64 {
        self.view(plan).await.dose(plot, product).map_or(0.0, |dose| dose.mass_g)
    }
}

#[tokio::test]
async fn a_product_is_kept_off_or_used_where_the_grower_says_so() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let potash = amendment(garden, "Sulfate of potash").await;
    let epsom = amendment(garden, "Epsom salt").await;
    let [a, b] = [planned.beds[0], planned.beds[1]];
    assert!(planned.mass(plan, a, potash).await > 0.0 && planned.mass(plan, a, epsom).await == 0.0);
    let wishes = format!(
        "wants.0.product={potash}&wants.0.what=off&wants.0.place=plot-{a}&wants.0.reason=burnt+leaves\
         &wants.1.product={epsom}&wants.1.what=use&wants.1.place=all&wants.1.least=12%2C5"
    );
    let page = planned.change(plan, &wishes).await;
    assert!(page.contains("Sulfate of potash is kept off A1, as you asked: burnt leaves."), "{page}");
    assert!(page.contains("Epsom salt must be used on every plot, at least 12.5 g/m², as you asked."), "{page}");
    assert_eq!(planned.mass(plan, a, potash).await, 0.0);
    assert!(planned.mass(plan, b, potash).await > 0.0);
    assert_eq!([planned.mass(plan, a, epsom).await, planned.mass(plan, b, epsom).await], [125.0; 2]);
    assert!(page.contains("kept off here: Sulfate of potash"), "{page}");
    // Salts in one bucket, then borax and copper.
    assert!(page.contains("2 passes") && !page.contains("3 passes"), "{page}");
    let form = garden.get(&format!("/plans/{plan}/edit")).await;
    assert!(form.contains("value=\"burnt leaves\"") && form.contains("name=\"wants.3.reason\""), "{form}");
    assert!(form.contains(&format!("<option value=\"plot-{a}\" selected>")));

    // The opposite of it as well: keeping off comes first, and that is said.
    let page = planned
        .change(plan, &format!("{wishes}&wants.2.product={potash}&wants.2.what=use&wants.2.place=all&wants.2.least=2"))
        .await;
    assert!(page.contains("keeping off comes first"), "{page}");
    assert_eq!(planned.mass(plan, a, potash).await, 0.0);

    // A line half filled is told so by its field, and nothing of it is lost.
    let bad = format!("name=Plan&guideline=rutgers_mehlich3&plots={a}&wants.0.what=off&wants.0.reason=too+salty");
    let page = garden.refused(&format!("/plans/{plan}"), &bad).await;
    assert!(page.contains("Say which product this is about.") && page.contains("value=\"too salty\""), "{page}");
    // A dose typed below what must be used is told on checking.
    let view = planned.view(plan).await;
    let body = table(&view, &[(DoseForm::grams_field(b, epsom), "3")]);
    let checked = garden.ask(Method::POST, &format!("/plans/{plan}/check"), &body).await;
    assert!(checked.text.contains("at least 125 g of Epsom salt must be used here"), "{}", checked.text);
}

#[tokio::test]
async fn one_recipe_for_a_block_shows_what_it_costs_beside_bed_by_bed() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let north = BlockForm { name: "North".into(), ..BlockForm::default() };
    let block = garden.app.add_block(&garden.ada, planned.site, &north).await.unwrap();
    for (at, &plot) in planned.beds.iter().take(3).enumerate() {
        let row = garden.app.plot(&garden.ada, plot).await.unwrap();
        let form = PlotForm { block: block.to_string(), ..PlotForm::from(&row) };
        garden.app.edit_plot(&garden.ada, plot, &form).await.unwrap();
        // Beans on one of them bar boron there.
        if at == 0 {
            garden.send(&format!("/seasons/{}/crops", planned.season), &format!("crop_{plot}=Pea")).await;
        }
    }
    let plan = planned.plan().await;
    let borax = amendment(garden, "Borax").await;
    assert_eq!(planned.mass(plan, planned.beds[0], borax).await, 0.0);
    assert!(planned.mass(plan, planned.beds[1], borax).await > 0.0);
    let page = planned.change(plan, "recipes=yes").await;
    assert!(page.contains("What one recipe for each block costs") && page.contains("Bed by bed"), "{page}");
    assert!(page.contains("all beds of the block get one recipe"), "{page}");
    for &bed in &planned.beds[..3] {
        assert_eq!(planned.mass(plan, bed, borax).await, 0.0, "none of the block gets boron, for the peas");
    }
    assert!(planned.mass(plan, planned.beds[3], borax).await > 0.0, "a bed of no block is planned by itself");
    let told = planned.view(plan).await.outcome.simplicity.expect("both were worked out");
    assert!(told.recipes.short_percent > told.apart.short_percent, "{told:?}");
    // Packs in halves: half a pack at half its price, and the list says halves.
    let potash = amendment(garden, "Sulfate of potash").await;
    planned.change(plan, &format!("sold.0.product={potash}&sold.0.how=halves&sold=whole")).await;
    let shopping = garden.get(&format!("/plans/{plan}/shopping")).await;
    assert!(shopping.contains("of a pack of 2\u{a0}kg"), "{shopping}");
    let form = garden.get(&format!("/plans/{plan}/edit")).await;
    assert!(form.contains("<option value=\"halves\" selected>"), "{form}");
}

#[tokio::test]
async fn a_plan_that_keeps_to_a_list_names_what_it_leaves_out_and_never_says_allowed() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let potash = amendment(garden, "Sulfate of potash").await;
    let form = garden.get(&format!("/plans/{plan}/edit")).await;
    assert!(form.contains("note on their pages what a list says of them"), "{form}");
    let path = format!("/amendments/{potash}/lists");
    let page = garden.refused(&path, "list=EU+annex+II&conditions=crude+salt&stated_on=2026-03-03").await;
    assert!(page.contains("Say who or what says so") && page.contains("value=\"crude salt\""), "{page}");
    let body = "list=EU+annex+II&status=listed&list_source=certifier’s+letter&stated_on=2026-03-03";
    garden.send(&path, body).await;
    let borax = amendment(garden, "Borax").await;
    let more = "list=EU+annex+II&status=conditions&conditions=shortage+shown&list_source=the+list&stated_on=2026-02-01";
    garden.send(&format!("/amendments/{borax}/lists"), more).await;
    let own = garden.get(&format!("/amendments/{potash}")).await;
    assert!(own.contains("Listed on EU annex II (certifier’s letter, 3 Mar 2026)."), "{own}");
    assert!(own.contains("The catalogue: EU 2021/1165 annex II: listed"), "{own}");

    let page = planned.change(plan, "list=EU+annex+II").await;
    let used: Vec<AmendmentId> = planned.view(plan).await.used().map(|row| row.id).collect();
    assert_eq!(used, [borax, potash]);
    for part in [
        "Only what is listed on EU annex II is used, so these are left out: ",
        "Copper sulfate, of which nothing is noted",
        "listed under conditions on EU annex II (the list, 1 Feb 2026): shortage shown",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("allowed"), "{page}");
    let form = garden.get(&format!("/plans/{plan}/edit")).await;
    assert!(form.contains("listed on EU annex II (certifier’s letter, 3 Mar 2026)"), "{form}");

    // Evidence is kept beside it; the newest word counts; a mistake is voided with a reason.
    let status =
        garden.app.list_statuses(&garden.ada).await.unwrap().iter().find(|s| s.amendment == potash).unwrap().id;
    garden.app.attach_to_list_status(&garden.ada, status, "letter.pdf", b"%PDF-1.7 x").await.unwrap();
    assert!(garden.get(&format!("/lists/{status}/file")).await.starts_with("%PDF-"));
    let twice = garden.app.attach_to_list_status(&garden.ada, status, "again.pdf", b"%PDF-1.7 y").await;
    assert!(matches!(twice, Err(Error::Invalid(_))));
    garden.send(&path, "list=EU+annex+II&status=not_listed&list_source=new+list&stated_on=2026-03-10").await;
    planned.change(plan, "list=EU+annex+II").await;
    assert_eq!(planned.view(plan).await.used().map(|row| row.id).collect::<Vec<_>>(), [borax]);
    let newest = garden.app.list_statuses(&garden.ada).await.unwrap();
    let newest = newest.iter().find(|s| s.amendment == potash && s.status == "not_listed").unwrap().id;
    assert!(garden.app.void_list_status(&garden.ada, newest, " ").await.is_err());
    garden.send(&format!("/lists/{newest}/void"), "reason=wrong+product").await;
    planned.change(plan, "list=EU+annex+II").await;
    assert!(planned.view(plan).await.used().any(|row| row.id == potash));
}

fn decision(kg_per_ha: &str, plots: &[PlotId], reason: &str, warned: &str) -> OverruleForm {
    OverruleForm {
        kg_per_ha: kg_per_ha.into(),
        plots: plots.iter().map(ToString::to_string).collect(),
        reason: reason.into(),
        warned: warned.into(),
    }
}

#[tokio::test]
async fn only_a_steward_overrules_a_cap_in_writing_and_it_is_printed() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let [a, b] = [planned.beds[0], planned.beds[1]];
    let copper = amendment(garden, "Copper sulfate").await;
    let field = DoseForm::grams_field(a, copper);
    let path = format!("/plans/{plan}/caps/{a}/total-Cu");
    let page = planned.page(plan).await;
    assert!(
        page.contains(&format!("href=\"{path}\"")) && page.contains("caps that these doses do not touch"),
        "{page}"
    );
    assert!(!page.contains("manure-N\">"), "what is law somewhere is not overruled here");

    // A recorder may not, whatever is typed.
    let recorder = Actor { role: Role::Recorder, ..garden.ada.clone() };
    let whole = decision("4", &[a], "leaf test shows copper at 2 mg/kg", "yes");
    let denied = garden.app.overrule_cap(&recorder, plan, "total-Cu", &whole).await;
    assert!(matches!(denied, Err(Error::Denied)), "{denied:?}");
    assert!(planned.view(plan).await.overrules.is_empty());

    // A steward needs a reason, the tick beside the warning, and stays below what anybody publishes.
    let form = garden.get(&path).await;
    for part in
        ["2.24 kg/ha", "stays in the soil", "I have read the warning", "At the very most 12 kg/ha", "North Carolina"]
    {
        assert!(form.contains(part), "{part}: {form}");
    }
    let page = garden.refused(&path, &format!("kg_per_ha=4&plots={a}&reason=&warned=yes")).await;
    assert!(page.contains("id=\"reason-problem\"") && page.contains("value=\"4\""), "{page}");
    let page = garden.refused(&path, &format!("kg_per_ha=4&plots={a}&reason=leaf+test")).await;
    assert!(page.contains("tick that you have read it") && page.contains("leaf test"), "{page}");
    let page = garden.refused(&path, &format!("kg_per_ha=40&plots={a}&reason=leaf+test&warned=yes")).await;
    assert!(page.contains("No more than 12 kg/ha"), "{page}");
    assert!(planned.view(plan).await.overrules.is_empty());

    // The dose beyond the published cap is refused before, and taken after, on these two beds only.
    let view = planned.view(plan).await;
    garden.refused(&format!("/plans/{plan}/doses"), &table(&view, &[(field.clone(), "12")])).await;
    garden
        .send(&path, &format!("kg_per_ha=4&plots={a}&plots={b}&reason=leaf+test+shows+copper+at+2+mg%2Fkg&warned=yes"))
        .await;
    let view = planned.view(plan).await;
    assert!(view.stale, "the plan rests on another cap now");
    garden.send(&format!("/plans/{plan}/doses"), &table(&view, &[(field.clone(), "12")])).await;
    let view = planned.view(plan).await;
    let other = DoseForm::grams_field(planned.beds[2], copper);
    garden.refused(&format!("/plans/{plan}/doses"), &table(&view, &[(other, "12")])).await;

    let page = planned.page(plan).await;
    for part in [
        "<strong>Overruled.</strong> Decided by Ada Marsh on 21\u{a0}Mar\u{a0}2026: leaf test shows copper at 2 mg/kg.",
        "stays in the soil",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    let sheet = garden.get(&format!("/plans/{plan}/sheet")).await;
    for part in [
        "Caps that were overruled",
        "<strong>A1, A2.</strong>",
        // 4 and 2.24 kg/ha, as this site speaks of rates.
        "0.4 g/m² by decision of Ada Marsh, where 0.224 g/m² is published",
        "leaf test shows copper at 2 mg/kg",
        "Published: Copper on mineral soil: at most 0.224 g/m²",
        "cannot be taken out again",
    ] {
        assert!(sheet.contains(part), "{part}: {sheet}");
    }
    let history = garden.get(&format!("/plans/{plan}/history")).await;
    assert!(
        history.contains("A cap was overruled on A1, A2: 4 kg/ha") && history.contains("The warning was read."),
        "{history}"
    );
    let working = garden.get(&format!("/plans/{plan}/working/{a}/Cu")).await;
    assert!(working.contains("leaf test shows copper") && working.contains("Published: 2.24 kg/ha."), "{working}");

    // Law stays law.
    let manured = own_product(&planned, "Our manure", "manure", "2-1-2", "on").await;
    planned.change(plan, &format!("{}&products={manured}", products(&planned, plan).await)).await;
    let law =
        garden.app.overrule_cap(&garden.ada, plan, "manure-N", &decision("250", &[a], "more is needed", "yes")).await;
    assert!(matches!(&law, Err(Error::Invalid(p)) if p.to_string().contains("not overruled here")), "{law:?}");

    // Taken back, the published cap holds again; once agreed, nothing moves.
    let view = planned.view(plan).await;
    let taken = view.overrules.iter().find(|row| row.plot == b).unwrap().id;
    garden.send(&format!("/plans/{plan}/overrules/{taken}/withdraw"), "").await;
    assert!(garden.get(&format!("/plans/{plan}/history")).await.contains("The published cap holds again on A2"));
    garden.send(&format!("/plans/{plan}/agree"), "").await;
    let late = garden.app.overrule_cap(&garden.ada, plan, "total-Cu", &whole).await;
    assert!(matches!(late, Err(Error::Conflict(_))), "{late:?}");
    assert!(garden.get(&format!("/plans/{plan}/sheet")).await.contains("<strong>A1.</strong>"));
}

#[tokio::test]
async fn the_most_of_a_product_is_a_cap_like_others() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let a = planned.beds[0];
    let epsom = amendment(garden, "Epsom salt").await;
    let field = DoseForm::grams_field(a, epsom);
    // Penn State: 3 lb on 100 ft² at once is 146.5 g/m², 1,465 g on 10 m².
    let page = garden
        .refused(&format!("/plans/{plan}/doses"), &table(&planned.view(plan).await, &[(field.clone(), "1500")]))
        .await;
    assert!(page.contains("Epsom salt at once: at most 146.5 g/m² of the product"), "{page}");
    // Advice, so that no warning has to be ticked.
    let path = format!("/plans/{plan}/caps/{a}/product-{epsom}");
    garden.send(&path, &format!("kg_per_ha=2000&plots={a}&reason=given+in+two+parts")).await;
    garden.send(&format!("/plans/{plan}/doses"), &table(&planned.view(plan).await, &[(field, "1500")])).await;
    assert!(garden.get(&format!("/plans/{plan}/sheet")).await.contains("given in two parts"));
}

async fn products(planned: &Planned, plan: PlanId) -> String {
    let view = planned.view(plan).await;
    view.products.iter().map(|row| format!("products={}", row.id)).collect::<Vec<_>>().join("&")
}

async fn own_product(planned: &Planned, name: &str, kind: &str, label: &str, manure: &str) -> AmendmentId {
    let form =
        AmendmentForm { name: name.into(), kind: kind.into(), manure: manure.into(), ..AmendmentForm::default() };
    let analysis = AnalysisForm {
        valid_from: "2020-01-01".into(),
        label: label.into(),
        source: "the bag".into(),
        ..AnalysisForm::default()
    };
    planned.garden.app.add_amendment(&planned.garden.ada, &form, &analysis).await.unwrap()
}

// ---- odd input: a plan and a sentence -------------------------------------------------

#[tokio::test]
async fn nothing_that_can_be_had_or_everything_barred_is_said_on_the_plan() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let potash = amendment(garden, "Sulfate of potash").await;
    // Only potash: nothing supplies boron, copper and phosphorus.
    let page = planned.change(plan, &format!("products={potash}")).await;
    assert!(page.contains("No product in the list supplies boron, which is needed on A1, A2, A3, B1, B2."), "{page}");
    assert!(page.contains("no product in the list carries it"), "{page}");
    // None at all.
    let page = planned.change(plan, "products=").await;
    assert!(page.contains("This plan puts nothing on its 5\u{a0}plots.") && page.contains("Left undone"), "{page}");
    // All that is ticked is kept off.
    let page = planned
        .change(plan, &format!("products={potash}&wants.0.product={potash}&wants.0.what=off&wants.0.place=all"))
        .await;
    assert!(page.contains("This plan puts nothing") && page.contains("kept off here: Sulfate of potash"), "{page}");
    // Nothing on hand and no pack.
    let gone = own_product(&planned, "Old potash", "salt", "0-0-50", "").await;
    let page = planned.change(plan, &format!("products={gone}&wants.0.product=")).await;
    assert!(page.contains("Old potash is not used: none is on hand and no pack is known to buy."), "{page}");
    assert!(page.contains("no more Old potash can be had"), "{page}");
    // A budget and no price; a budget of nothing.
    let phosphate = amendment(garden, "Triple superphosphate").await;
    let page = planned.change(plan, &format!("products={phosphate}&budget=50")).await;
    assert!(page.contains("Triple superphosphate has no price, and there is a budget to keep"), "{page}");
    let page = planned.change(plan, &format!("products={potash}&budget=0")).await;
    assert!(page.contains("the budget is spent"), "{page}");
    // Without a budget it is bought, and the cost says what it leaves out.
    let page = planned.change(plan, &format!("products={potash}&products={phosphate}&budget=")).await;
    assert!(page.contains("taken to be as dear, gram for gram, as the dearest product here"), "{page}");
}

#[tokio::test]
async fn caps_used_up_and_kept_doses_beyond_them_leave_a_plan_to_look_at() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let [a, b] = [planned.beds[0], planned.beds[1]];
    let borax = amendment(garden, "Borax").await;
    let put_on = ApplicationForm {
        plot: a.to_string(),
        applied_on: "2026-03-01".into(),
        amendment: borax.to_string(),
        mass_g: "40".into(),
        ..ApplicationForm::default()
    };
    garden.app.record_application(&garden.ada, &put_on).await.unwrap();
    let plan = planned.plan().await;
    let page = planned.page(plan).await;
    assert!(page.contains("is already exceeded by") && page.contains("It leaves nothing on this plot"), "{page}");
    assert_eq!(planned.mass(plan, a, borax).await, 0.0);
    assert!(planned.mass(plan, b, borax).await > 0.0);

    // A dose is kept; then peas are to grow there, which take no boron. The choices are still saved.
    let kept = [(DoseForm::grams_field(b, borax), "5"), (DoseForm::lock_field(b, borax), "on")];
    garden.send(&format!("/plans/{plan}/doses"), &table(&planned.view(plan).await, &kept)).await;
    garden.send(&format!("/seasons/{}/crops", planned.season), &format!("crop_{b}=Pea")).await;
    let page = planned.change(plan, "max_products=3").await;
    assert!(page.contains("Beyond the cap.") && page.contains("the doses bring"), "{page}");
    assert!(garden.get(&format!("/plans/{plan}/edit")).await.contains(
        "name=\"max_products\" type=\"text\" inputmode=\"decimal\" autocomplete=\"off\" size=\"8\" value=\"3\""
    ));
    let body = table(&planned.view(plan).await, &[(DoseForm::lock_field(b, borax), "on")]);
    let page = garden.refused(&format!("/plans/{plan}/solve"), &body).await;
    assert!(page.contains(&format!("id=\"{}-problem\"", DoseForm::grams_field(b, borax))), "{page}");
    // Kept and kept off at once.
    let view = planned.view(plan).await;
    let free: Vec<(String, &str)> = vec![(DoseForm::grams_field(b, borax), "")];
    let body = table(&view, &free).replace(&format!("&{}=on", DoseForm::lock_field(b, borax)), "");
    garden.send(&format!("/plans/{plan}/doses"), &body).await;
    let potash = amendment(garden, "Sulfate of potash").await;
    let kept = [(DoseForm::grams_field(a, potash), "90"), (DoseForm::lock_field(a, potash), "on")];
    garden.send(&format!("/plans/{plan}/doses"), &table(&planned.view(plan).await, &kept)).await;
    let page = planned.change(plan, &format!("wants.0.product={potash}&wants.0.what=off&wants.0.place=all")).await;
    assert!(page.contains("A1: Sulfate of potash is kept off this plot, and yet there is a dose of it."), "{page}");
    assert_eq!(planned.mass(plan, a, potash).await, 90.0);
}

#[tokio::test]
async fn a_speck_of_a_plot_and_a_coarse_scale_get_a_plan_and_a_mix() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let row = garden.app.plot(&garden.ada, planned.beds[0]).await.unwrap();
    let form = PlotForm { area_m2: "0.5".into(), ..PlotForm::from(&row) };
    garden.app.edit_plot(&garden.ada, planned.beds[0], &form).await.unwrap();
    let site = garden.app.site(&garden.ada, planned.site).await.unwrap();
    let coarse = SiteForm { scale_step_g: "100".into(), ..SiteForm::from(&site) };
    garden.app.edit_site(&garden.ada, planned.site, &coarse).await.unwrap();
    let plan = planned.plan().await;
    let page = planned.page(plan).await;
    assert!(page.contains("is less than the scale"), "{page}");
    let view = planned.view(plan).await;
    let speck = &view.plots[0];
    assert!(speck.doses.iter().any(|dose| dose.mass_g > 0.0 && dose.mass_g < 100.0), "never rounded to nothing");
    assert!(speck.needs.iter().filter(|n| n.need.element == Element::K).all(|n| n.supplied_g > 0.0));
    let sheet = garden.ask(Method::GET, &format!("/plans/{plan}/sheet"), "").await;
    assert!(sheet.status == StatusCode::OK && sheet.text.contains("Mix these first"), "{}", sheet.text);
    let pack = PackForm { mass_kg: "0.05".into(), price: "1".into(), currency: "EUR".into(), ..PackForm::default() };
    garden.app.add_pack(&garden.ada, amendment(garden, "Borax").await, &pack).await.unwrap();
    assert!(planned.change(plan, "max_passes=1").await.contains("one pass"));
}
