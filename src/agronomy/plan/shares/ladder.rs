//! How much of each product can be had for how much money, in steps of whole packs, and a choice
//! among them: which products are used at all, and up to which step.

use super::Question;

/// What can be had of one product.
#[derive(Clone, Debug)]
pub(in super::super) struct Ladder {
    /// Mean g/m² and what it costs, from what is had anyway up to the most that is any use.
    pub steps: Vec<(f64, f64)>,
    /// Price of each mean g/m² beyond the last step, where the product is sold loose.
    pub loose: Option<f64>,
    /// Whether using it is one more product.
    pub counts: bool,
}

impl Ladder {
    /// Whether there is no end to it, and nothing to pay.
    pub fn is_endless(&self) -> bool {
        self.loose.is_none() && self.steps.iter().all(|step| step.0.is_infinite() || step.0 <= 0.0)
    }
}

/// What limits a choice.
#[derive(Clone, Debug)]
pub(in super::super) struct Means {
    pub ladders: Vec<Ladder>,
    pub budget: Option<f64>,
    /// The most products that may be used of those that count.
    pub count: Option<usize>,
}

/// By product, the step up to which it is used; `None` where it is not.
pub(in super::super) type Choice = Vec<Option<usize>>;

impl Means {
    pub fn cost(&self, choice: &Choice) -> f64 {
        self.ladders.iter().zip(choice).filter_map(|(ladder, step)| Some(ladder.steps[(*step)?].1)).sum()
    }

    /// Whether what is left of the budget can be spent on what is sold loose.
    pub fn is_loose(&self) -> bool {
        self.budget.is_some() && self.ladders.iter().any(|ladder| ladder.loose.is_some())
    }

    /// How much can be had of a product, mean g/m².
    pub fn room(&self, choice: &Choice, p: usize) -> f64 {
        choice[p].map_or(0.0, |step| self.ladders[p].steps[step].0)
    }

    /// The choice with one step more of a product; `None` where there is none that is any use.
    pub fn more(&self, choice: &Choice, p: usize) -> Option<Choice> {
        let ladder = &self.ladders[p];
        let step = match choice[p] {
            None => ladder.steps.iter().position(|step| step.0 > 0.0).or(ladder.loose.map(|_| 0)),
            Some(step) => Some(step + 1).filter(|step| *step < ladder.steps.len()),
        };
        let mut more = choice.clone();
        more[p] = Some(step?);
        Some(more)
    }

    pub fn counted(&self, choice: &Choice) -> usize {
        self.ladders.iter().zip(choice).filter(|(ladder, step)| ladder.counts && step.is_some()).count()
    }

    /// A choice like this one that is allowed: what cannot be had is left out, and then step by step
    /// what costs most, or what comes last where no money counts.
    pub fn nearest(&self, choice: &Choice) -> Choice {
        let mut near = choice.clone();
        for (step, ladder) in near.iter_mut().zip(&self.ladders) {
            let last = ladder.steps.len() - 1;
            *step =
                step.map(|step| step.min(last)).filter(|step| ladder.steps[*step].0 > 0.0 || ladder.loose.is_some());
        }
        while !self.allows(&near) {
            let cost = |p: &usize| near[*p].map_or(0.0, |step| self.ladders[*p].steps[step].1);
            let Some(p) = (0..near.len()).filter(|p| near[*p].is_some()).max_by(|a, b| cost(a).total_cmp(&cost(b)))
            else {
                break;
            };
            near[p] = near[p]
                .and_then(|step| step.checked_sub(1))
                .filter(|_| self.counted(&near) <= self.count.unwrap_or(usize::MAX));
        }
        near
    }

    /// Whether the choice keeps to the budget and the number of products.
    pub fn allows(&self, choice: &Choice) -> bool {
        self.budget.is_none_or(|budget| self.cost(choice) <= budget * (1.0 + 1e-12) + 1e-9)
            && self.count.is_none_or(|most| self.counted(choice) <= most)
    }

    /// What plots are asked under this choice.
    pub fn question(&self, choice: &Choice, weights: (f64, f64)) -> Question {
        let room = |(ladder, step): (&Ladder, &Option<usize>)| step.map_or(0.0, |step| ladder.steps[step].0);
        let loose: Vec<f64> = self.ladders.iter().map(|ladder| ladder.loose.unwrap_or(f64::INFINITY)).collect();
        let open = |(ladder, step): (&Ladder, &Option<usize>)| match ladder.loose.is_some() && step.is_some() {
            true => 0.0,
            false => f64::INFINITY,
        };
        Question {
            weights,
            open: choice.iter().map(Option::is_some).collect(),
            room: self.ladders.iter().zip(choice).map(room).collect(),
            tight: vec![false; choice.len()],
            price: self.ladders.iter().zip(choice).map(open).collect(),
            budget: self
                .budget
                .filter(|_| loose.iter().any(|price| price.is_finite()))
                .map(|budget| (loose, budget - self.cost(choice))),
            spent: false,
        }
    }
}
