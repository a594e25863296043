//! A set of files beside the record: which lines are there already, which are new and with
//! what numbers, and which cannot stand. Reads; changes nothing.

use super::{Count, ImportProblem, Preview, Result};
use crate::{
    agronomy::{
        amendment::{self, Analysis},
        analyte::Analyte,
        crop::Crop,
        element::Form,
        method::Method,
        record::{Basis, DepthBand, Unit},
        source::{Citation, Evidence},
    },
    exchange::record_set::*,
    ids::*,
    store::{
        self, Db,
        bulk::{self, Batch, Next},
        plots::PlotRow as PlotFound,
    },
};
use jiff::civil::Date;
use std::collections::{BTreeMap, HashMap, HashSet, btree_map::Entry};

/// The rows to add, and what to tell about them.
pub(super) struct Resolved {
    pub preview: Preview,
    pub batch: Batch,
}

/// Compares a set with what the record holds. `site` is `None` for one that is not there yet.
pub(super) async fn resolve(
    db: &mut Db,
    site: Option<SiteId>,
    set: RecordSet,
    problems: Vec<ImportProblem>,
) -> Result<Resolved> {
    let mut work = Work {
        next: bulk::next(db).await?,
        batch: Batch::default(),
        preview: Preview { new_site: site.is_none(), problems, ..Preview::default() },
    };
    let plots = match site {
        Some(site) => store::plots::plots(db, site, true).await?,
        None => vec![],
    };
    let blocks = match site {
        Some(site) => store::plots::blocks(db, site).await?.into_iter().map(|block| (block.name, block.id)).collect(),
        None => BTreeMap::new(),
    };
    let plots = work.plots(plots, blocks, set.plots);
    let seasons = match site {
        Some(site) => bulk::seasons(db, site).await?,
        None => vec![],
    };
    let seasons = work.seasons(seasons, set.seasons);
    let amendments = work.amendments(bulk::analyses(db).await?, set.amendments);

    let (samplings, reports) = match site {
        Some(site) => (bulk::samplings(db, site).await?, bulk::reports(db, site).await?),
        None => (vec![], vec![]),
    };
    let samplings = work.samplings(samplings, &plots, set.samplings);
    let reports = work.reports(reports, &samplings, set.reports);
    let known: Vec<ReportId> =
        reports.iter().flatten().filter(|report| report.cells > 0).map(|report| report.id).collect();
    let cells = bulk::cells(db, &known).await?;
    work.cells(cells, &reports, set.cells);

    let applications = match site {
        Some(site) => bulk::applications(db, site).await?,
        None => vec![],
    };
    work.applications(applications, &plots, &amendments, set.applications);
    let croppings = match site {
        Some(site) => bulk::croppings(db, site).await?,
        None => vec![],
    };
    work.croppings(croppings, &plots, &seasons, set.croppings);
    let harvests = match site {
        Some(site) => bulk::harvests(db, site).await?,
        None => vec![],
    };
    let spans = match site {
        Some(site) => bulk::seasons(db, site).await?,
        None => vec![],
    };
    work.harvests(harvests, &plots, &spans, set.harvests);
    Ok(Resolved { preview: work.preview, batch: work.batch })
}

/// The comparison as it goes: numbers still free, rows found new, what to tell.
struct Work {
    next: Next,
    batch: Batch,
    preview: Preview,
}

/// A report of the set, with its number and the results it had before.
#[derive(Clone, Copy)]
struct ReportPlace {
    id: ReportId,
    cells: i64,
}

/// What tells one printed result of a report from another.
type CellKey = (ReportId, Analyte, Method, Unit, Option<Form>, Basis);

/// Takes the next number.
fn take<T: From<i64>>(next: &mut i64) -> T {
    *next += 1;
    T::from(*next - 1)
}

impl Work {
    fn problem(&mut self, file: &FileSpec, line: u64, column: &str, message: impl Into<String>) {
        let (file, column, message) = (file.name.into(), column.into(), message.into());
        self.preview.problems.push(ImportProblem { file, line, column, message });
    }

    fn notice(&mut self, file: &FileSpec, line: u64, column: &str, message: impl Into<String>) {
        let (file, column, message) = (file.name.into(), column.into(), message.into());
        self.preview.notices.push(ImportProblem { file, line, column, message });
    }

