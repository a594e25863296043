//! The work of a review: tests from columns into runs, runs into verdicts, plot by plot on
//! every core. The rules are the trade's, and the same that a plot's own pages follow.

use crate::{
    agronomy::{
        analyte::Analyte,
        choice::Overrule,
        drift::{self, ErrorSettings, PlotDrift, REVIEWED, Segment, Test},
        guideline::{Guideline, LandUse, Rule},
        method::Method,
        reading::{Conversion, Reading},
        record::{CellKey, DepthBand, Report, Sampling},
        survey::{Basis, Survey},
        working::{Figure, Origin, Working},
    },
    app::{Result, plots::PlotRow, standing::of_line},
    ids::{PlotId, SamplingId},
    store::{self, Db, columns::Columns, samplings::Loaded},
};
use jiff::civil::Date;
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
    thread,
};

/// What decides about lime and salts, besides what is reviewed.
const SIGNS: [Analyte; 2] = [Analyte::Carbonate, Analyte::Conductivity];

/// Plots to a thread, at least: below, starting it costs more than it gains.
const PLOTS_TO_A_THREAD: usize = 64;

/// The analytes whose tests a review under this guideline rests on.
pub(super) fn needed_analytes(guideline: &Guideline) -> Vec<Analyte> {
    match goes_by_capacity(guideline) {
        true => Analyte::all().collect(), // all that may speak for the capacity
        false => REVIEWED.into_iter().chain(SIGNS).collect(),
    }
}

/// Whether any of its rules goes by shares of the exchange capacity.
pub(super) fn goes_by_capacity(guideline: &Guideline) -> bool {
    guideline.criteria.iter().any(|criterion| matches!(criterion.rule, Rule::Saturation(_)))
}

/// The plots that plots were made from.
pub(super) struct Lines {
    pub all: BTreeMap<PlotId, Vec<PlotId>>,
    pub one_soil: BTreeMap<PlotId, Vec<PlotId>>,
}

impl Lines {
    pub async fn load(db: &mut Db, plots: &[PlotId]) -> Result<Lines> {
        Ok(Lines {
            all: store::plots::forerunners(db, plots).await?,
            one_soil: store::plots::forerunners_of_one_soil(db, plots).await?,
        })
    }
}

/// The columns put in order: cells by sampling, samplings by plot.
pub(super) struct Sorted {
    /// Cells by sampling: those of sampling s are at `starts[s]..starts[s + 1]`.
    cells: Vec<u32>,
    starts: Vec<u32>,
    of_plot: BTreeMap<PlotId, Vec<u32>>,
    /// Depths that samples came from, and which one each sampling has.
    depths: Vec<Option<DepthBand>>,
    depth_of: Vec<u32>,
    /// By kind and depth; `None` where such a cell cannot be read.
    conversions: Vec<Vec<Option<Conversion>>>,
}

impl Sorted {
    pub fn of(columns: &Columns) -> Sorted {
        let mut starts = vec![0_u32; columns.samplings.len() + 1];
        for cell in &columns.cells {
            starts[cell.sampling as usize + 1] += 1;
        }
        for at in 1..starts.len() {
            starts[at] += starts[at - 1];
        }
        let mut next = starts.clone();
        let mut cells = vec![0_u32; columns.cells.len()];
        for (index, cell) in columns.cells.iter().enumerate() {
            let place = &mut next[cell.sampling as usize];
            cells[*place as usize] = index as u32;
            *place += 1;
        }
        let mut of_plot: BTreeMap<PlotId, Vec<u32>> = BTreeMap::new();
        for (sampling, plot) in &columns.taken_from {
            of_plot.entry(*plot).or_default().push(*sampling);
        }
        let mut depths: Vec<Option<DepthBand>> = Vec::new();
        let depth_of = columns.samplings.iter().map(|sampling| {
            let at = depths.iter().position(|depth| *depth == sampling.depth).unwrap_or_else(|| {
                depths.push(sampling.depth);
                depths.len() - 1
            });
            at as u32
        });
        let depth_of = depth_of.collect();
        let report = Report { key: 0, lab: String::new(), determinations: vec![] };
        let sampling = |depth: Option<DepthBand>| Sampling {
            key: 0,
            sampled_on: Date::MIN,
            date_assumed: false,
            depth,
            cores: None,
            fizz: None,
            reports: vec![],
        };
        let conversions = columns
            .kinds
            .iter()
            .map(|kind| depths.iter().map(|depth| Conversion::of(&sampling(*depth), &report, kind)).collect())
            .collect();
        Sorted { cells, starts, of_plot, depths, depth_of, conversions }
    }

