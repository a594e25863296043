//! The years on their pages: one pass over a ledger agrees with the long way, responses carry a
//! plan where somebody chose so, forecasts open and say when their start was corrected, slips are
//! marked, a harvest that cannot be is asked about, and pages of many plots stay light.

use super::{
    ground_pages::Garden,
    import::into,
    store::{plot_form, site_form},
};
use axum::http::{Method, StatusCode};
use glebe::{
    agronomy::{
        balance::Net,
        element::Element::{self, K, N, P},
        learned_need,
        offtake::BALANCED,
    },
    app::{
        Actor, App,
        amendments::{AmendmentForm, AnalysisForm},
        demo,
        harvests::HarvestForm,
        reports::{CellForm, ReportForm, SamplingForm},
        seasons::{DoseForm, PlanForm, SeasonForm},
    },
    clock::Clock,
    ids::{AmendmentId, DeterminationId, PlotId, SamplingId, SeasonId, SiteId},
    settings::Settings,
};
use jiff::{
    ToSpan,
    civil::{Date, date},
};
use std::collections::BTreeMap;
use tempfile::TempDir;

fn settings(folder: &TempDir) -> Settings {
    Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false }
}

/// The invented garden on a day.
async fn invented() -> (TempDir, App, Actor, SiteId) {
    let folder = tempfile::tempdir().unwrap();
    let clock = Clock::Fixed("2026-11-25T12:00:00Z".parse().unwrap());
    let app = App::open(&settings(&folder), clock).await.unwrap();
    assert!(app.invent_garden().await.unwrap());
    let token = app.sign_in(demo::LOGIN, demo::PASSWORD).await.unwrap().secret().to_owned();
    let ines = app.session(&token).await.unwrap().unwrap();
    let site = app.sites(&ines).await.unwrap()[0].id;
    (folder, app, ines, site)
}

/// What a ledger gives in one pass is what it gives between each two days, reasons and all.
#[tokio::test]
async fn one_pass_over_a_ledger_agrees_with_the_long_way() {
    let (_folder, app, ines, site) = invented().await;
    let (mut compared, mut known) = (0, 0);
    for plot in app.plots(&ines, site, true).await.unwrap().iter().step_by(4) {
        let books = app.plot_ledger(&ines, plot.id).await.unwrap().books;
        let from = date(2019, 1, 15);
        let days: Vec<Date> = (1..=14).map(|n| from.saturating_add((n * 193).days())).collect();
        for element in BALANCED {
            let flows = books.flows(*element, from, &days);
            let mut before = (from, 0);
            for (day, flow) in days.iter().zip(&flows) {
                let long = books.between(*element, from, *day);
                assert_eq!(
                    (&flow.brought.missing, &flow.carried.missing),
                    (&long.brought.missing, &long.carried.missing)
                );
                for (short, long) in
                    [(flow.brought.known, long.brought.known), (flow.carried.known, long.carried.known)]
                {
                    for (a, b) in [(short.low, long.low), (short.mid, long.mid), (short.high, long.high)] {
                        assert!((a - b).abs() <= 1e-9 * b.abs().max(1.0), "{element} until {day}: {a} and {b}");
                    }
                }
                let since = books.between(*element, before.0, *day);
                let whole = since.brought.is_complete() && since.carried.is_complete();
                assert_eq!(whole, flow.holes == before.1, "{element} of {} from {} to {day}", plot.code, before.0);
                known += usize::from(matches!(Net::of(&flow.brought, &flow.carried), Net::Known(_)));
                before = (*day, flow.holes);
                compared += 1;
            }
        }
        for account in &books.ledger().seasons {
            let some = books.season_lines(account.starts_on, account.ends_on, &[N, P, K]);
            if let Some(some) = some {
                let all = account.lines.iter().filter(|line| [N, P, K].contains(&line.element));
                assert!(some.iter().eq(all), "{} of {}", account.name, plot.code);
            }
        }
    }
    assert!(compared > 1000 && known > 100 && known < compared, "{known} of {compared}");
}

