//! The drift review: the same numbers as each plot's own page, picked and sorted as asked,
//! kept only as long as they hold; and the errors that a site sets itself.

use super::{
    demo::{AUTUMN, garden},
    ground_pages::Garden,
    store::{plot_form, site_form},
};
use axum::http::{Method, StatusCode};
use glebe::{
    agronomy::{
        analyte::Analyte,
        confidence::TestError,
        drift::{self, PlotDrift, REVIEWED, RanksP},
        element::Element,
        ground::Cover,
    },
    app::{
        Actor, App,
        drift_review::{Order, SiteDrift, Wanted},
        plots::{PartForm, PlotRow, SiteForm, SplitForm},
        reports::{CellForm, ReportForm, SamplingForm},
        test_errors::ErrorForm,
    },
    ids::{DeterminationId, PlotId, SiteId},
};
use std::{collections::BTreeMap, sync::Arc};

const K: Analyte = Analyte::Element(Element::K);
const P: Analyte = Analyte::Element(Element::P);

async fn review_of_demo() -> (tempfile::TempDir, App, Actor, Arc<SiteDrift>) {
    let (folder, app, actor) = garden(AUTUMN).await;
    let site = app.sites(&actor).await.unwrap()[0].id;
    let review = app.drift_review(&actor, site).await.unwrap();
    (folder, app, actor, review)
}

#[tokio::test]
async fn every_line_says_what_the_plots_own_page_says() {
    let (_folder, app, actor, review) = review_of_demo().await;
    let (compared, with_aim, parted) = compare(&app, &actor, &review).await;
    assert!(compared > 200 && with_aim > 100 && parted > 0, "{compared} {with_aim} {parted}");

    // A reading chosen by hand names a cell of the record, and the verdict goes by its method.
    let mut chosen = 0;
    for plot in &review.plots {
        let (_, _, standing) = app.plot_standing(&actor, plot.id).await.unwrap();
        let other = standing.present.choices.values().find_map(|choice| {
            let other = choice.others.iter().find(|other| other.method != choice.chosen.method)?;
            (other.analyte != Analyte::Ph && REVIEWED.contains(&other.analyte)).then_some(other)
        });
        let Some(other) = other.filter(|_| chosen < 3) else { continue };
        let on =
            standing.samplings.iter().find(|one| one.sampling.determinations().any(|(_, cell)| cell.key == other.cell));
        let on = on.expect("its sampling").row.id;
        app.overrule_reading(&actor, on, DeterminationId(other.cell.0), "the lab said so").await.unwrap();
        chosen += 1;
    }
    assert_eq!(chosen, 3);
    let again = app.drift_review(&actor, review.site.id).await.unwrap();
    assert_ne!(again.rows, review.rows);
    compare(&app, &actor, &again).await;
}

