//! What has to be said wherever a share of the exchange capacity is shown: that it is counted
//! by charge, what is said for and against aiming at shares, and when a level in mg/kg holds
//! the aim instead; and what authors say of magnesium beside calcium and potassium, of how full
//! of bases a soil is, and of how much a texture usually holds. It takes no side and sets no aim.

use super::{
    element::Element,
    exchange_capacity::SUMMATION,
    ground::Texture,
    guideline::{Guideline, Rule},
    quantity::{CmolPerKg, Percent},
    source::{Citation, Evidence, Source},
};

/// How shares and ratios are counted.
pub const BY_CHARGE: &str = "Shares and ratios are counted by charge, in cmol(+) of one extract on one basis. \
    By weight they are other numbers: calcium to magnesium by mg/kg reads 1.65 times what it is by charge.";

/// Who says so.
pub const BY_CHARGE_SOURCE: Source = Source {
    title: "Soil Chemical Methods – Australasia, method 15M1 (ratios of exchangeable cations)",
    ..SUMMATION
};

/// Why a level in mg/kg may hold the aim.
pub const WHY_HELD: &str = "A share says little at the ends: 5 % potassium of a sand that holds 3 cmol(+)/kg is 59 mg/kg, \
    under most sufficiency levels, and of a clay that holds 30 it is 586 mg/kg, far above them. \
    So a floor and a ceiling in mg/kg hold the aim there, and it is said where they do.";

/// What is said for and against aiming at shares, each sentence with its citation in it.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Schools {
    pub says_for: Vec<String>,
    pub says_against: Vec<String>,
}

/// Whether a guideline aims at shares of the capacity anywhere.
pub fn aims_at_shares(guideline: &Guideline) -> bool {
    guideline.criteria.iter().any(|criterion| matches!(criterion.rule, Rule::Saturation(_)))
}

/// What these guidelines report of both schools, each sentence once.
pub fn schools<'a>(guidelines: impl IntoIterator<Item = &'a Guideline>) -> Schools {
    let mut schools = Schools::default();
    for guideline in guidelines.into_iter().filter(|guideline| aims_at_shares(guideline)) {
        let year = if guideline.year > 0 { format!(", {}", guideline.year) } else { String::new() };
        schools.says_for.push(format!("{}{year}: {}", guideline.publisher, guideline.scope));
        for (from, to) in
            [(&guideline.evidence_for, &mut schools.says_for), (&guideline.evidence_against, &mut schools.says_against)]
        {
            for sentence in from {
                if !to.contains(sentence) {
                    to.push(sentence.clone());
                }
            }
        }
    }
    schools
}

/// Magnesium among potassium, calcium and magnesium.
pub const MAGNESIUM_BESIDE_POTASSIUM: Source = Source {
    publisher: "Michigan State University Extension",
    title: "Magnesium should hold more than 3 % of K, Ca and Mg together, and more than potassium",
    year: 0,
    address: "https://www.canr.msu.edu",
    evidence: Evidence::Read,
};

/// Ratios of magnesium by charge at which its shortage grows likelier.
pub const RATIOS: Source = Source {
    title: "Soil Chemical Methods – Australasia, after Metson 1974 and Rayment 1983: magnesium shortage is likelier where Ca:Mg is above 4 to 6 or Mg:K below 2 to 2.5",
    ..SUMMATION
};

/// How full of bases a soil is called.
pub const BASES_RATED: Source = Source {
    title: "Soil Chemical Methods – Australasia, after Landon 1984: base saturation below 20 % low, 20 to 60 medium, above 60 high",
    ..SUMMATION
};

/// Whether Michigan State calls magnesium short: shares are of potassium, calcium and magnesium
/// together, so that these three make 100 %.
pub fn magnesium_short(magnesium: Percent, potassium: Percent) -> bool {
    magnesium.0 <= 3.0 || magnesium.0 <= potassium.0
}

/// Shares that a laboratory usually finds; found, and not aimed at.
pub const USUALLY_FOUND: Source = Source {
    publisher: "Michigan State University Extension, quoting one Michigan laboratory",
    title: "Usually found: calcium 40 to 80 % of K, Ca and Mg together, magnesium 10 to 40, potassium 1 to 5",
    ..MAGNESIUM_BESIDE_POTASSIUM
};

