//! Years of a garden and of a field, read at the end of a season: what falls fastest, whether the
//! crops took it, whether last season's plan was right, and the year on paper. Every sentence on
//! the way is opened to its numbers. The field is the Rothamsted liming experiment, taken in
//! through `glebe import`; where its data are not at hand that is said, and the garden's part told.

use super::{
    first_season::{look, sign_in},
    rothamsted,
};
use glebe_browser::{Browser, Scheme, Server, Width};
use std::ffi::OsStr;
use thirtyfour::prelude::*;

/// Words of the pages that this story passes through, each named once.
mod page {
    pub const DRIFT: &str = "How the soil moves";
    pub const NET: &str = "Less what was added and removed";
    pub const LEDGER: &str = "ledger";
    pub const CALIBRATION: &str = "Did the forecasts hold?";
    pub const ON_PAPER: &str = "The season on paper";
    pub const STORY: &str = "The whole story";
    pub const FIELD: &str = "Rothamsted liming experiment";
    /// What the second reading may say.
    pub const EXPLAINS: &str = "What was added and removed explains the fall in potassium";
    pub const FALLS_MORE: &str = "Potassium falls more than what was added and removed explains";
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
    let (garden, field) = with_the_field(Server::start("demo"));
    let mut story = Browser::open("years", width, scheme).await;
    sign_in(&mut story, &garden).await;
    let home = address(&story).await;
    let (falling, first) = falling_fastest(&mut story).await;
    assert!(falling.len() > 10, "beds of the garden: {}", falling.len());
    assert!(first.contains("read together −"), "the first line falls: {first}");
    offtake_and_not_error(&mut story, &garden, &falling[0]).await;
    and_where_it_is_not(&mut story, &garden, &falling[1..]).await;
    story.page.goto(format!("{}{home}", garden.address)).await.expect("the site");
    did_the_plan_hold(&mut story).await;
    story.page.goto(format!("{}{home}", garden.address)).await.expect("the site");
    on_paper(&mut story, &garden, &home).await;
    if field {
        the_field(&mut story, &garden).await;
    }
    story.close().await;
}

/// The garden's record with the field's beside it; whether that could be had.
fn with_the_field(garden: Server) -> (Server, bool) {
    let source = match rothamsted::source() {
        Ok(source) => source,
        Err(why) => {
            eprintln!("SKIPPED: the field's part of the story of the years: {why}");
            return (garden, false);
        }
    };
    let set = tempfile::tempdir().expect("a folder");
    for (name, bytes) in rothamsted::converted(&source) {
        std::fs::write(set.path().join(name), bytes).expect("a file of the set");
    }
    let arguments = [OsStr::new("import"), set.path().as_os_str(), OsStr::new("--site"), OsStr::new(page::FIELD)];
    let (garden, said) = garden.stop_for(&arguments, "demo");
    assert!(said.contains(&format!("Taken into “{}”", page::FIELD)), "{said}");
    (garden, true)
}

/// The path of the page.
async fn address(story: &Browser) -> String {
    story.page.current_url().await.expect("an address").path().to_owned()
}

/// An address of a link, whole.
fn whole(garden: &Server, path: &str) -> String {
    if path.starts_with("http") { path.to_owned() } else { format!("{}{path}", garden.address) }
}

/// Opens the review of the site, lets the fastest fall of potassium come first, and opens its
/// slope down to the printed cells; gives the addresses of the trends, the fastest first, and what the
/// first line says.
async fn falling_fastest(story: &mut Browser) -> (Vec<String>, String) {
    story.follow(page::DRIFT).await;
    story.expect("Read together").await;
    look(story, "drift").await;
    story.choose("nutrient", "K").await;
    story.choose("sort", "falling").await;
    story.press("Show").await;
    story.expect("Lines 1 to").await;
    look(story, "drift-potassium").await;
    let links = By::Css("table.heat tbody th a[href*='/trend/K']:not([href$='/working'])");
    let mut trends: Vec<String> = Vec::new();
    for link in story.page.find_all(links).await.expect("lines") {
        let trend = link.attr("href").await.expect("a link").expect("a link");
        if !trends.contains(&trend) {
            trends.push(trend);
        }
    }
    let row = story.page.find(By::Css("table.heat tbody th")).await.expect("a line").text().await.expect("words");
    assert!(row.contains("read together ") && row.contains("by its own tests"), "{row}");
    story.click(By::Css("table.heat tbody th a[href$='/trend/K/working']")).await;
    story.expect("as the lab printed it").await;
    look(story, "slope").await;
    (trends, row)
}

