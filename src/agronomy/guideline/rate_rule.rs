//! Rates that a publisher prints for crops, by what the soil test found: a table of rates by
//! class, or an equation in the index. The class and the index are those of the same
//! guideline's limits, so a rate never speaks where the limits do not; and a rate is for the
//! crops that its publisher names, never for others.

use super::{Changed, RateEquation, RateTable, When};
use crate::agronomy::{
    crop::Crop,
    element::{Element, Form},
    method::Method,
    rate::RateUnit,
    reading::number,
    source::{Citation, Evidence},
};

/// A printed table of rates, or a set of equations, for one nutrient.
#[derive(Clone, Debug, PartialEq)]
pub struct Rates {
    pub title: String,
    pub element: Element,
    /// The form that the rates are printed in; `None` for the element.
    pub form: Option<Form>,
    pub unit: RateUnit,
    /// The tests whose classes or index they go by.
    pub methods: Vec<Method>,
    pub when: When,
    /// The publisher's advice is the rate give or take this much, in the printed unit.
    pub give_or_take: Option<f64>,
    pub rows: Vec<RateRow>,
    pub source: Citation,
    /// Rates known only from memory are off unless switched on.
    pub in_force: bool,
    /// A person switched them off; switching on what is from memory leaves them so.
    pub off: bool,
    /// The slug of the set that prints them.
    pub set: String,
    pub notes: Vec<String>,
}

/// The rates of some crops.
#[derive(Clone, Debug, PartialEq)]
pub struct RateRow {
    /// In the publisher's words: "Brussels sprouts and cabbages".
    pub printed_for: String,
    /// The crops here that these words name; none where it is not known which they are.
    pub crops: Vec<Crop>,
    pub gives: Gives,
    /// Why the advice is not followed although it is printed, such as a likely misprint.
    pub withheld: Option<String>,
    /// Who says so, where it is not the source of the whole table.
    pub source: Option<Citation>,
    /// In a copy: who changed it, and what its publisher had printed.
    pub changed: Option<Changed>,
    pub notes: Vec<String>,
}

/// How a rate is printed.
#[derive(Clone, Debug, PartialEq)]
pub enum Gives {
    Table(RateTable),
    Equation(RateEquation),
}

impl Rates {
    /// The row for a crop.
    pub fn row(&self, crop: &Crop) -> Option<&RateRow> {
        self.rows.iter().find(|row| row.crops.contains(crop))
    }

    /// The unit with the form: "kg/ha P2O5".
    pub fn unit_words(&self) -> String {
        match self.form {
            Some(form) => format!("{} {form}", self.unit.label()),
            None => format!("{} {}", self.unit.label(), self.element.symbol()),
        }
    }

    /// kg of the element per hectare in one printed unit.
    pub fn kg_per_ha(&self) -> f64 {
        self.unit.kg_per_ha() * self.form.map_or(1.0, Form::to_element)
    }

    /// Who says what a row gives.
    pub fn source_of<'a>(&'a self, row: &'a RateRow) -> &'a Citation {
        row.source.as_ref().unwrap_or(&self.source)
    }

    /// Whether what a row gives is known only from memory.
    pub fn is_from_memory(&self, row: &RateRow) -> bool {
        self.source_of(row).evidence == Evidence::Memory
    }

    /// A row in a line: "Roots: low 120, enough 60, high 0 kg/ha P2O5, for carrot".
    pub fn words(&self, row: &RateRow) -> String {
        let unit = self.unit_words();
        let gives = match &row.gives {
            Gives::Table(table) => {
                let cells = table.columns.iter().zip(&table.printed);
                let cells: Vec<String> = cells.map(|(column, rate)| format!("{column} {}", number(*rate))).collect();
                cells.join(", ")
            }
            Gives::Equation(equation) => equation.words(),
        };
        let crops: Vec<String> = row.crops.iter().map(Crop::in_sentence).collect();
        let crops = if crops.is_empty() { "for no crop yet".into() } else { format!("for {}", crops.join(", ")) };
        let withheld = row.withheld.as_ref().map_or_else(String::new, |why| format!("; not followed: {why}"));
        format!("{}: {gives} {unit}, {crops}{withheld}", row.printed_for)
    }
}
