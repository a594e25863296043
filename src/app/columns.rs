//! The tests of a site put in order, from the columns that the store hands over: which cells
//! a sampling has, which samplings a plot, and what each test is in canonical units. What looks
//! at thousands of plots at once reads them here; a page of one plot loads that plot.

use super::{App, Result, lineage, plots::PlotRow};
use crate::{
    agronomy::{
        analyte::Analyte,
        drift::Test,
        reading::{Conversion, Reading},
        record::{CellKey, DepthBand, Report, Sampling},
        survey::{Survey, Visit},
    },
    ids::{PlotId, SamplingId, SiteId},
    store::{
        self, Db, Store,
        columns::{Columns, SheetColumn},
    },
};
use jiff::civil::Date;
use std::{
    cmp::Reverse,
    collections::{BTreeMap, BTreeSet},
    sync::Arc,
};

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

    /// A plot and those before it whose tests speak for it.
    pub fn of_one_soil(&self, plot: PlotId) -> impl Iterator<Item = PlotId> {
        self.one_soil.get(&plot).into_iter().flatten().copied().chain([plot])
    }
}

/// The columns put in order: cells by sampling, samplings by plot.
pub(super) struct Sorted {
    /// Sheets by sampling: those of sampling s are at `starts[s]..starts[s + 1]`.
    sheets: Vec<u32>,
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
        for sheet in &columns.sheets {
            starts[sheet.sampling as usize + 1] += 1;
        }
        for at in 1..starts.len() {
            starts[at] += starts[at - 1];
        }
        let mut next = starts.clone();
        let mut sheets = vec![0_u32; columns.sheets.len()];
        for (index, sheet) in columns.sheets.iter().enumerate() {
            let place = &mut next[sheet.sampling as usize];
            sheets[*place as usize] = index as u32;
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
        Sorted { sheets, starts, of_plot, depths, depth_of, conversions }
    }

