//! The pages of seasons and plans as a person uses them: five beds from their tests to the
//! weigh-out sheet and the shopping list; what was typed is kept, caps are hard, and every
//! figure opens to where it comes from.

use super::{
    ground_pages::Garden,
    store::{plot_form, site_form},
};
use axum::http::{Method, StatusCode};
use glebe::{
    agronomy::{element::Element, liking::Liking, quantity::Grams, season},
    app::{
        amendments::PackForm,
        plots::SiteForm,
        reports::{CellForm, ReportForm, SamplingForm},
        seasons::{DoseForm, PlanView, Sheet, Solving},
    },
    ids::{AmendmentId, PlanId, PlotId, SeasonId, SiteId},
    web::pages::plan_working::workings,
};
use jiff::civil::date;

const BEDS: [&str; 5] = ["A1", "A2", "A3", "B1", "B2"];

pub struct Planned {
    pub garden: Garden,
    pub site: SiteId,
    pub season: SeasonId,
    pub beds: Vec<PlotId>,
}

pub fn cell(analyte: &str, printed: &str) -> CellForm {
    let method = if analyte == "ph" { "ph_water_1_1" } else { "mehlich3_icp" };
    CellForm {
        analyte: analyte.into(),
        method: method.into(),
        printed: printed.into(),
        unit: if analyte == "ph" { "" } else { "mg/kg" }.into(),
        ..CellForm::default()
    }
}

/// Five beds of 10 m², tested by Mehlich-3 and short of phosphorus, potassium, copper and
/// boron; the catalogue with a price for every pack; a season.
pub async fn five_beds() -> Planned {
    let garden = Garden::new().await;
    let (app, ada) = (&garden.app, &garden.ada);
    let form = SiteForm { guideline: "rutgers_mehlich3".into(), scale_step_g: "1".into(), ..site_form("Home") };
    let site = app.add_site(ada, &form).await.unwrap();
    let mut beds = Vec::new();
    for code in BEDS {
        beds.push(app.add_plot(ada, site, &plot_form(code, "10")).await.unwrap());
    }
    let sampling = SamplingForm {
        plots: beds.iter().map(ToString::to_string).collect(),
        sampled_on: "2026-02-10".into(),
        depth_bottom_cm: "20".into(),
        cores: "20".into(),
        ..SamplingForm::default()
    };
    let rows = [("ph", "6.4"), ("P", "14"), ("K", "45"), ("Mg", "90"), ("Ca", "900"), ("Cu", "0.2"), ("B", "0.3")];
    let rows = rows.map(|(analyte, printed)| cell(analyte, printed)).to_vec();
    let report = ReportForm { lab: "Lab North".into(), rows, ..ReportForm::default() };
    app.save_sampling_with_report(ada, &sampling, &report).await.unwrap();
    app.seed_catalogue(ada, date(2020, 1, 1)).await.unwrap();
    let potash = amendment(&garden, "Sulfate of potash").await;
    let pack = PackForm { mass_kg: "2".into(), price: "7.50".into(), currency: "EUR".into(), ..PackForm::default() };
    app.add_pack(ada, potash, &pack).await.unwrap();
    let to = garden.send(&format!("/sites/{site}/seasons"), "name=2026&starts_on=2026-01-01&ends_on=2026-12-31").await;
    let season = to.strip_prefix("/seasons/").unwrap().parse().unwrap();
    Planned { garden, site, season, beds }
}

pub async fn amendment(garden: &Garden, name: &str) -> AmendmentId {
    let rows = garden.app.amendments(&garden.ada, false).await.unwrap();
    let names: Vec<&str> = rows.iter().map(|row| row.amendment.name.as_str()).collect();
    rows.iter().find(|row| row.amendment.name.starts_with(name)).unwrap_or_else(|| panic!("{name} in {names:?}")).id
}

/// The fields of the form that a page shows, as it stands; selects are left out.
pub fn form_pairs(page: &str) -> Vec<String> {
    let mut pairs = Vec::new();
    for tag in page.split("<input").skip(1).map(|rest| rest.split('>').next().unwrap()) {
        let of = |name: &str| tag.split_once(&format!(" {name}=\"")).map(|(_, rest)| rest.split('"').next().unwrap());
        let boxed = tag.contains("type=\"checkbox\"") || tag.contains("type=\"radio\"");
        if let Some(name) = of("name").filter(|_| !boxed || tag.contains(" checked")) {
            pairs.push(format!("{name}={}", of("value").unwrap_or_default().replace('+', "%2B").replace(' ', "+")));
        }
    }
    pairs
}

