//! Asks the address once, and reads what it answers.
//!
//! Invariants: no redirect is followed; no more than [`BYTES_MAX`] bytes are kept; the whole of it, a body that trickles in
//! included, ends soon after the time limit; no error's text has the address in it.

use std::io::{ErrorKind, Read};
use std::time::{Duration, Instant};

use reqwest::StatusCode;
use reqwest::header::ACCEPT;

use super::address::RatesSettings;
use super::failure::FetchFailure;
use crate::http::outbound;
use crate::purchasing::reference_rates::{ReferenceRates, read_reference_rates};

/// Most bytes of an answer: 4 MiB. A quarter of a year of some thirty currencies is about 200 kB.
const BYTES_MAX: u64 = 4 * 1024 * 1024;

/// How much is read at a time, in bytes.
const CHUNK: usize = 64 * 1024;

/// Asks the address, and reads the file.
///
/// # Errors
/// [`FetchFailure`].
pub(super) fn ask(settings: &RatesSettings) -> Result<ReferenceRates, FetchFailure> {
    let started = Instant::now();
    let failed = |error: reqwest::Error| request_failure(error, settings.timeout);
    let client =
        outbound::client(settings.timeout, settings.address.is_encrypted()).map_err(failed)?;
    let mut response = client
        .get(settings.address.url())
        .header(ACCEPT, "application/xml, text/xml")
        .send()
        .map_err(failed)?;
    match response.status() {
        StatusCode::OK => {}
        status if status.is_redirection() => return Err(FetchFailure::Redirect(status.as_u16())),
        status => return Err(FetchFailure::Status(status.as_u16())),
    }
    let too_large = FetchFailure::TooLarge {
        bytes_max: BYTES_MAX,
    };
    if response.content_length().is_some_and(|all| all > BYTES_MAX) {
        return Err(too_large);
    }
    let mut bytes = Vec::new();
    let mut chunk = vec![0; CHUNK];
    loop {
        let count = match response.read(&mut chunk) {
            Ok(0) => break,
            Ok(count) => count,
            Err(error) if error.kind() == ErrorKind::Interrupted => continue,
            Err(error) => return Err(body_failure(&error, settings.timeout)),
        };
        bytes.extend_from_slice(&chunk[..count]);
        if bytes.len() as u64 > BYTES_MAX {
            return Err(too_large);
        }
        if started.elapsed() > settings.timeout {
            return Err(timeout(settings.timeout));
        }
    }
    Ok(read_reference_rates(&bytes)?)
}

fn timeout(limit: Duration) -> FetchFailure {
    FetchFailure::Timeout {
        seconds: limit.as_secs_f64(),
    }
}

fn request_failure(error: reqwest::Error, limit: Duration) -> FetchFailure {
    let is_timeout = error.is_timeout();
    // Without certificates of the machine there is not even a client for `https`.
    let is_connect = error.is_connect() || error.is_builder();
    // The address may hold a password.
    let text = innermost(&error.without_url());
    if is_timeout {
        timeout(limit)
    } else if is_connect {
        FetchFailure::Connect(text)
    } else {
        FetchFailure::Interrupted(text)
    }
}

fn body_failure(error: &std::io::Error, limit: Duration) -> FetchFailure {
    let inner = error
        .get_ref()
        .and_then(|inner| inner.downcast_ref::<reqwest::Error>());
    match inner {
        Some(inner) if inner.is_timeout() => timeout(limit),
        Some(inner) => FetchFailure::Interrupted(innermost(inner)),
        None if error.kind() == ErrorKind::TimedOut => timeout(limit),
        None => FetchFailure::Interrupted(error.kind().to_string()),
    }
}

/// The text of the cause of causes: those around it say no more than that there was a request, and may repeat its address.
fn innermost(error: &dyn std::error::Error) -> String {
    let mut cause = error;
    while let Some(next) = cause.source() {
        cause = next;
    }
    cause.to_string()
}
