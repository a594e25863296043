//! From the bytes of a set's files to its values.

use super::{
    table::{Problems, Row, each_row},
    *,
};
use crate::{
    agronomy::{
        ground::Cover,
        guideline::LandUse,
        offtake,
        quantity::{Centimetres, GramsPerCm3, LAYER_CONVENTIONS, SquareMetres},
        record::{FizzAcid, Qualifier},
    },
    exchange::number::{Cell, Limits, Low, parse_printed, parse_quantity},
};
use std::{cell::RefCell, collections::HashMap, hash::Hash, str::FromStr};

const CORES: Limits = Limits { what: "A number of cores", unit: "", low: Low::AtLeast(1.0), at_most: 1e4, decimals: 0 };
const STONES: Limits = Limits { what: "Stones", unit: "%", low: Low::AtLeast(0.0), at_most: 95.0, decimals: 1 };
const MOISTURE: Limits = Limits { what: "Moisture", unit: "%", low: Low::AtLeast(0.0), at_most: 99.0, decimals: 2 };

/// Reads the files of a set, given by name; `today` is what no date may lie after.
///
/// Every line that could be understood is in the set, even where others could not be; a
/// caller that finds problems decides what to do with the rest.
pub fn read(files: &BTreeMap<String, Vec<u8>>, today: Date) -> (RecordSet, Vec<ImportProblem>) {
    let problems = RefCell::new(Problems::default());
    for name in files.keys().filter(|name| !FILES.iter().any(|spec| spec.name == *name)) {
        let known = FILES.iter().map(|spec| spec.name).collect::<Vec<_>>().join(", ");
        problems.borrow_mut().add("set", 0, "", format!("“{name}” is not a file of a set, which has: {known}"));
    }
    let mut set = RecordSet::default();
    let each = |spec: &'static FileSpec, take: &mut dyn FnMut(&Row)| {
        if let Some(bytes) = files.get(spec.name) {
            each_row(spec, bytes, today, &problems, take);
        }
    };

    let mut seen = Seen::default();
    each(&PLOTS, &mut |row| {
        let plot = plot(row);
        set.plots.extend(plot.filter(|p| seen.is_new(row, "plot", p.code.to_lowercase(), "this plot")));
    });
    let mut seen = Seen::default();
    each(&SEASONS, &mut |row| {
        let season = season(row);
        set.seasons.extend(season.filter(|s| seen.is_new(row, "season", s.name.clone(), "this season")));
    });
    let mut seen = Seen::default();
    each(&AMENDMENTS, &mut |row| {
        let key = |a: &AmendmentRow| (a.name.to_lowercase(), a.valid_from);
        let found = amendment(row);
        set.amendments.extend(found.filter(|a| seen.is_new(row, "amendment", key(a), "this analysis")));
    });
    let mut seen = Seen::default();
    let mut keys = Seen::default();
    each(&SAMPLINGS, &mut |row| {
        let natural = |s: &SamplingRow| {
            let depth = s.depth.map(|d| (d.top.0.to_bits(), d.bottom.0.to_bits()));
            (s.plots.clone(), s.sampled_on, depth, s.sub_sample.clone())
        };
        let Some(found) = sampling(row).filter(|s| keys.is_new(row, "sampling", s.key.clone(), "this sampling")) else {
            return;
        };
        let what = "the same plots, day and depth (give repeats a sub_sample)";
        if seen.is_new(row, "sampling", natural(&found), what) {
            set.samplings.push(found);
        }
    });
    determinations(&each, &mut set);
    let mut seen = Seen::default();
    each(&APPLICATIONS, &mut |row| {
        let key = |a: &ApplicationRow| {
            let mass = a.mass_g.to_bits();
            (a.plot.to_lowercase(), a.applied_on, a.amendment.to_lowercase(), mass, a.method.clone(), a.note.clone())
        };
        let what = "the same application (if it was given twice, tell them apart in the note)";
        set.applications.extend(application(row).filter(|a| seen.is_new(row, "", key(a), what)));
    });
    let mut seen = Seen::default();
    each(&CROPPINGS, &mut |row| {
        let key = |c: &CroppingRow| (c.plot.to_lowercase(), c.season.clone(), c.crop.clone(), c.sown_on);
        set.croppings.extend(cropping(row).filter(|c| seen.is_new(row, "", key(c), "this cropping")));
    });
    let mut seen = Seen::default();
    each(&HARVESTS, &mut |row| {
        let key = |h: &HarvestRow| {
            let mass = h.fresh_mass_kg.to_bits();
            (h.plot.to_lowercase(), h.harvested_on, h.crop.clone(), mass, h.note.clone())
        };
        let what = "the same harvest (if there were two, tell them apart in the note)";
        set.harvests.extend(harvest(row).filter(|h| seen.is_new(row, "", key(h), what)));
    });
    (set, problems.into_inner().finish())
}