// ---- A small garden with years

struct Years {
    folder: TempDir,
    app: App,
    ada: Actor,
    site: SiteId,
    plots: Vec<PlotId>,
    seasons: Vec<SeasonId>,
    potash: AmendmentId,
}

/// Beds of 20 m² with seasons from 2022 to 2026, each with a harvest of nothing until 2025, and a
/// bag of potash of 41.5 % K.
async fn years(beds: usize) -> Years {
    let (folder, app, ada) = super::store::fresh().await;
    let site = app.add_site(&ada, &site_form("Home")).await.unwrap();
    let mut seasons = Vec::new();
    for year in 2022..=2026 {
        let form =
            SeasonForm { name: year.to_string(), starts_on: format!("{year}-01-01"), ends_on: format!("{year}-12-31") };
        seasons.push(app.add_season(&ada, site, &form).await.unwrap());
    }
    let bag = AmendmentForm { name: "Bag of potash".into(), kind: "salt".into(), ..AmendmentForm::default() };
    let label = AnalysisForm {
        valid_from: "2021-01-01".into(),
        label: "0-0-50 + 18 S".into(),
        source: "The bag".into(),
        ..AnalysisForm::default()
    };
    let potash = app.add_amendment(&ada, &bag, &label).await.unwrap();
    let mut plots = Vec::new();
    for n in 1..=beds {
        let plot = app.add_plot(&ada, site, &plot_form(&format!("A{n}"), "20")).await.unwrap();
        for year in 2022..=2025 {
            let nothing = HarvestForm {
                plot: plot.to_string(),
                harvested_on: format!("{year}-09-01"),
                fresh_mass_kg: "0".into(),
                ..HarvestForm::default()
            };
            app.record_harvest(&ada, &nothing).await.unwrap();
        }
        plots.push(plot);
    }
    Years { folder, app, ada, site, plots, seasons, potash }
}

impl Years {
    async fn test(&self, plot: PlotId, on: &str, printed: &str) -> SamplingId {
        let sampling = SamplingForm {
            plots: vec![plot.to_string()],
            sampled_on: on.into(),
            depth_bottom_cm: "15".into(),
            ..SamplingForm::default()
        };
        let report = ReportForm { lab: "North".into(), rows: vec![potassium(printed)], ..ReportForm::default() };
        self.app.save_sampling_with_report(&self.ada, &sampling, &report).await.unwrap().0
    }

    async fn put_on(&self, plot: PlotId, on: &str, grams: &str) {
        let form = glebe::app::applications::ApplicationForm {
            plot: plot.to_string(),
            applied_on: on.into(),
            amendment: self.potash.to_string(),
            mass_g: grams.into(),
            ..glebe::app::applications::ApplicationForm::default()
        };
        self.app.record_application(&self.ada, &form).await.unwrap();
    }

    fn plan(&self, reckoned: &str) -> PlanForm {
        PlanForm {
            name: format!("Spring {reckoned}"),
            guideline: "extension_sufficiency".into(),
            plots: self.plots.iter().map(ToString::to_string).collect(),
            products: vec![self.potash.to_string()],
            seasons: "1".into(),
            reckoned: reckoned.into(),
            ..PlanForm::default()
        }
    }
}

fn potassium(printed: &str) -> CellForm {
    CellForm {
        analyte: "K".into(),
        method: "nh4oac_7".into(),
        printed: printed.into(),
        unit: "mg/kg".into(),
        ..CellForm::default()
    }
}

