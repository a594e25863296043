//! The stylesheet, the script and the icon, inside the binary, at addresses that change
//! with their content, so that a browser may keep them for ever.

use axum::{
    extract::Path,
    http::{HeaderValue, StatusCode, header},
    response::{IntoResponse, Response},
};
use rust_embed::{EmbeddedFile, RustEmbed};
use std::{collections::BTreeMap, sync::LazyLock};

#[derive(RustEmbed)]
#[folder = "static/"]
struct Static;

/// Plain name → address, and address → file.
struct Table {
    addresses: BTreeMap<String, String>,
    files: BTreeMap<String, EmbeddedFile>,
}

static TABLE: LazyLock<Table> = LazyLock::new(|| {
    let mut table = Table { addresses: BTreeMap::new(), files: BTreeMap::new() };
    for name in Static::iter() {
        let Some(file) = Static::get(&name) else { continue };
        let hash: String = file.metadata.sha256_hash()[..6].iter().map(|byte| format!("{byte:02x}")).collect();
        let (stem, ending) = name.rsplit_once('.').unwrap_or((&name, ""));
        let hashed = format!("{stem}.{hash}.{ending}");
        table.addresses.insert(name.to_string(), format!("/static/{hashed}"));
        table.files.insert(hashed, file);
    }
    table
});

/// The address of a file of `static/`, by its plain name; empty where there is none.
pub fn address(name: &str) -> String {
    TABLE.addresses.get(name).cloned().unwrap_or_default()
}

/// Serves a file by its hashed name.
pub async fn serve(Path(name): Path<String>) -> Response {
    let Some(file) = TABLE.files.get(&name) else { return StatusCode::NOT_FOUND.into_response() };
    let kind = match name.rsplit('.').next() {
        Some("css") => "text/css; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("svg") => "image/svg+xml",
        _ => "application/octet-stream",
    };
    let headers = [
        (header::CONTENT_TYPE, HeaderValue::from_static(kind)),
        (header::CACHE_CONTROL, HeaderValue::from_static("public, max-age=31536000, immutable")),
    ];
    (headers, file.data.clone()).into_response()
}
