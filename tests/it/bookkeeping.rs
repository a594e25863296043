//! What was put on counts once and everywhere alike: against the need, the caps, the stock and
//! the shopping list, over splits and merges, and in plans agreed before. Every expected figure
//! is worked out by hand beside its check.

use super::store::{NOW, PASSWORD, plot_form, site_form};
use glebe::{
    agronomy::{cap::Counted, element::Element},
    app::{
        Actor, App,
        amendments::{AmendmentForm, AnalysisForm},
        applications::ApplicationForm,
        plots::{MergeForm, PartForm, SiteForm, SplitForm},
        reports::{CellForm, ReportForm, SamplingForm},
        season_totals::SeasonTotals,
        seasons::{DoseForm, NeedLine, PlanForm, PlanView, SeasonForm},
    },
    clock::Clock,
    ids::{AmendmentId, PlanId, PlotId, SeasonId, SiteId},
    settings::Settings,
};
use jiff::civil::date;
use sqlx::{Connection, SqliteConnection};
use std::collections::BTreeMap;
use tempfile::TempDir;

/// Potassium in potash of 50 % K₂O: 2 × 39.0983 ÷ 94.196 of it.
const K_IN_POTASH: f64 = 0.5 * 0.8302;

/// One site under Rutgers' limits, a season of 2026, sulfate of potash and borax.
struct Farm {
    app: App,
    ada: Actor,
    site: SiteId,
    season: SeasonId,
    potash: AmendmentId,
    borax: AmendmentId,
    folder: TempDir,
}

fn settings(folder: &TempDir) -> Settings {
    Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false }
}

fn analysis(label: &str, valid_from: &str) -> AnalysisForm {
    AnalysisForm {
        valid_from: valid_from.into(),
        label: label.into(),
        source: "The bag".into(),
        ..AnalysisForm::default()
    }
}

fn season(year: i16) -> SeasonForm {
    SeasonForm { name: year.to_string(), starts_on: format!("{year}-01-01"), ends_on: format!("{year}-12-31") }
}

fn part(code: &str, area_m2: &str) -> PartForm {
    PartForm { name: format!("Bed {code}"), code: code.into(), area_m2: area_m2.into() }
}

impl Farm {
    async fn new() -> Farm {
        let folder = tempfile::tempdir().unwrap();
        let app = App::open(&settings(&folder), Clock::Fixed(NOW.parse().unwrap())).await.unwrap();
        let link = app.setup_link().await.unwrap().unwrap();
        let session = app.set_up(link.secret(), "Ada Marsh", "ada", PASSWORD).await.unwrap();
        let ada = app.session(session.secret()).await.unwrap().unwrap();
        let form = SiteForm { guideline: "rutgers_mehlich3".into(), scale_step_g: "1".into(), ..site_form("Home") };
        let site = app.add_site(&ada, &form).await.unwrap();
        let season = app.add_season(&ada, site, &season(2026)).await.unwrap();
        let mut farm = Farm { app, ada, site, season, potash: AmendmentId(0), borax: AmendmentId(0), folder };
        farm.potash = farm.product("Potash", "salt", "0-0-50").await;
        farm.borax = farm.product("Borax", "salt", "11.34 B").await;
        farm
    }

    /// The same record opened at another moment.
    async fn at(self, now: &str) -> Farm {
        let Farm { app, ada: _, site, season, potash, borax, folder } = self;
        app.close().await;
        drop(app); // lets go of the file
        let app = App::open(&settings(&folder), Clock::Fixed(now.parse().unwrap())).await.unwrap();
        let session = app.sign_in("ada", PASSWORD).await.unwrap();
        let ada = app.session(session.secret()).await.unwrap().unwrap();
        Farm { app, ada, site, season, potash, borax, folder }
    }

    async fn product(&self, name: &str, kind: &str, label: &str) -> AmendmentId {
        let product = AmendmentForm { name: name.into(), kind: kind.into(), ..AmendmentForm::default() };
        self.app.add_amendment(&self.ada, &product, &analysis(label, "2024-01-01")).await.unwrap()
    }

