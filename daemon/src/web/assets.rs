//! Style and scripts, inside the program. Never in here: anything of a site.

use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::sync::OnceLock;

const ASSETS: [(&str, &str, &str); 6] = [
    (
        "page.css",
        "text/css; charset=utf-8",
        include_str!("../../assets/page.css"),
    ),
    (
        "live.js",
        "text/javascript; charset=utf-8",
        include_str!("../../assets/live.js"),
    ),
    (
        "zoom.js",
        "text/javascript; charset=utf-8",
        include_str!("../../assets/zoom.js"),
    ),
    (
        "mark.svg",
        "image/svg+xml",
        include_str!("../../assets/mark.svg"),
    ),
    (
        "uplot.js",
        "text/javascript; charset=utf-8",
        include_str!("../../assets/uplot/uPlot.iife.min.js"),
    ),
    (
        "uplot.css",
        "text/css; charset=utf-8",
        include_str!("../../assets/uplot/uPlot.min.css"),
    ),
];

/// Changes whenever one of them does: browsers keep them by it.
pub fn version() -> &'static str {
    static VERSION: OnceLock<String> = OnceLock::new();
    VERSION.get_or_init(|| {
        let mut sum = crc32fast::Hasher::new();
        ASSETS
            .iter()
            .for_each(|(.., text)| sum.update(text.as_bytes()));
        format!("{:08x}", sum.finalize())
    })
}

/// One of them. A new version of the program asks for it anew, because pages name the version.
pub async fn asset(Path(name): Path<String>) -> Response {
    let found = ASSETS.iter().find(|(known, ..)| *known == name);
    let Some((_, kind, text)) = found else {
        return StatusCode::NOT_FOUND.into_response();
    };
    let head = [
        (header::CONTENT_TYPE, *kind),
        (header::CACHE_CONTROL, "public, max-age=86400"),
    ];
    (head, *text).into_response()
}
