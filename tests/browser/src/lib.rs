//! What a browser story needs: the real server on a record of its own, Chromium at a
//! given width and colour scheme, and screenshots that a person can look at afterwards
//! (in `target/screenshots`). It knows addresses and visible words, never the code.

use base64::{Engine, prelude::BASE64_STANDARD as BASE64};
use std::{
    ffi::OsStr,
    io::{BufRead, BufReader, Read, Write},
    net::{TcpListener, TcpStream},
    path::PathBuf,
    process::{Child, Command, Stdio},
    sync::Arc,
    time::{Duration, Instant},
};
use tempfile::TempDir;
use thirtyfour::{ChromiumLikeCapabilities, prelude::*};

/// How long anything may take before a story fails.
const PATIENCE: Duration = Duration::from_secs(30);

fn target_dir() -> PathBuf {
    let exe = std::env::current_exe().expect("a test knows its own path");
    exe.ancestors().nth(3).expect("target/profile/deps/test").to_owned()
}

/// A running server; killed when dropped.
pub struct Server {
    child: Child,
    /// `http://127.0.0.1:port`
    pub address: String,
    /// Everything printed before it began to serve.
    pub greeting: Vec<String>,
    data: Arc<TempDir>,
}

fn binary() -> PathBuf {
    let profile_dir = std::env::current_exe().unwrap().ancestors().nth(2).unwrap().to_owned();
    let binary = profile_dir.join("glebe");
    assert!(binary.exists(), "{} is not built: run .ci/test, or cargo build first", binary.display());
    binary
}

impl Server {
    /// Starts `glebe COMMAND` on a free port with an empty data folder.
    pub fn start(command: &str) -> Server {
        Server::start_on(command, Arc::new(tempfile::tempdir().expect("a temporary folder")))
    }

    /// Stops, runs `glebe ARGUMENTS` on the same record, and starts `glebe COMMAND` on it again;
    /// gives what the command said.
    pub fn stop_for(self, arguments: &[&OsStr], command: &str) -> (Server, String) {
        let data = self.data.clone();
        drop(self);
        let done = Command::new(binary()).args(arguments).arg("--data").arg(data.path()).output().expect("glebe runs");
        let said = String::from_utf8_lossy(&done.stdout).into_owned();
        assert!(done.status.success(), "{arguments:?}: {said}{}", String::from_utf8_lossy(&done.stderr));
        (Server::start_on(command, data), said)
    }

    fn start_on(command: &str, data: Arc<TempDir>) -> Server {
        let mut child = Command::new(binary())
            .arg(command)
            .env("RUST_LOG", "warn")
            .args(["--listen", "127.0.0.1:0", "--data"])
            .arg(data.path())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("the server starts");
        let mut greeting = Vec::new();
        let lines = BufReader::new(child.stdout.take().expect("piped above")).lines();
        for line in lines.map_while(Result::ok) {
            greeting.push(line.clone());
            let serving = line.split_whitespace().find(|w| w.starts_with("http://") && !w.contains("/setup"));
            if let Some(address) = serving {
                let address = address.trim_end_matches(['/', '.', ',']).to_owned();
                return Server { child, address, greeting, data };
            }
        }
        panic!("the server stopped before it served; it said: {greeting:?}");
    }

    /// The setup link of a first start.
    pub fn setup_link(&self) -> Option<&str> {
        self.greeting.iter().flat_map(|line| line.split_whitespace()).find(|word| word.contains("/setup"))
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// The width a story is told at.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Width {
    /// 360 × 780 with touch.
    Phone,
    /// 1280 × 900.
    Desktop,
}

/// The colours that the reader's system asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Scheme {
    Light,
    Dark,
}

/// A Chromium window with a driver process of its own.
pub struct Browser {
    pub page: WebDriver,
    driver: Child,
    port: u16,
    scheme: Scheme,
    story: String,
    shots: u32,
}

impl Browser {
    /// Opens a window for a story; its screenshots carry the story's name.
    pub async fn open(story: &str, width: Width, scheme: Scheme) -> Browser {
        let port = TcpListener::bind("127.0.0.1:0").and_then(|l| l.local_addr()).expect("a free port").port();
        let driver = Command::new("chromedriver")
            .arg(format!("--port={port}"))
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("chromedriver is installed (.ci/test installs it)");
        let mut wishes = DesiredCapabilities::chrome();
        for flag in [
            "--headless=new",
            "--no-sandbox",
            "--disable-gpu",
            "--disable-quic",
            "--no-first-run",
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--hide-scrollbars",
            "--window-size=1280,900",
        ] {
            wishes.add_arg(flag).expect("a flag");
        }
        let started = Instant::now();
        let page = loop {
            match WebDriver::new(format!("http://127.0.0.1:{port}"), wishes.clone()).await {
                Ok(page) => break page,
                Err(why) if started.elapsed() > PATIENCE => panic!("Chromium did not start: {why}"),
                Err(_) => tokio::time::sleep(Duration::from_millis(200)).await,
            }
        };
        let (across, down, mobile) = match width {
            Width::Phone => (360, 780, true),
            Width::Desktop => (1280, 900, false),
        };
        let metrics = serde_json::json!({"width": across, "height": down, "deviceScaleFactor": 1, "mobile": mobile});
        page.cdp().send_raw("Emulation.setDeviceMetricsOverride", metrics).await.expect("width");
        let media = media("", scheme);
        page.cdp().send_raw("Emulation.setEmulatedMedia", media).await.expect("colour scheme");
        page.set_implicit_wait_timeout(Duration::from_secs(5)).await.expect("timeouts");
        let story = format!("{story}-{width:?}-{scheme:?}").to_lowercase();
        Browser { page, driver, port, scheme, story, shots: 0 }
    }

