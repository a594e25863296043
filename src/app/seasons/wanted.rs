//! What a grower wants of a plan, as typed line by line: products kept off or used somewhere, and
//! products bought otherwise than the rest. An empty line says nothing; a line half filled is
//! told what it lacks.

use super::load::key;
use crate::{
    agronomy::wants::{Place, Want, What},
    app::Problems,
    exchange::number::{Limits, Low},
    ids::{AmendmentId, BlockId, PlotId},
};
use serde::{Deserialize, Serialize};

const LEAST: Limits = Limits { what: "A least", unit: "g/m²", low: Low::Above(0.0), at_most: 100_000.0, decimals: 3 };

/// How a product is bought.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", from = "Written")]
pub enum Sold {
    #[default]
    Whole,
    /// A pack may be shared with a neighbour: half of it, at half its price.
    Halves,
    /// Any amount, at the packs' price by weight.
    Loose,
}

impl Sold {
    /// Every way, by key and in words.
    pub const ALL: [(Sold, &'static str, &'static str); 3] = [
        (Sold::Whole, "whole", "In whole packs"),
        (Sold::Halves, "halves", "In halves, a pack shared with a neighbour"),
        (Sold::Loose, "loose", "Loose, by weight"),
    ];

    /// The key that a form sends.
    pub fn key(self) -> &'static str {
        Sold::ALL.iter().find(|(sold, ..)| *sold == self).map_or("whole", |(_, key, _)| key)
    }

    pub(super) fn read(key: &str) -> Option<Sold> {
        Sold::ALL.iter().find(|(_, known, _)| *known == key.trim()).map(|(sold, ..)| *sold)
    }

    /// How, inside a sentence.
    pub fn in_sentence(self) -> &'static str {
        match self {
            Sold::Whole => "in whole packs",
            Sold::Halves => "in halves of packs",
            Sold::Loose => "bought loose by weight",
        }
    }
}

/// How it is, and was once, kept: earlier plans say `true` for loose.
#[derive(Deserialize)]
#[serde(untagged)]
enum Written {
    Loose(bool),
    Key(String),
}

impl From<Written> for Sold {
    fn from(written: Written) -> Sold {
        match written {
            Written::Loose(true) => Sold::Loose,
            Written::Loose(false) => Sold::Whole,
            Written::Key(key) => Sold::read(&key).unwrap_or_default(),
        }
    }
}

/// Where something is wanted.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Where {
    Everywhere,
    Block(BlockId),
    Plot(PlotId),
}

impl Where {
    /// The key that a form sends: `all`, `block-3`, `plot-5`.
    pub fn key(self) -> String {
        match self {
            Where::Everywhere => "all".into(),
            Where::Block(id) => format!("block-{id}"),
            Where::Plot(id) => format!("plot-{id}"),
        }
    }

    fn read(key: &str) -> Option<Where> {
        match key.trim().split_once('-') {
            None => (key.trim() == "all").then_some(Where::Everywhere),
            Some(("block", id)) => id.parse().ok().map(Where::Block),
            Some(("plot", id)) => id.parse().ok().map(Where::Plot),
            Some(_) => None,
        }
    }
}

/// One thing wanted, as the record keeps it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct WantRow {
    pub product: AmendmentId,
    pub place: Where,
    pub keep_off: bool,
    /// Of one that must be used; `None` for enough to weigh well.
    pub least_g_per_m2: Option<f64>,
    pub reason: String,
}

impl WantRow {
    pub(super) fn want(&self) -> Want {
        Want {
            product: key(self.product.0),
            place: match self.place {
                Where::Everywhere => Place::Everywhere,
                Where::Block(id) => Place::Block(key(id.0)),
                Where::Plot(id) => Place::Plot(key(id.0)),
            },
            what: if self.keep_off { What::KeepOff } else { What::Use(self.least_g_per_m2) },
            reason: self.reason.clone(),
        }
    }
}

/// One thing wanted, as typed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct WantLine {
    /// Number of the product; empty for a line that says nothing.
    pub product: String,
    /// Key of the place.
    pub place: String,
    /// `off` or `use`.
    pub what: String,
    pub least_g_per_m2: String,
    pub reason: String,
}

