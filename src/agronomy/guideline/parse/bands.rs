//! Bands as publishers print them ("0-24", "46 – 71", ">137"), and where neighbouring ones meet.
//! No value is left between two bands, or in both: what a text leaves open is settled by the rule
//! of the house or by the text's own seam, and anything wider than one value is refused.

use crate::agronomy::guideline::{Seam, criterion::round_to, seam::Misfit};
use serde::{Deserialize, Serialize};

/// A seam that a text settles itself.
#[derive(Clone, Deserialize, Serialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RawSeam {
    pub at: f64,
    pub class: String,
    pub why: String,
}

/// A printed band: its ends, and whether each is part of it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Band {
    pub low: Option<f64>,
    pub high: Option<f64>,
    /// "<4", ">137": the end itself is outside.
    open: bool,
}

/// Reads "0-24", "46 – 71", "> 137", "<1", ">=4", "21 or more", "200".
pub(super) fn band(text: &str) -> Result<Band, String> {
    let plain: String =
        text.chars().filter(|c| !c.is_whitespace()).map(|c| if matches!(c, '–' | '—') { '-' } else { c }).collect();
    let number = |s: &str| {
        s.parse::<f64>()
            .ok()
            .filter(|v| v.is_finite())
            .ok_or_else(|| format!("“{text}” is not a band such as 0-24, >137 or <1"))
    };
    let end = |low, high, open| Band { low, high, open };
    if let Some(rest) = plain.strip_prefix(">=").or(plain.strip_prefix('≥')).or(plain.strip_suffix("ormore")) {
        return Ok(end(Some(number(rest)?), None, false));
    }
    if let Some(rest) = plain.strip_prefix('>') {
        return Ok(end(Some(number(rest)?), None, true));
    }
    if let Some(rest) = plain.strip_prefix('<') {
        return Ok(end(None, Some(number(rest)?), true));
    }
    match plain.split_once('-') {
        Some((low, high)) => {
            let (low, high) = (number(low)?, number(high)?);
            if low > high {
                return Err(format!("“{text}” runs downwards"));
            }
            Ok(end(Some(low), Some(high), false))
        }
        None => number(&plain).map(|v| end(Some(v), Some(v), false)),
    }
}

/// Bands of which each begins where the one below it ends.
pub(super) struct Joined {
    /// The lowest value of each, at the printed precision.
    pub from: Vec<f64>,
    /// What was settled where two of them overlap or leave a hole.
    pub seams: Vec<Seam>,
    /// The upper end of the highest, where it has one.
    pub printed_to: Option<f64>,
}

/// Joins printed bands, low to high, each known by a name; says which do not meet.
pub(super) fn join(printed: &[String], names: &[&str], own: &[RawSeam], decimals: u8) -> Result<Joined, String> {
    let step = 10f64.powi(-i32::from(decimals));
    let bands = printed.iter().map(|text| band(text)).collect::<Result<Vec<_>, _>>()?;
    if bands.iter().flat_map(|b| [b.low, b.high]).flatten().any(|v| (round_to(v, decimals) - v).abs() > 1e-9) {
        return Err(format!("a limit is printed finer than {decimals} decimals"));
    }
    let (mut from, mut seams): (Vec<f64>, Vec<Seam>) = (Vec::new(), Vec::new());
    for (i, (band, name)) in bands.iter().zip(names).enumerate() {
        // Lowest value at the printed precision that the band itself claims.
        let claims = match (band.low, band.open) {
            (Some(low), true) => low + step,
            (Some(low), false) => low,
            (None, _) => 0.0,
        };
        let starts = match i.checked_sub(1).map(|before| bands[before]) {
            None => claims,
            Some(before) => {
                let ends = before.high.ok_or("a class follows one that has no upper end")?;
                let next = if before.open { ends } else { ends + step };
                if (claims - next).abs() < step * 1e-6 {
                    claims
                } else {
                    let hole_or_overlap_is_one_value = (claims - next).abs() < step * 1.000_001;
                    if !hole_or_overlap_is_one_value {
                        return Err(format!(
                            "“{}” does not join “{}”: more than one value lies in both or in neither",
                            printed[i],
                            printed[i - 1]
                        ));
                    }
                    let misfit = if claims < next { Misfit::Shared } else { Misfit::Hole };
                    let lower = names[i - 1];
                    let own = own.iter().find(|s| (s.at - ends).abs() < step * 1e-6);
                    let settled = match own {
                        Some(own) => Seam { at: own.at, class: own.class.clone(), why: own.why.clone() },
                        None => misfit.settle(ends, lower, name),
                    };
                    let starts = match settled.class == *name {
                        true => settled.at,
                        false if settled.class == lower => settled.at + step,
                        false => {
                            return Err(format!(
                                "the seam at {ends} goes to “{}”, which is not beside it",
                                settled.class
                            ));
                        }
                    };
                    seams.push(settled);
                    starts
                }
            }
        };
        if from.last().is_some_and(|before| *before >= starts) {
            return Err(format!("“{}” is not above “{}”", printed[i], printed[i - 1]));
        }
        from.push(starts);
    }
    if let Some(idle) = own.iter().find(|own| !seams.iter().any(|seam| seam.why == own.why)) {
        return Err(format!("there is no seam at {}", idle.at));
    }
    Ok(Joined { from, seams, printed_to: bands.last().and_then(|b| b.high) })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn printed_bands_are_read_as_people_print_them() {
        assert_eq!(band("0 – 24"), Ok(Band { low: Some(0.0), high: Some(24.0), open: false }));
        assert_eq!(band(">137"), Ok(Band { low: Some(137.0), high: None, open: true }));
        assert_eq!(band("<1"), Ok(Band { low: None, high: Some(1.0), open: true }));
        assert_eq!(band("21 or more"), band("≥21"));
        for odd in ["", "-", "5-", "9-3", "a-b", "NaN", ">inf", "or more"] {
            assert!(band(odd).is_err(), "{odd:?} was taken");
        }
    }
}