    fn count(&mut self, what: &'static str, in_files: usize, new: usize) {
        self.preview.counts.push((what, Count { in_files, new }));
    }

    /// The plot of a code, or a problem by the line that names it.
    fn plot(
        &mut self,
        plots: &HashMap<String, PlotId>,
        (file, line, column): (&FileSpec, u64, &str),
        code: &str,
    ) -> Option<PlotId> {
        let found = plots.get(code).copied();
        if found.is_none() {
            let what = format!("“{code}” is neither in plots.csv nor a plot of this site");
            self.problem(file, line, column, what);
        }
        found
    }

    fn plots(
        &mut self,
        found: Vec<PlotFound>,
        mut blocks: BTreeMap<String, BlockId>,
        rows: Vec<PlotRow>,
    ) -> HashMap<String, PlotId> {
        let in_files = rows.len();
        let mut position = found.iter().map(|plot| plot.position).max().unwrap_or(0);
        let mut ids: HashMap<String, PlotId> = found.iter().map(|plot| (plot.code.clone(), plot.id)).collect();
        let by_code: HashMap<&str, &PlotFound> = found.iter().map(|plot| (plot.code.as_str(), plot)).collect();
        for row in rows {
            if let Some(plot) = by_code.get(row.code.as_str()) {
                let differing = differing(plot, &row);
                if !differing.is_empty() {
                    let what = format!("in the record already with another {}; the record stays", differing.join(", "));
                    self.notice(&PLOTS, row.line, "plot", what);
                }
                continue;
            }
            let block = row.block.map(|name| match blocks.entry(name) {
                Entry::Occupied(entry) => *entry.get(),
                Entry::Vacant(entry) => {
                    let id = take(&mut self.next.block);
                    self.batch.blocks.push((id, entry.key().clone()));
                    *entry.insert(id)
                }
            });
            position += 1;
            let id = take(&mut self.next.plot);
            ids.insert(row.code.clone(), id);
            let PlotRow { code, name, ground, land_use, began_on, note, .. } = row;
            self.batch.plots.push(bulk::NewPlot { id, block, name, code, ground, land_use, began_on, position, note });
        }
        self.count("plots", in_files, self.batch.plots.len());
        ids
    }

    fn seasons(&mut self, found: Vec<bulk::SeasonRow>, rows: Vec<SeasonRow>) -> HashMap<String, SeasonId> {
        let in_files = rows.len();
        let mut ids: HashMap<String, SeasonId> = found.iter().map(|season| (season.name.clone(), season.id)).collect();
        for row in rows {
            match found.iter().find(|season| season.name == row.name) {
                None => {
                    let id = take(&mut self.next.season);
                    ids.insert(row.name.clone(), id);
                    let SeasonRow { name, starts_on, ends_on, .. } = row;
                    self.batch.seasons.push(bulk::SeasonRow { id, name, starts_on, ends_on });
                }
                Some(season) if (season.starts_on, season.ends_on) != (row.starts_on, row.ends_on) => {
                    let what = format!(
                        "in the record already from {} to {}; the record stays",
                        season.starts_on, season.ends_on
                    );
                    self.notice(&SEASONS, row.line, "season", what);
                }
                Some(_) => {}
            }
        }
        self.count("seasons", in_files, self.batch.seasons.len());
        ids
    }

    /// Gives the analyses of every amendment by name, by the day from which each holds.
    fn amendments(&mut self, found: Vec<bulk::AnalysisFound>, rows: Vec<AmendmentRow>) -> HashMap<String, Analyses> {
        let in_files = rows.len();
        let mut all: HashMap<String, Analyses> = HashMap::new();
        for analysis in found {
            let entry = all.entry(analysis.name).or_insert_with(|| Analyses::of(analysis.amendment));
            entry.by_day.insert(analysis.valid_from, analysis.id);
        }
        for row in rows {
            for wrong in analysis(&row).problems() {
                self.problem(&AMENDMENTS, row.line, "", wrong);
            }
            if all.get(&row.name).is_some_and(|known| known.by_day.contains_key(&row.valid_from)) {
                continue;
            }
            let known = all.entry(row.name.clone()).or_insert_with(|| {
                let id = take(&mut self.next.amendment);
                let AmendmentRow { name, supplier, kind, liquid, manure, note, .. } = row.clone();
                self.batch.amendments.push(bulk::NewAmendment { id, name, supplier, kind, liquid, manure, note });
                Analyses::of(id)
            });
            let id = take(&mut self.next.analysis);
            known.by_day.insert(row.valid_from, id);
            self.batch.analyses.push(bulk::NewAnalysis {
                id,
                amendment: known.amendment,
                valid_from: row.valid_from,
                analysis: analysis(&row),
            });
        }
        self.count("analyses of amendments", in_files, self.batch.analyses.len());
        all
    }