/// Where a share of potassium, calcium and magnesium together lies beside what that laboratory
/// usually finds; `None` for another element.
pub fn usually_found(element: Element, share: Percent) -> Option<&'static str> {
    let (from, to) = match element {
        Element::Ca => (40.0, 80.0),
        Element::Mg => (10.0, 40.0),
        Element::K => (1.0, 5.0),
        _ => return None,
    };
    Some(match share.0 {
        s if s < from => "below what is usually found",
        s if s <= to => "as usually found",
        _ => "above what is usually found",
    })
}

/// Shares of the whole capacity that one laboratory prints beside its results by modified Morgan,
/// under the head "Optimum Range"; taken here as context and no aim, our own choice.
pub const BESIDE_MODIFIED_MORGAN: Source = Source {
    publisher: "UMass Amherst Soil and Plant Nutrient Testing Laboratory",
    title: "Specimen soil report S141006-324 (modified Morgan): base saturation Ca 50 to 80, Mg 10 to 30, K 2.0 to 7.0 %",
    year: 2015,
    address: "https://www.scribd.com/document/258603620",
    evidence: Evidence::Read,
};

/// Where a share of the whole capacity lies beside the range in [`BESIDE_MODIFIED_MORGAN`];
/// `None` for another element.
pub fn beside_modified_morgan(element: Element, share: Percent) -> Option<&'static str> {
    let (from, to) = match element {
        Element::Ca => (50.0, 80.0),
        Element::Mg => (10.0, 30.0),
        Element::K => (2.0, 7.0),
        _ => return None,
    };
    Some(match share.0 {
        s if s < from => "below the printed range",
        s if s <= to => "in the printed range",
        _ => "above the printed range",
    })
}

/// What an author says of calcium to magnesium, both by charge.
pub fn calcium_to_magnesium_says(ratio: f64) -> &'static str {
    match ratio {
        r if r > 6.0 => "a shortage of magnesium is likelier",
        r if r > 4.0 => "magnesium may run short",
        _ => "nothing against magnesium",
    }
}

/// What an author says of magnesium to potassium, both by charge.
pub fn magnesium_to_potassium_says(ratio: f64) -> &'static str {
    match ratio {
        r if r < 2.0 => "a shortage of magnesium is likelier",
        r if r < 2.5 => "magnesium may run short",
        _ => "nothing against magnesium",
    }
}

/// How full of bases a soil is called at this share of its capacity.
pub fn bases_rated(share: Percent) -> &'static str {
    match share.0 {
        s if s < 20.0 => "low",
        s if s <= 60.0 => "medium",
        _ => "high",
    }
}

/// What authors read from shares and ratios, each a sentence with who says so.
pub fn authors_say() -> [String; 3] {
    [MAGNESIUM_BESIDE_POTASSIUM, RATIOS, BASES_RATED].map(|source| format!("{}.", Citation::from(source)))
}

/// Capacities that are usual of a texture.
pub const USUAL_CAPACITIES: Source = Source {
    publisher: "Ohio State University Extension",
    title: "ANR-81: usual exchange capacities by texture",
    year: 0,
    address: "",
    evidence: Evidence::Read,
};

/// The capacity usually found in a texture, cmol(+)/kg; `None` for one that the table does not name.
pub fn usual_capacity(texture: Texture) -> Option<(CmolPerKg, CmolPerKg)> {
    let (from, to) = match texture {
        Texture::Sand => (3.0, 5.0),
        Texture::Loam => (10.0, 15.0),
        Texture::SiltLoam => (15.0, 25.0),
        Texture::ClayLoam | Texture::Clay => (20.0, 50.0),
        Texture::Organic => (50.0, 100.0),
        _ => return None,
    };
    Some((CmolPerKg(from), CmolPerKg(to)))
}

/// A capacity beside what is usual of the plot's texture, where it is far off: less than half of
/// the least or more than twice the most (our own rule).
pub fn odd_for_texture(capacity: CmolPerKg, texture: Texture) -> Option<String> {
    let (from, to) = usual_capacity(texture)?;
    let odd = capacity.0 < from.0 / 2.0 || capacity.0 > to.0 * 2.0;
    odd.then(|| {
        format!(
            "A capacity of {:.1} {} is far from the {} to {} that are usual of {} ({}). Is the texture right, or the unit?",
            capacity.0,
            CmolPerKg::UNIT,
            from.0,
            to.0,
            texture.label(),
            Citation::from(USUAL_CAPACITIES)
        )
    })
}
