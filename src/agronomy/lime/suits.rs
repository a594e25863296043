//! Which of the methods that answer suits a sheet and its ground best, and what speaks for and
//! against each, in plain words. The order is our own rule, no source: a method made where the
//! site's guideline comes from, then one whose buffer the laboratory measured, then one that limes
//! to the pH asked for, then one that says which lime and depth its rates are for; those that lime
//! for aluminium alone come last. It changes no amount and leaves no answer out.

use super::{LimeMethod, Requirement, Scale};
use crate::agronomy::{ground::Texture, guideline::Guideline, method::Method};

/// What speaks for and against a method here, as sentences.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Suits {
    pub for_it: Vec<String>,
    pub against_it: Vec<String>,
}

/// The method of lime requirement that was made where a guideline comes from. A copy goes by the
/// sets that its rules were taken from.
pub fn home_method(guideline: &Guideline) -> Option<LimeMethod> {
    let of = |set: &str| match set {
        "north_carolina_index" => Some(LimeMethod::NorthCarolina),
        "ireland_morgan" => Some(LimeMethod::IrelandSmp),
        "oregon_bray" => Some(LimeMethod::OregonSikora),
        "england_wales_index" | "northern_ireland_index" => Some(LimeMethod::UnitedKingdom),
        _ => None,
    };
    of(&guideline.slug).or_else(|| {
        // A collection takes in many a set; only one that is wholly from one place has a home.
        let homes: Vec<_> = guideline.criteria.iter().map(|criterion| of(&criterion.set)).collect();
        let found = homes.iter().flatten().next().copied();
        found.filter(|home| {
            homes.iter().flatten().all(|other| other == home) && homes.iter().flatten().count() * 2 > homes.len()
        })
    })
}

impl LimeMethod {
    /// The buffer that it reads; `None` for one that goes by pH, or by aluminium.
    pub const fn buffer(self) -> Option<Method> {
        match self {
            LimeMethod::NorthCarolina | LimeMethod::ScmaCurve | LimeMethod::ScmaTable => Some(Method::BufferMehlich),
            LimeMethod::OregonSikora => Some(Method::BufferSikora),
            LimeMethod::IrelandSmp => Some(Method::BufferSmp),
            LimeMethod::UnitedKingdom | LimeMethod::Kamprath | LimeMethod::Cregan => None,
        }
    }

    /// Whether its rate moves with the target pH that is asked for.
    const fn limes_to_target(self) -> bool {
        matches!(
            self,
            LimeMethod::NorthCarolina | LimeMethod::ScmaTable | LimeMethod::OregonSikora | LimeMethod::UnitedKingdom
        )
    }

    fn says_its_lime(self) -> bool {
        let reference = self.reference();
        reference.value_percent.is_some() && reference.scale != Scale::NotStated
    }
}

/// What speaks for and against a method that answered.
pub fn suits(asked: &Requirement, home: Option<(LimeMethod, &str)>, texture: Texture) -> Suits {
    let method = asked.method;
    let mut suits = Suits::default();
    let (pro, con) = (&mut suits.for_it, &mut suits.against_it);
    if let Some((home, guideline)) = home {
        match home == method {
            true => pro.push(format!("it was made on the ground that {guideline} is for, which this site follows")),
            false => con.push(format!("it was made elsewhere than {guideline}, which this site follows")),
        }
    }
    match (method.buffer(), method.has_target_ph()) {
        (Some(buffer), _) => pro.push(format!(
            "the laboratory measured the {}, which shows how much acid this soil holds back",
            buffer.label()
        )),
        (None, true) => con
            .push("it goes by pH and the soil group alone, and does not see how much acid this soil holds back".into()),
        (None, false) => con.push("it limes away harmful aluminium and aims at no pH".into()),
    }
    if method.has_target_ph() {
        match method.limes_to_target() {
            true => pro.push("it limes to the pH that is asked for".into()),
            false => con.push("it does not move with the pH that is asked for".into()),
        }
    }
    match method.says_its_lime() {
        true => pro.push("it says which lime and what depth its rates are for".into()),
        false => con.push("which lime or what depth its rates are for was not stated where it was read".into()),
    }
    if asked.interpolated {
        con.push("this answer lies between printed rows".into());
    }
    if texture == Texture::Organic && method != LimeMethod::NorthCarolina {
        con.push("it was made on mineral soil, and this one is organic".into());
    }
    suits
}

/// Puts the methods that answered in order, the one that suits best first.
pub fn best_first<T>(answers: &mut [T], asked: impl Fn(&T) -> &Requirement, home: Option<LimeMethod>) {
    answers.sort_by_key(|answer| {
        let asked = asked(answer);
        let method = asked.method;
        (
            !method.has_target_ph(),
            home != Some(method),
            method.buffer().is_none(),
            !method.limes_to_target(),
            !method.says_its_lime(),
            asked.interpolated,
            method,
        )
    });
}
