//! The one integration binary.

mod drift;
mod plans;
mod readings;
mod store;
mod tidy;
