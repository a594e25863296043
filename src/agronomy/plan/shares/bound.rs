//! How good any choice of packs and products can be at best. What a plot lacks and what its caps
//! take is charged for at prices; then every product can be looked at by itself, pack by pack, and
//! what all of them could earn at most bounds what is possible. Toward one need a product earns no
//! more than the whole of it: that is what makes the bound as tight as whole packs and whole
//! products allow. Prices are improved by subgradients: Held, Wolfe and Crowder, "Validation of
//! subgradient optimization", Mathematical Programming 6 (1974) 62-88 (from memory).

use super::super::clean::Plot;
use super::ladder::{Choice, Means};

/// Rounds without a better bound before steps are made smaller, and by how much.
const PATIENCE: usize = 20;
const SMALLER: f64 = 0.7;
/// How much of the way before the last step is kept.
const INERTIA: f64 = 0.5;
/// Halvings in search of the price of money.
const HALVINGS: usize = 40;

/// What can be earned on one plot.
struct Ground {
    share: f64,
    /// By target: what is lacking as a share of the need, and the weight of its shortage.
    lack: Vec<(f64, f64)>,
    limits: usize,
    pieces: Vec<Piece>,
}

/// A product on a plot.
struct Piece {
    p: usize,
    /// The most that is any use, g/m².
    most: f64,
    /// Target, and the share of its need that a g/m² brings.
    brings: Vec<(usize, f64)>,
    /// Limit, and the share of it that a g/m² takes.
    takes: Vec<(usize, f64)>,
}

/// Prices on one plot: of what is lacking, by target, and of what its limits leave.
#[derive(Clone)]
struct Prices {
    lack: Vec<f64>,
    limit: Vec<f64>,
}

/// The bound so far, and how to go on.
pub(in super::super) struct Dual {
    grounds: Vec<Ground>,
    products: usize,
    prices: Vec<Prices>,
    /// No choice comes to less than this.
    pub least: f64,
    /// Choices that the products made, latest first, each once.
    pub choices: Vec<Choice>,
}

/// Some of a product on one plot: what a g/m² of it earns, how much of it, mean over the ground,
/// and where.
#[derive(Clone, Copy)]
struct Part {
    earns: f64,
    size: f64,
    ground: usize,
    piece: usize,
}

/// What the products make of some prices.
struct Offer {
    earned: f64,
    cost: f64,
    choice: Choice,
    /// By ground and piece, g/m².
    taken: Vec<Vec<f64>>,
}

