//! A sheet's own capacity, shares and ratios, worked out again from its own cells, and what
//! explains a difference: rounded weights, acids counted or not, another denominator, free
//! lime, salts, units. It takes the sheet's cells as they are and calls nothing right.

use crate::agronomy::{
    analyte::{Analyte, RATIOS as PAIRS},
    carbonate::{Signs, is_alkaline},
    element::Element,
    exchange_capacity::{
        BASES, Capacity, Parts, SUMMATION, TITRATION, acid_for, capacity, clemson_divisors, rounded_divisors,
    },
    method::Method,
    quantity::Percent,
    reading::{Divisors, Level, Reading, charge, number},
    record::{Determination, Qualifier},
    saturation::{
        BASES_RATED, BESIDE_MODIFIED_MORGAN, MAGNESIUM_BESIDE_POTASSIUM, RATIOS, USUALLY_FOUND, bases_rated,
        beside_modified_morgan, calcium_to_magnesium_says, magnesium_short, magnesium_to_potassium_says, usually_found,
    },
    source::{Citation, Evidence, Source},
    working::{Figure, Working},
};
use std::collections::BTreeMap;

/// Sums of cations scatter between labs; displacement is steadier.
const SUMS_SCATTER: Source = Source {
    publisher: "Agricultural Laboratory Proficiency programme, 135 soils, 102 laboratories (abstract)",
    title: "Capacity by displacement is precise between labs; by sum of cations it is imprecise and biased",
    year: 2015,
    address: "",
    evidence: Evidence::Read,
};

/// Percentages of calcium, magnesium and potassium alone.
const OF_BASES: Source = Source {
    publisher: "Michigan State University Extension",
    title: "Percentages of K, Ca and Mg that make 100 among themselves",
    year: 0,
    address: "https://www.canr.msu.edu",
    evidence: Evidence::Read,
};

/// One figure of a sheet, worked out again.
#[derive(Clone, Debug, PartialEq)]
pub struct Line {
    /// "Exchange capacity", "Calcium, share", "Calcium to magnesium".
    pub what: String,
    /// As the sheet prints it, where it does.
    pub printed: Option<Figure>,
    /// From the sheet's own cells.
    pub ours: Option<Working>,
    /// It comes out as printed, by some way of counting that labs use.
    pub fits: bool,
    /// What is to be said of the two, as sentences.
    pub words: String,
}

/// The sums of one sheet, and how finely it prints.
#[derive(Clone, Debug, PartialEq)]
pub struct Recomputed {
    /// The caller's key of the sheet.
    pub report: i64,
    pub lab: String,
    pub lines: Vec<Line>,
    /// How finely it prints, where that is not as recommended; sentences.
    pub fineness: Vec<String>,
}

/// A way of counting, and what it makes.
struct Tried {
    value: f64,
    /// "with the rounded weights (200, 120, 390, 230)".
    how: &'static str,
}

/// A ratio of two cations as the sheet prints it.
#[derive(Clone, Debug, PartialEq)]
pub struct PrintedRatio {
    pub over: Element,
    pub under: Element,
    pub printed: Figure,
}

impl PrintedRatio {
    /// A printed cell that is a ratio; a limit is none.
    pub fn of(cell: &Determination) -> Option<PrintedRatio> {
        let Analyte::Ratio(over, under) = cell.analyte else { return None };
        let value = cell.printed.value.filter(|_| cell.printed.qualifier == Qualifier::Exact)?;
        Some(PrintedRatio { over, under, printed: Figure::new(value, "", cell.printed.decimals) })
    }

    /// It stands alone where its cations do not.
    fn alone(&self) -> Line {
        Line {
            what: format!("{} to {}", Analyte::Element(self.over).name(), self.under.name()),
            printed: Some(self.printed.clone()),
            ours: None,
            fits: true,
            words: "It cannot be worked out from this sheet.".into(),
        }
    }

