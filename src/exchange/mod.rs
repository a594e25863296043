//! Bytes to values and back: lab tables, CSV sets, numbers as people print them.

pub mod csv_out;
pub mod number;
pub mod record_set;
