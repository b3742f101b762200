//! Logs: structured, to standard error, as text or as JSON.

use std::io::IsTerminal;

use tracing_subscriber::EnvFilter;

use super::failure::Failure;
use super::settings::{Given, LogFormat};

/// Starts to log as the settings say.
///
/// # Errors
/// [`Failure::Usage`] when the filter is not understood.
pub(super) fn start(given: &Given) -> Result<(), Failure> {
    let filter = EnvFilter::try_new(&given.log).map_err(|e| {
        Failure::Usage(format!(
            "HEELTAP_LOG: `{}` is not understood ({e}): write error, warn, info, debug or trace, or a filter such as info,heeltap::http=debug",
            given.log
        ))
    })?;
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr);
    let started = match given.log_format {
        LogFormat::Text => lines.with_ansi(std::io::stderr().is_terminal()).try_init(),
        LogFormat::Json => lines.json().flatten_event(true).try_init(),
    };
    started.map_err(|e| Failure::Failed(format!("logs cannot be written: {e}")))
}
