//! What a harvest carries away: removal figures of crops from published tables, each with
//! its source, and the offtake of a harvest with the range in which the tables put it.
//!
//! Uptake of a whole crop, residues included, is kept for show and never counted: what
//! stays on the plot is not removed. An element that no table gives is not known, which is
//! never the same as nothing.

use super::{
    crop::{CROPS, Crop, CropGroup},
    element::{Element, Form},
    quantity::{Grams, KgPerHa, SquareMetres},
    rate::MassUnit,
    record::keyed,
    source::{Citation, Evidence, Source},
    standing::num,
    working::{Figure, Origin, Working},
};
use jiff::civil::Date;
use serde::{Deserialize, Serialize};
use std::{
    collections::{BTreeMap, BTreeSet},
    str::FromStr,
    sync::LazyLock,
};

/// The elements that a balance is kept for.
pub const BALANCED: &[Element] = {
    use Element::*;
    &[N, P, K, Ca, Mg, S, Na, Fe, Mn, Zn, Cu, B, Mo]
};

/// How far one table alone may be from the truth: removal tables differ by half.
pub const TABLES_DIFFER: Source = Source {
    publisher: "Comparison of the tables that are kept here",
    title: "Removal figures for one crop differ by about half between tables, so a figure from one table alone is shown ± 50 %",
    year: 0,
    address: "",
    evidence: Evidence::Derived,
};

/// Nitrogen as food tables count protein: ÷ 6.25, which leaves nitrate out.
const N_IN_PROTEIN: f64 = 1.0 / 6.25;

/// What a table's figure counts.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// What leaves the plot with the harvest.
    Carried,
    /// What the whole crop takes up, residues included. Never counted in a balance.
    Whole,
}

keyed!(Part { Carried "carried" "carried away with the harvest", Whole "whole" "taken up by the whole crop" });

/// A figure with the range it may lie in; the same three times where no range is known.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Span {
    pub low: f64,
    pub mid: f64,
    pub high: f64,
}

impl Span {
    /// A figure without a range.
    pub const fn exact(value: f64) -> Span {
        Span { low: value, mid: value, high: value }
    }

    /// Every end times a factor of at least 0.
    pub fn times(self, factor: f64) -> Span {
        Span { low: self.low * factor, mid: self.mid * factor, high: self.high * factor }
    }

    /// Whether a range is known.
    pub fn has_range(self) -> bool {
        self.high > self.low
    }
}

impl std::ops::Add for Span {
    type Output = Span;

    /// End to end: tables err the same way for every harvest, so ranges add without shrinking.
    fn add(self, other: Span) -> Span {
        Span { low: self.low + other.low, mid: self.mid + other.mid, high: self.high + other.high }
    }
}

impl std::ops::Sub for Span {
    type Output = Span;

    fn sub(self, other: Span) -> Span {
        Span { low: self.low - other.high, mid: self.mid - other.mid, high: self.high - other.low }
    }
}

/// One row of a published table.
#[derive(Clone, Debug)]
pub struct RemovalRow {
    /// Key of the table it stands in.
    pub table: String,
    pub crops: BTreeSet<String>,
    /// Groups it speaks of, where the publisher names no crop.
    pub groups: BTreeSet<CropGroup>,
    pub part: Part,
    /// What the publisher prints.
    pub stated: String,
    /// kg of the element in a tonne fresh.
    pub kg_per_t: BTreeMap<Element, Span>,
    /// Elements whose figure is shown but not used.
    pub doubted: BTreeSet<Element>,
    pub note: String,
    pub source: Citation,
}

/// What the fruit holds of what the whole plant takes up, % from and to (Hegde 1997, of tomato,
/// eggplant and pepper; read); `None` for an element that it says nothing of.
pub fn fruit_holds(element: Element) -> Option<(f64, f64)> {
    match element {
        Element::N => Some((45.0, 60.0)),
        Element::P => Some((50.0, 60.0)),
        Element::K => Some((55.0, 70.0)),
        _ => None,
    }
}