/// Holds every row against the plot's own page; how many were compared, had an aim, had a break.
async fn compare(app: &App, actor: &Actor, review: &SiteDrift) -> (usize, usize, usize) {
    let (mut compared, mut with_aim, mut parted) = (0, 0, 0);
    for (at, plot) in review.plots.iter().enumerate() {
        for analyte in REVIEWED {
            let row = review.rows.iter().find(|(of, row)| *of == at && row.analyte == analyte).map(|(_, row)| row);
            let trend = app.plot_trend(actor, plot.id, analyte).await.unwrap();
            let Some(row) = row else {
                assert_eq!(trend.verdict.n, 0, "{} {analyte}", plot.code);
                continue;
            };
            let at = format!("{} {analyte}", plot.code);
            let verdict = &trend.verdict;
            assert_eq!((&row.words, row.finding, row.tests), (&verdict.words, verdict.finding, verdict.n), "{at}");
            assert_eq!(
                (row.per_year, row.p.map(RanksP::value), row.span_years),
                (verdict.per_year, verdict.p, verdict.span_years),
                "{at}"
            );
            assert_eq!((row.s, row.p.and_then(RanksP::exact)), (verdict.ranks.s, verdict.exact_p), "{at}");
            if let (Some(line), Some((slope, se))) = (&verdict.line, row.bare_slope()) {
                assert_eq!((slope, row.birge, row.p_scatter), (line.slope, Some(line.birge), line.p_scatter), "{at}");
                assert!((se / line.se_slope - 1.0).abs() < 1e-12, "{at}");
            }
            let breaks: Vec<&String> = row.breaks.iter().map(|(_, words)| words).collect();
            assert_eq!(breaks, trend.breaks.iter().map(|gap| &gap.words).collect::<Vec<_>>(), "{at}");
            let method = trend.methods.iter().find(|m| m.method == row.method && m.unit == row.unit).unwrap();
            assert_eq!(row.aim, method.aim.map(|(aim, _)| aim), "{at}");
            // Every year's number is one of the page's own points.
            let points = || trend.methods.iter().flat_map(|m| &m.segments).flat_map(|s| &s.points);
            for year in &row.years {
                assert!(
                    points().any(|p| p.sampled_on.year() == year.year
                        && p.value == year.value
                        && p.qualifier == year.qualifier),
                    "{at} {year:?}"
                );
            }
            compared += 1;
            with_aim += usize::from(row.years.iter().any(|year| year.ratio.is_some()));
            parted += usize::from(!row.breaks.is_empty());
        }
    }
    (compared, with_aim, parted)
}

#[tokio::test]
async fn slopes_of_one_nutrient_by_one_method_are_drawn_together() {
    let (_folder, _app, _actor, review) = review_of_demo().await;
    let rows: Vec<&PlotDrift> = review.rows.iter().map(|(_, row)| row).collect();
    let mut groups: BTreeMap<_, Vec<&PlotDrift>> = BTreeMap::new();
    for row in rows.iter().filter(|row| row.slope.is_some()) {
        groups.entry((row.analyte, row.method.clone(), row.unit)).or_default().push(row);
    }
    let mut drawn = 0;
    for group in groups.values() {
        let slopes: Vec<(f64, f64)> = group.iter().filter_map(|row| row.slope).collect();
        let together = drift::shrink(&slopes);
        assert_eq!(together.is_some(), group.len() >= 4);
        for (place, row) in group.iter().enumerate() {
            let expected = together.as_ref().map(|all| (all.plots[place].slope, all.plots[place].own_share));
            assert_eq!(row.drawn.map(|drawn| (drawn.slope, drawn.own_share)), expected);
            drawn += usize::from(row.drawn.is_some());
        }
    }
    assert!(drawn > 100, "{drawn}");
    // Together the plots lie closer than each by itself.
    let spread = |slopes: &mut dyn Iterator<Item = f64>| {
        let (low, high) = slopes.fold((f64::INFINITY, f64::NEG_INFINITY), |(low, high), b| (b.min(low), b.max(high)));
        high - low
    };
    for group in groups.values().filter(|group| group.len() >= 4) {
        let own = spread(&mut group.iter().filter_map(|row| row.slope).map(|(slope, _)| slope));
        let together = spread(&mut group.iter().filter_map(|row| row.drawn).map(|drawn| drawn.slope));
        assert!(together < own, "{together} {own}");
    }
}