    /// The cells of a sampling.
    fn cells(&self, sampling: u32) -> &[u32] {
        &self.cells[self.starts[sampling as usize] as usize..self.starts[sampling as usize + 1] as usize]
    }

    /// The samplings of a plot and of plots before it, oldest first, each once.
    fn samplings(&self, columns: &Columns, plot: PlotId, before: &[PlotId]) -> Vec<u32> {
        let mut all: Vec<u32> =
            before.iter().chain([&plot]).filter_map(|id| self.of_plot.get(id)).flatten().copied().collect();
        all.sort_by_key(|&at| (columns.samplings[at as usize].sampled_on, columns.samplings[at as usize].id));
        all.dedup();
        all
    }

    /// The samplings that the present of these plots rests on: of each analyte the newest day that
    /// can be read, the newest acid test, the newest of all, and those that no result has come for.
    /// Where a plot was merged of soils tested apart, those soils' own newest too.
    pub fn newest(&self, columns: &Columns, plots: &[PlotRow], lines: &Lines) -> Vec<SamplingId> {
        let mut newest: BTreeSet<SamplingId> = BTreeSet::new();
        for plot in plots {
            let mut lines_of_plot = vec![lines.one_soil.get(&plot.id)];
            if lines.all.get(&plot.id).map(Vec::len) != lines.one_soil.get(&plot.id).map(Vec::len) {
                lines_of_plot.push(lines.all.get(&plot.id));
            }
            for before in lines_of_plot {
                let before = before.map_or(&[][..], Vec::as_slice);
                let mut answered: Vec<(Analyte, Date)> = Vec::new();
                let mut fizz = false;
                for (back, &sampling) in self.samplings(columns, plot.id, before).iter().rev().enumerate() {
                    let row = &columns.samplings[sampling as usize];
                    let depth = self.depth_of[sampling as usize] as usize;
                    let mut wanted = back == 0 || (row.fizz && !fizz) || self.cells(sampling).is_empty();
                    fizz |= row.fizz;
                    for &cell in self.cells(sampling) {
                        let kind = columns.cells[cell as usize].kind as usize;
                        if self.conversions[kind][depth].is_none() {
                            continue;
                        }
                        let analyte = columns.kinds[kind].analyte;
                        match answered.iter().find(|(known, _)| *known == analyte) {
                            Some((_, on)) => wanted |= *on == row.sampled_on,
                            None => {
                                answered.push((analyte, row.sampled_on));
                                wanted = true;
                            }
                        }
                    }
                    if wanted {
                        newest.insert(row.id);
                    }
                }
            }
        }
        newest.into_iter().collect()
    }
}

/// All that a review is worked out from.
pub(super) struct Work {
    /// What limits are read for, where a plot's crops tell.
    pub land_uses: BTreeMap<PlotId, LandUse>,
    pub columns: Columns,
    pub sorted: Sorted,
    pub plots: Vec<PlotRow>,
    pub lines: Lines,
    pub loaded: BTreeMap<PlotId, Vec<Loaded>>,
    pub overrules: BTreeMap<SamplingId, Vec<Overrule>>,
    pub guideline: Cow<'static, Guideline>,
    /// Some of its rules go by shares of the exchange capacity, which each plot has its own of.
    pub by_capacity: bool,
    pub errors: ErrorSettings,
}

/// What an aim depends on, where no rule goes by shares of the capacity.
type AimKey = (Analyte, Method, LandUse, &'static str, &'static str, bool, Option<(Method, u64)>);

impl Work {
    /// Every plot and analyte, with slopes drawn together.
    pub fn rows(&self) -> Vec<(usize, PlotDrift)> {
        let threads = thread::available_parallelism().map_or(1, usize::from);
        let share = self.plots.len().div_ceil(threads).max(PLOTS_TO_A_THREAD);
        let numbered: Vec<(usize, &PlotRow)> = self.plots.iter().enumerate().collect();
        let mut rows: Vec<(usize, PlotDrift)> = thread::scope(|scope| {
            let workers: Vec<_> = numbered
                .chunks(share)
                .map(|chunk| {
                    scope.spawn(move || {
                        let mut aims = BTreeMap::new();
                        chunk.iter().flat_map(|(at, plot)| self.of_plot(*at, plot, &mut aims)).collect::<Vec<_>>()
                    })
                })
                .collect();
            workers.into_iter().flat_map(|worker| worker.join().unwrap_or_default()).collect()
        });
        drift::draw_together(rows.iter_mut().map(|(_, row)| row));
        rows
    }