/// Four beds got 500 g of potash each, 103.75 kg K/ha, and their tests rose by 10 to 13; a fifth has
/// one test only. By the mass of soil a kilogram would have raised them three times as far.
#[tokio::test]
async fn a_plan_goes_by_what_tests_answered_only_where_somebody_chose_so_and_keeps_both_figures() {
    let years = years(6).await;
    let (app, ada) = (&years.app, &years.ada);
    for (n, plot) in years.plots.iter().take(4).enumerate() {
        years.test(*plot, "2022-02-10", "60").await;
        years.put_on(*plot, "2022-04-01", "500").await;
        years.test(*plot, "2024-02-10", &(70 + n).to_string()).await;
        years.put_on(*plot, "2024-04-01", "500").await;
        years.test(*plot, "2026-02-10", &(80 + n).to_string()).await;
    }
    years.test(years.plots[4], "2026-02-10", "80").await;
    let by_mass = app.add_plan(ada, years.seasons[4], &years.plan("")).await.unwrap();
    let by_answers = app.add_plan(ada, years.seasons[4], &years.plan("response")).await.unwrap();
    let needs = async |plan| {
        let view = app.plan(ada, plan).await.unwrap();
        let need = |plot: &glebe::app::seasons::PlanPlot| {
            let line = plot.needs.iter().find(|line| line.need.element == K);
            (plot.standing.plot.id, line.map(|line| line.need.clone()))
        };
        view.plots.iter().map(need).collect::<BTreeMap<PlotId, Option<_>>>()
    };
    let (mass, answered) = (needs(by_mass).await, needs(by_answers).await);
    let lessons = app.plot_responses(ada, years.plots[0], K).await.unwrap();
    let response = lessons.last().unwrap().response.clone().unwrap();
    assert!(response.own.is_ok() && response.farm_plots == 4, "{response:?}");
    for plot in years.plots.iter().take(5) {
        let (by_mass, need) = (mass[plot].as_ref().unwrap(), answered[plot].as_ref().unwrap());
        let beside = learned_need::beside(need).expect("the figure by mass stands beside");
        assert!((beside.0 - by_mass.kg_per_ha.0).abs() < 1e-9 && learned_need::beside(by_mass).is_none());
        assert!(need.kg_per_ha.0 > 2.0 * beside.0, "{} and {} kg/ha", need.kg_per_ha.0, beside.0);
        assert!(need.working.as_ref().unwrap().is_grounded());
    }
    // (aim − found) ÷ response.
    let (first, need) = (years.plots[0], answered[&years.plots[0]].as_ref().unwrap());
    let (_, _, standing) = app.plot_standing(ada, first).await.unwrap();
    let nutrient = standing.present.standing.nutrients.iter().find(|n| n.analyte.element() == Some(K)).unwrap();
    let missing = nutrient.aim_level.unwrap().number() - nutrient.level.number();
    assert!((need.kg_per_ha.0 - missing / response.response).abs() < 1e-6, "{}", need.kg_per_ha.0);
    assert!(answered[&years.plots[5]].is_none(), "never tested");

    // Agreed, it keeps what it used, whatever is found later.
    app.agree_plan(ada, by_answers).await.unwrap();
    let kept = answered.clone();
    for plot in years.plots.iter().take(4) {
        years.test(*plot, "2026-03-15", "130").await;
    }
    let now = needs(by_answers).await;
    for plot in years.plots.iter().take(5) {
        let (a, b) = (now[plot].as_ref().unwrap(), kept[plot].as_ref().unwrap());
        assert_eq!((a.kg_per_ha, learned_need::beside(a)), (b.kg_per_ha, learned_need::beside(b)));
    }
    let Years { folder, app, ada, .. } = years;
    let garden = Garden::of(folder, app, ada).await;
    let page = garden.get(&format!("/plans/{by_answers}")).await.replace('\u{a0}', " ");
    assert!(page.contains("reckoned by what tests here answered, where they carry it"), "{page}");
    assert!(page.contains("as tests here answered;") && page.contains("by the mass of the soil"), "{page}");
    assert!(page.contains("Potassium by what tests here answered: A1, A2, A3, A4, A5."), "{page}");
    let page = garden.get(&format!("/plans/{by_answers}/working/{first}/K")).await.replace('\u{a0}', " ");
    assert!(page.contains("By the mass of the soil, beside it and not used"), "{page}");
    let form = garden.get(&format!("/plans/{by_mass}/edit")).await;
    assert!(form.contains("by what tests here answered, where they carry it"), "{form}");
}