impl Planned {
    /// The body of the form that the page for a new plan shows, as it stands.
    pub async fn new_plan_body(&self) -> String {
        let page = self.garden.get(&format!("/seasons/{}/plans/new", self.season)).await;
        let mut pairs = form_pairs(&page);
        // Of the products, a handful that one would have in a shed.
        let mut shed = Vec::new();
        for name in ["Sulfate of potash", "Triple superphosphate", "Epsom salt", "Copper sulfate", "Borax"] {
            shed.push(format!("products={}", amendment(&self.garden, name).await));
        }
        pairs.retain(|pair| !pair.starts_with("products=") || shed.contains(pair));
        pairs.join("&")
    }

    pub async fn plan(&self) -> PlanId {
        self.plan_from(&self.new_plan_body().await).await
    }

    /// The plan that the body of a form asks for, worked out.
    pub async fn plan_from(&self, body: &str) -> PlanId {
        let to = self.garden.send(&format!("/seasons/{}/plans", self.season), body).await;
        let plan = to.strip_prefix("/plans/").unwrap().trim_end_matches("/work").parse().unwrap();
        // On a busy machine it may not be done within the moment that a page waits.
        while self.garden.app.solving(&self.garden.ada, plan).unwrap() != Solving::Done {
            tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        }
        plan
    }

    pub async fn view(&self, plan: PlanId) -> PlanView {
        self.garden.app.plan(&self.garden.ada, plan).await.unwrap()
    }
}

/// The table of a plan as its form sends it, with some fields typed otherwise.
pub fn table(view: &PlanView, typed: &[(String, &str)]) -> String {
    let mut pairs: Vec<String> = vec![format!("revision={}", view.plan.revision)];
    for dose in view.plots.iter().flat_map(|plot| &plot.doses) {
        let field = DoseForm::grams_field(dose.plot, dose.amendment);
        if typed.iter().all(|(name, _)| *name != field) {
            pairs.push(format!("{field}={}", DoseForm::grams_text(dose.mass_g)));
        }
    }
    pairs.extend(typed.iter().map(|(field, text)| format!("{field}={text}")));
    pairs.join("&")
}

