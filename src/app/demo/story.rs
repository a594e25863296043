//! Eight invented years: what was sampled, printed, put on and grown, as two sets of files.
//!
//! Two, because a bed is split between them: the first set is told before, the second after.

use super::{
    garden::{BLOCKS, Bed, beds},
    sheets::{Lab, sheet},
    soil::{Dice, Soil},
};
use crate::{
    agronomy::{
        amendment,
        crop::{Crop, CropGroup},
        element::Element,
        ground::Cover,
        quantity::{Centimetres, Grams, SquareMetres},
        record::{DepthBand, Fizz, FizzAcid, FizzClass},
    },
    exchange::{number::parse_printed, record_set::*},
};
use jiff::civil::{Date, date};
use std::collections::BTreeMap;

/// Seasons of history.
pub(super) const SEASONS: i16 = 8;
/// Years ago, counted from the last sampling, that the auger and the laboratory changed.
const NEW_LAB: i16 = 4;
/// The bed that was split, and into what.
pub(super) const SPLIT: (&str, [&str; 2]) = ("L12", ["L12a", "L12b"]);

/// The invented garden's past.
pub(super) struct Story {
    pub before_split: RecordSet,
    pub split_on: Date,
    pub after_split: RecordSet,
    /// Name of the season that runs now.
    pub season: String,
}

/// The year of the last sampling whose sheets are back by `today`.
pub(super) fn last_sampling(today: Date) -> i16 {
    if today >= date(today.year(), 11, 1) { today.year() } else { today.year() - 1 }
}

/// Tells the story up to `today`; the same day tells the same story.
pub(super) fn story(today: Date) -> Story {
    let last = last_sampling(today);
    let mut beds = beds();
    let mut first = Telling { set: RecordSet::default(), today, sheets: 0 };
    first.set.plots = beds.iter().map(Bed::row).collect();
    let mut second = Telling { set: RecordSet::default(), today, sheets: 500 };
    let split_year = last - NEW_LAB;
    let split_on = date(split_year, 11, 20);
    for year in last - SEASONS..=last {
        let n = (year - (last - SEASONS)) as usize;
        let telling = if year <= split_year { &mut first } else { &mut second };
        telling.autumn(year, last, &beds);
        if year == split_year {
            split(&mut beds);
        }
        let telling = if year < split_year { &mut first } else { &mut second };
        telling.set.seasons.push(season(year + 1));
        for bed in &mut beds {
            if year < last {
                telling.year(year, n, bed);
            } else {
                telling.crops(year + 1, n, bed);
            }
        }
    }
    Story { before_split: first.set, split_on, after_split: second.set, season: (last + 1).to_string() }
}

/// The season that is named after this year: from November to October.
fn season(year: i16) -> SeasonRow {
    SeasonRow { line: 0, name: year.to_string(), starts_on: date(year - 1, 11, 1), ends_on: date(year, 10, 31) }
}

/// One bed becomes two halves with the same soil.
fn split(beds: &mut Vec<Bed>) {
    let Some(at) = beds.iter().position(|bed| bed.code == SPLIT.0) else { return };
    let parent = beds.remove(at);
    for (i, code) in SPLIT.1.into_iter().enumerate() {
        let half = Bed {
            code: code.to_owned(),
            area_m2: (parent.area_m2 * 5.0).floor() / 10.0,
            place: parent.place + 3 * i,
            ..parent.clone()
        };
        beds.insert(at + i, half);
    }
}

/// A set being told.
struct Telling {
    set: RecordSet,
    today: Date,
    /// Sheets told so far, for the labs' numbers.
    sheets: usize,
}

impl Telling {
    /// The sampling of an October: tunnels every year, open ground every second.
    fn autumn(&mut self, year: i16, last: i16, beds: &[Bed]) {
        let ago = last - year;
        for (at, block) in BLOCKS.iter().enumerate() {
            let tunnel = block.cover == Cover::Tunnel;
            if !tunnel && ago % 2 != 0 {
                continue;
            }
            let day = Dice::of(&format!("{} {year}", block.name)).whole(6, 19) as i8;
            let of_block: Vec<&Bed> = beds.iter().filter(|bed| bed.block == at).collect();
            // Six years ago there was no money for a sample from each bed of the brook.
            let together = if block.prefix == "B" && ago == 6 { 3 } else { 1 };
            for group in of_block.chunks(together) {
                self.sample(date(year, 10, day), ago, group);
            }
        }
    }

