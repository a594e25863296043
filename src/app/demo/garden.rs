//! The invented garden's ground: blocks, beds, and what grows where.

use super::soil::{Dice, Soil};
use crate::{
    agronomy::{
        crop::Crop,
        element::Element::{self, *},
        ground::{Cover, Ground, Texture},
        guideline::LandUse,
        quantity::{Centimetres, SquareMetres},
        record::FizzClass,
    },
    exchange::record_set::PlotRow,
};

/// A block of the invented garden.
pub(super) struct Block {
    pub name: &'static str,
    /// What the codes of its beds begin with.
    pub prefix: &'static str,
    pub beds: usize,
    bed_m: (f64, f64),
    pub texture: Texture,
    pub cover: Cover,
    stones: f64,
    pub note: &'static str,
    /// mg/kg by Mehlich-3.
    levels: &'static [(Element, f64)],
    ph: f64,
    organic_matter: f64,
    carbonate: f64,
    /// Of a 1:2 extract, dS/m, when the history begins.
    conductivity: f64,
    /// What the acid test shows, where the ground fizzes.
    pub fizz: FizzClass,
    /// Crops in rotation: bed n grows number n + season.
    rotation: &'static [&'static str],
}

/// Kiln East is the strongest case of ground that fizzes; Brook Ground the sour one.
pub(super) const BLOCKS: &[Block] = &[
    Block {
        name: "Long Field",
        prefix: "L",
        beds: 12,
        bed_m: (1.2, 20.0),
        texture: Texture::SandyLoam,
        cover: Cover::Open,
        stones: 0.05,
        note: "Old pasture broken twelve years ago; compost every second spring.",
        levels: &[
            (P, 78.0),
            (K, 118.0),
            (Mg, 96.0),
            (Ca, 1180.0),
            (S, 13.0),
            (B, 0.42),
            (Zn, 3.4),
            (Cu, 1.9),
            (Mn, 14.0),
            (Fe, 86.0),
            (Na, 14.0),
        ],
        ph: 6.4,
        organic_matter: 3.9,
        carbonate: 0.0,
        conductivity: 0.18,
        fizz: FizzClass::None,
        rotation: &[
            "cabbage",
            "snap_bean",
            "carrot",
            "onion",
            "beetroot",
            "lettuce_romaine",
            "kale",
            "pea",
            "parsnip",
            "leek",
        ],
    },
    Block {
        name: "Orchard Side",
        prefix: "O",
        beds: 8,
        bed_m: (1.5, 16.0),
        texture: Texture::Loam,
        cover: Cover::Open,
        stones: 0.02,
        note: "Deepest soil of the garden, in the lee of the old orchard wall.",
        levels: &[
            (P, 46.0),
            (K, 152.0),
            (Mg, 138.0),
            (Ca, 1380.0),
            (S, 12.0),
            (B, 0.55),
            (Zn, 2.6),
            (Cu, 1.7),
            (Mn, 18.0),
            (Fe, 91.0),
            (Na, 16.0),
        ],
        ph: 6.3,
        organic_matter: 4.8,
        carbonate: 0.0,
        conductivity: 0.2,
        fizz: FizzClass::None,
        rotation: &["potato", "broccoli", "broad_bean", "spinach", "butternut", "garlic", "sweet_corn", "celeriac"],
    },
    Block {
        name: "Brook Ground",
        prefix: "B",
        beds: 8,
        bed_m: (1.2, 18.0),
        texture: Texture::LoamySand,
        cover: Cover::Open,
        stones: 0.10,
        note: "Sour, sandy and quick to dry. Being limed by degrees.",
        levels: &[
            (P, 31.0),
            (K, 66.0),
            (Mg, 36.0),
            (Ca, 430.0),
            (S, 9.0),
            (B, 0.21),
            (Zn, 1.1),
            (Cu, 0.6),
            (Mn, 13.0),
            (Fe, 128.0),
            (Na, 11.0),
        ],
        ph: 5.25,
        organic_matter: 2.7,
        carbonate: 0.0,
        conductivity: 0.15,
        fizz: FizzClass::None,
        rotation: &["kale", "runner_bean", "potato", "swede", "pea", "strawberry", "chard", "turnip"],
    },
    Block {
        name: "Kiln East",
        prefix: "KE",
        beds: 6,
        bed_m: (1.4, 25.0),
        texture: Texture::ClayLoam,
        cover: Cover::Tunnel,
        stones: 0.03,
        note: "Tunnel on the spread of an old lime-kiln: white lumps in the soil, foams with acid. Salts gather.",
        levels: &[
            (P, 128.0),
            (K, 268.0),
            (Mg, 236.0),
            (Ca, 4900.0),
            (S, 54.0),
            (B, 1.1),
            (Zn, 7.6),
            (Cu, 2.8),
            (Mn, 88.0),
            (Fe, 64.0),
            (Na, 72.0),
        ],
        ph: 7.85,
        organic_matter: 5.6,
        carbonate: 6.5,
        conductivity: 0.95,
        fizz: FizzClass::Strong,
        rotation: &["tomato", "cucumber", "sweet_pepper", "tomato", "snap_bean", "basil"],
    },
    Block {
        name: "Kiln West",
        prefix: "KW",
        beds: 6,
        bed_m: (1.4, 25.0),
        texture: Texture::ClayLoam,
        cover: Cover::Tunnel,
        stones: 0.03,
        note: "Tunnel at the edge of the old lime-kiln's spread: fizzes a little.",
        levels: &[
            (P, 84.0),
            (K, 172.0),
            (Mg, 168.0),
            (Ca, 3350.0),
            (S, 28.0),
            (B, 0.8),
            (Zn, 4.4),
            (Cu, 2.2),
            (Mn, 96.0),
            (Fe, 92.0),
            (Na, 38.0),
        ],
        ph: 7.6,
        organic_matter: 5.1,
        carbonate: 1.6,
        conductivity: 0.35,
        fizz: FizzClass::Slight,
        rotation: &["cucumber", "tomato", "eggplant", "lettuce_butterhead", "tomato", "sweet_pepper"],
    },
];