#[tokio::test]
pub(super) async fn five_beds_are_planned_edited_agreed_and_printed() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let form = garden.get(&format!("/seasons/{}/plans/new", planned.season)).await;
    for part in ["buffer test", "of the aim", "name=\"plots\"", "none on hand; packs of", "2\u{a0}kg for €7.50"] {
        assert!(form.contains(part), "{part}: {form}");
    }
    let lime = amendment(garden, "Ground limestone").await;
    let ticked = |id: AmendmentId| form.contains(&format!("name=\"products\" value=\"{id}\" checked"));
    assert!(!ticked(lime) && ticked(amendment(garden, "Borax").await), "lime starts unticked");

    let plan = planned.plan().await;
    let view = planned.view(plan).await;
    assert!(view.used().count() > 1 && view.mass_g > 0.0 && !view.stale);
    let page = garden.get(&format!("/plans/{plan}")).await;
    for part in
        ["It puts ", " on 5\u{a0}plots", "It costs", "What it needs this season", "what a dose adds", "Work out again"]
    {
        assert!(page.contains(part), "{part}: {page}");
    }

    // Fields as they are change nothing; half a dose is judged at once, and saved when asked.
    let potash = view.used().find(|row| row.amendment.analysis.fraction(Element::K) > 0.3).expect("a potash").id;
    let full = view.dose(planned.beds[0], potash).unwrap().mass_g;
    garden.send(&format!("/plans/{plan}/doses"), &table(&view, &[])).await;
    let same = planned.view(plan).await;
    assert_eq!(same.mass_g, view.mass_g);
    assert!(same.plots.iter().flat_map(|p| &p.doses).all(|d| !d.by_hand) && !same.outcome.edited);
    let half = format!("{}", (full / 2.0).round());
    let field = DoseForm::grams_field(planned.beds[0], potash);
    let body = table(&same, &[(field.clone(), &half)]);
    let checked = garden.ask(Method::POST, &format!("/plans/{plan}/check"), &body).await;
    assert_eq!(checked.status, StatusCode::OK);
    assert!(checked.text.contains("Checked, not saved yet") && checked.text.contains("not supplied by these doses"));
    assert!(checked.text.contains(&format!("name=\"{field}\" value=\"{half}\"")), "what was typed is kept");
    assert_eq!(planned.view(plan).await.mass_g, view.mass_g, "a check saves nothing");
    garden.send(&format!("/plans/{plan}/doses"), &body).await;
    let edited = planned.view(plan).await;
    assert_eq!(edited.dose(planned.beds[0], potash).unwrap().mass_g, half.parse::<f64>().unwrap());
    assert!(edited.outcome.edited && edited.dose(planned.beds[0], potash).unwrap().by_hand);

    // A table that was read before somebody else's change does not overwrite it.
    let late = garden.refused(&format!("/plans/{plan}/doses"), &table(&view, &[(field.clone(), "1")])).await;
    assert!(late.contains("Somebody else changed this") && late.contains(&format!("name=\"{field}\" value=\"1\"")));

    // Worked out again, a kept dose stays and the others come back.
    let lock = DoseForm::lock_field(planned.beds[0], potash);
    garden.send(&format!("/plans/{plan}/solve"), &table(&edited, &[(lock, "on")])).await;
    let again = planned.view(plan).await;
    let kept = again.dose(planned.beds[0], potash).unwrap();
    assert!(kept.locked && kept.mass_g == half.parse::<f64>().unwrap());

    let to = garden
        .send(&format!("/plans/{plan}/agree"), &table(&again, &[(DoseForm::lock_field(planned.beds[0], potash), "on")]))
        .await;
    let page = garden.get(&to).await;
    assert!(
        page.contains("not put on yet")
            && page.contains(&format!("/plans/{plan}/record"))
            && !page.contains("name=\"g_")
    );
    let refused = garden.refused(&format!("/plans/{plan}/doses"), &table(&again, &[])).await;
    assert!(refused.contains("agreed, so it no longer changes"));

    let sheet = garden.get(&format!("/plans/{plan}/sheet")).await;
    let view = planned.view(plan).await;
    let laid_out = Sheet::of(&view);
    assert_eq!(laid_out.plots.len(), BEDS.len());
    assert!(sheet.contains(&format!("<b>{half}\u{a0}g</b>")), "{sheet}");
    for part in [
        "label, local rules and licensed advice come first",
        "Gloves",
        "Put on by",
        "Printed 21\u{a0}Mar\u{a0}2026 from glebe.test/plans/",
    ] {
        assert!(sheet.contains(part), "{part}: {sheet}");
    }
    let copper = view.used().find(|row| row.amendment.analysis.fraction(Element::Cu) > 0.1);
    if let Some(copper) = copper {
        let mix = laid_out
            .mixes
            .iter()
            .find(|mix| mix.amendment == copper.id)
            .expect("a mix for a few grams of a copper salt");
        assert!(sheet.contains("Mix these first") && sheet.contains("Poisons water life"), "{sheet}");
        // About 100 g of carrier on a square metre, and three times that at most: no barrowloads for a bed of 10 m².
        assert!(mix.dry.portions_g.iter().all(|g| (1_000.0..3_100.0).contains(g)), "{mix:?}");
    }
    let shopping = garden.get(&format!("/plans/{plan}/shopping")).await;
    assert!(
        shopping.contains("\u{a0}×\u{a0}")
            && shopping.contains("Left over")
            && shopping.contains("No price is recorded for"),
        "{shopping}"
    );

    garden.send(&format!("/plans/{plan}/reopen"), "").await;
    assert!(garden.get(&format!("/plans/{plan}")).await.contains("Save and agree"));
}