#[tokio::test]
async fn rows_are_picked_and_sorted_as_asked() {
    let (_folder, _app, _actor, review) = review_of_demo().await;
    let all = review.pick(&Wanted::default());
    assert_eq!(all.len(), review.rows.len());
    let sorted = |rows: &[(&PlotRow, &PlotDrift)], key: fn(&PlotDrift) -> Option<f64>| {
        let keys: Vec<Option<f64>> = rows.iter().map(|(_, row)| key(row)).collect();
        let known: Vec<f64> = keys.iter().map_while(|key| *key).collect();
        assert!(known.len() > 5 && known.is_sorted(), "{known:?}");
        assert!(keys[known.len()..].iter().all(Option::is_none), "what is not known comes last");
    };
    sorted(&all, |row| row.now().and_then(|year| year.ratio));
    let by = |order| review.pick(&Wanted { order, ..Wanted::default() });
    sorted(&by(Order::Falling), |row| row.speed());
    sorted(&by(Order::Rising), |row| row.speed().map(|speed| -speed));
    sorted(&by(Order::Uncertain), |row| row.uncertainty().map(|width| -width));

    let potassium = review.pick(&Wanted { nutrient: Some(K), ..Wanted::default() });
    assert!(!potassium.is_empty() && potassium.iter().all(|(_, row)| row.analyte == K));
    let tunnels = review.pick(&Wanted { cover: Some(Cover::Tunnel), ..Wanted::default() });
    assert!(!tunnels.is_empty() && tunnels.iter().all(|(plot, _)| plot.cover == Cover::Tunnel));
    let block = review.plots.iter().find_map(|plot| plot.block).unwrap();
    let of_block = review.pick(&Wanted { block: Some(block), ..Wanted::default() });
    assert!(!of_block.is_empty() && of_block.iter().all(|(plot, _)| plot.block == Some(block)));
    let (crop, _) = review.crops_grown()[0];
    let grown = review.pick(&Wanted { crop: Some(crop.into()), ..Wanted::default() });
    assert!(!grown.is_empty() && grown.len() < all.len());
    assert!(grown.iter().all(|(plot, _)| review.crops[&plot.id].iter().any(|c| c.slug == crop)));
}

/// A site with beds that were tested for potassium over some years.
async fn beds(garden: &Garden, plots: &[&str], years: &[(i16, &str)]) -> (SiteId, Vec<PlotId>) {
    let form = SiteForm { guideline: "rutgers_mehlich3".into(), ..site_form("Home") };
    let site = garden.app.add_site(&garden.ada, &form).await.unwrap();
    let mut beds = Vec::new();
    for code in plots {
        let bed = garden.app.add_plot(&garden.ada, site, &plot_form(code, "10")).await.unwrap();
        for (year, printed) in years {
            test(garden, bed, *year, "K", printed).await;
        }
        beds.push(bed);
    }
    (site, beds)
}

async fn test(garden: &Garden, bed: PlotId, year: i16, analyte: &str, printed: &str) {
    let sampling = SamplingForm {
        plots: vec![bed.to_string()],
        sampled_on: format!("{year}-03-01"),
        depth_bottom_cm: "20".into(),
        ..SamplingForm::default()
    };
    let cell = CellForm {
        analyte: analyte.into(),
        method: "mehlich3_icp".into(),
        printed: printed.into(),
        unit: "mg/kg".into(),
        ..CellForm::default()
    };
    let report = ReportForm { lab: "Lab North".into(), rows: vec![cell], ..ReportForm::default() };
    garden.app.save_sampling_with_report(&garden.ada, &sampling, &report).await.unwrap();
}

#[tokio::test]
async fn a_new_result_shows_at_once_and_what_changes_nothing_keeps_the_review() {
    let garden = Garden::new().await;
    let (site, beds) = beds(&garden, &["A1", "A2"], &[(2020, "120"), (2022, "<110"), (2024, "104.5")]).await;
    let (app, ada) = (&garden.app, &garden.ada);
    let first = app.drift_review(ada, site).await.unwrap();
    assert_eq!(first.rows.len(), 2);
    let years: Vec<(i16, f64)> = first.rows[0].1.years.iter().map(|year| (year.year, year.value)).collect();
    assert_eq!(years, [(2020, 120.0), (2022, 110.0), (2024, 104.5)]);
    assert!(Arc::ptr_eq(&first, &app.drift_review(ada, site).await.unwrap()));
    app.seed_catalogue(ada, jiff::civil::date(2020, 1, 1)).await.unwrap();
    assert!(Arc::ptr_eq(&first, &app.drift_review(ada, site).await.unwrap()), "products change no test");

    test(&garden, beds[0], 2026, "K", "91").await;
    let second = app.drift_review(ada, site).await.unwrap();
    assert_eq!(second.rows[0].1.years.last().map(|year| (year.year, year.value)), Some((2026, 91.0)));
    assert_eq!(second.rows[1], first.rows[1]);

    // A correction, a withdrawn line, a void sampling: each is gone at once.
    let samplings = app.samplings(ada, beds[1]).await.unwrap();
    let cell = samplings[2].sampling.reports[0].determinations[0].key.0;
    let answer = garden.ask(Method::POST, &format!("/determinations/{cell}/withdraw"), "reason=typed+twice").await;
    assert_eq!(answer.status, StatusCode::SEE_OTHER, "{}", answer.text);
    let third = app.drift_review(ada, site).await.unwrap();
    assert_eq!(third.rows[1].1.tests, 2);
    app.void_sampling(ada, samplings[0].row.id, "another bed").await.unwrap();
    let fourth = app.drift_review(ada, site).await.unwrap();
    assert_eq!(fourth.rows[1].1.tests, 1);
    // Another site has none of it.
    let other = app.add_site(ada, &site_form("Away")).await.unwrap();
    assert!(app.drift_review(ada, other).await.unwrap().rows.is_empty());
    assert!(garden.get(&format!("/sites/{other}/drift")).await.contains("No tests yet"));
}

