//! The one integration binary.

mod drift;
mod guidelines;
mod import;
mod plans;
mod readings;
mod store;
mod tidy;
