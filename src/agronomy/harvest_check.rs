//! Whether the mass of a harvest can be: a slip of the point or of the unit makes a bed bear ten
//! or a thousand times what it can, and a ledger full of it. Each is a question to the person with
//! the scale; nothing here refuses a harvest or leaves it out.

use super::{crop::Crop, ground::Cover, quantity::SquareMetres, standing::num};

/// From these on a single harvest is asked about, kg of fresh mass to the square metre.
///
/// Common practice, no source: heavy crops of open ground (cabbage, beet, tomato) give 10 at the
/// best; heated glass gives 60 to 80 of tomato or cucumber over a whole year.
pub const MOST_IN_THE_OPEN: f64 = 15.0;
pub const MOST_UNDER_COVER: f64 = 80.0;

/// So many times the middle of the same crop's other harvests is asked about, where there are
/// [`OTHERS_NEEDED`] of them. Our own choice: seasons differ, but not tenfold.
pub const TIMES_THE_OTHERS: f64 = 6.0;
pub const OTHERS_NEEDED: usize = 4;

/// A question about the mass of a harvest, where there is one.
///
/// `others` are the other harvests of the crop on the site, kg/m² each.
pub fn question(crop: &Crop, mass_kg: f64, area: SquareMetres, cover: Cover, others: &[f64]) -> Option<String> {
    let per_m2 = mass_kg / area.0;
    if !per_m2.is_finite() || per_m2 <= 0.0 {
        return None;
    }
    let (most, where_) = match cover {
        Cover::Open => (MOST_IN_THE_OPEN, "open ground"),
        Cover::Tunnel | Cover::Glasshouse => (MOST_UNDER_COVER, "ground under cover"),
    };
    let shown = num(super::offtake::round(per_m2));
    let name = crop.in_sentence();
    if per_m2 > most {
        return Some(format!(
            "{shown} kg of {name} to the square metre is more than {where_} bears in one harvest ({} kg at the most). \
             Is the mass right, and in kilograms, and the plot?",
            num(most)
        ));
    }
    let mut others: Vec<f64> = others.iter().copied().filter(|other| other.is_finite() && *other > 0.0).collect();
    if others.len() < OTHERS_NEEDED {
        return None;
    }
    others.sort_by(f64::total_cmp);
    let middle = (others[(others.len() - 1) / 2] + others[others.len() / 2]) / 2.0;
    (per_m2 > middle * TIMES_THE_OTHERS).then(|| {
        format!(
            "{shown} kg of {name} to the square metre is {} times what its other harvests here gave ({} kg). Is the \
             mass right?",
            num((per_m2 / middle).round()),
            num(super::offtake::round(middle))
        )
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn asked(kg: f64, m2: f64, cover: Cover, others: &[f64]) -> Option<String> {
        question(&Crop::find("carrot").unwrap(), kg, SquareMetres(m2), cover, others)
    }

    #[test]
    fn what_no_ground_bears_is_asked_about() {
        // 7,000 kg on 20 m² are 350 kg/m².
        let words = asked(7000.0, 20.0, Cover::Open, &[]).expect("a question");
        assert!(words.contains("350 kg") && words.contains("15 kg"), "{words}");
        assert_eq!(asked(90.0, 20.0, Cover::Open, &[]), None);
        assert_eq!(asked(600.0, 20.0, Cover::Tunnel, &[]), None);
        assert!(asked(600.0, 20.0, Cover::Open, &[]).is_some());
    }

    #[test]
    fn what_is_far_from_the_other_harvests_is_asked_about_once_there_are_some() {
        let others = [1.0, 1.2, 0.9, 1.1];
        assert!(asked(140.0, 20.0, Cover::Open, &others).is_some());
        assert_eq!(asked(100.0, 20.0, Cover::Open, &others), None);
        assert_eq!(asked(140.0, 20.0, Cover::Open, &others[..3]), None);
        assert_eq!(asked(140.0, 0.0, Cover::Open, &others), None);
        assert_eq!(asked(f64::NAN, 20.0, Cover::Open, &others), None);
    }
}
