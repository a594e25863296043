//! Where a plot stands now: every sampling of a plot read, the newest result of each
//! analyte chosen, and the whole placed under one guideline. It joins the rules of
//! `reading`, `carbonate`, `choice`, `exchange_capacity` and `standing` and adds none of
//! its own but this: the newest date that answers for an analyte answers for it alone.

use super::{
    analyte::Analyte,
    carbonate::{self, Signs},
    choice::{self, Choice, Overrule},
    drift::{DEFAULT_ERRORS, ErrorSettings},
    exchange_capacity::{self, Capacity, Parts},
    ground::{Ground, Texture},
    guideline::{Facts, Guideline, LandUse, Position},
    method::Method,
    reading::{self, Divisors, Reading, Unreadable},
    record::Sampling,
    standing::{self, Chosen, Setting, Standing},
};
use jiff::civil::Date;
use std::collections::BTreeMap;

/// Years after which a result is shown with a reminder of its age.
///
/// NRCS practice 590 takes tests no older than five years; extension advice for gardens is
/// every two to three (Virginia Cooperative Extension).
pub const OLD_YEARS: f64 = 5.0;

/// Every sampling of a plot, read.
#[derive(Clone, Debug, Default)]
pub struct Survey {
    /// Newest date first; the order of the samplings within a date is kept.
    pub visits: Vec<Visit>,
    /// Errors of its tests: the site's own where it has set any.
    pub errors: ErrorSettings,
}

/// One sampling with its readings.
#[derive(Clone, Debug)]
pub struct Visit {
    pub sampling: Sampling,
    pub readings: Vec<Reading>,
    pub unreadable: Vec<Unreadable>,
}

/// A plot's present state under a guideline.
#[derive(Clone, Debug)]
pub struct Present {
    /// What its limits are read for.
    pub land_use: LandUse,
    pub signs: Signs,
    /// The reading used for each analyte, with those left aside.
    pub choices: BTreeMap<Analyte, Choice>,
    /// The exchange capacity, or the sentence that says why none can be trusted.
    pub capacity: Result<Capacity, String>,
    pub standing: Standing,
    /// Cells of the newest date that cannot be read, with what is missing.
    pub unreadable: Vec<Unreadable>,
}

/// What a plot's standing rests on: the readings used, and what they say of lime, salts and capacity.
#[derive(Clone, Debug)]
pub struct Basis {
    /// What the limits are read for.
    pub land_use: LandUse,
    pub signs: Signs,
    /// The reading used for each analyte, with those left aside.
    pub choices: BTreeMap<Analyte, Choice>,
    /// The exchange capacity, or the sentence that says why none can be trusted.
    pub capacity: Result<Capacity, String>,
}

impl Basis {
    fn setting<'a>(&'a self, texture: Texture, errors: &'a ErrorSettings) -> Setting<'a> {
        let capacity = self.capacity.as_ref().map_err(Clone::clone);
        Setting { land_use: self.land_use, texture, signs: &self.signs, capacity, errors }
    }

    /// The span to aim for under a guideline for tests like this reading: the aim and the
    /// lowest level above the best (both the same where there is only one), or why there is none.
    /// The rule is the one that suits the plot's pH, lime and capacity of today.
    pub fn aim(&self, reading: &Reading, texture: Texture, guideline: &Guideline) -> Result<(f64, f64), String> {
        let ph = match reading.analyte {
            Analyte::Ph => Some(reading),
            _ => self.choices.get(&Analyte::Ph).map(|choice| &choice.chosen),
        };
        let setting = self.setting(texture, &DEFAULT_ERRORS);
        let nutrient = standing::stand_one(reading, ph, guideline, &setting);
        match (nutrient.aim_level, nutrient.above) {
            (Some(aim), above) => Ok((aim.number(), above.unwrap_or(aim).number())),
            (None, _) => Err(match nutrient.position {
                Position::NoCriterion(why) | Position::NotKnown(why) => why,
                position => format!("{} gives no aim: {}.", guideline.title, position.words()),
            }),
        }
    }
}

/// How far pH in calcium chloride reads below pH in water, at the least.
///
/// SCMA (Rayment & Lyons 2011): 0.5 to 1.0 below.
pub const SALT_BELOW_WATER: f64 = 0.5;

/// The pH in water among readings, best first. A pH read in salt is another quantity.
fn ph_in_water<'a>(readings: impl IntoIterator<Item = &'a Reading>) -> Option<f64> {
    let in_water = readings.into_iter().find(|r| r.analyte == Analyte::Ph && r.method.is_ph_in_water());
    in_water.map(|reading| reading.level.number())
}

