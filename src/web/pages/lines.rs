//! The lines of a lab's sheet as a form: one per printed result, begun from a panel or from
//! the last sheet, so that only the numbers need typing. It keeps what was typed whatever
//! is changed around it, and judges nothing.

use crate::{
    agronomy::{
        analyte::Analyte,
        element::Form as Oxide,
        method::Method,
        panel::{self, PANELS, Panel},
        quantity::LAYER_CONVENTIONS,
        record::{Basis, Unit},
    },
    app::reports::{CellForm, ReportForm},
    ids::SiteId,
    web::{error::Result, form::Form, guard::Cx},
};

/// Lines added at a time, and the most that a sheet can have here.
const MORE: usize = 6;
const LINES_MAX: usize = 120;

/// The key of a line's method when the lab's own name for it is typed beside.
const OTHER: &str = "other";
/// The key that stands for the lines of the last sheet.
const LAST: &str = "last";

/// What the template of the lines needs beside the form.
pub struct Lines {
    pub(super) rows: Vec<Line>,
    pub(super) labs: Vec<String>,
    /// Whether an earlier sheet could be followed.
    pub(super) has_last: bool,
}

/// One line.
pub struct Line {
    /// The beginning of its fields' names: `rows.3`.
    pub(super) at: String,
    /// The analyte's name, where the line came with one; otherwise it is chosen.
    pub(super) name: Option<String>,
    methods: Vec<(String, String)>,
    /// Whether the rarely needed fields hold something.
    pub(super) open: bool,
}

type Choices = Vec<(String, String)>;

impl Lines {
    /// The lines that a form holds.
    pub async fn of(cx: &Cx, site: SiteId, form: &Form) -> Result<Lines> {
        let rows = (0..count(form)).map(|n| Line::of(form, n)).collect();
        let labs = cx.app.labs(&cx.actor).await?;
        let has_last = !cx.app.last_lines(&cx.actor, site, "").await?.is_empty();
        Ok(Lines { rows, labs, has_last })
    }

    pub(super) fn panels(&self) -> &'static [Panel] {
        PANELS
    }

    pub(super) fn analytes(&self) -> Choices {
        let unanswered = (String::new(), "Choose".to_owned());
        std::iter::once(unanswered).chain(Analyte::all().map(|a| (a.to_string(), a.name()))).collect()
    }

    /// Every extraction, for all lines at once.
    pub(super) fn extractions(&self) -> Choices {
        let keep = (String::new(), "as each line says".to_owned());
        let all = Method::for_analyte(Analyte::Element(crate::agronomy::element::Element::P));
        std::iter::once(keep).chain(all.iter().map(|m| (m.slug(), m.label().to_owned()))).collect()
    }

    pub(super) fn units_for_all(&self) -> Choices {
        let keep = (String::new(), "as each line says".to_owned());
        std::iter::once(keep).chain(units()).collect()
    }
}

/// The units, in the order a form offers them.
pub fn units() -> impl Iterator<Item = (String, String)> {
    Unit::ALL.iter().map(|unit| (unit.symbol().to_owned(), unit.symbol().to_owned()))
}

/// The forms in which a result can be printed.
pub fn oxides() -> Choices {
    let element = (String::new(), "the element".to_owned());
    std::iter::once(element).chain(Oxide::ALL.iter().map(|f| (f.symbol().into(), f.symbol().into()))).collect()
}

/// By mass or by volume.
pub fn bases() -> Choices {
    let by_unit = (String::new(), "as the unit says".to_owned());
    std::iter::once(by_unit).chain(Basis::ALL.iter().map(|b| (b.slug().into(), b.label().into()))).collect()
}

/// The soil-mass conventions.
pub fn layers() -> Choices {
    let unsaid = (String::new(), "not stated".to_owned());
    std::iter::once(unsaid).chain(LAYER_CONVENTIONS.iter().map(|l| (l.slug.into(), l.words.into()))).collect()
}

/// How a result that is only a limit is marked.
pub fn signs() -> [(&'static str, &'static str); 4] {
    [("", "a plain number"), ("<", "below (<)"), (">", "above (>)"), ("ND", "not detected")]
}

/// The methods that can answer for an analyte; all of them while it is not known.
pub fn methods(analyte: Option<Analyte>) -> Choices {
    let fitting = analyte.map_or_else(|| Method::NAMED.to_vec(), Method::for_analyte);
    let mut choices: Choices = fitting.iter().map(|m| (m.slug(), m.label().to_owned())).collect();
    choices.push((OTHER.into(), "Another, named here".into()));
    choices
}

fn count(form: &Form) -> usize {
    form.value("lines").parse::<usize>().unwrap_or(0).min(LINES_MAX)
}