/// Keys met so far in a file, with the line of each.
struct Seen<K>(HashMap<K, u64>);

impl<K> Default for Seen<K> {
    fn default() -> Self {
        Seen(HashMap::new())
    }
}

impl<K: Hash + Eq> Seen<K> {
    /// Notes a key; tells of it and says no where it was met before.
    fn is_new(&mut self, row: &Row, column: &str, key: K, what: &str) -> bool {
        match self.0.get(&key) {
            Some(line) => {
                row.problem(column, format!("line {line} already has {what}"));
                false
            }
            None => {
                self.0.insert(key, row.line);
                true
            }
        }
    }
}

fn owned(text: &str) -> Option<String> {
    (!text.is_empty()).then(|| text.to_owned())
}

fn plot(row: &Row) -> Option<PlotRow> {
    let code = row.needed("plot");
    let area = row.number("area_m2", &Limits::AREA_M2);
    let cover = row.key("cover", Some(Cover::Open));
    let texture = row.key("texture", None);
    let bulk_density = row.number_if_any("bulk_density_g_per_cm3", &Limits::BULK_DENSITY);
    let depth = row.number("depth_cm", &Limits::DEPTH_CM);
    let stones = row.number_if_any("stones_percent", &STONES);
    let land_use = row.key("land_use", Some(LandUse::default()));
    let began_on = row.date_if_any("began_on");
    let code = code?;
    if code.chars().count() > 20 || code.contains('|') {
        row.problem("plot", format!("“{code}” will not go on a peg: 20 signs at most, none of them |"));
        return None;
    }
    Some(PlotRow {
        line: row.line,
        code: code.to_owned(),
        name: owned(row.text("name")).unwrap_or_else(|| code.to_owned()),
        block: owned(row.text("block")),
        ground: Ground {
            area: SquareMetres(area?),
            cover: cover?,
            texture: texture?,
            bulk_density: bulk_density?.map(GramsPerCm3),
            depth: Centimetres(depth?),
            stones: stones?.unwrap_or(0.0) / 100.0,
        },
        land_use: land_use?,
        began_on: began_on?,
        note: row.text("note").to_owned(),
    })
}

fn season(row: &Row) -> Option<SeasonRow> {
    let (name, starts_on, ends_on) = (row.needed("season"), row.date_ahead("starts_on"), row.date_ahead("ends_on"));
    let season = SeasonRow { line: row.line, name: name?.to_owned(), starts_on: starts_on?, ends_on: ends_on? };
    if season.ends_on < season.starts_on {
        row.problem("ends_on", "the season ends before it starts");
        return None;
    }
    Some(season)
}

fn amendment(row: &Row) -> Option<AmendmentRow> {
    let name = row.needed("amendment");
    let kind = row.key("kind", None);
    let (liquid, manure) = (row.yes("liquid"), row.yes("manure"));
    let valid_from = row.date("valid_from");
    let source = row.needed("source");
    let neutralising_value = row.number_if_any("neutralising_value_percent", &Limits::NEUTRALISING);
    let moisture = row.number_if_any("moisture_percent", &MOISTURE);
    let parts = composition(row);
    Some(AmendmentRow {
        line: row.line,
        name: name?.to_owned(),
        kind: kind?,
        liquid: liquid?,
        manure: manure?,
        supplier: row.text("supplier").to_owned(),
        valid_from: valid_from?,
        label: row.text("label").to_owned(),
        source: source?.to_owned(),
        neutralising_value: neutralising_value?,
        moisture: moisture?.map(|percent| percent / 100.0),
        parts: parts?,
        note: row.text("note").to_owned(),
    })
}