impl RemovalRow {
    /// The part of a whole plant's uptake that the fruit holds, kg in a tonne of fruit, end by end;
    /// only in the table whose publisher says what the fruit holds.
    pub fn in_fruit(&self, element: Element) -> Option<Span> {
        let (low, high) = fruit_holds(element).filter(|_| self.table == "heg" && self.part == Part::Whole)?;
        let taken = self.kg_per_t.get(&element)?;
        let (low, high) = (taken.low * low / 100.0, taken.high * high / 100.0);
        Some(Span { low, mid: (low + high) / 2.0, high })
    }

    fn speaks_of(&self, crop: &Crop) -> bool {
        self.crops.contains(crop.slug) || self.groups.contains(&crop.group)
    }
}

#[derive(Deserialize)]
struct File {
    source: BTreeMap<String, Citation>,
    row: Vec<Printed>,
}

/// A number, or the two ends of a range.
#[derive(Clone, Copy, Deserialize)]
#[serde(untagged)]
enum Stated {
    One(f64),
    Range(f64, f64),
}

impl Stated {
    fn span(self) -> Span {
        match self {
            Stated::One(value) => Span::exact(value),
            Stated::Range(low, high) => Span { low, mid: (low + high) / 2.0, high },
        }
    }
}

/// A row as the data file prints it; exactly one of the four kinds of figures is given.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Printed {
    #[serde(default)]
    crops: BTreeSet<String>,
    #[serde(default)]
    groups: BTreeSet<CropGroup>,
    source: String,
    part: Part,
    stated: String,
    #[serde(default)]
    kg_per_t: BTreeMap<Element, Stated>,
    #[serde(default)]
    g_per_100_g: BTreeMap<String, Stated>,
    #[serde(default)]
    oxide_kg_per_t: BTreeMap<String, Stated>,
    #[serde(default)]
    lb_per_acre: BTreeMap<String, Stated>,
    short_tons: Option<f64>,
    #[serde(default)]
    doubted: BTreeSet<Element>,
    #[serde(default)]
    note: String,
}

/// Element and the share of what is printed under this name that is the element.
fn meaning(printed: &str) -> Result<(Element, f64), String> {
    if printed == "protein" {
        return Ok((Element::N, N_IN_PROTEIN));
    }
    if let Ok(form) = Form::from_str(printed) {
        return Ok((form.element(), form.to_element()));
    }
    Ok((printed.parse()?, 1.0))
}

impl Printed {
    fn read(self, sources: &BTreeMap<String, Citation>) -> Result<RemovalRow, String> {
        let source = sources.get(&self.source).cloned().ok_or_else(|| format!("no source “{}”", self.source))?;
        let mut kg_per_t: BTreeMap<Element, Span> =
            self.kg_per_t.into_iter().map(|(element, stated)| (element, stated.span())).collect();
        let tonnes = self.short_tons.unwrap_or(1.0) * MassUnit::ShortTon.grams() / 1e6;
        let pounds = MassUnit::Pound.grams() / 1e3 / tonnes;
        for (figures, factor) in [(self.g_per_100_g, 10.0), (self.oxide_kg_per_t, 1.0), (self.lb_per_acre, pounds)] {
            for (printed, stated) in figures {
                let (element, share) = meaning(&printed)?;
                kg_per_t.insert(element, stated.span().times(share * factor));
            }
        }
        Ok(RemovalRow {
            table: self.source,
            crops: self.crops,
            groups: self.groups,
            part: self.part,
            stated: self.stated,
            kg_per_t,
            doubted: self.doubted,
            note: self.note,
            source,
        })
    }
}

/// Reads a file of removal figures; the sentence names what is wrong with it.
pub fn parse(toml: &str) -> Result<Vec<RemovalRow>, String> {
    let file: File = toml::from_str(toml).map_err(|e| e.to_string())?;
    file.row
        .into_iter()
        .map(|row| {
            let stated = row.stated.clone();
            row.read(&file.source).map_err(|e| format!("{stated}: {e}"))
        })
        .collect()
}

/// Every row kept here, in the order of the file.
pub fn rows() -> &'static [RemovalRow] {
    static ROWS: LazyLock<Vec<RemovalRow>> =
        LazyLock::new(|| parse(include_str!("offtake/removal.toml")).unwrap_or_default()); // read by a test below
    &ROWS
}