/// A cell of the form whose fields begin with `at`, as the app takes it.
pub fn cell(form: &Form, at: &str) -> CellForm {
    let of = |name: &str| form.value(&format!("{at}.{name}")).to_owned();
    let method = match of("method") {
        other if other == OTHER && of("other").is_empty() => String::new(),
        other if other == OTHER => format!("other:{}", of("other")),
        named => named,
    };
    // The printed text is kept as typed, spaces and all; only a sign chosen beside it is put before.
    let typed = form.verbatim(&format!("{at}.printed"));
    let printed = match of("sign").as_str() {
        "ND" if typed.trim().is_empty() => "ND".to_owned(),
        sign @ ("<" | ">") if !typed.trim().is_empty() => format!("{sign}{}", typed.trim()),
        _ => typed.to_owned(),
    };
    CellForm {
        analyte: of("analyte"),
        method,
        printed,
        unit: of("unit"),
        form: of("form"),
        basis: of("basis"),
        layer: of("layer"),
    }
}

/// Fills the fields of one cell.
pub fn fill(form: &mut Form, at: &str, cell: &CellForm) {
    let (method, other) = match cell.method.strip_prefix("other:") {
        Some(name) => (OTHER, name),
        None => (cell.method.as_str(), ""),
    };
    for (name, value) in [
        ("analyte", cell.analyte.as_str()),
        ("method", method),
        ("other", other),
        ("printed", &cell.printed),
        ("sign", ""),
        ("unit", &cell.unit),
        ("form", &cell.form),
        ("basis", &cell.basis),
        ("layer", &cell.layer),
    ] {
        form.set(format!("{at}.{name}"), value);
    }
}

impl Line {
    fn of(form: &Form, n: usize) -> Line {
        let at = format!("rows.{n}");
        let analyte: Option<Analyte> = form.value(&format!("{at}.analyte")).parse().ok();
        let fixed = form.value(&format!("{at}.fixed")) != "";
        let open = ["form", "basis", "layer", "other", "sign"].iter().any(|name| {
            let field = format!("{at}.{name}");
            form.value(&field) != "" || !form.problems(&field).is_empty()
        }) || form.value(&format!("{at}.method")) == OTHER;
        let mut methods = methods(analyte.filter(|_| fixed));
        let chosen = form.value(&format!("{at}.method"));
        if chosen.is_empty() {
            methods.insert(0, (String::new(), "Choose".into()));
        } else if !methods.iter().any(|(slug, _)| slug == chosen) {
            // A method that does not fit is shown as it is: the page asks about it afterwards.
            let label = chosen.parse::<Method>().map_or_else(|_| chosen.to_owned(), |m| m.label().to_owned());
            methods.push((chosen.to_owned(), label));
        }
        Line { name: analyte.filter(|_| fixed).map(Analyte::name), at, methods, open }
    }

    pub(super) fn field(&self, name: &str) -> String {
        format!("{}.{name}", self.at)
    }

    pub(super) fn choices_of_method(&self) -> Choices {
        self.methods.clone()
    }

    pub(super) fn units(&self, form: &Form) -> Choices {
        let mut all: Choices = units().collect();
        let chosen = form.value(&self.field("unit"));
        if chosen.is_empty() {
            all.insert(0, (String::new(), "Unit".into()));
        } else if !all.iter().any(|(symbol, _)| symbol == chosen) {
            all.push((chosen.to_owned(), chosen.to_owned()));
        }
        all
    }

    pub(super) fn oxides(&self) -> Choices {
        oxides()
    }

    pub(super) fn bases(&self) -> Choices {
        bases()
    }

    pub(super) fn layers(&self) -> Choices {
        layers()
    }

    pub(super) fn signs(&self) -> [(&'static str, &'static str); 4] {
        signs()
    }

    /// Problems of the fields that have no place of their own to show them.
    pub(super) fn problems<'f>(&self, form: &'f Form) -> Vec<&'f str> {
        ["analyte", "printed", "unit", "method", "form", "basis", "layer"]
            .iter()
            .flat_map(|name| form.problems(&self.field(name)))
            .map(String::as_str)
            .collect()
    }
}

/// The report that a form holds.
pub fn report(form: &Form) -> ReportForm {
    ReportForm {
        lab: form.value("lab").to_owned(),
        reference: form.value("reference").to_owned(),
        reported_on: form.value("reported_on").to_owned(),
        note: form.value("report_note").to_owned(),
        rows: (0..count(form)).map(|n| cell(form, &format!("rows.{n}"))).collect(),
    }
}

/// Whether anything of a report was typed.
pub fn is_begun(report: &ReportForm) -> bool {
    !report.lab.is_empty() || report.rows.iter().any(|row| !row.printed.trim().is_empty())
}