/// The columns of a product's composition, brought to elements.
fn composition(row: &Row) -> Option<BTreeMap<Element, Part>> {
    let mut parts: BTreeMap<Element, Part> = BTreeMap::new();
    let mut available = BTreeMap::new();
    let (mut printed_percent, mut sound) = (0.0, true);
    for (column, part) in row.columns().filter_map(|column| Some((column, Composition::of(column)?))) {
        let percent = match row.number_if_any(column, &Limits::PERCENT) {
            Some(Some(percent)) => percent,
            Some(None) => continue,
            None => {
                sound = false;
                continue;
            }
        };
        let (element, fraction) = match part {
            Composition::Element(element) => (element, percent / 100.0),
            Composition::Form(form) => (form.element(), percent / 100.0 * form.to_element()),
            Composition::Available(element) => {
                available.insert(element, percent / 100.0);
                continue;
            }
        };
        printed_percent += percent;
        let twice = parts.insert(element, Part { mass_fraction: fraction, first_year_availability: 1.0 });
        if twice.is_some() {
            row.problem(
                column,
                format!("{element} is given twice: as the element and in another form, or in two forms"),
            );
            sound = false;
        }
    }
    if printed_percent > 100.0 + 1e-9 {
        row.problem("", format!("the analysis adds up to {printed_percent:.1} %, which is more than the whole bag"));
        sound = false;
    }
    for (element, share) in available {
        match parts.get_mut(&element) {
            Some(part) => part.first_year_availability = share,
            None => {
                let column = Composition::Available(element).column();
                row.problem(&column, format!("says how much of the {element} is free, and no {element} is given"));
                sound = false;
            }
        }
    }
    sound.then_some(parts)
}

fn sampling(row: &Row) -> Option<SamplingRow> {
    let key = row.needed("sampling");
    let plots = row.needed("plots");
    let sampled_on = row.date("sampled_on");
    let date_assumed = row.yes("date_assumed");
    let top = row.number_if_any("depth_top_cm", &Limits::TOP_CM);
    let bottom = row.number_if_any("depth_bottom_cm", &Limits::DEPTH_CM);
    let cores = row.number_if_any("cores", &CORES);
    let class = row.key_if_any("fizz_class");
    let acid = row.key_if_any("fizz_acid");

    let mut codes: Vec<String> = plots?.split('|').map(|code| code.trim().to_owned()).collect();
    codes.sort();
    let named = codes.len();
    codes.dedup();
    if codes.iter().any(String::is_empty) || codes.len() < named {
        row.problem("plots", format!("“{}” names a plot twice or none between two |", row.text("plots")));
        return None;
    }
    let depth = match (top?, bottom?) {
        (None, None) => None,
        (Some(top), Some(bottom)) if top < bottom => {
            Some(DepthBand { top: Centimetres(top), bottom: Centimetres(bottom) })
        }
        (Some(_), Some(_)) => {
            row.problem("depth_bottom_cm", "the bottom of the layer must be deeper than its top");
            return None;
        }
        (top, _) => {
            let column = if top.is_none() { "depth_top_cm" } else { "depth_bottom_cm" };
            row.problem(column, "a layer has a top and a bottom: write both, or neither");
            return None;
        }
    };
    let fizz = match (class?, acid?) {
        (Some(class), acid) => Some(Fizz { acid: acid.unwrap_or(FizzAcid::Unknown), class }),
        (None, None) => None,
        (None, Some(_)) => {
            row.problem("fizz_class", "an acid is named, but not what was seen");
            return None;
        }
    };
    Some(SamplingRow {
        line: row.line,
        key: key?.to_owned(),
        plots: codes,
        sampled_on: sampled_on?,
        date_assumed: date_assumed?,
        depth,
        cores: cores?.map(|n| n as u32),
        fizz,
        sub_sample: owned(row.text("sub_sample")),
        sampler: row.text("sampler").to_owned(),
        note: row.text("note").to_owned(),
    })
}

/// What distinguishes one cell of a report from another.
type CellIdentity = (usize, Analyte, Method, Unit, Option<Form>, Basis);

