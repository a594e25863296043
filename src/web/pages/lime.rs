//! pH and lime on one plot: what each published method asks for, in a product and on the plot;
//! what the others lack; and lowering pH, or why not.

use super::{
    plot::{cell_pages, html, sentence},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{
        liking::{LevelUnit, Liking},
        lime::{FINENESS_SCHEMES, Given, LimeMethod, Reference, Scale, UK_PH, UNREAD_SCHEMES, UkSoil},
        quantity::{GramsPerM2, KgPerHa, SquareMetres},
        rate::RateUnit,
        reading::{Reading, number},
        record::CellKey,
        source::Source,
    },
    app::lime::{LimeAnswer, PlotLime, Spread},
    ids::PlotId,
    web::{
        error::Result,
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{
    extract::Path,
    http::StatusCode,
    response::{IntoResponse, Response},
};

/// Lime on a plot.
#[derive(Template)]
#[template(path = "pages/plots/lime.html")]
struct LimePage<'a> {
    frame: Frame,
    lime: &'a PlotLime,
    form: Form,
    soils: Vec<(&'static str, &'static str)>,
    products: Vec<(String, String)>,
    schemes: Vec<(&'static str, &'static str)>,
    /// Sieves that compute nothing here, why, and who publishes them.
    unread: Vec<(&'static str, String, By)>,
    value_kinds: [(&'static str, &'static str); 3],
    sieve_kinds: [(&'static str, &'static str); 2],
    /// Names of the sieve classes, from the finest, and the share of each that counts.
    sieves: Vec<String>,
    /// Published targets: use and soil, optimum, target, what to say of how well they are known.
    targets: Vec<(String, String, String, Option<&'static str>)>,
    given: Vec<GivenView<'a>>,
    ph: Option<String>,
    buffers: Vec<String>,
    /// Signs of free lime, as sentences.
    fizzes: Vec<String>,
    /// The one that suits best, and the others.
    best: Option<AnswerView<'a>>,
    others: Vec<AnswerView<'a>>,
    /// How far the others part from it, in a sentence; `None` where there are none.
    apart: Option<String>,
    silent: Vec<SilentView<'a>>,
    target: String,
    depth: String,
    lowering: Option<Lowering<'a>>,
}

/// A method that cannot tell, and what it reckons in.
struct SilentView<'a> {
    method: &'static str,
    why: &'a str,
    terms: String,
    by: By,
}

/// Who publishes something.
struct By {
    publisher: &'static str,
    address: Option<String>,
    mark: Option<&'static str>,
}

impl By {
    fn of(source: Source) -> By {
        By {
            publisher: source.publisher,
            address: show::address(&source.into()).map(str::to_owned),
            mark: show::evidence_mark(source.evidence),
        }
    }
}

/// Lime on the ground already.
struct GivenView<'a> {
    title: &'a str,
    carbonate: String,
    when: String,
    steps: Steps<'a>,
}

/// What one method asks for.
struct AnswerView<'a> {
    method: &'static str,
    none: bool,
    interpolated: bool,
    printed: String,
    terms: String,
    by: By,
    carbonate: String,
    carbonate_steps: Steps<'a>,
    spread: std::result::Result<SpreadView<'a>, &'a str>,
    notes: &'a [String],
    /// What speaks for and against it here, as sentences; empty where nothing does.
    for_it: String,
    against_it: String,
}

/// A requirement in the product.
struct SpreadView<'a> {
    per_area: String,
    on_plot: String,
    splits: Vec<SplitView<'a>>,
    notes: &'a [String],
    steps: Steps<'a>,
}

struct SplitView<'a> {
    parts: String,
    each: String,
    words: String,
    months: u8,
    /// What else the rule says.
    notes: &'a [String],
    publisher: &'a str,
    address: Option<String>,
}

/// Sulfur, or why not.
struct Lowering<'a> {
    refused: bool,
    words: String,
    notes: &'a [String],
    steps: Option<Steps<'a>>,
}

impl LimePage<'_> {
    /// Something was typed of what the sieves found, or a publisher's sieves are chosen.
    fn sieved(&self) -> bool {
        let said = |name: &&str| !self.form.value(name).is_empty() || !self.form.problems(name).is_empty();
        ["fineness", "sieve_as", "sieve_1", "sieve_2", "sieve_3", "sieve_4"].iter().any(said)
    }
}

fn read_as(reading: &Reading) -> String {
    let (figure, method) = (show::figure(&reading.figure()), reading.method.label());
    format!("{figure} ({method}), sampled {}", show::date(reading.sampled_on))
}

/// Lime as a person reads it on this plot.
#[derive(Clone, Copy)]
struct Reads {
    liking: Liking,
    area: SquareMetres,
}

