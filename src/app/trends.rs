//! How one nutrient of a plot moved over the years: its tests in runs that compare, by
//! method, with the aim where the guideline has limits for that method.

use super::{Actor, App, Result, lineage, plots::SiteRow, standing::PlotStanding};
use crate::{
    agronomy::{
        analyte::Analyte,
        drift::{self, Break, Segment, Verdict},
        guideline::Guideline,
        lime::Given,
        method::Method,
        plausibility::{OverYears, over_years},
        quantity::{Grams, SquareMetres},
        record::{Application, CellKey},
        response::{self, Limed, Liming},
        survey::Basis,
        working::Working,
    },
    ids::{PlotId, SamplingId},
    store::{self, outlook::LimeDose},
};
use jiff::civil::Date;
use std::{
    borrow::Cow,
    collections::{BTreeMap, BTreeSet},
};

/// A nutrient of a plot over the years.
#[derive(Clone, Debug)]
pub struct PlotTrend {
    pub site: SiteRow,
    pub guideline: Cow<'static, Guideline>,
    pub standing: PlotStanding,
    pub analyte: Analyte,
    /// By method and unit, the trusted one first, then what the verdict rests on; of several the one used
    /// last, and then one with an aim.
    pub methods: Vec<MethodTrend>,
    /// What carried the element was put on, oldest first.
    pub put_on: Vec<Application>,
    /// For pH, the lime that was put on, oldest first.
    pub limings: Vec<Liming>,
    /// What was noted of the sampling and on the report of each printed cell that has such a note.
    pub remarks: BTreeMap<CellKey, Vec<String>>,
    /// Where runs part, in words.
    pub breaks: Vec<Break>,
    /// What its tests can and cannot show.
    pub verdict: Verdict,
    /// The runs that the verdict was read from, in its order.
    pub runs: Vec<Segment>,
    /// The method and unit of the tests that the verdict speaks of.
    pub judged: Option<(Method, &'static str)>,
    /// The change a year, down to the printed cells; `None` where no slope can be had.
    pub slope: Option<Working>,
    /// What the sheets of its tests ask about its values, oldest first.
    pub questions: Vec<OverYears>,
}

/// The tests by one method, in one unit.
#[derive(Clone, Debug)]
pub struct MethodTrend {
    pub method: Method,
    pub unit: &'static str,
    /// Oldest first; what parts them is depth.
    pub segments: Vec<Segment>,
    /// The aim, and the lowest level above the best, in the unit of the tests; both the
    /// same where the publisher gives only one.
    pub aim: Option<(f64, f64)>,
    /// Why there is no aim.
    pub no_aim: Option<String>,
}

impl App {
    /// One nutrient of a plot over the years.
    pub async fn plot_trend(&self, actor: &Actor, id: PlotId, analyte: Analyte) -> Result<PlotTrend> {
        let (site, guideline, standing) = self.plot_standing(actor, id).await?;
        let readings = standing.survey.history(analyte);
        let assumed: BTreeSet<Date> =
            standing.samplings.iter().filter(|l| l.row.date_assumed).map(|l| l.row.sampled_on).collect();
        let segments = drift::segments(&readings, &assumed, &standing.survey.errors);
        let breaks = drift::breaks(&segments);
        // The test that the standing goes by on this soil leads, however long others ran beside it.
        let trusted = standing.present.choices.get(&analyte).map(|choice| choice.chosen.method.clone());
        let verdict = drift::verdict_led_by(&segments, |segment| trusted.as_ref() == Some(&segment.method));
        let slope = verdict.working(&segments);
        let judged = verdict.segments.first().and_then(|&index| segments.get(index));
        let judged = judged.map(|segment| (segment.method.clone(), segment.unit));
        let basis = standing.present.basis();
        let mut methods: Vec<MethodTrend> = Vec::new();
        let runs = segments.clone();
        for segment in segments {
            match methods.iter_mut().find(|m| m.method == segment.method && m.unit == segment.unit) {
                Some(method) => method.segments.push(segment),
                None => {
                    let (aim, no_aim) = aim(&standing, &basis, &guideline, &segment);
                    let (method, unit) = (segment.method.clone(), segment.unit);
                    methods.push(MethodTrend { method, unit, segments: vec![segment], aim, no_aim });
                }
            }
        }
        let judges: Vec<&Method> = verdict.segments.iter().filter_map(|&at| Some(&runs.get(at)?.method)).collect();
        methods.sort_by_key(|m| {
            let last = m.segments.iter().flat_map(|s| &s.points).map(|point| point.sampled_on).max();
            let beside = !judges.contains(&&m.method);
            (trusted.as_ref() != Some(&m.method), beside, std::cmp::Reverse(last), m.aim.is_none())
        });
        let mut put_on = self.put_on(actor, id).await?;
        let carries = |a: &Application| analyte.element().is_some_and(|e| a.content.get(&e).is_some_and(|f| *f > 0.0));
        put_on.retain(carries);
        let limings = match analyte {
            Analyte::Ph => self.limings(id, SquareMetres(standing.plot.area_m2)).await?,
            _ => vec![],
        };
        let remarks = self.remarks(&standing).await?;
        let questions = over_years(&standing.survey, analyte);
        Ok(PlotTrend {
            site,
            guideline,
            standing,
            analyte,
            methods,
            put_on,
            limings,
            remarks,
            breaks,
            verdict,
            runs,
            judged,
            slope,
            questions,
        })
    }

