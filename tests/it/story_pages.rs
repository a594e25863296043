//! The story of a plot and the season on paper: everything that happened is there, with who,
//! when, why and the evidence; what was taken back is not.

use super::{
    ground_pages::Garden,
    store::{plot_form, site_form},
};
use axum::http::StatusCode;
use glebe::{
    app::{
        App,
        applications::ApplicationForm,
        demo,
        harvests::HarvestForm,
        plots::{PartForm, SplitForm},
        seasons::SeasonForm,
        story::{What, chapters},
        year_summary::Why,
    },
    clock::Clock,
    ids::{PlotId, SeasonId, SiteId},
    settings::Settings,
};
use std::collections::{BTreeMap, BTreeSet};

/// The first bytes of a picture, which say what it is.
const PHOTO: &[u8] = b"\xff\xd8\xff\xe0 a photo of slugs";

struct Bed {
    garden: Garden,
    site: SiteId,
    plot: PlotId,
    season: SeasonId,
}

/// A bed with a test, lime, a crop and a harvest in 2025.
async fn bed() -> Bed {
    let garden = Garden::new().await;
    let (app, ada) = (&garden.app, &garden.ada);
    let site = app.add_site(ada, &site_form("Home")).await.unwrap();
    let plot = app.add_plot(ada, site, &plot_form("A1", "20")).await.unwrap();
    let form = SeasonForm { name: "2025".into(), starts_on: "2025-01-01".into(), ends_on: "2025-12-31".into() };
    let season = app.add_season(ada, site, &form).await.unwrap();
    app.set_crops(ada, season, &BTreeMap::from([(plot, vec!["Carrot".to_owned()])])).await.unwrap();
    app.seed_catalogue(ada, app.today()).await.unwrap();
    let lime =
        app.amendments(ada, false).await.unwrap().into_iter().find(|row| row.amendment.kind.slug() == "lime").unwrap();
    let put_on = ApplicationForm {
        plot: plot.to_string(),
        applied_on: "2025-03-20".into(),
        amendment: lime.id.to_string(),
        mass_g: "4000".into(),
        note: "the pH was low".into(),
        ..ApplicationForm::default()
    };
    app.record_application(ada, &put_on).await.unwrap();
    let harvest = HarvestForm {
        plot: plot.to_string(),
        harvested_on: "2025-09-01".into(),
        crop: "carrot".into(),
        fresh_mass_kg: "50".into(),
        ..HarvestForm::default()
    };
    app.record_harvest(ada, &harvest).await.unwrap();
    garden
        .tested("2025-03-01", "20", "", &[["ph", "ph_water_1_1", "5.8", ""], ["K", "mehlich3_icp", "90", "mg/kg"]])
        .await;
    Bed { garden, site, plot, season }
}