/// The tests fall further than their error, and the second reading finds that what came and went
/// makes the most of it: the numbers behind agree with each other.
async fn offtake_and_not_error(story: &mut Browser, garden: &Server, trend: &str) {
    story.page.goto(whole(garden, trend)).await.expect("the trend");
    story.expect("falling").await;
    story.expect("By this plot’s own tests alone").await;
    look(story, "falling").await;
    numbers_behind(story).await;
    story.follow(page::NET).await;
    story.expect(page::EXPLAINS).await;
    let lead = lead(story, page::EXPLAINS).await;
    // "of −10.2 mg/kg a year it makes −9.1, and what is left, −6.3 to 4.1 mg/kg a year, may be none."
    let [raw, made, low, high] = numbers(&lead)[..] else { panic!("four numbers: {lead}") };
    assert!(raw < 0.0 && made < 0.0 && made / raw >= 0.5, "{lead}");
    assert!(low <= 0.0 && 0.0 <= high, "{lead}");
    assert!(((raw - made) - (low + high) / 2.0).abs() < 0.02 * raw.abs() + 0.02, "the middle of what is left: {lead}");
    story.unfold().await;
    story.expect("counts after that test").await;
    let rows = table(story, "main details table.stack tbody tr").await;
    let tests: Vec<&Vec<f64>> = rows.iter().filter(|row| row.len() == 4).collect();
    assert!(tests.len() >= 3, "{rows:?}");
    for row in &tests {
        let [found, _, moved, left] = row[..] else { panic!("{row:?}") };
        assert!((found - moved - left).abs() <= 0.01 * found + 0.6, "found less moved is left: {row:?}");
    }
    let last = tests.last().expect("a test");
    assert!(last[1] < 0.0 && last[2] < 0.0, "more left than came, and that moved it: {last:?}");
    look(story, "offtake-explains").await;
    story.click(By::XPath(format!("//main//a[normalize-space(.) = '{}']", page::LEDGER))).await;
    story.expect("Went").await;
    look(story, "ledger").await;
    story.click(By::Css("main a.figure[href*='/K/season']")).await;
    story.expect("and how it comes about").await;
    look(story, "ledger-working").await;
}

/// The numbers that the sentence opens to, by their names.
async fn behind(story: &mut Browser) -> std::collections::BTreeMap<String, String> {
    story.unfold().await;
    let mut behind = std::collections::BTreeMap::new();
    for row in story.page.find_all(By::Css("main details.behind tbody tr")).await.expect("rows") {
        let name = row.find(By::Css("th")).await.expect("a name").text().await.expect("words");
        let value = row.find(By::Css("td")).await.expect("a value").text().await.expect("words");
        behind.insert(name, value);
    }
    behind
}

/// The sentence opens to its numbers: S, its exact chance as a fraction, the slopes, the scatter.
async fn numbers_behind(story: &mut Browser) {
    let behind = behind(story).await;
    let of = |name: &str| behind.get(name).unwrap_or_else(|| panic!("no {name}: {behind:?}"));
    let [s, pairs] = numbers(of("S"))[..] else { panic!("S of pairs: {behind:?}") };
    assert!(s < 0.0 && -s <= pairs, "{behind:?}");
    assert!((numbers(of("tau"))[0] - s / pairs).abs() < 0.006, "{behind:?}");
    assert!(of("p by ranks").contains('/') && of("Smallest possible p").contains('/'), "{behind:?}");
    assert!(numbers(of("Middle slope"))[0] < 0.0 && numbers(of("Slope"))[0] < 0.0, "{behind:?}");
    assert!(numbers(of("Birge ratio"))[0] >= 1.0 && numbers(of("Probability of falling"))[0] > 0.5, "{behind:?}");
    look(story, "numbers-behind").await;
}

/// One of the next beds falls further than what came and went explains.
async fn and_where_it_is_not(story: &mut Browser, garden: &Server, trends: &[String]) {
    for trend in trends.iter().take(20) {
        story.page.goto(format!("{}?reading=net", whole(garden, trend))).await.expect("the second reading");
        if story.text().await.contains(page::FALLS_MORE) {
            look(story, "falls-more").await;
            return;
        }
    }
    panic!("no bed whose potassium falls more than its ledger explains among {trends:?}");
}

/// The paragraph that begins with these words.
async fn lead(story: &Browser, words: &str) -> String {
    let by = By::XPath(format!("//p[starts-with(normalize-space(.), \"{words}\")]"));
    story.page.find(by).await.expect("a sentence").text().await.expect("words")
}

/// The numbers in a sentence or a cell, with their signs.
fn numbers(text: &str) -> Vec<f64> {
    let plain = text.replace('−', "-").replace(',', "");
    let words = plain.split(|c: char| !(c.is_ascii_digit() || c == '.' || c == '-'));
    words.filter_map(|word| word.trim_end_matches('.').parse().ok()).collect()
}