    /// What is to be said of it beside what the cells make by charge and by mass.
    fn held_against(&self, by_charge: f64, by_mass: f64) -> (bool, String) {
        // Two printed cells, each rounded by half a digit, make a ratio of a few per cent either way;
        // three are our own limit, no source.
        let near = |value: f64| as_printed(value, &self.printed) || (value / self.printed.value - 1.0).abs() < 0.03;
        let two = |value: f64| Figure::significant(value, "", 2);
        match (near(by_charge), near(by_mass)) {
            (true, false) => (true, "The printed ratio is of charge, as the cells make it.".into()),
            (false, true) => (
                true,
                format!(
                    "The printed ratio is by weight, of mg/kg: the cells make {} that way and {} by charge. Of the same soil the two are a factor of {} apart, so it must not be held against a ratio by charge.",
                    two(by_mass),
                    two(by_charge),
                    Figure::significant(by_mass.max(by_charge) / by_mass.min(by_charge), "", 3)
                ),
            ),
            (true, true) => (true, "The cells make the printed ratio, by charge and by weight alike.".into()),
            (false, false) => (
                false,
                format!(
                    "The cells make {} by charge and {} by weight. Is a cell typed wrongly, or is the ratio of another extract?",
                    two(by_charge),
                    two(by_mass)
                ),
            ),
        }
    }
}

/// Works a sheet's sums out again from its readings. Empty where it has too few cells for any.
pub fn recompute(readings: &[Reading], printed_ratios: &[PrintedRatio], signs: &Signs) -> Vec<Line> {
    let Some(parts) = parts(readings) else { return printed_ratios.iter().map(PrintedRatio::alone).collect() };
    let mut lines = Vec::new();
    let inflated = inflated(&parts, signs);
    let stated = find(readings, Analyte::ExchangeCapacity);
    let summed = sum(&parts, &Divisors::exact());
    lines.extend(capacity_line(&parts, stated, summed.as_ref().ok(), summed.as_ref().err(), &inflated));
    // Shares are of the printed capacity where there is one: that is what the sheet divided by.
    let with_stated = Parts { stated: stated.cloned(), ..parts.clone() };
    let shared = sum(&with_stated, &Divisors::exact()).ok();
    for element in BASES.into_iter().chain([Element::H]) {
        lines.extend(share_line(element, readings, &with_stated, shared.as_ref(), &inflated));
    }
    lines.extend(base_line(readings, &with_stated, shared.as_ref(), &inflated));
    lines.extend(ratios(&parts, printed_ratios));
    lines.extend(magnesium_among_bases(&parts));
    lines
}

/// Cations of the method that read calcium, with acidity, buffer and pH of the same sheet.
fn parts(readings: &[Reading]) -> Option<Parts> {
    let calcium = readings.iter().find(|r| r.analyte == Analyte::Element(Element::Ca) && r.is_exact())?;
    let of_sheet = |element: Element| {
        let fits = |r: &&Reading| {
            r.analyte == Analyte::Element(element)
                && (!BASES.contains(&element) || r.method == calcium.method && r.level.unit() == calcium.level.unit())
        };
        readings.iter().find(fits).cloned()
    };
    let cations: BTreeMap<Element, Reading> = BASES
        .into_iter()
        .chain([Element::Al, Element::H])
        .filter_map(|element| Some((element, of_sheet(element)?)))
        .collect();
    Some(Parts {
        cations,
        acidity: find(readings, Analyte::Acidity).cloned(),
        buffer_ph: find(readings, Analyte::BufferPh).cloned(),
        ph: find(readings, Analyte::Ph).cloned(),
        stated: None,
    })
}

fn find(readings: &[Reading], analyte: Analyte) -> Option<&Reading> {
    readings.iter().find(|reading| reading.analyte == analyte && reading.is_exact())
}

/// The capacity as the cells make it, whatever lime or salts add: this is arithmetic, not judgement.
fn sum(parts: &Parts, divisors: &Divisors) -> Result<Capacity, String> {
    capacity(parts, &Signs::default(), divisors).map_err(|withheld| withheld.reason)
}

/// The bases alone, in the unit of calcium.
fn bases(parts: &Parts, divisors: &Divisors) -> Option<f64> {
    let charges: Option<Vec<f64>> =
        BASES[..3].iter().map(|base| Some(charge(parts.cations.get(base)?, divisors)?.0.number())).collect();
    let sodium = parts.cations.get(&Element::Na).and_then(|na| charge(na, divisors)).map_or(0.0, |c| c.0.number());
    Some(charges?.iter().sum::<f64>() + sodium)
}

