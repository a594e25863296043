//! The ledger of a plot as a page and as a file: what came and went, season by season, and
//! where more left than the soil was found to hold.

use super::{
    Actor, App, Result,
    harvests::PlotLedger,
    responses::{sampled_layer, segments_of},
};
use crate::{
    agronomy::{
        analyte::Analyte,
        balance::{Line, Net, SeasonAccount},
        offtake::{BALANCED, Span},
        overdraw::overdrawn,
        quantity::SquareMetres,
        surplus::{PhosphateSurplus, phosphate_surplus},
    },
    exchange::csv_out::table,
    ids::PlotId,
};

/// The head of the file: rates in kg/ha, masses in g on the plot; of each the middle and the
/// ends of the range that the removal tables leave.
const COLUMNS: &[&str] = &[
    "plot",
    "season",
    "starts_on",
    "ends_on",
    "account",
    "element",
    "brought_kg_per_ha",
    "brought_is",
    "carried_away_kg_per_ha",
    "carried_away_low",
    "carried_away_high",
    "carried_away_is",
    "net_kg_per_ha",
    "net_low",
    "net_high",
    "net_is",
    "net_g_on_the_plot",
    "not_known",
];

impl App {
    /// Where more of an element left between tests than the first of them found, as sentences.
    pub async fn overdrawn(&self, actor: &Actor, id: PlotId) -> Result<Vec<String>> {
        let (_, _, plot) = self.plot_standing(actor, id).await?;
        let PlotLedger { books, .. } = self.plot_ledger(actor, id).await?;
        let mut said = Vec::new();
        for element in BALANCED {
            for segment in segments_of(&plot, Analyte::Element(*element)) {
                let (layer, depth) = sampled_layer(&plot.plot, &segment);
                let found = overdrawn(&segment, &books, &layer, depth, self.today());
                said.extend(found.iter().map(|one| format!("{} {}", segment.method.label(), one.words())));
            }
        }
        Ok(said)
    }

    /// Phosphate of the last years, where more came than a published rule lets.
    pub async fn phosphate_surplus(&self, actor: &Actor, id: PlotId) -> Result<Option<PhosphateSurplus>> {
        let PlotLedger { books, .. } = self.plot_ledger(actor, id).await?;
        Ok(phosphate_surplus(&books, self.today()).filter(|found| found.above))
    }

    /// The ledger as a CSV file with its name.
    pub async fn ledger_csv(&self, actor: &Actor, id: PlotId) -> Result<(String, Vec<u8>)> {
        let PlotLedger { plot, ledger, .. } = self.plot_ledger(actor, id).await?;
        let area = SquareMetres(plot.area_m2);
        let rows = ledger.seasons.iter().flat_map(|season| {
            let accounts = [("season", &season.lines), ("since the record begins", &season.so_far)];
            accounts
                .into_iter()
                .flat_map(|(account, lines)| lines.iter().map(move |line| (account, line)))
                .map(|(account, line)| row(&plot.code, season, account, line, area))
        });
        let heads: Vec<String> = COLUMNS.iter().map(|head| (*head).to_owned()).collect();
        let file = table(&heads, rows);
        Ok((format!("ledger-{}.csv", plot.code), file))
    }
}

/// A number as it is reckoned with, to nine digits: plain, with a point.
fn cell(value: f64) -> String {
    let whole = if value == 0.0 || !value.is_finite() { 0 } else { value.abs().log10().floor() as i32 };
    let text = format!("{:.*}", (8 - whole).clamp(0, 12) as usize, value);
    let text = if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    if text == "-0" { "0".into() } else { text.to_owned() }
}

/// One line of the file. What is not known at all is an empty cell, never a nought.
fn row(plot: &str, season: &SeasonAccount, account: &str, line: &Line, area: SquareMetres) -> Vec<String> {
    let is = |complete: bool, nothing_known: bool| match (complete, nothing_known) {
        (true, _) => "known",
        (false, true) => "not known",
        (false, false) => "at least",
    };
    let nothing = |span: Span| span == Span::exact(0.0);
    let (brought, carried) = (&line.brought, &line.carried);
    let shown = |span: Span, complete: bool| if complete || !nothing(span) { cell(span.mid) } else { String::new() };
    let net = line.net.of_known_parts();
    let nothing_known = !brought.is_complete() && !carried.is_complete();
    let of_net = |value: f64| if nothing_known { String::new() } else { cell(value) };
    let net_is = if let Net::Known(_) = line.net { "known" } else { line.net.words() };
    let ends = |span: Span, end: f64| if carried.is_complete() || !nothing(span) { cell(end) } else { String::new() };
    let missing: Vec<&str> = brought.missing.iter().chain(&carried.missing).map(String::as_str).collect();
    vec![
        plot.to_owned(),
        season.name.clone(),
        season.starts_on.to_string(),
        season.ends_on.to_string(),
        account.to_owned(),
        line.element.symbol().to_owned(),
        shown(brought.known, brought.is_complete()),
        is(brought.is_complete(), nothing(brought.known)).to_owned(),
        shown(carried.known, carried.is_complete()),
        ends(carried.known, carried.known.low),
        ends(carried.known, carried.known.high),
        is(carried.is_complete(), nothing(carried.known)).to_owned(),
        of_net(net.mid),
        of_net(net.low),
        of_net(net.high),
        net_is.to_owned(),
        of_net(Line::grams(net, area).mid),
        missing.join(" "),
    ]
}