    /// The cells of a sampling, each with its sheet.
    fn cells<'a>(&'a self, columns: &'a Columns, sampling: u32) -> impl Iterator<Item = (u32, &'a SheetColumn)> {
        let (first, end) = (self.starts[sampling as usize], self.starts[sampling as usize + 1]);
        self.sheets[first as usize..end as usize].iter().flat_map(move |&sheet| {
            let sheet = &columns.sheets[sheet as usize];
            (sheet.cells.0..sheet.cells.1).map(move |cell| (cell, sheet))
        })
    }

    /// A cell as drift takes it; `None` where it cannot be read. A cell's key is its place among
    /// the columns, not its number in the record.
    fn test<'a>(&'a self, columns: &'a Columns, (cell, sheet): (u32, &SheetColumn)) -> Option<Test<'a>> {
        let column = &columns.cells[cell as usize];
        let kind = &columns.kinds[column.kind as usize];
        let depth = self.depth_of[sheet.sampling as usize] as usize;
        let conversion = self.conversions[column.kind as usize][depth].as_ref()?;
        Some(Test {
            analyte: kind.analyte,
            method: &kind.method,
            level: conversion.level(column.value),
            qualifier: kind.printed.qualifier,
            decimals: conversion.decimals,
            sampled_on: columns.samplings[sheet.sampling as usize].sampled_on,
            depth: self.depths[depth],
            lab: &columns.labs[sheet.lab as usize],
            sampling: columns.samplings[sheet.sampling as usize].id.0,
            cell: CellKey(i64::from(cell)),
        })
    }

    /// The tests of a plot and of plots before it by some analytes, oldest first, and the days of sampling
    /// that were guessed.
    pub fn tests<'a>(
        &'a self,
        columns: &'a Columns,
        plot: PlotId,
        before: &[PlotId],
        wanted: impl Fn(Analyte) -> bool,
    ) -> (Vec<Test<'a>>, BTreeSet<Date>) {
        let (mut tests, mut assumed) = (Vec::new(), BTreeSet::new());
        for sampling in self.samplings(columns, plot, before) {
            let row = &columns.samplings[sampling as usize];
            if row.date_assumed {
                assumed.insert(row.sampled_on);
            }
            let read = self.cells(columns, sampling).filter_map(|cell| self.test(columns, cell));
            tests.extend(read.filter(|test| wanted(test.analyte)));
        }
        (tests, assumed)
    }

    /// What the present of a plot and of plots before it rests on, as [`Survey::read_newest`] has
    /// it, from bare tests: of each analyte of the columns the newest date that answers for it.
    pub fn survey(&self, columns: &Columns, plot: PlotId, before: &[PlotId]) -> Survey {
        let row = |at: u32| &columns.samplings[at as usize];
        let mut samplings = self.samplings(columns, plot, before);
        samplings.sort_by_key(|&at| (Reverse(row(at).sampled_on), row(at).id));
        let mut answered: Vec<(Analyte, Date)> = Vec::new();
        let mut visits = Vec::new();
        for at in samplings {
            let row = row(at);
            let newer = |analyte| answered.iter().any(|(known, on)| *known == analyte && *on > row.sampled_on);
            let cells = self.cells(columns, at).filter(|(cell, _)| {
                let column = &columns.cells[*cell as usize];
                // As for a reading: below zero is no level that soil can have.
                column.value >= 0.0 && column.value.is_finite() && !newer(columns.kinds[column.kind as usize].analyte)
            });
            let tests = cells.filter_map(|cell| self.test(columns, cell));
            let readings: Vec<Reading> = tests.map(|test| test.bare_reading()).collect();
            for reading in &readings {
                if !answered.iter().any(|(known, _)| *known == reading.analyte) {
                    answered.push((reading.analyte, reading.sampled_on));
                }
            }
            if visits.is_empty() || !readings.is_empty() || row.fizz.is_some() {
                let sampling = Sampling {
                    key: row.id.0,
                    sampled_on: row.sampled_on,
                    date_assumed: row.date_assumed,
                    depth: row.depth,
                    cores: None,
                    fizz: row.fizz,
                    reports: vec![],
                };
                visits.push(Visit { sampling, readings, unreadable: vec![] });
            }
        }
        Survey { visits, ..Survey::default() }
    }

    /// The samplings of a plot and of plots before it, oldest first, each once.
    fn samplings(&self, columns: &Columns, plot: PlotId, before: &[PlotId]) -> Vec<u32> {
        let mut all: Vec<u32> =
            before.iter().chain([&plot]).filter_map(|id| self.of_plot.get(id)).flatten().copied().collect();
        all.sort_by_key(|&at| (columns.samplings[at as usize].sampled_on, columns.samplings[at as usize].id));
        all.dedup();
        all
    }

    /// The samplings up to a day that the present of these plots rests on then: of each analyte the newest day that
    /// can be read, the newest acid test, the newest of all, and those that no result has come for.
    /// Where a plot was merged of soils tested apart, those soils' own newest too.
    pub fn newest(&self, columns: &Columns, plots: &[PlotRow], lines: &Lines, until: Date) -> Vec<SamplingId> {
        let mut newest: BTreeSet<SamplingId> = BTreeSet::new();
        for plot in plots {
            let mut lines_of_plot = vec![lines.one_soil.get(&plot.id)];
            if lines.all.get(&plot.id).map(Vec::len) != lines.one_soil.get(&plot.id).map(Vec::len) {
                lines_of_plot.push(lines.all.get(&plot.id));
            }
            for before in lines_of_plot {
                let before = before.map_or(&[][..], Vec::as_slice);
                let mut answered: Vec<(Analyte, Date)> = Vec::new();
                let mut fizz_on: Option<Date> = None;
                let samplings = self.samplings(columns, plot.id, before);
                let known = samplings.iter().filter(|&&at| columns.samplings[at as usize].sampled_on <= until);
                let newest_on = known.clone().next_back().map(|&at| columns.samplings[at as usize].sampled_on);
                // Of several samplings of one day all are taken: which speaks is for the survey to say.
                for &sampling in known.rev() {
                    let row = &columns.samplings[sampling as usize];
                    let depth = self.depth_of[sampling as usize] as usize;
                    let fizzed = row.fizz.is_some() && fizz_on.is_none_or(|on| on == row.sampled_on);
                    let mut wanted =
                        newest_on == Some(row.sampled_on) || fizzed || self.cells(columns, sampling).next().is_none();
                    fizz_on = fizz_on.or(row.fizz.map(|_| row.sampled_on));
                    for (cell, _) in self.cells(columns, sampling) {
                        let column = &columns.cells[cell as usize];
                        let kind = column.kind as usize;
                        // As for a reading: below zero is no level that soil can have.
                        let readable = column.value >= 0.0 && column.value.is_finite();
                        if !readable || self.conversions[kind][depth].is_none() {
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

/// The samplings that the present of every plot of a site rests on, as of a version of the record.
#[derive(Debug)]
pub(super) struct Newest {
    version: i64,
    samplings: Vec<SamplingId>,
}

/// What of this kind changes decides about no sampling: which there are, and what stands on them.
const UNRELATED: &[&str] = &["person", "attachment", "amendment", "plan", "application", "harvest", "note"];

impl Newest {
    /// The same in a view of the record; `None` where it may have changed meanwhile.
    pub async fn in_view(&self, db: &mut Db) -> Result<Option<&[SamplingId]>> {
        let changed = store::history::changed_since(db, self.version, UNRELATED).await?;
        Ok((!changed).then_some(&self.samplings))
    }
}

impl App {
    /// For pages that read a few plots of a site again and again; found anew when the tests change.
    pub(super) async fn newest(&self, site: SiteId) -> Result<Arc<Newest>> {
        let find = async {
            let mut read = self.store.read().await?;
            let version = store::history::version(&mut read).await?;
            let plots = store::plots::plots(&mut read, site, true).await?;
            drop(read);
            let samplings = newest_samplings(&self.store, site, &plots, Date::MAX).await?;
            Ok(Newest { version, samplings })
        };
        self.newest.answer(&self.store, site, self.today(), UNRELATED, find).await
    }
}

/// The samplings that the present of these plots rests on, or rested on a day.
pub(super) async fn newest_samplings(
    store: &Store,
    site: SiteId,
    plots: &[PlotRow],
    until: Date,
) -> Result<Vec<SamplingId>> {
    let every: Vec<Analyte> = Analyte::all().filter(|analyte| !analyte.is_ratio()).collect();
    let columns = store.columns(site, &every).await?;
    let mut read = store.read().await?;
    let lines = Lines::load(&mut read, &lineage::ids(plots)).await?;
    Ok(Sorted::of(&columns).newest(&columns, plots, &lines, until))
}
