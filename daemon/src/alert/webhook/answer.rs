//! What an answer to a call means: taken, later, never.
//! Never in here: a connection.

use super::CallError;
use analysis::reading::{Span, Time};
use chrono::DateTime;
use hyper::StatusCode;
use hyper::header::{HeaderMap, LOCATION, RETRY_AFTER};

/// Whether it was taken.
///
/// # Errors
/// If not, with what the receiver wants instead.
pub fn taken(status: StatusCode, headers: &HeaderMap, now: Time) -> Result<(), CallError> {
    let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
    if status.is_success() {
        return Ok(());
    }
    if status == StatusCode::GONE {
        return Err(CallError::Gone);
    }
    if status.is_redirection() {
        return Err(CallError::Elsewhere {
            status: status.as_u16(),
            to: text(LOCATION).unwrap_or("nowhere").to_owned(),
        });
    }
    let may_ask = matches!(
        status,
        StatusCode::TOO_MANY_REQUESTS | StatusCode::SERVICE_UNAVAILABLE
    );
    let wait = text(RETRY_AFTER).filter(|_| may_ask);
    Err(CallError::Refused {
        status: status.as_u16(),
        wait: wait.and_then(|asked| span(asked, now)),
    })
}

/// Seconds, or a date (RFC 9110, section 10.2.3).
fn span(asked: &str, now: Time) -> Option<Span> {
    if let Ok(seconds) = asked.trim().parse::<u32>() {
        return Some(Span::from_s(i64::from(seconds)));
    }
    let date = DateTime::parse_from_rfc2822(asked.trim()).ok()?;
    let wait = Time::from_unix_ms(date.timestamp_millis()) - now;
    Some(wait.max(Span::ZERO))
}

#[cfg(test)]
mod tests {
    use super::*;
    use hyper::header::HeaderValue;

    const NOW: Time = Time::from_unix_ms(784_111_777_000);

    fn asked(status: u16, retry_after: &'static str) -> Option<Span> {
        let mut headers = HeaderMap::new();
        headers.insert(RETRY_AFTER, HeaderValue::from_static(retry_after));
        let status = StatusCode::from_u16(status).expect("a status");
        let error = taken(status, &headers, NOW).expect_err("not taken");
        assert!(!error.is_final());
        error.asks_to_wait()
    }

    #[test]
    fn a_receiver_that_asks_to_wait_is_left_alone_for_so_long() {
        assert_eq!(asked(429, "120"), Some(Span::from_s(120)));
        // The example date of RFC 9110, section 5.6.7, a minute before and after.
        assert_eq!(
            asked(503, "Sun, 06 Nov 1994 08:50:37 GMT"),
            Some(Span::from_s(60))
        );
        assert_eq!(
            asked(503, "Sun, 06 Nov 1994 08:48:37 GMT"),
            Some(Span::ZERO)
        );
        for (status, text) in [(500, "120"), (503, "soon"), (503, "-1"), (429, "")] {
            assert_eq!(asked(status, text), None, "{status} {text}");
        }
    }

    #[test]
    fn only_what_is_gone_is_given_up() {
        let of = |status| {
            taken(
                StatusCode::from_u16(status).expect("one"),
                &HeaderMap::new(),
                NOW,
            )
        };
        for status in [200, 202, 204] {
            of(status).expect("taken");
        }
        for status in [301, 308, 400, 401, 404, 500, 502] {
            assert!(!of(status).expect_err("not taken").is_final(), "{status}");
        }
        assert!(of(410).expect_err("not taken").is_final());
    }
}
