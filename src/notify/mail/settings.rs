//! How the daily mail is sent: from whom, to whom, when.
//!
//! Invariant: an address of a person is plain ASCII and cannot end its line, so that it can be written into any message.

use std::time::Duration;

use chrono::NaiveTime;
use lettre::message::{Mailbox, Mailboxes};

use super::address::{SmtpAddress, SmtpAddressError};

/// How the daily mail is sent.
#[derive(Clone, Debug)]
pub struct MailSettings {
    /// Where it is handed over.
    pub address: SmtpAddress,
    /// Who sends it.
    pub from: Mailbox,
    /// Who gets it; at least one.
    pub to: Vec<Mailbox>,
    /// The local time from which a day's mail is due.
    pub at: NaiveTime,
    /// How long to wait for the server each time, when connecting and for every answer.
    pub timeout: Duration,
}

/// A setting that is not right, by its variable.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MailSettingsError {
    /// No address to hand mail over to.
    #[error("HEELTAP_SMTP_URL: {0}")]
    Address(#[from] SmtpAddressError),
    /// No sender.
    #[error("HEELTAP_MAIL_FROM: {0}")]
    From(MailboxError),
    /// No receivers.
    #[error("HEELTAP_MAIL_TO: {0}")]
    To(MailboxError),
    /// No time.
    #[error(
        "HEELTAP_MAIL_AT: `{0}` is no time of day: write one such as 07:00, from 00:00 to 23:59"
    )]
    At(String),
}

/// Why a text names nobody to write to.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum MailboxError {
    /// Nothing was given.
    #[error(
        "it is missing, and no mail can go without it: write an address such as lab@mail.example, or leave HEELTAP_SMTP_URL out"
    )]
    Missing,
    /// It is not understood.
    #[error(
        "`{0}` is no address: write lab@mail.example or Lab <lab@mail.example>, of ASCII characters"
    )]
    NotUnderstood(String),
}

/// The settings from their texts. An empty text is none, so that a variable can be blanked; without an address, nothing is
/// ever mailed.
///
/// ```
/// use std::time::Duration;
/// use heeltap::notify::mail::settings::mail_settings;
/// let read = |url, to| mail_settings(url, Some("Lab <lab@mail.example>"), to, "07:00", Duration::from_secs(30));
/// let settings = read(Some("smtps://mail.example"), Some("one@mail.example, Two <two@mail.example>"))?;
/// assert_eq!(settings.map(|settings| settings.to.len()), Some(2));
/// assert!(read(Some(""), None)?.is_none());
/// assert!(read(Some("smtps://mail.example"), None).is_err());
/// # Ok::<(), heeltap::notify::mail::settings::MailSettingsError>(())
/// ```
///
/// # Errors
/// [`MailSettingsError`], which names the variable and says what would be right. A time is held against its form even where
/// nothing is mailed.
pub fn mail_settings(
    url: Option<&str>,
    from: Option<&str>,
    to: Option<&str>,
    at: &str,
    timeout: Duration,
) -> Result<Option<MailSettings>, MailSettingsError> {
    let at = time_of_day(at)?;
    let Some(url) = url.filter(|url| !url.trim().is_empty()) else {
        return Ok(None);
    };
    let address = SmtpAddress::parse(url)?;
    let mut from = mailboxes(from).map_err(MailSettingsError::From)?;
    let one = from.pop().filter(|_| from.is_empty());
    let from = one.ok_or_else(|| {
        MailSettingsError::From(MailboxError::NotUnderstood("several addresses".to_owned()))
    })?;
    let to = mailboxes(to).map_err(MailSettingsError::To)?;
    Ok(Some(MailSettings {
        address,
        from,
        to,
        at,
        timeout,
    }))
}

fn time_of_day(text: &str) -> Result<NaiveTime, MailSettingsError> {
    let wrong = || MailSettingsError::At(text.to_owned());
    let of_form = text.len() == 5 && text.is_char_boundary(2) && &text[2..3] == ":";
    NaiveTime::parse_from_str(text, "%H:%M")
        .ok()
        .filter(|_| of_form)
        .ok_or_else(wrong)
}

fn mailboxes(text: Option<&str>) -> Result<Vec<Mailbox>, MailboxError> {
    let text = text
        .map(str::trim)
        .filter(|text| !text.is_empty())
        .ok_or(MailboxError::Missing)?;
    let wrong = || MailboxError::NotUnderstood(text.escape_debug().to_string());
    if text.contains(char::is_control) {
        return Err(wrong());
    }
    let all: Mailboxes = text.parse().map_err(|_| wrong())?;
    let all: Vec<Mailbox> = all.into_iter().collect();
    match !all.is_empty() && all.iter().all(|one| one.email.to_string().is_ascii()) {
        true => Ok(all),
        false => Err(wrong()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(from: Option<&str>, to: Option<&str>, at: &str) -> Result<String, String> {
        let url = Some("smtp://localhost");
        let settings = mail_settings(url, from, to, at, Duration::from_secs(1));
        let settings = settings.map_err(|e| e.to_string())?.expect("an address");
        let to: Vec<String> = settings.to.iter().map(Mailbox::to_string).collect();
        Ok(format!(
            "{} | {} | {}",
            settings.from,
            to.join(" + "),
            settings.at
        ))
    }

    #[track_caller]
    fn check(from: &str, to: &str, at: &str, expected: &str) {
        assert_eq!(read(Some(from), Some(to), at).as_deref(), Ok(expected));
    }

    #[track_caller]
    fn check_refused(from: Option<&str>, to: Option<&str>, at: &str, named: &str, said: &str) {
        let error = read(from, to, at).expect_err("it must be refused");
        assert!(error.starts_with(named) && error.contains(said), "{error}");
    }

    #[test]
    fn senders_receivers_and_times() {
        let (one, two) = ("lab@mail.example", "Lab Søuth <lab@mail.example>");
        check(
            one,
            one,
            "00:00",
            "lab@mail.example | lab@mail.example | 00:00:00",
        );
        check(
            two,
            "a@mail.example,b@mail.example , \"C, D\" <c@mail.example>",
            "23:59",
            "Lab Søuth <lab@mail.example> | a@mail.example + b@mail.example + \"C, D\" <c@mail.example> | 23:59:00",
        );
    }

    #[test]
    fn what_is_wrong_is_named() {
        let lab = Some("lab@mail.example");
        check_refused(None, lab, "07:00", "HEELTAP_MAIL_FROM", "missing");
        check_refused(lab, Some(" "), "07:00", "HEELTAP_MAIL_TO", "missing");
        check_refused(Some("lab"), lab, "07:00", "HEELTAP_MAIL_FROM", "`lab`");
        check_refused(
            Some("a@mail.example, b@mail.example"),
            lab,
            "07:00",
            "HEELTAP_MAIL_FROM",
            "several",
        );
        check_refused(
            lab,
            Some("a@mail.example, b"),
            "07:00",
            "HEELTAP_MAIL_TO",
            "`a@mail.example, b`",
        );
        check_refused(
            lab,
            Some("a@mail.example\r\nBcc: b@mail.example"),
            "07:00",
            "HEELTAP_MAIL_TO",
            "\\r\\nBcc",
        );
        check_refused(
            lab,
            Some("ø@mail.example"),
            "07:00",
            "HEELTAP_MAIL_TO",
            "ASCII",
        );
        for at in [
            "", "7:00", "24:00", "07:60", "07:00:00", "7 am", "0700", "é7:00",
        ] {
            check_refused(lab, lab, at, "HEELTAP_MAIL_AT", "07:00");
        }
    }
}
