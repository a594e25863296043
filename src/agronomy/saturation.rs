//! What has to be said wherever a share of the exchange capacity is shown: that it is counted
//! by charge, what is said for and against aiming at shares, and when a level in mg/kg holds
//! the aim instead. It takes no side and computes nothing.

use super::{
    exchange_capacity::SUMMATION,
    guideline::{Guideline, Rule},
    source::Source,
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
    under most sufficiency levels, and of a clay that holds 30 it is 587 mg/kg, far above them. \
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
