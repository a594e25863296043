//! The very first start: an empty record, the printed link, a garden with one bed.

use glebe_browser::{Browser, Scheme, Server, Width};

#[tokio::test]
async fn a_newcomer_starts_with_the_printed_link_and_adds_a_garden_and_a_bed() {
    let server = Server::start("serve");
    let mut story = Browser::open("first-start", Width::Phone, Scheme::Dark).await;
    story.page.goto(server.setup_link().expect("a link to begin with")).await.expect("the page of the link");
    story.fill("name", "Ada Marsh").await;
    story.fill("login", "ada").await;
    story.fill("password", "four plain garden words").await;
    story.expect_no_sideways_scroll().await;
    story.shot("setup").await;
    story.click(thirtyfour::By::Css("main form button")).await;
    story.expect("No garden or farm is recorded yet").await;
    story.shot("nothing-yet").await;
    story.follow("Add a site").await;
    story.fill("name", "Home").await;
    story.fill("currency", "EUR").await;
    story.expect_no_sideways_scroll().await;
    story.shot("site").await;
    story.click(thirtyfour::By::Css("main form button:not(.second)")).await;
    story.expect("No plots yet").await;
    story.follow("Add a plot").await;
    story.fill("code", "A1").await;
    story.fill("area_m2", "1.2.3").await;
    story.choose("texture", "loam").await;
    story.press("Add the plot").await;
    story.expect("need").await;
    story.expect_no_sideways_scroll().await;
    story.shot("odd-area").await;
    story.fill("area_m2", "12,5").await;
    story.press("Add the plot").await;
    story.expect("No soil was sampled here yet").await;
    story.expect("12.5").await;
    story.expect_no_sideways_scroll().await;
    story.shot("bed").await;
    story.close().await;
}