/// Every row that speaks of a crop, uptake of the whole crop included: what a page shows side by side.
pub fn rows_for(crop: &Crop) -> Vec<&'static RemovalRow> {
    static BY_CROP: LazyLock<BTreeMap<&'static str, Vec<&'static RemovalRow>>> = LazyLock::new(|| {
        let of = |crop: &'static Crop| (crop.slug, rows().iter().filter(|row| row.speaks_of(crop)).collect());
        CROPS.iter().map(of).collect()
    });
    match BY_CROP.get(crop.slug) {
        Some(rows) => rows.clone(),
        None => rows().iter().filter(|row| row.speaks_of(crop)).collect(),
    }
}

/// What a harvest's offtake is worked out from.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Figures {
    /// The published tables, the best known first, with the range over all of them.
    #[default]
    Tables,
    /// One table, by its key.
    Table(String),
    /// The grower's own analysis, kg of element in a tonne fresh, with its words; elements
    /// that it lacks are taken from the tables.
    Own { kg_per_t: BTreeMap<Element, f64>, words: String },
}

/// kg of an element in a tonne of a crop, with the tables behind it.
#[derive(Clone, Debug, PartialEq)]
pub struct Removal {
    pub kg_per_t: Span,
    pub working: Working,
}

/// What the tables say of an element in a crop.
struct Tables {
    /// The best known first.
    known: Vec<(&'static RemovalRow, Span)>,
    /// The middle of the best known, in the range of all.
    span: Span,
    /// Only one of them speaks, and gives no range of its own.
    alone: bool,
}

fn tables(crop: &Crop, element: Element, figures: &Figures) -> Option<Tables> {
    let mut known: Vec<(&RemovalRow, Span)> = rows_for(crop)
        .into_iter()
        .filter(|row| row.part == Part::Carried && !row.doubted.contains(&element))
        .filter(|row| !matches!(figures, Figures::Table(table) if *table != row.table))
        .filter_map(|row| row.kg_per_t.get(&element).map(|span| (row, *span)))
        .collect();
    // A figure for the crop itself comes before one for its whole group.
    known.sort_by_key(|(row, _)| (row.source.evidence, row.crops.is_empty()));
    let (_, best) = *known.first()?;
    let alone = known.len() == 1 && !best.has_range();
    let span = match alone {
        true => Span { low: best.mid * 0.5, mid: best.mid, high: best.mid * 1.5 },
        false => Span {
            low: known.iter().map(|(_, s)| s.low).fold(f64::INFINITY, f64::min),
            mid: best.mid,
            high: known.iter().map(|(_, s)| s.high).fold(0.0, f64::max),
        },
    };
    Some(Tables { known, span, alone })
}

/// The grower's own figure for an element, where there is one that makes sense.
fn own_figure(figures: &Figures, element: Element) -> Option<f64> {
    let Figures::Own { kg_per_t, .. } = figures else { return None };
    kg_per_t.get(&element).copied().filter(|figure| figure.is_finite() && *figure >= 0.0)
}

/// How much of an element a tonne of the crop carries away; `None` where nobody says.
///
/// The middle is the best-known table's (read before quoted before recalled), the range
/// that of all tables; where only one table speaks, ± 50 % ([`TABLES_DIFFER`]). The
/// grower's own figure comes before all and has no range.
pub fn removal(crop: Option<&Crop>, element: Element, figures: &Figures) -> Option<Removal> {
    const UNIT: &str = "kg/t";
    let title = format!(
        "{} in a tonne of {}",
        capitalised(element.name()),
        crop.map_or("this crop".into(), |c| c.in_sentence())
    );
    if let Figures::Own { words, .. } = figures
        && let Some(own) = own_figure(figures, element)
    {
        let leaf = Working::leaf(title, Figure::significant(own, UNIT, 3), Origin::Entered);
        let leaf = if words.is_empty() { leaf } else { leaf.note(words.clone()) };
        // What is published stays in sight beside the grower's own figure.
        let leaf = match removal(crop, element, &Figures::Tables) {
            Some(published) => leaf.note(format!(
                "Published, and not used here: {} {UNIT}, in a range of {} to {}.",
                num(round(published.kg_per_t.mid)),
                num(round(published.kg_per_t.low)),
                num(round(published.kg_per_t.high))
            )),
            None => leaf.note("No table gives it."),
        };
        return Some(Removal { kg_per_t: Span::exact(own), working: leaf });
    }
    let Tables { known, span, alone } = tables(crop?, element, figures)?;
    let best = span.mid;
    let leaves = known.iter().map(|(row, s)| {
        let leaf = Working::leaf(row.stated.clone(), Figure::significant(s.mid, UNIT, 3), Origin::Published)
            .cite(row.source.clone());
        if row.note.is_empty() { leaf } else { leaf.note(row.note.clone()) }
    });
    let formula = format!("the best known of {} figures: {} {UNIT}", known.len(), num(round(best)));
    let range = if alone {
        format!(
            "Only one table gives it; tables differ by about half, so {} to {} {UNIT}.",
            num(round(span.low)),
            num(round(span.high))
        )
    } else {
        format!("The tables give {} to {} {UNIT}.", num(round(span.low)), num(round(span.high)))
    };
    let mut working = Working::step(title, Figure::significant(best, UNIT, 3), formula, leaves).note(range);
    if alone {
        working = working.cite(TABLES_DIFFER);
    }
    Some(Removal { kg_per_t: span, working })
}

/// A harvest, as far as the balance cares.
#[derive(Clone, Debug, PartialEq)]
pub struct Harvest {
    /// The caller's key.
    pub key: i64,
    pub harvested_on: Date,
    /// Key of the crop; `None` where nothing was carried away, which is a statement too.
    pub crop: Option<String>,
    /// What left the plot, fresh.
    pub mass_kg: f64,
    pub figures: Figures,
}

/// What a harvest carried away of one element.
#[derive(Clone, Debug, PartialEq)]
pub struct Carried {
    pub kg_per_ha: Span,
    pub working: Working,
}

/// What a harvest carried away.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Offtake {
    /// The elements that some table or the grower gives a figure for.
    pub known: BTreeMap<Element, Carried>,
    /// The others of [`BALANCED`]: not known, not nothing.
    pub unknown: BTreeSet<Element>,
    pub notes: Vec<String>,
}

