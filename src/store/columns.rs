//! Every test of a site at once, as columns of numbers: for reviews of thousands of plots
//! over decades, where a row at a time would take longer than all that is done with it.
//!
//! SQLite hands over tens of thousands of rows as a few long texts; they are taken apart
//! here. One connection reads the sheets, another what stands on them, of which triggers keep
//! a short copy by report. What is void, corrected or withdrawn is left out, as everywhere.

use super::{Error, Read, Result, Store, history, samplings};
use crate::{
    agronomy::{
        analyte::Analyte,
        quantity::{Centimetres, LayerConvention},
        record::{Basis, CellKey, DepthBand, Determination, Fizz, PrintedValue, Qualifier},
    },
    ids::{PlotId, SamplingId, SiteId},
};
use jiff::civil::Date;
use std::collections::HashMap;

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
    /// By report.
    pub sheets: Vec<SheetColumn>,
    /// Sheet by sheet, in the order of the record.
    pub cells: Vec<CellColumn>,
}

/// A sampling, as far as drift goes.
#[derive(Clone, Copy, Debug)]
pub struct SamplingColumn {
    pub id: SamplingId,
    pub sampled_on: Date,
    pub date_assumed: bool,
    pub depth: Option<DepthBand>,
    /// The field acid test, where it was made.
    pub fizz: Option<Fizz>,
}

/// A report, as far as drift goes.
#[derive(Clone, Copy, Debug)]
pub struct SheetColumn {
    /// Index of its sampling.
    pub sampling: u32,
    pub lab: u32,
    /// Where its cells begin, and where those of the next do.
    pub cells: (u32, u32),
}

/// One printed cell with a number.
#[derive(Clone, Copy, Debug)]
pub struct CellColumn {
    pub kind: u32,
    pub value: f64,
}

/// Rows that one statement hands over.
const AT_ONCE: i64 = 40_000;
/// Sheets that one statement hands over.
const SHEETS_AT_ONCE: i64 = 4_000;

/// Parts the values of a column. The web and CSV let no such character through.
const SEPARATOR: char = '\u{1f}';

impl Store {
    /// The tests of a site by these analytes.
    pub async fn columns(&self, site: SiteId, analytes: &[Analyte]) -> Result<Columns> {
        let (mut one, mut other) = self.two_reads().await?;
        let version = history::version(&mut one).await?;
        let keys = serde_json::json!(analytes.iter().map(Analyte::to_string).collect::<Vec<_>>()).to_string();
        // Each on a thread of its own: taking the texts apart is half of the work.
        let sheets = tokio::spawn(async move { Sheets::read(&mut one, site).await });
        let numbers = read_numbers(&mut other, &keys).await;
        let sheets = sheets.await.map_err(|_| Error::Sql(sqlx::Error::WorkerCrashed))?;
        Ok(Columns { version, ..sheets?.join(numbers?) })
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

/// Samplings and reports of a site.
struct Sheets {
    samplings: Vec<SamplingColumn>,
    taken_from: Vec<(u32, PlotId)>,
    labs: Vec<String>,
    /// By report: index of the sampling, index of the lab.
    reports: HashMap<i64, (u32, u32)>,
}

/// Results as they were read: the report stands for sampling and lab.
struct Numbers {
    kinds: Vec<Determination>,
    /// Report, and where its cells begin and end.
    sheets: Vec<(i64, (u32, u32))>,
    cells: Vec<CellColumn>,
}

fn unreadable(what: &'static str) -> impl Fn(&str) -> Error {
    move |text| Error::Unreadable { what, text: text.to_owned() }
}

fn number<T: std::str::FromStr>(text: &str) -> Result<T> {
    text.parse().map_err(|_| unreadable("a number")(text))
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
                r#"select group_concat(id, char(31)) as "ids?: String", group_concat(sampled_on, char(31)) as "on?: String",
                          group_concat(date_assumed, char(31)) as "assumed?: String",
                          group_concat(coalesce(depth_top_cm, ''), char(31)) as "top?: String",
                          group_concat(coalesce(depth_bottom_cm, ''), char(31)) as "bottom?: String",
                          group_concat(coalesce(fizz_acid, ''), char(31)) as "acid?: String",
                          group_concat(coalesce(fizz_class, ''), char(31)) as "fizz?: String"
                   from samplings where id between ? and ? and site = ? and voided_at is null"#,
                from,
                to,
                site
            )
            .fetch_one(&mut **read)
            .await?;
            let (mut on, mut assumed) = (values(&row.on), values(&row.assumed));
            let (mut acid, mut fizz) = (values(&row.acid), values(&row.fizz));
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
                    fizz: match (acid.next().unwrap_or_default(), fizz.next().unwrap_or_default()) {
                        ("", _) | (_, "") => None,
                        (acid, class) => samplings::fizz(acid, class),
                    },
                });
            }
            let row = sqlx::query!(
                r#"select group_concat(sampling, char(31)) as "samplings?: String", group_concat(plot, char(31)) as "plots?: String"
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
                r#"select group_concat(id, char(31)) as "ids?: String", group_concat(sampling, char(31)) as "samplings?: String",
                          group_concat(replace(lab, char(31), ' '), char(31)) as "labs?: String"
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

    /// Puts the results of its reports under their samplings.
    fn join(self, numbers: Numbers) -> Columns {
        let Numbers { kinds, sheets, cells } = numbers;
        let sheet = |(report, cells): (i64, (u32, u32))| {
            let (sampling, lab) = self.reports.get(&report).copied()?;
            Some(SheetColumn { sampling, lab, cells })
        };
        let sheets = sheets.into_iter().filter_map(sheet).collect();
        Columns {
            version: 0,
            samplings: self.samplings,
            taken_from: self.taken_from,
            labs: self.labs,
            kinds,
            sheets,
            cells,
        }
    }
}

