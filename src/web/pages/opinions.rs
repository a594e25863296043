//! One plot, or one sheet of it, under every guideline: a nutrient at a time, those first over
//! which they part the most; each guideline's class, aim and need in one unit, by how much they
//! part and why, and who says nothing. Each figure opens to its working.

use super::{
    plot::{Shares, WorkingPage, html, placed},
    plots::{titled, under_plot},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        guideline::{LandUse, builtin},
        liking::{LevelUnit, Liking},
        quantity::KgPerHa,
        rate::RateUnit,
        record::CellKey,
        second_opinion::{Opinion, Philosophy, Row, Silent},
        working::Working,
    },
    app::opinions::Opinions,
    ids::{PlotId, ReportId},
    web::{
        error::{Error, Result},
        form::Form,
        guard::Cx,
        show::{self, filters},
        view::{Frame, Steps},
    },
};
use askama::Template;
use axum::{extract::Path, response::Response};
use std::collections::BTreeMap;

/// A plot or a sheet under all guidelines.
#[derive(Template)]
#[template(path = "pages/plots/opinions.html")]
struct OpinionsPage<'a> {
    frame: Frame,
    /// Address of the page itself, without what was asked.
    at: String,
    form: Form,
    uses: Vec<(&'static str, &'static str)>,
    /// Of a mixed sample read alone: whose ground counts.
    of_sheet: Option<String>,
    unit: String,
    rows: Vec<RowView<'a>>,
    /// Nutrients over which they part, with their places on the page.
    parted: Vec<(String, String)>,
    unspoken: String,
    left_out: &'a [Silent],
    shares: Shares,
}

/// A nutrient.
struct RowView<'a> {
    key: String,
    name: String,
    /// What the summary says beside the name.
    short: String,
    /// Method, what was found, the same in the one unit, address of its working, why not.
    found: Vec<FoundView>,
    opinions: Vec<OpinionView<'a>>,
    silent: &'a [Silent],
    apart: Option<Apart<'a>>,
    /// A share of the capacity is among its aims.
    by_share: bool,
}

struct FoundView {
    method: String,
    figure: String,
    /// In the one unit, where it is another.
    in_unit: Option<String>,
    at: String,
    kept: Option<&'static str>,
}

/// One guideline's word.
struct OpinionView<'a> {
    opinion: &'a Opinion,
    class: String,
    aim: Option<String>,
    need: Option<String>,
    /// What to say of how well its limits are known.
    mark: Option<&'static str>,
    /// The test that it reads, where others read another.
    reads: Option<&'a str>,
    /// Addresses of the workings.
    aim_at: String,
    verdict_at: String,
}

/// By how much they part.
struct Apart<'a> {
    why: Vec<&'a str>,
    by: String,
    steps: Steps<'a>,
}

/// What of an opinion a working is behind: the last part of its address, and its name.
const FIGURES: [(&str, &str); 4] = [
    ("found", "What was found"),
    ("aim", "The aim"),
    ("mass", "The aim in the soil of this plot"),
    ("verdict", "The class and the need"),
];

/// What the page was asked for; without a use it goes by the plot's own.
fn asked(form: &Form) -> (Option<LandUse>, bool) {
    (form.value("use").parse().ok(), form.has("memory", "on"))
}

/// The same as the end of an address.
fn query(form: &Form) -> String {
    match asked(form) {
        (None, false) => String::new(),
        (None, true) => "?memory=on".to_owned(),
        (Some(land_use), memory) => format!("?use={}{}", land_use.slug(), if memory { "&memory=on" } else { "" }),
    }
}

/// The one unit in which all is set side by side: an amount per area, for needs are one.
fn one_unit(liking: Liking) -> Liking {
    match liking.unit {
        LevelUnit::KgPerHa | LevelUnit::LbPerAcre | LevelUnit::GramsOnPlot => liking,
        LevelUnit::AsPrinted | LevelUnit::MgPerKg => Liking { unit: LevelUnit::KgPerHa, ..liking },
    }
}

/// What every view of a page needs.
struct Place<'a> {
    of: &'a Opinions,
    /// Address of the page.
    at: &'a str,
    query: &'a str,
    liking: Liking,
    pages: BTreeMap<CellKey, String>,
}

impl<'a> Place<'a> {
    fn working_at(&self, guideline: &str, analyte: Analyte, what: &str) -> String {
        format!("{}/{guideline}/{analyte}/{what}{}", self.at, self.query)
    }

    fn rate(&self, analyte: Analyte, rate: KgPerHa) -> String {
        let figure = analyte
            .element()
            .map(|element| self.liking.rate(element, rate, self.of.plot.ground().area, RateUnit::KgPerHa));
        figure.map_or_else(String::new, |figure| show::rate_figure(&figure))
    }

    fn found(&self, row: &Row) -> Vec<FoundView> {
        let ground = self.of.plot.ground();
        let mut seen: Vec<FoundView> = Vec::new();
        for opinion in &row.opinions {
            let method = opinion.method.label().to_owned();
            if seen.iter().any(|view| view.method == method) {
                continue;
            }
            let tested = opinion.tested(row.analyte);
            let here = self.liking.found(tested, &ground).figure;
            seen.push(FoundView {
                method,
                figure: show::figure(&opinion.found),
                in_unit: (here != opinion.found).then(|| show::figure(&here)),
                at: self.working_at(&opinion.guideline_slug, row.analyte, "found"),
                kept: self.liking.kept(tested, &ground),
            });
        }
        seen
    }