impl Dual {
    /// A bound of the shortage of these plots, each with its share of the ground.
    pub fn new<'a>(plots: impl Iterator<Item = (&'a Plot, f64)>, products: usize) -> Dual {
        let grounds: Vec<Ground> = plots.map(|(plot, share)| ground(plot, share)).collect();
        let prices = |ground: &Ground| Prices {
            lack: ground.lack.iter().map(|(_, weight)| *weight).collect(),
            limit: vec![0.0; ground.limits],
        };
        let prices = grounds.iter().map(prices).collect();
        Dual { grounds, products, prices, least: f64::NEG_INFINITY, choices: Vec::new() }
    }

    /// Improves the bound; `found` is the best that is known.
    pub fn improve(&mut self, means: &Means, found: f64, rounds: usize) {
        let mut prices = self.prices.clone();
        let none = |ground: &Ground| Prices { lack: vec![0.0; ground.lack.len()], limit: vec![0.0; ground.limits] };
        let still: Vec<Prices> = self.grounds.iter().map(none).collect();
        let mut way = still.clone();
        let (mut pace, mut idle) = (1.0, 0);
        for _ in 0..rounds {
            let offer = self.offer(&prices, means);
            let charged = self.grounds.iter().zip(&prices).map(|(ground, prices)| {
                let lack: f64 = ground.lack.iter().zip(&prices.lack).map(|((lack, _), price)| lack * price).sum();
                ground.share * (lack - prices.limit.iter().sum::<f64>())
            });
            let value = charged.sum::<f64>() - offer.earned;
            if value > self.least {
                idle = if value > self.least + 1e-4 * (found - self.least) { 0 } else { idle + 1 };
                self.least = value;
                self.prices.clone_from(&prices);
            } else {
                idle += 1;
            }
            if self.least >= found * (1.0 - 1e-9) {
                break;
            }
            if idle >= PATIENCE {
                pace *= SMALLER;
                idle = 0;
                prices.clone_from(&self.prices);
                way.clone_from(&still);
            }
            let mut length = 0.0;
            for ((ground, taken), way) in self.grounds.iter().zip(&offer.taken).zip(&mut way) {
                let mut lack: Vec<f64> = ground.lack.iter().map(|(lack, _)| *lack).collect();
                let mut room = vec![-1.0; ground.limits];
                for (piece, x) in ground.pieces.iter().zip(taken).filter(|(_, x)| **x > 0.0) {
                    piece.brings.iter().for_each(|&(t, a)| lack[t] -= (a * x).min(ground.lack[t].0));
                    piece.takes.iter().for_each(|&(l, b)| room[l] += b * x);
                }
                for (way, g) in way.lack.iter_mut().chain(&mut way.limit).zip(lack.iter().chain(&room)) {
                    *way = g + INERTIA * *way;
                    length += ground.share * *way * *way;
                }
            }
            if !self.choices.contains(&offer.choice) {
                self.choices.insert(0, offer.choice);
            }
            if length <= 1e-15 {
                break;
            }
            let step = pace * (found - value) / length;
            for ((ground, prices), way) in self.grounds.iter().zip(&mut prices).zip(&way) {
                for ((price, way), (_, weight)) in prices.lack.iter_mut().zip(&way.lack).zip(&ground.lack) {
                    *price = (*price + step * way).clamp(0.0, *weight);
                }
                for (price, way) in prices.limit.iter_mut().zip(&way.limit) {
                    *price = (*price + step * way).max(0.0);
                }
            }
        }
    }

    /// Some of each product on each plot, by product, the best earning first.
    fn parts(&self, prices: &[Prices]) -> Vec<Vec<Part>> {
        let mut parts = vec![Vec::new(); self.products];
        for (c, (ground, prices)) in self.grounds.iter().zip(prices).enumerate() {
            for (i, piece) in ground.pieces.iter().enumerate() {
                let mut earns: f64 = piece.brings.iter().map(|&(t, a)| prices.lack[t] * a).sum();
                earns -= piece.takes.iter().map(|&(l, b)| prices.limit[l] * b).sum::<f64>();
                // Need by need is met in full as more of it goes on.
                let mut ends: Vec<(f64, f64)> = piece
                    .brings
                    .iter()
                    .filter(|(t, _)| prices.lack[*t] > 0.0)
                    .map(|&(t, a)| (ground.lack[t].0 / a, prices.lack[t] * a))
                    .collect();
                ends.sort_by(|a, b| a.0.total_cmp(&b.0));
                let mut from = 0.0;
                for (end, less) in ends {
                    if earns <= 1e-12 || from >= piece.most {
                        break;
                    }
                    let end = end.min(piece.most);
                    if end > from {
                        parts[piece.p].push(Part { earns, size: ground.share * (end - from), ground: c, piece: i });
                        from = end;
                    }
                    earns -= less;
                }
            }
        }
        for parts in &mut parts {
            parts
                .sort_by(|a: &Part, b| b.earns.total_cmp(&a.earns).then((a.ground, a.piece).cmp(&(b.ground, b.piece))));
        }
        parts
    }

    /// What the products earn at these prices, with the price of money at which that is least.
    fn offer(&self, prices: &[Prices], means: &Means) -> Offer {
        let parts = self.parts(prices);
        let at = |money: f64| self.offer_at(&parts, money, means);
        let free = at(0.0);
        let Some(budget) = means.budget.filter(|budget| free.cost > *budget) else { return free };
        let (mut from, mut low) = (0.0, free);
        let (mut to, mut high) = (1e-6, at(1e-6));
        while high.cost > budget && to < 1e9 {
            (from, low) = (to, high);
            to *= 4.0;
            high = at(to);
        }
        for _ in 0..HALVINGS {
            if to - from < 1e-7 * to {
                break;
            }
            let middle = (from + to) / 2.0;
            let next = at(middle);
            if next.cost > budget { (from, low) = (middle, next) } else { (to, high) = (middle, next) }
        }
        // Between the two the whole budget is spent: the mixture points the way.
        let part =
            if low.cost > high.cost { ((budget - high.cost) / (low.cost - high.cost)).clamp(0.0, 1.0) } else { 0.0 };
        for (high, low) in high.taken.iter_mut().zip(&low.taken) {
            high.iter_mut().zip(low).for_each(|(h, l)| *h += part * (l - *h));
        }
        Offer { earned: high.earned.min(low.earned), ..high }
    }

    fn offer_at(&self, parts: &[Vec<Part>], money: f64, means: &Means) -> Offer {
        let mut each: Vec<(f64, usize, usize)> = Vec::new();
        for (p, (ladder, parts)) in means.ladders.iter().zip(parts).enumerate() {
            let beyond = |room: f64| {
                ladder.loose.map_or(0.0, |loose| {
                    earned(parts, f64::INFINITY, money * loose) - earned(parts, room, money * loose)
                })
            };
            let step = |l: usize| {
                let (room, cost) = ladder.steps[l];
                earned(parts, room, 0.0) + beyond(room) - money * cost
            };
            let best =
                (0..ladder.steps.len()).map(|l| (step(l), l)).max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1)));
            each.extend(best.filter(|(earned, _)| *earned > 0.0).map(|(earned, l)| (earned, p, l)));
        }
        each.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut offer = Offer {
            earned: money * means.budget.unwrap_or(0.0),
            cost: 0.0,
            choice: vec![None; self.products],
            taken: self.grounds.iter().map(|ground| vec![0.0; ground.pieces.len()]).collect(),
        };
        let mut places = means.count.unwrap_or(usize::MAX);
        for (earned, p, l) in each {
            if means.ladders[p].counts {
                if places == 0 {
                    continue;
                }
                places -= 1;
            }
            offer.earned += earned;
            offer.choice[p] = Some(l);
            let (mut room, cost) = means.ladders[p].steps[l];
            offer.cost += cost;
            for part in &parts[p] {
                let bought = means.ladders[p].loose.filter(|loose| part.earns > money * loose);
                let size = if bought.is_some() { part.size } else { part.size.min(room.max(0.0)) };
                offer.cost += bought.map_or(0.0, |loose| loose * (size - room.max(0.0)).max(0.0));
                room -= size;
                offer.taken[part.ground][part.piece] += size / self.grounds[part.ground].share;
            }
        }
        offer
    }
}

