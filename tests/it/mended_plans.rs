//! Plans where something gives way: a search that is stopped, passes without time to choose them,
//! a decision about a cap that is published otherwise now, and records that must stay as they are.

use super::{
    beds,
    plan_pages::{Planned, amendment, five_beds, table},
    store::fresh,
};
use glebe::{
    agronomy::{
        amendment::Kind,
        cap::{Counted, Overruled, season_caps},
        crop::Crop,
        element::Element::{self, *},
        ground::{Cover, Ground, Texture},
        pass::Pass,
        plan::{
            optimise::{Answer, Effort, Failure, Model, Solver},
            *,
        },
        quantity::{Centimetres, KgPerHa, SquareMetres},
        season::{Material, PlotSeason, Wishes, prepare},
    },
    app::seasons::DoseForm,
};
use jiff::civil::date;
use sqlx::{Connection, SqliteConnection};
use std::{
    collections::{BTreeMap, BTreeSet},
    sync::atomic::{AtomicUsize, Ordering},
    time::Duration,
};

fn bed(key: Key, need: &[(Element, f64)]) -> PlotNeed {
    beds::bed(key, 10.0, need)
}

fn product(key: Key, content: &[(Element, f64)]) -> Product {
    let packs = vec![Pack { mass_g: 100.0, price_minor: Some(100) }];
    Product { packs, whole_packs: true, ..beds::product(key, content, None) }
}

/// Two beds that need potassium and magnesium; one product for each.
fn two_beds() -> PlanInput {
    PlanInput {
        plots: vec![bed(1, &[(K, 100.0), (Mg, 50.0)]), bed(2, &[(K, 60.0), (Mg, 80.0)])],
        products: vec![product(1, &[(K, 0.5)]), product(2, &[(Mg, 0.5)])],
        ..PlanInput::default()
    }
}

/// Stops once the cost of the first try, as if nothing were shared, was told.
#[derive(Default)]
struct StopsAtTrial(AtomicUsize);

impl Watch for StopsAtTrial {
    fn tell(&self, progress: &Progress) {
        self.0.fetch_add(usize::from(progress.goal == Goal::Cost), Ordering::Relaxed);
    }

    fn stopped(&self) -> bool {
        self.0.load(Ordering::Relaxed) > 0
    }
}

#[test]
fn a_search_that_is_stopped_keeps_what_fits_of_the_plan_it_had() {
    let products = |plan: &Plan| plan.doses.iter().map(|d| d.product.key).collect::<BTreeSet<_>>().len();
    let stopped = |input: &PlanInput| {
        let plan = solve_watched(input, &StopsAtTrial::default());
        let shortage = plan.stages[0];
        assert!(shortage.value < 1.9, "{shortage:?} of 2 where nothing is given");
        // Stopped, it is never better than the whole search, and as good where it says that it is proven.
        let whole = solve(input).stages[0];
        let (less, alike) = (shortage.value - whole.value, (shortage.value - whole.value).abs() < 1e-6);
        assert!(whole.proven && (alike || (less > 0.0 && !shortage.proven)), "{shortage:?}, in all {whole:?}");
        assert!(plan.doses.iter().any(|d| d.weigh_g > 0.0) && plan.account.notes.is_empty(), "{plan:?}");
        plan
    };
    let mut few = two_beds();
    few.options.max_products = Some(1);
    assert_eq!(products(&stopped(&few)), 1);
    // In all 320 g of the first and 260 g of the second: seven packs. Four are paid for.
    let mut poor = two_beds();
    poor.options.budget_minor = Some(400);
    stopped(&poor);
    // One pack is paid for: there is none of the other product.
    poor.options.budget_minor = Some(100);
    assert_eq!(products(&stopped(&poor)), 1);
    let mut shed = two_beds();
    (shed.products[0].packs, shed.products[0].stock_g) = (vec![], 90.0);
    let plan = stopped(&shed);
    let spread: f64 = plan.doses.iter().filter(|d| d.product.key == 1).map(|d| d.weigh_g).sum();
    assert!((spread - 90.0).abs() < 1e-6, "{spread} g of the 90 g on hand");
}

/// Counts what it is asked; has an answer, or none.
struct Counting {
    asked: AtomicUsize,
    answers: bool,
    takes: Duration,
}

impl Solver for Counting {
    fn minimise(&self, model: &Model, effort: Effort, start: Option<&[f64]>) -> Result<Answer, Failure> {
        self.asked.fetch_add(1, Ordering::Relaxed);
        if !self.answers {
            return Err(Failure::Broken);
        }
        optimise::Microlp.minimise(model, effort, start).map(|answer| Answer { spent: self.takes, ..answer })
    }
}

/// Nine walks, each for an element of its own; the first two for the heaviest needs.
fn nine_walks() -> PlanInput {
    let elements = [K, Mg, Ca, P, S, Zn, Cu, Mn, B];
    let products = elements
        .iter()
        .zip(1..)
        .map(|(element, key)| Product { pass: Pass::Alone, ..product(key, &[(*element, 0.2)]) });
    let mut input = PlanInput {
        plots: vec![bed(1, &elements.map(|e| (e, 20.0)))],
        products: products.collect(),
        ..PlanInput::default()
    };
    // Of what is needed of the others no more than a tenth may go on.
    for element in &elements[2..] {
        input.plots[0].caps.insert(*element, Cap { left_kg_per_ha: 2.0, label: "test rule".into(), ..Cap::default() });
    }
    input.options.max_passes = Some(2);
    input
}