/// What results are besides their number, as a JSON list tells which analytes are wanted.
///
/// By number; none where it is not wanted.
async fn read_kinds(read: &mut Read, analytes: &str) -> Result<Vec<Option<Determination>>> {
    let rows = sqlx::query!(
        r#"select id as "id!: i64", analyte, method, unit, qualifier, decimals, form, basis, layer from result_kinds
           where analyte in (select value from json_each(?))"#,
        analytes
    )
    .fetch_all(&mut **read)
    .await?;
    let mut kinds = vec![];
    for row in rows {
        let at = usize::try_from(row.id).unwrap_or_default();
        if kinds.len() <= at {
            kinds.resize(at + 1, None);
        }
        let decimals = row.decimals.to_string();
        kinds[at] = Some(kind([
            &row.analyte,
            &row.method,
            &row.unit,
            &decimals,
            &row.qualifier,
            &row.form,
            &row.basis,
            &row.layer,
        ])?);
    }
    Ok(kinds)
}

/// Every result that holds, report by report: its sheet, the number of its kind, its value.
async fn read_numbers(read: &mut Read, analytes: &str) -> Result<Numbers> {
    let mut kinds = Vec::new();
    // By number, where it is among those wanted.
    let mut place: Vec<Option<u32>> = Vec::new();
    for kind in read_kinds(read, analytes).await? {
        place.push(kind.is_some().then_some(kinds.len() as u32));
        kinds.extend(kind);
    }
    let last = sqlx::query_scalar!(r#"select coalesce(max(report), 0) as "last!: i64" from sheet_numbers"#)
        .fetch_one(&mut **read)
        .await?;
    let (mut all, mut cells) = (Vec::new(), Vec::new());
    for from in (1..=last).step_by(SHEETS_AT_ONCE as usize) {
        let to = from + SHEETS_AT_ONCE - 1;
        let sheets = sqlx::query_scalar!(
            r#"select group_concat(report || ' ' || numbers, char(31)) as "sheets?: String"
               from sheet_numbers where report between ? and ?"#,
            from,
            to
        )
        .fetch_one(&mut **read)
        .await?;
        for sheet in values(&sheets) {
            // By bytes: a search for each blank would take longer than the short words between them.
            let mut words = sheet.split_ascii_whitespace();
            let report: i64 = number(words.next().unwrap_or_default())?;
            let first = cells.len() as u32;
            while let (Some(kind), Some(value)) = (words.next(), words.next()) {
                if let Some(Some(kind)) = place.get(number::<usize>(kind)?) {
                    cells.push(CellColumn { kind: *kind, value: number(value)? });
                }
            }
            all.push((report, (first, cells.len() as u32)));
        }
    }
    Ok(Numbers { kinds, sheets: all, cells })
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
