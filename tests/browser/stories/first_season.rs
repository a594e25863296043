//! A first season, from two sheets of a lab to what is done next year, in the invented garden:
//! on a phone and at a desk, in light and in dark. Only what a person sees and does.

use glebe_browser::{Browser, Scheme, Server, Width};
use std::time::Duration;
use thirtyfour::prelude::*;

/// Words and fields of the pages that this story passes through, each named once.
mod page {
    pub const SITE: &str = "Quillow Holt";
    /// A bed whose soil foams with acid, and the five that are planned for.
    pub const FIZZING: &str = "KE1";
    pub const BEDS: [&str; 5] = ["KE1", "KE2", "B1", "B2", "B3"];

    pub const NEW_SAMPLING: &str = "Enter a soil sample";
    pub const ACID: &str = "fizz_acid";
    pub const FIZZ: &str = "fizz_class";
    pub const LAB: &str = "lab";
    pub const FIRST_PANEL: &str = "Mehlich-3 by ICP";
    pub const SECOND_PANEL: &str = "Olsen P, alkaline acetate cations";
    pub const SECOND_SHEET: &str = "Save, then a second sheet";
    pub const SAVE_SHEET: &str = "Save";

    pub const SEASONS: &str = "Season plans";
    pub const NEW_PLAN: &str = "Plan this season";
    pub const NO_PLOTS: &str = "Tick none";
    pub const PLAN_NAME: &str = "name";
    pub const NITROGEN: &str = "nitrogen_kg_per_ha";
    pub const WORK_OUT: &str = "Work out the plan";
    pub const WEIGH_OUT: &str = "Weigh-out sheet";
    pub const AGREE: &str = "Save and agree";

    pub const RECORD: &str = "Record what was put on";
    pub const DONE: &str = "Done as planned";
    pub const OTHER: &str = "Different amount";
    pub const MASS: &str = "mass_g";
    pub const NOTE: &str = "note";
    pub const RECORD_IT: &str = "Record it";

    pub const NEXT: &str = "What to do next season, and why";
}

/// What the first sheet prints: by Mehlich-3, which reads lime as if it were food.
const MEHLICH3: [(&str, &str); 12] = [
    ("ph", "7.9"),
    ("organic_matter", "5.4"),
    ("P", "121"),
    ("K", "259"),
    ("Ca", "4870"),
    ("Mg", "228"),
    ("Na", "70"),
    ("S", "52"),
    ("B", "1,0"),
    ("Mn", "86"),
    ("Zn", "7.3"),
    ("Cu", "2.7"),
];

/// What the second prints, by extracts that leave the lime alone.
const ALKALINE: [(&str, &str); 11] = [
    ("ph", "7.9"),
    ("carbonate", "6.4"),
    ("P", "14"),
    ("Ca", "4010"),
    ("Mg", "148"),
    ("K", "139"),
    ("Na", "58"),
    ("Fe", "6.1"),
    ("Mn", "4.8"),
    ("Zn", "0.7"),
    ("B", "<0.5"),
];

#[tokio::test]
async fn a_first_season_on_a_phone_in_the_light() {
    first_season(Width::Phone, Scheme::Light).await;
}

#[tokio::test]
async fn a_first_season_at_a_desk_in_the_dark() {
    first_season(Width::Desktop, Scheme::Dark).await;
}

async fn first_season(width: Width, scheme: Scheme) {
    let garden = Server::start("demo");
    let mut story = Browser::open("first-season", width, scheme).await;
    sign_in(&mut story, &garden).await;
    let bed = enter_two_sheets(&mut story).await;
    read_the_standing(&mut story, &bed).await;
    make_a_plan(&mut story, &garden).await;
    put_it_on(&mut story).await;
    story.page.goto(format!("{}{bed}", garden.address)).await.expect("the bed again");
    story.follow(page::NEXT).await;
    story.expect("When to test again").await;
    story.expect("Put on since the last test").await;
    look(&mut story, "next-season").await;
    story.close().await;
}

/// A picture of the page, which never scrolls sideways.
pub async fn look(story: &mut Browser, what: &str) {
    story.expect_no_sideways_scroll().await;
    story.shot(what).await;
}

pub async fn sign_in(story: &mut Browser, garden: &Server) {
    let said = garden.greeting.iter().find_map(|line| line.strip_prefix("Sign in as "));
    let (login, password) = said.and_then(|said| said.split_once(" with the password: ")).expect("who may sign in");
    story.page.goto(&garden.address).await.expect("the first page");
    story.fill("login", login).await;
    story.fill("password", password).await;
    look(story, "sign-in").await;
    story.press("Sign in").await;
    story.expect("What needs doing").await;
    look(story, "today").await;
    story.follow(page::SITE).await;
    story.expect("Invented demonstration data").await;
    look(story, "site").await;
}

