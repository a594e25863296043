//! Odd input on its way through the forms, and every page of the plan afterwards: a plan with a
//! clear sentence on it, figures that can be read, and never an error page.

use super::plan_pages::{Planned, amendment, five_beds, form_pairs, table};
use axum::http::{Method, StatusCode};
use glebe::{
    app::seasons::{DoseForm, Solving},
    ids::{AmendmentId, PlanId, PlotId},
};

/// What a form shows, selects and all, with these fields typed otherwise.
fn typed(page: &str, changes: &[(&str, &str)]) -> String {
    let mut pairs = form_pairs(page);
    for tag in page.split("<select").skip(1) {
        let name = tag.split_once("name=\"").map(|(_, rest)| rest.split('"').next().unwrap()).expect("a name");
        let options = tag.split("</select>").next().unwrap();
        let chosen = options.split("<option").skip(1).find(|option| option.contains(" selected"));
        let chosen = chosen.or_else(|| options.split("<option").nth(1)).unwrap_or_default();
        let value = chosen.split_once("value=\"").map_or("", |(_, rest)| rest.split('"').next().unwrap());
        pairs.push(format!("{name}={value}"));
    }
    pairs.retain(|pair| changes.iter().all(|(name, _)| pair.split('=').next() != Some(name)));
    pairs.extend(changes.iter().map(|(name, value)| format!("{name}={value}")));
    pairs.join("&")
}

