//! What every page shares: its frame, the way back, and the parts that several pages
//! show. It holds words and addresses; it must never fetch or compute anything.

use super::{assets, routes::Access, show};
use crate::{
    agronomy::{
        record::CellKey,
        source::Evidence,
        working::{Origin, Working},
    },
    app::Actor,
    ids::PersonId,
};
use askama::Template;
use axum::{
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};

/// An entry of the main menu. To add a page to it, add a row.
#[derive(Clone, Copy, Debug)]
pub struct Nav {
    pub path: &'static str,
    pub label: &'static str,
    /// Shown to those who may open it.
    pub access: Access,
}

/// The main menu, in order.
pub const NAV: &[Nav] = &[
    Nav { path: "/", label: "Today", access: Access::Reader },
    Nav { path: "/sites", label: "Ground", access: Access::Reader },
    Nav { path: "/amendments", label: "Amendments", access: Access::Reader },
    Nav { path: "/guidelines", label: "Guidelines", access: Access::Reader },
    Nav { path: "/history", label: "History", access: Access::Reader },
    Nav { path: "/people", label: "People", access: Access::Steward },
];

/// A step of the way back.
#[derive(Clone, Debug)]
pub struct Crumb {
    pub path: String,
    pub label: String,
}

/// What the base template needs. Every page struct has one, named `frame`.
#[derive(Clone, Debug, Default)]
pub struct Frame {
    pub title: String,
    /// Who is signed in.
    pub me: Option<Actor>,
    pub crumbs: Vec<Crumb>,
    /// A sentence about what was just done.
    pub said: Option<String>,
    /// A sentence at the foot of every page: that a record is invented, that pages go over plain HTTP.
    pub remark: Option<&'static str>,
    /// The address of the page itself.
    pub path: String,
}

impl Frame {
    /// A frame with this title, for nobody in particular.
    pub fn new(title: impl Into<String>) -> Frame {
        Frame { title: title.into(), ..Frame::default() }
    }

    /// The same frame, with one more step of the way back, outermost first.
    pub fn under(mut self, path: impl ToString, label: impl ToString) -> Frame {
        self.crumbs.push(Crumb { path: path.to_string(), label: label.to_string() });
        self
    }

    /// The menu, for whoever is signed in.
    pub fn nav(&self) -> impl Iterator<Item = &'static Nav> {
        NAV.iter().filter(|item| item.access.admits(self.me.as_ref()))
    }

    /// How this page lies to an entry of the menu, as `aria-current` says it: "page" when
    /// it is that page, "true" when it lies under it, empty otherwise.
    pub fn current(&self, path: &str) -> &'static str {
        let below = path != "/" && self.path.strip_prefix(path).is_some_and(|rest| rest.starts_with('/'));
        let leads_back = self.crumbs.first().is_some_and(|crumb| crumb.path == path);
        match () {
            () if self.path == path => "page",
            () if below || leads_back => "true",
            () => "",
        }
    }

    /// Whether this is the person signed in.
    pub fn is_me(&self, person: &PersonId) -> bool {
        self.me.as_ref().is_some_and(|me| me.person == *person)
    }

    /// Whether the person may do what a recorder may.
    pub fn may_record(&self) -> bool {
        Access::Recorder.admits(self.me.as_ref())
    }

    /// Whether the person may do what a steward may.
    pub fn may_steward(&self) -> bool {
        Access::Steward.admits(self.me.as_ref())
    }

    /// Address of the stylesheet.
    pub fn stylesheet(&self) -> String {
        assets::address("glebe.css")
    }

    /// Address of the script.
    pub fn script(&self) -> String {
        assets::address("glebe.js")
    }

    /// Address of the icon.
    pub fn icon(&self) -> String {
        assets::address("glebe.svg")
    }
}

/// Sends the browser on to a page after something was done (303).
pub fn see(path: impl AsRef<str>) -> See {
    See { path: path.as_ref().to_owned(), said: None }
}

/// A redirect that may carry a sentence to the next page.
#[derive(Clone, Debug)]
pub struct See {
    path: String,
    said: Option<String>,
}

/// The cookie that carries the sentence; it lives for a minute and for one page.
pub const SAID: &str = "said";

impl See {
    /// The sentence that the next page shows once: "Saved."
    pub fn say(mut self, sentence: impl Into<String>) -> See {
        self.said = Some(sentence.into());
        self
    }
}

impl IntoResponse for See {
    fn into_response(self) -> Response {
        let mut response = StatusCode::SEE_OTHER.into_response();
        let path = HeaderValue::from_str(&self.path).unwrap_or(HeaderValue::from_static("/"));
        response.headers_mut().insert(header::LOCATION, path);
        if let Some(said) = self.said {
            let cookie = format!("{SAID}={}; Path=/; Max-Age=60; HttpOnly; SameSite=Lax", in_address(&said));
            if let Ok(cookie) = HeaderValue::from_str(&cookie) {
                response.headers_mut().append(header::SET_COOKIE, cookie);
            }
        }
        response
    }
}

