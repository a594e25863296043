//! The sentences of a drift verdict: plain words for a tired grower, with no number finer
//! than it deserves. Decides nothing; what may be said was decided before.

use super::{Direction, Finding, PerYear, Point, Scale, Segment, Strength, Verdict, seasonal, smallest_visible_slope};
use crate::agronomy::{record::Qualifier, working::Figure};

/// A size without its sign, no finer than it deserves: "2.9 % a year", "12 % a year", "0.038 a year".
fn size(value: f64, unit: &str) -> String {
    let value = value.abs();
    match unit {
        "a year" => format!("{value:.3} a year"),
        _ if value < 9.95 => format!("{value:.1} {unit}"),
        _ => format!("{value:.0} {unit}"),
    }
}

fn number_word(n: usize) -> String {
    const WORDS: [&str; 11] = ["No", "One", "Two", "Three", "Four", "Five", "Six", "Seven", "Eight", "Nine", "Ten"];
    WORDS.get(n).map_or_else(|| n.to_string(), |word| (*word).to_owned())
}

fn span(years: f64) -> String {
    match years {
        y if y < 0.95 => format!("{:.0} months", (y * 12.0).max(1.0)),
        y if y < 1.5 => "a year".into(),
        y => format!("{y:.0} years"),
    }
}

/// The levels that [`words`] speaks of, in its order, as they stand in it: those of two tests, or
/// the limits of tests that are only limits, one for each unit. A change a year is in per cent, and has no unit of soil.
pub(super) fn levels(verdict: &Verdict, used: &[&Segment], points: &[&Point]) -> Vec<Figure> {
    let Some(segment) = used.first() else { return vec![] };
    let shown =
        |value: f64, sign: &str| Figure { sign: sign.to_owned(), ..Figure::new(value, segment.unit, segment.decimals) };
    match verdict.finding {
        Finding::OnlyLimits => only_limits(used).map_or_else(Vec::new, |(_, limits)| limits),
        Finding::NoTests | Finding::OneTest => vec![],
        _ if verdict.n == 2 && verdict.two_tests.is_some() => {
            points.iter().map(|point| shown(point.value, point.qualifier.sign())).collect()
        }
        _ => vec![],
    }
}

/// Of runs that are only limits, all on one side: the side, and the limit that holds for every test,
/// one for each unit that the runs are in, since those of two units have no order.
fn only_limits(used: &[&Segment]) -> Option<(Qualifier, Vec<Figure>)> {
    let all = |side| used.iter().flat_map(|run| &run.points).all(|point| point.qualifier == side);
    let side = [Qualifier::Below, Qualifier::Above].into_iter().find(|side| all(*side))?;
    let mut limits: Vec<Figure> = vec![];
    for run in used {
        let found = run.points.iter().map(|point| point.value);
        let limit = if side == Qualifier::Below { found.reduce(f64::max) } else { found.reduce(f64::min) };
        let Some(limit) = limit else { continue };
        match limits.iter_mut().find(|known| known.unit == run.unit) {
            Some(known) if side == Qualifier::Below => known.value = known.value.max(limit),
            Some(known) => known.value = known.value.min(limit),
            None => {
                let sign = side.sign().to_owned();
                limits.push(Figure { sign, ..Figure::new(limit, run.unit, run.decimals) });
            }
        }
    }
    Some((side, limits))
}

/// A sentence with the levels in it read another way, one after the other; a level that is not in
/// it is passed over.
pub fn read_in(words: &str, levels: &[Figure], read: impl Fn(&Figure) -> Figure) -> String {
    let (mut said, mut rest) = (String::new(), words);
    for level in levels {
        let text = level.to_string();
        if let Some((before, after)) = rest.split_once(text.as_str()) {
            said += before;
            said += &read(level).to_string();
            rest = after;
        }
    }
    said + rest
}