    /// Gives the number of each sampling of the set, in its order; `None` where its plots are not known.
    fn samplings(
        &mut self,
        found: Vec<bulk::SamplingFound>,
        plots: &HashMap<String, PlotId>,
        rows: Vec<SamplingRow>,
    ) -> Vec<Option<SamplingId>> {
        let in_files = rows.len();
        type Key = (Vec<PlotId>, Date, Option<(u64, u64)>, Option<String>);
        let bits = |top: f64, bottom: f64| (top.to_bits(), bottom.to_bits());
        let mut known: HashMap<Key, (SamplingId, bool)> = HashMap::new();
        for sampling in found {
            let depth = sampling.depth_top_cm.zip(sampling.depth_bottom_cm).map(|(top, bottom)| bits(top, bottom));
            let key = (sampling.plots, sampling.sampled_on, depth, sampling.sub_sample);
            known.entry(key).or_insert((sampling.id, sampling.voided)); // those that stand come first
        }
        let mut ids = Vec::with_capacity(rows.len());
        for row in rows {
            let place = (&SAMPLINGS, row.line, "plots");
            let mut of: Vec<PlotId> = row.plots.iter().filter_map(|code| self.plot(plots, place, code)).collect();
            of.sort();
            if of.len() < row.plots.len() {
                ids.push(None);
                continue;
            }
            let depth = row.depth.map(|DepthBand { top, bottom }| bits(top.0, bottom.0));
            let key = (of.clone(), row.sampled_on, depth, row.sub_sample.clone());
            if let Some((id, voided)) = known.get(&key) {
                if *voided {
                    self.notice(&SAMPLINGS, row.line, "sampling", "was voided in the record, and stays so");
                }
                ids.push(Some(*id));
                continue;
            }
            let id = take(&mut self.next.sampling);
            ids.push(Some(id));
            let SamplingRow { sampled_on, date_assumed, depth, cores, fizz, sub_sample, sampler, note, .. } = row;
            self.batch.samplings.push(bulk::NewSampling {
                id,
                plots: of,
                sampled_on,
                date_assumed,
                depth,
                cores,
                fizz,
                sub_sample,
                sampler,
                note,
            });
        }
        self.count("samplings", in_files, self.batch.samplings.len());
        ids
    }

    fn reports(
        &mut self,
        found: Vec<bulk::ReportFound>,
        samplings: &[Option<SamplingId>],
        rows: Vec<ReportRow>,
    ) -> Vec<Option<ReportPlace>> {
        let in_files = rows.len();
        let mut known: HashMap<(SamplingId, String, String), ReportPlace> = HashMap::new();
        for report in found {
            let place = ReportPlace { id: report.id, cells: report.cells };
            known.entry((report.sampling, report.lab, report.reference)).or_insert(place);
        }
        let mut places = Vec::with_capacity(rows.len());
        for row in rows {
            let Some(sampling) = samplings[row.sampling] else {
                places.push(None);
                continue;
            };
            let ReportRow { lab, reference, reported_on, note, .. } = row;
            let key = (sampling, lab, reference);
            if let Some(place) = known.get(&key) {
                places.push(Some(*place));
                continue;
            }
            let (id, (sampling, lab, reference)) = (take(&mut self.next.report), key);
            places.push(Some(ReportPlace { id, cells: 0 }));
            self.batch.reports.push(bulk::NewReport { id, sampling, lab, reference, reported_on, note });
        }
        self.count("reports", in_files, self.batch.reports.len());
        places
    }

