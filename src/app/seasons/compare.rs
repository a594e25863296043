//! A plan beside another choice for the same plots: nothing at all, what was put on last season
//! again, or another plan of the season. Both are judged by the needs, caps, packs and stock of
//! this plan, through one accounting, so that they differ by their doses only.

use super::{DoseLine, PlanRow, PlanView, SeasonRow, Tally, load::lock, view, why::Difference};
use crate::{
    agronomy::plan::{self, Account, PlanInput},
    app::{Actor, App, Result, Role, access::found},
    ids::{AmendmentId, PlanId, PlotId},
    store::{self, Db, plots::SiteRow},
};
use jiff::ToSpan;
use std::{
    collections::{BTreeMap, BTreeSet},
    fmt,
    str::FromStr,
};

/// What a plan is held against.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum With {
    #[default]
    Nothing,
    LastSeason,
    Plan(PlanId),
}

impl fmt::Display for With {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            With::Nothing => f.write_str("nothing"),
            With::LastSeason => f.write_str("last"),
            With::Plan(plan) => write!(f, "{plan}"),
        }
    }
}

impl FromStr for With {
    type Err = ();

    fn from_str(text: &str) -> std::result::Result<With, ()> {
        match text {
            "" | "nothing" => Ok(With::Nothing),
            "last" => Ok(With::LastSeason),
            plan => plan.parse().map(With::Plan).map_err(|_| ()),
        }
    }
}

/// One side of the comparison.
#[derive(Clone, Debug)]
pub struct Side {
    pub name: String,
    pub tally: Tally,
    /// The caps that it goes beyond: plot and cap.
    pub exceeded: Vec<(String, String)>,
    pub plots: BTreeMap<PlotId, SidePlot>,
}

/// One plot of a side.
#[derive(Clone, Debug, Default)]
pub struct SidePlot {
    pub needs: usize,
    pub met: usize,
    pub doses_g: BTreeMap<AmendmentId, f64>,
}

/// A plan beside another choice.
pub struct Comparison {
    pub view: PlanView,
    pub with: With,
    pub this: Side,
    pub other: Side,
    /// From this plan to the other.
    pub difference: Difference,
    /// The other plans of the season.
    pub plans: Vec<PlanRow>,
    /// The names of the products that either side uses.
    pub products: BTreeMap<AmendmentId, String>,
    /// What to know about the other side.
    pub notes: Vec<String>,
}

/// Doses by place.
type Doses = BTreeMap<(PlotId, AmendmentId), f64>;

/// What was put on in the season before this one, or was agreed for it where nothing was put on.
async fn last_season(db: &mut Db, site: &SiteRow, season: &SeasonRow) -> Result<(String, Doses, Vec<String>)> {
    let before = store::plans::seasons(db, site.id).await?.into_iter().find(|s| s.starts_on < season.starts_on);
    let day_before = season.starts_on.yesterday().unwrap_or(season.starts_on);
    let (name, from, to) = match &before {
        Some(before) => (format!("{} again", before.name), before.starts_on, before.ends_on.min(day_before)),
        None => ("The year before again".to_owned(), season.starts_on.saturating_sub(1.year()), day_before),
    };
    let mut doses = Doses::new();
    for row in store::applications::of_site(db, site.id, from, to).await? {
        *doses.entry((row.plot, row.amendment)).or_default() += row.mass_g;
    }
    let mut notes = Vec::new();
    if let Some(before) = before.filter(|_| doses.is_empty()) {
        for plan in store::plans::plans(db, before.id).await?.into_iter().filter(|plan| plan.state != "draft") {
            for row in store::plans::doses_of(db, plan.id).await? {
                *doses.entry((row.plot, row.amendment)).or_default() += row.mass_g;
            }
        }
        if !doses.is_empty() {
            notes.push(format!("Nothing was recorded as put on in {}, so this is what was agreed.", before.name));
        }
    }
    if doses.is_empty() {
        notes.push("Nothing is recorded for the season before.".into());
    }
    Ok((name, doses, notes))
}