/// What the best earning parts earn within `room`, those only that earn more than `than`, and less that.
fn earned(parts: &[Part], room: f64, than: f64) -> f64 {
    let (mut left, mut total) = (room, 0.0);
    for part in parts.iter().take_while(|part| part.earns > than) {
        let size = part.size.min(left);
        total += size * (part.earns - than);
        left -= size;
        if left <= 0.0 {
            break;
        }
    }
    total
}

fn ground(plot: &Plot, share: f64) -> Ground {
    let lack = plot.targets.iter().map(|t| match t.need > 0.0 {
        true => (((t.need - t.locked) / t.need).clamp(0.0, 1.0), t.short_weight),
        false => (0.0, 0.0),
    });
    let lack: Vec<(f64, f64)> = lack.collect();
    let piece = |(p, &most): (usize, &f64)| {
        let brings = plot.targets.iter().zip(&lack).enumerate();
        Piece {
            p,
            most,
            brings: brings
                .filter(|(_, (t, lack))| lack.0 > 0.0 && t.supply[p] > 0.0)
                .map(|(i, (t, _))| (i, t.supply[p] / t.need))
                .collect(),
            takes: plot
                .limits
                .iter()
                .enumerate()
                .filter(|(_, l)| l.free > 0.0 && l.per_gram[p] > 0.0)
                .map(|(i, l)| (i, l.per_gram[p] / l.free))
                .collect(),
        }
    };
    let pieces = plot.most.iter().enumerate().filter(|(_, most)| **most > 0.0).map(piece).collect();
    Ground { share, lack, limits: plot.limits.len(), pieces }
}