    fn cells(&mut self, found: Vec<bulk::CellFound>, reports: &[Option<ReportPlace>], rows: Vec<CellRow>) {
        let in_files = rows.len();
        let mut known: HashMap<CellKey, Vec<String>> = HashMap::new();
        for cell in found {
            let key = (cell.report, cell.analyte, cell.method, cell.unit, cell.form, cell.basis);
            known.entry(key).or_default().push(cell.printed);
        }
        let mut positions: Vec<i64> = reports.iter().map(|place| place.map_or(0, |place| place.cells)).collect();
        self.batch.cells.reserve(rows.len());
        for row in rows {
            let Some(place) = reports[row.report] else { continue };
            let CellRow { line, report, analyte, method, printed, unit, form, basis, layer } = row;
            // Only a report that was there before can hold anything already.
            if place.cells > 0 {
                let before = known.get(&(place.id, analyte, method.clone(), unit, form, basis));
                if let Some(before) = before {
                    if !before.contains(&printed.text) {
                        let what = format!(
                            "the record has “{}” here, not “{}”: correct it there, with a reason",
                            before.last().map_or("", String::as_str),
                            printed.text
                        );
                        self.problem(&DETERMINATIONS, line, "printed", what);
                    }
                    continue;
                }
            }
            let position = positions[report];
            positions[report] += 1;
            let report = place.id;
            self.batch.cells.push(bulk::NewCell {
                report,
                position,
                analyte,
                method,
                printed,
                unit,
                form,
                basis,
                layer,
            });
        }
        self.count("determinations", in_files, self.batch.cells.len());
    }

    fn applications(
        &mut self,
        found: Vec<bulk::ApplicationFound>,
        plots: &HashMap<String, PlotId>,
        amendments: &HashMap<String, Analyses>,
        rows: Vec<ApplicationRow>,
    ) {
        let in_files = rows.len();
        let known: HashSet<(PlotId, Date, AmendmentId, u64, String, String)> = found
            .into_iter()
            .map(|a| (a.plot, a.applied_on, a.amendment, a.mass_g.to_bits(), a.method, a.note))
            .collect();
        for row in rows {
            let plot = self.plot(plots, (&APPLICATIONS, row.line, "plot"), &row.plot);
            let analyses = amendments.get(&row.amendment);
            if analyses.is_none() {
                let what = format!("“{}” is neither in amendments.csv nor in the record", row.amendment);
                self.problem(&APPLICATIONS, row.line, "amendment", what);
            }
            let (Some(plot), Some(analyses)) = (plot, analyses) else { continue };
            let Some(analysis) = analyses.on(row.applied_on) else { continue };
            let ApplicationRow { applied_on, mass_g, method, person, note, .. } = row;
            let amendment = analyses.amendment;
            if known.contains(&(plot, applied_on, amendment, mass_g.to_bits(), method.clone(), note.clone())) {
                continue;
            }
            self.batch.applications.push(bulk::NewApplication {
                plot,
                applied_on,
                amendment,
                analysis,
                mass_g,
                method,
                person_name: person,
                note,
            });
        }
        self.count("applications", in_files, self.batch.applications.len());
    }

    fn croppings(
        &mut self,
        found: Vec<bulk::CroppingFound>,
        plots: &HashMap<String, PlotId>,
        seasons: &HashMap<String, SeasonId>,
        rows: Vec<CroppingRow>,
    ) {
        let in_files = rows.len();
        let known: HashSet<(PlotId, SeasonId, String, Option<Date>)> =
            found.into_iter().map(|c| (c.plot, c.season, c.crop, c.sown_on)).collect();
        for row in rows {
            let plot = self.plot(plots, (&CROPPINGS, row.line, "plot"), &row.plot);
            let season = seasons.get(&row.season).copied();
            if season.is_none() {
                let what = format!("“{}” is neither in seasons.csv nor a season of this site", row.season);
                self.problem(&CROPPINGS, row.line, "season", what);
            }
            let crop = match Crop::find(&row.crop) {
                Some(crop) => crop.slug.to_owned(),
                None => {
                    let what = format!("“{}” is not a crop known here; the cautious rules will hold for it", row.crop);
                    self.notice(&CROPPINGS, row.line, "crop", what);
                    row.crop.clone()
                }
            };
            let (Some(plot), Some(season)) = (plot, season) else { continue };
            if !known.contains(&(plot, season, crop.clone(), row.sown_on)) {
                let (sown_on, note) = (row.sown_on, row.note);
                self.batch.croppings.push(bulk::NewCropping { plot, season, crop, sown_on, note });
            }
        }
        self.count("croppings", in_files, self.batch.croppings.len());
    }
}

