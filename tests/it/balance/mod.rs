//! What comes and goes on a plot, what it does to the tests, and what another test is worth:
//! against published figures and against numbers computed outside this project.

mod books;
mod kept;
mod learned;
mod next_test;

use super::store::{fresh, plot_form, site_form};
use glebe::agronomy::{
    amendment::Kind,
    balance::{Books, Input, Net, Season},
    crop::Crop,
    drift::{Found, Scale},
    element::Element::{self, *},
    forecast::{self, Calibration, Fell, Outlook},
    method::Method,
    offtake::{self, BALANCED, Figures, Harvest, Part, Span},
    quantity::{Centimetres, KgPerHa, LAYER_CONVENTIONS, SoilLayer, SquareMetres},
    record::Application,
    response::{self, Prior, Skip, TestAt},
    retest::{self, Question},
    source::Evidence,
    working::{Figure, Origin, Working},
};
use glebe::app::{Error, harvests::HarvestForm};
use jiff::civil::{Date, date};
use std::{collections::BTreeMap, path::PathBuf};

fn close(found: f64, expected: f64) {
    assert!((found - expected).abs() <= 1e-9 * expected.abs().max(1e-3), "found {found}, expected {expected}");
}

fn about(found: f64, expected: f64, within: f64) {
    assert!((found - expected).abs() <= within, "found {found}, expected {expected}");
}

fn crop(slug: &str) -> Crop {
    Crop::find(slug).unwrap()
}

fn harvest(on: Date, crop: &str, mass_kg: f64) -> Harvest {
    Harvest { key: 1, harvested_on: on, crop: Some(crop.into()), mass_kg, figures: Figures::Tables }
}
