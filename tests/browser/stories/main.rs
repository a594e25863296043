//! Stories told through Chromium against the real server.

mod first_season;
mod first_start;
mod next_season;
#[path = "../../shared/rothamsted.rs"]
mod rothamsted;
mod three_grounds;
mod years;