/// Types both sheets of the bed that fizzes; gives the address of the bed.
async fn enter_two_sheets(story: &mut Browser) -> String {
    story.follow(page::FIZZING).await;
    story.expect("What stands here").await;
    look(story, "bed-before").await;
    let bed = story.page.current_url().await.expect("an address").path().to_owned();

    story.follow(page::NEW_SAMPLING).await;
    story.choose(page::ACID, "hydrochloric_1m").await;
    story.choose(page::FIZZ, "strong").await;
    story.fill(page::LAB, "Invented Lab").await;
    story.press(page::FIRST_PANEL).await;
    type_results(story, &MEHLICH3).await;
    look(story, "first-sheet").await;
    story.press(page::SECOND_SHEET).await;
    story.fill(page::LAB, "Invented Lab").await;
    story.press(page::SECOND_PANEL).await;
    type_results(story, &ALKALINE).await;
    look(story, "second-sheet").await;
    story
        .click(By::XPath(format!(
            "//p[contains(@class, 'buttons')]//button[normalize-space(.) = '{}']",
            page::SAVE_SHEET
        )))
        .await;
    story.expect("This soil shows free lime").await;
    look(story, "sampling").await;
    bed
}

/// Types what a sheet prints into its lines.
async fn type_results(story: &Browser, printed: &[(&str, &str)]) {
    for (analyte, text) in printed {
        let by = By::Css(format!("input[name$='.analyte'][value='{analyte}']"));
        let line = story.page.find(by).await.unwrap_or_else(|_| panic!("no line for {analyte}"));
        let name = line.attr("name").await.expect("a name").expect("a name");
        story.fill(&name.replace(".analyte", ".printed"), text).await;
    }
}

/// Reads where the bed stands now and opens a figure down to the lab's cell.
async fn read_the_standing(story: &mut Browser, bed: &str) {
    story.click(By::Css(format!("main a[href='{bed}']"))).await;
    story.expect("What stands here").await;
    story.expect("139 mg/kg").await;
    look(story, "bed-after").await;
    story.click(By::Css(format!("a[href='{bed}/working/K/found']"))).await;
    story.expect("as the lab printed it").await;
    look(story, "working").await;
    story.click(By::Css("main a[href*='#cell-']")).await;
    story.expect("As printed").await;
    story.expect("139").await;
    look(story, "printed-cell").await;
}

async fn make_a_plan(story: &mut Browser, garden: &Server) {
    story.page.goto(&garden.address).await.expect("the first page");
    story.follow(page::SITE).await;
    story.follow(page::SEASONS).await;
    look(story, "seasons").await;
    story.click(By::Css("main .listing a")).await;
    story.expect("What grows where").await;
    look(story, "season").await;
    story.follow(page::NEW_PLAN).await;
    story.follow(page::NO_PLOTS).await;
    story.unfold().await;
    story.fill(page::PLAN_NAME, "Five beds").await;
    story.fill(page::NITROGEN, "60").await;
    for bed in page::BEDS {
        let named = format!("//label[.//input[@name='plots'] and starts-with(normalize-space(.), '{bed}')]");
        story.click(By::XPath(named)).await;
    }
    look(story, "plan-form").await;
    story.press(page::WORK_OUT).await;
    story.expect("What goes where").await;
    look(story, "plan").await;
    let plan = story.page.current_url().await.expect("an address");
    story.follow(page::WEIGH_OUT).await;
    story.expect("Before you begin").await;
    look(story, "weigh-out").await;
    story.print("weigh-out").await;
    story.page.goto(plan.as_str()).await.expect("the plan");
    story.press(page::AGREE).await;
    story.expect(page::RECORD).await;
    look(story, "plan-agreed").await;
}

/// Puts the plan on: the first dose as planned, the second in part, the others as planned.
async fn put_it_on(story: &mut Browser) {
    story.follow(page::RECORD).await;
    story.expect(page::DONE).await;
    look(story, "record").await;
    let doses = buttons(story, page::DONE).await;
    assert!(doses >= 5, "five beds have {doses} doses");
    story.press(page::DONE).await;
    story.expect("Recorded:").await;
    story.press(page::OTHER).await;
    story.fill(page::MASS, "1.2.3").await;
    story.press(page::RECORD_IT).await;
    story.expect("One field needs another look").await;
    look(story, "other-amount-refused").await;
    story.fill(page::MASS, "10").await;
    story.fill(page::NOTE, "the bag ran out").await;
    story.press(page::RECORD_IT).await;
    story.expect("the bag ran out").await;
    story.expect("left of").await;
    look(story, "record-in-part").await;
    for left in (0..doses - 2).rev() {
        story.press(page::DONE).await;
        for _ in 0..50 {
            if buttons(story, page::DONE).await == left {
                break;
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
        assert_eq!(buttons(story, page::DONE).await, left, "a dose is done with one tap");
    }
    story.expect("Season totals").await;
    look(story, "record-done").await;
}

/// How many buttons of the page have these words.
async fn buttons(story: &Browser, words: &str) -> usize {
    // A search that finds none would wait as long as one that may still find some.
    let script =
        "return [...document.querySelectorAll('button')].filter(b => b.textContent.includes(arguments[0])).length";
    let found = story.page.execute(script, vec![words.into()]).await.expect("a count");
    found.convert::<usize>().expect("a number")
}
