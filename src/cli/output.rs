//! What a command answers: lines on standard output. A reader that has gone away is no reason to fail.

use std::io::{ErrorKind, Write};

use super::failure::Failure;

/// Writes one line.
///
/// # Errors
/// [`Failure::Failed`] when standard output cannot be written, except that nobody reads it any more.
pub(super) fn say(line: &str) -> Result<(), Failure> {
    tell(&format!("{line}\n"))
}

/// Writes text as it is.
///
/// # Errors
/// As [`say`].
pub(super) fn tell(text: &str) -> Result<(), Failure> {
    let mut out = std::io::stdout().lock();
    match out.write_all(text.as_bytes()).and_then(|()| out.flush()) {
        Err(error) if error.kind() != ErrorKind::BrokenPipe => Err(error.into()),
        _ => Ok(()),
    }
}
