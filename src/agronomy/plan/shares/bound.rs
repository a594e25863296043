//! How good any choice of packs and products can be at best. What a plot lacks and what its caps
//! take is charged for at prices; then every product can be looked at by itself, pack by pack, and
//! what all of them could earn at most bounds what is possible. Toward one need a product earns no
//! more than the whole of it: that is what makes the bound as tight as whole packs and whole
//! products allow. Prices are improved by subgradients: Held, Wolfe and Crowder, "Validation of
//! subgradient optimization", Mathematical Programming 6 (1974) 62-88 (from memory).

use super::super::bed::Bed;
use super::super::clean::Plot;
use super::ladder::{Choice, Ladder, Means};

/// Rounds without a better bound before steps are made smaller, and by how much.
const PATIENCE: usize = 20;
const SMALLER: f64 = 0.7;
/// How much of the way before the last step is kept.
const INERTIA: f64 = 0.5;
/// Halvings in search of the price of money.
const HALVINGS: usize = 40;
/// Choices that are remembered.
const CHOICES: usize = 24;

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
    /// Target, and the share of its need that a g/m² brings; the one met first by it comes first.
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

/// All plots, to bound what choices can come to.
pub(in super::super) struct Dual {
    grounds: Vec<Ground>,
    products: usize,
}

/// Which steps of each product may be chosen, from and to; `None` is no use at all.
pub(super) type Range = (Option<usize>, Option<usize>);

/// A bound of the choices within some ranges, and how it was reached.
#[derive(Clone)]
pub(in super::super) struct Reached {
    prices: Vec<Prices>,
    /// No choice within the ranges comes to less than this.
    pub least: f64,
    /// What one more of the budget is worth.
    pub money: f64,
    /// Choices that the products made, latest first, each once.
    pub choices: Vec<Choice>,
    /// By product and step, the first for no use at all: how often it was chosen, as a share.
    pub often: Vec<Vec<f64>>,
}

/// No choice comes to less than `nothing` less what each of its products earns.
pub(super) struct Cut {
    pub nothing: f64,
    /// By product and step, the first for no use at all.
    pub earned: Vec<Vec<f64>>,
}

/// Some of a product on one plot: what a g/m² of it earns, how much of it, mean over the ground,
/// and where.
#[derive(Clone, Copy)]
struct Part {
    earns: f64,
    size: f64,
    ground: usize,
    piece: usize,
    /// Which of the parts of that product there.
    place: usize,
}

/// What the products make of some prices.
struct Offer {
    /// The price of money.
    money: f64,
    earned: f64,
    cost: f64,
    choice: Choice,
    /// By ground and piece, g/m².
    taken: Vec<Vec<f64>>,
}