/// Reads determinations.csv, gathering its lines into reports.
fn determinations(each: &dyn Fn(&'static FileSpec, &mut dyn FnMut(&Row)), set: &mut RecordSet) {
    let samplings: HashMap<String, usize> =
        set.samplings.iter().enumerate().map(|(at, sampling)| (sampling.key.clone(), at)).collect();
    let mut reports: HashMap<(usize, String, String), usize> = HashMap::new();
    let mut seen: Seen<CellIdentity> = Seen::default();
    let mut analytes: Words<Analyte> = Words::default();
    let mut methods: Words<Method> = Words::default();
    let mut units: Words<Unit> = Words::default();
    each(&DETERMINATIONS, &mut |row| {
        let sampling = row.needed("sampling").and_then(|key| {
            let at = samplings.get(key).copied();
            if at.is_none() {
                row.problem("sampling", format!("“{key}” is not in samplings.csv, or could not be read there"));
            }
            at
        });
        let lab = row.needed("lab");
        let reported_on = row.date_if_any("reported_on");
        let analyte = analytes.read(row, "analyte");
        let method = match row.text("method") {
            "" => {
                row.problem(
                    "method",
                    "no method: without it no limit applies. Write unstated if the sheet does not say",
                );
                None
            }
            _ => methods.read(row, "method"),
        };
        let printed = printed(row);
        let unit = match (row.text("unit"), analyte) {
            ("", Some(Analyte::Ph | Analyte::BufferPh)) => Some(Unit::Ph),
            _ => row.needed("unit").and_then(|_| units.read(row, "unit")),
        };
        let form = form(row, analyte);
        let basis = row.key("basis", Some(Basis::Mass));
        let layer = layer(row, unit);
        let (Some(sampling), Some(lab), Some(reported_on)) = (sampling, lab, reported_on) else { return };
        let key = (sampling, lab.to_owned(), row.text("report").to_owned());
        let report = *reports.entry(key).or_insert_with_key(|(_, lab, reference)| {
            let (lab, reference) = (lab.clone(), reference.clone());
            let (line, note) = (row.line, row.text("report_note").to_owned());
            set.reports.push(ReportRow { line, sampling, lab, reference, reported_on, note });
            set.reports.len() - 1
        });
        let first = &set.reports[report];
        if first.reported_on != reported_on {
            row.problem("reported_on", format!("line {} has another day for this report", first.line));
        }
        if first.note != row.text("report_note") {
            row.problem("report_note", format!("line {} has another note for this report", first.line));
        }
        let (Some(analyte), Some(method), Some(printed)) = (analyte, method, printed) else { return };
        let (Some(unit), Some(form), Some(basis), Some(layer)) = (unit, form, basis, layer) else { return };
        let identity = (report, analyte, method.clone(), unit, form, basis);
        if seen.is_new(row, "analyte", identity, "this analyte by this method in this report") {
            set.cells.push(CellRow { line: row.line, report, analyte, method, printed, unit, form, basis, layer });
        }
    });
}

/// Words read before: a set has a few dozen of them and a million cells.
struct Words<T>(HashMap<String, T>);

impl<T> Default for Words<T> {
    fn default() -> Self {
        Words(HashMap::new())
    }
}

impl<T: FromStr<Err = String> + Clone> Words<T> {
    fn read(&mut self, row: &Row, column: &str) -> Option<T> {
        if let Some(known) = self.0.get(row.text(column)) {
            return Some(known.clone());
        }
        let read = row.key(column, None)?;
        self.0.insert(row.text(column).to_owned(), T::clone(&read));
        Some(read)
    }
}

fn printed(row: &Row) -> Option<PrintedValue> {
    match parse_printed(row.text("printed")) {
        Ok(Cell::Value { printed, .. }) => {
            if printed.decimals > 12 || printed.value.is_some_and(|value| value >= 1e12) {
                row.problem("printed", format!("“{}” is not a number that a lab can measure", printed.text));
                return None;
            }
            debug_assert_eq!(printed.value.is_none(), printed.qualifier == Qualifier::NotDetected);
            Some(printed)
        }
        Ok(Cell::Empty) => {
            row.problem("printed", "nothing is printed here: leave the line out where it was not tested");
            None
        }
        Err(problem) => {
            row.problem("printed", problem.sentence);
            None
        }
    }
}

/// The form printed, which must be one of the analyte's own element.
fn form(row: &Row, analyte: Option<Analyte>) -> Option<Option<Form>> {
    let form: Option<Form> = row.key_if_any("form")?;
    let Some(form) = form else { return Some(None) };
    match analyte?.element() {
        Some(element) if element == form.element() => Some(Some(form)),
        _ => {
            row.problem("form", format!("{form} is not a form of “{}”", row.text("analyte")));
            None
        }
    }
}

/// The soil mass behind a unit per area, without which such a unit says nothing.
fn layer(row: &Row, unit: Option<Unit>) -> Option<Option<&'static str>> {
    let known = || LAYER_CONVENTIONS.iter().map(|c| c.slug).collect::<Vec<_>>().join(", ");
    match (row.text("layer"), unit) {
        ("", Some(unit)) if unit.is_per_area() => {
            row.problem("layer", format!("{unit} needs the soil mass that the lab reckons with: {}", known()));
            None
        }
        ("", _) => Some(None),
        (text, _) => {
            let found = LAYER_CONVENTIONS.iter().find(|convention| convention.slug == text);
            if found.is_none() {
                row.problem("layer", format!("“{text}” is not one of: {}", known()));
            }
            found.map(|convention| Some(convention.slug))
        }
    }
}