#[test]
fn passes_are_chosen_by_arithmetic_where_there_is_no_time_or_no_answer() {
    let input = nine_walks();
    let used = |plan: &Plan| plan.doses.iter().map(|d| d.product.key).collect::<BTreeSet<_>>();
    let hasty = |plan: &Plan| plan.notes.iter().any(|note| note.to_string().contains("no time to try every choice"));
    let whole = solve(&input);
    assert!(used(&whole) == BTreeSet::from([1, 2]) && !hasty(&whole), "{:?}", whole.notes);

    // Each question takes a second of five, half of which is for the passes.
    let slow = Counting { asked: AtomicUsize::new(0), answers: true, takes: Duration::from_secs(1) };
    let plan = solve_with(&input, &slow, &watch::Unwatched);
    assert!(hasty(&plan) && used(&plan) == BTreeSet::from([1, 2]), "{:?} {:?}", used(&plan), plan.notes);
    assert!(slow.asked.load(Ordering::Relaxed) < 30, "36 choices were not all tried");

    // Stopped before it began: nothing is asked, and what is barred is not everything.
    struct Stopped;
    impl Watch for Stopped {
        fn stopped(&self) -> bool {
            true
        }
    }
    let idle = Counting { asked: AtomicUsize::new(0), answers: true, takes: Duration::ZERO };
    let plan = solve_with(&input, &idle, &Stopped);
    assert_eq!(idle.asked.load(Ordering::Relaxed), 0);
    assert!(hasty(&plan) && used(&plan) == BTreeSet::from([1, 2]), "{:?} {:?}", used(&plan), plan.notes);
    let broken = Counting { asked: AtomicUsize::new(0), answers: false, takes: Duration::ZERO };
    let plan = solve_with(&input, &broken, &watch::Unwatched);
    assert!(hasty(&plan) && used(&plan) == BTreeSet::from([1, 2]), "{:?} {:?}", used(&plan), plan.notes);
}

fn season(crop: &str) -> PlotSeason {
    PlotSeason {
        key: 1,
        name: "Bed 1".into(),
        block: None,
        ground: Ground {
            area: SquareMetres(10.0),
            cover: Cover::Open,
            texture: Texture::Loam,
            bulk_density: None,
            depth: Centimetres(15.0),
            stones: 0.0,
        },
        standing: None,
        sampled: None,
        calcareous: false,
        ph: Some(6.5),
        ph_reckoned: false,
        crops: vec![Crop::find(crop).unwrap()],
        growing: vec![],
        season_from: date(2026, 1, 1),
        tested_on: BTreeMap::new(),
        applications: vec![],
        promised: vec![],
    }
}

/// The boron that may still go on, kg/ha, and what is said, with a decision made about the cap
/// that a crop sets.
fn boron_left(crop: &str, kg_per_ha: f64, about: &str) -> (f64, String) {
    let counted = Counted::Total(B);
    let caps = season_caps(&[Crop::find(about).unwrap()], Texture::Loam);
    let cap = caps.iter().find(|cap| cap.counted == counted).unwrap();
    let decided = Overruled {
        kg_per_ha: KgPerHa(kg_per_ha),
        published: cap.kg_per_ha,
        label: cap.label.clone(),
        reason: "leaf test".into(),
        by: "Ada Marsh".into(),
        on: date(2026, 2, 1),
    };
    let wishes = Wishes {
        overruled: BTreeMap::from([((1, counted), decided)]),
        spread_on: date(2026, 3, 1),
        ..Wishes::default()
    };
    let borax = Material {
        product: Product { key: 1, name: "borax".into(), content: BTreeMap::from([(B, 0.1134)]), ..Product::default() },
        kind: Kind::Salt,
        manure: false,
        acid_soil_only: false,
        rate_limit: None,
        listing: None,
    };
    let prepared = prepare(&[season(crop)], &[borax], &[], &wishes);
    (prepared.input.plots[0].caps[&B].left_kg_per_ha, prepared.notes.join("\n"))
}

#[test]
fn a_decision_about_a_cap_ends_with_the_cap_it_was_made_about() {
    // University of Delaware: broccoli takes 3 lb B/acre, snap bean none.
    let close = |(got, said): (f64, String), want: f64, told: bool| {
        assert!((got - want).abs() < 1e-3, "{got}, not {want}: {said}");
        assert_eq!(said.contains("a new one is needed") && said.contains("Ada Marsh"), told, "{said}");
    };
    close(boron_left("snap_bean", 3.0, "broccoli"), 0.0, true);
    close(boron_left("broccoli", 3.0, "broccoli"), 3.0, false);
    close(boron_left("snap_bean", 0.5, "snap_bean"), 0.5, false);
    // Whoever let more go on for beans decided about beans.
    close(boron_left("broccoli", 3.3, "snap_bean"), 3.3, false);
    // Nothing goes beyond the outermost bound, whatever is recorded.
    close(boron_left("snap_bean", 9.0, "snap_bean"), 3.0 * 1.120_851, false);
}