    /// What raised pH and went on a plot and on those it was made from, as pure calcium carbonate.
    async fn limings(&self, plot: PlotId, area: SquareMetres) -> Result<Vec<Liming>> {
        let mut read = self.store.read().await?;
        let doses = lineage::lime_doses(&mut read, plot, Date::MIN, self.today()).await?;
        let liming = |dose: LimeDose| {
            let value = (dose.value_percent, dose.moisture.unwrap_or(0.0) * 100.0);
            let given = Given::of_dose("", Grams(dose.mass_g), value, area, 0.0);
            Liming { on: dose.on, name: dose.name, carbonate: given.carbonate }
        };
        Ok(doses.into_iter().map(liming).collect())
    }

    /// What was noted of the samplings of a plot and on their reports, by printed cell.
    async fn remarks(&self, plot: &PlotStanding) -> Result<BTreeMap<CellKey, Vec<String>>> {
        let samplings: Vec<SamplingId> = plot.samplings.iter().map(|loaded| loaded.row.id).collect();
        let on_reports = store::samplings::report_notes(&mut *self.store.read().await?, &samplings).await?;
        let mut remarks: BTreeMap<CellKey, Vec<String>> = BTreeMap::new();
        for loaded in &plot.samplings {
            for (report, cell) in loaded.sampling.determinations() {
                let said = [Some(&loaded.row.note), on_reports.get(&report.key)];
                let said: Vec<String> = said.into_iter().flatten().filter(|note| !note.is_empty()).cloned().collect();
                if !said.is_empty() {
                    remarks.insert(cell.key, said);
                }
            }
        }
        Ok(remarks)
    }
}

impl PlotTrend {
    /// For pH, its runs of tests against the lime put on, newest last.
    pub fn limed(&self) -> Vec<(&Segment, Limed)> {
        self.runs.iter().map(|run| (run, response::limed(run, &self.limings))).collect()
    }
}

/// The span to aim for under a guideline for the tests of a segment, or why there is none.
fn aim(
    standing: &PlotStanding,
    basis: &Basis,
    guideline: &Guideline,
    segment: &Segment,
) -> (Option<(f64, f64)>, Option<String>) {
    let newest = standing
        .survey
        .history(segment.analyte)
        .into_iter()
        .rfind(|r| r.method == segment.method && r.level.unit() == segment.unit);
    match newest.map(|newest| basis.aim(&newest, standing.plot.texture, guideline)) {
        Some(Ok(aim)) => (Some(aim), None),
        Some(Err(why)) => (None, Some(why)),
        None => (None, None),
    }
}
