//! Bytes to values and back: lab tables, CSV sets, numbers as people print them.

pub mod number;
pub mod record_set;
