//! What a trend opens to: the numbers behind its sentence, and for pH the second reading, less what
//! lime did.

use super::trend::{NetChart, NetReading, NetRow, level, point};
use crate::{
    agronomy::{
        drift::{Behind, Z_90},
        liking::Liking,
        response::LIME_REACTS_MONTHS,
    },
    app::trends::PlotTrend,
    web::{
        chart::{Point, Segment, Trend},
        show,
    },
};
use askama::Template;

/// The numbers behind what is said of tests over the years, one line each.
#[derive(Template)]
#[template(path = "parts/numbers.html")]
pub struct Numbers {
    rows: Vec<Behind>,
}

impl askama::filters::HtmlSafe for Numbers {}

impl Numbers {
    /// `None` where no test stands behind the sentence.
    pub(super) fn of(trend: &PlotTrend, liking: Liking) -> Option<Numbers> {
        let rows = trend.verdict.numbers(&trend.runs, |found| level(trend, liking, found));
        (!rows.is_empty()).then_some(Numbers { rows })
    }
}

/// pH against the lime put on, newest run first.
pub(super) fn of_lime(trend: &PlotTrend) -> NetReading {
    let mut reading = NetReading { title: "Beyond what lime did", readings: vec![], refused: vec![], ledger: None };
    for (run, limed) in trend.limed().into_iter().rev() {
        let label = run.label();
        let beyond = match &limed.beyond {
            // Per tonne of lime: per kilogram there are too many noughts.
            Ok(beyond) => beyond.read_in(1.0, 0.001),
            Err(why) => {
                reading.refused.push((label, why.clone()));
                continue;
            }
        };
        let tests = limed.less_lime(run);
        let drawn = tests.iter().map(|of| Point {
            value: of.left,
            low: None,
            high: None,
            ..point(&of.point, run.scale, trend, &|value| value)
        });
        let picture = Trend {
            title: "pH, had no lime gone on".into(),
            unit: String::new(),
            segments: vec![Segment { label: label.clone(), points: drawn.collect() }],
            aim: None,
            marks: vec![],
        };
        let rows = tests.iter().map(|of| NetRow {
            on: show::date(of.point.sampled_on),
            found: format!("{}{}", of.point.qualifier.sign(), show::significant(of.point.value, 3)),
            net: show::significant(of.lime.0, 3),
            moved: show::significant(of.moved, 3),
            left: show::significant(of.left, 3),
        });
        let (low, high) = beyond.interval_90();
        let response = format!(
            "pH = {} + {} × t/ha of lime as calcium carbonate + {} × years, by {}; the response is fitted together with the drift; as tested {} a year (± {}), what is left is {} to {} a year (90 %).",
            show::significant(beyond.start, 3),
            show::significant(beyond.response, 2),
            show::significant(beyond.per_year, 2),
            show::count(beyond.tests, "test"),
            show::significant(beyond.as_tested.0, 2),
            show::significant(Z_90 * beyond.as_tested.1, 2),
            show::significant(low, 2),
            show::significant(high, 2)
        );
        let too_soon: Vec<String> = limed.too_soon.iter().map(|on| show::date(*on)).collect();
        let partial = (!too_soon.is_empty()).then(|| {
            format!(
                "Left out, within {LIME_REACTS_MONTHS} months after liming (the lime has not reacted by then): {}.",
                too_soon.join(", ")
            )
        });
        reading.readings.push(NetChart {
            title: label,
            words: beyond.words_of_lime(),
            partial,
            net_name: "Lime",
            net_unit: "kg/ha of calcium carbonate".into(),
            picture,
            rows: rows.collect(),
            response,
            working: None,
            notes: beyond.notes.clone(),
        });
    }
    if reading.readings.is_empty() && reading.refused.is_empty() {
        reading.refused.push(("pH".into(), "No test of it yet.".into()));
    }
    reading
}
