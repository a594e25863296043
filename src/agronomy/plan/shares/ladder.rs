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

    pub fn counted(&self, choice: &Choice) -> usize {
        self.ladders.iter().zip(choice).filter(|(ladder, step)| ladder.counts && step.is_some()).count()
    }

    /// Whether the choice keeps to the budget and the number of products.
    pub fn allows(&self, choice: &Choice) -> bool {
        self.budget.is_none_or(|budget| self.cost(choice) <= budget * (1.0 + 1e-12) + 1e-9)
            && self.count.is_none_or(|most| self.counted(choice) <= most)
    }

    /// What plots are asked under this choice.
    pub fn question(&self, choice: &Choice, weights: (f64, f64)) -> Question {
        let room = |(ladder, step): (&Ladder, &Option<usize>)| step.map_or(0.0, |step| ladder.steps[step].0);
        let loose = self.ladders.iter().zip(choice).map(|(ladder, step)| ladder.loose.filter(|_| step.is_some()));
        let loose: Vec<f64> = loose.map(|price| price.unwrap_or(f64::INFINITY)).collect();
        let free = |price: &f64| if price.is_finite() { 0.0 } else { f64::INFINITY };
        Question {
            weights,
            open: choice.iter().map(Option::is_some).collect(),
            room: self.ladders.iter().zip(choice).map(room).collect(),
            tight: vec![false; choice.len()],
            price: loose.iter().map(free).collect(),
            budget: self.budget.filter(|_| loose.iter().any(|p| p.is_finite())).map(|b| (loose, b - self.cost(choice))),
        }
    }
}
