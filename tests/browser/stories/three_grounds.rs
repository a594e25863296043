//! Three kinds of ground that ask for care: a sour field, a tunnel that fizzes, and a garden in a
//! city. From the lab's sheets to lime in parts, sulfur refused, and lead shown to whom it concerns.

use glebe_browser::{Browser, Scheme, Server, Width};
use thirtyfour::prelude::*;

/// A line of a sheet: analyte, what is printed, and the method where the sheet's own is chosen.
type Line = (&'static str, &'static str, &'static str);

const SOUR: [Line; 6] = [
    ("ph", "5.2", ""),
    ("buffer_ph", "6.2", "buffer_sikora"),
    ("P", "40", ""),
    ("K", "90", ""),
    ("Ca", "400", ""),
    ("Mg", "60", ""),
];

/// By Mehlich-3, which dissolves lime and counts it.
const FIZZING_BY_ACID: [Line; 5] =
    [("ph", "7.9", ""), ("P", "121", ""), ("K", "259", ""), ("Ca", "4870", ""), ("Mg", "228", "")];

const FIZZING_BY_ALKALI: [Line; 9] = [
    ("ph", "7.9", ""),
    ("ec", "4.5", "ec_paste"),
    ("carbonate", "6.4", ""),
    ("P", "14", ""),
    ("Ca", "4010", ""),
    ("Mg", "148", ""),
    ("K", "139", ""),
    ("Na", "58", ""),
    ("Zn", "0.5", ""),
];

const CITY: [Line; 4] = [("ph", "6.8", ""), ("Pb", "250", ""), ("As", "9", ""), ("Cd", "0.4", "")];

#[tokio::test]
async fn three_grounds_on_a_phone_in_the_dark() {
    three_grounds(Width::Phone, Scheme::Dark).await;
}

#[tokio::test]
async fn three_grounds_at_a_desk_in_the_light() {
    three_grounds(Width::Desktop, Scheme::Light).await;
}

async fn three_grounds(width: Width, scheme: Scheme) {
    let server = Server::start("serve");
    let mut story = Browser::open("three-grounds", width, scheme).await;
    begin(&story, &server).await;
    let field = add_plot(&story, &server, "F1", "100", "open").await;
    let tunnel = add_plot(&story, &server, "T1", "60", "tunnel").await;
    let yard = add_plot(&story, &server, "C1", "24", "open").await;
    sour_field(&mut story, &field).await;
    fizzing_tunnel(&mut story, &tunnel).await;
    city_garden(&mut story, &yard).await;
    story.close().await;
}

async fn look(story: &mut Browser, what: &str) {
    story.expect_no_sideways_scroll().await;
    story.shot(what).await;
}

async fn begin(story: &Browser, server: &Server) {
    story.page.goto(server.setup_link().expect("a link to begin with")).await.expect("the page of the link");
    story.fill("name", "Ada Marsh").await;
    story.fill("login", "ada").await;
    story.fill("password", "four plain garden words").await;
    story.click(By::Css("main form button")).await;
    story.expect("No garden or farm is recorded yet").await;
    story.follow("Add a site").await;
    story.fill("name", "Three Grounds").await;
    story.fill("currency", "EUR").await;
    story.click(By::Css("main form button:not(.second)")).await;
    story.expect("No plots yet").await;
}

/// Adds a plot of loam worked to 20 cm; gives its address.
async fn add_plot(story: &Browser, server: &Server, code: &str, area: &str, cover: &str) -> String {
    story.page.goto(format!("{}/sites/1/plots/new", server.address)).await.expect("the form of a plot");
    story.fill("code", code).await;
    story.fill("area_m2", area).await;
    story.choose("cover", cover).await;
    story.choose("texture", "loam").await;
    story.press("Add the plot").await;
    story.expect("No soil was sampled here yet").await;
    story.page.current_url().await.expect("an address").to_string()
}

/// Types what a sheet prints into the lines of a panel.
async fn type_sheet(story: &Browser, panel: &str, lines: &[Line]) {
    story.fill("lab", "Invented Lab").await;
    story.press(panel).await;
    for (analyte, printed, method) in lines {
        let by = By::Css(format!("input[name$='.analyte'][value='{analyte}']"));
        let line = story.page.find(by).await.unwrap_or_else(|_| panic!("no line for {analyte}"));
        let name = line.attr("name").await.expect("a name").expect("a name");
        story.fill(&name.replace(".analyte", ".printed"), printed).await;
        if !method.is_empty() {
            story.choose(&name.replace(".analyte", ".method"), method).await;
        }
    }
}

async fn save(story: &Browser) {
    let by = "//p[contains(@class, 'buttons')]//button[normalize-space(.) = 'Save']";
    story.click(By::XPath(by)).await;
    story.expect("Invented Lab").await;
}

async fn open(story: &Browser, plot: &str, words: &str) {
    story.page.goto(plot).await.expect("the plot");
    story.expect("What stands here").await;
    story.follow(words).await;
}

/// A named buffer on the sheet becomes lime on this plot, in a product and in parts.
async fn sour_field(story: &mut Browser, plot: &str) {
    open(story, plot, "Enter a soil sample").await;
    type_sheet(story, "Mehlich-3 by ICP", &SOUR).await;
    save(story).await;
    open(story, plot, "pH and lime").await;
    look(story, "lime-first").await;
    story.fill("target_ph", "6.4").await;
    story.press("Work it out").await;
    // EM 9585: Sikora buffer 6.2 to pH 6.4 is 2.8 short tons; 8.2 t/ha on this depth.
    story.expect("As the publisher prints it: 2.8 ton/acre").await;
    story.expect("As pure calcium carbonate for 20 cm here: 8.2 t/ha").await;
    story.expect("82.4 kg on this plot").await;
    story.expect("2 parts of").await;
    story.click(By::XPath("//summary[contains(., 'cannot tell here')]")).await;
    story.expect("their readings are not interchangeable").await;
    look(story, "lime").await;
}

/// Free lime, salt, the extraction that leaves lime alone, and no sulfur.
async fn fizzing_tunnel(story: &mut Browser, plot: &str) {
    open(story, plot, "Enter a soil sample").await;
    story.choose("fizz_acid", "hydrochloric_1m").await;
    story.choose("fizz_class", "strong").await;
    type_sheet(story, "Mehlich-3 by ICP", &FIZZING_BY_ACID).await;
    story.press("Save, then a second sheet").await;
    type_sheet(story, "Olsen P, alkaline acetate cations", &FIZZING_BY_ALKALI).await;
    save(story).await;
    story.expect("This soil shows free lime").await;
    story.page.goto(plot).await.expect("the tunnel");
    // Potassium by alkaline acetate, phosphorus by Olsen.
    story.expect("139 mg/kg").await;
    story.expect("14 mg/kg").await;
    look(story, "tunnel").await;
    open(story, plot, "pH and lime").await;
    story.expect("No sulfur.").await;
    story.expect("before pH could move").await;
    look(story, "no-sulfur").await;
    open(story, plot, "Salts and sodium").await;
    story.expect("felt by many crops").await;
    story.expect("capacity and saturations read too high here").await;
    look(story, "salts").await;
    open(story, plot, "Trace elements").await;
    story.expect("Havlin").await;
    look(story, "traces").await;
    // Every guideline on one plot, and with the reason where one does not apply.
    story.page.goto(format!("{plot}/opinions")).await.expect("the second opinion");
    story.expect("Publishers disagree, and none of them is blended or ranked here").await;
    story.expect("Guidelines that do not apply").await;
    look(story, "second-opinion").await;
    story.click(By::XPath("//summary[contains(., 'each with its reason')]")).await;
    look(story, "second-opinion-reasons").await;
}

/// Lead beside what authorities print, and to whom to show it.
async fn city_garden(story: &mut Browser, plot: &str) {
    open(story, plot, "Enter a soil sample").await;
    type_sheet(story, "Total metals", &CITY).await;
    save(story).await;
    open(story, plot, "Harmful metals").await;
    story.expect("is at or above the 200 mg/kg of United States").await;
    story.expect("local health or environment authority").await;
    look(story, "lead").await;
    story.choose("place", "European Union").await;
    story.press("Show").await;
    story.expect("lies within the 50 to 300 mg/kg of European Union").await;
    look(story, "lead-of-one-place").await;
    let text = story.text().await.to_lowercase();
    assert!(!text.contains("safe"), "the page promises something: {text}");
}
