//! Signatures of requests: who has sent this, and is it what was sent?
//!
//! Source:  HTTP Message Signatures, RFC 9421 (section 2.5 the signature base, section 3.3.3 HMAC with
//!          SHA-256); Digest Fields, RFC 9530 (section 2, Content-Digest).
//! Check:   the example of RFC 9421, appendix B.2.5, and of RFC 9530, appendix B.1 (tests below); a
//!          verifier of somebody else's on the other side (tests/acceptance/announced/webhook.rs).
//! Never in here: which parts of our requests are signed, or a connection.

use base64::Engine;
use base64::prelude::BASE64_STANDARD as BASE64;
use ring::{digest, hmac};

/// The algorithm's name in the registry of RFC 9421, section 6.2.2.
pub const ALGORITHM: &str = "hmac-sha256";

/// The value of a `content-digest` field.
pub fn content_digest(body: &[u8]) -> String {
    let sum = digest::digest(&digest::SHA256, body);
    format!("sha-256=:{}:", BASE64.encode(sum))
}

/// What a signature says of itself.
#[derive(Debug, Clone, Copy)]
pub struct Parameters<'a> {
    /// When [s since 1970].
    pub created: i64,
    /// By which the receiver finds the secret.
    pub keyid: &'a str,
    /// The algorithm, where it is said.
    pub alg: Option<&'a str>,
}

/// Values of `signature-input` and `signature` over components, name and value each.
pub fn sign(
    label: &str,
    components: &[(&str, &str)],
    parameters: Parameters<'_>,
    secret: &[u8],
) -> (String, String) {
    let parameters = in_words(components, parameters);
    let base = base(components, &parameters);
    let key = hmac::Key::new(hmac::HMAC_SHA256, secret);
    let tag = hmac::sign(&key, base.as_bytes());
    let signature = format!("{label}=:{}:", BASE64.encode(tag));
    (format!("{label}={parameters}"), signature)
}

/// The covered components with the parameters behind them (section 2.3).
fn in_words(components: &[(&str, &str)], of: Parameters<'_>) -> String {
    let names: Vec<String> = components
        .iter()
        .map(|(name, _)| format!("\"{name}\""))
        .collect();
    let alg = of.alg.map(|alg| format!(";alg=\"{alg}\""));
    let (names, alg) = (names.join(" "), alg.unwrap_or_default());
    format!(
        "({names});created={};keyid=\"{}\"{alg}",
        of.created, of.keyid
    )
}

/// What is signed (section 2.5): a line for each component, without an end behind the last.
fn base(components: &[(&str, &str)], parameters: &str) -> String {
    let mut lines: Vec<String> = components
        .iter()
        .map(|(name, value)| format!("\"{name}\": {value}"))
        .collect();
    lines.push(format!("\"@signature-params\": {parameters}"));
    lines.join("\n")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Reference: RFC 9421, appendix B.2.5 (HMAC with the shared secret of appendix B.1.5 over the
    /// request of appendix B.2); typed from memory, which a wrong letter would not pass.
    #[test]
    fn the_published_example_is_signed_as_published() {
        const SECRET: &str = "uzvJfB4u3N0Jy4T7NZ75MDVcr8zSTInedJtkgcu46YW4XByzNJjxBdtjUkdJPBtbmHhIDi6pcl8jsasjlTMtDQ==";
        let components = [
            ("date", "Tue, 20 Apr 2021 02:07:55 GMT"),
            ("@authority", "example.com"),
            ("content-type", "application/json"),
        ];
        let parameters = Parameters {
            created: 1_618_884_473,
            keyid: "test-shared-secret",
            alg: None,
        };
        let secret = BASE64.decode(SECRET).expect("as published");
        let (input, signature) = sign("sig-b25", &components, parameters, &secret);
        assert_eq!(
            input,
            "sig-b25=(\"date\" \"@authority\" \"content-type\");created=1618884473;keyid=\"test-shared-secret\""
        );
        assert_eq!(
            signature,
            "sig-b25=:pxcQw6G3AjtMBQjwo8XzkZf/bws5LelbaMk5rGIGtE8=:"
        );
    }

    /// Reference: RFC 9530, appendix B.1: the JSON with a line end behind it.
    #[test]
    fn a_body_has_the_published_digest() {
        assert_eq!(
            content_digest(b"{\"hello\": \"world\"}\n"),
            "sha-256=:RK/0qy18MlBSVnWgjwz6lZEWjP/lF5HF9bvEF8FabDg=:"
        );
    }
}