/// What a harvest carried away from a plot of this area.
///
/// A harvest of nothing carries nothing of anything. A crop that is not listed, and an area
/// or a mass that makes no sense, leave everything unknown, with the reason.
pub fn offtake(harvest: &Harvest, area: SquareMetres) -> Offtake {
    let mut offtake = Offtake { notes: notes(harvest, area), ..Offtake::default() };
    for &element in BALANCED {
        match carried(harvest, area, element) {
            Some(carried) => drop(offtake.known.insert(element, carried)),
            None => drop(offtake.unknown.insert(element)),
        }
    }
    offtake
}

/// Whether the area and the mass of a harvest make sense.
fn sound(harvest: &Harvest, area: SquareMetres) -> bool {
    area.0.is_finite() && area.0 > 0.0 && harvest.mass_kg.is_finite() && harvest.mass_kg >= 0.0
}

/// Why everything about a harvest's offtake is unknown, where it is.
pub fn notes(harvest: &Harvest, area: SquareMetres) -> Vec<String> {
    if !sound(harvest, area) {
        return vec!["The plot's area or the mass harvested is missing, so the offtake is not known.".into()];
    }
    let listed = harvest.crop.as_deref().and_then(Crop::find).is_some();
    if harvest.mass_kg > 0.0 && !listed {
        return vec!["No removal figures are kept for this crop; your own can be given with the harvest.".into()];
    }
    vec![]
}

/// What a harvest carried away of one element, kg/ha, without its derivation: the figure of
/// [`carried`], for ledgers of thousands of plots.
pub fn taken(harvest: &Harvest, area: SquareMetres, element: Element) -> Option<Span> {
    if !sound(harvest, area) {
        return None;
    }
    if harvest.mass_kg == 0.0 {
        return Some(Span::exact(0.0));
    }
    let kg_per_t = match own_figure(&harvest.figures, element) {
        Some(own) => Span::exact(own),
        None => tables(&harvest.crop.as_deref().and_then(Crop::find)?, element, &harvest.figures)?.span,
    };
    Some(per_area(harvest, area, kg_per_t))
}

