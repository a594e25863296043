//! The questions about one analyte over all samplings of a plot: what a picture of its years
//! should point at. Each test is asked about as its own sheet asks, against what was known on
//! its day; nothing is left out of a trend because of a question.

use super::{Entry, Question, QuestionKind, questions};
use crate::agronomy::{
    analyte::Analyte,
    carbonate::Signs,
    reading::Reading,
    survey::{Survey, Visit},
};
use jiff::civil::Date;

/// Questions about the value itself, which a trend rests on.
const OF_THE_VALUE: [QuestionKind; 5] = [
    QuestionKind::UnitSlip,
    QuestionKind::OxideForElement,
    QuestionKind::OutOfRange,
    QuestionKind::FarFromHistory,
    QuestionKind::FarFromBeside,
];

/// A question about a test of years ago, or of today.
#[derive(Clone, Debug, PartialEq)]
pub struct OverYears {
    /// Key of the sampling whose page asks it.
    pub sampling: i64,
    pub sampled_on: Date,
    pub question: Question,
}

/// What is asked about an analyte's results, oldest first.
pub fn over_years(survey: &Survey, analyte: Analyte) -> Vec<OverYears> {
    let of = |visit: &Visit| visit.readings.iter().filter(|r| r.analyte == analyte).cloned().collect::<Vec<Reading>>();
    let visits: Vec<(&Visit, Vec<Reading>)> = survey
        .visits
        .iter()
        .rev()
        .map(|visit| (visit, of(visit)))
        .filter(|(_, readings)| !readings.is_empty())
        .collect();
    let signs = Signs::default();
    let mut asked = Vec::new();
    for (at, (visit, readings)) in visits.iter().enumerate() {
        let on = visit.sampling.sampled_on;
        let others = || visits.iter().enumerate().filter(|(other, _)| *other != at).map(|(_, one)| one);
        let gather = |keep: &dyn Fn(Date) -> bool| -> Vec<Reading> {
            others().filter(|(other, _)| keep(other.sampling.sampled_on)).flat_map(|(_, r)| r.iter().cloned()).collect()
        };
        let (history, beside) = (gather(&|day| day < on), gather(&|day| day == on));
        let entry = Entry {
            sampling: &visit.sampling,
            readings,
            signs: &signs,
            history: &history,
            beside: &beside,
            last_applied: None,
            clay: false,
        };
        let mine = |question: &Question| {
            OF_THE_VALUE.contains(&question.kind)
                && question.cells.iter().any(|cell| readings.iter().any(|reading| reading.cell == *cell))
        };
        asked.extend(questions(&entry).into_iter().filter(mine).map(|question| OverYears {
            sampling: visit.sampling.key,
            sampled_on: on,
            question,
        }));
    }
    asked
}
