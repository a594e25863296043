//! Nitrate tests and rules for parts in a draft: their figures as they can be typed, what is wrong
//! with them, and their place in the text.

use super::{Citation, Draft, Editor, RawGuideline, step, switched};
use crate::agronomy::{
    guideline::{
        Changed, GivesKind, NitrateGives, NitrateTest, PartsBy, SplitRule, Worksheet,
        parse::{
            nitrate::{RawNitrateBand, test},
            split::{RawSplitBand, rule},
        },
    },
    rate::RateUnit,
};
use toml::Spanned;

/// A nitrate test as it can be typed.
#[derive(Clone, Debug, PartialEq)]
pub struct NitrateBounds {
    pub decimals: u8,
    pub unit: RateUnit,
    pub bands: Vec<NitrateBound>,
    pub worksheet: Option<Worksheet>,
    /// In the unit, for each mg/kg in the foot.
    pub in_foot: Option<f64>,
}

/// A band by its upper end, mg/kg.
#[derive(Clone, Debug, PartialEq)]
pub struct NitrateBound {
    pub name: String,
    /// The highest level in it; `None` only for the highest band.
    pub up_to: Option<f64>,
    pub figure: Option<f64>,
}

/// A rule for parts as it can be typed.
#[derive(Clone, Debug, PartialEq)]
pub struct SplitBounds {
    pub unit: RateUnit,
    pub months_apart: u8,
    pub parts: PartsBounds,
}

/// How the number of parts comes about.
#[derive(Clone, Debug, PartialEq)]
pub enum PartsBounds {
    AtMost(f64),
    /// Bands by their upper ends, each with its parts.
    Bands {
        decimals: u8,
        bands: Vec<(Option<f64>, u8)>,
    },
}

/// Says of each table whose set it is from.
pub(super) fn name_sets(raw: &mut RawGuideline) {
    let slug = raw.slug.clone();
    for table in &mut raw.nitrate {
        let mut own = table.get_ref().clone();
        own.set.get_or_insert_with(|| slug.clone());
        *table = Spanned::new(0..0, own);
    }
    for table in &mut raw.split {
        let mut own = table.get_ref().clone();
        own.set.get_or_insert_with(|| slug.clone());
        *table = Spanned::new(0..0, own);
    }
}

/// Bands by their upper ends as a publisher would print them: "0–10", "11–15", ">15".
fn printed(ends: &[Option<f64>], decimals: u8) -> Vec<String> {
    let number = |value: f64| format!("{value:.*}", usize::from(decimals));
    let mut from = 0.0;
    let band = |up_to: &Option<f64>| match up_to {
        Some(up_to) => {
            let band = format!("{}–{}", number(from), number(*up_to));
            from = up_to + step(decimals);
            band
        }
        None => format!(">{}", number(from - step(decimals))),
    };
    ends.iter().map(band).collect()
}

/// The upper ends of bands from where each starts.
fn ends(from: &[f64], decimals: u8) -> Vec<Option<f64>> {
    let next = from.iter().skip(1).map(|next| Some(super::round_to(next - step(decimals), decimals)));
    next.chain([None]).collect()
}

impl NitrateBounds {
    /// A test as it stands.
    pub fn of(of: &NitrateTest) -> NitrateBounds {
        let from: Vec<f64> = of.bands.iter().map(|band| band.from).collect();
        let bands = of.bands.iter().zip(ends(&from, of.decimals));
        let worksheet = match of.gives {
            NitrateGives::Worksheet(sheet) => Some(sheet),
            _ => None,
        };
        NitrateBounds {
            decimals: of.decimals,
            unit: of.unit,
            bands: bands
                .map(|(band, up_to)| NitrateBound { name: band.name.clone(), up_to, figure: band.figure })
                .collect(),
            worksheet,
            in_foot: of.in_foot,
        }
    }
}

impl SplitBounds {
    /// A rule as it stands.
    pub fn of(of: &SplitRule) -> SplitBounds {
        let parts = match &of.parts_by {
            PartsBy::AtMost(most) => PartsBounds::AtMost(*most),
            PartsBy::Bands { decimals, bands, .. } => {
                let from: Vec<f64> = bands.iter().map(|band| band.from).collect();
                let ends = ends(&from, *decimals).into_iter();
                PartsBounds::Bands {
                    decimals: *decimals,
                    bands: ends.zip(bands).map(|(end, band)| (end, band.parts)).collect(),
                }
            }
        };
        SplitBounds { unit: of.unit, months_apart: of.months_apart, parts }
    }
}

/// The mark of a change, and the citation that goes with it.
fn mark(changed: Option<&Changed>, words: String, source: &Citation, by: &Editor) -> (Changed, Citation) {
    let (printed, source) = match changed {
        Some(changed) => (changed.printed.clone(), changed.source.clone()),
        None => (words, Some(source.clone())),
    };
    let title = match &source {
        Some(source) => format!("{} printed: {printed}", source.publisher),
        None => "own figures".into(),
    };
    let cited = by.cite(if source.is_some() { "Changed" } else { "Added" }, title);
    let (name, version) = (by.name.clone(), by.version);
    (Changed { by: name, on: by.on, version, kept: false, printed, source }, cited)
}