/// "Phosphorus is falling: 2.9 % a year (likely between 1.1 and 4.7), by 12 tests over 14 years."
pub(super) fn words(verdict: &Verdict, all: &[Segment], used: &[&Segment], points: &[&Point]) -> String {
    let Some(segment) = used.first() else {
        return match all.iter().any(|segment| !segment.left_out.is_empty()) {
            true => "None of the tests can be used for a trend.".into(),
            false => "No tests.".into(),
        };
    };
    let name = segment.analyte.name();
    let basis = format!("{} tests over {}", verdict.n, span(verdict.span_years));
    match verdict.finding {
        Finding::NoTests => "No tests.".into(),
        Finding::OneTest if all.iter().filter(|other| !other.points.is_empty()).count() > 1 => {
            format!("{name}: no two tests can be compared; they differ in method, unit or depth.")
        }
        Finding::OneTest => format!("{name}: one test only; a second is needed before any change can be seen."),
        Finding::OnlyLimits => match only_limits(used) {
            Some((side, limits)) => {
                let limits: Vec<String> = limits.iter().map(ToString::to_string).collect();
                let beyond = if side == Qualifier::Below { "below the lab's limit" } else { "above the lab's range" };
                format!("{name}: every test is {beyond} ({}); no change can be read.", limits.join("; "))
            }
            None => format!("{name}: every test is only a limit; no change can be read."),
        },
        _ if verdict.n == 2 => two_tests_in_words(verdict, &name, segment, points),
        Finding::Moving(way, strength) => {
            let surely = match strength {
                Strength::Possibly => "possibly ",
                Strength::Probably => "probably ",
                Strength::Plainly => "",
            };
            // Ranks and line can lean apart when only the ranks are sure; then no speed is given.
            match verdict.per_year.filter(|slope| (slope.best > 0.0) == (way == Direction::Rising)) {
                Some(per_year) => {
                    format!("{name} is {surely}{}: {}, by {basis}.", way.word(), slope_in_words(per_year, way))
                }
                None => format!("{name} is {surely}{} by {basis}; how fast cannot be said.", way.word()),
            }
        }
        Finding::Steady => format!(
            "{name} is steady: any change over these {} is smaller than one test can show ({} tests).",
            span(verdict.span_years),
            verdict.n
        ),
        Finding::CannotTell => {
            let yet = if verdict.n < 5 { " yet" } else { "" };
            match verdict.per_year {
                Some(per_year) => {
                    let side = |value: f64| {
                        let way = if value < 0.0 { "a fall" } else { "a rise" };
                        format!("{way} of {}", size(value, per_year.unit))
                    };
                    let (low, high) = (side(per_year.low), side(per_year.high));
                    format!("{name}: cannot tell{yet}; {basis} allow anything from {low} to {high}.")
                }
                None => format!("{name}: cannot tell{yet}; {basis} do not bound the change."),
            }
        }
    }
}

/// "2.9 % a year (likely between 1.1 and 4.7 % a year)"; an interval on both sides of 0 names them.
fn slope_in_words(per_year: PerYear, way: Direction) -> String {
    let best = size(per_year.best, per_year.unit);
    let (near, far) = match way {
        Direction::Rising => (per_year.low, per_year.high),
        Direction::Falling => (per_year.high, per_year.low),
    };
    if near * far > 0.0 {
        let near = size(near, per_year.unit).replace(&format!(" {}", per_year.unit), "");
        format!("{best} (likely between {near} and {})", size(far, per_year.unit))
    } else {
        let other = if way == Direction::Rising { "falling" } else { "rising" };
        format!("{best} (at most {}, perhaps {other} by {})", size(far, per_year.unit), size(near, per_year.unit))
    }
}

