//! Eight invented years: what was sampled, printed, planned, put on, grown and harvested, told in
//! the order in which it happened: sets of files, and between them the split of a bed and the
//! plans of the last springs, so that each plan knows only what was known then.

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
        offtake::{self, Figures},
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

/// Springs before the last for which a plan was agreed.
const PLANS: i16 = 3;
/// Blocks that those plans were for, by what the codes of their beds begin with, and the
/// products that they gave.
const PLANNED: [&str; 3] = ["O", "KE", "KW"];
const PLANNED_GIFTS: [&str; 3] = ["sulfate_of_potash", "langbeinite", "epsom_salt"];
/// The bed and the season whose harvest nobody wrote down.
const FORGOTTEN: (&str, usize) = ("L3", 6);

/// Own analyses of crops that no table names, or not wholly: kg in a tonne fresh. Invented.
pub(super) const OWN_REMOVALS: &[(&str, &[(Element, &str)])] = {
    use Element::{Ca, K, Mg, N, P};
    &[
        ("lambs_lettuce", &[(N, "3.1"), (P, "0.45"), (K, "4.3"), (Ca, "0.38"), (Mg, "0.14")]),
        ("kale", &[(N, "5.4"), (P, "0.62"), (K, "4.4"), (Ca, "2.1"), (Mg, "0.31")]),
        ("basil", &[(N, "4.6"), (P, "0.55"), (K, "4.1"), (Ca, "2.3"), (Mg, "0.6")]),
    ]
};

/// What happened, in order.
pub(super) enum Event {
    TakeIn(RecordSet),
    /// The bed is split on a day.
    Split(Date),
    Plan(PastPlan),
}

/// A plan of an earlier spring, wholly put on.
pub(super) struct PastPlan {
    /// Name of the season.
    pub season: String,
    pub agreed_on: Date,
    pub closed_on: Date,
    /// Codes of the beds.
    pub beds: Vec<String>,
    pub doses: Vec<PastDose>,
}

/// A dose of it: bed, key in the catalogue, mass, and the day it went on.
pub(super) struct PastDose {
    pub bed: String,
    pub slug: &'static str,
    pub mass_g: f64,
    pub on: Date,
}

/// The invented garden's past.
pub(super) struct Story {
    pub events: Vec<Event>,
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
    let mut telling = Telling { set: RecordSet::default(), today, sheets: 0, events: vec![] };
    telling.set.plots = beds.iter().map(Bed::row).collect();
    let split_year = last - NEW_LAB;
    for year in last - SEASONS..=last {
        let n = (year - (last - SEASONS)) as usize;
        telling.autumn(year, last, &beds);
        if year == split_year {
            telling.then(Event::Split(date(split_year, 11, 20)));
            split(&mut beds);
            telling.sheets = 500;
        }
        telling.set.seasons.push(season(year + 1));
        let grown: Vec<Vec<Crop>> = beds.iter().map(|bed| telling.crops(year + 1, n, bed)).collect();
        if year == last {
            break;
        }
        let mut plan = (year >= last - PLANS).then(|| PastPlan {
            season: (year + 1).to_string(),
            agreed_on: date(year + 1, 2, 12),
            closed_on: date(year + 1, 9, 30),
            beds: beds.iter().filter(|bed| PLANNED.contains(&bed.block().prefix)).map(|bed| bed.code.clone()).collect(),
            doses: vec![],
        });
        // What is planned is told after what was known when it was planned.
        let known = std::mem::take(&mut telling.set);
        for (bed, crops) in beds.iter_mut().zip(&grown) {
            telling.year(year, n, bed, crops, &mut plan);
        }
        let followed = std::mem::replace(&mut telling.set, known);
        if let Some(plan) = plan {
            telling.then(Event::Plan(plan));
        }
        telling.set.applications.extend(followed.applications);
        telling.set.harvests.extend(followed.harvests);
    }
    telling.flush();
    Story { events: telling.events, season: (last + 1).to_string() }
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
    events: Vec<Event>,
}

impl Telling {
    /// What was told so far is taken in.
    fn flush(&mut self) {
        let set = std::mem::take(&mut self.set);
        self.events.push(Event::TakeIn(set));
    }

