//! The one integration binary.

mod drift;
mod plans;
mod readings;
mod tidy;