fn two_tests_in_words(verdict: &Verdict, name: &str, segment: &Segment, points: &[&Point]) -> String {
    let shown = |point: &Point| Figure {
        sign: point.qualifier.sign().to_owned(),
        ..Figure::new(point.value, segment.unit, segment.decimals)
    };
    let ([first, last], Some(change)) = (points, &verdict.two_tests) else {
        return format!("{name}: two tests that cannot be compared.");
    };
    let moved = format!("from {} to {} in {}", shown(first), shown(last), span(verdict.span_years));
    let limits = match segment.scale {
        Scale::Log => format!("{:.0} % up or {:.0} % down", change.least_rise, -change.least_fall),
        Scale::Linear => format!("{:.2} either way", change.least_rise),
    };
    match verdict.finding {
        Finding::Moving(way, _) => {
            format!("{name} is probably {}: {moved}, more than the error of two tests explains ({limits}).", way.word())
        }
        _ => format!("{name}: cannot tell yet; {moved}, and two tests of unchanged soil can differ by {limits}."),
    }
}

/// Cautions and explanations, most telling first.
pub(super) fn notes(verdict: &Verdict, all: &[Segment], used: &[&Segment], points: &[&Point]) -> Vec<String> {
    let mut notes = vec![];
    if verdict.n >= 2
        && let Some(smallest) = verdict.smallest_possible_p.filter(|p| !p.at_most_percent(10))
    {
        let ties = if verdict.n > 3 { " with such ties" } else { "" };
        notes.push(format!(
            "{} tests{ties} can never show a trend by ranks alone: the smallest possible p is {smallest}.",
            number_word(verdict.n)
        ));
    }
    if verdict.n >= 3
        && let Some(line) = &verdict.line
    {
        if line.scatters_too_much() {
            notes.push(format!(
                "The tests scatter more than their stated error of {} explains; the range is widened {:.1} times.",
                used[0].error.one_test.words(),
                line.birge
            ));
        }
        if verdict.finding == Finding::CannotTell {
            let sigma = (points.iter().map(|point| point.sigma.powi(2)).sum::<f64>() / verdict.n as f64).sqrt();
            if let ([segment], Some(slope), Some(per_year)) =
                (used, smallest_visible_slope(&used[0].years(), sigma), verdict.per_year)
            {
                let least = if segment.scale == Scale::Log { 100.0 * slope.exp_m1() } else { slope };
                notes.push(format!(
                    "Tests at these dates, each with its error, could only show a change above about {}.",
                    size(least, per_year.unit)
                ));
            }
        }
    }
    if let ([segment], [first, last]) = (used, points) {
        let of = |point: &Point| (point.sampled_on, point.value);
        notes.extend(seasonal(segment.analyte, segment.unit, of(first), of(last)));
    }
    let limits = points.iter().filter(|point| point.qualifier != Qualifier::Exact).count();
    if limits > 0 && verdict.finding != Finding::OnlyLimits {
        notes.push(format!("{limits} of {} tests are only limits and enter as limits, never as numbers.", verdict.n));
    }
    if verdict.n >= 2 && verdict.p.is_none() {
        notes.push("With limits both below and above there is no test by ranks.".into());
    }
    if verdict.n > 20 {
        notes.push("More than 20 tests: p by the normal form.".into());
    }
    if used.len() > 1 {
        let labels: Vec<_> = used.iter().map(|segment| segment.label()).collect();
        notes.push(format!(
            "Read together with one slope, each at its own level and nothing compared across: {}.",
            labels.join("; then ")
        ));
    }
    for (index, other) in all.iter().enumerate() {
        if !verdict.segments.contains(&index) && !other.points.is_empty() {
            let why =
                if other.points.len() > 1 { "runs beside these and is not counted twice" } else { "one test only" };
            notes.push(format!("Not used: {} ({why}).", other.label()));
        }
    }
    for left_out in all.iter().flat_map(|segment| &segment.left_out) {
        notes.push(format!("The test of {} is left out: {}.", left_out.sampled_on, left_out.why));
    }
    if matches!(verdict.finding, Finding::Moving(..)) {
        notes.push("What was put on and taken off meanwhile is not taken out of this figure.".into());
    }
    notes.extend(used.iter().flat_map(|segment| segment.notes.iter().cloned()));
    notes.dedup();
    notes
}