    /// Something happens between two sets.
    fn then(&mut self, event: Event) {
        self.flush();
        self.events.push(event);
    }

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
    fn year(&mut self, year: i16, n: usize, bed: &mut Bed, crops: &[Crop], plan: &mut Option<PastPlan>) {
        let next = bed.crops(n + 1);
        let mut added: BTreeMap<Element, f64> = BTreeMap::new();
        let mut lime_t_per_ha = 0.0;
        for Gift { on, slug, g_per_m2, how } in gifts(year, n, bed, crops, &next) {
            let Some(product) = amendment::find(slug) else { continue };
            let mut dice = Dice::of(&format!("{} {on} {slug}", bed.code));
            let mass_g = weighed(g_per_m2 * dice.about(0.08) * bed.area_m2);
            for (element, grams) in product.analysis.supplied(Grams(mass_g)) {
                *added.entry(element).or_default() += grams.per(SquareMetres(bed.area_m2)).0;
            }
            let value = product.analysis.neutralising_value.unwrap_or(0.0) / 100.0;
            lime_t_per_ha += Grams(mass_g * value).per(SquareMetres(bed.area_m2)).0 / 1000.0;
            if let Some(plan) = plan
                && PLANNED.contains(&bed.block().prefix)
                && PLANNED_GIFTS.contains(&slug)
            {
                plan.doses.push(PastDose { bed: bed.code.clone(), slug, mass_g, on });
                continue;
            }
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
        let taken = self.harvests(year + 1, n, bed, crops);
        bed.soil.season(&added, lime_t_per_ha, &taken, roofed);
    }

    /// What is harvested of a season's crops; gives what that carried away, kg/ha.
    fn harvests(&mut self, year: i16, n: usize, bed: &Bed, crops: &[Crop]) -> BTreeMap<Element, f64> {
        let mut taken: BTreeMap<Element, f64> = BTreeMap::new();
        for (i, crop) in crops.iter().enumerate() {
            let mut dice = Dice::of(&format!("harvest {} {year} {}", bed.code, crop.slug));
            let picks: &[(i8, i8, f64)] = match (i, crop.group) {
                (1.., _) => &[(10, 25, 1.0)],
                (0, CropGroup::Fruiting | CropGroup::Cucurbit) => &[(7, 20, 0.4), (8, 30, 0.6)],
                (0, CropGroup::Root | CropGroup::Allium | CropGroup::Tuber) => &[(9, 5, 1.0)],
                _ => &[(8, 10, 1.0)],
            };
            let kg_per_m2 = kg_per_m2(crop, i) * dice.about(0.12);
            for (month, day, share) in picks {
                let fresh_mass_kg = (kg_per_m2 * share * bed.area_m2 * 2.0).round().max(1.0) / 2.0;
                let row = HarvestRow {
                    line: 0,
                    plot: bed.code.clone(),
                    harvested_on: after(date(year, *month, *day), dice.whole(-4, 4)),
                    crop: Some(crop.slug.to_owned()),
                    fresh_mass_kg,
                    figures: Figures::Tables,
                    person: if dice.unit() < 0.5 { "Tobias" } else { "Ines" }.to_owned(),
                    note: String::new(),
                };
                for (element, kg) in carried(crop, fresh_mass_kg, bed.area_m2) {
                    *taken.entry(element).or_default() += kg;
                }
                if (bed.code.as_str(), n) != FORGOTTEN {
                    self.set.harvests.push(row);
                }
            }
        }
        taken
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

/// What a crop of the garden yields, kg/m². Round figures of the right size, for an invented record.
fn kg_per_m2(crop: &Crop, place: usize) -> f64 {
    match crop.group {
        _ if place > 0 => 0.8,
        CropGroup::Fruiting => 9.0,
        CropGroup::Cucurbit => 6.5,
        CropGroup::Root => 4.5,
        CropGroup::Brassica => 3.8,
        CropGroup::Tuber => 3.5,
        CropGroup::Allium => 3.2,
        CropGroup::Leafy => 2.4,
        CropGroup::Legume => 1.4,
        _ => 1.6,
    }
}

/// What a harvest carried away by the figures that the garden's ledger will use, kg/ha.
fn carried(crop: &Crop, mass_kg: f64, area_m2: f64) -> BTreeMap<Element, f64> {
    let own = OWN_REMOVALS.iter().find(|(slug, _)| *slug == crop.slug).map_or(&[][..], |(_, figures)| figures);
    let of = |element: &Element| match own.iter().find(|(of, _)| of == element) {
        Some((_, figure)) => figure.parse().ok(),
        None => offtake::removal(Some(crop), *element, &Figures::Tables).map(|removal| removal.kg_per_t.mid),
    };
    let rate = |kg_per_t: f64| Grams(mass_kg * kg_per_t).per(SquareMetres(area_m2)).0;
    offtake::BALANCED.iter().filter_map(|element| Some((*element, rate(of(element)?)))).collect()
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
                give(later, "pelleted_poultry", 60.0, "raked in");
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