impl Draft {
    /// How many nitrate tests it has.
    pub fn nitrate_len(&self) -> usize {
        self.raw.nitrate.len()
    }

    /// A nitrate test as it is read.
    pub fn nitrate(&self, at: usize) -> Option<NitrateTest> {
        test(&self.raw.slug, self.raw.nitrate.get(at)?.get_ref()).ok()
    }

    /// Gives a nitrate test other figures; says why where they make none.
    pub fn change_nitrate(&mut self, at: usize, to: &NitrateBounds, by: &Editor) -> Result<(), String> {
        let was = self.nitrate(at).ok_or("there is no such test")?;
        let mut table = self.raw.nitrate[at].get_ref().clone();
        let (changed, cited) = mark(was.of.changed.as_ref(), was.words(), &was.of.source, by);
        (table.changed, table.source, table.set) = (Some(changed), Some(cited), None);
        table.in_force = table.in_force.filter(|on| !on);
        (table.unit, table.decimals, table.in_foot, table.seam) = (to.unit, to.decimals, to.in_foot, vec![]);
        let ends: Vec<Option<f64>> = to.bands.iter().map(|band| band.up_to).collect();
        let printed = printed(&ends, to.decimals);
        let band = |(band, printed): (&NitrateBound, String)| RawNitrateBand {
            name: band.name.clone(),
            printed,
            figure: band.figure,
        };
        table.bands = to.bands.iter().zip(printed).map(band).collect();
        if table.gives == GivesKind::Worksheet {
            table.worksheet = to.worksheet;
        }
        test(&self.raw.slug, &table)?;
        self.raw.nitrate[at] = Spanned::new(0..0, table);
        Ok(())
    }

    /// Switches a nitrate test on or off.
    pub fn switch_nitrate(&mut self, at: usize, on: bool) {
        let Some(table) = self.raw.nitrate.get(at) else { return };
        let mut table = table.get_ref().clone();
        table.in_force = table.source.as_ref().and_then(|source| switched(source, on));
        self.raw.nitrate[at] = Spanned::new(0..0, table);
    }

    /// Takes nitrate tests out.
    pub fn remove_nitrate(&mut self, tests: &[usize]) {
        let mut at = 0..;
        self.raw.nitrate.retain(|_| at.next().is_some_and(|i| !tests.contains(&i)));
    }

    /// How many rules for parts it has.
    pub fn splits_len(&self) -> usize {
        self.raw.split.len()
    }

    /// A rule for parts as it is read.
    pub fn split(&self, at: usize) -> Option<SplitRule> {
        rule(&self.raw.slug, self.raw.split.get(at)?.get_ref()).ok()
    }

    /// Gives a rule for parts other figures; says why where they make none.
    pub fn change_split(&mut self, at: usize, to: &SplitBounds, by: &Editor) -> Result<(), String> {
        let was = self.split(at).ok_or("there is no such rule")?;
        let mut table = self.raw.split[at].get_ref().clone();
        let words = format!("{}; {} months apart", was.words(), was.months_apart);
        let (changed, cited) = mark(was.of.changed.as_ref(), words, &was.of.source, by);
        (table.changed, table.source, table.set) = (Some(changed), Some(cited), None);
        table.in_force = table.in_force.filter(|on| !on);
        (table.unit, table.months_apart, table.seam) = (to.unit, to.months_apart, vec![]);
        match &to.parts {
            PartsBounds::AtMost(most) => (table.at_most, table.bands) = (Some(*most), vec![]),
            PartsBounds::Bands { decimals, bands } => {
                let ends: Vec<Option<f64>> = bands.iter().map(|(end, _)| *end).collect();
                let printed = printed(&ends, *decimals).into_iter();
                table.bands =
                    printed.zip(bands).map(|(printed, (_, parts))| RawSplitBand { printed, parts: *parts }).collect();
                (table.at_most, table.decimals) = (None, *decimals);
            }
        }
        rule(&self.raw.slug, &table)?;
        self.raw.split[at] = Spanned::new(0..0, table);
        Ok(())
    }

    /// Switches a rule for parts on or off.
    pub fn switch_split(&mut self, at: usize, on: bool) {
        let Some(table) = self.raw.split.get(at) else { return };
        let mut table = table.get_ref().clone();
        table.in_force = table.source.as_ref().and_then(|source| switched(source, on));
        self.raw.split[at] = Spanned::new(0..0, table);
    }

    /// Takes rules for parts out.
    pub fn remove_splits(&mut self, rules: &[usize]) {
        let mut at = 0..;
        self.raw.split.retain(|_| at.next().is_some_and(|i| !rules.contains(&i)));
    }
}