fn side(name: String, input: &PlanInput, doses: &Doses) -> Side {
    let lines: Vec<DoseLine> =
        doses.iter().map(|(&(plot, product), &mass_g)| DoseLine { mass_g, ..DoseLine::new(plot, product) }).collect();
    let locks: Vec<plan::Lock> = lines.iter().map(lock).collect();
    let account: Account = plan::assess(input, &locks);
    let mut plots: BTreeMap<PlotId, SidePlot> = BTreeMap::new();
    let mut exceeded = Vec::new();
    for plot in &account.plots {
        let needs = || plot.needs.iter().filter(|met| met.need_g > 0.0);
        let id = PlotId(i64::from(plot.plot.key));
        let here = doses.iter().filter(|((at, _), g)| *at == id && **g > 0.0);
        plots.insert(
            id,
            SidePlot {
                needs: needs().count(),
                met: needs().filter(|met| view::nearly(met.short_g, met.need_g)).count(),
                doses_g: here.map(|((_, product), g)| (*product, *g)).collect(),
            },
        );
        let beyond = plot.caps.iter().filter(|cap| cap.exceeded);
        exceeded.extend(beyond.map(|cap| (plot.plot.to_string(), cap.label.clone())));
    }
    Side { name, tally: Tally::of(&account), exceeded, plots }
}

impl App {
    /// A plan beside another choice for the same plots.
    pub async fn compare_plan(&self, actor: &Actor, id: PlanId, with: With) -> Result<Comparison> {
        actor.may(Role::Reader)?;
        let (site, season, plan) = self.plan_place(actor, id).await?;
        let mut read = self.store.read().await?;
        let mut plans = store::plans::plans(&mut read, season.id).await?;
        plans.retain(|other| other.id != id);
        let (name, mut doses, mut notes) = match with {
            With::Nothing => ("Doing nothing".to_owned(), Doses::new(), vec![]),
            With::LastSeason => last_season(&mut read, &site, &season).await?,
            With::Plan(other) => {
                let row = plans.iter().find(|row| row.id == other).cloned();
                let row = found(row, "plan")?;
                let rows = store::plans::doses_of(&mut read, other).await?;
                (row.name, rows.into_iter().map(|d| ((d.plot, d.amendment), d.mass_g)).collect(), vec![])
            }
        };
        let here: BTreeSet<PlotId> = store::plans::plots_of(&mut read, id).await?.into_iter().collect();
        drop(read);
        let elsewhere = doses.keys().filter(|(plot, _)| !here.contains(plot)).map(|(plot, _)| *plot);
        let elsewhere = elsewhere.collect::<BTreeSet<_>>().len();
        if elsewhere > 0 {
            notes.push(format!("What it puts on plots that are not in this plan is left out: {elsewhere} of them."));
        }
        doses.retain(|(plot, _), mass_g| here.contains(plot) && *mass_g > 0.0);
        let extra: BTreeSet<AmendmentId> = doses.keys().map(|(_, product)| *product).collect();
        let loaded = self.load_plan_with(id, &extra).await?;
        let lines = loaded.dose_lines();
        let this: Doses = lines.iter().map(|d| ((d.plot, d.amendment), d.mass_g)).collect();
        let every = this.keys().chain(doses.keys()).map(|(plot, product)| lock(&DoseLine::new(*plot, *product)));
        let input = loaded.prepare(&[], &every.collect::<Vec<_>>()).input;
        let used: BTreeSet<AmendmentId> = this.keys().chain(doses.keys()).map(|(_, product)| *product).collect();
        let named = loaded.products.iter().filter(|row| used.contains(&row.id));
        let products = named.map(|row| (row.id, row.amendment.name.clone())).collect();
        let (this, other) = (side(plan.name, &input, &this), side(name, &input, &doses));
        Ok(Comparison {
            difference: Difference::between(&this.tally, &other.tally),
            view: view::view(&loaded, lines),
            with,
            this,
            other,
            plans,
            products,
            notes,
        })
    }
}