#[tokio::test]
async fn a_plot_at_a_glance_is_what_its_own_page_says() {
    let (_folder, app, actor, review) = review_of_demo().await;
    let glance = app.site_glance(&actor, review.site.id).await.unwrap();
    assert_eq!(glance.plots.len(), review.plots.len());
    let mut short = 0;
    for seen in &glance.plots {
        let (_, _, ahead) = app.plot_outlook(&actor, seen.plot.id).await.unwrap();
        let (at, standing) = (&seen.plot.code, &ahead.standing.present.standing);
        let worst = standing.worst().map(|n| (n.analyte, n.likelihood.as_ref().map(|l| l.words), n.shortage_weight()));
        assert_eq!(seen.worst.map(|worst| (worst.analyte, worst.likely, worst.weight)), worst, "{at}");
        assert_eq!(seen.excess, standing.excesses().map(|n| n.analyte).collect::<Vec<_>>(), "{at}");
        assert_eq!(seen.last_sampled, ahead.standing.survey.last_sampled(), "{at}");
        assert_eq!((seen.due, seen.open_doses), (ahead.outlook.next_test.due, ahead.open_doses.len()), "{at}");
        assert_eq!(seen.over_a_cap, ahead.outlook.caps.iter().any(|line| line.left.0 < 0.0), "{at}");
        let awaiting: Vec<_> = seen.awaiting.iter().map(|(id, _)| *id).collect();
        assert_eq!(awaiting, ahead.awaiting, "{at}");
        short += usize::from(worst.is_some());
    }
    assert!(short > 5, "{short}");
    assert!(Arc::ptr_eq(&glance, &app.site_glance(&actor, review.site.id).await.unwrap()));
}

#[tokio::test]
async fn a_sample_that_was_just_taken_is_awaited_at_once() {
    let garden = Garden::new().await;
    let (site, beds) = beds(&garden, &["A1"], &[(2024, "104.5")]).await;
    let (app, ada) = (&garden.app, &garden.ada);
    assert!(app.site_glance(ada, site).await.unwrap().plots[0].awaiting.is_empty());
    let sampling = SamplingForm {
        plots: vec![beds[0].to_string()],
        sampled_on: "2026-03-02".into(),
        depth_bottom_cm: "20".into(),
        ..SamplingForm::default()
    };
    app.save_sampling(ada, &sampling).await.unwrap();
    let seen = app.site_glance(ada, site).await.unwrap();
    assert_eq!(seen.plots[0].awaiting.len(), 1);
    assert_eq!(seen.plots[0].last_sampled, Some(jiff::civil::date(2026, 3, 2)));
    assert!(garden.get("/").await.contains("A report is awaited for the sample of 2\u{a0}Mar\u{a0}2026"));
}

