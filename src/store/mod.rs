//! SQL and only SQL.
