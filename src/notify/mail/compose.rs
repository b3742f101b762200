//! The message that is handed over: headers, and the words twice (RFC 5322, RFC 2046).
//!
//! Invariants: the same message under the same id has the same bytes, so that a repeat is the same mail; every header is
//! written by the library, which encodes what is not ASCII.

use chrono::{DateTime, Utc};
use lettre::Message;
use lettre::message::header::{ContentType, Header, HeaderName, HeaderValue};
use lettre::message::{MultiPart, SinglePart};

use super::render::Rendered;
use super::settings::MailSettings;

/// Says that a program wrote the mail, so that no program answers it (RFC 3834, section 5).
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}

/// The message of an id, queued at an instant.
///
/// # Errors
/// What the library says of a message that cannot be made.
pub fn composed(
    settings: &MailSettings,
    message_id: &str,
    queued_at: DateTime<Utc>,
    words: &Rendered,
) -> Result<Message, lettre::error::Error> {
    let parts = MultiPart::builder()
        .header(ContentType::parse("multipart/alternative").unwrap_or(ContentType::TEXT_PLAIN))
        .boundary(format!("heeltap-{message_id}"))
        .singlepart(part(ContentType::TEXT_PLAIN, &words.text))
        .singlepart(part(ContentType::TEXT_HTML, &words.html));
    let domain = settings.from.email.domain();
    let to = settings.to.iter().cloned();
    let message = Message::builder()
        .message_id(Some(format!("<{message_id}@{domain}>")))
        .date(queued_at.into())
        .from(settings.from.clone())
        .subject(words.subject.as_str())
        .header(AutoSubmitted);
    to.fold(message, lettre::message::MessageBuilder::to)
        .multipart(parts)
}

fn part(kind: ContentType, body: &str) -> SinglePart {
    SinglePart::builder().header(kind).body(body.to_owned())
}

#[cfg(test)]
mod tests {
    use std::time::Duration;

    use super::super::settings::mail_settings;
    use super::*;

    fn formatted(words: &Rendered) -> String {
        let (from, to) = ("Lab <lab@mail.example>", "Søren \"x\" <s@mail.example>");
        let settings = mail_settings(
            Some("smtp://localhost"),
            Some(from),
            Some(to),
            "07:00",
            Duration::from_secs(1),
        );
        let settings = settings.unwrap().unwrap();
        let at = DateTime::from_timestamp(1_772_442_000, 0).unwrap();
        let message = composed(&settings, "msg_0a", at, words).unwrap();
        String::from_utf8(message.formatted()).unwrap()
    }

    fn words(subject: &str) -> Rendered {
        Rendered {
            subject: subject.to_owned(),
            text: "blå\n.\nFrom x\n".to_owned(),
            html: format!("<p>{}</p>", "long ".repeat(400)),
        }
    }

    #[test]
    fn the_same_words_make_the_same_bytes_of_seven_bits_and_short_lines() {
        let subject = "heeltap: order 3 packs of blå, and more ".repeat(9);
        let mail = formatted(&words(&subject));
        assert_eq!(mail, formatted(&words(&subject)));
        assert!(mail.is_ascii());
        // RFC 5322, section 2.1.1.
        assert!(
            mail.split("\r\n")
                .all(|line| line.len() <= 998 && !line.contains(['\r', '\n']))
        );
        for header in [
            "Message-ID: <msg_0a@mail.example>\r\n",
            "Auto-Submitted: auto-generated\r\n",
            "Date: Mon, 02 Mar 2026 09:00:00 ",
        ] {
            assert!(mail.contains(header), "{header}: {mail}");
        }
    }

    #[test]
    fn a_subject_cannot_begin_a_header() {
        let mail = formatted(&words("late\r\nBcc: x@mail.example\r\n\r\nbody"));
        let (headers, _) = mail.split_once("\r\n\r\n").unwrap();
        assert!(
            !headers.split("\r\n").any(|line| line.starts_with("Bcc")),
            "{headers}"
        );
    }
}