    fn of_plot(&self, at: usize, plot: &PlotRow, aims: &mut BTreeMap<AimKey, Option<f64>>) -> Vec<(usize, PlotDrift)> {
        let columns = &self.columns;
        let before = self.lines.all.get(&plot.id).map_or(&[][..], Vec::as_slice);
        let samplings = self.sorted.samplings(columns, plot.id, before);
        let mut tests: Vec<Test<'_>> = Vec::new();
        let mut assumed = BTreeSet::new();
        for sampling in samplings {
            let row = &columns.samplings[sampling as usize];
            let depth = self.sorted.depth_of[sampling as usize] as usize;
            if row.date_assumed {
                assumed.insert(row.sampled_on);
            }
            for &cell in self.sorted.cells(sampling) {
                let column = &columns.cells[cell as usize];
                let kind = &columns.kinds[column.kind as usize];
                let Some(conversion) = &self.sorted.conversions[column.kind as usize][depth] else { continue };
                if REVIEWED.contains(&kind.analyte) {
                    tests.push(Test {
                        analyte: kind.analyte,
                        method: &kind.method,
                        level: conversion.level(column.value),
                        qualifier: kind.printed.qualifier,
                        decimals: conversion.decimals,
                        sampled_on: row.sampled_on,
                        depth: self.sorted.depths[depth],
                        lab: &columns.labs[column.lab as usize],
                        cell: CellKey(i64::from(cell)),
                    });
                }
            }
        }
        if tests.is_empty() {
            return vec![];
        }
        let basis = self.basis(plot);
        let mut by_analyte: BTreeMap<Analyte, Vec<Segment>> = BTreeMap::new();
        for segment in drift::segments_of(tests.iter().copied(), &assumed, &self.errors) {
            by_analyte.entry(segment.analyte).or_default().push(segment);
        }
        let reviewed = by_analyte.into_iter().filter_map(|(analyte, segments)| {
            let trusted = basis.choices.get(&analyte).map(|choice| &choice.chosen.method);
            let aim = |segment: &Segment| {
                let like = tests.iter().rev().find(|test| {
                    test.analyte == analyte && *test.method == segment.method && test.level.unit() == segment.unit
                })?;
                self.aim(plot, &basis, like, aims)
            };
            drift::review(&segments, |segment| trusted == Some(&segment.method), aim)
        });
        reviewed.map(|row| (at, row)).collect()
    }

    /// What the plot's standing rests on today.
    fn basis(&self, plot: &PlotRow) -> Basis {
        let before = self.lines.one_soil.get(&plot.id).map_or(&[][..], Vec::as_slice);
        let samplings = of_line(plot.id, before, &self.loaded);
        let overrules: Vec<Overrule> =
            samplings.iter().filter_map(|one| self.overrules.get(&one.row.id)).flatten().cloned().collect();
        let survey = Survey::read_newest(samplings.into_iter().map(|one| one.sampling));
        let land_use = self.land_uses.get(&plot.id).copied().unwrap_or(plot.land_use);
        survey.basis(&plot.ground(), &self.guideline, land_use, &overrules)
    }

    fn aim(
        &self,
        plot: &PlotRow,
        basis: &Basis,
        like: &Test<'_>,
        aims: &mut BTreeMap<AimKey, Option<f64>>,
    ) -> Option<f64> {
        let work_out = || Some(basis.aim(&bare_reading(like), plot.texture, &self.guideline).ok()?.0);
        if self.by_capacity {
            return work_out();
        }
        let ph = basis.choices.get(&Analyte::Ph).map(|choice| &choice.chosen);
        let ph = ph.map(|ph| (ph.method.clone(), ph.level.number().to_bits()));
        let unit = like.level.unit();
        let key = (
            like.analyte,
            like.method.clone(),
            basis.land_use,
            unit,
            plot.texture.slug(),
            basis.signs.calcareous(),
            ph,
        );
        *aims.entry(key).or_insert_with(work_out)
    }
}

/// A test as the rules of a guideline take it; its working goes no further than its number.
fn bare_reading(test: &Test<'_>) -> Reading {
    Reading {
        analyte: test.analyte,
        method: test.method.clone(),
        level: test.level,
        qualifier: test.qualifier,
        decimals: test.decimals,
        sampled_on: test.sampled_on,
        depth: test.depth,
        lab: test.lab.to_owned(),
        cell: test.cell,
        working: Working::leaf(
            test.analyte.name(),
            Figure::new(test.level.number(), test.level.unit(), test.decimals),
            Origin::Cell(test.cell),
        ),
    }
}