#[tokio::test]
async fn a_dose_beyond_a_cap_is_refused_by_its_field_with_the_cap_named() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let plan = planned.plan().await;
    let view = planned.view(plan).await;
    let copper = amendment(garden, "Copper sulfate").await;
    let field = DoseForm::grams_field(planned.beds[1], copper);
    // North Carolina's copper cap on mineral soil, 2 lb/acre, is 2.24 g on 10 m²: about 9 g of the salt.
    let body = table(&view, &[(field.clone(), "40"), (DoseForm::lock_field(planned.beds[1], copper), "on")]);
    for action in ["doses", "solve", "agree"] {
        let page = garden.refused(&format!("/plans/{plan}/{action}"), &body).await;
        assert!(page.contains(&format!("id=\"{field}-problem\"")), "{action}: {page}");
        // As the site speaks of rates, wherever the page names it.
        assert!(page.contains("Copper on mineral soil: at most 0.224 g/m²"), "{action}");
        assert!(!page.contains("at most 2.24 kg/ha"), "{action}: {page}");
        assert!(page.contains(&format!("name=\"{field}\" value=\"40\"")), "{action}: what was typed is kept");
    }
    let checked = garden.ask(Method::POST, &format!("/plans/{plan}/check"), &body).await;
    assert!(checked.status == StatusCode::OK && checked.text.contains(&format!("id=\"{field}-problem\"")));
    let odd = garden.refused(&format!("/plans/{plan}/doses"), &table(&view, &[(field.clone(), "1.2.3")])).await;
    assert!(odd.contains(&format!("id=\"{field}-problem\"")) && odd.contains("value=\"1.2.3\""));
    // The site's scale weighs whole grams.
    let between = garden.refused(&format!("/plans/{plan}/doses"), &table(&view, &[(field.clone(), "3,5")])).await;
    assert!(between.contains("The scale weighs in steps of 1 g, so it cannot weigh 3,5 g."), "{between}");
    assert!(between.contains(&format!("name=\"{field}\" value=\"3,5\"")));
    assert_eq!(planned.view(plan).await.mass_g, view.mass_g, "nothing was saved");
    assert!(view.plots.iter().flat_map(|plot| &plot.caps).all(|cap| !cap.exceeded), "the planner keeps to every cap");
}

#[tokio::test]
async fn every_figure_of_a_plan_opens_to_where_it_comes_from() {
    let planned = five_beds().await;
    let plan = planned.plan().await;
    let view = planned.view(plan).await;
    let mut cells = 0;
    for plot in &view.plots {
        for line in plot.needs.iter().filter(|line| line.need_g > 0.0 || line.supplied_g > 0.0) {
            let element = line.need.element;
            for (part, title, working, words) in workings(&view, plot, element, Liking::default()) {
                match working {
                    Some(working) => {
                        assert!(working.is_grounded(), "{element} {part} {title}: {working:?}");
                        cells += working.cells().len();
                        let expected = match part {
                            "need" => line.need_g,
                            "supplied" => line.supplied_g,
                            _ => working.figure.value,
                        };
                        assert!((working.figure.value - expected).abs() < 1e-6 * expected.max(1.0), "{element} {part}");
                    }
                    None => assert!(!words.is_empty(), "{element} {part} opens to nothing"),
                }
            }
            let path = format!("/plans/{plan}/working/{}/{}", plot.standing.plot.id, element.symbol());
            assert!(planned.garden.get(&path).await.contains("<h2>"));
        }
    }
    assert!(cells > 0, "no working reaches a printed cell");
    let nothing = planned.garden.ask(Method::GET, &format!("/plans/{plan}/working/{}/Xx", planned.beds[0]), "").await;
    assert_eq!(nothing.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_dose_that_meets_the_need_lifts_the_level_to_the_aim() {
    // The need is (aim − found) × soil; so what meets it must move found ÷ aim to 1, by mass or by charge.
    let planned = five_beds().await;
    let view = planned.view(planned.plan().await).await;
    let plot = &view.plots[0];
    let ground = plot.standing.plot.ground();
    let mut seen = 0;
    for nutrient in &plot.standing.present.standing.nutrients {
        let Some(element) = nutrient.analyte.element() else { continue };
        let Some(line) = plot.needs.iter().find(|line| line.need.element == element && line.need_g > 0.0) else {
            continue;
        };
        let (found, aim) = (nutrient.level.number(), nutrient.aim_level.unwrap().number());
        let lifted = season::lift(Grams(line.need_g).per(ground.area), nutrient, &ground, &view.way).unwrap();
        assert!((found / aim + lifted - 1.0).abs() < 1e-9, "{element}: {found} of {aim}, lifted by {lifted}");
        seen += 1;
    }
    assert!(seen >= 2, "{seen} needs");
}

#[tokio::test]
async fn forms_keep_what_was_typed_and_say_what_is_wrong_by_the_field() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let season = planned.season;
    let page = garden
        .refused(&format!("/seasons/{season}/plans"), "name=&plots=&budget=lots&max_products=0&search_seconds=0&nitrogen_kg_per_ha=NaN&revision=0&seasons=1e400&guideline=none&spread_on=2026-02-30&leave_out=K")
        .await;
    for field in ["name", "budget", "max_products", "search_seconds", "nitrogen_kg_per_ha", "seasons", "spread_on"] {
        assert!(page.contains(&format!("id=\"{field}-problem\"")), "{field}: {page}");
    }
    assert!(
        page.contains("value=\"lots\"")
            && page.contains("Choose at least one plot")
            && page.contains("Choose the guideline")
    );
    assert!(page.contains("value=\"K\" checked"));

    let none = garden.get(&format!("/seasons/{season}/plans/new?plots=none")).await;
    assert!(
        none.matches("name=\"plots\"").count() == 5
            && !none.contains(&format!("name=\"plots\" value=\"{}\" checked", planned.beds[0]))
    );

    let bad = garden
        .refused(&format!("/sites/{}/seasons", planned.site), "name=2026&starts_on=2026-05-01&ends_on=2026-04-01")
        .await;
    assert!(bad.contains("ends before it starts") && bad.contains("value=\"2026-04-01\""));
    let twice = garden
        .refused(&format!("/sites/{}/seasons", planned.site), "name=2026&starts_on=2026-01-01&ends_on=2026-12-31")
        .await;
    assert!(twice.contains("already"), "{twice}");

    // Crops of all beds in one go: one unknown and nothing is saved.
    let [a, b] = [planned.beds[0], planned.beds[1]];
    let body = format!("crop_{a}=Kale&crop_{a}=Leek&crop_{b}=Moonflower&crop_{b}=");
    let page = garden.refused(&format!("/seasons/{season}/crops"), &body).await;
    assert!(
        page.contains(&format!("id=\"crop_{b}-problem\""))
            && page.contains("value=\"Moonflower\"")
            && page.contains("value=\"Leek\"")
    );
    assert!(garden.app.season(&garden.ada, season).await.unwrap().crops.is_empty());
    garden.send(&format!("/seasons/{season}/crops"), &body.replace("Moonflower", "Snap+bean+(French+bean)")).await;
    let crops = garden.app.season(&garden.ada, season).await.unwrap().crops;
    assert_eq!((crops[&a].len(), crops[&b][0].crop.as_str()), (2, "snap_bean"));
}

#[tokio::test]
async fn a_plan_says_when_it_is_out_of_date_and_what_was_left_undone_before() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let first = planned.plan().await;
    assert!(!garden.get(&format!("/plans/{first}")).await.contains("Something has changed"));
    garden.send(&format!("/seasons/{}/crops", planned.season), &format!("crop_{}=Pea", planned.beds[0])).await;
    assert!(garden.get(&format!("/plans/{first}")).await.contains("Something has changed since this was worked out"));
    let view = planned.view(first).await;
    garden.send(&format!("/plans/{first}/solve"), &table(&view, &[])).await;
    assert!(!planned.view(first).await.stale);
    garden.send(&format!("/plans/{first}/agree"), "").await;

    let to = garden
        .send(&format!("/sites/{}/seasons", planned.site), "name=2027&starts_on=2027-01-01&ends_on=2027-12-31")
        .await;
    let body = planned.new_plan_body().await.replace("spread_on=2026-03-21", "spread_on=2027-03-01");
    let next = garden.send(&format!("{to}/plans"), &body).await;
    let page = garden.get(&next).await;
    assert!(page.contains("Carried over.") && page.contains("were planned in 2026 and not put on"), "{page}");
    // The plan being planned never carries over from itself.
    let season = garden.get(&format!("/plans/{first}")).await;
    assert!(!season.contains("Carried over."));
}