    /// One sample, of one bed or of several together, with its sheets.
    fn sample(&mut self, on: Date, ago: i16, beds: &[&Bed]) {
        let block = beds[0].block();
        let codes: Vec<String> = beds.iter().map(|bed| bed.code.clone()).collect();
        let label = format!("{} {on}", codes.join("+"));
        let old = ago > NEW_LAB;
        let tunnel = block.cover == Cover::Tunnel;
        let fizzed = (tunnel || ago == NEW_LAB).then_some(block.fizz);
        let suspicious = codes == ["O5"] && ago == 2;
        let note = match (suspicious, ago == NEW_LAB && beds[0].place == 0, beds.len() > 1) {
            (true, _, _) => "Is the K on this sheet right? It looks ten times too high. Asked the lab; no answer yet.",
            (_, true, _) => "New auger, 15 cm from this year on, and a new laboratory.",
            (_, _, true) => "One sample from several beds.",
            _ => "",
        };
        let sampling = self.set.samplings.len();
        self.set.samplings.push(SamplingRow {
            line: 0,
            key: label.clone(),
            plots: codes,
            sampled_on: on,
            date_assumed: false,
            depth: Some(DepthBand { top: Centimetres(0.0), bottom: Centimetres(if old { 20.0 } else { 15.0 }) }),
            cores: Some(Dice::of(&label).whole(12, 15) as u32),
            fizz: fizzed.map(|class| Fizz { acid: FizzAcid::Hydrochloric1M, class }),
            sub_sample: None,
            sampler: if ago % 3 == 0 { "Tobias" } else { "Ines" }.to_owned(),
            note: note.to_owned(),
        });
        let soil = mixed(beds);
        let first_lab = if old { Lab::TallowBridge } else { Lab::SarnWater };
        let second_lab = (block.fizz != FizzClass::None && ago <= NEW_LAB + 1).then_some(Lab::MarlAndFenner);
        for lab in [Some(first_lab), second_lab].into_iter().flatten() {
            self.sheets += 1;
            let report = self.set.reports.len();
            let back = after(on, Dice::of(&label).whole(8, 12));
            self.set.reports.push(ReportRow {
                line: 0,
                sampling,
                lab: lab.name().to_owned(),
                reference: lab.reference(on.year(), self.sheets),
                reported_on: Some(back),
                note: String::new(),
            });
            let mut cells = sheet(lab, &soil, &label, report);
            if suspicious {
                slip_the_point(&mut cells);
            }
            self.set.cells.append(&mut cells);
        }
    }

    /// From one autumn to the next: what is put on, what grows, and what that does to the soil.
    fn year(&mut self, year: i16, n: usize, bed: &mut Bed) {
        let crops = self.crops(year + 1, n, bed);
        let next = bed.crops(n + 1);
        let mut added: BTreeMap<Element, f64> = BTreeMap::new();
        let mut lime_t_per_ha = 0.0;
        for Gift { on, slug, g_per_m2, how } in gifts(year, n, bed, &crops, &next) {
            let Some(product) = amendment::find(slug) else { continue };
            let mut dice = Dice::of(&format!("{} {on} {slug}", bed.code));
            let mass_g = weighed(g_per_m2 * dice.about(0.08) * bed.area_m2);
            for (element, grams) in product.analysis.supplied(Grams(mass_g)) {
                *added.entry(element).or_default() += grams.per(SquareMetres(bed.area_m2)).0;
            }
            let value = product.analysis.neutralising_value.unwrap_or(0.0) / 100.0;
            lime_t_per_ha += Grams(mass_g * value).per(SquareMetres(bed.area_m2)).0 / 1000.0;
            self.set.applications.push(ApplicationRow {
                line: 0,
                plot: bed.code.clone(),
                applied_on: on,
                amendment: product.name.clone(),
                mass_g,
                method: how.to_owned(),
                person: if dice.unit() < 0.6 { "Tobias" } else { "Ines" }.to_owned(),
                note: String::new(),
            });
        }
        let roofed = bed.roofed();
        bed.soil.season(&added, lime_t_per_ha, &crops, roofed);
    }

    /// What a bed grows in a season; what lies ahead has no day yet.
    fn crops(&mut self, year: i16, n: usize, bed: &Bed) -> Vec<Crop> {
        let crops = bed.crops(n);
        for (i, crop) in crops.iter().enumerate() {
            let (month, day) = match (i, bed.roofed(), crop.group) {
                (1.., _, _) => (9, 24),
                (0, true, _) => (4, 10),
                (_, _, CropGroup::Legume) => (5, 6),
                (_, _, CropGroup::Cucurbit | CropGroup::Corn) => (5, 20),
                (_, _, CropGroup::Allium) => (3, 28),
                _ => (4, 18),
            };
            let shift = Dice::of(&format!("{} {year} {}", bed.code, crop.slug)).whole(-5, 5);
            self.set.croppings.push(CroppingRow {
                line: 0,
                plot: bed.code.clone(),
                season: year.to_string(),
                crop: crop.slug.to_owned(),
                sown_on: Some(after(date(year, month, day), shift)).filter(|day| *day <= self.today),
                note: String::new(),
            });
        }
        crops
    }
}

