//! What the planner said of a plan, as sentences: where the same is true of several products,
//! or of one product on several plots, it is said once and names them all.

use crate::agronomy::plan::{Named, Note, grams};

/// What makes two notes one sentence.
#[derive(PartialEq)]
enum Alike<'a> {
    NeedsPrice,
    NoneToBeHad,
    BelowScale(&'a Named, f64),
    Coarse(&'a Named),
}

fn alike(note: &Note) -> Option<Alike<'_>> {
    match note {
        Note::NeedsPrice { .. } => Some(Alike::NeedsPrice),
        Note::NoneToBeHad { .. } => Some(Alike::NoneToBeHad),
        Note::BelowScale { product, step_g, .. } => Some(Alike::BelowScale(product, *step_g)),
        Note::Coarse { product, .. } => Some(Alike::Coarse(product)),
        _ => None,
    }
}

/// The notes in their order, each group where its first stands.
pub(super) fn sentences<'a>(notes: impl IntoIterator<Item = &'a Note>) -> Vec<String> {
    let mut groups: Vec<(Option<Alike>, Vec<&Note>)> = Vec::new();
    for note in notes {
        let of = alike(note);
        match groups.iter_mut().find(|(kind, _)| kind.is_some() && *kind == of) {
            Some((_, group)) => group.push(note),
            None => groups.push((of, vec![note])),
        }
    }
    groups.iter().map(|(_, group)| if let [one] = group[..] { one.to_string() } else { together(group) }).collect()
}

fn together(notes: &[&Note]) -> String {
    let named = notes.iter().map(|note| match note {
        Note::NeedsPrice { product } | Note::NoneToBeHad { product } => product.to_string(),
        Note::BelowScale { plot, dose_g, .. } => format!("{plot} ({})", grams(*dose_g)),
        Note::Coarse { plot, exact_g, weigh_g, .. } => format!("{plot} ({} for {})", grams(*weigh_g), grams(*exact_g)),
        other => other.to_string(),
    });
    let named = named.collect::<Vec<_>>().join(", ");
    match notes.first() {
        Some(Note::NeedsPrice { .. }) => format!(
            "{} products have no price, and there is a budget to keep, so none of them is bought: {named}. Give their \
             packs prices.",
            notes.len()
        ),
        Some(Note::NoneToBeHad { .. }) => {
            format!("{} products are not used, for none is on hand and no pack is known to buy: {named}.", notes.len())
        }
        Some(Note::BelowScale { product, step_g, .. }) => format!(
            "{product}: less than the scale’s step of {} on {named}; use a carrier mix or a solution.",
            grams(*step_g)
        ),
        Some(Note::Coarse { product, .. }) => {
            format!(
                "{product}: the scale weighs it only roughly on {named}; a carrier mix or a solution would be closer."
            )
        }
        _ => named,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn named(key: u32, name: &str) -> Named {
        Named { key, name: name.to_owned() }
    }

    #[test]
    fn what_is_true_of_many_is_said_once_and_names_them() {
        let below = |key, plot: &str, dose_g| Note::BelowScale {
            plot: named(key, plot),
            product: named(9, "Borax"),
            dose_g,
            step_g: 1.0,
        };
        let notes = [
            Note::NeedsPrice { product: named(1, "Gypsum") },
            below(1, "B1", 0.4),
            Note::NoneToBeHad { product: named(3, "Basalt") },
            Note::NeedsPrice { product: named(2, "Kelp meal") },
            below(2, "B2", 0.5),
        ];
        let said = sentences(&notes);
        assert_eq!(said.len(), 3, "{said:?}");
        assert!(said[0].starts_with("2 products have no price") && said[0].contains("Gypsum, Kelp meal"), "{said:?}");
        assert!(said[1].contains("B1 (400 mg), B2 (500 mg)"), "{said:?}");
        assert_eq!(said[2], notes[2].to_string(), "alone, it is said as it was");
    }
}