#[tokio::test]
async fn how_long_to_search_is_kept_and_a_plan_at_rest_shows_itself() {
    let planned = five_beds().await;
    let garden = &planned.garden;
    let body = planned.new_plan_body().await.replace("search_seconds=", "search_seconds=30");
    let to = garden.send(&format!("/seasons/{}/plans", planned.season), &body).await;
    let plan: PlanId = to.strip_prefix("/plans/").unwrap().trim_end_matches("/work").parse().unwrap();
    let page = garden.get(&format!("/plans/{plan}/edit")).await;
    let field = page.split("name=\"search_seconds\"").nth(1).unwrap().split('>').next().unwrap();
    assert!(field.contains("value=\"30\""), "{field}");
    // Stopping is harmless when there is nothing to stop; looking then leads to the plan.
    assert_eq!(garden.send(&format!("/plans/{plan}/work/stop"), "").await, format!("/plans/{plan}/work"));
    let mut answer = garden.ask(Method::GET, &format!("/plans/{plan}/work"), "").await;
    while answer.status == StatusCode::OK {
        tokio::time::sleep(std::time::Duration::from_millis(50)).await;
        answer = garden.ask(Method::GET, &format!("/plans/{plan}/work"), "").await;
    }
    assert_eq!(answer.status, StatusCode::SEE_OTHER);
    assert!(planned.view(plan).await.mass_g > 0.0);
}