/// Does what the person asked of the lines, where they did not ask to save: another panel,
/// more lines, one method or unit for all. Nothing that was typed is lost.
pub async fn step(cx: &Cx, site: SiteId, form: &mut Form) -> Result<bool> {
    match (form.value("panel").to_owned().as_str(), form.value("do").to_owned().as_str()) {
        ("", "lines") => form.set("lines", (count(form) + MORE).min(LINES_MAX)),
        ("", "all") => set_all(form),
        ("", _) => return Ok(false),
        (LAST, _) => {
            let mut wanted = cx.app.last_lines(&cx.actor, site, form.value("lab")).await?;
            if wanted.is_empty() {
                wanted = cx.app.last_lines(&cx.actor, site, "").await?;
            }
            begin(form, wanted);
        }
        (slug, _) => {
            let lines = panel::find(slug).map_or(&[][..], |panel| panel.lines);
            let wanted = lines.iter().map(|line| CellForm {
                analyte: line.analyte.to_string(),
                method: line.method.slug(),
                unit: line.unit.symbol().into(),
                ..CellForm::default()
            });
            begin(form, wanted.collect());
        }
    }
    form.set("panel", "");
    Ok(true)
}

/// Puts these lines in the form, after those that already hold a number.
fn begin(form: &mut Form, wanted: Vec<CellForm>) {
    let kept: Vec<(CellForm, bool)> = (0..count(form))
        .map(|n| (cell(form, &format!("rows.{n}")), form.value(&format!("rows.{n}.fixed")) != ""))
        .filter(|(cell, _)| !cell.printed.trim().is_empty())
        .collect();
    let begun = |line: &CellForm| kept.iter().any(|(k, _)| k.analyte == line.analyte && k.method == line.method);
    let new: Vec<_> = wanted.into_iter().filter(|line| !begun(line)).map(|line| (line, true)).collect();
    let all: Vec<_> = kept.into_iter().chain(new).take(LINES_MAX).collect();
    for (n, (line, fixed)) in all.iter().enumerate() {
        fill(form, &format!("rows.{n}"), line);
        form.set(format!("rows.{n}.fixed"), if *fixed { "1" } else { "" });
    }
    form.set("lines", all.len());
}

/// One extraction, and one unit, for every line that they fit.
fn set_all(form: &mut Form) {
    let method: Option<Method> = form.value("all_method").parse().ok();
    let unit: Option<Unit> = form.value("all_unit").parse().ok();
    for n in 0..count(form) {
        let Ok(analyte) = form.value(&format!("rows.{n}.analyte")).parse::<Analyte>() else { continue };
        if analyte.element().is_none() {
            continue;
        }
        if let Some(method) = &method {
            form.set(format!("rows.{n}.method"), method.slug());
        }
        if let Some(unit) = unit {
            form.set(format!("rows.{n}.unit"), unit.symbol());
        }
    }
    form.set("all_method", "");
    form.set("all_unit", "");
}

#[cfg(test)]
mod tests {
    use super::*;

    fn line(analyte: &str, printed: &str) -> CellForm {
        CellForm {
            analyte: analyte.into(),
            method: "olsen".into(),
            unit: "mg/kg".into(),
            printed: printed.into(),
            ..CellForm::default()
        }
    }

    #[test]
    fn another_panel_keeps_every_number_that_was_typed() {
        let mut form = Form::new();
        begin(&mut form, vec![line("P", ""), line("K", ""), line("Mg", "")]);
        form.set("rows.1.printed", " 120 ");
        form.set("rows.2.sign", "ND");
        begin(&mut form, vec![line("K", ""), line("S", "")]);
        let rows = report(&form).rows;
        let seen: Vec<_> = rows.iter().map(|row| (row.analyte.as_str(), row.printed.as_str())).collect();
        assert_eq!(seen, [("K", " 120 "), ("Mg", "ND"), ("S", "")]);
    }

    #[test]
    fn a_method_outside_the_list_goes_by_its_name() {
        let mut form = Form::new();
        begin(&mut form, vec![CellForm { method: "other:Kelowna".into(), ..line("P", "12") }]);
        assert_eq!((form.value("rows.0.method"), form.value("rows.0.other")), ("other", "Kelowna"));
        assert_eq!(report(&form).rows[0].method, "other:Kelowna");
        form.set("rows.0.other", "");
        assert_eq!(report(&form).rows[0].method, "", "left out, so that the form asks");
    }

    #[test]
    fn one_method_for_all_leaves_alone_what_it_cannot_answer_for() {
        let mut form = Form::new();
        let ph = CellForm { analyte: "ph".into(), method: "ph_water".into(), unit: "pH".into(), ..CellForm::default() };
        begin(&mut form, vec![ph, line("K", "")]);
        form.set("all_method", "nh4oac_8_2");
        form.set("all_unit", "mg/L");
        set_all(&mut form);
        let rows = report(&form).rows;
        assert_eq!((rows[0].method.as_str(), rows[0].unit.as_str()), ("ph_water", "pH"));
        assert_eq!((rows[1].method.as_str(), rows[1].unit.as_str()), ("nh4oac_8_2", "mg/L"));
    }
}