    async fn plot(&self, code: &str, area_m2: &str) -> PlotId {
        self.app.add_plot(&self.ada, self.site, &plot_form(code, area_m2)).await.unwrap()
    }

    async fn tested(&self, plot: PlotId, on: &str, rows: &[(&str, &str, &str)]) {
        let sampling = SamplingForm {
            plots: vec![plot.to_string()],
            sampled_on: on.into(),
            depth_bottom_cm: "20".into(),
            ..SamplingForm::default()
        };
        let cell = |(analyte, method, printed): &(&str, &str, &str)| CellForm {
            analyte: (*analyte).into(),
            method: (*method).into(),
            printed: (*printed).into(),
            unit: if *analyte == "ph" { "" } else { "mg/kg" }.into(),
            ..CellForm::default()
        };
        let report =
            ReportForm { lab: "Lab North".into(), rows: rows.iter().map(cell).collect(), ..ReportForm::default() };
        self.app.save_sampling_with_report(&self.ada, &sampling, &report).await.unwrap();
    }

    async fn put_on(&self, plot: PlotId, product: AmendmentId, on: &str, mass_g: &str) {
        let form = ApplicationForm {
            plot: plot.to_string(),
            applied_on: on.into(),
            amendment: product.to_string(),
            mass_g: mass_g.into(),
            ..ApplicationForm::default()
        };
        self.app.record_application(&self.ada, &form).await.unwrap();
    }

    async fn plan(&self, name: &str, plots: &[PlotId], products: &[AmendmentId]) -> PlanId {
        let form = PlanForm {
            name: name.into(),
            guideline: "rutgers_mehlich3".into(),
            plots: plots.iter().map(ToString::to_string).collect(),
            products: products.iter().map(ToString::to_string).collect(),
            sold: "loose".into(),
            ..PlanForm::default()
        };
        self.app.add_plan(&self.ada, self.season, &form).await.unwrap()
    }

    /// A plan with this dose of potash on a plot, agreed.
    async fn agreed(&self, name: &str, plot: PlotId, potash_g: &str) -> PlanId {
        let plan = self.plan(name, &[plot], &[self.potash]).await;
        let field = DoseForm::grams_field(plot, self.potash);
        let doses = DoseForm::from_fields([(field.as_str(), potash_g)]);
        self.app.save_doses(&self.ada, plan, &doses).await.unwrap();
        self.app.agree_plan(&self.ada, plan).await.unwrap();
        plan
    }

    async fn view(&self, plan: PlanId) -> PlanView {
        self.app.plan(&self.ada, plan).await.unwrap()
    }

    /// What was put on of a dose of potash.
    async fn put_on_dose(&self, plan: PlanId, plot: PlotId, mass_g: &str) {
        let dose = self.view(plan).await.dose(plot, self.potash).unwrap().id.unwrap();
        let form = ApplicationForm {
            plot: plot.to_string(),
            applied_on: "2026-03-21".into(),
            amendment: self.potash.to_string(),
            mass_g: mass_g.into(),
            dose: dose.to_string(),
            ..ApplicationForm::default()
        };
        self.app.record_application(&self.ada, &form).await.unwrap();
    }

    async fn crops(&self, season: SeasonId, plot: PlotId, crop: &str) {
        let crops = BTreeMap::from([(plot, vec![crop.to_owned()])]);
        self.app.set_crops(&self.ada, season, &crops).await.unwrap();
    }

    async fn totals(&self, plot: PlotId) -> SeasonTotals {
        self.app.cap_totals(&self.ada, plot, date(2026, 3, 21)).await.unwrap()
    }
}

fn potassium(view: &PlanView) -> &NeedLine {
    view.plots[0].needs.iter().find(|line| line.need.element == Element::K).expect("potassium is judged")
}

/// The boron that a plot may be given, kg/ha, and what is left of it, as a plan has it.
fn boron(view: &PlanView) -> (f64, f64) {
    let cap = view.plots[0].caps.iter().find(|cap| cap.left.cap.counted == Counted::Total(Element::B)).unwrap();
    (cap.left.cap.kg_per_ha.0, cap.left.left.0)
}