/// With two beds only nothing is learned by the garden, and the beds' own tests have seen too little:
/// the figure by mass stands, and says why.
#[tokio::test]
async fn where_tests_do_not_carry_it_the_mass_of_the_soil_stands_with_the_reason() {
    let years = years(2).await;
    let (app, ada) = (&years.app, &years.ada);
    years.test(years.plots[0], "2024-02-10", "80").await;
    years.test(years.plots[0], "2026-02-10", "78").await;
    years.test(years.plots[1], "2026-02-10", "70").await;
    let plan = app.add_plan(ada, years.seasons[4], &years.plan("response")).await.unwrap();
    let view = app.plan(ada, plan).await.unwrap();
    for plot in &view.plots {
        let need = &plot.needs.iter().find(|line| line.need.element == K).unwrap().need;
        assert_eq!(learned_need::beside(need), None);
        let said = need.notes.join(" ");
        assert!(said.contains("By the mass of the soil, not by what tests here answered. Nothing was learned here."));
    }
    let plot = years.plots[0];
    let Years { folder, app, ada, .. } = years;
    let garden = Garden::of(folder, app, ada).await;
    let page = garden.get(&format!("/plans/{plan}")).await.replace('\u{a0}', " ");
    assert!(page.contains("Potassium by the mass of the soil on A1: Nothing was learned here."), "{page}");
    let page = garden.get(&format!("/plots/{plot}/working/K/need")).await.replace('\u{a0}', " ");
    assert!(
        page.contains("As tests here answered") && page.contains("They do not tell. Nothing was learned"),
        "{page}"
    );
}

/// The start of a forecast was typed 970 for 97: once it is put right, the forecast says so and is
/// not held against the bands.
#[tokio::test]
async fn a_forecast_says_that_its_start_was_corrected_and_is_not_counted() {
    let years = years(1).await;
    let (app, ada, plot) = (&years.app, &years.ada, years.plots[0]);
    let sampling = years.test(plot, "2026-02-10", "970").await;
    let cell = app.sampling(ada, sampling).await.unwrap().sampling.reports[0].determinations[0].key;
    let plan = app.add_plan(ada, years.seasons[4], &years.plan("")).await.unwrap();
    let field = DoseForm::grams_field(plot, years.potash);
    app.save_doses(ada, plan, &DoseForm::from_fields([(field.as_str(), "100")])).await.unwrap();
    app.agree_plan(ada, plan).await.unwrap();
    let Years { folder, app, ada, site, .. } = years;
    assert_eq!(app.forecast_review(&ada, site).await.unwrap().results.len(), 1);
    app.close().await;
    drop(app);
    let clock = Clock::Fixed("2027-03-21T09:00:00Z".parse().unwrap());
    let app = App::open(&settings(&folder), clock).await.unwrap();
    let later = SamplingForm {
        plots: vec![plot.to_string()],
        sampled_on: "2027-02-10".into(),
        depth_bottom_cm: "15".into(),
        ..SamplingForm::default()
    };
    let report = ReportForm { lab: "North".into(), rows: vec![potassium("95")], ..ReportForm::default() };
    app.save_sampling_with_report(&ada, &later, &report).await.unwrap();
    let review = app.forecast_review(&ada, site).await.unwrap();
    assert_eq!(review.calibration.map(|c| (c.held, c.tests)), Some((0, 1)), "it fell far below");
    app.correct_cell(&ada, DeterminationId(cell.0), &potassium("97"), "the point slipped").await.unwrap();
    let review = app.forecast_review(&ada, site).await.unwrap();
    assert_eq!((review.calibration.is_none(), review.not_counted), (true, 1), "what was kept is old");
    let path = format!("/forecasts/{}", review.results[0].row.id);
    let garden = Garden::of(folder, app, ada).await;
    let page = garden.get(&format!("/sites/{site}/calibration?which=not-counted")).await.replace('\u{a0}', " ");
    assert!(page.contains("which read 970 then and reads 97 since it was corrected"), "{page}");
    assert!(page.contains("Ammonium acetate") && page.contains(&path), "the method is named, and the band opens");
    let page = garden.get(&path).await.replace('\u{a0}', " ");
    assert!(
        page.contains("nine tests in ten should fall in it") && page.contains("Usual offtake of a season"),
        "{page}"
    );
    let page = garden.get(&format!("/plots/{plot}/trend/K")).await.replace('\u{a0}', " ");
    assert!(page.contains("since it was corrected") && page.contains(&path), "{page}");
    assert_eq!(garden.ask(Method::GET, "/forecasts/999", "").await.status, StatusCode::NOT_FOUND);
}