impl Present {
    /// What it rests on.
    pub fn basis(&self) -> Basis {
        Basis {
            land_use: self.land_use,
            signs: self.signs.clone(),
            choices: self.choices.clone(),
            capacity: self.capacity.clone(),
        }
    }

    /// The pH in water, where it was read.
    pub fn ph_in_water(&self) -> Option<f64> {
        let choice = self.choices.get(&Analyte::Ph)?;
        ph_in_water(std::iter::once(&choice.chosen).chain(&choice.others))
    }

    /// The pH in water or, where it was read otherwise, what it is at the least: a reading in
    /// calcium chloride lies [`SALT_BELOW_WATER`] or more below it, one in potassium chloride
    /// or by a method that is not stated is taken as it stands. For keeping lime off, nothing else.
    pub fn ph_at_least(&self) -> Option<f64> {
        let otherwise = || {
            let chosen = &self.choices.get(&Analyte::Ph)?.chosen;
            let below = if chosen.method == Method::PhCalciumChloride { SALT_BELOW_WATER } else { 0.0 };
            Some(chosen.level.number() + below)
        };
        self.ph_in_water().or_else(otherwise)
    }

    /// When soil was taken for the reading used of each analyte.
    pub fn tested_on(&self) -> BTreeMap<Analyte, Date> {
        self.choices.iter().map(|(analyte, choice)| (*analyte, choice.chosen.sampled_on)).collect()
    }
}

impl Survey {
    /// Reads every sampling.
    pub fn read(samplings: impl IntoIterator<Item = Sampling>) -> Survey {
        let visits = newest_first(samplings)
            .into_iter()
            .map(|sampling| {
                let (readings, unreadable) = reading::read_all(&sampling);
                Visit { sampling, readings, unreadable }
            })
            .collect();
        Survey { visits, errors: ErrorSettings::default() }
    }

    /// Reads only what the present rests on: of each analyte the newest date that answers for
    /// it. Same [`Survey::present`], signs and last date as [`Survey::read`] at a fraction of the
    /// work, for pages of many plots; no history.
    pub fn read_newest(samplings: impl IntoIterator<Item = Sampling>) -> Survey {
        let divisors = Divisors::exact();
        let mut answered: BTreeMap<Analyte, Date> = BTreeMap::new();
        let visits = newest_first(samplings)
            .into_iter()
            .map(|sampling| {
                let on = sampling.sampled_on;
                let (mut readings, mut unreadable) = (Vec::new(), Vec::new());
                for (report, cell) in sampling.determinations() {
                    if answered.get(&cell.analyte).is_some_and(|newest| *newest > on) {
                        continue;
                    }
                    match reading::read(&sampling, report, cell, &divisors) {
                        Ok(reading) => readings.push(reading),
                        Err(why) => unreadable.push(why),
                    }
                }
                for reading in &readings {
                    answered.entry(reading.analyte).or_insert(on);
                }
                Visit { sampling, readings, unreadable }
            })
            .collect();
        Survey { visits, errors: ErrorSettings::default() }
    }

    /// The same survey, its tests weighed by these errors.
    pub fn with_errors(self, errors: &ErrorSettings) -> Survey {
        Survey { errors: errors.clone(), ..self }
    }

    /// The same survey as it was known on a date.
    pub fn until(&self, on: Date) -> Survey {
        let visits = self.visits.iter().filter(|v| v.sampling.sampled_on <= on).cloned().collect();
        Survey { visits, errors: self.errors.clone() }
    }

    /// All readings of one analyte over the years, oldest first.
    pub fn history(&self, analyte: Analyte) -> Vec<Reading> {
        let mut all: Vec<Reading> = self.readings().filter(|r| r.analyte == analyte).cloned().collect();
        all.sort_by_key(|r| r.sampled_on);
        all
    }

    /// Every analyte that was ever read, in order.
    pub fn analytes(&self) -> Vec<Analyte> {
        let all: std::collections::BTreeSet<Analyte> = self.readings().map(|r| r.analyte).collect();
        all.into_iter().collect()
    }

    /// When soil was last taken.
    pub fn last_sampled(&self) -> Option<Date> {
        self.visits.first().map(|v| v.sampling.sampled_on)
    }

    fn readings(&self) -> impl Iterator<Item = &Reading> {
        self.visits.iter().flat_map(|v| &v.readings)
    }

