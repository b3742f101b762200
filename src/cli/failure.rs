//! Why a command ended without doing its work, and the exit code that says so.

use std::fmt;
use std::process::ExitCode;

use crate::base::Error;

/// Why a command failed.
#[derive(Debug)]
pub(super) enum Failure {
    /// It was called wrongly.
    Usage(String),
    /// It was called rightly and could not do its work.
    Failed(String),
}

impl Failure {
    /// 2 for a wrong call, 1 for a failure.
    pub(super) fn exit_code(&self) -> ExitCode {
        match self {
            Self::Usage(_) => ExitCode::from(2),
            Self::Failed(_) => ExitCode::from(1),
        }
    }
}

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Usage(text) | Self::Failed(text) => f.write_str(text),
        }
    }
}

impl From<Error> for Failure {
    fn from(error: Error) -> Self {
        Self::Failed(match error {
            // At a terminal the reason is what helps, not that a request would be answered 503.
            Error::Unavailable { detail } => detail,
            other => other.to_string(),
        })
    }
}

impl From<std::io::Error> for Failure {
    fn from(error: std::io::Error) -> Self {
        Self::Failed(error.to_string())
    }
}