/// What free lime or salts do to the bases as this sheet's extract counts them; empty where nothing.
fn inflated(parts: &Parts, signs: &Signs) -> String {
    let method = parts.cations.get(&Element::Ca).map(|calcium| &calcium.method);
    let what = match method {
        Some(method) if signs.calcareous() && !is_alkaline(method) => "Free lime swells",
        Some(Method::AmmoniumChloride85) => return String::new(), // washes salts out first
        _ if signs.salty() => "Salts swell",
        _ => return String::new(),
    };
    format!(" {what} what this extract counts as bases here, so neither figure is what the soil can hold.")
}

/// Whether a value, rounded as the sheet prints it, is what the sheet prints.
fn as_printed(value: f64, printed: &Figure) -> bool {
    let step = 10f64.powi(-i32::from(printed.decimals));
    (value - printed.value).abs() <= step / 2.0 + step * 1e-6
}

const ROUNDED: &str = "with the rounded weights that many labs use (200, 120, 390 and 230 mg/kg to the cmol(+))";
const CLEMSON: &str = "with Clemson’s weights (200, 120, 391 and 230 mg/kg to the cmol(+))";

/// Sets of weights that labs divide by, with how to say so: exact ones, then those that the lab
/// itself prints where it is one whose page was read, then the others.
fn ways(lab: &str) -> [(Divisors, &'static str); 3] {
    let (rounded, clemson) = ((rounded_divisors(), ROUNDED), (clemson_divisors(), CLEMSON));
    match prints_its_weights(lab) {
        true => [(Divisors::exact(), ""), clemson, rounded],
        false => [(Divisors::exact(), ""), rounded, clemson],
    }
}

/// Clemson prints what it divides lb/acre by (400, 240, 782, 460), so a sheet of its own is held
/// against that first: 3.83 comes out with 390 for potassium too (3.8254 and 3.8261).
fn prints_its_weights(lab: &str) -> bool {
    lab.to_lowercase().contains("clemson")
}

fn capacity_line(
    parts: &Parts,
    stated: Option<&Reading>,
    summed: Option<&Capacity>,
    why_not: Option<&String>,
    inflated: &str,
) -> Option<Line> {
    let what = "Exchange capacity".to_owned();
    let Some(stated) = stated else {
        let words = match (summed, why_not) {
            (Some(_), _) => format!("The sheet prints none.{inflated}"),
            (None, why) => format!("{}.", why?.trim_end_matches('.')),
        };
        return Some(Line { what, printed: None, ours: summed.map(|s| s.working.clone()), fits: true, words });
    };
    let printed = stated.figure();
    let inflated = &format!("{}{inflated}", titration(stated));
    let mut tried: Vec<Tried> = Vec::new();
    let ways = ways(&stated.lab);
    let fits_unit = |level: Level| level.unit() == stated.level.unit();
    for (divisors, how) in &ways {
        let made = sum(parts, divisors).ok().filter(|made| fits_unit(made.level));
        tried.extend(made.map(|made| Tried { value: made.level.number(), how: *how }));
    }
    for (divisors, how) in &[(Divisors::exact(), ""), (rounded_divisors(), ROUNDED)] {
        let how = match *how {
            "" => "without hydrogen and aluminium: it is the sum of the bases, which is less than a sour soil can hold",
            _ => "without hydrogen and aluminium, and with rounded weights: it is the sum of the bases alone",
        };
        let by_mass = parts
            .cations
            .values()
            .next()
            .is_some_and(|r| charge(r, divisors).is_some_and(|(level, _)| fits_unit(level)));
        tried.extend(bases(parts, divisors).filter(|_| by_mass).map(|value| Tried { value, how }));
    }
    let ours = summed.map(|s| s.working.clone());
    if let Some(fit) = tried.iter().find(|tried| as_printed(tried.value, &printed)) {
        let as_well = tried.iter().find(|other| {
            other.how != fit.how && [ROUNDED, CLEMSON].contains(&other.how) && as_printed(other.value, &printed)
        });
        let words = match (fit.how, as_well) {
            ("", _) => format!("The cells make the printed figure.{inflated}"),
            (how @ (ROUNDED | CLEMSON), Some(other)) if !prints_its_weights(&stated.lab) => format!(
                "The cells make the printed figure {how}. So they do {}: the printed digits do not tell the two apart.{inflated}",
                other.how
            ),
            (how, _) => format!("The cells make the printed figure {how}.{inflated}"),
        };
        return Some(Line { what, printed: Some(printed), ours, fits: true, words });
    }
    let Some(summed) = summed.filter(|summed| fits_unit(summed.level)) else {
        let why = why_not.map_or("the cells are in another unit than the capacity".to_owned(), |why| {
            let mut chars = why.chars();
            chars.next().map_or_else(String::new, |first| first.to_lowercase().chain(chars).collect())
        });
        let words = format!("It cannot be worked out from this sheet: {}.", why.trim_end_matches('.'));
        return Some(Line { what, printed: Some(printed), ours: None, fits: true, words });
    };
    let ratio = summed.level.number() / printed.value;
    let mut words = format!("The cells make {} % of the printed figure.", number((ratio * 100.0).round()));
    if matches!(stated.method, Method::CapacityAcetate7 | Method::CapacityAcetate82) {
        words += &format!(
            " It was measured by displacement and not added up; the two seldom agree ({}).",
            Citation::from(SUMS_SCATTER)
        );
    } else if (ratio - 2.0).abs() < 0.1 || (ratio - 0.5).abs() < 0.05 {
        words += " That is a factor of two: lb/acre taken for ppm, or the other way round?";
    } else if (ratio - 1.0).abs() <= 0.03 {
        words += " Rounding of the cells as printed may explain it.";
    } else if inflated.is_empty() {
        words += " No way of counting that is known here explains it: is a cell, a unit or a method wrong?";
    }
    Some(Line { what, printed: Some(printed), ours, fits: false, words: words + inflated })
}

/// What a displaced capacity was at the burette: how fine the figure can be.
fn titration(stated: &Reading) -> String {
    let displaced = matches!(stated.method, Method::CapacityAcetate7 | Method::CapacityAcetate82);
    let acid = match stated.level {
        Level::CmolPerKg(charge) if displaced => acid_for(charge, 5.0, 0.1),
        _ => None,
    };
    acid.map_or_else(String::new, |ml| {
        format!(
            " It is titrated: on 5 g of soil and with 0.1 N acid, as one laboratory’s notes have it, {} mL at the burette ({}).",
            number((ml * 100.0).round() / 100.0),
            Citation::from(TITRATION)
        )
    })
}

fn share_line(
    element: Element,
    readings: &[Reading],
    parts: &Parts,
    shared: Option<&Capacity>,
    inflated: &str,
) -> Option<Line> {
    let printed = find(readings, Analyte::Saturation(element))?.figure();
    let what = Analyte::Saturation(element).name();
    let held = match element {
        Element::H => shared.and_then(|capacity| capacity.acidity.as_ref()),
        _ => shared.and_then(|capacity| capacity.cations.get(&element)),
    };
    let mut tried: Vec<Tried> = Vec::new();
    let of = |parts: &Parts, divisors: &Divisors| {
        let capacity = sum(parts, divisors).ok()?;
        let held = match element {
            Element::H => capacity.acidity,
            _ => capacity.cations.get(&element).cloned(),
        };
        Some(held?.share.0)
    };
    tried.extend(held.map(|held| Tried { value: held.share.0, how: "" }));
    let rounded = rounded_divisors();
    tried.extend(of(parts, &rounded).map(|value| Tried { value, how: ROUNDED }));
    let own_sum = Parts { stated: None, ..parts.clone() };
    let exact = Divisors::exact();
    tried.extend(of(&own_sum, &exact).map(|value| Tried { value, how: "of the sum of its own cells" }));
    tried.extend(
        of(&own_sum, &rounded).map(|value| Tried { value, how: "of the sum of its own cells, with rounded weights" }),
    );
    if element != Element::H {
        for (divisors, how) in [
            (&exact, "of calcium, magnesium and potassium alone, not of the capacity"),
            (&rounded, "of calcium, magnesium and potassium alone, with rounded weights"),
        ] {
            let charges: Option<Vec<(Element, f64)>> = BASES[..3]
                .iter()
                .map(|base| Some((*base, charge(parts.cations.get(base)?, divisors)?.0.number())))
                .collect();
            let own = charges.as_ref().and_then(|all| all.iter().find(|(e, _)| *e == element)).map(|(_, v)| *v);
            let all: Option<f64> = charges.as_ref().map(|all| all.iter().map(|(_, v)| v).sum());
            tried.extend(own.zip(all).map(|(own, all)| Tried { value: 100.0 * own / all, how }));
        }
    }
    let by_morgan = parts.cations.get(&element).is_some_and(|cation| cation.method == Method::ModifiedMorgan);
    let range = beside_modified_morgan(element, Percent(printed.value)).filter(|_| by_morgan && inflated.is_empty());
    let range = range.map_or_else(String::new, |says| {
        format!(
            " It is {says} that one laboratory prints as optimum; here that is context and no aim, our own choice ({}).",
            Citation::from(BESIDE_MODIFIED_MORGAN)
        )
    });
    Some(compared(what, printed, held.map(|held| held.working.clone()), &tried, &format!("{range}{inflated}")))
}

fn base_line(readings: &[Reading], parts: &Parts, shared: Option<&Capacity>, inflated: &str) -> Option<Line> {
    let printed = find(readings, Analyte::BaseSaturation)?.figure();
    let held = shared.and_then(|capacity| capacity.base_saturation.as_ref());
    let mut tried: Vec<Tried> = Vec::new();
    tried.extend(held.map(|held| Tried { value: held.share.0, how: "" }));
    let of = |parts: &Parts, divisors: &Divisors| sum(parts, divisors).ok()?.base_saturation.map(|held| held.share.0);
    let lab = readings.first().map_or("", |reading| reading.lab.as_str());
    let [_, first, second] = ways(lab);
    tried.extend([first, second].iter().filter_map(|(divisors, how)| Some(Tried { value: of(parts, divisors)?, how })));
    if let (Some(held), Some(shared)) = (held, shared) {
        let exact = Divisors::exact();
        let acid =
            |element| parts.cations.get(&element).and_then(|r| charge(r, &exact)).map(|(level, _)| level.number());
        let all = shared.level.number();
        for (acids, how) in [
            (acid(Element::Al), "with aluminium counted as a base, which it is not"),
            (acid(Element::H), "with hydrogen counted as a base, which it is not"),
        ] {
            tried.extend(acids.map(|acid| Tried { value: held.share.0 + 100.0 * acid / all, how }));
        }
    }
    let own_sum = Parts { stated: None, ..parts.clone() };
    tried.extend(of(&own_sum, &Divisors::exact()).map(|value| Tried { value, how: "of the sum of its own cells" }));
    let working = held.map(|held| held.working.clone());
    let rated = match inflated.is_empty() {
        true => format!(
            " Landon (1984, in {}) calls {printed} {}.",
            BASES_RATED.publisher,
            bases_rated(Percent(printed.value))
        ),
        false => String::new(),
    };
    Some(compared("Base saturation".into(), printed, working, &tried, &format!("{rated}{inflated}")))
}

/// A printed share against the ways of counting that were tried.
fn compared(what: String, printed: Figure, ours: Option<Working>, tried: &[Tried], inflated: &str) -> Line {
    let fit = tried.iter().find(|tried| as_printed(tried.value, &printed));
    let off = |tried: &&Tried| (tried.value - printed.value).abs();
    let nearest = tried.iter().min_by(|a, b| off(a).total_cmp(&off(b)));
    // What was printed rounds several cells, each by half a digit; the plainest way that comes near.
    let near = tried.iter().find(|tried| off(tried) <= 1.0);
    let (fits, words) = match (fit, nearest) {
        (Some(fit), _) if fit.how.is_empty() => (true, "The cells make the printed figure.".to_owned()),
        (Some(fit), _) => {
            let source =
                if fit.how.contains("alone") { format!(" (as {})", Citation::from(OF_BASES)) } else { String::new() };
            (true, format!("The cells make the printed figure {}{source}.", fit.how))
        }
        (None, _) if near.is_some() => {
            let how = near.map_or("", |near| near.how);
            let how = if how.is_empty() { String::new() } else { format!(" {how}") };
            (true, format!("The cells come within one point of the printed figure{how}; rounding explains that."))
        }
        (None, Some(near)) => {
            let how = if near.how.is_empty() { String::new() } else { format!(", {}", near.how) };
            let words = format!(
                "The nearest that the cells make is {} %{how}. Is a cell, a unit or the capacity wrong?",
                number((near.value * 10.0).round() / 10.0)
            );
            (false, words)
        }
        (None, None) => (true, "It cannot be worked out from this sheet.".to_owned()),
    };
    Line { what, printed: Some(printed), ours, fits, words: words + inflated }
}

/// Ratios by charge, with what a ratio of mg/kg would say beside them.
fn ratios(parts: &Parts, printed: &[PrintedRatio]) -> Vec<Line> {
    let exact = Divisors::exact();
    let worked = |(over, under): (Element, Element)| {
        let (top, bottom) = (parts.cations.get(&over)?, parts.cations.get(&under)?);
        let ((a, a_working), (b, b_working)) = (charge(top, &exact)?, charge(bottom, &exact)?);
        let value = a.number() / b.number();
        if !value.is_finite() || !top.is_exact() || !bottom.is_exact() {
            return None;
        }
        let by_mass = value * over.mg_per_cmol_charge()? / under.mg_per_cmol_charge()?;
        let what = format!("{} to {}, by charge", Analyte::Element(over).name(), under.name());
        let formula = format!("{} ÷ {} = {}", number(a.number()), number(b.number()), number(value));
        let ours = Working::step(&what, Figure::significant(value, "", 2), formula, [a_working, b_working])
            .cite(SUMMATION)
            .note("Ratios are of charge, of one extract, on one basis.");
        let says = match (over, under) {
            (Element::Ca, Element::Mg) => Some(calcium_to_magnesium_says(value)),
            (Element::Mg, Element::K) => Some(magnesium_to_potassium_says(value)),
            _ => None,
        };
        let says = says.map_or_else(String::new, |says| {
            format!(" Metson (1974) and Rayment (1983, in {}) would read from it: {says}.", RATIOS.publisher)
        });
        let printed = printed.iter().find(|one| (one.over, one.under) == (over, under));
        let (fits, words) = match printed {
            Some(one) => one.held_against(value, by_mass),
            None => (
                true,
                format!(
                    "By weight it would read {}: ratios of mg/kg are other numbers, so ask a lab which it prints.",
                    Figure::significant(by_mass, "", 2)
                ),
            ),
        };
        let printed = printed.map(|one| one.printed.clone());
        Some(Line { what, printed, ours: Some(ours), fits, words: words + &says })
    };
    let alone = |pair| printed.iter().find(|one| (one.over, one.under) == pair).map(PrintedRatio::alone);
    PAIRS.into_iter().filter_map(|pair| worked(pair).or_else(|| alone(pair))).collect()
}

/// Magnesium's share of potassium, calcium and magnesium together, and what Michigan State reads from it.
fn magnesium_among_bases(parts: &Parts) -> Option<Line> {
    let exact = Divisors::exact();
    let held = |element: Element| {
        let reading = parts.cations.get(&element).filter(|reading| reading.is_exact())?;
        charge(reading, &exact).map(|(level, working)| (level.number(), working))
    };
    let ((ca, ca_working), (mg, mg_working), (k, k_working)) =
        (held(Element::Ca)?, held(Element::Mg)?, held(Element::K)?);
    let all = ca + mg + k;
    let share = |part: f64| 100.0 * part / all;
    if !share(mg).is_finite() {
        return None;
    }
    let formula =
        format!("100 × {} ÷ ({} + {} + {}) = {} %", number(mg), number(k), number(ca), number(mg), number(share(mg)));
    let what = "Magnesium among potassium, calcium and magnesium".to_owned();
    let ours = Working::step(&what, Figure::new(share(mg), "%", 1), formula, [k_working, ca_working, mg_working])
        .cite(MAGNESIUM_BESIDE_POTASSIUM)
        .note("Of these three alone: neither acidity nor sodium is counted.");
    let short = magnesium_short(Percent(share(mg)), Percent(share(k)));
    let found = [(Element::Ca, ca), (Element::Mg, mg), (Element::K, k)].map(|(element, part)| {
        let says = usually_found(element, Percent(share(part))).unwrap_or("not said");
        format!("{} {says}", element.name())
    });
    let words = format!(
        "Potassium holds {} of these three. Michigan State asks for more than 3 % magnesium, and more than potassium holds: by that, magnesium is {}. Beside what one laboratory there usually finds, which is no aim: {} ({}).",
        Figure::new(share(k), "%", 1),
        if short { "short" } else { "not short" },
        found.join(", "),
        Citation::from(USUALLY_FOUND)
    );
    Some(Line { what, printed: None, ours: Some(ours), fits: true, words })
}