    /// The readings of the newest date for each analyte. Where several depths were taken on
    /// one date, the uppermost answers for the plot.
    pub fn newest(&self) -> Vec<Reading> {
        let mut newest: BTreeMap<Analyte, Vec<&Reading>> = BTreeMap::new();
        for reading in self.readings() {
            let kept = newest.entry(reading.analyte).or_default();
            let top = |r: &Reading| r.depth.map_or(0.0, |d| d.top.0);
            match kept.first() {
                Some(first) if first.sampled_on > reading.sampled_on || top(first) < top(reading) => {}
                Some(first) if first.sampled_on == reading.sampled_on && top(reading) < top(first) => {
                    *kept = vec![reading];
                }
                _ => kept.push(reading),
            }
        }
        newest.into_values().flatten().cloned().collect()
    }

    /// The signs of lime and salts: the newest fizz test and the newest pH, carbonate and
    /// conductivity, whichever dates they are of. Lime found once does not leave by itself.
    pub fn signs(&self, ground: &Ground) -> Signs {
        let Some(first) = self.visits.first() else { return Signs::default() };
        let fizz = self.visits.iter().find_map(|v| v.sampling.fizz);
        // The acid test is all that is asked of the sampling itself.
        let Sampling { key, sampled_on, date_assumed, depth, cores, .. } = first.sampling;
        let evidence = Sampling { key, sampled_on, date_assumed, depth, cores, fizz, reports: vec![] };
        let telling = [Analyte::Ph, Analyte::Carbonate, Analyte::Conductivity];
        let readings: Vec<Reading> = self.newest().into_iter().filter(|r| telling.contains(&r.analyte)).collect();
        carbonate::signs(&evidence, &readings, Some(ground.cover))
    }

    /// % of the capacity that the bases fill as the newest sheets have them, lime and salts counted
    /// with them: to show how inflated they are, never to judge by.
    pub fn bases_as_printed(&self) -> Option<f64> {
        let choices = choice::choose(&self.newest(), &Signs::default(), &[], |_| true);
        let capacity = exchange_capacity::capacity(&Parts::gather(&choices), &Signs::default(), &Divisors::exact());
        Some(capacity.ok()?.base_saturation?.share.0)
    }

    /// Where the plot stands on a day under a guideline. `overrules` are a person's choices of reading.
    pub fn present(
        &self,
        ground: &Ground,
        guideline: &Guideline,
        land_use: LandUse,
        overrules: &[Overrule],
        on: Date,
    ) -> Present {
        let basis = self.basis(ground, guideline, land_use, overrules);
        let chosen: Vec<Chosen<'_>> =
            basis.choices.values().map(|c| Chosen { reading: &c.chosen, reasons: &c.reasons }).collect();
        let mut standing = standing::stand(&chosen, guideline, &basis.setting(ground.texture, &self.errors));
        for nutrient in &mut standing.nutrients {
            let taken = basis.choices.get(&nutrient.analyte).map(|c| c.chosen.sampled_on);
            if let Some(note) = taken.and_then(|taken| age_note(taken, on)) {
                nutrient.notes.push(note);
            }
        }
        // A printed ratio is no level, and nothing lacks where it is not one.
        let levels = |cell: &&reading::Unreadable| !cell.analyte.is_ratio();
        let newest = self.visits.first().into_iter().flat_map(|visit| &visit.unreadable);
        let unreadable = newest.filter(levels).cloned().collect();
        let Basis { land_use, signs, choices, capacity } = basis;
        Present { land_use, signs, choices, capacity, standing, unreadable }
    }

    /// What a standing rests on, without the standing itself.
    pub fn basis(&self, ground: &Ground, guideline: &Guideline, land_use: LandUse, overrules: &[Overrule]) -> Basis {
        let basis = self.basis_without_capacity(ground, guideline, land_use, overrules);
        let capacity = exchange_capacity::capacity(&Parts::gather(&basis.choices), &basis.signs, &Divisors::exact());
        Basis { capacity: capacity.map_err(|withheld| withheld.reason), ..basis }
    }

    /// The same for a guideline that no rule of goes by the exchange capacity: it is not worked out.
    pub fn basis_without_capacity(
        &self,
        ground: &Ground,
        guideline: &Guideline,
        land_use: LandUse,
        overrules: &[Overrule],
    ) -> Basis {
        let signs = self.signs(ground);
        let newest = self.newest();
        let ph = ph_in_water(&newest);
        let facts = Facts { land_use, texture: ground.texture, ph, carbonate: signs.calcareous() };
        let choices = choice::choose(&newest, &signs, overrules, |reading| guideline.reads(reading, &facts));
        Basis { land_use, signs, choices, capacity: Err("The exchange capacity was not worked out".into()) }
    }
}

/// Newest date first; the order within a date is that of the keys.
fn newest_first(samplings: impl IntoIterator<Item = Sampling>) -> Vec<Sampling> {
    let mut samplings: Vec<Sampling> = samplings.into_iter().collect();
    samplings.sort_by(|a, b| b.sampled_on.cmp(&a.sampled_on).then(a.key.cmp(&b.key)));
    samplings
}