    /// Closes the window.
    pub async fn close(self) {
        let _ = self.page.clone().quit().await;
    }

    /// Saves the whole page as a picture in `target/screenshots`.
    pub async fn shot(&mut self, what: &str) {
        self.shots += 1;
        let folder = target_dir().join("screenshots");
        std::fs::create_dir_all(&folder).expect("a folder for pictures");
        let file = folder.join(format!("{}-{:02}-{what}.png", self.story, self.shots));
        let size = self
            .page
            .execute("return [document.documentElement.clientWidth, document.documentElement.scrollHeight]", vec![])
            .await
            .expect("page size");
        let (across, down): (f64, f64) = size.convert().expect("two numbers");
        let clip = serde_json::json!({
            "format": "png", "captureBeyondViewport": true,
            "clip": {"x": 0, "y": 0, "width": across, "height": down.min(12_000.0), "scale": 1}
        });
        let shot = self.page.cdp().send_raw("Page.captureScreenshot", clip).await.expect("a picture");
        let data = shot["data"].as_str().expect("base64");
        std::fs::write(file, BASE64.decode(data).expect("base64")).expect("a picture on disk");
    }

    /// The page as printed, A4, saved as PDF in `target/screenshots`.
    pub async fn print(&mut self, what: &str) {
        self.shots += 1;
        let folder = target_dir().join("screenshots");
        std::fs::create_dir_all(&folder).expect("a folder for pictures");
        let wish = serde_json::json!({"paperWidth": 8.27, "paperHeight": 11.69, "printBackground": false});
        let pdf = self.page.cdp().send_raw("Page.printToPDF", wish).await.expect("a print");
        let file = folder.join(format!("{}-{:02}-{what}.pdf", self.story, self.shots));
        std::fs::write(file, BASE64.decode(pdf["data"].as_str().expect("base64")).expect("base64"))
            .expect("a print on disk");
    }

    /// The visible text of the page.
    pub async fn text(&self) -> String {
        self.page.find(By::Tag("body")).await.expect("a body").text().await.expect("its text")
    }

    /// Fails unless the page shows these words.
    pub async fn expect(&self, words: &str) {
        let started = Instant::now();
        loop {
            // A page that is just being replaced has no text to give.
            let body = self.page.find(By::Tag("body")).await;
            let text = if let Ok(body) = body { body.text().await.unwrap_or_default() } else { String::new() };
            if text.replace('\u{a0}', " ").contains(words) {
                return;
            }
            if started.elapsed() > Duration::from_secs(5) {
                let at = self.page.current_url().await.map(|u| u.to_string()).unwrap_or_default();
                panic!("{at} does not show “{words}”. It shows:\n{text}");
            }
            tokio::time::sleep(Duration::from_millis(100)).await;
        }
    }

    /// Follows the link with these words.
    pub async fn follow(&self, words: &str) {
        self.click(By::XPath(format!("//a[contains(normalize-space(.), {})]", quoted(words)))).await;
    }

    /// Presses the button with these words.
    pub async fn press(&self, words: &str) {
        self.click(By::XPath(format!("//button[contains(normalize-space(.), {})]", quoted(words)))).await;
    }

    /// Opens every fold of the page, as somebody does who looks for something.
    pub async fn unfold(&self) {
        let script = "document.querySelectorAll('details').forEach(fold => fold.open = true)";
        self.page.execute(script, vec![]).await.expect("open folds");
    }

    /// Clicks the first match that is shown, scrolled into the middle of the window.
    pub async fn click(&self, by: By) {
        let matches = self.page.find_all(by.clone()).await.expect("a search of the page");
        for element in matches {
            if element.is_displayed().await.unwrap_or(false) {
                let script = "arguments[0].scrollIntoView({block: 'center'})";
                let _ = self.page.execute(script, vec![element.to_json().expect("an element")]).await;
                element.click().await.expect("a click");
                return;
            }
        }
        panic!("nothing shown matches {by:?} on the page:\n{}", self.text().await);
    }

    /// Types into the field of this name, replacing what is there.
    pub async fn fill(&self, name: &str, value: &str) {
        let field = self.field(name).await;
        field.clear().await.expect("an empty field");
        field.send_keys(value).await.expect("typing");
    }