#[tokio::test]
async fn a_plots_story_has_every_sort_of_thing_and_links_to_it() {
    let Bed { garden, plot, .. } = bed().await;
    let notes = format!("/plots/{plot}/notes");
    let fields = |text, on| [("text", text), ("noted_on", on)];
    let told = garden.upload(&notes, &fields("Slugs <in> the carrots", "2025-07-02"), ("slugs.jpg", PHOTO)).await;
    assert_eq!(told.status, StatusCode::SEE_OTHER, "{}", told.text);
    let page = garden.get(&format!("/plots/{plot}/story")).await.replace('\u{a0}', " ");
    for part in [
        "Season 2025",
        "Slugs &#60;in&#62; the carrots",
        "slugs.jpg",
        "Soil sampled",
        "2 results from River Lab",
        "limed",
        "Harvest: 50 kg of carrot",
        "grown, 2025",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    for kind in ["/samplings/", "/applications/", "/harvests/", "/seasons/", "/files/"] {
        let path = page.split(&format!("href=\"{kind}")).nth(1).expect(kind).split('"').next().unwrap();
        assert_eq!(garden.ask(axum::http::Method::GET, &format!("{kind}{path}"), "").await.status, StatusCode::OK);
    }
    // The plot's own page tells the same, from the same function.
    assert!(garden.get(&format!("/plots/{plot}")).await.contains("Slugs"));

    let note = told.to.split("#note-").nth(1).unwrap();
    let page = garden.refused(&format!("/notes/{note}/void"), "reason=").await;
    assert!(page.contains("Say why"), "{page}");
    garden.send(&format!("/notes/{note}/void"), "reason=the+next+bed").await;
    let page = garden.get(&format!("/plots/{plot}/story")).await;
    assert!(!page.contains("Slugs &#60;in") && !page.contains("slugs.jpg"), "{page}");
    assert!(garden.get("/history").await.contains("was taken back: the next bed"));
}

#[tokio::test]
async fn a_note_that_cannot_be_kept_says_why_and_keeps_what_was_typed() {
    let Bed { garden, plot, .. } = bed().await;
    let notes = format!("/plots/{plot}/notes");
    for (text, on, file, said) in [
        ("", "2025-07-02", (&b""[..], ""), "Write what you saw"),
        ("chlorotic", "2099-07-02", (b"", ""), "id=\"noted_on-problem\""),
        ("chlorotic", "", (b"", ""), "id=\"noted_on-problem\""),
        ("chlorotic", "2025-07-02", (b"<svg onload=x>", "a.png"), "Only PDF, PNG, JPEG"),
    ] {
        let answer = garden.upload(&notes, &[("text", text), ("noted_on", on)], (file.1, file.0)).await;
        assert_eq!(answer.status, StatusCode::UNPROCESSABLE_ENTITY, "{said}: {}", answer.text);
        assert!(answer.text.contains(said) && answer.text.contains(text), "{said}: {}", answer.text);
    }
    assert!(!garden.get(&format!("/plots/{plot}/story")).await.contains("chlorotic"));
}

#[tokio::test]
async fn a_split_bed_tells_what_happened_before_it_and_where() {
    let Bed { garden, site, plot, .. } = bed().await;
    let (app, ada) = (&garden.app, &garden.ada);
    app.add_note(ada, plot, &glebe::app::notes::NoteForm { noted_on: "2025-05-01".into(), text: "dry".into() }, None)
        .await
        .unwrap();
    let parts = ["A1a", "A1b"].map(|code| PartForm { name: String::new(), code: code.into(), area_m2: "10".into() });
    let made = app
        .split_plot(ada, plot, &SplitForm { took_place_on: "2025-06-10".into(), parts: parts.to_vec() })
        .await
        .unwrap();
    let (_, _, standing) = app.plot_standing(ada, made[0]).await.unwrap();
    let told = app.happenings(ada, &standing).await.unwrap();
    assert!(told.iter().any(|one| matches!(one.what, What::Made(_))));
    let before = told.iter().filter(|one| one.plot == plot).count();
    assert_eq!(before, 5, "test, lime, crop, harvest and note of the whole bed: {told:?}");
    let seasons = app.seasons(ada, site).await.unwrap();
    assert_eq!(chapters(&told, &seasons).len(), 1);
    let page = garden.get(&format!("/plots/{}/story", made[0])).await;
    assert!(page.contains("on A1 then") && page.contains("split off"), "{page}");
}

#[tokio::test]
async fn a_season_on_paper_says_what_was_put_on_by_whom_and_why_and_what_is_not_known() {
    let Bed { garden, site, plot, season } = bed().await;
    let page = garden.get(&format!("/plots/{plot}/summary?season={season}&paper=letter")).await.replace('\u{a0}', " ");
    for part in [
        "data-paper=\"letter\"",
        "20 Mar 2025",
        "4 kg",
        "the pH was low",
        "Ada",
        "50 kg of carrot",
        "1 Mar 2025: River Lab",
        "not kept here",
        "no organic list noted",
        "in force since",
        "90 mg/kg",
    ] {
        assert!(page.contains(part), "{part}: {page}");
    }
    // The balance is the ledger's own.
    let account = garden.app.plot_ledger(&garden.ada, plot).await.unwrap().ledger.seasons.pop().unwrap();
    let year = garden.app.plot_year(&garden.ada, plot, Some(season)).await.unwrap().year.unwrap();
    assert_eq!(year.plots[0].account.as_ref(), Some(&account));
    assert_eq!(year.plots[0].put_on[0].why, Why::Said("the pH was low".into()));
    assert!(!year.running, "2025 is over");

    let page = garden.get(&format!("/sites/{site}/summary?season={season}")).await;
    assert!(page.contains("data-paper=\"a4\"") && page.contains("the pH was low"), "{page}");
    assert_eq!(garden.ask(axum::http::Method::GET, &format!("/sites/{site}/summary?season=999"), "").await.status, 404);
    assert!(
        garden.get(&format!("/sites/{site}/summary?season=soon&paper=papyrus")).await.contains("data-paper=\"a4\"")
    );
}

#[tokio::test]
async fn without_a_season_the_summary_says_what_to_do() {
    let garden = Garden::new().await;
    let site = garden.app.add_site(&garden.ada, &site_form("Home")).await.unwrap();
    let plot = garden.app.add_plot(&garden.ada, site, &plot_form("A1", "20")).await.unwrap();
    for path in [format!("/sites/{site}/summary"), format!("/plots/{plot}/summary")] {
        assert!(garden.get(&path).await.contains("No season is written down here yet"), "{path}");
    }
}

/// In the invented garden every product of a plan says which need it was for, and nothing put
/// on in the season is missing from the site's sheet.
#[tokio::test]
async fn the_sites_sheet_is_complete_and_a_dose_names_its_needs() {
    let folder = tempfile::tempdir().unwrap();
    let settings = Settings { data: folder.path().into(), listen: "127.0.0.1:0".parse().unwrap(), https: false };
    let app = App::open(&settings, Clock::Fixed("2026-11-25T12:00:00Z".parse().unwrap())).await.unwrap();
    assert!(app.invent_garden().await.unwrap());
    let token = app.sign_in(demo::LOGIN, demo::PASSWORD).await.unwrap().secret().to_owned();
    let ines = app.session(&token).await.unwrap().unwrap();
    let site = app.sites(&ines).await.unwrap()[0].id;
    let (mut planned, mut seen) = (0, 0);
    for season in app.seasons(&ines, site).await.unwrap() {
        let summary = app.site_year(&ines, site, Some(season.id)).await.unwrap();
        let Some(year) = &summary.year else { continue };
        let mut found = BTreeSet::new();
        for one in &year.plots {
            assert!(one.plot.began_on.is_none_or(|began| began <= season.ends_on));
            for put_on in &one.put_on {
                assert!(season.starts_on <= put_on.row.applied_on && put_on.row.applied_on <= season.ends_on);
                found.insert(put_on.row.id);
                planned += usize::from(matches!(&put_on.why, Why::Planned { serves, .. } if !serves.is_empty()));
            }
        }
        let mass: f64 = year.products.iter().map(|product| product.total.0).sum();
        let each: f64 = year.plots.iter().flat_map(|one| &one.put_on).map(|put_on| put_on.row.mass_g).sum();
        assert!((mass - each).abs() < 1e-6);
        seen += found.len();
    }
    assert!(seen > 100, "only {seen} applications on paper");
    eprintln!("{seen} applications on paper, {planned} of a plan");
}
