//! Glebe keeps the soil record of many plots and computes what each needs.
//!
//! Six layers, arrows one way (see DEVELOPERS.md; `tests/it/tidy.rs` enforces it):
//! `main → cli → web → app → { exchange, store } → agronomy → nothing`.
//! [`ids`], [`clock`] and [`settings`] are leaves that every layer but `agronomy` may use.

pub mod agronomy;
pub mod app;
pub mod cli;
pub mod clock;
pub mod exchange;
pub mod ids;
pub mod settings;
pub mod store;
pub mod web;