fn boron_of(totals: &SeasonTotals) -> (f64, f64) {
    let cap = totals.caps.iter().find(|cap| cap.cap.counted == Counted::Total(Element::B)).unwrap();
    (cap.cap.kg_per_ha.0, cap.left.0)
}

fn close(got: f64, want: f64) {
    assert!((got - want).abs() <= 1e-3 * want.abs().max(1.0), "{got}, not {want}");
}

const SHORT: &[(&str, &str, &str)] =
    &[("ph", "ph_water_1_1", "6.4"), ("K", "mehlich3_icp", "45"), ("B", "mehlich3_icp", "0.9")];

#[tokio::test]
async fn a_plan_asks_only_for_what_did_not_go_on_since_the_test() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    farm.tested(bed, "2026-02-10", SHORT).await;
    let before = potassium(&farm.view(farm.plan("First", &[bed], &[farm.potash]).await).await).need.kg_per_ha.0;
    // Before the test: the test has seen it. After: 100 g × 41.51 % on 10 m² are 41.51 kg/ha.
    farm.put_on(bed, farm.potash, "2026-02-01", "100").await;
    farm.put_on(bed, farm.potash, "2026-03-01", "100").await;
    let view = farm.view(farm.plan("Second", &[bed], &[farm.potash]).await).await;
    let need = &potassium(&view).need;
    close(before - need.kg_per_ha.0, 1000.0 * K_IN_POTASH / 10.0);
    let working = need.working.as_ref().unwrap();
    let mut titles = Vec::new();
    working.visit(&mut |node| titles.push(node.title.clone()));
    assert!(working.is_grounded() && titles.iter().any(|t| t == "Potassium put on since the test"), "{titles:?}");
    farm.put_on(bed, farm.potash, "2026-03-02", "5000").await;
    let view = farm.view(farm.plan("Third", &[bed], &[farm.potash]).await).await;
    assert_eq!(potassium(&view).need_g, 0.0);
    assert!(view.plots[0].doses.is_empty());
}

#[tokio::test]
async fn what_another_plan_has_agreed_counts_as_given_and_as_gone_from_the_shed() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    farm.tested(bed, "2026-02-10", SHORT).await;
    farm.app.count_stock(&farm.ada, farm.potash, "2026-03-01", "1").await.unwrap();
    let draft = farm.plan("Draft", &[bed], &[farm.potash]).await;
    let before = potassium(&farm.view(draft).await).need.kg_per_ha.0;
    let agreed = farm.agreed("Agreed", bed, "100").await;
    let promised = farm.view(draft).await;
    close(before - potassium(&promised).need.kg_per_ha.0, 1000.0 * K_IN_POTASH / 10.0);
    close(promised.stock_g[&farm.potash], 900.0);
    // The agreed plan itself still has the whole shed, and its own need.
    let own = farm.view(agreed).await;
    close(own.stock_g[&farm.potash], 1000.0);
    close(potassium(&own).need.kg_per_ha.0, before);
    // Put on, it counts once: no longer as promised.
    farm.put_on_dose(agreed, bed, "100").await;
    let given = farm.view(draft).await;
    close(potassium(&given).need.kg_per_ha.0, potassium(&promised).need.kg_per_ha.0);
    close(given.stock_g[&farm.potash], 900.0);
}

#[tokio::test]
async fn the_shopping_list_of_an_agreed_plan_buys_what_is_still_to_go_on() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    farm.tested(bed, "2026-02-10", SHORT).await;
    farm.app.count_stock(&farm.ada, farm.potash, "2026-03-01", "0.15").await.unwrap();
    let plan = farm.agreed("Spring", bed, "200").await;
    let used = |view: &PlanView| view.shopping.iter().map(|line| line.used_g).sum::<f64>();
    close(used(&farm.view(plan).await), 200.0);
    farm.put_on_dose(plan, bed, "150").await;
    let view = farm.view(plan).await;
    close(used(&view), 50.0);
    close(view.totals_g[&farm.potash], 200.0);
    close(view.stock_g[&farm.potash], 0.0);
    farm.app.close_plan(&farm.ada, plan).await.unwrap();
    close(used(&farm.view(plan).await), 0.0);
}

