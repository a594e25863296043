//! Nitrogen as a budget: what a crop takes, less what soil, manure, compost, cover crop and
//! nitrate in the ground bring, each a range with its source. It never turns a soil level into
//! a rate by itself, never shows a range narrower than its parts, and leaves out what is known
//! only from memory unless that is switched on.

mod demand;
mod nitrate;
mod ready;
mod release;

pub use demand::{CROP_RATES, CropRate, crop_demand, is_for_crop, stated_demand, uptake_demand};
pub use nitrate::{
    Asked, Corn, NitrateAdvice, PreviousCrop, by_every_nitrate_test, by_nitrate_test, nitrate_in_ground,
};
pub use ready::{FARMYARD, Farmyard, SpreadIn, next_crop_percent, readily_available};
pub use release::{
    COVER_MIX, CoverCrop, Livestock, ManureN, OM_CAP_PERCENT, ONTARIO_AUTUMN, OrganicN, PNW_636, TotalMaterial, TotalN,
    compost, cover_crop, decay_series, first_year_of_total, from_organic_matter, manure, manure_of_parts,
    manure_of_total, untested_matter, usable_after_autumn,
};

use super::{
    quantity::KgPerHa,
    reading::number,
    source::Evidence,
    working::{Figure, Working},
};

/// A range of kg N/ha; `low` is never above `high`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    pub low: KgPerHa,
    pub high: KgPerHa,
}

impl Range {
    /// A range between two figures, in either order; what is not a number counts as zero.
    pub fn between(one: f64, other: f64) -> Range {
        let clean = |v: f64| if v.is_finite() { v } else { 0.0 };
        let (one, other) = (clean(one), clean(other));
        Range { low: KgPerHa(one.min(other)), high: KgPerHa(one.max(other)) }
    }

    /// The middle, for one figure where a page has room for one.
    pub fn middle(self) -> KgPerHa {
        KgPerHa((self.low.0 + self.high.0) / 2.0)
    }

    /// "20 to 45 kg/ha", or one figure where both are the same.
    pub fn words(self) -> String {
        let (low, high) = (self.low.0.round(), self.high.0.round());
        if low == high { format!("{low:.0}\u{a0}kg/ha") } else { format!("{low:.0} to {high:.0}\u{a0}kg/ha") }
    }
}

/// What kind of line of the budget this is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum TermKind {
    Demand,
    SoilOrganicMatter,
    Manure,
    Compost,
    CoverCrop,
    SoilNitrate,
}

/// A line of the budget.
#[derive(Clone, Debug, PartialEq)]
pub struct Term {
    pub kind: TermKind,
    pub title: String,
    /// Below zero where nitrogen is tied up rather than brought.
    pub range: Range,
    /// Its figure is the middle of the range; its formula shows both ends.
    pub working: Working,
    pub notes: Vec<String>,
}

impl Term {
    fn new(kind: TermKind, title: impl Into<String>, range: Range, working: Working) -> Term {
        let notes = working.notes.clone();
        Term { kind, title: title.into(), range, working, notes }
    }

    /// Whether any figure under it is known only from memory.
    pub fn is_from_memory(&self) -> bool {
        let mut memory = false;
        self.working.visit(&mut |node| {
            memory |= node.source.as_ref().is_some_and(|s| s.evidence == Evidence::Memory);
        });
        memory
    }
}

/// The middle of a range as a figure.
fn figure(range: Range) -> Figure {
    Figure::new(range.middle().0, "kg N/ha", 0)
}

/// A budget is never told finer than by this share of its middle to either side. Our own choice,
/// no source: a printed rate is one figure, and the truth lies around it by more than this.
pub const LEAST_SPREAD: f64 = 0.2;

/// The budget of a plot for a season.
#[derive(Clone, Debug, PartialEq)]
pub struct Budget {
    pub demand: Term,
    pub supplies: Vec<Term>,
    /// Supplies left out because they are known only from memory.
    pub left_out: Vec<Term>,
    /// What remains to be given. Never below zero.
    pub need: Range,
    pub working: Working,
    pub notes: Vec<String>,
}

/// The nitrogen still to be given: the least is the smallest demand less the largest supply, the
/// most is the largest demand less the smallest supply, neither below zero.
pub fn budget(demand: Term, supplies: Vec<Term>, with_memory: bool) -> Budget {
    let (left_out, supplies): (Vec<_>, Vec<_>) =
        supplies.into_iter().partition(|term| !with_memory && term.is_from_memory());
    let low_supply: f64 = supplies.iter().map(|t| t.range.low.0).sum();
    let high_supply: f64 = supplies.iter().map(|t| t.range.high.0).sum();
    let least = (demand.range.low.0 - high_supply).max(0.0);
    let most = (demand.range.high.0 - low_supply).max(0.0);
    let exact = Range::between(least, most);
    let middle = exact.middle().0;
    let need =
        Range::between(exact.low.0.min(middle * (1.0 - LEAST_SPREAD)), exact.high.0.max(middle * (1.0 + LEAST_SPREAD)));
    let mut formula = format!(
        "least {} − {} = {}; most {} − {} = {}; never below zero",
        number(demand.range.low.0),
        number(high_supply),
        number(exact.low.0),
        number(demand.range.high.0),
        number(low_supply),
        number(exact.high.0)
    );
    if need != exact {
        formula.push_str(&format!(
            "; told no finer than {:.0} % to either side: {}",
            LEAST_SPREAD * 100.0,
            need.words()
        ));
    }
    let inputs = std::iter::once(&demand).chain(&supplies).map(|term| term.working.clone());
    let mut notes = Vec::new();
    if need != exact {
        notes.push(format!(
            "Printed rates are single figures, and the truth lies around them: {:.0} % is shown to either side (our own choice, no source).",
            LEAST_SPREAD * 100.0
        ));
    }
    let has = |kind| supplies.iter().any(|term| term.kind == kind);
    if has(TermKind::SoilNitrate)
        && (has(TermKind::SoilOrganicMatter) || has(TermKind::Manure) || has(TermKind::CoverCrop))
    {
        notes.push(
            "Nitrate found in the growing season is partly what organic matter, manure and cover crop have given already; the further ahead of the crop it was taken, the less it is counted twice."
                .into(),
        );
    }
    if !left_out.is_empty() {
        let titles: Vec<&str> = left_out.iter().map(|term| term.title.as_str()).collect();
        notes.push(format!("Left out, for they are known only from memory: {}.", titles.join("; ")));
    }
    if need.low.0 == 0.0 && need.high.0 > 0.0 {
        notes
            .push("It may be that nothing is needed. A soil nitrate test before side-dressing would tell more.".into());
    }
    let mut working = Working::step("Nitrogen still to give", figure(need), formula, inputs);
    working.notes.clone_from(&notes);
    Budget { demand, supplies, left_out, need, working, notes }
}