#[tokio::test]
async fn a_split_plot_keeps_the_years_before_it() {
    let garden = Garden::new().await;
    let (site, beds) = beds(&garden, &["A1"], &[(2020, "120"), (2023, "100")]).await;
    let parts = ["A1a", "A1b"].map(|code| PartForm { name: String::new(), code: code.into(), area_m2: "5".into() });
    let form = SplitForm { took_place_on: "2024-01-10".into(), parts: parts.to_vec() };
    garden.app.split_plot(&garden.ada, beds[0], &form).await.unwrap();
    let review = garden.app.drift_review(&garden.ada, site).await.unwrap();
    assert_eq!(review.plots.len(), 2);
    assert!(review.rows.len() == 2 && review.rows.iter().all(|(_, row)| row.tests == 2));
}

#[tokio::test]
async fn the_page_and_its_csv_show_every_number() {
    let garden = Garden::new().await;
    let years = [(2018, "150"), (2020, "131"), (2022, "118"), (2024, "96.5")];
    let (site, beds) = beds(&garden, &["A1", "A2", "A3", "A4"], &years).await;
    let page = garden.get(&format!("/sites/{site}/drift")).await;
    for part in ["Potassium", "2018", "2024", &format!("/plots/{}/trend/K", beds[0]), "by its own tests", "a year"] {
        assert!(page.contains(part), "{part}: {page}");
    }
    assert!(!page.contains("NaN"));
    let small = garden.get(&format!("/sites/{site}/drift?view=small")).await;
    assert_eq!(small.matches("<figure class=\"small\">").count(), 4);
    let none = garden.get(&format!("/sites/{site}/drift?nutrient=P")).await;
    assert!(none.contains("Nothing here is of that kind"), "{none}");

    let csv = garden.get(&format!("/sites/{site}/drift.csv")).await;
    let mut reader = csv::Reader::from_reader(csv.as_bytes());
    let heads = reader.headers().unwrap().clone();
    let rows: Vec<csv::StringRecord> = reader.records().map(Result::unwrap).collect();
    assert_eq!(rows.len(), 4);
    let review = garden.app.drift_review(&garden.ada, site).await.unwrap();
    let row = &review.rows[0].1;
    let cell = |name: &str| {
        rows.iter()
            .find(|r| &r[0] == "A1")
            .map(|r| r[heads.iter().position(|h| h == name).unwrap()].to_owned())
            .unwrap()
    };
    let slope = row.per_year.unwrap();
    assert_eq!(cell("slope").parse::<f64>().unwrap(), slope.best);
    assert_eq!(cell("slope_drawn_low_90").parse::<f64>().unwrap(), row.drawn.unwrap().per_year.low);
    assert_eq!(cell("found_2024"), "96.5");
    assert_eq!(cell("found_over_aim_2024").parse::<f64>().unwrap(), row.years[3].ratio.unwrap());
    assert_eq!(cell("finding"), "probably falling");
    assert_eq!((cell("tests"), cell("unit"), cell("method")), ("4".into(), "mg/kg".into(), "mehlich3_icp".into()));

    // 150, 131, 118, 96.5: every one of six pairs falls, which 1 of 24 orders does, and 1 rises.
    assert_eq!(
        (cell("s_of_ranks"), cell("p_ranks_numerator"), cell("p_ranks_denominator")),
        ("-6".into(), "1".into(), "12".into())
    );
    let (slope, se) = row.bare_slope().unwrap();
    assert_eq!(cell("slope_on_scale").parse::<f64>().unwrap(), slope);
    assert_eq!(cell("slope_se_on_scale").parse::<f64>().unwrap(), se);
    assert_eq!(cell("birge_ratio"), "1");
    assert!((0.05..1.0).contains(&cell("p_scatter").parse::<f64>().unwrap()));

    // The slope opens down to the printed cells, and what is said to its numbers.
    let trend = garden.get(&format!("/plots/{}/trend/K", beds[0])).await;
    let behind = trend.split("<details class=\"behind\">").nth(1).expect("a fold").split("</details>").next().unwrap();
    for part in ["−6 of 6 pairs", "−1.00", "1/12 = 0.083", "with 2 to spare", "Kendall", "1.00", "Sen"] {
        assert!(behind.contains(part), "{part}: {behind}");
    }
    assert_eq!(behind.matches("1/12 = 0.083").count(), 2, "the p, and the smallest that four tests could give");
    assert!(behind.contains("right for 91 of 100") && behind.contains("mg/kg a year"), "{behind}");
    let working = format!("/plots/{}/trend/K/working", beds[0]);
    assert!(trend.contains(&working));
    let working = garden.get(&working).await;
    assert!(working.contains("The numbers behind") && working.contains("−6 of 6 pairs"), "{working}");
    assert!(
        working.contains("Error of one test") && working.contains("/samplings/") | working.contains("/reports/"),
        "{working}"
    );
}