/// The numbers of each row, cell by cell; the head of a row left out.
async fn table(story: &Browser, rows: &str) -> Vec<Vec<f64>> {
    let mut all = Vec::new();
    for row in story.page.find_all(By::Css(rows)).await.expect("rows") {
        let mut cells = Vec::new();
        for cell in row.find_all(By::Css("td.num")).await.expect("cells") {
            cells.extend(numbers(&cell.text().await.expect("a cell")).first().copied());
        }
        all.push(cells);
    }
    all
}

/// The bands of last season's plan against the tests that came, and one of them opened.
async fn did_the_plan_hold(story: &mut Browser) {
    story.follow(page::CALIBRATION).await;
    story.expect("How often they held").await;
    story.expect("What came").await;
    look(story, "calibration").await;
    story.click(By::Css("main td a.figure[href^='/forecasts/']")).await;
    story.expect("nine tests in ten should fall in it").await;
    story.expect("Usual offtake of a season").await;
    look(story, "forecast").await;
    story.follow("Over the years").await;
    story.expect("Did the plans hold?").await;
    story.expect("expected").await;
    look(story, "forecast-and-test").await;
}

/// The last season that is over: of the site on as many sheets as it takes in print that can be read,
/// what was put on first, and of its first plot on one; then the plot's story.
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
    let over = over.expect("the season of 2025");
    for paper in ["letter", "a4"] {
        story.choose("season", &over).await;
        story.choose("paper", paper).await;
        story.press("Show").await;
        story.expect("season 2025").await;
        story.expect("What was put on, when, by whom and why").await;
        look(story, "site-year").await;
        can_be_read(story).await;
        let sheets = story.on_paper("site-year").await;
        // Forty-one plots and some twenty lines of what was put on.
        assert_eq!(sheets.pages, 2);
        if let Some(text) = &sheets.text {
            let first = text.find("what was put on").expect("the register");
            assert!(first < text.find("plot by plot").expect("the plots"), "what was put on comes first: {text}");
            assert!(text.contains(&format!("sheet 1 of {}", sheets.pages)), "each says which it is: {text}");
            for sheet in text.split('\u{c}').filter(|sheet| !sheet.trim().is_empty()) {
                assert!(sheet.contains("Harvested") || sheet.contains("Product"), "head lines again: {sheet}");
            }
        }
        // The same for one sheet: block by block, and what went on drawn together.
        story.choose("length", "one").await;
        story.press("Show").await;
        story.expect("it is one sheet").await;
        story.expect("Block by block").await;
        look(story, "site-year-one").await;
        can_be_read(story).await;
        assert_eq!(story.on_paper("site-year-one").await.pages, 1, "the site's year on one sheet");
        story.choose("length", "all").await;
        story.press("Show").await;
        story.expect("as many sheets as it needs").await;
    }
    story.click(By::Css("main table tbody th a[href*='/summary?season=']")).await;
    story.expect("What the tests say").await;
    look(story, "plot-year").await;
    can_be_read(story).await;
    assert_eq!(story.on_paper("plot-year").await.pages, 1, "the plot's year is one sheet");
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

/// Nothing on paper is set in less than 7.5 pt.
async fn can_be_read(story: &Browser) {
    let (points, words) = story.smallest_print().await;
    assert!((7.5..20.0).contains(&points), "“{words}” is set in {points} pt");
}