#[tokio::test]
async fn an_agreed_plan_is_judged_by_what_it_was_agreed_on() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    farm.tested(bed, "2026-02-10", SHORT).await;
    let plan = farm.agreed("Spring", bed, "200").await;
    let (then, day) = (potassium(&farm.view(plan).await).clone(), farm.view(plan).await.spread_on);
    assert!(then.need_g > 0.0 && then.supplied_g > 0.0);
    // Months later: a test that finds plenty, and a bag that holds half as much.
    let farm = farm.at("2026-09-01T09:00:00Z").await;
    farm.tested(bed, "2026-08-20", &[("K", "mehlich3_icp", "900")]).await;
    farm.app.add_analysis(&farm.ada, farm.potash, &analysis("0-0-25", "2026-08-01")).await.unwrap();
    let view = farm.view(plan).await;
    let now = potassium(&view);
    assert_eq!((now.need_g, now.supplied_g, view.spread_on), (then.need_g, then.supplied_g, day));
    assert_eq!((&now.need.working, now.need.reason), (&then.need.working, then.need.reason));
    // A draft of the same day sees the new test and the new bag.
    let draft = farm.view(farm.plan("Autumn", &[bed], &[farm.potash]).await).await;
    assert_eq!((potassium(&draft).need_g, draft.spread_on), (0.0, date(2026, 9, 1)));
}

#[tokio::test]
async fn a_split_keeps_the_caps_the_crops_and_a_kilogram_is_put_on_once() {
    let farm = Farm::new().await;
    let [a, b] = [farm.plot("A", "20").await, farm.plot("B", "20").await];
    farm.crops(farm.season, a, "snap_bean").await;
    farm.put_on(a, farm.borax, "2026-01-10", "1 kg").await;
    let merge = MergeForm {
        parents: vec![a.to_string(), b.to_string()],
        took_place_on: "2026-02-01".into(),
        plot: plot_form("C", "40"),
    };
    let c = farm.app.merge_plots(&farm.ada, &merge).await.unwrap();
    let split = SplitForm { took_place_on: "2026-03-01".into(), parts: vec![part("D", "10"), part("E", "30")] };
    let parts = farm.app.split_plot(&farm.ada, c, &split).await.unwrap();
    let mut together = 0.0;
    for (plot, share) in parts.iter().zip([0.25, 0.75]) {
        let put_on = farm.app.put_on(&farm.ada, *plot).await.unwrap();
        close(put_on[0].mass_g, 1000.0 * share);
        together += put_on[0].mass_g;
        // 1 kg × 11.34 % over 40 m² is 28.35 kg B/ha, on either part; beans take none.
        let (cap, left) = boron_of(&farm.totals(*plot).await);
        close(cap, 0.0);
        close(left, -28.35);
        let view = farm.view(farm.plan(&format!("Plan {plot}"), &[*plot], &[farm.potash]).await).await;
        assert_eq!(boron(&view), (cap, left));
    }
    close(together, 1000.0);
}

#[tokio::test]
async fn one_rule_says_which_crops_hold_back_and_an_unknown_crop_does() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    farm.put_on(bed, farm.borax, "2026-03-01", "1").await;
    let [next, after] = [
        farm.app.add_season(&farm.ada, farm.site, &season(2027)).await.unwrap(),
        farm.app.add_season(&farm.ada, farm.site, &season(2028)).await.unwrap(),
    ];
    farm.crops(farm.season, bed, "broccoli").await;
    farm.crops(next, bed, "cabbage").await;
    farm.crops(after, bed, "snap_bean").await;
    // University of Delaware: broccoli and cabbage take 3 lb B/acre; beans, two years away, none.
    let plan = farm.plan("Spring", &[bed], &[farm.potash]).await;
    let everywhere = async |want: f64| {
        close(boron(&farm.view(plan).await).0, want);
        close(boron_of(&farm.totals(bed).await).0, want);
        let (.., ahead) = farm.app.plot_outlook(&farm.ada, bed).await.unwrap();
        let line = ahead.outlook.caps.iter().find(|line| line.cap.counted == Counted::Total(Element::B)).unwrap();
        close(line.cap.kg_per_ha.0, want);
    };
    everywhere(3.0 * 1.120_851).await;
    // A crop that was taken off the list since is held to 1 lb.
    let file = format!("sqlite://{}", farm.folder.path().join("glebe.sqlite").display());
    let mut db = SqliteConnection::connect(&file).await.unwrap();
    sqlx::query("update croppings set crop = 'moonflower' where crop = 'cabbage'").execute(&mut db).await.unwrap();
    everywhere(1.120_851).await;
}