#[tokio::test]
async fn a_site_sets_the_errors_that_its_tests_are_weighed_by() {
    let garden = Garden::new().await;
    let (site, beds) = beds(&garden, &["A1"], &[(2020, "120"), (2024, "94")]).await;
    let (app, ada) = (&garden.app, &garden.ada);
    let path = format!("/sites/{site}/errors");
    let page = garden.get(&path).await;
    assert!(page.contains("Lab North") && page.contains("error[K]") && page.contains("12\u{a0}%"), "{page}");
    let finding = async || app.plot_trend(ada, beds[0], K).await.unwrap().verdict.words;
    assert!(finding().await.contains("cannot tell"), "{}", finding().await);
    let likelihood = async || {
        let (_, _, standing) = app.plot_standing(ada, beds[0]).await.unwrap();
        standing.present.standing.get(K).unwrap().percent_range_90.unwrap()
    };
    let (low, high) = likelihood().await;

    let revision = app.site(ada, site).await.unwrap().revision;
    let refused = garden.refused(&path, &format!("revision={revision}&error%5BK%5D=many&error%5Bph%5D=9")).await;
    assert!(refused.contains("value=\"many\"") && refused.matches("class=\"problem\"").count() == 2, "{refused}");
    garden.send(&path, &format!("revision={revision}&error%5BK%5D=5&error%5Bph%5D=0,1")).await;
    let page = garden.get(&path).await;
    assert!(
        page.contains("name=\"error[K]\"") && page.contains("value=\"5\"") && page.contains("value=\"0.1\""),
        "{page}"
    );
    assert!(finding().await.contains("probably falling"), "{}", finding().await);
    let (narrow_low, narrow_high) = likelihood().await;
    assert!(low < narrow_low && narrow_high < high);
    let review = app.drift_review(ada, site).await.unwrap();
    assert!(review.own_errors && review.rows[0].1.words.contains("probably falling"));
    assert!(garden.get(&format!("/sites/{site}/drift")).await.contains("set itself"));
    assert!(garden.get(&format!("/plots/{}/trend/K", beds[0])).await.contains("was set by this site"));
    assert!(garden.get(&format!("/sites/{site}/history")).await.contains("errors of soil tests"));

    // For one lab alone, before what counts for any.
    let form = app.error_form(ada, site).await.unwrap();
    assert_eq!((form.error["K"].as_str(), form.error["ph"].as_str()), ("5", "0.1"));
    let lab = ("Lab North".to_owned(), BTreeMap::from([("K".to_owned(), "20".to_owned())]));
    app.set_test_errors(ada, site, &ErrorForm { by_lab: vec![lab], ..form.clone() }).await.unwrap();
    assert!(finding().await.contains("cannot tell"));
    let settings = app.test_errors(ada, site).await.unwrap();
    assert_eq!(settings.of_lab(K, "Lab North").one_test, TestError::Relative(0.2));
    assert_eq!(settings.of_lab(K, "another").one_test, TestError::Relative(0.05));
    assert_eq!(settings.of(P).one_test, TestError::Relative(0.15));
    // The form that was read before is behind the record.
    let late = app.set_test_errors(ada, site, &form).await;
    assert!(matches!(late, Err(glebe::app::Error::Conflict(_))));
}