#[tokio::test]
async fn a_slip_is_marked_in_the_picture_and_leads_to_its_question() {
    let years = years(1).await;
    let plot = years.plots[0];
    years.test(plot, "2022-02-10", "97").await;
    let slip = years.test(plot, "2024-02-10", "970").await;
    years.test(plot, "2026-02-10", "94").await;
    let Years { folder, app, ada, .. } = years;
    let garden = Garden::of(folder, app, ada).await;
    let page = garden.get(&format!("/plots/{plot}/trend/K")).await;
    let link = format!("/samplings/{slip}#questions");
    assert_eq!(page.matches("class=\"asked\"").count(), 1, "{page}");
    assert!(
        page.contains(&link) && page.contains("Worth another look") && page.contains("the decimal point"),
        "{page}"
    );
    assert!(page.contains("By this plot’s own tests alone"), "{page}");
    assert!(garden.get(&format!("/samplings/{slip}")).await.contains("id=\"questions\""));
    let drift = garden.get(&format!("/sites/{}/drift", 1)).await;
    assert!(drift.contains("by its own tests"), "{drift}");
}

#[tokio::test]
async fn a_harvest_that_no_ground_bears_is_kept_and_asked_about() {
    let years = years(1).await;
    let (plot, site) = (years.plots[0], years.site);
    let Years { folder, app, ada, .. } = years;
    let garden = Garden::of(folder, app, ada).await;
    // 7,000 kg on 20 m² are 350 kg/m².
    garden.send(&format!("/plots/{plot}/harvests"), "crop=carrot&fresh_mass_kg=7000&harvested_on=2026-03-01").await;
    let asked = "350 kg of carrot to the square metre is more than open ground bears";
    let rows = garden.app.harvests_of_plot(&garden.ada, plot, false).await.unwrap();
    let id = rows.iter().find(|row| row.harvest.mass_kg == 7000.0).expect("it is kept").id;
    for path in [
        format!("/plots/{plot}/harvests"),
        format!("/sites/{site}/harvests"),
        format!("/harvests/{id}"),
        format!("/harvests/{id}/correct"),
    ] {
        let page = garden.get(&path).await;
        assert!(page.contains(asked), "{path}: {page}");
    }
    let ledger = garden.app.plot_ledger(&garden.ada, plot).await.unwrap().ledger;
    let taken = ledger.seasons.last().unwrap().lines.iter().find(|line| line.element == Element::K).unwrap();
    assert!(taken.carried.known.mid > 1000.0, "it counts as it was typed");
    let right = "crop=carrot&fresh_mass_kg=70&harvested_on=2026-03-01&reason=grams";
    garden.send(&format!("/harvests/{id}/correct"), right).await;
    assert!(!garden.get(&format!("/plots/{plot}/harvests")).await.contains("to the square metre"));
}