    fn opinion(&self, row: &Row, opinion: &'a Opinion, several: bool) -> OpinionView<'a> {
        let need = opinion.need.as_ref().map(|need| match need.kg_per_ha.0 {
            0.0 => "none".to_owned(),
            _ if need.at_least => format!("{} or more", self.rate(row.analyte, need.kg_per_ha)),
            _ => self.rate(row.analyte, need.kg_per_ha),
        });
        let aim = self.aim(row.analyte, opinion);
        let what = if opinion.aim_mass_working.is_some() { "mass" } else { "aim" };
        OpinionView {
            opinion,
            class: placed(opinion.class.as_deref(), &opinion.position),
            aim: aim.map(|working| show::figure(&working.figure)),
            need,
            mark: opinion.source.as_ref().and_then(|source| show::evidence_mark(source.evidence)),
            reads: several.then(|| opinion.method.label()),
            aim_at: self.working_at(&opinion.guideline_slug, row.analyte, what),
            verdict_at: self.working_at(&opinion.guideline_slug, row.analyte, "verdict"),
        }
    }

    /// The aim in the one unit.
    fn aim(&self, analyte: Analyte, opinion: &Opinion) -> Option<Working> {
        let aim = opinion.aim.as_ref()?;
        let ground = self.of.plot.ground();
        Some(self.liking.like_found(opinion.tested(analyte), "aim in this plot’s soil", aim, &ground).working)
    }

    fn row(&self, row: &'a Row) -> RowView<'a> {
        let found = self.found(row);
        let several = found.len() > 1;
        RowView {
            key: row.analyte.to_string(),
            name: row.analyte.name(),
            short: self.short(row),
            opinions: row.opinions.iter().map(|opinion| self.opinion(row, opinion, several)).collect(),
            by_share: row.opinions.iter().any(|opinion| opinion.philosophy == Philosophy::Saturation),
            found,
            silent: &row.silent,
            apart: row.disagreement.as_ref().map(|apart| Apart {
                why: apart.why.iter().map(|(_, sentence)| sentence.as_str()).collect(),
                by: self.rate(row.analyte, apart.by()),
                steps: Steps::of(&apart.working, &|key| self.pages.get(&key).cloned()),
            }),
        }
    }

    /// A nutrient in a few words: what is asked for, and whether they part.
    fn short(&self, row: &Row) -> String {
        let needs = row.opinions.iter().filter_map(|opinion| opinion.need.as_ref()).map(|need| need.kg_per_ha);
        let (low, high) = needs.fold((f64::INFINITY, 0.0_f64), |(low, high), n| (low.min(n.0), high.max(n.0)));
        let asked = match (low.is_finite(), high) {
            (false, _) => String::new(),
            (true, 0.0) => "none needed".to_owned(),
            (true, high) if high - low <= 0.005 * high => self.rate(row.analyte, KgPerHa(high)),
            (true, high) => {
                let low = if low > 0.0 { self.rate(row.analyte, KgPerHa(low)) } else { "none".into() };
                format!("{low} to {}", self.rate(row.analyte, KgPerHa(high)))
            }
        };
        let parted = match &row.disagreement {
            Some(apart) if apart.over_shortness => "some call it short, others do not",
            Some(_) => "they part over how much",
            None if row.opinions.len() == 1 => "one guideline speaks",
            None => "they agree",
        };
        if asked.is_empty() { parted.to_owned() } else { format!("{asked}; {parted}") }
    }

    /// The working of a figure of an opinion, where it has one.
    fn behind(&self, analyte: Analyte, opinion: &Opinion, what: &str) -> Option<Working> {
        let ground = self.of.plot.ground();
        match what {
            "found" => Some(self.liking.found(opinion.tested(analyte), &ground).working),
            "aim" => opinion.aim.as_ref().map(|aim| aim.working.clone()),
            "mass" => opinion.aim_mass_working.as_ref().and_then(|_| self.aim(analyte, opinion)),
            "verdict" => {
                let need = opinion.need.as_ref().filter(|need| need.working.is_some());
                let need = need.and_then(|need| self.liking.need_working(need, ground.area, RateUnit::KgPerHa));
                Some(need.unwrap_or_else(|| opinion.working.clone()))
            }
            _ => None,
        }
    }
}

/// The sheet that shows each printed cell, as an address.
fn pages(of: &Opinions) -> BTreeMap<CellKey, String> {
    let cells = of.samplings.iter().flat_map(|sampling| sampling.determinations());
    cells.map(|(report, cell)| (cell.key, format!("/reports/{}#cell-{}", report.key, cell.key.0))).collect()
}

fn frame(cx: &Cx, of: &Opinions, title: String) -> Frame {
    match &of.report {
        None => under_plot(cx, &of.site, &of.plot, title),
        Some((report, sampling)) => super::samplings::under_site(cx, &of.site, title)
            .under(format!("/samplings/{}", sampling.id), format!("Soil of {}", show::date(sampling.sampled_on)))
            .under(format!("/reports/{}", report.id), &report.lab),
    }
}

fn page(cx: &Cx, of: &Opinions, at: &str, mut form: Form) -> Result<Response> {
    let query = query(&form);
    form.set("use", of.land_use.slug());
    let place = Place { of, at, query: &query, liking: one_unit(cx.actor.liking), pages: pages(of) };
    let rows: Vec<RowView<'_>> = of.opinion.worst_first().into_iter().map(|row| place.row(row)).collect();
    let parted = rows.iter().filter(|row| row.apart.is_some()).map(|row| (row.key.clone(), row.name.clone()));
    let unspoken: Vec<String> = of.opinion.unspoken.iter().map(|analyte| analyte.name()).collect();
    let title = match &of.report {
        None => format!("{} under every guideline", titled(&of.plot)),
        Some((report, _)) => format!("Sheet of {} under every guideline", report.lab),
    };
    html(&OpinionsPage {
        frame: frame(cx, of, title),
        at: at.to_owned(),
        form,
        uses: LandUse::ALL.iter().map(|land_use| (land_use.slug(), land_use.label())).collect(),
        of_sheet: of.report.as_ref().map(|_| titled(&of.plot)),
        unit: match place.liking.unit {
            LevelUnit::LbPerAcre => "pounds per acre".into(),
            LevelUnit::GramsOnPlot => format!("grams on the {} of this plot", show::area(of.plot.area_m2)),
            _ => "kilograms per hectare".into(),
        },
        parted: parted.collect(),
        rows,
        unspoken: unspoken.join(", "),
        left_out: &of.opinion.left_out,
        shares: Shares::of(builtin()),
    })
}

fn working_page(
    cx: &Cx,
    of: &Opinions,
    at: &str,
    (guideline, analyte, what): (&str, &str, &str),
    form: &Form,
) -> Result<Response> {
    let analyte: Analyte = analyte.parse().map_err(|_| Error::not_found())?;
    let opinion = of.of(guideline, analyte).ok_or_else(Error::not_found)?;
    let (_, name) = FIGURES.into_iter().find(|(key, _)| *key == what).ok_or_else(Error::not_found)?;
    let query = query(form);
    let place = Place { of, at, query: &query, liking: one_unit(cx.actor.liking), pages: pages(of) };
    let working = place.behind(analyte, opinion, what).ok_or_else(Error::not_found)?;
    let others = FIGURES
        .into_iter()
        .filter(|(key, _)| *key != what && place.behind(analyte, opinion, key).is_some())
        .map(|(key, name)| (name, place.working_at(guideline, analyte, key)));
    let title = format!("{}: {} by {}", analyte.name(), name.to_lowercase(), opinion.guideline_title);
    html(&WorkingPage {
        frame: frame(cx, of, title).under(format!("{at}{query}"), "Every guideline"),
        figure: show::figure(&working.figure),
        steps: Steps::of(&working, &|key| place.pages.get(&key).cloned()),
        why: opinion.notes.clone(),
        others: others.collect(),
        beside: None,
        numbers: None,
    })
}

/// `GET /plots/{plot}/opinions?use=vegetables&memory=on`
pub async fn show(cx: Cx, Path(plot): Path<PlotId>, form: Form) -> Result<Response> {
    let (land_use, memory) = asked(&form);
    let opinions = cx.app.second_opinion(&cx.actor, plot, land_use, memory).await?;
    page(&cx, &opinions, &format!("/plots/{plot}/opinions"), form)
}

/// `GET /plots/{plot}/opinions/{guideline}/{analyte}/{what}`
pub async fn working(
    cx: Cx,
    Path((plot, guideline, analyte, what)): Path<(PlotId, String, String, String)>,
    form: Form,
) -> Result<Response> {
    let (land_use, memory) = asked(&form);
    let opinions = cx.app.second_opinion(&cx.actor, plot, land_use, memory).await?;
    working_page(&cx, &opinions, &format!("/plots/{plot}/opinions"), (&guideline, &analyte, &what), &form)
}

/// `GET /reports/{report}/opinions?use=vegetables&memory=on`
pub async fn of_report(cx: Cx, Path(report): Path<ReportId>, form: Form) -> Result<Response> {
    let (land_use, memory) = asked(&form);
    let opinions = cx.app.report_opinion(&cx.actor, report, land_use, memory).await?;
    page(&cx, &opinions, &format!("/reports/{report}/opinions"), form)
}

/// `GET /reports/{report}/opinions/{guideline}/{analyte}/{what}`
pub async fn report_working(
    cx: Cx,
    Path((report, guideline, analyte, what)): Path<(ReportId, String, String, String)>,
    form: Form,
) -> Result<Response> {
    let (land_use, memory) = asked(&form);
    let opinions = cx.app.report_opinion(&cx.actor, report, land_use, memory).await?;
    working_page(&cx, &opinions, &format!("/reports/{report}/opinions"), (&guideline, &analyte, &what), &form)
}
