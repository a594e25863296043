//! Years of a garden, read at the end of a season: what falls fastest, whether the crops took
//! it, whether last season's plan was right, and the year on paper. Every sentence on the way
//! is opened to its numbers.

use super::first_season::{look, sign_in};
use glebe_browser::{Browser, Scheme, Server, Width};
use thirtyfour::prelude::*;

/// Words of the pages that this story passes through, each named once.
mod page {
    pub const DRIFT: &str = "How the soil moves";
    pub const NET: &str = "Less what was added and removed";
    pub const LEDGER: &str = "ledger";
    pub const CALIBRATION: &str = "Did the forecasts hold?";
    pub const ON_PAPER: &str = "The season on paper";
    pub const STORY: &str = "The whole story";
}

#[tokio::test]
async fn the_years_at_a_desk_in_the_light() {
    years(Width::Desktop, Scheme::Light).await;
}

#[tokio::test]
async fn the_years_on_a_phone_in_the_dark() {
    years(Width::Phone, Scheme::Dark).await;
}

async fn years(width: Width, scheme: Scheme) {
    let garden = Server::start("demo");
    let mut story = Browser::open("years", width, scheme).await;
    sign_in(&mut story, &garden).await;
    let site = address(&story).await;
    let trend = fastest_falling(&mut story).await;
    offtake_and_not_error(&mut story, &garden, &trend).await;
    story.page.goto(format!("{}{site}", garden.address)).await.expect("the site");
    did_the_plan_hold(&mut story).await;
    story.page.goto(format!("{}{site}", garden.address)).await.expect("the site");
    on_paper(&mut story, &garden, &site).await;
    story.close().await;
}

/// The path of the page.
async fn address(story: &Browser) -> String {
    story.page.current_url().await.expect("an address").path().to_owned()
}

/// Opens the review of the site, lets the fastest fall of potassium come first, and opens its
/// slope down to the printed cells; gives the address of its trend.
async fn fastest_falling(story: &mut Browser) -> String {
    story.follow(page::DRIFT).await;
    story.expect("Read together").await;
    look(story, "drift").await;
    story.choose("nutrient", "K").await;
    story.choose("sort", "falling").await;
    story.press("Show").await;
    story.expect("Lines 1 to").await;
    look(story, "drift-potassium").await;
    let first = story.page.find(By::Css("table.heat tbody th a[href*='/trend/K']:not([href$='/working'])")).await;
    let trend = first.expect("a line").attr("href").await.expect("a link").expect("a link");
    assert!(first_row(story).await.contains("a year"), "the first line falls");
    story.click(By::Css("table.heat tbody th a[href$='/trend/K/working']")).await;
    story.expect("as the lab printed it").await;
    look(story, "slope").await;
    trend
}

/// What the first line of the review says.
async fn first_row(story: &Browser) -> String {
    let row = story.page.find(By::Css("table.heat tbody th")).await.expect("a line");
    row.text().await.expect("words")
}

/// The tests fall further than their error; the second reading says what of it the ledger explains.
async fn offtake_and_not_error(story: &mut Browser, garden: &Server, trend: &str) {
    let address = if trend.starts_with("http") { trend.to_owned() } else { format!("{}{trend}", garden.address) };
    story.page.goto(&address).await.expect("the trend");
    story.expect("falling").await;
    look(story, "falling").await;
    story.follow(page::NET).await;
    story.expect("was added and removed explains").await;
    story.click(By::XPath("//summary[contains(., 'The numbers behind')]")).await;
    story.expect("counts after that test").await;
    look(story, "offtake-explains").await;
    story.click(By::XPath(format!("//main//a[normalize-space(.) = '{}']", page::LEDGER))).await;
    story.expect("Went").await;
    look(story, "ledger").await;
    story.click(By::Css("main a.figure[href*='/K/season']")).await;
    story.expect("and how it comes about").await;
    look(story, "ledger-working").await;
}

/// The bands of last season's plan against the tests that came.
async fn did_the_plan_hold(story: &mut Browser) {
    story.follow(page::CALIBRATION).await;
    story.expect("How often they held").await;
    story.expect("What came").await;
    look(story, "calibration").await;
    story.click(By::Css("main td a[href*='/trend/']")).await;
    story.expect("Did the plans hold?").await;
    story.expect("expected").await;
    look(story, "forecast-and-test").await;
}

/// The last season that is over, of the site and of its first plot, printed; then the plot's story.
async fn on_paper(story: &mut Browser, garden: &Server, site: &str) {
    story.follow(page::ON_PAPER).await;
    story.expect("Plot by plot").await;
    let seasons = story.page.find_all(By::Css("select[name='season'] option")).await.expect("seasons");
    let mut over = None;
    for season in seasons {
        let name = season.text().await.expect("a name");
        if name == "2025" {
            over = season.attr("value").await.expect("a key");
        }
    }
    story.choose("season", &over.expect("the season of 2025")).await;
    story.press("Show").await;
    story.expect("season 2025").await;
    story.expect("What was put on, when, by whom and why").await;
    look(story, "site-year").await;
    story.print("site-year").await;
    story.click(By::Css("main table tbody th a[href*='/summary?season=']")).await;
    story.expect("What the tests say").await;
    look(story, "plot-year").await;
    story.print("plot-year").await;
    story.follow(page::STORY).await;
    story.expect("Season 2025").await;
    look(story, "story").await;
    story.fill("text", "Worm casts all over after the rain").await;
    story.press("Write it down").await;
    story.expect("It is written down").await;
    story.expect("Worm casts all over").await;
    look(story, "noted").await;
    assert!(address(story).await.ends_with("/story"), "{} of {site}", garden.address);
}
