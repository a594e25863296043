//! Every test of a site at once, as columns of numbers: for reviews of thousands of plots
//! over decades, where a row at a time would take longer than all that is done with it.
//!
//! SQLite hands over tens of thousands of rows as a few long texts; they are taken apart
//! here. Two connections read half of the record each. What is void, corrected or withdrawn
//! is left out, as everywhere.

use super::{Error, Read, Result, Store, history, samplings};
use crate::{
    agronomy::{
        analyte::Analyte,
        quantity::{Centimetres, LayerConvention},
        record::{Basis, CellKey, DepthBand, Determination, PrintedValue, Qualifier},
    },
    ids::{PlotId, SamplingId, SiteId},
};
use jiff::civil::Date;
use std::{collections::HashMap, ops::Range};

/// Every test of a site by some analytes.
#[derive(Clone, Debug, Default)]
pub struct Columns {
    /// Of the record when they were read.
    pub version: i64,
    /// By number.
    pub samplings: Vec<SamplingColumn>,
    /// Each plot of a sampling, as the index of the sampling.
    pub taken_from: Vec<(u32, PlotId)>,
    pub labs: Vec<String>,
    /// What cells are besides their number, each kind once; key and number are of no meaning.
    pub kinds: Vec<Determination>,
    /// In the order of the record.
    pub cells: Vec<CellColumn>,
}

/// A sampling, as far as drift goes.
#[derive(Clone, Copy, Debug)]
pub struct SamplingColumn {
    pub id: SamplingId,
    pub sampled_on: Date,
    pub date_assumed: bool,
    pub depth: Option<DepthBand>,
    /// A field acid test was made.
    pub fizz: bool,
}

/// One printed cell with a number.
#[derive(Clone, Copy, Debug)]
pub struct CellColumn {
    /// Index of its sampling.
    pub sampling: u32,
    pub lab: u32,
    pub kind: u32,
    pub value: f64,
}

/// Rows that one statement hands over.
const AT_ONCE: i64 = 40_000;

/// Parts the values of a column. The web and CSV let no such character through.
const SEPARATOR: char = '\u{1f}';

impl Store {
    /// The tests of a site by these analytes.
    pub async fn columns(&self, site: SiteId, analytes: &[Analyte]) -> Result<Columns> {
        let (mut one, mut other) = self.two_reads().await?;
        let version = history::version(&mut one).await?;
        let keys = serde_json::json!(analytes.iter().map(Analyte::to_string).collect::<Vec<_>>()).to_string();
        let last = last_cell(&mut one).await?;
        let middle = last / 2;
        let first_half = async {
            let sheets = Sheets::read(&mut one, site).await?;
            let cells = read_cells(&mut one, &keys, 1..middle + 1).await?;
            Ok::<_, Error>((sheets, cells))
        };
        let (first, second) =
            tokio::join!(first_half, async { read_cells(&mut other, &keys, middle + 1..last + 1).await });
        let ((sheets, first), second) = (first?, second?);
        Ok(Columns { version, ..sheets.join([first, second]) })
    }

    /// Two views of the same moment.
    async fn two_reads(&self) -> Result<(Read, Read)> {
        for _ in 0..10 {
            let (mut one, mut other) = (self.read().await?, self.read().await?);
            if history::version(&mut one).await? == history::version(&mut other).await? {
                return Ok((one, other));
            }
        }
        Err(Error::Busy)
    }
}

async fn last_cell(read: &mut Read) -> Result<i64> {
    Ok(sqlx::query_scalar!(r#"select coalesce(max(id), 0) as "last!: i64" from determinations"#)
        .fetch_one(&mut **read)
        .await?)
}

/// Samplings and reports of a site.
struct Sheets {
    samplings: Vec<SamplingColumn>,
    taken_from: Vec<(u32, PlotId)>,
    labs: Vec<String>,
    /// By report: index of the sampling, index of the lab.
    reports: HashMap<i64, (u32, u32)>,
}

/// Cells as they were read: the report stands for sampling and lab.
struct Cells {
    kinds: Vec<Determination>,
    /// Report, index of the kind, value.
    cells: Vec<(i64, u32, f64)>,
}

fn unreadable(what: &'static str) -> impl Fn(&str) -> Error {
    move |text| Error::Unreadable { what, text: text.to_owned() }
}

fn number<T: std::str::FromStr>(text: &str) -> Result<T> {
    text.trim().parse().map_err(|_| unreadable("a number")(text))
}

/// A column of text, value by value; a missing one has none.
fn values(column: &Option<String>) -> std::str::Split<'_, char> {
    let mut values = column.as_deref().unwrap_or_default().split(SEPARATOR);
    if column.is_none() {
        values.next();
    }
    values
}

