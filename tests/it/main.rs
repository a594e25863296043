//! The one integration binary.

mod chemistry;
mod drift;
mod examples;
mod guidelines;
mod import;
mod plans;
mod questions;
mod readings;
mod store;
mod tidy;