/// Text made safe for a cookie or a query: every byte but letters, digits and `-._~/` as %XX.
pub fn in_address(text: &str) -> String {
    text.bytes().fold(String::new(), |out, byte| match byte {
        b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' | b'/' => {
            out + &char::from(byte).to_string()
        }
        _ => out + &format!("%{byte:02X}"),
    })
}

/// The reverse of [`in_address`]; bytes that make no text are dropped.
pub fn from_address(text: &str) -> String {
    let mut bytes = Vec::new();
    let mut rest = text.as_bytes();
    while let [first, tail @ ..] = rest {
        let digits = tail.get(..2).and_then(|pair| std::str::from_utf8(pair).ok());
        match digits.filter(|_| *first == b'%').and_then(|pair| u8::from_str_radix(pair, 16).ok()) {
            Some(byte) => {
                bytes.push(byte);
                rest = &tail[2..];
            }
            None => {
                bytes.push(*first);
                rest = tail;
            }
        }
    }
    String::from_utf8_lossy(&bytes).replace('\u{fffd}', "")
}

/// A derivation, as nested steps that open. Renders as HTML: `{{ steps }}` in a template.
#[derive(Template)]
#[template(path = "parts/working.html")]
pub struct Steps<'a> {
    node: &'a Working,
    figure: String,
    origin: &'static str,
    /// Where the lab's cell can be seen, for leaves that are one.
    cell: Option<String>,
    address: Option<&'a str>,
    unverified: bool,
    /// `None` for leaves, which do not fold; else whether it starts folded.
    folded: Option<bool>,
    inputs: Vec<Steps<'a>>,
}

/// How many levels of a working stand open at first.
const LEVELS_OPEN: usize = 3;

impl<'a> Steps<'a> {
    /// The steps of a working; `cell_page` gives the address of the page that shows a printed cell.
    pub fn of(working: &'a Working, cell_page: &dyn Fn(CellKey) -> Option<String>) -> Steps<'a> {
        Steps::at(working, cell_page, 0)
    }

    fn at(node: &'a Working, cell_page: &dyn Fn(CellKey) -> Option<String>, level: usize) -> Steps<'a> {
        Steps {
            node,
            figure: show::figure(&node.figure),
            origin: match node.origin {
                Origin::Computed => "",
                Origin::Cell(_) => "as the lab printed it",
                Origin::Entered => "as entered here",
                Origin::Published => "published figure",
                Origin::Chosen => "chosen by a person",
                Origin::Planned => "set by the plan",
            },
            cell: if let Origin::Cell(key) = node.origin { cell_page(key) } else { None },
            address: node.source.as_ref().and_then(show::address),
            unverified: node.source.as_ref().is_some_and(|source| source.evidence == Evidence::Memory),
            folded: (!node.inputs.is_empty()).then_some(level >= LEVELS_OPEN),
            inputs: node.inputs.iter().map(|input| Steps::at(input, cell_page, level + 1)).collect(),
        }
    }
}

impl askama::filters::HtmlSafe for Steps<'_> {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::{source::Citation, working::Figure};

    #[test]
    fn the_menu_shows_where_a_page_lies() {
        let plot = Frame { path: "/plots/3".into(), ..Frame::new("Bed 3") }.under("/sites", "Sites");
        assert_eq!(["/plots/3", "/sites", "/", "/plots/31"].map(|path| plot.current(path)), ["page", "true", "", ""]);
        assert_eq!(Frame { path: "/sites/1".into(), ..Frame::new("Home") }.current("/sites"), "true");
    }

    #[test]
    fn sentences_survive_the_cookie() {
        let said = "Saved “North 3”; 50 % of it; ok";
        assert!(in_address(said).is_ascii() && !in_address(said).contains(';'));
        assert_eq!(from_address(&in_address(said)), said);
        assert_eq!(from_address("%zz%4"), "%zz%4");
    }

    #[test]
    fn a_working_opens_to_its_cell_and_marks_what_is_unverified() {
        let cell = Working::leaf("Printed <P>", Figure::new(18.0, "mg/kg", 0), Origin::Cell(CellKey(7)));
        let source = Citation {
            publisher: "Rutgers NJAES".into(),
            title: "E".into(),
            year: 0,
            address: "javascript:alert(1)".into(),
            evidence: Evidence::Memory,
        };
        let factor = Working::leaf("Factor", Figure::new(2.0, "", 0), Origin::Published).cite(source);
        let step = Working::step("P found", Figure::new(36.0, "kg/ha", 0), "18 × 2 = 36", [cell, factor]);
        let html = Steps::of(&step, &|key| Some(format!("/reports/3#cell-{}", key.0))).to_string();
        for part in ["/reports/3#cell-7", "18 × 2 = 36", "from memory, unverified", "36\u{a0}kg/ha"] {
            assert!(html.contains(part), "{part} in {html}");
        }
        assert!(!html.contains("javascript:") && !html.contains("<P>"));
    }
}
