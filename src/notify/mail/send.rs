//! Hands one message over (RFC 5321), waiting for the server.
//!
//! Invariants: nothing is sent in the clear where TLS is asked for; a receiver that the server refuses keeps the mail from no
//! other; no outcome's text holds an address, a name or what the server wrote, but its code alone.

use std::error::Error;
use std::io::ErrorKind;

use lettre::Message;
use lettre::transport::smtp::Error as SmtpError;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{SmtpConnection, TlsParameters};
use lettre::transport::smtp::commands::{Data, Mail, Rcpt};
use lettre::transport::smtp::extension::ClientId;

use super::address::Protection;
use super::settings::MailSettings;
use crate::http::outbound::tls_ready;
use crate::notify::deliveries::attempt::AttemptEnd;

/// Hands a message over to all receivers of the settings.
pub(super) fn send(settings: &MailSettings, message: &Message) -> AttemptEnd {
    let mut refused = Vec::new();
    match converse(settings, message, &mut refused) {
        Ok(()) if refused.is_empty() => AttemptEnd::Delivered {
            said: "taken for every receiver".to_owned(),
        },
        Ok(()) => AttemptEnd::Delivered {
            said: format!(
                "taken for {} of {} receivers; the others were answered {}",
                settings.to.len() - refused.len(),
                settings.to.len(),
                refused.join(", ")
            ),
        },
        Err(Failure::AllRefused) => AttemptEnd::Refused {
            said: format!("no receiver was taken: answered {}", refused.join(", ")),
        },
        Err(Failure::NoStartTls) => {
            failed("the server offers no TLS, and nothing is sent without".to_owned())
        }
        Err(Failure::LoggingIn(error)) => failed(format!("logging in: {}", words(&error))),
        Err(Failure::Smtp(error)) if error.is_permanent() => AttemptEnd::Refused {
            said: words(&error),
        },
        Err(Failure::Smtp(error)) => failed(words(&error)),
    }
}

enum Failure {
    /// The server refused every receiver for good.
    AllRefused,
    /// TLS was asked for and not offered.
    NoStartTls,
    /// The user or the password was not taken: a setting can be put right, so that it is tried again.
    LoggingIn(SmtpError),
    /// Anything else.
    Smtp(SmtpError),
}

impl From<SmtpError> for Failure {
    fn from(error: SmtpError) -> Self {
        Failure::Smtp(error)
    }
}

fn failed(said: String) -> AttemptEnd {
    AttemptEnd::Failed {
        said,
        retry_after: None,
    }
}

/// The conversation; the codes by which receivers were refused for good come in `refused`.
fn converse(
    settings: &MailSettings,
    message: &Message,
    refused: &mut Vec<String>,
) -> Result<(), Failure> {
    let address = &settings.address;
    let (hello, server) = (ClientId::default(), (address.host(), address.port()));
    let tls = match address.protection() {
        Protection::Nothing => None,
        Protection::Tls | Protection::StartTls => {
            tls_ready();
            Some(TlsParameters::new(address.host().to_owned())?)
        }
    };
    let from_the_start = tls
        .as_ref()
        .filter(|_| address.protection() == Protection::Tls);
    let limit = Some(settings.timeout);
    let mut connection = SmtpConnection::connect(server, limit, &hello, from_the_start, None)?;
    if let (Protection::StartTls, Some(tls)) = (address.protection(), &tls) {
        if !connection.can_starttls() {
            connection.abort();
            return Err(Failure::NoStartTls);
        }
        connection.starttls(tls, &hello)?;
    }
    if let Some((user, password)) = address.credentials() {
        let credentials = Credentials::new(user.to_owned(), password.to_owned());
        connection
            .auth(DEFAULT_MECHANISMS, &credentials)
            .map_err(Failure::LoggingIn)?;
    }
    connection.command(Mail::new(Some(settings.from.email.clone()), Vec::new()))?;
    let mut passing = None;
    for receiver in &settings.to {
        match connection.command(Rcpt::new(receiver.email.clone(), Vec::new())) {
            Err(error) if error.is_permanent() => refused.push(code(&error)),
            // One whose box is full or busy keeps the mail from no other; what it misses is in tomorrow's.
            Err(error) if error.status().is_some() => {
                refused.push(code(&error));
                passing = Some(error);
            }
            taken => drop(taken?),
        }
    }
    if refused.len() == settings.to.len() {
        connection.abort();
        return Err(passing.map_or(Failure::AllRefused, Failure::Smtp));
    }
    connection.command(Data)?;
    connection.message(&message.formatted())?;
    // It is taken: what is said after that changes nothing.
    let _ = connection.quit();
    Ok(())
}

fn code(error: &SmtpError) -> String {
    error
        .status()
        .map_or_else(|| "nothing".to_owned(), |code| code.to_string())
}

/// What is kept of a failure: never the text of the server, which may repeat addresses.
fn words(error: &SmtpError) -> String {
    if let Some(code) = error.status() {
        format!("answered {code}")
    } else if is_timeout(error) {
        "no answer in time".to_owned()
    } else if error.is_tls() {
        "no connection: TLS, or the certificate".to_owned()
    } else if error.is_response() {
        "the answer broke off, or cannot be understood".to_owned()
    } else {
        "no connection, or it broke off".to_owned()
    }
}

/// Whether the time limit ended it. A socket's limit is told as one or the other kind, as the system has it.
fn is_timeout(error: &SmtpError) -> bool {
    let mut cause: Option<&dyn Error> = error.source();
    while let Some(one) = cause {
        if let Some(io) = one.downcast_ref::<std::io::Error>() {
            return matches!(io.kind(), ErrorKind::TimedOut | ErrorKind::WouldBlock);
        }
        cause = one.source();
    }
    false
}