impl WantLine {
    /// The names of its fields, in order.
    pub const FIELDS: [&'static str; 5] = ["product", "place", "what", "least", "reason"];

    /// The name of a field of the line at this place.
    pub fn field(at: usize, name: &str) -> String {
        format!("wants.{at}.{name}")
    }

    pub(super) fn of(row: &WantRow) -> WantLine {
        WantLine {
            product: row.product.to_string(),
            place: row.place.key(),
            what: if row.keep_off { "off" } else { "use" }.into(),
            least_g_per_m2: row.least_g_per_m2.map(|g| g.to_string()).unwrap_or_default(),
            reason: row.reason.clone(),
        }
    }

    /// What the line says; `None` where it says nothing or something is wrong with it.
    pub(super) fn read(&self, at: usize, problems: &mut Problems) -> Option<WantRow> {
        let field = |name| WantLine::field(at, name);
        if self.product.trim().is_empty() {
            if !self.reason.trim().is_empty() || !self.least_g_per_m2.trim().is_empty() {
                problems.add(&field("product"), "Say which product this is about.");
            }
            return None;
        }
        let product: Option<AmendmentId> = self.product.trim().parse().ok();
        let place = Where::read(&self.place);
        let keep_off = match self.what.as_str() {
            "off" => Some(true),
            "use" => Some(false),
            _ => None,
        };
        if keep_off.is_none() {
            problems.add(&field("what"), "Say whether it is kept off or must be used.");
        }
        if place.is_none() {
            problems.add(&field("place"), "Say where.");
        }
        let least = problems.optional_number(&field("least"), &self.least_g_per_m2, &LEAST);
        if keep_off == Some(true) && least.is_some() {
            problems.add(&field("least"), "What is kept off has no least: leave this empty.");
        }
        if self.reason.trim().chars().count() > 500 {
            problems.add(&field("reason"), "At most 500 characters, please.");
        }
        Some(WantRow {
            product: product?,
            place: place?,
            keep_off: keep_off?,
            least_g_per_m2: least,
            reason: self.reason.trim().to_owned(),
        })
    }
}

/// A product bought otherwise than the rest, as typed.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct SoldLine {
    pub product: String,
    pub how: String,
}

impl SoldLine {
    /// The name of a field of the line at this place.
    pub fn field(at: usize, name: &str) -> String {
        format!("sold.{at}.{name}")
    }

    pub(super) fn read(&self, at: usize, problems: &mut Problems) -> Option<(AmendmentId, Sold)> {
        let product: AmendmentId = self.product.trim().parse().ok()?;
        let sold = Sold::read(&self.how);
        if sold.is_none() {
            problems.add(&SoldLine::field(at, "how"), "Say how it is bought.");
        }
        Some((product, sold?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn earlier_plans_that_say_loose_are_read_as_such() {
        let read = |text: &str| serde_json::from_str::<Sold>(text).unwrap();
        assert_eq!([read("true"), read("false"), read("\"halves\"")], [Sold::Loose, Sold::Whole, Sold::Halves]);
        for (sold, key, _) in Sold::ALL {
            assert_eq!(serde_json::to_string(&sold).unwrap(), format!("\"{key}\""));
            assert_eq!(Sold::read(key), Some(sold));
        }
    }

    #[test]
    fn a_line_half_filled_is_told_what_it_lacks() {
        let mut problems = Problems::default();
        assert_eq!(WantLine::default().read(0, &mut problems), None);
        assert!(problems.is_empty());
        let line =
            WantLine { product: "3".into(), what: "off".into(), least_g_per_m2: "4".into(), ..WantLine::default() };
        assert_eq!(line.read(1, &mut problems), None);
        assert!(problems.of("wants.1.place").is_some() && problems.of("wants.1.least").is_some());
        let line = WantLine { reason: "brown leaves".into(), ..WantLine::default() };
        line.read(2, &mut problems);
        assert!(problems.of("wants.2.product").is_some());
        let line = WantLine { product: "3".into(), place: "block-4".into(), what: "use".into(), ..WantLine::default() };
        assert_eq!(line.read(3, &mut problems).map(|row| WantLine::of(&row)), Some(line));
    }
}
