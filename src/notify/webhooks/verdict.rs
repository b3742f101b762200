//! What an answer means.
//!
//! Invariants, after the convention Standard Webhooks: 2xx is success and nothing else is; a redirect is a failure; 410 asks
//! for no more. `Retry-After` is heard where it has a meaning here (RFC 9110, section 10.2.3; RFC 6585, section 4).

use std::time::Duration;

use chrono::{DateTime, Utc};

use crate::notify::deliveries::attempt::AttemptEnd;

/// How an attempt ended that was answered with a status and, perhaps, `Retry-After`.
#[must_use]
pub(super) fn verdict(status: u16, retry_after: Option<&str>, now: DateTime<Utc>) -> AttemptEnd {
    match status {
        200..=299 => AttemptEnd::Delivered {
            said: format!("answered {status}"),
        },
        300..=399 => failed(format!(
            "answered {status}, which points elsewhere: redirects are not followed, so name the final address"
        )),
        410 => AttemptEnd::Refused {
            said: "answered 410: the receiver is gone and wants no more".to_owned(),
        },
        429 | 503 => AttemptEnd::Failed {
            said: format!("answered {status}"),
            retry_after: retry_after.and_then(|text| pause_asked(text, now)),
        },
        _ => failed(format!("answered {status}")),
    }
}

/// A failure that may pass.
pub(super) fn failed(said: String) -> AttemptEnd {
    AttemptEnd::Failed {
        said,
        retry_after: None,
    }
}

/// The pause that `Retry-After` asks for: a number of seconds, or a date. None when it is neither, or over.
fn pause_asked(text: &str, now: DateTime<Utc>) -> Option<Duration> {
    let text = text.trim();
    if !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit()) {
        return Some(Duration::from_secs(text.parse().unwrap_or(u64::MAX)));
    }
    let at = DateTime::parse_from_rfc2822(text).ok()?;
    (at.with_timezone(&Utc) - now).to_std().ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn now() -> DateTime<Utc> {
        // The example of RFC 9110, section 5.6.7, less 90 s.
        "1994-11-06T08:48:07Z".parse().unwrap()
    }

    #[test]
    fn only_2xx_is_delivered_and_only_410_is_final() {
        for status in 200..=599 {
            match verdict(status, Some("30"), now()) {
                AttemptEnd::Delivered { said } => {
                    assert!((200..300).contains(&status));
                    assert_eq!(said, format!("answered {status}"));
                }
                AttemptEnd::Refused { said } => {
                    assert_eq!(status, 410);
                    assert!(said.starts_with("answered 410"));
                }
                AttemptEnd::Failed { said, retry_after } => {
                    assert!(status >= 300 && status != 410);
                    assert!(said.starts_with(&format!("answered {status}")));
                    assert_eq!(said.contains("redirect"), status < 400);
                    assert_eq!(retry_after.is_some(), matches!(status, 429 | 503));
                }
            }
        }
    }

    #[track_caller]
    fn asked(text: &str, expected_s: Option<u64>) {
        let end = verdict(503, Some(text), now());
        let AttemptEnd::Failed { retry_after, .. } = end else {
            panic!("{end:?}");
        };
        assert_eq!(retry_after, expected_s.map(Duration::from_secs));
    }

    #[test]
    fn retry_after_is_a_number_of_seconds_or_a_date() {
        asked("120", Some(120));
        asked(" 0 ", Some(0));
        asked("99999999999999999999999", Some(u64::MAX));
        asked("Sun, 06 Nov 1994 08:49:37 GMT", Some(90));
        asked("Sun, 06 Nov 1994 08:48:07 GMT", Some(0));
        asked("Sun, 06 Nov 1994 08:48:06 GMT", None);
        asked("soon", None);
        asked("-5", None);
        asked("1.5", None);
        asked("", None);
    }
}
