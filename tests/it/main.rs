//! The one integration binary.

mod access;
mod application_pages;
mod balance;
mod chemistry;
mod demo;
mod drift;
mod durability;
mod examples;
mod ground_pages;
mod guidelines;
mod import;
mod interpretation;
mod loud;
mod needs;
mod plan_pages;
mod plans;
mod questions;
mod readings;
mod rothamsted;
mod serve;
mod shed;
mod sheet_pages;
mod sheets;
mod shelf_pages;
mod store;
mod tidy;
