//! What stands in the head of a request that access depends on, and what every answer says.
//! Never in here: a decision.

use axum::http::{HeaderMap, HeaderName, HeaderValue, Uri, header};
use std::net::IpAddr;

/// Nothing runs and nothing is loaded but what comes from here as a file of its own; no other site
/// shows us in a frame; forms go nowhere else.
const CONTENT_POLICY: &str = "default-src 'none'; style-src 'self'; script-src 'self'; \
    img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// Host name or number without the port, in small letters, brackets of IPv6 kept away.
pub fn host(headers: &HeaderMap, uri: &Uri) -> Option<String> {
    let stated = headers
        .get(header::HOST)
        .and_then(|host| host.to_str().ok());
    let authority = stated.or_else(|| uri.authority().map(|authority| authority.as_str()))?;
    let host = match authority.strip_prefix('[') {
        Some(rest) => rest.split_once(']')?.0,
        None => authority
            .rsplit_once(':')
            .map_or(authority, |(host, _)| host),
    };
    Some(host.trim_end_matches('.').to_lowercase())
}

/// Whether the page that sent a form is one of this host; browsers say it with every form.
pub fn is_from_here(headers: &HeaderMap) -> bool {
    let text = |name: HeaderName| headers.get(name).and_then(|value| value.to_str().ok());
    let Some(origin) = text(header::ORIGIN) else {
        return true;
    };
    let authority = origin.split_once("://").map(|(_, authority)| authority);
    authority.is_some() && authority == text(header::HOST)
}

/// A cookie.
pub fn cookie<'h>(headers: &'h HeaderMap, name: &str) -> Option<&'h str> {
    let lines = headers.get_all(header::COOKIE).into_iter();
    let pairs = lines
        .filter_map(|line| line.to_str().ok())
        .flat_map(|line| line.split(';'));
    let mut pairs = pairs.filter_map(|pair| pair.trim().split_once('='));
    pairs
        .find(|(found, _)| *found == name)
        .map(|(_, value)| value)
}

/// The password that a program sends by itself (HTTP basic authentication); the user name says
/// nothing here.
pub fn password(headers: &HeaderMap) -> Option<String> {
    let text = headers.get(header::AUTHORIZATION)?.to_str().ok()?;
    let (scheme, code) = text.split_once(' ')?;
    if !scheme.eq_ignore_ascii_case("basic") {
        return None;
    }
    let bytes = base64(code.trim())?;
    let text = String::from_utf8(bytes).ok()?;
    text.split_once(':')
        .map(|(_, password)| password.to_owned())
}

/// By the decoder that comes with the hashes of passwords; it wants no padding.
fn base64(code: &str) -> Option<Vec<u8>> {
    let code = code.trim_end_matches('=');
    let mut bytes = vec![0; code.len()];
    let read = argon2::password_hash::Encoding::B64
        .decode(code, &mut bytes)
        .ok()?;
    Some(read.to_vec())
}

/// Whether a proxy passes it on for somebody else.
pub fn is_passed_on(headers: &HeaderMap) -> bool {
    let marks = ["forwarded", "x-forwarded-for", "x-forwarded-host", "via"];
    marks.iter().any(|mark| headers.contains_key(*mark))
}

/// Behind a proxy, whom that says that it speaks for: the last in its list, which it wrote itself.
pub fn forwarded_for(headers: &HeaderMap) -> Option<IpAddr> {
    let lines = headers.get_all("x-forwarded-for").into_iter();
    let last = lines.filter_map(|line| line.to_str().ok()).next_back()?;
    last.rsplit(',').next()?.trim().parse().ok()
}

/// Says in an answer how browsers have to treat it. Pages are not kept; a file that is may say so.
pub fn protect(headers: &mut HeaderMap, is_encrypted: bool) {
    let mut set = |name, value| {
        headers.insert(name, HeaderValue::from_static(value));
    };
    set(header::CONTENT_SECURITY_POLICY, CONTENT_POLICY);
    set(header::X_CONTENT_TYPE_OPTIONS, "nosniff");
    // Not `no-referrer`: with that, browsers do not say either which page a form comes from.
    set(header::REFERRER_POLICY, "same-origin");
    set(
        HeaderName::from_static("cross-origin-resource-policy"),
        "same-origin",
    );
    if is_encrypted {
        set(header::STRICT_TRANSPORT_SECURITY, "max-age=31536000");
    }
    let kept = HeaderValue::from_static("no-store");
    headers.entry(header::CACHE_CONTROL).or_insert(kept);
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        let mut headers = HeaderMap::new();
        for (name, value) in pairs {
            headers.append(*name, value.parse().expect("text"));
        }
        headers
    }

    #[test]
    fn a_host_is_told_without_its_port() {
        let of = |text: &str| host(&headers(&[("host", text)]), &Uri::from_static("/"));
        assert_eq!(of("LocalHost:7463").as_deref(), Some("localhost"));
        assert_eq!(of("[::1]:7463").as_deref(), Some("::1"));
        assert_eq!(of("barn.example.").as_deref(), Some("barn.example"));
        assert_eq!(host(&headers(&[]), &Uri::from_static("/")), None);
    }

    #[test]
    fn a_form_of_another_site_is_told() {
        let form =
            |origin: &str| is_from_here(&headers(&[("host", "barn:7463"), ("origin", origin)]));
        assert!(form("http://barn:7463") && form("https://barn:7463"));
        assert!(!form("http://barn") && !form("null") && !form("http://evil.example"));
        assert!(
            is_from_here(&headers(&[("host", "barn")])),
            "an old browser says nothing"
        );
    }

    #[test]
    fn a_program_sends_its_password_and_any_name() {
        // "collector:correct horse" in base64.
        let basic = "Basic Y29sbGVjdG9yOmNvcnJlY3QgaG9yc2U=";
        let sent = password(&headers(&[("authorization", basic)]));
        assert_eq!(sent.as_deref(), Some("correct horse"));
        assert_eq!(password(&headers(&[("authorization", "Bearer abc")])), None);
        assert_eq!(password(&headers(&[("authorization", "Basic ****")])), None);
    }

    #[test]
    fn the_proxy_is_believed_for_the_last_address_alone() {
        let lines = headers(&[("x-forwarded-for", "10.9.9.9, 192.0.2.7")]);
        assert_eq!(forwarded_for(&lines), Some(IpAddr::from([192, 0, 2, 7])));
    }

    #[test]
    fn a_cookie_is_found_among_others() {
        let lines = headers(&[("cookie", "a=1; noonmark-7463=abc; b=2")]);
        assert_eq!(cookie(&lines, "noonmark-7463"), Some("abc"));
        assert_eq!(cookie(&lines, "noonmark-746"), None);
    }
}
