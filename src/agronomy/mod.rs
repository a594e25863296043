//! The trade: numbers in, numbers and reasons out.
//!
//! Pure functions over plain structs. Nothing in here knows a file, a clock, the
//! environment, SQL or HTTP, draws a random number or depends on the order of a hash
//! map; nothing fails on odd input: functions return an answer and notes about it.

pub mod amendment;
pub mod analyte;
pub mod balance;
pub mod calendar;
pub mod cap;
pub mod carbonate;
pub mod caution;
pub mod choice;
pub mod confidence;
pub mod contaminant;
pub mod content;
pub mod cores;
pub mod crop;
pub mod crop_rate;
pub mod drift;
pub mod element;
pub mod estimate;
pub mod exchange_capacity;
pub mod forecast;
pub mod ground;
pub mod guideline;
pub mod harvest_check;
pub mod lab_check;
pub mod learned_need;
pub mod liking;
pub mod lime;
pub mod manure_phosphorus;
pub mod material;
pub mod method;
pub mod micronutrient;
pub mod need;
pub mod nitrogen;
pub mod offtake;
pub mod order_of_work;
pub mod outlook;
pub mod overdraw;
pub mod panel;
pub mod pass;
pub mod plan;
pub mod plausibility;
pub mod quantity;
pub mod rate;
pub mod reading;
pub mod record;
pub mod response;
pub mod retest;
pub mod salinity;
pub mod saturation;
pub mod season;
pub mod second_opinion;
pub mod source;
pub mod spacing;
pub mod standing;
pub mod surplus;
pub mod survey;
pub mod wants;
pub mod working;
pub mod years_ahead;