/// Years between two dates, by the civil calendar.
pub fn years_between(from: Date, to: Date) -> f64 {
    from.until(to).map_or(0.0, |span| f64::from(span.get_days())) / 365.25
}

fn age_note(taken: Date, on: Date) -> Option<String> {
    let years = years_between(taken, on);
    (years >= OLD_YEARS).then(|| format!("This soil was taken {years:.0} years ago; a newer test is worth having."))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::agronomy::{
        ground::{Cover, Texture},
        guideline,
        method::Method,
        quantity::{Centimetres, SquareMetres},
        record::{Basis, CellKey, Determination, Fizz, FizzAcid, FizzClass, PrintedValue, Qualifier, Report, Unit},
    };

    fn ground() -> Ground {
        Ground {
            area: SquareMetres(20.0),
            cover: Cover::Tunnel,
            texture: Texture::Loam,
            bulk_density: None,
            depth: Centimetres(15.0),
            stones: 0.0,
        }
    }

    fn cell(key: i64, analyte: &str, method: Method, value: f64, unit: Unit) -> Determination {
        Determination {
            key: CellKey(key),
            analyte: analyte.parse().unwrap(),
            method,
            printed: PrintedValue {
                text: value.to_string(),
                qualifier: Qualifier::Exact,
                value: Some(value),
                decimals: 0,
            },
            unit,
            form: None,
            basis: Basis::Mass,
            layer: None,
        }
    }

    fn sampling(key: i64, on: Date, fizz: Option<FizzClass>, determinations: Vec<Determination>) -> Sampling {
        Sampling {
            key,
            sampled_on: on,
            date_assumed: false,
            depth: None,
            cores: None,
            fizz: fizz.map(|class| Fizz { acid: FizzAcid::Hydrochloric1M, class }),
            reports: vec![Report { key, lab: "a lab".into(), determinations }],
        }
    }

    #[test]
    fn each_analyte_is_answered_by_its_newest_date_and_fizz_is_remembered() {
        let date = |y| jiff::civil::date(y, 10, 10);
        let survey = Survey::read([
            sampling(
                1,
                date(2022),
                Some(FizzClass::Strong),
                vec![
                    cell(1, "P", Method::Mehlich3Icp, 90.0, Unit::MgPerKg),
                    cell(2, "P", Method::Olsen, 11.0, Unit::MgPerKg),
                    cell(3, "K", Method::Mehlich3Icp, 100.0, Unit::MgPerKg),
                ],
            ),
            sampling(2, date(2024), None, vec![cell(4, "K", Method::Mehlich3Icp, 140.0, Unit::MgPerKg)]),
        ]);
        let guideline = guideline::find("extension_sufficiency").unwrap();
        let present = survey.present(&ground(), guideline, LandUse::Vegetables, &[], date(2025));
        assert!(present.signs.calcareous());
        let chosen = |a: &str| &present.choices[&a.parse().unwrap()].chosen;
        assert_eq!((&chosen("P").method, chosen("P").cell), (&Method::Olsen, CellKey(2)));
        assert_eq!(chosen("K").cell, CellKey(4));
        assert!(present.capacity.is_err(), "no capacity from an acid extraction on ground that fizzes");
        assert!(present.standing.nutrients.iter().all(|n| n.found.working.is_grounded()));
        let quick = Survey::read_newest(survey.visits.iter().map(|visit| visit.sampling.clone()));
        assert_eq!(quick.visits.iter().map(|v| v.readings.len()).collect::<Vec<_>>(), [1, 2], "K of 2022 is not read");
        assert_eq!(
            quick.present(&ground(), guideline, LandUse::Vegetables, &[], date(2025)).standing,
            present.standing
        );
    }

    #[test]
    fn an_old_test_says_its_age_and_an_empty_plot_says_nothing() {
        let survey = Survey::read([sampling(
            1,
            jiff::civil::date(2015, 3, 1),
            None,
            vec![cell(1, "K", Method::Mehlich3Icp, 140.0, Unit::MgPerKg)],
        )]);
        let guideline = guideline::find("delaware_mehlich3").unwrap();
        let on = jiff::civil::date(2025, 3, 1);
        let present = survey.present(&ground(), guideline, LandUse::Vegetables, &[], on);
        assert!(present.standing.nutrients[0].notes.iter().any(|n| n.contains("10 years ago")));
        let empty = Survey::default().present(&ground(), guideline, LandUse::Vegetables, &[], on);
        assert!(empty.standing.nutrients.is_empty() && empty.choices.is_empty());
    }
}