/// Thirty-two real plots: read as one run their potassium seems to fall, but a plasma took the place of the
/// flame in 1989, and within either no plot's surely falls. Whether the crops took any the ledger cannot
/// say, and every figure is opened.
async fn the_field(story: &mut Browser, garden: &Server) {
    story.page.goto(format!("{}/sites", garden.address)).await.expect("the sites");
    story.follow(page::FIELD).await;
    let field = address(story).await;
    let (falling, _) = falling_fastest(story).await;
    assert!(falling.len() > 20, "plots of the field: {}", falling.len());
    story.page.goto(whole(garden, &falling[0])).await.expect("the trend");
    story.expect("29 years").await;
    assert!(!story.text().await.contains("Potassium is falling"), "two instruments are not one");
    // The deeper auger parts the line, and so does the plasma in the place of the flame; the archived soil, extracted again another way, has a picture of
    // its own and no voice in the sentence.
    story.unfold().await;
    story.expect("Depth changed from 0–18 cm to 0–23 cm in 1971 (Ammonium acetate, pH 7)").await;
    story.expect("Method changed from Ammonium acetate, pH 7 to Ammonium acetate, pH 7, by ICP in 1989").await;
    story.expect("No line is drawn across it").await;
    story.expect("Not used: Ammonium nitrate, mg/kg, 0–23 cm (runs beside these and is not counted twice)").await;
    let mut drawn = Vec::new();
    for picture in story.page.find_all(By::Css("figure.trend figcaption")).await.expect("pictures") {
        drawn.push(picture.text().await.expect("its title"));
    }
    let [plasma, flame, nitrate] = &drawn[..] else { panic!("a picture for each method: {drawn:?}") };
    assert!(plasma.contains("Ammonium acetate, pH 7, by ICP"), "{plasma}");
    assert!(flame.contains("Ammonium acetate, pH 7") && !flame.contains("ICP"), "{flame}");
    assert!(nitrate.contains("Ammonium nitrate") && !nitrate.contains("acetate"), "{nitrate}");
    // Two tests of 1964 and 1967, four from 1971 to 1974, two of 1989 and 1994: 1 + 6 + 1 pairs.
    let behind = behind(story).await;
    assert_eq!(behind.get("Tests").map(String::as_str), Some("8"), "{behind:?}");
    assert!(behind.get("S").is_some_and(|s| s.ends_with("of 8 pairs")), "{behind:?}");
    look(story, "field-falling").await;
    offtake_or_error(story).await;
    story.click(By::XPath(format!("//main//a[normalize-space(.) = '{}']", page::LEDGER))).await;
    // Rape, linseed and lupins stand in no table of removal: what they took is not known, and said so.
    story.unfold().await;
    story.expect("what left the plot is not known").await;
    story.expect("Ammonium nitrate, for N as applied").await;
    story.expect(": wheat, ").await;
    // The newest season: wheat took potassium, and nothing came.
    let potassium = By::XPath("//main//tr[th[normalize-space(.) = 'Potassium']]");
    let row = story.page.find(potassium).await.expect("a line of potassium");
    let mut kg_per_ha = Vec::new();
    for cell in row.find_all(By::Css("td a.figure")).await.expect("figures") {
        let text = cell.text().await.expect("a figure");
        assert!(text.contains("kg/ha"), "{text}");
        kg_per_ha.push(numbers(&text)[0]);
    }
    let [came, went, net, _] = kg_per_ha[..] else { panic!("came, went, net and since: {kg_per_ha:?}") };
    assert!(went > 0.0 && (came - went - net).abs() <= 1.0, "{kg_per_ha:?}");
    look(story, "field-ledger").await;
    story.click(By::Css("main a.figure[href*='/K/season']")).await;
    story.expect("and how it comes about").await;
    story.unfold().await;
    story.expect("wheat").await;
    look(story, "field-ledger-working").await;
    doubted(story, garden, &field).await;
}

/// What came and went is known between few of the field's tests: the second reading says which runs it
/// cannot speak of, and of the newest that it can, that its tests moved no further than their error.
async fn offtake_or_error(story: &mut Browser) {
    story.follow(page::NET).await;
    story.expect("Beyond what was added and removed").await;
    let title = story.page.find(By::Css("section h3")).await.expect("a run").text().await.expect("its name");
    assert!(title.starts_with("Ammonium acetate, pH 7") && title.contains("0–23"), "the trusted run first: {title}");
    story.expect("Nothing can be said of Ammonium acetate, pH 7, by ICP").await;
    story.expect("What came and went between the tests is not known").await;
    let lead = lead(story, "Potassium moved no further than the error of its tests").await;
    let [low, high] = numbers(&lead)[..] else { panic!("what is left: {lead}") };
    assert!(low <= 0.0 && 0.0 <= high, "{lead}");
    story.unfold().await;
    story.expect("counts after that test").await;
    for row in table(story, "main details table.stack tbody tr").await.iter().filter(|row| row.len() == 4) {
        let [found, _, moved, left] = row[..] else { panic!("{row:?}") };
        assert!((found - moved - left).abs() <= 0.01 * found + 0.6, "found less moved is left: {row:?}");
    }
    look(story, "field-net").await;
}

/// The potassium of 1974 that the experiment's own notes query as too high is asked about on its plot's
/// page, and the question opens the sheet.
async fn doubted(story: &mut Browser, garden: &Server, field: &str) {
    story.page.goto(format!("{}{field}/drift?nutrient=K", garden.address)).await.expect("the review");
    let trend = "//table//th[a[normalize-space(.) = '28']]//a[contains(@href, '/trend/K') and not(contains(@href, '/working'))]";
    story.click(By::XPath(trend)).await;
    story.expect("Worth another look").await;
    story.expect("30 Oct 1974: Potassium (Ammonium acetate, pH 7) is 236.0 mg/kg here").await;
    look(story, "field-doubted").await;
    let asked = "//li[contains(., 'is 236.0') and contains(., 'here and')]//a[contains(., 'Look at the sheet')]";
    story.click(By::XPath(asked)).await;
    story.expect("Worth another look").await;
    story.expect("236").await;
    look(story, "field-doubted-sheet").await;
}
