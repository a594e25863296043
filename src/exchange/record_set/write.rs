//! From the values of a set to its files: what [`super::read`] reads back to the same values.

use super::*;
use csv::Writer;

/// Writes a set as files by name; a kind of row that is absent makes no file. Columns stand
/// in the order of [`FILES`], lines in the order of the set.
pub fn write(set: &RecordSet) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    let mut add = |spec: &FileSpec, columns: Vec<String>, rows: Vec<Vec<String>>| {
        if !rows.is_empty() {
            files.insert(spec.name.to_owned(), lines(&columns, &rows));
        }
    };
    let named = |spec: &FileSpec| spec.column_names().map(str::to_owned).collect::<Vec<_>>();
    add(&PLOTS, named(&PLOTS), set.plots.iter().map(plot).collect());
    add(&SEASONS, named(&SEASONS), set.seasons.iter().map(season).collect());
    let elements: Vec<Element> =
        Element::ALL.iter().copied().filter(|e| set.amendments.iter().any(|a| a.parts.contains_key(e))).collect();
    let composition = elements.iter().flat_map(|e| [Composition::Element(*e), Composition::Available(*e)]);
    let columns = named(&AMENDMENTS).into_iter().chain(composition.map(Composition::column)).collect();
    add(&AMENDMENTS, columns, set.amendments.iter().map(|a| amendment(a, &elements)).collect());
    add(&SAMPLINGS, named(&SAMPLINGS), set.samplings.iter().map(sampling).collect());
    add(&DETERMINATIONS, named(&DETERMINATIONS), set.cells.iter().map(|cell| determination(set, cell)).collect());
    add(&APPLICATIONS, named(&APPLICATIONS), set.applications.iter().map(application).collect());
    add(&CROPPINGS, named(&CROPPINGS), set.croppings.iter().map(cropping).collect());
    add(&HARVESTS, named(&HARVESTS), set.harvests.iter().map(harvest).collect());
    files
}

/// One file: the head, then the lines, quoted where RFC 4180 asks for it.
fn lines(columns: &[String], rows: &[Vec<String>]) -> Vec<u8> {
    let mut writer = Writer::from_writer(Vec::new());
    for row in std::iter::once(columns).chain(rows.iter().map(Vec::as_slice)) {
        writer.write_record(row).expect("memory takes what is written, and lines are as long as their head");
    }
    writer.into_inner().expect("memory can be flushed")
}

fn some(value: Option<impl ToString>) -> String {
    value.map_or_else(String::new, |value| value.to_string())
}

fn yes(value: bool) -> String {
    if value { "yes" } else { "no" }.to_owned()
}

/// A fraction as percent, no finer than the reader takes it.
fn percent(fraction: f64) -> String {
    ((fraction * 1e8).round() / 1e6).to_string()
}

fn plot(plot: &PlotRow) -> Vec<String> {
    let ground = &plot.ground;
    vec![
        plot.code.clone(),
        plot.name.clone(),
        some(plot.block.as_ref()),
        ground.area.0.to_string(),
        ground.cover.slug().into(),
        ground.texture.slug().into(),
        some(ground.bulk_density.map(|density| density.0)),
        ground.depth.0.to_string(),
        percent(ground.stones),
        plot.land_use.slug().into(),
        some(plot.began_on),
        plot.note.clone(),
    ]
}

fn season(season: &SeasonRow) -> Vec<String> {
    vec![season.name.clone(), season.starts_on.to_string(), season.ends_on.to_string()]
}

fn amendment(amendment: &AmendmentRow, elements: &[Element]) -> Vec<String> {
    let mut cells = vec![
        amendment.name.clone(),
        amendment.kind.slug().into(),
        yes(amendment.liquid),
        yes(amendment.manure),
        amendment.supplier.clone(),
        amendment.valid_from.to_string(),
        amendment.label.clone(),
        amendment.source.clone(),
        some(amendment.neutralising_value),
        some(amendment.moisture.map(percent)),
        some(amendment.ammonium_n.map(percent)),
        amendment.note.clone(),
    ];
    for element in elements {
        let part = amendment.parts.get(element);
        cells.push(some(part.map(|part| percent(part.mass_fraction))));
        cells.push(some(part.map(|part| percent(part.first_year_availability))));
    }
    cells
}

fn sampling(sampling: &SamplingRow) -> Vec<String> {
    vec![
        sampling.key.clone(),
        sampling.plots.join("|"),
        sampling.sampled_on.to_string(),
        yes(sampling.date_assumed),
        some(sampling.depth.map(|depth| depth.top.0)),
        some(sampling.depth.map(|depth| depth.bottom.0)),
        some(sampling.cores),
        some(sampling.fizz.map(|fizz| fizz.class.slug())),
        some(sampling.fizz.map(|fizz| fizz.acid.slug())),
        some(sampling.sub_sample.as_ref()),
        sampling.sampler.clone(),
        sampling.note.clone(),
    ]
}

fn determination(set: &RecordSet, cell: &CellRow) -> Vec<String> {
    let report = &set.reports[cell.report];
    vec![
        set.samplings[report.sampling].key.clone(),
        report.lab.clone(),
        report.reference.clone(),
        some(report.reported_on),
        report.note.clone(),
        cell.analyte.to_string(),
        cell.method.slug(),
        cell.printed.text.clone(),
        cell.unit.symbol().into(),
        some(cell.form),
        cell.basis.slug().into(),
        some(cell.layer),
    ]
}

fn application(application: &ApplicationRow) -> Vec<String> {
    vec![
        application.plot.clone(),
        application.applied_on.to_string(),
        application.amendment.clone(),
        application.mass_g.to_string(),
        application.method.clone(),
        application.person.clone(),
        application.note.clone(),
    ]
}

fn cropping(cropping: &CroppingRow) -> Vec<String> {
    vec![
        cropping.plot.clone(),
        cropping.season.clone(),
        cropping.crop.clone(),
        some(cropping.sown_on),
        cropping.note.clone(),
    ]
}

fn harvest(harvest: &HarvestRow) -> Vec<String> {
    let (table, own, words) = match &harvest.figures {
        Figures::Tables => (String::new(), String::new(), String::new()),
        Figures::Table(table) => (table.clone(), String::new(), String::new()),
        Figures::Own { kg_per_t, words } => {
            let figures: Vec<String> = kg_per_t.iter().map(|(element, value)| format!("{element}={value}")).collect();
            (String::new(), figures.join(" "), words.clone())
        }
    };
    vec![
        harvest.plot.clone(),
        harvest.harvested_on.to_string(),
        some(harvest.crop.clone()),
        harvest.fresh_mass_kg.to_string(),
        table,
        own,
        words,
        harvest.person.clone(),
        harvest.note.clone(),
    ]
}
