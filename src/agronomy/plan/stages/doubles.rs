//! Products of which one can stand in for another everywhere with the very same effect, such as two
//! makes of one salt: where the number of products is limited, using both is never better, so that
//! half of the choices need not be looked at.

use super::Search;

/// Figures within this share of each other are the same.
const SAME: f64 = 1e-9;

impl Search<'_> {
    /// By product of those that `may` be left out: whether another of them does the same.
    pub(super) fn doubles(&self, may: &[bool]) -> Vec<bool> {
        let n = self.problem.products.len();
        let price = |p: usize| {
            let packs = self.problem.products[p].packs.iter().zip(&self.prices[p]);
            packs.map(|(pack, price)| price / pack.mass_g).fold(f64::INFINITY, f64::min)
        };
        let stands_in = |p: usize, q: usize| p != q && may[p] && may[q];
        let is_double = |p: usize| {
            (0..n).filter(|&q| stands_in(p, q)).any(|q| {
                let Some(times) = self.does_the_same(p, q) else { return false };
                // Of two that stand in for each other the cheaper stays.
                let (own, other) = (price(p), price(q) * times);
                self.does_the_same(q, p).is_none() || other < own * (1.0 - SAME) || other <= own * (1.0 + SAME) && q < p
            })
        };
        (0..n).map(is_double).collect()
    }

    /// How many grams of `q` do on every plot what a gram of `p` does, where as much of it may go on.
    fn does_the_same(&self, p: usize, q: usize) -> Option<f64> {
        let mut times: Option<f64> = None;
        for c in 0..self.classes.len() {
            let plot = self.plot(c);
            if plot.most[p] <= 0.0 {
                continue;
            }
            let effects = plot.targets.iter().map(|t| &t.supply).chain(plot.limits.iter().map(|l| &l.per_gram));
            for effect in effects {
                let (own, other) = (effect[p], effect[q]);
                let of_this = match (own > 0.0, other > 0.0) {
                    (false, false) => continue,
                    (true, true) => own / other,
                    _ => return None,
                };
                let times = *times.get_or_insert(of_this);
                if (of_this - times).abs() > SAME * times {
                    return None;
                }
            }
            if plot.most[q] < times? * plot.most[p] * (1.0 - SAME) {
                return None;
            }
        }
        times
    }
}