impl Planned {
    async fn rest(&self, plan: PlanId) {
        while self.garden.app.solving(&self.garden.ada, plan).unwrap() != Solving::Done {
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
    }

    /// A new plan from the form as it stands, but with these products and other fields.
    async fn plan_of(&self, products: &[AmendmentId], changes: &[(&str, &str)]) -> PlanId {
        let form = self.garden.get(&format!("/seasons/{}/plans/new", self.season)).await;
        let mut body = typed(&form, changes);
        body = body.split('&').filter(|pair| !pair.starts_with("products=")).collect::<Vec<_>>().join("&");
        for product in products {
            body += &format!("&products={product}");
        }
        let to = self.garden.send(&format!("/seasons/{}/plans", self.season), &body).await;
        let plan = to.strip_prefix("/plans/").unwrap().trim_end_matches("/work").parse().unwrap();
        self.rest(plan).await;
        plan
    }

    /// Every page of a plan as a reader opens them, one below the other.
    async fn every_page(&self, plan: PlanId) -> String {
        let mut all = String::new();
        for page in [
            "",
            "?products=all",
            "/why",
            "/trade-off",
            "/compare?with=nothing",
            "/compare?with=last",
            "/sheet",
            "/sheet?by=product&paper=letter",
            "/sheet?by=round",
            "/labels",
            "/labels?by=product",
            "/shopping",
            "/edit",
            "/record",
            "/history",
        ] {
            let path = format!("/plans/{plan}{page}");
            let answer = self.garden.ask(Method::GET, &path, "").await;
            assert_eq!(answer.status, StatusCode::OK, "{path}: {}", answer.text);
            for odd in ["NaN", ">inf", " inf", "\u{2212}0\u{a0}", "-0\u{a0}", "no. 0"] {
                assert!(!answer.text.contains(odd), "{path} shows {odd}: {}", answer.text);
            }
            all += &answer.text;
        }
        for (plot, line) in self.view(plan).await.plots.iter().flat_map(|p| p.needs.iter().map(move |line| (p, line))) {
            let path = format!("/plans/{plan}/working/{}/{}", plot.standing.plot.id, line.need.element.symbol());
            self.garden.get(&path).await;
        }
        all
    }

    /// Opens every page of a plan, which say all of this.
    async fn says(&self, plan: PlanId, words: &[&str]) {
        let all = self.every_page(plan).await;
        for said in words {
            assert!(
                all.contains(said),
                "nothing says “{said}” on:\n{}",
                self.garden.get(&format!("/plans/{plan}")).await
            );
        }
    }

    /// A new area of a plot, by its form.
    async fn area(&self, plot: PlotId, m2: &str) {
        let form = self.garden.get(&format!("/plots/{plot}/edit")).await;
        self.garden.send(&format!("/plots/{plot}"), &typed(&form, &[("area_m2", m2)])).await;
    }

    async fn scale(&self, step_g: &str) {
        let form = self.garden.get(&format!("/sites/{}/edit", self.site)).await;
        self.garden.send(&format!("/sites/{}", self.site), &typed(&form, &[("scale_step_g", step_g)])).await;
    }

    async fn shed(&self) -> [AmendmentId; 5] {
        let of = |name| amendment(&self.garden, name);
        [
            of("Sulfate of potash").await,
            of("Triple superphosphate").await,
            of("Epsom salt").await,
            of("Copper sulfate").await,
            of("Borax").await,
        ]
    }
}

#[tokio::test]
async fn no_product_for_an_element_and_every_product_barred() {
    let planned = five_beds().await;
    let shed = planned.shed().await;
    let [potash, ..] = shed;
    let lone = planned.plan_of(&[potash], &[]).await;
    planned.says(lone, &["No product in the list supplies boron, which is needed on A1, A2, A3, B1, B2."]).await;
    let none = planned.plan_of(&[], &[]).await;
    planned.says(none, &["This plan puts nothing on its 5\u{a0}plots.", "there is nothing to buy"]).await;
    // Each of the five is kept off everywhere.
    let wants: Vec<(String, String)> = (0..)
        .zip(&shed)
        .flat_map(|(at, product)| {
            [("product", product.to_string()), ("what", "off".into()), ("place", "all".into())]
                .map(|(field, value)| (format!("wants.{at}.{field}"), value))
        })
        .collect();
    let wants: Vec<(&str, &str)> = wants.iter().map(|(field, value)| (field.as_str(), value.as_str())).collect();
    let barred = planned.plan_of(&shed, &wants).await;
    planned.says(barred, &["kept off here: ", "Sulfate of potash is kept off every plot, as you asked."]).await;
    // Nothing to put on is no reason not to agree it, and the record says so.
    planned.garden.send(&format!("/plans/{barred}/agree"), "").await;
    planned.says(barred, &["It asked for no dose."]).await;
}

#[tokio::test]
async fn caps_that_are_exceeded_already_and_kept_doses_that_contradict() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let shed = planned.shed().await;
    let [potash, phosphate, epsom, _, borax] = shed;
    let [a, b] = [planned.beds[0], planned.beds[1]];
    // 40 g of borax are 4.5 g of boron on 10 m², far beyond any published most.
    let sent = format!("amendment={borax}&applied_on=2026-03-01&mass_g=40&anyway=yes");
    let answer = garden.ask(Method::POST, &format!("/plots/{a}/applications"), &sent).await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
    let plan = planned.plan_of(&shed, &[]).await;
    planned
        .says(plan, &["is already exceeded by", "so this is not used here: Borax", "It leaves nothing on this plot"])
        .await;
    assert_eq!(planned.view(plan).await.dose(a, borax).map_or(0.0, |dose| dose.mass_g), 0.0);
    // Five kept doses of three products, where two are asked for and one is kept off.
    let keep = |plot, product, grams| {
        [(DoseForm::grams_field(plot, product), grams), (DoseForm::lock_field(plot, product), "on")]
    };
    let kept: Vec<(String, &str)> =
        [keep(a, potash, "300"), keep(a, epsom, "0"), keep(b, phosphate, "200"), keep(b, epsom, "50")].concat();
    garden.send(&format!("/plans/{plan}/doses"), &table(&planned.view(plan).await, &kept)).await;
    let form = garden.get(&format!("/plans/{plan}/edit")).await;
    let changes = [
        ("max_products", "2"),
        ("budget", "1"),
        ("max_passes", "1"),
        ("wants.0.product", &*potash.to_string()),
        ("wants.0.what", "off"),
        ("wants.0.place", "all"),
        ("wants.1.product", &*epsom.to_string()),
        ("wants.1.what", "use"),
        ("wants.1.place", "all"),
        ("wants.1.least", "20"),
    ];
    garden.send(&format!("/plans/{plan}"), &typed(&form, &changes)).await;
    planned.rest(plan).await;
    planned
        .says(
            plan,
            &[
                "A1: Sulfate of potash is kept off this plot, and yet there is a dose of it.",
                "Doses that are kept or must be used take 3 products, more than the 2 asked for",
                "A1: Epsom salt must be used, at least 200 g; it gets none, because its dose is kept as it is.",
                "A2: Epsom salt must be used, at least 200 g; it gets 50 g, because its dose is kept as it is.",
                "A3, B1, B2: Epsom salt must be used, at least 200 g; it gets none, because none is on hand",
                "which is more than the budget of 1.00",
            ],
        )
        .await;
    let view = planned.view(plan).await;
    let dose = |plot, product| view.dose(plot, product).map_or(0.0, |dose| dose.mass_g);
    assert_eq!([dose(a, potash), dose(a, epsom), dose(b, phosphate), dose(b, epsom)], [300.0, 0.0, 200.0, 50.0]);
}

