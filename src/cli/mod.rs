//! Terminal in, text out.