impl Sheets {
    async fn read(read: &mut Read, site: SiteId) -> Result<Sheets> {
        let mut sheets = Sheets { samplings: vec![], taken_from: vec![], labs: vec![], reports: HashMap::new() };
        let last = sqlx::query_scalar!(r#"select coalesce(max(id), 0) as "last!: i64" from samplings"#)
            .fetch_one(&mut **read)
            .await?;
        let mut index: HashMap<i64, u32> = HashMap::new();
        for from in (1..=last).step_by(AT_ONCE as usize) {
            let to = from + AT_ONCE - 1;
            let row = sqlx::query!(
                r#"select group_concat(id, char(31)) as "ids: String", group_concat(sampled_on, char(31)) as "on: String",
                          group_concat(date_assumed, char(31)) as "assumed: String",
                          group_concat(coalesce(depth_top_cm, ''), char(31)) as "top: String",
                          group_concat(coalesce(depth_bottom_cm, ''), char(31)) as "bottom: String",
                          group_concat(fizz_class is not null, char(31)) as "fizz: String"
                   from samplings where id between ? and ? and site = ? and voided_at is null"#,
                from,
                to,
                site
            )
            .fetch_one(&mut **read)
            .await?;
            let (mut on, mut assumed, mut fizz) = (values(&row.on), values(&row.assumed), values(&row.fizz));
            let (mut top, mut bottom) = (values(&row.top), values(&row.bottom));
            for id in values(&row.ids) {
                let day = on.next().unwrap_or_default();
                let depth = match (top.next().unwrap_or_default(), bottom.next().unwrap_or_default()) {
                    ("", _) | (_, "") => None,
                    (top, bottom) => {
                        Some(DepthBand { top: Centimetres(number(top)?), bottom: Centimetres(number(bottom)?) })
                    }
                };
                let id = number(id)?;
                index.insert(id, sheets.samplings.len() as u32);
                sheets.samplings.push(SamplingColumn {
                    id: SamplingId(id),
                    sampled_on: day.parse().map_err(|_| unreadable("a day")(day))?,
                    date_assumed: assumed.next() == Some("1"),
                    depth,
                    fizz: fizz.next() == Some("1"),
                });
            }
            let row = sqlx::query!(
                r#"select group_concat(sampling, char(31)) as "samplings: String", group_concat(plot, char(31)) as "plots: String"
                   from sampling_plots where sampling between ? and ?"#,
                from,
                to
            )
            .fetch_one(&mut **read)
            .await?;
            for (sampling, plot) in values(&row.samplings).zip(values(&row.plots)) {
                if let Some(&sampling) = index.get(&number(sampling)?) {
                    sheets.taken_from.push((sampling, PlotId(number(plot)?)));
                }
            }
        }
        let last = sqlx::query_scalar!(r#"select coalesce(max(id), 0) as "last!: i64" from reports"#)
            .fetch_one(&mut **read)
            .await?;
        let mut labs: HashMap<String, u32> = HashMap::new();
        for from in (1..=last).step_by(AT_ONCE as usize) {
            let to = from + AT_ONCE - 1;
            let row = sqlx::query!(
                r#"select group_concat(id, char(31)) as "ids: String", group_concat(sampling, char(31)) as "samplings: String",
                          group_concat(replace(lab, char(31), ' '), char(31)) as "labs: String"
                   from reports where id between ? and ? and voided_at is null"#,
                from,
                to
            )
            .fetch_one(&mut **read)
            .await?;
            for ((id, sampling), lab) in values(&row.ids).zip(values(&row.samplings)).zip(values(&row.labs)) {
                let Some(&sampling) = index.get(&number(sampling)?) else { continue };
                let lab = match labs.get(lab) {
                    Some(&known) => known,
                    None => {
                        let new = sheets.labs.len() as u32;
                        labs.insert(lab.to_owned(), new);
                        sheets.labs.push(lab.to_owned());
                        new
                    }
                };
                sheets.reports.insert(number(id)?, (sampling, lab));
            }
        }
        Ok(sheets)
    }

    /// Puts the cells of its reports under their samplings.
    fn join(self, parts: [Cells; 2]) -> Columns {
        let mut columns = Columns {
            version: 0,
            samplings: self.samplings,
            taken_from: self.taken_from,
            labs: self.labs,
            kinds: vec![],
            cells: Vec::with_capacity(parts.iter().map(|part| part.cells.len()).sum()),
        };
        for part in parts {
            let kinds: Vec<u32> = part.kinds.into_iter().map(|kind| kept(&mut columns.kinds, kind)).collect();
            let mut last = (0, None);
            for (report, kind, value) in part.cells {
                if report != last.0 {
                    last = (report, self.reports.get(&report).copied());
                }
                let Some((sampling, lab)) = last.1 else { continue };
                columns.cells.push(CellColumn { sampling, lab, kind: kinds[kind as usize], value });
            }
        }
        columns
    }
}

fn kept(kinds: &mut Vec<Determination>, kind: Determination) -> u32 {
    let at = kinds.iter().position(|known| *known == kind).unwrap_or_else(|| {
        kinds.push(kind);
        kinds.len() - 1
    });
    at as u32
}

/// Kinds by how they are written, with a guess that sheets repeat each other's order.
#[derive(Default)]
struct Kinds {
    texts: Vec<[String; 4]>,
    kinds: Vec<Determination>,
    by_text: HashMap<[String; 4], u32>,
    /// The kind that came after each, last time.
    next: Vec<u32>,
    last: usize,
}

impl Kinds {
    /// The kind of a cell: analyte, method, unit, and the number that was printed.
    fn of(&mut self, text: [&str; 4], make: impl FnOnce() -> Result<Determination>) -> Result<u32> {
        let guess = self.next.get(self.last).copied().unwrap_or(0);
        let found = match self.texts.get(guess as usize) {
            Some(known) if known.iter().zip(text).all(|(known, text)| known == text) => guess,
            _ => {
                let key = text.map(str::to_owned);
                match self.by_text.get(&key) {
                    Some(&found) => found,
                    None => {
                        let new = self.kinds.len() as u32;
                        self.kinds.push(make()?);
                        self.texts.push(key.clone());
                        self.by_text.insert(key, new);
                        self.next.push(0);
                        new
                    }
                }
            }
        };
        if let Some(next) = self.next.get_mut(self.last) {
            *next = found;
        }
        self.last = found as usize;
        Ok(found)
    }
}

/// "2" for "6.40": what a plainly printed number was printed with.
fn decimals_of(printed: &str) -> usize {
    printed.split_once('.').map_or(0, |(_, after)| after.len())
}

const DECIMALS: [&str; 13] = ["0", "1", "2", "3", "4", "5", "6", "7", "8", "9", "10", "11", "12"];

/// The cells of a stretch of the record by the analytes whose keys are in a JSON list.
///
/// Most cells are a plain number of an element by mass, and five texts say all of such a
/// one; the others come with everything that they carry.
async fn read_cells(read: &mut Read, analytes: &str, all: Range<i64>) -> Result<Cells> {
    let (mut plain, mut other) = (Kinds::default(), Kinds::default());
    let mut cells: Vec<(i64, bool, u32, f64)> = Vec::new();
    for from in all.clone().step_by(AT_ONCE as usize) {
        let to = (from + AT_ONCE).min(all.end) - 1;
        let row = sqlx::query!(
            r#"select group_concat(report, char(31)) as "reports: String", group_concat(analyte, char(31)) as "analytes: String",
                      group_concat(method, char(31)) as "methods: String", group_concat(unit, char(31)) as "units: String",
                      group_concat(printed, char(31)) as "printed: String"
               from determinations where id between ?1 and ?2 and analyte in (select value from json_each(?3))
                 and qualifier = 'exact' and printed = value and form is null and layer is null and basis = 'mass'
                 and printed not glob '*[^0-9.]*'
                 and id not in (select supersedes from determinations where supersedes is not null)
                 and id not in (select determination from withdrawals)"#,
            from,
            to,
            analytes
        )
        .fetch_one(&mut **read)
        .await?;
        let (mut methods, mut units) = (values(&row.methods), values(&row.units));
        let (mut keys, mut printed) = (values(&row.analytes), values(&row.printed));
        for report in values(&row.reports) {
            let (analyte, method) = (keys.next().unwrap_or_default(), methods.next().unwrap_or_default());
            let (unit, text) = (units.next().unwrap_or_default(), printed.next().unwrap_or_default());
            let decimals = decimals_of(text);
            let written = DECIMALS.get(decimals).copied().unwrap_or("12");
            let kind = plain.of([analyte, method, unit, written], || {
                kind([analyte, method, unit, written, "exact", "", "mass", ""])
            })?;
            cells.push((number(report)?, true, kind, number(text)?));
        }
        let row = sqlx::query!(
            r#"select group_concat(report, char(31)) as "reports: String", group_concat(analyte, char(31)) as "analytes: String",
                      group_concat(method, char(31)) as "methods: String", group_concat(unit, char(31)) as "units: String",
                      group_concat(decimals || char(30) || qualifier || char(30) || coalesce(form, '') || char(30) || basis
                                   || char(30) || coalesce(layer, ''), char(31)) as "rest: String",
                      group_concat(value, char(31)) as "values: String"
               from determinations where id between ?1 and ?2 and analyte in (select value from json_each(?3))
                 and value is not null
                 and not (qualifier = 'exact' and printed = value and form is null and layer is null and basis = 'mass'
                          and printed not glob '*[^0-9.]*')
                 and id not in (select supersedes from determinations where supersedes is not null)
                 and id not in (select determination from withdrawals)"#,
            from,
            to,
            analytes
        )
        .fetch_one(&mut **read)
        .await?;
        let (mut methods, mut units) = (values(&row.methods), values(&row.units));
        let (mut keys, mut rest, mut numbers) = (values(&row.analytes), values(&row.rest), values(&row.values));
        for report in values(&row.reports) {
            let (analyte, method) = (keys.next().unwrap_or_default(), methods.next().unwrap_or_default());
            let (unit, rest) = (units.next().unwrap_or_default(), rest.next().unwrap_or_default());
            let kind = other.of([analyte, method, unit, rest], || {
                let mut parts = rest.split('\u{1e}');
                let mut part = || parts.next().unwrap_or_default();
                let (decimals, qualifier, form, basis, layer) = (part(), part(), part(), part(), part());
                kind([analyte, method, unit, decimals, qualifier, form, basis, layer])
            })?;
            cells.push((number(report)?, false, kind, number(numbers.next().unwrap_or_default())?));
        }
    }
    let plain_kinds = plain.kinds.len() as u32;
    let kinds = plain.kinds.into_iter().chain(other.kinds).collect();
    let cells = cells
        .into_iter()
        .map(|(report, is_plain, kind, value)| (report, if is_plain { kind } else { plain_kinds + kind }, value));
    Ok(Cells { kinds, cells: cells.collect() })
}

fn kind([analyte, method, unit, decimals, qualifier, form, basis, layer]: [&str; 8]) -> Result<Determination> {
    Ok(Determination {
        key: CellKey(0),
        analyte: samplings::analyte(analyte)?,
        method: samplings::method(method.to_owned()),
        printed: PrintedValue {
            text: String::new(),
            qualifier: qualifier.parse::<Qualifier>().map_err(|_| unreadable("a qualifier")(qualifier))?,
            value: Some(1.0),
            decimals: number(decimals)?,
        },
        unit: samplings::unit(unit)?,
        form: match form {
            "" => None,
            form => Some(form.parse().map_err(|_| unreadable("a form")(form))?),
        },
        basis: basis.parse::<Basis>().map_err(|_| unreadable("a basis")(basis))?,
        layer: LayerConvention::find(layer),
    })
}