impl Reads {
    fn lime(self, rate: KgPerHa) -> String {
        let figure = self.liking.lime(rate, self.area);
        match figure.unit.as_str() {
            "g" => format!("{} on this plot", show::mass(figure.value)),
            unit => format!("{}\u{a0}{unit}", show::significant(figure.value, 2)),
        }
    }

    fn tonnes(self, t_per_ha: f64) -> String {
        self.lime(RateUnit::TonnePerHa.read(t_per_ha))
    }

    /// A product as it is spread.
    fn product(self, rate: GramsPerM2) -> (String, String) {
        let figure = self.liking.product(rate.kg_per_ha());
        (show::significant(figure.value, 2), figure.unit)
    }
}

type PageOf<'p> = &'p dyn Fn(CellKey) -> Option<String>;

fn answer_view<'a>(answer: &'a LimeAnswer, reads: Reads, page_of: PageOf<'_>) -> AnswerView<'a> {
    let asked = &answer.requirement;
    AnswerView {
        method: asked.method.label(),
        none: asked.carbonate.0 <= 0.0,
        interpolated: asked.interpolated,
        printed: format!("{}\u{a0}{}", show::significant(asked.printed, 3), asked.reference.unit.label()),
        terms: terms(&asked.reference),
        by: By::of(asked.method.source()),
        carbonate: reads.tonnes(answer.carbonate_t_per_ha),
        carbonate_steps: Steps::of(&asked.working, page_of),
        spread: answer.spread.as_ref().map(|spread| spread_view(spread, reads, page_of)).map_err(String::as_str),
        notes: &asked.notes,
        for_it: told(&answer.suits.for_it),
        against_it: told(&answer.suits.against_it),
    }
}

/// Clauses as one sentence; empty for none.
fn told(clauses: &[String]) -> String {
    let all = clauses.join("; ");
    let mut chars = all.chars();
    let first = chars.next().map(|first| first.to_uppercase().collect::<String>()).unwrap_or_default();
    sentence(&format!("{first}{}", chars.as_str()))
}

/// What a method asks for on the plot: kg of the product, or of pure carbonate.
fn on_plot(answer: &LimeAnswer) -> f64 {
    answer.spread.as_ref().map_or(answer.carbonate_t_per_ha, |spread| spread.on_plot.0)
}

/// How the others stand to the one that suits best: nobody is to think that they agree.
fn apart(answers: &[LimeAnswer], reads: Reads) -> Option<String> {
    let (best, others) = answers.split_first()?;
    let amounts: Vec<f64> = others.iter().map(on_plot).collect();
    let (least, most) = (amounts.iter().copied().reduce(f64::min)?, amounts.iter().copied().reduce(f64::max)?);
    let words = |amount: f64| match (amount, &best.spread) {
        (amount, _) if amount <= 0.0 => "no lime".to_owned(),
        (amount, Ok(_)) => show::mass(amount),
        (amount, Err(_)) => reads.tonnes(amount),
    };
    let here = on_plot(best);
    let ask = if others.len() == 1 { "The other method asks" } else { "The other methods ask" };
    let range = match words(least) == words(most) {
        true => words(least),
        false => format!("{} to {}", words(least), words(most)),
    };
    let compared = match (least < here * 0.95, most > here * 1.05) {
        (true, true) => ", some less and some more than this",
        (true, false) => ", less than this",
        (false, true) => ", more than this",
        (false, false) => ", about the same",
    };
    Some(format!("{ask} for {range}{compared}."))
}

/// What a method's rates are rates of: lime, depth and ton, and what of them was not stated.
fn terms(reference: &Reference) -> String {
    let mut unstated = Vec::new();
    if reference.value_percent.is_none() {
        unstated.push("the strength of the lime");
    }
    if reference.scale == Scale::NotStated {
        unstated.push("the depth");
    }
    match unstated[..] {
        [] => reference.words.to_owned(),
        _ => format!("{}; {} not stated where it was read", reference.words, unstated.join(" and ")),
    }
}

fn given_view<'a>(given: &'a Given, reads: Reads, page_of: PageOf<'_>) -> GivenView<'a> {
    GivenView {
        title: &given.working.title,
        carbonate: reads.lime(given.carbonate),
        when: if given.since_sample() {
            "after the sample".into()
        } else {
            format!("{} months before the sample", show::significant(given.months_before_sample, 2))
        },
        steps: Steps::of(&given.working, page_of),
    }
}

fn silent_view<'a>((method, why): &'a (LimeMethod, String)) -> SilentView<'a> {
    SilentView { method: method.label(), why, terms: terms(&method.reference()), by: By::of(method.source()) }
}