impl Dual {
    /// The plots, each with its share of the ground.
    pub fn new<'a>(plots: impl Iterator<Item = (&'a Plot, f64)>, products: usize) -> Dual {
        Dual { grounds: plots.map(|(plot, share)| ground(plot, share)).collect(), products }
    }

    /// Where to begin: every need charged for in full.
    pub fn begin(&self, means: &Means) -> Reached {
        let prices = |ground: &Ground| Prices {
            lack: ground.lack.iter().map(|(_, weight)| *weight).collect(),
            limit: vec![0.0; ground.limits],
        };
        Reached {
            prices: self.grounds.iter().map(prices).collect(),
            least: f64::NEG_INFINITY,
            money: 0.0,
            choices: Vec::new(),
            often: means.ladders.iter().map(|ladder| vec![0.0; ladder.steps.len() + 1]).collect(),
        }
    }

    /// What plots are charged at these prices.
    fn charged(&self, prices: &[Prices]) -> f64 {
        let charged = self.grounds.iter().zip(prices).map(|(ground, prices)| {
            let lack: f64 = ground.lack.iter().zip(&prices.lack).map(|((lack, _), price)| lack * price).sum();
            ground.share * (lack - prices.limit.iter().sum::<f64>())
        });
        charged.sum()
    }

    /// Improves a bound of the choices within `ranges`; `found` is the best that is known.
    pub fn improve(
        &self,
        reached: &mut Reached,
        means: &Means,
        ranges: &[Range],
        found: f64,
        (rounds, pace): (usize, f64),
    ) {
        let mut prices = reached.prices.clone();
        let none = |ground: &Ground| Prices { lack: vec![0.0; ground.lack.len()], limit: vec![0.0; ground.limits] };
        let still: Vec<Prices> = self.grounds.iter().map(none).collect();
        let mut way = still.clone();
        let (mut pace, mut idle) = (pace, 0);
        for round in 0..rounds {
            let offer = self.offer(&prices, means, ranges);
            let value = self.charged(&prices) - offer.earned;
            if value > reached.least {
                idle = if value > reached.least + 1e-4 * (found - reached.least) { 0 } else { idle + 1 };
                reached.least = value;
                reached.money = offer.money;
                reached.prices.clone_from(&prices);
            } else {
                idle += 1;
            }
            let part = 1.0 / (1.0 + round.min(30) as f64);
            for (often, step) in reached.often.iter_mut().zip(&offer.choice) {
                often.iter_mut().for_each(|share| *share *= 1.0 - part);
                often[step.map_or(0, |step| step + 1)] += part;
            }
            if !reached.choices.contains(&offer.choice) {
                reached.choices.insert(0, offer.choice);
                reached.choices.truncate(CHOICES);
            }
            if reached.least >= found {
                break;
            }
            if idle >= PATIENCE {
                pace *= SMALLER;
                idle = 0;
                prices.clone_from(&reached.prices);
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

    /// What the prices at which plots stand tell of all choices.
    pub(super) fn cut_at(&self, beds: &[Bed], money: f64, means: &Means) -> Cut {
        let prices = |(ground, bed): (&Ground, &Bed)| {
            let lack = ground.lack.iter().map(|(_, weight)| *weight).collect();
            let mut prices = Prices { lack, limit: vec![0.0; ground.limits] };
            bed.prices(&mut prices.lack, &mut prices.limit);
            prices
        };
        let prices: Vec<Prices> = self.grounds.iter().zip(beds).map(prices).collect();
        self.cut(&prices, money, means)
    }

    /// What the prices of a bound tell of all choices.
    pub(super) fn cut_of(&self, reached: &Reached, means: &Means) -> Cut {
        self.cut(&reached.prices, if means.is_loose() { reached.money } else { 0.0 }, means)
    }

    fn cut(&self, prices: &[Prices], money: f64, means: &Means) -> Cut {
        Cut {
            nothing: self.charged(prices) - money * means.budget.unwrap_or(0.0),
            earned: Table::of(self.parts(prices, means), means).by_step(money, means),
        }
    }

    /// Narrows the ranges to what can still be better than `found`; false where nothing can. And the
    /// product and step at which to part what is left, where there is one.
    pub fn narrow(
        &self,
        reached: &Reached,
        means: &Means,
        ranges: &mut [Range],
        found: f64,
    ) -> Option<Option<(usize, usize)>> {
        let money = reached.money;
        let earned = Table::of(self.parts(&reached.prices, means), means).by_step(money, means);
        let charged = self.charged(&reached.prices) - money * means.budget.unwrap_or(0.0);
        let least = |ranges: &[Range]| charged - chosen(&earned, means, ranges).0;
        if least(ranges) >= found {
            return None;
        }
        let mut could: Vec<(f64, usize, usize)> = Vec::new();
        for p in 0..self.products {
            let mut at = ranges[p].0.map_or(0, |from| from + 1);
            // Up to a step, or beyond it: steps counted from no use at all.
            while ranges[p].1.is_some_and(|to| at <= to) {
                let whole = ranges[p];
                ranges[p] = (whole.0, at.checked_sub(1));
                let below = least(ranges);
                ranges[p] = (Some(at), whole.1);
                let above = least(ranges);
                ranges[p] = whole;
                if below >= found && above >= found {
                    return None;
                } else if below >= found {
                    ranges[p].0 = Some(at);
                } else if above >= found {
                    ranges[p].1 = at.checked_sub(1);
                } else {
                    let often: f64 = reached.often[p][..=at].iter().sum::<f64>().clamp(0.0, 1.0);
                    let room = found - reached.least;
                    let gain = |bound: f64| (bound - reached.least).max(0.0).min(room) + 1e-3 * room;
                    let worth = gain(below) * gain(above) * (0.02 + often * (1.0 - often));
                    could.push((worth, p, at));
                }
                at += 1;
            }
        }
        let within = |&(_, p, at): &(f64, usize, usize)| {
            ranges[p].0.is_none_or(|from| at > from) && ranges[p].1.is_some_and(|to| at <= to)
        };
        // What was narrowed since is not parted there any more.
        let best =
            could.into_iter().filter(within).max_by(|a, b| a.0.total_cmp(&b.0).then((b.1, b.2).cmp(&(a.1, a.2))));
        Some(best.map(|(_, p, at)| (p, at)))
    }

    /// Some of each product on each plot, by product, the best earning first where not all may be had.
    fn parts(&self, prices: &[Prices], means: &Means) -> Vec<Vec<Part>> {
        let mut parts = vec![Vec::new(); self.products];
        for (c, (ground, prices)) in self.grounds.iter().zip(prices).enumerate() {
            for (i, piece) in ground.pieces.iter().enumerate() {
                let mut earns: f64 = piece.brings.iter().map(|&(t, a)| prices.lack[t] * a).sum();
                earns -= piece.takes.iter().map(|&(l, b)| prices.limit[l] * b).sum::<f64>();
                // Need by need is met in full as more of it goes on.
                let charged = piece.brings.iter().filter(|(t, _)| prices.lack[*t] > 0.0);
                let ends = charged.map(|&(t, a)| (ground.lack[t].0 / a, prices.lack[t] * a));
                let (mut from, mut place) = (0.0, 0);
                for (end, less) in ends {
                    if earns <= 1e-12 || from >= piece.most {
                        break;
                    }
                    let end = end.min(piece.most);
                    if end > from {
                        parts[piece.p].push(Part {
                            earns,
                            size: ground.share * (end - from),
                            ground: c,
                            piece: i,
                            place,
                        });
                        from = end;
                        place += 1;
                    }
                    earns -= less;
                }
            }
        }
        for (parts, _) in parts.iter_mut().zip(&means.ladders).filter(|(_, ladder)| !ladder.is_endless()) {
            parts.sort_unstable_by(|a: &Part, b| {
                b.earns.total_cmp(&a.earns).then((a.ground, a.place).cmp(&(b.ground, b.place)))
            });
        }
        parts
    }

    /// What the products earn at these prices, with the price of money at which that is least.
    fn offer(&self, prices: &[Prices], means: &Means, ranges: &[Range]) -> Offer {
        let table = Table::of(self.parts(prices, means), means);
        let at = |money: f64| table.at(money, means, ranges);
        let free = at(0.0);
        let Some(budget) = means.budget.filter(|budget| free.cost > *budget) else {
            return self.taken(&table, free, means);
        };
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
        let earned = high.earned.min(low.earned);
        let (low, mut high) = (self.taken(&table, low, means), self.taken(&table, high, means));
        for (high, low) in high.taken.iter_mut().zip(&low.taken) {
            high.iter_mut().zip(low).for_each(|(h, l)| *h += part * (l - *h));
        }
        Offer { earned, ..high }
    }

    /// What plots take under an offer.
    fn taken(&self, table: &Table, mut offer: Offer, means: &Means) -> Offer {
        offer.taken = self.grounds.iter().map(|ground| vec![0.0; ground.pieces.len()]).collect();
        for p in 0..self.products {
            let Some(l) = offer.choice[p] else { continue };
            let mut room = means.ladders[p].steps[l].0;
            for part in &table.parts[p] {
                let bought = means.ladders[p].loose.is_some_and(|loose| part.earns > offer.money * loose);
                let size = if bought { part.size } else { part.size.min(room.max(0.0)) };
                room -= size;
                offer.taken[part.ground][part.piece] += size / self.grounds[part.ground].share;
            }
        }
        offer
    }
}

/// What products earn at some prices.
struct Table {
    parts: Vec<Vec<Part>>,
    /// By product and step, before money is counted.
    worth: Vec<Vec<f64>>,
}

impl Table {
    fn of(parts: Vec<Vec<Part>>, means: &Means) -> Table {
        let worth = means
            .ladders
            .iter()
            .zip(&parts)
            .map(|(ladder, parts)| ladder.steps.iter().map(|&(room, _)| earned(parts, room, 0.0)).collect());
        Table { worth: worth.collect(), parts }
    }

    /// What each step of each product earns at this price of money, the first for no use at all.
    fn by_step(&self, money: f64, means: &Means) -> Vec<Vec<f64>> {
        let of = |(p, ladder): (usize, &Ladder)| {
            let step = |(worth, &(room, cost)): (&f64, &(f64, f64))| {
                let beyond = ladder.loose.map_or(0.0, |loose| self.beyond(p, room, money * loose).0);
                worth + beyond - money * cost
            };
            std::iter::once(0.0).chain(self.worth[p].iter().zip(&ladder.steps).map(step)).collect()
        };
        means.ladders.iter().enumerate().map(of).collect()
    }

    /// What is earned beyond some room by what earns more than `than`, less that; and how much it is.
    fn beyond(&self, p: usize, room: f64, than: f64) -> (f64, f64) {
        let (mut within, mut total, mut size) = (room, 0.0, 0.0);
        for part in self.parts[p].iter().take_while(|part| part.earns > than) {
            let beyond = (part.size - within.max(0.0)).max(0.0);
            within -= part.size;
            total += beyond * (part.earns - than);
            size += beyond;
        }
        (total, size)
    }

    fn at(&self, money: f64, means: &Means, ranges: &[Range]) -> Offer {
        let (earned, choice) = chosen(&self.by_step(money, means), means, ranges);
        let mut cost = means.cost(&choice);
        for (p, ladder) in means.ladders.iter().enumerate() {
            if let (Some(loose), Some(step)) = (ladder.loose, choice[p]) {
                cost += loose * self.beyond(p, ladder.steps[step].0, money * loose).1;
            }
        }
        let earned = earned + money * means.budget.unwrap_or(0.0);
        Offer { money, earned, cost, choice, taken: Vec::new() }
    }
}

/// The steps that earn most within their ranges, of no more products than may be used.
fn chosen(earned: &[Vec<f64>], means: &Means, ranges: &[Range]) -> (f64, Choice) {
    let mut choice: Choice = vec![None; earned.len()];
    let mut total = 0.0;
    let mut places = means.count.unwrap_or(usize::MAX);
    let mut each: Vec<(f64, usize, usize)> = Vec::new();
    let must = |p: usize| ranges[p].0.is_some() && means.ladders[p].counts;
    if (0..earned.len()).filter(|p| must(*p)).count() > places {
        return (f64::NEG_INFINITY, choice);
    }
    for (p, earned) in earned.iter().enumerate() {
        let (from, to) = (ranges[p].0.map_or(0, |from| from + 1), ranges[p].1.map_or(0, |to| to + 1));
        let steps = (from.max(1)..=to).map(|step| (earned[step], step - 1));
        // Of equals the fewer packs.
        let Some((most, step)) = steps.max_by(|a, b| a.0.total_cmp(&b.0).then(b.1.cmp(&a.1))) else { continue };
        let counts = means.ladders[p].counts && means.count.is_some();
        if from > 0 || !counts && most > 0.0 {
            total += most;
            choice[p] = Some(step);
            places = places.saturating_sub(usize::from(counts));
        } else if counts && most > 0.0 {
            each.push((most, p, step));
        }
    }
    each.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
    for (most, p, step) in each.into_iter().take(places) {
        total += most;
        choice[p] = Some(step);
    }
    (total, choice)
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
        let mut brings: Vec<(usize, f64)> = plot
            .targets
            .iter()
            .enumerate()
            .filter(|(i, t)| lack[*i].0 > 0.0 && t.supply[p] > 0.0)
            .map(|(i, t)| (i, t.supply[p] / t.need))
            .collect();
        brings.sort_by(|a, b| (lack[a.0].0 / a.1).total_cmp(&(lack[b.0].0 / b.1)));
        Piece {
            p,
            most,
            brings,
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
