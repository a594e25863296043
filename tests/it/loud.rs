//! Saying that a check was skipped. The test runner hides what a passing test prints, so
//! this writes past it, and `.ci/test` lists every such line at its end.

use std::io::Write;

/// Says on the terminal that something was not checked, and why.
pub fn skipped(what: impl std::fmt::Display) {
    let _ = writeln!(std::io::stderr(), "SKIPPED: {what}");
}
