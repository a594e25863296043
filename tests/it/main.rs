//! The one integration binary.

mod tidy;