#[tokio::test]
async fn a_hazard_without_an_outermost_figure_is_held_to_what_is_published() {
    let planned = five_beds().await;
    let plan = planned.plan().await;
    let path = format!("/plans/{plan}/caps/{}/total-Mo", planned.beds[0]);
    // 0.4 lb/acre is 0.45 kg/ha.
    assert!(planned.garden.get(&path).await.contains("At the very most 0.448 kg/ha"));
    let body = |kg: &str| format!("kg_per_ha={kg}&plots={}&reason=leaf+test&warned=yes", planned.beds[0]);
    let page = planned.garden.refused(&path, &body("0.6")).await;
    assert!(page.contains("No more than 0.45 kg/ha") && page.contains("nothing read says"), "{page}");
    planned.garden.send(&path, &body("0.3")).await;
}

#[tokio::test]
async fn a_decision_that_no_longer_counts_is_said_and_can_be_taken_back() {
    let planned = five_beds().await;
    let Planned { garden, beds, .. } = &planned;
    let plan = planned.plan().await;
    let path = format!("/plans/{plan}/caps/{}/total-Cu", beds[0]);
    garden.send(&path, &format!("kg_per_ha=4&plots={}&reason=leaf+test&warned=yes", beds[0])).await;
    // The record as it is where what is published has changed since.
    let mut raw = raw(garden.folder.path()).await;
    sqlx::raw_sql(
        "drop trigger cap_overrules_are_final_1; update cap_overrules set label = 'Copper: at most 9 kg/ha', published_kg_per_ha = 9",
    )
    .execute(&mut raw)
    .await
    .unwrap();
    let page = garden.get(&path).await;
    assert!(page.contains("That no longer counts") && page.contains("Take this decision back"), "{page}");
    let copper = amendment(garden, "Copper sulfate").await;
    let typed = table(&planned.view(plan).await, &[(DoseForm::grams_field(beds[0], copper), "12")]);
    let refused = garden.refused(&format!("/plans/{plan}/doses"), &typed).await;
    assert!(refused.contains("goes beyond a cap"), "{refused}");
}

async fn raw(folder: &std::path::Path) -> SqliteConnection {
    SqliteConnection::connect(&format!("sqlite://{}", folder.join("glebe.sqlite").display())).await.unwrap()
}

#[tokio::test]
async fn what_is_final_is_refused_by_the_record_itself() {
    let (folder, _app, _ada) = fresh().await;
    let mut raw = raw(folder.path()).await;
    // Rows without what they hang on: only the triggers are asked.
    sqlx::raw_sql(
        "pragma foreign_keys = off;
         insert into cap_overrules (id, plan, plot, cap, label, published_kg_per_ha, kg_per_ha, warned, reason, decided_at, decided_by)
         values (1, 1, 1, 'total-B', 'Boron', 1, 2, 1, 'leaf test', '2026', 1);
         insert into list_statuses (id, amendment, list, status, source, stated_on, recorded_at)
         values (1, 1, 'a list', 'listed', 'a letter', '2026-01-01', '2026');
         insert into list_evidence values (1, x'00', 'letter.pdf', 'application/pdf', 5);
         insert into own_removals (id, site, crop, kg_per_t, source, recorded_at) values (1, 1, 'leek', '{}', 'own', '2026');",
    )
    .execute(&mut raw)
    .await
    .unwrap();
    let steps = [
        ("update cap_overrules set id = 2", false),
        ("update cap_overrules set kg_per_ha = 3", false),
        ("update cap_overrules set withdrawn_at = '2027', withdrawn_by = 1", true),
        ("update cap_overrules set withdrawn_at = null, withdrawn_by = null", false),
        ("delete from cap_overrules", false),
        ("update list_statuses set id = 2", false),
        ("update list_statuses set recorded_at = '2020'", false),
        ("update list_statuses set voided_at = '2027', void_reason = 'wrong'", true),
        ("update list_statuses set voided_at = null, void_reason = null", false),
        ("update list_statuses set void_reason = 'other'", false),
        ("delete from list_statuses", false),
        ("update list_evidence set name = 'other.pdf'", false),
        ("delete from list_evidence", false),
        ("update own_removals set kg_per_t = '[]'", false),
        ("update own_removals set recorded_at = '2020'", false),
        ("update own_removals set voided_at = '2027', void_reason = 'wrong'", true),
        ("update own_removals set voided_at = null, void_reason = null", false),
        ("delete from own_removals", false),
    ];
    for (sql, taken) in steps {
        let done = sqlx::raw_sql(sql).execute(&mut raw).await;
        assert_eq!(done.is_ok(), taken, "{sql}: {done:?}");
        if let Err(refused) = done {
            let said = refused.to_string();
            assert!(said.contains("never") || said.contains("stays so"), "{sql}: {said}");
        }
    }
}
