//! A plan beside doing nothing, last season again, or another plan of the season: the same
//! measures side by side, what differs in words, and plot by plot what each puts on.

use super::{
    plan_caps::{caps_read, percent},
    plan_why::difference,
    plan_words::thrift_words,
    plans::under_plan,
    plots::titled,
};
use crate::{
    agronomy::liking::Liking,
    app::seasons::{Comparison, PlanPlot, PlanView, Side, SidePlot, With},
    ids::PlanId,
    web::{
        error::{Error, Result},
        guard::Cx,
        show,
        view::Frame,
    },
};
use askama::Template;
use askama_web::WebTemplate;
use axum::extract::{Path, Query};
use serde::Deserialize;

/// Two choices for the same plots.
#[derive(Template, WebTemplate)]
#[template(path = "pages/plans/compare.html")]
pub struct ComparePage {
    frame: Frame,
    plan: PlanId,
    /// What it can be held against: key, name, and whether it is.
    choices: Vec<(String, String, bool)>,
    /// The names of both sides.
    names: [String; 2],
    /// What the other changes, in a sentence.
    lead: String,
    notes: Vec<String>,
    /// Measure, this plan, the other.
    measures: Vec<[String; 3]>,
    /// The caps that either goes beyond: whose, and which.
    exceeded: Vec<(String, String)>,
    plots: Vec<Plot>,
}

/// One plot of both sides.
struct Plot {
    title: String,
    /// Needs met by each.
    met: [String; 2],
    /// Product, this plan, the other.
    doses: Vec<[String; 3]>,
}

/// What the address asks for.
#[derive(Debug, Default, Deserialize)]
pub struct Against {
    #[serde(default)]
    with: String,
}

fn measures(one: &Side, other: &Side, currency: &str) -> Vec<[String; 3]> {
    let line = |what: &str, of: &dyn Fn(&Side) -> String| [what.to_owned(), of(one), of(other)];
    vec![
        line("Needs met", &|s| format!("{} of {}", s.tally.met, s.tally.needs)),
        line("Of the needs, missing on average", &|s| percent(s.tally.measure.short_percent)),
        line("More than needed, on average", &|s| percent(s.tally.measure.over_percent)),
        line("Cost, as far as prices are known", &|s| show::money(s.tally.measure.cost_minor.round() as i64, currency)),
        line("Products", &|s| s.tally.products.to_string()),
        line("To weigh and carry", &|s| show::mass(s.tally.measure.mass_g)),
        line("Caps exceeded", &|s| s.exceeded.len().to_string()),
    ]
}

/// The caps that a side goes beyond, each once with its plots.
fn exceeded(side: &Side, view: &PlanView, liking: Liking) -> Vec<(String, String)> {
    let mut said: Vec<(Vec<&str>, &str)> = Vec::new();
    for (plot, cap) in &side.exceeded {
        match said.iter_mut().find(|(_, other)| other == cap) {
            Some((plots, _)) => plots.push(plot),
            None => said.push((vec![plot], cap)),
        }
    }
    let said: Vec<String> = said.into_iter().map(|(plots, cap)| format!("{}: {cap}", plots.join(", "))).collect();
    caps_read(view, &said, liking).into_iter().map(|said| (side.name.clone(), said)).collect()
}

impl ComparePage {
    fn new(cx: &Cx, both: &Comparison) -> ComparePage {
        let (view, this, other) = (&both.view, &both.this, &both.other);
        let mut choices = vec![
            (With::Nothing.to_string(), "Doing nothing".to_owned(), both.with == With::Nothing),
            (With::LastSeason.to_string(), "Last season again".into(), both.with == With::LastSeason),
        ];
        let saved = both.plans.iter().map(|row| {
            let with = With::Plan(row.id);
            (with.to_string(), format!("{}, {}", row.name, row.state), both.with == with)
        });
        choices.extend(saved);
        let parts = difference(&both.difference, &view.site.currency);
        let plot = |plot: &PlanPlot| {
            let id = plot.standing.plot.id;
            let (one, two) = (this.plots.get(&id), other.plots.get(&id));
            let met = |side: Option<&SidePlot>| {
                side.map_or_else(String::new, |side| format!("{} of {}", side.met, side.needs))
            };
            let grams = |side: Option<&SidePlot>, product| {
                let grams = side.and_then(|side| side.doses_g.get(product)).copied();
                grams.map_or_else(|| "–".to_owned(), show::mass)
            };
            let used = both
                .products
                .iter()
                .filter(|(product, _)| [one, two].into_iter().flatten().any(|side| side.doses_g.contains_key(product)));
            Plot {
                title: titled(&plot.standing.plot),
                met: [met(one), met(two)],
                doses: used.map(|(id, name)| [name.clone(), grams(one, id), grams(two, id)]).collect(),
            }
        };
        ComparePage {
            plan: view.plan.id,
            choices,
            names: [this.name.clone(), other.name.clone()],
            lead: match parts.is_empty() {
                true => format!("{} comes out as this plan does.", other.name),
                false => format!("{}, held against this plan: {}.", other.name, parts.join(", ")),
            },
            notes: view
                .outcome
                .thrift
                .iter()
                .map(|thrift| format!("{}: {}", this.name, thrift_words(thrift, &view.site.currency)))
                .chain(both.notes.iter().cloned())
                .collect(),
            measures: measures(this, other, &view.site.currency),
            exceeded: [this, other].into_iter().flat_map(|side| exceeded(side, view, cx.actor.liking)).collect(),
            plots: view.plots.iter().map(plot).collect(),
            frame: under_plan(cx, view, format!("Compare {}", view.plan.name)),
        }
    }
}

/// `GET /plans/{plan}/compare?with=`
pub async fn show(cx: Cx, Path(plan): Path<PlanId>, Query(against): Query<Against>) -> Result<ComparePage> {
    let with: With = against.with.parse().map_err(|()| Error::not_found())?;
    let both = cx.app.compare_plan(&cx.actor, plan, with).await?;
    Ok(ComparePage::new(&cx, &both))
}