/// A bed of the invented garden, with its soil as it is at the moment told.
#[derive(Clone)]
pub(super) struct Bed {
    pub code: String,
    /// Place in [`BLOCKS`].
    pub block: usize,
    /// Place in its block, which the rotation goes by.
    pub place: usize,
    pub area_m2: f64,
    pub soil: Soil,
}

impl Bed {
    pub(super) fn block(&self) -> &'static Block {
        &BLOCKS[self.block]
    }

    pub(super) fn roofed(&self) -> bool {
        self.block().cover != Cover::Open
    }

    /// What it grows in season number `n`; tunnels carry a winter salad as well.
    pub(super) fn crops(&self, n: usize) -> Vec<Crop> {
        let rotation = self.block().rotation;
        let summer = rotation[(self.place + n) % rotation.len()];
        let winter = self.roofed().then_some("lambs_lettuce");
        [Some(summer), winter].into_iter().flatten().filter_map(Crop::find).collect()
    }

    /// Its line of plots.csv.
    pub(super) fn row(&self) -> PlotRow {
        let block = self.block();
        PlotRow {
            line: 0,
            code: self.code.clone(),
            name: format!("{} {}", block.name, self.place + 1),
            block: Some(block.name.to_owned()),
            ground: Ground {
                area: SquareMetres(self.area_m2),
                cover: block.cover,
                texture: block.texture,
                bulk_density: None,
                depth: Centimetres(15.0),
                stones: block.stones,
            },
            land_use: LandUse::Vegetables,
            began_on: None,
            note: if self.place == 0 { block.note.to_owned() } else { String::new() },
        }
    }
}

/// Every bed, in the order of the pegs.
pub(super) fn beds() -> Vec<Bed> {
    let mut beds = Vec::new();
    for (at, block) in BLOCKS.iter().enumerate() {
        for place in 0..block.beds {
            let code = format!("{}{}", block.prefix, place + 1);
            let mut dice = Dice::of(&format!("ground of {code}"));
            let (width, length) = block.bed_m;
            // Some beds were cut short by a path or a pillar.
            let length = if dice.unit() < 0.25 { length - f64::from(dice.whole(1, 4)) } else { length };
            let mut soil = Soil::new(block.levels, block.ph, block.organic_matter, &mut dice);
            (soil.carbonate, soil.conductivity) = (block.carbonate, block.conductivity * dice.about(0.1));
            soil.sandy = matches!(block.texture, Texture::SandyLoam | Texture::LoamySand);
            beds.push(Bed { code, block: at, place, area_m2: (width * length * 10.0).round() / 10.0, soil });
        }
    }
    beds
}