impl Work {
    fn harvests(
        &mut self,
        found: Vec<bulk::HarvestFound>,
        plots: &HashMap<String, PlotId>,
        seasons: &[bulk::SeasonRow],
        rows: Vec<HarvestRow>,
    ) {
        let in_files = rows.len();
        let known: HashSet<(PlotId, Date, Option<String>, u64, String)> =
            found.into_iter().map(|h| (h.plot, h.harvested_on, h.crop, h.fresh_mass_kg.to_bits(), h.note)).collect();
        for row in rows {
            let plot = self.plot(plots, (&HARVESTS, row.line, "plot"), &row.plot);
            let crop = row.crop.as_ref().map(|named| match Crop::find(named) {
                Some(crop) => crop.slug.to_owned(),
                None => {
                    let what = format!(
                        "“{named}” is not a crop known here; what it carried away stays unknown, own figures aside"
                    );
                    self.notice(&HARVESTS, row.line, "crop", what);
                    named.clone()
                }
            });
            let Some(plot) = plot else { continue };
            let HarvestRow { harvested_on, fresh_mass_kg, figures, person, note, .. } = row;
            if known.contains(&(plot, harvested_on, crop.clone(), fresh_mass_kg.to_bits(), note.clone())) {
                continue;
            }
            let holds = |season: &&bulk::SeasonRow| season.starts_on <= harvested_on && harvested_on <= season.ends_on;
            let season = seasons.iter().chain(&self.batch.seasons).filter(holds).min_by_key(|s| (s.starts_on, s.id));
            let season = season.map(|season| season.id);
            self.batch.harvests.push(bulk::NewHarvest {
                plot,
                season,
                crop,
                harvested_on,
                fresh_mass_kg,
                figures,
                person_name: person,
                note,
            });
        }
        self.count("harvests", in_files, self.batch.harvests.len());
    }
}

/// The dated analyses of one amendment.
struct Analyses {
    amendment: AmendmentId,
    by_day: BTreeMap<Date, AnalysisId>,
}

impl Analyses {
    fn of(amendment: AmendmentId) -> Analyses {
        Analyses { amendment, by_day: BTreeMap::new() }
    }

    /// The analysis in force on a day: the newest that holds by then, or the oldest there is.
    fn on(&self, day: Date) -> Option<AnalysisId> {
        let newest = self.by_day.range(..=day).next_back();
        newest.or_else(|| self.by_day.first_key_value()).map(|(_, id)| *id)
    }
}

/// The composition that a line states. The file says what somebody read; nobody here saw it.
fn analysis(row: &AmendmentRow) -> Analysis {
    let source = Citation {
        publisher: String::new(),
        title: row.source.clone(),
        year: 0,
        address: String::new(),
        evidence: Evidence::Quoted,
    };
    let parts = row.parts.iter().map(|(element, part)| {
        let part = amendment::Part {
            mass_fraction: part.mass_fraction,
            first_year_availability: part.first_year_availability,
            printed: format!("{} % {element}", percent(part.mass_fraction)),
            pure: None,
            source: source.clone(),
            availability_source: (part.first_year_availability < 1.0).then(|| source.clone()),
        };
        (*element, part)
    });
    Analysis {
        label: row.label.clone(),
        parts: parts.collect(),
        neutralising_value: row.neutralising_value,
        moisture: row.moisture,
        ammonium_n: row.ammonium_n,
        source: source.clone(),
    }
}

/// A fraction as percent, with the digits that a label has.
fn percent(fraction: f64) -> f64 {
    (fraction * 1e6).round() / 1e4
}

/// The columns in which a plot of the record differs from a line of the file.
fn differing(found: &PlotFound, row: &PlotRow) -> Vec<&'static str> {
    let (is, was) = (&row.ground, found.ground());
    let differences = [
        ("name", row.name != found.name),
        ("block", row.block.as_ref() != found.block_name.as_ref()),
        ("area_m2", is.area != was.area),
        ("cover", is.cover != was.cover),
        ("texture", is.texture != was.texture),
        ("bulk_density_g_per_cm3", is.bulk_density != was.bulk_density),
        ("depth_cm", is.depth != was.depth),
        ("stones_percent", (is.stones - was.stones).abs() > 1e-9),
        ("land_use", row.land_use != found.land_use),
        ("began_on", row.began_on != found.began_on),
        ("note", row.note != found.note),
    ];
    differences.into_iter().filter(|(_, differs)| *differs).map(|(column, _)| column).collect()
}
