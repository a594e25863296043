//! A grower's own copy of a guideline as a person fills in its form: what the tests about copies share.

use super::ground_pages::Garden;
use glebe::{
    agronomy::{element::Element, guideline::Guideline},
    app::own_guidelines::Version,
    web::view::in_address,
};
use std::fmt;

/// Fields by their names, as a browser sends them.
pub type Fields = Vec<(String, String)>;

/// Nothing is typed otherwise.
pub const AS_IT_IS: &[(&str, &str)] = &[];

/// The fields of the one form that is posted to `action`, as a browser would send them.
pub fn fields(page: &str, action: &str) -> Fields {
    let start = page.find(&format!("<form method=\"post\" action=\"{action}\"")).expect("the form");
    let form = page[start..].split("</form>").next().unwrap();
    let plain = |text: &str| {
        let pairs = [("&#34;", "\""), ("&#39;", "'"), ("&#60;", "<"), ("&#62;", ">"), ("&#38;", "&")];
        pairs.iter().fold(text.to_owned(), |text, (coded, sign)| text.replace(coded, sign))
    };
    let of = |tag: &str, name: &str| Some(plain(tag.split_once(&format!(" {name}=\""))?.1.split('"').next().unwrap()));
    let mut all = Vec::new();
    for part in form.split('<').skip(1) {
        let (tag, rest) = part.split_once('>').unwrap();
        let named = |value| Some((of(&format!(" {tag}"), "name")?, value));
        match tag.split(' ').next().unwrap() {
            "input" if tag.contains("checkbox") && !tag.contains(" checked") => {}
            "input" => all.extend(named(of(tag, "value").unwrap_or_default())),
            "textarea" => all.extend(named(plain(rest.trim_start_matches('\n')))),
            "select" => all.extend(named(String::new())),
            "option" if tag.contains(" selected") => all.last_mut().unwrap().1 = of(tag, "value").unwrap(),
            _ => {}
        }
    }
    all
}

/// A form with some of its fields typed otherwise.
pub fn body<N: AsRef<str>, V: AsRef<str>>(fields: &[(String, String)], typed: &[(N, V)]) -> String {
    let typed: Vec<(&str, &str)> = typed.iter().map(|(name, value)| (name.as_ref(), value.as_ref())).collect();
    let kept = fields.iter().filter(|(name, _)| typed.iter().all(|(other, _)| other != name));
    let all = kept.map(|(name, value)| (name.as_str(), value.as_str())).chain(typed.iter().copied());
    all.map(|(name, value)| format!("{}={}", in_address(name), in_address(value))).collect::<Vec<_>>().join("&")
}

/// A copy of a guideline in a garden.
pub struct OwnCopy<'a> {
    garden: &'a Garden,
    pub path: String,
    edit: String,
}

impl fmt::Display for OwnCopy<'_> {
    /// Its page.
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.path)
    }
}

impl<'a> OwnCopy<'a> {
    /// Copies a guideline under a name.
    pub async fn of(garden: &'a Garden, slug: &str, name: &str) -> OwnCopy<'a> {
        let edit = garden.send(&format!("/guidelines/{slug}/copy"), &format!("name={}", in_address(name))).await;
        OwnCopy { garden, path: edit.strip_suffix("/edit").unwrap().to_owned(), edit }
    }

    fn slug(&self) -> &str {
        self.path.strip_prefix("/guidelines/").unwrap()
    }

    /// The page with its form.
    pub async fn form_page(&self) -> String {
        self.garden.get(&self.edit).await
    }

    /// The fields of its form as they stand.
    pub async fn form(&self) -> Fields {
        fields(&self.form_page().await, &self.edit)
    }

    /// What fields a page that refused the form still holds.
    pub fn kept(&self, page: &str) -> Fields {
        fields(page, &self.edit)
    }

    /// Sends a form that was read before with some fields typed otherwise; it is taken.
    pub async fn send<N: AsRef<str>, V: AsRef<str>>(&self, read: &[(String, String)], typed: &[(N, V)]) {
        assert_eq!(self.garden.send(&self.edit, &body(read, typed)).await, self.path);
    }

    /// The same with the form as it stands now.
    pub async fn save<N: AsRef<str>, V: AsRef<str>>(&self, typed: &[(N, V)]) {
        self.send(&self.form().await, typed).await;
    }

    /// The same where it is refused; gives the page that says why.
    pub async fn refused<N: AsRef<str>, V: AsRef<str>>(&self, read: &[(String, String)], typed: &[(N, V)]) -> String {
        self.garden.refused(&self.edit, &body(read, typed)).await
    }

    /// The guideline in its newest version.
    pub async fn held(&self) -> Guideline {
        let shown = self.garden.app.guideline(&self.garden.ada, self.slug(), None).await.unwrap();
        shown.guideline.into_owned()
    }

    /// Its versions, the newest first.
    pub async fn versions(&self) -> Vec<Version> {
        self.garden.app.guideline_versions(&self.garden.ada, self.slug()).await.unwrap()
    }

    /// Where the first rule for an element stands.
    pub async fn place(&self, element: Element) -> usize {
        self.held().await.criteria.iter().position(|c| c.analyte.element() == Some(element)).unwrap()
    }
}
