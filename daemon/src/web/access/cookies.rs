//! What browsers are given to keep.
//! Never in here: reading it back (`headers`), or what it opens.

use super::Access;
use axum::http::HeaderValue;

/// The cookie of a session.
pub fn set_cookie(access: &Access, session: &str) -> HeaderValue {
    cookie_line(access, &access.cookie(), session)
}

pub(super) fn cookie_line(access: &Access, name: &str, value: &str) -> HeaderValue {
    let secure = if access.is_encrypted() {
        "; Secure"
    } else {
        ""
    };
    let text = format!("{name}={value}; Path=/; HttpOnly; SameSite=Strict{secure}");
    HeaderValue::from_str(&text).expect("hexadecimal digits and plain words")
}

/// The cookie of a language, which outlives the browser.
pub fn language_cookie(access: &Access, code: &str) -> HeaderValue {
    let line = cookie_line(access, &access.language_cookie(), code);
    let line = line.to_str().expect("it was made of text");
    HeaderValue::from_str(&format!("{line}; Max-Age=31536000")).expect("plain words")
}
