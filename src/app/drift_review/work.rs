//! The work of a review: tests from columns into runs, runs into verdicts, plot by plot on
//! every core. The rules are the trade's, and the same that a plot's own pages follow.

use crate::{
    agronomy::{
        analyte::Analyte,
        choice::Overrule,
        drift::{self, ErrorSettings, PlotDrift, REVIEWED, Segment, Test},
        guideline::{Guideline, LandUse, Rule},
        method::Method,
        survey::{Basis, Survey},
    },
    app::{
        columns::{Lines, Sorted},
        plots::PlotRow,
        standing::of_line,
    },
    ids::{PlotId, SamplingId},
    store::{columns::Columns, samplings::Loaded},
};
use std::{borrow::Cow, collections::BTreeMap, thread};

/// What decides about lime and salts, besides what is reviewed.
const SIGNS: [Analyte; 2] = [Analyte::Carbonate, Analyte::Conductivity];

/// Plots to a thread, at least: below, starting it costs more than it gains.
const PLOTS_TO_A_THREAD: usize = 64;

/// The analytes whose tests a review under this guideline rests on.
pub(super) fn needed_analytes(guideline: &Guideline) -> Vec<Analyte> {
    match goes_by_capacity(guideline) {
        true => Analyte::all().filter(|analyte| !analyte.is_ratio()).collect(), // all that may speak for the capacity
        false => REVIEWED.into_iter().chain(SIGNS).collect(),
    }
}

/// Whether any of its rules goes by shares of the exchange capacity.
pub(super) fn goes_by_capacity(guideline: &Guideline) -> bool {
    guideline.criteria.iter().any(|criterion| matches!(criterion.rule, Rule::Saturation(_)))
}

/// All that a review is worked out from.
pub(super) struct Work {
    /// What limits are read for, where a plot's crops tell.
    pub land_uses: BTreeMap<PlotId, LandUse>,
    pub columns: Columns,
    pub sorted: Sorted,
    pub plots: Vec<PlotRow>,
    pub lines: Lines,
    /// The newest samplings of plots where somebody chose a reading by hand, which names a cell of
    /// the record; the others' are in the columns.
    pub by_hand: BTreeMap<PlotId, Vec<Loaded>>,
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
        let (tests, assumed) = self.sorted.tests(columns, plot.id, before, |analyte| REVIEWED.contains(&analyte));
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
        let land_use = self.land_uses.get(&plot.id).copied().unwrap_or(plot.land_use);
        let (survey, overrules) = if self.by_hand.contains_key(&plot.id) {
            let samplings = of_line(plot.id, before, &self.by_hand);
            let overrules = samplings.iter().filter_map(|one| self.overrules.get(&one.row.id)).flatten();
            let overrules: Vec<Overrule> = overrules.cloned().collect();
            (Survey::read_newest(samplings.into_iter().map(|one| one.sampling)), overrules)
        } else {
            (self.sorted.survey(&self.columns, plot.id, before), vec![])
        };
        match self.by_capacity {
            true => survey.basis(&plot.ground(), &self.guideline, land_use, &overrules),
            false => survey.basis_without_capacity(&plot.ground(), &self.guideline, land_use, &overrules),
        }
    }

    fn aim(
        &self,
        plot: &PlotRow,
        basis: &Basis,
        like: &Test<'_>,
        aims: &mut BTreeMap<AimKey, Option<f64>>,
    ) -> Option<f64> {
        let work_out = || Some(basis.aim(&like.bare_reading(), plot.texture, &self.guideline).ok()?.0);
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
