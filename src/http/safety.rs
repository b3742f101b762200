//! The headers that every answer carries, so that a browser does nothing with it that was not meant.
//!
//! What they are: OWASP, REST Security Cheat Sheet (security headers) and HTTP Security Response Headers Cheat Sheet. Invariant:
//! what an answer says itself stands.

use actix_web::http::header::{HeaderMap, HeaderName, HeaderValue};

/// On every answer that does not say otherwise.
const ALWAYS: [(&str, &str); 7] = [
    ("cache-control", "no-store"),
    (
        "content-security-policy",
        "default-src 'none'; frame-ancestors 'none'",
    ),
    ("x-content-type-options", "nosniff"),
    ("x-frame-options", "DENY"),
    ("referrer-policy", "no-referrer"),
    ("cross-origin-opener-policy", "same-origin"),
    ("cross-origin-resource-policy", "same-origin"),
];

/// Over TLS: that the browser is to come back over TLS alone, for a year (RFC 6797).
const OVER_TLS: (&str, &str) = ("strict-transport-security", "max-age=31536000");

/// Adds to the headers of an answer those that it does not have.
pub(super) fn complete(headers: &mut HeaderMap, over_tls: bool) {
    for (name, value) in ALWAYS.into_iter().chain(over_tls.then_some(OVER_TLS)) {
        let name = HeaderName::from_static(name);
        if !headers.contains_key(&name) {
            headers.insert(name, HeaderValue::from_static(value));
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_an_answer_says_itself_stands() {
        let mut headers = HeaderMap::new();
        let kept = HeaderValue::from_static("no-cache");
        headers.insert(HeaderName::from_static("cache-control"), kept);
        complete(&mut headers, false);
        assert_eq!(headers.get("cache-control").unwrap(), "no-cache");
        assert_eq!(headers.get("x-frame-options").unwrap(), "DENY");
        assert!(!headers.contains_key("strict-transport-security"));
        complete(&mut headers, true);
        assert!(headers.contains_key("strict-transport-security"));
    }
}