/// kg fresh × kg/t is grams of the element; those over the area.
fn per_area(harvest: &Harvest, area: SquareMetres, kg_per_t: Span) -> Span {
    let rate = |kg_per_t: f64| Grams(harvest.mass_kg * kg_per_t).per(area).0;
    Span { low: rate(kg_per_t.low), mid: rate(kg_per_t.mid), high: rate(kg_per_t.high) }
}

/// The same of one element, as [`offtake`] reckons it; `None` where it is not known.
pub fn carried(harvest: &Harvest, area: SquareMetres, element: Element) -> Option<Carried> {
    if !sound(harvest, area) {
        return None;
    }
    let crop = harvest.crop.as_deref().and_then(Crop::find);
    let mass_leaf = Working::leaf("Harvested, fresh", Figure::significant(harvest.mass_kg, "kg", 4), Origin::Entered);
    let title = format!("{} carried away on {}", capitalised(element.name()), harvest.harvested_on);
    if harvest.mass_kg == 0.0 {
        let formula = "nothing was harvested, so nothing left";
        let working = Working::step(title, Figure::new(0.0, KgPerHa::UNIT, 0), formula, [mass_leaf]);
        return Some(Carried { kg_per_ha: Span::exact(0.0), working });
    }
    let removal = removal(crop.as_ref(), element, &harvest.figures)?;
    let mid = removal.kg_per_t.mid;
    let kg_per_ha = per_area(harvest, area, removal.kg_per_t);
    let formula = format!(
        "{} kg × {} g/kg ÷ {} m² × 10 = {} kg/ha",
        num(harvest.mass_kg),
        num(round(mid)),
        num(area.0),
        num(round(kg_per_ha.mid))
    );
    let area_leaf = Working::leaf("Area of the plot", Figure::significant(area.0, "m²", 3), Origin::Entered);
    let figure = Figure::significant(kg_per_ha.mid, KgPerHa::UNIT, 2);
    let mut working = Working::step(title, figure, formula, [mass_leaf, removal.working, area_leaf]);
    if kg_per_ha.has_range() {
        let Span { low, high, .. } = kg_per_ha;
        working = working.note(format!("By the tables' range, {} to {} kg/ha.", num(round(low)), num(round(high))));
    }
    Some(Carried { kg_per_ha, working })
}

/// Three significant digits: tables give no more.
pub(super) fn round(value: f64) -> f64 {
    if value == 0.0 || !value.is_finite() {
        return value;
    }
    let scale = 10f64.powi(2 - value.abs().log10().floor() as i32);
    (value * scale).round() / scale
}

pub(super) fn capitalised(name: &str) -> String {
    let mut letters = name.chars();
    letters.next().map_or_else(String::new, |first| first.to_uppercase().collect::<String>() + letters.as_str())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_tables_read_and_name_only_crops_that_are_known() {
        let rows = parse(include_str!("offtake/removal.toml")).unwrap();
        assert!(rows.len() > 100);
        let mut carried = BTreeSet::new();
        for row in &rows {
            assert!(!row.kg_per_t.is_empty(), "{}", row.stated);
            assert!(!row.crops.is_empty() || !row.groups.is_empty(), "{}", row.stated);
            for crop in &row.crops {
                assert!(Crop::find(crop).is_some(), "{crop}");
                if row.part == Part::Carried && row.kg_per_t.contains_key(&Element::K) {
                    carried.insert(crop.clone());
                }
            }
            for span in row.kg_per_t.values() {
                assert!(0.0 <= span.low && span.low <= span.mid && span.mid <= span.high && span.high < 50.0);
            }
        }
        assert!(carried.len() >= 45, "only {} crops with what they carry away", carried.len());
    }

    #[test]
    fn a_broken_file_says_where() {
        let broken = "[source.a]\npublisher=\"A\"\ntitle=\"B\"\nevidence=\"read\"\n[[row]]\ncrops=[\"leek\"]\nsource=\"b\"\npart=\"carried\"\nstated=\"x\"\nkg_per_t={N=1}";
        assert_eq!(parse(broken).unwrap_err(), "x: no source “b”");
    }
}