fn application(row: &Row) -> Option<ApplicationRow> {
    let (plot, applied_on, amendment) = (row.needed("plot"), row.date("applied_on"), row.needed("amendment"));
    let mass_g = row.number("mass_g", &Limits::MASS_G);
    Some(ApplicationRow {
        line: row.line,
        plot: plot?.to_owned(),
        applied_on: applied_on?,
        amendment: amendment?.to_owned(),
        mass_g: mass_g?,
        method: row.text("method").to_owned(),
        person: row.text("person").to_owned(),
        note: row.text("note").to_owned(),
    })
}

fn cropping(row: &Row) -> Option<CroppingRow> {
    let (plot, season, crop) = (row.needed("plot"), row.needed("season"), row.needed("crop"));
    let sown_on = if row.text("sown_on").is_empty() { Some(None) } else { row.date_ahead("sown_on").map(Some) };
    Some(CroppingRow {
        line: row.line,
        plot: plot?.to_owned(),
        season: season?.to_owned(),
        crop: crop?.to_owned(),
        sown_on: sown_on?,
        note: row.text("note").to_owned(),
    })
}

fn harvest(row: &Row) -> Option<HarvestRow> {
    let (plot, harvested_on) = (row.needed("plot"), row.date("harvested_on"));
    let fresh_mass_kg = row.number("fresh_mass_kg", &Limits::HARVEST_KG);
    let figures = figures(row);
    let fresh_mass_kg = fresh_mass_kg?;
    let crop = owned(row.text("crop"));
    if crop.is_some() != (fresh_mass_kg > 0.0) {
        row.problem(
            "crop",
            "a harvest has a crop and a mass above 0; a statement that nothing left has no crop and a mass of 0",
        );
        return None;
    }
    Some(HarvestRow {
        line: row.line,
        plot: plot?.to_owned(),
        harvested_on: harvested_on?,
        crop,
        fresh_mass_kg,
        figures: figures?,
        person: row.text("person").to_owned(),
        note: row.text("note").to_owned(),
    })
}

/// The removal figures that a line names: one table, own ones, or what is best known.
fn figures(row: &Row) -> Option<Figures> {
    let table = row.text("table");
    if !table.is_empty() && !offtake::rows().iter().any(|known| known.table == table) {
        row.problem("table", format!("“{table}” is not a removal table known here"));
        return None;
    }
    let mut kg_per_t = BTreeMap::new();
    for pair in row.text("own_kg_per_t").split_whitespace() {
        let read = pair.split_once('=').and_then(|(symbol, figure)| {
            let element: Element = symbol.parse().ok()?;
            Some((element, parse_quantity(figure, &Limits::KG_PER_T).ok()?.value))
        });
        let Some((element, figure)) = read else {
            row.problem("own_kg_per_t", format!("“{pair}” is not a figure: write K=3.1, from 0 to 100 kg in a tonne"));
            return None;
        };
        kg_per_t.insert(element, figure);
    }
    let words = row.text("own_source").to_owned();
    match (kg_per_t.is_empty(), table.is_empty()) {
        (false, false) => {
            row.problem("table", "own figures and a table are both named: leave one out");
            None
        }
        (false, true) => Some(Figures::Own { kg_per_t, words }),
        (true, false) => Some(Figures::Table(table.to_owned())),
        (true, true) => Some(Figures::Tables),
    }
}