#[tokio::test]
async fn nothing_in_stock_and_no_price() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let shed = planned.shed().await;
    let [potash, phosphate, ..] = shed;
    // None left, and the one pack is no longer sold.
    garden.send(&format!("/amendments/{potash}/stock"), "counted_on=2026-03-01&counted_kg=0").await;
    let packs = garden.app.packs(&garden.ada).await.unwrap();
    for pack in &packs[&potash] {
        garden.send(&format!("/packs/{}/archive", pack.id), "").await;
    }
    let plan = planned.plan_of(&[potash, phosphate], &[]).await;
    planned
        .says(
            plan,
            &[
                "Sulfate of potash is not used: none is on hand and no pack is known to buy.",
                "No price is recorded for Triple superphosphate",
                "What it costs is not known.",
            ],
        )
        .await;
    // With a budget what has no price is not bought; one sentence names them all.
    let plan = planned.plan_of(&shed, &[("budget", "40")]).await;
    planned.says(plan, &["4 products have no price, and there is a budget to keep, so none of them is bought: "]).await;
    assert_eq!(planned.view(plan).await.mass_g, 0.0);
}

#[tokio::test]
async fn a_scale_too_coarse_for_the_dose_and_half_a_square_metre() {
    let planned = five_beds().await;
    let shed = planned.shed().await;
    planned.area(planned.beds[0], "0.5").await;
    planned.area(planned.beds[1], "0,5").await;
    let fine = planned.plan_of(&shed, &[]).await;
    planned.says(fine, &["0.5\u{a0}m²", "Mix these first"]).await;
    planned.scale("500").await;
    let coarse = planned.plan_of(&shed, &[]).await;
    planned.says(coarse, &["less than the scale", "Mix these first", "a carrier mix or a solution"]).await;
    let view = planned.view(coarse).await;
    assert!(view.plots[0].doses.iter().any(|dose| dose.mass_g > 0.0), "never rounded to nothing");
    // Everything at once: specks, a brick of a scale, no money, one product, one pass.
    let all = [("budget", "0"), ("max_products", "1"), ("max_passes", "1"), ("recipes", "yes"), ("seasons", "4")];
    let plan = planned.plan_of(&shed, &all).await;
    planned.says(plan, &["This plan puts nothing on its 5\u{a0}plots."]).await;
}

#[tokio::test]
async fn a_plot_without_a_test_and_one_without_a_need() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let shed = planned.shed().await;
    let to = garden
        .send(&format!("/sites/{}/plots", planned.site), "code=Z9&area_m2=7&cover=open&texture=loam&depth_cm=15")
        .await;
    let new = to.trim_start_matches("/plots/");
    let only = planned.plan_of(&shed, &[("plots", new)]).await;
    planned
        .says(only, &["Z9", "has no soil test, so nothing is planned from one.", "The tests ask for nothing."])
        .await;
}
