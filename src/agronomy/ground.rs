//! The ground of a plot: texture, cover, density and depth, and the soil layer they make.

use super::{
    quantity::{Centimetres, GramsPerCm3, SoilLayer, SquareMetres},
    record::keyed,
    source::{Evidence, Source},
};
use serde::{Deserialize, Serialize};
use std::str::FromStr;

/// What is over the plot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Cover {
    Open,
    /// A polytunnel or hoop house: no rain washes salts down.
    Tunnel,
    Glasshouse,
}

keyed!(Cover { Open "open" "open ground", Tunnel "tunnel" "tunnel", Glasshouse "glasshouse" "glasshouse" });

/// Soil texture class.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Texture {
    Sand,
    LoamySand,
    SandyLoam,
    Loam,
    SiltLoam,
    SandyClayLoam,
    ClayLoam,
    SiltyClayLoam,
    SandyClay,
    SiltyClay,
    Clay,
    /// Peat, or a bed made mostly of compost.
    Organic,
}

keyed!(Texture {
    Sand "sand" "sand",
    LoamySand "loamy_sand" "loamy sand",
    SandyLoam "sandy_loam" "sandy loam",
    Loam "loam" "loam",
    SiltLoam "silt_loam" "silt loam",
    SandyClayLoam "sandy_clay_loam" "sandy clay loam",
    ClayLoam "clay_loam" "clay loam",
    SiltyClayLoam "silty_clay_loam" "silty clay loam",
    SandyClay "sandy_clay" "sandy clay",
    SiltyClay "silty_clay" "silty clay",
    Clay "clay" "clay",
    Organic "organic" "peat or compost bed",
});

/// Where the default bulk densities of mineral textures come from.
pub const TYPICAL_BULK_DENSITIES: Source = Source {
    publisher: "A table of the Saxton type, as a gardening page (mysunnylawn.com) prints it",
    title: "Typical bulk density by soil texture",
    year: 0,
    address: "https://mysunnylawn.com",
    evidence: Evidence::Quoted,
};

/// Where the default bulk density of an organic bed comes from.
pub const ORGANIC_BULK_DENSITY: Source = Source {
    publisher: "",
    title: "Well-composted raised beds weigh 0.7 to 1.0 g/cm³",
    year: 0,
    address: "",
    evidence: Evidence::Memory,
};

impl Texture {
    /// A typical bulk density, for a plot where none was measured.
    pub fn typical_bulk_density(self) -> (GramsPerCm3, Source) {
        let density = match self {
            Texture::Sand => 1.69,
            Texture::LoamySand => 1.63,
            Texture::SandyLoam => 1.51,
            Texture::Loam => 1.43,
            Texture::SandyClayLoam => 1.40,
            Texture::SiltLoam => 1.38,
            Texture::ClayLoam => 1.30,
            Texture::SandyClay => 1.34,
            Texture::SiltyClayLoam => 1.27,
            Texture::SiltyClay => 1.21,
            Texture::Clay => 1.25,
            Texture::Organic => return (GramsPerCm3(0.85), ORGANIC_BULK_DENSITY),
        };
        (GramsPerCm3(density), TYPICAL_BULK_DENSITIES)
    }
}

/// Bulk densities from which roots have trouble.
pub const ROOTS: Source = Source {
    publisher: "University of Illinois, NRES 201, lecture notes 3 and 4",
    title: "Bulk density at which root problems begin, by texture",
    year: 0,
    address: "https://www.coursehero.com/file/6307366/RelativeResourceManager8/",
    evidence: Evidence::Read,
};

/// Bulk densities that soils have.
pub const USUAL_DENSITIES: Source = Source {
    publisher: "University of Illinois, NRES 201, lecture notes 3 and 4",
    title: "Bulk density of mineral soils 0.9 to 1.8, of organic soils 0.1 to 0.6 g/cm³",
    year: 0,
    address: "https://www.coursehero.com/file/6307366/RelativeResourceManager8/",
    evidence: Evidence::Read,
};

impl Texture {
    /// The bulk densities that mineral or organic soils have ([`USUAL_DENSITIES`]).
    pub fn usual_bulk_density(self) -> (GramsPerCm3, GramsPerCm3) {
        match self {
            Texture::Organic => (GramsPerCm3(0.1), GramsPerCm3(0.6)),
            _ => (GramsPerCm3(0.9), GramsPerCm3(1.8)),
        }
    }

    /// The bulk density at which root problems begin; `None` for peat and compost beds.
    pub fn roots_suffer_from(self) -> Option<GramsPerCm3> {
        let density = match self {
            Texture::Sand | Texture::LoamySand => 1.80,
            Texture::SandyLoam => 1.75,
            Texture::Loam | Texture::SandyClayLoam => 1.70,
            Texture::SiltLoam => 1.55,
            Texture::ClayLoam => 1.65,
            Texture::SandyClay => 1.60,
            Texture::SiltyClayLoam => 1.50,
            Texture::SiltyClay => 1.45,
            Texture::Clay => 1.40,
            Texture::Organic => return None,
        };
        Some(GramsPerCm3(density))
    }
}

/// A plot's ground, as entered.
#[derive(Clone, Debug, PartialEq)]
pub struct Ground {
    pub area: SquareMetres,
    pub cover: Cover,
    pub texture: Texture,
    /// Measured, or `None` for the texture's typical value.
    pub bulk_density: Option<GramsPerCm3>,
    /// Depth that is worked and that amendments are mixed into.
    pub depth: Centimetres,
    /// Volume fraction of stones, 0 to 1.
    pub stones: f64,
}

impl Ground {
    /// The bulk density used, and where it comes from when it was not measured.
    pub fn bulk_density(&self) -> (GramsPerCm3, Option<Source>) {
        match self.bulk_density {
            Some(density) => (density, None),
            None => {
                let (density, source) = self.texture.typical_bulk_density();
                (density, Some(source))
            }
        }
    }

    /// What a measured bulk density says of roots, where it is so high that they have trouble.
    pub fn too_dense(&self) -> Option<String> {
        let (measured, from) = (self.bulk_density?, self.texture.roots_suffer_from()?);
        (measured.0 >= from.0).then(|| {
            format!(
                "Bulk density {:.2} g/cm³: in {} roots have trouble from {:.2} ({}). Was it measured moist, or with stones in it?",
                measured.0,
                self.texture.label(),
                from.0,
                ROOTS.publisher
            )
        })
    }

    /// A question about a measured bulk density that is less than soils of its kind have; a bed of
    /// compost counts as organic here and may be heavier than peat, so above the range nothing is asked.
    pub fn too_light(&self) -> Option<String> {
        let (measured, (from, to)) = (self.bulk_density?, self.texture.usual_bulk_density());
        (measured.0 < from.0).then(|| {
            format!(
                "Bulk density {:.2} g/cm³: {} soils lie at {} to {} ({}). Is it much compost or peat, was the core full, is the unit g/cm³?",
                measured.0,
                if self.texture == Texture::Organic { "organic" } else { "mineral" },
                from.0,
                to.0,
                USUAL_DENSITIES.publisher
            )
        })
    }

    /// The plot's own layer, to its working depth.
    pub fn layer(&self) -> SoilLayer {
        SoilLayer::Measured { depth: self.depth, bulk_density: self.bulk_density().0, stones: self.stones }
    }
}