#[tokio::test]
async fn a_ph_read_in_salt_is_not_one_in_water() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    // SCMA (Rayment & Lyons 2011): calcium chloride reads 0.5 to 1.0 below water, so 6.6 is 7.1 or more.
    farm.tested(bed, "2026-02-10", &[("ph", "ph_cacl2", "6.6"), ("K", "mehlich3_icp", "45")]).await;
    let ash = farm.product("Wood ash", "ash", "0-0-5").await;
    let view = farm.view(farm.plan("Spring", &[bed], &[ash]).await).await;
    assert!(view.outcome.notes.iter().any(|n| n.contains("Wood ash") && n.contains("in water")), "{:?}", view.outcome);
    assert!(view.plots[0].doses.is_empty());
    let present = &view.plots[0].standing.present;
    assert_eq!(present.ph_in_water(), None);
    close(present.ph_at_least().unwrap(), 7.1);
    farm.tested(bed, "2026-02-11", &[("ph", "ph_water_1_5", "6.9")]).await;
    let (.., standing) = farm.app.plot_standing(&farm.ada, bed).await.unwrap();
    assert_eq!((standing.present.ph_in_water(), standing.present.ph_at_least()), (Some(6.9), Some(6.9)));
}

#[tokio::test]
async fn doses_of_an_older_agreed_plan_stay_open_until_it_is_closed() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    farm.tested(bed, "2026-02-10", SHORT).await;
    let first = farm.agreed("First", bed, "0.345").await;
    let second = farm.agreed("Second", bed, "40").await;
    let open = async || {
        let (.., ahead) = farm.app.plot_outlook(&farm.ada, bed).await.unwrap();
        ahead.open_doses.iter().map(|dose| dose.left_g).collect::<Vec<f64>>()
    };
    assert_eq!(open().await, [40.0, 0.345]);
    assert_eq!(farm.app.carry_over(&farm.ada, bed).await.unwrap().iter().filter(|l| !l.doses.is_empty()).count(), 2);
    // Put on as planned, to the milligram: nothing of it is left.
    let dose = farm.view(first).await.dose(bed, farm.potash).unwrap().id.unwrap();
    farm.app.record_as_planned(&farm.ada, dose, "").await.unwrap();
    assert_eq!(open().await, [40.0]);
    let left = farm.app.carry_over(&farm.ada, bed).await.unwrap();
    assert!(left.iter().filter(|one| one.plan.id == first).all(|one| one.doses.is_empty()), "{left:?}");
    farm.app.close_plan(&farm.ada, second).await.unwrap();
    assert!(open().await.is_empty());
    let left = farm.app.carry_over(&farm.ada, bed).await.unwrap();
    assert!(left.iter().any(|one| one.plan.id == second && one.doses.len() == 1));
}

#[tokio::test]
async fn what_goes_on_after_the_count_of_the_same_day_comes_off_it() {
    let farm = Farm::new().await;
    let bed = farm.plot("A1", "10").await;
    farm.put_on(bed, farm.potash, "2026-03-21", "500").await;
    let farm = farm.at("2026-03-21T10:00:00Z").await;
    // What was weighed out before the count is no longer in the shed when it is counted.
    farm.app.count_stock(&farm.ada, farm.potash, "2026-03-21", "4").await.unwrap();
    close(farm.app.stock(&farm.ada).await.unwrap()[&farm.potash], 4000.0);
    let farm = farm.at("2026-03-21T16:00:00Z").await;
    farm.put_on(bed, farm.potash, "2026-03-21", "300").await;
    close(farm.app.stock(&farm.ada).await.unwrap()[&farm.potash], 3700.0);
}