fn spread_view<'a>(spread: &'a Spread, reads: Reads, page_of: PageOf<'_>) -> SpreadView<'a> {
    let splits = spread.splits.iter().map(|split| SplitView {
        parts: show::count(split.parts, "part"),
        each: show::mass(split.each.0),
        words: split.rule.words(),
        months: split.rule.months_apart,
        notes: &split.rule.notes,
        publisher: &split.rule.of.source.publisher,
        address: show::address(&split.rule.of.source).map(str::to_owned),
    });
    let per_m2 = format!("{}\u{a0}{}", show::significant(spread.grams_per_m2.0, 2), GramsPerM2::UNIT);
    SpreadView {
        per_area: match reads.liking.unit {
            // What it is on the plot stands before it anyway, and so does lb/acre by either way.
            LevelUnit::LbPerAcre => reads.tonnes(spread.t_per_ha),
            LevelUnit::GramsOnPlot => per_m2,
            _ => format!("{per_m2}, {}", reads.tonnes(spread.t_per_ha)),
        },
        on_plot: show::mass(spread.on_plot.0),
        splits: splits.collect(),
        notes: &spread.rate.notes,
        steps: Steps::of(&spread.working, page_of),
    }
}

/// `GET /plots/{plot}/lime?target_ph=6.5&product=3`; what is typed stays in the address
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let lime = cx.app.plot_lime(&cx.actor, plot, form.read_as()?).await?;
    let pages = cell_pages(&lime.standing);
    let page_of = |key| pages.get(&key).cloned();
    let reads = Reads { liking: cx.actor.liking, area: lime.standing.plot.ground().area };
    let mut form = Form::of(&lime.form);
    for problem in &lime.problems.0 {
        form.problem(&problem.field, &problem.message);
    }
    let typed = (String::new(), "By its value, below".to_owned());
    let products = lime.products.iter().map(|row| (row.id.to_string(), row.amendment.name.clone()));
    let mut answers = lime.answers.iter().map(|answer| answer_view(answer, reads, &page_of));
    let lowering = lime.lowering.as_ref().map(|lowering| match lowering {
        Ok(rate) => Lowering {
            refused: false,
            words: format!(
                "Elemental sulfur, {} to {}\u{a0}{}",
                reads.product(rate.low).0,
                reads.product(rate.high).0,
                reads.product(rate.high).1
            ),
            notes: &rate.notes,
            steps: Some(Steps::of(&rate.working, &page_of)),
        },
        Err(not) => Lowering {
            refused: true,
            words: not.reason.clone(),
            notes: &[],
            steps: not.working.as_ref().map(|working| Steps::of(working, &page_of)),
        },
    });
    let status = if lime.problems.is_empty() { StatusCode::OK } else { StatusCode::UNPROCESSABLE_ENTITY };
    let page = LimePage {
        frame: under_plot(
            &cx,
            &lime.site,
            &lime.standing.plot,
            format!("pH and lime on {}", titled(&lime.standing.plot)),
        ),
        form,
        soils: UkSoil::ALL.iter().map(|soil| (soil.slug(), soil.label())).collect(),
        products: products.chain([typed]).collect(),
        unread: UNREAD_SCHEMES.iter().map(|scheme| (scheme.name, scheme.why(), By::of(scheme.source))).collect(),
        schemes: std::iter::once(("", "Not known: all of it is counted as fine"))
            .chain(FINENESS_SCHEMES.iter().map(|scheme| (scheme.slug, scheme.name)))
            .collect(),
        sieves: lime
            .sieves
            .map(|scheme| scheme.classes.iter().map(|(name, share)| format!("{name} counts {share}")).collect())
            .unwrap_or_default(),
        targets: UK_PH
            .iter()
            .map(|row| {
                let mark = show::evidence_mark(row.source.evidence);
                (row.words(), number(row.optimum), number(row.target()), mark)
            })
            .collect(),
        value_kinds: [
            ("", "% of pure calcium carbonate (CCE)"),
            ("oxide", "% as CaO"),
            ("effective", "lb of effective value in a short ton, fineness and water in it"),
        ],
        sieve_kinds: [
            ("", "the part between one sieve and the next"),
            ("passing", "all that passes a sieve, from the finest"),
        ],
        given: lime.given.iter().map(|given| given_view(given, reads, &page_of)).collect(),
        silent: lime.silent.iter().map(silent_view).collect(),
        depth: show::significant(lime.depth_cm, 3),
        ph: lime.ph.as_ref().map(read_as),
        buffers: lime.buffers.iter().map(read_as).collect(),
        fizzes: lime.standing.present.signs.reasons.iter().map(|sign| sentence(sign)).collect(),
        best: answers.next(),
        others: answers.collect(),
        apart: apart(&lime.answers, reads),
        target: show::number(lime.target_ph, 1),
        lowering,
        lime: &lime,
    };
    Ok((status, html(&page)?).into_response())
}