/// So many days later, or earlier.
fn after(day: Date, days: i32) -> Date {
    day.saturating_add(jiff::Span::new().days(i64::from(days)))
}

/// The soil of several beds in one bucket.
fn mixed(beds: &[&Bed]) -> Soil {
    let mut soil = beds[0].soil.clone();
    let mean = |of: &dyn Fn(&Soil) -> f64| beds.iter().map(|bed| of(&bed.soil)).sum::<f64>() / beds.len() as f64;
    for (element, level) in &mut soil.levels {
        *level = mean(&|soil| soil.levels.get(element).copied().unwrap_or(0.0));
    }
    soil.ph = mean(&|soil| soil.ph);
    soil.organic_matter = mean(&|soil| soil.organic_matter);
    soil
}

/// The point slips on the line of potassium, as it does.
fn slip_the_point(cells: &mut [CellRow]) {
    for cell in cells.iter_mut().filter(|cell| cell.analyte.to_string() == "K") {
        let text = format!("{}0", cell.printed.text);
        if let Some(printed) = parse_printed(&text).ok().and_then(|cell| cell.printed()) {
            cell.printed = printed;
        }
    }
}

/// Something put on a bed.
struct Gift {
    on: Date,
    /// Key in the catalogue.
    slug: &'static str,
    g_per_m2: f64,
    how: &'static str,
}

/// What the invented growers give a bed between the autumn of `year` and the next. Their
/// habits, not advice.
fn gifts(year: i16, n: usize, bed: &Bed, crops: &[Crop], next: &[Crop]) -> Vec<Gift> {
    let mut gifts = Vec::new();
    let mut give = |on, slug, g_per_m2, how| gifts.push(Gift { on, slug, g_per_m2, how });
    let spring = date(year + 1, 3, Dice::of(&format!("{} spring {year}", bed.block().name)).whole(8, 26) as i8);
    let later = after(spring, 19);
    let grows = |group: CropGroup| crops.iter().any(|crop| crop.group == group);
    let hungry = grows(CropGroup::Brassica) || grows(CropGroup::Leafy) || grows(CropGroup::Allium);
    let beans_near = crops.iter().chain(next).any(|crop| crop.group == CropGroup::Legume);
    let boron = bed.soil.levels.get(&Element::B).copied().unwrap_or(0.0);
    match bed.block().prefix {
        "L" => {
            if n % 2 == 1 {
                give(spring, "green_compost", 2600.0, "raked in");
            } else if hungry {
                give(spring, "pelleted_poultry", 110.0, "raked in");
            }
            if n == 3 {
                give(date(year, 11, 8), "ground_limestone", 250.0, "raked in");
            }
            if grows(CropGroup::Root) || (grows(CropGroup::Allium) && n % 2 == 0) {
                give(spring, "sulfate_of_potash", 22.0, "raked in");
            }
        }
        "O" => {
            if n % 2 == 0 {
                give(spring, "green_compost", 2200.0, "raked in");
            } else if hungry {
                give(later, "feather_meal", 70.0, "raked in");
            }
            if n == 5 {
                give(date(year, 11, 9), "ground_limestone", 250.0, "raked in");
            }
            if grows(CropGroup::Tuber) || grows(CropGroup::Cucurbit) {
                give(spring, "langbeinite", 28.0, "raked in");
            }
        }
        "B" => {
            if [1, 3, 5].contains(&n) {
                give(date(year, 11, 12), "ground_limestone", 180.0, "forked in");
            }
            if n % 3 == 0 {
                give(spring, "cattle_manure", 3000.0, "forked in");
            }
            if n % 2 == 1 {
                give(later, "kieserite", 16.0, "raked in");
            }
            if n == 4 {
                give(later, "zinc_sulfate_mono", 1.2, "in water, by the can");
            }
        }
        "KE" => {
            give(spring, "compost", 3000.0, "forked in");
            give(later, "langbeinite", 20.0, "raked in");
            give(later, "sulfate_of_potash", 32.0, "raked in");
            if n >= 3 {
                give(later, "feather_meal", 60.0, "raked in");
            }
        }
        _ => {
            give(spring, "compost", 3500.0, "forked in");
            give(later, "sulfate_of_potash", 42.0, "raked in");
            if n % 2 == 1 {
                give(later, "epsom_salt", 20.0, "in water, by the can");
            }
        }
    }
    if !bed.roofed() && boron < 0.5 && !beans_near && (grows(CropGroup::Brassica) || grows(CropGroup::Root)) {
        give(later, "borax", 1.0, "in water, by the can");
    }
    gifts
}

/// A mass as somebody weighs it in the shed: grams, then tens of grams, then half kilograms.
fn weighed(mass_g: f64) -> f64 {
    let step = match mass_g {
        ..100.0 => 1.0,
        ..5_000.0 => 10.0,
        _ => 500.0,
    };
    ((mass_g / step).round() * step).max(step)
}