    /// Chooses the option with this value in the list of this name.
    pub async fn choose(&self, name: &str, value: &str) {
        let by = By::Css(format!("select[name='{name}'] option[value='{value}']"));
        self.page
            .find(by)
            .await
            .unwrap_or_else(|_| panic!("no option {value} in {name}"))
            .click()
            .await
            .expect("a choice");
    }

    /// The field of this name.
    pub async fn field(&self, name: &str) -> WebElement {
        let by = By::Css(format!("[name='{name}']"));
        match self.page.find(by).await {
            Ok(field) => field,
            Err(_) => panic!("no field {name} on the page:\n{}", self.text().await),
        }
    }

    /// The page on the paper that it asks for, else on A4; the PDF is kept in `target/screenshots`.
    pub async fn on_paper(&mut self, what: &str) -> Printed {
        self.shots += 1;
        let folder = target_dir().join("screenshots");
        std::fs::create_dir_all(&folder).expect("a folder for pictures");
        let wish = serde_json::json!({
            "paperWidth": 8.27, "paperHeight": 11.69, "preferCSSPageSize": true, "printBackground": false
        });
        let pdf = self.page.cdp().send_raw("Page.printToPDF", wish).await.expect("a print");
        let bytes = BASE64.decode(pdf["data"].as_str().expect("base64")).expect("base64");
        let file = folder.join(format!("{}-{:02}-{what}.pdf", self.story, self.shots));
        std::fs::write(&file, &bytes).expect("a print on disk");
        Printed::of(&bytes, &file)
    }

    /// The smallest print on paper, in points, and what is set in it.
    pub async fn smallest_print(&self) -> (f64, String) {
        let cdp = self.page.cdp();
        cdp.send_raw("Emulation.setEmulatedMedia", media("print", self.scheme)).await.expect("as on paper");
        let script = "
            const words = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
            let least = [Infinity, ''];
            while (words.nextNode()) {
                const said = words.currentNode.data.trim(), around = words.currentNode.parentElement;
                if (said === '' || !around.checkVisibility()) continue;
                const points = parseFloat(getComputedStyle(around).fontSize) * 0.75;
                if (points < least[0]) least = [points, said];
            }
            return least;";
        let least = self.page.execute(script, vec![]).await.expect("sizes").convert().expect("a size and words");
        cdp.send_raw("Emulation.setEmulatedMedia", media("", self.scheme)).await.expect("as on the screen");
        least
    }

    /// Fails if the page scrolls sideways: the promise made at phone width.
    pub async fn expect_no_sideways_scroll(&self) {
        let script = "return document.documentElement.scrollWidth - document.documentElement.clientWidth";
        let over: i64 = self.page.execute(script, vec![]).await.expect("widths").convert().expect("a number");
        let at = self.page.current_url().await.map(|u| u.to_string()).unwrap_or_default();
        assert!(over <= 0, "{at} is {over} px wider than the window");
    }
}

impl Drop for Browser {
    /// The driver closes Chromium when it is told to stop, also where a story failed.
    fn drop(&mut self) {
        if let Ok(mut driver) = TcpStream::connect(("127.0.0.1", self.port)) {
            let _ = driver.set_read_timeout(Some(Duration::from_secs(5)));
            let _ = driver.write_all(b"GET /shutdown HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n");
            let _ = driver.read(&mut [0; 64]);
        }
        let _ = self.driver.kill();
        let _ = self.driver.wait();
        // Or the session would be asked to end once more, of a driver that is gone.
        let _ = self.page.clone().leak();
    }
}

/// A page on paper.
#[derive(Clone, Debug)]
pub struct Printed {
    pub pages: usize,
    /// Width and height of the first sheet, in whole points.
    pub points: (u32, u32),
    /// What is written on it; `None` where the machine has no `pdftotext`.
    pub text: Option<String>,
}

impl Printed {
    fn of(bytes: &[u8], file: &std::path::Path) -> Printed {
        let raw = String::from_utf8_lossy(bytes);
        // Each sheet is an object of this type; their tree is one of type /Pages.
        let pages = raw.matches("/Type /Page").count() - raw.matches("/Type /Pages").count();
        let sheet = raw.split_once("/MediaBox [").expect("a sheet has a size").1;
        let sides = sheet.split(']').next().into_iter().flat_map(str::split_whitespace);
        let sides: Vec<f64> = sides.filter_map(|n| n.parse().ok()).collect();
        let points = (sides[2].round() as u32, sides[3].round() as u32);
        let read = Command::new("pdftotext").arg("-layout").arg(file).arg("-").output().ok();
        let text = read.filter(|out| out.status.success()).map(|out| String::from_utf8_lossy(&out.stdout).into_owned());
        Printed { pages, points, text }
    }
}

/// The medium, empty for the screen, and the colours that a page is shown in.
fn media(medium: &str, scheme: Scheme) -> serde_json::Value {
    let value = if scheme == Scheme::Dark { "dark" } else { "light" };
    serde_json::json!({"media": medium, "features": [{"name": "prefers-color-scheme", "value": value}]})
}

fn quoted(words: &str) -> String {
    if words.contains('\'') { format!("\"{words}\"") } else { format!("'{words}'") }
}