/// A hundred and thirty beds in three blocks, by the importer.
#[tokio::test]
async fn a_site_of_many_plots_is_shown_page_by_page_and_its_year_block_by_block() {
    let (folder, app, ada) = super::store::fresh().await;
    let mut plots = String::from("plot,name,block,area_m2,texture,depth_cm\n");
    for n in 1..=130 {
        let block = ["North", "Middle", "South"][(n - 1) / 50];
        plots += &format!("B{n},Bed number {n},{block},20,loam,20\n");
    }
    let mut applications = String::from("plot,applied_on,amendment,mass_g,person\n");
    for n in 1..=130 {
        applications += &format!("B{n},2026-02-{:02},Bag of potash,{},Ines\n", 1 + n % 28, 200 + n);
    }
    let files = [
        ("plots.csv", plots),
        ("seasons.csv", "season,starts_on,ends_on\n2026,2026-01-01,2026-12-31\n".into()),
        (
            "amendments.csv",
            "amendment,kind,valid_from,source,K2O_percent\nBag of potash,salt,2020-01-01,The bag,50\n".into(),
        ),
        ("applications.csv", applications),
    ];
    let files = files.map(|(name, text)| (name.to_owned(), text.into_bytes())).into();
    let told = app.accept_import(Some(&ada), &into("Large"), files).await.unwrap();
    assert!(told.saved, "{:?}", told.problems);
    let site = app.sites(&ada).await.unwrap()[0].id;
    let garden = Garden::of(folder, app, ada).await;
    let rows = |page: &str| page.matches("<td class=\"cover\">").count();
    let page = garden.get(&format!("/sites/{site}")).await;
    assert!(page.contains("Plots 1 to 100 of 130.") && rows(&page) == 100, "{page}");
    let page = garden.get(&format!("/sites/{site}?from=100")).await;
    assert!(page.contains("Plots 101 to 130 of 130.") && rows(&page) == 30, "{page}");
    let page = garden.get(&format!("/sites/{site}?q=number+7")).await;
    assert_eq!(rows(&page), 11, "7 and 70 to 79: {page}");
    let page = garden.get(&format!("/sites/{site}?only=due&from=999&block=nonsense")).await;
    assert!(page.contains("of 130"), "{page}");
    // Its year stands block by block, and each block has a page of its own.
    let page = garden.get(&format!("/sites/{site}/summary")).await;
    assert!(page.contains("Block by block") && page.contains("North"), "{page}");
    let summary = garden.app.site_year(&garden.ada, site, None).await.unwrap();
    let year = summary.year.as_ref().unwrap();
    assert_eq!(year.plots.len(), 130);
    let all = glebe::app::register::register(&year.plots, 24);
    assert_eq!((all.lines.len(), all.more), (1, (0, 0)), "28 days of one product by one person are one line");
    assert_eq!(all.lines[0].each.len(), 130);
    assert_eq!(all.lines[0].days, (date(2026, 2, 1), date(2026, 2, 28)));
    let mass: f64 = (1..=130).map(|n| 200.0 + f64::from(n)).sum();
    assert!((all.lines[0].total.0 - mass).abs() < 1e-6);
    assert_eq!(glebe::app::register::register(&year.plots, 28).lines.len(), 28, "day by day where there is room");
    let block = year.plots[0].plot.block.unwrap();
    let page = garden.get(&format!("/sites/{site}/summary?block={block}")).await;
    // Twenty-eight days of it, told apart since there is room; on the second of February it was these.
    assert!(page.contains("Plot by plot") && page.contains("<td data-label=\"On\">B1, B29; "), "{page}");
    // On one sheet the days are drawn together, and a block is a line.
    let page = garden.get(&format!("/sites/{site}/summary?block={block}&length=one")).await;
    assert!(
        page.contains("Block by block") && !page.contains("Plot by plot") && page.contains("it is one sheet"),
        "{page}"
    );
    assert_eq!(page.matches("data-label=\"Why\"").count(), 1, "{page}");
    for path in ["drift", "calibration", "calendar", "next"] {
        garden.get(&format!("/sites/{site}/{path}")).await;
    }
}
