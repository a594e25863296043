//! The one integration binary.

mod tidy;
mod drift;
mod plans;
mod readings;
