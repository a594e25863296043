//! What machines ask: whether the server lives and can read its record.

use super::{error::Result, guard::Visitor};

/// Answers "ok" when the record can be read.
pub async fn health(visitor: Visitor) -> Result<&'static str> {
    visitor.app.session("").await?; // nobody's session: looking for it reads the record
    Ok("ok\n")
}
