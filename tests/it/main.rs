//! The one integration binary.

mod access;
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
