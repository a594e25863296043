//! Packs to buy: the cheapest whole packs that cover what the stock does not, and what is
//! left over. Left-over material stays in the shed: nothing in here ever enlarges a dose.

use super::clean::{Problem, named};
use super::notes::Named;
use super::{Pack, Product};

/// One line of the shopping list, or a product used from stock only.
#[derive(Clone, Debug, PartialEq)]
pub struct Purchase {
    pub product: Named,
    /// Grams that the plan spreads.
    pub used_g: f64,
    pub from_stock_g: f64,
    /// Pack size and number, whole where the product is sold so.
    pub packs: Vec<(Pack, f64)>,
    /// Minor units; `None` if no price is known.
    pub cost_minor: Option<f64>,
    /// Stock and packs less what is used, g.
    pub left_over_g: f64,
    /// Used beyond what can be had, g.
    pub missing_g: f64,
}

/// What the search counts for each pack, in minor units. A pack without a price is taken to be
/// as dear, gram for gram, as the dearest that has one: unknown must not count as free. Where no
/// price at all is known each gram counts alike, so that the stock is used first and no more is
/// bought than needed.
pub(super) fn search_prices(products: &[Product]) -> Vec<Vec<f64>> {
    let priced = products.iter().flat_map(|p| &p.packs).filter_map(|k| Some(k.price_minor? as f64 / k.mass_g));
    let dearest = priced.fold(0.0, f64::max);
    let assumed = if dearest > 0.0 { dearest } else { 1e-3 };
    let price = |k: &Pack| k.price_minor.map_or(assumed * k.mass_g, |m| m as f64);
    products.iter().map(|p| p.packs.iter().map(price).collect()).collect()
}

/// How many of each pack to buy so that `used_g` can be spread, at least cost at `prices`.
pub(super) fn cheapest(product: &Product, prices: &[f64], used_g: f64) -> Vec<f64> {
    let mut count = vec![0.0; product.packs.len()];
    // A hair of rounding must not buy a pack.
    let lack = used_g - product.stock_g - used_g.abs() * 1e-9;
    if lack <= 0.0 || count.is_empty() {
        return count;
    }
    let per_gram = |k: usize| prices[k] / product.packs[k].mass_g;
    let best = (0..count.len()).min_by(|&a, &b| per_gram(a).total_cmp(&per_gram(b))).unwrap_or(0);
    if !product.whole_packs {
        count[best] = (used_g - product.stock_g) / product.packs[best].mass_g;
        return count;
    }
    let mut tried = (f64::INFINITY, f64::INFINITY, count.clone());
    // Most of a large order is packs of the best value; only the rest is worth searching.
    let largest = product.packs.iter().map(|p| p.mass_g).fold(0.0, f64::max);
    let sure = ((lack - 8.0 * largest) / product.packs[best].mass_g).floor().max(0.0);
    let rest = lack - sure * product.packs[best].mass_g;
    fill(product, prices, rest, product.packs.len(), &mut count, &mut 20_000, &mut tried);
    let mut count = tried.2;
    count[best] += sure;
    count
}

/// Tries all ways of covering `lack` with the first `sizes` pack sizes, largest first; keeps
/// the cheapest, then the lightest.
fn fill(
    product: &Product,
    prices: &[f64],
    lack: f64,
    sizes: usize,
    count: &mut Vec<f64>,
    tries: &mut u32,
    best: &mut (f64, f64, Vec<f64>),
) {
    let Some(k) = sizes.checked_sub(1) else { return };
    let mass = product.packs[k].mass_g;
    let enough = (lack / mass).ceil().max(0.0);
    // The smallest size must cover whatever is left; larger ones may stop short of it.
    let least = if k == 0 { enough } else { 0.0 };
    let mut n = enough;
    while n >= least && *tries > 0 {
        *tries -= 1;
        count[k] = n;
        if n == enough {
            let cost: f64 = count.iter().zip(prices).map(|(n, q)| n * q).sum();
            let grams: f64 = count.iter().zip(&product.packs).map(|(n, p)| n * p.mass_g).sum();
            if (cost, grams) < (best.0, best.1) {
                *best = (cost, grams, count.clone());
            }
        } else {
            fill(product, prices, lack - n * mass, k, count, tries, best);
        }
        n -= 1.0;
    }
    count[k] = 0.0;
}

/// What the packs for `used_g` cost at `prices`.
pub(super) fn cost(product: &Product, prices: &[f64], used_g: f64) -> f64 {
    cheapest(product, prices, used_g).iter().zip(prices).map(|(n, q)| n * q).sum()
}

/// What these packs cost as far as prices are known.
pub(super) fn known_cost(product: &Product, count: &[f64]) -> f64 {
    count.iter().zip(&product.packs).map(|(n, p)| n * p.price_minor.unwrap_or(0) as f64).sum()
}

/// The shopping list for these totals per product, g; products not used are left out.
pub(super) fn shopping(problem: &Problem, totals_g: &[f64]) -> Vec<Purchase> {
    let prices = search_prices(&problem.products);
    let line = |(p, &used_g): (usize, &f64)| {
        let product = &problem.products[p];
        let count = cheapest(product, &prices[p], used_g);
        let bought: f64 = count.iter().zip(&product.packs).map(|(n, k)| n * k.mass_g).sum();
        let known = product.packs.is_empty() || product.packs.iter().any(|k| k.price_minor.is_some());
        let had = product.stock_g + bought;
        Purchase {
            product: named(product),
            used_g,
            from_stock_g: used_g.min(product.stock_g),
            cost_minor: (known || bought == 0.0).then(|| known_cost(product, &count)),
            packs: product.packs.iter().copied().zip(count).filter(|(_, n)| *n > 0.0).collect(),
            left_over_g: (had - used_g).max(0.0),
            missing_g: if used_g > had * (1.0 + 1e-8) { used_g - had } else { 0.0 },
        }
    };
    totals_g.iter().enumerate().filter(|(_, g)| **g > 0.0).map(line).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn product(packs: &[(f64, i64)]) -> Product {
        Product {
            packs: packs.iter().map(|&(mass_g, price)| Pack { mass_g, price_minor: Some(price) }).collect(),
            whole_packs: true,
            ..Product::default()
        }
    }

    #[test]
    fn the_cheapest_cover_beats_every_other_by_enumeration() {
        // Two sizes, all combinations up to 40 of each, against the search.
        let product = product(&[(1_000.0, 400), (5_000.0, 1_500)]);
        let prices = [400.0, 1_500.0];
        for used in (1..400).map(|i| f64::from(i) * 97.0) {
            let got = cost(&product, &prices, used);
            let mut want = f64::INFINITY;
            for a in 0..41 {
                for b in 0..41 {
                    if f64::from(a) * 1_000.0 + f64::from(b) * 5_000.0 >= used {
                        want = want.min(f64::from(a) * 400.0 + f64::from(b) * 1_500.0);
                    }
                }
            }
            assert_eq!(got, want, "for {used} g");
        }
    }

    #[test]
    fn stock_goes_first_and_a_hair_of_rounding_buys_nothing() {
        let mut product = product(&[(1_000.0, 400)]);
        product.stock_g = 500.0;
        assert_eq!(cheapest(&product, &[400.0], 500.0), [0.0]);
        assert_eq!(cheapest(&product, &[400.0], 1_500.000_000_1), [1.0]);
        assert_eq!(cheapest(&product, &[400.0], 1_501.0), [2.0]);
    }
}
